//! A pump of the outage, with its readings, fit codes and limits.

use crate::length::{Length, Tolerance, Uncertainty};
use crate::model::{Correlation, Form, Model, Requirement, Shape, Term, Thermal};
use crate::narrow::narrow;
use crate::packing::RingSpace;
use crate::stock::Code;

/// One row of the pump workbook.
#[derive(Debug, Clone, PartialEq)]
pub struct Pump {
    /// Its own number, unique.
    pub tag: String,
    /// Its model, by index among the job's models.
    pub model: usize,
    /// 1 comes first.
    pub priority: u32,
    /// When it is due, which orders the kit slips.
    pub due: Option<Due>,
    /// Where it stands.
    pub location: Option<String>,
    /// A note, carried through.
    pub note: Option<String>,
    /// Columns that this program does not know, carried through: heading and text.
    pub carried: Vec<(String, String)>,
    /// The fit code of each of the model's packs.
    pub fits: Vec<Code>,
    /// The measured value of each of the model's dimensions.
    pub dimensions: Vec<Measured>,
    /// The growth of each of the model's thermal terms, with this pump's own temperatures.
    pub growths: Vec<Growth>,
    /// Which of its dimensions, or growths, err together: as the model says.
    pub correlations: Vec<Correlation>,
    /// The model's requirements with this pump's own targets and limits.
    pub requirements: Vec<Requirement>,
    /// What each of the model's consumables must fit.
    pub consumable_fits: Vec<ConsumableFit>,
    /// Its row in the pump sheet, from 0.
    pub row: u32,
}

/// What is known of a dimension or a growth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Estimate {
    /// Its value.
    pub value: Length,
    /// How far the true value may lie from it.
    pub tolerance: Tolerance,
    /// The standard uncertainty.
    pub standard: Uncertainty,
    /// Degrees of freedom of the standard uncertainty; `None` where it is as good as known.
    pub freedom: Option<u32>,
}

impl Pump {
    /// A pump of a model, by the model's index among the job's, with the model's own requirements,
    /// correlations and growths. Its fit codes are empty; its dimensions are to be measured, and
    /// [`Job::new`](crate::job::Job::new) refuses it until they are.
    pub fn new(tag: &str, index: usize, model: &Model) -> Pump {
        Pump {
            tag: tag.to_string(),
            model: index,
            priority: 1,
            due: None,
            location: None,
            note: None,
            carried: Vec::new(),
            fits: vec![Code::new(""); model.packs.len()],
            dimensions: Vec::new(),
            growths: model.thermals.iter().cloned().map(Growth::of).collect(),
            correlations: model.correlations.clone(),
            requirements: model.requirements.clone(),
            consumable_fits: vec![ConsumableFit::default(); model.consumables.len()],
            row: 0,
        }
    }

    /// What is known of a term; nothing of the pieces, which are not the pump's own.
    pub fn estimate(&self, term: Term) -> Option<Estimate> {
        match term {
            Term::Pack(_) => None,
            Term::Dimension(index) => self.dimensions.get(index).map(|measured| Estimate {
                value: measured.value,
                tolerance: measured.tolerance,
                standard: measured.standard,
                freedom: measured.freedom,
            }),
            Term::Thermal(index) => self.growths.get(index).map(|growth| Estimate {
                value: growth.value,
                tolerance: growth.tolerance,
                standard: growth.standard,
                freedom: None,
            }),
        }
    }
}

impl Pump {
    /// The requirement that asks cold what this form asks hot, by its index.
    pub(crate) fn cold_twin(&self, hot: &Form) -> Option<usize> {
        let asked = hot.cold_terms()?;
        let mut others = self.requirements.iter();
        others.position(|other| {
            !other.form.is_hot() && other.form.cold_terms().as_ref() == Some(&asked)
        })
    }

    /// When it is due, as the sheet shows it; nothing where that is not said.
    pub fn due_shown(&self) -> &str {
        self.due.as_ref().map_or("", |due| &due.shown)
    }

    /// When it is due, for ordering; a pump without a due date comes last.
    pub fn due_serial(&self) -> f64 {
        self.due.as_ref().map_or(f64::INFINITY, |due| due.serial)
    }

    /// Whether it is due before this day; a pump without a due date never is.
    pub fn is_due_before(&self, day: i64) -> bool {
        #[expect(clippy::cast_precision_loss, reason = "days since 1899 are far below 2^53")]
        let day = day as f64;
        self.due_serial().floor() < day
    }
}

/// What a consumable must fit in a pump.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ConsumableFit {
    /// The fit code, where the model names a column for it and the pump fills it in.
    pub code: Option<Code>,
    /// The space that a ring fills, where the model asks by section.
    pub space: Option<RingSpace>,
}

