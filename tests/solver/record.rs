//! Outages of 20 to 40 pumps, with the optima that a general solver found and proved, on record: the choice is compared
//! with them without the solver.
//!
//! The record is `record.txt`; its head has the command that makes it. With the solver at hand some of it is made again.

use std::fmt::Write;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{SystemTime, UNIX_EPOCH};

use gapwright::choose::choose;
use gapwright::choose::control::Control;
use gapwright::day;
use gapwright::digest::sha256;
use gapwright::job::Job;
use gapwright::plan::Plan;
use gapwright::policy::Acceptance;
use gapwright::verify::{Verified, verify};
use rayon::prelude::*;

use crate::every_way::of_every_way;
use crate::families::{FAMILIES, Family};
use crate::model::{Obvious, Rows};
use crate::solver::{self, SCRIPT, Solver};
use crate::{differences, figures};

/// Set to `write`, the record is made anew.
const VARIABLE: &str = "GAPWRIGHT_RECORD";
/// Cases of each kind, at the least.
const RECORDED: usize = 46;
/// Cases of a kind that are tried, at the most, and those that go to the solver together.
const TRIED: u64 = 98;
const BATCH: u64 = 14;
/// Search limit of the solver for each goal of one case.
const NODES: u32 = 100;
/// Cases that are made again, where the solver is at hand.
const AGAIN: usize = 20;

/// Cases with short pumps whose waste the choice does not prove in a minute: left out of the comparison, which has no limit
/// of time.
const NOT_PROVEN: [(&str, u64); 3] =
    [("irregular-short", 3), ("irregular-short", 41), ("irregular-short", 47)];

/// Outages of a kind: the family of the benchmark that they are made of, in a drawer of fewer sizes, and the stock in
/// tenths of the pieces of the planted kits.
struct Kind {
    name: &'static str,
    of: &'static str,
    tenths: usize,
}

/// Kinds of outages. Levers, plates, spoiled packs and kits with peeled pieces are in the random outages that the solver is
/// asked for live; no best kit here is peeled.
const KINDS: [Kind; 11] = [
    Kind { name: "tight", of: "tight", tenths: 11 },
    Kind { name: "no-slack", of: "no-slack", tenths: 10 },
    Kind { name: "loose", of: "loose", tenths: 25 },
    Kind { name: "short", of: "tight", tenths: 8 },
    Kind { name: "laminated", of: "laminated", tenths: 11 },
    Kind { name: "many-models", of: "many-models", tenths: 11 },
    Kind { name: "many-models-short", of: "many-models", tenths: 9 },
    Kind { name: "irregular", of: "irregular", tenths: 11 },
    Kind { name: "irregular-no-slack", of: "irregular", tenths: 10 },
    Kind { name: "irregular-loose", of: "irregular", tenths: 25 },
    Kind { name: "irregular-short", of: "irregular", tenths: 8 },
];

impl Kind {
    fn named(name: &str) -> &'static Kind {
        KINDS.iter().find(|kind| kind.name == name).expect("a kind")
    }

    fn job(&self, seed: u64) -> Job {
        let family = FAMILIES.iter().find(|family| family.name == self.of).expect("a family");
        let shims = if self.of == "irregular" { 5 } else { 7 };
        let family = Family { shims, most: 3, tenths: self.tenths, ..*family };
        let job = family.job(20 + mixed(seed), seed);
        match seed.is_multiple_of(4) {
            true => job.with(|parts| parts.policy.acceptance = Acceptance::Nominal).unwrap(),
            false => job,
        }
    }
}

/// Pumps above 20, up to 40: all numbers in mixed order, the small ones most often.
fn mixed(seed: u64) -> usize {
    let any = seed * 8 % 21;
    (any * any / 20) as usize
}

/// A case on record.
struct Case {
    kind: &'static Kind,
    seed: u64,
    /// Hash of the obvious model, which tells whether a job is still the one that was solved.
    job: String,
    /// As [`figures`] has them.
    figures: [i64; 5],
}

impl Case {
    fn line(&self) -> String {
        let figures = self.figures.map(|figure| figure.to_string()).join(" ");
        format!("{} {} {} {figures}", self.kind.name, self.seed, self.job)
    }

    fn parse(line: &str) -> Option<Case> {
        let mut words = line.split(' ');
        let (kind, seed, job) = (words.next()?, words.next()?, words.next()?);
        let figures: Vec<i64> = words.map(|word| word.parse().ok()).collect::<Option<_>>()?;
        Some(Case {
            kind: Kind::named(kind),
            seed: seed.parse().ok()?,
            job: job.into(),
            figures: figures.try_into().ok()?,
        })
    }
}

fn hash(job: &Job) -> String {
    sha256(Rows::of(job).lp().as_bytes())[..12].into()
}

fn path() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/solver/record.txt")
}

fn record() -> Vec<Case> {
    let text = fs::read_to_string(path()).expect("the record");
    let lines = text.lines().filter(|line| !line.starts_with('#'));
    lines.map(|line| Case::parse(line).unwrap_or_else(|| panic!("not a case: {line}"))).collect()
}

