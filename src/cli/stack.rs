//! `gapwright stack`: the engineer's stack-up of some pumps, with draws at random and sweeps.

mod args;
mod told;

use std::time::Duration;

pub(super) use args::Args;
use args::{Reading, Wanted};

pub(super) use told::tell_pump;

use super::run::{Ended, Refusal, Run};
use super::{Common, MISSED};
use crate::analysis::{Analysed, NotFit, nearest_of};
use crate::choose::choose;
use crate::choose::control::{Control, Room};
use crate::formats;
use crate::json;
use crate::plan::Kit;
use crate::verify::verify;
use crate::write;

pub(super) fn run(args: &Args, common: &Common) -> Ended {
    let mut run = Run::begin(common, args.files());
    let mut read = run.read("reading and checking the workbooks", |memory, problems| {
        args.read(memory, problems)
    })?;
    let pumps = read.wanted.iter().map(|one| &read.job.pumps[one.pump]);
    run.has_memory_for(&read.job, pumps, &args.pumps)?;
    run.work("choosing the pieces", |run| {
        let room = run.room();
        let control = run.control(&read.job.policy, &room);
        choose_pieces(args, &mut read, &control)
    })?;
    let analysed =
        run.work("working out the stack-ups", |run| analyse(args, &read, &run.room()))?;
    let not_fit = run.work("looking for the nearest kits", |_| Ok(not_fit(&read)))?;
    let job = &read.job;
    let workbook = run.write("writing the stack-up", |date| {
        write::analysis::workbook(job, &analysed, &not_fit, date)
    });
    let text = || formats::text(&json::stack::stack(job, &analysed, &not_fit));
    let all_met = not_fit.is_empty() && analysed.iter().all(|one| one.conforms(job));
    if args.fail && !all_met {
        run.end_with(MISSED);
    }
    let status = run.deliver(workbook, text)?;
    told::tell(job, &analysed, (&not_fit, args.why_none()), &run);
    Ok(status)
}

/// Pumps that have no pieces, each with the nearest kit out of what the others leave.
fn not_fit(read: &Reading) -> Vec<NotFit> {
    let without = read.wanted.iter().filter(|one| one.packs.is_none());
    let short = without.map(|one| (one.pump, one.shortfalls.clone()));
    nearest_of(&read.job, short, &read.taken)
}

/// Chooses the pieces of each pump, if they are not given, for all pumps together.
fn choose_pieces(args: &Args, read: &mut Reading, control: &Control<'_>) -> Result<(), Refusal> {
    if read.afresh {
        let plan = choose(&read.job, control);
        let plan = plan.map_err(|error| args.too_much(&error))?;
        // The checker has the last word on chosen pieces here as well.
        let verified = verify(read.job.clone(), plan).map_err(Refusal::Breaches)?;
        let plan = verified.plan();
        read.taken = [plan.issued(&read.job), plan.plates_cut(&read.job)];
        for one in &mut read.wanted {
            match &plan.kits[one.pump] {
                Kit::Served(packs) => one.packs = Some(packs.clone()),
                Kit::Short(shortfalls) => one.shortfalls.clone_from(shortfalls),
            }
        }
    }
    match read.wanted.iter().any(|one| one.packs.is_some()) {
        true => Ok(()),
        false => Err(args.nothing_to_do(read)),
    }
}

/// Draws at random and sweeps of each pump that has pieces.
fn analyse(args: &Args, read: &Reading, room: &Room) -> Result<Vec<Analysed>, Refusal> {
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
            // Each sweep has the limit for itself: a step that is not the best would not show it.
            let control = Control::unlimited().limit(limit).within(room);
            let swept = match args.rechoose {
                true => analysed.sweep_anew(job, sweep, &control),
                false => {
                    let drawer = args.has_stock().then_some(&control);
                    analysed.sweep_held(job, sweep, drawer)
                }
            };
            swept.map_err(|error| args.too_much(&error))?;
        }
        for map in &one.maps {
            analysed.map(job, map.clone());
        }
        all.push(analysed);
    }
    Ok(all)
}
