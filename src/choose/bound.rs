//! Exact lower bounds: a Lagrangian in whole numbers, valid for any multipliers.
//!
//! A linear program in floating point proposes multipliers; this file rounds them to whole
//! numbers of 2^-40 and computes with integers only, so what it returns is a proof and not an
//! estimate. For multipliers `l >= 0` of the capacity rows and `n >= 0` of the earlier goals,
//!
//! `cost >= sum over pumps of min(0, min over columns of c + l.uses + n.earlier) - l.capacity - n.limit`.
//!
//! Source: Fisher, The Lagrangian relaxation method for solving integer programming problems,
//! Management Science 27 (1981), from memory; the inequality is elementary.

use crate::choose::instance::Instance;

/// Multipliers are whole numbers of 1/SCALE.
pub const SCALE: i128 = 1 << 40;

/// A multiplier for each capacity and each earlier goal, none negative.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Multipliers {
    /// By item.
    pub items: Vec<i128>,
    /// By earlier goal.
    pub goals: Vec<i128>,
}

impl Multipliers {
    /// All nothing: the bound is then the sum of the cheapest columns.
    pub fn zero(instance: &Instance, tier: usize) -> Multipliers {
        Multipliers { items: vec![0; instance.capacity.len()], goals: vec![0; tier] }
    }
}

/// The columns that each pump may still take, and whether it may take none.
#[derive(Debug, Clone)]
pub struct Allowed {
    /// Per pump, ascending.
    pub columns: Vec<std::sync::Arc<Vec<u32>>>,
    /// Per pump.
    pub idle: Vec<bool>,
}

impl Allowed {
    /// Everything.
    pub fn all(instance: &Instance) -> Allowed {
        let columns = instance
            .pumps
            .iter()
            .map(|columns| std::sync::Arc::new((0..).take(columns.len()).collect()))
            .collect();
        Allowed { columns, idle: vec![true; instance.pumps.len()] }
    }
}

/// One goal under limits on the earlier ones.
#[derive(Debug, Clone, Copy)]
pub struct Stage<'a> {
    /// The problem.
    pub instance: &'a Instance,
    /// The goal that is minimised.
    pub tier: usize,
    /// What the earlier goals may come to at most.
    pub limits: &'a [i64],
}

impl Stage<'_> {
    /// A column's reduced cost, in 1/SCALE.
    pub fn reduced(&self, multipliers: &Multipliers, pump: usize, column: u32) -> i128 {
        let mut sum = SCALE * i128::from(self.instance.cost(self.tier, pump, column));
        for &(item, count) in &self.instance.column(pump, column).uses {
            sum += multipliers.items[item as usize] * i128::from(count);
        }
        for (goal, multiplier) in multipliers.goals.iter().enumerate() {
            if *multiplier != 0 {
                sum += multiplier * i128::from(self.instance.cost(goal, pump, column));
            }
        }
        sum
    }

    /// The part of the bound that no pump's choice changes, in 1/SCALE.
    pub fn constant(&self, multipliers: &Multipliers) -> i128 {
        let items: i128 = multipliers
            .items
            .iter()
            .zip(&self.instance.capacity)
            .map(|(multiplier, capacity)| multiplier * i128::from(*capacity))
            .sum();
        let goals: i128 = multipliers
            .goals
            .iter()
            .zip(self.limits)
            .map(|(multiplier, limit)| multiplier * i128::from(*limit))
            .sum();
        -items - goals
    }

    /// Every pump's cheapest reduced cost, its column (`None` for taking none), and the bound in
    /// 1/SCALE; `None` if a pump that must be served has no column left.
    pub fn price(&self, multipliers: &Multipliers, allowed: &Allowed) -> Option<Priced> {
        let mut bound = self.constant(multipliers);
        let mut cheapest = Vec::with_capacity(allowed.columns.len());
        for (pump, columns) in allowed.columns.iter().enumerate() {
            let idle = allowed.idle[pump].then_some((0, None));
            let best = columns
                .iter()
                .map(|&column| (self.reduced(multipliers, pump, column), Some(column)))
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
