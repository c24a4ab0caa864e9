//! Parts that several formats have.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::plan::Stop;
use crate::policy::Acceptance;
use crate::stack::Judgement;

/// A file that the document was made from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct InputJson {
    /// Its use: stock workbook, pump workbook, model, drawing, materials table.
    pub role: String,
    /// File name as the user gave it.
    pub file: String,
    /// SHA-256 of its bytes, in hexadecimal.
    pub sha256: String,
}

/// A pump with a missing reading: nothing is planned for it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct NotMeasuredJson {
    /// Its tag.
    pub tag: String,
    /// Its model.
    pub model: String,
    /// Priority; 1 comes first.
    pub priority: u32,
    /// Headings of the empty cells that readings go into.
    pub waits_for: Vec<String>,
}

/// Number of pieces of one item.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct CountJson {
    /// Stock number.
    pub item: String,
    /// Number of pieces.
    pub count: u32,
}

/// The pieces in one place.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct PackJson {
    /// Nominal total.
    pub total: String,
    /// Unit of the total.
    pub unit: String,
    /// The pieces, thickest first.
    pub pieces: Vec<PieceJson>,
}

/// Pieces of one lot.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct PieceJson {
    /// Stock number.
    pub item: String,
    /// Number of pieces.
    pub count: u32,
    /// Thickness to peel a laminated shim to, in the pack's unit if that is exact and else with a unit of its own;
    /// null for a whole piece.
    pub peeled_to: Option<String>,
    /// Sheet that it is cut from; null for a stock piece.
    pub cut_from: Option<String>,
}

/// A length, exact.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct LengthJson {
    /// The number.
    pub length: String,
    /// Its unit.
    pub unit: String,
}

/// Change that one more piece of an item would make.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct WorthJson {
    /// Increase of the served weight; absent where it rises and whole numbers cannot hold the weights.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub served_weight: Option<i64>,
    /// Change of the waste; a negative number is a saving.
    pub waste: String,
    /// Least that this change can be, where it was not settled exactly.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub waste_at_least: Option<String>,
}

/// Result of a requirement.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct RequirementJson {
    /// Its name in the model.
    pub name: String,
    /// Unit of the lengths below.
    pub unit: String,
    /// Target value. For a gasket fill all lengths are free thicknesses.
    pub target: String,
    /// Lower limit; null where there is none.
    pub lower: Option<String>,
    /// Upper limit; null where there is none.
    pub upper: Option<String>,
    /// Nominal value.
    pub value: String,
    /// Guard: distance kept clear of the limit on the side with the smaller margin.
    pub guard: String,
    /// Smaller of the two margins, guards deducted.
    pub margin: String,
    /// Outcome under the acceptance rule.
    pub verdict: JudgementJson,
    /// Whether it is met: false for `not_proven` as well.
    pub conforms: bool,
}

/// Outcome of a requirement under the acceptance rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum JudgementJson {
    /// The value keeps its guard clear of both limits.
    Met,
    /// The nominal value lies within the limits, but not clear of them by its guard.
    NotProven,
    /// The nominal value lies beyond a limit.
    NotMet,
}

impl From<Judgement> for JudgementJson {
    fn from(judgement: Judgement) -> JudgementJson {
        match judgement {
            Judgement::Met => JudgementJson::Met,
            Judgement::NotProven => JudgementJson::NotProven,
            Judgement::NotMet => JudgementJson::NotMet,
        }
    }
}

/// Reason why a place could not be filled.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ShortJson {
    /// The pack's name in the model; null when no single place is the cause.
    pub pack: Option<String>,
    /// The cause.
    pub cause: CauseJson,
    /// Reachable total nearest to the window.
    pub nearest: Option<LengthJson>,
    /// Totals that meet the requirement.
    pub window: Option<WindowJson>,
}

/// Range of totals of a place that meet the requirement.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct WindowJson {
    /// Unit of the lengths below.
    pub unit: String,
    /// Least total.
    pub least: String,
    /// Greatest total; null where no limit holds it.
    pub most: Option<String>,
    /// Tolerance of the pack below its nominal total, as counted for this window.
    pub minus: String,
    /// Tolerance of the pack above its nominal total.
    pub plus: String,
    /// Packs below it with the totals that were assumed, by the pack's name in the model.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub over: BTreeMap<String, LengthJson>,
}

