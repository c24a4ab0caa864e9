//! Values that nobody sees, rows that are hidden, and formulas without a result that counts, in every kind of file.

use std::fs;
use std::io::{Cursor, Read, Write};

use gapwright::read::{Memory, stock_alone, workbook};
use gapwright::sheet::{Sheet, Span};
use zip::write::SimpleFileOptions;

use crate::{binary, book, cells};

fn sheet(name: &str, bytes: Vec<u8>) -> Sheet {
    let book = workbook(name, bytes, &mut Memory::default());
    let book = book.unwrap_or_else(|problem| panic!("{name}: {problem}"));
    Sheet::clone(&book.sheets[0])
}

fn rows(spans: &[Span]) -> Vec<u32> {
    spans.iter().flat_map(|span| span.first..=span.last).collect()
}

/// A zip file with one part changed.
fn changed(bytes: &[u8], part: &str, change: impl Fn(String) -> String) -> Vec<u8> {
    let mut old = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
    let mut new = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for at in 0..old.len() {
        let mut file = old.by_index(at).unwrap();
        let name = file.name().unwrap().to_string();
        let mut body = Vec::new();
        file.read_to_end(&mut body).unwrap();
        if name == part {
            let text = String::from_utf8(body).unwrap();
            let other = change(text.clone());
            assert_ne!(text, other, "{part}");
            body = other.into_bytes();
        }
        new.start_file(name, SimpleFileOptions::default()).unwrap();
        new.write_all(&body).unwrap();
    }
    new.finish().unwrap().into_inner()
}

/// A workbook whose results count, though the crate that writes it asks for them to be worked out.
fn worked_out() -> Vec<u8> {
    let bytes = book::unseen().unwrap();
    changed(&bytes, "xl/workbook.xml", |text| text.replace(" fullCalcOnLoad=\"1\"", ""))
}

const SHEET: &str = "xl/worksheets/sheet1.xml";

fn recorded(kind: &str) -> Vec<u8> {
    fs::read(format!("tests/formats/probes-unseen.{kind}")).unwrap()
}

/// The .xls and .ods are LibreOffice's, of this .xlsx; `.ci/run` makes them again.
#[test]
fn rows_that_nobody_sees_are_known_in_every_kind_of_file() {
    let [row, column, formula] = book::HIDDEN;
    for (name, bytes) in [
        ("stock.xlsx", worked_out()),
        ("stock.xls", recorded("xls")),
        ("stock.ods", recorded("ods")),
    ] {
        let sheet = sheet(name, bytes.clone());
        assert_eq!(rows(&sheet.struck_rows), book::UNSEEN, "{name}");
        assert_eq!(rows(&sheet.hidden_rows), [row], "{name}");
        assert_eq!(rows(&sheet.hidden_columns), [column], "{name}");
        let at = gapwright::problem::address(formula, 5);
        assert!(cells(&sheet).contains(&format!("{at}: number 2")), "{name}");
        // All of it is reported.
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(name);
        fs::write(&path, bytes).unwrap();
        let stock = stock_alone(&path, None, &mut Memory::default()).unwrap();
        for words in [
            "rows with a value struck through, or in the colour of its ground: 3 to 4, 6",
            "rows that are hidden, by hand or by a filter: 7",
            "columns that are hidden: G",
        ] {
            assert!(
                stock.warnings.iter().any(|warning| warning.found.contains(words)),
                "{name}: {words}\n{:#?}",
                stock.warnings
            );
        }
    }
}

