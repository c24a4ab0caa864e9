//! The Levels sheet: each item before and after, what brings it back to level, when to order again.

use rust_xlsxwriter::{Worksheet, XlsxError};

use super::Ordered;
use crate::reorder::level::{Law, NoPoint, Point};
use crate::words;
use crate::write::style::{Styles, heads, set_up, title, widths};
use crate::write::text::WriteText;

const NAMES: [&str; 16] = [
    "Item",
    "Kind",
    "Fit",
    "On hand today",
    "Bought",
    "Issued or spoiled",
    "Left",
    "Min level",
    "Max level",
    "Packs back to level",
    "Order again at",
    "Safety stock",
    "Worked out from",
    "Packs at a time",
    "Ready for an outage",
    "Worth of one more today",
];

pub(super) fn write(
    sheet: &mut Worksheet,
    ordered: &Ordered<'_>,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let Ordered {
        job,
        report,
        question,
    } = ordered;
    set_up(sheet, "Levels", &question.date)?;
    widths(
        sheet,
        &[
            17.0, 10.0, 7.0, 9.0, 9.0, 9.0, 8.0, 8.0, 8.0, 10.0, 9.0, 9.0, 26.0, 9.0, 10.0, 30.0,
        ],
    )?;
    title(
        sheet,
        "Levels",
        "What this outage leaves of each item, what brings it back to level, and when to order it again.",
        styles,
    )?;
    heads(sheet, 3, &NAMES, styles)?;
    sheet.set_row_height(3, 46.0)?;
    sheet.set_repeat_rows(3, 3)?;
    sheet.set_freeze_panes(4, 1)?;
    let mut row = 3;
    for (index, (item, line)) in job.stock.iter().zip(&report.lines).enumerate() {
        if item.cut.is_some() {
            continue;
        }
        row += 1;
        sheet.write_text(row, 0, &item.item, &styles.strong)?;
        sheet.write_text(row, 1, &item.kind, &styles.text)?;
        sheet.write_text(row, 2, item.fit.as_str(), &styles.text)?;
        let bought = (line.packs + line.bag_packs) * item.pack_qty;
        let counts = [
            item.on_hand,
            bought,
            item.on_hand + bought - line.after,
            line.after,
            item.min_level,
        ];
        for (column, count) in (3..).zip(counts) {
            sheet.write_number_with_format(row, column, count, &styles.count)?;
        }
        match item.terms.max_level {
            Some(max) => sheet.write_number_with_format(row, 8, max, &styles.count)?,
            None => sheet.write_blank(row, 8, &styles.text)?,
        };
        match line.top_up {
            None if line.below => {
                sheet.write_text(
                    row,
                    9,
                    "below, not for sale",
                    &styles.alarm.clone().set_text_wrap(),
                )?;
            }
            Some(top_up) => {
                let format = styles.count.clone().set_bold();
                sheet.write_number_with_format(row, 9, top_up.packs, &format)?;
            }
            None => {
                sheet.write_blank(row, 9, &styles.text)?;
            }
        }
        match &line.point {
            Ok(point) => {
                let pieces = point.pieces;
                sheet.write_number_with_format(row, 10, pieces, &styles.count)?;
                let safety = styles.number.clone().set_num_format("0.0");
                sheet.write_number_with_format(row, 11, point.safety, &safety)?;
            }
            Err(_) => {
                sheet.write_blank(row, 10, &styles.text)?;
                sheet.write_blank(row, 11, &styles.text)?;
            }
        }
        let from = basis(&line.point);
        let worth = report.today.worth.iter().find(|worth| worth.item == index);
        let worth = worth.map_or(String::new(), |worth| words::worth(job, worth));
        let lines = from
            .chars()
            .count()
            .div_ceil(22)
            .max(worth.chars().count().div_ceil(26));
        let lines = u16::try_from(lines).unwrap_or(4);
        sheet.write_text(row, 12, from, &styles.wrapped)?;
        sheet.set_row_height(row, 16.0 * f64::from(lines.clamp(1, 5)))?;
        let packs = line.quantity.as_ref().map(|quantity| quantity.packs);
        let ready = line.ready.as_ref().map(|ready| ready.pieces);
        for (column, count) in [(13, packs), (14, ready)] {
            match count {
                Some(count) => sheet.write_number_with_format(row, column, count, &styles.count)?,
                None => sheet.write_blank(row, column, &styles.text)?,
            };
        }
        sheet.write_text(row, 15, worth, &styles.wrapped)?;
    }
    row += 2;
    for text in notes(ordered) {
        sheet.merge_text(row, 0, row, 15, &text, &styles.prose)?;
        let lines = u16::try_from(text.chars().count().div_ceil(170)).unwrap_or(3);
        sheet.set_row_height(row, 16.0 * f64::from(lines.clamp(1, 6)))?;
        row += 1;
    }
    sheet.set_print_area(0, 0, row, 15)?;
    Ok(())
}

/// What a reorder point follows from, or why there is none.
pub(super) fn basis(point: &Result<Point, NoPoint>) -> String {
    match point {
        Ok(Point {
            law: Law::Seen(rows),
            ..
        }) => format!("{rows} lead times of the issue log"),
        Ok(Point {
            law: Law::Days { rows, largest },
            ..
        }) => format!(
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
        let most = item.terms.max_level.map(u64::from);
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
            None => "Ready for an outage: not worked out; it needs --lacking-cost, what it costs when a piece lacks.".into(),
        },
        "Worth of one more today: found by solving again with one more piece on hand and nothing bought. Worths do not add up.".into(),
    ];
    notes.extend(beyond_max(ordered));
    if ordered.report.today.worth.is_empty() {
        notes.push(
            "The worth of one more was not worked out: it needs a plan that is proven in time."
                .into(),
        );
    }
    notes
}
