//! A purchase as JSON, format `gapwright.purchase.v3`.
//!
//! Lengths and money are decimal strings, so that nothing is lost.
//!
//! Version 1 had sentences for reasons; version 2 did not say NOT FIT TO ASSEMBLE and knew no cause `not_proven`. Nothing
//! reads them.

use schemars::{JsonSchema, Schema, schema_for};
use serde::{Deserialize, Serialize};

use super::common::{ShortJson, StoppedBy, WorthJson};

/// The name of the format.
pub const FORMAT: &str = "gapwright.purchase.v3";

/// A purchase. Lengths and money are decimal texts, so that nothing is lost.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PurchaseJson {
    /// `gapwright.purchase.v3`.
    pub format: String,
    /// The day of the order, `YYYY-MM-DD`.
    pub date: String,
    /// Whether every goal is proven.
    pub proven: bool,
    /// The cause that ended the search early; null if there was none.
    pub stopped_by: Option<StoppedBy>,
    /// The currency, as the policy calls it.
    pub currency: String,
    /// The most that may be spent on packs for this outage; null for any amount.
    pub budget: Option<String>,
    /// The cost of the packs for this outage, bags and levels not counted.
    pub cost: String,
    /// No purchase that serves as much costs less.
    pub cost_bound: String,
    /// Pumps that could be kitted if the packs back to level were there as well, whenever they come;
    /// null where no pump stays short or nothing is ordered back to level.
    pub served_with_level_packs: Option<u32>,
    /// Pumps, in the order of the pump sheet.
    pub pumps: Vec<ShortPumpJson>,
    /// Items, in the order of the stock sheet; pieces that are cut from sheets left out.
    pub items: Vec<ItemJson>,
    /// Drawers.
    pub drawers: Vec<DrawerJson>,
}

/// How a pump stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ShortPumpJson {
    /// Its tag.
    pub tag: String,
    /// Whether it can be kitted from today's stock.
    pub today: bool,
    /// Whether it can be kitted after the purchase, in time.
    pub after: bool,
    /// True where the sheets say NOT FIT TO ASSEMBLE after the purchase.
    pub not_fit_to_assemble: bool,
    /// Why not; null if it can.
    pub still_short: Option<StillShortJson>,
}

/// Why a pump stays short after the purchase.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum StillShortJson {
    /// Packs that would do come after the day on which the pump is due.
    DueBeforeItComes {
        /// The stock number of the item that comes last.
        item: String,
        /// The day on which the pump is due, as the pump workbook has it.
        due: String,
        /// When the item would be there, `YYYY-MM-DD`: of all ways to kit the pump, the earliest.
        there_on: String,
    },
    /// No kit for it, with everything that is bought, within the budget if there is one.
    NoKit {
        /// Why, place by place.
        short: Vec<ShortJson>,
    },
}

/// An item.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ItemJson {
    /// Stock number.
    pub item: String,
    /// Who sells it.
    pub supplier: Option<String>,
    /// Pieces in a pack.
    pub pack_qty: u32,
    /// The price of a piece; null if the stock has none.
    pub unit_cost: Option<String>,
    /// When it would be there; null without lead days.
    pub there_on: Option<String>,
    /// On hand today.
    pub before: u32,
    /// Packs needed to kit pumps.
    pub packs: u32,
    /// Packs for what bags lack.
    pub bag_packs: u32,
    /// Pieces issued.
    pub issued: u32,
    /// Pieces of opened packs that are spoiled.
    pub spoiled: u32,
    /// On hand after the purchase and the outage.
    pub after: u32,
    /// Packs that bring it back to level.
    pub level_packs: u32,
    /// Order again when no more are left; null where `reorder_basis` says why.
    pub reorder_point: Option<u32>,
    /// The basis of the reorder point, or why there is none.
    pub reorder_basis: ReorderBasisJson,
    /// Packs to order at a time; null if not worked out.
    pub order_packs: Option<u32>,
    /// Pieces to have ready for an outage; null if not worked out.
    pub ready: Option<u32>,
    /// The worth of one more on hand today; null if not worked out.
    pub worth_of_one_more: Option<WorthJson>,
}

