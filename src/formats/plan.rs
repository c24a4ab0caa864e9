//! The plan as JSON, format `gapwright.plan.v4`.
//!
//! Lengths and money are decimal strings, so that no digit is lost. A length is given in its model's unit wherever
//! that is exact, and otherwise in millimetres, which always are. States and reasons are codes; the sheets for people
//! have the sentences.
//!
//! Version 1 had sentences in the places of causes, reasons and layouts. Version 2 had no third verdict, did not say
//! NOT FIT TO ASSEMBLE, and counted the rest of a plate that is cut neither as waste nor as stock. Version 3 had no code
//! of its own, so that a changed plan could not be told from its original. All are refused by their names.
//!
//! # Decision
//!
//! The hash covers every field, texts for people too: which of them matters to whom is not for the reader to guess. It
//! is taken of the values and not of the bytes, so a file that another program has laid out anew is still the plan.

use std::collections::BTreeMap;

use schemars::{JsonSchema, Schema, schema_for};
use serde::{Deserialize, Serialize};
use serde_json::error::Category;

use super::common::{
    ChanceJson, CountJson, InputJson, LengthJson, NotMeasuredJson, PackJson, RequirementJson,
    ShortJson, StoppedBy, WorthJson,
};
use crate::crush::CrushVerdict;
use crate::digest::Hasher;
use crate::narrow::narrow;
use crate::plan::Objective;

/// Name of the format.
pub const FORMAT: &str = "gapwright.plan.v4";

/// A plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PlanJson {
    /// Always `gapwright.plan.v4`.
    pub format: String,
    /// Code of the plan, twelve hexadecimal digits: that of its workbook, its labels and the issue log, by what is taken
    /// from the stock.
    pub plan: String,
    /// SHA-256, in hexadecimal, of this document as JSON without spaces, with this field empty.
    pub sha256: String,
    /// Sums over the plan.
    pub sums: SumsJson,
    /// Whether every goal is proven, and its bound was added up again.
    pub proven: bool,
    /// Reason why the search ended early, if it did.
    pub stopped_by: Option<StoppedBy>,
    /// Work that the time did not allow after the goals; absent where complete.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub left_out: Vec<LeftOutJson>,
    /// The acceptance rule.
    pub acceptance: String,
    /// Sum of the weights of the served pumps; absent when whole numbers cannot hold the weights.
    pub served_weight: Option<i64>,
    /// Upper bound: no plan has more.
    pub served_weight_bound: Option<i64>,
    /// Waste of the plan, in the currency.
    pub waste: String,
    /// Lower bound: no plan that serves as much has less.
    pub waste_bound: String,
    /// Name of the currency.
    pub currency: String,
    /// All goals in their order, each with its bound.
    pub goals: Vec<GoalJson>,
    /// The pumps, in the order of the pump workbook.
    pub pumps: Vec<PumpJson>,
    /// Pumps with a missing reading, in the order of the pump workbook: nothing is planned for them. Absent where all are
    /// measured.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub not_measured: Vec<NotMeasuredJson>,
    /// Count of what the plan leaves for them; absent where nothing is known ahead of any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left_for_not_measured: Option<LeftJson>,
    /// The stock, in the order of the stock workbook.
    pub stock: Vec<StockJson>,
    /// The sheets that pieces are cut from, in the order of the stock workbook.
    pub sheets: Vec<SheetJson>,
    /// Files that the plan was made from.
    #[serde(default)]
    pub inputs: Vec<InputJson>,
    /// Cost of holding bags that were packed before, from the fewest reopened to the free choice; absent where no bag was.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub holding: Vec<HoldingJson>,
    /// Place of the plan in a running outage; absent where it is part of none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub outage: Option<OutagePlaceJson>,
}

/// Pieces that a plan leaves for the pumps that are not measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LeftJson {
    /// The count over outages drawn at random; null where it was not made.
    pub count: Option<LeftCountJson>,
    /// Reason that it was not made.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub not_made: Option<NotMadeJson>,
    /// Pumps that are not counted, since nothing is known ahead of their readings.
    pub not_counted: Vec<NotCountedJson>,
    /// Pieces held back for the pumps that are counted; absent where none were to be.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub held_back: Vec<HeldBackJson>,
}

/// Pieces of an item that are held back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct HeldBackJson {
    /// Stock number.
    pub item: String,
    /// Pieces held back: they stay in their bin.
    pub held: u32,
    /// Pieces that were to be held back.
    pub wanted: u32,
}

