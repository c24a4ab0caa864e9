//! What a command has to say of its inputs: listed for people or for programs, and marked in a copy.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use clap::ValueEnum;

use super::listing::{self, Look};
use super::{Common, DONE, FAILED, PROBLEMS, plain};
use crate::formats::problems::ReadJson;
use crate::problem::{Problem, Problems};
use crate::read::{self, Memory};
use crate::write::{self, WriteError};

/// How problems and warnings are listed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum Listing {
    /// For people, on standard error.
    Text,
    /// For programs, on standard output.
    Json,
}

/// Whether standard output belongs to the list, or to something else for programs. Standard output is one for the whole process, and
/// so is this.
static LIST_HAS_STDOUT: AtomicBool = AtomicBool::new(false);

/// Settles to whom standard output belongs.
pub(super) fn begin(form: Listing) {
    LIST_HAS_STDOUT.store(form == Listing::Json, Ordering::Relaxed);
}

/// Leaves standard output to what is written there for programs.
pub(super) fn leave_stdout() {
    LIST_HAS_STDOUT.store(true, Ordering::Relaxed);
}

pub(super) fn list_has_stdout() -> bool {
    LIST_HAS_STDOUT.load(Ordering::Relaxed)
}

/// Where findings go.
pub(super) struct Findings<'a> {
    form: Listing,
    /// The marked copy, if one is asked for, and whether it may replace another.
    mark: Option<&'a PathBuf>,
    force: bool,
    /// The workbooks that the marked copy shows, and what reading them may take.
    books: Vec<&'a PathBuf>,
    memory: Memory,
}

impl<'a> Findings<'a> {
    /// Findings that are only listed.
    pub(super) fn of(common: &Common) -> Findings<'a> {
        Findings {
            form: common.form,
            memory: common.memory.clone(),
            mark: None,
            force: false,
            books: Vec::new(),
        }
    }

    /// Findings that are marked in a copy of these workbooks as well, if one is asked for.
    pub(super) fn marked(
        common: &Common,
        mark: Option<&'a PathBuf>,
        books: Vec<&'a PathBuf>,
        force: bool,
    ) -> Findings<'a> {
        Findings {
            form: common.form,
            memory: common.memory.clone(),
            mark,
            force,
            books,
        }
    }

    /// Ends a run whose inputs have problems: nothing is written but the marked copy.
    pub(super) fn refuse(&self, problems: Problems) -> u8 {
        self.refuse_having_read(problems, None)
    }

    /// The same, for `check`, which says what was read all the same.
    pub(super) fn refuse_having_read(&self, mut problems: Problems, read: Option<ReadJson>) -> u8 {
        let written = match self.mark(&problems) {
            Ok(written) => written,
            Err(error) => {
                problems.add(error.problem());
                None
            }
        };
        self.list(&problems, PROBLEMS, &Vec::from_iter(written), read);
        PROBLEMS
    }

    /// Ends a run that could not write its files, or found a defect of its own.
    pub(super) fn fail(&self, failure: Problem, warnings: Vec<Problem>, written: &[&Path]) -> u8 {
        let mut problems = Problems::of_warnings(warnings);
        problems.add(failure);
        self.list(&problems, FAILED, written, None);
        FAILED
    }

    /// Ends a run that did what it was asked to, with this status: lists and marks what it warns of.
    pub(super) fn settle(
        &self,
        warnings: Vec<Problem>,
        status: u8,
        written: &[&Path],
        read: Option<ReadJson>,
    ) -> u8 {
        let mut problems = Problems::of_warnings(warnings);
        let mut all = written.to_vec();
        match self.mark(&problems) {
            Ok(marked) => all.extend(marked),
            Err(error) => {
                problems.add(error.problem());
                self.list(&problems, FAILED, &all, read);
                return FAILED;
            }
        }
        self.list(&problems, status, &all, read);
        status
    }

    /// Writes the marked copy, if one is asked for and there is anything to mark.
    fn mark(&self, problems: &Problems) -> Result<Option<&'a Path>, WriteError> {
        let Some(path) = self
            .mark
            .filter(|_| problems.count() + problems.count_of_warnings() > 0)
        else {
            return Ok(None);
        };
        // A book that cannot be read is a problem by itself, and has no sheet to show.
        let memory = &mut self.memory.clone();
        let books = self.books.iter();
        let books = books.filter_map(|book| read::book(book, memory).ok());
        let copy = write::mark::workbook(problems, &books.collect::<Vec<_>>(), &super::date(None))?;
        write::files(&[(path, &copy)], self.force)?;
        Ok(Some(path))
    }

    fn list(&self, problems: &Problems, status: u8, written: &[&Path], read: Option<ReadJson>) {
        let shown: Vec<String> = written
            .iter()
            .map(|path| path.display().to_string())
            .collect();
        if self.form == Listing::Json {
            let list = write::problems::list(problems, status, shown, read);
            let text = write::problems::text(&list);
            writeln!(std::io::stdout(), "{text}").ok();
            return;
        }
        let total = listing::total(problems);
        if total.is_empty() {
            return;
        }
        let list = listing::list(problems, Look::of_stderr(), &listing::line_of);
        // A run without problems has its own last words.
        let end = match (problems.none(), status, written) {
            (true, DONE | super::WARNED, [.., last])
                if self.mark.is_some_and(|mark| mark == last) =>
            {
                format!("{total}. Marked in {}.\n", last.display())
            }
            (true, ..) => format!("{total}.\n"),
            (false, PROBLEMS, [copy]) => {
                let copy = copy.display();
                format!("{total}. Nothing was written but the marked copy {copy}.\n")
            }
            (false, _, []) => format!("{total}. Nothing was written.\n"),
            (false, ..) => format!("{total}. Written before it: {}.\n", shown.join(", ")),
        };
        // The list holds nothing of the inputs that a terminal would act on, only its own colours.
        write!(std::io::stderr(), "{list}{}", plain::lines(&end)).ok();
    }
}
