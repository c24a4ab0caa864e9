//! `gapwright check`: everything is read and nothing is written.

use std::path::{Path, PathBuf};

use super::findings::Findings;
use super::settings::Settings;
use super::{Common, DONE, Files, WARNED, from_command_line, say};
use crate::formats::problems::{ModelReadJson, ReadJson, SheetReadJson};
use crate::job::Job;
use crate::problem::{Place, Problem, Problems};
use crate::read::{self, Holds, Sources};
use crate::sheet::Book;
use crate::stock::Item;

/// Arguments of `check`.
#[derive(clap::Args)]
#[command(after_long_help = AFTER)]
pub(super) struct Args {
    /// Stock workbook: .xlsx, .xlsm, .xlsb, .xls, .ods, .csv, or a folder of .csv files. A pump workbook
    /// alone will do as well, or one that holds both.
    stock: PathBuf,
    /// Pump workbook, likewise.
    pumps: Option<PathBuf>,
    /// Folder of model files (.toml) beside the built-in ones.
    #[arg(long, value_name = "DIR")]
    models: Option<PathBuf>,
    #[command(flatten)]
    settings: Settings,
    /// Write a copy of the sheets with what is wrong coloured and noted, if anything is.
    #[arg(long, value_name = "FILE")]
    mark: Option<PathBuf>,
    /// Replace the marked copy if it is there already.
    #[arg(long)]
    force: bool,
}

const AFTER: &str = "\
Examples:
  gapwright check stock.xlsx pumps.xlsx
        everything that `kit` would read, and how much of it there is
  gapwright check stock.xlsx
  gapwright check pumps.xlsx
        one workbook alone, as far as that can be checked; which one it is,
        its sheets say
  gapwright check stock.xlsx pumps.xlsx --mark marked.xlsx
        a copy of the sheets in which what is wrong is coloured, with a note
        on each cell
  gapwright check stock.xlsx pumps.xlsx --problems json
        the same for programs, on standard output

Exit status:
  0  nothing is wrong
  1  there are warnings, and no problems
  2  there are problems
  3  there are warnings, and the marked copy could not be written";

/// What there is to read.
enum Inputs<'a> {
    Both(&'a PathBuf, &'a PathBuf),
    Stock(&'a PathBuf),
    Pumps(&'a PathBuf),
}

impl Args {
    /// Which workbooks there are: a single one says so by its sheets.
    fn inputs(&self, books: &[Book], problems: &mut Problems) -> Inputs<'_> {
        if let Some(pumps) = &self.pumps {
            return Inputs::Both(&self.stock, pumps);
        }
        match books.first().map(read::holds) {
            Some(Holds::Both) => Inputs::Both(&self.stock, &self.stock),
            Some(Holds::Pumps) => Inputs::Pumps(&self.stock),
            Some(Holds::Nothing) => {
                problems.add(Problem::new(
                    Place::file(&self.stock.display().to_string()),
                    "neither a sheet `Stock` nor a sheet `Pumps`, and no sheet with the headings of either",
                    "a stock workbook or a pump workbook",
                    "name the sheet; `gapwright blank` writes both workbooks to start from",
                ));
                Inputs::Stock(&self.stock)
            }
            // A book that cannot be read is said to be so when it is read.
            Some(Holds::Stock) | None => Inputs::Stock(&self.stock),
        }
    }

    fn sources(&self, common: &Common, stock: &Path, pumps: &Path) -> Sources {
        Sources {
            stock: stock.to_path_buf(),
            pumps: pumps.to_path_buf(),
            models: self.models.clone(),
            settings: self.settings.given(),
            memory: common.memory.clone(),
        }
    }
}

pub(super) fn run(args: &Args, common: &Common) -> u8 {
    let paths: Vec<&PathBuf> = [&args.stock].into_iter().chain(&args.pumps).collect();
    let files = Files {
        inputs: paths.clone(),
        out: None,
        json: None,
        mark: args.mark.as_ref(),
        date: None,
    };
    let findings = Findings::marked(common, files.fit_mark(), paths.clone(), args.force);
    let mut problems = Problems::new();
    files.check(&mut problems);
    let reading = super::working::working("reading and checking the workbooks");
    // Those that cannot be read are problems below.
    let memory = &mut common.memory.clone();
    let books = paths
        .iter()
        .filter_map(|path| read::book(path, memory).ok());
    let books: Vec<Book> = books.collect();
    let sheets = sheets(&books);
    let inputs = args.inputs(&books, &mut problems);
    drop(books);
    let read = match inputs {
        _ if !problems.none() => Err(Problems::new()),
        Inputs::Both(stock, pumps) => {
            read::job(&args.sources(common, stock, pumps)).map(|job| (of_job(&job), job.warnings))
        }
        Inputs::Pumps(pumps) => {
            let read = read::pumps_alone(&args.sources(common, Path::new(""), pumps));
            read.map(|job| (of_pumps(&job), job.warnings))
        }
        Inputs::Stock(stock) => {
            let mut settings = Problems::new();
            for (name, value) in args.settings.given() {
                settings.add(from_command_line(
                    format!("the setting {name}, `{value}`, without a pump workbook"),
                    "settings together with the pumps that they are for",
                    "give the pump workbook as well, or leave the setting out",
                ));
            }
            let read = read::stock_alone(stock, args.models.as_deref(), &mut common.memory.clone());
            match (read, settings.none()) {
                (Ok(stock), true) => Ok((of_stock(&stock), stock.warnings)),
                (Ok(stock), false) => {
                    settings.absorb(Problems::of_warnings(stock.warnings));
                    Err(settings)
                }
                (Err(mut found), _) => {
                    found.absorb(settings);
                    Err(found)
                }
            }
        }
    };
    drop(reading);
    match read {
        Ok((read, warnings)) => {
            let status = if warnings.is_empty() { DONE } else { WARNED };
            let read = ReadJson { sheets, ..read };
            let status = findings.settle(warnings, status, &[], Some(read.clone()));
            account(&read);
            if status == DONE {
                say!("Nothing is wrong.");
            }
            status
        }
        Err(found) => {
            problems.absorb(found);
            let read = ReadJson {
                sheets,
                ..ReadJson::default()
            };
            findings.refuse_having_read(problems, Some(read))
        }
    }
}

