//! Files made to fill the memory or to run for ever: each ends in a plain problem, or is read, within the stated 512
//! MB. The program runs under a limit on its address space, so that a reader that asks for more dies, and the test
//! fails.

use std::io::{Cursor, Write};
use std::process::{Command, Output};

use gapwright::problem::Problem;
use gapwright::read::{Memory, workbook};
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use super::*;

/// Default of the program, in units of 1024 bytes.
const KILOBYTES: u64 = 512_000_000 / 1024;
/// Most processor seconds for a file.
const SECONDS: u32 = 60;

/// The program under limits on memory and time.
///
/// The shell can limit the address space. The C library of Linux reserves 64 MiB of it for the heap of each thread,
/// whether used or not, and each sheet of a workbook is written by a thread: as many at once as the machine has time
/// for. One heap for all leaves only the program's own requests in the measure.
fn under_limits() -> Command {
    let mut command = Command::new("sh");
    command
        .env("MALLOC_ARENA_MAX", "1")
        .arg("-c")
        .arg(format!("ulimit -v {KILOBYTES} && ulimit -t {SECONDS} && exec \"$0\" \"$@\""))
        .arg(env!("CARGO_BIN_EXE_gapwright"));
    command
}

/// Runs the program on this stock under the limits.
fn limited(stock: &Path, shop: &Shop) -> Output {
    under_limits()
        .args(["kit".as_ref(), stock, &shop.path("pumps.csv")])
        .args(["--threads", "1", "--out"])
        .arg(shop.path("plan.xlsx"))
        .output()
        .unwrap()
}

/// Runs the program on a stock file that it must refuse, and checks its words.
#[track_caller]
fn refused(name: &str, bytes: &[u8], words: &[&str]) {
    let shop = Shop::new(STOCK, PUMPS);
    let path = shop.path(name);
    fs::write(&path, bytes).unwrap();
    let output = limited(&path, &shop);
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{said}");
    for word in words {
        assert!(said.contains(word), "`{word}` is not in\n{said}");
    }
    assert!(!said.contains("panicked"), "{said}");
    assert!(!shop.path("plan.xlsx").exists());
}

/// A stock file that is read in full all the same.
#[track_caller]
fn accepted(name: &str, bytes: &[u8]) {
    let shop = Shop::new(STOCK, PUMPS);
    let path = shop.path(name);
    fs::write(&path, bytes).unwrap();
    let output = limited(&path, &shop);
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{said}");
    assert!(shop.path("plan.xlsx").exists());
}

/// Reads in this process with less memory, where the code is the same and the file smaller.
#[track_caller]
fn refused_within(megabytes: u32, name: &str, bytes: &[u8], words: &str) {
    let read = workbook(name, bytes.to_vec(), &mut Memory::of_megabytes(megabytes));
    let said = read.map(drop).map_err(|problem: Problem| problem.to_string());
    assert!(said.as_ref().is_err_and(|s| s.contains(words)), "{said:?}");
}

