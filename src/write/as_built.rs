//! The as-built record: what was predicted, what was found, what was decided, with room to sign.

mod basis;
mod readings;
mod summary;
mod to_do;

use super::{WriteError, start};
use crate::job::Input;
use crate::verify::VerifiedRecheck;

/// Pumps judged by their readings, with what that was made from.
pub struct AsBuilt<'a> {
    /// Each pump's decision, checked.
    pub recheck: &'a VerifiedRecheck,
    /// The id of the plan.
    pub plan_id: &'a str,
    /// The plan and the workbook of readings.
    pub inputs: &'a [Input],
    /// The date that is printed, `YYYY-MM-DD`.
    pub date: &'a str,
}

/// The workbook's bytes.
///
/// # Errors
/// [`WriteError::Workbook`] and [`WriteError::Date`].
pub fn workbook(built: &AsBuilt<'_>) -> Result<Vec<u8>, WriteError> {
    let (mut workbook, styles) = start("As-built record", built.date)?;
    workbook.push_worksheet(summary::sheet(built, &styles)?);
    workbook.push_worksheet(to_do::sheet(built, &styles)?);
    workbook.push_worksheet(readings::sheet(built, &styles)?);
    workbook.push_worksheet(basis::sheet(built, &styles)?);
    Ok(workbook.save_to_buffer()?)
}
