//! The text that cells show, and the reading of ordinary-looking cells, in every kind of file.

use std::fs;
use std::path::Path;

use gapwright::length::Length;
use gapwright::problem::{Problems, Spot};
use gapwright::read::{Memory, Stock, stock_alone, workbook};
use gapwright::sheet::{Cell, Span};

use crate::probes::{Column, HEADINGS, PROBES, Probe, Read, sheets};
use crate::{binary, book};

/// Blanks and line ends as one blank; a minus close to its number.
fn plain(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ").replace("- ", "-")
}

/// Source of the shown texts: LibreOffice, by `tests/formats/record.rs`; `.ci/run` makes them again.
#[test]
fn every_format_that_is_understood_shows_what_a_spreadsheet_program_shows() {
    let table = fs::read_to_string("tests/formats/shown.tsv").unwrap();
    let bytes = book::table(&table).unwrap();
    let book = workbook("table.xlsx", bytes, &mut Memory::default()).unwrap();
    let rows = &book.sheets[0].rows;
    let (mut same, mut dates, mut unclear) = (0, 0, Vec::new());
    for (number, line) in (0..).zip(table.lines()) {
        let parts: Vec<&str> = line.split('\t').collect();
        let [format, value, shown] = parts[..] else { panic!("{line}") };
        let cell = rows.iter().find(|row| row.number == number).and_then(|row| row.cell(1));
        match cell {
            Some(Cell::Date { .. }) => dates += 1,
            Some(Cell::Doubtful { hidden: false, .. }) => unclear.push(format),
            Some(Cell::Doubtful { hidden: true, .. }) => {
                assert!(plain(shown).is_empty() || shown.starts_with('#'), "{format} {value}");
                same += 1;
            }
            Some(cell) => {
                assert_eq!(plain(&cell.show()), plain(shown), "`{format}` of {value}");
                same += 1;
            }
            None => panic!("no cell for {line}"),
        }
    }
    // An ordinary format is never given up on.
    for code in ["0.000", "0.00\" mm\"", "#,##0.00", "0.0%", "000", "0.000 [$in]", "0.0;-0.0;0"] {
        assert!(!unclear.contains(&code), "{code}");
    }
    assert!(same >= 3_250, "{same} alike, {dates} dates, {} not understood", unclear.len());
}

/// Reading of a probe, with its stored digits or of its text alone; `None` where it is refused.
fn expected(probe: &Probe, has_digits: bool) -> Option<&'static str> {
    match (&probe.4, has_digits) {
        (Read::As(value), _) | (Read::Digits(value, _), true) | (Read::Digits(_, value), false) => {
            Some(value)
        }
        (Read::NotDigits(value), false) | (Read::NotText(value), true) => Some(value),
        (Read::Not | Read::NotDigits(_) | Read::NotText(_), _) => None,
    }
}

fn read(name: &str, bytes: Vec<u8>) -> Result<Stock, Problems> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    fs::write(&path, bytes).unwrap();
    stock_alone(&path, None, &mut Memory::default())
}

/// Checks a file of which every row must be read.
fn is_read(name: &str, bytes: Vec<u8>, probes: &[&Probe], has_digits: bool) {
    if has_digits {
        let book = workbook(name, bytes.clone(), &mut Memory::default()).unwrap();
        let struck = Span { first: book::STRUCK, last: book::STRUCK };
        assert_eq!(book.sheets[0].struck_rows, [struck], "{name}");
    }
    let stock = read(name, bytes).unwrap_or_else(|p| panic!("{name}: {:#?}", p.sorted()));
    let said = stock.warnings.iter().any(|w| w.found.contains("struck through"));
    assert_eq!(said, has_digits, "{name}");
    assert_eq!(stock.lots.len(), probes.len());
    for (lot, probe) in stock.lots.iter().zip(probes) {
        let what = format!("{name}: `{}` of {}", probe.1, probe.2);
        let wanted = expected(probe, has_digits).unwrap();
        match probe.0 {
            Column::Item => assert_eq!(lot.item, wanted, "{what}"),
            Column::Fit => assert_eq!(lot.fit.as_str(), wanted, "{what}"),
            Column::Thickness => {
                let wanted = Length::parse(wanted, None).unwrap();
                assert_eq!(lot.size.as_ref().unwrap().thickness, wanted, "{what}");
            }
            Column::Count => assert_eq!(lot.on_hand.to_string(), wanted, "{what}"),
            Column::Price => assert_eq!(lot.unit_cost.to_string(), wanted, "{what}"),
        }
    }
}

/// Checks a file of which every row must be refused, at the probed cell.
fn is_refused(name: &str, bytes: Vec<u8>, probes: &[&Probe]) {
    let problems = read(name, bytes).expect_err(name);
    let sorted = problems.sorted();
    for (row, probe) in (1..).zip(probes) {
        let column = u32::from(probe.column());
        let is_here = |spot: &Spot| matches!(spot, Spot::Cell { row: r, column: c, .. } if *r == row && *c == column);
        let here = sorted.iter().any(|problem| is_here(&problem.place.spot));
        assert!(here, "{name}: `{}` of {} was taken", probe.1, probe.2);
    }
}

#[test]
fn ordinary_looking_cells_are_read_as_they_show_or_refused() {
    let [good, bad] = sheets();
    is_read("stock.xlsx", book::stock(&good).unwrap(), &good, true);
    is_refused("stock.xlsx", book::stock(&bad).unwrap(), &bad);
    is_read("stock.xlsm", book::stock(&good).unwrap(), &good, true);
    is_read("stock.xlsb", binary::stock(&good), &good, true);
    is_refused("stock.xlsb", binary::stock(&bad), &bad);
    // Made by LibreOffice of the .xlsx above, by the commands at the head of `record.rs`.
    for kind in ["xls", "ods"] {
        let file = |which: &str| {
            fs::read(Path::new("tests/formats").join(format!("probes-{which}.{kind}"))).unwrap()
        };
        is_read(&format!("stock.{kind}"), file("read"), &good, true);
        is_refused(&format!("stock.{kind}"), file("refused"), &bad);
    }
}

/// A text file has what is shown, and no digits behind it.
#[test]
fn a_text_file_is_read_as_it_shows() {
    let (good, bad): (Vec<&Probe>, Vec<&Probe>) =
        PROBES.iter().partition(|probe| expected(probe, false).is_some());
    let file = |probes: &[&Probe]| {
        let mut text = HEADINGS.join(",") + "\n";
        for (row, probe) in (1..).zip(probes) {
            let mut values = book::good(row).map(|value| value.replace('\'', ""));
            values[usize::from(probe.column())] = probe.3.trim().replace('"', "\"\"");
            text += &(values.map(|value| format!("\"{value}\"")).join(",") + "\n");
        }
        text.into_bytes()
    };
    is_read("stock.csv", file(&good), &good, false);
    is_refused("stock.csv", file(&bad), &bad);
}