fn zipped<'p>(parts: impl IntoIterator<Item = (&'p str, Vec<u8>)>) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in parts {
        zip.start_file(name, SimpleFileOptions::default()).unwrap();
        zip.write_all(&bytes).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

/// A good workbook with one of its parts replaced.
fn with_part(part: &str, content: Vec<u8>) -> Vec<u8> {
    let good = with_thickness(|sheet| {
        sheet.write_number(4, 3, 0.03).unwrap();
    });
    replaced(&good, part, content)
}

const SHEET: &str = "xl/worksheets/sheet1.xml";
const TEXTS: &str = "xl/sharedStrings.xml";

/// The part of a good sheet, split before its last row's end.
fn good_sheet() -> (String, String) {
    let good = with_thickness(|sheet| {
        sheet.write_number(4, 3, 0.03).unwrap();
    });
    let mut archive = zip::ZipArchive::new(Cursor::new(good)).unwrap();
    let mut text = String::new();
    let mut part = archive.by_name(SHEET).unwrap();
    std::io::Read::read_to_string(&mut part, &mut text).unwrap();
    let (head, tail) = text.split_once("</sheetData>").unwrap();
    (head.to_string(), format!("</sheetData>{tail}"))
}

#[test]
fn a_single_value_without_end() {
    let (head, tail) = good_sheet();
    let blanks = " ".repeat(64_000_000);
    refused(
        "stock.xlsx",
        &with_part(SHEET, format!("{head}{blanks}{tail}").into_bytes()),
        &["far too long", "part xl/worksheets/sheet1.xml", "Nothing was written"],
    );
    let comment = format!("{head}<!-- {} -->{tail}", "<".repeat(20_000_000));
    refused("stock.xlsx", &with_part(SHEET, comment.into_bytes()), &["far too long"]);
}

#[test]
fn a_workbook_that_unpacks_without_end() {
    let (head, tail) = good_sheet();
    let rows = "<row r=\"9\"/>".repeat(3_000_000);
    let bytes = with_part(SHEET, format!("{head}{rows}{tail}").into_bytes());
    assert!(bytes.len() < 1_000_000);
    refused_within(16, "stock.xlsx", &bytes, "unpacks without end");
    accepted("stock.xlsx", &bytes);
}

#[test]
fn a_million_blank_formatted_rows() {
    use std::fmt::Write;
    let (head, tail) = good_sheet();
    let mut rows = String::new();
    for row in 6..=1_000_005 {
        write!(
            rows,
            "<row r=\"{row}\" s=\"0\" customFormat=\"1\"><c r=\"A{row}\" s=\"0\"/><c r=\"B{row}\" s=\"0\"/></row>"
        )
        .unwrap();
    }
    accepted("stock.xlsx", &with_part(SHEET, format!("{head}{rows}{tail}").into_bytes()));
}

#[test]
fn texts_that_are_promised_repeated_or_too_many() {
    let promised = "<sst uniqueCount=\"4000000000\"><si><t>a</t></si></sst>";
    refused("stock.xlsx", &with_part(TEXTS, promised.into()), &["too many texts", "--memory"]);
    let many = format!("<sst>{}</sst>", "<si><t/></si>".repeat(4_000_000));
    refused("stock.xlsx", &with_part(TEXTS, many.into_bytes()), &["too many texts"]);
    // One long text in a few bytes per cell.
    let text =
        format!("<sst>{}</sst>", format!("<si><t>{}</t></si>", "x".repeat(30_000)).repeat(30));
    let bytes = with_part(TEXTS, text.into_bytes());
    let (head, tail) = good_sheet();
    let cells = "<row><c t=\"s\"><v>29</v></c></row>".repeat(100_000);
    let sheet = format!("{head}{cells}{tail}").into_bytes();
    let bytes = replaced(&bytes, SHEET, sheet);
    refused("stock.xlsx", &bytes, &["too many cells", "--memory"]);
}

fn replaced(bytes: &[u8], part: &str, content: Vec<u8>) -> Vec<u8> {
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
    let names: Vec<String> = archive.file_names().map(|n| n.unwrap().to_string()).collect();
    assert!(names.iter().any(|name| name == part), "{part} in {names:?}");
    let parts: Vec<(String, Vec<u8>)> = names
        .into_iter()
        .map(|name| {
            let mut bytes = Vec::new();
            let mut entry = archive.by_name(&name).unwrap();
            std::io::Read::read_to_end(&mut entry, &mut bytes).unwrap();
            let bytes = if name == part { content.clone() } else { bytes };
            (name, bytes)
        })
        .collect();
    zipped(parts.iter().map(|(n, b)| (n.as_str(), b.clone())))
}

#[test]
fn styles_that_multiply() {
    let font = format!("<font><name val=\"{}\"/></font>", "x".repeat(1_000_000));
    let styles = format!(
        "<styleSheet><fonts>{font}</fonts><cellXfs>{}</cellXfs></styleSheet>",
        "<xf fontId=\"0\" numFmtId=\"0\"/>".repeat(60_000)
    );
    refused("stock.xlsx", &with_part("xl/styles.xml", styles.into_bytes()), &["styles"]);
}

#[test]
fn parts_without_number() {
    let names: Vec<String> = (0..60_000).map(|n| format!("xl/media/{n}")).collect();
    let bytes = zipped(names.iter().map(|name| (name.as_str(), Vec::new())));
    refused("stock.xlsx", &bytes, &["more than 50000 parts"]);
}

#[test]
fn xml_that_is_broken_or_nested_without_end() {
    let (head, tail) = good_sheet();
    for (content, words) in [
        (format!("{head}<row></c>{tail}"), "part xl/worksheets/sheet1.xml"),
        (head.clone(), "it ends too early"),
        (
            format!("{head}<row r=\"9\"><c r=\"A9\" t=\"e\"><v>#WHAT!</v></c></row>{tail}"),
            "cannot be read",
        ),
        (
            format!("{head}<row r=\"9\"><c r=\"A9\" t=\"s\"><v>999999</v></c></row>{tail}"),
            "cannot be read",
        ),
        (
            format!("{head}<row r=\"9\"><c r=\"ZZZZZZZ99999999999\"><v>1</v></c></row>{tail}"),
            "cannot be read",
        ),
        (format!("{head}{}{tail}", "<row>".repeat(2_000_000)), "part xl/worksheets/sheet1.xml"),
    ] {
        refused("stock.xlsx", &with_part(SHEET, content.into_bytes()), &[words]);
    }
    // Open elements are remembered, so their number and their names are limited.
    let deep = |name: &str, many: usize| {
        let (open, close) = (format!("<{name}>"), format!("</{name}>"));
        format!("{head}{}{}{tail}", open.repeat(many), close.repeat(many)).into_bytes()
    };
    accepted("stock.xlsx", &with_part(SHEET, deep("a", 200)));
    for (name, many) in [("a".to_string(), 2_000_000), ("a".repeat(3_000_000), 20)] {
        let bytes = with_part(SHEET, deep(&name, many));
        refused("stock.xlsx", &bytes, &["inside each other without end"]);
    }
    // Entities that name each other are not expanded.
    let laughs = "<!DOCTYPE sst [<!ENTITY a \"ha\"><!ENTITY b \"&a;&a;&a;&a;\">]><sst><si><t>&b;</t></si></sst>";
    refused("stock.xlsx", &with_part(TEXTS, laughs.into()), &["cannot be read"]);
}

#[test]
fn sheets_that_lead_elsewhere_or_to_one_part() {
    let (head, tail) = good_sheet();
    let rows = "<row/>".repeat(1_000_000);
    let large = with_part(SHEET, format!("{head}{rows}{tail}").into_bytes());
    let book = |sheets: &str| {
        format!(
            "<workbook xmlns:r=\"http://schemas.openxmlformats.org/officeDocument/2006/relationships\">\
             <sheets>{sheets}</sheets></workbook>"
        )
        .into_bytes()
    };
    let listed =
        |name: &str, id: &str| format!("<sheet name=\"{name}\" sheetId=\"1\" r:id=\"{id}\"/>");
    // Three thousand sheets that share one million rows.
    let many: String = (0..3_000).map(|n| listed(&format!("S{n}"), "rId1")).collect();
    refused(
        "stock.xlsx",
        &replaced(&large, "xl/workbook.xml", book(&many)),
        &["more than 1000 sheets"],
    );
    let two = listed("Stock", "rId1") + &listed("Other", "rId1");
    refused("stock.xlsx", &replaced(&large, "xl/workbook.xml", book(&two)), &["share their cells"]);
    let same = listed("Stock", "rId1") + &listed("Stock", "rId2");
    refused(
        "stock.xlsx",
        &replaced(&large, "xl/workbook.xml", book(&same)),
        &["two sheets of one name"],
    );
    let long = listed(&"x".repeat(3_000_000), "rId1");
    refused("stock.xlsx", &replaced(&large, "xl/workbook.xml", book(&long)), &["a sheet named"]);
    // A part whose name does not end in .xml is XML, and would not have been surveyed.
    let relations = "<Relationships><Relationship Id=\"rId1\" Type=\"http://schemas.openxmlformats.org/\
        officeDocument/2006/relationships/worksheet\" Target=\"worksheets/sheet1.dat\"/></Relationships>";
    let bytes = replaced(&large, "xl/_rels/workbook.xml.rels", relations.into());
    refused("stock.xlsx", &bytes, &["sheet1.dat", "not named as XML is"]);
}

#[test]
fn hidden_rows_relations_and_headings_without_end() {
    let (head, tail) = good_sheet();
    let rows = "<row ht=\"0\"/><row/>".repeat(12_000_000);
    let bytes = with_part(SHEET, format!("{head}{rows}{tail}").into_bytes());
    drop(rows);
    refused("stock.xlsx", &bytes, &["hidden rows"]);
    let relation = "<Relationship Id=\"a\" Target=\"b\"/>".repeat(2_000_000);
    let relations = format!("<Relationships>{relation}</Relationships>").into_bytes();
    refused(
        "stock.xlsx",
        &with_part("xl/_rels/workbook.xml.rels", relations),
        &["too many texts, styles, names"],
    );
    // Every column of a spreadsheet, and long headings: read, and reported in few words.
    let names: Vec<String> = (0..16_000).map(|n| format!("Column {n}")).collect();
    let wide = STOCK.replacen("Reserved", &format!("Reserved,{}", names.join(",")), 1);
    accepted("stock.csv", wide.as_bytes());
    let names: Vec<String> = (0..300).map(|n| format!("{n} {}", "x".repeat(32_000))).collect();
    let long = STOCK.replacen("Reserved", &format!("Reserved,{}", names.join(",")), 1);
    accepted("stock.csv", long.as_bytes());
}

#[test]
fn a_wrong_prefix_on_every_fit_code_is_said_in_time() {
    let mut stock = "Item,Kind,Fit,Thickness (in),Tolerance (in),On hand\n".to_string();
    let mut pumps = PUMPS.lines().next().unwrap().to_string() + "\n";
    for n in 0..20_000 {
        stock
            .push_str(&format!("S{n},shim,F{n},0.010,0.0002,4\nG{n},gasket,F{n},0.090,0.0005,2\n"));
    }
    for n in 0..10_000 {
        pumps.push_str(&format!("P{n},screwed-impeller,1,FX{n},FX{n},0.031,0.050\n"));
    }
    let shop = Shop::new(&stock, &pumps);
    let output = limited(&shop.path("stock.csv"), &shop);
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2));
    assert!(said.contains("and 19980 more"), "{}", &said[..2_000]);
    assert!(said.contains("20000 problems"), "{}", &said[said.len() - 300..]);
    assert!(said.len() < 20_000, "{} bytes", said.len());
}

