//! The Levels sheet: each item before and after, what brings it back to level, when to order again.

use rust_xlsxwriter::Worksheet;

use super::Ordered;
use crate::reorder::OrderLine;
use crate::reorder::level::{DemandLaw, LoggedReorderPoint, NoPoint};
use crate::stock::Item;
use crate::words;
use crate::write::page::{Page, Written};
use crate::write::style::{Styles, lines};
use crate::write::table::{Cells, Column, Value};

/// An item with what is worked out for it.
struct Level<'a> {
    item: &'a Item,
    line: &'a OrderLine,
    from: String,
    worth: String,
}

type Col<'s> = Column<'s, Level<'s>>;

impl Level<'_> {
    /// The pieces that are bought for it.
    fn bought(&self) -> u32 {
        (self.line.cartons + self.line.bag_cartons) * self.item.carton_qty
    }
}

fn columns(styles: &Styles) -> [Col<'_>; 16] {
    let (text, wrapped, count) = (&styles.text, &styles.wrapped, &styles.count);
    // A count that may not be there.
    let counted = move |of: Option<Value>| match of {
        Some(number) => count.of(number),
        None => text.blank(),
    };
    let top_up = move |level: &Level<'_>| match level.line.top_up {
        Some(top_up) => count.clone().set_bold().owned(top_up.cartons),
        None if level.line.below => styles.alarms.of("below, not for sale"),
        None => text.blank(),
    };
    let tenths = styles.number.clone().set_num_format("0.0");
    let safety = move |level: &Level<'_>| match &level.line.point {
        Ok(point) => tenths.owned(point.safety),
        Err(_) => text.blank(),
    };
    let point = |level: &Level<'_>| level.line.point.as_ref().ok().map(|p| p.pieces.into());
    let packs = |level: &Level<'_>| level.line.quantity.as_ref().map(|q| q.cartons.into());
    let ready = |level: &Level<'_>| level.line.ready.as_ref().map(|r| r.pieces.into());
    [
        Col::new("Item", 17.0, |level| styles.strong.of(&level.item.item)),
        Col::new("Kind", 10.0, |level| text.of(&level.item.kind)),
        Col::new("Fit", 7.0, |level| text.of(level.item.fit.as_str())),
        Col::new("On hand today", 9.0, |level| count.of(level.item.on_hand)),
        Col::new("Bought", 9.0, |level| count.of(level.bought())),
        Col::new("Issued or spoiled", 9.0, |level| {
            count.of(level.item.on_hand + level.bought() - level.line.after)
        }),
        Col::new("Left", 8.0, |level| count.of(level.line.after)),
        Col::new("Min level", 8.0, |level| count.of(level.item.min_level)),
        Col::new("Max level", 8.0, move |level| {
            counted(level.item.offer.max_level.map(Into::into))
        }),
        Col::new("Packs back to level", 10.0, top_up),
        Col::new("Reorder point", 9.0, move |level| counted(point(level))),
        Col::new("Safety stock", 9.0, safety),
        Col::new("Demand from", 26.0, |level| wrapped.of(&level.from)),
        Col::new("Order quantity (packs)", 9.0, move |level| counted(packs(level))),
        Col::new("Level for an outage", 10.0, move |level| counted(ready(level))),
        Col::new("One more today would save", 30.0, |level| wrapped.of(&level.worth)),
    ]
}

pub(super) fn sheet(ordered: &Ordered<'_>, styles: &Styles) -> Written<Worksheet> {
    let Ordered { job, report, .. } = ordered;
    let lead = "Stock of each item after this outage, packs that bring it back to level, and its reorder point.";
    let mut page = Page::begin("Levels", "Levels", lead, styles)?;
    page.last = 15;
    let columns = columns(styles);
    page.high(46.0)?;
    page.open(&columns)?;
    page.sheet.set_freeze_panes(4, 1)?;
    let items = job.stock.iter().zip(&report.lines).enumerate();
    for (index, (item, line)) in items.filter(|(_, (item, _))| item.cut.is_none()) {
        let worth = ordered.buy.today.worth.iter().find(|worth| worth.item == index);
        let worth = worth.map_or(String::new(), |worth| words::worth(job, worth));
        let level = Level { item, line, from: basis(&line.point), worth };
        page.high(16.0 * lines(&[(&level.from, 22), (&level.worth, 26)], [1, 5]))?;
        page.put(&columns, &level)?;
    }
    page.row += 1;
    for text in notes(ordered) {
        page.across(&text, &styles.prose, 16.0 * lines(&[(&text, 170)], [1, 6]))?;
    }
    let row = page.row;
    page.printed(row, 15)
}

