//! `gapwright page`: the plan in a browser, with other values tried.

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;

use clap::CommandFactory;

use super::common_args::{Threads, day};
use super::files::Files;
use super::outage::sound;
use super::run::{Ended, Run, use_threads};
use super::settings::Settings;
use super::voice::must_see;
use super::{Common, DONE, from_command_line};
use crate::page::{Bounds, Desk, LedgerBoard, PageError, Server, Subject};
use crate::problem::{Place, Problem, Problems};
use crate::read::{self, Holds, Memory, Sources};
use crate::scratch::Scratch;

/// Arguments of `page`.
#[derive(clap::Args)]
#[command(after_long_help = AFTER)]
pub(super) struct Args {
    /// Stock workbook: .xlsx, .xlsm, .xlsb, .xls, .ods, .csv, or a folder of .csv files; or an outage file,
    /// NAME.outage, alone.
    stock: PathBuf,
    /// Pump workbook, likewise; the two are told apart by their sheets.
    pumps: Option<PathBuf>,
    /// Open the page in the browser.
    #[arg(long)]
    open: bool,
    /// Port of this computer; any that is free if not given.
    #[arg(long, value_name = "PORT", default_value_t = 0, hide_default_value = true)]
    port: u16,
    /// Folder of the shop's own models (.toml), beside the built-in ones.
    #[arg(long, value_name = "DIR")]
    models: Option<PathBuf>,
    #[command(flatten)]
    settings: Settings,
    #[command(flatten)]
    threads: Threads,
}

const AFTER: &str = "\
Examples:
  gapwright page stock.xlsx pumps.xlsx --open
        opens the plan in the browser: readings, limits and priorities can
        be changed there, and every change is planned again
  gapwright page stock.xlsx pumps.xlsx --port 8470
        prints its address; Ctrl-C ends it
  gapwright page week-12.outage --open
        opens a running outage: readings are tried or booked, and the page
        follows what is booked elsewhere

Nobody else can reach the page: it answers on this computer alone, and only to
the browser that opened the address first. The workbooks are never written.
Manual: `gapwright help page`.

The plan predicts: measure each finished pack and recheck each clearance.";

impl Args {
    fn files(&self) -> Files<'_> {
        let outage = self.outage();
        let books = [&self.stock].into_iter().chain(&self.pumps).filter(|_| outage.is_none());
        Files {
            reads: books.map(PathBuf::as_path).collect(),
            models: self.models.as_deref(),
            outage,
            ..Files::default()
        }
    }

    /// The outage file, if one is given alone.
    fn outage(&self) -> Option<&Path> {
        let alone = self.pumps.is_none() && is_outage(&self.stock);
        alone.then_some(&self.stock)
    }

    fn scratch(&self, memory: &Memory, problems: &mut Problems) -> Option<Scratch> {
        let Some(pumps) = &self.pumps else {
            problems.add(from_command_line(
                self.stock.display().to_string(),
                "a stock workbook and a pump workbook, or an outage file ending in .outage",
                "give both workbooks",
            ));
            return None;
        };
        let [stock, pumps] = in_order([&self.stock, pumps], memory);
        let sources = Sources {
            stock: stock.to_path_buf(),
            pumps: pumps.to_path_buf(),
            models: self.models.clone(),
            settings: self.settings.given(),
            day: day(None),
            memory: memory.clone(),
            examples: false,
        };
        // Warnings stand on the page.
        Scratch::open(sources).map_err(|found| problems.absorb(found)).ok()
    }
}

fn is_outage(path: &Path) -> bool {
    path.extension().is_some_and(|end| end.eq_ignore_ascii_case("outage"))
}

/// Two workbooks alone, or an outage file alone, are their page, opened: `gapwright stock.xlsx pumps.xlsx`.
pub(super) fn implied(mut arguments: Vec<OsString>) -> Vec<OsString> {
    let is_command = |name: &OsString| {
        let known = super::Args::command();
        known.get_subcommands().any(|command| name == command.get_name())
    };
    let is_there =
        |argument: Option<&OsString>| argument.is_some_and(|name| Path::new(name).exists());
    let both = is_there(arguments.get(1)) && is_there(arguments.get(2));
    let outage = arguments.len() == 2
        && is_there(arguments.get(1))
        && arguments.get(1).is_some_and(|name| is_outage(Path::new(name)));
    if (both || outage) && !arguments.get(1).is_some_and(is_command) {
        arguments.splice(1..1, ["page".into(), "--open".into()]);
    }
    arguments
}

