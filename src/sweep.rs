//! What if: one dimension, tolerance, temperature, target or limit of a pump moved over a range,
//! with its pieces held or chosen anew at every step.

use crate::choose::watch::Watch;
use crate::choose::{ChooseError, choose};
use crate::decimal::Millionths;
use crate::job::Job;
use crate::length::{Length, Tolerance, Uncertainty, Unit};
use crate::model::{Form, Model, Shape, Spread};
use crate::plan::{Kit, PackPick, pack_total, stack};
use crate::pump::Growth;
use crate::stack::{Report, Verdict, judge, report};

/// What is moved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Knob {
    /// The value of a dimension.
    Dimension(usize),
    /// The plus/minus of a dimension, the same on both sides.
    DimensionWithin(usize),
    /// The plus/minus of every piece in a place, the same on both sides.
    PiecesWithin(usize),
    /// The cold temperature of a thermal term.
    Cold(usize),
    /// The running temperature of a thermal term.
    Running(usize),
    /// The target of a requirement.
    Target(usize),
    /// The lower limit of a requirement.
    Lower(usize),
    /// The upper limit of a requirement.
    Upper(usize),
}

/// A value that something is moved to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Setting {
    /// A length.
    Length(Length),
    /// A temperature in degrees Celsius, or an allowance.
    Number(Millionths),
}

impl Setting {
    /// As people read it, in a unit if it is a length.
    pub fn show(self, unit: Unit) -> String {
        match self {
            Setting::Length(length) => length.show(unit),
            Setting::Number(number) => number.to_string(),
        }
    }

    /// The number for a spreadsheet cell.
    pub fn to_f64(self, unit: Unit) -> f64 {
        match self {
            Setting::Length(length) => length.to_f64(unit),
            Setting::Number(number) => number.to_f64(),
        }
    }
}

/// A range that something is moved over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sweep {
    /// What is moved.
    pub knob: Knob,
    /// What people call it.
    pub label: String,
    /// The values, from first to last.
    pub settings: Vec<Setting>,
}

impl Sweep {
    /// Reads `bare_clearance = 0.060 .. 0.070`, `snap_ring plus_minus = 0 .. 0.001`,
    /// `bearing_shims plus_minus = ...`, `shaft_growth running = 60 .. 150`,
    /// `running_clearance target|lower|upper = ...` for a model, in so many steps.
    ///
    /// # Errors
    /// What is wrong, and what would be right.
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
    pub fn parse(text: &str, model: &Model, steps: u32) -> Result<Sweep, String> {
        let shape = "WHAT = FROM .. TO, such as \"bare_clearance = 0.060 .. 0.070\"";
        let (what, range) = text.split_once('=').ok_or(format!("expected {shape}"))?;
        let (from, to) = range.split_once("..").ok_or(format!("expected {shape}"))?;
        let what = what.trim();
        let (name, side) = match what.rsplit_once(char::is_whitespace) {
            Some((name, side)) => (name.trim(), side.trim()),
            None => (what, ""),
        };
        let (knob, label, length) = knob(name, side, model)?;
        let setting = |text: &str| -> Result<Setting, String> {
            let text = text.trim();
            if length {
                Length::parse(text, Some(model.unit))
                    .map(Setting::Length)
                    .map_err(|error| format!("`{text}`: {error}"))
            } else {
                Millionths::parse(text)
                    .map(Setting::Number)
                    .ok_or(format!("`{text}` is not a number of at most six places"))
            }
        };
        let settings = between(setting(from)?, setting(to)?, steps.max(2));
        let within = matches!(knob, Knob::DimensionWithin(_) | Knob::PiecesWithin(_));
        if within && settings.iter().any(|s| s.to_f64(model.unit) < 0.0) {
            return Err("a plus/minus is 0 or more".into());
        }
        Ok(Sweep {
            knob,
            label,
            settings,
        })
    }
}

