//! The sheet Changes: what differs from the plan before, pump by pump, and which slips to print and to tear up.

use rust_xlsxwriter::Worksheet;

use super::page::{Page, Written};
use super::style::{Styles, lines};
use super::table::{self, Cells, Column};
use crate::changes::SlipChange;
use crate::outage::PlaceInOutage;

type Col<'s> = Column<'s, SlipChange>;

/// The sheet, of a plan that takes the place of another one.
pub(super) fn sheet(place: &PlaceInOutage, styles: &Styles) -> Written<Option<Worksheet>> {
    let Some(before) = place.replaces() else {
        return Ok(None);
    };
    let title = format!("Changes from plan {before} to plan {}", place.plan);
    let lead = "Tear up the old slips and labels of these pumps, and print the new ones. Every other slip still counts.";
    let mut page = Page::begin("Changes", &title, lead, styles)?;
    let columns = columns(styles, place);
    table::widths(&mut page.sheet, &columns)?;
    page.repeat()?;
    page.high(31.0)?;
    page.headings(&columns)?;
    for change in &place.changes {
        let [out, into] = [&change.out, &change.into].map(|pieces| SlipChange::listed(pieces));
        let bag = place.bags.get(&change.tag).map_or("", String::as_str);
        let texts = [(&*out, 26), (&*into, 26), (&*change.why, 46), (bag, 30)];
        page.high(15.5 * lines(&texts, [1, 26]))?;
        page.put(&columns, change)?;
    }
    if place.changes.is_empty() {
        page.text("None: every slip and label still counts.", &styles.plain)?;
    }
    Ok(Some(page.sheet))
}

fn columns<'s>(styles: &'s Styles, place: &'s PlaceInOutage) -> [Col<'s>; 9] {
    let Styles { text, wrapped, strong, count, bold, .. } = styles;
    let kit = |kit: Option<u32>| kit.map_or(String::new(), |kit| format!("kit {kit}"));
    let pieces = |pieces: &[(String, u32)]| SlipChange::listed(pieces);
    let slip = |print: bool| if print { "print" } else { "" };
    let tear = |tear: bool| if tear { "tear up" } else { "" };
    [
        Col::new("Tag", 13.0, |line| strong.of(&line.tag)),
        Col::new("Priority", 9.0, |line| count.of(line.priority?)),
        Col::new("Goes out", 28.0, move |line| wrapped.of(pieces(&line.out))),
        Col::new("Goes in", 28.0, move |line| wrapped.of(pieces(&line.into))),
        Col::new("Why", 48.0, |line| wrapped.of(&line.why)),
        Col::new("Bag", 32.0, |line| {
            wrapped.of(place.bags.get(&line.tag).map_or("", String::as_str))
        }),
        Col::new("Old slip", 10.0, move |line| text.of(tear(line.tear_up))),
        Col::new("Old kit", 9.0, move |line| text.of(kit(line.kits[0]))),
        Col::new("New slip", 14.0, move |line| {
            bold.of(format!("{} {}", slip(line.print), kit(line.kits[1])).trim().to_string())
        }),
    ]
}
