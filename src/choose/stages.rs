//! The goals of one group, strictly one after the other, each proven before the next.

use std::sync::Arc;

use crate::choose::bound::{Allowed, Multipliers, Stage};
use crate::choose::instance::{Instance, Taken, Tier};
use crate::choose::mending::{Ranking, mend, refine, supply, take_back};
use crate::choose::search::{carried, close, reach};
use crate::choose::watch::{Part, Watch};
use crate::plan::{Aim, Stop};

/// What a group comes to.
#[derive(Debug, Clone)]
pub struct Solved {
    /// The column that each pump takes.
    pub taken: Taken,
    /// The value on each tier.
    pub values: Vec<i64>,
    /// The bound on each tier.
    pub bounds: Vec<i64>,
    /// The multipliers that each tier ended with.
    pub multipliers: Vec<Multipliers>,
    /// Why the search ended early, if it did.
    pub stopped: Option<Stop>,
}

/// Solves a group: tier by tier, each with the earlier ones held at their best values.
///
/// ```
/// use gapwright::choose::parts::{Column, Instance, Tier, solve};
/// use gapwright::choose::watch::Watch;
/// use gapwright::plan::Aim;
/// // Two pumps want the one piece of item 0; the second could also take the dearer item 1.
/// let column = |waste, item| Column { waste, uses: [(item, 1)].into_iter().collect() };
/// let instance = Instance {
///     capacity: vec![1, 1],
///     classes: vec![],
///     takers: vec![vec![column(3, 0)], vec![column(3, 0), column(5, 1)]].into(),
///     pumps: 2,
///     tiers: vec![Tier::Served(vec![1, 1]), Tier::Waste],
/// };
/// let solved = solve(&instance, &[Aim::ServedWeight, Aim::Waste], &Watch::patient());
/// assert_eq!(solved.taken, [Some(0), Some(1)]);
/// assert_eq!(solved.values, [-2, 8]);
/// assert_eq!(solved.bounds, solved.values);
/// ```
pub fn solve(instance: &Instance, aims: &[Aim], watch: &Watch<'_>) -> Solved {
    let mut proven = reached(instance, aims, watch);
    proven.settle(instance, aims, &watch.share());
    proven.solved
}

/// A group whose goals have been sought, and what may still change without changing them.
pub(super) struct Reached {
    /// What the group comes to.
    pub solved: Solved,
    /// What ended the settling of the order early.
    pub unsettled: Option<Stop>,
    allowed: Allowed,
}

/// Seeks the goals of a group; which of equal plans comes first is left open.
pub(super) fn reached(instance: &Instance, aims: &[Aim], watch: &Watch<'_>) -> Reached {
    let sets = instance.sets();
    let start = first_plan(instance, &sets, watch);
    let allowed = Allowed::all(instance);
    let known = Known { held: &[], multipliers: &[] };
    let stages = stages(instance, &sets, aims, start, known, allowed, watch);
    Reached { solved: stages.solved, unsettled: None, allowed: stages.allowed }
}

impl Reached {
    /// Takes of equal plans the one that comes first, if everything is proven and the time suffices;
    /// otherwise the one found stays.
    pub(super) fn settle(&mut self, instance: &Instance, aims: &[Aim], watch: &Watch<'_>) {
        if self.solved.stopped.is_some() {
            return;
        }
        let allowed = self.allowed.clone();
        match first_in_order(instance, aims, &self.solved, allowed, watch) {
            Ok(ordered) => self.solved.taken = ordered,
            // Everything is proven, but which of the equal plans comes first is not settled.
            Err(stop) => {
                self.solved.stopped = Some(stop);
                self.unsettled = Some(stop);
            }
        }
    }
}

/// Solves a group of which the first goals are not sought but held at what is given, from a plan that
/// keeps them. Ties are left as they come.
pub fn solve_held(
    instance: &Instance,
    aims: &[Aim],
    held: &[i64],
    start: Taken,
    watch: &Watch<'_>,
) -> Solved {
    let known = Known { held, multipliers: &[] };
    let allowed = Allowed::all(instance);
    let sets = instance.sets();
    stages(instance, &sets, aims, start, known, allowed, watch).solved
}

/// Solves a group of which a plan is known, and the multipliers that an earlier solution of much
/// the same group ended with (or none): tier by tier, up to the last aim given. Ties are left as
/// they come.
pub fn solve_from(
    instance: &Instance,
    aims: &[Aim],
    start: Option<Taken>,
    known: &[Multipliers],
    watch: &Watch<'_>,
) -> Solved {
    let sets = instance.sets();
    let start = start.unwrap_or_else(|| first_plan(instance, &sets, watch));
    let allowed = Allowed::all(instance);
    let known = Known { held: &[], multipliers: known };
    stages(instance, &sets, aims, start, known, allowed, watch).solved
}

/// What is known before the first stage.
#[derive(Clone, Copy)]
struct Known<'a> {
    /// What the first goals are held at, without being sought.
    held: &'a [i64],
    /// Multipliers that each tier of much the same group ended with, if any.
    multipliers: &'a [Multipliers],
}

