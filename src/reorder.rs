//! Purchasing advice: for this outage, back to level, and which thicknesses to hold at all.
//!
//! The purchase for the outage is in [`crate::purchase`]; this module derives the advice per item ([`level`]) and per
//! drawer ([`shelf`]).
//!
//! # Decision
//!
//! Packs back to level stand beside the purchase, not in its problem: they refill the drawer. What they would do
//! for short pumps is reported.

pub mod level;
pub mod shelf;
pub mod simulate;

use crate::accounting::spoiled;
use crate::choose::control::Control;
use crate::choose::purchase::purchase;
use crate::choose::worth::valued;
use crate::choose::{ChooseError, choose};
use crate::consumables::{self, Bag};
use crate::day;
use crate::decimal::Money;
use crate::inventory::economic::Quantity;
use crate::inventory::level::TopUp;
use crate::inventory::outage::NewsvendorQuantity;
use crate::issue::log::Log;
use crate::job::Job;
use crate::length::{Length, Unit};
use crate::plan::{Kit, Plan};
use crate::purchase::{Lacking, Market, Purchase};
use crate::size_range::SizeRangeError;
use level::{LoggedReorderPoint, NoPoint, Seen};
use shelf::{Shelf, ShelfTargets};

/// Options of the advice.
#[derive(Debug, Clone, PartialEq)]
pub struct ReorderOptions {
    /// Options of the levels.
    pub levels: level::LevelOptions,
    /// Number of outages to simulate.
    pub outages: u32,
    /// Step of the range of totals; chosen by the pumps' models if not given.
    pub step: Option<Length>,
    /// Ranges of totals for a kind and fit code, in place of those that the pumps of this outage need.
    pub ranges: Vec<(String, String, Length, Length)>,
    /// Most shims in a pack, in place of the models' own number.
    pub pieces: Option<u32>,
    /// Date of the order, `YYYY-MM-DD`.
    pub date: String,
}

/// Advice for an item.
#[derive(Debug, Clone, PartialEq)]
pub struct OrderLine {
    /// Packs to buy so that pumps can be kitted.
    pub cartons: u32,
    /// Packs to buy for pieces missing from the bags; their cost is not proven least.
    pub bag_cartons: u32,
    /// Pieces missing from the bags.
    pub bag_lacks: u32,
    /// Pieces that the plan after the purchase takes, bags included.
    pub issued: u32,
    /// Pieces of opened packs that are spoiled.
    pub spoiled: u32,
    /// On hand once everything is bought and issued.
    pub after: u32,
    /// Whether that is below its min level, or at or below its reorder point.
    pub below: bool,
    /// Order that brings it back to level, if the item is for sale.
    pub top_up: Option<TopUp>,
    /// Reorder point.
    pub point: Result<LoggedReorderPoint, NoPoint>,
    /// Economic order quantity.
    pub quantity: Option<Quantity>,
    /// Number to have ready for an outage like this one.
    pub ready: Option<NewsvendorQuantity>,
    /// Mean demand of the simulated outages, in pieces.
    pub asked: f64,
}

/// Purchase for an outage, and the plan without it.
#[derive(Debug, Clone, PartialEq)]
pub struct Buy {
    /// Offers in force.
    pub market: Market,
    /// Plan without a purchase, with the value of one more of each item.
    pub today: Plan,
    /// Packs to buy, and the plan with them.
    pub purchase: Purchase,
}

/// Advice that follows from a purchase, per item and per drawer.
#[derive(Debug, Clone, PartialEq)]
pub struct PurchaseReport {
    /// Bags of the pumps that can then be kitted.
    pub bags: Vec<Bag>,
    /// Per item of the stock.
    pub lines: Vec<OrderLine>,
    /// Drawers, or the reason why one cannot be calculated: kind, fit and reason.
    pub shelves: Vec<Result<Shelf, (String, String, SizeRangeError)>>,
    /// Pumps that could be kitted if the packs back to level were there as well, whenever they arrive; calculated
    /// where pumps stay short.
    pub with_levels: Option<usize>,
    /// Days and lines of the issue log up to the date, if a log with any was given.
    pub history: Option<(u32, usize)>,
}

