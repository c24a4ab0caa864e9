//! Reads .csv files: UTF-8, separated by commas, semicolons or tabs.

use crate::problem::{Place, Problem, Spot};
use crate::sheet::Sheet;

/// The most characters that a cell of a workbook holds.
const MOST_CHARACTERS: usize = 32_767;

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
        if let Some(long) = record
            .iter()
            .find(|text| text.chars().count() > MOST_CHARACTERS)
        {
            let line = usize::try_from(line).unwrap_or(1);
            return Err(Problem::new(
                Place {
                    file: file.to_string(),
                    spot: Spot::Text { line, column: 1 },
                },
                format!("a text of {} characters", long.chars().count()),
                format!("at most {MOST_CHARACTERS}, which is what a spreadsheet's cell holds"),
                "shorten it",
            ));
        }
        rows.push(record.iter().map(str::to_string).collect());
    }
    Ok(Sheet::from_text(file, name, rows))
}

/// The separator: the one that parts some line of the first ten into most values. A comma between
/// two digits may be a decimal mark and does not count.
fn delimiter(text: &str) -> u8 {
    let most = |mark: char| {
        let marks = |line: &str| {
            let chars: Vec<char> = line.chars().collect();
            let digit = |at: Option<usize>| {
                at.and_then(|at| chars.get(at))
                    .is_some_and(char::is_ascii_digit)
            };
            let decimal = |at: usize| digit(at.checked_sub(1)) && digit(at.checked_add(1));
            let found = chars.iter().enumerate().filter(|(_, c)| **c == mark);
            found.filter(|(at, _)| mark != ',' || !decimal(*at)).count()
        };
        text.lines().take(10).map(marks).max().unwrap_or(0)
    };
    let (comma, semicolon, tab) = (most(','), most(';'), most('\t'));
    if semicolon > comma && semicolon >= tab {
        b';'
    } else if tab > comma {
        b'\t'
    } else {
        b','
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_separator_is_the_one_that_parts_the_headings() {
        assert_eq!(delimiter("Item,Kind,Fit\nS1,shim,\"F1; old\"\n"), b',');
        assert_eq!(delimiter("Item;On hand;Thickness (mm)\nS1;4;0,05\n"), b';');
        assert_eq!(delimiter("a;b\n0,1;0,2\n0,3;0,4\n"), b';');
        assert_eq!(delimiter("Item\tKind\tOld, worn\n"), b'\t');
    }
}
