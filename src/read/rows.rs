//! Entries of a sheet's table, and hidden rows and columns among them.

use std::collections::{BTreeSet, HashMap, HashSet};

use rust_decimal::prelude::ToPrimitive;

use super::table::{Heading, Table};
use crate::columns::key;
use crate::length::Unit;
use crate::problem::{Problem, Problems, column_letters};
use crate::sheet::{Cell, SheetRow, Span};

/// Words that head a row of totals; common practice, no source.
const TOTALS: [&str; 14] = [
    "total",
    "totals",
    "grandtotal",
    "subtotal",
    "sum",
    "sumtotal",
    "allitems",
    "summe",
    "gesamt",
    "gesamtsumme",
    "zwischensumme",
    "totaal",
    "somme",
    "suma",
];

/// Handling of a row with a lone text.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Lone {
    /// A note, or an entry that was never filled in.
    IsProblem,
    /// An entry whose other values are left at their defaults.
    IsFine,
}

/// Rows below the headings that hold an entry. Units below the headings become the columns' units. Repeated headings
/// and rows of totals are left out with a warning. A row with a lone text is a problem, since a note cannot be told
/// from a lot that was never filled in.
pub(super) fn entries<'a>(
    table: &mut Table<'a>,
    rows: &'a [SheetRow],
    needed: &[&str],
    lone: Lone,
    problems: &mut Problems,
) -> Vec<&'a SheetRow> {
    let mut rows = rows.iter().peekable();
    if let Some(units) = rows.peek().and_then(|row| units(table, row)) {
        take_units(table, units, problems);
        rows.next();
    }
    // Cells beside the table are not part of it.
    let headed: HashSet<u32> = table.headings.iter().map(|h| h.column).collect();
    let mut beside = BTreeSet::new();
    let rows: Vec<&SheetRow> = rows
        .filter(|row| {
            let mut entry = false;
            for (column, _) in &row.cells {
                if headed.contains(column) {
                    entry = true;
                } else {
                    beside.insert(*column);
                }
            }
            entry
        })
        .collect();
    // A heading that is no text, or has neither a letter nor a figure.
    let of_headings = table.sheet.rows.iter().find(|row| row.number == table.heading_row);
    let cells = of_headings.into_iter().flat_map(|row| &row.cells);
    beside.extend(cells.map(|(column, _)| *column).filter(|column| !headed.contains(column)));
    table.bare = beside;
    let names: Vec<Option<u32>> = needed
        .iter()
        .take(2)
        .map(|name| table.optional(name).map(|heading| heading.column))
        .collect();
    let summed = rows.split_last().is_some_and(|(last, above)| is_sum(last, above, &names));
    let last = rows.last().map(|row| row.number);
    let mut entries = Vec::with_capacity(rows.len());
    for row in rows {
        if is_second_table(table, row, needed) {
            let (column, cell) = &row.cells[0];
            problems.add(Problem::new(
                table.place(row.number, *column),
                format!("a second table below the first (`{}`)", cell.show()),
                "one table on a sheet",
                "move it to a sheet of its own, or its rows under the headings of the first",
            ));
            break;
        }
        let left_out = if repeats_headings(table, row) {
            Some("the headings again")
        } else if (summed && last == Some(row.number)) || is_headed_total(row, &names) {
            Some("a row of totals")
        } else {
            None
        };
        let place = |column| table.place(row.number, column);
        if let Some(what) = left_out {
            let (column, cell) = &row.cells[0];
            problems.warn(Problem::new(
                place(*column),
                format!("{what} (`{}`), left out", cell.show()),
                "entries only below the headings",
                "remove the row, if it is what it looks like; else fill in the missing values",
            ));
        } else if let ([(column, cell @ Cell::Text(text))], Lone::IsProblem) =
            (row.cells.as_slice(), lone)
            && number(cell).is_none()
        {
            problems.add(Problem::new(
                place(*column),
                format!("a row with nothing in it but `{text}`"),
                format!("{} in every row", needed.join(", ")),
                "fill in the row; if it is a note, move it above the headings or to another sheet",
            ));
        } else {
            entries.push(row);
        }
    }
    entries
}

/// Units, by column, of a row that holds nothing else.
fn units(table: &Table<'_>, row: &SheetRow) -> Option<Vec<(u32, Unit)>> {
    if row.number != table.heading_row + 1 || row.cells.is_empty() {
        return None;
    }
    let unit = |(column, cell): &(u32, Cell)| {
        let Cell::Text(text) = cell else { return None };
        let bare = text.trim_matches(['(', ')', '[', ']']);
        Some((*column, Unit::parse(bare)?))
    };
    row.cells.iter().map(unit).collect()
}

