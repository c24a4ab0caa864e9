//! Trolley: few and cheap pieces that serve the whole batch in enough of the scenarios.
//!
//! Every scenario that counts as served has kits for all its pumps. It is not proven that no cheaper trolley
//! serves as well; a bound is given with it.
//!
//! # Decision
//!
//! Where gaps leave fewer scenarios than are wanted, a pump in a gap asks for nothing when the trolley is chosen:
//! one hopeless pump would empty the trolley for all the others.

use std::collections::HashMap;

use rayon::prelude::*;

use crate::choose::control::{Control, Phase};
use crate::decimal::Money;
use crate::job::Job;
use crate::narrow::narrow;

use super::patterns::Ways;
use super::safe::{cost, listed, short_plates};
use super::scenarios::{Scenarios, generator};
use super::serve::{Kept, Open};
use super::shrink::Shed;
use super::{SafeKit, Trolley};

/// Changes of ways to fit a scenario into the drawers.
const MOVES: u32 = 400;

/// Most times that a trolley is tried with a few pieces more.
const MOST_KICKS: u64 = 40;
/// Ways examined for that, about: some seconds on two cores.
const KICKS: u64 = 400_000_000;

/// Purpose number of the generator of these trials.
const KICKING: u8 = 3;

/// Chooses a trolley that serves `wanted` scenarios. `ways` are those with classes in a gap asking for no pieces.
///
/// As long as enough scenarios can be served whole, those with a gap do not count. Otherwise they count as
/// served if all pumps outside a gap are, since no pieces would be set aside for the others if they did not.
pub(super) fn choose(
    job: &Job,
    ways: &Ways,
    scenarios: &Scenarios,
    safe: &[SafeKit],
    (wanted, seed): (u32, u64),
    control: &Control,
) -> Trolley {
    control.step(Phase::Trolley, 0, 0);
    let wanted = wanted as usize;
    let all = scenarios;
    let hopeful = all.only(|classes| ways.possible(classes));
    let whole = Start::of(ways, &hopeful, safe, control);
    let start = match whole.most >= wanted {
        true => whole,
        false => Start::of(ways, all, safe, control),
    };
    let Start { scenarios, cheapest, own, most } = start;
    let goal = wanted.min(most);
    let bound = bound(ways, scenarios, goal);
    let shed = |kept: Kept| {
        let mut shed = Shed::new(ways, scenarios, kept, goal, control);
        shed.all();
        shed
    };
    let fewer = cheapest_of(ways, scenarios, &cheapest, goal);
    let mut best: Option<Shed> = None;
    for kept in [cheapest, fewer] {
        // Choosing again from fewer scenarios is worth a try if it is soon done.
        let again = best.as_ref().is_none_or(|best| best.work() < KICKS);
        if again && served(&kept) >= goal {
            let other = shed(kept);
            if best.as_ref().is_none_or(|best| other.key() < best.key()) {
                best = Some(other);
            }
        }
    }
    // Never dearer than all safe kits.
    if let Some((there, kept)) = own.filter(|(_, kept)| served(kept) >= goal) {
        let all = i128::from(cost(ways, &there).raw());
        let dearer = |best: &Shed| best.key().0 > all || best.work() < KICKS;
        if best.as_ref().is_none_or(dearer) {
            let other = shed(kept);
            if best.as_ref().is_none_or(|best| other.key() < best.key()) {
                best = Some(other);
            }
        }
    }
    let best = best.map(|best| bettered(best, bound, seed, control));
    let none = || (vec![0; ways.available.len()], vec![None; scenarios.len()]);
    let (there, kept) = best.map_or_else(none, Shed::done);
    // Some scenarios that were given up may be served after all.
    let open = Open::within(ways, all, &there, control);
    let mut known = kept.iter().map(Option::is_some);
    let known: Vec<bool> = (0..all.len())
        .map(|scenario| {
            let chosen_for = scenarios.len() == all.len() || ways.possible(all.of(scenario));
            chosen_for && known.next().unwrap_or(false)
        })
        .collect();
    let again: Vec<bool> = (0..all.len())
        .into_par_iter()
        .map(|scenario| known[scenario] || open.kits(all.of(scenario), &there, MOVES).is_some())
        .collect();
    let served = |scenario: &usize| again[*scenario] && ways.possible(all.of(*scenario));
    let whole = |count: usize| narrow::<u32>(count);
    Trolley {
        cost: cost(ways, &there),
        count: there.iter().sum(),
        scenarios: whole(all.len()),
        hopeless: whole(all.len() - hopeful.len()),
        required: whole(wanted),
        wanted: whole(wanted),
        plain_cost: cost(ways, &there),
        served: whole((0..all.len()).filter(served).count()),
        served_except_gaps: whole(again.iter().filter(|again| **again).count()),
        bound,
        plates: short_plates(job, &there),
        pieces: listed(&there),
    }
}

/// Start of the choice for some scenarios.
struct Start<'a> {
    scenarios: &'a Scenarios,
    /// Kits out of all pieces in the drawers.
    cheapest: Kept,
    /// All safe kits together, with the kits out of those.
    own: Option<(Vec<u32>, Kept)>,
    /// Number of scenarios that the better of the two serves.
    most: usize,
}

