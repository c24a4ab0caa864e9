//! Stack-ups as JSON, format `gapwright.stack.v1`: every figure of each pump and requirement.
//!
//! Lengths that decide a verdict are exact decimal strings. Figures of the uncertainty are numbers, in the unit of
//! their pump.

use std::collections::BTreeMap;

use schemars::{JsonSchema, Schema, schema_for};
use serde::{Deserialize, Serialize};

use super::common::{
    AcceptanceJson, InputJson, JudgementJson, PackJson, RequirementJson, ShortJson,
};
use super::plan::CrushJson;

/// Name of the format.
pub const FORMAT: &str = "gapwright.stack.v1";

/// Stack-ups of pumps.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StackJson {
    /// Always `gapwright.stack.v1`.
    pub format: String,
    /// The acceptance rule.
    pub acceptance: AcceptanceJson,
    /// The coverage factor, or the level of confidence that it follows from.
    pub coverage: CoverageJson,
    /// Whether every requirement of every pump is met: false if a pump is not fit to assemble.
    pub conforms: bool,
    /// Number of requirements of the pumps with pieces.
    pub requirements: u32,
    /// Number of them that are met.
    pub met: u32,
    /// Pumps with pieces.
    pub pumps: Vec<StackPumpJson>,
    /// Pumps without pieces.
    pub not_fit: Vec<NotFitJson>,
    /// Files that it was made from.
    pub inputs: Vec<InputJson>,
}

/// Coverage factor in force.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum CoverageJson {
    /// Factor that was given.
    Factor {
        /// The factor.
        factor: String,
    },
    /// Level of confidence that was given, 0 to 1.
    Level {
        /// The level.
        level: String,
    },
}

/// Stack-up of one pump.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StackPumpJson {
    /// Its tag.
    pub tag: String,
    /// Its model.
    pub model: String,
    /// Unit of all numbers below that are lengths.
    pub unit: String,
    /// Pieces, by the pack's name in the model.
    pub packs: BTreeMap<String, PackJson>,
    /// Contributors, in the order that the requirements refer to.
    pub contributors: Vec<ContributorJson>,
    /// Errors that several contributors share.
    pub shared: Vec<SharedJson>,
    /// Pairs of contributors with correlated errors.
    pub correlations: Vec<CorrelationJson>,
    /// Requirements.
    pub requirements: Vec<StackRequirementJson>,
    /// Crush of its gaskets.
    pub crush: Vec<CrushJson>,
    /// Sweeps that were asked for.
    pub sweeps: Vec<SweepJson>,
    /// Maps that were asked for.
    pub maps: Vec<MapJson>,
}

/// Dimension, growth, or pieces of one lot in a place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ContributorJson {
    /// Kind of contributor.
    pub kind: ContributorKind,
    /// Name in the model of the dimension, the growth or the place.
    pub name: String,
    /// Label for people.
    pub label: String,
    /// Stock number of a piece; null otherwise.
    pub item: Option<String>,
    /// Number of pieces, 1 for the others.
    pub count: u32,
    /// Unit of the exact lengths below.
    pub unit: String,
    /// Nominal length of one piece, or the mean of the readings.
    pub nominal: String,
    /// Tolerance below it.
    pub minus: String,
    /// Tolerance above it.
    pub plus: String,
    /// Readings, where there are several.
    pub readings: Vec<f64>,
    /// Source of the standard uncertainty.
    pub known_by: KnownBy,
    /// Standard uncertainty of one piece about the middle of its tolerance.
    pub standard_uncertainty: f64,
    /// Degrees of freedom of it; null where it is taken as exactly known.
    pub degrees_of_freedom: Option<u32>,
    /// Source of its tolerance, for people: a cell, a key of the model, a material, a certificate.
    pub from: String,
    /// Share of its tolerance that is common to the pieces of its lot, 0 to 1; null where that is not known, so that a
    /// common error may only widen, and for what is no piece.
    pub alike: Option<String>,
}

/// Error that enters through several contributors, one and the same in all: of a lot's mean, of a gauge.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SharedJson {
    /// Label for people.
    pub label: String,
    /// Contributors that it enters through, by their places in `contributors`.
    pub members: Vec<u32>,
    /// Standard uncertainty, in the unit of the pump.
    pub standard_uncertainty: f64,
    /// Range either way in the worst case.
    pub worst_case: f64,
    /// Degrees of freedom of the standard uncertainty; null where it is taken as exactly known.
    pub degrees_of_freedom: Option<u32>,
    /// Source of it, for people.
    pub from: String,
}

