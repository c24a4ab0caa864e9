//! `gapwright provision`: what to set aside before an outage is measured.

use std::io::IsTerminal;
use std::path::PathBuf;
use std::sync::Mutex;
use std::time::{Duration, Instant};

use super::findings::Findings;
use super::settings::Settings;
use super::usual::{Json, Threads, Usual};
use super::{Common, Files, complain, from_command_line, say};
use crate::choose::watch::{Step, Watch};
use crate::decimal::Millionths;
use crate::length::{Length, Unit};
use crate::outlook::{Outlook, usual_step};
use crate::problem::{Place, Problem, Problems};
use crate::provision::{Fault, Question, provision};
use crate::read::{self, Ahead, Sources};
use crate::verify::{VerifiedProvision, verify_provision};
use crate::words::provision as words;
use crate::write;
use crate::write::provision::Provided;

/// Arguments of `provision`.
#[derive(clap::Args)]
#[command(after_long_help = AFTER)]
pub(super) struct Args {
    /// Stock workbook: .xlsx, .xlsm, .xlsb, .xls, .ods, .csv, or a folder of .csv files.
    stock: PathBuf,
    /// Pump workbook; a dimension that is not measured yet has an empty cell, and the range that is
    /// expected in the columns `<dimension> low` and `<dimension> high`.
    pumps: PathBuf,
    /// Workbook of past readings: sheet `Past readings` with a column Model and one for each
    /// dimension, headed as in the pump workbook. It stands in where a pump has no range; an old
    /// pump workbook will do.
    #[arg(long, value_name = "FILE")]
    history: Option<PathBuf>,
    /// Values are looked at this far apart, unit and all; 0.0005 in, or 0.01 mm where a model is
    /// metric, unless given.
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    step: Option<String>,
    /// Percent of outages in which the trolley shall serve every pump.
    #[arg(
        long,
        default_value = "95",
        value_name = "PERCENT",
        allow_hyphen_values = true
    )]
    probability: String,
    /// Percent of pumps that the range taken from past readings holds.
    #[arg(
        long,
        default_value = "99",
        value_name = "PERCENT",
        allow_hyphen_values = true
    )]
    level: String,
    /// Outages drawn at random that the trolley is chosen for.
    #[arg(long, default_value_t = 500, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=100_000))]
    scenarios: u32,
    /// Other outages drawn at random, on which its service is counted.
    #[arg(long, default_value_t = 1_000, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=1_000_000))]
    checks: u32,
    /// Seed of the draws; that of the sheet Policy unless given, and 1 without one.
    #[arg(long, value_name = "N", allow_hyphen_values = true)]
    seed: Option<String>,
    /// Workbook to write.
    #[arg(long, default_value = "provision.xlsx", value_name = "FILE")]
    out: PathBuf,
    #[command(flatten)]
    json: Json,
    #[command(flatten)]
    settings: Settings,
    #[command(flatten)]
    threads: Threads,
    #[command(flatten)]
    usual: Usual,
}

const AFTER: &str = "\
Before the outage nothing is measured, but much is known: the range that a
clearance is expected in, or what pumps of the same model came to before.
Two answers, each with its price:

  safe kits   for each pump the least costly pieces that meet every value looked at, whatever
              the others come to
  trolley     the least costly pieces for all pumps together, shared, that serve the whole batch
              with the probability asked for; counted on outages that it was
              not chosen for

Both lean on what the drawers hold: a value that nothing in them will do for
is a gap, and said.

Examples:
  gapwright provision stock.xlsx pumps.xlsx
        ranges from the columns `Bare clearance low (in)` and `Bare
        clearance high (in)`
  gapwright provision stock.xlsx pumps.xlsx --history past.xlsx --level 99
        pumps without a range: as at least 8 past readings of their model
        say
  gapwright provision stock.xlsx pumps.xlsx --probability 99 --scenarios 2000 --checks 5000
        a safer trolley, and a narrower interval about its service; takes
        longer
  gapwright provision stock.xlsx pumps.xlsx --step \"0.0002 in\" --out spring.xlsx --json spring.json
        finer steps; the whole of it for programs

