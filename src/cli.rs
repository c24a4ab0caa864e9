//! The command line: arguments in, library calls, words out.

mod blank;
mod check;
mod findings;
mod issue;
mod kit;
mod listing;
mod manual;
mod plain;
mod provision;
mod recheck;
mod reorder;
mod settings;
mod stack;
mod table;
mod usage;
mod usual;
mod working;

use std::fmt::Arguments;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use clap::{Parser, Subcommand, ValueEnum};

use crate::problem::{Place, Problem, Problems};
use crate::read::Memory;
use crate::write;
use findings::Listing;

/// Prints a line on the terminal, as `println!` does but for two things: nobody reading on (`| head`)
/// is no failure, since the files stand by then and the exit status must say so; and nothing from an
/// input is acted on by the terminal. Standard output is left to the list where that was asked for.
macro_rules! say {
    ($($words:tt)*) => { $crate::cli::words(format_args!($($words)*)) };
}

/// The same on standard error.
macro_rules! complain {
    ($($words:tt)*) => { $crate::cli::line(std::io::stderr(), format_args!($($words)*)) };
}

/// The same as `say!` of what must never be missed: with `--quiet` it goes to standard error.
macro_rules! insist {
    ($($words:tt)*) => { $crate::cli::insisted(format_args!($($words)*)) };
}

use {complain, insist, say};

/// Everything went as asked.
const DONE: u8 = 0;
/// `check` alone: there are warnings, and no problems.
const WARNED: u8 = 1;
/// The inputs have problems; nothing was written.
const PROBLEMS: u8 = 2;
/// A file could not be written, or the program found a defect of its own; nothing was written.
const FAILED: u8 = 3;

/// What each exit status means, as the manual pages say it.
const EXIT_STATUSES: [(u8, &str); 4] = [
    (
        DONE,
        "All was done as asked. Pumps that cannot be kitted, or stay open, are said in words.",
    ),
    (
        WARNED,
        "Of check alone: there are warnings, and no problems.",
    ),
    (
        PROBLEMS,
        "The inputs have problems: all are listed with cell and mend, and nothing was written but the marked copy.",
    ),
    (
        FAILED,
        "A file could not be written; nothing was changed, unless it is said what was.",
    ),
];

/// Kits an outage of rebuilt pumps from one drawer of shims and gaskets.
///
/// Reads a stock workbook and a pump workbook, finds the least-waste pieces that bring every
/// pump to its running clearance and gasket allowance, proves them least, and writes a workbook
/// with picking list, kit slips, stack-up, what is short, and the stock after.
#[derive(Parser)]
#[command(name = "gapwright", version, max_term_width = 96, after_long_help = AFTER)]
struct Args {
    /// How problems and warnings are listed: `text` on standard error, or `json` on standard output
    /// (see `gapwright schema problems`).
    #[arg(
        long,
        global = true,
        value_enum,
        default_value_t = Listing::Text,
        value_name = "FORM",
        help_heading = EVERYWHERE
    )]
    problems: Listing,
    /// Memory that reading the workbooks may take, in megabytes; a file that asks for more is refused.
    #[arg(
        long,
        global = true,
        default_value_t = 512,
        value_name = "MB",
        help_heading = EVERYWHERE,
        value_parser = clap::value_parser!(u32).range(16..=65_536)
    )]
    memory: u32,
    /// Say nothing on standard output but what is asked for there; problems, warnings and what keeps a
    /// pump open go to standard error.
    #[arg(long, short, global = true, help_heading = EVERYWHERE)]
    quiet: bool,
    #[command(subcommand)]
    command: Command,
}

/// What heads the options that every command has.
const EVERYWHERE: &str = "For every command";

const AFTER: &str = "\
To begin:
  gapwright blank my-shop --model screwed-impeller
        writes my-shop/stock.xlsx and my-shop/pumps.xlsx with headings,
        units, notes and an invented example row; fill them in
  gapwright kit my-shop/stock.xlsx my-shop/pumps.xlsx
        chooses the pieces and writes kit-plan.xlsx
  gapwright check my-shop/stock.xlsx my-shop/pumps.xlsx --mark marked.xlsx
        only reads both; what is wrong is listed, and marked in a copy of
        the sheets
  gapwright stack my-shop/pumps.xlsx --stock my-shop/stock.xlsx
        works out the stack-up of each pump and writes stack-up.xlsx
  gapwright provision my-shop/stock.xlsx my-shop/pumps.xlsx
        before anything is measured: what to set aside for the ranges that
        are expected
  gapwright recheck kit-plan.xlsx my-shop/stock.xlsx my-shop/pumps.xlsx
        readings typed into the sheet Kits come back: accept, look into, or
        swap; writes as-built.xlsx
  gapwright issue kit-plan.xlsx my-shop/stock.xlsx
        after picking: writes the stock workbook for next time and adds to
        issue-log.xlsx
  gapwright reorder my-shop/stock.xlsx my-shop/pumps.xlsx
        what to buy so that every pump can be kitted, and back to level;
        writes purchase.xlsx

