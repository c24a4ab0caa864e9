//! The sheets that can be read as next time's stock: Stock after, Sheets, Fit and Feelers, with the stock
//! workbook's own columns and On hand reduced.

use std::collections::BTreeMap;

use rust_xlsxwriter::{ExcelDateTime, Format, Worksheet};

use super::page::{Page, Written};
use super::style::Styles;
use super::text::WriteText;
use crate::sheet::{Cell, SheetRow};
use crate::verify::Verified;

/// The stock without the pieces that are issued, or spoiled with their pack, the sheets without those that are cut
/// up, then what no plan changes: the shapes, the blades of the feeler set.
pub(super) fn sheets(verified: &Verified, styles: &Styles) -> Written<Vec<Worksheet>> {
    let job = verified.job();
    let (left, cut) = (verified.left(), verified.plan().plates_cut(job));
    // A piece that is cut has its row in another sheet.
    let stock = |row| {
        let index = job.stock.iter().position(|item| item.cut.is_none() && item.row == row)?;
        Some(left[index])
    };
    let sheets = |row| {
        let index = job.plates.iter().position(|lot| lot.row == row)?;
        Some(job.plates[index].on_hand.saturating_sub(cut[index]))
    };
    let source = &job.stock_sheet;
    let rows = source.sheet.rows.iter().filter(|row| row.number >= source.heading_row);
    let mut all = vec![table("Stock after", rows, (source.on_hand_column, &stock), styles)?];
    let source = &job.plates_sheet;
    if !source.sheet.rows.is_empty() {
        let rows = source.sheet.rows.iter().filter(|row| row.number >= source.heading_row);
        all.push(table("Plate", rows, (source.on_hand_column, &sheets), styles)?);
    }
    for (name, source) in [("Fit", &job.fit_sheet), ("Feelers", &job.feelers_sheet)] {
        if !source.rows.is_empty() {
            all.push(table(name, source.rows.iter(), (0, &|_| None), styles)?);
        }
    }
    Ok(all)
}

/// Rows as they came, headings first, with what is left on hand of a row, in its column, where that is known.
fn table<'a>(
    name: &str,
    rows: impl Iterator<Item = &'a SheetRow>,
    (on_hand_column, left): (u32, &dyn Fn(u32) -> Option<u32>),
    styles: &Styles,
) -> Written<Worksheet> {
    let mut page = Page::new(name, styles)?;
    page.repeat()?;
    page.sheet.set_freeze_panes(1, 0)?;
    let mut widest = BTreeMap::new();
    for (at, row) in (0..).zip(rows) {
        let format = if at == 0 { &styles.head } else { &styles.text };
        let left = left(row.number);
        for (column, cell) in &row.cells {
            let Ok(column) = u16::try_from(*column) else {
                continue;
            };
            widen(&mut widest, column, cell);
            match left.filter(|_| u32::from(column) == on_hand_column) {
                Some(left) => {
                    page.sheet.write_number_with_format(at, column, left, &styles.count)?;
                }
                None => copy(&mut page.sheet, (at, column), cell, [format, format])?,
            }
        }
    }
    fit(&mut page.sheet, &widest)?;
    Ok(page.sheet)
}

/// Makes room for a cell among the characters of the widest one of each column.
pub(super) fn widen(widest: &mut BTreeMap<u16, usize>, column: u16, cell: &Cell) {
    let width = widest.entry(column).or_default();
    *width = (*width).max(cell.show().chars().count());
}

/// Makes columns as wide as that.
pub(super) fn fit(sheet: &mut Worksheet, widest: &BTreeMap<u16, usize>) -> Written {
    for (column, width) in widest {
        let width = u16::try_from((*width).clamp(6, 40)).unwrap_or(40);
        sheet.set_column_width(*column, f64::from(width) + 3.0)?;
    }
    Ok(())
}

/// Writes a cell as it came, in the format of values or in that of texts: texts stay texts, whatever they begin with.
pub(super) fn copy(
    sheet: &mut Worksheet,
    (row, column): (u32, u16),
    cell: &Cell,
    [value, text]: [&Format; 2],
) -> Written {
    match cell {
        Cell::Number(number) if number.is_finite() => {
            sheet.write_number_with_format(row, column, *number, value)?
        }
        Cell::Bool(yes) => sheet.write_boolean_with_format(row, column, *yes, value)?,
        Cell::Date { iso, .. } => match ExcelDateTime::parse_from_str(iso) {
            Ok(date) => {
                let format = value.clone().set_num_format("yyyy-mm-dd");
                sheet.write_datetime_with_format(row, column, &date, &format)?
            }
            Err(_) => sheet.write_text(row, column, iso, text)?,
        },
        other => sheet.write_text(row, column, other.show(), text)?,
    };
    Ok(())
}
