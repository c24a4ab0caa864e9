//! `export`: the stock workbook with the counts of the ledger, compared part by part with the one taken over.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::{Cursor, Read, Write};
use std::path::Path;

use ironcalc::base::Model;
use ironcalc::base::cell::CellValue;
use ironcalc::import::load_from_xlsx_bytes;
use rust_xlsxwriter::{
    Chart, ChartType, Color, ConditionalFormatCell, ConditionalFormatCellRule, DataValidation,
    DataValidationRule, Format, Formula, Image, Note, Table, Workbook,
};

use crate::commands::{begun, run, well};
use crate::shop::{Shop, cells};

/// Parts of a zip file, as they are packed.
fn packed(bytes: &[u8]) -> BTreeMap<String, Vec<u8>> {
    let mut zip = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
    (0..zip.len())
        .map(|at| {
            let mut part = zip.by_index_raw(at).unwrap();
            let mut bytes = Vec::new();
            part.read_to_end(&mut bytes).unwrap();
            (part.name().unwrap().to_string(), bytes)
        })
        .collect()
}

/// Text of a part.
pub fn part(bytes: &[u8], name: &str) -> String {
    let mut zip = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
    let mut text = String::new();
    zip.by_name(name).unwrap().read_to_string(&mut text).unwrap();
    text
}

/// Parts that differ; both files have the same parts in the same order.
fn touched(before: &[u8], after: &[u8]) -> BTreeSet<String> {
    let names = |bytes: &[u8]| -> Vec<String> {
        let zip = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
        zip.file_names().map(|name| name.unwrap().to_string()).collect()
    };
    assert_eq!(names(before), names(after));
    let (old, new) = (packed(before), packed(after));
    old.iter().filter(|(name, bytes)| new[*name] != **bytes).map(|(name, _)| name.clone()).collect()
}

/// A part with the value of cells replaced: `F3`, old, new.
fn with_values(text: &str, values: &[(&str, &str, &str)]) -> String {
    values.iter().fold(text.to_string(), |text, (cell, old, new)| {
        let start = text.find(&format!("<c r=\"{cell}\"")).unwrap_or_else(|| panic!("{cell}"));
        let value = start + text[start..].find("<v>").unwrap() + 3;
        assert!(
            text[value..].starts_with(&format!("{old}<")),
            "{cell}: {}",
            &text[value..value + 9]
        );
        format!("{}{new}{}", &text[..value], &text[value + old.len()..])
    })
}

