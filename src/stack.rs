//! Stack-up of a requirement: nominal value, worst case, expanded uncertainty and verdict.
//!
//! [`judge`] gives the verdict in whole numbers (a millionth of a tick, nothing rounded in the requirement's favour);
//! [`report()`] gives the figures for people; [`simulate()`] draws the value at random.
//!
//! # Definitions
//!
//! Contributor i is a measured dimension, a thermal growth, a product or quotient of two dimensions, or the pieces of one lot in one place:
//!
//! ```text
//! n_i        number of pieces, 1 for a dimension or a growth
//! x_i        nominal length of one piece, or the mean of the readings
//! -m_i +p_i  tolerance of one piece
//! u_i        standard uncertainty of one piece about the middle of its tolerance
//! c_i        sensitivity of the value
//!
//! value          y = sum c_i n_i x_i                                  (a length)
//! clearance      L <= y <= H                                          L, H lower and upper limit; one may be missing
//! gasket fill    L <= free / gap - 1 <= H                             allowance, no unit; held linear:
//!                free - (1 + L) gap >= 0,  free - (1 + H) gap <= 0    so c_i differ at L and H
//! worst case     w- = sum n_i |c_i| (m_i, or p_i where c_i < 0)       below y
//!                w+ = sum n_i |c_i| (p_i, or m_i where c_i < 0)       above y
//!                both + sum over shared errors |sum n_i c_i| e        e range of a lot's mean or of a gauge
//! middle         d = sum c_i n_i (p_i - m_i) / 2                      0 for symmetric tolerances
//! combined       u_c^2 = sum (c_i u_i)^2                              dimensions and growths
//!                      + sum over lots of what its pieces come to     see below
//!                      + sum over shared errors (u sum n_i c_i)^2     one error per lot's mean and per gauge
//!                      + 2 sum over pairs r_ij c_i u_i c_j u_j        correlations of the model
//! expanded       U = k u_c
//! conformity     P = F((H - y - d) / u_c) - F((L - y - d) / u_c)     F normal, or Student's t where v is finite
//! ```
//!
//! | u_i from | standard uncertainty | degrees of freedom |
//! |---|---|---|
//! | plus/minus with half-width t (type B) | t / sqrt(3) rectangular, t / sqrt(6) triangular, t / 2 normal, t / sqrt(2) U-shaped | infinite, or as stated |
//! | stated standard uncertainty (type B) | u | infinite, or as stated |
//! | n readings with scatter s and resolution r (type A) | sqrt(s^2 / n + (r / 2)^2 / 3) | (n - 1) (u^2 / (s^2 / n))^2 |
//! | n readings, each known to u (types A and B) | sqrt(s^2 / n + u^2) | effective ones of both |
//! | thermal growth | first order of length x expansion x temperature difference, each rectangular | infinite, or effective ones of its factors |
//! | derived term | first order of a b / per, or of times a / b | effective ones of its dimensions |
//!
//! | pieces of one lot | own part | part in common | variance of the lot |
//! |---|---|---|---|
//! | alike by a stated share a | tolerance (1 - a) t, u sqrt(1 - a^2) | a t, a u | sum n (c u)^2 (1 - a^2) + (a u sum n c)^2 |
//! | not stated | t | u; never cancels | (u sum of n c above zero)^2 + (u sum of n c below zero)^2 |
//!
//! The coverage factor k is the two-sided quantile of Student's distribution for a level of confidence (95 % unless the
//! policy says otherwise) and the effective degrees of freedom `v = u_c^4 / (sum of u_part^4 / v_part)`
//! (Welch-Satterthwaite, truncated); or is given.
//!
//! | acceptance rule | guard at L | guard at H |
//! |---|---|---|
//! | nominal | 0 | 0 |
//! | worst case | w- | w+ |
//! | expanded | max(0, U - d) | max(0, U + d) |
//!
//! The requirement is met if both margins, `y - guard - L` and `H - y - guard`, are zero or more. For a gasket fill
//! they are margins of the free thickness. It is not met if y itself lies beyond a limit, and NOT PROVEN in between:
//! y within the limits, its guard not.
//!
//! Sources: standard uncertainties JCGM 100:2008, 4.2.3, 4.3.7 to 4.3.9 and F.2.2.1; combined 5.1.2 and 5.2.2;
//! expanded 6.2.1; degrees of freedom G.4.1, factor G.3.2; the decision rule of ISO 14253-1; probability of conformity
//! JCGM 106:2012, 7.4; draws JCGM 101:2008 (clauses and the standard's rule from memory). Worst case and root sum
//! square are common practice.
//!
//! # Decisions
//!
//! - Where nothing is known of what pieces of one lot have in common, a common error may only widen: nobody loses by
//!   it but the pack that could have been kitted. A piece's own standard uncertainty stays that of its tolerance,
//!   however the tolerance is split.
//! - In the worst case a dimension known only by a standard uncertainty counts k times it, and few readings count
//!   with Student's factor at the level that k comes to. Common practice, no source: twice the uncertainty of a
//!   mean of three readings covers four means in five only.
//! - An expanded uncertainty lies about the middle of uneven tolerances, and a guard is never below zero: two
//!   minus-only shims are expected thin by more than the larger side about the nominal value covers.

