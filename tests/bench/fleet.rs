//! Whole runs on fleets of pumps from a seed, timed and measured, one line per case:
//! `cargo bench --bench fleet -- tight no-slack 30 100`.
//!
//! Words are families (`tests/bench/families.rs`), numbers are pumps; without any, all families in their own sizes.
//! For each case the workbooks are generated and written, and then
//!
//! - the library's parts are timed in a separate process: reading, choice of the goals, value of one more, check; in
//!   a line below, CPU time on all threads and peak memory of each phase (reading, listing, goals, order, worth, check,
//!   writing), the certificate, its size and how many goals it shows, and the worth of one more: values between two
//!   figures of all, and what they come to;
//! - the built program runs `kit` on these files, as people would: seconds and peak memory of the whole run, size of
//!   the workbook, or the reason why there is none;
//! - beside it, in the same run, the bare cells: the inputs are read and every cell of the plan's workbook is written
//!   again by the same reader and writer;
//! - up to `PATTERNS` pumps, in the same run, the all-patterns model (`tests/bench/patterns.rs`) in the general solver
//!   that is behind good_lp, for comparison with the choice;
//! - where `GAPWRIGHT_SOLVER` names a Python that has the wheel `highspy`, a general solver runs the obvious model,
//!   for comparison with the choice.
//!
//! | variable | meaning | default |
//! |---|---|---|
//! | `SEEDS` | seeds | `1` |
//! | `LIMIT` | `--time-limit` | the family's |
//! | `INTERRUPT` | seconds after which each whole run is interrupted; the time until it ends is printed | none |
//! | `PATIENCE` | seconds to wait for a whole run after its limit or its interrupt | `120` |
//! | `OBVIOUS` | seconds for the obvious model, 0 for none | `60` |
//! | `PATTERNS` | the most pumps for which the all-patterns model is solved, and its seconds | `10,60` |
//! | `SHIMS`, `MOST`, `STOCK` | shim sizes, most shims in a pack, stock in tenths of the pieces in the planted kits | the family's |
//! | `KEEP` | a folder in which the workbooks are kept | none |
//! | `TELL` | progress of the choice, on standard error | none |

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    missing_docs
)]

mod families;
mod generate;
mod irregular;
#[path = "../solver/model.rs"]
mod model;
mod patterns;
mod phases;
#[path = "../solver/solver.rs"]
mod solver;
mod ways;
mod whole;
mod workbooks;

use std::fmt::Debug;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::str::FromStr;
use std::time::{Duration, Instant};

use gapwright::choose::choose;
use gapwright::choose::control::{Control, Phase, PhaseProgress, Progress};
use gapwright::choose::worth::worth;
use gapwright::decimal::Money;
use gapwright::job::Job;
use gapwright::plan::{MarginalValue, Objective};
use gapwright::read::{self, Sources};
use gapwright::verify::{AddedUp, verify};
use gapwright::{json, write};

use families::{FAMILIES, Family};
use phases::Phases;
use solver::Solver;
use workbooks::Files;

/// First arguments of processes with a single task in a folder of workbooks.
const PARTS: &str = "--parts";
const BARE: &str = "--bare";
const ALL_PATTERNS: &str = "--patterns";

fn main() {
    // `cargo bench` adds this for benchmarks of its own kind.
    let arguments = std::env::args().skip(1).filter(|a| a != "--bench");
    let arguments: Vec<String> = arguments.collect();
    match arguments.as_slice() {
        [one, folder, limit] if one == PARTS => {
            return parts(&Files::within(Path::new(folder)), limit.parse().unwrap());
        }
        [one, folder] if one == BARE => {
            let seconds = whole::bare(&Files::within(Path::new(folder)));
            return println!("{}", seconds.unwrap());
        }
        [one, folder, goals] if one == ALL_PATTERNS => {
            return all_patterns(&Files::within(Path::new(folder)), goals.parse().ok());
        }
        _ => {}
    }
    let (sizes, names): (Vec<&String>, Vec<&String>) =
        arguments.iter().partition(|a| a.parse::<usize>().is_ok());
    for name in &names {
        let known = FAMILIES.iter().any(|family| family.name == **name);
        assert!(known, "there is no family called `{name}`");
    }
    let sizes: Vec<usize> = sizes.iter().map(|size| size.parse().unwrap()).collect();
    let asked = |family: &&Family| names.is_empty() || names.iter().any(|n| *n == family.name);
    for family in FAMILIES.iter().filter(asked) {
        run(&with_settings(family), &sizes);
    }
}

