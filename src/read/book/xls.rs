//! Reads .xls workbooks of Excel 97 to 2003 (BIFF8, published as [MS-XLS]), record by record.
//!
//! The general reader expands each sheet to a full rectangle and follows a damaged file's chains without end; here
//! the container is checked by its own library and each cell is kept as it comes. Measured on two cells at opposite
//! corners of 60,001 rows and 250 columns, a file of 6 kB: 940 MB with calamine 0.38, 12 MB here, for the whole
//! program.

use std::collections::HashMap;
use std::io::{Cursor, Read};
use std::sync::Arc;

use super::archive::{broken, check_sheets, cut_short, password};
use super::format::Format;
use super::gather::{Gatherer, Spans, hide};
use super::ink::{Colour, Ink};
use super::memory::Memory;
use super::values::{self, Value};
use crate::narrow::narrow;
use crate::problem::{Place, Problem};
use crate::sheet::{Cell, Merged, Sheet};

/// Records that are read here, by their numbers in [MS-XLS] 2.3.
mod record {
    pub(super) const FORMULA: u16 = 0x0006;
    pub(super) const END: u16 = 0x000a;
    pub(super) const EPOCH: u16 = 0x0022;
    pub(super) const PASSWORD: u16 = 0x002f;
    pub(super) const FONT: u16 = 0x0031;
    pub(super) const CONTINUE: u16 = 0x003c;
    pub(super) const UNCALCULATED: u16 = 0x005e;
    pub(super) const COLUMNS: u16 = 0x007d;
    pub(super) const SHEET: u16 = 0x0085;
    pub(super) const PALETTE: u16 = 0x0092;
    pub(super) const NUMBERS: u16 = 0x00bd;
    pub(super) const RICH_TEXT: u16 = 0x00d6;
    pub(super) const CELL_STYLE: u16 = 0x00e0;
    pub(super) const MERGED: u16 = 0x00e5;
    pub(super) const SHARED_TEXTS: u16 = 0x00fc;
    pub(super) const SHARED_TEXT: u16 = 0x00fd;
    pub(super) const NUMBER: u16 = 0x0203;
    pub(super) const TEXT: u16 = 0x0204;
    pub(super) const BOOL_OR_ERROR: u16 = 0x0205;
    pub(super) const TEXT_OF_FORMULA: u16 = 0x0207;
    pub(super) const ROW: u16 = 0x0208;
    pub(super) const SHORT_NUMBER: u16 = 0x027e;
    pub(super) const FORMAT: u16 = 0x041e;
    pub(super) const BEGIN: u16 = 0x0809;
}

/// Reasons why reading ended.
enum Stop {
    Broken(&'static str),
    Full,
    Password,
    TooOld,
    Is(Problem),
}

/// All sheets of a workbook.
pub(super) fn sheets(file: &str, bytes: &[u8], memory: &mut Memory) -> Result<Vec<Sheet>, Problem> {
    let stream = stream(file, bytes)?;
    let read = Globals::read(&stream, memory).and_then(|globals| {
        let places: Vec<String> = globals.sheets.iter().map(|l| l.at.to_string()).collect();
        check_sheets(file, memory, &places).map_err(Stop::Is)?;
        // Sheets that overlap would be walked through again and again.
        let mut walk = stream.len();
        let listed = globals.sheets.iter();
        let sheets = listed.map(|listed| globals.sheet(file, listed, &stream, &mut walk, memory));
        sheets.collect::<Result<Vec<_>, _>>()
    });
    read.map_err(|stop| match stop {
        Stop::Broken(why) => broken(file, Some("Workbook"), why),
        Stop::Full => memory.too_large(file, "too many texts, styles or hidden rows"),
        Stop::Is(problem) => problem,
        Stop::Password => password(file),
        Stop::TooOld => Problem::new(
            Place::file(file),
            "a workbook of Excel 95 or older",
            "a workbook of Excel 97 or later",
            "open it in the spreadsheet program and save it as .xlsx",
        ),
    })
}

/// The stream with the records, out of the container.
fn stream(file: &str, bytes: &[u8]) -> Result<Vec<u8>, Problem> {
    let mut container = cfb::CompoundFile::open(Cursor::new(bytes)).map_err(|_| cut_short(file))?;
    // An encrypted .xlsx comes in such a container too.
    if container.exists("/EncryptedPackage") {
        return Err(password(file));
    }
    let Ok(stream) = container.open_stream("/Workbook") else {
        let old = container.exists("/Book");
        return Err(Problem::new(
            Place::file(file),
            if old {
                "a workbook of Excel 95 or older"
            } else {
                "a file of another office program"
            },
            super::EXPECTED,
            "open it in the spreadsheet program and save it as .xlsx",
        ));
    };
    let mut content = Vec::new();
    // No stream is longer than its file, whatever it claims.
    let most = narrow::<u64>(bytes.len());
    let read = stream.take(most).read_to_end(&mut content);
    read.map_err(|_| cut_short(file))?;
    Ok(content)
}

/// A record: its number and its bytes.
#[derive(Clone, Copy)]
struct Record<'s> {
    kind: u16,
    body: &'s [u8],
}

