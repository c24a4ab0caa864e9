//! Monte Carlo of a requirement: the distribution of each contributor.
//!
//! # Decision
//!
//! Correlated contributors are drawn as normal, and named: their joint law is not known (JCGM 101:2008, 6.4.8).

use itertools::Itertools;
use smallvec::{SmallVec, smallvec};

use super::monte_carlo::{
    DrawError, DrawModel, DrawOptions, DrawTerm, Joint, Law, Measurand, Outcome, Source, Sum,
};
use super::{Contributor, Coverage, Evaluation, Stack};
use crate::length::{Length, Tolerance, Unit};
use crate::model::{self, Form, Terms};
use crate::narrow::narrow;
use crate::pump::Growth;
use crate::stock::Lot;

/// Draws a requirement: the linear form in `unit`, or the allowance that a gasket fill reaches.
///
/// Every contributor follows the distribution of its own shape. A plus/minus is the width of that
/// distribution, about the middle of its two sides. A stated standard uncertainty is normal; the mean of
/// readings follows Student's t. Every piece is drawn by itself, the error of its lot once per lot. Growth is
/// a product of length, expansion and temperature difference. Correlated contributors are drawn together and
/// taken as normal (JCGM 101:2008, 6.4.8, from memory).
///
/// `plan` gives the settings of the draws; its limits are replaced by those of the requirement.
///
/// # Errors
/// Reason that it cannot be drawn: a gap that is never above zero, or a dimension with so few readings that
/// its distribution has no standard deviation.
pub fn simulate(
    form: &Form,
    stack: &Stack,
    unit: Unit,
    plan: &DrawOptions,
) -> Result<Outcome, Undrawn> {
    let few = stack.contributors.iter().find(|part| {
        let enters = form.terms().any(|term| term == part.term);
        let readings =
            matches!(part.evaluation, Evaluation::Readings { .. }) && part.readings.len() < 4;
        let stated = part.evaluation == Evaluation::Standard
            && part.degrees_of_freedom.is_some_and(|f| f <= 2);
        enters && (readings || stated)
    });
    if let Some(part) = few {
        return Err(Undrawn::FewReadings(part.label.clone()));
    }
    let [_, lower, upper] = form.stated(unit);
    let plan = DrawOptions { limits: Some([lower, upper]), ..plan.clone() };
    super::monte_carlo::run(&draw(form, stack, unit), &plan).map_err(Undrawn::Faults)
}

/// Contributor of a requirement whose distribution has so few degrees of freedom (three or fewer) that the standard
/// uncertainty of draws never settles: four readings, or stated degrees of freedom. The fourth moment of Student's
/// distribution is infinite up to four; with four, five readings, it settles slowly.
pub fn few_readings<'a>(form: &Form, stack: &'a Stack) -> Option<&'a str> {
    let few = stack.contributors.iter().find(|part| {
        let enters = form.terms().any(|term| term == part.term);
        let known = matches!(part.evaluation, Evaluation::Readings { .. } | Evaluation::Standard);
        enters && known && part.degrees_of_freedom.is_some_and(|freedom| freedom <= 3)
    });
    few.map(|part| part.label.as_str())
}

/// Level of the intervals of draws: the level of the coverage factor, but at most 99.73 %, beyond which the
/// ends of an interval take more draws than anyone waits for.
pub fn level_of_draws(coverage: Coverage) -> f64 {
    coverage.level(None).clamp(0.5, 0.9973)
}

/// Reason that a requirement was not drawn.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Undrawn {
    /// The distribution of so few readings has no standard deviation. Source: JCGM 101:2008, 6.4.9 (from
    /// memory).
    #[error(
        "`{0}` is known by too few readings: their distribution has no standard deviation; take five or more"
    )]
    FewReadings(String),
    /// Errors in the model or the plan of the draws.
    #[error("{}", .0.iter().join("; "))]
    Faults(Vec<DrawError>),
}

/// Contributors of a requirement that are drawn as normal, against their own shape, because they are
/// correlated.
pub fn taken_as_normal<'a>(form: &'a Form, stack: &'a Stack) -> impl Iterator<Item = &'a str> {
    let tied = |part: &&Contributor| {
        let enters = form.terms().any(|term| term == part.term);
        let mut pairs = stack.correlations.iter();
        enters && pairs.any(|pair| pair.between.contains(&part.term))
    };
    stack.contributors.iter().filter(tied).map(|part| part.label.as_str())
}

