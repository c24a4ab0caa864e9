//! Forecast: pumps that are not measured yet, and the expected values of their dimensions.
//!
//! [`Forecast`] holds them; [`Expected`] is one range with its distribution; [`Fit`] predicts from past
//! readings.
//!
//! # Decisions
//!
//! - A stated range outranks past readings of the model: someone knows more of this pump than of its like.
//! - A range beside a reading counts for nothing, not even its faults: the reading is known, the range was a guess.
//! - Readings not taken yet are presumed to scatter like past ones of one pump, pooled: the guard that most pumps
//!   will have. A pump that scatters more needs more room, and `kit` sees to it.

mod fit;

pub use fit::Fit;

use thiserror::Error;

use crate::job::Job;
use crate::length::{Length, Uncertainty, Unit};

/// Outage before it is measured.
///
/// The job is complete: a pump with an expected dimension is in it as if measured at the middle of the range.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    job: Job,
    expected: Vec<Vec<Option<Expected>>>,
}

/// Reason that a job and ranges do not make an outlook.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum ForecastError {
    /// Number of pumps with ranges that differs from the number in the job.
    #[error("ranges of {found} pumps, where the job has {pumps}")]
    Pumps {
        /// Pumps with ranges.
        found: usize,
        /// Pumps of the job.
        pumps: usize,
    },
    /// Number of ranges that differs from the number of dimensions of a pump's model.
    #[error("pump {pump}: {found} ranges for {dimensions} dimensions")]
    Dimensions {
        /// Tag of the pump.
        pump: String,
        /// Ranges.
        found: usize,
        /// Dimensions of its model.
        dimensions: usize,
    },
    /// Range of a dimension that a derived term is worked out of: forecasts work out sums of lengths only.
    #[error("pump {pump}, {dimension}: a range, though {derived} is worked out of it")]
    Derived {
        /// Tag of the pump.
        pump: String,
        /// Label of the dimension.
        dimension: String,
        /// Label of the derived term.
        derived: String,
    },
    /// Range that is empty or does not start above zero.
    #[error("pump {pump}, {dimension}: the range is empty or does not start above zero")]
    Range {
        /// Tag of the pump.
        pump: String,
        /// Label of the dimension.
        dimension: String,
    },
}

impl Forecast {
    /// Forecast of a job, with a range for each dimension that is not measured: by pump and by
    /// dimension of its model, `None` for a measured one.
    ///
    /// # Errors
    /// [`ForecastError`]: the first range that does not match the job.
    pub fn new(job: Job, expected: Vec<Vec<Option<Expected>>>) -> Result<Forecast, ForecastError> {
        let (found, pumps) = (expected.len(), job.pumps.len());
        if found != pumps {
            return Err(ForecastError::Pumps { found, pumps });
        }
        for (pump, ranges) in job.pumps.iter().zip(&expected) {
            let (found, dimensions) = (ranges.len(), pump.dimensions.len());
            if found != dimensions {
                let pump = pump.tag.clone();
                return Err(ForecastError::Dimensions { pump, found, dimensions });
            }
            let sound = |range: &Expected| range.low > Length::ZERO && range.low <= range.high;
            let model = job.model_of(pump);
            for (at, (dimension, range)) in model.dimensions.iter().zip(ranges).enumerate() {
                let own = model.derived_of(at).map(|derived| derived.label.clone());
                if let Some((_, derived)) = range.zip(own) {
                    let (pump, dimension) = (pump.tag.clone(), dimension.label.clone());
                    return Err(ForecastError::Derived { pump, dimension, derived });
                }
                if !range.as_ref().is_none_or(sound) {
                    let (pump, dimension) = (pump.tag.clone(), dimension.label.clone());
                    return Err(ForecastError::Range { pump, dimension });
                }
            }
        }
        Ok(Forecast { job, expected })
    }

    /// Forecast of ranges that were checked while they were read, with their cells.
    pub(crate) fn of_checked(job: Job, expected: Vec<Vec<Option<Expected>>>) -> Forecast {
        Forecast { job, expected }
    }

    /// Stock, models and pumps.
    pub fn job(&self) -> &Job {
        &self.job
    }

    /// Ranges by pump and by dimension of its model; `None` for a measured one.
    pub fn expected(&self) -> &[Vec<Option<Expected>>] {
        &self.expected
    }

    /// Job and ranges.
    pub fn into_parts(self) -> (Job, Vec<Vec<Option<Expected>>>) {
        (self.job, self.expected)
    }

    /// Finest usual step of the models of the outage.
    pub fn usual_step(&self) -> Length {
        let units = self.job.models.iter().map(|model| usual_step(model.unit));
        units.min().unwrap_or_else(|| usual_step(Unit::Inch))
    }
}

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

/// Default spacing of the values examined: half a thou for models in inches, a hundredth of a millimetre for
/// metric ones. Our own choice, no source.
///
/// ```
/// use gapwright::length::Unit;
/// use gapwright::forecast::usual_step;
/// assert_eq!(usual_step(Unit::Inch).show(Unit::Inch), "0.0005");
/// assert_eq!(usual_step(Unit::Micrometre).show(Unit::Micrometre), "10.0");
/// ```
pub fn usual_step(unit: Unit) -> Length {
    match unit {
        Unit::Inch | Unit::Thou => Length::from_ticks(Unit::Thou.ticks() / 2),
        Unit::Millimetre | Unit::Micrometre => Length::from_ticks(10 * Unit::Micrometre.ticks()),
    }
}
