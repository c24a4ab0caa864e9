//! The arguments of `reorder`.

use std::path::{Path, PathBuf};

use crate::cli::amounts::Amounts;
use crate::cli::book::OF_ISSUE_LOG;
use crate::cli::common_args::{CommonArgs, Json, Threads};
use crate::cli::files::Files;
use crate::cli::from_command_line;
use crate::cli::run::{Refusal, gathered, gathered_job};
use crate::cli::settings::Settings;
use crate::decimal::{Millionths, Money};
use crate::issue::log::{Log, Movement};
use crate::job::{Input, Job, NotMeasured};
use crate::length::Length;
use crate::outage::LedgerEntry;
use crate::outage_file::{OutageFile, is_outage_file};
use crate::problem::{Place, Problem, Problems};
use crate::read::{self, Memory, Sources};
use crate::reorder::{Refused, ReorderOptions, level, shelf};

/// Arguments of `reorder`.
#[derive(clap::Args)]
#[command(after_long_help = AFTER)]
pub(in crate::cli) struct Args {
    /// Stock workbook: .xlsx, .xlsm, .xlsb, .xls, .ods, .csv, or a folder of .csv files. Enter an item
    /// that could be bought and was never held as a row with 0 on hand.
    stock: PathBuf,
    /// Pump workbook: .xlsx, .xlsm, .xlsb, .xls, .ods, .csv, or a folder of .csv files.
    pumps: PathBuf,
    /// Workbook to write.
    #[arg(long, default_value = "purchase.xlsx", value_name = "FILE")]
    out: PathBuf,
    #[command(flatten)]
    json: Json,
    /// Spending limit for this outage; buys whatever serves the most pumps within it.
    #[arg(long, value_name = "MONEY", allow_hyphen_values = true)]
    budget: Option<String>,
    /// Outage file, or an issue log from before there was one; reorder points follow from it. May be given several
    /// times: an outage file holds the demand of one outage.
    #[arg(long, value_name = "FILE")]
    log: Vec<PathBuf>,
    /// Probability of no stock-out during a lead time (cycle service level).
    #[arg(long, default_value = "95 %", value_name = "PERCENT", allow_hyphen_values = true)]
    service: String,
    /// Cost of placing an order; gives, with --holding, how many packs to order at a time.
    #[arg(long, value_name = "MONEY", allow_hyphen_values = true)]
    order_cost: Option<String>,
    /// Cost of holding stock for a year, in percent of its price.
    #[arg(long, value_name = "PERCENT", allow_hyphen_values = true)]
    holding: Option<String>,
    /// Cost of a missing piece in an outage; gives how many to have ready.
    #[arg(long, alias = "lacking-cost", value_name = "MONEY", allow_hyphen_values = true)]
    shortage_cost: Option<String>,
    /// Number of outages to simulate for --shortage-cost.
    #[arg(long, default_value_t = 1000, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=100_000))]
    outages: u32,
    /// Range of totals that the shims of a fit code (or `gasket FIT`) must reach, instead of the totals
    /// of these pumps; may be given several times.
    #[arg(long, value_name = "FIT=LOW..HIGH")]
    range: Vec<String>,
    /// Step of the range, such as `0.5 thou` or `0.02 mm`.
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    step: Option<String>,
    /// Most shims in one pump for the range, instead of the number in the models.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=16))]
    pieces: Option<u32>,
    #[command(flatten)]
    settings: Settings,
    #[command(flatten)]
    pub(super) threads: Threads,
    #[command(flatten)]
    usual: CommonArgs,
}

const AFTER: &str = "\
Examples:
  gapwright reorder stock.xlsx pumps.xlsx
        the cheapest whole packs that let every pump be kitted in time, as far
        as packs can; writes purchase.xlsx: Order by supplier, Pumps, Levels,
        Reach
  gapwright reorder stock.xlsx pumps.xlsx --budget 250
        the most pumps for 250, by priority, and the cheapest way to that
  gapwright reorder stock.xlsx pumps.xlsx --log issue-log.xlsx --order-cost 35 --holding \"20 %\"
        when to order each item again, and how much at a time, from past
        issues
  gapwright reorder stock.xlsx pumps.xlsx --log spring.outage --log autumn.outage
        the same from the bags of past outages
  gapwright reorder stock.xlsx pumps.xlsx --range \"F6=1 thou .. 125 thou\" --pieces 3
        which shims of fit F6 to hold so that at most 3 pieces make every
        total of the range

