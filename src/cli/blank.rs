//! `gapwright blank`: empty workbooks to start from.

use std::path::PathBuf;

use super::Common;
use super::files::Files;
use super::run::{Ended, Run};
use super::voice::{Voice, out};
use crate::model::Model;
use crate::output::WriteError;
use crate::problem::{Place, Problems};
use crate::read::Library;
use crate::write;

/// Arguments of `blank`.
#[derive(clap::Args)]
pub(super) struct Args {
    /// Folder for stock.xlsx and pumps.xlsx; made if it does not exist.
    folder: PathBuf,
    /// Model of pump that the columns are for; see `gapwright help models`.
    #[arg(long, default_value = "screwed-impeller", value_name = "NAME")]
    model: String,
    /// Folder of the shop's own models (.toml), beside the built-in ones.
    #[arg(long, value_name = "DIR")]
    models: Option<PathBuf>,
    /// Add columns for the range that is expected of each dimension, for `gapwright provision` before
    /// anything is measured.
    #[arg(long)]
    ahead: bool,
    /// Replace workbooks that exist.
    #[arg(long)]
    force: bool,
}

impl Args {
    fn workbooks(&self) -> [PathBuf; 2] {
        ["stock.xlsx", "pumps.xlsx"].map(|name| self.folder.join(name))
    }

    fn files(&self) -> Files<'_> {
        Files {
            models: self.models.as_deref(),
            writes: self.workbooks().map(|path| ("FOLDER", path)).to_vec(),
            force: self.force,
            ..Files::default()
        }
    }

    fn model(&self, problems: &mut Problems) -> Option<Model> {
        let library = Library::open(self.models.as_deref(), problems);
        let model = library.find(&self.model, problems);
        if model.is_none() && problems.none() {
            problems.add(library.unknown(&self.model, Place::file("command line")));
        }
        model
    }
}

pub(super) fn run(args: &Args, common: &Common) -> Ended {
    let mut run = Run::begin(common, args.files());
    let model = run.read("reading the models", |_, problems| args.model(problems))?;
    let made = match args.ahead {
        true => write::blank::workbooks_ahead(&model),
        false => write::blank::workbooks(&model),
    };
    let (stock, pumps) = run.made(made.map_err(WriteError::from))?;
    run.make_folder(&args.folder)?;
    let status = run.deliver_all(&[stock, pumps])?;
    tell(args, run.voice());
    Ok(status)
}

/// Says what to do with the workbooks.
fn tell(args: &Args, to: Voice) {
    let [stock, pumps] = args.workbooks();
    let (stock, pumps) = (stock.display(), pumps.display());
    out!(to, "Wrote {stock} and {pumps}.");
    out!(
        to,
        "Fill them in (point at a heading for its note) and replace the example rows; leave the sheets"
    );
    out!(
        to,
        "Plate and Fit empty if no piece is cut from plate, and Feelers if no blades are used. Then run"
    );
    let models = args.models.as_ref();
    let models = models.map(|folder| format!(" --models {}", folder.display()));
    let models = models.unwrap_or_default();
    let command = if args.ahead { "provision" } else { "kit" };
    out!(to, "  gapwright {command} {stock} {pumps}{models}");
}