/// The tiny stock as people dress it up: formats, a note, rules, a picture, a chart, names, sheets of formulas.
fn dressed(path: &Path) {
    let mut book = Workbook::new();
    let bold = Format::new().set_bold().set_background_color(Color::Yellow);
    let pieces = Format::new().set_num_format("0\" pcs\"").set_italic();
    let sheet = book.add_worksheet().set_name("Stock").unwrap();
    let rows = fs::read_to_string("samples/tiny/stock.csv").unwrap();
    for (row, line) in (0..).zip(rows.lines()) {
        for (column, field) in (0..).zip(line.split(',')) {
            match field.parse::<f64>() {
                // The third count is a text; it counts all the same.
                Ok(_) if (row, column) == (3, 5) => drop(sheet.write_string(row, column, field)),
                Ok(number) if column == 5 => {
                    drop(sheet.write_number_with_format(row, column, number, &pieces));
                }
                Ok(number) => drop(sheet.write_number(row, column, number)),
                Err(_) => drop(sheet.write_string_with_format(row, column, field, &bold)),
            }
        }
    }
    sheet.insert_note(1, 5, &Note::new("counted by Kim & Sam").set_author("Kim")).unwrap();
    let rule = ConditionalFormatCell::new()
        .set_rule(ConditionalFormatCellRule::LessThan(1))
        .set_format(&bold);
    sheet.add_conditional_format(1, 5, 6, 5, &rule).unwrap();
    let rule =
        DataValidation::new().allow_whole_number(DataValidationRule::GreaterThanOrEqualTo(0));
    sheet.add_data_validation(1, 5, 6, 5, &rule).unwrap();
    sheet.insert_image(9, 0, &Image::new("models/bearing-cap.png").unwrap()).unwrap();
    let mut chart = Chart::new(ChartType::Column);
    chart.add_series().set_values("Stock!$F$2:$F$7").set_categories("Stock!$A$2:$A$7");
    sheet.insert_chart(9, 6, &chart).unwrap();
    sheet.write_formula(1, 8, Formula::new("=F2*G2").set_result("4")).unwrap();
    sheet.write_formula(2, 8, Formula::new("=G3*2").set_result("4")).unwrap();
    sheet.set_freeze_panes(1, 1).unwrap();
    let sums = book.add_worksheet().set_name("Sums & more").unwrap();
    for (row, formula, result) in [
        (0, "=SUM(Stock!F2:F7)", "6"),
        (1, "=A1*2", "12"),
        (2, "=IF('Sums & more'!A2>3,\"many\",\"few\")", "many"),
        (3, "=SUM(Stock!D2:D7)", "0.375"),
        (4, "=Pieces+1", "8"),
        (5, "=SUM(Stock!G:G)", "19"),
        (6, "=COUNTA(Prices[Price])", "1"),
        (7, "=Stock!F7", "1"),
    ] {
        sums.write_formula(row, 0, Formula::new(formula).set_result(result)).unwrap();
    }
    sums.write_dynamic_array_formula(0, 2, 5, 2, Formula::new("=Stock!F2:F7*10").set_result("20"))
        .unwrap();
    let prices = book.add_worksheet().set_name("Prices").unwrap();
    prices.write_string(0, 0, "Price").unwrap();
    prices.write_number(1, 0, 3).unwrap();
    prices.add_table(0, 0, 1, 0, &Table::new().set_name("Prices")).unwrap();
    prices.write_formula(0, 2, Formula::new("=A2*2").set_result("6")).unwrap();
    book.define_name("Pieces", "=Stock!$F$2:$F$7").unwrap();
    book.save(path).unwrap();
}

/// A shop with an outage on a stock workbook: bag B took one S30 and one G120, and two S10 came in.
fn of_stock(name: &str) -> Shop {
    let shop = begun();
    fs::remove_file(shop.at("stock.csv")).unwrap();
    if name == "stock.xlsx" {
        dressed(&shop.at(name));
    }
    shop
}

fn booked(shop: &Shop, name: &str) {
    well(shop, &["kit", name, "pumps.csv", "--outage", "w.outage", "--out", "plan.xlsx"]);
    well(shop, &["book", "w.outage", "bag", "B", "--by", "Kim"]);
    well(shop, &["book", "w.outage", "receive", "S10", "2"]);
}