/// What the stages come to, and the columns that are still of use.
struct Stages {
    solved: Solved,
    allowed: Allowed,
}

fn stages(
    instance: &Instance,
    sets: &[Vec<u32>],
    aims: &[Aim],
    start: Taken,
    known: Known<'_>,
    mut allowed: Allowed,
    watch: &Watch<'_>,
) -> Stages {
    let mut taken = start;
    let mut limits = known.held.to_vec();
    let mut bounds = known.held.to_vec();
    let mut multipliers: Vec<Multipliers> =
        (0..known.held.len()).map(|tier| Multipliers::zero(sets.len(), tier)).collect();
    let mut stopped = None;
    for (tier, &aim) in aims.iter().enumerate().skip(known.held.len()) {
        let stage = Stage { instance, sets, tier, limits: &limits };
        // What was learnt of one cost is worth knowing for the next.
        let counts = matches!(instance.tiers[tier], Tier::Pieces(_));
        let earlier = multipliers.last().filter(|_| counts);
        let known = known.multipliers.get(tier).cloned();
        let known = known.or_else(|| earlier.map(|earlier| carried(stage, earlier)));
        // Packs are lumps, and a large purchase may take any time: the later goals are to have theirs.
        let watch = match instance.tiers[tier] {
            Tier::Bought(_) => &watch.tenths(7),
            _ => watch,
        };
        let closed = close(stage, allowed, taken, known, aim, watch);
        taken = closed.taken;
        if closed.stopped.is_some() {
            take_back(instance, &mut taken);
        }
        allowed = closed.allowed;
        stopped = stopped.or(closed.stopped);
        // Whatever an early end left of the bound.
        bounds.push(closed.bound.max(least(&instance.tiers[tier])));
        multipliers.push(closed.multipliers);
        limits.push(instance.value(&taken)[tier]);
    }
    if stopped.is_some() {
        // A plan found for a later goal may be better on an earlier one that was left open.
        let held = known.held.len();
        limits.truncate(held);
        limits.extend(&instance.value(&taken)[held..aims.len()]);
    }
    Stages { solved: Solved { values: limits, bounds, taken, multipliers, stopped }, allowed }
}

/// No plan has a smaller value: serving all gains no more than all gains, and nothing costs less than
/// nothing.
pub(super) fn least(tier: &Tier) -> i64 {
    match tier {
        Tier::Served(gains) => -gains.iter().sum::<i64>(),
        Tier::Bought(_) | Tier::Waste | Tier::Pieces(_) => 0,
    }
}

/// A plan to start from: each pump takes its least wasteful column that is left, others make
/// way where none is.
fn first_plan(instance: &Instance, sets: &[Vec<u32>], watch: &Watch<'_>) -> Taken {
    let tier =
        instance.tiers.iter().position(|t| matches!(t, Tier::Bought(_) | Tier::Waste)).unwrap_or(0);
    let limits = vec![0; tier];
    let stage = Stage { instance, sets, tier, limits: &limits };
    let allowed = Allowed::all(instance);
    let prices = stage.prices(&Multipliers::zero(sets.len(), tier), &allowed.ranges);
    let mut left = instance.capacity.clone();
    let mut taken = vec![None; instance.takers.len()];
    supply(stage, &allowed, &[], &mut taken, &mut left);
    let ranking = Ranking::new(stage, &prices, &allowed);
    mend(&ranking, &mut taken, &mut left, watch);
    if instance.takers.len() > instance.pumps {
        // Supply that nobody wants is taken back.
        refine(&ranking, &mut taken, &mut left, watch);
    }
    taken
}

/// The most pumps of a group for which the last ties are broken one pump at a time; as many
/// suppliers may stand beside them.
const MOST_ORDERED: usize = 40;

/// Among plans that are equal on every goal, the one in which the first pump takes the earliest
/// of its columns, then the second, and so on: so that the answer does not depend on the backend
/// or on the way the search went. Large groups keep the plan that the search found, which is the
/// same on every machine and thread count too.
fn first_in_order(
    instance: &Instance,
    aims: &[Aim],
    found: &Solved,
    mut allowed: Allowed,
    watch: &Watch<'_>,
) -> Result<Taken, Stop> {
    let mut taken = found.taken.clone();
    if instance.pumps > MOST_ORDERED || instance.takers.len() > 2 * MOST_ORDERED {
        return Ok(taken);
    }
    let (Some(last), Some((&most, earlier))) = (aims.last(), found.values.split_last()) else {
        return Ok(taken);
    };
    let sets = &instance.sets();
    // The values that these searches try to reach are those of no goal.
    let quiet = &watch.unheard();
    let stage = Stage { instance, sets, tier: aims.len() - 1, limits: earlier };
    for pump in 0..taken.len() {
        watch.step(Part::Order, pump, taken.len());
        // Taking a column comes before taking none.
        let held = taken[pump].unwrap_or(u32::MAX);
        let columns = Arc::clone(&allowed.columns[pump]);
        for &column in columns.iter().filter(|&&column| column < held) {
            if let Some(stop) = watch.stop() {
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
