//! The Pumps sheet: who can be kitted today, and after the purchase.

use rust_xlsxwriter::Worksheet;

use super::{Ordered, still_short};
use crate::plan::Kit;
use crate::pump::Pump;
use crate::words;
use crate::write::page::{Page, Written};
use crate::write::style::{Styles, lines};
use crate::write::table::{Cells, Column};

/// A pump with its kits before and after the purchase.
struct PumpRow<'a> {
    pump: &'a Pump,
    model: &'a str,
    kits: [&'a Kit; 2],
    why: String,
}

type Col<'s> = Column<'s, PumpRow<'s>>;

pub(super) fn sheet(ordered: &Ordered<'_>, styles: &Styles) -> Written<Worksheet> {
    let job = ordered.job;
    let lead = "A pump that is due before a purchase can arrive uses only pieces that are on hand.";
    let mut page = Page::begin("Pumps", "Pumps today and after the purchase", lead, styles)?;
    let kit = |kit: &Kit| match kit {
        Kit::Served(_) => styles.text.of("can be kitted"),
        Kit::Short(_) => styles.alarm.of(words::NOT_FIT),
    };
    let columns = [
        Col::new("Tag", 17.0, |line| styles.strong.of(&line.pump.tag)),
        Col::new("Model", 20.0, |line| styles.text.of(line.model)),
        Col::new("Priority", 9.0, |line| styles.count.of(line.pump.priority)),
        Col::new("Due", 13.0, |line| styles.text.of(line.pump.due_shown())),
        Col::new("From today's stock", 24.0, move |line| kit(line.kits[0])),
        Col::new("After the purchase", 24.0, move |line| kit(line.kits[1])),
        Col::new("Why it is still short", 64.0, |line| styles.wrapped.of(&line.why)),
    ];
    page.open(&columns)?;
    let after = &ordered.bought.purchase().plan;
    let kits = ordered.buy.today.kits.iter().zip(&after.kits);
    for (pump, (at, (before, after))) in job.pumps.iter().zip(kits.enumerate()) {
        let line = PumpRow {
            pump,
            model: &job.model_of(pump).name,
            kits: [before, after],
            why: still_short(ordered, at).unwrap_or_default(),
        };
        page.high(16.0 * lines(&[(&line.why, 64)], [1, 20]))?;
        page.put(&columns, &line)?;
    }
    Ok(page.sheet)
}