/// Requirement as a model of the engine.
fn draw(form: &Form, stack: &Stack, unit: Unit) -> DrawModel {
    let (value, gap) = match form {
        Form::Linear { terms, .. } => (terms.clone(), None),
        Form::GasketFill { gap, .. } => (form.value(), Some(gap.clone())),
    };
    let mut sources = Sources { unit, list: Vec::new(), lots: Vec::new() };
    let mut joint = Vec::new();
    let enters = |part: &Contributor| form.terms().any(|term| term == part.term);
    let mut drawn: Vec<(&Contributor, Drawn)> = Vec::new();
    let groups = together(stack);
    for part in stack.contributors.iter().filter(|part| enters(part)) {
        let tied = groups.iter().any(|group| group.contains(&part.term));
        let own = if tied { sources.normal(part) } else { sources.add(part) };
        drawn.push((part, own));
    }
    for group in groups {
        let members: Vec<(model::Term, usize)> = drawn
            .iter()
            .filter(|(part, _)| group.contains(&part.term))
            .filter_map(|(part, drawn)| Some((part.term, *drawn.own.first()?.first()?)))
            .collect();
        if members.len() < 2 {
            continue;
        }
        let r = |a: model::Term, b: model::Term| {
            if a == b {
                return 1.0;
            }
            let mut pairs = stack.correlations.iter();
            let pair = pairs.find(|pair| pair.between == [a, b] || pair.between == [b, a]);
            pair.map_or(0.0, |pair| pair.coefficient.to_f64())
        };
        joint.push(Joint {
            members: members.iter().map(|(_, source)| *source).collect(),
            correlation: members
                .iter()
                .map(|(a, _)| members.iter().map(|(b, _)| r(*a, *b)).collect())
                .collect(),
        });
    }
    let sum = |terms: &Terms| Sum {
        constant: 0.0,
        terms: drawn
            .iter()
            .flat_map(|(part, drawn)| drawn.terms(model::sensitivity(terms, part.term).to_f64()))
            .collect(),
    };
    DrawModel {
        measurand: match gap {
            None => Measurand::Sum(sum(&value)),
            Some(gap) => Measurand::Ratio { free: sum(&value), gap: sum(&gap) },
        },
        sources: sources.list,
        joint,
    }
}

/// Terms joined by correlations, group by group.
fn together(stack: &Stack) -> Vec<Vec<model::Term>> {
    let mut groups: Vec<Vec<model::Term>> = Vec::new();
    for pair in &stack.correlations {
        let (mut tied, apart): (Vec<_>, Vec<_>) = groups
            .into_iter()
            .partition(|group| pair.between.iter().any(|term| group.contains(term)));
        tied.push(pair.between.to_vec());
        groups = apart;
        groups.push(tied.into_iter().flatten().unique().collect());
    }
    groups
}

/// Sources of a contributor.
struct Drawn {
    /// Product of sources for each piece.
    own: Vec<SmallVec<[usize; 3]>>,
    factor: f64,
    /// Source of its lot's error, and the number of pieces that share it.
    lot: Option<(usize, f64)>,
}

impl Drawn {
    fn terms(&self, weight: f64) -> Vec<DrawTerm> {
        if weight == 0.0 {
            return Vec::new();
        }
        let own =
            self.own.iter().map(|of| DrawTerm { factor: weight * self.factor, of: of.clone() });
        let lot = self
            .lot
            .map(|(source, count)| DrawTerm { factor: weight * count, of: smallvec![source] });
        own.chain(lot).collect()
    }
}

struct Sources {
    unit: Unit,
    list: Vec<Source>,
    /// Sources of the errors shared by lots.
    lots: Vec<(Lot, usize)>,
}

impl Sources {
    fn push(&mut self, mean: f64, law: Law) -> usize {
        self.list.push(Source { mean, law });
        self.list.len() - 1
    }

    /// Contributor that is correlated with others.
    fn normal(&mut self, part: &Contributor) -> Drawn {
        let sd = part.standard_uncertainty.to_f64(self.unit);
        let source = self.push(self.middle(part), Law::Normal { sd });
        Drawn { own: vec![smallvec![source]], factor: 1.0, lot: None }
    }

