//! The stock workbook that an outage file took over, with the counts of its ledger.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::patched;
use crate::cli::run::{Run, Stop};
use crate::cli::voice::{Voice, must_see, out};
use crate::issue::counts::Held;
use crate::issue::key;
use crate::outage::FileRole;
use crate::outage_file::OutageFile;
use crate::problem::{Place, Problem, Problems, Spot, address};
use crate::read::{self, CellCount, Memory, Patched};
use crate::sheet::Book;
use crate::show::counted;
use crate::write;

/// Files of the stock workbook that was taken over: one, or those of a folder.
pub(super) struct Source {
    files: Vec<SourceFile>,
    is_folder: bool,
}

struct SourceFile {
    name: String,
    bytes: Vec<u8>,
    /// Whether its cells can be changed in place.
    in_place: bool,
}

/// Places for them.
pub(super) enum Target {
    File(PathBuf),
    Folder(PathBuf, Vec<PathBuf>),
}

impl Target {
    /// The files.
    pub(super) fn files(&self) -> Vec<PathBuf> {
        match self {
            Target::File(file) => vec![file.clone()],
            Target::Folder(_, files) => files.clone(),
        }
    }

    /// A folder of their own, if they have one.
    pub(super) fn folder(&self) -> Option<&Path> {
        match self {
            Target::File(_) => None,
            Target::Folder(folder, _) => Some(folder),
        }
    }
}

impl Source {
    /// The files as they were last taken over; none where nothing was, or where the outage file is damaged.
    pub(super) fn of(file: &OutageFile, memory: &Memory) -> Option<Source> {
        let taken = file.outage().taken()?;
        let stock = taken
            .files
            .iter()
            .filter(|taken| matches!(taken.role, FileRole::Stock | FileRole::StockFolder));
        let is_folder = stock.clone().any(|taken| taken.role == FileRole::StockFolder);
        let files = stock.map(|taken| {
            let bytes = file.bytes(&taken.sha256).ok()?;
            // A name with a folder in it would lead elsewhere.
            let name = Path::new(&taken.name).file_name()?.to_string_lossy().into_owned();
            let in_place = read::can_be_patched(&name, &bytes, memory);
            Some(SourceFile { name, bytes, in_place })
        });
        let files: Option<Vec<SourceFile>> = files.collect();
        files.filter(|files| !files.is_empty()).map(|files| Source { files, is_folder })
    }

    /// The place of each file, in a folder.
    pub(super) fn target(&self, folder: &Path, outage: &str) -> Target {
        match self.files.as_slice() {
            [file] if !self.is_folder => {
                Target::File(folder.join(format!("{outage}-stock.{}", file.end())))
            }
            files => {
                let home = folder.join(format!("{outage}-stock"));
                let places = files.iter().map(|file| home.join(&file.name)).collect();
                Target::Folder(home, places)
            }
        }
    }
}

impl SourceFile {
    /// Ending of the name of its copy.
    fn end(&self) -> String {
        let end = Path::new(&self.name).extension().unwrap_or_default();
        let end = end.to_string_lossy().to_lowercase();
        match end.as_str() {
            "" | "xls" | "xlsb" | "ods" => "xlsx".into(),
            _ if self.in_place => end,
            _ => "xlsx".into(),
        }
    }
}

/// Texts of a row, by heading.
type Row = Vec<(String, String)>;

/// A stock workbook with its new counts.
pub(super) struct StockCopy {
    made: Vec<Made>,
    /// Number of counts that changed.
    changed: usize,
    /// Items with pieces that have no row, each with the number of its pieces and the row of a lot of a plate.
    without_row: Vec<(String, i64, Row)>,
    /// Items with more reserved than there are.
    over_reserved: Vec<String>,
    /// The item of each cell.
    items: BTreeMap<(String, u32, u32), String>,
}

enum Made {
    /// Changed in place.
    Patched(Patched),
    /// To be written anew.
    Anew { book: Book, held: Held, after: BTreeMap<String, u32>, name: String },
}

