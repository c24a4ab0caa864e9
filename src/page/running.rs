//! The running outage behind a page of readings: the file as it was read last, and what the page books into it.
//!
//! A page of readings is a scratch copy of the workbooks that the outage took over, with the dimensions that were booked in
//! their cells. Under [`Mode::Record`] each edit that the reader takes is booked at once, and the scratch copy is made
//! again of what the ledger has then; under [`Mode::WhatIf`] edits stay until they are taken over, all in one transaction.

use std::collections::{BTreeMap, HashMap};
use std::path::{Path, PathBuf};

use super::desk::By;
use super::named;
use super::row::{PumpRow, RowState};
use crate::issue::key;
use crate::job::Job;
use crate::length::Length;
use crate::model::Model;
use crate::outage::{
    Booking, BookingRefusal, Circumstances, LedgerEntry, Outage, OutagePump, PlanBooking,
    PumpState, TookOver,
};
use crate::outage_books::{self, OutageBooks};
use crate::outage_cells;
use crate::outage_file::{BookError, OutageFile, OutageFileError, Receipt};
use crate::outage_kit::{self, Plays, Told, plan_booking, with_cut_lots};
use crate::problem::{Problem, Problems};
use crate::pump::Pump;
use crate::read::{self, Memory, PumpColumn, Sources, Stamp, pump_column};
use crate::scratch::{CellEdit, RefusedEdit, Scratch};
use crate::sheet::Book;
use crate::verify::Verified;
use crate::words;

/// Use of a page of readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Mode {
    /// Other values are tried.
    WhatIf,
    /// Readings are booked as they are typed.
    Record,
}

impl Mode {
    pub(super) const ALL: [Mode; 2] = [Mode::Record, Mode::WhatIf];

    /// Name for style and script.
    pub(super) fn code(self) -> &'static str {
        match self {
            Mode::WhatIf => "what-if",
            Mode::Record => "record",
        }
    }

    /// Path of its pages.
    pub(super) fn path(self) -> &'static str {
        match self {
            Mode::WhatIf => "/what-if",
            Mode::Record => "/record",
        }
    }
}

/// A running outage, and the page's part in it.
#[derive(Debug)]
pub(super) struct Running {
    path: PathBuf,
    pub(super) mode: Mode,
    pub(super) now: Now,
    /// Why the pieces of a pump that are out do not conform on the figures at hand, by the key of its tag.
    faults: BTreeMap<String, String>,
    /// Entries that were booked elsewhere and that nobody has seen here.
    news: Vec<u32>,
    /// Entries that were booked here, step by step.
    steps: Vec<Vec<u32>>,
}

/// The outage as its file has it.
#[derive(Debug)]
pub(super) struct Now {
    pub(super) outage: Outage,
    stamp: Option<Stamp>,
    /// Models are read from their folder again and again.
    _books: OutageBooks,
    /// Pump workbook as it was taken over, without what was booked.
    pumps: Book,
    pub(super) warnings: Vec<String>,
}

/// Reasons, in words, why something was not done.
pub(super) type Reasons = Vec<String>;

/// Reads an outage file: its state, and a scratch copy of its workbooks.
pub(super) fn read(path: &Path, megabytes: u64) -> Result<(Now, Scratch), Reasons> {
    let stamp = read::stamp(path);
    let file = OutageFile::open(path).map_err(|error| vec![said(path, &error)])?;
    let outage = file.outage().clone();
    if outage.taken().is_none() {
        let words = "No workbook was taken over yet: run `gapwright kit STOCK PUMPS --outage` with this file first.";
        return Err(vec![words.into()]);
    }
    let books = OutageBooks::unpack(&file, &outage).map_err(|error| vec![error.to_string()])?;
    let memory = Memory::of_megabytes(u32::try_from(megabytes).unwrap_or(u32::MAX));
    let sources = Sources { memory, ..books.sources() };
    let mut problems = Problems::new();
    let listed = |problems: &Problems| named::listed(problems);
    let Some([stock, pumps]) = outage_books::read(&sources, &mut problems) else {
        return Err(listed(&problems));
    };
    let mut filled = pumps.clone();
    outage_cells::fill(&mut filled, &outage, &mut problems);
    if !problems.none() {
        return Err(listed(&problems));
    }
    let scratch = Scratch::of(stock, filled, sources).map_err(|found| listed(&found))?;
    let warnings = problems.warnings().iter().map(|one| words::warning(&named::problem(one)));
    let warnings = warnings.collect();
    Ok((Now { outage, stamp, _books: books, pumps, warnings }, scratch))
}

