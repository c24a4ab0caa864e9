//! The stack-up of a requirement: what contributes to it, and where it comes out at worst.

use crate::decimal::Millionths;
use crate::length::{Fine, Length, Tolerance};
use crate::model::{Form, Term};

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

/// Judges a requirement on its contributors; `guarded` says whether worst-case guards count.
pub fn judge(form: &Form, contributors: &[Contributor], guarded: bool) -> Verdict {
    let value = extent(&form.value(), contributors).nominal;
    let slack = |face: crate::model::Face| {
        let sum = extent(&face.terms, contributors);
        (sum, sum.nominal - Fine::from(face.bound))
    };
    let (low, above_lower) = slack(form.lower());
    let (high, above_upper) = slack(form.upper());
    let (_, above_target) = slack(form.target());
    let guard = |width| if guarded { width } else { Fine::ZERO };
    Verdict {
        target: value - above_target,
        lower: value - above_lower,
        upper: value - above_upper,
        value,
        guard_lower: guard(low.below),
        guard_upper: guard(high.above),
    }
}
