//! Each item's levels: what is left of it, what brings it back, when to order again and how much.

use crate::decimal::{Millionths, Money};
use crate::inventory::demand::Counts;
use crate::inventory::economic::{Break, Discount, Purchase as Repeated, Quantity, least_cost};
use crate::inventory::level::{Levels, Standing, TopUp, back_to_level};
use crate::inventory::outage::{Costs, Provision, provision};
use crate::inventory::reorder::{ReorderPoint, for_cycle_service};
use crate::inventory::{Demand, Fault};
use crate::issue::log::Log;
use crate::stock::Item;

/// What is asked of the levels.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// The chance, in millionths, that nothing lacks in a lead time.
    pub service: Millionths,
    /// What it costs to place an order; with `holding`, how much to order follows.
    pub order: Option<Money>,
    /// What it costs to hold what is worth 1 for a year.
    pub holding: Option<Millionths>,
    /// What it costs when a piece lacks in an outage, beside its price.
    pub lacking: Option<Money>,
}

/// What the issue log says of an item's past.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Past {
    /// Pieces wanted: those that went out, less those that came back, and those that were short.
    pub wanted: u64,
    /// Days that the log covers, first and last included.
    pub days: u32,
    /// Dates on which something went out or was short.
    pub dates: usize,
}

/// What the demand in lead time was taken to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Law {
    /// As often as in the lead times that the log holds one after the other, so many.
    Seen(usize),
    /// Poisson with the mean of the log, which holds too few lead times for the service asked for.
    Poisson {
        /// Lead times that the log holds.
        rows: usize,
    },
}

/// When to order an item again.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// When no more than these are left.
    pub point: ReorderPoint,
    /// Of what demand.
    pub law: Law,
}

/// Why an item has no reorder point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoPoint {
    /// No log was given.
    NoLog,
    /// The log has nothing of it.
    NeverIssued,
    /// The stock states no lead time.
    NoLeadTime,
    /// The log covers less than one lead time.
    TooShort {
        /// Days that it covers.
        days: u32,
        /// Days of the lead time.
        lead: u32,
    },
    /// The log has it on too few dates to say how often it is wanted.
    TooFew {
        /// Dates.
        dates: usize,
    },
    /// Beyond what can be reckoned.
    TooLarge,
}

/// The fewest dates on which an item must have moved before its past says anything of its future.
/// Common practice, no source.
pub const FEWEST_DATES: usize = 3;

/// When to order again, from what the log has of an item up to a date.
///
/// The log's days are cut into lead times, one after the other from its first day. If one of them at
/// least is expected beyond the service, demand in lead time is as it was in them; else it is taken
/// as Poisson with the log's mean a day (common practice for slow movers, no source).
///
/// # Errors
/// [`NoPoint`].
pub fn point(item: &Item, past: Option<&Seen>, service: Millionths) -> Result<Point, NoPoint> {
    let seen = past.ok_or(NoPoint::NoLog)?;
    let lead = item.terms.lead_days.ok_or(NoPoint::NoLeadTime)?.max(1);
    let Past {
        days,
        dates,
        wanted,
    } = seen.past(&item.item);
    if wanted == 0 {
        return Err(NoPoint::NeverIssued);
    }
    if days < lead {
        return Err(NoPoint::TooShort { days, lead });
    }
    if dates < FEWEST_DATES {
        return Err(NoPoint::TooFew { dates });
    }
    let rows = seen.lead_times(&item.item, lead);
    let service = service.to_f64();
    let of = |demand: &Demand| for_cycle_service(demand, service);
    let large = |_| NoPoint::TooLarge;
    let history = Counts::history(&rows).map_err(large)?;
    match of(&Demand::Counts(history)) {
        Ok(point) => Ok(Point {
            point,
            law: Law::Seen(rows.len()),
        }),
        Err(Fault::TooFew { .. }) => {
            #[expect(clippy::cast_precision_loss, reason = "pieces are far below 2^53")]
            let mean = wanted as f64 * f64::from(lead) / f64::from(days);
            let point = Demand::poisson(mean).and_then(|demand| of(&demand));
            Ok(Point {
                point: point.map_err(large)?,
                law: Law::Poisson { rows: rows.len() },
            })
        }
        Err(_) => Err(NoPoint::TooLarge),
    }
}

