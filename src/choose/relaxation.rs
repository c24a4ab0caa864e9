//! The linear programs that are not of the shape of [`simplex`](mod@crate::choose::simplex): the only door to good_lp.
//!
//! Backends differ in what they tell beside the solution, so the multipliers are got by solving
//! the dual as a linear program of its own. Both are asked in scaled floating point and both
//! answers are only advice: bounds are recomputed in integers, plans are checked.
//!
//! Most blocks are *clear*: near the multipliers at hand one column of theirs is best by far.
//! They are held at it, and a linear program has rows only for the others, which are few.
//!
//! # Decisions
//!
//! - The dual is solved as a program of its own, because the pure-Rust backend gives no multipliers.
//! - A pump that must be served is an equation here, not only a row on the weight: a multiplier bounded from above
//!   proved too little.

#[cfg(feature = "microlp")]
use std::collections::HashMap;
#[cfg(feature = "microlp")]
use std::time::Duration;

#[cfg(feature = "highs")]
use good_lp::Solution;
use good_lp::{
    Constraint, Expression, ProblemVariables, SolverModel, Variable, constraint, variable,
};

use crate::choose::bound::{Allowed, Multipliers, Prices, Range, SCALE, Stage};
use crate::choose::control::Control;
use crate::choose::instance::CostRow;

/// The library that solves the linear programs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Backend {
    /// microlp, in Rust.
    #[cfg(feature = "microlp")]
    MicroLp,
    /// HiGHS, in C++.
    #[cfg(feature = "highs")]
    Highs,
}

impl Backend {
    /// Those that are built in, the one used unless told otherwise first.
    pub const BUILT_IN: &[Backend] = &[
        #[cfg(feature = "highs")]
        Backend::Highs,
        #[cfg(feature = "microlp")]
        Backend::MicroLp,
    ];

    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            #[cfg(feature = "microlp")]
            Backend::MicroLp => "microlp",
            #[cfg(feature = "highs")]
            Backend::Highs => "HiGHS",
        }
    }
}

impl Default for Backend {
    fn default() -> Backend {
        Backend::BUILT_IN[0]
    }
}

/// A block and one of its columns.
pub type Entry = (usize, u32);

/// Options of a block in a linear program.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Options {
    /// The columns that it may take.
    pub columns: Vec<u32>,
    /// Whether it may take none.
    pub idle: bool,
}

impl Options {
    /// The one thing that it may do, if there is just one; `Some(None)` is to take none.
    fn only(&self) -> Option<Option<u32>> {
        match (self.columns.as_slice(), self.idle) {
            ([], true) => Some(None),
            ([column], false) => Some(Some(*column)),
            _ => None,
        }
    }
}

/// Solution of a linear program; advice only.
#[derive(Debug, Clone)]
pub struct Advice {
    /// The multipliers.
    pub multipliers: Multipliers,
    /// Whether the box held them back.
    pub at_bound: bool,
}

/// How a multiplier moves from the middle of the box.
#[derive(Clone, Copy)]
struct Way {
    up: Variable,
    down: Variable,
    middle: f64,
    reach: f64,
    most: f64,
}

impl Way {
    fn add_to(&self, sum: &mut Expression, amount: f64) {
        sum.add_mul(amount, self.up);
        sum.add_mul(-amount, self.down);
    }

    /// Where it comes out.
    fn to(&self, value: &dyn Fn(Variable) -> f64) -> f64 {
        self.middle + value(self.up) - value(self.down)
    }

    /// Whether the box, and not what it can be at all, held it back.
    fn at_bound(&self, value: &dyn Fn(Variable) -> f64) -> bool {
        let moved = self.to(value) - self.middle;
        let inner = self.reach * (1.0 - 1e-6);
        moved >= inner && self.middle + self.reach < self.most
            || -moved >= inner && self.middle > self.reach
    }
}

/// The most that a multiplier may be, in scaled terms. Keeps the dual bounded where no plan over
/// the columns at hand keeps the earlier goals.
const MOST_MULTIPLIER: f64 = 1e5;

/// A stage over the options at hand, in scaled floating point.
#[derive(Debug, Clone, Copy)]
pub struct Program<'a> {
    /// The goal.
    pub stage: Stage<'a>,
    /// The ranges in force.
    pub ranges: &'a [Range],
    /// By block.
    pub options: &'a [Options],
    /// Divisors of the numbers of each goal: [`scales`].
    pub scales: &'a [f64],
}

