//! Workbooks: a file or folder of any kind in, its sheets out.
//!
//! Each kind has its reader. All draw on one [`Memory`], keep each cell as it comes, and turn every failure into one
//! plain problem.
//!
//! The general reader (calamine) is asked for .xlsx and .xlsb, cell by cell, once `survey` has found that it will
//! not be made to hold more. For .xls and .ods it would lay out each sheet as a full rectangle, so those two are
//! read here, from the published formats, and tested against it.
//!
//! A cell is what it shows: `format` makes the text from the stored value, or the file has it (.ods, .csv). The digits
//! behind it are found in one way for all kinds ([`crate::sheet::in_full`]).
//!
//! A formula counts by its stored result, if the file does not say that it is to be worked out again. Rows that are
//! hidden, and values that nobody sees (`ink`), are read and reported. Beyond the reach of a file:
//!
//! - .csv has no formulas, nothing hidden and no colours.
//! - .ods has no mark for a result that is pending; a formula without a result is found.
//! - .xls has a result in every formula, even where its program worked out none, and then sets the mark for pending. It
//!   gives colours as the nearest of its palette. Neither it nor .xlsb gives the formula's text here.
//!
//! To add a **reader**: a file here that turns bytes into sheets. Every cell goes through a `Gatherer`, which keeps
//! them in order and draws on [`Memory`]; nothing is allocated on the word of the file. A number goes through
//! `values::number` with its format, or `values::shown` with its text; a text through `values::dressed`. Then a line
//! where the first bytes are looked at, a fixture in `tests/formats`, hostile ones in `tests/bad_input/bounds.rs` and
//! a mode in `tests/fuzz/bodies/reader.rs`.

mod archive;
mod csv;
mod format;
mod gather;
mod ink;
mod memory;
mod ods;
mod patch;
mod styles;
mod survey;
mod values;
mod xls;
mod xlsb;
mod xlsx;
mod xml;

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::bounded;
use crate::digest::{self, sha256};
use crate::guard::guarded;
use crate::problem::{Place, Problem, Problems};
use crate::sheet::{Book, Sheet};
use archive::Kind;
pub use memory::Memory;
pub use patch::{CellCount, Patched, can_be_patched, patched};
pub(super) use survey::address;

/// Kinds of input that can be read, in the words of problems.
const EXPECTED: &str = "a workbook (.xlsx, .xlsm, .xlsb, .xls, .ods, .csv or a folder of .csv)";

/// Endings of the names of text files with values between separators.
const TEXT_ENDS: [&str; 3] = ["csv", "tsv", "txt"];

/// Reads a workbook: .xlsx, .xlsm, .xlsb, .xls, .ods, .csv, or a folder of .csv files, one per sheet.
///
/// # Errors
/// A missing file, or a problem of [`workbook`]; for a folder, one problem per bad file.
pub fn open(path: &Path, memory: &mut Memory) -> Result<Book, Problems> {
    let file = path.display().to_string();
    if path.is_dir() {
        return folder(path, &file, memory);
    }
    let read = bytes(path, &file, memory).and_then(|bytes| workbook(&file, bytes, memory));
    read.map_err(Problems::of)
}

/// Reads a workbook from the bytes of a file; `file` is the name that the user gave.
///
/// The first bytes decide the kind; the extension is used only where they cannot.
///
/// # Errors
/// One problem: not a workbook, protected by a password, cut short, damaged, or larger than `memory` allows.
///
/// ```
/// use gapwright::read::{Memory, workbook};
/// let bytes = b"Item,On hand\nS-1,4\n".to_vec();
/// let book = workbook("stock.csv", bytes, &mut Memory::default()).unwrap();
/// assert_eq!(book.sheets[0].rows.len(), 2);
/// ```
pub fn workbook(file: &str, bytes: Vec<u8>, memory: &mut Memory) -> Result<Book, Problem> {
    let problem = |found: &str, fix: &str| Problem::new(Place::file(file), found, EXPECTED, fix);
    let sha256 = sha256(&bytes);
    let mut is_text = false;
    let sheets = match bytes.as_slice() {
        [] => return Err(problem("an empty file", "save the workbook again")),
        // A zip file with parts, an empty one or a split one; then the container of older programs.
        [b'P', b'K', 3 | 5 | 7, ..] | [0xd0, 0xcf, 0x11, 0xe0, ..] => {
            let read = guarded(|| packed(file, &bytes, memory));
            read.unwrap_or_else(|_| Err(archive::broken(file, None, "it is damaged")))?
        }
        _ if has_extension(file, &TEXT_ENDS) => {
            is_text = true;
            vec![csv::sheet(file, &stem(Path::new(file)), &bytes, memory)?]
        }
        _ => return Err(no_workbook(file, &bytes)),
    };
    Ok(Book {
        file: file.to_string(),
        sha256,
        is_text,
        sheets: sheets.into_iter().map(Arc::new).collect(),
    })
}

/// Workbook in a container: a zip file, or the container of older office programs.
fn packed(file: &str, bytes: &[u8], memory: &mut Memory) -> Result<Vec<Sheet>, Problem> {
    if !bytes.starts_with(b"PK") {
        return xls::sheets(file, bytes, memory);
    }
    let mut archive = archive::open(file, bytes, memory)?;
    match archive::kind(file, &archive)? {
        Kind::Xlsx => xlsx::sheets(file, bytes, &mut archive, memory),
        Kind::Xlsb => xlsb::sheets(file, bytes, &mut archive, memory),
        Kind::Ods => ods::sheets(file, &mut archive, memory),
    }
}

