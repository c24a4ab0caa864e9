//! The Summary sheet: what to buy, what it makes possible, how far that is proven.

use std::collections::BTreeSet;

use rust_xlsxwriter::{
    Chart, ChartLegendPosition, ChartPatternFill, ChartPatternFillType, ChartType, Color, Worksheet,
};

use super::order::by_supplier;
use super::{Ordered, proof, still_short};
use crate::plan::{Kit, Plan};
use crate::words;
use crate::write::page::{Page, Written};
use crate::write::picture::{Figures, fill};
use crate::write::style::{self, INK, Styles, VALUES, striped};
use crate::write::table::{Cells, over};

const NAME: &str = "Summary";
const CHART_COLUMN: u16 = 9;

pub(super) fn sheet(ordered: &Ordered<'_>, styles: &Styles) -> Written<Worksheet> {
    let job = ordered.job;
    let lead = format!(
        "{} of {} pumps can be kitted from today's stock, {} after the purchase; acceptance rule: {}",
        ordered.buy.today.served(),
        job.pumps.len(),
        ordered.bought.purchase().plan.served(),
        job.policy.acceptance
    );
    let mut page = Page::begin(NAME, "Purchase", &lead, styles)?;
    page.widths(&[34.0, 22.0, 22.0, 22.0, 22.0, 22.0, 22.0])?;
    page.row = 2;
    page.across(&proof(ordered), &styles.prose, 32.0)?;
    page.row += 1;
    figures(&mut page, ordered)?;
    page.row += 1;
    picture(&mut page, ordered)?;
    page.row += 1;
    let mut remarks: Vec<String> = job.warnings.iter().map(words::warning).collect();
    remarks.extend(super::remarks(ordered));
    let remarks = remarks.into_iter().map(|text| {
        let height = prose_height(&text);
        (text, &styles.prose, height)
    });
    page.paragraphs("Warnings and remarks", remarks)?;
    page.part("Cautions")?;
    for text in CAUTIONS {
        page.across(text, &styles.prose, None)?;
    }
    let (row, column) = (page.row - 1, page.last);
    page.printed(row, column)
}

/// The figures by name.
fn lines(ordered: &Ordered<'_>) -> Vec<(&'static str, String)> {
    let Ordered { job, report, .. } = ordered;
    let purchase = ordered.bought.purchase();
    let cost = purchase.cost(&ordered.buy.market);
    let packs = |of: &dyn Fn(&crate::reorder::OrderLine) -> u32| -> u32 {
        report.lines.iter().map(of).sum()
    };
    let mut lines = vec![
        (
            "Pumps kitted from today's stock",
            format!("{} of {}", ordered.buy.today.served(), job.pumps.len()),
        ),
        (
            "Pumps kitted after the purchase",
            format!("{} of {}", purchase.plan.served(), job.pumps.len()),
        ),
        (
            "Packs needed to kit pumps",
            format!("{}, {}", packs(&|line| line.cartons), words::money(cost.raw(), job)),
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
        ("Packs for consumables that are short", packs(&|line| line.bag_cartons).to_string()),
        (
            "Packs back to level",
            packs(&|line| line.top_up.map_or(0, |top_up| top_up.cartons)).to_string(),
        ),
        ("Suppliers to order from", by_supplier(ordered).len().to_string()),
        (
            "Issue log",
            report
                .history
                .map_or("none given".into(), |(days, lines)| format!("{lines} lines, {days} days")),
        ),
    ]);
    lines
}

fn figures(page: &mut Page<'_>, ordered: &Ordered<'_>) -> Written {
    let Styles { text, strong, head, alarm, prose, .. } = page.styles;
    page.line([head.of(""), over(2, head.of("This purchase"))])?;
    for (label, value) in lines(ordered) {
        page.line([text.of(label), over(2, strong.of(value))])?;
    }
    let pumps = ordered.job.pumps.iter().enumerate();
    let short =
        pumps.filter_map(|(at, pump)| Some(format!("{}: {}", pump.tag, still_short(ordered, at)?)));
    let short: Vec<String> = short.collect();
    if !short.is_empty() {
        page.row += 1;
        let text = format!("{} still {}, see Pumps", short.len(), words::NOT_FIT);
        page.across(&text, alarm, None)?;
        for text in short.iter().take(MOST_SHORT) {
            page.across(text, prose, prose_height(text))?;
        }
    }
    Ok(())
}

/// How many pumps that stay short are named on this sheet.
const MOST_SHORT: usize = 12;

/// Pumps kitted by priority, today and after the purchase.
fn picture(page: &mut Page<'_>, ordered: &Ordered<'_>) -> Written {
    let pumps = &ordered.job.pumps;
    let priorities: BTreeSet<u32> = pumps.iter().map(|pump| pump.priority).collect();
    let served = |plan: &Plan, priority: u32| {
        let kits = pumps.iter().zip(&plan.kits).filter(|(pump, _)| pump.priority == priority);
        kits.filter(|(_, kit)| matches!(kit, Kit::Served(_))).count()
    };
    let (row, remark) = (page.row, &page.styles.remark);
    let rows = priorities.into_iter().map(|priority| {
        let all = pumps.iter().filter(|pump| pump.priority == priority).count();
        let today = served(&ordered.buy.today, priority);
        let after = served(&ordered.bought.purchase().plan, priority);
        let name = remark.of(format!("Priority {priority}"));
        [name, remark.of(today), remark.of(after), remark.of(all.saturating_sub(after))]
    });
    let heads = ["Priority", "Today", "After the purchase", "Still short"];
    let last = page.figures(CHART_COLUMN, heads, rows)?;
    let figures = Figures { sheet: NAME, rows: [row + 1, last], from: CHART_COLUMN };
    let mut chart = Chart::new(ChartType::Column);
    figures.series(&mut chart, "From today's stock", 1).set_format(&mut striped());
    figures.series(&mut chart, "After the purchase", 2).set_format(&mut fill(VALUES));
    let mut open = ChartPatternFill::new()
        .set_pattern(ChartPatternFillType::Dotted20Percent)
        .set_foreground_color(INK)
        .set_background_color(Color::White)
        .clone();
    figures.series(&mut chart, "Still short", 3).set_format(&mut open);
    chart.title().set_name("Pumps that can be kitted");
    chart.y_axis().set_min(0).set_num_format("0");
    chart.legend().set_position(ChartLegendPosition::Bottom);
    chart.set_width(1100).set_height(260);
    chart.set_alt_text("Pumps that can be kitted by priority, today and after the purchase");
    page.sheet.insert_chart(row, 0, &chart)?;
    page.row += 14;
    Ok(())
}

/// The height of a text over the whole page.
fn prose_height(text: &str) -> f64 {
    16.0 * style::lines(&[(text, 150)], [1, 6])
}

/// Cautions for a purchaser.
const CAUTIONS: [&str; 4] = [
    "The purchase follows from readings, prices and lead times as they were entered: check them before you order.",
    "What comes in is measured before it counts: enter each lot with its thickness and tolerance, and plan again with `gapwright kit`.",
    "Take the material that the maker asks for; a cheaper one of the same thickness may not withstand the service.",
    "The maker's instructions, site procedures, local codes and a competent person decide.",
];
