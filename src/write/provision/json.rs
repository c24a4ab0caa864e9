//! What to set aside as JSON, format `gapwright.provision.v1`.
//!
//! Lengths and money are decimal strings, so that nothing is lost. A length is given in its
//! model's unit wherever that is exact, and otherwise in millimetres, which always are.

use std::collections::BTreeMap;

use schemars::{JsonSchema, Schema, schema_for};
use serde::{Deserialize, Serialize};

use super::super::json::{exact, pack};
use super::Provided;
use crate::decimal::show_money;
use crate::formats::plan::{InputJson, PackJson};
use crate::job::Job;
use crate::length::{Length, Unit};
use crate::model::Model;
use crate::outlook::{Expected, Law};
use crate::plan::PackPick;
use crate::provision::{Provision, Question, SafeKit, SetAside, Together};
use crate::words;
use crate::words::provision::runs;

/// The name of the format.
pub const FORMAT: &str = "gapwright.provision.v1";

/// What to set aside before an outage.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProvisionJson {
    /// Always `gapwright.provision.v1`.
    pub format: String,
    /// `time limit` or `interrupt` when the work ended early.
    pub stopped_by: Option<String>,
    /// The acceptance rule.
    pub acceptance: String,
    /// What the money is called.
    pub currency: String,
    /// What was asked.
    pub question: QuestionJson,
    /// All safe kits at once.
    pub safe_kits: TogetherJson,
    /// For all pumps together.
    pub trolley: TrolleyJson,
    /// How often the trolley serves every pump.
    pub service: ServiceJson,
    /// What to mind about the answer, in sentences: steps that are long for the limits, pieces that
    /// count as free.
    pub warnings: Vec<String>,
    /// The items that could be set aside and count as free, as the stock has no unit cost for them, or
    /// 0.
    pub free: Vec<String>,
    /// The pumps, in the order of the pump workbook.
    pub pumps: Vec<PumpJson>,
    /// The files that it was made from.
    pub inputs: Vec<InputJson>,
}

/// What was asked.
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

/// Pieces of one item.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SetAsideJson {
    /// Stock number.
    pub item: String,
    /// How many.
    pub count: u32,
}

/// All safe kits at once.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TogetherJson {
    /// What they cost.
    pub cost: String,
    /// How many pieces they are.
    pub count: u32,
    /// The pieces of all of them.
    pub pieces: Vec<SetAsideJson>,
    /// Whether they can all be set aside at once, in the drawers and out of the sheets.
    pub fits: bool,
    /// What the drawers lack for that.
    pub lacking: Vec<SetAsideJson>,
    /// The sheets of which there are too few, unless several shapes are cut from one.
    pub lacking_sheets: Vec<String>,
}

/// The pieces for all pumps together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TrolleyJson {
    /// What they cost.
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
    pub wanted: u32,
    /// How many of those that it was chosen for are served; no measure of its service.
    pub served: u32,
    /// In how many of them every pump but those in a gap is served; those served are among them.
    pub but_for_gaps: u32,
    /// Those in which some pump comes to a value in a gap.
    pub hopeless: u32,
    /// The sheets of which there are too few, unless several shapes are cut from one.
    pub lacking_sheets: Vec<String>,
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
    /// What one costs.
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
    pub but_for_gaps: u32,
    /// The exact binomial interval about the share of scenarios without a gap: none serves more.
    pub reachable: [f64; 2],
    /// Whether the probability is out of reach whatever is set aside: the whole of that lies below it.
    pub out_of_reach: bool,
    /// Those in which some pump comes to a value in a gap.
    pub hopeless: u32,
    /// Those of which it was not found out; they count as not served.
    pub undecided: u32,
    /// Whether the whole interval holds what was asked for: `met`, `open` or `not met`.
    pub standing: String,
}

/// One pump.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PumpJson {
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
    /// For how many of them nothing in the drawers will do.
    pub gaps: u64,
    /// In how many of the scenarios counted the trolley has no kit for it.
    pub missed: u32,
    /// Its safe kit.
    pub safe_kit: SafeKitJson,
    /// What to take out of the safe kit, value by value, values that are met alike together.
    pub take: Vec<RunJson>,
}

