//! The picking list on the page.

use maud::{Markup, html};

use super::OTHER_UNIT;
use super::page::PrintedPlan;
use super::picking::{LEAD, NOTHING, packs_opened, tags, totals, walk};
use crate::cutting::Layout;
use crate::plain_text::cleaned;
use crate::words;

/// Items in the order of their bins, each with cells for a reading and for the count that is left.
pub(super) fn picking(plan: &PrintedPlan<'_>, running: &Markup) -> Markup {
    let verified = plan.verified;
    let job = verified.job();
    let pumps: Vec<usize> = match plan.pumps {
        Some(pumps) => pumps.iter().copied().collect(),
        None => (0..job.pumps.len()).collect(),
    };
    let (taken, spoiled, before) = (verified.taken(), verified.spoiled(), verified.before());
    let mut issued = vec![0; job.stock.len()];
    let mut stacked = 0;
    for &pump in pumps.iter().filter(|&&pump| !verified.leaves_closed(pump)) {
        verified.picks(pump).for_each(|pick| issued[pick.item] += pick.count);
        let bag = verified.bags()[pump].iter().flat_map(|share| &share.picks);
        let bag: u32 = bag.map(|pick| pick.count).sum();
        stacked += verified.picks(pump).map(|pick| pick.count).sum::<u32>() - bag;
    }
    let order = walk(job, &issued);
    let tags = tags(verified, pumps.iter().copied());
    let not_fit = words::not_fit_tags(verified).join(", ");
    let layouts = &verified.plan().layouts;
    html! {
        section.sheet.picking aria-label="Picking list" {
            (running)
            h1 { "Picking list" }
            p { (LEAD) }
            @if plan.pumps.is_some() { p.strong { "Only for " (pumps.len()) " of " (words::planned_for(job)) "." } }
            @if plan.pumps.is_none() {
                @if let Some(bags) = plan.place.and_then(|place| words::first_reopen(&place.put_back.join(", "))) { p.strong { (cleaned(&bags)) } }
                @if let Some(bags) = words::closed(verified) { p { (cleaned(&bags)) } }
            }
            @if plan.pumps.is_none() && !not_fit.is_empty() {
                p.alarm { (words::NOT_FIT) ", nothing to pick: " (cleaned(&not_fit)) "." }
            }
            div.scroll {
                table.list.walk {
                    thead { tr {
                        @for head in ["Bin", "Item", "Kind", "Fit", "Thickness", OTHER_UNIT, "Quantity", "For tags (pieces each)", "Picked", "Measured", "Left in bin", "Initials"] {
                            th scope="col" { (head) }
                        }
                    } }
                    tbody {
                        @for &index in &order {
                            @let item = &job.stock[index];
                            @let thickness = item.size.map(|size| size.thickness).or(item.section);
                            tr {
                                td.strong { (cleaned(item.bin.as_deref().unwrap_or("no bin"))) }
                                th scope="row" { (cleaned(&item.item)) }
                                td { (cleaned(&item.kind)) }
                                td { (cleaned(item.fit.as_str())) }
                                @match thickness.map(|thickness| (thickness, words::natural_unit(thickness))) {
                                    Some((thickness, own)) => {
                                        td.strong { (words::thickness(thickness, own)) }
                                        td { (words::about(thickness.into(), own.other())) }
                                    },
                                    None => { td {} td {} },
                                }
                                td.num { span.count { (issued[index]) } }
                                td {
                                    (cleaned(&tags[index].join(", ")))
                                    @if let Some(packs) = packs_opened(job, index, taken[index]) { ". " (packs) }
                                }
                                td.tick { i role="img" aria-label="box to tick" {} }
                                td.write {} td.write {
                                    @if item.cut.is_none() {
                                        span.small { "should be " (before[index].saturating_sub(issued[index] + spoiled[index])) }
                                    }
                                } td.write {}
                            }
                        }
                        @for alike in layouts.chunk_by(|one, next| one == next).filter(|_| plan.pumps.is_none()) {
                            (plates(plan, alike))
                        }
                    }
                }
            }
            @if order.is_empty() { p.alarm { (NOTHING) } }
            p.strong { (totals(order.len(), issued.iter().sum(), stacked)) }
            @if let Some(waiting) = words::not_measured(job) { p { (waiting) } }
        }
    }
}

/// Plates that are cut up in one way.
fn plates(plan: &PrintedPlan<'_>, alike: &[Layout]) -> Markup {
    let job = plan.verified.job();
    let lot = &job.plates[alike[0].plate];
    html! {
        tr {
            td.strong { (cleaned(lot.bin.as_deref().unwrap_or(""))) }
            th scope="row" { (cleaned(&lot.item)) }
            td { (cleaned(&lot.kind)) }
            td {} td {} td {}
            td.num { span.count { (alike.len()) } }
            td { "Cut into: " (cleaned(&words::strips(job, &alike[0]))) }
            td.tick { i role="img" aria-label="box to tick" {} }
            td.write {} td.write {} td.write {}
        }
    }
}