/// Reads the files and puts the counts in.
pub(super) fn with_counts(
    file: &OutageFile,
    memory: &mut Memory,
    problems: &mut Problems,
) -> Option<StockCopy> {
    let Some(source) = Source::of(file, memory) else {
        problems.add(Problem::new(
            Place::file(&file.path().display().to_string()),
            "no stock workbook that was taken over",
            "an outage with its first plan",
            "run `gapwright kit STOCK PUMPS --outage FILE` first",
        ));
        return None;
    };
    let mut books = Vec::new();
    for one in &source.files {
        match read::workbook(&one.name, one.bytes.clone(), memory) {
            Ok(book) => books.push(book),
            Err(problem) => problems.add(problem),
        }
    }
    let sheets: Vec<Arc<_>> = books.iter().flat_map(|book| book.sheets.clone()).collect();
    let first = books.first()?;
    let whole = match source.is_folder {
        true => Book { sheets, is_text: false, ..first.clone() },
        false => first.clone(),
    };
    if source.files.iter().any(|file| !file.in_place) {
        read::warn_of_uncalculated(&whole, problems);
    }
    let held = read::held(&whole, problems)?;
    let (changes, mut copy) = changes(file, &held);
    for (one, book) in source.files.iter().zip(books) {
        let own = changes.iter().filter(|(of, _)| *of == one.name);
        let own: Vec<CellCount> = own.map(|(_, change)| change.clone()).collect();
        match read::patched(&book, &one.bytes, &own, memory) {
            Ok(Some(patched)) => copy.made.push(Made::Patched(patched)),
            Ok(None) => {
                let after = own.iter().filter_map(|change| {
                    let item =
                        copy.items.get(&(change.sheet.clone(), change.row, change.column))?;
                    Some((item.clone(), change.count))
                });
                let after = after.collect();
                let (held, name) = (held.clone(), one.name.clone());
                copy.made.push(Made::Anew { book, held, after, name });
            }
            Err(problem) => problems.add(problem),
        }
    }
    problems.none().then_some(copy)
}

/// Counts of the ledger that differ from the workbook, each with its file.
fn changes(file: &OutageFile, held: &Held) -> (Vec<(String, CellCount)>, StockCopy) {
    let mut changes = Vec::new();
    let mut copy = StockCopy {
        made: Vec::new(),
        changed: 0,
        without_row: Vec::new(),
        over_reserved: Vec::new(),
        items: BTreeMap::new(),
    };
    for lot in file.outage().stock() {
        let Some(known) = held.counts.get(&lot.item) else {
            if lot.pieces != 0 {
                let mut cut = file.outage().cut_lots();
                let cut = cut.find(|cut| key(&cut.item) == key(&lot.item));
                let row = cut.map_or(Vec::new(), |cut| cut.columns.clone());
                copy.without_row.push((lot.item.clone(), lot.pieces, row));
            }
            continue;
        };
        let (Ok(count), Spot::Cell { sheet, row, column }) =
            (u32::try_from(lot.pieces), &known.place.spot)
        else {
            continue;
        };
        if count == known.on_hand {
            continue;
        }
        if known.reserved > count {
            copy.over_reserved.push(lot.item.clone());
        }
        let change = CellCount { sheet: sheet.clone(), row: *row, column: *column, count };
        copy.items.insert((sheet.clone(), *row, *column), known.item.clone());
        changes.push((known.place.file.clone(), change));
    }
    copy.changed = changes.len();
    (changes, copy)
}

impl StockCopy {
    /// Bytes of each file.
    pub(super) fn files(&self, run: &mut Run) -> Result<Vec<Vec<u8>>, Stop> {
        let mut files = Vec::new();
        for made in &self.made {
            match made {
                Made::Patched(patched) => files.push(patched.bytes.clone()),
                Made::Anew { book, held, after, .. } => {
                    let written = run.write("writing the stock workbook", |date| {
                        write::stock_next(book, held, after, date)
                    });
                    files.push(run.made(written)?);
                }
            }
        }
        Ok(files)
    }

    /// Says what was changed, what was not, and what is lost.
    pub(super) fn tell(&self, to: Voice) {
        let made = self.made.iter().filter_map(|made| match made {
            Made::Patched(patched) => Some(patched),
            Made::Anew { .. } => None,
        });
        let patched: Vec<&Patched> = made.collect();
        let formulas: Vec<&CellCount> = patched.iter().flat_map(|made| &made.formulas).collect();
        let changed = self.changed.saturating_sub(formulas.len());
        out!(to, "Stock workbook: {} changed.", patched::many(changed, "count"));
        for CellCount { sheet, row, column, count } in formulas {
            let item = self.items.get(&(sheet.clone(), *row, *column)).map_or("", String::as_str);
            let cell = address(*row, *column);
            must_see!(
                to,
                "Not written: {item}, {count} by the ledger. A formula is in sheet {sheet}, cell {cell}."
            );
        }
        for (item, pieces, row) in &self.without_row {
            let pieces = counted(*pieces, "piece");
            let row: Vec<String> =
                row.iter().map(|(head, text)| format!("{head} {text}")).collect();
            let add = match row.as_slice() {
                [] => String::new(),
                row => format!(" Add it: {}.", row.join(", ")),
            };
            must_see!(
                to,
                "Not written: {item}, {pieces} by the ledger. The workbook has no row for it.{add}"
            );
        }
        for item in &self.over_reserved {
            must_see!(to, "{item}: more are reserved than there are. Correct Reserved in its row.");
        }
        patched::tell(&patched, to);
        for made in &self.made {
            if let Made::Anew { name, .. } = made {
                patched::tell_anew(name, to);
            }
        }
    }
}
