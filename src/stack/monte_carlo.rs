//! Distribution of a requirement's value by Monte Carlo: coverage intervals and the probability of
//! conformity, without the assumption that the value is normal or even a sum.
//!
//! [`run`] draws a [`DrawModel`] as a [`DrawOptions`] says and returns an [`Outcome`]. The method is that of JCGM
//! 101:2008 (clauses 5, 6.4 and 7; from memory). Batches are drawn until the mean, the standard uncertainty
//! and both ends of the symmetric interval are stable to the last digit asked for (7.9). The intervals then
//! come from all draws of all batches. The probability of conformity is the share of draws within the limits
//! (JCGM 106:2012).
//!
//! **Reproducible to the last bit.** Batch number n draws from stream n of a ChaCha8 generator, so a batch
//! does not depend on the thread or the time at which it is drawn. Batches are combined in their order, and
//! only platform-independent operations are used. A seed gives the same outcome on every machine and with any
//! number of threads.
//!
//! **Speed**: on 2026-11-29 on two cores 26 ns a draw of a sum of nine sources of four laws, 3.2 times as quick as numpy
//! with whole arrays in the same run, 5.9 times on two threads (`cargo run --release --example monte_carlo`). Student's
//! law takes longer on both sides and gains less. Nobody waits for it: the kernel that gives the same bits everywhere stays.
//!
//! **Memory**: at a level of 95 % about 1.1 bytes per draw, so 11 MB for 10 million. The intervals are exact
//! order statistics of all draws. Only draws far from the middle can be their ends, so the middle of each
//! batch is dropped.

mod batch;
mod coverage;
mod joint;
mod law;
mod normal;
mod sampling;

use rayon::prelude::*;
use smallvec::SmallVec;

pub use joint::Joint;
pub use law::Law;
pub(crate) use sampling::signed;

use crate::narrow::narrow;
use batch::{Batch, Cuts, Desk, Drawer, total};
use coverage::{Tails, tail, upwards};

/// Input: a mean and a distribution about it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Source {
    /// Mean.
    pub mean: f64,
    /// Distribution about the mean.
    pub law: Law,
}

/// Factor times a product of sources, over a sum of others.
///
/// A source that several terms share is the same draw in all of them. The error shared by all pieces of a lot
/// is one source, with the number of pieces in its factor.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawTerm {
    /// Sensitivity.
    pub factor: f64,
    /// Sources, by index; one may appear more than once, and without any the product is 1.
    pub of: SmallVec<[usize; 3]>,
    /// Sources whose sum divides the product; none divide it by 1.
    pub over: SmallVec<[usize; 2]>,
}

/// Constant plus terms.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sum {
    /// Constant part.
    pub constant: f64,
    /// Terms of the sum.
    pub terms: Vec<DrawTerm>,
}

/// Quantity computed from the sources.
#[derive(Debug, Clone, PartialEq)]
pub enum Measurand {
    /// Sum: a clearance, a length.
    Sum(Sum),
    /// `free / gap - 1`: the allowance of a gasket.
    ///
    /// A draw has no value if its gap is not above zero.
    Ratio {
        /// Free thickness.
        free: Sum,
        /// Gap.
        gap: Sum,
    },
}

/// Inputs and measurand. All numbers are in units of the caller's choice.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawModel {
    /// Inputs, independent of each other except in joint groups.
    pub sources: Vec<Source>,
    /// Groups of sources that are drawn together; a source is in at most one group.
    pub joint: Vec<Joint>,
    /// Measurand.
    pub measurand: Measurand,
}

/// Settings of the draws and of the results wanted.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawOptions {
    /// Seed; draws differ from seed to seed only.
    pub seed: u64,
    /// Coverage probability of the intervals: 0.5 or more, less than 1.
    pub level: f64,
    /// Limits of conformity, lower and upper; either may be infinite.
    pub limits: Option<[f64; 2]>,
    /// Significant digits of the standard uncertainty that must be stable, 1 to 9. Two are usual;
    /// each further one takes a hundred times the draws.
    pub digits: u32,
    /// Number of draws at which to give up, at least two batches. Fewer than 16 batches never count as
    /// settled.
    pub most_draws: u64,
}

