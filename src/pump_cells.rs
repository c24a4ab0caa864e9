//! Cells of a pump sheet, found by the tag of a pump and the heading of a column.
//!
//! Figures from elsewhere, such as those booked in an outage or typed into the page, are laid over these cells in memory
//! and read by the reader of workbooks, so that they are judged like any cell of a file.
//!
//! ```
//! use std::sync::Arc;
//! use gapwright::pump_cells::{PumpCells, contents, put};
//! use gapwright::read::{self, Memory};
//! # std::env::set_current_dir(env!("CARGO_MANIFEST_DIR")).unwrap();
//! let mut book = read::book("samples/tiny/pumps.csv".as_ref(), &mut Memory::default()).unwrap();
//! let sheet = Arc::make_mut(&mut book.sheets[0]);
//! let cells = PumpCells::of(sheet).expect("a pump sheet");
//! let at = cells.at("A", "bareclearance").expect("a cell of pump A");
//! assert_eq!(contents(sheet, at), "0.041");
//! put(sheet, at, "0.0405");
//! assert_eq!(contents(sheet, at), "0.0405");
//! ```

use std::collections::HashMap;

use crate::columns::{self, NEEDED_OF_PUMPS};
use crate::issue::key;
use crate::sheet::{Cell, Sheet};

/// Columns of a pump sheet, and the row of each pump.
#[derive(Debug, Clone)]
pub struct PumpCells {
    headings: Vec<PumpHeading>,
    rows: HashMap<String, usize>,
}

/// Heading of a column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PumpHeading {
    /// Column, from 0.
    pub column: u32,
    /// Text of the heading.
    pub text: String,
    /// Form in which headings are compared: without case, spaces, punctuation and the unit.
    pub key: String,
}

/// Place of a cell: its row among the rows of the sheet, and its column from 0.
pub type CellAt = (usize, u32);

impl PumpCells {
    /// Columns and rows of a sheet of pumps; `None` of any other sheet.
    pub fn of(sheet: &Sheet) -> Option<PumpCells> {
        let (top, headings) = sheet.rows.iter().enumerate().find_map(|(at, row)| {
            let headings: Vec<PumpHeading> = (row.cells.iter())
                .map(|(column, cell)| PumpHeading {
                    column: *column,
                    text: cell.show(),
                    key: columns::key(&cell.show()),
                })
                .collect();
            let there = |wanted: &&str| headings.iter().any(|h| h.key == columns::key(wanted));
            NEEDED_OF_PUMPS.iter().all(there).then_some((at, headings))
        })?;
        let tags = headings.iter().find(|heading| heading.key == columns::key("Tag"))?.column;
        let mut rows = HashMap::new();
        for (at, row) in sheet.rows.iter().enumerate().skip(top + 1) {
            if let Some(tag) = row.cell(tags) {
                rows.entry(key(&tag.show())).or_insert(at);
            }
        }
        Some(PumpCells { headings, rows })
    }

    /// Headings, from left to right.
    pub fn headings(&self) -> &[PumpHeading] {
        &self.headings
    }

    /// Cell of a pump below a heading, which is given by its key.
    pub fn at(&self, tag: &str, heading: &str) -> Option<CellAt> {
        let column = self.headings.iter().find(|known| known.key == heading)?.column;
        Some((*self.rows.get(&key(tag))?, column))
    }
}

/// Text that a cell shows; empty of an empty one.
pub fn contents(sheet: &Sheet, (row, column): CellAt) -> String {
    let cell = sheet.rows.get(row).and_then(|row| row.cell(column));
    cell.map(Cell::show).unwrap_or_default()
}

/// Puts a text into a cell; an empty one empties it.
pub fn put(sheet: &mut Sheet, (row, column): CellAt, text: &str) {
    let Some(row) = sheet.rows.get_mut(row) else { return };
    let at = row.cells.binary_search_by_key(&column, |(column, _)| *column);
    match (at, text.trim()) {
        (Ok(at), "") => {
            row.cells.remove(at);
        }
        (Err(_), "") => {}
        (Ok(at), text) => row.cells[at].1 = Cell::Text(text.to_string()),
        (Err(at), text) => row.cells.insert(at, (column, Cell::Text(text.to_string()))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet() -> Sheet {
        let rows = [
            vec!["Outage of spring", "", ""],
            vec!["TAG", "Model", "Bare clearance (in)"],
            vec!["P-1", "screwed-impeller", "0.041"],
            vec!["p-2", "screwed-impeller", ""],
        ];
        Sheet::from_text("pumps.csv", "Pumps", rows)
    }

    #[test]
    fn a_cell_is_found_by_tag_and_heading_below_a_title() {
        let sheet = sheet();
        let cells = PumpCells::of(&sheet).unwrap();
        let at = cells.at(" P-2", "bareclearance").unwrap();
        assert_eq!((at, contents(&sheet, at)), ((3, 2), String::new()));
        assert_eq!(contents(&sheet, cells.at("p-1", "bareclearance").unwrap()), "0.041");
        assert_eq!(cells.at("P-3", "bareclearance"), None);
        assert_eq!(cells.at("P-1", "snapring"), None);
    }

    #[test]
    fn a_text_is_put_in_and_taken_out() {
        let mut sheet = sheet();
        let cells = PumpCells::of(&sheet).unwrap();
        let at = cells.at("P-2", "bareclearance").unwrap();
        put(&mut sheet, at, " 0.05 ");
        assert_eq!(contents(&sheet, at), "0.05");
        put(&mut sheet, at, "");
        assert_eq!(sheet, self::sheet());
    }
}
