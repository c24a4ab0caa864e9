//! A worksheet as plain values with their places; readers make it and checks read it.

mod shown;

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::problem::{Place, Spot};
pub use shown::{InFull, in_full};

/// Contents of a cell. An empty cell has no entry.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// A number, as the binary one in the file, that shows just its digits.
    Number(f64),
    /// A number that its format shows otherwise: with a unit, in per cent, rounded, with zeros.
    Shown {
        /// The binary number in the file.
        stored: f64,
        /// The text that people see, trimmed and not empty.
        text: String,
    },
    /// A value that shows nothing, or whose display is not known with certainty.
    Doubtful {
        /// The value in the file, and its format where that is not understood.
        stored: String,
        /// Whether it shows nothing at all.
        hidden: bool,
    },
    /// A text, trimmed and not empty.
    Text(String),
    /// True or false.
    Bool(bool),
    /// A date, as days since the end of 1899 and as ISO text.
    Date {
        /// The spreadsheet's serial number.
        serial: f64,
        /// `YYYY-MM-DD`.
        iso: String,
    },
    /// An error value such as `#N/A`.
    Error(String),
    /// A formula whose result is missing, or is to be worked out again before it counts.
    Uncalculated(String),
}

impl Cell {
    /// The cell as people would read it aloud.
    pub fn show(&self) -> String {
        match self {
            Cell::Number(number) => show_number(*number),
            Cell::Shown { text, .. } => text.clone(),
            Cell::Doubtful { stored, .. } => stored.clone(),
            Cell::Text(text) => text.clone(),
            Cell::Bool(true) => "yes".into(),
            Cell::Bool(false) => "no".into(),
            Cell::Date { iso, .. } => iso.clone(),
            Cell::Error(error) => error.clone(),
            Cell::Uncalculated(formula) => format!("={formula}"),
        }
    }

    /// The number that is stored, however it shows.
    pub fn number(&self) -> Option<f64> {
        match self {
            Cell::Number(number) | Cell::Shown { stored: number, .. } => Some(*number),
            _ => None,
        }
    }
}

/// A number as a spreadsheet shows it: 15 significant digits at most, no trailing zeros.
pub fn show_number(number: f64) -> String {
    crate::decimal::seen(number).map_or_else(|| number.to_string(), |seen| seen.to_string())
}

/// One row: its number from 0, and its cells by column from 0.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SheetRow {
    /// Row number, from 0.
    pub number: u32,
    /// Column number from 0 and cell, ascending, empty cells left out.
    pub cells: Vec<(u32, Cell)>,
}

impl SheetRow {
    /// Cell in a column, if it is not empty.
    pub fn cell(&self, column: u32) -> Option<&Cell> {
        let at = self.cells.binary_search_by_key(&column, |(c, _)| *c);
        at.ok().map(|at| &self.cells[at].1)
    }
}

/// Consecutive rows or columns, both ends included, from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    /// The first.
    pub first: u32,
    /// The last.
    pub last: u32,
}

impl Span {
    /// Whether it holds this row or column.
    pub fn contains(self, number: u32) -> bool {
        (self.first..=self.last).contains(&number)
    }
}

/// Cells that are merged into one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Merged {
    /// Their rows.
    pub rows: Span,
    /// Their columns.
    pub columns: Span,
}

impl Merged {
    /// From the first and the last cell, each as row and column from 0.
    pub fn of(first: [u32; 2], last: [u32; 2]) -> Merged {
        let span = |at: usize| Span { first: first[at], last: last[at] };
        Merged { rows: span(0), columns: span(1) }
    }
}

/// A worksheet.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sheet {
    /// File that it came from, as the user named it.
    pub file: String,
    /// Its name.
    pub name: String,
    /// Rows with any contents, ascending.
    pub rows: Vec<SheetRow>,
    /// Whether the sheet is hidden. Hidden parts are read like the rest, and reported as hidden.
    pub hidden: bool,
    /// Rows that are hidden, by hand or by a filter, ascending.
    pub hidden_rows: Vec<Span>,
    /// Columns that are hidden.
    pub hidden_columns: Vec<Span>,
    /// Rows with a value that is struck through, or in the colour of its ground.
    pub struck_rows: Vec<Span>,
    /// Cells that are merged into one; only the first of them holds the value.
    pub merged: Vec<Merged>,
    /// Rows of a text file with fewer fields than its longest one, ascending, with the number of their fields.
    pub short_rows: Vec<(u32, u32)>,
    /// Meanings that people have confirmed, as texts, by row and column from 0.
    pub confirmed: BTreeMap<(u32, u32), Cell>,
}

impl Sheet {
    /// Place of one of its cells.
    pub fn place(&self, row: u32, column: u32) -> Place {
        Place {
            file: self.file.clone(),
            spot: Spot::Cell { sheet: self.name.clone(), row, column },
        }
    }

    /// Place of the sheet as a whole.
    pub fn whole(&self) -> Place {
        Place { file: self.file.clone(), spot: Spot::Sheet { sheet: self.name.clone() } }
    }

    /// Makes a sheet from rows of text, for tests; empty texts give no cells.
    #[cfg(test)]
    pub(crate) fn from_text<R, C>(file: &str, name: &str, rows: R) -> Sheet
    where
        R: IntoIterator,
        R::Item: IntoIterator<Item = C>,
        C: AsRef<str>,
    {
        let rows = rows
            .into_iter()
            .zip(0..)
            .map(|(cells, number)| SheetRow {
                number,
                cells: cells
                    .into_iter()
                    .zip(0..)
                    .filter_map(|(text, column)| {
                        let text = text.as_ref().trim();
                        (!text.is_empty()).then(|| (column, Cell::Text(text.to_string())))
                    })
                    .collect(),
            })
            .filter(|row: &SheetRow| !row.cells.is_empty())
            .collect();
        Sheet { file: file.to_string(), name: name.to_string(), rows, ..Sheet::default() }
    }
}

/// Name of one of several numbered sheets, from 1: `Kits`, `Kits 2`, `Kits 3` ...
///
/// ```
/// use gapwright::sheet::numbered;
/// assert_eq!([1, 2].map(|number| numbered("Kits", number)), ["Kits", "Kits 2"]);
/// ```
pub fn numbered(name: &str, number: usize) -> String {
    match number {
        1 => name.to_string(),
        number => format!("{name} {number}"),
    }
}

/// A workbook: its sheets, and the hash of its bytes.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Book {
    /// File name as the user gave it.
    pub file: String,
    /// SHA-256 of the file's bytes, in hexadecimal.
    pub sha256: String,
    /// Whether it is a text file, whose one sheet has no name of its own.
    pub is_text: bool,
    /// Sheets, in the workbook's order.
    pub sheets: Vec<Arc<Sheet>>,
}
