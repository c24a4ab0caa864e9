//! Combined standard uncertainty of a sum, exact in whole numbers: the same figure for the choice, the
//! checker and the report.
//!
//! # Decisions
//!
//! - Standard uncertainties are whole femtometres, rounded up; from there on U is exact, rounded up to a millionth
//!   of a tick. The choice, the checker and the sheets agree at the edge, and a spreadsheet's own root agrees to
//!   1e-9 in.
//! - A correlation with a contributor of few degrees of freedom is refused: Welch-Satterthwaite presumes
//!   independence, and can call U half of its true value.

use smallvec::SmallVec;

use super::{Alike, Coverage, ErrorSource, OfLot, Stack};
use crate::decimal::Millionths;
use crate::gauge::Certified;
use crate::length::{Fine, Tolerance, Uncertainty, root_up};
use crate::model::{Correlation, Term, sensitivity};
use crate::narrow::narrow;
use crate::stock::Lot;

/// Expanded uncertainty of a sum of contributors: the coverage factor times its combined standard
/// uncertainty.
///
/// Pieces of one lot err together as [`Alike`] says; the error of a lot's mean or of a gauge is one and the same for
/// all that it enters (correlation 1). Dimensions and thermal terms may be correlated as the model says:
/// `u_c^2 = sum n (c u)^2 + sum over shared errors (sum n c)^2 u^2 + 2 sum over pairs r (c u)(c u)'`.
/// Source: JCGM 100:2008, 5.1.2 equation (10), 5.2.2 equations (13) and (16), 6.2.1 equation (18) (from
/// memory). Both `u_c` and `k u_c` are rounded up.
///
/// ```
/// use gapwright::decimal::Millionths;
/// use gapwright::gauge::Certified;
/// use gapwright::length::{Length, Tolerance, Uncertainty};
/// use gapwright::model::Term;
/// use gapwright::stack::{Contributor, Coverage, ErrorSource, Evaluation, SharedError, Stack, expanded};
/// use gapwright::stock::Lot;
/// let ticks = |n| Uncertainty::from(Length::from_ticks(n));
/// let part = |term, count, standard| Contributor {
///     label: String::new(), term, item: None, count, readings: vec![],
///     nominal: Length::ZERO, tolerance: Tolerance::default(),
///     evaluation: Evaluation::Standard, standard_uncertainty: ticks(standard), degrees_of_freedom: None, lot: None,
/// };
/// // One gap of 30 less two shims of 10 each, whose lot is known to 20:
/// // 30^2 + 2 x 10^2 + (2 x 20)^2 = 2700, of which the root is 51.961...
/// let parts = [part(Term::Dimension(0), 1, 30), part(Term::Pack(0), 2, 10)];
/// let mean = SharedError {
///     label: "mean of the lot".into(), source: ErrorSource::Mean(Lot::Item(0)), members: vec![1],
///     certified: Certified { standard: ticks(20), ..Certified::default() },
/// };
/// let stack = Stack { contributors: parts.to_vec(), shared: vec![mean], ..Stack::default() };
/// let minus_one = Millionths::from_raw(-1_000_000);
/// let terms = [(Term::Dimension(0), Millionths::ONE), (Term::Pack(0), minus_one)];
/// let two = Coverage::Factor(Millionths::from_raw(2_000_000));
/// assert_eq!(expanded(&terms, &stack, two).raw(), 103_923_049); // 2 x 51.961 524 227...
/// ```
pub fn expanded(terms: &[(Term, Millionths)], stack: &Stack, coverage: Coverage) -> Fine {
    Fine::from_raw(budget(terms, stack).expanded(coverage))
}

