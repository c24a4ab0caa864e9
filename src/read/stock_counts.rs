//! Reads the counts of a stock workbook, each with its cell, and the other columns that a plan depends on.

use std::sync::Arc;

use super::stock::counts;
use super::table::Table;
use super::{find_sheet, named_sheet, policy};
use crate::columns::{NEEDED_OF_PLATE, NEEDED_OF_STOCK};
use crate::issue::counts::{CountedLot, Held, Stated};
use crate::length::Length;
use crate::problem::{Problem, Problems};
use crate::sheet::{Book, Cell, Sheet};
use crate::show;

/// Columns besides the counts that a plan depends on; the rest is notes, bins, prices and levels.
const MAKE: [&str; 10] = [
    "Kind",
    "Fit",
    "Thickness",
    "Tolerance",
    "Uncertainty",
    "Peel step",
    "Material",
    "Pack qty",
    "Length",
    "Width",
];

/// Those of them that hold one length.
const LENGTHS: [&str; 5] = ["Thickness", "Uncertainty", "Peel step", "Length", "Width"];

/// Warns of each uncalculated formula: it has no value for a workbook that is written anew.
pub fn warn_of_uncalculated(book: &Book, problems: &mut Problems) {
    for sheet in &book.sheets {
        let rows = sheet.rows.iter();
        let cells = rows.flat_map(|row| row.cells.iter().map(|cell| (row.number, cell)));
        for (row, (column, cell)) in cells {
            if matches!(cell, Cell::Uncalculated(_)) {
                problems.warn(Problem::new(
                    sheet.place(row, *column),
                    format!("the formula {}, whose result is missing or pending", cell.show()),
                    "a value to carry to the stock workbook for next time",
                    "nothing, if its text is enough there; else open and save the workbook in the spreadsheet program",
                ));
            }
        }
    }
}

/// Reads the counts of a stock workbook: of its lots of pieces and of its lots of sheets, if any.
pub fn held(book: &Book, problems: &mut Problems) -> Option<Held> {
    let mut book = Some(book.clone());
    policy::confirm([&mut book, &mut None], problems);
    let book = &book?;
    let stock = find_sheet(book, "Stock", &NEEDED_OF_STOCK, problems)?;
    let sheets = named_sheet(book, "Plate").filter(|sheet| sheet.name != stock.name);
    Some(of(stock, sheets, problems))
}

/// Reads the counts of these two sheets.
pub(super) fn of(stock: &Arc<Sheet>, sheets: Option<&Arc<Sheet>>, problems: &mut Problems) -> Held {
    let mut held = Held::default();
    read(stock, &NEEDED_OF_STOCK, &mut held, problems);
    if let Some(sheets) = sheets.filter(|sheet| !sheet.rows.is_empty()) {
        read(sheets, &NEEDED_OF_PLATE, &mut held, problems);
    }
    held
}

fn read(sheet: &Sheet, needed: &[&str], held: &mut Held, problems: &mut Problems) {
    let Some(table) = Table::find(sheet, needed, problems) else {
        return;
    };
    held.headings.push((sheet.name.clone(), table.heading_row));
    let item = table.needed("Item", problems);
    let on_hand = table.needed("On hand", problems);
    let (Some(item), Some(on_hand)) = (item, on_hand) else {
        return;
    };
    for line in table.lines() {
        let Some(name) = line.needed_text(Some(item), problems) else {
            continue;
        };
        let (count, reserved) = counts(&line, Some(on_hand), problems);
        let unit_cost = line.money(table.optional("Unit cost"), problems);
        let make = MAKE.map(|heading| {
            let found = table.optional(heading);
            let shown = found.and_then(|found| {
                let cell = line.row.cell(found.column)?.show();
                // One length in another spelling or unit is no change.
                let length = Length::parse(&cell, found.unit).ok();
                let length = length.filter(|_| LENGTHS.contains(&heading));
                Some(match (length, found.unit) {
                    (Some(length), _) => show::thickness(length, show::natural_unit(length)),
                    (None, Some(unit)) if cell.parse::<f64>().is_ok() => format!("{cell} {unit}"),
                    (None, _) => cell,
                })
            });
            Stated {
                heading,
                value: shown.unwrap_or_default(),
                place: found.map(|found| line.place(found)),
            }
        });
        let Some(on_hand_count) = count else { continue };
        let lot = CountedLot {
            item: name.clone(),
            on_hand: on_hand_count,
            reserved,
            unit_cost,
            make: Some(make.to_vec()),
            place: line.place(on_hand),
        };
        if let Some(first) = held.counts.add(lot) {
            problems.add(Problem::new(
                line.place(item),
                format!("the item `{name}` a second time"),
                "each item once, regardless of case and spaces",
                format!("add the counts and keep one row, or give the lot a number of its own; the first is counted in {}", first.place),
            ));
        }
    }
}
