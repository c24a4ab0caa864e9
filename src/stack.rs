//! The stack-up of a requirement: what contributes to it, where it comes out at worst, and how
//! uncertain it is.

pub mod monte_carlo;

use smallvec::SmallVec;

use crate::decimal::Millionths;
use crate::length::{Fine, Length, Tolerance};
use crate::model::{Form, Term, root_up};
use crate::policy::Guard;
use crate::stock::Lot;

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
    /// Nominal length of one.
    pub nominal: Length,
    /// Tolerance of one.
    pub tolerance: Tolerance,
    /// Standard uncertainty of one, independent of all others.
    pub standard: Length,
    /// The error that all pieces of its lot share, where the lot was measured.
    pub lot: Option<LotError>,
}

/// An error that all pieces of one lot share.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LotError {
    /// The lot.
    pub lot: Lot,
    /// Its standard uncertainty.
    pub standard: Length,
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
}

/// The sum of contributors, each times the sensitivity that `terms` gives it.
///
/// Worst case: every contributor at the edge of its tolerance that hurts, `w = sum |c| t`,
/// with the sides kept apart where they differ.
///
/// ```
/// use gapwright::decimal::Millionths;
/// use gapwright::length::{Length, Tolerance, Unit};
/// use gapwright::model::Term;
/// use gapwright::stack::{Contributor, extent};
/// let thou = |n| Length::parse(n, Some(Unit::Thou)).unwrap();
/// let part = |label: &str, term, nominal, plus_minus| Contributor {
///     label: label.into(), term, item: None, count: 1,
///     nominal: thou(nominal), tolerance: Tolerance::even(thou(plus_minus)),
///     standard: thou("0.3"), lot: None,
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
            // A negative sensitivity swaps the sides.
            let (below, above) = if sensitivity.raw() < 0 {
                (-up, -down)
            } else {
                (down, up)
            };
            sum.below = sum.below + below;
            sum.above = sum.above + above;
        }
    }
    sum
}

/// The expanded uncertainty of a sum of contributors: `k` times its combined standard uncertainty.
///
/// Pieces are independent of each other but for the error of their lot, which is the same for all
/// of one lot (correlation 1), whatever place they are in:
/// `u_c^2 = sum n (c u)^2 + sum over lots (sum n c)^2 u_lot^2`.
/// Source: JCGM 100:2008, 5.1.2 equation (10), 5.2.2 equation (16), 6.2.1 equation (18) (from
/// memory). Both `u_c` and `k u_c` are rounded up to a whole millionth of a tick.
///
/// ```
/// use gapwright::decimal::Millionths;
/// use gapwright::length::{Length, Tolerance};
/// use gapwright::model::Term;
/// use gapwright::stack::{Contributor, LotError, expanded};
/// use gapwright::stock::Lot;
/// let part = |term, count, standard, lot| Contributor {
///     label: String::new(), term, item: None, count,
///     nominal: Length::ZERO, tolerance: Tolerance::default(),
///     standard: Length::from_ticks(standard), lot,
/// };
/// let lot = LotError { lot: Lot::Item(0), standard: Length::from_ticks(20) };
/// // One gap of 30 less two shims of 10 each, whose lot is known to 20:
/// // 30^2 + 2 x 10^2 + (2 x 20)^2 = 2700, of which the root is 51.961...
/// let parts = [part(Term::Dimension(0), 1, 30, None), part(Term::Pack(0), 2, 10, Some(lot))];
/// let minus_one = Millionths::from_raw(-1_000_000);
/// let terms = [(Term::Dimension(0), Millionths::ONE), (Term::Pack(0), minus_one)];
/// let two = Millionths::from_raw(2_000_000);
/// assert_eq!(expanded(&terms, &parts, two).raw(), 2 * 51_961_525);
/// ```
pub fn expanded(terms: &[(Term, Millionths)], contributors: &[Contributor], k: Millionths) -> Fine {
    let mut variance = Variance::default();
    for part in contributors {
        let own = terms.iter().filter(|(term, _)| *term == part.term);
        let c = own.map(|(_, c)| i128::from(c.raw())).sum();
        variance.add(c, part.count, part.standard);
        if let Some(LotError { lot, standard }) = part.lot {
            variance.add_lot(c, part.count, lot, standard);
        }
    }
    Fine::from_raw(variance.expanded(k))
}

/// A sum of squared standard uncertainties, in millionths of a tick squared; what is too large to
/// be counted stays at the greatest number there is.
#[derive(Debug, Clone, Default)]
pub(crate) struct Variance {
    independent: i128,
    /// Lots, each with the sum of its pieces' sensitivities, in millionths, and its standard
    /// uncertainty.
    lots: SmallVec<[(Lot, i128, i128); 4]>,
}

impl Variance {
    /// Adds so many independent parts of a sensitivity in millionths.
    pub(crate) fn add(&mut self, c: i128, count: u32, standard: Length) {
        let square = squared(c.saturating_mul(i128::from(standard.ticks())));
        let all = square.saturating_mul(i128::from(count));
        self.independent = self.independent.saturating_add(all);
    }

