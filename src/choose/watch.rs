//! The watch on a search: its deadline, the user's interrupt, news for whoever waits, and the
//! library that its linear programs go to.
//!
//! Every stage looks at it between small units of work, by a `Pace`. The limit holds for the whole run
//! from the start that is given. What makes a proven plan nicer and not better, the order among equal
//! plans and the worth of one more, has a [share](Watch::share) of the time.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use crate::choose::relaxation::Backend;
use crate::plan::{Aim, Stop};

/// News of a search under way.
#[derive(Debug, Clone, Copy)]
pub struct News {
    /// The goal being worked on.
    pub aim: Aim,
    /// How many pumps the group at hand has.
    pub pumps: usize,
    /// The best value so far.
    pub value: i64,
    /// What no plan can beat.
    pub bound: i64,
    /// Parts of the search still open.
    pub open: usize,
    /// Time since the start.
    pub elapsed: Duration,
}

/// Work that is done in parts, beside the search for a goal, which tells [`News`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Part {
    /// Listing the ways to kit each pump, before an outage at each of its values.
    Listing,
    /// Settling which of equal plans comes first, pump by pump.
    Order,
    /// Saying why pumps are short, pump by pump.
    Reasons,
    /// The worth of one more, item by item.
    Worth,
    /// Finding safe kits, pump by pump.
    SafeKits,
    /// Choosing the trolley, piece by piece.
    Trolley,
    /// Counting its service, scenario by scenario.
    Checks,
}

/// How far a part of the work is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    /// Which part.
    pub part: Part,
    /// How much of it is done.
    pub done: usize,
    /// Of how much; nothing where that is not known before.
    pub of: usize,
}

/// Counts the looks at a watch, and the work between them; can stop the work at a look by its number.
/// For tests: what holds at every look does not hang on a clock.
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

    /// Looks so far.
    pub fn count(&self) -> u64 {
        self.count.load(Ordering::Relaxed)
    }

    /// The most units of work between two looks: combinations, patterns and columns looked at, moves
    /// tried. On several threads their work counts together.
    pub fn most_between(&self) -> u64 {
        self.most.load(Ordering::Relaxed)
    }

    /// Units of work that were done after the answer was "stop".
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

/// What the order among equal plans and the worth of one more have at least.
const LEAST_SHARE: Duration = Duration::from_secs(1);

/// Watches over a search.
pub struct Watch<'a> {
    start: Instant,
    deadline: Option<Instant>,
    interrupt: Option<&'a AtomicBool>,
    looks: Option<&'a Looks>,
    listener: Option<&'a (dyn Fn(News) + Sync)>,
    steps: Option<&'a (dyn Fn(Step) + Sync)>,
    /// Parts of a search after which it ends.
    pub(crate) most_nodes: usize,
    /// What solves the linear programs.
    pub(crate) backend: Backend,
}

