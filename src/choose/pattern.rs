//! Patterns: one combination for each of a pump's packs, such that every requirement is met.
//!
//! The packs are chosen together: each piece brings its own tolerance, and a gasket depends on the pack below
//! it.

use std::collections::BTreeMap;

use smallvec::SmallVec;

use crate::accounting::alike;
use crate::choose::combination::{Combination, Window};
use crate::choose::control::{Control, Listed, Pace, UNITS, Unlisted};
use crate::decimal::Millionths;
use crate::gauge::Certified;
use crate::job::Job;
use crate::length::{Fine, Uncertainty};
use crate::model::{Side, Term};
use crate::plan::Stop;
use crate::policy::Policy;
use crate::pump::{Estimate, Pump};
use crate::stack::{Alike, Budget, ErrorSource, Guard, OfLot, PieceError};
use crate::stock::Item;

/// Choice for a pump: an index into the list of combinations of each of its packs.
pub type Choice = SmallVec<[u32; 4]>;

/// One side of a requirement as `constant + sum over packs >= 0`, in millionths of a tick.
#[derive(Debug, Clone, PartialEq)]
pub struct SideRow {
    /// Index of the requirement.
    pub requirement: usize,
    /// Constant part: dimensions less bound, after the guards of the dimensions.
    pub constant: i128,
    /// Sensitivity to each pack's total, in millionths.
    pub sensitivity: Vec<i128>,
    /// Guard of the row. Worst cases of pieces add up, so each contribution carries its own; an expanded
    /// uncertainty does not, so it is known only for a complete kit.
    pub guard: Guard,
    /// Whether shared errors of pieces may cancel in this row. Their worst cases then do not add up piece by piece: the
    /// guard of the pieces, too, is known only for a complete kit.
    cancels: bool,
    /// Errors of the dimensions and thermal terms.
    budget: Budget,
    /// Twice the distance of the middle of their tolerances above their nominal sum.
    asymmetry: i128,
}

/// Uncertainty of one piece of an item.
#[derive(Debug, Clone, Copy)]
pub struct PieceUncertainty {
    own: PieceError,
    shared: [Option<(ErrorSource, Certified)>; 2],
}

/// Uncertainty of the pieces of each item.
pub fn doubts(job: &Job) -> Vec<Option<PieceUncertainty>> {
    let doubt = |(index, item): (usize, &Item)| {
        let size = item.size?;
        let lot = item.lot(index);
        Some(PieceUncertainty {
            own: PieceError {
                tolerance: size.tolerance,
                standard: size.standard_uncertainty(),
                freedom: None,
                lot: Some(OfLot { lot, alike: alike(size, &job.policy) }),
            },
            shared: [
                size.uncertainty.map(|mean| (ErrorSource::Mean(lot), mean)),
                size.gauge.map(|of| (ErrorSource::Gauge(of.gauge), of.certified)),
            ],
        })
    };
    job.stock.iter().enumerate().map(doubt).collect()
}

impl SideRow {
    /// Whether the guards of pieces add up, so that each contribution carries its own.
    pub fn adds_up(&self) -> bool {
        !self.cancels && !matches!(self.guard, Guard::Expanded(_))
    }

    /// Contribution of a combination in a pack, after its own guard.
    pub fn contribution(&self, pack: usize, combination: &Combination) -> i128 {
        let c = self.sensitivity[pack];
        let hurts = if c > 0 { combination.minus } else { combination.plus };
        let guard = match self.guard {
            Guard::WorstCase if !self.cancels => c.abs() * i128::from(hurts),
            Guard::None | Guard::WorstCase | Guard::Expanded(_) => 0,
        };
        c * i128::from(combination.total) - guard
    }

