//! The marked copy: problems are listed with links, coloured and noted, and no formula in it runs.

use std::fs;
use std::io::Read;
use std::path::Path;

use calamine::{Data, DataType, Reader, Xlsx, open_workbook};
use gapwright::problem::{Place, Problem, Problems, Spot};
use gapwright::sheet::{Book, Cell, Sheet, SheetRow};
use gapwright::write::mark::{MOST_CELLS, workbook};

use super::{PUMPS, STOCK, Shop, gapwright, json, text};

type Workbook = Xlsx<std::io::BufReader<fs::File>>;

fn open(path: &Path) -> Workbook {
    open_workbook(path).unwrap()
}

fn cell(book: &mut Workbook, sheet: &str, row: u32, column: u32) -> Data {
    let range = book.worksheet_range(sheet).unwrap();
    range.get_value((row, column)).cloned().unwrap_or(Data::Empty)
}

/// Parts of a workbook whose names contain this, joined.
fn parts(path: &Path, name: &str) -> String {
    let mut zip = zip::ZipArchive::new(fs::File::open(path).unwrap()).unwrap();
    let mut all = String::new();
    for at in 0..zip.len() {
        let mut part = zip.by_index(at).unwrap();
        if part.name().unwrap().contains(name) {
            part.read_to_string(&mut all).unwrap();
        }
    }
    all
}

/// Style of a cell of the n-th sheet; 0 is none.
fn style(path: &Path, sheet: usize, address: &str) -> u32 {
    let xml = parts(path, &format!("worksheets/sheet{sheet}.xml"));
    let start =
        xml.find(&format!("<c r=\"{address}\"")).unwrap_or_else(|| panic!("{address} in {xml}"));
    let tag = &xml[start..start + xml[start..].find('>').unwrap()];
    let style = tag.split(" s=\"").nth(1).map_or("0", |rest| rest.split('"').next().unwrap());
    style.parse().unwrap()
}

#[test]
fn the_copy_never_goes_over_an_input_or_another_output() {
    let shop = Shop::new();
    let stock = shop.path("stock.csv");
    let bad = fs::read_to_string(&stock).unwrap().replacen("shim", "shimm", 1);
    for name in ["bad.xlsx", "bad.csv"] {
        let bad_path = shop.path(name);
        fs::write(&bad_path, &bad).unwrap();
        let path = bad_path.to_str().unwrap();
        let pumps = shop.path("pumps.csv");
        let pumps = pumps.to_str().unwrap();
        for command in [
            vec!["check", path, pumps, "--mark", path, "--force"],
            vec!["kit", path, pumps, "--mark", path, "--force"],
            vec!["stack", pumps, "--stock", path, "--mark", path, "--force"],
        ] {
            let output = gapwright(&command);
            assert_eq!(output.status.code(), Some(2));
            assert_eq!(fs::read_to_string(&bad_path).unwrap(), bad, "{command:?}");
        }
        let same = shop.path("same.xlsx");
        let same = same.to_str().unwrap();
        gapwright(&["kit", path, pumps, "--out", same, "--mark", same]);
        assert!(!Path::new(same).exists());
    }
}

