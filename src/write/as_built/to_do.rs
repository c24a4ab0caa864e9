//! The To do sheet: what keeps a pump open, step by step, for the bench.

use rust_xlsxwriter::{Worksheet, XlsxError};

use super::AsBuilt;
use crate::recheck::Decision;
use crate::words::recheck::{Kind, decision, keeps_open, work};
use crate::write::style::{Head, Styles, begin, tall};
use crate::write::table::{self, Cells, Column};
use crate::write::text::WriteText;

/// A step for a pump; the first one bears its tag and what was decided.
struct Line<'a> {
    tag: &'a str,
    decided: &'static str,
    kind: Kind,
    step: String,
}

type Col<'s> = Column<'s, Line<'s>>;

pub(super) fn write(
    sheet: &mut Worksheet,
    built: &AsBuilt<'_>,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let (job, records) = (built.recheck.job(), built.recheck.records());
    let head = Head {
        name: "To do",
        date: built.date,
        title: "To do",
        lead: "Isolated and locked out? What differs is looked into before any piece is moved; every swap is measured, fitted and rechecked like the first pack.",
    };
    begin(sheet, &head, styles)?;
    // What was found and what to mind is nothing to tick off.
    let entry = |line: &Line<'_>, cell| match line.kind {
        Kind::Step => cell,
        _ => None,
    };
    let columns = [
        Col::new("Tag", 16.0, |line| styles.strong.of(line.tag)),
        Col::new("Decision", 24.0, |line| styles.alarm.of(line.decided)),
        Col::new("Found, and to do", 98.0, |line| styles.wrapped.of(&line.step)),
        Col::new("Done", 8.0, move |line| entry(line, styles.entry.of("☐"))),
        Col::new("Initials", 12.0, move |line| entry(line, styles.entry.blank())),
        Col::new("New reading", 14.0, move |line| entry(line, styles.entry.blank())),
    ];
    table::open(sheet, 3, &columns, styles)?;
    sheet.set_freeze_panes(4, 0)?;
    let mut row = 3;
    for (pump, record) in job.pumps.iter().zip(records) {
        let silent = matches!(record.decision, Decision::NotKitted | Decision::NotRead);
        if silent || !keeps_open(&record.decision) {
            continue;
        }
        for (at, (kind, step)) in work(job, pump, record).into_iter().enumerate() {
            row += 1;
            let (tag, decided) = match at {
                0 => (pump.tag.as_str(), decision(&record.decision)),
                _ => ("", ""),
            };
            let step = match kind {
                Kind::Caution => format!("\u{26a0} {step}"),
                _ => step,
            };
            sheet.set_row_height(row, tall(&step, 98))?;
            let line = Line { tag, decided, kind, step };
            table::row(sheet, row, &columns, &line)?;
        }
    }
    if row == 3 {
        sheet.write_text(4, 0, "Nothing: no pump that was read is kept open.", &styles.plain)?;
    } else {
        let text = "Pieces that are swapped also go onto the sheet Issue of the plan: under Instead, or into a line with extra.";
        sheet.write_text(row + 2, 0, text, &styles.remark)?;
    }
    Ok(())
}
