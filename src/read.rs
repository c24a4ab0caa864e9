//! Readers: files in, a checked [`Job`] or every problem out.
//!
//! [`job`] reads a stock workbook, a pump workbook and the models into a [`Job`]. [`forecast()`] does so before the pumps
//! are measured, [`bench()`] reads readings of finished packs and clearances, [`issue_log()`] the issue log,
//! [`packs_of_plan`] a plan that was written before, [`certificate()`] its certificate. No reader stops at the first problem: each returns its value, or
//! all [`Problems`] with their cells and fixes.
//!
//! ```
//! use gapwright::read::{self, Sources};
//!
//! # std::env::set_current_dir(env!("CARGO_MANIFEST_DIR")).unwrap();
//! let stock = "samples/tiny/stock.csv";
//! // The stock in place of the pumps: no job, but a list that says so.
//! let sources = Sources { stock: stock.into(), pumps: stock.into(), ..Sources::default() };
//! let problems = read::job(&sources).unwrap_err();
//! for problem in problems.sorted() {
//!     println!("{problem}");
//! }
//! ```

mod book;
pub(crate) mod bounded;
mod certificate;
mod drawing;
mod examples;
mod executed_plan;
mod expected;
mod feelers;
mod filled_in;
mod fitted_pieces;
mod forecast;
mod gauges;
mod history;
mod issue_log;
mod materials;
mod model;
mod old_slips;
mod open_elsewhere;
mod parser_words;
mod pieces;
mod plan;
mod plan_inputs;
mod plan_side;
mod planned_kits;
mod plates;
mod policy;
mod pumps;
mod questions;
mod readings;
mod rows;
mod single;
mod size;
mod stock;
mod stock_counts;
mod table;
mod unused_stock;

use std::collections::HashSet;
use std::path::PathBuf;
use std::sync::Arc;

use crate::columns;
use crate::digest::sha256;
use crate::forecast::Forecast;
use crate::job::{Input, Job, Parts, too_dear};
use crate::model::Model;
use crate::policy::Policy;
use crate::problem::{Place, Problem, Problems};
use crate::sheet::{Book, Sheet, numbered};
use crate::stock::Code;
use gauges::Gauges;

pub use book::{
    CellCount, Memory, Patched, bytes_of, can_be_patched, csv_files, open as book, patched,
    workbook,
};
pub use certificate::certificate;
pub use executed_plan::{carried, carried_so_far};
pub use filled_in::is_filled_in;
pub use forecast::{Ahead, forecast};
pub use issue_log::{is_issue_log, issue_log, log_beside_stock};
pub use model::{BUILT_IN, Library, STARTING_MODEL, parse as parse_model};
pub use old_slips::old_slips;
pub use open_elsewhere::open_elsewhere;
pub use pieces::stated as stated_pieces;
pub use plan::{Packs, listed_not_measured, packs as packs_of_plan};
pub use plan_side::plan_side;
pub use planned_kits::{PlannedKits, planned_kits, planned_layouts};
pub use pumps::{PumpColumn, pump_column};
pub use readings::{Back, ReadingSources as BenchSources, bench, unit_question};
pub use single::{Holds, Stock, holds, stock_alone};
pub use stock_counts::{held, warn_of_uncalculated};

/// Files and settings that a job is read from.
#[derive(Debug, Clone, Default)]
pub struct Sources {
    /// Stock workbook, or a folder of CSV files.
    pub stock: PathBuf,
    /// Pump workbook, or a folder of CSV files.
    pub pumps: PathBuf,
    /// Folder of model files, in addition to the built-in ones.
    pub models: Option<PathBuf>,
    /// Settings from the command line: name as on the Policy sheet, value.
    pub settings: Vec<(String, String)>,
    /// Day of the run, as [`crate::day::number`] counts; a gauge past its due date is then warned of.
    pub day: Option<i64>,
    /// Memory that reading the workbooks may take.
    pub memory: Memory,
    /// Whether the example rows of blank workbooks count as rows; they are refused otherwise.
    pub examples: bool,
    /// Knowledge ahead of readings, for pumps that are not measured yet.
    pub ahead: Ahead,
}