#[test]
fn the_copy_is_the_one_thing_that_is_written() {
    let shop = Shop::new();
    let stock = fs::read_to_string(shop.path("stock.csv")).unwrap();
    // An empty cell, and a warning besides the problems.
    let stock = stock.replace("S30,", ",").replace("0.010,0.0002", "0.010,0");
    let stock = shop.write("stock.csv", &stock.replace("A2", "=1+1"));
    let (mark, out) = (shop.at("mark.xlsx"), shop.at("plan.xlsx"));
    let run = gapwright(&["kit", &stock, PUMPS, "--out", &out, "--mark", &mark]);
    assert_eq!(run.status.code(), Some(2));
    let end = format!("3 problems, 1 warning. Nothing was written but the marked copy {mark}.\n");
    assert!(text(&run.stderr).ends_with(&end), "{}", text(&run.stderr));
    assert_eq!(shop.names(), ["mark.xlsx", "pumps.csv", "stock.csv"]);
    let path = shop.path("mark.xlsx");
    let mut book = open(&path);
    assert_eq!(book.sheet_names(), ["Problems", "stock"], "pumps.csv has nothing wrong");
    // Equal values at equal addresses, numbers of a CSV file as their texts.
    let same = open_csv(&stock);
    for (row, cells) in (0..).zip(&same) {
        for (column, value) in (0..).zip(cells) {
            let copied = cell(&mut book, "stock", row, column);
            assert_eq!(copied.to_string(), *value, "{row} {column}");
        }
    }
    assert_eq!(cell(&mut book, "stock", 2, 7), Data::String("=1+1".into()));
    let formulas = book.worksheet_formula("stock").unwrap();
    assert_eq!(formulas.used_cells().filter(|(_, _, f)| !f.is_empty()).count(), 0);
    // Problems have one style, the warning another, all other cells none; the empty cell too.
    let problem = style(&path, 2, "D3");
    assert!(problem > 0);
    assert_eq!((style(&path, 2, "F6"), style(&path, 2, "A4")), (problem, problem));
    let warning = style(&path, 2, "E2");
    let usual = style(&path, 2, "D2");
    assert!(warning != problem && usual != problem && usual != warning);
    assert_eq!(style(&path, 2, "A3"), usual);
    // They differ in colour and in border.
    let styles = parts(&path, "xl/styles.xml");
    assert!(styles.contains("style=\"thick\"") && styles.contains("style=\"mediumDashed\""));
    let notes = parts(&path, "xl/comments");
    assert_eq!(notes.matches("<comment ref=").count(), 4);
    for words in ["found: `thin`", "expected: a length", "fix: ", "found: a tolerance of 0"] {
        assert!(notes.contains(words), "{words} in {notes}");
    }
    // The list: number, severity, file, sheet, cell as a link, found, expected, fix.
    let rows: Vec<Vec<String>> = book
        .worksheet_range("Problems")
        .unwrap()
        .rows()
        .map(|row| row.iter().map(ToString::to_string).collect())
        .collect();
    let head = rows.iter().position(|row| row[0] == "No.").unwrap();
    let listed: Vec<_> =
        rows[head + 1..].iter().map(|row| [&row[0], &row[1], &row[3], &row[4]]).collect();
    let expected = [
        ["1", "problem", "stock", "D3"],
        ["2", "problem", "stock", "A4"],
        ["3", "problem", "stock", "F6"],
        ["4", "warning", "stock", "E2"],
    ];
    assert_eq!(listed, expected);
    assert!(rows[head + 1][5].contains("`thin`") && rows[head + 1][2] == stock);
    let list = parts(&path, "worksheets/sheet1.xml");
    for place in ["stock!D3", "stock!A4", "stock!F6", "stock!E2"] {
        assert!(list.contains(&format!("location=\"{place}\"")), "{place}");
    }
    assert!(list.contains("orientation=\"landscape\"") && list.contains("paperSize=\"9\""));
    assert!(parts(&path, "xl/workbook.xml").contains("Problems!$7:$7"), "the heading is repeated");
}

fn open_csv(path: &str) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).from_path(path).unwrap();
    reader.records().map(|row| row.unwrap().iter().map(String::from).collect()).collect()
}

#[test]
fn a_copy_is_not_overwritten_and_not_made_for_nothing() {
    let shop = Shop::new();
    let mark = shop.write("mark.xlsx", "mine");
    let bad = shop.at("stock.csv");
    let run = gapwright(&["check", &bad, PUMPS, "--mark", &mark]);
    // The problems of the inputs come first, then the report that the copy is not new.
    assert_eq!(run.status.code(), Some(2));
    assert!(text(&run.stderr).contains("a file that is there already"));
    assert!(
        text(&run.stderr).contains("3 problems (1 in ")
            && text(&run.stderr).ends_with("Nothing was written.\n")
    );
    assert_eq!(fs::read_to_string(&mark).unwrap(), "mine");
    let kit =
        ["kit", &bad, PUMPS, "--out", &shop.at("p.xlsx"), "--mark", &mark, "--problems", "json"];
    let list = json(&gapwright(&kit));
    assert_eq!((list.exit_status, list.problems.len()), (2, 3));
    assert!(list.written.is_empty() && list.problems.iter().any(|p| p.file == mark));
    assert_eq!(fs::read_to_string(&mark).unwrap(), "mine");
    let list = json(&gapwright(&[&kit[..], &["--force"]].concat()));
    assert_eq!(list.written, std::slice::from_ref(&mark));
    assert!(fs::read(&mark).unwrap().starts_with(b"PK"));
    fs::remove_file(&mark).unwrap();
    assert_eq!(gapwright(&["check", STOCK, PUMPS, "--mark", &mark]).status.code(), Some(0));
    assert!(!Path::new(&mark).exists());
    // With warnings alone the plan is written, and the copy next to it.
    let stock = fs::read_to_string(STOCK).unwrap();
    let warned = shop.write("warned.csv", &stock.replace("0.010,0.0002", "0.010,0"));
    let out = shop.at("p.xlsx");
    shop.write("mark.xlsx", "mine");
    let run = gapwright(&["check", &warned, PUMPS, "--mark", &mark]);
    assert_eq!(run.status.code(), Some(3), "only the copy could not be written");
    assert_eq!(fs::read_to_string(&mark).unwrap(), "mine");
    fs::remove_file(&mark).unwrap();
    let list = json(&gapwright(&[
        "kit",
        &warned,
        PUMPS,
        "--out",
        &out,
        "--mark",
        &mark,
        "--problems",
        "json",
    ]));
    assert_eq!((list.exit_status, list.written), (0, vec![out.clone(), mark.clone()]));
    // Neither an input nor another output.
    for (path, words) in
        [(warned.as_str(), "both to be read and to be written"), (&out, "a file for each")]
    {
        let run = gapwright(&["kit", &warned, PUMPS, "--out", &out, "--mark", path, "--force"]);
        let said = text(&run.stderr);
        assert!(run.status.code() == Some(2) && said.contains(words), "{said}");
    }
}

