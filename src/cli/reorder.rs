//! `gapwright reorder`: what to buy, for this outage and back to level.

use std::collections::{BTreeMap, HashSet};
use std::path::PathBuf;
use std::time::{Duration, Instant};

use super::findings::Findings;
use super::kit::Progress;
use super::settings::Settings;
use super::usual::{Json, Threads, Usual};
use super::{Common, Files, defect, from_command_line, insist, say};
use crate::choose::watch::{News, Step, Watch};
use crate::decimal::{Millionths, Money};
use crate::issue::log::Log;
use crate::job::{Input, Job};
use crate::length::Length;
use crate::problem::{Place, Problem, Problems};
use crate::purchase::Lacking;
use crate::read::{self, Sources};
use crate::reorder::{Question, Refused, level, report, shelf};
use crate::words;
use crate::write::purchase::{self, Ordered};

/// Arguments of `reorder`.
#[derive(clap::Args)]
#[command(after_long_help = AFTER)]
pub(super) struct Args {
    /// Stock workbook: .xlsx, .xlsm, .xlsb, .xls, .ods, .csv, or a folder of .csv files. What could be
    /// bought and was never held is a row with 0 on hand.
    stock: PathBuf,
    /// Pump workbook: .xlsx, .xlsm, .xlsb, .xls, .ods, .csv, or a folder of .csv files.
    pumps: PathBuf,
    /// Workbook to write.
    #[arg(long, default_value = "purchase.xlsx", value_name = "FILE")]
    out: PathBuf,
    #[command(flatten)]
    json: Json,
    /// Spend no more than this on packs so that pumps can be kitted: the most that it serves.
    #[arg(long, value_name = "MONEY", allow_hyphen_values = true)]
    budget: Option<String>,
    /// Issue log that `gapwright issue` keeps: what reorder points follow from.
    #[arg(long, value_name = "FILE")]
    log: Option<PathBuf>,
    /// Chance that nothing lacks in a lead time.
    #[arg(
        long,
        default_value = "95 %",
        value_name = "PERCENT",
        allow_hyphen_values = true
    )]
    service: String,
    /// What it costs to place an order; with --holding: how many packs to order at a time.
    #[arg(long, value_name = "MONEY", allow_hyphen_values = true)]
    order_cost: Option<String>,
    /// What it costs to hold stock for a year, of its price.
    #[arg(long, value_name = "PERCENT", allow_hyphen_values = true)]
    holding: Option<String>,
    /// What it costs when a piece lacks in an outage: how many to have ready.
    #[arg(long, value_name = "MONEY", allow_hyphen_values = true)]
    lacking_cost: Option<String>,
    /// Outages to simulate for that.
    #[arg(long, default_value_t = 1000, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=100_000))]
    outages: u32,
    /// Reach of the shims of a fit code (or `gasket FIT`) over this range of totals, instead of what
    /// these pumps ask for; may be given several times.
    #[arg(long, value_name = "FIT=LOW..HIGH")]
    range: Vec<String>,
    /// Step of the range, such as `0.5 thou` or `0.02 mm`.
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    step: Option<String>,
    /// Most shims in one pump for the reach, instead of what the models say.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=16))]
    pieces: Option<u32>,
    #[command(flatten)]
    settings: Settings,
    #[command(flatten)]
    threads: Threads,
    #[command(flatten)]
    usual: Usual,
}

const AFTER: &str = "\
Examples:
  gapwright reorder stock.xlsx pumps.xlsx
        the cheapest whole packs with which every pump can be kitted that
        can be, in time; writes purchase.xlsx: Order by supplier, Pumps,
        Levels, Reach
  gapwright reorder stock.xlsx pumps.xlsx --budget 250
        the most that 250 serves, by priority; then the cheapest way to that
  gapwright reorder stock.xlsx pumps.xlsx --log issue-log.xlsx --order-cost 35 --holding \"20 %\"
        when to order each item again, and how much at a time, from what was
        issued
  gapwright reorder stock.xlsx pumps.xlsx --range \"F6=1 thou .. 125 thou\" --pieces 3
        which shims of fit F6 to hold so that every total of the range takes
        at most 3 pieces

