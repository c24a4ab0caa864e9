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
use super::{Alike, Contributor, Coverage, Derivation, Evaluation, SharedError, Stack};
use crate::decimal::Millionths;
use crate::length::{Length, Tolerance, Unit};
use crate::model::{self, Combine, DerivedRule, Form, Shape, Terms};
use crate::narrow::narrow;
use crate::pump::Growth;
use crate::stock::Lot;

/// Draws a requirement: the linear form in `unit`, or the allowance that a gasket fill reaches.
///
/// Every contributor follows the distribution of its own shape. A plus/minus is the width of that
/// distribution, about the middle of its two sides. A stated standard uncertainty is normal; the mean of
/// readings follows Student's t. Every piece is drawn by itself, or with its lot as far as they err alike; an error
/// that several contributors share is drawn once. Growth is a product of length, expansion and temperature difference. Correlated contributors are drawn together and
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
        let of = match &part.evaluation {
            Evaluation::Derived(derivation) => derivation.of.as_slice(),
            _ => std::slice::from_ref(*part),
        };
        enters && of.iter().any(has_no_deviation)
    });
    let few = few.map(|part| &part.label).or_else(|| {
        let known = |freedom: Option<u32>| freedom.is_some_and(|freedom| freedom <= 2);
        let mut shared = shared_of(form, stack).filter(|(error, _)| known(error.certified.freedom));
        shared.next().map(|(error, _)| &error.label)
    });
    if let Some(label) = few {
        return Err(Undrawn::FewReadings(label.clone()));
    }
    let [_, lower, upper] = form.stated(unit);
    let limits = [lower.unwrap_or(f64::NEG_INFINITY), upper.unwrap_or(f64::INFINITY)];
    let plan = DrawOptions { limits: Some(limits), ..plan.clone() };
    super::monte_carlo::run(&draw(form, stack, unit), &plan).map_err(Undrawn::Faults)
}

/// Whether the distribution of a contributor has no standard deviation.
fn has_no_deviation(part: &Contributor) -> bool {
    match part.evaluation {
        Evaluation::Readings { .. } => part.readings.len() < 4,
        Evaluation::Standard => part.degrees_of_freedom.is_some_and(|f| f <= 2),
        _ => false,
    }
}

/// Contributor of a requirement whose distribution has so few degrees of freedom (three or fewer) that the standard
/// uncertainty of draws never settles: four readings, or stated degrees of freedom. The fourth moment of Student's
/// distribution is infinite up to four of them; with five readings it settles slowly.
pub fn few_readings<'a>(form: &Form, stack: &'a Stack) -> Option<&'a str> {
    let few = stack.contributors.iter().find(|part| {
        let of = match &part.evaluation {
            Evaluation::Derived(derivation) => derivation.of.as_slice(),
            _ => std::slice::from_ref(*part),
        };
        form.terms().any(|term| term == part.term) && of.iter().any(never_settles)
    });
    few.map(|part| part.label.as_str())
}

