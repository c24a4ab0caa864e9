//! A run of a command: the one place that knows the marked copy, `--force`, the result for programs, the date, the
//! interrupt, the time limit and the exit status.
//!
//! A command says once what it reads and what it writes. [`Run::begin`] holds the one against the other, and only
//! a [`output::Output`] that it let pass can be written: no command can write over its inputs.

use std::panic;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use super::files::{Claimed, Files, Json};
use super::interrupt::Interrupt;
use super::outage::on_network;
use super::progress::{self, Meter};
use super::report::{Findings, Listing};
use super::voice::{Voice, answer, must_see, out};
use super::{Common, DONE, FAILED, INTERRUPTED, MISSED, PROBLEMS};
use crate::choose::control::{Control, PhaseProgress, Progress, Room};
use crate::formats::problems::ReadJson;
use crate::guard::guarded;
use crate::job::Job;
use crate::output::{self, Output, WriteError};
use crate::policy::Policy;
use crate::problem::{Place, Problem, Problems};
use crate::pump::Pump;
use crate::read::{self, Memory};
use crate::verify::Breach;
use crate::write::bytes_of_plan;

/// A run that ended early, with its exit status; it has been said why.
pub(super) struct Stop(pub(super) u8);

/// How a command ends: with its exit status, either way.
pub(super) type Ended = Result<u8, Stop>;

/// Why a step of the work gave nothing.
pub(super) enum Refusal {
    /// The inputs ask for something that cannot be had.
    Problems(Problems),
    /// The result does not hold when it is worked out again.
    Breaches(Vec<Breach>),
}

impl From<Problem> for Refusal {
    fn from(problem: Problem) -> Refusal {
        Refusal::Problems(Problems::of(problem))
    }
}

/// A run under way.
pub(super) struct Run {
    start: Instant,
    memory: Memory,
    /// Memory of the run in all, in megabytes.
    megabytes: u64,
    voice: Voice,
    findings: Findings,
    /// Problems and warnings so far.
    problems: Problems,
    /// Counts for the list for programs.
    read: Option<ReadJson>,
    date: String,
    outputs: Vec<Output>,
    json: Json,
    /// Work to be done once all files are written, before they are put in their places.
    before_placing: Option<Enter>,
    interrupt: Interrupt,
    /// Exit status of a run that writes its files.
    status: u8,
}

/// Work between writing files and putting them in their places.
type Enter = Box<dyn FnOnce(&mut Run) -> Result<(), Stop>>;

impl Run {
    /// Begins: what is wrong with the names of files and the date is a problem like any other, listed with the rest.
    pub(super) fn begin(common: &Common, files: Files<'_>) -> Run {
        let mut problems = Problems::new();
        files.check(common.form, &mut problems);
        let claimed = Claimed::of(&files, &mut problems);
        let books = files.reads.iter().copied();
        let open = books.clone().flat_map(read::open_elsewhere);
        let far = files.outage.and_then(on_network);
        open.chain(far).for_each(|warning| problems.warn(warning));
        Run {
            start: common.start,
            memory: common.memory.clone(),
            megabytes: common.megabytes,
            voice: Voice::new(common.quiet, files.json_to_stdout() || common.form == Listing::Json),
            findings: Findings::new(common, claimed.mark, books.map(PathBuf::from).collect()),
            problems,
            read: None,
            date: files.date.map_or_else(today, String::from),
            outputs: claimed.outputs,
            json: claimed.json,
            before_placing: None,
            interrupt: Interrupt::default(),
            status: DONE,
        }
    }

    /// Ends with another exit status, though everything is written.
    pub(super) fn end_with(&mut self, status: u8) {
        self.status = status;
    }

    /// To whom the account goes.
    pub(super) fn voice(&self) -> Voice {
        self.voice
    }

    /// The date to print.
    pub(super) fn date(&self) -> &str {
        &self.date
    }

    /// Puts what was read into the list for programs.
    pub(super) fn having_read(&mut self, read: ReadJson) {
        self.read = Some(read);
    }

    /// Looks at inputs that are read again, and whose problems are found then.
    pub(super) fn look<T>(&self, what: &'static str, look: impl FnOnce(&mut Memory) -> T) -> T {
        let _progress = Meter::new(what, self.voice);
        look(&mut self.memory.clone())
    }

    /// Reads the inputs; with anything wrong, in them or in the command line, the run ends and all of it is listed.
    pub(super) fn read<T>(
        &mut self,
        what: &'static str,
        read: impl FnOnce(&mut Memory, &mut Problems) -> Option<T>,
    ) -> Result<T, Stop> {
        let progress = Meter::new(what, self.voice);
        let read = read(&mut self.memory.clone(), &mut self.problems);
        drop(progress);
        match read.filter(|_| self.problems.none()) {
            Some(read) => Ok(read),
            None => Err(self.refuse()),
        }
    }

