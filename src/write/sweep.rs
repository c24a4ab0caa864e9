//! The Sweep sheet: what if a dimension, a tolerance, a temperature, a target or a limit moves.

use rust_xlsxwriter::{
    Chart, ChartFormat, ChartLegendPosition, ChartLine, ChartLineDashType, ChartRange, ChartType,
    Worksheet, XlsxError,
};

use super::text::{WriteText, chart_name};

use super::style::{LIMITS, Styles, VALUES, heads, set_up, title, widths};
use crate::analysis::Analysed;
use crate::job::Job;
use crate::stack::Side;
use crate::sweep::{Point, Setting, Sweep};

const NAME: &str = "Sweep";

/// What is shown of each requirement.
const COLUMNS: [&str; 6] = [
    "value",
    "margin by the rule",
    "margin, worst case",
    "margin, expanded",
    "conforms, if normal",
    "verdict",
];

/// Rows that a picture takes.
const PICTURE: u32 = 22;

pub(super) fn write(
    sheet: &mut Worksheet,
    job: &Job,
    analysed: &[Analysed],
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    set_up(sheet, NAME, date)?;
    widths(sheet, &[17.0; 24])?;
    title(
        sheet,
        NAME,
        "One thing moved at a time, all else as it is. A margin below nothing is a requirement that is not met.",
        styles,
    )?;
    let mut row = 3;
    let mut breaks = Vec::new();
    for one in analysed {
        for (sweep, points, anew) in &one.sweeps {
            if row > 3 {
                breaks.push(row);
            }
            let block = Block {
                job,
                one,
                sweep,
                points,
                anew: *anew,
            };
            row = block.write(sheet, row, styles)? + 2;
        }
    }
    sheet.set_page_breaks(&breaks)?;
    Ok(())
}

struct Block<'a> {
    job: &'a Job,
    one: &'a Analysed,
    sweep: &'a Sweep,
    points: &'a [Point],
    anew: bool,
}

impl Block<'_> {
    fn write(
        &self,
        sheet: &mut Worksheet,
        mut row: u32,
        styles: &Styles,
    ) -> Result<u32, XlsxError> {
        let pump = &self.job.pumps[self.one.pump];
        let model = self.job.model_of(pump);
        let unit = model.unit;
        let how = if self.anew {
            "pieces chosen anew at every step out of the whole drawer"
        } else {
            "pieces held"
        };
        let head = format!(
            "Pump {}: {} moved, {how} ({unit})",
            pump.tag, self.sweep.label
        );
        sheet.write_text(row, 0, head, &styles.part)?;
        row += 1;
        let mut labels = vec![self.sweep.label.clone()];
        labels.extend(
            model
                .packs
                .iter()
                .map(|pack| format!("{}, total", pack.label)),
        );
        let packs = model.packs.len();
        for requirement in &pump.requirements {
            for what in COLUMNS {
                labels.push(format!("{}: {what}", requirement.label));
            }
        }
        let texts: Vec<&str> = labels.iter().map(String::as_str).collect();
        heads(sheet, row, &texts, styles)?;
        sheet.set_row_height(row, 62.0)?;
        let first = row + 1;
        let length = styles.length(unit);
        for point in self.points {
            row += 1;
            let value = point.setting.to_f64(unit);
            let format = match point.setting {
                Setting::Length(_) => &length,
                Setting::Number(_) => &styles.number,
            };
            sheet.write_number_with_format(row, 0, value, format)?;
            let Some(kit) = &point.kit else {
                let why = point.why();
                sheet.write_text(row, 1, why, &styles.alarm)?;
                continue;
            };
            for (column, total) in (1..).zip(&kit.totals) {
                sheet.write_number_with_format(row, column, total.to_f64(unit), &length)?;
            }
            let mut column = u16::try_from(1 + packs).unwrap_or(1);
            for (report, verdict) in &kit.requirements {
                let margin = verdict.margin().to_f64(unit);
                sheet.write_number_with_format(row, column, report.value, &length)?;
                sheet.write_number_with_format(row, column + 1, margin, &length)?;
                let least = |margin: fn(&Side) -> f64| {
                    let [low, high] = &report.sides;
                    margin(low).min(margin(high))
                };
                let margins = [Side::margin_worst, Side::margin_expanded].map(least);
                for (column, margin) in (column + 2..).zip(margins) {
                    sheet.write_number_with_format(row, column, margin, &length)?;
                }
                let chance = report.conforming;
                sheet.write_number_with_format(row, column + 4, chance, &styles.chance)?;
                let (word, format) = if verdict.conforms() {
                    ("met", &styles.text)
                } else {
                    ("NOT MET", &styles.alarm)
                };
                sheet.write_text(row, column + 5, word, format)?;
                column += 6;
            }
        }
        let last = row;
        let mut chart = Chart::new(ChartType::ScatterStraight);
        for (index, requirement) in pump.requirements.iter().enumerate() {
            let column = u16::try_from(2 + packs + COLUMNS.len() * index).unwrap_or(u16::MAX);
            let colour = if index % 2 == 0 { VALUES } else { LIMITS };
            // Told apart by dashes; the two colours stay apart for everybody.
            let dashes = [
                ChartLineDashType::Solid,
                ChartLineDashType::Dash,
                ChartLineDashType::RoundDot,
                ChartLineDashType::LongDashDot,
            ];
            let line = ChartLine::new()
                .set_color(colour)
                .set_width(2.25)
                .set_dash_type(dashes[index % dashes.len()])
                .clone();
            chart
                .add_series()
                .set_name(chart_name(&requirement.label).as_str())
                .set_categories(&ChartRange::new_from_range(NAME, first, 0, last, 0))
                .set_values(&ChartRange::new_from_range(
                    NAME, first, column, last, column,
                ))
                .set_format(ChartFormat::new().set_line(&line));
        }
        let title = format!("{}: margin by the rule in force", pump.tag);
        let title = chart_name(&title);
        chart.title().set_name(&title);
        chart
            .x_axis()
            .set_name(chart_name(&self.sweep.label).as_str());
        chart
            .x_axis()
            .set_label_position(rust_xlsxwriter::ChartAxisLabelPosition::Low);
        chart.y_axis().set_name(&format!("Margin ({unit})"));
        chart.legend().set_position(ChartLegendPosition::Bottom);
        chart.set_width(1000).set_height(320);
        chart.set_alt_text(&title);
        sheet.insert_chart(row + 2, 0, &chart)?;
        Ok(row + 2 + PICTURE)
    }
}
