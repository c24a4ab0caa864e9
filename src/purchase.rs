//! Buying for one outage: what can be bought, for how much, and for which pumps it comes in time.

use crate::decimal::Money;
use crate::job::Job;
use crate::plan::Plan;
use crate::problem::{Problem, Problems};
use crate::pump::Pump;
use crate::stock::Item;

/// What one item is sold for: whole packs only.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Offer {
    /// The item's index in the stock.
    pub item: usize,
    /// Pieces in a pack, one at least.
    pub pack: u32,
    /// The price of a pack.
    pub price: Money,
    /// Calendar days from the order to the drawer.
    pub lead_days: u32,
}

/// What can be bought, on which day, and with how much money.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Market {
    /// By item of the stock; `None` for what is not for sale.
    pub offers: Vec<Option<Offer>>,
    /// The day of the order, in days since 1899-12-30, as spreadsheets count them.
    pub today: i64,
    /// What may be spent at most.
    pub budget: Option<Money>,
}

/// What keeps an item that is meant to be bought from being bought.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Lacking {
    /// The item's index in the stock.
    pub item: usize,
    /// It has no Unit cost.
    pub price: bool,
    /// It has no Pack qty.
    pub pack: bool,
}

impl Lacking {
    /// What an item lacks to be bought, with the cell where it would stand.
    pub fn say(&self, job: &Job, problems: &mut Problems) {
        let (sheet, item) = (&job.stock_sheet, &job.stock[self.item]);
        let mut add = |column: Option<u32>, name: &str, expected: &str, mend: &str| {
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
            problems.add(Problem::new(at, found, expected, mend));
        };
        if self.price {
            let mend = "type what one piece costs; clear Supplier, Pack qty and Lead days if it is not to be bought";
            add(sheet.price_column, "Unit cost", "the price of one piece", mend);
        }
        if self.pack {
            let mend = "type the pieces in a pack, 1 if they are sold singly; clear Supplier and Lead days if it is not to be bought";
            add(sheet.pack_column, "Pack qty", "how many pieces are sold together", mend);
        }
    }
}

impl Market {
    /// The market of a job, from the terms of its stock.
    ///
    /// An item is for sale if the stock names its supplier, its pack or its lead time. A lead time
    /// that is not stated is none. Pieces that are cut from sheets are not bought.
    ///
    /// # Errors
    /// Of the items that `wanted` asks for, those that are meant to be bought and lack price or
    /// pack: nobody can say what they cost.
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

    /// The day on which an item that is ordered today lies in the drawer; `None` if it is not for
    /// sale.
    pub fn arrives(&self, item: usize) -> Option<i64> {
        let offer = self.offers.get(item)?.as_ref()?;
        Some(self.today + i64::from(offer.lead_days))
    }

    /// Whether a bought piece comes too late for a pump: after its due date. What comes on the day
    /// itself is in time, and a pump without a due date waits.
    pub fn too_late(&self, pump: &Pump, item: usize) -> bool {
        self.arrives(item).is_some_and(|day| pump.is_due_before(day))
    }
}

fn offer(item: usize, lot: &Item) -> Result<Option<Offer>, Lacking> {
    if lot.cut.is_some() || lot.size.is_none() || !lot.terms.for_sale() {
        return Ok(None);
    }
    let (Some(unit_cost), Some(pack)) = (lot.terms.unit_cost, lot.terms.pack_qty) else {
        return Err(Lacking {
            item,
            price: lot.terms.unit_cost.is_none(),
            pack: lot.terms.pack_qty.is_none(),
        });
    };
    Ok(Some(Offer {
        item,
        pack,
        price: Money::from_raw(unit_cost.raw().saturating_mul(i64::from(pack))),
        lead_days: lot.terms.lead_days.unwrap_or(0),
    }))
}

/// What to buy, and the plan that it makes possible.
#[derive(Debug, Clone, PartialEq)]
pub struct Purchase {
    /// Packs to buy, by item of the stock.
    pub packs: Vec<u32>,
    /// What is kitted once they are there, with the goals in their order: the served of each
    /// priority, the purchase cost, waste.
    pub plan: Plan,
    /// By pump: what it would be kitted with but for its due date, if that is what keeps it short.
    pub late: Vec<Option<Late>>,
}

/// A pump that is due before what it needs can come.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Late {
    /// The item that comes last, by its index in the stock.
    pub item: usize,
    /// When it would be there, in days since 1899-12-30: of all ways to kit the pump, the earliest.
    pub arrives: i64,
}

impl Purchase {
    /// Pieces bought, by item.
    pub fn pieces(&self, market: &Market) -> Vec<u32> {
        let packs = self.packs.iter().zip(&market.offers);
        packs.map(|(packs, offer)| offer.map_or(0, |offer| packs * offer.pack)).collect()
    }

    /// What all packs cost.
    pub fn cost(&self, market: &Market) -> Money {
        let offers = self.packs.iter().zip(&market.offers);
        let cost = offers.map(|(&packs, offer)| {
            offer.map_or(0, |offer| offer.price.raw().saturating_mul(i64::from(packs)))
        });
        Money::from_raw(cost.fold(0, i64::saturating_add))
    }
}
