//! The Stack-up sheet: per pump and requirement the contributors, with live formulas. Change a
//! reading, a tolerance or a limit and the sheet answers.
//!
//! Every formula carries its result as worked out here, so that viewers which do not calculate
//! show the same; a second spreadsheet engine recalculates them in the tests.

use rust_xlsxwriter::{Formula, Worksheet, XlsxError};

use super::style::{Styles, heads, set_up, title, widths};
use crate::decimal::Millionths;
use crate::job::Job;
use crate::length::Unit;
use crate::model::{Form, Requirement, Term, Terms};
use crate::plan::{Kit, stack};
use crate::policy::Guard;
use crate::pump::Pump;
use crate::stack::Contributor;
use crate::stock::Lot;
use crate::verify::Verified;

pub(super) fn write(
    sheet: &mut Worksheet,
    verified: &Verified,
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let (job, plan) = (verified.job(), verified.plan());
    set_up(sheet, "Stack-up", date)?;
    let mut columns = vec![
        38.0, 10.0, 13.0, 12.0, 13.0, 13.0, 12.0, 13.0, 13.0, 13.0, 13.0, 14.0,
    ];
    let mut lead = "Coloured cells may be changed: readings, counts, tolerances, targets and limits; everything else follows. This sheet predicts: the recheck after fitting decides.";
    if matches!(job.policy.guard(), Guard::Expanded(_)) {
        columns.extend([14.0, 14.0, 10.0, 14.0, 14.0]);
        lead = "Coloured cells may be changed: readings, counts, tolerances, standard uncertainties (which do not follow the tolerances), the coverage factor, targets and limits; everything else follows. This sheet predicts: the recheck after fitting decides.";
    }
    widths(sheet, &columns)?;
    title(sheet, "Stack-up", lead, styles)?;
    let mut row = 3;
    let mut breaks = Vec::new();
    for (pump, kit) in job.pumps.iter().zip(&plan.kits) {
        let Kit::Served(packs) = kit else { continue };
        if row > 3 {
            breaks.push(row);
        }
        let parts = stack(job, pump, packs).contributors;
        for requirement in &pump.requirements {
            let block = Block {
                job,
                pump,
                requirement,
                unit: job.model_of(pump).unit,
                row,
            };
            row = block.write(sheet, &parts, styles)? + 1;
        }
    }
    if row == 3 {
        sheet.write_string_with_format(3, 0, "No pump can be kitted.", &styles.alarm)?;
    }
    sheet.set_page_breaks(&breaks)?;
    Ok(())
}

struct Block<'a> {
    job: &'a Job,
    pump: &'a Pump,
    requirement: &'a Requirement,
    unit: Unit,
    /// The first row.
    row: u32,
}

/// What a requirement's target and limits are: lengths, or allowances on a gap.
struct Limits {
    labels: [&'static str; 3],
    values: [f64; 3],
    /// Whether they are allowances.
    allowances: bool,
}

/// A contributor's line in numbers.
struct Line {
    count: f64,
    nominal: f64,
    minus: f64,
    plus: f64,
    sensitivity: f64,
    in_gap: f64,
    /// Standard uncertainty of one, and of its lot.
    standard: f64,
    of_lot: f64,
    /// Lines with the same number share the error of their lot.
    lot: u32,
}

impl Line {
    /// Sensitivity of the side whose allowance is `a`.
    fn side(&self, limits: &Limits, a: f64) -> f64 {
        if limits.allowances {
            self.sensitivity - (1.0 + a) * self.in_gap
        } else {
            self.sensitivity
        }
    }
}

impl Block<'_> {
    fn limits(&self) -> Limits {
        match &self.requirement.form {
            Form::Linear {
                target,
                lower,
                upper,
                ..
            } => Limits {
                labels: ["Target", "Lower limit", "Upper limit"],
                values: [target, lower, upper].map(|l| l.to_f64(self.unit)),
                allowances: false,
            },
            Form::GasketFill {
                target,
                lower,
                upper,
                ..
            } => Limits {
                labels: [
                    "Allowance aimed at",
                    "Least allowance",
                    "Greatest allowance",
                ],
                values: [target, lower, upper].map(|a| a.to_f64()),
                allowances: true,
            },
        }
    }

