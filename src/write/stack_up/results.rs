//! What a requirement's stack-up comes to: one block of formulas.

use rust_xlsxwriter::{Format, Worksheet, XlsxError};

use super::super::text::WriteText;

use super::super::pages::Pages;
use super::super::style::{Styles, heads};
use super::inputs::{COUNT, FREEDOM, Inputs, MINUS, NOMINAL, OF_LOT, PLUS, STANDARD};
use super::picture::{self, Picture};
use super::{Cached, Names, Subject, cell, factor, put, whole};
use crate::length::Unit;
use crate::model::{Form, Requirement};
use crate::policy::{Acceptance, Policy};
use crate::stack::{Coverage, Known, Line, Report, Side, judge, report};

/// The columns of a line.
const SENSITIVITY: u16 = 1;
const IN_GAP: u16 = 2;
const AT: [u16; 2] = [3, 4];
const PART: u16 = 5;
const MOVES: [u16; 2] = [6, 7];
const SHARE_OF_WORST: u16 = 8;
const VARIANCE: [u16; 2] = [9, 10];
const SHARE_OF_VARIANCE: u16 = 11;
const LARGEST: [u16; 2] = [12, 13];
const LARGEST_STANDARD: u16 = 14;

/// The block of one requirement.
pub(super) struct Block<'a> {
    subject: &'a Subject<'a>,
    requirement: &'a Requirement,
    inputs: &'a Inputs,
    policy: &'a Policy,
    /// The name of the sheet that it stands on.
    sheet: String,
    unit: Unit,
    report: Report,
    /// The row of the title.
    top: u32,
    /// The row of the first line.
    first: u32,
    /// The row of the first result.
    results: u32,
}

/// The results, in their order.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Row {
    Nominal,
    Target,
    Limit,
    Worst,
    RootSumSquare,
    Middle,
    Combined,
    Freedom,
    Factor,
    Level,
    Expanded,
    Room,
    MarginWorst,
    MarginExpanded,
    MarginRootSumSquare,
    Margin,
    Beyond,
    Conforming,
    RiskAccepting,
    RiskRejecting,
    Verdict,
    ReachWorst,
    ReachExpanded,
    ReachRootSumSquare,
    Allowance,
    Crush,
}

