//! Long sheets whose rows are packed while further ones are written, and put into the workbook once it is made.
//!
//! # Decision
//!
//! rust_xlsxwriter keeps the cells of a sheet, or through a file the height of each row and each merged cell, until the
//! workbook is saved, finds each cell's format by all its properties, and packs on one thread at the end. For
//! thousands of pumps that was most of a run. So the rows of the further sheets of slips and stack-ups are worded here
//! ([`Rows`]) and packed at once; the library makes the sheet around them: its set-up, pictures, rules and links.

use std::cell::RefCell;
use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};
use std::io::{Cursor, Read, Write};
use std::rc::Rc;

use rust_xlsxwriter::{Format, Workbook, Worksheet, XlsxError};
use zip::write::SimpleFileOptions;
use zip::{ZipArchive, ZipWriter};

use super::deflate::{self, Packed};
use super::drawings::Drawings;
use super::page::Written;
use super::rows::{Rows, Worded};

/// The sheets of a workbook whose rows are packed, and the formats of their cells.
pub(super) struct Packing {
    formats: Rc<RefCell<Formats>>,
    done: Vec<(String, Worded)>,
}

impl Packing {
    /// Packing for a workbook whose sheets have no format yet; nothing where there can be no temporary file.
    ///
    /// Until the last such sheet is done, no other sheet may go through the workbook: the formats have their numbers by
    /// the order in which they come.
    pub(super) fn of(workbook: &mut Workbook) -> Option<Packing> {
        let sheet = workbook.new_worksheet_with_low_memory().ok()?;
        let formats = Rc::new(RefCell::new(Formats { sheet, known: HashMap::default() }));
        Some(Packing { formats, done: Vec::new() })
    }

    /// Rows for a sheet.
    pub(super) fn rows(&self) -> Rows {
        Rows::new(Rc::clone(&self.formats))
    }

    /// Takes the rows of a sheet, which has this name in the workbook.
    pub(super) fn take(&mut self, name: String, rows: Rows) -> Written {
        self.done.push((name, rows.ended()?));
        Ok(())
    }

    /// The parts of a workbook that its rows are put into: their names in the file, and the rows.
    pub(super) fn parts(self, workbook: &mut Workbook) -> HashMap<String, Worded> {
        let sheets = workbook.worksheets().iter().map(Worksheet::name).zip(1..);
        let places: HashMap<String, usize> = sheets.collect();
        let of =
            |(name, rows)| Some((format!("xl/worksheets/sheet{}.xml", places.get(&name)?), rows));
        self.done.into_iter().filter_map(of).collect()
    }
}

/// Numbers that the formats of cells have in a workbook.
pub(super) struct Formats {
    /// Takes no row: a format that is written to it has its number for all sheets.
    sheet: Worksheet,
    known: HashMap<Format, u32, BuildHasherDefault<Quick>>,
}

impl Formats {
    /// The number of a format.
    pub(super) fn number(&mut self, format: &Format) -> Written<u32> {
        if let Some(number) = self.known.get(format) {
            return Ok(*number);
        }
        self.sheet.write_blank(0, 0, format)?;
        // The usual format has number 0.
        let number = match *format == Format::default() {
            true => 0,
            false => self.known.values().max().map_or(1, |last| last + 1),
        };
        self.known.insert(format.clone(), number);
        Ok(number)
    }
}

/// Hashes formats, which nobody chooses to collide.
#[derive(Default)]
struct Quick(u64);

impl Hasher for Quick {
    fn finish(&self) -> u64 {
        self.0
    }

    fn write(&mut self, bytes: &[u8]) {
        for part in bytes.chunks(8) {
            let mut word = [0; 8];
            word[..part.len()].copy_from_slice(part);
            self.write_u64(u64::from_le_bytes(word));
        }
    }

    fn write_u8(&mut self, value: u8) {
        self.write_u64(value.into());
    }

    fn write_u32(&mut self, value: u32) {
        self.write_u64(value.into());
    }

    fn write_u64(&mut self, value: u64) {
        self.0 = (self.0.rotate_left(5) ^ value).wrapping_mul(0x517c_c1b7_2722_0a95);
    }

    fn write_usize(&mut self, value: usize) {
        self.write_u64(value as u64);
    }
}

/// A workbook as the library made it, with the packed rows in their sheets and whole drawings in the places of their
/// stand-ins.
///
/// # Errors
/// Those of the archive, and [`XlsxError::ParameterError`] for a sheet that is not as the library makes it.
pub(super) fn put_in(
    workbook: Vec<u8>,
    drawings: &Drawings<'_>,
    mut rows: HashMap<String, Worded>,
) -> Written<Vec<u8>> {
    let stand_ins = drawings.stand_ins();
    if stand_ins.is_empty() && rows.is_empty() {
        return Ok(workbook);
    }
    let mut old = ZipArchive::new(Cursor::new(&workbook))?;
    let mut new = ZipWriter::new(Cursor::new(Vec::with_capacity(workbook.len())));
    for index in 0..old.len() {
        let mut part = old.by_index(index)?;
        let name = part.name()?.into_owned();
        if let Some(rows) = rows.remove(&name) {
            let mut sheet = with_rows(&name, part, rows)?;
            new.raw_copy_file(sheet.by_index_raw(0)?)?;
            continue;
        }
        let mut bytes = Vec::new();
        if name.starts_with("xl/media/") && !stand_ins.is_empty() {
            part.read_to_end(&mut bytes)?;
        }
        drop(part);
        match stand_ins.iter().find(|[shown, _]| **shown == bytes) {
            Some([_, whole]) => {
                new.start_file(name, SimpleFileOptions::default())?;
                new.write_all(whole)?;
            }
            None => new.raw_copy_file(old.by_index_raw(index)?)?,
        }
    }
    Ok(new.finish()?.into_inner())
}

/// A sheet without rows with these: as the only part of an archive, to be copied from it.
fn with_rows(
    name: &str,
    mut sheet: impl Read,
    rows: Worded,
) -> Written<ZipArchive<Cursor<Vec<u8>>>> {
    let mut around = String::new();
    sheet.read_to_string(&mut around)?;
    let strange = || XlsxError::ParameterError(format!("{name} is not as it was made"));
    let cut = |text: &str, mark: &str| text.find(mark).ok_or_else(strange);
    // Heights of rows that pictures hang from may stand where the rows will.
    let first = cut(&around, "<sheetData")?;
    let after = match around[first..].starts_with("<sheetData/>") {
        true => first + "<sheetData/>".len(),
        false => cut(&around, "</sheetData>")? + "</sheetData>".len(),
    };
    let dimension = cut(&around, "<dimension ref=\"")? + "<dimension ref=\"".len();
    let behind = dimension + cut(&around[dimension..], "\"")?;
    let head =
        [&around[..dimension], &rows.dimension, &around[behind..first], "<sheetData>"].concat();
    // What may be merged stands behind the protection.
    let protection = after + cut(&around[after..], "<sheetProtection")?;
    let tail = protection + cut(&around[protection..], "/>")? + "/>".len();
    let foot = ["</sheetData>", &around[after..tail], &rows.merged, &around[tail..]].concat();
    let mut whole = Packed::default();
    whole.add(&deflate::pack(head.as_bytes(), false));
    for part in rows.parts {
        whole.add(&part.packed());
    }
    whole.add(&deflate::pack(foot.as_bytes(), true));
    Ok(ZipArchive::new(Cursor::new(whole.archive(name)?))?)
}