/// A log, and the days of it that count.
pub struct Seen<'a> {
    log: &'a Log,
    first: jiff::civil::Date,
    last: jiff::civil::Date,
}

impl Seen<'_> {
    /// What the log has up to a date; `None` if it has no line up to then, or a date is none.
    pub fn until<'a>(log: &'a Log, date: &str) -> Option<Seen<'a>> {
        let first = log
            .entries()
            .iter()
            .map(|entry| entry.date.as_str())
            .min()?;
        let (first, last) = (first.parse().ok()?, date.parse().ok()?);
        (first <= last).then_some(Seen { log, first, last })
    }

    /// Days that count, first and last included.
    pub fn days(&self) -> u32 {
        let days = self
            .last
            .since(self.first)
            .map_or(0, |span| span.get_days());
        u32::try_from(days + 1).unwrap_or(0)
    }

    /// What the log has of an item.
    pub fn past(&self, item: &str) -> Past {
        let wanted = |from: jiff::civil::Date, to: jiff::civil::Date| {
            self.log
                .demand(item, &from.to_string(), &to.to_string())
                .wanted()
        };
        let mut dates: Vec<&str> = self.log.entries().iter().map(|e| e.date.as_str()).collect();
        dates.sort_unstable();
        dates.dedup();
        let moved = dates.into_iter().filter_map(|date| date.parse().ok());
        let moved = moved.filter(|date| *date <= self.last && wanted(*date, *date) > 0);
        Past {
            wanted: wanted(self.first, self.last),
            days: self.days(),
            dates: moved.count(),
        }
    }

    /// Pieces wanted in each lead time that fits whole, from the first day on.
    fn lead_times(&self, item: &str, lead: u32) -> Vec<u32> {
        let mut rows = Vec::new();
        let mut from = self.first;
        loop {
            let to = from.checked_add(jiff::Span::new().days(i64::from(lead) - 1));
            let Ok(to) = to.as_ref().copied() else { break };
            if to > self.last {
                break;
            }
            let wanted = self
                .log
                .demand(item, &from.to_string(), &to.to_string())
                .wanted();
            rows.push(u32::try_from(wanted).unwrap_or(u32::MAX));
            let Ok(next) = to.tomorrow() else { break };
            from = next;
        }
        rows
    }
}

/// How much to order at a time, in whole packs: the least cost of ordering and holding a year's
/// demand. `None` where a rate, the price or the past is not known.
pub fn quantity(item: &Item, past: Option<&Seen>, question: &Question) -> Option<Quantity> {
    let (order, holding) = (question.order?, question.holding?);
    let seen = past?;
    let Past {
        days,
        wanted,
        dates,
    } = seen.past(&item.item);
    if dates < FEWEST_DATES || days == 0 {
        return None;
    }
    let year = i128::from(wanted) * 365 * 1_000_000 / i128::from(days);
    let pack = item.terms.pack_qty?;
    let price = item.terms.unit_cost?.raw().checked_mul(i64::from(pack))?;
    least_cost(&Repeated {
        demand: Millionths::from_raw(i64::try_from(year).ok()?),
        order,
        storage: Money::ZERO,
        interest: holding,
        pack,
        prices: vec![Break {
            packs: 1,
            price: Money::from_raw(price),
        }],
        discount: Discount::AllUnits,
    })
    .ok()
}

/// What brings an item back to level, if it is below its min level with what is on hand; in the packs
/// that it is sold in.
pub fn top_up(item: &Item, on_hand: u32) -> Option<TopUp> {
    let standing = Standing {
        on_hand,
        ..Standing::default()
    };
    let levels = Levels {
        min: item.min_level,
        max: item.terms.max_level.filter(|&max| max >= item.min_level),
        pack: item.pack_qty,
    };
    let order = back_to_level(&standing, &levels).ok()?;
    (order.packs > 0).then_some(order)
}

/// How many pieces of an item to have ready for an outage like those simulated: enough as often as the
/// critical ratio of its price against what it costs when one lacks. `None` where that is not known.
pub fn ready(item: &Item, asked: &[u32], question: &Question) -> Option<Provision> {
    let costs = Costs::new(item.terms.unit_cost?, question.lacking?).ok()?;
    provision(&Demand::history(asked).ok()?, &costs).ok()
}
