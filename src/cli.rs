//! The command line: arguments in, library calls, words out.

mod blank;
mod kit;
mod stack;

use std::fmt::Arguments;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Parser, Subcommand};

use crate::problem::{Place, Problem, Problems};
use crate::write;

/// Prints a line on the terminal, as `println!` does but for one thing: nobody reading on (`| head`)
/// is no failure. The files stand by then, and the exit status must say so.
macro_rules! say {
    ($($words:tt)*) => { $crate::cli::line(std::io::stdout(), format_args!($($words)*)) };
}

/// The same on standard error.
macro_rules! complain {
    ($($words:tt)*) => { $crate::cli::line(std::io::stderr(), format_args!($($words)*)) };
}

use {complain, say};

/// Everything went as asked.
const DONE: u8 = 0;
/// The inputs have problems; nothing was written.
const PROBLEMS: u8 = 2;
/// A file could not be written, or the program found a defect of its own; nothing was written.
const FAILED: u8 = 3;

/// Kits an outage of rebuilt pumps from one drawer of shims and gaskets.
///
/// Reads a stock workbook and a pump workbook, finds the least-waste pieces that bring every
/// pump to its running clearance and gasket allowance, proves them least, and writes a workbook
/// with picking list, kit slips, stack-up, what is short, and the stock after.
#[derive(Parser)]
#[command(name = "gapwright", version, max_term_width = 96, after_long_help = AFTER)]
struct Args {
    #[command(subcommand)]
    command: Command,
}

const AFTER: &str = "\
To begin:
  gapwright blank my-shop --model screwed-impeller
        writes my-shop/stock.xlsx and my-shop/pumps.xlsx with headings, units, notes and an
        invented example row; fill them in
  gapwright kit my-shop/stock.xlsx my-shop/pumps.xlsx
        chooses the pieces and writes kit-plan.xlsx
  gapwright stack my-shop/pumps.xlsx --stock my-shop/stock.xlsx
        works out the stack-up of each pump and writes stack-up.xlsx

Exit status:
  0  a plan was written (pumps that cannot be kitted are said on the terminal and on Short)
  2  the inputs have problems: all are listed with cell and mend, nothing was written
  3  a file could not be written; nothing was changed

This program predicts, it does not prove a fit: measure the finished pack and recheck the
clearance. The maker's instructions, site procedures, local codes and a competent person decide.";

#[derive(Subcommand)]
enum Command {
    /// Choose pieces for every pump of an outage and write the plan.
    Kit(kit::Args),
    /// Work out the tolerance stack-up of pumps: worst case, uncertainty, draws at random, sweeps.
    Stack(stack::Args),
    /// Write empty stock and pump workbooks to start from.
    Blank(blank::Args),
    /// Print the JSON Schema of the plan that `kit --json` writes.
    Schema,
}

/// Runs the command line.
pub fn main() -> ExitCode {
    let status = match Args::parse().command {
        Command::Kit(args) => kit::run(&args),
        Command::Stack(args) => stack::run(&args),
        Command::Blank(args) => blank::run(&args),
        Command::Schema => {
            let schema = crate::write::json::schema();
            say!(
                "{}",
                serde_json::to_string_pretty(&schema).unwrap_or_default()
            );
            DONE
        }
    };
    ExitCode::from(status)
}

/// Writes a line; one that cannot be written is lost, since there is nobody to tell.
fn line(mut to: impl Write, words: Arguments<'_>) {
    writeln!(to, "{words}").ok();
}

/// A problem with the command line itself.
fn from_command_line(found: String, expected: &str, mend: &str) -> Problem {
    Problem::new(Place::file("command line"), found, expected, mend)
}

/// Where a command reads and writes, and the date that it prints.
struct Files<'a> {
    inputs: Vec<&'a PathBuf>,
    /// The workbook, given with `--out`.
    out: &'a PathBuf,
    /// The plan for programs, given with `--json`.
    json: Option<&'a PathBuf>,
    date: Option<&'a str>,
}

impl Files<'_> {
    /// What is wrong with them, before any is read.
    fn check(&self, problems: &mut Problems) {
        let mut wrong = |found: String, expected: &str, mend: &str| {
            problems.add(from_command_line(found, expected, mend));
        };
        if let Some(date) = self.date.filter(|date| write::check_date(date).is_err()) {
            let expected = "a date such as 2027-03-15";
            wrong(format!("--date {date}"), expected, "correct the date");
        }
        let is_workbook = |end: &std::ffi::OsStr| end.eq_ignore_ascii_case("xlsx");
        if !self.out.extension().is_some_and(is_workbook) {
            let found = format!("--out {}", self.out.display());
            let expected = "a file name ending in .xlsx";
            wrong(found, expected, "give the workbook such a name");
        }
        for output in [Some(self.out), self.json].into_iter().flatten() {
            for input in self.inputs.iter().filter(|input| same(input, output)) {
                let found = format!("{} both to be read and to be written", input.display());
                let expected = "an output that is no input";
                wrong(found, expected, "give the output another name");
            }
        }
        if self.json.is_some_and(|json| same(self.out, json)) {
            let found = format!("{} for --out and for --json", self.out.display());
            wrong(found, "a file for each", "give one of them another name");
        }
    }
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

/// Lists every problem on standard error and says that nothing was written.
fn show_problems(problems: &Problems) {
    let sorted = problems.sorted();
    for problem in &sorted {
        complain!("problem: {problem}\n");
    }
    for warning in problems.warnings() {
        complain!("warning: {warning}\n");
    }
    let count = sorted.len();
    complain!(
        "{count} problem{}. Nothing was written.",
        if count == 1 { "" } else { "s" }
    );
}
