//! Warnings about the verdicts of a kit: met by the nominal rule alone, or against its chance.

use super::{stack, verdicts};
use crate::job::Job;
use crate::plan::PackPick;
use crate::pump::Pump;
use crate::stack::{Asked, Chance, Guard, Judgement, contradicts, judge, promised, report};

/// Warning about the verdict of a requirement, by its index.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum VerdictWarning {
    /// Met by the nominal rule, as asked, and not proven in the worst case.
    NominalOnly {
        /// Requirement.
        requirement: usize,
    },
    /// Met by the rule, with a chance of conformity below the level.
    ChanceBelowLevel {
        /// Requirement.
        requirement: usize,
        /// Chance.
        chance: Chance,
        /// Level that the rule promises, 0 to 1.
        level: f64,
    },
}

/// Warnings about the verdicts of a pump with these packs, in the order of its requirements.
pub fn warnings(job: &Job, pump: &Pump, packs: &[PackPick]) -> Vec<VerdictWarning> {
    let (stack, guard) = (stack(job, pump, packs), job.policy.guard());
    let unit = job.model_of(pump).unit;
    let mut found = Vec::new();
    for (requirement, verdict) in verdicts(job, pump, packs).iter().enumerate() {
        let form = &pump.requirements[requirement].form;
        let worst = || judge(form, &stack, Guard::WorstCase).judgement();
        if guard == Guard::None && verdict.conforms() && worst() == Judgement::NotProven {
            found.push(VerdictWarning::NominalOnly { requirement });
        }
        let report = report(form, &stack, job.policy.coverage, unit);
        let (chance, level) = (Chance::of(&report), promised(guard, &report));
        if verdict.conforms() && contradicts(verdict.judgement(), chance, level) {
            found.push(VerdictWarning::ChanceBelowLevel { requirement, chance, level });
        }
    }
    found
}

/// Requirements of a pump, as [`settle`](crate::stack::settle) asks for them.
pub fn asked<'a>(job: &'a Job, pump: &'a Pump) -> Asked<'a> {
    Asked {
        requirements: &pump.requirements,
        guard: job.policy.guard(),
        coverage: job.policy.coverage,
        unit: job.model_of(pump).unit,
    }
}
