//! Counts changed within workbooks of other makes: prefixes, orders, relations, texts, and files that are damaged.

use std::io::{Cursor, Write};

use gapwright::problem::Problem;
use gapwright::read::{CellCount, Memory, Patched, patched, workbook};
use zip::write::SimpleFileOptions;

use crate::export::part;

const MAIN: &str = "http://schemas.openxmlformats.org/spreadsheetml/2006/main";
const RELATIONS: &str = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
const PACKAGE: &str = "http://schemas.openxmlformats.org/package/2006/relationships";

/// A workbook with one sheet per text; its name, and its target in the relations.
fn book(sheets: &[(&str, &str, &str)], more: &str) -> Vec<u8> {
    let listed: String = (1..)
        .zip(sheets)
        .map(|(at, (name, ..))| format!("<sheet name=\"{name}\" sheetId=\"{at}\" r:id=\"r{at}\"/>"))
        .collect();
    let related: String = (1..)
        .zip(sheets)
        .map(|(at, (_, target, _))| {
            format!("<Relationship Target='{target}' Type=\"{RELATIONS}/worksheet\" Id='r{at}'/>")
        })
        .collect();
    let mut parts = vec![
        ("[Content_Types].xml".to_string(), "<Types xmlns=\"http://schemas.openxmlformats.org/package/2006/content-types\"><Default Extension=\"xml\" ContentType=\"application/xml\"/></Types>".to_string()),
        ("_rels/.rels".into(), format!("<Relationships xmlns=\"{PACKAGE}\"><Relationship Id=\"w\" Type=\"{RELATIONS}/officeDocument\" Target=\"xl/workbook.xml\"/></Relationships>")),
        ("xl/workbook.xml".into(), format!("<workbook xmlns=\"{MAIN}\" xmlns:r=\"{RELATIONS}\"><sheets>{listed}</sheets>{more}</workbook>")),
        ("xl/_rels/workbook.xml.rels".into(), format!("<Relationships xmlns=\"{PACKAGE}\">{related}</Relationships>")),
    ];
    for (_, target, text) in sheets {
        let name = match target.strip_prefix('/') {
            Some(whole) => whole.to_string(),
            None => format!("xl/{target}"),
        };
        parts.push((name, text.to_string()));
    }
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, text) in parts {
        zip.start_file(name, SimpleFileOptions::default()).unwrap();
        zip.write_all(text.as_bytes()).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

fn with(bytes: &[u8], changes: &[(&str, u32, u32, u32)]) -> Result<Patched, Problem> {
    let memory = Memory::default();
    let book = workbook("stock.xlsx", bytes.to_vec(), &mut memory.clone())?;
    let changes: Vec<CellCount> = changes
        .iter()
        .map(|(sheet, row, column, count)| CellCount {
            sheet: sheet.to_string(),
            row: *row,
            column: *column,
            count: *count,
        })
        .collect();
    Ok(patched(&book, bytes, &changes, &memory)?.expect("an .xlsx file is changed in place"))
}

fn sheet(rows: &str) -> String {
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<worksheet xmlns=\"{MAIN}\"><sheetData>{rows}</sheetData></worksheet>"
    )
}

/// The rows of the first sheet with B1 changed to 7.
fn changed(rows: &str) -> (String, Patched) {
    let bytes = book(&[("Stock", "worksheets/one.xml", &sheet(rows))], "");
    let done = with(&bytes, &[("Stock", 0, 1, 7)]).unwrap_or_else(|problem| panic!("{problem}"));
    let text = part(&done.bytes, "xl/worksheets/one.xml");
    let (start, end) = sheet("|").split_once('|').map(|(a, b)| (a.len(), b.len())).unwrap();
    (text[start..text.len() - end].to_string(), done)
}

#[test]
fn other_prefixes_orders_spaces_and_targets_are_followed() {
    let own = format!(
        "\u{feff}<?xml version='1.0' standalone='yes'?><!-- hand made --><m:worksheet xmlns:m='{MAIN}'>\r\n<m:sheetData><m:row\n r='3'><m:c s='0' r='B3' ><m:v xml:space='preserve'> <![CDATA[4]]> </m:v></m:c><m:c r='C3'><m:f>B3*2</m:f><m:v>8</m:v></m:c></m:row></m:sheetData></m:worksheet>"
    );
    let wanted = own.replace(" <![CDATA[4]]> ", "7").replace("<m:v>8</m:v>", "<m:v></m:v>");
    for target in ["worksheets/one.xml", "/xl/worksheets/one.xml", "/deep/er/one.xml"] {
        let bytes = book(&[("Stock", target, &own)], "<definedNames/><calcPr calcMode='manual'/>");
        let done = with(&bytes, &[("Stock", 2, 1, 7)]);
        let done = done.unwrap_or_else(|problem| panic!("{target}: {problem}"));
        let name =
            if target.starts_with("/deep") { "deep/er/one.xml" } else { "xl/worksheets/one.xml" };
        assert_eq!(part(&done.bytes, name), wanted, "{target}");
        assert_eq!((done.emptied, done.unclear), (1, 0));
        let settings = "<calcPr calcMode='manual' fullCalcOnLoad=\"1\"/></workbook>";
        assert!(part(&done.bytes, "xl/workbook.xml").ends_with(settings));
    }
}

