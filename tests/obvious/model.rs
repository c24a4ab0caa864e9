//! The obvious model of an outage, for a general solver: one whole number for each pump, pack and
//! item, one yes or no for each pump, and every rule as a linear row.
//!
//! It shares nothing with the library but the input types: the rows are written from what a
//! requirement means. All rows are whole numbers divided by their common divisor, so that a whole
//! plan keeps a row or misses it by 1 at least, far beyond the solver's tolerance of 1e-6; what
//! the solver returns is rounded, checked and valued again in integers.

use std::time::{Duration, Instant};

use gapwright::decimal::Millionths;
use gapwright::job::Job;
use gapwright::model::{Form, Term};
use gapwright::policy::Acceptance;
use gapwright::pump::Pump;
use good_lp::{
    Expression, ProblemVariables, SolverModel, Variable, constraint, variable, variables,
};

/// What the solver makes of one goal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reached {
    /// The plan's value.
    pub value: i64,
    /// What no plan can beat, if the solver got to one.
    pub bound: Option<i64>,
}

impl Reached {
    pub fn proven(self) -> bool {
        self.bound == Some(self.value)
    }
}

/// What the solver makes of an outage. Goals behind the first unproven one have no bound.
#[derive(Debug, Clone)]
pub struct Obvious {
    /// Pumps, whatever their priority.
    pub served: usize,
    pub weight: Reached,
    pub waste: Reached,
    pub pieces: Reached,
    pub seconds: f64,
}

impl Obvious {
    pub fn proven(&self) -> bool {
        self.weight.proven() && self.waste.proven() && self.pieces.proven()
    }
}

/// A sum of variables, each times a whole number, that may not fall below nothing.
type Row = Vec<(usize, i128)>;

/// The variables by number, the rows, and what each variable counts for on each goal.
struct Rows {
    /// The most that each may be; `None` for a distance, which need not be whole.
    most: Vec<Option<u32>>,
    rows: Vec<Row>,
    /// Variables and the most that they may come to together: the stock.
    stock: Vec<(Vec<usize>, u32)>,
    /// Weight of serving, millionths of waste, and pieces.
    goals: [Vec<(usize, i64)>; 3],
    /// For each distance, the sum that it is the distance of.
    distances: Vec<(usize, Row)>,
    served: Vec<usize>,
}

/// Solves the goals one after the other, all within `limit`; `None` if the solver gives no plan at
/// all.
///
/// # Panics
/// If a charge is not a whole number of millionths for each step of a distance: the library rounds
/// such charges up, which no linear row says.
pub fn solve(job: &Job, limit: Duration) -> Option<Obvious> {
    let start = Instant::now();
    let rows = Rows::of(job);
    let mut plan: Option<Vec<i64>> = None;
    let mut bounds = [None; 3];
    // What earlier goals came to: weights are held from below, the others from above.
    let mut held: Vec<i64> = Vec::new();
    for (goal, least) in bounds.iter_mut().enumerate() {
        let left = limit.saturating_sub(start.elapsed());
        if left.is_zero() {
            break;
        }
        let Some((found, bound)) = rows.solve(goal, &held, plan.as_deref(), left) else {
            break;
        };
        let value = rows.value(goal, &found);
        *least = bound;
        plan = Some(found);
        held.push(value);
        if bound != Some(value) {
            break;
        }
    }
    let plan = plan?;
    let reached = |goal: usize| Reached {
        value: rows.value(goal, &plan),
        bound: bounds[goal],
    };
    Some(Obvious {
        served: rows.served.iter().filter(|&&v| plan[v] == 1).count(),
        weight: reached(0),
        waste: reached(1),
        pieces: reached(2),
        seconds: start.elapsed().as_secs_f64(),
    })
}

impl Rows {
    fn of(job: &Job) -> Rows {
        let mut all = Rows {
            most: Vec::new(),
            rows: Vec::new(),
            stock: job
                .stock
                .iter()
                .map(|item| (Vec::new(), item.on_hand - item.reserved))
                .collect(),
            goals: [Vec::new(), Vec::new(), Vec::new()],
            distances: Vec::new(),
            served: Vec::new(),
        };
        let weights = job.weights().expect("whole numbers carry the weights");
        for pump in &job.pumps {
            let weight = weights.iter().find(|(level, _)| *level == pump.priority);
            all.add_pump(job, pump, weight.expect("a weight for each priority").1);
        }
        all
    }

    fn variable(&mut self, most: Option<u32>) -> usize {
        self.most.push(most);
        self.most.len() - 1
    }

