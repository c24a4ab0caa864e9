//! Why parts are no job.

use std::fmt;

use thiserror::Error;

use crate::model::FormError;

/// Why parts are no job: the part, and what is wrong with it.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{part}: {error}")]
pub struct JobError {
    /// Which part it is.
    pub part: Part,
    /// What is wrong with it.
    pub error: PartError,
}

/// A part of a job, by the name that people know it by.
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
    Sheets(String),
    /// A blade of the feeler set, by its place there, from 0.
    Blade(usize),
    /// The rates and rules.
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
            Part::Sheets(item) => write!(f, "sheets {item}"),
            Part::Blade(index) => write!(f, "feeler blade number {index}, counted from 0"),
            Part::Policy => f.write_str("the policy"),
            Part::Plan => f.write_str("the plan"),
        }
    }
}

/// What is wrong with a part of a job.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum PartError {
    /// An index of something that is not there.
    #[error("{of} number {index} of {count}, counted from 0")]
    NotThere {
        /// What it should be an index of.
        of: &'static str,
        /// The index.
        index: usize,
        /// How many there are.
        count: usize,
    },
    /// More or fewer entries than the model, or the job, asks for.
    #[error("{found} {of} where there must be {expected}")]
    Count {
        /// What is counted.
        of: &'static str,
        /// How many there are.
        found: usize,
        /// How many there must be.
        expected: usize,
    },
    /// A number that it cannot be.
    #[error("{what} must be {expected}")]
    OutOfRange {
        /// The number.
        what: &'static str,
        /// What it may be.
        expected: &'static str,
    },
    /// A requirement whose limits and target make no sense together.
    #[error("the requirement {requirement} has {error}")]
    Form {
        /// Its name.
        requirement: String,
        /// What is wrong with it.
        error: FormError,
    },
    /// A correlation of something with itself, of two of different kinds, or of pieces.
    #[error("a correlation that is not between two dimensions or two thermal terms")]
    Correlation,
    /// Another part has the name already.
    #[error("the name is taken already")]
    Twice,
}
