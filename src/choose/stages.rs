//! Goals of one group in lexicographic order, each proven before the next.

use std::ops;
use std::sync::Arc;

use crate::choose::bound::{Allowed, Multipliers, Range, SCALE, Stage};
use crate::choose::control::{Control, Phase};
use crate::choose::instance::{Assignment, CostRow, Instance};
use crate::choose::master::MasterProgram;
use crate::choose::mending::{Ranking, mend, refine, supply, take_back};
use crate::choose::proof::RawProof;
use crate::choose::search::{Closed, carried, close, reduce};
use crate::plan::{Objective, Stop};

/// Result for a group.
#[derive(Debug, Clone)]
pub struct Solved {
    /// Column that each block takes.
    pub taken: Assignment,
    /// Value on each tier.
    pub values: Vec<i64>,
    /// Bound on each tier.
    pub bounds: Vec<i64>,
    /// Multipliers at the end of each tier.
    pub multipliers: Vec<Multipliers>,
    /// Proof of each tier's bound, where there is one.
    pub proofs: Vec<Option<RawProof>>,
    /// Reason that the search ended early, if it did.
    pub stopped: Option<Stop>,
}

impl Solved {
    /// Drops the proofs that come after a goal without one: they may rest on columns that it left out.
    fn only_after_proofs(&mut self) {
        let first = self.proofs.iter().position(Option::is_none);
        self.proofs.iter_mut().skip(first.unwrap_or(usize::MAX)).for_each(|proof| *proof = None);
    }
}

/// Solves a group tier by tier, with the earlier tiers held at their best values.
///
/// ```
/// use gapwright::choose::parts::{Column, Instance, CostRow, solve};
/// use gapwright::choose::control::Control;
/// use gapwright::plan::Objective;
/// // Two pumps want the one piece of item 0; the second could also take the dearer item 1.
/// let column = |waste, item| Column { waste, uses: [(item, 1)].into_iter().collect() };
/// let instance = Instance {
///     capacity: vec![1, 1],
///     classes: vec![],
///     blocks: vec![vec![column(3, 0)], vec![column(3, 0), column(5, 1)]].into(),
///     pumps: 2,
///     tiers: vec![CostRow::Served(vec![1, 1]), CostRow::Waste],
/// };
/// let solved = solve(&instance, &[Objective::ServedWeight, Objective::Waste], &Control::unlimited());
/// assert_eq!(solved.taken, [Some(0), Some(1)]);
/// assert_eq!(solved.values, [-2, 8]);
/// assert_eq!(solved.bounds, solved.values);
/// ```
pub fn solve(instance: &Instance, aims: &[Objective], control: &Control<'_>) -> Solved {
    let mut proven = reached(instance, aims, None, control);
    proven.settle(instance, aims, &control.share());
    proven.solved
}

/// Group with its goals reached, and the columns that equal plans may use.
#[derive(Clone)]
pub(super) struct Reached {
    /// Result for the group.
    pub solved: Solved,
    /// Reason that the order was not settled, if it was not.
    pub unsettled: Option<Stop>,
    allowed: Allowed,
}

/// Group of blocks with a single column each, which they take.
pub(super) fn settled(instance: &Instance) -> Reached {
    let taken: Assignment = instance.blocks.iter().map(|_| Some(0)).collect();
    let values = instance.value(&taken);
    let proofs = vec![None; values.len()];
    let solved = Solved {
        taken,
        bounds: values.clone(),
        values,
        multipliers: Vec::new(),
        proofs,
        stopped: None,
    };
    Reached { solved, unsettled: None, allowed: Allowed::all(instance) }
}

/// Solves the goals of a group, from a plan if one is known; the order among equal plans is left open.
pub(super) fn reached(
    instance: &Instance,
    aims: &[Objective],
    start: Option<Assignment>,
    control: &Control<'_>,
) -> Reached {
    let sets = instance.sets();
    let start = start.unwrap_or_else(|| first_plan(instance, &sets, control));
    let allowed = Allowed::all(instance);
    let known = Known { held: &[], multipliers: &[], program: None };
    let mut stages = stages(instance, &sets, aims, start, known, allowed, control);
    stages.solved.only_after_proofs();
    Reached { solved: stages.solved, unsettled: None, allowed: stages.allowed }
}

