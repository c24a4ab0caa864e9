//! Columns of a kit slip with the pieces and the fitter's readings, so that a saved plan can be read back.
//!
//! A slip is made for people, and its rows move with its contents. So each row with data names them in hidden columns
//! to the right of the printed ones: a word of [`SlipRow`], the pump's tag, the name of the place or requirement in its
//! model, and for a piece its item, count and thickness.

use std::collections::BTreeMap;

use crate::plain_text::cleaned;

/// Column of the first reading of a row.
pub const READING: u16 = 6;
/// Column of the second reading, taken after the likely mistakes were checked.
pub const AGAIN: u16 = 7;
/// Column of the fitter and date, in a row [`SlipRow::Signed`].
pub const FITTER: u16 = 1;
/// Column of the checker and date.
pub const CHECKER: u16 = 4;
/// Hidden columns: the word, the tag, the name.
pub const KEYS: [u16; 3] = [8, 9, 10];
/// Hidden columns of a piece: item, count, thickness each as fitted, with its unit.
pub const PIECE: [u16; 3] = [11, 12, 13];

/// Hidden column of a row [`SlipRow::Signed`]: the values of the workbooks that the kit was chosen by.
pub const INPUTS: u16 = 11;

/// Values by their headings, as the text of their cell: a line for each.
///
/// ```
/// use std::collections::BTreeMap;
/// use gapwright::formats::slip::inputs_text;
/// let gap = ("Bare clearance".to_string(), "0.0410 in".to_string());
/// let fit = ("Bearing shims fit".to_string(), "F1".to_string());
/// let inputs = BTreeMap::from([gap, fit]);
/// assert_eq!(inputs_text(&inputs), "Bare clearance: 0.0410 in\nBearing shims fit: F1");
/// ```
pub fn inputs_text(inputs: &BTreeMap<String, String>) -> String {
    let lines: Vec<String> = inputs.iter().map(|(name, value)| input_line(name, value)).collect();
    lines.join("\n")
}

/// The line of a value, as a cell can hold it.
pub fn input_line(heading: &str, value: &str) -> String {
    let line = format!("{heading}: {value}").replace(['\r', '\n'], " ");
    cleaned(&line).trim().to_string()
}

/// Kinds of row on a slip.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SlipRow {
    /// Pieces of one item for a place.
    Piece,
    /// Reading of a finished pack.
    Pack,
    /// Reading of a requirement.
    Requirement,
    /// Signatures of fitter and checker.
    Signed,
}

impl SlipRow {
    /// Word in the first hidden column.
    ///
    /// ```
    /// use gapwright::formats::slip::SlipRow;
    /// assert_eq!(SlipRow::parse(SlipRow::Pack.word()), Some(SlipRow::Pack));
    /// ```
    pub fn word(self) -> &'static str {
        match self {
            SlipRow::Piece => "piece",
            SlipRow::Pack => "pack",
            SlipRow::Requirement => "requirement",
            SlipRow::Signed => "signed",
        }
    }

    /// Reads the word back.
    pub fn parse(word: &str) -> Option<SlipRow> {
        let all = [SlipRow::Piece, SlipRow::Pack, SlipRow::Requirement, SlipRow::Signed];
        all.into_iter().find(|row| row.word() == word)
    }
}
