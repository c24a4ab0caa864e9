//! Nothing is passed over: every cell that is not empty is used, a heading, listed as unused, a title, or named in a
//! problem or a warning.

use std::collections::BTreeSet;
use std::path::Path;

use gapwright::problem::{Problem, Spot};
use gapwright::read::{Ahead, Memory, Sources, book, forecast, job, job_of};
use gapwright::sheet::{Book, Cell, Sheet, SheetRow};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::{PUMPS, STOCK};

/// Letters of a column, from 0.
fn letters(column: u32) -> String {
    gapwright::problem::address(0, column).trim_end_matches('1').to_string()
}

/// Whether a list of unused things or of problems accounts for a cell.
fn is_named(sheet: &Sheet, (row, column): (u32, u32), unused: &[String], said: &[Problem]) -> bool {
    let own = format!("column {} of sheet {}, which has no heading", letters(column), sheet.name);
    let sheet_unused = format!("sheet {} of", sheet.name);
    let headings = sheet.rows.iter().filter_map(|row| match row.cell(column) {
        Some(Cell::Text(text)) => Some(format!("column `{text}` of sheet {}", sheet.name)),
        _ => None,
    });
    let names: Vec<String> = headings.chain([own, sheet_unused]).collect();
    let listed = unused.iter().any(|line| names.iter().any(|name| line.starts_with(name)));
    let in_row = |spot: &Spot| match spot {
        Spot::Cell { sheet: name, row: r, .. } => *name == sheet.name && *r == row,
        _ => false,
    };
    listed || said.iter().any(|problem| in_row(&problem.place.spot))
}

/// Headings that have a use, by the text before their brackets.
fn is_used(heading: &str) -> bool {
    const USED: [&str; 12] = [
        "Item",
        "Kind",
        "Fit",
        "Thickness",
        "Tolerance",
        "On hand",
        "Reserved",
        "Tag",
        "Model",
        "Priority",
        "Bearing shims fit",
        "Cover gasket fit",
    ];
    const DIMENSIONS: [&str; 2] = ["Bare clearance", "Snap ring"];
    let bare = heading.split('(').next().unwrap_or_default().trim();
    USED.contains(&bare) || DIMENSIONS.contains(&bare)
}

fn parsed(name: &str, text: &str) -> Book {
    gapwright::read::workbook(name, text.as_bytes().to_vec(), &mut Memory::default()).unwrap()
}

/// Puts a cell into a sheet.
fn put(sheet: &mut Sheet, (row, column): (u32, u32), cell: Cell) {
    let at = match sheet.rows.binary_search_by_key(&row, |row| row.number) {
        Ok(at) => at,
        Err(at) => {
            sheet.rows.insert(at, SheetRow { number: row, cells: Vec::new() });
            at
        }
    };
    let cells = &mut sheet.rows[at].cells;
    match cells.binary_search_by_key(&column, |(column, _)| *column) {
        Ok(at) => cells[at].1 = cell,
        Err(at) => cells.insert(at, (column, cell)),
    }
}

/// A sheet moved down, for room above its headings.
fn lowered(mut book: Book, rows: u32) -> Book {
    for sheet in &mut book.sheets {
        for row in &mut std::sync::Arc::make_mut(sheet).rows {
            row.number += rows;
        }
    }
    book
}

#[test]
fn no_cell_of_a_random_sheet_is_passed_over() {
    let mut random = ChaCha8Rng::seed_from_u64(19);
    let (mut read, mut refused) = (0, 0);
    for _ in 0..1_000 {
        let top = random.random_range(0..4);
        let mut stock = lowered(parsed("stock.csv", STOCK), top);
        let mut pumps = lowered(parsed("pumps.csv", PUMPS), top);
        let mut added: Vec<(bool, (u32, u32))> = Vec::new();
        for _ in 0..random.random_range(1..6) {
            let in_stock = random.random_bool(0.5);
            let at = (random.random_range(0..top + 8), random.random_range(0..11));
            let cell = match random.random_range(0..6) {
                0 => Cell::Number(f64::from(random.random_range(0..99)) / 8.0),
                1 => Cell::Text("Qty".into()),
                2 => Cell::Text("see note".into()),
                3 => Cell::Bool(true),
                4 => Cell::Date { serial: 46_432.0, iso: "2027-02-14".into() },
                _ => Cell::Text("Colour".into()),
            };
            let book = if in_stock { &mut stock } else { &mut pumps };
            put(std::sync::Arc::make_mut(&mut book.sheets[0]), at, cell);
            added.push((in_stock, at));
        }
        let sheets = [pumps.sheets[0].clone(), stock.sheets[0].clone()];
        match job_of(stock, pumps, &Sources::default()) {
            Err(problems) => {
                refused += 1;
                assert!(problems.count() > 0);
            }
            Ok(job) => {
                read += 1;
                for (in_stock, (row, column)) in added {
                    let sheet = &sheets[usize::from(in_stock)];
                    let heading = sheet.rows.iter().find(|line| line.number == top);
                    let heading = heading.and_then(|line| line.cell(column));
                    let used = matches!(heading, Some(Cell::Text(text)) if is_used(text));
                    let title = row < top;
                    assert!(
                        title || used || is_named(sheet, (row, column), &job.unused, &job.warnings),
                        "{} {}: {:?} {:?}\n{sheet:#?}",
                        sheet.name,
                        gapwright::problem::address(row, column),
                        job.unused,
                        job.warnings
                    );
                }
            }
        }
    }
    assert!(read > 100 && refused > 100, "{read} read, {refused} refused");
}

#[test]
fn no_cell_of_the_samples_is_passed_over() {
    for files in [
        &["samples/tiny/stock.csv", "samples/tiny/pumps.csv"][..],
        &["samples/outage/stock.xlsx", "samples/outage/pumps.xlsx"],
        &["samples/purchase/stock.csv", "samples/purchase/pumps.csv"],
        &[
            "samples/provision/stock.xlsx",
            "samples/provision/pumps.xlsx",
            "samples/provision/past.xlsx",
        ],
    ] {
        let sources =
            Sources { stock: files[0].into(), pumps: files[1].into(), ..Sources::default() };
        // Past readings are for pumps that are not measured yet.
        let read = match files.get(2) {
            None => job(&sources),
            Some(past) => {
                let ahead = Ahead { history: Some(past.into()), ..Ahead::default() };
                forecast(&Sources { ahead, ..sources }).map(|forecast| forecast.into_parts().0)
            }
        };
        let read = read.unwrap_or_else(|problems| panic!("{:#?}", problems.sorted()));
        let books = files.iter().map(|file| book(Path::new(file), &mut Memory::default()).unwrap());
        let mut cells = 0;
        for sheet in books.flat_map(|book| book.sheets) {
            // The heading row is the first with as many texts as the sheet is wide.
            let width = sheet.rows.iter().map(|row| row.cells.len()).max().unwrap_or(0);
            let heading = sheet.rows.iter().find(|row| row.cells.len() == width).unwrap();
            let headed: BTreeSet<u32> = heading.cells.iter().map(|(column, _)| *column).collect();
            for row in sheet.rows.iter().filter(|row| row.number > heading.number) {
                for (column, _) in &row.cells {
                    cells += 1;
                    let at = (row.number, *column);
                    assert!(
                        headed.contains(column)
                            || is_named(&sheet, at, &read.unused, &read.warnings),
                        "{files:?}: {}",
                        gapwright::problem::reference(&sheet.name, row.number, *column)
                    );
                }
            }
        }
        assert!(cells > 20, "{files:?}: {cells} cells");
    }
}
