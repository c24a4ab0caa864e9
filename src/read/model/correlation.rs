//! Correlations: contributors whose errors go together.

use toml::Spanned;

use super::file::CorrelationFile;
use super::{Names, Reader};
use crate::model::{Correlation, Derived, Term};
use crate::stack;

impl Reader<'_> {
    pub(super) fn correlations(
        &mut self,
        raw: &[Spanned<CorrelationFile>],
        (names, derived): (&Names, &[Derived]),
    ) -> Option<Vec<Correlation>> {
        let found: Vec<Option<Correlation>> =
            raw.iter().map(|raw| self.correlation(raw.get_ref(), (names, derived))).collect();
        let found: Vec<Correlation> = found.into_iter().collect::<Option<_>>()?;
        for (index, one) in found.iter().enumerate() {
            let [a, b] = one.between;
            let again = found[..index]
                .iter()
                .any(|other| other.between == [a, b] || other.between == [b, a]);
            if again {
                self.add(
                    &raw[index].span(),
                    "the same two a second time",
                    "one correlation for each two",
                    "remove one of them",
                );
                return None;
            }
        }
        if !stack::can_be(&found) {
            let all = raw.first().map_or(0, |first| first.span().start)
                ..raw.last().map_or(0, |last| last.span().end);
            self.add(
                &all,
                "correlations that cannot all hold at once (their matrix is not positive semi-definite)",
                "coefficients that agree with each other",
                "if a goes with b and b with c, a must go with c: correct the coefficients",
            );
            return None;
        }
        Some(found)
    }

    pub(super) fn correlation(
        &mut self,
        raw: &CorrelationFile,
        (names, derived): (&Names, &[Derived]),
    ) -> Option<Correlation> {
        let coefficient = self.bounded(
            &raw.coefficient,
            |r| r.raw().abs() <= 1_000_000,
            "a correlation coefficient from -1 to 1",
        );
        let [first, second] = raw.between.get_ref().as_slice() else {
            self.add(
                &raw.between.span(),
                "a correlation that is not between two",
                "between = [\"one\", \"other\"]",
                "name two dimensions, or two thermal terms",
            );
            return None;
        };
        let mut term = |name: &Spanned<String>| {
            let term = names.term(name.get_ref());
            if term.is_none() {
                self.unknown(&name.span(), name.get_ref(), names);
            }
            term
        };
        let (a, b) = (term(first), term(second));
        let between = [a?, b?];
        let of_derived = |term: Term| {
            derived.iter().flat_map(|derived| derived.of).any(|at| term == Term::Dimension(at))
        };
        if between.into_iter().any(of_derived) {
            self.add(
                &raw.between.span(),
                "a correlation of a dimension that a derived term is worked out of",
                "dimensions of sums",
                "state the error that the two share as a part of the plus_minus of each",
            );
            return None;
        }
        match between {
            [Term::Dimension(a), Term::Dimension(b)] | [Term::Thermal(a), Term::Thermal(b)]
                if a != b => {}
            _ => {
                self.add(
                    &raw.between.span(),
                    "a correlation of two that cannot have one",
                    "two different dimensions, or two different thermal terms",
                    "pieces share the error of their lot by themselves; correct the names",
                );
                return None;
            }
        }
        Some(Correlation { between, coefficient: coefficient? })
    }
}
