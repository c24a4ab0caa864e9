//! With which readings of a clearance its limits count as met: what a slip asks for and what `recheck` judges by
//! are one.

use super::found::AsFound;
use super::{Bench, Reading, Readings};
use crate::job::Job;
use crate::length::{Fine, Length};
use crate::plan::PackPick;
use crate::pump::Pump;

/// The least and the most that a reading of a requirement may be, the pump cold, so that every requirement
/// that rests on it counts as met under the rule of the policy; `within` is how far the reading may be off.
/// The first is above the second where no reading of that kind will do. `None` of a gasket.
///
/// A value moves by as much as its reading, so the margins of a reading of nothing are how far the ends lie off.
pub fn accepted(
    job: &Job,
    pump: &Pump,
    packs: &[PackPick],
    index: usize,
    within: Length,
) -> Option<[Fine; 2]> {
    pump.requirements[index].form.cold_terms()?;
    let mut bench = Bench::unread(job, pump, Some(packs.to_vec()));
    let first = Reading { value: Length::ZERO, within };
    bench.requirements[index] = Some(Readings { first, again: None });
    let as_found = AsFound::new(job, pump, packs, &bench);
    let resting = as_found.verdicts(packs).into_iter().enumerate();
    let resting = resting.filter(|(other, _)| as_found.basis(*other) == Some(index));
    let ends = resting.map(|(_, verdict)| [-verdict.margin_lower(), verdict.margin_upper()]);
    ends.reduce(|[low, high], [least, most]| [low.max(least), high.min(most)])
}

/// Whether a finer reading may show that a requirement is met, which is not met on the reading of `basis`: what the
/// reading may stand for reaches into what a reading without any error would have to be.
pub fn finer_may_show(
    job: &Job,
    pump: &Pump,
    packs: &[PackPick],
    basis: usize,
    reading: Reading,
) -> bool {
    let ends = accepted(job, pump, packs, basis, Length::ZERO);
    let (value, within) = (Fine::from(reading.value), Fine::from(reading.within));
    ends.is_some_and(|[low, high]| {
        low <= high && value + within >= low && value - within <= high && within > Fine::ZERO
    })
}