fn take_units(table: &mut Table<'_>, units: Vec<(u32, Unit)>, problems: &mut Problems) {
    for (column, unit) in units {
        let row = table.heading_row + 1;
        let place = table.place(row, column);
        let Some(heading) = table.headings.iter_mut().find(|h| h.column == column) else {
            continue;
        };
        match heading.unit {
            None => heading.unit = Some(unit),
            Some(other) if other == unit => {}
            Some(other) => problems.add(Problem::new(
                place,
                format!("the unit `{unit}` below the heading `{}`", heading.text),
                format!("one unit per column, here {other}"),
                "correct one of the two",
            )),
        }
    }
}

fn repeats_headings(table: &Table<'_>, row: &SheetRow) -> bool {
    let same = |heading: &Heading| match row.cell(heading.column) {
        Some(Cell::Text(text)) => key(text) == heading.key,
        _ => false,
    };
    table.headings.len() > 1 && table.headings.iter().all(same)
}

/// Whether a row holds the headings of such a table again, in other places or with others beside them.
fn is_second_table(table: &Table<'_>, row: &SheetRow, needed: &[&str]) -> bool {
    let texts = row.cells.iter().filter_map(|(_, cell)| match cell {
        Cell::Text(text) => Some(key(text)),
        _ => None,
    });
    let keys: HashSet<String> = texts.collect();
    let known = |name: &&&str| keys.contains(&key(name));
    let most = needed.iter().filter(known).count();
    needed.len() > 2 && most + 1 >= needed.len() && !repeats_headings(table, row)
}

/// Names a table above the headings, which is not read: rows one below the other with several cells each, a number
/// among them. All else above the headings is a title.
pub(super) fn say_above(table: &Table<'_>, problems: &mut Problems) {
    let above = table.sheet.rows.iter().take_while(|row| row.number < table.heading_row);
    let several: Vec<&SheetRow> = above.filter(|row| row.cells.len() > 1).collect();
    let follow = several.windows(2).any(|two| two[1].number == two[0].number + 1);
    let holds_number =
        several.iter().flat_map(|row| &row.cells).any(|(_, cell)| number(cell).is_some());
    if let (Some(first), true) = (several.first(), follow && holds_number) {
        problems.warn(Problem::new(
            table.place(first.number, first.cells[0].0),
            "a table above the headings, which is not read",
            "a title above the headings, and nothing else",
            "move it to a sheet of its own; if it should count, put its rows below the headings",
        ));
    }
}

/// Whether a row is headed as a total, is missing the name or kind that an entry needs, and otherwise holds only
/// numbers.
fn is_headed_total(row: &SheetRow, names: &[Option<u32>]) -> bool {
    let is_word = |cell: &Cell| match cell {
        // Also with the counted thing after the word: `Total pieces`.
        Cell::Text(text) => {
            let word = text.split_whitespace().next().unwrap_or_default();
            TOTALS.contains(&key(text).as_str()) || TOTALS.contains(&key(word).as_str())
        }
        _ => false,
    };
    let is_text = |cell: &Cell| matches!(cell, Cell::Text(_)) && number(cell).is_none();
    let lacks = |column: &Option<u32>| match column {
        Some(column) => row.cell(*column).is_none_or(is_word),
        None => false,
    };
    let cells = || row.cells.iter().map(|(_, cell)| cell);
    cells().any(is_word) && cells().all(|c| is_word(c) || !is_text(c)) && names.iter().all(lacks)
}

/// Whether a nameless last row holds only sums of the numbers above it.
fn is_sum(last: &SheetRow, above: &[&SheetRow], names: &[Option<u32>]) -> bool {
    let nameless = names.iter().flatten().all(|c| last.cell(*c).is_none());
    if !nameless || above.len() < 2 {
        return false;
    }
    let mut sums: HashMap<u32, f64> = HashMap::new();
    for (column, cell) in above.iter().flat_map(|row| &row.cells) {
        if let Some(number) = number(cell) {
            *sums.entry(*column).or_default() += number;
        }
    }
    let is = |(column, cell): &(u32, Cell)| match cell {
        Cell::Uncalculated(formula) => {
            let formula = formula.to_uppercase();
            formula.starts_with("SUM(") || formula.starts_with("SUBTOTAL(")
        }
        cell => number(cell).is_some_and(|number| {
            let sum = sums.get(column).copied().unwrap_or(0.0);
            (number - sum).abs() <= 1e-9 * sum.abs()
        }),
    };
    let any = last.cells.iter().any(|(_, cell)| number(cell) != Some(0.0));
    any && last.cells.iter().all(is)
}

/// Number in a cell, also one stored as text.
fn number(cell: &Cell) -> Option<f64> {
    match cell {
        Cell::Number(number) | Cell::Shown { stored: number, .. } => Some(*number),
        Cell::Text(text) => crate::decimal::parse(text)?.to_f64(),
        _ => None,
    }
}

