//! The issue log as a workbook.

use rust_xlsxwriter::{ConditionalFormatFormula, Format, FormatAlign, Worksheet, XlsxError};

use super::WriteError;
use super::style::{Styles, heads, set_up, title, widths};
use super::text::WriteText;
use crate::formats::issue_log::{HEADINGS, SEAL};
use crate::issue::log::{Entry, HEADING_ROW, Log, SHEET};

/// The log as a workbook's bytes; `date` (`YYYY-MM-DD`) is printed on it, so that the same log and date give the
/// same bytes.
///
/// # Errors
/// [`WriteError::Workbook`] and [`WriteError::Date`].
pub fn workbook(log: &Log, date: &str) -> Result<Vec<u8>, WriteError> {
    let mut workbook = super::start("Issue log", date)?;
    sheet(workbook.add_worksheet(), log, date, &Styles::new())?;
    Ok(workbook.save_to_buffer()?)
}

fn sheet(sheet: &mut Worksheet, log: &Log, date: &str, styles: &Styles) -> Result<(), XlsxError> {
    set_up(sheet, SHEET, date)?;
    widths(
        sheet,
        &[8.0, 12.0, 7.0, 15.0, 13.0, 32.0, 20.0, 8.0, 8.0, 24.0, 9.0, 9.0, 10.0, 40.0, 24.0],
    )?;
    title(
        sheet,
        "Issue log",
        "One line a movement; Out is below nothing where pieces came back. Only ever added to: `gapwright issue` checks every line and refuses a log that was changed by hand.",
        styles,
    )?;
    let count = log.entries().len();
    sheet.write_text(2, 0, SEAL[0], &styles.strong)?;
    sheet.write_number_with_format(
        2,
        1,
        u32::try_from(count).unwrap_or(u32::MAX),
        &styles.count,
    )?;
    sheet.write_text(2, 3, SEAL[1], &styles.strong)?;
    sheet.write_text(2, 4, log.chain(), &styles.remark)?;
    heads(sheet, HEADING_ROW, &HEADINGS, styles)?;
    sheet.set_row_height(HEADING_ROW, 20.0)?;
    sheet.set_repeat_rows(HEADING_ROW, HEADING_ROW)?;
    sheet.set_freeze_panes(HEADING_ROW + 1, 0)?;
    let chain = styles.text.clone().set_font_size(7).set_align(FormatAlign::VerticalCenter);
    let mut row = HEADING_ROW;
    for entry in log.entries() {
        row += 1;
        line(sheet, row, entry, styles, &chain)?;
    }
    let last = row.max(HEADING_ROW + 1);
    // A run is told from the next by a rule, so that what belongs together is seen.
    let rule = Format::new().set_border_top(rust_xlsxwriter::FormatBorder::Thin);
    let begins = ConditionalFormatFormula::new()
        .set_rule("=$C6<>$C5")
        .set_format(rule.set_border_top_color(super::style::INK));
    sheet.add_conditional_format(HEADING_ROW + 1, 0, last, 14, &begins)?;
    // The chain is for the program: it is not printed.
    sheet.set_print_area(0, 0, last, 13)?;
    sheet.autofilter(HEADING_ROW, 0, last, 14)?;
    Ok(())
}

fn line(
    sheet: &mut Worksheet,
    row: u32,
    entry: &Entry,
    styles: &Styles,
    chain: &Format,
) -> Result<(), XlsxError> {
    let moved = &entry.movement;
    let values = entry.values();
    for (column, value) in (0..).zip(&values) {
        match column {
            3 | 4 | 6 | 9 => sheet.write_text(row, column, value, &styles.text)?,
            5 | 13 => sheet.write_text(row, column, value, &styles.wrapped)?,
            _ if value.is_empty() => sheet.write_blank(row, column, &styles.text)?,
            1 => sheet.write_text(row, column, value, &styles.text)?,
            8 => {
                // Counts are below 2^53, so the number is exact.
                #[allow(clippy::cast_precision_loss)]
                let out = moved.out as f64;
                sheet.write_number_with_format(row, column, out, &styles.count)?
            }
            12 => {
                let cost = moved.unit_cost.map_or(0.0, crate::decimal::Millionths::to_f64);
                sheet.write_number_with_format(row, column, cost, &styles.number)?
            }
            _ => {
                let count = value.parse::<u32>().unwrap_or(0);
                sheet.write_number_with_format(row, column, count, &styles.count)?
            }
        };
    }
    sheet.write_text(row, 14, &entry.chain, chain)?;
    let lines = values[13].len().div_ceil(42).max(1);
    let lines = lines.max(values[5].len().div_ceil(34));
    sheet.set_row_height(row, 16.0 * f64::from(u16::try_from(lines.min(20)).unwrap_or(1)))?;
    Ok(())
}
