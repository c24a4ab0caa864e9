//! Every kind of workbook gives equal cells: compared with the typed values, and with the tables that the general
//! reader (calamine) gives for well-made files.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::cast_possible_truncation, missing_docs)]

mod again;
mod binary;
mod book;
mod probes;
mod shown;
mod sight;

use std::path::Path;

use calamine::{Data, Reader};
use gapwright::read::{Memory, book, workbook};
use gapwright::sheet::{Book, Cell, Merged, Sheet, Span};

fn read(name: &str) -> Book {
    let path = Path::new("tests/formats").join(name);
    book(&path, &mut Memory::default()).unwrap_or_else(|problems| panic!("{:?}", problems.sorted()))
}

/// The cells in reading order, as `address: value`.
fn cells(sheet: &Sheet) -> Vec<String> {
    let rows = sheet.rows.iter();
    rows.flat_map(|row| {
        row.cells.iter().map(|(column, cell)| {
            let at = gapwright::problem::address(row.number, *column);
            format!("{at}: {}", shown(cell))
        })
    })
    .collect()
}

/// A value with its kind.
fn shown(cell: &Cell) -> String {
    let kind = match cell {
        Cell::Number(_) | Cell::Shown { .. } => "number",
        Cell::Doubtful { .. } => "doubtful",
        Cell::Text(_) => "text",
        Cell::Bool(_) => "bool",
        Cell::Date { .. } => "date",
        Cell::Error(_) => "error",
        Cell::Uncalculated(_) => "formula",
    };
    format!("{kind} {}", cell.show())
}

/// Values that `make.py` typed, with the results of the formulas; E10 and G10 are the formulas C1/0, 6/2.
const SHOP: &str = "\
A1: text Invented stores list, week 12
A2: text counted on
D2: date 2027-03-01
B5: text Item
C5: text Kind
D5: text Fit
E5: text Thickness (in)
F5: text Tolerance (in)
G5: text On hand
H5: text Reserved
I5: text Bin
J5: text Seen
B7: text S-005
C7: text shim
D7: text F1
E7: number 0.005
F7: number 0.0002
G7: number 12
H7: number 0
I7: text A1
J7: date 2027-02-14
B8: text S-010
C8: text shim
D8: text F1
E8: number 0.01
F8: number 0.0002
G8: number 12
H8: number 1
I8: text A2
J8: bool yes
B9: text S-1/64
C9: text shim
D9: text F1
E9: text 1/64 in
F9: number 0.0002
G9: number 7
H9: number 0
I9: text A10
J9: bool no
B10: text S-020
C10: text shim
D10: text F1
E10: error #DIV/0!
F10: number 0.0002
G10: number 3
H10: number 0
I10: text A11
B11: text S-\u{b5} & <25>
C11: text shim
D11: text F1
E11: text 0,025 mm
F11: text \u{b1}0.001 mm
G11: number -3
H11: number 0
I11: text A12
J11: number 0.0000001";

#[test]
fn every_kind_of_workbook_gives_the_same_cells() {
    for kind in ["xlsx", "xls", "ods"] {
        let book = read(&format!("shop.{kind}"));
        let names: Vec<_> = book.sheets.iter().map(|s| s.name.as_str()).collect();
        assert_eq!(names, ["Stock", "Old", "Empty"], "{kind}");
        let [stock, old, empty] = book.sheets.as_slice() else { unreachable!() };
        let found = cells(stock);
        assert_eq!(found, SHOP.lines().collect::<Vec<_>>(), "{kind}");
        assert_eq!(cells(old), ["A1: text not in use"], "{kind}");
        assert!(empty.rows.is_empty() && !empty.hidden, "{kind}");
        assert!(old.hidden && !stock.hidden, "{kind}");
        assert_eq!(stock.hidden_rows, [Span { first: 7, last: 8 }], "{kind}");
        assert_eq!(stock.hidden_columns, [Span { first: 7, last: 7 }], "{kind}");
        let merged = [Merged::of([0, 0], [0, 5]), Merged::of([1, 0], [2, 2])];
        assert_eq!(stock.merged.len(), merged.len(), "{kind}");
        assert!(merged.iter().all(|m| stock.merged.contains(m)), "{kind}");
    }
}

#[test]
fn a_formula_that_was_never_worked_out_has_no_value() {
    let book = read("typed.xlsx");
    let found = cells(&book.sheets[0]);
    for formula in
        ["G8: formula =3*4", "E10: formula =C1/0", "G10: formula =6/2", "I10: formula =\"A\"&11"]
    {
        assert!(found.iter().any(|cell| cell == formula), "{formula}");
    }
}

