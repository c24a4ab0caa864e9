//! The Reach sheet: drawer by drawer, the share of its range that can be met against the number of
//! pieces, today and after the buy, and which thicknesses would suffice.

use rust_xlsxwriter::{
    Chart, ChartFormat, ChartLegendPosition, ChartLine, ChartLineDashType, ChartMarker,
    ChartMarkerType, ChartRange, ChartSolidFill, ChartType, Color, Workbook, Worksheet, XlsxError,
};

use super::Ordered;
use crate::job::Job;
use crate::length::{Length, Unit};
use crate::reach::{Choice, Guard};
use crate::reorder::shelf::Shelf;
use crate::words;
use crate::write::pages::{Pages, Series};
use crate::write::style::{INK, LIMITS, Styles, VALUES, heads, set_up, title, widths};
use crate::write::text::{WriteText, chart_name};

const NAME: &str = "Reach";
const COLUMNS: u16 = 9;
const WIDTHS: [f64; 9] = [18.0, 16.0, 14.0, 14.0, 18.0, 18.0, 18.0, 18.0, 18.0];
/// Rows that a picture covers.
const PICTURE: u32 = 15;

pub(super) fn write(
    workbook: &mut Workbook,
    ordered: &Ordered<'_>,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let series = Series {
        name: NAME,
        begin: &|sheet, name| {
            set_up(sheet, name, &ordered.question.date)?;
            widths(sheet, &WIDTHS)?;
            title(
                sheet,
                "Reach: which thicknesses to hold",
                "Any number of pieces of each thickness is taken to be there: the question is which to hold, not how many.",
                styles,
            )?;
            Ok(3)
        },
        last_column: Some(COLUMNS - 1),
    };
    let mut pages = Pages::begin(workbook, &series)?;
    for shelf in &ordered.report.shelves {
        pages.turn(1)?;
        match shelf {
            Ok(shelf) => drawer(&mut pages, ordered.job, shelf, styles)?,
            Err((kind, fit, fault)) => {
                let (sheet, row) = (&mut pages.sheet, pages.row);
                sheet.write_text(row, 0, format!("{kind}, fit {fit}"), &styles.part)?;
                let text = format!("Not worked out: {fault}.");
                sheet.merge_text(row + 1, 0, row + 1, COLUMNS - 1, &text, &styles.prose)?;
                pages.row += 3;
            }
        }
    }
    if ordered.report.shelves.is_empty() {
        let text = "No drawer is used by these pumps.";
        pages.sheet.write_text(pages.row, 0, text, &styles.plain)?;
        pages.row += 1;
    }
    pages.finish(|_| {})
}

/// The unit that a drawer's thicknesses are shown in.
pub(super) fn unit_of(job: &Job, shelf: &Shelf) -> Unit {
    let metric = shelf
        .items
        .iter()
        .filter_map(|&item| job.stock[item].size)
        .filter(|size| words::natural_unit(size.thickness) == Unit::Millimetre);
    match metric.count() * 2 > shelf.items.len() {
        true => Unit::Millimetre,
        false => Unit::Inch,
    }
}

