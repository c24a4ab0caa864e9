//! `gapwright stack`: the engineer's stack-up of some pumps, with draws at random and sweeps.

mod args;
mod told;

use std::time::Duration;

pub(super) use args::Args;
use args::{Reading, Wanted};

pub(super) use told::tell_pump;

use super::Common;
use super::run::{Ended, Refusal, Run};
use crate::analysis::Analysed;
use crate::choose::choose;
use crate::choose::control::Control;
use crate::plan::Kit;
use crate::verify::verify;
use crate::write;

pub(super) fn run(args: &Args, common: &Common) -> Ended {
    let mut run = Run::begin(common, args.files());
    let mut read = run.read("reading and checking the workbooks", |memory, problems| {
        args.read(memory, problems)
    })?;
    run.work("choosing the pieces", |run| {
        let control = run.control(&read.job.policy);
        choose_pieces(args, &mut read, &control)
    })?;
    let analysed = run.work("working out the stack-ups", |_| analyse(args, &read))?;
    let workbook = run.write("writing the stack-up", |date| {
        write::analysis::workbook(&read.job, &analysed, date)
    });
    let status = run.deliver(workbook, String::new)?;
    let without = read.wanted.iter().filter(|one| one.packs.is_none());
    let left_out = without.map(|one| read.job.pumps[one.pump].tag.as_str());
    let left_out: Vec<&str> = left_out.collect();
    told::tell(&read.job, &analysed, (&left_out, args.why_none()), &run);
    Ok(status)
}

/// Chooses the pieces of each pump, if they are not given, for all pumps together.
fn choose_pieces(args: &Args, read: &mut Reading, control: &Control<'_>) -> Result<(), Refusal> {
    if read.afresh {
        let plan = choose(&read.job, control);
        let plan = plan.map_err(|error| args.too_much(&error))?;
        // The checker has the last word on chosen pieces here as well.
        let verified = verify(read.job.clone(), plan).map_err(Refusal::Breaches)?;
        for one in &mut read.wanted {
            one.packs = match &verified.plan().kits[one.pump] {
                Kit::Served(packs) => Some(packs.clone()),
                Kit::Short(_) => None,
            };
        }
    }
    match read.wanted.iter().any(|one| one.packs.is_some()) {
        true => Ok(()),
        false => Err(args.nothing_to_do(read)),
    }
}

/// Draws at random and sweeps of each pump that has pieces.
fn analyse(args: &Args, read: &Reading) -> Result<Vec<Analysed>, Refusal> {
    let job = &read.job;
    let limit = Duration::from_secs(job.policy.time_limit.into());
    let with_pieces = |one: &'_ Wanted| Some((one.pump, one.packs.clone()?));
    let mut all = Vec::new();
    for one in &read.wanted {
        let Some((pump, packs)) = with_pieces(one) else {
            continue;
        };
        let mut analysed = Analysed::of(job, pump, packs, args.draws);
        for sweep in &one.sweeps {
            match args.rechoose {
                // Each sweep has the limit for itself: a step that is not the best would not show it.
                true => analysed
                    .sweep_anew(job, sweep.clone(), &Control::unlimited().limit(limit))
                    .map_err(|error| args.too_much(&error))?,
                false => analysed.sweep_held(job, sweep.clone()),
            }
        }
        all.push(analysed);
    }
    Ok(all)
}
