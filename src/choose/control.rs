//! Control on a search: its deadline, the user's interrupt, progress for a listener, and the backend of its
//! linear programs.
//!
//! Every stage looks at it between small units of work, by a `Pace`. The limit is for the whole run, from the
//! start that is given. The order among equal plans and the marginal values do not make a plan better and so
//! get only a [share](Control::share) of the time.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use crate::choose::relaxation::Backend;
use crate::choose::room::Lists;
pub(crate) use crate::choose::room::NoRoom;
pub use crate::choose::room::Room;
use crate::plan::{Objective, Stop};

/// Progress of a search.
#[derive(Debug, Clone, Copy)]
pub struct Progress {
    /// Goal being worked on.
    pub aim: Objective,
    /// Pumps of the group at hand.
    pub pumps: usize,
    /// Best value so far.
    pub value: i64,
    /// Bound so far.
    pub bound: i64,
    /// Open nodes of the search.
    pub open: usize,
    /// Time since the start.
    pub elapsed: Duration,
}

/// Work done in parts, other than the search for a goal, which reports [`Progress`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Phase {
    /// Lists the ways to kit each pump; before an outage, at each of its values.
    Listing,
    /// Settles the order among equal plans, pump by pump.
    Order,
    /// Finds the reasons that pumps are short, pump by pump.
    Reasons,
    /// Computes marginal values, item by item.
    Worth,
    /// Finds safe kits, pump by pump.
    SafeKits,
    /// Chooses the trolley, piece by piece.
    Trolley,
    /// Counts its service, scenario by scenario.
    Checks,
}

/// Progress of a part of the work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PhaseProgress {
    /// Part.
    pub part: Phase,
    /// Amount done.
    pub done: usize,
    /// Total amount; zero if it is not known beforehand.
    pub of: usize,
}

/// Count of the looks at a control, and of the work between them; can stop the work at a given look. For tests and
/// results that must not depend on a clock.
#[derive(Debug)]
pub struct Looks {
    stop_at: u64,
    count: AtomicU64,
    work: AtomicU64,
    most: AtomicU64,
    after: AtomicU64,
}

impl Looks {
    /// Answers "stop" from the look of this number on; the first is number 1.
    pub fn stop_at(number: u64) -> Looks {
        Looks {
            stop_at: number,
            count: AtomicU64::new(0),
            work: AtomicU64::new(0),
            most: AtomicU64::new(0),
            after: AtomicU64::new(0),
        }
    }

    /// Never answers "stop".
    pub fn only_count() -> Looks {
        Looks::stop_at(u64::MAX)
    }

    /// Number of looks so far.
    pub fn count(&self) -> u64 {
        self.count.load(Ordering::Relaxed)
    }

    /// Most units of work between two looks: combinations, patterns and columns visited, moves tried. The
    /// work of several threads counts together.
    pub fn most_between(&self) -> u64 {
        self.most.load(Ordering::Relaxed)
    }

    /// Units of work done after the answer was "stop".
    pub fn work_after(&self) -> u64 {
        self.after.load(Ordering::Relaxed)
    }

    fn look(&self) -> bool {
        self.work.store(0, Ordering::Relaxed);
        self.count.fetch_add(1, Ordering::Relaxed) + 1 >= self.stop_at
    }

    fn worked(&self, units: u64) {
        let work = self.work.fetch_add(units, Ordering::Relaxed) + units;
        self.most.fetch_max(work, Ordering::Relaxed);
        if self.count() >= self.stop_at {
            self.after.fetch_add(units, Ordering::Relaxed);
        }
    }
}

/// Work that a search may do, in units: a column or an edge priced is one, a pivot many. It is counted beside the time, so
/// that a machine with other things to do comes to the same plan.
#[derive(Debug)]
pub(crate) struct Work {
    done: AtomicU64,
    most: u64,
}

impl Work {
    /// Units for a second of a time limit: what a machine of today does in 0.3 to 0.9 of it (measured on 2 cores).
    const A_SECOND: u64 = 100_000_000;