    /// Guard of a complete kit beyond the guards in its contributions: the expanded uncertainty under that rule, the
    /// worst case of the pieces where shared errors may cancel, otherwise zero.
    pub fn whole<'a>(
        &self,
        doubts: &[Option<PieceUncertainty>],
        kit: impl Iterator<Item = &'a Combination>,
    ) -> i128 {
        if self.adds_up() {
            return 0;
        }
        let mut budget = self.budget.clone();
        let mut uneven = self.asymmetry;
        for (&c, combination) in self.sensitivity.iter().zip(kit) {
            for pick in combination.picks.iter().filter(|_| c != 0) {
                let Some(doubt) = doubts.get(pick.item).copied().flatten() else {
                    continue;
                };
                let count = i128::from(pick.count);
                budget.add(c, pick.count, &doubt.own);
                uneven += c * count * doubt.own.tolerance.asymmetry();
                for (source, certified) in doubt.shared.into_iter().flatten() {
                    budget.add_shared(source, c * count, certified);
                }
            }
        }
        // As in `stack::judge`.
        match self.guard {
            Guard::Expanded(coverage) => (budget.expanded(coverage) - uneven.div_euclid(2)).max(0),
            Guard::WorstCase => budget.worst()[0],
            Guard::None => 0,
        }
    }
}

/// Rows of every requirement of a pump, one for each limit.
pub fn rows(pump: &Pump, job: &Job, guard: Guard) -> Vec<SideRow> {
    let sides = |(requirement, form): (usize, &crate::model::Form)| {
        let sides = [(form.lower(), 1), (form.upper(), -1)].into_iter();
        sides.filter_map(move |(face, sign)| {
            Some(row((pump, job), requirement, &face?, sign, guard))
        })
    };
    pump.requirements.iter().map(|r| &r.form).enumerate().flat_map(sides).collect()
}

fn row(
    (pump, job): (&Pump, &Job),
    requirement: usize,
    face: &Side,
    sign: i128,
    guard: Guard,
) -> SideRow {
    let mut constant = -sign * Fine::from(face.bound).raw();
    let mut sensitivity = vec![0; pump.fits.len()];
    let mut known: BTreeMap<Term, i128> = BTreeMap::new();
    let mut uneven = 0;
    for (term, c) in &face.terms {
        let c = sign * i128::from(c.raw());
        if let Term::Pack(pack) = *term {
            sensitivity[pack] += c;
        }
        let Some(Estimate { value, tolerance, .. }) = pump.estimate(*term) else {
            continue;
        };
        constant += c * i128::from(value.ticks());
        uneven += c * tolerance.asymmetry();
        *known.entry(*term).or_default() += c;
    }
    let mut budget = Budget::default();
    let mut gauged = false;
    for (term, &c) in &known {
        if let Some(Estimate { tolerance, standard, freedom, gauge, .. }) = pump.estimate(*term) {
            budget.add(c, 1, &PieceError { tolerance, standard, freedom, lot: None });
            if let Some(of) = gauge {
                budget.add_shared(ErrorSource::Gauge(of.gauge), c, of.certified);
                gauged = true;
            }
        }
    }
    let weight = |term| known.get(&term).copied().unwrap_or_default();
    let standard = |term| pump.estimate(term).map_or(Uncertainty::ZERO, |e| e.standard);
    budget.correlate(&pump.correlations, weight, standard);
    let cancels = guard == Guard::WorstCase && may_cancel(job, pump, &sensitivity, gauged);
    if guard == Guard::WorstCase && !cancels {
        constant -= budget.worst()[0];
    }
    SideRow { requirement, constant, sensitivity, guard, cancels, budget, asymmetry: uneven }
}

/// Whether errors of pieces may cancel: of one lot between places of opposed signs, of one gauge there and with the
/// dimensions.
fn may_cancel(job: &Job, pump: &Pump, sensitivity: &[i128], gauged: bool) -> bool {
    let packs = &job.model_of(pump).packs;
    let signs = |sign: i128| (0..packs.len()).filter(move |&at| sensitivity[at].signum() == sign);
    let opposed = || signs(1).flat_map(|up| signs(-1).map(move |down| (up, down)));
    let one_kind = opposed().any(|(up, down)| packs[up].kind == packs[down].kind);
    if !gauged && opposed().next().is_none() {
        return false;
    }
    let mut sizes = job.stock.iter().filter_map(|item| item.size);
    sizes.any(|size| {
        let stated = size.uncertainty.is_some() || alike(size, &job.policy) != Alike::AtWorst;
        size.gauge.is_some() || one_kind && stated
    })
}

