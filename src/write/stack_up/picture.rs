//! Two pictures beside a requirement's results: where the value can lie between its limits, and how
//! far each contributor moves it.

use rust_xlsxwriter::{
    Chart, ChartAxisLabelPosition, ChartErrorBars, ChartErrorBarsDirection, ChartErrorBarsType,
    ChartFont, ChartFormat, ChartLegendPosition, ChartLineDashType, ChartMarkerType, ChartRange,
    ChartType, Color, Worksheet,
};

use super::super::page::{Page, Written};
use super::super::picture::{Figures, fill, line, mark};
use super::super::style::{LIMITS, VALUES, length_format};
use super::super::table::{self, Cells};
use super::super::text::{WriteText, chart_name};
use crate::length::Unit;

/// How many rows the pictures take.
pub(super) const ROWS: u32 = 26;

/// The heights at which the reaches are drawn, beside the printed page.
const LEVELS: u16 = 24;

/// Writes the heights: a limit stands from 0 to 4, each reach lies at one height.
pub(super) fn levels(page: &mut Page<'_>) -> Written {
    let remark = &page.styles.remark;
    page.sheet.write_text(0, LEVELS, "Heights in the pictures", remark)?;
    for (row, ends) in (1..).zip([[0.0, 4.0], [3.0, 3.0], [2.0, 2.0], [1.0, 1.0]]) {
        table::cells(&mut page.sheet, (row, LEVELS), ends.map(|height| remark.of(height)))?;
    }
    Ok(())
}

pub(super) struct Picture<'a> {
    /// The name of the sheet.
    pub(super) sheet: &'a str,
    /// The row at which the pictures begin.
    pub(super) at: u32,
    pub(super) title: String,
    pub(super) unit: Unit,
    /// The rows of results that are drawn.
    pub(super) limits: u32,
    /// Whether there is a lower limit, and an upper one.
    pub(super) has_limit: [bool; 2],
    pub(super) value: u32,
    pub(super) reaches: [(&'static str, u32); 3],
    /// The contributors, and the columns of how far each moves the value.
    pub(super) lines: Figures<'a>,
    pub(super) moves: [u16; 2],
    /// The column of each contributor's share of the variance.
    pub(super) share: u16,
}

impl Picture<'_> {
    pub(super) fn draw(&self, sheet: &mut Worksheet) -> Written {
        let [mut interval, mut tornado, mut shares] =
            [self.interval(), self.tornado(), self.shares()];
        interval.set_width(400);
        tornado.set_width(460);
        shares.set_width(300);
        sheet.insert_chart(self.at, 3, &interval)?;
        sheet.insert_chart_with_offset(self.at, 7, &tornado, 10, 0)?;
        sheet.insert_chart_with_offset(self.at, 11, &shares, 90, 0)?;
        Ok(())
    }

    /// Limits as upright lines, each reach as a bar at its height.
    fn interval(&self) -> Chart {
        let ends = |row: u32| ChartRange::new_from_range(self.sheet, row, 1, row, 2);
        let level = |row: u32| ChartRange::new_from_range(self.sheet, row, LEVELS, row, LEVELS + 1);
        let mut chart = Chart::new(ChartType::ScatterStraight);
        for (((name, row), width), height) in self.reaches.iter().zip([6.0, 4.0, 2.0]).zip(2..) {
            chart
                .add_series()
                .set_name(*name)
                .set_categories(&ends(*row))
                .set_values(&level(height))
                .set_format(&mut line(VALUES, width, ChartLineDashType::Solid));
        }
        // One point each in the middle; an upright line is its error bar.
        let middle = || ChartRange::new_from_range(self.sheet, 3, LEVELS, 3, LEVELS);
        let point = |row: u32, column: u16| {
            ChartRange::new_from_range(self.sheet, row, column, row, column)
        };
        let limits = [("lower limit", 1), ("upper limit", 2)].into_iter().zip(self.has_limit);
        for ((name, column), _) in limits.filter(|(_, is_there)| *is_there) {
            let line = line(LIMITS, 2.0, ChartLineDashType::Solid);
            chart
                .add_series()
                .set_name(name)
                .set_categories(&point(self.limits, column))
                .set_values(&middle())
                .set_marker(&mark(ChartMarkerType::ShortDash, 8, LIMITS))
                .set_y_error_bars(
                    ChartErrorBars::new()
                        .set_type(ChartErrorBarsType::FixedValue(2.0))
                        .set_direction(ChartErrorBarsDirection::Both)
                        .set_end_cap(false)
                        .set_format(ChartFormat::new().set_line(&line)),
                );
        }
        chart
            .add_series()
            .set_name("nominal value")
            .set_categories(&point(self.value, 1))
            .set_values(&middle())
            .set_marker(&mark(ChartMarkerType::Diamond, 8, Color::White));
        self.finish(&mut chart, &format!("{} between its limits", self.title));
        chart.y_axis().set_min(0).set_max(4).set_hidden(true);
        chart.y_axis().set_major_gridlines(false);
        chart.x_axis().set_num_format(length_format(self.unit));
        chart
    }

    /// How far each contributor moves the value at worst, the largest on top.
    fn tornado(&self) -> Chart {
        let mut chart = Chart::new(ChartType::BarStacked);
        let [down, up] = self.moves;
        for (name, column, colour) in [("down", down, LIMITS), ("up", up, VALUES)] {
            let series = self.lines.series(&mut chart, name, column);
            series.set_gap(60).set_format(&mut fill(colour));
        }
        self.finish(&mut chart, &format!("{}: worst-case contributions", self.title));
        // In a chart of bars the upright axis is the one of the categories.
        chart.y_axis().set_reverse().set_label_position(ChartAxisLabelPosition::Low);
        chart.x_axis().set_num_format(length_format(self.unit));
        chart
    }

    /// Each contributor's share of the variance, in the order of the picture beside it.
    fn shares(&self) -> Chart {
        let mut chart = Chart::new(ChartType::Bar);
        let series = self.lines.series(&mut chart, "share of variance", self.share);
        series.set_gap(60).set_format(&mut fill(VALUES));
        self.finish(&mut chart, "Share of variance");
        chart.y_axis().set_reverse().set_label_position(ChartAxisLabelPosition::None);
        chart.x_axis().set_num_format("0 %").set_min(0);
        chart
    }

    fn finish(&self, chart: &mut Chart, title: &str) {
        let title = chart_name(title);
        chart.title().set_name(&title);
        chart.title().set_font(ChartFont::new().set_size(10).set_bold());
        chart.legend().set_position(ChartLegendPosition::Bottom);
        chart.set_height(500);
        chart.set_alt_text(title);
    }
}