/// The stock workbook, then the pump workbook: the other way round only if their sheets say so.
fn in_order<'a>(given: [&'a Path; 2], memory: &Memory) -> [&'a Path; 2] {
    let holds = given.map(|path| {
        let book = read::book(path, &mut memory.clone());
        book.map_or(Holds::Nothing, |book| read::holds(&book))
    });
    match holds {
        [Holds::Pumps, Holds::Stock] => [given[1], given[0]],
        _ => given,
    }
}

pub(super) fn run(args: &Args, common: &Common) -> Ended {
    let mut run = Run::begin(common, args.files());
    if let Some(path) = args.outage() {
        let opened = run.look("checking the outage file", |_| LedgerBoard::open(path));
        let board = sound(&mut run, path, opened)?;
        use_threads(args.threads.threads);
        let board = Arc::new(board.with_readings(common.megabytes));
        let served = serve(&run, board, args);
        run.sound(served.map_err(|error| problem(&error)))?;
        return run.end(DONE);
    }
    let scratch = run.read("reading and checking the workbooks", |memory, problems| {
        args.scratch(memory, problems)
    })?;
    use_threads(args.threads.threads);
    let desk = Arc::new(Desk::new(scratch, common.megabytes));
    let served = serve(&run, desk, args);
    run.sound(served.map_err(|error| problem(&error)))?;
    run.end(DONE)
}

fn serve(run: &Run, subject: impl Into<Subject>, args: &Args) -> Result<(), PageError> {
    let server = Server::bind(subject, args.port, Bounds::default())?;
    let link = server.link()?;
    let written = match args.outage() {
        Some(_) => "Nothing but the outage file is written, and only when you book.",
        None => "No file is written.",
    };
    must_see!(run.voice(), "{link}");
    must_see!(
        run.voice(),
        "This address lets one browser in, within ten minutes. {written} Ctrl-C ends the page."
    );
    super::voice::flush();
    if args.open {
        open(run, &link);
    }
    server.run(true)
}

/// Opens the browser of the system; without one the address is there to be opened by hand.
fn open(run: &Run, link: &str) {
    let (program, arguments): (&str, &[&str]) = match std::env::consts::OS {
        "windows" => ("cmd", &["/C", "start", ""]),
        "macos" => ("open", &[]),
        _ => ("xdg-open", &[]),
    };
    let quiet = |command: &mut Command| {
        command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()).spawn()
    };
    if quiet(Command::new(program).args(arguments).arg(link)).is_err() {
        must_see!(run.voice(), "No browser could be opened: open the address by hand.");
    }
}

fn problem(error: &PageError) -> Problem {
    let (expected, fix) = match error {
        PageError::Port { .. } => {
            ("a port that no other program has", "leave --port out, or give another one")
        }
        PageError::Threads(_) | PageError::Random(_) => {
            ("what every system gives a program", "end other programs, then try again")
        }
    };
    Problem::new(Place::file("page"), error.to_string(), expected, fix)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_workbooks_alone_are_their_page() {
        let folder = tempfile::tempdir().unwrap();
        let path = |name: &str| {
            let path = folder.path().join(name);
            std::fs::write(&path, "").unwrap();
            path.into_os_string()
        };
        let [one, two] = ["a.csv", "b.csv"].map(path);
        let told = |arguments: &[&OsString]| {
            let name = OsString::from("gapwright");
            implied([&name].into_iter().chain(arguments.iter().copied()).cloned().collect())
        };
        let [page, open, kit] = ["page", "--open", "kit"].map(OsString::from);
        let expected = [page.clone(), open.clone(), one.clone(), two.clone()];
        assert_eq!(told(&[&one, &two])[1..], expected);
        // A command, a missing file and a single file are as they were.
        let missing = OsString::from("none.csv");
        let outage = {
            let path = folder.path().join("week.outage");
            std::fs::write(&path, "").unwrap();
            path.into_os_string()
        };
        assert_eq!(told(&[&outage])[1..], [page, open, outage]);
        for as_it_was in [&[&kit, &one, &two][..], &[&one, &missing][..], &[&one][..], &[][..]] {
            let there: Vec<OsString> = as_it_was.iter().copied().cloned().collect();
            assert_eq!(told(as_it_was)[1..], there);
        }
    }
}
