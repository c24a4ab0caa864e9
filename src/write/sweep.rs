//! The Sweep sheet: what if a dimension, a tolerance, a temperature, a target or a limit moves.

use rust_xlsxwriter::{
    Chart, ChartFormat, ChartLegendPosition, ChartLine, ChartLineDashType, ChartRange, ChartType,
    Workbook, Worksheet, XlsxError,
};

use super::text::{WriteText, chart_name};

use super::pages::{Pages, Series};
use super::style::{LIMITS, Styles, VALUES, heads, set_up, title, widths};
use super::table::{self, Cells};
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
    workbook: &mut Workbook,
    job: &Job,
    analysed: &[Analysed],
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let series = Series {
        name: NAME,
        begin: &|sheet, name| {
            set_up(sheet, name, date)?;
            widths(sheet, &[17.0; 24])?;
            title(
                sheet,
                NAME,
                "One thing moved at a time, all else as it is. A margin below nothing is a requirement that is not met.",
                styles,
            )?;
            Ok(3)
        },
        last_column: None,
    };
    let mut pages = Pages::begin(workbook, &series)?;
    for one in analysed {
        for (sweep, points, anew) in &one.sweeps {
            pages.turn(1)?;
            let block = Block { job, one, sweep, points, anew: *anew };
            let name = pages.name();
            pages.row = block.write(&mut pages.sheet, &name, pages.row, styles)? + 2;
        }
    }
    pages.finish(|_| {})
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
        name: &str,
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
        let head = format!("Pump {}: {} moved, {how} ({unit})", pump.tag, self.sweep.label);
        sheet.write_text(row, 0, head, &styles.part)?;
        row += 1;
        let mut labels = vec![self.sweep.label.clone()];
        labels.extend(model.packs.iter().map(|pack| format!("{}, total", pack.label)));
        for requirement in &pump.requirements {
            for what in COLUMNS {
                labels.push(format!("{}: {what}", requirement.label));
            }
        }
        let texts: Vec<&str> = labels.iter().map(String::as_str).collect();
        heads(sheet, row, &texts, styles)?;
        sheet.set_row_height(row, 62.0)?;
        let first = row + 1;
        for point in self.points {
            row += 1;
            self.point(sheet, row, point, styles)?;
        }
        let chart = self.picture(name, first, row);
        sheet.insert_chart(row + 2, 0, &chart)?;
        Ok(row + 2 + PICTURE)
    }

    /// A point: where the thing is moved to, the packs, and each requirement.
    fn point(
        &self,
        sheet: &mut Worksheet,
        row: u32,
        point: &Point,
        styles: &Styles,
    ) -> Result<(), XlsxError> {
        let unit = self.job.model_of(&self.job.pumps[self.one.pump]).unit;
        let length = styles.length(unit);
        let format = match point.setting {
            Setting::Length(_) => &length,
            Setting::Number(_) => &styles.number,
        };
        let mut cells = vec![format.of(point.setting.to_f64(unit))];
        let Some(kit) = &point.kit else {
            cells.push(styles.alarm.of(point.why()));
            return table::cells(sheet, (row, 0), cells);
        };
        cells.extend(kit.totals.iter().map(|total| length.of(total.to_f64(unit))));
        for (report, verdict) in &kit.requirements {
            let least = |margin: fn(&Side) -> f64| {
                let [low, high] = &report.sides;
                margin(low).min(margin(high))
            };
            cells.extend([
                length.of(report.value),
                length.of(verdict.margin().to_f64(unit)),
                length.of(least(Side::margin_worst)),
                length.of(least(Side::margin_expanded)),
                styles.chance.of(report.conforming),
                match verdict.conforms() {
                    true => styles.text.of("met"),
                    false => styles.alarm.of("NOT MET"),
                },
            ]);
        }
        table::cells(sheet, (row, 0), cells)
    }

    /// The margin of each requirement by the rule in force, of the points in these rows.
    fn picture(&self, name: &str, first: u32, last: u32) -> Chart {
        let pump = &self.job.pumps[self.one.pump];
        let model = self.job.model_of(pump);
        let (unit, packs) = (model.unit, model.packs.len());
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
                .set_categories(&ChartRange::new_from_range(name, first, 0, last, 0))
                .set_values(&ChartRange::new_from_range(name, first, column, last, column))
                .set_format(ChartFormat::new().set_line(&line));
        }
        let title = format!("{}: margin by the rule in force", pump.tag);
        let title = chart_name(&title);
        chart.title().set_name(&title);
        chart.x_axis().set_name(chart_name(&self.sweep.label).as_str());
        chart.x_axis().set_label_position(rust_xlsxwriter::ChartAxisLabelPosition::Low);
        chart.y_axis().set_name(&format!("Margin ({unit})"));
        chart.legend().set_position(ChartLegendPosition::Bottom);
        chart.set_width(1000).set_height(320);
        chart.set_alt_text(&title);
        chart
    }
}
