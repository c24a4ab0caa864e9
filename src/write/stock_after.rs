//! The Stock after sheet: the stock workbook's own columns with On hand reduced, ready to be
//! read as next time's stock.

use rust_xlsxwriter::{ExcelDateTime, Format, Worksheet, XlsxError};

use super::style::{Styles, set_up};
use crate::sheet::Cell;
use crate::verify::Verified;

pub(super) fn write(
    sheet: &mut Worksheet,
    verified: &Verified,
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let (job, plan) = (verified.job(), verified.plan());
    set_up(sheet, "Stock after", date)?;
    let issued = plan.issued(job);
    let source = &job.stock_sheet;
    let mut at = 0;
    let mut widest: Vec<usize> = Vec::new();
    let rows = source
        .sheet
        .rows
        .iter()
        .filter(|row| row.number >= source.heading_row);
    for row in rows {
        let heading = row.number == source.heading_row;
        let index = job.stock.iter().position(|item| item.row == row.number);
        for (column, cell) in &row.cells {
            let Ok(column) = u16::try_from(*column) else {
                continue;
            };
            let place = usize::from(column);
            widest.resize(widest.len().max(place + 1), 0);
            widest[place] = widest[place].max(cell.show().chars().count());
            let on_hand = u32::from(column) == source.on_hand_column;
            match (index, on_hand) {
                (Some(index), true) => {
                    let left = job.stock[index].on_hand - issued[index];
                    sheet.write_number_with_format(at, column, left, &styles.count)?;
                }
                _ => copy(
                    sheet,
                    at,
                    column,
                    cell,
                    if heading { &styles.head } else { &styles.text },
                )?,
            }
        }
        at += 1;
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
fn copy(
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
            Err(_) => sheet.write_string_with_format(row, column, iso, format)?,
        },
        other => sheet.write_string_with_format(row, column, other.show(), format)?,
    };
    Ok(())
}
