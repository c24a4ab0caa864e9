//! Stack-up of a requirement in figures for people: each contributor's effect; worst case, root sum square
//! and expanded uncertainty; the probability of conformity.
//!
//! [`report()`] makes the [`Report`]. The verdict comes from [`super::judge`], in whole numbers.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

use super::uncertainty::{Budget, budget};
use super::{Alike, Contributor, Coverage, Stack, worst_case};
use crate::length::Unit;
use crate::model::{Form, Side, Term, Terms, sensitivity};

/// Stack-up of one requirement; lengths in the unit asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Report {
    /// One line per contributor of the requirement, the largest in the worst case first, then one per shared error.
    pub lines: Vec<Contribution>,
    /// Nominal value: the linear form, or the free thickness of a gasket.
    pub value: f64,
    /// Target, on the scale of the value.
    pub target: f64,
    /// Figures at the lower limit and at the upper one.
    pub sides: [ReportSide; 2],
    /// Probability that both limits hold, for a value distributed normally about its middle, or as Student's
    /// t where there are effective degrees of freedom. Source: JCGM 106:2012, 7.4 equation (12), from memory.
    pub conforming: f64,
    /// Gap of a gasket fill, and the allowance reached on it.
    pub gap: Option<(f64, f64)>,
}

/// Figures at one limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReportSide {
    /// Limit, on the scale of the value; infinitely far away where there is none, like its room and margins.
    pub limit: f64,
    /// Worst case towards the limit.
    pub worst: f64,
    /// Root sum square of the half-widths, with the sensitivities at this limit; those of a gasket's gap
    /// differ between the two limits.
    pub root_sum_square: f64,
    /// Distance of the middle of the tolerances from the nominal value, towards the limit.
    pub middle: f64,
    /// Combined standard uncertainty.
    pub combined: f64,
    /// Effective degrees of freedom; `None` if infinite.
    pub degrees_of_freedom: Option<f64>,
    /// Coverage factor.
    pub factor: f64,
    /// Level of confidence of that factor.
    pub level: f64,
    /// Expanded uncertainty.
    pub expanded: f64,
    /// Distance of the limit from the nominal value.
    pub room: f64,
    /// Probability that the value lies beyond the limit, as in [`Report::conforming`].
    pub beyond: f64,
}

impl ReportSide {
    /// Figures of the lower side for `at` 0, of the upper one for 1, where there is no limit.
    fn without_limit(self, at: usize) -> ReportSide {
        let limit = if at == 0 { f64::NEG_INFINITY } else { f64::INFINITY };
        ReportSide { limit, room: f64::INFINITY, beyond: 0.0, ..self }
    }

    /// Whether there is a limit.
    pub fn has_limit(&self) -> bool {
        self.limit.is_finite()
    }

    /// Guard of the expanded rule; never less than zero.
    pub fn clear(&self) -> f64 {
        (self.expanded + self.middle).max(0.0)
    }

    /// Margin after the worst case.
    pub fn margin_worst(&self) -> f64 {
        self.room - self.worst
    }

    /// Margin after a half-width about the middle.
    pub fn margin_of(&self, half: f64) -> f64 {
        self.room - self.middle - half
    }

    /// Margin after the expanded uncertainty.
    pub fn margin_expanded(&self) -> f64 {
        self.room - self.clear()
    }
}

/// Figures of one contributor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contribution {
    /// Index among the contributors; those of the shared errors follow them.
    pub contributor: usize,
    /// Sensitivity of the value.
    pub sensitivity: f64,
    /// Sensitivity of the gap that the value is compared with.
    pub in_gap: f64,
    /// Sensitivity at the lower limit and at the upper one.
    pub at: [f64; 2],
    /// Worst-case move of the value down and up, neither negative.
    pub moves: [f64; 2],
    /// Part of the squared combined standard uncertainty at either limit.
    pub variance: [f64; 2],
    /// Share of the sum of all worst-case moves.
    pub share_of_worst: f64,
    /// Share of the squared combined standard uncertainty.
    pub share_of_variance: f64,
    /// Largest minus and plus of one of its pieces with the worst case still within the limits and everything
    /// else unchanged; `None` where even zero would be too much, infinite where no limit is that way.
    pub largest: [Option<f64>; 2],
    /// Largest standard uncertainty of one of its pieces with the expanded uncertainty still clear of the
    /// limits and everything else unchanged; `None` where even zero would be too much, and where the coverage
    /// factor would change with it.
    pub largest_standard: Option<f64>,
}

