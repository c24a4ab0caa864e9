//! The command line: arguments in, library calls, words out.

mod amounts;
mod blank;
mod check;
mod files;
mod findings;
mod help;
mod interrupt;
mod issue;
mod kit;
mod listing;
mod manual;
mod plain;
mod progress;
mod provision;
mod recheck;
mod reorder;
mod run;
mod settings;
mod stack;
mod table;
mod usage;
mod usual;
mod voice;

use std::path::PathBuf;
use std::process::ExitCode;
use std::time::Instant;

use clap::{CommandFactory, FromArgMatches, Parser, Subcommand, ValueEnum};

use crate::problem::{Place, Problem};
use crate::read::Memory;
use findings::Listing;
use run::Stop;

/// Everything went as asked.
const DONE: u8 = 0;
/// `check` alone: there are warnings, and no problems.
const WARNED: u8 = 1;
/// The inputs have problems; nothing was written.
const PROBLEMS: u8 = 2;
/// A file could not be written, or the program found a defect of its own; nothing was written.
const FAILED: u8 = 3;
/// Ctrl-C ended the run at once, as a shell says it.
const INTERRUPTED: u8 = 130;

/// What each exit status means, as the manual pages say it.
const EXIT_STATUSES: [(u8, &str); 5] = [
    (DONE, "All was done as asked. Pumps that cannot be kitted, or stay open, are said in words."),
    (WARNED, "Of check alone: there are warnings, and no problems."),
    (
        PROBLEMS,
        "The inputs have problems: all are listed with cell and mend, and nothing was written but the marked copy.",
    ),
    (FAILED, "A file could not be written; nothing was changed, unless it is said what was."),
    (
        INTERRUPTED,
        "Ctrl-C ended the run at once; each output is the old file or the new one. The first Ctrl-C of a search only ends the search, and the best found is written.",
    ),
];

/// Kits an outage of rebuilt pumps from one drawer of shims and gaskets.
///
/// Reads a stock workbook and a pump workbook, finds the least-waste pieces that bring every
/// pump to its running clearance and gasket allowance, proves them least, and writes a workbook
/// with picking list, kit slips, stack-up, what is short, and the stock after.
#[derive(Parser)]
#[command(
    name = "gapwright",
    version,
    max_term_width = 96,
    disable_help_subcommand = true,
    after_long_help = AFTER
)]
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
  130  Ctrl-C ended the run at once; each output is the old file or the new one. The first Ctrl-C
     of a search only ends the search, and the best found is written

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
    /// Print a page of the manual, the help of a command, or the list of both.
    Help {
        /// The command or the topic; the list of both if none is given.
        #[arg(value_name = "COMMAND|TOPIC")]
        name: Option<String>,
    },
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
    /// Whether only what is asked for and what must be seen is printed.
    quiet: bool,
    /// When the program started: the time limit is for all of the run.
    start: Instant,
}

/// The command line as it is parsed, completed and described: `help` knows all commands and topics.
fn program() -> clap::Command {
    let program = Args::command();
    let names = help::names(&program);
    program.mut_subcommand("help", |help| help.mut_arg("name", |name| name.value_parser(names)))
}

/// Runs the command line.
pub fn main() -> ExitCode {
    let start = Instant::now();
    let matches = program().try_get_matches();
    let args = match matches.and_then(|matches| Args::from_arg_matches(&matches)) {
        Ok(args) => args,
        Err(error) if usage::is_help(&error) => error.exit(),
        Err(error) => return ExitCode::from(usage::refuse(&error, start).0),
    };
    let common = Common {
        form: args.problems,
        memory: Memory::of_megabytes(args.memory),
        quiet: args.quiet,
        start,
    };
    let ended = match args.command {
        Command::Kit(args) => kit::run(&args, &common),
        Command::Stack(args) => stack::run(&args, &common),
        Command::Check(args) => check::run(&args, &common),
        Command::Provision(args) => provision::run(&args, &common),
        Command::Recheck(args) => recheck::run(&args, &common),
        Command::Issue(args) => issue::run(&args, &common),
        Command::Reorder(args) => reorder::run(&args, &common),
        Command::Blank(args) => blank::run(&args, &common),
        Command::Help { name } => help::run(name.as_deref()),
        Command::Completions { shell } => manual::completions(shell),
        Command::Man { out, force } => manual::pages(out.as_deref(), force, &common),
        Command::Schema { format } => manual::schema(format),
    };
    ExitCode::from(ended.unwrap_or_else(|Stop(status)| status))
}

/// A problem with the command line itself.
fn from_command_line(found: String, expected: &str, mend: &str) -> Problem {
    Problem::new(Place::file("command line"), found, expected, mend)
}
