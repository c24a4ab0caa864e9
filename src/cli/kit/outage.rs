//! `kit --outage`: a plan within a running outage, on the stock of its ledger.
//!
//! The workbooks are taken over with their bytes, pumps whose pieces are out are left alone and judged on the figures of
//! today, and the plan is entered with the numbers of its kits before its workbook is written.

use std::fs;
use std::path::{Path, PathBuf};

use super::Args;
use crate::cli::outage::{book, facts, index, job_with, request, sound};
use crate::cli::run::{Ended, Run, Stop, use_threads};
use crate::cli::voice::{must_see, out};
use crate::cli::{Common, DONE};
use crate::digest::sha256;
use crate::issue::key;
use crate::job::{Job, NotMeasured};
use crate::model::NOT_FIT;
use crate::outage::{
    Booking, BookingRefusal, Circumstances, CountDifference, FileRole, Holding, ItemCount, Outage,
    OutagePump, PlanBooking, PlannedKit, PumpState, TagNote, TakenFile, TookOver,
};
use crate::outage_file::{Draft, FileBytes, OutageFile, OutageFileError};
use crate::outage_kit;
use crate::plan::Kit;
use crate::problem::{Place, Problem, Problems};
use crate::read;
use crate::show::counted;
use crate::verify::{Verified, verify};
use crate::words;
use crate::write::PlaceInOutage;

/// Counts that hold where workbook and ledger differ.
#[derive(Debug, Clone, Copy, clap::ValueEnum)]
pub(super) enum Counts {
    /// On hand of the stock workbook.
    Workbook,
    /// Stock of the ledger.
    Ledger,
}

impl From<Counts> for Holding {
    fn from(counts: Counts) -> Holding {
        match counts {
            Counts::Workbook => Holding::Workbook,
            Counts::Ledger => Holding::Ledger,
        }
    }
}

/// Workbooks as they are taken over, and the job of the pumps that are planned.
struct Taken {
    /// Job of all pumps, on the figures of today.
    job: Job,
    /// Job of the pumps in play, on the stock of the ledger.
    in_play: Job,
    taken: TookOver,
    bytes: FileBytes,
    /// The outage with the workbooks taken over.
    after: Outage,
}

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
        return judge_only(run, path, there, (taken, bytes), &job, [&outage, &after]);
    }
    run.has_memory_for(&in_play, in_play.pumps.iter(), &args.pumps)?;
    use_threads(args.threads.threads);
    let plan = run.solve(&in_play.policy, |solving| args.plan(&in_play, solving))?;
    let verified = run.check(verify(in_play, plan))?;
    let plan = plan_booking(&verified, &job, &after);
    // The ledger comes first: a plan on paper that it does not know could be packed and not booked.
    let file = enter(&mut run, path, there, (taken, bytes), plan)?;
    let place = place_in(path, file.outage());
    let status = args.deliver(&mut run, &verified, Some(place))?;
    tell(&run, path, file.outage(), &outage);
    Ok(status)
}

/// Judges the pieces that are out where no pump is left to plan: no workbook is written.
fn judge_only(
    mut run: Run,
    path: &Path,
    there: Option<OutageFile>,
    files: (TookOver, FileBytes),
    job: &Job,
    [before, after]: [&Outage; 2],
) -> Ended {
    let mut plan = PlanBooking { code: NO_PLAN.into(), ..PlanBooking::default() };
    judge_others(job, after, &mut plan);
    let file = enter(&mut run, path, there, files, plan)?;
    let status = run.end(DONE)?;
    must_see!(run.voice(), "No pump is left to plan: no workbook was written.");
    tell(&run, path, file.outage(), before);
    Ok(status)
}

/// Code of a plan without a pump.
const NO_PLAN: &str = "none";

/// Whether a file has the name of an outage file.
fn is_named(path: &Path) -> bool {
    path.extension().is_some_and(|end| end.eq_ignore_ascii_case("outage"))
}

/// The outage file, if it was begun.
fn there(run: &mut Run, path: &Path) -> Result<Option<OutageFile>, Stop> {
    let begun = is_named(path) && fs::metadata(path).is_ok_and(|there| there.len() > 0);
    let opened = run.look("checking the outage file", |_| begun.then(|| OutageFile::open(path)));
    sound(run, path, opened.transpose())
}

