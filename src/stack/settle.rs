//! Improvements that would prove a requirement whose nominal value lies within its limits: one more reading, a better
//! gauge, another lot measured.
//!
//! [`settle`] finds the least improvement of each kind, the cheapest kind first; [`improved`] gives the stack with an
//! improvement made. Values stay as they are: an improvement narrows what they may be off, and may move them when it is
//! really made.
//!
//! # Decisions
//!
//! - The order of the kinds (a reading costs minutes, a gauge a loan, a lot an afternoon) is common practice, no source.
//! - A figure asked of a gauge or a lot is one digit of the model's unit, rounded down: 0.0003 in, not 0.00037 in.

use std::cmp::Reverse;

use super::{Contributor, Coverage, ErrorSource, Evaluation, Guard, Stack, judge};
use crate::decimal::Millionths;
use crate::gauge::Certified;
use crate::length::{Length, Tolerance, Uncertainty, Unit};
use crate::model::{Combine, Requirement, Shape, Term};

/// One improvement of a stack; contributors are named by their index.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Improvement {
    /// So many more readings of a dimension, with the scatter as it is.
    Readings {
        /// Contributor.
        contributor: usize,
        /// Number of further readings.
        more: u32,
    },
    /// A gauge that reads a dimension to this plus/minus.
    Gauge {
        /// Contributor.
        contributor: usize,
        /// Plus/minus.
        within: Length,
    },
    /// A gauge that knows a dimension to this standard uncertainty.
    Standard {
        /// Contributor.
        contributor: usize,
        /// Standard uncertainty.
        standard: Length,
    },
    /// Certificate of a gauge with this expanded uncertainty, k = 2, for all that is measured with it.
    Certificate {
        /// Index of the error among the shared ones of the stack.
        shared: usize,
        /// Expanded uncertainty.
        expanded: Length,
    },
    /// Another lot of the pieces of an item, each known to this plus/minus.
    Lot {
        /// First contributor with pieces of the item.
        contributor: usize,
        /// Plus/minus of one piece.
        within: Length,
    },
}

/// Requirements that must hold together, and the rule that they are judged by.
#[derive(Debug, Clone, Copy)]
pub struct Asked<'a> {
    /// Requirements.
    pub requirements: &'a [Requirement],
    /// Guard of the acceptance rule.
    pub guard: Guard,
    /// Coverage of the policy: the worst case counts standard uncertainties with it.
    pub coverage: Coverage,
    /// Unit in which figures are plain.
    pub unit: Unit,
}

impl Asked<'_> {
    /// Whether every requirement is met.
    pub fn is_met(&self, stack: &Stack) -> bool {
        self.requirements.iter().all(|asked| judge(&asked.form, stack, self.guard).conforms())
    }
}

/// Most readings of a dimension that are asked for in all.
const MOST_READINGS: u32 = 20;

/// Least improvement of each kind that alone makes every requirement met, the cheapest kind first: readings, gauge,
/// lot. Of gauges and lots it is that of the largest contributor that can settle it alone; a gauge that several share
/// comes after those of single dimensions. Empty where none can.
pub fn settle(asked: &Asked<'_>, stack: &Stack) -> Vec<Improvement> {
    let order = largest_first(asked, stack);
    let gauge = gauge(asked, stack, &order).or_else(|| certificate(asked, stack));
    let found = [readings(asked, stack, &order), gauge, lot(asked, stack, &order)];
    found.into_iter().flatten().collect()
}

/// Contributors that a requirement depends on, the largest tolerance (times count and sensitivity) first.
fn largest_first(asked: &Asked<'_>, stack: &Stack) -> Vec<usize> {
    let weight = |part: &Contributor| -> i128 {
        let sides = asked.requirements.iter().flat_map(|r| [r.form.lower(), r.form.upper()]);
        let own =
            sides.flatten().flat_map(|side| side.terms).filter(|(term, _)| *term == part.term);
        let sensitivity = own.map(|(_, c)| i128::from(c.raw()).abs()).max().unwrap_or(0);
        let width = (part.tolerance.minus + part.tolerance.plus).ticks();
        sensitivity * i128::from(width) * i128::from(part.count)
    };
    let parts = stack.contributors.iter().enumerate();
    let mut order: Vec<(i128, usize)> = parts.map(|(at, part)| (weight(part), at)).collect();
    order.retain(|(weight, _)| *weight > 0);
    order.sort_by_key(|&(weight, at)| (-weight, at));
    order.into_iter().map(|(_, at)| at).collect()
}