/// Count over outages drawn at random.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LeftCountJson {
    /// Outages drawn.
    pub draws: u32,
    /// Seed of the draws.
    pub seed: u64,
    /// Outages in which all of the pumps are kitted from what the plan leaves.
    pub kitted: u32,
    /// Outages that were not decided; they count as not kitted.
    pub undecided: u32,
    /// The exact binomial interval about the share of those kitted, at 95 %, from 0 to 1, rounded outward: the low end as if
    /// none of the undecided were, the high end as if all were.
    pub interval: [String; 2],
    /// Outages in which all would be kitted if the plan took nothing.
    pub without_plan: u32,
    /// Outages in which the pieces held back alone are enough; absent where none were to be.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub held_alone: Option<u32>,
    /// Pumps counted, each with the outages in which it is kitted.
    pub pumps: Vec<PumpLeftJson>,
    /// Items that the plan takes and of which one more on hand would raise the count most.
    pub used_up: Vec<UsedUpJson>,
}

/// Drawn outages in which a pump is kitted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct PumpLeftJson {
    /// Its tag.
    pub tag: String,
    /// Outages in which it is kitted when as many pumps as possible are.
    pub kitted: u32,
}

/// Item that the plan uses up.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct UsedUpJson {
    /// Stock number.
    pub item: String,
    /// Outages in which all pumps would be kitted if one more piece of it were on hand.
    pub kitted_with_one_more: u32,
}

/// Pump that is not counted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct NotCountedJson {
    /// Its tag.
    pub tag: String,
    /// The reason, in words for people.
    pub why: String,
}

/// Reason that a count was not made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum NotMadeJson {
    /// The search ended first.
    Stopped,
    /// More memory than the run may have would be needed.
    Memory,
    /// The pumps can be kitted in too many ways.
    TooMany,
}

/// Best plan that reopens no more than these bags.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct HoldingJson {
    /// Pumps whose bags it reopens.
    pub reopened: Vec<String>,
    /// Number of pumps served.
    pub served: u32,
    /// Its waste, in the currency.
    pub waste: String,
    /// Whether no plan that reopens as few bags serves more, or as much with less waste.
    pub proven: bool,
}

/// Place of a plan in a running outage.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct OutagePlaceJson {
    /// Name of the outage.
    pub name: String,
    /// Number of the plan in it, from 1.
    pub plan: u32,
    /// Number of the plan that it takes the place of; null for the first.
    pub replaces: Option<u32>,
    /// End of the ledger: number of its last entry and the beginning of its hash.
    pub ledger: String,
    /// Changes from the plan before, by pump.
    pub changes: Vec<ChangeJson>,
}

/// Change of a pump from the plan before.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ChangeJson {
    /// Its tag.
    pub tag: String,
    /// Numbers of its kit, before and after; null where it has none.
    pub kits: [Option<u32>; 2],
    /// Pieces that go out of its kit.
    pub out: Vec<CountJson>,
    /// Pieces that go in.
    pub into: Vec<CountJson>,
    /// The cause, in words for people.
    pub why: String,
    /// Whether its slip and label are to be printed.
    pub print_slip: bool,
    /// Whether its old slip and label are to be torn up.
    pub tear_up_slip: bool,
}

/// Sums over a plan.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct SumsJson {
    /// Number of pumps, without those that are not measured.
    pub pumps: u64,
    /// Number of pumps served.
    pub served: u64,
    /// Pieces in packs and bags, those cut from plates included; without those in bags that stay closed.
    pub pieces: u64,
    /// Pieces issued from the stock.
    pub issued: u64,
    /// Pieces spoiled with their packs.
    pub spoiled: u64,
    /// Plates cut.
    pub plates_cut: u64,
    /// Pieces and plates that go back into the stock.
    pub put_back: u64,
    /// Pieces and plates on hand after.
    pub after: u64,
}

/// A goal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct GoalJson {
    /// Name of the goal.
    pub goal: GoalName,
    /// Priority; only for the goal `served_of_priority`.
    pub priority: Option<u32>,
    /// Value of the plan.
    pub value: String,
    /// Bound: no plan that is as good on the earlier goals does better.
    pub bound: String,
    /// Why the bound was not added up again, where it equals the value and was not: the goal does not count as proven.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub not_added_up: Option<NotAddedUpJson>,
}