impl<'a> Block<'a> {
    pub(super) fn new(
        subject: &'a Subject<'a>,
        requirement: &'a Requirement,
        inputs: &'a Inputs,
        policy: &'a Policy,
        pages: &Pages<'_>,
    ) -> Block<'a> {
        let top = pages.row;
        let unit = subject.model.unit;
        let report = report(&requirement.form, &subject.stack, policy.coverage, unit);
        let first = top + 3;
        let results = first + u32::try_from(report.lines.len()).unwrap_or(u32::MAX) + 2;
        Block {
            subject,
            requirement,
            inputs,
            policy,
            sheet: pages.name(),
            unit,
            report,
            top,
            first,
            results,
        }
    }

    fn allowances(&self) -> bool {
        matches!(self.requirement.form, Form::GasketFill { .. })
    }

    /// The cells of target, lower and upper limit.
    fn stated_cells(&self) -> [String; 3] {
        [1, 3, 5].map(|column| {
            let at = cell(self.top + 1, column);
            // Fixed, so that a line can be copied.
            let split = at.find(|c: char| c.is_ascii_digit()).unwrap_or(0);
            format!("${}${}", &at[..split], &at[split..])
        })
    }

    /// The cell of a line in a column.
    fn line(&self, index: usize, column: u16) -> String {
        cell(
            self.first + u32::try_from(index).unwrap_or(u32::MAX),
            column,
        )
    }

    /// All lines of a column.
    fn all(&self, column: u16) -> String {
        let last = self.report.lines.len().saturating_sub(1);
        format!("{}:{}", self.line(0, column), self.line(last, column))
    }

    fn result(&self, row: Row, side: usize) -> String {
        let column = if side == 0 { 1 } else { 2 };
        cell(self.results + row as u32, column)
    }

    /// A sum over all lines.
    fn sum(&self, of: impl Fn(usize, &Line) -> String) -> String {
        let lines = self.report.lines.iter().enumerate();
        let terms: Vec<String> = lines.map(|(index, line)| of(index, line)).collect();
        format!("({})", terms.join("+"))
    }

    fn input(&self, line: &Line, column: u16) -> String {
        self.inputs.cell(line.contributor, column)
    }

    /// Writes the block and returns the row behind it.
    pub(super) fn write(
        &self,
        sheet: &mut Worksheet,
        pictures: bool,
        styles: &Styles,
    ) -> Result<u32, XlsxError> {
        let (tag, label, unit) = (self.subject.tag, &self.requirement.label, self.unit);
        let title = format!("{tag}: {label} ({unit})");
        sheet.set_row_height(self.top + 1, 30.0)?;
        sheet.set_row_height(self.top + 2, 62.0)?;
        sheet.write_text(self.top, 0, title, &styles.part)?;
        let labels = if self.allowances() {
            [
                "Allowance aimed at",
                "Least allowance",
                "Greatest allowance",
            ]
        } else {
            ["Target", "Lower limit", "Upper limit"]
        };
        let entry = if self.allowances() {
            styles.number_entry()
        } else {
            styles.length_entry(unit)
        };
        for (at, (label, value)) in
            (0..).zip(labels.iter().zip(self.requirement.form.stated(self.unit)))
        {
            let row = self.top + 1;
            sheet.write_text(row, 2 * at, *label, &styles.wrapped)?;
            sheet.write_number_with_format(row, 2 * at + 1, value, &entry)?;
        }
        heads(
            sheet,
            self.top + 2,
            &[
                "Contributor",
                "Sensitivity",
                "In the gap",
                "Sensitivity at lower limit",
                "Sensitivity at upper limit",
                "Part of the value",
                "Worst-case effect, down",
                "Worst-case effect, up",
                "Share of worst case",
                "Variance at lower limit",
                "Variance at upper limit",
                "Share of variance",
                "Largest minus (worst case)",
                "Largest plus (worst case)",
                "Largest standard uncertainty (expanded)",
            ],
            styles,
        )?;
        for (index, line) in self.report.lines.iter().enumerate() {
            self.contributor(sheet, index, line, styles)?;
        }
        self.write_results(sheet, styles)?;
        let end = self.results + Row::Crush as u32 + 1;
        if pictures {
            self.draw(sheet)?;
        }
        Ok(end.max(self.results + picture::ROWS))
    }

    fn contributor(
        &self,
        sheet: &mut Worksheet,
        index: usize,
        line: &Line,
        styles: &Styles,
    ) -> Result<(), XlsxError> {
        let row = self.first + u32::try_from(index).unwrap_or(u32::MAX);
        let label = &self.subject.stack.contributors[line.contributor].label;
        sheet.write_text(row, 0, label, &styles.text)?;
        let number = &styles.number;
        sheet.write_number_with_format(row, SENSITIVITY, line.sensitivity, number)?;
        sheet.write_number_with_format(row, IN_GAP, line.in_gap, number)?;
        let c = |column: u16| self.line(index, column);
        let n = |column: u16| self.input(line, column);
        let [_, lower, upper] = self.stated_cells();
        for (side, limit) in [lower, upper].iter().enumerate() {
            let formula = if self.allowances() {
                format!("{}-(1+{limit})*{}", c(SENSITIVITY), c(IN_GAP))
            } else {
                c(SENSITIVITY)
            };
            put(sheet, (row, AT[side]), &formula, line.at[side], number)?;
        }
        let length = styles.length(self.unit);
        let part = &self.subject.stack.contributors[line.contributor];
        let value = f64::from(part.count) * part.nominal.to_f64(self.unit) * line.sensitivity;
        let formula = format!("{}*{}*{}", n(COUNT), n(NOMINAL), c(SENSITIVITY));
        put(sheet, (row, PART), &formula, value, &length)?;
        let (count, minus, plus) = (n(COUNT), n(MINUS), n(PLUS));
        let (down, up) = (c(AT[0]), c(AT[1]));
        let formula = format!("-{count}*IF({down}>0,{down}*{minus},-{down}*{plus})");
        put(sheet, (row, MOVES[0]), &formula, -line.moves[0], &length)?;
        let formula = format!("{count}*IF({up}>0,{up}*{plus},-{up}*{minus})");
        put(sheet, (row, MOVES[1]), &formula, line.moves[1], &length)?;
        let share = |own: String, all: String| format!("IF({all}>0,({own})/({all}),0)");
        let [down, up] = MOVES.map(|column| self.all(column));
        let formula = share(
            format!("{}-{}", c(MOVES[1]), c(MOVES[0])),
            format!("SUM({up})-SUM({down})"),
        );
        let percent = &styles.percent;
        put(
            sheet,
            (row, SHARE_OF_WORST),
            &formula,
            line.share_of_worst,
            percent,
        )?;
        for side in [0, 1] {
            let formula = self.variance(index, line, side);
            let at = (row, VARIANCE[side]);
            put(sheet, at, &formula, line.variance[side], &styles.tiny)?;
        }
        let [low, high] = VARIANCE.map(|column| self.all(column));
        let formula = share(
            format!("{}+{}", c(VARIANCE[0]), c(VARIANCE[1])),
            format!("SUM({low})+SUM({high})"),
        );
        put(
            sheet,
            (row, SHARE_OF_VARIANCE),
            &formula,
            line.share_of_variance,
            percent,
        )?;
        self.largest(sheet, index, line, &length)
    }

    /// Its own square, and its half of what it does with others of its lot or correlated with it.
    fn variance(&self, index: usize, line: &Line, side: usize) -> String {
        let parts = &self.subject.stack.contributors;
        let part = &parts[line.contributor];
        let weighed = |index: usize, line: &Line, column: u16| {
            let count = self.input(line, COUNT);
            format!(
                "{count}*{}*{}",
                self.line(index, AT[side]),
                self.input(line, column)
            )
        };
        let own = format!(
            "{}*({}*{})^2",
            self.input(line, COUNT),
            self.line(index, AT[side]),
            self.input(line, STANDARD)
        );
        let mut formula = own;
        if let Some(lot) = part.lot {
            let mates = self.report.lines.iter().enumerate().filter(|(_, other)| {
                let other = parts[other.contributor].lot;
                other.is_some_and(|other| other.lot == lot.lot)
            });
            let mates: Vec<String> = mates
                .map(|(at, other)| weighed(at, other, OF_LOT))
                .collect();
            formula += &format!("+{}*({})", weighed(index, line, OF_LOT), mates.join("+"));
        }
        let tied = |(a, b, _): &(usize, usize, String)| [*a, *b].contains(&line.contributor);
        if self.inputs.pairs.iter().any(tied) {
            let cross = self.cross(index, line, side);
            formula += &format!("+{cross}*{}/2", self.input(line, STANDARD));
        }
        formula
    }

    /// How much worse this contributor alone could be.
    fn largest(
        &self,
        sheet: &mut Worksheet,
        index: usize,
        line: &Line,
        length: &Format,
    ) -> Result<(), XlsxError> {
        let row = self.first + u32::try_from(index).unwrap_or(u32::MAX);
        let count = self.input(line, COUNT);
        let at = AT.map(|column| self.line(index, column));
        let margin = [0, 1].map(|side| self.result(Row::MarginWorst, side));
        let none = |value: Option<f64>| value.map_or(Cached::Text("none"), Cached::Number);
        let shown = |value: String| format!("IF(ROUND({value},12)<0,\"none\",MAX(0,{value}))");
        for (edge, input) in [MINUS, PLUS].into_iter().enumerate() {
            let other = 1 - edge;
            // Where more of it makes the value larger, its minus hurts below and its plus above.
            let formula = format!(
                "IF({here}>0,{within}+{own}/({count}*{here}),IF({there}<0,{within}-{across}/({count}*{there}),-1))",
                here = at[edge],
                there = at[other],
                within = self.input(line, input),
                own = margin[edge],
                across = margin[other],
            );
            put(
                sheet,
                (row, LARGEST[edge]),
                &shown(formula),
                none(line.largest[edge]),
                length,
            )?;
        }
        let standard = self.input(line, STANDARD);
        let side = |side: usize| {
            let square = format!("({count}*{}^2)", at[side]);
            let cross = self.cross(index, line, side);
            let (room, middle) = (self.result(Row::Room, side), self.result(Row::Middle, side));
            let left = format!(
                "(({room}-{middle})/{k})^2-{u}^2+{square}*{standard}^2+{cross}*{standard}",
                k = self.result(Row::Factor, side),
                u = self.result(Row::Combined, side),
            );
            let under = format!("({cross}^2+4*{square}*({left}))");
            // Less than nothing says that no uncertainty is small enough.
            format!(
                "IF({square}=0,1E+99,IF(OR({room}<0,{room}<{middle},{under}<0),-1,(SQRT(MAX(0,{under}))-{cross})/(2*{square})))"
            )
        };
        let least = format!("MIN({},{})", side(0), side(1));
        let freedom = [0, 1].map(|side| self.result(Row::Freedom, side));
        let formula = format!(
            "IF(AND(ISNUMBER(coverage_level),OR(ISNUMBER({}),ISNUMBER({}))),\"moves k\",IF(ROUND({least},12)<0,\"none\",MAX(0,{least})))",
            freedom[0], freedom[1]
        );
        let few = self.report.sides.iter().any(|side| side.freedom.is_some());
        let result = match line.largest_standard {
            _ if few && matches!(self.policy.coverage, Coverage::Level(_)) => {
                Cached::Text("moves k")
            }
            largest => none(largest),
        };
        put(sheet, (row, LARGEST_STANDARD), &formula, result, length)
    }

    /// What those that are correlated with a line add to the variance for one of its own standard
    /// uncertainty.
    fn cross(&self, index: usize, line: &Line, side: usize) -> String {
        let mut terms = vec!["0".to_string()];
        for (a, b, coefficient) in &self.inputs.pairs {
            let other = match line.contributor {
                own if own == *a => *b,
                own if own == *b => *a,
                _ => continue,
            };
            let mut found = self.report.lines.iter().enumerate();
            if let Some((at, other)) = found.find(|(_, line)| line.contributor == other) {
                terms.push(format!(
                    "2*{coefficient}*{}*{}*{}",
                    self.line(index, AT[side]),
                    self.line(at, AT[side]),
                    self.input(other, STANDARD)
                ));
            }
        }
        format!("({})", terms.join("+"))
    }

    /// The rows of the results: label, then one cell a side, or one for both.
    fn write_results(&self, sheet: &mut Worksheet, styles: &Styles) -> Result<(), XlsxError> {
        heads(
            sheet,
            self.results - 1,
            &["Result", "Lower side", "Upper side"],
            styles,
        )?;
        let report = &self.report;
        let length = styles.length(self.unit);
        let (number, percent) = (&styles.number, &styles.chance);
        let [target, lower, upper] = self.stated_cells();
        let limits = [lower, upper];
        let gap = self.sum(|index, line| {
            format!(
                "{}*{}*{}",
                self.input(line, COUNT),
                self.input(line, NOMINAL),
                self.line(index, IN_GAP)
            )
        });
        let wanted = |stated: &str| {
            if self.allowances() {
                format!("(1+{stated})*{gap}")
            } else {
                stated.to_string()
            }
        };
        let sheet = &mut Rows {
            sheet,
            block: self,
            styles,
        };
        let at = |row: Row, side: usize| self.result(row, side);
        sheet.one(
            Row::Nominal,
            "Nominal value",
            &format!("SUM({})", self.all(PART)),
            report.value,
            &length,
        )?;
        sheet.one(
            Row::Target,
            "Target",
            &wanted(&target),
            report.target,
            &length,
        )?;
        sheet.both(
            Row::Limit,
            "Limit",
            |side| wanted(&limits[side]),
            |s| s.limit,
            &length,
        )?;
        sheet.both(
            Row::Worst,
            "Worst case: how far down and up",
            |side| {
                let all = self.all(MOVES[side]);
                if side == 0 {
                    format!("-SUM({all})")
                } else {
                    format!("SUM({all})")
                }
            },
            |s| s.worst,
            &length,
        )?;
        sheet.both(
            Row::RootSumSquare,
            "Root sum square (if independent, centred, alike)",
            |side| {
                let squares = self.sum(|index, line| {
                    let (minus, plus) = (self.input(line, MINUS), self.input(line, PLUS));
                    let count = self.input(line, COUNT);
                    let sensitivity = self.line(index, AT[side]);
                    format!("{count}*({sensitivity}*({minus}+{plus})/2)^2")
                });
                format!("SQRT({squares})")
            },
            |s| s.root_sum_square,
            &length,
        )?;
        sheet.both(
            Row::Middle,
            "Shift of the mean towards the limit (uneven sides)",
            |side| {
                let middle = self.sum(|index, line| {
                    let (minus, plus) = (self.input(line, MINUS), self.input(line, PLUS));
                    let count = self.input(line, COUNT);
                    format!("{count}*{}*({plus}-{minus})", self.line(index, AT[side]))
                });
                let sign = if side == 0 { "-" } else { "" };
                format!("{sign}{middle}/2")
            },
            |s| s.middle,
            &length,
        )?;
        sheet.both(
            Row::Combined,
            "Combined standard uncertainty",
            |side| format!("SQRT(MAX(0,SUM({})))", self.all(VARIANCE[side])),
            |s| s.combined,
            &length,
        )?;
        self.freedom(sheet)?;
        sheet.both(
            Row::Factor,
            "Coverage factor",
            |side| factor(Some(&at(Row::Freedom, side))),
            |s| s.factor,
            number,
        )?;
        sheet.both(
            Row::Level,
            "Level of confidence",
            |side| {
                let (k, freedom) = (at(Row::Factor, side), at(Row::Freedom, side));
                format!(
                    "IF(ISNUMBER({freedom}),1-T.DIST.2T({k},{}),2*NORM.S.DIST({k},TRUE)-1)",
                    whole(&freedom)
                )
            },
            |s| s.level,
            percent,
        )?;
        sheet.both(
            Row::Expanded,
            "Expanded uncertainty",
            |side| format!("{}*{}", at(Row::Factor, side), at(Row::Combined, side)),
            |s| s.expanded,
            &length,
        )?;
        sheet.both(
            Row::Room,
            "Margin of the nominal value",
            |side| {
                let (value, limit) = (at(Row::Nominal, 0), at(Row::Limit, side));
                if side == 0 {
                    format!("{value}-{limit}")
                } else {
                    format!("{limit}-{value}")
                }
            },
            |s| s.room,
            &length,
        )?;
        sheet.both(
            Row::MarginWorst,
            "Margin in the worst case",
            |side| format!("{}-{}", at(Row::Room, side), at(Row::Worst, side)),
            Side::margin_worst,
            &length,
        )?;
        sheet.both(
            Row::MarginExpanded,
            "Margin by the expanded uncertainty",
            |side| {
                let (u, middle) = (at(Row::Expanded, side), at(Row::Middle, side));
                format!("{}-MAX(0,{u}+{middle})", at(Row::Room, side))
            },
            Side::margin_expanded,
            &length,
        )?;
        sheet.both(
            Row::MarginRootSumSquare,
            "Margin by the root sum square",
            |side| {
                let (room, middle) = (at(Row::Room, side), at(Row::Middle, side));
                format!("{room}-{middle}-{}", at(Row::RootSumSquare, side))
            },
            |s| s.margin_of(s.root_sum_square),
            &length,
        )?;
        sheet.both(
            Row::Margin,
            "Margin by the rule in force",
            |side| {
                format!(
                    "IF(acceptance_rule=\"nominal\",{},IF(acceptance_rule=\"expanded\",{},{}))",
                    at(Row::Room, side),
                    at(Row::MarginExpanded, side),
                    at(Row::MarginWorst, side)
                )
            },
            |s| self.margin(s),
            &length,
        )?;
        sheet.both(
            Row::Beyond,
            "Probability beyond the limit, if normal",
            |side| {
                let (room, middle, u) = (
                    at(Row::Room, side),
                    at(Row::Middle, side),
                    at(Row::Combined, side),
                );
                let freedom = at(Row::Freedom, side);
                let far = format!("(({room}-{middle})/{u})");
                let tail = format!("T.DIST.2T(ABS({far}),{})/2", whole(&freedom));
                format!(
                    "IF({u}>0,IF(ISNUMBER({freedom}),IF({far}>0,{tail},1-{tail}),NORM.S.DIST(-{far},TRUE)),IF({room}<{middle},1,0))"
                )
            },
            |s| s.beyond,
            percent,
        )?;
        sheet.one(
            Row::Conforming,
            "Probability of conformity, if normal",
            &format!("MAX(0,1-{}-{})", at(Row::Beyond, 0), at(Row::Beyond, 1)),
            report.conforming,
            percent,
        )?;
        let conforming = at(Row::Conforming, 0);
        sheet.one(
            Row::RiskAccepting,
            "If accepted: risk that it does not conform",
            &format!("1-{conforming}"),
            1.0 - report.conforming,
            percent,
        )?;
        sheet.one(
            Row::RiskRejecting,
            "If rejected: risk that it does conform",
            &conforming,
            report.conforming,
            percent,
        )?;
        let conforms = judge(
            &self.requirement.form,
            &self.subject.stack,
            self.policy.guard(),
        )
        .conforms();
        sheet.one(
            Row::Verdict,
            "Verdict by the rule in force",
            &format!(
                "IF(OR({},{}>{}),\"CHECK INPUT\",IF(ROUND(MIN({},{}),12)>=0,\"met\",\"NOT MET\"))",
                self.inputs.senseless(),
                limits[0],
                limits[1],
                at(Row::Margin, 0),
                at(Row::Margin, 1)
            ),
            if conforms { "met" } else { "NOT MET" },
            &styles.strong,
        )?;
        let reach = |half: &dyn Fn(usize) -> String, side: usize| {
            let (value, sign) = (at(Row::Nominal, 0), if side == 0 { '-' } else { '+' });
            format!("{value}{sign}({})", half(side))
        };
        sheet.reach(
            Row::ReachWorst,
            "Reaches in the worst case: from, to",
            |side| reach(&|side| at(Row::Worst, side), side),
            |s| s.worst,
            &length,
        )?;
        let about_middle = |row: Row, which: usize, side: usize| {
            format!("{}+{}", at(row, which), at(Row::Middle, side))
        };
        sheet.reach(
            Row::ReachExpanded,
            "Reaches by expanded uncertainty: from, to",
            |side| reach(&|side| about_middle(Row::Expanded, side, side), side),
            |s| s.expanded + s.middle,
            &length,
        )?;
        sheet.reach(
            Row::ReachRootSumSquare,
            "Reaches by root sum square: from, to",
            |side| reach(&|side| about_middle(Row::RootSumSquare, side, side), side),
            |s| s.root_sum_square + s.middle,
            &length,
        )?;
        if let Some((wide, reached)) = report.gap {
            sheet.one(
                Row::Allowance,
                "Allowance reached (free thickness / gap - 1)",
                &format!("IF({gap}=0,0,{}/{gap}-1)", at(Row::Nominal, 0)),
                reached,
                number,
            )?;
            let free = at(Row::Nominal, 0);
            sheet.one(
                Row::Crush,
                "Crush (1 - gap / free thickness)",
                &format!("IF({free}=0,0,1-{gap}/{free})"),
                if report.value == 0.0 {
                    0.0
                } else {
                    1.0 - wide / report.value
                },
                &styles.percent,
            )?;
        }
        Ok(())
    }

    /// What is left at a limit by the rule in force.
    fn margin(&self, side: &Side) -> f64 {
        match self.policy.acceptance {
            Acceptance::Nominal => side.room,
            Acceptance::WorstCase => side.margin_worst(),
            Acceptance::Expanded => side.margin_expanded(),
        }
    }

    fn freedom(&self, sheet: &mut Rows<'_, '_>) -> Result<(), XlsxError> {
        let parts = &self.subject.stack.contributors;
        // Readings may come to have a scatter when they are changed.
        let few = |line: &&Line| {
            let part = &parts[line.contributor];
            part.freedom.is_some() || matches!(part.known, Known::Readings { .. })
        };
        let any = self.report.lines.iter().any(|line| few(&line));
        let fourths = |side: usize| {
            let lines = self.report.lines.iter().enumerate();
            let terms = lines.filter(|(_, line)| few(line)).map(|(index, line)| {
                let freedom = self.input(line, FREEDOM);
                format!(
                    "IF(ISNUMBER({freedom}),({}*{})^4/{freedom},0)",
                    self.line(index, AT[side]),
                    self.input(line, STANDARD),
                )
            });
            terms.collect::<Vec<_>>().join("+")
        };
        let row = Row::Freedom;
        sheet.label(row, "Effective degrees of freedom")?;
        for side in [0, 1] {
            let number = sheet.styles.number.clone();
            match self.report.sides[side].freedom {
                _ if !any => sheet.text(row, side, "infinite")?,
                freedom => {
                    let (sum, fourths) = (self.all(VARIANCE[side]), fourths(side));
                    let formula = format!("IF({fourths}>0,SUM({sum})^2/({fourths}),\"infinite\")");
                    let result = freedom.map_or(Cached::Text("infinite"), Cached::Number);
                    sheet.put(row, side, &formula, result, &number)?;
                }
            }
        }
        Ok(())
    }

    /// Names for the cells that other sheets and people look for.
    pub(super) fn define(&self, names: &mut Names) {
        let plain = |text: &str| -> String {
            let letters = text.chars();
            letters
                .map(|c| if c.is_ascii_alphanumeric() { c } else { '_' })
                .collect()
        };
        let whose = format!(
            "{}_{}",
            plain(self.subject.tag),
            plain(&self.requirement.name)
        );
        for (what, row, column) in [
            ("value", Row::Nominal, 'B'),
            ("uncertainty", Row::Combined, 'B'),
            ("expanded", Row::Expanded, 'B'),
            ("margin_lower", Row::Margin, 'B'),
            ("margin_upper", Row::Margin, 'C'),
            ("conforming", Row::Conforming, 'B'),
            ("verdict", Row::Verdict, 'B'),
        ] {
            // A name has at most 255 characters.
            let name: String = format!("{what}_{whose}").chars().take(200).collect();
            let row = self.results + row as u32 + 1;
            names.add(&name, format!("='{}'!${column}${row}", self.sheet));
        }
    }

    fn draw(&self, sheet: &mut Worksheet) -> Result<(), XlsxError> {
        let last = self.report.lines.len().saturating_sub(1);
        let results = |row: Row| self.results + row as u32;
        Picture {
            sheet: &self.sheet,
            at: self.results - 1,
            title: format!("{}: {}", self.subject.tag, self.requirement.label),
            unit: self.unit,
            limits: results(Row::Limit),
            value: results(Row::Nominal),
            reaches: [
                ("worst case", results(Row::ReachWorst)),
                ("expanded uncertainty", results(Row::ReachExpanded)),
                ("root sum square", results(Row::ReachRootSumSquare)),
            ],
            lines: (
                self.first,
                self.first + u32::try_from(last).unwrap_or(u32::MAX),
            ),
            moves: MOVES,
            share: SHARE_OF_VARIANCE,
        }
        .draw(sheet)
    }
}

