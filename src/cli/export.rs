//! `gapwright export`: the stock workbook with the counts of an outage, and its ledger as a workbook.

mod patched;
mod stock;

use std::path::{Path, PathBuf};

use super::Common;
use super::files::Files;
use super::outage::sound;
use super::run::{Ended, Run};
use crate::outage_file::OutageFile;
use crate::write;
use stock::{Source, Target};

/// Arguments of `export`.
#[derive(clap::Args)]
#[command(after_long_help = AFTER)]
pub(super) struct Args {
    /// The outage file, NAME.outage.
    file: PathBuf,
    /// Folder for NAME-stock and NAME-ledger.xlsx; made if it does not exist.
    #[arg(long, value_name = "DIR", default_value = ".")]
    out_dir: PathBuf,
    /// Date to print; today if not given.
    #[arg(long, value_name = "YYYY-MM-DD")]
    date: Option<String>,
    /// Replace existing output files.
    #[arg(long)]
    force: bool,
}

const AFTER: &str = "\
Examples:
  gapwright export week-12.outage
        writes week-12-stock.xlsx, the stock workbook that was taken over with
        the counts of the ledger, and week-12-ledger.xlsx
  gapwright export week-12.outage --out-dir handover

Of an .xlsx, .xlsm or .csv workbook only the changed cells of On hand change:
formats, formulas, comments and pictures stay. A count that is a formula is
listed and not written. Results of formulas that depend on a changed count are
emptied, and the spreadsheet program works them out when it opens the file. Of
other workbooks the values are written to an .xlsx file.

The outage file is not changed. Manual: `gapwright help running`.";

/// Name of the outage: the file's, without its ending.
fn name(file: &Path) -> String {
    file.file_stem().unwrap_or_default().to_string_lossy().into_owned()
}

pub(super) fn run(args: &Args, common: &Common) -> Ended {
    // A plain name reads better than one with the folder of the run before it.
    let folder = args.out_dir.strip_prefix(".").unwrap_or(&args.out_dir);
    let opened = OutageFile::open(&args.file);
    let name = name(&args.file);
    let target = match &opened {
        Ok(file) => Source::of(file, &common.memory).map(|source| source.target(folder, &name)),
        Err(_) => None,
    };
    let ledger = folder.join(format!("{name}-ledger.xlsx"));
    let files = Files {
        outage: Some(&args.file),
        writes: vec![("--out-dir", ledger)],
        texts: target.iter().flat_map(Target::files).map(|path| ("--out-dir", path)).collect(),
        force: args.force,
        date: args.date.as_deref(),
        ..Files::default()
    };
    let mut run = Run::begin(common, files);
    let file = sound(&mut run, &args.file, opened)?;
    let stock = run
        .read("reading the stock workbook that was taken over", |memory, problems| {
            stock::with_counts(&file, memory, problems)
        })?;
    let bytes = stock.files(&mut run)?;
    let ledger = run.write("writing the ledger", |date| write::ledger(file.outage(), &name, date));
    let ledger = run.made(ledger)?;
    run.make_folder(folder)?;
    if let Some(folder) = target.as_ref().and_then(Target::folder) {
        run.make_folder(folder)?;
    }
    let status = run.deliver_all(&[vec![ledger], bytes].concat())?;
    stock.tell(run.voice());
    run.tell_written();
    Ok(status)
}
