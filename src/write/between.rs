//! Pictures of values between their limits: what those of a plan and of the as-built record have in common.

use rust_xlsxwriter::{
    Chart, ChartAxisLabelPosition, ChartFormat, ChartLegendPosition, ChartLine, ChartLineDashType,
    ChartMarker, ChartMarkerType, ChartRange, ChartSolidFill,
};

use super::style::LIMITS;
use crate::length::{Fine, Unit};

/// Values that one picture holds: more could not be told apart in print.
const MOST: u32 = 40;
/// The rows that a picture covers.
pub(super) const ROWS: u32 = 16;

/// Where a value lies between its limits: 0 at the lower, 100 at the upper one; the middle where they are one.
pub(super) fn share(value: Fine, lower: Fine, upper: Fine) -> f64 {
    let unit = Unit::Micrometre;
    let width = (upper - lower).to_f64(unit);
    if width == 0.0 { 50.0 } else { 100.0 * (value - lower).to_f64(unit) / width }
}

/// The first and the last row of each picture, of rows that may be more than one holds.
pub(super) fn parts(first: u32, last: u32) -> impl Iterator<Item = [u32; 2]> {
    let starts = (first..=last).step_by(usize::try_from(MOST).unwrap_or(usize::MAX));
    starts.map(move |from| [from, last.min(from + MOST - 1)])
}

/// Draws the lower and the upper limit, told apart by their dashes; `alone` of a picture with one value.
pub(super) fn limits(chart: &mut Chart, names: &ChartRange, limits: [&ChartRange; 2], alone: bool) {
    let looks =
        [("Lower limit", ChartLineDashType::Dash), ("Upper limit", ChartLineDashType::Solid)];
    for (values, (name, dash)) in limits.into_iter().zip(looks) {
        let mut line = ChartLine::new();
        line.set_color(LIMITS).set_width(1.5).set_dash_type(dash);
        // A line through one point alone is not drawn: a dash marks it.
        let mut fill = ChartFormat::new();
        fill.set_solid_fill(ChartSolidFill::new().set_color(LIMITS));
        let mut marker = ChartMarker::new();
        match alone {
            true => marker.set_type(ChartMarkerType::LongDash).set_size(12).set_format(&mut fill),
            false => marker.set_none(),
        };
        chart
            .add_series()
            .set_name(name)
            .set_categories(names)
            .set_values(values)
            .set_format(ChartFormat::new().set_line(&line))
            .set_marker(&marker);
    }
}

/// Title, axes and legend; a picture that goes on from another says so.
pub(super) fn frame(chart: &mut Chart, title: &str, goes_on: bool) {
    let more = if goes_on { ", continued" } else { "" };
    let title = format!("{title}{more}");
    chart.title().set_name(&title);
    chart.x_axis().set_label_position(ChartAxisLabelPosition::Low);
    chart.legend().set_position(ChartLegendPosition::Bottom);
    chart.set_height(300);
}
