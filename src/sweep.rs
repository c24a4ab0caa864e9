//! Sweeps: one dimension, tolerance, temperature, target or limit of a pump varied over a range, with its
//! pieces fixed or chosen again at every step.
//!
//! [`Sweep::parse`] reads one; [`held`] and [`chosen_anew`] run it and return its [`SweepPoint`]s.

use crate::accounting::{pack_total, stack};
use crate::choose::control::Control;
use crate::choose::{ChooseError, choose};
use crate::decimal::Millionths;
use crate::job::{Job, Parts};
use crate::length::{Length, LengthError, Tolerance, Unit};
use crate::model::{Form, FormError, Model, Shape, Spread, Term, Thermal};
use crate::narrow::narrow;
use crate::plan::{Kit, PackPick};
use crate::pump::Growth;
use crate::stack::{Contributor, Report, Stack, Verdict, judge, report};
use thiserror::Error;

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

/// Reason that a text does not describe a sweep.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum SweepError {
    /// The text does not have the expected form.
    #[error("expected WHAT = FROM .. TO, such as \"bare_clearance = 0.060 .. 0.070\"")]
    Shape,
    /// An end is not a length.
    #[error("`{0}`: {1}")]
    Length(String, LengthError),
    /// An end is not a number.
    #[error("`{0}` is not a number of at most six places")]
    Number(String),
    /// An end is below zero for a quantity that never is.
    #[error("{0} is 0 or more")]
    Negative(String),
    /// The place cannot have such numbers of pieces.
    #[error("pieces are whole numbers from 1 to 12, the smaller first")]
    Pieces,
    /// This part of the named quantity cannot be varied.
    #[error("of `{name}` can be varied: {sides}")]
    Side {
        /// Name in the model.
        name: String,
        /// Parts that can be varied.
        sides: &'static str,
    },
    /// The model has no such name.
    #[error("`{name}` is not in the model `{model}`: {known}")]
    Unknown {
        /// Name.
        name: String,
        /// Name of the model.
        model: String,
        /// Known names, separated by commas.
        known: String,
    },
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
    /// A number for a length, or a length for a number.
    #[error("a value of the wrong kind")]
    Kind,
    /// The search ended before the pieces were proven best.
    #[error("the time ended before its pieces were proven best")]
    NotProven,
}

impl Sweep {
    /// Reads `bare_clearance = 0.060 .. 0.070`, `snap_ring plus_minus = 0 .. 0.001`, `bearing_shims
    /// plus_minus = ...`, `bearing_shims pieces = 1 .. 4`, `shaft_growth running = 60 .. 150`,
    /// `running_clearance target|lower|upper = ...` for a model, as `steps` values.
    ///
    /// # Errors
    /// [`SweepError`], with the text expected instead.
    ///
    /// ```
    /// use gapwright::read::{BUILT_IN, parse_model};
    /// use gapwright::sweep::{Knob, Sweep};
    /// let (name, text) = BUILT_IN[0];
    /// let model = parse_model(name, name, text).unwrap();
    /// let sweep = Sweep::parse("bare_clearance = 0.060 .. 0.070", &model, 11).unwrap();
    /// assert_eq!(sweep.knob, Knob::Dimension(0));
    /// assert_eq!(sweep.settings[1].show(model.unit), "0.0610");
    /// assert!(Sweep::parse("bare_clearence = 1 .. 2", &model, 11).is_err());
    /// ```
    pub fn parse(text: &str, model: &Model, steps: u32) -> Result<Sweep, SweepError> {
        let (what, range) = text.split_once('=').ok_or(SweepError::Shape)?;
        let (from, to) = range.split_once("..").ok_or(SweepError::Shape)?;
        let what = what.trim();
        let (name, side) = match what.rsplit_once(char::is_whitespace) {
            Some((name, side)) => (name.trim(), side.trim()),
            None => (what, ""),
        };
        let (knob, label, length) = knob(name, side, model)?;
        let setting = |text: &str| -> Result<Setting, SweepError> {
            let text = text.trim();
            if length {
                Length::parse(text, Some(model.unit))
                    .map(Setting::Length)
                    .map_err(|error| SweepError::Length(text.to_string(), error))
            } else {
                Millionths::parse(text)
                    .map(Setting::Number)
                    .ok_or_else(|| SweepError::Number(text.to_string()))
            }
        };
        let (from, to) = (setting(from)?, setting(to)?);
        let settings = match knob {
            Knob::Pieces(_) => whole(from, to)?,
            _ => between(from, to, steps.max(2)),
        };
        let signed = matches!(
            knob,
            Knob::Dimension(_)
                | Knob::Cold(_)
                | Knob::Running(_)
                | Knob::Target(_)
                | Knob::Lower(_)
                | Knob::Upper(_)
        );
        if !signed && settings.iter().any(|s| s.to_f64(model.unit) < 0.0) {
            return Err(SweepError::Negative(what.to_string()));
        }
        Ok(Sweep { knob, label, settings })
    }
}

