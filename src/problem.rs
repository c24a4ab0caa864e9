//! What is wrong with an input, where it stands, and how to mend it: always all of it.

use std::fmt;

use serde::Serialize;

/// Where something stands: a file, and as far as it is known the spot inside it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Place {
    /// The file, as the user named it (or the command line).
    pub file: String,
    /// The spot inside the file.
    pub spot: Spot,
}

/// A spot inside a file.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Spot {
    /// The file as a whole.
    Whole,
    /// A line and column of a text file, both from 1.
    Text {
        /// Line, from 1.
        line: usize,
        /// Column, from 1.
        column: usize,
    },
    /// A sheet of a workbook.
    Sheet {
        /// Its name.
        sheet: String,
    },
    /// A cell of a sheet; both from 0. Declared row first so that problems sort in reading order.
    Cell {
        /// The sheet's name.
        sheet: String,
        /// Row, from 0.
        row: u32,
        /// Column, from 0.
        column: u32,
    },
}

impl Place {
    /// The file as a whole.
    pub fn file(file: &str) -> Place {
        Place {
            file: file.to_string(),
            spot: Spot::Whole,
        }
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.spot {
            Spot::Whole => f.write_str(&self.file),
            Spot::Text { line, column } => write!(f, "{}, line {line}, column {column}", self.file),
            Spot::Sheet { sheet } => write!(f, "{}, sheet {sheet}", self.file),
            Spot::Cell { sheet, row, column } => {
                write!(
                    f,
                    "{}, sheet {sheet}, cell {}",
                    self.file,
                    address(*row, *column)
                )
            }
        }
    }
}

/// A cell's address as the spreadsheet writes it; row and column from 0.
///
/// ```
/// assert_eq!(gapwright::problem::address(7, 2), "C8");
/// assert_eq!(gapwright::problem::address(0, 27), "AB1");
/// ```
pub fn address(row: u32, column: u32) -> String {
    format!("{}{}", column_letters(column), row + 1)
}

/// A column's letters as the spreadsheet writes them; the column from 0.
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

/// One thing that the user has to put right, or should know of.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Problem {
    /// Where it stands.
    pub place: Place,
    /// What was found there.
    pub found: String,
    /// What was expected instead.
    pub expected: String,
    /// How to mend it.
    pub mend: String,
}

impl Problem {
    /// A problem from its four parts.
    pub fn new(
        place: Place,
        found: impl Into<String>,
        expected: impl Into<String>,
        mend: impl Into<String>,
    ) -> Problem {
        Problem {
            place,
            found: found.into(),
            expected: expected.into(),
            mend: mend.into(),
        }
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}", self.place)?;
        writeln!(f, "    found     {}", self.found)?;
        writeln!(f, "    expected  {}", self.expected)?;
        write!(f, "    mend      {}", self.mend)
    }
}

/// Problems gathered on the way; a stage ends by turning them into its result.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
#[must_use = "problems that nobody reads are problems hidden"]
pub struct Problems {
    list: Vec<Problem>,
    warnings: Vec<Problem>,
}

impl Problems {
    /// None so far.
    pub fn new() -> Problems {
        Problems::default()
    }

    /// Adds a problem that stops the run.
    pub fn add(&mut self, problem: Problem) {
        self.list.push(problem);
    }

    /// Adds a warning, which does not stop the run but stands on Summary too.
    pub fn warn(&mut self, warning: Problem) {
        self.warnings.push(warning);
    }

    /// Takes another stage's findings in.
    pub fn absorb(&mut self, other: Problems) {
        self.list.extend(other.list);
        self.warnings.extend(other.warnings);
    }

    /// Whether nothing stops the run.
    pub fn none(&self) -> bool {
        self.list.is_empty()
    }

    /// The problems that stop the run, by file, sheet, row and column.
    pub fn sorted(&self) -> Vec<&Problem> {
        let mut all: Vec<&Problem> = self.list.iter().collect();
        all.sort();
        all.dedup();
        all
    }

    /// The warnings, in the order in which they were found.
    pub fn warnings(&self) -> &[Problem] {
        &self.warnings
    }

    /// The value if nothing stops the run, with the warnings; else all the problems.
    pub fn settle<T>(self, value: Option<T>) -> Result<(T, Vec<Problem>), Problems> {
        match value {
            Some(value) if self.none() => Ok((value, self.warnings)),
            _ => Err(self),
        }
    }
}

/// The known name nearest to a misspelt one, if one is near enough to be worth suggesting.
///
/// ```
/// use gapwright::problem::nearest;
/// assert_eq!(nearest("Thicknes", ["Item", "Thickness"]), Some("Thickness"));
/// assert_eq!(nearest("Colour", ["Item", "Thickness"]), None);
/// ```
pub fn nearest<'a>(name: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let name = name.to_lowercase();
    known
        .into_iter()
        .map(|known| {
            (
                strsim::normalized_damerau_levenshtein(&name, &known.to_lowercase()),
                known,
            )
        })
        .filter(|(likeness, _)| *likeness >= 0.6)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, known)| known)
}

/// How to mend a name that is not known: the nearest known one, or else `otherwise`.
///
/// ```
/// use gapwright::problem::mend_name;
/// assert_eq!(mend_name("shimm", ["shim"], "remove it"), "say `shim`, if that is what is meant");
/// assert_eq!(mend_name("nut", ["shim"], "remove it"), "remove it");
/// ```
pub fn mend_name<'a>(
    name: &str,
    known: impl IntoIterator<Item = &'a str>,
    otherwise: &str,
) -> String {
    match nearest(name, known) {
        Some(near) => format!("say `{near}`, if that is what is meant"),
        None => otherwise.into(),
    }
}