/// Cells that the general reader finds, as far as it has these kinds.
fn by_the_general_reader<R: Reader<std::io::BufReader<std::fs::File>>>(name: &str) -> Vec<String>
where
    R::Error: std::fmt::Debug,
{
    let mut book: R = calamine::open_workbook(Path::new("tests/formats").join(name)).unwrap();
    let range = book.worksheet_range("Stock").unwrap();
    let (row, column) = range.start().unwrap();
    let found = range.used_cells().map(|(r, c, data)| {
        let at = |n: usize, start: u32| start + u32::try_from(n).unwrap();
        let at = gapwright::problem::address(at(r, row), at(c, column));
        let value = match data {
            Data::Float(number) => format!("number {}", Cell::Number(*number).show()),
            Data::Int(number) => format!("number {number}"),
            Data::String(text) if text.starts_with('#') => format!("error {text}"),
            Data::String(text) => format!("text {}", text.trim()),
            Data::Bool(yes) => format!("bool {}", if *yes { "yes" } else { "no" }),
            Data::DateTime(date) => {
                let (y, m, d, ..) = date.to_ymd_hms_milli();
                format!("date {y:04}-{m:02}-{d:02}")
            }
            Data::DateTimeIso(text) => format!("date {}", &text[..10]),
            Data::Error(error) => format!("error {error}"),
            other => format!("{other:?}"),
        };
        format!("{at}: {value}")
    });
    found.collect()
}

#[test]
fn well_made_files_read_as_the_general_reader_reads_them() {
    type File = std::io::BufReader<std::fs::File>;
    let ours = |name: &str| cells(&read(name).sheets[0]);
    let xls = by_the_general_reader::<calamine::Xls<File>>("shop.xls");
    assert_eq!(xls.len(), SHOP.lines().count());
    assert_eq!(ours("shop.xls"), xls);
    let ods = by_the_general_reader::<calamine::Ods<File>>("shop.ods");
    assert_eq!(ods.len(), SHOP.lines().count());
    // LibreOffice writes truth values as numbers that are shown as TRUE and FALSE.
    let ods: Vec<String> = ods
        .into_iter()
        .map(|cell| match cell.as_str() {
            "J8: number 1" => "J8: bool yes".into(),
            "J9: number 0" => "J9: bool no".into(),
            _ => cell,
        })
        .collect();
    assert_eq!(ours("shop.ods"), ods);
}

#[test]
fn the_bytes_decide_not_the_name() {
    for kind in ["xlsx", "xls", "ods"] {
        let bytes = std::fs::read(format!("tests/formats/shop.{kind}")).unwrap();
        for name in ["stock.csv", "stock.xlsx", "stock", "stock.xls"] {
            let book = workbook(name, bytes.clone(), &mut Memory::default()).unwrap();
            assert_eq!(book.sheets.len(), 3, "{kind} as {name}");
        }
    }
}

#[test]
fn binary_records_give_the_same_cells_too() {
    let bytes = binary::workbook();
    let book = workbook("shop.xlsb", bytes, &mut Memory::default()).unwrap();
    let [stock, old] = book.sheets.as_slice() else { panic!("{} sheets", book.sheets.len()) };
    assert_eq!(
        cells(stock),
        [
            "A1: text Item",
            "B1: text On hand",
            "C1: text Seen",
            "A3: text S-\u{b5}",
            "B3: number 12",
            "C3: date 2027-02-14",
            "A4: text S-2",
            "B4: error #N/A",
            "C4: bool yes",
            "A5: text made of parts",
            "B5: number 0.05",
            "C5: error #DIV/0!",
        ]
    );
    assert_eq!(stock.hidden_rows, [Span { first: 3, last: 3 }]);
    assert_eq!(stock.hidden_columns, [Span { first: 1, last: 1 }]);
    assert!(old.hidden && !stock.hidden);
}

#[test]
fn text_files_in_utf_16_and_with_other_separators() {
    let wide = |text: &str| -> Vec<u8> {
        let units = std::iter::once(0xfeff).chain(text.encode_utf16());
        units.flat_map(u16::to_le_bytes).collect()
    };
    for bytes in [
        wide("Item\tOn hand\nS-\u{b5}\t4\n"),
        "\u{feff}Item;On hand\r\nS-\u{b5};4\r\n".into(),
        "Item,On hand\n\"S-\u{b5}\",\" 4\"\n".into(),
        "Item,On hand\rS-\u{b5},4".into(),
    ] {
        let book = workbook("a.csv", bytes, &mut Memory::default()).unwrap();
        let found = cells(&book.sheets[0]);
        let expected = ["A1: text Item", "B1: text On hand", "A2: text S-\u{b5}", "B2: text 4"];
        assert_eq!(found, expected);
    }
}

#[test]
fn rows_of_text_files_are_counted_as_a_spreadsheet_counts_them() {
    for end in ["\n", "\r\n", "\r"] {
        let lines = ["", "Item,Note", "", "S-1,\"two", "lines\"", "", "", "S-2,x", ""];
        let bytes = lines.join(end).into_bytes();
        let book = workbook("a.csv", bytes, &mut Memory::default()).unwrap();
        let rows: Vec<_> = book.sheets[0].rows.iter().map(|row| row.number + 1).collect();
        assert_eq!(rows, [2, 4, 7], "{end:?}");
    }
}
