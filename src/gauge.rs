//! Gauges, and uncertainties as a certificate or a measurement of a lot states them.
//!
//! [`Gauge`] is one row of the sheet Gauges. [`Certified`] is an uncertainty with its range in the worst case;
//! [`OfGauge`] is that of a gauge, carried by all that was measured with it. [`ReadingStep`] is the last digit that it
//! shows.

use std::fmt;

use crate::length::{Fine, Length, Uncertainty, Unit};

/// Uncertainty of one stated value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Certified {
    /// Standard uncertainty.
    pub standard: Uncertainty,
    /// Range either way in the worst case: the coverage factor times the standard uncertainty, or Student's factor
    /// where there are degrees of freedom.
    pub extent: Length,
    /// Degrees of freedom; `None` where it is taken as exactly known.
    pub freedom: Option<u32>,
}

/// Gauge of the shop, one row of the sheet Gauges.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Gauge {
    /// Name, unique.
    pub name: String,
    /// Uncertainty of one of its readings.
    pub certified: Certified,
    /// Number of its certificate.
    pub certificate: Option<String>,
}

/// Uncertainty of the gauge that something was measured with; all that was measured with it shares its error.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OfGauge {
    /// Index of the gauge in the job.
    pub gauge: usize,
    /// Uncertainty of one of its readings.
    pub certified: Certified,
}

/// Least differences that a gauge shows: in whole steps of them the ranges of its readings are printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ReadingStep {
    /// Step of one that reads in inches.
    pub inch: Length,
    /// Step of one that reads in millimetres.
    pub metric: Length,
}

impl ReadingStep {
    /// Reads `0.0005 in / 0.01 mm`; or one of the two, the other one staying as it is. `None` for anything else, and
    /// for a step of nothing or above 0.1 in.
    ///
    /// ```
    /// use gapwright::gauge::ReadingStep;
    /// use gapwright::length::Length;
    /// let usual = ReadingStep { inch: Length::from_ticks(127_000), metric: Length::from_ticks(100_000) };
    /// assert_eq!(usual.to_string(), "0.0005 in / 0.010 mm");
    /// let finer = usual.with("0.002 mm").unwrap();
    /// assert_eq!(finer.to_string(), "0.0005 in / 0.002 mm");
    /// assert_eq!(usual.with("0.01"), None);
    /// ```
    pub fn with(mut self, text: &str) -> Option<ReadingStep> {
        for side in text.split(" / ") {
            let at = side.rfind(|c: char| c.is_ascii_digit())? + 1;
            let unit = Unit::parse(&side[at..])?.large();
            let step = Length::parse(side, None).ok().filter(|step| self::step(*step))?;
            // A gauge has a last digit.
            Fine::from(step).exact(unit)?;
            match unit {
                Unit::Inch => self.inch = step,
                _ => self.metric = step,
            }
        }
        Some(self)
    }

    /// Step of a gauge that reads in this unit, or in one of its system.
    pub fn of(self, unit: Unit) -> Length {
        match unit.large() {
            Unit::Inch => self.inch,
            _ => self.metric,
        }
    }
}

/// Whether a length can be a gauge's step.
pub fn step(step: Length) -> bool {
    step > Length::ZERO && step <= Length::from_ticks(100 * Unit::Thou.ticks())
}

impl fmt::Display for ReadingStep {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [inch, mm] = [Unit::Inch, Unit::Millimetre].map(|unit| self.of(unit).show(unit));
        write!(f, "{inch} in / {mm} mm")
    }
}
