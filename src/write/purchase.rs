//! The workbook of `gapwright reorder`: what to order, grouped by supplier, and what speaks for it.

pub mod json;
mod levels;
mod order;
mod pumps;
mod reach;
mod summary;

use super::style::Styles;
use super::{WriteError, basis, start};
use crate::job::Job;
use crate::plan::{Aim, Goal};
use crate::reorder::{Question, Report};
use crate::words;

/// A report with what it was asked for.
pub struct Ordered<'a> {
    /// The job as it was read.
    pub job: &'a Job,
    /// What was asked.
    pub question: &'a Question,
    /// What came out.
    pub report: &'a Report,
}

/// The workbook's bytes; the question's date is printed on it.
///
/// # Errors
/// [`WriteError::Workbook`] and [`WriteError::Date`].
pub fn workbook(ordered: &Ordered<'_>) -> Result<Vec<u8>, WriteError> {
    let date = &ordered.question.date;
    let mut workbook = start("Purchase", date)?;
    let styles = Styles::new();
    summary::write(workbook.add_worksheet(), ordered, &styles)?;
    order::write(workbook.add_worksheet(), ordered, &styles)?;
    pumps::write(workbook.add_worksheet(), ordered, &styles)?;
    levels::write(workbook.add_worksheet(), ordered, &styles)?;
    reach::write(workbook.add_worksheet(), ordered, &styles)?;
    basis::of_purchase(workbook.add_worksheet(), ordered, &styles)?;
    Ok(workbook.save_to_buffer()?)
}

/// What is proven of a purchase, in words.
pub fn proof(job: &Job, report: &Report) -> String {
    let plan = &report.bought.purchase().plan;
    let open: Vec<String> = plan
        .goals
        .iter()
        .filter(|goal| !goal.proven())
        .map(|goal| {
            format!(
                "{} {} found, bound {}",
                goal.aim.label(),
                words::goal_value(job, goal, goal.value),
                words::goal_value(job, goal, goal.bound),
            )
        })
        .collect();
    if !open.is_empty() {
        let why = plan.stopped_by.map_or("search ended", |stop| stop.words());
        return format!(
            "Best found, not proven least: {}. Reason: {why}.",
            open.join("; ")
        );
    }
    let cost = plan.goal(Aim::Purchase).map_or(0, |goal: &Goal| goal.value);
    let cost = words::money(cost, job);
    match report.market.budget {
        None if plan.goal(Aim::Purchase).is_some_and(|goal| goal.value == 0) => {
            "Proven: nothing that can be bought serves more by priority in time.".into()
        }
        None => format!(
            "Proven: nothing that can be bought serves more by priority in time, and no purchase that \
             serves as much costs less than {cost}."
        ),
        Some(budget) => format!(
            "Proven: no purchase within the budget of {} serves more by priority, and none that serves \
             as much costs less than {cost}.",
            words::money(budget.raw(), job)
        ),
    }
}

/// How a pump stands after the buy, if it is still short: what it waits for, or why.
pub fn still_short(ordered: &Ordered<'_>, pump: usize) -> Option<String> {
    let Ordered { job, report, .. } = ordered;
    let purchase = report.bought.purchase();
    let crate::plan::Kit::Short(shorts) = &purchase.plan.kits[pump] else {
        return None;
    };
    let of = &job.pumps[pump];
    if let Some(late) = &purchase.late[pump] {
        let item = &job.stock[late.item].item;
        let due = of.due.as_ref().map_or("", |due| due.shown.as_str());
        return Some(format!(
            "due {due}, before what it needs can come: {item} ordered today is there on {}",
            crate::reorder::date_of(late.arrives)
        ));
    }
    let delivered = report.bought.delivered();
    let why: Vec<String> = shorts
        .iter()
        .map(|short| {
            format!(
                "{}: {}",
                words::place(delivered, of, short),
                words::reason(delivered, of, short)
            )
        })
        .collect();
    let budget = match report.market.budget {
        Some(_) => " (once the budget is spent)",
        None => "",
    };
    Some(format!("{}{budget}", why.join("; ")))
}

/// What a purchaser should know beside the figures.
pub fn remarks(ordered: &Ordered<'_>) -> Vec<String> {
    let Ordered { job, report, .. } = ordered;
    let mut remarks = Vec::new();
    let bare: Vec<&str> = job
        .stock
        .iter()
        .filter(|item| item.size.is_some() && item.cut.is_none() && !item.terms.for_sale())
        .map(|item| item.item.as_str())
        .collect();
    if !bare.is_empty() {
        remarks.push(format!(
            "Not for sale, since the stock workbook names neither supplier, pack nor lead days of them: {}.",
            listed(&bare)
        ));
    }
    let unhurried: Vec<&str> = job
        .stock
        .iter()
        .filter(|item| item.terms.for_sale() && item.terms.lead_days.is_none())
        .map(|item| item.item.as_str())
        .collect();
    if !unhurried.is_empty() {
        remarks.push(format!(
            "Taken to be there on the day of the order, since no Lead days are stated: {}.",
            listed(&unhurried)
        ));
    }
    let unread: Vec<&str> = job
        .pumps
        .iter()
        .filter(|pump| {
            pump.due
                .as_ref()
                .is_some_and(|due| due.serial.is_infinite())
        })
        .map(|pump| pump.tag.as_str())
        .collect();
    if !unread.is_empty() {
        remarks.push(format!(
            "Due is no date, so these pumps are taken to wait: {}.",
            listed(&unread)
        ));
    }
    #[expect(
        clippy::cast_precision_loss,
        reason = "days since 1899 are far below 2^53"
    )]
    let past = |serial: f64| serial.is_finite() && serial.floor() < report.market.today as f64;
    let overdue: Vec<&str> = job
        .pumps
        .iter()
        .filter(|pump| pump.due.as_ref().is_some_and(|due| past(due.serial)))
        .map(|pump| pump.tag.as_str())
        .collect();
    if !overdue.is_empty() {
        remarks.push(format!(
            "Due before the day of the order, so nothing that is bought comes in time: {}.",
            listed(&overdue)
        ));
    }
    remarks
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