/// Reasons why no purchase is possible.
#[derive(Debug, Clone, PartialEq)]
pub enum Refused {
    /// A place can be filled in too many ways.
    Choose(ChooseError),
    /// Items that could fix a short pump and are marked for purchase, but whose price or pack is missing.
    Lacking(Vec<Lacking>),
    /// The date of the options is not a date.
    Date,
}

/// Finds the purchase with which pumps can be kitted.
///
/// `control` gives one control for each part of the work, in turn: the plan without a purchase, the purchase, the value
/// of one more. Each may take only a share of the remaining time, so that the next ones have theirs: tenths 4, 6, 4.
///
/// # Errors
/// [`Refused`].
pub fn buy<'a>(
    job: &Job,
    question: &ReorderOptions,
    budget: Option<Money>,
    control: impl Fn(&str) -> Control<'a>,
) -> Result<Buy, Refused> {
    let today = choose(job, &control("what the stock gives").tenths(4)).map_err(Refused::Choose)?;
    let day = day::number(&question.date).ok_or(Refused::Date)?;
    let short = short_places(job, &today);
    let market = Market::of(job, i64::from(day), budget, |item| {
        let lot = &job.stock[item];
        short.iter().any(|(kind, fit)| *kind == lot.kind && fit == lot.fit.key())
    })
    .map_err(Refused::Lacking)?;
    let found = purchase(job, &market, &control("what to buy").tenths(6));
    Ok(Buy {
        purchase: found.map_err(Refused::Choose)?,
        today: valued(job, today, &control("the worth of one more").tenths(4)),
        market,
    })
}

/// The outage with a purchase delivered.
#[derive(Debug, Clone, Copy)]
pub struct After<'a> {
    /// The job with everything bought on hand.
    pub delivered: &'a Job,
    /// The purchase.
    pub purchase: &'a Purchase,
}

/// Derives the advice from a purchase: reorder points, packs back to level, drawers.
///
/// `control` gives a control for the effect of the packs back to level, which may take half of the remaining time, and
/// one for the drawers.
pub fn report<'a>(
    job: &Job,
    question: &ReorderOptions,
    after: After<'_>,
    log: Option<&Log>,
    control: impl Fn(&str) -> Control<'a>,
) -> PurchaseReport {
    let bags = consumables::fill(after.delivered, &after.purchase.plan);
    let seen = log.and_then(|log| Seen::until(log, &question.date));
    let history = log.and_then(|log| Some((seen.as_ref()?.days(), log.entries().len())));
    let lines = lines(job, question, after, &bags, seen.as_ref());
    let levels = control("what the packs back to level do").tenths(5);
    let with_levels = with_levels(after, &lines, &levels);
    let shelves = shelves(job, question, after.delivered, &control("which thicknesses to hold"));
    PurchaseReport { bags, lines, shelves, history, with_levels }
}

/// Number of pumps that the stock serves with the packs back to level included.
fn with_levels(after: After<'_>, lines: &[OrderLine], control: &Control<'_>) -> Option<usize> {
    let After { delivered, purchase } = after;
    let more = lines.iter().any(|line| line.top_up.is_some());
    if !more || purchase.plan.served() == delivered.pumps.len() {
        return None;
    }
    let mut full = delivered.clone();
    for (lot, line) in full.parts.stock.iter_mut().zip(lines) {
        let pieces = line.top_up.map_or(0, |top_up| top_up.pieces);
        lot.on_hand = lot.on_hand.saturating_add(pieces);
    }
    Some(choose(&full, control).ok()?.served())
}

/// Kind and fit of the places of the short pumps.
fn short_places(job: &Job, plan: &Plan) -> Vec<(String, String)> {
    let mut places = Vec::new();
    for (pump, kit) in job.pumps.iter().zip(&plan.kits) {
        if matches!(kit, Kit::Served(_)) {
            continue;
        }
        for (pack, fit) in job.model_of(pump).packs.iter().zip(&pump.fits) {
            places.push((pack.kind.clone(), fit.key().to_string()));
        }
    }
    places.sort_unstable();
    places.dedup();
    places
}

