//! Workbooks of cells in number formats.

use rust_xlsxwriter::{Format, Workbook, Worksheet, XlsxError};

use super::probes::{HEADINGS, Probe};

/// A value in a format; a text is marked by an apostrophe.
pub fn cell(
    sheet: &mut Worksheet,
    (row, column): (u32, u16),
    format: &str,
    value: &str,
) -> Result<(), XlsxError> {
    let format = Format::new().set_num_format(format);
    match (value.strip_prefix('\''), value.parse::<f64>()) {
        (Some(text), _) => sheet.write_string_with_format(row, column, text, &format)?,
        (None, Ok(number)) => sheet.write_number_with_format(row, column, number, &format)?,
        (None, Err(_)) => sheet.write_string_with_format(row, column, value, &format)?,
    };
    Ok(())
}

/// The formats of the table, each with its row number beside it.
pub fn table(table: &str) -> Result<Vec<u8>, XlsxError> {
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    for (row, line) in (0..).zip(table.lines()) {
        let mut parts = line.split('\t');
        let (format, value) = (parts.next().unwrap_or(""), parts.next().unwrap_or(""));
        sheet.write_number(row, 0, row)?;
        cell(sheet, (row, 1), format, value)?;
    }
    book.save_to_buffer()
}

/// The row of a stock sheet whose kind is struck through, from 0.
pub const STRUCK: u32 = 3;

/// A stock sheet with a probe in each row.
pub fn stock(probes: &[&Probe]) -> Result<Vec<u8>, XlsxError> {
    let mut book = Workbook::new();
    let sheet = book.add_worksheet().set_name("Stock")?;
    for (column, heading) in (0..).zip(HEADINGS) {
        sheet.write_string(0, column, heading)?;
    }
    for (row, probe) in (1..).zip(probes) {
        for (column, good) in (0..).zip(good(row)) {
            match column == probe.column() {
                true => cell(sheet, (row, column), probe.1, probe.2)?,
                false => cell(sheet, (row, column), "General", &good)?,
            }
        }
    }
    let struck = Format::new().set_font_strikethrough();
    sheet.write_string_with_format(STRUCK, 1, "shim", &struck)?;
    book.save_to_buffer()
}

/// Values of a row in which nothing is wrong.
pub fn good(row: u32) -> [String; 7] {
    let item = format!("'S{row}-x");
    [&item, "'shim", "'F1", "0.5", "0.001", "1", "1"].map(String::from)
}
