//! Readings of one dimension taken together: value, range in the worst case and uncertainty.
//!
//! # Decisions
//!
//! - In the worst case the range holds every reading: each side is at least the distance from the mean to the farthest
//!   reading plus what one reading may be off. The rounding of the mean is on top, outward.
//! - The scatter of several readings adds to a stated uncertainty, also where the tolerance would explain it: too wide
//!   rather than too narrow.

use super::Coverage;
use crate::length::{Length, Tolerance, Uncertainty};
use crate::model::{Combine, Dimension, Spread};
use crate::pump::Measured;

/// Information that readings lack.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Lack {
    /// One reading has no scatter.
    OneReading,
    /// All are alike, and the resolution of the gauge is not stated.
    NoScatter,
    /// Too long to count with.
    TooLong,
}

/// Readings of a dimension, one or more, taken together.
#[allow(clippy::cast_precision_loss)]
pub(crate) fn measured(
    readings: Vec<Length>,
    dimension: &Dimension,
    coverage: Coverage,
) -> Result<Measured, Lack> {
    let sums = Sums::of(&readings).ok_or(Lack::TooLong)?;
    let several = readings.len() > 1;
    let of_mean = dimension.combine == Combine::Mean;
    let freedom = dimension.degrees_of_freedom;
    let (each, standard, freedom) = match dimension.spread {
        Spread::Within(each) => {
            let u = dimension.shape.standard_uncertainty(each);
            let half = (each.minus + each.plus).ticks() as f64 / 2.0;
            let (parts, of) = dimension.shape.variance();
            let square = half * half * parts as f64 / 1e9 / f64::from(of);
            let (u, freedom) = sums.added_to((u, square), freedom, of_mean);
            (each, u, freedom)
        }
        Spread::StandardUncertainty(u) => {
            let each = Tolerance::even(coverage.extent(u, freedom));
            let square = (u.raw() as f64 / 1e5).powi(2);
            let (u, freedom) = sums.added_to((u, square), freedom, of_mean);
            (each, u, freedom)
        }
        Spread::FromReadings { .. } if !several => return Err(Lack::OneReading),
        Spread::FromReadings { resolution } => {
            let (u, few) = sums.alone(resolution, of_mean);
            if u == Uncertainty::ZERO {
                return Err(Lack::NoScatter);
            }
            (Tolerance::even(Length::from_ticks((resolution.ticks() + 1) / 2)), u, few)
        }
    };
    let stated = matches!(dimension.spread, Spread::Within(_));
    // A range that the uncertainty asks for, unless a plus/minus is stated.
    let extent = (!stated).then(|| coverage.extent(standard, freedom));
    let (value, tolerance) = match dimension.combine {
        Combine::Mean if several => sums.mean(&readings, each, extent).ok_or(Lack::TooLong)?,
        Combine::Mean => (readings[0], widened(each, extent)),
        Combine::Least | Combine::Greatest => {
            let step = Length::step(&readings);
            let extent = match extent {
                Some(extent) if several => {
                    Some(up_to(extent.ticks().into(), 1, step).ok_or(Lack::TooLong)?)
                }
                extent => extent,
            };
            let value = if dimension.combine == Combine::Least { sums.least } else { sums.most };
            (value, widened(each, extent))
        }
    };
    Ok(Measured { readings, value, tolerance, each, standard, freedom, gauge: None })
}

/// A tolerance that is at least so wide to either side; as it is where nothing asks for more.
fn widened(each: Tolerance, extent: Option<Length>) -> Tolerance {
    let side = |side: Length| extent.map_or(side, |extent| side.max(extent));
    Tolerance { minus: side(each.minus), plus: side(each.plus) }
}

/// Quotient of ticks, rounded up to a whole number of steps.
fn up_to(ticks: i128, parts: i128, step: i64) -> Option<Length> {
    let whole = parts * i128::from(step);
    let steps = (ticks + whole - 1).div_euclid(whole);
    i64::try_from(steps * i128::from(step)).ok().map(Length::from_ticks)
}

/// Sums of readings, in ticks.
struct Sums {
    n: i128,
    sum: i128,
    /// n squared times the sum of squared deviations from the mean.
    squares: i128,
    least: Length,
    most: Length,
}

impl Sums {
    fn of(readings: &[Length]) -> Option<Sums> {
        let n = i128::try_from(readings.len()).ok()?;
        let ticks = || readings.iter().map(|reading| i128::from(reading.ticks()));
        let sum: i128 = ticks().sum();
        let squares = ticks()
            .try_fold(0_i128, |all, one| all.checked_add((n * one - sum).checked_pow(2)?))?;
        let (least, most) = (*readings.iter().min()?, *readings.iter().max()?);
        Some(Sums { n, sum, squares, least, most })
    }

