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
mod verdicts;
mod worked_out;

use std::collections::HashSet;

use rust_xlsxwriter::{DataValidation, Format, Workbook, Worksheet};

use super::page::{Page, Written, lean_if_long};
use super::pages::{Pages, Series};
use super::style::Styles;
use super::table::{Cell, Cells, Value, over};
use crate::accounting::{source, source_of_shared, stack};
use crate::analysis::NotFit;
use crate::job::Job;
use crate::model::{Model, Requirement};
use crate::plan::PackPick;
use crate::policy::{Acceptance, Policy};
use crate::pump::Pump;
use crate::stack::{Coverage, Stack};
use crate::words::NOT_FIT;
use inputs::Inputs;
use verdicts::Line;

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
    /// The requirements that must hold, with its own limits.
    pub(super) requirements: &'a [Requirement],
    /// The contributors.
    pub(super) stack: Stack,
    /// Source of each of them, then of each error that several share.
    sources: Vec<String>,
    /// Readings that contradict each other.
    pub(super) again: Option<String>,
    /// Whether it is not fit to assemble, and the pieces are those of its nearest kit.
    pub(super) is_nearest: bool,
}

/// A pump and the pieces of its packs.
pub(super) type Kitted<'a> = (&'a Pump, &'a [PackPick]);

/// Pumps whose stack-ups a plan workbook has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum StackUps {
    /// All that have a kit.
    #[default]
    All,
    /// Those that are not fit to assemble, with their nearest kits.
    Short,
    /// None: there is no sheet Stack-up.
    None,
}

impl<'a> Subject<'a> {
    /// A pump of a job with these pieces.
    pub(super) fn of(job: &'a Job, pump: &'a Pump, packs: &[PackPick]) -> Subject<'a> {
        let stack = stack(job, pump, packs);
        let own = stack.contributors.iter().map(|part| source(job, pump, part));
        let shared = stack.shared.iter().map(|error| source_of_shared(job, error));
        Subject {
            tag: &pump.tag,
            model: job.model_of(pump),
            requirements: &pump.requirements,
            sources: own.chain(shared).collect(),
            stack,
            again: crate::words::measure_again(job.model_of(pump), pump),
            is_nearest: false,
        }
    }
}

