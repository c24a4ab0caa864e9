//! The sheets that can be read as next time's stock: Stock after, Sheets, Fit and Feelers, with the stock
//! workbook's own columns and On hand reduced.

use std::collections::BTreeMap;

use rust_xlsxwriter::{ExcelDateTime, Format, Formula, Workbook, Worksheet};

use super::page::{Page, Written, lean};
use super::style::Styles;
use super::text::WriteText;
use crate::columns;
use crate::issue::key;
use crate::issue::returned::{self, ReturnedLot, StockPage};
use crate::sheet::{Cell, Sheet, SheetRow, in_full};
use crate::stock::NO_ROW;
use crate::verify::Verified;

/// The stock without the pieces that are issued, or spoiled with their pack, the sheets without those that are cut
/// up, then what no plan changes: the shapes, the blades of the feeler set.
pub(super) fn add(workbook: &mut Workbook, verified: &Verified, styles: &Styles) -> Written {
    let job = verified.job();
    let (left, plates_left) = (verified.left(), verified.plates_left());
    // A piece that is cut has its row in another sheet.
    let stock = |row| {
        let index = job.stock.iter().position(|item| item.cut.is_none() && item.row == row)?;
        Some(left[index])
    };
    let sheets = |row| {
        let index = job.plates.iter().position(|lot| lot.row == row)?;
        Some(plates_left[index])
    };
    let new = new_lots(verified);
    let new = |page: StockPage| new.iter().filter(move |lot| lot.page == page);
    let source = &job.stock_sheet;
    let rows = of_lots(&source.sheet, source.heading_row, &stock);
    let counts = (source.on_hand_column, &stock as &dyn Fn(u32) -> Option<u32>);
    let page = Page::on(lean(workbook), "Stock after", styles)?;
    workbook.push_worksheet(table(page, rows, counts, new(StockPage::Stock))?);
    let source = &job.plates_sheet;
    if !source.sheet.rows.is_empty() {
        let rows = of_lots(&source.sheet, source.heading_row, &sheets);
        let counts = (source.on_hand_column, &sheets as &dyn Fn(u32) -> Option<u32>);
        let page = Page::on(lean(workbook), "Plate", styles)?;
        workbook.push_worksheet(table(page, rows, counts, new(StockPage::Plate))?);
    }
    for (name, source) in [("Fit", &job.fit_sheet), ("Feelers", &job.feelers_sheet)] {
        if !source.rows.is_empty() {
            let page = Page::on(lean(workbook), name, styles)?;
            let sheet = table(page, source.rows.iter(), (0, &|_| None), std::iter::empty())?;
            workbook.push_worksheet(sheet);
        }
    }
    Ok(())
}

/// The headings, the units below them, and the rows of lots. A row of totals would no longer be one: it is left out.
fn of_lots<'s>(
    sheet: &'s Sheet,
    heading_row: u32,
    left: &dyn Fn(u32) -> Option<u32>,
) -> impl Iterator<Item = &'s SheetRow> {
    let rows = sheet.rows.iter().filter(move |row| row.number >= heading_row);
    rows.filter(move |row| {
        row.number <= heading_row.saturating_add(1) || left(row.number).is_some()
    })
}

/// Lots that go back, or were cut earlier, and have no row in the stock yet.
fn new_lots(verified: &Verified) -> Vec<ReturnedLot> {
    let (job, left) = (verified.job(), verified.left());
    let known = |name: &str| job.stock.iter().position(|item| key(&item.item) == key(name));
    let there = |lot: &ReturnedLot| match lot.page {
        StockPage::Stock => known(&lot.item).is_some(),
        StockPage::Plate => job.plates.iter().any(|plate| key(&plate.item) == key(&lot.item)),
    };
    let new = verified.returned().into_iter().filter(|lot| !there(lot));
    let cut_earlier = returned::of_pieces(job).into_iter().filter_map(|(_, lot)| {
        let index = known(&lot.item).filter(|&index| job.stock[index].row == NO_ROW)?;
        Some(ReturnedLot { count: left[index], ..lot }).filter(|lot| lot.count > 0)
    });
    cut_earlier.chain(new).collect()
}

/// Columns of a sheet for the rows of new lots: those with their headings, and new ones after the last.
struct NewRows {
    /// Heading and column.
    columns: Vec<(String, u16)>,
    /// Headings that the sheet does not have yet.
    added: Vec<(String, u16)>,
}

impl NewRows {
    /// Columns below these headings, with room for these lots; `last` is the last column with anything in it.
    fn below(headings: Option<&SheetRow>, last: u32, lots: &[&ReturnedLot]) -> NewRows {
        let cells = headings.iter().flat_map(|row| &row.cells);
        let of_cell = |(column, cell): &(u32, Cell)| {
            Some((columns::key(&cell.show()), u16::try_from(*column).ok()?))
        };
        let mut columns: Vec<(String, u16)> = cells.filter_map(of_cell).collect();
        let (mut added, mut next) = (Vec::new(), u16::try_from(last).unwrap_or(u16::MAX));
        for (heading, _) in lots.iter().flat_map(|lot| &lot.columns) {
            if !columns.iter().any(|(known, _)| *known == columns::key(heading)) {
                next = next.saturating_add(1);
                columns.push((columns::key(heading), next));
                added.push((heading.clone(), next));
            }
        }
        NewRows { columns, added }
    }

