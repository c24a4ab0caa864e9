//! Stack-up: the cells that may be changed, and the results as the library calculates them.

use gapwright::accounting::stack;
use gapwright::model::{Form, Shape, Spread};
use gapwright::plan::{Kit, PackPick};
use gapwright::policy::{Acceptance, Policy};
use gapwright::pump::Pump;
use gapwright::stack::{Coverage, Report, report};
use gapwright::verify::Verified;

use crate::anew::{self, Out};
use crate::figures::{bare, float, raw, symbol};
use crate::outages::held;
use crate::page::{Page, Wrong};
use crate::said;
use crate::wording::stack_up as words;

/// Row of the first pump, from 0, where few pumps have no kit.
const FIRST_ROW: u32 = 7;

#[test]
fn the_stack_up_comes_to_what_the_library_says() {
    held("Stack-up", |outage, wrong| {
        let (verified, page) = (&outage.verified, outage.book.page("Stack-up"));
        let job = verified.job();
        let rule = page.find(words::RULE).map(|(row, _)| row);
        let rule = rule.and_then(|row| page.rows[&row].get(&1));
        wrong.same("rule", rule, Some(&crate::page::entry(&job.policy.acceptance.to_string())));
        let not_fit = said::not_fit(verified, words::NOT_FIT).map(|row| row[&0].clone());
        let stands = |text: &String| page.find(text).is_some_and(|(row, _)| row < FIRST_ROW);
        wrong.unless(not_fit.iter().all(stands), "pumps without a kit stand at the top");
        let served = job.pumps.iter().zip(&verified.plan().kits);
        let place = wrong.place.clone();
        let mut last = None;
        for (pump, kit) in served {
            let Kit::Served(packs) = kit else { continue };
            wrong.place = format!("{place}, {}", pump.tag);
            let unit = job.model_of(pump).unit;
            let title = words::pump(&pump.tag, &job.model_of(pump).title, symbol(unit));
            let Some((row, _)) = page.find(&title) else {
                wrong.say(format!("no `{title}`"));
                continue;
            };
            wrong.unless(last < Some(row), "pumps stand in the order of the pump sheet");
            last = Some(row);
            let mut sheet = Sheet { verified, page, pump, packs, wrong };
            sheet.contributors(row + 2);
            for at in 0..pump.requirements.len() {
                sheet.requirement(at);
            }
        }
        if last.is_none() {
            wrong.unless(page.find(words::NO_PUMP).is_some(), "it says that no pump can be kitted");
        }
        wrong.place = place;
    });
}

struct Sheet<'a> {
    verified: &'a Verified,
    page: &'a Page,
    pump: &'a Pump,
    packs: &'a [PackPick],
    wrong: &'a mut Wrong,
}

/// Word on paper for the source of a standard uncertainty.
fn known(spread: Spread, shape: Shape) -> &'static str {
    match (spread, shape) {
        (Spread::StandardUncertainty(_), _) => "stated",
        (Spread::FromReadings { .. }, _) => "readings",
        (_, Shape::Rectangular) => "rectangular",
        (_, Shape::Triangular) => "triangular",
        (_, Shape::Normal) => "normal",
        (_, Shape::UShaped) => "u-shaped",
        (_, Shape::Trapezoid { .. } | Shape::TruncatedNormal { .. }) => unreachable!(),
    }
}