/// Reasons why a bound was not added up again.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum NotAddedUpJson {
    /// There is no certificate, or it would be too large.
    NoCertificate,
    /// Groups of pumps share packs that are spoiled once opened, or plates.
    SharedSupplies,
    /// Adding up would take too long.
    TooLarge,
    /// An earlier goal was not added up.
    EarlierGoal,
    /// The certificate does not show it: a defect of the program.
    NotShown,
}

/// A pump.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PumpJson {
    /// Its tag.
    pub tag: String,
    /// Its model.
    pub model: String,
    /// Priority; 1 comes first.
    pub priority: u32,
    /// Whether every requirement is met with the pieces below.
    pub served: bool,
    /// Number of its kit in the outage; absent where it has none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kit: Option<u32>,
    /// Whether its bag from before the plan stays closed: the pieces below are in it, and are not issued again. Absent where
    /// it has none, or where it is to be reopened.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub bag_stays_closed: bool,
    /// Values of the workbooks that the kit was chosen by, by heading, those of its pieces by item; empty when not
    /// served. `recheck` holds the workbooks that it is given against them.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub inputs: BTreeMap<String, String>,
    /// Dimensions to measure again, by their name in the model: their readings lie further apart than their uncertainty
    /// explains.
    pub measure_again: Vec<String>,
    /// True where the sheets say NOT FIT TO ASSEMBLE: no kit, no pieces. False promises no more than the plan does.
    pub not_fit_to_assemble: bool,
    /// The pieces, by the pack's name in the model; empty when not served.
    pub packs: BTreeMap<String, PackJson>,
    /// Crush of each gasket; empty when not served.
    pub crush: Vec<CrushJson>,
    /// The requirements, in the model's order; empty when not served.
    pub requirements: Vec<RequirementJson>,
    /// The consumables of the model, in its order; empty when not served.
    pub bag: Vec<ConsumableJson>,
    /// Reasons, when not served.
    pub short: Vec<ShortJson>,
    /// Ways to cure it, when not served; null where they were not worked out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cures: Option<CuresJson>,
    /// Warnings about the verdicts, when served.
    pub warnings: Vec<VerdictWarningJson>,
}

/// Ways to cure a pump that is short: facts, each for somebody else to decide.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct CuresJson {
    /// The least to buy, with the pieces left over beside it; null where nothing that has a price serves it.
    pub buy: Option<PiecesToBuyJson>,
    /// Pumps whose closed bags hold pieces that would serve it.
    pub bags: Vec<String>,
    /// Other acceptance rules that take its nearest kit.
    pub rules: Vec<String>,
    /// Limits that its nearest kit misses.
    pub moves: Vec<LimitMoveJson>,
}

/// Pieces to buy.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct PiecesToBuyJson {
    /// Pieces by item: whole packs.
    pub pieces: Vec<CountJson>,
    /// Price of all, in the currency.
    pub price: String,
}

/// Limit that a kit misses.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct LimitMoveJson {
    /// Name of the requirement in the model.
    pub requirement: String,
    /// Whether it is the upper limit.
    pub upper: bool,
    /// Distance by which the limit would have to move outwards, rounded up.
    pub by: LengthJson,
}

/// Warning about the verdict of a requirement. Requirements have their names in the model.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum VerdictWarningJson {
    /// Met by the nominal rule, as asked, and not proven in the worst case.
    NominalOnly {
        /// The requirement.
        requirement: String,
    },
    /// Met by the rule, with a chance of conformity below the level.
    ChanceBelowLevel {
        /// The requirement.
        requirement: String,
        /// The chance.
        chance: ChanceJson,
        /// Level: that of the coverage factor under the expanded rule, else 0.95; cut off at six places.
        level: String,
    },
}

/// One consumable in a pump's bag.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ConsumableJson {
    /// Kind of consumable.
    pub kind: String,
    /// Number asked for.
    pub asked: u32,
    /// The fit code asked for; null where the model asks for none or the pump gives none.
    pub fit: Option<String>,
    /// The ring asked for; null where the model does not ask by section.
    pub ring: Option<RingJson>,
    /// Pieces for the bag, by item.
    pub pieces: Vec<CountJson>,
    /// Number of missing pieces.
    pub lacking: u32,
    /// Reason why they are missing; null where none is.
    pub reason: Option<LackJson>,
}