/// Problem of a file that is not a workbook; names its real kind where that can be recognised.
fn no_workbook(file: &str, bytes: &[u8]) -> Problem {
    let start: Vec<u8> = bytes
        .iter()
        .copied()
        .filter(|b| !b.is_ascii_whitespace())
        .take(200)
        .map(|b| b.to_ascii_lowercase())
        .collect();
    let holds = |wanted: &[u8]| memchr::memmem::find(&start, wanted).is_some();
    let (found, fix) = if holds(b"<html") || holds(b"<!doctypehtml") || holds(b"<table") {
        (
            "a web page with the name of a workbook",
            "open it in the spreadsheet program and save it as .xlsx",
        )
    } else if holds(b"%pdf") {
        ("a PDF file", "ask for the workbook that it was printed from")
    } else if holds(b"urn:schemas-microsoft-com:office:spreadsheet") || holds(b"<?xml") {
        ("an XML file, not a workbook", "open it in the spreadsheet program and save it as .xlsx")
    } else if std::str::from_utf8(&bytes[..bytes.len().min(4096)]).is_ok() && !bytes.contains(&0) {
        ("a text file that is not named .csv", "name it .csv if it is one, or save it as .xlsx")
    } else {
        (
            "a file that is no workbook (or one whose beginning is damaged)",
            "save it as .xlsx or .csv from the spreadsheet program",
        )
    };
    Problem::new(Place::file(file), found, EXPECTED, fix)
}

/// Bytes of a plain file within the size limit.
fn bytes(path: &Path, file: &str, memory: &Memory) -> Result<Vec<u8>, Problem> {
    let metadata = fs::metadata(path).map_err(|error| unreadable(file, &error))?;
    if !metadata.is_file() {
        return Err(Problem::new(
            Place::file(file),
            "neither a file nor a folder",
            EXPECTED,
            "save the workbook as a plain file",
        ));
    }
    let most = memory.largest_file();
    if metadata.len() > most {
        let found = format!("a file of {} MB", metadata.len() / 1_000_000);
        return Err(memory.too_large(file, &found));
    }
    bounded::bytes(path, most).map_err(|error| unreadable(file, &error))
}

/// Bytes of a workbook that was read before, as it was then.
///
/// # Errors
/// The file cannot be read, or was changed meanwhile.
pub fn bytes_of(book: &Book, memory: &Memory) -> Result<Vec<u8>, Problem> {
    let bytes = bytes(Path::new(&book.file), &book.file, memory)?;
    match sha256(&bytes) == book.sha256 {
        true => Ok(bytes),
        false => Err(Problem::new(
            Place::file(&book.file),
            "a workbook that was changed while this run worked",
            "the workbook as it was read",
            "run it again",
        )),
    }
}

fn unreadable(file: &str, error: &std::io::Error) -> Problem {
    let (found, fix) = match error.kind() {
        std::io::ErrorKind::NotFound => ("no such file".to_string(), "check the path"),
        _ => (
            format!("a file that cannot be read ({error})"),
            "check that it may be read and that no other program holds it",
        ),
    };
    Problem::new(Place::file(file), found, EXPECTED, fix)
}

/// Files of a folder that are read as the sheets of a workbook, in their order.
///
/// # Errors
/// The folder cannot be read.
pub fn csv_files(folder: &Path) -> std::io::Result<Vec<PathBuf>> {
    let mut files: Vec<PathBuf> = Vec::new();
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if has_extension(&path.to_string_lossy(), &["csv"]) && !bounded::is_shadow(&path) {
            files.push(path);
        }
    }
    files.sort();
    Ok(files)
}

/// Folder of CSV files, one per sheet; each unreadable file is a problem of its own.
fn folder(path: &Path, file: &str, memory: &mut Memory) -> Result<Book, Problems> {
    /// Far more than the sheets of any workbook.
    const MOST_FILES: usize = 200;
    let problem = |found: String| {
        Problems::of(Problem::new(
            Place::file(file),
            found,
            "a folder with one .csv file per sheet",
            "name a workbook, or save each sheet as a .csv file in this folder",
        ))
    };
    let unreadable = |error| problem(format!("a folder that cannot be read ({error})"));
    let files = csv_files(path).map_err(unreadable)?;
    if files.len() > MOST_FILES {
        return Err(problem(format!("a folder with more than {MOST_FILES} .csv files")));
    }
    if files.is_empty() {
        return Err(problem("a folder without any .csv file".into()));
    }
    let mut hash = digest::Hasher::default();
    let (mut sheets, mut problems) = (Vec::new(), Problems::new());
    for csv in files {
        let (name, stem) = (csv.display().to_string(), stem(&csv));
        let read = bytes(&csv, &name, memory).and_then(|bytes| {
            // The split of bytes into files counts too.
            hash.add(format!("{stem}\n{}\n", bytes.len()).as_bytes());
            hash.add(&bytes);
            csv::sheet(&name, &stem, &bytes, memory)
        });
        match read {
            Ok(sheet) => sheets.push(Arc::new(sheet)),
            Err(problem) => problems.add(problem),
        }
    }
    if !problems.none() {
        return Err(problems);
    }
    Ok(Book { file: file.to_string(), sha256: hash.end(), is_text: false, sheets })
}

fn has_extension(file: &str, wanted: &[&str]) -> bool {
    let extension = Path::new(file).extension().and_then(|e| e.to_str());
    extension.is_some_and(|e| wanted.iter().any(|w| e.eq_ignore_ascii_case(w)))
}

fn stem(path: &Path) -> String {
    path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default()
}
