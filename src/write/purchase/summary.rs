//! The Summary sheet: what to buy, what it makes possible, how far that is proven.

use rust_xlsxwriter::{
    Chart, ChartFormat, ChartLegendPosition, ChartPatternFill, ChartPatternFillType, ChartRange,
    ChartSolidFill, ChartType, Worksheet, XlsxError,
};

use super::order::by_supplier;
use super::{Ordered, proof, still_short};
use crate::words;
use crate::write::style::{Head, Styles, VALUES, begin, heads, paragraphs, striped, widths};
use crate::write::text::WriteText;

const NAME: &str = "Summary";
const COLUMNS: u16 = 7;
const CHART_COLUMN: u16 = 9;

pub(super) fn write(
    sheet: &mut Worksheet,
    ordered: &Ordered<'_>,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let Ordered { job, question, .. } = ordered;
    widths(sheet, &[34.0, 22.0, 22.0, 22.0, 22.0, 22.0, 22.0])?;
    let plan = &ordered.bought.purchase().plan;
    let all = job.pumps.len();
    let lead = format!(
        "{} of {all} pumps can be kitted from today's stock, {} after the buy; acceptance rule: {}",
        ordered.buy.today.served(),
        plan.served(),
        job.policy.acceptance
    );
    let head = Head { name: NAME, date: &question.date, title: "Purchase", lead: &lead };
    begin(sheet, &head, styles)?;
    sheet.merge_text(2, 0, 2, COLUMNS - 1, &proof(ordered), &styles.prose)?;
    sheet.set_row_height(2, 32.0)?;
    let mut row = figures(sheet, ordered, 4, styles)?;
    row = picture(sheet, ordered, row + 1, styles)?;
    row = remarks(sheet, ordered, row + 1, styles)?;
    let cautions = CAUTIONS.map(|text| (text.to_string(), &styles.prose, None));
    row = paragraphs(sheet, (row + 1, COLUMNS - 1), "Cautions", cautions, styles)?;
    sheet.set_print_area(0, 0, row, COLUMNS - 1)?;
    Ok(())
}

/// The figures by name.
fn lines(ordered: &Ordered<'_>) -> Vec<(&'static str, String)> {
    let Ordered { job, report, .. } = ordered;
    let purchase = ordered.bought.purchase();
    let cost = purchase.cost(&ordered.buy.market);
    let packs =
        |of: &dyn Fn(&crate::reorder::Line) -> u32| -> u32 { report.lines.iter().map(of).sum() };
    let mut lines = vec![
        (
            "Pumps kitted from today's stock",
            format!("{} of {}", ordered.buy.today.served(), job.pumps.len()),
        ),
        (
            "Pumps kitted after the buy",
            format!("{} of {}", purchase.plan.served(), job.pumps.len()),
        ),
        (
            "Packs so that pumps can be kitted",
            format!("{}, {}", packs(&|line| line.packs), words::money(cost.raw(), job)),
        ),
    ];
    if let Some(budget) = ordered.buy.market.budget {
        let left = budget.raw() - cost.raw();
        lines.push((
            "Budget, and what is left of it",
            format!("{}, {}", words::money(budget.raw(), job), words::money(left, job)),
        ));
    }
    lines.extend([
        ("Packs for consumables that are short", packs(&|line| line.bag_packs).to_string()),
        (
            "Packs back to level",
            packs(&|line| line.top_up.map_or(0, |top_up| top_up.packs)).to_string(),
        ),
        ("Suppliers to write to", by_supplier(ordered).len().to_string()),
        (
            "Issue log",
            report
                .history
                .map_or("none given".into(), |(days, lines)| format!("{lines} lines, {days} days")),
        ),
    ]);
    lines
}

fn figures(
    sheet: &mut Worksheet,
    ordered: &Ordered<'_>,
    start: u32,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    let job = ordered.job;
    let mut row = start;
    heads(sheet, row, &["", "This purchase"], styles)?;
    sheet.merge_text(row, 1, row, 2, "This purchase", &styles.head)?;
    for (label, value) in lines(ordered) {
        row += 1;
        sheet.write_text(row, 0, label, &styles.text)?;
        sheet.merge_text(row, 1, row, 2, &value, &styles.strong)?;
    }
    let short: Vec<String> = (0..job.pumps.len())
        .filter_map(|pump| {
            Some(format!("{}: {}", job.pumps[pump].tag, still_short(ordered, pump)?))
        })
        .collect();
    if !short.is_empty() {
        row += 2;
        let text = format!("{} still {}, see Pumps", short.len(), words::NOT_FIT);
        sheet.merge_text(row, 0, row, COLUMNS - 1, &text, &styles.alarm)?;
        for text in short.iter().take(MOST_SHORT) {
            row += 1;
            sheet.merge_text(row, 0, row, COLUMNS - 1, text, &styles.prose)?;
            sheet.set_row_height(row, prose_height(text))?;
        }
    }
    Ok(row + 1)
}

