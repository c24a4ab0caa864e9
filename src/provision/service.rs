//! Service of a trolley, counted on scenarios that it was not chosen for.
//!
//! # Decision
//!
//! Out of reach is decided by the scenarios counted, with their interval, not by those chosen for: these are few,
//! and chance may have put a gap into more of them.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;
use statrs::function::beta::beta_reg;

use crate::choose::control::{Control, Phase};
use crate::choose::instance::{Assignment, Column, CostRow, Instance, fits, take};
use crate::choose::stages::solve_from;
use crate::narrow::narrow;
use crate::plan::Objective;

use super::patterns::{Ways, fits as fits_into};
use super::scenarios::Scenarios;
use super::serve::Open;
use super::{ProvisionOptions, Service, SetAside, Unserved};

/// Changes of ways to serve a scenario.
const MOVES: u32 = 600;

/// Nodes of the search that decides whether a scenario can be served.
const NODES: usize = 200;

/// Verdict on one scenario.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Verdict {
    /// Every pump has its kit.
    Served,
    /// These pumps go without in any case.
    Short(Vec<usize>),
    /// These pumps go without in the best assignment found.
    Undecided(Vec<usize>),
}

/// Counts the service of a trolley. `from` is the number of the first of the scenarios.
pub(super) fn count(
    ways: &Ways,
    trolley: &[SetAside],
    scenarios: &Scenarios,
    (question, from): (&ProvisionOptions, u32),
    control: &Control<'_>,
) -> Service {
    let mut there = vec![0; ways.available.len()];
    for pieces in trolley {
        there[pieces.item] = pieces.count;
    }
    let open = Open::within(ways, scenarios, &there, control);
    let done = AtomicUsize::new(0);
    control.step(Phase::Checks, 0, scenarios.len());
    let verdicts: Vec<Verdict> = (0..scenarios.len())
        .into_par_iter()
        .map(|scenario| {
            let verdict = judge(&open, &there, scenarios.of(scenario), control);
            let done = done.fetch_add(1, Ordering::Relaxed) + 1;
            control.step(Phase::Checks, done, scenarios.len());
            verdict
        })
        .collect();
    let in_turn = (0..scenarios.len()).into_par_iter().filter(|&scenario| {
        let classes = scenarios.of(scenario);
        ways.possible(classes) && in_turn(&open, &there, classes)
    });
    let in_turn = narrow::<u32>(in_turn.count());
    let mut service = Service {
        first: from,
        checks: question.checks,
        served: 0,
        hopeless: 0,
        undecided: 0,
        served_except_gaps: 0,
        in_turn,
        in_turn_interval: [0.0, 1.0],
        interval: [0.0, 1.0],
        reachable: [0.0, 1.0],
        missed: vec![0; scenarios.pumps],
        unserved: Vec::new(),
    };
    for (scenario, verdict) in (0..).zip(verdicts) {
        let classes = scenarios.of(scenario as usize);
        let hopeless = !ways.possible(classes);
        service.hopeless += u32::from(hopeless);
        // No verdict counts a pump in a gap, since it asks for no pieces.
        let (mut pumps, certain) = match verdict {
            Verdict::Served => {
                service.served_except_gaps += 1;
                service.served += u32::from(!hopeless);
                (Vec::new(), true)
            }
            Verdict::Short(pumps) => (pumps, true),
            Verdict::Undecided(pumps) => (pumps, hopeless),
        };
        pumps.extend((0..classes.len()).filter(|&pump| ways.gap(classes[pump])));
        if pumps.is_empty() {
            continue;
        }
        pumps.sort_unstable();
        service.undecided += u32::from(!certain);
        pumps.iter().for_each(|&pump| service.missed[pump] += 1);
        service.unserved.push(Unserved { scenario: from + scenario, pumps, certain });
    }
    let level = question.level.to_f64();
    let about = |count| exact_interval(count, service.checks, level);
    let [low, high] = [service.served, service.served + service.undecided].map(about);
    service.interval = [low[0], high[1]];
    service.in_turn_interval = about(service.in_turn);
    service.reachable = about(service.checks - service.hopeless);
    service
}

