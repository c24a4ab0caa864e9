//! Stack-ups as JSON: what was worked out into [`crate::formats::stack`].

use std::collections::BTreeMap;

use super::plan::{crush, exact, inputs, pack, requirement, short};
use crate::accounting::{source, source_of_shared, stack as stack_of, verdicts};
use crate::analysis::{Analysed, NotFit};
use crate::crush::crushes;
use crate::formats::common::{PackJson, RequirementJson};
use crate::formats::stack::{
    BorderJson, ContributionJson, ContributorJson, ContributorKind, CorrelationJson, CoverageJson,
    CrossingJson, DrawsJson, FORMAT, KnownBy, MapCellJson, MapJson, NotFitJson, SettingJson,
    SharedJson, SideJson, StackJson, StackPumpJson, StackRequirementJson, StepFaultJson, SweepJson,
    SweepPointJson, UndrawnJson,
};
use crate::job::Job;
use crate::length::Unit;
use crate::model::{Shape, Term};
use crate::plan::PackPick;
use crate::pump::Pump;
use crate::stack::monte_carlo::Outcome;
use crate::stack::{
    Alike, Contribution, Contributor, Coverage, Evaluation, ReportSide, SharedError, Stack,
    Undrawn, Verdict, judge, report,
};
use crate::sweep::{Mapped, Setting, StepError, SweepPoint, Swept, SweptPieces};

/// Stack-ups as plain values.
pub fn stack(job: &Job, analysed: &[Analysed], not_fit: &[NotFit]) -> StackJson {
    let pumps: Vec<StackPumpJson> = analysed.iter().map(|one| pump(job, one)).collect();
    let all = pumps.iter().flat_map(|pump| &pump.requirements);
    let met = all.clone().filter(|one| one.result.conforms).count();
    let (all, met) = (count(all.count()), count(met));
    StackJson {
        format: FORMAT.into(),
        acceptance: job.policy.acceptance.into(),
        coverage: match job.policy.coverage {
            Coverage::Factor(factor) => CoverageJson::Factor { factor: factor.to_string() },
            Coverage::Level(level) => CoverageJson::Level { level: level.to_string() },
        },
        conforms: not_fit.is_empty() && met == all,
        requirements: all,
        met,
        pumps,
        not_fit: not_fit.iter().map(|one| self::not_fit(job, one)).collect(),
        inputs: inputs(job),
    }
}

fn count(number: usize) -> u32 {
    u32::try_from(number).unwrap_or(u32::MAX)
}

fn packs(job: &Job, pump: &Pump, picked: &[PackPick]) -> BTreeMap<String, PackJson> {
    let model = job.model_of(pump);
    let places = model.packs.iter().zip(picked);
    places.map(|(place, picks)| (place.name.clone(), pack(job, model, picks))).collect()
}

fn results<'v>(
    job: &Job,
    pump: &Pump,
    verdicts: impl IntoIterator<Item = &'v Verdict>,
) -> Vec<RequirementJson> {
    let unit = job.model_of(pump).unit;
    let all = pump.requirements.iter().zip(verdicts);
    all.map(|(one, verdict)| requirement(&one.name, unit, verdict)).collect()
}

fn not_fit(job: &Job, one: &NotFit) -> NotFitJson {
    let pump = &job.pumps[one.pump];
    let model = job.model_of(pump);
    let nearest = one.nearest.as_ref();
    let verdicts = nearest.map(|picked| verdicts(job, pump, picked)).unwrap_or_default();
    NotFitJson {
        tag: pump.tag.clone(),
        model: model.name.clone(),
        short: one.shortfalls.iter().map(|shortfall| short(job, pump, shortfall)).collect(),
        nearest: nearest.map(|picked| packs(job, pump, picked)),
        requirements: results(job, pump, &verdicts),
    }
}

fn pump(job: &Job, one: &Analysed) -> StackPumpJson {
    let pump = &job.pumps[one.pump];
    let model = job.model_of(pump);
    let stack = stack_of(job, pump, &one.packs);
    let parts = &stack.contributors;
    let requirements = pump.requirements.iter().enumerate().map(|(index, requirement)| {
        let drawn = one.draws.get(index);
        self::stacked(job, pump, (&stack, index), drawn, &requirement.label)
    });
    let correlations = stack.correlations.iter().filter_map(|pair| {
        let at = |term: Term| Some(count(parts.iter().position(|part| part.term == term)?));
        let [a, b] = pair.between.map(at);
        Some(CorrelationJson { between: [a?, b?], coefficient: pair.coefficient.to_string() })
    });
    let crushes = crushes(job, pump, &one.packs);
    StackPumpJson {
        tag: pump.tag.clone(),
        model: model.name.clone(),
        unit: model.unit.symbol().into(),
        packs: packs(job, pump, &one.packs),
        contributors: parts.iter().map(|part| contributor(job, pump, part)).collect(),
        shared: stack.shared.iter().map(|error| shared(job, error, model.unit)).collect(),
        correlations: correlations.collect(),
        requirements: requirements.collect(),
        crush: crushes.iter().map(|one| crush(job, pump, one)).collect(),
        sweeps: one.sweeps.iter().map(|swept| sweep(job, pump, swept)).collect(),
        maps: one.maps.iter().map(|mapped| map(pump, model.unit, mapped)).collect(),
    }
}

