//! `gapwright verify`: the kits of a plan worked out again, and the proof that none are better added up; or an outage
//! file gone through from its first entry.

use std::path::{Path, PathBuf};

use super::common_args::CommonArgs;
use super::files::Files;
use super::kit::told::tell_not_measured;
use super::outage::open;
use super::run::{Ended, Refusal, Run, gathered, gathered_job};
use super::settings::Settings;
use super::voice::{must_see, out};
use super::{Common, DONE, MISSED, from_command_line};
use crate::certificate::Certificate;
use crate::choose::second::second_opinion;
use crate::cutting::Layout;
use crate::issue::carried::Carried;
use crate::issue::planned::PickStep;
use crate::job::{Job, JobError};
use crate::outage::Head;
use crate::outage_books::OutageBooks;
use crate::outage_file::{OutageFile, OutageFileError};
use crate::outage_job::job_with;
use crate::outage_kit::{Plays, Told};
use crate::plan::{Cause, Kit, Objective, Shortfall};
use crate::problem::{Place, Problem, Problems};
use crate::read::{self, Memory, Sources};
use crate::verify::{AddedUp, verify_certificate, verify_cut, verify_not_measured};
use crate::words;

/// Arguments of `verify`.
#[derive(clap::Args)]
#[command(after_long_help = AFTER)]
pub(super) struct Args {
    /// Plan that `kit` wrote: its workbook or its JSON. Or an outage file, NAME.outage, alone.
    plan: PathBuf,
    /// Stock workbook of the plan.
    stock: Option<PathBuf>,
    /// Pump workbook of the plan.
    pumps: Option<PathBuf>,
    /// Certificate that `kit --certificate` wrote with the plan.
    #[arg(long, value_name = "FILE")]
    certificate: Option<PathBuf>,
    /// Outage file that the plan was entered into: it has the workbooks, the bags and the stock of the plan.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["stock", "pumps"])]
    outage: Option<PathBuf>,
    /// Pump that was held when the plan was made, or `bagged`, as for `kit`.
    #[arg(long, value_name = "TAG", requires = "outage")]
    hold: Vec<String>,
    /// Pump whose bag could be opened at no cost when the plan was made, as for `kit`.
    #[arg(long, value_name = "TAG", requires = "outage")]
    reopen: Vec<String>,
    /// Entry that the outage file must hold, as it stands on paper: NUMBER-HASH. Finds an end that was cut off.
    #[arg(long, value_name = "NUMBER-HASH")]
    head: Option<String>,
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
  gapwright verify kit-plan.xlsx --outage week-12.outage --certificate proof.json
        the same for a plan of a running outage
  gapwright verify week-12.outage --head 26-3f0a9c1d77e2
        goes through the ledger from its first entry: numbers, hashes, rules
        and stock; and looks for the entry that was noted on paper

Give the rules that the plan was made by, as for `kit`, with its --hold and
--reopen. Of a plan with plates give its JSON, which has the layout of each
plate.

Exit status:
  0  every kit holds, and every goal is shown to be the best
  1  a kit does not hold, or a goal is not shown
  2  the inputs have problems";

impl Args {
    fn files(&self) -> Files<'_> {
        let others = [&self.stock, &self.pumps, &self.certificate, &self.outage];
        let reads = [&self.plan].into_iter().chain(others.into_iter().flatten());
        Files { writes: Vec::new(), ..self.usual.files(reads, Path::new(""), None) }
    }

    /// Inputs of a plan and its certificate; all belong to it.
    fn of_plan(&self, problems: &mut Problems) -> Option<(Of<'_>, &PathBuf)> {
        let books = self.stock.as_ref().zip(self.pumps.as_ref());
        let of = match (&self.outage, books) {
            (Some(outage), _) => Some(Of::Outage(outage)),
            (None, Some((stock, pumps))) => Some(Of::Books([stock, pumps])),
            (None, None) => None,
        };
        let found = match (of, &self.certificate, &self.head) {
            (Some(of), Some(certificate), None) => return Some((of, certificate)),
            (.., Some(_)) => "--head, and no outage file as PLAN",
            _ => "a plan without its workbooks or outage file, or without its certificate",
        };
        problems.add(from_command_line(
            found.into(),
            "PLAN STOCK PUMPS --certificate FILE, PLAN --outage NAME.outage --certificate FILE, or NAME.outage alone",
            "see `gapwright help verify`",
        ));
        None
    }

    /// Job of the pumps of a plan of a running outage: the ledger just before the plan, with the files that it took over.
    fn job_then(
        &self,
        path: &Path,
        carried: &Carried,
        memory: &Memory,
        problems: &mut Problems,
    ) -> Option<Job> {
        let name = path.display().to_string();
        let opened = OutageFile::open(path).map_err(|error| problems.add(error.problem(&name)));
        let file = opened.ok()?;
        let code = carried.planned.id();
        let Some(then) = file.outage().before_plan(&code) else {
            problems.add(Problem::new(
                carried.place.clone(),
                format!("the plan {code}"),
                format!("a plan that was entered into {name}"),
                "give the outage file of this plan",
            ));
            return None;
        };
        let unpacked = OutageBooks::unpack(&file, &then).map_err(|error| {
            problems.add(Problem::new(
                Place::file(&name),
                error.to_string(),
                "the workbooks of the plan",
                "see that the disk has room, and is sound",
            ));
        });
        let unpacked = unpacked.ok()?;
        let sources = Sources { memory: memory.clone(), ..unpacked.sources() };
        let job = job_with(&sources, &then, problems)?;
        let told = Told { hold: &self.hold, reopen: &self.reopen };
        let in_play = Plays::of(&job, &then, &told).job(&job, &then);
        let not_a_job = |error: JobError| {
            problems.add(Problem::new(
                Place::file(&name),
                error.to_string(),
                "a stock that a plan can be made from",
                "see `gapwright status`",
            ));
        };
        in_play.map_err(not_a_job).ok()
    }

