//! Fields of a .csv file changed, and no other byte of it.

use std::collections::BTreeMap;
use std::ops::Range;

use super::super::csv::{delimiter, text};
use super::CellCount;
use super::cells::edited;

/// The file's bytes with these counts; `None` where a field is not found.
pub(super) fn patched(bytes: &[u8], changes: &[CellCount]) -> Option<Vec<u8>> {
    let own = text(bytes).ok()?;
    let wanted: BTreeMap<(u32, u32), u32> =
        changes.iter().map(|change| ((change.row, change.column), change.count)).collect();
    let mut edits = Vec::new();
    each_field(&own, delimiter(own.as_bytes()), |at, range| {
        if let Some(count) = wanted.get(&at) {
            edits.push(with_count(&own, range, *count));
        }
    });
    if edits.len() != wanted.len() {
        return None;
    }
    let done = edited(&own, edits);
    Some(match bytes {
        [0xff, 0xfe, ..] => encoded([0xff, 0xfe], &done, u16::to_le_bytes),
        [0xfe, 0xff, ..] => encoded([0xfe, 0xff], &done, u16::to_be_bytes),
        _ => {
            // Marks before the text.
            let mark = bytes.len().saturating_sub(own.len());
            [&bytes[..mark], done.as_bytes()].concat()
        }
    })
}

fn encoded(mark: [u8; 2], text: &str, unit: fn(u16) -> [u8; 2]) -> Vec<u8> {
    mark.into_iter().chain(text.encode_utf16().flat_map(unit)).collect()
}

/// A field with a count, in quotes if it was, with the space around it.
fn with_count(text: &str, range: Range<usize>, count: u32) -> (Range<usize>, String) {
    let field = &text[range.clone()];
    let bare = field.trim();
    let quoted = bare.strip_prefix('"').and_then(|rest| rest.strip_suffix('"'));
    let new = match quoted {
        Some(inner) if !inner.contains('"') => format!("\"{count}\""),
        _ => count.to_string(),
    };
    let start = range.start + (field.len() - field.trim_start().len());
    (start..start + bare.len(), new)
}

/// Hands over the row and column, from 0, and the bytes of each field; blank lines count as rows.
fn each_field(text: &str, delimiter: u8, mut field: impl FnMut((u32, u32), Range<usize>)) {
    let bytes = text.as_bytes();
    let (mut row, mut column, mut start, mut at) = (0_u32, 0_u32, 0, 0);
    let mut quoted = false;
    while at < bytes.len() {
        match bytes[at] {
            b'"' if at == start => quoted = true,
            // Of two quotes, the second begins again what the first ended.
            b'"' if quoted || bytes[start] == b'"' => quoted = !quoted,
            _ if quoted => {}
            b'\r' | b'\n' => {
                field((row, column), start..at);
                at += usize::from(bytes[at..].starts_with(b"\r\n"));
                (row, column, start) = (row + 1, 0, at + 1);
            }
            mark if mark == delimiter => {
                field((row, column), start..at);
                (column, start) = (column + 1, at + 1);
            }
            _ => {}
        }
        at += 1;
    }
    field((row, column), start..at);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn change(row: u32, column: u32, count: u32) -> CellCount {
        CellCount { sheet: String::new(), row, column, count }
    }

    #[test]
    fn only_the_named_fields_change() {
        let text = "\u{feff}Item;On hand\r\n\r\n\"S;\"\"1\r\n\"; 4 ;x\n\"S2\";\"5\"\rS3;=\"6\"";
        let changes = [change(2, 1, 3), change(3, 1, 10), change(4, 1, 0)];
        let done = patched(text.as_bytes(), &changes).unwrap();
        let wanted = "\u{feff}Item;On hand\r\n\r\n\"S;\"\"1\r\n\"; 3 ;x\n\"S2\";\"10\"\rS3;0";
        assert_eq!(String::from_utf8(done).unwrap(), wanted);
        assert_eq!(patched(text.as_bytes(), &[change(9, 0, 1)]), None);
        let wide = encoded([0xff, 0xfe], "Item,On hand\nS,4\n", u16::to_le_bytes);
        let wanted = encoded([0xff, 0xfe], "Item,On hand\nS,12\n", u16::to_le_bytes);
        assert_eq!(patched(&wide, &[change(1, 1, 12)]), Some(wanted));
    }
}