/// Goes on with the goals after one that is closed, where the earlier ones have the values of its plan.
pub(super) fn onwards(
    instance: &Instance,
    aims: &[Objective],
    tier: usize,
    closed: Closed,
    control: &Control<'_>,
) -> Reached {
    let Closed { taken, bound, allowed, multipliers, stopped, proof, .. } = closed;
    let sets = instance.sets();
    let values = instance.value(&taken);
    let mut known: Vec<Multipliers> =
        (0..tier).map(|tier| Multipliers::zero(sets.len(), tier)).collect();
    known.push(multipliers);
    let known = Known { held: &values[..=tier], multipliers: &known, program: None };
    let mut stages = stages(instance, &sets, aims, taken, known, allowed, control);
    // A plan found for a later goal may be better on this one, if it was left open.
    stages.solved.values.copy_from_slice(&instance.value(&stages.solved.taken)[..aims.len()]);
    stages.solved.bounds[tier] = bound.min(stages.solved.values[tier]);
    stages.solved.stopped = stopped.or(stages.solved.stopped);
    let served = values[..tier].iter().map(|&value| Some(RawProof::of_all_served(value)));
    let proofs = std::mem::take(&mut stages.solved.proofs);
    stages.solved.proofs = served.chain([proof]).chain(proofs.into_iter().skip(tier + 1)).collect();
    stages.solved.only_after_proofs();
    Reached { solved: stages.solved, unsettled: None, allowed: stages.allowed }
}

impl Reached {
    /// Takes the first among equal plans, if everything is proven and the time suffices; otherwise keeps the
    /// one found.
    pub(super) fn settle(
        &mut self,
        instance: &Instance,
        aims: &[Objective],
        control: &Control<'_>,
    ) {
        if self.solved.stopped.is_some() {
            return;
        }
        let allowed = self.allowed.clone();
        match first_in_order(instance, aims, &self.solved, allowed, MOST_ORDERS, control) {
            Ok(ordered) => self.solved.taken = ordered,
            // Everything is proven, but the order among equal plans is not settled.
            Err(stop) => {
                self.solved.stopped = Some(stop);
                self.unsettled = Some(stop);
            }
        }
    }
}

/// Solves a group with its first goals held at given values instead of optimised, from a plan that keeps
/// them. Ties are not broken.
pub fn solve_held(
    instance: &Instance,
    aims: &[Objective],
    held: &[i64],
    start: Assignment,
    control: &Control<'_>,
) -> Solved {
    let known = Known { held, multipliers: &[], program: None };
    let allowed = Allowed::all(instance);
    let sets = instance.sets();
    stages(instance, &sets, aims, start, known, allowed, control).solved
}

/// Solves a group from a known plan, and from the multipliers of an earlier solution of nearly the same group
/// (or none), up to the last goal given. Ties are not broken.
pub fn solve_from(
    instance: &Instance,
    aims: &[Objective],
    start: Option<Assignment>,
    known: &[Multipliers],
    control: &Control<'_>,
) -> Solved {
    let sets = instance.sets();
    let start = start.unwrap_or_else(|| first_plan(instance, &sets, control));
    let allowed = Allowed::all(instance);
    let known = Known { held: &[], multipliers: known, program: None };
    stages(instance, &sets, aims, start, known, allowed, control).solved
}

/// Proven group, ready to be solved again with one more piece of an item.
pub(super) struct Proven {
    /// Result for the group.
    pub solved: Solved,
    program: Option<MasterProgram>,
    /// Columns that any better plan may take, whichever item there is one more of.
    columns: Vec<Arc<Vec<u32>>>,
}

impl Proven {
    /// Solves a group from a known plan; `None` unless every goal is proven. The columns may need one piece more of an item
    /// than there is.
    pub(super) fn of(
        instance: &Instance,
        aims: &[Objective],
        start: Option<Assignment>,
        control: &Control<'_>,
    ) -> Result<Proven, Option<Stop>> {
        let sets = instance.sets();
        let start = start.unwrap_or_else(|| first_plan(instance, &sets, control));
        let known = Known { held: &[], multipliers: &[], program: None };
        let allowed = Allowed::all(instance);
        let Stages { solved, program, .. } =
            stages(instance, &sets, aims, start, known, allowed, control);
        if solved.values != solved.bounds {
            return Err(solved.stopped);
        }
        let mut more = instance.clone();
        more.capacity.iter_mut().for_each(|capacity| *capacity += 1);
        let mut proven = Proven { columns: Allowed::all(&more).columns, solved, program };
        if let Some(few) = proven.few(instance, &sets, control) {
            proven.columns = few;
        }
        Ok(proven)
    }

