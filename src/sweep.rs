//! Sweeps: one dimension, tolerance, total, temperature, target or limit of a pump varied over a range, with its
//! pieces fixed or chosen again at every step; and maps: two such quantities at once.
//!
//! [`Sweep::parse`] reads one; [`held`] and [`chosen_anew`] run it and return a [`Swept`], with the [`Crossing`]s where
//! a verdict turns. [`around()`] sweeps every quantity of a pump; [`map()`] varies two.

mod around;
mod crossing;
mod map;
mod moved;
mod text;

use crate::accounting::stack;
use crate::choose::control::Control;
use crate::choose::{ChooseError, choose};
use crate::decimal::Millionths;
use crate::job::Job;
use crate::length::{Fine, Length, Tolerance, Unit};
use crate::model::FormError;
use crate::plan::{Kit, PackPick};
use crate::pump::Pump;
use crate::show::{Round, stated};
use crate::stack::{Judgement, Report, Stack, Verdict, judge, report};
use thiserror::Error;

pub use around::{Around, around};
pub use map::{Border, Mapped, map};
pub use text::SweepError;

/// Quantity that is varied.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Knob {
    /// Value of a dimension.
    Dimension(usize),
    /// Plus/minus of a dimension, equal on both sides.
    DimensionWithin(usize),
    /// Plus of a dimension.
    DimensionPlus(usize),
    /// Minus of a dimension.
    DimensionMinus(usize),
    /// Stated standard uncertainty of a dimension.
    DimensionStandard(usize),
    /// Plus/minus of every piece in a place, equal on both sides.
    PiecesWithin(usize),
    /// Number of pieces in a place. Fixed: the same total out of that many equal pieces; chosen again: that
    /// many pieces of the stock.
    Pieces(usize),
    /// Total of the pieces in a place, of the same number and tolerances: one of them is thicker or thinner.
    Total(usize),
    /// Length that grows.
    GrowingLength(usize),
    /// Coefficient of expansion, in millionths per kelvin.
    Expansion(usize),
    /// Cold temperature of a thermal term.
    Cold(usize),
    /// Running temperature of a thermal term.
    Running(usize),
    /// Target of a requirement.
    Target(usize),
    /// Lower limit of a requirement.
    Lower(usize),
    /// Upper limit of a requirement.
    Upper(usize),
}

/// Value of the varied quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Setting {
    /// Length.
    Length(Length),
    /// Temperature in degrees Celsius, allowance, coefficient or number of pieces.
    Number(Millionths),
}

impl Setting {
    /// Text for people, with a length in `unit`.
    pub fn show(self, unit: Unit) -> String {
        match self {
            Setting::Length(length) => length.show(unit),
            Setting::Number(number) => number.to_string(),
        }
    }

    /// Number for a spreadsheet cell.
    pub fn to_f64(self, unit: Unit) -> f64 {
        match self {
            Setting::Length(length) => length.to_f64(unit),
            Setting::Number(number) => number.to_f64(),
        }
    }
}

impl Setting {
    /// Whole ticks, or whole millionths.
    pub fn raw(self) -> i64 {
        match self {
            Setting::Length(length) => length.ticks(),
            Setting::Number(number) => number.raw(),
        }
    }

    /// Value of the same kind, of so many ticks or millionths.
    pub fn with_raw(self, raw: i64) -> Setting {
        match self {
            Setting::Length(_) => Setting::Length(Length::from_ticks(raw)),
            Setting::Number(_) => Setting::Number(Millionths::from_raw(raw)),
        }
    }

    /// Text for people of a value that was solved for, with a length in `unit`: one place more than usual
    /// at most (three of a number).
    pub(crate) fn rounded(self, unit: Unit, round: Round) -> String {
        const THOUSANDTH: i64 = 1_000;
        match (self, round) {
            (Setting::Length(length), round) => stated(length.into(), unit, round),
            (Setting::Number(number), round) => {
                let steps = match round {
                    Round::Up => -(-number.raw()).div_euclid(THOUSANDTH),
                    Round::Down | Round::Nearest => number.raw().div_euclid(THOUSANDTH),
                };
                Millionths::from_raw(steps * THOUSANDTH).to_string()
            }
        }
    }
}

