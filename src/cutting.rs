//! Pieces cut from plate: the yield of a plate, its layouts, and where its cost goes.
//!
//! A piece needs a square blank of its outside diameter. A plate is cut into strips along one of its sides,
//! each as wide as the blanks in it; one plate carries strips for at most two shapes. Shears and a template
//! suffice for every such layout, and its yield is counted exactly. Common practice, no source.
//!
//! [`layouts`] lists the layouts of one [`PlateLot`].
//!
//! # Decisions: where the cost of a cut plate goes
//!
//! A plate that is cut is cut up whole, and every blank becomes a finished piece. Its cost is shared out by area, so
//! that nothing of it is lost or counted twice:
//!
//! 1. *Pieces*: each bears the share of its own ring, outside less inside ([`PlateLot::piece_cost`], rounded down). In
//!    a kit that is its unit cost. A piece that no kit takes goes back as a lot of the stock at that cost: it is stock
//!    again, so it is no waste.
//! 2. *Trim*: the rest of each square, around the ring and inside it. Always waste, also that of a piece that goes
//!    back: it is cut off now.
//! 3. *Remnants*: the rectangles beside the strips and at their ends ([`Layout::remnants`]). Waste, unless the policy
//!    books them back ([`Remnants`]); then each is a plate again, with its own sides, at the share of its area.
//!
//! Waste is what is left of the plate's cost after pieces and remnants booked back, so that all roundings go into it.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use crate::decimal::Money;
use crate::length::Length;
use crate::narrow::narrow;
use crate::stock::{Cut, Size};

/// Accounting of the remnants of a cut plate: the rectangles beside the strips and at their ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Remnants {
    /// They are waste, at their share of the plate's cost.
    #[default]
    Charged,
    /// They go back as plates of their own, each a lot with its own sides.
    BookedBack,
}

/// The most blanks along one side of a sheet: more is a mistaken unit, and would take long.
pub(crate) const MOST_ALONG: i64 = 1_000;

/// Lot of sheets that pieces can be cut from.
#[derive(Debug, Clone, PartialEq)]
pub struct PlateLot {
    /// Stock number, unique among all items.
    pub item: String,
    /// Kind of piece cut from it, in lower case: `gasket` or `shim`.
    pub kind: String,
    /// Material.
    pub material: Option<String>,
    /// Thickness and tolerance.
    pub size: Size,
    /// Sides of one sheet.
    pub sides: [Length; 2],
    /// Whole sheets on hand.
    pub on_hand: u32,
    /// Sheets on hand that are reserved and so not offered.
    pub reserved: u32,
    /// Cost of one sheet.
    pub plate_cost: Money,
    /// Bin.
    pub bin: Option<String>,
    /// Row in its own sheet, from 0.
    pub row: u32,
}

impl PlateLot {
    /// Sheets that may be cut.
    pub fn available(&self) -> u32 {
        self.on_hand.saturating_sub(self.reserved)
    }

    /// Blanks of one shape that one sheet yields.
    pub fn yields(&self, outside: Length) -> u32 {
        self.sides.iter().map(|side| along(*side, outside)).product()
    }

    /// Cost of one piece: the share of the plate that its ring takes, in billionths of the plate and then in
    /// millionths of the currency, each rounded down.
    pub fn piece_cost(&self, cut: Cut) -> Money {
        let square = |side: Length| i128::from(side.ticks()) * i128::from(side.ticks());
        // A quarter of pi, of pi rounded down to six places.
        let ring = 785_398_000 * (square(cut.outside) - square(cut.inside));
        let share = ring.div_euclid(self.area());
        // A piece that no plate yields costs no more than one.
        let share = share.min(1_000_000_000);
        let cost = i128::from(self.plate_cost.raw()) * share;
        Money::from_raw(narrow::<i64>(cost.div_euclid(1_000_000_000)))
    }

    /// Cost of an area of one plate, in square ticks, rounded down.
    pub fn area_cost(&self, area: i128) -> Money {
        let cost = i128::from(self.plate_cost.raw()) * area;
        Money::from_raw(narrow::<i64>(cost.div_euclid(self.area())))
    }

    /// Area of one plate, in square ticks; one at least.
    fn area(&self) -> i128 {
        self.sides.iter().map(|side| i128::from(side.ticks())).product::<i128>().max(1)
    }
}

/// Sides of a remnant of one plate, and how many there are like it.
pub type Remnant = ([Length; 2], u32);

