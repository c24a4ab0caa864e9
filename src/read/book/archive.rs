//! Zipped workbooks: what kind they are, and their parts.

use std::io::{BufReader, Cursor, Read};

use memchr::memmem;
use zip::ZipArchive;
use zip::read::ZipFile;
use zip::result::ZipError;

use super::memory::Memory;
use crate::problem::{Place, Problem};

/// A zip file in memory.
pub(super) type Archive<'b> = ZipArchive<Cursor<&'b [u8]>>;

/// A part of a zip file, unpacked as it is read.
pub(super) type Part<'a, 'b> = BufReader<ZipFile<'a, Cursor<&'b [u8]>>>;

/// The kinds of zipped workbook.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Office Open XML: .xlsx, .xlsm.
    Xlsx,
    /// The same with binary parts: .xlsb.
    Xlsb,
    /// OpenDocument: .ods.
    Ods,
}

/// Opens a zip file whose directory is of a bearable size.
pub(super) fn open<'b>(
    file: &str,
    bytes: &'b [u8],
    memory: &Memory,
) -> Result<Archive<'b>, Problem> {
    /// Many times the parts of any workbook; each one listed costs memory.
    const MOST_PARTS: usize = 10_000;
    // Counted in the bytes, since the count that the file gives may be wrong.
    let listed = memmem::find_iter(bytes, b"PK\x01\x02");
    if listed.take(MOST_PARTS + 1).count() > MOST_PARTS {
        return Err(memory.too_large(file, &format!("more than {MOST_PARTS} parts")));
    }
    ZipArchive::new(Cursor::new(bytes)).map_err(|_| cut_short(file))
}

/// What kind of workbook it is, by the parts that it must have.
pub(super) fn kind(file: &str, archive: &Archive<'_>) -> Result<Kind, Problem> {
    let has = |wanted: &str| {
        archive
            .file_names()
            .filter_map(Result::ok)
            .any(|name| name.replace('\\', "/").eq_ignore_ascii_case(wanted))
    };
    if has("content.xml") && has("mimetype") {
        Ok(Kind::Ods)
    } else if has("xl/workbook.bin") {
        Ok(Kind::Xlsb)
    } else if has("_rels/.rels") && has("[Content_Types].xml") {
        Ok(Kind::Xlsx)
    } else {
        Err(Problem::new(
            Place::file(file),
            "a zip file that is no workbook",
            "a workbook (.xlsx, .xlsm, .xlsb, .xls, .ods, .csv or a folder of .csv)",
            "unpack it and name the workbook inside, or save it from the spreadsheet program",
        ))
    }
}

/// A part by its name, whatever its case; `None` if it is not there.
pub(super) fn part<'a, 'b>(
    file: &str,
    archive: &'a mut Archive<'b>,
    name: &str,
) -> Result<Option<Part<'a, 'b>>, Problem> {
    let found = archive
        .file_names()
        .filter_map(Result::ok)
        .find(|n| n.replace('\\', "/").eq_ignore_ascii_case(name))
        .map(|n| n.to_string());
    let Some(found) = found else { return Ok(None) };
    match archive.by_name(&found) {
        Ok(part) => Ok(Some(BufReader::new(part))),
        Err(ZipError::FileNotFound) => Ok(None),
        Err(_) => Err(cut_short(file)),
    }
}

/// A stream that ends with an error once it has given out so many bytes.
pub(super) struct AtMost<R> {
    inner: R,
    left: u64,
}

impl<R> AtMost<R> {
    pub(super) fn new(inner: R, left: u64) -> AtMost<R> {
        AtMost { inner, left }
    }

    pub(super) fn left(&self) -> u64 {
        self.left
    }
}

impl<R: Read> Read for AtMost<R> {
    fn read(&mut self, buf: &mut [u8]) -> std::io::Result<usize> {
        let count = self.inner.read(buf)?;
        let enough = self
            .left
            .checked_sub(u64::try_from(count).unwrap_or(u64::MAX));
        self.left = enough.unwrap_or(0);
        match enough {
            Some(_) => Ok(count),
            None => Err(std::io::Error::other("more than may be unpacked")),
        }
    }
}

pub(super) fn cut_short(file: &str) -> Problem {
    Problem::new(
        Place::file(file),
        "a workbook that is cut short or damaged",
        "a whole workbook",
        "fetch or save the file again; if the spreadsheet program opens it, save it from there",
    )
}

/// A workbook, or a part of one, that cannot be made sense of.
pub(super) fn broken(file: &str, part: Option<&str>, why: &str) -> Problem {
    let part = part.map_or_else(String::new, |part| format!("part {part}: "));
    Problem::new(
        Place::file(file),
        format!("a workbook that cannot be read ({part}{why})"),
        "a whole workbook",
        "open it in the spreadsheet program and save it again as .xlsx",
    )
}

pub(super) fn password(file: &str) -> Problem {
    Problem::new(
        Place::file(file),
        "a workbook that is protected by a password",
        "an open workbook",
        "save it without a password",
    )
}
