//! What to set aside before an outage, as a workbook and as JSON.

mod basis;
mod coverage;
pub mod json;
mod safe;
mod summary;
mod trolley;

use rust_xlsxwriter::{Format, Worksheet, XlsxError};

use super::style::Styles;
use super::{WriteError, models, start};
use crate::decimal::Millionths;
use crate::outlook::Outlook;
use crate::provision::{Provision, Question};
use crate::verify::VerifiedProvision;

/// A verified provision with what was asked, ready to be written.
#[derive(Debug, Clone, Copy)]
pub struct Provided<'a> {
    outlook: &'a Outlook,
    question: &'a Question,
    /// The level of the ranges that past readings gave.
    level: Millionths,
    provision: &'a Provision,
}

impl<'a> Provided<'a> {
    /// A provision that has passed the checker, with what was asked; `level` is that of the ranges
    /// that past readings gave.
    pub fn of(
        verified: &'a VerifiedProvision,
        question: &'a Question,
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
    let mut workbook = start("What to set aside before the outage", date)?;
    let styles = Styles::new();
    summary::write(workbook.add_worksheet(), provided, date, &styles)?;
    trolley::write(workbook.add_worksheet(), provided, date, &styles)?;
    safe::write(&mut workbook, provided, date, &styles)?;
    coverage::write(workbook.add_worksheet(), provided, date, &styles)?;
    models::write(&mut workbook, provided.outlook.job(), date, &styles)?;
    basis::write(workbook.add_worksheet(), provided, date, &styles)?;
    Ok(workbook.save_to_buffer()?)
}

/// An amount of money in a ruled cell.
fn money(styles: &Styles) -> Format {
    styles.count.clone().set_num_format("0.00####")
}

/// Makes a row high enough for texts that are so long in columns of so many characters.
fn high_enough(sheet: &mut Worksheet, row: u32, texts: &[(&str, usize)]) -> Result<(), XlsxError> {
    sheet.set_row_height(row, height(texts))?;
    Ok(())
}

/// How high a row must be for texts that are so long in columns of so many characters, in points.
fn height(texts: &[(&str, usize)]) -> f64 {
    /// The most lines: spreadsheet programs have no taller rows (409 points, from memory).
    const MOST: usize = 26;
    let lines = texts.iter().map(|(text, width)| text.chars().count().div_ceil((*width).max(1)));
    let lines = u16::try_from(lines.max().unwrap_or(1).clamp(1, MOST)).unwrap_or(1);
    15.5 * f64::from(lines) + 1.0
}
