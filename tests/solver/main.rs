//! Compares the choice with a general solver, on outages too large to walk through: on the obvious model live, and with
//! optima that it found before (`record`); and, with `--features highs`, with itself under every linear-programming backend.
//!
//! The solver is an existing one for Python: `GAPWRIGHT_SOLVER` names a Python that has the wheel `highspy`. Without
//! it the tests that need the solver are skipped, with a notice; the record is compared all the same.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    missing_docs
)]

#[cfg(feature = "highs")]
mod backends;
mod every_way;
#[path = "../bench/families.rs"]
#[allow(dead_code)] // Its sizes and limits are for the benchmark.
mod families;
#[path = "../bench/generate.rs"]
mod generate;
#[path = "../bench/irregular.rs"]
mod irregular;
mod model;
mod outage;
mod record;
mod solver;
#[path = "../bench/ways.rs"]
mod ways;

use std::io::Write;

use gapwright::choose::choose;
use gapwright::choose::control::Control;
use gapwright::job::Job;
use gapwright::plan::{Kit, Objective, Plan};
use gapwright::policy::Acceptance;
use rayon::prelude::*;

use model::{Obvious, Reached, Rows};
use outage::outage;
use solver::Solver;

/// Cases to compare; the search for them is bounded too.
const COMPARED: usize = 200;
const TRIED: u64 = 400;
/// Cases that go to the solver together.
const BATCH: u64 = 50;
/// Search limit of the solver for each goal of one case: most cases need a few hundred nodes at most. A limit in
/// nodes leaves out one set of cases on slow and quick machines alike.
const NODES: u32 = 1_000;

/// The solver. Where none is named, a notice goes past the test runner, which hides the output of passed tests.
fn solver(wanted_by: &str) -> Option<Solver> {
    let Some(mut solver) = Solver::named() else {
        let _ = writeln!(
            std::io::stderr(),
            "{wanted_by}: SKIPPED, nothing was compared: {} does not name a Python that has highspy",
            solver::VARIABLE
        );
        return None;
    };
    solver.nodes = Some(NODES);
    Some(solver)
}

#[test]
fn every_outage_that_a_general_solver_proves_comes_out_as_it_says() {
    let Some(solver) = solver("every outage that a general solver proves") else {
        return;
    };
    let mut seen: Vec<Seen> = Vec::new();
    let mut tried = 0;
    while tried < TRIED && seen.len() < COMPARED {
        let jobs: Vec<Job> = (tried..tried + BATCH).map(outage).collect();
        let models: Vec<Rows> = jobs.iter().map(Rows::of).collect();
        let answers = solver.solve(&models);
        let cases: Vec<_> = (tried..).zip(jobs.into_iter().zip(answers)).collect();
        let some = cases.into_par_iter().filter_map(|(seed, (job, answer))| {
            let answer = answer.filter(Obvious::proven)?;
            Some(compare(seed, job, &answer))
        });
        seen.extend(some.collect::<Vec<_>>());
        tried += BATCH;
    }
    let count = |what: fn(&Seen) -> bool| seen.iter().filter(|seen| what(seen)).count();
    let compared = seen.len();
    let short = count(|seen| seen.short > 0);
    let none = count(|seen| seen.short == seen.pumps);
    let guarded = count(|seen| seen.guarded);
    let levels = count(|seen| seen.short > 0 && seen.levels > 1);
    let [peeled, cut, spoiled] = [0, 1, 2].map(|way| {
        let there = seen.iter().filter(|seen| seen.ways[way]);
        there.count()
    });
    println!(
        "compared {compared} of {tried}, short {short} (none served {none}, several priorities \
         {levels}), worst case {guarded}, peeled {peeled}, cut from sheet {cut}, left of an opened \
         pack {spoiled}; slowest {:.1} s, largest {:.0} MB",
        seen.iter().map(|seen| seen.seconds).fold(0.0, f64::max),
        seen.iter().map(|seen| seen.megabytes).fold(0.0, f64::max),
    );
    // A random test must have covered its purpose.
    assert!(compared >= COMPARED, "only {compared} compared");
    assert!(short >= 60 && compared - short >= 40 && levels >= 40 && none * 10 < compared);
    assert!(guarded >= 60 && compared - guarded >= 60);
    assert!(peeled >= 20 && cut >= 20 && spoiled >= 20);
}

/// Features of a compared case.
struct Seen {
    pumps: usize,
    short: usize,
    levels: usize,
    guarded: bool,
    /// Whether some piece is peeled, is cut from sheet, or is left of an opened pack.
    ways: [bool; 3],
    /// Seconds of the solver.
    seconds: f64,
    megabytes: f64,
}

