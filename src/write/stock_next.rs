//! The stock workbook for next time: every sheet of the one that was read, cell by cell, with the counts that
//! changed. Values are carried, formats and formulas are not; a formula's cell holds what it came to.

use std::collections::BTreeMap;

use rust_xlsxwriter::{Format, FormatAlign, Worksheet, XlsxError};

use super::WriteError;
use super::stock_after::copy;
use super::style::Styles;
use super::text::{SheetNames, WriteText};
use crate::issue::counts::Held;
use crate::issue::key;
use crate::problem::Spot;
use crate::sheet::{Book, Cell, Sheet};

/// The stock workbook for next time as a workbook's bytes. `after` has what is on hand of the items that moved, by
/// stock number; all else stays as it is.
///
/// # Errors
/// [`WriteError::Workbook`] and [`WriteError::Date`].
pub fn workbook(
    book: &Book,
    held: &Held,
    after: &BTreeMap<String, u32>,
    date: &str,
) -> Result<Vec<u8>, WriteError> {
    let mut workbook = super::start("Stock", date)?;
    let styles = Styles::new();
    let mut names = SheetNames::default();
    let after: BTreeMap<String, u32> = after.iter().map(|(i, count)| (key(i), *count)).collect();
    let mut counts: BTreeMap<(&str, u32, u32), u32> = BTreeMap::new();
    for lot in held.counts.lots() {
        if let (Spot::Cell { sheet, row, column }, Some(count)) =
            (&lot.place.spot, after.get(&key(&lot.item)))
        {
            counts.insert((sheet.as_str(), *row, *column), *count);
        }
    }
    for source in &book.sheets {
        let sheet = workbook.add_worksheet();
        // A text file's one sheet has no name of its own.
        let wanted = if book.is_text { "Stock" } else { &source.name };
        sheet.set_name(names.take(wanted))?;
        let heading = held.headings.iter().find(|(name, _)| *name == source.name);
        write(sheet, source, heading.map(|(_, row)| *row), &counts, &styles)?;
    }
    Ok(workbook.save_to_buffer()?)
}

fn write(
    sheet: &mut Worksheet,
    source: &Sheet,
    heading: Option<u32>,
    counts: &BTreeMap<(&str, u32, u32), u32>,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let mut widest: BTreeMap<u16, usize> = BTreeMap::new();
    // As many places as there are, with the number on its side of the cell.
    let number_format = styles.text.clone().set_align(FormatAlign::Right);
    let headed: Vec<u16> = source
        .rows
        .iter()
        .filter(|row| heading == Some(row.number))
        .flat_map(|row| &row.cells)
        .filter_map(|(column, _)| u16::try_from(*column).ok())
        .collect();
    for row in &source.rows {
        let format = |heading: Option<u32>| -> &Format {
            match heading {
                Some(at) if row.number == at => &styles.head,
                Some(at) if row.number > at => &styles.text,
                _ => &styles.plain,
            }
        };
        if heading.is_some_and(|heading| row.number > heading) {
            for column in &headed {
                sheet.write_blank(row.number, *column, &styles.text)?;
            }
        }
        for (column, cell) in &row.cells {
            let Ok(at) = u16::try_from(*column) else {
                continue;
            };
            // What stands above the headings is a title, and may be longer than any column.
            if heading.is_none_or(|heading| row.number >= heading) {
                let shown = cell.show().chars().count();
                let width = widest.entry(at).or_default();
                *width = (*width).max(shown);
            }
            match counts.get(&(source.name.as_str(), row.number, *column)) {
                Some(count) => {
                    sheet.write_number_with_format(row.number, at, *count, &styles.count)?;
                }
                None => match cell {
                    Cell::Text(text) => {
                        sheet.write_text(row.number, at, text, format(heading))?;
                    }
                    Cell::Number(number) if format(heading) == &styles.text => {
                        sheet.write_number_with_format(row.number, at, *number, &number_format)?;
                    }
                    cell => copy(sheet, row.number, at, cell, format(heading))?,
                },
            }
        }
    }
    for (column, width) in &widest {
        let width = u16::try_from((*width).clamp(6, 40)).unwrap_or(40);
        sheet.set_column_width(*column, f64::from(width) + 3.0)?;
    }
    sheet.set_paper_size(9).set_landscape();
    sheet.set_print_fit_to_pages(1, 0);
    sheet.set_footer("&A&RPage &P of &N");
    if let Some(heading) = heading {
        sheet.set_repeat_rows(heading, heading)?;
        sheet.set_freeze_panes(heading + 1, 0)?;
    }
    hide(sheet, source, widest.keys().next_back().copied())
}

/// Hides what is hidden in the sheet that it is made from, up to its last row and column.
fn hide(sheet: &mut Worksheet, source: &Sheet, last: Option<u16>) -> Result<(), XlsxError> {
    sheet.set_hidden(source.hidden);
    for span in source.hidden_rows.iter() {
        for row in span.first..=span.last.min(source.rows.last().map_or(0, |row| row.number)) {
            sheet.set_row_hidden(row)?;
        }
    }
    for span in &source.hidden_columns {
        let last = last.unwrap_or(0);
        for column in span.first..=span.last.min(last.into()) {
            if let Ok(column) = u16::try_from(column) {
                sheet.set_column_hidden(column)?;
            }
        }
    }
    Ok(())
}
