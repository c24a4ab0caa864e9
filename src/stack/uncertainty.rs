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

use super::{Coverage, LotError, Stack};
use crate::decimal::Millionths;
use crate::length::{Fine, Uncertainty, root_up};
use crate::model::{Correlation, Term, sensitivity};
use crate::stock::Lot;

/// Expanded uncertainty of a sum of contributors: the coverage factor times its combined standard
/// uncertainty.
///
/// Pieces are independent of each other except for the error of their lot, which is the same for all pieces
/// of one lot (correlation 1) in every place. Dimensions and thermal terms may be correlated as the model
/// says: `u_c^2 = sum n (c u)^2 + sum over lots (sum n c)^2 u_lot^2 + 2 sum over pairs r (c u)(c u)'`.
/// Source: JCGM 100:2008, 5.1.2 equation (10), 5.2.2 equations (13) and (16), 6.2.1 equation (18) (from
/// memory). Both `u_c` and `k u_c` are rounded up.
///
/// ```
/// use gapwright::decimal::Millionths;
/// use gapwright::length::{Length, Tolerance, Uncertainty};
/// use gapwright::model::Term;
/// use gapwright::stack::{Contributor, Coverage, Evaluation, LotError, Stack, expanded};
/// use gapwright::stock::Lot;
/// let ticks = |n| Uncertainty::from(Length::from_ticks(n));
/// let part = |term, count, standard, lot| Contributor {
///     label: String::new(), term, item: None, count, readings: vec![],
///     nominal: Length::ZERO, tolerance: Tolerance::default(),
///     evaluation: Evaluation::Standard, standard_uncertainty: ticks(standard), degrees_of_freedom: None, lot,
/// };
/// let lot = LotError { lot: Lot::Item(0), standard_uncertainty: ticks(20) };
/// // One gap of 30 less two shims of 10 each, whose lot is known to 20:
/// // 30^2 + 2 x 10^2 + (2 x 20)^2 = 2700, of which the root is 51.961...
/// let parts = [part(Term::Dimension(0), 1, 30, None), part(Term::Pack(0), 2, 10, Some(lot))];
/// let stack = Stack { contributors: parts.to_vec(), correlations: Vec::new() };
/// let minus_one = Millionths::from_raw(-1_000_000);
/// let terms = [(Term::Dimension(0), Millionths::ONE), (Term::Pack(0), minus_one)];
/// let two = Coverage::Factor(Millionths::from_raw(2_000_000));
/// assert_eq!(expanded(&terms, &stack, two).raw(), 103_923_049); // 2 x 51.961 524 227...
/// ```
pub fn expanded(terms: &[(Term, Millionths)], stack: &Stack, coverage: Coverage) -> Fine {
    Fine::from_raw(variance(terms, stack).expanded(coverage))
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

/// Squared combined standard uncertainty of a sum of contributors.
pub(crate) fn variance(terms: &[(Term, Millionths)], stack: &Stack) -> Variance {
    let weight = |of: Term| i128::from(sensitivity(terms, of).raw());
    let mut variance = Variance::default();
    for part in &stack.contributors {
        let c = weight(part.term);
        variance.add(c, part.count, part.standard_uncertainty, part.degrees_of_freedom);
        if let Some(LotError { lot, standard_uncertainty: standard }) = part.lot {
            variance.add_lot(c, part.count, lot, standard);
        }
    }
    let standard = |term: Term| {
        let part = stack.contributors.iter().find(|part| part.term == term);
        part.map_or(Uncertainty::ZERO, |part| part.standard_uncertainty)
    };
    variance.correlate(&stack.correlations, weight, standard);
    variance
}

/// Sum of squared standard uncertainties, in millionths of a femtometre squared; too large a sum stays at the
/// greatest number of its type.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Variance {
    independent: i128,
    /// Lots, each with the sum of its pieces' sensitivities, in millionths, and its standard uncertainty in
    /// femtometres.
    lots: SmallVec<[(Lot, i128, i128); 4]>,
    /// Sum of the fourth powers of the parts with finite degrees of freedom, each over those
    /// (Welch-Satterthwaite).
    fourths: f64,
}

impl Variance {
    /// Adds `count` independent parts of a sensitivity in millionths.
    pub(crate) fn add(&mut self, c: i128, count: u32, standard: Uncertainty, freedom: Option<u32>) {
        let square = squared(c.saturating_mul(standard.raw().into()));
        let all = square.saturating_mul(i128::from(count));
        self.independent = self.independent.saturating_add(all);
        if let Some(freedom) = freedom {
            self.fourths += float(square).powi(2) * f64::from(count) / f64::from(freedom.max(1));
        }
    }

    /// Adds the lot error of `count` pieces.
    pub(crate) fn add_lot(&mut self, c: i128, count: u32, lot: Lot, standard: Uncertainty) {
        let all = c.saturating_mul(i128::from(count));
        match self.lots.iter_mut().find(|(other, _, _)| *other == lot) {
            Some((_, sum, _)) => *sum = sum.saturating_add(all),
            None => self.lots.push((lot, all, i128::from(standard.raw()))),
        }
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
            let (whole, rest) = (product.div_euclid(1_000_000), product.rem_euclid(1_000_000));
            let both = whole.saturating_mul(r).saturating_add(-(-(rest * r)).div_euclid(1_000_000));
            self.independent = self.independent.saturating_add(both);
        }
    }

    fn total(&self) -> i128 {
        let shared = self.lots.iter().map(|(_, c, u)| squared(c.saturating_mul(*u)));
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
        (self.fourths > 0.0).then(|| float(self.total()).powi(2) / self.fourths)
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
            let mut sum = Variance::default();
            for &(u, freedom) in parts {
                let freedom = Some(freedom).filter(|freedom| *freedom > 0);
                sum.add(1_000_000, 1, Uncertainty::from_raw(u), freedom);
            }
            let found = sum.exact_freedom().unwrap_or_default();
            assert!((found - exact).abs() < 2e-6, "{found} for {exact}");
            assert_eq!(sum.degrees_of_freedom(), Some(whole));
        }
    }
}
