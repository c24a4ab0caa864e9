//! The stock workbook for next time is the one that was read, with other counts; and one plan has one log.

use std::fs;
use std::io::{Cursor, Read};

use rust_xlsxwriter::{Color, Format, Formula, Note, Workbook};

use crate::shop::Shop;

/// The tiny stock with formats, a note, a sum and, in column F of a row, a formula.
fn dressed(shop: &Shop, formula: Option<u32>) {
    let mut book = Workbook::new();
    let bold = Format::new().set_bold().set_background_color(Color::Yellow);
    let sheet = book.add_worksheet().set_name("Stock").unwrap();
    let rows = fs::read_to_string("samples/tiny/stock.csv").unwrap();
    for (row, line) in (0..).zip(rows.lines()) {
        for (column, field) in (0..).zip(line.split(',')) {
            match field.parse::<f64>() {
                Ok(_) if (Some(row), column) == (formula, 5) => {
                    drop(sheet.write_formula(row, column, Formula::new("=3-2").set_result("1")));
                }
                Ok(number) => drop(sheet.write_number_with_format(row, column, number, &bold)),
                Err(_) => drop(sheet.write_string_with_format(row, column, field, &bold)),
            }
        }
    }
    sheet.insert_note(1, 5, &Note::new("counted by Kim")).unwrap();
    // A row of totals is no lot.
    sheet.write_formula(8, 5, Formula::new("=SUM(F2:F7)").set_result("7")).unwrap();
    book.save(shop.at("dressed.xlsx")).unwrap();
    // Without the request for new results, which the library writes: a result that waits is no count.
    let bytes = fs::read(shop.at("dressed.xlsx")).unwrap();
    let mut zip = zip::ZipArchive::new(Cursor::new(&bytes)).unwrap();
    let mut out = zip::ZipWriter::new(fs::File::create(shop.at("stock.xlsx")).unwrap());
    for at in 0..zip.len() {
        let mut part = zip.by_index(at).unwrap();
        let name = part.name().unwrap().to_string();
        let mut raw = Vec::new();
        part.read_to_end(&mut raw).unwrap();
        out.start_file(&name, zip::write::SimpleFileOptions::default()).unwrap();
        let text = match name.ends_with("workbook.xml") {
            true => {
                String::from_utf8(raw).unwrap().replace(" fullCalcOnLoad=\"1\"", "").into_bytes()
            }
            false => raw,
        };
        std::io::Write::write_all(&mut out, &text).unwrap();
    }
    out.finish().unwrap();
    fs::copy("samples/tiny/pumps.csv", shop.at("pumps.csv")).unwrap();
}

fn part(shop: &Shop, book: &str, name: &str) -> String {
    let mut zip = zip::ZipArchive::new(fs::File::open(shop.at(book)).unwrap()).unwrap();
    let mut text = String::new();
    zip.by_name(name).unwrap().read_to_string(&mut text).unwrap();
    text
}

const SHEET: &str = "xl/worksheets/sheet1.xml";

#[test]
fn formats_formulas_and_notes_stay() {
    let shop = Shop::new();
    dressed(&shop, None);
    let output = shop.output(&["kit", "stock.xlsx", "pumps.csv", "--out", "kit-plan.xlsx"]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let said = shop.output(&["issue", "kit-plan.xlsx", "stock.xlsx", "--pump", "B"]);
    let said = String::from_utf8([said.stdout, said.stderr].concat()).unwrap();
    assert!(said.contains("Emptied: 1 result of formulas"), "{said}");
    let [before, after] = ["stock.xlsx", "stock-next.xlsx"].map(|book| part(&shop, book, SHEET));
    let count = |text: &str, cell: &str| -> String {
        let at = text.find(&format!("<c r=\"{cell}\"")).unwrap();
        text[at..at + text[at..].find("</c>").unwrap()].to_string()
    };
    let mut wanted = before.clone();
    for (cell, old, new) in
        [("F4", "<v>1<", "<v>0<"), ("F7", "<v>1<", "<v>0<"), ("F9", "<v>7<", "<v><")]
    {
        let there = count(&before, cell);
        assert!(format!("{there}<").contains(old), "{there}");
        wanted = wanted
            .replace(&there, &there.replace(old.trim_end_matches('<'), new.trim_end_matches('<')));
    }
    assert_eq!(after, wanted);
    for name in ["xl/styles.xml", "xl/comments1.xml", "xl/sharedStrings.xml", "[Content_Types].xml"]
    {
        assert_eq!(part(&shop, "stock.xlsx", name), part(&shop, "stock-next.xlsx", name), "{name}");
    }
}

/// A formula would go on with the old count, and the log with the new one.
#[test]
fn a_count_that_is_a_formula_becomes_a_value() {
    let shop = Shop::new();
    dressed(&shop, Some(3));
    shop.kit("stock.xlsx", "pumps.csv");
    let run = shop.output(&["issue", "kit-plan.xlsx", "stock.xlsx", "--pump", "B"]);
    let said = String::from_utf8([run.stdout, run.stderr].concat()).unwrap();
    assert!(said.contains("stock.xlsx cannot be changed in place"), "{said}");
    assert_eq!(shop.counts("stock-next.xlsx")["S30"], 0);
    assert!(!part(&shop, "stock-next.xlsx", SHEET).contains("<f>3-2</f>"));
}

#[test]
fn a_kit_is_not_issued_again_from_another_folder() {
    let shop = Shop::new();
    for folder in ["shop", "desk"] {
        fs::create_dir(shop.at(folder)).unwrap();
    }
    for name in ["stock.csv", "pumps.csv"] {
        fs::copy(format!("samples/tiny/{name}"), shop.at(&format!("shop/{name}"))).unwrap();
    }
    let plan = ["kit", "shop/stock.csv", "shop/pumps.csv", "--out", "shop/kit-plan.xlsx"];
    assert!(shop.output(&plan).status.success());
    // From above the folder: the log is begun beside the plan.
    shop.issue(&["shop/kit-plan.xlsx", "shop/stock.csv", "--pump", "B", "--out", "one.xlsx"])
        .well();
    assert!(shop.at("shop/issue-log.xlsx").exists() && !shop.at("issue-log.xlsx").exists());
    // A copy of the plan, on another desk: the log beside the stock is found.
    fs::copy(shop.at("shop/kit-plan.xlsx"), shop.at("desk/kit-plan.xlsx")).unwrap();
    let again = ["desk/kit-plan.xlsx", "shop/stock.csv", "--pump", "B", "--out", "two.xlsx"];
    let run = shop.issue(&again);
    assert_eq!(run.status, 2, "{}", run.told);
    assert!(!shop.at("two.xlsx").exists());
    // A log of other plans lies there as well: which one counts must be said.
    shop.kit("shop/stock.csv", "shop/pumps.csv");
    fs::copy("samples/purchase/issue-log.xlsx", shop.at("desk/issue-log.xlsx")).unwrap();
    let run = shop.issue(&again);
    assert_eq!(run.status, 2, "{}", run.told);
    let all = run.all();
    assert!(
        all.iter().any(|found| found.contains("another issue log, with 5 lines of this plan")),
        "{all:?}"
    );
    assert!(!shop.at("two.xlsx").exists());
    // Named on the command line, it is meant, and the other is warned of.
    let named = [&again[..], &["--log", "new.xlsx"]].concat();
    let run = shop.issue(&named);
    assert_eq!(run.status, 0, "{}", run.told);
    let all = run.all();
    assert!(all.iter().any(|found| found.starts_with("warning issue-log.xlsx!")), "{all:?}");
}
