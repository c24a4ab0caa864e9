//! The subject that a server shows: it moves on once, from two workbooks to the outage file that was begun with them.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::watch;

use super::ledger::LedgerBoard;
use super::named;
use super::subject::Subject;
use crate::problem::Problems;

/// Begins an outage file of this name with the workbooks of the page, and gives its path; whoever runs the server says
/// where. A file that is there stays as it is.
pub type Beginning = dyn Fn(&str) -> Result<PathBuf, Problems> + Send + Sync;

/// Subject of a server, and the way to begin an outage file, where there is one.
#[derive(Clone)]
pub(super) struct Shown {
    subject: Arc<Mutex<Subject>>,
    /// Moves when the subject does.
    moved: Arc<watch::Sender<()>>,
    pub(super) beginning: Option<Arc<Beginning>>,
}

impl Shown {
    pub(super) fn new(subject: Subject) -> Shown {
        let subject = Arc::new(Mutex::new(subject));
        Shown { subject, moved: Arc::new(watch::Sender::new(())), beginning: None }
    }

    fn held(&self) -> MutexGuard<'_, Subject> {
        self.subject.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(super) fn now(&self) -> Subject {
        self.held().clone()
    }

    pub(super) fn moves(&self) -> watch::Receiver<()> {
        self.moved.subscribe()
    }

    /// Begins an outage file of this name and shows it; values that were typed and kits that are held go on under its What if.
    ///
    /// # Errors
    /// The reasons, in words, why it was not begun.
    pub(super) fn begin(&self, name: &str) -> Result<(), Vec<String>> {
        // Whoever asks at the same time waits, and is told that it is begun.
        let mut subject = self.held();
        let Subject::WhatIf(desk) = &*subject else {
            return Err(vec![
                "An outage file was begun already: its pages are under Record.".into(),
            ]);
        };
        let desk = desk.clone();
        let beginning = self.beginning.as_ref().ok_or_else(no_way)?;
        let path = beginning(name).map_err(|problems| named::listed(&problems))?;
        let board = opened(&path, desk.megabytes())?;
        if let Some(what_if) = board.what_if() {
            what_if.go_on_from(&desk);
        }
        *subject = Subject::from(Arc::new(board));
        desk.stop();
        self.moved.send_replace(());
        Ok(())
    }
}

fn no_way() -> Vec<String> {
    vec!["This page cannot begin one: end it, and start it again with --outage NAME.outage.".into()]
}

fn opened(path: &Path, megabytes: u64) -> Result<LedgerBoard, Vec<String>> {
    let board = LedgerBoard::open(path).map_err(|error| {
        let problem = error.problem(&named::file(&path.display().to_string()));
        vec![format!("{}. Fix: {}.", problem.found, problem.fix)]
    })?;
    let board = board.with_readings(megabytes);
    match board.no_readings() {
        Some(why) => Err(why.to_vec()),
        None => Ok(board),
    }
}
