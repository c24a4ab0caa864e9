//! The stock: lots of pieces with one thickness each, and what else lies in the drawer.

use crate::decimal::Money;
use crate::length::{Length, Tolerance, Uncertainty};
use crate::model::Shape;

/// One row of the stock workbook: a lot.
#[derive(Debug, Clone, PartialEq)]
pub struct Item {
    /// Stock number, unique.
    pub item: String,
    /// What it is, in lower case: `shim`, `gasket`, `packing ring` ...
    pub kind: String,
    /// The fit code that ties a piece to a place.
    pub fit: Code,
    /// Thickness and tolerance of one piece; `None` for what is not stacked.
    pub size: Option<Size>,
    /// The thickness of what is not stacked, where its row states one: a packing ring's section.
    pub section: Option<Length>,
    /// Whole pieces on hand.
    pub on_hand: u32,
    /// Of those, the ones that are not offered.
    pub reserved: u32,
    /// Cost of one piece; nothing where the workbook says nothing.
    pub unit_cost: Money,
    /// The level below which it should not fall.
    pub min_level: u32,
    /// Where it lies.
    pub bin: Option<String>,
    /// What it is made of.
    pub material: Option<String>,
    /// Pieces in a sealed pack; 1 where they come singly.
    pub pack_qty: u32,
    /// What the stock says of buying it.
    pub terms: Terms,
    /// For a laminated shim: the thickness of one layer, of which all but the last can be peeled
    /// off.
    pub peel_step: Option<Length>,
    /// For pieces that are cut when they are wanted: what from and to what shape.
    pub cut: Option<Cut>,
    /// Its row in the stock sheet, from 0.
    pub row: u32,
}

impl Item {
    /// A lot of which nothing is known beside its pieces' size.
    pub fn of(item: &str, kind: String, fit: Code, size: Size, on_hand: u32) -> Item {
        Item {
            item: item.to_string(),
            kind,
            fit,
            size: Some(size),
            section: None,
            on_hand,
            reserved: 0,
            unit_cost: Money::ZERO,
            min_level: 0,
            bin: None,
            material: None,
            pack_qty: 1,
            terms: Terms::default(),
            peel_step: None,
            cut: None,
            row: 0,
        }
    }

    /// Pieces that may be issued: on hand less reserved.
    pub fn available(&self) -> u32 {
        self.on_hand.saturating_sub(self.reserved)
    }

    /// Pieces beside the sealed packs: those by which the available ones exceed whole packs.
    pub fn loose(&self) -> u32 {
        self.available() % self.pack_qty.max(1)
    }

    /// How many layers can be peeled off one piece: none of a solid one, and never the last.
    pub fn most_peeled(&self) -> u32 {
        let (Some(size), Some(step)) = (self.size, self.peel_step) else {
            return 0;
        };
        if step <= Length::ZERO {
            return 0;
        }
        let layers = size.thickness.ticks() / step.ticks();
        // What is left over must be a whole layer at least.
        u32::try_from(layers - 1).unwrap_or(0)
    }

    /// The thickness of a piece with so many layers peeled off; `None` for what is not stacked.
    pub fn peeled(&self, layers: u32) -> Option<Length> {
        let step = self.peel_step.unwrap_or(Length::ZERO);
        Some(self.size?.thickness - step * layers)
    }
}

/// What the stock says of buying an item, cell by cell; `None` for an empty cell or a column that is
/// not there.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Terms {
    /// The price of one piece.
    pub unit_cost: Option<Money>,
    /// Pieces in a pack, the least that is sold.
    pub pack_qty: Option<u32>,
    /// The level that it is filled up to.
    pub max_level: Option<u32>,
    /// Calendar days from the order to the drawer.
    pub lead_days: Option<u32>,
    /// Who sells it.
    pub supplier: Option<String>,
}

impl Terms {
    /// Whether the stock means it to be bought: it names a supplier, a pack or a lead time. A cost
    /// alone may be what a piece once cost.
    pub fn for_sale(&self) -> bool {
        self.pack_qty.is_some() || self.lead_days.is_some() || self.supplier.is_some()
    }
}

/// What shares one lot error: the pieces of one row, or everything cut from one lot of sheets.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Lot {
    /// The pieces of an item, by its index in the stock.
    Item(usize),
    /// The sheets of a lot, by its index among the sheets.
    Sheet(usize),
}

impl Item {
    /// The lot that its pieces belong to; `index` is its own in the stock.
    pub fn lot(&self, index: usize) -> Lot {
        self.cut.map_or(Lot::Item(index), |cut| Lot::Sheet(cut.sheet))
    }
}

/// The thickness of one piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Size {
    /// Nominal, or the lot's measured mean.
    pub thickness: Length,
    /// Plus/minus on one piece.
    pub tolerance: Tolerance,
    /// Standard uncertainty of the measured mean, where the lot was measured.
    pub uncertainty: Option<Uncertainty>,
}

impl Size {
    /// The standard uncertainty of one piece against its lot: anywhere alike in its tolerance.
    pub fn standard(&self) -> Uncertainty {
        Shape::Rectangular.standard(self.tolerance)
    }
}

/// A code that people type: compared without regard to case and outer spaces, shown as typed.
#[derive(Debug, Clone)]
pub struct Code {
    shown: String,
    key: String,
}

/// A name as it is compared: whatever its case, with single blanks, and without what cannot be seen.
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
    /// A code as typed.
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

    /// As typed.
    pub fn as_str(&self) -> &str {
        &self.shown
    }

    /// As compared.
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

/// The shape of a cut piece and the sheets that it comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cut {
    /// The index of the lot of sheets in the job.
    pub sheet: usize,
    /// Outside diameter.
    pub outside: Length,
    /// Inside diameter.
    pub inside: Length,
}