/// Whether correlations can all hold at once: their matrix is positive semi-definite, so that no combination
/// has a negative variance.
pub(crate) fn can_be(correlations: &[Correlation]) -> bool {
    let mut terms: Vec<Term> = correlations.iter().flat_map(|c| c.between).collect();
    terms.sort_unstable();
    terms.dedup();
    let mut matrix = vec![vec![0.0; terms.len()]; terms.len()];
    for (index, row) in matrix.iter_mut().enumerate() {
        row[index] = 1.0;
    }
    for Correlation { between, coefficient } in correlations {
        let [a, b] = between.map(|term| terms.partition_point(|known| *known < term));
        matrix[a][b] = coefficient.to_f64();
        matrix[b][a] = coefficient.to_f64();
    }
    // Elimination; a zero pivot must have zeros beside it.
    const NOTHING: f64 = 1e-9;
    for k in 0..terms.len() {
        let pivot = matrix[k].clone();
        if pivot[k] < -NOTHING
            || pivot[k] < NOTHING && pivot[k + 1..].iter().any(|c| c.abs() > NOTHING.sqrt())
        {
            return false;
        }
        if pivot[k] < NOTHING {
            continue;
        }
        for row in &mut matrix[k + 1..] {
            let share = row[k] / pivot[k];
            for (cell, above) in row.iter_mut().zip(&pivot) {
                *cell -= share * above;
            }
        }
    }
    true
}

/// Errors of a sum of contributors.
pub(crate) fn budget(terms: &[(Term, Millionths)], stack: &Stack) -> Budget {
    let weight = |of: Term| i128::from(sensitivity(terms, of).raw());
    let mut budget = Budget::default();
    for part in &stack.contributors {
        budget.add(weight(part.term), part.count, &part.error());
    }
    for error in &stack.shared {
        budget.add_shared(error.source, stack.weight(terms, error), error.certified);
    }
    let standard = |term: Term| {
        let part = stack.contributors.iter().find(|part| part.term == term);
        part.map_or(Uncertainty::ZERO, |part| part.standard_uncertainty)
    };
    budget.correlate(&stack.correlations, weight, standard);
    budget
}

/// Error of one piece or dimension.
#[derive(Debug, Clone, Copy)]
pub(crate) struct PieceError {
    pub(crate) tolerance: Tolerance,
    pub(crate) standard: Uncertainty,
    pub(crate) freedom: Option<u32>,
    pub(crate) lot: Option<OfLot>,
}

/// Errors of a sum: its worst case, and squared standard uncertainties in millionths of a femtometre squared; too
/// large a sum stays at the greatest number of its type.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Budget {
    /// Worst case of the errors that are no part's but its own, below and above, in millionths of a millionth of a
    /// tick.
    own: [i128; 2],
    independent: i128,
    shared: SmallVec<[Shared; 4]>,
    /// Sum of the fourth powers of the independent parts with finite degrees of freedom, each over those
    /// (Welch-Satterthwaite).
    fourths: f64,
}

/// Error that several parts share.
#[derive(Debug, Clone, PartialEq)]
struct Shared {
    of: Sharing,
    /// Sums of count times sensitivity, in millionths, of the parts that err upwards with it and downwards.
    up: i128,
    down: i128,
    standard: Uncertainty,
    /// Range below and above, in millionths of a tick.
    extent: [i128; 2],
    freedom: Option<u32>,
}

/// Reason that parts share an error.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Sharing {
    /// Pieces of one lot that may err alike, nobody knows how far: only those of one sign together.
    OneSign(Lot),
    /// Stated share of the tolerance of one lot.
    Alike(Lot),
    /// Measured mean of a lot, or a gauge.
    Source(ErrorSource),
}

impl Shared {
    fn variance(&self) -> i128 {
        let square = |weight: i128| squared(weight.saturating_mul(self.standard.raw().into()));
        match self.of {
            Sharing::OneSign(_) => square(self.up).saturating_add(square(self.down)),
            Sharing::Alike(_) | Sharing::Source(_) => square(self.up.saturating_add(self.down)),
        }
    }

    /// Worst case below and above the sum.
    fn worst(&self) -> [i128; 2] {
        let weight = self.up.saturating_add(self.down);
        let [minus, plus] = self.extent;
        let [below, above] = if weight > 0 { [minus, plus] } else { [plus, minus] };
        [below, above].map(|extent| weight.saturating_abs().saturating_mul(extent))
    }
}