/// Range over which a quantity is varied.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sweep {
    /// Quantity that is varied.
    pub knob: Knob,
    /// Label for people.
    pub label: String,
    /// Values, from first to last.
    pub settings: Vec<Setting>,
}

/// Reason that one step of a sweep cannot be worked out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum StepError {
    /// Limits and target are inconsistent at this step.
    #[error(transparent)]
    Form(#[from] FormError),
    /// Changing the pieces of this place would change those of another place too.
    #[error("another place takes the same pieces: hold them instead")]
    SharedPieces,
    /// A place without pieces has none to vary.
    #[error("no pieces in this place")]
    NoPieces,
    /// A total that follows from the pieces chosen.
    #[error("the total follows from the pieces chosen")]
    ChosenTotal,
    /// A number for a length, or a length for a number.
    #[error("a value of the wrong kind")]
    Kind,
    /// The search ended before the pieces were proven best.
    #[error("the time ended before its pieces were proven best")]
    NotProven,
}

/// Sweep that was run.
#[derive(Debug, Clone, PartialEq)]
pub struct Swept {
    /// Quantity and its values.
    pub sweep: Sweep,
    /// Pieces fixed, or chosen again at every step.
    pub pieces: SweptPieces,
    /// Result of each step.
    pub points: Vec<SweepPoint>,
    /// Places where a verdict turns, requirement by requirement; none where it does not.
    pub crossings: Vec<Crossing>,
    /// Tolerance that each piece was given, where their number is varied and the pieces are fixed: that of the worst
    /// piece there.
    pub given: Option<Tolerance>,
}

/// Pieces of a sweep.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SweptPieces {
    /// Fixed.
    Held,
    /// Chosen again at every step, for this pump alone and out of the whole drawer.
    ChosenAgain,
}

/// Turn of a verdict: two values of the varied quantity next to each other, met at the one and not at the other.
#[derive(Debug, Clone, PartialEq)]
pub struct Crossing {
    /// Requirement that turns, by its index; `None` where the pump can be kitted on one side only, its pieces chosen
    /// again.
    pub requirement: Option<usize>,
    /// Last value at which it is met.
    pub met: Setting,
    /// Next value, one tick (or a millionth, or a piece) further, at which it is not met.
    pub not_met: Setting,
    /// Verdict at that value.
    pub verdict: Judgement,
    /// Margin at the last value; `None` where pieces are chosen again.
    pub margin: Option<Fine>,
    /// Kit that would be chosen at the value that is not met, for this pump alone and out of the whole drawer, if
    /// that was asked for.
    pub beyond: Option<SweepPoint>,
}

/// Result of one step.
#[derive(Debug, Clone, PartialEq)]
pub struct SweepPoint {
    /// Value that was set.
    pub setting: Setting,
    /// Pieces and the result of each requirement; `None` if no kit meets them.
    pub kit: Option<SweepStep>,
    /// Error of the setting itself, such as a target outside the limits.
    pub fault: Option<StepError>,
}

impl Crossing {
    /// Texts for people of the value that is met and of the one that is not, with lengths in `unit`: each rounded away
    /// from the other, so that what is printed lies on its own side.
    pub fn show(&self, unit: Unit) -> [String; 2] {
        let [down, up] = [Round::Down, Round::Up];
        let ends = if self.met.raw() < self.not_met.raw() { [down, up] } else { [up, down] };
        [self.met.rounded(unit, ends[0]), self.not_met.rounded(unit, ends[1])]
    }
}

impl SweepPoint {
    /// Reason that there is no kit, in words.
    pub fn why(&self) -> String {
        match self.fault {
            Some(fault) => fault.to_string(),
            None => "cannot be kitted".into(),
        }
    }
}

/// Step that can be worked out.
#[derive(Debug, Clone, PartialEq)]
pub struct SweepStep {
    /// Pieces of each place.
    pub packs: Vec<PackPick>,
    /// Total of each place.
    pub totals: Vec<Length>,
    /// Stack-up of each requirement, in the model's unit.
    pub requirements: Vec<(Report, Verdict)>,
}