/// A name used in both workbooks, and the name of the list itself.
#[test]
fn names_of_sheets_that_clash_are_mended() {
    let shop = Shop::new();
    for folder in ["a", "b"] {
        fs::create_dir(shop.path(folder)).unwrap();
    }
    let stock = fs::read_to_string(shop.path("stock.csv")).unwrap();
    let stock = shop.write("a/Problems.csv", &stock);
    let pumps = fs::read_to_string(PUMPS)
        .unwrap()
        .replace("\nB,screwed-impeller,1", "\nB,screwed-impeller,first");
    let pumps = shop.write("b/problems.csv", &pumps);
    let mark = shop.path("mark.xlsx");
    let run = gapwright(&["check", &stock, &pumps, "--mark", mark.to_str().unwrap()]);
    assert_eq!(run.status.code(), Some(2));
    let mut book = open(&mark);
    assert_eq!(book.sheet_names(), ["Problems", "Problems (2)", "problems (3)"]);
    assert_eq!(cell(&mut book, "Problems (2)", 2, 3), Data::String("thin".into()));
    assert_eq!(cell(&mut book, "problems (3)", 1, 2), Data::String("first".into()));
    let list = parts(&mark, "worksheets/sheet1.xml");
    assert!(list.contains("'Problems (2)'!D3") && list.contains("'problems (3)'!C2"));
}

fn problem_at(row: u32, column: u32) -> Problem {
    let spot = Spot::Cell { sheet: "S".into(), row, column };
    let file = "f".to_string();
    Problem::new(Place { file, spot }, "found", "expected", "fix")
}

/// Kinds of cells, the limit of the copy, and places beyond the last row of a sheet.
#[test]
fn a_copy_is_bounded_and_keeps_the_kinds_of_cells() {
    let kinds = [
        Cell::Number(0.1),
        Cell::Text("@SUM(1)".into()),
        Cell::Bool(true),
        Cell::Date { serial: 46_143.0, iso: "2026-05-01".into() },
        Cell::Error("#N/A".into()),
        Cell::Uncalculated("A1+1".into()),
    ];
    let first = SheetRow { number: 0, cells: (0..).zip(kinds).collect() };
    let columns = 100;
    let rows = (1..=u32::try_from(MOST_CELLS).unwrap() / columns + 10).map(|number| SheetRow {
        number,
        cells: (0..columns).map(|column| (column, Cell::Number(number.into()))).collect(),
    });
    let rows: Vec<SheetRow> = std::iter::once(first).chain(rows).collect();
    let last = rows.last().unwrap().number;
    let book = Book {
        file: "f".into(),
        sha256: String::new(),
        sheets: vec![std::sync::Arc::new(Sheet {
            file: "f".into(),
            name: "S".into(),
            rows,
            ..Sheet::default()
        })],
        is_text: false,
    };
    let mut problems = Problems::new();
    for (row, column) in [(0, 3), (last, 7), (last + 5, 0), (1_048_576, 0), (0, 16_384)] {
        problems.add(problem_at(row, column));
    }
    let folder = tempfile::TempDir::new().unwrap();
    let path = folder.path().join("mark.xlsx");
    fs::write(&path, workbook(&problems, &[book], "2027-03-01").unwrap()).unwrap();
    let mut book = open(&path);
    assert_eq!(cell(&mut book, "S", 0, 0), Data::Float(0.1));
    assert_eq!(cell(&mut book, "S", 0, 1), Data::String("@SUM(1)".into()));
    assert_eq!(cell(&mut book, "S", 0, 2), Data::Bool(true));
    let Data::DateTime(date) = cell(&mut book, "S", 0, 3) else { panic!("no date") };
    assert!((date.as_f64() - 46_143.0).abs() < 1e-9);
    assert_eq!(cell(&mut book, "S", 0, 4), Data::Error(calamine::CellErrorType::NA));
    assert_eq!(cell(&mut book, "S", 0, 5), Data::String("=A1+1".into()));
    let range = book.worksheet_range("S").unwrap();
    let used = range.used_cells().count();
    assert!(used <= MOST_CELLS + 10 && used > MOST_CELLS - 200, "{used}");
    let told = range.used_cells().filter_map(|(_, _, cell)| cell.get_string());
    assert_eq!(told.filter(|text| text.starts_with("This copy ends here")).count(), 1);
    assert_eq!(cell(&mut book, "S", last, 7), Data::Float(last.into()), "marked, so copied");
    assert_eq!(cell(&mut book, "S", last, 8), Data::Empty);
    assert!(style(&path, 2, &gapwright::problem::address(last + 5, 0)) > 0, "empty, and coloured");
    let notes = parts(&path, "xl/comments");
    assert_eq!(notes.matches("<comment ref=").count(), 3);
    let list = parts(&path, "worksheets/sheet1.xml");
    assert_eq!(list.matches("location=").count(), 3, "a place that no sheet has cannot be linked");
}
