//! Uncertainty of the mean of readings, from their scatter and the gauge's resolution.

use crate::length::{Length, Uncertainty};

/// Standard uncertainty of the mean of readings, rounded up, and its degrees of freedom (`None` for infinitely many);
/// `None` for fewer than two readings. The scatter and the shared resolution of the gauge add up:
/// `u^2 = s^2 / n + (resolution / 2)^2 / 3`, with `(n - 1) (u^2 / (s^2 / n))^2` degrees of freedom, rounded down.
///
/// Source: JCGM 100:2008, 4.2.3 equation (5), F.2.2.1 and G.4.1 (from memory).
pub(super) fn uncertainty_of_mean(
    readings: &[Length],
    resolution: Length,
) -> Option<(Uncertainty, Option<u32>)> {
    let n = i128::try_from(readings.len()).ok().filter(|&n| n > 1)?;
    let sum: i128 = readings.iter().map(|r| i128::from(r.ticks())).sum();
    // n^2 times the sum of squared deviations, in whole numbers.
    let squares: i128 = readings.iter().map(|r| (n * i128::from(r.ticks()) - sum).pow(2)).sum();
    Some(combined(n, squares, resolution))
}

/// Uncertainty and degrees of freedom from n squared times the sum of squared deviations of `n` readings, in ticks
/// squared.
pub(in crate::read) fn combined(
    n: i128,
    squares: i128,
    resolution: Length,
) -> (Uncertainty, Option<u32>) {
    // s^2 / n = squares / (n^2 (n - 1) n), in ticks; 100 000 femtometres make one.
    let below = n * n * (n - 1) * n;
    let read = i128::from(resolution.ticks()).pow(2).saturating_mul(below);
    let all = squares.saturating_mul(12).saturating_add(read);
    let u = Uncertainty::root_of(all.saturating_mul(10_000_000_000), 12 * below);
    (u, freedom(n, squares, read))
}

/// Degrees of freedom of scatter and resolution together; the resolution counts as exactly known.
#[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss)]
fn freedom(n: i128, squares: i128, read: i128) -> Option<u32> {
    if squares == 0 {
        return None;
    }
    let grown = 1.0 + read as f64 / (12.0 * squares as f64);
    let exact = (n - 1) as f64 * grown * grown;
    // Guards against the last digit of the division.
    Some((exact * (1.0 + 1e-12)).floor().min(1e9) as u32)
}

#[cfg(test)]
mod tests {
    use super::*;

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
        assert_eq!(Length::mean(&readings), Some(Length::from_ticks(10_014_500)));
        // 0.332 915 7 of 100 000 ticks of 100 000 femtometres.
        let (found, freedom) = uncertainty_of_mean(&readings, Length::ZERO).unwrap();
        let found = found.raw();
        assert_eq!(freedom, Some(19));
        assert!((3_329_156_500..3_329_157_500).contains(&found), "{found}");
        assert_eq!(uncertainty_of_mean(&readings[..1], Length::ZERO), None);
    }

    /// By hand: readings that all agree to 0.01 mm are known to that over the root of twelve, with infinite degrees
    /// of freedom. Two readings that are 0.02 mm apart have 0.01 mm of their own, in all the root of 1 + 1/12 times
    /// that, and 1 x (1 + 1/12)^2 = 1.17 degrees of freedom, rounded down.
    #[test]
    fn a_gauge_is_not_better_than_it_reads() {
        let readings = [Length::from_ticks(500_000); 3];
        let (u, freedom) = uncertainty_of_mean(&readings, Length::from_ticks(100_000)).unwrap();
        assert_eq!((u.raw() + 50) / 100, 28_867_513);
        assert_eq!(freedom, None);
        let readings = [400_000, 600_000].map(Length::from_ticks);
        let (u, freedom) = uncertainty_of_mean(&readings, Length::from_ticks(100_000)).unwrap();
        assert_eq!((u.raw() + 50) / 100, 104_083_300);
        assert_eq!(freedom, Some(1));
    }
}