/// Holds the workbooks against the ledger; whatever does not fit is a problem, and all of it is listed.
fn take_over(
    args: &Args,
    path: &Path,
    job: Job,
    outage: &Outage,
    problems: &mut Problems,
) -> Option<Taken> {
    if !is_named(path) {
        problems.add(crate::cli::from_command_line(
            format!("--outage {}", path.display()),
            "a file name ending in .outage",
            "give the outage file such a name",
        ));
    }
    refuse_shared(&job, problems);
    let counts: Vec<ItemCount> = job
        .stock
        .iter()
        .filter(|lot| lot.cut.is_none())
        .map(|lot| ItemCount { item: lot.item.clone(), count: lot.on_hand })
        .collect();
    let differences = outage.differences(&counts);
    if args.counts.is_none() {
        differences.iter().for_each(|one| problems.add(difference(&job, one)));
    }
    for pump in outage.pumps().filter(|pump| !pump.state.is_in_play()) {
        if pump.state == PumpState::Cancelled || index(&job, &pump.tag).is_some() {
            continue;
        }
        match job.not_measured.iter().find(|known| key(&known.tag) == key(&pump.tag)) {
            Some(known) => emptied(pump, known).for_each(|problem| problems.add(problem)),
            None => problems.add(gone_from(&args.pumps, pump)),
        }
    }
    let (files, bytes) = files(args, &job, problems)?;
    let holds = args.counts.filter(|_| !differences.is_empty()).map(Holding::from);
    let taken = TookOver { files, settings: args.settings.given(), counts, holds };
    if !problems.none() {
        return None;
    }
    let place = || Place::file(&path.display().to_string());
    let booked = with(outage, Booking::TookOver(taken.clone()));
    let after = booked.map_err(|refused| problems.add(refused.problem(place()))).ok()?;
    let all = job.clone();
    let in_play = job.with(|parts| {
        for lot in parts.stock.iter_mut().filter(|lot| lot.cut.is_none()) {
            let pieces = after.stock_of(&lot.item).map_or(0, |known| known.pieces);
            lot.on_hand = u32::try_from(pieces).unwrap_or(0);
        }
        parts
            .pumps
            .retain(|pump| after.pump(&pump.tag).is_none_or(|known| known.state.is_in_play()));
    });
    match in_play {
        Ok(in_play) => Some(Taken { job: all, in_play, taken, bytes, after }),
        Err(error) => {
            problems.add(Problem::new(
                place(),
                format!("a stock that no job can have ({error})"),
                "counts of pieces in a drawer",
                "count the items again with `gapwright book ... count`",
            ));
            None
        }
    }
}

/// Stocks whose pieces are shared by several bags cannot be booked bag by bag.
fn refuse_shared(job: &Job, problems: &mut Problems) {
    let place = job.stock_sheet.sheet.whole();
    if !job.plates.is_empty() {
        problems.add(Problem::new(
            place.clone(),
            "plates that pieces are cut from",
            "whole pieces: a plate is shared by several bags, and an outage file books bag by bag",
            "cut them first and list the pieces, or plan without --outage and use `gapwright issue`",
        ));
    }
    if job.policy.opened_cartons_spoiled {
        problems.add(Problem::new(
            place,
            "the rule that the rest of an opened pack is spoiled",
            "pieces that stay good: an opened pack is shared by several bags",
            "plan without --outage and use `gapwright issue`, or leave the rule out and book `scrap`",
        ));
    }
}

/// Count of a workbook that is neither the one taken over nor that of the ledger.
fn difference(job: &Job, one: &CountDifference) -> Problem {
    let sheet = &job.stock_sheet;
    let row = job.stock.iter().find(|lot| key(&lot.item) == key(&one.item));
    let place = match row {
        Some(lot) => sheet.sheet.place(lot.row, sheet.on_hand_column),
        None => sheet.sheet.whole(),
    };
    let found = match one.workbook {
        Some(count) => format!("{count} of {} on hand", one.item),
        None => format!("no row for {}", one.item),
    };
    let taken =
        one.taken.map_or(String::new(), |taken| format!("{taken} as taken over before, or "));
    Problem::new(
        place,
        found,
        format!("{taken}{} as the ledger has it", one.ledger),
        "count it: then give --counts workbook (the workbook is right for all that are listed) or --counts ledger",
    )
}

/// Cells of readings that were there when the pieces were taken.
fn emptied<'a>(
    pump: &'a OutagePump,
    known: &'a NotMeasured,
) -> impl Iterator<Item = Problem> + use<'a> {
    known.waits_for.iter().map(|reading| {
        Problem::new(
            reading.place.clone(),
            format!("no reading for {}, which is {}", pump.tag, pump.state.words()),
            "the readings of every pump whose pieces are out",
            format!("put the reading back, or book `put-back {0}` or `cancel {0}`", pump.tag),
        )
    })
}

fn gone_from(pumps: &Path, pump: &OutagePump) -> Problem {
    Problem::new(
        Place::file(&pumps.display().to_string()),
        format!("no row for {}, which is {}", pump.tag, pump.state.words()),
        "a row for every pump whose pieces are out",
        format!("put its row back, or book `cancel {}`", pump.tag),
    )
}

