//! `gapwright compare`: two plans, and what differs between their slips.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use super::files::Files;
use super::kit::told::tell_changes;
use super::run::{Ended, Run};
use super::voice::out;
use super::{Common, DONE, common_args};
use crate::changes::changes;
use crate::digest::sha256;
use crate::formats::{self, common::InputJson};
use crate::issue::key;
use crate::json;
use crate::read;

/// Arguments of `compare`.
#[derive(clap::Args)]
#[command(after_long_help = AFTER)]
pub(super) struct Args {
    /// The earlier plan: workbook or JSON.
    before: PathBuf,
    /// The later plan: workbook or JSON.
    after: PathBuf,
    #[command(flatten)]
    json: common_args::Json,
    /// Replace an existing output file.
    #[arg(long)]
    force: bool,
}

impl Args {
    fn files(&self) -> Files<'_> {
        Files {
            reads: vec![self.before.as_path(), self.after.as_path()],
            json: self.json.path(),
            force: self.force,
            ..Files::default()
        }
    }
}

const AFTER: &str = "\
Examples:
  gapwright compare monday.xlsx tuesday.xlsx
  gapwright compare monday.json tuesday.json --json differs.json
        for other programs: `gapwright schema compare` is its form

Per pump: the pieces that go out of its kit, those that go in, why, and which
slips and labels to tear up and to print. Two JSONs say most; of a workbook and
a JSON, layers that are peeled off are not compared.

Manual: `gapwright help running`.";

pub(super) fn run(args: &Args, common: &Common) -> Ended {
    let mut run = Run::begin(common, args.files());
    let [before, after] = run.read("reading the plans", |memory, problems| {
        let sides = [&args.before, &args.after].map(|plan| {
            let side = read::plan_side(plan, memory);
            side.map_err(|found| problems.absorb(found)).ok()
        });
        let [before, after] = sides;
        Some([before?, after?])
    })?;
    let mut found = changes(&before, &after);
    let is_gone = |tag: &str| !after.slips.iter().any(|slip| key(&slip.tag) == key(tag));
    for change in found.iter_mut().filter(|change| is_gone(&change.tag)) {
        // A plan of an outage leaves out those at the bench, whose slips count.
        change.tear_up = false;
        change.why =
            "not in the later plan: at the bench, withdrawn, or gone from the pump workbook".into();
    }
    let input = |role: &str, path: &Path| InputJson {
        role: role.into(),
        file: path.display().to_string(),
        // A file that went since is one without bytes.
        sha256: sha256(&fs::read(path).unwrap_or_default()),
    };
    let status = match args.json.path() {
        Some(_) => {
            let inputs = [input("earlier plan", &args.before), input("later plan", &args.after)];
            let json = json::compare::comparison(&found, inputs);
            run.deliver_text(Vec::new(), &formats::text(&json))?
        }
        None => run.end(DONE)?,
    };
    let to = run.voice();
    if found.is_empty() {
        out!(to, "Nothing differs: every slip of the earlier plan still counts.");
    }
    tell_changes(&found, &BTreeMap::new(), to);
    run.tell_written();
    Ok(status)
}
