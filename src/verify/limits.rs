//! Check of the limits: every error of a sum is listed again, piece by piece, and nothing is shared with the code that
//! chose or reported.

use std::collections::BTreeMap;

use super::{MILLION, nominal, nominal_sum};
use crate::decimal::Millionths;
use crate::gauge::Certified;
use crate::job::Job;
use crate::length::Tolerance;
use crate::model::{Form, Term};
use crate::narrow::narrow;
use crate::plan::PackPick;
use crate::policy::Acceptance;
use crate::pump::Pump;
use crate::stack::Alike;
use crate::stock::Size;

/// Whether a requirement is met under an acceptance rule.
pub(super) fn hold(
    job: &Job,
    pump: &Pump,
    packs: &[PackPick],
    form: &Form,
    acceptance: Acceptance,
) -> bool {
    sides(job, pump, packs, form).iter().all(|(weights, distance)| {
        let Some(errors) = Errors::of(job, pump, packs, weights) else {
            return false;
        };
        match acceptance {
            Acceptance::Nominal => *distance >= 0,
            // A dimension whose limits lie on one side is never the stated one: the range decides, not the distance.
            Acceptance::WorstCase => errors.worst().is_some_and(|worst| *distance >= worst),
            Acceptance::Expanded => *distance >= 0 && errors.clears(job, *distance),
        }
    })
}

/// Limit of a requirement as a row over the totals of the places, in millionths of a tick: it is missed where
/// `at_best + sum of weight x total` less the least errors of the pieces is negative by more than rounding, and kept where
/// `at_worst + ...` less their greatest errors is positive by more.
pub(super) struct Row {
    /// Distance to the limit with empty places, after the least that the errors of the pump's own values can come to.
    pub(super) at_best: i128,
    /// That distance after the most; `None` where that is not known without the kit.
    pub(super) at_worst: Option<i128>,
    /// Weight of the total of each place, in millionths.
    pub(super) weights: Vec<i128>,
}

/// Rows of a pump; `None` where its errors are too large to be counted: no kit is proven then.
pub(super) fn rows(job: &Job, pump: &Pump) -> Option<Vec<Row>> {
    let limits = pump.requirements.iter().flat_map(|r| sides(job, pump, &[], &r.form));
    let row = |(weights, distance): Limit| {
        let errors = Errors::of(job, pump, &[], &weights)?;
        let (least, most) = match job.policy.acceptance {
            Acceptance::Nominal => (0, Some(0)),
            Acceptance::WorstCase => {
                let shared = errors.together.values();
                let shared = shared.map(|one| one.weight.abs() * one.range[0].max(one.range[1]));
                let most = errors.range + shared.sum::<i128>();
                (errors.range.div_euclid(MILLION), Some(most.div_euclid(MILLION) + 1))
            }
            Acceptance::Expanded => (0, None),
        };
        let of_place = |place: usize| {
            let mine = weights.iter().filter(|(term, _)| *term == Term::Pack(place));
            mine.map(|(_, weight)| weight).sum()
        };
        Some(Row {
            at_best: distance - least,
            at_worst: most.map(|most| distance - most),
            weights: (0..pump.fits.len()).map(of_place).collect(),
        })
    };
    limits.map(row).collect()
}

/// Least and greatest error of one piece below its thickness, and above it, in ticks.
pub(super) fn errors_of_piece(job: &Job, size: Size) -> [[i64; 2]; 2] {
    let common = match size.alike.map_or(job.policy.alike, Alike::Share) {
        Alike::AtWorst => 0,
        Alike::Share(share) => i128::from(share.raw()),
    };
    let shared = [size.uncertainty, size.gauge.map(|gauge| gauge.certified)];
    let shared: i64 = shared.into_iter().flatten().map(|one| one.extent.ticks()).sum();
    [size.tolerance.minus, size.tolerance.plus].map(|side| {
        let least = (i128::from(side.ticks()) * (MILLION - common)).div_euclid(MILLION);
        match job.policy.acceptance {
            Acceptance::WorstCase => [narrow(least), side.ticks() + shared],
            Acceptance::Nominal | Acceptance::Expanded => [0, 0],
        }
    })
}

