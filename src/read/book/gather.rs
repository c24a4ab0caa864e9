//! Orders the cells of a sheet as they come, within the memory limit.

use super::memory::Memory;
use crate::problem::{Place, Problem};
use crate::sheet::{Cell, Merged, Sheet, SheetRow, Span};

/// Limits of spreadsheet programs, whatever the file claims.
pub(super) const MOST_ROWS: u32 = 1_048_576;
pub(super) const MOST_COLUMNS: u32 = 16_384;
const MOST_CHARACTERS: usize = 32_767;
/// Longer than any program allows; every problem on the sheet repeats the name.
const LONGEST_NAME: usize = 255;

/// Bytes for a cell, for a text besides its characters, and for a row besides its cells, including the allocator's
/// overhead.
const CELL: u64 = 48;
const TEXT: u64 = 32;
const ROW: u64 = 96;

/// A sheet under construction.
pub(super) struct Gatherer {
    sheet: Sheet,
}

impl Gatherer {
    pub(super) fn new(file: &str, name: String, memory: &mut Memory) -> Result<Gatherer, Problem> {
        if name.chars().count() > LONGEST_NAME {
            return Err(Problem::new(
                Place::file(file),
                format!("a sheet named `{name}`"),
                format!("a name of at most {LONGEST_NAME} characters"),
                "rename the sheet in the spreadsheet program",
            ));
        }
        if !memory.take(1_000) {
            return Err(memory.too_large(file, "more sheets than there is memory left for"));
        }
        Ok(Gatherer { sheet: Sheet { file: file.to_string(), name, ..Sheet::default() } })
    }

    /// Keeps a cell; row and column from 0.
    pub(super) fn push(
        &mut self,
        (number, column): (u32, u32),
        cell: Cell,
        memory: &mut Memory,
    ) -> Result<(), Problem> {
        if number >= MOST_ROWS || column >= MOST_COLUMNS {
            return Err(Problem::new(
                self.sheet.whole(),
                format!(
                    "a cell in row {}, column {}",
                    u64::from(number) + 1,
                    u64::from(column) + 1
                ),
                format!(
                    "at most {MOST_ROWS} rows and {MOST_COLUMNS} columns, as spreadsheets have"
                ),
                "check the separators of a CSV file; else save the workbook again",
            ));
        }
        let text = match &cell {
            Cell::Text(text)
            | Cell::Error(text)
            | Cell::Uncalculated(text)
            | Cell::Shown { text, .. }
            | Cell::Doubtful { stored: text, .. } => text.as_str(),
            Cell::Date { iso, .. } => iso,
            Cell::Number(_) | Cell::Bool(_) => "",
        };
        if text.len() > MOST_CHARACTERS && text.chars().count() > MOST_CHARACTERS {
            return Err(Problem::new(
                self.sheet.place(number, column),
                format!("a text of {} characters", text.chars().count()),
                format!("at most {MOST_CHARACTERS}, which is what a spreadsheet's cell holds"),
                "shorten it; if a double quote is missing somewhere, close it",
            ));
        }
        let new_row = self.sheet.rows.last().is_none_or(|row| row.number != number);
        let row = if new_row { ROW } else { 0 };
        let text = match u64::try_from(text.len()).unwrap_or(u64::MAX / 2) {
            0 => 0,
            length => TEXT + length,
        };
        if !memory.take(CELL + row + text) {
            return Err(memory.too_large(&self.sheet.file, "too many cells"));
        }
        let rows = &mut self.sheet.rows;
        match rows.last_mut() {
            Some(row) if row.number == number => row.cells.push((column, cell)),
            last => {
                if let Some(row) = last {
                    row.cells.shrink_to_fit();
                }
                rows.push(SheetRow { number, cells: vec![(column, cell)] });
            }
        }
        Ok(())
    }

    /// The finished sheet. Files may hold rows and cells in any order, and one cell twice: the last one counts.
    pub(super) fn finish(self, hidden: bool, spans: Spans) -> Sheet {
        let mut sheet = self.sheet;
        sheet.rows.sort_by_key(|row| row.number);
        sheet.rows.dedup_by(|later, first| {
            let same = later.number == first.number;
            if same {
                first.cells.append(&mut later.cells);
            }
            same
        });
        for row in &mut sheet.rows {
            if !row.cells.is_sorted_by(|a, b| a.0 < b.0) {
                row.cells.reverse();
                row.cells.sort_by_key(|(column, _)| *column);
                row.cells.dedup_by_key(|(column, _)| *column);
            }
        }
        Sheet {
            hidden,
            hidden_rows: spans.rows,
            hidden_columns: spans.columns,
            struck_rows: spans.struck,
            merged: spans.merged,
            ..sheet
        }
    }
}

/// Facts about a sheet besides its cells.
#[derive(Debug, Default)]
pub(super) struct Spans {
    /// Hidden rows.
    pub(super) rows: Vec<Span>,
    /// Hidden columns.
    pub(super) columns: Vec<Span>,
    /// Rows with a value that is struck through, or in the colour of its ground.
    pub(super) struck: Vec<Span>,
    /// Merged cells.
    pub(super) merged: Vec<Merged>,
}

impl Spans {
    /// Bytes that they take.
    pub(super) fn held(&self) -> u64 {
        let spans =
            self.rows.len() + self.columns.len() + self.struck.len() + 2 * self.merged.len();
        16 * u64::try_from(spans).unwrap_or(u64::MAX / 16)
    }
}

/// Adds a row or column to the hidden spans, and joins it to the last one if it follows.
pub(super) fn hide(spans: &mut Vec<Span>, first: u32, last: u32) {
    match spans.last_mut() {
        Some(span) if span.last.checked_add(1) == Some(first) => span.last = last,
        // Two cells of one row.
        Some(span) if span.first <= first && last <= span.last => {}
        _ => spans.push(Span { first, last }),
    }
}