/// Compares one case that the general solver has proven.
fn compare(seed: u64, job: Job, obvious: &Obvious) -> Seen {
    let plan = choose(&job, &Control::unlimited()).expect("these can be listed");
    assert!(plan.proven(), "case {seed}: not proven");
    assert_eq!(differences(&plan, &figures(obvious)), [""; 0], "case {seed}");
    let mut levels: Vec<u32> = job.pumps.iter().map(|pump| pump.priority).collect();
    levels.sort_unstable();
    levels.dedup();
    let seen = Seen {
        pumps: job.pumps.len(),
        short: job.pumps.len() - plan.served(),
        levels: levels.len(),
        guarded: job.policy.acceptance == Acceptance::WorstCase,
        ways: ways_used(&job, &plan),
        seconds: obvious.seconds,
        megabytes: obvious.megabytes,
    };
    // The compared plan also passes the checker.
    gapwright::verify::verify(job, plan).unwrap();
    seen
}

/// The general solver's figures: values of the goals, and the pumps served.
fn figures(of: &Obvious) -> [i64; 5] {
    let [weight, waste, plates, pieces] =
        [of.weight, of.waste, of.plates, of.pieces].map(|goal| goal.value);
    [weight, waste, plates, pieces, of.served as i64]
}

/// Differences between a plan and the general solver's figures.
fn differences(plan: &Plan, figures: &[i64; 5]) -> Vec<&'static str> {
    let value = |aim| plan.goal(aim).map_or(0, |goal| goal.value);
    let each = [
        ("weight", value(Objective::ServedWeight)),
        ("waste", value(Objective::Waste)),
        ("plates", value(Objective::Plates)),
        ("pieces", value(Objective::Pieces)),
        ("served", plan.served() as i64),
    ];
    let unlike = each.iter().zip(figures).filter(|((_, ours), theirs)| ours != *theirs);
    unlike.map(|((name, _), _)| *name).collect()
}

/// Whether some piece is peeled, is cut from sheet, or is left of an opened pack.
fn ways_used(job: &Job, plan: &Plan) -> [bool; 3] {
    let served = plan.kits.iter().filter_map(|kit| match kit {
        Kit::Served(packs) => Some(packs),
        Kit::Short(_) => None,
    });
    let picks: Vec<_> = served.flatten().flat_map(|pack| &pack.picks).collect();
    let issued = plan.issued(job);
    let left_over = job.stock.iter().zip(issued).any(|(item, issued)| {
        let loose = (item.on_hand - item.reserved) % item.carton_qty;
        job.policy.opened_cartons_spoiled
            && issued > loose
            && !(issued - loose).is_multiple_of(item.carton_qty)
    });
    [
        picks.iter().any(|pick| pick.peeled > 0),
        picks.iter().any(|pick| job.stock[pick.item].cut.is_some()),
        left_over,
    ]
}

/// One figure of an answer.
type Figure = fn(&mut Obvious) -> &mut Reached;

/// A wrong limit must be noticed: with one more piece of everything the solver's answer must often differ. So must
/// any single wrong figure of its answer.
#[test]
fn the_comparison_bites() {
    let Some(solver) = solver("the comparison bites") else {
        return;
    };
    let jobs: Vec<Job> = (0..10).map(outage).collect();
    let more = jobs.iter().map(|job| {
        let more = job.clone().with(|job| {
            job.stock.iter_mut().for_each(|item| item.on_hand += 1);
        });
        Rows::of(&more.unwrap())
    });
    let more = solver.solve(&more.collect::<Vec<_>>());
    let plans = jobs.iter().map(|job| choose(job, &Control::unlimited()).unwrap());
    let plans: Vec<Plan> = plans.collect();
    let differ = plans.iter().zip(more).filter(|(plan, obvious)| {
        let obvious = obvious.as_ref().expect("a plan");
        let value = |aim| plan.goal(aim).unwrap().value;
        (value(Objective::ServedWeight), value(Objective::Waste))
            != (obvious.weight.value, obvious.waste.value)
    });
    assert!(differ.count() >= 5);

    let answers = solver.solve(&jobs.iter().map(Rows::of).collect::<Vec<_>>());
    let proven = plans.iter().zip(answers.into_iter().flatten());
    let (plan, right) =
        { proven }.find(|(_, obvious)| obvious.proven()).expect("one of ten is proven");
    assert_eq!(differences(plan, &figures(&right)), [""; 0]);
    let wrong: [(&str, Figure); 4] = [
        ("weight", |answer| &mut answer.weight),
        ("waste", |answer| &mut answer.waste),
        ("plates", |answer| &mut answer.plates),
        ("pieces", |answer| &mut answer.pieces),
    ];
    for (name, figure) in wrong {
        let mut falsified = right.clone();
        figure(&mut falsified).value += 1;
        assert_eq!(differences(plan, &figures(&falsified)), [name]);
        assert!(!falsified.proven(), "{name}: a bound that is not its value");
    }
}
