//! Looks that the pictures share.

use rust_xlsxwriter::{
    Chart, ChartFormat, ChartLine, ChartLineDashType, ChartMarker, ChartMarkerType, ChartRange,
    ChartSeries, ChartSolidFill, Color,
};

/// The rows of a sheet whose figures a picture shows: names in the first of their columns, values in the others.
pub(super) struct Figures<'a> {
    pub(super) sheet: &'a str,
    pub(super) rows: [u32; 2],
    pub(super) from: u16,
}

impl Figures<'_> {
    /// One of their columns, counted from the first.
    pub(super) fn column(&self, column: u16) -> ChartRange {
        let ([first, last], column) = (self.rows, self.from + column);
        ChartRange::new_from_range(self.sheet, first, column, last, column)
    }

    /// Adds a column of values to a picture.
    pub(super) fn series<'c>(
        &self,
        chart: &'c mut Chart,
        name: &str,
        column: u16,
    ) -> &'c mut ChartSeries {
        let series = chart.add_series().set_name(name);
        series.set_categories(&self.column(0)).set_values(&self.column(column))
    }
}

/// Filled with a colour.
pub(super) fn fill(colour: Color) -> ChartFormat {
    ChartFormat::new().set_solid_fill(ChartSolidFill::new().set_color(colour)).clone()
}

/// A line of a colour, a width in points, and dashes.
pub(super) fn line(colour: Color, width: f64, dash: ChartLineDashType) -> ChartLine {
    ChartLine::new().set_color(colour).set_width(width).set_dash_type(dash).clone()
}

/// A mark of a shape, a size in points and a colour.
pub(super) fn mark(shape: ChartMarkerType, size: u8, colour: Color) -> ChartMarker {
    ChartMarker::new().set_type(shape).set_size(size).set_format(&mut fill(colour)).clone()
}
