//! The workbook of `gapwright stack`: stack-ups, draws at random and sweeps of some pumps.

use rust_xlsxwriter::Workbook;

use super::stack_up::{self, Subject};
use super::style::Styles;
use super::{WriteError, basis, models, monte_carlo, start, sweep};
use crate::analysis::Analysed;
use crate::job::Job;

/// The workbook's bytes; `date` (`YYYY-MM-DD`) is printed on it.
///
/// # Errors
/// [`WriteError::Workbook`] and [`WriteError::Date`].
pub fn workbook(job: &Job, analysed: &[Analysed], date: &str) -> Result<Vec<u8>, WriteError> {
    let mut workbook: Workbook = start("Stack-up", date)?;
    let styles = Styles::new();
    let subjects: Vec<Subject<'_>> = analysed
        .iter()
        .map(|one| Subject::of(job, &job.pumps[one.pump], &one.packs))
        .collect();
    stack_up::add(&mut workbook, &subjects, &job.policy, date, &styles)?;
    monte_carlo::write(workbook.add_worksheet(), job, analysed, date, &styles)?;
    if analysed.iter().any(|one| !one.sweeps.is_empty()) {
        sweep::write(workbook.add_worksheet(), job, analysed, date, &styles)?;
    }
    models::write(workbook.add_worksheet(), job, date, &styles)?;
    basis::of_analysis(workbook.add_worksheet(), job, analysed, date, &styles)?;
    Ok(workbook.save_to_buffer()?)
}