Pumps that are measured already count as they are. At the time limit, or at
Ctrl-C, what was found is written with its bounds.

Set aside is not set: measure each pump, then run `gapwright kit`.";

/// What the command line asks for, once it is understood.
struct Asked {
    step: Option<Length>,
    probability: Millionths,
    level: Millionths,
}

impl Args {
    fn files(&self) -> Files<'_> {
        let inputs = [Some(&self.stock), Some(&self.pumps), self.history.as_ref()];
        Files {
            inputs: inputs.into_iter().flatten().collect(),
            out: Some(&self.out),
            json: self.json.file(),
            mark: self.usual.mark.as_ref(),
            date: self.usual.date.as_deref(),
        }
    }

    fn sources(&self, common: &Common) -> Sources {
        let seed = self.seed.iter();
        let seed = seed.map(|seed| ("Seed".to_string(), seed.clone()));
        Sources {
            stock: self.stock.clone(),
            pumps: self.pumps.clone(),
            models: self.usual.models.clone(),
            settings: self.settings.given().into_iter().chain(seed).collect(),
            memory: common.memory.clone(),
        }
    }

    /// What is asked for, or what is wrong with the command line.
    fn asked(&self, common: &Common, problems: &mut Problems) -> Asked {
        self.files().check(problems);
        self.json.begin(common, problems);
        let step = self.step.as_ref().and_then(|text| {
            let step = Length::parse(text, None)
                .ok()
                .filter(|step| *step > Length::ZERO);
            if step.is_none() {
                problems.add(from_command_line(
                    format!("--step {text}"),
                    "a length above 0 with its unit",
                    "write it as in --step \"0.0005 in\" or --step \"0.01 mm\"",
                ));
            }
            step
        });
        let mut percent = |option: &str, text: &str, [least, most]: [i64; 2], words: &str| {
            let bare = text.trim().trim_end_matches('%').trim_end();
            let within = |n: &Millionths| (least..=most).contains(&n.raw()) && n.raw() % 100 == 0;
            let found = Millionths::parse(bare).filter(within);
            if found.is_none() {
                problems.add(from_command_line(
                    format!("{option} {text}"),
                    words,
                    "write 95 for 95 %, not 0.95",
                ));
            }
            Millionths::from_raw(found.map_or(950_000, |n| n.raw() / 100))
        };
        Asked {
            step,
            probability: percent(
                "--probability",
                &self.probability,
                [1_000_000, 100_000_000],
                "percent from 1 to 100, with at most four places",
            ),
            level: percent(
                "--level",
                &self.level,
                [50_000_000, 99_990_000],
                "percent from 50 to 99.99",
            ),
        }
    }

    /// A question that has no answer, as a problem.
    fn fault(&self, fault: &Fault) -> Problem {
        let [stock, pumps] = [&self.stock, &self.pumps].map(|path| path.display().to_string());
        match fault {
            Fault::Choose(error) => error.problem(&stock, &pumps),
            Fault::TooManyValues { tag, values, step } => Problem::new(
                Place::file(&pumps),
                format!("pump {tag}, which can come to {values} values"),
                format!(
                    "at most {} values of one pump",
                    crate::provision::MOST_VALUES
                ),
                format!(
                    "take steps of --step \"{}\" at least, or narrow its ranges",
                    crate::words::length(*step, crate::words::natural_unit(*step))
                ),
            ),
            other => Problem::new(
                Place::file(&pumps),
                other.to_string(),
                "a question that can be answered",
                "correct it",
            ),
        }
    }
}