fn with_settings(family: &Family) -> Family {
    Family {
        shims: setting("SHIMS").unwrap_or(family.shims),
        most: setting("MOST").unwrap_or(family.most),
        tenths: setting("STOCK").unwrap_or(family.tenths),
        limit: setting("LIMIT").unwrap_or(family.limit),
        ..*family
    }
}

/// Lines of one family, and the growth of its times.
fn run(family: &Family, sizes: &[usize]) {
    println!(
        "\n{}: {}; {} shim sizes, {} in a pack at most, stock {:.1}, limit {} s",
        family.name,
        family.about,
        family.shims,
        family.most,
        family.tenths as f64 / 10.0,
        family.limit
    );
    println!(
        "{:>5} {:>4} | {:>6} {:>7} {:>7} {:>6} {:>6} {:>12} {:>8} {:<10} | {:>7} {:>5} {:>7} | {:>6} {:>7} |",
        "pumps",
        "seed",
        "read",
        "goals",
        "worth",
        "check",
        "served",
        "waste",
        "gap %",
        "stopped",
        "whole s",
        "MB",
        "book kB",
        "bare s",
        "ratio"
    );
    let sizes = if sizes.is_empty() { family.sizes } else { sizes };
    let mut times: [Vec<(usize, f64)>; 3] = Default::default();
    for &pumps in sizes {
        for seed in list("SEEDS").unwrap_or(vec![1]) {
            let taken = case(family, pumps, seed);
            for (times, taken) in times.iter_mut().zip(taken) {
                times.extend(taken.map(|seconds| (pumps, seconds)));
            }
        }
    }
    for (name, times) in ["goals", "whole run", "obvious model"].iter().zip(times) {
        if let Some(exponent) = exponent(&times) {
            println!("      {name}: seconds grow as pumps to the {exponent:.2}");
        }
    }
}

/// One case: seconds of the goals, of the whole run and of the obvious model, each unless it was ended early.
fn case(family: &Family, pumps: usize, seed: u64) -> [Option<f64>; 3] {
    let job = family.job(pumps, seed);
    let temporary = tempfile::tempdir().unwrap();
    let folder = setting::<PathBuf>("KEEP").map_or(temporary.path().into(), |kept| {
        kept.join(format!("{}-{pumps}-{seed}", family.name))
    });
    fs::create_dir_all(&folder).unwrap();
    let files = Files::within(&folder);
    files.write(&job).unwrap();
    print!("{pumps:5} {seed:4} | ");
    let goals = told(&[PARTS, folder.to_str().unwrap(), &family.limit.to_string()]);
    let mut fields = goals.split('\t');
    print!("{} | ", fields.next().unwrap_or_default());
    let goals: Option<f64> = fields.next().and_then(|seconds| seconds.trim().parse().ok());
    let phases = fields.next().unwrap_or_default().to_string();

    let run = whole::kit(&files, family.limit);
    print!("{}", run.line());
    let bare = run.written.then(|| told(&[BARE, folder.to_str().unwrap()]));
    match bare.and_then(|seconds| seconds.trim().parse::<f64>().ok()) {
        Some(bare) => print!(" | {bare:6.2} {:6.1}x | ", run.seconds / bare),
        None => print!(" | {:>6} {:>7} | ", "-", "-"),
    }
    let obvious = if family.whole_charges { obvious(&job, goals) } else { None };
    println!("\n           {phases}");
    for line in run.remarks {
        println!("           {line}");
    }
    if pumps as f64 <= patterns_limits()[0] {
        let goals = goals.map_or("-".into(), |seconds| seconds.to_string());
        println!("           {}", told(&[ALL_PATTERNS, folder.to_str().unwrap(), &goals]));
    }
    let whole = (run.written && !run.ended_early).then_some(run.seconds);
    [goals, whole, obvious]
}

