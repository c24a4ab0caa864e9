//! Products and quotients of factors that are each known within limits: the arithmetic that growths and derived terms
//! have in common.

use super::Estimate;
use crate::length::{Length, Tolerance, Uncertainty};
use crate::narrow::narrow;

/// A factor, in whole numbers of a step of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Factor {
    /// Stated value.
    pub(super) value: i128,
    /// Limits of its deviation, below and above.
    pub(super) within: [i128; 2],
    /// Deviation.
    pub(super) deviation: Deviation,
    /// Degrees of freedom of its uncertainty; `None` where that is taken as exactly known.
    pub(super) freedom: Option<u32>,
    /// Power: 1 to multiply, -1 to divide.
    pub(super) power: i8,
}

/// Standard uncertainty of a factor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Deviation {
    /// Half-width of a rectangular distribution, in steps.
    Half(i128),
    /// Standard uncertainty, in hundred-thousandths of a step.
    Standard(i128),
}

impl Deviation {
    /// Hundred-thousandths of a step, and the divisor of their square.
    fn parts(self) -> (i128, i128) {
        match self {
            Deviation::Half(half) => (half.saturating_mul(PARTS), 3),
            Deviation::Standard(standard) => (standard, 1),
        }
    }
}

/// Hundred-thousandths of a tick are femtometres.
const PARTS: i128 = 100_000;

/// A product of factors, with the scale that brings it into ticks: `scale[0] / scale[1]`.
pub(super) struct Product<const N: usize> {
    pub(super) factors: [Factor; N],
    pub(super) scale: [i128; 2],
}

impl<const N: usize> Product<N> {
    /// Numerator and denominator with these values of the factors; the denominator is above zero.
    fn ratio(&self, values: impl Fn(&Factor) -> i128) -> (i128, i128) {
        let [mut over, mut under] = self.scale;
        for factor in &self.factors {
            let of = if factor.power < 0 { &mut under } else { &mut over };
            *of = of.saturating_mul(values(factor));
        }
        if under < 0 { (-over, -under) } else { (over, under.max(1)) }
    }

    /// Value, worst case and uncertainty, in ticks.
    ///
    /// The value is that of the stated factors, to the nearest tick. Its tolerance holds every product of the ends of
    /// the factors, measured from the rounded value, so that the rounding is covered too; its middle is the product of
    /// the middles, and both sides are as wide as the further one. Standard uncertainty: first order about the middles,
    /// rounded up (JCGM 100:2008, 5.1.2), its degrees of freedom by Welch-Satterthwaite (G.4.1; clauses from memory).
    pub(super) fn estimate(&self) -> Estimate {
        let (over, under) = self.ratio(|factor| factor.value);
        let value = nearest(over, under);
        // The middles twice over, so that they are whole.
        let twice = |factor: &Factor| 2 * factor.value + factor.within[1] - factor.within[0];
        let (mut over, mut under) = self.ratio(twice);
        for factor in &self.factors {
            let of = if factor.power < 0 { &mut over } else { &mut under };
            *of = of.saturating_mul(2);
        }
        let middle = nearest(over, under) - value;
        let half = self.corners().map(|(over, under)| {
            let off = over.saturating_sub((value + middle).saturating_mul(under)).saturating_abs();
            off / under + i128::from(off % under > 0)
        });
        let half = half.max().unwrap_or(0);
        let ticks = |raw: i128| Length::from_ticks(narrow::<i64>(raw));
        let alone = self.alone();
        let square = alone.iter().fold(0_i128, |sum, (square, _)| sum.saturating_add(*square));
        Estimate {
            value: ticks(value),
            tolerance: Tolerance { minus: ticks(half - middle), plus: ticks(half + middle) },
            standard: Uncertainty::root_of(square.min(i128::MAX / 2), 3),
            freedom: freedom(&alone),
            gauge: None,
        }
    }

    /// Products of the ends of the factors.
    fn corners(&self) -> impl Iterator<Item = (i128, i128)> {
        let all = 0_u32..1 << self.factors.len();
        all.map(|corner| {
            let end = |at: usize, factor: &Factor| match corner >> at & 1 {
                0 => factor.value - factor.within[0],
                _ => factor.value + factor.within[1],
            };
            let ends =
                self.factors.iter().enumerate().map(|(at, factor)| (end(at, factor), factor));
            let [mut over, mut under] = self.scale;
            for (end, factor) in ends {
                let of = if factor.power < 0 { &mut under } else { &mut over };
                *of = of.saturating_mul(end);
            }
            if under < 0 { (-over, -under) } else { (over, under.max(1)) }
        })
    }

