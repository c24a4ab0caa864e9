//! The watch on a search: its deadline, the user's interrupt, news for whoever waits, and the
//! library that its linear programs go to.

use std::sync::atomic::{AtomicBool, Ordering};
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

/// Work that is done in parts before an outage is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Part {
    /// Listing the ways to kit each pump at each of its values.
    Listing,
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

/// Watches over a search.
pub struct Watch<'a> {
    start: Instant,
    deadline: Option<Instant>,
    interrupt: Option<&'a AtomicBool>,
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
            listener: None,
            steps: None,
            most_nodes: usize::MAX,
            backend: Backend::default(),
        }
    }

    /// With a time limit from now.
    #[must_use]
    pub fn limit(mut self, limit: Duration) -> Watch<'a> {
        self.deadline = self.start.checked_add(limit);
        self
    }

    /// The same watch over a part of the time, in tenths from its start, so that something is left for
    /// what comes after.
    pub(crate) fn tenths(&self, tenths: u32) -> Watch<'a> {
        let part = |deadline: Instant| {
            let whole = deadline.duration_since(self.start);
            self.start.checked_add(whole / 10 * tenths)
        };
        Watch {
            deadline: self.deadline.and_then(part),
            ..*self
        }
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
        if self
            .interrupt
            .is_some_and(|flag| flag.load(Ordering::Relaxed))
        {
            return Some(Stop::Interrupt);
        }
        self.deadline
            .is_some_and(|deadline| Instant::now() >= deadline)
            .then_some(Stop::TimeLimit)
    }

    /// The same over one of many small searches: it ends after so many parts, and nobody listens.
    pub(crate) fn quick(&self, most_nodes: usize) -> Watch<'a> {
        Watch {
            listener: None,
            steps: None,
            most_nodes,
            ..*self
        }
    }

    /// Tells the listener.
    pub(crate) fn tell(&self, aim: Aim, pumps: usize, value: i64, bound: i64, open: usize) {
        if let Some(listener) = self.listener {
            let elapsed = self.start.elapsed();
            listener(News {
                aim,
                pumps,
                value,
                bound,
                open,
                elapsed,
            });
        }
    }

    /// Tells how far a part of the work is.
    pub(crate) fn step(&self, part: Part, done: usize, of: usize) {
        if let Some(steps) = self.steps {
            steps(Step { part, done, of });
        }
    }
}
