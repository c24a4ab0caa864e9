//! The scratch copy that all windows of a page share, and the parts of the page as they were rendered last.

pub(super) mod printing;
mod pumps;

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use tokio::sync::watch;

use super::parts::{Fresh, Part, Parts};
use super::row::{PumpRow, rows};
use super::running::{self, Mode, Reasons, Running};
use super::study::{self, Study};
use super::{board, drawers, named, of_outage, one_pump, printing as paper};
use crate::analysis::with_cures;
use crate::choose::control::{Control, Room};
use crate::choose::warm::Warm;
use crate::job::Job;
use crate::outage_kit::plan_booking;
use crate::problem::Problem;
use crate::provision::with_left;
use crate::scratch::{
    CellEdit, FirstSteps, PlanError, RefusedEdit, Scratch, plan_in_steps, with_worth,
};
use crate::verify::{Verified, verify_after};

/// Scratch copy, rendered parts, and the planning under way.
pub struct Desk {
    state: Mutex<State>,
    /// State that the last choice left; held while a plan is made: one at a time.
    planning: Mutex<Warm>,
    /// Flag that ends the planning under way.
    flag: Mutex<Arc<AtomicBool>>,
    /// Version of the parts; moves when any of them changes.
    news: watch::Sender<u64>,
    /// Whether a window shows it: nothing is planned for nobody.
    wanted: AtomicBool,
    megabytes: u64,
}

struct State {
    scratch: Scratch,
    /// The outage whose workbooks these are.
    running: Option<Running>,
    parts: Parts,
    /// Why the values at hand cannot be planned.
    trouble: Option<String>,
    /// Pumps, by their rows, whose pages are open, each with its study as far as it is worked out.
    studies: BTreeMap<u32, Option<Study>>,
    changed: Vec<&'static str>,
    /// Reasons why what was asked for last was not done.
    not_done: Reasons,
    /// Whether the plan at hand is the one entered last; known when all of it is worked out.
    stands: Option<bool>,
    /// How far the plan at hand is worked out.
    step: Step,
}

/// How far a plan is worked out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Step {
    /// An answer with its bounds, since the goals take long.
    Answer,
    /// Its goals are reached and checked; another plan may yet be the first among equal ones.
    Goals,
    /// The worth of one more of each item is open.
    Order,
    /// Nothing is open.
    Whole,
}

impl From<FirstSteps> for Step {
    fn from(step: FirstSteps) -> Step {
        match step {
            FirstSteps::Answer => Step::Answer,
            FirstSteps::Goals => Step::Goals,
        }
    }
}

/// Time after which the goals are shown as far as they are reached: so much for each pump, at least and at most.
const A_PUMP: Duration = Duration::from_micros(1_300);
const LEAST_ANSWER: Duration = Duration::from_millis(100);
const MOST_ANSWER: Duration = Duration::from_secs(1);

/// A change that a window asks for.
#[derive(Debug, Clone)]
pub(super) enum Act {
    Edit(Vec<CellEdit>),
    Undo,
    Redo,
    Discard,
    Acknowledge,
    /// The workbooks as they are on the disk now.
    TakeOver,
    /// Edits into the ledger, as readings.
    BookAll,
    /// The plan into the ledger.
    Enter,
    /// A kit that stays as it is, by the row of its pump: the one at hand or another one, by its code; `None` lets it go.
    Hold(u32, Option<String>),
}

/// Who asks, and the number of the request: one that was booked is not booked again.
#[derive(Debug, Clone, Default)]
pub(super) struct By {
    pub(super) who: String,
    pub(super) request: String,
}

impl By {
    /// Without a number the request is one of its own.
    pub(super) fn new(who: String, request: String) -> By {
        let fresh = || jiff::Timestamp::now().as_nanosecond().to_string();
        let request = if request.is_empty() { fresh() } else { request };
        By { who, request }
    }
}

