//! The all-patterns model: a yes or no for every way to kit a pump, the least waste with every pump kitted, solved by
//! the general solver behind good_lp. The ways are listed here from the meaning of the requirements; only the input
//! types are shared with the library.

use std::time::Instant;

use gapwright::job::Job;
use gapwright::length::Tolerance;
use gapwright::model::{Form, Term, Terms};
use gapwright::pump::Pump;
use good_lp::solvers::{SolutionStatus, WithTimeLimit};
use good_lp::{Expression, Solution, SolverModel, default_solver, variable, variables};

/// Pieces of a pack, in ticks and millionths of money.
#[derive(Clone, Default)]
struct Pieces {
    items: Vec<usize>,
    total: i128,
    minus: i128,
    plus: i128,
    cost: i128,
}

/// A way to kit a pump.
struct Way {
    items: Vec<usize>,
    cost: i128,
}

/// The solver's result.
pub struct Found {
    pub ways: usize,
    /// Millionths of money; `None` without a plan.
    pub waste: Option<f64>,
    pub proven: bool,
    /// Seconds for listing and solving.
    pub seconds: f64,
}

/// Solves the model of a job in which every pump can be kitted, within a limit in seconds.
pub fn solve(job: &Job, limit: f64) -> Found {
    let start = Instant::now();
    let ways: Vec<Vec<Way>> = job.pumps.iter().map(|pump| ways(job, pump)).collect();
    let mut all = variables!();
    let mut waste = Expression::from(0.0);
    let mut taken = vec![Expression::from(0.0); job.stock.len()];
    let mut kits = Vec::new();
    for ways in &ways {
        let mut kit = Expression::from(0.0);
        for way in ways {
            let it = all.add(variable().binary());
            kit += it;
            waste += way.cost as f64 / 1e6 * it;
            way.items.iter().for_each(|&item| taken[item] += it);
        }
        kits.push(kit);
    }
    let mut model = all.minimise(waste.clone()).using(default_solver).with_time_limit(limit);
    for kit in kits {
        model.add_constraint(kit.eq(1.0));
    }
    for (taken, item) in taken.into_iter().zip(&job.stock) {
        model.add_constraint(taken.leq(f64::from(item.on_hand)));
    }
    let solved = model.solve().ok();
    Found {
        ways: ways.iter().map(Vec::len).sum(),
        waste: solved.as_ref().map(|solved| solved.eval(&waste) * 1e6),
        proven: solved.is_some_and(|solved| matches!(solved.status(), SolutionStatus::Optimal)),
        seconds: start.elapsed().as_secs_f64(),
    }
}

/// Every way to kit a pump: pieces of its two packs that keep every requirement in the worst case.
fn ways(job: &Job, pump: &Pump) -> Vec<Way> {
    let packs = [0, 1].map(|pack| combinations(job, pump, pack));
    let mut ways = Vec::new();
    for one in &packs[0] {
        for other in &packs[1] {
            let kit = [one, other];
            let forms = pump.requirements.iter().map(|requirement| &requirement.form);
            let charges: Option<i128> = forms.map(|form| off_target(job, pump, kit, form)).sum();
            if let Some(charges) = charges {
                let items = [&one.items[..], &other.items].concat();
                ways.push(Way { items, cost: one.cost + other.cost + charges });
            }
        }
    }
    ways
}

/// Every number of pieces that a pack may have, out of what is on hand.
fn combinations(job: &Job, pump: &Pump, pack: usize) -> Vec<Pieces> {
    let of = &job.model_of(pump).packs[pack];
    let fitting = (0..job.stock.len()).filter(|&item| {
        let item = &job.stock[item];
        item.kind == of.kind && item.fit == pump.fits[pack]
    });
    let mut all = vec![Pieces::default()];
    for item in fitting {
        let lot = &job.stock[item];
        let size = lot.size.unwrap();
        let cost = i128::from(lot.unit_cost.raw() + job.policy.handling.raw());
        for at in 0..all.len() {
            let mut more = all[at].clone();
            for _ in 0..lot.on_hand {
                if more.items.len() == of.most_pieces as usize {
                    break;
                }
                more.items.push(item);
                more.total += i128::from(size.thickness.ticks());
                more.minus += i128::from(size.tolerance.minus.ticks());
                more.plus += i128::from(size.tolerance.plus.ticks());
                more.cost += cost;
                all.push(more.clone());
            }
        }
    }
    all.retain(|pieces| pieces.items.len() >= of.least_pieces as usize);
    all
}

/// The charge for what a requirement comes out off its target, in millionths; `None` if it is not met.
fn off_target(job: &Job, pump: &Pump, kit: [&Pieces; 2], form: &Form) -> Option<i128> {
    const MILLION: i128 = 1_000_000;
    let scaled = |terms: &Terms, by: i128| -> Vec<(Term, i128)> {
        terms.iter().map(|(term, c)| (*term, i128::from(c.raw()) * by)).collect()
    };
    // Sums that must come to at least, at most and about these, in millionths of millionths of a tick.
    let [lower, upper, target] = match form {
        Form::Linear { terms, target, lower, upper } => {
            [*lower, *upper, Some(*target)].map(|end| {
                let end = end.unwrap();
                (scaled(terms, MILLION), i128::from(end.ticks()) * MILLION * MILLION)
            })
        }
        Form::GasketFill { gasket, gap, target, lower, upper } => [*lower, upper.unwrap(), *target]
            .map(|allowance| {
                let mut terms = scaled(gap, -(MILLION + i128::from(allowance.raw())));
                terms.push((Term::Pack(*gasket), MILLION * MILLION));
                (terms, 0)
            }),
    };
    // The value of a sum with everything as it is, or at its worst for a side.
    let sum = |(terms, bound): &(Vec<(Term, i128)>, i128), side: i128| -> i128 {
        let each = terms.iter().map(|&(term, c)| {
            let (value, minus, plus) = match term {
                Term::Dimension(at) => {
                    let Tolerance { minus, plus } = pump.dimensions[at].tolerance;
                    let value = pump.dimensions[at].value.ticks();
                    (value.into(), i128::from(minus.ticks()), i128::from(plus.ticks()))
                }
                Term::Pack(at) => (kit[at].total, kit[at].minus, kit[at].plus),
                Term::Thermal(_) | Term::Derived(_) => unreachable!("fleets have none"),
            };
            let off = match (side * c).signum() {
                1 => -minus,
                -1 => plus,
                _ => 0,
            };
            c * (value + off)
        });
        each.sum::<i128>() - bound
    };
    if sum(&lower, 1) < 0 || sum(&upper, -1) > 0 {
        return None;
    }
    // One thou is 254 000 ticks.
    let charge = sum(&target, 0).abs() * i128::from(job.policy.off_target.raw());
    Some(charge / (254_000 * MILLION * MILLION))
}
