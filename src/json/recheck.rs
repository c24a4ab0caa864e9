//! The record of a recheck as JSON: what was found and verified into [`crate::formats::recheck`].

use super::plan::{exact, length, requirement};
use crate::formats::recheck::{
    DecisionJson, FORMAT, FittedJson, FoundJson, OfJson, ReadingJson, RecheckJson,
    RecheckedPumpJson, SlipJson, TaskJson, UsualJson,
};
use crate::job::Job;
use crate::length::Fine;
use crate::plan::Pick;
use crate::pump::Pump;
use crate::recheck::mix_ups::Slip;
use crate::recheck::work::{Task, Usual, WorkStep, work};
use crate::recheck::{Decision, Of, Record, Suspect};
use crate::write::as_built::AsBuilt;

/// The record in the shape of the format.
pub fn record(built: &AsBuilt<'_>) -> RecheckJson {
    let (job, records) = (built.recheck.job(), built.recheck.records());
    let pumps = job.pumps.iter().zip(records);
    RecheckJson {
        format: FORMAT.into(),
        plan: built.plan_id.into(),
        acceptance: job.policy.acceptance.into(),
        pumps: pumps.map(|(pump, record)| Names { job, pump }.pump(record)).collect(),
    }
}

/// A pump with its job, in which places, requirements and pieces have their names.
struct Names<'a> {
    job: &'a Job,
    pump: &'a Pump,
}

