//! Reduced costs in floating point, with a bound on their error: they tell which few columns need the exact ones.
//!
//! Exact reduced costs are sums in 128 bits. Nearly all of them are compared with something far away, where floating point
//! decides; only those that are too near are worked out exactly. So every answer is that of the exact costs.

use smallvec::SmallVec;

use crate::choose::bound::{Prices, SCALE, Stage};
use crate::choose::instance::Column;
use crate::choose::relaxation::{floor, to_f64};

/// Bound on the error, as a share of the greatest sum of the terms' sizes. A sum of n products of a price and a number, all
/// rounded, is wrong by at most (n + 3) 2^-53 of the sum of their sizes, and n is below 2^20. This is 2^-32.
const ERROR: f64 = 1.0 / 4_294_967_296.0;

/// Reduced costs of some columns of a block, in 1/SCALE.
pub(super) struct Rough {
    /// By place in the list of columns.
    pub(super) costs: SmallVec<[f64; 64]>,
    /// No cost is further than this from the exact one.
    error: f64,
}

impl Rough {
    /// Reduced costs of some columns of a block.
    pub(super) fn of(stage: Stage<'_>, prices: &Prices, block: usize, columns: &[u32]) -> Rough {
        let all = &stage.instance.blocks[block];
        let (items, waste, constant) = prices.roughly(block < stage.instance.pumps, block);
        let mut greatest = 0.0_f64;
        let mut cost = |&column: &u32| {
            let Column { waste: own, uses } = &all[column as usize];
            let own = waste * to_f64(*own);
            let (mut sum, mut size) = (constant + own, own.abs());
            for &(item, count) in uses {
                let term = items[usize::from(item)] * f64::from(count);
                sum += term;
                size += term.abs();
            }
            greatest = greatest.max(size);
            sum
        };
        let mut costs: SmallVec<[f64; 64]> = columns.iter().map(&mut cost).collect();
        let mut greatest = greatest + constant.abs();
        for (price, list) in prices.lists(stage.instance.pumps, block) {
            let mut most = 0.0_f64;
            for (sum, &column) in costs.iter_mut().zip(columns) {
                let term = price * list.get(column as usize).map_or(0.0, |&cost| to_f64(cost));
                *sum += term;
                most = most.max(term.abs());
            }
            greatest += most;
        }
        Rough { costs, error: greatest * ERROR }
    }

    /// How far a cost may be from one that is known exactly.
    fn beside(&self, exact: f64) -> f64 {
        self.error + exact.abs() * ERROR
    }

    /// Places of the columns that may be the cheapest, in order.
    pub(super) fn cheapest(&self) -> impl Iterator<Item = usize> + '_ {
        let least = self.costs.iter().copied().fold(f64::INFINITY, f64::min);
        let most = least + 2.0 * self.error;
        (0..self.costs.len()).filter(move |&at| self.costs[at] <= most)
    }

    /// Greatest rough cost that a column may have which is among the cheapest few of some places.
    pub(super) fn of_cheapest(&self, places: &[usize], few: usize) -> f64 {
        let mut least: SmallVec<[f64; 4]> = SmallVec::new();
        for &at in places {
            let cost = self.costs[at];
            if least.len() < few || least.last().is_some_and(|last| cost < *last) {
                least.truncate(few - 1);
                least.insert(least.partition_point(|other| *other <= cost), cost);
            }
        }
        least.last().map_or(f64::INFINITY, |last| last + 2.0 * self.error)
    }

    /// Whether the column at this place costs at most so much; `exact` says its cost where that is too near to tell.
    pub(super) fn is_at_most(&self, at: usize, most: i128, exact: impl Fn() -> i128) -> bool {
        let (cost, limit) = (self.costs[at], rounded(most));
        let beside = self.beside(limit);
        cost < limit - beside || cost <= limit + beside && exact() <= most
    }

    /// Whole part of a cost with something added, in whole 1/[`SCALE`]; `exact` says it where that is too near to tell.
    pub(super) fn whole_part(&self, at: usize, added: i128, exact: impl Fn() -> i128) -> i128 {
        let (cost, beside) = (self.costs[at] + rounded(added), self.beside(rounded(added)));
        let ends = [cost - beside, cost + beside].map(|end| end / rounded(SCALE));
        let [least, most] = ends.map(floor);
        let told = ends.iter().all(|end| end.abs() < TOLD_APART) && least == most;
        if told { i128::from(least) } else { exact() }
    }

    /// Greatest rough cost of a column whose exact cost is less than this.
    pub(super) fn below(&self, exact: i128) -> f64 {
        let limit = rounded(exact);
        limit + self.beside(limit)
    }
}

