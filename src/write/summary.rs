//! The Summary sheet: what came out, how far it is proven, and a picture of it.

use rust_xlsxwriter::{
    Chart, ChartErrorBars, ChartErrorBarsDirection, ChartErrorBarsType, ChartFormat, ChartMarker,
    ChartMarkerType, ChartRange, ChartSolidFill, ChartType, Worksheet, XlsxError,
};

use super::between::{self, share};
use super::table::{self, Cells};
use super::text::WriteText;

use super::style::{Head, Styles, VALUES, begin, heads, paragraphs, tall, usual_cautions, widths};
use crate::accounting::{tightest, verdicts};
use crate::crush;
use crate::job::Job;
use crate::length::Fine;
use crate::plan::{Aim, Kit, Plan};
use crate::verify::Verified;
use crate::words;

const NAME: &str = "Summary";
const COLUMNS: u16 = 10;
/// Where the chart's figures stand, right of what is printed.
const CHART_COLUMN: u16 = 12;

pub(super) fn write(
    sheet: &mut Worksheet,
    verified: &Verified,
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let (job, plan) = (verified.job(), verified.plan());
    widths(sheet, &[15.0, 18.0, 15.0, 17.0, 23.0, 21.0, 14.0, 17.0, 13.0, 10.0])?;
    let served = plan.served();
    let lead = format!(
        "{served} of {} pumps can be kitted from the stock; acceptance rule: {}",
        job.pumps.len(),
        job.policy.acceptance
    );
    let head = Head { name: NAME, date, title: "Outage kit plan", lead: &lead };
    begin(sheet, &head, styles)?;
    sheet.merge_text(2, 0, 2, COLUMNS - 1, &words::proof(job, plan), &styles.prose)?;
    sheet.set_row_height(2, 32.0)?;
    let mut row = counts(sheet, verified, styles)?;
    row = chart(sheet, verified, row, styles)?;
    row = pumps(sheet, verified, row + 1, styles)?;
    row = warnings(sheet, verified, row + 1, styles)?;
    row = usual_cautions(sheet, (row + 1, COLUMNS - 1), styles)?;
    sheet.set_print_area(0, 0, row, COLUMNS - 1)?;
    Ok(())
}

fn counts(sheet: &mut Worksheet, verified: &Verified, styles: &Styles) -> Result<u32, XlsxError> {
    let (job, plan) = (verified.job(), verified.plan());
    let mut row = 4;
    heads(sheet, row, &["", "", "This plan", "No plan can", ""], styles)?;
    let proven = |aim| plan.goal(aim).is_some_and(crate::plan::Goal::proven);
    let served = plan
        .goals
        .iter()
        .take_while(|goal| matches!(goal.aim, Aim::ServedWeight | Aim::ServedOf(_)));
    let served_proven = served.clone().all(crate::plan::Goal::proven) && served.count() > 0;
    let value = |aim| plan.goal(aim).map_or((0, 0), |goal| (goal.value, goal.bound));
    let ((waste, least), (pieces, fewest)) = (value(Aim::Waste), value(Aim::Pieces));
    let standing = |proven: bool, best: &str, open: String| {
        if proven { best.to_string() } else { open }
    };
    let lines = [
        (
            "Pumps kitted",
            format!("{} of {}", plan.served(), job.pumps.len()),
            standing(served_proven, "serve more by priority", "not proven: see Basis".into()),
        ),
        (
            "Waste",
            words::money(waste, job),
            standing(
                proven(Aim::Waste),
                "waste less and serve as many",
                format!("go below {}", words::money(least, job)),
            ),
        ),
        (
            "Pieces",
            pieces.to_string(),
            standing(proven(Aim::Pieces), "take fewer at this waste", format!("go below {fewest}")),
        ),
    ];
    for (label, value, bound) in lines {
        row += 1;
        sheet.merge_text(row, 0, row, 1, label, &styles.text)?;
        sheet.write_text(row, 2, value, &styles.strong)?;
        sheet.merge_text(row, 3, row, 4, &bound, &styles.text)?;
    }
    let short = plan.kits.len() - plan.served();
    if short > 0 {
        row += 1;
        let text = format!("{short} {}: see Short", words::NOT_FIT);
        sheet.merge_text(row, 0, row, 3, &text, &styles.alarm)?;
    }
    let lacking = verified.bags().iter().filter(|bag| words::lacking(bag));
    let lacking = lacking.count();
    if lacking > 0 {
        row += 1;
        let text = format!("Short of consumables: {lacking} of {} bags, see Short", plan.served());
        sheet.merge_text(row, 0, row, 3, &text, &styles.alarm)?;
    }
    Ok(row + 2)
}