Columns of the stock workbook that only this command reads: Max level, Lead
days (calendar days), Supplier. An item is for sale if it names a supplier, a
pack or lead days; then it needs Unit cost (of one piece) and Pack qty if a
pump that is short could use it. A pump with a Due date before a pack can
arrive takes from what is on hand only.

Manual: `gapwright help buying`. Measure what comes in, enter it in the stock,
and plan again with `gapwright kit`.";

/// An issue log, and its file as an input.
fn issue_log(path: &Path, memory: &Memory, problems: &mut Problems) -> Option<(Log, Input)> {
    let file = path.display().to_string();
    let read = read::issue_log(path, &mut memory.clone()).map(|read| (read, Vec::new()));
    match gathered(read, problems)? {
        (log, Some(sha256)) => Some((log, Input { role: "issue log".into(), file, sha256 })),
        (_, None) => {
            problems.add(Problem::new(
                Place::file(&file),
                "no such file",
                "an outage file, or an issue log",
                "correct the name, or leave --log out",
            ));
            None
        }
    }
}

/// The use of the stock in an outage, and its file as an input. Beside issue logs, the lines that it took over from one
/// are theirs, and are not counted twice.
fn ledger(path: &Path, with_logs: bool, problems: &mut Problems) -> Option<(Log, Input)> {
    let file = path.display().to_string();
    let opened = OutageFile::open(path).map_err(|error| problems.add(error.problem(&file)));
    let opened = opened.ok()?;
    let sha256 = opened.outage().head().hash;
    let counts =
        |entry: &LedgerEntry| !(with_logs && entry.facts.request.starts_with(OF_ISSUE_LOG));
    let mut log = Log::new();
    let usage = opened.outage().usage(&counts);
    for (date, moved) in usage {
        log.append(date, vec![moved]);
    }
    Some((log, Input { role: "outage file (hash of its last entry)".into(), file, sha256 }))
}

/// The logs as one, in the order of their days; none where there is none.
fn joined(mut logs: Vec<Log>) -> Option<Log> {
    if logs.len() < 2 {
        return logs.pop();
    }
    let entries = logs.iter().flat_map(Log::entries);
    let mut lines: Vec<(&str, &Movement)> =
        entries.map(|entry| (entry.date.as_str(), &entry.movement)).collect();
    lines.sort_by_key(|(date, _)| *date);
    let mut all = Log::new();
    for (date, moved) in lines {
        all.append(date, vec![moved.clone()]);
    }
    Some(all)
}

/// Job and log as they were read, with the options.
pub(super) struct Reading {
    pub(super) job: Job,
    pub(super) log: Option<Log>,
    pub(super) question: ReorderOptions,
    pub(super) budget: Option<Money>,
}

