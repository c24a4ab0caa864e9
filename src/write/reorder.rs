//! The Reorder sheet: what the plan leaves of each item, and what one more would have been worth.

use rust_xlsxwriter::{
    Chart, ChartFormat, ChartLegendPosition, ChartMarker, ChartMarkerType, ChartRange,
    ChartSolidFill, ChartType, Worksheet, XlsxError,
};

use super::text::WriteText;

use super::style::{Head, INK, Styles, VALUES, begin, striped};
use super::table::{self, Cells, Column};
use crate::bag;
use crate::plan::Plan;
use crate::stock::Item;
use crate::verify::Verified;
use crate::words;

/// An item before and after.
struct Line<'a> {
    item: &'a Item,
    issued: u32,
    left: u32,
    /// Of a consumable, how many are lacking in bags.
    lacking: u32,
    /// What one more would be worth, or why that was not worked out.
    worth: Result<String, String>,
}

type Col<'s> = Column<'s, Line<'s>>;

fn columns(styles: &Styles) -> [Col<'_>; 10] {
    let (text, count, alarm) = (&styles.text, &styles.count, &styles.alarm);
    [
        Col::new("Item", 18.0, |line| styles.strong.of(&line.item.item)),
        Col::new("Kind", 14.0, |line| text.of(&line.item.kind)),
        Col::new("Fit", 9.0, |line| text.of(line.item.fit.as_str())),
        Col::new("Before", 10.0, |line| count.of(line.item.on_hand)),
        Col::new("Issued", 10.0, |line| count.of(line.issued)),
        Col::new("Spoiled", 10.0, |line| count.of(line.item.on_hand - line.issued - line.left)),
        Col::new("After", 10.0, |line| count.of(line.left)),
        Col::new("Min level", 11.0, |line| count.of(line.item.min_level)),
        Col::new("Standing", 16.0, |line| match line.left < line.item.min_level {
            true => alarm.of("below min level"),
            false => text.blank(),
        }),
        Col::new("Worth of one more", 48.0, |line| match &line.worth {
            Ok(worth) => text.of(worth),
            Err(why) if line.item.size.is_some() => text.of(why),
            Err(_) if line.lacking > 0 => alarm.of(format!("{} lacking in bags", line.lacking)),
            Err(_) => text.of(""),
        }),
    ]
}

pub(super) fn write(
    sheet: &mut Worksheet,
    verified: &Verified,
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let (job, plan) = (verified.job(), verified.plan());
    let head = Head {
        name: "Reorder",
        date,
        title: "Reorder: what is left, and what one more would have been worth",
        lead: "Each worth is found by solving again with one more piece on hand, everything else as it is. Worths do not add up.",
    };
    begin(sheet, &head, styles)?;
    let columns = columns(styles);
    table::open(sheet, 3, &columns, styles)?;
    sheet.set_freeze_panes(4, 0)?;
    let (issued, left) = (verified.issued(), verified.left());
    let lacking = bag::lacking(job, verified.bags());
    let mut row = 3;
    for (index, item) in job.stock.iter().enumerate() {
        if item.cut.is_some() {
            continue;
        }
        row += 1;
        let worth = plan.worth.iter().find(|worth| worth.item == index);
        let line = Line {
            item,
            issued: issued[index],
            left: left[index],
            lacking: lacking[index],
            worth: worth.map_or_else(|| Err(not_worked_out(plan)), |w| Ok(words::worth(job, w))),
        };
        table::row(sheet, row, &columns, &line)?;
    }
    if plan.worth.is_empty() || plan.left_out.worth.is_some() {
        let why = match plan.left_out.worth {
            Some(_) if !plan.worth.is_empty() => {
                "The worth of one more was not worked out for every item: the time did not suffice."
            }
            _ => {
                "The worth of one more was not worked out: it needs a proven plan and time to spare."
            }
        };
        row += 2;
        sheet.write_text(row, 0, why, &styles.text)?;
    }
    row += 2;
    // Rings by the dozen would hide what happens to shims.
    for (name, stacked) in [("Shims and gaskets", true), ("Consumables", false)] {
        row = picture(sheet, verified, row, (name, stacked), styles)?;
    }
    sheet.set_print_area(0, 0, row, 9)?;
    Ok(())
}