    /// Columns that leave room for a plan that is better on the last goal, where the goals before it cannot become better.
    /// One more piece moves the bound by its multiplier.
    fn few(
        &self,
        instance: &Instance,
        sets: &[Vec<u32>],
        control: &Control<'_>,
    ) -> Option<Vec<Arc<Vec<u32>>>> {
        let (&value, earlier) = self.solved.values.split_last()?;
        let mut allowed = Allowed { columns: self.columns.clone(), ..Allowed::all(instance) };
        for tier in 0..earlier.len() {
            let stage = Stage { instance, sets, tier, limits: &earlier[..tier] };
            allowed = all_served(stage, &allowed, &self.solved.taken)?;
        }
        let multipliers = self.solved.multipliers.last()?;
        let dearest = multipliers.sets.iter().map(|(most, _)| *most).max()?;
        let stage = Stage { instance, sets, tier: earlier.len(), limits: earlier };
        let most = SCALE * i128::from(value - 1) + dearest;
        reduce(stage, &allowed, multipliers, most, control).map(|few| few.columns)
    }

    /// Solves the group with one more piece of an item, which the instance has. A better plan takes every piece that there
    /// is then, for any other was possible before: so only those are searched.
    pub(super) fn with_more(
        &self,
        instance: &Instance,
        item: usize,
        aims: &[Objective],
        control: &Control<'_>,
    ) -> Solved {
        let sets = instance.sets();
        let mut allowed = Allowed::within(instance, &self.columns);
        if let Range { most: Some(all), .. } = allowed.ranges[item] {
            allowed.ranges[item].least = all;
        }
        let Proven { solved, program, .. } = self;
        let known =
            Known { held: &[], multipliers: &solved.multipliers, program: program.as_ref() };
        stages(instance, &sets, aims, solved.taken.clone(), known, allowed, control).solved
    }
}

/// Data known before the first stage.
#[derive(Clone, Copy)]
struct Known<'a> {
    /// Values at which the first goals are held.
    held: &'a [i64],
    /// Multipliers of each tier of nearly the same group, if any.
    multipliers: &'a [Multipliers],
    /// Linear program of its last tier, if any.
    program: Option<&'a MasterProgram>,
}

/// Result of the stages, and the columns that are still useful.
struct Stages {
    solved: Solved,
    allowed: Allowed,
    /// Linear program of the last tier, where there was one.
    program: Option<MasterProgram>,
}

fn stages(
    instance: &Instance,
    sets: &[Vec<u32>],
    aims: &[Objective],
    start: Assignment,
    known: Known<'_>,
    mut allowed: Allowed,
    control: &Control<'_>,
) -> Stages {
    let mut taken = start;
    let mut limits = known.held.to_vec();
    let mut bounds = known.held.to_vec();
    let mut multipliers: Vec<Multipliers> = (0..known.held.len())
        .map(|tier| match known.multipliers.get(tier) {
            Some(known) => known.clone(),
            None => Multipliers::zero(sets.len(), tier),
        })
        .collect();
    let mut proofs = vec![None; known.held.len()];
    let mut stopped = None;
    let mut program = None;
    for (tier, &aim) in aims.iter().enumerate().skip(known.held.len()) {
        let stage = Stage { instance, sets, tier, limits: &limits };
        // Multipliers of one cost are a good start for the next.
        let counts = matches!(instance.tiers[tier], CostRow::Pieces(_) | CostRow::Plates(_));
        let earlier = multipliers.last().filter(|_| counts);
        let seed = known.program.filter(|_| tier + 1 == aims.len()).cloned();
        let known = known.multipliers.get(tier).cloned();
        let known = known.or_else(|| earlier.map(|earlier| carried(stage, &allowed, earlier)));
        // Packs are lumps, and a large purchase may take any time: some is kept for the later goals.
        let control = match instance.tiers[tier] {
            CostRow::Bought(_) => &control.tenths(7),
            // Few plans are equal so far, and parts of one are searched in vain.
            CostRow::Pieces(_) => &control.whole(),
            _ => control,
        };
        if let Some(settled) = all_served(stage, &allowed, &taken) {
            let value = instance.value(&taken)[tier];
            allowed = settled;
            bounds.push(value);
            proofs.push(Some(RawProof::of_all_served(value)));
            multipliers.push(Multipliers::zero(sets.len(), tier));
            limits.push(value);
            continue;
        }
        let closed = close(stage, allowed, taken, known, seed, aim, control);
        taken = closed.taken;
        program = closed.program;
        if closed.stopped.is_some() {
            take_back(instance, &mut taken);
        }
        allowed = closed.allowed;
        stopped = stopped.or(closed.stopped);
        // Bound after a possible early end: at least the trivial one.
        bounds.push(closed.bound.max(least(&instance.tiers[tier])));
        proofs.push(closed.proof);
        multipliers.push(closed.multipliers);
        limits.push(instance.value(&taken)[tier]);
    }
    // A plan found for a later goal may be better on an earlier one that was left open.
    let held = known.held.len();
    limits.truncate(held);
    limits.extend(&instance.value(&taken)[held..aims.len()]);
    Stages {
        solved: Solved { values: limits, bounds, taken, multipliers, proofs, stopped },
        allowed,
        program,
    }
}