#[test]
fn only_the_changed_counts_change_and_results_that_depend_on_them_are_emptied() {
    let shop = of_stock("stock.xlsx");
    booked(&shop, "stock.xlsx");
    let said = well(&shop, &["export", "w.outage", "--out-dir", "out"]);
    assert!(said.contains("Stock workbook: 3 counts changed."), "{said}");
    assert!(said.contains("Emptied: 13 results"), "{said}");
    assert!(said.contains("Among them 2 formulas by names, tables or functions"), "{said}");
    assert!(said.contains("Wrote out/w-stock.xlsx."), "{said}");
    let before = fs::read(shop.at("stock.xlsx")).unwrap();
    let after = fs::read(shop.at("out/w-stock.xlsx")).unwrap();
    let sheet = |number: u32| format!("xl/worksheets/sheet{number}.xml");
    // The library asks for new results in every workbook; asked once is enough.
    assert!(part(&before, "xl/workbook.xml").contains(" fullCalcOnLoad=\"1\"/>"));
    assert_eq!(touched(&before, &after), BTreeSet::from([sheet(1), sheet(2)]));
    let stock = part(&before, &sheet(1));
    // The text of S30 becomes a number: it was the shared text of a 1.
    let text = stock.find("<c r=\"F4\"").unwrap();
    let text = &stock[text..text + stock[text..].find("</c>").unwrap() + 4];
    let stock = stock.replace(text, "<c r=\"F4\"><v>0</v></c>");
    let stock = with_values(&stock, &[("F2", "2", "4"), ("F7", "1", "0"), ("I2", "4", "")]);
    assert_eq!(part(&after, &sheet(1)), stock);
    let sums = part(&before, &sheet(2));
    let sums = sums.replace("<c r=\"A3\" t=\"str\">", "<c r=\"A3\">");
    let emptied = [
        ("A1", "6", ""),
        ("A2", "12", ""),
        ("A3", "many", ""),
        ("A5", "8", ""),
        ("A7", "1", ""),
        ("A8", "1", ""),
    ];
    let sums = with_values(&sums, &emptied);
    let array = |row: u32| (format!("C{row}"), if row == 1 { "20" } else { "0" });
    let sums = (1..=6).map(array).fold(sums, |sums, (cell, old)| {
        match sums.contains(&format!("<c r=\"{cell}\"")) {
            true => with_values(&sums, &[(&cell, old, "")]),
            false => sums,
        }
    });
    assert_eq!(part(&after, &sheet(2)), sums);
}

/// A workbook with macros keeps its kind, and its name says so.
#[test]
fn a_workbook_with_macros_stays_one() {
    let shop = of_stock("stock.xlsx");
    fs::rename(shop.at("stock.xlsx"), shop.at("stock.xlsm")).unwrap();
    booked(&shop, "stock.xlsm");
    well(&shop, &["export", "w.outage"]);
    let [before, after] =
        ["stock.xlsm", "w-stock.xlsm"].map(|name| fs::read(shop.at(name)).unwrap());
    assert_eq!(touched(&before, &after).len(), 2);
}

/// Recalculated by another engine, the formulas show the new counts.
#[test]
fn another_engine_works_the_emptied_results_out() {
    let shop = of_stock("stock.xlsx");
    booked(&shop, "stock.xlsx");
    well(&shop, &["export", "w.outage"]);
    let bytes = fs::read(shop.at("w-stock.xlsx")).unwrap();
    let book = load_from_xlsx_bytes(&bytes, "book", "en", "UTC").unwrap();
    let mut model = Model::from_workbook(book, "en").unwrap();
    model.evaluate();
    let value =
        |sheet: u32, row: i32, column: i32| model.get_cell_value_by_index(sheet, row, column);
    // 4 + 1 + 0 + 1 + 1 + 0 pieces.
    assert_eq!(value(1, 1, 1), Ok(CellValue::Number(7.0)));
    assert_eq!(value(1, 2, 1), Ok(CellValue::Number(14.0)));
    assert_eq!(value(1, 3, 1), Ok(CellValue::String("many".into())));
    assert_eq!(value(0, 2, 9), Ok(CellValue::Number(8.0)));
}

