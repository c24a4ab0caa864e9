//! Rows of a sheet in the words of its file (ECMA-376-1, 18.3.1), from the top down, packed part by part.
//!
//! They are what rust_xlsxwriter would have written, byte for byte but for texts, which stand in their cells; a test
//! compares them.

use std::borrow::Cow;
use std::cell::RefCell;
use std::fmt::Write as _;
use std::ops::Range;
use std::rc::Rc;

use rust_xlsxwriter::{Format, XlsxError};

use super::deflate::Part;
use super::packing::Formats;
use super::page::Written;
use super::table::Takes;
use super::text::WriteText;
use crate::plain_text::cleaned;
use crate::problem::{address, column_letters};

/// Bytes of rows that are packed together.
const PART: usize = 1 << 20;
/// Parts that may wait for a thread: memory for a few megabytes of rows.
const WAITING: usize = 6;
/// Height of a row that nobody set, in pixels.
const USUAL: u32 = 20;
/// Functions that came after the file's format, and have a prefix in it.
const LATER: [&str; 4] = ["NORM.S.DIST", "NORM.S.INV", "T.DIST.2T", "T.INV.2T"];

/// Results that are errors.
const ERRORS: [&str; 8] =
    ["#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!", "#GETTING_DATA"];

/// The rows of a sheet that is ended.
pub(super) struct Worded {
    pub(super) parts: Vec<Part>,
    /// The element of merged cells, if there are any.
    pub(super) merged: String,
    /// First and last cell.
    pub(super) dimension: String,
}

/// The rows of a sheet while they are written.
pub(super) struct Rows {
    formats: Rc<RefCell<Formats>>,
    /// The row at hand from 0, its number in the file, its height in pixels if it was set.
    row: u32,
    number: String,
    height: Option<u32>,
    /// Cells of the row at hand, and where each of them stands among their words.
    cells: Vec<(u16, Range<usize>)>,
    words: String,
    /// Rows that are not packed yet.
    text: String,
    parts: Vec<Part>,
    merged: (String, usize),
    /// First and last row, first and last column.
    extent: [u32; 4],
    /// Pixels by which the rows so far are higher than usual.
    extra: i64,
}

impl Rows {
    pub(super) fn new(formats: Rc<RefCell<Formats>>) -> Rows {
        Rows {
            formats,
            row: 0,
            number: "1".into(),
            height: None,
            cells: Vec::new(),
            words: String::new(),
            text: String::with_capacity(PART + PART / 8),
            parts: Vec::new(),
            merged: Default::default(),
            extent: [u32::MAX, 0, u32::MAX, 0],
            extra: 0,
        }
    }

    /// Makes a row so many points high.
    pub(super) fn high(&mut self, row: u32, points: f64) -> Written {
        self.turn(row)?;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let pixels = (points * 4.0 / 3.0).round() as u32;
        let before = self.height.replace(pixels).unwrap_or(USUAL);
        self.extra += i64::from(pixels) - i64::from(before);
        self.reach(row, if self.extent[2] == u32::MAX { 0 } else { self.extent[2] });
        Ok(())
    }

    /// The height of one row that stands for all since the last such one, the others as high as usual.
    pub(super) fn in_one(&mut self) -> u32 {
        let high = std::mem::take(&mut self.extra) + i64::from(USUAL);
        u32::try_from(high).unwrap_or(1).max(1)
    }

    fn reach(&mut self, row: u32, column: u32) {
        let [top, bottom, left, right] = self.extent;
        self.extent = [top.min(row), bottom.max(row), left.min(column), right.max(column)];
    }

    /// Comes to a row; those above it are out of reach.
    fn turn(&mut self, row: u32) -> Written {
        if row < self.row {
            let text = format!("row {row} is written after row {}", self.row);
            return Err(XlsxError::ParameterError(text));
        }
        if row > self.row {
            self.end_row();
            self.row = row;
            self.number.clear();
            let _ = write!(self.number, "{}", row + 1);
            if self.text.len() >= PART {
                self.end_part();
            }
        }
        Ok(())
    }