/// Whole numbers below this are told apart in floating point.
const TOLD_APART: f64 = 4_294_967_296.0;

/// Nearest number in floating point.
#[expect(clippy::cast_precision_loss, reason = "rounded, as the bound on the error allows for")]
pub(super) fn rounded(exact: i128) -> f64 {
    exact as f64
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    use super::Rough;
    use crate::choose::bound::{Allowed, Multipliers, SCALE, Stage};
    use crate::choose::instance::{Column, CostRow, Instance};

    /// Costs that differ by less than floating point can tell: every question is answered as the exact costs answer it.
    #[test]
    fn every_answer_is_that_of_the_exact_costs() {
        let mut rng = ChaCha8Rng::seed_from_u64(9);
        let (mut alike, mut far, mut wholes) = (0, 0, 0);
        for case in 0..2_000 {
            let items = rng.random_range(1..=5_u16);
            let count = rng.random_range(1..=9);
            let wastes = [0, 1, 1_000_000_007, 20_000_000_000];
            let mut column = || Column {
                uses: (0..items)
                    .map(|item| (item, rng.random_range(-2..=3_i16)))
                    .filter(|u| u.1 != 0)
                    .collect(),
                waste: wastes[rng.random_range(0..wastes.len())],
            };
            let columns: Vec<Column> = (0..count).map(|_| column()).collect();
            let lists = (0..count).map(|_| rng.random_range(0..=2)).collect();
            let instance = Instance {
                capacity: vec![3; usize::from(items)],
                classes: Vec::new(),
                blocks: vec![columns].into(),
                pumps: 1,
                tiers: vec![
                    CostRow::Served(vec![2]),
                    CostRow::Listed(vec![lists].into()),
                    CostRow::Waste,
                ],
            };
            // Nearly one price for all items.
            let most = [1_000, 1_000_000_000][case % 2];
            let price = SCALE * rng.random_range(1..=most) / 7;
            let mut near = || (price + rng.random_range(0..=2_i128), 0);
            let sets = instance.sets();
            let multipliers = Multipliers {
                sets: sets.iter().map(|_| near()).collect(),
                goals: vec![near().0, near().0],
            };
            let stage = Stage { instance: &instance, sets: &sets, tier: 2, limits: &[-2, 1] };
            let prices = stage.prices(&multipliers, &Allowed::all(&instance).ranges);
            let some: Vec<u32> = (0..count).collect();
            let exact: Vec<i128> =
                some.iter().map(|&column| stage.reduced(&prices, 0, column)).collect();
            let rough = Rough::of(stage, &prices, 0, &some);
            let least = rough.cheapest().map(|at| exact[at]).min();
            assert_eq!(least.as_ref(), exact.iter().min(), "case {case}");
            let places: Vec<usize> = (0..exact.len()).collect();
            for few in 1..=3 {
                let most = rough.of_cheapest(&places, few);
                let mut found: Vec<i128> = places
                    .iter()
                    .filter(|&&at| rough.costs[at] <= most)
                    .map(|&at| exact[at])
                    .collect();
                let mut all = exact.clone();
                found.sort_unstable();
                all.sort_unstable();
                let few = few.min(all.len());
                assert_eq!(found[..few], all[..few], "case {case}");
            }
            for (at, &cost) in exact.iter().enumerate() {
                for added in [0, 1, -1, SCALE / 3, -cost, 1 - cost, -1 - cost] {
                    let whole = (cost + added).div_euclid(SCALE);
                    let told = std::cell::Cell::new(true);
                    let found = rough.whole_part(at, added, || {
                        told.set(false);
                        whole
                    });
                    assert_eq!(found, whole, "case {case}");
                    wholes += usize::from(told.get());
                }
                for limit in exact.iter().flat_map(|limit| [limit - 1, *limit, limit + 1]) {
                    assert_eq!(rough.is_at_most(at, limit, || cost), cost <= limit, "case {case}");
                    assert!(cost >= limit || rough.costs[at] <= rough.below(limit), "case {case}");
                    let told = std::cell::Cell::new(true);
                    rough.is_at_most(at, limit, || {
                        told.set(false);
                        cost
                    });
                    (alike, far) =
                        (alike + usize::from(!told.get()), far + usize::from(told.get()));
                }
            }
        }
        assert!(alike > 10_000 && far > 10_000 && wholes > 3_000, "{alike} {far} {wholes}");
    }
}
