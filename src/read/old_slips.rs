//! Reads the kit slips of an older plan workbook as they were printed.

use std::path::Path;

use super::executed_plan::with_book;
use super::{Memory, numbered_sheets};
use crate::issue::key;
use crate::paper::{OldSlip, OldSlips, beside, text_of_cell};
use crate::problem::{Place, Problem, Problems};
use crate::sheet::{Cell, SheetRow};

/// Columns of a slip that are printed: the items, their counts and the first box to tick among them.
const PRINTED: std::ops::Range<u32> = 0..8;
const ITEM: u32 = 1;
const COUNT: u32 = 2;
const TICK: u32 = 6;

/// Reads the slips of a plan workbook.
///
/// # Errors
/// Every problem: a file that is not a plan workbook.
pub fn old_slips(path: &Path, memory: &mut Memory) -> Result<OldSlips, Problems> {
    let mut problems = Problems::new();
    let read = gather(path, memory, &mut problems);
    problems.settle(read).map(|(slips, _)| slips)
}

fn gather(path: &Path, memory: &mut Memory, problems: &mut Problems) -> Option<OldSlips> {
    let (carried, book) = with_book(path, memory, problems)?;
    let Some(book) = book else {
        problems.add(Problem::new(
            Place::file(&path.display().to_string()),
            "a plan without the words of its slips",
            "the older plan's workbook, whose sheet Kits has them",
            "give the workbook",
        ));
        return None;
    };
    let mut found = OldSlips { plan: carried.planned.id(), ..OldSlips::default() };
    let mut slip: Option<OldSlip> = None;
    for sheet in numbered_sheets(&book, "Kits", problems) {
        for row in &sheet.rows {
            let shown = |column: u32| row.cell(column).map(Cell::show).unwrap_or_default();
            if let Some((kit, tag)) = title(&shown(0)) {
                found.slips.extend(slip.take().map(|slip| (key(&slip.tag), slip)));
                slip = Some(OldSlip { tag, kit, ..OldSlip::default() });
            } else if let Some(slip) = &mut slip {
                add(slip, row);
            }
        }
    }
    found.slips.extend(slip.map(|slip| (key(&slip.tag), slip)));
    found.slips.values_mut().for_each(|slip| slip.pieces.sort());
    Some(found)
}

/// Kit and tag of the title of a slip.
fn title(text: &str) -> Option<(String, String)> {
    let (kit, tag) = text.split_once(": pump ")?;
    let number = kit.strip_prefix("Kit ")?.split(' ').next()?;
    number.parse::<u32>().ok()?;
    Some((kit.to_string(), tag.to_string()))
}

fn add(slip: &mut OldSlip, row: &SheetRow) {
    let shown = |column: u32| row.cell(column).map(Cell::show).unwrap_or_default();
    let filled: Vec<String> = PRINTED.map(shown).filter(|text| !text.is_empty()).collect();
    slip.texts.extend(filled.iter().map(|text| text_of_cell(text)));
    slip.texts.extend(filled.windows(2).map(|two| beside(&two[0], &two[1])));
    if let Ok(count) = shown(COUNT).parse()
        && shown(TICK) == "☐"
    {
        slip.pieces.push((text_of_cell(&shown(ITEM)), count));
    }
}
