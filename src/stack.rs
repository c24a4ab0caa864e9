//! The stack-up of a requirement: what contributes to it, where it comes out at worst, and how
//! uncertain it is.
//!
//! # Decisions
//!
//! - In the worst case a dimension known only by a standard uncertainty counts k times it, and few readings count
//!   with Student's factor at the level that k comes to. Common practice, no source: twice the uncertainty of a
//!   mean of three readings covers four means in five only.
//! - An expanded uncertainty lies about the middle of uneven tolerances, and a guard is never below zero: two
//!   minus-only shims are expected thin by more than the larger side about the nominal value covers.

mod coverage;
pub mod monte_carlo;
mod report;
mod simulate;
mod uncertainty;

use crate::decimal::Millionths;
use crate::length::{Fine, Length, Tolerance, Uncertainty};
use crate::model::{Correlation, Form, Shape, Term};
use crate::pump::Growth;
use crate::stock::Lot;

pub use coverage::Coverage;
pub use report::{Line, Report, Side, report};
pub use simulate::{Undrawn, level_of_draws, simulate, taken_as_normal};
pub use uncertainty::expanded;
pub(crate) use uncertainty::{Variance, can_be};

/// Everything that moves the requirements of one pump with the pieces of its kit.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Stack {
    /// Dimensions, thermal terms, then the pieces place by place.
    pub contributors: Vec<Contributor>,
    /// Which dimensions, or thermal terms, err together.
    pub correlations: Vec<Correlation>,
}

/// One thing that moves a requirement: a measured dimension, or the pieces of one lot in a place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Contributor {
    /// What people call it.
    pub label: String,
    /// The dimension or the place that it belongs to.
    pub term: Term,
    /// The item's index in the stock, for pieces.
    pub item: Option<usize>,
    /// How many pieces (1 for a dimension).
    pub count: u32,
    /// Its readings, where it was measured; their mean is the nominal length.
    pub readings: Vec<Length>,
    /// Nominal length of one.
    pub nominal: Length,
    /// Tolerance of one.
    pub tolerance: Tolerance,
    /// What its standard uncertainty follows from.
    pub known: Known,
    /// Standard uncertainty of one about the middle of its tolerance, independent of all others.
    pub standard: Uncertainty,
    /// Degrees of freedom of the standard uncertainty; `None` where it is as good as known.
    pub freedom: Option<u32>,
    /// The error that all pieces of its lot share, where the lot was measured.
    pub lot: Option<LotError>,
}

/// What is kept clear of the limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Guard {
    /// Nothing.
    None,
    /// What every contributor at the hurting edge of its tolerance comes to.
    WorstCase,
    /// The expanded uncertainty.
    Expanded(Coverage),
}

/// What a standard uncertainty follows from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Known {
    /// A plus/minus and the distribution inside it (type B).
    Within(Shape),
    /// It is stated as such.
    Standard,
    /// The scatter of its readings (type A), and how finely they were read.
    Readings {
        /// How finely the gauge reads, half of it either way.
        resolution: Length,
    },
    /// Length, expansion and temperatures.
    Growth(Box<Growth>),
}

/// An error that all pieces of one lot share.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LotError {
    /// The lot.
    pub lot: Lot,
    /// Its standard uncertainty.
    pub standard: Uncertainty,
}

/// The nominal sum and how far it can lie below and above it at worst.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Extent {
    /// The sum of the nominal values.
    pub nominal: Fine,
    /// How far below at worst.
    pub below: Fine,
    /// How far above at worst.
    pub above: Fine,
    /// Twice how far the middle of the tolerances lies above the nominal sum, where they are
    /// uneven.
    pub uneven: Fine,
}

