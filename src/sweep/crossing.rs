//! Crossings: the two values next to each other between which a verdict turns.
//!
//! Found by halving the way between two steps of a sweep, in whole ticks (or millionths): the verdict is worked out
//! afresh at each value, so the crossing is exact for every rule. The steps only say where to look. Where no step is
//! met, the value with the greatest margin is looked for first, so that a range that is met between two steps is not
//! missed: a margin falls off to both sides of its greatest value, since values move in proportion to what is
//! varied and guards grow at least in proportion. A factor that follows from degrees of freedom moves in small jumps;
//! then the one crossing is given that halving leads to.

use super::{Crossing, Knob, Setting, StepError, Sweep, SweepPoint, moved};
use crate::job::Job;
use crate::length::Fine;
use crate::model::FormError;
use crate::plan::PackPick;
use crate::stack::{Judgement, Verdict, judge};

/// Outcome of a requirement at one value of a quantity.
#[derive(Debug, Clone, Copy)]
enum Outcome {
    /// Judged, with its margin.
    Judged(Verdict),
    /// Limits that contradict each other are met by nothing.
    Contradiction,
    /// Not worked out.
    Unknown,
}

impl Outcome {
    fn met(self) -> Option<bool> {
        match self {
            Outcome::Judged(verdict) => Some(verdict.conforms()),
            Outcome::Contradiction => Some(false),
            Outcome::Unknown => None,
        }
    }

    fn margin(self) -> Option<Fine> {
        match self {
            Outcome::Judged(verdict) => Some(verdict.margin()),
            _ => None,
        }
    }

    fn judgement(self) -> Judgement {
        match self {
            Outcome::Judged(verdict) => verdict.judgement(),
            Outcome::Contradiction | Outcome::Unknown => Judgement::NotMet,
        }
    }
}

/// Crossings of every requirement along a sweep with fixed pieces.
pub(super) fn held(job: &Job, pump: usize, packs: &[PackPick], sweep: &Sweep) -> Vec<Crossing> {
    let requirements = job.pumps[pump].requirements.len();
    let of = |requirement| {
        let at = |setting| {
            let moves = [(sweep.knob, setting)];
            outcome(verdict(job, pump, packs, (&moves, requirement)), sweep.knob, requirement)
        };
        let found = along(&sweep.settings, step(sweep.knob), &at).into_iter();
        let found = found.map(|(met, not_met)| Crossing {
            requirement: Some(requirement),
            margin: at(met).margin(),
            verdict: at(not_met).judgement(),
            met,
            not_met,
            beyond: None,
        });
        found.collect::<Vec<_>>()
    };
    (0..requirements).flat_map(of).collect()
}

/// Ends of the values that meet every requirement of a pump with fixed pieces, as the last met value below and above;
/// `None` where none of the range does. An end of the range is no crossing: `met` is then the end itself.
pub(super) fn met_range(
    settings: &[Setting],
    knob: Knob,
    verdict: impl Fn(Setting) -> Result<Verdict, StepError>,
    requirement: usize,
) -> Option<[Setting; 2]> {
    let at = |setting| outcome(verdict(setting), knob, requirement);
    let turns = along(settings, step(knob), &at);
    let mut met: Vec<Setting> = turns.into_iter().map(|(met, _)| met).collect();
    let ends = [settings.first()?, settings.last()?];
    met.extend(ends.into_iter().filter(|end| at(**end).met() == Some(true)));
    let least = met.iter().min_by_key(|setting| setting.raw())?;
    let most = met.iter().max_by_key(|setting| setting.raw())?;
    Some([*least, *most])
}

/// Verdict of a requirement with these quantities set.
pub(super) fn verdict(
    job: &Job,
    pump: usize,
    packs: &[PackPick],
    (moves, requirement): (&[(Knob, Setting)], usize),
) -> Result<Verdict, StepError> {
    let (pump, stack) = moved::held(job, pump, packs, moves)?;
    Ok(judge(&pump.requirements[requirement].form, &stack, job.policy.guard()))
}

fn outcome(verdict: Result<Verdict, StepError>, knob: Knob, requirement: usize) -> Outcome {
    let own = matches!(knob, Knob::Lower(at) | Knob::Upper(at) if at == requirement);
    match verdict {
        Ok(verdict) => Outcome::Judged(verdict),
        Err(StepError::Form(FormError::LimitsCrossed)) if own => Outcome::Contradiction,
        Err(_) => Outcome::Unknown,
    }
}

/// Smallest step of a quantity, in ticks or millionths.
fn step(knob: Knob) -> i64 {
    if matches!(knob, Knob::Pieces(_)) { 1_000_000 } else { 1 }
}