mod chance;
mod coverage;
pub mod monte_carlo;
mod readings;
mod report;
mod settle;
mod simulate;
mod uncertainty;

use std::fmt;

use crate::decimal::Millionths;
use crate::gauge::Certified;
use crate::length::{Fine, Length, Tolerance, Uncertainty};
use crate::model::{Combine, Correlation, DerivedRule, Form, Shape, Side, Term, sensitivity};
use crate::pump::Growth;
use crate::stock::Lot;

pub use chance::{
    Chance, ChanceLaw, USUAL_LEVEL, contradicts, met_by_all, missed_by_none, promised,
};
pub use coverage::Coverage;
pub(crate) use readings::{Lack, combined, measured};
pub use report::{Contribution, Report, ReportSide, report};
pub use settle::{Asked, Improvement, improved, plain_below, settle};
pub use simulate::{Undrawn, few_readings, level_of_draws, simulate, taken_as_normal};
pub use uncertainty::expanded;
pub(crate) use uncertainty::{Budget, PieceError, budget, can_be};

/// Contributors to the requirements of one pump, with the pieces of its kit.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Stack {
    /// Dimensions, thermal terms, then the pieces place by place.
    pub contributors: Vec<Contributor>,
    /// Errors that enter through several contributors: of the means of measured lots, of gauges.
    pub shared: Vec<SharedError>,
    /// Pairs of dimensions or thermal terms with correlated errors.
    pub correlations: Vec<Correlation>,
}

/// Contributor: a measured dimension, a thermal term, or the pieces of one lot in a place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Contributor {
    /// Label for people.
    pub label: String,
    /// Dimension, thermal term or place that it belongs to.
    pub term: Term,
    /// Index of the item in the stock, for pieces.
    pub item: Option<usize>,
    /// Number of pieces (1 for a dimension).
    pub count: u32,
    /// Readings, where it was measured; their mean is the nominal length.
    pub readings: Vec<Length>,
    /// Nominal length of one piece.
    pub nominal: Length,
    /// Tolerance of one piece.
    pub tolerance: Tolerance,
    /// Source of its standard uncertainty.
    pub evaluation: Evaluation,
    /// Standard uncertainty of one piece about the middle of its tolerance, independent of all others.
    pub standard_uncertainty: Uncertainty,
    /// Degrees of freedom of the standard uncertainty; `None` where it is taken as exactly known.
    pub degrees_of_freedom: Option<u32>,
    /// Lot of its pieces, and how far they err alike.
    pub lot: Option<OfLot>,
}

