//! The Safe kits: per pump its pieces, and what to take when it measures so or so.

use rust_xlsxwriter::{Worksheet, XlsxError};

use super::super::style::{Styles, heads, set_up, title, widths};
use super::super::text::WriteText;
use super::{Provided, high_enough, money};
use crate::words::provision::{self as words, Run};

/// The last column.
const LAST: u16 = 7;
/// Lines of one pump's table; more are in the JSON.
const MOST_RUNS: usize = 300;

pub(super) fn write(
    sheet: &mut Worksheet,
    provided: &Provided<'_>,
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    set_up(sheet, "Safe kits", date)?;
    widths(sheet, &[24.0, 14.0, 9.0, 20.0, 13.0, 10.0, 12.0, 34.0])?;
    title(
        sheet,
        "Safe kits: for each pump what meets every value it may come to",
        "The tables say what would do; nothing is fitted by them. Measure the pump, run `gapwright kit`, measure the finished pack, recheck.",
        styles,
    )?;
    let mut row = 2;
    let mut breaks = Vec::new();
    // Pumps that are measured already stand together behind the others, one line each.
    let kits = provided.provision.safe.iter().enumerate();
    let (expected, measured): (Vec<_>, Vec<_>) = kits.partition(|(_, kit)| !kit.axes.is_empty());
    for (pump, _) in expected {
        if row > 2 {
            breaks.push(row + 1);
        }
        row = one_pump(sheet, provided, pump, row + 1, styles)?;
    }
    if !measured.is_empty() {
        row += 1;
        breaks.push(row);
    }
    for (pump, _) in measured {
        row = one_pump(sheet, provided, pump, row, styles)? + 1;
    }
    sheet.set_page_breaks(&breaks)?;
    Ok(())
}

/// Writes one pump from this row on; the row below it.
fn one_pump(
    sheet: &mut Worksheet,
    provided: &Provided<'_>,
    pump: usize,
    mut row: u32,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    let job = &provided.outlook.job;
    let kit = &provided.provision.safe[pump];
    let model = job.model_of(&job.pumps[pump]);
    let proof = match (kit.proven, kit.pieces.is_empty()) {
        (_, true) => "no pieces".into(),
        (true, false) => "proven least".to_string(),
        (false, false) => format!(
            "not proven least: none costs less than {}",
            crate::words::money(kit.bound.raw(), job)
        ),
    };
    let head = format!(
        "Pump {}: {}, {} pieces, {proof}",
        job.pumps[pump].tag,
        crate::words::money(kit.cost.raw(), job),
        kit.count
    );
    sheet.merge_text(row, 0, row, LAST, &head, &styles.part)?;
    row += 1;
    let format = match kit.gaps() {
        0 => &styles.plain,
        _ => &styles.alarm,
    };
    let standing = format!("{}. Model {}.", words::standing(kit), model.name);
    sheet.merge_text(row, 0, row, LAST, &standing, format)?;
    row += 1;
    let names = [
        "Item",
        "Kind",
        "Fit",
        "Thickness",
        "is about",
        "Pieces",
        "Cost",
        "Bin",
    ];
    heads(sheet, row, &names, styles)?;
    let money = money(styles);
    for one in &kit.pieces {
        row += 1;
        let item = &job.stock[one.item];
        sheet.write_text(row, 0, &item.item, &styles.strong)?;
        sheet.write_text(row, 1, &item.kind, &styles.text)?;
        sheet.write_text(row, 2, item.fit.as_str(), &styles.text)?;
        if let Some(size) = item.size {
            let unit = crate::words::natural_unit(size.thickness);
            let shown = crate::words::thickness(size.thickness, unit);
            let about = crate::words::about(size.thickness.into(), unit.twin());
            sheet.write_text(row, 3, shown, &styles.strong)?;
            sheet.write_text(row, 4, about, &styles.text)?;
        }
        sheet.write_number_with_format(row, 5, one.count, &styles.count)?;
        let cost = (item.unit_cost * one.count).to_f64();
        sheet.write_number_with_format(row, 6, cost, &money)?;
        sheet.write_text(row, 7, item.bin.as_deref().unwrap_or(""), &styles.text)?;
    }
    row += 1;
    if kit.axes.is_empty() {
        return Ok(row);
    }
    let runs = words::runs(kit);
    let label = match &kit.axes[..] {
        [axis] => format!("If it measures: {}", model.dimensions[axis.dimension].label),
        _ => "If it measures".to_string(),
    };
    row += 1;
    sheet.merge_text(row, 0, row, 1, &label, &styles.head)?;
    sheet.write_text(row, 2, "Values", &styles.head)?;
    sheet.merge_text(
        row,
        3,
        row,
        LAST,
        "Take, place by place (with its total)",
        &styles.head,
    )?;
    high_enough(sheet, row, &[(&label, 32)])?;
    for run in runs.iter().take(MOST_RUNS) {
        row += 1;
        line(sheet, provided, pump, run, row, styles)?;
    }
    if let Some(more @ 1..) = runs.len().checked_sub(MOST_RUNS) {
        row += 1;
        let text = format!("and {more} lines more: they stand in the file that --json writes");
        sheet.merge_text(row, 0, row, LAST, &text, &styles.remark)?;
    }
    Ok(row + 2)
}

/// One line of the table.
fn line(
    sheet: &mut Worksheet,
    provided: &Provided<'_>,
    pump: usize,
    run: &Run<'_>,
    row: u32,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let job = &provided.outlook.job;
    let kit = &provided.provision.safe[pump];
    let values = words::values(job, pump, kit, run);
    let (take, format) = match run.take {
        Some(packs) => (words::take(job, pump, packs), &styles.wrapped),
        None => (
            format!("{}: nothing in the drawers will do", words::GAP),
            &styles.alarm,
        ),
    };
    sheet.merge_text(row, 0, row, 1, &values, &styles.wrapped)?;
    let count = u32::try_from(run.values).unwrap_or(u32::MAX);
    sheet.write_number_with_format(row, 2, count, &styles.count)?;
    sheet.merge_text(row, 3, row, LAST, &take, format)?;
    high_enough(sheet, row, &[(&values, 36), (&take, 84)])
}