fn said(path: &Path, error: &OutageFileError) -> String {
    words::warning(&error.problem(&named::file(&path.display().to_string())))
}

impl Running {
    pub(super) fn of(path: &Path, mode: Mode, now: Now) -> Running {
        let path = path.to_path_buf();
        let (faults, news, steps) = (BTreeMap::new(), Vec::new(), Vec::new());
        Running { path, mode, now, faults, news, steps }
    }

    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    /// Name of the file.
    pub(super) fn name(&self) -> String {
        named::file(&self.path.display().to_string())
    }

    /// Whether the file on the disk is another one than the one that was read.
    pub(super) fn is_moved(&self) -> bool {
        read::stamp(&self.path) != self.now.stamp
    }

    /// Job of the pumps in play, with their bags standing.
    pub(super) fn in_play(&self, job: &Job) -> Result<Job, String> {
        let outage = &self.now.outage;
        let job = &self.with_cut_lots(job);
        let in_play = Plays::of(job, outage, &Told::default()).job(job, outage);
        in_play.map_err(|error| {
            format!(
                "The ledger has a stock that no job can have ({error}). Fix: count the items again."
            )
        })
    }

    /// The job with the pieces that were cut since the workbooks were taken over.
    pub(super) fn with_cut_lots(&self, job: &Job) -> Job {
        with_cut_lots(job.clone(), &self.now.outage)
    }

    /// Judges the pieces that are out on the figures at hand.
    pub(super) fn judge(&mut self, job: &Job) {
        let job = &self.with_cut_lots(job);
        let known = indices(job);
        let fault = |pump: &OutagePump| {
            let why = outage_kit::fault(job, *known.get(&key(&pump.tag))?, pump)?;
            Some((key(&pump.tag), why))
        };
        self.faults = out(&self.now.outage).filter_map(fault).collect();
    }

    /// Pumps whose work must stop, and why: on the figures at hand, or by the ledger.
    pub(super) fn stops(&self) -> Vec<(&OutagePump, &str)> {
        use PumpState::{Accepted, Issued, Rejected};
        let at_bench = |pump: &&OutagePump| matches!(pump.state, Issued | Rejected | Accepted);
        let pumps = self.now.outage.pumps().filter(at_bench);
        let why = |pump: &OutagePump| self.faults.get(&key(&pump.tag)).map(String::as_str);
        pumps.filter_map(|pump| Some((pump, why(pump).or_else(|| pump.stop())?))).collect()
    }

    /// Whether a plan is the one that was entered last, and nothing that it says has changed since.
    pub(super) fn stands(&self, verified: &Verified, job: &Job) -> bool {
        let job = &self.with_cut_lots(job);
        self.news_of(plan_booking(verified, job, &self.now.outage)).is_empty()
    }

    fn news_of(&self, plan: PlanBooking) -> Vec<Booking> {
        let taken = self.now.outage.taken().cloned().unwrap_or_default();
        self.now.outage.news(TookOver { holds: None, ..taken }, Some(plan))
    }

    /// Whether a dimension of a pump was booked, by the heading of its column.
    pub(super) fn is_booked(&self, tag: &str, heading: &str) -> bool {
        let pump = self.now.outage.pump(tag);
        pump.is_some_and(|pump| pump.measured.iter().any(|known| known.heading == heading))
    }

    /// Whether there is something to take back.
    pub(super) fn can_undo(&self) -> bool {
        !self.steps.is_empty()
    }

    /// Entries booked elsewhere that nobody has seen here, in words.
    pub(super) fn news(&self) -> Vec<String> {
        let entries = self.news.iter().filter_map(|&number| self.now.outage.entry(number));
        entries.map(|entry| self.entry(entry)).collect()
    }

    pub(super) fn acknowledge(&mut self) {
        self.news.clear();
    }

    fn entry(&self, entry: &LedgerEntry) -> String {
        let by = match entry.facts.who.as_str() {
            "" => String::new(),
            who => format!(", by {who}"),
        };
        format!("entry {}, {}{by}", entry.number, words::outage::described(&self.now.outage, entry))
    }

    /// Goes on with the outage as its file has it now, and lays these edits over its workbooks. What was booked elsewhere is
    /// news.
    pub(super) fn go_on_with(
        &mut self,
        (now, fresh): (Now, Scratch),
        scratch: &mut Scratch,
        laid: &[CellEdit],
    ) -> Result<Vec<RefusedEdit>, Reasons> {
        let known = self.now.outage.head();
        if now.outage.goes_through(&known).is_err() {
            let words = "The outage file is not the one that this page began with: end the page, and begin it again.";
            return Err(vec![words.into()]);
        }
        self.news.extend(known.number + 1..=now.outage.head().number);
        self.now = now;
        let refused = scratch.go_on_with(fresh, laid);
        self.judge(scratch.job());
        Ok(refused)
    }