impl Stack {
    /// Sensitivity of a sum to a shared error, in millionths: that to its members, each as often as it is there.
    pub(crate) fn weight(&self, terms: &[(Term, Millionths)], error: &SharedError) -> i128 {
        let members = error.members.iter().filter_map(|&member| self.contributors.get(member));
        members
            .map(|part| i128::from(sensitivity(terms, part.term).raw()) * i128::from(part.count))
            .sum()
    }
}

impl Contributor {
    pub(crate) fn error(&self) -> PieceError {
        PieceError {
            tolerance: self.tolerance,
            standard: self.standard_uncertainty,
            freedom: self.degrees_of_freedom,
            lot: self.lot,
        }
    }

    /// Distribution inside the plus/minus of one of its readings, where that is what it is known by.
    pub(crate) fn shape(&self) -> Option<Shape> {
        match self.evaluation {
            Evaluation::Within(shape) => Some(shape),
            Evaluation::Repeated { shape, .. } => shape,
            _ => None,
        }
    }
}

/// Guard: the length kept clear of each limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Guard {
    /// None: the nominal value counts.
    None,
    /// Worst case: every contributor at the end of its tolerance that brings the value nearer to the limit.
    WorstCase,
    /// Expanded uncertainty.
    Expanded(Coverage),
}

/// Source of a standard uncertainty.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Evaluation {
    /// Plus/minus and the distribution inside it (type B).
    Within(Shape),
    /// Standard uncertainty stated as such (type B).
    Standard,
    /// Several readings, each with a stated uncertainty (type B), and their scatter (type A).
    Repeated {
        /// Plus/minus of one reading.
        each: Tolerance,
        /// Distribution inside it; `None` where a standard uncertainty is stated.
        shape: Option<Shape>,
        /// Standard uncertainty of one reading.
        standard: Uncertainty,
        /// Its degrees of freedom; `None` where it is taken as exactly known.
        freedom: Option<u32>,
        /// How the readings combine.
        combine: Combine,
    },
    /// Scatter of the readings alone (type A), and the resolution of the gauge.
    Readings {
        /// Resolution of the gauge: a rectangular error of half of it either way.
        resolution: Length,
        /// How the readings combine.
        combine: Combine,
    },
    /// Product of length, expansion and temperature difference.
    Growth(Box<Growth>),
    /// Product or quotient of two dimensions.
    Derived(Box<Derivation>),
}

/// Origin of a derived term.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Derivation {
    /// Rule.
    pub rule: DerivedRule,
    /// Dimensions.
    pub of: [Contributor; 2],
}

/// How far the pieces of one lot, or those cut from one lot of plates, err alike within their tolerance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Alike {
    /// Not known. A common error may only widen: pieces of one sign count as wholly alike, pieces of opposed signs as
    /// independent.
    #[default]
    AtWorst,
    /// Share of the tolerance that is common, 0 to 1. It cancels between opposed signs.
    Share(Millionths),
}

impl fmt::Display for Alike {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Alike::AtWorst => f.write_str("at worst"),
            Alike::Share(share) => write!(f, "{} %", *share * 100),
        }
    }
}

/// Lot of a piece, and how far its pieces err alike.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OfLot {
    /// Lot.
    pub lot: Lot,
    /// How far they err alike.
    pub alike: Alike,
}

/// Source of an error that enters through several contributors.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ErrorSource {
    /// Measured mean of a lot.
    Mean(Lot),
    /// Gauge, by its index in the job.
    Gauge(usize),
}

/// Error that enters through several contributors: one and the same in all of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SharedError {
    /// Label for people.
    pub label: String,
    /// Source.
    pub source: ErrorSource,
    /// Contributors that it enters through, by their index in the stack.
    pub members: Vec<usize>,
    /// Uncertainty.
    pub certified: Certified,
}

