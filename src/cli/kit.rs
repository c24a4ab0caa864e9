//! `gapwright kit`: the main job, workbook to workbook.

pub(super) mod outage;
pub(super) mod told;

use std::path::{Path, PathBuf};

use super::Common;
use super::common_args::{CommonArgs, Json, Threads};
use super::files::Files;
use super::run::{Ended, Refusal, Run, Solving, gathered_job, use_threads};
use super::settings::Settings;
use super::voice::{out, warning};
use crate::analysis::with_cures;
use crate::choose::choose;
use crate::choose::holding::with_holding;
use crate::choose::worth::valued;
use crate::job::Job;
use crate::json;
use crate::outage::PlaceInOutage;
use crate::plan::Plan;
use crate::provision::{to_hold_back, with_left};
use crate::read::{self, Ahead, Memory, Sources};
use crate::verify::{Verified, verify};
use crate::words;
use crate::write::{self, PlanParts, StackUps};

/// Arguments of `kit`.
#[derive(clap::Args)]
#[command(after_long_help = AFTER)]
pub(super) struct Args {
    /// Stock workbook: .xlsx, .xlsm, .xlsb, .xls, .ods, .csv, or a folder of .csv files.
    stock: PathBuf,
    /// Pump workbook: .xlsx, .xlsm, .xlsb, .xls, .ods, .csv, or a folder of .csv files.
    pumps: PathBuf,
    /// Workbook to write.
    #[arg(long, default_value = "kit-plan.xlsx", value_name = "FILE")]
    out: PathBuf,
    /// Also write the certificate: what proves that no choice is better, for `gapwright verify`.
    #[arg(long, value_name = "FILE")]
    certificate: Option<PathBuf>,
    /// Workbook of past readings, for pumps that are not measured and have no range: a sheet `Past readings` with a column
    /// Model and one per dimension. It counts how often the plan leaves enough for them.
    #[arg(long, value_name = "FILE")]
    history: Option<PathBuf>,
    /// Hold back the pieces that pumps not measured will probably need, as far as no pump is kitted less for it: before bags
    /// reopened, and before waste. Their ranges or past readings must be known.
    #[arg(long)]
    keep_for_unmeasured: bool,
    /// Outage file to begin or to continue, NAME.outage: plans on the stock of its ledger, leaves bags that are packed or
    /// at the bench alone, and enters the plan.
    #[arg(long, value_name = "FILE")]
    outage: Option<PathBuf>,
    /// Counts that hold where the stock workbook differs from the ledger.
    #[arg(long, value_name = "WHICH", value_enum, requires = "outage")]
    counts: Option<outage::Counts>,
    /// Keep the kit of this pump as it is, or of every pump whose bag is packed: `--hold bagged`. A held kit that no longer
    /// conforms is not served.
    #[arg(long, value_name = "TAG", requires = "outage")]
    hold: Vec<String>,
    /// Let the bag of this pump be opened again, at no cost.
    #[arg(long, value_name = "TAG", requires = "outage")]
    reopen: Vec<String>,
    /// Slips and labels to print: all, or those that changed since the plan before.
    #[arg(long, value_name = "WHICH", value_enum, requires = "outage", default_value_t = Slips::All)]
    slips: Slips,
    #[command(flatten)]
    json: Json,
    /// Stack-ups to write: of all kits, of pumps that are NOT FIT TO ASSEMBLE alone (with their nearest
    /// kits), or none; see `gapwright help sheets`.
    #[arg(long, value_name = "WHICH", value_enum, default_value_t = Which::All)]
    stack_up: Which,
    #[command(flatten)]
    settings: Settings,
    #[command(flatten)]
    threads: Threads,
    #[command(flatten)]
    usual: CommonArgs,
}

/// Pumps whose stack-ups are written.
#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum Which {
    All,
    Short,
    None,
}

/// Slips and labels to print.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Slips {
    All,
    Changed,
}

impl From<Which> for StackUps {
    fn from(which: Which) -> StackUps {
        match which {
            Which::All => StackUps::All,
            Which::Short => StackUps::Short,
            Which::None => StackUps::None,
        }
    }
}

const AFTER: &str = "\
Examples:
  gapwright kit stock.xlsx pumps.xlsx
        writes kit-plan.xlsx: picking list, kit slips, stack-up,
        shortages, stock after
  gapwright kit stock.xlsx pumps.xlsx --out week-12.xlsx --json week-12.json --force
        the plan for other programs as well; replaces both files
  gapwright kit stock.xlsx pumps.xlsx --mark marked.xlsx
        if the workbooks have problems: a copy of their sheets with the
        wrong cells coloured and noted
  gapwright kit stock/ pumps.csv --models our-models --date 2027-03-15
        a folder of .csv files and one file; models of the shop; a date to
        print
  gapwright kit stock.xlsx pumps.xlsx --certificate proof.json
        the proof as well, for `gapwright verify`
  gapwright kit stock.xlsx pumps.xlsx --acceptance expanded --coverage-factor \"95 %\"
        a requirement is met if it keeps clear of its limits by the
        expanded uncertainty
  gapwright kit stock.xlsx pumps.xlsx --outage week-12.outage
        begins or continues a running outage; see `gapwright help running`
  gapwright kit stock.xlsx pumps.xlsx --outage week-12.outage --hold bagged
        no bag is opened again, whatever it costs
  gapwright kit stock.xlsx pumps.xlsx --history past.xlsx --keep-for-unmeasured
        holds back what pumps that are not measured will probably need, and
        counts how often that will do

