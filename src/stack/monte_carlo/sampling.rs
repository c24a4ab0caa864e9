//! Draws of the laws, a block at a time.
//!
//! A block is short enough that what every source draws for it stays in the fastest memory, and
//! long enough that each loop runs over many draws. Nothing here is left to the platform: only
//! `+ - * /`, the square root and what `libm` is written with, in a fixed order, so that a seed
//! gives the same draws everywhere.

use chacha20::ChaCha8Rng;
use chacha20::rand_core::Rng;

use super::law::Law;

/// Draws in a block.
pub(super) const BLOCK: usize = 256;

/// Where random bytes and half-made draws are kept.
#[derive(Debug)]
pub(super) struct Scratch {
    bytes: [u8; 4 * BLOCK],
    other: [f64; BLOCK],
    tail: [usize; BLOCK],
}

impl Scratch {
    pub(super) fn new() -> Self {
        Scratch {
            bytes: [0; 4 * BLOCK],
            other: [0.0; BLOCK],
            tail: [0; BLOCK],
        }
    }
}

/// Fills a block with draws of a law about a mean.
#[inline(always)]
pub(super) fn fill(
    mean: f64,
    law: Law,
    rng: &mut ChaCha8Rng,
    scratch: &mut Scratch,
    out: &mut [f64],
) {
    match law {
        Law::Rectangular { half } => {
            uniform(rng, &mut scratch.bytes, out, |q| mean + 2.0 * half * q);
        }
        Law::Triangular { half } => {
            uniform(rng, &mut scratch.bytes, out, |q| mean + half * q);
            let other = &mut scratch.other[..out.len()];
            uniform(rng, &mut scratch.bytes, other, |q| half * q);
            for (x, other) in out.iter_mut().zip(other) {
                *x += *other;
            }
        }
        Law::Normal { sd } => {
            uniform(rng, &mut scratch.bytes, out, |q| q);
            normal(mean, sd, out, &mut scratch.tail, &mut scratch.other);
        }
        Law::UShaped { half } => {
            uniform(rng, &mut scratch.bytes, out, |q| mean + half * sine(q));
        }
        Law::Student { scale, dof } => {
            for x in out {
                *x = mean + scale * student(f64::from(dof), rng);
            }
        }
        Law::CurvilinearTrapezoid { half, inexact } => {
            let edge = &mut scratch.other[..out.len()];
            uniform(rng, &mut scratch.bytes, edge, |q| {
                2.0 * half + 4.0 * inexact * q
            });
            uniform(rng, &mut scratch.bytes, out, |q| q);
            for (x, edge) in out.iter_mut().zip(edge) {
                *x = mean + *x * *edge;
            }
        }
    }
}

/// Fills with something of draws between minus and plus one half: the middles of 2^32 equal cells.
///
/// A normal draw out of them reaches 6.3 standard deviations, which one draw in four thousand
/// million exceeds.
#[inline(always)]
fn uniform(
    rng: &mut ChaCha8Rng,
    bytes: &mut [u8; 4 * BLOCK],
    out: &mut [f64],
    of: impl Fn(f64) -> f64,
) {
    const ONE: u64 = 1.0_f64.to_bits();
    const MIDDLE: f64 = 1.5 - 1.0 / 8_589_934_592.0;
    let bytes = &mut bytes[..4 * out.len()];
    rng.fill_bytes(bytes);
    let (words, _) = bytes.as_chunks::<4>();
    for (x, word) in out.iter_mut().zip(words) {
        // The word as the first bits of the fraction of a number from 1 to 2.
        *x = of(f64::from_bits(ONE | u64::from(u32::from_le_bytes(*word)) << 20) - MIDDLE);
    }
}

/// The sine of pi times `x`, for `x` between minus and plus one half: the arcsine law's quantile.
///
/// Its power series, to the last term that matters; the error is below 1e-15.
#[inline(always)]
fn sine(x: f64) -> f64 {
    /// `(-1)^n / (2n + 1)!`, from n = 11 down to 0.
    const TERMS: [f64; 12] = {
        let mut terms = [1.0; 12];
        let (mut n, mut term) = (0_u32, 1.0);
        let mut order = 0.0;
        while n < 12 {
            terms[11 - n as usize] = term;
            term /= -(order + 2.0) * (order + 3.0);
            order += 2.0;
            n += 1;
        }
        terms
    };
    let t = x * std::f64::consts::PI;
    t * polynomial(&TERMS, t * t)
}