/// Nominal sum, and its worst case below and above.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct WorstCase {
    /// Sum of the nominal values.
    pub nominal: Fine,
    /// Worst case below the nominal sum; negative where the limits of a deviation lie on one side and the sum is never
    /// as small as that.
    pub below: Fine,
    /// Worst case above the nominal sum, likewise.
    pub above: Fine,
    /// Twice the distance of the middle of the tolerances above the nominal sum; zero where the tolerances
    /// are symmetric.
    pub asymmetry: Fine,
}

/// Sum of contributors, each times its sensitivity in `terms`, with its worst case.
///
/// Worst case: every contributor at the end of its tolerance that moves the sum furthest, `w = sum n |c| t`,
/// separately below and above; an error that several share counts as often as they are there, `|sum n c| t`.
///
/// ```
/// use gapwright::decimal::Millionths;
/// use gapwright::length::{Length, Tolerance, Uncertainty, Unit};
/// use gapwright::model::Term;
/// use gapwright::stack::{Contributor, Evaluation, Stack, worst_case};
/// let thou = |n| Length::parse(n, Some(Unit::Thou)).unwrap();
/// let part = |label: &str, term, nominal, plus_minus| Contributor {
///     label: label.into(), term, item: None, count: 1, readings: vec![],
///     nominal: thou(nominal), tolerance: Tolerance::even(thou(plus_minus)),
///     evaluation: Evaluation::Standard, standard_uncertainty: Uncertainty::from(thou("0.3")), degrees_of_freedom: None, lot: None,
/// };
/// let parts = [part("gap", Term::Dimension(0), "67", "0.5"), part("pack", Term::Pack(0), "46", "1")];
/// let stack = Stack { contributors: parts.to_vec(), ..Stack::default() };
/// let minus_one = Millionths::from_raw(-1_000_000);
/// let clearance = worst_case(&[(Term::Dimension(0), Millionths::ONE), (Term::Pack(0), minus_one)], &stack);
/// assert_eq!(clearance.nominal.show(Unit::Inch), "0.0210");
/// assert_eq!(clearance.below.show(Unit::Inch), "0.0015");
/// ```
pub fn worst_case(terms: &[(Term, Millionths)], stack: &Stack) -> WorstCase {
    let [below, above] = budget(terms, stack).worst().map(Fine::from_raw);
    let mut sum = WorstCase { below, above, ..WorstCase::default() };
    for part in &stack.contributors {
        let c = sensitivity(terms, part.term);
        sum.nominal = sum.nominal + c * (part.nominal * part.count);
        let [minus, plus] =
            [part.tolerance.minus, part.tolerance.plus].map(|t| c * (t * part.count));
        sum.asymmetry = sum.asymmetry + plus - minus;
    }
    sum
}

/// Outcome of a requirement under an acceptance rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Judgement {
    /// The value keeps its guard clear of both limits.
    Met,
    /// The nominal value lies within the limits, but not clear of them by its guard: neither conformity nor the
    /// opposite is proven.
    NotProven,
    /// The nominal value lies beyond a limit.
    NotMet,
}

impl Judgement {
    /// Words for people, the same everywhere.
    pub const fn words(self) -> &'static str {
        match self {
            Judgement::Met => "met",
            Judgement::NotProven => "NOT PROVEN",
            Judgement::NotMet => "NOT MET",
        }
    }
}

/// Value of a requirement, its limits and its guards.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Verdict {
    /// Target, on the scale of `value`.
    pub target: Fine,
    /// Lower limit, on the scale of `value`, if there is one.
    pub lower: Option<Fine>,
    /// Upper limit, on the scale of `value`, if there is one.
    pub upper: Option<Fine>,
    /// Nominal value: the linear form, or the free thickness of the gasket.
    pub value: Fine,
    /// Guard kept clear of the lower limit.
    pub guard_lower: Fine,
    /// Guard kept clear of the upper limit.
    pub guard_upper: Fine,
}

