//! The Verdicts sheet: every requirement of every pump in one line, counted at the top, with links to its block on
//! Stack-up. Its cells follow those of the blocks: a verdict that turns when a cell is changed there turns here.

use rust_xlsxwriter::{ConditionalFormatFormula, Format, Url, Worksheet};

use super::super::page::{Page, Written};
use super::super::style::{MET, NOT_MET, Styles, WARN, lines};
use super::super::table::{Cell, Cells, Value, over};
use super::outcomes::{CHECK_INPUT, Row};
use super::results::{Block, NO_LIMIT, down};
use super::{StackUps, Subject, cell};
use crate::analysis::NotFit;
use crate::job::Job;
use crate::length::Unit;
use crate::plain_text::cleaned;
use crate::policy::Policy;
use crate::stack::{Chance, Judgement, judge, report};
use crate::words::{self, NOT_FIT};

/// The sheet's name.
pub(super) const NAME: &str = "Verdicts";

/// Word of a verdict that is another one than was written.
const TURNED_WORD: &str = "turned";

/// Number of words that are counted.
const COUNTED: u32 = 4;
/// Words of a verdict, each counted at the top.
const WORDS: [&str; 4] =
    [Judgement::Met.words(), Judgement::NotProven.words(), Judgement::NotMet.words(), CHECK_INPUT];

/// The row of the rule in force; the counts follow.
const RULE: u32 = 3;
/// The row of the headings; the lines follow.
const HEADS: u32 = RULE + 1 + COUNTED + 2 + 1;
/// The columns that formulas refer to.
const STATUS: u16 = 1;
const MARGIN: u16 = 7;
const VERDICT: u16 = 9;
const WRITTEN: u16 = 10;
const TURNED: u16 = 11;

/// Links that a sheet can have (65,530, from memory), less some.
const MOST_LINKS: usize = 60_000;

/// Column headings with their widths.
const COLUMNS: [(&str, f64); 13] = [
    ("Tag", 13.0),
    ("Status", 16.0),
    ("Requirement", 30.0),
    ("Value", 10.5),
    ("Lower limit", 10.5),
    ("Upper limit", 10.5),
    ("Unit", 6.5),
    ("Margin by the rule", 11.0),
    ("Chance of conformity", 13.5),
    ("Verdict", 14.0),
    ("Verdict as written", 13.0),
    ("Turned since", 9.0),
    ("Nearest kit, and why there is none", 44.0),
];

/// One requirement of one pump.
pub(super) struct Line {
    tag: String,
    status: &'static str,
    requirement: String,
    unit: Option<Unit>,
    /// Value, lower limit, upper limit.
    lengths: [Value; 3],
    margin: Value,
    chance: Value,
    verdict: Value,
    written: String,
    /// Where its block begins.
    pub(super) block: Option<String>,
    note: String,
}

impl Line {
    /// A requirement whose block is written: its cells follow those of the block.
    pub(super) fn of(block: &Block<'_>) -> Line {
        let limit = |side| block.shown(Row::Limit, side);
        Line {
            tag: block.subject.tag.into(),
            status: "",
            requirement: block.requirement.label.clone(),
            unit: Some(block.unit),
            lengths: [block.shown(Row::Nominal, 0), limit(0), limit(1)],
            margin: block.least_margin(),
            chance: block.shown(Row::Conforming, 0),
            verdict: block.shown(Row::Verdict, 0),
            written: block.verdict().words().into(),
            block: Some(block.place()),
            note: String::new(),
        }
    }

    fn is_fit(&self) -> bool {
        self.status.is_empty()
    }

    /// The requirements of a pump that is not fit, with its nearest kit; one line where there is no such kit.
    pub(super) fn not_fit(job: &Job, one: &NotFit) -> Vec<Line> {
        let pump = &job.pumps[one.pump];
        let why = match one.shortfalls.is_empty() {
            true => String::new(),
            false => format!("{}.", words::reasons(job, pump, &one.shortfalls)),
        };
        let Some(packs) = &one.nearest else {
            return vec![Line {
                tag: pump.tag.clone(),
                status: NOT_FIT,
                requirement: String::new(),
                unit: None,
                lengths: [Value::Blank, Value::Blank, Value::Blank],
                margin: Value::Blank,
                chance: Value::Blank,
                verdict: Value::Blank,
                written: String::new(),
                block: None,
                note: why,
            }];
        };
        let nearest = format!("{}. {why}", words::sweep::pieces(job, pump, packs));
        Line::as_written(&Subject::of(job, pump, packs), &job.policy, (NOT_FIT, &nearest))
    }