    fn read(&self, memory: &mut Memory, problems: &mut Problems) -> Option<Read> {
        let (of, certificate) = self.of_plan(problems)?;
        let carried = read::carried(&self.plan, memory);
        let carried = gathered(carried.map(|carried| (carried, Vec::new())), problems);
        let (job, books) = match of {
            Of::Books(books) => {
                let paths = books.map(PathBuf::as_path);
                let sources = self.usual.sources(paths, self.settings.given(), memory);
                (gathered_job(read::job(&sources), problems), books)
            }
            Of::Outage(path) => {
                (self.job_then(path, carried.as_ref()?, memory, problems), [path, path])
            }
        };
        let carried = carried?;
        let certificate = read::certificate(certificate, &carried.planned.id());
        let certificate = gathered(certificate.map(|read| (read, Vec::new())), problems);
        let job = job?;
        let packs = read::packs_of_plan(&self.plan, &job, memory);
        let (packs, _) = gathered(packs.map(|read| (read, Vec::new())), problems)?;
        let listed = read::listed_not_measured(&self.plan, memory);
        let listed = gathered(listed.map(|listed| (listed, Vec::new())), problems)?;
        let mut lines = carried.planned.lines.iter();
        if self.outage.is_none() && lines.any(|line| line.step == PickStep::InBag) {
            problems.add(Problem::new(
                carried.place.clone(),
                "a plan in which bags stay closed",
                "a plan that needs nothing but its workbooks",
                "give its outage file instead of the workbooks: --outage NAME.outage",
            ));
        }
        let layouts = read::planned_layouts(&self.plan, &job);
        let layouts = gathered(layouts.map(|read| (read, Vec::new())), problems)?;
        let kits = job.pumps.iter().map(|pump| match packs.get(&pump.tag.to_lowercase()) {
            Some(packs) => Kit::Served(packs.clone()),
            None => Kit::Short(vec![Shortfall::of(None, Cause::SearchEnded)]),
        });
        let books = books.map(|path| path.display().to_string());
        let kits = kits.collect();
        Some(Read { kits, layouts, carried, listed, certificate: certificate?, job, books })
    }
}

/// Where the job of a plan comes from.
#[derive(Clone, Copy)]
enum Of<'a> {
    /// Stock and pump workbook.
    Books([&'a PathBuf; 2]),
    /// The outage file that it was entered into.
    Outage(&'a PathBuf),
}

/// Inputs as they are read.
struct Read {
    job: Job,
    kits: Vec<Kit>,
    layouts: Vec<Layout>,
    /// The plan's lines.
    carried: Carried,
    /// Tags of the pumps that the plan lists as not measured.
    listed: Vec<String>,
    certificate: Certificate,
    /// Names of the stock and the pump workbook.
    books: [String; 2],
}

/// Goes through an outage file. Opening it does that already: what is left is the entry on paper.
fn outage(args: &Args, common: &Common) -> Ended {
    let mut run = Run::begin(common, args.files());
    let given = [&args.stock, &args.pumps, &args.certificate, &args.outage];
    let given = given.into_iter().flatten().next();
    let head = run.read("reading the command line", |_, problems| {
        if let Some(given) = given {
            problems.add(from_command_line(
                format!("an outage file, and {}", given.display()),
                "an outage file alone",
                "leave the other files out",
            ));
        }
        let Some(text) = &args.head else { return Some(None) };
        let head = Head::parse(text);
        if head.is_none() {
            problems.add(from_command_line(
                format!("--head {text}"),
                "the end of a ledger as it stands on paper, such as 26-3f0a9c1d77e2",
                "type it again, with at least twelve characters after the number",
            ));
        }
        head.map(Some)
    })?;
    let file = open(&mut run, &args.plan)?;
    let through = head.map_or(Ok(()), |head| file.outage().goes_through(&head));
    let through = through.map_err(OutageFileError::from);
    let to = run.voice();
    if let Err(error) = through {
        must_see!(to, "Does not hold: {error}.");
        return run.end(MISSED);
    }
    let outage = file.outage();
    let left: i64 = outage.stock().map(|lot| lot.pieces).sum();
    let gone: u64 = outage.pieces_out().values().sum();
    out!(to, "Every entry holds: {}.", outage.entries().len());
    out!(to, "The stock adds up: {left} pieces in the bins, {gone} in bags and out.");
    out!(to, "The ledger ends at {}.", outage.head());
    run.end(DONE)
}

pub(super) fn run(args: &Args, common: &Common) -> Ended {
    if args.plan.extension().is_some_and(|end| end.eq_ignore_ascii_case("outage")) {
        return outage(args, common);
    }
    let mut run = Run::begin(common, args.files());
    let Read { job, kits, layouts, carried, listed, certificate, books: [stock, pumps] } = run
        .read("reading plan, certificate and workbooks", |memory, problems| {
            args.read(memory, problems)
        })?;
    let verified = run.work("adding up the certificate", |_| {
        let listed = verify_not_measured(&job, &listed);
        let verified = listed.and_then(|()| verify_certificate(job, kits, layouts, certificate));
        Ok::<_, Refusal>(verified.and_then(|verified| {
            verify_cut(&verified, &carried.planned.lines, &carried.returned)?;
            Ok(verified)
        }))
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
    if let Some(said) = words::ahead::held_back(job, plan) {
        out!(to, "{said}");
    }
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
            second_opinion(job, plan, &control)
                .map_err(|error| Refusal::from(error.problem(&stock, &pumps)))
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
