//! The Coverage sheet: a picture of what can be met along each range, and the gaps in words.

use rust_xlsxwriter::{Chart, ChartType, Color, Format, FormatAlign, FormatBorder, Worksheet};

use super::super::page::{Page, Written};
use super::super::picture::{Figures, fill};
use super::super::style::{LIMITS, Styles, VALUES};
use super::super::table::{self, Cells, Column, over};
use super::{Provided, height};
use crate::job::Job;
use crate::length::{Length, Unit};
use crate::provision::{Axis, SafeKit};
use crate::pump::Pump;
use crate::words;
use crate::words::provision::{self as said, Run};

const NAME: &str = "Coverage";
/// Columns before the picture.
const BEFORE: u16 = 6;
/// Cells of one range at most; of a longer one several values stand in a cell.
const MOST_CELLS: usize = 60;
/// Fewest columns of the picture, so that the words below have room.
const LEAST_CELLS: usize = 20;
/// Gaps that are told one by one; the rest is in the JSON.
const MOST_GAPS: usize = 300;
/// More pumps than this make no readable chart.
const MOST_BARS: usize = 60;

/// How much of a stretch can be met.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Met {
    All,
    Some,
    Nothing,
}

impl Met {
    /// The mark in the cell: told apart by shape as well as by colour.
    fn mark(self) -> &'static str {
        match self {
            Met::All => "o",
            Met::Some => "/",
            Met::Nothing => "X",
        }
    }

    fn format(self) -> Format {
        let format = Format::new()
            .set_align(FormatAlign::Center)
            .set_align(FormatAlign::VerticalCenter)
            .set_font_size(9)
            .set_border(FormatBorder::Thin)
            .set_border_color(Color::White);
        match self {
            Met::All => format.set_background_color(Color::RGB(0xCF_E0_F2)).set_font_color(VALUES),
            Met::Some => format
                .set_background_color(Color::RGB(0xFB_E3_C8))
                .set_font_color(LIMITS)
                .set_bold(),
            Met::Nothing => {
                format.set_background_color(LIMITS).set_font_color(Color::White).set_bold()
            }
        }
    }
}

/// The cells of one axis of a kit, and how many values of the axis stand in one.
fn cells(kit: &SafeKit, axis: usize) -> (Vec<Met>, usize) {
    let values = kit.axes[axis].values.len();
    let behind: usize = kit.axes[axis + 1..].iter().map(|a| a.values.len()).product();
    let each = values.div_ceil(MOST_CELLS).max(1);
    let mut counts = vec![(0_usize, 0_usize); values.div_ceil(each)];
    for (number, value) in kit.iter().enumerate() {
        let at = number / behind.max(1) % values;
        let (met, all) = &mut counts[at / each];
        *met += usize::from(value.take.is_some());
        *all += 1;
    }
    let met = counts.into_iter().map(|(met, all)| match met {
        0 => Met::Nothing,
        met if met == all => Met::All,
        _ => Met::Some,
    });
    (met.collect(), each)
}

/// A range of a pump with what can be met along it.
struct Range<'a> {
    pump: &'a Pump,
    unit: Unit,
    kit: &'a SafeKit,
    axis: &'a Axis,
    label: &'a str,
    met: Vec<Met>,
    each: usize,
}

impl Range<'_> {
    fn end(&self, end: Option<&Length>) -> String {
        words::length(end.copied().unwrap_or(Length::ZERO), self.unit)
    }
}

type Col<'s> = Column<'s, Range<'s>>;

fn columns(styles: &Styles) -> [Col<'_>; 6] {
    let Styles { text, bold, wrapped, percent, count, .. } = styles;
    [
        Col::new("Tag", 13.0, |range| bold.of(&range.pump.tag)),
        Col::new("Dimension", 26.0, |range| wrapped.of(range.label)),
        Col::new("From", 11.0, |range| text.of(range.end(range.axis.values.first()))),
        Col::new("To", 11.0, |range| text.of(range.end(range.axis.values.last()))),
        Col::new("Covered", 10.0, |range| percent.of(covered(range.kit))),
        Col::new("Values in a cell", 9.0, |range| count.of(range.each)),
    ]
}

