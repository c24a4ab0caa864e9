//! Sweeps as people type them: `bare_clearance = 0.060 .. 0.070`.

use thiserror::Error;

use super::{Knob, Setting, Sweep};
use crate::decimal::Millionths;
use crate::length::{Length, LengthError};
use crate::model::{Form, Model, Spread};
use crate::narrow::narrow;

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

impl Sweep {
    /// Reads `bare_clearance = 0.060 .. 0.070`, `snap_ring plus_minus = 0 .. 0.001`, `bearing_shims
    /// plus_minus = ...`, `bearing_shims total = ...`, `bearing_shims pieces = 1 .. 4`, `shaft_growth running = 60 .. 150`,
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
            "total" => Some((Knob::Total(at), format!("{label}, total"), true)),
            "pieces" => Some((Knob::Pieces(at), format!("{label}, pieces"), false)),
            _ => None,
        };
        return asked(found, "total, plus_minus, pieces");
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
