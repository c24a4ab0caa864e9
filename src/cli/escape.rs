//! Text from inputs as a terminal may have it: nothing in it moves the cursor, changes the title or
//! turns the direction of writing. The escapes are 20 lines of our own: crates that strip a terminal's own sequences
//! let the rest through, turned directions and line separators among it, and what is stripped is not seen.

use std::borrow::Cow;

use textwrap::{Options, WordSeparator, WordSplitter, WrapAlgorithm};
use unicode_width::UnicodeWidthChar;

use crate::plain_text::acts;

/// A text in one line, with everything that a terminal would act on written out, `\u{1b}` for escape.
pub(super) fn one_line(text: &str) -> Cow<'_, str> {
    escaped(text, acts)
}

/// The same, with its line ends kept.
pub(super) fn lines(text: &str) -> Cow<'_, str> {
    escaped(text, |c| c != '\n' && acts(c))
}

fn escaped(text: &str, acts: impl Fn(char) -> bool) -> Cow<'_, str> {
    if !text.contains(&acts) {
        return Cow::Borrowed(text);
    }
    let mut plain = String::with_capacity(text.len() + 8);
    for c in text.chars() {
        if acts(c) {
            plain.extend(c.escape_default());
        } else {
            plain.push(c);
        }
    }
    Cow::Owned(plain)
}

/// The columns of the terminal that a text takes.
pub(super) fn width(text: &str) -> usize {
    text.chars().map(|c| c.width().unwrap_or(0)).sum()
}

/// A text in lines of at most so many columns, broken between words where that can be, and only at spaces: names with
/// hyphens may be copied.
pub(super) fn wrapped(text: &str, most: usize) -> Vec<String> {
    let options = Options::new(most)
        .wrap_algorithm(WrapAlgorithm::FirstFit)
        .word_separator(WordSeparator::AsciiSpace)
        .word_splitter(WordSplitter::NoHyphenation);
    let lines = textwrap::wrap(text, options);
    lines.into_iter().map(Cow::into_owned).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_that_a_terminal_acts_on_gets_through() {
        let hostile = "\u{1b}]0;title\u{7}\u{9b}2J\r\u{202e}gnp\u{2028}\u{feff}\u{0}\u{7f}";
        for plain in [one_line(hostile), lines(hostile)] {
            assert!(!plain.contains(acts), "{plain:?}");
            assert!(plain.contains("]0;title") && plain.contains("\\u{1b}"));
        }
        assert_eq!(one_line("a\nb\tc"), "a\\nb\\tc");
        assert_eq!(lines("a\nb"), "a\nb");
        assert!(matches!(one_line("Ø 12 µm, 日本"), Cow::Borrowed(_)));
    }

    #[test]
    fn no_line_is_wider_than_the_terminal() {
        let text =
            "a thickness in µm 日本日本日本日本 and averyveryverylongwordwithoutanyplacetobreak it";
        for most in [4, 7, 20, 200] {
            let lines = wrapped(text, most);
            assert!(lines.iter().all(|line| width(line) <= most), "{lines:?}");
            let letters = |text: &str| text.replace(' ', "");
            assert_eq!(letters(&lines.concat()), letters(text));
        }
        assert_eq!(wrapped("one two three", 7), ["one two", "three"]);
        assert_eq!(wrapped("", 7), [""]);
    }
}