/// A small OpenDocument workbook around this table.
fn open_document(table: &str) -> Vec<u8> {
    let content = format!(
        "<office:document-content><office:body><office:spreadsheet>{table}</office:spreadsheet>\
         </office:body></office:document-content>"
    );
    zipped([
        ("mimetype", b"application/vnd.oasis.opendocument.spreadsheet".to_vec()),
        ("content.xml", content.into_bytes()),
    ])
}

#[test]
fn cells_repeated_without_end() {
    let text = "<text:p>x</text:p></table:table-cell>";
    let cell = |many: &str| {
        format!(
            "<table:table-cell office:value-type=\"string\" table:number-columns-repeated=\"{many}\">{text}"
        )
    };
    let table = |rows: &str, cells: &str| {
        open_document(&format!(
            "<table:table table:name=\"Stock\"><table:table-row table:number-rows-repeated=\"{rows}\">{cells}\
             </table:table-row></table:table>"
        ))
    };
    for (rows, columns) in
        [("1048576", "16384"), ("4294967296", "1"), ("99999999999999999999", "3")]
    {
        let bytes = table(rows, &cell(columns));
        let shop = Shop::new(STOCK, PUMPS);
        fs::write(shop.path("stock.ods"), bytes).unwrap();
        let output = limited(&shop.path("stock.ods"), &shop);
        assert_eq!(output.status.code(), Some(2), "{rows} x {columns}");
    }
    refused("stock.ods", &table("1048576", &cell("16384")), &["too many cells"]);
    let blanks = "<table:table-cell office:value-type=\"string\"><text:p><text:s text:c=\"4000000000\"/></text:p></table:table-cell>";
    refused("stock.ods", &table("1", blanks), &["far too long"]);
    // A whole sheet of empty styled cells, as programs write it, takes no memory.
    let empty =
        "<table:table-cell table:style-name=\"ce1\" table:number-columns-repeated=\"16384\"/>";
    refused("stock.ods", &table("1048576", empty), &["no heading row"]);
}

