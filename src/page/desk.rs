//! The scratch copy that all windows of the page share, and the parts of the page as they were rendered last.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use tokio::sync::watch;

use super::parts::{Fresh, Part, Parts};
use super::row::{PumpRow, rows};
use super::study::{self, Study};
use super::{board, drawers, named, one_pump};
use crate::choose::control::{Control, Room};
use crate::job::Job;
use crate::plan::Kit;
use crate::problem::{Place, Problem, Problems};
use crate::scratch::{CellEdit, PlanError, RefusedEdit, Scratch, plan, with_worth};
use crate::verify::Verified;
use crate::words;

/// Scratch copy, rendered parts, and the planning under way.
pub struct Desk {
    state: Mutex<State>,
    /// Held while a plan is made: one at a time.
    planning: Mutex<()>,
    /// Flag that ends the planning under way.
    flag: Mutex<Arc<AtomicBool>>,
    /// Version of the parts; moves when any of them changes.
    news: watch::Sender<u64>,
    megabytes: u64,
}

struct State {
    scratch: Scratch,
    parts: Parts,
    /// Why the values at hand cannot be planned.
    trouble: Option<String>,
    /// Pumps, by their rows, whose pages are open, each with its study as far as it is worked out.
    studies: BTreeMap<u32, Option<Study>>,
    changed: Vec<&'static str>,
    /// Problems that kept the changed workbooks from being taken over.
    not_taken_over: Vec<String>,
}

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
    /// A kit that stays as it is, by the row of its pump: the one at hand or another one, by its code; `None` lets it go.
    Hold(u32, Option<String>),
}

fn held<T>(lock: &Mutex<T>) -> MutexGuard<'_, T> {
    // A panic elsewhere leaves values that were replaced whole or not at all.
    lock.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Time for the other kits of one pump.
const STUDYING: Duration = Duration::from_secs(20);

