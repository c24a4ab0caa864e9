//! The command line: arguments in, library calls, words out.

mod amounts;
mod bad_args;
mod blank;
mod book;
mod check;
mod common_args;
mod compare;
mod escape;
mod export;
mod files;
mod help;
mod interrupt;
mod kit;
mod listing;
mod manual;
mod model;
mod outage;
mod page;
mod progress;
mod provision;
mod qr;
mod recheck;
mod reorder;
mod report;
mod run;
mod settings;
mod slips;
mod stack;
mod status;
mod table;
mod verify;
mod voice;

use std::path::PathBuf;
use std::process::ExitCode;
use std::time::Instant;

use clap::{CommandFactory, FromArgMatches, Parser, Subcommand, ValueEnum};

use crate::problem::{Place, Problem};
use crate::read::Memory;
use report::Listing;
use run::Stop;

/// Everything went as asked.
const DONE: u8 = 0;
/// `check` and `model check`: there are warnings, and no problems.
const WARNED: u8 = 1;
/// `stack --fail`: a requirement is not met, or a pump has no kit. `verify`: a kit does not hold, or a goal is not shown.
const MISSED: u8 = 1;
/// The inputs have problems; nothing was written.
const PROBLEMS: u8 = 2;
/// A file or standard output could not be written, or the program found a defect of its own.
const FAILED: u8 = 3;
/// Ctrl-C, SIGTERM or SIGHUP cut the run short, as a shell says it of the first.
const INTERRUPTED: u8 = 130;

/// Meaning of each exit status, for the manual pages.
const EXIT_STATUSES: [(u8, &str); 5] = [
    (DONE, "Done as asked. Pumps that cannot be kitted, or stay open, are reported."),
    (
        WARNED,
        "check and model check: there are warnings and no problems, or the example of the model cannot be kitted. stack --fail: a requirement is not met, or a pump has no kit. verify: a kit does not hold, or a goal is not shown to be the best.",
    ),
    (
        PROBLEMS,
        "The inputs have problems: all are listed, each with its cell and how to fix it. Nothing was written but the marked copy.",
    ),
    (
        FAILED,
        "A file or standard output could not be written. Nothing was changed, unless the message says what.",
    ),
    (
        INTERRUPTED,
        "Ctrl-C, SIGTERM or SIGHUP cut the run short. The first one during a search ends the search, and the best plan found is written; the second ends the run at once, and each output is the old file or the new one.",
    ),
];

/// Kits an outage of rebuilt pumps from one drawer of shims and gaskets.
///
/// Reads a stock workbook and a pump workbook, chooses the pieces that bring every pump to its
/// running clearance and gasket allowance with the least waste, and proves that no choice is better.
/// Writes one workbook: picking list, kit slips, bag labels, stack-up, shortages, stock after.
#[derive(Parser)]
#[command(
    name = "gapwright",
    version,
    max_term_width = 96,
    disable_help_subcommand = true,
    after_long_help = AFTER
)]
struct Args {
    /// List problems and warnings as `text` on standard error, or as `json` on standard output (see
    /// `gapwright help programs`).
    #[arg(
        long,
        global = true,
        value_enum,
        default_value_t = Listing::Text,
        value_name = "FORM",
        help_heading = EVERYWHERE
    )]
    problems: Listing,
    /// Most memory of the run, in megabytes; a file or an outage that needs more is refused. If not given: 2000, and
    /// 512 for reading.
    #[arg(
        long,
        global = true,
        value_name = "MB",
        help_heading = EVERYWHERE,
        value_parser = clap::value_parser!(u32).range(16..=65_536)
    )]
    memory: Option<u32>,
    /// Print no report of the run; problems, warnings and pumps that stay open still go to standard
    /// error.
    #[arg(long, short, global = true, help_heading = EVERYWHERE)]
    quiet: bool,
    #[command(subcommand)]
    command: Command,
}

