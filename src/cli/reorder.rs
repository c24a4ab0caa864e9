//! `gapwright reorder`: what to buy, for this outage and back to level.

mod args;
mod told;

pub(super) use args::Args;

use super::Common;
use super::run::{Ended, Run, use_threads};
use crate::formats;
use crate::json;
use crate::reorder::{After, buy, report};
use crate::verify::verify_purchase;
use crate::write::purchase::{self, Ordered};

pub(super) fn run(args: &Args, common: &Common) -> Ended {
    let mut run = Run::begin(common, args.files());
    let date = run.date().to_string();
    let read = run.read("reading and checking the workbooks", |memory, problems| {
        args.read(&date, memory, problems)
    })?;
    use_threads(args.threads.threads);
    let buy = run.solve(&read.job.policy, |solving| {
        let control = |part: &str| solving.control(part);
        buy(&read.job, &read.question, read.budget, control)
            .map_err(|refused| args.refusal(refused, &read))
    })?;
    let purchase = buy.purchase.clone();
    let bought = run.check(verify_purchase(&read.job, &buy.market, purchase))?;
    let report = run.solve(&read.job.policy, |solving| {
        let after = After { delivered: bought.delivered(), purchase: bought.purchase() };
        let (log, control) = (read.log.as_ref(), |part: &str| solving.control(part));
        Ok(report(&read.job, &read.question, after, log, control))
    })?;
    let ordered = Ordered {
        job: &read.job,
        question: &read.question,
        buy: &buy,
        bought: &bought,
        report: &report,
    };
    let workbook = run.write("writing the purchase", |_| purchase::workbook(&ordered));
    let status = run.deliver(workbook, || formats::text(&json::purchase::purchase(&ordered)))?;
    told::tell(&ordered, &run);
    Ok(status)
}