fn held<T>(lock: &Mutex<T>) -> MutexGuard<'_, T> {
    // A panic elsewhere leaves values that were replaced whole or not at all.
    lock.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Desk {
    /// Desk with a scratch copy; planning may hold so many megabytes.
    pub fn new(scratch: Scratch, megabytes: u64) -> Desk {
        Desk::of(scratch, None, megabytes)
    }

    /// Desk of a running outage.
    pub(super) fn of_outage(scratch: Scratch, running: Running, megabytes: u64) -> Desk {
        Desk::of(scratch, Some(running), megabytes)
    }

    fn of(scratch: Scratch, running: Option<Running>, megabytes: u64) -> Desk {
        let wanted = AtomicBool::new(running.is_none());
        let mut state = State {
            scratch,
            running,
            parts: Parts::default(),
            trouble: None,
            studies: BTreeMap::new(),
            changed: Vec::new(),
            not_done: Vec::new(),
            stands: None,
            step: Step::Whole,
        };
        state.judge();
        state.render();
        Desk {
            news: watch::Sender::new(state.parts.version()),
            state: Mutex::new(state),
            planning: Mutex::default(),
            flag: Mutex::default(),
            wanted,
            megabytes,
        }
    }

    /// Looks at the scratch copy.
    pub fn look<T>(&self, look: impl FnOnce(&Scratch) -> T) -> T {
        look(&held(&self.state).scratch)
    }

    /// Receiver of the version.
    pub(super) fn news(&self) -> watch::Receiver<u64> {
        self.news.subscribe()
    }

    /// Parts that changed after a version, and whether a plan is being made.
    pub(super) fn fresh(&self, since: u64) -> Fresh {
        self.wanted.store(true, Ordering::Relaxed);
        let state = held(&self.state);
        let planning = !state.scratch.is_planned() && state.trouble.is_none();
        state.parts.fresh(since, planning)
    }

    /// HTML of the board.
    pub(super) fn board(&self) -> maud::Markup {
        let state = held(&self.state);
        let (rows, version) = (state.rows(), state.parts.version());
        let running = state.running.as_ref();
        board::board(&state.scratch, running, &rows, version, &|id| state.parts.html(id))
    }

    /// HTML of the drawers.
    pub(super) fn drawers(&self) -> maud::Markup {
        let state = held(&self.state);
        let links = board::links(state.running.as_ref(), "/drawers");
        drawers::drawers(&links, state.parts.version(), &|id| state.parts.html(id))
    }

    /// HTML of the page of the pump in a row of the workbook, if there is one.
    pub(super) fn pump(&self, row: u32) -> Option<maud::Markup> {
        let mut state = held(&self.state);
        let (found, part) = state.pump(row)?;
        self.open(&mut state, row);
        let all: Vec<String> = [part].into_iter().chain(state.studied(row)).collect();
        let links = board::links(state.running.as_ref(), "");
        Some(one_pump::page(&links, row, &found.tag, state.parts.version(), &all))
    }

    /// The part of the page of a pump that changes by itself.
    pub(super) fn pump_part(&self, row: u32) -> Option<Part> {
        let mut state = held(&self.state);
        let (_, html) = state.pump(row)?;
        self.open(&mut state, row);
        Some(state.parts.of_now("pump", html))
    }

    /// Drawing of a model, by its index.
    pub(super) fn drawing(&self, model: usize) -> Option<Arc<[u8]>> {
        let state = held(&self.state);
        Some(state.scratch.job().models.get(model)?.drawing.as_ref()?.bytes.clone())
    }

    /// Makes a change. Edits that were not taken are returned; whether a plan is to be made is [`Desk::is_planned`].
    pub(super) fn act(&self, act: &Act, by: &By) -> Vec<RefusedEdit> {
        let mut state = held(&self.state);
        let before = state.scratch.revision();
        let done = match state.running.is_some() {
            true => state.act_on_outage(act, by, self.megabytes),
            false => state.act(act).map(Some),
        };
        // What was booked before is answered as then: its reasons still stand.
        if !matches!(done, Ok(None)) {
            state.not_done = done.as_ref().err().cloned().unwrap_or_default();
        }
        let refused = match (done, act) {
            (Ok(refused), _) => refused.unwrap_or_default(),
            (Err(why), Act::Edit(edits)) => {
                edits.iter().map(|edit| state.not_booked(edit, &why)).collect()
            }
            (Err(_), _) => Vec::new(),
        };
        if state.scratch.revision() != before {
            self.values_changed(&mut state);
        }
        self.publish(&mut state);
        refused
    }

    /// Goes on with what was typed and held at another desk.
    pub(super) fn go_on_from(&self, other: &Desk) {
        let (typed, kits) = other.look(|scratch| (scratch.laid(), scratch.held_kits()));
        if !typed.is_empty() {
            self.act(&Act::Edit(typed), &By::default());
        }
        if !kits.is_empty() {
            let mut state = held(&self.state);
            match state.scratch.hold_all(kits) {
                true => self.values_changed(&mut state),
                false => state.not_done.push("The held kits could not be held again.".into()),
            }
            self.publish(&mut state);
        }
    }

    fn values_changed(&self, state: &mut State) {
        // Nobody waits for a plan of the values before.
        held(&self.flag).store(true, Ordering::Relaxed);
        state.trouble = None;
        state.stands = None;
        // Windows that are open ask for theirs again.
        state.studies.clear();
        state.judge();
    }

    /// Whether the last plan is of the values at hand.
    pub fn is_planned(&self) -> bool {
        held(&self.state).scratch.is_planned()
    }

    /// Whether the plan of the values at hand is the one that `kit` gives, the order among equal plans settled.
    pub fn is_settled(&self) -> bool {
        let state = held(&self.state);
        state.scratch.is_planned() && matches!(state.step, Step::Order | Step::Whole)
    }

    /// Whether a window shows it, or has.
    pub(super) fn is_wanted(&self) -> bool {
        self.wanted.load(Ordering::Relaxed)
    }

    /// Title of its page.
    pub(super) fn title(&self) -> String {
        board::title(held(&self.state).running.as_ref())
    }

    /// Plans the values at hand, unless that is done; then works out the worth of one more of each item, and then the pumps
    /// whose pages are open. A newer edit ends it, and so does [`Desk::stop`]. For a thread of its own.
    pub fn plan(&self) {
        let mut warm = held(&self.planning);
        let flag = Arc::new(AtomicBool::new(false));
        *held(&self.flag) = flag.clone();
        let (revision, job, of_outage) = {
            let mut state = held(&self.state);
            let (revision, of_outage) = (state.scratch.revision(), state.running.is_some());
            match state.scratch.is_planned() {
                true => (revision, None, of_outage),
                false => match state.to_plan() {
                    Ok(job) => (revision, Some(job), of_outage),
                    Err(words) => {
                        state.trouble = Some(words);
                        return self.publish(&mut state);
                    }
                },
            }
        };
        let room = Room::of_megabytes(self.megabytes);
        if job.is_some_and(|job| {
            !self.plan_anew(revision, (job, of_outage), &mut warm, (&room, &flag))
        }) {
            return;
        }
        self.study(revision, (&room, &flag));
    }

    /// Whether there is a plan of the values at hand.
    fn plan_anew(
        &self,
        revision: u64,
        (job, of_outage): (Job, bool),
        warm: &mut Warm,
        (room, flag): (&Room, &AtomicBool),
    ) -> bool {
        let limit = Duration::from_secs(job.policy.time_limit.into());
        let control = Control::since(Instant::now()).limit(limit).within(room);
        let control = control.interrupted_by(flag);
        let is_over = || flag.load(Ordering::Relaxed);
        let mut show = |planned: &Arc<Verified>, step: FirstSteps| {
            !is_over() && self.took(revision, Ok(planned.clone()), step.into()).is_some()
        };
        let answer = A_PUMP
            .saturating_mul(u32::try_from(job.pumps.len()).unwrap_or(u32::MAX))
            .clamp(LEAST_ANSWER, MOST_ANSWER);
        let planned = match plan_in_steps(&job, warm, (&control, answer), &mut show) {
            _ if is_over() => return false,
            Ok(None) => return false,
            Ok(Some(planned)) => self.took(revision, Ok(planned), Step::Order),
            Err(error) => self.took(revision, Err(error), Step::Order),
        };
        let Some(planned) = planned else { return false };
        let valued = with_worth(&planned, &control).and_then(|valued| {
            // The ledger keeps what would cure a pump, as `kit` enters it.
            if !of_outage || is_over() {
                return Ok(valued);
            }
            let plan = with_cures(&job, with_left(&job, valued.plan().clone(), &control));
            verify_after(&valued, plan).map_err(PlanError::Breaches)
        });
        !is_over() && self.took(revision, valued.map(Arc::new), Step::Whole).is_some()
    }

    /// Says that planning ended without a plan, which is a defect.
    pub(super) fn failed(&self) {
        let mut state = held(&self.state);
        if !state.scratch.is_planned() || state.step != Step::Whole {
            let words = "Planning failed inside gapwright: please report it with both workbooks.";
            state.trouble = Some(words.into());
        }
        self.publish(&mut state);
    }

    /// Ends the planning under way.
    pub fn stop(&self) {
        held(&self.flag).store(true, Ordering::Relaxed);
    }

    /// Holds the workbooks against the disk, and announces one that changed. For a thread of its own.
    pub fn look_at_disk(&self) {
        let moved = held(&self.state).running.as_ref().map(|running| {
            running.is_moved().then(|| running::read(running.path(), self.megabytes))
        });
        let Some(moved) = moved else {
            let changed = self.look(Scratch::changed_on_disk);
            let mut state = held(&self.state);
            state.changed = changed;
            return self.publish(&mut state);
        };
        let Some(read) = moved else { return };
        let mut state = held(&self.state);
        match state.go_on_with(read) {
            Ok(true) => self.values_changed(&mut state),
            Ok(false) => {}
            Err(why) => state.not_done = why,
        }
        self.publish(&mut state);
    }

    /// Takes a plan over that is worked out up to a step.
    fn took(
        &self,
        revision: u64,
        planned: Result<Arc<Verified>, PlanError>,
        step: Step,
    ) -> Option<Arc<Verified>> {
        let mut state = held(&self.state);
        let planned = match planned {
            Ok(planned) => {
                let taken = match step {
                    Step::Answer | Step::Goals => {
                        state.scratch.take_first_step(revision, planned.clone())
                    }
                    Step::Order | Step::Whole => state.scratch.take(revision, planned.clone()),
                };
                if taken {
                    state.step = step;
                }
                if taken && step == Step::Whole {
                    let job = state.scratch.job();
                    state.stands =
                        state.running.as_ref().map(|running| running.stands(&planned, job));
                }
                taken.then_some(planned)
            }
            Err(error) => {
                if revision == state.scratch.revision() {
                    state.trouble = Some(trouble(&error));
                }
                None
            }
        };
        self.publish(&mut state);
        planned
    }

    fn publish(&self, state: &mut State) {
        let before = state.parts.version();
        state.render();
        if state.parts.version() != before {
            self.news.send_replace(state.parts.version());
        }
    }
}

