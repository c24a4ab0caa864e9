//! A scratch copy of two workbooks: edits laid over the cells of the pump sheet in memory, read, planned and checked
//! again. The files are never written.
//!
//! Every edit goes through the reader of workbooks ([`read::job_of`]). A value that it does not take is refused in its
//! words, at its cell, and the cell keeps the value that it had: [`Scratch::edit`]. The job of all values that were taken
//! is planned by [`plan`], away from the scratch copy, so that a newer edit can end it; [`Scratch::take`] takes a plan over
//! if it is of the values at hand. [`Scratch::changes`] lists the pumps whose kits are not those that somebody has seen.
//!
//! ```
//! use gapwright::choose::control::Control;
//! use gapwright::read::Sources;
//! use gapwright::scratch::{CellEdit, Scratch, plan};
//!
//! # std::env::set_current_dir(env!("CARGO_MANIFEST_DIR")).unwrap();
//! let [stock, pumps] = ["samples/tiny/stock.csv", "samples/tiny/pumps.csv"];
//! let sources = Sources { stock: stock.into(), pumps: pumps.into(), ..Sources::default() };
//! let mut scratch = Scratch::open(sources).expect("the sample has no problems");
//! let planned = plan(scratch.job(), &Control::unlimited()).unwrap();
//! scratch.take(scratch.revision(), planned);
//!
//! let edit = |now: &str| CellEdit {
//!     tag: "A".into(), heading: "bareclearance".into(), was: "0.041".into(), now: now.into(),
//! };
//! // A value that cannot be read counts for nothing.
//! let refused = scratch.edit(&[edit("0,04l")]);
//! assert_eq!((refused.len(), scratch.cell("A", "bareclearance")), (1, "0.041".to_string()));
//! // A pack of 0.080 in cannot be made of the shims of the sample.
//! assert!(scratch.edit(&[edit("0.101")]).is_empty());
//! let planned = plan(scratch.job(), &Control::unlimited()).unwrap();
//! scratch.take(scratch.revision(), planned);
//! let changes = scratch.changes();
//! let short = changes.iter().find(|change| change.tag == "A").expect("A changed");
//! assert!(short.became_short());
//! ```

mod change;
mod held;
mod others;

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;
use std::time::{Duration, Instant};

use crate::choose::control::Control;
use crate::choose::warm::Warm;
use crate::choose::worth::valued;
use crate::choose::{ChooseError, choose_from, draft_from};
use crate::issue::key;
use crate::job::Job;
use crate::plan::{Objective, PackPick, Plan};
use crate::problem::{Place, Problem, Problems, Spot};
use crate::pump::Pump;
use crate::pump_cells::{CellAt, PumpCells, PumpHeading, contents, put};
use crate::read::{self, Sources, Stamp};
use crate::sheet::{Book, Sheet};
use crate::verify::{Breach, Verified, verify, verify_after};
pub use change::{Fate, FateChange, KitPieces};
use held::HeldKits;
pub use others::{OtherKit, OtherKitList, OthersCost, other_kits};

/// Most steps that can be undone.
const MOST_STEPS: usize = 1_000;

/// Most characters of a text that is typed into a cell.
const MOST_TYPED: usize = 1_000;

/// A cell that is to hold another text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CellEdit {
    /// Tag of the pump.
    pub tag: String,
    /// Heading of the column, as its key ([`PumpHeading::key`]).
    pub heading: String,
    /// Text that the cell showed when the edit was made; the edit is refused if it shows another by now.
    pub was: String,
    /// Text that it is to hold; empty for an empty cell.
    pub now: String,
}

/// An edit that was not taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RefusedEdit {
    /// The edit.
    pub edit: CellEdit,
    /// Text that the cell keeps.
    pub kept: String,
    /// Reason, as the reader of workbooks gives it.
    pub problem: Problem,
}

/// Why a job could not be planned.
#[derive(Debug)]
pub enum PlanError {
    /// There are too many ways to list.
    Choose(ChooseError),
    /// The plan does not pass its check: a defect of the program.
    Breaches(Vec<Breach>),
}

