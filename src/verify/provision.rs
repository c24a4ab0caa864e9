//! Checker of provisions: every safe kit at every value of its pump, and all costs.

use std::collections::BTreeMap;

use crate::forecast::Forecast;
use crate::job::Job;
use crate::provision::{Provision, SetAside};

use super::{Breach, Holder, SetAsideBreach, check_limits, check_pieces};

/// Provision that has passed the checker, with its outlook; only [`verify_provision`] makes one, and only
/// such provisions are written.
#[derive(Debug, Clone, PartialEq)]
pub struct VerifiedProvision {
    outlook: Forecast,
    provision: Provision,
}

impl VerifiedProvision {
    /// Pumps, with the expected values of their dimensions.
    pub fn outlook(&self) -> &Forecast {
        &self.outlook
    }

    /// Pieces set aside.
    pub fn provision(&self) -> &Provision {
        &self.provision
    }
}

/// Works a provision out again: each safe kit holds the pieces to take at each value, they meet the
/// requirements of the pump as measured there, the pieces are in stock, and their cost is right.
///
/// The gaps and the service of the trolley are not worked out here.
///
/// # Errors
/// Every breach. A provision with one is a defect of this program and is never written.
pub fn verify_provision(
    outlook: Forecast,
    provision: Provision,
) -> Result<VerifiedProvision, Vec<Breach>> {
    let job = outlook.job();
    let mut breaches = Vec::new();
    if provision.safe.len() != job.pumps.len() {
        return Err(vec![Breach::SafeKits]);
    }
    for (pump, kit) in job.pumps.iter().zip(&provision.safe) {
        let holder = Holder::SafeKit(pump.tag.clone());
        check_drawers(job, &kit.pieces, kit.cost.raw(), &holder, &mut breaches);
        for value in kit.iter() {
            let Some(packs) = value.take else { continue };
            let mut measured = pump.clone();
            for (axis, &length) in kit.axes.iter().zip(&value.lengths) {
                let dimension = &mut measured.dimensions[axis.dimension];
                dimension.value = length;
                dimension.readings = vec![length];
            }
            check_pieces(job, &measured, packs, &mut breaches);
            check_limits(job, &measured, packs, &mut breaches);
            let mut taken: BTreeMap<usize, u32> = BTreeMap::new();
            for pick in packs.iter().flat_map(|pack| &pack.picks) {
                *taken.entry(pick.item).or_default() += pick.count;
            }
            let held = |item: usize| {
                let of_it = kit.pieces.iter().find(|piece| piece.item == item);
                of_it.map_or(0, |piece| piece.count)
            };
            if taken.iter().any(|(&item, &count)| count > held(item)) {
                breaches.push(Breach::SetAside {
                    holder: holder.clone(),
                    fault: SetAsideBreach::NotHeld,
                });
            }
            if breaches.len() > MOST_BREACHES {
                return Err(breaches);
            }
        }
    }
    let trolley = &provision.trolley;
    let cost = trolley.cost.raw();
    check_drawers(job, &trolley.pieces, cost, &Holder::Trolley, &mut breaches);
    match breaches.is_empty() {
        true => Ok(VerifiedProvision { outlook, provision }),
        false => Err(breaches),
    }
}

/// Most breaches listed; nobody reads more.
const MOST_BREACHES: usize = 20;

/// Checks that the pieces are in the drawers, each item once, and that the cost is right.
fn check_drawers(
    job: &Job,
    pieces: &[SetAside],
    cost: i64,
    holder: &Holder,
    breaches: &mut Vec<Breach>,
) {
    let mut breach = |fault: SetAsideBreach| {
        let holder = holder.clone();
        breaches.push(Breach::SetAside { holder, fault });
    };
    let mut sum: i128 = 0;
    for piece in pieces {
        let Some(lot) = job.stock.get(piece.item) else {
            breach(SetAsideBreach::NoItem);
            continue;
        };
        sum += i128::from(lot.unit_cost.raw()) * i128::from(piece.count);
        if piece.count == 0 || piece.count > lot.on_hand.saturating_sub(lot.reserved) {
            breach(SetAsideBreach::Holds { item: lot.item.clone(), count: piece.count });
        }
    }
    if pieces.windows(2).any(|pair| pair[0].item >= pair[1].item) {
        breach(SetAsideBreach::Twice);
    }
    if sum != i128::from(cost) {
        breach(SetAsideBreach::Cost { sum, said: cost });
    }
}
