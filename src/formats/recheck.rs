//! The record of a recheck as JSON, format `gapwright.recheck.v4`.
//!
//! Lengths are decimal strings: in the unit of the pump's model wherever that is exact. Those of a requirement are
//! otherwise in millimetres, which always are; those of a reading otherwise have six places.
//!
//! Version 1 had sentences for what is to be done, and words for decisions; version 2 had no third verdict and did not say
//! NOT FIT TO ASSEMBLE. Nothing reads them.

use schemars::{JsonSchema, Schema, schema_for};
use serde::{Deserialize, Serialize};

use super::common::{AcceptanceJson, LengthJson, RequirementJson};

/// The name of the format.
pub const FORMAT: &str = "gapwright.recheck.v4";

/// The record of an outage whose readings came back.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RecheckJson {
    /// Always `gapwright.recheck.v4`.
    pub format: String,
    /// The id of the plan whose kits were fitted.
    pub plan: String,
    /// The acceptance rule.
    pub acceptance: AcceptanceJson,
    /// The pumps, in the order of the pump workbook.
    pub pumps: Vec<RecheckedPumpJson>,
}

/// One pump.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RecheckedPumpJson {
    /// Its tag.
    pub tag: String,
    /// The decision.
    pub decision: DecisionJson,
    /// True where the record says NOT FIT TO ASSEMBLE: no kit, or a requirement that no swap puts right. Only `accept`
    /// closes a pump.
    pub not_fit_to_assemble: bool,
    /// Findings, cautions and steps, in the order of the work.
    pub to_do: Vec<TaskJson>,
    /// The readings.
    pub readings: Vec<ReadingJson>,
    /// Where each requirement comes out as found.
    pub requirements: Vec<FoundJson>,
    /// Who fitted it and when, as it was written.
    pub fitter: Option<String>,
    /// Who checked it and when.
    pub checker: Option<String>,
}

/// One reading against what was predicted.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReadingJson {
    /// The pack or the requirement that was read.
    pub of: OfJson,
    /// The unit of the lengths.
    pub unit: String,
    /// The sum of the nominal sizes: the figure on the slip.
    pub nominal: String,
    /// The middle of what was predicted; not the nominal value where tolerances are uneven.
    pub predicted: String,
    /// Its expanded uncertainty, k = 2.
    pub predicted_within: String,
    /// The first reading.
    pub found: String,
    /// The second one.
    pub found_again: Option<String>,
    /// The expanded uncertainty of the last reading, k = 2.
    pub found_within: String,
    /// The expanded uncertainty of found less predicted, k = 2: that of both, less what a gauge that both were measured
    /// with takes out.
    pub difference_within: String,
    /// The normalised error of the last reading; absent where neither can be off and both differ.
    pub normalised_error: Option<f64>,
    /// Whether it is 1 at most, either way.
    pub agrees: bool,
}

/// One requirement as found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FoundJson {
    /// Where it comes out: on its reading, or else as predicted from the packs.
    #[serde(flatten)]
    pub verdict: RequirementJson,
    /// Whether that rests on a reading of it.
    pub on_reading: bool,
}

/// A decision about a pump.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum DecisionJson {
    /// Not fit to assemble: the plan has no kit for it.
    NotKitted,
    /// No reading came back yet.
    NotRead,
    /// Look first: a reading differs by more than its uncertainty, and no piece is moved before the cause is sought.
    LookFirst,
    /// Recheck lacking: what was read is well, but a clearance that the slip asks for was not.
    RecheckLacking,
    /// Accept: every requirement is met as found.
    Accept,
    /// Swap: a requirement is not met as found, and a swap puts it right.
    Swap,
    /// Not fit to assemble: a requirement is not met as found, and nothing that is left puts it right.
    NoSwap,
}

/// A thing that can be read, by its name in the model.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum OfJson {
    /// A finished pack.
    Pack {
        /// The pack.
        name: String,
    },
    /// A requirement.
    Requirement {
        /// The requirement.
        name: String,
    },
}

/// Pieces of one lot, as thick as they are fitted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct FittedJson {
    /// Stock number.
    pub item: String,
    /// How many.
    pub count: u32,
    /// The thickness that each is peeled to; null for a whole piece.
    pub peeled_to: Option<LengthJson>,
}

/// A slip of the hand that would explain a difference.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum SlipJson {
    /// A piece is missing.
    Missing {
        /// The pack.
        pack: String,
        /// The piece.
        piece: FittedJson,
    },
    /// A piece is in it and should not be.
    TooMany {
        /// The pack.
        pack: String,
        /// The piece.
        piece: FittedJson,
    },
    /// Another piece is in it in the place of one.
    Mistaken {
        /// The pack.
        pack: String,
        /// The piece that should be in it.
        piece: FittedJson,
        /// The piece that went in.
        other: FittedJson,
    },
}