#[test]
fn an_open_document_that_is_cut_short() {
    let whole = fs::read("tests/formats/shop.ods").unwrap();
    let mut archive = zip::ZipArchive::new(Cursor::new(&whole)).unwrap();
    let mut content = String::new();
    let mut part = archive.by_name("content.xml").unwrap();
    std::io::Read::read_to_string(&mut part, &mut content).unwrap();
    let mut refusals = 0;
    for cut in (0..content.len()).step_by(97).filter(|cut| content.is_char_boundary(*cut)) {
        let bytes = replaced(&whole, "content.xml", content.as_bytes()[..cut].to_vec());
        let read = workbook("stock.ods", bytes, &mut Memory::default());
        if cut > 0 {
            let problem = read.unwrap_err().to_string();
            assert!(problem.contains("part content.xml"), "{cut}: {problem}");
            refusals += 1;
        }
    }
    assert!(refusals > 50, "{refusals}");
}

/// A container of the old kind with this stream of records in it.
fn old_workbook(records: &[(u16, Vec<u8>)]) -> Vec<u8> {
    let mut file = cfb::CompoundFile::create(Cursor::new(Vec::new())).unwrap();
    let mut stream = file.create_stream("/Workbook").unwrap();
    for (kind, body) in records {
        let length = u16::try_from(body.len()).unwrap();
        stream.write_all(&kind.to_le_bytes()).unwrap();
        stream.write_all(&length.to_le_bytes()).unwrap();
        stream.write_all(body).unwrap();
    }
    drop(stream);
    file.into_inner().into_inner()
}

