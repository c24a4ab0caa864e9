//! Reasons that a pump is not kitted: the place that fails, and the nearest total.
//!
//! # Decision
//!
//! A pump that is short under the expanded rule has no window, unless its kit is chosen: one without the guard
//! would be too wide.

use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use crate::choose::CombinationLists;
use crate::choose::combination::{Combination, in_hand, most_total};
use crate::choose::control::{Control, Listed, Pace, Phase, UNITS, Unlisted};
use crate::choose::pattern::{self, Pattern, SideRow, rows, windows};
use crate::choose::unproven;
use crate::cutting::Layout;
use crate::job::Job;
use crate::length::{Length, Tolerance};
use crate::plan::{Cause, Kit, PackPick, Pick, Shortfall, Window};
use crate::policy::Acceptance;
use crate::pump::Pump;
use crate::stack::Guard;

/// Data for the reasons, besides the kits.
pub(super) struct Reasons<'a> {
    pub job: &'a Job,
    pub available: &'a [u32],
    /// Pumps whose kit is held and cannot be had.
    pub held: &'a [usize],
    pub drawers: &'a CombinationLists,
    /// Whether any way to kit the pump was listed, by pump.
    pub servable: &'a [bool],
    pub layouts: &'a [Layout],
    /// Whether some ways were not listed.
    pub cut: bool,
    pub control: &'a Control<'a>,
}

/// Pieces that a short pump might have had.
struct Rivals {
    /// Pieces left of each item.
    left: Vec<u32>,
    /// Pumps that hold pieces of an item, by item.
    holders: BTreeMap<usize, Vec<usize>>,
}

impl Reasons<'_> {
    /// Turns the chosen packs into kits, with a reason for each pump that got none.
    pub(super) fn explain(&self, kits: Vec<Option<Vec<PackPick>>>) -> Vec<Kit> {
        let rivals = self.rivals(&kits);
        let short = kits.iter().filter(|kit| kit.is_none()).count();
        // Work done for each short pump even after the control says stop.
        let grace = (50 * UNITS / short.max(1)).clamp(500, UNITS);
        let done = AtomicUsize::new(0);
        kits.into_par_iter()
            .enumerate()
            .map(|(pump, kit)| {
                if let Some(packs) = kit {
                    return Kit::Served(packs);
                }
                let shorts = self.of(pump, &rivals, grace);
                let done = done.fetch_add(1, Ordering::Relaxed) + 1;
                self.control.step(Phase::Reasons, done, short);
                Kit::Short(shorts)
            })
            .collect()
    }

    fn rivals(&self, kits: &[Option<Vec<PackPick>>]) -> Rivals {
        let Reasons { job, layouts, .. } = *self;
        let mut left = self.available.to_vec();
        uncut(job, layouts, &mut left);
        let mut holders: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        for (pump, kit) in kits.iter().enumerate() {
            for pick in kit.iter().flatten().flat_map(|pack| &pack.picks) {
                left[pick.item] = left[pick.item].saturating_sub(pick.count);
                // Pieces cut from one lot of sheets compete with each other.
                let rivals = (0..job.stock.len()).filter(|&item| match job.stock[pick.item].cut {
                    Some(cut) => job.stock[item].cut.is_some_and(|c| c.plate == cut.plate),
                    None => item == pick.item,
                });
                for item in rivals {
                    holders.entry(item).or_default().push(pump);
                }
            }
        }
        Rivals { left, holders }
    }

    /// Reasons that a pump is short.
    fn of(&self, pump: usize, rivals: &Rivals, grace: usize) -> Vec<Shortfall> {
        let Reasons { job, drawers, .. } = *self;
        if self.held.contains(&pump) {
            return vec![Shortfall::of(None, Cause::Held)];
        }
        let lists = drawers.of(job, &job.pumps[pump]);
        if self.servable[pump] && lists.iter().any(|list| list.is_empty()) {
            // The time was over before anything was listed for it.
            return vec![Shortfall::of(None, Cause::SearchEnded)];
        }
        let mut pace = Pace::at_least(self.control, grace);
        let mut listed = |guard: Guard, most: usize| {
            pattern::listed(&job.pumps[pump], (job, guard), &lists, most, &mut pace)
        };
        let open = || vec![Shortfall::of(None, Cause::NotFoundOut)];
        let Ok(Listed { list, cut }) = listed(job.policy.guard(), usize::MAX) else {
            return open();
        };
        let unsure = self.cut && !list.is_empty() && !self.servable[pump];
        if cut.is_some() || drawers.cut.is_some() || unsure {
            return open();
        }
        if !list.is_empty() && self.servable[pump] {
            let gone = gone(job, pump, (drawers, &list), rivals, &self.control.patient());
            return match gone.is_empty() {
                true => vec![Shortfall::of(None, Cause::SearchEnded)],
                false => gone,
            };
        }
        // One pattern is enough to know.
        let mut shorts = vec![if !list.is_empty() {
            Shortfall::of(None, Cause::TogetherTooMany)
        } else if job.policy.acceptance == Acceptance::Expanded
            && listed(Guard::None, 0).is_err_and(|lack| lack == Unlisted::TooMany)
        {
            Shortfall::of(None, Cause::UncertaintyTooWide)
        } else {
            diagnose(job, pump, self.available, (self.control, grace))
        }];
        // Under the nominal rule a kit whose nominal values lie within the limits is a kit.
        if job.policy.acceptance != Acceptance::Nominal {
            let kit = unproven::nearest(job, pump, &rivals.left, (self.control, grace));
            let not_proven = kit.map(|packs| Shortfall::of(None, Cause::NotProven { packs }));
            shorts.extend(not_proven);
        }
        shorts
    }
}