/// Records of a stream from a given offset on.
struct Records<'s> {
    stream: &'s [u8],
}

impl<'s> Records<'s> {
    fn next(&mut self) -> Result<Record<'s>, Stop> {
        let (Some(kind), Some(length)) = (u16_at(self.stream, 0), u16_at(self.stream, 2)) else {
            return Err(Stop::Broken("it ends too early"));
        };
        let end = 4 + usize::from(length);
        let body = self.stream.get(4..end);
        let body = body.ok_or(Stop::Broken("it ends too early"))?;
        self.stream = &self.stream[end..];
        Ok(Record { kind, body })
    }

    /// The record's bytes and those of the records that continue it.
    fn continued(&mut self, first: &'s [u8]) -> Result<Vec<&'s [u8]>, Stop> {
        let mut pieces = vec![first];
        while u16_at(self.stream, 0) == Some(record::CONTINUE) {
            let more = self.next()?.body;
            if !more.is_empty() {
                pieces.push(more);
            }
        }
        Ok(pieces)
    }
}

/// An entry of the list of sheets.
struct Listed {
    at: usize,
    name: String,
    hidden: bool,
    worksheet: bool,
}

/// A cell style ([MS-XLS] 2.4.353): numbers of its font and format, the pattern of its fill (0 none, 1 solid) and the
/// number of its colour.
struct CellStyle {
    font: usize,
    format: u16,
    pattern: u32,
    fill: u16,
}

impl CellStyle {
    fn of(body: &[u8]) -> CellStyle {
        let number = |at| u16_at(body, at).unwrap_or(0);
        // There is no font with the number 4.
        let font = number(0) - u16::from(number(0) > 4);
        CellStyle {
            font: font.into(),
            format: number(2),
            pattern: u32_at(body, 14).unwrap_or(0) >> 26,
            fill: number(18) & 0x7f,
        }
    }
}

/// Facts about the whole workbook.
#[derive(Default)]
struct Globals {
    sheets: Vec<Listed>,
    texts: Vec<String>,
    /// By the number of the cell style.
    formats: Vec<Arc<Format>>,
    /// Whether the text of a cell style is struck through, or cannot be seen.
    struck: Vec<bool>,
    from_1904: bool,
}

