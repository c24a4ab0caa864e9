//! The Summary of what is set aside: both prices side by side, the service, every pump's standing.

use rust_xlsxwriter::{
    Chart, ChartErrorBars, ChartErrorBarsDirection, ChartErrorBarsType, ChartFormat, ChartMarker,
    ChartMarkerType, ChartRange, ChartSolidFill, ChartType, Worksheet, XlsxError,
};

use super::super::style::{Head, Styles, VALUES, begin, heads, paragraphs, widths};
use super::super::table::{self, Cells};
use super::super::text::WriteText;
use super::{Provided, height, high_enough, money};
use crate::model::USUAL_CAUTIONS;
use crate::words;
use crate::words::provision as said;

const NAME: &str = "Summary";
const LAST: u16 = 9;
/// Where the charts' figures stand, right of what is printed.
const FIGURES: u16 = 12;
/// Rows that the charts take.
const PICTURE: u32 = 15;

pub(super) fn write(
    sheet: &mut Worksheet,
    provided: &Provided<'_>,
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let (job, provision) = (provided.outlook.job(), provided.provision);
    widths(sheet, &[16.0, 18.0, 9.0, 12.0, 46.0, 8.0, 8.0, 14.0, 13.0, 28.0])?;
    let unmeasured = provision.safe.iter().filter(|kit| !kit.axes.is_empty());
    let lead = format!(
        "{} of {} pumps are not measured yet; acceptance rule: {}; values in steps of {}",
        unmeasured.count(),
        job.pumps.len(),
        job.policy.acceptance,
        words::length(provided.question.step, words::natural_unit(provided.question.step))
    );
    let head = Head { name: NAME, date, title: "What to set aside before the outage", lead: &lead };
    begin(sheet, &head, styles)?;
    sheet.merge_text(2, 0, 2, LAST, said::CAUTION, &styles.strong)?;
    let mut row = prices(sheet, provided, styles)?;
    row = charts(sheet, provided, row + 1, styles)?;
    row = cautions(sheet, row + 1, styles)?;
    row = warnings(sheet, provided, row + 2, styles)?;
    // Last, so that its headings can stand on every page that it runs on to.
    row = pumps(sheet, provided, row + 1, styles)?;
    sheet.set_print_area(0, 0, row, LAST)?;
    Ok(())
}

/// Both answers side by side; the last row written.
fn prices(
    sheet: &mut Worksheet,
    provided: &Provided<'_>,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    let (provision, question) = (provided.provision, provided.question);
    let (together, short) = (&provision.together, provision.falls_short(question));
    let mut row = 4;
    let heads = [
        (0, 1, ""),
        (2, 4, "Safe kits, all of them together"),
        (5, LAST, "Trolley, shared by all pumps"),
    ];
    for (first, last, text) in heads {
        sheet.merge_text(row, first, row, last, text, &styles.head)?;
    }
    let lines = answers(provided);
    for (at, (name, safe, shared)) in lines.iter().enumerate() {
        row += 1;
        let format = if at < 2 { &styles.strong } else { &styles.wrapped };
        sheet.merge_text(row, 0, row, 1, name, &styles.text)?;
        let lacking =
            at == lines.len() - 1 && !(together.lacking.is_empty() && together.sheets.is_empty());
        let alarm = styles.alarm.clone().set_text_wrap();
        let safe_format = if lacking { &alarm } else { format };
        sheet.merge_text(row, 2, row, 4, safe, safe_format)?;
        let short = short && shared.starts_with("NOT ");
        let shared_format = if short { &alarm } else { format };
        sheet.merge_text(row, 5, row, LAST, shared, shared_format)?;
        high_enough(sheet, row, &[(safe, 70), (shared, 74)])?;
    }
    Ok(verdict(sheet, provided, row, styles)? + 1)
}