impl Desk {
    /// Desk with a scratch copy; planning may hold so many megabytes.
    pub fn new(scratch: Scratch, megabytes: u64) -> Desk {
        let mut state = State {
            scratch,
            parts: Parts::default(),
            trouble: None,
            studies: BTreeMap::new(),
            changed: Vec::new(),
            not_taken_over: Vec::new(),
        };
        state.render();
        Desk {
            news: watch::Sender::new(state.parts.version()),
            state: Mutex::new(state),
            planning: Mutex::new(()),
            flag: Mutex::default(),
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
        let state = held(&self.state);
        let planning = !state.scratch.is_planned() && state.trouble.is_none();
        state.parts.fresh(since, planning)
    }

    /// HTML of the board.
    pub(super) fn board(&self) -> maud::Markup {
        let state = held(&self.state);
        let rows = rows(&state.scratch);
        board::board(&state.scratch, &rows, state.parts.version(), &|id| state.parts.html(id))
    }

    /// HTML of the drawers.
    pub(super) fn drawers(&self) -> maud::Markup {
        let state = held(&self.state);
        drawers::drawers(state.parts.version(), &|id| state.parts.html(id))
    }

    /// HTML of the page of the pump in a row of the workbook, if there is one.
    pub(super) fn pump(&self, row: u32) -> Option<maud::Markup> {
        let mut state = held(&self.state);
        let (found, part) = state.pump(row)?;
        self.open(&mut state, row);
        let all: Vec<String> = [part].into_iter().chain(state.studied(row)).collect();
        Some(one_pump::page(row, &found.tag, state.parts.version(), &all))
    }

    /// The part of the page of a pump that changes by itself.
    pub(super) fn pump_part(&self, row: u32) -> Option<Part> {
        let mut state = held(&self.state);
        let (_, html) = state.pump(row)?;
        self.open(&mut state, row);
        Some(state.parts.of_now("pump", html))
    }

    /// Has a measured pump looked into, since a window shows it.
    fn open(&self, state: &mut State, row: u32) {
        let measured = state.scratch.job().pumps.iter().any(|pump| pump.row == row);
        if measured && !state.studies.contains_key(&row) {
            if state.studies.len() >= MOST_STUDIES {
                state.studies.pop_first();
            }
            state.studies.insert(row, None);
            self.publish(state);
        }
    }

    /// Drawing of a model, by its index.
    pub(super) fn drawing(&self, model: usize) -> Option<Arc<[u8]>> {
        let state = held(&self.state);
        Some(state.scratch.job().models.get(model)?.drawing.as_ref()?.bytes.clone())
    }

    /// Makes a change. Edits that were not taken are returned; whether a plan is to be made is [`Desk::is_planned`].
    pub(super) fn act(&self, act: &Act) -> Vec<RefusedEdit> {
        let mut state = held(&self.state);
        let before = state.scratch.revision();
        let refused = match act {
            Act::Edit(edits) => state.scratch.edit(edits),
            Act::Undo => {
                state.scratch.undo();
                Vec::new()
            }
            Act::Redo => {
                state.scratch.redo();
                Vec::new()
            }
            Act::Discard => {
                state.scratch.discard();
                Vec::new()
            }
            Act::Acknowledge => {
                state.scratch.acknowledge();
                Vec::new()
            }
            Act::TakeOver => {
                let taken = state.scratch.take_over();
                state.not_taken_over = taken.as_ref().err().map_or_else(Vec::new, listed);
                if taken.is_ok() {
                    state.changed.clear();
                }
                taken.unwrap_or_default()
            }
            Act::Hold(row, kit) => state.hold(*row, kit.as_deref()),
        };
        if state.scratch.revision() != before {
            // Nobody waits for a plan of the values before.
            held(&self.flag).store(true, Ordering::Relaxed);
            state.trouble = None;
            // Windows that are open ask for theirs again.
            state.studies.clear();
        }
        self.publish(&mut state);
        refused
    }

    /// Whether the last plan is of the values at hand.
    pub fn is_planned(&self) -> bool {
        held(&self.state).scratch.is_planned()
    }

    /// Plans the values at hand, unless that is done; then works out the worth of one more of each item, and then the pumps
    /// whose pages are open. A newer edit ends it, and so does [`Desk::stop`]. For a thread of its own.
    pub fn plan(&self) {
        let _one = held(&self.planning);
        let flag = Arc::new(AtomicBool::new(false));
        *held(&self.flag) = flag.clone();
        let (revision, job, planned) =
            self.look(|scratch| (scratch.revision(), scratch.job().clone(), scratch.is_planned()));
        let room = Room::of_megabytes(self.megabytes);
        if !planned && !self.plan_anew(revision, &job, (&room, &flag)) {
            return;
        }
        self.study(revision, (&room, &flag));
    }

    /// Whether there is a plan of the values at hand.
    fn plan_anew(&self, revision: u64, job: &Job, (room, flag): (&Room, &AtomicBool)) -> bool {
        let limit = Duration::from_secs(job.policy.time_limit.into());
        let control = Control::since(Instant::now()).limit(limit).within(room);
        let control = control.interrupted_by(flag);
        let planned = plan(job, &control);
        if flag.load(Ordering::Relaxed) {
            return false;
        }
        let Some(planned) = self.took(revision, planned) else { return false };
        let valued = with_worth(&planned, &control);
        !flag.load(Ordering::Relaxed) && self.took(revision, valued).is_some()
    }

    /// Looks into the pumps whose pages are open, one after the other, until all are done or the flag ends it.
    fn study(&self, revision: u64, (room, flag): (&Room, &AtomicBool)) {
        loop {
            let (row, at, planned) = {
                let mut state = held(&self.state);
                let Some(row) = state.to_study().filter(|_| revision == state.scratch.revision())
                else {
                    return;
                };
                match state.planned_at(row) {
                    Some((planned, at)) => (row, at, planned.clone()),
                    None => {
                        state.studies.remove(&row);
                        continue;
                    }
                }
            };
            let keep = |study: Study| {
                let mut state = held(&self.state);
                let is_open = !flag.load(Ordering::Relaxed) && state.studies.contains_key(&row);
                if is_open {
                    state.studies.insert(row, Some(study));
                    self.publish(&mut state);
                }
                is_open
            };
            let study = Study::of(&planned, at);
            if !keep(study.clone()) {
                return;
            }
            let control = Control::since(Instant::now()).limit(STUDYING).within(room);
            let control = control.interrupted_by(flag);
            if !keep(study.with_kits(&planned, at, &control)) {
                return;
            }
        }
    }

    /// Says that planning ended without a plan, which is a defect.
    pub(super) fn failed(&self) {
        let mut state = held(&self.state);
        if !state.scratch.is_planned() {
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
        let changed = self.look(Scratch::changed_on_disk);
        let mut state = held(&self.state);
        state.changed = changed;
        self.publish(&mut state);
    }

    fn took(&self, revision: u64, planned: Result<Verified, PlanError>) -> Option<Verified> {
        let mut state = held(&self.state);
        let planned = match planned {
            Ok(planned) => state.scratch.take(revision, planned.clone()).then_some(planned),
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
    /// Renders all parts; those that are not as they were get a new version.
    fn render(&mut self) {
        let scratch = &self.scratch;
        let rows = rows(scratch);
        let columns: Vec<_> =
            scratch.job().models.iter().map(|model| board::columns(scratch, model)).collect();
        let panels = [
            ("mode", board::mode(scratch, &self.changed, &self.not_taken_over)),
            ("figures", board::figures(scratch, self.trouble.as_deref())),
            ("refused", board::refused(scratch)),
            ("changes", board::changes(scratch)),
            ("warnings", board::warnings(scratch)),
            ("drawers", drawers::table(scratch.planned().map(AsRef::as_ref))),
        ];
        let panels = panels.into_iter().map(|(id, html)| (id.to_string(), html));
        let studies =
            self.studies.iter().flat_map(|(&row, study)| study::html(row, study.as_ref()));
        let lines =
            rows.iter().map(|row| (row.id.clone(), board::row(scratch, row, &columns[row.model])));
        let fresh = panels.chain(lines).map(|(id, html)| (id, html.into_string()));
        let fresh = fresh.chain(studies);
        let fresh: Vec<(String, String)> = fresh.collect();
        self.parts.take(fresh.into_iter());
    }

    fn pump(&self, row: u32) -> Option<(PumpRow, String)> {
        let found = rows(&self.scratch).into_iter().find(|known| known.row == row)?;
        let planned = self.scratch.planned().map(AsRef::as_ref);
        let held = self.scratch.is_held(&found.tag);
        let html = one_pump::pump(&found, planned, held).into_string();
        Some((found, html))
    }

    /// The plan of the values at hand, and the index of the pump in a row.
    fn planned_at(&self, row: u32) -> Option<(&Arc<Verified>, usize)> {
        let planned = self.scratch.planned().filter(|_| self.scratch.is_planned())?;
        let at = planned.job().pumps.iter().position(|pump| pump.row == row)?;
        Some((planned, at))
    }

    /// Row of a pump that is not looked into yet.
    fn to_study(&self) -> Option<u32> {
        let open = |study: &Option<Study>| study.as_ref().is_none_or(|study| !study.done);
        self.studies.iter().find(|(_, study)| open(study)).map(|(row, _)| *row)
    }

    /// Study of a pump, as far as it is worked out; none of a pump that is not measured.
    fn studied(&self, row: u32) -> Vec<String> {
        let study = self.studies.get(&row);
        let html = study.map(|study| study::html(row, study.as_ref()));
        html.into_iter().flatten().map(|(_, html)| html).collect()
    }

    fn hold(&mut self, row: u32, kit: Option<&str>) -> Vec<RefusedEdit> {
        let pump = self.scratch.job().pumps.iter().find(|pump| pump.row == row);
        let Some(tag) = pump.map(|pump| pump.tag.clone()) else { return vec![not_listed("")] };
        let Some(code) = kit else {
            self.scratch.hold(&tag, None);
            return Vec::new();
        };
        let at_hand = || match self.planned_at(row).map(|(planned, at)| &planned.plan().kits[at]) {
            Some(Kit::Served(packs)) => Some(packs.clone()),
            _ => None,
        };
        let listed = || Some(self.studies.get(&row)?.as_ref()?.kit(code)?.to_vec());
        let kit = if code == study::AT_HAND { at_hand() } else { listed() };
        match kit {
            Some(kit) => {
                self.scratch.hold(&tag, Some(&kit));
                Vec::new()
            }
            None => vec![not_listed(&tag)],
        }
    }
}

/// Most pumps that are looked into for windows.
const MOST_STUDIES: usize = 8;

/// A kit that cannot be held, since the page shows another list by now.
fn not_listed(tag: &str) -> RefusedEdit {
    let [heading, was, now] = ["kit", "", ""].map(String::from);
    RefusedEdit {
        edit: CellEdit { tag: tag.to_string(), heading, was, now },
        kept: "as it is planned".into(),
        problem: Problem::new(
            Place::file("page"),
            "a kit that is no longer listed",
            "one of the kits on the page of its pump",
            "look at the list as it is now, and choose again",
        ),
    }
}

/// The first problems of the workbooks, each in one line without its folder.
fn listed(problems: &Problems) -> Vec<String> {
    const MOST: usize = 20;
    let all = problems.sorted();
    let more = all.len().saturating_sub(MOST);
    let lines = all.into_iter().take(MOST).map(|one| words::warning(&named::problem(one)));
    let rest = (more > 0).then(|| format!("... and {more} more"));
    lines.chain(rest).collect()
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