    /// So much work.
    pub(crate) fn of(most: u64) -> Work {
        Work { done: AtomicU64::new(0), most }
    }

    /// Work done so far.
    pub(crate) fn done(&self) -> u64 {
        self.done.load(Ordering::Relaxed)
    }

    /// Work left.
    fn left(&self) -> u64 {
        self.most.saturating_sub(self.done())
    }

    /// One of so many equal parts.
    pub(crate) fn part(&self, of: usize) -> u64 {
        self.most / (of.max(1) as u64)
    }

    /// Whether a fourth of it is done, and for all parts it would take four times as much as there is.
    fn lags(&self, done: usize, of: usize) -> bool {
        let spent = u128::from(self.done());
        let most = u128::from(self.most);
        4 * spent > most && spent * of as u128 > 4 * most * done as u128
    }

    /// Whether, since so much was done, a sixth of it all was, and as much again.
    fn is_in_vain(&self, since: u64) -> bool {
        self.done() - since > since.max(self.most / 6)
    }

    /// As much work again, at least what so many tenths of a second are for.
    pub(crate) fn again(&self, tenths: u64) -> Work {
        Work::of(self.done().max(tenths * Work::A_SECOND / 10))
    }
}

/// Least time for the order among equal plans, and for the marginal values.
const LEAST_SHARE: Duration = Duration::from_secs(1);

/// Nodes of a search before it is tried with cuts.
const BEFORE_CUTS: usize = 60;

/// Control on a search.
pub struct Control<'a> {
    start: Instant,
    deadline: Option<Instant>,
    /// When a search ends although there is time left, since somebody waits for a first answer.
    soon: Option<Instant>,
    interrupt: Option<&'a AtomicBool>,
    looks: Option<&'a Looks>,
    room: Option<&'a Room>,
    work: Option<&'a Work>,
    listener: Option<&'a (dyn Fn(Progress) + Sync)>,
    steps: Option<&'a (dyn Fn(PhaseProgress) + Sync)>,
    /// Nodes after which a search ends.
    pub(crate) most_nodes: usize,
    /// Nodes after which a search is tried with cuts.
    pub(crate) before_cuts: usize,
    /// Whether a search betters its plans part by part.
    pub(crate) by_parts: bool,
    /// Whether a search that is near its bound ends when it has gained nothing for long.
    pub(crate) rests: bool,
    /// Backend of the linear programs.
    pub(crate) backend: Backend,
}

