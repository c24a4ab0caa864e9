//! Random lengths, each by its distribution.
//!
//! The mean and the standard deviation behind past readings are unknown, and they are the same for all pumps
//! that the readings represent. A scenario draws them once, and each pump is then drawn around that mean.
//! Each pump by itself follows Student's t; two of them are correlated by 1 / (n + 1), so that a model that
//! comes out wide does so for all its pumps.
//!
//! Source: the predictive distribution of normal observations with both parameters unknown: the variance is
//! scaled inverse chi-square, the mean then normal with the variance over n (Gelman et al., Bayesian Data
//! Analysis, section 3.2; from memory).
//!
//! # Decision
//!
//! A range is drawn over the values of its grid alike, not over every tick: the two ends would come half as often
//! as the others, and safe kits look at the grid.

use chacha20::ChaCha8Rng;
use chacha20::rand_core::Rng;

use crate::forecast::{Expected, ExpectedLaw};
use crate::length::Length;
use crate::stack::monte_carlo::signed;

/// Parameters that one scenario has drawn so far.
#[derive(Default)]
pub(super) struct Draws {
    /// Common parameters of pumps, by model, dimension and distribution of past readings.
    common: Vec<((usize, usize, ExpectedLaw), Common)>,
}

/// Mean, relative to that of the readings, and standard deviation; in ticks.
#[derive(Clone, Copy)]
struct Common {
    mean: f64,
    deviation: f64,
}

impl Draws {
    /// Draws the length of a dimension of a model that is examined in these steps.
    pub(super) fn length(
        &mut self,
        (model, dimension): (usize, usize),
        expected: &Expected,
        step: Length,
        rng: &mut ChaCha8Rng,
    ) -> Length {
        let ExpectedLaw::Readings { mean, .. } = expected.law else {
            // Every value equally likely, except for one part in 2^64 of their number.
            let values = u128::from(expected.count(step));
            let number = (u128::from(rng.next_u64()) * values) >> 64;
            let value = expected.value(u64::try_from(number).unwrap_or(0), step);
            return value.unwrap_or(expected.low);
        };
        /// Greatest length: ten metres.
        const MOST: f64 = 1e11;
        let common = self.common((model, dimension, expected.law), rng);
        let off = common.mean + common.deviation * normal(rng);
        #[allow(clippy::cast_possible_truncation)]
        let ticks = off.clamp(-MOST, MOST).round() as i64;
        expected.nearest(mean + Length::from_ticks(ticks), step)
    }

    fn common(&mut self, key: (usize, usize, ExpectedLaw), rng: &mut ChaCha8Rng) -> Common {
        if let Some((_, common)) = self.common.iter().find(|(known, _)| *known == key) {
            return *common;
        }
        let common = match key.2 {
            ExpectedLaw::Even => Common { mean: 0.0, deviation: 0.0 },
            ExpectedLaw::Readings { scale, degrees_of_freedom: freedom, .. } => {
                drawn(scale.raw(), freedom.max(1), rng)
            }
        };
        self.common.push((key, common));
        common
    }
}

/// Mean and standard deviation of a distribution known by `freedom + 1` readings; `scale` in femtometres.
fn drawn(scale: i64, freedom: u32, rng: &mut ChaCha8Rng) -> Common {
    /// Femtometres per tick.
    const TICK: f64 = 100_000.0;
    let n = f64::from(freedom) + 1.0;
    #[allow(clippy::cast_precision_loss)]
    let of_readings = scale as f64 / TICK / (1.0 + 1.0 / n).sqrt();
    let deviation = of_readings * (f64::from(freedom) / chi_square(freedom, rng)).sqrt();
    Common { mean: deviation / n.sqrt() * normal(rng), deviation }
}

/// Standard normal draw: Marsaglia and Bray, A convenient method for generating normal variables, SIAM Review
/// 6 (1964), from memory.
fn normal(rng: &mut ChaCha8Rng) -> f64 {
    loop {
        let (u, v) = (signed(rng), signed(rng));
        let w = u * u + v * v;
        if w <= 1.0 {
            return u * (-2.0 * libm::log(w) / w).sqrt();
        }
    }
}

