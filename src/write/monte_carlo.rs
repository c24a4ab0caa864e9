//! The Monte Carlo sheet: what drawing each requirement at random came to.

use itertools::Itertools;
use rust_xlsxwriter::{Chart, ChartFont, ChartLegendPosition, ChartType, Format, Worksheet};

use super::page::{Page, Written};
use super::picture::{Figures, fill};
use super::style::{Styles, VALUES};
use super::table::{self, Cells, Column, over};
use super::text::{WriteText, chart_name};
use crate::accounting::stack;
use crate::analysis::Analysed;
use crate::job::Job;
use crate::length::Unit;
use crate::model::{Form, Requirement};
use crate::stack::monte_carlo::{CLASSES, Conformity, Outcome};
use crate::stack::{Undrawn, level_of_draws, met_by_all, missed_by_none, taken_as_normal};
use crate::words;

const NAME: &str = "Monte Carlo";

/// Where the classes stand, beside the printed page.
const DATA: u16 = 24;

/// Rows that a picture takes.
const PICTURE: u32 = 18;

/// More pictures than this would make the workbook slow to open.
const MOST_PICTURES: usize = 60;

/// A requirement of a pump with what its draws came to.
struct DrawnRequirement<'a> {
    tag: &'a str,
    requirement: &'a Requirement,
    unit: Unit,
    drawn: &'a Result<Outcome, Undrawn>,
    normal: String,
}

impl DrawnRequirement<'_> {
    fn limits(&self) -> String {
        let (ends, unit) = match &self.requirement.form {
            Form::Linear { lower, upper, .. } => {
                ([lower, upper].map(|l| Some(l.as_ref()?.show(self.unit))), self.unit.symbol())
            }
            Form::GasketFill { lower, upper, .. } => {
                ([Some(lower.to_string()), upper.map(|upper| upper.to_string())], "")
            }
        };
        words::range(ends, unit).trim_end().into()
    }

    /// The unit that it is counted in, and the format of its figures.
    fn shown(&self, styles: &Styles) -> (&'static str, Format) {
        match self.requirement.form {
            Form::Linear { .. } => (self.unit.symbol(), styles.length(self.unit).clone()),
            Form::GasketFill { .. } => ("allowance", styles.number.clone()),
        }
    }
}

type Col<'s> = Column<'s, DrawnRequirement<'s>>;

/// The columns; of what cannot be drawn those before the figures alone.
fn columns<'s>(styles: &'s Styles, heads: &'s [String; 2]) -> [Col<'s>; 16] {
    let text = &styles.text;
    let outcome = |line: &DrawnRequirement<'s>| line.drawn.as_ref().ok();
    let figure = move |line: &DrawnRequirement<'_>, of: fn(&Outcome) -> f64| {
        let value = of(line.drawn.as_ref().ok()?);
        match value.is_finite() {
            true => line.shown(styles).1.owned(value),
            false => text.of("infinite"),
        }
    };
    let chance = move |line: &DrawnRequirement<'_>, of: fn(&Conformity) -> f64| {
        let outcome = line.drawn.as_ref().ok()?;
        match of(outcome.conformity.as_ref()?) {
            // None or all of the draws show a bound, no more.
            all if all >= 1.0 => text.of(met_by_all(outcome.draws)),
            none if none <= 0.0 => text.of(missed_by_none(outcome.draws)),
            between => styles.chance.of(between),
        }
    };
    let drawn = move |line: &DrawnRequirement<'s>, cell| outcome(line).and(cell);
    let settled = |outcome: &Outcome| if outcome.settled { "yes" } else { "NO" };
    #[allow(clippy::cast_precision_loss)]
    let draws = |outcome: &Outcome| outcome.draws as f64;
    [
        Col::new("Tag", 24.0, |line| styles.strong.of(line.tag)),
        Col::new("Requirement", 46.0, |line| styles.wrapped.of(&line.requirement.label)),
        Col::new("Unit", 11.0, |line| text.of(line.shown(styles).0)),
        Col::new("Draws", 12.0, move |line| styles.count.of(draws(outcome(line)?))),
        Col::new("Stable", 12.0, move |line| text.of(settled(outcome(line)?))),
        Col::new("Mean", 13.0, move |line| figure(line, |o| o.mean)),
        Col::new("Standard uncertainty", 13.0, move |line| figure(line, |o| o.standard)),
        Col::new(&heads[0], 13.0, move |line| figure(line, |o| o.symmetric[0])),
        Col::new("to", 13.0, move |line| figure(line, |o| o.symmetric[1])),
        Col::new(&heads[1], 13.0, move |line| figure(line, |o| o.shortest[0])),
        Col::new("to", 13.0, move |line| figure(line, |o| o.shortest[1])),
        Col::new("Conforms", 13.0, move |line| chance(line, |c| c.conforming)),
        Col::new("Below", 13.0, move |line| chance(line, |c| c.below)),
        Col::new("Above", 13.0, move |line| chance(line, |c| c.above)),
        Col::new("Limits", 18.0, move |line| drawn(line, text.of(line.limits()))),
        Col::new("Taken as normal (correlated)", 34.0, move |line| {
            drawn(line, styles.wrapped.of(&line.normal))
        }),
    ]
}

