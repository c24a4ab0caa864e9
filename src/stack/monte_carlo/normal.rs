//! Normal draws.

// The coefficients are kept as published.
#![allow(clippy::excessive_precision)]

/// Draws in a block.
pub(super) const BLOCK: usize = 256;

/// Polynomial, its coefficients from the highest power down (Horner's rule).
#[inline(always)]
pub(super) fn polynomial<const N: usize>(coefficients: &[f64; N], x: f64) -> f64 {
    let mut sum = coefficients[0];
    for c in &coefficients[1..] {
        sum = sum * x + c;
    }
    sum
}

/// Turns draws between minus and plus one half into normal draws, by the inverse of the normal
/// distribution.
///
/// Source: M. J. Wichura, "Algorithm AS 241: the percentage points of the normal distribution",
/// Applied Statistics 37 (1988), the double precision form; relative error about 1e-16 (from
/// memory, checked against the error function in the tests). Its part for the farthest tails, below
/// a probability of 1.4e-11, is left out: the draws are whole cells of 2^-32.
#[inline(always)]
pub(super) fn normal(
    mean: f64,
    sd: f64,
    draws: &mut [f64],
    tail: &mut [usize; BLOCK],
    kept: &mut [f64; BLOCK],
) {
    // Draws in a tail are noted without a branch, which would be mispredicted.
    let mut tails = 0;
    for (i, q) in draws.iter().enumerate() {
        tail[tails] = i;
        kept[tails] = *q;
        tails += usize::from(q.abs() > CENTRE);
    }
    for q in draws.iter_mut() {
        // Useless for a draw in a tail, and overwritten below.
        let r = 0.180_625 - *q * *q;
        *q = mean + sd * (*q * polynomial(&A, r) / polynomial(&B, r));
    }
    let kept = &mut kept[..tails];
    for q in kept.iter_mut() {
        // Distance into the tail, with the sign of its side.
        *q = libm::log(0.5 - q.abs()).copysign(*q);
    }
    for q in kept.iter_mut() {
        let r = q.abs().sqrt() - 1.6;
        let z = polynomial(&C, r) / polynomial(&D, r);
        *q = mean + sd * z.copysign(*q);
    }
    for (z, i) in kept.iter().zip(&tail[..tails]) {
        draws[*i] = *z;
    }
}

/// Distance from the median to which the central part reaches.
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
#[cfg(test)]
mod tests {
    use super::*;

    /// Against the error function of `libm`, which is independent of the algorithm.
    #[test]
    fn the_normal_quantile_inverts_the_normal_distribution() {
        let mut tails = 0;
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
            // Exact to the last places of the argument, which the slope of the distribution magnifies.
            let slope = libm::exp(-both[0] * both[0] / 2.0) / (2.0 * std::f64::consts::PI).sqrt();
            let off = (above - (0.5 - q)) / slope / both[0].abs().max(1.0);
            worst = worst.max(off.abs());
            tails += i32::from(q > CENTRE);
        }
        assert!(worst < 1e-15, "{worst:e}");
        assert!((9_000..12_000).contains(&tails), "{tails}");
    }
}
