//! Trolley with a margin: chosen for more scenarios than were asked for, until its counted service keeps the promise.
//!
//! # Decisions
//!
//! - A trolley that serves 95 % of the scenarios that it was chosen for serves fewer of others: it was made for these.
//!   So it is counted on others, and where the low end of the interval is below what was asked for, it is chosen again
//!   for as many scenarios more as the count was short; out of twice as many, once all of them are served.
//! - Each count has scenarios of its own, drawn for it and used for nothing else. Several counts have several chances
//!   to come out well by luck, so each must clear at a level that leaves out so many times less (Bonferroni).
//! - Where no count of this size can show what was asked for, or gaps or the stock put it out of reach, there is no
//!   margin, or none further.

use crate::choose::control::Control;
use crate::decimal::Money;
use crate::job::Job;
use crate::narrow::narrow;

use super::patterns::Ways;
use super::scenarios::Scenarios;
use super::{ProvisionOptions, SafeKit, Service, Trolley, exact_interval, service, trolley};

/// Most times that a trolley is chosen and counted.
const MOST_ROUNDS: u32 = 6;
/// Values drawn for all counts together, about.
const MOST_DRAWN: u64 = 40_000_000;

/// Number of counts that there are scenarios for.
pub(super) fn rounds(question: &ProvisionOptions, pumps: usize) -> u32 {
    let one = u64::from(question.checks) * pumps.max(1) as u64;
    u32::try_from(MOST_DRAWN / one.max(1)).unwrap_or(MOST_ROUNDS).clamp(2, MOST_ROUNDS)
}

/// Most scenarios to choose a trolley for.
pub(super) fn most_scenarios(question: &ProvisionOptions) -> u32 {
    question.scenarios.saturating_mul(4).min(super::MOST_SCENARIOS.max(question.scenarios))
}

/// Bytes that the scenarios take: the class of each pump, in copies as well, and the kits of those that a trolley is
/// chosen for, in the few states that are compared.
pub(super) fn bytes(question: &ProvisionOptions, job: &Job, rounds: u32) -> usize {
    const COPIES: usize = 3;
    const STATES: usize = 5;
    let whole = |number: u32| narrow::<usize>(number);
    let (pumps, items) = (job.pumps.len(), job.stock.len());
    let choosing = whole(most_scenarios(question));
    let counting = whole(question.checks).saturating_mul(whole(rounds));
    let classes = choosing.saturating_add(counting).saturating_mul(COPIES * pumps);
    let kits = choosing.saturating_mul(STATES).saturating_mul(pumps + items + 12);
    classes.saturating_add(kits).saturating_mul(size_of::<u32>())
}

/// Scenarios of a provision.
pub(super) struct Drawn {
    /// To choose the trolley for: as many as asked for, and some more for a margin.
    pub choosing: Scenarios,
    /// To count its service on, all counts one after the other.
    pub counting: Scenarios,
    /// Number of counts.
    pub rounds: u32,
}

/// Chooses a trolley that keeps the promise, if one is found, and counts its service.
pub(super) fn keep(
    job: &Job,
    ways: &Ways,
    drawn: &Drawn,
    safe: &[SafeKit],
    question: &ProvisionOptions,
    control: &Control<'_>,
) -> (Trolley, Service) {
    let strict = 1.0 - (1.0 - question.level.to_f64()) / f64::from(drawn.rounds);
    let asked = question.probability.to_f64();
    let clears = |served: u32| exact_interval(served, question.checks, strict)[0] >= asked;
    let mut of = question.scenarios;
    let mut goal = question.required(of);
    let mut plain: Option<Money> = None;
    let mut round = 0;
    loop {
        let choosing = drawn.choosing.part(0, of);
        let mut chosen =
            trolley::choose(job, ways, &choosing, safe, (goal, question.seed), control);
        chosen.required = question.required(of);
        chosen.plain_cost = *plain.get_or_insert(chosen.cost);
        let counting = drawn.counting.part(round * question.checks, question.checks);
        let from = round * question.checks;
        let counted = service::count(ways, &chosen.pieces, &counting, (question, from), control);
        round += 1;
        let done = clears(counted.served)
            || !clears(question.checks)
            || counted.out_of_reach(asked)
            || chosen.served_except_gaps < goal
            || round == drawn.rounds
            || control.stop().is_some();
        if done {
            return (chosen, counted);
        }
        // The fewest that would have cleared, less those that were served.
        let (mut low, mut enough) = (counted.served, question.checks);
        while low < enough {
            let middle = low + (enough - low) / 2;
            if clears(middle) {
                enough = middle;
            } else {
                low = middle + 1;
            }
        }
        let missing = enough - counted.served;
        (goal, of) = further(question, (goal, of), missing);
    }
}

/// Scenarios to serve, out of how many, after a count that was short of so many.
fn further(question: &ProvisionOptions, (goal, of): (u32, u32), missing: u32) -> (u32, u32) {
    let share = |of: u32| {
        let more = u64::from(missing) * u64::from(of);
        u32::try_from(more.div_ceil(u64::from(question.checks.max(1)))).unwrap_or(u32::MAX).max(1)
    };
    if goal < of {
        return (goal.saturating_add(share(of)).min(of), of);
    }
    let twice = of.saturating_mul(2).min(most_scenarios(question));
    (twice, twice)
}
