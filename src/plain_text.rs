//! Text that workbooks, logs and terminals can hold.

use std::borrow::Cow;

/// Most UTF-16 units that a cell holds (ECMA-376-1, 18.18.11 and the limits that spreadsheet programs state; from
/// memory).
const MOST_IN_CELL: usize = 32_767;

/// A text as a part of an address: all but letters, digits and `-_.~` of ASCII as bytes in hexadecimal (RFC 3986, 2.3).
///
/// ```
/// use gapwright::plain_text::{from_address, in_address};
/// assert_eq!(in_address("P/7 \u{e4}"), "P%2F7%20%C3%A4");
/// assert_eq!(from_address(&in_address("100 % & more")), "100 % & more");
/// ```
pub fn in_address(text: &str) -> String {
    let plain = |byte: u8| byte.is_ascii_alphanumeric() || b"-_.~".contains(&byte);
    let coded = text.bytes().map(|byte| match plain(byte) {
        true => char::from(byte).to_string(),
        false => format!("%{byte:02X}"),
    });
    coded.collect()
}

/// A part of a query as its text: `+` is a space there.
pub fn from_address(text: &str) -> String {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text.as_bytes();
    while let [first, after @ ..] = rest {
        let coded = after.get(..2).and_then(|two| std::str::from_utf8(two).ok());
        let coded = coded.filter(|two| two.bytes().all(|digit| digit.is_ascii_hexdigit()));
        match (first, coded.and_then(|two| u8::from_str_radix(two, 16).ok())) {
            (b'%', Some(byte)) => {
                bytes.push(byte);
                rest = &after[2..];
                continue;
            }
            (b'+', _) => bytes.push(b' '),
            (other, _) => bytes.push(*other),
        }
        rest = after;
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

/// A text that a cell, a note or a chart can hold.
///
/// Characters that XML 1.0 does not allow (2.2: the control characters except tab and the line ends, U+FFFE and
/// U+FFFF) are shown as their pictures, U+2400 to U+241F, or as U+FFFD. A text that is too long is cut off with a
/// notice.
///
/// ```
/// use gapwright::plain_text::cleaned;
/// assert_eq!(cleaned("bin\u{0}7\u{1b}"), "bin\u{2400}7\u{241b}");
/// assert_eq!(cleaned("=1+1"), "=1+1");
/// ```
pub fn cleaned(text: &str) -> Cow<'_, str> {
    cleaned_to(text, MOST_IN_CELL)
}

/// A text as [`cleaned`] gives it, in at most `most` UTF-16 units.
pub(crate) fn cleaned_to(text: &str, most: usize) -> Cow<'_, str> {
    // A UTF-16 unit takes at least one byte of UTF-8.
    let long = text.len() > most && units(text) > most;
    if !long && !text.contains(forbidden) {
        return Cow::Borrowed(text);
    }
    let mut cleaned: String = text.chars().map(shown).collect();
    if long {
        let mark = format!("... (cut off: {} characters in all)", text.chars().count());
        cleaned.truncate(fitting(&cleaned, most.saturating_sub(units(&mark))));
        cleaned.push_str(&mark);
    }
    Cow::Owned(cleaned)
}

/// Whether XML 1.0 does not allow a character.
pub(crate) fn forbidden(c: char) -> bool {
    matches!(c, '\0'..='\u{8}' | '\u{b}' | '\u{c}' | '\u{e}'..='\u{1f}' | '\u{fffe}' | '\u{ffff}')
}

fn shown(c: char) -> char {
    match c {
        c if !forbidden(c) => c,
        '\u{fffe}' | '\u{ffff}' => char::REPLACEMENT_CHARACTER,
        c => char::from_u32(0x2400 + u32::from(c)).unwrap_or(char::REPLACEMENT_CHARACTER),
    }
}

/// Length of a text in UTF-16 units, in which workbooks count.
pub(crate) fn units(text: &str) -> usize {
    text.encode_utf16().count()
}

/// Number of bytes of a text that make at most `most` UTF-16 units, whole characters only.
pub(crate) fn fitting(text: &str, most: usize) -> usize {
    let mut used = 0;
    let end = text.char_indices().find(|(_, c)| {
        used += c.len_utf16();
        used > most
    });
    end.map_or(text.len(), |(at, _)| at)
}

/// Whether a terminal would act on a character instead of showing it.
pub(crate) fn acts(c: char) -> bool {
    // Besides the control characters: line separators, marks of writing direction, the byte order mark.
    c.is_control()
        || matches!(c, '\u{061c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}')
        || matches!(c, '\u{2066}'..='\u{2069}' | '\u{feff}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_that_is_too_long_is_cut_between_characters_and_says_so() {
        let whole = "\u{1f600}".repeat(16_383);
        assert_eq!(cleaned(&whole), whole);
        let long = "\u{1f600}".repeat(16_384);
        let cut = cleaned(&long);
        assert!(units(&cut) <= MOST_IN_CELL && units(&cut) > MOST_IN_CELL - 3);
        assert!(cut.ends_with("... (cut off: 16384 characters in all)"));
        assert!(matches!(cleaned("a\tb\r\nc é 日"), Cow::Borrowed(_)));
        assert_eq!(cleaned("\u{fffe}\u{b}"), "\u{fffd}\u{240b}");
    }
}
