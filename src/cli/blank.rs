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
#[command(after_long_help = AFTER)]
pub(super) struct Args {
    /// Folder for stock.xlsx and pumps.xlsx; made if it does not exist.
    folder: PathBuf,
    /// Model of the pumps, which gives the columns; see `gapwright help models`.
    #[arg(long, default_value = "screwed-impeller", value_name = "NAME")]
    model: String,
    /// Folder of the shop's own models (.toml), beside the built-in ones.
    #[arg(long, value_name = "DIR")]
    models: Option<PathBuf>,
    /// Add columns for the expected range of each dimension, for `gapwright provision` before anything
    /// is measured.
    #[arg(long)]
    ahead: bool,
    /// Replace existing workbooks.
    #[arg(long)]
    force: bool,
}

const AFTER: &str = "\
Examples:
  gapwright blank my-shop
        writes my-shop/stock.xlsx and my-shop/pumps.xlsx, with example rows
        that can be kitted as they are
  gapwright blank my-shop --model front-set-metric --force
        the columns of another model; replaces both workbooks
  gapwright blank my-shop --models our-models --model our-pump
        a model of the shop, our-models/our-pump.toml
  gapwright blank spring --ahead
        with columns for expected ranges, before anything is measured

Point at a heading in the workbooks to read its note. Manual: `gapwright help
start`, `gapwright help workbooks`.";

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
