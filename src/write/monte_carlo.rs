//! The Monte Carlo sheet: what drawing each requirement at random came to.

use rust_xlsxwriter::{
    Chart, ChartFont, ChartFormat, ChartLegendPosition, ChartRange, ChartSolidFill, ChartType,
    Worksheet, XlsxError,
};

use super::text::{WriteText, chart_name};

use super::style::{Styles, VALUES, heads, set_up, title, widths};
use crate::analysis::Analysed;
use crate::job::Job;
use itertools::Itertools;

use crate::accounting::stack;
use crate::model::Form;
use crate::stack::monte_carlo::{CLASSES, Outcome};
use crate::stack::{level_of_draws, taken_as_normal};

const NAME: &str = "Monte Carlo";

/// Where the classes stand, beside the printed page.
const DATA: u16 = 24;

/// Rows that a picture takes.
const PICTURE: u32 = 18;

/// More pictures than this would make the workbook slow to open.
const MOST_PICTURES: usize = 60;

pub(super) fn write(
    sheet: &mut Worksheet,
    job: &Job,
    analysed: &[Analysed],
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    set_up(sheet, NAME, date)?;
    widths(
        sheet,
        &[
            24.0, 46.0, 11.0, 12.0, 12.0, 13.0, 13.0, 13.0, 13.0, 13.0, 13.0, 13.0, 13.0, 13.0,
            18.0, 34.0,
        ],
    )?;
    title(
        sheet,
        NAME,
        "Every contributor drawn at random (JCGM 101), until two digits of the standard uncertainty are stable. These figures do not follow changes on Stack-up: run the program again.",
        styles,
    )?;
    let level = level_of_draws(job.policy.coverage);
    let percent = |level: f64| format!("{:.2} %", level * 100.0);
    let symmetric = format!("Symmetric interval, {}: from", percent(level));
    let shortest = format!("Shortest interval, {}: from", percent(level));
    heads(
        sheet,
        3,
        &[
            "Tag",
            "Requirement",
            "Unit",
            "Draws",
            "Stable",
            "Mean",
            "Standard uncertainty",
            &symmetric,
            "to",
            &shortest,
            "to",
            "Conforms",
            "Below",
            "Above",
            "Limits",
            "Taken as normal (correlated)",
        ],
        styles,
    )?;
    sheet.set_row_height(3, 62.0)?;
    let mut row = 3;
    let mut pictures: Vec<(String, &Outcome)> = Vec::new();
    for one in analysed {
        let pump = &job.pumps[one.pump];
        let unit = job.model_of(pump).unit;
        let stack = stack(job, pump, &one.packs);
        for (requirement, drawn) in pump.requirements.iter().zip(&one.draws) {
            row += 1;
            sheet.write_text(row, 0, &pump.tag, &styles.strong)?;
            sheet.write_text(row, 1, &requirement.label, &styles.wrapped)?;
            let (shown, length) = match requirement.form {
                Form::Linear { .. } => (unit.symbol(), styles.length(unit)),
                Form::GasketFill { .. } => ("allowance", styles.number.clone()),
            };
            sheet.write_text(row, 2, shown, &styles.text)?;
            let outcome = match drawn {
                Ok(outcome) => outcome,
                Err(why) => {
                    let why = format!("cannot be drawn: {why}");
                    sheet.merge_text(row, 3, row, 15, &why, &styles.alarm)?;
                    continue;
                }
            };
            #[allow(clippy::cast_precision_loss)]
            let draws = outcome.draws as f64;
            sheet.write_number_with_format(row, 3, draws, &styles.count)?;
            let settled = if outcome.settled { "yes" } else { "NO" };
            sheet.write_text(row, 4, settled, &styles.text)?;
            let lengths = [
                outcome.mean,
                outcome.standard,
                outcome.symmetric[0],
                outcome.symmetric[1],
                outcome.shortest[0],
                outcome.shortest[1],
            ];
            for (column, value) in (5..).zip(lengths) {
                if value.is_finite() {
                    sheet.write_number_with_format(row, column, value, &length)?;
                } else {
                    sheet.write_text(row, column, "without end", &styles.text)?;
                }
            }
            if let Some(c) = outcome.conformity {
                for (column, share) in (11..).zip([c.conforming, c.below, c.above]) {
                    sheet.write_number_with_format(row, column, share, &styles.chance)?;
                }
            }
            let [low, high] = match &requirement.form {
                Form::Linear { lower, upper, .. } => [lower, upper].map(|l| l.show(unit)),
                Form::GasketFill { lower, upper, .. } => [lower, upper].map(ToString::to_string),
            };
            let limits = format!("{low} to {high}");
            sheet.write_text(row, 14, limits, &styles.text)?;
            let normal = taken_as_normal(&requirement.form, &stack).join(", ");
            sheet.write_text(row, 15, normal, &styles.wrapped)?;
            pictures.push((format!("{}: {}", pump.tag, requirement.label), outcome));
        }
    }
    row += 2;
    if pictures.len() > MOST_PICTURES {
        let remark = "Too many requirements for pictures; name some pumps with --pump.";
        sheet.write_text(row, 0, remark, &styles.remark)?;
        pictures.clear();
    }
    for (index, (title, outcome)) in pictures.iter().enumerate() {
        // Each picture's classes have two columns of their own.
        let data = DATA + 2 * u16::try_from(index).unwrap_or(0);
        classes(sheet, data, outcome, styles)?;
        let (column, below) = if index % 2 == 0 {
            (0, 0)
        } else {
            (6, PICTURE + 1)
        };
        sheet.insert_chart(row, column, &picture(title, data))?;
        row += below;
    }
    if pictures.len() % 2 == 1 {
        row += PICTURE + 1;
    }
    sheet.set_print_area(0, 0, row, 15)?;
    Ok(())
}

/// Writes the classes of a histogram into two columns.
fn classes(
    sheet: &mut Worksheet,
    column: u16,
    outcome: &Outcome,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let histogram = &outcome.histogram;
    #[allow(clippy::cast_precision_loss)]
    let (width, draws) = (
        (histogram.to - histogram.from) / CLASSES as f64,
        outcome.draws as f64,
    );
    for (row, count) in (0_u32..).zip(histogram.counts) {
        let middle = histogram.from + width * (f64::from(row) + 0.5);
        sheet.write_number_with_format(row, column, middle, &styles.remark)?;
        #[allow(clippy::cast_precision_loss)]
        let share = count as f64 / draws;
        sheet.write_number_with_format(row, column + 1, share, &styles.remark)?;
    }
    Ok(())
}

fn picture(title: &str, data: u16) -> Chart {
    let last = u32::try_from(CLASSES).unwrap_or(1) - 1;
    let range = |column: u16| ChartRange::new_from_range(NAME, 0, column, last, column);
    let mut chart = Chart::new(ChartType::Column);
    chart
        .add_series()
        .set_name("share of draws")
        .set_categories(&range(data))
        .set_values(&range(data + 1))
        .set_gap(5)
        .set_format(ChartFormat::new().set_solid_fill(ChartSolidFill::new().set_color(VALUES)));
    let title = chart_name(title);
    chart.title().set_name(&title);
    chart
        .title()
        .set_font(ChartFont::new().set_size(10).set_bold());
    chart.legend().set_position(ChartLegendPosition::Bottom);
    chart.x_axis().set_num_format("0.0000");
    chart.y_axis().set_num_format("0.0 %");
    chart.set_width(690).set_height(340);
    chart.set_alt_text(chart_name(&format!("Histogram of the draws of {title}")));
    chart
}