impl<'a> Watch<'a> {
    /// No deadline, no interrupt, nobody listens.
    pub fn patient() -> Watch<'static> {
        Watch {
            start: Instant::now(),
            deadline: None,
            interrupt: None,
            looks: None,
            listener: None,
            steps: None,
            most_nodes: usize::MAX,
            backend: Backend::default(),
        }
    }

    /// Over a run that began at `start`, so that the limit holds for what was done before, too.
    pub fn since(start: Instant) -> Watch<'static> {
        Watch { start, ..Watch::patient() }
    }

    /// With a time limit from the start.
    #[must_use]
    pub fn limit(mut self, limit: Duration) -> Watch<'a> {
        self.deadline = self.start.checked_add(limit);
        self
    }

    /// With every look counted.
    #[must_use]
    pub fn counted(mut self, looks: &'a Looks) -> Watch<'a> {
        self.looks = Some(looks);
        self
    }

    /// The same watch over a part of the time that is left, in tenths, so that something remains for
    /// what comes after.
    pub(crate) fn tenths(&self, tenths: u32) -> Watch<'a> {
        let now = Instant::now();
        let part = |deadline: Instant| {
            let left = deadline.saturating_duration_since(now);
            now.checked_add(left / 10 * tenths)
        };
        Watch { deadline: self.deadline.and_then(part), ..*self }
    }

    /// The same watch over as long again as everything took up to now, a second at least, and never past
    /// the limit; without a limit there is no end to it either. So long may the order among equal plans
    /// take, and so long the worth of one more.
    pub fn share(&self) -> Watch<'a> {
        let now = Instant::now();
        let share = now.saturating_duration_since(self.start).max(LEAST_SHARE);
        let end = |deadline: Instant| now.checked_add(share).map_or(deadline, |e| e.min(deadline));
        Watch { deadline: self.deadline.map(end), ..*self }
    }

    /// The time that is left, if there is a limit.
    #[cfg(feature = "highs")]
    pub(crate) fn left(&self) -> Option<Duration> {
        self.deadline.map(|deadline| deadline.saturating_duration_since(Instant::now()))
    }

    /// With a flag that an interrupt sets.
    #[must_use]
    pub fn interrupted_by(mut self, flag: &'a AtomicBool) -> Watch<'a> {
        self.interrupt = Some(flag);
        self
    }

    /// With somebody who wants news.
    #[must_use]
    pub fn listener(mut self, listener: &'a (dyn Fn(News) + Sync)) -> Watch<'a> {
        self.listener = Some(listener);
        self
    }

    /// With somebody who wants to know how far the work before an outage is.
    #[must_use]
    pub fn steps(mut self, steps: &'a (dyn Fn(Step) + Sync)) -> Watch<'a> {
        self.steps = Some(steps);
        self
    }

    /// With another of the built-in libraries for the linear programs.
    #[must_use]
    pub fn backend(mut self, backend: Backend) -> Watch<'a> {
        self.backend = backend;
        self
    }

    /// Whether to stop now, and why.
    pub fn stop(&self) -> Option<Stop> {
        if self.looks.is_some_and(Looks::look) {
            return Some(Stop::TimeLimit);
        }
        if self.interrupt.is_some_and(|flag| flag.load(Ordering::Relaxed)) {
            return Some(Stop::Interrupt);
        }
        self.deadline.is_some_and(|deadline| Instant::now() >= deadline).then_some(Stop::TimeLimit)
    }

    /// Counts units of work, where looks are counted.
    fn worked(&self, units: usize) {
        if let Some(looks) = self.looks {
            looks.worked(units as u64);
        }
    }

    /// The same over one of many small searches: it ends after so many parts, and nobody listens.
    pub(crate) fn quick(&self, most_nodes: usize) -> Watch<'a> {
        Watch { steps: None, most_nodes, ..self.unheard() }
    }

    /// The same, but that nobody hears of values and bounds, which are not those of a goal.
    pub(crate) fn unheard(&self) -> Watch<'a> {
        Watch { listener: None, ..*self }
    }

    /// Tells the listener.
    pub(crate) fn tell(&self, aim: Aim, pumps: usize, value: i64, bound: i64, open: usize) {
        if let Some(listener) = self.listener {
            let elapsed = self.start.elapsed();
            listener(News { aim, pumps, value, bound, open, elapsed });
        }
    }

    /// Tells how far a part of the work is.
    pub(crate) fn step(&self, part: Part, done: usize, of: usize) {
        if let Some(steps) = self.steps {
            steps(Step { part, done, of });
        }
    }
}

/// Units of work between two looks: each is a combination, a pattern or a column that is looked at, a
/// microsecond at most.
pub(crate) const UNITS: usize = 20_000;

/// Looks at a watch at the start, and then once in [`UNITS`] units of work.
pub(crate) struct Pace<'a> {
    watch: &'a Watch<'a>,
    since: usize,
    /// Units that are done whatever the watch says.
    grace: usize,
    stopped: Option<Stop>,
}

impl<'a> Pace<'a> {
    pub(crate) fn of(watch: &'a Watch<'a>) -> Pace<'a> {
        Pace::at_least(watch, 0)
    }

    /// Goes on for so many units even after the watch has said to stop.
    pub(crate) fn at_least(watch: &'a Watch<'a>, grace: usize) -> Pace<'a> {
        Pace { watch, since: 0, grace, stopped: watch.stop() }
    }

    /// Counts units of work that are about to be done; why to stop instead. Once that is said it stays.
    pub(crate) fn stop(&mut self, units: usize) -> Option<Stop> {
        self.since += units;
        self.grace = self.grace.saturating_sub(units);
        if self.since >= UNITS {
            self.watch.worked(std::mem::take(&mut self.since));
            self.stopped = self.stopped.or_else(|| self.watch.stop());
        }
        self.stopped.filter(|_| self.grace == 0)
    }
}

impl Drop for Pace<'_> {
    fn drop(&mut self) {
        self.watch.worked(self.since);
    }
}

/// A list, and what cut it short, if it was.
#[derive(Debug, Clone)]
pub struct Listed<T> {
    /// The list, or its beginning.
    pub list: Vec<T>,
    /// What cut it short.
    pub cut: Option<Stop>,
}