/// The first requirement of every pump between its limits, with its guard as a bar; a pump that is short has
/// its place and no mark.
fn chart(
    sheet: &mut Worksheet,
    verified: &Verified,
    row: u32,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    let (job, plan) = (verified.job(), verified.plan());
    let at = CHART_COLUMN;
    let labels = [
        "Tag",
        "Value, % of the way from lower to upper limit",
        "Guard down, %",
        "Guard up, %",
        "Lower limit",
        "Upper limit",
    ];
    for (column, label) in (at..).zip(labels) {
        sheet.write_text(row, column, label, &styles.remark)?;
    }
    let mut last = row;
    for (pump, kit) in job.pumps.iter().zip(&plan.kits) {
        last += 1;
        let first = match kit {
            Kit::Served(packs) => verdicts(job, pump, packs).into_iter().next(),
            Kit::Short(_) => None,
        };
        let name = match first {
            Some(_) => pump.tag.clone(),
            None => format!("{} (not fit)", pump.tag),
        };
        sheet.write_text(last, at, name, &styles.remark)?;
        if let Some(v) = first {
            let guard = |guard: Fine| share(v.lower + guard, v.lower, v.upper);
            let values =
                [share(v.value, v.lower, v.upper), guard(v.guard_lower), guard(v.guard_upper)];
            for (column, value) in (at + 1..).zip(values) {
                sheet.write_number_with_format(last, column, value, &styles.remark)?;
            }
        }
        for (column, limit) in [(at + 4, 0.0), (at + 5, 100.0)] {
            sheet.write_number_with_format(last, column, limit, &styles.remark)?;
        }
    }
    if plan.served() == 0 {
        return Ok(row);
    }
    let mut below = row;
    for [from, to] in between::parts(row + 1, last) {
        sheet.insert_chart(below, 0, &picture(from, to, from > row + 1))?;
        below += between::ROWS;
    }
    Ok(below)
}

/// The picture of some of the pumps.
fn picture(first: u32, last: u32, goes_on: bool) -> Chart {
    let range = |column: u16| {
        let column = CHART_COLUMN + column;
        ChartRange::new_from_range(NAME, first, column, last, column)
    };
    let bars = ChartErrorBarsType::Custom(range(3), range(2));
    let mut chart = Chart::new(ChartType::Line);
    chart
        .add_series()
        .set_name("Predicted, with its guard")
        .set_categories(&range(0))
        .set_values(&range(1))
        .set_format(ChartFormat::new().set_no_line())
        .set_marker(
            ChartMarker::new().set_type(ChartMarkerType::Diamond).set_size(7).set_format(
                ChartFormat::new().set_solid_fill(ChartSolidFill::new().set_color(VALUES)),
            ),
        )
        .set_y_error_bars(
            ChartErrorBars::new().set_type(bars).set_direction(ChartErrorBarsDirection::Both),
        );
    between::limits(&mut chart, &range(0), [&range(4), &range(5)], first == last);
    between::frame(&mut chart, "Clearances between their limits (100 % is the upper one)", goes_on);
    chart.y_axis().set_min(-10).set_max(110).set_num_format("0");
    chart.show_empty_cells_as(rust_xlsxwriter::ChartEmptyCells::Gaps);
    chart.set_width(1130);
    chart.set_alt_text(
        "Predicted value of each pump's first requirement between its limits, with its guard",
    );
    chart
}