/// Where a plan serves every pump that a goal of serving counts, there is nothing to search: that none of them is left out
/// is all that follows.
fn all_served(stage: Stage<'_>, allowed: &Allowed, taken: &Assignment) -> Option<Allowed> {
    let CostRow::Served(gains) = &stage.instance.tiers[stage.tier] else {
        return None;
    };
    let counted = || gains.iter().enumerate().filter(|(_, gain)| **gain > 0).map(|(pump, _)| pump);
    if counted().any(|pump| taken[pump].is_none()) {
        return None;
    }
    let mut allowed = allowed.clone();
    counted().for_each(|pump| allowed.idle[pump] = false);
    Some(allowed)
}

/// Trivial bound: serving gains at most all gains, and no cost is negative.
pub(super) fn least(tier: &CostRow) -> i64 {
    match tier {
        CostRow::Served(gains) => -gains.iter().sum::<i64>(),
        CostRow::Bought(_) | CostRow::Waste | CostRow::Pieces(_) | CostRow::Plates(_) => 0,
        CostRow::Listed(costs) => {
            costs.iter().map(|costs| costs.iter().copied().min().unwrap_or(0).min(0)).sum()
        }
    }
}

/// Plan to start from: each pump takes its least wasteful column that is left; if there is none, other pumps
/// make way.
fn first_plan(instance: &Instance, sets: &[Vec<u32>], control: &Control<'_>) -> Assignment {
    let tier = instance
        .tiers
        .iter()
        .position(|t| matches!(t, CostRow::Bought(_) | CostRow::Waste))
        .unwrap_or(0);
    let limits = vec![0; tier];
    let stage = Stage { instance, sets, tier, limits: &limits };
    let allowed = Allowed::all(instance);
    let prices = stage.prices(&Multipliers::zero(sets.len(), tier), &allowed.ranges);
    let mut left = instance.capacity.clone();
    let mut taken = vec![None; instance.blocks.len()];
    supply(stage, &allowed, &[], &mut taken, &mut left);
    let ranking = Ranking::new(stage, &prices, &allowed);
    mend(&ranking, &mut taken, &mut left, control);
    if instance.blocks.len() > instance.pumps {
        // Supply that is not drawn on is taken back.
        refine(&ranking, &mut taken, &mut left, control);
    }
    taken
}

/// Most pumps of a group with suppliers that are put in order; there may be as many suppliers as well. Their linear
/// programs are the general solver's, and each takes long.
const MOST_WITH_SUPPLIERS: usize = 40;

/// Greatest number of a block of pumps in the fixed order: what a linear program can tell from one less.
const MOST_ORDERS: i64 = 1 << 24;

/// Of the work for the order, a block of pumps may take one of so many parts.
const A_BLOCK: usize = 3;