Exit status:
  0  all was done as asked (pumps that cannot be kitted are said on the terminal and on Short)
  1  `check` alone: there are warnings, and no problems
  2  the inputs have problems: all are listed with cell and mend, nothing was written but the
     marked copy that --mark asks for
  3  a file could not be written; nothing was changed, unless it is said what was

This program predicts, it does not prove a fit: measure the finished pack
and recheck the clearance. The maker's instructions, site procedures, local
codes and a competent person decide.";

#[derive(Subcommand)]
enum Command {
    /// Choose pieces for every pump of an outage and write the plan.
    Kit(kit::Args),
    /// Work out the tolerance stack-up of pumps: worst case, uncertainty, draws at random, sweeps.
    Stack(stack::Args),
    /// Read everything that `kit` reads and write nothing: what was read, and what is wrong.
    Check(check::Args),
    /// Before the outage is measured: what to set aside, and what that costs.
    Provision(provision::Args),
    /// Readings come back from the bench: accept, what to look into, the smallest swap; as-built record.
    Recheck(recheck::Args),
    /// Write off what a plan took, put back what came back, and keep the log of both.
    Issue(issue::Args),
    /// What to buy: whole packs for this outage, back to level, and which thicknesses to hold.
    Reorder(reorder::Args),
    /// Write empty stock and pump workbooks to start from.
    Blank(blank::Args),
    /// Print what a shell needs to complete commands and options.
    Completions {
        /// The shell.
        #[arg(value_enum)]
        shell: clap_complete::Shell,
    },
    /// Print the manual page, or write a page for every command.
    Man {
        /// Folder to write the pages into, gapwright.1, gapwright-kit.1 and so on.
        #[arg(long, value_name = "DIR")]
        out: Option<PathBuf>,
        /// Replace pages that are there already.
        #[arg(long)]
        force: bool,
    },
    /// Print the JSON Schema of a format for programs.
    Schema {
        /// Which: the plan of `kit --json`, what `provision --json` writes, the purchase of
        /// `reorder --json`, the record of `recheck --json`, or the list of `--problems json`.
        #[arg(value_enum, default_value_t = Format::Plan)]
        format: Format,
    },
}

/// A format for programs.
#[derive(Clone, Copy, ValueEnum)]
enum Format {
    Plan,
    Provision,
    Problems,
    Purchase,
    Recheck,
}

/// What holds for every command.
struct Common {
    /// How problems are listed.
    form: Listing,
    /// What reading the workbooks may take.
    memory: Memory,
}

/// Runs the command line.
pub fn main() -> ExitCode {
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(error) if usage::is_help(&error) => error.exit(),
        Err(error) => return ExitCode::from(usage::refuse(&error)),
    };
    findings::begin(args.problems);
    QUIET.store(args.quiet, Ordering::Relaxed);
    let common = Common {
        form: args.problems,
        memory: Memory::of_megabytes(args.memory),
    };
    let status = match args.command {
        Command::Kit(args) => kit::run(&args, &common),
        Command::Stack(args) => stack::run(&args, &common),
        Command::Check(args) => check::run(&args, &common),
        Command::Provision(args) => provision::run(&args, &common),
        Command::Recheck(args) => recheck::run(&args, &common),
        Command::Issue(args) => issue::run(&args, &common),
        Command::Reorder(args) => reorder::run(&args, &common),
        Command::Blank(args) => blank::run(&args, &common),
        Command::Completions { shell } => manual::completions(shell),
        Command::Man { out, force } => manual::pages(out.as_deref(), force, &common),
        Command::Schema { format } => {
            let schema = match format {
                Format::Plan => crate::formats::plan::schema(),
                Format::Provision => crate::write::provision::json::schema(),
                Format::Problems => crate::formats::problems::schema(),
                Format::Purchase => crate::write::purchase::json::schema(),
                Format::Recheck => crate::write::as_built::json::schema(),
            };
            line(
                std::io::stdout(),
                format_args!(
                    "{}",
                    serde_json::to_string_pretty(&schema).unwrap_or_default()
                ),
            );
            DONE
        }
    };
    ExitCode::from(status)
}

/// Writes lines; what cannot be written is lost, since there is nobody to tell.
fn line(mut to: impl Write, words: Arguments<'_>) {
    writeln!(to, "{}", plain::lines(&words.to_string())).ok();
}

/// Whether `--quiet` was given. Standard output is one for the whole process, and so is this.
static QUIET: AtomicBool = AtomicBool::new(false);

fn is_quiet() -> bool {
    QUIET.load(Ordering::Relaxed)
}