impl Default for DrawOptions {
    fn default() -> Self {
        DrawOptions { seed: 1, level: 0.95, limits: None, digits: 2, most_draws: 10_000_000 }
    }
}

/// Result of the draws.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// Number of draws.
    pub draws: u64,
    /// Draws without a value: the gap was not above zero, or the value was not finite. They are left out of
    /// the mean and the standard uncertainty, count as above every value in the intervals (whose ends are
    /// infinite if there are that many), and do not conform.
    pub without_value: u64,
    /// Mean.
    pub mean: f64,
    /// Standard uncertainty: the standard deviation of the draws.
    pub standard: f64,
    /// Interval of the level with equal probability left out on each side.
    pub symmetric: [f64; 2],
    /// Shortest interval of the level.
    pub shortest: [f64; 2],
    /// Share of draws within and outside the limits, if there are limits.
    pub conformity: Option<Conformity>,
    /// Numerical error of each of the above: twice the standard deviation, estimated from the batches.
    pub spread: DrawnSpread,
    /// Numerical tolerance of the standard uncertainty: half a unit of the last digit asked for.
    pub tolerance: f64,
    /// Whether the draws are enough: the numerical errors of the mean, the standard uncertainty and the ends
    /// of the symmetric interval are within the tolerance.
    pub settled: bool,
    /// Histogram of the draws.
    pub histogram: Histogram,
}

/// Shares of draws; together with those without a value they make 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conformity {
    /// Within the limits, ends included.
    pub conforming: f64,
    /// Below the lower limit.
    pub below: f64,
    /// Above the upper limit.
    pub above: f64,
}

/// Twice the standard deviations of averages over the batches; infinite where a batch has no finite value.
///
/// The ends of the shortest interval vary more than those of the symmetric one, most of all for a symmetric
/// distribution, and are not waited for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DrawnSpread {
    /// DrawnSpread of the mean.
    pub mean: f64,
    /// DrawnSpread of the standard uncertainty.
    pub standard: f64,
    /// DrawnSpread of the ends of the symmetric interval.
    pub symmetric: [f64; 2],
    /// DrawnSpread of the ends of the shortest interval.
    pub shortest: [f64; 2],
}

/// Draws counted in classes of equal width, out to where about one in two thousand is left on each side.
#[derive(Debug, Clone, PartialEq)]
pub struct Histogram {
    /// Lower edge of the first class.
    pub from: f64,
    /// Upper edge of the last class.
    pub to: f64,
    /// Draws in each class.
    pub counts: [u64; CLASSES],
    /// Draws below the first class.
    pub below: u64,
    /// Draws above the last class; those without a value are not counted.
    pub above: u64,
}

/// Number of classes in a histogram.
pub const CLASSES: usize = 60;

/// Errors in a model or a plan of draws.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum DrawError {
    /// The mean or the distribution of a source is not a number, or its width is negative.
    #[error("source {0} has no mean and width that make a distribution")]
    Law(usize),
    /// A constant or a factor is not a number.
    #[error("a factor or constant of the sum is not a number")]
    Factor,
    /// A term or a group refers to a source that does not exist.
    #[error("there is no source {0}")]
    NoSource(usize),
    /// A source is in two groups, or twice in one, or its distribution is not normal.
    #[error("source {0} cannot be drawn together with others: it must be normal and in one group")]
    Member(usize),
    /// A correlation matrix is not symmetric and positive semi-definite, or of the wrong size.
    #[error("group {0} has no valid correlation matrix")]
    Correlation(usize),
    /// The level is below 0.5, or 1 or more.
    #[error("the coverage probability must be 0.5 or more and less than 1")]
    Level,
    /// The limits are not numbers, or the lower one is above the upper.
    #[error("the lower limit is above the upper")]
    Limits,
    /// The digits are not from 1 to 9.
    #[error("the significant digits must be 1 to 9")]
    Digits,
    /// Fewer draws are allowed than the level needs.
    #[error("the coverage probability needs at least {0} draws")]
    FewDraws(u64),
    /// Fewer than two draws have a value, or the values are too large for a standard deviation.
    #[error("no mean can be taken: the gap is hardly ever above zero, or the values are too large")]
    NoValue,
}

