//! The workbook of `gapwright stack`: stack-ups, draws at random, sweeps and maps of some pumps.

use itertools::Itertools;
use rust_xlsxwriter::Worksheet;

use super::basis::{Section, inputs_and_policy, lengths, program};
use super::page::Written;
use super::pages::put;
use super::stack_up::{self, Kitted, StackUps};
use super::style::Styles;
use super::{WriteError, basis, map, models, monte_carlo, start, sweep};
use crate::analysis::{Analysed, NotFit};
use crate::job::Job;

/// The workbook's bytes, with the verdicts of pumps that are not fit to assemble as well; `date` (`YYYY-MM-DD`) is printed on it.
///
/// # Errors
/// [`WriteError::Workbook`] and [`WriteError::Date`].
pub fn workbook(
    job: &Job,
    analysed: &[Analysed],
    not_fit: &[NotFit],
    date: &str,
) -> Result<Vec<u8>, WriteError> {
    let (mut workbook, styles) = start("Stack-up", date)?;
    let kits: Vec<Kitted<'_>> =
        analysed.iter().map(|one| (&job.pumps[one.pump], &one.packs[..])).collect();
    let sheets = stack_up::sheets(&mut workbook, (job, not_fit), (&kits, StackUps::All), &styles)?;
    put(&mut workbook, sheets);
    workbook.push_worksheet(monte_carlo::sheet(job, analysed, &styles)?);
    if analysed.iter().any(|one| !one.sweeps.is_empty()) {
        sweep::add(&mut workbook, job, analysed, &styles)?;
    }
    if analysed.iter().any(|one| !one.maps.is_empty()) {
        map::add(&mut workbook, job, analysed, &styles)?;
    }
    models::add(&mut workbook, job, &styles)?;
    workbook.push_worksheet(basis_of(job, analysed, &styles)?);
    Ok(workbook.save_to_buffer()?)
}

/// The Basis of a stack-up without a plan.
fn basis_of(job: &Job, analysed: &[Analysed], styles: &Styles) -> Written<Worksheet> {
    let tags = |with: bool| -> String {
        let pumps = job.pumps.iter().enumerate();
        let of = pumps.filter(|(at, _)| analysed.iter().any(|one| one.pump == *at) == with);
        of.map(|(_, pump)| pump.tag.as_str()).join(", ")
    };
    let facts = [
        program(),
        ("Date", styles.date.clone()),
        ("Pumps worked out", tags(true)),
        ("Pumps left out", tags(false)),
        ("Draws", "a ChaCha8 stream for each batch, from the seed above: the same on every machine and for any number of threads".into()),
        lengths(),
    ];
    let mut sections = Vec::from(inputs_and_policy(job, styles));
    sections.push(Section::facts(facts, |_| None, styles));
    sections.extend(Section::warnings(job, |_| 32.0, styles));
    let lead = "The same inputs, pieces, policy, program and date give this workbook again, byte for byte.";
    basis::sheet(lead, sections, styles)
}
