//! How many pieces to hold and when to buy again: the textbooks' formulas, in whole pieces and
//! whole packs.
//!
//! Money that is a price is exact; chances and expected counts are floats. A period is whatever the
//! caller counts in, a year or a month, as long as demand, lead time and holding cost share it.
//!
//! ```
//! use gapwright::inventory::{Demand, reorder};
//! // 12 pieces a month go out on average and the supplier takes a week.
//! let demand = Demand::poisson(3.0)?;
//! let point = reorder::for_cycle_service(&demand, 0.95)?;
//! assert_eq!(point.pieces, 6);
//! # Ok::<(), gapwright::inventory::Fault>(())
//! ```
//!
//! # Decision
//!
//! A chance within 1e-12 of the one asked for, relatively, counts as it: 19 of 20 is 95 %, and sums of floats are
//! off by less.

mod demand;
pub mod economic;
pub mod level;
pub mod outage;
pub mod reorder;

use thiserror::Error;

pub use demand::Demand;

/// Why a question about the stock has no answer.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum Fault {
    /// A number that must be above zero is not.
    #[error("{what} is {found}; it must be a number above zero")]
    NotAboveZero {
        /// What it is.
        what: &'static str,
        /// What was given.
        found: String,
    },
    /// A number that may not be negative is, or it is no number.
    #[error("{what} is {found}; it must be zero or more")]
    BelowZero {
        /// What it is.
        what: &'static str,
        /// What was given.
        found: String,
    },
    /// A service level that is no share between nothing and everything.
    #[error("a service of {0} is asked for; it must lie between 0 and 1, both left out")]
    Service(f64),
    /// A history without a single row.
    #[error("there is no demand in the history, not even a period without any")]
    NoHistory,
    /// A history that is too short for what is asked of it.
    #[error(
        "a history of {rows} periods or outages cannot tell a service of {service}; it takes {needed}"
    )]
    TooFew {
        /// Rows that there are.
        rows: usize,
        /// The service asked for.
        service: f64,
        /// Rows that it takes.
        needed: u64,
    },
    /// Price breaks that do not start at one pack, do not rise, or whose price does not fall.
    #[error("price break {0} does not follow from the one before: more packs, for less each")]
    Breaks(usize),
    /// A max level below the min level.
    #[error("the max level {max} is below the min level {min}")]
    Levels {
        /// The min level.
        min: u32,
        /// The max level.
        max: u32,
    },
    /// Beyond what can be held or reckoned exactly.
    #[error("{0} is too large to be reckoned exactly")]
    TooLarge(&'static str),
}

/// A number that must be above zero.
fn above_zero(what: &'static str, number: f64) -> Result<f64, Fault> {
    if number.is_finite() && number > 0.0 {
        return Ok(number);
    }
    let found = number.to_string();
    Err(Fault::NotAboveZero { what, found })
}

/// A service level: strictly between nothing and everything.
fn share(service: f64) -> Result<f64, Fault> {
    if service > 0.0 && service < 1.0 { Ok(service) } else { Err(Fault::Service(service)) }
}
