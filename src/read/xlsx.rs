//! Reads .xlsx workbooks, cell by cell, so that a stray cell in the far corner costs nothing.

use std::io::Cursor;

use calamine::{CellErrorType, DataRef, Reader, Xlsx, XlsxError};

use crate::problem::{Place, Problem};
use crate::sheet::{Cell, Row, Sheet};

/// The most cells that are read from one workbook.
const MOST_CELLS: usize = 5_000_000;

/// Every sheet of a workbook.
pub(super) fn sheets(file: &str, bytes: Vec<u8>) -> Result<Vec<Sheet>, Problem> {
    let trouble = |error: XlsxError| in_words(file, &error);
    let mut workbook: Xlsx<_> = Xlsx::new(Cursor::new(bytes)).map_err(trouble)?;
    let mut cells_left = MOST_CELLS;
    let mut sheets = Vec::new();
    for name in workbook.sheet_names() {
        let mut reader = match workbook.worksheet_cells_reader(&name) {
            Ok(reader) => reader,
            // Chart sheets have no cells.
            Err(XlsxError::NotAWorksheet(_)) => continue,
            Err(error) => return Err(trouble(error)),
        };
        let mut sheet = Sheet {
            file: file.to_string(),
            name,
            rows: Vec::new(),
        };
        while let Some(found) = reader.next_cell_with_formula().map_err(trouble)? {
            let Some(cell) = cell(found.value, found.formula) else {
                continue;
            };
            cells_left = cells_left.checked_sub(1).ok_or_else(|| too_large(file))?;
            let (number, column) = found.pos;
            match sheet.rows.last_mut() {
                Some(row) if row.number == number => row.cells.push((column, cell)),
                _ => sheet.rows.push(Row {
                    number,
                    cells: vec![(column, cell)],
                }),
            }
        }
        sheet.rows.sort_by_key(|row| row.number);
        sheets.push(sheet);
    }
    Ok(sheets)
}

fn cell(value: DataRef<'_>, formula: Option<String>) -> Option<Cell> {
    let text = |text: &str| {
        let text = text.trim_matches(|c: char| c.is_whitespace() || c == '\0');
        (!text.is_empty()).then(|| Cell::Text(text.to_string()))
    };
    match value {
        // A formula that gives an empty text shows nothing and is nothing.
        DataRef::Empty => formula.filter(|f| !f.is_empty()).map(Cell::Uncalculated),
        #[expect(
            clippy::cast_precision_loss,
            reason = "the format's own numbers are floats"
        )]
        DataRef::Int(number) => Some(Cell::Number(number as f64)),
        DataRef::Float(number) => Some(Cell::Number(number)),
        DataRef::String(s) => text(&s),
        DataRef::SharedString(s) => text(s),
        DataRef::Bool(yes) => Some(Cell::Bool(yes)),
        DataRef::DateTime(date) => {
            let (year, month, day, ..) = date.to_ymd_hms_milli();
            let iso = format!("{year:04}-{month:02}-{day:02}");
            Some(Cell::Date {
                serial: date.as_f64(),
                iso,
            })
        }
        DataRef::DateTimeIso(s) | DataRef::DurationIso(s) => text(&s),
        DataRef::Error(error) => Some(Cell::Error(error_name(&error).to_string())),
    }
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

fn too_large(file: &str) -> Problem {
    Problem::new(
        Place::file(file),
        format!("more than {MOST_CELLS} cells"),
        "a stock or pump workbook",
        "save the sheets that are needed as a workbook of their own",
    )
}

fn in_words(file: &str, error: &XlsxError) -> Problem {
    let (found, mend) = match error {
        XlsxError::Password => (
            "a workbook that is protected by a password".to_string(),
            "save it without a password",
        ),
        XlsxError::Zip(_) => (
            "a workbook that is cut short or damaged".to_string(),
            "fetch or save the file again; if the spreadsheet program opens it, save it from there",
        ),
        other => (
            format!("a workbook that cannot be read ({other})"),
            "open it in the spreadsheet program and save it again as .xlsx",
        ),
    };
    Problem::new(Place::file(file), found, "a whole .xlsx workbook", mend)
}