/// Whether every pump gets a kit if each takes the cheapest one that is left, one after the other.
fn in_turn(open: &Open, there: &[u32], classes: &[u32]) -> bool {
    let mut left = there.to_vec();
    classes.iter().all(|&class| {
        let mut ways = open.of(class).iter().map(|&way| open.takes(class, way));
        let first = ways.find(|takes| fits_into(takes, &left));
        for &(item, count) in first.into_iter().flatten() {
            left[usize::from(item)] -= u32::from(count);
        }
        first.is_some()
    })
}

/// Whether a scenario can be served out of these pieces.
pub(super) fn judge(open: &Open, there: &[u32], classes: &[u32], control: &Control) -> Verdict {
    if open.kits(classes, there, MOVES).is_some() {
        return Verdict::Served;
    }
    if control.stop().is_some() {
        return Verdict::Undecided((0..classes.len()).collect());
    }
    let columns: Vec<Vec<Column>> = classes
        .iter()
        .map(|&class| {
            let uses = |&way: &u32| {
                let takes = open.takes(class, way).iter();
                let uses = takes.map(|&(item, count)| (item, narrow::<i16>(count)));
                Column { waste: 0, uses: uses.collect() }
            };
            open.of(class).iter().map(uses).collect()
        })
        .collect();
    let instance = Instance {
        capacity: there.iter().map(|&count| i64::from(count)).collect(),
        classes: vec![(0..).take(there.len()).collect()],
        pumps: columns.len(),
        blocks: Arc::new(columns),
        tiers: vec![CostRow::Served(vec![1; classes.len()])],
    };
    let start = one_after_the_other(&instance);
    let quick = control.quick(NODES);
    let solved = solve_from(&instance, &[Objective::ServedWeight], Some(start), &[], &quick);
    let missed: Vec<usize> =
        (0..classes.len()).filter(|&pump| solved.taken[pump].is_none()).collect();
    let all = narrow::<i64>(classes.len());
    if missed.is_empty() {
        Verdict::Served
    } else if -solved.bounds[0] < all {
        Verdict::Short(missed)
    } else {
        Verdict::Undecided(missed)
    }
}

/// Gives each pump its first way that is left, those with the fewest ways first.
fn one_after_the_other(instance: &Instance) -> Assignment {
    let mut order: Vec<usize> = (0..instance.pumps).collect();
    order.sort_by_key(|&pump| (instance.blocks[pump].len(), pump));
    let mut left = instance.capacity.clone();
    let mut taken = vec![None; instance.pumps];
    for pump in order {
        let fitting = |column: &Column| fits(&left, &column.uses);
        if let Some(first) = instance.blocks[pump].iter().position(fitting) {
            take(&mut left, &instance.blocks[pump][first].uses);
            taken[pump] = u32::try_from(first).ok();
        }
    }
    taken
}

/// Exact binomial interval about a share: each end leaves out half of 1 - `level`.
///
/// Source: Clopper and Pearson, The use of confidence or fiducial limits illustrated in the case of
/// the binomial, Biometrika 26 (1934), from memory: quantiles of beta distributions.
///
/// ```
/// use gapwright::provision::exact_interval;
/// // None of 10: the upper end is where ten failures in a row have a chance of 2.5 %.
/// let [low, high] = exact_interval(0, 10, 0.95);
/// assert_eq!(low, 0.0);
/// assert!((high - (1.0 - 0.025_f64.powf(0.1))).abs() < 1e-12);
/// ```
pub fn exact_interval(served: u32, checks: u32, level: f64) -> [f64; 2] {
    let (k, n) = (f64::from(served.min(checks)), f64::from(checks));
    let out = (1.0 - level) / 2.0;
    let low = if served == 0 { 0.0 } else { quantile(k, n - k + 1.0, out) };
    let high = if served >= checks { 1.0 } else { quantile(k + 1.0, n - k, 1.0 - out) };
    [low, high]
}

/// Quantile of the beta distribution, to within the last place or two.
fn quantile(a: f64, b: f64, probability: f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if beta_reg(a, b, middle) < probability {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high)
}
