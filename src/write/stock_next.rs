//! The stock workbook for next time: every sheet of the one that was read, cell by cell, with the counts that
//! changed. Values are carried, formats and formulas are not; a formula's cell holds what it came to.

use std::collections::BTreeMap;

use rust_xlsxwriter::{Format, FormatAlign, Worksheet};

use super::WriteError;
use super::page::{Written, lean};
use super::stock_after::{copy, fit, widen};
use super::style::Styles;
use super::text::SheetNames;
use crate::issue::counts::Held;
use crate::issue::key;
use crate::problem::Spot;
use crate::sheet::{Book, Sheet};

/// The stock workbook for next time as a workbook's bytes, with these counts on hand, by stock number; all else stays as it
/// is.
///
/// # Errors
/// [`WriteError::Workbook`] and [`WriteError::Date`].
pub fn workbook(
    book: &Book,
    held: &Held,
    after: &BTreeMap<String, u32>,
    date: &str,
) -> Result<Vec<u8>, WriteError> {
    let (mut workbook, styles) = super::start("Stock", date)?;
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
        let mut sheet = lean(&mut workbook);
        // A text file's one sheet has no name of its own.
        let wanted = if book.is_text { "Stock" } else { &source.name };
        sheet.set_name(names.take(wanted))?;
        let heading = held.headings.iter().find(|(name, _)| *name == source.name);
        write(&mut sheet, source, heading.map(|(_, row)| *row), &counts, &styles)?;
        workbook.push_worksheet(sheet);
    }
    Ok(workbook.save_to_buffer()?)
}

/// Copies the rows from the top down; what is hidden is said of a row before it is written.
fn write(
    sheet: &mut Worksheet,
    source: &Sheet,
    heading: Option<u32>,
    counts: &BTreeMap<(&str, u32, u32), u32>,
    styles: &Styles,
) -> Written {
    hide_rows(sheet, source)?;
    let mut widest = BTreeMap::new();
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
                widen(&mut widest, at, cell);
            }
            match counts.get(&(source.name.as_str(), row.number, *column)) {
                Some(count) => {
                    sheet.write_number_with_format(row.number, at, *count, &styles.count)?;
                }
                None => {
                    let format = format(heading);
                    let value = if format == &styles.text { &number_format } else { format };
                    let value = if cell.number().is_some() { value } else { format };
                    copy(sheet, (row.number, at), cell, [value, format])?;
                }
            }
        }
    }
    fit(sheet, &widest)?;
    sheet.set_paper_size(9).set_landscape();
    sheet.set_print_fit_to_pages(1, 0);
    sheet.set_footer("&A&RPage &P of &N");
    if let Some(heading) = heading {
        sheet.set_repeat_rows(heading, heading)?;
        sheet.set_freeze_panes(heading + 1, 0)?;
    }
    hide_columns(sheet, source, widest.keys().next_back().copied())
}

/// Hides what is hidden in the sheet that it is made from, up to its last row.
fn hide_rows(sheet: &mut Worksheet, source: &Sheet) -> Written {
    sheet.set_hidden(source.hidden);
    for span in source.hidden_rows.iter() {
        for row in span.first..=span.last.min(source.rows.last().map_or(0, |row| row.number)) {
            sheet.set_row_hidden(row)?;
        }
    }
    Ok(())
}

/// Hides its hidden columns, up to the last one.
fn hide_columns(sheet: &mut Worksheet, source: &Sheet, last: Option<u16>) -> Written {
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
