//! Why not: for a pump that is not kitted, which place fails and what comes nearest.

use std::collections::BTreeMap;

use crate::choose::Drawers;
use crate::choose::combination::{Combination, list, most_total};
use crate::choose::pattern::{Pattern, Row, rows, windows};
use crate::job::Job;
use crate::length::Length;
use crate::plan::{Cause, Kit, PackPick, Shortfall};
use crate::pump::Pump;

/// Turns chosen packs into kits, with a reason for each pump that got none.
pub fn explain(
    job: &Job,
    available: &[u32],
    drawers: &Drawers,
    patterns: &[Vec<Pattern>],
    kits: Vec<Option<Vec<PackPick>>>,
) -> Vec<Kit> {
    let mut left = available.to_vec();
    let mut holders: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (pump, kit) in kits.iter().enumerate() {
        for pick in kit.iter().flatten().flat_map(|pack| &pack.picks) {
            left[pick.item] = left[pick.item].saturating_sub(pick.count);
            holders.entry(pick.item).or_default().push(pump);
        }
    }
    kits.into_iter()
        .enumerate()
        .map(|(pump, kit)| match kit {
            Some(packs) => Kit::Served(packs),
            None if patterns[pump].is_empty() => Kit::Short(vec![diagnose(job, pump, available)]),
            None => {
                let wanted = lacking(job, pump, drawers, &patterns[pump], &left);
                let cause = Cause::StockGone(tags(job, pump, &wanted, &holders));
                Kit::Short(vec![Shortfall {
                    cause,
                    ..diagnose(job, pump, &left)
                }])
            }
        })
        .collect()
}

/// The items that the pump's least wasteful pattern asks for and that are not left.
fn lacking(
    job: &Job,
    pump: usize,
    drawers: &Drawers,
    patterns: &[Pattern],
    left: &[u32],
) -> Vec<usize> {
    let drawers = drawers.of(job, &job.pumps[pump]);
    let uses = |pattern: &Pattern| {
        let mut counts: BTreeMap<usize, u32> = BTreeMap::new();
        for (drawer, &choice) in drawers.iter().zip(&pattern.choice) {
            for pick in &drawer[choice as usize].picks {
                *counts.entry(pick.item).or_default() += pick.count;
            }
        }
        counts
    };
    let waste = |pattern: &&Pattern| {
        let packs: i64 = drawers
            .iter()
            .zip(&pattern.choice)
            .map(|(d, &c)| d[c as usize].waste)
            .sum();
        packs + pattern.off_target
    };
    patterns
        .iter()
        .min_by_key(waste)
        .map_or_else(Vec::new, |pattern| {
            uses(pattern)
                .into_iter()
                .filter(|&(i, n)| left[i] < n)
                .map(|(item, _)| item)
                .collect()
        })
}

/// The pumps that hold any of these items, those that come first by priority first.
fn tags(
    job: &Job,
    pump: usize,
    wanted: &[usize],
    holders: &BTreeMap<usize, Vec<usize>>,
) -> Vec<String> {
    let mut found: Vec<usize> = wanted
        .iter()
        .flat_map(|i| holders.get(i))
        .flatten()
        .copied()
        .collect();
    found.sort_by_key(|&other| (job.pumps[other].priority, other));
    found.dedup();
    found.retain(|&other| other != pump);
    found
        .into_iter()
        .map(|other| job.pumps[other].tag.clone())
        .collect()
}

/// The first place, in the model's order, that cannot be filled, and what comes nearest.
///
/// Totals are listed in a window around what is wanted, which is widened until it holds one that
/// can be named or everything that can be made.
fn diagnose(job: &Job, pump: usize, available: &[u32]) -> Shortfall {
    let pump = &job.pumps[pump];
    let rows = rows(pump, &job.policy);
    if rows
        .iter()
        .any(|row| row.constant < 0 && row.sensitivity.iter().all(|&c| c == 0))
    {
        // A requirement on measured dimensions alone, which no piece can help.
        return Shortfall {
            pack: None,
            cause: Cause::OutOfReach,
            nearest: None,
            window: None,
        };
    }
    let packs: Vec<_> = job.model_of(pump).packs.iter().zip(&pump.fits).collect();
    let most: Vec<i64> = packs
        .iter()
        .map(|(pack, fit)| most_total(job, pack, fit, available))
        .collect();
    let windows = windows(&rows, &most);
    let whole = most.iter().copied().max().unwrap_or(0).max(1);
    let mut wider = whole / 8 + 1;
    loop {
        let lists: Option<Vec<Vec<Combination>>> = packs
            .iter()
            .zip(&windows)
            .map(|((pack, fit), &(a, b))| {
                // Where nothing can do, first and last have changed places.
                let around = (
                    a.min(b).saturating_sub(wider),
                    a.max(b).saturating_add(wider),
                );
                list(job, pack, fit, available, around)
            })
            .collect();
        let Some(lists) = lists else {
            let cause = Cause::BetweenTotals;
            return Shortfall {
                pack: None,
                cause,
                nearest: None,
                window: None,
            };
        };
        let short = first_failing(job, pump, available, &rows, &lists);
        let everything = windows.iter().all(|&(a, b)| {
            a.min(b).saturating_sub(wider) <= 0 && a.max(b).saturating_add(wider) >= whole
        });
        if short.nearest.is_some() || everything {
            return short;
        }
        wider = wider.saturating_mul(2);
    }
}