/// Runs a sweep of a pump with these pieces fixed.
pub fn held(job: &Job, pump: usize, packs: &[PackPick], sweep: &Sweep) -> Swept {
    let given = match sweep.knob {
        Knob::Pieces(at) => {
            let stack = stack(job, &job.pumps[pump], packs);
            moved::worst_of(&stack, at)
        }
        _ => None,
    };
    Swept {
        points: points(job, pump, packs, sweep),
        crossings: crossing::held(job, pump, packs, sweep),
        sweep: sweep.clone(),
        pieces: SweptPieces::Held,
        given,
    }
}

/// Results of a sweep with these pieces fixed.
fn points(job: &Job, pump: usize, packs: &[PackPick], sweep: &Sweep) -> Vec<SweepPoint> {
    let step = |&setting: &Setting| {
        let moved = moved::held(job, pump, packs, &[(sweep.knob, setting)]);
        let fault = moved.as_ref().err().copied();
        let kit = moved.ok().map(|(pump, stack)| stacked(job, &pump, packs, &stack));
        SweepPoint { setting, kit, fault }
    };
    sweep.settings.iter().map(step).collect()
}

/// Runs a sweep of a pump with its pieces chosen again at every step, from the whole drawer.
///
/// # Errors
/// [`ChooseError`]: more ways to fill a place than can be listed.
pub fn chosen_anew(
    job: &Job,
    pump: usize,
    sweep: &Sweep,
    control: &Control<'_>,
) -> Result<Swept, ChooseError> {
    let at = |setting| chosen_at(job, pump, (sweep.knob, setting), control);
    let points: Result<Vec<_>, _> = sweep.settings.iter().map(|&setting| at(setting)).collect();
    let points = points?;
    Ok(Swept {
        crossings: crossing::of_kits(&points, sweep.knob, &at)?,
        points,
        sweep: sweep.clone(),
        pieces: SweptPieces::ChosenAgain,
        given: None,
    })
}

/// Adds to each crossing of a sweep with fixed pieces the kit that would be chosen beyond it.
///
/// # Errors
/// [`ChooseError`]: more ways to fill a place than can be listed.
pub fn choose_beyond(
    job: &Job,
    pump: usize,
    swept: &mut Swept,
    control: &Control<'_>,
) -> Result<(), ChooseError> {
    for crossing in &mut swept.crossings {
        let moved = (swept.sweep.knob, crossing.not_met);
        // A total that is chosen is no longer the one that was set.
        if !matches!(swept.sweep.knob, Knob::Total(_)) {
            crossing.beyond = Some(chosen_at(job, pump, moved, control)?);
        }
    }
    Ok(())
}

/// Kit that is chosen with one quantity at a value, for the pump alone.
fn chosen_at(
    job: &Job,
    pump: usize,
    (knob, setting): (Knob, Setting),
    control: &Control<'_>,
) -> Result<SweepPoint, ChooseError> {
    let mut alone = job.clone();
    let mut own = job.pumps[pump].clone();
    let fault = moved::set(job, &mut own, knob, setting);
    alone.parts.pumps = vec![own];
    let fault = fault.and_then(|()| moved::offer(&mut alone, knob, setting)).err();
    let plan = match fault {
        Some(_) => None,
        None => Some(choose(&alone, control)?),
    };
    // Pieces that are not proven best may not be the ones that would be chosen.
    let open = plan.as_ref().is_some_and(|plan| !plan.proven());
    let fault = fault.or(open.then_some(StepError::NotProven));
    let kit = match plan.filter(|_| !open).and_then(|plan| plan.kits.into_iter().next()) {
        Some(Kit::Served(packs)) => {
            let stack = stack(&alone, &alone.pumps[0], &packs);
            Some(stacked(&alone, &alone.pumps[0], &packs, &stack))
        }
        _ => None,
    };
    Ok(SweepPoint { setting, kit, fault })
}

fn stacked(job: &Job, pump: &Pump, packs: &[PackPick], stack: &Stack) -> SweepStep {
    let unit = job.model_of(pump).unit;
    let requirements = pump.requirements.iter().map(|requirement| {
        let form = &requirement.form;
        (report(form, stack, job.policy.coverage, unit), judge(form, stack, job.policy.guard()))
    });
    SweepStep {
        requirements: requirements.collect(),
        totals: moved::totals(stack, packs.len()),
        packs: packs.to_vec(),
    }
}
