//! Workbooks as they are taken over, held against the ledger; and the pumps that are planned, with the bags and slips that
//! they have.

use std::fs;
use std::path::{Path, PathBuf};

use crate::cli::from_command_line;
use crate::digest::sha256;
use crate::issue::key;
use crate::job::{Job, NotMeasured};
use crate::outage::{
    Booking, CountDifference, FileRole, Holding, ItemCount, Outage, OutagePump, PumpState,
    TakenFile, TookOver,
};
use crate::outage_file::FileBytes;
use crate::outage_kit::{BAGGED, Plays, Told, index, is_told};
use crate::problem::{Place, Problem, Problems, fix_name};
use crate::read;
use crate::stock::NO_ROW;

/// Counts that hold where workbook and ledger differ.
#[derive(Debug, Clone, Copy, clap::ValueEnum)]
pub(in crate::cli) enum Counts {
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

/// Workbooks to take over, and all that is said about it.
pub(in crate::cli) struct Asked<'a> {
    pub(in crate::cli) stock: &'a Path,
    pub(in crate::cli) pumps: &'a Path,
    pub(in crate::cli) settings: &'a [(String, String)],
    pub(in crate::cli) counts: Option<Counts>,
    pub(in crate::cli) told: Told<'a>,
}

/// Workbooks as they are taken over, and the job of the pumps that are planned.
pub(super) struct Taken {
    /// Job of all pumps, on the figures of today.
    pub(super) job: Job,
    /// Job of the pumps in play, on the stock of the ledger and of their bags.
    pub(super) in_play: Job,
    pub(super) taken: TookOver,
    pub(super) bytes: FileBytes,
    /// The outage with the workbooks taken over.
    pub(super) after: Outage,
}

/// Whether a file has the name of an outage file.
pub(super) fn is_named(path: &Path) -> bool {
    path.extension().is_some_and(|end| end.eq_ignore_ascii_case("outage"))
}

/// Holds the workbooks against the ledger; whatever does not fit is a problem, and all of it is listed.
pub(super) fn take_over(
    asked: &Asked,
    path: &Path,
    job: Job,
    outage: &Outage,
    problems: &mut Problems,
) -> Option<Taken> {
    if !is_named(path) {
        problems.add(from_command_line(
            format!("--outage {}", path.display()),
            "a file name ending in .outage",
            "give the outage file such a name",
        ));
    }
    let lots = job.stock.iter().filter(|lot| lot.cut.is_none() && lot.row != NO_ROW);
    let lots = lots.map(|lot| (&lot.item, lot.on_hand));
    let lots = lots.chain(job.plates.iter().map(|plate| (&plate.item, plate.on_hand)));
    let counts: Vec<ItemCount> =
        lots.map(|(item, count)| ItemCount { item: item.clone(), count }).collect();
    let differences = outage.differences(&counts);
    if asked.counts.is_none() {
        differences.iter().for_each(|one| problems.add(difference(&job, one)));
    }
    for pump in outage.pumps().filter(|pump| !pump.state.is_in_play()) {
        if pump.state == PumpState::Cancelled || index(&job, &pump.tag).is_some() {
            continue;
        }
        match job.not_measured.iter().find(|known| key(&known.tag) == key(&pump.tag)) {
            Some(known) => emptied(pump, known).for_each(|problem| problems.add(problem)),
            None => problems.add(gone_from(asked.pumps, pump)),
        }
    }
    let (files, bytes) = files(asked, &job, problems)?;
    let holds = asked.counts.filter(|_| !differences.is_empty()).map(Holding::from);
    let taken = TookOver { files, settings: asked.settings.to_vec(), counts, holds };
    if !problems.none() {
        return None;
    }
    let place = || Place::file(&path.display().to_string());
    let booked = outage.with(Booking::TookOver(taken.clone()));
    let after = booked.map_err(|refused| problems.add(refused.problem(place()))).ok()?;
    let plays = Plays::of(&job, &after, &asked.told);
    check_told(&asked.told, &job, &after, &plays, problems);
    match plays.job(&job, &after) {
        _ if !problems.none() => None,
        Ok(in_play) => Some(Taken { job, in_play, taken, bytes, after }),
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

/// Checks the pumps that are to be held or reopened: each has a kit, or a bag.
fn check_told(told: &Told, job: &Job, outage: &Outage, plays: &Plays, problems: &mut Problems) {
    let wrong = |option: &str, tag: &str, expected: &str| {
        let known = outage.pump(tag);
        let fix = match known {
            None => {
                let tags = job.pumps.iter().map(|pump| pump.tag.as_str());
                fix_name(tag, tags, "give a tag of the pump workbook")
            }
            Some(_) => format!("leave {option} {tag} out"),
        };
        let state =
            known.map_or(String::new(), |pump| format!(", which is {}", pump.state.words()));
        from_command_line(format!("{option} {tag}{state}"), expected, &fix)
    };
    for tag in told.hold.iter().filter(|tag| key(tag) != BAGGED) {
        let can_be_held = index(job, tag).is_none_or(|at| plays.can_be_held(at));
        if outage.pump(tag).is_none() || !can_be_held {
            problems.add(wrong("--hold", tag, "a pump with a kit"));
        }
        if is_told(told.reopen, tag) {
            problems.add(from_command_line(
                format!("{tag} both to be held and to be reopened"),
                "one of the two",
                "leave one out",
            ));
        }
    }
    for tag in told.reopen {
        if outage.pump(tag).is_none_or(|pump| pump.state != PumpState::Bagged) {
            problems.add(wrong("--reopen", tag, "a pump whose bag is packed and not issued"));
        }
    }
}

/// Count of a workbook that is neither the one taken over nor that of the ledger.
fn difference(job: &Job, one: &CountDifference) -> Problem {
    let (stock, plates) = (&job.stock_sheet, &job.plates_sheet);
    let rows = job.stock.iter().map(|lot| (&lot.item, lot.row, stock));
    let mut rows = rows.chain(job.plates.iter().map(|lot| (&lot.item, lot.row, plates)));
    let row = rows.find(|(item, ..)| key(item) == key(&one.item));
    let place = match row {
        Some((_, row, sheet)) => sheet.sheet.place(row, sheet.on_hand_column),
        None => stock.sheet.whole(),
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
fn files(asked: &Asked, job: &Job, problems: &mut Problems) -> Option<(Vec<TakenFile>, FileBytes)> {
    let mut paths: Vec<(FileRole, PathBuf)> = Vec::new();
    let roles = [
        (asked.stock, FileRole::Stock, FileRole::StockFolder),
        (asked.pumps, FileRole::Pumps, FileRole::PumpsFolder),
    ];
    for (path, alone, inside) in roles {
        match path.is_dir() {
            false => paths.push((alone, path.to_path_buf())),
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
