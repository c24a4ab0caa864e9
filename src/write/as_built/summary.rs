//! The As built sheet: a line a pump with its decision and room to sign, and a picture of what was found.

use rust_xlsxwriter::{
    Chart, ChartFormat, ChartMarker, ChartMarkerType, ChartRange, ChartSolidFill, ChartType,
    Worksheet, XlsxError,
};

use super::AsBuilt;
use crate::length::Fine;
use crate::model::Form;
use crate::pump::Pump;
use crate::recheck::{Decision, Record};
use crate::words::recheck::{decision, is_accepted_unmeasured, keeps_open, to_do};
use crate::write::between::{self, share};
use crate::write::style::{Head, LIMITS, Styles, VALUES, begin, tall, usual_cautions};
use crate::write::table::{self, Cells, Column};
use crate::write::text::WriteText;

const NAME: &str = "As built";
const LAST: u16 = 8;
/// Where the chart's figures stand, right of what is printed.
const CHART_COLUMN: u16 = 10;

pub(super) fn write(
    sheet: &mut Worksheet,
    built: &AsBuilt<'_>,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let (job, records) = (built.recheck.job(), built.recheck.records());
    let accepted = records.iter().filter(|r| !keeps_open(&r.decision)).count();
    let lead = format!(
        "{accepted} of {} pumps accepted as found; plan {}, acceptance rule: {}",
        records.len(),
        built.plan_id,
        job.policy.acceptance
    );
    let head = Head { name: NAME, date: built.date, title: "As-built record", lead: &lead };
    begin(sheet, &head, styles)?;
    let mut row = counts(sheet, records, styles)?;
    row = pictures(sheet, built, row + 1, styles)?;
    row += 1;
    let columns = columns(styles);
    table::widths(sheet, &columns)?;
    table::heads(sheet, row, &columns, styles)?;
    for (pump, record) in job.pumps.iter().zip(records) {
        row += 1;
        let (decided, least) = match is_accepted_unmeasured(job, pump, record) {
            true => ("accept; packs not all measured", 32.0),
            false => (decision(&record.decision), 20.0),
        };
        let said = match &record.decision {
            Decision::Look(_) | Decision::Swap(_) => "See To do.".to_string(),
            _ => to_do(job, pump, record).join(" "),
        };
        sheet.set_row_height(row, tall(&said, 58).max(least))?;
        let line = Line { pump, model: &job.model_of(pump).name, record, decided, said };
        table::row(sheet, row, &columns, &line)?;
    }
    row = usual_cautions(sheet, (row + 2, LAST), styles)?;
    sheet.set_print_area(0, 0, row, LAST)?;
    Ok(())
}

/// A pump with what was decided.
struct Line<'a> {
    pump: &'a Pump,
    model: &'a str,
    record: &'a Record,
    decided: &'static str,
    said: String,
}

type Col<'s> = Column<'s, Line<'s>>;

fn columns(styles: &Styles) -> [Col<'_>; 9] {
    let (text, wrapped, strong) = (&styles.text, &styles.wrapped, &styles.strong);
    let open = |line: &Line<'_>| keeps_open(&line.record.decision);
    let decided = move |line: &Line<'_>| match open(line) {
        true => styles.alarm.wrapping(line.decided),
        false => strong.wrapping(line.decided),
    };
    let sign = move |line: &Line<'_>| match open(line) {
        true => text.of("not yet"),
        false => styles.entry.blank(),
    };
    let due = |line: &Line<'_>| line.pump.due.as_ref().map(|due| due.shown.clone());
    let who = |who: &Option<String>| wrapped.of(who.as_deref().unwrap_or(""));
    [
        Col::new("Tag", 14.0, |line| strong.of(&line.pump.tag)),
        Col::new("Model", 21.0, |line| text.of(line.model)),
        Col::new("Due", 12.0, move |line| text.of(due(line).unwrap_or_default())),
        Col::new("Decision", 24.0, decided),
        Col::new("What there is to say", 58.0, |line| wrapped.of(&line.said)),
        Col::new("Fitter, date", 17.0, move |line| who(&line.record.bench.fitter)),
        Col::new("Checked, date", 17.0, move |line| who(&line.record.bench.checker)),
        Col::new("Accepted on", 12.0, sign),
        Col::new("Signed", 16.0, sign),
    ]
}

