//! `gapwright blank`: empty workbooks to start from.

use std::path::{Path, PathBuf};

use super::findings::Findings;
use super::{Common, DONE, say};
use crate::problem::{Place, Problems};
use crate::read::Library;
use crate::write;

/// Arguments of `blank`.
#[derive(clap::Args)]
pub(super) struct Args {
    /// Folder to write stock.xlsx and pumps.xlsx into; made if it is not there.
    folder: PathBuf,
    /// The arrangement of pump that the columns are for.
    #[arg(long, default_value = "screwed-impeller", value_name = "NAME")]
    model: String,
    /// Folder of model files (.toml) beside the built-in ones.
    #[arg(long, value_name = "DIR")]
    models: Option<PathBuf>,
    /// For an outage that is not measured yet: the pump workbook also has columns for the ranges that
    /// are expected, which `gapwright provision` plans for.
    #[arg(long)]
    ahead: bool,
    /// Replace workbooks that are there already.
    #[arg(long)]
    force: bool,
}

pub(super) fn run(args: &Args, common: &Common) -> u8 {
    let findings = Findings::of(common);
    let mut problems = Problems::new();
    let library = Library::open(args.models.as_deref(), &mut problems);
    let model = library.find(&args.model, &mut problems);
    if model.is_none() && problems.none() {
        problems.add(library.unknown(&args.model, Place::file("command line")));
    }
    let Some(model) = model.filter(|_| problems.none()) else {
        return findings.refuse(problems);
    };
    let (stock_path, pumps_path) = (
        args.folder.join("stock.xlsx"),
        args.folder.join("pumps.xlsx"),
    );
    let written = std::fs::create_dir_all(&args.folder)
        .map_err(|error| write::WriteError::File {
            path: args.folder.clone(),
            error,
        })
        .and_then(|()| match args.ahead {
            true => Ok(write::blank::workbooks_ahead(&model)?),
            false => Ok(write::blank::workbooks(&model)?),
        })
        .and_then(|(stock, pumps)| {
            write::files(&[(&stock_path, &stock), (&pumps_path, &pumps)], args.force)
        });
    if let Err(error) = written {
        let before = error.written_before();
        let before: Vec<&Path> = before.iter().map(PathBuf::as_path).collect();
        return findings.fail(error.problem(), Vec::new(), &before);
    }
    let status = findings.settle(Vec::new(), DONE, &[&stock_path, &pumps_path], None);
    say!(
        "Wrote {} and {}.",
        stock_path.display(),
        pumps_path.display()
    );
    say!(
        "Fill them in (point at a heading for its note) and replace the example rows; leave the sheets"
    );
    say!(
        "Sheets and Fit empty if no piece is cut from sheet, and Feelers if no blades are used. Then run"
    );
    let models = args
        .models
        .as_ref()
        .map(|folder| format!(" --models {}", folder.display()));
    let models = models.unwrap_or_default();
    let command = if args.ahead { "provision" } else { "kit" };
    say!(
        "  gapwright {command} {} {}{models}",
        stock_path.display(),
        pumps_path.display()
    );
    status
}
