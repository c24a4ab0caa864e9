//! Dimensions that were booked, in the cells of the pump workbook.
//!
//! A booked dimension stands until its cell says something else than when it was booked: then both are listed, and the pump
//! is not planned before they agree. Where its pieces are out, nothing is planned.

use std::sync::Arc;

use crate::columns;
use crate::length::{Length, Unit};
use crate::model::{Dimension, Model};
use crate::outage::{Booking, BookingRefusal, MeasuredDimension, Outage, OutagePump};
use crate::problem::{Problem, Problems};
use crate::pump_cells::{CellAt, PumpCells, contents, put};
use crate::sheet::{Book, Sheet};

/// Name in the model of a dimension that people name by it or by its label; of several readings, with the number of the
/// one that they name: `bare_clearance 2`.
pub fn dimension(model: &Model, what: &str) -> Option<String> {
    let (known, number) = named(model, what)?;
    Some(numbered(&known.name, number))
}

fn numbered(name: &str, number: Option<u32>) -> String {
    number.map_or_else(|| name.to_string(), |number| format!("{name} {number}"))
}

fn named<'a>(model: &'a Model, what: &str) -> Option<(&'a Dimension, Option<u32>)> {
    let wanted = columns::key(what);
    let names = |known: &Dimension| [&known.name, &known.label].map(|name| columns::key(name));
    let whole = model.dimensions.iter().find(|known| names(known).contains(&wanted));
    whole.map(|known| (known, None)).or_else(|| {
        model.dimensions.iter().find_map(|known| {
            let number = |front: &String| wanted.strip_prefix(front.as_str())?.parse().ok();
            Some((known, Some(names(known).iter().find_map(number)?)))
        })
    })
}

/// Key of the heading of a dimension's column, and the contents of a pump's cell in it. `None` where it has no column of
/// its own, as with several readings of which none is named.
pub fn cell(book: &Book, model: &Model, tag: &str, what: &str) -> Option<(String, String)> {
    let (known, number) = named(model, what)?;
    let names = [&known.name, &known.label].map(|name| columns::key(&numbered(name, number)));
    book.sheets.iter().find_map(|sheet| {
        names.iter().find_map(|heading| {
            let at = PumpCells::of(sheet)?.at(tag, heading)?;
            Some((heading.clone(), contents(sheet, at)))
        })
    })
}

/// Booking of a dimension that was measured, with the cell that has it in the pump workbook as it was taken over.
///
/// # Errors
/// [`BookingRefusal`]: a value that is no length with its unit, or a dimension without a cell of its own.
pub fn measured(
    book: &Book,
    model: &Model,
    [tag, what, value]: [&str; 3],
) -> Result<Booking, BookingRefusal> {
    if let Err(error) = Length::parse(value, None) {
        return Err(BookingRefusal {
            found: format!("`{value}`: {error}"),
            expected: "a length with its unit, such as `0.0412 in` or `1.046 mm`".into(),
            fix: "type it again, with its unit".into(),
        });
    }
    let Some((heading, cell)) = cell(book, model, tag, what) else {
        return Err(BookingRefusal {
            found: format!("`{what}` of {tag}, which has no cell of its own in the pump workbook"),
            expected: "a dimension with one column, or one of its readings".into(),
            fix: format!(
                "name a reading, as `{what} 1`; or type it into the pump workbook, then run `gapwright kit --outage`"
            ),
        });
    };
    let [tag, what, value] = [tag, what, value].map(String::from);
    Ok(Booking::Measured { tag, what, value, heading, cell })
}

/// Puts the booked dimensions into their cells. A cell that neither is as it was nor has the booked value is a problem where
/// the pump's pieces are out; else a warning, and the pump counts as not measured.
pub fn fill(book: &mut Book, outage: &Outage, problems: &mut Problems) {
    for sheet in &mut book.sheets {
        let Some(cells) = PumpCells::of(sheet) else { continue };
        for pump in outage.pumps() {
            for figure in &pump.measured {
                if let Some(at) = cells.at(&pump.tag, &figure.heading) {
                    fill_one(sheet, at, pump, figure, problems);
                }
            }
        }
    }
}

fn fill_one(
    sheet: &mut Arc<Sheet>,
    at: CellAt,
    pump: &OutagePump,
    figure: &MeasuredDimension,
    problems: &mut Problems,
) {
    let now = contents(sheet, at);
    let number = sheet.rows[at.0].number;
    let tag = &pump.tag;
    if now == figure.cell {
        put(Arc::make_mut(sheet), at, &figure.value);
        return;
    }
    let length = |text: &str| Length::parse(text, unit_of(sheet, &figure.heading)).ok();
    if length(&now).is_some() && length(&now) == length(&figure.value) {
        return;
    }
    let shown = if now.is_empty() { "an empty cell".to_string() } else { format!("`{now}`") };
    let problem = Problem::new(
        sheet.place(number, at.1),
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
    put(Arc::make_mut(sheet), at, "");
}

fn unit_of(sheet: &Sheet, heading: &str) -> Option<Unit> {
    let cells = sheet.rows.iter().flat_map(|row| &row.cells);
    let mut headings =
        cells.map(|(_, cell)| cell.show()).filter(|text| columns::key(text) == heading);
    unit_in(&headings.next()?)
}

/// Unit in the heading of a column, for a cell without one: `Bare clearance (in)`.
pub fn unit_in(heading: &str) -> Option<Unit> {
    let (_, rest) = heading.split_once('(')?;
    Unit::parse(rest.split(')').next()?)
}