/// Has cases of each kind solved, and writes those that are proven.
fn make(solver: &Solver) {
    let (mut cases, mut left_out) = (Vec::new(), Vec::new());
    for kind in &KINDS {
        let (before, mut tried) = (cases.len(), 0);
        while cases.len() - before < RECORDED && tried < TRIED {
            let jobs: Vec<Job> = (tried..tried + BATCH).map(|seed| kind.job(seed)).collect();
            let models: Vec<Rows> = jobs.iter().map(of_every_way).collect();
            for ((seed, job), answer) in (tried..).zip(&jobs).zip(solver.solve(&models)) {
                if let Some(answer) = answer.filter(Obvious::proven) {
                    cases.push(Case { kind, seed, job: hash(job), figures: figures(&answer) });
                }
            }
            tried += BATCH;
        }
        left_out.push(format!(
            "{} {} of {tried}",
            kind.name,
            tried as usize + before - cases.len()
        ));
        // After each kind, since all of them take long.
        fs::write(path(), written(&cases, &left_out)).expect("room for the record");
    }
}

fn written(cases: &[Case], left_out: &[String]) -> String {
    let now = SystemTime::now().duration_since(UNIX_EPOCH).expect("a clock").as_secs();
    // Day 25 569 is 1970-01-01.
    let today = day::written(25_569 + (now / 86_400) as i64);
    let python = std::env::var_os(solver::VARIABLE).expect("a Python");
    let version = Command::new(python).args([SCRIPT, "--version"]).output().expect("a version");
    let version = String::from_utf8_lossy(&version.stdout);
    let script = sha256(&fs::read(SCRIPT).expect("the script"));
    let mut text = format!(
        "# Optima of {} outages of 20 to 40 pumps, each found and proven by a general solver. All of it is invented.\n\
         # Solver: {}, at most {NODES} nodes for each goal. Model: tests/solver/every_way.rs.\n\
         # Script: tests/solver/solve.py, SHA-256 {script}.\n\
         # Made on {today} by\n\
         #   {VARIABLE}=write {}=PYTHON cargo test --release --test solver recorded_optima\n\
         # Left out, since the solver did not close them: {}.\n\
         # kind, seed, hash of the obvious model, weight served, waste in millionths, plates, pieces, pumps served\n",
        cases.len(),
        version.trim(),
        solver::VARIABLE,
        left_out.join(", "),
    );
    cases.iter().for_each(|case| writeln!(text, "{}", case.line()).unwrap());
    text
}

/// The choice of a case, proven and passed by the checker, which adds its certificate up.
fn chosen(case: &Case) -> Verified {
    let name = format!("{} {}", case.kind.name, case.seed);
    let job = case.kind.job(case.seed);
    assert_eq!(hash(&job), case.job, "{name}: another job than on record; make the record again");
    let plan = choose(&job, &Control::unlimited()).expect("these can be listed");
    assert!(plan.proven(), "{name}: not proven");
    verify(job, plan).unwrap()
}

#[test]
fn recorded_optima_come_out() {
    if std::env::var_os(VARIABLE).is_some_and(|told| told == "write") {
        let mut solver = Solver::named().expect("a solver to make the record with");
        solver.nodes = Some(NODES);
        make(&solver);
    }
    let mut cases = record();
    cases.retain(|case| !NOT_PROVEN.contains(&(case.kind.name, case.seed)));
    assert!(cases.len() >= 500);
    let plans: Vec<Verified> = cases.par_iter().map(chosen).collect();
    let unlike = cases.iter().zip(&plans).filter_map(|(case, verified)| {
        let unlike = differences(verified.plan(), &case.figures);
        (!unlike.is_empty()).then(|| format!("{} {}: {unlike:?}", case.kind.name, case.seed))
    });
    assert_eq!(unlike.collect::<Vec<_>>(), [""; 0]);
    for figure in 0..5 {
        let mut wrong = cases[0].figures;
        wrong[figure] += 1;
        assert_eq!(differences(plans[0].plan(), &wrong).len(), 1, "a wrong figure is noticed");
    }
    let shown = plans.iter().filter(|verified| verified.proven()).count();
    println!("{} on record, proofs of all goals added up again: {shown}", cases.len());
    // The record must have what it is for.
    let count = |what: &dyn Fn(&Job, &Plan) -> bool| {
        plans.iter().filter(|verified| what(verified.job(), verified.plan())).count()
    };
    assert_eq!(count(&|job, _| (20..=40).contains(&job.pumps.len())), cases.len());
    assert!(count(&|job, _| job.pumps.len() > 30) >= 100);
    for kind in &KINDS {
        let there = cases.iter().filter(|case| case.kind.name == kind.name);
        assert!(there.count() >= 30, "{}", kind.name);
    }
    assert!(count(&|job, plan| plan.served() < job.pumps.len()) >= 100);
    assert!(count(&|job, _| job.policy.acceptance == Acceptance::Nominal) >= 100);
}

/// Other cases after each change of the changelog, since no test reads a clock.
#[test]
fn some_of_the_record_comes_out_again() {
    let Some(mut solver) = crate::solver("some of the record comes out again") else {
        return;
    };
    solver.nodes = Some(NODES);
    let cases = record();
    let stride = cases.len() / AGAIN;
    let text = sha256(include_bytes!("../../src/changelog.md"));
    let first = usize::from_str_radix(&text[..8], 16).unwrap() % stride;
    let some: Vec<&Case> = cases.iter().skip(first).step_by(stride).collect();
    let models = some.iter().map(|case| of_every_way(&case.kind.job(case.seed)));
    let answers = solver.solve(&models.collect::<Vec<_>>());
    let mut again = 0;
    for (case, answer) in some.iter().zip(answers) {
        // Another machine may need more nodes for one or the other.
        let Some(answer) = answer.filter(Obvious::proven) else { continue };
        assert_eq!(figures(&answer), case.figures, "{} {}", case.kind.name, case.seed);
        again += 1;
    }
    println!("made again: {again} of {} cases, every {stride}th from {first} on", some.len());
    assert!(again * 10 >= some.len() * 9, "{again} of {}", some.len());
}
