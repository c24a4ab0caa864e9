//! Problems and warnings as JSON, format `gapwright.problems.v2`.

use schemars::{JsonSchema, Schema, schema_for};
use serde::{Deserialize, Serialize};

use super::common::NotMeasuredJson;
use crate::problem::Severity;

/// Name of the format.
pub const FORMAT: &str = "gapwright.problems.v2";

/// Problems and warnings of a run, and the files that it wrote.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProblemsJson {
    /// Always `gapwright.problems.v2`.
    pub format: String,
    /// Exit status of the run.
    pub exit_status: u8,
    /// Files that were written; empty if none was.
    pub written: Vec<String>,
    /// Number of problems and of warnings, including those that are not listed.
    pub counts: CountsJson,
    /// Number that is counted but not listed: of each severity the first 20,000 are listed.
    pub left_off: u64,
    /// Problems that stop the run, by file, sheet, row and column.
    pub problems: Vec<ProblemJson>,
    /// Warnings, which do not stop it, in the order in which they were found.
    pub warnings: Vec<ProblemJson>,
    /// Contents of the inputs, given by `check` alone; only the sheets if there are problems.
    pub read: Option<ReadJson>,
}

/// Numbers of problems and warnings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CountsJson {
    /// Number of problems.
    pub problems: u64,
    /// Number of warnings.
    pub warnings: u64,
}

/// One problem or warning.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProblemJson {
    /// `problem` if it stops the run, else `warning`.
    pub severity: Severity,
    /// File name as the user gave it; `command line` for the arguments.
    pub file: String,
    /// Sheet of a workbook; null for the file as a whole or a line of text.
    pub sheet: Option<String>,
    /// Cell as the spreadsheet names it, `C8`.
    pub cell: Option<String>,
    /// Row of the cell, from 1.
    pub row: Option<u64>,
    /// Line of a text file, from 1.
    pub line: Option<u64>,
    /// Column of the cell or of the line, from 1.
    pub column: Option<u64>,
    /// The value found there.
    pub found: String,
    /// The expected value.
    pub expected: String,
    /// Advice on how to fix it.
    pub fix: String,
}

/// Contents of the inputs, in counts.
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
    /// Pumps that are measured; null if none were read.
    pub pumps: Option<u64>,
    /// Pumps with a missing reading, which nothing would be planned for; absent where all are measured.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub not_measured: Vec<NotMeasuredJson>,
    /// Pumps of each model.
    pub models: Vec<ModelReadJson>,
    /// Requirements of all pumps together.
    pub requirements: Option<u64>,
    /// Columns and sheets that are not used.
    pub unused: Vec<String>,
}

/// A sheet that was read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SheetReadJson {
    /// Its file.
    pub file: String,
    /// Its name.
    pub sheet: String,
    /// Rows with any contents, headings and titles included.
    pub rows: u64,
}

/// The pumps of a model.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ModelReadJson {
    /// The model's name.
    pub model: String,
    /// Number of its pumps.
    pub pumps: u64,
}

/// JSON Schema of the format.
pub fn schema() -> Schema {
    schema_for!(ProblemsJson)
}
