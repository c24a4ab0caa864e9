//! Marginal values: the change that one more piece of an item would make, by solving again.
//!
//! [`worth`] computes them. Columns are listed once with one more of every item. The present plan is proven
//! again among them, which gives multipliers; then each item in turn gets its one piece, and the search goes
//! on from the plan and the multipliers. Most items are settled by pricing the columns once: the bound does
//! not move, so neither does the plan.

use crate::accounting::by_pack;
use crate::choose::control::{Control, Listed, Phase};
use crate::choose::instance::{Assignment, Column};
use crate::choose::stages::{Solved, solve_from};
use crate::choose::supply::{Supply, suppliers};
use crate::choose::{ChooseError, CombinationLists, Group};
use crate::choose::{groups, list_columns, objectives, uses_of, wanted};
use crate::decimal::Money;
use crate::job::{Job, Parts};
use crate::plan::{Kit, MarginalValue, Objective, Plan, Stop};
use crate::stock::Item;

/// Plan with the marginal value of each item, as far as [a share](Control::share) of the time allows; items
/// left out are noted in [`LeftOut`](crate::plan::LeftOut). Serving and waste must be proven, and the columns
/// listed completely.
pub fn valued(job: &Job, mut plan: Plan, control: &Control<'_>) -> Plan {
    if !plan.waste_proven() {
        return plan;
    }
    match work_out(job, &plan, &control.share()) {
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
/// are left out; all are left out if integers cannot carry the weights of the priorities.
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

fn work_out(job: &Job, plan: &Plan, control: &Control<'_>) -> Result<Found, ChooseError> {
    let mut found = Found::default();
    let _lists = control.lists();
    let Some(weights) = job.weights() else {
        return Ok(found);
    };
    let aims: Vec<Objective> = objectives(job)
        .into_iter()
        .filter(|aim| matches!(aim, Objective::ServedOf(_) | Objective::Waste))
        .collect();
    let more: Vec<u32> =
        job.stock.iter().map(|item| item.available() + u32::from(item.cut.is_none())).collect();
    // The listener hears the number of items done.
    let quiet = &control.unheard();
    let drawers = CombinationLists::listed(job, &more, quiet)?;
    let Listed { list: columns, cut } = list_columns(job, &drawers, &more, quiet)?;
    let wanted = wanted(job.stock.len(), &columns);
    let stock = Bare::of(job, &wanted);
    let supply = stock.supply(None, quiet)?;
    // Each item is tried on a copy.
    let copied = columns.iter().map(Vec::len).sum::<usize>() * size_of::<Column>();
    quiet.keep(2 * copied)?;
    found.stopped = cut.or(supply.cut);
    if found.stopped.is_some() {
        return Ok(found);
    }
    let groups = groups(job, &columns, &supply.suppliers);
    let asked = |item: usize| {
        job.stock.get(item).is_some_and(|lot| lot.size.is_some() && lot.cut.is_none())
    };
    let all = (0..job.stock.len()).filter(|&item| asked(item)).count();
    // Plates are numbered after the stock.
    let mut in_a_group = vec![false; job.stock.len() + job.plates.len()];
    for item in groups.iter().flat_map(|group| &group.items) {
        in_a_group[usize::from(*item)] = true;
    }
    // An item that no pump can use has the value zero.
    let idle = (0..job.stock.len()).filter(|&item| asked(item) && !in_a_group[item]);
    found.worth.extend(idle.map(|item| MarginalValue {
        item,
        served_weight: 0,
        waste: Money::ZERO,
    }));
    for group in &groups {
        let mine = || -> Vec<Vec<Column>> {
            let pumps = group.pumps.iter();
            pumps.map(|&pump| columns[pump].clone()).collect()
        };
        let mut instance = group.instance(job, &aims, &supply.ready, mine(), &supply.suppliers);
        let start = at_hand(plan, group, &columns);
        let before = solve_from(&instance, &aims, start, &[], quiet);
        found.stopped = found.stopped.or(before.stopped);
        if !proven(&before) {
            continue;
        }
        for (index, &item) in group.items.iter().enumerate() {
            let item = usize::from(item);
            if !asked(item) {
                continue;
            }
            control.step(Phase::Worth, found.worth.len(), all);
            if let Some(stop) = control.stop() {
                found.stopped = Some(stop);
                break;
            }
            let after = if by_pack(job, item) {
                // One more piece changes where the packs end, so the supplier is a different one.
                let Supply { suppliers, ready, .. } = stock.supply(Some(item), quiet)?;
                let other = group.instance(job, &aims, &ready, mine(), &suppliers);
                solve_from(&other, &aims, None, &before.multipliers, quiet)
            } else {
                instance.capacity[index] += 1;
                let start = Some(before.taken.clone());
                let after = solve_from(&instance, &aims, start, &before.multipliers, quiet);
                instance.capacity[index] -= 1;
                after
            };
            found.stopped = found.stopped.or(after.stopped);
            if !proven(&after) {
                continue;
            }
            let change = |tier: usize| after.values[tier] - before.values[tier];
            let served = weights.iter().enumerate();
            found.worth.push(MarginalValue {
                item,
                served_weight: served.map(|(tier, (_, weight))| -weight * change(tier)).sum(),
                waste: Money::from_raw(change(aims.len() - 1)),
            });
        }
    }
    found.worth.sort_by_key(|worth| worth.item);
    Ok(found)
}

/// Job without its pumps, on which alone suppliers depend.
struct Bare<'a> {
    job: Job,
    wanted: &'a [u64],
}

impl Bare<'_> {
    fn of<'a>(job: &Job, wanted: &'a [u64]) -> Bare<'a> {
        let job = Job::of_checked(Parts { pumps: Vec::new(), ..Parts::clone(job) });
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

fn proven(solved: &Solved) -> bool {
    solved.values == solved.bounds
}

/// Plan as columns of a group; `None` where suppliers are part of it.
fn at_hand(plan: &Plan, group: &Group, columns: &[Vec<Column>]) -> Option<Assignment> {
    if !group.suppliers.is_empty() {
        return None;
    }
    let column = |pump: usize| {
        let Kit::Served(packs) = &plan.kits[pump] else {
            return None;
        };
        let uses = uses_of(packs.iter().flat_map(|pack| &pack.picks))?;
        let at = columns[pump].iter().position(|column| column.uses == uses)?;
        u32::try_from(at).ok()
    };
    Some(group.pumps.iter().map(|&pump| column(pump)).collect())
}