    /// Refuses to go on to a workbook about these pumps of a file that takes more memory than the run may have, before
    /// the work is begun.
    pub(super) fn has_memory_for<'j>(
        &mut self,
        job: &'j Job,
        of: impl ExactSizeIterator<Item = &'j Pump>,
        file: &Path,
    ) -> Result<(), Stop> {
        const MEGABYTE: u64 = 1_000_000;
        let pumps = of.len();
        let asked = bytes_of_plan(job, of).div_ceil(MEGABYTE);
        let there = self.megabytes;
        if asked <= there {
            return Ok(());
        }
        let problem = Problem::new(
            Place::file(&file.display().to_string()),
            format!("{pumps} pumps, whose workbook takes about {asked} MB of memory to write"),
            format!("what can be written with {there} MB of memory"),
            format!("give at least --memory {asked}, or split the outage"),
        );
        Err(self.stop(problem.into()))
    }

    /// Does a step of the work that does not answer to Ctrl-C, once it is known that the outputs can be written.
    pub(super) fn work<T>(
        &mut self,
        what: &'static str,
        work: impl FnOnce(&Run) -> Result<T, Refusal>,
    ) -> Result<T, Stop> {
        self.ready()?;
        let progress = Meter::new(what, self.voice);
        let done = work(self);
        drop(progress);
        done.map_err(|refusal| self.stop(refusal))
    }

    /// Searches under the time limit, with progress and answering to Ctrl-C: the first ends the search, and the best
    /// found is written; the run ends with a status of its own.
    pub(super) fn solve<T>(
        &mut self,
        policy: &Policy,
        solve: impl FnOnce(&Solving) -> Result<T, Refusal>,
    ) -> Result<T, Stop> {
        self.ready()?;
        let progress = Arc::new(Meter::new("choosing", self.voice));
        self.interrupt.answer(&progress);
        let currency = policy.currency.clone();
        let [news, steps] = [&progress, &progress].map(Arc::clone);
        let solving = Solving {
            start: self.start,
            limit: limit(policy),
            room: self.room(),
            interrupt: self.interrupt.clone(),
            news: Box::new(move |told| news.tell(|| progress::of_news(&told, &currency))),
            steps: Box::new(move |step| steps.tell(|| progress::of_step(&step))),
            progress,
        };
        let solved = solve(&solving);
        drop(solving);
        solved.map_err(|refusal| self.stop(refusal))
    }

    /// Memory that a choice may hold.
    pub(super) fn room(&self) -> Room {
        Room::of_megabytes(self.megabytes)
    }

    /// A control that nobody answers to: the time limit counts from the start of the program.
    pub(super) fn control<'a>(&self, policy: &Policy, room: &'a Room) -> Control<'a> {
        Control::since(self.start).limit(limit(policy)).within(room)
    }

    /// A checked result; else the run ends, since the checker found a defect of the program.
    pub(super) fn check<T>(&mut self, checked: Result<T, Vec<Breach>>) -> Result<T, Stop> {
        checked.map_err(|breaches| self.stop(Refusal::Breaches(breaches)))
    }

    /// Puts a workbook together, with the date to print. Long sheets go through a temporary file, and the library that writes
    /// them panics where there is no room for it.
    pub(super) fn write<T>(
        &self,
        what: &'static str,
        write: impl FnOnce(&str) -> Result<T, WriteError>,
    ) -> Result<T, WriteError> {
        let _progress = Meter::new(what, self.voice);
        guarded(|| write(&self.date)).unwrap_or_else(|message| {
            // The system's error in its debug form.
            match message.split_once("Os { ") {
                Some((_, system)) => {
                    Err(WriteError::Temporary(system.trim_end_matches(" }").into()))
                }
                None => panic::resume_unwind(Box::new(message)),
            }
        })
    }

    /// A finished output; else the run ends.
    pub(super) fn made<T>(&mut self, made: Result<T, WriteError>) -> Result<T, Stop> {
        made.map_err(|error| self.fail(&error))
    }

    /// A sound result; else the run ends, for a reason that lies not in the inputs.
    pub(super) fn sound<T>(&mut self, checked: Result<T, Problem>) -> Result<T, Stop> {
        checked.map_err(|failure| self.fail_with(failure, Vec::new()))
    }

    /// Writes the workbook and the result for programs, whole or not at all, and lists the warnings.
    pub(super) fn deliver(
        &mut self,
        workbook: Result<Vec<u8>, WriteError>,
        json: impl FnOnce() -> String,
    ) -> Ended {
        self.deliver_with(workbook, String::new(), json)
    }

    /// [`Run::deliver`] with a text for the output after the workbook, if the command has one.
    pub(super) fn deliver_with(
        &mut self,
        workbook: Result<Vec<u8>, WriteError>,
        beside: String,
        json: impl FnOnce() -> String,
    ) -> Ended {
        let workbook = self.made(workbook)?;
        let text = match self.json {
            Json::Nowhere => String::new(),
            Json::Stdout | Json::File(_) => json(),
        };
        let outputs = self.outputs.clone();
        let files = outputs.iter().zip([workbook.as_slice(), beside.as_bytes()]);
        self.deliver_text(files.collect(), &text)
    }

    /// Writes these files and the result for programs, whole or not at all, and lists the warnings.
    pub(super) fn deliver_text(&mut self, files: Vec<(&Output, &[u8])>, text: &str) -> Ended {
        let file = self.json_file().cloned();
        let text_of_file = file.as_ref().map(|file| (file, text.as_bytes()));
        let files: Vec<(&Output, &[u8])> = files.into_iter().chain(text_of_file).collect();
        let status = self.place(&files)?;
        if matches!(self.json, Json::Stdout) {
            answer(text.as_bytes());
        }
        Ok(status)
    }

    /// Writes a file to each output of the command, in their order, whole or not at all, and lists the warnings.
    pub(super) fn deliver_all(&mut self, files: &[Vec<u8>]) -> Ended {
        let outputs = self.outputs.clone();
        let files = files.iter().map(Vec::as_slice);
        self.place(&outputs.iter().zip(files).collect::<Vec<_>>())
    }

    /// Does this once all files are written whole, and before any is put in its place: if it ends the run, none is.
    pub(super) fn before_placing(
        &mut self,
        enter: impl FnOnce(&mut Run) -> Result<(), Stop> + 'static,
    ) {
        self.before_placing = Some(Box::new(enter));
    }

    /// Makes the folder that the outputs lie in, if it is not there.
    pub(super) fn make_folder(&mut self, folder: &Path) -> Result<(), Stop> {
        let made = std::fs::create_dir_all(folder)
            .map_err(|error| WriteError::File { path: folder.to_path_buf(), error });
        made.map_err(|error| self.fail(&error))
    }

    /// Ends a run that has nothing else to write: lists and marks what it warns of.
    pub(super) fn end(&mut self, status: u8) -> Ended {
        Ok(self.settle(status, &[]))
    }

    /// Whether there is anything to be warned of.
    pub(super) fn has_warnings(&self) -> bool {
        !self.problems.warnings().is_empty()
    }

    /// Ends a run for a problem that is known before anything is read.
    pub(super) fn refuse_for(mut self, problem: Problem) -> Stop {
        self.stop(problem.into())
    }

    /// Says where everything was written.
    pub(super) fn tell_written(&self) {
        for output in self.outputs.iter().chain(self.json_file()) {
            out!(self.voice, "Wrote {}.", output.path().display());
        }
    }

    /// Ends a run that could not write, or whose files could not be put together.
    fn fail(&mut self, error: &WriteError) -> Stop {
        self.fail_with(error.problem(), error.written_before())
    }

    /// Ends a run for a reason that is none of the inputs'.
    fn fail_with(&mut self, failure: Problem, written: Vec<PathBuf>) -> Stop {
        self.problems.add(failure);
        let read = self.read.take();
        self.findings.list(&self.problems, FAILED, &written, read);
        Stop(FAILED)
    }

    fn json_file(&self) -> Option<&Output> {
        match &self.json {
            Json::File(file) => Some(file),
            Json::Nowhere | Json::Stdout => None,
        }
    }

    /// Refuses outputs that cannot be written: asked before the work, not after it.
    fn ready(&mut self) -> Result<(), Stop> {
        let mark = self.findings.mark_at();
        let mut outputs = self.outputs.iter().chain(self.json_file()).chain(mark);
        let ready = outputs.try_for_each(Output::ready);
        ready.map_err(|error| self.fail(&error))
    }

    fn stop(&mut self, refusal: Refusal) -> Stop {
        match refusal {
            Refusal::Problems(problems) => {
                self.problems.absorb(problems);
                self.refuse()
            }
            Refusal::Breaches(breaches) => self.fail_with(defect(&breaches), Vec::new()),
        }
    }

    /// Ends a run whose inputs have problems: nothing is written but the marked copy.
    fn refuse(&mut self) -> Stop {
        let mut written = Vec::new();
        match self.findings.mark(&self.problems) {
            Ok(copy) => written.extend(copy),
            Err(error) => self.problems.add(error.problem()),
        }
        let read = self.read.take();
        self.findings.list(&self.problems, PROBLEMS, &written, read);
        Stop(PROBLEMS)
    }

    /// Puts files in their places. Ctrl-C waits for that: it ends a run before it or after it.
    fn place(&mut self, files: &[(&Output, &[u8])]) -> Ended {
        // An output that was not let pass is missing among them.
        if !self.problems.none() {
            return Err(self.refuse());
        }
        let files: Vec<(Output, &[u8])> =
            files.iter().map(|(output, bytes)| (self.keeping(output), *bytes)).collect();
        let files: Vec<(&Output, &[u8])> =
            files.iter().map(|(output, bytes)| (output, *bytes)).collect();
        let staged = self.interrupt.held_off(|| output::stage(&files));
        let staged = staged.map_err(|error| self.fail(&error))?;
        let enters = self.before_placing.take();
        let entered = enters.is_some();
        enters.map_or(Ok(()), |enter| enter(self))?;
        let placed = self.interrupt.held_off(|| staged.place());
        let kept = placed.map_err(|error| {
            if entered {
                must_see!(
                    self.voice,
                    "The plan is in the ledger, and its workbook is not written: run it again, which enters nothing twice."
                );
            }
            self.fail(&error)
        })?;
        for (before, now) in &kept {
            let (before, now) = (before.display(), now.display());
            must_see!(self.voice, "{before} held entries of people: it was kept as {now}.");
        }
        let written = files.iter().map(|(place, _)| place.path().to_path_buf());
        let written: Vec<PathBuf> = kept.into_iter().map(|(_, now)| now).chain(written).collect();
        Ok(self.settle(self.status, &written))
    }

    /// An output, which keeps the file that it replaces if people have typed into it.
    fn keeping(&self, output: &Output) -> Output {
        let memory = &mut self.memory.clone();
        match output.replaces() && read::is_filled_in(output.path(), memory) {
            true => output.clone().keeping(),
            false => output.clone(),
        }
    }

    /// Ends a run that did what it was asked to, with this status: lists and marks what it warns of.
    fn settle(&mut self, status: u8, written: &[PathBuf]) -> u8 {
        let mut all = written.to_vec();
        let marked = self.interrupt.held_off(|| self.findings.mark(&self.problems));
        let status = match marked {
            Ok(copy) => {
                all.extend(copy);
                status
            }
            Err(error) => {
                self.problems.add(error.problem());
                FAILED
            }
        };
        // What a signal cut short is not done as asked, though it is written.
        let status = match status {
            DONE | MISSED if self.interrupt.came() => INTERRUPTED,
            status => status,
        };
        let read = self.read.take();
        self.findings.list(&self.problems, status, &all, read);
        status
    }
}