fn counts(sheet: &mut Worksheet, records: &[Record], styles: &Styles) -> Result<u32, XlsxError> {
    type Is = fn(&Decision) -> bool;
    let groups: [(&str, Is); 6] = [
        ("accepted as found", |d| matches!(d, Decision::Accept)),
        ("to be looked into before any piece is moved", |d| matches!(d, Decision::Look(_))),
        ("put right by a swap, then rechecked", |d| matches!(d, Decision::Swap(_))),
        ("NOT FIT TO ASSEMBLE: no swap puts it right", |d| matches!(d, Decision::NoSwap(_))),
        ("recheck lacking, or not read yet", |d| {
            matches!(d, Decision::Incomplete(_) | Decision::NotRead)
        }),
        ("NOT FIT TO ASSEMBLE: without a kit in the plan", |d| matches!(d, Decision::NotKitted)),
    ];
    let mut row = 3;
    for (label, is) in groups {
        let count = records.iter().filter(|record| is(&record.decision)).count();
        let count = u32::try_from(count).unwrap_or(u32::MAX);
        sheet.write_number_with_format(row, 0, count, &styles.count)?;
        sheet.merge_text(row, 1, row, 4, label, &styles.text)?;
        row += 1;
    }
    Ok(row)
}

/// Every clearance that was read, between its limits: found and predicted.
fn pictures(
    sheet: &mut Worksheet,
    built: &AsBuilt<'_>,
    start: u32,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    let (job, records) = (built.recheck.job(), built.recheck.records());
    let labels = ["Reading", "Found, %", "Predicted, %", "Lower limit", "Upper limit"];
    for (column, label) in (CHART_COLUMN..).zip(labels) {
        sheet.write_text(start, column, label, &styles.remark)?;
    }
    let mut count = 0_u32;
    for (pump, record) in job.pumps.iter().zip(records) {
        let asked = pump.requirements.iter().zip(&record.requirements);
        let mut several = 0;
        for (requirement, checked) in asked {
            let (Some(compared), Form::Linear { .. }) = (checked.compared, &requirement.form)
            else {
                continue;
            };
            several += 1;
            count += 1;
            let row = start + count;
            let name = match several {
                1 => pump.tag.clone(),
                more => format!("{} ({more})", pump.tag),
            };
            sheet.write_text(row, CHART_COLUMN, name, &styles.remark)?;
            let v = &checked.verdict;
            // A reading of one that is asked running is cold: the verdict has it moved to running.
            let moved = v.value - Fine::from(compared.found.last().value);
            let values = [
                share(v.value, v.lower, v.upper),
                share(compared.predicted + moved, v.lower, v.upper),
                0.0,
                100.0,
            ];
            for (column, value) in (CHART_COLUMN + 1..).zip(values) {
                sheet.write_number_with_format(row, column, value, &styles.remark)?;
            }
        }
    }
    let mut row = start;
    for [from, to] in between::parts(start + 1, start + count) {
        sheet.insert_chart(row, 0, &picture(from, to, from > start + 1))?;
        row += between::ROWS;
    }
    Ok(row)
}

fn picture(first: u32, last: u32, goes_on: bool) -> Chart {
    let range = |column: u16| {
        ChartRange::new_from_range(NAME, first, CHART_COLUMN + column, last, CHART_COLUMN + column)
    };
    let mut chart = Chart::new(ChartType::Line);
    let marks = [
        (2, "Predicted", ChartMarkerType::Circle, LIMITS),
        (1, "Found", ChartMarkerType::Diamond, VALUES),
    ];
    for (column, name, kind, colour) in marks {
        let mut fill = ChartFormat::new();
        fill.set_solid_fill(ChartSolidFill::new().set_color(colour));
        let mut marker = ChartMarker::new();
        marker.set_type(kind).set_size(8).set_format(&mut fill);
        chart
            .add_series()
            .set_name(name)
            .set_categories(&range(0))
            .set_values(&range(column))
            .set_format(ChartFormat::new().set_no_line())
            .set_marker(&marker);
    }
    between::limits(&mut chart, &range(0), [&range(3), &range(4)], first == last);
    between::frame(
        &mut chart,
        "Clearances found, between their limits (0 % lower, 100 % upper)",
        goes_on,
    );
    chart.y_axis().set_num_format("0");
    chart.set_width(1180);
    chart.set_alt_text("Each clearance that was read, found and predicted, between its limits");
    chart
}