impl State {
    /// Pumps as their rows show them.
    fn rows(&self) -> Vec<PumpRow> {
        let mut rows = rows(&self.scratch);
        if let Some(running) = &self.running {
            running.dress(&mut rows, &self.scratch);
        }
        rows
    }

    fn judge(&mut self) {
        if let Some(running) = &mut self.running {
            running.judge(self.scratch.job());
        }
    }

    /// Job to plan: of all pumps, or of those in play.
    fn to_plan(&self) -> Result<Job, String> {
        let job = self.scratch.job();
        match &self.running {
            None => Ok(job.clone()),
            Some(running) => running.in_play(job).map(|job| self.scratch.with_held(job)),
        }
    }

    fn act(&mut self, act: &Act) -> Result<Vec<RefusedEdit>, Reasons> {
        let scratch = &mut self.scratch;
        match act {
            Act::Edit(edits) => return Ok(scratch.edit(edits)),
            Act::Undo => drop(scratch.undo()),
            Act::Redo => drop(scratch.redo()),
            Act::Discard => scratch.discard(),
            Act::Acknowledge => scratch.acknowledge(),
            Act::TakeOver => {
                let refused = scratch.take_over().map_err(|found| named::listed(&found))?;
                self.changed.clear();
                return Ok(refused);
            }
            Act::Hold(row, kit) => return Ok(self.hold(*row, kit.as_deref())),
            Act::BookAll | Act::Enter => {}
        }
        Ok(Vec::new())
    }

