//! Zipped workbooks: their kind and their parts.

use std::io::{BufReader, Cursor, Read};

use memchr::memmem;
use zip::ZipArchive;
use zip::read::ZipFile;
use zip::result::ZipError;

use super::memory::Memory;
use super::xml::XmlError;
use crate::narrow::narrow;
use crate::problem::{Place, Problem};

/// A zip file in memory.
pub(super) type Archive<'b> = ZipArchive<Cursor<&'b [u8]>>;

/// A part of a zip file, unpacked as it is read.
pub(super) type Part<'a, 'b> = BufReader<ZipFile<'a, Cursor<&'b [u8]>>>;

/// Kinds of zipped workbook.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Office Open XML: .xlsx, .xlsm.
    Xlsx,
    /// Office Open XML with binary parts: .xlsb.
    Xlsb,
    /// OpenDocument: .ods.
    Ods,
}

/// Opens a zip file whose directory is within the size limit.
pub(super) fn open<'b>(
    file: &str,
    bytes: &'b [u8],
    memory: &Memory,
) -> Result<Archive<'b>, Problem> {
    /// Far more than the parts of any workbook; each one costs memory. A plan of 10,000 pumps has a picture per
    /// label.
    const MOST_PARTS: usize = 50_000;
    const MOST_OF_NAMES: usize = 4_000_000;
    // Counted in the bytes, since the count that the file gives may be wrong.
    let listed = memmem::find_iter(bytes, b"PK\x01\x02");
    if listed.take(MOST_PARTS + 1).count() > MOST_PARTS {
        return Err(memory.too_large(file, &format!("more than {MOST_PARTS} parts")));
    }
    let archive = ZipArchive::new(Cursor::new(bytes)).map_err(|_| cut_short(file))?;
    let names: usize = archive.file_names().flatten().map(|name| name.len()).sum();
    if names > MOST_OF_NAMES {
        return Err(memory.too_large(file, "parts with very long names"));
    }
    Ok(archive)
}

/// Reads the parts that are `wanted` by their lower-case names. `read` gets the part and the number of bytes that its
/// reader may still hold, and returns the number that it will hold.
pub(super) fn survey(
    file: &str,
    archive: &mut Archive<'_>,
    memory: &Memory,
    wanted: impl Fn(&str) -> bool,
    mut read: impl FnMut(&str, &mut dyn Read, u64) -> Result<u64, Trouble>,
) -> Result<(), Problem> {
    let mut unpacked_left = memory.most_unpacked();
    let mut room = memory.most_held();
    for index in 0..archive.len() {
        // The name first: an unneeded picture may be packed in any way.
        let name = archive
            .by_index_raw(index)
            .map_err(|_| cut_short(file))
            .and_then(|part| Ok(part.name().map_err(|_| cut_short(file))?.into_owned()))?;
        let key = key(&name);
        if !wanted(&key) {
            continue;
        }
        let part = archive.by_index(index).map_err(|_| cut_short(file))?;
        let mut stream = AtMost::new(part, unpacked_left);
        let found = read(&key, &mut stream, room);
        unpacked_left = stream.left;
        match found {
            Ok(held) if held <= room => room -= held,
            Ok(_) | Err(Trouble::Full) => {
                let found = format!("too many texts, styles, names or hidden rows (part {name})");
                return Err(memory.too_large(file, &found));
            }
            Err(Trouble::Broken(_)) if unpacked_left == 0 => {
                return Err(memory.too_large(file, "a workbook that unpacks without end"));
            }
            Err(Trouble::Broken(why)) => return Err(broken(file, Some(&name), &why)),
        }
    }
    Ok(())
}

/// Faults of a part.
pub(super) enum Trouble {
    /// Unreadable.
    Broken(String),
    /// Its reader would hold more than it may.
    Full,
}

impl From<XmlError> for Trouble {
    fn from(why: XmlError) -> Trouble {
        Trouble::Broken(why.to_string())
    }
}

impl From<std::io::Error> for Trouble {
    fn from(error: std::io::Error) -> Trouble {
        Trouble::Broken(error.to_string())
    }
}

/// Name of a part in the form that is compared.
pub(super) fn key(name: &str) -> String {
    name.replace('\\', "/").to_ascii_lowercase()
}

/// Target of a relation, in lower case, resolved from the folder of the part that has it.
pub(super) fn resolved(folder: &str, target: &str) -> String {
    let whole = match target.strip_prefix('/') {
        Some(whole) => whole.to_string(),
        None => format!("{folder}/{target}"),
    };
    let mut steps: Vec<&str> = Vec::new();
    for step in whole.split('/') {
        match step {
            "" | "." => {}
            ".." => {
                steps.pop();
            }
            step => steps.push(step),
        }
    }
    key(&steps.join("/"))
}

/// Too many sheets for a shop's list; each may be as large as the memory allows.
const MOST_SHEETS: usize = 1_000;

/// Refuses a workbook with too many sheets, or with two sheets that share their cells, which would be read again for
/// each.
pub(super) fn check_sheets(file: &str, memory: &Memory, parts: &[String]) -> Result<(), Problem> {
    if parts.len() > MOST_SHEETS {
        return Err(memory.too_large(file, &format!("more than {MOST_SHEETS} sheets")));
    }
    let distinct: std::collections::HashSet<&String> = parts.iter().collect();
    if distinct.len() < parts.len() {
        return Err(broken(file, None, "two sheets share their cells"));
    }
    Ok(())
}

/// Kind of a workbook, by the parts that it must have.
pub(super) fn kind(file: &str, archive: &Archive<'_>) -> Result<Kind, Problem> {
    let has = |wanted: &str| {
        archive.file_names().filter_map(Result::ok).any(|name| key(&name) == key(wanted))
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
            super::EXPECTED,
            "unpack it and name the workbook inside, or save it from the spreadsheet program",
        ))
    }
}

/// Part of this name, in any case; `None` if it does not exist.
pub(super) fn part<'a, 'b>(
    file: &str,
    archive: &'a mut Archive<'b>,
    name: &str,
) -> Result<Option<Part<'a, 'b>>, Problem> {
    let found = archive
        .file_names()
        .filter_map(Result::ok)
        .find(|n| key(n) == key(name))
        .map(|n| n.to_string());
    let Some(found) = found else { return Ok(None) };
    match archive.by_name(&found) {
        Ok(part) => Ok(Some(BufReader::new(part))),
        Err(ZipError::FileNotFound) => Ok(None),
        Err(_) => Err(cut_short(file)),
    }
}

/// A stream that fails once it has given out `left` bytes.
pub(super) struct AtMost<R> {
    inner: R,
    left: u64,
}

impl<R> AtMost<R> {
    pub(super) fn new(inner: R, left: u64) -> AtMost<R> {
        AtMost { inner, left }
    }

    /// Whether it has given out all that it may.
    pub(super) fn is_spent(&self) -> bool {
        self.left == 0
    }
}

impl<R: Read> Read for AtMost<R> {
    fn read(&mut self, buf: &mut [u8]) -> std::io::Result<usize> {
        let count = self.inner.read(buf)?;
        let enough = self.left.checked_sub(narrow::<u64>(count));
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

/// A workbook, or a part of one, that cannot be interpreted.
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