/// Writes lines of a command's account that must be seen.
fn insisted(words: Arguments<'_>) {
    match is_quiet() {
        true => line(std::io::stderr(), words),
        false => self::words(words),
    }
}

/// Writes lines of a command's account.
fn words(words: Arguments<'_>) {
    match findings::list_has_stdout() {
        _ if is_quiet() => {}
        true => line(std::io::stderr(), words),
        false => line(std::io::stdout(), words),
    }
}

/// A problem with the command line itself.
fn from_command_line(found: String, expected: &str, mend: &str) -> Problem {
    Problem::new(Place::file("command line"), found, expected, mend)
}

/// A plan that the checker does not let pass, as a problem.
fn defect(breaches: &[String]) -> Problem {
    Problem::new(
        Place::file("gapwright"),
        format!(
            "a plan that does not hold when it is worked out again: {}",
            breaches.join("; ")
        ),
        "a plan that holds",
        "this is a defect of gapwright: please report it with both workbooks",
    )
}

/// Where a command reads and writes, and the date that it prints.
struct Files<'a> {
    inputs: Vec<&'a PathBuf>,
    /// The workbook, given with `--out`.
    out: Option<&'a PathBuf>,
    /// The plan for programs, given with `--json`.
    json: Option<&'a PathBuf>,
    /// The marked copy, given with `--mark`.
    mark: Option<&'a PathBuf>,
    date: Option<&'a str>,
}

impl<'a> Files<'a> {
    /// What is wrong with them, before any is read.
    fn check(&self, problems: &mut Problems) {
        let mut wrong = |found: String, expected: &str, mend: &str| {
            problems.add(from_command_line(found, expected, mend));
        };
        if let Some(date) = self.date.filter(|date| !crate::day::is_date(date)) {
            let expected = "a date such as 2027-03-15";
            wrong(format!("--date {date}"), expected, "correct the date");
        }
        let is_workbook = |end: &std::ffi::OsStr| end.eq_ignore_ascii_case("xlsx");
        let outputs = self.outputs();
        for (option, path) in outputs.iter().filter(|(option, _)| *option != "--json") {
            if !path.extension().is_some_and(is_workbook) {
                let found = format!("{option} {}", path.display());
                let expected = "a file name ending in .xlsx";
                wrong(found, expected, "give the workbook such a name");
            }
        }
        for (_, output) in &outputs {
            for input in self.inputs.iter().filter(|input| same(input, output)) {
                let found = format!("{} both to be read and to be written", input.display());
                let expected = "an output that is no input";
                wrong(found, expected, "give the output another name");
            }
        }
        for (at, (option, path)) in outputs.iter().enumerate() {
            for (other, _) in outputs[at + 1..]
                .iter()
                .filter(|(_, also)| same(path, also))
            {
                let found = format!("{} for {option} and for {other}", path.display());
                wrong(found, "a file for each", "give one of them another name");
            }
        }
    }

    /// The marked copy, unless there is something wrong with its very name: then nothing may be
    /// written there, whatever else is wrong.
    fn fit_mark(&self) -> Option<&'a PathBuf> {
        let mark = self.mark?;
        let alone = Files {
            inputs: self.inputs.clone(),
            date: None,
            ..*self
        };
        let mut problems = Problems::new();
        alone.check(&mut problems);
        problems.none().then_some(mark)
    }

    /// The files to be written, each with its option.
    fn outputs(&self) -> Vec<(&'static str, &PathBuf)> {
        let outputs = [
            ("--out", self.out),
            ("--json", self.json),
            ("--mark", self.mark),
        ];
        let given = outputs.into_iter();
        given
            .filter_map(|(option, path)| Some((option, path?)))
            .collect()
    }

    /// Refuses what cannot be written, before the work and not after it.
    fn refuse(&self, force: bool) -> Result<(), write::WriteError> {
        let mut paths = self.outputs().into_iter().map(|(_, path)| path);
        paths.try_for_each(|path| write::refuse(path, force))
    }
}

/// A flag that Ctrl-C sets.
fn interrupt() -> Arc<AtomicBool> {
    let interrupt = Arc::new(AtomicBool::new(false));
    let flag = Arc::clone(&interrupt);
    // Without a handler an interrupt ends the program, which loses nothing that was there.
    ctrlc::set_handler(move || flag.store(true, Ordering::Relaxed)).ok();
    interrupt
}

/// The date that is given, or today's.
fn date(given: Option<&String>) -> String {
    given.map_or_else(|| jiff::Zoned::now().date().to_string(), String::clone)
}

/// Whether two paths name the same file, as far as can be told.
fn same(a: &Path, b: &Path) -> bool {
    let whole = |path: &Path| path.canonicalize().or_else(|_| std::path::absolute(path));
    a == b || matches!((whole(a), whole(b)), (Ok(a), Ok(b)) if a == b)
}
