//! A reading at the bench and its possible error.

use crate::gauge::OfGauge;
use crate::length::{Length, LengthError, Unit};

/// A reading, and the distance to either side within which the true value lies.
///
/// A feeler gap between two blades, the last that goes and the first that does not, is known no better than that: the
/// true value lies anywhere between them, and the reading is their middle.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reading {
    /// The value.
    pub value: Length,
    /// Half the width of the range of the true value, the error of its gauge included.
    pub within: Length,
    /// Gauge that it was read with, where that is one of the job: what else was measured with it shares its error.
    pub gauge: Option<OfGauge>,
}

impl Reading {
    /// Part of the range that is not its gauge's, uniformly distributed.
    pub fn own(&self) -> Length {
        let gauge = self.gauge.map_or(Length::ZERO, |of| of.certified.extent);
        (self.within - gauge).max(Length::ZERO)
    }

    /// Reads `0.0212`, `0.54 mm` or `0.021 to 0.022 in`; `unit` is that of a number without one, and `within` is the
    /// error of the instrument.
    ///
    /// For a range, the whole width counts, plus the instrument's own error.
    ///
    /// # Errors
    /// [`LengthError`] as for [`Length::parse`].
    ///
    /// ```
    /// use gapwright::length::{Length, Unit};
    /// use gapwright::recheck::Reading;
    /// let half_a_thou = Length::parse("0.5 thou", None).unwrap();
    /// let blades = Reading::parse("0.021 to 0.022", Some(Unit::Inch), half_a_thou).unwrap();
    /// assert_eq!(blades.value.show(Unit::Inch), "0.0215");
    /// assert_eq!(blades.within.show(Unit::Inch), "0.0010");
    /// ```
    pub fn parse(text: &str, unit: Option<Unit>, within: Length) -> Result<Reading, LengthError> {
        let Some((from, to)) = text.split_once(" to ") else {
            let value = Length::parse(text, unit)?;
            return Ok(Reading { value, within, gauge: None });
        };
        let to_text = to.trim();
        let to = Length::parse(to_text, unit)?;
        // A unit after the second one counts for both.
        let shared = to_text.find(|c: char| !(c.is_ascii_digit() || "+-.,/ ".contains(c)));
        let shared = shared.and_then(|at| Unit::parse(&to_text[at..])).or(unit);
        let from = Length::parse(from.trim(), shared)?;
        let (low, high) = (from.min(to), from.max(to));
        Ok(Reading::between(low, high, within))
    }

    /// Anywhere between two values.
    pub fn between(low: Length, high: Length, within: Length) -> Reading {
        let sum = low.ticks() + high.ticks();
        let value = Length::from_ticks(sum.div_euclid(2));
        // The further end, so that an odd sum is not rounded down.
        let half = high - value;
        Reading { value, within: half + within, gauge: None }
    }
}

/// The first reading, and the second one that was taken after the likely mistakes were checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Readings {
    /// The first.
    pub first: Reading,
    /// The second, if there is one.
    pub again: Option<Reading>,
}

impl Readings {
    /// The last one, which counts.
    pub fn last(&self) -> Reading {
        self.again.unwrap_or(self.first)
    }
}
