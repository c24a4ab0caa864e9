//! Problems and warnings as JSON: what a run found into [`crate::formats::problems`].

use crate::formats::problems::{CountsJson, FORMAT, ProblemJson, ProblemsJson, ReadJson};
use crate::plain_text::acts;
use crate::problem::{Problem, Problems, Severity, Spot, address};

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
        counts: CountsJson { problems: problems.count(), warnings: problems.count_of_warnings() },
        left_off: problems.left_off() + problems.warnings_left_off(),
        problems: stops.into_iter().map(of(Severity::Problem)).collect(),
        warnings: problems.warnings().iter().map(of(Severity::Warning)).collect(),
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
        fix: problem.fix.clone(),
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
        assert_eq!(again.problems[0].found, hostile.replace('\u{202e}', "<U+202E>"));
    }
}
