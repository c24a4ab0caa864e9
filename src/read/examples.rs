//! Example rows of the blank workbooks: invented, so none may be taken for stock or for a pump.

use crate::columns;
use crate::problem::{Problem, Problems};
use crate::sheet::{Book, Cell};

/// Refuses every example row that still stands in a workbook.
pub(super) fn refuse(book: &Book, problems: &mut Problems) {
    for sheet in &book.sheets {
        let cells = sheet.rows.iter().flat_map(|row| row.cells.iter().map(move |cell| (row, cell)));
        for (row, (column, cell)) in cells {
            let Cell::Text(text) = cell else { continue };
            if columns::is_example(text) {
                problems.add(Problem::new(
                    sheet.place(row.number, *column),
                    format!("`{text}`, an example row that `gapwright blank` wrote"),
                    "rows of your own",
                    "write your own row over it, or clear the whole row",
                ));
            }
        }
    }
}