/// How many pumps that stay short are named on this sheet.
const MOST_SHORT: usize = 12;

/// Pumps kitted by priority, today and after the buy.
fn picture(
    sheet: &mut Worksheet,
    ordered: &Ordered<'_>,
    row: u32,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    let job = ordered.job;
    let mut priorities: Vec<u32> = job.pumps.iter().map(|pump| pump.priority).collect();
    priorities.sort_unstable();
    priorities.dedup();
    let at = CHART_COLUMN;
    for (column, label) in (at..).zip(["Priority", "Today", "After the buy", "Still short"]) {
        sheet.write_text(row, column, label, &styles.remark)?;
    }
    let served = |plan: &crate::plan::Plan, priority: u32| {
        let kits = job.pumps.iter().zip(&plan.kits);
        let served = kits.filter(|(pump, kit)| {
            pump.priority == priority && matches!(kit, crate::plan::Kit::Served(_))
        });
        u32::try_from(served.count()).unwrap_or(u32::MAX)
    };
    let mut last = row;
    for &priority in &priorities {
        last += 1;
        let label = format!("Priority {priority}");
        sheet.write_text(last, at, label, &styles.remark)?;
        let all = job.pumps.iter().filter(|pump| pump.priority == priority);
        let all = u32::try_from(all.count()).unwrap_or(u32::MAX);
        let today = served(&ordered.buy.today, priority);
        let after = served(&ordered.bought.purchase().plan, priority);
        let counts = [today, after, all - after.min(all)];
        for (column, count) in (at + 1..).zip(counts) {
            sheet.write_number_with_format(last, column, count, &styles.remark)?;
        }
    }
    let range =
        |column: u16| ChartRange::new_from_range(NAME, row + 1, at + column, last, at + column);
    let mut chart = Chart::new(ChartType::Column);
    chart
        .add_series()
        .set_name("From today's stock")
        .set_categories(&range(0))
        .set_values(&range(1))
        .set_format(ChartFormat::new().set_pattern_fill(&striped()));
    let after = ChartSolidFill::new().set_color(VALUES).clone();
    chart
        .add_series()
        .set_name("After the buy")
        .set_categories(&range(0))
        .set_values(&range(2))
        .set_format(ChartFormat::new().set_solid_fill(&after));
    let open = ChartPatternFill::new()
        .set_pattern(ChartPatternFillType::Dotted20Percent)
        .set_foreground_color(crate::write::style::INK)
        .set_background_color(rust_xlsxwriter::Color::White)
        .clone();
    chart
        .add_series()
        .set_name("Still short")
        .set_categories(&range(0))
        .set_values(&range(3))
        .set_format(ChartFormat::new().set_pattern_fill(&open));
    chart.title().set_name("Pumps that can be kitted");
    chart.y_axis().set_min(0).set_num_format("0");
    chart.legend().set_position(ChartLegendPosition::Bottom);
    chart.set_width(1100).set_height(260);
    chart.set_alt_text("Pumps that can be kitted by priority, today and after the buy");
    sheet.insert_chart(row, 0, &chart)?;
    Ok(row + 14)
}

fn remarks(
    sheet: &mut Worksheet,
    ordered: &Ordered<'_>,
    start: u32,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    let job = ordered.job;
    let mut texts: Vec<String> = job.warnings.iter().map(words::warning).collect();
    texts.extend(super::remarks(ordered));
    if texts.is_empty() {
        return Ok(start - 1);
    }
    let texts = texts.into_iter().map(|text| {
        let height = prose_height(&text);
        (text, &styles.prose, Some(height))
    });
    let place = (start, COLUMNS - 1);
    Ok(paragraphs(sheet, place, "Warnings and remarks", texts, styles)? + 1)
}

/// The height of a text over the whole page.
fn prose_height(text: &str) -> f64 {
    let lines = u16::try_from(text.chars().count().div_ceil(150)).unwrap_or(4);
    16.0 * f64::from(lines.clamp(1, 6))
}

/// What a purchaser must mind.
const CAUTIONS: [&str; 4] = [
    "The purchase follows from readings, prices and lead times as they were entered: check them before you order.",
    "What comes in is measured before it counts: enter each lot with its thickness and tolerance, and plan anew with `gapwright kit`.",
    "Take the material that the maker asks for; a cheaper one of the same thickness may not stand the service.",
    "The maker's instructions, site procedures, local codes and a competent person decide.",
];
