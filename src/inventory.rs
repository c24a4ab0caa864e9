//! Inventory formulas of the textbooks, in whole pieces and whole packs: how many to hold and when to order.
//!
//! Prices are exact; probabilities and expected counts are floats. A period is any unit of time, such as a year or a
//! month, as long as demand, lead time and holding cost share it.
//!
//! ```
//! use gapwright::inventory::{Demand, reorder};
//! // 12 pieces a month go out on average and the supplier takes a week.
//! let demand = Demand::poisson(3.0)?;
//! let point = reorder::for_cycle_service(&demand, 0.95)?;
//! assert_eq!(point.pieces, 6);
//! # Ok::<(), gapwright::inventory::InventoryError>(())
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

/// Reasons why an inventory calculation has no result.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum InventoryError {
    /// A number that must be above zero is not.
    #[error("{what} is {found}; it must be a number above zero")]
    NotAboveZero {
        /// Name of the number.
        what: &'static str,
        /// Value that was given.
        found: String,
    },
    /// A number that may not be negative is negative, or is not a number.
    #[error("{what} is {found}; it must be zero or more")]
    BelowZero {
        /// Name of the number.
        what: &'static str,
        /// Value that was given.
        found: String,
    },
    /// A service level that is not strictly between 0 and 1.
    #[error("a service of {0} is asked for; it must be above 0 and below 1")]
    Service(f64),
    /// A history without a single row.
    #[error("the demand history is empty")]
    NoHistory,
    /// A history that is too short for the service level.
    #[error(
        "a history of {rows} periods or outages cannot tell a service of {service}; it takes {needed}"
    )]
    TooFew {
        /// Rows of the history.
        rows: usize,
        /// Service level asked for.
        service: f64,
        /// Rows needed.
        needed: u64,
    },
    /// Price breaks that do not start at one pack, do not rise, or whose price does not fall.
    #[error(
        "price break {0} does not follow from the one before: it needs more packs at a lower price each"
    )]
    Breaks(usize),
    /// A max level below the min level.
    #[error("the max level {max} is below the min level {min}")]
    Levels {
        /// Min level.
        min: u32,
        /// Max level.
        max: u32,
    },
    /// Too large to be held or calculated exactly.
    #[error("{0} is too large to be calculated exactly")]
    TooLarge(&'static str),
}

/// Checks that a number is above zero.
fn above_zero(what: &'static str, number: f64) -> Result<f64, InventoryError> {
    if number.is_finite() && number > 0.0 {
        return Ok(number);
    }
    let found = number.to_string();
    Err(InventoryError::NotAboveZero { what, found })
}

/// Checks that a service level is strictly between 0 and 1.
fn share(service: f64) -> Result<f64, InventoryError> {
    if service > 0.0 && service < 1.0 { Ok(service) } else { Err(InventoryError::Service(service)) }
}