/// Weights of the terms, in millionths, and a distance in millionths of a tick.
type Limit = (Vec<(Term, i128)>, i128);

/// Each limit as weights of the terms, so that more is better, and the distance to it.
fn sides(job: &Job, pump: &Pump, packs: &[PackPick], form: &Form) -> Vec<Limit> {
    match form {
        Form::Linear { terms, lower, upper, .. } => {
            let value = nominal_sum(job, pump, packs, terms);
            let up: Vec<_> = terms.iter().map(|(t, c)| (*t, c.raw().into())).collect();
            let down = up.iter().map(|(t, c): &(Term, i128)| (*t, -c)).collect();
            let lower = lower.map(|l| (up, value - i128::from(l.ticks()) * MILLION));
            let upper = upper.map(|u| (down, i128::from(u.ticks()) * MILLION - value));
            lower.into_iter().chain(upper).collect()
        }
        Form::GasketFill { gasket, gap, lower, upper, .. } => {
            let free = nominal(job, pump, packs, Term::Pack(*gasket));
            let wide = nominal_sum(job, pump, packs, gap);
            let allowances = [(Some(*lower), 1), (*upper, -1)].into_iter();
            let side = |(allowance, sign): (Option<Millionths>, i128)| {
                let grown = MILLION + i128::from(allowance?.raw());
                let mut weights = vec![(Term::Pack(*gasket), sign * MILLION)];
                weights.extend(
                    gap.iter().map(|(t, c)| (*t, -sign * grown * i128::from(c.raw()) / MILLION)),
                );
                let beyond = sign * (free * MILLION * MILLION - grown * wide);
                Some((weights, beyond.div_euclid(MILLION)))
            };
            allowances.filter_map(side).collect()
        }
    }
}

/// Reason that several values err together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Together {
    /// Pieces of one lot and one sign, where nothing is stated: the lot (cut from plate or not), and whether more of
    /// them is better.
    OneSign(bool, usize, bool),
    /// Stated share of the tolerance of a lot.
    Alike(bool, usize),
    /// Measured mean of a lot.
    Mean(bool, usize),
    Gauge(usize),
}

/// Error common to several values: the sum of their weights, its size and its range.
struct Common {
    weight: i128,
    standard: i128,
    /// Below and above, in millionths of a tick.
    range: [i128; 2],
    freedom: Option<u32>,
}

/// Errors of a sum.
#[derive(Default)]
struct Errors {
    /// Weight times standard uncertainty of each error that comes alone, in millionths of a femtometre.
    alone: Vec<i128>,
    together: BTreeMap<Together, Common>,
    /// Cross terms of the model's correlations.
    crossed: i128,
    fourths: f64,
    /// Worst case of what comes alone, in millionths of a millionth of a tick.
    range: i128,
    /// Twice the distance of the middle of the tolerances above the nominal sum, in millionths of a tick.
    uneven: i128,
}

impl Errors {
    /// Errors of a sum; `None` if they are too large to be counted.
    fn of(job: &Job, pump: &Pump, packs: &[PackPick], weights: &[(Term, i128)]) -> Option<Errors> {
        let mut errors = Errors::default();
        let mut total: BTreeMap<Term, i128> = BTreeMap::new();
        for (term, weight) in weights {
            *total.entry(*term).or_default() += weight;
        }
        let mut measured: BTreeMap<Term, i128> = BTreeMap::new();
        for (&term, &weight) in &total {
            let (tolerance, standard, freedom) = match term {
                Term::Dimension(index) => {
                    let one = &pump.dimensions[index];
                    if let Some(of) = one.gauge {
                        errors.join_even(Together::Gauge(of.gauge), weight, of.certified)?;
                    }
                    (one.tolerance, one.standard, one.freedom)
                }
                Term::Thermal(_) | Term::Derived(_) => {
                    let one = pump.estimate(term)?;
                    (one.tolerance, one.standard, one.freedom)
                }
                Term::Pack(index) => {
                    for pick in packs.get(index).iter().flat_map(|pack| &pack.picks) {
                        errors.pieces(job, pick.item, pick.count, weight)?;
                    }
                    continue;
                }
            };
            errors.lone_range(weight, tolerance, MILLION)?;
            let moved = errors.lone(weight, standard.raw().into(), freedom)?;
            measured.insert(term, moved);
        }
        for pair in &pump.correlations {
            let [Some(a), Some(b)] = pair.between.map(|term| measured.get(&term)) else {
                continue;
            };
            let both = a.checked_mul(*b)?.checked_mul(2)?;
            // In two parts, since the product of all three may not fit.
            let r = i128::from(pair.coefficient.raw());
            let rest = (both % MILLION) * r;
            let up = if rest > 0 && rest % MILLION != 0 { 1 } else { 0 };
            let crossed = (both / MILLION).checked_mul(r)? + rest / MILLION + up;
            errors.crossed = errors.crossed.checked_add(crossed)?;
        }
        Some(errors)
    }

