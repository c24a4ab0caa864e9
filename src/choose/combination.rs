//! Combinations: the ways to fill one kind of place from its drawer, listed once for all pumps.

use std::cell::Cell;

use smallvec::SmallVec;

use crate::job::Job;
use crate::model::Pack;
use crate::plan::{Pick, piece_waste, scarcity_points};
use crate::stock::Code;

/// The most combinations that one drawer is listed in; more is a job for another method.
pub const MOST_COMBINATIONS: usize = 4_000_000;

/// The most packs, whole or not, that are looked at on the way.
const MOST_VISITED: usize = 40_000_000;

/// One way to fill a place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Combination {
    /// Lots and counts, thickest first.
    pub picks: SmallVec<[Pick; 4]>,
    /// Total thickness in ticks.
    pub total: i64,
    /// How far below the total it may lie, in ticks.
    pub minus: i64,
    /// How far above.
    pub plus: i64,
    /// Cost and handling of the pieces, in millionths of the currency.
    pub waste: i64,
    /// Scarcity points of the pieces.
    pub scarcity: i64,
    /// How many pieces.
    pub pieces: i64,
}

/// Totals from the first to the second, both included, in ticks.
pub type Window = (i64, i64);

/// Lists every combination of the pieces of a place with a total inside `window`, ascending by
/// total; ties stand in the order of the stock sheet, fewest pieces first. `available` counts
/// the pieces of each item.
///
/// Returns `None` when there are more than [`MOST_COMBINATIONS`], or far too many to look through.
pub fn list(
    job: &Job,
    pack: &Pack,
    fit: &Code,
    available: &[u32],
    window: Window,
) -> Option<Vec<Combination>> {
    let mut items: Vec<usize> = job
        .offered(pack, fit)
        .filter(|&i| available[i] > 0)
        .collect();
    let thickness = |item: &usize| job.stock[*item].size.map(|size| size.thickness);
    items.sort_by(|a, b| thickness(b).cmp(&thickness(a)).then(a.cmp(b)));
    let empty = Combination {
        picks: SmallVec::new(),
        total: 0,
        minus: 0,
        plus: 0,
        waste: 0,
        scarcity: 0,
        pieces: 0,
    };
    let mut found = Vec::new();
    let visited = Cell::new(0_usize);
    let drawer = Drawer {
        job,
        pack,
        available,
        window,
        visited: &visited,
    };
    grow(&drawer, &items, empty, &mut found)?;
    found.sort_by(|a, b| {
        a.total
            .cmp(&b.total)
            .then(a.pieces.cmp(&b.pieces))
            .then_with(|| a.picks.cmp(&b.picks))
    });
    Some(found)
}

/// The greatest total that a place can hold, in ticks.
pub fn most_total(job: &Job, pack: &Pack, fit: &Code, available: &[u32]) -> i64 {
    let thickest = job
        .offered(pack, fit)
        .filter(|&item| available[item] > 0)
        .filter_map(|item| job.stock[item].size)
        .map(|size| size.thickness.ticks())
        .max();
    i64::from(pack.most_pieces) * thickest.unwrap_or(0)
}

struct Drawer<'a> {
    job: &'a Job,
    pack: &'a Pack,
    available: &'a [u32],
    window: Window,
    /// How many packs have been looked at, whole or not.
    visited: &'a Cell<usize>,
}

/// Adds `base` and everything that grows from it by pieces of `items`, which are no thicker than
/// those that it has.
fn grow(
    drawer: &Drawer<'_>,
    items: &[usize],
    base: Combination,
    found: &mut Vec<Combination>,
) -> Option<()> {
    let Drawer {
        job,
        pack,
        available,
        window: (first, last),
        visited,
    } = *drawer;
    visited.set(visited.get() + 1);
    if visited.get() > MOST_VISITED {
        return None;
    }
    let room = i64::from(pack.most_pieces) - base.pieces;
    for (position, &index) in items.iter().enumerate() {
        let item = &job.stock[index];
        let Some(size) = item.size else { continue };
        let thickness = size.thickness.ticks();
        if base.total + room * thickness < first {
            // Nothing from here on is thick enough.
            break;
        }
        let fits = ((last - base.total).max(0) / thickness).min(room);
        let waste = piece_waste(job, index).raw();
        let scarcity = scarcity_points(item.available(), item.min_level);
        for count in 1..=i64::from(available[index]).min(fits) {
            let mut next = base.clone();
            next.picks.push(Pick {
                item: index,
                count: u32::try_from(count).ok()?,
            });
            next.total += count * thickness;
            next.minus += count * size.tolerance.minus.ticks();
            next.plus += count * size.tolerance.plus.ticks();
            next.waste += count * waste;
            next.scarcity += count * scarcity;
            next.pieces += count;
            grow(drawer, &items[position + 1..], next, found)?;
        }
    }
    let inside = (first..=last).contains(&base.total);
    if inside && base.pieces >= i64::from(pack.least_pieces) {
        if found.len() >= MOST_COMBINATIONS {
            return None;
        }
        found.push(base);
    }
    Some(())
}
