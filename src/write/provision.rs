//! Pieces to set aside before an outage, as a workbook and as JSON.

mod basis;
mod coverage;
mod safe;
mod summary;
mod trolley;

use super::style::lines;
use super::{WriteError, models, start};
use crate::decimal::Millionths;
use crate::forecast::Forecast;
use crate::provision::{Provision, ProvisionOptions};
use crate::verify::VerifiedProvision;

/// A verified provision with what was asked, ready to be written.
#[derive(Debug, Clone, Copy)]
pub struct Provided<'a> {
    pub(crate) outlook: &'a Forecast,
    pub(crate) question: &'a ProvisionOptions,
    /// The level of the ranges that past readings gave.
    pub(crate) level: Millionths,
    pub(crate) provision: &'a Provision,
}

impl<'a> Provided<'a> {
    /// A provision that has passed the checker, with what was asked; `level` is that of the ranges
    /// that past readings gave.
    pub fn of(
        verified: &'a VerifiedProvision,
        question: &'a ProvisionOptions,
        level: Millionths,
    ) -> Provided<'a> {
        Provided { outlook: verified.outlook(), question, level, provision: verified.provision() }
    }
}

/// The workbook's bytes; `date` (`YYYY-MM-DD`) is printed on it.
///
/// # Errors
/// [`WriteError::Workbook`] and [`WriteError::Date`].
pub fn workbook(provided: &Provided<'_>, date: &str) -> Result<Vec<u8>, WriteError> {
    let (mut workbook, styles) = start("Pieces to set aside before the outage", date)?;
    workbook.push_worksheet(summary::sheet(provided, &styles)?);
    workbook.push_worksheet(trolley::sheet(provided, &styles)?);
    safe::add(&mut workbook, provided, &styles)?;
    workbook.push_worksheet(coverage::sheet(provided, &styles)?);
    models::add(&mut workbook, provided.outlook.job(), &styles)?;
    workbook.push_worksheet(basis::sheet(provided, &styles)?);
    Ok(workbook.save_to_buffer()?)
}

/// How high a row must be for texts that are so long in columns of so many characters, in points; spreadsheet
/// programs have none higher than 409 (from memory).
fn height(texts: &[(&str, usize)]) -> f64 {
    15.5 * lines(texts, [1, 26]) + 1.0
}
