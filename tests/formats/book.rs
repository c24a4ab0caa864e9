//! Workbooks of cells in number formats.

use rust_xlsxwriter::{Color, Format, Formula, Workbook, Worksheet, XlsxError};

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

/// Rows of [`unseen`] whose kind is struck through, or has the colour of its ground.
#[allow(dead_code)]
pub const UNSEEN: [u32; 3] = [2, 3, 5];
/// The row of [`unseen`] that is hidden, its column that is, and its row with the formula `=1+1` for the count.
#[allow(dead_code)]
pub const HIDDEN: [u32; 3] = [6, 6, 7];

/// A stock sheet with rows that nobody sees, and a formula with its result.
pub fn unseen() -> Result<Vec<u8>, XlsxError> {
    let mut book = Workbook::new();
    let sheet = book.add_worksheet().set_name("Stock")?;
    for (column, heading) in (0..).zip(HEADINGS) {
        sheet.write_string(0, column, heading)?;
    }
    let red = Color::RGB(0x00ff_0000);
    let kinds = [
        Format::new(),
        Format::new().set_font_color(Color::White),
        Format::new().set_font_color(red).set_background_color(red),
        Format::new().set_font_color(Color::White).set_background_color(Color::Black),
        Format::new().set_font_strikethrough(),
        Format::new(),
        Format::new().set_font_color(red),
    ];
    for (row, kind) in (1..).zip(&kinds) {
        for (column, good) in (0..).zip(good(row)) {
            cell(sheet, (row, column), "General", &good)?;
        }
        sheet.write_string_with_format(row, 1, "shim", kind)?;
    }
    sheet.set_row_hidden(6)?;
    sheet.set_column_hidden(6)?;
    sheet.write_formula(7, 5, Formula::new("=1+1").set_result("2"))?;
    book.save_to_buffer()
}

/// Values of a row in which nothing is wrong.
pub fn good(row: u32) -> [String; 7] {
    let item = format!("'S{row}-x");
    [&item, "'shim", "'F1", "0.5", "0.001", "1", "1"].map(String::from)
}
