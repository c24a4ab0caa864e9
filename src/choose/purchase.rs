//! Packs to buy, chosen together with the pieces: a pack that can be bought is a supplier of the same
//! problem.
//!
//! [`purchase`] finds them. The goals are those of a plan, with the purchase cost after pumps served and
//! before waste; a budget is a limit on that cost from the start.
//!
//! A pump that is due before an item can arrive takes that item from the pieces on hand only. For this there
//! is a *held-back* item beside the real one with the pieces on hand, and such pumps take from both.
//!
//! # Decisions
//!
//! - The cost stands between the pumps served and the waste, not in one sum with it: money that leaves the house is
//!   not traded against an allowance.
//! - A budget is the first goal, held and not sought: goals that are held are rows already.
//! - A held back twin of the item, not an item on hand and one bought: the ways to fill a place are not doubled.
//! - The number of pieces and the order of equals stay open: the pieces are chosen again once the packs are there.
//! - It splits on packs first, and improves by taking packs away one by one. Measured at 30 pumps and 60 sizes:
//!   cost 156.90 before, 103.30 after, bound 96.50.
//! - The cost gets seven tenths of the time: packs are lumps, and the waste is to have some time too. A large
//!   purchase mostly ends with a gap: 3 % at 100 and at 1,000 pumps (60 sizes of one fit, 60 s, 2 cores).

use itertools::Itertools;
use rayon::prelude::*;

use crate::certificate::Certificate;
use crate::choose::control::{Control, Listed};
use crate::choose::instance::{Assignment, Column};
use crate::choose::stages::{Solved, solve_from, solve_held};
use crate::choose::supply::{Supply, bought};
use crate::choose::why::Reasons;
use crate::choose::{
    ChooseError, CombinationLists, Group, MOST_ITEMS, Setup, drawn, groups, list_columns,
    objectives, supply, wanted,
};
use crate::job::Job;
use crate::plan::{LeftOut, Objective, PackPick, Plan};
use crate::purchase::{Late, Market, Purchase};
use crate::stock::Item;

/// Most pieces of one item that are bought.
const MOST_BOUGHT: u64 = 30_000;

/// Finds the purchase that serves the most pumps by priority and then costs the least (or serves the most
/// within the budget), with the plan that it makes possible. Lots on the sheet Stock are bought; sheets that
/// pieces are cut from are not.
///
/// # Errors
/// [`ChooseError`] when, with everything that is for sale, there are too many ways to list.
pub fn purchase(
    job: &Job,
    market: &Market,
    control: &Control<'_>,
) -> Result<Purchase, ChooseError> {
    let _lists = control.lists();
    let mut laid = lay_out(job, market, control)?;
    let servable: Vec<bool> = laid.columns.iter().map(|c| !c.is_empty()).collect();
    let held: Vec<i64> = market.budget.iter().map(|budget| budget.raw()).collect();
    let mut aims: Vec<Objective> = objectives(job);
    // The pieces are chosen again with the packs in stock; what comes after the waste is settled then.
    let last = aims.iter().position(|aim| *aim == Objective::Waste);
    aims.truncate(last.map_or(aims.len(), |waste| waste + 1));
    let waste = aims.iter().position(|aim| *aim == Objective::Waste);
    aims.insert(waste.unwrap_or(aims.len()), Objective::Purchase);
    let mut all_aims: Vec<Objective> = held.iter().map(|_| Objective::Purchase).collect();
    all_aims.extend(&aims);
    let instances = laid.instances(job, &all_aims);
    let solved: Vec<Solved> = instances
        .par_iter()
        .map(|instance| {
            if held.is_empty() {
                return solve_from(instance, &aims, None, &[], control);
            }
            // Zero packs and zero pumps keep within any budget.
            let idle = (0..instance.blocks.len())
                .map(|block| (block >= instance.pumps).then_some(0))
                .collect::<Assignment>();
            let mut solved = solve_held(instance, &all_aims, &held, idle, control);
            solved.values.drain(..held.len());
            solved.bounds.drain(..held.len());
            solved
        })
        .collect();
    let mut kits: Vec<Option<Vec<PackPick>>> = vec![None; job.pumps.len()];
    let mut layouts = Vec::new();
    for ((group, instance), solved) in laid.groups.iter().zip(&instances).zip(&solved) {
        group.read(job, &laid.suppliers, instance, &solved.taken, &mut kits, &mut layouts);
    }
    layouts.sort();
    // Packs that are needed: if they cost nothing, or the time ran out, the search may have taken more.
    let mut used = vec![0_u32; job.stock.len()];
    for pick in kits.iter().flatten().flatten().flat_map(|pack| &pack.picks) {
        used[pick.item] += pick.count;
    }
    let packs: Vec<u32> = (0..job.stock.len())
        .map(|item| {
            let lacking = used[item].saturating_sub(job.stock[item].available());
            market.offers[item].map_or(0, |offer| lacking.div_ceil(offer.pack))
        })
        .collect();
    let mut purchase = Purchase {
        cartons: packs,
        plan: Plan {
            kits: Vec::new(),
            goals: laid.goals(job, &aims, &laid.groups.iter().zip(&solved).collect::<Vec<_>>()),
            layouts,
            worth: Vec::new(),
            holding: Vec::new(),
            cures: Vec::new(),
            left: None,
            held_back: Vec::new(),
            stopped_by: laid.cut.or(solved.iter().find_map(|s| s.stopped)),
            left_out: LeftOut::default(),
            certificate: Certificate::default(),
        },
        late: vec![None; job.pumps.len()],
    };
    let cost = purchase.cost(market).raw();
    for goal in &mut purchase.plan.goals {
        if goal.objective == Objective::Purchase {
            goal.value = cost;
        }
    }
    for (group, instance) in laid.groups.iter().zip(&instances) {
        for (pump, late) in late(job, market, group, &instance.blocks, &used, &kits) {
            purchase.late[pump] = Some(late);
        }
    }
    let there: Vec<u32> = job
        .stock
        .iter()
        .zip(purchase.pieces(market))
        .map(|(lot, bought)| lot.available() + bought)
        .collect();
    let reasons = Reasons {
        job,
        available: &there,
        held: &[],
        drawers: &laid.drawers,
        servable: &servable,
        layouts: &purchase.plan.layouts,
        cut: laid.cut.is_some(),
        control,
    };
    purchase.plan.kits = reasons.explain(kits);
    Ok(purchase)
}