#[test]
fn binary_records_show_what_nobody_sees_and_what_is_pending() {
    let stock = sheet("stock.xlsb", binary::unseen(0));
    assert_eq!(rows(&stock.struck_rows), [1, 2, 4]);
    let formulas = |flags| {
        let cells = cells(&sheet("stock.xlsb", binary::unseen(flags)));
        cells.into_iter().filter(|cell| !cell.starts_with('A')).collect::<Vec<_>>()
    };
    let pending = "C7: formula =..., D7: formula =..., E7: formula =..., F7: error #DIV/0!";
    assert_eq!(formulas(0).join(", "), format!("B7: number 1.5, {pending}"));
    // fFullCalcOnLoad and fSomeUncalced.
    for flags in [0x01, 0x10] {
        assert_eq!(formulas(flags).join(", "), format!("B7: formula =..., {pending}"));
    }
}

#[test]
fn a_result_that_is_pending_is_none_in_xlsx() {
    let found = |bytes: Vec<u8>| cells(&sheet("stock.xlsx", bytes)).join("\n");
    assert!(found(worked_out()).contains("F8: number 2"));
    assert!(found(book::unseen().unwrap()).contains("F8: formula =1+1"));
    let marked = changed(&worked_out(), SHEET, |text| text.replace("<f>", "<f ca=\"1\">"));
    assert!(found(marked).contains("F8: formula =1+1"));
    let none = changed(&worked_out(), SHEET, |text| text.replace("</f><v>2</v>", "</f>"));
    assert!(found(none).contains("F8: formula =1+1"));
}

/// A file may leave addresses out; each cell then follows the last one, and has its own style all the same.
#[test]
fn cells_without_addresses_have_their_styles() {
    let bare = changed(&worked_out(), SHEET, |text| {
        let mut parts = text.split("<c r=\"");
        let first = parts.next().unwrap_or_default().to_string();
        parts.fold(first, |all, part| all + "<c" + part.split_once('"').unwrap().1)
    });
    let [full, bare] = [worked_out(), bare].map(|bytes| sheet("stock.xlsx", bytes));
    assert_eq!(full, bare);
}

/// Record 6 is a formula, its flags after its result; record 12 (how often to repeat) is made into 94, which says that
/// formulas were pending ([MS-XLS] 2.4.127 and 2.4.331).
#[test]
fn a_result_that_is_pending_is_none_in_xls() {
    let bytes = recorded("xls");
    let begin = [0x09, 0x08, 0x10, 0, 0, 6];
    let streams: Vec<usize> =
        (0..bytes.len() - 6).filter(|at| bytes[*at..at + 6] == begin).collect();
    let record = |kind: u8| {
        let mut at = *streams.last().unwrap();
        while bytes[at..at + 2] != [kind, 0] {
            at += 4 + usize::from(u16::from_le_bytes([bytes[at + 2], bytes[at + 3]]));
        }
        at
    };
    let found = |at: usize, value: u8| {
        let mut bytes = bytes.clone();
        bytes[at] = value;
        cells(&sheet("stock.xls", bytes)).join("\n")
    };
    let (formula, repeats) = (record(6), record(12));
    assert!(found(formula, 6).contains("F8: number 2"));
    assert!(found(formula + 18, 1).contains("F8: formula =..."));
    assert!(found(repeats, 94).contains("F8: formula =..."));
}

