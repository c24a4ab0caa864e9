//! Exact lower bounds: the Lagrangian relaxation in integers, valid for any multipliers.
//!
//! A linear program in floating point proposes multipliers. They are rounded to multiples of 2^-50 and the
//! bound is computed in integers, so it is a proof and not an estimate. With multipliers `h, l >= 0` for the
//! most and least pieces of each set of items and `n >= 0` for the earlier goals, and the price `p` of an
//! item the sum of `h - l` over the sets that hold it, every plan costs at least
//!
//! `l.least - h.most - n.limit + sum over blocks of min(0, min over columns of c + p.uses + n.earlier)`.
//!
//! Source: Fisher, The Lagrangian relaxation method for solving integer programming problems,
//! Management Science 27 (1981), from memory; the inequality is elementary.
//!
//! # Decision
//!
//! Bounds are integers; the gap of a float solver is not trusted: a waste of 400 money to the millionth is beyond
//! its tolerance.

use std::sync::Arc;

use rayon::prelude::*;

use crate::choose::control::{Control, Pace};
use crate::choose::instance::{Column, CostRow, Instance, listed};
use crate::choose::rough::{Rough, rounded};
use crate::plan::Stop;

/// Unit of the multipliers: they are integers in 1/SCALE. So fine because a millionth of waste, as a row of the goal of
/// fewest pieces, has a price of some 1e-7 pieces, which is then multiplied by the waste of the whole fleet.
pub const SCALE: i128 = 1 << 50;

/// Limits on the total pieces of a set of items.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Range {
    /// Least total.
    pub least: i64,
    /// Most total; `None` without a limit.
    pub most: Option<i64>,
}

/// Multipliers, none negative: one per side of each range and one per earlier goal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Multipliers {
    /// By set of [`Instance::sets`]: multiplier of its most, and of its least.
    pub sets: Vec<(i128, i128)>,
    /// By earlier goal.
    pub goals: Vec<i128>,
}

impl Multipliers {
    /// Zero multipliers: the bound is then the sum of the cheapest columns.
    pub fn zero(sets: usize, tier: usize) -> Multipliers {
        Multipliers { sets: vec![(0, 0); sets], goals: vec![0; tier] }
    }

    /// The greatest of them.
    pub(super) fn largest(&self) -> i128 {
        let sets = self.sets.iter().flat_map(|&(most, least)| [most, least]);
        sets.chain(self.goals.iter().copied()).max().unwrap_or(0)
    }

    /// Part of the way to others of the same problem, in 2^-`places` of it.
    pub(super) fn towards(&self, to: &Multipliers, part: i128, places: u32) -> Multipliers {
        let go = |from: i128, to: i128| (from + ((to - from) >> places) * part).max(0);
        let sets = self.sets.iter().zip(&to.sets);
        let goals = self.goals.iter().zip(&to.goals);
        Multipliers {
            sets: sets.map(|(from, to)| (go(from.0, to.0), go(from.1, to.1))).collect(),
            goals: goals.map(|(&from, &to)| go(from, to)).collect(),
        }
    }
}

/// Prices that follow from multipliers in a part of the search space, in 1/SCALE.
#[derive(Debug, Clone)]
pub struct Prices {
    /// Price of one piece supplied, or one plate cut, by item; includes goals that count plates.
    supplied: Vec<i128>,
    /// Price of one piece that a pump takes, by item; includes goals that count pieces.
    taken: Vec<i128>,
    /// Price of one millionth of waste.
    waste: i128,
    /// Price of one millionth of purchase cost, and the purchase costs by supplier and column.
    bought: Option<(i128, Arc<Vec<Vec<i64>>>)>,
    /// Prices of costs that are listed, each with its list by block and column.
    listed: Vec<(i128, Arc<Vec<Vec<i64>>>)>,
    /// Price of serving, by pump; negative where it gains.
    serving: Vec<i128>,
    /// Constant part of the bound, independent of the columns taken.
    constant: i128,
    /// Prices of a piece in floating point, by item: of one supplied, of one taken.
    rough: [Vec<f64>; 2],
}

impl Prices {
    /// In floating point: prices of a piece by item, price of waste, and what the block costs in any case.
    pub(super) fn roughly(&self, is_pump: bool, block: usize) -> (&[f64], f64, f64) {
        let serving = self.serving.get(block).copied().unwrap_or(0);
        (&self.rough[usize::from(is_pump)], rounded(self.waste), rounded(serving))
    }

    /// Prices, in floating point, of costs that are listed by column, with the list of a block.
    pub(super) fn lists(&self, pumps: usize, block: usize) -> impl Iterator<Item = (f64, &[i64])> {
        let bought = self.bought.as_ref().zip(block.checked_sub(pumps));
        let bought = bought.map(|((price, asked), at)| (rounded(*price), &asked[at][..]));
        let listed =
            self.listed.iter().map(move |(price, costs)| (rounded(*price), &costs[block][..]));
        bought.into_iter().chain(listed)
    }

