//! Readings of a clearance that are accepted: the slip and `recheck` use one definition.

use super::as_found::AsFound;
use super::{Bench, Reading, Readings};
use crate::job::Job;
use crate::length::{Fine, Length};
use crate::plan::PackPick;
use crate::pump::Pump;

/// Least and greatest accepted reading of a requirement, with the pump cold: every requirement that rests on it is
/// then met under the rule of the policy. `within` is the error that the reading may have. An end without a limit is
/// `None`; the least is above the greatest where no reading is accepted. `None` altogether for a gasket.
///
/// A value moves by as much as its reading, so the margins of a reading of zero are the distances to the ends.
pub fn accepted(
    job: &Job,
    pump: &Pump,
    packs: &[PackPick],
    index: usize,
    within: Length,
) -> Option<[Option<Fine>; 2]> {
    pump.requirements[index].form.cold_terms()?;
    let mut bench = Bench::unread(job, pump, Some(packs.to_vec()));
    let first = Reading { value: Length::ZERO, within, gauge: None };
    bench.requirements[index] = Some(Readings { first, again: None });
    let as_found = AsFound::new(job, pump, packs, &bench);
    let resting = as_found.verdicts(packs).into_iter().enumerate();
    let resting = resting.filter(|(other, _)| as_found.basis(*other) == Some(index));
    let ends = resting
        .map(|(_, verdict)| [verdict.margin_lower().map(|margin| -margin), verdict.margin_upper()]);
    ends.reduce(shared)
}

/// Part that two ranges share; an end that neither has is `None`.
pub fn shared<T: Ord + Copy>(one: [Option<T>; 2], other: [Option<T>; 2]) -> [Option<T>; 2] {
    // Nothing is less than any end, as the greatest of two takes it.
    [one[0].max(other[0]), [one[1], other[1]].into_iter().flatten().min()]
}

/// Whether a finer reading may show that a requirement is met that fails on the reading of `basis`: the range of that
/// reading overlaps the readings that would be accepted without any error.
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
        low.zip(high).is_none_or(|(low, high)| low <= high)
            && low.is_none_or(|low| value + within >= low)
            && high.is_none_or(|high| value - within <= high)
            && within > Fine::ZERO
    })
}
