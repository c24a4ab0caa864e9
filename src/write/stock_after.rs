//! The sheets that can be read as next time's stock: Stock after, Sheets, Fit and Feelers, with the stock
//! workbook's own columns and On hand reduced.

use rust_xlsxwriter::{ExcelDateTime, Format, Worksheet, XlsxError};

use super::text::WriteText;

use super::style::{Styles, set_up};
use crate::sheet::{Cell, Row, Sheet};
use crate::verify::Verified;

/// The stock without the pieces that are issued, or spoiled with their pack.
pub(super) fn stock(
    sheet: &mut Worksheet,
    verified: &Verified,
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let job = verified.job();
    set_up(sheet, "Stock after", date)?;
    let after = verified.left();
    let source = &job.stock_sheet;
    let rows = &source.sheet.rows;
    let rows = rows.iter().filter(|row| row.number >= source.heading_row);
    // A piece that is cut has its row in another sheet.
    let lot = |row| {
        let mut lots = job.stock.iter().zip(&after);
        lots.find(|(item, _)| item.cut.is_none() && item.row == row)
    };
    let left = |row| lot(row).map(|(_, left)| *left);
    table(sheet, rows, source.on_hand_column, left, styles)
}

/// The sheets without those that are cut up.
pub(super) fn sheets(
    sheet: &mut Worksheet,
    verified: &Verified,
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let (job, plan) = (verified.job(), verified.plan());
    set_up(sheet, "Sheets", date)?;
    let cut = plan.sheets_cut(job);
    let source = &job.sheets_sheet;
    let rows = &source.sheet.rows;
    let rows = rows.iter().filter(|row| row.number >= source.heading_row);
    let left = |row| {
        let index = job.sheets.iter().position(|lot| lot.row == row)?;
        Some(job.sheets[index].on_hand.saturating_sub(cut[index]))
    };
    table(sheet, rows, source.on_hand_column, left, styles)
}

/// A sheet that no plan changes: the shapes, the blades of the feeler set.
pub(super) fn unchanged(
    sheet: &mut Worksheet,
    name: &str,
    source: &Sheet,
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    set_up(sheet, name, date)?;
    table(sheet, source.rows.iter(), 0, |_| None, styles)
}

/// Rows as they came, headings first, with what is left on hand where that is known.
fn table<'a>(
    sheet: &mut Worksheet,
    rows: impl Iterator<Item = &'a Row>,
    on_hand_column: u32,
    left: impl Fn(u32) -> Option<u32>,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let mut widest: Vec<usize> = Vec::new();
    for (at, row) in (0..).zip(rows) {
        let format = if at == 0 { &styles.head } else { &styles.text };
        let left = left(row.number);
        for (column, cell) in &row.cells {
            let Ok(column) = u16::try_from(*column) else {
                continue;
            };
            let place = usize::from(column);
            widest.resize(widest.len().max(place + 1), 0);
            widest[place] = widest[place].max(cell.show().chars().count());
            match left.filter(|_| u32::from(column) == on_hand_column) {
                Some(left) => {
                    sheet.write_number_with_format(at, column, left, &styles.count)?;
                }
                None => copy(sheet, at, column, cell, format)?,
            }
        }
    }
    for (column, width) in (0..).zip(&widest) {
        let width = u16::try_from((*width).clamp(6, 40)).unwrap_or(40);
        sheet.set_column_width(column, f64::from(width) + 3.0)?;
    }
    sheet.set_repeat_rows(0, 0)?;
    sheet.set_freeze_panes(1, 0)?;
    Ok(())
}

/// A cell as it came: texts stay texts, whatever they begin with.
pub(super) fn copy(
    sheet: &mut Worksheet,
    row: u32,
    column: u16,
    cell: &Cell,
    format: &Format,
) -> Result<(), XlsxError> {
    match cell {
        Cell::Number(number) => sheet.write_number_with_format(row, column, *number, format)?,
        Cell::Bool(yes) => sheet.write_boolean_with_format(row, column, *yes, format)?,
        Cell::Date { iso, .. } => match ExcelDateTime::parse_from_str(iso) {
            Ok(date) => {
                let format = format.clone().set_num_format("yyyy-mm-dd");
                sheet.write_datetime_with_format(row, column, &date, &format)?
            }
            Err(_) => sheet.write_text(row, column, iso, format)?,
        },
        other => sheet.write_text(row, column, other.show(), format)?,
    };
    Ok(())
}