What it reads of the stock workbook beside what `kit` reads: Unit cost (of
one piece), Pack qty, Lead days, Supplier, Min level, Max level. An item is
for sale if it names a supplier, a pack or lead days; then it needs Unit
cost and Pack qty if a pump that is short could use it. Lead days are
calendar days. A pump that is due (column Due) before a pack can be there
takes from what is on hand only; if that is why it stays short, it is said.

Measure what comes in before it counts, enter it in the stock, and plan anew
with `gapwright kit`.";

impl Args {
    fn files(&self) -> Files<'_> {
        let mut inputs = vec![&self.stock, &self.pumps];
        inputs.extend(&self.log);
        Files {
            inputs,
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

    /// What is asked, or what is wrong with it.
    fn question(&self, problems: &mut Problems) -> (Question, Option<Money>) {
        let mut wrong = |option: &str, text: &str, expected: &str, mend: &str| {
            problems.add(from_command_line(
                format!("{option} {text}"),
                expected,
                mend,
            ));
        };
        let mut money = |option: &str, text: Option<&String>, least: i64| -> Option<Money> {
            let text = text?;
            let read = Money::parse(text);
            let read = read.filter(|money| (least..=MOST_MONEY).contains(&money.raw()));
            if read.is_none() {
                let expected = match least {
                    0 => "an amount of money from 0 to a million million",
                    _ => "an amount of money above 0, to a million million",
                };
                wrong(
                    option,
                    text,
                    expected,
                    "type the plain number, without a currency",
                );
            }
            read
        };
        let budget = money("--budget", self.budget.as_ref(), 0);
        let order = money("--order-cost", self.order_cost.as_ref(), 1);
        let lacking = money("--lacking-cost", self.lacking_cost.as_ref(), 1);
        let mut percent = |option: &str, text: &str, most: i64| -> Option<Millionths> {
            let number = text.trim().trim_end_matches('%').trim_end();
            let read = Millionths::parse(number).map(|percent| percent.raw() / 100);
            let read = read.filter(|share| *share > 0 && *share < most);
            if read.is_none() {
                let expected = match most {
                    1_000_000 => "a percentage above 0 and below 100",
                    _ => "a percentage above 0 and below 1000",
                };
                wrong(option, text, expected, "write it as in \"95 %\"");
            }
            read.map(Millionths::from_raw)
        };
        let service = percent("--service", &self.service, 1_000_000);
        let holding = self.holding.as_ref();
        let holding = holding.and_then(|text| percent("--holding", text, 10_000_000));
        let mut length = |option: &str, text: &str| -> Option<Length> {
            match Length::parse(text.trim(), None) {
                Ok(length) => Some(length),
                Err(error) => {
                    let found = format!("{text}: {error}");
                    wrong(
                        option,
                        &found,
                        "a length with its unit",
                        "write it as in \"0.5 thou\"",
                    );
                    None
                }
            }
        };
        let step = self.step.as_ref().and_then(|text| length("--step", text));
        if let Some(text) = self
            .step
            .as_ref()
            .filter(|_| step.is_some_and(|step| step <= Length::ZERO))
        {
            let mend = "write it as in \"0.5 thou\"";
            let found = format!("--step {text}");
            problems.add(from_command_line(found, "a length above 0", mend));
        }
        let ranges = self.range.iter().filter_map(|text| range(text, problems));
        let question = Question {
            levels: level::Question {
                service: service.unwrap_or(Millionths::from_raw(950_000)),
                order,
                holding,
                lacking,
            },
            outages: self.outages,
            step,
            ranges: ranges.collect(),
            pieces: self.pieces,
            date: super::date(self.usual.date.as_ref()),
        };
        (question, budget)
    }
}

/// A million million, in millionths.
const MOST_MONEY: i64 = 1_000_000_000_000_000_000;

/// A range of totals of a kind and fit code: `F6=1 thou..125 thou`, `gasket F6=0.060 in..0.125 in`.
fn range(text: &str, problems: &mut Problems) -> Option<(String, String, Length, Length)> {
    let read = || {
        let (drawer, ends) = text.split_once('=')?;
        let (low, high) = ends.split_once("..")?;
        let length = |text: &str| Length::parse(text.trim(), None).ok();
        let drawer = drawer.trim();
        let named = drawer
            .split_once(' ')
            .map(|(kind, fit)| (kind.to_lowercase(), fit.trim()));
        let (kind, fit) = match named {
            Some((kind, fit)) if ["shim", "gasket"].contains(&kind.as_str()) => (kind, fit),
            _ => ("shim".into(), drawer),
        };
        Some((kind, fit.to_string(), length(low)?, length(high)?))
    };
    let Some((kind, fit, low, high)) = read() else {
        let expected = "a fit code, an equals sign, and two lengths with their units";
        let mend = "write it as in --range \"F6=1 thou .. 125 thou\", or \"gasket F6=...\"";
        problems.add(from_command_line(format!("--range {text}"), expected, mend));
        return None;
    };
    let mut wrong = |found: &str, expected: &str, mend: &str| {
        let found = format!("--range {text}, which {found}");
        problems.add(from_command_line(found, expected, mend));
    };
    if low < Length::ZERO {
        wrong(
            "begins below nothing",
            "a range from 0 or above",
            "correct its first length",
        );
    } else if low > high {
        let expected = "a range that ends where it begins or above";
        wrong("is upside down", expected, "exchange the two lengths");
    } else {
        return Some((kind, fit, low, high));
    }
    None
}

/// Ranges of drawers that there are not.
fn unknown_ranges(job: &Job, question: &Question, problems: &mut Problems) {
    let drawers = shelf::drawers(job);
    for (kind, fit, ..) in &question.ranges {
        let key = crate::stock::folded(fit);
        let same = |drawer: &(String, String, Vec<usize>)| {
            drawer.0 == *kind && crate::stock::folded(&drawer.1) == key
        };
        if drawers.iter().any(same) {
            continue;
        }
        let there: Vec<String> = drawers
            .iter()
            .take(12)
            .map(|(kind, fit, _)| format!("{kind} {fit}"))
            .collect();
        problems.add(from_command_line(
            format!("--range for {kind} {fit}, which no pump of this outage uses"),
            "a drawer that some pump uses",
            &format!("name one of them: {}", there.join(", ")),
        ));
    }
}

pub(super) fn run(args: &Args, common: &Common) -> u8 {
    let start = Instant::now();
    let books = vec![&args.stock, &args.pumps];
    let findings = Findings::marked(common, args.files().fit_mark(), books, args.usual.force);
    let mut problems = Problems::new();
    args.json.begin(common, &mut problems);
    args.files().check(&mut problems);
    let (question, budget) = args.question(&mut problems);
    let log = args.log.as_ref().and_then(|path| {
        let read = read::issue_log(path, &mut common.memory.clone());
        match read {
            Ok((log, Some(sha256))) => Some((log, sha256)),
            Ok((_, None)) => {
                problems.add(Problem::new(
                    Place::file(&path.display().to_string()),
                    "no such file",
                    "the issue log that `gapwright issue` keeps",
                    "correct the name, or leave --log out",
                ));
                None
            }
            Err(found) => {
                problems.absorb(found);
                None
            }
        }
    });
    let reading = super::working::working("reading and checking the workbooks");
    let read = read::job(&args.sources(common));
    drop(reading);
    let mut job = match read.inspect(|job| unknown_ranges(job, &question, &mut problems)) {
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
    let log = log.map(|(log, sha256)| {
        job.inputs.push(Input {
            role: "issue log".into(),
            file: args
                .log
                .as_ref()
                .map_or_else(String::new, |path| path.display().to_string()),
            sha256,
        });
        let file = args
            .log
            .as_ref()
            .map_or_else(String::new, |path| path.display().to_string());
        let differs = counted_otherwise(&job, &log, &file, &question.date);
        job.warnings.extend(differs);
        log
    });
    if let Err(error) = args.files().refuse(args.usual.force) {
        return findings.fail(error.problem(), job.warnings, &[]);
    }
    args.threads.begin();
    let interrupt = super::interrupt();
    let progress = Progress::new(job.policy.currency.clone());
    let tell = |news: News| progress.tell(news);
    let step = |step: Step| progress.step(step);
    let watch = |part: &str| {
        progress.say(part);
        Watch::since(start)
            .limit(Duration::from_secs(job.policy.time_limit.into()))
            .interrupted_by(&interrupt)
            .listener(&tell)
            .steps(&step)
    };
    let report = report(&job, &question, budget, log.as_ref(), watch);
    progress.clear();
    let report = match report {
        Ok(report) => report,
        Err(Refused::Breaches(breaches)) => {
            return findings.fail(defect(&breaches), job.warnings, &[]);
        }
        Err(refused) => {
            let mut problems = Problems::of_warnings(job.warnings.clone());
            match refused {
                Refused::Choose(error) => problems.add(error.problem(
                    &args.stock.display().to_string(),
                    &args.pumps.display().to_string(),
                )),
                Refused::Lacking(lacking) => {
                    lacking
                        .iter()
                        .for_each(|one| lacks(&job, *one, &mut problems));
                }
                Refused::Date => problems.add(from_command_line(
                    format!("--date {}", question.date),
                    "a date such as 2027-03-15",
                    "correct the date",
                )),
                Refused::Breaches(_) => {}
            }
            return findings.refuse(problems);
        }
    };
    let ordered = Ordered {
        job: &job,
        question: &question,
        report: &report,
    };
    let json = purchase::json::text(&ordered);
    let workbook = purchase::workbook(&ordered);
    let delivered = args.json.deliver(
        &findings,
        job.warnings.clone(),
        (&args.out, workbook),
        &json,
        args.usual.force,
    );
    match delivered {
        Ok(status) => {
            account(&ordered, args);
            status
        }
        Err(status) => status,
    }
}

/// Where the log and the stock, or the day of the order, do not go together: counts that differ, items
/// that are gone, lines from later days.
fn counted_otherwise(job: &Job, log: &Log, file: &str, date: &str) -> Vec<Problem> {
    let known: BTreeMap<String, (&str, u32)> = log
        .known()
        .map(|(item, count)| (crate::stock::folded(item), (item, count)))
        .collect();
    let (sheet, column) = (&job.stock_sheet.sheet, job.stock_sheet.on_hand_column);
    let lots: Vec<_> = job.stock.iter().filter(|lot| lot.cut.is_none()).collect();
    let mut warnings: Vec<Problem> = lots
        .iter()
        .filter_map(|lot| {
            let (_, counted) = *known.get(&crate::stock::folded(&lot.item))?;
            (counted != lot.on_hand).then(|| {
                Problem::new(
                    sheet.place(lot.row, column),
                    format!("{} on hand of {}", lot.on_hand, lot.item),
                    format!("{counted}, as the issue log's last line about it says"),
                    "if goods came in or were counted anew, record it with `gapwright issue --counted`; else it is another stock's log",
                )
            })
        })
        .collect();
    let names = lots.iter().map(|lot| &lot.item);
    let names = names.chain(job.sheets.iter().map(|lot| &lot.item));
    let there: HashSet<String> = names.map(|name| crate::stock::folded(name)).collect();
    let gone = known.iter().filter(|(key, _)| !there.contains(*key));
    let gone: Vec<&str> = gone.map(|(_, (item, _))| *item).collect();
    if !gone.is_empty() {
        warnings.push(Problem::new(
            Place::file(file),
            format!(
                "lines about items that the stock does not have: {}",
                gone.join(", ")
            ),
            "the log of this stock",
            "if an item was given another number, its past is not counted under the new one",
        ));
    }
    let later = log
        .entries()
        .iter()
        .filter(|entry| entry.date.as_str() > date)
        .count();
    if later > 0 {
        warnings.push(Problem::new(
            Place::file(file),
            format!("{later} lines from after {date}, the day of the order"),
            "a log up to that day",
            "nothing, if you look back on purpose: they are not counted; else correct --date",
        ));
    }
    warnings
}

/// What an item lacks to be bought, with the cell where it would stand.
fn lacks(job: &Job, lacking: Lacking, problems: &mut Problems) {
    let (sheet, item) = (&job.stock_sheet, &job.stock[lacking.item]);
    let mut add = |column: Option<u32>, name: &str, expected: &str, mend: &str| {
        let at = match column {
            Some(column) => sheet.sheet.place(item.row, column),
            None => sheet.sheet.place(item.row, 0),
        };
        let found = match column {
            Some(_) => format!(
                "no {name} of {}, which pumps that are short could use",
                item.item
            ),
            None => format!(
                "no column {name}, and {} is for sale and could serve pumps that are short",
                item.item
            ),
        };
        problems.add(Problem::new(at, found, expected, mend));
    };
    if lacking.price {
        let mend = "type what one piece costs; clear Supplier, Pack qty and Lead days if it is not to be bought";
        add(
            sheet.price_column,
            "Unit cost",
            "the price of one piece",
            mend,
        );
    }
    if lacking.pack {
        let mend = "type the pieces in a pack, 1 if they are sold singly; clear Supplier and Lead days if it is not to be bought";
        add(
            sheet.pack_column,
            "Pack qty",
            "how many pieces are sold together",
            mend,
        );
    }
}

/// A short account of the purchase on the terminal.
fn account(ordered: &Ordered<'_>, args: &Args) {
    let Ordered { job, report, .. } = ordered;
    let bought = report.bought.purchase();
    let all = job.pumps.len();
    say!(
        "{} of {all} pumps can be kitted from today's stock, {} after the buy ({} rule).",
        report.today.served(),
        bought.plan.served(),
        job.policy.acceptance
    );
    say!("{}", purchase::proof(job, report));
    for (item, line) in job.stock.iter().zip(&report.lines) {
        let packs = line.packs + line.bag_packs;
        if packs == 0 {
            continue;
        }
        let lead = match item.terms.lead_days {
            Some(days) => format!(
                ", there on {}",
                crate::day::written(report.market.today + i64::from(days))
            ),
            None => String::new(),
        };
        let price = item.terms.unit_cost.map_or(String::new(), |cost| {
            let pieces = i64::from(packs) * i64::from(item.pack_qty);
            format!(", {}", words::money(cost.raw().saturating_mul(pieces), job))
        });
        let from = item.terms.supplier.as_deref();
        let from = from.map_or(String::new(), |from| format!(" from {from}"));
        say!(
            "  {packs} pack{} of {} (of {}){from}{price}{lead}",
            if packs == 1 { "" } else { "s" },
            item.item,
            item.pack_qty
        );
    }
    let level: u32 = report
        .lines
        .iter()
        .map(|line| line.top_up.map_or(0, |t| t.packs))
        .sum();
    if level > 0 {
        let cost = job.stock.iter().zip(&report.lines).map(|(item, line)| {
            let pieces = i64::from(line.top_up.map_or(0, |top_up| top_up.pieces));
            item.terms
                .unit_cost
                .map_or(0, |cost| cost.raw().saturating_mul(pieces))
        });
        say!(
            "Back to level: {level} more pack{}, {}; see the sheet Order.",
            if level == 1 { "" } else { "s" },
            words::money(cost.fold(0, i64::saturating_add), job)
        );
    }
    for at in 0..all {
        if let Some(why) = purchase::still_short(ordered, at) {
            insist!("  {} still {}: {why}.", job.pumps[at].tag, words::NOT_FIT);
        }
    }
    for remark in purchase::remarks(ordered) {
        say!("{remark}");
    }
    say!("Wrote {}.", args.out.display());
    if let Some(json) = args.json.file() {
        say!("Wrote {}.", json.display());
    }
    say!("Measure what comes in before it counts, and plan anew with `gapwright kit`.");
}
