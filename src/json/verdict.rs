//! Verdicts as JSON: chances, warnings, and what would prove a kit.

use super::plan::{length, requirement};
use crate::accounting::warnings::{VerdictWarning, asked};
use crate::accounting::{stack, verdicts};
use crate::decimal::Millionths;
use crate::formats::common::{CauseJson, ChanceJson, ChanceLawJson, ImprovementJson};
use crate::formats::plan::VerdictWarningJson;
use crate::job::Job;
use crate::model::Term;
use crate::plan::PackPick;
use crate::pump::Pump;
use crate::stack::{Chance, ChanceLaw, Improvement, Stack, report, settle};

/// A kit that is not proven, and what would prove it.
pub(super) fn not_proven(job: &Job, pump: &Pump, packs: &[PackPick]) -> CauseJson {
    let model = job.model_of(pump);
    let stack = stack(job, pump, packs);
    let (unit, requirements) = (model.unit, pump.requirements.iter());
    let reports = requirements.clone().map(|r| report(&r.form, &stack, job.policy.coverage, unit));
    let improvements = settle(&asked(job, pump), &stack);
    let verdicts = verdicts(job, pump, packs);
    CauseJson::NotProven {
        packs: { model.packs.iter().zip(packs) }
            .map(|(place, picked)| (place.name.clone(), super::plan::pack(job, model, picked)))
            .collect(),
        requirements: requirements
            .zip(&verdicts)
            .map(|(asked, verdict)| requirement(&asked.name, unit, verdict))
            .collect(),
        chances: reports.map(|report| chance(Chance::of(&report))).collect(),
        settle: improvements.into_iter().map(|one| improvement(job, pump, &stack, one)).collect(),
    }
}

fn improvement(job: &Job, pump: &Pump, stack: &Stack, of: Improvement) -> ImprovementJson {
    let model = job.model_of(pump);
    let dimension = |contributor: usize| match stack.contributors[contributor].term {
        Term::Dimension(index) => model.dimensions[index].name.clone(),
        Term::Pack(index) => model.packs[index].name.clone(),
        Term::Thermal(index) => pump.growths[index].thermal.name.clone(),
        Term::Derived(index) => model.derived[index].name.clone(),
    };
    match of {
        Improvement::Readings { contributor, more } => {
            ImprovementJson::MoreReadings { dimension: dimension(contributor), more }
        }
        Improvement::Gauge { contributor, within } => ImprovementJson::BetterGauge {
            dimension: dimension(contributor),
            plus_minus: length(within, model.unit),
        },
        Improvement::Standard { contributor, standard } => ImprovementJson::SmallerUncertainty {
            dimension: dimension(contributor),
            standard_uncertainty: length(standard, model.unit),
        },
        Improvement::Certificate { shared, expanded } => ImprovementJson::BetterCertificate {
            gauge: stack.shared[shared].label.clone(),
            expanded_uncertainty: length(expanded, model.unit),
        },
        Improvement::Lot { contributor, within } => ImprovementJson::BetterLot {
            item: { stack.contributors[contributor].item }
                .map_or_else(String::new, |item| job.stock[item].item.clone()),
            plus_minus: length(within, model.unit),
        },
    }
}

/// Warnings about the verdicts of a kitted pump.
pub(super) fn warnings(job: &Job, pump: &Pump, packs: &[PackPick]) -> Vec<VerdictWarningJson> {
    let warning = |doubt: VerdictWarning| match doubt {
        VerdictWarning::NominalOnly { requirement } => VerdictWarningJson::NominalOnly {
            requirement: pump.requirements[requirement].name.clone(),
        },
        VerdictWarning::ChanceBelowLevel { requirement, chance, level } => {
            VerdictWarningJson::ChanceBelowLevel {
                requirement: pump.requirements[requirement].name.clone(),
                chance: self::chance(chance),
                level: cut_off(level),
            }
        }
    };
    crate::accounting::warnings::warnings(job, pump, packs).into_iter().map(warning).collect()
}

fn chance(chance: Chance) -> ChanceJson {
    let law = match chance.law {
        ChanceLaw::Normal => ChanceLawJson::Normal,
        ChanceLaw::Student(degrees_of_freedom) => ChanceLawJson::Student { degrees_of_freedom },
        ChanceLaw::Draws(draws) => ChanceLawJson::Draws { draws },
    };
    ChanceJson { conforming: cut_off(chance.claimed()), law }
}

/// A probability, cut off at six places.
fn cut_off(probability: f64) -> String {
    #[allow(clippy::cast_possible_truncation)]
    let millionths = (probability * 1e6 + 1e-6).floor() as i64;
    Millionths::from_raw(millionths).to_string()
}