    /// Adds some pieces of one item.
    fn pieces(&mut self, job: &Job, item: usize, count: u32, weight: i128) -> Option<()> {
        let lot = job.stock.get(item)?;
        let size = lot.size?;
        let all = weight.checked_mul(count.into())?;
        // Pieces cut from the sheets of one lot err together in every shape.
        let (cut, of) = match lot.cut {
            Some(cut) => (true, cut.plate),
            None => (false, item),
        };
        let width = size.tolerance.minus.ticks() + size.tolerance.plus.ticks();
        let whole = third_root(50_000 * i128::from(width));
        let alike = size.alike.map_or(job.policy.alike, Alike::Share);
        match alike {
            Alike::AtWorst => {
                let key = Together::OneSign(cut, of, weight > 0);
                self.join(key, all, whole, [0, 0], None)?;
                self.lone_range(all, size.tolerance, MILLION)?;
            }
            Alike::Share(share) => {
                let share = i128::from(share.raw());
                let common = (whole * share + MILLION - 1).div_euclid(MILLION);
                let range = [size.tolerance.minus, size.tolerance.plus]
                    .map(|side| i128::from(side.ticks()) * share);
                self.join(Together::Alike(cut, of), all, common, range, None)?;
                // Least whole u with u^2 >= whole^2 (1 - share^2); u is no larger than the whole.
                let square = whole.checked_pow(2)?;
                square.checked_mul(MILLION * MILLION)?;
                let apart = square * (MILLION * MILLION - share * share);
                let own = least(whole, |u| u * u * (MILLION * MILLION) >= apart);
                for _ in 0..count {
                    self.lone(weight, own, None)?;
                }
                self.lone_range(all, size.tolerance, MILLION - share)?;
            }
        }
        if let Some(mean) = size.uncertainty {
            let key = Together::Mean(cut, of);
            self.join_even(key, all, mean)?;
        }
        if let Some(of) = size.gauge {
            self.join_even(Together::Gauge(of.gauge), all, of.certified)?;
        }
        Some(())
    }

    /// Adds an error that comes alone; returns how far it moves the sum.
    fn lone(&mut self, weight: i128, standard: i128, freedom: Option<u32>) -> Option<i128> {
        let moved = weight.checked_mul(standard)?;
        self.alone.push(moved);
        self.fourths += fourth(moved, freedom)?;
        Some(moved)
    }

    /// Adds the worst case of `part` millionths of a tolerance, and its middle.
    fn lone_range(&mut self, weight: i128, tolerance: Tolerance, part: i128) -> Option<()> {
        let [minus, plus] = [tolerance.minus, tolerance.plus].map(|t| i128::from(t.ticks()));
        let hurts = if weight > 0 { minus } else { plus };
        let range = weight.abs().checked_mul(hurts)?.checked_mul(part)?;
        self.range = self.range.checked_add(range)?;
        self.uneven = self.uneven.checked_add(weight.checked_mul(plus - minus)?)?;
        Some(())
    }

