//! The Basis sheet: what a workbook follows from, enough to repeat it to the byte. Each workbook says its own
//! sections; those that several have are here.

use rust_xlsxwriter::Worksheet;

use super::page::{Page, Written};
use super::style::Styles;
use super::table::{Cell, Cells, over};
use crate::choose::Backend;
use crate::job::{Input, Job};
use crate::plan::Plan;
use crate::words;

/// A table of the sheet: headings, and rows with their heights in points where they are not plain ones'.
pub(super) struct Section<'s> {
    pub(super) heads: [&'static str; 3],
    pub(super) rows: Vec<(Vec<Cell<'s>>, Option<f64>)>,
}

impl<'s> Section<'s> {
    /// Facts by name; `height` of a text, where it is not a plain row's.
    pub(super) fn facts(
        facts: impl IntoIterator<Item = (&'static str, String)>,
        height: impl Fn(&str) -> Option<f64>,
        styles: &'s Styles,
    ) -> Section<'s> {
        let rows = facts.into_iter().map(|(name, text)| {
            let height = height(&text);
            (vec![styles.text.of(name), over(2, styles.wrapped.of(text))], height)
        });
        Section { heads: ["Program", "", ""], rows: rows.collect() }
    }

    /// The warnings of a job, if it has any.
    pub(super) fn warnings(
        job: &Job,
        height: impl Fn(&str) -> f64,
        styles: &'s Styles,
    ) -> Option<Section<'s>> {
        let rows = job.warnings.iter().map(words::warning).map(|text| {
            let height = height(&text);
            (vec![over(3, styles.wrapped.of(text))], Some(height))
        });
        (!job.warnings.is_empty())
            .then(|| Section { heads: ["Warnings", "", ""], rows: rows.collect() })
    }

    /// Plain rows of cells.
    pub(super) fn of_cells(
        heads: [&'static str; 3],
        rows: impl IntoIterator<Item = [Cell<'s>; 3]>,
    ) -> Section<'s> {
        Section { heads, rows: rows.into_iter().map(|cells| (cells.into(), None)).collect() }
    }
}

/// The sheet.
pub(super) fn sheet<'s>(
    lead: &str,
    sections: impl IntoIterator<Item = Section<'s>>,
    styles: &Styles,
) -> Written<Worksheet> {
    let mut page = Page::begin("Basis", "Basis", lead, styles)?;
    page.widths(&[28.0, 46.0, 92.0])?;
    for section in sections {
        page.heads(&section.heads)?;
        for (cells, height) in section.rows {
            if let Some(height) = height {
                page.high(height)?;
            }
            page.line(cells)?;
        }
        page.row += 1;
    }
    Ok(page.sheet)
}

/// Files with their hashes.
pub(super) fn files<'s>(head: &'static str, files: &[Input], styles: &'s Styles) -> Section<'s> {
    let rows = files
        .iter()
        .map(|input| [&input.role, &input.file, &input.sha256].map(|text| styles.wrapped.of(text)));
    Section::of_cells([head, "File", "SHA-256"], rows)
}

/// The inputs with their hashes, then the policy.
pub(super) fn inputs_and_policy<'s>(job: &Job, styles: &'s Styles) -> [Section<'s>; 2] {
    let policy = job.policy.settings().into_iter().map(|setting| {
        let cells = [setting.name, setting.value.as_str(), setting.meaning];
        cells.map(|text| styles.text.of(text))
    });
    [files("Input", &job.inputs, styles), Section::of_cells(["Policy", "Value", "Meaning"], policy)]
}

/// The goals with value and bound.
pub(super) fn goals<'s>(job: &Job, plan: &Plan, styles: &'s Styles) -> Section<'s> {
    let rows = plan.goals.iter().map(|goal| {
        let [value, bound] = [goal.value, goal.bound].map(|v| words::goal_value(job, goal, v));
        [words::objective(goal.objective).to_string(), value, bound]
            .map(|text| styles.text.of(text))
    });
    Section::of_cells(["Optimised for, in this order", "Value", "Bound"], rows)
}

/// The program, as every Basis names it.
pub(super) fn program() -> (&'static str, String) {
    let name = format!("gapwright {}", env!("CARGO_PKG_VERSION"));
    ("Program", name)
}

/// How linear programs are solved.
pub(super) fn solver() -> (&'static str, String) {
    let backend = Backend::default().name();
    let how = format!(
        "own simplex; {backend} through good_lp where packs are bought or opened, plates are cut, or \
         items are many; bounds recomputed in integers"
    );
    ("LP solver", how)
}

/// The end of the search for a plan.
pub(super) fn ended(plan: &Plan) -> (&'static str, String) {
    let how = plan.stopped_by.map_or("yes".into(), |stop| format!("no: {}", stop.words()));
    ("Search complete", how)
}

/// How lengths are held.
pub(super) fn lengths() -> (&'static str, String) {
    let how = "stored in whole tenths of a nanometre; 1 in = 25.4 mm exactly";
    ("Lengths", how.to_string())
}
