//! Cuts: rows that every whole plan keeps and the relaxed plan does not, from the rows of its basis.
//!
//! With weights `u >= 0` of the shared rows `a x <= b` and any weights `w` of the blocks, whose columns add up to one,
//!
//! ```text
//! sum over j of floor(u . a_j + w_block(j)) x_j  <=  floor(u . b + sum over blocks of w)
//! ```
//!
//! holds for every plan, since the left side is a whole number and no x is negative. The weights are taken from a line of
//! the inverse basis whose column is taken in part; all sums are in whole 2^-50 (blocks' weights in 2^-20), so that a cut
//! holds whatever the linear program did. A cut is a goal like an earlier one, with its own costs and limit, and needs no
//! other method.
//!
//! Source (from memory): Chvátal, Edmonds polytopes and a hierarchy of combinatorial problems, Discrete Mathematics 4 (1973);
//! Gomory, Outline of an algorithm for integer solutions to linear programs, Bulletin of the AMS 64 (1958).

use std::sync::Arc;

use rayon::prelude::*;

use crate::certificate::{CUT_UNIT, ProofCut};
use crate::choose::bound::{Allowed, Multipliers, Prices, Range, SCALE, Stage};
use crate::choose::instance::{CostRow, Instance, listed};
use crate::choose::relaxation::{Entry, to_f64};
use crate::choose::rough::{Rough, rounded};

/// Row that every whole plan keeps.
#[derive(Debug, Clone)]
pub(super) struct Cut {
    /// Whole cost of each column, by block.
    costs: Arc<Vec<Vec<i64>>>,
    /// Most that a plan's columns cost.
    limit: i64,
    /// For the certificate.
    weights: Arc<Weights>,
}

/// Weights that a cut is made of.
#[derive(Debug)]
struct Weights {
    sets: Vec<(usize, i128)>,
    goals: Vec<(usize, i128)>,
    cuts: Vec<(Cut, i128)>,
    /// Of each block, in whole 2^-20.
    blocks: Vec<i64>,
}

/// Line of an inverse basis, with what it stands for.
pub(super) struct Line {
    /// Weight of each set's row.
    pub sets: Vec<f64>,
    /// Weight of each earlier goal's row.
    pub goals: Vec<f64>,
}

/// Weights nearer to a whole number count as whole.
const WHOLE: f64 = 1e-9;
/// Blocks' weights are multiples of this, rounded up, so that a whole number does not come out as one less.
const GRAIN: i128 = SCALE / CUT_UNIT;
/// Greatest cost in a cut: certificates have numbers up to twice this.
const MOST: i64 = 1 << 15;

/// Weights of a cut, and what they come to.
pub(super) struct Weighed<'a> {
    stage: Stage<'a>,
    /// Of the most of each set, and of each goal.
    weights: Multipliers,
    /// Of each block.
    own: Vec<i128>,
    /// Weights of items and goals, as prices.
    prices: Prices,
}

impl<'a> Weighed<'a> {
    /// Weights that a line of the basis leads to. `keys` holds the column that fixes the weight of each block.
    pub(super) fn of(
        stage: Stage<'a>,
        ranges: &[Range],
        line: &Line,
        keys: &[Option<u32>],
    ) -> Weighed<'a> {
        // Only a side with a limit has a weight.
        let most = |(&weight, range): (&f64, &Range)| range.most.map_or(0, |_| part(weight));
        let mut weights = Multipliers {
            sets: line.sets.iter().zip(ranges).map(|set| (most(set), 0)).collect(),
            goals: line.goals.iter().map(|&weight| part(weight)).collect(),
        };
        // The goal itself has no weight, nor has any after it.
        weights.goals.resize(stage.instance.tiers.len(), 0);
        let prices = stage.prices(&weights, ranges);
        // Below one, so that taking none costs nothing.
        let own = |(block, key): (usize, &Option<u32>)| {
            let key = key.map_or(0, |column| stage.reduced(&prices, block, column));
            ((-key).rem_euclid(SCALE).div_euclid(GRAIN) + 1).min(CUT_UNIT - 1) * GRAIN
        };
        let own = keys.iter().enumerate().map(own).collect();
        Weighed { stage, weights, own, prices }
    }

    /// Whole cost of a column.
    fn cost(&self, block: usize, column: u32) -> i128 {
        let weight = self.stage.reduced(&self.prices, block, column);
        (weight + self.own[block]).div_euclid(SCALE)
    }

    /// Most that a plan's columns cost.
    fn limit(&self) -> i128 {
        (self.own.iter().sum::<i128>() - self.prices.constant()).div_euclid(SCALE)
    }

    /// By how much a relaxed plan breaks the cut, negative where it keeps it; `None` where a number is too great.
    pub(super) fn broken_by(&self, fractions: &[(Entry, f64)]) -> Option<f64> {
        let mut shares = fractions.iter();
        shares.try_fold(-rounded(self.limit()), |broken, &((block, column), share)| {
            Some(broken + to_f64(small(self.cost(block, column))?) * share)
        })
    }

    /// Whole costs of the columns allowed to a block; `None` where a number is too great.
    fn costs(&self, block: usize, columns: &[u32]) -> Option<Vec<i64>> {
        let rough = Rough::of(self.stage, &self.prices, block, columns);
        let mut costs = vec![0; self.stage.instance.blocks[block].len()];
        for (at, &column) in columns.iter().enumerate() {
            let cost = rough.whole_part(at, self.own[block], || self.cost(block, column));
            costs[column as usize] = small(cost)?;
        }
        Some(costs)
    }
}