/// A packing ring by its section.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RingJson {
    /// Unit of the lengths below.
    pub unit: String,
    /// The section, exact.
    pub section: String,
    /// Length to cut a ring to, to six places.
    pub ring_length: String,
}

/// Crush of a gasket; for a pack, that of the whole pack under each of its items.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CrushJson {
    /// The requirement's name in the model.
    pub requirement: String,
    /// Stock number.
    pub item: String,
    /// Crush in percent of the free thickness by nominal lengths, rounded to six places.
    pub crush: String,
    /// Least crush that the tolerances of gap and free thickness allow, in percent, rounded down to six places.
    pub least: String,
    /// Greatest crush that they allow, rounded up.
    pub greatest: String,
    /// Compression of its material under the usual test load; null where unknown.
    pub range: Option<RangeJson>,
    /// Position of the crush, least to greatest, relative to the range, judged before rounding; null where unknown.
    pub standing: Option<StandingJson>,
}

/// Range of compression of a material.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RangeJson {
    /// Least, in percent.
    pub least: String,
    /// Most, in percent.
    pub most: String,
}

/// Reasons why consumables of a bag are missing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum LackJson {
    /// The pump sheet gives no fit code in this column.
    NoFitCode {
        /// Heading of the column.
        column: String,
    },
    /// No row of the stock serves it.
    NotStocked,
    /// None is on hand.
    NoneOnHand,
    /// All that are on hand are reserved.
    AllReserved,
    /// All that may be issued are given out.
    AllGivenOut {
        /// Number that may be issued.
        available: u64,
    },
}

impl std::fmt::Display for LackJson {
    /// Plain words for the code, for a line of the log.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            LackJson::NoFitCode { column } => write!(f, "the pump sheet gives no `{column}`"),
            LackJson::NotStocked => f.write_str("no such item is in the stock"),
            LackJson::NoneOnHand => f.write_str("none is on hand"),
            LackJson::AllReserved => f.write_str("all that are on hand are reserved"),
            LackJson::AllGivenOut { available } => {
                write!(f, "{available} free, all used")
            }
        }
    }
}

/// Work left out of a plan; none of it makes the plan worse.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum LeftOutJson {
    /// The first of several equal plans was not determined.
    Order,
    /// The value of one more piece was not calculated for every item.
    WorthOfOneMore,
}

/// Goals of a plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum GoalName {
    /// Sum of the weights of the served pumps.
    ServedWeight,
    /// Pumps served of one priority, where whole numbers cannot hold the weights.
    ServedOfPriority,
    /// Cost of the packs that are bought, in the currency.
    PurchaseCost,
    /// Pieces held back for pumps that are not measured, by the drawn outages in which each is needed.
    HeldBack,
    /// Bags opened again, of those that were packed before.
    BagsReopened,
    /// Waste, in the currency.
    Waste,
    /// Plates cut; of a stock with plates.
    PlatesCut,
    /// Pieces issued.
    Pieces,
    /// Slips that are no longer true, of those of the plan before.
    SlipsChanged,
    /// Scarcity points.
    ScarcityPoints,
}

impl GoalName {
    /// Name of a goal and, where it has one, its priority.
    pub(crate) fn of(aim: Objective) -> (GoalName, Option<u32>) {
        match aim {
            Objective::ServedWeight => (GoalName::ServedWeight, None),
            Objective::ServedOf(priority) => (GoalName::ServedOfPriority, Some(priority)),
            Objective::Purchase => (GoalName::PurchaseCost, None),
            Objective::HeldBack => (GoalName::HeldBack, None),
            Objective::Reopened => (GoalName::BagsReopened, None),
            Objective::Waste => (GoalName::Waste, None),
            Objective::Plates => (GoalName::PlatesCut, None),
            Objective::Pieces => (GoalName::Pieces, None),
            Objective::Slips => (GoalName::SlipsChanged, None),
            Objective::Scarcity => (GoalName::ScarcityPoints, None),
        }
    }
}

/// Position of a gasket's crush relative to the range of its material.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum StandingJson {
    /// Possibly crushed by less than the material's range.
    Below,
    /// Within the range, tolerances in.
    Within,
    /// Possibly crushed by more than the material's range.
    Above,
    /// By less or by more.
    Both,
}

impl From<CrushVerdict> for StandingJson {
    fn from(standing: CrushVerdict) -> StandingJson {
        match standing {
            CrushVerdict::Below => StandingJson::Below,
            CrushVerdict::Within => StandingJson::Within,
            CrushVerdict::Above => StandingJson::Above,
            CrushVerdict::Both => StandingJson::Both,
        }
    }
}

