//! Range of thicknesses to stock: published sets and sequences with their sources, and small cases against every pack
//! and every set.
//!
//! Tags: [read] the printed text was read; [memory] from memory; [computed] by enumeration outside
//! this program.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    missing_docs
)]

mod packs;
mod sets;

use gapwright::length::{Length, Unit};
use gapwright::size_range::{Rule, StockedSize, Targets, WindowGuard};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

fn dice(seed: u64) -> ChaCha8Rng {
    ChaCha8Rng::seed_from_u64(seed)
}

fn pick(dice: &mut ChaCha8Rng, from: i64, to: i64) -> i64 {
    dice.random_range(from..=to)
}

fn thou(count: i64) -> Length {
    Length::from_ticks(count * Unit::Thou.ticks())
}

fn hundredths(count: i64) -> Length {
    Length::from_ticks(count * Unit::Millimetre.ticks() / 100)
}

/// Packs of at most `pieces` pieces that must hit their target.
fn exact(pieces: u32) -> Rule {
    Rule { pieces, window: Length::ZERO, guard: WindowGuard::None }
}

fn all_thou(last: i64) -> Targets {
    Targets::new(thou(1), thou(last), thou(1)).unwrap()
}

/// Every thickness from 1 thou up.
fn every_thou(last: i64) -> Vec<StockedSize> {
    (1..=last).map(|n| StockedSize::of(thou(n))).collect()
}

/// Every pack of at most `pieces` pieces, as counts of each size.
fn every_pack(sizes: &[StockedSize], pieces: u32) -> Vec<Vec<u32>> {
    let mut packs = vec![vec![]];
    for size in sizes {
        let most = size.count.unwrap_or(u32::MAX);
        packs = packs
            .into_iter()
            .flat_map(|pack: Vec<u32>| {
                let left = pieces - pack.iter().sum::<u32>();
                (0..=left.min(most)).map(move |more| {
                    let mut pack = pack.clone();
                    pack.push(more);
                    pack
                })
            })
            .collect();
    }
    packs
}

/// Part of the window that a pack's errors take, in ticks.
fn taken(sizes: &[StockedSize], pack: &[u32], guard: WindowGuard) -> i64 {
    let each = sizes.iter().zip(pack);
    let tolerances = each.flat_map(|(size, &n)| vec![size.tolerance.ticks(); n as usize]);
    match guard {
        WindowGuard::None => 0,
        WindowGuard::WorstCase => tolerances.sum(),
        WindowGuard::RootSumSquare => {
            let square: i64 = tolerances.map(|t| t * t).sum();
            (0..).find(|root| root * root >= square).unwrap()
        }
    }
}
