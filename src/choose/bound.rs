//! Exact lower bounds: a Lagrangian in whole numbers, valid for any multipliers.
//!
//! A linear program in floating point proposes multipliers; this file rounds them to whole
//! numbers of 2^-40 and computes with integers only, so what it returns is a proof and not an
//! estimate. With multipliers `h, l >= 0` for the most and least pieces of each set of items and
//! `n >= 0` for the earlier goals, and item prices `p` = sum of `h - l` over the sets that hold
//! the item, every plan costs at least
//!
//! `l.least - h.most - n.limit + sum over takers of min(0, min over columns of c + p.uses + n.earlier)`.
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

use crate::choose::instance::{Instance, Tier};
use crate::choose::watch::{Pace, Watch};
use crate::plan::Stop;

/// Multipliers are whole numbers of 1/SCALE.
pub const SCALE: i128 = 1 << 40;

/// How many pieces of a set of items a plan may take in all.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Range {
    /// At least.
    pub least: i64,
    /// At most; `None` for any number.
    pub most: Option<i64>,
}

/// A multiplier for each side of each range and for each earlier goal, none negative.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Multipliers {
    /// By set of [`Instance::sets`]: of its most, and of its least.
    pub sets: Vec<(i128, i128)>,
    /// By earlier goal.
    pub goals: Vec<i128>,
}

impl Multipliers {
    /// All nothing: the bound is then the sum of the cheapest columns.
    pub fn zero(sets: usize, tier: usize) -> Multipliers {
        Multipliers { sets: vec![(0, 0); sets], goals: vec![0; tier] }
    }
}

/// What multipliers come to inside a part of the search space, in 1/SCALE.
#[derive(Debug, Clone)]
pub struct Prices {
    /// Price of one piece supplied, by item.
    supplied: Vec<i128>,
    /// Price of one piece that a pump takes, by item: goals that count pieces weigh in.
    taken: Vec<i128>,
    /// Price of one millionth of waste.
    waste: i128,
    /// Price of one millionth of what suppliers ask, and what they ask by supplier and column.
    bought: Option<(i128, Arc<Vec<Vec<i64>>>)>,
    /// By pump, what serving it costs at all (less than nothing where it gains).
    serving: Vec<i128>,
    /// The part of the bound that no taker's choice changes.
    constant: i128,
}

impl Prices {
    /// The part of the bound that no taker's choice changes, in 1/SCALE.
    pub fn constant(&self) -> i128 {
        self.constant
    }

    /// The mean price of a piece, signs left out, in 1/SCALE.
    pub fn mean(&self) -> i128 {
        let sum: i128 = self.supplied.iter().map(|price| price.abs()).sum();
        sum / i128::try_from(self.supplied.len().max(1)).unwrap_or(1)
    }
}

/// A part of the search space: the columns that each taker may still take, whether it may take
/// none, and how many pieces of each set of items all takers may take together, less what the
/// suppliers put in.
#[derive(Debug, Clone)]
pub struct Allowed {
    /// Per taker, ascending.
    pub columns: Vec<Arc<Vec<u32>>>,
    /// Per taker.
    pub idle: Vec<bool>,
    /// Per set of [`Instance::sets`].
    pub ranges: Vec<Range>,
}

impl Allowed {
    /// Everything that the stock allows.
    pub fn all(instance: &Instance) -> Allowed {
        let most = instance.most();
        let columns = instance
            .takers
            .iter()
            .enumerate()
            .map(|(taker, columns)| {
                // A pump's column that asks for more than there is at all is of no use.
                let there = |&column: &u32| {
                    taker >= instance.pumps
                        || columns[column as usize]
                            .uses
                            .iter()
                            .all(|&(item, count)| i64::from(count) <= most[usize::from(item)])
                };
                Arc::new((0..).take(columns.len()).filter(there).collect())
            })
            .collect();
        let stock = instance.capacity.iter().map(|&most| Range { least: 0, most: Some(most) });
        let classes = instance.classes.iter().map(|_| Range { least: 0, most: None });
        Allowed {
            columns,
            // A supplier always takes a column, if only the one that supplies nothing.
            idle: (0..instance.takers.len()).map(|taker| taker < instance.pumps).collect(),
            ranges: stock.chain(classes).collect(),
        }
    }
}

/// One goal under limits on the earlier ones.
#[derive(Debug, Clone, Copy)]
pub struct Stage<'a> {
    /// The problem.
    pub instance: &'a Instance,
    /// [`Instance::sets`] of it.
    pub sets: &'a [Vec<u32>],
    /// The goal that is minimised.
    pub tier: usize,
    /// What the earlier goals may come to at most.
    pub limits: &'a [i64],
}

