//! Reads .xlsb workbooks: the parts of .xlsx in binary records.

use std::collections::{HashMap, HashSet};
use std::io::{BufReader, Cursor, Read};
use std::sync::Arc;

use calamine::{Reader, SheetVisible, Xlsb, XlsbError};

use super::archive::{
    Archive, AtMost, Trouble, broken, check_sheets, cut_short, part, password, resolved, survey,
};
use super::format::Format;
use super::gather::{Gatherer, Spans, hide};
use super::ink::{Colour, Ink, Inks};
use super::memory::Memory;
use super::values::{self, Value};
use super::xml::{Events, attribute};
use crate::narrow::narrow;
use crate::problem::Problem;
use crate::sheet::{Cell, Merged, Sheet};
use quick_xml::events::Event;

/// Records that are read here, by their numbers in [MS-XLSB] 2.3.
mod record {
    pub(super) const ROW: u16 = 0;
    /// Cells with a value, from short numbers to formulas.
    pub(super) const FIRST_CELL: u16 = 2;
    pub(super) const LAST_CELL: u16 = 11;
    pub(super) const FORMULA_TEXT: u16 = 8;
    pub(super) const FORMULA_NUMBER: u16 = 9;
    pub(super) const FORMULA_BOOL: u16 = 10;
    pub(super) const FORMULA_ERROR: u16 = 11;
    pub(super) const SHARED_TEXT: u16 = 19;
    pub(super) const NAME: u16 = 39;
    pub(super) const FONT: u16 = 43;
    pub(super) const FORMAT: u16 = 44;
    pub(super) const FILL: u16 = 45;
    pub(super) const CELL_STYLE: u16 = 47;
    pub(super) const COLUMNS: u16 = 60;
    pub(super) const SHEET: u16 = 156;
    pub(super) const CALCULATION: u16 = 157;
    pub(super) const MERGED: u16 = 176;
    pub(super) const CELL_STYLES: u16 = 617;
    pub(super) const END_OF_CELL_STYLES: u16 = 618;
}

/// All sheets of a workbook.
pub(super) fn sheets(
    file: &str,
    bytes: &[u8],
    archive: &mut Archive<'_>,
    memory: &mut Memory,
) -> Result<Vec<Sheet>, Problem> {
    let mut survey = Survey::take(file, archive, memory)?;
    let trouble = |error: XlsbError| match error {
        XlsbError::Password => password(file),
        XlsbError::Zip(_) => cut_short(file),
        other => broken(file, None, &other.to_string()),
    };
    let mut workbook: Xlsb<_> = Xlsb::new(Cursor::new(bytes)).map_err(trouble)?;
    let mut sheets = Vec::new();
    for listed in workbook.sheets_metadata().to_vec() {
        if listed.typ != calamine::SheetType::WorkSheet {
            continue;
        }
        let mut gatherer = Gatherer::new(file, listed.name.clone(), memory)?;
        let part = survey.sheet(&listed.name);
        let mut reader = workbook.worksheet_cells_reader(&listed.name).map_err(trouble)?;
        while let Some(found) = reader.next_cell().map_err(trouble)? {
            let at = found.get_position();
            let format = part.styles.get(&at).and_then(|style| survey.formats.get(*style));
            let format = format.map(AsRef::as_ref);
            if let Value::Cell(cell) = values::value(found.get_value().clone(), format) {
                let pending = part.pending.contains(&at);
                let cell = if pending { Cell::Uncalculated("...".into()) } else { cell };
                gatherer.push(at, cell, memory)?;
            }
        }
        for (at, code) in part.errors {
            gatherer.push(at, values::error_of_code(code), memory)?;
        }
        let out_of_sight = listed.visible != SheetVisible::Visible;
        sheets.push(gatherer.finish(out_of_sight, part.spans));
    }
    Ok(sheets)
}

