//! Coverage factors of Student's distribution for whole degrees of freedom, from its closed form.

use std::sync::LazyLock;

/// Levels in millionths, and the factor of the normal distribution. Source: JCGM 100:2008, table G.2,
/// last row (from memory; there with three places), the further places from any table of the normal
/// distribution.
pub const LEVELS: [(i64, f64); 3] = [
    (900_000, 1.644_853_626_951_473),
    (950_000, 1.959_963_984_540_054),
    (990_000, 2.575_829_303_548_901),
];

/// From this number of degrees of freedom on, the factor is constant.
const MOST: usize = 1_000;

/// The factor at a level, rounded up to a millionth as the rule demands. The effective degrees of freedom are rounded
/// down to a whole number, at least 1 (JCGM 100:2008, G.4.1 note 1, from memory).
pub fn factor(level: i64, effective: Option<f64>) -> f64 {
    static KNOWN: LazyLock<Vec<Vec<f64>>> = LazyLock::new(|| {
        let of_level = |(level, _): &(i64, f64)| -> Vec<f64> {
            (1..=MOST).map(|freedom| quantile(*level as f64 / 1e6, freedom)).collect()
        };
        LEVELS.iter().map(of_level).collect()
    });
    let at = LEVELS.iter().position(|(known, _)| *known == level).unwrap();
    let exact = match effective {
        None => LEVELS[at].1,
        Some(effective) => {
            let whole = (effective * (1.0 + 1e-9)).floor().clamp(1.0, MOST as f64) as usize;
            KNOWN[at][whole - 1]
        }
    };
    (exact * 1e6).ceil() / 1e6
}

/// The t with a share `level` of the distribution between -t and t, by bisection.
fn quantile(level: f64, freedom: usize) -> f64 {
    let (mut below, mut above) = (0.0, 100.0);
    for _ in 0..60 {
        let middle = f64::midpoint(below, above);
        if within(middle, freedom) < level {
            below = middle;
        } else {
            above = middle;
        }
    }
    above
}

/// Share of the distribution between -t and t. Source: Abramowitz and Stegun, Handbook of Mathematical Functions,
/// 26.7.3 and 26.7.4 (from memory).
fn within(t: f64, freedom: usize) -> f64 {
    let angle = (t / (freedom as f64).sqrt()).atan();
    let (sine, cosine) = angle.sin_cos();
    let odd = freedom % 2 == 1;
    let mut term = if odd { cosine } else { 1.0 };
    let mut sum = 0.0;
    for step in 1..=freedom / 2 {
        sum += term;
        let double = 2.0 * step as f64;
        let ratio = if odd { double / (double + 1.0) } else { (double - 1.0) / double };
        term *= cosine.powi(2) * ratio;
    }
    if odd { std::f64::consts::FRAC_2_PI * (angle + sine * sum) } else { sine * sum }
}

/// Source: JCGM 100:2008, table G.2 (from memory): factors with two places.
#[test]
fn factors_are_those_printed() {
    for (freedom, at_90, at_95, at_99) in [
        (1, 631, 1271, 6366),
        (2, 292, 430, 992),
        (3, 235, 318, 584),
        (4, 213, 278, 460),
        (5, 202, 257, 403),
        (6, 194, 245, 371),
        (7, 189, 236, 350),
        (8, 186, 231, 336),
        (9, 183, 226, 325),
        (10, 181, 223, 317),
        (16, 175, 212, 292),
        (18, 173, 210, 288),
        (50, 168, 201, 268),
        (100, 166, 198, 263),
    ] {
        for ((level, normal), printed) in LEVELS.into_iter().zip([at_90, at_95, at_99]) {
            let found = factor(level, Some(f64::from(freedom) + 0.9));
            assert_eq!((found * 100.0).round() as i32, printed, "{freedom} at {level}");
            assert!(found > normal);
        }
    }
}

/// The library's own factors, to the last of their six places.
#[test]
fn the_library_has_the_same_factors() {
    use gapwright::decimal::Millionths;
    use gapwright::stack::Coverage;
    for (level, _) in LEVELS {
        let library = Coverage::Level(Millionths::from_raw(level));
        for freedom in (1..=MOST as u32).map(Some).chain([None]) {
            let found = library.factor(freedom).raw();
            let own = factor(level, freedom.map(f64::from)) * 1e6;
            assert_eq!(found, own.round() as i64, "{freedom:?} at {level}");
        }
    }
}
