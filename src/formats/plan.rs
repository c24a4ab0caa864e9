//! The plan as JSON, format `gapwright.plan.v2`.
//!
//! Lengths and money are decimal strings, so that nothing is lost. A length is given in its
//! model's unit wherever that is exact, and otherwise in millimetres, which always are. States and
//! reasons are codes; sentences stand on the sheets that people read.
//!
//! Version 1 had sentences in the places of causes, reasons and layouts; it is refused by its name.

use std::collections::BTreeMap;

use schemars::{JsonSchema, Schema, schema_for};
use serde::{Deserialize, Serialize};

use super::common::{
    CountJson, InputJson, LengthJson, PackJson, RequirementJson, ShortJson, StoppedBy, WorthJson,
};
use crate::crush::Standing;
use crate::plan::Aim;

/// The name of the format.
pub const FORMAT: &str = "gapwright.plan.v2";

/// A plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PlanJson {
    /// Always `gapwright.plan.v2`.
    pub format: String,
    /// Whether every goal is proven.
    pub proven: bool,
    /// Why the search ended early, if it did.
    pub stopped_by: Option<StoppedBy>,
    /// What the time did not suffice for after the goals; absent where that is nothing.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub left_out: Vec<LeftOutJson>,
    /// The acceptance rule.
    pub acceptance: String,
    /// Sum of the weights of the served pumps; absent when whole numbers cannot carry the weights.
    pub served_weight: Option<i64>,
    /// No plan has more.
    pub served_weight_bound: Option<i64>,
    /// Waste of the plan, in the currency.
    pub waste: String,
    /// No plan that serves as much has less.
    pub waste_bound: String,
    /// What the money is called.
    pub currency: String,
    /// Every goal in its order, with its bound.
    pub goals: Vec<GoalJson>,
    /// The pumps, in the order of the pump workbook.
    pub pumps: Vec<PumpJson>,
    /// The stock, in the order of the stock workbook.
    pub stock: Vec<StockJson>,
    /// The sheets that pieces are cut from, in the order of the stock workbook.
    pub sheets: Vec<SheetJson>,
    /// The files that the plan was made from.
    #[serde(default)]
    pub inputs: Vec<InputJson>,
}

/// One goal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct GoalJson {
    /// Which.
    pub goal: GoalName,
    /// The priority, of the goal `served_of_priority` alone.
    pub priority: Option<u32>,
    /// The plan's value.
    pub value: String,
    /// No plan that is as good on the earlier goals does better.
    pub bound: String,
}

/// One pump.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PumpJson {
    /// Its tag.
    pub tag: String,
    /// Its model.
    pub model: String,
    /// 1 comes first.
    pub priority: u32,
    /// Whether every requirement is met with the pieces below.
    pub served: bool,
    /// The pieces, by the pack's name in the model; empty when not served.
    pub packs: BTreeMap<String, PackJson>,
    /// How far each gasket is crushed; empty when not served.
    pub crush: Vec<CrushJson>,
    /// The requirements, in the model's order; empty when not served.
    pub requirements: Vec<RequirementJson>,
    /// The consumables of the model, in its order; empty when not served.
    pub bag: Vec<ConsumableJson>,
    /// Why not, when not served.
    pub short: Vec<ShortJson>,
}

/// What goes into a pump's bag of one consumable.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ConsumableJson {
    /// What it is.
    pub kind: String,
    /// How many are asked for.
    pub asked: u32,
    /// The fit code asked for; null where the model asks for none or the pump gives none.
    pub fit: Option<String>,
    /// The ring asked for; null where the model does not ask by section.
    pub ring: Option<RingJson>,
    /// What goes into the bag, by item.
    pub pieces: Vec<CountJson>,
    /// How many are missing.
    pub lacking: u32,
    /// Why they are missing; null where none is.
    pub reason: Option<LackJson>,
}

/// A packing ring by its section.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RingJson {
    /// The unit of the lengths below.
    pub unit: String,
    /// The section, exact.
    pub section: String,
    /// The length to cut a ring to, to six places.
    pub ring_length: String,
}

/// How far a gasket is crushed, by nominal lengths; that of a pack as a whole for each of its
/// items.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CrushJson {
    /// The requirement's name in the model.
    pub requirement: String,
    /// Stock number.
    pub item: String,
    /// By how many percent of its free thickness, rounded to six places.
    pub crush: String,
    /// What its material gives way under its usual test load; null where that is not known.
    pub range: Option<RangeJson>,
    /// Where it lies beside the range, judged before rounding; null where that is not known.
    pub standing: Option<StandingJson>,
}

/// What a material gives way.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RangeJson {
    /// Least, in percent.
    pub least: String,
    /// Most, in percent.
    pub most: String,
}

/// Why consumables of a bag are missing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum LackJson {
    /// The pump sheet gives no fit code in this column.
    NoFitCode {
        /// The heading of the column.
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
        /// How many may be issued.
        available: u64,
    },
}