impl<'a> Control<'a> {
    /// Control without deadline, interrupt or listener.
    pub fn unlimited() -> Control<'static> {
        Control {
            start: Instant::now(),
            deadline: None,
            soon: None,
            interrupt: None,
            looks: None,
            room: None,
            work: None,
            listener: None,
            steps: None,
            most_nodes: usize::MAX,
            before_cuts: BEFORE_CUTS,
            by_parts: true,
            rests: true,
            backend: Backend::default(),
        }
    }

    /// Control of a run that began at `start`; the time limit counts from then.
    pub fn since(start: Instant) -> Control<'static> {
        Control { start, ..Control::unlimited() }
    }

    /// Sets a time limit, counted from the start.
    #[must_use]
    pub fn limit(mut self, limit: Duration) -> Control<'a> {
        self.deadline = self.start.checked_add(limit);
        self
    }

    /// Ends the searches of a [draft](crate::choose::draft_from) at a moment, although the limit leaves time: for a first
    /// answer. What they search in is listed and bounded all the same.
    #[must_use]
    pub fn soon(&self, at: Instant) -> Control<'a> {
        Control { soon: Some(at), ..*self }
    }

    /// Control that goes on when the first answer is due.
    pub(crate) fn unhurried(&self) -> Control<'a> {
        Control { soon: None, ..*self }
    }

    /// Whether the first answer is due, and what comes now may have been ended by that.
    pub(crate) fn is_due(&self) -> bool {
        self.soon.is_some_and(|at| Instant::now() >= at)
    }

    /// Control for bettering a [first answer](Control::soon) that is due: half of the time that it was given, from now on.
    pub(crate) fn grace(&self) -> Control<'a> {
        let more = self.soon.map(|at| at.saturating_duration_since(self.start) / 2);
        let end = more.and_then(|more| Instant::now().checked_add(more));
        Control { deadline: self.deadline.into_iter().chain(end).min(), ..self.unhurried() }
    }

    /// Bounds the memory of the lists that are made.
    #[must_use]
    pub fn within(mut self, room: &'a Room) -> Control<'a> {
        self.room = Some(room);
        self
    }

    /// Work that the time limit stands for.
    pub(crate) fn work(&self) -> Work {
        let limit = self.deadline.map(|deadline| deadline.saturating_duration_since(self.start));
        Work::of(limit.map_or(u64::MAX, |limit| limit.as_secs().saturating_mul(Work::A_SECOND)))
    }

    /// Control that counts the work of a search.
    pub(crate) fn working<'b>(&self, work: &'b Work) -> Control<'b>
    where
        'a: 'b,
    {
        Control { work: Some(work), ..*self }
    }

    /// Counts units of work.
    pub(crate) fn spend(&self, units: u64) {
        if let Some(work) = self.work {
            work.done.fetch_add(units, Ordering::Relaxed);
        }
    }

    /// Reason to end a search here. Asked where one thread alone is at work, so that the answer does not hang on their
    /// number.
    pub(crate) fn spent(&self) -> Option<Stop> {
        let over = self.work.is_some_and(|work| work.done() > work.most);
        self.stop().or(over.then_some(Stop::Work))
    }

    /// Units of work done so far.
    pub(crate) fn worked_so_far(&self) -> u64 {
        self.work.map_or(0, Work::done)
    }

    /// Work for a part of what is done here: one of so many equal parts of all, or what is left. What is done of it is
    /// then to be [spent](Control::spend) here.
    pub(crate) fn part_of_work(&self, of: usize) -> Work {
        Work::of(self.work.map_or(u64::MAX, |work| work.part(of).min(work.left())))
    }

    /// Whether a good part of the work is done, and at this pace all of it will by far not do for the rest.
    pub(crate) fn lags(&self, done: usize, of: usize) -> bool {
        self.work.is_some_and(|work| work.lags(done, of))
    }

    /// Whether so much work was in vain that the search may rest: a good part of all, and as much as led there.
    pub(crate) fn is_in_vain(&self, since: u64) -> bool {
        self.rests && self.work.is_some_and(|work| work.is_in_vain(since))
    }

    /// One of so many parts of its room, if that is bounded.
    pub(crate) fn part(&self, of: usize) -> Option<Room> {
        self.room.map(|room| room.part(of))
    }

    /// Control over this room, and else as before.
    pub(crate) fn alone_in<'b>(&self, room: Option<&'b Room>) -> Control<'b>
    where
        'a: 'b,
    {
        Control { room, ..*self }
    }

    /// Control over the same room that never says stop.
    pub(crate) fn patient(&self) -> Control<'a> {
        Control { room: self.room, ..Control::unlimited() }
    }

    /// Most entries of so many bytes of a list that is soon dropped.
    pub(crate) fn most_in_hand(&self, bytes: usize) -> usize {
        self.room.map_or(usize::MAX, |room| room.most_in_hand(bytes))
    }

    /// Refuses what is too much to be in hand, even alone.
    pub(crate) fn fits_in_hand(&self, bytes: usize) -> Result<(), NoRoom> {
        match self.room {
            Some(room) if room.most_in_hand(1) < bytes => {
                Err(NoRoom { megabytes: room.megabytes() })
            }
            _ => Ok(()),
        }
    }

    /// Begins lists that are kept until the answer is dropped.
    pub(crate) fn lists(&self) -> Lists<'a> {
        match self.room {
            Some(room) => room.lists(),
            None => Lists::unbounded(),
        }
    }

    /// Takes room for bytes of lists that are kept.
    pub(crate) fn keep(&self, bytes: usize) -> Result<(), NoRoom> {
        self.room.map_or(Ok(()), |room| room.keep(bytes))
    }

    /// Gives room for lists back.
    pub(crate) fn let_go(&self, bytes: usize) {
        if let Some(room) = self.room {
            room.let_go(bytes);
        }
    }

    /// Counts every look.
    #[must_use]
    pub fn counted(mut self, looks: &'a Looks) -> Control<'a> {
        self.looks = Some(looks);
        self
    }

    /// Control over a part of the time left, in tenths, so that some remains for later work.
    pub(crate) fn tenths(&self, tenths: u32) -> Control<'a> {
        let now = Instant::now();
        let part = |deadline: Instant| {
            let left = deadline.saturating_duration_since(now);
            now.checked_add(left / 10 * tenths)
        };
        Control { deadline: self.deadline.and_then(part), ..*self }
    }

    /// Control over as long again as everything took so far, at least a second, but not past the limit; without
    /// a limit it has none either. For work that is not counted: the general solver's, in the order among equal plans and in
    /// the marginal values of groups with suppliers.
    pub fn share(&self) -> Control<'a> {
        let now = Instant::now();
        let share = now.saturating_duration_since(self.start).max(LEAST_SHARE);
        let end = |deadline: Instant| now.checked_add(share).map_or(deadline, |e| e.min(deadline));
        Control { deadline: self.deadline.map(end), ..*self }
    }

    /// Time left, if there is a limit.
    #[cfg(feature = "highs")]
    pub(crate) fn left(&self) -> Option<Duration> {
        self.deadline.map(|deadline| deadline.saturating_duration_since(Instant::now()))
    }

    /// Sets the flag of an interrupt.
    #[must_use]
    pub fn interrupted_by(mut self, flag: &'a AtomicBool) -> Control<'a> {
        self.interrupt = Some(flag);
        self
    }

    /// Whether the user has ended the work, or made another change.
    pub(crate) fn is_interrupted(&self) -> bool {
        self.interrupt.is_some_and(|flag| flag.load(Ordering::Relaxed))
    }

    /// Sets a listener for [`Progress`].
    #[must_use]
    pub fn listener(mut self, listener: &'a (dyn Fn(Progress) + Sync)) -> Control<'a> {
        self.listener = Some(listener);
        self
    }

    /// Sets a listener for the progress of the parts of the work.
    #[must_use]
    pub fn steps(mut self, steps: &'a (dyn Fn(PhaseProgress) + Sync)) -> Control<'a> {
        self.steps = Some(steps);
        self
    }

    /// Tries every search with cuts after so many nodes.
    #[must_use]
    pub fn cuts_after(mut self, nodes: usize) -> Control<'a> {
        self.before_cuts = nodes;
        self
    }

    /// Sets another of the built-in backends for the linear programs.
    #[must_use]
    pub fn backend(mut self, backend: Backend) -> Control<'a> {
        self.backend = backend;
        self
    }

    /// Reason to stop now, if there is one.
    pub fn stop(&self) -> Option<Stop> {
        if self.looks.is_some_and(Looks::look) {
            return Some(Stop::TimeLimit);
        }
        if self.is_interrupted() {
            return Some(Stop::Interrupt);
        }
        let end = self.deadline.into_iter().chain(self.soon).min();
        end.is_some_and(|end| Instant::now() >= end).then_some(Stop::TimeLimit)
    }

    /// Counts units of work, if looks are counted.
    fn worked(&self, units: usize) {
        self.spend(units as u64);
        if let Some(looks) = self.looks {
            looks.worked(units as u64);
        }
    }

    /// Control over one of many small searches: it ends after this many nodes, without a listener.
    pub(crate) fn quick(&self, most_nodes: usize) -> Control<'a> {
        Control { steps: None, most_nodes, ..self.unheard() }
    }

    /// Control over a search that ends after this many nodes.
    pub(crate) fn nodes(&self, most_nodes: usize) -> Control<'a> {
        Control { most_nodes: self.most_nodes.min(most_nodes), ..*self }
    }

    /// Control without a listener for values and bounds, which are not those of a goal.
    pub(crate) fn unheard(&self) -> Control<'a> {
        Control { listener: None, ..*self }
    }

    /// Control over searches that better no plan part by part.
    pub(crate) fn whole(&self) -> Control<'a> {
        Control { by_parts: false, ..*self }
    }

    /// Control over searches whose costs are no amounts, so that none is near its bound.
    pub(crate) fn restless(&self) -> Control<'a> {
        Control { rests: false, ..*self }
    }

    /// Reports the progress of a search to the listener.
    pub(crate) fn tell(&self, aim: Objective, pumps: usize, value: i64, bound: i64, open: usize) {
        if let Some(listener) = self.listener {
            let elapsed = self.start.elapsed();
            listener(Progress { aim, pumps, value, bound, open, elapsed });
        }
    }

    /// Reports the progress of a part of the work.
    pub(crate) fn step(&self, part: Phase, done: usize, of: usize) {
        if let Some(steps) = self.steps {
            steps(PhaseProgress { part, done, of });
        }
    }
}