    fn add(&mut self, part: &Contributor) -> Drawn {
        let mut factor = 1.0;
        let own = match &part.evaluation {
            Evaluation::Growth(growth) => {
                // Expansions are in millionths per kelvin.
                factor = 1e-6;
                vec![self.growth(growth)]
            }
            Evaluation::Readings { resolution } => {
                let mean = self.middle(part);
                let (scale, dof) = scatter(&part.readings, self.unit);
                let source = self.push(mean, Law::Student { scale, dof });
                let half = resolution.to_f64(self.unit) / 2.0;
                let read = self.push(0.0, Law::Rectangular { half });
                return Drawn { own: vec![smallvec![source], smallvec![read]], factor, lot: None };
            }
            known => {
                let law = self.law(part, known);
                let mean = self.middle(part);
                (0..part.count).map(|_| smallvec![self.push(mean, law)]).collect()
            }
        };
        let lot = part.lot.map(|error| {
            let known = self.lots.iter().find(|(lot, _)| *lot == error.lot);
            let source = known.map(|(_, source)| *source).unwrap_or_else(|| {
                let sd = error.standard_uncertainty.to_f64(self.unit);
                let source = self.push(0.0, Law::Normal { sd });
                self.lots.push((error.lot, source));
                source
            });
            (source, f64::from(part.count))
        });
        Drawn { own, factor, lot }
    }

    fn law(&self, part: &Contributor, known: &Evaluation) -> Law {
        let half = half(part.tolerance, self.unit);
        let sd = part.standard_uncertainty.to_f64(self.unit);
        match (known, part.degrees_of_freedom) {
            (Evaluation::Within(model::Shape::Rectangular), _) => Law::Rectangular { half },
            (Evaluation::Within(model::Shape::Triangular), _) => Law::Triangular { half },
            (Evaluation::Within(model::Shape::UShaped), _) => Law::UShaped { half },
            // A standard uncertainty with few degrees of freedom follows Student's t.
            (Evaluation::Standard, Some(dof)) => Law::Student { scale: sd, dof },
            _ => Law::Normal { sd },
        }
    }

    /// Middle of the tolerance of one piece.
    fn middle(&self, part: &Contributor) -> f64 {
        let [minus, plus] =
            [part.tolerance.minus, part.tolerance.plus].map(|t| t.to_f64(self.unit));
        part.nominal.to_f64(self.unit) + (plus - minus) / 2.0
    }

    fn growth(&mut self, growth: &Growth) -> SmallVec<[usize; 3]> {
        let thermal = &growth.thermal;
        let warmer = thermal.running.to_f64() - thermal.cold.to_f64();
        [
            (thermal.length.to_f64(self.unit), thermal.length_within.to_f64(self.unit)),
            (thermal.expansion.value.to_f64(), thermal.expansion.within.to_f64()),
            (warmer, thermal.temperature_within.to_f64()),
        ]
        .into_iter()
        .map(|(mean, half)| self.push(mean, Law::Rectangular { half }))
        .collect()
    }
}

/// Standard uncertainty of the mean of readings from their scatter alone, and its degrees of freedom.
#[allow(clippy::cast_precision_loss)]
fn scatter(readings: &[Length], unit: Unit) -> (f64, u32) {
    let n = readings.len() as f64;
    let values: Vec<f64> = readings.iter().map(|r| r.to_f64(unit)).collect();
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    let few = narrow::<u32>(readings.len().saturating_sub(1));
    ((squares / (n - 1.0) / n).sqrt(), few)
}

