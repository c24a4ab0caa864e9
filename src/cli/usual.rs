//! Options that several commands have, each said once.

use std::io::Write;
use std::path::{Path, PathBuf};

use super::findings::{self, Findings, Listing};
use super::{Common, DONE, from_command_line};
use crate::problem::{Problem, Problems};
use crate::write::{self, WriteError};

/// Where models lie, what date is printed, and what may be written.
#[derive(clap::Args)]
pub(super) struct Usual {
    /// Folder of model files (.toml) beside the built-in ones.
    #[arg(long, value_name = "DIR")]
    pub(super) models: Option<PathBuf>,
    /// Date to print; today if not given.
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub(super) date: Option<String>,
    /// Write a copy of the sheets with what is wrong coloured and noted, if anything is.
    #[arg(long, value_name = "FILE")]
    pub(super) mark: Option<PathBuf>,
    /// Replace output files that are there already.
    #[arg(long)]
    pub(super) force: bool,
}

/// How many threads work.
#[derive(clap::Args)]
pub(super) struct Threads {
    /// Threads to work with; the answer is the same for any number.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    threads: Option<u16>,
}

impl Threads {
    /// Works with so many, if a number is given.
    pub(super) fn begin(&self) {
        if let Some(threads) = self.threads {
            // Fails only if a pool was built before, which nothing here does.
            let pool = rayon::ThreadPoolBuilder::new().num_threads(usize::from(threads));
            pool.build_global().ok();
        }
    }
}

/// The result for programs.
#[derive(clap::Args)]
pub(super) struct Json {
    /// Write the result for programs as well (see `gapwright schema`); `-` writes it to standard
    /// output, and what is said for people goes to standard error.
    #[arg(long = "json", value_name = "FILE")]
    path: Option<PathBuf>,
}

impl Json {
    /// Whether it goes to standard output.
    fn to_stdout(&self) -> bool {
        self.path.as_deref() == Some(Path::new("-"))
    }

    /// The file that it goes to, if it does.
    pub(super) fn file(&self) -> Option<&PathBuf> {
        self.path.as_ref().filter(|_| !self.to_stdout())
    }

    /// Settles to whom standard output belongs: it can be asked for only once.
    pub(super) fn begin(&self, common: &Common, problems: &mut Problems) {
        if !self.to_stdout() {
            return;
        }
        if common.form == Listing::Json {
            problems.add(from_command_line(
                "--json - and --problems json".into(),
                "standard output for one of the two",
                "give --json a file",
            ));
        }
        findings::leave_stdout();
    }

    /// Writes the workbook and the result for programs, whole or not at all, and lists the warnings.
    ///
    /// # Errors
    /// The exit status of a run that could not write them; it is said why.
    pub(super) fn deliver(
        &self,
        findings: &Findings<'_>,
        warnings: Vec<Problem>,
        (out, workbook): (&Path, Result<Vec<u8>, WriteError>),
        text: &str,
        force: bool,
    ) -> Result<u8, u8> {
        let file = self.file().map(PathBuf::as_path);
        let written = workbook.and_then(|workbook| {
            let mut files = vec![(out, workbook.as_slice())];
            files.extend(file.map(|path| (path, text.as_bytes())));
            write::files(&files, force)
        });
        if let Err(error) = written {
            let before = error.written_before();
            let before: Vec<&Path> = before.iter().map(PathBuf::as_path).collect();
            return Err(findings.fail(error.problem(), warnings, &before));
        }
        let written: Vec<&Path> = [out].into_iter().chain(file).collect();
        let status = findings.settle(warnings, DONE, &written, None);
        if self.to_stdout() {
            // What cannot be written there is lost: there is nobody to read it.
            std::io::stdout().write_all(text.as_bytes()).ok();
        }
        Ok(status)
    }
}