/// Reads and checks a job.
///
/// # Errors
/// Every problem in all files, each with its place and fix.
pub fn job(sources: &Sources) -> Result<Job, Problems> {
    let mut problems = Problems::new();
    let memory = &mut sources.memory.clone();
    let stock = gather(book(&sources.stock, memory), &mut problems);
    let pumps = gather(book(&sources.pumps, memory), &mut problems);
    let past = past(sources, memory, &mut problems);
    check([stock, pumps, past], sources, false, problems).map(|outlook| outlook.into_parts().0)
}

/// Workbook of past readings, if there is one.
fn past(sources: &Sources, memory: &mut Memory, problems: &mut Problems) -> Option<Book> {
    let path = sources.ahead.history.as_ref()?;
    gather(book(path, memory), problems)
}

/// Checks workbooks that are already read; models and settings come from `sources`.
///
/// # Errors
/// Every problem in all of them, as for [`job`].
pub fn job_of(stock: Book, pumps: Book, sources: &Sources) -> Result<Job, Problems> {
    let mut problems = Problems::new();
    let past = past(sources, &mut sources.memory.clone(), &mut problems);
    let books = [Some(stock), Some(pumps), past];
    check(books, sources, false, problems).map(|outlook| outlook.into_parts().0)
}

/// Checks the workbooks that could be read and adds the problems of the others: stock, pumps, past readings. Before the
/// outage, pumps that are not measured stand among the others, and each must be known ahead.
fn check(
    [mut stock_book, mut pumps_book, past]: [Option<Book>; 3],
    sources: &Sources,
    before: bool,
    mut problems: Problems,
) -> Result<Forecast, Problems> {
    if let (Some(stock), Some(pumps)) = (&stock_book, &pumps_book)
        && single::is_rather(stock, &columns::NEEDED_OF_PUMPS, &columns::NEEDED_OF_STOCK)
        && single::is_rather(pumps, &columns::NEEDED_OF_STOCK, &columns::NEEDED_OF_PUMPS)
    {
        problems.add(Problem::new(
            Place::file(&stock.file),
            format!("the pumps, and {} holds the stock", pumps.file),
            "the stock workbook first, then the pump workbook",
            "give the two the other way round",
        ));
        return Err(problems);
    }
    let file = |book: &Option<Book>| book.as_ref().map(|book| book.file.clone());
    // One folder may hold both stock and pumps.
    let together = file(&stock_book) == file(&pumps_book);
    if !sources.examples {
        let own_pumps = pumps_book.iter().filter(|_| !together);
        stock_book.iter().chain(own_pumps).for_each(|book| examples::refuse(book, &mut problems));
    }
    let library = model::Library::open(sources.models.as_deref(), &mut problems);
    policy::confirm([&mut stock_book, &mut pumps_book], &mut problems);
    let mut policy = Policy::default();
    let of_policy = pumps_book.as_ref().map(|book| policy::read(book, &mut policy, &mut problems));
    policy::command_line(&sources.settings, &mut policy, &mut problems);
    let gauges = pumps_book.as_ref().map_or_else(Gauges::default, |book| {
        gauges::read(book, &policy, sources.day, &mut problems)
    });
    let mut stock = stock_book.as_ref().and_then(|book| stock::read(book, &mut problems));
    // An unusable stock sheet must not hide the problems of the other sheets.
    let none = &mut (String::new(), stock::Names::default());
    let sheets = stock_book.as_ref().map(|book| {
        let (stock, names) = match &mut stock {
            Some(stock) => (&stock.sheet.sheet.name, &mut stock.names),
            None => (&none.0, &mut none.1),
        };
        plates::read(book, stock, names, &mut problems)
    });
    let feelers = stock_book.as_ref().map(|book| {
        let stock = stock.as_ref().map_or("", |stock| &stock.sheet.sheet.name);
        feelers::read(book, stock, &mut problems)
    });
    let feelers = feelers.unwrap_or_default();
    let ahead = (&sources.ahead, past.as_ref(), before);
    let pumps = pumps_book
        .as_ref()
        .and_then(|book| pumps::read(book, &library, (&policy, &gauges), ahead, &mut problems));
    let (Some(mut stock), Some(pumps), Some(sheets)) = (stock, pumps, sheets) else {
        return problems.settle(None).map(|(outlook, _)| outlook);
    };
    let known = (&pumps.models[..], Some(&gauges), policy.coverage);
    let places = pumps.requests().flat_map(|request| request.model.packs.iter().zip(request.fits));
    let places: HashSet<(&str, &str)> =
        places.map(|(pack, code)| (pack.kind.as_str(), code.key())).collect();
    let asked = |kind: &str, fit: &Code| places.contains(&(kind, fit.key()));
    let mut items = stock::settle_tolerances(&stock, known, &asked, &mut problems);
    let lots = sheets.settle(known, &asked, &mut problems);
    let gaskets = stock.gaskets().chain(sheets.gaskets());
    materials::check(gaskets, &pumps.models, &mut problems);
    stock::check_kinds(&stock, &pumps.models, &mut problems);
    stock::check_cartons(&stock, &policy, &mut problems);
    stock::check_sections(&stock, &pumps.models, &mut problems);
    let codes: Vec<_> = stock.codes.iter().cloned().chain(sheets.codes()).collect();
    pumps::check_fits(&pumps, &codes, &mut problems);
    if problems.none() {
        let (models, pumps) = (&pumps.models, &pumps.pumps);
        let names = &mut stock.names;
        items.extend(sheets.cut_items(&lots, models, pumps, names, &mut problems));
    }
    let unasked = unused_stock::check(&stock, &pumps, &mut problems);
    let mut unused =
        [stock.unused.clone(), sheets.unused.clone(), feelers.unused, pumps.unused.clone()]
            .concat();
    unused.extend(gauges.unused.clone());
    unused.extend(of_policy.into_iter().flatten());
    let used = [&stock.sheet.sheet, &sheets.sheets.sheet, &sheets.fit];
    let used = used.into_iter().chain(&feelers.sheet);
    let used: Vec<&str> = used.map(|sheet| sheet.name.as_str()).collect();
    unused.extend(unasked);
    let policy_sheet = pumps_book.as_ref().and_then(|book| named_sheet(book, "Policy"));
    let policy_sheet = policy_sheet.map(|sheet| sheet.name.as_str());
    let of_pumps = [pumps.sheet.as_str()].into_iter().chain(policy_sheet);
    let of_pumps: Vec<&str> = of_pumps.chain(gauges.sheet.as_deref()).collect();
    if together {
        unused.extend(unused_sheets(&stock_book, &[used, of_pumps].concat(), &mut problems));
    } else {
        unused.extend(unused_sheets(&stock_book, &used, &mut problems));
        unused.extend(unused_sheets(&pumps_book, &of_pumps, &mut problems));
    }
    let books = [
        ("stock workbook", stock_book.as_ref()),
        ("pump workbook", pumps_book.as_ref()),
        ("past readings", past.as_ref()),
    ];
    let inputs = inputs(&books, &pumps.models, &library);
    let not_measured = pumps.not_measured();
    let parts = Parts {
        stock: items,
        plates: lots,
        models: pumps.models,
        pumps: pumps.pumps,
        policy,
        stock_sheet: stock.sheet,
        plates_sheet: sheets.sheets,
        fit_sheet: sheets.fit,
        feelers_sheet: feelers.sheet.unwrap_or_default(),
        feelers: feelers.blades,
        gauges: gauges.list,
        standing: Vec::new(),
        hold_back: Vec::new(),
    };
    if let Some(item) = too_dear(&parts) {
        problems.add(Problem::new(
            parts.stock_sheet.sheet.whole(),
            format!("prices, counts and levels that come to more than 4600000000000 in all, most of it for `{item}`"),
            "sums that can be worked out",
            "correct Unit cost, On hand, Pack qty or the levels of that item",
        ));
    }
    let expected = pumps.expected;
    problems.settle(Some(parts)).map(|(parts, warnings)| {
        let job = Job { inputs, unused, warnings, not_measured, ..Job::of_checked(parts) };
        Forecast::of_checked(job, expected)
    })
}

