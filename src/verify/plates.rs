//! Checker of plates: what is cut comes out of plates that exist, and their waste is worked out again.

use std::collections::BTreeMap;

use super::Breach;
use crate::cutting::{Layout, Remnants};
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
        beside -= wide * i64::from(strips);
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
        let mut across = 0;
        for &(item, strips) in &layout.strips {
            let of_this = |cut: &Cut| cut.plate == layout.plate && cut.outside.ticks() > 0;
            let Some(shape) = job.stock[item].cut.filter(of_this) else {
                breaches.push(Breach::Strip(lot.item.clone()));
                continue;
            };
            across += shape.outside.ticks() * i64::from(strips);
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
