//! Levels of each item: its remaining count, the order back to level, reorder point and order quantity.
//!
//! # Decision
//!
//! Where the log holds too few lead times, demand in one is the sum of independent days of the log, not Poisson
//! with its mean: an outage asks for several pieces at once, and Poisson gave less stock for more service.

use std::collections::BTreeMap;

use crate::day;
use crate::decimal::{Millionths, Money};
use crate::inventory::economic::{
    Break, Discount, Quantity, Replenishment as Repeated, least_cost,
};
use crate::inventory::level::{Levels, StockPosition, TopUp, back_to_level};
use crate::inventory::outage::{Costs, NewsvendorQuantity, provision};
use crate::inventory::reorder::{for_issues, undershoot};
use crate::inventory::{Demand, InventoryError};
use crate::issue::log::{Log, LoggedDemand as Asked};
use crate::job::Job;
use crate::narrow::narrow;
use crate::problem::{Place, Problem, Problems};
use crate::stock::Item;

/// Options of the levels.
#[derive(Debug, Clone, PartialEq)]
pub struct LevelOptions {
    /// Probability, in millionths, of no stock-out during a lead time.
    pub service: Millionths,
    /// Cost of placing an order; with `holding` it decides the order quantity.
    pub order: Option<Money>,
    /// Cost of holding goods of value 1 for a year.
    pub holding: Option<Millionths>,
    /// Cost of a piece missing in an outage, besides its price.
    pub lacking: Option<Money>,
}

/// Demand for an item in the issue log.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Past {
    /// Pieces wanted: those that went out, less those that came back, plus those that were short.
    pub wanted: u64,
    /// Days that the log covers, first and last included.
    pub days: u32,
    /// Dates with an issue or a shortage.
    pub dates: usize,
}

/// Distribution assumed for the demand in lead time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DemandLaw {
    /// As in the consecutive lead times in the log, whose number is given.
    Seen(usize),
    /// Every day like any day of the log, since it holds too few lead times for the service asked for; at least the
    /// largest of them.
    Days {
        /// Lead times in the log.
        rows: usize,
        /// Pieces wanted in the largest of them.
        largest: u32,
    },
}

/// Reorder point of an item.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoggedReorderPoint {
    /// Order again when no more than these are left.
    pub pieces: u32,
    /// Part of these above the mean demand of a lead time; negative where less suffices.
    pub safety: f64,
    /// Distribution of the demand.
    pub law: DemandLaw,
}

/// Reasons why an item has no reorder point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoPoint {
    /// No log was given.
    NoLog,
    /// The log has no line of it.
    NeverIssued,
    /// The stock states no lead time.
    NoLeadTime,
    /// The log covers less than one lead time.
    TooShort {
        /// Days that the log covers.
        days: u32,
        /// Days of the lead time.
        lead: u32,
    },
    /// The log has it on too few dates to estimate its demand.
    TooFew {
        /// Number of dates.
        dates: usize,
    },
    /// Too large to be calculated.
    TooLarge,
}

/// Fewest dates on which an item must have moved before its past predicts its future. Common practice, no source.
pub const FEWEST_DATES: usize = 3;

/// Fewest days that a log must cover before a year's demand is estimated from it. Common practice, no source.
pub const FEWEST_DAYS: u32 = 90;