/// Counts, for cut pieces, the yield of the sheets as they are cut up, and of the uncut ones.
fn uncut(job: &Job, layouts: &[Layout], left: &mut [u32]) {
    let outside = |item: usize| job.stock[item].cut.map_or(Length::ZERO, |cut| cut.outside);
    for (item, left) in left.iter_mut().enumerate() {
        let Some(cut) = job.stock[item].cut else {
            continue;
        };
        let lot = &job.plates[cut.plate];
        let of_lot = layouts.iter().filter(|layout| layout.plate == cut.plate);
        let yields = of_lot.clone().map(|layout| {
            let yields = layout.yields(lot, outside);
            yields.get(&item).copied().unwrap_or(0)
        });
        let sheets = u32::try_from(of_lot.clone().count()).unwrap_or(u32::MAX);
        let whole = lot.available().saturating_sub(sheets);
        *left = yields.sum::<u32>() + whole.saturating_mul(lot.yields(cut.outside));
    }
}

/// Places whose pieces went to other pumps, for the kit with the fewest missing pieces (then with the least
/// waste).
fn gone(
    job: &Job,
    pump: usize,
    (drawers, patterns): (&CombinationLists, &[Pattern]),
    rivals: &Rivals,
    patient: &Control<'_>,
) -> Vec<Shortfall> {
    let Rivals { left, holders } = rivals;
    let lists = drawers.of(job, &job.pumps[pump]);
    let best = patterns
        .iter()
        .map(|pattern| {
            let lacking = lacking(&lists, pattern, left);
            let pieces: u32 = lacking.iter().flatten().map(|pick| pick.count).sum();
            (pieces, pattern.waste(&lists), lacking, pattern)
        })
        .min_by_key(|(pieces, waste, _, _)| (*pieces, *waste));
    let Some((_, _, lacking, pattern)) = best else {
        return Vec::new();
    };
    let chosen: Vec<&Combination> = pattern.combinations(&lists).collect();
    lacking
        .into_iter()
        .enumerate()
        .filter(|(_, lacking)| !lacking.is_empty())
        .map(|(pack, lacking)| {
            let held_by = tags(job, pump, &lacking, holders);
            let window = window_among(job, pump, pack, &chosen);
            Shortfall {
                pack: Some(pack),
                cause: Cause::StockGone { lacking, held_by },
                nearest: window
                    .as_ref()
                    .and_then(|w| nearest_left(job, (pump, pack), left, w, patient)),
                window,
            }
        })
        .collect()
}