/// Refuses merged cells inside the table. Only the first of them holds the value; the others would be read as empty,
/// which for some columns means a default.
pub(super) fn refuse_merged(table: &Table<'_>, problems: &mut Problems) {
    let rows: Vec<u32> = table.rows.iter().map(|row| row.number).collect();
    let mut columns: Vec<u32> = table.headings.iter().map(|h| h.column).collect();
    columns.sort_unstable();
    let inside = |all: &[u32], span: Span| {
        let from = all.partition_point(|number| *number < span.first);
        let to = all.partition_point(|number| *number <= span.last);
        to.saturating_sub(from)
    };
    for merged in &table.sheet.merged {
        let (first_row, first_column) = (merged.rows.first, merged.columns.first);
        let place = table.place(first_row, first_column);
        let address = |row, column| crate::problem::address(row, column);
        let range = format!(
            "{} to {}",
            address(first_row, first_column),
            address(merged.rows.last, merged.columns.last)
        );
        if merged.rows.contains(table.heading_row) {
            let bare = table.bare.range(first_column..=merged.columns.last).next();
            let heading = table.headings.iter().find(|h| h.column == first_column);
            if let (Some(_), Some(heading)) = (bare, heading) {
                let name = &heading.text;
                problems.add(Problem::new(
                    place,
                    format!("the heading `{name}` over several columns, the cells {range} merged"),
                    "a heading for each column",
                    format!(
                        "unmerge them and head each column, readings as `{name} 1`, `{name} 2`"
                    ),
                ));
            }
            continue;
        }
        let (down, across) = (inside(&rows, merged.rows), inside(&columns, merged.columns));
        if (down > 1 && across > 0) || (down > 0 && across > 1) {
            problems.add(Problem::new(
                place,
                format!("the cells {range} merged into one"),
                "a value in each row and column",
                "unmerge them and fill in each cell",
            ));
        }
    }
}

/// Reports which rows and columns that are read are hidden.
pub(super) fn say_hidden(table: &Table<'_>, problems: &mut Problems) {
    let sheet = table.sheet;
    if sheet.hidden {
        problems.warn(Problem::new(
            sheet.whole(),
            "a hidden sheet, which is read",
            "a sheet in sight",
            "show it to check it, or rename it if it should not count",
        ));
    }
    let rows: Vec<u32> = table.rows.iter().map(|row| row.number).collect();
    let hidden = among(&rows, &sheet.hidden_rows);
    if let Some((first, text)) = listed(&hidden, |row| (row + 1).to_string()) {
        let column = table.headings.first().map_or(0, |heading| heading.column);
        problems.warn(Problem::new(
            table.place(first, column),
            format!("rows that are hidden, by hand or by a filter: {text}"),
            "rows in sight; those hidden are read like the others",
            "show them to check them, and remove those that should not count",
        ));
    }
    let struck = among(&rows, &sheet.struck_rows);
    if let Some((first, text)) = listed(&struck, |row| (row + 1).to_string()) {
        let column = table.headings.first().map_or(0, |heading| heading.column);
        problems.warn(Problem::new(
            table.place(first, column),
            format!("rows with a value struck through, or in the colour of its ground: {text}"),
            "rows that count, in plain sight; these are read like the others",
            "remove those that should not count, and show the others plainly",
        ));
    }
    let mut columns: Vec<u32> = table.headings.iter().map(|h| h.column).collect();
    columns.sort_unstable();
    let hidden = among(&columns, &sheet.hidden_columns);
    if let Some((first, text)) = listed(&hidden, column_letters) {
        problems.warn(Problem::new(
            table.place(table.heading_row, first),
            format!("columns that are hidden: {text}"),
            "columns in sight; those hidden are read like the others",
            "show them to check them",
        ));
    }
}

/// Ascending numbers that lie in the spans, joined where they are neighbours in this list.
fn among(numbers: &[u32], spans: &[Span]) -> Vec<Span> {
    let mut found: Vec<Span> = Vec::new();
    let mut before = false;
    let mut sorted = spans.to_vec();
    sorted.sort_unstable_by_key(|span| span.first);
    for &number in numbers {
        let at = sorted.partition_point(|span| span.first <= number);
        let inside = at > 0 && sorted[at - 1].contains(number);
        match found.last_mut() {
            Some(span) if inside && before => span.last = number,
            _ if inside => found.push(Span { first: number, last: number }),
            _ => {}
        }
        before = inside;
    }
    found
}

/// First number, and all the spans in words; `None` if there are none.
fn listed(spans: &[Span], show: impl Fn(u32) -> String) -> Option<(u32, String)> {
    const MOST: usize = 8;
    let first = spans.first()?.first;
    let mut words: Vec<String> = spans
        .iter()
        .take(MOST)
        .map(|span| {
            if span.first == span.last {
                show(span.first)
            } else {
                format!("{} to {}", show(span.first), show(span.last))
            }
        })
        .collect();
    if let Some(more @ 1..) = spans.len().checked_sub(MOST) {
        words.push(format!("and {more} more"));
    }
    Some((first, words.join(", ")))
}