fn drawer(
    pages: &mut Pages<'_>,
    job: &Job,
    shelf: &Shelf,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let (sheet_name, start) = (pages.name(), pages.row);
    let sheet = &mut pages.sheet;
    let unit = unit_of(job, shelf);
    let rule = shelf.asked.rule;
    let name = format!("{}, fit {}", shelf.kind, shelf.fit);
    let mut row = start;
    sheet.write_text(row, 0, &name, &styles.part)?;
    row += 1;
    let guard = match rule.guard {
        Guard::None => "nominal totals count",
        Guard::WorstCase => "with every piece anywhere in its tolerance",
        Guard::RootSumSquare => "with the root of the squares of the pieces' tolerances kept clear",
    };
    let first = shelf.asked.targets.at(0);
    let last = shelf.asked.targets.at(shelf.asked.targets.len() - 1);
    let text = format!(
        "Totals from {} to {}, {} in all; one is met by at most {} pieces on each other within {} of it, {guard}.",
        first.show(unit),
        words::length(last, unit),
        shelf.asked.targets.len(),
        rule.pieces,
        words::length(rule.window, unit)
    );
    sheet.merge_text(row, 0, row, COLUMNS - 1, &text, &styles.prose)?;
    sheet.set_row_height(row, 32.0)?;
    row += 1;
    heads(
        sheet,
        row,
        &["Pieces in one pump, at most", "Met today", "After the buy", "All thicknesses"],
        styles,
    )?;
    sheet.set_row_height(row, 32.0)?;
    let top = row;
    let figures = row + 1;
    for pieces in 1..=rule.pieces {
        row += 1;
        sheet.write_number_with_format(row, 0, pieces, &styles.count)?;
        for (column, reach) in (1..).zip([&shelf.today, &shelf.after, &shelf.all]) {
            let share = reach.share(pieces);
            sheet.write_number_with_format(row, column, share, &styles.percent)?;
        }
    }
    let chart = picture(&sheet_name, &name, figures, row);
    sheet.insert_chart(top, 4, &chart)?;
    row = (row + 1).max(top + PICTURE);
    let missed = [
        ("Missed today", shelf.today.missed()),
        ("Missed after the buy", shelf.after.missed()),
        ("Missed whatever is held", shelf.all.missed()),
    ];
    for (label, missed) in missed {
        let text = match missed.is_empty() {
            true => "none".to_string(),
            false => format!("{}: {}", missed.len(), runs(&missed, step(shelf), unit)),
        };
        row = line(sheet, row, label, &text, styles)?;
    }
    let choices = [
        ("Fewest thicknesses that reach as much as all", &shelf.fewest),
        ("Least cost, a sealed pack of each", &shelf.cheapest),
    ];
    for (label, choice) in choices {
        row = line(sheet, row, label, &chosen(job, shelf, choice, unit), styles)?;
    }
    pages.row = changes(sheet, job, shelf, row + 1, styles)?;
    Ok(())
}

/// The step of a drawer's totals.
fn step(shelf: &Shelf) -> Length {
    let targets = &shelf.asked.targets;
    match targets.len() {
        0 | 1 => Length::from_ticks(1),
        _ => targets.at(1) - targets.at(0),
    }
}

fn line(
    sheet: &mut Worksheet,
    row: u32,
    label: &str,
    text: &str,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    let label_format = styles.strong.clone().set_text_wrap();
    sheet.merge_text(row, 0, row, 1, label, &label_format)?;
    sheet.merge_text(row, 2, row, COLUMNS - 1, text, &styles.wrapped)?;
    let lines = u16::try_from(text.chars().count().div_ceil(105)).unwrap_or(25);
    sheet.set_row_height(row, 16.0 * f64::from(lines.clamp(2, 25)))?;
    Ok(row + 1)
}

/// Lengths as runs of steps: `0.0180 to 0.0190, 0.0230 in`; cut off where there are very many.
pub(super) fn runs(lengths: &[Length], step: Length, unit: Unit) -> String {
    const MOST_RUNS: usize = 60;
    let mut runs: Vec<(Length, Length)> = Vec::new();
    for &length in lengths {
        match runs.last_mut() {
            Some((_, last)) if *last + step == length => *last = length,
            _ => runs.push((length, length)),
        }
    }
    let shown: Vec<String> = runs
        .iter()
        .take(MOST_RUNS)
        .map(|(first, last)| match first == last {
            true => first.show(unit).to_string(),
            false => format!("{} to {}", first.show(unit), last.show(unit)),
        })
        .collect();
    let more = match runs.len().saturating_sub(MOST_RUNS) {
        0 => String::new(),
        more => format!(" and {more} more stretches"),
    };
    format!("{} {}{more}", shown.join(", "), unit.symbol())
}

fn chosen(job: &Job, shelf: &Shelf, choice: &Choice, unit: Unit) -> String {
    let items = choice.sizes.iter().map(|&size| {
        let item = &job.stock[shelf.items[size]];
        let thickness =
            item.size.map_or(String::new(), |size| format!(" ({})", size.thickness.show(unit)));
        format!("{}{thickness}", item.item)
    });
    let items: Vec<String> = items.collect();
    let proof = match choice.proven {
        true => "proven".to_string(),
        false => format!(
            "not proven: no set has fewer than {} or costs less than {}",
            choice.least_sizes,
            words::money(choice.least_cost.raw(), job)
        ),
    };
    let free: Vec<&str> = shelf
        .items
        .iter()
        .filter(|&&item| job.stock[item].terms.unit_cost.is_none())
        .map(|&item| job.stock[item].item.as_str())
        .collect();
    let proof = match free.is_empty() {
        true => proof,
        false => format!("{proof} with {} counted as free for want of a price", free.join(", ")),
    };
    format!(
        "{} thickness{}, {}, {proof}: {}",
        choice.sizes.len(),
        if choice.sizes.len() == 1 { "" } else { "es" },
        words::money(choice.cost.raw(), job),
        items.join(", ")
    )
}