    /// Adds the lot error of so many pieces.
    pub(crate) fn add_lot(&mut self, c: i128, count: u32, lot: Lot, standard: Length) {
        let all = c.saturating_mul(i128::from(count));
        match self.lots.iter_mut().find(|(other, _, _)| *other == lot) {
            Some((_, sum, _)) => *sum = sum.saturating_add(all),
            None => self.lots.push((lot, all, i128::from(standard.ticks()))),
        }
    }

    /// `k` times the root, in millionths of a tick, both rounded up.
    pub(crate) fn expanded(&self, k: Millionths) -> i128 {
        let shared = self
            .lots
            .iter()
            .map(|(_, c, u)| squared(c.saturating_mul(*u)));
        let sum = shared.fold(self.independent, i128::saturating_add);
        if sum == i128::MAX {
            // Nothing is clear of what cannot be counted.
            return i128::MAX / 4;
        }
        let scaled = root_up(sum).saturating_mul(i128::from(k.raw()));
        (scaled.saturating_add(999_999).div_euclid(1_000_000)).min(i128::MAX / 4)
    }
}

fn squared(number: i128) -> i128 {
    number.saturating_mul(number)
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
        if self.margin_lower() <= self.margin_upper() {
            self.guard_lower
        } else {
            self.guard_upper
        }
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
pub fn judge(form: &Form, contributors: &[Contributor], guard: Guard) -> Verdict {
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
        Guard::Expanded(k) => (
            expanded(&lower.terms, contributors, k),
            expanded(&upper.terms, contributors, k),
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Shape;

    const TWO: Millionths = Millionths::from_raw(2_000_000);

    fn part(term: Term, count: u32, nominal: i64, standard: i64) -> Contributor {
        Contributor {
            label: String::new(),
            term,
            item: None,
            count,
            nominal: Length::from_ticks(nominal),
            tolerance: Tolerance::default(),
            standard: Length::from_ticks(standard),
            lot: None,
        }
    }

    fn of_lot(part: Contributor, lot: usize, standard: i64) -> Contributor {
        let standard = Length::from_ticks(standard);
        let lot = Lot::Item(lot);
        Contributor {
            lot: Some(LotError { lot, standard }),
            ..part
        }
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
        // 2 x 124.096 736 460... with the root rounded up to a millionth.
        assert_eq!(expanded(&terms, &parts, TWO).raw(), 2 * 124_096_737);
        // Were the last piece of the first lot, known to 30, the two would partly cancel:
        // 3600 + 1200 + ((3 - 1) x 30)^2 = 8400, root 91.651513899...
        let mut same = parts;
        same[2] = of_lot(part(Term::Pack(1), 1, 0, 0), 0, 30);
        assert_eq!(expanded(&terms, &same, TWO).raw(), 2 * 91_651_514);
    }

    /// With k the root of 3, rectangular contributors come to the root sum square of their
    /// half-widths, here 30, 40 and 120 to 130; in the worst case to their sum, 190.
    #[test]
    fn root_three_times_rectangular_is_the_root_sum_square() {
        let parts = [30_000, 40_000, 120_000].map(|half| {
            let half = Length::from_ticks(half);
            Contributor {
                tolerance: Tolerance::even(half),
                standard: Shape::Rectangular.standard(half),
                ..part(Term::Dimension(0), 1, 0, 0)
            }
        });
        let terms = [(Term::Dimension(0), Millionths::ONE)];
        let width = expanded(&terms, &parts, Millionths::from_raw(1_732_051));
        // Every standard uncertainty is rounded up to a whole tick.
        assert!(
            width >= ticks(130_000) && width <= ticks(130_003),
            "{width:?}"
        );
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
        let parts = [
            part(Term::Dimension(0), 1, 1_000, 10),
            part(Term::Pack(0), 1, 1_240, 16),
        ];
        let verdict = judge(&form, &parts, Guard::Expanded(TWO));
        assert_eq!(verdict.guard_lower, ticks(40));
        assert_eq!(verdict.guard_upper, ticks(68));
        // 1240 is 40 above the least free thickness: just clear, and one tick less is not.
        assert_eq!(verdict.margin_lower(), Fine::ZERO);
        assert!(verdict.conforms());
        let thinner = [parts[0].clone(), part(Term::Pack(0), 1, 1_239, 16)];
        assert!(!judge(&form, &thinner, Guard::Expanded(TWO)).conforms());
        assert!(judge(&form, &thinner, Guard::None).conforms());
    }

    #[test]
    fn what_cannot_be_counted_is_never_clear() {
        let vast = [part(Term::Dimension(0), 1, 0, i64::MAX)];
        let terms = [(Term::Dimension(0), Millionths::from_raw(1_000_000_000))];
        assert!(expanded(&terms, &vast, TWO).raw() > i128::from(i64::MAX) * 1_000_000_000_000);
    }
}
