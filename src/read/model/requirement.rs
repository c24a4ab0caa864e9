//! Requirements: sums with limits, and gasket fills, cold and hot.

use std::collections::BTreeMap;
use std::ops::Range;

use toml::Spanned;

use super::file::{Quantity, RequirementFile};
use super::{Names, Reader};
use crate::columns::pump_heading as heading;
use crate::decimal::Millionths;
use crate::length::Unit;
use crate::model::{Derived, Form, Requirement, Term, Terms};

/// A limit; `none` stands for a missing one.
fn given(limit: &Spanned<Quantity>) -> Option<&Spanned<Quantity>> {
    Some(limit).filter(|q| !matches!(q.get_ref(), Quantity::Text(text) if text.trim() == "none"))
}

/// Value of a limit, if there is one; `None` if it cannot be read.
fn if_given<T>(
    limit: Option<&Spanned<Quantity>>,
    read: impl FnOnce(&Spanned<Quantity>) -> Option<T>,
) -> Option<Option<T>> {
    match limit {
        Some(limit) => read(limit).map(Some),
        None => Some(None),
    }
}

impl Reader<'_> {
    /// The requirements that the least or the greatest of several sums comes to, each with its name; `None` of any
    /// other requirement, and of these inside where something is wrong.
    ///
    /// The least is above a limit where every one is, and the greatest below one. The other way round one would be
    /// enough: such a choice no plan is searched for yet.
    pub(super) fn several(
        &mut self,
        name: &str,
        span: &Range<usize>,
        raw: &RequirementFile,
    ) -> Option<Option<Vec<(String, RequirementFile)>>> {
        let (forms, word, [every, any], open) = match (&raw.least_of, &raw.greatest_of) {
            (None, None) => return None,
            (Some(least), None) => (least, "least", ["lower", "upper"], 1),
            (None, Some(greatest)) => (greatest, "greatest", ["upper", "lower"], 0),
            (Some(_), Some(_)) => {
                let found = format!("both the least and the greatest in `{name}`");
                self.add(span, found, "one of the two", "write two requirements");
                return Some(None);
            }
        };
        if raw.terms.is_some() || raw.gasket.is_some() || forms.get_ref().len() < 2 {
            self.add(
                &forms.span(),
                format!("the {word} in `{name}` of what are not several sums"),
                format!(
                    "{word}_of = [{{ ... }}, {{ ... }}], two sums or more, beside target and limits"
                ),
                "write the sums in it, and neither terms nor a gasket",
            );
            return Some(None);
        }
        for limits in [Some(&raw.limits), raw.hot_limits.as_ref()].into_iter().flatten() {
            if limits.get_ref().get(open).and_then(given).is_some() {
                self.add(
                    &limits.span(),
                    format!("a limit of the {word} that one of its sums alone may keep"),
                    format!("a {every} limit, which all of them keep, and \"none\" for the {any} one"),
                    format!("write \"none\", and a requirement of its own for the sum that the {any} limit is meant for"),
                );
                return Some(None);
            }
        }
        let label = raw.label.clone().unwrap_or_else(|| heading(name));
        let each = forms.get_ref().iter().zip(1..).map(|(terms, number)| {
            let own = RequirementFile {
                label: Some(format!("{label}, sum {number}")),
                terms: Some(terms.clone()),
                least_of: None,
                greatest_of: None,
                ..raw.clone()
            };
            (format!("{name}_{number}"), own)
        });
        Some(Some(each.collect()))
    }

    pub(super) fn requirement(
        &mut self,
        name: String,
        span: &Range<usize>,
        raw: &RequirementFile,
        unit: Unit,
        (names, derived): (&Names, &[Derived]),
    ) -> Option<Vec<Requirement>> {
        let label = raw.label.clone().unwrap_or_else(|| heading(&name));
        let form = self.form((&name, span), raw, unit, names)?;
        let [cold, hot] = self.asked((&name, span), raw, &form)?;
        let mut made = Vec::new();
        if cold {
            made.push(Requirement {
                name: name.clone(),
                label: label.clone(),
                form: form.clone().cold(),
            });
        }
        if hot {
            made.push(Requirement {
                name: if cold { format!("{name}_hot") } else { name },
                label: format!("{label}, running hot"),
                form: self.hot(form.clone(), raw, unit)?,
            });
        }
        if let Err(wrong) = form.check_independent(derived) {
            self.add(
                span,
                wrong.to_string(),
                "each dimension once, by itself or in a derived term",
                "measure the two apart, or write the requirement without one of them",
            );
            return None;
        }
        for made in &made {
            if let Err(wrong) = made.form.check() {
                let at = raw
                    .hot_limits
                    .as_ref()
                    .filter(|_| made.label != label)
                    .map_or(raw.limits.span(), Spanned::span);
                self.add(
                    &at,
                    wrong.to_string(),
                    "lower <= target <= upper",
                    "correct target and limits",
                );
                return None;
            }
        }
        Some(made)
    }

    /// The form with the values of the file.
    fn form(
        &mut self,
        (name, span): (&str, &Range<usize>),
        raw: &RequirementFile,
        unit: Unit,
        names: &Names,
    ) -> Option<Form> {
        let [low, high] = self.limits(&raw.limits)?.map(given);
        let form = match (&raw.terms, &raw.target, &raw.gasket, &raw.gap, &raw.allowance) {
            (Some(terms), Some(target), None, None, None) => {
                let terms = self.terms(terms, names);
                let target = self.length(target, unit);
                let [lower, upper] = [low, high].map(|end| if_given(end, |q| self.length(q, unit)));
                Form::Linear { terms: terms?, target: target?, lower: lower?, upper: upper? }
            }
            (None, None, Some(gasket), Some(gap), Some(allowance)) => {
                let index = names.packs.iter().position(|(p, _)| p == gasket.get_ref());
                if index.is_none() {
                    self.unknown(&gasket.span(), gasket.get_ref(), names);
                }
                let gap = self.terms(gap, names);
                let target = self.allowance(allowance);
                if low.is_none() {
                    self.add(
                        &raw.limits.span(),
                        "a gasket fill without a lower limit",
                        "the least allowance first: a gasket might be thinner than its gap",
                        "give it; only the upper limit may be \"none\"",
                    );
                }
                let [lower, upper] = [low, high].map(|end| if_given(end, |q| self.allowance(q)));
                Form::GasketFill {
                    gasket: index?,
                    gap: gap?,
                    target: target?,
                    lower: lower??,
                    upper: upper?,
                }
            }
            _ => {
                self.add(
                    span,
                    format!("the requirement `{name}` in neither of its two forms"),
                    "terms (or least_of, greatest_of), target and limits; or gasket, gap, allowance and limits",
                    "state one form whole",
                );
                return None;
            }
        };
        if let Form::GasketFill { gasket, gap, .. } = &form
            && gap.iter().any(|(term, _)| *term == Term::Pack(*gasket))
        {
            self.add(
                span,
                "a gasket in its own gap",
                "a gap of other terms",
                "take it out of the gap",
            );
            return None;
        }
        Some(form)
    }

    /// Whether it is asked with the pump cold, and running hot.
    fn asked(
        &mut self,
        (name, span): (&str, &Range<usize>),
        raw: &RequirementFile,
        form: &Form,
    ) -> Option<[bool; 2]> {
        let (cold, hot) = match raw.when.as_ref().map(|w| w.get_ref().as_str()) {
            None | Some("cold") => (true, false),
            Some("hot") => (false, true),
            Some("both") => (true, true),
            Some(other) => {
                let found = format!("`{other}`");
                let at = raw.when.as_ref().map_or(span.clone(), Spanned::span);
                self.add(&at, found, "cold, hot or both", "correct the word");
                return None;
            }
        };
        let grows = form.terms().any(|term| matches!(term, Term::Thermal(_)));
        if grows && !hot {
            self.add(
                span,
                format!("thermal terms in `{name}`, which is asked cold"),
                "thermal terms where the pump runs hot",
                "add when = \"hot\" or \"both\", or take the terms out",
            );
            return None;
        }
        let own_hot = [
            raw.hot_target.as_ref().map(Spanned::span),
            raw.hot_allowance.as_ref().map(Spanned::span),
            raw.hot_limits.as_ref().map(Spanned::span),
        ];
        if let Some(at) = own_hot.into_iter().flatten().next().filter(|_| !(cold && hot)) {
            self.add(
                &at,
                format!(
                    "a value of its own for running hot in `{name}`, which is not asked both ways"
                ),
                "target and limits of the one way it is asked",
                "add when = \"both\", or state them as target and limits",
            );
            return None;
        }
        Some([cold, hot])
    }

    /// The two ends of a pair.
    pub(super) fn limits<'q>(
        &mut self,
        limits: &'q Spanned<Vec<Spanned<Quantity>>>,
    ) -> Option<[&'q Spanned<Quantity>; 2]> {
        if let [low, high] = limits.get_ref().as_slice() {
            return Some([low, high]);
        }
        self.add(
            &limits.span(),
            "not two limits",
            "[lower, upper]",
            "give both; of a requirement, \"none\" stands for a missing one",
        );
        None
    }

    /// The form with the values for the hot running pump, where the file gives them.
    pub(super) fn hot(&mut self, form: Form, raw: &RequirementFile, unit: Unit) -> Option<Form> {
        let limits = match &raw.hot_limits {
            Some(limits) => Some(self.limits(limits)?.map(given)),
            None => None,
        };
        let (aim, other) = match form {
            Form::Linear { .. } => (&raw.hot_target, &raw.hot_allowance),
            Form::GasketFill { .. } => (&raw.hot_allowance, &raw.hot_target),
        };
        if let Some(other) = other {
            self.add(
                &other.span(),
                "a target of the other form",
                "hot_target beside terms, hot_allowance beside a gap",
                "correct the key",
            );
            return None;
        }
        match form {
            Form::Linear { terms, target, lower, upper } => {
                let mut of = |own, usual| match own {
                    Some(own) => if_given(own, |q| self.length(q, unit)),
                    None => Some(usual),
                };
                Some(Form::Linear {
                    terms,
                    target: of(aim.as_ref().map(Some), Some(target))??,
                    lower: of(limits.map(|[low, _]| low), lower)?,
                    upper: of(limits.map(|[_, high]| high), upper)?,
                })
            }
            Form::GasketFill { gasket, gap, target, lower, upper } => {
                let mut of = |own, usual| match own {
                    Some(own) => if_given(own, |q| self.allowance(q)),
                    None => Some(usual),
                };
                Some(Form::GasketFill {
                    gasket,
                    gap,
                    target: of(aim.as_ref().map(Some), Some(target))??,
                    lower: of(limits.and_then(|[low, _]| low).map(Some), Some(lower))??,
                    upper: of(limits.map(|[_, high]| high), upper)?,
                })
            }
        }
    }

    pub(super) fn terms(
        &mut self,
        raw: &BTreeMap<String, Spanned<Quantity>>,
        names: &Names,
    ) -> Option<Terms> {
        let mut in_order: Vec<_> = raw.iter().collect();
        in_order.sort_by_key(|(_, q)| q.span().start);
        let terms: Vec<Option<(Term, Millionths)>> = in_order
            .into_iter()
            .map(|(name, sensitivity)| {
                let term = names.term(name);
                if term.is_none() {
                    self.unknown(&sensitivity.span(), name, names);
                }
                let number = self.number(sensitivity);
                if number.is_some_and(|c| c.raw().abs() > 10_000_000) {
                    let found = format!("the sensitivity {}", sensitivity.get_ref().show());
                    let fix = "correct it; a sensitivity is 1 or -1 in most arrangements";
                    self.add(&sensitivity.span(), found, "a number from -10 to 10", fix);
                    return None;
                }
                Some((term?, number?))
            })
            .collect();
        terms.into_iter().collect()
    }
}
