//! `kit --outage`: a plan within a running outage, on the stock of its ledger.
//!
//! The workbooks are taken over with their bytes, pumps at the bench are left alone and judged on the figures of today, bags
//! that are packed stay closed unless more can be served, and the plan is entered with the numbers of its kits before its
//! workbook is written.

mod taken;

use std::path::Path;

use super::{Args, told};
use crate::cli::outage::{book, changed, facts, job_with, name, request, sound};
use crate::cli::run::{Ended, Run, Stop, use_threads};
use crate::cli::voice::{must_see, out};
use crate::cli::{Common, DONE};
use crate::job::Job;
use crate::model::NOT_FIT;
use crate::outage::{Outage, OutagePump, PlaceInOutage, PlanBooking, PumpState, TookOver};
use crate::outage_file::{Draft, FileBytes, OutageFile, OutageFileError};
use crate::outage_kit::{NO_PLAN, judge_others, plan_booking};
use crate::show::counted;
use crate::verify::verify;
use taken::{Taken, is_named, take_over};

pub(super) use taken::Counts;

pub(super) fn run(args: &Args, path: &Path, common: &Common) -> Ended {
    let mut run = Run::begin(common, args.files());
    let there = there(&mut run, path)?;
    let outage = there.as_ref().map(|file| file.outage().clone()).unwrap_or_default();
    let Taken { job, in_play, taken, bytes, after } =
        run.read("reading and checking the workbooks", |memory, problems| {
            let job = job_with(&args.sources(memory), &outage, problems)?;
            take_over(args, path, job, &outage, problems)
        })?;
    if in_play.pumps.is_empty() {
        return judge_only(run, path, there, (taken, bytes), [&job, &in_play], [&outage, &after]);
    }
    run.has_memory_for(&in_play, in_play.pumps.iter(), &args.pumps)?;
    use_threads(args.threads.threads);
    let plan = run.solve(&in_play.policy, |solving| args.plan(&in_play, solving))?;
    let verified = run.check(verify(in_play, plan))?;
    let plan = plan_booking(&verified, &job, &after);
    // The ledger comes first: a plan on paper that it does not know could be packed and not booked.
    let file = enter(&mut run, path, there, (taken, bytes), plan)?;
    let changes = changed(&run, &file, &job);
    let place = PlaceInOutage::of(&name(path), file.outage(), changes);
    let status = args.deliver(&mut run, &verified, Some(&place))?;
    tell(&run, path, file.outage(), &outage);
    tell_changes(&run, &place);
    Ok(status)
}

fn tell_changes(run: &Run, place: &PlaceInOutage) {
    let to = run.voice();
    let Some(before) = place.replaces() else { return };
    if place.changes.is_empty() {
        return out!(to, "Nothing differs from plan {before}: every slip still counts.");
    }
    out!(to, "Changes from plan {before} (sheet Changes):");
    told::tell_changes(&place.changes, &place.bags, to);
}

/// Judges the pieces that are out where no pump is left to plan: no workbook is written.
fn judge_only(
    mut run: Run,
    path: &Path,
    there: Option<OutageFile>,
    files: (TookOver, FileBytes),
    [job, in_play]: [&Job; 2],
    [before, after]: [&Outage; 2],
) -> Ended {
    let mut plan = PlanBooking { code: NO_PLAN.into(), ..PlanBooking::default() };
    judge_others(job, after, in_play, &mut plan);
    let file = enter(&mut run, path, there, files, plan)?;
    let status = run.end(DONE)?;
    must_see!(run.voice(), "No pump is left to plan: no workbook was written.");
    tell(&run, path, file.outage(), before);
    Ok(status)
}

/// The outage file, if it was begun.
fn there(run: &mut Run, path: &Path) -> Result<Option<OutageFile>, Stop> {
    let opened = run.look("checking the outage file", |_| match is_named(path) {
        true => OutageFile::open_begun(path),
        false => Ok(None),
    });
    sound(run, path, opened)
}

/// Enters workbooks and plan into the ledger; what is there already is not entered again.
fn enter(
    run: &mut Run,
    path: &Path,
    there: Option<OutageFile>,
    (taken, bytes): (TookOver, FileBytes),
    plan: PlanBooking,
) -> Result<OutageFile, Stop> {
    let mut file = match there {
        Some(file) => file,
        None => {
            let begun: Result<OutageFile, OutageFileError> = OutageFile::begin(path);
            sound(run, path, begun)?
        }
    };
    let number = request();
    let draft = |(at, booking)| (facts(run, &format!("{number}/{at}"), "", ""), booking);
    let news = file.outage().news(taken, plan).into_iter().enumerate();
    let drafts: Vec<Draft> = news.map(draft).collect();
    if !drafts.is_empty() {
        book(run, &mut file, drafts, &bytes)?;
    }
    Ok(file)
}

/// Reports the plan's number, its kits' numbers, and the pumps that must be stopped.
fn tell(run: &Run, path: &Path, outage: &Outage, before: &Outage) {
    let to = run.voice();
    for pump in outage.pumps().filter(|pump| pump.not_fit.is_some()) {
        let stop = if pump.stop().is_some() { "STOP: " } else { "" };
        let why = pump.not_fit.as_deref().unwrap_or_default();
        must_see!(to, "{stop}{}, {}, {NOT_FIT}: {why}", pump.tag, pump.state.words());
    }
    let Some(plan) = outage.last_plan() else { return };
    out!(to, "Plan {} of {}, code {}.", plan.number, path.display(), plan.code);
    let planned = outage.pumps().filter(|pump| pump.state == PumpState::Planned);
    let kit = |outage: &Outage, tag: &str| outage.pump(tag)?.kit.as_ref().map(|kit| kit.number);
    let (old, new): (Vec<_>, Vec<_>) =
        planned.partition(|pump| kit(before, &pump.tag) == kit(outage, &pump.tag));
    let named = |pumps: &[&OutagePump]| {
        let named = pumps.iter().map(|pump| {
            format!("{} is kit {}", pump.tag, kit(outage, &pump.tag).unwrap_or_default())
        });
        named.collect::<Vec<_>>().join(", ")
    };
    if !new.is_empty() {
        out!(to, "New slips: {}.", named(&new));
    }
    if !old.is_empty() {
        let count = i64::try_from(old.len()).unwrap_or(i64::MAX);
        out!(to, "Slips that still count: {}.", counted(count, "kit"));
    }
    out!(to, "The ledger ends at {}, as on every page.", outage.head());
}
