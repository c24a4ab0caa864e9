//! Supports: for each target the smallest sets of sizes of the packs that meet it.

use crate::choose::control::{Control, Pace};
use crate::length::Length;

use super::{GRACE, Rule, StockedSize, Targets};

/// Set of sizes of a catalogue, one bit each.
pub(super) type Set = u128;

/// Most packs that are listed, each counted once for every target that it meets: 48 MB.
const MOST_PACKS: usize = 3_000_000;

/// Most packs visited for that.
const MOST_LOOKS: u64 = 30_000_000;

/// Supports of each target, none a subset of another; empty for a target that no pack meets.
///
/// `None` if there are too many packs to list, or the time ends.
pub(super) fn list(
    catalogue: &[StockedSize],
    targets: &Targets,
    rule: &Rule,
    control: &Control<'_>,
) -> Option<Vec<Vec<Set>>> {
    let mut listing = Listing {
        catalogue,
        targets,
        rule,
        supports: vec![vec![]; targets.len()],
        listed: 0,
        looks: 0,
        pace: Pace::at_least(control, GRACE),
    };
    listing.extend(0, 0, Length::ZERO, 0, 0)?;
    let Listing { mut supports, mut pace, .. } = listing;
    for sets in &mut supports {
        sets.sort_unstable();
        sets.dedup();
        let all = sets.clone();
        sets.retain(|&set| pace.stop(1).is_some() || !has_smaller(set, &all));
    }
    pace.stop(0).is_none().then_some(supports)
}

/// Number of packs of at most `pieces` pieces of `kinds` sizes, the empty one included: the binomial
/// coefficient of kinds + pieces over pieces.
pub(super) fn most_packs(kinds: u128, pieces: u128) -> u128 {
    (1..=pieces).fold(1_u128, |packs, k| packs.saturating_mul(kinds + k) / k)
}

struct Listing<'a> {
    pace: Pace<'a>,
    catalogue: &'a [StockedSize],
    targets: &'a Targets,
    rule: &'a Rule,
    supports: Vec<Vec<Set>>,
    listed: usize,
    looks: u64,
}

impl Listing<'_> {
    /// Records the targets that this pack meets, and goes on with every pack that has more pieces of sizes
    /// from `next` on; `None` if there are too many.
    fn extend(
        &mut self,
        next: usize,
        pieces: u32,
        total: Length,
        parts: u64,
        set: Set,
    ) -> Option<()> {
        self.looks += 1;
        if self.pace.stop(1).is_some() {
            return None;
        }
        let room = self.rule.window - self.rule.guard.of(parts);
        if room >= Length::ZERO {
            let met = self.targets.between(total - room, total + room);
            self.listed += met.len();
            if self.listed > MOST_PACKS {
                return None;
            }
            for target in met {
                self.supports[target].push(set);
            }
        }
        if self.looks > MOST_LOOKS {
            return None;
        }
        for (index, size) in self.catalogue.iter().enumerate().skip(next) {
            let part = self.rule.guard.part(size.tolerance);
            let (mut total, mut parts) = (total, parts);
            let most = size.count.unwrap_or(u32::MAX).min(self.rule.pieces - pieces);
            for more in 1..=most {
                total = total + size.thickness;
                parts = parts.saturating_add(part);
                if total > self.targets.last() + self.rule.window {
                    break;
                }
                self.extend(index + 1, pieces + more, total, parts, set | 1 << index)?;
            }
        }
        Some(())
    }
}

/// Whether a proper subset of the set is among `all`, which are sorted.
fn has_smaller(set: Set, all: &[Set]) -> bool {
    // Every subset of it, by counting down within its bits.
    let mut part = set;
    while part != 0 {
        part = (part - 1) & set;
        if all.binary_search(&part).is_ok() {
            return true;
        }
    }
    false
}