/// What a name and the word behind it mean in a model, and whether it is a length.
fn knob(name: &str, side: &str, model: &Model) -> Result<(Knob, String, bool), String> {
    let key = |name: &str| name.to_lowercase().replace([' ', '-'], "_");
    let is = |known: &str| key(known) == key(name);
    let asked = |found: Option<(Knob, String, bool)>, sides: &str| {
        found.ok_or(format!("of `{name}` can be moved: {sides}"))
    };
    if let Some(at) = model.dimensions.iter().position(|d| is(&d.name)) {
        let dimension = &model.dimensions[at];
        let label = &dimension.label;
        return match (side, dimension.spread) {
            ("", _) => Ok((Knob::Dimension(at), label.clone(), true)),
            ("plus_minus", Spread::Within(_)) => Ok((
                Knob::DimensionWithin(at),
                format!("{label}, plus/minus"),
                true,
            )),
            ("plus_minus", _) => Err(format!(
                "`{name}` is known by a standard uncertainty or by its readings, not by a plus/minus"
            )),
            _ => asked(None, "its value (no word behind it), plus_minus"),
        };
    }
    if let Some(at) = model.packs.iter().position(|p| is(&p.name)) {
        let label = format!("{}, plus/minus of each piece", model.packs[at].label);
        let found = (side == "plus_minus").then_some((Knob::PiecesWithin(at), label, true));
        return asked(found, "plus_minus");
    }
    if let Some(at) = model.thermals.iter().position(|t| is(&t.name)) {
        let label = &model.thermals[at].label;
        let found = match side {
            "running" => Some((Knob::Running(at), format!("{label}, running (degC)"), false)),
            "cold" => Some((Knob::Cold(at), format!("{label}, cold (degC)"), false)),
            _ => None,
        };
        return asked(found, "running, cold");
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
    Err(format!(
        "`{name}` is nothing of the model `{}`: {}",
        model.name,
        names.join(", ")
    ))
}

/// So many values from one to the other, evenly.
fn between(from: Setting, to: Setting, steps: u32) -> Vec<Setting> {
    let at = |from: i64, to: i64, step: u32| {
        let (from, way) = (i128::from(from), i128::from(to) - i128::from(from));
        let moved = way * i128::from(step) / i128::from(steps - 1);
        i64::try_from(from + moved).unwrap_or(i64::MAX)
    };
    let all = 0..steps;
    match (from, to) {
        (Setting::Length(from), Setting::Length(to)) => all
            .map(|step| Setting::Length(Length::from_ticks(at(from.ticks(), to.ticks(), step))))
            .collect(),
        (Setting::Number(from), Setting::Number(to)) => all
            .map(|step| Setting::Number(Millionths::from_raw(at(from.raw(), to.raw(), step))))
            .collect(),
        // Both are read alike.
        _ => vec![from, to],
    }
}

/// What one step comes to.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    /// The value that was set.
    pub setting: Setting,
    /// The pieces and what each requirement comes to; nothing where no kit does.
    pub kit: Option<Step>,
    /// What is wrong with the setting itself: a target outside the limits.
    pub fault: Option<&'static str>,
}

/// A step that can be worked out.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// The pieces.
    pub packs: Vec<PackPick>,
    /// The total of each place.
    pub totals: Vec<Length>,
    /// The stack-up of each requirement, in the model's unit.
    pub requirements: Vec<(Report, Verdict)>,
}

/// Moves a pump through a sweep with these pieces held.
pub fn held(job: &Job, pump: usize, packs: &[PackPick], sweep: &Sweep) -> Vec<Point> {
    let step = |&setting: &Setting| {
        let mut job = job.clone();
        let fault = set(&mut job, pump, packs, sweep.knob, setting).err();
        Point {
            setting,
            kit: fault.is_none().then(|| stacked(&job, pump, packs.to_vec())),
            fault,
        }
    };
    sweep.settings.iter().map(step).collect()
}