    fn end_row(&mut self) {
        let height = self.height.take();
        if self.cells.is_empty() && height.is_none() {
            return;
        }
        self.text.push_str("<row r=\"");
        self.text.push_str(&self.number);
        self.text.push('"');
        if let Some(pixels) = height.filter(|pixels| *pixels != USUAL) {
            let points = f64::from(pixels) * 0.75;
            let _ = write!(self.text, " ht=\"{points}\" customHeight=\"1\"");
        }
        if self.cells.is_empty() {
            self.text.push_str("/>");
            return;
        }
        self.text.push('>');
        if !self.cells.is_sorted_by_key(|(column, _)| *column) {
            // Of two in a column the later one, which a sort that keeps their order leaves last.
            self.cells.sort_by_key(|(column, _)| *column);
        }
        for (at, (column, words)) in self.cells.iter().enumerate() {
            if self.cells.get(at + 1).is_none_or(|(next, _)| next != column) {
                self.text.push_str(&self.words[words.clone()]);
            }
        }
        self.text.push_str("</row>");
        self.cells.clear();
        self.words.clear();
    }

    fn end_part(&mut self) {
        let text = std::mem::replace(&mut self.text, String::with_capacity(PART + PART / 8));
        self.parts.push(Part::of(text.into_bytes()));
        if let Some(before) = self.parts.len().checked_sub(WAITING) {
            self.parts[before].wait();
        }
    }

    /// All of them.
    pub(super) fn ended(mut self) -> Written<Worded> {
        self.end_row();
        if !self.text.is_empty() {
            self.parts.push(Part::of(std::mem::take(&mut self.text).into_bytes()));
        }
        let merged = match self.merged {
            (_, 0) => String::new(),
            (cells, count) => format!("<mergeCells count=\"{count}\">{cells}</mergeCells>"),
        };
        let dimension = match self.extent {
            [u32::MAX, ..] => "A1".into(),
            [top, bottom, left, right] if [top, left] == [bottom, right] => address(top, left),
            [top, bottom, left, right] => {
                format!("{}:{}", address(top, left), address(bottom, right))
            }
        };
        Ok(Worded { parts: self.parts, merged, dimension })
    }

    /// Begins a cell: its place and format, without the bracket that ends its tag. Returns the format's number, 0 for the
    /// usual one.
    fn begin(&mut self, row: u32, column: u16, format: &Format) -> Written<u32> {
        let number = self.formats.borrow_mut().number(format)?;
        self.turn(row)?;
        self.reach(row, column.into());
        self.cells.push((column, self.words.len()..self.words.len()));
        self.words.push_str("<c r=\"");
        match b"ABCDEFGHIJKLMNOPQRSTUVWXYZ".get(usize::from(column)) {
            Some(letter) => self.words.push(char::from(*letter)),
            None => self.words.push_str(&column_letters(column.into())),
        }
        self.words.push_str(&self.number);
        self.words.push('"');
        if number > 0 {
            let _ = write!(self.words, " s=\"{number}\"");
        }
        Ok(number)
    }

    /// Ends a cell behind what stands in it.
    fn end(&mut self, words: &str) -> Written<&mut Self> {
        self.words.push_str(words);
        if let Some((_, place)) = self.cells.last_mut() {
            place.end = self.words.len();
        }
        Ok(self)
    }
}

impl WriteText for Rows {
    fn write_text(
        &mut self,
        row: u32,
        column: u16,
        text: impl AsRef<str>,
        format: &Format,
    ) -> Written<&mut Self> {
        let text = cleaned(text.as_ref());
        if text.is_empty() {
            return self.blank(row, column, format);
        }
        self.begin(row, column, format)?;
        self.words.push_str(" t=\"inlineStr\"><is><t");
        let space = ['\t', '\n', ' '];
        if text.starts_with(space) || text.ends_with(space) {
            self.words.push_str(" xml:space=\"preserve\"");
        }
        self.words.push('>');
        escaped(&mut self.words, &unescaped(&text));
        self.end("</t></is></c>")
    }