/// Reads and checks pumps, models and policy without a stock. Pieces cannot be chosen for such a job.
///
/// # Errors
/// Every problem in all files, as for [`job`].
pub fn pumps_alone(sources: &Sources) -> Result<Job, Problems> {
    let mut problems = Problems::new();
    let memory = &mut sources.memory.clone();
    let library = model::Library::open(sources.models.as_deref(), &mut problems);
    let mut book = gather(book(&sources.pumps, memory), &mut problems);
    book.iter().for_each(|book| examples::refuse(book, &mut problems));
    policy::confirm([&mut None, &mut book], &mut problems);
    let mut policy = Policy::default();
    let of_policy = book.as_ref().map(|book| policy::read(book, &mut policy, &mut problems));
    policy::command_line(&sources.settings, &mut policy, &mut problems);
    let gauges = book.as_ref().map_or_else(Gauges::default, |book| {
        gauges::read(book, &policy, sources.day, &mut problems)
    });
    let ahead = (&Ahead::default(), None, false);
    let pumps = book
        .as_ref()
        .and_then(|book| pumps::read(book, &library, (&policy, &gauges), ahead, &mut problems));
    let job = pumps.map(|pumps| Job {
        inputs: inputs(&[("pump workbook", book.as_ref())], &pumps.models, &library),
        not_measured: pumps.not_measured(),
        unused: pumps.unused.into_iter().chain(of_policy.into_iter().flatten()).collect(),
        ..Job::of_checked(Parts {
            models: pumps.models,
            pumps: pumps.pumps,
            policy,
            gauges: gauges.list,
            ..Parts::default()
        })
    });
    problems.settle(job).map(|(job, warnings)| Job { warnings, ..job })
}