/// Chi-square draw: twice a gamma of half the degrees of freedom, Marsaglia and Tsang, A simple method for
/// generating gamma variables, ACM Transactions on Mathematical Software 26 (2000), from memory.
fn chi_square(freedom: u32, rng: &mut ChaCha8Rng) -> f64 {
    if freedom < 2 {
        let one = normal(rng);
        return one * one;
    }
    let d = f64::from(freedom) / 2.0 - 1.0 / 3.0;
    let c = 1.0 / (9.0 * d).sqrt();
    loop {
        let x = normal(rng);
        let v = (1.0 + c * x).powi(3);
        if v <= 0.0 {
            continue;
        }
        let u = signed(rng).abs();
        if libm::log(u) < 0.5 * x * x + d - d * v + d * libm::log(v) {
            return 2.0 * d * v;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::length::Uncertainty;
    use chacha20::rand_core::SeedableRng;

    const ONE: Length = Length::from_ticks(1);

    /// Scenarios of pumps with the same expected values, each of its model, less the mean in ticks.
    fn scenarios(expected: Expected, models: &[usize], step: Length, number: u64) -> Vec<Vec<f64>> {
        let mean = match expected.law {
            ExpectedLaw::Even => Length::ZERO,
            ExpectedLaw::Readings { mean, .. } => mean,
        };
        let one = |stream| {
            let mut rng = ChaCha8Rng::from_seed([3; 32]);
            rng.set_stream(stream);
            let mut draws = Draws::default();
            let mut ticks = |&model: &usize| {
                let length = draws.length((model, 0), &expected, step, &mut rng);
                f64::from(i32::try_from((length - mean).ticks()).unwrap())
            };
            models.iter().map(&mut ticks).collect()
        };
        (0..number).map(one).collect()
    }

    /// Readings with a standard deviation of 10,000 ticks.
    fn readings(freedom: u32) -> Expected {
        let n = f64::from(freedom) + 1.0;
        let scale = 1e9 * (1.0 + 1.0 / n).sqrt();
        #[allow(clippy::cast_possible_truncation)]
        let scale = Uncertainty::from_raw(scale.round() as i64);
        Expected {
            low: Length::from_ticks(400_000),
            high: Length::from_ticks(600_000),
            law: ExpectedLaw::Readings {
                mean: Length::from_ticks(500_000),
                scale,
                degrees_of_freedom: freedom,
            },
        }
    }

    /// Every value of the grid in its share of 20,000 draws, within five standard deviations; the ends as
    /// often as the others, and so the high end that is not a whole step from the last value.
    #[test]
    fn every_value_of_a_range_is_as_likely() {
        let length = Length::from_ticks;
        let expected = Expected { low: length(1_000), high: length(1_009), law: ExpectedLaw::Even };
        for (step, least, most) in [(1, 1_788, 2_212), (4, 4_694, 5_306)] {
            let draws = scenarios(expected, &[0], length(step), 20_000);
            let values = expected.values(length(step));
            let mut all = 0;
            for value in values {
                let at = f64::from(i32::try_from(value.ticks()).unwrap());
                let near = draws.iter().filter(|d| (d[0] - at).abs() < 0.5);
                let drawn = near.count();
                assert!((least..=most).contains(&drawn), "{value:?}: {drawn}");
                all += drawn;
            }
            assert_eq!(all, draws.len());
        }
    }

    /// Quartiles of Student's t with 3 degrees of freedom: 0.764 892 (printed tables; from memory
    /// 0.765), so half of all draws lie within; 95 % lie within 3.182 (table of t, from memory).
    #[test]
    fn one_pump_comes_out_by_students_law() {
        let draws = scenarios(readings(3), &[0], ONE, 20_000);
        let scale = 10_000.0 * 1.25_f64.sqrt();
        let within = |t: f64| draws.iter().filter(|d| d[0].abs() < t * scale).count();
        assert!((9_646..=10_354).contains(&within(0.764_892)));
        assert!((18_846..=19_154).contains(&within(3.182_45)));
    }

    /// Correlation between pumps of one model, 1 / (n + 1): the variance that they have in common, sigma^2 /
    /// n, over that of each, sigma^2 (1 + 1 / n); zero between two models. With 100,000 draws an estimate
    /// scatters by 0.004.
    #[test]
    fn pumps_of_one_model_come_out_alike() {
        let draws = scenarios(readings(7), &[0, 0, 1], ONE, 100_000);
        let product = |a: usize, b: usize| draws.iter().map(|d| d[a] * d[b]).sum::<f64>();
        let correlation = |a, b| product(a, b) / (product(a, a) * product(b, b)).sqrt();
        assert!((correlation(0, 1) - 1.0 / 9.0).abs() < 0.02);
        assert!(correlation(0, 2).abs() < 0.02);
        assert!(correlation(1, 2).abs() < 0.02);
    }

    /// All of ten pumps below the mean of eight readings and 2.5 times their standard deviation: 0.822
    /// 942, by SciPy 1.17.1, with s = 1 and z the common mean in its own standard deviations:
    ///
    /// `integrate.quad(lambda c: stats.chi2.pdf(c, 7) * integrate.quad(lambda z: stats.norm.pdf(z) *
    /// stats.norm.cdf(2.5 * sqrt(c / 7) - z / sqrt(8))**10, -9, 9)[0], 0, 80)[0]`
    ///
    /// Ten independent pumps would give 0.774 094, `stats.t.cdf(2.5 / sqrt(1.125), 7)**10`. With 100,000
    /// draws the share scatters by 0.0012.
    #[test]
    fn ten_pumps_lie_within_as_often_as_an_integral_says() {
        let draws = scenarios(readings(7), &[0; 10], ONE, 100_000);
        let within = |d: &&Vec<f64>| d.iter().all(|pump| *pump < 25_000.0);
        let within = u32::try_from(draws.iter().filter(within).count()).unwrap();
        assert!((f64::from(within) / 1e5 - 0.822_942).abs() < 0.006);
    }
}
