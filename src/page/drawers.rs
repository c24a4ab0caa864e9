//! The drawers: each item with its pieces as one bar, and who has them.

use std::collections::BTreeMap;

use maud::{Markup, PreEscaped, html};

use super::bar;
use crate::show::{natural_unit, thickness, tolerance};
use crate::verify::Verified;
use crate::words;

/// The page around the table.
pub(super) fn drawers(links: &Markup, version: u64, part: &dyn Fn(&str) -> String) -> Markup {
    html! {
        header.top {
            h1 { "Drawers" }
            (links)
            p #live role="status" aria-live="polite" {}
        }
        main data-version=(version) { (PreEscaped(part("drawers"))) }
    }
}

/// The table of the items of a plan.
pub(super) fn table(planned: Option<&Verified>) -> Markup {
    html! {
        section #drawers.drawers aria-label="Items" {
            @match planned {
                None => { p.busy { "Planning." } }
                Some(planned) => { (of_plan(planned)) }
            }
        }
    }
}

fn of_plan(planned: &Verified) -> Markup {
    let (job, plan) = (planned.job(), planned.plan());
    let (issued, left) = (planned.issued(), planned.left());
    let mut takers: Vec<BTreeMap<&str, u32>> = vec![BTreeMap::new(); job.stock.len()];
    for (at, pump) in job.pumps.iter().enumerate() {
        for pick in planned.picks(at) {
            *takers[pick.item].entry(&pump.tag).or_default() += pick.count;
        }
    }
    let lots = job.stock.iter().enumerate().filter(|(_, lot)| lot.cut.is_none());
    html! {
        p.hint { "Each bar is what is on hand: planned for kits (dark), left in the bin (pale), reserved for others (dashed). Choose an item to see who has it." }
        div.scroll tabindex="0" role="group" aria-label="Items, to scroll" { table.plain {
            thead { tr {
                @for head in ["Item", "Bin", "Kind", "Fit", "Thickness", "Planned, left, reserved", "On hand", "Planned", "Left", "One more would save"] { th scope="col" { (head) } }
            } }
            tbody {
                @for (at, lot) in lots {
                    @let worth = plan.worth.iter().find(|worth| worth.item == at);
                    @let reserved = lot.on_hand.saturating_sub(lot.available());
                    tr id={"i" (at)} {
                        th scope="row" {
                            @if takers[at].is_empty() { (lot.item) } @else {
                                details { summary { (lot.item) }
                                    ul { @for (tag, count) in &takers[at] { li { (tag) ": " (count) } } }
                                }
                            }
                        }
                        td { (lot.bin.as_deref().unwrap_or("")) }
                        td { (lot.kind) }
                        td { (lot.fit.as_str()) }
                        td.number { @if let Some(size) = &lot.size {
                            @let unit = natural_unit(size.thickness);
                            (thickness(size.thickness, unit)) " " span.remark { (tolerance(size.tolerance, unit)) }
                        } }
                        td { (bar::pieces(issued[at], left[at].saturating_sub(reserved), reserved)) }
                        td.number { (lot.on_hand) }
                        td.number { (issued[at]) }
                        td.number { (left[at]) }
                        td { (worth.map_or_else(|| "not worked out".to_string(), |worth| words::worth(job, worth))) }
                    }
                }
            }
        } }
    }
}