/// Works out the stack-up of a requirement.
///
/// Sources: worst case and root sum square are common practice; standard uncertainties by JCGM 100:2008,
/// 5.1.2 and 5.2.2, degrees of freedom by its G.4.1 (clauses from memory). The root sum square assumes
/// contributors that are independent, centred and of similar size.
///
/// ```
/// use gapwright::decimal::Millionths;
/// use gapwright::length::{Length, Tolerance, Unit};
/// use gapwright::model::{Form, Shape, Term};
/// use gapwright::stack::{Contributor, Coverage, Evaluation, Stack, report};
/// let mm = |text: &str| Length::parse(text, Some(Unit::Millimetre)).unwrap();
/// let part = |term, nominal: &str, within: &str| Contributor {
///     label: String::new(), term, item: None, count: 1, readings: vec![], nominal: mm(nominal),
///     tolerance: Tolerance::even(mm(within)), evaluation: Evaluation::Within(Shape::Rectangular),
///     standard_uncertainty: Shape::Rectangular.standard_uncertainty(Tolerance::even(mm(within))), degrees_of_freedom: None, lot: None,
/// };
/// let (gap, pack) = (Term::Dimension(0), Term::Pack(0));
/// let stack = Stack {
///     contributors: vec![part(gap, "1.70", "0.03"), part(pack, "1.20", "0.04")],
///     ..Stack::default()
/// };
/// let form = Form::Linear {
///     terms: vec![(gap, Millionths::ONE), (pack, Millionths::from_raw(-1_000_000))],
///     target: mm("0.5"), lower: Some(mm("0.4")), upper: Some(mm("0.6")),
/// };
/// let two = Coverage::Factor(Millionths::from_raw(2_000_000));
/// let report = report(&form, &stack, two, Unit::Millimetre);
/// assert!((report.sides[0].margin_worst() - 0.03).abs() < 1e-12);
/// assert!((report.sides[0].root_sum_square - 0.05).abs() < 1e-12);
/// // The pack is the larger contributor: 16 of 25 parts of the variance.
/// assert!((report.lines[0].share_of_variance - 0.64).abs() < 1e-9);
/// // It could have 0.04 + 0.03 either way.
/// assert!((report.lines[0].largest[0].unwrap() - 0.07).abs() < 1e-12);
/// ```
pub fn report(form: &Form, stack: &Stack, coverage: Coverage, unit: Unit) -> Report {
    let target = form.target();
    let limits = [form.lower(), form.upper()];
    let has_limit = limits.each_ref().map(Option::is_some);
    // Without a limit its side has the figures at the target.
    let faces = limits.map(|face| face.unwrap_or_else(|| target.clone()));
    let value = worst_case(&form.value(), stack).nominal.to_f64(unit);
    let gap = match form {
        Form::Linear { .. } => None,
        Form::GasketFill { gap, .. } => Some(worst_case(gap, stack).nominal.to_f64(unit)),
    };
    let budgets = faces.each_ref().map(|face| budget(&face.terms, stack));
    let sides = [0, 1].map(|at| side((&faces[at], at), value, stack, &budgets[at], coverage, unit));
    let sides =
        [0, 1].map(|at| if has_limit[at] { sides[at] } else { sides[at].without_limit(at) });
    // A factor that follows from the degrees of freedom changes with every contributor.
    let few = sides.iter().any(|side| side.degrees_of_freedom.is_some());
    let moving = few && matches!(coverage, Coverage::Level(_));
    let mut lines = lines(form, &faces, stack, &sides, moving, unit);
    // Shared errors keep their places behind the contributors.
    let own = lines.iter().position(|line| line.contributor >= stack.contributors.len());
    let own = own.unwrap_or(lines.len());
    lines[..own].sort_by(|a, b| b.share_of_worst.total_cmp(&a.share_of_worst));
    let off_target =
        worst_case(&target.terms, stack).nominal.to_f64(unit) - target.bound.to_f64(unit);
    Report {
        value,
        target: value - off_target,
        conforming: (1.0 - sides[0].beyond - sides[1].beyond).max(0.0),
        gap: gap.map(|gap| (gap, if gap == 0.0 { 0.0 } else { value / gap - 1.0 })),
        lines,
        sides,
    }
}

