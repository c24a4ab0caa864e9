//! The Summary of what is set aside: both prices side by side, the service, every pump's standing.

use rust_xlsxwriter::{
    Chart, ChartErrorBars, ChartErrorBarsDirection, ChartErrorBarsType, ChartFormat, ChartMarker,
    ChartMarkerType, ChartRange, ChartSolidFill, ChartType, Worksheet, XlsxError,
};

use super::super::style::{Styles, VALUES, heads, set_up, title, widths};
use super::super::text::WriteText;
use super::{Provided, high_enough, money};
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
    let (job, provision) = (&provided.outlook.job, provided.provision);
    set_up(sheet, NAME, date)?;
    widths(
        sheet,
        &[16.0, 18.0, 9.0, 12.0, 46.0, 8.0, 8.0, 14.0, 13.0, 28.0],
    )?;
    let unmeasured = provision.safe.iter().filter(|kit| !kit.axes.is_empty());
    let lead = format!(
        "{} of {} pumps are not measured yet; acceptance rule: {}; values in steps of {}",
        unmeasured.count(),
        job.pumps.len(),
        job.policy.acceptance,
        words::length(
            provided.question.step,
            words::natural_unit(provided.question.step)
        )
    );
    title(sheet, "What to set aside before the outage", &lead, styles)?;
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
    let (job, provision) = (&provided.outlook.job, provided.provision);
    let (together, trolley, service) =
        (&provision.together, &provision.trolley, &provision.service);
    let question = provided.question;
    let short = provision.falls_short(question);
    let mut row = 4;
    sheet.merge_text(row, 0, row, 1, "", &styles.head)?;
    sheet.merge_text(
        row,
        2,
        row,
        4,
        "Safe kits, all of them together",
        &styles.head,
    )?;
    sheet.merge_text(
        row,
        5,
        row,
        LAST,
        "Trolley, shared by all pumps",
        &styles.head,
    )?;
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
    let lines = [
        (
            "Price",
            words::money(together.cost.raw(), job),
            words::money(trolley.cost.raw(), job),
        ),
        (
            "Pieces",
            together.count.to_string(),
            trolley.count.to_string(),
        ),
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
        (
            "Chosen for",
            "every value looked at in its range".into(),
            served,
        ),
        (
            "Service counted",
            "not counted: it is no matter of chance".into(),
            said::service(service),
        ),
        ("Fits the drawers", said::fits(job, together), sheets),
    ];
    for (at, (name, safe, shared)) in lines.iter().enumerate() {
        row += 1;
        let format = if at < 2 {
            &styles.strong
        } else {
            &styles.wrapped
        };
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
    let [gaps, unknown] = [service.hopeless, service.undecided];
    let ran_out = service
        .checks
        .saturating_sub(service.served + gaps + unknown);
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
    Ok(row + 1)
}

/// Both prices, and the service with its interval; the row below.
fn charts(
    sheet: &mut Worksheet,
    provided: &Provided<'_>,
    row: u32,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    let (job, provision) = (&provided.outlook.job, provided.provision);
    let service = &provision.service;
    let asked = provided.question.probability.to_f64();
    let share = service.share();
    let [low, high] = service.interval;
    let figures = [
        (
            "Safe kits together",
            provision.together.cost.to_f64(),
            "asked for",
            asked,
            0.0,
            0.0,
        ),
        (
            "Trolley",
            provision.trolley.cost.to_f64(),
            "counted",
            share,
            share - low,
            high - share,
        ),
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
    let range = |column: u16| {
        ChartRange::new_from_range(NAME, row + 1, FIGURES + column, row + 2, FIGURES + column)
    };
    let fill = || {
        ChartFormat::new()
            .set_solid_fill(ChartSolidFill::new().set_color(VALUES))
            .clone()
    };
    let mut price = Chart::new(ChartType::Column);
    price
        .add_series()
        .set_name("Price")
        .set_categories(&range(0))
        .set_values(&range(1))
        .set_gap(90)
        .set_format(&mut fill());
    let name = format!("Price of what is set aside ({})", job.policy.currency);
    price
        .title()
        .set_name(super::super::text::chart_name(&name).as_str());
    price.legend().set_hidden();
    price.y_axis().set_min(0).set_num_format("0");
    price.set_alt_text("Price of all safe kits together beside that of the trolley");
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
    let least = ((low.min(asked) - 0.02).max(0.0) * 20.0).floor() / 20.0;
    counted
        .y_axis()
        .set_min(least)
        .set_max(1)
        .set_num_format("0 %");
    counted.set_alt_text("Service that was asked for, and the counted one with its interval");
    for chart in [&mut price, &mut counted] {
        chart
            .title()
            .set_font(rust_xlsxwriter::ChartFont::new().set_size(11).set_bold());
        chart.set_height(280);
    }
    price.set_width(470);
    counted.set_width(680);
    sheet.insert_chart_with_offset(row, 0, &price, 4, 4)?;
    sheet.insert_chart_with_offset(row, 4, &counted, 110, 4)?;
    Ok(row + PICTURE)
}

/// Every pump with its standing; the row below.
fn pumps(
    sheet: &mut Worksheet,
    provided: &Provided<'_>,
    start: u32,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    let (job, provision) = (&provided.outlook.job, provided.provision);
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
        let dimensions = model
            .dimensions
            .iter()
            .zip(&provided.outlook.expected[index]);
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
        sheet.write_text(row, 0, &pump.tag, &tag)?;
        sheet.write_text(row, 1, &model.name, &styles.wrapped)?;
        sheet.write_number_with_format(row, 2, pump.priority, &styles.count)?;
        sheet.write_text(row, 3, due, &styles.text)?;
        sheet.write_text(row, 4, &expected, &styles.wrapped)?;
        for (column, count) in [(5, kit.values()), (6, kit.gaps())] {
            let count = u32::try_from(count).unwrap_or(u32::MAX);
            sheet.write_number_with_format(row, column, count, &styles.count)?;
        }
        sheet.write_number_with_format(row, 7, kit.cost.to_f64(), &money)?;
        let missed = provision.service.missed.get(index).copied().unwrap_or(0);
        sheet.write_text(row, 8, format!("{missed} of {checks}"), &styles.text)?;
        let format = match kit.gaps() {
            0 => styles.wrapped.clone(),
            _ => styles.alarm.clone().set_text_wrap(),
        };
        let standing = said::standing(kit);
        sheet.write_text(row, 9, &standing, &format)?;
        high_enough(
            sheet,
            row,
            &[
                (&pump.tag, 13),
                (&model.name, 16),
                (&expected, 50),
                (&standing, 28),
            ],
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
    let job = &provided.outlook.job;
    let own = said::warnings(job, provided.provision, provided.question);
    if own.is_empty() && job.warnings.is_empty() && job.unused.is_empty() {
        return Ok(start - 1);
    }
    sheet.write_text(start, 0, "Warnings and remarks", &styles.part)?;
    let warnings = job.warnings.iter().map(words::warning);
    let unused = (!job.unused.is_empty()).then(|| {
        format!(
            "Carried through or left alone, not used: {}.",
            job.unused.join("; ")
        )
    });
    let mut row = start;
    let alarm = styles.alarm.clone().set_text_wrap();
    let own = own.into_iter().map(|text| (text, &alarm));
    let others = warnings.chain(unused).map(|text| (text, &styles.prose));
    for (text, format) in own.chain(others) {
        row += 1;
        sheet.merge_text(row, 0, row, LAST, &text, format)?;
        high_enough(sheet, row, &[(&text, 170)])?;
    }
    Ok(row + 1)
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