/// The rows of results being written.
struct Rows<'s, 'b> {
    sheet: &'s mut Worksheet,
    block: &'b Block<'b>,
    styles: &'b Styles,
}

impl Rows<'_, '_> {
    fn label(&mut self, row: Row, label: &str) -> Result<(), XlsxError> {
        let at = self.block.results + row as u32;
        self.sheet.write_text(at, 0, label, &self.styles.text)?;
        Ok(())
    }

    fn text(&mut self, row: Row, side: usize, text: &str) -> Result<(), XlsxError> {
        let at = (
            self.block.results + row as u32,
            if side == 0 { 1 } else { 2 },
        );
        self.sheet.write_text(at.0, at.1, text, &self.styles.text)?;
        Ok(())
    }

    fn put<'a>(
        &mut self,
        row: Row,
        side: usize,
        formula: &str,
        result: impl Into<Cached<'a>>,
        format: &Format,
    ) -> Result<(), XlsxError> {
        let at = (
            self.block.results + row as u32,
            if side == 0 { 1 } else { 2 },
        );
        put(self.sheet, at, formula, result, format)
    }

    /// A result that is one for both sides.
    fn one<'a>(
        &mut self,
        row: Row,
        label: &str,
        formula: &str,
        result: impl Into<Cached<'a>>,
        format: &Format,
    ) -> Result<(), XlsxError> {
        self.label(row, label)?;
        self.put(row, 0, formula, result, format)
    }

    /// A result for either side.
    fn both(
        &mut self,
        row: Row,
        label: &str,
        formula: impl Fn(usize) -> String,
        result: impl Fn(&Side) -> f64,
        format: &Format,
    ) -> Result<(), XlsxError> {
        self.label(row, label)?;
        for side in [0, 1] {
            let result = result(&self.block.report.sides[side]);
            self.put(row, side, &formula(side), result, format)?;
        }
        Ok(())
    }

    /// From where to where the value can lie.
    fn reach(
        &mut self,
        row: Row,
        label: &str,
        formula: impl Fn(usize) -> String,
        by: impl Fn(&Side) -> f64,
        format: &Format,
    ) -> Result<(), XlsxError> {
        self.label(row, label)?;
        let report = &self.block.report;
        for side in [0, 1] {
            let by = by(&report.sides[side]);
            let end = if side == 0 {
                report.value - by
            } else {
                report.value + by
            };
            self.put(row, side, &formula(side), end, format)?;
        }
        Ok(())
    }
}