fn readings(asked: &Asked<'_>, stack: &Stack, order: &[usize]) -> Option<Improvement> {
    let read = order.iter().filter(|&&at| {
        let part = &stack.contributors[at];
        // More readings may find a smaller least one: only a mean settles.
        let is_mean = matches!(
            part.evaluation,
            Evaluation::Readings { combine: Combine::Mean, .. }
                | Evaluation::Repeated { combine: Combine::Mean, .. }
        );
        is_mean && part.readings.len() > 1
    });
    let read: Vec<usize> = read.copied().collect();
    (1..MOST_READINGS).find_map(|more| {
        let mut each = read.iter().filter(|&&at| {
            stack.contributors[at].readings.len() + more as usize <= MOST_READINGS as usize
        });
        let settles = |contributor: usize| {
            let improvement = Improvement::Readings { contributor, more };
            asked.is_met(&improved(asked, stack, improvement)).then_some(improvement)
        };
        each.find_map(|&at| settles(at))
    })
}

fn gauge(asked: &Asked<'_>, stack: &Stack, order: &[usize]) -> Option<Improvement> {
    order.iter().find_map(|&contributor| {
        let part = &stack.contributors[contributor];
        let Term::Dimension(_) = part.term else {
            return None;
        };
        let within = |now: Tolerance| {
            let now = now.minus.max(now.plus);
            greatest(asked, stack, now, |within| Improvement::Gauge { contributor, within })
        };
        let standard = |now: Uncertainty| {
            let to = |standard| Improvement::Standard { contributor, standard };
            greatest(asked, stack, now.times_up(Millionths::ONE), to)
        };
        match part.evaluation {
            Evaluation::Within(_) => within(part.tolerance),
            Evaluation::Repeated { each, shape: Some(_), .. } => within(each),
            Evaluation::Standard => standard(part.standard_uncertainty),
            Evaluation::Repeated { standard: of_one, shape: None, .. } => standard(of_one),
            Evaluation::Readings { .. } | Evaluation::Growth(_) | Evaluation::Derived(_) => None,
        }
    })
}

fn certificate(asked: &Asked<'_>, stack: &Stack) -> Option<Improvement> {
    let mut gauges = stack.shared.iter().enumerate().collect::<Vec<_>>();
    gauges.retain(|(_, error)| matches!(error.source, ErrorSource::Gauge(_)));
    gauges.sort_by_key(|(at, error)| (Reverse(error.certified.extent), *at));
    gauges.into_iter().find_map(|(shared, error)| {
        let to = |expanded| Improvement::Certificate { shared, expanded };
        greatest(asked, stack, error.certified.extent, to)
    })
}

fn lot(asked: &Asked<'_>, stack: &Stack, order: &[usize]) -> Option<Improvement> {
    let first = |item: usize| stack.contributors.iter().position(|part| part.item == Some(item));
    let lots = order.iter().filter_map(|&at| first(stack.contributors[at].item?));
    lots.into_iter().find_map(|contributor| {
        let part = &stack.contributors[contributor];
        let now = part.tolerance.minus.max(part.tolerance.plus);
        greatest(asked, stack, now, |within| Improvement::Lot { contributor, within })
    })
}

/// Greatest plain figure below `now` with which every requirement is met.
fn greatest(
    asked: &Asked<'_>,
    stack: &Stack,
    now: Length,
    improvement: impl Fn(Length) -> Improvement,
) -> Option<Improvement> {
    let all = plain_below(now, asked.unit).into_iter().map(improvement);
    all.into_iter().find(|improvement| asked.is_met(&improved(asked, stack, *improvement)))
}

/// Figures of one digit in a unit (inch or millimetre) that are less than a length, the greatest first, down to a
/// millionth of the unit.
pub fn plain_below(length: Length, unit: Unit) -> Vec<Length> {
    let unit = unit.large().ticks();
    let mut figures = Vec::new();
    let mut digit = 100 * unit;
    while digit * 1_000_000 >= unit && digit > 0 {
        let here = (1..=9).rev().map(|n| Length::from_ticks(n * digit));
        figures.extend(here.filter(|figure| *figure < length));
        if digit % 10 != 0 {
            break;
        }
        digit /= 10;
    }
    figures
}

