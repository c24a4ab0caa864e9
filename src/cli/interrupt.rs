//! Ctrl-C during a search: the first ends the search and the best found is written; the second ends the run.
//!
//! Before a search begins there is nothing to save, and the system ends the run at once, as it does any other.
//!
//! # Decision
//!
//! SIGTERM and SIGHUP are answered as Ctrl-C is: whoever stops a run of an hour wants what it has found. All end with the
//! one status that no run has which was left to itself; what was written is said in words and in the list for programs.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, TryLockError};
use std::time::{Duration, Instant};

use super::INTERRUPTED;
use super::progress::Meter;
use super::voice::warning;

const ANSWER: &str = "stopping: writing the best plan found; press Ctrl-C again to leave at once";

/// Ctrl-C and a run.
#[derive(Clone, Default)]
pub(super) struct Interrupt {
    flag: Arc<AtomicBool>,
    /// Held while files are put in their places.
    pen: Arc<Mutex<()>>,
}

impl Interrupt {
    /// Answers to Ctrl-C from here on.
    pub(super) fn answer(&self, progress: &Arc<Meter>) {
        let (interrupt, progress) = (self.clone(), Arc::downgrade(progress));
        // Without a handler an interrupt ends the program, which loses nothing that was there.
        ctrlc::set_handler(move || {
            if interrupt.flag.swap(true, Ordering::Relaxed) {
                interrupt.leave();
            }
            // The line of progress is gone once the search is over.
            match progress.upgrade() {
                Some(progress) => progress.interject(ANSWER),
                None => warning!("{ANSWER}"),
            }
        })
        .ok();
    }

    /// Whether one came.
    pub(super) fn came(&self) -> bool {
        self.flag.load(Ordering::Relaxed)
    }

    /// Set by the first Ctrl-C.
    pub(super) fn flag(&self) -> &AtomicBool {
        &self.flag
    }

    /// Does something that is done in a moment and that a second Ctrl-C does not end half-way.
    pub(super) fn held_off<T>(&self, work: impl FnOnce() -> T) -> T {
        let _pen = self.pen.lock();
        work()
    }

    /// Ends the process. Files that are being put in their places are waited for, but not for ever: a disk may hang,
    /// and each of them appears whole or not at all anyway.
    fn leave(&self) -> ! {
        const MOST: Duration = Duration::from_secs(2);
        let begun = Instant::now();
        while let Err(TryLockError::WouldBlock) = self.pen.try_lock()
            && begun.elapsed() < MOST
        {
            std::thread::sleep(Duration::from_millis(5));
        }
        std::process::exit(INTERRUPTED.into())
    }
}
