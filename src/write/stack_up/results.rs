//! The stack-up of a requirement: one block of formulas.

use rust_xlsxwriter::{Url, Worksheet};

use super::super::page::{Page, Written};
use super::super::pages::Pages;
use super::super::picture::Figures;
use super::super::style::Styles;
use super::super::table::{Cell, Cells, Value};
use super::inputs::{ALIKE, COUNT, Inputs, MINUS, NOMINAL, PLUS, STANDARD};
use super::outcomes::{self, Row};
use super::picture::{self, Picture};
use super::{Names, Subject, cell};
use crate::length::Unit;
use crate::model::{Form, Requirement};
use crate::policy::Policy;
use crate::stack::{Asked, Contribution, Contributor, Coverage, Judgement, Report, judge, report};
use crate::words;

/// The columns of a line.
const HEADS: [&str; 15] = [
    "Contributor",
    "Sensitivity",
    "In the gap",
    "Sensitivity at lower limit",
    "Sensitivity at upper limit",
    "Contribution to the value",
    "Worst-case effect, down",
    "Worst-case effect, up",
    "Share of worst case",
    "Variance at lower limit",
    "Variance at upper limit",
    "Share of variance",
    "Max minus (worst case)",
    "Max plus (worst case)",
    "Max standard uncertainty (expanded)",
];
/// The column of the link back, right of most titles.
const BACK: u16 = 5;
/// Word for a limit that is not there, and for a margin to it.
pub(super) const NO_LIMIT: &str = "none";
/// Word for what no limit holds, and the number that stands for it in formulas.
const ANY: &str = "any";
const VAST: &str = "1E+99";
pub(super) const SENSITIVITY: u16 = 1;
pub(super) const IN_GAP: u16 = 2;
pub(super) const AT: [u16; 2] = [3, 4];
pub(super) const PART: u16 = 5;
pub(super) const MOVES: [u16; 2] = [6, 7];
pub(super) const VARIANCE: [u16; 2] = [9, 10];
const SHARE_OF_VARIANCE: u16 = 11;

/// The block of one requirement.
pub(super) struct Block<'a> {
    pub(super) subject: &'a Subject<'a>,
    pub(super) requirement: &'a Requirement,
    pub(super) inputs: &'a Inputs,
    pub(super) policy: &'a Policy,
    /// The name of the sheet that it stands on.
    sheet: String,
    pub(super) unit: Unit,
    pub(super) report: Report,
    /// The row of the title.
    top: u32,
    /// The row of the first line.
    first: u32,
    /// The row of the first result.
    pub(super) results: u32,
}

impl<'a> Block<'a> {
    pub(super) fn new(
        subject: &'a Subject<'a>,
        requirement: &'a Requirement,
        inputs: &'a Inputs,
        policy: &'a Policy,
        pages: &Pages<'_>,
    ) -> Block<'a> {
        let top = pages.page.row;
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

    pub(super) fn allowances(&self) -> bool {
        matches!(self.requirement.form, Form::GasketFill { .. })
    }

    /// The cells of target, lower and upper limit.
    pub(super) fn stated_cells(&self) -> [String; 3] {
        [1, 3, 5].map(|column| {
            let at = cell(self.top + 1, column);
            // Fixed, so that a line can be copied.
            let split = at.find(|c: char| c.is_ascii_digit()).unwrap_or(0);
            format!("${}${}", &at[..split], &at[split..])
        })
    }

    /// The cell of a line in a column.
    pub(super) fn line(&self, index: usize, column: u16) -> String {
        cell(self.first + u32::try_from(index).unwrap_or(u32::MAX), column)
    }

    /// All lines of a column.
    pub(super) fn all(&self, column: u16) -> String {
        let last = self.report.lines.len().saturating_sub(1);
        format!("{}:{}", self.line(0, column), self.line(last, column))
    }

    /// Whether the requirement has a limit on a side. One may be typed in where it has none.
    pub(super) fn has_limit(&self, side: usize) -> bool {
        self.report.sides[side].has_limit()
    }

    pub(super) fn result(&self, row: Row, side: usize) -> String {
        let column = if side == 0 { 1 } else { 2 };
        cell(self.results + row as u32, column)
    }