/// Stack with an improvement made.
pub fn improved(asked: &Asked<'_>, stack: &Stack, improvement: Improvement) -> Stack {
    let mut after = stack.clone();
    match improvement {
        Improvement::Readings { contributor, more } => {
            read_again(&mut after.contributors[contributor], more, asked.coverage);
        }
        Improvement::Gauge { contributor, within } => {
            better_gauge(&mut after.contributors[contributor], within);
        }
        Improvement::Standard { contributor, standard } => {
            let part = &mut after.contributors[contributor];
            smaller_uncertainty(part, standard.into(), asked.coverage);
        }
        Improvement::Certificate { shared, expanded } => {
            // Half of it, in femtometres.
            let standard = Uncertainty::from_raw(expanded.ticks().saturating_mul(50_000));
            let extent = asked.coverage.extent(standard, None);
            after.shared[shared].certified = Certified { standard, extent, freedom: None };
        }
        Improvement::Lot { contributor, within } => {
            let item = stack.contributors[contributor].item;
            for part in after.contributors.iter_mut().filter(|part| part.item == item) {
                part.tolerance = Tolerance::even(within);
                part.standard_uncertainty = Shape::Rectangular.standard_uncertainty(part.tolerance);
            }
        }
    }
    after
}

/// Distance of the farthest reading from the mean, which a range in the worst case must hold; zero of a single reading,
/// and of the least or the greatest of several.
fn farthest(part: &Contributor, combine: Combine) -> Length {
    let mean = part.nominal;
    let apart = part.readings.iter().map(|reading| (*reading - mean).abs());
    apart.max().filter(|_| combine == Combine::Mean).unwrap_or(Length::ZERO)
}

/// Squared standard deviation of readings about their mean, in femtometres squared, rounded up.
fn scatter(readings: &[Length]) -> i128 {
    let n = i128::try_from(readings.len()).unwrap_or(1);
    let ticks = || readings.iter().map(|reading| i128::from(reading.ticks()));
    let sum: i128 = ticks().sum();
    let squares = ticks().map(|one| (n * one - sum).saturating_pow(2));
    let squares = squares.fold(0_i128, i128::saturating_add).saturating_mul(10_000_000_000);
    let parts = n * n * (n - 1).max(1);
    squares.saturating_add(parts - 1) / parts
}

/// Uncertainty of a mean of `n` readings with this scatter, and its degrees of freedom: the scatter over n and the stated
/// uncertainty add up.
///
/// Source: JCGM 100:2008, 4.2.3 equation (5), 5.1.2 and G.4.1 (from memory).
#[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss)]
fn of_mean(
    scatter: i128,
    n: u32,
    (stated, freedom): (Uncertainty, Option<u32>),
) -> (Uncertainty, Option<u32>) {
    let own = i128::from(stated.raw()).pow(2);
    let all = scatter.saturating_add(own.saturating_mul(n.into()));
    let (a, b) = (scatter as f64 / f64::from(n), own as f64);
    let fourths = a * a / (f64::from(n) - 1.0).max(1.0)
        + freedom.map_or(0.0, |freedom| b * b / f64::from(freedom));
    let exact = (a + b).powi(2) / fourths * (1.0 + 1e-12);
    let freedom = (fourths > 0.0).then(|| exact.floor().clamp(1.0, 1e9) as u32);
    (Uncertainty::root_of(all, n.into()), freedom)
}

/// Number of readings, as it enters a mean.
fn number(part: &Contributor) -> u32 {
    u32::try_from(part.readings.len()).unwrap_or(u32::MAX)
}

fn better_gauge(part: &mut Contributor, within: Length) {
    let even = Tolerance::even(within);
    match part.evaluation {
        Evaluation::Repeated { shape: Some(shape), combine, .. } => {
            let own = shape.standard_uncertainty(even);
            // A gauge does not make readings agree that lie apart.
            part.tolerance = Tolerance::even(within + farthest(part, combine));
            let scatter = if combine == Combine::Mean { scatter(&part.readings) } else { 0 };
            let (standard, freedom) = of_mean(scatter, number(part), (own, None));
            (part.standard_uncertainty, part.degrees_of_freedom) = (standard, freedom);
        }
        _ => {
            let shape = match part.evaluation {
                Evaluation::Within(shape) => shape,
                _ => Shape::Rectangular,
            };
            part.tolerance = even;
            part.standard_uncertainty = shape.standard_uncertainty(even);
            part.degrees_of_freedom = None;
        }
    }
}

fn smaller_uncertainty(part: &mut Contributor, standard: Uncertainty, coverage: Coverage) {
    match part.evaluation {
        Evaluation::Repeated { freedom, combine, .. } => {
            let each = coverage.extent(standard, freedom);
            let scatter = if combine == Combine::Mean { scatter(&part.readings) } else { 0 };
            let (all, few) = of_mean(scatter, number(part), (standard, freedom));
            let extent = coverage.extent(all, few).max(each + farthest(part, combine));
            part.tolerance = Tolerance::even(extent);
            (part.standard_uncertainty, part.degrees_of_freedom) = (all, few);
        }
        _ => {
            part.standard_uncertainty = standard;
            let extent = coverage.extent(standard, part.degrees_of_freedom);
            part.tolerance = Tolerance::even(extent);
        }
    }
}