    /// Makes a change on the page of an outage; `None` if it was booked before.
    fn act_on_outage(
        &mut self,
        act: &Act,
        by: &By,
        megabytes: u64,
    ) -> Result<Option<Vec<RefusedEdit>>, Reasons> {
        let Some(running) = &mut self.running else { return Ok(None) };
        let scratch = &mut self.scratch;
        let books = match running.mode {
            Mode::Record => matches!(act, Act::Edit(_) | Act::Undo | Act::Enter),
            Mode::WhatIf => matches!(act, Act::BookAll),
        };
        if books && running.is_booked_before(scratch, by, megabytes)? {
            return Ok(None);
        }
        let done = match (running.mode, act) {
            (Mode::Record, Act::Edit(edits)) => running.record(scratch, edits, by, megabytes)?,
            (Mode::Record, Act::Undo) => {
                running.undo(scratch, by, megabytes)?;
                Vec::new()
            }
            (Mode::Record, Act::Enter) => {
                let planned = scratch.planned().filter(|_| self.stands.is_some()).cloned();
                let planned = planned.filter(|_| scratch.is_planned()).ok_or_else(|| {
                    vec!["The plan is not worked out to its end yet: wait, then enter it.".into()]
                })?;
                let job = running.with_cut_lots(scratch.job());
                let plan = plan_booking(&planned, &job, &running.now.outage);
                running.enter(scratch, plan, by, megabytes)?;
                Vec::new()
            }
            (Mode::WhatIf, Act::BookAll) => {
                let refused = running.book(scratch, by, megabytes)?;
                if !refused.is_empty() {
                    return Err(refused.iter().map(board::refused_line).collect());
                }
                refused
            }
            (_, Act::Acknowledge) => {
                running.acknowledge();
                self.act(act)?
            }
            (_, Act::Hold(..)) => self.act(act)?,
            (Mode::Record, Act::Redo | Act::Discard | Act::BookAll)
            | (Mode::WhatIf, Act::Enter)
            | (_, Act::TakeOver) => Vec::new(),
            (Mode::WhatIf, _) => self.act(act)?,
        };
        Ok(Some(done))
    }

