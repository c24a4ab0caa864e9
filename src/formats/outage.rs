//! The state of a running outage as JSON, format `gapwright.outage.v1`.

use schemars::{JsonSchema, Schema, schema_for};
use serde::{Deserialize, Serialize};

use super::common::CountJson;

/// Name of the format.
pub const FORMAT: &str = "gapwright.outage.v1";

/// A running outage.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct OutageJson {
    /// Always `gapwright.outage.v1`.
    pub format: String,
    /// End of the ledger.
    pub head: HeadJson,
    /// The last plan; null before the first.
    pub plan: Option<OutagePlanJson>,
    /// The pumps, by tag.
    pub pumps: Vec<OutagePumpJson>,
    /// Pieces that the last plan leaves and holds back for pumps that are not measured, in words for people.
    pub left_for_not_measured: Vec<String>,
    /// Stock of each item by the ledger, by stock number.
    pub stock: Vec<OutageStockJson>,
    /// Plates that the last plan cuts and that are whole yet.
    pub plates_to_cut: Vec<CountJson>,
    /// Pieces that are spoiled when the sealed packs of the last plan are opened.
    pub packs_to_open: Vec<CountJson>,
    /// All entries, the first one first.
    pub entries: Vec<OutageEntryJson>,
}

/// End of a ledger.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct HeadJson {
    /// Number of the last entry; zero where there is none.
    pub number: u32,
    /// SHA-256 of the last entry, in hexadecimal.
    pub sha256: String,
}

/// A plan within an outage.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct OutagePlanJson {
    /// Its number in the outage, from 1.
    pub number: u32,
    /// Code of its contents, as in the plan's own JSON.
    pub code: String,
    /// Number of its entry.
    pub entry: u32,
}

/// A pump of an outage.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct OutagePumpJson {
    /// Its tag.
    pub tag: String,
    /// Its state.
    pub state: PumpStateJson,
    /// Number of its kit in the outage; null where it has none.
    pub kit: Option<u32>,
    /// Pieces in its bag or in the pump.
    pub bag: Vec<BagPieceJson>,
    /// Number of pieces that its bag has fewer than its kit.
    pub missing_pieces: u32,
    /// Whether its bag holds other pieces than its kit.
    pub differs_from_kit: bool,
    /// Whether its bag is to be put back: the last plan gives it another kit, or its pieces no longer conform.
    pub put_bag_back: bool,
    /// Readings at the bench.
    pub readings: Vec<BenchReadingJson>,
    /// True where it must not be assembled with the pieces that it has, or has none. False promises no more than the
    /// bookings do.
    pub not_fit_to_assemble: bool,
    /// True where its pieces are at the bench or in it, and do not conform: somebody must stop.
    pub stop: bool,
    /// Reason, in words for people; null where there is none.
    pub why: Option<String>,
    /// Ways to cure it where it is short, in words for people; null where none was worked out.
    pub cures: Option<String>,
}

/// States of a pump.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum PumpStateJson {
    /// A reading is missing.
    NotMeasured,
    /// Has a kit; the pieces lie in their bins.
    Planned,
    /// The pieces are in the bag.
    Bagged,
    /// The bag is at the bench.
    Issued,
    /// At the bench, and its readings do not conform.
    Rejected,
    /// Its readings conform, and it is signed off.
    Accepted,
    /// No kit.
    Short,
    /// Withdrawn.
    Cancelled,
}

/// Pieces in a bag.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct BagPieceJson {
    /// The pack's name in the model, or the kind of the consumable; null where it is not known.
    pub place: Option<String>,
    /// Stock number.
    pub item: String,
    /// Number of pieces.
    pub count: u32,
    /// Thickness to peel each to, with its unit; null for whole pieces.
    pub peeled_to: Option<String>,
}

/// Readings of a place or requirement.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct BenchReadingJson {
    /// The pack's or requirement's name in the model.
    pub what: String,
    /// First reading, with its unit.
    pub first: String,
    /// Second reading; null where there is none.
    pub again: Option<String>,
}

/// Stock of an item.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct OutageStockJson {
    /// Stock number.
    pub item: String,
    /// Pieces in the bin, by the ledger.
    pub on_hand: i64,
    /// Pieces in bags and pumps.
    pub out: u64,
    /// On hand of the workbook that was last taken over; null where it had no row.
    pub workbook: Option<u32>,
}

/// An entry of the ledger.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct OutageEntryJson {
    /// Running number, from 1.
    pub number: u32,
    /// Time of writing (RFC 3339, UTC).
    pub at: String,
    /// Day of the event, `YYYY-MM-DD`.
    pub date: String,
    /// Person; empty where none is named.
    pub who: String,
    /// Reason; empty where none is given.
    pub why: String,
    /// Kind of booking.
    pub booking: BookingJson,
    /// The pump; null where it is about none.
    pub tag: Option<String>,
    /// Pieces that came into the bins.
    pub into_bins: Vec<CountJson>,
    /// Pieces that left the bins.
    pub out_of_bins: Vec<CountJson>,
    /// Whether a later entry undoes it.
    pub undone: bool,
    /// SHA-256 of the entry, in hexadecimal.
    pub sha256: String,
}

/// Kinds of bookings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum BookingJson {
    /// A bag was packed.
    Bag,
    /// A bag went to the bench.
    Issue,
    /// Pieces of a bag went back into their bins.
    PutBack,
    /// Pieces came in.
    Receive,
    /// Pieces were thrown away.
    Scrap,
    /// Pieces in a bin were counted.
    Count,
    /// Plates were cut up.
    Cut,
    /// Sealed packs were opened, and what is left of them is spoiled.
    Opened,
    /// Pieces of a bag were changed for others.
    Swap,
    /// A figure was measured.
    Reading,
    /// A pump was signed off.
    Accept,
    /// A pump was withdrawn.
    Cancel,
    /// A pump takes part again.
    Reinstate,
    /// An earlier entry was undone.
    Undo,
    /// A plan was made.
    Plan,
    /// Workbooks were taken over.
    TookOver,
}

/// JSON Schema of the format, generated from the types.
pub fn schema() -> Schema {
    schema_for!(OutageJson)
}
