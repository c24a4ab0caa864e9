//! The scratch copy that all windows of the page share, and the parts of the page as they were rendered last.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use tokio::sync::watch;

use super::parts::{Fresh, Part, Parts};
use super::row::{PumpRow, rows};
use super::{board, drawers, named, one_pump};
use crate::choose::control::{Control, Room};
use crate::choose::warm::Warm;
use crate::problem::Problems;
use crate::scratch::{CellEdit, PlanError, RefusedEdit, Scratch, plan_from, with_worth};
use crate::verify::Verified;
use crate::words;

/// Scratch copy, rendered parts, and the planning under way.
pub struct Desk {
    state: Mutex<State>,
    /// State that the last choice left; held while a plan is made: one at a time.
    planning: Mutex<Warm>,
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
}

fn held<T>(lock: &Mutex<T>) -> MutexGuard<'_, T> {
    // A panic elsewhere leaves values that were replaced whole or not at all.
    lock.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Desk {
    /// Desk with a scratch copy; planning may hold so many megabytes.
    pub fn new(scratch: Scratch, megabytes: u64) -> Desk {
        let mut state = State {
            scratch,
            parts: Parts::default(),
            trouble: None,
            changed: Vec::new(),
            not_taken_over: Vec::new(),
        };
        state.render();
        Desk {
            news: watch::Sender::new(state.parts.version()),
            state: Mutex::new(state),
            planning: Mutex::default(),
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
        let state = held(&self.state);
        let (found, part) = state.pump(row)?;
        Some(one_pump::page(row, &found.tag, state.parts.version(), &part))
    }

    /// The part of the page of a pump that changes by itself.
    pub(super) fn pump_part(&self, row: u32) -> Option<Part> {
        let state = held(&self.state);
        let (_, html) = state.pump(row)?;
        Some(state.parts.of_now("pump", html))
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
        };
        if state.scratch.revision() != before {
            // Nobody waits for a plan of the values before.
            held(&self.flag).store(true, Ordering::Relaxed);
            state.trouble = None;
        }
        self.publish(&mut state);
        refused
    }

    /// Whether the last plan is of the values at hand.
    pub fn is_planned(&self) -> bool {
        held(&self.state).scratch.is_planned()
    }

    /// Plans the values at hand, unless that is done; then works out the worth of one more of each item. A newer edit ends
    /// it, and so does [`Desk::stop`]. For a thread of its own.
    pub fn plan(&self) {
        let mut warm = held(&self.planning);
        let flag = Arc::new(AtomicBool::new(false));
        *held(&self.flag) = flag.clone();
        let (revision, job, planned) =
            self.look(|scratch| (scratch.revision(), scratch.job().clone(), scratch.is_planned()));
        if planned {
            return;
        }
        let room = Room::of_megabytes(self.megabytes);
        let limit = Duration::from_secs(job.policy.time_limit.into());
        let control = Control::since(Instant::now()).limit(limit).within(&room);
        let control = control.interrupted_by(&flag);
        let planned = plan_from(&job, &mut warm, &control);
        if flag.load(Ordering::Relaxed) {
            return;
        }
        let Some(planned) = self.took(revision, planned) else { return };
        let valued = with_worth(&planned, &control);
        if !flag.load(Ordering::Relaxed) {
            self.took(revision, valued);
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
        let lines =
            rows.iter().map(|row| (row.id.clone(), board::row(scratch, row, &columns[row.model])));
        let fresh = panels.chain(lines).map(|(id, html)| (id, html.into_string()));
        let fresh: Vec<(String, String)> = fresh.collect();
        self.parts.take(fresh.into_iter());
    }

    fn pump(&self, row: u32) -> Option<(PumpRow, String)> {
        let found = rows(&self.scratch).into_iter().find(|known| known.row == row)?;
        let planned = self.scratch.planned().map(AsRef::as_ref);
        let html = one_pump::pump(&found, planned).into_string();
        Some((found, html))
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