/// Heading of the options that every command has.
const EVERYWHERE: &str = "For every command";

const AFTER: &str = "\
To look:
  gapwright stock.xlsx pumps.xlsx
        opens the plan as a page in the browser; see `gapwright help page`

To begin:
  gapwright blank my-shop --model screwed-impeller
        writes my-shop/stock.xlsx and my-shop/pumps.xlsx to fill in
  gapwright check my-shop/stock.xlsx my-shop/pumps.xlsx
        lists every problem with its cell; --mark FILE marks them in a copy
  gapwright kit my-shop/stock.xlsx my-shop/pumps.xlsx
        chooses the pieces and writes kit-plan.xlsx
  gapwright kit my-shop/stock.xlsx my-shop/pumps.xlsx --outage week-12.outage
        the same within a running outage: one file for bags, bench and bins
  gapwright book week-12.outage bag P-101
        after picking; `gapwright help running` says what else is booked

The manual:
  gapwright help
        lists its pages; `gapwright help start` prints the first, and
        `gapwright help kit` the options of a command

Exit status:
  0  done as asked (pumps that cannot be kitted are reported)
  1  `check` and `model check`: there are warnings and no problems, or the
     example of the model cannot be kitted; `stack --fail`: a requirement
     is not met, or a pump has no kit; `verify`: a kit does not hold, or a
     goal is not shown
  2  the inputs have problems: all are listed, and only the marked copy
     of --mark was written
  3  a file exists or could not be written, or standard output could not;
     nothing was changed, unless the message says so
  130  Ctrl-C, SIGTERM or SIGHUP cut the run short. The first one during a
     search ends the search, and the best plan found is written; the second
     ends the run at once, and each output is the old file or the new one

The plan predicts, it does not prove a fit: measure each finished pack and
recheck each clearance. The maker's instructions, the site's procedures,
local codes and a competent person (licensed where required) decide.";

#[derive(Subcommand)]
enum Command {
    /// Write empty stock and pump workbooks to start from.
    Blank(blank::Args),
    /// Work out the pieces to set aside before anything is measured.
    Provision(provision::Args),
    /// Read the workbooks, list every problem, write nothing.
    Check(check::Args),
    /// Choose the pieces for every pump of an outage and write the plan.
    Kit(kit::Args),
    /// Open the plan as a page in the browser: change values, plan again.
    Page(page::Args),
    /// Print a plan: kit slips, bag labels and picking list, one page to a pump.
    Slips(slips::Args),
    /// Work out the stack-up of pumps: worst case, uncertainty, what if.
    Stack(stack::Args),
    /// Compare two plans: what goes out of kits and in, why, which slips to print.
    Compare(compare::Args),
    /// Enter bags, readings, deliveries and counts into an outage file.
    Book(book::Args),
    /// List an outage file: pumps by state, stock, last entries.
    Status(status::Args),
    /// Write the stock workbook with the counts of an outage file, and its ledger.
    Export(export::Args),
    /// List models, print one, write one to start from, try one with its own example.
    Model(model::Args),
    /// Compare readings with the plan: accept, look first, or swap.
    Recheck(recheck::Args),
    /// Work out the packs to buy and the thicknesses to hold.
    Reorder(reorder::Args),
    /// Work a plan's kits out again and add up the proof that none are better.
    Verify(verify::Args),
    /// Print a page of the manual or the help of a command; alone, list them.
    Help {
        /// Command or topic; the list of both if none is given.
        #[arg(value_name = "COMMAND|TOPIC")]
        name: Option<String>,
    },
    /// Print a script with which a shell completes commands and options.
    Completions {
        /// The shell.
        #[arg(value_enum)]
        shell: clap_complete::Shell,
    },
    /// Print the manual page, or write all pages into a folder.
    Man {
        /// Folder to write all pages into: gapwright.1, gapwright-kit.1, gapwright-bench.7 and so on.
        #[arg(long, value_name = "DIR")]
        out: Option<PathBuf>,
        /// Replace existing pages.
        #[arg(long)]
        force: bool,
    },
    /// Print the licences of the packages that the program is built from.
    Licences,
    /// Print the JSON Schema of a format for programs.
    Schema {
        /// The format: of `kit --json` (plan), `kit --certificate`, `status --json` (outage), `provision --json`, `reorder --json` (purchase),
        /// `recheck --json`, `stack --json` or `--problems json`.
        #[arg(value_enum, default_value_t = Format::Plan)]
        format: Format,
    },
}

