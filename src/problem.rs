//! Problems of an input: found, expected, the place and the fix; always all of them at once.
//!
//! A stage gathers [`Problem`]s in [`Problems`] and ends with [`Problems::settle`].
//!
//! # Decision
//!
//! At most 20,000 problems and as many warnings are kept, each text 400 characters long; the rest is counted: a
//! million bad cells must not take a gigabyte.

use std::collections::HashSet;
use std::fmt;

use crate::narrow::narrow;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Place of a problem: a file and, as far as it is known, the spot inside it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub struct Place {
    /// File as the user named it, or the command line.
    pub file: String,
    /// Spot inside the file.
    pub spot: Spot,
}

/// Spot inside a file.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Spot {
    /// File as a whole.
    Whole,
    /// Line and column of a text file, both from 1.
    Text {
        /// Line, from 1.
        line: usize,
        /// Column, from 1.
        column: usize,
    },
    /// Sheet of a workbook.
    Sheet {
        /// Name of the sheet.
        sheet: String,
    },
    /// Cell of a sheet; row and column from 0. Row comes first so that problems sort in reading order.
    Cell {
        /// Name of the sheet.
        sheet: String,
        /// Row, from 0.
        row: u32,
        /// Column, from 0.
        column: u32,
    },
}

impl Place {
    /// File as a whole.
    pub fn file(file: &str) -> Place {
        Place { file: file.to_string(), spot: Spot::Whole }
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.spot {
            Spot::Whole => f.write_str(&self.file),
            Spot::Text { line, column } => write!(f, "{}, line {line}, column {column}", self.file),
            Spot::Sheet { sheet } => write!(f, "{}, sheet {sheet}", self.file),
            Spot::Cell { sheet, row, column } => {
                write!(f, "{}, sheet {sheet}, cell {}", self.file, address(*row, *column))
            }
        }
    }
}

/// Address of a cell as a spreadsheet writes it; row and column from 0.
///
/// ```
/// assert_eq!(gapwright::problem::address(7, 2), "C8");
/// assert_eq!(gapwright::problem::address(0, 27), "AB1");
/// ```
pub fn address(row: u32, column: u32) -> String {
    format!("{}{}", column_letters(column), row + 1)
}

/// Letters of a column as a spreadsheet writes them; the column from 0.
pub(crate) fn column_letters(column: u32) -> String {
    let mut letters = Vec::new();
    let mut rest = column + 1;
    while rest > 0 {
        rest -= 1;
        letters.push(char::from(b'A' + u8::try_from(rest % 26).unwrap_or(0)));
        rest /= 26;
    }
    letters.into_iter().rev().collect()
}

/// Address of a cell as it can be pasted into the name box of a spreadsheet program, with the sheet's name in
/// quotes where needed; row and column from 0.
///
/// ```
/// use gapwright::problem::reference;
/// assert_eq!(reference("Stock", 7, 2), "Stock!C8");
/// assert_eq!(reference("Spare shims", 7, 2), "'Spare shims'!C8");
/// assert_eq!(reference("Bob's", 7, 2), "'Bob''s'!C8");
/// assert_eq!(reference("F6", 0, 0), "'F6'!A1");
/// ```
pub fn reference(sheet: &str, row: u32, column: u32) -> String {
    format!("{}!{}", quoted_sheet(sheet), address(row, column))
}

/// Name of a sheet as formulas write it. Quotes do no harm, so every name that could be read as something
/// else has them: one that begins with a digit, or one of letters and digits that could be the address of a
/// cell.
pub(crate) fn quoted_sheet(sheet: &str) -> String {
    let plain = sheet.chars().all(|c| c.is_ascii_alphanumeric() || c == '_');
    let address =
        sheet.ends_with(|c: char| c.is_ascii_digit()) || matches!(sheet, "R" | "C" | "r" | "c");
    let numeral = sheet.starts_with(|c: char| c.is_ascii_digit());
    if plain && !address && !numeral && !sheet.is_empty() {
        return sheet.to_string();
    }
    format!("'{}'", sheet.replace('\'', "''"))
}

/// Severity: whether it stops the run.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// Stops the run.
    Problem,
    /// Does not stop the run, but people should know of it.
    Warning,
}

impl Severity {
    /// Word for people.
    pub fn word(self) -> &'static str {
        match self {
            Severity::Problem => "problem",
            Severity::Warning => "warning",
        }
    }
}

/// The most characters of each text of a problem: a cell may hold 32,767, and a list many cells.
const MOST_CHARACTERS: usize = 400;

/// Problem that the user must fix, or a warning. The list that it is in gives its severity.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Problem {
    /// Place.
    pub place: Place,
    /// Text found there; long texts are cut off.
    pub found: String,
    /// Text expected instead.
    pub expected: String,
    /// Fix: how to put it right.
    pub fix: String,
    /// Number of further problems that were only counted and that this one stands for; nearly always zero.
    pub more: u64,
}

