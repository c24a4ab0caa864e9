//! The Reorder sheet: what the plan leaves of each item, and what one more would have been worth.

use rust_xlsxwriter::{
    Chart, ChartFormat, ChartLegendPosition, ChartMarkerType, ChartType, Worksheet,
};

use super::page::{Page, Written};
use super::picture::{Figures, fill, mark};
use super::style::{INK, Styles, VALUES, striped};
use super::table::{Cells, Column};
use crate::consumables;
use crate::plan::Plan;
use crate::stock::Item;
use crate::verify::Verified;
use crate::words;

/// An item before and after.
struct ItemLevel<'a> {
    item: &'a Item,
    before: u32,
    issued: u32,
    spoiled: u32,
    left: u32,
    /// Of a consumable, how many are lacking in bags.
    lacking: u32,
    /// The worth of one more, or why that was not worked out.
    worth: Result<String, String>,
}

type Col<'s> = Column<'s, ItemLevel<'s>>;

fn columns(styles: &Styles) -> [Col<'_>; 10] {
    let (text, count, alarm) = (&styles.text, &styles.count, &styles.alarm);
    [
        Col::new("Item", 18.0, |line| styles.strong.of(&line.item.item)),
        Col::new("Kind", 14.0, |line| text.of(&line.item.kind)),
        Col::new("Fit", 9.0, |line| text.of(line.item.fit.as_str())),
        Col::new("Before", 10.0, |line| count.of(line.before)),
        Col::new("Issued", 10.0, |line| count.of(line.issued)),
        Col::new("Spoiled", 10.0, |line| count.of(line.spoiled)),
        Col::new("After", 10.0, |line| count.of(line.left)),
        Col::new("Min level", 11.0, |line| count.of(line.item.min_level)),
        Col::new("Status", 16.0, |line| match line.left < line.item.min_level {
            true => alarm.of("below min level"),
            false => text.blank(),
        }),
        Col::new("One more would save", 48.0, |line| match &line.worth {
            Ok(worth) => text.of(worth),
            Err(why) if line.item.size.is_some() => text.of(why),
            Err(_) if line.lacking > 0 => alarm.of(format!("{} missing in bags", line.lacking)),
            Err(_) => text.of(""),
        }),
    ]
}

pub(super) fn sheet(verified: &Verified, styles: &Styles) -> Written<Worksheet> {
    let (job, plan) = (verified.job(), verified.plan());
    let title = "Reorder: what is left, and what one more would save";
    let lead = "One more would save: found by solving again with one more piece on hand, all else equal. Do not add these up.";
    let mut page = Page::begin("Reorder", title, lead, styles)?;
    let columns = columns(styles);
    let so = "no kit from this stock (see Short; `gapwright reorder` finds what to buy)";
    page.above_the_table(columns.len(), &words::not_fit_tags(verified), so)?;
    page.open(&columns)?;
    let (before, issued, left) = (verified.before(), verified.issued(), verified.left());
    let (spoiled, lacking) = (verified.spoiled(), consumables::lacking(job, verified.bags()));
    let items = job.stock.iter().enumerate();
    for (index, item) in items.filter(|(_, item)| item.cut.is_none()) {
        let worth = plan.worth.iter().find(|worth| worth.item == index);
        let line = ItemLevel {
            item,
            before: before[index],
            issued: issued[index],
            spoiled: spoiled[index],
            left: left[index],
            lacking: lacking[index],
            worth: worth.map_or_else(|| Err(not_worked_out(plan)), |w| Ok(words::worth(job, w))),
        };
        page.put(&columns, &line)?;
    }
    page.row += 1;
    if plan.worth.is_empty() || plan.left_out.worth.is_some() {
        let why = match plan.left_out.worth {
            Some(_) if !plan.worth.is_empty() => {
                "What one more would save was not worked out for every item: there was not enough time."
            }
            _ => {
                "What one more would save was not worked out: that needs a proven plan and time to spare."
            }
        };
        page.text(why, &styles.text)?;
        page.row += 1;
    }
    // Rings by the dozen would hide what happens to shims.
    for (name, stacked) in [("Shims and gaskets", true), ("Consumables", false)] {
        picture(&mut page, verified, name, stacked)?;
    }
    let row = page.row;
    page.printed(row, 9)
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

/// The items of which most is taken, those that are stacked or the others, before and after, with their min levels.
fn picture(page: &mut Page<'_>, verified: &Verified, name: &str, stacked: bool) -> Written {
    let (job, before, left) = (verified.job(), verified.before(), verified.left());
    let taken = |index: usize| before[index].saturating_sub(left[index]);
    let mut shown: Vec<usize> = (0..job.stock.len())
        .filter(|&index| job.stock[index].cut.is_none() && taken(index) > 0)
        .filter(|&index| job.stock[index].size.is_some() == stacked)
        .collect();
    shown.sort_by_key(|&index| std::cmp::Reverse(taken(index)));
    let others = shown.len().saturating_sub(MOST_SHOWN);
    shown.truncate(MOST_SHOWN);
    if shown.is_empty() {
        return Ok(());
    }
    // In the order of the stock, as on the table above.
    shown.sort_unstable();
    let remark = &page.styles.remark;
    let rows = shown.iter().map(|&index| {
        let item = &job.stock[index];
        let [before, after, level] = [before[index], left[index], item.min_level];
        [remark.of(&item.item), remark.of(before), remark.of(after), remark.of(level)]
    });
    let top = page.row;
    let last = page.figures(FIGURES, ["Item", "Before", "After", "Min level"], rows)?;
    page.part(format!("{name} before and after"))?;
    let more = match others {
        0 => "Items used by this plan.".to_string(),
        _ => {
            format!("The {MOST_SHOWN} items used most; {others} more are used.")
        }
    };
    page.text(more, remark)?;
    page.sheet.insert_chart(page.row, 0, &chart(name, [top + 1, last]))?;
    // A chart of 320 pixels covers sixteen rows; the figures of the next one must stand below these.
    page.row = (top + 19).max(last + 2);
    Ok(())
}

/// The counts of the items in these rows.
fn chart(name: &str, rows: [u32; 2]) -> Chart {
    let figures = Figures { sheet: "Reorder", rows, from: FIGURES };
    let mut chart = Chart::new(ChartType::Column);
    figures.series(&mut chart, "Before", 1).set_format(&mut striped());
    figures.series(&mut chart, "After", 2).set_format(&mut fill(VALUES));
    // The min level as a mark across the columns: told apart by its shape.
    let mut levels = Chart::new(ChartType::Line);
    figures
        .series(&mut levels, "Min level", 3)
        .set_format(ChartFormat::new().set_no_line())
        .set_marker(&mark(ChartMarkerType::LongDash, 9, INK));
    chart.combine(&levels);
    chart.title().set_name(&format!("{name} on hand before and after the plan"));
    chart.y_axis().set_min(0).set_num_format("0");
    chart.legend().set_position(ChartLegendPosition::Bottom);
    chart.set_width(1080).set_height(320);
    chart.set_alt_text("Pieces on hand of each item before and after the plan, with its min level");
    chart
}
