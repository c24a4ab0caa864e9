//! Where on a kit slip the pieces and the fitter's readings stand, so that a saved plan can be read back.
//!
//! A slip is made for people, and its rows move with what stands on it. So each row that counts says in
//! hidden columns behind the printed ones what it holds: a word of [`Row`], the pump's tag, the name of the
//! place or requirement as its model has it, and of a piece its item, count and thickness.

/// The first reading of a row stands in this column.
pub const READING: u16 = 6;
/// The second one, taken once what could be wrong was looked for.
pub const AGAIN: u16 = 7;
/// The fitter, with the date, in a row [`Row::Signed`].
pub const FITTER: u16 = 1;
/// Who checked, with the date.
pub const CHECKER: u16 = 4;
/// The hidden columns: the word, the tag, the name.
pub const KEYS: [u16; 3] = [8, 9, 10];
/// Of a piece: item, count, thickness of one with its unit, as it is fitted.
pub const PIECE: [u16; 3] = [11, 12, 13];

/// What a row of a slip holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Row {
    /// Pieces of one item for a place.
    Piece,
    /// The reading of a finished pack.
    Pack,
    /// The reading of a requirement.
    Requirement,
    /// Who fitted it and who checked.
    Signed,
}

impl Row {
    /// The word in the first hidden column.
    ///
    /// ```
    /// use gapwright::formats::slip::Row;
    /// assert_eq!(Row::parse(Row::Pack.word()), Some(Row::Pack));
    /// ```
    pub fn word(self) -> &'static str {
        match self {
            Row::Piece => "piece",
            Row::Pack => "pack",
            Row::Requirement => "requirement",
            Row::Signed => "signed",
        }
    }

    /// Reads the word back.
    pub fn parse(word: &str) -> Option<Row> {
        let all = [Row::Piece, Row::Pack, Row::Requirement, Row::Signed];
        all.into_iter().find(|row| row.word() == word)
    }
}
