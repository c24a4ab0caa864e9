//! Table of totals: the least guard of a pack, by number of pieces and total.

use crate::choose::control::Pace;
use crate::length::Length;
use crate::narrow::narrow;

use super::{Met, Rule, SizeRangeError, StockedSize, Targets, check_sizes};

/// Most numbers in a table: 64 MB.
const MOST_CELLS: i64 = 8_000_000;

/// Most steps to fill it.
const MOST_STEPS: i64 = 10_000_000_000;

/// Numbers of the table per unit of work.
const CELLS_A_UNIT: usize = 200;

/// Mark of a total that no pack has.
const NEVER: u64 = u64::MAX;

pub(super) struct TotalsTable {
    /// Spacing of the totals, in ticks.
    grain: i64,
    /// Least sum of the guard's parts, by number of pieces from 0, then by total.
    least: Vec<Vec<u64>>,
}

impl TotalsTable {
    /// Table of all packs of at most the rule's number of pieces with totals up to `end`.
    pub(super) fn of(
        sizes: &[StockedSize],
        end: Length,
        rule: &Rule,
        pace: &mut Pace<'_>,
    ) -> Result<TotalsTable, SizeRangeError> {
        check_sizes(sizes)?;
        let grain = sizes.iter().fold(0, |g, size| gcd(g, size.thickness.ticks()));
        let grain = grain.max(1);
        let pieces = i64::from(rule.pieces);
        let cells = if sizes.is_empty() { 1 } else { end.ticks() / grain + 1 };
        let rounds = |size: &StockedSize| match size.count {
            Some(count) => i64::from(count.min(rule.pieces)),
            None => 1,
        };
        let rounds: i64 = sizes.iter().map(rounds).sum();
        let numbers = cells.saturating_mul(pieces + 1);
        if numbers > MOST_CELLS || numbers.saturating_mul(rounds) > MOST_STEPS {
            return Err(too_fine(grain, cells));
        }
        // At most eight million.
        let width = usize::try_from(cells).unwrap_or(0);
        let height = rule.pieces as usize;
        let mut least = vec![vec![NEVER; width]; height + 1];
        least[0][0] = 0;
        for size in sizes {
            let shift = narrow::<usize>(size.thickness.ticks() / grain);
            if shift >= width {
                continue;
            }
            let part = rule.guard.part(size.tolerance);
            let mut join = |k: usize| match pace.stop(width / CELLS_A_UNIT + 1) {
                Some(stop) => Err(SizeRangeError::Stopped(stop)),
                None => {
                    join(&mut least, k, shift, part);
                    Ok(())
                }
            };
            // Upwards a piece joins packs that hold the size already, downwards only those without it: any
            // number of pieces in one round, one more in each round.
            match size.count {
                None => (1..=height).try_for_each(&mut join)?,
                Some(count) => {
                    for _ in 0..count.min(rule.pieces) {
                        (1..=height).rev().try_for_each(&mut join)?;
                    }
                }
            }
        }
        Ok(TotalsTable { grain, least })
    }

    /// Refuses windows with so many totals that a pass over them all would take too long; returns the units
    /// of work for one of them.
    pub(super) fn check_windows(
        &self,
        targets: &Targets,
        rule: &Rule,
    ) -> Result<usize, SizeRangeError> {
        let cells = 2 * rule.window.ticks() / self.grain + 1;
        let looks = cells.saturating_mul(narrow::<i64>(targets.len()));
        if looks.saturating_mul((rule.pieces + 1).into()) > MOST_STEPS / 10 {
            return Err(too_fine(self.grain, cells));
        }
        let units = usize::try_from(cells).unwrap_or(0) * (rule.pieces as usize + 1);
        Ok(units / CELLS_A_UNIT + 1)
    }

    /// Pack with the fewest pieces that meets a target, and of those the one with most room left.
    pub(super) fn meet(&self, target: Length, rule: &Rule) -> Option<Met> {
        let low = (target - rule.window).ticks().max(0);
        let first = (low + self.grain - 1) / self.grain;
        let last = (target + rule.window).ticks() / self.grain;
        (0..).zip(&self.least).find_map(|(pieces, row)| {
            let cells = (first..=last).filter_map(|cell| {
                let sum = *row.get(usize::try_from(cell).ok()?)?;
                let error = Length::from_ticks(cell * self.grain) - target;
                let guard = (sum != NEVER).then(|| rule.guard.of(sum))?;
                let room = rule.window - error.abs() - guard;
                (room >= Length::ZERO).then_some((room, error, guard))
            });
            // Among equals the thinner one.
            let best = cells.max_by_key(|&(room, error, _)| (room, -error));
            best.map(|(_, error, guard)| Met { pieces, error, guard })
        })
    }
}

/// Packs of `k` pieces from those of one piece less and one more piece.
fn join(least: &mut [Vec<u64>], k: usize, shift: usize, part: u64) {
    let (fewer, more) = least.split_at_mut(k);
    let (Some(from), Some(to)) = (fewer.last(), more.first_mut()) else {
        return;
    };
    for (to, &from) in to[shift..].iter_mut().zip(from) {
        *to = (*to).min(from.saturating_add(part));
    }
}

fn too_fine(grain: i64, cells: i64) -> SizeRangeError {
    SizeRangeError::TooFine { grain_nm: format!("{}.{}", grain / 10, grain % 10), cells }
}

fn gcd(a: i64, b: i64) -> i64 {
    if b == 0 { a } else { gcd(b, a % b) }
}
