//! The Trolley: one line an item, walking the bins once, and what stays in the drawers.

use rust_xlsxwriter::{Worksheet, XlsxError};

use super::super::style::{Styles, heads, set_up, title, widths};
use super::super::text::WriteText;
use super::{Provided, high_enough, money};
use crate::provision::SetAside;
use crate::words;

pub(super) fn write(
    sheet: &mut Worksheet,
    provided: &Provided<'_>,
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let job = &provided.outlook.job;
    let trolley = &provided.provision.trolley;
    set_up(sheet, "Trolley", date)?;
    widths(
        sheet,
        &[
            10.0, 20.0, 11.0, 8.0, 19.0, 12.0, 10.0, 10.0, 10.0, 11.0, 11.0, 9.0, 10.0,
        ],
    )?;
    title(
        sheet,
        "Trolley: set aside for all pumps together, in bin order",
        "Tick what is set aside. Set aside is not set: no piece goes into a pump before it is measured and `gapwright kit` has chosen.",
        styles,
    )?;
    if provided.provision.falls_short(provided.question) {
        let text = words::provision::promise(provided.provision, provided.question);
        let alarm = styles.alarm.clone().set_text_wrap();
        sheet.merge_text(2, 0, 2, 12, &text, &alarm)?;
        high_enough(sheet, 2, &[(&text, 140)])?;
    }
    let names = [
        "Bin",
        "Item",
        "Kind",
        "Fit",
        "Thickness",
        "is about",
        "Set aside",
        "May be issued",
        "Stays in the drawer",
        "Unit cost",
        "Cost",
        "Done",
        "Initials",
    ];
    heads(sheet, 3, &names, styles)?;
    sheet.set_row_height(3, 46.0)?;
    sheet.set_repeat_rows(3, 3)?;
    sheet.set_freeze_panes(4, 0)?;
    let mut order: Vec<&SetAside> = trolley.pieces.iter().collect();
    let bin = |one: &SetAside| job.stock[one.item].bin.clone().unwrap_or_default();
    order.sort_by(|a, b| natord::compare_ignore_case(&bin(a), &bin(b)).then(a.item.cmp(&b.item)));
    let money = money(styles);
    let mut row = 3;
    for one in order {
        row += 1;
        let item = &job.stock[one.item];
        sheet.write_text(row, 0, bin(one), &styles.text)?;
        sheet.write_text(row, 1, &item.item, &styles.strong)?;
        sheet.write_text(row, 2, &item.kind, &styles.text)?;
        sheet.write_text(row, 3, item.fit.as_str(), &styles.text)?;
        if let Some(size) = item.size {
            let unit = words::natural_unit(size.thickness);
            let shown = words::thickness(size.thickness, unit);
            let about = words::about(size.thickness.into(), unit.twin());
            sheet.write_text(row, 4, shown, &styles.strong)?;
            sheet.write_text(row, 5, about, &styles.text)?;
        }
        let left = item.available().saturating_sub(one.count);
        for (column, count) in (6..).zip([one.count, item.available(), left]) {
            sheet.write_number_with_format(row, column, count, &styles.count)?;
        }
        let each = item.unit_cost.to_f64();
        sheet.write_number_with_format(row, 9, each, &money)?;
        let cost = (item.unit_cost * one.count).to_f64();
        sheet.write_number_with_format(row, 10, cost, &money)?;
        sheet.write_text(row, 11, "☐", &styles.entry)?;
        sheet.write_blank(row, 12, &styles.entry)?;
        high_enough(sheet, row, &[(&item.item, 18)])?;
    }
    if trolley.pieces.is_empty() {
        row += 1;
        sheet.write_text(row, 0, "Nothing to set aside.", &styles.alarm)?;
    }
    row += 2;
    let total = format!(
        "{} lines, {} pieces, {}",
        trolley.pieces.len(),
        trolley.count,
        words::money(trolley.cost.raw(), job)
    );
    sheet.write_text(row, 0, total, &styles.part)?;
    let mut remarks = vec![
        "What may be issued is on hand less reserved. Most of what is set aside goes back into its drawer once the pumps are kitted.".to_string(),
    ];
    let cut = trolley
        .pieces
        .iter()
        .any(|one| job.stock[one.item].cut.is_some());
    if cut {
        remarks.push("Pieces called by a sheet and a fit code are cut from sheet: set the sheet aside and cut when the pump is measured.".into());
    }
    if !trolley.sheets.is_empty() {
        remarks.push(format!(
            "More than there is of sheets {}, unless several shapes are cut from one sheet, which was not looked into.",
            words::provision::sheets(job, &trolley.sheets)
        ));
    }
    for remark in remarks {
        row += 1;
        sheet.merge_text(row, 0, row, 12, &remark, &styles.prose)?;
        high_enough(sheet, row, &[(&remark, 140)])?;
    }
    Ok(())
}