/// Chooses pieces for a job and checks the choice.
///
/// # Errors
/// [`PlanError`]. A control that is interrupted gives the best plan found by then.
pub fn plan(job: &Job, control: &Control<'_>) -> Result<Verified, PlanError> {
    plan_from(job, &mut Warm::default(), control)
}

/// [`plan`] from what the last choice left: sooner after an edit, and the same where the plan is proven.
///
/// # Errors
/// As [`plan`].
pub fn plan_from(job: &Job, warm: &mut Warm, control: &Control<'_>) -> Result<Verified, PlanError> {
    let plan = choose_from(job, warm, control).map_err(PlanError::Choose)?;
    verify(job.clone(), plan).map_err(PlanError::Breaches)
}

/// [`plan_from`] in steps, each checked and shown as soon as it is there: where the goals take long a first answer, with its
/// bounds, after about `answer`; the plan whose goals are reached; and, as the result, the plan with the order among equal
/// ones settled. `None` if whoever is shown one says that no more is needed.
///
/// A first answer is shown only where no other plan serves more pumps.
///
/// # Errors
/// As [`plan`].
pub fn plan_in_steps(
    job: &Job,
    warm: &mut Warm,
    (control, answer): (&Control<'_>, Duration),
    show: &mut dyn FnMut(&Arc<Verified>, FirstSteps) -> bool,
) -> Result<Option<Arc<Verified>>, PlanError> {
    let checked = |plan: Plan| verify(job.clone(), plan).map(Arc::new).map_err(PlanError::Breaches);
    let soon = Instant::now().checked_add(answer).map(|at| control.soon(at));
    let hurried = soon.as_ref().unwrap_or(control);
    let mut draft = draft_from(job, warm, hurried).map_err(PlanError::Choose)?;
    if draft.is_hurried() {
        let plan = draft.plan(control);
        drop(draft);
        let serves_most = plan.goals.iter().all(|goal| match goal.objective {
            Objective::ServedWeight | Objective::ServedOf(_) => goal.proven(),
            _ => true,
        });
        if serves_most && !show(&checked(plan)?, FirstSteps::Answer) {
            return Ok(None);
        }
        draft = draft_from(job, warm, control).map_err(PlanError::Choose)?;
    }
    let first = checked(draft.plan(control))?;
    if !show(&first, FirstSteps::Goals) {
        return Ok(None);
    }
    let is_due = draft.is_due();
    let mut last = draft.settled(control);
    if is_due && last.left_out.order.is_some() {
        last = choose_from(job, warm, control).map_err(PlanError::Choose)?;
    }
    let last = verify_after(&first, last).map_err(PlanError::Breaches)?;
    Ok(Some(Arc::new(last)))
}

/// Steps before a plan is settled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FirstSteps {
    /// A plan with its bounds: one that is better on a later goal may follow.
    Answer,
    /// The goals are reached as far as they can be.
    Goals,
}

/// The plan with the worth of one more of each item.
///
/// # Errors
/// [`PlanError::Breaches`].
pub fn with_worth(planned: &Verified, control: &Control<'_>) -> Result<Verified, PlanError> {
    let plan = valued(planned.job(), planned.plan().clone(), control);
    verify_after(planned, plan).map_err(PlanError::Breaches)
}

/// Texts of cells, and kits that are held, before and after a step.
#[derive(Debug, Clone, Default)]
struct Step {
    cells: BTreeMap<CellAt, [String; 2]>,
    held: BTreeMap<String, [Option<Vec<KitPieces>>; 2]>,
}

/// Two workbooks, edits over the cells of the pump sheet, and the plan.
#[derive(Debug)]
pub struct Scratch {
    sources: Sources,
    stock: Book,
    pumps: Book,
    /// Pump sheet among the sheets, as it was read.
    at: usize,
    cells: PumpCells,
    /// Cells that hold another text than in the file.
    laid: BTreeMap<CellAt, String>,
    held: HeldKits,
    /// Edits that were refused, by cell, until the cell is edited again.
    refused: BTreeMap<CellAt, RefusedEdit>,
    done: Vec<Step>,
    undone: Vec<Step>,
    job: Job,
    revision: u64,
    planned: Option<(u64, Arc<Verified>)>,
    /// Times and sizes of the files when they were read.
    stamps: [Option<Stamp>; 2],
    /// Fates that somebody has seen, by the key of the tag.
    seen: Option<BTreeMap<String, Fate>>,
}

