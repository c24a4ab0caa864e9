//! The counts of a stock, each with its place.

use std::collections::BTreeMap;

use super::key;
use crate::decimal::Money;
use crate::problem::Place;

/// A lot of pieces or of sheets, as far as issuing needs it.
#[derive(Debug, Clone, PartialEq)]
pub struct CountedLot {
    /// Stock number.
    pub item: String,
    /// Whole pieces, or whole sheets.
    pub on_hand: u32,
    /// Number of these that are reserved.
    pub reserved: u32,
    /// Cost each, where it is stated.
    pub unit_cost: Option<Money>,
    /// Other columns that a plan depends on. `None` where only the counts are known.
    pub make: Option<Vec<Stated>>,
    /// Cell of its count.
    pub place: Place,
}

/// A value that a stock workbook states of a lot.
#[derive(Debug, Clone, PartialEq)]
pub struct Stated {
    /// Heading.
    pub heading: &'static str,
    /// Value as shown; empty where there is none.
    pub value: String,
    /// Cell of the value, where the workbook has the column.
    pub place: Option<Place>,
}

/// Lots of a stock by [`key`] of their stock number.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Counts {
    lots: Vec<CountedLot>,
    by_key: BTreeMap<String, usize>,
}

impl Counts {
    /// Adds a lot; if the stock number exists already, returns the existing lot.
    pub fn add(&mut self, lot: CountedLot) -> Option<&CountedLot> {
        let next = self.lots.len();
        let at = *self.by_key.entry(key(&lot.item)).or_insert(next);
        if at == next {
            self.lots.push(lot);
            return None;
        }
        self.lots.get(at)
    }

    /// Lot of an item.
    pub fn get(&self, item: &str) -> Option<&CountedLot> {
        self.by_key.get(&key(item)).map(|at| &self.lots[*at])
    }

    /// Changes the count of an item.
    pub fn set(&mut self, item: &str, on_hand: u32) {
        if let Some(at) = self.by_key.get(&key(item)) {
            self.lots[*at].on_hand = on_hand;
        }
    }

    /// All lots, in the order of the workbook.
    pub fn lots(&self) -> &[CountedLot] {
        &self.lots
    }
}

/// Counts of a stock workbook, and the positions of its tables.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Held {
    /// Counts.
    pub counts: Counts,
    /// Their sheets, each with the row of its headings, from 0.
    pub headings: Vec<(String, u32)>,
}