/// Files that a job was read from, with their hashes.
fn inputs(books: &[(&str, Option<&Book>)], models: &[Model], library: &Library) -> Vec<Input> {
    let books = books.iter().filter_map(|(role, book)| {
        let book = (*book)?;
        Some(Input { role: role.to_string(), file: book.file.clone(), sha256: book.sha256.clone() })
    });
    let models_read = models.iter().map(|model| Input {
        role: "model".into(),
        file: library.source_of(&model.name),
        sha256: model.sha256.clone(),
    });
    let drawings = models.iter().filter_map(|model| {
        Some(Input {
            role: "drawing".into(),
            file: library.drawing_file(&model.name)?,
            sha256: sha256(&model.drawing.as_ref()?.bytes),
        })
    });
    let materials = library.own_materials().map(|(file, sha256)| Input {
        role: "materials table".into(),
        file: file.clone(),
        sha256: sha256.clone(),
    });
    books.chain(models_read).chain(drawings).chain(materials).collect()
}

/// Sheets that are found by name alone, with the headings that show one under another name.
const BY_NAME: [(&str, &[&str]); 4] = [
    ("Policy", &["Setting", "Value"]),
    ("Plate", &columns::NEEDED_OF_PLATE),
    ("Fit", &columns::NEEDED_OF_FIT),
    ("Feelers", &feelers::NEEDED),
];

/// Sheets of a workbook that are not used. One that looks like a known sheet under another name is reported.
fn unused_sheets(book: &Option<Book>, used: &[&str], problems: &mut Problems) -> Vec<String> {
    let sheets = book.iter().flat_map(|book| &book.sheets);
    let confirms = |sheet: &Sheet| {
        columns::key(&sheet.name) == columns::key("Policy") && policy::confirms_only(sheet)
    };
    let others = sheets.filter(|s| !used.contains(&s.name.as_str()) && !confirms(s));
    let said = others.map(|sheet| {
        let key = columns::key(&sheet.name);
        // Many other tables have a thickness and a tolerance.
        let of_blades = ["fee", "bla"].iter().any(|part| key.contains(part));
        let meant = BY_NAME.iter().find(|(name, needed)| {
            (*name != "Feelers" || of_blades) && table::has_headings(sheet, needed)
        });
        if let Some((name, _)) = meant {
            let (expected, fix) = match key == columns::key(name) {
                true => {
                    let home = if *name == "Policy" { "pump" } else { "stock" };
                    (
                        format!("the sheet {name} in the {home} workbook"),
                        format!("move it to the {home} workbook if it should count"),
                    )
                }
                false => (
                    format!("the name {name}, if that is what it is"),
                    format!("name the sheet {name} if it should count"),
                ),
            };
            problems.warn(Problem::new(
                sheet.whole(),
                format!("a sheet with the headings of the sheet `{name}`, which is not read"),
                expected,
                fix,
            ));
        }
        format!("sheet {} of {}", sheet.name, sheet.file)
    });
    said.collect()
}

fn gather<T>(result: Result<T, Problems>, problems: &mut Problems) -> Option<T> {
    result.map_err(|found| problems.absorb(found)).ok()
}

