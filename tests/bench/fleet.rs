//! Fleets of pumps from a seed, solved, timed and measured, one row a case:
//! `cargo run --release --example fleet -- 30 100 300`.
//!
//! With `--features highs` the obvious model goes to a general solver beside it, in the same run.
//! Every case is run in a process of its own, so that its peak memory is its own.
//!
//! | variable | what it sets | default |
//! |---|---|---|
//! | `STOCK` | stock in tenths of what the planted kits take | `11,25` |
//! | `SHIMS`, `MOST` | shim sizes; most shims in a pack | `22,45`; `4,6` |
//! | `SEEDS` | seeds | `1` |
//! | `LIMIT` | seconds for the library | `60` |
//! | `OBVIOUS` | seconds for the obvious model, 0 for none | `60` |

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    missing_docs
)]

mod generate;
#[cfg(feature = "highs")]
#[path = "../obvious/model.rs"]
mod model;

use std::fmt::Debug;
use std::process::Command;
use std::str::FromStr;
use std::time::{Duration, Instant};

use gapwright::choose::choose;
use gapwright::choose::parts::instances;
use gapwright::choose::watch::Watch;
use gapwright::plan::Aim;

/// Gasket sizes of every case.
const GASKETS: usize = 8;

/// The first argument of a process that runs a single case.
const ONE: &str = "--one";

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    if arguments.first().is_some_and(|first| first == ONE) {
        return alone(&arguments[1..]);
    }
    let sizes: Vec<usize> = arguments
        .iter()
        .map(|a| {
            a.parse()
                .unwrap_or_else(|_| panic!("`{a}` is no number of pumps"))
        })
        .collect();
    println!(
        "{:>5} {:>5} {:>5} {:>4} {:>4} | {:>9} {:>6} {:>6} {:>12} {:>12} {:>8} {:>8} {:>7} {:<10} | \
         obvious model: served waste bound seconds ratio MB",
        "pumps",
        "stock",
        "shims",
        "most",
        "seed",
        "columns",
        "served",
        "bound",
        "waste",
        "bound",
        "gap %",
        "seconds",
        "MB",
        "stopped",
    );
    for shims in list("SHIMS", &[22, 45]) {
        for most in list("MOST", &[4, 6]) {
            for tenths in list("STOCK", &[11, 25]) {
                family(&sizes, shims, most, tenths);
            }
        }
    }
}

/// The rows of one family, which differ in the pumps only, and how their times grow.
fn family(sizes: &[usize], shims: usize, most: usize, tenths: usize) {
    let mut ours = Vec::new();
    let mut theirs = Vec::new();
    for &pumps in sizes {
        for seed in list("SEEDS", &[1]) {
            let case = [pumps, shims, most, tenths, seed];
            let columns = run("columns", case);
            let mine = run("choose", case);
            let stock = tenths as f64 / 10.0;
            print!("{pumps:5} {stock:5.1} {shims:5} {most:4} {seed:4} | ");
            let Some(seconds) = mine.seconds else {
                println!("{}", mine.line);
                continue;
            };
            print!("{:>9} {} ", columns.line, mine.line);
            print!("{:7} {:<10} | ", mine.memory, mine.stopped);
            if mine.stopped == "-" {
                ours.push((pumps, seconds));
            }
            if cfg!(feature = "highs") && one("OBVIOUS", 60) > 0 {
                let obvious = run("obvious", case);
                match obvious.seconds {
                    Some(other) => {
                        // A run that the limit ended would have taken longer still.
                        let at_least = if obvious.stopped == "-" { " " } else { ">" };
                        println!(
                            "{} {at_least}{:.1}x {}",
                            obvious.line,
                            other / seconds,
                            obvious.memory
                        );
                        if obvious.stopped == "-" {
                            theirs.push((pumps, other));
                        }
                    }
                    None => println!("{}", obvious.line),
                }
            } else {
                println!("-");
            }
        }
    }
    for (name, times) in [("choose", ours), ("obvious model", theirs)] {
        if let Some(exponent) = exponent(&times) {
            println!("      {name}: seconds grow as pumps to the {exponent:.2}");
        }
    }
}

/// What a process of its own tells of a case.
struct Told {
    line: String,
    /// `None` if there is no plan; the line then says why.
    seconds: Option<f64>,
    stopped: String,
    memory: String,
}