/// A format for programs.
#[derive(Clone, Copy, ValueEnum)]
enum Format {
    Plan,
    Certificate,
    Compare,
    Outage,
    Provision,
    Problems,
    Purchase,
    Recheck,
    Stack,
}

/// Options of every command, and the start of the run.
struct Common {
    /// How problems are listed.
    form: Listing,
    /// Most memory of the run.
    memory: Memory,
    /// Whether only what is asked for and what must be seen is printed.
    quiet: bool,
    /// Memory of the run in all, in megabytes.
    megabytes: u64,
    /// When the program started: the time limit is for all of the run.
    start: Instant,
}

/// Memory of a run in megabytes if none is stated: enough for 10,000 pumps. A file that takes a quarter of it to read is
/// rather a broken one.
const MEMORY: u32 = 2_000;

/// The command line as it is parsed, completed and described: `help` knows all commands and topics.
fn program() -> clap::Command {
    let program = Args::command();
    let names = help::names(&program);
    program.mut_subcommand("help", |help| help.mut_arg("name", |name| name.value_parser(names)))
}

/// Runs the command line.
pub fn main() -> ExitCode {
    let start = Instant::now();
    let matches = program().try_get_matches_from(page::implied(std::env::args_os().collect()));
    let args = match matches.and_then(|matches| Args::from_arg_matches(&matches)) {
        Ok(args) => args,
        Err(error) if bad_args::is_help(&error) => {
            voice::noted(error.print());
            return ExitCode::from(voice::settled(
                u8::try_from(error.exit_code()).unwrap_or(PROBLEMS),
            ));
        }
        Err(error) => return ExitCode::from(bad_args::refuse(&error, start).0),
    };
    let common = Common {
        form: args.problems,
        memory: args.memory.map(Memory::of_megabytes).unwrap_or_default(),
        megabytes: args.memory.unwrap_or(MEMORY).into(),
        quiet: args.quiet,
        start,
    };
    let ended = match args.command {
        Command::Kit(args) => kit::run(&args, &common),
        Command::Page(args) => page::run(&args, &common),
        Command::Slips(args) => slips::run(&args, &common),
        Command::Stack(args) => stack::run(&args, &common),
        Command::Check(args) => check::run(&args, &common),
        Command::Provision(args) => provision::run(&args, &common),
        Command::Recheck(args) => recheck::run(&args, &common),
        Command::Compare(args) => compare::run(&args, &common),
        Command::Book(args) => book::run(&args, &common),
        Command::Status(args) => status::run(&args, &common),
        Command::Export(args) => export::run(&args, &common),
        Command::Model(args) => model::run(&args, &common),
        Command::Reorder(args) => reorder::run(&args, &common),
        Command::Verify(args) => verify::run(&args, &common),
        Command::Blank(args) => blank::run(&args, &common),
        Command::Help { name } => help::run(name.as_deref()),
        Command::Completions { shell } => manual::completions(shell),
        Command::Man { out, force } => manual::pages(out.as_deref(), force, &common),
        Command::Licences => manual::licences(),
        Command::Schema { format } => manual::schema(format),
    };
    ExitCode::from(voice::settled(ended.unwrap_or_else(|Stop(status)| status)))
}

/// A problem with the command line itself.
fn from_command_line(found: String, expected: &str, fix: &str) -> Problem {
    Problem::new(Place::file("command line"), found, expected, fix)
}
