//! `gapwright kit`: the main job, workbook to workbook.

use std::io::IsTerminal;
use std::path::PathBuf;
use std::sync::Mutex;
use std::time::{Duration, Instant};

use super::findings::Findings;
use super::settings::Settings;
use super::table::{self, Row};
use super::usual::{Json, Threads, Usual};
use super::working::working;
use super::{Common, Files, complain, defect, insist, say};
use crate::choose::choose;
use crate::choose::watch::{News, Step, Watch};
use crate::choose::worth::valued;
use crate::decimal::Money;
use crate::decimal::show_money;
use crate::plan::{Aim, Kit, tightest};
use crate::problem::Problems;
use crate::read::{self, Sources};
use crate::verify::{Verified, verify};
use crate::{words, write};

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
Examples:
  gapwright kit stock.xlsx pumps.xlsx
        writes kit-plan.xlsx: picking list, kit slips, stack-up, what is
        short, stock after
  gapwright kit stock.xlsx pumps.xlsx --out week-12.xlsx --json week-12.json --force
        the plan for programs as well; replaces both if they are there
  gapwright kit stock.xlsx pumps.xlsx --mark marked.xlsx
        if the workbooks have problems: a copy of their sheets with the
        cells coloured and noted
  gapwright kit stock/ pumps.csv --models our-models --date 2027-03-15
        a folder of .csv files and one file; models of the shop; a date to
        print
  gapwright kit stock.xlsx pumps.xlsx --acceptance expanded --coverage-factor \"95 %\"
        a requirement is met if it is clear of its limits by the expanded
        uncertainty

The plan predicts: measure each finished pack and recheck each clearance.";

impl Args {
    fn files(&self) -> Files<'_> {
        Files {
            inputs: vec![&self.stock, &self.pumps],
            out: Some(&self.out),
            json: self.json.file(),
            mark: self.usual.mark.as_ref(),
            date: self.usual.date.as_deref(),
        }
    }

    fn sources(&self, common: &Common) -> Sources {
        Sources {
            stock: self.stock.clone(),
            pumps: self.pumps.clone(),
            models: self.usual.models.clone(),
            settings: self.settings.given(),
            memory: common.memory.clone(),
        }
    }
}

pub(super) fn run(args: &Args, common: &Common) -> u8 {
    let start = Instant::now();
    let books = vec![&args.stock, &args.pumps];
    let findings = Findings::marked(common, args.files().fit_mark(), books, args.usual.force);
    let mut problems = Problems::new();
    args.json.begin(common, &mut problems);
    args.files().check(&mut problems);
    let reading = working("reading and checking the workbooks");
    let job = read::job(&args.sources(common));
    drop(reading);
    let job = match job {
        Ok(job) if problems.none() => job,
        Ok(job) => {
            problems.absorb(Problems::of_warnings(job.warnings));
            return findings.refuse(problems);
        }
        Err(found) => {
            problems.absorb(found);
            return findings.refuse(problems);
        }
    };
    // Ask before the work, not after it.
    if let Err(error) = args.files().refuse(args.usual.force) {
        return findings.fail(error.problem(), job.warnings, &[]);
    }
    args.threads.begin();
    let interrupt = super::interrupt();
    let progress = Progress::new(job.policy.currency.clone());
    let tell = |news: News| progress.tell(news);
    let step = |step: Step| progress.step(step);
    let watch = Watch::since(start)
        .limit(Duration::from_secs(job.policy.time_limit.into()))
        .interrupted_by(&interrupt)
        .listener(&tell)
        .steps(&step);
    let chosen = choose(&job, &watch).map(|plan| valued(&job, plan, &watch));
    progress.clear();
    let plan = match chosen {
        Ok(plan) => plan,
        Err(error) => {
            let mut problems = Problems::of_warnings(job.warnings);
            problems.add(error.problem(
                &args.stock.display().to_string(),
                &args.pumps.display().to_string(),
            ));
            return findings.refuse(problems);
        }
    };
    let warnings = job.warnings.clone();
    let verified = match verify(job, plan) {
        Ok(verified) => verified,
        Err(breaches) => return findings.fail(defect(&breaches), warnings, &[]),
    };
    let date = super::date(args.usual.date.as_ref());
    let writing = working("writing the plan");
    let json = write::json::text(&verified);
    let workbook = write::workbook(&verified, &date);
    drop(writing);
    let delivered = args.json.deliver(
        &findings,
        warnings,
        (&args.out, workbook),
        &json,
        args.usual.force,
    );
    match delivered {
        Ok(status) => {
            account(&verified, args);
            status
        }
        Err(status) => status,
    }
}

/// The most gaskets that are warned of on the terminal one by one.
const MOST_WARNINGS: usize = 20;