fn contributor(job: &Job, pump: &Pump, part: &Contributor) -> ContributorJson {
    let model = job.model_of(pump);
    let (kind, name) = match part.term {
        Term::Dimension(at) => (ContributorKind::Dimension, &model.dimensions[at].name),
        Term::Thermal(at) => (ContributorKind::Growth, &model.thermals[at].name),
        Term::Derived(at) => (ContributorKind::Derived, &model.derived[at].name),
        Term::Pack(at) => (ContributorKind::Pieces, &model.packs[at].name),
    };
    let lengths = [part.nominal, part.tolerance.minus, part.tolerance.plus];
    let (unit, [nominal, minus, plus]) = exact(model.unit, lengths.map(Into::into));
    let readings: &[_] = if part.readings.len() > 1 { &part.readings } else { &[] };
    ContributorJson {
        kind,
        name: name.clone(),
        label: part.label.clone(),
        item: part.item.map(|item| job.stock[item].item.clone()),
        count: part.count,
        unit: unit.symbol().into(),
        nominal,
        minus,
        plus,
        readings: readings.iter().map(|reading| reading.to_f64(model.unit)).collect(),
        known_by: match &part.evaluation {
            Evaluation::Within(shape) | Evaluation::Repeated { shape: Some(shape), .. } => {
                match shape {
                    Shape::Rectangular => KnownBy::Rectangular,
                    Shape::Triangular => KnownBy::Triangular,
                    Shape::Normal => KnownBy::Normal,
                    Shape::UShaped => KnownBy::UShaped,
                    Shape::Trapezoid { .. } => KnownBy::Trapezoid,
                    Shape::TruncatedNormal { .. } => KnownBy::TruncatedNormal,
                }
            }
            Evaluation::Standard | Evaluation::Repeated { shape: None, .. } => KnownBy::Stated,
            Evaluation::Readings { .. } => KnownBy::Readings,
            Evaluation::Growth(_) => KnownBy::Growth,
            Evaluation::Derived(_) => KnownBy::Derived,
        },
        standard_uncertainty: part.standard_uncertainty.to_f64(model.unit),
        degrees_of_freedom: part.degrees_of_freedom,
        from: source(job, pump, part),
        alike: part.lot.and_then(|lot| match lot.alike {
            Alike::AtWorst => None,
            Alike::Share(share) => Some(share.to_string()),
        }),
    }
}

fn shared(job: &Job, error: &SharedError, unit: Unit) -> SharedJson {
    SharedJson {
        label: error.label.clone(),
        members: error.members.iter().map(|&member| count(member)).collect(),
        standard_uncertainty: error.certified.standard.to_f64(unit),
        worst_case: error.certified.extent.to_f64(unit),
        degrees_of_freedom: error.certified.freedom,
        from: source_of_shared(job, error),
    }
}

fn stacked(
    job: &Job,
    pump: &Pump,
    (stack, index): (&Stack, usize),
    drawn: Option<&Result<Outcome, Undrawn>>,
    label: &str,
) -> StackRequirementJson {
    let unit = job.model_of(pump).unit;
    let own = &pump.requirements[index];
    let report = report(&own.form, stack, job.policy.coverage, unit);
    let verdict = judge(&own.form, stack, job.policy.guard());
    let [lower, upper] = report.sides.map(side);
    StackRequirementJson {
        label: label.into(),
        result: requirement(&own.name, unit, &verdict),
        lower,
        upper,
        conforming: report.conforming,
        gap: report.gap.map(|(gap, _)| gap),
        allowance: report.gap.map(|(_, reached)| reached),
        contributions: report.lines.iter().map(contribution).collect(),
        draws: drawn.and_then(|drawn| drawn.as_ref().ok()).map(draws),
        undrawn: drawn.and_then(|drawn| drawn.as_ref().err()).map(|why| match why {
            Undrawn::FewReadings(_) => UndrawnJson::FewReadings,
            Undrawn::Faults(_) => UndrawnJson::Impossible,
        }),
    }
}

/// Figures at a limit; none where there is no limit.
fn side(side: ReportSide) -> Option<SideJson> {
    side.limit.is_finite().then(|| SideJson {
        limit: side.limit,
        worst_case: side.worst,
        root_sum_square: side.root_sum_square,
        middle: side.middle,
        combined: side.combined,
        degrees_of_freedom: side.degrees_of_freedom,
        factor: side.factor,
        level: side.level,
        expanded: side.expanded,
        margin_nominal: side.room,
        margin_worst_case: side.margin_worst(),
        margin_expanded: side.margin_expanded(),
        margin_root_sum_square: side.margin_of(side.root_sum_square),
        beyond: side.beyond,
    })
}