    /// Three times the square of the standard uncertainty due to each factor alone, in femtometres, rounded up, with
    /// the factor's degrees of freedom.
    fn alone(&self) -> Vec<(i128, Option<u32>)> {
        let alone = |at: usize| {
            let (deviation, divisor) = self.factors[at].deviation.parts();
            // The others at their middles, twice over.
            let [mut over, mut under] = self.scale;
            for (other, factor) in self.factors.iter().enumerate() {
                let middle = 2 * factor.value + factor.within[1] - factor.within[0];
                match (factor.power < 0, other == at) {
                    (false, true) => over = over.saturating_mul(deviation),
                    (false, false) => {
                        over = over.saturating_mul(middle);
                        under = under.saturating_mul(2);
                    }
                    // d(1/x) = dx / x^2.
                    (true, true) => {
                        over = over.saturating_mul(4).saturating_mul(deviation);
                        under = under.saturating_mul(middle).saturating_mul(middle);
                    }
                    (true, false) => {
                        over = over.saturating_mul(2);
                        under = under.saturating_mul(middle);
                    }
                }
            }
            let (over, under) = (over.saturating_abs(), under.saturating_abs().max(1));
            let moved = over / under + i128::from(over % under > 0);
            (moved.saturating_mul(moved).saturating_mul(3 / divisor), self.factors[at].freedom)
        };
        (0..self.factors.len()).map(alone).collect()
    }

    /// Share by which the terms of the next order raise the standard uncertainty. Source: JCGM 100:2008, 5.1.2, note
    /// (from memory): each pair adds `(f_ij^2 / 2 + f_i f_ijj) u_i^2 u_j^2`.
    ///
    /// A product of two adds `u_i^2 u_j^2`; a pair of which one divides three times that in relative terms, and that
    /// one by itself `8 w^4`.
    pub(super) fn second_order(&self) -> f64 {
        // Each factor as one that multiplies: value, standard uncertainty, and the weight of its pairs.
        #[allow(clippy::cast_precision_loss)]
        let plain = |factor: &Factor| {
            let (deviation, divisor) = factor.deviation.parts();
            let value = factor.value as f64 + (factor.within[1] - factor.within[0]) as f64 / 2.0;
            let standard = deviation as f64 / PARTS as f64 / (divisor as f64).sqrt();
            match factor.power < 0 {
                true => (1.0 / value, standard / (value * value), 3.0),
                false => (value, standard, 1.0),
            }
        };
        let factors: Vec<(f64, f64, f64)> = self.factors.iter().map(plain).collect();
        // Square of the product with the deviations of these factors in place of their values.
        let square = |moved: &[usize]| {
            let each = factors.iter().enumerate();
            let each =
                each.map(|(at, (value, u, _))| if moved.contains(&at) { *u } else { *value });
            each.product::<f64>().powi(2)
        };
        let (mut first, mut second) = (0.0, 0.0);
        for (at, (value, u, weight)) in factors.iter().enumerate() {
            first += square(&[at]);
            for (other, (_, _, with)) in factors.iter().enumerate().skip(at + 1) {
                second += weight.max(*with) * square(&[at, other]);
            }
            if *weight > 1.0 {
                second += 8.0 * square(&[at]) * (u / value).powi(2);
            }
        }
        if first > 0.0 { (1.0 + second / first).sqrt() - 1.0 } else { 0.0 }
    }
}

/// Nearest whole number to a ratio, halves up.
fn nearest(over: i128, under: i128) -> i128 {
    over.saturating_mul(2).saturating_add(under).div_euclid(under.saturating_mul(2))
}

