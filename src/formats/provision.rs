//! The pieces to set aside as JSON, format `gapwright.provision.v3`.
//!
//! Lengths and money are decimal strings, so that nothing is lost. A length is given in its
//! model's unit wherever that is exact, and otherwise in millimetres, which always are.
//!
//! Version 1 had sentences for warnings, and words for states. In version 2 the scenarios wanted had no margin, and a
//! measured pump that is not fit made every scenario count as not served. Nothing reads either.

use std::collections::BTreeMap;

use schemars::{JsonSchema, Schema, schema_for};
use serde::{Deserialize, Serialize};

use super::common::{AcceptanceJson, CountJson, InputJson, LengthJson, PackJson, StoppedBy};

/// The name of the format.
pub const FORMAT: &str = "gapwright.provision.v3";

/// Pieces to set aside before an outage.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProvisionJson {
    /// Always `gapwright.provision.v3`.
    pub format: String,
    /// The cause that ended the work early; null if there was none.
    pub stopped_by: Option<StoppedBy>,
    /// The acceptance rule.
    pub acceptance: AcceptanceJson,
    /// The currency, as the policy calls it.
    pub currency: String,
    /// The question.
    pub question: QuestionJson,
    /// All safe kits at once.
    pub safe_kits: TogetherJson,
    /// For all pumps together.
    pub trolley: TrolleyJson,
    /// How often the trolley serves every pump.
    pub service: ServiceJson,
    /// Pumps that are measured and that no pieces in stock fit: left out of the trolley and of its count.
    pub left_out: Vec<String>,
    /// Doubts about the answer.
    pub warnings: Vec<WarningJson>,
    /// The pumps, in the order of the pump workbook.
    pub pumps: Vec<ForecastPumpJson>,
    /// The files that it was made from.
    pub inputs: Vec<InputJson>,
}

/// The question.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct QuestionJson {
    /// Values are looked at this far apart.
    pub step: String,
    /// The unit of the step.
    pub step_unit: String,
    /// How likely the trolley shall serve the whole batch, 0 to 1.
    pub probability: String,
    /// Scenarios that the trolley was chosen for.
    pub scenarios: u32,
    /// Scenarios that its service was counted on.
    pub checks: u32,
    /// The seed of both.
    pub seed: u64,
    /// The level of the interval about the service, 0 to 1.
    pub interval_level: String,
    /// The level of the ranges that past readings gave, 0 to 1.
    pub range_level: String,
}

/// A doubt about the answer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum WarningJson {
    /// Values more than a fifth of a requirement's width apart: between two of them may well lie a gap,
    /// or one that asks for other pieces.
    LongSteps {
        /// The tags of the pumps.
        pumps: Vec<String>,
        /// The width of the narrowest such requirement.
        narrowest: LengthJson,
    },
    /// Items that could be set aside and cost nothing, as the stock has no unit cost for them, or 0.
    CountedAsFree {
        /// Their stock numbers.
        items: Vec<String>,
    },
}

/// All safe kits at once.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TogetherJson {
    /// Their cost.
    pub cost: String,
    /// How many pieces they are.
    pub count: u32,
    /// The pieces of all of them.
    pub pieces: Vec<CountJson>,
    /// Whether they can all be set aside at once, in the drawers and out of the sheets.
    pub fits: bool,
    /// The pieces that the drawers lack for that.
    pub missing: Vec<CountJson>,
    /// The sheets of which there are too few, unless several shapes are cut from one.
    pub missing_plates: Vec<String>,
}

/// The pieces for all pumps together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TrolleyJson {
    /// Their cost.
    pub cost: String,
    /// Nothing that serves as many of its scenarios costs less.
    pub bound: String,
    /// Whether cost and bound meet, and what was asked for is not missed.
    pub proven: bool,
    /// Whether it falls short of what was asked for: too few of the scenarios that it was chosen for
    /// are served, or that is out of reach whatever is set aside.
    pub falls_short: bool,
    /// How many pieces they are.
    pub count: u32,
    /// The pieces.
    pub pieces: Vec<TrolleyPieceJson>,
    /// How many scenarios had to be served for the probability.
    pub required: u32,
    /// How many it was chosen to serve: with a margin.
    pub wanted: u32,
    /// How many scenarios it was chosen for.
    pub scenarios: u32,
    /// The cost without the margin: for the probability on the scenarios that it was chosen for, which it keeps less
    /// often on others.
    pub plain_cost: String,
    /// How many of those that it was chosen for are served; no measure of its service.
    pub served: u32,
    /// In how many of them every pump but those in a gap is served; those served are among them.
    pub served_except_gaps: u32,
    /// Those in which some pump comes to a value in a gap.
    pub hopeless: u32,
    /// The sheets of which there are too few, unless several shapes are cut from one.
    pub missing_plates: Vec<String>,
}