/// Number of ways to kit the pumps that [`purchase`] chooses from: the size of its problem.
///
/// # Errors
/// As [`purchase`].
#[doc(hidden)]
pub fn columns(job: &Job, market: &Market) -> Result<usize, ChooseError> {
    let laid = lay_out(job, market, &Control::unlimited())?;
    Ok(laid.columns.iter().map(Vec::len).sum())
}

/// Lays out the job with everything for sale: as many pieces of each item as the pumps could use.
fn lay_out(job: &Job, market: &Market, control: &Control<'_>) -> Result<Setup, ChooseError> {
    if job.stock.len() + job.plates.len() > MOST_ITEMS {
        return Err(ChooseError::TooManyItems);
    }
    let on_hand: Vec<u32> = job.stock.iter().map(Item::available).collect();
    let offered: Vec<u32> =
        (0..job.stock.len()).map(|item| on_hand[item] + buyable(job, market, item)).collect();
    let all = vec![true; job.pumps.len()];
    let drawers = CombinationLists::listed(job, &all, &offered, control)?;
    let Listed { list: mut columns, cut } = list_columns(job, &all, &drawers, &offered, control)?;
    let held_back = hold_back(job, market, &mut columns);
    let wanted = wanted(job.stock.len() + held_back.len(), &columns);
    let Supply { mut suppliers, mut ready, cut: too_few } =
        supply::suppliers(job, &on_hand, &wanted, control)?;
    for (item, &wanted) in wanted.iter().enumerate().take(job.stock.len()) {
        let Some(offer) = market.offers[item].filter(|_| offered[item] > on_hand[item]) else {
            continue;
        };
        let most = wanted.min(u64::from(offered[item]));
        if most <= u64::from(on_hand[item]) {
            continue;
        }
        // One supplier per item: it opens packs and buys them.
        suppliers.retain(|supplier| supplier.by_pack != Some(item));
        let most = u32::try_from(most).unwrap_or(u32::MAX);
        suppliers.extend(bought(job, &offer, on_hand[item], most, &mut ready, control)?);
    }
    for (ready, &item) in ready[job.stock.len()..].iter_mut().zip(&held_back) {
        *ready = i64::from(on_hand[item]);
    }
    let mut groups = groups(job, &drawn(&columns), &suppliers);
    if market.budget.is_some() {
        // One budget for all groups.
        groups = Group::merged(groups);
    }
    Ok(Setup { drawers, columns, suppliers, ready, groups, cut: cut.or(too_few) })
}

