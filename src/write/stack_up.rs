//! The Stack-up sheet: per pump what contributes, per requirement what that comes to, with live
//! formulas. Change a reading, a count, a tolerance or a limit and the sheet answers.
//!
//! Every formula carries its result as the library worked it out, so that viewers which do not
//! calculate show the same; two other spreadsheet engines recalculate them in the tests.

mod inputs;
mod picture;
mod results;

use rust_xlsxwriter::{DataValidation, Format, Formula, Workbook, Worksheet, XlsxError};

use super::text::WriteText;
use crate::plain_text::mended;

use super::style::{Styles, set_up, title, widths};
use crate::accounting::stack;
use crate::job::Job;
use crate::model::{Model, Requirement};
use crate::plan::PackPick;
use crate::policy::{Acceptance, Policy};
use crate::pump::Pump;
use crate::stack::{Coverage, Stack};
use inputs::Inputs;

/// The sheet's name, as its defined names refer to it.
const NAME: &str = "Stack-up";

/// Only so many requirements get pictures: a workbook with thousands opens slowly.
const MOST_PICTURES: usize = 120;

/// A pump whose stack-up is written: what it is, what must hold, and what contributes.
pub(super) struct Subject<'a> {
    /// Its tag.
    pub(super) tag: &'a str,
    /// Its model.
    pub(super) model: &'a Model,
    /// What must hold, with its own limits.
    pub(super) requirements: &'a [Requirement],
    /// What contributes.
    pub(super) stack: Stack,
}

impl<'a> Subject<'a> {
    /// A pump of a job with these pieces.
    pub(super) fn of(job: &'a Job, pump: &'a Pump, packs: &[PackPick]) -> Subject<'a> {
        Subject {
            tag: &pump.tag,
            model: job.model_of(pump),
            requirements: &pump.requirements,
            stack: stack(job, pump, packs),
        }
    }
}

/// A name for a cell, and what it refers to.
type DefinedName = (String, String);

