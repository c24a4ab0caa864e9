//! Text from inputs in a workbook: always text, never a formula or a number, and cleaned the same way
//! everywhere where a workbook cannot hold it.
//!
//! # Decision
//!
//! Control characters that XML cannot hold are written as their pictures, not as the format's `_x0000_`: people see
//! them, and notes and charts have no such escapes.

use std::collections::HashSet;

use rust_xlsxwriter::{Format, Worksheet};

use super::page::Written;
use crate::plain_text::{cleaned, cleaned_to, fitting, forbidden};

/// A list in as many texts as it takes, none longer than so many characters unless a single entry is: a row
/// of a sheet can only be so high (409 points, from memory), and what does not fit is not printed.
///
/// ```
/// use gapwright::write::text::in_rows;
/// let tags = ["P-1", "P-2", "P-3"].map(String::from);
/// assert_eq!(in_rows(&tags, 10), ["P-1, P-2,", "P-3"]);
/// assert_eq!(in_rows(&tags, 100), ["P-1, P-2, P-3"]);
/// assert!(in_rows(&[""; 0], 100).is_empty());
/// ```
pub fn in_rows(entries: &[impl AsRef<str>], most: usize) -> Vec<String> {
    let mut rows: Vec<String> = Vec::new();
    let mut long = 0;
    for entry in entries {
        let entry = entry.as_ref();
        let more = entry.chars().count() + 2;
        match rows.last_mut() {
            // One for the comma that may follow.
            Some(row) if long + more < most => {
                row.push_str(", ");
                row.push_str(entry);
                long += more;
            }
            last => {
                last.into_iter().for_each(|row| row.push(','));
                rows.push(entry.to_string());
                long = more - 2;
            }
        }
    }
    rows
}

/// A text for a chart's title or the name of a series, where one that begins with `=` would be taken
/// for a reference to cells.
pub(super) fn chart_name(text: &str) -> String {
    let text = cleaned_to(text, 255);
    match text.starts_with('=') {
        true => format!(" {text}"),
        false => text.into_owned(),
    }
}

/// Names of sheets that a workbook can have, each once.
///
/// The rules of spreadsheet programs (from memory): 1 to 31 UTF-16 units, none of `[ ] : * ? / \`, no
/// apostrophe at either end, not `History`, no two alike but for their case. What breaks them is cleaned:
/// a forbidden character, a control character and an apostrophe at an end become `_`, no name becomes `Sheet`,
/// a long name is cut off, and one that is taken, or `History`, has ` (2)`, ` (3)` ... behind it.
///
/// ```
/// use gapwright::write::text::SheetNames;
/// let mut names = SheetNames::default();
/// assert_eq!(names.take("Stock 1/2"), "Stock 1_2");
/// assert_eq!(names.take("stock 1:2"), "stock 1_2 (2)");
/// assert_eq!(names.take("history"), "history (2)");
/// assert_eq!(names.take("'"), "_");
/// ```
#[derive(Debug, Default)]
pub struct SheetNames(HashSet<String>);

impl SheetNames {
    /// The longest name, in UTF-16 units.
    const MOST: usize = 31;

    /// The name nearest to a wanted one that is allowed and not taken; it is taken then.
    pub fn take(&mut self, wanted: &str) -> String {
        let allowed = |c: char| match c {
            '[' | ']' | ':' | '*' | '?' | '/' | '\\' => '_',
            c if c.is_control() || forbidden(c) => '_',
            c => c,
        };
        let mut name: String = wanted.chars().map(allowed).collect();
        name.truncate(fitting(&name, Self::MOST));
        let inner = name.trim_matches('\'');
        if inner.len() < name.len() {
            let start = name.len() - name.trim_start_matches('\'').len();
            let end = name.len() - inner.len() - start;
            name = format!("{}{inner}{}", "_".repeat(start), "_".repeat(end));
        }
        if name.trim().is_empty() {
            name = "Sheet".into();
        }
        let mut free = name.clone();
        let mut number = 2;
        while free.eq_ignore_ascii_case("history") || !self.0.insert(free.to_lowercase()) {
            let behind = format!(" ({number})");
            free = name.clone();
            free.truncate(fitting(&free, Self::MOST - behind.len()));
            // What was cut may leave an apostrophe at the end only inside the name, which is allowed.
            free.push_str(&behind);
            number += 1;
        }
        free
    }
}

/// Writing text that may come from an input: as text, cleaned where that is needed.
pub(super) trait WriteText {
    /// Writes a text into a cell.
    fn write_text(
        &mut self,
        row: u32,
        column: u16,
        text: impl AsRef<str>,
        format: &Format,
    ) -> Written<&mut Self>;

    /// Writes a text into the cells of a row from one column to another, merged.
    fn across(
        &mut self,
        row: u32,
        columns: [u16; 2],
        text: &str,
        format: &Format,
    ) -> Written<&mut Self>;
}

impl WriteText for Worksheet {
    fn write_text(
        &mut self,
        row: u32,
        column: u16,
        text: impl AsRef<str>,
        format: &Format,
    ) -> Written<&mut Self> {
        self.write_string_with_format(row, column, cleaned(text.as_ref()), format)
    }

    fn across(
        &mut self,
        row: u32,
        [first, last]: [u16; 2],
        text: &str,
        format: &Format,
    ) -> Written<&mut Self> {
        self.merge_range(row, first, row, last, &cleaned(text), format)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plain_text::units;

    #[test]
    fn every_name_of_a_sheet_is_allowed_and_there_once() {
        let wanted = [
            "Stock",
            "stock",
            "STOCK",
            "",
            " ",
            "History",
            "HISTORY",
            "'Bob's'",
            "'''",
            "a\u{0}b\u{1b}c",
            "[x]:*?/\\",
            "A name of forty characters, or a few more",
            "a name of forty characters, or a few less",
            "\u{1f600}\u{1f600}\u{1f600}\u{1f600}\u{1f600}\u{1f600}\u{1f600}\u{1f600}\u{1f600}\u{1f600}\u{1f600}\u{1f600}\u{1f600}\u{1f600}\u{1f600}\u{1f600}",
            "30 characters and an apostr  '.",
            "30 characters and an apostrop ''",
            "=1+1",
            "مضخة",
            "Ä",
            "ä",
        ];
        let mut names = SheetNames::default();
        let taken: Vec<String> = wanted.iter().map(|name| names.take(name)).collect();
        let mut workbook = rust_xlsxwriter::Workbook::new();
        for name in &taken {
            assert!((1..=31).contains(&units(name)), "{name}");
            assert!(!name.eq_ignore_ascii_case("history"));
            assert!(!name.starts_with('\'') && !name.ends_with('\''), "{name}");
            assert!(!name.contains(|c: char| c.is_control() || "[]:*?/\\".contains(c)));
            workbook.add_worksheet().set_name(name).unwrap();
        }
        workbook.save_to_buffer().unwrap();
        let lower: HashSet<String> = taken.iter().map(|name| name.to_lowercase()).collect();
        assert_eq!(lower.len(), wanted.len());
        assert_eq!(taken[..3], ["Stock", "stock (2)", "STOCK (3)"]);
        assert_eq!(taken[7], "_Bob's_");
        assert_eq!(taken[8], "___");
        assert_eq!(taken[12], "a name of forty characters, (2)");
    }
}