/// Pieces of one item on the trolley.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TrolleyPieceJson {
    /// Stock number.
    pub item: String,
    /// How many are set aside.
    pub count: u32,
    /// How many may be issued: on hand less reserved.
    pub available: u32,
    /// How many of those stay in the drawer.
    pub stays: u32,
    /// The cost of one.
    pub unit_cost: String,
}

/// How often the trolley serves every pump.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ServiceJson {
    /// Scenarios counted, other than those that it was chosen for.
    pub checks: u32,
    /// Those in which every pump is served.
    pub served: u32,
    /// Their share, 0 to 1.
    pub share: f64,
    /// The exact binomial interval about the share: the low end as if none of those that were not
    /// found out were served, the high end as if all of them were.
    pub interval: [f64; 2],
    /// Those in which every pump but those in a gap is served; those served are among them.
    pub served_except_gaps: u32,
    /// Those in which every pump is served if they are kitted one after the other, in the order of the pump workbook.
    pub in_turn: u32,
    /// The exact binomial interval about the share of those.
    pub in_turn_interval: [f64; 2],
    /// The exact binomial interval about the share of scenarios without a gap: none serves more.
    pub reachable: [f64; 2],
    /// Whether the probability is out of reach whatever is set aside: the whole of that lies below it.
    pub out_of_reach: bool,
    /// Those in which some pump comes to a value in a gap.
    pub hopeless: u32,
    /// Those of which it was not found out; they count as not served.
    pub undecided: u32,
    /// Whether the whole interval holds the probability asked for.
    pub standing: ServiceStanding,
}

/// How a service that was counted stands to the probability that was asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ServiceStanding {
    /// The whole interval holds it.
    Met,
    /// The interval lies on both sides of it.
    Open,
    /// The whole interval lies below it, it is out of reach, or the trolley falls short.
    NotMet,
}

/// One pump.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ForecastPumpJson {
    /// Its tag.
    pub tag: String,
    /// Its model.
    pub model: String,
    /// The dimensions that are not measured yet.
    pub expected: Vec<ExpectedJson>,
    /// How many values it was looked at; 1 where everything is measured.
    pub values: u64,
    /// Whether these lie more than a fifth of a requirement's width apart.
    pub coarse: bool,
    /// Number of them that no pieces in stock fit.
    pub gaps: u64,
    /// In how many of the scenarios counted the trolley has no kit for it.
    pub missed: u32,
    /// Its safe kit.
    pub safe_kit: SafeKitJson,
    /// The pieces to take out of the safe kit, value by value, values that are met alike together.
    pub take: Vec<RunJson>,
}

/// A dimension that is expected, not measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ExpectedJson {
    /// The dimension's name in the model.
    pub dimension: String,
    /// The unit of the lengths below.
    pub unit: String,
    /// The least that is expected.
    pub low: String,
    /// The greatest.
    pub high: String,
    /// How likely each value is.
    pub law: LawJson,
}

/// How likely the values of a range are.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum LawJson {
    /// Every value that is looked at alike.
    Even,
    /// As past readings say.
    Readings {
        /// Their mean, in the unit of the range.
        mean: String,
        /// Their sample standard deviation in that unit, rounded.
        deviation: f64,
        /// How many they are.
        readings: u32,
    },
}

/// A safe kit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SafeKitJson {
    /// Its cost.
    pub cost: String,
    /// Nothing that does the same costs less.
    pub bound: String,
    /// Whether it is proven least: in cost, and among those in pieces.
    pub proven: bool,
    /// How many pieces it has.
    pub count: u32,
    /// The pieces.
    pub pieces: Vec<CountJson>,
}

/// Values that are met alike.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RunJson {
    /// From where to where each dimension that is not measured goes, by its name in the model; both
    /// ends count.
    pub ranges: BTreeMap<String, ValueRangeJson>,
    /// How many values these are.
    pub values: u64,
    /// The pieces to take, by the pack's name in the model; null is a gap: nothing in the drawers
    /// will do.
    pub packs: Option<BTreeMap<String, PackJson>>,
}

/// A range of lengths.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ValueRangeJson {
    /// The unit of both.
    pub unit: String,
    /// The first value.
    pub from: String,
    /// The last value.
    pub to: String,
}

/// The JSON Schema of the format, generated from the types.
pub fn schema() -> Schema {
    schema_for!(ProvisionJson)
}
