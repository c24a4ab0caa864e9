//! `gapwright provision`: what to set aside before an outage is measured.
//!
//! # Decision
//!
//! Gaps end with status 0, as short pumps do in `kit`: it did as asked, and reports them in words.

mod args;
mod told;

pub(super) use args::Args;

use super::Common;
use super::run::{Ended, Run, use_threads};
use crate::json;
use crate::provision::provision;
use crate::verify::verify_provision;
use crate::write::provision::Provided;
use crate::{formats, write};

pub(super) fn run(args: &Args, common: &Common) -> Ended {
    let mut run = Run::begin(common, args.files());
    let read = run.read("reading and checking the workbooks", |memory, problems| {
        args.read(memory, problems)
    })?;
    use_threads(args.threads.threads);
    let provision = run.solve(&read.outlook.job().policy, |solving| {
        let control = solving.control("listing the ways to kit each pump");
        provision(&read.outlook, &read.question, &control).map_err(|fault| args.refusal(&fault))
    })?;
    let verified = run.check(verify_provision(read.outlook, provision))?;
    let provided = Provided::of(&verified, &read.question, read.level);
    let workbook =
        run.write("writing the provision", |date| write::provision::workbook(&provided, date));
    let status = run.deliver(workbook, || formats::text(&json::provision::plain(&provided)))?;
    told::tell(&verified, &read.question, &run);
    Ok(status)
}