impl Verdict {
    /// Margin above the lower limit after its guard; negative when the limit is not met, `None` without one.
    pub fn margin_lower(&self) -> Option<Fine> {
        self.lower.map(|lower| self.value - self.guard_lower - lower)
    }

    /// Margin below the upper limit after its guard; negative when the limit is not met, `None` without one.
    pub fn margin_upper(&self) -> Option<Fine> {
        self.upper.map(|upper| upper - self.guard_upper - self.value)
    }

    /// The smaller margin, with the guard on its side.
    fn nearest(&self) -> (Fine, Fine) {
        let lower = self.margin_lower().map(|margin| (margin, self.guard_lower));
        let upper = self.margin_upper().map(|margin| (margin, self.guard_upper));
        let both = lower.into_iter().chain(upper);
        // A form that was checked has a limit.
        both.min_by_key(|(margin, _)| *margin).unwrap_or_default()
    }

    /// The smaller of the two margins.
    pub fn margin(&self) -> Fine {
        self.nearest().0
    }

    /// Guard on the side with the smaller margin.
    pub fn guard(&self) -> Fine {
        self.nearest().1
    }

    /// Whether the nominal value is within the limits, without any guard.
    pub fn is_nominally_within(&self) -> bool {
        self.lower.is_none_or(|lower| lower <= self.value)
            && self.upper.is_none_or(|upper| self.value <= upper)
    }

    /// Whether the requirement is met; nothing is rounded before this.
    pub fn conforms(&self) -> bool {
        self.margin() >= Fine::ZERO
    }

    /// Outcome; nothing is rounded before this. Under the nominal rule, which has no guard, a requirement is met or
    /// not met.
    pub fn judgement(&self) -> Judgement {
        match (self.conforms(), self.is_nominally_within()) {
            (true, _) => Judgement::Met,
            (false, true) => Judgement::NotProven,
            (false, false) => Judgement::NotMet,
        }
    }

    /// Distance from the target.
    pub fn off_target(&self) -> Fine {
        (self.value - self.target).abs()
    }
}

/// Judges a requirement on its contributors, with this guard kept clear of both limits.
///
/// An expanded uncertainty is about the middle of the tolerances, which is not the nominal value where they
/// are asymmetric. The limit on the side of the middle then needs a larger guard by that distance, the other
/// a smaller one, but never less than zero.
pub fn judge(form: &Form, stack: &Stack, guard: Guard) -> Verdict {
    let value = worst_case(&form.value(), stack).nominal;
    let target = form.target();
    let at = |face: &Side| value - worst_case(&face.terms, stack).nominal + face.bound.into();
    let (lower, upper) = (form.lower(), form.upper());
    // The two sides of a gasket fill weigh the gap differently, so their uncertainties differ. The target weighs it
    // where there is no limit.
    let [low, high] = [&lower, &upper].map(|face| &face.as_ref().unwrap_or(&target).terms);
    let [below, above] = [low, high].map(|terms| worst_case(terms, stack));
    let (guard_lower, guard_upper) = match guard {
        Guard::None => (Fine::ZERO, Fine::ZERO),
        Guard::WorstCase => (below.below, above.above),
        Guard::Expanded(coverage) => (
            clear(expanded(low, stack, coverage), below.asymmetry),
            clear(expanded(high, stack, coverage), -above.asymmetry),
        ),
    };
    Verdict {
        target: at(&target),
        lower: lower.as_ref().map(at),
        upper: upper.as_ref().map(at),
        value,
        guard_lower,
        guard_upper,
    }
}

