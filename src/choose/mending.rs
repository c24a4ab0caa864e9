//! Whole plans out of broken ones: unserved pumps are placed, and pumps move to cheaper columns.

use std::cell::OnceCell;

use crate::choose::bound::{Allowed, Prices, Stage};
use crate::choose::control::{Control, Pace};
use crate::choose::instance::{Assignment, Instance, Uses, fits, put_back, take};
use crate::choose::relaxation::Entry;

/// The columns of each pump, least reduced cost first; sorted when they are first asked for.
pub(super) struct Ranking<'a> {
    stage: Stage<'a>,
    prices: &'a Prices,
    allowed: &'a Allowed,
    sorted: Vec<OnceCell<Vec<u32>>>,
}

impl<'a> Ranking<'a> {
    pub(super) fn new(stage: Stage<'a>, prices: &'a Prices, allowed: &'a Allowed) -> Ranking<'a> {
        let sorted = allowed.columns.iter().map(|_| OnceCell::new()).collect();
        Ranking { stage, prices, allowed, sorted }
    }

    fn of(&self, pump: usize) -> &[u32] {
        self.sorted[pump].get_or_init(|| {
            let mut ranked: Vec<(i128, u32)> = self.allowed.columns[pump]
                .iter()
                .map(|&column| (self.stage.reduced(self.prices, pump, column), column))
                .collect();
            ranked.sort_unstable();
            ranked.into_iter().map(|(_, column)| column).collect()
        })
    }
}

/// Moves of other blocks that are tried in all: a large fleet is better mended by the search.
const MOST_MOVES: usize = 2_000_000;
/// How many columns of a pump, best first, are tried when others must make way for it.
const TRIED: usize = 60;

/// Lets each supplier supply what the relaxed plan draws on it, rounded up: its cheapest column
/// that does, or else the one that the relaxed plan takes most of. Without a relaxed plan, the
/// last one, which supplies most. Plates that another supplier cuts are gone.
pub(super) fn supply(
    stage: Stage<'_>,
    allowed: &Allowed,
    fractions: &[(Entry, f64)],
    taken: &mut Assignment,
    left: &mut [i64],
) {
    let instance = stage.instance;
    for (supplier, slot) in taken.iter_mut().enumerate().skip(instance.pumps) {
        let from = fractions.partition_point(|((block, _), _)| *block < supplier);
        let to = fractions.partition_point(|((block, _), _)| *block <= supplier);
        let shares = &fractions[from..to];
        let columns = &allowed.columns[supplier];
        let wanted = |item: u16| -> f64 {
            let uses = shares.iter().flat_map(|((_, c), share)| {
                let uses = &instance.column(supplier, *c).uses;
                uses.iter().map(move |use_of| (use_of, *share))
            });
            uses.filter(|((other, _), _)| *other == item)
                .map(|((_, count), share)| f64::from(*count) * share)
                .sum()
        };
        let there = |column: &&u32| fits(left, &instance.column(supplier, **column).uses);
        let enough = |column: &&u32| {
            let uses = &instance.column(supplier, **column).uses;
            let mut supplied = uses.iter().filter(|(_, count)| *count <= 0);
            supplied.all(|&(item, count)| f64::from(count) <= wanted(item) + 1e-6)
        };
        let most = || shares.iter().max_by(|a, b| a.1.total_cmp(&b.1));
        let chosen = if shares.is_empty() {
            columns.iter().rev().find(there).copied()
        } else {
            let cheapest = columns.iter().filter(there).filter(enough).copied();
            let cost = |column: &u32| -> Vec<i64> {
                let tiers = stage.tier..stage.instance.tiers.len();
                tiers.map(|tier| stage.instance.cost(tier, supplier, *column)).collect()
            };
            cheapest
                .min_by_key(|column| (cost(column), *column))
                .or(most().map(|((_, column), _)| *column).filter(|column| there(&column)))
                .or(columns.iter().find(there).copied())
        };
        if let Some(column) = chosen {
            take(left, &instance.column(supplier, column).uses);
            *slot = Some(column);
        }
    }
}

/// Serves unserved pumps, at need by moving one other pump to another column. After the control has said to
/// stop, the others take the first column that fits and nobody makes way.
pub(super) fn mend(
    ranking: &Ranking<'_>,
    taken: &mut Assignment,
    left: &mut [i64],
    control: &Control<'_>,
) {
    let instance = ranking.stage.instance;
    let mut moves = Moves { left: MOST_MOVES, pace: Pace::of(control) };
    for pump in 0..instance.pumps {
        if taken[pump].is_some() {
            continue;
        }
        let fitting = |c: &&u32| fits(left, &instance.column(pump, **c).uses);
        let columns = &ranking.allowed.columns[pump];
        let stopped = moves.pace.stop(columns.len()).is_some();
        let first = match stopped {
            true => columns.iter().take(TRIED_LAST).find(fitting),
            false => ranking.of(pump).iter().find(fitting),
        };
        if let Some(&column) = first {
            take(left, &instance.column(pump, column).uses);
            taken[pump] = Some(column);
        } else if !stopped {
            make_way(ranking, taken, left, pump, &mut moves);
        }
    }
}

/// Columns of a pump that are tried once there is no time left.
const TRIED_LAST: usize = 2_000;

/// Moves of other blocks that may still be tried.
struct Moves<'a> {
    left: usize,
    pace: Pace<'a>,
}