/// Finds the reorder point from the log of an item up to a date.
///
/// The log's days are cut into consecutive lead times, back from its last day. If at least one of them is expected
/// beyond the service, demand in lead time is as it was in them. Else each day of a lead time is equally likely to be
/// any day of the log, so that pieces wanted together stay together; and the point is at least the largest lead time
/// seen and the issue before it, so that it never falls as the service rises. The point itself: [`for_issues`], where
/// the issue that takes the stock to the point or below it is as large as any of the log's days.
///
/// # Errors
/// [`NoPoint`].
pub fn point(
    item: &Item,
    seen: Option<&Seen>,
    service: Millionths,
) -> Result<LoggedReorderPoint, NoPoint> {
    let seen = seen.ok_or(NoPoint::NoLog)?;
    let lead = item.offer.lead_days.ok_or(NoPoint::NoLeadTime)?.max(1);
    let Past { days, dates, wanted } = seen.past(&item.item);
    if wanted == 0 {
        return Err(NoPoint::NeverIssued);
    }
    if days < lead {
        return Err(NoPoint::TooShort { days, lead });
    }
    if dates < FEWEST_DATES {
        return Err(NoPoint::TooFew { dates });
    }
    let rows = seen.periods(&item.item, lead);
    let large = |_| NoPoint::TooLarge;
    let daily = Demand::history(&seen.periods(&item.item, 1)).map_err(large)?;
    let of = |demand: &Demand| for_issues(demand, &daily, service.to_f64());
    match of(&Demand::history(&rows).map_err(large)?) {
        Ok(point) => Ok(LoggedReorderPoint {
            pieces: point.pieces,
            safety: point.safety,
            law: DemandLaw::Seen(rows.len()),
        }),
        Err(InventoryError::TooFew { .. }) => {
            let demand = daily.over(lead).map_err(large)?;
            let mean = demand.mean();
            let pieces = of(&demand).map_err(large)?.pieces;
            let largest = rows.iter().copied().max().unwrap_or(0);
            // The largest lead time after the issue that triggers the order.
            let below = undershoot(&daily, service.to_f64()).map_err(large)?;
            let pieces = pieces.max(largest + below);
            Ok(LoggedReorderPoint {
                pieces,
                safety: f64::from(pieces) - mean,
                law: DemandLaw::Days { rows: rows.len(), largest },
            })
        }
        Err(_) => Err(NoPoint::TooLarge),
    }
}

/// Asks for the lead time of each item for sale that states none: whether it comes at once or nobody knows decides who
/// is kitted in time and when to order again.
pub fn ask_lead_days(job: &Job, problems: &mut Problems) {
    let sheet = &job.stock_sheet;
    let unknown = |item: &&Item| {
        item.cut.is_none() && item.offer.for_sale() && item.offer.lead_days.is_none()
    };
    let unknown: Vec<&Item> = job.stock.iter().filter(unknown).collect();
    let mut ask = |at: Place, found: String, fix: &str| {
        let expected = "calendar days from the order to the drawer: 0 says that it comes at once, an empty cell that nobody knows";
        problems.add(Problem::new(at, found, expected, fix));
    };
    match (sheet.lead_column, unknown.first()) {
        (Some(column), _) => unknown.iter().for_each(|item| {
            let fix = "type the days, 0 if it comes on the day of the order; clear Supplier and Pack qty if it is not to be bought";
            let found = format!("no Lead days of {}, which is for sale", item.item);
            ask(sheet.sheet.place(item.row, column), found, fix);
        }),
        (None, Some(first)) => {
            let found = format!("no column Lead days, and {} is for sale", first.item);
            let fix = "add the column, with the days of every row that has a Supplier or a Pack qty";
            ask(sheet.sheet.whole(), found, fix);
        }
        (None, None) => {}
    }
}

/// Log of each item by day, up to a date.
pub struct Seen {
    /// Days that count, first and last included.
    days: u32,
    /// By stock number as it is compared: the day, from 0, and its demand.
    items: BTreeMap<String, Vec<(u32, Asked)>>,
}

impl Seen {
    /// The log up to a date; `None` if it has no line up to then, or a date is invalid.
    pub fn until(log: &Log, date: &str) -> Option<Seen> {
        let demands = log.demands(date);
        let dates = demands.values().flat_map(BTreeMap::keys);
        let first = day::number(dates.min()?)?;
        let since = |date: &str| u32::try_from(day::number(date)? - first).ok();
        let items = demands.iter().map(|(item, dates)| {
            let days = dates.iter();
            let days = days.filter_map(|(date, asked)| Some((since(date)?, *asked)));
            (item.clone(), days.collect())
        });
        Some(Seen { days: since(date)? + 1, items: items.collect() })
    }

    /// Days that count, first and last included.
    pub fn days(&self) -> u32 {
        self.days
    }