/// With results that are out of date, the workbook has to go through the spreadsheet program first; without, it is read
/// as it is, and its counts are those of the ledger.
#[test]
fn the_copy_goes_on_as_the_stock_workbook() {
    let shop = of_stock("stock.csv");
    let rows = fs::read_to_string("samples/tiny/stock.csv").unwrap();
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    for (row, line) in (0..).zip(rows.lines()) {
        for (column, field) in (0..).zip(line.split(',')) {
            match field.parse::<f64>() {
                Ok(number) => drop(sheet.write_number(row, column, number)),
                Err(_) => drop(sheet.write_string(row, column, field)),
            }
        }
    }
    sheet.write_formula(0, 9, Formula::new("=G2*2").set_result("4")).unwrap();
    book.save(shop.at("bare.xlsx")).unwrap();
    // Without the request that the library writes.
    let bytes = fs::read(shop.at("bare.xlsx")).unwrap();
    let mut zip = zip::ZipWriter::new(fs::File::create(shop.at("stock.xlsx")).unwrap());
    for name in packed(&bytes).keys() {
        zip.start_file(name, zip::write::SimpleFileOptions::default()).unwrap();
        let text = part(&bytes, name).replace(" fullCalcOnLoad=\"1\"", "");
        zip.write_all(text.as_bytes()).unwrap();
    }
    zip.finish().unwrap();
    booked(&shop, "stock.xlsx");
    let said = well(&shop, &["export", "w.outage"]);
    assert!(!said.contains("Emptied"), "{said}");
    let [before, after] =
        ["stock.xlsx", "w-stock.xlsx"].map(|name| fs::read(shop.at(name)).unwrap());
    assert_eq!(touched(&before, &after), BTreeSet::from(["xl/worksheets/sheet1.xml".to_string()]));
    let call = ["kit", "w-stock.xlsx", "pumps.csv", "--outage", "w.outage", "--out", "next.xlsx"];
    let said = well(&shop, &call);
    assert!(said.contains("3 of 3 pumps can be kitted"), "{said}");
}

#[test]
fn a_count_that_is_a_formula_is_listed_and_not_written() {
    let shop = of_stock("stock.xlsx");
    crate::shop::change(&shop.at("stock.xlsx"), "Stock", &[("F4", "1".into())]);
    let bytes = fs::read(shop.at("stock.xlsx")).unwrap();
    let mut zip = zip::ZipWriter::new(fs::File::create(shop.at("stock.xlsx")).unwrap());
    for (name, _) in packed(&bytes) {
        zip.start_file(&name, zip::write::SimpleFileOptions::default()).unwrap();
        let mut file = zip::ZipArchive::new(Cursor::new(&bytes)).unwrap();
        let mut raw = Vec::new();
        file.by_name(&name).unwrap().read_to_end(&mut raw).unwrap();
        if name.ends_with("sheet1.xml") {
            let text = String::from_utf8(raw).unwrap();
            let text = text.replace("<c r=\"F4\" ><v>1</v>", "<c r=\"F4\"><f>3-2</f><v>1</v>");
            assert!(text.contains("<f>3-2</f>"));
            raw = text.into_bytes();
        } else if name == "xl/workbook.xml" {
            raw = String::from_utf8(raw).unwrap().replace(" fullCalcOnLoad=\"1\"", "").into_bytes();
        }
        zip.write_all(&raw).unwrap();
    }
    zip.finish().unwrap();
    booked(&shop, "stock.xlsx");
    let said = well(&shop, &["export", "w.outage"]);
    assert!(
        said.contains("Not written: S30, 0 by the ledger. A formula is in sheet Stock, cell F4."),
        "{said}"
    );
    assert!(said.contains("Stock workbook: 2 counts changed."), "{said}");
    let after = fs::read(shop.at("w-stock.xlsx")).unwrap();
    assert!(part(&after, "xl/worksheets/sheet1.xml").contains("<c r=\"F4\"><f>3-2</f><v>1</v>"));
    assert!(part(&after, "xl/workbook.xml").contains(" fullCalcOnLoad=\"1\"/>"));
}

#[test]
fn of_a_text_file_only_the_fields_of_the_counts_change() {
    let shop = begun();
    let text = fs::read_to_string(shop.at("stock.csv")).unwrap().replace('\n', "\r\n");
    let text = text.replace("S30,shim,F1,0.030,0.0002,1,", "S30,shim,F1,0.030,0.0002, \"1\" ,");
    let text = text.replace(", \"1\" ,", ",\"1\",");
    shop.write("stock.csv", &text);
    booked(&shop, "stock.csv");
    well(&shop, &["export", "w.outage"]);
    let wanted = text
        .replace("S10,shim,F1,0.010,0.0002,2,", "S10,shim,F1,0.010,0.0002,4,")
        .replace("S30,shim,F1,0.030,0.0002,\"1\",", "S30,shim,F1,0.030,0.0002,\"0\",")
        .replace("G120,gasket,F1,0.120,0.0005,1,", "G120,gasket,F1,0.120,0.0005,0,");
    assert_eq!(fs::read_to_string(shop.at("w-stock.csv")).unwrap(), wanted);
}

