//! Stock: lots of pieces of one thickness each, and the other parts in the drawer.
//!
//! [`Item`] is one row of the stock workbook; [`Code`] is a fit code.

use crate::decimal::{Millionths, Money};
use crate::gauge::{Certified, OfGauge};
use crate::length::{Length, Tolerance, Uncertainty};
use crate::model::Shape;

/// Lot: one row of the stock workbook.
#[derive(Debug, Clone, PartialEq)]
pub struct Item {
    /// Stock number, unique.
    pub item: String,
    /// Kind in lower case: `shim`, `gasket`, `packing ring` ...
    pub kind: String,
    /// Fit code, which ties a piece to a place.
    pub fit: Code,
    /// Thickness and tolerance of one piece; `None` for parts that are not stacked.
    pub size: Option<Size>,
    /// Section of a packing ring, where its row gives one.
    pub section: Option<Length>,
    /// Whole pieces on hand.
    pub on_hand: u32,
    /// Pieces on hand that lie in packed bags: none of them is in a sealed pack.
    pub in_bags: u32,
    /// Pieces on hand that are reserved and so not offered.
    pub reserved: u32,
    /// Cost of one piece; zero where the workbook gives none.
    pub unit_cost: Money,
    /// Level below which it should not fall.
    pub min_level: u32,
    /// Bin.
    pub bin: Option<String>,
    /// Material.
    pub material: Option<String>,
    /// Pieces in a sealed pack; 1 where they come singly.
    pub carton_qty: u32,
    /// Terms of purchase.
    pub offer: Offer,
    /// Thickness of one layer of a laminated shim; all layers but the last can be peeled off.
    pub peel_step: Option<Length>,
    /// For pieces that are cut to order: the sheet that they are cut from, and their shape.
    pub cut: Option<Cut>,
    /// Row in the stock sheet, from 0; [`NO_ROW`] where it has none.
    pub row: u32,
}

/// Row of a lot that the stock sheet has no row for: below the last one of any workbook.
pub const NO_ROW: u32 = 1_048_576;

impl Item {
    /// Lot with no data but the size of its pieces.
    pub fn of(item: &str, kind: String, fit: Code, size: Size, on_hand: u32) -> Item {
        Item {
            item: item.to_string(),
            kind,
            fit,
            size: Some(size),
            section: None,
            on_hand,
            in_bags: 0,
            reserved: 0,
            unit_cost: Money::ZERO,
            min_level: 0,
            bin: None,
            material: None,
            carton_qty: 1,
            offer: Offer::default(),
            peel_step: None,
            cut: None,
            row: 0,
        }
    }

    /// Pieces that may be issued: on hand less reserved.
    pub fn available(&self) -> u32 {
        self.on_hand.saturating_sub(self.reserved)
    }

    /// Pieces that are not in a sealed pack: those in bags, and of the other available ones those in excess of whole packs.
    pub fn loose(&self) -> u32 {
        let in_bin = self.available().saturating_sub(self.in_bags);
        self.available() - in_bin + in_bin % self.carton_qty.max(1)
    }

    /// Number of layers that can be peeled off one piece: zero for a solid one, and never the last layer.
    pub fn most_peeled(&self) -> u32 {
        let (Some(size), Some(step)) = (self.size, self.peel_step) else {
            return 0;
        };
        if step <= Length::ZERO {
            return 0;
        }
        let layers = size.thickness.ticks() / step.ticks();
        // The rest must be a whole layer at least.
        u32::try_from(layers - 1).unwrap_or(0)
    }

    /// Thickness of a piece with `layers` layers peeled off; `None` for parts that are not stacked.
    pub fn peeled(&self, layers: u32) -> Option<Length> {
        let step = self.peel_step.unwrap_or(Length::ZERO);
        Some(self.size?.thickness - step * layers)
    }
}

/// Terms of purchase of an item, cell by cell; `None` for an empty cell or a missing column.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Offer {
    /// Price of one piece.
    pub unit_cost: Option<Money>,
    /// Pieces in a pack, the smallest quantity sold.
    pub carton_qty: Option<u32>,
    /// Level up to which it is filled.
    pub max_level: Option<u32>,
    /// Calendar days from the order to the drawer.
    pub lead_days: Option<u32>,
    /// Supplier.
    pub supplier: Option<String>,
}

impl Offer {
    /// Whether it is meant to be bought: the row gives a supplier, a pack or a lead time. A cost alone may be
    /// an old price.
    pub fn for_sale(&self) -> bool {
        self.carton_qty.is_some() || self.lead_days.is_some() || self.supplier.is_some()
    }
}

