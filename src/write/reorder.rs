//! The Reorder sheet: what the plan leaves of each item, and what one more would have been worth.

use rust_xlsxwriter::{Worksheet, XlsxError};

use super::text::WriteText;

use super::style::{Styles, heads, set_up, title, widths};
use crate::bag;
use crate::verify::Verified;
use crate::words;

pub(super) fn write(
    sheet: &mut Worksheet,
    verified: &Verified,
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let (job, plan) = (verified.job(), verified.plan());
    set_up(sheet, "Reorder", date)?;
    widths(
        sheet,
        &[18.0, 14.0, 9.0, 10.0, 10.0, 10.0, 10.0, 11.0, 16.0, 48.0],
    )?;
    title(
        sheet,
        "Reorder: what is left, and what one more would have been worth",
        "Each worth is found by solving again with one more piece on hand, everything else as it is. Worths do not add up.",
        styles,
    )?;
    let names = [
        "Item",
        "Kind",
        "Fit",
        "Before",
        "Issued",
        "Spoiled",
        "After",
        "Min level",
        "Standing",
        "Worth of one more",
    ];
    heads(sheet, 3, &names, styles)?;
    sheet.set_repeat_rows(3, 3)?;
    sheet.set_freeze_panes(4, 0)?;
    let issued = verified.issued();
    let left = verified.left();
    let lacking = bag::lacking(job, verified.bags());
    let mut row = 3;
    for (index, item) in job.stock.iter().enumerate() {
        if item.cut.is_some() {
            continue;
        }
        row += 1;
        let below = left[index] < item.min_level;
        sheet.write_text(row, 0, &item.item, &styles.strong)?;
        sheet.write_text(row, 1, &item.kind, &styles.text)?;
        sheet.write_text(row, 2, item.fit.as_str(), &styles.text)?;
        let spoiled = item.on_hand - issued[index] - left[index];
        let counts = [
            item.on_hand,
            issued[index],
            spoiled,
            left[index],
            item.min_level,
        ];
        for (column, count) in (3..).zip(counts) {
            sheet.write_number_with_format(row, column, count, &styles.count)?;
        }
        if below {
            sheet.write_text(row, 8, "below min level", &styles.alarm)?;
        } else {
            sheet.write_blank(row, 8, &styles.text)?;
        }
        let worth = plan.worth.iter().find(|worth| worth.item == index);
        let (text, format) = match worth {
            Some(worth) => (words::worth(job, worth), &styles.text),
            None if item.size.is_some() => ("not worked out".into(), &styles.text),
            None if lacking[index] > 0 => {
                (format!("{} lacking in bags", lacking[index]), &styles.alarm)
            }
            None => (String::new(), &styles.text),
        };
        sheet.write_text(row, 9, text, format)?;
    }
    if plan.worth.is_empty() {
        let why =
            "The worth of one more was not worked out: it needs a proven plan and time to spare.";
        sheet.write_text(row + 2, 0, why, &styles.text)?;
    }
    Ok(())
}
