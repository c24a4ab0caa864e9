//! The outage file on the command line: opening it, its job, its entries in words.

use std::path::Path;

use super::run::{Refusal, Run, Stop};
use crate::changes::SlipChange;
use crate::day::is_date;
use crate::digest::sha256;
use crate::job::Job;
use crate::outage::{Circumstances, Outage};
use crate::outage_books::{self, OutageBooks, UnpackError};
use crate::outage_file::{
    BookError, Draft, FileBytes, OutageFile, OutageFileError, Receipt, network_drive,
};
use crate::outage_job::{changes_of_last_plan, job_with};
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
    facts_on(run.date(), request, who, why)
}

/// Facts of a booking made now, on this day.
pub(super) fn facts_on(date: &str, request: &str, who: &str, why: &str) -> Circumstances {
    Circumstances {
        request: request.to_string(),
        at: jiff::Timestamp::now().to_string(),
        date: date.to_string(),
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

/// Changes of the last plan of an outage from the one before it, which the file holds.
pub(super) fn changed(run: &Run, file: &OutageFile, now: &Outage, job: &Job) -> Vec<SlipChange> {
    run.look("reading the workbooks of the plan before", |memory| {
        let (changes, _) = changes_of_last_plan(file, now, job, memory);
        changes
    })
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