    fn add_pump(&mut self, job: &Job, pump: &Pump, weight: i64) {
        let served = self.variable(Some(1));
        self.served.push(served);
        self.goals[0].push((served, weight));
        let mut packs: Vec<Vec<(usize, usize)>> = Vec::new();
        for (pack, fit) in job.models[pump.model].packs.iter().zip(&pump.fits) {
            let mut pieces = Vec::new();
            for (index, item) in job.stock.iter().enumerate() {
                if item.size.is_none() || item.kind != pack.kind || item.fit != *fit {
                    continue;
                }
                let count = self.variable(Some(self.stock[index].1.min(pack.most_pieces)));
                self.stock[index].0.push(count);
                let cost = item.unit_cost.raw() + job.policy.handling.raw();
                self.goals[1].push((count, cost));
                self.goals[2].push((count, 1));
                pieces.push((count, index));
            }
            let counted = |sign: i128| pieces.iter().map(move |&(count, _)| (count, sign));
            let most = (served, i128::from(pack.most_pieces));
            let least = (served, -i128::from(pack.least_pieces));
            self.rows.push(counted(-1).chain([most]).collect());
            self.rows.push(counted(1).chain([least]).collect());
            packs.push(pieces);
        }
        for requirement in &pump.requirements {
            self.add_requirement(job, pump, &packs, served, &requirement.form);
        }
    }

    /// Both sides of a requirement, and its distance from the target.
    fn add_requirement(
        &mut self,
        job: &Job,
        pump: &Pump,
        packs: &[Vec<(usize, usize)>],
        served: usize,
        form: &Form,
    ) {
        const MILLION: i128 = 1_000_000;
        // `sum of terms - bound`, as millionths of millionths of a tick.
        let (lower, upper, target): (Sum, Sum, Sum) = match form {
            Form::Linear {
                terms,
                target,
                lower,
                upper,
            } => {
                let held = |bound: i64| Sum {
                    terms: scaled(terms, MILLION),
                    bound: i128::from(bound) * MILLION * MILLION,
                };
                (
                    held(lower.ticks()),
                    held(upper.ticks()),
                    held(target.ticks()),
                )
            }
            // free / gap - 1 against an allowance: free - (1 + allowance) gap against nothing.
            Form::GasketFill {
                gasket,
                gap,
                target,
                lower,
                upper,
            } => {
                let held = |allowance: Millionths| {
                    let mut terms = scaled(gap, -(MILLION + i128::from(allowance.raw())));
                    terms.push((Term::Pack(*gasket), MILLION * MILLION));
                    Sum { terms, bound: 0 }
                };
                (held(*lower), held(*upper), held(*target))
            }
        };
        // An expanded uncertainty is a root of squares, which no linear row holds.
        assert_ne!(job.policy.acceptance, Acceptance::Expanded);
        let guarded = job.policy.acceptance == Acceptance::WorstCase;
        let above = lower.row(job, pump, packs, served, 1, guarded);
        let below = upper.row(job, pump, packs, served, -1, guarded);
        self.rows.push(divided(above).0);
        self.rows.push(divided(below).0);
        let (row, unit) = divided(target.row(job, pump, packs, served, 1, false));
        // One thou is 254 000 ticks.
        let charge = unit * i128::from(job.policy.off_target.raw());
        let thou = 254_000 * MILLION * MILLION;
        assert!(charge % thou == 0, "a charge that would have to be rounded");
        let distance = self.variable(None);
        for sign in [1, -1] {
            let side = row.iter().map(|&(v, c)| (v, sign * c));
            self.rows.push(side.chain([(distance, 1)]).collect());
        }
        let charge = i64::try_from(charge / thou).expect("a small charge");
        self.goals[1].push((distance, charge));
        self.distances.push((distance, row));
    }

    /// A plan for one goal with the earlier ones held, and the solver's bound.
    fn solve(
        &self,
        goal: usize,
        held: &[i64],
        start: Option<&[i64]>,
        limit: Duration,
    ) -> Option<(Vec<i64>, Option<i64>)> {
        variables! { problem: }
        let add = |problem: &mut ProblemVariables, most: &Option<u32>| match most {
            Some(most) => problem.add(variable().integer().bounds(0.0..=f64::from(*most))),
            None => problem.add(variable().min(0.0)),
        };
        let all: Vec<Variable> = self.most.iter().map(|m| add(&mut problem, m)).collect();
        let (objective, unit) = self.goal(goal, &all);
        let unsolved = if goal == 0 {
            problem.maximise(objective)
        } else {
            problem.minimise(objective)
        };
        let mut model = unsolved.using(good_lp::highs);
        for row in &self.rows {
            let mut sum = Expression::with_capacity(row.len());
            for &(v, c) in row {
                sum.add_mul(c as f64, all[v]);
            }
            model.add_constraint(constraint!(sum >= 0.0));
        }
        for (takers, most) in &self.stock {
            let sum: Expression = takers.iter().map(|&v| all[v]).sum();
            model.add_constraint(constraint!(sum <= f64::from(*most)));
        }
        for (earlier, &value) in held.iter().enumerate() {
            let (sum, unit) = self.goal(earlier, &all);
            let value = value as f64 / unit as f64;
            model.add_constraint(if earlier == 0 {
                constraint!(sum >= value)
            } else {
                constraint!(sum <= value)
            });
        }
        let mut model = model.try_into_inner().ok()?;
        model.make_quiet();
        model.set_option("time_limit", limit.as_secs_f64());
        model.set_option("mip_rel_gap", 0.0);
        // Every value is a whole number of units, so half of one is proof enough.
        model.set_option("mip_abs_gap", 0.5);
        if let Some(start) = start {
            let start: Vec<f64> = start.iter().map(|&n| n as f64).collect();
            model.set_solution(Some(&start), None, None, None);
        }
        let solved = model.try_solve().ok()?;
        let columns = solved.get_solution().columns().to_vec();
        let mut plan: Vec<i64> = columns.iter().map(|v| v.round() as i64).collect();
        plan.resize(self.most.len(), 0);
        // A distance is what it is; the solver only bounds it from below.
        for (distance, row) in &self.distances {
            plan[*distance] = i64::try_from(sum(row, &plan).abs()).ok()?;
        }
        let holds = |(earlier, &value): (usize, &i64)| {
            let now = self.value(earlier, &plan);
            if earlier == 0 {
                now >= value
            } else {
                now <= value
            }
        };
        if !self.keeps(&plan) || !held.iter().enumerate().all(holds) {
            return None;
        }
        let bound = solved.double_info_value(c"mip_dual_bound").ok()?;
        // The bound in whole units, a thousandth allowed for the solver's own error.
        let bound = if goal == 0 {
            (bound + 1e-3).floor()
        } else {
            (bound - 1e-3).ceil()
        };
        let bound = bound.is_finite().then(|| bound as i64 * unit);
        Some((plan, bound))
    }

