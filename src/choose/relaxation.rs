//! The linear programs: the only door to good_lp.
//!
//! Backends differ in what they tell beside the solution, so the multipliers are got by solving
//! the dual as a linear program of its own. Both are asked in scaled floating point and both
//! answers are only advice: bounds are recomputed in integers, plans are checked.

use good_lp::{
    Expression, ProblemVariables, Solution, SolverModel, Variable, constraint, variable,
};

use crate::choose::bound::{Allowed, Multipliers, SCALE, Stage};

#[cfg(feature = "highs")]
use good_lp::highs as backend;
#[cfg(not(feature = "highs"))]
use good_lp::microlp as backend;

/// The name of the backend built in.
pub const BACKEND: &str = if cfg!(feature = "highs") {
    "HiGHS"
} else {
    "microlp"
};

/// A pump and one of its columns.
pub type Entry = (usize, u32);

/// The most that an earlier goal's multiplier may be, in scaled terms. Keeps the dual bounded
/// where no plan over the columns at hand keeps the earlier goals.
const MOST_MULTIPLIER: f64 = 1e5;

/// A stage over the columns at hand, in scaled floating point.
struct Scaled<'a> {
    stage: Stage<'a>,
    /// What a goal's numbers are divided by; the last one is the goal that is minimised.
    scales: Vec<f64>,
}

impl<'a> Scaled<'a> {
    fn new(stage: Stage<'a>, pool: &[Entry]) -> Scaled<'a> {
        let scale = |tier: usize| {
            let most = pool
                .iter()
                .map(|&(pump, column)| stage.instance.cost(tier, pump, column).abs())
                .max();
            to_f64(most.unwrap_or(1).max(1))
        };
        Scaled {
            stage,
            scales: (0..=stage.tier).map(scale).collect(),
        }
    }

    fn cost(&self, tier: usize, (pump, column): Entry) -> f64 {
        to_f64(self.stage.instance.cost(tier, pump, column)) / self.scales[tier]
    }

    fn limit(&self, tier: usize) -> f64 {
        to_f64(self.stage.limits[tier]) / self.scales[tier]
    }

    fn uses(&self, (pump, column): Entry) -> impl Iterator<Item = (usize, f64)> + '_ {
        let uses = &self.stage.instance.column(pump, column).uses;
        uses.iter()
            .map(|&(item, count)| (item as usize, f64::from(count)))
    }
}

#[expect(
    clippy::cast_precision_loss,
    reason = "advice only: bounds are recomputed in integers"
)]
fn to_f64(number: i64) -> f64 {
    number as f64
}

/// The multipliers that are best for the columns in `pool`; `None` if the backend gives none.
pub fn multipliers(stage: Stage<'_>, allowed: &Allowed, pool: &[Entry]) -> Option<Multipliers> {
    let ranges = &allowed.ranges;
    let scaled = Scaled::new(stage, pool);
    let instance = stage.instance;
    let mut variables = ProblemVariables::new();
    let mut objective = Expression::default();
    // A pump that must be served has an equation, whose multiplier may have either sign.
    let pumps: Vec<Variable> = allowed
        .idle
        .iter()
        .map(|&idle| variables.add(variable().min(if idle { 0.0 } else { -MOST_MULTIPLIER })))
        .collect();
    for &pump in &pumps {
        objective.add_mul(1.0, pump);
    }
    // The price of an item: what the sets that hold it add and take off.
    let mut items = vec![Vec::new(); instance.capacity.len()];
    let mut sets = Vec::with_capacity(ranges.len());
    for (set, range) in stage.sets.iter().zip(ranges) {
        let most = range.most.map(|most| {
            let v = variables.add(variable().min(0.0));
            objective.add_mul(to_f64(most), v);
            set.iter()
                .for_each(|&item| items[item as usize].push((v, 1.0)));
            v
        });
        let least = (range.least > 0).then(|| {
            let v = variables.add(variable().min(0.0).max(MOST_MULTIPLIER));
            objective.add_mul(-to_f64(range.least), v);
            set.iter()
                .for_each(|&item| items[item as usize].push((v, -1.0)));
            v
        });
        sets.push((most, least));
    }
    let goals: Vec<Variable> = (0..stage.tier)
        .map(|_| variables.add(variable().min(0.0).max(MOST_MULTIPLIER)))
        .collect();
    for (tier, &goal) in goals.iter().enumerate() {
        objective.add_mul(scaled.limit(tier), goal);
    }
    let mut model = variables.minimise(objective).using(backend);
    quiet(&mut model);
    for &entry in pool {
        let mut left = Expression::from(pumps[entry.0]);
        for (item, count) in scaled.uses(entry) {
            for &(v, sign) in &items[item] {
                left.add_mul(sign * count, v);
            }
        }
        for (tier, &goal) in goals.iter().enumerate() {
            left.add_mul(scaled.cost(tier, entry), goal);
        }
        model.add_constraint(constraint!(left >= -scaled.cost(stage.tier, entry)));
    }
    let solution = model.solve().ok()?;
    let aim = scaled.scales[stage.tier];
    let whole =
        |v: Variable, scale: f64, limit: i64| whole_multiplier(solution.value(v) * scale, limit);
    let side = |v: Option<Variable>, limit: i64| v.map_or(Some(0), |v| whole(v, aim, limit));
    Some(Multipliers {
        sets: sets
            .into_iter()
            .zip(ranges)
            .map(|((most, least), range)| {
                Some((
                    side(most, range.most.unwrap_or(0))?,
                    side(least, range.least)?,
                ))
            })
            .collect::<Option<_>>()?,
        goals: goals
            .iter()
            .zip(&scaled.scales)
            .zip(stage.limits)
            .map(|((&v, scale), &limit)| whole(v, aim / scale, limit))
            .collect::<Option<_>>()?,
    })
}

