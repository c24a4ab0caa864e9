//! Verdicts at the very edge, over random models of the language: sums of dimensions of every shape, of a growth, a
//! product and a quotient, and of pieces, read from the file. A second reckoning in exact fractions (the worst case) and
//! from the definitions of the shapes (standard uncertainties) says where the last limit lies that is met.
//!
//! A product or quotient is held in whole tenths of a nanometre, with limits either way of the product of the middles: in
//! the worst case the limit may lie a few of them inside the exact one, and never outside. By the expanded rule the value
//! itself is rounded, by half of one.

use std::fmt::Write;

use gapwright::accounting::stack;
use gapwright::decimal::Millionths;
use gapwright::length::Length;
use gapwright::model::Form;
use gapwright::plan::{PackPick, Pick};
use gapwright::stack::{Coverage, Guard, judge};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::{blank, own, shop};

/// A fraction; its denominator is above zero.
#[derive(Clone, Copy, Debug)]
struct Ratio(i128, i128);

impl Ratio {
    fn of(over: i128, under: i128) -> Ratio {
        let (mut a, mut b) = (over.abs(), under.abs());
        while b != 0 {
            (a, b) = (b, a % b);
        }
        let a = a.max(1) * under.signum();
        Ratio(over / a, under / a)
    }
    fn whole(number: i128) -> Ratio {
        Ratio(number, 1)
    }
    fn plus(self, other: Ratio) -> Ratio {
        Ratio::of(self.0 * other.1 + other.0 * self.1, self.1 * other.1)
    }
    fn times(self, other: Ratio) -> Ratio {
        let (a, b) = (Ratio::of(self.0, other.1), Ratio::of(other.0, self.1));
        Ratio::of(a.0 * b.0, a.1 * b.1)
    }
    fn less(self, other: Ratio) -> Ratio {
        self.plus(Ratio(-other.0, other.1))
    }
    fn over(self, other: Ratio) -> Ratio {
        self.times(Ratio::of(other.1, other.0))
    }
    fn abs(self) -> Ratio {
        Ratio(self.0.abs(), self.1)
    }
    fn most(self, other: Ratio) -> Ratio {
        if self.less(other).0 > 0 { self } else { other }
    }
    #[allow(clippy::cast_precision_loss)]
    fn float(self) -> f64 {
        self.0 as f64 / self.1 as f64
    }
}

/// A quantity with its limits of deviation and its standard uncertainty about their middle, in ticks (or in a step of
/// its own).
#[derive(Clone, Copy)]
struct Known {
    value: Ratio,
    minus: Ratio,
    plus: Ratio,
    /// Least and greatest value; of a product less far apart than its limits, which are as wide on either side.
    corners: [Ratio; 2],
    standard: f64,
}

impl Known {
    fn within(value: Ratio, [minus, plus]: [Ratio; 2], standard: f64) -> Known {
        let corners = [value.less(minus), value.plus(plus)];
        Known { value, minus, plus, corners, standard }
    }
    fn middle(&self) -> Ratio {
        self.value.plus(self.plus.less(self.minus).over(Ratio::whole(2)))
    }
    fn ends(&self) -> [Ratio; 2] {
        [self.value.less(self.minus), self.value.plus(self.plus)]
    }
}

/// A product of quantities to the power 1 or -1: limits about the product of the middles that hold every corner, and
/// the standard uncertainty of the first order (JCGM 100:2008, 5.1.2, from memory).
fn product(factors: &[(Known, i8)], scale: Ratio) -> Known {
    let of = |values: &[Ratio]| {
        let each = factors.iter().zip(values);
        each.fold(scale, |product, ((_, power), value)| match power {
            1 => product.times(*value),
            _ => product.over(*value),
        })
    };
    let values: Vec<Ratio> = factors.iter().map(|(factor, _)| factor.value).collect();
    let middles: Vec<Ratio> = factors.iter().map(|(factor, _)| factor.middle()).collect();
    let middle = of(&middles);
    let corners = (0..1 << factors.len()).map(|corner| {
        let ends = factors.iter().enumerate();
        of(&ends.map(|(at, (f, _))| f.ends()[corner >> at & 1]).collect::<Vec<_>>())
    });
    let corners: Vec<Ratio> = corners.collect();
    let far = corners.iter().map(|corner| corner.less(middle).abs());
    let half = far.fold(Ratio::whole(0), Ratio::most);
    let greatest = corners.iter().copied().reduce(Ratio::most).unwrap();
    let least = corners.iter().copied().reduce(|a, b| if a.less(b).0 < 0 { a } else { b }).unwrap();
    let relative = factors.iter().zip(&middles).map(|((f, _), m)| (f.standard / m.float()).powi(2));
    let value = of(&values);
    Known {
        value,
        minus: half.less(middle.less(value)),
        plus: half.plus(middle.less(value)),
        corners: [least, greatest],
        standard: middle.float().abs() * relative.sum::<f64>().sqrt(),
    }
}