/// Batches drawn before the first test of whether they are enough. Each further test comes after as many
/// again, or after a quarter of those drawn so far. The outcome depends on it, so it does not depend on the
/// machine. (The clause tests after every batch from the second on, where two that happen to agree would end
/// the draws.)
const WAVE: usize = 16;

/// Draws the model as planned.
///
/// # Errors
/// Every error of the model and of the plan.
///
/// ```
/// use gapwright::stack::monte_carlo::{Law, Measurand, DrawModel, DrawOptions, Source, Sum, DrawTerm, run};
/// use smallvec::smallvec;
/// // A gap of 1.70 +/- 0.01 less a pack of 1.20 +/- 0.02, both rectangular.
/// let source = |mean, half| Source { mean, law: Law::Rectangular { half } };
/// let term = |factor, source| DrawTerm { factor, of: smallvec![source], over: smallvec![] };
/// let model = DrawModel {
///     sources: vec![source(1.70, 0.01), source(1.20, 0.02)],
///     joint: vec![],
///     measurand: Measurand::Sum(Sum { constant: 0.0, terms: vec![term(1.0, 0), term(-1.0, 1)] }),
/// };
/// let plan = DrawOptions { limits: Some([0.48, f64::INFINITY]), ..DrawOptions::default() };
/// let outcome = run(&model, &plan).unwrap();
/// assert!(outcome.settled);
/// assert!((outcome.mean - 0.5).abs() < outcome.tolerance);
/// assert!((outcome.standard - (0.0005_f64 / 3.0).sqrt()).abs() < outcome.tolerance);
/// // Below 0.48 lies a triangle of an eighth of the half: 1/16.
/// assert!((outcome.conformity.unwrap().below - 1.0 / 16.0).abs() < 0.002);
/// ```
pub fn run(model: &DrawModel, plan: &DrawOptions) -> Result<Outcome, Vec<DrawError>> {
    let drawer = Drawer::new(model, plan, check(model, plan)?);
    let cuts = drawer.cuts();
    draw(&drawer, cuts).ok_or_else(|| vec![DrawError::NoValue])
}

/// Outcome, the same for all cuts; `None` where fewer than two draws have a value.
fn draw(drawer: &Drawer, cuts: Cuts) -> Option<Outcome> {
    let Drawer { plan, size, .. } = *drawer;
    let most = narrow::<usize>(plan.most_draws) / size;
    let mut batches: Vec<Batch> = Vec::new();
    loop {
        let upto = (batches.len() + WAVE.max(batches.len() / 4)).min(most);
        let wave = (batches.len()..upto).into_par_iter();
        let draw = |desk: &mut Desk, n| drawer.batch(desk, n, &cuts);
        batches.par_extend(wave.map_init(|| Desk::new(drawer), draw));
        let (mean, standard) = moments(&batches)?;
        let spread = DrawnSpread::of(&batches);
        let tolerance = tolerance(standard, plan.digits);
        let settled = batches.len() >= WAVE && spread.within(tolerance);
        if !settled && batches.len() < most {
            continue;
        }
        if !enough(&batches, plan.level) {
            let whole = cuts.whole();
            let again = (0..batches.len()).into_par_iter();
            let draw = |desk: &mut Desk, n| drawer.batch(desk, n, &whole);
            batches = again.map_init(|| Desk::new(drawer), draw).collect();
        }
        let tails = AllTails::of(&batches, plan.level);
        let (symmetric, shortest) = tails.intervals(plan.level);
        let count = |of: fn(&Batch) -> u64| batches.iter().map(of).sum::<u64>();
        let draws = count(|batch| batch.draws as u64);
        let without_value = count(|batch| batch.without_value);
        return Some(Outcome {
            draws,
            without_value,
            mean,
            standard,
            symmetric,
            shortest,
            conformity: plan.limits.map(|_| {
                let (below, above) = (count(|batch| batch.below), count(|batch| batch.above));
                Conformity {
                    conforming: share(draws - below - above - without_value, draws),
                    below: share(below, draws),
                    above: share(above, draws),
                }
            }),
            spread,
            tolerance,
            settled,
            histogram: Histogram::of(&batches, cuts.classes),
        });
    }
}