/// Time at which a file or a folder of tables was changed last, and its size in bytes.
pub type Stamp = (std::time::SystemTime, u64);

/// Stamp of a workbook; `None` if it cannot be looked at.
pub fn stamp(path: &std::path::Path) -> Option<Stamp> {
    let of = |path: &std::path::Path| {
        let there = std::fs::metadata(path).ok()?;
        Some((there.modified().ok()?, there.len()))
    };
    if !path.is_dir() {
        return of(path);
    }
    let tables = csv_files(path).ok()?;
    let stamps: Option<Vec<Stamp>> = tables.iter().map(|table| of(table)).collect();
    let stamps = stamps?;
    let last = stamps.iter().map(|(time, _)| *time).max()?;
    Some((last, stamps.iter().map(|(_, size)| size).sum()))
}

/// Sheet of this name; case, spaces and punctuation are ignored.
fn named_sheet<'a>(book: &'a Book, name: &str) -> Option<&'a Arc<Sheet>> {
    let wanted = columns::key(name);
    book.sheets.iter().find(|s| columns::key(&s.name) == wanted)
}

/// Whether a sheet is found by its name as the sheet of pumps.
pub fn is_pump_sheet(name: &str) -> bool {
    columns::key(name) == columns::key("Pumps")
}

/// Numbered sheets of this name, in order. A missing number is a problem.
fn numbered_sheets<'a>(book: &'a Book, name: &str, problems: &mut Problems) -> Vec<&'a Arc<Sheet>> {
    let there: Vec<_> =
        (1..).map_while(|number| named_sheet(book, &numbered(name, number))).collect();
    let wanted = columns::key(name);
    let is_one = |sheet: &&Arc<Sheet>| {
        let key = columns::key(&sheet.name);
        let number = key.strip_prefix(&wanted);
        number.is_some_and(|number| number.bytes().all(|byte| byte.is_ascii_digit()))
    };
    if !there.is_empty() && book.sheets.iter().filter(is_one).count() > there.len() {
        problems.add(Problem::new(
            Place::file(&book.file),
            format!("no sheet {}", numbered(name, there.len() + 1)),
            "every numbered sheet that `gapwright kit` wrote",
            "undo the change, or make the plan again",
        ));
    }
    there
}

/// Sheet of this name, else the first one with all the needed headings.
fn find_sheet<'a>(
    book: &'a Book,
    name: &str,
    needed: &[&str],
    problems: &mut Problems,
) -> Option<&'a Arc<Sheet>> {
    let wanted = columns::key(name);
    let (named, others): (Vec<_>, Vec<_>) =
        book.sheets.iter().partition(|s| columns::key(&s.name) == wanted);
    let alike: Vec<_> =
        others.into_iter().filter(|sheet| table::has_headings(sheet, needed)).collect();
    // With several candidates, one would be read and the others ignored, and the intended one is unknown.
    let several = match (named.as_slice(), alike.as_slice()) {
        ([], [_, second, ..]) | ([_, second, ..], _) => Some(second),
        _ => None,
    };
    if let Some(second) = several {
        problems.add(Problem::new(
            second.whole(),
            format!("a second sheet that could be the sheet `{name}`"),
            format!("one sheet named {name}"),
            format!(
                "name the one that counts {name} and the others otherwise, or put them together"
            ),
        ));
        return None;
    }
    if !named.is_empty() {
        for other in &alike {
            problems.warn(Problem::new(
                other.whole(),
                format!("a sheet with the headings of the sheet `{name}`, which is not read"),
                format!("one sheet with these headings, named {name}"),
                format!("move its rows to the sheet {name} if they should count"),
            ));
        }
    }
    let found = named.into_iter().chain(alike).next();
    // A CSV file has one sheet, named after the file.
    let found = found.or_else(|| match book.sheets.as_slice() {
        [only] if only.file == book.file && book.is_text => Some(only),
        _ => None,
    });
    if found.is_none() {
        let names: Vec<&str> = book.sheets.iter().map(|s| s.name.as_str()).collect();
        problems.add(Problem::new(
            Place::file(&book.file),
            format!("no sheet `{name}` (sheets: {})", names.join(", ")),
            format!("a sheet named {name}, or one with the headings {}", needed.join(", ")),
            format!("name the sheet {name}; `gapwright blank` writes one to start from"),
        ));
    }
    found
}
