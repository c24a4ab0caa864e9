//! Prediction of one more reading of a dimension from past readings.
//!
//! # Decisions
//!
//! - Fewer than eight past readings, or readings all alike, are refused: without scatter they say nothing of the
//!   next one.
//! - The range is the prediction interval of one more reading, not mean and three standard deviations: ten readings
//!   know their own scatter badly, which Student's factor counts.
//! - Rows of one tag are one reading: a pump keeps its own lean, so its rows say less of the next pump than as many
//!   pumps would.

use super::ExpectedLaw;
use crate::decimal::Millionths;
use crate::length::{Length, Uncertainty};
use crate::stack::Coverage;

/// Mean and scatter of past readings, each of another pump.
///
/// One more reading of the same normal distribution lies within `mean +- t s sqrt(1 + 1/n)` at the level of
/// Student's `t` with `n - 1` degrees of freedom; the root includes the uncertainty of the mean. Source: ISO
/// 16269-8:2004, prediction interval of one further observation with mean and standard deviation both unknown
/// (from memory).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// Number of readings, 2 or more.
    pub count: u32,
    /// Mean, in ticks.
    mean: f64,
    /// Sample standard deviation, in ticks.
    deviation: f64,
}

/// Femtometres per tick.
const FINE: f64 = 100_000.0;

impl Fit {
    /// Fits readings; `None` for fewer than two.
    ///
    /// ```
    /// use gapwright::length::{Length, Unit};
    /// use gapwright::forecast::Fit;
    /// let readings = [20, 22, 24].map(|thou| Length::from_ticks(thou * 254_000));
    /// let fit = Fit::of(&readings).unwrap();
    /// assert_eq!(fit.mean().show(Unit::Inch), "0.0220");
    /// assert_eq!(fit.deviation().to_f64(Unit::Thou), 2.0);
    /// assert!(Fit::of(&readings[..1]).is_none());
    /// ```
    #[allow(clippy::cast_precision_loss)]
    pub fn of(readings: &[Length]) -> Option<Fit> {
        let count = u32::try_from(readings.len()).ok().filter(|&n| n > 1)?;
        let first = readings.first()?.ticks();
        let n = i128::from(count);
        // Differences from the first reading, in whole numbers: nothing is lost until the division.
        let off = readings.iter().map(|r| i128::from(r.ticks()) - i128::from(first));
        let sum: i128 = off.clone().sum();
        let squares: i128 = off.map(|off| off * off).sum();
        let variance = (n * squares - sum * sum) as f64 / (n * (n - 1)) as f64;
        Some(Fit { count, mean: first as f64 + sum as f64 / n as f64, deviation: variance.sqrt() })
    }

    /// Mean, to the nearest tick.
    pub fn mean(&self) -> Length {
        whole(self.mean.round())
    }

    /// Sample standard deviation, to the nearest femtometre.
    #[allow(clippy::cast_possible_truncation)]
    pub fn deviation(&self) -> Uncertainty {
        Uncertainty::from_raw((self.deviation * FINE).round() as i64)
    }

    /// Distribution of one more reading; the scale is rounded up.
    ///
    /// ```
    /// use gapwright::length::{Length, Unit};
    /// use gapwright::forecast::{Fit, ExpectedLaw};
    /// // Readings with s = 2 thou: 2 sqrt(1 + 1/3) = 2.309 401...
    /// let readings = [20, 22, 24].map(|thou| Length::from_ticks(thou * 254_000));
    /// let ExpectedLaw::Readings { scale, degrees_of_freedom, .. } = Fit::of(&readings).unwrap().law() else { panic!() };
    /// assert_eq!(degrees_of_freedom, 2);
    /// assert!((scale.to_f64(Unit::Thou) - 2.309_401).abs() < 1e-6);
    /// ```
    #[allow(clippy::cast_possible_truncation)]
    pub fn law(&self) -> ExpectedLaw {
        ExpectedLaw::Readings {
            mean: self.mean(),
            scale: Uncertainty::from_raw((self.scale() * FINE).ceil() as i64),
            degrees_of_freedom: self.count - 1,
        }
    }

    /// Prediction interval of one more reading at a level of confidence below 1, each end rounded outward to
    /// a tick; the lower one may be below zero.
    ///
    /// ```
    /// use gapwright::decimal::Millionths;
    /// use gapwright::length::Length;
    /// use gapwright::forecast::Fit;
    /// // t of 2 degrees of freedom for 95 % is 4.302 653, and 22 -+ 4.302 653 x 2.309 401 thou are
    /// // 12.063 449 and 31.936 551 thou, in ticks 3 064 116.1 and 8 111 883.9.
    /// let readings = [20, 22, 24].map(|thou| Length::from_ticks(thou * 254_000));
    /// let range = Fit::of(&readings).unwrap().range(Millionths::parse("0.95").unwrap());
    /// assert_eq!(range.map(Length::ticks), [3_064_116, 8_111_884]);
    /// ```
    pub fn range(&self, level: Millionths) -> [Length; 2] {
        let half = Coverage::Level(level).exact(Some(self.count - 1)) * self.scale();
        [whole((self.mean - half).floor()), whole((self.mean + half).ceil())]
    }

    /// Standard deviation times the root of 1 + 1/n.
    fn scale(&self) -> f64 {
        self.deviation * (1.0 + 1.0 / f64::from(self.count)).sqrt()
    }
}

#[allow(clippy::cast_possible_truncation)]
fn whole(ticks: f64) -> Length {
    Length::from_ticks(ticks as i64)
}