    fn across(
        &mut self,
        row: u32,
        [first, last]: [u16; 2],
        text: &str,
        format: &Format,
    ) -> Written<&mut Self> {
        self.write_text(row, first, text, format)?;
        for column in first + 1..=last {
            self.blank(row, column, format)?;
        }
        let (merged, count) = &mut self.merged;
        let [first, last] = [first, last].map(|column| address(row, column.into()));
        let _ = write!(merged, "<mergeCell ref=\"{first}:{last}\"/>");
        *count += 1;
        Ok(self)
    }
}

impl Takes for Rows {
    fn number(
        &mut self,
        row: u32,
        column: u16,
        number: f64,
        format: &Format,
    ) -> Written<&mut Self> {
        if !number.is_finite() {
            // As rust_xlsxwriter has what is no number.
            let word = match (number.is_nan(), number > 0.0) {
                (true, _) => "NAN",
                (false, true) => "INF",
                (false, false) => "-INF",
            };
            return self.write_text(row, column, word, format);
        }
        self.begin(row, column, format)?;
        let _ = write!(self.words, "><v>{number}");
        self.end("</v></c>")
    }

    fn formula(
        &mut self,
        row: u32,
        column: u16,
        [formula, result]: [&str; 2],
        format: &Format,
    ) -> Written<&mut Self> {
        self.begin(row, column, format)?;
        let (kind, result) = match result {
            "" => ("", "0"),
            "TRUE" => (" t=\"b\"", "1"),
            "FALSE" => (" t=\"b\"", "0"),
            number if number.parse::<f64>().is_ok() => ("", number),
            error if ERRORS.contains(&error) => (" t=\"e\"", error),
            text => (" t=\"str\"", text),
        };
        self.words.push_str(kind);
        self.words.push_str("><f>");
        escaped(&mut self.words, &prefixed(formula));
        self.words.push_str("</f><v>");
        escaped(&mut self.words, result);
        self.end("</v></c>")
    }

    fn blank(&mut self, row: u32, column: u16, format: &Format) -> Written<&mut Self> {
        if self.begin(row, column, format)? == 0 {
            // Nothing is seen of it.
            if let Some((_, place)) = self.cells.last() {
                self.words.truncate(place.start);
            }
            return self.end("");
        }
        self.end("/>")
    }
}

/// Adds a text, with what XML has names for by its name.
fn escaped(words: &mut String, text: &str) {
    let mut rest = text;
    while let Some(at) = rest.find(['&', '<', '>', '\r']) {
        words.push_str(&rest[..at]);
        words.push_str(match rest.as_bytes()[at] {
            b'&' => "&amp;",
            b'<' => "&lt;",
            b'>' => "&gt;",
            _ => "_x000D_",
        });
        rest = &rest[at + 1..];
    }
    words.push_str(rest);
}

/// A text in which nothing reads as a character in hexadecimal, `_x0041_`.
fn unescaped(text: &str) -> Cow<'_, str> {
    let reads = |at: usize| match text.as_bytes().get(at..at + 7) {
        Some([b'_', b'x', digits @ .., b'_']) => digits.iter().all(u8::is_ascii_hexdigit),
        _ => false,
    };
    if !text.contains("_x") {
        return Cow::Borrowed(text);
    }
    let mut out = String::new();
    for (at, c) in text.char_indices() {
        if reads(at) {
            out.push_str("_x005F");
        }
        out.push(c);
    }
    Cow::Owned(out)
}

/// A formula with the prefix of each later function.
fn prefixed(formula: &str) -> Cow<'_, str> {
    let bytes = formula.as_bytes();
    let mut points = memchr::memchr_iter(b'.', bytes);
    // Each has a point behind a letter.
    if !points.any(|at| at > 0 && bytes[at - 1].is_ascii_uppercase()) {
        return Cow::Borrowed(formula);
    }
    let mut out = formula.to_string();
    for name in LATER {
        out = out.replace(&format!("{name}("), &format!("_xlfn.{name}("));
    }
    Cow::Owned(out)
}

#[cfg(test)]
mod tests {
    use std::io::{Cursor, Read};

    use rust_xlsxwriter::{Color, Workbook, Worksheet};
    use zip::ZipArchive;

    use super::super::drawings::Drawings;
    use super::super::packing::{Packing, put_in};
    use super::*;