/// About the greatest cost of a column on each goal up to the stage's own, one at least: of the first and the last
/// allowed column of each block.
pub fn scales(stage: Stage<'_>, allowed: &Allowed) -> Vec<f64> {
    let scale = |tier: usize| {
        let blocks = allowed.columns.iter().enumerate();
        let costs = blocks.flat_map(|(block, columns)| {
            let ends = columns.first().into_iter().chain(columns.last());
            ends.map(move |&column| stage.instance.cost(tier, block, column).abs())
        });
        to_f64(costs.max().unwrap_or(1).max(1))
    };
    (0..=stage.tier).map(scale).collect()
}

#[expect(clippy::cast_precision_loss, reason = "advice only: bounds are recomputed in integers")]
pub(super) fn to_f64(number: i64) -> f64 {
    number as f64
}

/// Whole part of a number; right where that is below 2^53.
#[expect(
    clippy::cast_possible_truncation,
    reason = "whole, and asked for where it is far below 2^53"
)]
pub(super) fn floor(number: f64) -> i64 {
    number.floor() as i64
}

/// A multiplier in scaled floating point.
#[expect(clippy::cast_precision_loss, reason = "advice only: bounds are recomputed in integers")]
fn scaled_to_f64(multiplier: i128, scale: f64) -> f64 {
    multiplier as f64 / SCALE as f64 / scale
}