/// A number that JSON can hold.
fn finite(number: f64) -> Option<f64> {
    Some(number).filter(|number| number.is_finite())
}

fn contribution(line: &Contribution) -> ContributionJson {
    let [minus, plus] = line.largest.map(|largest| largest.and_then(finite));
    ContributionJson {
        contributor: count(line.contributor),
        sensitivity: line.sensitivity,
        in_gap: line.in_gap,
        at: line.at,
        moves: line.moves,
        variance: line.variance,
        share_of_worst_case: line.share_of_worst,
        share_of_variance: line.share_of_variance,
        largest_minus: minus,
        largest_plus: plus,
        largest_standard_uncertainty: line.largest_standard.and_then(finite),
    }
}

fn draws(outcome: &Outcome) -> DrawsJson {
    let conformity = outcome.conformity;
    DrawsJson {
        draws: outcome.draws,
        without_value: outcome.without_value,
        mean: outcome.mean,
        standard_uncertainty: outcome.standard,
        symmetric: outcome.symmetric.map(finite),
        shortest: outcome.shortest.map(finite),
        conforming: conformity.map(|shares| shares.conforming),
        below: conformity.map(|shares| shares.below),
        above: conformity.map(|shares| shares.above),
        settled: outcome.settled,
    }
}

/// A value of a varied quantity.
fn setting(setting: Setting, unit: Unit) -> SettingJson {
    match setting {
        Setting::Length(length) => {
            let (unit, [value]) = exact(unit, [length.into()]);
            SettingJson { value, unit: Some(unit.symbol().into()) }
        }
        Setting::Number(number) => SettingJson { value: number.to_string(), unit: None },
    }
}

fn sweep(job: &Job, pump: &Pump, swept: &Swept) -> SweepJson {
    let unit = job.model_of(pump).unit;
    let point = |point: &SweepPoint, pieces: SweptPieces| SweepPointJson {
        setting: setting(point.setting, unit),
        packs: match pieces {
            SweptPieces::Held => None,
            SweptPieces::ChosenAgain => point.kit.as_ref().map(|kit| packs(job, pump, &kit.packs)),
        },
        requirements: point.kit.as_ref().map_or_else(Vec::new, |kit| {
            results(job, pump, kit.requirements.iter().map(|(_, verdict)| verdict))
        }),
        fault: point.fault.map(fault),
    };
    let crossings = swept.crossings.iter().map(|crossing| CrossingJson {
        requirement: crossing.requirement.map(|at| pump.requirements[at].name.clone()),
        met: setting(crossing.met, unit),
        not_met: setting(crossing.not_met, unit),
        verdict: crossing.verdict.into(),
        beyond: crossing.beyond.as_ref().map(|there| point(there, SweptPieces::ChosenAgain)),
    });
    SweepJson {
        quantity: swept.sweep.label.clone(),
        chosen_again: swept.pieces == SweptPieces::ChosenAgain,
        given: swept.given.map(|given| {
            [given.minus, given.plus].map(|side| setting(Setting::Length(side), unit))
        }),
        crossings: crossings.collect(),
        points: swept.points.iter().map(|one| point(one, swept.pieces)).collect(),
    }
}

fn fault(error: StepError) -> StepFaultJson {
    match error {
        StepError::Form(_) => StepFaultJson::Contradiction,
        StepError::SharedPieces => StepFaultJson::SharedPieces,
        StepError::NoPieces => StepFaultJson::NoPieces,
        StepError::ChosenTotal => StepFaultJson::ChosenTotal,
        StepError::Kind => StepFaultJson::WrongKind,
        StepError::NotProven => StepFaultJson::NotProven,
    }
}

fn map(pump: &Pump, unit: Unit, mapped: &Mapped) -> MapJson {
    let [down, across] = mapped
        .sweeps
        .each_ref()
        .map(|sweep| sweep.settings.iter().map(|one| setting(*one, unit)).collect::<Vec<_>>());
    let cell = |verdicts: &Vec<Verdict>| -> Vec<MapCellJson> {
        let results = verdicts.iter().map(|verdict| MapCellJson {
            margin: verdict.margin().to_f64(unit),
            verdict: verdict.judgement().into(),
        });
        results.collect()
    };
    let rows = mapped.cells.iter();
    let borders = mapped.borders.iter().map(|border| BorderJson {
        requirement: pump.requirements[border.requirement].name.clone(),
        ends: border.ends.iter().map(|ends| (*ends).map(|e| e.map(|e| setting(e, unit)))).collect(),
    });
    MapJson {
        quantities: mapped.sweeps.each_ref().map(|sweep| sweep.label.clone()),
        down,
        across,
        cells: rows
            .map(|row| row.iter().map(|one| one.as_ref().ok().map(&cell)).collect())
            .collect(),
        borders: borders.collect(),
    }
}