/// The ground of a reorder point, or why there is none.
pub(super) fn basis(point: &Result<LoggedReorderPoint, NoPoint>) -> String {
    match point {
        Ok(LoggedReorderPoint { law: DemandLaw::Seen(rows), .. }) => {
            format!("{rows} lead times of the issue log")
        }
        Ok(LoggedReorderPoint { law: DemandLaw::Days { rows, largest }, .. }) => format!(
            "days of the issue log ({rows} lead times are too few); the largest demand of a lead time was {largest}"
        ),
        Err(NoPoint::NoLog) => "no issue log".into(),
        Err(NoPoint::NeverIssued) => "nothing in the issue log".into(),
        Err(NoPoint::NoLeadTime) => "no lead days in the stock".into(),
        Err(NoPoint::TooShort { days, lead }) => {
            format!("log too short: {days} days for a lead time of {lead}")
        }
        Err(NoPoint::TooFew { dates }) => format!(
            "too few issues: on {dates} date{} only, {} are needed",
            if *dates == 1 { "" } else { "s" },
            crate::reorder::level::FEWEST_DATES
        ),
        Err(NoPoint::TooLarge) => "too large to work out".into(),
    }
}

/// Items of which the least cost orders more at a time than their max level lets lie there.
fn beyond_max(ordered: &Ordered<'_>) -> Option<String> {
    let lines = ordered.job.stock.iter().zip(&ordered.report.lines);
    let beyond = lines.filter(|(item, line)| {
        let pieces = line.quantity.as_ref().map(|quantity| quantity.pieces);
        let most = item.offer.max_level.map(u64::from);
        pieces.zip(most).is_some_and(|(pieces, most)| pieces > most)
    });
    let items: Vec<&str> = beyond.map(|(item, _)| item.item.as_str()).collect();
    (!items.is_empty()).then(|| {
        format!(
            "The order quantity is above the max level for {}. The max level is the shop's own rule and may allow for room or shelf life: order up to it, or review it.",
            super::listed(&items)
        )
    })
}

/// How the columns are to be read.
fn notes(ordered: &Ordered<'_>) -> Vec<String> {
    let Ordered { question, job, .. } = ordered;
    let levels = &question.levels;
    let percent = levels.service.to_f64() * 100.0;
    let mut notes = vec![
        "Back to level: whole packs, once the free pieces left are below the min level, or no more than the reorder point; up to the max level where one is stated (common practice, no source).".to_string(),
        format!("Reorder point: the smallest number of pieces that covers the demand of a lead time with a probability of {percent} %. Safety stock is the part above the mean demand (Stevenson, Operations Management). Demand is pieces that plans asked for, picked or not, less pieces put back. Pieces that a plan was short of have no item in the log and are not included."),
        match (levels.order, levels.holding) {
            (Some(order), Some(holding)) => format!(
                "Order quantity: least cost of ordering ({} an order) and holding ({} % of the price a year), economic order quantity in whole packs (Snyder and Shen, Fundamentals of Supply Chain Theory).",
                words::money(order.raw(), job),
                holding.to_f64() * 100.0
            ),
            _ => "Order quantity: not worked out; it needs --order-cost and --holding, and an issue log.".into(),
        },
        match ordered.report.history {
            Some((days, _)) if days < crate::reorder::level::FEWEST_DAYS => format!(
                "The issue log covers {days} days, too few for the demand of a year ({} are needed): no order quantity.",
                crate::reorder::level::FEWEST_DAYS
            ),
            Some((days, _)) => format!("The order quantity follows from the {days} days of the issue log, from its first line to the day of the order. The reorder point follows from all whole lead times in these days, counted back from the last. Earlier demand is unknown."),
            None => "Without an issue log (--log) demand is unknown.".into(),
        },
        match levels.lacking {
            Some(lacking) => format!(
                "Level for an outage, of shims and gaskets: enough in the share of {} simulated outages that the newsvendor's critical ratio gives. A piece left over costs its price, a missing one {}. Each simulated outage draws as many pumps as this one from those kitted after the purchase.",
                question.outages,
                words::money(lacking.raw(), job)
            ),
            None => "Level for an outage: not worked out; it needs --shortage-cost, the cost of one missing piece.".into(),
        },
        "One more today would save: found by solving again with one more piece on hand and nothing bought. Do not add these up.".into(),
    ];
    notes.extend(beyond_max(ordered));
    if ordered.buy.today.worth.is_empty() {
        notes.push(
            "What one more would save was not worked out: that needs a plan proven in time.".into(),
        );
    }
    notes
}