impl Scratch {
    /// Reads the workbooks.
    ///
    /// # Errors
    /// Every problem in all files, as for [`read::job`].
    pub fn open(sources: Sources) -> Result<Scratch, Problems> {
        let memory = &mut sources.memory.clone();
        let mut problems = Problems::new();
        let books = [&sources.stock, &sources.pumps]
            .map(|path| read::book(path, memory).map_err(|found| problems.absorb(found)).ok());
        let [Some(stock), Some(pumps)] = books else { return Err(problems) };
        Scratch::of(stock, pumps, sources)
    }

    /// Scratch copy of workbooks that are read already; models and settings come from `sources`.
    ///
    /// # Errors
    /// Every problem in both, as for [`read::job_of`].
    pub fn of(stock: Book, pumps: Book, sources: Sources) -> Result<Scratch, Problems> {
        let job = read::job_of(stock.clone(), pumps.clone(), &sources)?;
        let Some((at, cells)) = pump_sheet(&pumps) else {
            return Err(Problems::of(Problem::new(
                Place::file(&pumps.file),
                "no row with the headings of a pump sheet",
                "a row with the headings Tag and Model",
                "put the headings into one row",
            )));
        };
        let stamps = [&sources.stock, &sources.pumps].map(|path| read::stamp(path));
        Ok(Scratch {
            sources,
            stamps,
            stock,
            pumps,
            at,
            cells,
            laid: BTreeMap::new(),
            held: HeldKits::new(),
            refused: BTreeMap::new(),
            done: Vec::new(),
            undone: Vec::new(),
            job,
            revision: 0,
            planned: None,
            seen: None,
        })
    }

    /// Files and settings that it was made of.
    pub fn sources(&self) -> &Sources {
        &self.sources
    }

    /// Job of the values at hand.
    pub fn job(&self) -> &Job {
        &self.job
    }

    /// Number of the values at hand: another one after each edit that was taken.
    pub fn revision(&self) -> u64 {
        self.revision
    }

    /// Headings of the pump sheet, from left to right.
    pub fn headings(&self) -> &[PumpHeading] {
        self.cells.headings()
    }

    /// Text of a pump's cell below a heading, given by its key; empty where there is none.
    pub fn cell(&self, tag: &str, heading: &str) -> String {
        let at = self.cells.at(tag, heading);
        at.map(|at| self.text(at)).unwrap_or_default()
    }

    /// Whether a pump's cell holds another text than in the file.
    pub fn is_edited(&self, tag: &str, heading: &str) -> bool {
        self.cells.at(tag, heading).is_some_and(|at| self.laid.contains_key(&at))
    }

    /// Number of cells that hold another text than in the file.
    pub fn edited(&self) -> usize {
        self.laid.len()
    }

    /// Edit that was refused at a pump's cell, until the cell is edited again.
    pub fn refusal(&self, tag: &str, heading: &str) -> Option<&RefusedEdit> {
        self.refused.get(&self.cells.at(tag, heading)?)
    }

    /// Edits that were refused and whose cells were not edited since, in the order of the cells.
    pub fn refusals(&self) -> impl Iterator<Item = &RefusedEdit> {
        self.refused.values()
    }

    /// Last plan that was taken over.
    pub fn planned(&self) -> Option<&Arc<Verified>> {
        self.planned.as_ref().map(|(_, planned)| planned)
    }

    /// Whether the last plan is of the values at hand.
    pub fn is_planned(&self) -> bool {
        self.planned.as_ref().is_some_and(|(revision, _)| *revision == self.revision)
    }