/// Output of a process of this program.
fn told(arguments: &[&str]) -> String {
    let mut command = Command::new(std::env::current_exe().unwrap());
    let output = command.args(arguments).output().unwrap();
    eprint!("{}", String::from_utf8_lossy(&output.stderr));
    if output.status.success() {
        String::from_utf8_lossy(&output.stdout).into()
    } else {
        format!("the process ended badly: {}", output.status)
    }
}

/// The most pumps and the seconds for the all-patterns model.
fn patterns_limits() -> [f64; 2] {
    let given = list("PATTERNS").unwrap_or_default();
    [given.first().copied().unwrap_or(10.0), given.get(1).copied().unwrap_or(60.0)]
}

/// Solves the all-patterns model of a case, beside goals that took so many seconds.
fn all_patterns(files: &Files, goals: Option<f64>) {
    let limit = patterns_limits()[1];
    let found = patterns::solve(&job(files).unwrap(), limit);
    let at_least = if found.proven { "" } else { ">" };
    let ratio = goals.map(|goals| format!("{at_least}{:.1}x", found.seconds / goals));
    print!(
        "all patterns in good_lp's solver, limit {limit} s: {} ways, waste {} in {at_least}{:.2} s, {}",
        found.ways,
        found.waste.map_or("-".into(), |waste| format!("{:.6}", waste / 1e6)),
        found.seconds,
        ratio.unwrap_or("-".into())
    );
}

/// The job of a case, read as people's files are.
fn job(files: &Files) -> Result<Job, String> {
    let sources = Sources {
        stock: files.stock.clone(),
        pumps: files.pumps.clone(),
        models: Some(files.models.clone()),
        ..Sources::default()
    };
    read::job(&sources).map_err(|problems| format!("not read: {:?}", problems.sorted().first()))
}

