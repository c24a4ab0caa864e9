//! Buying for one outage: offers, prices, and the days on which ordered pieces arrive.
//!
//! The [`Market`] of a job lists its offers; [`choose::purchase`](crate::choose::purchase) finds the
//! [`Purchase`] that kits the most pumps by priority and then costs the least.

use crate::decimal::Money;
use crate::job::Job;
use crate::plan::Plan;
use crate::problem::{Problem, Problems};
use crate::pump::Pump;
use crate::stock::Item;

/// Offer of one item: whole packs only.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CartonOffer {
    /// The item's index in the stock.
    pub item: usize,
    /// Pieces in a pack; at least one.
    pub pack: u32,
    /// Price of a pack.
    pub price: Money,
    /// Calendar days from the order to the drawer.
    pub lead_days: u32,
}

/// Everything for sale, the day of the order, and the budget.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Market {
    /// By item of the stock; `None` for what is not for sale.
    pub offers: Vec<Option<CartonOffer>>,
    /// The day of the order, in days since 1899-12-30, as spreadsheets count them.
    pub today: i64,
    /// Most that may be spent.
    pub budget: Option<Money>,
}

/// Data missing from an item that is meant to be bought.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Lacking {
    /// The item's index in the stock.
    pub item: usize,
    /// Whether its Unit cost is missing.
    pub price: bool,
    /// Whether its Pack qty is missing.
    pub pack: bool,
}

impl Lacking {
    /// Reports each missing value with the cell in which it is expected.
    pub fn say(&self, job: &Job, problems: &mut Problems) {
        let (sheet, item) = (&job.stock_sheet, &job.stock[self.item]);
        let mut add = |column: Option<u32>, name: &str, expected: &str, fix: &str| {
            let at = match column {
                Some(column) => sheet.sheet.place(item.row, column),
                None => sheet.sheet.place(item.row, 0),
            };
            let found = match column {
                Some(_) => {
                    format!("no {name} of {}, which pumps that are short could use", item.item)
                }
                None => format!(
                    "no column {name}, and {} is for sale and could serve pumps that are short",
                    item.item
                ),
            };
            problems.add(Problem::new(at, found, expected, fix));
        };
        if self.price {
            let fix = "type what one piece costs; clear Supplier, Pack qty and Lead days if it is not to be bought";
            add(sheet.price_column, "Unit cost", "the price of one piece", fix);
        }
        if self.pack {
            let fix = "type the pieces in a pack, 1 if they are sold singly; clear Supplier and Lead days if it is not to be bought";
            add(sheet.pack_column, "Pack qty", "how many pieces are sold together", fix);
        }
    }
}

impl Market {
    /// Market of a job, from the terms of its stock.
    ///
    /// An item is for sale if the stock gives a supplier, a pack or a lead time for it. A missing lead time
    /// counts as zero days. Pieces cut from sheets are not bought.
    ///
    /// # Errors
    /// The items that `wanted` selects and that are for sale, but have no price or no pack.
    pub fn of(
        job: &Job,
        today: i64,
        budget: Option<Money>,
        wanted: impl Fn(usize) -> bool,
    ) -> Result<Market, Vec<Lacking>> {
        let mut lacking = Vec::new();
        let mut offers = Vec::with_capacity(job.stock.len());
        for (item, lot) in job.stock.iter().enumerate() {
            let offer = offer(item, lot);
            if let Err(lacks) = offer
                && wanted(item)
            {
                lacking.push(lacks);
            }
            offers.push(offer.unwrap_or(None));
        }
        if lacking.is_empty() { Ok(Market { offers, today, budget }) } else { Err(lacking) }
    }

    /// Day on which an item that is ordered today arrives, in days since 1899-12-30; `None` if it is not for
    /// sale.
    pub fn arrives(&self, item: usize) -> Option<i64> {
        let offer = self.offers.get(item)?.as_ref()?;
        Some(self.today + i64::from(offer.lead_days))
    }

    /// Whether a bought piece arrives after the pump's due date. A piece that arrives on that day is in time,
    /// and a pump without a due date waits.
    pub fn too_late(&self, pump: &Pump, item: usize) -> bool {
        self.arrives(item).is_some_and(|day| pump.is_due_before(day))
    }
}

fn offer(item: usize, lot: &Item) -> Result<Option<CartonOffer>, Lacking> {
    if lot.cut.is_some() || lot.size.is_none() || !lot.offer.for_sale() {
        return Ok(None);
    }
    let (Some(unit_cost), Some(pack)) = (lot.offer.unit_cost, lot.offer.carton_qty) else {
        return Err(Lacking {
            item,
            price: lot.offer.unit_cost.is_none(),
            pack: lot.offer.carton_qty.is_none(),
        });
    };
    Ok(Some(CartonOffer {
        item,
        pack,
        price: Money::from_raw(unit_cost.raw().saturating_mul(i64::from(pack))),
        lead_days: lot.offer.lead_days.unwrap_or(0),
    }))
}

/// Packs to buy, and the plan that they make possible.
#[derive(Debug, Clone, PartialEq)]
pub struct Purchase {
    /// Packs to buy, by item of the stock.
    pub cartons: Vec<u32>,
    /// Plan with these packs in stock. Its goals in order: pumps served by priority, purchase cost, waste.
    pub plan: Plan,
    /// By pump: the item that arrives too late, if the due date is all that keeps the pump short.
    pub late: Vec<Option<Late>>,
}

/// Pump that is due before its last item can arrive.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Late {
    /// Index in the stock of the item that arrives last.
    pub item: usize,
    /// Day on which it arrives, in days since 1899-12-30: the earliest over all ways to kit the pump.
    pub arrives: i64,
}

impl Purchase {
    /// Pieces bought, by item.
    pub fn pieces(&self, market: &Market) -> Vec<u32> {
        let packs = self.cartons.iter().zip(&market.offers);
        packs.map(|(packs, offer)| offer.map_or(0, |offer| packs * offer.pack)).collect()
    }

    /// Cost of all packs.
    pub fn cost(&self, market: &Market) -> Money {
        let offers = self.cartons.iter().zip(&market.offers);
        let cost = offers.map(|(&packs, offer)| {
            offer.map_or(0, |offer| offer.price.raw().saturating_mul(i64::from(packs)))
        });
        Money::from_raw(cost.fold(0, i64::saturating_add))
    }
}