impl Globals {
    fn read(stream: &[u8], memory: &mut Memory) -> Result<Globals, Stop> {
        let mut records = Records { stream };
        let begin = records.next()?;
        if begin.kind != record::BEGIN || u16_at(begin.body, 0) != Some(0x0600) {
            return Err(Stop::TooOld);
        }
        let mut globals = Globals::default();
        let mut formats = HashMap::new();
        let (mut styles, mut fonts, mut held) = (Vec::new(), Vec::new(), 0);
        let mut palette = Vec::new();
        loop {
            let next = records.next()?;
            if matches!(
                next.kind,
                record::FORMAT | record::FONT | record::CELL_STYLE | record::SHEET
            ) {
                held += 200 + 2 * u64::try_from(next.body.len()).unwrap_or(u64::MAX / 4);
            }
            if held > memory.most_held() / 2 {
                return Err(Stop::Full);
            }
            match next.kind {
                record::PASSWORD => return Err(Stop::Password),
                record::EPOCH => globals.from_1904 = u16_at(next.body, 0) == Some(1),
                record::FORMAT => {
                    let code = next.body.get(2..).and_then(text);
                    if let (Some(number), Some(code)) = (u16_at(next.body, 0), code) {
                        held += Format::HELD * narrow::<u64>(code.len());
                        formats.insert(number, Arc::new(Format::parse(&code)));
                    }
                }
                record::FONT => {
                    let struck = u16_at(next.body, 2).is_some_and(|flags| flags & 0x0008 != 0);
                    fonts.push((struck, u16_at(next.body, 4).unwrap_or(0x7fff)));
                }
                record::CELL_STYLE => styles.push(CellStyle::of(next.body)),
                record::PALETTE => {
                    let colours = next.body.get(2..).unwrap_or_default().chunks_exact(4);
                    palette = colours.map(|c| u32::from_be_bytes([0, c[0], c[1], c[2]])).collect();
                }
                record::SHEET => globals.sheets.extend(listed(next.body)),
                record::SHARED_TEXTS => {
                    let pieces = records.continued(next.body)?;
                    globals.texts = shared_texts(&pieces, memory.most_held() / 2)?;
                }
                record::END => break,
                _ => {}
            }
        }
        // The first eight colours are always the same.
        let colour = |number: u16| {
            let own = number.checked_sub(8).and_then(|at| palette.get(usize::from(at)));
            own.map_or_else(|| Colour::indexed(number.into()), |rgb| Colour::Rgb(*rgb))
        };
        let ink = |&(struck, number)| Ink { struck, colour: colour(number) };
        for CellStyle { font, format, pattern, fill } in styles {
            globals.formats.push(match formats.get(&format) {
                Some(format) => Arc::clone(format),
                None => Arc::new(Format::built_in(format.into())),
            });
            let ground = match pattern {
                0 => Some(Colour::WHITE),
                1 => Some(colour(fill)),
                _ => None,
            };
            let ink = fonts.get(font).map(ink).unwrap_or_default();
            globals.struck.push(ink.is_out_of_sight(ground));
        }
        Ok(globals)
    }

