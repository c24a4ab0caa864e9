//! The as-built record: what was predicted, what was found, what was decided, with room to sign.

mod basis;
pub mod json;
mod readings;
mod summary;
mod to_do;

use super::style::Styles;
use super::{WriteError, start};
use crate::job::Input;
use crate::verify::VerifiedRecheck;

/// What came of the readings, with what it was made from.
pub struct AsBuilt<'a> {
    /// What came of each pump, checked.
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
    let mut workbook = start("As-built record", built.date)?;
    let styles = Styles::new();
    summary::write(workbook.add_worksheet(), built, &styles)?;
    to_do::write(workbook.add_worksheet(), built, &styles)?;
    readings::write(workbook.add_worksheet(), built, &styles)?;
    basis::write(workbook.add_worksheet(), built, &styles)?;
    Ok(workbook.save_to_buffer()?)
}
