//! The outage file on the command line: opening it, its job, its entries in words.

use std::path::Path;

use super::run::{Refusal, Run, Stop};
use crate::changes::{SlipChange, changes};
use crate::day::is_date;
use crate::digest::sha256;
use crate::job::Job;
use crate::outage::{Circumstances, Outage, PumpState};
use crate::outage_books::{self, OutageBooks, UnpackError};
use crate::outage_file::{
    BookError, Draft, FileBytes, OutageFile, OutageFileError, Receipt, network_drive,
};
use crate::outage_job::job_with;
use crate::outage_kit;
use crate::problem::{Place, Problem, Problems};
use crate::read::Sources;
use crate::sheet::Book;

/// Result of work on an outage file; else the run ends. A file that is not sound is a problem of the inputs, a full disk
/// is not.
pub(super) fn sound<T>(
    run: &mut Run,
    path: &Path,
    done: Result<T, OutageFileError>,
) -> Result<T, Stop> {
    let file = path.display().to_string();
    match done {
        Err(error) if !error.is_trouble() => {
            run.work("opening the outage file", |_| Err(Refusal::from(error.problem(&file))))
        }
        done => run.sound(done.map_err(|error| error.problem(&file))),
    }
}

/// Warning of an outage file on a network drive.
pub(super) fn on_network(path: &Path) -> Option<Problem> {
    let kind = network_drive(path)?;
    Some(Problem::new(
        Place::file(&path.display().to_string()),
        format!("an outage file on a network drive ({kind})"),
        "a disk of this machine: where locks cannot be trusted, two bookings at one moment may damage it",
        "keep it on a disk of one machine and book there; put copies on the drive",
    ))
}

/// Opens the outage file and checks it.
pub(super) fn open(run: &mut Run, path: &Path) -> Result<OutageFile, Stop> {
    let opened = run.look("checking the outage file", |_| OutageFile::open(path));
    sound(run, path, opened)
}

/// Books all of these or none; else the run ends with every reason.
pub(super) fn book(
    run: &mut Run,
    file: &mut OutageFile,
    drafts: Vec<Draft>,
    files: &FileBytes,
) -> Result<Vec<Receipt>, Stop> {
    booked(run, file, |file| file.book(drafts, files))
}

/// Result of a booking; else the run ends with every reason.
pub(super) fn booked(
    run: &mut Run,
    file: &mut OutageFile,
    book: impl FnOnce(&mut OutageFile) -> Result<Vec<Receipt>, BookError>,
) -> Result<Vec<Receipt>, Stop> {
    let path = file.path().to_path_buf();
    let booked = run.work("booking", |_| match book(file) {
        Err(BookError::Refused(refused)) => {
            let place = Place::file(&path.display().to_string());
            let mut problems = Problems::new();
            refused.iter().for_each(|(_, why)| problems.add(why.problem(place.clone())));
            Err(Refusal::Problems(problems))
        }
        Err(BookError::File(error)) => Ok(Err(error)),
        Ok(receipts) => Ok(Ok(receipts)),
    })?;
    sound(run, &path, booked)
}

/// Facts of a booking made now.
pub(super) fn facts(run: &Run, request: &str, who: &str, why: &str) -> Circumstances {
    debug_assert!(is_date(run.date()), "the run checked it");
    Circumstances {
        request: request.to_string(),
        at: jiff::Timestamp::now().to_string(),
        date: run.date().to_string(),
        who: who.to_string(),
        why: why.to_string(),
    }
}

/// A request number that no other run gives.
pub(super) fn request() -> String {
    let parts = [
        jiff::Timestamp::now().as_nanosecond().to_string(),
        std::process::id().to_string(),
        std::env::args().collect::<Vec<_>>().join("\n"),
    ];
    sha256(parts.join("\n").as_bytes()).chars().take(32).collect()
}

/// Job of the files that an earlier plan was made from; `None` where it cannot be read any more.
fn job_then(run: &Run, file: &OutageFile, then: &Outage) -> Option<Job> {
    let unpacked = OutageBooks::unpack(file, then).ok()?;
    run.look("reading the workbooks of the plan before", |memory| {
        let sources = Sources { memory: memory.clone(), ..unpacked.sources() };
        job_with(&sources, then, &mut Problems::new())
    })
}

/// Changes of the last plan of an outage from the one before it, which the file holds.
pub(super) fn changed(run: &Run, file: &OutageFile, now: &Outage, job: &Job) -> Vec<SlipChange> {
    let then = now.before_last_plan();
    if then.last_plan().is_none() {
        return Vec::new();
    }
    let mut before = outage_kit::side(job_then(run, file, &then).as_ref(), &then);
    // Slips of bags that went to the bench since are right as they are.
    before.slips.retain(|slip| {
        let state = now.pump(&slip.tag).map(|pump| pump.state);
        !matches!(state, Some(PumpState::Issued | PumpState::Rejected | PumpState::Accepted))
    });
    changes(&before, &outage_kit::side(Some(job), now))
}

/// Name of an outage on its pages, which hold no long headers.
pub(super) fn name(path: &Path) -> String {
    path.file_stem().unwrap_or_default().to_string_lossy().chars().take(60).collect()
}

/// Job of the files that were last taken over, and the pump workbook among them.
pub(super) fn job(run: &mut Run, file: &OutageFile) -> Result<(Job, Book), Stop> {
    let unpacked = match OutageBooks::unpack(file, file.outage()) {
        Ok(unpacked) => unpacked,
        Err(UnpackError::File(error)) => return sound(run, file.path(), Err(error)),
        Err(UnpackError::Disk(error)) => return run.made(Err(error)),
    };
    run.read("reading the workbooks that were taken over", |memory, problems| {
        let sources = Sources { memory: memory.clone(), ..unpacked.sources() };
        let job = job_with(&sources, file.outage(), problems)?;
        Some((job, outage_books::read(&sources, problems)?[1].clone()))
    })
}
