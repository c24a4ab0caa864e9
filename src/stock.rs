//! The stock: lots of pieces with one thickness each, and what else lies in the drawer.

use crate::decimal::Money;
use crate::length::{Length, Tolerance};

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
    /// Its row in the stock sheet, from 0.
    pub row: u32,
}

impl Item {
    /// Pieces that may be issued: on hand less reserved.
    pub fn available(&self) -> u32 {
        self.on_hand.saturating_sub(self.reserved)
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
    pub uncertainty: Option<Length>,
}

/// A code that people type: compared without regard to case and outer spaces, shown as typed.
#[derive(Debug, Clone)]
pub struct Code {
    shown: String,
    key: String,
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
        Code {
            key: shown.to_lowercase(),
            shown,
        }
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
