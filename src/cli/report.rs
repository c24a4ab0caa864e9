//! Problems and warnings of the inputs: listed for people or for programs, and marked in a copy.

use std::io::Write;
use std::path::PathBuf;

use clap::ValueEnum;

use super::listing::{self, Look};
use super::run::today;
use super::voice::answer;
use super::{Common, DONE, PROBLEMS, WARNED, escape};
use crate::formats::problems::ReadJson;
use crate::json;
use crate::output::{self, Output, WriteError};
use crate::problem::Problems;
use crate::read::{self, Memory};
use crate::write;

/// How problems and warnings are listed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum Listing {
    /// For people, on standard error.
    Text,
    /// For programs, on standard output.
    Json,
}

/// Where findings go.
pub(super) struct Findings {
    form: Listing,
    /// The marked copy, if one is asked for.
    mark: Option<Output>,
    /// The workbooks that the marked copy shows, and what reading them may take.
    books: Vec<PathBuf>,
    memory: Memory,
}

impl Findings {
    pub(super) fn new(common: &Common, mark: Option<Output>, books: Vec<PathBuf>) -> Findings {
        Findings { form: common.form, memory: common.memory.clone(), mark, books }
    }

    /// Where the marked copy goes, if one is asked for.
    pub(super) fn mark_at(&self) -> Option<&Output> {
        self.mark.as_ref()
    }

    /// Writes the marked copy, if one is asked for and there is anything to mark.
    pub(super) fn mark(&self, problems: &Problems) -> Result<Option<PathBuf>, WriteError> {
        let anything = problems.count() + problems.count_of_warnings() > 0;
        let Some(output) = self.mark.as_ref().filter(|_| anything) else {
            return Ok(None);
        };
        // A book that cannot be read is a problem by itself, and has no sheet to show.
        let memory = &mut self.memory.clone();
        let books = self.books.iter();
        let books = books.filter_map(|book| read::book(book, memory).ok());
        let copy = write::mark::workbook(problems, &books.collect::<Vec<_>>(), &today())?;
        output::place(&[(output, &copy)])?;
        Ok(Some(output.path().to_path_buf()))
    }

    /// Lists problems and warnings, with the files that were written.
    pub(super) fn list(
        &self,
        problems: &Problems,
        status: u8,
        written: &[PathBuf],
        read: Option<ReadJson>,
    ) {
        let shown: Vec<String> = written.iter().map(|path| path.display().to_string()).collect();
        if self.form == Listing::Json {
            let list = json::problems::list(problems, status, shown, read);
            let text = json::problems::text(&list);
            answer(format!("{text}\n").as_bytes());
            return;
        }
        let total = listing::total(problems);
        if total.is_empty() {
            return;
        }
        let list = listing::list(problems, Look::of_stderr(), &listing::line_of);
        // A run without problems has its own last words.
        let end = match (problems.none(), status, written) {
            (true, DONE | WARNED, [.., last])
                if self.mark.as_ref().is_some_and(|mark| mark.path() == last) =>
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
        write!(std::io::stderr(), "{list}{}", escape::lines(&end)).ok();
    }
}