    fn sheet(
        &self,
        file: &str,
        listed: &Listed,
        stream: &[u8],
        walk: &mut usize,
        memory: &mut Memory,
    ) -> Result<Sheet, Stop> {
        let mut gatherer = Gatherer::new(file, listed.name.clone(), memory).map_err(Stop::Is)?;
        let mut spans = Spans::default();
        if !listed.worksheet {
            return Ok(gatherer.finish(listed.hidden, spans));
        }
        let stream = stream.get(listed.at..);
        let mut records =
            Records { stream: stream.ok_or(Stop::Broken("a sheet that is not there"))? };
        let whole = records.stream.len();
        let mut depth = 0_u32;
        // A formula's text is in a record of its own after it.
        let (mut awaited, mut all_pending) = (None, false);
        loop {
            let Record { kind, body } = records.next()?;
            if whole - records.stream.len() > *walk {
                return Err(Stop::Broken("sheets that overlap"));
            }
            match kind {
                record::BEGIN => depth += 1,
                record::END if depth <= 1 => break,
                record::END => depth -= 1,
                // Inside a chart.
                _ if depth > 1 => {}
                record::UNCALCULATED => all_pending = true,
                record::ROW => {
                    if let (Some(row), Some(flags)) = (u16_at(body, 0), u16_at(body, 12))
                        && flags & 0x20 != 0
                    {
                        hide(&mut spans.rows, row.into(), row.into());
                    }
                }
                record::COLUMNS => {
                    let ends = (u16_at(body, 0), u16_at(body, 2), u16_at(body, 8));
                    if let (Some(first), Some(last), Some(flags)) = ends
                        && flags & 1 != 0
                    {
                        hide(&mut spans.columns, first.into(), last.into());
                    }
                }
                record::MERGED => {
                    let ranges = body.get(2..).unwrap_or_default().chunks_exact(8);
                    for range in ranges {
                        let at = |place| u16_at(range, place).map_or(0, u32::from);
                        spans.merged.push(Merged::of([at(0), at(4)], [at(2), at(6)]));
                    }
                }
                record::TEXT_OF_FORMULA => {
                    let pieces = records.continued(body)?;
                    if let (Some((at, style)), Some(text)) = (awaited.take(), long_text(&pieces)) {
                        self.keep(&mut gatherer, at, self.text(&text, style), memory)?;
                    }
                }
                record::NUMBERS => {
                    let (Some(row), Some(first)) = (u16_at(body, 0), u16_at(body, 2)) else {
                        continue;
                    };
                    let cells = body[4..body.len().max(6) - 2].chunks_exact(6);
                    for (cell, column) in cells.zip(u32::from(first)..) {
                        let (Some(style), Some(packed)) = (u16_at(cell, 0), u32_at(cell, 2)) else {
                            continue;
                        };
                        if self.struck.get(usize::from(style)) == Some(&true) {
                            hide(&mut spans.struck, row.into(), row.into());
                        }
                        let value = self.number(short_number(packed), style);
                        self.keep(&mut gatherer, (row.into(), column), value, memory)?;
                    }
                }
                _ => {
                    let place = (u16_at(body, 0), u16_at(body, 2), u16_at(body, 4));
                    let (Some(row), Some(column), Some(style)) = place else {
                        continue;
                    };
                    let at = (row.into(), column.into());
                    let rest = &body[6..];
                    let value = match kind {
                        record::NUMBER => f64_at(rest).map(|number| self.number(number, style)),
                        record::SHORT_NUMBER => {
                            u32_at(rest, 0).map(|n| self.number(short_number(n), style))
                        }
                        record::SHARED_TEXT => {
                            let index = u32_at(rest, 0).and_then(|i| usize::try_from(i).ok());
                            let shared = index.and_then(|index| self.texts.get(index));
                            let shared = shared.ok_or(Stop::Broken("a text that is not there"))?;
                            Some(self.text(shared, style))
                        }
                        record::TEXT | record::RICH_TEXT => {
                            text(rest).map(|t| self.text(&t, style))
                        }
                        record::BOOL_OR_ERROR => bool_or_error(rest),
                        record::FORMULA => match rest {
                            // Not a number: the two high bytes mark it, the first one gives its kind.
                            [2, _, code, _, _, _, 0xff, 0xff, ..] => {
                                Some(Value::Cell(values::error_of_code(*code)))
                            }
                            [3, _, _, _, _, _, 0xff, 0xff, ..] => None,
                            // fAlwaysCalc of [MS-XLS] 2.4.127.
                            [_, _, _, _, _, _, _, _, flags, ..]
                                if all_pending || flags & 1 != 0 =>
                            {
                                Some(Value::Cell(Cell::Uncalculated("...".into())))
                            }
                            [0, _, _, _, _, _, 0xff, 0xff, ..] => {
                                awaited = Some((at, style));
                                None
                            }
                            [1, _, yes, _, _, _, 0xff, 0xff, ..] => {
                                Some(Value::Cell(Cell::Bool(*yes != 0)))
                            }
                            [_, _, _, _, _, _, 0xff, 0xff, ..] => None,
                            _ => f64_at(rest).map(|number| self.number(number, style)),
                        },
                        _ => None,
                    };
                    if let Some(value) = value {
                        if self.struck.get(usize::from(style)) == Some(&true) {
                            hide(&mut spans.struck, at.0, at.0);
                        }
                        self.keep(&mut gatherer, at, value, memory)?;
                    }
                }
            }
        }
        *walk -= whole - records.stream.len();
        if !memory.take(spans.held()) {
            return Err(Stop::Full);
        }
        Ok(gatherer.finish(listed.hidden, spans))
    }