/// A due date: as shown, and as compared (days since the end of 1899; texts come last).
#[derive(Debug, Clone, PartialEq)]
pub struct Due {
    /// As the sheet shows it.
    pub shown: String,
    /// For ordering.
    pub serial: f64,
}

/// A measured dimension.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Measured {
    /// The readings, one or several.
    pub readings: Vec<Length>,
    /// Their mean.
    pub value: Length,
    /// How far the true value may lie from it.
    pub tolerance: Tolerance,
    /// The standard uncertainty of the value.
    pub standard: Uncertainty,
    /// Degrees of freedom of the standard uncertainty; `None` where it is as good as known.
    pub freedom: Option<u32>,
}

impl Measured {
    /// One reading that is good to a plus/minus, anywhere alike within it.
    pub fn within(value: Length, tolerance: Tolerance) -> Measured {
        Measured {
            readings: vec![value],
            value,
            tolerance,
            standard: Shape::Rectangular.standard(tolerance),
            freedom: None,
        }
    }
}

/// How much a part grows between the cold setting and running.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Growth {
    /// What grows, with this pump's own values.
    pub thermal: Thermal,
    /// By how much.
    pub value: Length,
    /// How far it may lie from that.
    pub tolerance: Tolerance,
    /// Its standard uncertainty.
    pub standard: Uncertainty,
}

impl Growth {
    /// Works it out, to the nearest tick.
    ///
    /// Worst case: the furthest of the products of all ends. Standard uncertainty: every factor
    /// anywhere alike within its plus/minus, first order (JCGM 100:2008, 5.1.2; H.1.7 tells when
    /// more is needed, which the Monte Carlo result includes).
    ///
    /// ```
    /// use gapwright::decimal::Millionths;
    /// use gapwright::length::{Length, Unit};
    /// use gapwright::model::{Expansion, Thermal};
    /// use gapwright::pump::Growth;
    /// let number = |n| Millionths::parse(n).unwrap();
    /// // 100 mm of 316 steel, 60 K warmer: 100 x 15.9e-6 x 60 = 0.0954 mm.
    /// let growth = Growth::of(Thermal {
    ///     name: "sleeve".into(), label: "Sleeve".into(),
    ///     length: Length::parse("100 mm", None).unwrap(), length_within: Length::ZERO,
    ///     expansion: Expansion { value: number("15.9"), within: number("0.9") },
    ///     cold: number("20"), running: number("80"), temperature_within: number("0"),
    /// });
    /// assert_eq!(growth.value.show(Unit::Millimetre), "0.0954");
    /// assert_eq!(growth.tolerance.plus.show(Unit::Millimetre), "0.0054");
    /// ```
    pub fn of(thermal: Thermal) -> Growth {
        // Ticks x (1e-12 per kelvin) x (1e-6 kelvin): 1e18 make a tick.
        const WHOLE: i128 = 1_000_000_000_000_000_000;
        let factor = |value: i128, within: i128| [value - within, value, value + within];
        let length = factor(thermal.length.ticks().into(), thermal.length_within.ticks().into());
        let expansion =
            factor(thermal.expansion.value.raw().into(), thermal.expansion.within.raw().into());
        let warmer = factor(
            i128::from(thermal.running.raw()) - i128::from(thermal.cold.raw()),
            thermal.temperature_within.raw().into(),
        );
        let product = |l: usize, e: usize, w: usize| length[l] * expansion[e] * warmer[w];
        let nominal = product(1, 1, 1);
        // Counted from the whole ticks of the value, so that rounding it takes nothing off.
        let value = (nominal + WHOLE / 2).div_euclid(WHOLE);
        let ends = [0, 2];
        let furthest = ends
            .iter()
            .flat_map(|&l| ends.map(|e| ends.map(|w| (product(l, e, w) - value * WHOLE).abs())))
            .flatten()
            .max()
            .unwrap_or(0);
        // Half-widths of what each factor alone does, in femtometres, rounded up.
        let alone =
            [product(2, 1, 1) - nominal, product(1, 2, 1) - nominal, product(1, 1, 2) - nominal];
        let squares = alone.map(|move_| {
            let half = (move_.abs() + WHOLE / 100_000 - 1) / (WHOLE / 100_000);
            half.saturating_mul(half)
        });
        let square = squares.into_iter().fold(0_i128, i128::saturating_add);
        let ticks = |raw: i128| Length::from_ticks(narrow::<i64>(raw));
        Growth {
            thermal,
            value: ticks(value),
            tolerance: Tolerance::even(ticks((furthest + WHOLE - 1) / WHOLE)),
            standard: Uncertainty::root_of(square.min(i128::MAX / 2), 3),
        }
    }
}