/// Pieces that a pattern needs and that are not left, pack by pack; packs that share an item are filled in
/// their order.
fn lacking(lists: &[&[Combination]], pattern: &Pattern, left: &[u32]) -> Vec<Vec<Pick>> {
    let mut used: BTreeMap<usize, u32> = BTreeMap::new();
    pattern
        .combinations(lists)
        .map(|combination| {
            let short = combination.picks.iter().filter_map(|pick| {
                let before = used.entry(pick.item).or_default();
                let there = left[pick.item].saturating_sub(*before);
                *before += pick.count;
                let count = pick.count.saturating_sub(there);
                (count > 0).then_some(Pick { count, ..*pick })
            });
            short.collect()
        })
        .collect()
}

/// Window of one pack with the others as chosen.
fn window_among(job: &Job, pump: usize, pack: usize, chosen: &[&Combination]) -> Option<Window> {
    let rows = rows(&job.pumps[pump], job, job.policy.guard());
    let doubts = pattern::doubts(job);
    let partial: Vec<i128> = rows
        .iter()
        .map(|row| {
            let others = (0..chosen.len()).filter(|&other| other != pack);
            let others: i128 = others.map(|o| row.contribution(o, chosen[o])).sum();
            row.constant + others - row.whole(&doubts, chosen.iter().copied())
        })
        .collect();
    let all: Vec<usize> = (0..rows.len()).collect();
    let totals: Vec<i64> = chosen.iter().map(|combination| combination.total).collect();
    let over = presumed(&rows, &all, pack, &totals);
    named(window(&rows, &all, &partial, pack, chosen[pack])?, chosen[pack], over)
}

/// Other packs, with these totals, that share one of these rows with a pack.
fn presumed(
    rows: &[SideRow],
    decided: &[usize],
    pack: usize,
    totals: &[i64],
) -> Vec<(usize, Length)> {
    let shares = |other: usize| {
        decided.iter().any(|&r| rows[r].sensitivity[pack] != 0 && rows[r].sensitivity[other] != 0)
    };
    totals
        .iter()
        .enumerate()
        .filter(|&(other, _)| other != pack && shares(other))
        .map(|(other, &total)| (other, Length::from_ticks(total)))
        .collect()
}

/// Total nearest to a window that can be made of the pieces left.
fn nearest_left(
    job: &Job,
    (pump, pack): (usize, usize),
    left: &[u32],
    w: &Window,
    patient: &Control<'_>,
) -> Option<Length> {
    let place = &job.model_of(&job.pumps[pump]).packs[pack];
    let fit = &job.pumps[pump].fits[pack];
    let whole = most_total(job, place, fit, left);
    let (least, most) = (w.least.ticks(), w.most.map_or(whole, Length::ticks).max(w.least.ticks()));
    let mut wider = whole / 8 + 1;
    loop {
        let around = (least - wider, most + wider);
        let list = in_hand(job, (place, fit), left, around, (patient, 0))?.list;
        let off = |c: &&Combination| (least - c.total).max(c.total - most).max(0);
        if let Some(nearest) = list.iter().min_by_key(off) {
            return Some(Length::from_ticks(nearest.total));
        }
        if least - wider <= 0 && most + wider >= whole {
            return None;
        }
        wider = wider.saturating_mul(2);
    }
}

