//! The Short sheet: every pump that could not be kitted, which place failed and why.

use rust_xlsxwriter::{Worksheet, XlsxError};

use super::style::{Styles, heads, set_up, widths};
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
    widths(sheet, &[15.0, 9.0, 12.0, 26.0, 8.0, 52.0, 22.0, 18.0, 24.0])?;
    sheet.write_string_with_format(0, 0, "Short: pumps that cannot be kitted", &styles.title)?;
    sheet.write_string_with_format(1, 0, "Each of these is NOT FIT TO ASSEMBLE until its place is filled; any one pack with a total in the window would do, if its pieces are as good as those counted with.", &styles.lead)?;
    let names = [
        "Tag",
        "Priority",
        "Due",
        "Place",
        "Fit",
        "Why",
        "Window for the pack's total",
        "Nearest reachable",
        "Standing",
    ];
    heads(sheet, 3, &names, styles)?;
    sheet.set_repeat_rows(3, 3)?;
    let mut row = 3;
    for (pump, kit) in job.pumps.iter().zip(&plan.kits) {
        let Kit::Short(shorts) = kit else { continue };
        for short in shorts {
            row += 1;
            let due = pump.due.as_ref().map_or("", |due| due.shown.as_str());
            let fit = short.pack.map_or("", |pack| pump.fits[pack].as_str());
            let reason = words::reason(job, pump, short);
            sheet.write_string_with_format(row, 0, &pump.tag, &styles.strong)?;
            sheet.write_number_with_format(row, 1, pump.priority, &styles.count)?;
            sheet.write_string_with_format(row, 2, due, &styles.text)?;
            sheet.write_string_with_format(
                row,
                3,
                words::place(job, pump, short),
                &styles.wrapped,
            )?;
            sheet.write_string_with_format(row, 4, fit, &styles.text)?;
            sheet.write_string_with_format(row, 5, &reason, &styles.wrapped)?;
            let window = words::window(job, pump, short).unwrap_or_else(|| "none".into());
            let nearest = words::nearest(job, pump, short).unwrap_or_else(|| "none".into());
            sheet.write_string_with_format(row, 6, window, &styles.wrapped)?;
            sheet.write_string_with_format(row, 7, nearest, &styles.text)?;
            sheet.write_string_with_format(row, 8, words::standing(kit), &styles.alarm)?;
            let lines = reason.chars().count().div_ceil(50).max(2);
            sheet.set_row_height(row, 15.5 * f64::from(u16::try_from(lines).unwrap_or(2)))?;
        }
    }
    if row == 3 {
        sheet.write_string_with_format(4, 0, "None: every pump can be kitted.", &styles.plain)?;
    }
    Ok(())
}
