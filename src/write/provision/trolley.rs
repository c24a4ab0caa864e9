//! The Trolley: one line an item, walking the bins once, and what stays in the drawers.

use rust_xlsxwriter::Worksheet;

use super::super::page::{Page, Written};
use super::super::style::Styles;
use super::super::table::{Cells, Column, OTHER_UNIT};
use super::{Provided, height};
use crate::paper::order::of_bins;
use crate::provision::SetAside;
use crate::stock::Item;
use crate::words;

/// Pieces of an item that are set aside.
struct TrolleyPiece<'a> {
    item: &'a Item,
    count: u32,
}

type Col<'s> = Column<'s, TrolleyPiece<'s>>;

fn columns(styles: &Styles) -> [Col<'_>; 13] {
    let Styles { text, count, money, .. } = styles;
    let thickness = |line: &TrolleyPiece<'_>| {
        let thickness = line.item.size?.thickness;
        Some((thickness, words::natural_unit(thickness)))
    };
    [
        Col::new("Bin", 10.0, |line| text.of(line.item.bin.as_deref().unwrap_or_default())),
        Col::new("Item", 20.0, |line| styles.strong.of(&line.item.item)),
        Col::new("Kind", 11.0, |line| text.of(&line.item.kind)),
        Col::new("Fit", 8.0, |line| text.of(line.item.fit.as_str())),
        Col::new("Thickness", 19.0, move |line| {
            let (thickness, unit) = thickness(line)?;
            styles.strong.of(words::thickness(thickness, unit))
        }),
        Col::new(OTHER_UNIT, 12.0, move |line| {
            let (thickness, unit) = thickness(line)?;
            text.of(words::about(thickness.into(), unit.other()))
        }),
        Col::new("Set aside", 10.0, |line| count.of(line.count)),
        Col::new("Free", 10.0, |line| count.of(line.item.available())),
        Col::new("Left in bin", 10.0, |line| {
            count.of(line.item.available().saturating_sub(line.count))
        }),
        Col::new("Unit cost", 11.0, |line| money.of(line.item.unit_cost.to_f64())),
        Col::new("Cost", 11.0, |line| money.of((line.item.unit_cost * line.count).to_f64())),
        Col::new("Done", 9.0, |_| styles.entry.of("☐")),
        Col::new("Initials", 10.0, |_| styles.entry.blank()),
    ]
}

pub(super) fn sheet(provided: &Provided<'_>, styles: &Styles) -> Written<Worksheet> {
    let job = provided.outlook.job();
    let trolley = &provided.provision.trolley;
    let title = "Trolley: set aside for all pumps together, in bin order";
    let lead = "Tick each item set aside. Setting pieces aside does not set a clearance: no piece goes into a pump before it is measured and `gapwright kit` has chosen.";
    let mut page = Page::begin("Trolley", title, lead, styles)?;
    page.last = 12;
    if provided.provision.falls_short(provided.question) {
        let text = words::provision::promise(provided.provision, provided.question);
        page.row = 2;
        page.across(&text, &styles.alarms, height(&[(&text, 140)]))?;
    }
    let columns = columns(styles);
    page.high(46.0)?;
    page.open(&columns)?;
    let mut order: Vec<&SetAside> = trolley.pieces.iter().collect();
    let bin = |one: &SetAside| job.stock[one.item].bin.as_deref().unwrap_or_default();
    order.sort_by(|a, b| of_bins(bin(a), bin(b)).then(a.item.cmp(&b.item)));
    for one in order {
        let item = &job.stock[one.item];
        page.high(height(&[(&item.item, 18)]))?;
        page.put(&columns, &TrolleyPiece { item, count: one.count })?;
    }
    if trolley.pieces.is_empty() {
        page.text("Nothing to set aside.", &styles.alarm)?;
    }
    page.row += 1;
    let total = format!(
        "{} lines, {} pieces, {}",
        trolley.pieces.len(),
        trolley.count,
        words::money(trolley.cost.raw(), job)
    );
    page.part(total)?;
    let mut remarks = vec![
        "Free is on hand less reserved. Most of the pieces set aside go back once the pumps are kitted.".to_string(),
    ];
    let cut = trolley.pieces.iter().any(|one| job.stock[one.item].cut.is_some());
    if cut {
        remarks.push("Pieces named by a plate and a fit code are cut from plate: set the plate aside and cut when the pump is measured.".into());
    }
    if !trolley.plates.is_empty() {
        remarks.push(format!(
            "Too few plates of {}, unless several shapes are cut from one plate (not examined).",
            words::provision::plates(job, &trolley.plates)
        ));
    }
    for remark in remarks {
        page.across(&remark, &styles.prose, height(&[(&remark, 140)]))?;
    }
    Ok(page.sheet)
}
