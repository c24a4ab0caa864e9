//! Options that several commands have, each said once.

use std::path::{Path, PathBuf};

use super::files::Files;
use super::run::today;
use crate::read::{Memory, Sources};

/// Where models lie, what date is printed, and what may be written.
#[derive(clap::Args)]
pub(super) struct CommonArgs {
    /// Folder of the shop's own models (.toml), beside the built-in ones.
    #[arg(long, value_name = "DIR")]
    pub(super) models: Option<PathBuf>,
    /// Date to print; today if not given.
    #[arg(long, value_name = "YYYY-MM-DD")]
    date: Option<String>,
    /// If anything is wrong, write a copy of the sheets with the wrong cells coloured and noted.
    #[arg(long, value_name = "FILE")]
    mark: Option<PathBuf>,
    /// Replace existing output files.
    #[arg(long)]
    force: bool,
}

/// Day of a run, as given or today's.
pub(super) fn day(date: Option<&str>) -> Option<i64> {
    let today = today();
    crate::day::number(date.unwrap_or(&today)).map(i64::from)
}

impl CommonArgs {
    /// The day that is printed.
    fn day(&self) -> Option<i64> {
        day(self.date.as_deref())
    }

    /// Sources of a job: its workbooks, and the settings that the command line gives.
    pub(super) fn sources(
        &self,
        [stock, pumps]: [&Path; 2],
        settings: Vec<(String, String)>,
        memory: &Memory,
    ) -> Sources {
        Sources {
            stock: stock.to_path_buf(),
            pumps: pumps.to_path_buf(),
            models: self.models.clone(),
            settings,
            day: self.day(),
            memory: memory.clone(),
            ..Sources::default()
        }
    }

    /// The files of a command with these options, which reads these and writes one workbook.
    pub(super) fn files<'a>(
        &'a self,
        reads: impl IntoIterator<Item = &'a PathBuf>,
        out: &Path,
        json: Option<&'a Json>,
    ) -> Files<'a> {
        Files {
            reads: reads.into_iter().map(PathBuf::as_path).collect(),
            models: self.models.as_deref(),
            writes: vec![("--out", out.to_path_buf())],
            json: json.and_then(Json::path),
            mark: self.mark.as_deref(),
            force: self.force,
            date: self.date.as_deref(),
            ..Files::default()
        }
    }
}

/// How many threads work.
#[derive(clap::Args)]
pub(super) struct Threads {
    /// Threads to work with; the result is the same for any number.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    pub(super) threads: Option<u16>,
}

/// The result for programs.
#[derive(clap::Args)]
pub(super) struct Json {
    /// Also write the result as JSON, for other programs (see `gapwright help programs`); `-` is
    /// standard output, and the report for people then goes to standard error.
    #[arg(long = "json", value_name = "FILE")]
    path: Option<PathBuf>,
}

impl Json {
    /// File that is asked for, if one is.
    pub(super) fn path(&self) -> Option<&Path> {
        self.path.as_deref()
    }
}
