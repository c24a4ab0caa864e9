//! Pumps that are not measured yet: what each of their dimensions is expected to come to.

mod fit;

pub use fit::Fit;

use crate::job::Job;
use crate::length::{Length, Uncertainty, Unit};

/// An outage before it is measured.
///
/// The job is whole: where a dimension is only expected, its pump stands there as if it had been
/// measured at the middle of the range.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlook {
    /// Stock, models and pumps.
    pub job: Job,
    /// What is expected, by pump and by dimension of its model; `None` for what is measured.
    pub expected: Vec<Vec<Option<Expected>>>,
}

/// What a dimension that is not measured yet is expected to come to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Expected {
    /// The least that is expected; above zero, and never above `high`.
    pub low: Length,
    /// The greatest.
    pub high: Length,
    /// How likely what is.
    pub law: Law,
}

/// How likely the values of a dimension are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Law {
    /// Every value of the range alike: nothing more is known than its ends.
    Even,
    /// Like past readings: the mean and a multiple of Student's t, so that one more reading is
    /// predicted and not just their mean. It can lie beyond the range.
    Readings {
        /// The mean of the readings.
        mean: Length,
        /// What t is multiplied by: the standard deviation times the root of 1 + 1/n.
        scale: Uncertainty,
        /// Degrees of freedom: one less than there are readings.
        freedom: u32,
    },
}

/// How far apart values are looked at where nobody says otherwise: half a thou for models in inches,
/// a hundredth of a millimetre for metric ones. Our own choice, no source.
///
/// ```
/// use gapwright::length::Unit;
/// use gapwright::outlook::usual_step;
/// assert_eq!(usual_step(Unit::Inch).show(Unit::Inch), "0.0005");
/// assert_eq!(usual_step(Unit::Micrometre).show(Unit::Micrometre), "10.0");
/// ```
pub fn usual_step(unit: Unit) -> Length {
    match unit {
        Unit::Inch | Unit::Thou => Length::from_ticks(Unit::Thou.ticks() / 2),
        Unit::Millimetre | Unit::Micrometre => Length::from_ticks(10 * Unit::Micrometre.ticks()),
    }
}
