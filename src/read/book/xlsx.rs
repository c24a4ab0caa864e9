//! Reads .xlsx and .xlsm workbooks cell by cell, so that a stray cell in the far corner costs no memory.

use std::io::Cursor;

use calamine::{Reader, SheetType, SheetVisible, Xlsx, XlsxError, XlsxFormulaMetadata};

use super::archive::{Archive, broken, cut_short, password};
use super::gather::Gatherer;
use super::memory::Memory;
use super::survey::Survey;
use super::values::{self, Value};
use crate::problem::Problem;
use crate::sheet::{Cell, Sheet};

/// All sheets of a workbook.
pub(super) fn sheets(
    file: &str,
    bytes: &[u8],
    archive: &mut Archive<'_>,
    memory: &mut Memory,
) -> Result<Vec<Sheet>, Problem> {
    let mut survey = Survey::take(file, archive, memory)?;
    let trouble = |error: XlsxError| in_words(file, &error);
    let mut workbook: Xlsx<_> = Xlsx::new(Cursor::new(bytes)).map_err(trouble)?;
    let mut sheets = Vec::new();
    for listed in workbook.sheets_metadata().to_vec() {
        // Chart sheets have no cells.
        if listed.typ != SheetType::WorkSheet {
            continue;
        }
        let mut reader = match workbook.worksheet_cells_reader(&listed.name) {
            Ok(reader) => reader,
            Err(XlsxError::NotAWorksheet(_)) => continue,
            Err(error) => return Err(trouble(error)),
        };
        let of_sheet = survey.of_sheet(&listed.name);
        let mut gatherer = Gatherer::new(file, listed.name.clone(), memory)?;
        // Without the text of shared formulas, which would be built for each cell.
        while let Some(found) = reader.next_cell_with_formula_metadata().map_err(trouble)? {
            let format = of_sheet
                .styles
                .get(&found.pos)
                .and_then(|style| survey.formats.get(*style))
                .map(AsRef::as_ref);
            let formula = found.formula.and_then(uncalculated);
            let pending = survey.recalculation_pending || of_sheet.pending.contains(&found.pos);
            let cell = match values::value(found.value, format) {
                // An error is none of the results that could be read by mistake.
                Value::Cell(cell @ Cell::Error(_)) => cell,
                Value::Cell(cell) => formula.filter(|_| pending).unwrap_or(cell),
                // A formula whose result is an empty text counts as an empty cell.
                Value::Blank => continue,
                Value::None => match formula {
                    Some(cell) => cell,
                    None => continue,
                },
            };
            gatherer.push(found.pos, cell, memory)?;
        }
        let out_of_sight = listed.visible != SheetVisible::Visible;
        sheets.push(gatherer.finish(out_of_sight, of_sheet.spans));
    }
    Ok(sheets)
}

/// A formula without a value, with its text as far as it is at hand.
fn uncalculated(formula: XlsxFormulaMetadata) -> Option<Cell> {
    const MOST_SHOWN: usize = 100;
    let text = match formula {
        XlsxFormulaMetadata::Normal { formula } | XlsxFormulaMetadata::Shared { formula, .. } => {
            if formula.is_empty() {
                return None;
            }
            formula.chars().take(MOST_SHOWN).collect()
        }
        // One that shares its text with a cell above.
        _ => "...".to_string(),
    };
    Some(Cell::Uncalculated(text))
}

fn in_words(file: &str, error: &XlsxError) -> Problem {
    match error {
        XlsxError::Password => password(file),
        XlsxError::Zip(_) => cut_short(file),
        other => broken(file, None, &other.to_string()),
    }
}