    fn keep(
        &self,
        gatherer: &mut Gatherer,
        at: (u32, u32),
        value: Value,
        memory: &mut Memory,
    ) -> Result<(), Stop> {
        match value {
            Value::Cell(cell) => gatherer.push(at, cell, memory).map_err(Stop::Is),
            Value::None | Value::Blank => Ok(()),
        }
    }

    /// A number as its style shows it.
    fn number(&self, number: f64, style: u16) -> Value {
        Value::Cell(match self.formats.get(usize::from(style)) {
            Some(format) => values::number(number, format, Some(self.from_1904)),
            None => Cell::Number(number),
        })
    }

    /// A text as its style shows it.
    fn text(&self, text: &str, style: u16) -> Value {
        match self.formats.get(usize::from(style)) {
            Some(format) => values::dressed(text, format),
            None => values::text(text),
        }
    }
}

/// An entry of the list of sheets ([MS-XLS] 2.4.28).
fn listed(body: &[u8]) -> Option<Listed> {
    let at = usize::try_from(u32_at(body, 0)?).ok()?;
    let (state, kind) = (*body.get(4)?, *body.get(5)?);
    let (count, wide) = (usize::from(*body.get(6)?), body.get(7)? & 1 != 0);
    Some(Listed {
        at,
        name: characters(body.get(8..)?, count, wide)?,
        hidden: state & 3 != 0,
        worksheet: kind == 0,
    })
}

fn bool_or_error(rest: &[u8]) -> Option<Value> {
    let (value, is_error) = (*rest.first()?, *rest.get(1)? != 0);
    Some(Value::Cell(if is_error { values::error_of_code(value) } else { Cell::Bool(value != 0) }))
}

/// A number in 30 bits: a whole one or the high bits of a float, perhaps times 100 ([MS-XLS] 2.5.217).
fn short_number(packed: u32) -> f64 {
    let number = if packed & 2 != 0 {
        f64::from(packed.cast_signed() >> 2)
    } else {
        f64::from_bits(u64::from(packed & !3) << 32)
    };
    if packed & 1 != 0 { number / 100.0 } else { number }
}

/// A text after its length and a byte with the width of its characters ([MS-XLS] 2.5.294).
fn text(body: &[u8]) -> Option<String> {
    let (count, wide) = (u16_at(body, 0)?, body.get(2)? & 1 != 0);
    characters(body.get(3..)?, count.into(), wide)
}

/// `count` characters, of one byte (the low ones) or two.
fn characters(bytes: &[u8], count: usize, wide: bool) -> Option<String> {
    if wide {
        let units = bytes.get(..2 * count)?.chunks_exact(2);
        let units: Vec<u16> = units.map(|two| u16::from_le_bytes([two[0], two[1]])).collect();
        Some(String::from_utf16_lossy(&units))
    } else {
        Some(bytes.get(..count)?.iter().copied().map(char::from).collect())
    }
}

/// A text that continues in further records, each with its own width of characters.
fn long_text(pieces: &[&[u8]]) -> Option<String> {
    let mut cursor = Pieces::new(pieces);
    let count = cursor.u16()?;
    let wide = cursor.byte()? & 1 != 0;
    cursor.characters(count.into(), wide)
}

/// Texts that cells share ([MS-XLS] 2.4.265 and 2.5.293).
fn shared_texts(pieces: &[&[u8]], most: u64) -> Result<Vec<String>, Stop> {
    let mut cursor = Pieces::new(pieces);
    let (mut texts, mut held) = (Vec::new(), 0);
    // The leading counts may be wrong, and each text has its own end.
    cursor.skip(8);
    while !cursor.at_end() {
        let text = cursor.shared_text();
        let text = text.ok_or(Stop::Broken("a text that ends too early"))?;
        held += 48 + u64::try_from(text.len()).unwrap_or(u64::MAX / 2);
        if held > most {
            return Err(Stop::Full);
        }
        texts.push(text);
    }
    Ok(texts)
}