fn weight(terms: &Terms, of: Term) -> f64 {
    sensitivity(terms, of).to_f64()
}

/// Figures at one limit: the lower one for `at` 0, the upper one for 1.
fn side(
    (face, at): (&Side, usize),
    value: f64,
    stack: &Stack,
    budget: &Budget,
    coverage: Coverage,
    unit: Unit,
) -> ReportSide {
    let sum = worst_case(&face.terms, stack);
    let above = sum.nominal.to_f64(unit) - face.bound.to_f64(unit);
    let uneven = sum.asymmetry.to_f64(unit) / 2.0;
    let (room, worst, middle) = match at {
        0 => (above, sum.below, -uneven),
        _ => (-above, sum.above, uneven),
    };
    let halves = stack.contributors.iter().map(|part| {
        let width = (part.tolerance.minus + part.tolerance.plus).to_f64(unit);
        f64::from(part.count) * (weight(&face.terms, part.term) * width / 2.0).powi(2)
    });
    let shared = stack.shared.iter().map(|error| {
        let extent = error.certified.extent.to_f64(unit);
        (millionths(stack.weight(&face.terms, error)) * extent).powi(2)
    });
    let combined = budget.root() / unit_ticks(unit);
    let freedom = budget.degrees_of_freedom();
    let factor = coverage.exact(freedom);
    ReportSide {
        limit: value - above,
        worst: worst.to_f64(unit),
        root_sum_square: halves.chain(shared).sum::<f64>().sqrt(),
        middle,
        combined,
        degrees_of_freedom: budget.exact_freedom(),
        factor,
        level: coverage.level(freedom),
        expanded: factor * combined,
        room,
        beyond: if combined > 0.0 {
            beyond((room - middle) / combined, freedom)
        } else if room < middle {
            1.0
        } else {
            0.0
        },
    }
}

/// Probability beyond `distance` standard uncertainties.
fn beyond(distance: f64, freedom: Option<u32>) -> f64 {
    let freedom = freedom.map(|freedom| f64::from(freedom.min(1_000)));
    match freedom.and_then(|freedom| StudentsT::new(0.0, 1.0, freedom).ok()) {
        Some(student) => student.sf(distance),
        None => Normal::standard().sf(distance),
    }
}

#[allow(clippy::cast_precision_loss)]
fn unit_ticks(unit: Unit) -> f64 {
    unit.ticks() as f64
}