fn count(number: usize) -> u64 {
    u64::try_from(number).unwrap_or(u64::MAX)
}

fn sheets(books: &[Book]) -> Vec<SheetReadJson> {
    let sheets = books.iter().flat_map(|book| &book.sheets);
    sheets
        .map(|sheet| SheetReadJson {
            file: sheet.file.clone(),
            sheet: sheet.name.clone(),
            rows: count(sheet.rows.len()),
        })
        .collect()
}

fn of_lots<'a>(lots: impl Iterator<Item = &'a Item>) -> (u64, u64) {
    let lots: Vec<&Item> = lots.filter(|item| item.cut.is_none()).collect();
    let pieces = lots.iter().map(|item| u64::from(item.on_hand)).sum();
    (count(lots.len()), pieces)
}

fn of_stock(stock: &read::Stock) -> ReadJson {
    let (lots, pieces) = of_lots(stock.lots.iter());
    ReadJson {
        lots: Some(lots),
        pieces: Some(pieces),
        sheet_lots: Some(count(stock.sheets.len())),
        unused: stock.unused.clone(),
        ..ReadJson::default()
    }
}

fn of_pumps(job: &Job) -> ReadJson {
    let models = job.models.iter().enumerate();
    let models = models.map(|(at, model)| ModelReadJson {
        model: model.name.clone(),
        pumps: count(job.pumps.iter().filter(|pump| pump.model == at).count()),
    });
    let requirements = job.pumps.iter().map(|pump| pump.requirements.len()).sum();
    ReadJson {
        pumps: Some(count(job.pumps.len())),
        models: models.collect(),
        requirements: Some(count(requirements)),
        unused: job.unused.clone(),
        ..ReadJson::default()
    }
}

fn of_job(job: &Job) -> ReadJson {
    let (lots, pieces) = of_lots(job.stock.iter());
    ReadJson {
        lots: Some(lots),
        pieces: Some(pieces),
        sheet_lots: Some(count(job.sheets.len())),
        ..of_pumps(job)
    }
}

/// What was read, in a few lines.
fn account(read: &ReadJson) {
    let many = |number: u64, word: &str| match number {
        1 => format!("1 {word}"),
        _ => format!("{number} {word}s"),
    };
    let mut file = "";
    for sheet in &read.sheets {
        if sheet.file != file {
            file = &sheet.file;
            say!("{file}");
        }
        say!("  sheet {}: {}", sheet.sheet, many(sheet.rows, "row"));
    }
    if let (Some(lots), Some(pieces)) = (read.lots, read.pieces) {
        let sheets = match read.sheet_lots.unwrap_or(0) {
            0 => String::new(),
            lots => format!(", and {} of sheets to cut from", many(lots, "lot")),
        };
        say!(
            "Stock: {}, {}{sheets}.",
            many(lots, "lot"),
            many(pieces, "piece")
        );
    }
    if let (Some(pumps), Some(requirements)) = (read.pumps, read.requirements) {
        let models = read.models.iter();
        let models: Vec<String> = models
            .map(|m| format!("{} of {}", m.pumps, m.model))
            .collect();
        let requirements = many(requirements, "requirement");
        say!(
            "Pumps: {} ({}), {requirements}.",
            many(pumps, "pump"),
            models.join(", ")
        );
    }
    if !read.unused.is_empty() {
        say!("Not used: {}.", read.unused.join("; "));
    }
    match (read.lots, read.pumps) {
        (Some(_), None) => {
            say!("Not checked, since there are no pumps: fit codes, sections and gasket materials.")
        }
        (None, Some(_)) => {
            say!("Not checked, since there is no stock: whether it has the fit codes.")
        }
        _ => {}
    }
}
