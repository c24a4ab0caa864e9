//! Marginal values: the change that one more piece of an item would make, by solving again.
//!
//! [`worth`] computes them. A better plan takes every piece of the item, so only such plans are searched, from the basis
//! and the bound of the plan at hand: most items are settled in a few pivots, since the bound with one more piece is no
//! lower. Each item has its part of the work that the plan took; where that does not settle it, the value is an interval. So
//! it is where the waste of the plan itself is not proven: the least waste may lie anywhere between its bound and it.
//!
//! In groups with suppliers or with short pumps all columns are listed, once with one more of every item. The present plan
//! is proven again among them, which gives multipliers, a basis, and the few columns that a better plan may take; then each
//! item by itself gets its one piece.

use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use crate::accounting::by_pack;
use crate::choose::control::{Control, Listed, Phase, Work};
use crate::choose::instance::{Assignment, Column};
use crate::choose::near::{Laid, Root};
use crate::choose::stages::{Proven, Solved, solve_from};
use crate::choose::standing::{Stood, waste};
use crate::choose::supply::{Supply, suppliers};
use crate::choose::{ChooseError, CombinationLists, Group};
use crate::choose::{drawn, groups, list_columns, objectives, uses_of, wanted};
use crate::decimal::Money;
use crate::job::{Job, Parts};
use crate::plan::{Kit, MarginalValue, Objective, Plan, Stop};
use crate::stock::Item;

/// Plan with the marginal value of each item, as far as the work and the time allow; items
/// left out are noted in [`LeftOut`](crate::plan::LeftOut). Serving must be proven, the columns listed completely, and the
/// pumps at most 3,000.
pub fn valued(job: &Job, mut plan: Plan, control: &Control<'_>) -> Plan {
    match work_out(job, &plan, control) {
        Ok(found) => {
            plan.worth = found.worth;
            plan.left_out.worth = found.stopped;
        }
        Err(ChooseError::NoRoom(_)) => plan.left_out.worth = Some(Stop::Memory),
        Err(_) => {}
    }
    plan
}

/// Marginal values of the items in drawers, whether any is on hand or not. Items that the time does not allow
/// are left out; all are left out where serving is not proven, and of more than 3,000 pumps.
///
/// # Errors
/// [`ChooseError`] when, with one more of everything, there are too many ways to list.
pub fn worth(
    job: &Job,
    plan: &Plan,
    control: &Control<'_>,
) -> Result<Vec<MarginalValue>, ChooseError> {
    Ok(work_out(job, plan, control)?.worth)
}

/// Values found, and the reason that some are missing.
#[derive(Default)]
struct Found {
    worth: Vec<MarginalValue>,
    stopped: Option<Stop>,
}

/// Pumps of an outage beyond which values are left out: of 10,000 irregular pumps none of 42 items was done in 39 s.
const MOST_PUMPS: usize = 3_000;
/// Tenths of a second whose work all items of a group have at least.
const LEAST: u64 = 5;
/// Items that are worked out side by side, whatever the number of threads: each has its part of the memory.
const AT_ONCE: usize = 8;

