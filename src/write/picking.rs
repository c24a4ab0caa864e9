//! The Picking list: one line an item, walking the bins once.

use rust_xlsxwriter::{Worksheet, XlsxError};

use super::style::{Styles, heads, set_up, title, widths};
use crate::length::Unit;
use crate::plan::Kit;
use crate::verify::Verified;
use crate::words;

pub(super) fn write(
    sheet: &mut Worksheet,
    verified: &Verified,
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let (job, plan) = (verified.job(), verified.plan());
    set_up(sheet, "Picking list", date)?;
    widths(
        sheet,
        &[11.0, 18.0, 10.0, 8.0, 19.0, 13.0, 11.0, 56.0, 9.0, 10.0],
    )?;
    title(
        sheet,
        "Picking list",
        "In bin order. Measure a piece of each lot before it leaves the bin; tick what is picked.",
        styles,
    )?;
    let names = [
        "Bin",
        "Item",
        "Kind",
        "Fit",
        "Thickness",
        "is about",
        "Quantity",
        "For tags (pieces each)",
        "Picked",
        "Initials",
    ];
    heads(sheet, 3, &names, styles)?;
    sheet.set_repeat_rows(3, 3)?;
    sheet.set_freeze_panes(4, 0)?;
    let issued = plan.issued(job);
    let mut order: Vec<usize> = (0..job.stock.len()).filter(|&i| issued[i] > 0).collect();
    let bin = |i: &usize| job.stock[*i].bin.clone().unwrap_or_default();
    order.sort_by(|a, b| natord::compare_ignore_case(&bin(a), &bin(b)).then(a.cmp(b)));
    let mut row = 3;
    for &index in &order {
        let item = &job.stock[index];
        row += 1;
        let tags: Vec<String> = job
            .pumps
            .iter()
            .zip(&plan.kits)
            .filter_map(|(pump, kit)| {
                let Kit::Served(packs) = kit else { return None };
                let picks = packs.iter().flat_map(|pack| &pack.picks);
                let count: u32 = picks.filter(|p| p.item == index).map(|p| p.count).sum();
                (count > 0).then(|| format!("{} ({count})", pump.tag))
            })
            .collect();
        sheet.write_string_with_format(row, 0, bin(&index), &styles.text)?;
        sheet.write_string_with_format(row, 1, &item.item, &styles.strong)?;
        sheet.write_string_with_format(row, 2, &item.kind, &styles.text)?;
        sheet.write_string_with_format(row, 3, item.fit.as_str(), &styles.text)?;
        if let Some(size) = item.size {
            // A lot is known by the system in which its thickness is a short number.
            let unit = natural_unit(size.thickness);
            sheet.write_string_with_format(
                row,
                4,
                words::thickness(size.thickness, unit),
                &styles.strong,
            )?;
            sheet.write_string_with_format(
                row,
                5,
                words::about(size.thickness.into(), unit.twin()),
                &styles.text,
            )?;
        }
        sheet.write_number_with_format(row, 6, issued[index], &styles.count)?;
        sheet.write_string_with_format(row, 7, tags.join(", "), &styles.wrapped)?;
        // About 60 characters go on a line of the tags' column.
        let lines = tags.join(", ").len().div_ceil(58).max(1);
        sheet.set_row_height(row, 16.0 * f64::from(u16::try_from(lines).unwrap_or(1)))?;
        sheet.write_string_with_format(row, 8, "☐", &styles.entry)?;
        sheet.write_blank(row, 9, &styles.entry)?;
    }
    if order.is_empty() {
        sheet.write_string_with_format(
            4,
            0,
            "Nothing to pick: no pump can be kitted.",
            &styles.alarm,
        )?;
    }
    let pieces: u32 = issued.iter().sum();
    let total = format!("{} lines, {pieces} pieces", order.len());
    sheet.write_string_with_format(row + 2, 0, total, &styles.part)?;
    Ok(())
}

/// Inches if the thickness is a whole number of ten-thousandths, else millimetres if it is a
/// whole number of micrometres, else inches.
pub(super) fn natural_unit(thickness: crate::length::Length) -> Unit {
    let ticks = thickness.ticks();
    let metric = ticks % Unit::Micrometre.ticks() == 0;
    let inch = ticks % (Unit::Thou.ticks() / 10) == 0;
    if metric && !inch {
        Unit::Millimetre
    } else {
        Unit::Inch
    }
}