impl Sheet<'_> {
    fn text(&self, row: u32, column: u32) -> &str {
        let cell = self.page.rows.get(&row).and_then(|row| row.get(&column));
        cell.map_or("", |text| text.trim_start_matches('[').trim_end_matches(']'))
    }

    fn near(&mut self, what: &str, (row, column): (u32, u32), expected: f64) {
        let found = self.page.numbers.get(&(row, column)).copied();
        let near = |found: f64| (found - expected).abs() <= 1e-9 * expected.abs().max(1.0);
        if !found.is_some_and(near) {
            let found = found.map_or(self.text(row, column).to_string(), |found| found.to_string());
            self.wrong.say(format!("{what}: found {found}, expected {expected}"));
        }
    }

    /// Dimensions, thermal terms, then the pieces place by place.
    fn contributors(&mut self, top: u32) {
        let (job, pump) = (self.verified.job(), self.pump);
        let model = job.model_of(pump);
        let unit = model.unit;
        let mut lines: Vec<(String, u32, [i128; 3], &str)> = Vec::new();
        for (dimension, measured) in model.dimensions.iter().zip(&pump.dimensions) {
            let tolerance = measured.tolerance;
            let figures = [measured.value, tolerance.minus, tolerance.plus].map(raw);
            lines.push((
                dimension.label.clone(),
                1,
                figures,
                known(dimension.spread, dimension.shape),
            ));
        }
        for growth in &pump.growths {
            let figures = [growth.value, growth.tolerance.minus, growth.tolerance.plus].map(raw);
            lines.push((growth.thermal.label.clone(), 1, figures, "growth"));
        }
        for pick in self.packs.iter().flat_map(|pack| &pack.picks) {
            let item = &job.stock[pick.item];
            let (thick, tolerance) =
                (anew::fitted(item, pick.peeled), item.size.unwrap().tolerance);
            let label = format!("{} {}", item.kind, item.item);
            let label = match pick.peeled {
                0 => label,
                _ => words::peeled(&label, &format!("{} {}", bare(raw(thick), unit), symbol(unit))),
            };
            let figures = [thick, tolerance.minus, tolerance.plus].map(raw);
            lines.push((label, pick.count, figures, "rectangular"));
        }
        let heads: Vec<&str> =
            (0..).map(|at| self.text(top - 1, at)).take(words::CONTRIBUTORS.len()).collect();
        let heads: Vec<String> = heads.into_iter().map(String::from).collect();
        self.wrong.same("headings", heads, words::CONTRIBUTORS.map(String::from).to_vec());
        for (row, (label, count, figures, by)) in (top..).zip(lines) {
            let found = self.text(row, 0).to_string();
            self.wrong.same("contributor", found, label.clone());
            self.near(&format!("count of {label}"), (row, 1), count.into());
            for (column, figure) in (2..).zip(figures) {
                self.near(
                    &format!("{label}, {}", words::CONTRIBUTORS[column as usize]),
                    (row, column),
                    float(figure, unit),
                );
            }
            let found = self.text(row, 5).to_string();
            self.wrong.same("known by", found, by.to_string());
        }
    }

    fn requirement(&mut self, at: usize) {
        let (job, pump, packs) = (self.verified.job(), self.pump, self.packs);
        let (requirement, unit) = (&pump.requirements[at], job.model_of(pump).unit);
        let title = words::requirement(&pump.tag, &requirement.label, symbol(unit));
        let Some((row, _)) = self.page.find(&title) else {
            self.wrong.say(format!("no `{title}`"));
            return;
        };
        let (labels, stated) = match &requirement.form {
            Form::Linear { target, lower, upper, .. } => {
                let ends = [*target, lower.unwrap(), upper.unwrap()];
                (words::LENGTHS, ends.map(|end| float(raw(end), unit)))
            }
            Form::GasketFill { target, lower, upper, .. } => {
                let ends = [*target, *lower, upper.unwrap()];
                (words::ALLOWANCES, ends.map(|end| end.raw() as f64 / 1e6))
            }
        };
        for (column, (label, value)) in (0..).step_by(2).zip(labels.into_iter().zip(stated)) {
            let found = self.text(row + 1, column).to_string();
            self.wrong.same("label of a limit", found, label.to_string());
            self.near(&format!("{}: {label}", requirement.label), (row + 1, column + 1), value);
        }
        let all = stack(job, pump, packs);
        let report = report(&requirement.form, &all, job.policy.coverage, unit);
        self.lines(row + 3, &report);
        let out = anew::worst(job, pump, packs, &requirement.form);
        self.results(row, &requirement.label, &report, &out);
    }

    /// Effect of each contributor: its part of the value, down and up, and its share.
    fn lines(&mut self, top: u32, report: &Report) {
        let all = stack(self.verified.job(), self.pump, self.packs);
        for (row, line) in (top..).zip(&report.lines) {
            let part = &all.contributors[line.contributor];
            let found = self.text(row, 0).to_string();
            self.wrong.same("line", found, part.label.clone());
            let unit = self.verified.job().model_of(self.pump).unit;
            let value = f64::from(part.count) * float(raw(part.nominal), unit) * line.sensitivity;
            let [down, up] = line.moves;
            let figures = [
                line.sensitivity,
                line.in_gap,
                line.at[0],
                line.at[1],
                value,
                -down,
                up,
                line.share_of_worst,
                line.variance[0],
                line.variance[1],
                line.share_of_variance,
            ];
            for (column, figure) in (1..).zip(figures) {
                self.near(&format!("{}, column {column}", part.label), (row, column), figure);
            }
        }
    }

    /// Row of a result below a title.
    fn result(&self, title: u32, label: &str) -> Option<u32> {
        let rows = self.page.rows.range(title + 2..);
        let begin = rows.clone().find(|(_, row)| {
            let heads = words::RESULT.iter().enumerate();
            heads.clone().all(|(at, head)| row.get(&(at as u32)).is_some_and(|text| text == head))
        });
        let begin = *begin?.0;
        // The blocks are below each other: the first of that name is its own.
        let found = self
            .page
            .rows
            .range(begin..)
            .find(|(_, row)| row.get(&0).is_some_and(|text| text == label));
        found.map(|(row, _)| *row)
    }

    fn results(&mut self, title: u32, name: &str, report: &Report, out: &Out) {
        let unit = self.verified.job().model_of(self.pump).unit;
        let policy = &self.verified.job().policy;
        let f = |figure: i128| float(figure, unit);
        let sides = &report.sides;
        let room = [out.value - out.lower, out.upper - out.value];
        let worst = out.guards;
        let expanded = [0, 1].map(|side| sides[side].expanded);
        let middle = [0, 1].map(|side| sides[side].middle);
        let margin = |side: usize| match policy.acceptance {
            Acceptance::Nominal => f(room[side]),
            Acceptance::WorstCase => f(room[side] - worst[side]),
            Acceptance::Expanded => f(room[side]) - (expanded[side] + middle[side]).max(0.0),
        };
        let of_side =
            |of: fn(&gapwright::stack::ReportSide) -> f64| vec![of(&sides[0]), of(&sides[1])];
        let mut results: Vec<(&str, Vec<f64>)> = vec![
            (words::NOMINAL, vec![f(out.value)]),
            (words::TARGET, vec![f(out.target)]),
            (words::LIMIT, vec![f(out.lower), f(out.upper)]),
            (words::WORST, worst.map(f).to_vec()),
            (words::ROOT_SUM_SQUARE, of_side(|side| side.root_sum_square)),
            (words::MIDDLE, middle.to_vec()),
            (words::COMBINED, of_side(|side| side.combined)),
            (words::K, factors(policy, report)),
            (words::EXPANDED, expanded.to_vec()),
            (words::ROOM, room.map(f).to_vec()),
            (words::MARGIN_WORST, vec![f(room[0] - worst[0]), f(room[1] - worst[1])]),
            (
                words::MARGIN_EXPANDED,
                [0, 1]
                    .map(|side| f(room[side]) - (expanded[side] + middle[side]).max(0.0))
                    .to_vec(),
            ),
            (words::MARGIN, [0, 1].map(margin).to_vec()),
            (words::REACHES, vec![f(out.value - worst[0]), f(out.value + worst[1])]),
        ];
        if let Some((gap, _)) = report.gap {
            results.push((words::ALLOWANCE, vec![f(out.value) / gap - 1.0]));
            results.push((words::CRUSH, vec![1.0 - gap / f(out.value)]));
        }
        for (label, expected) in results {
            let Some(row) = self.result(title, label) else {
                self.wrong.say(format!("{name}: no `{label}`"));
                continue;
            };
            for (column, expected) in (1..).zip(expected) {
                self.near(&format!("{name}: {label}, column {column}"), (row, column), expected);
            }
        }
        let verdict = self.result(title, words::VERDICT).map(|row| self.text(row, 1).to_string());
        self.wrong.same("verdict", verdict, Some(words::MET.to_string()));
    }
}

/// Coverage factor in force; these outages state it directly.
fn factors(policy: &Policy, report: &Report) -> Vec<f64> {
    match policy.coverage {
        Coverage::Factor(factor) => vec![factor.raw() as f64 / 1e6; 2],
        Coverage::Level(_) => report.sides.map(|side| side.factor).to_vec(),
    }
}