/// A polynomial, its coefficients from the highest power down (Horner's rule).
#[inline(always)]
fn polynomial<const N: usize>(coefficients: &[f64; N], x: f64) -> f64 {
    let mut sum = coefficients[0];
    for c in &coefficients[1..] {
        sum = sum * x + c;
    }
    sum
}

/// Turns draws between minus and plus one half into normal ones, by the inverse of the normal
/// distribution.
///
/// Source: M. J. Wichura, "Algorithm AS 241: the percentage points of the normal distribution",
/// Applied Statistics 37 (1988), the double precision form; relative error about 1e-16 (from
/// memory, checked against the error function in the tests).
#[inline(always)]
fn normal(
    mean: f64,
    sd: f64,
    draws: &mut [f64],
    tail: &mut [usize; BLOCK],
    kept: &mut [f64; BLOCK],
) {
    // The draws in a tail are noted without a branch, which would be guessed wrongly.
    let mut tails = 0;
    for (i, q) in draws.iter().enumerate() {
        tail[tails] = i;
        kept[tails] = *q;
        tails += usize::from(q.abs() > CENTRE);
    }
    for q in draws.iter_mut() {
        // In a tail this is of no use, and written over below.
        let r = 0.180_625 - *q * *q;
        *q = mean + sd * (*q * polynomial(&A, r) / polynomial(&B, r));
    }
    for (q, i) in kept.iter().zip(&tail[..tails]) {
        let r = (-libm::log(0.5 - q.abs())).sqrt();
        let z = if r <= 5.0 {
            polynomial(&C, r - 1.6) / polynomial(&D, r - 1.6)
        } else {
            polynomial(&E, r - 5.0) / polynomial(&F, r - 5.0)
        };
        draws[*i] = mean + sd * z.copysign(*q);
    }
}

/// The central part reaches this far from the median.
const CENTRE: f64 = 0.425;
const A: [f64; 8] = [
    2.509_080_928_730_122_672_7e3,
    3.343_057_558_358_812_810_5e4,
    6.726_577_092_700_870_085_3e4,
    4.592_195_393_154_987_145_7e4,
    1.373_169_376_550_946_112_5e4,
    1.971_590_950_306_551_442_7e3,
    1.331_416_678_917_843_774_5e2,
    3.387_132_872_796_366_608,
];
const B: [f64; 8] = [
    5.226_495_278_852_854_561e3,
    2.872_908_573_572_194_267_4e4,
    3.930_789_580_009_271_061e4,
    2.121_379_430_158_659_586_7e4,
    5.394_196_021_424_751_107_7e3,
    6.871_870_074_920_579_083e2,
    4.231_333_070_160_091_125_2e1,
    1.0,
];
const C: [f64; 8] = [
    7.745_450_142_783_414_076_4e-4,
    2.272_384_498_926_918_458_33e-2,
    2.417_807_251_774_506_117_7e-1,
    1.270_458_252_452_368_382_58,
    3.647_848_324_763_204_605_04,
    5.769_497_221_460_691_405_5,
    4.630_337_846_156_545_295_9,
    1.423_437_110_749_683_577_34,
];
const D: [f64; 8] = [
    1.050_750_071_644_416_843_24e-9,
    5.475_938_084_995_344_946e-4,
    1.519_866_656_361_645_719_66e-2,
    1.481_039_764_274_800_745_9e-1,
    6.897_673_349_851_000_045_5e-1,
    1.676_384_830_183_803_849_4,
    2.053_191_626_637_758_821_87,
    1.0,
];
const E: [f64; 8] = [
    2.010_334_399_292_288_132_65e-7,
    2.711_555_568_743_487_578_15e-5,
    1.242_660_947_388_078_438_6e-3,
    2.653_218_952_657_612_309_3e-2,
    2.965_605_718_285_048_912_3e-1,
    1.784_826_539_917_291_335_8,
    5.463_784_911_164_114_369_9,
    6.657_904_643_501_103_777_2,
];
const F: [f64; 8] = [
    2.044_263_103_389_939_785_64e-15,
    1.421_511_758_316_445_888_7e-7,
    1.846_318_317_510_054_681_8e-5,
    7.868_691_311_456_132_591e-4,
    1.487_536_129_085_061_485_25e-2,
    1.369_298_809_227_358_053_1e-1,
    5.998_322_065_558_879_376_9e-1,
    1.0,
];