    /// A goal as a sum over the variables in units of its greatest common divisor.
    fn goal(&self, goal: usize, all: &[Variable]) -> (Expression, i64) {
        let divisor = self.goals[goal].iter().fold(0, |d, (_, c)| gcd(d, *c));
        let unit = divisor.max(1);
        let mut sum = Expression::with_capacity(self.goals[goal].len());
        for &(v, c) in &self.goals[goal] {
            sum.add_mul((c / unit) as f64, all[v]);
        }
        (sum, unit)
    }

    fn value(&self, goal: usize, plan: &[i64]) -> i64 {
        self.goals[goal].iter().map(|&(v, c)| c * plan[v]).sum()
    }

    /// Whether a whole plan keeps every row and the stock.
    fn keeps(&self, plan: &[i64]) -> bool {
        let bounded = self.most.iter().zip(plan).all(|(most, &n)| {
            let most = most.map_or(i64::MAX, i64::from);
            (0..=most).contains(&n)
        });
        let in_stock = self
            .stock
            .iter()
            .all(|(takers, most)| takers.iter().map(|&v| plan[v]).sum::<i64>() <= i64::from(*most));
        bounded && in_stock && self.rows.iter().all(|row| sum(row, plan) >= 0)
    }
}

/// A sum of terms against a bound, in millionths of millionths of a tick.
struct Sum {
    terms: Vec<(Term, i128)>,
    bound: i128,
}

impl Sum {
    /// `sign x (sum - bound)` over the variables; guarded, with every contributor where it hurts
    /// most. What does not depend on pieces is multiplied by `served`.
    fn row(
        &self,
        job: &Job,
        pump: &Pump,
        packs: &[Vec<(usize, usize)>],
        served: usize,
        sign: i128,
        guarded: bool,
    ) -> Row {
        let mut row = Vec::new();
        let mut constant = -sign * self.bound;
        for &(term, c) in &self.terms {
            let c = sign * c;
            // Where more is better, less hurts.
            let worst = |value: i64, minus: i64, plus: i64| {
                let off = match (guarded, c > 0) {
                    (false, _) => 0,
                    (true, true) => -minus,
                    (true, false) => plus,
                };
                c * i128::from(value + off)
            };
            match term {
                Term::Dimension(_) | Term::Thermal(_) => {
                    let known = pump.estimate(term).expect("of its own model");
                    let (minus, plus) = (known.tolerance.minus, known.tolerance.plus);
                    constant += worst(known.value.ticks(), minus.ticks(), plus.ticks());
                }
                Term::Pack(pack) => row.extend(packs[pack].iter().map(|&(count, item)| {
                    let size = job.stock[item].size.expect("only sized pieces are offered");
                    let (minus, plus) = (size.tolerance.minus, size.tolerance.plus);
                    let worst = worst(size.thickness.ticks(), minus.ticks(), plus.ticks());
                    (count, worst)
                })),
            }
        }
        row.push((served, constant));
        row
    }
}

fn scaled(terms: &[(Term, Millionths)], by: i128) -> Vec<(Term, i128)> {
    terms
        .iter()
        .map(|&(term, c)| (term, i128::from(c.raw()) * by))
        .collect()
}

/// A row divided by its greatest common divisor, and that.
fn divided(row: Row) -> (Row, i128) {
    let unit = row.iter().fold(0, |d: i128, (_, c)| {
        let (mut a, mut b) = (d, c.abs());
        while b != 0 {
            (a, b) = (b, a % b);
        }
        a
    });
    let unit = unit.max(1);
    (row.into_iter().map(|(v, c)| (v, c / unit)).collect(), unit)
}

fn gcd(a: i64, b: i64) -> i64 {
    if b == 0 { a.abs() } else { gcd(b, a % b) }
}

fn sum(row: &Row, plan: &[i64]) -> i128 {
    row.iter().map(|&(v, c)| c * i128::from(plan[v])).sum()
}
