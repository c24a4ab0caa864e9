//! One quantity of a pump, or of its pieces, set to another value.

use super::{Knob, Setting, StepError};
use crate::accounting::stack;
use crate::job::Job;
use crate::length::{Length, Tolerance};
use crate::model::{Dimension, Form, FormError, Shape, Spread, Term, Thermal};
use crate::plan::PackPick;
use crate::pump::{Growth, Measured, Pump};
use crate::stack::{Contributor, Stack, measured};

/// Pump and stack with these quantities set, one after the other, and the pieces fixed.
pub(super) fn held(
    job: &Job,
    pump: usize,
    packs: &[PackPick],
    moves: &[(Knob, Setting)],
) -> Result<(Pump, Stack), StepError> {
    let mut pump = job.pumps[pump].clone();
    for &(knob, setting) in moves {
        set(job, &mut pump, knob, setting)?;
    }
    let mut stack = stack(job, &pump, packs);
    for &(knob, setting) in moves {
        adjust(&mut stack, knob, setting)?;
    }
    Ok((pump, stack))
}

/// Total of the pieces in each of so many places.
pub(super) fn totals(stack: &Stack, places: usize) -> Vec<Length> {
    let of = |place| stack.contributors.iter().filter(move |part| part.term == Term::Pack(place));
    (0..places).map(|place| of(place).map(|part| part.nominal * part.count).sum()).collect()
}

/// Tolerance as wide as that of the worst piece in a place, on either side; `None` without pieces.
pub(super) fn worst_of(stack: &Stack, place: usize) -> Option<Tolerance> {
    let pieces = stack.contributors.iter().filter(|part| part.term == Term::Pack(place));
    pieces
        .map(|part| part.tolerance)
        .reduce(|a, b| Tolerance { minus: a.minus.max(b.minus), plus: a.plus.max(b.plus) })
}

/// Changes the fixed pieces: those of one place only, even if other places use the same lot.
fn adjust(stack: &mut Stack, knob: Knob, setting: Setting) -> Result<(), StepError> {
    if let Knob::PiecesWithin(at) | Knob::Pieces(at) | Knob::Total(at) = knob {
        worst_of(stack, at).ok_or(StepError::NoPieces)?;
    }
    match (knob, setting) {
        (Knob::PiecesWithin(at), Setting::Length(within)) => {
            let of_place = |part: &&mut Contributor| part.term == Term::Pack(at);
            for part in stack.contributors.iter_mut().filter(of_place) {
                part.tolerance = Tolerance::even(within);
                part.standard_uncertainty = Shape::Rectangular.standard_uncertainty(part.tolerance);
            }
        }
        (Knob::Pieces(at), Setting::Number(number)) => {
            // Each of them as uncertain as the worst one there.
            let tolerance = worst_of(stack, at).unwrap_or_default();
            let total = totals(stack, at + 1).into_iter().skip(at).sum::<Length>();
            let count = u32::try_from(number.raw() / 1_000_000).unwrap_or(1).max(1);
            let mut place = stack.contributors.iter_mut().filter(|p| p.term == Term::Pack(at));
            let Some(first) = place.next() else { return Err(StepError::NoPieces) };
            first.label = format!("{count} alike");
            first.count = count;
            first.nominal = Length::from_ticks(total.ticks() / i64::from(count));
            first.tolerance = tolerance;
            first.standard_uncertainty = Shape::Rectangular.standard_uncertainty(tolerance);
            // The others stay, as none: shared errors know the contributors by their place.
            place.for_each(|other| other.count = 0);
        }
        (Knob::Total(at), Setting::Length(total)) => {
            let first = stack.contributors.iter().position(|part| part.term == Term::Pack(at));
            let now: Length = totals(stack, at + 1).into_iter().skip(at).sum();
            let Some(first) = first else { return Err(StepError::NoPieces) };
            // One piece alone takes the difference up: every tolerance stays, and the total is exact.
            let part = &mut stack.contributors[first];
            let one = Contributor { nominal: part.nominal + total - now, count: 1, ..part.clone() };
            match part.count {
                1 => *part = one,
                _ => {
                    part.count -= 1;
                    // At the end: shared errors know the contributors by their place.
                    stack.contributors.push(one);
                    let at = stack.contributors.len() - 1;
                    for error in &mut stack.shared {
                        if error.members.contains(&first) {
                            error.members.push(at);
                        }
                    }
                }
            }
        }
        _ => {}
    }
    Ok(())
}

