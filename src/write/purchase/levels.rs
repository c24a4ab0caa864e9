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
        Col::new("Order again at", 9.0, move |level| counted(point(level))),
        Col::new("Safety stock", 9.0, safety),
        Col::new("Worked out from", 26.0, |level| wrapped.of(&level.from)),
        Col::new("Packs at a time", 9.0, move |level| counted(packs(level))),
        Col::new("Ready for an outage", 10.0, move |level| counted(ready(level))),
        Col::new("One more today would save", 30.0, |level| wrapped.of(&level.worth)),
    ]
}

pub(super) fn sheet(ordered: &Ordered<'_>, styles: &Styles) -> Written<Worksheet> {
    let Ordered { job, report, .. } = ordered;
    let lead = "What this outage leaves of each item, what brings it back to level, and when to order it again.";
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
            "days of the issue log ({rows} lead times are too few); the largest lead time wanted {largest}"
        ),
        Err(NoPoint::NoLog) => "no issue log".into(),
        Err(NoPoint::NeverIssued) => "nothing in the issue log".into(),
        Err(NoPoint::NoLeadTime) => "no lead days in the stock".into(),
        Err(NoPoint::TooShort { days, lead }) => {
            format!("too few rows: {days} days of log for a lead time of {lead}")
        }
        Err(NoPoint::TooFew { dates }) => format!(
            "too few rows: issued on {dates} date{} only, {} are wanted",
            if *dates == 1 { "" } else { "s" },
            crate::reorder::level::FEWEST_DATES
        ),
        Err(NoPoint::TooLarge) => "beyond what can be reckoned".into(),
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
            "Packs at a time come to more than the max level for {}: the max level is the shop's own rule and knows what cost does not (room, shelf life); order up to it, or look at it again.",
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
        "Back to level: whole packs, once what is left and not reserved is below the min level, or no more than it is ordered again at; up to the max level where one is stated (common practice, no source).".to_string(),
        format!("Order again at: the smallest number of pieces that covers the demand of a lead time with a chance of {percent} %; safety stock is what lies above the mean demand (Stevenson, Operations Management). Demand is what plans asked of an item, picked or not, less what came back; what a plan was short of has no item in the log and is not in it."),
        match (levels.order, levels.holding) {
            (Some(order), Some(holding)) => format!(
                "Packs at a time: least cost of ordering ({} an order) and holding ({} % of the price a year), economic order quantity in whole packs (Snyder and Shen, Fundamentals of Supply Chain Theory).",
                words::money(order.raw(), job),
                holding.to_f64() * 100.0
            ),
            _ => "Packs at a time: not worked out; it needs --order-cost and --holding, and an issue log.".into(),
        },
        match ordered.report.history {
            Some((days, _)) if days < crate::reorder::level::FEWEST_DAYS => format!(
                "The issue log covers {days} days, too few to say what a year asks for ({} are wanted): no packs at a time.",
                crate::reorder::level::FEWEST_DAYS
            ),
            Some((days, _)) => format!("Packs at a time follow from the {days} days of the issue log, from its first line to the day of the order; order again at from as many whole lead times of these as there are, counted back from the last day. Nothing is known of before."),
            None => "Without an issue log (--log) nothing is known of demand.".into(),
        },
        match levels.lacking {
            Some(lacking) => format!(
                "Ready for an outage, of shims and gaskets: enough in as many of {} simulated outages as the newsvendor's critical ratio says, a piece left over costing its price and one that lacks {}. Each simulated outage draws as many pumps as this one from those kitted after the buy.",
                question.outages,
                words::money(lacking.raw(), job)
            ),
            None => "Ready for an outage: not worked out; it needs --missing-cost, the cost of one missing piece.".into(),
        },
        "One more today would save: found by solving again with one more piece on hand and nothing bought. Do not add these up.".into(),
    ];
    notes.extend(beyond_max(ordered));
    if ordered.buy.today.worth.is_empty() {
        notes.push(
            "The worth of one more was not worked out: it needs a plan that is proven in time."
                .into(),
        );
    }
    notes
}
