//! Problems and warnings as JSON, format `gapwright.problems.v1`.

use schemars::{JsonSchema, Schema, schema_for};
use serde::{Deserialize, Serialize};

use crate::problem::Severity;

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