/// Facts about a sheet that the general reader does not give.
#[derive(Default)]
struct OfSheet {
    spans: Spans,
    /// Formulas that give an error, which it ignores.
    errors: Vec<((u32, u32), u8)>,
    /// Formulas with another result that are to be worked out again.
    pending: HashSet<(u32, u32)>,
    /// Cell styles, for cells that may show more than their value.
    styles: HashMap<(u32, u32), usize>,
}

/// Memory that the parts would need, surveyed before they are read.
#[derive(Default)]
struct Survey {
    /// Formats, by the number of the cell style.
    formats: Vec<Arc<Format>>,
    /// Whether the text of a cell style is struck through, or cannot be seen.
    struck: Vec<bool>,
    /// Whether formulas are to be worked out again before their results count.
    recalculation_pending: bool,
    parts: HashMap<String, OfSheet>,
    /// Sheets by name, with the relation that leads to the part.
    sheets: HashMap<String, String>,
    relations: HashMap<String, String>,
}

impl Survey {
    fn take(file: &str, archive: &mut Archive<'_>, memory: &Memory) -> Result<Survey, Problem> {
        let mut taken = Survey::default();
        // Other binary parts, macros and printer settings, are not records and are not read.
        let wanted = |key: &str| {
            let read = ["worksheets/", "sharedstrings", "styles", "workbook"];
            key.ends_with(".bin") && read.iter().any(|read| key.contains(read))
        };
        // Facts about the whole workbook must be known where they are used.
        let of_all = |key: &str| key.contains("styles") || key.contains("workbook");
        let whole = |key: &str| wanted(key) && of_all(key);
        let others = |key: &str| wanted(key) && !of_all(key);
        for these in [&whole as &dyn Fn(&str) -> bool, &others] {
            survey(file, archive, memory, these, |key, stream, room| {
                taken.part(key, BufReader::new(stream), room, memory)
            })?;
        }
        taken.relate(file, archive, memory)?;
        let parts: Vec<String> =
            taken.sheets.keys().filter_map(|name| taken.part_of(name)).collect();
        check_sheets(file, memory, &parts)?;
        match parts.iter().find(|part| !wanted(part)) {
            Some(odd) => Err(broken(file, Some(odd), "it is not named as a sheet's part is")),
            None => Ok(taken),
        }
    }