/// The sheets, with the names of their cells in the workbook that they go through; before them the sheet of all verdicts,
/// those of pumps that are not fit first. Where not all kits have their blocks, the verdicts are as written and follow nothing.
pub(super) fn sheets(
    workbook: &mut Workbook,
    (job, not_fit): (&Job, &[NotFit]),
    (kits, stack_ups): (&[Kitted<'_>], StackUps),
    styles: &Styles,
) -> Written<Vec<Worksheet>> {
    let policy = &job.policy;
    let mut all: Vec<Line> = Vec::new();
    // Pumps with blocks; of nearest kits the place of the first line, which is there before them.
    let mut blocks: Vec<(Kitted<'_>, Option<usize>)> = Vec::new();
    for one in not_fit {
        if let Some(packs) = one.nearest.as_deref().filter(|_| stack_ups == StackUps::Short) {
            blocks.push(((&job.pumps[one.pump], packs), Some(all.len())));
        }
        all.extend(Line::not_fit(job, one));
    }
    match stack_ups {
        StackUps::All => blocks.extend(kits.iter().map(|kit| (*kit, None))),
        StackUps::Short | StackUps::None => all.extend(
            (kits.iter())
                .flat_map(|(pump, packs)| Line::kitted(&Subject::of(job, pump, packs), policy)),
        ),
    }
    if stack_ups == StackUps::None {
        return Ok(vec![verdicts::sheet(
            lean_if_long(workbook, all.len()),
            &all,
            (policy, stack_ups),
            styles,
        )?]);
    }
    let wanted: usize = blocks.iter().map(|((pump, _), _)| pump.requirements.len()).sum();
    let begin = |page: &mut Page<'_>, name: &str| {
        page.title(NAME, "Coloured cells may be changed: readings, counts, tolerances, temperatures, limits, the rule; everything else follows. This sheet predicts: the recheck after fitting decides.")?;
        page.widths(&WIDTHS)?;
        page.row = RULE_ROW;
        if name == NAME {
            rule(page, policy)?;
            if wanted > MOST_PICTURES {
                let remark = format!(
                    "Pictures are drawn for the first {MOST_PICTURES} requirements; gapwright stack --pump TAG draws any pump."
                );
                page.text(remark, &styles.remark)?;
            }
        } else {
            rule_again(page, policy)?;
            let remark =
                format!("To change the rule, change it on the sheet {NAME}: all sheets follow.");
            page.text(remark, &styles.remark)?;
        }
        if name == NAME {
            let without = |one: &&NotFit| stack_ups == StackUps::All || one.nearest.is_none();
            let tags = not_fit.iter().filter(without).map(|one| job.pumps[one.pump].tag.as_str());
            let tags: Vec<&str> = tags.collect();
            page.not_fit(&tags, &format!("no kit to work out (see {})", verdicts::NAME))?;
        }
        page.row = FIRST_ROW.max(page.row + 1);
        Ok(())
    };
    let series = Series { name: NAME, begin: &begin, last_column: Some(LAST) };
    let mut pages = Pages::begin(Some(&mut *workbook), &series, styles)?;
    let mut names = Names::default();
    names.of_rule();
    let mut pictures = MOST_PICTURES;
    for ((pump, packs), line) in &blocks {
        let subject = Subject { is_nearest: line.is_some(), ..Subject::of(job, pump, packs) };
        // Formulas refer to the pump's contributors, which stand on its first page.
        pages.turn(subject.requirements.len().max(1))?;
        let inputs = Inputs::write(&mut pages.page, &subject)?;
        pages.page.row += 1;
        for (index, requirement) in subject.requirements.iter().enumerate() {
            if index > 0 {
                pages.go_on(pages.page.row);
            }
            let block = results::Block::new(&subject, requirement, &inputs, policy, &pages);
            let place = line.map_or(all.len(), |first| first + index);
            block.write(&mut pages.page, &verdicts::place(place), pictures > 0)?;
            block.define(&mut names);
            match line {
                Some(_) => all[place].block = Some(block.place()),
                None => all.push(Line::of(&block)),
            }
            pages.page.row += 1;
            pictures = pictures.saturating_sub(1);
        }
    }
    if blocks.is_empty() {
        let text = match stack_ups {
            StackUps::All => "No pump can be kitted.".to_string(),
            _ => format!("No pump that is {NOT_FIT} has a nearest kit to work out."),
        };
        pages.page.text(text, &styles.alarm)?;
    }
    let mut sheets = pages.finish(|_| {})?;
    sheets.insert(
        0,
        verdicts::sheet(lean_if_long(workbook, all.len()), &all, (policy, stack_ups), styles)?,
    );
    for (name, cell) in names.defined {
        workbook.define_name(name, &cell)?;
    }
    Ok(sheets)
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
/// The widths of the columns that are printed, in characters, and the last of them.
const WIDTHS: [f64; 15] =
    [44.0, 14.0, 14.0, 13.0, 13.0, 14.0, 13.0, 13.0, 13.0, 13.0, 26.0, 13.0, 13.0, 13.0, 14.0];
const LAST: u16 = 14;

/// The rule in force, its coverage factor and its level of confidence; where there is a level, it outranks the factor.
fn in_force(policy: &Policy) -> (String, f64, Option<f64>) {
    let (factor, level) = match policy.coverage {
        Coverage::Factor(factor) => (factor.to_f64(), None),
        Coverage::Level(level) => (2.0, Some(level.to_f64())),
    };
    (policy.acceptance.to_string(), factor, level)
}

/// The row of the rule in force, of its cells.
fn row_of_rule<'c>(
    [rule, factor, level]: [Cell<'c>; 3],
    text: &'c Format,
) -> impl IntoIterator<Item = Cell<'c>> {
    let or = "or, if filled in, level of confidence";
    let label = text.of("Acceptance rule");
    [label, rule, over(2, text.of("Coverage factor")), factor, over(3, text.of(or)), level]
}

/// The rule in force, in cells that every verdict refers to by name.
fn rule(page: &mut Page<'_>, policy: &Policy) -> Written {
    let styles = page.styles;
    let rules =
        [Acceptance::Nominal, Acceptance::WorstCase, Acceptance::Expanded].map(|r| r.to_string());
    let list = DataValidation::new().allow_list_strings(&rules)?;
    page.sheet.add_data_validation(RULE_ROW, 1, RULE_ROW, 1, &list)?;
    inputs::within(&mut page.sheet, (RULE_ROW, 4), [0.1, 10.0])?;
    inputs::within(&mut page.sheet, (RULE_ROW, 8), [0.5, 0.9999])?;
    let (rule, factor, level) = in_force(policy);
    let factor = styles.number_entry().of(factor);
    let cells = [styles.entry.of(rule), factor, styles.percent_entry().of(level)];
    page.line(row_of_rule(cells, &styles.text))?;
    picture::levels(page)
}

/// The rule in force on a further sheet: the values of the cells of the first one.
fn rule_again(page: &mut Page<'_>, policy: &Policy) -> Written {
    let styles = page.styles;
    let (rule, factor, level) = in_force(policy);
    let level = level.map_or(String::new(), |level| level.to_string());
    let filled_in = "IF(ISNUMBER(coverage_level),coverage_level,\"\")";
    let cells = [
        styles.text.of(Value::formula("acceptance_rule", rule)),
        styles.number.of(Value::formula("coverage_factor", factor)),
        styles.percent.of(Value::formula(filled_in, level)),
    ];
    page.line(row_of_rule(cells, &styles.text))
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