/// A multiplier in whole 1/SCALE; tiny negatives are nothing, and one whose product with its
/// limit would be absurdly large is refused.
fn whole_multiplier(value: f64, limit: i64) -> Option<i128> {
    if !value.is_finite() || value * to_f64(limit.abs().max(1_000_000)) > 1e24 {
        return None;
    }
    #[expect(
        clippy::cast_possible_truncation,
        reason = "checked to be finite and far below 2^127"
    )]
    #[expect(clippy::cast_precision_loss, reason = "SCALE is a power of two")]
    let whole = (value.max(0.0) * SCALE as f64).round() as i128;
    Some(whole)
}

/// How much of each column in `pool` the relaxed problem takes; `None` if the backend gives none.
pub fn fractions(stage: Stage<'_>, allowed: &Allowed, pool: &[Entry]) -> Option<Vec<f64>> {
    let ranges = &allowed.ranges;
    let scaled = Scaled::new(stage, pool);
    let instance = stage.instance;
    let mut variables = ProblemVariables::new();
    let columns: Vec<Variable> = pool
        .iter()
        .map(|_| variables.add(variable().min(0.0)))
        .collect();
    let mut objective = Expression::default();
    let mut pumps = vec![Expression::default(); instance.pumps.len()];
    let mut items = vec![Expression::default(); instance.capacity.len()];
    let mut goals = vec![Expression::default(); stage.tier];
    for (&entry, &column) in pool.iter().zip(&columns) {
        objective.add_mul(scaled.cost(stage.tier, entry), column);
        pumps[entry.0].add_mul(1.0, column);
        for (item, count) in scaled.uses(entry) {
            items[item].add_mul(count, column);
        }
        for (tier, goal) in goals.iter_mut().enumerate() {
            goal.add_mul(scaled.cost(tier, entry), column);
        }
    }
    // What a limit is missed by, at the price that bounds the dual.
    let mut miss = || {
        let v = variables.add(variable().min(0.0));
        objective.add_mul(MOST_MULTIPLIER, v);
        v
    };
    let mut constraints = Vec::new();
    for (pump, &idle) in pumps.into_iter().zip(&allowed.idle) {
        constraints.push(if idle {
            constraint!(pump <= 1.0)
        } else {
            constraint!(pump + miss() == 1.0)
        });
    }
    for (set, range) in stage.sets.iter().zip(ranges) {
        let total: Expression = set.iter().map(|&item| items[item as usize].clone()).sum();
        if let Some(most) = range.most {
            constraints.push(constraint!(total.clone() <= to_f64(most)));
        }
        if range.least > 0 {
            constraints.push(constraint!(total + miss() >= to_f64(range.least)));
        }
    }
    for (tier, goal) in goals.into_iter().enumerate() {
        constraints.push(constraint!(goal - miss() <= scaled.limit(tier)));
    }
    let mut model = variables.minimise(objective).using(backend);
    quiet(&mut model);
    for constraint in constraints {
        model.add_constraint(constraint);
    }
    let solution = model.solve().ok()?;
    let values: Vec<f64> = columns.iter().map(|&v| solution.value(v)).collect();
    values.iter().all(|v| v.is_finite()).then_some(values)
}

#[cfg(feature = "highs")]
fn quiet(model: &mut good_lp::solvers::highs::HighsProblem) {
    model.set_verbose(false);
}

#[cfg(not(feature = "highs"))]
fn quiet(_: &mut good_lp::solvers::microlp::MicroLpProblem) {}
