//! Tables: a column is its heading, its width and its cell, one line of code for all three.
//!
//! ```text
//! type Col<'s> = Column<'s, Pump>;
//! let columns = [
//!     Col::new("Tag", 14.0, |pump| styles.strong.of(&pump.tag)),
//!     Col::new("Priority", 10.0, |pump| styles.count.of(pump.priority)),
//! ];
//! page.open(&columns)?;
//! page.put(&columns, &pump)?;
//! ```

use std::borrow::Cow;

use rust_xlsxwriter::{Format, Formula, Worksheet};

use super::page::Written;
use super::text::WriteText;

pub(super) use crate::paper::OTHER_UNIT;

/// The content of a cell.
#[derive(Clone)]
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

/// Values out of plain types.
macro_rules! values {
    ($($of:ty, $it:ident => $value:expr;)*) => {$(
        impl From<$of> for Value {
            fn from($it: $of) -> Value {
                $value
            }
        }
    )*};
}

values! {
    &str, text => Value::Text(text.to_string());
    &String, text => Value::Text(text.clone());
    String, text => Value::Text(text);
    f64, number => Value::Number(number);
    u32, count => Value::Number(count.into());
    usize, count => Value::Number(u32::try_from(count).unwrap_or(u32::MAX).into());
}

impl<T: Into<Value>> From<Option<T>> for Value {
    fn from(value: Option<T>) -> Value {
        value.map_or(Value::Blank, Into::into)
    }
}

/// A value in its format; `None` is no cell at all.
pub(super) type Cell<'s> = Option<Filled<'s>>;

pub(super) struct Filled<'s> {
    value: Value,
    format: Cow<'s, Format>,
    /// How many columns it takes, as one merged cell.
    columns: u16,
}

/// A cell of a text over so many columns.
pub(super) fn over(columns: u16, cell: Cell<'_>) -> Cell<'_> {
    cell.map(|cell| Filled { columns, ..cell })
}

/// Cells in a format.
pub(super) trait Cells {
    /// The cell with this value.
    fn of(&self, value: impl Into<Value>) -> Cell<'_>;
    /// The cell without any.
    fn blank(&self) -> Cell<'_>;
    /// The cell with this value, in a copy of the format.
    fn owned(&self, value: impl Into<Value>) -> Cell<'static>;
}

impl Cells for Format {
    fn of(&self, value: impl Into<Value>) -> Cell<'_> {
        Some(Filled { value: value.into(), format: Cow::Borrowed(self), columns: 1 })
    }

    fn blank(&self) -> Cell<'_> {
        self.of(Value::Blank)
    }

    fn owned(&self, value: impl Into<Value>) -> Cell<'static> {
        Some(Filled { value: value.into(), format: Cow::Owned(self.clone()), columns: 1 })
    }
}

/// Writes cells beside each other from a column on.
pub(super) fn cells<'s>(
    sheet: &mut Worksheet,
    (row, mut column): (u32, u16),
    cells: impl IntoIterator<Item = Cell<'s>>,
) -> Written {
    for cell in cells {
        let Some(Filled { value, format, columns }) = cell else {
            column += 1;
            continue;
        };
        let format = &format;
        match value {
            Value::Text(text) if columns > 1 => {
                sheet.across(row, [column, column + columns - 1], &text, format)?
            }
            Value::Text(text) => sheet.write_text(row, column, text, format)?,
            Value::Number(number) => sheet.write_number_with_format(row, column, number, format)?,
            Value::Formula(formula, result) => {
                let formula = Formula::new(format!("={formula}")).set_result(result);
                sheet.write_formula_with_format(row, column, formula, format)?
            }
            Value::Blank => sheet.write_blank(row, column, format)?,
        };
        column += columns;
    }
    Ok(())
}

/// A column of a table whose rows are made of `R`s.
pub(super) struct Column<'s, R> {
    head: &'s str,
    /// In characters; none where the sheet's widths are set by another table.
    width: Option<f64>,
    cell: Box<dyn Fn(&R) -> Cell<'s> + 's>,
    /// How many columns of the sheet it takes.
    pub(super) columns: u16,
}

impl<'s, R> Column<'s, R> {
    /// A column: its heading, its width in characters, and its cell.
    pub(super) fn new(head: &'s str, width: f64, cell: impl Fn(&R) -> Cell<'s> + 's) -> Self {
        Column { width: Some(width), ..Column::of(head, cell) }
    }

    /// A column below another table, as wide as that has it.
    pub(super) fn of(head: &'s str, cell: impl Fn(&R) -> Cell<'s> + 's) -> Self {
        Column { head, width: None, cell: Box::new(cell), columns: 1 }
    }

    /// Over so many columns of the sheet; its cells are texts.
    pub(super) fn over(self, columns: u16) -> Self {
        Column { columns, ..self }
    }

    pub(super) fn heading<'f>(&self, format: &'f Format) -> Cell<'f> {
        over(self.columns, format.of(self.head))
    }

    pub(super) fn cell(&self, of: &R) -> Cell<'s> {
        match self.columns {
            // A cell may be wider than its column's heading.
            1 => (self.cell)(of),
            columns => over(columns, (self.cell)(of)),
        }
    }
}

/// Sets the widths of the sheet's columns.
pub(super) fn widths<R>(sheet: &mut Worksheet, columns: &[Column<'_, R>]) -> Written {
    for (at, column) in (0..).zip(columns) {
        if let Some(width) = column.width {
            sheet.set_column_width(at, width)?;
        }
    }
    Ok(())
}
