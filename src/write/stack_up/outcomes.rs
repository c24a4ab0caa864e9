//! The results of a requirement, row by row, each with its label, its format, and of either side a formula with
//! its result. A new row is a name in the list; what else it needs the compiler asks for.

use rust_xlsxwriter::Format;

use super::super::page::{Page, Written};
use super::super::style::Styles;
use super::super::table::{Cells, Value};
use super::inputs::{COUNT, FREEDOM, MINUS, NOMINAL, PLUS, STANDARD};
use super::results::{AT, Block, IN_GAP, MOVES, NO_LIMIT, PART, SENSITIVITY, VARIANCE};
use super::{factor, whole};
use crate::model::Form;
use crate::policy::Acceptance;
use crate::stack::{
    Chance, Contribution, Evaluation, Guard, Judgement, ReportSide, USUAL_LEVEL, contradicts,
    judge, promised, worst_case,
};

/// Word of a verdict on cells that make no sense.
pub(super) const CHECK_INPUT: &str = "CHECK INPUT";

/// The rows, in their order, each with its label.
macro_rules! rows {
    ($($row:ident: $label:literal,)*) => {
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
        pub(super) enum Row {
            $($row,)*
        }

        use Row::*;

        const ALL: &[(Row, &str)] = &[$(($row, $label),)*];
    };
}

rows! {
    Nominal: "Nominal value",
    Target: "Target",
    Limit: "Limit",
    Worst: "Worst case: down, up",
    RootSumSquare: "Root sum square (if independent, centred, of one size)",
    Middle: "Shift of the mean towards the limit (uneven sides)",
    Combined: "Combined standard uncertainty",
    Freedom: "Effective degrees of freedom",
    Factor: "Coverage factor",
    Level: "Level of confidence",
    Expanded: "Expanded uncertainty",
    Room: "Margin of the nominal value",
    MarginWorst: "Margin in the worst case",
    MarginExpanded: "Margin by the expanded uncertainty",
    MarginRootSumSquare: "Margin by the root sum square",
    Margin: "Margin by the acceptance rule",
    Beyond: "Probability beyond the limit",
    Conforming: "Probability of conformity",
    Law: "Law of these probabilities",
    RiskAccepting: "If accepted: risk that it does not conform",
    RiskRejecting: "If rejected: risk that it does conform",
    Verdict: "Result by the acceptance rule",
    Against: "Beside the rule",
    ReachWorst: "Range in the worst case: from, to",
    ReachExpanded: "Range by expanded uncertainty: from, to",
    ReachRootSumSquare: "Range by root sum square: from, to",
    Allowance: "Allowance reached (free thickness / gap - 1)",
    Crush: "Crush (1 - gap / free thickness)",
    CrushEnds: "Crush with all tolerances: least, greatest",
}

impl Row {
    /// How many cells it has: one a side, or one for both.
    fn cells(self) -> usize {
        match self {
            Nominal | Target | Conforming | RiskAccepting | RiskRejecting | Verdict | Against
            | Allowance | Crush => 1,
            _ => 2,
        }
    }
}

/// Writes a block's results.
pub(super) fn write(block: &Block<'_>, page: &mut Page<'_>) -> Written {
    let styles = page.styles;
    page.heads(&["Result", "Lower side", "Upper side"])?;
    let rows = ALL.iter().filter(|(row, _)| *row < Allowance || block.report.gap.is_some());
    for &(of, label) in rows {
        let cells = (0..of.cells()).map(|side| match of {
            Freedom if !block.has_few() => styles.text.of("infinite"),
            _ => {
                let (formula, result) = (block.formula(of, side), block.outcome(of, side));
                block.format(of, styles).of(Value::formula(&formula, result))
            }
        });
        page.line(std::iter::once(styles.text.of(label)).chain(cells))?;
    }
    Ok(())
}

/// Words beside a verdict; a formula that came to an empty text would be shown as 0 by what does not calculate.
const NOTHING: &str = "-";
const NOMINAL_ONLY: &str = "NOT PROVEN in the worst case. ";
const CHANCE_BELOW: &str = "The probability of conformity is below the level of the rule.";
const CHANCE_ABOVE: &str = "The probability of conformity is not below the level of the rule.";

/// Law of the probabilities beside these degrees of freedom.
fn law(freedom: Option<f64>) -> String {
    #[allow(clippy::cast_possible_truncation)]
    let whole = freedom.map(|freedom| (freedom * (1.0 + 1e-12)).floor().clamp(1.0, 1e3) as i64);
    whole.map_or("normal".into(), |whole| format!("Student's t, {whole} degrees of freedom"))
}