/// Why an item has no worth.
fn not_worked_out(plan: &Plan) -> String {
    match plan.left_out.worth {
        Some(stop) => format!("not worked out: {}", stop.words()),
        None => "not worked out".into(),
    }
}

/// Items that the picture shows: more could not be told apart.
const MOST_SHOWN: usize = 30;
/// Where its figures stand, right of what is printed.
const FIGURES: u16 = 11;

/// The items of which most is taken, before and after, with their min levels; the last row that it takes.
fn picture(
    sheet: &mut Worksheet,
    verified: &Verified,
    start: u32,
    (name, stacked): (&str, bool),
    styles: &Styles,
) -> Result<u32, XlsxError> {
    let (job, left) = (verified.job(), verified.left());
    let taken = |index: usize| job.stock[index].on_hand.saturating_sub(left[index]);
    let mut shown: Vec<usize> = (0..job.stock.len())
        .filter(|&index| job.stock[index].cut.is_none() && taken(index) > 0)
        .filter(|&index| job.stock[index].size.is_some() == stacked)
        .collect();
    shown.sort_by_key(|&index| std::cmp::Reverse(taken(index)));
    let others = shown.len().saturating_sub(MOST_SHOWN);
    shown.truncate(MOST_SHOWN);
    if shown.is_empty() {
        return Ok(start);
    }
    // In the order of the stock, as on the table above.
    shown.sort_unstable();
    let heading = format!("{name} before and after");
    sheet.write_text(start, 0, heading, &styles.part)?;
    let more = match others {
        0 => "Every item that is taken from.".to_string(),
        _ => {
            format!("The {MOST_SHOWN} items of which most is taken; {others} more are taken from.")
        }
    };
    sheet.write_text(start + 1, 0, more, &styles.remark)?;
    for (column, head) in (FIGURES..).zip(["Item", "Before", "After", "Min level"]) {
        sheet.write_text(start, column, head, &styles.remark)?;
    }
    let mut last = start;
    for &index in &shown {
        last += 1;
        let item = &job.stock[index];
        sheet.write_text(last, FIGURES, &item.item, &styles.remark)?;
        let counts = [item.on_hand, left[index], item.min_level];
        for (column, count) in (FIGURES + 1..).zip(counts) {
            sheet.write_number_with_format(last, column, count, &styles.remark)?;
        }
    }
    let chart = chart(name, start + 1, last);
    sheet.insert_chart(start + 2, 0, &chart)?;
    // A chart of 320 pixels covers sixteen rows; the figures of the next one must stand below these.
    Ok((start + 19).max(last + 2))
}

/// The counts of the items in these rows.
fn chart(name: &str, first: u32, last: u32) -> Chart {
    let range = |column: u16| {
        let column = FIGURES + column;
        ChartRange::new_from_range("Reorder", first, column, last, column)
    };
    let mut chart = Chart::new(ChartType::Column);
    chart
        .add_series()
        .set_name("Before")
        .set_categories(&range(0))
        .set_values(&range(1))
        .set_format(ChartFormat::new().set_pattern_fill(&striped()));
    chart
        .add_series()
        .set_name("After")
        .set_categories(&range(0))
        .set_values(&range(2))
        .set_format(ChartFormat::new().set_solid_fill(ChartSolidFill::new().set_color(VALUES)));
    // The min level as a mark across the columns: told apart by its shape.
    let mut levels = Chart::new(ChartType::Line);
    let mut ink = ChartFormat::new();
    ink.set_solid_fill(ChartSolidFill::new().set_color(INK));
    let mut mark = ChartMarker::new();
    mark.set_type(ChartMarkerType::LongDash).set_size(9).set_format(&mut ink);
    levels
        .add_series()
        .set_name("Min level")
        .set_categories(&range(0))
        .set_values(&range(3))
        .set_format(ChartFormat::new().set_no_line())
        .set_marker(&mark);
    chart.combine(&levels);
    let title = format!("{name} on hand before and after the plan");
    chart.title().set_name(&title);
    chart.y_axis().set_min(0).set_num_format("0");
    chart.legend().set_position(ChartLegendPosition::Bottom);
    chart.set_width(1080).set_height(320);
    chart.set_alt_text("Pieces on hand of each item before and after the plan, with its min level");
    chart
}