    fn of(&self, item: &str) -> &[(u32, Asked)] {
        let item = crate::stock::folded(item);
        self.items.get(&item).map_or(&[], Vec::as_slice)
    }

    /// Past demand for an item.
    pub fn past(&self, item: &str) -> Past {
        let days = self.of(item);
        Past {
            wanted: sum(days),
            days: self.days,
            dates: days.iter().filter(|(_, asked)| asked.wanted() > 0).count(),
        }
    }

    /// Pieces wanted in each full period of `length` days, the last one ending with the last day, earliest first.
    fn periods(&self, item: &str, length: u32) -> Vec<u32> {
        let days = self.of(item);
        let count = self.days / length;
        let first = self.days - count * length;
        (0..count)
            .map(|period| {
                let from = first + period * length;
                let start = days.partition_point(|(day, _)| *day < from);
                let end = days.partition_point(|(day, _)| *day < from + length);
                narrow::<u32>(sum(&days[start..end]))
            })
            .collect()
    }
}

/// Total of the pieces wanted on some days; pieces that came back on one of them count against the others.
fn sum(days: &[(u32, Asked)]) -> u64 {
    let mut all = Asked::default();
    for (_, asked) in days {
        all.out += asked.out;
        all.back += asked.back;
        all.missed += asked.missed;
        all.stood_in += asked.stood_in;
    }
    all.wanted()
}

/// Order quantity in whole packs: the least cost of ordering and holding a year's demand. `None` where a rate, the
/// price or the past is unknown, or the log is shorter than [`FEWEST_DAYS`].
pub fn quantity(item: &Item, seen: Option<&Seen>, question: &LevelOptions) -> Option<Quantity> {
    let (order, holding) = (question.order?, question.holding?);
    let Past { days, wanted, dates } = seen?.past(&item.item);
    if dates < FEWEST_DATES || days < FEWEST_DAYS {
        return None;
    }
    let year = i128::from(wanted) * 365 * 1_000_000 / i128::from(days);
    let pack = item.offer.carton_qty?;
    let price = item.offer.unit_cost?.raw().checked_mul(i64::from(pack))?;
    least_cost(&Repeated {
        demand: Millionths::from_raw(i64::try_from(year).ok()?),
        order,
        storage: Money::ZERO,
        interest: holding,
        pack,
        prices: vec![Break { cartons: 1, price: Money::from_raw(price) }],
        discount: Discount::AllUnits,
    })
    .ok()
}

/// Least count that should be left of an item: its min level, and one more than its reorder point.
fn least(item: &Item, again: Option<u32>) -> u32 {
    item.min_level.max(again.map_or(0, |pieces| pieces + 1))
}

/// Whether the unreserved count on hand is less than it should be.
pub fn below(item: &Item, on_hand: u32, again: Option<u32>) -> bool {
    i64::from(on_hand) - i64::from(item.reserved) < i64::from(least(item, again))
}

/// Order that brings an item back to level, if its unreserved count is below its min level, or at or below its
/// reorder point; in packs for sale, up to the max level.
pub fn top_up(item: &Item, on_hand: u32, again: Option<u32>) -> Option<TopUp> {
    let standing = StockPosition { on_hand, backorders: item.reserved, ..StockPosition::default() };
    let levels = Levels {
        min: least(item, again),
        max: item.offer.max_level.filter(|&max| max >= least(item, again)),
        pack: item.carton_qty,
    };
    let order = back_to_level(&standing, &levels).ok()?;
    (order.cartons > 0).then_some(order)
}

/// Number of pieces of an item to have ready for an outage like those simulated: enough as often as the critical
/// ratio of its price and the cost of a missing piece. `None` where that is unknown, and for consumables, which are
/// not simulated.
pub fn ready(item: &Item, asked: &[u32], question: &LevelOptions) -> Option<NewsvendorQuantity> {
    item.size.as_ref()?;
    let costs = Costs::new(item.offer.unit_cost?, question.lacking?).ok()?;
    provision(&Demand::history(asked).ok()?, &costs).ok()
}