    /// The terms of the value, and those of the gap that it is held against.
    fn terms(&self) -> (Terms, Terms) {
        match &self.requirement.form {
            Form::Linear { terms, .. } => (terms.clone(), Vec::new()),
            Form::GasketFill { gap, .. } => (self.requirement.form.value(), gap.clone()),
        }
    }

    fn line(&self, part: &Contributor, terms: &Terms, gap: &Terms) -> Option<Line> {
        let of = |terms: &Terms, term: Term| -> Option<f64> {
            let mut found = terms.iter().filter(|(t, _)| *t == term).peekable();
            found.peek()?;
            Some(
                found
                    .map(|(_, c)| c.raw())
                    .map(Millionths::from_raw)
                    .sum::<Millionths>()
                    .to_f64(),
            )
        };
        let (sensitivity, in_gap) = (of(terms, part.term), of(gap, part.term));
        if sensitivity.is_none() && in_gap.is_none() {
            return None;
        }
        Some(Line {
            count: f64::from(part.count),
            nominal: part.nominal.to_f64(self.unit),
            minus: part.tolerance.minus.to_f64(self.unit),
            plus: part.tolerance.plus.to_f64(self.unit),
            sensitivity: sensitivity.unwrap_or(0.0),
            in_gap: in_gap.unwrap_or(0.0),
            standard: part.standard.to_f64(self.unit),
            of_lot: part.lot.map_or(0.0, |l| l.standard.to_f64(self.unit)),
            lot: 0,
        })
    }

    /// The coverage factor, under the rule that has one.
    fn coverage(&self) -> Option<f64> {
        match self.job.policy.guard() {
            Guard::Expanded(k) => Some(k.exact(None)),
            Guard::None | Guard::WorstCase => None,
        }
    }

    /// Writes the block and returns the row behind it.
    fn write(
        &self,
        sheet: &mut Worksheet,
        parts: &[Contributor],
        styles: &Styles,
    ) -> Result<u32, XlsxError> {
        let unit = self.unit;
        let title = format!(
            "Pump {}: {} ({unit})",
            self.pump.tag, self.requirement.label
        );
        sheet.write_string_with_format(self.row, 0, title, &styles.part)?;
        let limits = self.limits();
        let entry = if limits.allowances {
            styles.number_entry()
        } else {
            styles.length_entry(unit)
        };
        let limits_row = self.row + 1;
        // Label and value side by side: A-B, C-D and so on; the flag last.
        for (index, (label, value)) in (0..).zip(limits.labels.iter().zip(limits.values)) {
            sheet.write_string_with_format(limits_row, 2 * index, *label, &styles.wrapped)?;
            sheet.write_number_with_format(limits_row, 2 * index + 1, value, &entry)?;
        }
        let flag = match self.job.policy.guard() {
            Guard::None => 0.0,
            Guard::WorstCase | Guard::Expanded(_) => 1.0,
        };
        let (counted, remark) = match self.coverage() {
            None => ("Count tolerances", "1 yes (worst case), 0 no (nominal)"),
            Some(_) => (
                "Count uncertainties",
                "1 yes (expanded uncertainty), 0 no (nominal)",
            ),
        };
        sheet.write_string_with_format(limits_row, 6, counted, &styles.wrapped)?;
        sheet.write_number_with_format(limits_row, 7, flag, &styles.number_entry())?;
        sheet.write_string_with_format(limits_row, 8, remark, &styles.remark)?;
        if let Some(k) = self.coverage() {
            sheet.write_string_with_format(limits_row, 12, "Coverage factor", &styles.wrapped)?;
            sheet.write_number_with_format(limits_row, 13, k, &styles.number_entry())?;
        }
        sheet.set_row_height(limits_row, 46.0)?;
        sheet.set_row_height(limits_row + 1, 46.0)?;
        heads(
            sheet,
            limits_row + 1,
            &[
                "Contributor",
                "Count",
                "Nominal of one",
                "Minus",
                "Plus",
                "Sensitivity",
                "In the gap",
                "Sensitivity at lower limit",
                "Sensitivity at upper limit",
                "Takes below",
                "Adds above",
                "Squared half-width",
            ],
            styles,
        )?;
        let (terms, gap) = self.terms();
        let mut lines: Vec<(&Contributor, Line)> = parts
            .iter()
            .filter_map(|part| Some((part, self.line(part, &terms, &gap)?)))
            .collect();
        self.number_lots(&mut lines);
        let first = limits_row + 2;
        let mut at = first;
        for (part, line) in &lines {
            self.contributor(sheet, at, limits_row, part, line, &limits, styles)?;
            at += 1;
        }
        let numbers: Vec<&Line> = lines.iter().map(|(_, line)| line).collect();
        if self.coverage().is_some() {
            self.uncertainties(sheet, first..at, &numbers, &limits, styles)?;
        }
        self.results(
            sheet,
            limits_row,
            first..at,
            &numbers,
            &limits,
            flag,
            styles,
        )
    }

