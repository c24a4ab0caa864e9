//! Two pictures beside a requirement's results: where the value can lie between its limits, and how
//! far each contributor moves it.

use rust_xlsxwriter::{
    Chart, ChartAxisLabelPosition, ChartErrorBars, ChartErrorBarsDirection, ChartErrorBarsType,
    ChartFont, ChartFormat, ChartLegendPosition, ChartLine, ChartMarker, ChartMarkerType,
    ChartRange, ChartSolidFill, ChartType, Color, Worksheet, XlsxError,
};

use super::super::text::{WriteText, chart_name};

use super::super::style::{LIMITS, Styles, VALUES, length_format};
use crate::length::Unit;

/// How many rows the pictures take.
pub(super) const ROWS: u32 = 26;

/// The heights at which the reaches are drawn, beside the printed page.
const LEVELS: u16 = 24;

/// Writes the heights: a limit stands from 0 to 4, each reach lies at one height.
pub(super) fn levels(sheet: &mut Worksheet, styles: &Styles) -> Result<(), XlsxError> {
    let note = "Heights in the pictures";
    sheet.write_text(0, LEVELS, note, &styles.remark)?;
    for (row, ends) in (1..).zip([[0.0, 4.0], [3.0, 3.0], [2.0, 2.0], [1.0, 1.0]]) {
        for (column, height) in (LEVELS..).zip(ends) {
            sheet.write_number_with_format(row, column, height, &styles.remark)?;
        }
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
    pub(super) value: u32,
    pub(super) reaches: [(&'static str, u32); 3],
    /// First and last row of the contributors, and the columns of how far each moves the value.
    pub(super) lines: (u32, u32),
    pub(super) moves: [u16; 2],
    /// The column of each contributor's share of the variance.
    pub(super) share: u16,
}

impl Picture<'_> {
    pub(super) fn draw(&self, sheet: &mut Worksheet) -> Result<(), XlsxError> {
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
        let lines = [(VALUES, 6.0), (VALUES, 4.0), (VALUES, 2.0)];
        for (((name, row), (colour, width)), height) in self.reaches.iter().zip(lines).zip(2..) {
            chart
                .add_series()
                .set_name(*name)
                .set_categories(&ends(*row))
                .set_values(&level(height))
                .set_format(
                    ChartFormat::new()
                        .set_line(ChartLine::new().set_color(colour).set_width(width)),
                );
        }
        // One point each in the middle; an upright line is its error bar.
        let middle = || ChartRange::new_from_range(self.sheet, 3, LEVELS, 3, LEVELS);
        let point = |row: u32, column: u16| {
            ChartRange::new_from_range(self.sheet, row, column, row, column)
        };
        let marker = |kind, colour| {
            ChartMarker::new()
                .set_type(kind)
                .set_size(8)
                .set_format(
                    ChartFormat::new().set_solid_fill(ChartSolidFill::new().set_color(colour)),
                )
                .clone()
        };
        for (name, column) in [("lower limit", 1), ("upper limit", 2)] {
            let line = ChartLine::new().set_color(LIMITS).set_width(2.0).clone();
            chart
                .add_series()
                .set_name(name)
                .set_categories(&point(self.limits, column))
                .set_values(&middle())
                .set_marker(&marker(ChartMarkerType::ShortDash, LIMITS))
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
            .set_marker(&marker(ChartMarkerType::Diamond, Color::White));
        self.finish(&mut chart, &format!("{} between its limits", self.title));
        chart.y_axis().set_min(0).set_max(4).set_hidden(true);
        chart.y_axis().set_major_gridlines(false);
        chart.x_axis().set_num_format(length_format(self.unit));
        chart
    }

    /// How far each contributor moves the value at worst, the largest on top.
    fn tornado(&self) -> Chart {
        let (first, last) = self.lines;
        let range =
            |column: u16| ChartRange::new_from_range(self.sheet, first, column, last, column);
        let mut chart = Chart::new(ChartType::BarStacked);
        for ((name, column), colour) in
            [("down", self.moves[0]), ("up", self.moves[1])].into_iter().zip([LIMITS, VALUES])
        {
            chart
                .add_series()
                .set_name(name)
                .set_categories(&range(0))
                .set_values(&range(column))
                .set_gap(60)
                .set_format(
                    ChartFormat::new().set_solid_fill(ChartSolidFill::new().set_color(colour)),
                );
        }
        self.finish(&mut chart, &format!("{}: worst-case contributions", self.title));
        // In a chart of bars the upright axis is the one of the categories.
        chart.y_axis().set_reverse().set_label_position(ChartAxisLabelPosition::Low);
        chart.x_axis().set_num_format(length_format(self.unit));
        chart
    }

    /// Each contributor's share of the variance, in the order of the picture beside it.
    fn shares(&self) -> Chart {
        let (first, last) = self.lines;
        let range =
            |column: u16| ChartRange::new_from_range(self.sheet, first, column, last, column);
        let mut chart = Chart::new(ChartType::Bar);
        chart
            .add_series()
            .set_name("share of variance")
            .set_categories(&range(0))
            .set_values(&range(self.share))
            .set_gap(60)
            .set_format(ChartFormat::new().set_solid_fill(ChartSolidFill::new().set_color(VALUES)));
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