impl Problem {
    /// Problem from its four parts.
    pub fn new(
        place: Place,
        found: impl Into<String>,
        expected: impl Into<String>,
        fix: impl Into<String>,
    ) -> Problem {
        Problem {
            place,
            found: cut_off(found.into()),
            expected: cut_off(expected.into()),
            fix: cut_off(fix.into()),
            more: 0,
        }
    }

    /// Problem that stands for those that were only counted.
    fn left_off(severity: Severity, more: u64) -> Problem {
        let word = severity.word();
        let left_off = Problem::new(
            Place::file("all files"),
            format!("{more} more {word}s than can be listed"),
            format!("at most {MOST_LISTED} {word}s"),
            "fix those that are listed, then read again",
        );
        Problem { more, ..left_off }
    }
}

/// Whether a character takes no room, or looks like a blank that it is not: people would look for it in vain.
fn is_invisible(c: char) -> bool {
    matches!(
        c,
        '\u{a0}' | '\u{ad}' | '\u{2007}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202f}' | '\u{2060}'..='\u{2064}'
            | '\u{2066}'..='\u{2069}' | '\u{feff}'
    )
}

fn cut_off(mut text: String) -> String {
    if !text.is_ascii() && text.contains(is_invisible) {
        let shown = text.chars().map(|c| match is_invisible(c) {
            true => format!("<U+{:04X}>", u32::from(c)),
            false => c.to_string(),
        });
        text = shown.collect();
    }
    // A character takes at least one byte, so most texts need no counting.
    if text.len() <= MOST_CHARACTERS {
        return text;
    }
    match text.char_indices().nth(MOST_CHARACTERS) {
        None => text,
        Some((end, _)) => {
            let count = text.chars().count();
            format!("{}... ({count} characters)", &text[..end])
        }
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}", self.place)?;
        writeln!(f, "    found     {}", self.found)?;
        writeln!(f, "    expected  {}", self.expected)?;
        write!(f, "    fix       {}", self.fix)
    }
}

/// The most problems, and the most warnings, that are kept. The rest are counted, so that a million bad cells
/// do not take a gigabyte.
///
/// ```
/// use gapwright::problem::{MOST_LISTED, Place, Problem, Problems};
/// let mut problems = Problems::new();
/// for row in 0..1_000_000 {
///     problems.add(Problem::new(Place::file("a.csv"), format!("`{row}`"), "a length", "fix it"));
/// }
/// assert_eq!(problems.sorted().len(), MOST_LISTED);
/// assert_eq!(problems.count(), 1_000_000);
/// ```
pub const MOST_LISTED: usize = 20_000;

/// List that keeps the first [`MOST_LISTED`] and counts the rest.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
struct Capped {
    list: Vec<Problem>,
    left_off: u64,
}

impl Capped {
    fn push(&mut self, problem: Problem) {
        if self.list.len() < MOST_LISTED {
            self.list.push(problem);
        } else {
            self.left_off += 1;
        }
    }

    fn absorb(&mut self, other: Capped) {
        for problem in other.list {
            self.push(problem);
        }
        self.left_off += other.left_off;
    }
}

/// Problems gathered so far; a stage ends by turning them into its result.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
#[must_use = "problems that nobody reads are problems hidden"]
pub struct Problems {
    problems: Capped,
    warnings: Capped,
}

impl From<Problem> for Problems {
    fn from(problem: Problem) -> Problems {
        let mut problems = Problems::new();
        problems.add(problem);
        problems
    }
}

impl Problems {
    /// Empty list.
    pub fn new() -> Problems {
        Problems::default()
    }

    /// List of one problem.
    pub fn of(problem: Problem) -> Problems {
        let mut problems = Problems::new();
        problems.add(problem);
        problems
    }

    /// Adds a problem that stops the run.
    pub fn add(&mut self, problem: Problem) {
        self.problems.push(problem);
    }

    /// Adds a warning, which does not stop the run but is on the Summary too.
    pub fn warn(&mut self, warning: Problem) {
        self.warnings.push(warning);
    }

    /// Problem that stops the run at exactly this place.
    pub(crate) fn stops_at(&self, place: &Place) -> Option<&Problem> {
        let mut problems = self.problems.list.iter();
        problems.find(|problem| problem.place == *place)
    }

    /// Places of all problems and warnings.
    pub(crate) fn places(&self) -> HashSet<&Place> {
        self.problems.list.iter().chain(&self.warnings.list).map(|one| &one.place).collect()
    }

    /// Withdraws the warnings at exactly this place.
    pub(crate) fn withdraw_warnings(&mut self, place: &Place) {
        self.warnings.list.retain(|warning| warning.place != *place);
    }

    /// Takes over the problems and warnings of another stage.
    pub fn absorb(&mut self, other: Problems) {
        self.problems.absorb(other.problems);
        self.warnings.absorb(other.warnings);
    }

