//! Goals of one group in lexicographic order, each proven before the next.

use std::sync::Arc;

use crate::choose::bound::{Allowed, Multipliers, Stage};
use crate::choose::control::{Control, Phase};
use crate::choose::instance::{Assignment, CostRow, Instance};
use crate::choose::mending::{Ranking, mend, refine, supply, take_back};
use crate::choose::search::{carried, close, reach};
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
    /// Reason that the search ended early, if it did.
    pub stopped: Option<Stop>,
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
    let mut proven = reached(instance, aims, control);
    proven.settle(instance, aims, &control.share());
    proven.solved
}

/// Group with its goals reached, and the columns that equal plans may use.
pub(super) struct Reached {
    /// Result for the group.
    pub solved: Solved,
    /// Reason that the order was not settled, if it was not.
    pub unsettled: Option<Stop>,
    allowed: Allowed,
}

/// Solves the goals of a group; the order among equal plans is left open.
pub(super) fn reached(instance: &Instance, aims: &[Objective], control: &Control<'_>) -> Reached {
    let sets = instance.sets();
    let start = first_plan(instance, &sets, control);
    let allowed = Allowed::all(instance);
    let known = Known { held: &[], multipliers: &[] };
    let stages = stages(instance, &sets, aims, start, known, allowed, control);
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
        match first_in_order(instance, aims, &self.solved, allowed, control) {
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
    let known = Known { held, multipliers: &[] };
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
    let known = Known { held: &[], multipliers: known };
    stages(instance, &sets, aims, start, known, allowed, control).solved
}

/// Data known before the first stage.
#[derive(Clone, Copy)]
struct Known<'a> {
    /// Values at which the first goals are held.
    held: &'a [i64],
    /// Multipliers of each tier of nearly the same group, if any.
    multipliers: &'a [Multipliers],
}

/// Result of the stages, and the columns that are still useful.
struct Stages {
    solved: Solved,
    allowed: Allowed,
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
    let mut multipliers: Vec<Multipliers> =
        (0..known.held.len()).map(|tier| Multipliers::zero(sets.len(), tier)).collect();
    let mut stopped = None;
    for (tier, &aim) in aims.iter().enumerate().skip(known.held.len()) {
        let stage = Stage { instance, sets, tier, limits: &limits };
        // Multipliers of one cost are a good start for the next.
        let counts = matches!(instance.tiers[tier], CostRow::Pieces(_) | CostRow::Plates(_));
        let earlier = multipliers.last().filter(|_| counts);
        let known = known.multipliers.get(tier).cloned();
        let known = known.or_else(|| earlier.map(|earlier| carried(stage, &allowed, earlier)));
        // Packs are lumps, and a large purchase may take any time: some is kept for the later goals.
        let control = match instance.tiers[tier] {
            CostRow::Bought(_) => &control.tenths(7),
            _ => control,
        };
        let closed = close(stage, allowed, taken, known, aim, control);
        taken = closed.taken;
        if closed.stopped.is_some() {
            take_back(instance, &mut taken);
        }
        allowed = closed.allowed;
        stopped = stopped.or(closed.stopped);
        // Bound after a possible early end: at least the trivial one.
        bounds.push(closed.bound.max(least(&instance.tiers[tier])));
        multipliers.push(closed.multipliers);
        limits.push(instance.value(&taken)[tier]);
    }
    // A plan found for a later goal may be better on an earlier one that was left open.
    let held = known.held.len();
    limits.truncate(held);
    limits.extend(&instance.value(&taken)[held..aims.len()]);
    Stages { solved: Solved { values: limits, bounds, taken, multipliers, stopped }, allowed }
}

/// Trivial bound: serving gains at most all gains, and no cost is negative.
pub(super) fn least(tier: &CostRow) -> i64 {
    match tier {
        CostRow::Served(gains) => -gains.iter().sum::<i64>(),
        CostRow::Bought(_) | CostRow::Waste | CostRow::Pieces(_) | CostRow::Plates(_) => 0,
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

/// Most pumps of a group for which the last ties are broken pump by pump; there may be as many suppliers as
/// well.
const MOST_ORDERED: usize = 40;

/// First among plans that are equal on every goal: the first pump takes the earliest of its columns, then the
/// second, and so on. The answer then depends neither on the backend nor on the path of the search. Large
/// groups keep the plan that the search found, which is also the same on every machine and with every number
/// of threads.
fn first_in_order(
    instance: &Instance,
    aims: &[Objective],
    found: &Solved,
    mut allowed: Allowed,
    control: &Control<'_>,
) -> Result<Assignment, Stop> {
    let mut taken = found.taken.clone();
    if instance.pumps > MOST_ORDERED || instance.blocks.len() > 2 * MOST_ORDERED {
        return Ok(taken);
    }
    let (Some(last), Some((&most, earlier))) = (aims.last(), found.values.split_last()) else {
        return Ok(taken);
    };
    let sets = &instance.sets();
    // The values in these searches are not values of a goal.
    let quiet = &control.unheard();
    let stage = Stage { instance, sets, tier: aims.len() - 1, limits: earlier };
    for pump in 0..taken.len() {
        control.step(Phase::Order, pump, taken.len());
        // Taking a column comes before taking none.
        let held = taken[pump].unwrap_or(u32::MAX);
        let columns = Arc::clone(&allowed.columns[pump]);
        for &column in columns.iter().filter(|&&column| column < held) {
            if let Some(stop) = control.stop() {
                return Err(stop);
            }
            let fixed = only(&allowed, pump, Some(column));
            if let Some(earlier) = reach(stage, fixed, most, *last, quiet)? {
                taken = earlier;
                break;
            }
        }
        allowed = only(&allowed, pump, taken[pump]);
    }
    Ok(taken)
}

/// Allows a pump one column, or none at all.
fn only(allowed: &Allowed, pump: usize, column: Option<u32>) -> Allowed {
    let mut fixed = allowed.clone();
    fixed.columns[pump] = Arc::new(column.into_iter().collect());
    fixed.idle[pump] = column.is_none();
    fixed
}
