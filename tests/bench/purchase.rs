//! Purchases for a fleet, timed: `cargo run --release --example purchase -- 100 300 1000`.
//!
//! Each case has this number of pumps and a catalogue of 60 sizes (52 shims, 8 gaskets) in packs of 5 and 10; the
//! drawer holds the pieces of six pumps in ten, and one pump in ten is due before any purchase can arrive. The
//! obvious alternative runs next to it: choose the least waste as if every size were on hand, then order the missing
//! pieces in whole packs.
//!
//! | variable | meaning | default |
//! |---|---|---|
//! | `SHIMS`, `MOST` | shim sizes; most shims in a pack | `52`; `3` |
//! | `SEED` | seed | `1` |
//! | `LIMIT` | seconds for each search | `60` |
//! | `BUDGET` | budget in hundredths of the least cost, for a further run | none |

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

use gapwright::choose::choose;
use gapwright::choose::control::{Control, Progress};
use gapwright::choose::purchase::{columns, purchase};
use gapwright::decimal::Money;
use gapwright::job::Job;
use gapwright::plan::Objective;
use gapwright::pump::Due;
use gapwright::purchase::Market;
use gapwright::stock::Offer;
use gapwright::verify::verify_purchase;

const TODAY: i64 = 46_447;

fn setting(name: &str, default: u64) -> u64 {
    std::env::var(name).map_or(default, |text| text.parse().expect("a whole number"))
}

/// The fleet with prices, packs and due dates.
fn shop(pumps: usize) -> Job {
    let (shims, most) = (setting("SHIMS", 52) as usize, setting("MOST", 3) as u32);
    let mut job = generate::fleet(setting("SEED", 1), pumps, shims, 8, 6, most).into_parts();
    for (at, lot) in job.stock.iter_mut().enumerate() {
        lot.carton_qty = if at % 2 == 0 { 10 } else { 5 };
        lot.offer = Offer {
            unit_cost: Some(lot.unit_cost),
            carton_qty: Some(lot.carton_qty),
            max_level: None,
            lead_days: Some(10),
            supplier: None,
        };
    }
    for (at, pump) in job.pumps.iter_mut().enumerate() {
        let days = if at % 10 == 0 { 3 } else { 30 };
        pump.due = Some(Due { shown: String::new(), serial: (TODAY + days) as f64 });
    }
    Job::new(job).unwrap()
}

fn main() {
    let sizes: Vec<usize> = std::env::args()
        .skip(1)
        .map(|a| a.parse().unwrap_or_else(|_| panic!("`{a}` is no number of pumps")))
        .collect();
    let sizes = if sizes.is_empty() { vec![100, 300, 1000] } else { sizes };
    for pumps in sizes {
        case(pumps);
    }
}

fn case(pumps: usize) {
    let job = shop(pumps);
    let market = Market::of(&job, TODAY, None, |_| true).unwrap();
    let begun = Instant::now();
    let listed = columns(&job, &market).unwrap();
    let listing = begun.elapsed();
    println!(
        "{pumps} pumps, {} sizes, {listed} ways to kit them, listed in {listing:.2?}",
        job.stock.len()
    );
    let bought = timed(&job, &market, "joint purchase");
    // The obvious method: the least waste with everything on hand, then the missing pieces.
    let begun = Instant::now();
    let plenty = job.clone().with(|job| {
        for lot in &mut job.stock {
            lot.on_hand += 30_000;
        }
    });
    let plenty = plenty.unwrap();
    let control = Control::unlimited().limit(Duration::from_secs(setting("LIMIT", 60)));
    let plan = choose(&plenty, &control).unwrap();
    let cost: i64 = plan
        .issued(&plenty)
        .iter()
        .zip(&job.stock)
        .map(|(&used, lot)| {
            let packs = used.saturating_sub(lot.available()).div_ceil(lot.carton_qty);
            i64::from(packs * lot.carton_qty) * lot.unit_cost.raw()
        })
        .sum();
    let taken = begun.elapsed();
    println!(
        "  least waste, then order what lacks: {} served (lead times left out), cost {:.2}, {taken:.2?}; \
         that is {:.2} times the cost of the joint purchase",
        plan.served(),
        cost as f64 / 1e6,
        cost as f64 / bought.max(1) as f64
    );
    if let Ok(hundredths) = std::env::var("BUDGET") {
        let hundredths: i64 = hundredths.parse().expect("hundredths");
        let mut market = market;
        market.budget = Some(Money::from_raw(bought / 100 * hundredths));
        timed(&job, &market, "under a budget");
    }
}

/// Runs a purchase, prints the value of each goal, and returns its cost.
fn timed(job: &Job, market: &Market, label: &str) -> i64 {
    let last: Mutex<BTreeMap<String, Duration>> = Mutex::default();
    let begun = Instant::now();
    let tell = |news: Progress| {
        last.lock().unwrap().insert(news.aim.label(), begun.elapsed());
    };
    let control =
        Control::unlimited().limit(Duration::from_secs(setting("LIMIT", 60))).listener(&tell);
    let found = purchase(job, market, &control).unwrap();
    let taken = begun.elapsed();
    let goals: Vec<String> = found
        .plan
        .goals
        .iter()
        .map(|goal| match goal.objective {
            Objective::Purchase | Objective::Waste => format!(
                "{} {:.2} (bound {:.2})",
                goal.objective.label(),
                goal.value as f64 / 1e6,
                goal.bound as f64 / 1e6
            ),
            _ => format!("{} {} (bound {})", goal.objective.label(), goal.value, goal.bound),
        })
        .collect();
    println!("  {label}: {} served, {taken:.2?}; {}", found.plan.served(), goals.join(", "));
    for (aim, at) in last.lock().unwrap().iter() {
        println!("    last news of {aim} after {at:.2?}");
    }
    let cost = found.cost(market).raw();
    verify_purchase(job, market, found).expect("what is bought holds");
    cost
}
