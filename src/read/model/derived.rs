//! Derived terms: products and quotients of two dimensions.

use std::ops::Range;

use toml::Spanned;

use super::file::{DerivedFile, Quantity};
use super::{Names, Reader};
use crate::columns::pump_heading as heading;
use crate::length::{Length, Unit};
use crate::model::{Derived, DerivedRule, Term};

impl Reader<'_> {
    pub(super) fn derived(
        &mut self,
        name: String,
        span: &Range<usize>,
        raw: DerivedFile,
        unit: Unit,
        names: &Names,
    ) -> Option<Derived> {
        let (of, rule) = match (&raw.product, &raw.per, &raw.quotient, &raw.times) {
            (Some(of), Some(per), None, None) => {
                let (of, per) = (self.two(of, names), self.scale(per, unit));
                (of, per.map(|per| DerivedRule::Product { per }))
            }
            (None, None, Some(of), Some(times)) => {
                let (of, times) = (self.two(of, names), self.scale(times, unit));
                (of, times.map(|times| DerivedRule::Quotient { times }))
            }
            _ => {
                self.add(
                    span,
                    format!("the derived term `{name}` in neither of its two forms"),
                    "product = [\"a\", \"b\"] and per = a length, for a x b / per; or quotient = [\"a\", \"b\"] and times = a length, for times x a / b",
                    "state one form whole",
                );
                return None;
            }
        };
        let label = raw.label.unwrap_or_else(|| heading(&name));
        Some(Derived { name, label, of: of?, rule: rule? })
    }

    /// Two different dimensions.
    fn two(&mut self, of: &Spanned<Vec<Spanned<String>>>, names: &Names) -> Option<[usize; 2]> {
        let mut dimension = |name: &Spanned<String>| match names.term(name.get_ref()) {
            Some(Term::Dimension(at)) => Some(at),
            Some(_) => {
                self.add(
                    &name.span(),
                    format!("`{}`, which is not measured", name.get_ref()),
                    "a dimension",
                    "name a [dimension]",
                );
                None
            }
            None => {
                self.unknown(&name.span(), name.get_ref(), names);
                None
            }
        };
        let found: Vec<Option<usize>> = of.get_ref().iter().map(&mut dimension).collect();
        match found.as_slice() {
            [Some(a), Some(b)] if a != b => Some([*a, *b]),
            // A name that is not known is reported already.
            [a, b] if a.is_none() || b.is_none() => None,
            _ => {
                let expected = "two different dimensions";
                self.add(&of.span(), "not two dimensions", expected, "name two");
                None
            }
        }
    }

    fn scale(&mut self, scale: &Spanned<Quantity>, unit: Unit) -> Option<Length> {
        let length = self.length(scale, unit)?;
        if length <= Length::ZERO {
            let found = format!("the length {}", scale.get_ref().show());
            self.add(&scale.span(), found, "a length above 0", "correct it");
            return None;
        }
        Some(length)
    }
}
