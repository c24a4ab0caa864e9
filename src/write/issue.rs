//! The Issue sheet: what the plan takes, line by line, with cells for what was really taken.

use rust_xlsxwriter::{DataValidation, DataValidationErrorStyle, DataValidationRule, Worksheet};

use super::page::{Page, Written};
use super::style::{Styles, lines};
use super::table::{Cells, Column, Value};
use super::text::WriteText;
use crate::formats::issue_sheet::{EXTRA, HEADINGS, ID, OWN};
use crate::issue::key;
use crate::issue::planned::{PickStep, Planned, PlannedLine, Why};
use crate::job::Job;
use crate::verify::Verified;
use crate::words;

/// Lines for what was taken beside the plan.
const SPARE: u32 = 12;

/// A line of the plan, with what is said of it.
struct IssueLine<'a> {
    line: &'a PlannedLine,
    /// Whether its kit begins here: the tag stands out.
    begins: bool,
    place: String,
    bin: &'a str,
    note: String,
}

type Col<'s> = Column<'s, IssueLine<'s>>;

/// The columns, in the order of their headings.
fn columns(styles: &Styles) -> [Col<'_>; 10] {
    let Styles { text, wrapped, entry, count_entry, .. } = styles;
    let note = entry.clone().set_text_wrap();
    // Nothing can be picked for a place that is short, nor for a bag that stays closed.
    let open = |row: &IssueLine<'_>| !matches!(row.line.step, PickStep::Short | PickStep::InBag);
    let picked = move |row: &IssueLine<'_>| if open(row) { count_entry } else { text }.blank();
    let instead = move |row: &IssueLine<'_>| if open(row) { entry } else { text }.blank();
    let [tag, place, bin, item, step, planned, taken, other, pieces, said] = HEADINGS;
    [
        Col::new(tag, 13.0, |row| match row.begins {
            true => styles.strong.of(&row.line.tag),
            false => text.of(&row.line.tag),
        }),
        Col::new(place, 32.0, |row| wrapped.of(&row.place)),
        Col::new(bin, 9.0, move |row| match row.line.step {
            // Where it was put.
            PickStep::GoesBack(_) => entry.of(row.bin),
            _ => text.of(row.bin),
        }),
        Col::new(item, 20.0, |row| styles.strong.of(&row.line.item)),
        Col::new(step, 22.0, move |row| match row.line.step {
            PickStep::Short => styles.alarm.of(row.line.step.words()),
            _ => text.of(row.line.step.words()),
        }),
        Col::new(planned, 10.0, |row| styles.count.of(row.line.planned)),
        Col::new(taken, 10.0, picked),
        Col::new(other, 20.0, instead),
        Col::new(pieces, 10.0, picked),
        Col::new(said, 44.0, move |row| note.owned(&row.note)),
    ]
}

/// The sheet's beginning, above the headings.
fn header<'s>(sheet: Worksheet, planned: &Planned, styles: &'s Styles) -> Written<Page<'s>> {
    let lead = "After picking: record any deviation in the coloured cells, save, and within a running outage book it: `gapwright book FILE --from` this workbook.";
    let mut page = Page::on(sheet, "Issue", styles)?;
    page.title("Issue", lead)?;
    page.row = 2;
    let remark = format!(
        "Empty Picked: as planned. Substitute item and Qty: stock number and count of the pieces that replace missing ones. Lines with extra: extra pieces taken. A kit that is not as planned is {} until its stack-up is worked out again.",
        words::NOT_FIT
    );
    page.line([styles.strong.of(ID), styles.text.of(planned.id()), styles.remark.of(remark)])?;
    // The plan's own figures stand a second time in hidden columns: a change is found with its cell.
    page.behind(OWN[0], [styles.plain.of(planned.lines.len().to_string())])?;
    for column in OWN {
        page.sheet.set_column_hidden(column)?;
    }
    page.row = 4;
    Ok(page)
}

/// The sheet, on an empty one.
pub(super) fn sheet(sheet: Worksheet, verified: &Verified, styles: &Styles) -> Written<Worksheet> {
    let job = verified.job();
    let planned = verified.planned();
    let mut page = header(sheet, &planned, styles)?;
    let columns = columns(styles);
    page.high(32.0)?;
    page.open(&columns)?;
    let right = styles.head.clone().set_align(rust_xlsxwriter::FormatAlign::Right);
    for (column, head) in (0..).zip(HEADINGS) {
        if matches!(head, "Planned" | "Picked" | "Qty") {
            page.sheet.write_text(4, column, head, &right)?;
        }
    }
    let bins: std::collections::BTreeMap<String, &str> = job
        .stock
        .iter()
        .map(|lot| (&lot.item, &lot.bin))
        .chain(job.plates.iter().map(|lot| (&lot.item, &lot.bin)))
        .filter_map(|(item, bin)| Some((key(item), bin.as_deref()?)))
        .collect();
    let mut before = None;
    for line in &planned.lines {
        let begins = before.replace(&line.tag) != Some(&line.tag);
        let (place, note) = words_of(job, line);
        let bin = bins.get(&key(&line.item)).copied().unwrap_or_default();
        page.high(16.0 * lines(&[(&note, 46), (&place, 33)], [1, 20]))?;
        page.put(&columns, &IssueLine { line, begins, place, bin, note })?;
        page.behind(OWN[0], line.own().map(|own| styles.plain.of(own)))?;
    }
    let Styles { text, entry, count_entry, .. } = styles;
    for _ in 0..SPARE {
        page.high(16.0)?;
        page.line([
            entry.blank(),
            entry.blank(),
            text.blank(),
            entry.blank(),
            text.of(EXTRA),
            text.blank(),
            count_entry.blank(),
            text.blank(),
            text.blank(),
            entry.clone().set_text_wrap().owned(Value::Blank),
        ])?;
    }
    for column in [6, 8] {
        let whole = DataValidation::new()
            .allow_whole_number(DataValidationRule::Between(0, 1_000_000_000))
            .set_error_style(DataValidationErrorStyle::Stop)
            .set_error_title("Pieces")?
            .set_error_message("A whole number of pieces; empty means as planned.")?;
        page.sheet.add_data_validation(5, column, page.row - 1, column, &whole)?;
    }
    page.ended()
}

/// The place of a line, and why it is short.
fn words_of(job: &Job, line: &PlannedLine) -> (String, String) {
    let of_line = || job.pumps.iter().find(|pump| pump.tag == line.tag);
    match (&line.why, line.why.as_ref().and_then(|_| of_line())) {
        (Some(Why::Short(short)), Some(pump)) => {
            let place = words::place(job, pump, short);
            (place, format!("{}: {}", words::NOT_FIT, words::reason(job, pump, short)))
        }
        (Some(Why::Lacking(lack)), _) => (line.place.clone(), words::lack_of(lack, &line.place)),
        _ => (line.place.clone(), String::new()),
    }
}
