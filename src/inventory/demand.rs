//! Demand over the time that counts: a lead time, an outage.

mod counts;
mod normal;

pub use counts::Counts;
pub use normal::Normal;

use super::Fault;

/// A chance this much above the one allowed, relatively, still counts as it: sums of floats differ
/// that much from the fractions they stand for, and 19 of 20 is 0.95.
const ROUNDING: f64 = 1e-12;

/// Demand over the time that counts.
#[derive(Debug, Clone, PartialEq)]
pub enum Demand {
    /// Normal: many pieces a lead time.
    Normal(Normal),
    /// Whole counts, each with its chance: Poisson, a history, simulated outages.
    Counts(Counts),
}

impl Demand {
    /// Normal demand; see [`Normal::new`].
    ///
    /// # Errors
    /// [`Fault::NotAboveZero`].
    pub fn normal(mean: f64, sd: f64) -> Result<Demand, Fault> {
        Normal::new(mean, sd).map(Demand::Normal)
    }

    /// Poisson demand; see [`Counts::poisson`].
    ///
    /// # Errors
    /// [`Fault::NotAboveZero`], [`Fault::TooLarge`].
    pub fn poisson(mean: f64) -> Result<Demand, Fault> {
        Counts::poisson(mean).map(Demand::Counts)
    }

    /// Demand as it was seen; see [`Counts::history`].
    ///
    /// # Errors
    /// [`Fault::NoHistory`], [`Fault::TooLarge`].
    pub fn history(counts: &[u32]) -> Result<Demand, Fault> {
        Counts::history(counts).map(Demand::Counts)
    }

    /// Pieces expected.
    pub fn mean(&self) -> f64 {
        match self {
            Demand::Normal(normal) => normal.mean(),
            Demand::Counts(counts) => counts.mean(),
        }
    }

    /// The standard deviation, in pieces.
    pub fn sd(&self) -> f64 {
        match self {
            Demand::Normal(normal) => normal.sd(),
            Demand::Counts(counts) => counts.sd(),
        }
    }

    /// The chance that no more than so many pieces are wanted.
    pub fn within(&self, pieces: u32) -> f64 {
        match self {
            Demand::Normal(normal) => normal.within(pieces.into()),
            Demand::Counts(counts) => counts.within(pieces.into()),
        }
    }

    /// The chance that more are wanted.
    pub fn beyond(&self, pieces: u32) -> f64 {
        match self {
            Demand::Normal(normal) => normal.beyond(pieces.into()),
            Demand::Counts(counts) => counts.beyond(pieces.into()),
        }
    }

    /// Pieces expected to be lacking when so many are held: the loss function.
    pub fn lacking(&self, pieces: u32) -> f64 {
        match self {
            Demand::Normal(normal) => normal.lacking(pieces.into()),
            Demand::Counts(counts) => counts.lacking(pieces.into()),
        }
    }

    /// Pieces expected to be left when so many are held.
    pub fn left(&self, pieces: u32) -> f64 {
        match self {
            Demand::Normal(normal) => normal.left(pieces.into()),
            Demand::Counts(counts) => counts.left(pieces.into()),
        }
    }

    /// The smallest whole count that is exceeded with no more than this chance.
    pub(super) fn least(&self, risk: f64) -> Result<u32, Fault> {
        least_whole(|pieces| self.beyond(pieces) <= risk * (1.0 + ROUNDING))
    }
}

/// The smallest whole number that serves, of those that serve from some number on.
pub(super) fn least_whole(serves: impl Fn(u32) -> bool) -> Result<u32, Fault> {
    const MOST: u32 = 1 << 31;
    let mut high = 1;
    while !serves(high) {
        if high == MOST {
            return Err(Fault::TooLarge("the number of pieces"));
        }
        high *= 2;
    }
    let mut low = 0;
    while low < high {
        let middle = low + (high - low) / 2;
        if serves(middle) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    Ok(low)
}