    /// Surveys one part; returns the bytes that its reader holds of it, at most `room`.
    fn part(
        &mut self,
        key: &str,
        mut stream: impl Read,
        room: u64,
        memory: &Memory,
    ) -> Result<u64, Trouble> {
        let mut of_sheet = OfSheet::default();
        let (mut row, mut held, mut of_cells) = (0, 0, false);
        let mut formats: HashMap<u16, Arc<Format>> = HashMap::new();
        let mut inks = Inks::default();
        let mut body = Vec::new();
        while let Some(kind) = start(&mut stream)? {
            let length = length(&mut stream)?;
            if length > memory.longest_value() {
                return Err(Trouble::Broken("a record that is far too long".into()));
            }
            body.clear();
            (&mut stream).take(length).read_to_end(&mut body)?;
            if u64::try_from(body.len()).ok() != Some(length) {
                return Err(Trouble::Broken("it ends too early".into()));
            }
            if (record::FIRST_CELL..=record::LAST_CELL).contains(&kind)
                && let (Some(column), Some(style)) = (u32_at(&body, 0), u32_at(&body, 4))
            {
                let style = narrow::<usize>(style & 0x00ff_ffff);
                if self.formats.get(style).is_some_and(|format| !format.is_plain()) {
                    held += 48;
                    of_sheet.styles.insert((row, column), style);
                }
                if self.struck.get(style) == Some(&true) {
                    hide(&mut of_sheet.spans.struck, row, row);
                }
            }
            match kind {
                record::ROW => {
                    row = u32_at(&body, 0).unwrap_or(row);
                    // Style, height and flags follow; the flag is fDyZero of [MS-XLSB] 2.4.740.
                    if body.get(11).is_some_and(|flags| flags & 0x10 != 0) {
                        hide(&mut of_sheet.spans.rows, row, row);
                    }
                }
                record::COLUMNS => {
                    let ends = (u32_at(&body, 0), u32_at(&body, 4));
                    if let ((Some(first), Some(last)), Some(1)) =
                        (ends, body.get(16).map(|flags| flags & 1))
                    {
                        hide(&mut of_sheet.spans.columns, first, last);
                    }
                }
                record::MERGED => {
                    let at = |place| u32_at(&body, place);
                    let ends = (at(0), at(4), at(8), at(12));
                    if let (Some(top), Some(bottom), Some(left), Some(right)) = ends {
                        let merged = Merged::of([top, left], [bottom, right]);
                        of_sheet.spans.merged.push(merged);
                    }
                }
                record::FORMULA_ERROR => {
                    held += 32;
                    if let (Some(column), Some(code)) = (u32_at(&body, 0), body.get(8)) {
                        of_sheet.errors.push(((row, column), *code));
                    }
                }
                record::SHARED_TEXT | record::NAME => held += 100 + 2 * length,
                record::FORMAT => {
                    held += 100 + (2 + Format::HELD) * length;
                    if let (Some(number), Some((code, _))) = (u16_at(&body, 0), wide_text(&body, 2))
                    {
                        formats.insert(number, Arc::new(Format::parse(&code)));
                    }
                }
                record::FORMULA_TEXT | record::FORMULA_NUMBER | record::FORMULA_BOOL => {
                    // The result is followed by flags; the second is fAlwaysCalc of [MS-XLSB] 2.5.70.
                    let flags = match kind {
                        record::FORMULA_TEXT => wide_text(&body, 8).map(|(_, end)| end),
                        record::FORMULA_NUMBER => Some(16),
                        _ => Some(9),
                    };
                    let marked = flags.and_then(|at| body.get(at)).is_some_and(|f| f & 2 != 0);
                    if let (Some(column), true) =
                        (u32_at(&body, 0), marked || self.recalculation_pending)
                    {
                        held += 48;
                        of_sheet.pending.insert((row, column));
                    }
                }
                // Flags at the end: fFullCalcOnLoad and fSomeUncalced of [MS-XLSB] 2.4.315.
                record::CALCULATION => {
                    self.recalculation_pending |= body.get(24).is_some_and(|f| f & 0x11 != 0);
                }
                record::FONT => {
                    held += 100;
                    let struck = u16_at(&body, 2).is_some_and(|flags| flags & 0x0008 != 0);
                    inks.fonts.push(Ink { struck, colour: colour(&body, 12) });
                }
                record::FILL => {
                    held += 100;
                    inks.fills.push(match u32_at(&body, 0) {
                        Some(0) => Some(Colour::WHITE),
                        Some(1) => Some(colour(&body, 4)),
                        _ => None,
                    });
                }
                record::CELL_STYLES => of_cells = true,
                record::END_OF_CELL_STYLES => of_cells = false,
                record::CELL_STYLE => {
                    held += 500;
                    if of_cells {
                        let [font, fill] = [4, 6].map(|at| u16_at(&body, at).unwrap_or(0).into());
                        self.struck.push(inks.hide(font, fill));
                        let number = u16_at(&body, 2).unwrap_or(0);
                        let built_in = || Arc::new(Format::built_in(number.into()));
                        self.formats.push(formats.get(&number).cloned().unwrap_or_else(built_in));
                    }
                }
                record::SHEET => {
                    held += 400 + 2 * length;
                    if let Some((name, id)) = listed(&body)
                        && self.sheets.insert(name, id).is_some()
                    {
                        return Err(Trouble::Broken("two sheets of one name".into()));
                    }
                }
                _ => {}
            }
            if held + of_sheet.spans.held() > room {
                return Err(Trouble::Full);
            }
        }
        held += of_sheet.spans.held();
        self.parts.insert(key.to_string(), of_sheet);
        Ok(held)
    }