#[test]
fn a_count_is_written_whatever_it_was_stored_as() {
    for (before, after) in [
        ("<c r=\"B1\" t=\"inlineStr\"><is><r><t>4</t></r></is></c>", "<c r=\"B1\"><v>7</v></c>"),
        ("<c r=\"B1\" t=\"str\"><v>4</v></c>", "<c r=\"B1\"><v>7</v></c>"),
        ("<c t=\"n\" r=\"B1\"><v>4.0</v></c>", "<c t=\"n\" r=\"B1\"><v>7</v></c>"),
        ("<c r=\"B1\" s=\"0\"/>", "<c r=\"B1\" s=\"0\"><v>7</v></c>"),
    ] {
        let row = |cell: &str| format!("<row r=\"1\"><c r=\"A1\"><v>1</v></c>{cell}</row>");
        assert_eq!(changed(&row(before)).0, row(after));
    }
    // Rows and cells without addresses.
    let (rows, _) = changed("<row><c><v>1</v></c><c><v>4</v></c></row>");
    assert_eq!(rows, "<row><c><v>1</v></c><c><v>7</v></c></row>");
}

/// Which results are emptied, by the cells of row 2 on.
#[test]
fn results_are_emptied_where_they_depend_or_may_depend() {
    let rows = |of: &dyn Fn(&str) -> String| {
        let cell =
            |at: &str, formula: &str| format!("<c r=\"{at}\">{formula}<v>{}</v></c>", of(at));
        [
            "<row r=\"1\"><c r=\"A1\"><v>1</v></c><c r=\"B1\"><v>B</v></c></row><row r=\"2\">"
                .to_string(),
            cell("A2", "<f>SUM($B$1:B1)</f>"),
            cell("B2", "<f>A1*3</f>"),
            cell("C2", "<f t=\"shared\" si=\"0\" ref=\"C2:E2\">B1+1</f>"),
            cell("D2", "<f t=\"shared\" si=\"0\"/>"),
            cell("E2", "<f t=\"shared\" si=\"1\"/>"),
            cell("F2", "<f>OFFSET(A1,0,1)</f>"),
            cell("G2", "<f>Total</f>"),
            cell("H2", "<f>G2&amp;\"\"</f>"),
            cell("I2", "<f t=\"array\" ref=\"I2:J2\">B1:C1</f>"),
            cell("J2", ""),
            cell("K2", "<f>J2</f>"),
            cell("L2", "<f>[1]Other!B1+PI()</f>"),
            cell("M2", "<f>TODAY()</f>"),
            "</row>".to_string(),
        ]
        .concat()
    };
    let before = rows(&|_| "5".into()).replace("<v>B</v>", "<v>4</v>");
    let (after, done) = changed(&before);
    let stays = ["B2", "D2", "L2", "M2"];
    let wanted = rows(&|at| if stays.contains(&at) { "5".into() } else { String::new() });
    assert_eq!(after, wanted.replace("<v>B</v>", "<v>7</v>"));
    // E2 shares a text that is not there.
    assert_eq!((done.emptied, done.unclear), (9, 3));
}

#[test]
fn other_sheets_that_depend_are_touched_and_no_others() {
    let count = sheet("<row r=\"1\"><c r=\"B1\"><v>4</v></c></row>");
    let reader = sheet("<row r=\"1\"><c r=\"A1\"><f>'It''s stock'!B1</f><v>4</v></c></row>");
    let far = sheet("<row r=\"1\"><c r=\"A1\"><f>Reader!A1</f><v>4</v></c></row>");
    let other = sheet("<row r=\"1\"><c r=\"A1\"><f>B1</f><v>4</v></c></row>");
    let sheets = [
        ("Far", "far.xml", far.as_str()),
        ("It's stock", "s.xml", &count),
        ("Reader", "r.xml", &reader),
        ("Other", "o.xml", &other),
    ];
    let done = with(&book(&sheets, ""), &[("It's stock", 0, 1, 7)]).unwrap();
    assert_eq!(done.emptied, 2);
    assert_eq!(part(&done.bytes, "xl/s.xml"), count.replace(">4<", ">7<"));
    for (name, text) in [("xl/far.xml", &far), ("xl/r.xml", &reader)] {
        assert_eq!(part(&done.bytes, name), text.replace(">4<", "><"), "{name}");
    }
    assert_eq!(part(&done.bytes, "xl/o.xml"), other);
    // Without a change, the file is the same byte for byte.
    let bytes = book(&sheets, "");
    assert_eq!(with(&bytes, &[]).unwrap().bytes, bytes);
}