/// Lines of a requirement: of its contributors, then of the errors that they share.
fn lines(
    form: &Form,
    faces: &[Side; 2],
    stack: &Stack,
    sides: &[ReportSide; 2],
    moving: bool,
    unit: Unit,
) -> Vec<Contribution> {
    let value = form.value();
    let none = Terms::new();
    let gap = match form {
        Form::Linear { .. } => &none,
        Form::GasketFill { gap, .. } => gap,
    };
    let enters = |part: &Contributor| form.terms().any(|term| term == part.term);
    let own = stack.contributors.iter().enumerate().filter(|(_, part)| enters(part));
    let own = own.map(|(index, part)| Line {
        contributor: index,
        count: f64::from(part.count),
        sensitivity: [&value, gap].map(|terms| weight(terms, part.term)),
        at: faces.each_ref().map(|face| weight(&face.terms, part.term)),
        within: [part.tolerance.minus, part.tolerance.plus].map(|t| t.to_f64(unit)),
        standard: part.standard_uncertainty.to_f64(unit),
        ties: faces.each_ref().map(|face| ties(stack, index, &face.terms, unit)),
        moved: [0, 1].map(|side| apart_of_lot(stack, index, &faces[side].terms, side, unit)),
    });
    let shared = stack.shared.iter().enumerate();
    let shared = shared.filter(|(_, error)| {
        error.members.iter().filter_map(|&at| stack.contributors.get(at)).any(enters)
    });
    let shared = shared.map(|(index, error)| {
        let count = |terms: &Terms| millionths(stack.weight(terms, error));
        let at = faces.each_ref().map(|face| count(&face.terms));
        let extent = error.certified.extent.to_f64(unit);
        Line {
            contributor: stack.contributors.len() + index,
            count: 1.0,
            sensitivity: [count(&value), count(gap)],
            at,
            within: [extent, extent],
            standard: error.certified.standard.to_f64(unit),
            ties: at.map(|c| Ties { square: c * c, cross: 0.0 }),
            moved: [0.0, 0.0],
        }
    });
    let mut lines: Vec<Contribution> =
        own.chain(shared).map(|line| line.contribution(sides, moving)).collect();
    let moved: f64 = lines.iter().flat_map(|line| line.moves).sum();
    let varied: f64 = lines.iter().flat_map(|line| line.variance).sum();
    let share = |own: f64, all: f64| if all > 0.0 { own / all } else { 0.0 };
    for line in &mut lines {
        line.share_of_worst = share(line.moves.iter().sum(), moved);
        line.share_of_variance = share(line.variance.iter().sum(), varied);
    }
    lines
}

#[allow(clippy::cast_precision_loss)]
fn millionths(raw: i128) -> f64 {
    raw as f64 / 1e6
}

/// Share of a contributor in the squared combined standard uncertainty, `square u^2 + cross u / 2`, in its own
/// standard uncertainty u; the sum changes with u by `square u^2 + cross u`.
#[derive(Debug, Clone, Copy)]
struct Ties {
    square: f64,
    cross: f64,
}

/// Ties of a contributor with those of its lot and those that it is correlated with.
fn ties(stack: &Stack, index: usize, terms: &Terms, unit: Unit) -> Ties {
    let part = &stack.contributors[index];
    let c = weight(terms, part.term);
    let count = |part: &Contributor| f64::from(part.count) * weight(terms, part.term);
    let own = count(part);
    let mates = |counts: &dyn Fn(f64) -> bool| -> f64 {
        let mates = lot_mates(stack, index).map(|mate| (count(mate), mate.standard_uncertainty));
        mates.filter(|(count, _)| counts(*count)).map(|(count, u)| count * u.to_f64(unit)).sum()
    };
    let (square, cross) = match part.lot.map(|lot| lot.alike) {
        None => (own * c, 0.0),
        Some(Alike::AtWorst) => (own * own, 2.0 * own * mates(&|other| own * other > 0.0)),
        Some(Alike::Share(share)) => {
            let share = share.to_f64().powi(2);
            (own * c * (1.0 - share) + own * own * share, 2.0 * own * share * mates(&|_| true))
        }
    };
    Ties { square, cross: cross + cross_correlated(stack, part, terms, unit) }
}

/// Other contributors of the same lot.
fn lot_mates(stack: &Stack, index: usize) -> impl Iterator<Item = &Contributor> {
    let own = stack.contributors[index].lot.map(|lot| lot.lot);
    let others = stack.contributors.iter().enumerate().filter(move |(at, _)| *at != index);
    others.map(|(_, part)| part).filter(move |part| own.is_some() && part.lot.map(|l| l.lot) == own)
}

/// Worst-case effect of a contributor, towards the lower limit for `side` 0, less its effect if the error that it has
/// in common with its lot did not cancel between opposed signs.
fn apart_of_lot(stack: &Stack, index: usize, terms: &Terms, side: usize, unit: Unit) -> f64 {
    let part = &stack.contributors[index];
    let Some(Alike::Share(share)) = part.lot.map(|lot| lot.alike) else {
        return 0.0;
    };
    let count = |part: &Contributor| f64::from(part.count) * weight(terms, part.term);
    let own = count(part);
    let all = own + lot_mates(stack, index).map(count).sum::<f64>();
    let within = [part.tolerance.minus, part.tolerance.plus].map(|t| t.to_f64(unit));
    let hurts = |c: f64| within[if (c > 0.0) == (side == 0) { 0 } else { 1 }];
    let joint = if all == 0.0 { 0.0 } else { own * all.signum() * hurts(all) };
    share.to_f64() * (joint - own.abs() * hurts(own))
}