/// The first place of these lists that fails.
fn first_failing(
    job: &Job,
    pump: &Pump,
    available: &[u32],
    rows: &[Row],
    lists: &[Vec<Combination>],
) -> Shortfall {
    let model = job.model_of(pump);
    let mut partials: Vec<Vec<i128>> = vec![rows.iter().map(|row| row.constant).collect()];
    for (pack, list) in lists.iter().enumerate() {
        let decided: Vec<usize> = (0..rows.len())
            .filter(|&r| rows[r].sensitivity[pack + 1..].iter().all(|&c| c == 0))
            .collect();
        let mut next = Vec::new();
        let mut nearest: Option<(i128, usize, usize)> = None;
        for (p, partial) in partials.iter().enumerate() {
            for (c, combination) in list.iter().enumerate() {
                let sums: Vec<i128> = rows
                    .iter()
                    .zip(partial)
                    .map(|(row, sum)| sum + row.contribution(pack, combination))
                    .collect();
                let missing: i128 = decided.iter().map(|&r| (-sums[r]).max(0)).sum();
                if missing == 0 {
                    next.push(sums);
                } else if nearest.is_none_or(|(least, _, _)| missing < least) {
                    nearest = Some((missing, p, c));
                }
            }
        }
        if !next.is_empty() {
            // Different ways to the same sums lead to the same end.
            next.sort_unstable();
            next.dedup();
            partials = next;
            continue;
        }
        let any = job
            .offered(&model.packs[pack], &pump.fits[pack])
            .any(|i| available[i] > 0);
        let empty_handed = list.iter().all(|c| c.pieces == 0);
        let Some((_, p, c)) = nearest.filter(|_| any && !empty_handed) else {
            let cause = Cause::NoPiece;
            return Shortfall {
                pack: Some(pack),
                cause,
                nearest: None,
                window: None,
            };
        };
        let wanted = window(rows, &decided, &partials[p], pack, &list[c]);
        let narrow = |c: &Combination| {
            window(rows, &decided, &partials[p], pack, c).is_none_or(|(low, high)| low > high)
        };
        let cause = match wanted {
            Some((_, high)) if high < 0 => Cause::OutOfReach,
            _ if list.iter().all(narrow) => Cause::LimitsTooNarrow,
            _ => Cause::BetweenTotals,
        };
        let length = |(low, high)| (Length::from_ticks(low), Length::from_ticks(high));
        return Shortfall {
            pack: Some(pack),
            cause,
            nearest: Some(Length::from_ticks(list[c].total)),
            window: wanted.filter(|(low, high)| low <= high).map(length),
        };
    }
    // Each place alone can be filled, but together they ask for more than there is.
    let cause = Cause::BetweenTotals;
    Shortfall {
        pack: None,
        cause,
        nearest: None,
        window: None,
    }
}

/// The totals of a pack that would meet the decided rows, for pieces with this guard.
fn window(
    rows: &[Row],
    decided: &[usize],
    partial: &[i128],
    pack: usize,
    combination: &Combination,
) -> Option<(i64, i64)> {
    let (mut low, mut high) = (i128::from(i64::MIN), i128::from(i64::MAX));
    for &r in decided {
        let c = rows[r].sensitivity[pack];
        // The guard is what the contribution lacks against the bare total.
        let guard = c * i128::from(combination.total) - rows[r].contribution(pack, combination);
        let need = guard - partial[r];
        if c > 0 {
            low = low.max(-(-need).div_euclid(c));
        } else if c < 0 {
            high = high.min((-need).div_euclid(-c));
        }
    }
    let bounded = low > i128::from(i64::MIN) && high < i128::from(i64::MAX);
    bounded
        .then(|| Some((i64::try_from(low).ok()?, i64::try_from(high).ok()?)))
        .flatten()
}
