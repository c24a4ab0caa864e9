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

pub use crate::pump::{Expected, ExpectedLaw};
pub use fit::Fit;

use thiserror::Error;

use crate::job::Job;
use crate::length::{Length, Unit};

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