#[test]
fn one_long_text_shown_in_very_many_cells_of_an_old_workbook() {
    let begin = (0x0809, vec![0, 6, 5, 0, 0, 0, 0, 0]);
    let text = [&[1, 0, 0, 0, 1, 0, 0, 0][..], &8_000_u16.to_le_bytes(), &[0], &[b'x'; 8_000]];
    let mut records = vec![begin.clone(), (0x00fc, text.concat())];
    // The sheet begins after the records before it.
    let before: usize = records.iter().map(|(_, body)| 4 + body.len()).sum();
    let listed_length = 4 + 8 + 5;
    let at = u32::try_from(before + listed_length + 4).unwrap();
    let listed = [&at.to_le_bytes()[..], &[0, 0, 5, 0], b"Stock"].concat();
    records.insert(2, (0x0085, listed));
    records.push((0x000a, vec![]));
    records.push(begin);
    for row in 0..60_000_u16 {
        let cell = [&row.to_le_bytes()[..], &[0, 0, 0, 0], &0_u32.to_le_bytes()];
        records.push((0x00fd, cell.concat()));
    }
    records.push((0x000a, vec![]));
    let bytes = old_workbook(&records);
    assert!(bytes.len() < 2_000_000);
    refused("stock.xls", &bytes, &["too many cells"]);
}

#[test]
fn damaged_old_workbooks_never_panic_nor_run_on() {
    for name in ["shop.xls", "shop.ods", "shop.xlsx"] {
        let whole = fs::read(format!("tests/formats/{name}")).unwrap();
        let (mut read, mut refused) = (0, 0);
        for at in (0..whole.len()).step_by(7) {
            for mask in [0xff, 0x01] {
                let mut spoilt = whole.clone();
                spoilt[at] ^= mask;
                match workbook(name, spoilt, &mut Memory::default()) {
                    Ok(_) => read += 1,
                    Err(problem) => {
                        assert!(!problem.fix.is_empty());
                        refused += 1;
                    }
                }
            }
        }
        assert!(read > 100 && refused > 100, "{name}: {read} read, {refused} refused");
    }
}