pub(super) fn run(args: &Args, common: &Common) -> u8 {
    let start = Instant::now();
    let books = [Some(&args.stock), Some(&args.pumps), args.history.as_ref()];
    let books = books.into_iter().flatten().collect();
    let findings = Findings::marked(common, args.files().fit_mark(), books, args.usual.force);
    let mut problems = Problems::new();
    let asked = args.asked(common, &mut problems);
    let ahead = Ahead {
        history: args.history.clone(),
        level: asked.level,
        step: asked.step,
    };
    let reading = super::working::working("reading and checking the workbooks");
    let outlook = read::outlook(&args.sources(common), &ahead);
    drop(reading);
    let outlook = match outlook {
        Ok(outlook) if problems.none() => outlook,
        Ok(outlook) => {
            problems.absorb(Problems::of_warnings(outlook.job.warnings));
            return findings.refuse(problems);
        }
        Err(found) => {
            problems.absorb(found);
            return findings.refuse(problems);
        }
    };
    if let Err(error) = args.files().refuse(args.usual.force) {
        return findings.fail(error.problem(), outlook.job.warnings, &[]);
    }
    args.threads.begin();
    let question = Question {
        probability: asked.probability,
        scenarios: args.scenarios,
        checks: args.checks,
        seed: outlook.job.policy.seed,
        ..Question::new(asked.step.unwrap_or_else(|| step_of(&outlook)))
    };
    let interrupt = super::interrupt();
    let progress = Progress::new();
    let tell = |step: Step| progress.tell(step);
    let watch = Watch::since(start)
        .limit(Duration::from_secs(outlook.job.policy.time_limit.into()))
        .interrupted_by(&interrupt)
        .steps(&tell);
    let found = provision(&outlook, &question, &watch);
    progress.clear();
    let warnings = outlook.job.warnings.clone();
    let provision = match found {
        Ok(provision) => provision,
        Err(fault) => {
            let mut problems = Problems::of_warnings(warnings);
            problems.add(args.fault(&fault));
            return findings.refuse(problems);
        }
    };
    let verified = match verify_provision(outlook, provision) {
        Ok(verified) => verified,
        Err(breaches) => return findings.fail(super::defect(&breaches), warnings, &[]),
    };
    let provided = Provided::of(&verified, &question, asked.level);
    let date = super::date(args.usual.date.as_ref());
    let json = write::provision::json::text(&provided);
    let workbook = write::provision::workbook(&provided, &date);
    let delivered = args.json.deliver(
        &findings,
        warnings,
        (&args.out, workbook),
        &json,
        args.usual.force,
    );
    match delivered {
        Ok(status) => {
            account(&verified, &question, args);
            status
        }
        Err(status) => status,
    }
}

/// The step where none is given: the finest that is usual for a model of the outage.
fn step_of(outlook: &Outlook) -> Length {
    let units = outlook
        .job
        .models
        .iter()
        .map(|model| usual_step(model.unit));
    units.min().unwrap_or_else(|| usual_step(Unit::Inch))
}

/// The most pumps with gaps that are told on the terminal one by one.
const MOST_GAPS: usize = 20;

/// A short account on the terminal.
fn account(verified: &VerifiedProvision, question: &Question, args: &Args) {
    let (outlook, provision) = (verified.outlook(), verified.provision());
    let job = &outlook.job;
    if !job.unused.is_empty() {
        say!(
            "Carried through or left alone, not used: {}.",
            job.unused.join("; ")
        );
    }
    let unmeasured = provision
        .safe
        .iter()
        .filter(|kit| !kit.axes.is_empty())
        .count();
    say!(
        "{unmeasured} of {} pumps are not measured yet; values are looked at in steps of {}.",
        job.pumps.len(),
        crate::words::length(question.step, crate::words::natural_unit(question.step))
    );
    let price = |cost: Millionths| crate::words::money(cost.raw(), job);
    let (together, trolley) = (&provision.together, &provision.trolley);
    let pieces = |count: u32| match count {
        1 => "1 piece".to_string(),
        count => format!("{count} pieces"),
    };
    say!(
        "Safe kits together  {:>14}  {:>10}  {}",
        price(together.cost),
        pieces(together.count),
        words::safe_proof(provision, job)
    );
    say!(
        "Shared trolley      {:>14}  {:>10}  {}",
        price(trolley.cost),
        pieces(trolley.count),
        words::trolley_proof(provision, question, job)
    );
    say!("{}", words::chosen_for(provision, question));
    say!("Counted: it serves {}.", words::service(&provision.service));
    say!("{}", words::promise(provision, question));
    say!("{}", words::fits(job, together));
    if !trolley.sheets.is_empty() {
        say!(
            "The trolley asks for more than there is of sheets {}, unless several shapes are cut from one.",
            words::sheets(job, &trolley.sheets)
        );
    }
    for warning in words::warnings(job, provision, question) {
        complain!("WARNING {warning}");
    }
    let kits = provision.safe.iter().enumerate();
    let gaps = kits.filter_map(|(pump, kit)| words::gap_line(job, pump, kit));
    let gaps: Vec<String> = gaps.collect();
    for gap in gaps.iter().take(MOST_GAPS) {
        complain!("{} {gap}.", words::GAP);
    }
    if let Some(more @ 1..) = gaps.len().checked_sub(MOST_GAPS) {
        complain!(
            "{} for {more} pumps more; all stand on Coverage.",
            words::GAP
        );
    }
    if let Some(stop) = provision.stopped {
        say!(
            "Ended early by {}: these are the best found, with their bounds.",
            stop.words()
        );
    }
    say!("Wrote {}.", args.out.display());
    if let Some(json) = args.json.file() {
        say!("Wrote {}.", json.display());
    }
    say!("{}", words::CAUTION);
}

