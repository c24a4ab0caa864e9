//! The Pumps sheet: who can be kitted today, and after the buy.

use rust_xlsxwriter::{Worksheet, XlsxError};

use super::{Ordered, still_short};
use crate::plan::Kit;
use crate::words;
use crate::write::style::{Styles, heads, set_up, title, widths};
use crate::write::text::WriteText;

pub(super) fn write(
    sheet: &mut Worksheet,
    ordered: &Ordered<'_>,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let Ordered {
        job,
        report,
        question,
    } = ordered;
    set_up(sheet, "Pumps", &question.date)?;
    widths(sheet, &[17.0, 20.0, 9.0, 13.0, 24.0, 24.0, 64.0])?;
    title(
        sheet,
        "Pumps today and after the buy",
        "A pump that is due before what is bought can be there takes from what is on hand only.",
        styles,
    )?;
    let names = [
        "Tag",
        "Model",
        "Priority",
        "Due",
        "From today's stock",
        "After the buy",
        "Why it is still short",
    ];
    heads(sheet, 3, &names, styles)?;
    sheet.set_repeat_rows(3, 3)?;
    sheet.set_freeze_panes(4, 0)?;
    let after = &report.bought.purchase().plan;
    let kits = report.today.kits.iter().zip(&after.kits);
    for ((row, pump), (at, (before, after))) in (4..).zip(&job.pumps).zip(kits.enumerate()) {
        let due = pump.due.as_ref().map_or("", |due| due.shown.as_str());
        sheet.write_text(row, 0, &pump.tag, &styles.strong)?;
        sheet.write_text(row, 1, &job.model_of(pump).name, &styles.text)?;
        sheet.write_number_with_format(row, 2, pump.priority, &styles.count)?;
        sheet.write_text(row, 3, due, &styles.text)?;
        for (column, kit) in [(4, before), (5, after)] {
            let (text, format) = match kit {
                Kit::Served(_) => ("can be kitted", &styles.text),
                Kit::Short(_) => (words::NOT_FIT, &styles.alarm),
            };
            sheet.write_text(row, column, text, format)?;
        }
        let why = still_short(ordered, at).unwrap_or_default();
        let lines = u16::try_from(why.chars().count().div_ceil(64)).unwrap_or(20);
        sheet.write_text(row, 6, why, &styles.wrapped)?;
        sheet.set_row_height(row, 16.0 * f64::from(lines.clamp(1, 20)))?;
    }
    Ok(())
}
