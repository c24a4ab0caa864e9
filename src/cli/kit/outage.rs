//! `kit --outage`: a plan within a running outage, on the stock of its ledger.
//!
//! The workbooks are taken over with their bytes, pumps at the bench are left alone and judged on the figures of today, bags
//! that are packed stay closed unless more can be served, and the plan is entered with the numbers of its kits once its
//! workbook is written, and before that is put in its place.

mod taken;

use std::path::Path;

use super::{Args, told};
use crate::cli::outage::{booked, changed, facts, name, request, sound};
use crate::cli::run::{Ended, Run, Stop, use_threads};
use crate::cli::settings::Settings;
use crate::cli::voice::{must_see, out};
use crate::cli::{Common, DONE};
use crate::job::Job;
use crate::model::NOT_FIT;
use crate::outage::{
    BookingRefusal, Outage, OutagePump, PlaceInOutage, PlanBooking, PumpState, TookOver,
};
use crate::outage_file::{Draft, FileBytes, OutageFile, OutageFileError};
use crate::outage_job::job_with;
use crate::outage_kit::{NO_PLAN, Told, judge_others, plan_booking};
use crate::problem::Place;
use crate::read::{Memory, Sources};
use crate::show::counted;
use crate::verify::verify;
use taken::{Asked, Taken, is_named, take_over};

pub(in crate::cli) use taken::Counts;

pub(super) fn run(args: &Args, path: &Path, common: &Common) -> Ended {
    let mut run = Run::begin(common, args.files());
    let asked = Asked {
        stock: &args.stock,
        pumps: &args.pumps,
        settings: &args.settings,
        counts: args.counts,
        told: Told { hold: &args.hold, reopen: &args.reopen },
    };
    let there = there(&mut run, path)?;
    let outage = there.as_ref().map(|file| file.outage().clone()).unwrap_or_default();
    let Taken { job, in_play, taken, bytes, after } =
        run.read("reading and checking the workbooks", |memory, problems| {
            let job = job_with(&args.sources(memory), &outage, problems)?;
            take_over(&asked, path, job, &outage, problems)
        })?;
    if in_play.pumps.is_empty() {
        return judge_only(run, path, there, (taken, bytes), [&job, &in_play], [&outage, &after]);
    }
    run.has_memory_for(&in_play, in_play.pumps.iter(), &args.pumps)?;
    use_threads(args.threads.threads);
    let policy = in_play.policy.clone();
    let (in_play, plan) = run.solve(&policy, |solving| args.plan(in_play, solving))?;
    let verified = run.check(verify(in_play, plan))?;
    let news = News::of(&run, &outage, taken, Some(plan_booking(&verified, &job, &after)));
    // Pages carry the end of the ledger as it will be.
    let planned = run.read("numbering the plan", |_, problems| {
        let place = Place::file(&path.display().to_string());
        news.entered(&outage).map_err(|refused| problems.add(refused.problem(place))).ok()
    })?;
    let changes = there.as_ref().map(|file| changed(&run, file, &planned, &job));
    let place = PlaceInOutage::of(&name(path), &planned, changes.unwrap_or_default());
    let (to, end) = (path.to_path_buf(), outage.head().number);
    run.before_placing(move |run| enter(run, &to, there, end, news, &bytes).map(drop));
    let status = args.deliver(&mut run, &verified, Some(&place))?;
    tell(&run, path, &planned, &outage);
    tell_changes(&run, &place);
    Ok(status)
}

/// Takes workbooks over into an outage file, which is begun where it is not there yet; no plan is made.
pub(in crate::cli) fn begin(
    run: &mut Run,
    path: &Path,
    sources: impl FnOnce(&Memory) -> Sources,
    settings: &Settings,
) -> Result<(), Stop> {
    let there = there(run, path)?;
    let outage = there.as_ref().map(|file| file.outage().clone()).unwrap_or_default();
    let Taken { taken, bytes, .. } =
        run.read("reading and checking the workbooks", |memory, problems| {
            let sources = sources(memory);
            let (stock, pumps) = (&sources.stock, &sources.pumps);
            let asked = Asked { stock, pumps, settings, counts: None, told: Told::default() };
            let job = job_with(&sources, &outage, problems)?;
            take_over(&asked, path, job, &outage, problems)
        })?;
    let news = News::of(run, &outage, taken, None);
    enter(run, path, there, outage.head().number, news, &bytes).map(drop)
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
    let (taken, bytes) = files;
    let news = News::of(&run, before, taken, Some(plan));
    let file = enter(&mut run, path, there, before.head().number, news, &bytes)?;
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

/// Workbooks and plan as they are to be entered; what is in the ledger already is not among them.
struct News(Vec<Draft>);

impl News {
    fn of(run: &Run, outage: &Outage, taken: TookOver, plan: Option<PlanBooking>) -> News {
        let number = request();
        let draft = |(at, booking)| (facts(run, &format!("{number}/{at}"), "", ""), booking);
        News(outage.news(taken, plan).into_iter().enumerate().map(draft).collect())
    }

    /// The outage as they will leave it.
    fn entered(&self, outage: &Outage) -> Result<Outage, BookingRefusal> {
        let mut after = outage.clone();
        for (facts, booking) in &self.0 {
            let entry = after.book(facts.clone(), booking.clone())?;
            // What was booked a moment ago follows.
            after.follow(entry).ok();
        }
        Ok(after)
    }
}

/// Enters workbooks and plan into the ledger, if it ends where it was read.
///
/// # Decision
///
/// The files of the plan are written whole before, and put in their places after: a disk that has no room for them is
/// found before the ledger knows the plan, and a plan on paper that the ledger does not know cannot be.
fn enter(
    run: &mut Run,
    path: &Path,
    there: Option<OutageFile>,
    end: u32,
    News(drafts): News,
    bytes: &FileBytes,
) -> Result<OutageFile, Stop> {
    let mut file = match there {
        Some(file) => file,
        None => {
            let begun: Result<OutageFile, OutageFileError> = OutageFile::begin(path);
            sound(run, path, begun)?
        }
    };
    if !drafts.is_empty() {
        booked(run, &mut file, |file| file.book_at(end, drafts, bytes))?;
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
