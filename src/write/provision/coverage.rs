//! The Coverage sheet: a picture of what can be met along each range, and the gaps in words.

use rust_xlsxwriter::{
    Chart, ChartFormat, ChartRange, ChartSolidFill, ChartType, Color, Format, FormatAlign,
    Worksheet, XlsxError,
};

use super::super::style::{LIMITS, Styles, VALUES, heads, set_up, title, widths};
use super::super::text::WriteText;
use super::{Provided, high_enough};
use crate::length::Length;
use crate::provision::SafeKit;
use crate::words;
use crate::words::provision as said;

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
    /// What stands in the cell: told apart by shape as well as by colour.
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
            .set_border(rust_xlsxwriter::FormatBorder::Thin)
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

pub(super) fn write(
    sheet: &mut Worksheet,
    provided: &Provided<'_>,
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let (job, safe) = (provided.outlook.job(), &provided.provision.safe);
    set_up(sheet, NAME, date)?;
    title(
        sheet,
        "Coverage: what the drawers can meet along each range",
        "One row a range, its low end left and its high end right. What lies between two values that were looked at was not looked at.",
        styles,
    )?;
    let rows: Vec<(usize, usize, Vec<Met>, usize)> = safe
        .iter()
        .enumerate()
        .flat_map(|(pump, kit)| (0..kit.axes.len()).map(move |axis| (pump, axis)))
        .map(|(pump, axis)| {
            let (met, each) = cells(&safe[pump], axis);
            (pump, axis, met, each)
        })
        .collect();
    let longest = rows.iter().map(|(_, _, met, _)| met.len()).max().unwrap_or(0);
    let columns = u16::try_from(longest.max(LEAST_CELLS)).unwrap_or(60);
    widths(sheet, &[13.0, 26.0, 11.0, 11.0, 10.0, 9.0])?;
    for column in BEFORE..BEFORE + columns {
        sheet.set_column_width(column, (110.0 / f64::from(columns)).clamp(1.9, 4.2))?;
    }
    let last = BEFORE + columns - 1;
    legend(sheet, 2, last, styles)?;
    let names = ["Tag", "Dimension", "From", "To", "Covered", "Values in a cell"];
    heads(sheet, 4, &names, styles)?;
    sheet.merge_text(4, BEFORE, 4, last, "From low to high", &styles.head)?;
    sheet.set_row_height(4, 31.0)?;
    sheet.set_repeat_rows(4, 4)?;
    let mut row = 4;
    for (pump, axis, met, each) in &rows {
        row += 1;
        let (kit, of) = (&safe[*pump], &job.pumps[*pump]);
        let model = job.model_of(of);
        let axis = &kit.axes[*axis];
        let label = &model.dimensions[axis.dimension].label;
        sheet.write_text(row, 0, &of.tag, &styles.strong.clone().set_text_wrap())?;
        sheet.write_text(row, 1, label, &styles.wrapped)?;
        let ends = [axis.values.first(), axis.values.last()];
        for (column, end) in (2..).zip(ends) {
            let shown = words::length(end.copied().unwrap_or(Length::ZERO), model.unit);
            sheet.write_text(row, column, shown, &styles.text)?;
        }
        sheet.write_number_with_format(row, 4, covered(kit), &styles.percent)?;
        let each = u32::try_from(*each).unwrap_or(u32::MAX);
        sheet.write_number_with_format(row, 5, each, &styles.count)?;
        for (column, met) in (BEFORE..).zip(met) {
            sheet.write_text(row, column, met.mark(), &met.format())?;
        }
        high_enough(sheet, row, &[(label, 24), (&of.tag, 11)])?;
    }
    if rows.is_empty() {
        row += 1;
        let text = "Every pump is measured: there is no range to cover.";
        sheet.write_text(row, 0, text, &styles.plain)?;
    }
    row = gaps(sheet, provided, row + 2, last, styles)?;
    row = chart(sheet, provided, row + 2, last, styles)?;
    sheet.set_print_area(0, 0, row, last)?;
    Ok(())
}

/// The share of a pump's values that can be met.
#[allow(clippy::cast_precision_loss)]
fn covered(kit: &SafeKit) -> f64 {
    1.0 - kit.gaps() as f64 / kit.values().max(1) as f64
}

fn legend(sheet: &mut Worksheet, row: u32, last: u16, styles: &Styles) -> Result<(), XlsxError> {
    let marks = [
        (Met::All, "every value of the cell can be met"),
        (Met::Some, "some can, depending on the value or on another dimension"),
        (Met::Nothing, "GAP: nothing in the drawers will do"),
    ];
    let text = marks.map(|(met, words)| format!("{}  {words}", met.mark())).join("      ");
    sheet.merge_text(row, 0, row, last, &text, &styles.prose)?;
    Ok(())
}