fn pumps(
    sheet: &mut Worksheet,
    verified: &Verified,
    start: u32,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    let (job, plan) = (verified.job(), verified.plan());
    sheet.write_text(start, 0, "Pumps", &styles.part)?;
    let names = [
        "Tag",
        "Model",
        "Priority",
        "Due",
        "Standing",
        "Requirement",
        "Predicted",
        "Limits",
        "Margin",
        "Pieces",
    ];
    let mut row = start + 1;
    heads(sheet, row, &names, styles)?;
    let tag = styles.strong.clone().set_text_wrap();
    for ((pump, kit), bag) in job.pumps.iter().zip(&plan.kits).zip(verified.bags()) {
        let model = job.model_of(pump);
        row += 1;
        let due = pump.due.as_ref().map_or("", |due| due.shown.as_str());
        let fine = matches!(kit, Kit::Served(_)) && !words::lacking(bag);
        let standing = words::standing(kit, bag);
        let cells = [
            tag.of(&pump.tag),
            styles.text.of(&model.name),
            styles.count.of(pump.priority),
            styles.text.of(due),
            match fine {
                true => styles.text.of(standing),
                false => styles.alarm.wrapping(standing),
            },
        ];
        table::cells(sheet, (row, 0), cells)?;
        match kit {
            Kit::Served(packs) => {
                let pieces: u32 = packs.iter().flat_map(|p| &p.picks).map(|p| p.count).sum();
                if let Some((at, v)) = tightest(job, pump, packs) {
                    let unit = model.unit;
                    let limits =
                        format!("{} to {}", v.lower.show(unit), words::fine(v.upper, unit));
                    let cells = [
                        styles.wrapped.of(&pump.requirements[at].label),
                        styles.text.of(words::fine(v.value, unit)),
                        styles.wrapped.of(limits),
                        styles.text.of(words::fine(v.margin(), unit)),
                    ];
                    table::cells(sheet, (row, 5), cells)?;
                }
                sheet.write_number_with_format(row, 9, pieces, &styles.count)?;
            }
            Kit::Short(shorts) => {
                let why: Vec<String> = shorts
                    .iter()
                    .map(|s| {
                        format!("{}: {}", words::place(job, pump, s), words::reason(job, pump, s))
                    })
                    .collect();
                sheet.merge_text(row, 5, row, 9, &why.join("; "), &styles.wrapped)?;
            }
        }
        // A dozen bold letters go on a line of the tags' column; two lines are room for the rest.
        let lines = u16::try_from(pump.tag.chars().count().div_ceil(12)).unwrap_or(25);
        sheet.set_row_height(row, 15.5 * f64::from(lines.clamp(2, 25)))?;
    }
    sheet.write_text(
        row + 1,
        0,
        "Requirement, predicted and margin are those of the pump's tightest requirement; all stand on Kits and Stack-up.",
        &styles.remark,
    )?;
    Ok(row + 2)
}

fn warnings(
    sheet: &mut Worksheet,
    verified: &Verified,
    start: u32,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    let (job, plan) = (verified.job(), verified.plan());
    let mut crushed = words::crush_warnings(job, plan);
    crushed.extend(unchecked(job, plan));
    if job.warnings.is_empty() && job.unused.is_empty() && crushed.is_empty() {
        return Ok(start - 1);
    }
    let prose = &styles.prose;
    let warnings = job.warnings.iter().map(words::warning);
    let warnings = warnings.map(|text| (tall(&text, 140), text));
    let crushed = crushed.into_iter().map(|text| {
        let lines = u16::try_from(text.chars().count().div_ceil(150)).unwrap_or(1);
        (16.0 * f64::from(lines), text)
    });
    let unused = (!job.unused.is_empty()).then(|| {
        let unused = job.unused.join("; ");
        let text = format!("Carried through or left alone, not used: {unused}.");
        (32.0, text)
    });
    let texts = warnings.chain(crushed).chain(unused);
    let texts = texts.map(|(height, text)| (text, prose, Some(height)));
    let place = (start, COLUMNS - 1);
    Ok(paragraphs(sheet, place, "Warnings and remarks", texts, styles)? + 1)
}

/// The most gaskets that are named in one cell: a row can be no taller.
const MOST_NAMED: usize = 60;

/// The gaskets whose crush nobody checked, in one sentence for the whole plan.
fn unchecked(job: &Job, plan: &Plan) -> Option<String> {
    let items = crush::unchecked(job, plan);
    let named = items.iter().take(MOST_NAMED).map(|&index| {
        let item = &job.stock[index];
        let material = item.material.as_deref().unwrap_or("no material stated");
        format!("{} ({material})", item.item)
    });
    let named: Vec<String> = named.collect();
    let more = match items.len().saturating_sub(MOST_NAMED) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    let (named, plural) = (named.join(", "), if items.len() == 1 { "" } else { "s" });
    let count = Some(items.len()).filter(|count| *count > 0)?;
    Some(format!(
        "Crush not checked for {count} gasket item{plural}, whose material is not known to give way: {named}{more}."
    ))
}