impl Block<'_> {
    fn format<'s>(&self, row: Row, styles: &'s Styles) -> &'s Format {
        match row {
            Freedom | Factor | Allowance => &styles.number,
            Level => &styles.chance,
            Beyond | Conforming | RiskAccepting | RiskRejecting if self.has_few() => {
                &styles.chance_of_few
            }
            Beyond | Conforming | RiskAccepting | RiskRejecting => &styles.chance,
            Law => &styles.text,
            Verdict => &styles.strong,
            Against => &styles.alarm,
            Crush | CrushEnds => &styles.percent,
            _ => styles.length(self.unit),
        }
    }

    /// The result of a formula, as the library has it.
    pub(super) fn outcome(&self, row: Row, side: usize) -> String {
        let (report, of) = (&self.report, &self.report.sides[side]);
        let reach = |by: f64| report.value + [-by, by][side];
        let (wide, reached) = report.gap.unwrap_or_default();
        let number = match row {
            Nominal => report.value,
            Target => report.target,
            Limit => of.limit,
            Worst => of.worst,
            RootSumSquare => of.root_sum_square,
            Middle => of.middle,
            Combined => of.combined,
            Freedom => {
                return of
                    .degrees_of_freedom
                    .map_or("infinite".into(), |freedom| freedom.to_string());
            }
            Factor => of.factor,
            Level => of.level,
            Expanded => of.expanded,
            Room => of.room,
            MarginWorst => of.margin_worst(),
            MarginExpanded => of.margin_expanded(),
            MarginRootSumSquare => of.margin_of(of.root_sum_square),
            Margin => self.margin(of),
            Beyond => of.beyond,
            Conforming | RiskRejecting => report.conforming,
            RiskAccepting => 1.0 - report.conforming,
            Law => return law(of.degrees_of_freedom),
            Verdict => return self.verdict().words().to_string(),
            Against => return self.beside(),
            ReachWorst => reach(of.worst),
            ReachExpanded => reach(of.expanded + of.middle),
            ReachRootSumSquare => reach(of.root_sum_square + of.middle),
            Allowance => reached,
            Crush if report.value == 0.0 => 0.0,
            Crush => 1.0 - wide / report.value,
            CrushEnds => self.crush_end(side),
        };
        match number.is_finite() {
            true => number.to_string(),
            false => NO_LIMIT.into(),
        }
    }

    /// The margin at a limit by the rule in force.
    pub(super) fn margin(&self, side: &ReportSide) -> f64 {
        match self.policy.acceptance {
            Acceptance::Nominal => side.room,
            Acceptance::WorstCase => side.margin_worst(),
            Acceptance::Expanded => side.margin_expanded(),
        }
    }

    pub(super) fn verdict(&self) -> Judgement {
        self.judged_by(self.policy.guard())
    }

    fn judged_by(&self, guard: Guard) -> Judgement {
        judge(&self.requirement.form, &self.subject.stack, guard).judgement()
    }

    fn formula(&self, row: Row, side: usize) -> String {
        let formula = self.with_limit(row, side);
        // Where no limit is given, one may still be typed in.
        let (test, otherwise) = match row {
            _ if self.has_limit(side) => return formula,
            Limit => (self.stated_cells()[1 + side].clone(), NO_LIMIT),
            Room | MarginWorst | MarginExpanded | MarginRootSumSquare => {
                (self.result(Limit, side), NO_LIMIT)
            }
            Beyond => return format!("IF(ISNUMBER({}),{formula},0)", self.result(Limit, side)),
            _ => return formula,
        };
        format!("IF(ISNUMBER({test}),{formula},\"{otherwise}\")")
    }

    /// The formula of a row where there is a limit.
    fn with_limit(&self, row: Row, side: usize) -> String {
        let at = |row: Row| self.result(row, side);
        // Of rows with one cell for both sides.
        let one = |row: Row| self.result(row, 0);
        let sign = ['-', '+'][side];
        match row {
            Nominal => format!("SUM({})", self.all(PART)),
            Target => self.wanted(0),
            Limit => self.wanted(1 + side),
            Worst => format!("{}SUM({})", ["-", ""][side], self.all(MOVES[side])),
            RootSumSquare => self.root_sum_square(side),
            Middle => self.middle(side),
            Combined => format!("SQRT(MAX(0,SUM({})))", self.all(VARIANCE[side])),
            Freedom => self.freedom(side),
            Factor => factor(Some(&at(Freedom))),
            Level => {
                let (k, freedom, whole) = (at(Factor), at(Freedom), whole(&at(Freedom)));
                format!(
                    "IF(ISNUMBER({freedom}),1-T.DIST.2T({k},{whole}),2*NORM.S.DIST({k},TRUE)-1)"
                )
            }
            Expanded => format!("{}*{}", at(Factor), at(Combined)),
            Room if side == 0 => format!("{}-{}", one(Nominal), at(Limit)),
            Room => format!("{}-{}", at(Limit), one(Nominal)),
            MarginWorst => format!("{}-{}", at(Room), at(Worst)),
            MarginExpanded => format!("{}-MAX(0,{}+{})", at(Room), at(Expanded), at(Middle)),
            MarginRootSumSquare => format!("{}-{}-{}", at(Room), at(Middle), at(RootSumSquare)),
            Margin => {
                let [nominal, expanded, worst] = [Room, MarginExpanded, MarginWorst].map(at);
                format!(
                    "IF(acceptance_rule=\"nominal\",{nominal},IF(acceptance_rule=\"expanded\",{expanded},{worst}))"
                )
            }
            Beyond => self.beyond(side),
            Conforming => {
                let [below, above] = [0, 1].map(|side| self.result(Beyond, side));
                format!("MAX(0,1-{below}-{above})")
            }
            RiskAccepting => format!("1-{}", one(Conforming)),
            RiskRejecting => one(Conforming),
            Law => format!(
                "IF(ISNUMBER({0}),\"Student's t, \"&{1}&\" degrees of freedom\",\"normal\")",
                at(Freedom),
                whole(&at(Freedom))
            ),
            Verdict => self.judged(),
            Against => self.against(),
            ReachWorst => format!("{}{sign}({})", one(Nominal), at(Worst)),
            ReachExpanded => format!("{}{sign}({}+{})", one(Nominal), at(Expanded), at(Middle)),
            ReachRootSumSquare => {
                format!("{}{sign}({}+{})", one(Nominal), at(RootSumSquare), at(Middle))
            }
            Allowance => format!("IF({0}=0,0,{1}/{0}-1)", self.gap(), one(Nominal)),
            Crush => format!("IF({1}=0,0,1-{0}/{1})", self.gap(), one(Nominal)),
            CrushEnds => {
                let (gap, free) = (self.gap(), one(Nominal));
                let [gap_by, free_by] = [(IN_GAP, 1 - side), (SENSITIVITY, side)]
                    .map(|(column, up)| self.moved(column, up));
                let (wider, thinner) = (['+', '-'][side], ['-', '+'][side]);
                let (gap, free) =
                    (format!("({gap}{wider}{gap_by})"), format!("({free}{thinner}{free_by})"));
                format!("IF({free}<=0,0,1-{gap}/{free})")
            }
        }
    }

    /// The sum that the gap of a gasket comes to.
    fn gap(&self) -> String {
        self.sum(|index, line| {
            let [count, nominal] = [COUNT, NOMINAL].map(|column| self.input(line, column));
            format!("{count}*{nominal}*{}", self.line(index, IN_GAP))
        })
    }

    /// How far the sum with the sensitivities of a column can move up, for `up` 1, or down.
    fn moved(&self, column: u16, up: usize) -> String {
        self.sum(|index, line| {
            let c = self.line(index, column);
            let [minus, plus] = [MINUS, PLUS].map(|column| self.input(line, column));
            let (with, against) = if up == 1 { (plus, minus) } else { (minus, plus) };
            format!("{}*IF({c}>0,{c}*{with},-{c}*{against})", self.input(line, COUNT))
        })
    }

    /// Least crush, for side 0, or the greatest one.
    fn crush_end(&self, side: usize) -> f64 {
        let Form::GasketFill { gap, .. } = &self.requirement.form else {
            return 0.0;
        };
        let stack = &self.subject.stack;
        let [gap, free] = [gap, &self.requirement.form.value()].map(|terms| {
            let sum = worst_case(terms, stack);
            [sum.nominal - sum.below, sum.nominal + sum.above].map(|end| end.to_f64(self.unit))
        });
        let (gap, free) = (gap[1 - side], free[side]);
        if free <= 0.0 { 0.0 } else { 1.0 - gap / free }
    }

    /// Target, lower or upper limit as a length.
    fn wanted(&self, which: usize) -> String {
        let stated = &self.stated_cells()[which];
        match self.allowances() {
            true => format!("(1+{stated})*{}", self.gap()),
            false => stated.clone(),
        }
    }

    fn root_sum_square(&self, side: usize) -> String {
        let squares = self.sum(|index, line| {
            let [count, minus, plus] = [COUNT, MINUS, PLUS].map(|column| self.input(line, column));
            let sensitivity = self.line(index, AT[side]);
            format!("{count}*({sensitivity}*({minus}+{plus})/2)^2")
        });
        format!("SQRT({squares})")
    }

    fn middle(&self, side: usize) -> String {
        let middle = self.sum(|index, line| {
            let [count, minus, plus] = [COUNT, MINUS, PLUS].map(|column| self.input(line, column));
            format!("{count}*{}*({plus}-{minus})", self.line(index, AT[side]))
        });
        format!("{}{middle}/2", ["-", ""][side])
    }

    /// Whether a line is known by few readings: they may come to have a scatter when they are changed.
    fn is_few(&self, line: &Contribution) -> bool {
        let part = self.part(line);
        let is_read = matches!(
            part.evaluation,
            Evaluation::Readings { .. } | Evaluation::Repeated { .. } | Evaluation::Derived(_)
        );
        part.degrees_of_freedom.is_some() || is_read
    }

    fn has_few(&self) -> bool {
        self.report.lines.iter().any(|line| self.is_few(line))
    }

    fn freedom(&self, side: usize) -> String {
        let lines = self.report.lines.iter().enumerate();
        let few = lines.filter(|(_, line)| self.is_few(line));
        // Relative to the whole: fourth powers of lengths in inches are small enough to pass for nothing.
        let combined = self.result(Combined, side);
        let fourths: Vec<String> = few
            .map(|(index, line)| {
                let [freedom, u] = [FREEDOM, STANDARD].map(|column| self.input(line, column));
                let sensitivity = self.line(index, AT[side]);
                format!("IF(ISNUMBER({freedom}),({sensitivity}*{u}/{combined})^4/{freedom},0)")
            })
            .collect();
        let fourths = fourths.join("+");
        format!("IF({combined}>0,IF({fourths}>0,1/({fourths}),\"infinite\"),\"infinite\")")
    }

    fn beyond(&self, side: usize) -> String {
        let [room, middle, u, freedom] =
            [Room, Middle, Combined, Freedom].map(|row| self.result(row, side));
        let far = format!("(({room}-{middle})/{u})");
        let tail = format!("T.DIST.2T(ABS({far}),{})/2", whole(&freedom));
        format!(
            "IF({u}>0,IF(ISNUMBER({freedom}),IF({far}>0,{tail},1-{tail}),NORM.S.DIST(-{far},TRUE)),IF({room}<{middle},1,0))"
        )
    }

    /// Words beside the verdict: a chance that contradicts it, and the worst case that the nominal rule
    /// does not count.
    fn beside(&self) -> String {
        let chance = Chance::of(&self.report);
        let level = promised(self.policy.guard(), &self.report);
        let verdict = self.verdict();
        let only = self.policy.acceptance == Acceptance::Nominal
            && verdict == Judgement::Met
            && self.judged_by(Guard::WorstCase) != Judgement::Met;
        let mut said = if only { NOMINAL_ONLY.to_string() } else { String::new() };
        if contradicts(verdict, chance, level) {
            said += if verdict == Judgement::Met { CHANCE_BELOW } else { CHANCE_ABOVE };
        }
        if said.is_empty() { NOTHING.into() } else { said }
    }

    fn against(&self) -> String {
        let one = |row: Row| self.result(row, 0);
        let (verdict, chance) = (one(Verdict), one(Conforming));
        let [levels, worst] =
            [Level, MarginWorst].map(|row| [0, 1].map(|side| self.result(row, side)).join(","));
        let level = format!("IF(acceptance_rule=\"expanded\",MIN({levels}),{USUAL_LEVEL})");
        let met = format!("{verdict}=\"{}\"", Judgement::Met.words());
        let only = format!("AND(acceptance_rule=\"nominal\",{met},ROUND(MIN({worst}),12)<0)");
        let rest = format!("IF({only},\"\",\"{NOTHING}\")");
        format!(
            "IF({verdict}=\"{CHECK_INPUT}\",\"{NOTHING}\",IF({only},\"{NOMINAL_ONLY}\",\"\")&IF({met},IF({chance}<{level}-0.000000001,\"{CHANCE_BELOW}\",{rest}),IF({chance}>={level},\"{CHANCE_ABOVE}\",{rest})))"
        )
    }

    fn judged(&self) -> String {
        let [_, lower, upper] = self.stated_cells();
        let [low, high] = [0, 1].map(|side| self.result(Margin, side));
        let crossed = match self.has_limit(0) && self.has_limit(1) {
            true => format!("{lower}>{upper}"),
            // Text is greater than any number.
            false => format!("AND(ISNUMBER({lower}),ISNUMBER({upper}),{lower}>{upper})"),
        };
        format!(
            "IF(OR({},{crossed}),\"{CHECK_INPUT}\",IF(ROUND(MIN({low},{high}),12)>=0,\"{}\",IF(ROUND(MIN({},{}),12)>=0,\"{}\",\"{}\")))",
            self.inputs.senseless(),
            Judgement::Met.words(),
            self.result(Room, 0),
            self.result(Room, 1),
            Judgement::NotProven.words(),
            Judgement::NotMet.words(),
        )
    }
}
