//! Names as the page gives them: files without their folders.

use std::path::Path;

use crate::problem::{Place, Problem, Problems, Spot, reference};
use crate::words;

/// Name of a file without its folder: no path of this computer stands on the page.
pub(super) fn file(path: &str) -> String {
    let name = Path::new(path).file_name();
    name.map_or_else(|| "workbook".into(), |name| name.to_string_lossy().into_owned())
}

/// Place of a problem as it can be found in the workbook.
pub(super) fn place(place: &Place) -> String {
    match &place.spot {
        Spot::Cell { sheet, row, column } => reference(sheet, *row, *column),
        Spot::Sheet { sheet } => format!("sheet {sheet}"),
        Spot::Text { line, column } => {
            format!("{}, line {line}, column {column}", file(&place.file))
        }
        Spot::Whole => file(&place.file),
    }
}

/// A problem without its folder.
pub(super) fn problem(problem: &Problem) -> Problem {
    let place = Place { file: file(&problem.place.file), ..problem.place.clone() };
    Problem { place, ..problem.clone() }
}

/// The first problems of the workbooks, each in one line without its folder.
pub(super) fn listed(problems: &Problems) -> Vec<String> {
    const MOST: usize = 20;
    let all = problems.sorted();
    let more = all.len().saturating_sub(MOST);
    let lines = all.into_iter().take(MOST).map(|one| words::warning(&problem(one)));
    let rest = (more > 0).then(|| format!("... and {more} more"));
    lines.chain(rest).collect()
}
