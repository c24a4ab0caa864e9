//! `gapwright page`: the plan in a browser, with other values tried.

use std::ffi::OsString;
use std::fs::File;
use std::io::Read;
use std::net::{IpAddr, ToSocketAddrs};
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
use super::{Common, DONE, from_command_line, kit, qr};
use crate::page::{
    Beyond, Bounds, CertificateError, Desk, LedgerBoard, PageError, Server, Subject, TlsCertificate,
};
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
    /// Outage file to begin with the workbooks, or to continue, NAME.outage: readings can be booked then.
    #[arg(long, value_name = "FILE", requires = "pumps")]
    outage: Option<PathBuf>,
    /// Open the page in the browser.
    #[arg(long)]
    open: bool,
    /// Port of this computer; any that is free if not given.
    #[arg(long, value_name = "PORT", default_value_t = 0, hide_default_value = true)]
    port: u16,
    /// Serve the page to other devices at this address or name of this computer, under TLS alone.
    #[arg(long, value_name = "ADDRESS")]
    listen: Option<String>,
    /// Certificate for --listen, a PEM file; one made for the run if not given.
    #[arg(long, value_name = "FILE", requires = "listen", requires = "key")]
    certificate: Option<PathBuf>,
    /// Private key of --certificate, a PEM file without a password.
    #[arg(long, value_name = "FILE", requires = "certificate")]
    key: Option<PathBuf>,
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
        opens a running outage: readings are tried or booked, bags and counts
        are booked, and the bench is reached by a slip's code
  gapwright page stock.xlsx pumps.xlsx --outage week-12.outage --open
        begins the outage file with the two workbooks, then opens it

  gapwright page stock.xlsx pumps.xlsx --listen 192.168.1.20 --port 8470
        lets a tablet in as well: TLS, a fingerprint to compare, a code to scan

Without --listen nobody else can reach the page: it answers on this computer
alone. It answers only to the browser that opened the address first. The
workbooks are never written; an outage file is, by what is booked.
Manual: `gapwright help page`.

The plan predicts: measure each finished pack and recheck each clearance.";

impl Args {
    fn files(&self) -> Files<'_> {
        let outage = self.outage();
        let books = [&self.stock].into_iter().chain(&self.pumps).filter(|_| self.alone().is_none());
        Files {
            reads: books.chain(&self.certificate).chain(&self.key).map(PathBuf::as_path).collect(),
            models: self.models.as_deref(),
            outage,
            ..Files::default()
        }
    }

    /// The outage file, alone or beside the workbooks.
    fn outage(&self) -> Option<&Path> {
        self.alone().or(self.outage.as_deref())
    }

    /// The outage file, if one is given alone.
    fn alone(&self) -> Option<&Path> {
        let alone = self.pumps.is_none() && is_outage(&self.stock);
        alone.then_some(&self.stock)
    }

    fn sources(&self, pumps: &Path, memory: &Memory) -> Sources {
        let [stock, pumps] = in_order([&self.stock, pumps], memory);
        Sources {
            stock: stock.to_path_buf(),
            pumps: pumps.to_path_buf(),
            models: self.models.clone(),
            settings: self.settings.given(),
            day: day(None),
            memory: memory.clone(),
            ..Sources::default()
        }
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
        // Warnings stand on the page.
        Scratch::open(self.sources(pumps, memory)).map_err(|found| problems.absorb(found)).ok()
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
        let beyond = run.read("checking the certificate", |_, problems| beyond(args, problems))?;
        if let Some(pumps) = &args.pumps {
            kit::outage::begin(&mut run, path, |memory| args.sources(pumps, memory))?;
        }
        let opened = run.look("checking the outage file", |_| LedgerBoard::open(path));
        let board = sound(&mut run, path, opened)?;
        use_threads(args.threads.threads);
        let board = Arc::new(board.with_readings(common.megabytes));
        let served = serve(&run, board, args, beyond.as_ref(), None);
        run.sound(served.map_err(|error| problem(&error)))?;
        return run.end(DONE);
    }
    let (scratch, beyond) =
        run.read("reading and checking the workbooks", |memory, problems| {
            let scratch = args.scratch(memory, problems);
            let beyond = beyond(args, problems);
            scratch.zip(beyond)
        })?;
    use_threads(args.threads.threads);
    let beginning = scratch.sources().clone();
    let desk = Arc::new(Desk::new(scratch, common.megabytes));
    let served = serve(&run, desk, args, beyond.as_ref(), Some(beginning));
    run.sound(served.map_err(|error| problem(&error)))?;
    run.end(DONE)
}

/// Address that --listen names, with its certificate; none inside where it is not given.
fn beyond(args: &Args, problems: &mut Problems) -> Option<Option<Beyond>> {
    named(args).map_err(|problem| problems.add(problem)).ok()
}