impl Stage<'_> {
    /// Prices of items and goals from multipliers.
    pub fn prices(&self, multipliers: &Multipliers, ranges: &[Range]) -> Prices {
        let instance = self.instance;
        let mut items = vec![0; instance.capacity.len()];
        let mut constant = 0;
        for ((set, range), &(most, least)) in self.sets.iter().zip(ranges).zip(&multipliers.sets) {
            // A multiplier of a side that has no limit proves nothing.
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
            serving: vec![0; instance.pumps],
            constant,
        };
        let goals = multipliers.goals.iter().copied().chain([SCALE]);
        for (tier, goal) in instance.tiers.iter().zip(goals) {
            if goal == 0 {
                continue;
            }
            match tier {
                Tier::Served(gains) => {
                    for (serving, gain) in prices.serving.iter_mut().zip(gains) {
                        *serving -= goal * i128::from(*gain);
                    }
                }
                // A budget and the goal of spending little are about the same purchase.
                Tier::Bought(asked) => match &mut prices.bought {
                    Some((price, _)) => *price += goal,
                    none => *none = Some((goal, Arc::clone(asked))),
                },
                Tier::Waste => prices.waste += goal,
                Tier::Pieces(each) => {
                    for (price, each) in prices.taken.iter_mut().zip(each) {
                        *price += goal * i128::from(*each);
                    }
                }
            }
        }
        prices
    }

    /// A column's reduced cost, in 1/SCALE.
    pub fn reduced(&self, prices: &Prices, taker: usize, column: u32) -> i128 {
        let number = column as usize;
        let column = self.instance.column(taker, column);
        let items = if taker < self.instance.pumps { &prices.taken } else { &prices.supplied };
        let mut sum = prices.serving.get(taker).copied().unwrap_or(0);
        sum += prices.waste * i128::from(column.waste);
        if let (Some((price, asked)), Some(supplier)) =
            (&prices.bought, taker.checked_sub(self.instance.pumps))
        {
            sum += price * i128::from(asked[supplier][number]);
        }
        for &(item, count) in &column.uses {
            sum += items[usize::from(item)] * i128::from(count);
        }
        sum
    }

    /// Every taker's cheapest reduced cost, its column (`None` for taking none), and the bound in
    /// 1/SCALE; `None` if one that must take a column has none left.
    ///
    /// # Errors
    /// Why the watch stopped it.
    pub fn price(
        &self,
        prices: &Prices,
        allowed: &Allowed,
        watch: &Watch<'_>,
    ) -> Result<Option<Priced>, Stop> {
        let cheapest = allowed
            .columns
            .par_iter()
            .enumerate()
            .with_min_len(AT_ONCE)
            .map_init(
                || Pace::of(watch),
                |pace, (taker, columns)| {
                    if let Some(stop) = pace.stop(columns.len()) {
                        return Err(Some(stop));
                    }
                    let idle = allowed.idle[taker].then_some((0, None));
                    columns
                        .iter()
                        .map(|&column| (self.reduced(prices, taker, column), Some(column)))
                        .chain(idle)
                        .min_by(|a, b| a.0.cmp(&b.0))
                        .ok_or(None)
                },
            )
            .collect::<Result<Vec<(i128, Option<u32>)>, Option<Stop>>>();
        let cheapest = match cheapest {
            Ok(cheapest) => cheapest,
            Err(stop) => return stop.map_or(Ok(None), Err),
        };
        let sum: i128 = cheapest.iter().map(|(reduced, _)| reduced).sum();
        Ok(Some(Priced { bound: prices.constant + sum, cheapest }))
    }
}

/// Takers that one thread prices at once: fewer are not worth a second thread.
pub const AT_ONCE: usize = 32;

/// What [`Stage::price`] finds.
#[derive(Debug, Clone)]
pub struct Priced {
    /// The bound, in 1/SCALE.
    pub bound: i128,
    /// By taker: reduced cost and column.
    pub cheapest: Vec<(i128, Option<u32>)>,
}

/// A bound in 1/SCALE rounded up to a whole multiple of `grain`, since every plan's cost is one.
pub fn round_up(bound: i128, grain: i64) -> i64 {
    let step = SCALE * i128::from(grain.max(1));
    let steps = -(-bound).div_euclid(step);
    i64::try_from(steps * i128::from(grain.max(1))).unwrap_or(i64::MIN)
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