/// Kinds of contributor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ContributorKind {
    /// Measured dimension.
    Dimension,
    /// Thermal growth.
    Growth,
    /// Product or quotient of two dimensions.
    Derived,
    /// Pieces of one lot in a place.
    Pieces,
}

/// Sources of a standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum KnownBy {
    /// Plus/minus, equally likely everywhere.
    Rectangular,
    /// Plus/minus, likelier towards the middle.
    Triangular,
    /// Plus/minus of two standard deviations.
    Normal,
    /// Plus/minus, likelier towards both ends.
    UShaped,
    /// Plus/minus, equally likely in the middle and less so towards the ends.
    Trapezoid,
    /// Plus/minus at which a normal distribution is cut off.
    TruncatedNormal,
    /// Standard uncertainty as stated.
    Stated,
    /// Scatter of the readings and resolution of the gauge.
    Readings,
    /// Product of length, expansion and temperature difference.
    Growth,
    /// Errors of the two dimensions that it is worked out of.
    Derived,
}

/// Pair of contributors with correlated errors.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CorrelationJson {
    /// The two, by their places in `contributors`.
    pub between: [u32; 2],
    /// Correlation coefficient, -1 to 1.
    pub coefficient: String,
}

/// Stack-up of one requirement.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StackRequirementJson {
    /// Label for people.
    pub label: String,
    /// Exact value, limits, guard and margin under the acceptance rule, and the verdict.
    pub result: RequirementJson,
    /// Figures at the lower limit; null without one.
    pub lower: Option<SideJson>,
    /// Figures at the upper limit; null without one.
    pub upper: Option<SideJson>,
    /// Probability of conformity, if the value is distributed normally or as Student's t.
    pub conforming: f64,
    /// Gap of a gasket; null for a linear requirement.
    pub gap: Option<f64>,
    /// Allowance that the gasket reaches on it, free thickness / gap - 1.
    pub allowance: Option<f64>,
    /// Contributors of this requirement, the largest in the worst case first.
    pub contributions: Vec<ContributionJson>,
    /// Draws at random; null where there are none.
    pub draws: Option<DrawsJson>,
    /// Reason that there are no draws.
    pub undrawn: Option<UndrawnJson>,
}

/// Figures at one limit, in the unit of the pump.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SideJson {
    /// Limit, on the scale of the value.
    pub limit: f64,
    /// Worst case towards the limit.
    pub worst_case: f64,
    /// Root sum square of the half-widths.
    pub root_sum_square: f64,
    /// Distance of the middle of the tolerances from the nominal value, towards the limit.
    pub middle: f64,
    /// Combined standard uncertainty.
    pub combined: f64,
    /// Effective degrees of freedom; null if infinite.
    pub degrees_of_freedom: Option<f64>,
    /// Coverage factor.
    pub factor: f64,
    /// Level of confidence of that factor.
    pub level: f64,
    /// Expanded uncertainty.
    pub expanded: f64,
    /// Margin of the nominal value.
    pub margin_nominal: f64,
    /// Margin in the worst case.
    pub margin_worst_case: f64,
    /// Margin by the expanded uncertainty.
    pub margin_expanded: f64,
    /// Margin by the root sum square.
    pub margin_root_sum_square: f64,
    /// Probability beyond the limit, as in `conforming`.
    pub beyond: f64,
}

/// Figures of one contributor to a requirement.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ContributionJson {
    /// The contributor, by its place in `contributors`.
    pub contributor: u32,
    /// Sensitivity of the value.
    pub sensitivity: f64,
    /// Sensitivity of the gap that the value is compared with.
    pub in_gap: f64,
    /// Sensitivity at the lower limit and at the upper one.
    pub at: [f64; 2],
    /// Worst-case move of the value down and up, neither negative.
    pub moves: [f64; 2],
    /// Part of the squared combined standard uncertainty at either limit.
    pub variance: [f64; 2],
    /// Share of the sum of all worst-case moves.
    pub share_of_worst_case: f64,
    /// Share of the squared combined standard uncertainty.
    pub share_of_variance: f64,
    /// Largest minus that one piece may have, all else unchanged; null where there is none, or no limit to it.
    pub largest_minus: Option<f64>,
    /// Largest plus, likewise.
    pub largest_plus: Option<f64>,
    /// Largest standard uncertainty, likewise; null as well where it would change the coverage factor.
    pub largest_standard_uncertainty: Option<f64>,
}