    /// A sum over all lines.
    pub(super) fn sum(&self, of: impl Fn(usize, &Contribution) -> String) -> String {
        let lines = self.report.lines.iter().enumerate();
        let terms: Vec<String> = lines.map(|(index, line)| of(index, line)).collect();
        format!("({})", terms.join("+"))
    }

    pub(super) fn input(&self, line: &Contribution, column: u16) -> String {
        self.inputs.cell(line.contributor, column)
    }

    /// A result as another sheet shows it.
    pub(super) fn shown(&self, row: Row, side: usize) -> Value {
        let formula = format!("'{}'!{}", self.sheet, self.result(row, side));
        Value::Formula(formula, self.outcome(row, side))
    }

    /// The smaller margin by the rule in force, as another sheet shows it.
    pub(super) fn least_margin(&self) -> Value {
        let [low, high] = [0, 1].map(|side| self.result(Row::Margin, side));
        let least = self.report.sides.map(|side| self.margin(&side));
        let steps = 10_i64.pow(self.unit.places());
        // Multiplied out and rounded first: the noise of binary numbers is no step.
        let formula =
            format!("INT(ROUND({steps}*MIN('{0}'!{low},'{0}'!{high}),6))/{steps}", self.sheet);
        Value::formula(&formula, down(least[0].min(least[1]), self.unit))
    }

    /// Its first cell, to link to.
    pub(super) fn place(&self) -> String {
        format!("internal:'{}'!{}", self.sheet, cell(self.top, 0))
    }

    /// Writes the block into the next rows, with a link back to its line among the verdicts.
    pub(super) fn write(&self, page: &mut Page<'_>, back: &str, pictures: bool) -> Written {
        let (tag, label, unit) = (self.subject.tag, &self.requirement.label, self.unit);
        let styles = page.styles;
        let url = Url::new(back).set_text("to Verdicts");
        page.sheet.write_url_with_format(page.row, BACK, url, &styles.back)?;
        page.part(format!("{tag}: {label} ({unit})"))?;
        let (labels, entry) = match self.allowances() {
            true => (
                ["Target allowance", "Minimum allowance", "Maximum allowance"],
                styles.number_entry(),
            ),
            false => (["Target", "Lower limit", "Upper limit"], styles.length_entry(unit)),
        };
        let stated = labels.into_iter().zip(self.requirement.form.stated(unit));
        page.high(30.0)?;
        let given = |value: Option<f64>| match value {
            Some(value) => entry.of(value),
            None => entry.of(NO_LIMIT),
        };
        page.line(stated.flat_map(|(label, value)| [styles.wrapped.of(label), given(value)]))?;
        page.high(62.0)?;
        page.heads(&HEADS)?;
        for (index, line) in self.report.lines.iter().enumerate() {
            page.line(self.contributor(index, line, styles))?;
        }
        page.row = self.results - 1;
        outcomes::write(self, page)?;
        self.settle(page)?;
        if pictures {
            self.draw(&mut page.sheet)?;
        }
        page.row = (self.results + Row::CrushEnds as u32 + 2).max(self.results + picture::ROWS);
        Ok(())
    }

    /// Improvements that would settle a requirement that is not proven as it is written; they do not follow changes.
    fn settle(&self, page: &mut Page<'_>) -> Written {
        let policy = self.policy;
        let judged = judge(&self.requirement.form, &self.subject.stack, policy.guard());
        if judged.judgement() != Judgement::NotProven {
            return Ok(());
        }
        let asked = Asked {
            requirements: std::slice::from_ref(self.requirement),
            guard: policy.guard(),
            coverage: policy.coverage,
            unit: self.unit,
        };
        let text = words::verdict::settled(&asked, &self.subject.stack);
        page.text(format!("As written: {text}."), &page.styles.alarm)
    }