#[test]
fn damaged_and_hostile_files_are_problems() {
    let count = sheet("<row r=\"1\"><c r=\"A1\"><v>1</v></c><c r=\"B1\"><v>4</v></c></row>");
    let good = book(&[("Stock", "s.xml", &count)], "");
    // A cell or a sheet that is not there.
    for change in [("Stock", 9, 1, 7), ("Stock", 0, 2, 7), ("Store", 0, 1, 7)] {
        let problem = with(&good, &[change]).unwrap_err();
        assert!(problem.found.contains("no cell to write the count into"), "{problem}");
    }
    // Every way to cut the file off, or to change one byte: a problem, or the right cells.
    let memory = Memory::default();
    let read = workbook("stock.xlsx", good.clone(), &mut memory.clone()).unwrap();
    let change = [CellCount { sheet: "Stock".into(), row: 0, column: 1, count: 7 }];
    for at in (0..good.len()).step_by(3) {
        let mut other = good.clone();
        other[at] ^= 0x15;
        for bytes in [&good[..at], &other] {
            if let Ok(Some(done)) = patched(&read, bytes, &change, &memory) {
                let after = workbook("stock.xlsx", done.bytes, &mut memory.clone()).unwrap();
                assert_eq!(after.sheets[0].rows[0].cell(1).unwrap().show(), "7");
                assert_eq!(after.sheets[0].rows[0].cell(0).unwrap().show(), "1");
            }
        }
    }
    // A part that is no UTF-8, a cell that ends nowhere, a part that unpacks without end.
    let wide: String = " ".repeat(6_000_000);
    let endless = count.replace("<sheetData>", &format!("<sheetData>{wide}"));
    let small = Memory::of_megabytes(16);
    let bytes = book(&[("Stock", "s.xml", &endless)], "");
    assert!(bytes.len() < 20_000, "it is packed small");
    let refused = patched(&read, &bytes, &change, &small).unwrap_err();
    assert!(
        refused.expected.contains("16 MB of memory") || refused.found.contains("too long"),
        "{refused}"
    );
    let lines = format!("{}<sheetData>", " <a/>".repeat(1_500_000));
    let bytes = book(&[("Stock", "s.xml", &count.replace("<sheetData>", &lines))], "");
    let refused = patched(&read, &bytes, &change, &small).unwrap_err();
    assert!(refused.found.contains("a very large part xl/s.xml"), "{refused}");
}

/// Every byte of a sheet's part changed, one after the other: no panic, and whatever is written reads as it should.
#[test]
fn a_part_with_a_wrong_byte_is_a_problem_or_comes_out_right() {
    let rows = "<row r=\"1\"><c r=\"A1\" t=\"inlineStr\"><is><t>a</t></is></c><c s='0' r=\"B1\"><v>4</v></c><c r=\"C1\"><f t=\"shared\" si=\"0\" ref=\"C1:D1\">SUM($B1:B1)&amp;1</f><v>4</v></c><c r=\"D1\"><f t=\"shared\" si=\"0\"/><v>4</v></c><c/></row>";
    let text = sheet(rows);
    let memory = Memory::default();
    let (mut tried, mut written) = (0, 0);
    for at in text.find("<sheetData>").unwrap()..text.len() {
        for byte in ["<", ">", "\"", "'", "&", "/", " ", "=", "1", "", "é"] {
            let other = format!("{}{byte}{}", &text[..at], &text[at + 1..]);
            let bytes = book(&[("Stock", "s.xml", &other)], "");
            let Ok(read) = workbook("stock.xlsx", bytes.clone(), &mut memory.clone()) else {
                continue;
            };
            tried += 1;
            let change = CellCount { sheet: "Stock".into(), row: 0, column: 1, count: 7 };
            if let Ok(Some(done)) = patched(&read, &bytes, &[change], &memory) {
                written += usize::from(done.formulas.is_empty());
            }
        }
    }
    assert!(tried > 500 && written > 400, "{tried} {written}");
}
