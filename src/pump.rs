//! Pumps of the outage, with their readings, fit codes and limits.
//!
//! [`Pump`] is one row of the pump workbook; [`Growth`] is the thermal growth of one of its parts.

mod expected;
mod product;

pub use expected::{Expected, ExpectedLaw};

use crate::gauge::OfGauge;
use crate::length::{Length, Tolerance, Uncertainty};
use crate::model::{
    Combine, Correlation, Derived, DerivedRule, Dimension, Expansion, Form, Model, Requirement,
    Shape, Spread, Term, Thermal,
};
use crate::packing::RingSpace;
use crate::stock::Code;
use product::{Deviation, Factor, Product};

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
    /// Terms worked out of its dimensions, as the model gives them.
    pub derived: Vec<Derived>,
    /// Correlations of its dimensions or growths, as the model gives them.
    pub correlations: Vec<Correlation>,
    /// The model's requirements with this pump's own targets and limits.
    pub requirements: Vec<Requirement>,
    /// Fit of each of the model's consumables.
    pub consumable_fits: Vec<ConsumableFit>,
    /// Row in the pump sheet, from 0.
    pub row: u32,
}

/// Value and uncertainty of a dimension, a growth or a derived term.
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
            derived: model.derived.clone(),
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
                freedom: growth.freedom,
                gauge: None,
            }),
            Term::Derived(index) => derived(self.derived.get(index)?, &self.dimensions),
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

    /// Dimensions of its model whose readings contradict each other, by their index: measure them again.
    pub fn to_measure_again<'a>(&'a self, model: &'a Model) -> impl Iterator<Item = usize> + 'a {
        let both = model.dimensions.iter().zip(&self.dimensions).enumerate();
        let again =
            both.filter(|(_, (dimension, measured))| measured.contradicts_itself(dimension));
        again.map(|(index, _)| index)
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

    /// Whether its readings contradict each other: they should be of one length and lie further apart than their
    /// stated uncertainty explains.
    pub fn contradicts_itself(&self, dimension: &Dimension) -> bool {
        let of_one_length = dimension.combine == Combine::Mean;
        let is_stated = !matches!(dimension.spread, Spread::FromReadings { .. });
        let ends = self.readings.iter().min().zip(self.readings.iter().max());
        let apart = ends.map_or(Length::ZERO, |(least, most)| *most - *least);
        of_one_length && is_stated && apart > self.each.minus + self.each.plus
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
    /// Effective degrees of freedom of that; `None` where it is taken as exactly known.
    pub freedom: Option<u32>,
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
    ///     degrees_of_freedom: [None; 3],
    ///     material: None,
    /// });
    /// assert_eq!(growth.value.show(Unit::Millimetre), "0.0954");
    /// assert_eq!(growth.tolerance.plus.show(Unit::Millimetre), "0.0054");
    /// ```
    pub fn of(thermal: Thermal) -> Growth {
        let Estimate { value, tolerance, standard, freedom, .. } = product(&thermal).estimate();
        Growth { thermal, value, tolerance, standard, freedom }
    }

    /// Share by which terms of the second order raise its standard uncertainty.
    pub fn second_order(&self) -> f64 {
        product(&self.thermal).second_order()
    }
}

/// Product of length, expansion and temperature difference.
fn product(thermal: &Thermal) -> Product<3> {
    let warmer = i128::from(thermal.running.raw()) - i128::from(thermal.cold.raw());
    let rectangular = |value: i128, within: i64, freedom: Option<u32>| Factor {
        value,
        within: [within.into(); 2],
        deviation: Deviation::Half(within.into()),
        freedom,
        power: 1,
    };
    let [length, expansion, difference] = thermal.degrees_of_freedom;
    let Expansion { value, within } = thermal.expansion;
    Product {
        factors: [
            rectangular(thermal.length.ticks().into(), thermal.length_within.ticks(), length),
            rectangular(value.raw().into(), within.raw(), expansion),
            rectangular(warmer, thermal.temperature_within.raw(), difference),
        ],
        // Ticks x (1e-12 per kelvin) x (1e-6 kelvin): 1e18 make one tick.
        scale: [1, 1_000_000_000_000_000_000],
    }
}

/// Value and uncertainty of a derived term with these dimensions; `None` where one of them is missing, or where one
/// that divides may be zero.
///
/// ```
/// use gapwright::length::{Length, Tolerance, Unit};
/// use gapwright::model::{Derived, DerivedRule};
/// use gapwright::pump::{Measured, derived};
/// let mm = |text: &str| Length::parse(text, Some(Unit::Millimetre)).unwrap();
/// let measured = |value, within| Measured::within(mm(value), Tolerance::even(mm(within)));
/// // Play at a rim of 80 mm, read at an arm of 100 mm: 0.250 x 80 / 100 = 0.200 mm.
/// let rule = DerivedRule::Product { per: mm("100") };
/// let play = Derived { name: "play".into(), label: "Play".into(), of: [0, 1], rule };
/// let dimensions = [measured("0.250", "0.010"), measured("80", "1")];
/// let play = derived(&play, &dimensions).unwrap();
/// assert_eq!(play.value, mm("0.2"));
/// // The further corner: 0.260 x 81 / 100 = 0.2106.
/// assert_eq!(play.tolerance, Tolerance::even(mm("0.0106")));
/// ```
pub fn derived(of: &Derived, dimensions: &[Measured]) -> Option<Estimate> {
    of_dimensions(of, dimensions).map(|product| product.estimate())
}

/// Share by which terms of the second order raise the standard uncertainty of a derived term.
pub fn second_order(of: &Derived, dimensions: &[Measured]) -> Option<f64> {
    of_dimensions(of, dimensions).map(|product| product.second_order())
}

fn of_dimensions(of: &Derived, dimensions: &[Measured]) -> Option<Product<2>> {
    let factor = |at: usize, power: i8| {
        let Measured { value, tolerance, standard, freedom, .. } = dimensions.get(of.of[at])?;
        let within = [tolerance.minus, tolerance.plus].map(|side| i128::from(side.ticks()));
        let value = i128::from(value.ticks());
        let crosses_zero = value - within[0] <= 0 && value + within[1] >= 0;
        let deviation = Deviation::Standard(standard.raw().into());
        let factor = Factor { value, within, deviation, freedom: *freedom, power };
        (power > 0 || !crosses_zero).then_some(factor)
    };
    let (power, scale) = match of.rule {
        DerivedRule::Product { per } => (1, [1, per.ticks().into()]),
        DerivedRule::Quotient { times } => (-1, [times.ticks().into(), 1]),
    };
    Some(Product { factors: [factor(0, 1)?, factor(1, power)?], scale })
}
