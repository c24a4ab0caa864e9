//! Checker of purchases: everything is counted again, from the job and the market alone.

use crate::job::Job;
use crate::plan::{Kit, Objective};
use crate::purchase::{Market, Purchase};

use super::{Breach, check_goals, check_kits, check_values};

/// Purchase that has passed the checker, with the job that it makes; only verified purchases are shown to a
/// purchaser.
#[derive(Debug, Clone, PartialEq)]
pub struct VerifiedPurchase {
    purchase: Purchase,
    delivered: Job,
}

impl VerifiedPurchase {
    /// Purchase itself.
    pub fn purchase(&self) -> &Purchase {
        &self.purchase
    }

    /// Job with everything bought in the drawer.
    pub fn delivered(&self) -> &Job {
        &self.delivered
    }
}

/// Works a purchase out again: every kit from the future stock, the pieces of late pumps from those on hand
/// today, the cost pack by pack, the budget.
///
/// # Errors
/// Every breach. A purchase with one is a defect of this program and is never written.
pub fn verify_purchase(
    job: &Job,
    market: &Market,
    purchase: Purchase,
) -> Result<VerifiedPurchase, Vec<Breach>> {
    purchase.plan.check(job).map_err(|error| vec![error.into()])?;
    let mut breaches = Vec::new();
    if purchase.cartons.len() != job.stock.len() {
        return Err(vec![Breach::Unmatched]);
    }
    let mut delivered = job.clone();
    let mut cost: i128 = 0;
    for (item, &packs) in purchase.cartons.iter().enumerate() {
        if packs == 0 {
            continue;
        }
        let lot = &mut delivered.parts.stock[item];
        let terms = (lot.offer.unit_cost, lot.offer.carton_qty);
        let (Some(unit_cost), Some(pack)) = terms else {
            breaches.push(Breach::NotForSale(lot.item.clone()));
            continue;
        };
        cost += i128::from(unit_cost.raw()) * i128::from(packs) * i128::from(pack);
        lot.on_hand += packs * pack;
    }
    if let Some(budget) = market.budget
        && cost > i128::from(budget.raw())
    {
        breaches.push(Breach::Budget { cost, budget });
    }
    let mut sums = check_kits(&delivered, &purchase.plan, &mut breaches);
    sums.bought = cost;
    let after = [Objective::Purchase, Objective::Waste];
    check_goals(job, &purchase.plan, &after, &mut breaches);
    check_values(&purchase.plan, &sums, &mut breaches);
    check_lead_times(job, market, &purchase, &mut breaches);
    if breaches.is_empty() { Ok(VerifiedPurchase { purchase, delivered }) } else { Err(breaches) }
}

/// Checks that the pumps that an item arrives too late for use only the pieces on hand of it.
fn check_lead_times(job: &Job, market: &Market, purchase: &Purchase, breaches: &mut Vec<Breach>) {
    for (item, lot) in job.stock.iter().enumerate() {
        let arrives = market.today + i64::from(lot.offer.lead_days.unwrap_or(0));
        let mut taken: u64 = 0;
        for (pump, kit) in job.pumps.iter().zip(&purchase.plan.kits) {
            let Kit::Served(packs) = kit else { continue };
            let Some(due) = pump.due.as_ref().map(|due| due.serial) else {
                continue;
            };
            #[expect(clippy::cast_precision_loss, reason = "days since 1899 are far below 2^53")]
            let waits = due.is_infinite() || arrives as f64 <= due;
            if waits {
                continue;
            }
            let picks = packs.iter().flat_map(|pack| &pack.picks);
            let of_it = picks.filter(|pick| pick.item == item);
            taken += of_it.map(|pick| u64::from(pick.count)).sum::<u64>();
        }
        if taken > u64::from(lot.on_hand.saturating_sub(lot.reserved)) {
            breaches.push(Breach::Late { item: lot.item.clone(), count: taken });
        }
    }
}