/// Number of blanks side by side along a length.
pub(crate) fn along(length: Length, blank: Length) -> u32 {
    if blank <= Length::ZERO {
        return 0;
    }
    narrow::<u32>(length.ticks().max(0) / blank.ticks())
}

/// Layout of the cuts of one sheet.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Layout {
    /// Index of the lot of sheets in the job.
    pub plate: usize,
    /// Side of the sheet along which the strips run: 0 or 1.
    pub along: usize,
    /// Cut items (indices into the stock), each with the number of strips that carry its blanks.
    pub strips: Vec<(usize, u32)>,
}

impl Layout {
    /// Yield: blanks of each cut item. `outside` gives the outside diameter of a cut item.
    pub fn yields(
        &self,
        lot: &PlateLot,
        outside: impl Fn(usize) -> Length,
    ) -> BTreeMap<usize, u32> {
        let mut yields = BTreeMap::new();
        for &(item, strips) in &self.strips {
            *yields.entry(item).or_insert(0) +=
                strips * along(lot.sides[self.along], outside(item));
        }
        yields
    }

    /// Remnants of one plate: what is beside the strips, then what is at their ends, longer side first.
    pub fn remnants(&self, lot: &PlateLot, outside: impl Fn(usize) -> Length) -> Vec<Remnant> {
        let (run, mut beside) = (lot.sides[self.along], lot.sides[1 - self.along]);
        let mut remnants = Vec::new();
        for &(item, strips) in &self.strips {
            let wide = outside(item);
            beside = beside - wide * strips;
            remnants.push(([run - wide * along(run, wide), wide], strips));
        }
        remnants.insert(0, ([run, beside], 1));
        remnants.retain(|(sides, count)| *count > 0 && sides.iter().all(|s| *s > Length::ZERO));
        for (sides, _) in &mut remnants {
            sides.sort_unstable_by(|a, b| b.cmp(a));
        }
        remnants
    }

    /// Waste of one plate: its cost, less that of its pieces, and less that of its remnants where they are booked
    /// back. `cut` gives the shape of a cut item.
    pub fn waste(
        &self,
        lot: &PlateLot,
        cut: impl Fn(usize) -> Option<Cut>,
        remnants: Remnants,
    ) -> Money {
        let outside = |item: usize| cut(item).map_or(Length::ZERO, |cut| cut.outside);
        let pieces = self.yields(lot, outside).into_iter().map(|(item, count)| {
            let each = cut(item).map_or(Money::ZERO, |cut| lot.piece_cost(cut));
            each.raw() * i64::from(count)
        });
        let kept = match remnants {
            Remnants::Charged => 0,
            Remnants::BookedBack => self
                .remnants(lot, outside)
                .into_iter()
                .map(|remnant| remnant_cost(lot, remnant).raw() * i64::from(remnant.1))
                .sum(),
        };
        Money::from_raw(lot.plate_cost.raw() - pieces.sum::<i64>() - kept)
    }
}

/// Cost of one remnant: the share of the plate that it takes, rounded down.
pub fn remnant_cost(lot: &PlateLot, (sides, _): Remnant) -> Money {
    lot.area_cost(i128::from(sides[0].ticks()) * i128::from(sides[1].ticks()))
}

/// Layouts of one plate of a lot for these shapes (item and outside diameter), in a fixed order, without
/// those that another layout dominates.
///
/// ```
/// use gapwright::cutting::{PlateLot, layouts};
/// use gapwright::decimal::Money;
/// use gapwright::length::{Length, Tolerance, Unit};
/// use gapwright::stock::Size;
/// let mm = |text| Length::parse(text, Some(Unit::Millimetre)).unwrap();
/// let lot = PlateLot {
///     item: "G-SHEET".into(), kind: "gasket".into(), material: None,
///     size: Size::new(mm("1.5"), Tolerance::default()),
///     sides: [mm("1000"), mm("600")], on_hand: 1, reserved: 0,
///     plate_cost: Money::parse("40").unwrap(), bin: None, row: 0,
/// };
/// // Alone, blanks of 250 mm give 4 x 2, of 90 mm 11 x 6; mixed, two strips of the first leave
/// // 100 mm for one of the second.
/// let all = layouts(&lot, 0, &[(7, mm("250")), (8, mm("90"))]);
/// let outside = |item| if item == 7 { mm("250") } else { mm("90") };
/// let yields: Vec<_> = all.iter().map(|l| l.yields(&lot, outside)).collect();
/// assert!(yields.contains(&[(7, 8), (8, 11)].into()));
/// assert!(yields.contains(&[(8, 66)].into()));
/// assert!(!yields.contains(&[(7, 8)].into()));
/// ```
pub fn layouts(lot: &PlateLot, plate: usize, shapes: &[(usize, Length)]) -> Vec<Layout> {
    Cutting { lot, plate, shapes }.full(&mut |_| false)
}