/// The ranges of all pumps.
fn ranges<'a>(provided: &'a Provided<'_>) -> Vec<Range<'a>> {
    let job = provided.outlook.job();
    let kits = job.pumps.iter().zip(&provided.provision.safe);
    let ranges = kits.flat_map(|(pump, kit)| {
        let model = job.model_of(pump);
        kit.axes.iter().enumerate().map(move |(at, axis)| {
            let (met, each) = cells(kit, at);
            let label = &model.dimensions[axis.dimension].label;
            Range { pump, unit: model.unit, kit, axis, label, met, each }
        })
    });
    ranges.collect()
}

pub(super) fn sheet(provided: &Provided<'_>, styles: &Styles) -> Written<Worksheet> {
    let title = "Coverage: values of each range that the stock can meet";
    let lead = "One row per range, low end at the left, high end at the right. Values between two examined values were not examined.";
    let mut page = Page::begin(NAME, title, lead, styles)?;
    let ranges = ranges(provided);
    let longest = ranges.iter().map(|range| range.met.len()).max().unwrap_or(0);
    let cells = u16::try_from(longest.max(LEAST_CELLS)).unwrap_or(60);
    let columns = columns(styles);
    table::widths(&mut page.sheet, &columns)?;
    for column in BEFORE..BEFORE + cells {
        page.sheet.set_column_width(column, (110.0 / f64::from(cells)).clamp(1.9, 4.2))?;
    }
    page.last = BEFORE + cells - 1;
    page.row = 2;
    page.across(&legend(), &styles.prose, None)?;
    page.row = 4;
    page.cells(BEFORE, [over(cells, styles.head.of("From low to high"))])?;
    page.high(31.0)?;
    page.repeat()?;
    page.headings(&columns)?;
    let looks = [Met::All, Met::Some, Met::Nothing].map(Met::format);
    for range in &ranges {
        page.high(height(&[(range.label, 24), (&range.pump.tag, 11)]))?;
        page.put(&columns, range)?;
        page.behind(BEFORE, range.met.iter().map(|met| looks[*met as usize].of(met.mark())))?;
    }
    if ranges.is_empty() {
        page.text("Every pump is measured: there is no range to cover.", &styles.plain)?;
    }
    page.row += 1;
    gaps(&mut page, provided)?;
    page.row += 1;
    chart(&mut page, provided)?;
    let (row, column) = (page.row, page.last);
    page.printed(row, column)
}

/// The share of a pump's values that can be met.
#[allow(clippy::cast_precision_loss)]
fn covered(kit: &SafeKit) -> f64 {
    1.0 - kit.gaps() as f64 / kit.values().max(1) as f64
}

fn legend() -> String {
    let marks = [
        (Met::All, "every value of the cell can be met"),
        (Met::Some, "some can, depending on the value or on another dimension"),
        (Met::Nothing, "GAP: no pieces in stock fit"),
    ];
    marks.map(|(met, words)| format!("{}  {words}", met.mark())).join("      ")
}

/// A gap of a pump.
struct Gap<'a> {
    tag: &'a str,
    /// Its dimension, or all of them where it lies in several.
    label: String,
    /// Its ends, where it lies in one dimension.
    ends: Option<[String; 2]>,
    values: usize,
    of: usize,
    text: String,
}

type Words<'s> = Column<'s, Gap<'s>>;

