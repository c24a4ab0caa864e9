//! Reads .csv files: UTF-8, separated by commas, semicolons or tabs.

use crate::problem::{Place, Problem, Spot};
use crate::sheet::Sheet;

/// The one sheet of a CSV file.
pub(super) fn sheet(file: &str, name: &str, bytes: &[u8]) -> Result<Sheet, Problem> {
    let text = std::str::from_utf8(bytes).map_err(|error| {
        let line = bytes[..error.valid_up_to()]
            .iter()
            .filter(|&&b| b == b'\n')
            .count()
            + 1;
        Problem::new(
            Place {
                file: file.to_string(),
                spot: Spot::Text { line, column: 1 },
            },
            "bytes that are not UTF-8 text",
            "a CSV file in UTF-8",
            "save it from the spreadsheet program as `CSV UTF-8`, or as .xlsx",
        )
    })?;
    let text = text.trim_start_matches('\u{feff}');
    let mut reader = ::csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter(text))
        .from_reader(text.as_bytes());
    let mut rows = Vec::new();
    let mut last_line = 0;
    for record in reader.records() {
        let record = record.map_err(|error| {
            let line = error
                .position()
                .map_or(1, |p| usize::try_from(p.line()).unwrap_or(1));
            Problem::new(
                Place {
                    file: file.to_string(),
                    spot: Spot::Text { line, column: 1 },
                },
                format!("a line that is not CSV ({error})"),
                "values between separators, texts in double quotes where they hold one",
                "save it again as CSV, or as .xlsx",
            )
        })?;
        // The reader skips blank lines; addresses must not.
        let line = record.position().map_or(last_line + 1, |p| p.line());
        while last_line + 1 < line {
            rows.push(Vec::new());
            last_line += 1;
        }
        last_line = line;
        rows.push(record.iter().map(str::to_string).collect());
    }
    Ok(Sheet::from_text(file, name, rows))
}

/// The separator: whichever of the three stands most often in the first ten lines. A comma that
/// is a decimal mark goes with the semicolon as separator.
fn delimiter(text: &str) -> u8 {
    let head: String = text.lines().take(10).collect();
    let count = |c: char| head.matches(c).count();
    if count(';') > 0 {
        b';'
    } else if count('\t') > count(',') {
        b'\t'
    } else {
        b','
    }
}