/// Standard deviation of a distribution on -1 to 1 with this density, by Simpson's rule.
fn deviation(density: impl Fn(f64) -> f64) -> f64 {
    const STEPS: i32 = 20_000;
    let sum = |power: i32| -> f64 {
        let weight = |n: i32| match n {
            0 | STEPS => 1.0,
            n if n % 2 == 1 => 4.0,
            _ => 2.0,
        };
        let at = |n: i32| -1.0 + 2.0 * f64::from(n) / f64::from(STEPS);
        (0..=STEPS).map(|n| weight(n) * at(n).powi(power) * density(at(n))).sum()
    };
    (sum(2) / sum(0)).sqrt()
}

/// A distribution as a model file states it, and its standard uncertainty for a half-width of one.
fn shape(rng: &mut ChaCha8Rng) -> (String, f64) {
    match rng.random_range(0..6) {
        0 => (String::new(), deviation(|_| 1.0)),
        1 => ("shape = \"triangular\"\n".into(), deviation(|x| 1.0 - x.abs())),
        // The half-width is two standard deviations: JCGM 100:2008, 4.3.4, from memory.
        2 => ("shape = \"normal\"\n".into(), 0.5),
        // The mean of the square of a sine is a half.
        3 => ("shape = \"u-shaped\"\n".into(), 0.5_f64.sqrt()),
        4 => {
            let top = rng.random_range(0..=10);
            let slope = 1.0 - f64::from(top) / 10.0;
            let density = |x: f64| if slope > 0.0 { (1.0 - x.abs()).min(slope) } else { 1.0 };
            let text = format!("shape = \"trapezoid\"\ntop = {}\n", f64::from(top) / 10.0);
            (text, deviation(density))
        }
        _ => {
            let cut = f64::from(rng.random_range(5..=60)) / 10.0;
            let density = move |x: f64| (-(x * cut).powi(2) / 2.0).exp();
            (format!("shape = \"truncated normal\"\ncut = {cut}\n"), deviation(density))
        }
    }
}

/// Ticks in a thousandth of a millimetre.
const MICROMETRE: i128 = 10_000;

/// Writes a dimension of so many micrometres.
fn dimension(name: &str, range: [i64; 2], text: &mut String, rng: &mut ChaCha8Rng) -> Known {
    let value = rng.random_range(range[0]..=range[1]);
    let [minus, plus] = match rng.random_bool(0.4) {
        // As drawings print it: one side may lie on the other.
        true => {
            let low = rng.random_range(-40..=10);
            [-low, rng.random_range(low + 1..=40)]
        }
        false => [rng.random_range(1..=40); 2],
    };
    let (shape, of_one) = shape(rng);
    let within = match minus == plus {
        true => format!("{}", f64::from(i32::try_from(plus).unwrap()) / 1000.0),
        false => {
            let side = |um: i64| format!("{:+.3}", f64::from(i32::try_from(um).unwrap()) / 1000.0);
            format!("\"{} / {}\"", side(plus), side(-minus))
        }
    };
    let shown = f64::from(i32::try_from(value).unwrap()) / 1000.0;
    write!(text, "[dimension.{name}]\nplus_minus = {within}\n{shape}example = {shown}\n").unwrap();
    let ticks = |um: i64| Ratio::whole(i128::from(um) * MICROMETRE);
    let [minus, plus] = [minus, plus].map(ticks);
    let standard = minus.plus(plus).float() / 2.0 * of_one;
    Known::within(ticks(value), [minus, plus], standard)
}

/// A plus/minus of a rectangular distribution.
fn rectangular(value: i64, half: i64) -> Known {
    let [value, half] = [value, half].map(|number| Ratio::whole(number.into()));
    Known::within(value, [half; 2], half.float() / 3.0_f64.sqrt())
}

