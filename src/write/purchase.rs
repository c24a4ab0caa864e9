//! The workbook of `gapwright reorder`: what to order, grouped by supplier, and what speaks for it.

mod basis;
mod levels;
mod order;
mod pumps;
pub(crate) mod reach;
mod summary;

use super::{WriteError, start};
use crate::consumables::serving;
use crate::job::Job;
use crate::plan::{Objective, ObjectiveValue};
use crate::reorder::{Buy, PurchaseReport, ReorderOptions};
use crate::verify::VerifiedPurchase;
use crate::words;

/// A verified purchase with what was asked and what follows from it, ready to be written.
pub struct Ordered<'a> {
    /// The job as it was read.
    pub job: &'a Job,
    /// The question.
    pub question: &'a ReorderOptions,
    /// Packs that can be bought, and what the stock gives without.
    pub buy: &'a Buy,
    /// Packs that are bought, with the job that they make.
    pub bought: &'a VerifiedPurchase,
    /// Levels, bags and drawers after it.
    pub report: &'a PurchaseReport,
}

/// The workbook's bytes; the question's date is printed on it.
///
/// # Errors
/// [`WriteError::Workbook`] and [`WriteError::Date`].
pub fn workbook(ordered: &Ordered<'_>) -> Result<Vec<u8>, WriteError> {
    let (mut workbook, styles) = start("Purchase", &ordered.question.date)?;
    workbook.push_worksheet(summary::sheet(ordered, &styles)?);
    workbook.push_worksheet(order::sheet(ordered, &styles)?);
    workbook.push_worksheet(pumps::sheet(ordered, &styles)?);
    workbook.push_worksheet(levels::sheet(ordered, &styles)?);
    reach::add(&mut workbook, ordered, &styles)?;
    workbook.push_worksheet(basis::sheet(ordered, &styles)?);
    Ok(workbook.save_to_buffer()?)
}

/// The proof of a purchase, in words.
pub fn proof(ordered: &Ordered<'_>) -> String {
    let job = ordered.job;
    let plan = &ordered.bought.purchase().plan;
    let open: Vec<String> = plan
        .goals
        .iter()
        .filter(|goal| !goal.proven())
        .map(|goal| {
            format!(
                "{} {} found, bound {}",
                words::objective(goal.objective),
                words::goal_value(job, goal, goal.value),
                words::goal_value(job, goal, goal.bound),
            )
        })
        .collect();
    if !open.is_empty() {
        let why = plan.stopped_by.map_or("search ended", |stop| stop.words());
        return format!("Best found, not proven: {}. Reason: {why}.", open.join("; "));
    }
    let cost = plan.goal(Objective::Purchase).map_or(0, |goal: &ObjectiveValue| goal.value);
    let cost = words::money(cost, job);
    match ordered.buy.market.budget {
        None if plan.goal(Objective::Purchase).is_some_and(|goal| goal.value == 0) => {
            "Proven: no purchase kits more pumps in time, by priority (packs back to level not counted).".into()
        }
        None => format!(
            "Proven: no purchase kits more pumps in time, by priority; of those that kit as many, none costs less than {cost} (packs back to level not counted)."
        ),
        Some(budget) => format!(
            "Proven: no purchase within the budget of {} kits more pumps, by priority; of those that kit as many, none costs less than {cost} (packs back to level not counted).",
            words::money(budget.raw(), job)
        ),
    }
}

/// How a pump stands after the purchase, if it is still short: what it waits for, or why.
pub fn still_short(ordered: &Ordered<'_>, pump: usize) -> Option<String> {
    let job = ordered.job;
    let purchase = ordered.bought.purchase();
    let crate::plan::Kit::Short(shorts) = &purchase.plan.kits[pump] else {
        return None;
    };
    let of = &job.pumps[pump];
    if let Some(late) = &purchase.late[pump] {
        let item = &job.stock[late.item].item;
        return Some(format!(
            "due {}, before its pieces can arrive: {item} ordered today arrives on {}",
            of.due_shown(),
            crate::day::written(late.arrives)
        ));
    }
    let why = words::reasons(ordered.bought.delivered(), of, shorts);
    let budget = match ordered.buy.market.budget {
        Some(_) => " (with what the budget buys)",
        None => "",
    };
    Some(format!("{why}{budget}"))
}