/// Meaning in a model of a name and the word after it, and whether the values are lengths.
fn knob(name: &str, side: &str, model: &Model) -> Result<(Knob, String, bool), SweepError> {
    let key = |name: &str| name.to_lowercase().replace([' ', '-'], "_");
    let is = |known: &str| key(known) == key(name);
    let asked = |found: Option<(Knob, String, bool)>, sides: &'static str| {
        let name = name.to_string();
        found.ok_or(SweepError::Side { name, sides })
    };
    if let Some(at) = model.dimensions.iter().position(|d| is(&d.name)) {
        let dimension = &model.dimensions[at];
        let label = &dimension.label;
        let within = matches!(dimension.spread, Spread::Within(_));
        let stated = matches!(dimension.spread, Spread::StandardUncertainty(_));
        let (knob, word) = match side {
            "" => (Knob::Dimension(at), ""),
            "plus_minus" if within => (Knob::DimensionWithin(at), ", plus/minus"),
            "plus" if within => (Knob::DimensionPlus(at), ", plus"),
            "minus" if within => (Knob::DimensionMinus(at), ", minus"),
            "standard_uncertainty" if stated => {
                (Knob::DimensionStandard(at), ", standard uncertainty")
            }
            _ => {
                let sides = match (within, stated) {
                    (true, _) => "its value (the name alone), plus_minus, plus, minus",
                    (_, true) => "its value (the name alone), standard_uncertainty",
                    _ => "its value (the name alone); the rest follows from its readings",
                };
                return asked(None, sides);
            }
        };
        return Ok((knob, format!("{label}{word}"), true));
    }
    if let Some(at) = model.packs.iter().position(|p| is(&p.name)) {
        let label = &model.packs[at].label;
        let found = match side {
            "plus_minus" => {
                Some((Knob::PiecesWithin(at), format!("{label}, plus/minus of each piece"), true))
            }
            "pieces" => Some((Knob::Pieces(at), format!("{label}, pieces"), false)),
            _ => None,
        };
        return asked(found, "plus_minus, pieces");
    }
    if let Some(at) = model.thermals.iter().position(|t| is(&t.name)) {
        let label = &model.thermals[at].label;
        let found = match side {
            "running" => Some((Knob::Running(at), format!("{label}, running (degC)"), false)),
            "cold" => Some((Knob::Cold(at), format!("{label}, cold (degC)"), false)),
            "length" => Some((Knob::GrowingLength(at), format!("{label}, length"), true)),
            "expansion" => {
                Some((Knob::Expansion(at), format!("{label}, expansion (1e-6 per K)"), false))
            }
            _ => None,
        };
        return asked(found, "running, cold, length, expansion");
    }
    if let Some(at) = model.requirements.iter().position(|r| is(&r.name)) {
        let requirement = &model.requirements[at];
        let length = matches!(requirement.form, Form::Linear { .. });
        let label = &requirement.label;
        let found = match side {
            "target" => Some((Knob::Target(at), format!("{label}, target"), length)),
            "lower" | "min" => Some((Knob::Lower(at), format!("{label}, lower limit"), length)),
            "upper" | "max" => Some((Knob::Upper(at), format!("{label}, upper limit"), length)),
            _ => None,
        };
        return asked(found, "target, lower, upper");
    }
    let names = model.dimensions.iter().map(|d| d.name.as_str());
    let names = names
        .chain(model.packs.iter().map(|p| p.name.as_str()))
        .chain(model.thermals.iter().map(|t| t.name.as_str()))
        .chain(model.requirements.iter().map(|r| r.name.as_str()));
    let names: Vec<&str> = names.collect();
    Err(SweepError::Unknown {
        name: name.to_string(),
        model: model.name.clone(),
        known: names.join(", "),
    })
}