impl Args {
    pub(super) fn files(&self) -> Files<'_> {
        let reads = [&self.stock, &self.pumps].into_iter().chain(&self.log);
        self.usual.files(reads, &self.out, Some(&self.json))
    }

    fn sources(&self, memory: &Memory) -> Sources {
        self.usual.sources([&self.stock, &self.pumps], self.settings.given(), memory)
    }

    pub(super) fn read(
        &self,
        date: &str,
        memory: &mut Memory,
        problems: &mut Problems,
    ) -> Option<Reading> {
        let (question, budget) = self.question(date, problems);
        let logs = self.logs(memory, problems);
        let mut job = gathered_job(read::job(&self.sources(memory)), problems)?;
        // Packs cannot be bought for a need that is not known.
        let missing = job.not_measured.iter().flat_map(NotMeasured::problems);
        missing.for_each(|problem| problems.add(problem));
        shelf::unknown_ranges(&job, &question, problems);
        level::ask_lead_days(&job, problems);
        for (log, input) in &logs {
            for warning in read::log_beside_stock(log, &job, &input.file, date) {
                job.warnings.push(warning.clone());
                problems.warn(warning);
            }
            job.inputs.push(input.clone());
        }
        let log = joined(logs.into_iter().map(|(log, _)| log).collect());
        Some(Reading { job, log, question, budget })
    }

    /// Every log that is given, with its file as an input.
    fn logs(&self, memory: &Memory, problems: &mut Problems) -> Vec<(Log, Input)> {
        let (outages, logs): (Vec<&PathBuf>, Vec<&PathBuf>) =
            self.log.iter().partition(|path| is_outage_file(path));
        let with_logs = !logs.is_empty();
        let mut all = Vec::new();
        all.extend(logs.into_iter().filter_map(|path| issue_log(path, memory, problems)));
        all.extend(outages.into_iter().filter_map(|path| ledger(path, with_logs, problems)));
        all
    }

    /// A question that has no answer.
    pub(super) fn refusal(&self, refused: Refused, reading: &Reading) -> Refusal {
        match refused {
            Refused::Choose(error) => {
                let [stock, pumps] =
                    [&self.stock, &self.pumps].map(|path| path.display().to_string());
                error.problem(&stock, &pumps).into()
            }
            Refused::Lacking(lacking) => {
                let mut problems = Problems::new();
                lacking.iter().for_each(|one| one.say(&reading.job, &mut problems));
                Refusal::Problems(problems)
            }
            Refused::Date => from_command_line(
                format!("--date {}", reading.question.date),
                "a date such as 2027-03-15",
                "correct the date",
            )
            .into(),
        }
    }

    /// The options as amounts; wrong ones are added to the problems.
    fn question(&self, date: &str, problems: &mut Problems) -> (ReorderOptions, Option<Money>) {
        let mut amounts = Amounts(problems);
        let mut money = |option, text: &Option<String>, least| {
            let text = text.as_ref()?;
            amounts.money(option, text, least)
        };
        let budget = money("--budget", &self.budget, 0);
        let order = money("--order-cost", &self.order_cost, 1);
        let shortage = money("--shortage-cost", &self.shortage_cost, 1);
        let fix = "write it as in \"95 %\"";
        let service = amounts.percent(
            ("--service", &self.service),
            |percent| (100..100_000_000).contains(&percent),
            ("a percentage above 0 and below 100", fix),
        );
        let holding = self.holding.as_ref().and_then(|text| {
            amounts.percent(
                ("--holding", text),
                |percent| (100..1_000_000_000).contains(&percent),
                ("a percentage above 0 and below 1000", fix),
            )
        });
        let step = self.step.as_ref();
        let step =
            step.and_then(|text| amounts.length("--step", text, "write it as in \"0.5 thou\""));
        let ranges = self.range.iter().filter_map(|text| range(text, problems));
        let question = ReorderOptions {
            levels: level::LevelOptions {
                service: service.unwrap_or(Millionths::from_raw(950_000)),
                order,
                holding,
                lacking: shortage,
            },
            outages: self.outages,
            step,
            ranges: ranges.collect(),
            pieces: self.pieces,
            date: date.to_string(),
        };
        (question, budget)
    }
}

/// A range of totals of a kind and fit code: `F6=1 thou..125 thou`, `gasket F6=0.060 in..0.125 in`.
fn range(text: &str, problems: &mut Problems) -> Option<(String, String, Length, Length)> {
    let read = || {
        let (drawer, ends) = text.split_once('=')?;
        let (low, high) = ends.split_once("..")?;
        let length = |text: &str| Length::parse(text.trim(), None).ok();
        let drawer = drawer.trim();
        let named = drawer.split_once(' ').map(|(kind, fit)| (kind.to_lowercase(), fit.trim()));
        let (kind, fit) = match named {
            Some((kind, fit)) if ["shim", "gasket"].contains(&kind.as_str()) => (kind, fit),
            _ => ("shim".into(), drawer),
        };
        Some((kind, fit.to_string(), length(low)?, length(high)?))
    };
    let Some((kind, fit, low, high)) = read() else {
        let expected = "a fit code, an equals sign, and two lengths with their units";
        let fix = "write it as in --range \"F6=1 thou .. 125 thou\", or \"gasket F6=...\"";
        problems.add(from_command_line(format!("--range {text}"), expected, fix));
        return None;
    };
    let mut wrong = |found: &str, expected: &str, fix: &str| {
        let found = format!("--range {text}, which {found}");
        problems.add(from_command_line(found, expected, fix));
    };
    if low < Length::ZERO {
        wrong("begins below zero", "a range from 0 or above", "correct its first length");
    } else if low > high {
        let expected = "a range that ends where it begins or above";
        wrong("ends before it begins", expected, "exchange the two lengths");
    } else {
        return Some((kind, fit, low, high));
    }
    None
}