Manual: `gapwright help sheets` (the workbook), `gapwright help rules` (which
plan is best), `gapwright help workbooks` (the columns).

The plan predicts: measure each finished pack and recheck each clearance.";

impl Args {
    fn files(&self) -> Files<'_> {
        let reads = [&self.stock, &self.pumps].into_iter().chain(&self.history);
        let certificate = self.certificate.iter();
        let texts = certificate.map(|path| ("--certificate", path.clone())).collect();
        let outage = self.outage.as_deref();
        Files { texts, outage, ..self.usual.files(reads, &self.out, Some(&self.json)) }
    }

    fn sources(&self, memory: &Memory) -> Sources {
        let ahead = Ahead { history: self.history.clone(), ..Ahead::default() };
        let settings = self.settings.given();
        let usual = self.usual.sources([&self.stock, &self.pumps], settings, memory);
        Sources { ahead, ..usual }
    }

    /// Plan of a job, and the job with the pieces that are held back.
    fn plan(&self, mut job: Job, solving: &Solving) -> Result<(Job, Plan), Refusal> {
        let control = solving.control("choosing the pieces");
        let chosen = |job: &Job| {
            choose(job, &control).map_err(|error| {
                let paths = [&self.stock, &self.pumps].map(|path| path.display().to_string());
                Refusal::from(error.problem(&paths[0], &paths[1]))
            })
        };
        let mut plan = chosen(&job)?;
        if self.keep_for_unmeasured {
            match to_hold_back(&job, &plan, &control) {
                Ok(pieces) if !pieces.is_empty() => {
                    job = job.holding_back(pieces);
                    plan = chosen(&job)?;
                }
                none => warning!("{}", words::ahead::nothing_held_back(&job, none.err())),
            }
        }
        let plan = with_left(&job, plan, &control);
        // What is held back is out of the question from here on.
        let beside = plan.beside_held_back(&job);
        let plan = with_holding(&beside, valued(&beside, plan, &control), &control);
        Ok((job, with_cures(&beside, plan)))
    }

    /// Writes the plan and tells of it.
    fn deliver(&self, run: &mut Run, verified: &Verified, place: Option<&PlaceInOutage>) -> Ended {
        let workbook = run.write("writing the plan", |date| {
            let parts = PlanParts {
                stack_ups: self.stack_up.into(),
                place: place.cloned(),
                changed_slips_only: self.slips == Slips::Changed,
            };
            write::workbook_with(verified, date, parts)
        });
        let certificate = json::certificate(verified);
        let status = run.deliver_with(workbook, certificate, || json::text_in(verified, place))?;
        told::tell(verified, run);
        if let Some(slips) = self.slips(verified) {
            out!(run.voice(), "Slips for the printer: {slips}");
        }
        Ok(status)
    }

    /// Command that prints this plan; of a plan with plates only its JSON has all that is printed.
    fn slips(&self, verified: &Verified) -> Option<String> {
        let json = self.json.path().filter(|path| *path != Path::new("-"));
        let plan = match verified.job().plates.is_empty() {
            true => self.out.as_path(),
            false => json?,
        };
        let named = |path: &Path| {
            let path = path.display().to_string();
            if path.contains(char::is_whitespace) { format!("\"{path}\"") } else { path }
        };
        let paths = [plan, &self.stock, &self.pumps].map(named);
        let mut command = format!("gapwright slips {}", paths.join(" "));
        let models = self.usual.models.as_deref();
        for (option, path) in [("--models", models), ("--outage", self.outage.as_deref())] {
            if let Some(path) = path {
                command.push_str(&format!(" {option} {}", named(path)));
            }
        }
        // The rules follow from the workbooks, and from here where they were given here.
        match self.settings.given().is_empty() {
            true => Some(command),
            false => Some(format!("{command}, with the rules given here")),
        }
    }
}

pub(super) fn run(args: &Args, common: &Common) -> Ended {
    if let Some(path) = &args.outage {
        return outage::run(args, path, common);
    }
    let mut run = Run::begin(common, args.files());
    let job = run.read("reading and checking the workbooks", |memory, problems| {
        gathered_job(read::job(&args.sources(memory)), problems)
    })?;
    run.has_memory_for(&job, job.pumps.iter(), &args.pumps)?;
    use_threads(args.threads.threads);
    let policy = job.policy.clone();
    let (job, plan) = run.solve(&policy, |solving| args.plan(job, solving))?;
    let verified = run.check(verify(job, plan))?;
    args.deliver(&mut run, &verified, None)
}