/// The gaps in words with their values beside; the last row written.
fn gaps(
    sheet: &mut Worksheet,
    provided: &Provided<'_>,
    start: u32,
    last: u16,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    let (job, safe) = (provided.outlook.job(), &provided.provision.safe);
    sheet.write_text(start, 0, "Gaps", &styles.part)?;
    let mut row = start + 1;
    if safe.iter().all(|kit| kit.gaps() == 0) {
        let text = "None: every value that was looked at can be met.";
        sheet.write_text(row, 0, text, &styles.plain)?;
        return Ok(row);
    }
    heads(sheet, row, &["Tag", "Dimension", "From", "To", "Values", "of"], styles)?;
    sheet.merge_text(row, BEFORE, row, last, "In words", &styles.head)?;
    let room = usize::from(last - BEFORE + 1) * 3;
    let (mut told, mut more) = (0, 0);
    for (pump, kit) in safe.iter().enumerate() {
        let model = job.model_of(&job.pumps[pump]);
        let runs = said::runs(kit).into_iter().filter(|run| run.take.is_none());
        for (run, sentence) in runs.zip(said::gaps(job, pump, kit)) {
            if told == MOST_GAPS {
                more += 1;
                continue;
            }
            told += 1;
            row += 1;
            let tag = &job.pumps[pump].tag;
            sheet.write_text(row, 0, tag, &styles.strong.clone().set_text_wrap())?;
            let mut label = String::new();
            let axes = kit.axes.iter().zip(&run.ranges);
            match (&kit.axes[..], &run.ranges[..]) {
                ([axis], [[from, to]]) => {
                    label.clone_from(&model.dimensions[axis.dimension].label);
                    sheet.write_text(row, 1, &label, &styles.wrapped)?;
                    for (column, end) in [(2, from), (3, to)] {
                        let shown = words::length(*end, model.unit);
                        sheet.write_text(row, column, shown, &styles.text)?;
                    }
                }
                _ => {
                    let labels =
                        axes.map(|(axis, _)| model.dimensions[axis.dimension].label.as_str());
                    let labels = labels.collect::<Vec<_>>().join("; ");
                    sheet.merge_text(row, 1, row, 3, &labels, &styles.wrapped)?;
                }
            }
            for (column, count) in [(4, run.values), (5, kit.values())] {
                let count = u32::try_from(count).unwrap_or(u32::MAX);
                sheet.write_number_with_format(row, column, count, &styles.count)?;
            }
            let text = format!("{sentence}.");
            sheet.merge_text(row, BEFORE, row, last, &text, &styles.wrapped)?;
            high_enough(sheet, row, &[(&text, room), (&label, 24), (tag, 11)])?;
        }
    }
    if more > 0 {
        row += 1;
        let text = format!("and {more} gaps more: they stand in the file that --json writes");
        sheet.write_text(row, 0, text, &styles.remark)?;
    }
    row += 1;
    let advice = "A gap is closed by a thickness that the drawers do not have, by another fit of the gasket, or by other limits: ask before the outage, not in it. `gapwright kit` says why once the pump is measured.";
    sheet.merge_text(row, 0, row, last, advice, &styles.prose)?;
    high_enough(sheet, row, &[(advice, 150)])?;
    Ok(row)
}

/// The share of each pump's values that is covered, as a chart; the last row that it takes.
fn chart(
    sheet: &mut Worksheet,
    provided: &Provided<'_>,
    row: u32,
    last: u16,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    let (job, safe) = (provided.outlook.job(), &provided.provision.safe);
    let kits = safe.iter().enumerate().filter(|(_, kit)| !kit.axes.is_empty());
    let kits: Vec<_> = kits.collect();
    if kits.is_empty() || kits.len() > MOST_BARS {
        return Ok(row);
    }
    // The figures stand right of what is printed.
    let at = last + 2;
    sheet.write_text(row, at, "Tag", &styles.remark)?;
    sheet.write_text(row, at + 1, "Covered", &styles.remark)?;
    let mut end = row;
    for (pump, kit) in &kits {
        end += 1;
        sheet.write_text(end, at, &job.pumps[*pump].tag, &styles.remark)?;
        sheet.write_number_with_format(end, at + 1, covered(kit), &styles.remark)?;
    }
    let range = |column: u16| ChartRange::new_from_range(NAME, row + 1, column, end, column);
    let mut chart = Chart::new(ChartType::Column);
    chart
        .add_series()
        .set_name("Share of the values that can be met")
        .set_categories(&range(at))
        .set_values(&range(at + 1))
        .set_gap(60)
        .set_format(ChartFormat::new().set_solid_fill(ChartSolidFill::new().set_color(VALUES)));
    chart.title().set_name("Share of each pump's values that the drawers can meet");
    chart.legend().set_hidden();
    chart.y_axis().set_min(0).set_max(1).set_num_format("0 %");
    chart.set_width(1000).set_height(280);
    chart.set_alt_text("Share of each pump's expected values that the drawers can meet");
    sheet.insert_chart(row, 0, &chart)?;
    Ok(row + 15)
}