/// A draw of Student's t.
///
/// Source: R. W. Bailey, "Polar generation of random variates with the t-distribution",
/// Mathematics of Computation 62 (1994) (from memory, checked against exact distributions).
fn student(dof: f64, rng: &mut ChaCha8Rng) -> f64 {
    loop {
        let (u, v) = (signed(rng), signed(rng));
        let w = u * u + v * v;
        if w <= 1.0 {
            // The power of w less 1, without the digits that taking 1 off would lose.
            return u * (dof * libm::expm1(-2.0 / dof * libm::log(w)) / w).sqrt();
        }
    }
}

/// A draw between minus and plus one: the middles of 2^53 equal cells, never nought.
#[allow(clippy::cast_possible_wrap, clippy::cast_precision_loss)]
fn signed(rng: &mut ChaCha8Rng) -> f64 {
    let odd = (rng.next_u64() as i64 >> 10) | 1;
    odd as f64 / 9_007_199_254_740_992.0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against `libm`'s error function, which has nothing to do with the algorithm.
    #[test]
    fn the_normal_quantile_inverts_the_normal_distribution() {
        let mut seen = [0; 3];
        let mut worst = 0.0_f64;
        for n in 1..20_000 {
            // Evenly in the centre, and down to 2^-33 in the tails.
            let q = if n < 10_000 {
                f64::from(n) / 20_000.0
            } else {
                0.5 - libm::exp2(-33.0 * f64::from(n - 9_999) / 10_001.0)
            };
            let mut both = [q, -q];
            normal(0.0, 1.0, &mut both, &mut [0; BLOCK], &mut [0.0; BLOCK]);
            assert_eq!(both[0].to_bits(), (-both[1]).to_bits());
            let above = libm::erfc(both[0] / 2.0_f64.sqrt()) / 2.0;
            // To the last places of the argument, of which the distribution's slope makes more.
            let slope = libm::exp(-both[0] * both[0] / 2.0) / (2.0 * std::f64::consts::PI).sqrt();
            let off = (above - (0.5 - q)) / slope / both[0].abs().max(1.0);
            worst = worst.max(off.abs());
            let part = usize::from(q > CENTRE) + usize::from(0.5 - q < 1.3e-11);
            seen[part] += 1;
        }
        assert!(worst < 1e-15, "{worst:e}");
        assert!(seen[0] > 8_000 && seen[1] > 5_000, "{seen:?}");
    }

    /// Another implementation of the generator, and the laws of two words by hand.
    #[test]
    fn a_uniform_draw_is_the_middle_of_its_cell() {
        use chacha20::rand_core::SeedableRng;
        use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
        let mut other = rand_chacha::ChaCha8Rng::from_seed([7; 32]);
        let mut rng = ChaCha8Rng::from_seed([7; 32]);
        other.set_stream(3);
        rng.set_stream(3);
        let mut out = [0.0; BLOCK];
        for _ in 0..3 {
            uniform(&mut rng, &mut [0; 4 * BLOCK], &mut out, |q| q);
            for q in out {
                let cell = (f64::from(other.next_u32()) + 0.5) / 4_294_967_296.0;
                assert_eq!(q.to_bits(), (cell - 0.5).to_bits());
            }
        }
    }

    #[test]
    fn the_sine_is_the_sine() {
        for n in -1_000..=1_000 {
            let x = f64::from(n) / 2_000.0;
            let off = sine(x) - libm::sin(x * std::f64::consts::PI);
            assert!(off.abs() < 1e-15, "{x}: {off:e}");
        }
    }
}