    fn column(&self, heading: &str) -> Option<u16> {
        let mut columns = self.columns.iter();
        columns.find(|(known, _)| *known == columns::key(heading)).map(|(_, column)| *column)
    }

    /// Writes the row of a lot with its count. A bin that it has none of yet is there to be entered.
    fn write(
        &self,
        sheet: &mut Worksheet,
        row: u32,
        lot: &ReturnedLot,
        styles: &Styles,
    ) -> Written {
        if let Some(bin) = self.column("Bin") {
            sheet.write_blank(row, bin, &styles.entry)?;
        }
        for (heading, text) in &lot.columns {
            if let Some(column) = self.column(heading) {
                sheet.write_text(row, column, text, &styles.text)?;
            }
        }
        if let Some(column) = self.column("On hand") {
            sheet.write_number_with_format(row, column, lot.count, &styles.count)?;
        }
        Ok(())
    }
}

/// Rows as they came, headings first, with what is left on hand of a row, in its column, where that is known; then
/// the lots that are new.
fn table<'a>(
    mut page: Page<'_>,
    rows: impl Iterator<Item = &'a SheetRow>,
    (on_hand_column, left): (u32, &dyn Fn(u32) -> Option<u32>),
    new: impl Iterator<Item = &'a ReturnedLot>,
) -> Written<Worksheet> {
    let rows: Vec<&SheetRow> = rows.collect();
    let new: Vec<&ReturnedLot> = new.collect();
    let styles = page.styles;
    let cells = rows.iter().flat_map(|row| &row.cells);
    let last = cells.map(|(column, _)| *column).max().unwrap_or(0);
    let columns = NewRows::below(rows.first().copied(), last, &new);
    page.repeat()?;
    page.sheet.set_freeze_panes(1, 0)?;
    let mut widest = BTreeMap::new();
    for (heading, column) in &columns.added {
        page.sheet.write_text(0, *column, heading, &styles.head)?;
        widen(&mut widest, *column, &Cell::Text(heading.clone()));
    }
    for (at, row) in (0..).zip(&rows) {
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
    for (row, lot) in (u32::try_from(rows.len()).unwrap_or(u32::MAX)..).zip(new) {
        columns.write(&mut page.sheet, row, lot, styles)?;
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
    let mut number = |number: f64, code: &str| {
        let format = value.clone().set_num_format(code);
        sheet.write_number_with_format(row, column, number, &format).map(|_| ())
    };
    match cell {
        Cell::Number(number) if number.is_finite() => {
            sheet.write_number_with_format(row, column, *number, value)?;
        }
        Cell::Bool(yes) => {
            sheet.write_boolean_with_format(row, column, *yes, value)?;
        }
        // A time alone, and a day with its time.
        Cell::Date { serial, .. } if *serial < 1.0 => number(*serial, "hh:mm:ss")?,
        Cell::Date { serial, .. } if serial.fract() != 0.0 => {
            number(*serial, "yyyy-mm-dd hh:mm:ss")?
        }
        Cell::Date { iso, .. } => match ExcelDateTime::parse_from_str(iso) {
            Ok(date) => {
                let format = value.clone().set_num_format("yyyy-mm-dd");
                sheet.write_datetime_with_format(row, column, &date, &format)?;
            }
            Err(_) => {
                sheet.write_text(row, column, iso, text)?;
            }
        },
        Cell::Shown { stored, text: shown } => match code_of(shown) {
            Some(code) => number(*stored, &code)?,
            // A unit or a word belongs to the value: with its stored digits it is a text that says all.
            None => {
                let full = in_full(shown, *stored).map_or_else(|| shown.clone(), |full| full.text);
                sheet.write_text(row, column, full, text)?;
            }
        },
        // Out of sight it stays.
        Cell::Doubtful { stored, hidden: true } => match stored.parse() {
            Ok(stored) => number(stored, ";;;")?,
            Err(_) => {
                let format = text.clone().set_num_format(";;;");
                sheet.write_text(row, column, stored, &format)?;
            }
        },
        // Only these names: any other text from a file could be a formula that runs.
        Cell::Error(error) if ERRORS.contains(&error.as_str()) => {
            let formula = Formula::new(format!("={error}")).set_result(error);
            sheet.write_formula_with_format(row, column, formula, text)?;
        }
        other => {
            sheet.write_text(row, column, other.show(), text)?;
        }
    }
    Ok(())
}

/// Error values that spreadsheet programs have.
const ERRORS: [&str; 7] = ["#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!"];

/// Number format that shows a number just so, if it is figures alone or per cent.
fn code_of(shown: &str) -> Option<String> {
    let figures = shown.trim_start_matches('-');
    let (figures, percent) = match figures.strip_suffix('%') {
        Some(figures) => (figures.trim_end(), "%"),
        None => (figures, ""),
    };
    let (whole, part) = figures.split_once('.').unwrap_or((figures, ""));
    let is_number = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
    if whole.is_empty() || !is_number(whole) || !is_number(part) {
        return None;
    }
    let zeros = if whole.starts_with('0') { whole.len() } else { 1 };
    let point = if part.is_empty() { "" } else { "." };
    Some(format!("{}{point}{}{percent}", "0".repeat(zeros), "0".repeat(part.len())))
}
