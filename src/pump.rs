//! Pumps of the outage, with their readings, fit codes and limits.
//!
//! [`Pump`] is one row of the pump workbook; [`Growth`] is the thermal growth of one of its parts.

use crate::gauge::OfGauge;
use crate::length::{Length, Tolerance, Uncertainty};
use crate::model::{Correlation, Form, Model, Requirement, Shape, Term, Thermal};
use crate::narrow::narrow;
use crate::packing::RingSpace;
use crate::stock::Code;

/// One row of the pump workbook.
#[derive(Debug, Clone, PartialEq)]
pub struct Pump {
    /// Tag, unique.
    pub tag: String,
    /// Index of its model among the job's models.
    pub model: usize,
    /// Priority; 1 comes first.
    pub priority: u32,
    /// Due date, which orders the kit slips.
    pub due: Option<Due>,
    /// Location.
    pub location: Option<String>,
    /// Note, copied to the output.
    pub note: Option<String>,
    /// Unknown columns, copied to the output: heading and text.
    pub carried: Vec<(String, String)>,
    /// Fit code of each of the model's packs.
    pub fits: Vec<Code>,
    /// Measured value of each of the model's dimensions.
    pub dimensions: Vec<Measured>,
    /// Growth of each of the model's thermal terms, at this pump's own temperatures.
    pub growths: Vec<Growth>,
    /// Correlations of its dimensions or growths, as the model gives them.
    pub correlations: Vec<Correlation>,
    /// The model's requirements with this pump's own targets and limits.
    pub requirements: Vec<Requirement>,
    /// Fit of each of the model's consumables.
    pub consumable_fits: Vec<ConsumableFit>,
    /// Row in the pump sheet, from 0.
    pub row: u32,
}

/// Value and uncertainty of a dimension or a growth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Estimate {
    /// Value.
    pub value: Length,
    /// Plus/minus on the value.
    pub tolerance: Tolerance,
    /// Standard uncertainty.
    pub standard: Uncertainty,
    /// Degrees of freedom of the standard uncertainty; `None` where it is taken as exactly known.
    pub freedom: Option<u32>,
    /// Gauge that it was measured with.
    pub gauge: Option<OfGauge>,
}

impl Pump {
    /// Pump of a model (`index` among the job's models), with the model's own requirements, correlations and
    /// growths. Its fit codes are empty and its dimensions have no value yet:
    /// [`Job::new`](crate::job::Job::new) refuses it until they are measured.
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

    /// Value and uncertainty of a term; `None` of a pack, whose pieces are not the pump's own.
    pub fn estimate(&self, term: Term) -> Option<Estimate> {
        match term {
            Term::Pack(_) => None,
            Term::Dimension(index) => self.dimensions.get(index).map(|measured| Estimate {
                value: measured.value,
                tolerance: measured.tolerance,
                standard: measured.standard,
                freedom: measured.freedom,
                gauge: measured.gauge,
            }),
            Term::Thermal(index) => self.growths.get(index).map(|growth| Estimate {
                value: growth.value,
                tolerance: growth.tolerance,
                standard: growth.standard,
                freedom: None,
                gauge: None,
            }),
        }
    }
}

impl Pump {
    /// Index of the requirement that is the cold counterpart of this hot form.
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

    /// Due date as a number, for ordering; infinite without one, so that such a pump comes last.
    pub fn due_serial(&self) -> f64 {
        self.due.as_ref().map_or(f64::INFINITY, |due| due.serial)
    }

    /// Whether the due date is before this day; never without one.
    pub fn is_due_before(&self, day: i64) -> bool {
        #[expect(clippy::cast_precision_loss, reason = "days since 1899 are far below 2^53")]
        let day = day as f64;
        self.due_serial().floor() < day
    }
}

/// Fit that a consumable needs in a pump.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ConsumableFit {
    /// Fit code, where the model names a column for it and the pump gives one.
    pub code: Option<Code>,
    /// Ring space, where the model asks by section.
    pub space: Option<RingSpace>,
}

/// Due date: as shown, and as compared (days since the end of 1899; texts come last).
#[derive(Debug, Clone, PartialEq)]
pub struct Due {
    /// As the sheet shows it.
    pub shown: String,
    /// Number for ordering.
    pub serial: f64,
}

/// Measured dimension.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Measured {
    /// Readings, one or several.
    pub readings: Vec<Length>,
    /// Mean of the readings, or the least or the greatest, as the model combines them.
    pub value: Length,
    /// Plus/minus on the value. It holds every reading, and what each may be off.
    pub tolerance: Tolerance,
    /// Plus/minus of one reading.
    pub each: Tolerance,
    /// Standard uncertainty of the value.
    pub standard: Uncertainty,
    /// Degrees of freedom of the standard uncertainty; `None` where it is taken as exactly known.
    pub freedom: Option<u32>,
    /// Gauge that it was measured with; its error comes on top.
    pub gauge: Option<OfGauge>,
}

impl Measured {
    /// One reading with a plus/minus, taken as rectangular.
    pub fn within(value: Length, tolerance: Tolerance) -> Measured {
        Measured {
            readings: vec![value],
            value,
            tolerance,
            each: tolerance,
            standard: Shape::Rectangular.standard_uncertainty(tolerance),
            freedom: None,
            gauge: None,
        }
    }

    /// Whether its readings lie further apart than what each may be off explains.
    pub fn scatters(&self) -> bool {
        let ends = self.readings.iter().min().zip(self.readings.iter().max());
        let apart = ends.map_or(Length::ZERO, |(least, most)| *most - *least);
        apart > self.each.minus + self.each.plus
    }
}

/// Growth of a part between the cold setting and running.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Growth {
    /// Part that grows, with this pump's own values.
    pub thermal: Thermal,
    /// Growth.
    pub value: Length,
    /// Plus/minus on the growth.
    pub tolerance: Tolerance,
    /// Standard uncertainty of the growth.
    pub standard: Uncertainty,
}

impl Growth {
    /// Growth `expansion x length x (running - cold)`, to the nearest tick.
    ///
    /// Worst case: the furthest product of the ends of the three factors. Standard uncertainty: first order,
    /// each factor rectangular within its plus/minus (JCGM 100:2008, 5.1.2; H.1.7 shows when higher orders
    /// matter, which the Monte Carlo result includes).
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
    ///     material: None,
    /// });
    /// assert_eq!(growth.value.show(Unit::Millimetre), "0.0954");
    /// assert_eq!(growth.tolerance.plus.show(Unit::Millimetre), "0.0054");
    /// ```
    pub fn of(thermal: Thermal) -> Growth {
        // Ticks x (1e-12 per kelvin) x (1e-6 kelvin): 1e18 make one tick.
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
        // Measured from the rounded value, so that the rounding is covered too.
        let value = (nominal + WHOLE / 2).div_euclid(WHOLE);
        let ends = [0, 2];
        let furthest = ends
            .iter()
            .flat_map(|&l| ends.map(|e| ends.map(|w| (product(l, e, w) - value * WHOLE).abs())))
            .flatten()
            .max()
            .unwrap_or(0);
        // Half-widths due to each factor alone, in femtometres, rounded up.
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