fn run(what: &str, case: [usize; 5]) -> Told {
    let output = Command::new(std::env::current_exe().unwrap())
        .arg(ONE)
        .arg(what)
        .args(case.map(|n| n.to_string()))
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&output.stdout);
    let mut fields = text.trim_end().split('\t').map(str::to_string);
    let mut next = || fields.next().unwrap_or_default();
    let (line, seconds, stopped, memory) = (next(), next().parse().ok(), next(), next());
    Told {
        line: if output.status.success() {
            line
        } else {
            format!("the process ended badly: {}", output.status)
        },
        seconds,
        stopped,
        memory,
    }
}

/// Runs one case and tells: the line, seconds, what stopped it, peak memory.
fn alone(arguments: &[String]) {
    let numbers: Vec<usize> = arguments[1..].iter().map(|a| a.parse().unwrap()).collect();
    let [pumps, shims, most, tenths, seed] = numbers[..] else {
        panic!("five numbers")
    };
    let job = generate::fleet(seed as u64, pumps, shims, GASKETS, tenths, most as u32);
    match arguments[0].as_str() {
        "columns" => {
            let instances = instances(&job).unwrap_or_default();
            let columns = instances.iter().flat_map(|instance| instance.takers.iter());
            print!("{}", columns.map(Vec::len).sum::<usize>());
        }
        "choose" => {
            let tell = |n: gapwright::choose::watch::News| {
                if std::env::var_os("TELL").is_some() {
                    eprintln!("{n:?}");
                }
            };
            let start = Instant::now();
            let watch = Watch::patient()
                .limit(Duration::from_secs(one("LIMIT", 60)))
                .listener(&tell);
            let plan = match choose(&job, &watch) {
                Ok(plan) => plan,
                Err(refused) => return print!("refused: {refused}"),
            };
            let seconds = start.elapsed().as_secs_f64();
            // One goal, or one a priority where whole numbers cannot carry the weights.
            let serving = |aim| matches!(aim, Aim::ServedWeight | Aim::ServedOf(_));
            let mut served = plan.goals.iter().filter(|goal| serving(goal.aim));
            let waste = plan.goal(Aim::Waste).unwrap();
            // The bound on pumps follows from that on the weight only where all can be served.
            let bound = if served.all(|goal| goal.proven()) {
                plan.served().to_string()
            } else {
                "open".into()
            };
            print!(
                "{:6} {bound:>6} {:12.6} {:12.6} {:8.4} {seconds:8.2}\t{seconds}\t{}\t{}",
                plan.served(),
                money(waste.value),
                money(waste.bound),
                gap(waste.value, waste.bound),
                plan.stopped_by.map_or("-", |stop| stop.words()),
                memory(),
            );
        }
        #[cfg(feature = "highs")]
        "obvious" => {
            let limit = Duration::from_secs(one("OBVIOUS", 60));
            let Some(found) = model::solve(&job, limit) else {
                return print!("no plan within {} s", limit.as_secs());
            };
            let bound = found
                .waste
                .bound
                .map_or("-".into(), |b| format!("{:.6}", money(b)));
            print!(
                "{:6} {:12.6} {bound:>12} {:8.2}\t{}\t{}\t{}",
                found.served,
                money(found.waste.value),
                found.seconds,
                found.seconds,
                if found.proven() { "-" } else { "time limit" },
                memory(),
            );
        }
        other => panic!("nothing called {other}"),
    }
}

fn money(millionths: i64) -> f64 {
    millionths as f64 / 1e6
}

/// How far the value lies above the bound, in percent of the value.
fn gap(value: i64, bound: i64) -> f64 {
    100.0 * (value - bound) as f64 / value.max(1) as f64
}

/// Peak resident memory of this process in megabytes, where the system tells.
fn memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let kilobytes = peak.and_then(|rest| rest.split_whitespace().next()?.parse::<f64>().ok());
    kilobytes.map_or("-".into(), |kilobytes| format!("{:.0}", kilobytes / 1024.0))
}

/// The slope of a straight line through the logarithms, by least squares: over the cases that no
/// limit ended.
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

fn one(name: &str, default: u64) -> u64 {
    list(name, &[default])[0]
}

fn list<T: FromStr + Clone>(name: &str, default: &[T]) -> Vec<T>
where
    T::Err: Debug,
{
    std::env::var(name).map_or(default.to_vec(), |text| {
        text.split(',').map(|n| n.trim().parse().unwrap()).collect()
    })
}