/// A model's text, the names of its terms with their sensitivities in tenths, and what is known of each.
fn case(rng: &mut ChaCha8Rng) -> (String, Vec<(String, i64, Known)>) {
    let mut text = String::from("title = \"Random\"\nunit = \"mm\"\n");
    let mut known = Vec::new();
    let sensitivity = |rng: &mut ChaCha8Rng| {
        let c = [10, 10, 5, 14, 25][rng.random_range(0..5)];
        if rng.random() { c } else { -c }
    };
    let plain = dimension("plain", [900, 3_000], &mut text, rng);
    known.push(("plain".to_string(), sensitivity(rng), plain));
    if rng.random_bool(0.7) {
        let pair = [("reading", [100, 900]), ("rim", [40_000, 120_000])]
            .map(|(name, range)| (dimension(name, range, &mut text, rng), 1));
        let per = [100, 75, 31][rng.random_range(0..3)];
        write!(text, "[derived.play]\nproduct = [\"reading\", \"rim\"]\nper = {per}\n").unwrap();
        let per = Ratio::of(1, i128::from(per) * 1_000 * MICROMETRE);
        known.push(("play".into(), sensitivity(rng), product(&pair, per)));
    }
    if rng.random_bool(0.7) {
        let travel = dimension("travel", [500, 2_000], &mut text, rng);
        let pitch = dimension("pitch", [1_000, 3_000], &mut text, rng);
        let times = rng.random_range(1..=9);
        let shown = f64::from(times) / 10.0;
        write!(text, "[derived.rise]\nquotient = [\"travel\", \"pitch\"]\ntimes = {shown}\n")
            .unwrap();
        let times = Ratio::whole(i128::from(times) * 100 * MICROMETRE);
        known.push(("rise".into(), sensitivity(rng), product(&[(travel, 1), (pitch, -1)], times)));
    }
    let hot = rng.random_bool(0.5);
    if hot {
        let [length, expansion, warmer] =
            [(100_000, 400_000), (90, 170), (20, 90)].map(|(a, b)| rng.random_range(a..=b));
        let [off, unsure, by] = [(1, 900), (1, 9), (1, 8)].map(|(a, b)| rng.random_range(a..=b));
        let mm = |um: i64| f64::from(i32::try_from(um).unwrap()) / 1000.0;
        let ppm = |tenths: i64| f64::from(i32::try_from(tenths).unwrap()) / 10.0;
        write!(
            text,
            "[thermal.growth]\nlength = {}\nlength_plus_minus = {}\nexpansion = {}\nexpansion_plus_minus = {}\n\
             cold = 20\nrunning = {}\ntemperature_plus_minus = {by}\n",
            mm(length),
            mm(off),
            ppm(expansion),
            ppm(unsure),
            20 + warmer,
        )
        .unwrap();
        let factors =
            [rectangular(length, off), rectangular(expansion, unsure), rectangular(warmer, by)];
        // Micrometres times 1e-7 per degree times degrees.
        let grown = product(&factors.map(|factor| (factor, 1)), Ratio::of(MICROMETRE, 10_000_000));
        known.push(("growth".into(), sensitivity(rng), grown));
    }
    let c = sensitivity(rng);
    // A piece of the blank stock workbook: 0.500 mm, good to 0.005 mm.
    let pieces = rectangular(5_000_000, 50_000);
    known.push(("shims".into(), c, pieces));
    text.push_str("[pack.shims]\nkind = \"shim\"\nmost_pieces = 3\nexample = 0.5\n");
    let tenths = |c: i64| f64::from(i32::try_from(c).unwrap()) / 10.0;
    let terms = known.iter().map(|(name, c, _)| format!("{name} = {}", tenths(*c)));
    let terms = terms.collect::<Vec<_>>().join(", ");
    let when = if hot { "when = \"hot\"\n" } else { "" };
    write!(
        text,
        "[requirement.sum]\nterms = {{ {terms} }}\ntarget = 0\nlimits = [-400, 400]\n{when}"
    )
    .unwrap();
    (text, known)
}

