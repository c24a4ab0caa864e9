//! Reads .csv files: UTF-8, or UTF-16 with its mark; separated by commas, semicolons or tabs.

use std::borrow::Cow;

use thiserror::Error;

use super::gather::{Gatherer, MOST_COLUMNS, Spans};
use super::memory::Memory;
use super::values::{self, Value};
use crate::narrow::narrow;
use crate::problem::{Place, Problem, Spot};
use crate::sheet::{Cell, Sheet};

/// Faults of the text of a CSV file.
#[derive(Debug, Clone, Copy, Error)]
pub(super) enum TextError {
    #[error("bytes that are not UTF-8 text")]
    NotUtf8,
    #[error("bytes that are not UTF-16 text")]
    NotUtf16,
    #[error("a NUL byte, which no text contains")]
    Nul,
    #[error("a text whose opening double quote is never closed")]
    Unclosed,
    #[error("text after the closing double quote of a value")]
    BehindQuote,
    #[error("more values in one line than a spreadsheet's row holds")]
    TooWide,
}

/// The one sheet of a CSV file.
pub(super) fn sheet(
    file: &str,
    name: &str,
    bytes: &[u8],
    memory: &mut Memory,
) -> Result<Sheet, Problem> {
    let wrong = |spot: Spot, found: String, expected: &str, fix: &str| {
        let file = file.to_string();
        Problem::new(Place { file, spot }, found, expected, fix)
    };
    let text = text(bytes).map_err(|(line, found)| {
        wrong(
            Spot::Text { line, column: 1 },
            found.to_string(),
            "a CSV file in UTF-8",
            "save it from the spreadsheet program as `CSV UTF-8`, or as .xlsx",
        )
    })?;
    let delimiter = delimiter(text.as_bytes());
    check_quotes(text.as_bytes(), delimiter).map_err(|(line, found)| {
        wrong(
            Spot::Text { line, column: 1 },
            found.to_string(),
            "values between separators; a text that holds one, or a line break, in double quotes",
            "close the quotes, and double those inside (`6\"\" pipe`); or save the list as .xlsx",
        )
    })?;
    let mut reader = ::csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter)
        .from_reader(text.as_bytes());
    let mut gatherer = Gatherer::new(file, name.to_string(), memory)?;
    let mut record = ::csv::StringRecord::new();
    let (mut row, mut fields) = (0, Vec::new());
    loop {
        let more = reader.read_record(&mut record).map_err(|error| {
            let line = error.position().map_or(1, ::csv::Position::line);
            let line = narrow::<usize>(line);
            wrong(
                Spot::Text { line, column: 1 },
                format!("a line that is not CSV ({error})"),
                "values between separators, texts in double quotes where they hold one",
                "save it again as CSV, or as .xlsx",
            )
        })?;
        if !more {
            break;
        }
        // The reader skips blank lines, but cell addresses must count them.
        let start = record.position().map_or(0, ::csv::Position::byte);
        row += blank_lines(text.as_bytes(), narrow::<usize>(start));
        for (column, value) in (0..).zip(&record) {
            if let Value::Cell(cell) = typed(value) {
                gatherer.push((row, column), cell, memory)?;
            }
        }
        fields.push((row, narrow::<u32>(record.len())));
        if !memory.take(8) {
            return Err(memory.too_large(file, "too many rows"));
        }
        row += 1;
    }
    let most = fields.iter().map(|(_, many)| *many).max().unwrap_or(0);
    fields.retain(|(_, many)| *many < most);
    Ok(Sheet { short_rows: fields, ..gatherer.finish(false, Spans::default()) })
}

/// A value as a spreadsheet writes it into a CSV file: error values by their names, and texts that look like numbers
/// as `="007"`.
fn typed(value: &str) -> Value {
    const ERRORS: [&str; 8] =
        ["#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!", "#SPILL!"];
    let bare = value.trim();
    if ERRORS.contains(&bare) {
        return Value::Cell(Cell::Error(bare.to_string()));
    }
    let quoted = bare.strip_prefix("=\"").and_then(|rest| rest.strip_suffix('"'));
    values::text(quoted.filter(|text| !text.contains('"')).unwrap_or(value))
}