/// First among plans that are equal on every goal: the first pump takes the earliest of its columns, then the
/// second, and so on. The answer then depends neither on the backend nor on the path of the search.
///
/// Pumps are settled some at a time, as many as numbers up to `most` allow. What each of them takes is a digit, its first column zero and taking none the last;
/// the digits of a few pumps make one number, in which each digit has as many values as its pump has choices. The least
/// such number that keeps all goals is one more goal, and its proof settles these pumps. Whatever the numbers are cut
/// into, the plan is the same.
fn first_in_order(
    instance: &Instance,
    aims: &[Objective],
    found: &Solved,
    mut allowed: Allowed,
    most: i64,
    control: &Control<'_>,
) -> Result<Assignment, Stop> {
    let mut taken = found.taken.clone();
    let (pumps, blocks) = (instance.pumps, taken.len());
    let Some(&aim) = aims.last() else {
        return Ok(taken);
    };
    if blocks > pumps && (pumps > MOST_WITH_SUPPLIERS || blocks > 2 * MOST_WITH_SUPPLIERS) {
        return Ok(taken);
    }
    let sets = &instance.sets();
    // The values in these searches are not values of a goal. Better plans are found by splitting: part by part, the order
    // took two to nine times as long at 30 and 100 pumps.
    let quiet = &control.unheard().whole().restless();
    let mut from = 0;
    while from < blocks {
        control.step(Phase::Order, from, blocks);
        // What the plan at hand takes is possible: where that is a pump's first choice, nothing is to be searched for.
        let first = allowed.columns[from].first().copied();
        if taken[from] == first {
            allowed = only(allowed, from, first);
            from += 1;
            continue;
        }
        let choices = |block: usize| {
            let choices = allowed.columns[block].len() + usize::from(allowed.idle[block]);
            i64::try_from(choices.max(1)).unwrap_or(i64::MAX)
        };
        let (mut to, mut numbers) = (from, 1_i64);
        while to < blocks && (to == from || numbers.saturating_mul(choices(to)) <= most) {
            numbers = numbers.saturating_mul(choices(to));
            to += 1;
        }
        let mut ordered = instance.clone();
        ordered.tiers.truncate(aims.len());
        ordered.tiers.push(CostRow::Listed(Arc::new(digits(instance, &allowed, from..to))));
        let stage = Stage { instance: &ordered, sets, tier: aims.len(), limits: &found.values };
        let work = control.part_of_work(A_BLOCK);
        let closed = close(stage, allowed, taken, None, None, aim, &quiet.working(&work));
        control.spend(work.done());
        let lags = to < blocks && control.lags(to, blocks);
        if let Some(stop) = closed.stopped.or(lags.then_some(Stop::Work)) {
            return Err(stop);
        }
        (taken, allowed) = (closed.taken, closed.allowed);
        for (block, taken) in taken.iter().enumerate().take(to).skip(from) {
            allowed = only(allowed, block, *taken);
        }
        from = to;
    }
    Ok(taken)
}

/// Digits of some blocks, each times what a step of it counts: by block and column, empty for other blocks. Taking none
/// costs nothing in every goal, so where it may be taken the columns count from below.
fn digits(instance: &Instance, allowed: &Allowed, some: ops::Range<usize>) -> Vec<Vec<i64>> {
    let mut costs = vec![Vec::new(); instance.blocks.len()];
    let mut step = 1;
    for block in some.rev() {
        let columns = &allowed.columns[block];
        let count = i64::try_from(columns.len()).unwrap_or(i64::MAX);
        let idle = allowed.idle[block];
        if count + i64::from(idle) < 2 {
            continue;
        }
        costs[block] = vec![0; instance.blocks[block].len()];
        let first = if idle { -count } else { 0 };
        for (digit, &column) in (first..).zip(columns.iter()) {
            costs[block][column as usize] = digit * step;
        }
        step *= count + i64::from(idle);
    }
    costs
}