/// Source of a shared lot error: the pieces of one row, or all pieces cut from one lot of sheets.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Lot {
    /// Pieces of an item, by its index in the stock.
    Item(usize),
    /// Sheets of a lot, by its index among the sheets.
    Plate(usize),
}

impl Item {
    /// Lot that the pieces of this item belong to; `index` is the item's own in the stock.
    pub fn lot(&self, index: usize) -> Lot {
        self.cut.map_or(Lot::Item(index), |cut| Lot::Plate(cut.plate))
    }
}

/// Thickness of one piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Size {
    /// Nominal thickness, or the measured mean of the lot.
    pub thickness: Length,
    /// Plus/minus on one piece.
    pub tolerance: Tolerance,
    /// Uncertainty of the measured mean, where the lot was measured.
    pub uncertainty: Option<Certified>,
    /// Share of the tolerance that is common to all pieces of the lot, 0 to 1, where the stock states it.
    pub alike: Option<Millionths>,
    /// Gauge that the lot was measured with.
    pub gauge: Option<OfGauge>,
    /// Source of the tolerance.
    pub source: ToleranceSource,
}

/// Source of the tolerance of a piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ToleranceSource {
    /// Stated beside the thickness.
    #[default]
    Stated,
    /// Cell of its row in this column of its sheet, counted from 0.
    Column(u32),
    /// Material, for which a model gives it.
    Material,
}

impl Size {
    /// Thickness within a tolerance, and nothing else known.
    pub fn new(thickness: Length, tolerance: Tolerance) -> Size {
        let source = ToleranceSource::Stated;
        Size { thickness, tolerance, uncertainty: None, alike: None, gauge: None, source }
    }

    /// Worst case of one piece: its tolerance, the range of the lot's mean and that of its gauge.
    pub fn worst(&self) -> Tolerance {
        let shared = [self.uncertainty, self.gauge.map(|gauge| gauge.certified)];
        let extent = shared.into_iter().flatten().fold(Length::ZERO, |sum, one| sum + one.extent);
        Tolerance { minus: self.tolerance.minus + extent, plus: self.tolerance.plus + extent }
    }

    /// Standard uncertainty of one piece about the mean of its lot, from a rectangular tolerance.
    pub fn standard_uncertainty(&self) -> Uncertainty {
        Shape::Rectangular.standard_uncertainty(self.tolerance)
    }
}

/// Code that people type: compared without regard to case and outer spaces, shown as typed.
#[derive(Debug, Clone)]
pub struct Code {
    shown: String,
    key: String,
}

/// Name in the form that is compared: lower case, single spaces, no invisible characters.
///
/// ```
/// use gapwright::stock::folded;
/// assert_eq!(folded("P\u{a0} 101\u{200b}"), "p 101");
/// assert_eq!(folded("F\u{2011}6"), "f-6");
/// ```
pub fn folded(name: &str) -> String {
    let seen: String = name
        .chars()
        .filter(|c| !matches!(c, '\u{ad}' | '\u{200b}'..='\u{200f}' | '\u{2060}' | '\u{feff}'))
        .map(|c| match c {
            '\u{2010}'..='\u{2013}' | '\u{2212}' => '-',
            c => c,
        })
        .collect();
    let words: Vec<&str> = seen.split_whitespace().collect();
    words.join(" ").to_lowercase()
}

impl Code {
    /// Code as typed.
    ///
    /// ```
    /// use gapwright::stock::Code;
    /// assert_eq!(Code::new(" f6 "), Code::new("F6"));
    /// assert_eq!(Code::new(" f6 ").as_str(), "f6");
    /// ```
    pub fn new(text: &str) -> Code {
        let shown = text.trim().to_string();
        Code { key: folded(&shown), shown }
    }

    /// Text as typed.
    pub fn as_str(&self) -> &str {
        &self.shown
    }

    /// Text as compared.
    pub fn key(&self) -> &str {
        &self.key
    }
}

impl PartialEq for Code {
    fn eq(&self, other: &Code) -> bool {
        self.key == other.key
    }
}

impl Eq for Code {}

/// Shape of a cut piece, and the sheets that it is cut from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cut {
    /// Index of the lot of sheets in the job.
    pub plate: usize,
    /// Outside diameter.
    pub outside: Length,
    /// Inside diameter.
    pub inside: Length,
}

/// Pieces for one place.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PackPick {
    /// Lots and counts, thickest first.
    pub picks: Vec<Pick>,
}

/// Pieces of one lot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Pick {
    /// The item's index in the job's stock.
    pub item: usize,
    /// Number of pieces.
    pub count: u32,
    /// Layers peeled off each piece; zero unless the lot is laminated.
    pub peeled: u32,
}