/// Times the library's parts on the files of a case: a line, then the seconds of the goals if they ended by
/// themselves, then the phases.
fn parts(files: &Files, limit: u64) {
    let phases = Phases::begin("reading");
    let start = Instant::now();
    let job = match job(files) {
        Ok(job) => job,
        Err(problem) => return print!("{problem}"),
    };
    let reading = start.elapsed().as_secs_f64();
    let tell = |news: Progress| {
        phases.enter("goals");
        if std::env::var_os("TELL").is_some() {
            eprintln!("{news:?}");
        }
    };
    let steps = |news: PhaseProgress| {
        phases.enter(match news.part {
            Phase::Listing => "listing",
            Phase::Order => "order",
            Phase::Worth => "worth",
            _ => "reasons",
        });
    };
    phases.enter("listing");
    let start = Instant::now();
    let limit = Duration::from_secs(limit);
    let control = Control::unlimited().limit(limit).listener(&tell).steps(&steps);
    let plan = match choose(&job, &control) {
        Ok(plan) => plan,
        Err(refused) => return print!("refused: {refused}"),
    };
    let goals = start.elapsed();
    let left = limit.saturating_sub(goals);
    phases.enter("worth");
    let start = Instant::now();
    let told = worth(&job, &plan, &Control::unlimited().limit(left)).unwrap_or_default();
    let open = told.iter().filter(|worth| !worth.exact()).count();
    let asked = format!("{:.2} ({open}/{})", start.elapsed().as_secs_f64(), told.len());
    let saved = |of: fn(&MarginalValue) -> Money| {
        -told.iter().map(|worth| of(worth).raw()).sum::<i64>() as f64 / 1e6
    };
    let saved = [saved(|worth| worth.waste), saved(|worth| worth.waste_at_least)];
    let (served, stopped) = (plan.served(), plan.stopped_by);
    let waste = plan.goal(Objective::Waste).map_or((0, 0), |goal| (goal.value, goal.bound));
    phases.enter("check");
    let start = Instant::now();
    let verified = verify(job, plan).unwrap_or_else(|breaches| panic!("{breaches:?}"));
    let checking = start.elapsed().as_secs_f64();
    let agree = verified.added_up().iter().filter(|one| **one == AddedUp::Agrees).count();
    let goals_of_plan = verified.plan().goals.len();
    let certificate = json::certificate(&verified).len();
    phases.enter("writing");
    std::hint::black_box(write::workbook(&verified, "2027-03-01").unwrap());
    std::hint::black_box(json::text(&verified));
    let goals = goals.as_secs_f64();
    print!(
        "{reading:6.2} {goals:7.2} {asked:>14} {checking:6.2} {served:6} {:12.6} {:8.4} {:<10}\t{}\t{}; certificate of {certificate} bytes shows {agree} of {goals_of_plan} goals; one more of each saves {:.2} to {:.2} in all",
        waste.0 as f64 / 1e6,
        100.0 * (waste.0 - waste.1) as f64 / waste.0.max(1) as f64,
        stopped.map_or("-", |stop| stop.words()),
        stopped.map_or(goals.to_string(), |_| "-".into()),
        phases.told(),
        saved[0],
        saved[1],
    );
}

/// Runs the obvious model in the general solver, if one is named: its waste and seconds, compared with the goals'
/// own.
fn obvious(job: &Job, goals: Option<f64>) -> Option<f64> {
    let mut solver = Solver::named()?;
    let limit = setting("OBVIOUS").unwrap_or(60);
    if limit == 0 {
        return None;
    }
    solver.seconds = Some(limit);
    let answers = solver.solve(&[model::Rows::of(job)]);
    let Some(found) = answers.into_iter().flatten().next() else {
        print!("obvious model: no plan within {limit} s");
        return None;
    };
    // A run that was ended by the limit would have taken longer still.
    let at_least = if found.proven() { "" } else { ">" };
    let ratio =
        goals.map_or("-".into(), |goals| format!("{at_least}{:.1}x", found.seconds / goals));
    print!(
        "obvious model: served {} waste {:.6} in {at_least}{:.2} s, {ratio}, {:.0} MB",
        found.served,
        found.waste.value as f64 / 1e6,
        found.seconds,
        found.megabytes
    );
    found.proven().then_some(found.seconds)
}

/// Slope of a straight line through the logarithms, by least squares, over the cases that were not ended early.
fn exponent(times: &[(usize, f64)]) -> Option<f64> {
    let points: Vec<(f64, f64)> = times
        .iter()
        .map(|&(pumps, seconds)| ((pumps as f64).ln(), seconds.max(1e-3).ln()))
        .collect();
    let n = points.len() as f64;
    let mean = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).sum::<f64>() / n;
    let (x, y) = (mean(|p| p.0), mean(|p| p.1));
    let spread: f64 = points.iter().map(|p| (p.0 - x).powi(2)).sum();
    let along: f64 = points.iter().map(|p| (p.0 - x) * (p.1 - y)).sum();
    (spread > 0.0).then(|| along / spread)
}

/// Variable of the environment, if it is set.
fn setting<T: FromStr>(name: &str) -> Option<T>
where
    T::Err: Debug,
{
    list(name)?.into_iter().next()
}

fn list<T: FromStr>(name: &str) -> Option<Vec<T>>
where
    T::Err: Debug,
{
    let text = std::env::var(name).ok()?;
    Some(text.split(',').map(|n| n.trim().parse().unwrap()).collect())
}