fn work_out(job: &Job, plan: &Plan, control: &Control<'_>) -> Result<Found, ChooseError> {
    let mut found = Found::default();
    let _lists = control.lists();
    let Some(gap) = plan.waste_gap() else {
        return Ok(found);
    };
    let over = (job.pumps.len() > MOST_PUMPS).then_some(Stop::Work);
    found.stopped = over.or(control.stop());
    if found.stopped.is_some() {
        return Ok(found);
    }
    let aims: Vec<Objective> = objectives(job)
        .into_iter()
        .filter(|aim| matches!(aim, Objective::ServedOf(_) | Objective::Waste))
        .collect();
    // Bags that stay closed and kits that are held are out of play here as well.
    let stood = Stood::of(job);
    let out = stood.out_of_play(job, &|pump| plan.leaves_closed(job, pump), false);
    let more: Vec<u32> = (job.stock.iter().zip(&out.available))
        .map(|(item, available)| available + u32::from(item.cut.is_none()))
        .collect();
    // The listener hears the number of items done.
    let quiet = &control.unheard();
    let asked = |item: usize| {
        job.stock.get(item).is_some_and(|lot| lot.size.is_some() && lot.cut.is_none())
    };
    let all = (0..job.stock.len()).filter(|&item| asked(item)).count();
    let worked_out = AtomicUsize::new(0);
    let begin = || {
        control.step(Phase::Worth, worked_out.fetch_add(1, Ordering::Relaxed), all);
        control.stop()
    };
    // Plates are numbered after the stock.
    let mut in_a_group = vec![false; job.stock.len() + job.plates.len()];
    let mut drawn_on = |group: &Group| {
        group.items.iter().for_each(|&item| in_a_group[usize::from(item)] = true);
    };
    let near = Laid::of(job, &more, &out, None, quiet);
    let mut listed = near.others.clone();
    for group in &near.groups {
        let of = (&near, group, out.available.as_slice());
        match near_the_bound(job, (plan, gap), of, &aims, &asked, &begin, quiet) {
            Some(few) => {
                drawn_on(group);
                found.worth.extend(few.worth);
                found.stopped = found.stopped.or(few.stopped);
            }
            None => group.pumps.iter().for_each(|&pump| listed[pump] = true),
        }
    }
    drop(near);
    let quiet = &control.share().unheard();
    let drawers = CombinationLists::listed(job, &listed, &more, quiet)?;
    let Listed { list: mut columns, cut } = list_columns(job, &listed, &drawers, &more, quiet)?;
    stood.enter(&listed, &mut columns);
    let wanted = wanted(job.stock.len(), &columns);
    let stock = Bare::of(job, &out.available, &wanted);
    let supply = stock.supply(None, quiet)?;
    // Each item is tried on a copy, beside the columns of its group.
    let copied = columns.iter().map(Vec::len).sum::<usize>() * size_of::<Column>();
    quiet.keep((1 + AT_ONCE) * copied)?;
    if let Some(stop) = cut.or(supply.cut) {
        found.stopped = Some(stop);
        return Ok(found);
    }
    let groups = groups(job, &drawn(&columns), &supply.suppliers);
    groups.iter().for_each(&mut drawn_on);
    let weights = job.weights();
    // An item that no pump can use has the value zero.
    let idle = (0..job.stock.len()).filter(|&item| asked(item) && !in_a_group[item]);
    found.worth.extend(idle.map(|item| saved(item, (0, 0))));
    // Lists take all of the time, in vain where the waste has taken it before.
    let proven = gap == Money::ZERO;
    if !proven && !groups.is_empty() {
        found.stopped = found.stopped.or(plan.stopped_by);
    }
    for group in groups.iter().filter(|_| proven) {
        let mine = || -> Vec<Vec<Column>> {
            let pumps = group.pumps.iter();
            pumps.map(|&pump| columns[pump].clone()).collect()
        };
        let instance = group.instance(job, &aims, &supply.ready, mine(), &supply.suppliers);
        let start = at_hand(job, plan, group, &columns);
        let before = match Proven::of(&instance, &aims, start, quiet) {
            Ok(before) => before,
            Err(stopped) => {
                found.stopped = found.stopped.or(stopped);
                continue;
            }
        };
        let items = group.items.iter().enumerate();
        let items = items.map(|(index, &item)| (index, usize::from(item)));
        let items: Vec<(usize, usize)> = items.filter(|&(_, item)| asked(item)).collect();
        let worth = |item: usize, after: &Solved| {
            let changes = after.values.iter().zip(&before.solved.values);
            let changes: Vec<i64> = changes.map(|(after, before)| after - before).collect();
            let (waste, served) = changes.split_last()?;
            let weighted = weights.as_ref().map(|weights| {
                let each = served.iter().zip(weights).map(|(change, (_, weight))| -weight * change);
                each.sum()
            });
            let unchanged = served.iter().all(|change| *change == 0).then_some(0);
            (after.values == after.bounds).then(|| MarginalValue {
                served_weight: weighted.or(unchanged),
                ..saved(item, (*waste, *waste))
            })
        };
        let (by_packs, single): (Vec<_>, Vec<_>) =
            items.into_iter().partition(|&(_, item)| by_pack(job, item));
        for (_, item) in by_packs {
            if let Some(stop) = begin() {
                found.stopped = Some(stop);
                break;
            }
            // One more piece changes where the packs end, so the supplier is a different one.
            let Supply { suppliers, ready, .. } = stock.supply(Some(item), quiet)?;
            let other = group.instance(job, &aims, &ready, mine(), &suppliers);
            let after = solve_from(&other, &aims, None, &before.solved.multipliers, quiet);
            found.stopped = found.stopped.or(after.stopped);
            found.worth.extend(worth(item, &after));
        }
        for some in single.chunks(AT_ONCE) {
            let each = some.par_iter().map(|&(index, item)| {
                if let Some(stop) = begin() {
                    return (Some(stop), None);
                }
                let room = quiet.part(AT_ONCE);
                let mut more = instance.clone();
                more.capacity[index] += 1;
                let after = before.with_more(&more, index, &aims, &quiet.alone_in(room.as_ref()));
                (after.stopped, worth(item, &after))
            });
            for (stopped, worth) in each.collect::<Vec<_>>() {
                found.stopped = found.stopped.or(stopped);
                found.worth.extend(worth);
            }
        }
    }
    found.worth.sort_by_key(|worth| worth.item);
    Ok(found)
}

