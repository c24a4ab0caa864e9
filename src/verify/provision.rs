//! The checker of what is set aside: every safe kit at every value of its pump, and all costs.

use std::collections::BTreeMap;

use crate::job::Job;
use crate::outlook::Outlook;
use crate::provision::{Provision, SetAside};

use super::{Breach, Holder, SetAsideBreach, check_limits, check_pieces};

/// A provision that has passed the checker, with the outlook that it is for; only [`verify_provision`] makes one,
/// and only these are written.
#[derive(Debug, Clone, PartialEq)]
pub struct VerifiedProvision {
    outlook: Outlook,
    provision: Provision,
}

impl VerifiedProvision {
    /// The pumps, and what is expected of them.
    pub fn outlook(&self) -> &Outlook {
        &self.outlook
    }

    /// The pieces that are set aside.
    pub fn provision(&self) -> &Provision {
        &self.provision
    }
}

/// Works a provision out again: whether each safe kit holds what it says to take at each value, whether
/// that meets the requirements of the pump as if it had been measured there, whether the pieces
/// are there, and what they cost.
///
/// That nothing in the drawers will do for a gap, and how often the trolley serves, is not worked out here.
///
/// # Errors
/// Everything that does not hold. Such a provision is a defect of this program and is never
/// written.
pub fn verify_provision(
    outlook: Outlook,
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

/// Nobody reads more of them.
const MOST_BREACHES: usize = 20;

/// Pieces must lie in the drawers, each item once, and cost what is said.
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