#[test]
fn a_folder_of_text_files_comes_out_as_a_folder() {
    let shop = begun();
    fs::create_dir(shop.at("books")).unwrap();
    fs::rename(shop.at("stock.csv"), shop.at("books/Stock.csv")).unwrap();
    shop.write("books/Notes.csv", "By whom\nKim\n");
    booked(&shop, "books");
    well(&shop, &["export", "w.outage", "--out-dir", "out"]);
    let notes = fs::read_to_string(shop.at("out/w-stock/Notes.csv")).unwrap();
    assert_eq!(notes, "By whom\nKim\n");
    let stock = fs::read_to_string(shop.at("out/w-stock/Stock.csv")).unwrap();
    assert!(stock.contains("S30,shim,F1,0.030,0.0002,0,"), "{stock}");
}

#[test]
fn of_other_workbooks_the_values_are_written_and_the_loss_is_said() {
    let shop = begun();
    let rows = fs::read_to_string(shop.at("stock.csv")).unwrap();
    let mut table = String::new();
    for line in rows.lines() {
        table.push_str("<table:table-row>");
        for field in line.split(',') {
            table.push_str(&match field.parse::<f64>() {
                Ok(_) => format!("<table:table-cell office:value-type=\"float\" office:value=\"{field}\"><text:p>{field}</text:p></table:table-cell>"),
                Err(_) => format!("<table:table-cell office:value-type=\"string\"><text:p>{field}</text:p></table:table-cell>"),
            });
        }
        table.push_str("</table:table-row>");
    }
    let content = format!(
        "<office:document-content xmlns:office=\"urn:oasis:names:tc:opendocument:xmlns:office:1.0\" xmlns:table=\"urn:oasis:names:tc:opendocument:xmlns:table:1.0\" xmlns:text=\"urn:oasis:names:tc:opendocument:xmlns:text:1.0\"><office:body><office:spreadsheet><table:table table:name=\"Stock\">{table}</table:table></office:spreadsheet></office:body></office:document-content>"
    );
    let mut zip = zip::ZipWriter::new(fs::File::create(shop.at("stock.ods")).unwrap());
    for (name, text) in [
        ("mimetype", "application/vnd.oasis.opendocument.spreadsheet"),
        ("content.xml", content.as_str()),
    ] {
        zip.start_file(name, zip::write::SimpleFileOptions::default()).unwrap();
        zip.write_all(text.as_bytes()).unwrap();
    }
    zip.finish().unwrap();
    booked(&shop, "stock.ods");
    let said = well(&shop, &["export", "w.outage"]);
    assert!(said.contains("stock.ods cannot be changed in place"), "{said}");
    let stock = cells(&shop.at("w-stock.xlsx"), "Stock");
    assert_eq!([&stock[&(1, 5)], &stock[&(3, 5)], &stock[&(2, 5)]], ["4", "0", "1"]);
}