/// The basis of a reorder point, or why there is none.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum ReorderBasisJson {
    /// Demand as in the lead times that the issue log holds one after the other.
    LeadTimes {
        /// How many they are.
        rows: u64,
    },
    /// Demand of each day like that of any day of the log, since it holds too few lead times for the
    /// service asked for; and never less than the largest of them.
    Days {
        /// Lead times that the log holds.
        rows: u64,
        /// Pieces wanted in the largest of them.
        largest: u32,
    },
    /// No point: no issue log.
    NoLog,
    /// No point: nothing of it in the issue log.
    NeverIssued,
    /// No point: no lead days in the stock.
    NoLeadTime,
    /// No point: the log covers less than one lead time.
    TooShort {
        /// Days that it covers.
        days: u32,
        /// Days of the lead time.
        lead_days: u32,
    },
    /// No point: the log has it on too few dates.
    TooFew {
        /// Dates on which it was issued.
        dates: u64,
        /// The fewest that say anything.
        wanted: u64,
    },
    /// No point: too large to work out.
    TooLarge,
}

/// A drawer: one kind and fit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DrawerJson {
    /// Kind of piece.
    pub kind: String,
    /// Fit code.
    pub fit: String,
    /// Why it is not worked out; null if it is.
    pub fault: Option<FaultJson>,
    /// Its reach; null if it is not worked out.
    pub reach: Option<ReachJson>,
}

/// Why a drawer is not worked out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum FaultJson {
    /// A range whose end lies before its start, or that starts below nothing.
    Range,
    /// A step that is not above zero, or that the range is no whole number of.
    Step,
    /// More targets than can be looked at.
    TooManyTargets {
        /// How many they are.
        targets: i64,
    },
    /// A thickness that is not above zero, or a tolerance or cost below it.
    Size {
        /// Its number in the drawer, from 0.
        size: u64,
    },
    /// More pieces in a pack than can be looked at, or none.
    Pieces {
        /// How many they are.
        pieces: u32,
    },
    /// A window below zero.
    Window,
    /// Thicknesses with so small a common divisor, over so long a range, that the totals are too many.
    TooFine {
        /// The greatest common divisor, in nanometres.
        grain_nm: String,
        /// Totals in the range, or in one window of it.
        totals: i64,
    },
    /// Work that was ended before this drawer was worked out.
    Stopped {
        /// The cause that ended it.
        by: StoppedBy,
    },
    /// More thicknesses than can be chosen from.
    TooManySizes {
        /// How many they are.
        sizes: u64,
    },
}

/// The reach of a drawer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReachJson {
    /// Unit of the lengths.
    pub unit: String,
    /// Targets in the range.
    pub targets: u32,
    /// The most pieces in a pack.
    pub pieces: u32,
    /// Targets missed today.
    pub missed_today: Vec<String>,
    /// Targets missed after the purchase.
    pub missed_after: Vec<String>,
    /// Targets missed with every thickness of the stock workbook.
    pub missed_by_all: Vec<String>,
    /// Targets met with at most one piece, two, and so on: today.
    pub met_today: Vec<u32>,
    /// Targets met so after the purchase.
    pub met_after: Vec<u32>,
    /// The fewest thicknesses that reach as much as all.
    pub fewest: ChoiceJson,
    /// Those of which a pack each costs least.
    pub least_cost: ChoiceJson,
}

/// A set of thicknesses.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ChoiceJson {
    /// Stock numbers.
    pub items: Vec<String>,
    /// The cost of a pack of each.
    pub cost: String,
    /// Whether no set is better.
    pub proven: bool,
}

/// The JSON Schema of the format, generated from the types.
pub fn schema() -> Schema {
    schema_for!(PurchaseJson)
}