impl std::fmt::Display for LackJson {
    /// The code in plain words, for a line of the log.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            LackJson::NoFitCode { column } => write!(f, "the pump sheet gives no `{column}`"),
            LackJson::NotStocked => f.write_str("no such item is in the stock"),
            LackJson::NoneOnHand => f.write_str("none is on hand"),
            LackJson::AllReserved => f.write_str("all that are on hand are reserved"),
            LackJson::AllGivenOut { available } => {
                write!(f, "all {available} that may be issued are given out")
            }
        }
    }
}

/// What a plan goes without; none of it makes the plan worse.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum LeftOutJson {
    /// Which of several equal plans comes first was not settled.
    Order,
    /// The worth of one more was not worked out for every item.
    WorthOfOneMore,
}

/// The goals of a plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum GoalName {
    /// Sum of the weights of the served pumps.
    ServedWeight,
    /// Pumps served of one priority, where whole numbers cannot carry the weights.
    ServedOfPriority,
    /// Cost of the packs that are bought, in the currency.
    PurchaseCost,
    /// Waste, in the currency.
    Waste,
    /// Pieces issued.
    Pieces,
    /// Scarcity points.
    ScarcityPoints,
}

impl GoalName {
    /// The name of a goal and, where it has one, its priority.
    pub(crate) fn of(aim: Aim) -> (GoalName, Option<u32>) {
        match aim {
            Aim::ServedWeight => (GoalName::ServedWeight, None),
            Aim::ServedOf(priority) => (GoalName::ServedOfPriority, Some(priority)),
            Aim::Purchase => (GoalName::PurchaseCost, None),
            Aim::Waste => (GoalName::Waste, None),
            Aim::Pieces => (GoalName::Pieces, None),
            Aim::Scarcity => (GoalName::ScarcityPoints, None),
        }
    }
}

/// Where a gasket's crush lies beside the range of its material.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum StandingJson {
    /// Crushed by less than the material gives way.
    Below,
    /// Within.
    Within,
    /// Crushed by more than the material gives way.
    Above,
}

impl From<Standing> for StandingJson {
    fn from(standing: Standing) -> StandingJson {
        match standing {
            Standing::Below => StandingJson::Below,
            Standing::Within => StandingJson::Within,
            Standing::Above => StandingJson::Above,
        }
    }
}

/// One item of the stock.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StockJson {
    /// Stock number.
    pub item: String,
    /// On hand before.
    pub before: u32,
    /// Issued by this plan.
    pub issued: u32,
    /// Left over of opened packs and spoiled, where the policy says so.
    pub spoiled: u32,
    /// On hand after.
    pub after: u32,
    /// What one more on hand would have been worth; null where that was not worked out.
    pub worth_of_one_more: Option<WorthJson>,
}

/// One lot of sheets.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SheetJson {
    /// Stock number.
    pub item: String,
    /// Sheets on hand before.
    pub before: u32,
    /// How each sheet that is cut is cut up.
    pub layouts: Vec<LayoutJson>,
    /// Whole sheets on hand after.
    pub after: u32,
}

/// How one sheet is cut up: in strips along one of its sides.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LayoutJson {
    /// The side that the strips run along.
    pub along: LengthJson,
    /// The strips, by the shape that they carry.
    pub strips: Vec<StripsJson>,
}

/// Strips of one shape.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StripsJson {
    /// The fit code of the shape.
    pub fit: String,
    /// How many strips.
    pub strips: u32,
    /// How many blanks each strip carries.
    pub blanks: u32,
    /// The width of a strip.
    pub width: LengthJson,
}

/// The JSON Schema of the format, generated from the types.
pub fn schema() -> Schema {
    schema_for!(PlanJson)
}

/// Why a text is not a plan of this format.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotAPlan {
    /// A plan of another version of the format, by its name.
    #[error("the format `{0}`")]
    OtherFormat(String),
    /// No plan at all.
    #[error("what is no plan ({0})")]
    Unreadable(String),
}

impl NotAPlan {
    /// How to put it right.
    pub(crate) fn mend(&self) -> &'static str {
        match self {
            NotAPlan::OtherFormat(_) => {
                "make the plan again with this version of gapwright, or give the plan's workbook"
            }
            NotAPlan::Unreadable(_) => {
                "name the plan's workbook, or the file that `kit --json` wrote"
            }
        }
    }
}

/// Reads a plan from the bytes of its JSON.
///
/// # Errors
/// [`NotAPlan::OtherFormat`] names another format, also one of an earlier version; [`NotAPlan::Unreadable`].
///
/// ```
/// use gapwright::formats::plan::{NotAPlan, parse};
/// let old = br#"{"format": "gapwright.plan.v1", "proven": true}"#;
/// assert_eq!(parse(old), Err(NotAPlan::OtherFormat("gapwright.plan.v1".into())));
/// ```
pub fn parse(bytes: &[u8]) -> Result<PlanJson, NotAPlan> {
    #[derive(Deserialize)]
    struct Named {
        format: String,
    }
    let unreadable = |error: serde_json::Error| NotAPlan::Unreadable(error.to_string());
    let named: Named = serde_json::from_slice(bytes).map_err(unreadable)?;
    match named.format == FORMAT {
        true => serde_json::from_slice(bytes).map_err(unreadable),
        false => Err(NotAPlan::OtherFormat(named.format)),
    }
}