impl Names<'_> {
    fn pump(&self, record: &Record) -> RecheckedPumpJson {
        let Names { job, pump } = self;
        let unit = job.model_of(pump).unit;
        let checked = pump.requirements.iter().zip(&record.requirements);
        RecheckedPumpJson {
            tag: pump.tag.clone(),
            decision: decision(&record.decision),
            not_fit_to_assemble: record.decision.is_not_fit(),
            to_do: work(job, pump, record).iter().map(|task| self.task(task)).collect(),
            readings: record.readable().filter_map(|of| self.reading(record, of)).collect(),
            requirements: checked
                .map(|(asked, checked)| FoundJson {
                    verdict: requirement(&asked.name, unit, &checked.verdict),
                    on_reading: checked.on_reading,
                })
                .collect(),
            fitter: record.bench.fitter.clone(),
            checker: record.bench.checker.clone(),
        }
    }

    fn reading(&self, record: &Record, of: Of) -> Option<ReadingJson> {
        let compared = record.against(of)?;
        let unit = self.job.model_of(self.pump).unit;
        Some(ReadingJson {
            of: self.of(of),
            unit: unit.symbol().into(),
            nominal: compared.nominal.show(unit),
            predicted: compared.predicted.show(unit),
            predicted_within: compared.predicted_within.show(unit),
            found: compared.found.first.value.show(unit),
            found_again: compared.found.again.map(|again| again.value.show(unit)),
            found_within: compared.found_within.show(unit),
            difference_within: compared.difference_within.show(unit),
            normalised_error: compared.normalised(),
            agrees: compared.agrees(),
        })
    }

    fn pack(&self, place: usize) -> String {
        self.job.model_of(self.pump).packs[place].name.clone()
    }

    fn requirement(&self, index: usize) -> String {
        self.pump.requirements[index].name.clone()
    }

    fn of(&self, of: Of) -> OfJson {
        match of {
            Of::Pack(place) => OfJson::Pack { name: self.pack(place) },
            Of::Requirement(index) => OfJson::Requirement { name: self.requirement(index) },
        }
    }

    fn fitted(&self, pick: &Pick) -> FittedJson {
        let item = &self.job.stock[pick.item];
        let peeled = item.peeled(pick.peeled).filter(|_| pick.peeled > 0);
        FittedJson {
            item: item.item.clone(),
            count: pick.count,
            peeled_to: peeled.map(|thick| length(thick, self.job.model_of(self.pump).unit)),
        }
    }

    fn slip(&self, suspect: &Suspect) -> SlipJson {
        let pack = self.pack(suspect.pack);
        match suspect.slip {
            Slip::Missing(piece) => SlipJson::Missing { pack, piece: self.fitted(&piece) },
            Slip::TooMany(piece) => SlipJson::TooMany { pack, piece: self.fitted(&piece) },
            Slip::Mistaken(piece, other) => {
                SlipJson::Mistaken { pack, piece: self.fitted(&piece), other: self.fitted(&other) }
            }
        }
    }

    fn task(&self, task: &Task) -> TaskJson {
        let model = self.job.model_of(self.pump);
        let requirement = |index: &usize| self.requirement(*index);
        match task {
            Task::MeasureAgain(index) => {
                TaskJson::MeasureAgain { dimension: model.dimensions[*index].name.clone() }
            }
            Task::NotKitted => TaskJson::NotKitted,
            Task::NotRead => TaskJson::NotRead,
            Task::Differs(of) => TaskJson::Differs { of: self.of(*of) },
            Task::ReadThirdTime(of) => TaskJson::ReadThirdTime { of: self.of(*of) },
            Task::MeasurePackFirst(of) => TaskJson::MeasurePackFirst { of: self.of(*of) },
            Task::LookFor(of, what) => TaskJson::LookFor { of: self.of(*of), usual: usual(*what) },
            Task::WouldFit(of, suspects) => TaskJson::WouldFit {
                of: self.of(*of),
                slips: suspects.iter().map(|suspect| self.slip(suspect)).collect(),
            },
            Task::ReadAgain => TaskJson::ReadAgain,
            Task::Recheck(index) => TaskJson::Recheck { requirement: requirement(index) },
            Task::CauseNotFound(of) => TaskJson::CauseNotFound { of: self.of(*of) },
            Task::PackNotMeasured(place) => TaskJson::PackNotMeasured { pack: self.pack(*place) },
            Task::NotMet(index) => TaskJson::NotMet { requirement: requirement(index) },
            Task::NotClear { requirement: index, finer } => {
                TaskJson::NotClear { requirement: requirement(index), finer: *finer }
            }
            Task::ReadFiner => TaskJson::ReadFiner,
            Task::Miscounted { place, count } => {
                let allowed = &model.packs[*place];
                TaskJson::Miscounted {
                    pack: self.pack(*place),
                    count: *count,
                    least: allowed.least_pieces,
                    most: allowed.most_pieces,
                }
            }
            Task::Caution(index) => {
                let caution = &model.cautions[*index];
                TaskJson::Caution { when: caution.when.clone(), text: caution.text.clone() }
            }
            Task::Swap(step) => self.step(step),
            Task::BringBack => TaskJson::BringBack,
            Task::NoSwap(searched) => {
                TaskJson::NoSwap { pieces: searched.pieces, all: searched.all }
            }
        }
    }

    fn step(&self, step: &WorkStep) -> TaskJson {
        let unit = self.job.model_of(self.pump).unit;
        match step {
            WorkStep::TakeOut(place, picks) => TaskJson::TakeOut {
                pack: self.pack(*place),
                pieces: picks.iter().map(|pick| self.fitted(pick)).collect(),
            },
            WorkStep::PutIn(place, pick) => {
                let item = &self.job.stock[pick.item];
                TaskJson::PutIn {
                    pack: self.pack(*place),
                    piece: self.fitted(pick),
                    bin: item.bin.clone(),
                    cut_from: item.cut.map(|cut| self.job.plates[cut.plate].item.clone()),
                }
            }
            WorkStep::PeelFurther(place, pick) => {
                TaskJson::PeelFurther { pack: self.pack(*place), piece: self.fitted(pick) }
            }
            WorkStep::StaysEmpty(place) => TaskJson::StaysEmpty { pack: self.pack(*place) },
            WorkStep::MeasurePack(place, (total, tolerance)) => {
                let ends = [*total, *total - tolerance.minus, *total + tolerance.plus];
                let (unit, [total, least, most]) = exact(unit, ends.map(Fine::from));
                TaskJson::MeasurePack {
                    pack: self.pack(*place),
                    unit: unit.symbol().into(),
                    total,
                    least,
                    most,
                }
            }
            WorkStep::Expected(index, verdict) => TaskJson::Expected {
                requirement: requirement(&self.requirement(*index), unit, verdict),
            },
        }
    }
}

fn usual(usual: Usual) -> UsualJson {
    match usual {
        Usual::Thicker => UsualJson::Thicker,
        Usual::Thinner => UsualJson::Thinner,
        Usual::Seating => UsualJson::Seating,
    }
}

fn decision(decision: &Decision) -> DecisionJson {
    match decision {
        Decision::NotKitted => DecisionJson::NotKitted,
        Decision::NotRead => DecisionJson::NotRead,
        Decision::Look(_) => DecisionJson::LookFirst,
        Decision::Incomplete(_) => DecisionJson::RecheckLacking,
        Decision::Accept => DecisionJson::Accept,
        Decision::Swap(_) => DecisionJson::Swap,
        Decision::NoSwap(_) => DecisionJson::NoSwap,
    }
}