impl Budget {
    /// Adds `count` pieces of a sensitivity in millionths.
    pub(crate) fn add(&mut self, c: i128, count: u32, error: &PieceError) {
        let all = c.saturating_mul(count.into());
        let [minus, plus] =
            [error.tolerance.minus, error.tolerance.plus].map(|t| i128::from(t.ticks()));
        let alike = match error.lot.map(|lot| lot.alike) {
            Some(Alike::Share(share)) => i128::from(share.raw()),
            Some(Alike::AtWorst) | None => 0,
        };
        let sides = if c > 0 { [minus, plus] } else { [plus, minus] };
        for (own, side) in self.own.iter_mut().zip(sides) {
            let apart = all.saturating_abs().saturating_mul(side * (ONE - alike));
            *own = own.saturating_add(apart);
        }
        let standard = match error.lot {
            Some(OfLot { lot, alike: Alike::AtWorst }) => {
                self.join(Sharing::OneSign(lot), all, error.standard, [0, 0], None);
                return;
            }
            Some(OfLot { lot, alike: Alike::Share(share) }) if alike > 0 => {
                let common = times_up(error.standard, share);
                let extent = [minus * alike, plus * alike];
                self.join(Sharing::Alike(lot), all, common, extent, None);
                apart(error.standard, share)
            }
            Some(_) | None => error.standard,
        };
        let square = squared(c.saturating_mul(standard.raw().into()));
        self.independent = self.independent.saturating_add(square.saturating_mul(count.into()));
        if let Some(freedom) = error.freedom {
            self.fourths += float(square).powi(2) * f64::from(count) / f64::from(freedom.max(1));
        }
    }

    /// Adds an error that counts `weight` times, in millionths: the sum of count times sensitivity of its members.
    pub(crate) fn add_shared(&mut self, source: ErrorSource, weight: i128, error: Certified) {
        let extent = i128::from(error.extent.ticks()) * ONE;
        let extent = [extent, extent];
        self.join(Sharing::Source(source), weight, error.standard, extent, error.freedom);
    }

    fn join(
        &mut self,
        of: Sharing,
        weight: i128,
        standard: Uncertainty,
        extent: [i128; 2],
        freedom: Option<u32>,
    ) {
        let at = self.shared.iter().position(|shared| shared.of == of);
        let at = at.unwrap_or_else(|| {
            self.shared.push(Shared { of, up: 0, down: 0, standard, extent, freedom });
            self.shared.len() - 1
        });
        let sum = if weight > 0 { &mut self.shared[at].up } else { &mut self.shared[at].down };
        *sum = sum.saturating_add(weight);
    }

    /// Worst case below and above, in millionths of a tick, rounded up.
    pub(crate) fn worst(&self) -> [i128; 2] {
        let all = self.shared.iter().map(Shared::worst);
        let sum = all.fold(self.own, |sum, one| {
            [sum[0].saturating_add(one[0]), sum[1].saturating_add(one[1])]
        });
        sum.map(|side| side.saturating_add(ONE - 1).div_euclid(ONE))
    }

    /// Adds the cross terms of correlated terms, given the sensitivity (in millionths) and the standard
    /// uncertainty of a term.
    pub(crate) fn correlate(
        &mut self,
        correlations: &[Correlation],
        weight: impl Fn(Term) -> i128,
        standard: impl Fn(Term) -> Uncertainty,
    ) {
        for Correlation { between, coefficient } in correlations {
            let [a, b] =
                between.map(|term| weight(term).saturating_mul(i128::from(standard(term).raw())));
            let product = a.saturating_mul(b).saturating_mul(2);
            let r = i128::from(coefficient.raw());
            // Product times r over a million, rounded up, in whole numbers throughout.
            let (whole, rest) = (product.div_euclid(ONE), product.rem_euclid(ONE));
            let both = whole.saturating_mul(r).saturating_add(-(-(rest * r)).div_euclid(ONE));
            self.independent = self.independent.saturating_add(both);
        }
    }

    fn total(&self) -> i128 {
        let shared = self.shared.iter().map(Shared::variance);
        shared.fold(self.independent.max(0), i128::saturating_add)
    }