/// Effective degrees of freedom of the parts of a square, cut off to a whole number.
fn freedom(parts: &[(i128, Option<u32>)]) -> Option<u32> {
    #[allow(clippy::cast_precision_loss)]
    let float = |number: i128| number as f64;
    let total: f64 = parts.iter().map(|(square, _)| float(*square)).sum();
    let fourths = parts.iter().filter_map(|(square, freedom)| {
        Some(float(*square).powi(2) / f64::from((*freedom)?.max(1)))
    });
    let fourths: f64 = fourths.sum();
    // Against the last digit of the division: 16 of 16 are 16.
    let whole = (total * total / fourths * (1.0 + 1e-12)).floor().clamp(1.0, 1e9);
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    (fourths > 0.0).then_some(whole as u32)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn factor(value: i128, within: [i128; 2], standard: i128, power: i8) -> Factor {
        let deviation = Deviation::Standard(standard * PARTS);
        Factor { value, within, deviation, freedom: None, power }
    }

    /// By hand, in parts of the value: 0.1 and 0.2 make u^2 = 0.05. A product adds 0.1^2 0.2^2 = 0.0004, so u grows by
    /// root(1.008) - 1; a quotient 3 x 0.0004 + 8 x 0.2^4 = 0.014, so by root(1.28) - 1. A factor of zero has no
    /// relative uncertainty, and the product then moves with it alone: (100 x 10)^2, and the second order (20 x 10)^2.
    #[test]
    fn terms_of_the_second_order_are_those_of_the_guide() {
        let of = |power, value| Product {
            factors: [factor(value, [0, 0], 10, 1), factor(100, [0, 0], 20, power)],
            scale: [1_000, 1],
        };
        let near = |found: f64, square: f64| (found - (square.sqrt() - 1.0)).abs() < 1e-12;
        assert!(near(of(1, 100).second_order(), 1.008));
        assert!(near(of(-1, 100).second_order(), 1.28));
        assert!(near(of(1, 0).second_order(), 1.04));
    }

    /// Random products and quotients, whose figures are worked out in floating point from the definition: the value to
    /// half a tick, every corner within, the further one to a tick, the standard uncertainty to its last digit.
    #[test]
    fn every_corner_is_held() {
        let mut state = 1_u64;
        let mut draw = |from: i128, to: i128| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            from + i128::from(state >> 33) % (to - from)
        };
        for case in 0..5_000 {
            let power = if case % 2 == 0 { 1 } else { -1 };
            let mut one = |power| {
                let within = [draw(-2_000, 20_000), draw(2_000, 30_000)];
                factor(draw(100_000, 9_000_000), within, draw(1, 9_000), power)
            };
            let factors = [one(1), one(power)];
            let scale = if power > 0 { [1, 1_000_000] } else { [1_000_000, 1] };
            let found = Product { factors, scale }.estimate();
            #[allow(clippy::cast_precision_loss)]
            let float = |number: i128| number as f64;
            let of = |a: f64, b: f64| match power > 0 {
                true => a * b / 1e6,
                false => 1e6 * a / b,
            };
            let [a, b] = factors;
            let ticks = |length: Length| float(length.ticks().into());
            let value = ticks(found.value);
            assert!((value - of(float(a.value), float(b.value))).abs() < 0.500_01, "{case}");
            let ends =
                |of: &Factor| [float(of.value - of.within[0]), float(of.value + of.within[1])];
            let corners: Vec<f64> =
                ends(&a).iter().flat_map(|x| ends(&b).map(|y| of(*x, y))).collect();
            let [low, high] =
                [value - ticks(found.tolerance.minus), value + ticks(found.tolerance.plus)];
            assert!(corners.iter().all(|at| low <= at + 1e-6 && at - 1e-6 <= high), "{case}");
            let close = corners.iter().any(|at| at - low < 2.0 || high - at < 2.0);
            assert!(close, "{case}: {corners:?} in {low} to {high}");
            let middle = |of: &Factor| ends(of).iter().sum::<f64>() / 2.0;
            let [x, y] = [middle(&a), middle(&b)];
            let moved = of(x, y) * ((standard(&a) / x).powi(2) + (standard(&b) / y).powi(2)).sqrt();
            let standard = found.standard.to_f64(crate::length::Unit::Micrometre) * 1e4;
            assert!((standard / moved - 1.0).abs() < 1e-6, "{case}: {standard} {moved}");
        }
    }

    #[allow(clippy::cast_precision_loss)]
    fn standard(of: &Factor) -> f64 {
        let (deviation, _) = of.deviation.parts();
        deviation as f64 / PARTS as f64
    }
}