/// Styles by OASIS OpenDocument 1.3, part 3; those in `styles.xml` have names, and others build on them.
#[test]
fn styles_of_ods_may_be_named_inherited_or_of_a_row_or_column() {
    const SPACES: &str = "xmlns:office=\"urn:oasis:names:tc:opendocument:xmlns:office:1.0\" \
        xmlns:style=\"urn:oasis:names:tc:opendocument:xmlns:style:1.0\" \
        xmlns:fo=\"urn:oasis:names:tc:opendocument:xmlns:xsl-fo-compatible:1.0\" \
        xmlns:table=\"urn:oasis:names:tc:opendocument:xmlns:table:1.0\" \
        xmlns:number=\"urn:oasis:names:tc:opendocument:xmlns:datastyle:1.0\" \
        xmlns:text=\"urn:oasis:names:tc:opendocument:xmlns:text:1.0\"";
    let style = |name: &str, parent: &str, rest: &str| {
        format!(
            "<style:style style:name=\"{name}\" style:family=\"table-cell\" \
             style:parent-style-name=\"{parent}\">{rest}</style:style>"
        )
    };
    let text = |more: &str| format!("<style:text-properties {more}/>");
    let ground =
        |colour: &str| format!("<style:table-cell-properties fo:background-color=\"{colour}\"/>");
    let line = "style:text-line-through-style=\"solid\"";
    let named =
        style("Off", "Off", &text(line)) + &style("Pale", "", &text("fo:color=\"#ffffff\""));
    let own = [
        style("a", "Off", ""),
        style("b", "Off", &text("style:text-line-through-style=\"none\"")),
        style("c", "Pale", ""),
        style("d", "Pale", &ground("#000000")),
        style("e", "Pale", &ground("transparent")),
        style("f", "", &text("fo:color=\"#12ab34\""))
            + "<number:number-style style:name=\"N\">\
            <style:text-properties fo:color=\"#ffffff\"/></number:number-style>",
        style("g", "", &format!("{}{}", text("fo:color=\"#12AB34\""), ground("#12ab34"))),
    ]
    .concat();
    let cell = |style: &str, more: &str| {
        let style = match style {
            "" => String::new(),
            style => format!(" table:style-name=\"{style}\""),
        };
        format!("<table:table-cell{style} {more}><text:p>x</text:p></table:table-cell>")
    };
    let row =
        |more: &str, cells: String| format!("<table:table-row {more}>{cells}</table:table-row>");
    let string = "office:value-type=\"string\"";
    let mut rows_of: String =
        ["a", "b", "c", "d", "e", "f", "g"].iter().map(|s| row("", cell(s, string))).collect();
    // Rows 7 to 9: the style of the row, the style of the column in column B, and neither.
    rows_of += &row("table:default-cell-style-name=\"a\"", cell("", string));
    rows_of += &row("", cell("b", string) + &cell("", string));
    rows_of += &row("table:visibility=\"collapse\"", cell("", string));
    // Formulas: with a result, without one, with the text of one alone, and with an empty text.
    let sum = "table:formula=\"of:=1+1\"";
    rows_of += &row("", cell("", &format!("{sum} office:value-type=\"float\" office:value=\"2\"")));
    rows_of += &row("", cell("", &format!("{sum} office:value-type=\"float\"")));
    rows_of += &row("", cell("", sum));
    rows_of += &row("", format!("<table:table-cell {sum}><text:p/></table:table-cell>"));
    rows_of += &row("", cell("", ""));
    let content = format!(
        "<office:document-content {SPACES}><office:automatic-styles>{own}</office:automatic-styles>\
         <office:body><office:spreadsheet><table:table table:name=\"Stock\"><table:table-column/>\
         <table:table-column table:default-cell-style-name=\"c\"/>{rows_of}</table:table>\
         </office:spreadsheet></office:body></office:document-content>"
    );
    let styles = format!(
        "<office:document-styles {SPACES}><office:styles>{named}</office:styles></office:document-styles>"
    );
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let mimetype = "application/vnd.oasis.opendocument.spreadsheet".to_string();
    for (name, body) in [("mimetype", mimetype), ("content.xml", content), ("styles.xml", styles)] {
        zip.start_file(name, SimpleFileOptions::default()).unwrap();
        zip.write_all(body.as_bytes()).unwrap();
    }
    let sheet = sheet("stock.ods", zip.finish().unwrap().into_inner());
    assert_eq!(rows(&sheet.struck_rows), [0, 2, 4, 6, 7, 8]);
    assert_eq!(rows(&sheet.hidden_rows), [9]);
    let found = cells(&sheet);
    let last: Vec<&str> = found.iter().map(String::as_str).skip(11).collect();
    assert_eq!(last, ["A11: number x", "A12: formula =1+1", "A13: formula =1+1", "A15: text x"],);
}