/// The sum of contributors, each times the sensitivity that `terms` gives it.
///
/// Worst case: every contributor at the edge of its tolerance that hurts, `w = sum |c| t`,
/// with the sides kept apart where they differ.
///
/// ```
/// use gapwright::decimal::Millionths;
/// use gapwright::length::{Length, Tolerance, Uncertainty, Unit};
/// use gapwright::model::Term;
/// use gapwright::stack::{Contributor, Known, extent};
/// let thou = |n| Length::parse(n, Some(Unit::Thou)).unwrap();
/// let part = |label: &str, term, nominal, plus_minus| Contributor {
///     label: label.into(), term, item: None, count: 1, readings: vec![],
///     nominal: thou(nominal), tolerance: Tolerance::even(thou(plus_minus)),
///     known: Known::Standard, standard: Uncertainty::from(thou("0.3")), freedom: None, lot: None,
/// };
/// let parts = [part("gap", Term::Dimension(0), "67", "0.5"), part("pack", Term::Pack(0), "46", "1")];
/// let minus_one = Millionths::from_raw(-1_000_000);
/// let clearance = extent(&[(Term::Dimension(0), Millionths::ONE), (Term::Pack(0), minus_one)], &parts);
/// assert_eq!(clearance.nominal.show(Unit::Inch), "0.0210");
/// assert_eq!(clearance.below.show(Unit::Inch), "0.0015");
/// ```
pub fn extent(terms: &[(Term, Millionths)], contributors: &[Contributor]) -> Extent {
    let mut sum = Extent::default();
    for (term, sensitivity) in terms {
        for part in contributors.iter().filter(|part| part.term == *term) {
            let down = *sensitivity * (part.tolerance.minus * part.count);
            let up = *sensitivity * (part.tolerance.plus * part.count);
            sum.nominal = sum.nominal + *sensitivity * (part.nominal * part.count);
            sum.uneven = sum.uneven + up - down;
            // A negative sensitivity swaps the sides.
            let (below, above) = if sensitivity.raw() < 0 { (-up, -down) } else { (down, up) };
            sum.below = sum.below + below;
            sum.above = sum.above + above;
        }
    }
    sum
}

/// Where a requirement comes out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Verdict {
    /// The target, in the terms of `value`.
    pub target: Fine,
    /// The lower limit, in the terms of `value`.
    pub lower: Fine,
    /// The upper limit, in the terms of `value`.
    pub upper: Fine,
    /// Nominal value: the linear form, or the gasket's free thickness.
    pub value: Fine,
    /// What must be kept clear of the lower limit.
    pub guard_lower: Fine,
    /// What must be kept clear of the upper limit.
    pub guard_upper: Fine,
}

impl Verdict {
    /// Room left above the lower limit, its guard taken off; negative when it is not met.
    pub fn margin_lower(&self) -> Fine {
        self.value - self.guard_lower - self.lower
    }

    /// Room left below the upper limit, its guard taken off; negative when it is not met.
    pub fn margin_upper(&self) -> Fine {
        self.upper - self.guard_upper - self.value
    }

    /// The smaller of the two margins.
    pub fn margin(&self) -> Fine {
        self.margin_lower().min(self.margin_upper())
    }

    /// The guard on the side with the smaller margin.
    pub fn guard(&self) -> Fine {
        if self.margin_lower() <= self.margin_upper() { self.guard_lower } else { self.guard_upper }
    }

    /// Whether it is met: nothing is rounded on the way here.
    pub fn conforms(&self) -> bool {
        self.margin() >= Fine::ZERO
    }

    /// Distance from the target.
    pub fn off_target(&self) -> Fine {
        (self.value - self.target).abs()
    }
}

/// Judges a requirement on its contributors, with this guard kept clear of both limits.
///
/// An expanded uncertainty lies about the middle of what the tolerances allow, which is not the
/// nominal value where they are uneven: the side towards which the middle lies needs that much
/// more, the other less, but never less than nothing.
pub fn judge(form: &Form, stack: &Stack, guard: Guard) -> Verdict {
    let contributors = &stack.contributors;
    let value = extent(&form.value(), contributors).nominal;
    let slack = |face: &crate::model::Face| {
        let sum = extent(&face.terms, contributors);
        (sum, sum.nominal - Fine::from(face.bound))
    };
    let (lower, upper) = (form.lower(), form.upper());
    let (low, above_lower) = slack(&lower);
    let (high, above_upper) = slack(&upper);
    let (_, above_target) = slack(&form.target());
    // The faces of a gasket fill weigh the gap differently, so their uncertainties differ.
    let (guard_lower, guard_upper) = match guard {
        Guard::None => (Fine::ZERO, Fine::ZERO),
        Guard::WorstCase => (low.below, high.above),
        Guard::Expanded(coverage) => (
            clear(expanded(&lower.terms, stack, coverage), low.uneven),
            clear(expanded(&upper.terms, stack, coverage), -high.uneven),
        ),
    };
    Verdict {
        target: value - above_target,
        lower: value - above_lower,
        upper: value - above_upper,
        value,
        guard_lower,
        guard_upper,
    }
}