    /// Gets ready to book: somebody has a name, and the outage is as its file has it. Whether the request was booked before.
    pub(super) fn is_booked_before(
        &mut self,
        scratch: &mut Scratch,
        by: &By,
        megabytes: u64,
    ) -> Result<bool, Reasons> {
        named_by(by)?;
        self.follow(scratch, megabytes)?;
        Ok(self.knows(by))
    }

    /// Reads the file again if it moved.
    fn follow(&mut self, scratch: &mut Scratch, megabytes: u64) -> Result<(), Reasons> {
        if self.is_moved() {
            let laid = scratch.laid();
            self.go_on_with(read(&self.path, megabytes)?, scratch, &laid)?;
        }
        Ok(())
    }

    /// Whether a request was booked by an earlier try.
    fn knows(&self, by: &By) -> bool {
        let front = format!("{}/", by.request);
        let mut entries = self.now.outage.entries().iter().rev();
        entries.any(|entry| entry.facts.request.starts_with(&front))
    }

    /// Books edits as readings, those that can be.
    pub(super) fn record(
        &mut self,
        scratch: &mut Scratch,
        edits: &[CellEdit],
        by: &By,
        megabytes: u64,
    ) -> Result<Vec<RefusedEdit>, Reasons> {
        let (edits, moved): (Vec<_>, Vec<_>) = edits
            .iter()
            .cloned()
            .partition(|edit| scratch.cell(&edit.tag, &edit.heading) == edit.was.trim());
        let mut refused: Vec<RefusedEdit> =
            moved.iter().map(|edit| self.moved(scratch, edit)).collect();
        refused.extend(scratch.edit(&edits));
        let booked = self.book(scratch, by, megabytes);
        if booked.is_err() {
            // Values that are in no ledger are not left on a page that says they are.
            scratch.discard();
        }
        refused.extend(booked?);
        refused.iter().for_each(|one| scratch.refuse(one.clone()));
        Ok(refused)
    }

    /// Books the edits at hand that are readings. Those that are none stay, and so do all under [`Mode::WhatIf`] where one
    /// cannot be booked.
    pub(super) fn book(
        &mut self,
        scratch: &mut Scratch,
        by: &By,
        megabytes: u64,
    ) -> Result<Vec<RefusedEdit>, Reasons> {
        let laid = scratch.laid();
        let (mut refused, mut readings) = (Vec::new(), Vec::new());
        for edit in &laid {
            match self.booking(scratch, edit) {
                Ok(booking) => readings.push((edit.clone(), booking)),
                Err(why) => refused.push(refusal(scratch, edit, &why)),
            }
        }
        let mut file =
            OutageFile::open(&self.path).map_err(|error| vec![said(&self.path, &error)])?;
        let (records, mut booked) = (self.mode == Mode::Record, Vec::new());
        while !readings.is_empty() {
            let drafts = readings.iter().enumerate();
            let drafts =
                drafts.map(|(at, (_, booking))| (facts(by, at), booking.clone())).collect();
            match file.book_at(self.now.outage.head().number, drafts, &Vec::new()) {
                Ok(receipts) => {
                    booked = numbers(&receipts);
                    self.steps.push(booked.clone());
                    break;
                }
                Err(BookError::Refused(why)) => {
                    let why: BTreeMap<usize, BookingRefusal> = why.into_iter().collect();
                    let mut others = Vec::new();
                    for (at, (edit, booking)) in readings.drain(..).enumerate() {
                        match why.get(&at) {
                            Some(why) => refused.push(refusal(scratch, &edit, why)),
                            // What is taken over as a whole is not booked in part.
                            None if records => others.push((edit, booking)),
                            None => {}
                        }
                    }
                    readings = others;
                }
                Err(BookError::File(error)) => return Err(vec![said(&self.path, &error)]),
            }
        }
        let is_booked = |edit: &CellEdit| readings.iter().any(|(booked, _)| booked == edit);
        let kept: Vec<CellEdit> =
            laid.into_iter().filter(|edit| !records && !is_booked(edit)).collect();
        self.go_on_with(read(&self.path, megabytes)?, scratch, &kept)?;
        self.news.retain(|number| !booked.contains(number));
        for one in &mut refused {
            one.kept = scratch.cell(&one.edit.tag, &one.edit.heading);
        }
        Ok(refused)
    }

