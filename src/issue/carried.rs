//! A plan as it was carried out: its lines, and the entries of people beside them.

use std::collections::{BTreeMap, BTreeSet};

use super::counts::Counts;
use super::key;
use super::planned::Planned;
use super::returned::ReturnedLot;
use crate::problem::Place;

/// Entries of a person beside a line of the plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Filled {
    /// Pieces that were picked; `None` means as planned.
    pub picked: Option<u32>,
    /// Substitute item for the missing ones, and its number of pieces.
    pub instead: Option<(String, u32)>,
    /// Note.
    pub note: String,
    /// Cell of the count.
    pub at: Place,
    /// Cell of the substitute item.
    pub instead_at: Place,
}

/// Pieces taken for a tag in addition to the plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Extra {
    /// The pump.
    pub tag: String,
    /// Destination, in words.
    pub place: String,
    /// Stock number.
    pub item: String,
    /// Number of pieces.
    pub count: u32,
    /// Note.
    pub note: String,
    /// Cell of the item.
    pub at: Place,
}

/// A plan as it was carried out.
#[derive(Debug, Clone, PartialEq)]
pub struct Carried {
    /// The plan's lines.
    pub planned: Planned,
    /// Entries beside each of its lines.
    pub filled: Vec<Filled>,
    /// Pieces taken in addition.
    pub extras: Vec<Extra>,
    /// Stock that it was made from; lots that go back for the first time are in it with none on hand.
    pub before: Counts,
    /// Lots that go back into the stock.
    pub returned: Vec<ReturnedLot>,
    /// The plan as a whole.
    pub place: Place,
    /// SHA-256 of the pump workbook that it was made from, as far as the plan says.
    pub pumps_sha256: Option<String>,
    /// Settings of its policy for judging readings, as shown, as far as the plan has them.
    pub rules: BTreeMap<String, String>,
}

/// Settings that decide how readings are judged, and thus the ranges on the slips.
pub(crate) const RULES: [&str; 2] = ["Acceptance", "Coverage factor"];

impl Carried {
    /// Tags of the plan, each once, in its order.
    pub fn tags(&self) -> Vec<&str> {
        let mut seen = BTreeSet::new();
        let tags = self.planned.lines.iter().map(|line| line.tag.as_str());
        tags.filter(|tag| !tag.is_empty() && seen.insert(key(tag))).collect()
    }
}