/// What is kept clear of a limit: the expanded uncertainty, less how far the middle lies away from
/// that limit (given twice), rounded up; never less than nothing.
fn clear(expanded: Fine, uneven: Fine) -> Fine {
    Fine::from_raw((expanded.raw() - uneven.raw().div_euclid(2)).max(0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Shape;

    const TWO: Coverage = Coverage::Factor(Millionths::from_raw(2_000_000));

    fn stack(parts: &[Contributor]) -> Stack {
        Stack { contributors: parts.to_vec(), correlations: Vec::new() }
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
            known: Known::Standard,
            standard: Length::from_ticks(standard).into(),
            freedom: None,
            lot: None,
        }
    }

    fn of_lot(part: Contributor, lot: usize, standard: i64) -> Contributor {
        let standard = Length::from_ticks(standard).into();
        let lot = Lot::Item(lot);
        Contributor { lot: Some(LotError { lot, standard }), ..part }
    }

    fn ticks(n: i64) -> Fine {
        Fine::from(Length::from_ticks(n))
    }

    /// By hand: a dimension of sensitivity 1.5 known to 40; three pieces, each to 20 by itself and
    /// all to 30 by their lot; one piece of another lot in another place that is moved the other way.
    /// 60^2 + 3 x 20^2 + 90^2 + 50^2 = 3600 + 1200 + 8100 + 2500 = 15400, root 124.09673...
    #[test]
    fn three_contributors_come_to_what_they_do_by_hand() {
        let parts = [
            part(Term::Dimension(0), 1, 0, 40),
            of_lot(part(Term::Pack(0), 3, 0, 20), 0, 30),
            of_lot(part(Term::Pack(1), 1, 0, 0), 1, 50),
        ];
        let c = Millionths::from_raw;
        let terms = [
            (Term::Dimension(0), c(1_500_000)),
            (Term::Pack(0), c(-1_000_000)),
            (Term::Pack(1), c(1_000_000)),
        ];
        // 2 x 124.096 736 460...
        assert_eq!(expanded(&terms, &stack(&parts), TWO).raw(), 248_193_473);
        // Were the last piece of the first lot, known to 30, the two would partly cancel:
        // 3600 + 1200 + ((3 - 1) x 30)^2 = 8400, root 91.651513899...
        let mut same = parts;
        same[2] = of_lot(part(Term::Pack(1), 1, 0, 0), 0, 30);
        assert_eq!(expanded(&terms, &stack(&same), TWO).raw(), 183_303_028);
    }

    /// With k the root of 3, rectangular contributors come to the root sum square of their
    /// half-widths, here 30, 40 and 120 to 130; in the worst case to their sum, 190.
    #[test]
    fn root_three_times_rectangular_is_the_root_sum_square() {
        let parts = [30_000, 40_000, 120_000].map(|half| {
            let half = Length::from_ticks(half);
            Contributor {
                tolerance: Tolerance::even(half),
                standard: Shape::Rectangular.standard(Tolerance::even(half)),
                ..part(Term::Dimension(0), 1, 0, 0)
            }
        });
        let terms = [(Term::Dimension(0), Millionths::ONE)];
        let root = Coverage::Factor(Millionths::from_raw(1_732_051));
        let width = expanded(&terms, &stack(&parts), root);
        // Every standard uncertainty is rounded up, and so is the root of three.
        assert!(width >= ticks(130_000) && width <= ticks(130_001), "{width:?}");
        assert_eq!(extent(&terms, &parts).below, ticks(190_000));
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
            upper: Millionths::from_raw(2_000_000),
        };
        let parts = [part(Term::Dimension(0), 1, 1_000, 10), part(Term::Pack(0), 1, 1_240, 16)];
        let verdict = judge(&form, &stack(&parts), Guard::Expanded(TWO));
        assert_eq!(verdict.guard_lower, ticks(40));
        assert_eq!(verdict.guard_upper, ticks(68));
        // 1240 is 40 above the least free thickness: just clear, and one tick less is not.
        assert_eq!(verdict.margin_lower(), Fine::ZERO);
        assert!(verdict.conforms());
        let thinner = [parts[0].clone(), part(Term::Pack(0), 1, 1_239, 16)];
        assert!(!judge(&form, &stack(&thinner), Guard::Expanded(TWO)).conforms());
        assert!(judge(&form, &stack(&thinner), Guard::None).conforms());
    }

    /// By hand: a gasket to 500 on a gap of two parts to 200 each; at the lower limit the gap weighs 1.4, at the
    /// upper one 1.6: the roots of 500^2 + 2 x 280^2 = 406 800 and of 500^2 + 2 x 320^2 = 454 800.
    #[test]
    fn the_root_sum_square_of_a_gasket_is_that_of_each_limit() {
        let form = Form::GasketFill {
            gasket: 0,
            gap: vec![(Term::Dimension(0), Millionths::ONE), (Term::Dimension(1), Millionths::ONE)],
            target: Millionths::from_raw(500_000),
            lower: Millionths::from_raw(400_000),
            upper: Millionths::from_raw(600_000),
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
