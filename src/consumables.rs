//! Consumables in the bag of each pump, out of the stock.
//!
//! [`fill`] gives each pump its [`Bag`]; [`lack`] gives the reason for a missing piece. Consumables never
//! change the choice of shims and gaskets, and never keep a pump from being kitted. They are given out after
//! the plan is made, and every missing piece is reported.
//!
//! The rule, simple enough to follow by hand:
//! - Pumps take in order of priority, then due date (none comes last), then the pump sheet. A pump takes its
//!   consumables in the order of its model. A pump that is short takes none.
//! - A row of the stock serves a consumable if its kind is the same, its fit code is the pump's (where the
//!   model names a fit column), and its section is that of the pump's ring space (where the model asks by
//!   section). Where a fit code is asked for and the pump gives none, no row serves.
//! - A bag that stays closed keeps what is in it, and has no turn.
//! - Rows without a fit code are used first, then rows in the order of the stock. One row is used up before
//!   the next is begun.
//!
//! # Decisions
//!
//! - Given out after the choice, by turn and row by row, not as packs in the problem: consumables change nothing
//!   about a clearance, and people must be able to follow who got which.
//! - A consumable of no fit code may use up a row that another needs by its code: the rule stays plain, and models
//!   that ask for one kind both ways are rare.
//! - A pump without a fit code takes nothing, even from rows without one: a wrong packing is worse than a missing
//!   one.
//! - A section must equal the stock's Thickness to the tick: a ring that does not fill the box leaks, and the row
//!   can be entered at its true size.

use crate::job::Job;
use crate::plan::{Kit, Pick, Plan};
use crate::pump::Pump;
use crate::stock::Item;

/// Bag of one pump: one share per consumable of its model, in the model's order; empty if the pump is short.
pub type Bag = Vec<Share>;

/// Share of one consumable that one pump gets.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Share {
    /// Pieces by lot, in the order in which the lots are used.
    pub picks: Vec<Pick>,
    /// Pieces missing.
    pub lacking: u32,
}

/// Reason that pieces of a consumable are missing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Lack {
    /// The pump sheet gives no fit code in this column.
    NoFitCode {
        /// Heading of the column.
        column: String,
    },
    /// No row of the stock serves.
    NotStocked,
    /// None is on hand.
    NoneOnHand,
    /// All on hand are reserved.
    AllReserved,
    /// All that may be issued went to other pumps.
    AllGivenOut {
        /// Pieces that may be issued.
        available: u64,
    },
}

/// Reason that pieces of a consumable are missing; `None` if there are enough.
pub fn lack(job: &Job, pump: &Pump, need: usize, share: &Share) -> Option<Lack> {
    if share.lacking == 0 {
        return None;
    }
    let asked = &job.model_of(pump).consumables[need];
    let no_code = pump.consumable_fits[need].code.is_none();
    if let Some(column) = asked.fit_column.as_ref().filter(|_| no_code) {
        return Some(Lack::NoFitCode { column: column.clone() });
    }
    let rows = serving(job, pump, need);
    let sum = |of: fn(&Item) -> u32| -> u64 {
        let rows = rows.iter().map(|&row| u64::from(of(&job.stock[row])));
        rows.sum()
    };
    Some(match (rows.is_empty(), sum(|item| item.on_hand), sum(Item::available)) {
        (true, _, _) => Lack::NotStocked,
        (_, 0, _) => Lack::NoneOnHand,
        (_, _, 0) => Lack::AllReserved,
        (_, _, available) => Lack::AllGivenOut { available },
    })
}

/// Rows of the stock that serve one of a pump's consumables, by index, in the order in which they are used.
pub fn serving(job: &Job, pump: &Pump, need: usize) -> Vec<usize> {
    let need_of_model = &job.model_of(pump).consumables[need];
    let asked = &pump.consumable_fits[need];
    if need_of_model.fit_column.is_some() && asked.code.is_none() {
        return Vec::new();
    }
    let serves = |item: &Item| {
        item.kind == need_of_model.kind
            && asked.code.as_ref().is_none_or(|code| item.fit == *code)
            && asked.space.is_none_or(|space| {
                let section = item.section;
                section.is_some_and(|section| space.takes(section))
            })
    };
    let mut rows: Vec<usize> =
        (0..job.stock.len()).filter(|&row| serves(&job.stock[row])).collect();
    rows.sort_by_key(|&row| (!job.stock[row].fit.key().is_empty(), row));
    rows
}

/// Fills the bags of a plan's pumps, in the job's order.
pub fn fill(job: &Job, plan: &Plan) -> Vec<Bag> {
    let issued = plan.issued(job);
    let mut left: Vec<u32> = job
        .stock
        .iter()
        .zip(issued)
        .map(|(item, issued)| item.available().saturating_sub(issued))
        .collect();
    let mut bags = vec![Bag::new(); job.pumps.len()];
    let closed = |pump: &usize| plan.leaves_closed(job, *pump);
    for pump in (0..job.pumps.len()).filter(closed) {
        bags[pump] = kept(job, pump);
        for pick in bags[pump].iter().flat_map(|share| &share.picks) {
            left[pick.item] = left[pick.item].saturating_sub(pick.count);
        }
    }
    let mut order: Vec<usize> = (0..job.pumps.len()).filter(|pump| !closed(pump)).collect();
    order.sort_by(|&a, &b| {
        let (p, q) = (&job.pumps[a], &job.pumps[b]);
        p.priority.cmp(&q.priority).then(p.due_serial().total_cmp(&q.due_serial())).then(a.cmp(&b))
    });
    for index in order {
        let pump = &job.pumps[index];
        if !matches!(plan.kits[index], Kit::Served(_)) {
            continue;
        }
        let needs = job.model_of(pump).consumables.iter().enumerate();
        bags[index] = needs
            .map(|(need, asked)| take(&serving(job, pump, need), asked.count, &mut left))
            .collect();
    }
    bags
}

/// Consumables of a bag that stays closed.
fn kept(job: &Job, pump: usize) -> Bag {
    let there = job.standing_of(pump).map_or(&[][..], |standing| &standing.consumables);
    let asked = job.model_of(&job.pumps[pump]).consumables.iter().enumerate();
    asked
        .map(|(need, asked)| {
            let picks = there.get(need).cloned().unwrap_or_default();
            let given: u32 = picks.iter().map(|pick| pick.count).sum();
            Share { picks, lacking: asked.count.saturating_sub(given) }
        })
        .collect()
}

/// Missing pieces by item of the stock. Where several rows would serve, a missing piece is counted for the
/// row that is used first.
pub fn lacking(job: &Job, bags: &[Bag]) -> Vec<u32> {
    let mut lacking = vec![0; job.stock.len()];
    for (pump, bag) in job.pumps.iter().zip(bags) {
        for (need, share) in bag.iter().enumerate().filter(|(_, share)| share.lacking > 0) {
            if let Some(&first) = serving(job, pump, need).first() {
                lacking[first] += share.lacking;
            }
        }
    }
    lacking
}

/// Takes `count` pieces from these rows, one row after the other.
fn take(rows: &[usize], count: u32, left: &mut [u32]) -> Share {
    let mut share = Share { picks: Vec::new(), lacking: count };
    for &item in rows {
        let count = share.lacking.min(left[item]);
        if count > 0 {
            left[item] -= count;
            share.lacking -= count;
            share.picks.push(Pick { item, count, peeled: 0 });
        }
    }
    share
}
