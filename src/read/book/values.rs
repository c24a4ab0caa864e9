//! Values of cells, common to all kinds of workbook.

use calamine::{CellErrorType, DataRef, ExcelDateTime, ExcelDateTimeType};

use super::format::{Format, Look};
use crate::day;
use crate::decimal;
use crate::sheet::{Cell, show_number};

/// Contents of a cell in a file.
pub(super) enum Value {
    /// No value at all.
    None,
    /// A value that shows no text, such as blanks.
    Blank,
    /// A value.
    Cell(Cell),
}

/// A value as the general reader gives it, in a format that shows more than the value itself, if it has one.
pub(super) fn value(value: DataRef<'_>, format: Option<&Format>) -> Value {
    let Some(format) = format else { return bare(value) };
    match (bare(value.clone()), value) {
        (Value::Cell(cell @ Cell::Date { .. }), DataRef::DateTime(date)) => {
            // The reader takes some texts in a format for a date.
            Value::Cell(if format.is_date() { cell } else { number(date.as_f64(), format, None) })
        }
        (Value::Cell(Cell::Number(stored)), _) => Value::Cell(number(stored, format, None)),
        (Value::Cell(Cell::Text(stored)), _) => dressed(&stored, format),
        (value, _) => value,
    }
}

/// A number in its format; `from_1904` as the file counts its days, if that is known here.
pub(super) fn number(stored: f64, format: &Format, from_1904: Option<bool>) -> Cell {
    let Some(seen) = decimal::seen(stored) else { return Cell::Number(stored) };
    match (format.number(seen), from_1904) {
        (Look::Text(text), _) => shown(stored, &text),
        (Look::Date, Some(from_1904)) => {
            serial_date(&ExcelDateTime::new(stored, ExcelDateTimeType::DateTime, from_1904))
        }
        _ => unclear(&show_number(stored), format),
    }
}

/// A number and the text that it shows.
pub(super) fn shown(stored: f64, text: &str) -> Cell {
    let text = text.trim();
    let plain = show_number(stored);
    match text {
        "" => Cell::Doubtful { stored: plain, hidden: true },
        // Programs show numbers that do not fit in marks like these.
        _ if text.starts_with('#') => Cell::Doubtful { stored: plain, hidden: true },
        _ if text == plain => Cell::Number(stored),
        _ => Cell::Shown { stored, text: text.to_string() },
    }
}

/// A text in its format.
pub(super) fn dressed(stored: &str, format: &Format) -> Value {
    match (text(stored), format.text(stored)) {
        (Value::Cell(_), Look::Text(shown)) => match text(&shown) {
            Value::Cell(cell) => Value::Cell(cell),
            _ => Value::Cell(Cell::Doubtful { stored: stored.to_string(), hidden: true }),
        },
        (Value::Cell(_), _) => Value::Cell(unclear(stored, format)),
        (blank, _) => blank,
    }
}

fn unclear(stored: &str, format: &Format) -> Cell {
    Cell::Doubtful { stored: format!("{stored}` in the format `{}", format.code), hidden: false }
}

/// A value as the general reader gives it.
fn bare(value: DataRef<'_>) -> Value {
    Value::Cell(match value {
        DataRef::Empty => return Value::None,
        #[expect(clippy::cast_precision_loss, reason = "the format's own numbers are floats")]
        DataRef::Int(number) => Cell::Number(number as f64),
        DataRef::Float(number) => Cell::Number(number),
        DataRef::String(s) => return text(&s),
        DataRef::SharedString(s) => return text(s),
        DataRef::Bool(yes) => Cell::Bool(yes),
        DataRef::DateTime(date) => serial_date(&date),
        DataRef::DateTimeIso(s) => return iso_date(&s).map_or_else(|| text(&s), Value::Cell),
        DataRef::DurationIso(s) => return text(&s),
        DataRef::Error(error) => Cell::Error(error_name(&error).to_string()),
    })
}

/// A text without the blanks around it.
pub(super) fn text(text: &str) -> Value {
    let text = text.trim_matches(|c: char| c.is_whitespace() || c == '\0');
    if text.is_empty() { Value::Blank } else { Value::Cell(Cell::Text(text.to_string())) }
}

/// A date that the file holds as a number of days.
pub(super) fn serial_date(date: &ExcelDateTime) -> Cell {
    let (year, month, day, ..) = date.to_ymd_hms_milli();
    let alone = (0.0..1.0).contains(&date.as_f64());
    let iso = format!("{year:04}-{month:02}-{day:02}");
    // The file may count from 1904; days are compared across files, so they count from 1900 here.
    match iso_date(&iso) {
        // A time of day without a day.
        Some(Cell::Date { iso, .. }) if alone => Cell::Date { serial: date.as_f64(), iso },
        Some(Cell::Date { serial, iso }) => {
            Cell::Date { serial: serial + date.as_f64().fract(), iso }
        }
        _ => Cell::Date { serial: date.as_f64(), iso },
    }
}

/// A date that the file holds as `YYYY-MM-DD`, with any text after it.
pub(super) fn iso_date(text: &str) -> Option<Cell> {
    let iso = text.get(..10)?;
    Some(Cell::Date { serial: f64::from(day::number(iso)?), iso: iso.to_string() })
}

fn error_name(error: &CellErrorType) -> &'static str {
    match error {
        CellErrorType::Div0 => "#DIV/0!",
        CellErrorType::NA => "#N/A",
        CellErrorType::Name => "#NAME?",
        CellErrorType::Null => "#NULL!",
        CellErrorType::Num => "#NUM!",
        CellErrorType::Ref => "#REF!",
        CellErrorType::Value => "#VALUE!",
        _ => "#ERROR!",
    }
}

/// An error value by its number in the binary formats ([MS-XLS] 2.5.10).
pub(super) fn error_of_code(code: u8) -> Cell {
    let name = match code {
        0x00 => "#NULL!",
        0x07 => "#DIV/0!",
        0x0f => "#VALUE!",
        0x17 => "#REF!",
        0x1d => "#NAME?",
        0x24 => "#NUM!",
        0x2a => "#N/A",
        _ => "#ERROR!",
    };
    Cell::Error(name.to_string())
}