/// Moves a pump through a sweep, its pieces chosen anew at every step as if the whole drawer were
/// there for it.
///
/// # Errors
/// [`ChooseError`]: more ways to fill a place than can be listed.
pub fn chosen_anew(
    job: &Job,
    pump: usize,
    sweep: &Sweep,
    watch: &Watch<'_>,
) -> Result<Vec<Point>, ChooseError> {
    let mut points = Vec::new();
    for &setting in &sweep.settings {
        let mut alone = job.clone();
        alone.pumps = vec![job.pumps[pump].clone()];
        let fault = set(&mut alone, 0, &[], sweep.knob, setting).err();
        let kit = match fault {
            Some(_) => None,
            None => match choose(&alone, watch)?.kits.into_iter().next() {
                Some(Kit::Served(packs)) => Some(stacked(&alone, 0, packs)),
                _ => None,
            },
        };
        points.push(Point {
            setting,
            kit,
            fault,
        });
    }
    Ok(points)
}

fn stacked(job: &Job, pump: usize, packs: Vec<PackPick>) -> Step {
    let pump = &job.pumps[pump];
    let stack = stack(job, pump, &packs);
    let unit = job.model_of(pump).unit;
    let requirements = pump.requirements.iter().map(|requirement| {
        let form = &requirement.form;
        (
            report(form, &stack, job.policy.coverage, unit),
            judge(form, &stack, job.policy.guard()),
        )
    });
    Step {
        requirements: requirements.collect(),
        totals: packs.iter().map(|pack| pack_total(job, pack).0).collect(),
        packs,
    }
}

/// Sets one thing of a pump. Of pieces it is those of these packs, or all that may go to the place
/// where none are given.
fn set(
    job: &mut Job,
    pump: usize,
    packs: &[PackPick],
    knob: Knob,
    setting: Setting,
) -> Result<(), &'static str> {
    match (knob, setting) {
        (Knob::Dimension(at), Setting::Length(value)) => {
            let measured = &mut job.pumps[pump].dimensions[at];
            measured.value = value;
        }
        (Knob::DimensionWithin(at), Setting::Length(within)) => {
            let model = job.pumps[pump].model;
            let shape = job.models[model].dimensions[at].shape;
            let measured = &mut job.pumps[pump].dimensions[at];
            measured.tolerance = Tolerance::even(within);
            measured.standard = standard(shape, within);
        }
        (Knob::PiecesWithin(at), Setting::Length(within)) => {
            let items: Vec<usize> = match packs.get(at) {
                Some(pack) => pack.picks.iter().map(|pick| pick.item).collect(),
                None => {
                    let of = &job.pumps[pump];
                    job.offered(&job.model_of(of).packs[at], &of.fits[at])
                        .collect()
                }
            };
            for item in items {
                if let Some(size) = &mut job.stock[item].size {
                    size.tolerance = Tolerance::even(within);
                }
            }
        }
        (Knob::Cold(at), Setting::Number(degrees)) => {
            let growth = &mut job.pumps[pump].growths[at];
            growth.thermal.cold = degrees;
            *growth = Growth::of(growth.thermal.clone());
        }
        (Knob::Running(at), Setting::Number(degrees)) => {
            let growth = &mut job.pumps[pump].growths[at];
            growth.thermal.running = degrees;
            *growth = Growth::of(growth.thermal.clone());
        }
        (Knob::Target(at) | Knob::Lower(at) | Knob::Upper(at), setting) => {
            let form = &mut job.pumps[pump].requirements[at].form;
            limit(form, knob, setting);
            form.check()?;
        }
        _ => return Err("a value of the wrong kind"),
    }
    Ok(())
}

fn standard(shape: Shape, within: Length) -> Uncertainty {
    shape.standard(Tolerance::even(within))
}

fn limit(form: &mut Form, knob: Knob, setting: Setting) {
    match (form, setting) {
        (
            Form::Linear {
                target,
                lower,
                upper,
                ..
            },
            Setting::Length(value),
        ) => match knob {
            Knob::Target(_) => *target = value,
            Knob::Lower(_) => *lower = value,
            _ => *upper = value,
        },
        (
            Form::GasketFill {
                target,
                lower,
                upper,
                ..
            },
            Setting::Number(value),
        ) => match knob {
            Knob::Target(_) => *target = value,
            Knob::Lower(_) => *lower = value,
            _ => *upper = value,
        },
        _ => {}
    }
}