    /// Takes the last step that was booked here back, by counter-entries.
    pub(super) fn undo(
        &mut self,
        scratch: &mut Scratch,
        by: &By,
        megabytes: u64,
    ) -> Result<(), Reasons> {
        // What was undone elsewhere is not undone again.
        let is_undone =
            |step: &Vec<u32>| step.iter().all(|&entry| self.now.outage.is_undone(entry));
        self.steps.retain(|step| !is_undone(step));
        let Some(step) = self.steps.last() else { return Ok(()) };
        let undo = step.iter().rev().map(|&entry| Booking::Undo { entry }).collect();
        self.enter_all(scratch, undo, by, megabytes)?;
        self.steps.pop();
        Ok(())
    }

    /// Enters a plan, as `kit --outage` does.
    pub(super) fn enter(
        &mut self,
        scratch: &mut Scratch,
        plan: PlanBooking,
        by: &By,
        megabytes: u64,
    ) -> Result<(), Reasons> {
        self.enter_all(scratch, self.news_of(plan), by, megabytes)
    }

    /// Books all of these or none.
    fn enter_all(
        &mut self,
        scratch: &mut Scratch,
        bookings: Vec<Booking>,
        by: &By,
        megabytes: u64,
    ) -> Result<(), Reasons> {
        let drafts =
            bookings.into_iter().enumerate().map(|(at, one)| (facts(by, at), one)).collect();
        let mut file =
            OutageFile::open(&self.path).map_err(|error| vec![said(&self.path, &error)])?;
        let booked = match file.book_at(self.now.outage.head().number, drafts, &Vec::new()) {
            Ok(receipts) => numbers(&receipts),
            Err(BookError::File(error)) => return Err(vec![said(&self.path, &error)]),
            Err(BookError::Refused(why)) => {
                return Err(why.iter().map(|(_, why)| in_words(why)).collect());
            }
        };
        let laid = scratch.laid();
        self.go_on_with(read(&self.path, megabytes)?, scratch, &laid)?;
        self.news.retain(|number| !booked.contains(number));
        Ok(())
    }

    /// Booking of an edit, if it is a reading.
    fn booking(&self, scratch: &Scratch, edit: &CellEdit) -> Result<Booking, BookingRefusal> {
        let heading = scratch.headings().iter().find(|known| known.key == edit.heading);
        let heading = heading.map_or("", |heading| heading.text.as_str());
        let model = model_of(scratch.job(), &edit.tag);
        let column = model.and_then(|model| Some((model, pump_column(model, &edit.heading)?)));
        let Some((model, PumpColumn::Reading(_))) = column else {
            return Err(BookingRefusal {
                found: format!("`{}` below {heading}, which is no reading", edit.now),
                expected: "a reading: the ledger has no other cell of the pump workbook".into(),
                fix: "type it into the pump workbook, then run `gapwright kit --outage`".into(),
            });
        };
        if edit.now.is_empty() {
            return Err(BookingRefusal {
                found: "an empty cell".into(),
                expected: "a reading".into(),
                fix: "to take a booked reading back, undo its entry".into(),
            });
        }
        let what = outage_cells::dimension(model, &edit.heading).unwrap_or_default();
        let value = with_unit(&edit.now, heading);
        outage_cells::measured(&self.now.pumps, model, [&edit.tag, &what, &value])
    }

    /// Refusal of an edit whose cell somebody else has changed.
    fn moved(&self, scratch: &Scratch, edit: &CellEdit) -> RefusedEdit {
        let kept = scratch.cell(&edit.tag, &edit.heading);
        let about = |entry: &&LedgerEntry| match &entry.booking {
            Booking::Measured { tag, heading, .. } => {
                key(tag) == key(&edit.tag) && *heading == edit.heading
            }
            Booking::Undo { .. } => true,
            _ => false,
        };
        let last = self.now.outage.entries().iter().rev().find(about);
        let last = last.map_or(String::new(), |entry| format!(": {}", self.entry(entry)));
        let problem = Problem::new(
            scratch.place(&edit.tag, &edit.heading),
            format!("`{kept}`, booked meanwhile{last}"),
            format!("`{}`, as it was when this was typed", edit.was.trim()),
            "look at the new value, and type yours again if it holds",
        );
        RefusedEdit { edit: edit.clone(), kept, problem }
    }