/// What each answer comes to: its name, that of the safe kits, that of the trolley.
fn answers(provided: &Provided<'_>) -> [(&'static str, String, String); 7] {
    let (job, provision) = (provided.outlook.job(), provided.provision);
    let (together, trolley, service) =
        (&provision.together, &provision.trolley, &provision.service);
    let question = provided.question;
    let short = provision.falls_short(question);
    let served = format!(
        "{} of {} scenarios, {} wanted; no measure of its service, since it was made for them",
        trolley.served, trolley.scenarios, trolley.wanted
    );
    let sheets = match trolley.sheets.is_empty() {
        true => "yes: it is made of what the drawers hold".to_string(),
        false => format!(
            "too few sheets of {}, unless several shapes are cut from one",
            said::sheets(job, &trolley.sheets)
        ),
    };
    [
        ("Price", words::money(together.cost.raw(), job), words::money(trolley.cost.raw(), job)),
        ("Pieces", together.count.to_string(), trolley.count.to_string()),
        (
            "Is it the least?",
            said::safe_proof(provision, job),
            said::trolley_proof(provision, question, job),
        ),
        (
            "What it holds for",
            said::safe_holds(question),
            match short {
                true => format!(
                    "NOT the {} of outages asked for: every pump in {} of the {} scenarios chosen for, every pump but those in a gap in {}",
                    said::asked(question.probability),
                    trolley.served,
                    trolley.scenarios,
                    trolley.but_for_gaps
                ),
                false => format!(
                    "all pumps together in {} of outages, as far as the count below bears it out",
                    said::asked(question.probability)
                ),
            },
        ),
        ("Chosen for", "every value looked at in its range".into(), served),
        (
            "Service counted",
            "not counted: it is no matter of chance".into(),
            said::service(service),
        ),
        ("Fits the drawers", said::fits(job, together), sheets),
    ]
}

/// What the trolley promises, what the count lost, and what stands against it; the last row written.
fn verdict(
    sheet: &mut Worksheet,
    provided: &Provided<'_>,
    mut row: u32,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    let (provision, question) = (provided.provision, provided.question);
    let service = &provision.service;
    let [gaps, unknown] = [service.hopeless, service.undecided];
    let ran_out = service.checks.saturating_sub(service.served + gaps + unknown);
    let lost = format!(
        "Of {} scenarios counted: {} served, {gaps} come to a value in a gap, {ran_out} want pieces that ran out, {unknown} not found out (the interval's low end takes them as not served, its high end as served).",
        service.checks, service.served
    );
    let promise = said::promise(provision, question);
    let promise_format = match promise.starts_with("NOT MET") {
        true => styles.alarm.clone().set_text_wrap(),
        false => styles.prose.clone(),
    };
    for (text, format) in [(promise, promise_format), (lost, styles.prose.clone())] {
        row += 1;
        sheet.merge_text(row, 0, row, LAST, &text, &format)?;
        high_enough(sheet, row, &[(&text, 180)])?;
    }
    let gaps = provision.safe.iter().filter(|kit| kit.gaps() > 0).count();
    if gaps > 0 {
        row += 1;
        let text = format!(
            "{}: {gaps} of {} pumps may come to a value that nothing in the drawers will do for; see Coverage.",
            said::GAP,
            provision.safe.len()
        );
        sheet.merge_text(row, 0, row, LAST, &text, &styles.alarm)?;
    }
    if let Some(stop) = provision.stopped {
        row += 1;
        let text = format!(
            "Ended early by {}: these are the best found, with their bounds.",
            stop.words()
        );
        sheet.merge_text(row, 0, row, LAST, &text, &styles.alarm)?;
    }
    Ok(row)
}