#[allow(clippy::cast_precision_loss)]
fn share(part: u64, all: u64) -> f64 {
    part as f64 / all as f64
}

/// Number of draws in a batch, `max(100 / (1 - level), 10 000)` (7.9.4), or all errors.
fn check(model: &DrawModel, plan: &DrawOptions) -> Result<usize, Vec<DrawError>> {
    let mut faults = Vec::new();
    let sources = &model.sources;
    for (n, source) in sources.iter().enumerate() {
        if !source.mean.is_finite() || !source.law.holds() {
            faults.push(DrawError::Law(n));
        }
    }
    let mut joined = vec![false; sources.len()];
    for (n, joint) in model.joint.iter().enumerate() {
        for &member in &joint.members {
            match sources.get(member).map(|source| source.law) {
                None => faults.push(DrawError::NoSource(member)),
                Some(Law::Normal { .. }) if !joined[member] => joined[member] = true,
                Some(_) => faults.push(DrawError::Member(member)),
            }
        }
        let whole = joint.correlation.len() == joint.members.len();
        if !whole || joint::factor(&joint.correlation).is_none() {
            faults.push(DrawError::Correlation(n));
        }
    }
    for sum in model.measurand.sums() {
        let factors = sum.terms.iter().map(|term| term.factor);
        if !factors.chain([sum.constant]).all(f64::is_finite) {
            faults.push(DrawError::Factor);
        }
        let named = sum.terms.iter().flat_map(|term| &term.of);
        faults.extend(named.filter(|n| **n >= sources.len()).map(|n| DrawError::NoSource(*n)));
    }
    let ordered = |[lower, upper]: [f64; 2]| lower <= upper;
    if !plan.limits.is_none_or(ordered) {
        faults.push(DrawError::Limits);
    }
    if !(1..=9).contains(&plan.digits) {
        faults.push(DrawError::Digits);
    }
    if !(0.5..1.0).contains(&plan.level) {
        faults.push(DrawError::Level);
        return Err(faults);
    }
    let size = (100.0 / (1.0 - plan.level)).ceil().max(10_000.0);
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let size = size as u64;
    if plan.most_draws / size < 2 {
        faults.push(DrawError::FewDraws(size.saturating_mul(2)));
    }
    match usize::try_from(size) {
        Ok(size) if faults.is_empty() => Ok(size),
        _ => Err(faults),
    }
}

impl Measurand {
    fn sums(&self) -> SmallVec<[&Sum; 2]> {
        match self {
            Measurand::Sum(sum) => [sum].into_iter().collect(),
            Measurand::Ratio { free, gap } => [free, gap].into_iter().collect(),
        }
    }
}

/// Mean and standard deviation of all draws with a value; `None` where fewer than two have one, or where they
/// are not finite.
fn moments(batches: &[Batch]) -> Option<(f64, f64)> {
    let valued: u64 = batches.iter().map(Batch::valued).sum();
    if valued < 2 {
        return None;
    }
    let some = || batches.iter().filter(|batch| batch.valued() > 0);
    // About one of them: the averaged differences are small and keep their digits.
    let about = some().next()?.mean;
    let mean = about
        + some().map(|batch| share(batch.valued(), valued) * (batch.mean - about)).sum::<f64>();
    #[allow(clippy::cast_precision_loss)]
    let squares = |batch: &Batch| {
        let off = batch.mean - mean;
        batch.squares + batch.valued() as f64 * off * off
    };
    #[allow(clippy::cast_precision_loss)]
    let variance = some().map(squares).sum::<f64>() / (valued - 1) as f64;
    (mean.is_finite() && variance.is_finite()).then(|| (mean, variance.sqrt()))
}