/// An item of the stock.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StockJson {
    /// Stock number.
    pub item: String,
    /// On hand before, without pieces in bags that stay closed.
    pub before: u32,
    /// Issued by this plan.
    pub issued: u32,
    /// Left over of opened packs and spoiled, where the policy spoils them.
    pub spoiled: u32,
    /// Pieces of plates that go back to it.
    #[serde(default)]
    pub put_back: u32,
    /// On hand after.
    pub after: u32,
    /// Value of one more piece on hand; null where it was not calculated.
    pub worth_of_one_more: Option<WorthJson>,
}

/// A lot of sheets.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SheetJson {
    /// Stock number.
    pub item: String,
    /// Sheets on hand before.
    pub before: u32,
    /// Layout of each sheet that is cut.
    pub layouts: Vec<LayoutJson>,
    /// Waste of these sheets: their cost, less that of the pieces cut and of the remnants booked back.
    #[serde(default)]
    pub waste: String,
    /// Lots that go back into the stock: pieces that no kit takes, and remnants where they are booked back.
    #[serde(default)]
    pub put_back: Vec<PutBackJson>,
    /// Whole sheets on hand after.
    pub after: u32,
}

/// Lot that goes back into the stock.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PutBackJson {
    /// Stock number.
    pub item: String,
    /// Sheet of the stock workbook that its row is on.
    pub sheet: SheetName,
    /// Number of pieces, or of sheets.
    pub count: u32,
    /// Its row: headings and contents, On hand left out.
    pub columns: BTreeMap<String, String>,
}

/// Sheets of the stock workbook that have lots.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum SheetName {
    /// Pieces.
    Stock,
    /// Plates.
    Plate,
}

/// Layout of one sheet: strips along one of its sides.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LayoutJson {
    /// Side that the strips run along.
    pub along: LengthJson,
    /// Strips, by the shape cut from them.
    pub strips: Vec<StripsJson>,
}

/// Strips of one shape.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StripsJson {
    /// Fit code of the shape.
    pub fit: String,
    /// Number of strips.
    pub strips: u32,
    /// Number of blanks in each strip.
    pub blanks: u32,
    /// Width of a strip.
    pub width: LengthJson,
}

/// JSON Schema of the format, generated from the types.
pub fn schema() -> Schema {
    schema_for!(PlanJson)
}

impl PlanJson {
    /// The plan with the sums and the hash of its contents: one that a program puts together is read with them.
    #[must_use]
    pub fn sealed(mut self) -> PlanJson {
        self.sums = self.summed();
        self.sha256 = self.hash();
        self
    }

    /// The sums as they follow from pumps, stock and sheets.
    fn summed(&self) -> SumsJson {
        let stock =
            |of: fn(&StockJson) -> u32| self.stock.iter().map(move |item| u64::from(of(item)));
        let back =
            |sheet: &SheetJson| sheet.put_back.iter().map(|lot| u64::from(lot.count)).sum::<u64>();
        let number = |of: usize| narrow::<u64>(of);
        SumsJson {
            pumps: number(self.pumps.len()),
            served: number(self.pumps.iter().filter(|pump| pump.served).count()),
            pieces: self.pieces().map(|(_, count, _)| u64::from(count)).sum(),
            issued: stock(|item| item.issued).sum(),
            spoiled: stock(|item| item.spoiled).sum(),
            plates_cut: self.sheets.iter().map(|sheet| number(sheet.layouts.len())).sum(),
            put_back: self.sheets.iter().map(back).sum::<u64>(),
            after: stock(|item| item.after).sum::<u64>()
                + self.sheets.iter().map(|sheet| u64::from(sheet.after)).sum::<u64>(),
        }
    }

    /// Pieces in packs and bags: item, number, and whether they are cut from a plate. Those in bags that stay closed are
    /// issued already.
    fn pieces(&self) -> impl Iterator<Item = (&str, u32, bool)> {
        let issued = self.pumps.iter().filter(|pump| !pump.bag_stays_closed);
        issued.flat_map(|pump| {
            let packs = pump.packs.values().flat_map(|pack| &pack.pieces);
            let packs = packs.map(|piece| (&*piece.item, piece.count, piece.cut_from.is_some()));
            let bag = pump.bag.iter().flat_map(|share| &share.pieces);
            packs.chain(bag.map(|piece| (&*piece.item, piece.count, false)))
        })
    }

