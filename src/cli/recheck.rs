//! `gapwright recheck`: readings of finished packs and rechecked clearances come back.

use std::path::PathBuf;

use super::common_args::{CommonArgs, Json};
use super::files::Files;
use super::kit::told::tell_not_measured;
use super::run::{Ended, Run, gathered, gathered_job};
use super::settings::{Judging, given};
use super::voice::{must_see, out};
use super::{Common, from_command_line};
use crate::formats;
use crate::job::Job;
use crate::json;
use crate::output;
use crate::problem::Problems;
use crate::read::{self, Back, BenchSources, Memory, Sources};
use crate::recheck::{Decision, recheck};
use crate::verify::{VerifiedRecheck, verify_recheck};
use crate::words::NOT_FIT;
use crate::words::recheck::{decision, is_accepted_unmeasured, to_do};
use crate::write::as_built::{self, AsBuilt};

/// Arguments of `recheck`.
#[derive(clap::Args)]
#[command(after_long_help = AFTER)]
pub(super) struct Args {
    /// Plan that `kit` wrote: its workbook, saved with the readings on the sheet Kits, or its JSON.
    plan: PathBuf,
    /// Stock workbook: that of the plan, or the one that `export` wrote since.
    stock: PathBuf,
    /// Pump workbook of the plan.
    pumps: PathBuf,
    /// Workbook with a sheet Readings: columns Tag, What, Reading, optionally Again, Within, By, When.
    #[arg(long, value_name = "FILE")]
    readings: Option<PathBuf>,
    /// Single reading; may be given several times, and twice for a second reading.
    #[arg(long, value_name = "TAG:WHAT=READING")]
    found: Vec<String>,
    /// Every kit of the plan is out of the stock workbook already: all pieces in it may be swapped in.
    #[arg(long)]
    issued: bool,
    /// As-built record, to write.
    #[arg(long, default_value = "as-built.xlsx", value_name = "FILE")]
    out: PathBuf,
    #[command(flatten)]
    json: Json,
    #[command(flatten)]
    judging: Judging,
    /// Error of a pack reading, either way, such as `0.0002 in`.
    #[arg(long, value_name = "LENGTH")]
    pack_within: Option<String>,
    /// Error of a clearance reading, either way, such as `0.0005 in`.
    #[arg(long, value_name = "LENGTH")]
    clearance_within: Option<String>,
    #[command(flatten)]
    usual: CommonArgs,
}

const AFTER: &str = "\
At the bench:
  (type the readings into the coloured cells of the sheet Kits of
  kit-plan.xlsx: each finished pack, and each clearance after fitting. Save.)
  gapwright recheck kit-plan.xlsx stock.xlsx pumps.xlsx
        writes as-built.xlsx: which pumps are accepted, what to look into,
        which pieces to swap
  gapwright recheck plan.json stock.xlsx pumps.xlsx --found \"P-208:running clearance=0.0262 in\"
        a single reading
  gapwright recheck plan.json stock.xlsx pumps.xlsx --readings bench.csv
        readings from a list: columns Tag, What, Reading

Each reading is compared with its prediction. If they differ by more than the
errors of both, something is wrong: the record lists the likely causes, and
offers no swap before a second reading, in the cell beside the first, says the
same. Write a gap between two blades as 0.021 to 0.022. If a requirement
is not met as found, the smallest swap puts it right; the gasket follows.
Record swapped pieces on the sheet Issue of the plan, then recheck again.

Manual: `gapwright help bench`. The record is for people to sign: the maker's
instructions, the site's procedures, local codes and a competent person
(licensed where required) decide.";

impl Args {
    fn files(&self) -> Files<'_> {
        let reads = [&self.plan, &self.stock, &self.pumps].into_iter();
        let reads = reads.chain(&self.readings);
        self.usual.files(reads, &self.out, Some(&self.json))
    }

    fn sources(&self, memory: &Memory) -> Sources {
        let within = given([
            ("Pack reading within", &self.pack_within),
            ("Clearance reading within", &self.clearance_within),
        ]);
        self.usual.sources(
            [&self.stock, &self.pumps],
            [self.judging.given(), within].concat(),
            memory,
        )
    }

    fn read(&self, memory: &mut Memory, problems: &mut Problems) -> Option<(Job, Back)> {
        let readings = self.readings.as_deref();
        if readings.is_some_and(|readings| output::is_same_file(readings, &self.plan)) {
            problems.add(from_command_line(
                format!("--readings {}", self.plan.display()),
                "a workbook other than the plan",
                "leave it out: the plan's own sheet Kits is read anyway",
            ));
        }
        let job = gathered_job(read::job(&self.sources(memory)), problems)?;
        let sources =
            BenchSources { plan: &self.plan, readings, found: &self.found, issued: self.issued };
        let back = gathered(read::bench(&sources, &job, memory), problems)?;
        Some((job, back))
    }
}

pub(super) fn run(args: &Args, common: &Common) -> Ended {
    let mut run = Run::begin(common, args.files());
    let (job, back) = run.read("reading the workbooks and the readings", |memory, problems| {
        args.read(memory, problems)
    })?;
    run.has_memory_for(&job, job.pumps.iter(), &args.pumps)?;
    let records = run.work("looking for the smallest swaps", |_| {
        Ok(recheck(&job, &back.benches, &mut back.left.clone()))
    })?;
    let verified = run.check(verify_recheck(job, records, &back.left))?;
    let date = run.date().to_string();
    let built =
        AsBuilt { recheck: &verified, plan_id: &back.plan_id, inputs: &back.inputs, date: &date };
    let status =
        run.deliver(as_built::workbook(&built), || formats::text(&json::recheck::record(&built)))?;
    tell(&verified, &run);
    Ok(status)
}

/// Reports the result on the terminal: every pump that stays open, with what to do.
fn tell(verified: &VerifiedRecheck, run: &Run) {
    let to = run.voice();
    let (job, records) = (verified.job(), verified.records());
    let count = |is: fn(&Decision) -> bool| records.iter().filter(|r| is(&r.decision)).count();
    out!(
        to,
        "{} of {} pump{} accepted as found; {} to look into, {} to swap, {} {NOT_FIT}; {} not fully read.",
        count(|d| matches!(d, Decision::Accept)),
        records.len(),
        if records.len() == 1 { "" } else { "s" },
        count(|d| matches!(d, Decision::Look(_))),
        count(|d| matches!(d, Decision::Swap(_))),
        count(|d| d.is_not_fit()),
        count(|d| matches!(d, Decision::Incomplete(_) | Decision::NotRead)),
    );
    let unread: Vec<&str> = job
        .pumps
        .iter()
        .zip(records)
        .filter(|(pump, record)| is_accepted_unmeasured(job, pump, record))
        .map(|(pump, _)| pump.tag.as_str())
        .collect();
    if !unread.is_empty() {
        must_see!(
            to,
            "  Accepted; pack not measured (pieces taken at nominal): {}.",
            unread.join(", ")
        );
    }
    for (pump, record) in job.pumps.iter().zip(records) {
        let quiet = match &record.decision {
            Decision::NotRead | Decision::Incomplete(_) => true,
            Decision::Accept => record.unexplained().is_empty(),
            _ => false,
        };
        if quiet {
            continue;
        }
        must_see!(to, "  {} {}:", pump.tag, decision(record));
        for step in to_do(job, pump, record) {
            must_see!(to, "    {step}");
        }
    }
    tell_not_measured(job, to);
    run.tell_written();
    out!(to, "Recheck after every swap: the record predicts, it does not prove.");
}