/// What a dimension is expected to come to.
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
    /// `even`, every value looked at alike, or `readings`, as past readings say.
    pub law: String,
    /// The mean of the past readings; null for `even`.
    pub mean: Option<String>,
    /// Their sample standard deviation, rounded; null for `even`.
    pub deviation: Option<f64>,
    /// How many past readings there are; null for `even`.
    pub readings: Option<u32>,
}

/// A safe kit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SafeKitJson {
    /// What it costs.
    pub cost: String,
    /// Nothing that does the same costs less.
    pub bound: String,
    /// Whether it is proven least: in cost, and among those in pieces.
    pub proven: bool,
    /// How many pieces it has.
    pub count: u32,
    /// The pieces.
    pub pieces: Vec<SetAsideJson>,
}

/// Values that are met alike.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RunJson {
    /// From where to where each dimension that is not measured goes, by its name in the model; both
    /// ends count.
    pub ranges: BTreeMap<String, RangeJson>,
    /// How many values these are.
    pub values: u64,
    /// The pieces to take, by the pack's name in the model; null is a gap: nothing in the drawers
    /// will do.
    pub packs: Option<BTreeMap<String, PackJson>>,
}

/// A range of lengths.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RangeJson {
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

/// It as JSON text, ending in a newline.
pub fn text(provided: &Provided<'_>) -> String {
    let mut text = serde_json::to_string_pretty(&plain(provided)).unwrap_or_default();
    text.push('\n');
    text
}

/// It as plain values.
pub fn plain(provided: &Provided<'_>) -> ProvisionJson {
    let Provided { outlook, question, level, provision } = provided;
    let job = outlook.job();
    let (unit, [step]) = exact(words::natural_unit(question.step), [question.step.into()]);
    ProvisionJson {
        format: FORMAT.into(),
        stopped_by: provision.stopped.map(|stop| stop.words().into()),
        acceptance: job.policy.acceptance.to_string(),
        currency: job.policy.currency.clone(),
        question: QuestionJson {
            step,
            step_unit: unit.symbol().into(),
            probability: question.probability.to_string(),
            scenarios: question.scenarios,
            checks: question.checks,
            seed: question.seed,
            interval_level: question.level.to_string(),
            range_level: level.to_string(),
        },
        safe_kits: together(job, &provision.together),
        trolley: trolley(job, provision, question),
        service: service(provision, question.probability.to_f64()),
        warnings: words::provision::warnings(job, provision, question),
        free: { provision.free.iter() }.map(|&item| job.stock[item].item.clone()).collect(),
        pumps: (0..job.pumps.len()).map(|index| pump(provided, index)).collect(),
        inputs: job
            .inputs
            .iter()
            .map(|input| InputJson {
                role: input.role.clone(),
                file: input.file.clone(),
                sha256: input.sha256.clone(),
            })
            .collect(),
    }
}

fn pieces(job: &Job, pieces: &[SetAside]) -> Vec<SetAsideJson> {
    let one =
        |one: &SetAside| SetAsideJson { item: job.stock[one.item].item.clone(), count: one.count };
    pieces.iter().map(one).collect()
}

fn sheets(job: &Job, lots: &[usize]) -> Vec<String> {
    lots.iter().map(|&lot| job.sheets[lot].item.clone()).collect()
}

fn together(job: &Job, together: &Together) -> TogetherJson {
    TogetherJson {
        cost: show_money(together.cost),
        count: together.count,
        pieces: pieces(job, &together.pieces),
        fits: together.lacking.is_empty() && together.sheets.is_empty(),
        lacking: pieces(job, &together.lacking),
        lacking_sheets: sheets(job, &together.sheets),
    }
}

fn trolley(job: &Job, provision: &Provision, question: &Question) -> TrolleyJson {
    let trolley = &provision.trolley;
    let falls_short = provision.falls_short(question);
    let piece = |one: &SetAside| {
        let item = &job.stock[one.item];
        TrolleyPieceJson {
            item: item.item.clone(),
            count: one.count,
            available: item.available(),
            stays: item.available().saturating_sub(one.count),
            unit_cost: show_money(item.unit_cost),
        }
    };
    TrolleyJson {
        cost: show_money(trolley.cost),
        bound: show_money(trolley.bound),
        proven: trolley.proven() && !falls_short,
        falls_short,
        count: trolley.count,
        pieces: trolley.pieces.iter().map(piece).collect(),
        wanted: trolley.wanted,
        served: trolley.served,
        but_for_gaps: trolley.but_for_gaps,
        hopeless: trolley.hopeless,
        lacking_sheets: sheets(job, &trolley.sheets),
    }
}