/// The usual grounds of a difference.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum UsualJson {
    /// Of a pack that reads thicker: dirt, a burr, a bent or wrong piece, or one too many.
    Thicker,
    /// Of a pack that reads thinner: a missing, wrong or worn piece, or the micrometer's zero.
    Thinner,
    /// Of a clearance: dirt, seating, a wrong bare reading.
    Seating,
}

/// A finding, a caution or a step of the work. Packs and requirements have their names in the model.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum TaskJson {
    /// Finding: the readings of a dimension contradict each other; measure it again before the pump is fitted.
    MeasureAgain {
        /// The dimension, by its name in the model.
        dimension: String,
    },
    /// Finding: the plan has no kit for the pump.
    NotKitted,
    /// Finding: no reading came back.
    NotRead,
    /// Finding: a reading differs from what was predicted by more than both can be off.
    Differs {
        /// The reading.
        of: OfJson,
    },
    /// The two readings differ by more than they can be off: read a third time.
    ReadThirdTime {
        /// The reading.
        of: OfJson,
    },
    /// A clearance agrees with what the pieces say and not with the reading of the pack: measure that first.
    MeasurePackFirst {
        /// The reading.
        of: OfJson,
    },
    /// Look for what usually lies behind such a difference.
    LookFor {
        /// The reading.
        of: OfJson,
        /// The grounds.
        usual: UsualJson,
    },
    /// Slips of the hand that would explain the difference, the likeliest first.
    WouldFit {
        /// The reading.
        of: OfJson,
        /// The slips.
        slips: Vec<SlipJson>,
    },
    /// Mend what is found and read again; no piece is moved before.
    ReadAgain,
    /// Recheck a requirement that was not rechecked yet.
    Recheck {
        /// The requirement.
        requirement: String,
    },
    /// Finding: a reading differs from what was predicted, came out the same a second time, and so counts.
    CauseNotFound {
        /// The reading.
        of: OfJson,
    },
    /// Finding: a finished pack was not measured, and counts as its pieces say.
    PackNotMeasured {
        /// The pack.
        pack: String,
    },
    /// Finding: a requirement is beyond its limits.
    NotMet {
        /// The requirement.
        requirement: String,
    },
    /// Finding: a requirement is within its limits, but not clear of them by what it may be off.
    NotClear {
        /// The requirement.
        requirement: String,
        /// Whether a finer reading may show that it is met.
        finer: bool,
    },
    /// Finding: a pack holds fewer pieces than its model allows, or more.
    Miscounted {
        /// The pack.
        pack: String,
        /// How many it holds.
        count: u32,
        /// The fewest that are allowed.
        least: u32,
        /// The most that are allowed.
        most: u32,
    },
    /// Read with a finer instrument before pieces are moved, or the pump is given up.
    ReadFiner,
    /// A caution of the model, to mind.
    Caution {
        /// The moment of the work that it belongs to, by the model's word.
        when: String,
        /// The model's own text.
        text: String,
    },
    /// Take pieces out.
    TakeOut {
        /// The pack.
        pack: String,
        /// The pieces.
        pieces: Vec<FittedJson>,
    },
    /// Put in pieces that lie in a drawer or are cut.
    PutIn {
        /// The pack.
        pack: String,
        /// The pieces.
        piece: FittedJson,
        /// Their bin; null where the stock has none.
        bin: Option<String>,
        /// The sheet that they are cut from; null for pieces that lie ready.
        cut_from: Option<String>,
    },
    /// Peel pieces of the pack further and put them back.
    PeelFurther {
        /// The pack.
        pack: String,
        /// The pieces, as they are after it.
        piece: FittedJson,
    },
    /// Measure the pack: what the micrometer should read.
    MeasurePack {
        /// The pack.
        pack: String,
        /// The unit of the lengths below.
        unit: String,
        /// The reading to expect.
        total: String,
        /// The least that it may be.
        least: String,
        /// The most that it may be.
        most: String,
    },
    /// The place stays empty.
    StaysEmpty {
        /// The pack.
        pack: String,
    },
    /// A requirement as it is expected after the swap.
    Expected {
        /// Where it comes out.
        requirement: RequirementJson,
    },
    /// Measure, fit and recheck after the swap, and bring the readings back.
    BringBack,
    /// No swap puts it right.
    NoSwap {
        /// Every swap of so many pieces was looked at.
        pieces: u32,
        /// Whether that is all there are.
        all: bool,
    },
}

/// The JSON Schema of the format.
pub fn schema() -> Schema {
    schema_for!(RecheckJson)
}
