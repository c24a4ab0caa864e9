//! Expected value of a dimension that is not measured yet.

use crate::length::{Length, Uncertainty};

/// Expected value of a dimension that is not measured yet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Expected {
    /// Least expected value; above zero, and never above `high`.
    pub low: Length,
    /// Greatest expected value.
    pub high: Length,
    /// Distribution.
    pub law: ExpectedLaw,
}

impl Expected {
    /// Number of values of the range in these steps; zero for a step that is not above zero.
    pub fn count(&self, step: Length) -> u64 {
        if step <= Length::ZERO || self.high < self.low {
            return 0;
        }
        let steps = (self.high - self.low).ticks().unsigned_abs();
        steps.div_ceil(step.ticks().unsigned_abs()) + 1
    }

    /// Values of the range in these steps: its low end, every step up from there, and its high end.
    ///
    /// ```
    /// use gapwright::length::{Length, Unit};
    /// use gapwright::forecast::{Expected, ExpectedLaw};
    /// let thou = |n: i64| Length::from_ticks(n * Unit::Thou.ticks());
    /// let expected = Expected { low: thou(20), high: thou(25), law: ExpectedLaw::Even };
    /// assert_eq!(expected.values(thou(2)), [20, 22, 24, 25].map(thou));
    /// ```
    pub fn values(&self, step: Length) -> Vec<Length> {
        let numbers = 0..self.count(step);
        numbers.filter_map(|n| self.value(n, step)).collect()
    }

    /// Value of the range by its number, counted from 0; `None` beyond the last.
    pub fn value(&self, number: u64, step: Length) -> Option<Length> {
        let last = self.count(step).checked_sub(1)?;
        if number >= last {
            return (number == last).then_some(self.high);
        }
        let number = i64::try_from(number).ok()?;
        Some(self.low + Length::from_ticks(number * step.ticks()))
    }

    /// Value nearest to a length: one of the range, or beyond it whole steps from its end. Of two equally
    /// near the lower one; always above zero.
    ///
    /// ```
    /// use gapwright::length::{Length, Unit};
    /// use gapwright::forecast::{Expected, ExpectedLaw};
    /// let tenth = |n: i64| Length::from_ticks(n * Unit::Thou.ticks() / 10);
    /// let expected = Expected { low: tenth(200), high: tenth(250), law: ExpectedLaw::Even };
    /// let near = [(209, 200), (211, 220), (244, 240), (246, 250), (261, 270), (15, 20), (-9, 20)];
    /// for (drawn, value) in near {
    ///     assert_eq!(expected.nearest(tenth(drawn), tenth(20)), tenth(value));
    /// }
    /// ```
    pub fn nearest(&self, length: Length, step: Length) -> Length {
        let step = step.ticks().max(1);
        let (low, high) = (self.low.ticks(), self.high.ticks());
        let at = length.ticks();
        // A tie goes down: half a step is subtracted, and the rest rounded up.
        let steps = |from: i64| -(step - 2 * (at - from)).div_euclid(2 * step);
        let value = if at > high {
            high + step * steps(high)
        } else {
            let below = low + step * steps(low);
            if at < low { below } else { below.min(high) }
        };
        // Between the last step and the high end, the nearer of the two.
        let last = low + step * ((high - low) / step);
        let value = match at {
            at if (last..=high).contains(&at) && at - last <= high - at => last,
            at if (last..=high).contains(&at) => high,
            _ => value,
        };
        // A length that no measurement can give becomes the least step that one could.
        let least = match low % step {
            0 => step,
            rest => rest,
        };
        Length::from_ticks(value.max(least))
    }
}

/// Distribution of the values of a dimension.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ExpectedLaw {
    /// Even: every examined value of the range is equally likely; only the ends are known.
    Even,
    /// Prediction from past readings: the mean and a multiple of Student's t for one more reading, not just
    /// for their mean. The value can lie beyond the range. Pumps of a model with the same readings share an
    /// unknown mean and scatter, and so are correlated.
    Readings {
        /// Mean of the readings.
        mean: Length,
        /// Factor of t: the standard deviation times the root of 1 + 1/n.
        scale: Uncertainty,
        /// Degrees of freedom: the number of readings less one.
        degrees_of_freedom: u32,
    },
}