    /// Finds the cells of each sheet.
    fn relate(
        &mut self,
        file: &str,
        archive: &mut Archive<'_>,
        memory: &Memory,
    ) -> Result<(), Problem> {
        const PART: &str = "xl/_rels/workbook.bin.rels";
        let Some(part) = part(file, archive, PART)? else {
            return Ok(());
        };
        let stream = BufReader::new(AtMost::new(part, memory.longest_value()));
        let mut events = Events::new(stream, memory.longest_value());
        loop {
            let (event, _) =
                events.next().map_err(|why| broken(file, Some(PART), &why.to_string()))?;
            match event {
                Event::Start(element) if element.local_name().as_ref() == "Relationship" => {
                    let id = attribute(&element, "Id");
                    if let (Some(id), Some(target)) = (id, attribute(&element, "Target")) {
                        self.relations.insert(id, target);
                    }
                }
                Event::Eof => return Ok(()),
                _ => {}
            }
        }
    }

    /// The part with the cells of a sheet.
    fn part_of(&self, sheet: &str) -> Option<String> {
        let target = self.relations.get(self.sheets.get(sheet)?)?;
        Some(resolved("xl", target))
    }

    fn sheet(&mut self, name: &str) -> OfSheet {
        let part = self.part_of(name);
        part.and_then(|part| self.parts.remove(&part)).unwrap_or_default()
    }
}

/// A record's number: one byte, or two if the first has its high bit; `None` at the end.
fn start(stream: &mut impl Read) -> std::io::Result<Option<u16>> {
    let mut first = [0];
    if stream.read(&mut first)? == 0 {
        return Ok(None);
    }
    let low = u16::from(first[0] & 0x7f);
    if first[0] & 0x80 == 0 {
        return Ok(Some(low));
    }
    Ok(Some(low | u16::from(byte(stream)? & 0x7f) << 7))
}

/// A record's length: seven bits per byte, four bytes at most.
fn length(stream: &mut impl Read) -> std::io::Result<u64> {
    let mut length = 0;
    for place in 0..4 {
        let next = byte(stream)?;
        length |= u64::from(next & 0x7f) << (7 * place);
        if next & 0x80 == 0 {
            break;
        }
    }
    Ok(length)
}

fn byte(stream: &mut impl Read) -> std::io::Result<u8> {
    let mut byte = [0];
    stream.read_exact(&mut byte)?;
    Ok(byte[0])
}

fn u16_at(body: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_le_bytes(body.get(at..at + 2)?.try_into().ok()?))
}

fn u32_at(body: &[u8], at: usize) -> Option<u32> {
    let bytes = body.get(at..at + 4)?;
    Some(u32::from_le_bytes(bytes.try_into().ok()?))
}

/// A colour ([MS-XLSB] 2.5.11: kind, number, tint, then red, green and blue).
fn colour(body: &[u8], at: usize) -> Colour {
    let Some(&[kind, number, low, high, red, green, blue]) = body.get(at..at + 7) else {
        return Colour::Automatic;
    };
    match kind >> 1 {
        1 => Colour::indexed(number.into()),
        2 => Colour::Rgb(u32::from_be_bytes([0, red, green, blue])),
        3 => Colour::theme(number.into(), u16::from_le_bytes([low, high]).into()),
        _ => Colour::Automatic,
    }
}

/// A sheet's name and relation ([MS-XLSB] 2.4.311: state, number, relation, name).
fn listed(body: &[u8]) -> Option<(String, String)> {
    let (relation, next) = wide_text(body, 8)?;
    let (name, _) = wide_text(body, next)?;
    Some((name, relation))
}

/// A text in UTF-16 after its length, and its end.
fn wide_text(body: &[u8], at: usize) -> Option<(String, usize)> {
    let count = usize::try_from(u32_at(body, at)?).ok()?;
    let end = count.checked_mul(2)?.checked_add(at + 4)?;
    let units = body.get(at + 4..end)?.chunks_exact(2);
    let units: Vec<u16> = units.map(|two| u16::from_le_bytes([two[0], two[1]])).collect();
    Some((String::from_utf16_lossy(&units), end))
}