    /// An edit of which nothing was booked.
    fn not_booked(&self, edit: &CellEdit, why: &Reasons) -> RefusedEdit {
        let kept = self.scratch.cell(&edit.tag, &edit.heading);
        let place = self.scratch.place(&edit.tag, &edit.heading);
        let problem =
            Problem::new(place, "a reading that was not booked", "a booking", why.join(" "));
        RefusedEdit { edit: edit.clone(), kept, problem }
    }

    /// Goes on with the outage as it was read from its file, unless it is known already.
    fn go_on_with(
        &mut self,
        read: Result<(running::Now, Scratch), Reasons>,
    ) -> Result<bool, Reasons> {
        let Some(running) = &mut self.running else { return Ok(false) };
        let read = read.map_err(|why| {
            let first = "The outage file could not be read again; this is its state before.";
            [first.to_string()].into_iter().chain(why).collect::<Reasons>()
        })?;
        if read.0.outage.head().number < running.now.outage.head().number {
            return Ok(false);
        }
        let laid = self.scratch.laid();
        running.go_on_with(read, &mut self.scratch, &laid)?;
        self.not_done.clear();
        Ok(true)
    }

    /// Renders all parts; those that are not as they were get a new version.
    fn render(&mut self) {
        let (scratch, running) = (&self.scratch, self.running.as_ref());
        let rows = self.rows();
        let columns: Vec<_> =
            scratch.job().models.iter().map(|model| board::columns(scratch, model)).collect();
        let mode = match running {
            None => board::mode(scratch, &self.changed, &self.not_done),
            Some(running) => of_outage::mode(running, scratch, &self.not_done, self.stands),
        };
        let panels = [
            ("stops", of_outage::stops(&running.map(Running::stops).unwrap_or_default())),
            ("mode", mode),
            ("figures", board::figures(scratch, self.trouble.as_deref(), self.step)),
            ("refused", board::refused(scratch)),
            ("changes", board::changes(scratch)),
            ("warnings", board::warnings(scratch, running)),
            ("paper", paper::standing(self.printable().map(AsRef::as_ref))),
            ("drawers", drawers::table(scratch.planned().map(AsRef::as_ref))),
        ];
        let panels = panels.into_iter().map(|(id, html)| (id.to_string(), html));
        let studies =
            self.studies.iter().flat_map(|(&row, study)| study::html(row, study.as_ref()));
        let lines = rows
            .iter()
            .map(|row| (row.id.clone(), board::row(scratch, running, row, &columns[row.model])));
        let fresh = panels.chain(lines).map(|(id, html)| (id, html.into_string()));
        let fresh = fresh.chain(studies);
        let fresh: Vec<(String, String)> = fresh.collect();
        self.parts.take(fresh.into_iter());
    }

    fn pump(&self, row: u32) -> Option<(PumpRow, String)> {
        let found = self.rows().into_iter().find(|known| known.row == row)?;
        let planned = self.scratch.planned().map(AsRef::as_ref);
        let held = self.scratch.is_held(&found.tag);
        let html = one_pump::pump(&found, planned, held).into_string();
        Some((found, html))
    }
}

fn trouble(error: &PlanError) -> String {
    match error {
        PlanError::Choose(error) => {
            let problem = named::problem(&error.problem("the stock workbook", "the pump workbook"));
            format!("Found {}. Expected {}. Fix: {}.", problem.found, problem.expected, problem.fix)
        }
        PlanError::Breaches(breaches) => {
            let breaches: Vec<String> = breaches.iter().map(ToString::to_string).collect();
            format!(
                "The plan fails its check: {}. This is a defect of gapwright: please report it with both workbooks.",
                breaches.join("; ")
            )
        }
    }
}
