//! Remarks on an answer: steps that are too long for the limits, and pieces without a cost.

use crate::forecast::Forecast;
use crate::length::Length;
use crate::model::{Form, Term, Terms};
use crate::pump::Pump;

use super::Coarse;
use super::patterns::Ways;

/// Longest step, as a part of a requirement's width. Our own choice, no source.
const PART: f64 = 5.0;

/// Pumps whose values are too far apart for one of their requirements.
#[allow(clippy::cast_precision_loss)]
pub(super) fn coarse(outlook: &Forecast, step: Length) -> Vec<Coarse> {
    let pumps = outlook.job().pumps.iter().zip(outlook.expected()).enumerate();
    pumps
        .filter_map(|(index, (pump, expected))| {
            let axes = expected.iter().enumerate();
            let axes = axes.filter_map(|(dimension, expected)| Some((dimension, (*expected)?)));
            let widths = axes.flat_map(|(dimension, expected)| {
                let apart = step.min(expected.high - expected.low).ticks() as f64;
                let forms = pump.requirements.iter().map(|requirement| &requirement.form);
                let widths = forms.filter_map(move |form| width(pump, form, dimension));
                widths.filter(move |width| apart * PART > *width)
            });
            let narrowest = widths.min_by(f64::total_cmp)?;
            #[allow(clippy::cast_possible_truncation)]
            let width = Length::from_ticks(narrowest as i64);
            Some(Coarse { pump: index, width })
        })
        .collect()
}

/// Range of a dimension between the limits of a requirement with the same pieces, in ticks; `None` where it
/// is not part of the requirement, or has a limit on one side only.
///
/// The gap of a gasket is taken without the part of its pieces, which can only make it narrower.
#[allow(clippy::cast_precision_loss)]
fn width(pump: &Pump, form: &Form, dimension: usize) -> Option<f64> {
    let (terms, between) = match form {
        Form::Linear { terms, lower, upper, .. } => (terms, ((*upper)? - (*lower)?).ticks() as f64),
        Form::GasketFill { gap, target, lower, upper, .. } => {
            let share = ((*upper)? - *lower).to_f64() / (1.0 + target.to_f64());
            (gap, measured(pump, gap) * share)
        }
    };
    let of_it = terms.iter().filter(|(term, _)| *term == Term::Dimension(dimension));
    let moves: f64 = of_it.map(|(_, times)| times.to_f64()).sum();
    (moves != 0.0 && between > 0.0).then(|| between / moves.abs())
}

/// Measured part of a sum, in ticks.
#[allow(clippy::cast_precision_loss)]
fn measured(pump: &Pump, terms: &Terms) -> f64 {
    let each = terms.iter().filter_map(|(term, times)| {
        let estimate = pump.estimate(*term)?;
        Some(estimate.value.ticks() as f64 * times.to_f64())
    });
    each.sum()
}

/// Items, ascending, that some pump may take and that cost nothing.
pub(super) fn free(ways: &Ways) -> Vec<usize> {
    let mut taken = vec![false; ways.price.len()];
    for &(item, _) in ways.classes.iter().flat_map(|class| class.iter()).flatten() {
        taken[usize::from(item)] = true;
    }
    (0..taken.len()).filter(|&item| taken[item] && ways.price[item] == 0).collect()
}