/// Whole numbers from one to the other.
fn whole(from: Setting, to: Setting) -> Result<Vec<Setting>, SweepError> {
    let number = |setting| match setting {
        Setting::Number(n) if n.raw() % 1_000_000 == 0 => Some(n.raw() / 1_000_000),
        _ => None,
    };
    match (number(from), number(to)) {
        (Some(from), Some(to)) if (1..=12).contains(&from) && (from..=12).contains(&to) => {
            let all = (from..=to).map(|n| Setting::Number(Millionths::from_raw(n * 1_000_000)));
            Ok(all.collect())
        }
        _ => Err(SweepError::Pieces),
    }
}

/// Evenly spaced values, `steps` of them, from one to the other.
fn between(from: Setting, to: Setting, steps: u32) -> Vec<Setting> {
    let at = |from: i64, to: i64, step: u32| {
        let (from, way) = (i128::from(from), i128::from(to) - i128::from(from));
        let moved = way * i128::from(step) / i128::from(steps - 1);
        narrow::<i64>(from + moved)
    };
    let all = 0..steps;
    match (from, to) {
        (Setting::Length(from), Setting::Length(to)) => all
            .map(|step| Setting::Length(Length::from_ticks(at(from.ticks(), to.ticks(), step))))
            .collect(),
        (Setting::Number(from), Setting::Number(to)) => all
            .map(|step| Setting::Number(Millionths::from_raw(at(from.raw(), to.raw(), step))))
            .collect(),
        // Both ends are read alike.
        _ => vec![from, to],
    }
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
pub fn held(job: &Job, pump: usize, packs: &[PackPick], sweep: &Sweep) -> Vec<SweepPoint> {
    let step = |&setting: &Setting| {
        let mut job = job.clone();
        let fault = set(&mut job.parts, pump, sweep.knob, setting).err();
        let kit = fault.is_none().then(|| {
            let mut stack = stack(&job, &job.pumps[pump], packs);
            adjust(&mut stack, sweep.knob, setting);
            stacked(&job, pump, packs.to_vec(), &stack)
        });
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
) -> Result<Vec<SweepPoint>, ChooseError> {
    let mut points = Vec::new();
    for &setting in &sweep.settings {
        let mut alone = job.clone();
        alone.parts.pumps = vec![job.pumps[pump].clone()];
        let fault = set(&mut alone.parts, 0, sweep.knob, setting)
            .and_then(|()| offer(&mut alone, sweep.knob, setting))
            .err();
        let plan = match fault {
            Some(_) => None,
            None => Some(choose(&alone, control)?),
        };
        // Pieces that are not proven best may not be the ones that would be chosen.
        let open = plan.as_ref().is_some_and(|plan| !plan.proven());
        let fault = fault.or(open.then_some(StepError::NotProven));
        let kit = match plan.filter(|_| !open) {
            None => None,
            Some(plan) => match plan.kits.into_iter().next() {
                Some(Kit::Served(packs)) => {
                    let stack = stack(&alone, &alone.pumps[0], &packs);
                    Some(stacked(&alone, 0, packs, &stack))
                }
                _ => None,
            },
        };
        points.push(SweepPoint { setting, kit, fault });
    }
    Ok(points)
}

fn stacked(job: &Job, pump: usize, packs: Vec<PackPick>, stack: &Stack) -> SweepStep {
    let pump = &job.pumps[pump];
    let unit = job.model_of(pump).unit;
    let requirements = pump.requirements.iter().map(|requirement| {
        let form = &requirement.form;
        (report(form, stack, job.policy.coverage, unit), judge(form, stack, job.policy.guard()))
    });
    SweepStep {
        requirements: requirements.collect(),
        totals: packs.iter().map(|pack| pack_total(job, pack).0).collect(),
        packs,
    }
}

/// Changes the fixed pieces: those of one place only, even if other places use the same lot.
fn adjust(stack: &mut Stack, knob: Knob, setting: Setting) {
    match (knob, setting) {
        (Knob::PiecesWithin(at), Setting::Length(within)) => {
            let of_place = |part: &&mut Contributor| part.term == Term::Pack(at);
            for part in stack.contributors.iter_mut().filter(of_place) {
                part.tolerance = Tolerance::even(within);
                part.standard_uncertainty = Shape::Rectangular.standard_uncertainty(part.tolerance);
            }
        }
        (Knob::Pieces(at), Setting::Number(number)) => {
            let (place, others): (Vec<_>, Vec<_>) =
                stack.contributors.drain(..).partition(|part| part.term == Term::Pack(at));
            stack.contributors = others;
            let Some(first) = place.first() else { return };
            let total: Length = place.iter().map(|part| part.nominal * part.count).sum();
            let count = u32::try_from(number.raw() / 1_000_000).unwrap_or(1).max(1);
            // Each of them as uncertain as the worst one there.
            let all = place.iter().map(|part| part.tolerance);
            let tolerance = all.fold(Tolerance::default(), |a, b| Tolerance {
                minus: a.minus.max(b.minus),
                plus: a.plus.max(b.plus),
            });
            stack.contributors.push(Contributor {
                label: format!("{count} alike"),
                count,
                nominal: Length::from_ticks(total.ticks() / i64::from(count)),
                tolerance,
                standard_uncertainty: Shape::Rectangular.standard_uncertainty(tolerance),
                ..first.clone()
            });
        }
        _ => {}
    }
}

/// Changes the pieces offered to a pump that is alone in its job.
fn offer(job: &mut Job, knob: Knob, setting: Setting) -> Result<(), StepError> {
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
        _ => {}
    }
    Ok(())
}

/// Sets one quantity of the pump itself.
fn set(job: &mut Parts, pump: usize, knob: Knob, setting: Setting) -> Result<(), StepError> {
    let grow = |job: &mut Parts, at: usize, change: &dyn Fn(&mut Thermal)| {
        let growth = &mut job.pumps[pump].growths[at];
        change(&mut growth.thermal);
        *growth = Growth::of(growth.thermal.clone());
    };
    match (knob, setting) {
        (Knob::Dimension(at), Setting::Length(value)) => {
            let measured = &mut job.pumps[pump].dimensions[at];
            measured.value = value;
        }
        (
            Knob::DimensionWithin(at) | Knob::DimensionPlus(at) | Knob::DimensionMinus(at),
            Setting::Length(within),
        ) => {
            let model = job.pumps[pump].model;
            let shape = job.models[model].dimensions[at].shape;
            let measured = &mut job.pumps[pump].dimensions[at];
            if knob != Knob::DimensionPlus(at) {
                measured.tolerance.minus = within;
            }
            if knob != Knob::DimensionMinus(at) {
                measured.tolerance.plus = within;
            }
            measured.standard = shape.standard_uncertainty(measured.tolerance);
        }
        (Knob::DimensionStandard(at), Setting::Length(standard)) => {
            let factor = job.policy.coverage.factor(None);
            let measured = &mut job.pumps[pump].dimensions[at];
            measured.standard = standard.into();
            measured.tolerance = Tolerance::even(measured.standard.times_up(factor));
        }
        (Knob::Cold(at), Setting::Number(degrees)) => grow(job, at, &|t| t.cold = degrees),
        (Knob::Running(at), Setting::Number(degrees)) => grow(job, at, &|t| t.running = degrees),
        (Knob::GrowingLength(at), Setting::Length(length)) => grow(job, at, &|t| t.length = length),
        (Knob::Expansion(at), Setting::Number(value)) => {
            grow(job, at, &|t| t.expansion.value = value);
        }
        (Knob::PiecesWithin(_) | Knob::Pieces(_), _) => {}
        (Knob::Target(at) | Knob::Lower(at) | Knob::Upper(at), setting) => {
            let form = &mut job.pumps[pump].requirements[at].form;
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
