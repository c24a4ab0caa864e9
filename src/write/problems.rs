//! Problems and warnings as JSON, format `gapwright.problems.v1`.

use schemars::{JsonSchema, Schema, schema_for};
use serde::{Deserialize, Serialize};

use crate::plain_text::acts;
use crate::problem::{Problem, Problems, Severity, Spot, address};

/// The name of the format.
pub const FORMAT: &str = "gapwright.problems.v1";

/// What a run found in its inputs, and what it wrote.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProblemsJson {
    /// Always `gapwright.problems.v1`.
    pub format: String,
    /// The exit status of the run.
    pub exit_status: u8,
    /// The files that were written; empty if none was.
    pub written: Vec<String>,
    /// How many of each there are, with those that are not listed.
    pub counts: CountsJson,
    /// How many are only counted: of each severity the first 20,000 are listed.
    pub left_off: u64,
    /// What stops the run, by file, sheet, row and column.
    pub problems: Vec<ProblemJson>,
    /// What does not stop it, in the order in which it was found.
    pub warnings: Vec<ProblemJson>,
    /// What was read, said by `check` alone; of inputs with problems the sheets only.
    pub read: Option<ReadJson>,
}

/// How many there are.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CountsJson {
    /// Of problems.
    pub problems: u64,
    /// Of warnings.
    pub warnings: u64,
}

/// One problem or warning.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProblemJson {
    /// `problem` if it stops the run, else `warning`.
    pub severity: Severity,
    /// The file, as it was named; `command line` for the arguments.
    pub file: String,
    /// The sheet of a workbook; null if it is about the file as a whole or a line of text.
    pub sheet: Option<String>,
    /// The cell as the spreadsheet writes it, `C8`.
    pub cell: Option<String>,
    /// The row of the cell, from 1.
    pub row: Option<u64>,
    /// The line of a text file, from 1.
    pub line: Option<u64>,
    /// The column of the cell or of the line, from 1.
    pub column: Option<u64>,
    /// What was found there.
    pub found: String,
    /// What was expected instead.
    pub expected: String,
    /// How to mend it.
    pub mend: String,
}

/// What was read, in counts.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReadJson {
    /// Every sheet of every workbook.
    pub sheets: Vec<SheetReadJson>,
    /// Lots on the stock sheet; null if no stock was read.
    pub lots: Option<u64>,
    /// Pieces of these lots on hand.
    pub pieces: Option<u64>,
    /// Lots of sheets that pieces can be cut from.
    pub sheet_lots: Option<u64>,
    /// Pumps; null if none were read.
    pub pumps: Option<u64>,
    /// Pumps of each model.
    pub models: Vec<ModelReadJson>,
    /// Requirements of all pumps together.
    pub requirements: Option<u64>,
    /// Columns and sheets that nothing is done with.
    pub unused: Vec<String>,
}

/// A sheet that was read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SheetReadJson {
    /// Its file.
    pub file: String,
    /// Its name.
    pub sheet: String,
    /// Rows that hold anything, headings and titles among them.
    pub rows: u64,
}

/// The pumps of a model.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ModelReadJson {
    /// The model's name.
    pub model: String,
    /// How many pumps are of it.
    pub pumps: u64,
}

/// The JSON Schema of the format.
pub fn schema() -> Schema {
    schema_for!(ProblemsJson)
}

/// The list, for a run that ends with this status and wrote these files.
pub fn list(
    problems: &Problems,
    exit_status: u8,
    written: Vec<String>,
    read: Option<ReadJson>,
) -> ProblemsJson {
    let of = |severity| move |problem: &Problem| one(problem, severity);
    let stops = problems.sorted();
    ProblemsJson {
        format: FORMAT.into(),
        exit_status,
        written,
        counts: CountsJson {
            problems: problems.count(),
            warnings: problems.count_of_warnings(),
        },
        left_off: problems.left_off() + problems.warnings_left_off(),
        problems: stops.into_iter().map(of(Severity::Problem)).collect(),
        warnings: problems
            .warnings()
            .iter()
            .map(of(Severity::Warning))
            .collect(),
        read,
    }
}

fn one(problem: &Problem, severity: Severity) -> ProblemJson {
    let mut json = ProblemJson {
        severity,
        file: problem.place.file.clone(),
        sheet: None,
        cell: None,
        row: None,
        line: None,
        column: None,
        found: problem.found.clone(),
        expected: problem.expected.clone(),
        mend: problem.mend.clone(),
    };
    match &problem.place.spot {
        Spot::Whole => {}
        Spot::Text { line, column } => {
            json.line = u64::try_from(*line).ok();
            json.column = u64::try_from(*column).ok();
        }
        Spot::Sheet { sheet } => json.sheet = Some(sheet.clone()),
        Spot::Cell { sheet, row, column } => {
            json.sheet = Some(sheet.clone());
            json.cell = Some(address(*row, *column));
            json.row = Some(u64::from(*row) + 1);
            json.column = Some(u64::from(*column) + 1);
        }
    }
    json
}

/// As text, a line a field. What a terminal would act on is written as escapes even where JSON does
/// not ask for it.
pub fn text(list: &ProblemsJson) -> String {
    let json = serde_json::to_string_pretty(list).unwrap_or_default();
    let acts = |c: char| c != '\n' && acts(c);
    if !json.contains(acts) {
        return json;
    }
    let mut plain = String::with_capacity(json.len() + 64);
    for c in json.chars() {
        // All of them lie below U+10000, so one escape does.
        match acts(c) {
            true => plain.push_str(&format!("\\u{:04x}", u32::from(c))),
            false => plain.push(c),
        }
    }
    plain
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::problem::Place;

    #[test]
    fn what_a_terminal_acts_on_is_escaped_and_read_back() {
        let hostile = "\u{1b}[2J \u{9b} \u{7f} \u{202e} \n \"é日\u{1f600}";
        let mut problems = Problems::new();
        problems.add(Problem::new(Place::file("a\u{9b}.xlsx"), hostile, "b", "c"));
        let list = list(&problems, 2, vec![], None);
        let text = text(&list);
        assert!(!text.contains(|c: char| (c.is_control() && c != '\n') || c == '\u{202e}'));
        let again: ProblemsJson = serde_json::from_str(&text).unwrap();
        assert_eq!(again, list);
        assert_eq!(again.problems[0].found, hostile);
    }
}
