//! `kit --outage`: a plan within a running outage, on the stock of its ledger.
//!
//! The workbooks are taken over with their bytes, pumps at the bench are left alone and judged on the figures of today, bags
//! that are packed stay closed unless more can be served, and the plan is entered with the numbers of its kits once its
//! workbook is written, and before that is put in its place.

mod taken;

use std::fs::{self, File};
use std::io;
use std::path::Path;

use super::{Args, told};
use crate::cli::outage::{booked, changed, facts_on, request, sound};
use crate::cli::run::{Ended, Run, Stop, use_threads};
use crate::cli::voice::{must_see, out};
use crate::cli::{Common, DONE};
use crate::job::Job;
use crate::model::NOT_FIT;
use crate::outage::{
    BookingRefusal, Outage, OutagePump, PlaceInOutage, PlanBooking, PumpState, TookOver,
};
use crate::outage_file::{BookError, Draft, FileBytes, OutageFile, OutageFileError, outage_name};
use crate::outage_job::job_with;
use crate::outage_kit::{NO_PLAN, Told, judge_others, plan_booking};
use crate::problem::{Place, Problem, Problems};
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
        settings: &args.settings.given(),
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
    let news = News::of(run.date(), &outage, taken, Some(plan_booking(&verified, &job, &after)));
    // Pages carry the end of the ledger as it will be.
    let planned = run.read("numbering the plan", |_, problems| {
        let place = Place::file(&path.display().to_string());
        news.entered(&outage).map_err(|refused| problems.add(refused.problem(place))).ok()
    })?;
    let changes = there.as_ref().map(|file| changed(&run, file, &planned, &job));
    let place = PlaceInOutage::of(&outage_name(path), &planned, changes.unwrap_or_default());
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
) -> Result<(), Stop> {
    let there = there(run, path)?;
    let outage = there.as_ref().map(|file| file.outage().clone()).unwrap_or_default();
    let Taken { taken, bytes, .. } = run
        .read("reading and checking the workbooks", |memory, problems| {
            to_begin(path, &sources(memory), &outage, problems)
        })?;
    let news = News::of(run.date(), &outage, taken, None);
    enter(run, path, there, outage.head().number, news, &bytes).map(drop)
}

/// Workbooks to be taken over into an outage file of this path; nothing of an earlier plan stands.
fn to_begin(
    path: &Path,
    sources: &Sources,
    outage: &Outage,
    problems: &mut Problems,
) -> Option<Taken> {
    let Sources { stock, pumps, settings, .. } = sources;
    let asked = Asked { stock, pumps, settings, counts: None, told: Told::default() };
    let job = job_with(sources, outage, problems)?;
    take_over(&asked, path, job, outage, problems)
}

/// Takes workbooks over into an outage file that is not there yet, without a run: for the page. A file that is there stays as
/// it is.
pub(in crate::cli) fn begin_new(path: &Path, sources: &Sources) -> Result<(), Problems> {
    let file = path.display().to_string();
    let (outage, mut problems) = (Outage::default(), Problems::new());
    let taken = to_begin(path, sources, &outage, &mut problems);
    let Some(Taken { taken, bytes, .. }) = taken.filter(|_| problems.none()) else {
        return Err(problems);
    };
    // Made by nobody but us, and so to be taken away again where nothing can be booked.
    File::create_new(path).map_err(|error| Problems::from(not_begun(&file, &error)))?;
    let date = jiff::Zoned::now().date().to_string();
    let News(drafts) = News::of(&date, &outage, taken, None);
    let booked = OutageFile::begin(path).map_err(BookError::File);
    let booked = booked.and_then(|mut begun| begun.book_at(0, drafts, &bytes));
    booked.map(drop).map_err(|error| {
        fs::remove_file(path).ok();
        let mut problems = Problems::new();
        match error {
            BookError::File(error) => problems.add(error.problem(&file)),
            BookError::Refused(all) => {
                all.iter().for_each(|(_, why)| problems.add(why.problem(Place::file(&file))));
            }
        }
        problems
    })
}

/// Why a file cannot be made.
fn not_begun(file: &str, error: &io::Error) -> Problem {
    match error.kind() {
        io::ErrorKind::AlreadyExists => Problem::new(
            Place::file(file),
            "a file of this name",
            "a name that no file has there yet",
            "give another name; to go on with that file, end the page and run `gapwright page` with it",
        ),
        _ => Problem::new(
            Place::file(file),
            format!("a file that cannot be made ({error})"),
            "a folder in which files may be made",
            "get the right to write there, or run `gapwright page STOCK PUMPS --outage FILE` with a path elsewhere",
        ),
    }
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
    let news = News::of(run.date(), before, taken, Some(plan));
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
    fn of(date: &str, outage: &Outage, taken: TookOver, plan: Option<PlanBooking>) -> News {
        let number = request();
        let draft = |(at, booking)| (facts_on(date, &format!("{number}/{at}"), "", ""), booking);
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