/// Changes the pieces offered to a pump that is alone in its job.
pub(super) fn offer(job: &mut Job, knob: Knob, setting: Setting) -> Result<(), StepError> {
    let pump = &job.pumps[0];
    let model = job.model_of(pump);
    match (knob, setting) {
        (Knob::PiecesWithin(at), Setting::Length(within)) => {
            let offered = |at: usize| -> Vec<usize> {
                job.offered(&model.packs[at], &pump.fits[at]).collect()
            };
            let items = offered(at);
            let mut others = (0..model.packs.len()).filter(|other| *other != at);
            if others.any(|other| offered(other).iter().any(|item| items.contains(item))) {
                return Err(StepError::SharedPieces);
            }
            for item in items {
                if let Some(size) = &mut job.parts.stock[item].size {
                    size.tolerance = Tolerance::even(within);
                }
            }
        }
        (Knob::Pieces(at), Setting::Number(number)) => {
            let count = u32::try_from(number.raw() / 1_000_000).unwrap_or(1);
            let model = pump.model;
            let pack = &mut job.parts.models[model].packs[at];
            (pack.least_pieces, pack.most_pieces) = (count, count);
        }
        (Knob::Total(_), _) => return Err(StepError::ChosenTotal),
        _ => {}
    }
    Ok(())
}

/// Gives the readings of a dimension another uncertainty each; their scatter stays.
fn known(job: &Job, pump: &mut Pump, at: usize, spread: Spread) {
    let dimension = Dimension { spread, ..job.model_of(pump).dimensions[at].clone() };
    let own = &mut pump.dimensions[at];
    // Readings that have a value have one with any uncertainty of this kind.
    if let Ok(anew) = measured(own.readings.clone(), &dimension, job.policy.coverage) {
        *own = Measured { value: own.value, gauge: own.gauge, ..anew };
    }
}

/// Sets one quantity of the pump itself.
pub(super) fn set(
    job: &Job,
    pump: &mut Pump,
    knob: Knob,
    setting: Setting,
) -> Result<(), StepError> {
    let grow = |pump: &mut Pump, at: usize, change: &dyn Fn(&mut Thermal)| {
        let growth = &mut pump.growths[at];
        change(&mut growth.thermal);
        *growth = Growth::of(growth.thermal.clone());
    };
    match (knob, setting) {
        (Knob::Dimension(at), Setting::Length(value)) => {
            let measured = &mut pump.dimensions[at];
            measured.value = value;
        }
        (Knob::DimensionWithin(at), Setting::Length(within)) => {
            known(job, pump, at, Spread::Within(Tolerance::even(within)));
        }
        (Knob::DimensionPlus(at), Setting::Length(plus)) => {
            let each = pump.dimensions[at].each;
            known(job, pump, at, Spread::Within(Tolerance { plus, ..each }));
        }
        (Knob::DimensionMinus(at), Setting::Length(minus)) => {
            let each = pump.dimensions[at].each;
            known(job, pump, at, Spread::Within(Tolerance { minus, ..each }));
        }
        (Knob::DimensionStandard(at), Setting::Length(standard)) => {
            known(job, pump, at, Spread::StandardUncertainty(standard.into()));
        }
        (Knob::Cold(at), Setting::Number(degrees)) => grow(pump, at, &|t| t.cold = degrees),
        (Knob::Running(at), Setting::Number(degrees)) => grow(pump, at, &|t| t.running = degrees),
        (Knob::GrowingLength(at), Setting::Length(length)) => {
            grow(pump, at, &|t| t.length = length)
        }
        (Knob::Expansion(at), Setting::Number(value)) => {
            grow(pump, at, &|t| t.expansion.value = value);
        }
        (Knob::PiecesWithin(_) | Knob::Pieces(_) | Knob::Total(_), _) => {}
        (Knob::Target(at) | Knob::Lower(at) | Knob::Upper(at), setting) => {
            let form = &mut pump.requirements[at].form;
            limit(form, knob, setting);
            // A limit may pass the target here: the sweep asks for it.
            match form.check() {
                Err(FormError::TargetOutside) | Ok(()) => {}
                Err(wrong) => return Err(wrong.into()),
            }
        }
        _ => return Err(StepError::Kind),
    }
    Ok(())
}

fn limit(form: &mut Form, knob: Knob, setting: Setting) {
    match (form, setting) {
        (Form::Linear { target, lower, upper, .. }, Setting::Length(value)) => match knob {
            Knob::Target(_) => *target = value,
            Knob::Lower(_) => *lower = Some(value),
            _ => *upper = Some(value),
        },
        (Form::GasketFill { target, lower, upper, .. }, Setting::Number(value)) => match knob {
            Knob::Target(_) => *target = value,
            Knob::Lower(_) => *lower = value,
            _ => *upper = Some(value),
        },
        _ => {}
    }
}
