//! `gapwright check`: everything is read and nothing is written.

use std::path::{Path, PathBuf};

use super::common_args::day;
use super::files::Files;
use super::run::{Ended, Run, gathered};
use super::settings::Settings;
use super::voice::{Voice, out};
use super::{Common, DONE, WARNED, from_command_line};
use crate::formats::problems::{ModelReadJson, ReadJson, SheetReadJson};
use crate::job::Job;
use crate::json;
use crate::problem::{Place, Problem, Problems};
use crate::read::{self, Holds, Memory, Sources};
use crate::sheet::Book;
use crate::stock::Item;

/// Arguments of `check`.
#[derive(clap::Args)]
#[command(after_long_help = AFTER)]
pub(super) struct Args {
    /// Stock workbook: .xlsx, .xlsm, .xlsb, .xls, .ods, .csv, or a folder of .csv files. A pump workbook
    /// alone will do, and so will one workbook with both.
    stock: PathBuf,
    /// Pump workbook, likewise.
    pumps: Option<PathBuf>,
    /// Folder of the shop's own models (.toml), beside the built-in ones.
    #[arg(long, value_name = "DIR")]
    models: Option<PathBuf>,
    #[command(flatten)]
    settings: Settings,
    /// If anything is wrong, write a copy of the sheets with the wrong cells coloured and noted.
    #[arg(long, value_name = "FILE")]
    mark: Option<PathBuf>,
    /// Replace the marked copy if it exists.
    #[arg(long)]
    force: bool,
}

const AFTER: &str = "\
Examples:
  gapwright check stock.xlsx pumps.xlsx
        reads everything that `kit` would read, and counts it
  gapwright check stock.xlsx
  gapwright check pumps.xlsx
        one workbook alone, as far as it can be checked alone
  gapwright check stock.xlsx pumps.xlsx --mark marked.xlsx
        writes a copy of the sheets with the wrong cells coloured, and a
        note on each
  gapwright check stock.xlsx pumps.xlsx --problems json
        the list for other programs, on standard output

Exit status:
  0  nothing is wrong
  1  there are warnings and no problems
  2  there are problems
  3  there are warnings, and the marked copy could not be written

Manual: `gapwright help workbooks`, `gapwright help lengths`.";

/// Workbooks to read.
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

    fn sources(&self, stock: &Path, pumps: &Path, memory: &Memory) -> Sources {
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

    fn paths(&self) -> impl Iterator<Item = &PathBuf> {
        [&self.stock].into_iter().chain(&self.pumps)
    }

    fn files(&self) -> Files<'_> {
        Files {
            reads: self.paths().map(PathBuf::as_path).collect(),
            models: self.models.as_deref(),
            mark: self.mark.as_deref(),
            force: self.force,
            ..Files::default()
        }
    }

    /// The workbooks as sheets; those that cannot be read are problems when they are checked.
    fn books(&self, memory: &mut Memory) -> Vec<Book> {
        let books = self.paths().filter_map(|path| read::book(path, memory).ok());
        books.collect()
    }

    /// Checks all that there is.
    fn check(
        &self,
        inputs: Inputs<'_>,
        memory: &Memory,
        problems: &mut Problems,
    ) -> Option<ReadJson> {
        let read = match inputs {
            _ if !problems.none() => return None,
            Inputs::Both(stock, pumps) => {
                let read = read::job(&self.sources(stock, pumps, memory));
                read.map(|job| (of_job(&job), job.warnings))
            }
            Inputs::Pumps(pumps) => {
                let read = read::pumps_alone(&self.sources(Path::new(""), pumps, memory));
                read.map(|job| (of_pumps(&job), job.warnings))
            }
            Inputs::Stock(stock) => {
                self.refuse_settings(problems);
                let read = read::stock_alone(stock, self.models.as_deref(), &mut memory.clone());
                read.map(|stock| (of_stock(&stock), stock.warnings))
            }
        };
        gathered(read, problems)
    }

    fn refuse_settings(&self, problems: &mut Problems) {
        for (name, value) in self.settings.given() {
            problems.add(from_command_line(
                format!("the setting {name}, `{value}`, without a pump workbook"),
                "settings together with the pumps that they are for",
                "give the pump workbook as well, or leave the setting out",
            ));
        }
    }
}

pub(super) fn run(args: &Args, common: &Common) -> Ended {
    let mut run = Run::begin(common, args.files());
    let books = run.look("reading the workbooks", |memory| args.books(memory));
    let sheets = sheets(&books);
    run.having_read(ReadJson { sheets: sheets.clone(), ..ReadJson::default() });
    let read = run.read("checking the workbooks", move |memory, problems| {
        let inputs = args.inputs(&books, problems);
        // They are read again, and the memory is for one of both.
        drop(books);
        args.check(inputs, memory, problems)
    })?;
    let read = ReadJson { sheets, ..read };
    run.having_read(read.clone());
    let status = run.end(if run.has_warnings() { WARNED } else { DONE })?;
    tell(&read, run.voice());
    if status == DONE {
        out!(run.voice(), "Nothing is wrong.");
    }
    Ok(status)
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
        sheet_lots: Some(count(stock.plates.len())),
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
        not_measured: json::plan::not_measured(job),
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
        sheet_lots: Some(count(job.plates.len())),
        ..of_pumps(job)
    }
}

/// Reports the counts in a few lines.
fn tell(read: &ReadJson, to: Voice) {
    let many = |number: u64, word: &str| match number {
        1 => format!("1 {word}"),
        _ => format!("{number} {word}s"),
    };
    let mut file = "";
    for sheet in &read.sheets {
        if sheet.file != file {
            file = &sheet.file;
            out!(to, "{file}");
        }
        out!(to, "  sheet {}: {}", sheet.sheet, many(sheet.rows, "row"));
    }
    if let (Some(lots), Some(pieces)) = (read.lots, read.pieces) {
        let sheets = match read.sheet_lots.unwrap_or(0) {
            0 => String::new(),
            lots => format!(", and {} of plates to cut from", many(lots, "lot")),
        };
        out!(to, "Stock: {}, {}{sheets}.", many(lots, "lot"), many(pieces, "piece"));
    }
    if let (Some(pumps), Some(requirements)) = (read.pumps, read.requirements) {
        let models = read.models.iter();
        let models: Vec<String> = models.map(|m| format!("{} of {}", m.pumps, m.model)).collect();
        let requirements = many(requirements, "requirement");
        out!(to, "Pumps: {} ({}), {requirements}.", many(pumps, "pump"), models.join(", "));
    }
    if !read.not_measured.is_empty() {
        out!(to, "Not measured, so that nothing would be planned for them:");
    }
    for pump in &read.not_measured {
        out!(to, "  {} waits for {}", pump.tag, pump.waits_for.join(", "));
    }
    if !read.unused.is_empty() {
        out!(to, "Not used: {}.", read.unused.join("; "));
    }
    match (read.lots, read.pumps) {
        (Some(_), None) => {
            out!(
                to,
                "Not checked, since there are no pumps: fit codes, sections and gasket materials."
            )
        }
        (None, Some(_)) => {
            out!(to, "Not checked, since there is no stock: whether it has the fit codes.")
        }
        _ => {}
    }
}
