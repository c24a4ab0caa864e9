//! Options that several commands have, each said once.

use std::io::Write;
use std::path::{Path, PathBuf};

use super::findings::{self, Listing};
use super::{Common, from_command_line};
use crate::problem::Problems;

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

    /// Writes it to standard output, if it goes there; what cannot be written is lost, since there is nobody to
    /// read it.
    pub(super) fn finish(&self, text: &str) {
        if self.to_stdout() {
            std::io::stdout().write_all(text.as_bytes()).ok();
        }
    }
}
