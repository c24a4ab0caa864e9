//! The Issue sheet: what the plan takes, line by line, with cells for what was really taken.

use rust_xlsxwriter::{
    DataValidation, DataValidationErrorStyle, DataValidationRule, Worksheet, XlsxError,
};

use super::style::{Head, Styles, begin, widths};
use super::table::{self, Cells};
use super::text::WriteText;
use crate::formats::issue_sheet::{EXTRA, HEADINGS, ID, OWN};
use crate::issue::key;
use crate::issue::planned::{Line, Planned, Step, Why};
use crate::job::Job;
use crate::verify::Verified;
use crate::words;

/// Lines for what was taken beside the plan.
const SPARE: u32 = 12;

/// What stands above the headings.
fn header(
    sheet: &mut Worksheet,
    planned: &Planned,
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let head = Head {
        name: "Issue",
        date,
        title: "Issue",
        lead: "After picking: fill in the coloured cells where something went otherwise than planned, save, then run `gapwright issue` with this workbook and the stock workbook.",
    };
    begin(sheet, &head, styles)?;
    let columns = [13.0, 32.0, 9.0, 20.0, 22.0, 10.0, 10.0, 20.0, 10.0, 44.0];
    widths(sheet, &columns)?;
    sheet.write_text(2, 0, ID, &styles.strong)?;
    sheet.write_text(2, 1, planned.id(), &styles.text)?;
    let remark = "Picked empty: as planned. Instead: a stock number put in for missing pieces. Lines with extra: taken and not in the plan. A kit that is not as planned is NOT FIT TO ASSEMBLE before its stack-up was worked out again.";
    sheet.write_text(2, 2, remark, &styles.remark)?;
    // What is the plan's own stands a second time in hidden columns: a change is found with its cell.
    let count = planned.lines.len().to_string();
    sheet.write_text(2, OWN[0], count, &styles.plain)?;
    for column in OWN {
        sheet.set_column_hidden(column)?;
    }
    Ok(())
}

pub(super) fn write(
    sheet: &mut Worksheet,
    verified: &Verified,
    date: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let job = verified.job();
    let planned = verified.planned();
    header(sheet, &planned, date, styles)?;
    let right = styles.head.clone().set_align(rust_xlsxwriter::FormatAlign::Right);
    for (column, head) in (0..).zip(HEADINGS) {
        let is_count = matches!(head, "Planned" | "Picked" | "Instead pieces");
        let format = if is_count { &right } else { &styles.head };
        sheet.write_text(4, column, head, format)?;
    }
    sheet.set_row_height(4, 32.0)?;
    sheet.set_repeat_rows(4, 4)?;
    sheet.set_freeze_panes(5, 0)?;
    let count_entry = styles.count.clone().set_background_color(super::style::ENTRY).set_unlocked();
    let wrapped_entry = styles.entry.clone().set_text_wrap();
    let bins: std::collections::BTreeMap<String, &str> = job
        .stock
        .iter()
        .map(|lot| (&lot.item, &lot.bin))
        .chain(job.sheets.iter().map(|lot| (&lot.item, &lot.bin)))
        .filter_map(|(item, bin)| Some((key(item), bin.as_deref()?)))
        .collect();
    let mut row = 4;
    let mut before = None;
    for line in &planned.lines {
        row += 1;
        // The tag stands out where a kit begins.
        let begins = before.replace(&line.tag) != Some(&line.tag);
        let tag = if begins { &styles.strong } else { &styles.text };
        let (place, note) = words_of(job, line);
        let bin = bins.get(&key(&line.item)).copied().unwrap_or_default();
        let short = line.step == Step::Short;
        let step = if short { &styles.alarm } else { &styles.text };
        let [count, item] = match short {
            true => [&styles.text; 2],
            false => [&count_entry, &styles.entry],
        };
        let cells = [
            tag.of(&line.tag),
            styles.wrapped.of(&place),
            styles.text.of(bin),
            styles.strong.of(&line.item),
            step.of(line.step.words()),
            styles.count.of(line.planned),
            count.blank(),
            item.blank(),
            count.blank(),
            wrapped_entry.of(&note),
        ];
        table::cells(sheet, (row, 0), cells)?;
        let own = line.own().map(|own| styles.plain.of(own));
        table::cells(sheet, (row, OWN[0]), own)?;
        let lines = note.len().div_ceil(46);
        let lines = lines.max(place.len().div_ceil(33)).clamp(1, 20);
        sheet.set_row_height(row, 16.0 * f64::from(u16::try_from(lines).unwrap_or(1)))?;
    }
    let (text, entry) = (&styles.text, &styles.entry);
    for _ in 0..SPARE {
        row += 1;
        let cells = [
            entry.blank(),
            entry.blank(),
            text.blank(),
            entry.blank(),
            text.of(EXTRA),
            text.blank(),
            count_entry.blank(),
            text.blank(),
            text.blank(),
            wrapped_entry.blank(),
        ];
        table::cells(sheet, (row, 0), cells)?;
        sheet.set_row_height(row, 16.0)?;
    }
    for column in [6, 8] {
        let whole = DataValidation::new()
            .allow_whole_number(DataValidationRule::Between(0, 1_000_000_000))
            .set_error_style(DataValidationErrorStyle::Stop)
            .set_error_title("Pieces")?
            .set_error_message("A whole number of pieces; empty means as planned.")?;
        sheet.add_data_validation(5, column, row, column, &whole)?;
    }
    Ok(())
}

/// The place of a line, and why it is short.
fn words_of(job: &Job, line: &Line) -> (String, String) {
    let of_line = || job.pumps.iter().find(|pump| pump.tag == line.tag);
    match (&line.why, line.why.as_ref().and_then(|_| of_line())) {
        (Some(Why::Short(short)), Some(pump)) => {
            let place = words::place(job, pump, short);
            (place, words::reason(job, pump, short))
        }
        (Some(Why::Lacking(lack)), _) => (line.place.clone(), words::lack_of(lack, &line.place)),
        _ => (line.place.clone(), String::new()),
    }
}