    /// The cells of a contributor, under [`HEADS`].
    fn contributor<'s>(
        &self,
        index: usize,
        line: &Contribution,
        styles: &'s Styles,
    ) -> [Cell<'s>; 15] {
        let Styles { text, number, percent, tiny, .. } = styles;
        let length = styles.length(self.unit);
        let part = self.part(line);
        let c = |column: u16| self.line(index, column);
        let n = |column: u16| self.input(line, column);
        let [target, lower, upper] = self.stated_cells();
        let shared = self.members(line, SENSITIVITY);
        let at = |side: usize, limit: &str, value: f64| {
            // The target weighs the gap where there is no limit.
            let limit = match self.has_limit(side) {
                true => limit.to_string(),
                false => format!("IF(ISNUMBER({limit}),{limit},{target})"),
            };
            let formula = match self.allowances() {
                true => format!("{}-(1+{limit})*{}", c(SENSITIVITY), c(IN_GAP)),
                false if shared.is_some() => c(SENSITIVITY),
                // No cell that may be changed has a part in it.
                false => return number.of(value),
            };
            number.of(Value::formula(&formula, value))
        };
        let value = f64::from(part.count) * part.nominal.to_f64(self.unit) * line.sensitivity;
        let own = format!("{}*{}*{}", n(COUNT), n(NOMINAL), c(SENSITIVITY));
        let (count, minus, plus) = (n(COUNT), n(MINUS), n(PLUS));
        let [down, up] = AT.map(c);
        let (lower_part, upper_part) = (self.apart(index, line, 0), self.apart(index, line, 1));
        let moved_down =
            format!("-({count}*IF({down}>0,{down}*{minus},-{down}*{plus}){lower_part})");
        let moved_up = format!("{count}*IF({up}>0,{up}*{plus},-{up}*{minus}){upper_part}");
        let sensitivity = |sum: Option<&str>, value: f64| match sum {
            Some(sum) => number.of(Value::formula(sum, value)),
            None => number.of(value),
        };
        let [downs, ups] = MOVES.map(|column| self.all(column));
        let [low, high] = VARIANCE.map(|column| self.all(column));
        let share = |own: String, all: String, value: f64| {
            percent.of(Value::formula(&format!("IF({all}>0,({own})/({all}),0)"), value))
        };
        let moves = format!("{}-{}", c(MOVES[1]), c(MOVES[0]));
        let variances = format!("{}+{}", c(VARIANCE[0]), c(VARIANCE[1]));
        let variance = |side: usize| {
            tiny.of(Value::formula(&self.variance(index, line, side), line.variance[side]))
        };
        let [least, most, standard] = self.largest(index, line);
        [
            text.of(&part.label),
            sensitivity(shared.as_deref(), line.sensitivity),
            sensitivity(self.members(line, IN_GAP).as_deref(), line.in_gap),
            at(0, &lower, line.at[0]),
            at(1, &upper, line.at[1]),
            length.of(Value::formula(&own, value)),
            length.of(Value::formula(&moved_down, -line.moves[0])),
            length.of(Value::formula(&moved_up, line.moves[1])),
            share(moves, format!("SUM({ups})-SUM({downs})"), line.share_of_worst),
            variance(0),
            variance(1),
            share(variances, format!("SUM({low})+SUM({high})"), line.share_of_variance),
            length.of(least),
            length.of(most),
            length.of(standard),
        ]
    }

    /// The contributor of a line, or the error that several share.
    pub(super) fn part(&self, line: &Contribution) -> &Contributor {
        &self.inputs.parts[line.contributor]
    }

    /// Of a shared error the sum over its members, each as often as it is there.
    fn members(&self, line: &Contribution, column: u16) -> Option<String> {
        let stack = &self.subject.stack;
        let at = line.contributor.checked_sub(stack.contributors.len())?;
        let members = &stack.shared.get(at)?.members;
        let lines = self.report.lines.iter().enumerate();
        let own = lines.filter(|(_, line)| members.contains(&line.contributor));
        let own = own.map(|(at, line)| self.weighed(at, line, column));
        Some(own.collect::<Vec<_>>().join("+"))
    }

    /// A line's count times a cell of it.
    fn weighed(&self, index: usize, line: &Contribution, column: u16) -> String {
        format!("{}*{}", self.input(line, COUNT), self.line(index, column))
    }

    /// The other lines of its lot.
    fn mates(&self, line: &Contribution) -> impl Iterator<Item = (usize, &Contribution)> {
        let own = self.part(line).lot.map(|of| of.lot);
        let contributor = line.contributor;
        self.report.lines.iter().enumerate().filter(move |(_, other)| {
            let other_lot = self.part(other).lot.map(|of| of.lot);
            own.is_some() && other_lot == own && other.contributor != contributor
        })
    }

    /// The correction of a worst-case effect by what the line has in common with its lot: that cancels between opposed
    /// signs where it is stated.
    fn apart(&self, index: usize, line: &Contribution, side: usize) -> String {
        let own = self.weighed(index, line, AT[side]);
        let mates: Vec<String> =
            self.mates(line).map(|(at, mate)| self.weighed(at, mate, AT[side])).collect();
        if mates.is_empty() {
            return String::new();
        }
        let all = format!("({own}+{})", mates.join("+"));
        let [alike, minus, plus] = [ALIKE, MINUS, PLUS].map(|column| self.input(line, column));
        let hurts = |sum: &str| match side {
            0 => format!("IF({sum}>0,{minus},{plus})"),
            _ => format!("IF({sum}>0,{plus},{minus})"),
        };
        format!(
            "+IF(ISNUMBER({alike}),{alike}*({own}*SIGN({all})*{}-ABS({own})*{}),0)",
            hurts(&all),
            hurts(&own)
        )
    }

    /// The square of a line per squared standard uncertainty of its own: pieces of one lot that may err alike count
    /// together.
    fn square(&self, index: usize, line: &Contribution, side: usize) -> String {
        let (count, c) = (self.input(line, COUNT), self.line(index, AT[side]));
        match self.part(line).lot {
            None => format!("({count}*{c}^2)"),
            Some(_) => {
                let alike = self.input(line, ALIKE);
                format!(
                    "({count}*{c}^2*IF(ISNUMBER({alike}),1-{alike}^2+{count}*{alike}^2,{count}))"
                )
            }
        }
    }

    /// Its own square, and its half of what it does with others of its lot or correlated with it.
    fn variance(&self, index: usize, line: &Contribution, side: usize) -> String {
        let (square, u) = (self.square(index, line, side), self.input(line, STANDARD));
        match self.cross(index, line, side) {
            None => format!("{square}*{u}^2"),
            Some(cross) => format!("{square}*{u}^2+{cross}*{u}/2"),
        }
    }

    /// How much worse this contributor alone could be: its largest minus, plus and standard uncertainty.
    fn largest(&self, index: usize, line: &Contribution) -> [Value; 3] {
        let count = self.input(line, COUNT);
        let at = AT.map(|column| self.line(index, column));
        let none_beside = |cross: Option<String>| cross.unwrap_or_else(|| "0".into());
        let margin = [0, 1].map(|side| self.result(Row::MarginWorst, side));
        let none = |value: Option<f64>| match value {
            None => "none".into(),
            Some(value) if value.is_infinite() => ANY.into(),
            Some(value) => value.to_string(),
        };
        let both = self.has_limit(0) && self.has_limit(1);
        let shown = |value: String| {
            let shown = format!("IF(ROUND({value},12)<0,\"none\",MAX(0,{value}))");
            match both {
                true => shown,
                false => format!("IF({value}>={VAST},\"{ANY}\",{shown})"),
            }
        };
        // Nothing holds it towards a side without a limit.
        let room = |side: usize, formula: String| match self.has_limit(side) {
            true => formula,
            false => format!("IF(ISNUMBER({}),{formula},{VAST})", margin[side]),
        };
        let [minus, plus] = [(0, MINUS), (1, PLUS)].map(|(edge, input)| {
            let other = 1 - edge;
            // Where more of it makes the value larger, its minus hurts below and its plus above.
            let (here, there, within) = (&at[edge], &at[other], self.input(line, input));
            let own = format!("{within}+{}/({count}*{here})", margin[edge]);
            let across = format!("{within}-{}/({count}*{there})", margin[other]);
            let (own, across) = (room(edge, own), room(other, across));
            let formula = format!("IF({here}>0,{own},IF({there}<0,{across},-1))");
            Value::formula(&shown(formula), none(line.largest[edge]))
        });
        let standard = self.input(line, STANDARD);
        let side = |side: usize| {
            let square = self.square(index, line, side);
            let cross = none_beside(self.cross(index, line, side));
            let (room, middle) = (self.result(Row::Room, side), self.result(Row::Middle, side));
            let left = format!(
                "(({room}-{middle})/{k})^2-{u}^2+{square}*{standard}^2+{cross}*{standard}",
                k = self.result(Row::Factor, side),
                u = self.result(Row::Combined, side),
            );
            let under = format!("({cross}^2+4*{square}*({left}))");
            // Less than nothing says that no uncertainty is small enough.
            let least = format!(
                "IF({square}=0,{VAST},IF(OR({room}<0,{room}<{middle},{under}<0),-1,(SQRT(MAX(0,{under}))-{cross})/(2*{square})))"
            );
            match self.has_limit(side) {
                true => least,
                false => format!("IF(ISNUMBER({room}),{least},{VAST})"),
            }
        };
        let least = format!("MIN({},{})", side(0), side(1));
        let freedom = [0, 1].map(|side| self.result(Row::Freedom, side));
        let formula = format!(
            "IF(AND(ISNUMBER(coverage_level),OR(ISNUMBER({}),ISNUMBER({}))),\"moves k\",IF(ROUND({least},12)<0,\"none\",MAX(0,{least})))",
            freedom[0], freedom[1]
        );
        let few = self.report.sides.iter().any(|side| side.degrees_of_freedom.is_some());
        let result = match line.largest_standard {
            _ if few && matches!(self.policy.coverage, Coverage::Level(_)) => "moves k".to_string(),
            largest => none(largest),
        };
        [minus, plus, Value::formula(&formula, result)]
    }

    /// The addition to the variance by those that are correlated with a line or of its lot, for one of its own standard
    /// uncertainty.
    fn cross(&self, index: usize, line: &Contribution, side: usize) -> Option<String> {
        let mut terms = Vec::new();
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
        for (at, mate) in self.mates(line) {
            let [own, other] =
                [self.weighed(index, line, AT[side]), self.weighed(at, mate, AT[side])];
            let [alike, of_mate] = [line, mate].map(|line| self.input(line, ALIKE));
            terms.push(format!(
                "2*{own}*{other}*{}*IF(AND(ISNUMBER({alike}),ISNUMBER({of_mate})),{alike}*{of_mate},IF({own}*{other}>0,1,0))",
                self.input(mate, STANDARD)
            ));
        }
        (!terms.is_empty()).then(|| format!("({})", terms.join("+")))
    }

    /// Names for the cells that other sheets and people look for.
    pub(super) fn define(&self, names: &mut Names) {
        let plain = |text: &str| -> String {
            let letters = text.chars();
            letters.map(|c| if c.is_ascii_alphanumeric() { c } else { '_' }).collect()
        };
        let whose = format!("{}_{}", plain(self.subject.tag), plain(&self.requirement.name));
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

    fn draw(&self, sheet: &mut Worksheet) -> Written {
        let results = |row: Row| self.results + row as u32;
        // The lines of contributors end two rows above the results.
        let rows = [self.first, (self.results - 3).max(self.first)];
        Picture {
            sheet: &self.sheet,
            at: self.results - 1,
            title: format!("{}: {}", self.subject.tag, self.requirement.label),
            unit: self.unit,
            limits: results(Row::Limit),
            has_limit: [0, 1].map(|side| self.has_limit(side)),
            value: results(Row::Nominal),
            reaches: [
                ("worst case", results(Row::ReachWorst)),
                ("expanded uncertainty", results(Row::ReachExpanded)),
                ("root sum square", results(Row::ReachRootSumSquare)),
            ],
            lines: Figures { sheet: &self.sheet, rows, from: 0 },
            moves: MOVES,
            share: SHARE_OF_VARIANCE,
        }
        .draw(sheet)
    }
}

/// Margin in the digits of a gauge, rounded down.
pub(super) fn down(margin: f64, unit: Unit) -> f64 {
    let steps = 10_f64.powi(i32::try_from(unit.places()).unwrap_or(4));
    ((margin * steps * 1e6).round() / 1e6).floor() / steps
}
