//! The all-patterns model: a yes or no for every way to kit a pump, the least waste with every pump kitted, solved by
//! the general solver behind good_lp.

use std::time::Instant;

use gapwright::job::Job;
use good_lp::solvers::{SolutionStatus, WithTimeLimit};
use good_lp::{Expression, Solution, SolverModel, default_solver, variable, variables};

use crate::ways::{Way, ways};

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