    /// Puts states, bags and judgements of the ledger into the rows.
    pub(super) fn dress(&self, rows: &mut [PumpRow], scratch: &Scratch) {
        let job = scratch.job();
        let planned = scratch.planned().map(AsRef::as_ref);
        let (all, in_play) = (indices(job), planned.map(|planned| indices(planned.job())));
        for row in rows {
            let Some(pump) = self.now.outage.pump(&row.tag) else { continue };
            let tag = key(&row.tag);
            let at = in_play.as_ref().and_then(|known| known.get(&tag).copied());
            let of = all.get(&tag).map(|&at| (job, &job.pumps[at]));
            self.dress_one(row, pump, of, planned.zip(at), !scratch.is_planned());
        }
    }

    /// Puts the state of a pump into its row; `of` is the pump on the figures at hand, `planned` its place in the last plan.
    fn dress_one(
        &self,
        row: &mut PumpRow,
        pump: &OutagePump,
        of: Option<(&Job, &Pump)>,
        planned: Option<(&Verified, usize)>,
        planning: bool,
    ) {
        let kit = pump.kit.as_ref().map(|kit| format!("kit {}", kit.number));
        let state = [pump.state.words().to_string()].into_iter().chain(kit.clone());
        let state = state.collect::<Vec<_>>().join(", ");
        let is_bagged = pump.state == PumpState::Bagged;
        let bag = match planned.filter(|_| is_bagged && row.state.is_planned()) {
            None => "",
            Some((planned, at)) if planned.leaves_closed(at) => ": its bag stays closed",
            Some(_) => ": its bag is to be reopened",
        };
        let waits = row.state == RowState::Planning && planning;
        if pump.state.is_in_play()
            || row.state == RowState::NotMeasured
            || is_bagged && (waits || row.state.is_planned())
        {
            row.remarks.insert(0, format!("{state}{bag}"));
            return;
        }
        if let Some((job, of)) = of
            && let Ok(packs) = outage_kit::packs(job, of, &pump.bag)
        {
            row.of_packs(job, of, &packs);
        }
        let fault = self.faults.get(&key(&pump.tag)).map(String::as_str);
        let why = fault.or_else(|| pump.reason()).map(String::from);
        (row.state, row.remarks) = match fault.is_some() || pump.is_not_fit() {
            true => (RowState::NotFit, [state].into_iter().chain(why).collect()),
            false => (RowState::LeftAlone(pump.state), kit.into_iter().chain(why).collect()),
        };
    }
}

fn numbers(receipts: &[Receipt]) -> Vec<u32> {
    receipts.iter().map(|receipt| receipt.entry.number).collect()
}

/// Index of each pump of a job, by the key of its tag.
fn indices(job: &Job) -> HashMap<String, usize> {
    job.pumps.iter().enumerate().map(|(at, pump)| (key(&pump.tag), at)).collect()
}

/// Pumps whose pieces are out.
fn out(outage: &Outage) -> impl Iterator<Item = &OutagePump> {
    let is_out =
        |pump: &&OutagePump| !pump.state.is_in_play() && pump.state != PumpState::Cancelled;
    outage.pumps().filter(is_out)
}

fn model_of<'a>(job: &'a Job, tag: &str) -> Option<&'a Model> {
    let measured = job.pumps.iter().map(|pump| (&pump.tag, pump.model));
    let waiting = job.not_measured.iter().map(|pump| (&pump.tag, pump.model));
    let mut all = measured.chain(waiting);
    all.find(|(known, _)| key(known) == key(tag)).map(|(_, model)| &job.models[model])
}

/// Value with its unit: that of the heading where it has none of its own.
fn with_unit(text: &str, heading: &str) -> String {
    let unit = outage_cells::unit_in(heading);
    match (Length::parse(text, None), unit) {
        (Err(_), Some(unit)) if Length::parse(text, Some(unit)).is_ok() => format!("{text} {unit}"),
        _ => text.to_string(),
    }
}

fn named_by(by: &By) -> Result<(), Reasons> {
    match by.who.trim() {
        "" => Err(vec![
            "Nothing was booked: type your name above the pumps first, and try again.".into(),
        ]),
        _ => Ok(()),
    }
}

fn facts(by: &By, at: usize) -> Circumstances {
    let now = jiff::Zoned::now();
    Circumstances {
        request: format!("{}/{at}", by.request),
        at: now.timestamp().to_string(),
        date: now.date().to_string(),
        who: by.who.trim().to_string(),
        why: String::new(),
    }
}

fn in_words(why: &BookingRefusal) -> String {
    format!("Found {}. Expected {}. Fix: {}.", why.found, why.expected, why.fix)
}

fn refusal(scratch: &Scratch, edit: &CellEdit, why: &BookingRefusal) -> RefusedEdit {
    let problem = why.problem(scratch.place(&edit.tag, &edit.heading));
    RefusedEdit { edit: edit.clone(), kept: edit.was.clone(), problem }
}