/// Serves a pump by moving one other pump, or a supplier, to another of its columns.
fn make_way(
    ranking: &Ranking<'_>,
    taken: &mut Assignment,
    left: &mut [i64],
    pump: usize,
    moves: &mut Moves<'_>,
) {
    let instance = ranking.stage.instance;
    for &column in ranking.of(pump).iter().take(TRIED) {
        let uses = &instance.column(pump, column).uses;
        for other in 0..taken.len() {
            if moves.left == 0 || moves.pace.stop(TRIED).is_some() {
                return;
            }
            moves.left -= 1;
            let Some(held) = taken[other] else { continue };
            let held_uses = &instance.column(other, held).uses;
            put_back(left, held_uses);
            let supplies = other >= instance.pumps;
            if supplies || fits(left, uses) {
                take(left, uses);
                let fitting = |c: &&u32| {
                    let held = &instance.column(other, **c).uses;
                    fits(left, held) && (!supplies || together(left, uses, held))
                };
                let moved = ranking.of(other).iter().take(TRIED).find(fitting).copied();
                if let Some(moved) = moved {
                    take(left, &instance.column(other, moved).uses);
                    taken[other] = Some(moved);
                    taken[pump] = Some(column);
                    return;
                }
                put_back(left, uses);
            }
            take(left, held_uses);
        }
    }
}

/// Whether nothing is overdrawn of what one column draws on, once a supplier puts its own in.
fn together(left: &[i64], drawn: &Uses, supplied: &Uses) -> bool {
    drawn.iter().all(|&(item, _)| {
        let put_in = supplied.iter().find(|(other, _)| *other == item);
        let put_in = put_in.map_or(0, |(_, count)| -i64::from(*count));
        left[usize::from(item)] + put_in >= 0
    })
}

/// Passes over all pumps at most.
const MOST_PASSES: usize = 20;

/// Lets pumps, one after the other, move to a column that costs less on the goal at hand and the
/// ones after it, until none can or the control says to stop.
pub(super) fn refine(
    ranking: &Ranking<'_>,
    taken: &mut Assignment,
    left: &mut [i64],
    control: &Control<'_>,
) {
    let mut pace = Pace::of(control);
    let Stage { instance, tier, .. } = ranking.stage;
    let costs = |pump: usize, column: u32| {
        (tier..instance.tiers.len()).map(move |tier| instance.cost(tier, pump, column))
    };
    for _ in 0..MOST_PASSES {
        let mut moved = false;
        for (pump, slot) in taken.iter_mut().enumerate() {
            let Some(held) = *slot else { continue };
            if pace.stop(ranking.allowed.columns[pump].len()).is_some() {
                return;
            }
            put_back(left, &instance.column(pump, held).uses);
            let mut best = held;
            for &column in ranking.allowed.columns[pump].iter() {
                if costs(pump, column).lt(costs(pump, best))
                    && fits(left, &instance.column(pump, column).uses)
                {
                    best = column;
                }
            }
            moved |= best != held;
            *slot = Some(best);
            take(left, &instance.column(pump, best).uses);
        }
        if !moved {
            return;
        }
    }
}

/// Lets each supplier supply no more than is drawn on it, at the least cost on the goals in their order: a
/// search that was ended may leave it more.
pub(super) fn take_back(instance: &Instance, taken: &mut Assignment) {
    let mut left = instance.left(taken);
    let costs = |supplier: usize, column: u32| {
        (0..instance.tiers.len()).map(move |tier| instance.cost(tier, supplier, column))
    };
    for (supplier, slot) in taken.iter_mut().enumerate().skip(instance.pumps) {
        let Some(held) = *slot else { continue };
        put_back(&mut left, &instance.column(supplier, held).uses);
        let mut best = held;
        for column in (0..).take(instance.blocks[supplier].len()) {
            if costs(supplier, column).lt(costs(supplier, best))
                && fits(&left, &instance.column(supplier, column).uses)
            {
                best = column;
            }
        }
        *slot = Some(best);
        take(&mut left, &instance.column(supplier, best).uses);
    }
}
