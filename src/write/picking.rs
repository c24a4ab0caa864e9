//! The Picking list: one line an item, walking the bins once.

use rust_xlsxwriter::{Worksheet, XlsxError};

use super::style::{Styles, heads, set_up, tall, title, widths};
use super::text::{WriteText, in_rows};
use crate::accounting;
use crate::accounting::{by_pack, spoiled};
use crate::job::Job;
use crate::verify::Verified;
use crate::words;

/// About so many characters go on a line of the tags' column, and so many lines of tags in a row, which leaves
/// room for what is said of packs.
const ON_A_LINE: usize = 58;
const MOST_LINES: usize = 22;

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
        &[11.0, 18.0, 15.0, 8.0, 19.0, 13.0, 11.0, 56.0, 9.0, 10.0],
    )?;
    title(
        sheet,
        "Picking list",
        "In bin order. Measure a piece of each lot of shims and gaskets before it leaves the bin; tick what is picked.",
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
    let issued = verified.issued();
    let mut order: Vec<usize> = (0..job.stock.len()).filter(|&i| issued[i] > 0).collect();
    let bin = |i: &usize| job.stock[*i].bin.clone().unwrap_or_default();
    // What has no bin is looked for once the walk is done.
    let homeless = |i: &usize| job.stock[*i].bin.is_none();
    order.sort_by(|a, b| {
        let bins = natord::compare_ignore_case(&bin(a), &bin(b));
        homeless(a).cmp(&homeless(b)).then(bins).then(a.cmp(b))
    });
    let mut row = 3;
    for &index in &order {
        let item = &job.stock[index];
        row += 1;
        let tags: Vec<String> = job
            .pumps
            .iter()
            .enumerate()
            .filter_map(|(at, pump)| {
                let mine = verified.picks(at).filter(|pick| pick.item == index);
                let count: u32 = mine.clone().map(|pick| pick.count).sum();
                let peeled = mine.clone().any(|pick| pick.peeled > 0);
                let peel = if peeled { ", to be peeled" } else { "" };
                (count > 0).then(|| format!("{} ({count}{peel})", pump.tag))
            })
            .collect();
        match &item.bin {
            Some(bin) => sheet.write_text(row, 0, bin, &styles.text)?,
            None => sheet.write_text(row, 0, "no bin", &styles.alarm)?,
        };
        sheet.write_text(row, 1, &item.item, &styles.strong)?;
        sheet.write_text(row, 2, &item.kind, &styles.text)?;
        sheet.write_text(row, 3, item.fit.as_str(), &styles.text)?;
        if let Some(thickness) = item.size.map(|size| size.thickness).or(item.section) {
            // A lot is known by the system in which its thickness is a short number.
            let unit = words::natural_unit(thickness);
            sheet.write_text(row, 4, words::thickness(thickness, unit), &styles.strong)?;
            sheet.write_text(
                row,
                5,
                words::about(thickness.into(), unit.twin()),
                &styles.text,
            )?;
        } else {
            for column in [4, 5] {
                sheet.write_blank(row, column, &styles.text)?;
            }
        }
        sheet.write_number_with_format(row, 6, issued[index], &styles.count)?;
        sheet.write_text(row, 8, "☐", &styles.entry)?;
        sheet.write_blank(row, 9, &styles.entry)?;
        let mut texts = in_rows(&tags, MOST_LINES * ON_A_LINE);
        if let (Some(last), Some(packs)) =
            (texts.last_mut(), packs_opened(job, index, issued[index]))
        {
            last.push_str(&format!(". {packs}"));
        }
        // Of an item that very many pumps want, the tags run on below; it is picked and ticked once.
        for (at, text) in texts.iter().enumerate() {
            if at > 0 {
                row += 1;
                sheet.write_text(row, 0, item.bin.as_deref().unwrap_or(""), &styles.text)?;
                sheet.write_text(row, 1, format!("{}, more tags", item.item), &styles.wrapped)?;
                for column in (2..7).chain(8..10) {
                    sheet.write_blank(row, column, &styles.text)?;
                }
            }
            sheet.write_text(row, 7, text, &styles.wrapped)?;
            sheet.set_row_height(row, tall(text, ON_A_LINE))?;
        }
    }
    if order.is_empty() {
        sheet.write_text(
            4,
            0,
            "Nothing to pick: no pump can be kitted.",
            &styles.alarm,
        )?;
    }
    if !plan.layouts.is_empty() {
        row = sheets_to_cut(sheet, verified, row + 2, styles)?;
    }
    let pieces: u32 = issued.iter().sum();
    let packs: u32 = plan.issued(job).iter().sum();
    let mut total = format!("{} lines, {pieces} pieces", order.len());
    if pieces > packs {
        total.push_str(&format!(", {} of them consumables", pieces - packs));
    }
    sheet.write_text(row + 2, 0, total, &styles.part)?;
    Ok(())
}

/// The packs that are opened for an item, where what is left of them is spoiled.
fn packs_opened(job: &Job, item: usize, issued: u32) -> Option<String> {
    let lot = &job.stock[item];
    let opened = accounting::packs_opened(lot, issued);
    if !by_pack(job, item) || opened == 0 {
        return None;
    }
    let packs = if opened == 1 { "pack" } else { "packs" };
    Some(format!(
        "Open {opened} sealed {packs} of {}; {} left over, counted as spoiled",
        lot.pack_qty,
        spoiled(job, item, issued)
    ))
}

/// The sheets to take and how each is cut up; the last row written.
fn sheets_to_cut(
    sheet: &mut Worksheet,
    verified: &Verified,
    mut row: u32,
    styles: &Styles,
) -> Result<u32, XlsxError> {
    let (job, plan) = (verified.job(), verified.plan());
    let names = [
        "Bin", "Sheet", "Kind", "", "", "", "Sheets", "Cut into", "Picked", "Initials",
    ];
    heads(sheet, row, &names, styles)?;
    let mut rest = plan.layouts.as_slice();
    while let Some(layout) = rest.first() {
        // Layouts are sorted: the like ones stand together.
        let (alike, others) = rest.split_at(rest.partition_point(|other| other == layout));
        rest = others;
        row += 1;
        let lot = &job.sheets[layout.sheet];
        let count = u32::try_from(alike.len()).unwrap_or(u32::MAX);
        let text = words::strips(job, layout);
        sheet.write_text(row, 0, lot.bin.as_deref().unwrap_or(""), &styles.text)?;
        sheet.write_text(row, 1, &lot.item, &styles.strong)?;
        sheet.write_text(row, 2, &lot.kind, &styles.text)?;
        for column in 3..6 {
            sheet.write_blank(row, column, &styles.text)?;
        }
        sheet.write_number_with_format(row, 6, count, &styles.count)?;
        sheet.write_text(row, 7, &text, &styles.wrapped)?;
        sheet.set_row_height(row, tall(&text, ON_A_LINE))?;
        sheet.write_text(row, 8, "☐", &styles.entry)?;
        sheet.write_blank(row, 9, &styles.entry)?;
    }
    Ok(row)
}