    /// Numbers the lots in the order in which they come: a dimension is one of its own.
    fn number_lots(&self, lines: &mut [(&Contributor, Line)]) {
        let mut known: Vec<Option<Lot>> = Vec::new();
        for (part, line) in lines {
            let lot = part.item.map(|item| self.job.stock[item].lot(item));
            let at = known
                .iter()
                .position(|other| lot.is_some() && *other == lot);
            let at = at.unwrap_or_else(|| {
                known.push(lot);
                known.len() - 1
            });
            line.lot = u32::try_from(at + 1).unwrap_or(u32::MAX);
        }
    }

    /// The columns of the expanded rule. Lines of one lot add up before they are squared, so each
    /// line takes its lot's error times that of all lines of the lot.
    fn uncertainties(
        &self,
        sheet: &mut Worksheet,
        rows: std::ops::Range<u32>,
        lines: &[&Line],
        limits: &Limits,
        styles: &Styles,
    ) -> Result<(), XlsxError> {
        let entry = styles.length_entry(self.unit);
        let head = [
            "Standard uncertainty of one",
            "Standard uncertainty of its lot",
            "Lot (a number for each)",
            "Variance at lower limit",
            "Variance at upper limit",
        ];
        for (column, text) in (12..).zip(head) {
            sheet.write_string_with_format(rows.start - 1, column, text, &styles.head)?;
        }
        let (from, to) = (rows.start + 1, rows.end);
        for (row, line) in rows.zip(lines) {
            sheet.write_number_with_format(row, 12, line.standard, &entry)?;
            sheet.write_number_with_format(row, 13, line.of_lot, &entry)?;
            sheet.write_number_with_format(row, 14, line.lot, &styles.count)?;
            let n = row + 1;
            for (column, cell, index) in [(15, 'H', 1), (16, 'I', 2)] {
                let formula = format!(
                    "B{n}*({cell}{n}*M{n})^2+B{n}*{cell}{n}*N{n}*SUMPRODUCT((O${from}:O${to}=O{n})*B${from}:B${to}*{cell}${from}:{cell}${to}*N${from}:N${to})"
                );
                let result = variance(line, lines, limits, limits.values[index]);
                put(
                    sheet,
                    row,
                    column,
                    &formula,
                    &result.to_string(),
                    &styles.tiny,
                )?;
            }
        }
        Ok(())
    }