/// Allows a pump one column, or none at all.
fn only(mut allowed: Allowed, pump: usize, column: Option<u32>) -> Allowed {
    allowed.columns[pump] = Arc::new(column.into_iter().collect());
    allowed.idle[pump] = column.is_none();
    allowed
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    use super::{MOST_ORDERS, Proven, first_in_order, reached, solve_from};
    use crate::choose::control::Control;
    use crate::choose::instance::{Assignment, Column, CostRow, Instance};
    use crate::plan::Objective;

    const AIMS: [Objective; 3] = [Objective::ServedWeight, Objective::Waste, Objective::Pieces];

    fn random(rng: &mut ChaCha8Rng) -> Instance {
        let items = rng.random_range(1..=5_u16);
        let capacity = (0..items).map(|_| rng.random_range(0..=4)).collect();
        let pumps = rng.random_range(1..=5);
        let step = [1, 3, 1_000][rng.random_range(0..3)];
        let column = |rng: &mut ChaCha8Rng| {
            let some: Vec<u16> = (0..items).filter(|_| rng.random_bool(0.5)).collect();
            let uses = some.into_iter().map(|item| (item, rng.random_range(1..=2)));
            Column { uses: uses.collect(), waste: step * rng.random_range(0..=9) }
        };
        let blocks: Vec<Vec<Column>> = (0..pumps)
            .map(|_| (0..rng.random_range(0..=5)).map(|_| column(rng)).collect())
            .collect();
        Instance {
            capacity,
            classes: vec![(0..u32::from(items)).collect()],
            blocks: blocks.into(),
            pumps,
            tiers: vec![
                CostRow::Served((0..pumps).map(|_| rng.random_range(1..=3)).collect()),
                CostRow::Waste,
                CostRow::Pieces(vec![1; usize::from(items)]),
            ],
        }
    }

    /// Value of the best plan, and the first of those that have it, by going through all plans.
    fn best(instance: &Instance) -> (Vec<i64>, Assignment) {
        let mut plans: Vec<Assignment> = vec![Vec::new()];
        for columns in instance.blocks.iter() {
            // Taking none comes last.
            let choices = || (0..).take(columns.len()).map(Some).chain([None]);
            let grown = plans.iter().flat_map(|plan| {
                choices().map(|choice| plan.iter().copied().chain([choice]).collect())
            });
            plans = grown.collect();
        }
        let possible = plans.into_iter().filter(|plan| instance.left(plan).iter().all(|&n| n >= 0));
        possible.map(|plan| (instance.value(&plan), plan)).min_by(|a, b| a.0.cmp(&b.0)).unwrap()
    }

    /// However few nodes it may take, a bound holds and a goal is proven only if nothing is better.
    #[test]
    fn a_goal_is_proven_only_if_nothing_is_open() {
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        let mut open = 0;
        for case in 0..1_500 {
            let instance = random(&mut rng);
            let (best, _) = best(&instance);
            for nodes in [0, 1, 2, 4, usize::MAX] {
                let control = Control::unlimited();
                let solved = solve_from(&instance, &AIMS, None, &[], &control.quick(nodes));
                assert_eq!(instance.value(&solved.taken), solved.values, "case {case}");
                for tier in 0..AIMS.len() {
                    let (value, bound) = (solved.values[tier], solved.bounds[tier]);
                    assert!(bound <= best[tier], "case {case}, {nodes} nodes: {solved:?} {best:?}");
                    if bound < value {
                        open += 1;
                        assert!(nodes < usize::MAX, "case {case}: {solved:?}");
                        // Later goals are bounded under the value of this one.
                        break;
                    }
                    assert_eq!(value, best[tier], "case {case}, {nodes} nodes: {solved:?}");
                }
            }
        }
        assert!(open > 50, "{open}");
    }

    /// However the pumps are parted, they come to the first of the best plans.
    #[test]
    fn the_order_is_that_of_all_plans() {
        let mut rng = ChaCha8Rng::seed_from_u64(4);
        for case in 0..1_500 {
            let instance = random(&mut rng);
            let (values, first) = best(&instance);
            let control = Control::unlimited();
            let found = reached(&instance, &AIMS, None, &control);
            assert_eq!(found.solved.values, values, "case {case}");
            for most in [1, 6, 40, MOST_ORDERS] {
                let allowed = found.allowed.clone();
                let order =
                    first_in_order(&instance, &AIMS, &found.solved, allowed, most, &control);
                assert_eq!(order, Ok(first.clone()), "case {case}, numbers to {most}");
            }
        }
    }

    /// One more piece of each item in turn, as going through all plans says.
    #[test]
    fn one_more_piece_is_worth_what_all_plans_say() {
        let mut rng = ChaCha8Rng::seed_from_u64(5);
        let (mut gains, mut none) = (0, 0);
        for case in 0..1_500 {
            let mut instance = random(&mut rng);
            let (values, _) = best(&instance);
            let control = Control::unlimited();
            let proven = Proven::of(&instance, &AIMS, None, &control).ok().unwrap();
            assert_eq!(proven.solved.values, values, "case {case}");
            for item in 0..instance.capacity.len() {
                instance.capacity[item] += 1;
                let after = proven.with_more(&instance, item, &AIMS, &control);
                let (best, _) = best(&instance);
                assert_eq!(after.values, best, "case {case}, item {item}");
                assert_eq!(after.bounds, best, "case {case}, item {item}");
                gains += usize::from(best != values);
                none += usize::from(best == values);
                instance.capacity[item] -= 1;
            }
        }
        assert!(gains > 500 && none > 500, "{gains} {none}");
    }
}
