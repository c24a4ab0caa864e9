//! Errors of the parts of a job.

use std::fmt;

use thiserror::Error;

use crate::model::FormError;

/// An invalid part of a job, and its error.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{part}: {error}")]
pub struct JobError {
    /// The part.
    pub part: Part,
    /// The error.
    pub error: PartError,
}

/// A part of a job, by the name that people use.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum Part {
    /// A model, by its name.
    Model(String),
    /// A pump, by its tag.
    Pump(String),
    /// An item of the stock, by its number.
    Item(String),
    /// A lot of sheets, by its number.
    Plates(String),
    /// A blade of the feeler set, by its position there, from 0.
    Blade(usize),
    /// Rates and rules.
    Policy,
    /// A plan of the job.
    Plan,
}

impl fmt::Display for Part {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Part::Model(name) => write!(f, "model {name}"),
            Part::Pump(tag) => write!(f, "pump {tag}"),
            Part::Item(item) => write!(f, "item {item}"),
            Part::Plates(item) => write!(f, "plates {item}"),
            Part::Blade(index) => write!(f, "feeler blade number {index}, counted from 0"),
            Part::Policy => f.write_str("the policy"),
            Part::Plan => f.write_str("the plan"),
        }
    }
}

/// Errors of a part of a job.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum PartError {
    /// An index out of range.
    #[error("{of} number {index} of {count}, counted from 0")]
    NotThere {
        /// Kind of thing that it is an index of.
        of: &'static str,
        /// The index.
        index: usize,
        /// Number of these things.
        count: usize,
    },
    /// More or fewer entries than the model, or the job, asks for.
    #[error("{found} {of} where there must be {expected}")]
    Count {
        /// Kind of entry.
        of: &'static str,
        /// Number of entries found.
        found: usize,
        /// Number of entries needed.
        expected: usize,
    },
    /// A number out of range.
    #[error("{what} must be {expected}")]
    OutOfRange {
        /// Name of the number.
        what: &'static str,
        /// Allowed range.
        expected: &'static str,
    },
    /// A requirement with inconsistent limits and target.
    #[error("the requirement {requirement} has {error}")]
    Form {
        /// Name of the requirement.
        requirement: String,
        /// The inconsistency.
        error: FormError,
    },
    /// A correlation of something with itself, of two of different kinds, of pieces, or of a dimension that a derived
    /// term is worked out of.
    #[error("a correlation that is not between two dimensions or two thermal terms")]
    Correlation,
    /// A name that another part already has.
    #[error("the name is taken already")]
    Twice,
}
