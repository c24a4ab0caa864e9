//! Whether a saved plan holds what people typed into it.

use std::path::Path;

use super::fitted_pieces::holds;
use super::{Memory, book, bounded};
use crate::columns::key;
use crate::formats::issue_sheet::{EXTRA, OWN};
use crate::formats::slip::{self, SlipRow};
use crate::issue::planned::PickStep;
use crate::sheet::{Book, Sheet, SheetRow};

/// Columns of the sheet Issue for entries beside a line of the plan: Picked, Substitute item, Qty.
const BESIDE: [u32; 3] = [6, 7, 8];
/// Column of a note; that of a line that is short is written by the plan.
const NOTE: u32 = 9;
/// Column of the step of a line.
const STEP: u32 = 4;
/// Columns of a spare line that people fill in.
const SPARE: [u32; 5] = [0, 1, 3, 6, 9];

/// Whether a file is a plan workbook with readings or signatures on its slips, or with entries on its sheet Issue. A
/// workbook that cannot be read counts as one: nobody can say that it holds none.
pub fn is_filled_in(path: &Path, memory: &mut Memory) -> bool {
    bounded::is_packed(path) && book(path, memory).map_or(true, |book| of_book(&book))
}

fn of_book(book: &Book) -> bool {
    let any = |name: &str, of: fn(&SheetRow) -> bool| {
        let mut sheets = book.sheets.iter().filter(|sheet| is_named(sheet, name));
        sheets.any(|sheet| sheet.rows.iter().any(of))
    };
    any("Kits", on_a_slip) || any("Issue", on_issue)
}

/// Whether a sheet has this name, or this name and a number.
fn is_named(sheet: &Sheet, name: &str) -> bool {
    let found = key(&sheet.name);
    let number = found.strip_prefix(&key(name));
    number.is_some_and(|number| number.bytes().all(|byte| byte.is_ascii_digit()))
}

fn on_a_slip(row: &SheetRow) -> bool {
    let columns = match holds(row) {
        Some((SlipRow::Pack | SlipRow::Requirement, ..)) => [slip::READING, slip::AGAIN],
        Some((SlipRow::Signed, ..)) => [slip::FITTER, slip::CHECKER],
        _ => return false,
    };
    columns.into_iter().any(|column| row.cell(column.into()).is_some())
}

fn on_issue(row: &SheetRow) -> bool {
    let filled = |columns: &[u32]| columns.iter().any(|&column| row.cell(column).is_some());
    let Some(step) = row.cell(STEP).map(|cell| cell.show()) else { return false };
    if step == EXTRA {
        return filled(&SPARE);
    }
    let is_line = row.cell(OWN[0].into()).is_some();
    let short = step == PickStep::Short.words();
    is_line && PickStep::parse(&step).is_some() && (filled(&BESIDE) || !short && filled(&[NOTE]))
}