pub(super) fn sheet(job: &Job, analysed: &[Analysed], styles: &Styles) -> Written<Worksheet> {
    let lead = "Every contributor drawn at random (JCGM 101), until two digits of the standard uncertainty are stable. These figures do not follow changes on Stack-up: run the program again.";
    let mut page = Page::begin(NAME, NAME, lead, styles)?;
    let level = level_of_draws(job.policy.coverage) * 100.0;
    let intervals =
        ["Symmetric", "Shortest"].map(|kind| format!("{kind} interval, {level:.2} %: from"));
    let columns = columns(styles, &intervals);
    table::widths(&mut page.sheet, &columns)?;
    page.high(62.0)?;
    page.headings(&columns)?;
    let mut drawn: Vec<(String, &Outcome)> = Vec::new();
    for one in analysed {
        let pump = &job.pumps[one.pump];
        let stack = stack(job, pump, &one.packs);
        for (requirement, outcome) in pump.requirements.iter().zip(&one.draws) {
            match outcome {
                Ok(outcome) => {
                    drawn.push((format!("{}: {}", pump.tag, requirement.label), outcome));
                }
                Err(why) => {
                    let why = format!("cannot be drawn: {why}");
                    page.cells(3, [over(13, styles.alarm.of(why))])?;
                }
            }
            let line = DrawnRequirement {
                tag: &pump.tag,
                requirement,
                unit: job.model_of(pump).unit,
                drawn: outcome,
                normal: taken_as_normal(&requirement.form, &stack).join(", "),
            };
            page.put(&columns, &line)?;
        }
    }
    page.row += 1;
    pictures(&mut page, &drawn)?;
    let row = page.row;
    page.printed(row, 15)
}

/// A histogram of each, two beside each other.
fn pictures(page: &mut Page<'_>, drawn: &[(String, &Outcome)]) -> Written {
    if drawn.len() > MOST_PICTURES {
        let remark = "Too many requirements for pictures; name some pumps with --pump.";
        page.sheet.write_text(page.row, 0, remark, &page.styles.remark)?;
        return Ok(());
    }
    // Each picture's classes have two columns of their own.
    for ((title, outcome), data) in drawn.iter().zip((DATA..).step_by(2)) {
        classes(page, data, outcome)?;
        let is_left = (data - DATA).is_multiple_of(4);
        page.sheet.insert_chart(page.row, if is_left { 0 } else { 6 }, &picture(title, data))?;
        page.row += if is_left { 0 } else { PICTURE + 1 };
    }
    page.row += if drawn.len() % 2 == 1 { PICTURE + 1 } else { 0 };
    Ok(())
}

/// Writes the classes of a histogram into two columns.
fn classes(page: &mut Page<'_>, column: u16, outcome: &Outcome) -> Written {
    let histogram = &outcome.histogram;
    #[allow(clippy::cast_precision_loss)]
    let (width, draws) = ((histogram.to - histogram.from) / CLASSES as f64, outcome.draws as f64);
    for (row, count) in (0_u32..).zip(histogram.counts) {
        let middle = histogram.from + width * (f64::from(row) + 0.5);
        #[allow(clippy::cast_precision_loss)]
        let share = count as f64 / draws;
        let remark = &page.styles.remark;
        table::cells(&mut page.sheet, (row, column), [remark.of(middle), remark.of(share)])?;
    }
    Ok(())
}

fn picture(title: &str, data: u16) -> Chart {
    let last = u32::try_from(CLASSES).unwrap_or(1) - 1;
    let figures = Figures { sheet: NAME, rows: [0, last], from: data };
    let mut chart = Chart::new(ChartType::Column);
    let series = figures.series(&mut chart, "share of draws", 1);
    series.set_gap(5).set_format(&mut fill(VALUES));
    let title = chart_name(title);
    chart.title().set_name(&title);
    chart.title().set_font(ChartFont::new().set_size(10).set_bold());
    chart.legend().set_position(ChartLegendPosition::Bottom);
    chart.x_axis().set_num_format("0.0000");
    chart.y_axis().set_num_format("0.0 %");
    chart.set_width(690).set_height(340);
    chart.set_alt_text(chart_name(&format!("Histogram of the draws of {title}")));
    chart
}
