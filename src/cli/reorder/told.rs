//! A purchase in a few lines.

use crate::cli::run::Run;
use crate::cli::voice::{must_see, out};
use crate::words;
use crate::write::purchase::{self, Ordered};

/// A short account of the purchase on the terminal.
pub(super) fn tell(ordered: &Ordered<'_>, run: &Run) {
    let to = run.voice();
    let Ordered { job, report, .. } = ordered;
    let bought = ordered.bought.purchase();
    let all = job.pumps.len();
    out!(
        to,
        "{} of {all} pumps can be kitted from today's stock, {} after the purchase ({} rule).",
        ordered.buy.today.served(),
        bought.plan.served(),
        job.policy.acceptance
    );
    out!(to, "{}", purchase::proof(ordered));
    for (item, line) in job.stock.iter().zip(&report.lines) {
        let packs = line.cartons + line.bag_cartons;
        if packs == 0 {
            continue;
        }
        let lead = match item.offer.lead_days {
            Some(days) => format!(
                ", arrives on {}",
                crate::day::written(ordered.buy.market.today + i64::from(days))
            ),
            None => String::new(),
        };
        let price = item.offer.unit_cost.map_or(String::new(), |cost| {
            let pieces = i64::from(packs) * i64::from(item.carton_qty);
            format!(", {}", words::money(cost.raw().saturating_mul(pieces), job))
        });
        let from = item.offer.supplier.as_deref();
        let from = from.map_or(String::new(), |from| format!(" from {from}"));
        out!(
            to,
            "  {packs} pack{} of {} (of {}){from}{price}{lead}",
            if packs == 1 { "" } else { "s" },
            item.item,
            item.carton_qty
        );
    }
    let level: u32 = report.lines.iter().map(|line| line.top_up.map_or(0, |t| t.cartons)).sum();
    if level > 0 {
        let cost = job.stock.iter().zip(&report.lines).map(|(item, line)| {
            let pieces = i64::from(line.top_up.map_or(0, |top_up| top_up.pieces));
            item.offer.unit_cost.map_or(0, |cost| cost.raw().saturating_mul(pieces))
        });
        out!(
            to,
            "Back to level: {level} more pack{}, {}; see the sheet Order.",
            if level == 1 { "" } else { "s" },
            words::money(cost.fold(0, i64::saturating_add), job)
        );
    }
    for at in 0..all {
        if let Some(why) = purchase::still_short(ordered, at) {
            must_see!(to, "  {} still {}: {why}.", job.pumps[at].tag, words::NOT_FIT);
        }
    }
    for remark in purchase::remarks(ordered) {
        out!(to, "{remark}");
    }
    run.tell_written();
    out!(to, "Measure what comes in before it counts, and plan again with `gapwright kit`.");
}