fn service(provision: &Provision, asked: f64) -> ServiceJson {
    let (trolley, service) = (&provision.trolley, &provision.service);
    let [low, high] = service.interval;
    let standing = match () {
        () if !trolley.enough() || high < asked || service.out_of_reach(asked) => "not met",
        () if low < asked => "open",
        () => "met",
    };
    ServiceJson {
        checks: service.checks,
        served: service.served,
        share: service.share(),
        interval: service.interval,
        but_for_gaps: service.but_for_gaps,
        reachable: service.reachable,
        out_of_reach: service.out_of_reach(asked),
        hopeless: service.hopeless,
        undecided: service.undecided,
        standing: standing.into(),
    }
}

fn pump(provided: &Provided<'_>, index: usize) -> PumpJson {
    let (job, kit) = (provided.outlook.job(), &provided.provision.safe[index]);
    let pump = &job.pumps[index];
    let model = job.model_of(pump);
    let dimensions = model.dimensions.iter().zip(&provided.outlook.expected()[index]);
    let count = |count: usize| u64::try_from(count).unwrap_or(u64::MAX);
    let missed = provided.provision.service.missed.get(index);
    PumpJson {
        tag: pump.tag.clone(),
        model: model.name.clone(),
        expected: dimensions
            .filter_map(|(dimension, one)| Some(expected(&dimension.name, model.unit, &(*one)?)))
            .collect(),
        values: count(kit.values()),
        coarse: { provided.provision.coarse.iter() }.any(|coarse| coarse.pump == index),
        gaps: count(kit.gaps()),
        missed: missed.copied().unwrap_or(0),
        safe_kit: SafeKitJson {
            cost: show_money(kit.cost),
            bound: show_money(kit.bound),
            proven: kit.proven,
            count: kit.count,
            pieces: pieces(job, &kit.pieces),
        },
        take: take(job, model, kit),
    }
}

fn expected(dimension: &str, unit: Unit, expected: &Expected) -> ExpectedJson {
    let mut json = ExpectedJson {
        dimension: dimension.into(),
        unit: String::new(),
        low: String::new(),
        high: String::new(),
        law: "even".into(),
        mean: None,
        deviation: None,
        readings: None,
    };
    let ends = [expected.low, expected.high];
    let mean = match expected.law {
        Law::Even => expected.low,
        Law::Readings { mean, .. } => mean,
    };
    let lengths = [ends[0], ends[1], mean].map(Into::into);
    let (unit, [low, high, shown]) = exact(unit, lengths);
    json.unit = unit.symbol().into();
    (json.low, json.high) = (low, high);
    if let Law::Readings { scale, freedom, .. } = expected.law {
        let n = f64::from(freedom) + 1.0;
        json.law = "readings".into();
        json.mean = Some(shown);
        json.deviation = Some(scale.to_f64(unit) / (1.0 + 1.0 / n).sqrt());
        json.readings = Some(freedom + 1);
    }
    json
}

fn take(job: &Job, model: &Model, kit: &SafeKit) -> Vec<RunJson> {
    let packs = |picked: &[PackPick]| -> BTreeMap<String, PackJson> {
        let places = model.packs.iter().zip(picked);
        places.map(|(place, picks)| (place.name.clone(), pack(job, model, picks))).collect()
    };
    let range = |[from, to]: [Length; 2]| {
        let (unit, [from, to]) = exact(model.unit, [from.into(), to.into()]);
        RangeJson { unit: unit.symbol().into(), from, to }
    };
    let runs = runs(kit).into_iter().map(|run| RunJson {
        ranges: kit
            .axes
            .iter()
            .zip(&run.ranges)
            .map(|(axis, &ends)| (model.dimensions[axis.dimension].name.clone(), range(ends)))
            .collect(),
        values: u64::try_from(run.values).unwrap_or(u64::MAX),
        packs: run.take.map(packs),
    });
    runs.collect()
}