#[test]
fn the_ledger_lists_entries_pumps_and_stock() {
    let shop = begun();
    booked(&shop, "stock.csv");
    well(&shop, &["book", "w.outage", "undo", "4", "--note", "not yet here"]);
    well(&shop, &["export", "w.outage", "--date", "2027-03-02"]);
    let path = shop.at("w-ledger.xlsx");
    let ledger = cells(&path, "Ledger");
    let row = |row: u32| -> Vec<String> {
        (0..9).map(|column| ledger.get(&(row, column)).cloned().unwrap_or_default()).collect()
    };
    assert_eq!(row(3)[..2], ["No.", "Day"]);
    assert_eq!([&row(6)[0], &row(6)[3], &row(6)[4]], ["3", "Kim", "bag B: 2 pieces"]);
    assert_eq!([&row(7)[4], &row(7)[6]], ["receive S10: 2", "undone"]);
    assert_eq!([&row(8)[4], &row(8)[5]], ["undo 4 (receive)", "not yet here"]);
    let output = shop.output(&["status", "w.outage", "--json", "-"]);
    let status: gapwright::formats::outage::OutageJson =
        serde_json::from_slice(&output.stdout).unwrap();
    for (at, entry) in (4..).zip(&status.entries) {
        assert_eq!(row(at)[8], entry.sha256);
        assert_eq!(row(at)[7], entry.sha256[..12]);
    }
    assert!(!ledger.contains_key(&(9, 0)));
    let pumps = cells(&path, "Pumps");
    let tags: Vec<&str> = (4..7).map(|row| pumps[&(row, 0)].as_str()).collect();
    assert_eq!(tags, ["A", "B", "C"]);
    assert_eq!(
        [&pumps[&(5, 1)], &pumps[&(5, 2)], &pumps[&(5, 4)]],
        ["bagged", "1", "1 x S30, 1 x G120"]
    );
    let stock = cells(&path, "Stock by ledger");
    let s30 = stock.iter().find(|(_, cell)| *cell == "S30").unwrap().0.0;
    let of: Vec<&str> = (1..5).map(|column| stock[&(s30, column)].as_str()).collect();
    assert_eq!(of, ["1", "0", "-1", "1"]);
    // Every sheet is set up for A4 in landscape, with its headings on each page and in sight.
    let bytes = fs::read(&path).unwrap();
    for sheet in 1..=3 {
        let xml = part(&bytes, &format!("xl/worksheets/sheet{sheet}.xml"));
        for set in [
            "paperSize=\"9\"",
            "orientation=\"landscape\"",
            "fitToHeight=\"0\"",
            "state=\"frozen\"",
        ] {
            assert!(xml.contains(set), "{set} on sheet {sheet}");
        }
    }
    let names = part(&bytes, "xl/workbook.xml");
    assert_eq!(names.matches("_xlnm.Print_Titles").count(), 3, "{names}");
}

#[test]
fn nothing_is_written_over_or_by_halves() {
    let shop = begun();
    booked(&shop, "stock.csv");
    well(&shop, &["export", "w.outage", "--date", "2027-03-02"]);
    let before = shop.files();
    let (status, said) = run(&shop, &["export", "w.outage"]);
    assert_eq!(status, 3, "{said}");
    assert_eq!(shop.files(), before);
    // One of the two is there.
    fs::remove_file(shop.at("w-ledger.xlsx")).unwrap();
    let before = shop.files();
    let (status, said) = run(&shop, &["export", "w.outage"]);
    assert_eq!(status, 3, "{said}");
    assert_eq!(shop.files(), before);
    well(&shop, &["export", "w.outage", "--force"]);
    // An output that would be the outage file.
    fs::rename(shop.at("w.outage"), shop.at("w-ledger.xlsx")).unwrap();
    fs::copy(shop.at("w-ledger.xlsx"), shop.at("kept")).unwrap();
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(shop.at("w-ledger.xlsx"), shop.at("w.outage")).unwrap();
        let (status, said) = run(&shop, &["export", "w.outage", "--force"]);
        assert_eq!(status, 2, "{said}");
        assert_eq!(fs::read(shop.at("w-ledger.xlsx")).unwrap(), fs::read(shop.at("kept")).unwrap());
    }
    for (arguments, code, says) in [
        (&["export", "no.outage"][..], 2, "no.outage"),
        (&["export", "stock.csv"], 2, "stock.csv"),
        (&["export", "kept", "--date", "tomorrow"], 2, "--date tomorrow"),
    ] {
        let before = shop.files();
        let (status, said) = run(&shop, arguments);
        assert_eq!(status, code, "{said}");
        assert!(said.contains(says), "{said}");
        assert_eq!(shop.files(), before);
    }
}