/// Turns between these values: last value that is met, next one that is not.
fn along(
    settings: &[Setting],
    step: i64,
    at: &dyn Fn(Setting) -> Outcome,
) -> Vec<(Setting, Setting)> {
    let mut seen: Vec<(Setting, Outcome)> = settings.iter().map(|&s| (s, at(s))).collect();
    if !seen.iter().any(|(_, outcome)| outcome.met() == Some(true)) {
        let margins = seen.iter().map(|(_, outcome)| outcome.margin()).enumerate();
        let greatest = margins.filter(|(_, margin)| margin.is_some());
        if let Some((best, _)) = greatest.max_by_key(|(_, margin)| *margin) {
            let ends = [best.saturating_sub(1), (best + 1).min(seen.len() - 1)];
            let top = summit(ends.map(|end| seen[end].0), step, at);
            let place = seen.partition_point(|(s, _)| before(*s, top, settings));
            seen.insert(place, (top, at(top)));
        }
    }
    // A value too fine for an allowance times a sensitivity says nothing: its neighbours do.
    seen.retain(|(_, outcome)| outcome.met().is_some());
    let turns = seen.windows(2).filter_map(|pair| {
        let [(one, of_one), (other, of_other)] = [pair[0], pair[1]];
        match (of_one.met()?, of_other.met()?) {
            (true, false) => Some(halved(one, other, step, at)),
            (false, true) => Some(halved(other, one, step, at)),
            _ => None,
        }
    });
    turns.collect()
}

/// Whether a value comes before another in a sweep that may run upwards or downwards.
fn before(one: Setting, other: Setting, settings: &[Setting]) -> bool {
    let ends = settings.first().zip(settings.last());
    let falls = ends.is_some_and(|(first, last)| first.raw() > last.raw());
    if falls { one.raw() > other.raw() } else { one.raw() < other.raw() }
}

/// Value with the greatest margin between two: a third of the way is left out at each look.
fn summit(ends: [Setting; 2], step: i64, at: &dyn Fn(Setting) -> Outcome) -> Setting {
    let kind = ends[0];
    let margin = |steps: i64| at(kind.with_raw(steps * step)).margin();
    let [mut low, mut high] = ends.map(|end| end.raw().div_euclid(step));
    if low > high {
        (low, high) = (high, low);
    }
    while high - low > 2 {
        let third = (high - low) / 3;
        let (one, other) = (low + third, high - third);
        match margin(one).cmp(&margin(other)) {
            std::cmp::Ordering::Less => low = one,
            std::cmp::Ordering::Greater => high = other,
            std::cmp::Ordering::Equal => (low, high) = (one, other),
        }
    }
    let best = (low..=high).max_by_key(|steps| margin(*steps)).unwrap_or(low);
    kind.with_raw(best * step)
}

/// Neighbours of a turn between a value that is met and one that is not.
fn halved(
    mut met: Setting,
    mut not_met: Setting,
    step: i64,
    at: &dyn Fn(Setting) -> Outcome,
) -> (Setting, Setting) {
    /// Values in a row that may be too fine for an allowance times a sensitivity.
    const TOO_FINE: i64 = 16;
    while (met.raw() - not_met.raw()).abs() > step {
        let steps = [met, not_met].map(|end| end.raw().div_euclid(step));
        let (least, most) = (steps[0].min(steps[1]), steps[0].max(steps[1]));
        let middle = least + (most - least) / 2;
        let tried = (middle..most.min(middle + TOO_FINE)).find_map(|steps| {
            let setting = met.with_raw(steps * step);
            Some((setting, at(setting).met()?))
        });
        match tried {
            Some((setting, true)) => met = setting,
            Some((setting, false)) => not_met = setting,
            None => break,
        }
    }
    (met, not_met)
}

/// Crossings between steps with a kit and steps without one, the pieces chosen again at each value.
pub(super) fn of_kits<E>(
    points: &[SweepPoint],
    knob: Knob,
    at: &dyn Fn(Setting) -> Result<SweepPoint, E>,
) -> Result<Vec<Crossing>, E> {
    let kitted = |point: &SweepPoint| point.fault.is_none().then_some(point.kit.is_some());
    let mut found = Vec::new();
    for pair in points.windows(2) {
        let (mut met, mut not_met) = match (kitted(&pair[0]), kitted(&pair[1])) {
            (Some(true), Some(false)) => (pair[0].clone(), pair[1].clone()),
            (Some(false), Some(true)) => (pair[1].clone(), pair[0].clone()),
            _ => continue,
        };
        let step = step(knob);
        while (met.setting.raw() - not_met.setting.raw()).abs() > step {
            let [a, b] = [&met, &not_met].map(|point| point.setting.raw().div_euclid(step));
            let middle = at(met.setting.with_raw((a + (b - a) / 2) * step))?;
            match kitted(&middle) {
                Some(true) => met = middle,
                Some(false) => not_met = middle,
                None => break,
            }
        }
        found.push(Crossing {
            requirement: None,
            met: met.setting,
            not_met: not_met.setting,
            verdict: Judgement::NotMet,
            margin: None,
            beyond: None,
        });
    }
    Ok(found)
}