fn lines(
    job: &Job,
    question: &ReorderOptions,
    after: After<'_>,
    bags: &[Bag],
    seen: Option<&Seen>,
) -> Vec<OrderLine> {
    let After { delivered, purchase } = after;
    let mut issued = purchase.plan.issued(delivered);
    for pick in bags.iter().flatten().flat_map(|share| &share.picks) {
        issued[pick.item] += pick.count;
    }
    let lacking = consumables::lacking(delivered, bags);
    let asked = simulate::outages(job, &purchase.plan, question.outages, job.policy.seed);
    job.stock
        .iter()
        .enumerate()
        .map(|(index, item)| {
            let spoiled = spoiled(delivered, index, issued[index]);
            let on_hand = delivered.stock[index].on_hand;
            // An item that is not for sale is not ordered, but reported.
            let sold = item.offer.for_sale();
            let bag_lacks = lacking[index];
            let bag_packs = match sold {
                true => bag_lacks.div_ceil(item.carton_qty.max(1)),
                false => 0,
            };
            // Pieces missing from the bags go straight into them; the rest of their packs stays.
            let kept = (bag_packs * item.carton_qty).saturating_sub(bag_lacks);
            let after = on_hand.saturating_sub(issued[index] + spoiled) + kept;
            let asked = &asked[index];
            let sum: u64 = asked.iter().map(|&count| u64::from(count)).sum();
            #[expect(clippy::cast_precision_loss, reason = "pieces are far below 2^53")]
            let mean = sum as f64 / asked.len().max(1) as f64;
            let point = level::point(item, seen, question.levels.service);
            let again = point.as_ref().ok().map(|point| point.pieces);
            OrderLine {
                cartons: purchase.cartons[index],
                bag_cartons: bag_packs,
                bag_lacks,
                issued: issued[index],
                spoiled,
                after,
                below: item.cut.is_none() && level::below(item, after, again),
                top_up: sold.then(|| level::top_up(item, after, again)).flatten(),
                point,
                quantity: level::quantity(item, seen, &question.levels),
                ready: level::ready(item, asked, &question.levels),
                asked: mean,
            }
        })
        .collect()
}

fn shelves(
    job: &Job,
    question: &ReorderOptions,
    delivered: &Job,
    control: &Control<'_>,
) -> Vec<Result<Shelf, (String, String, SizeRangeError)>> {
    let mut shelves = Vec::new();
    for (kind, fit, items) in shelf::drawers(job) {
        let step = question.step.unwrap_or_else(|| step_of(job, &kind, &fit));
        let Some(mut asked) = shelf::asked_by_pumps(job, &kind, &fit, step) else {
            continue;
        };
        let folded = crate::stock::folded(&fit);
        let given = question.ranges.iter();
        let same = |text: &str, key: &str| crate::stock::folded(text) == key;
        let given = given.rev().find(|(of, code, ..)| same(code, &folded) && same(of, &kind));
        if let Some((_, _, low, high)) = given {
            match crate::size_range::Targets::new(*low, *high, step) {
                Ok(targets) => asked.targets = targets,
                Err(fault) => {
                    shelves.push(Err((kind, fit, fault)));
                    continue;
                }
            }
        }
        if let Some(pieces) = question.pieces.filter(|_| kind == "shim") {
            asked =
                ShelfTargets { rule: crate::size_range::Rule { pieces, ..asked.rule }, ..asked };
        }
        let held = |item: usize| delivered.stock[item].available() > 0;
        let drawer = (kind.clone(), fit.clone(), items);
        let shelf = shelf::shelf(job, drawer, asked, held, control);
        shelves.push(shelf.map_err(|fault| (kind, fit, fault)));
    }
    shelves
}

/// A thou, or 0.02 mm where the models that use the drawer are metric.
fn step_of(job: &Job, kind: &str, fit: &str) -> Length {
    let folded = crate::stock::folded(fit);
    let metric = job.pumps.iter().any(|pump| {
        let model = job.model_of(pump);
        let mut places = model.packs.iter().zip(&pump.fits);
        let uses = places.any(|(pack, code)| pack.kind == kind && code.key() == folded);
        uses && matches!(model.unit, Unit::Millimetre | Unit::Micrometre)
    });
    match metric {
        true => Length::from_ticks(20 * Unit::Micrometre.ticks()),
        false => Length::from_ticks(Unit::Thou.ticks()),
    }
}