/// Window in lengths, cut off at zero; `None` if it is empty.
fn named(
    (low, high): (i64, i64),
    pieces: &Combination,
    over: Vec<(usize, Length)>,
) -> Option<Window> {
    let low = low.max(0);
    (low <= high).then(|| Window {
        least: Length::from_ticks(low),
        most: (high < i64::MAX).then(|| Length::from_ticks(high)),
        tolerance: Tolerance {
            minus: Length::from_ticks(pieces.minus),
            plus: Length::from_ticks(pieces.plus),
        },
        over,
    })
}

/// Tags of the pumps that hold any of these items, highest priority first.
fn tags(
    job: &Job,
    pump: usize,
    wanted: &[Pick],
    holders: &BTreeMap<usize, Vec<usize>>,
) -> Vec<String> {
    let holding = wanted.iter().filter_map(|pick| holders.get(&pick.item)).flatten();
    let mut found: Vec<usize> = holding.copied().filter(|&other| other != pump).collect();
    found.sort_by_key(|&other| (job.pumps[other].priority, other));
    found.dedup();
    found.into_iter().map(|other| job.pumps[other].tag.clone()).collect()
}

/// First place, in the model's order, that cannot be filled, and the nearest total.
///
/// Totals are listed in a range around the window, which is widened until it holds a total that can be named,
/// or all totals.
fn diagnose(job: &Job, pump: usize, available: &[u32], time: (&Control<'_>, usize)) -> Shortfall {
    let pump = &job.pumps[pump];
    let rows = rows(pump, job, job.policy.guard());
    if rows.iter().any(|row| row.constant < 0 && row.sensitivity.iter().all(|&c| c == 0)) {
        // A requirement on measured dimensions alone, which no piece can help.
        return Shortfall::of(None, Cause::OutOfReach);
    }
    let packs: Vec<_> = job.model_of(pump).packs.iter().zip(&pump.fits).collect();
    let most: Vec<i64> =
        packs.iter().map(|(pack, fit)| most_total(job, pack, fit, available)).collect();
    let windows = windows(&rows, &most);
    let whole = most.iter().copied().max().unwrap_or(0).max(1);
    let mut wider = whole / 8 + 1;
    loop {
        let lists: Option<Vec<Listed<Combination>>> = packs
            .iter()
            .zip(&windows)
            .map(|(&(pack, fit), &(a, b))| {
                // Where no total fits, first and last have changed places.
                let around = (a.min(b).saturating_sub(wider), a.max(b).saturating_add(wider));
                in_hand(job, (pack, fit), available, around, time)
            })
            .collect();
        let Some(lists) = lists else {
            let cause = Cause::TooManyWays;
            return Shortfall::of(None, cause);
        };
        let cut = lists.iter().any(|listed| listed.cut.is_some());
        let lists: Vec<Vec<Combination>> = lists.into_iter().map(|listed| listed.list).collect();
        let mut pace = Pace::at_least(time.0, time.1);
        let short = first_failing(job, pump, available, (&rows, &lists), &mut pace);
        let Some(short) = short.filter(|_| !cut) else {
            return Shortfall::of(None, Cause::NotFoundOut);
        };
        let everything = windows.iter().all(|&(a, b)| {
            a.min(b).saturating_sub(wider) <= 0 && a.max(b).saturating_add(wider) >= whole
        });
        if short.nearest.is_some() || everything {
            return short;
        }
        wider = wider.saturating_mul(2);
    }
}

/// First place of these lists that fails; `None` if the time does not suffice.
fn first_failing(
    job: &Job,
    pump: &Pump,
    available: &[u32],
    (rows, lists): (&[SideRow], &[Vec<Combination>]),
    pace: &mut Pace<'_>,
) -> Option<Shortfall> {
    let model = job.model_of(pump);
    // Sums of the rows so far, and the totals that led there.
    let mut partials: Vec<(Vec<i128>, Vec<i64>)> =
        vec![(rows.iter().map(|row| row.constant).collect(), Vec::new())];
    for (pack, list) in lists.iter().enumerate() {
        let decided: Vec<usize> = (0..rows.len())
            .filter(|&r| rows[r].sensitivity[pack + 1..].iter().all(|&c| c == 0))
            .collect();
        let mut next = Vec::new();
        let mut nearest: Option<(i128, usize, usize)> = None;
        for (p, (partial, totals)) in partials.iter().enumerate() {
            for (c, combination) in list.iter().enumerate() {
                if pace.stop(1).is_some() {
                    return None;
                }
                let sums: Vec<i128> = rows
                    .iter()
                    .zip(partial)
                    .map(|(row, sum)| sum + row.contribution(pack, combination))
                    .collect();
                let missing: i128 = decided.iter().map(|&r| (-sums[r]).max(0)).sum();
                if missing == 0 {
                    next.push((sums, [totals.as_slice(), &[combination.total]].concat()));
                } else if nearest.is_none_or(|(least, _, _)| missing < least) {
                    nearest = Some((missing, p, c));
                }
            }
        }
        if !next.is_empty() {
            // Different ways to the same sums have the same continuation.
            next.sort_unstable();
            next.dedup_by(|a, b| a.0 == b.0);
            partials = next;
            continue;
        }
        let offered: Vec<usize> = job.offered(&model.packs[pack], &pump.fits[pack]).collect();
        let on_hand = offered.iter().any(|&item| job.stock[item].on_hand > 0);
        let any = offered.iter().any(|&item| available[item] > 0);
        let Some((_, p, c)) = nearest.filter(|_| any) else {
            let cause = if on_hand && !any { Cause::AllReserved } else { Cause::NoPiece };
            return Some(Shortfall::of(Some(pack), cause));
        };
        let (partial, totals) = &partials[p];
        // Window for the most accurate pieces: those whose guard leaves most room.
        let best = list
            .iter()
            .filter(|combination| combination.pieces > 0)
            .filter_map(|combination| {
                Some((window(rows, &decided, partial, pack, combination)?, combination))
            })
            .max_by_key(|((low, high), combination)| {
                (high.saturating_sub(*low), Reverse(combination.total))
            });
        let cause = match best {
            Some(((_, high), _)) if high < 0 => Cause::OutOfReach,
            Some(((low, high), _)) if low > high => Cause::LimitsTooNarrow,
            _ => Cause::BetweenTotals,
        };
        let over = presumed(rows, &decided, pack, totals);
        return Some(Shortfall {
            pack: Some(pack),
            cause,
            nearest: Some(Length::from_ticks(list[c].total)),
            // Some guards are not known for one place alone.
            window: best
                .filter(|_| rows.iter().all(SideRow::adds_up))
                .and_then(|(ends, combination)| named(ends, combination, over)),
        });
    }
    // Each place alone can be filled, but together they need more pieces than there are.
    Some(Shortfall::of(None, Cause::TogetherTooMany))
}

/// Totals of a pack that would meet the decided rows, for pieces with this guard: an end that no row holds is the
/// greatest or least number; `None` where neither is held.
fn window(
    rows: &[SideRow],
    decided: &[usize],
    partial: &[i128],
    pack: usize,
    combination: &Combination,
) -> Option<(i64, i64)> {
    let (mut low, mut high) = (i128::from(i64::MIN), i128::from(i64::MAX));
    for &r in decided {
        let c = rows[r].sensitivity[pack];
        // The guard is the difference between the bare total and the contribution.
        let guard = c * i128::from(combination.total) - rows[r].contribution(pack, combination);
        let need = guard - partial[r];
        if c > 0 {
            low = low.max(-(-need).div_euclid(c));
        } else if c < 0 {
            high = high.min((-need).div_euclid(-c));
        }
    }
    let bounded = low > i128::from(i64::MIN) || high < i128::from(i64::MAX);
    bounded.then(|| Some((i64::try_from(low).ok()?, i64::try_from(high).ok()?))).flatten()
}