/// Adds the sheet to a workbook, with the names of its cells.
pub(super) fn add(
    workbook: &mut Workbook,
    subjects: &[Subject<'_>],
    policy: &Policy,
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    for (name, cell) in write(workbook.add_worksheet(), subjects, policy, date, styles)? {
        workbook.define_name(name, &cell)?;
    }
    Ok(())
}

/// Writes the sheet and returns the names to define for its cells.
fn write(
    sheet: &mut Worksheet,
    subjects: &[Subject<'_>],
    policy: &Policy,
    date: &str,
    styles: &Styles,
) -> Result<Vec<DefinedName>, XlsxError> {
    set_up(sheet, NAME, date)?;
    let columns = [
        44.0, 14.0, 14.0, 13.0, 13.0, 14.0, 13.0, 13.0, 13.0, 13.0, 13.0, 13.0, 13.0, 13.0, 14.0,
    ];
    widths(sheet, &columns)?;
    title(
        sheet,
        NAME,
        "Coloured cells may be changed: readings, counts, tolerances, temperatures, limits, the rule; everything else follows. This sheet predicts: the recheck after fitting decides.",
        styles,
    )?;
    let mut names = rule(sheet, policy, styles)?;
    picture::levels(sheet, styles)?;
    let mut row = FIRST_ROW;
    let mut breaks = Vec::new();
    let mut pictures = MOST_PICTURES;
    if subjects.iter().map(|s| s.requirements.len()).sum::<usize>() > MOST_PICTURES {
        let remark = format!(
            "Pictures stand at the first {MOST_PICTURES} requirements: gapwright stack --pump TAG draws any pump."
        );
        sheet.write_text(RULE_ROW + 1, 0, remark, &styles.remark)?;
    }
    for subject in subjects {
        if row > FIRST_ROW {
            breaks.push(row);
        }
        let inputs = Inputs::write(sheet, row, subject, styles)?;
        row = inputs.end + 1;
        for (index, requirement) in subject.requirements.iter().enumerate() {
            if index > 0 {
                breaks.push(row);
            }
            let block = results::Block::new(subject, requirement, &inputs, policy, row);
            row = block.write(sheet, &mut names, pictures > 0, styles)? + 1;
            pictures = pictures.saturating_sub(1);
        }
    }
    if subjects.is_empty() {
        sheet.write_text(FIRST_ROW, 0, "No pump can be kitted.", &styles.alarm)?;
        row = FIRST_ROW + 1;
    }
    // The rows that a picture rests on stand beside the page.
    sheet.set_print_area(0, 0, row, LAST)?;
    sheet.set_page_breaks(&breaks)?;
    Ok(names)
}

/// The row of the rule in force.
const RULE_ROW: u32 = 3;
/// The row of the first pump.
const FIRST_ROW: u32 = 6;
/// The last column that is printed.
const LAST: u16 = 14;

/// The rule in force, in cells that every verdict refers to by name.
fn rule(
    sheet: &mut Worksheet,
    policy: &Policy,
    styles: &Styles,
) -> Result<Vec<DefinedName>, XlsxError> {
    let rules = [
        Acceptance::Nominal,
        Acceptance::WorstCase,
        Acceptance::Expanded,
    ]
    .map(|r| r.to_string());
    sheet.write_text(RULE_ROW, 0, "Acceptance rule", &styles.text)?;
    sheet.write_text(RULE_ROW, 1, policy.acceptance.to_string(), &styles.entry)?;
    let list = DataValidation::new().allow_list_strings(&rules)?;
    sheet.add_data_validation(RULE_ROW, 1, RULE_ROW, 1, &list)?;
    let entry = styles.number_entry();
    // A level, where there is one, outranks the factor.
    let (factor, level) = match policy.coverage {
        Coverage::Factor(factor) => (factor.to_f64(), None),
        Coverage::Level(level) => (2.0, Some(level.to_f64())),
    };
    sheet.merge_text(RULE_ROW, 2, RULE_ROW, 3, "Coverage factor", &styles.text)?;
    sheet.write_number_with_format(RULE_ROW, 4, factor, &entry)?;
    inputs::within(sheet, RULE_ROW, 4, 0.1, 10.0)?;
    inputs::within(sheet, RULE_ROW, 8, 0.5, 0.9999)?;
    let or = "or, if filled in, level of confidence";
    sheet.merge_text(RULE_ROW, 5, RULE_ROW, 7, or, &styles.text)?;
    let percent = styles.percent_entry();
    match level {
        Some(level) => sheet.write_number_with_format(RULE_ROW, 8, level, &percent)?,
        None => sheet.write_blank(RULE_ROW, 8, &percent)?,
    };
    let name = |name: &str, column: char| {
        let at = RULE_ROW + 1;
        (name.to_string(), format!("='{NAME}'!${column}${at}"))
    };
    Ok(vec![
        name("acceptance_rule", 'B'),
        name("coverage_factor", 'E'),
        name("coverage_level", 'I'),
    ])
}

/// What a formula comes to.
enum Cached<'a> {
    Number(f64),
    Text(&'a str),
}

impl From<f64> for Cached<'_> {
    fn from(number: f64) -> Self {
        Cached::Number(number)
    }
}

impl<'a> From<&'a str> for Cached<'a> {
    fn from(text: &'a str) -> Self {
        Cached::Text(text)
    }
}

/// Writes a formula with its result.
fn put<'a>(
    sheet: &mut Worksheet,
    (row, column): (u32, u16),
    formula: &str,
    result: impl Into<Cached<'a>>,
    format: &Format,
) -> Result<(), XlsxError> {
    let result = match result.into() {
        Cached::Number(number) => number.to_string(),
        Cached::Text(text) => mended(text).into_owned(),
    };
    let formula = Formula::new(format!("={formula}")).set_result(result);
    sheet.write_formula_with_format(row, column, formula, format)?;
    Ok(())
}

/// A cell's address as formulas write it.
fn cell(row: u32, column: u16) -> String {
    crate::problem::address(row, column.into())
}

/// The coverage factor, given the cell of its degrees of freedom, where there are any.
fn factor(freedom: Option<&str>) -> String {
    let normal = "NORM.S.INV((1+coverage_level)/2)";
    let of_level = match freedom {
        None => normal.to_string(),
        Some(cell) => format!(
            "IF(ISNUMBER({cell}),T.INV.2T(1-coverage_level,{}),{normal})",
            whole(cell)
        ),
    };
    format!("IF(ISNUMBER(coverage_level),{of_level},coverage_factor)")
}

/// The factor that stands for the whole range of a mean of few readings, given the cell of its
/// degrees of freedom: at the level that the factor in force comes to.
fn factor_of_readings(freedom: &str) -> String {
    format!(
        "IF(ISNUMBER({freedom}),T.INV.2T(1-IF(ISNUMBER(coverage_level),ROUND(coverage_level,6),ROUND(2*NORM.S.DIST(coverage_factor,TRUE)-1,6)),{}),{})",
        whole(freedom),
        factor(None)
    )
}

/// Degrees of freedom cut off to a whole number, as the library does.
fn whole(freedom: &str) -> String {
    format!("MAX(1,MIN(1000,INT({freedom}*(1+1E-12))))")
}
