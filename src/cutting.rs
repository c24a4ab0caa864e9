//! Pieces cut from sheet: the yield of a sheet, and its layouts.
//!
//! A piece needs a square blank of its outside diameter. A sheet is cut into strips along one of its sides,
//! each as wide as the blanks in it; one sheet carries strips for at most two shapes. Shears and a template
//! suffice for every such layout, and its yield is counted exactly. Common practice, no source.
//!
//! [`layouts`] lists the layouts of one [`PlateLot`].

use std::collections::BTreeMap;

use crate::decimal::Money;
use crate::length::Length;
use crate::narrow::narrow;
use crate::stock::Size;

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

    /// Cost of a blank, rounded up: the share of the sheet that its square takes. The offcut outside and
    /// inside the ring is paid for with it.
    pub fn blank_cost(&self, outside: Length) -> Money {
        let square = i128::from(outside.ticks()) * i128::from(outside.ticks());
        let sheet = self.sides.iter().map(|side| i128::from(side.ticks())).product::<i128>().max(1);
        let share = i128::from(self.plate_cost.raw()) * square;
        Money::from_raw(narrow::<i64>((share + sheet - 1).div_euclid(sheet)))
    }
}

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
}

/// Layouts of one sheet of a lot for these shapes (item and outside diameter), in a fixed order, without
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
    let mut never = |_: usize| false;
    layouts_until(lot, plate, shapes, &mut never)
}

/// [`layouts`], ended early when `stop` (given the number of layouts about to be tried) returns true. Then
/// some layouts may be missing, and some dominated ones present.
pub(crate) fn layouts_until(
    lot: &PlateLot,
    sheet: usize,
    shapes: &[(usize, Length)],
    stop: &mut dyn FnMut(usize) -> bool,
) -> Vec<Layout> {
    let mut found: Vec<(BTreeMap<usize, u32>, Layout)> = Vec::new();
    let outside = |item: usize| {
        let shape = shapes.iter().find(|(other, _)| *other == item);
        shape.map_or(Length::ZERO, |(_, outside)| *outside)
    };
    for along_side in 0..2 {
        let stack = lot.sides[1 - along_side];
        for (index, &(first, first_wide)) in shapes.iter().enumerate() {
            for &(second, second_wide) in &shapes[index..] {
                for strips in 1..=along(stack, first_wide) {
                    if stop(1) {
                        break;
                    }
                    let rest = stack - first_wide * strips;
                    let more = if second == first { 0 } else { along(rest, second_wide) };
                    // More strips of the first shape alone are listed by other turns of the loop.
                    let strips = [(first, strips), (second, more)];
                    let layout = Layout {
                        plate: sheet,
                        along: along_side,
                        strips: strips.into_iter().filter(|(_, n)| *n > 0).collect(),
                    };
                    let mut yields = layout.yields(lot, outside);
                    yields.retain(|_, count| *count > 0);
                    if !yields.is_empty() {
                        found.push((yields, layout));
                    }
                }
            }
        }
    }
    found.sort();
    found.dedup_by(|a, b| a.0 == b.0);
    let covers = |a: &BTreeMap<usize, u32>, b: &BTreeMap<usize, u32>| {
        b.iter().all(|(item, count)| a.get(item).is_some_and(|more| more >= count))
    };
    let best = |index: usize| {
        found
            .iter()
            .enumerate()
            .all(|(other, (yields, _))| other == index || !covers(yields, &found[index].0))
    };
    (0..found.len())
        .filter(|&index| stop(found.len()) || best(index))
        .map(|index| found[index].1.clone())
        .collect()
}
