//! Inventory formulas: published values with their sources, and every cost compared with the cheapest of all
//! possibilities.
//!
//! Tags: [read] the printed text was read; [memory] the printed value is from memory, and agrees with the calculation
//! beside it; [run] a general-purpose library was run, stockpyl 1.0.2 or SciPy 1.17.1; [computed] exact, outside this
//! program or in closed form.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    clippy::float_cmp,
    missing_docs
)]

mod economic;
mod level;
mod outage;
mod reorder;

use gapwright::decimal::Money;
use gapwright::inventory::Demand;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use statrs::distribution::{ContinuousCDF, Normal};

fn money(text: &str) -> Money {
    Money::parse(text).unwrap()
}

fn dice(seed: u64) -> ChaCha8Rng {
    ChaCha8Rng::seed_from_u64(seed)
}

/// Money from a number of cents.
fn cents(cents: u32) -> Money {
    Money::from_raw(i64::from(cents) * 10_000)
}

fn pick(dice: &mut ChaCha8Rng, from: u32, to: u32) -> u32 {
    dice.random_range(from..=to)
}

#[track_caller]
fn near(found: f64, expected: f64, relative: f64) {
    assert!((found - expected).abs() <= relative * expected.abs(), "{found} for {expected}");
}

/// A normal law as a history of its quantiles, for published examples that assume one: pieces are whole, rounded up
/// (the probability of each count or less is the law's) or to the nearest (pieces missing and left are the law's by
/// the midpoint rule, good to a twenty-fourth of its density).
fn normal(mean: f64, sd: f64, whole: fn(f64) -> f64) -> Demand {
    let (law, rows) = (Normal::new(mean, sd).unwrap(), 400_000);
    let quantile = |row: u32| law.inverse_cdf((f64::from(row) + 0.5) / f64::from(rows));
    let counts: Vec<u32> = (0..rows).map(|row| whole(quantile(row)) as u32).collect();
    Demand::history(&counts).unwrap()
}

/// Poisson probabilities by the recurrence from zero, summed in order: independent of the program's method.
fn poisson(mean: f64, end: usize) -> Vec<f64> {
    let mut chances = vec![(-mean).exp()];
    for count in 1..=end {
        chances.push(chances[count - 1] * mean / count as f64);
    }
    chances
}

/// Expected surplus and shortage with `held` pieces held, over all demands.
fn left_and_lacking(chances: &[f64], held: i64) -> (f64, f64) {
    let mut sums = (0.0, 0.0);
    for (demand, chance) in chances.iter().enumerate() {
        let over = held - demand as i64;
        sums.0 += chance * over.max(0) as f64;
        sums.1 += chance * (-over).max(0) as f64;
    }
    sums
}