    /// The sheet of a workbook in a file.
    fn sheet(file: Vec<u8>) -> String {
        let mut archive = ZipArchive::new(Cursor::new(file)).unwrap();
        let mut text = String::new();
        let mut part = archive.by_name("xl/worksheets/sheet1.xml").unwrap();
        part.read_to_string(&mut text).unwrap();
        text
    }

    /// Cells of every kind; so many rows.
    fn fill(to: &mut impl Takes, rows: u32) {
        let plain = Format::new();
        let bold = Format::new().set_bold();
        let red = bold.clone().set_font_color(Color::RGB(0x12_34_56)).set_num_format("0.0000");
        let texts = [
            "a & b < c > d \"e\"",
            "",
            " spaces ",
            "two\nlines\r\nand a tab\t",
            "_x0041_x005f_ _x00_ _xGGGG_",
            "a\u{1}b\u{ffff} \u{1f600} é",
            "=1+1",
        ];
        let numbers = [0.0, -0.1, 1e300, 1.5e-9, 123_456_789.125, f64::NAN, -f64::INFINITY];
        let formulas = [
            ["A1*2", "4.25"],
            ["IF(A1<3,\"no & so <on>\",T.INV.2T(0.05,3)+NORM.S.DIST(1,TRUE))", "no & so"],
            ["NORM.S.INV(0.5)-T.DIST.2T(1,2)+PRESENT.S.INV+1.5", ""],
            ["A1>2", "TRUE"],
            ["1/0", "#DIV/0!"],
            ["A1", "infinite"],
            ["STDEV(A1:B2)", "inf"],
        ];
        for row in (0..rows).map(|row| row + row / 5) {
            let of = row as usize;
            // Out of the order of columns, and one of them twice.
            to.number(row, 27, numbers[of % 7], &red).unwrap();
            to.write_text(row, 3, texts[of % 7], &bold).unwrap();
            to.across(row, [4, 6], texts[(of + 1) % 7], &red).unwrap();
            to.formula(row, 1, formulas[of % 7], &plain).unwrap();
            to.blank(row, 0, if of % 3 == 0 { &plain } else { &red }).unwrap();
            to.write_text(row, 2, "before", &plain).unwrap();
            to.blank(row, 2, &bold).unwrap();
        }
    }

    #[test]
    fn rows_are_what_the_library_writes() {
        // The last of them takes several parts.
        for rows in [1, 40, 9_000] {
            let mut workbook = Workbook::new();
            let mut packing = Packing::of(&mut workbook).unwrap();
            let mut ours = packing.rows();
            fill(&mut ours, rows);
            ours.high(rows * 2, 20.0).unwrap();
            ours.high(rows * 2 + 1, 15.0).unwrap();
            assert!(rows < 9_000 || ours.parts.len() > 1);
            packing.take("Sheet1".into(), ours).unwrap();
            let mut around = Worksheet::new();
            around.protect();
            workbook.push_worksheet(around);
            let parts = packing.parts(&mut workbook);
            let made = workbook.save_to_buffer().unwrap();
            let ours = sheet(put_in(made, &Drawings::default(), parts).unwrap());

            // This kind of sheet has texts in its cells.
            let mut workbook = Workbook::new();
            let theirs = workbook.add_worksheet_with_constant_memory().unwrap();
            theirs.protect();
            fill(theirs, rows);
            theirs.set_row_height(rows * 2, 20.0).unwrap();
            theirs.set_row_height(rows * 2 + 1, 15.0).unwrap();
            let theirs = sheet(workbook.save_to_buffer().unwrap());
            let at = ours.bytes().zip(theirs.bytes()).position(|(one, other)| one != other);
            let around = |text: &str| {
                at.map(|at| text[at.saturating_sub(200)..].chars().take(400).collect::<String>())
            };
            assert!(ours == theirs, "{rows}: {:?}\n{:?}", around(&ours), around(&theirs));
        }
    }

    #[test]
    fn a_row_that_is_left_takes_no_more() {
        let mut workbook = Workbook::new();
        let mut rows = Packing::of(&mut workbook).unwrap().rows();
        rows.blank(3, 0, &Format::new()).unwrap();
        assert!(rows.write_text(2, 0, "late", &Format::new()).is_err());
        assert!(rows.high(2, 20.0).is_err());
    }
}