    fn join_even(&mut self, key: Together, weight: i128, of: Certified) -> Option<()> {
        let extent = i128::from(of.extent.ticks()) * MILLION;
        self.join(key, weight, of.standard.raw().into(), [extent, extent], of.freedom)
    }

    fn join(
        &mut self,
        key: Together,
        weight: i128,
        standard: i128,
        range: [i128; 2],
        freedom: Option<u32>,
    ) -> Option<()> {
        let new = Common { weight: 0, standard, range, freedom };
        let common = self.together.entry(key).or_insert(new);
        common.weight = common.weight.checked_add(weight)?;
        Some(())
    }

    /// Worst case, in millionths of a tick, rounded up.
    fn worst(&self) -> Option<i128> {
        let mut worst = self.range;
        for common in self.together.values() {
            let hurts = if common.weight > 0 { common.range[0] } else { common.range[1] };
            worst = worst.checked_add(common.weight.abs().checked_mul(hurts)?)?;
        }
        Some((worst + MILLION - 1).div_euclid(MILLION))
    }

    /// Squared combined standard uncertainty, in millionths of a femtometre, squared; and its degrees of freedom,
    /// truncated.
    fn variance(&self) -> Option<(i128, Option<u32>)> {
        let mut variance = self.crossed;
        let mut fourths = self.fourths;
        let alone = self.alone.iter().map(|moved| (*moved, None));
        let common = self.together.values();
        let common = common
            .map(|one| Some((one.weight.checked_mul(one.standard)?, one.freedom)))
            .collect::<Option<Vec<_>>>()?;
        for (moved, freedom) in alone.chain(common) {
            variance = variance.checked_add(moved.checked_mul(moved)?)?;
            fourths += fourth(moved, freedom)?;
        }
        #[allow(clippy::cast_precision_loss)]
        let square = variance as f64;
        let freedom = (fourths > 0.0).then(|| {
            let holds =
                |whole: &u32| f64::from(*whole) * fourths <= square * square * (1.0 + 1e-12);
            (1..=1_000).rev().find(holds).unwrap_or(1)
        });
        Some((variance, freedom))
    }

    /// Whether nominal value and middle are inside the limit by at least the expanded uncertainty. Source: JCGM
    /// 100:2008, 5.2.2, 6.2.1 and G.4.1; the decision rule of ISO 14253-1, from memory.
    ///
    /// With a distance S to a limit, `S >= k u` is `(S / k)^2 >= u^2`: no root is needed.
    fn clears(&self, job: &Job, distance: i128) -> bool {
        // Twice the distance, to stay in whole numbers.
        let twice = 2 * distance + self.uneven;
        let Some((variance, freedom)) = self.variance() else {
            return false;
        };
        let k = i128::from(job.policy.coverage.factor(freedom).raw());
        // In millionths of a femtometre, like the root of the variance, times k.
        let Some(reach) = twice.checked_mul(50_000 * MILLION) else {
            return false;
        };
        // A number too large to be squared is larger than any variance counted here.
        twice >= 0 && (reach / k).checked_pow(2).is_none_or(|square| square >= variance)
    }
}

/// Fourth power of a part over its degrees of freedom; zero of one that is exactly known.
#[allow(clippy::cast_precision_loss)]
fn fourth(moved: i128, freedom: Option<u32>) -> Option<f64> {
    let Some(freedom) = freedom else { return Some(0.0) };
    let square = moved.checked_mul(moved)? as f64;
    Some(square * square / f64::from(freedom.max(1)))
}

/// Least whole u with 3 u^2 >= t^2: a half-width over the root of three, rounded up.
fn third_root(half: i128) -> i128 {
    least(half, |u| 3 * u * u >= half * half)
}

/// Least whole number up to `enough` that is enough, where all above it are.
fn least(mut enough: i128, is_enough: impl Fn(i128) -> bool) -> i128 {
    let mut below = -1;
    while enough - below > 1 {
        let middle = (below + enough) / 2;
        if is_enough(middle) {
            enough = middle;
        } else {
            below = middle;
        }
    }
    enough
}
