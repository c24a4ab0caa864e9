//! Exact lower bounds: a Lagrangian in whole numbers, valid for any multipliers.
//!
//! A linear program in floating point proposes multipliers; this file rounds them to whole
//! numbers of 2^-40 and computes with integers only, so what it returns is a proof and not an
//! estimate. With multipliers `h, l >= 0` for the most and least pieces of each set of items and
//! `n >= 0` for the earlier goals, and item prices `p` = sum of `h - l` over the sets that hold
//! the item, every plan costs at least
//!
//! `l.least - h.most - n.limit + sum over pumps of min(0, min over columns of c + p.uses + n.earlier)`.
//!
//! Source: Fisher, The Lagrangian relaxation method for solving integer programming problems,
//! Management Science 27 (1981), from memory; the inequality is elementary.

use std::sync::Arc;

use crate::choose::instance::Instance;

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
        Multipliers {
            sets: vec![(0, 0); sets],
            goals: vec![0; tier],
        }
    }
}

/// What multipliers come to inside a part of the search space.
#[derive(Debug, Clone)]
pub struct Prices {
    /// Price of one piece, by item.
    items: Vec<i128>,
    /// By earlier goal.
    goals: Vec<i128>,
    /// The part of the bound that no pump's choice changes.
    constant: i128,
}

impl Prices {
    /// The part of the bound that no pump's choice changes, in 1/SCALE.
    pub fn constant(&self) -> i128 {
        self.constant
    }
}

/// A part of the search space: the columns that each pump may still take, whether it may take
/// none, and how many pieces of each set of items all pumps may take together.
#[derive(Debug, Clone)]
pub struct Allowed {
    /// Per pump, ascending.
    pub columns: Vec<Arc<Vec<u32>>>,
    /// Per pump.
    pub idle: Vec<bool>,
    /// Per set of [`Instance::sets`].
    pub ranges: Vec<Range>,
}

impl Allowed {
    /// Everything that the stock allows.
    pub fn all(instance: &Instance) -> Allowed {
        let columns = instance
            .pumps
            .iter()
            .map(|columns| Arc::new((0..).take(columns.len()).collect()))
            .collect();
        let stock = instance.capacity.iter().map(|&most| Range {
            least: 0,
            most: Some(most),
        });
        let classes = instance.classes.iter().map(|_| Range {
            least: 0,
            most: None,
        });
        Allowed {
            columns,
            idle: vec![true; instance.pumps.len()],
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
        let mut items = vec![0; self.instance.capacity.len()];
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
        Prices {
            items,
            goals: multipliers.goals.clone(),
            constant,
        }
    }

    /// A column's reduced cost, in 1/SCALE.
    pub fn reduced(&self, prices: &Prices, pump: usize, column: u32) -> i128 {
        let mut sum = SCALE * i128::from(self.instance.cost(self.tier, pump, column));
        for &(item, count) in &self.instance.column(pump, column).uses {
            sum += prices.items[item as usize] * i128::from(count);
        }
        for (goal, price) in prices.goals.iter().enumerate() {
            if *price != 0 {
                sum += price * i128::from(self.instance.cost(goal, pump, column));
            }
        }
        sum
    }

    /// Every pump's cheapest reduced cost, its column (`None` for taking none), and the bound in
    /// 1/SCALE; `None` if a pump that must be served has no column left.
    pub fn price(&self, prices: &Prices, allowed: &Allowed) -> Option<Priced> {
        let mut bound = prices.constant;
        let mut cheapest = Vec::with_capacity(allowed.columns.len());
        for (pump, columns) in allowed.columns.iter().enumerate() {
            let idle = allowed.idle[pump].then_some((0, None));
            let best = columns
                .iter()
                .map(|&column| (self.reduced(prices, pump, column), Some(column)))
                .chain(idle)
                .min_by(|a, b| a.0.cmp(&b.0))?;
            bound += best.0;
            cheapest.push(best);
        }
        Some(Priced { bound, cheapest })
    }
}

/// What [`Stage::price`] finds.
#[derive(Debug, Clone)]
pub struct Priced {
    /// The bound, in 1/SCALE.
    pub bound: i128,
    /// By pump: reduced cost and column.
    pub cheapest: Vec<(i128, Option<u32>)>,
}

/// A bound in 1/SCALE rounded up to a whole multiple of `grain`, since every plan's cost is one.
///
/// ```
/// use gapwright::choose::bound::{SCALE, round_up};
/// assert_eq!(round_up(7 * SCALE + 1, 1), 8);
/// assert_eq!(round_up(-7 * SCALE - 1, 1), -7);
/// assert_eq!(round_up(7 * SCALE, 5), 10);
/// ```
pub fn round_up(bound: i128, grain: i64) -> i64 {
    let step = SCALE * i128::from(grain.max(1));
    let steps = -(-bound).div_euclid(step);
    i64::try_from(steps * i128::from(grain.max(1))).unwrap_or(i64::MIN)
}