/// A line of progress on a terminal, once the work has taken a second.
struct Progress {
    shown: bool,
    start: Instant,
    last: Mutex<Option<Instant>>,
}

impl Progress {
    fn new() -> Progress {
        Progress {
            shown: std::io::stderr().is_terminal() && !super::is_quiet(),
            start: Instant::now(),
            last: Mutex::new(None),
        }
    }

    fn tell(&self, step: Step) {
        const PACE: Duration = Duration::from_millis(250);
        if !self.shown || self.start.elapsed() < Duration::from_secs(1) {
            return;
        }
        let Ok(mut last) = self.last.lock() else {
            return;
        };
        if last.is_some_and(|last| last.elapsed() < PACE) {
            return;
        }
        *last = Some(Instant::now());
        let what = crate::words::part(step.part);
        let of = match step.of {
            0 => String::new(),
            of => format!(" of {of}"),
        };
        eprint!(
            "\r\u{1b}[K{:.0} s  {what}: {}{of}  (Ctrl-C writes the best so far)",
            self.start.elapsed().as_secs_f64(),
            step.done
        );
    }

    fn clear(&self) {
        if self.shown && self.last.lock().is_ok_and(|last| last.is_some()) {
            eprint!("\r\u{1b}[K");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::Parser;

    #[derive(Parser)]
    struct Line {
        #[command(flatten)]
        args: Args,
    }

    fn asked(more: &[&str]) -> (Asked, u64) {
        let line = ["provision", "s.xlsx", "p.xlsx"].iter().chain(more);
        let args = Line::try_parse_from(line).map(|line| line.args).ok();
        let common = Common {
            form: crate::cli::findings::Listing::Text,
            memory: read::Memory::of_megabytes(16),
        };
        let mut problems = Problems::new();
        let asked = args.map(|args| args.asked(&common, &mut problems));
        (asked.unwrap(), problems.count())
    }

    #[test]
    fn percent_are_percent_and_steps_have_a_unit() {
        let (usual, none) = asked(&[]);
        assert_eq!(none, 0);
        assert_eq!(
            (usual.probability.raw(), usual.level.raw()),
            (950_000, 990_000)
        );
        assert!(usual.step.is_none());
        let (given, none) = asked(&[
            "--probability",
            "99.5 %",
            "--level",
            "95",
            "--step",
            "1/2 thou",
        ]);
        assert_eq!(none, 0);
        assert_eq!(
            (given.probability.raw(), given.level.raw()),
            (995_000, 950_000)
        );
        assert_eq!(given.step, Some(usual_step(Unit::Inch)));
        for wrong in [
            ["--probability", "0.95"],
            ["--probability", "101"],
            ["--probability", "-5"],
            ["--level", "100"],
            ["--step", "0.0005"],
            ["--step", "-0.01 mm"],
            ["--step", "thin"],
            ["--out", "s.xlsx"],
            ["--date", "tomorrow"],
        ] {
            assert_eq!(asked(&wrong).1, 1, "{wrong:?}");
        }
    }
}