/// Windows of totals of the packs: no kit that meets all rows has a total outside, even without guards of the
/// pieces. `most` is the greatest total of each pack. An empty window (first above last) means that no kit
/// exists.
///
/// Bounds are passed from row to row until they settle, a few times at most.
pub fn windows(rows: &[SideRow], most: &[i64]) -> Vec<Window> {
    let mut windows: Vec<(i128, i128)> = most.iter().map(|&most| (0, i128::from(most))).collect();
    for _ in 0..4 {
        for row in rows {
            for pack in 0..windows.len() {
                let c = row.sensitivity[pack];
                // Most that the other packs can add.
                let others: i128 = (0..windows.len())
                    .filter(|&other| other != pack)
                    .map(|other| {
                        let c = row.sensitivity[other];
                        (c * windows[other].0).max(c * windows[other].1)
                    })
                    .sum();
                let need = -(row.constant + others);
                if c > 0 {
                    windows[pack].0 = windows[pack].0.max(-(-need).div_euclid(c));
                } else if c < 0 {
                    windows[pack].1 = windows[pack].1.min((-need).div_euclid(-c));
                }
            }
        }
    }
    let whole = |end: i128| i64::try_from(end).unwrap_or(if end < 0 { i64::MIN } else { i64::MAX });
    windows.into_iter().map(|(first, last)| (whole(first), whole(last))).collect()
}

/// Distance of a requirement from its target as `constant + sum over packs`.
#[derive(Debug, Clone, PartialEq)]
struct Aimed {
    constant: i128,
    sensitivity: Vec<i128>,
}

/// A million of the currency, in millionths.
const MOST_CHARGE: i64 = 1_000_000_000_000;

/// Charge for a value off target: distance in thou times the rate, rounded up to a millionth of the currency;
/// at most a million of the currency.
pub fn off_target_charge(distance: i128, rate: Millionths) -> i64 {
    // One thou is 254 000 ticks, and distances are in millionths of a tick.
    const THOU: i128 = 254_000 * 1_000_000;
    let charge = (distance.abs() * i128::from(rate.raw()) + THOU - 1) / THOU;
    i64::try_from(charge).map_or(MOST_CHARGE, |charge| charge.min(MOST_CHARGE))
}

/// Pattern: one way to kit a pump, and its charge off target.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pattern {
    /// Combinations chosen.
    pub choice: Choice,
    /// Charges off target, in millionths of the currency.
    pub off_target: i64,
}

impl Pattern {
    /// Combinations of the pattern, pack by pack, from the lists that it was made from.
    pub fn combinations<'a>(
        &'a self,
        drawers: &'a [&'a [Combination]],
    ) -> impl Iterator<Item = &'a Combination> + 'a {
        drawers.iter().zip(&self.choice).map(|(drawer, &c)| &drawer[c as usize])
    }

    /// Waste in millionths of the currency: cost and handling of the pieces, and the charges off target.
    pub fn waste(&self, drawers: &[&[Combination]]) -> i64 {
        self.off_target + self.combinations(drawers).map(|c| c.waste).sum::<i64>()
    }
}

/// Demands on the kits of a pump: both sides of every requirement, and the targets.
#[derive(Debug, Clone, PartialEq)]
pub struct Demands {
    /// Rows, as [`rows`] gives them.
    pub rows: Vec<SideRow>,
    aims: Vec<Aimed>,
}

impl Demands {
    /// Demands of a pump.
    pub fn of(pump: &Pump, job: &Job, guard: Guard) -> Demands {
        let aim = |(index, r): (usize, &crate::model::Requirement)| {
            let row = row((pump, job), index, &r.form.target(), 1, Guard::None);
            Aimed { constant: row.constant, sensitivity: row.sensitivity }
        };
        Demands {
            rows: rows(pump, job, guard),
            aims: pump.requirements.iter().enumerate().map(aim).collect(),
        }
    }

