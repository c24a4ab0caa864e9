//! Provisions for a fleet that is not measured yet, timed by parts:
//! `cargo run --release --example provision -- 50 200`.
//!
//! The fleet is invented, from a seed: families of pumps that share model and expected range, half of the ranges
//! uniform, half from readings. For comparison, the obvious check whether a trolley serves a scenario runs too: each
//! scenario as a separate outage for the general choice, on a few of them, scaled up.
//!
//! | variable | meaning | default |
//! |---|---|---|
//! | `SCENARIOS`, `CHECKS` | scenarios to choose by, and to count on | `500`, `1000` |
//! | `FAMILIES` | families of pumps | `20` |
//! | `SHIMS`, `MOST` | shim sizes; most shims in a pack | `22`; `4` |
//! | `PROBABILITY` | in percent | `95` |
//! | `SEED` | of fleet and scenarios | `1` |
//! | `OBVIOUS` | scenarios for the obvious method, 0 for none | `5` |

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    missing_docs
)]

mod generate;

use std::collections::BTreeMap;
use std::sync::Mutex;
use std::time::{Duration, Instant};

use gapwright::choose::control::{Control, Phase, PhaseProgress};
use gapwright::choose::parts::{CostRow, instances, solve_from};
use gapwright::decimal::Millionths;
use gapwright::forecast::{Expected, ExpectedLaw, Forecast};
use gapwright::job::{Job, Parts};
use gapwright::length::{Length, Tolerance, Uncertainty};
use gapwright::plan::Objective;
use gapwright::provision::{Provision, ProvisionOptions, Purpose, provision, scenario};
use gapwright::pump::Pump;

fn main() {
    let pumps: Vec<usize> = std::env::args()
        .skip(1)
        .map(|a| a.parse().unwrap_or_else(|_| panic!("`{a}` is no number of pumps")))
        .collect();
    for pumps in pumps {
        case(pumps);
    }
}

fn setting(name: &str, default: u64) -> u64 {
    std::env::var(name).map_or(default, |text| text.parse().expect("a whole number"))
}

/// A tenth of a thou.
fn tenths(n: i64) -> Length {
    Length::from_ticks(n * 25_400)
}

fn case(pumps: usize) {
    let outlook = fleet(pumps);
    let question = ProvisionOptions {
        scenarios: setting("SCENARIOS", 500) as u32,
        checks: setting("CHECKS", 1_000) as u32,
        probability: Millionths::from_raw(setting("PROBABILITY", 95) as i64 * 10_000),
        seed: setting("SEED", 1),
        ..ProvisionOptions::new(tenths(5))
    };
    let start = Instant::now();
    let began: Mutex<Vec<(Phase, f64)>> = Mutex::default();
    let note = |step: PhaseProgress| {
        let mut began = began.lock().unwrap();
        if began.last().is_none_or(|(part, _)| *part != step.part) {
            began.push((step.part, start.elapsed().as_secs_f64()));
            eprintln!("{:?} of {} from {:.1} s", step.part, step.of, start.elapsed().as_secs_f64());
        }
    };
    let found = provision(&outlook, &question, &Control::unlimited().steps(&note)).unwrap();
    let seconds = start.elapsed().as_secs_f64();
    println!(
        "{pumps} pumps, {} scenarios, {} checks: {seconds:.1} s",
        question.scenarios, question.checks
    );
    let began = began.into_inner().unwrap();
    let mut parts: BTreeMap<String, f64> = BTreeMap::new();
    let ends = began.iter().skip(1).map(|(_, at)| *at).chain([seconds]);
    for ((part, at), end) in began.iter().zip(ends) {
        *parts.entry(format!("{part:?}")).or_default() += end - at;
    }
    let drawing = began.first().map_or(seconds, |(_, at)| *at);
    println!("  Drawing and windows {drawing:.2} s");
    for (part, seconds) in parts {
        println!("  {part} {seconds:.2} s");
    }
    tell(&found);
    obvious(&outlook, &question, &found, seconds);
}

fn tell(found: &Provision) {
    let safe = &found.safe;
    let proven = safe.iter().filter(|kit| kit.proven).count();
    let bound: i64 = safe.iter().map(|kit| kit.bound.raw()).sum();
    let gaps: usize = safe.iter().map(|kit| kit.gaps()).sum();
    println!(
        "  safe kits {} for {} pieces, {proven} of {} proven (bound {}), {gaps} gaps, {} items short",
        found.together.cost,
        found.together.count,
        safe.len(),
        Millionths::from_raw(bound),
        found.together.lacking.len(),
    );
    let trolley = &found.trolley;
    println!(
        "  trolley {} for {} pieces, bound {}; serves {} of {} it was chosen for ({} wanted, {} hopeless)",
        trolley.cost,
        trolley.count,
        trolley.bound,
        trolley.served,
        trolley.scenarios,
        trolley.wanted,
        trolley.hopeless,
    );
    let service = &found.service;
    println!(
        "  service {:.1} % of {} others, {:.1} to {:.1} %; {} undecided, {} hopeless",
        100.0 * service.share(),
        service.checks,
        100.0 * service.interval[0],
        100.0 * service.interval[1],
        service.undecided,
        service.hopeless,
    );
    println!(
        "  the trolley costs {:.2} of the safe kits",
        trolley.cost.to_f64() / found.together.cost.to_f64()
    );
}

