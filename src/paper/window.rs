//! The range of a reading at the bench, where a requirement is asked hot.

use crate::decimal::Millionths;
use crate::length::{Fine, Length, Unit};
use crate::model::{Form, Term, Terms};
use crate::recheck::shared;
use crate::stack::{Stack, worst_case};

/// The cold readings with which a requirement that is asked hot lies within its limits.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum ColdWindow {
    Between([Option<Length>; 2]),
    /// The growth is known less well than the limits are wide.
    Empty,
}

impl ColdWindow {
    fn of([low, high]: [Option<Length>; 2]) -> ColdWindow {
        match low.zip(high) {
            Some((low, high)) if low > high => ColdWindow::Empty,
            _ => ColdWindow::Between([low, high]),
        }
    }

    /// The readings that lie in both.
    pub(crate) fn both(self, other: ColdWindow) -> ColdWindow {
        match (self, other) {
            (ColdWindow::Between(one), ColdWindow::Between(other)) => {
                ColdWindow::of(shared(one, other))
            }
            _ => ColdWindow::Empty,
        }
    }
}

/// The hot limits of a linear form less the nominal growth, narrowed on either side by what the growth
/// takes at worst, whatever the rule: cut inwards to a tenth of the places that the trade writes.
/// `None` of a gasket, and where nothing but growth enters.
pub(crate) fn cold_window(form: &Form, parts: &Stack, unit: Unit) -> Option<ColdWindow> {
    let Form::Linear { terms, lower, upper, .. } = form else {
        return None;
    };
    let is_growth = |(term, _): &(Term, Millionths)| matches!(term, Term::Thermal(_));
    let (growth, cold): (Terms, Terms) = terms.iter().copied().partition(is_growth);
    if cold.is_empty() {
        return None;
    }
    let growth = worst_case(&growth, parts);
    let low = lower.map(|lower| Fine::from(lower) - growth.nominal + growth.below);
    let high = upper.map(|upper| Fine::from(upper) - growth.nominal - growth.above);
    Some(ColdWindow::of(inwards([low, high], unit)))
}

/// Cut inwards to a tenth of the places that the trade writes; an end beyond any length is missing.
pub(crate) fn inwards([low, high]: [Option<Fine>; 2], unit: Unit) -> [Option<Length>; 2] {
    let step = unit.ticks() / 10_i64.pow(unit.places() + 1);
    let whole = 1_000_000 * i128::from(step);
    let length = |steps: i128| Some(Length::from_ticks(i64::try_from(steps).ok()? * step));
    let low = low.and_then(|low| length(-(-low.raw()).div_euclid(whole)));
    let high = high.and_then(|high| length(high.raw().div_euclid(whole)));
    [low, high]
}