/// Both prices, and the service with its interval; the row below.
fn charts(
    sheet: &mut Worksheet,
    provided: &Provided<'_>,
    row: u32,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    let (job, provision) = (provided.outlook.job(), provided.provision);
    let service = &provision.service;
    let asked = provided.question.probability.to_f64();
    let share = service.share();
    let [low, high] = service.interval;
    let figures = [
        ("Safe kits together", provision.together.cost.to_f64(), "asked for", asked, 0.0, 0.0),
        ("Trolley", provision.trolley.cost.to_f64(), "counted", share, share - low, high - share),
    ];
    let names = ["", "Price", "", "Service", "below", "above"];
    for (column, name) in (FIGURES..).zip(names) {
        sheet.write_text(row, column, name, &styles.remark)?;
    }
    for (at, (answer, price, what, value, below, above)) in (row + 1..).zip(figures) {
        sheet.write_text(at, FIGURES, answer, &styles.remark)?;
        sheet.write_text(at, FIGURES + 2, what, &styles.remark)?;
        for (column, value) in [(1, price), (3, value), (4, below), (5, above)] {
            sheet.write_number_with_format(at, FIGURES + column, value, &styles.remark)?;
        }
    }
    let mut price = price(row, &job.policy.currency);
    let mut counted = counted(row, low.min(asked));
    for chart in [&mut price, &mut counted] {
        chart.title().set_font(rust_xlsxwriter::ChartFont::new().set_size(11).set_bold());
        chart.set_height(280);
    }
    price.set_width(470);
    counted.set_width(680);
    sheet.insert_chart_with_offset(row, 0, &price, 4, 4)?;
    sheet.insert_chart_with_offset(row, 4, &counted, 110, 4)?;
    Ok(row + PICTURE)
}

/// How the values of both pictures look.
fn fill() -> ChartFormat {
    ChartFormat::new().set_solid_fill(ChartSolidFill::new().set_color(VALUES)).clone()
}

/// The figures of a column, below their heading in a row.
fn figures(row: u32, column: u16) -> ChartRange {
    ChartRange::new_from_range(NAME, row + 1, FIGURES + column, row + 2, FIGURES + column)
}

/// Both prices.
fn price(row: u32, currency: &str) -> Chart {
    let range = |column| figures(row, column);
    let mut price = Chart::new(ChartType::Column);
    price
        .add_series()
        .set_name("Price")
        .set_categories(&range(0))
        .set_values(&range(1))
        .set_gap(90)
        .set_format(&mut fill());
    let name = format!("Price of what is set aside ({})", currency);
    price.title().set_name(super::super::text::chart_name(&name).as_str());
    price.legend().set_hidden();
    price.y_axis().set_min(0).set_num_format("0");
    price.set_alt_text("Price of all safe kits together beside that of the trolley");
    price
}

/// The service that was asked for and the counted one, which may be as low as this.
fn counted(row: u32, low: f64) -> Chart {
    let range = |column| figures(row, column);
    let mut counted = Chart::new(ChartType::Line);
    counted
        .add_series()
        .set_name("Share of outages in which every pump is served")
        .set_categories(&range(2))
        .set_values(&range(3))
        .set_format(ChartFormat::new().set_no_line())
        .set_marker(
            ChartMarker::new()
                .set_type(ChartMarkerType::Diamond)
                .set_size(9)
                .set_format(&mut fill()),
        )
        .set_y_error_bars(
            ChartErrorBars::new()
                .set_type(ChartErrorBarsType::Custom(range(5), range(4)))
                .set_direction(ChartErrorBarsDirection::Both),
        );
    counted
        .title()
        .set_name("Outages in which every pump is served, with the interval of the count");
    counted.legend().set_hidden();
    // Points and not columns, so that the axis need not begin at nothing.
    let least = ((low - 0.02).max(0.0) * 20.0).floor() / 20.0;
    counted.y_axis().set_min(least).set_max(1).set_num_format("0 %");
    counted.set_alt_text("Service that was asked for, and the counted one with its interval");
    counted
}