/// Value of an item where only the waste changes: the least that the change can be, and the best found.
fn saved(item: usize, (least, found): (i64, i64)) -> MarginalValue {
    let [waste_at_least, waste] = [least, found].map(Money::from_raw);
    MarginalValue { item, served_weight: Some(0), waste, waste_at_least }
}

/// Values of the items of a group that serves all its pumps; `None` where it does not, or this way is not for it.
fn near_the_bound(
    job: &Job,
    (plan, gap): (&Plan, Money),
    (near, group, available): (&Laid, &Group, &[u32]),
    aims: &[Objective],
    asked: &dyn Fn(usize) -> bool,
    begin: &(dyn Fn() -> Option<Stop> + Sync),
    control: &Control<'_>,
) -> Option<Found> {
    let work = control.work();
    let counted = control.working(&work);
    let mut root = Root::new(job, near, group, available, aims)?;
    let peak = root.climb(i64::MAX, &counted)?;
    let kit = |&pump: &usize| {
        let Kit::Served(packs) = &plan.kits[pump] else { return None };
        let uses = uses_of(job.takes(pump, packs))?;
        group.numbered(&Column { waste: waste(job, pump, packs)?, uses })
    };
    let kits: Vec<Option<Column>> = group.pumps.iter().map(kit).collect();
    let value = kits.iter().map(|kit| Some(kit.as_ref()?.waste)).sum::<Option<i64>>()?;
    let items = group.items.iter().enumerate().map(|(at, &item)| (at, usize::from(item)));
    let items: Vec<(usize, usize)> = items.filter(|&(_, item)| asked(item)).collect();
    let each = work.again(LEAST).part(items.len());
    let mut found = Found::default();
    for some in items.chunks(AT_ONCE) {
        let each = some.par_iter().map(|&(at, item)| {
            if let Some(stop) = begin() {
                return Err(Some(stop));
            }
            let room = control.part(AT_ONCE);
            let work = Work::of(each);
            let control = control.alone_in(room.as_ref()).working(&work);
            let (least, found) = root.one_more(&peak, at, (value, &kits), &control)?;
            // All of the gap may lie in this group.
            Ok(saved(item, (least, (found + gap.raw()).min(0))))
        });
        for worth in each.collect::<Vec<Result<MarginalValue, Option<Stop>>>>() {
            match worth {
                Ok(worth) => found.worth.push(worth),
                Err(stopped) => found.stopped = found.stopped.or(stopped),
            }
        }
    }
    Some(found)
}

/// Job without its pumps, on which alone suppliers depend.
struct Bare<'a> {
    job: Job,
    wanted: &'a [u64],
}

impl Bare<'_> {
    fn of<'a>(job: &Job, available: &[u32], wanted: &'a [u64]) -> Bare<'a> {
        let bare = Parts { pumps: Vec::new(), standing: Vec::new(), ..Parts::clone(job) };
        let mut job = Job::of_checked(bare);
        for (lot, available) in job.parts.stock.iter_mut().zip(available) {
            lot.reserved += lot.available() - available;
        }
        Bare { job, wanted }
    }

    /// Suppliers and free pieces, with one more piece of an item.
    fn supply(&self, more: Option<usize>, control: &Control<'_>) -> Result<Supply, ChooseError> {
        let mut job = self.job.clone();
        if let Some(item) = more {
            job.parts.stock[item].on_hand += 1;
        }
        let available: Vec<u32> = job.stock.iter().map(Item::available).collect();
        // One set after the other: they are let go of before the next.
        let _lists = control.lists();
        Ok(suppliers(&job, &available, self.wanted, control)?)
    }
}

/// Plan as columns of a group; `None` where suppliers are part of it.
fn at_hand(job: &Job, plan: &Plan, group: &Group, columns: &[Vec<Column>]) -> Option<Assignment> {
    if !group.suppliers.is_empty() {
        return None;
    }
    let column = |pump: usize| {
        let Kit::Served(packs) = &plan.kits[pump] else {
            return None;
        };
        let uses = uses_of(job.takes(pump, packs))?;
        let at = columns[pump].iter().position(|column| column.uses == uses)?;
        u32::try_from(at).ok()
    };
    Some(group.pumps.iter().map(|&pump| column(pump)).collect())
}