/// Outcome of the draws at random of a requirement: lengths in the unit of the pump, or allowances.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DrawsJson {
    /// Number of draws.
    pub draws: u64,
    /// Draws without a value.
    pub without_value: u64,
    /// Mean.
    pub mean: f64,
    /// Standard uncertainty.
    pub standard_uncertainty: f64,
    /// Interval with equal probability left out on each side; null where an end is infinite.
    pub symmetric: [Option<f64>; 2],
    /// Shortest interval.
    pub shortest: [Option<f64>; 2],
    /// Share of the draws within the limits; null without limits.
    pub conforming: Option<f64>,
    /// Share below the lower limit.
    pub below: Option<f64>,
    /// Share above the upper limit.
    pub above: Option<f64>,
    /// Whether the draws are enough for two digits of the standard uncertainty.
    pub settled: bool,
}

/// Reasons that a requirement was not drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum UndrawnJson {
    /// A dimension has too few readings for a distribution with a standard deviation.
    FewReadings,
    /// The distributions or the number of draws do not allow it.
    Impossible,
}

/// Pump without pieces.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NotFitJson {
    /// Its tag.
    pub tag: String,
    /// Its model.
    pub model: String,
    /// Reasons; empty where they are not known.
    pub short: Vec<ShortJson>,
    /// Pieces of the nearest kit out of what is left, by the pack's name in the model; null where there is none.
    pub nearest: Option<BTreeMap<String, PackJson>>,
    /// Results of the requirements with those pieces.
    pub requirements: Vec<RequirementJson>,
}

/// Value of a quantity that is varied.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct SettingJson {
    /// The value, exact.
    pub value: String,
    /// Its unit, if it is a length.
    pub unit: Option<String>,
}

/// Sweep of one quantity.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SweepJson {
    /// Label of the quantity.
    pub quantity: String,
    /// Whether the pieces are chosen again at every step, for this pump alone.
    pub chosen_again: bool,
    /// Tolerance that each piece was given, minus and plus, where their number is varied.
    pub given: Option<[SettingJson; 2]>,
    /// Result of each step.
    pub points: Vec<SweepPointJson>,
    /// Turns of a verdict.
    pub crossings: Vec<CrossingJson>,
}

/// Result of one step of a sweep.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SweepPointJson {
    /// Value of the quantity.
    pub setting: SettingJson,
    /// Pieces, by the pack's name in the model, where they are chosen again; null where there is no kit.
    pub packs: Option<BTreeMap<String, PackJson>>,
    /// Results of the requirements.
    pub requirements: Vec<RequirementJson>,
    /// Reason that it could not be worked out; null where it was, or where there is just no kit.
    pub fault: Option<StepFaultJson>,
}

/// Turn of a verdict between two values next to each other.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CrossingJson {
    /// Name of the requirement in the model; null where the pump has a kit on one side only, its pieces chosen again.
    pub requirement: Option<String>,
    /// Last value at which it is met.
    pub met: SettingJson,
    /// Next value, at which it is not met.
    pub not_met: SettingJson,
    /// Verdict there.
    pub verdict: JudgementJson,
    /// Kit that would be chosen there; null where that was not asked for.
    pub beyond: Option<SweepPointJson>,
}

/// Reasons that a step cannot be worked out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum StepFaultJson {
    /// Limits or a target that contradict each other.
    Contradiction,
    /// Another place takes the same pieces.
    SharedPieces,
    /// The place has no pieces.
    NoPieces,
    /// The total follows from the pieces chosen.
    ChosenTotal,
    /// The value is of the wrong kind.
    WrongKind,
    /// The time ended before its pieces were proven best.
    NotProven,
}

/// Map of two quantities.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MapJson {
    /// Labels of the quantities: down the rows, across the columns.
    pub quantities: [String; 2],
    /// Values down the rows.
    pub down: Vec<SettingJson>,
    /// Values across the columns.
    pub across: Vec<SettingJson>,
    /// Results of the requirements in each cell, row by row; null where it cannot be worked out.
    pub cells: Vec<Vec<Option<Vec<MapCellJson>>>>,
    /// Borders of the met part.
    pub borders: Vec<BorderJson>,
}

/// Result of a requirement in a cell of a map.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MapCellJson {
    /// Smaller margin under the acceptance rule, in the unit of the pump.
    pub margin: f64,
    /// Outcome under the acceptance rule.
    pub verdict: JudgementJson,
}

/// Border of the part of a map where a requirement is met.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BorderJson {
    /// Name of the requirement in the model.
    pub requirement: String,
    /// Per column the least and the greatest value down the rows at which it is met; null where there is none.
    pub ends: Vec<Option<[SettingJson; 2]>>,
}

/// JSON Schema of the format, generated from the types.
pub fn schema() -> Schema {
    schema_for!(StackJson)
}