    /// Charges off target of packs with these totals, in millionths of the currency.
    pub(crate) fn off_target(&self, totals: &[i64], policy: &Policy) -> i64 {
        let charge = |aim: &Aimed| {
            let packs = aim.sensitivity.iter().zip(totals);
            let distance =
                aim.constant + packs.map(|(c, &total)| c * i128::from(total)).sum::<i128>();
            off_target_charge(distance, policy.off_target)
        };
        self.aims.iter().map(charge).sum()
    }

    /// Whether some guard is known only for a complete kit.
    pub fn need_doubts(&self) -> bool {
        !self.rows.iter().all(SideRow::adds_up)
    }

    /// Constants of the demands: all that depends on the values of the dimensions.
    pub fn constants(&self) -> impl Iterator<Item = i128> + '_ {
        let rows = self.rows.iter().map(|row| row.constant);
        rows.chain(self.aims.iter().map(|aim| aim.constant))
    }

    /// Demands with other constants.
    #[must_use]
    pub fn with(&self, constants: &[i128]) -> Demands {
        let mut other = self.clone();
        let rows = other.rows.iter_mut().map(|row| &mut row.constant);
        let all = rows.chain(other.aims.iter_mut().map(|aim| &mut aim.constant));
        all.zip(constants).for_each(|(old, new)| *old = *new);
        other
    }
}

/// Lists every pattern of a pump, in the order of its packs' combinations; `None` if there are more than
/// `most`. The pump is one of the job, the combinations are made from its stock.
pub fn list(
    pump: &Pump,
    job: &Job,
    drawers: &[&[Combination]],
    most: usize,
) -> Option<Vec<Pattern>> {
    let patient = Control::unlimited();
    let mut pace = Pace::of(&patient);
    let listed = listed(pump, (job, job.policy.guard()), drawers, most, &mut pace);
    listed.ok().map(|listed| listed.list)
}

/// [`list`] as far as the pace allows.
pub(crate) fn listed(
    pump: &Pump,
    (job, guard): (&Job, Guard),
    drawers: &[&[Combination]],
    most: usize,
    pace: &mut Pace<'_>,
) -> Result<Listed<Pattern>, Unlisted> {
    let demands = Demands::of(pump, job, guard);
    let doubts = if demands.need_doubts() { doubts(job) } else { Vec::new() };
    listed_for(&demands, (&job.policy, &doubts), drawers, most, pace)
}

/// Patterns for demands that may be another pump's; `doubts` are needed where [`Demands::need_doubts`] says so.
pub(crate) fn listed_for(
    demands: &Demands,
    (policy, doubts): (&Policy, &[Option<PieceUncertainty>]),
    drawers: &[&[Combination]],
    most: usize,
    pace: &mut Pace<'_>,
) -> Result<Listed<Pattern>, Unlisted> {
    let Demands { rows, aims } = demands;
    let mut listing = Listing { list: Vec::new(), cut: None, pace };
    if drawers.iter().any(|drawer| drawer.is_empty()) {
        return Ok(listing.done());
    }
    // Most that the packs from `k` on can still add to a row.
    let mut most_after = vec![vec![0; drawers.len() + 1]; rows.len()];
    for pack in (0..drawers.len()).rev() {
        let mut best = vec![i128::MIN; rows.len()];
        for some in drawers[pack].chunks(UNITS) {
            listing.cut = listing.pace.stop(some.len());
            if listing.cut.is_some() {
                return Ok(listing.done());
            }
            for (best, row) in best.iter_mut().zip(rows) {
                let most = some.iter().map(|c| row.contribution(pack, c)).max();
                *best = most.unwrap_or(*best).max(*best);
            }
        }
        for (after, best) in most_after.iter_mut().zip(best) {
            after[pack] = after[pack + 1] + best;
        }
    }
    let reach = Extension { rows, doubts, aims, most_after: &most_after, drawers, policy, most };
    let start: Vec<i128> = rows.iter().map(|row| row.constant).collect();
    let aimed: Vec<i128> = aims.iter().map(|aim| aim.constant).collect();
    reach.extend(&start, &aimed, &mut Choice::new(), &mut listing)?;
    Ok(listing.done())
}