    /// Mean, and its range: at least `extent`, and every reading with what it may be off.
    fn mean(
        &self,
        readings: &[Length],
        each: Tolerance,
        extent: Option<Length>,
    ) -> Option<(Length, Tolerance)> {
        let value = Length::mean(readings)?;
        let n = self.n;
        let times_n = |length: Length| n * i128::from(length.ticks());
        let farthest = (times_n(self.most) - self.sum).max(self.sum - times_n(self.least));
        let above = times_n(value) - self.sum;
        let side = |each: Length, rounding: i128| {
            let held = farthest + times_n(each);
            let held = extent.map_or(held, |extent| held.max(times_n(extent)));
            up_to(held + rounding, n, Length::step(readings))
        };
        let tolerance =
            Tolerance { minus: side(each.minus, above)?, plus: side(each.plus, -above)? };
        Some((value, tolerance))
    }

    /// Divisor of `squares` that gives the variance of the mean, or of one reading.
    fn parts(&self, of_mean: bool) -> i128 {
        let n = self.n;
        let of_one = n * n * (n - 1).max(1);
        if of_mean { of_one * n } else { of_one }
    }

    /// Uncertainty from the scatter and the gauge's resolution.
    fn alone(&self, resolution: Length, of_mean: bool) -> (Uncertainty, Option<u32>) {
        of_scatter((self.n, self.squares), self.parts(of_mean), resolution)
    }

    /// Stated uncertainty of one reading, given with its square in ticks, with the scatter of the mean on top. Of the
    /// least or the greatest reading the stated one counts alone.
    ///
    /// Source: JCGM 100:2008, 4.2.3 equation (5), 5.1.2 and G.4.1 (from memory).
    #[allow(clippy::cast_precision_loss)]
    fn added_to(
        &self,
        (stated, square): (Uncertainty, f64),
        freedom: Option<u32>,
        of_mean: bool,
    ) -> (Uncertainty, Option<u32>) {
        if self.squares == 0 || !of_mean {
            return (stated, freedom);
        }
        let parts = self.parts(true);
        let own = i128::from(stated.raw()).pow(2);
        let scatter = self.squares.saturating_mul(FEMTOMETRES);
        let all = scatter.saturating_add(own.saturating_mul(parts));
        let a = self.squares as f64 / parts as f64;
        let b = square;
        let fourths = a * a / (self.n - 1) as f64 + freedom.map_or(0.0, |v| b * b / f64::from(v));
        (Uncertainty::root_of(all, parts), whole((a + b).powi(2) / fourths, 1e-9))
    }
}

/// Square femtometres in a square tick.
const FEMTOMETRES: i128 = 10_000_000_000;

/// Degrees of freedom cut off to a whole number, unless they are one to within the digits of a spreadsheet.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
fn whole(exact: f64, digits: f64) -> Option<u32> {
    Some((exact * (1.0 + digits)).floor().clamp(1.0, 1e9) as u32)
}

/// Standard uncertainty of the mean of `n` readings, rounded up, and its degrees of freedom (`None` for infinitely many),
/// from n squared times the sum of their squared deviations, in ticks squared. The scatter and the shared resolution of the
/// gauge add up: `u^2 = s^2 / n + (resolution / 2)^2 / 3`, with `(n - 1) (u^2 / (s^2 / n))^2` degrees of freedom, rounded
/// down.
///
/// Source: JCGM 100:2008, 4.2.3 equation (5), F.2.2.1 and G.4.1 (from memory).
pub(crate) fn combined(n: i128, squares: i128, resolution: Length) -> (Uncertainty, Option<u32>) {
    of_scatter((n, squares), n * n * (n - 1) * n, resolution)
}