/// A record and those that continue it, read as one.
struct Pieces<'p, 's> {
    pieces: &'p [&'s [u8]],
    current: &'s [u8],
}

impl<'p, 's> Pieces<'p, 's> {
    fn new(pieces: &'p [&'s [u8]]) -> Pieces<'p, 's> {
        let (current, pieces) = match pieces.split_first() {
            Some((first, rest)) => (*first, rest),
            None => (&[][..], pieces),
        };
        Pieces { pieces, current }
    }

    /// Moves to the next record once one is used up; false if none is left.
    fn refill(&mut self) -> bool {
        while self.current.is_empty() {
            let Some((next, rest)) = self.pieces.split_first() else {
                return false;
            };
            (self.current, self.pieces) = (next, rest);
        }
        true
    }

    fn at_end(&mut self) -> bool {
        !self.refill()
    }

    fn byte(&mut self) -> Option<u8> {
        if !self.refill() {
            return None;
        }
        let (first, rest) = self.current.split_first()?;
        self.current = rest;
        Some(*first)
    }

    fn u16(&mut self) -> Option<u16> {
        Some(u16::from_le_bytes([self.byte()?, self.byte()?]))
    }

    fn skip(&mut self, mut count: usize) {
        while count > 0 && self.refill() {
            let step = count.min(self.current.len());
            self.current = &self.current[step..];
            count -= step;
        }
    }

    fn shared_text(&mut self) -> Option<String> {
        let count = self.u16()?;
        let flags = self.byte()?;
        // After the text: font changes, and marks for East Asian readings.
        let runs = if flags & 0x08 != 0 { self.u16()? } else { 0 };
        let extra = if flags & 0x04 != 0 {
            u32::from(self.u16()?) | u32::from(self.u16()?) << 16
        } else {
            0
        };
        let text = self.characters(count.into(), flags & 1 != 0)?;
        self.skip(4 * usize::from(runs));
        self.skip(usize::try_from(extra).ok()?);
        Some(text)
    }

    fn characters(&mut self, mut count: usize, mut wide: bool) -> Option<String> {
        let mut text = String::new();
        while count > 0 {
            if self.current.is_empty() {
                if !self.refill() {
                    return None;
                }
                wide = self.byte()? & 1 != 0;
            }
            let room = self.current.len() / if wide { 2 } else { 1 };
            let here = count.min(room);
            if here == 0 {
                return None;
            }
            text.push_str(&characters(self.current, here, wide)?);
            self.skip(here * if wide { 2 } else { 1 });
            count -= here;
        }
        Some(text)
    }
}

fn u16_at(bytes: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_le_bytes(bytes.get(at..at + 2)?.try_into().ok()?))
}

fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_le_bytes(bytes.get(at..at + 4)?.try_into().ok()?))
}

fn f64_at(bytes: &[u8]) -> Option<f64> {
    Some(f64::from_le_bytes(bytes.get(..8)?.try_into().ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn short_numbers() {
        let same = |packed, number: f64| (short_number(packed) - number).abs() < 1e-12;
        assert!(same(5 << 2 | 2, 5.0));
        assert!(same(5 << 2 | 3, 0.05));
        assert!(same((-5_i32 << 2).cast_unsigned() | 2, -5.0));
        assert!(same(0x3ff0_0000, 1.0));
    }

    #[test]
    fn a_text_that_goes_on_in_the_next_record_may_change_its_width() {
        let first: &[u8] = &[3, 0, 0, b'a'];
        let next: &[u8] = &[1, b'b', 0, 0xb5, 0];
        assert_eq!(long_text(&[first, next]).as_deref(), Some("ab\u{b5}"));
        assert_eq!(long_text(&[first]), None);
    }
}