/// State of a list of patterns in progress.
struct Listing<'p, 'w> {
    list: Vec<Pattern>,
    cut: Option<Stop>,
    pace: &'p mut Pace<'w>,
}

impl Listing<'_, '_> {
    fn done(self) -> Listed<Pattern> {
        Listed { list: self.list, cut: self.cut }
    }
}

struct Extension<'a> {
    rows: &'a [SideRow],
    /// Empty where no guard needs them.
    doubts: &'a [Option<PieceUncertainty>],
    aims: &'a [Aimed],
    most_after: &'a [Vec<i128>],
    drawers: &'a [&'a [Combination]],
    policy: &'a Policy,
    most: usize,
}

impl Extension<'_> {
    /// Extends a choice of the first packs by every combination of the next one that lets the packs after it
    /// still satisfy each row.
    fn extend(
        &self,
        sums: &[i128],
        aimed: &[i128],
        choice: &mut Choice,
        listing: &mut Listing<'_, '_>,
    ) -> Result<(), Unlisted> {
        let pack = choice.len();
        if pack == self.drawers.len() {
            if !self.clear(sums, choice) {
                return Ok(());
            }
            // The list may have room for twice its length.
            listing.pace.hold(2 * size_of::<Pattern>())?;
            let off_target =
                aimed.iter().map(|d| off_target_charge(*d, self.policy.off_target)).sum();
            listing.list.push(Pattern { choice: choice.clone(), off_target });
            return match listing.list.len() <= self.most {
                true => Ok(()),
                false => Err(Unlisted::TooMany),
            };
        }
        let drawer = self.drawers[pack];
        let (first, last) = self.window(pack, sums);
        let from = drawer.partition_point(|c| i128::from(c.total) < first);
        let mut next = vec![0; sums.len()];
        for (index, combination) in (0..).zip(drawer).skip(from) {
            if i128::from(combination.total) > last {
                break;
            }
            listing.cut = listing.pace.stop(1);
            if listing.cut.is_some() {
                return Ok(());
            }
            let mut reachable = true;
            for (r, row) in self.rows.iter().enumerate() {
                next[r] = sums[r] + row.contribution(pack, combination);
                reachable &= next[r] + self.most_after[r][pack + 1] >= 0;
            }
            if reachable {
                let moved: Vec<i128> = aimed
                    .iter()
                    .zip(self.aims)
                    .map(|(d, aim)| d + aim.sensitivity[pack] * i128::from(combination.total))
                    .collect();
                choice.push(index);
                self.extend(&next, &moved, choice, listing)?;
                choice.pop();
                if listing.cut.is_some() {
                    return Ok(());
                }
            }
        }
        Ok(())
    }

    /// Whether a complete choice keeps every limit clear by the guard of the whole kit.
    fn clear(&self, sums: &[i128], choice: &Choice) -> bool {
        self.rows.iter().zip(sums).all(|(row, &sum)| {
            let kit = self.drawers.iter().zip(choice);
            let kit = kit.map(|(drawer, &c)| &drawer[c as usize]);
            sum >= row.whole(self.doubts, kit)
        })
    }

    /// Window outside which no total satisfies the rows, even without any guard: a quick first filter.
    fn window(&self, pack: usize, sums: &[i128]) -> (i128, i128) {
        let (mut first, mut last) = (i128::MIN, i128::MAX);
        for (r, row) in self.rows.iter().enumerate() {
            let need = -(sums[r] + self.most_after[r][pack + 1]);
            match row.sensitivity[pack] {
                0 => {}
                c if c > 0 => first = first.max(need.div_euclid(c)),
                c => last = last.min(need.div_euclid(c) + 1),
            }
        }
        (first, last)
    }
}
