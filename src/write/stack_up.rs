//! The Stack-up sheet: per pump what contributes, per requirement what that comes to, with live
//! formulas. Change a reading, a count, a tolerance or a limit and the sheet answers.
//!
//! Every formula carries its result as the library worked it out, so that viewers which do not
//! calculate show the same; two other spreadsheet engines recalculate them in the tests.
//!
//! # Decision
//!
//! The contributors stand once per pump, every requirement refers to them, and sums are written out: a reading is
//! changed in one place, and any spreadsheet calculates it.

mod inputs;
mod outcomes;
mod picture;
mod results;

use std::collections::HashSet;

use rust_xlsxwriter::{DataValidation, Format, Formula, Workbook, Worksheet, XlsxError};

use super::text::WriteText;
use crate::plain_text::mended;

use super::pages::{Pages, Series};
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

/// Adds the sheet to a workbook, with the names of its cells.
pub(super) fn add(
    workbook: &mut Workbook,
    subjects: &[Subject<'_>],
    policy: &Policy,
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let wanted: usize = subjects.iter().map(|s| s.requirements.len()).sum();
    let series = Series {
        name: NAME,
        begin: &|sheet, name| {
            begin(sheet, name, date, styles)?;
            if name != NAME {
                rule_again(sheet, policy, styles)?;
                return Ok(FIRST_ROW);
            }
            rule(sheet, policy, styles)?;
            if wanted > MOST_PICTURES {
                let remark = format!(
                    "Pictures stand at the first {MOST_PICTURES} requirements: gapwright stack --pump TAG draws any pump."
                );
                sheet.write_text(RULE_ROW + 1, 0, remark, &styles.remark)?;
            }
            Ok(FIRST_ROW)
        },
        last_column: Some(LAST),
    };
    let mut pages = Pages::begin(workbook, &series)?;
    let mut names = Names::default();
    names.of_rule();
    let mut pictures = MOST_PICTURES;
    for subject in subjects {
        // Formulas refer to the pump's contributors, which stand on its first page.
        pages.turn(subject.requirements.len().max(1))?;
        let inputs = Inputs::write(&mut pages.sheet, pages.row, subject, styles)?;
        pages.row = inputs.end + 1;
        for (index, requirement) in subject.requirements.iter().enumerate() {
            if index > 0 {
                pages.go_on();
            }
            let block = results::Block::new(subject, requirement, &inputs, policy, &pages);
            let end = block.write(&mut pages.sheet, pictures > 0, styles)?;
            block.define(&mut names);
            pages.row = end + 1;
            pictures = pictures.saturating_sub(1);
        }
    }
    if subjects.is_empty() {
        let text = "No pump can be kitted.";
        pages.sheet.write_text(FIRST_ROW, 0, text, &styles.alarm)?;
        pages.row = FIRST_ROW + 1;
    }
    // The rows that a picture rests on stand beside the page.
    pages.finish(|_| {})?;
    for (name, cell) in names.defined {
        workbook.define_name(name, &cell)?;
    }
    Ok(())
}

fn begin(sheet: &mut Worksheet, name: &str, date: &str, styles: &Styles) -> Result<(), XlsxError> {
    set_up(sheet, name, date)?;
    let columns =
        [44.0, 14.0, 14.0, 13.0, 13.0, 14.0, 13.0, 13.0, 13.0, 13.0, 13.0, 13.0, 13.0, 13.0, 14.0];
    widths(sheet, &columns)?;
    title(
        sheet,
        NAME,
        "Coloured cells may be changed: readings, counts, tolerances, temperatures, limits, the rule; everything else follows. This sheet predicts: the recheck after fitting decides.",
        styles,
    )
}

/// Names of cells, each once, and what they refer to.
#[derive(Default)]
struct Names {
    defined: Vec<(String, String)>,
    /// In capitals: names that differ in their case only are one.
    taken: HashSet<String>,
}

impl Names {
    /// Names a cell, with a number behind the name if it is taken: tags may differ in what is no letter.
    fn add(&mut self, name: &str, cell: String) {
        let free = (1_u32..).map(|n| match n {
            1 => name.to_string(),
            n => format!("{name}_{n}"),
        });
        let mut free = free.skip_while(|name| !self.taken.insert(name.to_ascii_uppercase()));
        self.defined.extend(free.next().map(|name| (name, cell)));
    }

    /// The rule in force, which every verdict on any sheet refers to.
    fn of_rule(&mut self) {
        for (name, column) in
            [("acceptance_rule", 'B'), ("coverage_factor", 'E'), ("coverage_level", 'I')]
        {
            self.add(name, format!("='{NAME}'!${column}${}", RULE_ROW + 1));
        }
    }
}

/// The row of the rule in force.
const RULE_ROW: u32 = 3;
/// The row of the first pump.
const FIRST_ROW: u32 = 6;
/// The last column that is printed.
const LAST: u16 = 14;

/// The rule in force, in cells that every verdict refers to by name.
fn rule(sheet: &mut Worksheet, policy: &Policy, styles: &Styles) -> Result<(), XlsxError> {
    let rules =
        [Acceptance::Nominal, Acceptance::WorstCase, Acceptance::Expanded].map(|r| r.to_string());
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
    picture::levels(sheet, styles)
}

/// The rule in force on a further sheet: what the cells of the first one hold.
fn rule_again(sheet: &mut Worksheet, policy: &Policy, styles: &Styles) -> Result<(), XlsxError> {
    let rule = policy.acceptance.to_string();
    let (factor, level) = match policy.coverage {
        Coverage::Factor(factor) => (factor.to_f64(), Cached::Text("")),
        Coverage::Level(level) => (2.0, Cached::Number(level.to_f64())),
    };
    let at = |column| (RULE_ROW, column);
    sheet.write_text(RULE_ROW, 0, "Acceptance rule", &styles.text)?;
    put(sheet, at(1), "acceptance_rule", rule.as_str(), &styles.text)?;
    sheet.merge_text(RULE_ROW, 2, RULE_ROW, 3, "Coverage factor", &styles.text)?;
    put(sheet, at(4), "coverage_factor", factor, &styles.number)?;
    let or = "or, if filled in, level of confidence";
    sheet.merge_text(RULE_ROW, 5, RULE_ROW, 7, or, &styles.text)?;
    let filled_in = "IF(ISNUMBER(coverage_level),coverage_level,\"\")";
    put(sheet, at(8), filled_in, level, &styles.percent)?;
    let remark = format!("To change the rule, change it on the sheet {NAME}: all sheets follow.");
    sheet.write_text(RULE_ROW + 1, 0, remark, &styles.remark)?;
    Ok(())
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
        Some(cell) => {
            format!("IF(ISNUMBER({cell}),T.INV.2T(1-coverage_level,{}),{normal})", whole(cell))
        }
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
