//! A pump's clearance by Monte Carlo, compared in one run with numpy on the same model:
//! `cargo run --release --example monte_carlo -- 4000000`.
//!
//! Rounds alternate between this library on one thread, on two, and numpy; medians are printed. The library also
//! finds the shortest interval, the conformity and a histogram, which numpy does not.
//!
//! | variable | meaning | default |
//! |---|---|---|
//! | `PYTHON` | the Python with numpy | `python3` |
//! | `ROUNDS` | rounds | `9` |

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::cast_precision_loss, missing_docs)]

use std::io::{BufRead, BufReader, Write};
use std::process::{Command, ExitCode, Stdio};
use std::time::Instant;

use gapwright::stack::monte_carlo::{
    DrawModel, DrawOptions, DrawTerm, Law, Measurand, Outcome, Source, Sum, run,
};
use smallvec::smallvec;

/// Invented: a bore less a shaft, a housing face, run-out, a face by eye, four shims and the error that their lot
/// shares.
fn model() -> DrawModel {
    let rectangular = |half| Law::Rectangular { half };
    let parts = [
        (1.0, 120.050, rectangular(0.010)),
        (-1.0, 118.200, rectangular(0.008)),
        (-1.0, 1.840, Law::Normal { sd: 0.006 }),
        (1.0, 0.0, Law::UShaped { half: 0.012 }),
        (1.0, 0.0, Law::Triangular { half: 0.015 }),
        (-4.0, 0.0, rectangular(0.004)),
        (-1.0, 0.254, rectangular(0.013)),
        (-1.0, 0.254, rectangular(0.013)),
        (-1.0, 0.508, rectangular(0.025)),
        (-1.0, 0.127, rectangular(0.010)),
    ];
    let sources = parts.map(|(_, mean, law)| Source { mean, law });
    let terms = parts.iter().enumerate().map(|(n, part)| DrawTerm {
        factor: part.0,
        of: smallvec![n],
        over: smallvec![],
    });
    DrawModel {
        sources: sources.to_vec(),
        joint: vec![],
        measurand: Measurand::Sum(Sum { constant: 0.0, terms: terms.collect() }),
    }
}

/// Seconds, processor seconds, mean, standard deviation, and the ends of the interval.
type Row = [f64; 6];

fn ours(threads: usize, draws: u64) -> Row {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads);
    let pool = pool.build().expect("threads");
    let plan = DrawOptions {
        limits: Some([-1.30, -1.05]),
        // Nine digits never become stable, so all draws are made.
        digits: 9,
        most_draws: draws,
        ..DrawOptions::default()
    };
    let model = model();
    let (start, before) = (Instant::now(), work());
    let outcome: Outcome = pool.install(|| run(&model, &plan)).expect("a model");
    let seconds = start.elapsed().as_secs_f64();
    let work = work() - before;
    assert_eq!(outcome.draws, draws, "a whole number of batches");
    let [low, high] = outcome.symmetric;
    [seconds, work, outcome.mean, outcome.standard, low, high]
}

/// Peak memory of this process, in MB, where the system reports it.
fn peak() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM"))?;
    let kilobytes: u64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kilobytes / 1_000)
}

/// Processor seconds of this process so far, where the system reports them, to 0.01.
fn work() -> f64 {
    let Ok(stat) = std::fs::read_to_string("/proc/self/stat") else {
        return f64::NAN;
    };
    // After the name in brackets; in hundredths, as on nearly all systems.
    let fields = stat.rsplit(')').next().expect("fields");
    let ticks = fields.split_whitespace().skip(11).take(2);
    ticks.map(|ticks| ticks.parse::<f64>().expect("ticks") / 100.0).sum()
}

fn mean(rows: &[Row], column: usize) -> f64 {
    rows.iter().map(|row| row[column]).sum::<f64>() / rows.len() as f64
}

fn median(rows: &[Row]) -> f64 {
    let mut seconds: Vec<f64> = rows.iter().map(|row| row[0]).collect();
    seconds.sort_by(f64::total_cmp);
    seconds[seconds.len() / 2]
}

fn main() -> ExitCode {
    let draws: u64 =
        std::env::args().nth(1).map_or(4_000_000, |text| text.parse().expect("a number of draws"));
    let rounds: usize = std::env::var("ROUNDS").map_or(9, |text| text.parse().expect("rounds"));
    let python = std::env::var("PYTHON").unwrap_or_else(|_| "python3".into());
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/bench/monte_carlo.py");
    let started =
        Command::new(&python).arg(script).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn();
    let without = |python: &str| {
        eprintln!(
            "`{python}` has no numpy to compare with. Make one that has:\n  \
             python3 -m venv venv && venv/bin/pip install numpy\n\
             and name it: PYTHON=venv/bin/python cargo run --release --example monte_carlo"
        );
        ExitCode::FAILURE
    };
    let Ok(mut numpy) = started else {
        return without(&python);
    };
    let mut ask = numpy.stdin.take().expect("a pipe");
    let mut answers = BufReader::new(numpy.stdout.take().expect("a pipe")).lines();
    let mut theirs = || -> Option<Row> {
        writeln!(ask, "{draws}").ok()?;
        let line = answers.next()?.ok()?;
        let numbers: Vec<f64> =
            line.split_whitespace().map(|number| number.parse().expect("a number")).collect();
        Some(numbers.try_into().expect("six numbers"))
    };
    let (mut one, mut two, mut python_rows) = (vec![], vec![], vec![]);
    for round in 0..=rounds {
        let Some(row) = theirs() else {
            return without(&python);
        };
        let (first, second) = (ours(1, draws), ours(2, draws));
        // The first round only warms up.
        if round > 0 {
            python_rows.push(row);
            one.push(first);
            two.push(second);
        }
    }
    drop(ask);
    numpy.wait().expect("numpy ends");
    println!("{draws} draws, {rounds} rounds: medians, mean time of the processors");
    println!(
        "{:<10} {:>8} {:>8} {:>8} {:>11} {:>10} {:>11} {:>11}",
        "", "ms", "ns/draw", "cpu ms", "mean", "sd", "2.5 %", "97.5 %"
    );
    let base = median(&python_rows);
    for (name, rows) in [("numpy", &python_rows), ("1 thread", &one), ("2 threads", &two)] {
        let seconds = median(rows);
        let [_, _, average, sd, low, high] = rows[0];
        println!(
            "{name:<10} {:>8.1} {:>8.1} {:>8.1} {average:>11.6} {sd:>10.6} {low:>11.6} {high:>11.6}",
            seconds * 1e3,
            seconds * 1e9 / draws as f64,
            mean(rows, 1) * 1e3,
        );
    }
    println!(
        "times as quick as numpy: {:.2} on 1 thread, {:.2} on 2; work of the processors on 1: 1/{:.2}",
        base / median(&one),
        base / median(&two),
        mean(&python_rows, 1) / mean(&one, 1)
    );
    if let Some(megabytes) = peak() {
        println!("peak memory, the library's side: {megabytes} MB");
    }
    ExitCode::SUCCESS
}