    /// Effective degrees of freedom by the Welch-Satterthwaite formula, truncated to a whole number; `None`
    /// where every uncertainty is taken as exactly known. Source: JCGM 100:2008, G.4.1 equation (G.2b) and
    /// its note on truncation (from memory). The formula assumes independent contributors.
    pub(crate) fn degrees_of_freedom(&self) -> Option<u32> {
        let exact = self.exact_freedom()?;
        // Against the last digit of the division: 16 of 16 are 16.
        let whole = (exact * (1.0 + 1e-12)).floor().clamp(1.0, 1e9);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let whole = whole as u32;
        Some(whole)
    }

    /// Effective degrees of freedom, not truncated.
    pub(crate) fn exact_freedom(&self) -> Option<f64> {
        let shared = self.shared.iter().filter_map(|one| {
            let freedom = one.freedom?;
            Some(float(one.variance()).powi(2) / f64::from(freedom.max(1)))
        });
        let fourths = self.fourths + shared.sum::<f64>();
        (fourths > 0.0).then(|| float(self.total()).powi(2) / fourths)
    }

    /// Combined standard uncertainty in ticks.
    pub(crate) fn root(&self) -> f64 {
        float(self.total()).sqrt() / 1e11
    }

    /// Coverage factor times the root, in millionths of a tick, both rounded up.
    pub(crate) fn expanded(&self, coverage: Coverage) -> i128 {
        let total = self.total();
        if total == i128::MAX {
            // No value is clear of an uncertainty that overflowed.
            return i128::MAX / 4;
        }
        let factor = coverage.factor(self.degrees_of_freedom());
        let scaled = root_up(total).saturating_mul(i128::from(factor.raw()));
        // Millionths of a femtometre times millionths, as millionths of a tick.
        const UNIT: i128 = 100_000_000_000;
        (scaled.saturating_add(UNIT - 1).div_euclid(UNIT)).min(i128::MAX / 4)
    }
}

/// One, in millionths.
const ONE: i128 = 1_000_000;

/// Common part of a standard uncertainty, rounded up.
pub(crate) fn times_up(standard: Uncertainty, share: Millionths) -> Uncertainty {
    let product = i128::from(standard.raw()) * i128::from(share.raw());
    Uncertainty::from_raw(narrow::<i64>((product + ONE - 1).div_euclid(ONE)))
}

/// Part of a standard uncertainty that is not common, rounded up: both parts together come to the whole.
pub(crate) fn apart(standard: Uncertainty, share: Millionths) -> Uncertainty {
    let rest = ONE * ONE - squared(share.raw().into());
    Uncertainty::root_of(squared(standard.raw().into()).saturating_mul(rest), ONE * ONE)
}

fn squared(number: i128) -> i128 {
    number.saturating_mul(number)
}

#[allow(clippy::cast_precision_loss)]
fn float(number: i128) -> f64 {
    number as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sources: JCGM 100:2008, G.4.1 example and H.1 (from memory, printed 19.0, 25.6 from rounded figures,
    /// and 16.7), and by hand 9 x (0.57^2 + 0.25^2)^2 / 0.57^4 = 12.8;
    /// further digits recomputed.
    #[test]
    fn effective_degrees_of_freedom_are_those_published() {
        type Case = (&'static [(i64, u32)], f64, u32);
        let cases: [Case; 4] = [
            (&[(250, 9), (570, 4), (820, 14)], 18.998_742, 18),
            (&[(570, 9), (250, 0)], 12.795_649, 12),
            (&[(5_800, 24), (3_900, 5), (6_700, 8)], 25.447_251, 25),
            (
                &[
                    (25_000_000, 18),
                    (5_800_000, 24),
                    (3_900_000, 5),
                    (6_700_000, 8),
                    (2_886_787, 50),
                    (16_599_027, 2),
                ],
                16.751_856,
                16,
            ),
        ];
        for (parts, exact, whole) in cases {
            let mut sum = Budget::default();
            for &(u, freedom) in parts {
                let freedom = Some(freedom).filter(|freedom| *freedom > 0);
                let (standard, tolerance) = (Uncertainty::from_raw(u), Tolerance::default());
                sum.add(1_000_000, 1, &PieceError { tolerance, standard, freedom, lot: None });
            }
            let found = sum.exact_freedom().unwrap_or_default();
            assert!((found - exact).abs() < 2e-6, "{found} for {exact}");
            assert_eq!(sum.degrees_of_freedom(), Some(whole));
        }
    }
}