/// The files behind a job, with their bytes.
fn files(args: &Args, job: &Job, problems: &mut Problems) -> Option<(Vec<TakenFile>, FileBytes)> {
    let mut paths: Vec<(FileRole, PathBuf)> = Vec::new();
    let roles = [
        (&args.stock, FileRole::Stock, FileRole::StockFolder),
        (&args.pumps, FileRole::Pumps, FileRole::PumpsFolder),
    ];
    for (path, alone, inside) in roles {
        match path.is_dir() {
            false => paths.push((alone, path.clone())),
            true => {
                // What cannot be read was a problem when the job was read.
                let tables = read::csv_files(path).unwrap_or_default();
                paths.extend(tables.into_iter().map(|path| (inside, path)));
            }
        }
    }
    let models = job
        .inputs
        .iter()
        .filter(|input| matches!(input.role.as_str(), "model" | "drawing" | "materials table"));
    let models = models.map(|input| PathBuf::from(&input.file));
    paths.extend(models.filter(|path| path.is_file()).map(|path| (FileRole::Model, path)));
    let (mut files, mut bytes) = (Vec::new(), Vec::new());
    for (role, path) in paths {
        let read = fs::read(&path);
        let read = read.map_err(|error| {
            problems.add(Problem::new(
                Place::file(&path.display().to_string()),
                format!("what cannot be read ({error})"),
                "the file that was read a moment ago",
                "run it again",
            ));
        });
        let Ok(contents) = read else { continue };
        let sha256 = sha256(&contents);
        let before = job.inputs.iter().find(|input| Path::new(&input.file) == path);
        if before.is_some_and(|input| input.sha256 != sha256) {
            problems.add(Problem::new(
                Place::file(&path.display().to_string()),
                "a file that changed while it was read",
                "one state of it",
                "let the other program finish, then run it again",
            ));
        }
        let name = path.file_name().map(|name| name.to_string_lossy().into_owned());
        files.push(TakenFile { role, name: name.unwrap_or_default(), sha256 });
        bytes.push(contents);
    }
    Some((files, bytes))
}

/// The plan as it is entered: its kits, and the judgement of the pumps that it leaves alone.
fn plan_booking(verified: &Verified, job: &Job, outage: &Outage) -> PlanBooking {
    let (in_play, plan) = (verified.job(), verified.plan());
    let mut booking = PlanBooking { code: verified.planned().id(), ..PlanBooking::default() };
    for (at, (pump, kit)) in in_play.pumps.iter().zip(&plan.kits).enumerate() {
        let tag = pump.tag.clone();
        match kit {
            Kit::Served(_) => {
                booking.kits.push(PlannedKit { tag, pieces: outage_kit::pieces(verified, at) });
            }
            Kit::Short(shorts) => {
                let why: Vec<String> =
                    shorts.iter().map(|short| words::reason(in_play, pump, short)).collect();
                booking.short.push(TagNote { tag, why: why.join("; ") });
            }
        }
    }
    judge_others(job, outage, &mut booking);
    booking
}

/// Adds the pumps that wait for a reading, and the judgement of every pump whose pieces are out, on the figures of today.
fn judge_others(job: &Job, outage: &Outage, booking: &mut PlanBooking) {
    for pump in &job.not_measured {
        if outage.pump(&pump.tag).is_none_or(|known| known.state.is_in_play()) {
            let why = format!("waits for {}", words::waits_for(pump));
            booking.waiting.push(TagNote { tag: pump.tag.clone(), why });
        }
    }
    let out = outage.pumps().filter(|pump| !pump.state.is_in_play());
    for pump in out.filter(|pump| pump.state != PumpState::Cancelled) {
        let Some(at) = index(job, &pump.tag) else { continue };
        match outage_kit::fault(job, at, pump) {
            None => booking.held.push(pump.tag.clone()),
            Some(why) => booking.not_fit.push(TagNote { tag: pump.tag.clone(), why }),
        }
    }
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
    let outage = file.outage();
    let mut drafts: Vec<Draft> = Vec::new();
    let draft = |part: &str, booking| (facts(run, &format!("{number}/{part}"), "", ""), booking);
    if taken.holds.is_some() || outage.taken().is_none_or(|last| !last.is_same(&taken)) {
        drafts.push(draft("files", Booking::TookOver(taken)));
    }
    if !stands(outage, &plan) {
        drafts.push(draft("plan", Booking::Plan(plan)));
    }
    if !drafts.is_empty() {
        book(run, &mut file, drafts, &bytes)?;
    }
    Ok(file)
}

/// Whether a plan is the last one, and nothing that it says has changed since.
fn stands(outage: &Outage, plan: &PlanBooking) -> bool {
    let same = outage.last_plan().is_some_and(|last| last.code == plan.code);
    let after = with(outage, Booking::Plan(plan.clone()));
    same && after.is_ok_and(|after| after.pumps().eq(outage.pumps()))
}

/// The outage with a booking more, to see what it would do.
fn with(outage: &Outage, booking: Booking) -> Result<Outage, BookingRefusal> {
    let mut after = outage.clone();
    let entry = after.book(Circumstances::default(), booking)?;
    // What was booked a moment ago follows.
    after.follow(entry).ok();
    Ok(after)
}

/// Place of the last plan in its outage, as it stands on its pages.
fn place_in(path: &Path, outage: &Outage) -> PlaceInOutage {
    let name = path.file_stem().unwrap_or_default().to_string_lossy();
    // Pages hold no long headers.
    let name: String = name.chars().take(60).collect();
    let number = outage.last_plan().map_or(0, |plan| plan.number);
    let kits =
        outage.pumps().filter_map(|pump| Some((pump.tag.clone(), pump.kit.as_ref()?.number)));
    PlaceInOutage {
        words: format!("{name}, plan {number}, ledger {}", outage.head()),
        kits: kits.collect(),
    }
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