    /// Whether nothing stops the run.
    pub fn none(&self) -> bool {
        self.problems.list.is_empty()
    }

    /// Problems that stop the run, by file, sheet, row and column; without those that were only counted.
    pub fn sorted(&self) -> Vec<&Problem> {
        let mut all: Vec<&Problem> = self.problems.list.iter().collect();
        all.sort();
        all.dedup();
        all
    }

    /// Problems by place, then warnings by place.
    pub fn by_place(&self) -> Vec<(Severity, &Problem)> {
        let mut warnings: Vec<&Problem> = self.warnings.list.iter().collect();
        warnings.sort();
        let problems = self.sorted().into_iter();
        let problems = problems.map(|problem| (Severity::Problem, problem));
        let warnings = warnings.into_iter();
        problems.chain(warnings.map(|warning| (Severity::Warning, warning))).collect()
    }

    /// Number of problems that stop the run, those only counted included.
    pub fn count(&self) -> u64 {
        narrow::<u64>(self.sorted().len()) + self.left_off()
    }

    /// Number of problems that were only counted.
    pub fn left_off(&self) -> u64 {
        self.problems.left_off
    }

    /// Number of warnings, those only counted included.
    pub fn count_of_warnings(&self) -> u64 {
        // A warning that stands for others is not itself one of those found.
        let found = self.warnings.list.iter().filter(|warning| warning.more == 0);
        narrow::<u64>(found.count()) + self.warnings_left_off()
    }

    /// Number of warnings that were only counted.
    pub fn warnings_left_off(&self) -> u64 {
        let stood_for: u64 = self.warnings.list.iter().map(|warning| warning.more).sum();
        self.warnings.left_off + stood_for
    }

    /// List that starts with the warnings of an earlier stage.
    pub fn of_warnings(warnings: Vec<Problem>) -> Problems {
        Problems { warnings: Capped { list: warnings, left_off: 0 }, ..Problems::new() }
    }

    /// Warnings, in the order in which they were found.
    pub fn warnings(&self) -> &[Problem] {
        &self.warnings.list
    }

    /// Warnings, with one more that stands for those that were only counted.
    pub fn into_warnings(self) -> Vec<Problem> {
        let Capped { mut list, left_off } = self.warnings;
        if left_off > 0 {
            list.push(Problem::left_off(Severity::Warning, left_off));
        }
        list
    }

    /// Value and warnings if nothing stops the run; otherwise all problems.
    pub fn settle<T>(self, value: Option<T>) -> Result<(T, Vec<Problem>), Problems> {
        match value {
            Some(value) if self.none() => Ok((value, self.into_warnings())),
            _ => Err(self),
        }
    }
}

/// Known name nearest to a misspelt one, if one is near enough to be worth suggesting.
///
/// ```
/// use gapwright::problem::nearest;
/// assert_eq!(nearest("Thicknes", ["Item", "Thickness"]), Some("Thickness"));
/// assert_eq!(nearest("Colour", ["Item", "Thickness"]), None);
/// // Two figures off is another pump.
/// assert_eq!(nearest("P-10l", ["P-101", "P-407"]), Some("P-101"));
/// assert_eq!(nearest("P-777", ["P-101", "P-407"]), None);
/// ```
pub fn nearest<'a>(name: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    /// Longest name compared; people type no longer ones, and the work grows with both lengths.
    const LONGEST: usize = 64;
    let short = |text: &str| text.chars().count() <= LONGEST;
    if !short(name) {
        return None;
    }
    let name = name.to_lowercase();
    known
        .into_iter()
        .filter(|known| short(known))
        .map(|known| {
            let likeness = strsim::normalized_damerau_levenshtein(&name, &known.to_lowercase());
            (likeness, known)
        })
        .filter(|(likeness, known)| *likeness >= 0.6 && !another_number(&name, known))
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, known)| known)
}

/// Whether a tag or a stock number is a different one rather than a misspelt one: more than one slip in a
/// name with figures.
fn another_number(name: &str, known: &str) -> bool {
    let has_figure = |text: &str| text.bytes().any(|b| b.is_ascii_digit());
    let slips = strsim::damerau_levenshtein(name, &known.to_lowercase());
    has_figure(name) && has_figure(known) && slips > 1
}

/// Fix for an unknown name: the nearest known one, or else `otherwise`.
///
/// ```
/// use gapwright::problem::fix_name;
/// assert_eq!(fix_name("shimm", ["shim"], "remove it"), "write `shim`, if that is what is meant");
/// assert_eq!(fix_name("nut", ["shim"], "remove it"), "remove it");
/// ```
pub fn fix_name<'a>(
    name: &str,
    known: impl IntoIterator<Item = &'a str>,
    otherwise: &str,
) -> String {
    match nearest(name, known) {
        Some(near) => format!("write `{near}`, if that is what is meant"),
        None => otherwise.into(),
    }
}
