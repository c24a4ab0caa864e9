//! The To do sheet: what keeps a pump open, step by step, for the bench.

use rust_xlsxwriter::Worksheet;

use super::AsBuilt;
use crate::recheck::Decision;
use crate::words::recheck::{Kind, decision, keeps_open, work};
use crate::write::page::{Page, Written};
use crate::write::style::{Styles, tall};
use crate::write::table::{Cells, Column};

/// A step for a pump; the first one bears its tag and what was decided.
struct Task<'a> {
    tag: &'a str,
    decided: &'static str,
    kind: Kind,
    step: String,
}

type Col<'s> = Column<'s, Task<'s>>;

pub(super) fn sheet(built: &AsBuilt<'_>, styles: &Styles) -> Written<Worksheet> {
    let (job, records) = (built.recheck.job(), built.recheck.records());
    let lead = "Isolated and locked out? Look into every difference before any piece is moved. Measure, fit and recheck every swap like the first pack.";
    let mut page = Page::begin("To do", "To do", lead, styles)?;
    // What was found and what to mind is nothing to tick off.
    let entry = |line: &Task<'_>, cell| match line.kind {
        Kind::Step => cell,
        _ => None,
    };
    let columns = [
        Col::new("Tag", 16.0, |line| styles.strong.of(line.tag)),
        Col::new("Decision", 24.0, |line| styles.alarm.of(line.decided)),
        Col::new("Finding and work", 98.0, |line| styles.wrapped.of(&line.step)),
        Col::new("Done", 8.0, move |line| entry(line, styles.entry.of("☐"))),
        Col::new("Initials", 12.0, move |line| entry(line, styles.entry.blank())),
        Col::new("New reading", 14.0, move |line| entry(line, styles.entry.blank())),
    ];
    page.open(&columns)?;
    let first = page.row;
    for (pump, record) in job.pumps.iter().zip(records) {
        let silent = matches!(record.decision, Decision::NotKitted | Decision::NotRead);
        if silent || !keeps_open(&record.decision) {
            continue;
        }
        let (mut tag, mut decided) = (pump.tag.as_str(), decision(record));
        for (kind, step) in work(job, pump, record) {
            let step = match kind {
                Kind::Caution => format!("\u{26a0} {step}"),
                _ => step,
            };
            page.high(tall(&step, 98))?;
            page.put(&columns, &Task { tag, decided, kind, step })?;
            (tag, decided) = ("", "");
        }
    }
    if page.row == first {
        page.text("Nothing to do: no pump that was read has to stay open.", &styles.plain)?;
    } else {
        page.row += 1;
        let text = "Record swapped pieces on the sheet Issue of the plan as well: under Substitute item, or in a line with extra.";
        page.text(text, &styles.remark)?;
    }
    Ok(page.sheet)
}