fn named(args: &Args) -> Result<Option<Beyond>, Problem> {
    let Some(listen) = &args.listen else { return Ok(None) };
    let (address, name) = address(listen)?;
    let certificate = match (&args.certificate, &args.key) {
        (Some(certificate), Some(key)) => {
            let [of, by] = [pem(certificate)?, pem(key)?];
            TlsCertificate::of_pem(&of, &by)
                .map_err(|error| unusable([certificate, key], &error))?
        }
        _ => TlsCertificate::made_for(address, name.as_deref()).map_err(|error| {
            from_command_line(
                format!("--listen {listen}: {error}"),
                "an address or a name that a certificate can hold",
                "give the address, such as 192.168.1.20",
            )
        })?,
    };
    Ok(Some(Beyond { address, name, certificate }))
}

/// Address of --listen, and its name if it was given by one.
fn address(listen: &str) -> Result<(IpAddr, Option<String>), Problem> {
    let wrong = |found: String| {
        from_command_line(
            found,
            "one address or name of this computer",
            "give the address that other devices call, such as 192.168.1.20",
        )
    };
    let (address, name) = match listen.parse::<IpAddr>() {
        Ok(address) => (address, None),
        Err(_) => {
            let unknown = || wrong(format!("--listen {listen}, a name without an address"));
            let found = (listen, 0).to_socket_addrs().map_err(|_| unknown())?;
            let all: Vec<IpAddr> = found.map(|found| found.ip()).collect();
            let first = all.iter().find(|address| address.is_ipv4()).or(all.first());
            (*first.ok_or_else(unknown)?, Some(listen.to_lowercase()))
        }
    };
    match address.is_unspecified() {
        true => Err(wrong(format!("--listen {listen}, which is every address"))),
        false => Ok((address, name)),
    }
}

/// Contents of a PEM file; none is larger than a megabyte.
fn pem(path: &Path) -> Result<Vec<u8>, Problem> {
    let mut bytes = Vec::new();
    let read = File::open(path).and_then(|file| file.take(1 << 20).read_to_end(&mut bytes));
    read.map(|_| bytes).map_err(|error| {
        Problem::new(
            Place::file(&path.display().to_string()),
            format!("a file that cannot be read: {error}"),
            "a certificate or key in PEM form",
            "correct its name, or the right to read it",
        )
    })
}

fn unusable([certificate, key]: [&Path; 2], error: &CertificateError) -> Problem {
    let (of, expected, fix) = match error {
        CertificateError::NoKey => {
            (key, "a private key in PEM form, without a password", "give the file of the key")
        }
        CertificateError::OtherKey => {
            (key, "the key of the certificate", "give certificate and key that belong together")
        }
        _ => (
            certificate,
            "a certificate in PEM form, those that vouch for it after it",
            "give another certificate, or leave --certificate and --key out",
        ),
    };
    Problem::new(Place::file(&of.display().to_string()), error.to_string(), expected, fix)
}

fn serve(
    run: &Run,
    subject: impl Into<Subject>,
    args: &Args,
    beyond: Option<&Beyond>,
    sources: Option<Sources>,
) -> Result<(), PageError> {
    let server = match beyond {
        Some(beyond) => Server::beyond(subject, beyond, args.port, Bounds::default())?,
        None => Server::bind(subject, args.port, Bounds::default())?,
    };
    let server = match sources {
        Some(sources) => {
            server.with_beginning(Arc::new(move |name: &str| begin_beside(name, &sources)))
        }
        None => server,
    };
    let link = server.link()?;
    let written = match args.outage() {
        Some(_) => "Nothing but the outage file is written, and only when you book.",
        None => "No file is written, unless you begin an outage file there.",
    };
    must_see!(run.voice(), "{link}");
    must_see!(
        run.voice(),
        "This address lets one browser in, within ten minutes. {written} Ctrl-C ends the page."
    );
    if let Some(beyond) = beyond {
        for line in qr::lines(&link).unwrap_or_default() {
            must_see!(run.voice(), "{line}");
        }
        must_see!(
            run.voice(),
            "Other devices reach this computer at {}. A browser that does not know the certificate warns: go on only if it \
             shows this SHA-256 fingerprint:\n  {}",
            beyond.name.clone().unwrap_or_else(|| beyond.address.to_string()),
            beyond.certificate.fingerprint(),
        );
    }
    super::voice::flush();
    if args.open {
        open(run, &link);
    }
    server.run(true)
}

/// Begins an outage file of a name beside the stock workbook, and gives its path.
fn begin_beside(name: &str, sources: &Sources) -> Result<PathBuf, Problems> {
    let name = name.trim();
    let name = name.strip_suffix(".outage").unwrap_or(name);
    let is_plain = |letter: char| letter.is_alphanumeric() || " -_.".contains(letter);
    if name.is_empty()
        || name.chars().count() > 60
        || name.starts_with('.')
        || !name.chars().all(is_plain)
    {
        return Err(Problems::from(Problem::new(
            Place::file("page"),
            format!("the name `{name}`"),
            "a name of at most 60 letters, digits, spaces, hyphens, underscores and points, such as week-12",
            "type such a name; the folder is that of the stock workbook",
        )));
    }
    let path = sources.stock.with_file_name(format!("{name}.outage"));
    kit::outage::begin_new(&path, sources)?;
    Ok(path)
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
        PageError::Elsewhere(_) => {
            ("an address of this computer", "give --listen one of its own, or leave it out")
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