#[test]
fn text_files_without_end() {
    let lines = |line: &str, many: usize| line.repeat(many).into_bytes();
    refused("stock.csv", &lines("\"", 1_000_001), &["never closed"]);
    refused("stock.csv", &lines(",", 1_000_000), &["more values in one line"]);
    refused("stock.csv", &lines("a,b,c,d\n", 1_000_000), &["too many cells", "--memory"]);
    refused("stock.csv", b"Item,Kind\nS\x001,shim\n", &["line 2", "NUL"]);
    refused("stock.csv", &lines("Item\n", 13_000_000), &["a file of 65 MB"]);
    // Very many bad cells: a problem for each would take more memory than the cells.
    let mut stock = STOCK.to_string();
    stock.push_str(&"X,shim,F1,thick,wide,some,none\n".repeat(200_000));
    refused("stock.csv", stock.as_bytes(), &["`thick`", "Nothing was written"]);
}

#[cfg(unix)]
#[test]
fn paths_that_are_no_files() {
    let shop = Shop::new(STOCK, PUMPS);
    let pipe = shop.path("pipe.xlsx");
    let made = Command::new("mkfifo").arg(&pipe).status().unwrap();
    assert!(made.success());
    for (path, words) in [
        (pipe, "neither a file nor a folder"),
        (PathBuf::from("/dev/zero"), "neither a file nor a folder"),
        (PathBuf::from("/dev/null"), "neither a file nor a folder"),
        (shop.path("stock.csv/inside.xlsx"), "cannot be read"),
    ] {
        let output = limited(&path, &shop);
        let said = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{said}");
        assert!(said.contains(words), "{said}");
    }
    // A folder with the name of a file is a folder.
    fs::create_dir(shop.path("stock.xlsx")).unwrap();
    let output = limited(&shop.path("stock.xlsx"), &shop);
    assert!(String::from_utf8_lossy(&output.stderr).contains("without any .csv file"));
}

#[cfg(unix)]
#[test]
fn files_beside_the_workbooks_are_bounded_too() {
    let shop = Shop::new(STOCK, PUMPS);
    let models = shop.path("models");
    fs::create_dir(&models).unwrap();
    let run = |extra: &[&str]| {
        let output = under_limits()
            .args(extra)
            .args([shop.path("pumps.csv"), "--stock".into(), shop.path("stock.csv")])
            .arg("--models")
            .arg(&models)
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(2));
        String::from_utf8_lossy(&output.stderr).into_owned()
    };
    for (name, text) in [
        ("large.toml", "a = 1\n".repeat(400_000)),
        ("deep.toml", format!("a = {}", "[".repeat(400_000))),
        ("materials.toml", format!("a = {}", "{b=".repeat(200_000))),
    ] {
        fs::write(models.join(name), text).unwrap();
        // A model file is read once a pump asks for it.
        let stem = name.trim_end_matches(".toml");
        let pumps = PUMPS.replace("screwed-impeller", stem);
        fs::write(shop.path("pumps.csv"), pumps).unwrap();
        let said = run(&["stack"]);
        assert!(said.contains(name), "{said}");
        fs::remove_file(models.join(name)).unwrap();
    }
    fs::write(shop.path("pumps.csv"), PUMPS).unwrap();
    let pipe = models.join("pipe.toml");
    assert!(Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    assert!(run(&["stack"]).contains("pipe.toml"));
    fs::remove_file(&pipe).unwrap();
    for (name, text) in
        [("large.json", " ".repeat(40_000_000)), ("deep.json", "[".repeat(10_000_000))]
    {
        let path = shop.path(name);
        fs::write(&path, text).unwrap();
        assert!(run(&["stack", "--plan", path.to_str().unwrap()]).contains("not a plan file"));
    }
    assert!(run(&["stack", "--plan", "/dev/zero"]).contains("not a plan file"));
}