impl<'a> Start<'a> {
    fn of(
        ways: &Ways,
        scenarios: &'a Scenarios,
        safe: &[SafeKit],
        control: &Control<'_>,
    ) -> Start<'a> {
        let drawers = Open::within(ways, scenarios, &ways.available, control);
        let cheapest = drawers.serve(scenarios, &ways.available, MOVES);
        let own = out_of_safe_kits(&drawers, scenarios, safe, control);
        let most = served(&cheapest).max(own.as_ref().map_or(0, |(_, kept)| served(kept)));
        Start { scenarios, cheapest, own, most }
    }
}

/// Number of scenarios with kits.
fn served(kept: &Kept) -> usize {
    kept.iter().flatten().count()
}

/// Tries the best trolley with a few pieces more and fewer others, again and again.
fn bettered<'a>(mut best: Shed<'a>, bound: Money, seed: u64, control: &Control) -> Shed<'a> {
    let until = best.work() + KICKS;
    for kick in 0..MOST_KICKS {
        let least = best.key().0 == i128::from(bound.raw());
        if least || best.work() >= until || control.stop().is_some() {
            break;
        }
        let mut rng = generator(seed, KICKING, kick);
        let mut other = best.kicked(&mut rng, until);
        other.all();
        if other.key() < best.key() {
            best = other;
        }
    }
    best
}

/// Keeps the served scenarios with the cheapest ways, as many as must be served.
fn cheapest_of(ways: &Ways, scenarios: &Scenarios, kept: &Kept, goal: usize) -> Kept {
    let mut order: Vec<(i64, usize)> = (0..kept.len())
        .filter(|&scenario| kept[scenario].is_some())
        .map(|scenario| (least(ways, scenarios.of(scenario)).unwrap_or(0), scenario))
        .collect();
    order.sort_unstable();
    let mut fewer = vec![None; kept.len()];
    for (_, scenario) in order.into_iter().take(goal) {
        fewer[scenario].clone_from(&kept[scenario]);
    }
    fewer
}

/// Cost of the cheapest ways of all pumps; `None` if a pump has none.
fn least(ways: &Ways, classes: &[u32]) -> Option<i64> {
    let costs = classes.iter();
    let costs = costs.map(|&class| ways.classes[class as usize].cost.first().copied());
    costs.sum()
}

/// All safe kits together with the ways of each scenario out of them, if the drawers hold them all.
fn out_of_safe_kits(
    drawers: &Open,
    scenarios: &Scenarios,
    safe: &[SafeKit],
    control: &Control<'_>,
) -> Option<(Vec<u32>, Kept)> {
    let ways = drawers.ways;
    let mut there = vec![0_u32; ways.available.len()];
    for pieces in safe.iter().flat_map(|kit| &kit.pieces) {
        there[pieces.item] = there[pieces.item].saturating_add(pieces.count);
    }
    if there.iter().zip(&ways.available).any(|(all, most)| all > most) {
        return None;
    }
    // Way within a safe kit, by safe kit and class.
    let mut known: HashMap<(&[super::SetAside], u32), Option<u32>> = HashMap::new();
    for scenario in 0..scenarios.len() {
        for (kit, &class) in safe.iter().zip(scenarios.of(scenario)) {
            known.entry((&kit.pieces, class)).or_insert_with(|| {
                let mut own = vec![0; there.len()];
                for pieces in &kit.pieces {
                    own[pieces.item] = pieces.count;
                }
                let way = ways.classes[class as usize].within(&own)?;
                u32::try_from(way).ok()
            });
        }
    }
    let open = Open::within(ways, scenarios, &there, control);
    let serve = |scenario: usize| {
        let classes = scenarios.of(scenario);
        let own = safe.iter().zip(classes);
        let own = own.map(|(kit, &class)| *known.get(&(kit.pieces.as_slice(), class))?);
        match own.collect::<Option<Vec<u32>>>() {
            Some(own) => Some(drawers.assigned(classes, own)),
            // A value beyond the range, which another pump's pieces may meet.
            None => open.kits(classes, &there, MOVES),
        }
    };
    let kept = (0..scenarios.len()).into_par_iter().map(serve).collect();
    Some((there, kept))
}

/// Lower bound on the cost of a trolley that serves this many scenarios.
///
/// A trolley holds a way for each pump of each scenario that it serves, and so costs at least the cheapest
/// ways of the dearest of these. The scenarios with the smallest such costs are as many as may be chosen.
fn bound(ways: &Ways, scenarios: &Scenarios, goal: usize) -> Money {
    let all = (0..scenarios.len()).map(|scenario| scenarios.of(scenario));
    let mut least: Vec<i64> = all.filter_map(|classes| least(ways, classes)).collect();
    least.sort_unstable();
    let last = goal.checked_sub(1).and_then(|last| least.get(last));
    Money::from_raw(last.copied().unwrap_or(0))
}
