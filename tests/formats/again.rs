//! The stock that the program writes is one that it reads, with what its cells show.

use std::path::Path;

use assert_cmd::Command;
use gapwright::read::{Memory, book};
use gapwright::sheet::{Cell, Sheet};
use rust_xlsxwriter::{Format, Formula, Workbook};

/// Columns that the program carries along: heading, number format, value.
const CARRIED: [(&str, &str, f64); 8] = [
    ("Scrap", "0.0%", 0.021),
    ("Counted", "yyyy-mm-dd hh:mm", 46_432.687_5),
    ("At", "hh:mm", 0.6875),
    ("Day", "yyyy-mm-dd", 46_432.0),
    ("Weight", "0.00\" kg\"", 1.2345),
    ("Serial", "000000", 417.0),
    ("Secret", ";;;", 12.0),
    ("Rounded", "0.0", 3.149),
];

/// Cells of a row by their headings, as they show.
fn row(sheet: &Sheet, item: &str) -> Vec<(String, Cell)> {
    let heading = &sheet.rows.iter().find(|row| row.cells.len() > 8).unwrap().cells;
    let is_it = |cell: &Cell| cell.show() == item;
    let row = sheet.rows.iter().find(|row| row.cells.iter().any(|(_, cell)| is_it(cell))).unwrap();
    let cells = row.cells.iter();
    cells
        .filter_map(|(column, cell)| {
            let head = heading.iter().find(|(at, _)| at == column)?;
            Some((head.1.show(), cell.clone()))
        })
        .collect()
}

fn sheet(path: &Path, name: &str) -> Sheet {
    let book = book(path, &mut Memory::default()).unwrap();
    let sheet = book.sheets.iter().find(|sheet| sheet.name == name);
    sheet.unwrap_or_else(|| panic!("{name}")).as_ref().clone()
}

#[test]
fn a_stock_for_next_time_keeps_times_percent_errors_and_what_is_shown() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let mut stock = Workbook::new();
    let page = stock.add_worksheet().set_name("Stock").unwrap();
    let text = include_str!("../../samples/tiny/stock.csv");
    for (line, row) in text.lines().zip(0..) {
        for (value, column) in line.split(',').zip(0..) {
            match value.parse::<f64>() {
                Ok(number) => page.write_number(row, column, number).unwrap(),
                Err(_) => page.write_string(row, column, value).unwrap(),
            };
        }
        for ((heading, format, value), column) in CARRIED.into_iter().zip(8..) {
            let format = Format::new().set_num_format(format);
            match row {
                0 => page.write_string(row, column, heading).unwrap(),
                _ => page.write_number_with_format(row, column, value, &format).unwrap(),
            };
        }
        let error = Formula::new("=1/0").set_result("#DIV/0!");
        match row {
            0 => page.write_string(row, 16, "Ratio").unwrap(),
            _ => page.write_formula(row, 16, error).unwrap(),
        };
    }
    // An item that its format gives a name, and a thickness with a unit and more digits than it shows.
    let code = Format::new().set_num_format("000");
    page.write_number_with_format(1, 0, 20, &code).unwrap();
    let unit = Format::new().set_num_format("0.000\" mm\"");
    page.write_number_with_format(1, 3, 0.25404, &unit).unwrap();
    stock.save(at("stock.xlsx")).unwrap();
    let run = |args: &[&str]| {
        let mut command = Command::cargo_bin("gapwright").unwrap();
        let run = command.current_dir(folder.path()).args(args).output().unwrap();
        assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    };
    let pumps = std::env::current_dir().unwrap().join("samples/tiny/pumps.csv");
    let pumps = pumps.to_str().unwrap();
    run(&["kit", "stock.xlsx", pumps, "--out", "plan.xlsx", "--date", "2027-03-01"]);
    let before = row(&sheet(&at("stock.xlsx"), "Stock"), "020");
    let after = row(&sheet(&at("plan.xlsx"), "Stock after"), "020");
    let shown = |row: &[(String, Cell)]| -> Vec<String> {
        let others = row.iter().filter(|(heading, _)| heading != "On hand");
        others
            .map(|(heading, cell)| match cell {
                // With all its digits, as a text.
                Cell::Shown { text, .. } if text.ends_with(" kg") => {
                    format!("{heading}: 1.2345 kg")
                }
                Cell::Shown { text, .. } if text.ends_with(" mm") => {
                    format!("{heading}: 0.25404 mm")
                }
                Cell::Date { serial, .. } => format!("{heading}: {serial:.6}"),
                Cell::Error(error) => format!("{heading}: error {error}"),
                cell => format!("{heading}: {}", cell.show()),
            })
            .collect()
    };
    assert_eq!(shown(&after), shown(&before));
    assert_eq!(shown(&after).len(), 16);
    // Once more, from the plan.
    run(&["kit", "plan.xlsx", pumps, "--out", "again.xlsx", "--date", "2027-03-02"]);
    let again = row(&sheet(&at("again.xlsx"), "Stock after"), "020");
    assert_eq!(shown(&again), shown(&before));
}