    /// SHA-256 of the document with an empty hash.
    fn hash(&mut self) -> String {
        let carried = std::mem::take(&mut self.sha256);
        let mut hasher = Hasher::default();
        // Neither the values nor the hasher can fail.
        serde_json::to_writer(&mut hasher, self).ok();
        self.sha256 = carried;
        hasher.end()
    }

    /// A difference between the plan and its hash or its sums, if there is one.
    fn difference(&mut self) -> Option<String> {
        let hash = self.hash();
        if hash != self.sha256 {
            return Some(format!("its contents have the SHA-256 {hash}, and it carries another"));
        }
        if self.summed() != self.sums {
            return Some("its sums are not those of its pumps, stock and sheets".into());
        }
        let mut issued: BTreeMap<&str, u64> = BTreeMap::new();
        for (item, count, _) in self.pieces().filter(|(.., cut)| !cut) {
            *issued.entry(item).or_default() += u64::from(count);
        }
        let differs = |item: &&StockJson| {
            let kits = issued.get(&*item.item).copied().unwrap_or_default();
            let gone = u64::from(item.issued) + u64::from(item.spoiled) + u64::from(item.after);
            kits != u64::from(item.issued)
                || gone != u64::from(item.before) + u64::from(item.put_back)
        };
        let item = self.stock.iter().find(differs)?;
        Some(format!("the counts of the item `{}` do not add up", item.item))
    }
}

/// Reasons why a text is not a plan of this format.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotAPlan {
    /// A plan of another version of the format, by its name.
    #[error("the format `{0}`")]
    OtherFormat(String),
    /// Not a plan.
    #[error("not a plan file ({0})")]
    Unreadable(String),
    /// A plan that differs from its own hash or sums.
    #[error("a plan that is not as `gapwright kit` wrote it: {0}")]
    Changed(String),
}

impl NotAPlan {
    /// Advice on how to fix it.
    pub(crate) fn fix(&self) -> &'static str {
        match self {
            NotAPlan::OtherFormat(_) => {
                "make the plan again with this version of gapwright, or give the plan's workbook"
            }
            NotAPlan::Unreadable(_) => {
                "give the plan's workbook, or the JSON that `kit --json` wrote"
            }
            NotAPlan::Changed(_) => {
                "give the file as it was written, or make the plan again; what was taken otherwise \
                 is said on the sheet Issue of the plan's workbook"
            }
        }
    }
}

/// Reads a plan from the bytes of its JSON.
///
/// # Errors
/// [`NotAPlan::OtherFormat`] names another format, also an earlier version; [`NotAPlan::Changed`] is a plan that differs
/// from its own hash or sums; otherwise [`NotAPlan::Unreadable`].
///
/// ```
/// use gapwright::formats::plan::{NotAPlan, parse};
/// for old in ["gapwright.plan.v1", "gapwright.plan.v2", "gapwright.plan.v3"] {
///     let text = format!(r#"{{"format": "{old}", "proven": true}}"#);
///     assert_eq!(parse(text.as_bytes()), Err(NotAPlan::OtherFormat(old.into())));
/// }
/// ```
pub fn parse(bytes: &[u8]) -> Result<PlanJson, NotAPlan> {
    #[derive(Deserialize)]
    struct Named {
        format: String,
    }
    let named: Named = serde_json::from_slice(bytes).map_err(|error| unreadable(&error))?;
    if named.format != FORMAT {
        return Err(NotAPlan::OtherFormat(named.format));
    }
    let mut plan: PlanJson = serde_json::from_slice(bytes).map_err(|error| unreadable(&error))?;
    match plan.difference() {
        Some(difference) => Err(NotAPlan::Changed(difference)),
        None => Ok(plan),
    }
}

/// Where a text stops being a plan; the parser's own words are about its types.
fn unreadable(error: &serde_json::Error) -> NotAPlan {
    let (line, column) = (error.line(), error.column());
    NotAPlan::Unreadable(match error.classify() {
        Category::Eof => format!("the text ends too early, in line {line}"),
        Category::Syntax | Category::Io => format!("no JSON at line {line}, column {column}"),
        Category::Data if line == 0 => "JSON, but not that of a plan".into(),
        Category::Data => {
            format!(
                "something that a plan has not, or not there, before line {line}, column {column}"
            )
        }
    })
}