    /// Constant part of the bound, independent of the columns taken, in 1/SCALE.
    pub fn constant(&self) -> i128 {
        self.constant
    }

    /// Price of a piece that a pump takes, by item, in 1/SCALE.
    pub fn taken(&self, item: usize) -> i128 {
        self.taken[item]
    }

    /// Price of serving a pump, in 1/SCALE.
    pub fn serving(&self, pump: usize) -> i128 {
        self.serving[pump]
    }

    /// Mean absolute price of a piece, in 1/SCALE.
    pub fn mean(&self) -> i128 {
        let sum: i128 = self.supplied.iter().map(|price| price.abs()).sum();
        sum / i128::try_from(self.supplied.len().max(1)).unwrap_or(1)
    }
}

/// Part of the search space: the columns allowed per block, whether it may take none, and the limits on the
/// pieces of each set that all blocks together take, net of supply.
#[derive(Debug, Clone)]
pub struct Allowed {
    /// Columns allowed, by block, ascending.
    pub columns: Vec<Arc<Vec<u32>>>,
    /// Whether a block may take no column, by block.
    pub idle: Vec<bool>,
    /// Limits by set of [`Instance::sets`].
    pub ranges: Vec<Range>,
}

impl Allowed {
    /// Whole search space of the stock.
    pub fn all(instance: &Instance) -> Allowed {
        let all = |columns: &Vec<Column>| Arc::new((0..).take(columns.len()).collect());
        Allowed::within(instance, &instance.blocks.iter().map(all).collect::<Vec<_>>())
    }

    /// Search space of the stock over some of the columns.
    pub(super) fn within(instance: &Instance, some: &[Arc<Vec<u32>>]) -> Allowed {
        let most = instance.most();
        let columns = some
            .iter()
            .enumerate()
            .map(|(block, some)| {
                // A pump's column that needs more pieces than there can be is useless.
                let there = |&column: &u32| {
                    let mut uses = instance.column(block, column).uses.iter();
                    block >= instance.pumps
                        || uses.all(|&(item, count)| i64::from(count) <= most[usize::from(item)])
                };
                Arc::new(some.iter().copied().filter(there).collect())
            })
            .collect();
        let stock = instance.capacity.iter().map(|&most| Range { least: 0, most: Some(most) });
        let classes = instance.classes.iter().map(|_| Range { least: 0, most: None });
        Allowed {
            columns,
            // A supplier always takes a column; one of them supplies zero.
            idle: (0..instance.blocks.len()).map(|block| block < instance.pumps).collect(),
            ranges: stock.chain(classes).collect(),
        }
    }
}

/// One goal, with limits on the earlier ones.
#[derive(Debug, Clone, Copy)]
pub struct Stage<'a> {
    /// Problem.
    pub instance: &'a Instance,
    /// Sets of items: [`Instance::sets`].
    pub sets: &'a [Vec<u32>],
    /// Goal to minimise, by index.
    pub tier: usize,
    /// Upper limits on the earlier goals.
    pub limits: &'a [i64],
}

