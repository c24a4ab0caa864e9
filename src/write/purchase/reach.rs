//! The Reach sheet: drawer by drawer, the share of its range that can be met against the number of
//! pieces, today and after the purchase, and which thicknesses would suffice.

use rust_xlsxwriter::{
    Chart, ChartLegendPosition, ChartLineDashType, ChartMarkerType, ChartType, Workbook,
};

use super::Ordered;
use crate::job::Job;
use crate::length::{Length, Unit};
use crate::reorder::shelf::Shelf;
use crate::size_range::{Change, Choice, Reach, WindowGuard};
use crate::stock::Item;
use crate::words;
use crate::write::page::{Page, Written};
use crate::write::pages::{Pages, Series, put};
use crate::write::picture::{Figures, line, mark};
use crate::write::style::{INK, LIMITS, Styles, VALUES, lines};
use crate::write::table::{Cells, Column, over};
use crate::write::text::chart_name;

const NAME: &str = "Reach";
const WIDTHS: [f64; 9] = [18.0, 16.0, 14.0, 14.0, 18.0, 18.0, 18.0, 18.0, 18.0];
/// Rows that a picture covers.
const PICTURE: u32 = 15;

pub(super) fn add(workbook: &mut Workbook, ordered: &Ordered<'_>, styles: &Styles) -> Written {
    let begin = |page: &mut Page<'_>, _: &str| {
        page.widths(&WIDTHS)?;
        let title = "Reach: which thicknesses to stock";
        page.title(title, "Any number of pieces of each thickness is assumed: the question is which to stock, not how many.")
    };
    let last_column = u16::try_from(WIDTHS.len() - 1).ok();
    let series = Series { name: NAME, begin: &begin, last_column };
    let mut pages = Pages::begin(Some(&mut *workbook), &series, styles)?;
    for shelf in &ordered.report.shelves {
        pages.turn(1)?;
        let (name, page) = (pages.name(), &mut pages.page);
        match shelf {
            Ok(shelf) => drawer(page, &name, ordered.job, shelf)?,
            Err((kind, fit, fault)) => {
                page.part(format!("{kind}, fit {fit}"))?;
                page.across(&format!("Not worked out: {fault}."), &styles.prose, None)?;
                page.row += 1;
            }
        }
    }
    if ordered.report.shelves.is_empty() {
        pages.page.text("No drawer is used by these pumps.", &styles.plain)?;
    }
    let sheets = pages.finish(|_| {})?;
    put(workbook, sheets);
    Ok(())
}

/// The unit that a drawer's thicknesses are shown in.
pub(crate) fn unit_of(job: &Job, shelf: &Shelf) -> Unit {
    let metric = shelf
        .items
        .iter()
        .filter_map(|&item| job.stock[item].size)
        .filter(|size| words::natural_unit(size.thickness) == Unit::Millimetre);
    match metric.count() * 2 > shelf.items.len() {
        true => Unit::Millimetre,
        false => Unit::Inch,
    }
}