/// Uncertainty from a variance of `squares / parts`, in ticks squared, and the resolution.
#[allow(clippy::cast_precision_loss)]
fn of_scatter(
    (n, squares): (i128, i128),
    parts: i128,
    resolution: Length,
) -> (Uncertainty, Option<u32>) {
    let read = i128::from(resolution.ticks()).pow(2).saturating_mul(parts);
    let all = squares.saturating_mul(12).saturating_add(read);
    let u = Uncertainty::root_of(all.saturating_mul(FEMTOMETRES), 12 * parts);
    if squares == 0 {
        return (u, None);
    }
    // The resolution counts as exactly known.
    let grown = 1.0 + read as f64 / (12.0 * squares as f64);
    (u, whole((n - 1) as f64 * grown * grown, 1e-12))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decimal::Millionths;
    use crate::length::Unit;

    fn from_readings(readings: &[Length], resolution: Length) -> Result<Measured, Lack> {
        let dimension = Dimension {
            spread: Spread::FromReadings { resolution },
            ..Dimension::new("gap", Tolerance::default())
        };
        measured(readings.to_vec(), &dimension, Coverage::Level(Millionths::from_raw(950_000)))
    }

    /// Source: JCGM 100:2008, 4.4.3 and Table 1 (from memory): 20 readings, mean 100.145, s/sqrt(n) = 0.3329157
    /// recomputed; here in whole ticks of these digits.
    #[test]
    fn the_uncertainty_of_twenty_readings_is_the_guides() {
        let readings: Vec<Length> = [
            9690, 9818, 9825, 9861, 9903, 9949, 9956, 9974, 9989, 10007, 10033, 10042, 10068,
            10095, 10111, 10120, 10157, 10184, 10236, 10272,
        ]
        .map(|hundredths: i64| Length::from_ticks(hundredths * 1_000))
        .to_vec();
        let found = from_readings(&readings, Length::ZERO).unwrap();
        assert_eq!(found.value, Length::from_ticks(10_014_500));
        // 0.332 915 7 of 100 000 ticks of 100 000 femtometres.
        assert_eq!(found.freedom, Some(19));
        let u = found.standard.raw();
        assert!((3_329_156_500..3_329_157_500).contains(&u), "{u}");
        assert_eq!(from_readings(&readings[..1], Length::ZERO), Err(Lack::OneReading));
    }

    /// By hand: readings that all agree to 0.01 mm are known to that over the root of twelve, with infinite degrees
    /// of freedom. Two readings that are 0.02 mm apart have 0.01 mm of their own, in all the root of 1 + 1/12 times
    /// that, and 1 x (1 + 1/12)^2 = 1.17 degrees of freedom, rounded down.
    #[test]
    fn a_gauge_is_not_better_than_it_reads() {
        let resolution = Length::from_ticks(100_000);
        let alike = from_readings(&[Length::from_ticks(500_000); 3], resolution).unwrap();
        assert_eq!((alike.standard.raw() + 50) / 100, 28_867_513);
        assert_eq!(alike.freedom, None);
        let apart = [400_000, 600_000].map(Length::from_ticks);
        let apart = from_readings(&apart, resolution).unwrap();
        assert_eq!((apart.standard.raw() + 50) / 100, 104_083_300);
        assert_eq!(apart.freedom, Some(1));
    }

    fn thou(text: &str) -> Length {
        Length::parse(text, Some(Unit::Inch)).unwrap()
    }

    fn within(readings: &[&str], combine: Combine) -> Measured {
        let readings = readings.iter().map(|text| thou(text)).collect();
        let even = Tolerance::even(thou("0.0003"));
        let dimension = Dimension { combine, ..Dimension::new("gap", even) };
        measured(readings, &dimension, Coverage::Level(Millionths::from_raw(950_000))).unwrap()
    }

    /// By hand: 0.048, 0.054 and 0.060 in have the mean 0.054 and lie up to 0.006 off it, each within 0.0003.
    /// Their s is 0.006, of the mean 0.006 / sqrt(3); with 0.0003 / sqrt(3) beside it the square is
    /// (0.006^2 + 0.0003^2) / 3 = 1.203e-5, with 2 x (1 + 0.0025)^2 = 2.01 degrees of freedom.
    #[test]
    fn the_range_holds_every_reading() {
        let found = within(&["0.048", "0.054", "0.060"], Combine::Mean);
        assert_eq!(found.value, thou("0.054"));
        assert_eq!(found.tolerance, Tolerance::even(thou("0.0063")));
        assert!((found.standard.to_f64(Unit::Inch) - 1.203e-5_f64.sqrt()).abs() < 1e-12);
        assert_eq!(found.freedom, Some(2));
        let close = within(&["0.0540", "0.0543", "0.0546"], Combine::Mean);
        assert_eq!(close.tolerance, Tolerance::even(thou("0.0006")));
    }

    /// By hand: the mean of 0.0501, 0.0501 and 0.0500 is 0.050066..., rounded to 0.050067. The farthest reading lies
    /// 0.000066... below; 0.0003 further off, from the rounded mean 0.000367 below and 0.000366... above, each
    /// rounded outward to a micro-inch.
    #[test]
    fn the_rounding_of_the_mean_widens_the_range() {
        let found = within(&["0.0501", "0.0501", "0.0500"], Combine::Mean);
        assert_eq!(found.value, thou("0.050067"));
        assert_eq!(found.tolerance.minus, thou("0.000367"));
        assert_eq!(found.tolerance.plus, thou("0.000367"));
    }

    #[test]
    fn the_tightest_vane_counts_where_the_model_says_so() {
        let readings = ["0.048", "0.054", "0.060"];
        let least = within(&readings, Combine::Least);
        assert_eq!(
            (least.value, least.tolerance),
            (thou("0.048"), Tolerance::even(thou("0.0003")))
        );
        assert_eq!(least.freedom, None);
        assert_eq!(within(&readings, Combine::Greatest).value, thou("0.060"));
    }
}