impl Stage<'_> {
    /// Prices of items and goals that follow from multipliers.
    pub fn prices(&self, multipliers: &Multipliers, ranges: &[Range]) -> Prices {
        let instance = self.instance;
        let mut items = vec![0; instance.capacity.len()];
        let mut constant = 0;
        for ((set, range), &(most, least)) in self.sets.iter().zip(ranges).zip(&multipliers.sets) {
            // A multiplier of a side without a limit proves nothing.
            let most = if range.most.is_some() { most } else { 0 };
            if most == 0 && least == 0 {
                continue;
            }
            constant -= most * i128::from(range.most.unwrap_or(0));
            constant += least * i128::from(range.least);
            for &item in set {
                items[item as usize] += most - least;
            }
        }
        for (multiplier, limit) in multipliers.goals.iter().zip(self.limits) {
            constant -= multiplier * i128::from(*limit);
        }
        let mut prices = Prices {
            taken: items.clone(),
            supplied: items,
            waste: 0,
            bought: None,
            listed: Vec::new(),
            serving: vec![0; instance.pumps],
            constant,
            rough: [Vec::new(), Vec::new()],
        };
        let goals = multipliers.goals.iter().copied().chain([SCALE]);
        for (tier, goal) in instance.tiers.iter().zip(goals) {
            if goal == 0 {
                continue;
            }
            match tier {
                CostRow::Served(gains) => {
                    for (serving, gain) in prices.serving.iter_mut().zip(gains) {
                        *serving -= goal * i128::from(*gain);
                    }
                }
                // A budget and the goal of low purchase cost price the same columns.
                CostRow::Bought(asked) => match &mut prices.bought {
                    Some((price, _)) => *price += goal,
                    none => *none = Some((goal, Arc::clone(asked))),
                },
                CostRow::Listed(costs) => prices.listed.push((goal, Arc::clone(costs))),
                CostRow::Waste => prices.waste += goal,
                CostRow::Pieces(each) => {
                    for (price, each) in prices.taken.iter_mut().zip(each) {
                        *price += goal * i128::from(*each);
                    }
                }
                CostRow::Plates(each) => {
                    for (price, each) in prices.supplied.iter_mut().zip(each) {
                        *price += goal * i128::from(*each);
                    }
                }
            }
        }
        let roughly = |prices: &[i128]| prices.iter().map(|&price| rounded(price)).collect();
        prices.rough = [roughly(&prices.supplied), roughly(&prices.taken)];
        prices
    }

    /// Reduced cost of a column, in 1/SCALE.
    pub fn reduced(&self, prices: &Prices, block: usize, column: u32) -> i128 {
        let number = column as usize;
        let column = self.instance.column(block, column);
        let items = if block < self.instance.pumps { &prices.taken } else { &prices.supplied };
        let mut sum = prices.serving.get(block).copied().unwrap_or(0);
        sum += times(prices.waste, column.waste);
        if let (Some((price, asked)), Some(supplier)) =
            (&prices.bought, block.checked_sub(self.instance.pumps))
        {
            sum += times(*price, asked[supplier][number]);
        }
        for (price, costs) in &prices.listed {
            sum += times(*price, listed(costs, block, number));
        }
        for &(item, count) in &column.uses {
            sum += times(items[usize::from(item)], count.into());
        }
        sum
    }

    /// Cheapest reduced cost of every block with its column (`None` for taking none), and the bound in
    /// 1/SCALE; `None` if a block that must take a column has none left.
    ///
    /// # Errors
    /// Reason that the control stopped it.
    pub fn price(
        &self,
        prices: &Prices,
        allowed: &Allowed,
        control: &Control<'_>,
    ) -> Result<Option<Priced>, Stop> {
        let cheapest = by_block(allowed, control, |block, columns| {
            let idle = allowed.idle[block].then_some((0, None));
            let rough = Rough::of(*self, prices, block, columns);
            let near = rough.cheapest().map(|at| columns[at]);
            near.map(|column| (self.reduced(prices, block, column), Some(column)))
                .chain(idle)
                .min_by(|a, b| a.0.cmp(&b.0))
        })?;
        let Some(cheapest) = cheapest else { return Ok(None) };
        let sum: i128 = cheapest.iter().map(|(reduced, _)| reduced).sum();
        Ok(Some(Priced { bound: prices.constant + sum, cheapest }))
    }
}

/// Exact product. The check of a product of 128 bits takes longer than the product, and hardly any is so large.
fn times(price: i128, by: i64) -> i128 {
    if price.unsigned_abs() >> 79 == 0 && by.unsigned_abs() >> 47 == 0 {
        price.wrapping_mul(i128::from(by))
    } else {
        price * i128::from(by)
    }
}

/// Works on the columns of every block, side by side; `None` if it gives nothing of one of them.
///
/// # Errors
/// Reason that the control stopped it.
pub fn by_block<T: Send>(
    allowed: &Allowed,
    control: &Control<'_>,
    work: impl Fn(usize, &[u32]) -> Option<T> + Sync,
) -> Result<Option<Vec<T>>, Stop> {
    let columns: usize = allowed.columns.iter().map(|columns| columns.len()).sum();
    let at_once = if columns < FEW { allowed.columns.len().max(1) } else { AT_ONCE };
    let blocks = allowed.columns.par_iter().enumerate().with_min_len(at_once);
    let done = blocks
        .map_init(
            || Pace::of(control),
            |pace, (block, columns)| match pace.stop(columns.len()) {
                Some(stop) => Err(Some(stop)),
                None => work(block, columns).ok_or(None),
            },
        )
        .collect::<Result<Vec<T>, Option<Stop>>>();
    match done {
        Ok(done) => Ok(Some(done)),
        Err(stop) => stop.map_or(Ok(None), Err),
    }
}

/// Least number of blocks per thread when pricing: fewer are not worth a second thread.
pub const AT_ONCE: usize = 32;

/// Columns that are priced on one thread: to wake another takes as long.
const FEW: usize = 10_000;

/// Result of [`Stage::price`].
#[derive(Debug, Clone)]
pub struct Priced {
    /// Bound, in 1/SCALE.
    pub bound: i128,
    /// Reduced cost and column, by block.
    pub cheapest: Vec<(i128, Option<u32>)>,
}

/// Bound in 1/SCALE rounded up to a multiple of `grain`, of which every plan's cost is a multiple.
pub fn round_up(bound: i128, cost_step: i64) -> i64 {
    let step = SCALE * i128::from(cost_step.max(1));
    let steps = -(-bound).div_euclid(step);
    i64::try_from(steps * i128::from(cost_step.max(1))).unwrap_or(i64::MIN)
}

#[cfg(test)]
mod tests {
    use super::{SCALE, round_up};

    #[test]
    fn a_bound_is_rounded_up_to_a_whole_step() {
        assert_eq!(round_up(7 * SCALE + 1, 1), 8);
        assert_eq!(round_up(-7 * SCALE - 1, 1), -7);
        assert_eq!(round_up(7 * SCALE, 5), 10);
    }
}
