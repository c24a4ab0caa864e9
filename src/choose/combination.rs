//! Combinations: the ways to fill one kind of place from its items, listed once for all pumps.

use std::cell::{Cell, RefCell};

use smallvec::SmallVec;

use crate::accounting::piece_waste;
use crate::choose::control::{Control, Listed, Pace, Unlisted};
use crate::job::Job;
use crate::model::Pack;
use crate::narrow::narrow;
use crate::plan::{Pick, Stop};
use crate::stock::Code;

/// Most combinations in one list; more needs another method.
pub const MOST_COMBINATIONS: usize = 4_000_000;

/// Most packs, complete or not, that are visited while listing.
const MOST_VISITED: usize = 40_000_000;

/// Combination: one way to fill a place.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Combination {
    /// Lots and counts, thickest first.
    pub picks: SmallVec<[Pick; 4]>,
    /// Total thickness in ticks.
    pub total: i64,
    /// Tolerance below the total, in ticks.
    pub minus: i64,
    /// Tolerance above the total, in ticks.
    pub plus: i64,
    /// Cost, handling and trim of the pieces, in millionths of the currency.
    pub waste: i64,
    /// Number of pieces.
    pub pieces: i64,
}

impl Combination {
    /// Bytes that it takes.
    fn bytes(&self) -> usize {
        let beside =
            if self.picks.spilled() { self.picks.capacity() * size_of::<Pick>() } else { 0 };
        size_of::<Combination>() + beside
    }
}

/// Window of totals, both ends included, in ticks.
pub type Window = (i64, i64);

/// Lists every combination of pieces for a place with a total inside `window`, ascending by total; ties are
/// in the order of the stock sheet, fewest pieces first. `available` counts the pieces of each item.
///
/// Returns `None` when there are more than `MOST_COMBINATIONS`, or far too many to visit.
pub fn list(
    job: &Job,
    pack: &Pack,
    fit: &Code,
    available: &[u32],
    window: Window,
) -> Option<Vec<Combination>> {
    let patient = (&Control::unlimited(), 0);
    in_hand(job, (pack, fit), available, window, patient).map(|listed| listed.list)
}

