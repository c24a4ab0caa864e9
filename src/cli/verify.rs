//! `gapwright verify`: the kits of a plan worked out again, and the proof that none are better added up.

use std::path::{Path, PathBuf};

use super::common_args::CommonArgs;
use super::files::Files;
use super::kit::told::tell_not_measured;
use super::run::{Ended, Refusal, Run, gathered, gathered_job};
use super::settings::Settings;
use super::voice::{must_see, out};
use super::{Common, DONE, MISSED};
use crate::certificate::Certificate;
use crate::choose::second::second_opinion;
use crate::job::Job;
use crate::plan::{Cause, Kit, Objective, Shortfall};
use crate::problem::{Place, Problem, Problems};
use crate::read::{self, Memory, Sources};
use crate::verify::{AddedUp, verify_certificate, verify_not_measured};
use crate::words;

/// Arguments of `verify`.
#[derive(clap::Args)]
#[command(after_long_help = AFTER)]
pub(super) struct Args {
    /// Plan that `kit` wrote: its workbook or its JSON.
    plan: PathBuf,
    /// Stock workbook of the plan.
    stock: PathBuf,
    /// Pump workbook of the plan.
    pumps: PathBuf,
    /// Certificate that `kit --certificate` wrote with the plan.
    #[arg(long, value_name = "FILE")]
    certificate: PathBuf,
    /// Ask a general solver for a bound on the waste as well.
    #[arg(long)]
    second_opinion: bool,
    #[command(flatten)]
    settings: Settings,
    #[command(flatten)]
    usual: CommonArgs,
}

const AFTER: &str = "\
Examples:
  gapwright kit stock.xlsx pumps.xlsx --certificate proof.json
  gapwright verify kit-plan.xlsx stock.xlsx pumps.xlsx --certificate proof.json
        works every kit out again, lists all other kits by itself, and adds
        up that no choice kits more pumps or wastes less

Give the rules that the plan was made by, as for `kit`. A plan with plates is
added up by `kit` itself alone.

Exit status:
  0  every kit holds, and every goal is shown to be the best
  1  a kit does not hold, or a goal is not shown
  2  the inputs have problems";

impl Args {
    fn files(&self) -> Files<'_> {
        let reads = [&self.plan, &self.stock, &self.pumps, &self.certificate];
        Files { writes: Vec::new(), ..self.usual.files(reads, Path::new(""), None) }
    }

    fn sources(&self, memory: &Memory) -> Sources {
        self.usual.sources([&self.stock, &self.pumps], self.settings.given(), memory)
    }

    fn read(&self, memory: &mut Memory, problems: &mut Problems) -> Option<Read> {
        let job = gathered_job(read::job(&self.sources(memory)), problems);
        let carried = read::carried(&self.plan, memory);
        let carried = gathered(carried.map(|carried| (carried, Vec::new())), problems)?;
        let certificate = read::certificate(&self.certificate, &carried.planned.id());
        let certificate = gathered(certificate.map(|read| (read, Vec::new())), problems);
        let job = job?;
        let packs = read::packs_of_plan(&self.plan, &job, memory);
        let (packs, _) = gathered(packs.map(|read| (read, Vec::new())), problems)?;
        let listed = read::listed_not_measured(&self.plan, memory);
        let listed = gathered(listed.map(|listed| (listed, Vec::new())), problems)?;
        if !job.plates.is_empty() {
            problems.add(Problem::new(
                Place::file(&self.plan.display().to_string()),
                "plates that pieces are cut from",
                "a plan without plates",
                "let `gapwright kit` add it up: it does so before it writes",
            ));
        }
        let kits = job.pumps.iter().map(|pump| match packs.get(&pump.tag.to_lowercase()) {
            Some(packs) => Kit::Served(packs.clone()),
            None => Kit::Short(vec![Shortfall::of(None, Cause::SearchEnded)]),
        });
        Some(Read { kits: kits.collect(), listed, certificate: certificate?, job })
    }
}

/// Inputs as they are read.
struct Read {
    job: Job,
    kits: Vec<Kit>,
    /// Tags of the pumps that the plan lists as not measured.
    listed: Vec<String>,
    certificate: Certificate,
}

pub(super) fn run(args: &Args, common: &Common) -> Ended {
    let mut run = Run::begin(common, args.files());
    let Read { job, kits, listed, certificate } = run
        .read("reading plan, certificate and workbooks", |memory, problems| {
            args.read(memory, problems)
        })?;
    let verified = run.work("adding up the certificate", |_| {
        let listed = verify_not_measured(&job, &listed);
        Ok::<_, Refusal>(listed.and_then(|()| verify_certificate(job, kits, certificate)))
    })?;
    let to = run.voice();
    let verified = match verified {
        Ok(verified) => verified,
        Err(breaches) => {
            breaches.iter().for_each(|breach| must_see!(to, "Does not hold: {breach}."));
            return run.end(MISSED);
        }
    };
    let (job, plan) = (verified.job(), verified.plan());
    out!(to, "Every kit holds: {} of {}.", plan.served(), words::planned_for(job));
    tell_not_measured(job, to);
    for (goal, added_up) in plan.goals.iter().zip(verified.added_up()) {
        let name = words::objective(goal.objective);
        let value = words::goal_value(job, goal, goal.value);
        match added_up {
            AddedUp::Agrees => out!(to, "{name} {value}: proven; the bound was added up again."),
            AddedUp::Not(why) => {
                must_see!(to, "{name} {value}: not shown. Reason: {}.", words::not_shown(why));
            }
            AddedUp::Open => must_see!(to, "{name} {value}: open."),
        }
    }
    let mut shown = verified.proven();
    if args.second_opinion {
        let least = run.solve(&job.policy, |solving| {
            let control = solving.control("asking the general solver");
            second_opinion(job, plan, &control).map_err(|error| {
                let [stock, pumps] =
                    [&args.stock, &args.pumps].map(|path| path.display().to_string());
                Refusal::from(error.problem(&stock, &pumps))
            })
        })?;
        let waste = plan.goals.iter().find(|goal| goal.objective == Objective::Waste);
        let holds = waste.is_none_or(|goal| least.raw() <= goal.value);
        let bound = words::money_exactly(least.raw(), job);
        match holds {
            true => out!(
                to,
                "Second opinion, by a general solver: a plan that kits as many wastes {bound} at least."
            ),
            false => must_see!(
                to,
                "Second opinion, by a general solver: any plan wastes {bound} at least, which this one does not. \
                 One of the two is wrong: do not use the plan."
            ),
        }
        shown &= holds;
    }
    run.end(if shown { DONE } else { MISSED })
}