impl Program<'_> {
    fn cost(&self, tier: usize, (block, column): Entry) -> f64 {
        to_f64(self.stage.instance.cost(tier, block, column)) / self.scales[tier]
    }

    fn limit(&self, tier: usize) -> f64 {
        to_f64(self.stage.limits[tier]) / self.scales[tier]
    }

    /// The goal's own scale.
    fn aim(&self) -> f64 {
        self.scales[self.stage.tier]
    }

    fn uses(&self, (block, column): Entry) -> impl Iterator<Item = (usize, f64)> + '_ {
        let uses = &self.stage.instance.column(block, column).uses;
        uses.iter().map(|&(item, count)| (usize::from(item), f64::from(count)))
    }

    /// Whether nothing that is still open changes an earlier goal: all pumps that it counts must
    /// be served anyway. Its multiplier would be anything.
    fn settled(&self, tier: usize) -> bool {
        match &self.stage.instance.tiers[tier] {
            CostRow::Served(gains) => gains
                .iter()
                .zip(self.options)
                .all(|(gain, options)| *gain == 0 || !options.idle || options.columns.is_empty()),
            _ => false,
        }
    }

    /// The multipliers that are best for these options in a box of `reach` around `middle`, whose
    /// prices are `prices`; `None` if the backend gives none.
    ///
    /// The variables are how far each multiplier goes up or down from the middle, and how far each
    /// block falls below the option that is cheapest there. So the middle itself is where the
    /// backend starts from, with nothing to be put right first. `None` too where the control stops it.
    pub fn multipliers(
        &self,
        middle: &Multipliers,
        prices: &Prices,
        reach: f64,
        control: &Control<'_>,
    ) -> Option<Advice> {
        let Program { stage, ranges, .. } = *self;
        let aim = self.aim();
        let mut variables = ProblemVariables::new();
        // A multiplier's way up and down, at most `most`.
        let mut ways = |most: f64, middle: f64| {
            let reach = reach * (1.0 + middle);
            let up = variables.add(variable().bounds(0.0..=reach.min((most - middle).max(0.0))));
            let down = variables.add(variable().bounds(0.0..=reach.min(middle)));
            Way { up, down, middle, reach, most }
        };
        // What a piece of each item costs more than in the middle, as a sum of variables.
        let mut items: Vec<Vec<(Way, f64)>> = vec![Vec::new(); stage.instance.capacity.len()];
        let mut objective = Expression::default();
        let mut sets = Vec::with_capacity(ranges.len());
        for ((set, range), &(most, least)) in stage.sets.iter().zip(ranges).zip(&middle.sets) {
            let mut side = |limit: i64, most: f64, middle: i128, sign: f64| {
                let way = ways(most, scaled_to_f64(middle, aim));
                way.add_to(&mut objective, sign * to_f64(limit));
                set.iter().for_each(|&item| items[item as usize].push((way, sign)));
                way
            };
            let most = range.most.map(|limit| side(limit, MOST_MULTIPLIER, most, 1.0));
            let least = (range.least > 0).then(|| side(range.least, MOST_MULTIPLIER, least, -1.0));
            sets.push((most, least));
        }
        let goals: Vec<Option<Way>> = (0..stage.tier)
            .map(|tier| {
                if self.settled(tier) {
                    return None;
                }
                let scale = aim / self.scales[tier];
                let way = ways(MOST_MULTIPLIER, scaled_to_f64(middle.goals[tier], scale));
                way.add_to(&mut objective, self.limit(tier));
                Some(way)
            })
            .collect();
        // What an option costs more than in the middle.
        let priced = |block: usize, option: Option<u32>, into: &mut Expression, sign: f64| {
            let Some(column) = option else { return };
            let entry = (block, column);
            for (item, count) in self.uses(entry) {
                for (way, side) in &items[item] {
                    way.add_to(into, sign * side * count);
                }
            }
            for (tier, goal) in goals.iter().enumerate() {
                if let Some(goal) = goal {
                    goal.add_to(into, sign * self.cost(tier, entry));
                }
            }
        };
        let mut rows: Vec<(Expression, f64)> = Vec::new();
        for (block, options) in self.options.iter().enumerate() {
            let columns = options.columns.iter().map(|&column| {
                let reduced = stage.reduced(prices, block, column);
                (reduced, Some(column))
            });
            let choices: Vec<(i128, Option<u32>)> =
                columns.chain(options.idle.then_some((0, None))).collect();
            let &(cheapest, base) = choices.iter().min_by_key(|(reduced, _)| *reduced)?;
            priced(block, base, &mut objective, -1.0);
            if choices.len() == 1 {
                continue;
            }
            let below = variables.add(variable().min(0.0));
            objective.add_mul(1.0, below);
            for (reduced, option) in choices {
                if option == base {
                    continue;
                }
                let mut left = Expression::from(below);
                priced(block, option, &mut left, 1.0);
                priced(block, base, &mut left, -1.0);
                rows.push((left, -scaled_to_f64(reduced - cheapest, aim)));
            }
        }
        let rows = rows.into_iter().map(|(left, right)| constraint!(left >= right));
        let value = solve(variables, objective, rows, control)?;
        let all = sets.iter().flat_map(|(most, least)| [most, least]).chain(&goals);
        let at_bound = all.flatten().any(|way| way.at_bound(&value));
        let whole = |way: &Option<Way>, scale: f64, limit: i64| match way {
            Some(way) => whole_multiplier(way.to(&value) * scale, limit),
            None => Some(0),
        };
        let multipliers = Multipliers {
            sets: sets
                .iter()
                .zip(ranges)
                .map(|((most, least), range)| {
                    Some((
                        whole(most, aim, range.most.unwrap_or(0))?,
                        whole(least, aim, range.least)?,
                    ))
                })
                .collect::<Option<_>>()?,
            goals: goals
                .iter()
                .zip(self.scales)
                .zip(stage.limits)
                .map(|((way, scale), &limit)| whole(way, aim / scale, limit))
                .collect::<Option<_>>()?,
        };
        Some(Advice { multipliers, at_bound })
    }

    /// How much of each option the relaxed problem takes, those it takes nothing of left out; `None`
    /// if the backend gives nothing or the control stops it.
    pub fn fractions(&self, control: &Control<'_>) -> Option<Vec<(Entry, f64)>> {
        let Program { stage, ranges, options, .. } = *self;
        let mut variables = ProblemVariables::new();
        let mut objective = Expression::default();
        let mut items = vec![Expression::default(); stage.instance.capacity.len()];
        let mut goals = vec![Expression::default(); stage.tier];
        let mut blocks = Vec::new();
        let mut columns: Vec<(Entry, Option<Variable>)> = Vec::new();
        for (block, options) in options.iter().enumerate() {
            let only = options.only();
            let mut sum = Expression::default();
            for &column in &options.columns {
                let entry = (block, column);
                // The only option is taken whole.
                let v = match only {
                    Some(_) => None,
                    None => Some(variables.add(variable().min(0.0))),
                };
                let add = |into: &mut Expression, amount: f64| match v {
                    Some(v) => into.add_mul(amount, v),
                    None => *into += amount,
                };
                add(&mut objective, self.cost(stage.tier, entry));
                add(&mut sum, 1.0);
                for (item, count) in self.uses(entry) {
                    add(&mut items[item], count);
                }
                for (tier, goal) in goals.iter_mut().enumerate() {
                    add(goal, self.cost(tier, entry));
                }
                columns.push((entry, v));
            }
            if only.is_none() {
                blocks.push((sum, options.idle));
            }
        }
        // What a limit is missed by, at the price that bounds the dual.
        let mut miss = || {
            let v = variables.add(variable().min(0.0));
            objective.add_mul(MOST_MULTIPLIER, v);
            v
        };
        let mut constraints = Vec::new();
        for (block, idle) in blocks {
            constraints.push(if idle {
                constraint!(block <= 1.0)
            } else {
                constraint!(block + miss() == 1.0)
            });
        }
        for (set, range) in stage.sets.iter().zip(ranges) {
            let total: Expression = set.iter().map(|&item| items[item as usize].clone()).sum();
            if let Some(most) = range.most {
                constraints.push(constraint!(total.clone() - miss() <= to_f64(most)));
            }
            if range.least > 0 {
                constraints.push(constraint!(total + miss() >= to_f64(range.least)));
            }
        }
        for (tier, goal) in goals.into_iter().enumerate() {
            constraints.push(constraint!(goal - miss() <= self.limit(tier)));
        }
        let value = solve(variables, objective, constraints, control)?;
        let shares: Vec<(Entry, f64)> =
            columns.into_iter().map(|(entry, v)| (entry, v.map_or(1.0, &value))).collect();
        let whole = shares.iter().all(|(_, share)| share.is_finite());
        whole.then(|| shares.into_iter().filter(|(_, v)| *v > 1e-9).collect())
    }
}

