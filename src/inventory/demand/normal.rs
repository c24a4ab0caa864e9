//! Normal demand.

use statrs::distribution::{Continuous, ContinuousCDF, Normal as Bell};

use crate::inventory::{Fault, above_zero, not_below_zero};

/// Normal demand. It can come out below nothing, which the textbooks disregard: it fits where the
/// mean is a few standard deviations. Its tails are those of statrs, good to nine digits or so.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Normal {
    mean: f64,
    sd: f64,
}

impl Normal {
    /// Demand of so many pieces on average, with this standard deviation.
    ///
    /// # Errors
    /// [`Fault::NotAboveZero`] for a standard deviation that is not above zero,
    /// [`Fault::BelowZero`] for a mean below zero.
    pub fn new(mean: f64, sd: f64) -> Result<Normal, Fault> {
        let mean = not_below_zero("the mean demand", mean)?;
        let sd = above_zero("the standard deviation of demand", sd)?;
        Ok(Normal { mean, sd })
    }

    /// Demand in a lead time of `lead` periods that itself varies by `lead_sd`, from the `mean` and
    /// `sd` of one period; periods do not depend on each other.
    ///
    /// Source: sigma^2 = L sd^2 + mean^2 sigma_L^2, as any textbook has it (seen in the
    /// documentation of the library supplychainpy).
    ///
    /// # Errors
    /// As [`Normal::new`].
    ///
    /// ```
    /// use gapwright::inventory::{Demand, Normal, reorder};
    /// // Heizer and Render, ch. 12: 60 a week for six weeks give or take two, 90 % (z 1.28): 514.
    /// let demand = Normal::in_lead_time(60.0, 0.0, 6.0, 2.0)?;
    /// assert_eq!(reorder::for_cycle_service(&Demand::Normal(demand), 0.90)?.pieces, 514);
    /// # Ok::<(), gapwright::inventory::Fault>(())
    /// ```
    pub fn in_lead_time(mean: f64, sd: f64, lead: f64, lead_sd: f64) -> Result<Normal, Fault> {
        let mean = not_below_zero("the mean demand", mean)?;
        let sd = not_below_zero("the standard deviation of demand", sd)?;
        let lead = above_zero("the lead time", lead)?;
        let lead_sd = not_below_zero("the standard deviation of the lead time", lead_sd)?;
        let variance = lead * sd * sd + mean * mean * lead_sd * lead_sd;
        Normal::new(mean * lead, variance.sqrt())
    }

    /// Pieces expected.
    pub fn mean(self) -> f64 {
        self.mean
    }

    /// The standard deviation, in pieces.
    pub fn sd(self) -> f64 {
        self.sd
    }

    /// The chance of no more.
    pub(super) fn within(self, pieces: f64) -> f64 {
        self.bell().cdf(pieces)
    }

    /// The chance of more.
    pub(super) fn beyond(self, pieces: f64) -> f64 {
        self.bell().sf(pieces)
    }

    fn bell(self) -> Bell {
        // `new` lets no other numbers in.
        Bell::new(self.mean, self.sd).unwrap_or_else(|_| Bell::standard())
    }

    /// What is exceeded with this chance.
    pub(in crate::inventory) fn exceeded(self, risk: f64) -> f64 {
        // From the upper tail, where a small risk is still exact.
        self.mean - self.sd * Bell::standard().inverse_cdf(risk)
    }

    /// Pieces expected to be lacking: sd (phi(z) - z (1 - Phi(z))).
    pub(in crate::inventory) fn lacking(self, pieces: f64) -> f64 {
        let z = (pieces - self.mean) / self.sd;
        let standard = Bell::standard();
        (self.sd * (standard.pdf(z) - z * standard.sf(z))).max(0.0)
    }

    /// Pieces expected to be left: the same from the other side.
    pub(in crate::inventory) fn left(self, pieces: f64) -> f64 {
        let z = (pieces - self.mean) / self.sd;
        let standard = Bell::standard();
        (self.sd * (standard.pdf(z) + z * standard.cdf(z))).max(0.0)
    }
}