/// Causes of a place that could not be filled.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum CauseJson {
    /// No piece of the right kind and fit is on hand.
    NoPiece,
    /// Every such piece on hand is reserved.
    AllReserved,
    /// The limits are narrower than the tolerances of the measurements and of the thinnest pack.
    LimitsTooNarrow,
    /// No kit leaves the limits clear of its expanded uncertainty.
    UncertaintyTooWide,
    /// A kit of the pieces that are left has every nominal value within its limits, but is not proven by the rule; it
    /// comes after the cause that keeps the pump from being kitted.
    NotProven {
        /// The pieces, by the pack's name in the model.
        packs: BTreeMap<String, PackJson>,
        /// The requirements, in the model's order.
        requirements: Vec<RequirementJson>,
        /// Chance of conformity of each, in the same order.
        chances: Vec<ChanceJson>,
        /// Improvements of which each alone would prove the kit, the cheapest first; empty where no single one would.
        settle: Vec<ImprovementJson>,
    },
    /// The measured dimensions alone rule it out.
    OutOfReach,
    /// No total lies in the window.
    BetweenTotals,
    /// Each place could be filled by itself, but not all together.
    TogetherTooMany,
    /// Too many ways to fill the places to search for the nearest total.
    TooManyWays,
    /// The kit is held, and does not conform or cannot be made up.
    Held,
    /// The search ended before it came to this pump.
    SearchEnded,
    /// The search was ended before the cause was found.
    NotFoundOut,
    /// The pieces went to other pumps.
    StockGone {
        /// Pieces that the nearest kit is short of.
        lacking: Vec<CountJson>,
        /// Tags of the pumps that have such pieces, the first priority first.
        held_by: Vec<String>,
    },
}

impl std::fmt::Display for CauseJson {
    /// Plain words for the code, for a line of the log.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            CauseJson::NoPiece => "no piece of this fit is on hand",
            CauseJson::AllReserved => "every piece of this fit is reserved",
            CauseJson::LimitsTooNarrow => "the limits are narrower than the tolerances",
            CauseJson::UncertaintyTooWide => "the expanded uncertainty is too wide for the limits",
            CauseJson::NotProven { .. } => "a kit is within its limits, but not proven",
            CauseJson::OutOfReach => "as measured, no piece can bring it within its limits",
            CauseJson::BetweenTotals => "no total of pieces is within the window",
            CauseJson::TogetherTooMany => "its places together need more pieces than are on hand",
            CauseJson::TooManyWays => "no kit meets every requirement",
            CauseJson::Held => "its kit is held, and cannot be had as it is",
            CauseJson::SearchEnded => "the search ended before this pump",
            CauseJson::NotFoundOut => "the search ended before the reason was found",
            CauseJson::StockGone { .. } => "the pieces for it went to other pumps",
        })
    }
}

/// Improvement that would prove a kit. Dimensions have their names in the model.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum ImprovementJson {
    /// More readings of a dimension, if they scatter as those so far.
    MoreReadings {
        /// The dimension.
        dimension: String,
        /// Number of further readings.
        more: u32,
    },
    /// A gauge that reads a dimension to a plus/minus.
    BetterGauge {
        /// The dimension.
        dimension: String,
        /// The plus/minus.
        plus_minus: LengthJson,
    },
    /// A gauge that knows a dimension to a standard uncertainty.
    SmallerUncertainty {
        /// The dimension.
        dimension: String,
        /// The standard uncertainty.
        standard_uncertainty: LengthJson,
    },
    /// Another gauge for all that was measured with one.
    BetterCertificate {
        /// The gauge, as it is named.
        gauge: String,
        /// Expanded uncertainty of a reading by its certificate, k = 2.
        expanded_uncertainty: LengthJson,
    },
    /// Pieces of an item that are each known to a plus/minus.
    BetterLot {
        /// Stock number.
        item: String,
        /// The plus/minus of one piece.
        plus_minus: LengthJson,
    },
}

/// Chance that a requirement is met.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ChanceJson {
    /// Probability of conformity, 0 to 1, cut off at six places, as computed from the law.
    pub conforming: String,
    /// The law.
    pub law: ChanceLawJson,
}

/// Law behind a chance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum ChanceLawJson {
    /// The value is taken as normal.
    Normal,
    /// The value is taken as Student's t; its tails show nothing below 0.001.
    Student {
        /// Effective degrees of freedom.
        degrees_of_freedom: u32,
    },
    /// Counted over draws; none of n that misses shows no more than 1 - 3/n.
    Draws {
        /// Number of draws.
        draws: u64,
    },
}

/// Causes that end a search early.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum StoppedBy {
    /// The time limit of the policy.
    TimeLimit,
    /// The user's interrupt.
    Interrupt,
    /// The memory that the run may take.
    Memory,
    /// The work that the time limit stands for, so that a loaded machine gives the same plan.
    WorkLimit,
}

impl From<Stop> for StoppedBy {
    fn from(stop: Stop) -> StoppedBy {
        match stop {
            Stop::TimeLimit => StoppedBy::TimeLimit,
            Stop::Interrupt => StoppedBy::Interrupt,
            Stop::Memory => StoppedBy::Memory,
            Stop::Work => StoppedBy::WorkLimit,
        }
    }
}

/// The rule by which a requirement counts as met.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum AcceptanceJson {
    /// The nominal value lies within the limits.
    Nominal,
    /// Every value that the tolerances allow lies within the limits.
    WorstCase,
    /// The nominal value keeps its expanded uncertainty clear of the limits.
    Expanded,
}

impl From<Acceptance> for AcceptanceJson {
    fn from(rule: Acceptance) -> AcceptanceJson {
        match rule {
            Acceptance::Nominal => AcceptanceJson::Nominal,
            Acceptance::WorstCase => AcceptanceJson::WorstCase,
            Acceptance::Expanded => AcceptanceJson::Expanded,
        }
    }
}
