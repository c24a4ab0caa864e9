//! The As built sheet: a line a pump with its decision and room to sign, and a picture of what was found.

use rust_xlsxwriter::{Chart, ChartFormat, ChartMarkerType, ChartType, Worksheet};

use super::AsBuilt;
use crate::length::Fine;
use crate::model::Form;
use crate::pump::Pump;
use crate::recheck::{Decision, Record};
use crate::words::NOT_FIT;
use crate::words::recheck::{decision, is_accepted_unmeasured, keeps_open, not_met, to_do};
use crate::write::between::{self, share};
use crate::write::page::{Page, Written};
use crate::write::picture::{Figures, mark};
use crate::write::style::{LIMITS, Styles, VALUES, tall};
use crate::write::table::{self, Cells, Column, over};

const NAME: &str = "As built";
const LAST: u16 = 8;
/// Where the chart's figures stand, right of what is printed.
const CHART_COLUMN: u16 = 10;

pub(super) fn sheet(built: &AsBuilt<'_>, styles: &Styles) -> Written<Worksheet> {
    let (job, records) = (built.recheck.job(), built.recheck.records());
    let accepted = records.iter().filter(|r| !keeps_open(&r.decision)).count();
    let lead = format!(
        "{accepted} of {} pumps accepted as found; plan {}, acceptance rule: {}",
        records.len(),
        built.plan_id,
        job.policy.acceptance
    );
    let mut page = Page::begin(NAME, "As-built record", &lead, styles)?;
    page.last = LAST;
    counts(&mut page, records)?;
    page.row += 1;
    pictures(&mut page, built)?;
    page.row += 1;
    let columns = columns(styles);
    table::widths(&mut page.sheet, &columns)?;
    page.headings(&columns)?;
    for (pump, record) in job.pumps.iter().zip(records) {
        let (decided, least) = match is_accepted_unmeasured(job, pump, record) {
            true => ("accept; packs not all measured", 32.0),
            false => (decision(record), 20.0),
        };
        let said = match &record.decision {
            Decision::Look(_) => {
                let not_met = not_met(job, pump, record);
                not_met.into_iter().chain(["See To do.".to_string()]).collect::<Vec<_>>().join(" ")
            }
            Decision::Swap(_) => "See To do.".to_string(),
            _ => to_do(job, pump, record).join(" "),
        };
        page.high(tall(&said, 58).max(least))?;
        let model = &job.model_of(pump).name;
        page.put(&columns, &PumpRow { pump, model, record, decided, said })?;
    }
    page.row += 1;
    page.cautions(&[], |_| 18.0)?;
    let row = page.row - 1;
    page.printed(row, LAST)
}

/// A pump with what was decided.
struct PumpRow<'a> {
    pump: &'a Pump,
    model: &'a str,
    record: &'a Record,
    decided: &'static str,
    said: String,
}

type Col<'s> = Column<'s, PumpRow<'s>>;

fn columns(styles: &Styles) -> [Col<'_>; 9] {
    let (text, wrapped, strong) = (&styles.text, &styles.wrapped, &styles.strong);
    let open = |line: &PumpRow<'_>| keeps_open(&line.record.decision);
    let decided = move |line: &PumpRow<'_>| match open(line) {
        true => styles.alarms.of(line.decided),
        false => styles.bold.of(line.decided),
    };
    let sign = move |line: &PumpRow<'_>| match open(line) {
        true => text.of("not yet"),
        false => styles.entry.blank(),
    };
    let who = |who: &Option<String>| wrapped.of(who.as_deref().unwrap_or(""));
    [
        Col::new("Tag", 14.0, |line| strong.of(&line.pump.tag)),
        Col::new("Model", 21.0, |line| text.of(line.model)),
        Col::new("Due", 12.0, |line| text.of(line.pump.due_shown())),
        Col::new("Decision", 24.0, decided),
        Col::new("Remarks", 58.0, |line| wrapped.of(&line.said)),
        Col::new("Fitter, date", 17.0, move |line| who(&line.record.bench.fitter)),
        Col::new("Checked, date", 17.0, move |line| who(&line.record.bench.checker)),
        Col::new("Accepted on", 12.0, sign),
        Col::new("Signed", 16.0, sign),
    ]
}

fn counts(page: &mut Page<'_>, records: &[Record]) -> Written {
    type Is = fn(&Decision) -> bool;
    let [no_swap, no_kit] = ["no swap puts it right", "without a kit in the plan"]
        .map(|why| format!("{NOT_FIT}: {why}"));
    let groups: [(&str, Is); 6] = [
        ("accepted as found", |d| matches!(d, Decision::Accept)),
        ("to be looked into before any piece is moved", |d| matches!(d, Decision::Look(_))),
        ("put right by a swap, then rechecked", |d| matches!(d, Decision::Swap(_))),
        (&no_swap, |d| matches!(d, Decision::NoSwap(_))),
        ("recheck missing, or not read yet", |d| {
            matches!(d, Decision::Incomplete(_) | Decision::NotRead)
        }),
        (&no_kit, |d| matches!(d, Decision::NotKitted)),
    ];
    let Styles { count, text, .. } = page.styles;
    for (label, is) in groups {
        let found = records.iter().filter(|record| is(&record.decision)).count();
        page.line([count.of(found), over(4, text.of(label))])?;
    }
    Ok(())
}

/// Every clearance that was read, between its limits: found and predicted.
fn pictures(page: &mut Page<'_>, built: &AsBuilt<'_>) -> Written {
    let (job, records) = (built.recheck.job(), built.recheck.records());
    let remark = &page.styles.remark;
    let rows = job.pumps.iter().zip(records).flat_map(|(pump, record)| {
        let asked = pump.requirements.iter().zip(&record.requirements);
        let read = asked.filter_map(|(requirement, checked)| {
            let is_linear = matches!(requirement.form, Form::Linear { .. });
            Some((&checked.verdict, checked.compared.as_ref().filter(|_| is_linear)?))
        });
        read.enumerate().map(move |(at, (v, compared))| {
            let name = match at {
                0 => pump.tag.clone(),
                _ => format!("{} ({})", pump.tag, at + 1),
            };
            // A reading of one that is asked running is cold: the verdict has it moved to running.
            let moved = v.value - Fine::from(compared.found.last().value);
            let [found, predicted] = [v.value, compared.predicted + moved]
                .map(|value| share(value, v).and_then(|at| remark.of(at)));
            [remark.of(name), found, predicted, remark.of(0.0), remark.of(100.0)]
        })
    });
    let heads = ["Reading", "Found, %", "Predicted, %", "Lower limit", "Upper limit"];
    let last = page.figures(CHART_COLUMN, heads, rows)?;
    between::pictures(page, (NAME, CHART_COLUMN, last), picture)
}

fn picture(figures: &Figures<'_>, goes_on: bool) -> Chart {
    let mut chart = Chart::new(ChartType::Line);
    let marks = [
        (2, "Predicted", ChartMarkerType::Circle, LIMITS),
        (1, "Found", ChartMarkerType::Diamond, VALUES),
    ];
    for (column, name, shape, colour) in marks {
        figures
            .series(&mut chart, name, column)
            .set_format(ChartFormat::new().set_no_line())
            .set_marker(&mark(shape, 8, colour));
    }
    between::limits(&mut chart, figures, [3, 4]);
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
