//! Tables: a column is its heading, its width and its cell, one line of code for all three.
//!
//! ```text
//! type Col<'s> = Column<'s, Pump>;
//! let columns = [
//!     Col::new("Tag", 14.0, |pump| styles.strong.of(&pump.tag)),
//!     Col::new("Priority", 10.0, |pump| styles.count.of(pump.priority)),
//! ];
//! table::open(sheet, 3, &columns, styles)?;
//! table::row(sheet, 4, &columns, &pump)?;
//! ```

use std::borrow::Cow;

use rust_xlsxwriter::{Format, Formula, Worksheet, XlsxError};

use super::style::Styles;
use super::text::WriteText;

/// What a cell holds.
pub(super) enum Value {
    Text(String),
    Number(f64),
    /// A formula without its equals sign, and its result.
    Formula(String, String),
    /// Nothing, in a ruled cell.
    Blank,
}

impl Value {
    pub(super) fn formula(formula: &str, result: impl ToString) -> Value {
        Value::Formula(formula.to_string(), result.to_string())
    }
}

impl From<&str> for Value {
    fn from(text: &str) -> Value {
        Value::Text(text.to_string())
    }
}

impl From<&String> for Value {
    fn from(text: &String) -> Value {
        Value::Text(text.clone())
    }
}

impl From<String> for Value {
    fn from(text: String) -> Value {
        Value::Text(text)
    }
}

impl From<f64> for Value {
    fn from(number: f64) -> Value {
        Value::Number(number)
    }
}

impl From<u32> for Value {
    fn from(count: u32) -> Value {
        Value::Number(count.into())
    }
}

impl From<usize> for Value {
    fn from(count: usize) -> Value {
        Value::Number(u32::try_from(count).unwrap_or(u32::MAX).into())
    }
}

impl<T: Into<Value>> From<Option<T>> for Value {
    fn from(value: Option<T>) -> Value {
        value.map_or(Value::Blank, Into::into)
    }
}

/// A value in its format; `None` is no cell at all.
pub(super) type Cell<'s> = Option<(Value, Cow<'s, Format>)>;

/// Cells in a format.
pub(super) trait Cells {
    /// The cell with this value.
    fn of(&self, value: impl Into<Value>) -> Cell<'_>;
    /// The cell without any.
    fn blank(&self) -> Cell<'_>;
    /// The cell with this value, in a copy of the format.
    fn owned(&self, value: impl Into<Value>) -> Cell<'static>;
    /// The same, in a copy that wraps.
    fn wrapping(&self, value: impl Into<Value>) -> Cell<'static>;
}

impl Cells for Format {
    fn of(&self, value: impl Into<Value>) -> Cell<'_> {
        Some((value.into(), Cow::Borrowed(self)))
    }

    fn blank(&self) -> Cell<'_> {
        self.of(Value::Blank)
    }

    fn owned(&self, value: impl Into<Value>) -> Cell<'static> {
        Some((value.into(), Cow::Owned(self.clone())))
    }

    fn wrapping(&self, value: impl Into<Value>) -> Cell<'static> {
        self.clone().set_text_wrap().owned(value)
    }
}

/// Writes cells beside each other from a column on.
pub(super) fn cells<'s>(
    sheet: &mut Worksheet,
    (row, column): (u32, u16),
    cells: impl IntoIterator<Item = Cell<'s>>,
) -> Result<(), XlsxError> {
    for (column, cell) in (column..).zip(cells) {
        match cell {
            Some((Value::Text(text), format)) => sheet.write_text(row, column, text, &format)?,
            Some((Value::Number(number), format)) => {
                sheet.write_number_with_format(row, column, number, &format)?
            }
            Some((Value::Formula(formula, result), format)) => {
                let formula = Formula::new(format!("={formula}")).set_result(result);
                sheet.write_formula_with_format(row, column, formula, &format)?
            }
            Some((Value::Blank, format)) => sheet.write_blank(row, column, &format)?,
            None => sheet,
        };
    }
    Ok(())
}

/// A column of a table whose rows are made of `R`s.
pub(super) struct Column<'s, R> {
    head: &'s str,
    width: f64,
    cell: Box<dyn Fn(&R) -> Cell<'s> + 's>,
}

impl<'s, R> Column<'s, R> {
    /// A column: its heading, its width in characters, and its cell.
    pub(super) fn new(head: &'s str, width: f64, cell: impl Fn(&R) -> Cell<'s> + 's) -> Self {
        Column { head, width, cell: Box::new(cell) }
    }
}

/// Sets the widths of the sheet's columns and writes their headings, which every page repeats.
pub(super) fn open<R>(
    sheet: &mut Worksheet,
    row: u32,
    columns: &[Column<'_, R>],
    styles: &Styles,
) -> Result<(), XlsxError> {
    widths(sheet, columns)?;
    heads(sheet, row, columns, styles)?;
    sheet.set_repeat_rows(row, row)?;
    Ok(())
}

/// Sets the widths of the sheet's columns.
pub(super) fn widths<R>(sheet: &mut Worksheet, columns: &[Column<'_, R>]) -> Result<(), XlsxError> {
    for (at, column) in (0..).zip(columns) {
        sheet.set_column_width(at, column.width)?;
    }
    Ok(())
}

/// Writes the headings of a table that shares its sheet with others.
pub(super) fn heads<R>(
    sheet: &mut Worksheet,
    row: u32,
    columns: &[Column<'_, R>],
    styles: &Styles,
) -> Result<(), XlsxError> {
    let heads = columns.iter().map(|column| styles.head.of(column.head));
    cells(sheet, (row, 0), heads)
}

/// Writes a row.
pub(super) fn row<'s, R>(
    sheet: &mut Worksheet,
    row: u32,
    columns: &[Column<'s, R>],
    of: &R,
) -> Result<(), XlsxError> {
    cells(sheet, (row, 0), columns.iter().map(|column| (column.cell)(of)))
}