/// Plate of a lot, by its index in the job, and the shapes to cut from it: items with their outside diameters.
#[derive(Clone, Copy)]
pub(crate) struct Cutting<'a> {
    pub lot: &'a PlateLot,
    pub plate: usize,
    pub shapes: &'a [(usize, Length)],
}

/// Blanks of each cut item.
type Yields = BTreeMap<usize, u32>;

impl Cutting<'_> {
    fn outside(&self, item: usize) -> Length {
        let shape = self.shapes.iter().find(|(other, _)| *other == item);
        shape.map_or(Length::ZERO, |(_, outside)| *outside)
    }

    /// [`layouts`], ended early when `stop` (given the number of layouts about to be tried) returns true. Then
    /// some layouts may be missing, and some dominated ones present. Of remnants that are charged, a layout that
    /// yields more wastes less: these are all that are of use.
    pub(crate) fn full(&self, stop: &mut dyn FnMut(usize) -> bool) -> Vec<Layout> {
        // Fewer strips of the second shape are listed by other turns.
        let found = self.each(&|_, _| u32::MAX, &|most| most..=most, stop);
        let covers = |a: &Yields, b: &Yields| {
            b.iter().all(|(item, count)| a.get(item).is_some_and(|more| more >= count))
        };
        let best = |index: usize| {
            let mut others = found.iter().enumerate();
            others.all(|(other, (yields, _))| other == index || !covers(yields, &found[index].0))
        };
        (0..found.len())
            .filter(|&index| stop(found.len()) || best(index))
            .map(|index| found[index].1.clone())
            .collect()
    }

    /// Layouts of every yield, with no more strips of a shape than `wanted` blanks of it take: where remnants are
    /// booked back, each further piece is trim that need not be.
    pub(crate) fn part(
        &self,
        wanted: &dyn Fn(usize) -> u64,
        stop: &mut dyn FnMut(usize) -> bool,
    ) -> Vec<Layout> {
        let most = |item: usize, blanks: u32| {
            narrow::<u32>(wanted(item).div_ceil(u64::from(blanks.max(1))))
        };
        let found = self.each(&most, &|most| 0..=most, stop);
        found.into_iter().map(|(_, layout)| layout).collect()
    }

    /// Layouts with different yields. `most` gives the most strips of an item with so many blanks each, `seconds`
    /// the numbers of strips of the second shape, of which so many fit.
    fn each(
        &self,
        most: &dyn Fn(usize, u32) -> u32,
        seconds: &dyn Fn(u32) -> RangeInclusive<u32>,
        stop: &mut dyn FnMut(usize) -> bool,
    ) -> Vec<(Yields, Layout)> {
        let Cutting { lot, plate, shapes } = *self;
        let mut found = Vec::new();
        for along_side in 0..2 {
            let (run, stack) = (lot.sides[along_side], lot.sides[1 - along_side]);
            let fitting = |(item, wide): (usize, Length), room: Length| {
                along(room, wide).min(most(item, along(run, wide)))
            };
            for (index, &first) in shapes.iter().enumerate() {
                for &second in &shapes[index..] {
                    for strips in 1..=fitting(first, stack) {
                        let rest = stack - first.1 * strips;
                        let more = if second.0 == first.0 { 0 } else { fitting(second, rest) };
                        for more in seconds(more) {
                            if stop(1) {
                                return distinct(found);
                            }
                            let strips = [(first.0, strips), (second.0, more)];
                            let strips = strips.into_iter().filter(|(_, n)| *n > 0).collect();
                            let layout = Layout { plate, along: along_side, strips };
                            let mut yields = layout.yields(lot, |item| self.outside(item));
                            yields.retain(|_, count| *count > 0);
                            if !yields.is_empty() {
                                found.push((yields, layout));
                            }
                        }
                    }
                }
            }
        }
        distinct(found)
    }
}

/// One layout of each yield, in a fixed order.
fn distinct(mut found: Vec<(Yields, Layout)>) -> Vec<(Yields, Layout)> {
    found.sort();
    found.dedup_by(|a, b| a.0 == b.0);
    found
}
