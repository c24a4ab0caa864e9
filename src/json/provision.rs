//! A provision as JSON: what was found and verified into [`crate::formats::provision`].

use std::collections::BTreeMap;

use super::plan::{counted, exact, inputs, length, pack};
use crate::decimal::show_money;
use crate::forecast::{Expected, ExpectedLaw};
use crate::formats::common::{CountJson, PackJson};
use crate::formats::provision::{
    ExpectedJson, FORMAT, ForecastPumpJson, LawJson, ProvisionJson, QuestionJson, RunJson,
    SafeKitJson, ServiceJson, ServiceStanding, TogetherJson, TrolleyJson, TrolleyPieceJson,
    ValueRangeJson, WarningJson,
};
use crate::job::Job;
use crate::length::{Length, Unit};
use crate::model::Model;
use crate::plan::PackPick;
use crate::provision::{Coarse, Provision, ProvisionOptions, SafeKit, SetAside, Together};
use crate::show::natural_unit;
use crate::words::provision::runs;
use crate::write::provision::Provided;

/// A provision as plain values.
pub fn plain(provided: &Provided<'_>) -> ProvisionJson {
    let Provided { outlook, question, level, provision } = provided;
    let job = outlook.job();
    let (unit, [step]) = exact(natural_unit(question.step), [question.step.into()]);
    ProvisionJson {
        format: FORMAT.into(),
        stopped_by: provision.stopped.map(Into::into),
        acceptance: job.policy.acceptance.into(),
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
        left_out: provision.left_out.iter().map(|&pump| job.pumps[pump].tag.clone()).collect(),
        warnings: warnings(job, provision),
        pumps: (0..job.pumps.len()).map(|index| pump(provided, index)).collect(),
        inputs: inputs(job),
    }
}

fn warnings(job: &Job, provision: &Provision) -> Vec<WarningJson> {
    let tag = |coarse: &Coarse| job.pumps[coarse.pump].tag.clone();
    let narrowest = provision.coarse.iter().map(|coarse| coarse.width).min();
    let long = narrowest.map(|width| WarningJson::LongSteps {
        pumps: provision.coarse.iter().map(tag).collect(),
        narrowest: length(width, natural_unit(width)),
    });
    let items = provision.free.iter().map(|&item| job.stock[item].item.clone());
    let free = WarningJson::CountedAsFree { items: items.collect() };
    long.into_iter().chain((!provision.free.is_empty()).then_some(free)).collect()
}

fn pieces(job: &Job, pieces: &[SetAside]) -> Vec<CountJson> {
    pieces.iter().map(|one| counted(job, one.item, one.count)).collect()
}

fn sheets(job: &Job, lots: &[usize]) -> Vec<String> {
    lots.iter().map(|&lot| job.plates[lot].item.clone()).collect()
}

fn together(job: &Job, together: &Together) -> TogetherJson {
    TogetherJson {
        cost: show_money(together.cost),
        count: together.count,
        pieces: pieces(job, &together.pieces),
        fits: together.lacking.is_empty() && together.plates.is_empty(),
        missing: pieces(job, &together.lacking),
        missing_plates: sheets(job, &together.plates),
    }
}

fn trolley(job: &Job, provision: &Provision, question: &ProvisionOptions) -> TrolleyJson {
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
        required: trolley.required,
        wanted: trolley.wanted,
        scenarios: trolley.scenarios,
        plain_cost: show_money(trolley.plain_cost),
        served: trolley.served,
        served_except_gaps: trolley.served_except_gaps,
        hopeless: trolley.hopeless,
        missing_plates: sheets(job, &trolley.plates),
    }
}

fn service(provision: &Provision, asked: f64) -> ServiceJson {
    let (trolley, service) = (&provision.trolley, &provision.service);
    let [low, high] = service.interval;
    let standing = match () {
        () if !trolley.enough() || high < asked || service.out_of_reach(asked) => {
            ServiceStanding::NotMet
        }
        () if low < asked => ServiceStanding::Open,
        () => ServiceStanding::Met,
    };
    ServiceJson {
        checks: service.checks,
        served: service.served,
        share: service.share(),
        interval: service.interval,
        served_except_gaps: service.served_except_gaps,
        in_turn: service.in_turn,
        in_turn_interval: service.in_turn_interval,
        reachable: service.reachable,
        out_of_reach: service.out_of_reach(asked),
        hopeless: service.hopeless,
        undecided: service.undecided,
        standing,
    }
}

fn pump(provided: &Provided<'_>, index: usize) -> ForecastPumpJson {
    let (job, kit) = (provided.outlook.job(), &provided.provision.safe[index]);
    let pump = &job.pumps[index];
    let model = job.model_of(pump);
    let dimensions = model.dimensions.iter().zip(&provided.outlook.expected()[index]);
    let count = |count: usize| u64::try_from(count).unwrap_or(u64::MAX);
    let missed = provided.provision.service.missed.get(index);
    ForecastPumpJson {
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
    let mean = match expected.law {
        ExpectedLaw::Even => expected.low,
        ExpectedLaw::Readings { mean, .. } => mean,
    };
    let (unit, [low, high, mean]) =
        exact(unit, [expected.low, expected.high, mean].map(Into::into));
    let law = match expected.law {
        ExpectedLaw::Even => LawJson::Even,
        ExpectedLaw::Readings { scale, degrees_of_freedom: freedom, .. } => {
            let n = f64::from(freedom) + 1.0;
            let deviation = scale.to_f64(unit) / (1.0 + 1.0 / n).sqrt();
            LawJson::Readings { mean, deviation, readings: freedom + 1 }
        }
    };
    ExpectedJson { dimension: dimension.into(), unit: unit.symbol().into(), low, high, law }
}

fn take(job: &Job, model: &Model, kit: &SafeKit) -> Vec<RunJson> {
    let packs = |picked: &[PackPick]| -> BTreeMap<String, PackJson> {
        let places = model.packs.iter().zip(picked);
        places.map(|(place, picks)| (place.name.clone(), pack(job, model, picks))).collect()
    };
    let range = |[from, to]: [Length; 2]| {
        let (unit, [from, to]) = exact(model.unit, [from.into(), to.into()]);
        ValueRangeJson { unit: unit.symbol().into(), from, to }
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