/// Checks whether the trolley serves scenarios, each as a separate outage.
fn obvious(outlook: &Forecast, question: &ProvisionOptions, found: &Provision, all: f64) {
    let some = setting("OBVIOUS", 5) as u32;
    if some == 0 {
        return;
    }
    let job = outlook.job().clone().with(|job| {
        for item in &mut job.stock {
            item.on_hand = 0;
        }
        for pieces in &found.trolley.pieces {
            job.stock[pieces.item].on_hand = pieces.count;
        }
    });
    let mut job = job.unwrap();
    let (mut served, mut listing, mut choosing) = (0, 0.0, 0.0);
    for number in 0..some {
        let drawn = scenario(outlook, question, Purpose::Counting, number).unwrap();
        let measured = job.with(|job| {
            for (pump, lengths) in job.pumps.iter_mut().zip(drawn) {
                for (dimension, length) in pump.dimensions.iter_mut().zip(lengths) {
                    if let Some(length) = length {
                        dimension.readings = vec![length];
                        dimension.value = length;
                    }
                }
            }
        });
        job = measured.unwrap();
        let start = Instant::now();
        let instances = instances(&job).unwrap();
        listing += start.elapsed().as_secs_f64();
        let limit = Control::unlimited().limit(Duration::from_secs(30));
        let start = Instant::now();
        let out = instances.iter().map(|instance| {
            let mut instance = instance.clone();
            instance.tiers = vec![CostRow::Served(vec![1; instance.pumps])];
            let solved = solve_from(&instance, &[Objective::ServedWeight], None, &[], &limit);
            -solved.values[0]
        });
        served += u32::from(out.sum::<i64>() == job.pumps.len() as i64);
        choosing += start.elapsed().as_secs_f64();
    }
    let unserved = found.service.unserved.iter();
    let ours = some - unserved.filter(|u| u.scenario < some).count() as u32;
    let all_checks = f64::from(question.checks) / f64::from(some);
    println!(
        "  obvious way, {some} checks each listed afresh and left to the general search for the most \
         served: {served} served (here {ours}); listing {:.0} s and search {:.0} s for all {} checks \
         (here, the trolley chosen and all else included, {all:.0} s)",
        listing * all_checks,
        choosing * all_checks,
        question.checks
    );
}

/// Pumps in families with one expected range each, from a large stock.
fn fleet(pumps: usize) -> Forecast {
    let families = setting("FAMILIES", 20) as usize;
    let shims = setting("SHIMS", 22) as usize;
    let most = setting("MOST", 4) as u32;
    let mut job = generate::fleet(setting("SEED", 1), pumps, shims, 8, 100, most).into_parts();
    // Gaskets at half steps, so that there are almost no gaps in coverage.
    for index in 0..job.stock.len() {
        let gasket = job.stock[index].kind == "gasket";
        if let Some(size) = job.stock[index].size.as_mut().filter(|_| gasket) {
            size.tolerance = Tolerance::even(tenths(4));
        }
        let mut item = job.stock[index].clone();
        if let Some(size) = item.size.as_mut().filter(|_| item.kind == "gasket") {
            size.thickness = size.thickness + tenths(75);
            item.item.push_str("-half");
            item.unit_cost = item.unit_cost + Millionths::from_raw(75_000);
            job.stock.push(item);
        }
    }
    let centres: Vec<Vec<Length>> = job.pumps.iter().map(values).collect();
    // Families without gaps in the drawers: with gaps, hardly any scenario could be served whatever is set aside.
    let some = 2 * families;
    let mut first = job.clone();
    first.pumps.truncate(some);
    let tried = ranges(first, &centres, some);
    let quick =
        ProvisionOptions { scenarios: 1, checks: 1, effort: 0, ..ProvisionOptions::new(tenths(5)) };
    let tried = provision(&tried, &quick, &Control::unlimited()).unwrap();
    let whole = tried.safe.iter().zip(&centres);
    let whole: Vec<Vec<Length>> = whole
        .filter(|(kit, _)| kit.gaps() == 0)
        .map(|(_, centre)| centre.clone())
        .take(families)
        .collect();
    println!("{} families without gaps of {some}", whole.len());
    let families = whole.len();
    ranges(job, &whole, families)
}

fn values(pump: &Pump) -> Vec<Length> {
    pump.dimensions.iter().map(|measured| measured.value).collect()
}

/// Pumps with the ranges of families about these values, one after the other.
fn ranges(mut job: Parts, centres: &[Vec<Length>], families: usize) -> Forecast {
    let mut expected = Vec::new();
    for (index, pump) in job.pumps.iter_mut().enumerate() {
        let family = index % families;
        let one = |(dimension, middle): (usize, &Length)| {
            // From three thou below to three above, for the ring two.
            let half = tenths(if dimension == 0 { 30 } else { 20 });
            let law = if family.is_multiple_of(2) {
                ExpectedLaw::Even
            } else {
                ExpectedLaw::Readings {
                    mean: *middle,
                    // A scale of half a thou.
                    scale: Uncertainty::from_raw(127_000 * 100_000),
                    degrees_of_freedom: 9,
                }
            };
            Some(Expected { low: *middle - half, high: *middle + half, law })
        };
        expected.push(centres[family].iter().enumerate().map(one).collect());
        for (measured, middle) in pump.dimensions.iter_mut().zip(&centres[family]) {
            measured.readings = vec![*middle];
            measured.value = *middle;
        }
    }
    let job = Job::new(job).unwrap();
    Forecast::new(job, expected).unwrap()
}