/// Units of work between two looks: each is a combination, a pattern or a column visited, a microsecond at
/// most.
pub(crate) const UNITS: usize = 20_000;

/// Paces the looks at a control: one at the start, then one per [`UNITS`] units of work.
pub(crate) struct Pace<'a> {
    control: &'a Control<'a>,
    since: usize,
    /// Units that are done in any case.
    grace: usize,
    stopped: Option<Stop>,
    /// Bytes in hand: those taken from the room, and those of them that are free.
    taken: usize,
    free: usize,
}

impl<'a> Pace<'a> {
    pub(crate) fn of(control: &'a Control<'a>) -> Pace<'a> {
        Pace::at_least(control, 0)
    }

    /// Goes on for `grace` units even after the control has said stop.
    pub(crate) fn at_least(control: &'a Control<'a>, grace: usize) -> Pace<'a> {
        Pace { control, since: 0, grace, stopped: control.stop(), taken: 0, free: 0 }
    }

    /// Counts units of work about to be done, and returns the reason to stop instead. The answer stays the
    /// same once it is to stop.
    pub(crate) fn stop(&mut self, units: usize) -> Option<Stop> {
        self.since += units;
        self.grace = self.grace.saturating_sub(units);
        if self.since >= UNITS {
            self.control.worked(std::mem::take(&mut self.since));
            self.stopped = self.stopped.or_else(|| self.control.stop());
        }
        self.stopped.filter(|_| self.grace == 0)
    }

    /// Takes room for bytes in hand, until the pace is dropped.
    pub(crate) fn hold(&mut self, bytes: usize) -> Result<(), NoRoom> {
        /// Bytes taken at once.
        const LEAST: usize = 1 << 16;
        let Some(room) = self.control.room else {
            return Ok(());
        };
        if self.free < bytes {
            let more = (bytes - self.free).max(LEAST);
            if !room.take_up(more) {
                return Err(NoRoom { megabytes: room.megabytes() });
            }
            self.taken += more;
            self.free += more;
        }
        self.free -= bytes;
        Ok(())
    }
}

impl Drop for Pace<'_> {
    fn drop(&mut self) {
        self.control.worked(self.since);
        if let Some(room) = self.control.room {
            room.put_down(self.taken);
        }
    }
}

/// Why there is no list at all.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Unlisted {
    /// More entries than are listed.
    TooMany,
    /// No room for the entries.
    NoRoom(NoRoom),
}

impl From<NoRoom> for Unlisted {
    fn from(lack: NoRoom) -> Unlisted {
        Unlisted::NoRoom(lack)
    }
}

/// List, and the reason that it was cut short, if it was.
#[derive(Debug, Clone)]
pub struct Listed<T> {
    /// List, or its beginning.
    pub list: Vec<T>,
    /// Reason that it was cut short.
    pub cut: Option<Stop>,
}
