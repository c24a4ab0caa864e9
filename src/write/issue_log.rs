//! The issue log as a workbook.

use rust_xlsxwriter::{ConditionalFormatFormula, Format, FormatAlign, FormatBorder, Worksheet};

use super::WriteError;
use super::page::{Page, Written, end, lean};
use super::style::{INK, Styles, lines};
use super::table::{Cell, Cells};
use crate::formats::issue_log::{HEADINGS, SEAL};
use crate::issue::log::{Entry, HEADING_ROW, Log, SHEET};

/// The log as a workbook's bytes; `date` (`YYYY-MM-DD`) is printed on it, so that the same log and date give the
/// same bytes.
///
/// # Errors
/// [`WriteError::Workbook`] and [`WriteError::Date`].
pub fn workbook(log: &Log, date: &str) -> Result<Vec<u8>, WriteError> {
    let (mut workbook, styles) = super::start("Issue log", date)?;
    let page = Page::on(lean(&mut workbook), SHEET, &styles)?;
    workbook.push_worksheet(sheet(page, log)?);
    Ok(workbook.save_to_buffer()?)
}

/// The widths of the columns, in characters.
const WIDTHS: [f64; 15] =
    [8.0, 12.0, 7.0, 15.0, 13.0, 32.0, 20.0, 8.0, 8.0, 24.0, 9.0, 9.0, 10.0, 40.0, 24.0];

fn sheet(mut page: Page<'_>, log: &Log) -> Written<Worksheet> {
    let styles = page.styles;
    let lead = "One line per movement; a negative Out is pieces put back. `gapwright issue` checks every line and refuses a log that was changed by hand.";
    page.title("Issue log", lead)?;
    page.widths(&WIDTHS)?;
    page.row = 2;
    let Styles { strong, count, remark, .. } = styles;
    page.line([
        strong.of(SEAL[0]),
        count.of(log.entries().len()),
        None,
        strong.of(SEAL[1]),
        remark.of(log.chain()),
    ])?;
    page.row = HEADING_ROW;
    page.high(20.0)?;
    page.repeat()?;
    page.heads(&HEADINGS)?;
    page.sheet.set_freeze_panes(HEADING_ROW + 1, 0)?;
    let chain = styles.text.clone().set_font_size(7).set_align(FormatAlign::VerticalCenter);
    for entry in log.entries() {
        let values = entry.values();
        page.high(16.0 * lines(&[(&values[13], 42), (&values[5], 34)], [1, 20]))?;
        let own = chain.of(&entry.chain);
        page.line(cells(entry, &values, styles).chain([own]))?;
    }
    let last = (page.row - 1).max(HEADING_ROW + 1);
    // A run is told from the next by a rule, so that what belongs together is seen.
    let rule = Format::new().set_border_top(FormatBorder::Thin).set_border_top_color(INK);
    let begins = ConditionalFormatFormula::new().set_rule("=$C6<>$C5").set_format(rule);
    page.sheet.add_conditional_format(HEADING_ROW + 1, 0, last, 14, &begins)?;
    page.sheet.autofilter(HEADING_ROW, 0, last, 14)?;
    end(&mut page.sheet, page.row)?;
    // The chain is for the program: it is not printed.
    page.printed(last, 13)
}

/// A movement's values in their columns, without its chain.
fn cells<'s>(
    entry: &Entry,
    values: &[String],
    styles: &'s Styles,
) -> impl Iterator<Item = Cell<'s>> {
    let Styles { text, wrapped, count, number, .. } = styles;
    let moved = &entry.movement;
    // Counts are below 2^53, so the number is exact.
    #[allow(clippy::cast_precision_loss)]
    let out = moved.out as f64;
    let cost = moved.unit_cost.map_or(0.0, crate::decimal::Millionths::to_f64);
    values.iter().take(14).enumerate().map(move |(column, value)| match column {
        3 | 4 | 6 | 9 => text.of(value),
        5 | 13 => wrapped.of(value),
        _ if value.is_empty() => text.blank(),
        1 => text.of(value),
        8 => count.of(out),
        12 => number.of(cost),
        _ => count.of(value.parse::<u32>().unwrap_or(0)),
    })
}