fn drawer(page: &mut Page<'_>, sheet: &str, job: &Job, shelf: &Shelf) -> Written {
    let Styles { prose, count, percent, wrapped, bold, .. } = page.styles;
    let unit = unit_of(job, shelf);
    let rule = shelf.asked.rule;
    let name = format!("{}, fit {}", shelf.kind, shelf.fit);
    page.part(&name)?;
    let guard = match rule.guard {
        WindowGuard::None => "nominal totals count",
        WindowGuard::WorstCase => "with every piece anywhere in its tolerance",
        WindowGuard::RootSumSquare => "kept clear by the root sum square of the pieces' tolerances",
    };
    let first = shelf.asked.targets.at(0);
    let last = shelf.asked.targets.at(shelf.asked.targets.len() - 1);
    let text = format!(
        "Totals from {} to {}, {} in all; a total is met by a stack of at most {} pieces within {} of it, {guard}.",
        first.show(unit),
        words::length(last, unit),
        shelf.asked.targets.len(),
        rule.pieces,
        words::length(rule.window, unit)
    );
    page.across(&text, prose, 32.0)?;
    let top = page.row;
    page.high(32.0)?;
    let heads =
        ["Pieces in one pump, at most", "Met today", "After the purchase", "All thicknesses"];
    page.heads(&heads)?;
    for pieces in 1..=rule.pieces {
        let met = |reach: &Reach| percent.of(reach.share(pieces));
        page.line([count.of(pieces), met(&shelf.today), met(&shelf.after), met(&shelf.all)])?;
    }
    let figures = Figures { sheet, rows: [top + 1, page.row - 1], from: 0 };
    page.sheet.insert_chart(top, 4, &picture(&figures, &name))?;
    page.row = page.row.max(top + PICTURE);
    let missed = [
        ("Missed today", shelf.today.missed()),
        ("Missed after the purchase", shelf.after.missed()),
        ("Missed with all thicknesses", shelf.all.missed()),
    ];
    let missed = missed.map(|(label, missed)| match missed.is_empty() {
        true => (label, "none".to_string()),
        false => (label, format!("{}: {}", missed.len(), runs(&missed, step(shelf), unit))),
    });
    let choices = [
        ("Fewest thicknesses with the reach of all", &shelf.fewest),
        ("Least cost, one sealed pack of each", &shelf.cheapest),
    ];
    let choices = choices.map(|(label, choice)| (label, chosen(job, shelf, choice, unit)));
    for (label, text) in missed.into_iter().chain(choices) {
        page.high(16.0 * lines(&[(&text, 105)], [2, 25]))?;
        page.line([over(2, bold.of(label)), over(page.last - 1, wrapped.of(text))])?;
    }
    page.row += 1;
    changes(page, job, shelf)
}

/// The step of a drawer's totals.
fn step(shelf: &Shelf) -> Length {
    let targets = &shelf.asked.targets;
    match targets.len() {
        0 | 1 => Length::from_ticks(1),
        _ => targets.at(1) - targets.at(0),
    }
}

/// Lengths as runs of steps: `0.0180 to 0.0190, 0.0230 in`; cut off where there are very many.
pub(super) fn runs(lengths: &[Length], step: Length, unit: Unit) -> String {
    const MOST_RUNS: usize = 60;
    let mut runs: Vec<(Length, Length)> = Vec::new();
    for &length in lengths {
        match runs.last_mut() {
            Some((_, last)) if *last + step == length => *last = length,
            _ => runs.push((length, length)),
        }
    }
    let shown: Vec<String> = runs
        .iter()
        .take(MOST_RUNS)
        .map(|(first, last)| match first == last {
            true => first.show(unit).to_string(),
            false => format!("{} to {}", first.show(unit), last.show(unit)),
        })
        .collect();
    let more = match runs.len().saturating_sub(MOST_RUNS) {
        0 => String::new(),
        more => format!(" and {more} more stretches"),
    };
    format!("{} {}{more}", shown.join(", "), unit.symbol())
}

fn chosen(job: &Job, shelf: &Shelf, choice: &Choice, unit: Unit) -> String {
    let items = choice.sizes.iter().map(|&size| {
        let item = &job.stock[shelf.items[size]];
        let thickness =
            item.size.map_or(String::new(), |size| format!(" ({})", size.thickness.show(unit)));
        format!("{}{thickness}", item.item)
    });
    let items: Vec<String> = items.collect();
    let proof = match choice.proven {
        true => "proven".to_string(),
        false => format!(
            "not proven: no set has fewer than {} or costs less than {}",
            choice.least_sizes,
            words::money(choice.least_cost.raw(), job)
        ),
    };
    let free: Vec<&str> = shelf
        .items
        .iter()
        .filter(|&&item| job.stock[item].offer.unit_cost.is_none())
        .map(|&item| job.stock[item].item.as_str())
        .collect();
    let proof = match free.is_empty() {
        true => proof,
        false => format!("{proof} with {} counted as free (no price)", free.join(", ")),
    };
    format!(
        "{} thickness{}, {}, {proof}: {}",
        choice.sizes.len(),
        if choice.sizes.len() == 1 { "" } else { "es" },
        words::money(choice.cost.raw(), job),
        items.join(", ")
    )
}

