//! What came back from the bench as JSON, format `gapwright.recheck.v1`.
//!
//! Lengths are decimal strings in the unit of the pump's model wherever that is exact.

use schemars::{JsonSchema, Schema, schema_for};
use serde::{Deserialize, Serialize};

use super::AsBuilt;
use crate::job::Job;
use crate::plan::Pick;
use crate::pump::Pump;
use crate::recheck::{Compared, Decision, Of, Record};
use crate::words;
use crate::words::recheck::{to_do, what};

/// The name of the format.
pub const FORMAT: &str = "gapwright.recheck.v1";

/// What came of the readings of an outage.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RecheckJson {
    /// Always `gapwright.recheck.v1`.
    pub format: String,
    /// The id of the plan whose kits were fitted.
    pub plan: String,
    /// The acceptance rule.
    pub acceptance: String,
    /// The pumps, in the order of the pump workbook.
    pub pumps: Vec<PumpJson>,
}

/// One pump.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PumpJson {
    /// Its tag.
    pub tag: String,
    /// `accept`, `LOOK FIRST`, `SWAP`, `recheck lacking`, `not read yet` or `NOT FIT TO ASSEMBLE`.
    pub decision: String,
    /// What there is to do or to say, in sentences.
    pub to_do: Vec<String>,
    /// What was read.
    pub readings: Vec<ReadingJson>,
    /// Where each requirement comes out as found.
    pub requirements: Vec<RequirementJson>,
    /// What is moved, if a swap puts it right.
    pub swap: Vec<MoveJson>,
    /// Who fitted it and when, as it was written.
    pub fitter: Option<String>,
    /// Who checked it and when.
    pub checker: Option<String>,
}

/// One reading against what was predicted.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReadingJson {
    /// The place or the requirement.
    pub of: String,
    /// The unit of the lengths.
    pub unit: String,
    /// The middle of what was predicted.
    pub predicted: String,
    /// Its expanded uncertainty, k = 2.
    pub predicted_within: String,
    /// The first reading.
    pub found: String,
    /// The second one.
    pub found_again: Option<String>,
    /// The expanded uncertainty of the last reading, k = 2.
    pub found_within: String,
    /// The normalised error of the last reading; absent where neither can be off and both differ.
    pub normalised_error: Option<f64>,
    /// Whether it is 1 at most, either way.
    pub agrees: bool,
}

/// One requirement as found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RequirementJson {
    /// Its name in the model.
    pub name: String,
    /// The unit of the lengths.
    pub unit: String,
    /// The lower limit.
    pub lower: String,
    /// The upper limit.
    pub upper: String,
    /// Where it comes out: on its reading, or else as predicted from the packs.
    pub value: String,
    /// Whether that rests on a reading of it.
    pub on_reading: bool,
    /// Whether it is met under the acceptance rule.
    pub conforms: bool,
}

/// Pieces that a swap moves.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MoveJson {
    /// The place, by its name in the model.
    pub pack: String,
    /// The item.
    pub item: String,
    /// Pieces put in; fewer than nothing are taken out.
    pub count: i64,
    /// The thickness that a laminated piece is peeled to.
    pub peeled_to: Option<String>,
}

/// The record as JSON text.
pub fn text(built: &AsBuilt<'_>) -> String {
    let mut text = serde_json::to_string_pretty(&record(built)).unwrap_or_default();
    text.push('\n');
    text
}

/// The record in the shape of the format.
pub fn record(built: &AsBuilt<'_>) -> RecheckJson {
    let (job, records) = (built.recheck.job(), built.recheck.records());
    let pumps = job.pumps.iter().zip(records);
    RecheckJson {
        format: FORMAT.into(),
        plan: built.plan_id.into(),
        acceptance: job.policy.acceptance.to_string(),
        pumps: pumps.map(|(pump, record)| of_pump(job, pump, record)).collect(),
    }
}

/// The JSON Schema of the format.
pub fn schema() -> Schema {
    schema_for!(RecheckJson)
}

fn of_pump(job: &Job, pump: &Pump, record: &Record) -> PumpJson {
    let unit = job.model_of(pump).unit;
    let reading = |of: Of| {
        let compared: &Compared = record.against(of)?;
        Some(ReadingJson {
            of: what(job, pump, of).into(),
            unit: unit.symbol().into(),
            predicted: compared.predicted.show(unit),
            predicted_within: compared.predicted_within.show(unit),
            found: compared.found.first.value.show(unit),
            found_again: compared.found.again.map(|again| again.value.show(unit)),
            found_within: compared.found_within.show(unit),
            normalised_error: compared.normalised(),
            agrees: compared.agrees(),
        })
    };
    let checked = pump.requirements.iter().zip(&record.requirements);
    PumpJson {
        tag: pump.tag.clone(),
        decision: words::recheck::decision(&record.decision).into(),
        to_do: to_do(job, pump, record),
        readings: record.readable().filter_map(reading).collect(),
        requirements: checked
            .map(|(requirement, checked)| RequirementJson {
                name: requirement.name.clone(),
                unit: unit.symbol().into(),
                lower: checked.verdict.lower.show(unit),
                upper: checked.verdict.upper.show(unit),
                value: checked.verdict.value.show(unit),
                on_reading: checked.on_reading,
                conforms: checked.verdict.conforms(),
            })
            .collect(),
        swap: match &record.decision {
            Decision::Swap(swap) => moves(job, pump, &swap.moves),
            _ => Vec::new(),
        },
        fitter: record.bench.fitter.clone(),
        checker: record.bench.checker.clone(),
    }
}

fn moves(job: &Job, pump: &Pump, moves: &[[Vec<Pick>; 2]]) -> Vec<MoveJson> {
    let model = job.model_of(pump);
    let mut all = Vec::new();
    for (pack, [out, into]) in model.packs.iter().zip(moves) {
        for (picks, sign) in [(out, -1), (into, 1)] {
            for pick in picks {
                let item = &job.stock[pick.item];
                let peeled = item.peeled(pick.peeled).filter(|_| pick.peeled > 0);
                all.push(MoveJson {
                    pack: pack.name.clone(),
                    item: item.item.clone(),
                    count: sign * i64::from(pick.count),
                    peeled_to: peeled.map(|thickness| thickness.show(model.unit)),
                });
            }
        }
    }
    all
}
