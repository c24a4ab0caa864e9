//! The range of a reading at the bench, where a requirement is asked hot.

use crate::decimal::Millionths;
use crate::length::{Fine, Length, Unit};
use crate::model::{Form, Term, Terms};
use crate::stack::{Stack, worst_case};

/// The cold readings with which a requirement that is asked hot lies within its limits.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Window {
    Between(Length, Length),
    /// The growth is known less well than the limits are wide.
    Empty,
}

impl Window {
    /// The readings that lie in both.
    pub(super) fn both(self, other: Window) -> Window {
        match (self, other) {
            (Window::Between(a, b), Window::Between(c, d)) if a.max(c) <= b.min(d) => {
                Window::Between(a.max(c), b.min(d))
            }
            _ => Window::Empty,
        }
    }
}

/// The hot limits of a linear form less the nominal growth, narrowed on either side by what the growth
/// takes at worst, whatever the rule: cut inwards to a tenth of the places that the trade writes.
/// `None` of a gasket, and where nothing but growth enters.
pub(super) fn cold_window(form: &Form, parts: &Stack, unit: Unit) -> Option<Window> {
    let Form::Linear { terms, lower, upper, .. } = form else {
        return None;
    };
    let is_growth = |(term, _): &(Term, Millionths)| matches!(term, Term::Thermal(_));
    let (growth, cold): (Terms, Terms) = terms.iter().copied().partition(is_growth);
    if cold.is_empty() {
        return None;
    }
    let growth = worst_case(&growth, parts);
    let low = Fine::from(*lower) - growth.nominal + growth.below;
    let high = Fine::from(*upper) - growth.nominal - growth.above;
    let [low, high] = inwards([low, high], unit)?;
    Some(match low <= high {
        true => Window::Between(low, high),
        false => Window::Empty,
    })
}

/// Cut inwards to a tenth of the places that the trade writes.
pub(super) fn inwards([low, high]: [Fine; 2], unit: Unit) -> Option<[Length; 2]> {
    let step = unit.ticks() / 10_i64.pow(unit.places() + 1);
    let whole = 1_000_000 * i128::from(step);
    let length = |steps: i128| Some(Length::from_ticks(i64::try_from(steps).ok()? * step));
    let low = length(-(-low.raw()).div_euclid(whole))?;
    let high = length(high.raw().div_euclid(whole))?;
    Some([low, high])
}