/// Most pieces of an item worth buying: what the pumps in time for it could take, in whole packs, within the
/// budget.
fn buyable(job: &Job, market: &Market, item: usize) -> u32 {
    let Some(offer) = market.offers[item] else {
        return 0;
    };
    let lot = &job.stock[item];
    let takes = |pump: &crate::pump::Pump| -> u64 {
        let places = job.model_of(pump).packs.iter().zip(&pump.fits);
        places
            .filter(|(pack, fit)| pack.kind == lot.kind && **fit == lot.fit)
            .map(|(pack, _)| u64::from(pack.most_pieces))
            .sum()
    };
    let pumps = job.pumps.iter();
    let wanted: u64 = pumps.filter(|pump| !market.too_late(pump, item)).map(takes).sum();
    let mut packs = wanted.min(MOST_BOUGHT).div_ceil(u64::from(offer.pack));
    if let Some(budget) = market.budget
        && offer.price.raw() > 0
    {
        let affordable = budget.raw().max(0) / offer.price.raw();
        packs = packs.min(u64::try_from(affordable).unwrap_or(0));
    }
    u32::try_from(packs * u64::from(offer.pack)).unwrap_or(0)
}

/// Lets pumps that an item comes too late for draw on its held-back twin as well; returns the items that have
/// a twin, in the order of the twins, which come after the stock.
fn hold_back(job: &Job, market: &Market, columns: &mut [Vec<Column>]) -> Vec<usize> {
    let late = |pump: usize, item: u16| market.too_late(&job.pumps[pump], usize::from(item));
    let items = |columns: &[Column]| -> Vec<u16> {
        let uses = columns.iter().flat_map(|column| &column.uses);
        uses.map(|&(item, _)| item).unique().collect()
    };
    let twins: Vec<u16> = columns
        .iter()
        .enumerate()
        .flat_map(|(pump, columns)| {
            let items = items(columns).into_iter();
            items.filter(move |&item| late(pump, item))
        })
        .unique()
        .sorted_unstable()
        .collect();
    for (pump, columns) in columns.iter_mut().enumerate() {
        for column in columns {
            for at in 0..column.uses.len() {
                let (item, count) = column.uses[at];
                let twin = twins.binary_search(&item).ok();
                let twin = twin.and_then(|twin| u16::try_from(job.stock.len() + twin).ok());
                if let Some(twin) = twin.filter(|_| late(pump, item)) {
                    column.uses.push((twin, count));
                }
            }
        }
    }
    twins.into_iter().map(usize::from).collect()
}

/// Late item of each short pump of a group, given the pieces that the others use.
///
/// Among a pump's columns the one counts whose last missing item arrives first. Under a budget, a pump with a
/// column that misses nothing late is short of money, not of time.
fn late(
    job: &Job,
    market: &Market,
    group: &Group,
    columns: &[Vec<Column>],
    used: &[u32],
    kits: &[Option<Vec<PackPick>>],
) -> Vec<(usize, Late)> {
    let short = group.pumps.iter().zip(columns);
    let short = short.filter(|(pump, _)| kits[**pump].is_none());
    let late = short.filter_map(|(&pump, columns)| {
        // The item that arrives last; `None` for a column that time alone does not make possible.
        let last = |column: &Column| {
            let mut last: Option<(i64, usize)> = None;
            for &(item, count) in &column.uses {
                let item = usize::from(group.items[usize::from(item)]);
                let Some(lot) = job.stock.get(item) else {
                    continue;
                };
                let left = lot.available().saturating_sub(used[item]);
                if u32::from(count.unsigned_abs()) <= left {
                    continue;
                }
                if market.too_late(&job.pumps[pump], item) {
                    last = last.max(Some((market.arrives(item)?, item)));
                } else {
                    market.offers[item]?;
                }
            }
            last
        };
        let all: Vec<Option<(i64, usize)>> = columns.iter().map(last).collect();
        if market.budget.is_some() && all.contains(&None) {
            return None;
        }
        let (arrives, item) = all.into_iter().flatten().min()?;
        Some((pump, Late { item, arrives }))
    });
    late.collect()
}
