//! Pictures of values between their limits: what those of a plan and of the as-built record have in common.

use rust_xlsxwriter::{
    Chart, ChartAxisLabelPosition, ChartLegendPosition, ChartLineDashType, ChartMarker,
    ChartMarkerType,
};

use super::page::{Page, Written};
use super::picture::{Figures, line, mark};
use super::style::LIMITS;
use crate::length::{Fine, Unit};
use crate::stack::Verdict;

/// Values that one picture holds: more could not be told apart in print.
const MOST: u32 = 40;
/// The rows that a picture covers.
const ROWS: u32 = 16;

/// Where a value lies between the limits of a verdict: 0 at the lower, 100 at the upper one; the middle where they are
/// one, nowhere without one of them.
pub(super) fn share(value: Fine, verdict: &Verdict) -> Option<f64> {
    let unit = Unit::Micrometre;
    let (lower, upper) = (verdict.lower?, verdict.upper?);
    let width = (upper - lower).to_f64(unit);
    Some(if width == 0.0 { 50.0 } else { 100.0 * (value - lower).to_f64(unit) / width })
}

/// Inserts pictures of figures down to a row, whose headings stand in the next row, below each other: as many as
/// they take, since one holds only so many. Given its figures, `picture` draws one.
pub(super) fn pictures(
    page: &mut Page<'_>,
    (name, from, last): (&str, u16, u32),
    picture: impl Fn(&Figures<'_>, bool) -> Chart,
) -> Written {
    let first = page.row + 1;
    let starts = (first..=last).step_by(usize::try_from(MOST).unwrap_or(usize::MAX));
    for start in starts {
        let figures = Figures { sheet: name, rows: [start, last.min(start + MOST - 1)], from };
        page.sheet.insert_chart(page.row, 0, &picture(&figures, start > first))?;
        page.row += ROWS;
    }
    Ok(())
}

/// Draws the lower and the upper limit, two columns of the figures, told apart by their dashes.
pub(super) fn limits(chart: &mut Chart, figures: &Figures<'_>, columns: [u16; 2]) {
    let looks =
        [("Lower limit", ChartLineDashType::Dash), ("Upper limit", ChartLineDashType::Solid)];
    let [first, last] = figures.rows;
    for (column, (name, dash)) in columns.into_iter().zip(looks) {
        // A line through one point alone is not drawn: a dash marks it.
        let mut marker = mark(ChartMarkerType::LongDash, 12, LIMITS);
        if first != last {
            marker = ChartMarker::new().set_none().clone();
        }
        figures
            .series(chart, name, column)
            .set_format(&mut line(LIMITS, 1.5, dash))
            .set_marker(&marker);
    }
}

/// Title, axes and legend; a picture that goes on from another says so.
pub(super) fn frame(chart: &mut Chart, title: &str, goes_on: bool) {
    let more = if goes_on { ", continued" } else { "" };
    chart.title().set_name(&format!("{title}{more}"));
    chart.x_axis().set_label_position(ChartAxisLabelPosition::Low);
    chart.legend().set_position(ChartLegendPosition::Bottom);
    chart.set_height(300);
}