    /// Lays edits over their cells and reads the job again. Those that the reader does not take are returned, and their
    /// cells keep what they had; the others are one step that can be undone.
    pub fn edit(&mut self, edits: &[CellEdit]) -> Vec<RefusedEdit> {
        let mut refused = Vec::new();
        let mut step = BTreeMap::new();
        let mut of_cell: BTreeMap<CellAt, &CellEdit> = BTreeMap::new();
        let models = self.models();
        for edit in edits {
            let Some(at) = self.editable(&models, edit) else {
                refused.push(self.not_there(edit));
                continue;
            };
            self.refused.remove(&at);
            let kept = self.text(at);
            if edit.now.chars().count() > MOST_TYPED {
                refused.push(self.too_long(edit, at, kept));
            } else if kept != edit.was.trim() {
                refused.push(self.changed_since(edit, at, kept));
            } else if kept != edit.now.trim() {
                step.insert(at, [kept, edit.now.trim().to_string()]);
                of_cell.insert(at, edit);
            }
        }
        while !step.is_empty() {
            let mut laid = self.laid.clone();
            step.iter().for_each(|(at, [_, now])| self.lay(&mut laid, *at, now));
            match self.read(&laid) {
                Ok(job) => {
                    self.job = job;
                    self.laid = laid;
                    self.revision += 1;
                    self.did(Step { cells: step, ..Step::default() });
                    break;
                }
                Err(problems) => {
                    for (at, problem) in self.blamed(&step, &problems) {
                        let Some([kept, _]) = step.remove(&at) else { continue };
                        let edit = of_cell.get(&at).copied().cloned();
                        let one = edit.map(|edit| RefusedEdit { edit, kept, problem });
                        refused.extend(one.clone());
                        self.refused.extend(one.map(|one| (at, one)));
                    }
                }
            }
        }
        refused
    }

    /// Takes the last step back. Whether there was one.
    pub fn undo(&mut self) -> bool {
        let Some(step) = self.done.last().cloned().filter(|step| self.go(step, 0)) else {
            return false;
        };
        self.done.pop();
        self.undone.push(step);
        true
    }

    /// Takes the last step that was undone again. Whether there was one.
    pub fn redo(&mut self) -> bool {
        let Some(step) = self.undone.last().cloned().filter(|step| self.go(step, 1)) else {
            return false;
        };
        self.undone.pop();
        self.done.push(step);
        true
    }

    /// Whether there is a step to undo, and one to take again.
    pub fn steps(&self) -> [bool; 2] {
        [&self.done, &self.undone].map(|steps| !steps.is_empty())
    }

    /// Takes all edits back; this is a step that can be undone.
    pub fn discard(&mut self) {
        let file = |at: &CellAt| contents(&self.pumps.sheets[self.at], *at);
        let step = Step {
            cells: self.laid.iter().map(|(at, now)| (*at, [now.clone(), file(at)])).collect(),
            held: self
                .held
                .iter()
                .map(|(tag, kit)| (tag.clone(), [Some(kit.clone()), None]))
                .collect(),
        };
        self.refused.clear();
        if !(self.laid.is_empty() && self.held.is_empty()) && self.go(&step, 1) {
            self.did(step);
        }
    }

    /// Holds a kit of a pump, or lets the held one go; this is a step that can be undone. The items of the kit are those of
    /// the last plan's job, before the first plan those of [`Scratch::job`]. Whether anything changed.
    pub fn hold(&mut self, tag: &str, kit: Option<&[PackPick]>) -> bool {
        let known = |pump: &&Pump| key(&pump.tag) == key(tag);
        let Some(pump) = self.job.pumps.iter().find(known) else { return false };
        // A plan of an outage may know lots that were cut since its workbooks were taken over.
        let of = self.planned.as_ref().map_or(&self.job, |(_, planned)| planned.job());
        let now = kit.map(|packs| held::named(of, packs));
        let before = self.held.get(&key(tag)).cloned();
        let step = Step {
            held: [(key(&pump.tag), [before.clone(), now.clone()])].into(),
            ..Step::default()
        };
        let changed = before != now && self.go(&step, 1);
        if changed {
            self.did(step);
        }
        changed
    }

    /// A job of these values, with the kits that are held.
    pub fn with_held(&self, job: Job) -> Job {
        held::with_held(job, &self.held)
    }

    /// Whether the kit of a pump is held.
    pub fn is_held(&self, tag: &str) -> bool {
        self.held.contains_key(&key(tag))
    }

    /// Kits that are held, for another copy.
    pub(crate) fn held_kits(&self) -> HeldKits {
        self.held.clone()
    }