/// Where the sum's lower and upper side end by a rule, in ticks: at the outermost that they must reach, and at the
/// innermost that they may.
fn ends(known: &[(String, i64, Known)], coverage: Option<f64>) -> [[f64; 2]; 2] {
    let ten = Ratio::whole(10);
    let c = |c: i64| Ratio::whole(c.into()).over(ten);
    let sum = |of: &dyn Fn(Ratio, &Known) -> Ratio| {
        known.iter().fold(Ratio::whole(0), |sum, (_, s, known)| sum.plus(of(c(*s), known)))
    };
    let value = sum(&|c, known| c.times(known.value));
    let Some(k) = coverage else {
        let side = |up: bool, ends: fn(&Known) -> [Ratio; 2]| {
            let end = usize::from(up);
            sum(&|c, known| c.times(ends(known)[if c.0 > 0 { end } else { 1 - end }])).float()
        };
        return [false, true].map(|up| [side(up, |known| known.corners), side(up, Known::ends)]);
    };
    let middle = sum(&|c, known| c.times(known.middle())).less(value).float();
    let squares = known.iter().map(|(_, s, known)| (c(*s).float() * known.standard).powi(2));
    let expanded = k * squares.sum::<f64>().sqrt();
    let value = value.float();
    [value - (expanded - middle).max(0.0), value + (expanded + middle).max(0.0)].map(|end| [end; 2])
}

#[test]
fn the_last_limit_that_is_met_is_that_of_exact_fractions() {
    let (mut seen, mut furthest) = ([0; 4], 0.0_f64);
    for seed in 0..400 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let (text, known) = case(&mut rng);
        let folder = shop(&[("random", text.clone())]);
        let model =
            own(&folder, "random").unwrap_or_else(|said| panic!("case {seed}: {said}\n{text}"));
        let job = blank(&model, Some(folder.path()))
            .unwrap_or_else(|problems| panic!("case {seed}: {:#?}\n{text}", problems.sorted()));
        let piece = PackPick { picks: vec![Pick { item: 0, count: 1, peeled: 0 }] };
        let stack = stack(&job, &job.pumps[0], &[piece]);
        let Form::Linear { terms, target, .. } = &job.pumps[0].requirements[0].form else {
            panic!("a sum");
        };
        let k = [1_000_000, 2_000_000, 2_576_000][rng.random_range(0..3)];
        let coverage = Coverage::Factor(Millionths::from_raw(k));
        let rules = [
            (Guard::WorstCase, None),
            (Guard::Expanded(coverage), Some(Millionths::from_raw(k).to_f64())),
        ];
        // Rounded to a tick three times at most (value, middle, half), outward, in each product.
        let rounded =
            known.iter().filter(|(name, ..)| ["play", "rise", "growth"].contains(&&name[..]));
        let inside: f64 =
            rounded.map(|(_, c, _)| 2.5 * Millionths::from_raw(c.abs() * 100_000).to_f64()).sum();
        for (guard, k) in rules {
            for (side, [outer, inner]) in ends(&known, k).into_iter().enumerate() {
                // Signed so that greater is tighter.
                let sign = [1, -1][side];
                let limit = |ticks: i64| Some(Length::from_ticks(sign * ticks));
                let met = |ticks: i64| {
                    let (lower, upper) = match side {
                        0 => (limit(ticks), None),
                        _ => (None, limit(ticks)),
                    };
                    let form = Form::Linear { terms: terms.clone(), target: *target, lower, upper };
                    judge(&form, &stack, guard).conforms()
                };
                let (mut holds, mut fails) = (-10_000_000_000, 10_000_000_000);
                assert!(met(holds) && !met(fails));
                while fails - holds > 1 {
                    let between = holds + (fails - holds) / 2;
                    if met(between) { holds = between } else { fails = between }
                }
                #[allow(clippy::cast_precision_loss)]
                let [over, spare] = [outer, inner]
                    .map(|end| f64::from(i32::try_from(sign).unwrap()) * end - holds as f64);
                // By the expanded rule half a tick of each value that was rounded.
                let allowed = if k.is_some() { inside / 5.0 } else { 0.0 };
                let rule = if k.is_some() { "expanded" } else { "worst case" };
                assert!(
                    over > -allowed - 1e-3 && spare < 1.01 + inside,
                    "case {seed}, {rule}, side {side}: {over} to {spare} ticks, at most {inside}\n{text}"
                );
                furthest = furthest.max(spare - inside);
                seen[usize::from(k.is_some()) + 2 * usize::from(inside > 0.0)] += 1;
            }
        }
    }
    println!("edges {seen:?}, {furthest} ticks over what rounding may come to");
    assert!(seen.iter().all(|count| *count > 20), "{seen:?}");
}