/// A search under way.
pub(super) struct Solving {
    start: Instant,
    limit: Duration,
    room: Room,
    interrupt: Interrupt,
    progress: Arc<Meter>,
    news: Box<dyn Fn(Progress) + Sync>,
    steps: Box<dyn Fn(PhaseProgress) + Sync>,
}

impl Solving {
    /// The control over the next part of the search, which is shown by these words.
    pub(super) fn control(&self, part: &str) -> Control<'_> {
        self.progress.begin(part);
        Control::since(self.start)
            .limit(self.limit)
            .within(&self.room)
            .interrupted_by(self.interrupt.flag())
            .listener(&*self.news)
            .steps(&*self.steps)
    }
}

fn limit(policy: &Policy) -> Duration {
    Duration::from_secs(policy.time_limit.into())
}

/// Takes a stage's findings in, and gives its value if nothing stops the run.
pub(super) fn gathered<T>(
    read: Result<(T, Vec<Problem>), Problems>,
    problems: &mut Problems,
) -> Option<T> {
    match read {
        Ok((value, warnings)) => {
            problems.absorb(Problems::of_warnings(warnings));
            Some(value)
        }
        Err(found) => {
            problems.absorb(found);
            None
        }
    }
}

/// A job as [`gathered`]; it keeps its warnings, since its sheets show them too.
pub(super) fn gathered_job(read: Result<Job, Problems>, problems: &mut Problems) -> Option<Job> {
    let read = read.map(|job| {
        let warnings = job.warnings.clone();
        (job, warnings)
    });
    gathered(read, problems)
}

/// A plan that the checker does not let pass, as a problem.
fn defect(breaches: &[Breach]) -> Problem {
    let breaches: Vec<String> = breaches.iter().map(Breach::to_string).collect();
    Problem::new(
        Place::file("gapwright"),
        format!("a plan that fails its check: {}", breaches.join("; ")),
        "a plan that passes its check",
        "this is a defect of gapwright: please report it with both workbooks",
    )
}

/// Today's date.
pub(super) fn today() -> String {
    jiff::Zoned::now().date().to_string()
}

/// Makes a pool of so many threads, if a number is given; without one there are as many as processors.
pub(super) fn use_threads(threads: Option<u16>) {
    if let Some(threads) = threads {
        // Fails only if a pool was built before, which nothing here does.
        let pool = rayon::ThreadPoolBuilder::new().num_threads(usize::from(threads));
        pool.build_global().ok();
    }
}