/// A short account of the plan on the terminal.
fn account(verified: &Verified, args: &Args) {
    let (job, plan) = (verified.job(), verified.plan());
    let crushed = words::crush_warnings(job, plan);
    for text in crushed.iter().take(MOST_WARNINGS) {
        complain!("{text}");
    }
    if let Some(more @ 1..) = crushed.len().checked_sub(MOST_WARNINGS) {
        complain!("WARNING: so for {more} more gaskets; all stand on Summary.");
    }
    if !job.unused.is_empty() {
        say!(
            "Carried through or left alone, not used: {}.",
            job.unused.join("; ")
        );
    }
    say!(
        "{} of {} pump{} can be kitted ({} rule).",
        plan.served(),
        job.pumps.len(),
        if job.pumps.len() == 1 { "" } else { "s" },
        job.policy.acceptance
    );
    let goal = |aim| plan.goal(aim).map_or(0, |goal| goal.value);
    let pieces = goal(Aim::Pieces);
    say!(
        "Waste {}, {pieces} piece{}.",
        words::money(goal(Aim::Waste), job),
        if pieces == 1 { "" } else { "s" }
    );
    say!("{}", words::proof(job, plan));
    for line in table(verified) {
        say!("{line}");
    }
    for (pump, kit) in job.pumps.iter().zip(&plan.kits) {
        let Kit::Short(shorts) = kit else { continue };
        insist!("  {} {}:", pump.tag, words::NOT_FIT);
        for short in shorts {
            let place = words::place(job, pump, short);
            insist!("    {place}: {}.", words::reason(job, pump, short));
            if let Some(presumed) = words::presumed(job, pump, short) {
                insist!("    The window is for {presumed}.");
            }
            if let Some(nearest) = words::nearest(job, pump, short) {
                insist!("    Nearest total that can be made: {nearest}.");
            }
        }
    }
    let lacking = verified.bags().iter().filter(|bag| words::lacking(bag));
    let lacking = lacking.count();
    if lacking > 0 {
        insist!("Short of consumables: {lacking} of {} bags", plan.served());
        for lack in words::lacks(verified) {
            insist!("  {lack}.");
        }
    }
    say!("Wrote {}.", args.out.display());
    if let Some(json) = args.json.file() {
        say!("Wrote {}.", json.display());
    }
    say!(
        "Measure each finished pack and recheck each clearance: the plan predicts, it does not prove."
    );
}

/// The most pumps with a whole kit that the table on the terminal shows.
const MOST_WELL: usize = 40;

/// Every pump with its standing, and of its tightest requirement what it comes to.
fn table(verified: &Verified) -> Vec<String> {
    let (job, plan) = (verified.job(), verified.plan());
    let kits = job.pumps.iter().zip(&plan.kits).zip(verified.bags());
    let rows: Vec<Row> = kits
        .map(|((pump, kit), bag)| {
            let unit = job.model_of(pump).unit;
            let tightest = match kit {
                Kit::Served(packs) => tightest(job, pump, packs),
                Kit::Short(_) => None,
            };
            let [value, limits] = tightest.map_or_else(Default::default, |(_, v)| {
                let limits = format!("{} to {}", v.lower.show(unit), words::fine(v.upper, unit));
                [words::about(v.value, unit), limits]
            });
            let standing = words::standing(kit, bag);
            Row {
                cells: vec![pump.tag.clone(), standing.to_string(), value, limits],
                loud: matches!(kit, Kit::Short(_)) || words::lacking(bag),
            }
        })
        .collect();
    table::lines(
        &["Pump", "Standing", "Tightest", "Limits"],
        &rows,
        MOST_WELL,
    )
}

/// A line of progress on a terminal, once the work has taken a second.
pub(super) struct Progress {
    shown: bool,
    currency: String,
    last: Mutex<Option<Instant>>,
    start: Instant,
}

impl Progress {
    pub(super) fn new(currency: String) -> Progress {
        let shown = std::io::stderr().is_terminal() && !super::is_quiet();
        Progress {
            shown,
            currency: super::plain::one_line(&currency).into_owned(),
            last: Mutex::new(None),
            start: Instant::now(),
        }
    }

    pub(super) fn tell(&self, news: News) {
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
        let show = |value: i64| match news.aim {
            Aim::Waste | Aim::Purchase => {
                format!("{} {}", show_money(Money::from_raw(value)), self.currency)
            }
            Aim::ServedWeight | Aim::ServedOf(_) => (-value).to_string(),
            _ => value.to_string(),
        };
        eprint!(
            "\r\u{1b}[K{:.0} s  {} pumps  {}: {}, bound {}, gap {}, open {}  (Ctrl-C writes the best so far)",
            news.elapsed.as_secs_f64(),
            news.pumps,
            words::aim(news.aim),
            show(news.value),
            show(news.bound),
            show((news.value - news.bound).abs()),
            news.open,
        );
    }

    /// How far a part of the work is.
    pub(super) fn step(&self, step: Step) {
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
        let seconds = self.start.elapsed().as_secs();
        let (part, done, of) = (words::part(step.part), step.done, step.of);
        eprint!("\r\u{1b}[K{seconds} s  {part}: {done} of {of}  (Ctrl-C goes on without)");
    }

    pub(super) fn say(&self, what: &str) {
        if self.shown && self.start.elapsed() >= Duration::from_secs(1) {
            if let Ok(mut last) = self.last.lock() {
                *last = Some(Instant::now());
            }
            eprint!("\r\u{1b}[K{what} (Ctrl-C goes on without)");
        }
    }

    pub(super) fn clear(&self) {
        if self.shown && self.last.lock().is_ok_and(|last| last.is_some()) {
            eprint!("\r\u{1b}[K");
        }
    }
}