/// Counts a mean with more readings of the same scatter. What one reading may be off stays, and the range still holds the
/// farthest one.
fn read_again(part: &mut Contributor, more: u32, coverage: Coverage) {
    let farthest = farthest(part, Combine::Mean);
    let (least, stated, is_within) = match part.evaluation {
        Evaluation::Readings { resolution, .. } => {
            let square = i128::from(resolution.ticks()).pow(2).saturating_mul(10_000_000_000);
            let half = Length::from_ticks((resolution.ticks() + 1) / 2);
            (Tolerance::even(half), (Uncertainty::root_of(square, 12), None), false)
        }
        Evaluation::Repeated { each, shape, standard, freedom, .. } => {
            (each, (standard, freedom), shape.is_some())
        }
        _ => return,
    };
    let n = number(part).saturating_add(more);
    let (standard, freedom) = of_mean(scatter(&part.readings), n, stated);
    let extent = if is_within { Length::ZERO } else { coverage.extent(standard, freedom) };
    let side = |now: Length, each: Length| now.min(extent.max(farthest + each));
    part.tolerance = Tolerance {
        minus: side(part.tolerance.minus, least.minus),
        plus: side(part.tolerance.plus, least.plus),
    };
    (part.standard_uncertainty, part.degrees_of_freedom) = (standard, freedom);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Form;

    /// A dimension with readings about 1,000 ticks, held within `room` of it either way.
    fn case(readings: &[i64], standard: i64, room: i64) -> (Vec<Requirement>, Stack) {
        let length = Length::from_ticks;
        let coverage = Coverage::Factor(Millionths::from_raw(2_000_000));
        let freedom = u32::try_from(readings.len()).unwrap_or(0) - 1;
        let standard = Uncertainty::from_raw(standard);
        let part = Contributor {
            label: "Bare clearance".into(),
            term: Term::Dimension(0),
            item: None,
            count: 1,
            readings: readings.iter().map(|ticks| length(*ticks)).collect(),
            nominal: length(1_000),
            tolerance: Tolerance::even(standard.times_up(coverage.of_readings(freedom))),
            evaluation: Evaluation::Readings { resolution: Length::ZERO, combine: Combine::Mean },
            standard_uncertainty: standard,
            degrees_of_freedom: Some(freedom),
            lot: None,
        };
        let form = Form::Linear {
            terms: vec![(Term::Dimension(0), Millionths::ONE)],
            target: length(1_000),
            lower: Some(length(1_000 - room)),
            upper: Some(length(1_000 + room)),
        };
        let asked = Requirement { name: "r".into(), label: "R".into(), form };
        (vec![asked], Stack { contributors: vec![part], ..Stack::default() })
    }

    /// By hand: readings of 900, 1,000 and 1,100 ticks have s = 100. At 95.45 % Student's factors are 4.53, 3.31 and 2.87
    /// for 2, 3 and 4 degrees of freedom (JCGM 100:2008, table G.2, from memory), and 4.53 x 100 / root 3 = 261.3,
    /// 3.31 x 100 / 2 = 165.3, 2.87 x 100 / root 5 = 128.3. No number of readings brings it below the 100 of the farthest.
    #[test]
    fn as_many_more_readings_are_asked_for_as_it_takes() {
        for (room, more) in
            [(166, Some(1)), (165, Some(2)), (129, Some(2)), (128, Some(3)), (99, None)]
        {
            let (requirements, stack) = case(&[900, 1_000, 1_100], 5_773_503, room);
            let asked = Asked {
                requirements: &requirements,
                guard: Guard::WorstCase,
                coverage: Coverage::Factor(Millionths::from_raw(2_000_000)),
                unit: Unit::Millimetre,
            };
            let readings = more.map(|more| Improvement::Readings { contributor: 0, more });
            assert_eq!(settle(&asked, &stack), Vec::from_iter(readings), "{room}");
        }
    }

    #[test]
    fn plain_figures_have_one_digit_and_fall() {
        let thou = |n: i64| Length::from_ticks(n * 25_400);
        let below = plain_below(thou(25), Unit::Inch);
        assert_eq!(below[..4], [thou(20), thou(10), thou(9), thou(8)]);
        // A millionth of an inch is the last.
        assert_eq!(below.last(), Some(&Length::from_ticks(254)));
    }
}