impl DrawnSpread {
    fn of(batches: &[Batch]) -> Self {
        let twice = |of: fn(&Batch) -> f64| {
            let values: Vec<f64> = batches.iter().map(of).collect();
            if !values.iter().all(|value| value.is_finite()) {
                return f64::INFINITY;
            }
            #[allow(clippy::cast_precision_loss)]
            let n = values.len() as f64;
            let about = values[0];
            let mean = total(&values, |value| value - about) / n;
            let squares = total(&values, |value| {
                let off = value - about - mean;
                off * off
            });
            2.0 * (squares / (n * (n - 1.0))).sqrt()
        };
        DrawnSpread {
            mean: twice(|batch| batch.mean),
            standard: twice(Batch::standard),
            symmetric: [twice(|b| b.symmetric[0]), twice(|b| b.symmetric[1])],
            shortest: [twice(|b| b.shortest[0]), twice(|b| b.shortest[1])],
        }
    }

    fn within(&self, tolerance: f64) -> bool {
        let [low, high] = self.symmetric;
        [self.mean, self.standard, low, high].iter().all(|spread| *spread <= tolerance)
    }
}

/// Half a unit of the last significant digit of `standard` (7.9.2); zero for zero.
fn tolerance(standard: f64, digits: u32) -> f64 {
    // Through decimal text, which rounds a number like 9.96 to 10 before its digits are counted.
    let places = digits.saturating_sub(1);
    let text = format!("{standard:.*e}", places as usize);
    let power = text.split_once('e').and_then(|(_, e)| e.parse::<i32>().ok());
    match power {
        Some(power) if standard > 0.0 => {
            let power = power - places.cast_signed() - 1;
            format!("5e{power}").parse().unwrap_or(0.0)
        }
        _ => 0.0,
    }
}

/// Whether the draws kept by the cuts include both whole tails.
fn enough(batches: &[Batch], level: f64) -> bool {
    let sum = |of: fn(&Batch) -> usize| batches.iter().map(of).sum::<usize>();
    let tail = tail(sum(|batch| batch.draws), level);
    sum(|batch| batch.low.len()) >= tail && sum(|batch| batch.high.len()) >= tail
}

/// Lowest and highest draws of all batches, sorted.
struct AllTails {
    low: Vec<f64>,
    high: Vec<f64>,
    draws: usize,
}

/// The `number` lowest of several sorted lists, sorted; `share` is the part of each list if all were alike.
fn lowest(lists: &[&[f64]], number: usize, share: usize) -> Vec<f64> {
    // Each list has its share at or below its own bound. All together therefore have enough at or below the
    // greatest of these bounds, and not many more.
    let bounds = lists.iter().map(|list| list.get(share - 1).copied());
    let bounds = bounds.map(|bound| bound.unwrap_or(f64::INFINITY));
    let bound = bounds.fold(f64::NEG_INFINITY, f64::max);
    let few = |list: &&[f64]| list.partition_point(|draw| *draw <= bound);
    let few = lists.iter().flat_map(|list| &list[..few(list)]);
    let mut few: Vec<f64> = few.copied().collect();
    few.sort_unstable_by(upwards);
    few.truncate(number);
    few
}

impl AllTails {
    fn of(batches: &[Batch], level: f64) -> Self {
        let draws = batches.iter().map(|batch| batch.draws).sum();
        let (number, share) = (tail(draws, level), tail(batches[0].draws, level));
        let lists = |of: fn(&Batch) -> &[f64]| -> Vec<&[f64]> { batches.iter().map(of).collect() };
        let (low, mut high) = rayon::join(
            || lowest(&lists(|batch| &batch.low), number, share),
            || lowest(&lists(|batch| &batch.high), number, share),
        );
        // Back to the sign and order of the draws.
        high.reverse();
        for draw in &mut high {
            *draw = -*draw;
        }
        AllTails { low, high, draws }
    }

