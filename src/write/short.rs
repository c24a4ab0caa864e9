//! The Short sheet: every pump that could not be kitted, which place failed and why.

use rust_xlsxwriter::{Worksheet, XlsxError};

use super::text::WriteText;

use super::style::{Styles, heads, set_up, title, widths};
use crate::bag::serving;
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
    set_up(sheet, "Short", date)?;
    widths(
        sheet,
        &[13.0, 10.0, 12.0, 24.0, 8.0, 50.0, 20.0, 32.0, 18.0, 25.0],
    )?;
    title(
        sheet,
        "Short: pumps that cannot be kitted",
        "Each of these is NOT FIT TO ASSEMBLE until its place is filled. A pack with a total in the window would do only if it is as good as the window presumes.",
        styles,
    )?;
    let names = [
        "Tag",
        "Priority",
        "Due",
        "Place",
        "Fit",
        "Why",
        "Window for the total",
        "The window presumes",
        "Nearest that can be made",
        "Standing",
    ];
    heads(sheet, 3, &names, styles)?;
    sheet.set_row_height(3, 31.0)?;
    sheet.set_repeat_rows(3, 3)?;
    let mut row = 3;
    for ((pump, kit), bag) in job.pumps.iter().zip(&plan.kits).zip(verified.bags()) {
        let Kit::Short(shorts) = kit else { continue };
        for short in shorts {
            row += 1;
            let due = pump.due.as_ref().map_or("", |due| due.shown.as_str());
            let fit = short.pack.map_or("", |pack| pump.fits[pack].as_str());
            let reason = words::reason(job, pump, short);
            sheet.write_text(row, 0, &pump.tag, &styles.strong)?;
            sheet.write_number_with_format(row, 1, pump.priority, &styles.count)?;
            sheet.write_text(row, 2, due, &styles.text)?;
            sheet.write_text(row, 3, words::place(job, pump, short), &styles.wrapped)?;
            sheet.write_text(row, 4, fit, &styles.text)?;
            sheet.write_text(row, 5, &reason, &styles.wrapped)?;
            let window = words::window(job, pump, short).unwrap_or_else(|| "none".into());
            let nearest = words::nearest(job, pump, short).unwrap_or_else(|| "none".into());
            let presumed = words::presumed(job, pump, short).unwrap_or_default();
            sheet.write_text(row, 6, window, &styles.wrapped)?;
            sheet.write_text(row, 7, &presumed, &styles.wrapped)?;
            sheet.write_text(row, 8, &nearest, &styles.wrapped)?;
            sheet.write_text(row, 9, words::standing(kit, bag), &styles.alarm)?;
            let lines = |text: &str, width| text.chars().count().div_ceil(width);
            let longest = lines(&reason, 48).max(lines(&presumed, 30));
            let lines = longest.max(lines(&nearest, 16)).max(2);
            sheet.set_row_height(row, 15.5 * f64::from(u16::try_from(lines).unwrap_or(2)))?;
        }
    }
    if row == 3 {
        row += 1;
        sheet.write_text(row, 0, "None: every pump can be kitted.", &styles.plain)?;
    }
    bags(sheet, verified, row + 2, styles)
}

/// What the bags of kitted pumps are short of.
fn bags(
    sheet: &mut Worksheet,
    verified: &Verified,
    start: u32,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let (job, plan) = (verified.job(), verified.plan());
    let text = "Consumables that the bags of kitted pumps are short of";
    sheet.write_text(start, 0, text, &styles.part)?;
    if !verified.bags().iter().any(words::lacking) {
        let text = "None: every bag has all of its consumables.";
        sheet.write_text(start + 1, 0, text, &styles.plain)?;
        return Ok(());
    }
    let names = [
        "Tag",
        "Priority",
        "Due",
        "Consumable",
        "Fit",
        "Why",
        "Lacking",
        "Asked for",
        "Bin",
        "Standing",
    ];
    let mut row = start + 1;
    heads(sheet, row, &names, styles)?;
    for ((pump, kit), bag) in job.pumps.iter().zip(&plan.kits).zip(verified.bags()) {
        for (need, share) in bag.iter().enumerate() {
            let Some(why) = words::lack(job, pump, need, share) else {
                continue;
            };
            row += 1;
            let asked = &job.model_of(pump).consumables[need];
            let due = pump.due.as_ref().map_or("", |due| due.shown.as_str());
            let code = pump.consumable_fits[need].code.as_ref();
            let lacking = format!("{} of {}", share.lacking, asked.count);
            let what = words::consumable(job, pump, need);
            let served = serving(job, pump, need);
            let bins = served.iter().filter_map(|&row| job.stock[row].bin.clone());
            let bins = bins.collect::<Vec<_>>().join(", ");
            sheet.write_text(row, 0, &pump.tag, &styles.strong)?;
            sheet.write_number_with_format(row, 1, pump.priority, &styles.count)?;
            sheet.write_text(row, 2, due, &styles.text)?;
            sheet.write_text(row, 3, &asked.kind, &styles.wrapped)?;
            sheet.write_text(row, 4, code.map_or("", |code| code.as_str()), &styles.text)?;
            sheet.write_text(row, 5, why, &styles.wrapped)?;
            sheet.write_text(row, 6, lacking, &styles.text)?;
            sheet.write_text(row, 7, what, &styles.wrapped)?;
            sheet.write_text(row, 8, bins, &styles.wrapped)?;
            sheet.write_text(row, 9, words::standing(kit, bag), &styles.alarm)?;
            sheet.set_row_height(row, 31.0)?;
        }
    }
    Ok(())
}