/// Guard of the expanded rule: the expanded uncertainty less the distance of the middle from the nominal
/// value, away from the limit (given twice), rounded up; never less than zero.
fn clear(expanded: Fine, uneven: Fine) -> Fine {
    Fine::from_raw((expanded.raw() - uneven.raw().div_euclid(2)).max(0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Shape;

    const TWO: Coverage = Coverage::Factor(Millionths::from_raw(2_000_000));

    fn stack(parts: &[Contributor]) -> Stack {
        Stack { contributors: parts.to_vec(), ..Stack::default() }
    }

    fn part(term: Term, count: u32, nominal: i64, standard: i64) -> Contributor {
        Contributor {
            label: String::new(),
            term,
            item: None,
            count,
            readings: vec![],
            nominal: Length::from_ticks(nominal),
            tolerance: Tolerance::default(),
            evaluation: Evaluation::Standard,
            standard_uncertainty: Length::from_ticks(standard).into(),
            degrees_of_freedom: None,
            lot: None,
        }
    }

    fn mean_of(lot: usize, standard: i64, members: &[usize]) -> SharedError {
        let standard = Length::from_ticks(standard).into();
        SharedError {
            label: String::new(),
            source: ErrorSource::Mean(Lot::Item(lot)),
            members: members.to_vec(),
            certified: Certified { standard, ..Certified::default() },
        }
    }

    fn ticks(n: i64) -> Fine {
        Fine::from(Length::from_ticks(n))
    }

    /// By hand: a dimension of sensitivity 1.5 with u = 40; three pieces, each with u = 20 and a lot error of
    /// 30; one piece of another lot in another place, with the opposite sign. 60^2 + 3 x 20^2 + 90^2 + 50^2 =
    /// 3600 + 1200 + 8100 + 2500 = 15400, root 124.09673...
    #[test]
    fn three_contributors_come_to_what_they_do_by_hand() {
        let parts = [
            part(Term::Dimension(0), 1, 0, 40),
            part(Term::Pack(0), 3, 0, 20),
            part(Term::Pack(1), 1, 0, 0),
        ];
        let shared = |shared: &[SharedError]| Stack { shared: shared.to_vec(), ..stack(&parts) };
        let c = Millionths::from_raw;
        let terms = [
            (Term::Dimension(0), c(1_500_000)),
            (Term::Pack(0), c(-1_000_000)),
            (Term::Pack(1), c(1_000_000)),
        ];
        // 2 x 124.096 736 460...
        let two_lots = shared(&[mean_of(0, 30, &[1]), mean_of(1, 50, &[2])]);
        assert_eq!(expanded(&terms, &two_lots, TWO).raw(), 248_193_473);
        // If the last piece belonged to the first lot, with 30, the two would partly cancel: 3600 + 1200 +
        // ((3 - 1) x 30)^2 = 8400, root 91.651513899...
        let one_lot = shared(&[mean_of(0, 30, &[1, 2])]);
        assert_eq!(expanded(&terms, &one_lot, TWO).raw(), 183_303_028);
    }

    /// With k the root of 3, the expanded uncertainty of rectangular contributors is the root sum square of
    /// their half-widths: 130 for 30, 40 and 120. Their worst case is the sum, 190.
    #[test]
    fn root_three_times_rectangular_is_the_root_sum_square() {
        let parts = [30_000, 40_000, 120_000].map(|half| {
            let half = Length::from_ticks(half);
            Contributor {
                tolerance: Tolerance::even(half),
                standard_uncertainty: Shape::Rectangular
                    .standard_uncertainty(Tolerance::even(half)),
                ..part(Term::Dimension(0), 1, 0, 0)
            }
        });
        let terms = [(Term::Dimension(0), Millionths::ONE)];
        let root = Coverage::Factor(Millionths::from_raw(1_732_051));
        let width = expanded(&terms, &stack(&parts), root);
        // Every standard uncertainty is rounded up, and so is the root of three.
        assert!(width >= ticks(130_000) && width <= ticks(130_001), "{width:?}");
        assert_eq!(worst_case(&terms, &stack(&parts)).below, ticks(190_000));
    }

    /// The sides of a gasket fill weigh the gap by 1.2 and by 3: u is the root of 16^2 + 12^2 = 20^2
    /// at the lower limit, of 16^2 + 30^2 = 34^2 at the upper one.
    #[test]
    fn a_gasket_fill_keeps_clear_of_each_side_by_its_own_uncertainty() {
        let form = Form::GasketFill {
            gasket: 0,
            gap: vec![(Term::Dimension(0), Millionths::ONE)],
            target: Millionths::from_raw(500_000),
            lower: Millionths::from_raw(200_000),
            upper: Some(Millionths::from_raw(2_000_000)),
        };
        let parts = [part(Term::Dimension(0), 1, 1_000, 10), part(Term::Pack(0), 1, 1_240, 16)];
        let verdict = judge(&form, &stack(&parts), Guard::Expanded(TWO));
        assert_eq!(verdict.guard_lower, ticks(40));
        assert_eq!(verdict.guard_upper, ticks(68));
        // 1240 is 40 above the least free thickness: just clear, and one tick less is not.
        assert_eq!(verdict.margin_lower(), Some(Fine::ZERO));
        assert!(verdict.conforms());
        let thinner = [parts[0].clone(), part(Term::Pack(0), 1, 1_239, 16)];
        let of = |parts: &[Contributor], guard| judge(&form, &stack(parts), guard);
        let thinner_is = of(&thinner, Guard::Expanded(TWO));
        assert!(!thinner_is.conforms());
        assert_eq!(thinner_is.judgement(), Judgement::NotProven);
        assert_eq!(of(&thinner, Guard::None).judgement(), Judgement::Met);
        // 1.2 times the gap is the least: there it is not proven, and one tick less is not met, guard or no guard.
        for guard in [Guard::None, Guard::Expanded(TWO)] {
            let at = [parts[0].clone(), part(Term::Pack(0), 1, 1_200, 16)];
            let beyond = [parts[0].clone(), part(Term::Pack(0), 1, 1_199, 16)];
            assert_ne!(of(&at, guard).judgement(), Judgement::NotMet);
            assert_eq!(of(&beyond, guard).judgement(), Judgement::NotMet);
        }
    }

    /// By hand: a gasket within 500 on a gap of two parts within 200 each. The gap weighs 1.4 at the lower
    /// limit and 1.6 at the upper one: the roots of 500^2 + 2 x 280^2 = 406 800 and of 500^2 + 2 x 320^2 =
    /// 454 800.
    #[test]
    fn the_root_sum_square_of_a_gasket_is_that_of_each_limit() {
        let form = Form::GasketFill {
            gasket: 0,
            gap: vec![(Term::Dimension(0), Millionths::ONE), (Term::Dimension(1), Millionths::ONE)],
            target: Millionths::from_raw(500_000),
            lower: Millionths::from_raw(400_000),
            upper: Some(Millionths::from_raw(600_000)),
        };
        let to = |term, nominal, half| Contributor {
            tolerance: Tolerance::even(Length::from_ticks(half)),
            ..part(term, 1, nominal, 0)
        };
        let parts = [
            to(Term::Dimension(0), 1_000, 200),
            to(Term::Dimension(1), 1_000, 200),
            to(Term::Pack(0), 3_000, 500),
        ];
        let unit = crate::length::Unit::Micrometre;
        let tick = Length::from_ticks(1).to_f64(unit);
        let report = report(&form, &stack(&parts), TWO, unit);
        let ticks = report.sides.map(|side| side.root_sum_square / tick);
        assert!((ticks[0] - 406_800_f64.sqrt()).abs() < 1e-6, "{ticks:?}");
        assert!((ticks[1] - 454_800_f64.sqrt()).abs() < 1e-6, "{ticks:?}");
    }

    #[test]
    fn what_cannot_be_counted_is_never_clear() {
        let vast = [part(Term::Dimension(0), 1, 0, i64::MAX)];
        let terms = [(Term::Dimension(0), Millionths::from_raw(1_000_000_000))];
        assert!(
            expanded(&terms, &stack(&vast), TWO).raw() > i128::from(i64::MAX) * 1_000_000_000_000
        );
    }
}