/// Cost that is not too great.
fn small(cost: i128) -> Option<i64> {
    i64::try_from(cost).ok().filter(|cost| cost.abs() < MOST)
}

impl Cut {
    /// Cut of these weights, where the last of the earlier goals are these cuts. `None` where a number is too great.
    pub(super) fn of(weighed: Weighed<'_>, earlier: &[Cut], allowed: &Allowed) -> Option<Cut> {
        let all = allowed.columns.par_iter().enumerate();
        let all = all.map(|(block, columns)| weighed.costs(block, columns));
        let mut costs: Vec<Vec<i64>> = all.collect::<Option<_>>()?;
        let mut limit = i64::try_from(weighed.limit()).ok()?;
        let Weighed { stage, weights, mut own, .. } = weighed;
        // Where a column must be taken only differences count.
        for (block, costs) in
            costs.iter_mut().enumerate().filter(|(block, _)| !allowed.idle[*block])
        {
            let least = allowed.columns[block].iter().map(|&c| costs[c as usize]).min()?;
            allowed.columns[block].iter().for_each(|&c| costs[c as usize] -= least);
            limit -= least;
            own[block] -= SCALE * i128::from(least);
        }
        let in_grains = |weight: i128| i64::try_from(weight.div_euclid(GRAIN)).ok();
        let first = stage.tier - earlier.len();
        let some = |(at, weight): (usize, &i128)| (*weight != 0).then_some((at, *weight));
        let Multipliers { sets, goals } = weights;
        let sets = sets.iter().map(|(most, _)| most).enumerate();
        let weights = Weights {
            sets: sets.filter_map(some).collect(),
            goals: goals[..first].iter().enumerate().filter_map(some).collect(),
            cuts: (goals[first..].iter().enumerate().filter_map(some))
                .map(|(cut, weight)| (earlier[cut].clone(), weight))
                .collect(),
            blocks: own.into_iter().map(in_grains).collect::<Option<_>>()?,
        };
        Some(Cut { costs: Arc::new(costs), limit, weights: Arc::new(weights) })
    }

    /// The cut for a certificate, and those that it is made of, entered in a list of cuts; its place there.
    pub(super) fn enter(&self, known: &mut Vec<Cut>, list: &mut Vec<ProofCut>) -> usize {
        if let Some(place) = known.iter().position(|cut| Arc::ptr_eq(&cut.weights, &self.weights)) {
            return place;
        }
        let Weights { sets, goals, cuts, blocks } = &*self.weights;
        let cuts = cuts.iter().map(|(cut, weight)| (cut.enter(known, list), *weight)).collect();
        let (sets, goals, pumps) = (sets.clone(), goals.clone(), blocks.clone());
        list.push(ProofCut { sets, goals, cuts, pumps });
        known.push(self.clone());
        known.len() - 1
    }

    /// Length of its row.
    pub(super) fn length(&self) -> f64 {
        let squares = self.costs.iter().flatten().map(|&cost| to_f64(cost) * to_f64(cost));
        squares.sum::<f64>().sqrt().max(1.0)
    }

    /// Cost of a column.
    pub(super) fn cost(&self, block: usize, column: u32) -> f64 {
        to_f64(listed(&self.costs, block, column as usize))
    }

    /// Instance with cuts as goals before the one that is sought, and the limits of all goals before it.
    pub(super) fn put_before(cuts: &[Cut], stage: Stage<'_>) -> (Instance, Vec<i64>) {
        let mut instance = stage.instance.clone();
        let rows = cuts.iter().map(|cut| CostRow::Listed(Arc::clone(&cut.costs)));
        instance.tiers.splice(stage.tier..stage.tier, rows);
        let limits = stage.limits.iter().copied().chain(cuts.iter().map(|cut| cut.limit));
        (instance, limits.collect())
    }