    fn contributor(
        &self,
        sheet: &mut Worksheet,
        row: u32,
        limits_row: u32,
        part: &Contributor,
        line: &Line,
        limits: &Limits,
        styles: &Styles,
    ) -> Result<(), XlsxError> {
        let length = styles.length(self.unit);
        let length_entry = styles.length_entry(self.unit);
        sheet.write_string_with_format(row, 0, &part.label, &styles.text)?;
        sheet.write_number_with_format(row, 1, line.count, &styles.number_entry())?;
        sheet.write_number_with_format(row, 2, line.nominal, &length_entry)?;
        sheet.write_number_with_format(row, 3, line.minus, &length_entry)?;
        sheet.write_number_with_format(row, 4, line.plus, &length_entry)?;
        sheet.write_number_with_format(row, 5, line.sensitivity, &styles.number)?;
        sheet.write_number_with_format(row, 6, line.in_gap, &styles.number)?;
        let n = row + 1;
        let l = limits_row + 1;
        let [target, lower, upper] = limits.values;
        let side = |cell: &str| {
            if limits.allowances {
                format!("F{n}-(1+${cell}${l})*G{n}")
            } else {
                format!("F{n}")
            }
        };
        let (at_lower, at_upper) = (line.side(limits, lower), line.side(limits, upper));
        let below = line.count
            * if at_lower > 0.0 {
                at_lower * line.minus
            } else {
                -at_lower * line.plus
            };
        let above = line.count
            * if at_upper > 0.0 {
                at_upper * line.plus
            } else {
                -at_upper * line.minus
            };
        let half = line.side(limits, target) * (line.minus + line.plus) / 2.0;
        let formulas = [
            (side("D"), at_lower, &styles.number),
            (side("F"), at_upper, &styles.number),
            (
                format!("B{n}*IF(H{n}>0,H{n}*D{n},-H{n}*E{n})"),
                below,
                &length,
            ),
            (
                format!("B{n}*IF(I{n}>0,I{n}*E{n},-I{n}*D{n})"),
                above,
                &length,
            ),
            (
                format!("B{n}*(({})*(D{n}+E{n})/2)^2", side("B")),
                line.count * half * half,
                &styles.tiny,
            ),
        ];
        for (column, (formula, result, format)) in (7..).zip(formulas) {
            put(sheet, row, column, &formula, &result.to_string(), format)?;
        }
        Ok(())
    }
    fn results(
        &self,
        sheet: &mut Worksheet,
        limits_row: u32,
        rows: std::ops::Range<u32>,
        lines: &[&Line],
        limits: &Limits,
        flag: f64,
        styles: &Styles,
    ) -> Result<u32, XlsxError> {
        let (from, to, l) = (rows.start + 1, rows.end, limits_row + 1);
        let sum =
            |f: &dyn Fn(&Line) -> f64| lines.iter().map(|line| line.count * f(line)).sum::<f64>();
        let product = |column: &str| {
            format!("SUMPRODUCT(B{from}:B{to},C{from}:C{to},{column}{from}:{column}{to})")
        };
        let [target, lower, upper] = limits.values;
        let value = sum(&|x| x.nominal * x.sensitivity);
        let gap = sum(&|x| x.nominal * x.in_gap);
        // In terms of the value: a limit itself, or the free thickness that an allowance asks for.
        let limit = |a: f64| {
            if limits.allowances {
                (1.0 + a) * gap
            } else {
                a
            }
        };
        let limit_formula = |cell: &str| {
            if limits.allowances {
                format!("(1+{cell}{l})*{}", product("G"))
            } else {
                format!("{cell}{l}")
            }
        };
        let edge = |a: f64, low: bool| {
            sum(&|x| {
                let c = x.side(limits, a);
                match (low, c > 0.0) {
                    (true, true) => c * x.minus,
                    (true, false) => -c * x.plus,
                    (false, true) => c * x.plus,
                    (false, false) => -c * x.minus,
                }
            })
        };
        let (guard_lower, guard_upper) = match self.coverage() {
            None => (edge(lower, true), edge(upper, false)),
            Some(k) => {
                let sum = |a| {
                    let all = lines.iter().map(|line| variance(line, lines, limits, a));
                    k * all.sum::<f64>().max(0.0).sqrt()
                };
                (sum(lower), sum(upper))
            }
        };
        let guards = match self.coverage() {
            None => [
                (
                    "Worst case below (guard at the lower limit)",
                    format!("SUM(J{from}:J{to})"),
                ),
                (
                    "Worst case above (guard at the upper limit)",
                    format!("SUM(K{from}:K{to})"),
                ),
            ],
            // A difference of lots may round to less than nothing.
            Some(_) => [
                (
                    "Expanded uncertainty (guard at the lower limit)",
                    format!("$N${l}*SQRT(MAX(0,SUM(P{from}:P{to})))"),
                ),
                (
                    "Expanded uncertainty (guard at the upper limit)",
                    format!("$N${l}*SQRT(MAX(0,SUM(Q{from}:Q{to})))"),
                ),
            ],
        };
        let [(below, below_formula), (above, above_formula)] = guards;
        let squares = sum(&|x| (x.side(limits, target) * (x.minus + x.plus) / 2.0).powi(2));
        let margin_lower = value - flag * guard_lower - limit(lower);
        let margin_upper = limit(upper) - flag * guard_upper - value;
        // Rows of the results, from `r`.
        let r = rows.end + 1;
        let length = styles.length(self.unit);
        let met = margin_lower.min(margin_upper) > -5e-10;
        let verdict = format!(
            "IF(ROUND(MIN(C{},C{}),9)>=0,\"met\",\"NOT MET\")",
            r + 7,
            r + 8
        );
        let mut results = vec![
            ("Nominal value", product("F"), value.to_string(), &length),
            (
                "Target",
                limit_formula("B"),
                limit(target).to_string(),
                &length,
            ),
            (
                "Lower limit",
                limit_formula("D"),
                limit(lower).to_string(),
                &length,
            ),
            (
                "Upper limit",
                limit_formula("F"),
                limit(upper).to_string(),
                &length,
            ),
            (below, below_formula, guard_lower.to_string(), &length),
            (above, above_formula, guard_upper.to_string(), &length),
            (
                "Root sum square, if all are independent and centred",
                format!("SQRT(SUM(L{from}:L{to}))"),
                squares.sqrt().to_string(),
                &length,
            ),
            (
                "Margin at the lower limit",
                format!("C{r}-$H${l}*C{}-C{}", r + 4, r + 2),
                margin_lower.to_string(),
                &length,
            ),
            (
                "Margin at the upper limit",
                format!("C{}-$H${l}*C{}-C{r}", r + 3, r + 5),
                margin_upper.to_string(),
                &length,
            ),
            (
                "Verdict",
                verdict,
                (if met { "met" } else { "NOT MET" }).to_string(),
                &styles.strong,
            ),
        ];
        if limits.allowances {
            let reached = if gap == 0.0 { 0.0 } else { value / gap - 1.0 };
            let formula = format!("IF({0}=0,0,C{r}/{0}-1)", product("G"));
            results.push((
                "Allowance reached (free thickness / gap - 1)",
                formula,
                reached.to_string(),
                &styles.number,
            ));
        }
        let mut row = rows.end;
        for (label, formula, result, format) in results {
            sheet.merge_range(row, 0, row, 1, label, &styles.text)?;
            put(sheet, row, 2, &formula, &result, format)?;
            row += 1;
        }
        Ok(row)
    }
}

/// A line's part of the squared combined standard uncertainty at the side whose allowance is `a`.
fn variance(line: &Line, lines: &[&Line], limits: &Limits, a: f64) -> f64 {
    let shared = |x: &Line| x.count * x.side(limits, a) * x.of_lot;
    let of_lot = lines.iter().filter(|other| other.lot == line.lot);
    let together: f64 = of_lot.map(|other| shared(other)).sum();
    line.count * (line.side(limits, a) * line.standard).powi(2) + shared(line) * together
}

fn put(
    sheet: &mut Worksheet,
    row: u32,
    column: u16,
    formula: &str,
    result: &str,
    format: &rust_xlsxwriter::Format,
) -> Result<(), XlsxError> {
    let formula = Formula::new(format!("={formula}")).set_result(result);
    sheet.write_formula_with_format(row, column, formula, format)?;
    Ok(())
}
