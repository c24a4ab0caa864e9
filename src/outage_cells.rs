//! Dimensions that were booked, in the cells of the pump workbook.
//!
//! A booked dimension stands until its cell says something else than when it was booked: then both are listed, and the pump
//! is not planned before they agree. Where its pieces are out, nothing is planned.

use std::sync::Arc;

use crate::columns::{self, NEEDED_OF_PUMPS};
use crate::issue::key;
use crate::length::Length;
use crate::model::Model;
use crate::outage::{MeasuredDimension, Outage, OutagePump};
use crate::problem::{Problem, Problems};
use crate::sheet::{Book, Cell, Sheet};

/// Name in the model of a dimension that people name by it or by its label.
pub fn dimension<'a>(model: &'a Model, what: &str) -> Option<&'a str> {
    let wanted = columns::key(what);
    let mut dimensions = model.dimensions.iter();
    let found = dimensions
        .find(|known| [&known.name, &known.label].iter().any(|name| columns::key(name) == wanted));
    found.map(|known| known.name.as_str())
}

/// Key of the heading of a dimension's column, and the contents of a pump's cell in it. `None` where it has no column of
/// its own, as with several readings.
pub fn cell(book: &Book, model: &Model, tag: &str, what: &str) -> Option<(String, String)> {
    let known = model.dimensions.iter().find(|known| known.name == what)?;
    let names = [&known.name, &known.label].map(|name| columns::key(name));
    book.sheets.iter().find_map(|sheet| {
        names.iter().find_map(|heading| {
            let (row, column) = place(sheet, tag, heading)?;
            Some((heading.clone(), contents(sheet, row, column)))
        })
    })
}

/// Puts the booked dimensions into their cells. A cell that neither is as it was nor has the booked value is a problem where
/// the pump's pieces are out; else a warning, and the pump counts as not measured.
pub fn fill(book: &mut Book, outage: &Outage, problems: &mut Problems) {
    for pump in outage.pumps() {
        for figure in &pump.measured {
            for sheet in &mut book.sheets {
                if let Some(place) = place(sheet, &pump.tag, &figure.heading) {
                    fill_one(sheet, place, pump, figure, problems);
                }
            }
        }
    }
}

fn fill_one(
    sheet: &mut Arc<Sheet>,
    (row, column): (usize, u32),
    pump: &OutagePump,
    figure: &MeasuredDimension,
    problems: &mut Problems,
) {
    let now = contents(sheet, row, column);
    let number = sheet.rows[row].number;
    let tag = &pump.tag;
    if now == figure.cell {
        let sheet = Arc::make_mut(sheet);
        let cells = &mut sheet.rows[row].cells;
        let value = Cell::Text(figure.value.clone());
        match cells.binary_search_by_key(&column, |(column, _)| *column) {
            Ok(at) => cells[at].1 = value,
            Err(at) => cells.insert(at, (column, value)),
        }
        return;
    }
    let length = |text: &str| Length::parse(text, unit_of(sheet, &figure.heading)).ok();
    if length(&now).is_some() && length(&now) == length(&figure.value) {
        return;
    }
    let shown = if now.is_empty() { "an empty cell".to_string() } else { format!("`{now}`") };
    let problem = Problem::new(
        sheet.place(number, column),
        format!("{shown}, changed since {} was booked for {tag}: `{}`", figure.what, figure.value),
        "one figure, in the workbook and booked",
        format!(
            "type `{}` if that holds; if the cell holds, book `reading {tag} \"{}\"` with its value",
            figure.value, figure.what
        ),
    );
    if !pump.state.is_in_play() {
        problems.add(problem);
        return;
    }
    problems.warn(problem);
    Arc::make_mut(sheet).rows[row].cells.retain(|(of, _)| *of != column);
}

/// Row among the rows, and column, of a pump's cell below a heading.
fn place(sheet: &Sheet, tag: &str, heading: &str) -> Option<(usize, u32)> {
    let (top, tags) = sheet.rows.iter().enumerate().find_map(|(at, row)| {
        let of = |wanted: &str| column(row.cells.as_slice(), &columns::key(wanted));
        let all = NEEDED_OF_PUMPS.iter().all(|needed| of(needed).is_some());
        all.then(|| of("Tag")).flatten().map(|column| (at, column))
    })?;
    let column = column(&sheet.rows[top].cells, heading)?;
    let mut rows = sheet.rows.iter().enumerate().skip(top + 1);
    let (row, _) =
        rows.find(|(_, row)| row.cell(tags).is_some_and(|cell| key(&cell.show()) == key(tag)))?;
    Some((row, column))
}

fn column(cells: &[(u32, Cell)], heading: &str) -> Option<u32> {
    cells.iter().find(|(_, cell)| columns::key(&cell.show()) == heading).map(|(column, _)| *column)
}

fn contents(sheet: &Sheet, row: usize, column: u32) -> String {
    sheet.rows[row].cell(column).map(Cell::show).unwrap_or_default()
}

/// Unit in the heading of a column, for a cell without one.
fn unit_of(sheet: &Sheet, heading: &str) -> Option<crate::length::Unit> {
    let cells = sheet.rows.iter().flat_map(|row| &row.cells);
    let mut headings =
        cells.map(|(_, cell)| cell.show()).filter(|text| columns::key(text) == heading);
    let text = headings.next()?;
    let (_, rest) = text.split_once('(')?;
    crate::length::Unit::parse(rest.split(')').next()?)
}