    /// Most that a plan's columns cost.
    pub(super) fn limit(&self) -> i64 {
        self.limit
    }
}

/// Part of a weight above a whole number, in whole 2^-50.
#[expect(clippy::cast_possible_truncation, reason = "between 0 and 2^50")]
#[expect(clippy::cast_precision_loss, reason = "SCALE is a power of two")]
fn part(weight: f64) -> i128 {
    let part = weight - weight.floor();
    // A goal's weight is per millionth of money, and small.
    let whole = part > 1.0 - WHOLE || part < WHOLE && weight.abs() > WHOLE;
    if !part.is_finite() || whole { 0 } else { (part * SCALE as f64).round() as i128 }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    use super::{Cut, Line, Weighed};
    use crate::choose::bound::{Allowed, Stage};
    use crate::choose::instance::{Assignment, Column, CostRow, Instance};

    /// Every plan within the limits keeps a cut of any weights, with all plans gone through; and many cuts are reached.
    #[test]
    fn every_plan_keeps_every_cut() {
        let mut rng = ChaCha8Rng::seed_from_u64(11);
        let (mut kept, mut reached) = (0, 0);
        for case in 0..4_000 {
            let items = rng.random_range(1..=4_u16);
            let pumps = rng.random_range(1..=4_usize);
            let mut column = || Column {
                uses: (0..items)
                    .map(|item| (item, rng.random_range(0..=2_i16)))
                    .filter(|u| u.1 > 0)
                    .collect(),
                waste: rng.random_range(0..=2_000_000),
            };
            let blocks: Vec<Vec<Column>> =
                (0..pumps).map(|_| vec![column(), column(), column()]).collect();
            let instance = Instance {
                capacity: (0..items).map(|_| rng.random_range(0..=4)).collect(),
                classes: vec![(0..u32::from(items)).collect()],
                blocks: blocks.into(),
                pumps,
                tiers: vec![
                    CostRow::Waste,
                    CostRow::Served((0..pumps).map(|_| rng.random_range(0..=2)).collect()),
                    CostRow::Listed(Arc::new(vec![vec![2, 0, 1]; pumps])),
                    CostRow::Pieces(vec![1; usize::from(items)]),
                    CostRow::Waste,
                ],
            };
            let sets = instance.sets();
            let limits = [
                rng.random_range(500_000..6_000_000),
                -rng.random_range(0..=2),
                rng.random_range(2..=6),
                rng.random_range(4..=20),
            ];
            let stage = Stage { instance: &instance, sets: &sets, tier: 4, limits: &limits };
            let mut allowed = Allowed::all(&instance);
            allowed.idle.iter_mut().for_each(|idle| *idle = rng.random_bool(0.5));
            let fifths = |rng: &mut ChaCha8Rng| {
                f64::from(rng.random_range(-6..=6)) / [2.0, 3.0, 5.0][rng.random_range(0..3)]
            };
            let line = Line {
                sets: sets.iter().map(|_| fifths(&mut rng)).collect(),
                goals: [1e-6, 1.0, 1.0, 1.0]
                    .map(|size| if rng.random_bool(0.5) { 0.0 } else { fifths(&mut rng) * size })
                    .to_vec(),
            };
            let keys: Vec<Option<u32>> = (0..pumps)
                .map(|block| {
                    allowed.columns[block].first().copied().filter(|_| rng.random_bool(0.7))
                })
                .collect();
            let weighed = Weighed::of(stage, &allowed.ranges, &line, &keys);
            let Some(cut) = Cut::of(weighed, &[], &allowed) else { continue };
            let mut plans: Vec<Assignment> = vec![Vec::new()];
            for (columns, &idle) in allowed.columns.iter().zip(&allowed.idle) {
                let choices = || columns.iter().copied().map(Some).chain(idle.then_some(None));
                plans = plans
                    .iter()
                    .flat_map(|plan| {
                        choices().map(|one| plan.iter().copied().chain([one]).collect())
                    })
                    .collect();
            }
            for plan in plans {
                if instance.left(&plan).iter().any(|&left| left < 0)
                    || instance.value(&plan).iter().zip(&limits).any(|(value, most)| value > most)
                {
                    continue;
                }
                let whole: Vec<_> = plan
                    .iter()
                    .enumerate()
                    .filter_map(|(block, one)| Some((block, (*one)?)))
                    .collect();
                let spent: i64 =
                    whole.iter().map(|&(block, one)| cut.costs[block][one as usize]).sum();
                assert!(spent <= cut.limit, "case {case}: {plan:?} {cut:?}");
                kept += 1;
                reached += usize::from(spent == cut.limit);
            }
        }
        assert!(kept > 10_000 && reached > 1_000, "{kept} {reached}");
    }
}
