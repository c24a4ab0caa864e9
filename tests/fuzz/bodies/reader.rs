//! Workbooks of every kind, and the checks that follow.
//!
//! A changed byte inside a zip only ever fails its checksum. So most inputs are one part of an otherwise good
//! workbook, and the zip is made around it.

use std::io::{Cursor, Read, Write};
use std::sync::LazyLock;

use gapwright::read::{self, Memory, Sources};
use gapwright::sheet::{Book, Cell};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

use super::told;

/// The first byte: the file, or the part of one, that the rest is.
pub fn run(bytes: &[u8]) {
    let Some((kind, rest)) = super::parted(bytes) else {
        return;
    };
    let (name, bytes) = match kind {
        'x' => ("stock.xlsx", rest.to_vec()),
        'm' => ("stock.xlsm", rest.to_vec()),
        'b' => ("stock.xlsb", rest.to_vec()),
        'l' => ("stock.xls", rest.to_vec()),
        'o' => ("stock.ods", rest.to_vec()),
        'c' => ("stock.csv", rest.to_vec()),
        'p' => ("pumps.csv", rest.to_vec()),
        'q' => ("pumps.xlsx", PUMPS.with("xl/worksheets/sheet1.xml", rest)),
        's' => ("stock.xlsx", STOCK.with("xl/worksheets/sheet1.xml", rest)),
        't' => ("stock.xlsx", STOCK.with("xl/sharedStrings.xml", rest)),
        'w' => ("stock.xlsx", STOCK.with("xl/workbook.xml", rest)),
        'r' => ("stock.xlsx", STOCK.with("xl/_rels/workbook.xml.rels", rest)),
        'f' => ("stock.xlsx", STOCK.with("xl/styles.xml", rest)),
        'd' => ("stock.ods", ODS.with("content.xml", rest)),
        'S' => ("stock.xlsb", XLSB.with("xl/worksheets/sheet1.bin", rest)),
        'T' => ("stock.xlsb", XLSB.with("xl/sharedStrings.bin", rest)),
        'W' => ("stock.xlsb", XLSB.with("xl/workbook.bin", rest)),
        'F' => ("stock.xlsb", XLSB.with("xl/styles.bin", rest)),
        _ => return,
    };
    match read::workbook(name, bytes, &mut Memory::default()) {
        Ok(book) => {
            sound(&book);
            checked(book);
        }
        Err(problem) => assert!(!problem.to_string().is_empty()),
    }
}

/// Promises of the types about a book.
fn sound(book: &Book) {
    for sheet in &book.sheets {
        let mut last_row = None;
        for row in &sheet.rows {
            assert!(last_row < Some(row.number), "rows ascend, each once");
            last_row = Some(row.number);
            let columns = row.cells.iter().map(|(column, _)| *column);
            assert!(columns.is_sorted_by(|a, b| a < b), "columns ascend, each once");
            for (_, cell) in &row.cells {
                if let Cell::Text(text) = cell {
                    assert!(!text.trim().is_empty(), "an empty text is no cell");
                }
                cell.show();
            }
        }
    }
}

/// The whole job with such a workbook, and a sample of the other kind.
fn checked(book: Book) {
    let sample = |name: &str, bytes: &[u8]| {
        read::workbook(name, bytes.to_vec(), &mut Memory::default()).expect("a sample")
    };
    let (stock, pumps) = match book.file.starts_with("stock") {
        true => (book, sample("pumps.csv", TINY_PUMPS)),
        false => (sample("stock.csv", TINY_STOCK), book),
    };
    match read::job_of(stock, pumps, &Sources::default()) {
        Ok(job) => assert!(!job.pumps.is_empty(), "a job has something to do"),
        Err(problems) => told(&problems),
    }
}

const TINY_STOCK: &[u8] = include_bytes!("../../../samples/tiny/stock.csv");
const TINY_PUMPS: &[u8] = include_bytes!("../../../samples/tiny/pumps.csv");

/// The parts of a good workbook.
struct Parts(Vec<(String, Vec<u8>)>);

static STOCK: LazyLock<Parts> = LazyLock::new(|| Parts::of(include_bytes!("../bases/stock.xlsx")));
static PUMPS: LazyLock<Parts> = LazyLock::new(|| Parts::of(include_bytes!("../bases/pumps.xlsx")));
static ODS: LazyLock<Parts> = LazyLock::new(|| Parts::of(include_bytes!("../bases/stock.ods")));
static XLSB: LazyLock<Parts> = LazyLock::new(|| Parts::of(include_bytes!("../bases/stock.xlsb")));

impl Parts {
    fn of(zip: &[u8]) -> Parts {
        let mut zip = ZipArchive::new(Cursor::new(zip)).expect("a zip");
        let mut parts = Vec::new();
        for at in 0..zip.len() {
            let mut part = zip.by_index(at).expect("a part");
            let mut bytes = Vec::new();
            part.read_to_end(&mut bytes).expect("a whole part");
            parts.push((part.name().expect("a name").into_owned(), bytes));
        }
        Parts(parts)
    }

    /// The workbook with one part replaced, and nothing compressed.
    fn with(&self, name: &str, bytes: &[u8]) -> Vec<u8> {
        assert!(self.0.iter().any(|(known, _)| known == name), "{name}");
        let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
        let stored = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
        for (known, good) in &self.0 {
            zip.start_file(known.as_str(), stored).expect("a part");
            let bytes = if known == name { bytes } else { good };
            zip.write_all(bytes).expect("a part");
        }
        zip.finish().expect("a zip").into_inner()
    }
}