fn never_settles(part: &Contributor) -> bool {
    match part.evaluation {
        Evaluation::Readings { .. } | Evaluation::Repeated { .. } => part.readings.len() <= 4,
        Evaluation::Standard => part.degrees_of_freedom.is_some_and(|freedom| freedom <= 3),
        _ => false,
    }
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
    let mut sources = Sources { unit, list: Vec::new(), alike: Vec::new() };
    let mut joint = Vec::new();
    let enters = |part: &Contributor| form.terms().any(|term| term == part.term);
    let mut drawn: Vec<(&Contributor, Drawn)> = Vec::new();
    let groups = together(stack);
    for part in stack.contributors.iter().filter(|part| enters(part)) {
        let tied = groups.iter().any(|group| group.contains(&part.term));
        let own = if tied { sources.normal(part) } else { sources.add(part, is_up(form, part)) };
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
    let shared: Vec<_> = shared_of(form, stack)
        .map(|(error, _)| {
            let sd = error.certified.standard.to_f64(unit);
            let law = match error.certified.freedom {
                Some(dof) => Law::Student { scale: sd, dof },
                None => Law::Normal { sd },
            };
            (error, sources.push(0.0, law))
        })
        .collect();
    let sum = |terms: &Terms| {
        let own = drawn
            .iter()
            .flat_map(|(part, drawn)| drawn.terms(model::sensitivity(terms, part.term).to_f64()));
        let shared = shared.iter().map(|(error, source)| DrawTerm {
            factor: count(stack.weight(terms, error)),
            of: smallvec![*source],
            over: smallvec![],
        });
        let shared = shared.filter(|term| term.factor != 0.0);
        Sum { constant: 0.0, terms: own.chain(shared).collect() }
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

/// Shared errors that enter a requirement, each with one of its members.
fn shared_of<'a>(
    form: &'a Form,
    stack: &'a Stack,
) -> impl Iterator<Item = (&'a SharedError, &'a Contributor)> {
    stack.shared.iter().filter_map(move |error| {
        let mut members = error.members.iter().filter_map(|&member| stack.contributors.get(member));
        let enters = |part: &&Contributor| form.terms().any(|term| term == part.term);
        members.find(enters).map(|member| (error, member))
    })
}

/// Whether more of a contributor makes the value larger.
fn is_up(form: &Form, part: &Contributor) -> bool {
    model::sensitivity(&form.target().terms, part.term) > Millionths::ZERO
}

#[allow(clippy::cast_precision_loss)]
fn count(millionths: i128) -> f64 {
    millionths as f64 / 1e6
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
    /// Sources whose sum divides each of them.
    over: SmallVec<[usize; 2]>,
    factor: f64,
    /// Source that all of its pieces have in common, and their number.
    alike: Option<(usize, f64)>,
}

impl Drawn {
    fn terms(&self, weight: f64) -> Vec<DrawTerm> {
        if weight == 0.0 {
            return Vec::new();
        }
        let own = self.own.iter().map(|of| DrawTerm {
            factor: weight * self.factor,
            of: of.clone(),
            over: self.over.clone(),
        });
        let alike = self.alike.map(|(source, count)| DrawTerm {
            factor: weight * count,
            of: smallvec![source],
            over: smallvec![],
        });
        own.chain(alike).collect()
    }
}

struct Sources {
    unit: Unit,
    list: Vec<Source>,
    /// Sources that the pieces of a lot have in common; of opposed signs where nothing is stated, each has its own.
    alike: Vec<((Lot, Option<bool>), usize)>,
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
        Drawn { own: vec![smallvec![source]], over: smallvec![], factor: 1.0, alike: None }
    }

    fn add(&mut self, part: &Contributor, is_up: bool) -> Drawn {
        let mean = self.middle(part);
        // Expansions are in millionths per kelvin.
        let factor = if matches!(part.evaluation, Evaluation::Growth(_)) { 1e-6 } else { 1.0 };
        let own = match &part.evaluation {
            Evaluation::Growth(growth) => vec![self.growth(growth)],
            Evaluation::Readings { resolution, combine } => {
                let (scale, dof) = scatter(&part.readings, *combine, self.unit);
                let source = self.push(mean, Law::Student { scale, dof });
                let half = resolution.to_f64(self.unit) / 2.0;
                let read = self.push(0.0, Law::Rectangular { half });
                vec![smallvec![source], smallvec![read]]
            }
            Evaluation::Repeated { each, shape, standard, freedom, combine } => {
                let law = self.law((*each, *shape), standard.to_f64(self.unit), *freedom);
                let middle = part.nominal.to_f64(self.unit) + uneven(*each, self.unit);
                let source = self.push(middle, law);
                let scattered = self.scattered(&part.readings, *combine);
                std::iter::once(source).chain(scattered).map(|source| smallvec![source]).collect()
            }
            Evaluation::Derived(derivation) => return self.derived(derivation),
            Evaluation::Within(_) | Evaluation::Standard => return self.pieces(part, is_up),
        };
        Drawn { own, over: smallvec![], factor, alike: None }
    }

    /// Pieces, each by itself as far as it does not err with its lot.
    fn pieces(&mut self, part: &Contributor, is_up: bool) -> Drawn {
        let mean = self.middle(part);
        let (share, key) = match part.lot.map(|of| (of.lot, of.alike)) {
            None => (0.0, None),
            Some((lot, Alike::AtWorst)) => (1.0, Some((lot, Some(is_up)))),
            Some((lot, Alike::Share(share))) => (share.to_f64(), Some((lot, None))),
        };
        let law = |part_of: f64| {
            let shape = match part.evaluation {
                Evaluation::Within(shape) => Some(shape),
                _ => None,
            };
            let standard = part.standard_uncertainty.to_f64(self.unit);
            self.law((part.tolerance, shape), standard, part.degrees_of_freedom).scaled(part_of)
        };
        let (apart, common) = (law((1.0 - share * share).max(0.0).sqrt()), law(share));
        // Wholly alike: nothing is left to draw for each.
        let (pieces, factor) = if (share - 1.0).abs() < f64::EPSILON {
            (1, f64::from(part.count))
        } else {
            (part.count, 1.0)
        };
        let own = (0..pieces).map(|_| smallvec![self.push(mean, apart)]).collect();
        let alike = key.filter(|_| share > 0.0).map(|key| {
            let known = self.alike.iter().find(|(known, _)| *known == key);
            let source = known.map(|(_, source)| *source).unwrap_or_else(|| {
                let source = self.push(0.0, common);
                self.alike.push((key, source));
                source
            });
            (source, f64::from(part.count))
        });
        Drawn { own, over: smallvec![], factor, alike }
    }

    /// Product or quotient of two dimensions, each a sum of its sources.
    fn derived(&mut self, derivation: &Derivation) -> Drawn {
        let [first, second] = derivation.of.each_ref().map(|part| self.add(part, true).own);
        let (own, over, factor) = match derivation.rule {
            DerivedRule::Product { per } => {
                let pairs = first
                    .iter()
                    .flat_map(|a| second.iter().map(|b| a.iter().chain(b).copied().collect()));
                (pairs.collect(), smallvec![], 1.0 / per.to_f64(self.unit))
            }
            DerivedRule::Quotient { times } => {
                let over = second.into_iter().flatten().collect();
                (first, over, times.to_f64(self.unit))
            }
        };
        Drawn { own, over, factor, alike: None }
    }

    /// Scatter of the mean of several readings whose own uncertainty is stated; nothing where they are all alike.
    ///
    /// Student's distribution of two or three readings has no standard deviation. In its place stands the normal
    /// distribution with the same 95 % range: our own choice, no source.
    fn scattered(&mut self, readings: &[Length], combine: Combine) -> Option<usize> {
        let (scale, dof) = scatter(readings, combine, self.unit);
        if combine != Combine::Mean || scale <= 0.0 {
            return None;
        }
        let law = match dof {
            3.. => Law::Student { scale, dof },
            _ => {
                let level = Coverage::Level(Millionths::from_raw(950_000));
                let wider = level.exact(Some(dof)) / level.exact(None);
                Law::Normal { sd: scale * wider }
            }
        };
        Some(self.push(0.0, law))
    }

    /// Law of one value: within a tolerance, or of a stated standard uncertainty.
    fn law(
        &self,
        (within, shape): (Tolerance, Option<Shape>),
        sd: f64,
        freedom: Option<u32>,
    ) -> Law {
        let half = (within.minus + within.plus).to_f64(self.unit) / 2.0;
        match (shape, freedom) {
            (Some(Shape::Rectangular), _) => Law::Rectangular { half },
            (Some(Shape::Triangular), _) => Law::Triangular { half },
            (Some(Shape::UShaped), _) => Law::UShaped { half },
            (Some(Shape::Trapezoid { top }), _) => Law::Trapezoid { half, top: top.to_f64() },
            (Some(Shape::TruncatedNormal { cut }), _) => {
                Law::TruncatedNormal { half, cut: cut.to_f64() }
            }
            // A standard uncertainty with few degrees of freedom follows Student's t.
            (None, Some(dof)) => Law::Student { scale: sd, dof },
            (Some(Shape::Normal), _) | (None, None) => Law::Normal { sd },
        }
    }

    /// Middle of the tolerance of one piece.
    fn middle(&self, part: &Contributor) -> f64 {
        part.nominal.to_f64(self.unit) + uneven(part.tolerance, self.unit)
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

/// Standard uncertainty of readings combined, from their scatter alone, and its degrees of freedom.
#[allow(clippy::cast_precision_loss)]
fn scatter(readings: &[Length], combine: Combine, unit: Unit) -> (f64, u32) {
    let n = readings.len() as f64;
    let values: Vec<f64> = readings.iter().map(|r| r.to_f64(unit)).collect();
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    let few = narrow::<u32>(readings.len().saturating_sub(1));
    let shared_by = if combine == Combine::Mean { n } else { 1.0 };
    ((squares / (n - 1.0) / shared_by).sqrt(), few)
}

/// Distance of the middle of a tolerance above its nominal value.
fn uneven(tolerance: Tolerance, unit: Unit) -> f64 {
    let [minus, plus] = [tolerance.minus, tolerance.plus].map(|t| t.to_f64(unit));
    (plus - minus) / 2.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decimal::Millionths;
    use crate::gauge::Certified;
    use crate::length::Uncertainty;
    use crate::model::{Correlation, Shape};
    use crate::stack::{Alike, ErrorSource, OfLot, SharedError, report};
    use crate::stock::Lot;

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
        let lot = Lot::Item(0);
        pieces.lot = Some(OfLot { lot, alike: Alike::Share(Millionths::from_raw(600_000)) });
        let standard = Uncertainty::from(Length::from_ticks(1_500));
        let mean = SharedError {
            label: String::new(),
            source: ErrorSource::Mean(lot),
            members: vec![2],
            certified: Certified { standard, ..Certified::default() },
        };
        let stack = Stack {
            contributors: vec![
                part(terms[0], 1_000_000, 5_000, Shape::UShaped),
                part(terms[1], 300_000, 4_000, Shape::Triangular),
                pieces,
            ],
            shared: vec![mean],
            correlations: vec![Correlation {
                between: [terms[0], terms[1]],
                coefficient: Millionths::from_raw(-400_000),
            }],
        };
        let one = Millionths::ONE;
        let form = Form::Linear {
            terms: vec![(terms[0], one), (terms[1], one), (terms[2], one)],
            target: Length::from_ticks(2_100_000),
            lower: Some(Length::from_ticks(2_081_000)),
            upper: Some(Length::from_ticks(2_095_000)),
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
            ..Stack::default()
        };
        let form = Form::GasketFill {
            gasket: 0,
            gap: vec![(gap, Millionths::ONE)],
            target: Millionths::from_raw(500_000),
            lower: Millionths::from_raw(500_000),
            upper: Some(Millionths::from_raw(900_000)),
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
        read.evaluation = Evaluation::Readings { resolution, combine: Combine::Mean };
        let stack = Stack { contributors: vec![read], ..Stack::default() };
        let form = Form::Linear {
            terms: vec![(term, Millionths::ONE)],
            target: Length::from_ticks(1_000_000),
            lower: Some(Length::ZERO),
            upper: Some(Length::from_ticks(2_000_000)),
        };
        let outcome = simulate(&form, &stack, Unit::Micrometre, &DrawOptions::default()).unwrap();
        // In thousands of ticks (0.1 um): (16 + 4 + 0 + 0 + 4 + 16) / 5 / 6 x 5/3 + 16 / 12.
        let exact = (40.0 / 5.0 / 6.0 * 5.0 / 3.0 + 16.0 / 12.0_f64).sqrt() / 10.0;
        assert!((outcome.standard - exact).abs() < 2.0 * outcome.tolerance);
        assert_eq!(few_readings(&form, &stack), None);
        // Of four the standard uncertainty never settles; three have no standard deviation to draw.
        let mut few = stack;
        few.contributors[0].readings.truncate(4);
        assert!(few_readings(&form, &few).is_some());
        few.contributors[0].readings.truncate(3);
        let refused = simulate(&form, &few, Unit::Micrometre, &DrawOptions::default());
        assert!(matches!(refused, Err(Undrawn::FewReadings(_))));
    }
}