fn half(tolerance: Tolerance, unit: Unit) -> f64 {
    (tolerance.minus + tolerance.plus).to_f64(unit) / 2.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decimal::Millionths;
    use crate::length::Uncertainty;
    use crate::model::{Correlation, Shape};
    use crate::stack::{LotError, report};

    fn part(term: model::Term, nominal: i64, within: i64, shape: Shape) -> Contributor {
        let tolerance = Tolerance::even(Length::from_ticks(within));
        Contributor {
            label: String::new(),
            term,
            item: None,
            count: 1,
            readings: vec![],
            nominal: Length::from_ticks(nominal),
            tolerance,
            evaluation: Evaluation::Within(shape),
            standard_uncertainty: shape.standard_uncertainty(tolerance),
            degrees_of_freedom: None,
            lot: None,
        }
    }

    /// Lots, correlations, shapes and asymmetric sides count alike in the draws and in the report: mean and
    /// standard deviation agree, and so do the probabilities where the sum is nearly normal.
    #[test]
    fn the_draws_agree_with_the_report() {
        let terms = [model::Term::Dimension(0), model::Term::Dimension(1), model::Term::Pack(0)];
        let mut pieces = part(terms[2], 200_000, 3_000, Shape::Rectangular);
        pieces.count = 4;
        pieces.tolerance = Tolerance { minus: Length::from_ticks(6_000), plus: Length::ZERO };
        pieces.standard_uncertainty = Shape::Rectangular.standard_uncertainty(pieces.tolerance);
        pieces.lot = Some(LotError {
            lot: Lot::Item(0),
            standard_uncertainty: Uncertainty::from(Length::from_ticks(1_500)),
        });
        let stack = Stack {
            contributors: vec![
                part(terms[0], 1_000_000, 5_000, Shape::UShaped),
                part(terms[1], 300_000, 4_000, Shape::Triangular),
                pieces,
            ],
            correlations: vec![Correlation {
                between: [terms[0], terms[1]],
                coefficient: Millionths::from_raw(-400_000),
            }],
        };
        let one = Millionths::ONE;
        let form = Form::Linear {
            terms: vec![(terms[0], one), (terms[1], one), (terms[2], one)],
            target: Length::from_ticks(2_100_000),
            lower: Length::from_ticks(2_081_000),
            upper: Length::from_ticks(2_095_000),
        };
        let two = Coverage::Factor(Millionths::from_raw(2_000_000));
        let expected = report(&form, &stack, two, Unit::Micrometre);
        let outcome = simulate(&form, &stack, Unit::Micrometre, &DrawOptions::default()).unwrap();
        assert!(outcome.settled);
        let side = expected.sides[0];
        let middle = expected.value - side.middle;
        assert!((outcome.mean - middle).abs() < 2.0 * outcome.tolerance);
        assert!((outcome.standard - side.combined).abs() < 2.0 * outcome.tolerance);
        let conformity = outcome.conformity.unwrap();
        assert!((conformity.below - expected.sides[0].beyond).abs() < 0.01);
        assert!((conformity.above - expected.sides[1].beyond).abs() < 0.01);
        assert!(conformity.below > 0.005 && conformity.above > 0.05);
    }

    /// A gasket of 1.5 times its gap reaches an allowance of one half for any gap.
    #[test]
    fn a_gasket_fill_is_drawn_as_its_allowance() {
        let gap = model::Term::Dimension(0);
        let gasket = model::Term::Pack(0);
        let stack = Stack {
            contributors: vec![
                part(gap, 1_000_000, 30_000, Shape::Rectangular),
                part(gasket, 1_500_000, 0, Shape::Rectangular),
            ],
            correlations: vec![],
        };
        let form = Form::GasketFill {
            gasket: 0,
            gap: vec![(gap, Millionths::ONE)],
            target: Millionths::from_raw(500_000),
            lower: Millionths::from_raw(500_000),
            upper: Millionths::from_raw(900_000),
        };
        let outcome = simulate(&form, &stack, Unit::Millimetre, &DrawOptions::default()).unwrap();
        // By hand: the mean of 1.5 / x over 0.97 to 1.03 is 1.5 ln(1.03 / 0.97) / 0.06, less one.
        let exact = 1.5 * (1.03_f64 / 0.97).ln() / 0.06 - 1.0;
        assert!((outcome.mean - exact).abs() < 1e-4, "{}", outcome.mean);
        // Half of the gaps are wider than nominal.
        assert!((outcome.conformity.unwrap().below - 0.5).abs() < 0.005);
    }

    /// Six readings and the resolution of their gauge: the mean follows Student's t, whose variance is 5/3 of
    /// the squared scatter, and the resolution adds a twelfth of its square.
    #[test]
    fn readings_are_drawn_with_their_scatter_and_their_gauge() {
        let term = model::Term::Dimension(0);
        let mut read = part(term, 1_000_000, 0, Shape::Normal);
        read.readings = [996, 998, 1_000, 1_000, 1_002, 1_004]
            .map(|thousand| Length::from_ticks(thousand * 1_000))
            .to_vec();
        let resolution = Length::from_ticks(4_000);
        read.evaluation = Evaluation::Readings { resolution };
        let stack = Stack { contributors: vec![read], correlations: vec![] };
        let form = Form::Linear {
            terms: vec![(term, Millionths::ONE)],
            target: Length::from_ticks(1_000_000),
            lower: Length::ZERO,
            upper: Length::from_ticks(2_000_000),
        };
        let outcome = simulate(&form, &stack, Unit::Micrometre, &DrawOptions::default()).unwrap();
        // In thousands of ticks (0.1 um): (16 + 4 + 0 + 0 + 4 + 16) / 5 / 6 x 5/3 + 16 / 12.
        let exact = (40.0 / 5.0 / 6.0 * 5.0 / 3.0 + 16.0 / 12.0_f64).sqrt() / 10.0;
        assert!((outcome.standard - exact).abs() < 2.0 * outcome.tolerance);
        // Three readings have no standard deviation to draw.
        let mut few = stack;
        few.contributors[0].readings.truncate(3);
        let refused = simulate(&form, &few, Unit::Micrometre, &DrawOptions::default());
        assert!(matches!(refused, Err(Undrawn::FewReadings(_))));
    }
}