/// The gaps in words with their values beside.
fn gaps(page: &mut Page<'_>, provided: &Provided<'_>) -> Written {
    let (job, safe) = (provided.outlook.job(), &provided.provision.safe);
    let Styles { text, bold, wrapped, count, remark, prose, .. } = page.styles;
    page.part("Gaps")?;
    if safe.iter().all(|kit| kit.gaps() == 0) {
        let none = "None: all values can be met.";
        return page.text(none, &page.styles.plain);
    }
    let words = page.last - BEFORE + 1;
    let columns = [
        Words::of("Tag", |gap| bold.of(gap.tag)),
        Words::of("Dimension", |gap| match gap.ends {
            Some(_) => wrapped.of(&gap.label),
            None => over(3, wrapped.of(&gap.label)),
        }),
        Words::of("From", |gap| text.of(&gap.ends.as_ref()?[0])),
        Words::of("To", |gap| text.of(&gap.ends.as_ref()?[1])),
        Words::of("Values", |gap| count.of(gap.values)),
        Words::of("of", |gap| count.of(gap.of)),
        Words::of("In words", |gap| wrapped.of(&gap.text)).over(words),
    ];
    page.headings(&columns)?;
    let gaps = safe.iter().enumerate().flat_map(|(pump, kit)| {
        let runs = said::runs(kit).into_iter().filter(|run| run.take.is_none());
        let gaps = runs.zip(said::gaps(job, pump, kit));
        gaps.map(move |(run, sentence)| gap(&job.pumps[pump], job, kit, &run, &sentence))
    });
    let gaps: Vec<Gap<'_>> = gaps.collect();
    for gap in gaps.iter().take(MOST_GAPS) {
        let label = if gap.ends.is_some() { &*gap.label } else { "" };
        page.high(height(&[(&gap.text, usize::from(words) * 3), (label, 24), (gap.tag, 11)]))?;
        page.put(&columns, gap)?;
    }
    if let Some(more @ 1..) = gaps.len().checked_sub(MOST_GAPS) {
        let text = format!("and {more} more gaps: see the file that --json writes");
        page.text(text, remark)?;
    }
    let advice = "To close a gap, buy another thickness, fit another gasket or have the limits changed, and ask before the outage. Once the pump is measured, `gapwright kit` says why.";
    page.across(advice, prose, height(&[(advice, 150)]))
}

fn gap<'a>(pump: &'a Pump, job: &Job, kit: &SafeKit, run: &Run<'_>, sentence: &str) -> Gap<'a> {
    let model = job.model_of(pump);
    let labels = kit.axes.iter().map(|axis| model.dimensions[axis.dimension].label.as_str());
    let ends = match run.ranges[..] {
        [ends] => Some(ends.map(|end| words::length(end, model.unit))),
        _ => None,
    };
    Gap {
        tag: &pump.tag,
        label: labels.collect::<Vec<_>>().join("; "),
        ends,
        values: run.values,
        of: kit.values(),
        text: format!("{sentence}."),
    }
}

/// The share of each pump's values that is covered, as a chart.
fn chart(page: &mut Page<'_>, provided: &Provided<'_>) -> Written {
    let kits = provided.outlook.job().pumps.iter().zip(&provided.provision.safe);
    let kits: Vec<_> = kits.filter(|(_, kit)| !kit.axes.is_empty()).collect();
    if kits.is_empty() || kits.len() > MOST_BARS {
        return Ok(());
    }
    // The figures stand right of what is printed.
    let (row, from, remark) = (page.row, page.last + 2, &page.styles.remark);
    let rows = kits.iter().map(|(pump, kit)| [remark.of(&pump.tag), remark.of(covered(kit))]);
    let last = page.figures(from, ["Tag", "Covered"], rows)?;
    let figures = Figures { sheet: NAME, rows: [row + 1, last], from };
    let mut chart = Chart::new(ChartType::Column);
    let series = figures.series(&mut chart, "Share of the values that can be met", 1);
    series.set_gap(60).set_format(&mut fill(VALUES));
    chart.title().set_name("Share of each pump's values that the stock can meet");
    chart.legend().set_hidden();
    chart.y_axis().set_min(0).set_max(1).set_num_format("0 %");
    chart.set_width(1000).set_height(280);
    chart.set_alt_text("Share of each pump's expected values that the stock can meet");
    page.sheet.insert_chart(row, 0, &chart)?;
    page.row += 15;
    Ok(())
}