    fn intervals(&self, level: f64) -> ([f64; 2], [f64; 2]) {
        let tails = Tails { low: &self.low, high: &self.high, draws: self.draws };
        tails.intervals(level)
    }
}

impl Histogram {
    fn of(batches: &[Batch], [from, to]: [f64; 2]) -> Self {
        let mut counts = [0; CLASSES];
        for batch in batches {
            for (sum, count) in counts.iter_mut().zip(batch.counts) {
                *sum += count;
            }
        }
        let [below, above] = [0, 1].map(|side| batches.iter().map(|b| b.outside[side]).sum());
        Histogram { from, to, counts, below, above }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::float_cmp)]
mod tests {
    use super::*;
    use smallvec::smallvec;

    /// Distribution with a long tail next to a flat one, and a gap that closes now and then.
    fn model() -> DrawModel {
        let source = |mean, law| Source { mean, law };
        let sum = |of| Sum {
            constant: 0.0,
            terms: vec![DrawTerm { factor: 1.0, of, over: SmallVec::new() }],
        };
        DrawModel {
            sources: vec![
                source(1.0, Law::Student { scale: 0.1, dof: 3 }),
                source(0.5, Law::Normal { sd: 0.15 }),
                source(1.0, Law::UShaped { half: 0.1 }),
            ],
            joint: vec![],
            measurand: Measurand::Ratio { free: sum(smallvec![0, 2]), gap: sum(smallvec![1]) },
        }
    }

    fn plan() -> DrawOptions {
        DrawOptions { limits: Some([0.5, 1.5]), most_draws: 170_000, ..DrawOptions::default() }
    }

    /// Dropping the middle makes no difference: nothing kept, little kept or all kept.
    #[test]
    fn cuts_change_nothing() {
        let (model, plan) = (model(), plan());
        let drawer = Drawer::new(&model, &plan, 10_000);
        let cuts = drawer.cuts();
        let usual = draw(&drawer, cuts);
        assert_eq!(run(&model, &plan).ok(), usual);
        assert!(usual.as_ref().is_some_and(|outcome| outcome.without_value > 10));
        // Twentieths, which at 95 % are the tails of a batch: some batches have them, some not.
        let ninety = DrawOptions { level: 0.9, ..plan.clone() };
        let ninety = run(&model, &ninety).unwrap().symmetric;
        let narrow = |low, high| Cuts { low, high, ..cuts };
        let (nothing, everything) = (f64::NEG_INFINITY, f64::INFINITY);
        for cuts in [
            narrow(nothing, everything),
            narrow(cuts.low, everything),
            narrow(nothing, cuts.high),
            narrow(ninety[0], ninety[1]),
            cuts.whole(),
        ] {
            assert_eq!(draw(&drawer, cuts), usual, "{cuts:?}");
        }
    }

    /// The widest registers and the plainest loop give the same bits.
    #[test]
    fn the_processor_changes_nothing() {
        let (model, plan) = (model(), plan());
        let widest = Drawer::new(&model, &plan, 10_000);
        let mut plainest = Drawer::new(&model, &plan, 10_000);
        plainest.level = fearless_simd::Level::baseline();
        let cuts = widest.cuts();
        let [one, other] = [&widest, &plainest].map(|drawer| {
            let batch = drawer.batch(&mut Desk::new(drawer), 5, &cuts);
            format!("{batch:?}")
        });
        assert_eq!(one, other);
    }

    /// Examples of JCGM 101:2008, 7.9.2 (from memory): 0.00035 g to two digits, 2 K to one; and one number
    /// that rounds up to a further digit.
    #[test]
    fn tolerance_is_half_a_unit_of_the_last_digit() {
        let cases = [
            (0.000_35, 2, 5e-6),
            (2.0, 1, 0.5),
            (9.94, 2, 0.05),
            (9.96, 2, 0.5),
            (0.0, 2, 0.0),
            (f64::INFINITY, 2, 0.0),
        ];
        for (standard, digits, exact) in cases {
            assert_eq!(tolerance(standard, digits).to_bits(), f64::to_bits(exact));
        }
    }
}