/// What dropping or adding one thickness does.
fn changes(
    sheet: &mut Worksheet,
    job: &Job,
    shelf: &Shelf,
    start: u32,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    let unit = unit_of(job, shelf);
    let names = [
        "Item",
        "Thickness",
        "After the buy",
        "If it were",
        "Totals lost",
        "Totals gained",
        "Pieces in one pump",
        "Pieces in one pump, then",
        "Tolerance of all of them: now, then",
    ];
    heads(sheet, start, &names, styles)?;
    sheet.set_row_height(start, 46.0)?;
    let mut row = start;
    for (index, held, change) in &shelf.changes {
        row += 1;
        let item = &job.stock[shelf.items[*index]];
        sheet.write_text(row, 0, &item.item, &styles.strong)?;
        let thickness = item.size.map_or(String::new(), |size| words::length(size.thickness, unit));
        sheet.write_text(row, 1, thickness, &styles.text)?;
        let (is, were) = match held {
            true => ("held", "dropped"),
            false => ("not held", "added"),
        };
        sheet.write_text(row, 2, is, &styles.text)?;
        sheet.write_text(row, 3, were, &styles.text)?;
        let counts = [change.lost.len(), change.gained.len()];
        for (column, count) in (4..).zip(counts) {
            let count = u32::try_from(count).unwrap_or(u32::MAX);
            sheet.write_number_with_format(row, column, count, &styles.count)?;
        }
        #[expect(clippy::cast_precision_loss, reason = "counts are far below 2^53")]
        let mean = |sum: u64| sum as f64 / change.both.max(1) as f64;
        let pieces = styles.number.clone().set_num_format("0.00");
        let sums = [change.before_sums, change.after_sums];
        for (column, tally) in (6..).zip(sums) {
            sheet.write_number_with_format(row, column, mean(tally.pieces), &pieces)?;
        }
        let both = i64::try_from(change.both.max(1)).unwrap_or(1);
        let guard = sums.map(|tally| Length::from_ticks(tally.guard.ticks() / both));
        let text = guard.map(|guard| format!("{:.5}", guard.to_f64(unit))).join(", ");
        sheet.write_text(row, 8, text, &styles.text)?;
    }
    sheet.write_text(
        row + 1,
        0,
        "Pieces and tolerance are means over the totals that are met either way.",
        &styles.remark,
    )?;
    Ok(row + 3)
}

/// Share met against pieces: three lines that marker and dash tell apart without colour.
fn picture(sheet_name: &str, name: &str, first: u32, last: u32) -> Chart {
    let lines: [(u16, &str, Color, ChartLineDashType, ChartMarkerType); 3] = [
        (1, "Today", LIMITS, ChartLineDashType::Dash, ChartMarkerType::Square),
        (2, "After the buy", VALUES, ChartLineDashType::Solid, ChartMarkerType::Circle),
        (3, "All thicknesses", INK, ChartLineDashType::RoundDot, ChartMarkerType::Triangle),
    ];
    let mut chart = Chart::new(ChartType::Line);
    for (column, label, colour, dash, marker) in lines {
        let line = ChartLine::new().set_color(colour).set_width(2.0).set_dash_type(dash).clone();
        let fill = ChartSolidFill::new().set_color(colour).clone();
        chart
            .add_series()
            .set_name(label)
            .set_categories(&ChartRange::new_from_range(sheet_name, first, 0, last, 0))
            .set_values(&ChartRange::new_from_range(sheet_name, first, column, last, column))
            .set_format(ChartFormat::new().set_line(&line))
            .set_marker(
                ChartMarker::new()
                    .set_type(marker)
                    .set_size(7)
                    .set_format(ChartFormat::new().set_solid_fill(&fill)),
            );
    }
    let title = chart_name(&format!("{name}: share of the range that can be met"));
    chart.title().set_name(&title);
    chart.x_axis().set_name("Pieces in one pump, at most");
    chart.y_axis().set_min(0).set_max(1).set_num_format("0 %");
    chart.legend().set_position(ChartLegendPosition::Bottom);
    chart.set_width(630).set_height(280);
    chart.set_alt_text(&title);
    chart
}
