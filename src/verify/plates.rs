//! Checker of plates: what is cut comes out of plates that exist, their waste is worked out again, and what a plan that was
//! read says of plates follows from its layouts.

use std::collections::{BTreeMap, BTreeSet};

use super::{Breach, Verified};
use crate::cutting::{Layout, Remnants};
use crate::issue::planned::{PickStep, PlannedLine};
use crate::issue::returned::{ReturnedLot, StockPage};
use crate::issue::{key, tidy};
use crate::job::Job;
use crate::length::Length;
use crate::plan::Plan;
use crate::stock::Cut;

/// Cost of one plate that is cut up, less that of the rings cut from it, each at its share of the plate's area, and of
/// the rectangles that are booked back.
pub(super) fn offcut(job: &Job, layout: &Layout) -> i128 {
    let lot = &job.plates[layout.plate];
    let [run, across] = [layout.along, 1 - layout.along].map(|side| lot.sides[side].ticks());
    let cost = i128::from(lot.plate_cost.raw());
    let whole = i128::from(run) * i128::from(across);
    let rectangle = |a: i64, b: i64| cost * i128::from(a) * i128::from(b) / whole.max(1);
    let mut rest = cost;
    let mut beside = across;
    for &(item, strips) in &layout.strips {
        let Some(shape) = job.stock[item].cut else { continue };
        let [wide, hole] = [shape.outside, shape.inside].map(Length::ticks);
        // A quarter of pi, to six places of pi, rounded down.
        let ring = 785_398 * (i128::from(wide).pow(2) - i128::from(hole).pow(2));
        let billionths = ring * 1_000 / whole.max(1);
        let in_strip = i128::from(run / wide.max(1));
        rest -= i128::from(strips) * in_strip * (cost * billionths / 1_000_000_000);
        beside = beside.saturating_sub(wide.saturating_mul(strips.into()));
        if job.policy.remnants == Remnants::BookedBack {
            rest -= i128::from(strips) * rectangle(run % wide.max(1), wide);
        }
    }
    if job.policy.remnants == Remnants::BookedBack {
        rest -= rectangle(run, beside.max(0));
    }
    rest
}

/// Checks that cut pieces come out of sheets that exist, cut up as the plan says.
pub(super) fn check_plates(
    job: &Job,
    plan: &Plan,
    issued: &BTreeMap<usize, i64>,
    breaches: &mut Vec<Breach>,
) {
    let mut cut: BTreeMap<usize, i64> = BTreeMap::new();
    let mut sheets: BTreeMap<usize, i64> = BTreeMap::new();
    for layout in &plan.layouts {
        let lot = &job.plates[layout.plate];
        *sheets.entry(layout.plate).or_default() += 1;
        let run = lot.sides[layout.along].ticks();
        let mut across: i64 = 0;
        for &(item, strips) in &layout.strips {
            let of_this = |cut: &Cut| cut.plate == layout.plate && cut.outside.ticks() > 0;
            let Some(shape) = job.stock[item].cut.filter(of_this) else {
                breaches.push(Breach::Strip(lot.item.clone()));
                continue;
            };
            let wide = shape.outside.ticks().saturating_mul(strips.into());
            across = across.saturating_add(wide);
            *cut.entry(item).or_default() += i64::from(strips) * (run / shape.outside.ticks());
        }
        if across > lot.sides[1 - layout.along].ticks() {
            breaches.push(Breach::Wide(lot.item.clone()));
        }
    }
    for (&sheet, &count) in &sheets {
        let lot = &job.plates[sheet];
        if count > i64::from(lot.on_hand) - i64::from(lot.reserved) {
            let sheet = lot.item.clone();
            breaches.push(Breach::PlatesOverdrawn { sheet, count });
        }
    }
    for (&item, &count) in issued {
        let lot = &job.stock[item];
        if lot.cut.is_some() && count > cut.get(&item).copied().unwrap_or(0) {
            let item = lot.item.clone();
            breaches.push(Breach::NotCut { item, count });
        }
    }
}

/// Holds what a plan that was read says of its plates against its kits and layouts: the pieces cut, the plates cut up, and
/// the lots that go back, each with its row.
///
/// # Errors
/// A breach for each that the plan has otherwise.
pub fn verify_cut(
    verified: &Verified,
    lines: &[PlannedLine],
    returned: &[ReturnedLot],
) -> Result<(), Vec<Breach>> {
    let (made, made_lots) = (verified.planned().lines, verified.returned());
    let [made, read] = [&made[..], lines].map(counted);
    let both: BTreeSet<_> = made.keys().chain(read.keys()).collect();
    let unlike = both.into_iter().filter_map(|line| {
        let [made, said] = [&made, &read].map(|of| of.get(line).copied().unwrap_or(0));
        let (step, _, item) = line.clone();
        (made != said).then_some(Breach::Cut { step, item, made, said })
    });
    let mut breaches: Vec<Breach> = unlike.collect();
    let rows = |of: &ReturnedLot| {
        let filled = of.columns.iter().filter(|(_, text)| !text.is_empty());
        let filled: BTreeMap<String, String> = filled.cloned().collect();
        (of.page == StockPage::Plate, filled)
    };
    for lot in &made_lots {
        let same = |read: &&ReturnedLot| key(&read.item) == key(&lot.item);
        if returned.iter().find(same).is_some_and(|read| rows(read) != rows(lot)) {
            breaches.push(Breach::Returned(lot.item.clone()));
        }
    }
    if breaches.is_empty() { Ok(()) } else { Err(breaches) }
}

/// Counts of the lines about plates: by step, tag and item.
fn counted(lines: &[PlannedLine]) -> BTreeMap<(String, String, String), u64> {
    let mut counts = BTreeMap::new();
    for line in lines {
        let (PickStep::CutFrom(_) | PickStep::CutUp | PickStep::GoesBack(_)) = line.step else {
            continue;
        };
        let of = (line.step.words(), tidy(&line.tag), tidy(&line.item));
        *counts.entry(of).or_default() += u64::from(line.planned);
    }
    counts
}