/// Checks that each text in double quotes ends before a separator or the end of its line (an unclosed quote would
/// silently swallow the following rows), and that no line has more values than a spreadsheet's row. On failure,
/// returns the line, from 1, and its fault.
fn check_quotes(text: &[u8], delimiter: u8) -> Result<(), (usize, TextError)> {
    let most = narrow::<usize>(MOST_COLUMNS);
    let (mut line, mut values) = (1, 1);
    let mut at_start = true;
    let mut opened = None;
    let mut bytes = text.iter().copied().peekable();
    while let Some(byte) = bytes.next() {
        let next = bytes.peek().copied();
        let ends_line = byte == b'\n' || (byte == b'\r' && next != Some(b'\n'));
        if ends_line {
            line += 1;
        }
        if opened.is_some() {
            if byte != b'"' {
                continue;
            }
            match next {
                Some(b'"') => {
                    bytes.next();
                }
                None | Some(b'\r' | b'\n') => opened = None,
                Some(next) if next == delimiter => opened = None,
                Some(_) => {
                    return Err((line, TextError::BehindQuote));
                }
            }
            continue;
        }
        if byte == b'"' && at_start {
            opened = Some(line);
        } else if byte == delimiter {
            values += 1;
            if values > most {
                return Err((line, TextError::TooWide));
            }
        } else if ends_line {
            values = 1;
        }
        at_start = byte == delimiter || byte == b'\n' || byte == b'\r';
    }
    match opened {
        Some(line) => Err((line, TextError::Unclosed)),
        None => Ok(()),
    }
}

/// Number of empty lines between the end of a record and the next.
fn blank_lines(text: &[u8], start: usize) -> u32 {
    let mut rest = text.get(start..).unwrap_or_default();
    // A record ends with the first of two marks; the second is not a line of its own.
    if start > 0 && text[start - 1] == b'\r' {
        rest = rest.strip_prefix(b"\n").unwrap_or(rest);
    }
    let mut lines = 0;
    while let [b'\r', b'\n', more @ ..] | [b'\r' | b'\n', more @ ..] = rest {
        rest = more;
        lines += 1;
    }
    lines
}

/// The file's text; else the line, from 1, and its fault.
pub(super) fn text(bytes: &[u8]) -> Result<Cow<'_, str>, (usize, TextError)> {
    let lines = |before: &[u8]| memchr::memchr_iter(b'\n', before).count() + 1;
    let (wide, unit): (_, fn([u8; 2]) -> u16) = match bytes {
        [0xff, 0xfe, wide @ ..] => (Some(wide), u16::from_le_bytes),
        [0xfe, 0xff, wide @ ..] => (Some(wide), u16::from_be_bytes),
        _ => (None, u16::from_le_bytes),
    };
    let text = if let Some(wide) = wide {
        let units = wide.chunks(2).map(|two| match two {
            [a, b] => unit([*a, *b]),
            _ => 0xfffd,
        });
        let text: Result<String, _> = char::decode_utf16(units).collect();
        Cow::from(text.map_err(|_| (1, TextError::NotUtf16))?)
    } else {
        let text = std::str::from_utf8(bytes).map_err(|error| {
            let line = lines(&bytes[..error.valid_up_to()]);
            (line, TextError::NotUtf8)
        })?;
        Cow::from(text.trim_start_matches('\u{feff}'))
    };
    match memchr::memchr(0, text.as_bytes()) {
        Some(at) => Err((lines(&text.as_bytes()[..at]), TextError::Nul)),
        None => Ok(text),
    }
}

/// The separator: the one that splits some line of the first ten into most values. A comma between two digits may be
/// a decimal mark and does not count.
pub(super) fn delimiter(text: &[u8]) -> u8 {
    /// Longer than a line of headings; the rest is not examined.
    const LONGEST: usize = 64_000;
    let most = |mark: u8| {
        let marks = |line: &[u8]| {
            let line = &line[..line.len().min(LONGEST)];
            let digit =
                |at: Option<usize>| at.and_then(|at| line.get(at)).is_some_and(u8::is_ascii_digit);
            let decimal = |at: usize| digit(at.checked_sub(1)) && digit(at.checked_add(1));
            let found = memchr::memchr_iter(mark, line);
            found.filter(|at| mark != b',' || !decimal(*at)).count()
        };
        let lines = text.split(|byte| matches!(byte, b'\n' | b'\r'));
        lines.filter(|line| !line.is_empty()).take(10).map(marks).max().unwrap_or(0)
    };
    let (comma, semicolon, tab) = (most(b','), most(b';'), most(b'\t'));
    if semicolon > comma && semicolon >= tab {
        b';'
    } else if tab > comma {
        b'\t'
    } else {
        b','
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_separator_is_the_one_that_parts_the_headings() {
        assert_eq!(delimiter(b"Item,Kind,Fit\nS1,shim,\"F1; old\"\n"), b',');
        assert_eq!(delimiter(b"Item;On hand;Thickness (mm)\nS1;4;0,05\n"), b';');
        assert_eq!(delimiter(b"a;b\n0,1;0,2\n0,3;0,4\n"), b';');
        assert_eq!(delimiter(b"Item\tKind\tOld, worn\n"), b'\t');
    }
}