/// Remarks for a purchaser, beside the figures.
pub fn remarks(ordered: &Ordered<'_>) -> Vec<String> {
    let Ordered { job, report, .. } = ordered;
    let mut remarks = Vec::new();
    if let Some(served) = report.with_levels {
        let after = ordered.bought.purchase().plan.served();
        remarks.push(match served > after {
            true => format!(
                "With the packs back to level in stock as well, {served} pumps could be kitted; due dates of these packs are not checked."
            ),
            false => "The packs back to level would serve no further pump.".into(),
        });
    }
    let items = |wanted: &dyn Fn(usize) -> bool| -> Vec<&str> {
        let indices = (0..job.stock.len()).filter(|&index| job.stock[index].cut.is_none());
        indices.filter(|&index| wanted(index)).map(|index| job.stock[index].item.as_str()).collect()
    };
    let mut tell = |names: Vec<&str>, what: &str| {
        if !names.is_empty() {
            remarks.push(format!("{what}: {}.", listed(&names)));
        }
    };
    tell(
        items(&|i| job.stock[i].size.is_some() && !job.stock[i].offer.for_sale()),
        "Not for sale (no Supplier, Pack qty or Lead days in the stock workbook)",
    );
    tell(
        items(&|i| {
            let line = &report.lines[i];
            !job.stock[i].offer.for_sale() && (line.below || line.bag_lacks > 0)
        }),
        "Below level or missing from bags, but not ordered (not for sale)",
    );
    tell(
        items(&|i| {
            let terms = &job.stock[i].offer;
            let free = terms.unit_cost.is_none_or(|cost| cost.raw() == 0);
            terms.for_sale() && free
        }),
        "Without a price, or with one of 0, so counted as free",
    );
    tell(
        job.plates.iter().map(|lot| lot.item.as_str()).collect(),
        "Plates are not ordered here; order these by hand if they run low",
    );
    let pumps = |wanted: &dyn Fn(&crate::pump::Pump) -> bool| -> Vec<&str> {
        let pumps = job.pumps.iter().filter(|pump| wanted(pump));
        pumps.map(|pump| pump.tag.as_str()).collect()
    };
    tell(
        pumps(&|pump| pump.due.as_ref().is_none_or(|due| due.serial.is_infinite())),
        "No due date, assumed able to wait",
    );
    tell(
        pumps(&|pump| pump.is_due_before(ordered.buy.market.today)),
        "Due before the day of the order, so no purchase arrives in time",
    );
    remarks.extend(late_bags(ordered));
    remarks.extend(words::unused(job));
    remarks
}

/// Pumps that can be kitted while their bags lack something on the day on which they are due: what is ordered for
/// them comes later.
fn late_bags(ordered: &Ordered<'_>) -> Option<String> {
    let Ordered { job, report, .. } = ordered;
    let delivered = ordered.bought.delivered();
    let mut late = Vec::new();
    for (pump, bag) in job.pumps.iter().zip(&report.bags) {
        let shares = bag.iter().enumerate();
        for (need, share) in shares.filter(|(_, share)| share.lacking > 0) {
            let rows = serving(delivered, pump, need);
            let Some(item) = rows.first().map(|&first| &job.stock[first]) else {
                continue;
            };
            let there = ordered.buy.market.today + i64::from(item.offer.lead_days.unwrap_or(0));
            let Some(due) = pump.due.as_ref().filter(|_| pump.is_due_before(there)) else {
                continue;
            };
            if item.offer.for_sale() {
                late.push(format!(
                    "{} is missing {} of {} (due {}, arrives on {})",
                    pump.tag,
                    share.lacking,
                    item.item,
                    due.shown,
                    crate::day::written(there),
                ));
            }
        }
    }
    let late: Vec<&str> = late.iter().map(String::as_str).collect();
    (!late.is_empty())
        .then(|| format!("Consumables that arrive after their pumps are due: {}.", listed(&late)))
}

/// Some names of a long list.
fn listed(names: &[&str]) -> String {
    const MOST: usize = 40;
    let shown = names.iter().take(MOST).copied().collect::<Vec<_>>();
    let more = match names.len().saturating_sub(MOST) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    format!("{}{more}", shown.join(", "))
}