    /// Holds the kits that another copy held, in one step. Whether they could be held.
    pub(crate) fn hold_all(&mut self, kits: HeldKits) -> bool {
        let held = kits.into_iter().map(|(tag, kit)| {
            let before = self.held.get(&tag).cloned();
            (tag, [before, Some(kit)])
        });
        let step = Step { held: held.collect(), ..Step::default() };
        let done = self.go(&step, 1);
        if done {
            self.did(step);
        }
        done
    }

    /// Number of kits that are held.
    pub fn held(&self) -> usize {
        self.held.len()
    }

    /// Takes a plan over if it is of the values at hand. The first one counts as seen.
    pub fn take(&mut self, revision: u64, planned: impl Into<Arc<Verified>>) -> bool {
        let taken = self.take_first_step(revision, planned);
        if taken && self.seen.is_none() {
            self.acknowledge();
        }
        taken
    }

    /// Takes a plan over whose order among equal ones is still open. It does not count as seen.
    pub fn take_first_step(&mut self, revision: u64, planned: impl Into<Arc<Verified>>) -> bool {
        let taken = revision == self.revision;
        if taken {
            self.planned = Some((revision, planned.into()));
        }
        taken
    }

    /// Pumps whose kits are not those of the plan that was seen last, in the order of the workbook.
    pub fn changes(&self) -> Vec<FateChange> {
        let (Some(seen), Some((_, planned))) = (&self.seen, &self.planned) else {
            return Vec::new();
        };
        change::between(seen, planned)
    }

    /// Counts the last plan as seen.
    pub fn acknowledge(&mut self) {
        if let Some((_, planned)) = &self.planned {
            self.seen = Some(change::fates(planned));
        }
    }