/// Every pump with its standing; the row below.
fn pumps(
    sheet: &mut Worksheet,
    provided: &Provided<'_>,
    start: u32,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    let (job, provision) = (provided.outlook.job(), provided.provision);
    sheet.write_text(start, 0, "Pumps", &styles.part)?;
    let names = [
        "Tag",
        "Model",
        "Priority",
        "Due",
        "Expected",
        "Values",
        "In a gap",
        "Safe kit",
        "Goes without",
        "Standing",
    ];
    let mut row = start + 1;
    heads(sheet, row, &names, styles)?;
    sheet.set_row_height(row, 31.0)?;
    sheet.set_repeat_rows(row, row)?;
    let (money, tag) = (money(styles), styles.strong.clone().set_text_wrap());
    let checks = provision.service.checks;
    for (index, pump) in job.pumps.iter().enumerate() {
        row += 1;
        let (model, kit) = (job.model_of(pump), &provision.safe[index]);
        let dimensions = model.dimensions.iter().zip(&provided.outlook.expected()[index]);
        let expected = dimensions.filter_map(|(dimension, expected)| {
            let expected = (*expected)?;
            let range = said::range([expected.low, expected.high], model.unit);
            let law = match expected.law {
                crate::outlook::Law::Even => "",
                crate::outlook::Law::Readings { .. } => ", as past readings say",
            };
            Some(format!("{} {range}{law}", dimension.label))
        });
        let expected: Vec<String> = expected.collect();
        let expected = match expected.is_empty() {
            true => "measured".to_string(),
            false => expected.join("; "),
        };
        let due = pump.due.as_ref().map_or("", |due| due.shown.as_str());
        let missed = provision.service.missed.get(index).copied().unwrap_or(0);
        let format = match kit.gaps() {
            0 => styles.wrapped.clone(),
            _ => styles.alarm.clone().set_text_wrap(),
        };
        let standing = said::standing(kit);
        let cells = [
            tag.of(&pump.tag),
            styles.wrapped.of(&model.name),
            styles.count.of(pump.priority),
            styles.text.of(due),
            styles.wrapped.of(&expected),
            styles.count.of(kit.values()),
            styles.count.of(kit.gaps()),
            money.of(kit.cost.to_f64()),
            styles.text.of(format!("{missed} of {checks}")),
            format.of(&standing),
        ];
        table::cells(sheet, (row, 0), cells)?;
        high_enough(
            sheet,
            row,
            &[(&pump.tag, 13), (&model.name, 16), (&expected, 50), (&standing, 28)],
        )?;
    }
    sheet.write_text(
        row + 1,
        0,
        "Goes without: in how many of the scenarios that were counted the trolley has no kit for this pump.",
        &styles.remark,
    )?;
    Ok(row + 2)
}

fn warnings(
    sheet: &mut Worksheet,
    provided: &Provided<'_>,
    start: u32,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    let job = provided.outlook.job();
    let own = said::warnings(job, provided.provision, provided.question);
    if own.is_empty() && job.warnings.is_empty() && job.unused.is_empty() {
        return Ok(start - 1);
    }
    let warnings = job.warnings.iter().map(words::warning);
    let unused = (!job.unused.is_empty()).then(|| {
        let unused = job.unused.join("; ");
        format!("Carried through or left alone, not used: {unused}.")
    });
    let alarm = styles.alarm.clone().set_text_wrap();
    let own = own.into_iter().map(|text| (text, &alarm));
    let others = warnings.chain(unused).map(|text| (text, &styles.prose));
    let texts = own.chain(others).map(|(text, format)| {
        let height = height(&[(&text, 170)]);
        (text, format, Some(height))
    });
    Ok(paragraphs(sheet, (start, LAST), "Warnings and remarks", texts, styles)? + 1)
}

fn cautions(sheet: &mut Worksheet, start: u32, styles: &Styles) -> Result<u32, XlsxError> {
    sheet.write_text(start, 0, "Cautions", &styles.part)?;
    let own = [
        ("before", said::CAUTION),
        (
            "before",
            "A range is an expectation. A pump that comes out beyond it may need pieces that nobody set aside; so may one whose parts were changed.",
        ),
    ];
    let mut row = start;
    for (when, text) in own.into_iter().chain(USUAL_CAUTIONS) {
        row += 1;
        sheet.write_text(row, 0, when, &styles.prose)?;
        sheet.merge_text(row, 1, row, LAST, text, &styles.prose)?;
        high_enough(sheet, row, &[(text, 145)])?;
    }
    Ok(row)
}