    /// The requirements of a kitted pump without blocks.
    pub(super) fn kitted(subject: &Subject<'_>, policy: &Policy) -> Vec<Line> {
        Line::as_written(subject, policy, ("", ""))
    }

    /// Requirements that follow nothing.
    fn as_written(
        subject: &Subject<'_>,
        policy: &Policy,
        (status, note): (&'static str, &str),
    ) -> Vec<Line> {
        let unit = subject.model.unit;
        let lines = subject.requirements.iter().enumerate().map(|(index, requirement)| {
            let report = report(&requirement.form, &subject.stack, policy.coverage, unit);
            let verdict = judge(&requirement.form, &subject.stack, policy.guard());
            let word = verdict.judgement().words();
            let [low, high] = report.sides.map(|side| match side.has_limit() {
                true => Value::Number(side.limit),
                false => NO_LIMIT.into(),
            });
            Line {
                tag: subject.tag.into(),
                status,
                requirement: requirement.label.clone(),
                unit: Some(unit),
                lengths: [Value::Number(report.value), low, high],
                margin: Value::Number(down(verdict.margin().to_f64(unit), unit)),
                chance: Value::Number(Chance::of(&report).claimed()),
                verdict: word.into(),
                written: word.into(),
                block: None,
                note: if index == 0 { note.into() } else { String::new() },
            }
        });
        lines.collect()
    }

    /// Its cells behind the tag, in a row.
    fn cells<'s>(&self, row: u32, live: bool, styles: &'s Styles) -> [Cell<'s>; 12] {
        let Styles { text, wrapped, strong, alarms, chance, .. } = styles;
        let of = |value: &Value, format: fn(&'s Styles, Unit) -> &'s Format| match self.unit {
            Some(unit) => format(styles, unit).of(value.clone()),
            None => text.blank(),
        };
        let [now, then] = [VERDICT, WRITTEN].map(|column| cell(row, column));
        let turned = format!("IF({now}={then},\"no\",\"{TURNED_WORD}\")");
        let [value, lower, upper] = &self.lengths;
        [
            alarms.of(self.status),
            wrapped.of(&self.requirement),
            of(value, Styles::reading),
            of(lower, Styles::length),
            of(upper, Styles::length),
            text.of(self.unit.map(Unit::symbol)),
            of(&self.margin, Styles::reading),
            chance.of(self.chance.clone()),
            strong.of(self.verdict.clone()),
            text.of(&self.written),
            text.of(match live && self.is_fit() {
                true => Value::formula(&turned, "no"),
                false => Value::Blank,
            }),
            wrapped.of(&self.note),
        ]
    }
}

/// The cell of a line, to link to.
pub(super) fn place(index: usize) -> String {
    let row = HEADS + 1 + u32::try_from(index).unwrap_or(u32::MAX);
    format!("internal:'{NAME}'!{}", cell(row, 0))
}

/// The sheet, on an empty one.
pub(super) fn sheet(
    sheet: Worksheet,
    all: &[Line],
    (policy, stack_ups): (&Policy, StackUps),
    styles: &Styles,
) -> Written<Worksheet> {
    let live = stack_ups == StackUps::All;
    let lead = match live {
        true => {
            "Coloured cells follow the sheet Stack-up: change a reading, a count or a limit there and see here which verdict turns. The tag leads to the stack-up of the requirement. Values and margins have the digits of a gauge, margins rounded down; Stack-up has the digits to follow the sums."
        }
        false => {
            "Figures as written, which follow no other sheet: the stack-ups of kitted pumps are left out. gapwright stack --pump TAG works a pump out. Values and margins have the digits of a gauge, margins rounded down."
        }
    };
    let mut page = Page::on(sheet, NAME, styles)?;
    page.title("Verdicts", lead)?;
    page.widths(&COLUMNS.map(|(_, width)| width))?;
    let last = HEADS + u32::try_from(all.len()).unwrap_or(u32::MAX);
    counts(&mut page, all, (policy, last), live)?;
    page.row = HEADS;
    page.repeat()?;
    page.sheet.set_freeze_panes(HEADS + 1, 1)?;
    page.high(46.0)?;
    page.heads(&COLUMNS.map(|(head, _)| head))?;
    let mut links = 0;
    for line in all {
        let row = page.row;
        page.high(
            16.5 * lines(&[(&line.note, 40), (&line.requirement, 26), (line.status, 13)], [1, 20]),
        )?;
        let link = line.block.as_ref().filter(|_| links < MOST_LINKS);
        match link {
            Some(place) => {
                links += 1;
                let url = Url::new(place.as_str()).set_text(cleaned(&line.tag));
                page.sheet.write_url_with_format(row, 0, url, &styles.link)?;
            }
            None => page.cells(0, [styles.strong.of(&line.tag)])?,
        }
        page.cells(STATUS, line.cells(row, live, styles))?;
        page.row += 1;
    }
    if !all.is_empty() {
        coloured(&mut page.sheet, last)?;
    }
    page.ended()
}

/// The rule in force, and how many requirements came to what; those of pumps that are not fit, which stand first and
/// follow nothing, are left out.
fn counts(
    page: &mut Page<'_>,
    all: &[Line],
    (policy, last): (&Policy, u32),
    live: bool,
) -> Written {
    let styles = page.styles;
    let Styles { text, strong, count, .. } = styles;
    let rule = match live {
        true => Value::formula("acceptance_rule", policy.acceptance),
        false => policy.acceptance.to_string().into(),
    };
    page.row = RULE;
    page.line([over(2, text.of("Acceptance rule")), strong.of(rule)])?;
    let fit: Vec<&Line> = all.iter().filter(|line| line.is_fit()).collect();
    let first = last + 1 - u32::try_from(fit.len()).unwrap_or(u32::MAX);
    let counted = |column: u16, word: &str, now: usize| match live && !fit.is_empty() {
        false => now.into(),
        true => {
            let [first, last] = [first, last].map(|row| cell(row, column));
            Value::formula(&format!("COUNTIF({first}:{last},\"{word}\")"), now)
        }
    };
    for word in WORDS {
        let now = fit.iter().filter(|line| line.written == word).count();
        let value = counted(VERDICT, word, now);
        page.line([over(2, text.of(format!("Requirements {word}"))), count.of(value)])?;
    }
    let turned = counted(TURNED, TURNED_WORD, 0);
    page.line([over(2, text.of("Verdicts turned since")), count.of(turned)])?;
    let not_fit = all.iter().filter(|line| !line.is_fit());
    let mut tags: Vec<&str> = not_fit.map(|line| line.tag.as_str()).collect();
    tags.dedup();
    page.line([over(2, text.of(format!("Pumps {NOT_FIT}"))), count.of(tags.len())])
}

/// Colours of the verdicts, by rules that follow the cells: blue for met, orange and bold for anything else.
fn coloured(sheet: &mut Worksheet, last: u32) -> Written {
    let verdict = |row: u32| format!("${}", cell(row, VERDICT));
    let first = HEADS + 1;
    let met = Format::new().set_background_color(MET);
    let not = Format::new().set_background_color(NOT_MET).set_font_color(WARN).set_bold();
    let of = |is_met: bool, format: Format| {
        let test = if is_met { "=" } else { "<>" };
        let rule = format!("={}{test}\"{}\"", verdict(first), Judgement::Met.words());
        ConditionalFormatFormula::new().set_rule(rule.as_str()).set_format(format)
    };
    for rule in [of(true, met), of(false, not.clone())] {
        sheet.add_conditional_format(first, MARGIN, last, VERDICT, &rule)?;
    }
    let turned = ConditionalFormatFormula::new()
        .set_rule(format!("=${}=\"{TURNED_WORD}\"", cell(first, TURNED)).as_str())
        .set_format(not.clone());
    sheet.add_conditional_format(first, TURNED, last, TURNED, &turned)?;
    // The counts of what is not met, of what turned and of what is not fit.
    let above = ConditionalFormatFormula::new()
        .set_rule(format!("={}>0", cell(RULE + 2, 2)).as_str())
        .set_format(not);
    sheet.add_conditional_format(RULE + 2, 2, HEADS - 2, 2, &above)?;
    Ok(())
}
