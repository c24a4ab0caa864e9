//! The counts of a stock, each with its place.

use std::collections::BTreeMap;

use super::key;
use crate::decimal::Money;
use crate::problem::Place;

/// A lot of pieces or of sheets, as far as issuing needs to know it.
#[derive(Debug, Clone, PartialEq)]
pub struct Lot {
    /// Stock number.
    pub item: String,
    /// Whole pieces, or whole sheets.
    pub on_hand: u32,
    /// Of those, the ones that are not offered.
    pub reserved: u32,
    /// Cost of one, where it is stated.
    pub unit_cost: Option<Money>,
    /// What a plan follows from beside the counts. `None` where only the counts are known.
    pub make: Option<Vec<Stated>>,
    /// The cell of its count.
    pub place: Place,
}

/// One thing that a stock workbook states of a lot.
#[derive(Debug, Clone, PartialEq)]
pub struct Stated {
    /// The heading.
    pub heading: &'static str,
    /// The value, as it is shown; empty where there is none.
    pub value: String,
    /// The value's cell, where the workbook has the column.
    pub place: Option<Place>,
}

/// The lots of a stock by [`key`] of their stock number.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Counts {
    lots: Vec<Lot>,
    by_key: BTreeMap<String, usize>,
}

impl Counts {
    /// Takes a lot in; the one that has the same stock number already is given back.
    pub fn add(&mut self, lot: Lot) -> Option<&Lot> {
        let next = self.lots.len();
        let at = *self.by_key.entry(key(&lot.item)).or_insert(next);
        if at == next {
            self.lots.push(lot);
            return None;
        }
        self.lots.get(at)
    }

    /// The lot of an item.
    pub fn get(&self, item: &str) -> Option<&Lot> {
        self.by_key.get(&key(item)).map(|at| &self.lots[*at])
    }

    /// Changes the count of an item.
    pub fn set(&mut self, item: &str, on_hand: u32) {
        if let Some(at) = self.by_key.get(&key(item)) {
            self.lots[*at].on_hand = on_hand;
        }
    }

    /// All lots, in the order of the workbook.
    pub fn lots(&self) -> &[Lot] {
        &self.lots
    }
}

/// The counts of a stock workbook, and where its tables begin.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Held {
    /// The counts.
    pub counts: Counts,
    /// The sheets that they stand on, each with the row of its headings, from 0.
    pub headings: Vec<(String, u32)>,
}
