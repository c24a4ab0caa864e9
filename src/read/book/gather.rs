//! Puts the cells of a sheet in order as they come, within the memory that there is.

use super::memory::Memory;
use crate::sheet::{Cell, Row, Sheet, Span};

/// A sheet in the making.
pub(super) struct Gatherer {
    sheet: Sheet,
}

/// There is no room for another cell.
pub(super) struct Full;

impl Gatherer {
    pub(super) fn new(file: &str, name: String) -> Gatherer {
        Gatherer {
            sheet: Sheet {
                file: file.to_string(),
                name,
                ..Sheet::default()
            },
        }
    }

    /// Keeps a cell; row and column from 0.
    pub(super) fn push(
        &mut self,
        (number, column): (u32, u32),
        cell: Cell,
        memory: &mut Memory,
    ) -> Result<(), Full> {
        let text = match &cell {
            Cell::Text(text) | Cell::Error(text) | Cell::Uncalculated(text) => text.len(),
            Cell::Date { iso, .. } => iso.len(),
            Cell::Number(_) | Cell::Bool(_) => 0,
        };
        if !memory.take_cell(text) {
            return Err(Full);
        }
        let rows = &mut self.sheet.rows;
        match rows.last_mut() {
            Some(row) if row.number == number => row.cells.push((column, cell)),
            last => {
                if let Some(row) = last {
                    row.cells.shrink_to_fit();
                }
                rows.push(Row {
                    number,
                    cells: vec![(column, cell)],
                });
            }
        }
        Ok(())
    }

    /// The sheet; files may hold rows and cells in any order, and one cell twice: the last counts.
    pub(super) fn finish(self, hidden: bool, rows: Vec<Span>, columns: Vec<Span>) -> Sheet {
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
            hidden_rows: rows,
            hidden_columns: columns,
            ..sheet
        }
    }
}

/// Adds a row or column to the spans that are hidden, joining it to the last if it follows.
pub(super) fn hide(spans: &mut Vec<Span>, first: u32, last: u32) {
    match spans.last_mut() {
        Some(span) if span.last.checked_add(1) == Some(first) => span.last = last,
        _ => spans.push(Span { first, last }),
    }
}
