//! Kit of a pump that no kit serves, with every nominal value within its limits: nearly proven, or not at all.

use crate::choose::combination::{Combination, in_hand, most_total};
use crate::choose::control::{Control, Listed, Pace};
use crate::choose::pattern::{self, Pattern, rows, windows};
use crate::job::Job;
use crate::plan::PackPick;
use crate::stack::Guard;

/// Most ways to fill a pump's places that are compared: with more, none is named.
const MOST_PATTERNS: usize = 10_000;

/// Kit of these pieces whose nominal values all lie within the limits: the one that is nearest to proven, by its least
/// margin under the rule, then by its waste. `None` where there is none, or where the time did not suffice.
pub(super) fn nearest(
    job: &Job,
    pump: usize,
    left: &[u32],
    time: (&Control<'_>, usize),
) -> Option<Vec<PackPick>> {
    let pump = &job.pumps[pump];
    let packs: Vec<_> = job.model_of(pump).packs.iter().zip(&pump.fits).collect();
    let most = packs.iter().map(|(pack, fit)| most_total(job, pack, fit, left));
    let windows = windows(&rows(pump, job, Guard::None), &most.collect::<Vec<i64>>());
    let lists: Option<Vec<Listed<Combination>>> = packs
        .iter()
        .zip(windows)
        .map(|(&(pack, fit), window)| in_hand(job, (pack, fit), left, window, time))
        .collect();
    let lists: Vec<Vec<Combination>> = lists?.into_iter().map(|listed| listed.list).collect();
    let lists: Vec<&[Combination]> = lists.iter().map(Vec::as_slice).collect();
    let mut pace = Pace::at_least(time.0, time.1);
    let found = pattern::listed(pump, (job, Guard::None), &lists, MOST_PATTERNS, &mut pace);
    let found = found.ok()?.list;
    let rows = rows(pump, job, job.policy.guard());
    let doubts = pattern::doubts(job);
    let margin = |kit: &Pattern| {
        let each = rows.iter().map(|row| {
            let packs = kit.combinations(&lists).enumerate();
            let sum: i128 = packs.map(|(at, one)| row.contribution(at, one)).sum();
            row.constant + sum - row.whole(&doubts, kit.combinations(&lists))
        });
        each.min().unwrap_or_default()
    };
    let kits = found.iter().filter(|kit| is_there(kit, &lists, left));
    let best = kits.min_by_key(|kit| (-margin(kit), kit.waste(&lists)))?;
    let packs = best.combinations(&lists);
    Some(packs.map(|one| PackPick { picks: one.picks.to_vec() }).collect())
}

/// Whether the pieces suffice for all places together.
fn is_there(kit: &Pattern, lists: &[&[Combination]], left: &[u32]) -> bool {
    let mut used = std::collections::BTreeMap::new();
    for pick in kit.combinations(lists).flat_map(|one| &one.picks) {
        *used.entry(pick.item).or_insert(0) += pick.count;
    }
    used.into_iter().all(|(item, count)| count <= left[item])
}