/// A thickness with what it does to drop or to add it.
struct SizeChange<'a> {
    item: &'a Item,
    is_held: bool,
    change: &'a Change,
}

impl SizeChange<'_> {
    /// The mean of a sum over the totals that are met either way.
    #[expect(clippy::cast_precision_loss, reason = "counts are far below 2^53")]
    fn mean(&self, sum: u64) -> f64 {
        sum as f64 / self.change.both.max(1) as f64
    }

    fn tolerances(&self, unit: Unit) -> String {
        let both = i64::try_from(self.change.both.max(1)).unwrap_or(1);
        let guards = [self.change.before_sums.guard, self.change.after_sums.guard];
        let guards = guards.map(|guard| Length::from_ticks(guard.ticks() / both).to_f64(unit));
        format!("{} {unit}", guards.map(|guard| format!("{guard:.5}")).join(", "))
    }
}

type Col<'s> = Column<'s, SizeChange<'s>>;

/// The effect of dropping or adding one thickness.
fn changes(page: &mut Page<'_>, job: &Job, shelf: &Shelf) -> Written {
    let unit = unit_of(job, shelf);
    let Styles { strong, text, count, number, .. } = page.styles;
    let pieces = &number.clone().set_num_format("0.00");
    let mean = |line: &SizeChange<'_>, sum: u64| pieces.owned(line.mean(sum));
    let shown =
        move |line: &SizeChange<'_>| line.item.size.map(|s| words::length(s.thickness, unit));
    let held = |line: &SizeChange<'_>| {
        if line.is_held { ["held", "dropped"] } else { ["not held", "added"] }
    };
    let columns = [
        Col::of("Item", |line| strong.of(&line.item.item)),
        Col::of("Thickness", move |line| text.of(shown(line).unwrap_or_default())),
        Col::of("After the purchase", move |line| text.of(held(line)[0])),
        Col::of("If it were", move |line| text.of(held(line)[1])),
        Col::of("Totals lost", |line| count.of(line.change.lost.len())),
        Col::of("Totals gained", |line| count.of(line.change.gained.len())),
        Col::of("Pieces in one pump", move |line| mean(line, line.change.before_sums.pieces)),
        Col::of("Pieces in one pump, then", move |line| mean(line, line.change.after_sums.pieces)),
        Col::of("Tolerance of the stack: now, then", move |line| text.of(line.tolerances(unit))),
    ];
    page.high(46.0)?;
    page.headings(&columns)?;
    for (index, is_held, change) in &shelf.changes {
        let item = &job.stock[shelf.items[*index]];
        page.put(&columns, &SizeChange { item, is_held: *is_held, change })?;
    }
    let text = "Pieces and tolerance are means over the totals that are met either way.";
    page.text(text, &page.styles.remark)?;
    page.row += 1;
    Ok(())
}

/// Share met against pieces: three lines that marker and dash tell apart without colour.
fn picture(figures: &Figures<'_>, name: &str) -> Chart {
    let lines = [
        (1, "Today", LIMITS, ChartLineDashType::Dash, ChartMarkerType::Square),
        (2, "After the purchase", VALUES, ChartLineDashType::Solid, ChartMarkerType::Circle),
        (3, "All thicknesses", INK, ChartLineDashType::RoundDot, ChartMarkerType::Triangle),
    ];
    let mut chart = Chart::new(ChartType::Line);
    for (column, label, colour, dash, shape) in lines {
        figures
            .series(&mut chart, label, column)
            .set_format(&mut line(colour, 2.0, dash))
            .set_marker(&mark(shape, 7, colour));
    }
    let title = chart_name(&format!("{name}: share of the range that can be met"));
    chart.title().set_name(&title);
    chart.x_axis().set_name("Pieces in one pump, at most");
    chart.y_axis().set_min(0).set_max(1).set_num_format("0 %");
    chart.legend().set_position(ChartLegendPosition::Bottom);
    chart.set_width(630).set_height(280);
    chart.set_alt_text(&title);
    chart
}