/// [`list`] under a control, with units of work that are done after it has said stop. A list cut short has all
/// combinations of few pieces, as many as that work allows, and those listed before.
///
/// The list counts as kept.
pub(crate) fn listed(
    job: &Job,
    place: (&Pack, &Code),
    available: &[u32],
    window: Window,
    time: (&Control<'_>, usize),
) -> Result<Listed<Combination>, Unlisted> {
    let keep = |one: &Combination, _: usize| Ok(time.0.keep(one.bytes())?);
    grown(job, place, available, window, time, &keep)
}

/// [`listed`] for a list that is soon dropped; `None` if it has too many.
pub(crate) fn in_hand(
    job: &Job,
    place: (&Pack, &Code),
    available: &[u32],
    window: Window,
    time: (&Control<'_>, usize),
) -> Option<Listed<Combination>> {
    let most = time.0.most_in_hand(size_of::<Combination>());
    let keep = |_: &Combination, so_far: usize| match so_far < most {
        true => Ok(()),
        false => Err(Unlisted::TooMany),
    };
    grown(job, place, available, window, time, &keep).ok()
}

/// Takes room for a further combination of a list that has so many.
type Keep<'a> = &'a dyn Fn(&Combination, usize) -> Result<(), Unlisted>;

fn grown(
    job: &Job,
    (pack, fit): (&Pack, &Code),
    available: &[u32],
    window: Window,
    (control, grace): (&Control<'_>, usize),
    keep: Keep<'_>,
) -> Result<Listed<Combination>, Unlisted> {
    let offers = offers(job, pack, fit, available);
    let grown = |most: u32, grace: usize, found: &mut Vec<Combination>| {
        let drawer = Drawer {
            least: pack.least_pieces,
            most,
            available,
            window,
            visited: Cell::new(0),
            pace: RefCell::new(Pace::at_least(control, grace)),
            cut: Cell::new(None),
            keep,
        };
        grow(&drawer, &offers, Combination::default(), found)?;
        Ok::<Option<Stop>, Unlisted>(drawer.cut.get())
    };
    let mut found = Vec::new();
    let mut cut = grown(pack.most_pieces, 0, &mut found)?;
    if cut.is_some() {
        // The list so far has the thickest piece everywhere; combinations of few pieces help more pumps.
        for most in 1..=pack.most_pieces {
            let mut few = Vec::new();
            let whole = grown(most, grace, &mut few)?.is_none();
            found.append(&mut few);
            if !whole {
                break;
            }
            cut = cut.filter(|_| most < pack.most_pieces);
        }
    }
    found.sort_by(|a, b| {
        a.total.cmp(&b.total).then(a.pieces.cmp(&b.pieces)).then_with(|| a.picks.cmp(&b.picks))
    });
    found.dedup_by(|a, b| a.picks == b.picks);
    Ok(Listed { list: found, cut })
}

/// Form in which a piece of a lot can be used: whole, or with some layers peeled off.
#[derive(Debug, Clone, Copy)]
pub(super) struct Offer {
    /// Lot.
    pub item: usize,
    /// Layers peeled off.
    pub peeled: u32,
    /// Thickness in ticks, like the tolerance.
    pub thickness: i64,
    /// Tolerance below it.
    pub minus: i64,
    /// Tolerance above it.
    pub plus: i64,
    /// Cost, handling and trim, in millionths of the currency.
    pub waste: i64,
}

/// Pieces that can go into a place, thickest first; ties in the order of the stock sheet.
pub(super) fn offers(job: &Job, pack: &Pack, fit: &Code, available: &[u32]) -> Vec<Offer> {
    let items = job.offered(pack, fit).filter(|&i| available[i] > 0);
    let mut offers: Vec<Offer> = items
        .flat_map(|item| (0..=job.stock[item].most_peeled()).map(move |peeled| (item, peeled)))
        .filter_map(|(item, peeled)| {
            let tolerance = job.stock[item].size?.worst();
            Some(Offer {
                item,
                peeled,
                thickness: job.stock[item].peeled(peeled)?.ticks(),
                minus: tolerance.minus.ticks(),
                plus: tolerance.plus.ticks(),
                waste: piece_waste(job, item, peeled).raw(),
            })
        })
        .collect();
    offers.sort_by_key(|offer| (-offer.thickness, offer.item));
    offers
}

/// Greatest total of a place, in ticks.
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
    least: u32,
    most: u32,
    available: &'a [u32],
    window: Window,
    /// Packs visited, complete or not.
    visited: Cell<usize>,
    pace: RefCell<Pace<'a>>,
    /// Reason that the list was cut short.
    cut: Cell<Option<Stop>>,
    keep: Keep<'a>,
}

/// Adds `base` and everything that grows from it by pieces of `offers`, which are no thicker than those that
/// it has.
fn grow(
    drawer: &Drawer<'_>,
    offers: &[Offer],
    base: Combination,
    found: &mut Vec<Combination>,
) -> Result<(), Unlisted> {
    let (first, last) = drawer.window;
    drawer.cut.set(drawer.pace.borrow_mut().stop(1));
    if drawer.cut.get().is_some() {
        return Ok(());
    }
    drawer.visited.set(drawer.visited.get() + 1);
    if drawer.visited.get() > MOST_VISITED {
        return Err(Unlisted::TooMany);
    }
    let room = i64::from(drawer.most) - base.pieces;
    for (position, offer) in offers.iter().enumerate() {
        let thickness = offer.thickness;
        if base.total + room * thickness < first {
            // No later piece is thick enough.
            break;
        }
        let fits = ((last - base.total).max(0) / thickness).min(room);
        // The pack may already have pieces of this lot with fewer layers peeled off.
        let same = base.picks.iter().filter(|pick| pick.item == offer.item);
        let used: u32 = same.map(|pick| pick.count).sum();
        let left = drawer.available[offer.item].saturating_sub(used);
        for count in 1..=i64::from(left).min(fits) {
            let mut next = base.clone();
            next.picks.push(Pick { item: offer.item, count: narrow(count), peeled: offer.peeled });
            next.total += count * thickness;
            next.minus += count * offer.minus;
            next.plus += count * offer.plus;
            next.waste += count * offer.waste;
            next.pieces += count;
            grow(drawer, &offers[position + 1..], next, found)?;
            if drawer.cut.get().is_some() {
                return Ok(());
            }
        }
    }
    let inside = (first..=last).contains(&base.total);
    if inside && base.pieces >= i64::from(drawer.least) {
        if found.len() >= MOST_COMBINATIONS {
            return Err(Unlisted::TooMany);
        }
        (drawer.keep)(&base, found.len())?;
        found.push(base);
    }
    Ok(())
}
