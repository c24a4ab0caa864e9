//! Checker of the bags, from the definition of a bag rather than the way it was filled.

use std::collections::BTreeMap;

use crate::consumables::{Bag, Share};
use crate::job::Job;
use crate::plan::{Kit, Plan};
use crate::stock::Item;

use super::{Breach, PlaceBreach};

/// Breaches of the bags of a plan: a piece of a kind, fit or section that the pump does not ask for; more of
/// an item than there is; a piece for a pump that is short; a piece left over, or given to a pump whose turn
/// comes later, that a pump is short of; a lot begun before an earlier one is used up. A bag that stays closed has what is
/// in it, whoever else is short of that.
pub fn check_bags(job: &Job, plan: &Plan, bags: &[Bag]) -> Vec<Breach> {
    let mut breaches = Vec::new();
    for ((pump, kit), bag) in job.pumps.iter().zip(&plan.kits).zip(bags) {
        let needs = match kit {
            Kit::Served(_) => job.models[pump.model].consumables.len(),
            Kit::Short(_) => 0,
        };
        if bag.len() != needs {
            breaches.push(Breach::Shares { pump: pump.tag.clone(), found: bag.len(), needs });
        }
    }
    let picks = bags.iter().flatten().flat_map(|share| &share.picks);
    for pick in picks.filter(|pick| pick.item >= job.stock.len()) {
        breaches.push(Breach::NoItem(pick.item));
    }
    if bags.len() != job.pumps.len() {
        breaches.push(Breach::Count { found: bags.len(), of: "bags", pumps: job.pumps.len() });
    }
    if !breaches.is_empty() {
        return breaches;
    }
    let given = Given::count(job, plan, bags);
    for (lot, &left) in job.stock.iter().zip(&given.left) {
        if left < 0 {
            breaches.push(Breach::GivenOut { item: lot.item.clone(), more: -left });
        }
    }
    for (index, bag) in bags.iter().enumerate() {
        for (need, share) in bag.iter().enumerate() {
            let pump = &job.pumps[index];
            let kind = &job.models[pump.model].consumables[need].kind;
            let wrong = match plan.leaves_closed(job, index) {
                true => kept(job, index, need, share).into_iter().collect(),
                false => given.check(job, index, need, share),
            };
            breaches.extend(wrong.into_iter().map(|fault| Breach::Place {
                pump: pump.tag.clone(),
                place: kind.clone(),
                fault,
            }));
        }
    }
    breaches
}

/// Breach of a share in a bag that stays closed.
fn kept(job: &Job, pump: usize, need: usize, share: &Share) -> Option<PlaceBreach> {
    let there = job.standing[pump].consumables.get(need);
    let asked = job.models[job.pumps[pump].model].consumables[need].count;
    let given: u32 = share.picks.iter().map(|pick| pick.count).sum();
    let same = there.map_or(share.picks.is_empty(), |there| *there == share.picks)
        && share.lacking == asked.saturating_sub(given);
    (!same).then_some(PlaceBreach::Given { given, lacking: share.lacking, asked })
}

/// Pieces that all bags together take.
struct Given {
    /// Pieces of each item left to give out; negative if more are given than there are.
    left: Vec<i64>,
    /// Turn of each pump.
    turn: Vec<usize>,
    /// Last to take some of an item, by item: turn and consumable.
    last: BTreeMap<usize, (usize, usize)>,
}

impl Given {
    fn count(job: &Job, plan: &Plan, bags: &[Bag]) -> Given {
        let available = |lot: &Item| i64::from(lot.on_hand) - i64::from(lot.reserved);
        let mut left: Vec<i64> = job.stock.iter().map(available).collect();
        for (pump, kit) in plan.kits.iter().enumerate() {
            let Kit::Served(packs) = kit else { continue };
            job.takes(pump, packs).for_each(|pick| left[pick.item] -= i64::from(pick.count));
        }
        let mut order: Vec<usize> = (0..job.pumps.len()).collect();
        let due = |pump: usize| {
            let due = job.pumps[pump].due.as_ref();
            due.map_or(f64::INFINITY, |due| due.serial)
        };
        // A stable sort, so the least important key goes first.
        order.sort_by(|&a, &b| due(a).total_cmp(&due(b)));
        order.sort_by_key(|&pump| job.pumps[pump].priority);
        let mut turn = vec![0; order.len()];
        let mut last = BTreeMap::new();
        for (at, &pump) in order.iter().enumerate() {
            turn[pump] = at;
            let closed = plan.leaves_closed(job, pump);
            for (need, share) in bags[pump].iter().enumerate() {
                for pick in &share.picks {
                    left[pick.item] -= i64::from(pick.count);
                    if !closed {
                        last.insert(pick.item, (at, need));
                    }
                }
            }
        }
        Given { left, turn, last }
    }

    /// Breaches of one share.
    fn check(&self, job: &Job, pump: usize, need: usize, share: &Share) -> Vec<PlaceBreach> {
        let mut wrong = Vec::new();
        let asked = &job.models[job.pumps[pump].model].consumables[need];
        let given: u32 = share.picks.iter().map(|pick| pick.count).sum();
        if given + share.lacking != asked.count {
            wrong.push(PlaceBreach::Given { given, lacking: share.lacking, asked: asked.count });
        }
        let fit = &job.pumps[pump].consumable_fits[need];
        let serves = |lot: &Item| {
            let code = asked.fit_column.is_none()
                || fit.code.as_ref().is_some_and(|c| c.key() == lot.fit.key());
            // On either side of the shaft the ring fills the space between shaft and bore.
            let section = fit.space.is_none_or(|space| {
                let rings = lot.section.map_or(0, |section| 2 * section.ticks());
                space.shaft().ticks() + rings == space.bore().ticks()
            });
            lot.kind == asked.kind && code && section
        };
        let place = |item: usize| (!job.stock[item].fit.key().is_empty(), item);
        // Rows that this pump could have used: those with pieces left, or given to a pump whose turn comes
        // later.
        let to_be_had: Vec<usize> = (0..job.stock.len())
            .filter(|&item| serves(&job.stock[item]))
            .filter(|item| {
                let later = self.last.get(item) > Some(&(self.turn[pump], need));
                self.left[*item] > 0 || later
            })
            .collect();
        if share.lacking > 0 {
            let lots = to_be_had.iter().map(|&item| &job.stock[item].item);
            wrong.extend(lots.cloned().map(PlaceBreach::WasThere));
        }
        for pick in &share.picks {
            let lot = &job.stock[pick.item];
            if !serves(lot) || pick.peeled > 0 {
                wrong.push(PlaceBreach::Misplaced(lot.item.clone()));
            }
            let before = |item: &usize| place(*item) < place(pick.item);
            if pick.count == 0 || to_be_had.iter().any(before) {
                wrong.push(PlaceBreach::OutOfTurn(lot.item.clone()));
            }
        }
        wrong
    }
}
