//! The To do sheet: what keeps a pump open, step by step, for the bench.

use rust_xlsxwriter::{Worksheet, XlsxError};

use super::AsBuilt;
use crate::recheck::Decision;
use crate::words::recheck::{Kind, decision, keeps_open, work};
use crate::write::style::{Styles, heads, set_up, tall, title, widths};
use crate::write::text::WriteText;

pub(super) fn write(
    sheet: &mut Worksheet,
    built: &AsBuilt<'_>,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let (job, records) = (built.recheck.job(), built.recheck.records());
    set_up(sheet, "To do", built.date)?;
    widths(sheet, &[16.0, 24.0, 98.0, 8.0, 12.0, 14.0])?;
    title(
        sheet,
        "To do",
        "Isolated and locked out? What differs is looked into before any piece is moved; every swap is measured, fitted and rechecked like the first pack.",
        styles,
    )?;
    heads(
        sheet,
        3,
        &[
            "Tag",
            "Decision",
            "Found, and to do",
            "Done",
            "Initials",
            "New reading",
        ],
        styles,
    )?;
    sheet.set_repeat_rows(3, 3)?;
    sheet.set_freeze_panes(4, 0)?;
    let mut row = 3;
    for (pump, record) in job.pumps.iter().zip(records) {
        let silent = matches!(record.decision, Decision::NotKitted | Decision::NotRead);
        if silent || !keeps_open(&record.decision) {
            continue;
        }
        for (at, (kind, step)) in work(job, pump, record).iter().enumerate() {
            row += 1;
            let (tag, word) = match at {
                0 => (pump.tag.as_str(), decision(&record.decision)),
                _ => ("", ""),
            };
            sheet.write_text(row, 0, tag, &styles.strong)?;
            sheet.write_text(row, 1, word, &styles.alarm)?;
            let step = match kind {
                Kind::Caution => format!("\u{26a0} {step}"),
                _ => step.clone(),
            };
            sheet.write_text(row, 2, &step, &styles.wrapped)?;
            sheet.set_row_height(row, tall(&step, 98))?;
            // What was found and what to mind is nothing to tick off.
            if *kind == Kind::Step {
                sheet.write_text(row, 3, "☐", &styles.entry)?;
                sheet.write_blank(row, 4, &styles.entry)?;
                sheet.write_blank(row, 5, &styles.entry)?;
            }
        }
    }
    if row == 3 {
        sheet.write_text(
            4,
            0,
            "Nothing: no pump that was read is kept open.",
            &styles.plain,
        )?;
    } else {
        let text = "Pieces that are swapped also go onto the sheet Issue of the plan: under Instead, or into a line with extra.";
        sheet.write_text(row + 2, 0, text, &styles.remark)?;
    }
    Ok(())
}