    /// Workbooks that are no longer on the disk what was read, by their use. Read again only if their times moved.
    pub fn changed_on_disk(&self) -> Vec<&'static str> {
        let paths = [&self.sources.stock, &self.sources.pumps];
        let both = ["stock workbook", "pump workbook"].into_iter().zip(paths);
        let both = both.zip([&self.stock, &self.pumps]).zip(self.stamps);
        let changed = both.filter(|(((_, path), book), stamp)| {
            let memory = &mut self.sources.memory.clone();
            read::stamp(path) != *stamp
                && !read::book(path, memory).is_ok_and(|now| now.sha256 == book.sha256)
        });
        changed.map(|(((name, _), _), _)| name).collect()
    }

    /// Reads the workbooks again and lays the edits over their new cells; those that the reader does not take any more are
    /// returned. Steps before it cannot be undone. With any problem all stays as it was.
    ///
    /// # Errors
    /// Every problem of the workbooks, as for [`read::job`].
    pub fn take_over(&mut self) -> Result<Vec<RefusedEdit>, Problems> {
        let fresh = Scratch::open(self.sources.clone())?;
        let laid = self.laid();
        Ok(self.go_on_with(fresh, &laid))
    }

    /// Edits at hand: one for each cell that holds another text than in the file, in the order of the sheet.
    pub fn laid(&self) -> Vec<CellEdit> {
        let tags = self.job.pumps.iter().map(|pump| &pump.tag);
        let tags = tags.chain(self.job.not_measured.iter().map(|pump| &pump.tag));
        let of = |tag: &String, heading: &PumpHeading| {
            let at = self.cells.at(tag, &heading.key)?;
            let now = self.laid.get(&at)?.clone();
            let was = contents(&self.pumps.sheets[self.at], at);
            Some((at, CellEdit { tag: tag.clone(), heading: heading.key.clone(), was, now }))
        };
        let headings = self.cells.headings();
        let mut edits: Vec<_> = tags
            .flat_map(|tag| headings.iter().filter_map(move |heading| of(tag, heading)))
            .collect();
        edits.sort_by_key(|(at, _)| *at);
        edits.into_iter().map(|(_, edit)| edit).collect()
    }

    /// Goes on with workbooks that were read anew, and lays these edits over their cells; those that the reader does not
    /// take any more are returned. Plan and refusals stay; steps before it cannot be undone.
    pub fn go_on_with(&mut self, mut fresh: Scratch, laid: &[CellEdit]) -> Vec<RefusedEdit> {
        let again = laid.iter().map(|edit| {
            let was = fresh.cell(&edit.tag, &edit.heading);
            CellEdit { was, ..edit.clone() }
        });
        let again: Vec<CellEdit> = again.collect();
        fresh.held = std::mem::take(&mut self.held);
        fresh.job = held::with_held(fresh.job, &fresh.held);
        let refused = fresh.edit(&again);
        std::mem::take(&mut self.refused).into_values().for_each(|one| fresh.refuse(one));
        // What was read before can no longer be gone back to.
        fresh.done.clear();
        fresh.revision = self.revision + 1;
        fresh.planned = self.planned.take();
        fresh.seen = self.seen.take();
        *self = fresh;
        refused
    }

    /// Place of a pump's cell below a heading; the sheet where there is no such cell.
    pub fn place(&self, tag: &str, heading: &str) -> Place {
        let sheet: &Sheet = &self.pumps.sheets[self.at];
        let at = self.cells.at(tag, heading);
        at.map_or_else(
            || sheet.whole(),
            |(row, column)| sheet.place(sheet.rows[row].number, column),
        )
    }

    /// Notes an edit that was refused elsewhere at its cell, until the cell is edited again.
    pub fn refuse(&mut self, refused: RefusedEdit) {
        if let Some(at) = self.cells.at(&refused.edit.tag, &refused.edit.heading) {
            self.refused.entry(at).or_insert(refused);
        }
    }

    fn did(&mut self, step: Step) {
        self.undone.clear();
        self.done.push(step);
        if self.done.len() > MOST_STEPS {
            self.done.remove(0);
        }
    }

    fn text(&self, at: CellAt) -> String {
        let laid = self.laid.get(&at).cloned();
        laid.unwrap_or_else(|| contents(&self.pumps.sheets[self.at], at))
    }

    /// Index of each pump's model, by the key of its tag.
    fn models(&self) -> HashMap<String, usize> {
        let measured = self.job.pumps.iter().map(|pump| (key(&pump.tag), pump.model));
        let waiting = self.job.not_measured.iter().map(|pump| (key(&pump.tag), pump.model));
        measured.chain(waiting).collect()
    }

    /// Cell of an edit. Tag and model are what a row is about and stay as they are.
    fn editable(&self, models: &HashMap<String, usize>, edit: &CellEdit) -> Option<CellAt> {
        let model = &self.job.models[*models.get(&key(&edit.tag))?];
        read::pump_column(model, &edit.heading)?;
        self.cells.at(&edit.tag, &edit.heading)
    }

    fn lay(&self, laid: &mut BTreeMap<CellAt, String>, at: CellAt, text: &str) {
        match contents(&self.pumps.sheets[self.at], at) == text {
            true => laid.remove(&at),
            false => laid.insert(at, text.to_string()),
        };
    }

    /// Job of these texts over the cells.
    fn read(&self, laid: &BTreeMap<CellAt, String>) -> Result<Job, Problems> {
        let mut pumps = self.pumps.clone();
        let sheet = Arc::make_mut(&mut pumps.sheets[self.at]);
        laid.iter().for_each(|(at, text)| put(sheet, *at, text));
        let stock = match self.stock.file == self.pumps.file {
            // One workbook for both: its pump sheet is the same one.
            true => pumps.clone(),
            false => self.stock.clone(),
        };
        let job = read::job_of(stock, pumps, &self.sources)?;
        // Models are read from the disk again.
        let changed = job.inputs.iter().zip(&self.job.inputs).find(|(now, before)| now != before);
        match changed {
            None => Ok(held::with_held(job, &self.held)),
            Some((now, _)) => Err(Problems::of(Problem::new(
                Place::file(&now.file),
                format!("a {} that changed since it was read", now.role),
                "one state of it",
                "end the page and begin it again to take the new one over",
            ))),
        }
    }

    /// Goes to one side of a step, whose values were all taken once. Whether they could be taken.
    fn go(&mut self, step: &Step, side: usize) -> bool {
        let mut laid = self.laid.clone();
        step.cells.iter().for_each(|(at, texts)| self.lay(&mut laid, *at, &texts[side]));
        step.cells.keys().for_each(|at| {
            self.refused.remove(at);
        });
        let before = self.held.clone();
        for (tag, kits) in &step.held {
            match &kits[side] {
                Some(kit) => self.held.insert(tag.clone(), kit.clone()),
                None => self.held.remove(tag),
            };
        }
        let Ok(job) = self.read(&laid) else {
            self.held = before;
            return false;
        };
        self.job = job;
        self.laid = laid;
        self.revision += 1;
        true
    }

    /// Cells of a step that problems are about, one at least: the very cells, else those of their rows, else all.
    fn blamed(
        &self,
        step: &BTreeMap<CellAt, [String; 2]>,
        problems: &Problems,
    ) -> Vec<(CellAt, Problem)> {
        let sheet = &self.pumps.sheets[self.at];
        let problems = problems.sorted();
        let of = |fits: &dyn Fn(CellAt, u32, u32) -> bool| -> Vec<(CellAt, Problem)> {
            let cells = step.keys().filter_map(|at| {
                let about = problems.iter().find(|problem| match &problem.place.spot {
                    Spot::Cell { sheet: name, row, column } => {
                        *name == sheet.name && fits(*at, *row, *column)
                    }
                    _ => false,
                })?;
                Some((*at, Problem::clone(about)))
            });
            cells.collect()
        };
        let number = |at: CellAt| sheet.rows.get(at.0).map(|row| row.number);
        let very = of(&|at, row, column| number(at) == Some(row) && at.1 == column);
        if !very.is_empty() {
            return very;
        }
        let rows = of(&|at, row, _| number(at) == Some(row));
        if !rows.is_empty() {
            return rows;
        }
        let any = problems.first().map(|problem| Problem::clone(problem));
        let any = any.unwrap_or_else(|| {
            let expected = "a value that can be read";
            Problem::new(sheet.whole(), "a value that was not taken", expected, "type another one")
        });
        step.keys().map(|at| (*at, any.clone())).collect()
    }

    fn too_long(&self, edit: &CellEdit, at: CellAt, kept: String) -> RefusedEdit {
        let sheet: &Sheet = &self.pumps.sheets[self.at];
        let problem = Problem::new(
            sheet.place(sheet.rows[at.0].number, at.1),
            format!("a text of {} characters", edit.now.chars().count()),
            format!("at most {MOST_TYPED} characters"),
            "shorten it",
        );
        RefusedEdit { edit: CellEdit { now: String::new(), ..edit.clone() }, kept, problem }
    }

    fn changed_since(&self, edit: &CellEdit, at: CellAt, kept: String) -> RefusedEdit {
        let sheet: &Sheet = &self.pumps.sheets[self.at];
        let problem = Problem::new(
            sheet.place(sheet.rows[at.0].number, at.1),
            format!("`{kept}`, changed meanwhile"),
            format!("`{}`, as it was when this was typed", edit.was.trim()),
            "look at the new value, and type yours again if it holds",
        );
        RefusedEdit { edit: edit.clone(), kept, problem }
    }

    fn not_there(&self, edit: &CellEdit) -> RefusedEdit {
        let problem = Problem::new(
            self.pumps.sheets[self.at].whole(),
            format!("no cell of {} that can be changed below `{}`", edit.tag, edit.heading),
            "a pump of the workbook and a column of its readings, limits, priority, due date or note",
            "load the page again",
        );
        RefusedEdit { edit: edit.clone(), kept: String::new(), problem }
    }
}

/// The sheet that the reader takes for the pumps, and its cells: the one named Pumps, else the first with the headings.
fn pump_sheet(book: &Book) -> Option<(usize, PumpCells)> {
    let found = book.sheets.iter().enumerate();
    let mut found = found.filter_map(|(at, sheet)| Some((at, PumpCells::of(sheet)?)));
    let named = |at: usize| read::is_pump_sheet(&book.sheets[at].name);
    let all: Vec<_> = found.by_ref().collect();
    let at = all.iter().position(|(at, _)| named(*at)).unwrap_or(0);
    all.into_iter().nth(at)
}