/// A multiplier in whole 1/SCALE; tiny negatives are nothing, and one whose product with its
/// limit would be absurdly large is refused.
pub(super) fn whole_multiplier(value: f64, limit: i64) -> Option<i128> {
    if !value.is_finite() || value * to_f64(limit.abs().max(1_000_000)) > 1e21 {
        return None;
    }
    #[expect(clippy::cast_possible_truncation, reason = "checked to be finite and far below 2^127")]
    #[expect(clippy::cast_precision_loss, reason = "SCALE is a power of two")]
    let whole = (value.max(0.0) * SCALE as f64).round() as i128;
    Some(whole)
}

/// Where the variables of a linear program come out.
type Values = Box<dyn Fn(Variable) -> f64>;

/// Minimises, and returns where the variables come out; `None` where the control stops it.
fn solve(
    variables: ProblemVariables,
    objective: Expression,
    rows: impl IntoIterator<Item = Constraint>,
    control: &Control<'_>,
) -> Option<Values> {
    if control.stop().is_some() {
        return None;
    }
    match control.backend {
        #[cfg(feature = "microlp")]
        Backend::MicroLp => by_microlp(variables, objective, rows, control),
        #[cfg(feature = "highs")]
        Backend::Highs => by_highs(variables, objective, rows, control),
    }
}

/// How long microlp goes on by itself. It looks at its own clock once in a thousand pivots, and goes on
/// later where it was, so the pivots are the same however often it is held.
#[cfg(feature = "microlp")]
const SLICE: Duration = Duration::from_millis(50);

#[cfg(feature = "microlp")]
fn by_microlp(
    variables: ProblemVariables,
    objective: Expression,
    rows: impl IntoIterator<Item = Constraint>,
    control: &Control<'_>,
) -> Option<Values> {
    let names: Vec<Variable> = variables.iter_variables_with_def().map(|(name, _)| name).collect();
    let mut model = variables.minimise(objective).using(good_lp::microlp);
    for row in rows {
        model.add_constraint(row);
    }
    let mut options = microlp::SolveOptions::default();
    options.time_limit = Some(SLICE);
    let mut outcome = model.as_inner().solve_with(options).ok()?;
    while outcome.solution().is_none() {
        if control.stop().is_some() {
            return None;
        }
        outcome = outcome.resume().ok()?;
    }
    let values = outcome.solution()?.iter().map(|(_, value)| value);
    let values: HashMap<Variable, f64> = names.into_iter().zip(values).collect();
    Some(Box::new(move |name| values.get(&name).copied().unwrap_or(f64::NAN)))
}

/// HiGHS is told the time that is left; it cannot be interrupted before.
#[cfg(feature = "highs")]
fn by_highs(
    variables: ProblemVariables,
    objective: Expression,
    rows: impl IntoIterator<Item = Constraint>,
    control: &Control<'_>,
) -> Option<Values> {
    let mut model = variables.minimise(objective).using(good_lp::highs);
    model.set_verbose(false);
    if let Some(left) = control.left() {
        model = model.set_time_limit(left.as_secs_f64());
    }
    for row in rows {
        model.add_constraint(row);
    }
    let solution = model.solve().ok()?;
    Some(Box::new(move |name| solution.value(name)))
}