/// Line of a requirement before its figures.
struct Line {
    contributor: usize,
    count: f64,
    /// Sensitivity of the value and of the gap.
    sensitivity: [f64; 2],
    at: [f64; 2],
    within: [f64; 2],
    standard: f64,
    ties: [Ties; 2],
    moved: [f64; 2],
}

impl Line {
    fn contribution(&self, sides: &[ReportSide; 2], moving: bool) -> Contribution {
        // Minus or plus: the one that moves the value down, and the one that moves it up.
        let moves = [0, 1].map(|side| {
            let hurts = if (self.at[side] > 0.0) == (side == 0) { 0 } else { 1 };
            self.count * self.at[side].abs() * self.within[hurts] + self.moved[side]
        });
        let u = self.standard;
        Contribution {
            contributor: self.contributor,
            sensitivity: self.sensitivity[0],
            in_gap: self.sensitivity[1],
            at: self.at,
            moves,
            variance: self.ties.map(|ties| ties.square * u * u + ties.cross * u / 2.0),
            share_of_worst: 0.0,
            share_of_variance: 0.0,
            largest: self.largest(sides),
            largest_standard: if moving { None } else { self.largest_standard(sides) },
        }
    }

    fn largest(&self, sides: &[ReportSide; 2]) -> [Option<f64>; 2] {
        // Minus counts at the lower limit where the sensitivity is positive, otherwise at the upper.
        [0, 1].map(|edge| {
            let side = if (self.at[edge] > 0.0) == (edge == 0) { 0 } else { 1 };
            if self.at[side] == 0.0 {
                return None;
            }
            let room = sides[side].margin_worst() / (self.count * self.at[side].abs());
            none_below(self.within[edge] + room)
        })
    }

    /// Larger root of the quadratic in the contributor's own standard uncertainty that the expanded rule leaves; its
    /// ties make the linear term.
    fn largest_standard(&self, sides: &[ReportSide; 2]) -> Option<f64> {
        let own = self.standard;
        let mut least = f64::INFINITY;
        for (side, Ties { square, cross }) in sides.iter().zip(self.ties) {
            if square == 0.0 {
                continue;
            }
            let reach = side.room - side.middle;
            let rest = side.combined.powi(2) - square * own * own - cross * own;
            let left = (reach / side.factor).powi(2) - rest;
            let under = cross * cross + 4.0 * square * left;
            if side.room < 0.0 || reach < 0.0 || under < 0.0 {
                return None;
            }
            least = least.min((under.sqrt() - cross) / (2.0 * square));
        }
        Some(least).filter(|least| least.is_finite()).and_then(none_below)
    }
}

/// Part of the squared combined standard uncertainty due to the correlations of a contributor, per unit of
/// its own standard uncertainty.
fn cross_correlated(stack: &Stack, part: &Contributor, terms: &Terms, unit: Unit) -> f64 {
    let c = weight(terms, part.term);
    let mut sum = 0.0;
    for pair in &stack.correlations {
        let [a, b] = pair.between;
        let other = match part.term {
            term if term == a => b,
            term if term == b => a,
            _ => continue,
        };
        if let Some(other) = stack.contributors.iter().find(|part| part.term == other) {
            let moved = weight(terms, other.term) * other.standard_uncertainty.to_f64(unit);
            sum += 2.0 * pair.coefficient.to_f64() * c * moved;
        }
    }
    sum
}

/// A length of zero or more; `None` for a negative one, beyond the last digits of a float.
fn none_below(length: f64) -> Option<f64> {
    (length > -5e-13).then_some(length.max(0.0))
}
