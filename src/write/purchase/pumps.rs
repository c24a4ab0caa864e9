//! The Pumps sheet: who can be kitted today, and after the buy.

use rust_xlsxwriter::{Worksheet, XlsxError};

use super::{Ordered, still_short};
use crate::plan::Kit;
use crate::pump::Pump;
use crate::words;
use crate::write::style::{Head, Styles, begin};
use crate::write::table::{self, Cells, Column};

/// A pump with its kits before and after the buy.
struct Line<'a> {
    pump: &'a Pump,
    model: &'a str,
    kits: [&'a Kit; 2],
    why: String,
}

type Col<'s> = Column<'s, Line<'s>>;

pub(super) fn write(
    sheet: &mut Worksheet,
    ordered: &Ordered<'_>,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let Ordered { job, question, .. } = ordered;
    let head = Head {
        name: "Pumps",
        date: &question.date,
        title: "Pumps today and after the buy",
        lead: "A pump that is due before what is bought can be there takes from what is on hand only.",
    };
    begin(sheet, &head, styles)?;
    let kit = |kit: &Kit| match kit {
        Kit::Served(_) => styles.text.of("can be kitted"),
        Kit::Short(_) => styles.alarm.of(words::NOT_FIT),
    };
    let due = |line: &Line<'_>| line.pump.due.as_ref().map_or("", |due| &due.shown).to_string();
    let columns = [
        Col::new("Tag", 17.0, |line| styles.strong.of(&line.pump.tag)),
        Col::new("Model", 20.0, |line| styles.text.of(line.model)),
        Col::new("Priority", 9.0, |line| styles.count.of(line.pump.priority)),
        Col::new("Due", 13.0, move |line| styles.text.of(due(line))),
        Col::new("From today's stock", 24.0, move |line| kit(line.kits[0])),
        Col::new("After the buy", 24.0, move |line| kit(line.kits[1])),
        Col::new("Why it is still short", 64.0, |line| styles.wrapped.of(&line.why)),
    ];
    table::open(sheet, 3, &columns, styles)?;
    sheet.set_freeze_panes(4, 0)?;
    let after = &ordered.bought.purchase().plan;
    let kits = ordered.buy.today.kits.iter().zip(&after.kits);
    for ((row, pump), (at, (before, after))) in (4..).zip(&job.pumps).zip(kits.enumerate()) {
        let line = Line {
            pump,
            model: &job.model_of(pump).name,
            kits: [before, after],
            why: still_short(ordered, at).unwrap_or_default(),
        };
        table::row(sheet, row, &columns, &line)?;
        let lines = u16::try_from(line.why.chars().count().div_ceil(64)).unwrap_or(20);
        sheet.set_row_height(row, 16.0 * f64::from(lines.clamp(1, 20)))?;
    }
    Ok(())
}
