//! Compares predicted and found values: their difference against its uncertainty.

use super::reading::{Reading, Readings};
use crate::accounting::share;
use crate::decimal::Millionths;
use crate::length::{Fine, Tolerance};
use crate::model::{Shape, Term, Terms};
use crate::stack::{Alike, Contributor, Coverage, Evaluation, Stack, expanded, worst_case};

/// Coverage factor of both expanded uncertainties, whatever the plan's acceptance rule.
pub const COVERAGE: Coverage = Coverage::Factor(Millionths::from_raw(2_000_000));

/// Predicted and found value, and their agreement.
///
/// Normalised error: `E_n = (found - predicted) / U`, U the expanded uncertainty of that difference, k = 2; the two
/// agree where `|E_n| <= 1`. `U^2 = U_found^2 + U_predicted^2` unless the reading and what was predicted from share a
/// gauge, whose error then counts by how often it is left in the difference. Source: ISO 13528 and ISO/IEC 17043;
/// JCGM 100:2008, 5.2.2 for what is shared (from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Compared {
    /// Nominal value: the figure on the slip.
    pub nominal: Fine,
    /// Middle of the prediction; differs from the nominal value where tolerances are uneven.
    pub predicted: Fine,
    /// Expanded uncertainty of the prediction.
    pub predicted_within: Fine,
    /// Readings.
    pub found: Readings,
    /// Expanded uncertainty of the last reading.
    pub found_within: Fine,
    /// Expanded uncertainty of the difference of both.
    pub difference_within: Fine,
}

impl Compared {
    /// Compares readings with a sum of terms.
    ///
    /// An error that the pieces of a lot may have in common, nobody knows how far, excuses no reading: they count as
    /// independent here.
    pub fn of(terms: &Terms, stack: &Stack, found: Readings) -> Compared {
        let sum = worst_case(terms, stack);
        let mut apart = stack.clone();
        for lot in apart.contributors.iter_mut().filter_map(|part| part.lot.as_mut()) {
            if lot.alike == Alike::AtWorst {
                lot.alike = Alike::Share(Millionths::ZERO);
            }
        }
        let predicted_within = expanded(terms, &apart, COVERAGE);
        // The reading beside what it is compared with: a gauge that both were measured with errs once.
        const READ: Term = Term::Dimension(usize::MAX);
        let last = found.last();
        apart.contributors.push(contributor(last, READ, String::new()));
        if let Some(gauge) = last.gauge {
            share(&mut apart, gauge);
        }
        let minus_one = Millionths::from_raw(-Millionths::ONE.raw());
        let difference: Terms = terms.iter().copied().chain([(READ, minus_one)]).collect();
        Compared {
            nominal: sum.nominal,
            // Uneven tolerances: their middle is the expected value.
            predicted: Fine::from_raw(sum.nominal.raw() + sum.asymmetry.raw().div_euclid(2)),
            predicted_within,
            found,
            found_within: reading_within(last),
            difference_within: expanded(&difference, &apart, COVERAGE),
        }
    }

    /// Found less predicted.
    pub fn difference(&self) -> Fine {
        Fine::from(self.found.last().value) - self.predicted
    }

    /// Normalised error; `None` where both are exact and differ.
    pub fn normalised(&self) -> Option<f64> {
        let unit = crate::length::Unit::Millimetre;
        let within = self.difference_within.to_f64(unit);
        let difference = self.difference().to_f64(unit);
        if difference == 0.0 {
            return Some(0.0);
        }
        (within > 0.0).then(|| difference / within)
    }

    /// Whether the last reading agrees with the prediction: `|E_n| <= 1`, in whole numbers.
    pub fn agrees(&self) -> bool {
        self.difference().abs() <= self.difference_within
    }

    /// Whether a second reading confirms the first; `None` if there is none.
    pub fn repeats(&self) -> Option<bool> {
        let again = self.found.again?;
        let difference = Fine::from(again.value) - Fine::from(self.found.first.value);
        // A gauge's uncertainty holds its scatter too, so that nothing of it is taken as shared here.
        let (first, again) = (reading_within(self.found.first), reading_within(again));
        Some(within(difference, first, again))
    }
}

/// `d^2 <= a^2 + b^2`; false where the numbers are too large.
fn within(difference: Fine, a: Fine, b: Fine) -> bool {
    let square = |length: Fine| length.raw().checked_mul(length.raw());
    let sum = square(a).zip(square(b)).and_then(|(a, b)| a.checked_add(b));
    square(difference).zip(sum).is_some_and(|(difference, sum)| difference <= sum)
}

/// Expanded uncertainty of a reading alone.
fn reading_within(reading: Reading) -> Fine {
    let part = contributor(reading, Term::Dimension(0), String::new());
    let mut stack = Stack { contributors: vec![part], ..Stack::default() };
    if let Some(gauge) = reading.gauge {
        share(&mut stack, gauge);
    }
    expanded(&[(Term::Dimension(0), Millionths::ONE)], &stack, COVERAGE)
}

/// A reading as a contributor to a sum, without the error of its gauge.
pub(super) fn contributor(reading: Reading, term: Term, label: String) -> Contributor {
    let tolerance = Tolerance::even(reading.own());
    Contributor {
        label,
        term,
        item: None,
        count: 1,
        readings: vec![reading.value],
        nominal: reading.value,
        tolerance,
        evaluation: Evaluation::Within(Shape::Rectangular),
        standard_uncertainty: Shape::Rectangular.standard_uncertainty(tolerance),
        degrees_of_freedom: None,
        lot: None,
    }
}
