//! Counts of a workbook changed within its own bytes: formats, formulas, comments and pictures stay as they are.
//!
//! Of an .xlsx or .xlsm file, parts that are not touched are copied packed as they are. In a sheet's part only the
//! values of the named cells change, and the stored results of formulas that depend on them are emptied.
//!
//! # Decisions
//!
//! - A result is emptied and not worked out: a spreadsheet program does that, once it is asked to (`fullCalcOnLoad`).
//! - A formula that does not tell what it reads (`references`) counts as depending. An empty result is asked about
//!   when it is read; a stale one is believed.
//! - The chain of calculation stays: cells with formulas stay cells with formulas.

mod cells;
mod dependents;
mod recalculation;
mod references;
mod text;

use std::collections::{BTreeMap, HashMap, HashSet};
use std::io::{Cursor, Read, Write};

use zip::ZipWriter;

use super::TEXT_ENDS;
use super::archive::{self, Archive, AtMost, Kind, Trouble, broken, cut_short, key};
use super::memory::Memory;
use super::survey::Survey;
use crate::problem::{Place, Problem, Spot};
use crate::sheet::{Book, Cell, Sheet};
use cells::{CellBytes, CellFormula, each_cell, edited, with_count, without_result};
use dependents::{FormulaCell, Stale, stale};
use references::{Area, references};

/// A count for a cell of a workbook.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CellCount {
    /// Name of the sheet.
    pub sheet: String,
    /// Row, from 0.
    pub row: u32,
    /// Column, from 0.
    pub column: u32,
    /// The count.
    pub count: u32,
}

/// A workbook with changed counts.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Patched {
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// Counts that were not written, since a formula is in the cell.
    pub formulas: Vec<CellCount>,
    /// Number of stored results that were emptied.
    pub emptied: usize,
    /// Number of formulas that do not tell what they read; their results are among the emptied ones.
    pub unclear: usize,
    /// Whether it has pivot tables, which show the old counts until they are refreshed.
    pub has_pivots: bool,
    /// Whether it was signed; the signature no longer holds.
    pub was_signed: bool,
}

/// Cells whose results were emptied: sheet, row and column.
type Emptied = HashSet<(String, u32, u32)>;

/// Changes counts of a workbook that was read from these bytes, and reads it back. `None`: its format cannot be changed
/// in place.
///
/// # Errors
/// One problem: a cell is not there, or the file is damaged or larger than `memory` allows.
///
/// ```
/// use gapwright::read::{CellCount, Memory, patched, workbook};
/// let bytes = b"Item;On hand\nS-1;4\n";
/// let memory = Memory::default();
/// let book = workbook("stock.csv", bytes.to_vec(), &mut memory.clone()).unwrap();
/// let change = CellCount { sheet: "stock".into(), row: 1, column: 1, count: 3 };
/// let done = patched(&book, bytes, &[change], &memory).unwrap().expect("a .csv file can be changed");
/// assert_eq!(done.bytes, b"Item;On hand\nS-1;3\n");
/// ```
pub fn patched(
    book: &Book,
    bytes: &[u8],
    changes: &[CellCount],
    memory: &Memory,
) -> Result<Option<Patched>, Problem> {
    let Some((done, emptied)) = changed(&book.file, bytes, changes, memory)? else {
        return Ok(None);
    };
    let after = super::workbook(&book.file, done.bytes.clone(), &mut memory.renewed())?;
    let written = |change: &&CellCount| !done.formulas.contains(change);
    let changes: Vec<&CellCount> = changes.iter().filter(written).collect();
    match differing(book, &after, &changes, &emptied) {
        None => Ok(Some(done)),
        Some(at) => Err(Problem::new(
            at,
            "a cell that reads differently after the counts were changed",
            "the same cells as before, and the new counts",
            "this is a defect of gapwright: please report it with the workbook",
        )),
    }
}

/// Whether a workbook of these bytes can be changed in place.
pub fn can_be_patched(file: &str, bytes: &[u8], memory: &Memory) -> bool {
    match bytes.starts_with(b"PK") {
        true => {
            let kind =
                archive::open(file, bytes, memory).and_then(|opened| archive::kind(file, &opened));
            kind.is_ok_and(|kind| kind == Kind::Xlsx)
        }
        false => super::has_extension(file, &TEXT_ENDS),
    }
}

/// The first cell that is neither as before nor one of these counts. A result that is asked for again is as before.
fn differing(
    before: &Book,
    after: &Book,
    changes: &[&CellCount],
    emptied: &Emptied,
) -> Option<Place> {
    let wanted: HashMap<(&str, u32, u32), u32> = changes
        .iter()
        .map(|change| ((change.sheet.as_str(), change.row, change.column), change.count))
        .collect();
    if before.sheets.len() != after.sheets.len() {
        return Some(Place::file(&before.file));
    }
    for (old, new) in before.sheets.iter().zip(&after.sheets) {
        let cells = |sheet: &Sheet| -> BTreeMap<(u32, u32), Cell> {
            let rows = sheet.rows.iter();
            let cells = rows.flat_map(|row| row.cells.iter().map(move |cell| (row.number, cell)));
            cells.map(|(row, (column, cell))| ((row, *column), cell.clone())).collect()
        };
        let (old_cells, new_cells) = (cells(old), cells(new));
        let holds =
            |at: &(u32, u32)| match (wanted.get(&(&*old.name, at.0, at.1)), new_cells.get(at)) {
                (Some(count), Some(cell)) => {
                    cell.number() == Some(f64::from(*count)) || cell.show() == count.to_string()
                }
                (Some(_), None) => false,
                (None, Some(Cell::Uncalculated(_))) => true,
                // A further cell of an array has no formula of its own.
                (None, None) if emptied.contains(&(old.name.clone(), at.0, at.1)) => true,
                (None, new) => old_cells.get(at) == new,
            };
        if let Some((row, column)) = old_cells.keys().chain(new_cells.keys()).find(|at| !holds(at))
        {
            return Some(old.place(*row, *column));
        }
    }
    None
}

fn changed(
    file: &str,
    bytes: &[u8],
    changes: &[CellCount],
    memory: &Memory,
) -> Result<Option<(Patched, Emptied)>, Problem> {
    if !can_be_patched(file, bytes, memory) {
        return Ok(None);
    }
    if !bytes.starts_with(b"PK") {
        let patched = text::patched(bytes, changes);
        let bytes = patched.ok_or_else(|| broken(file, None, "a count is no longer there"))?;
        return Ok(Some((Patched { bytes, ..Patched::default() }, Emptied::new())));
    }
    let mut archive = archive::open(file, bytes, memory)?;
    if changes.is_empty() {
        let same = Patched { bytes: bytes.to_vec(), ..Patched::default() };
        return Ok(Some((same, Emptied::new())));
    }
    let survey = Survey::take(file, &mut archive, memory)?;
    Workbook { file, memory, archive, survey, sheets: Vec::new() }.with(changes).map(Some)
}

/// A sheet with its part.
struct SheetPart {
    name: String,
    /// Name of its part, in lower case.
    part: String,
}

struct Workbook<'b> {
    file: &'b str,
    memory: &'b Memory,
    archive: Archive<'b>,
    survey: Survey,
    sheets: Vec<SheetPart>,
}

/// A text that several cells share, with the cell that has it.
type SharedText<'t> = ((u32, u32), &'t str);

/// Facts about the formulas of all sheets.
#[derive(Default)]
struct Formulas {
    cells: Vec<FormulaCell>,
    /// Sheet, row and column of each.
    at: HashMap<(usize, u32, u32), usize>,
    /// Results of more than one cell, with the number of the formula.
    arrays: Vec<(Area, usize)>,
}

impl Formulas {
    /// The formula whose result a cell shows.
    fn of(&self, sheet: usize, (row, column): (u32, u32)) -> Option<usize> {
        let own = self.at.get(&(sheet, row, column)).copied();
        own.or_else(|| {
            let mut arrays = self.arrays.iter();
            let array = arrays.find(|(area, _)| area.sheet == sheet && area.holds((row, column)));
            array.map(|(_, formula)| *formula)
        })
    }
}

impl Workbook<'_> {
    fn with(mut self, changes: &[CellCount]) -> Result<(Patched, Emptied), Problem> {
        let parts = self.survey.sheet_parts();
        self.sheets = parts.into_iter().map(|(name, part)| SheetPart { name, part }).collect();
        let formulas = self.formulas()?;
        let mut counts: BTreeMap<(usize, u32, u32), u32> = BTreeMap::new();
        let mut unwritten: Vec<CellCount> = Vec::new();
        for change in changes {
            let sheet = self.sheets.iter().position(|sheet| sheet.name == change.sheet);
            let sheet = sheet.ok_or_else(|| self.no_cell(change))?;
            match formulas.of(sheet, (change.row, change.column)) {
                Some(_) => unwritten.push(change.clone()),
                None => drop(counts.insert((sheet, change.row, change.column), change.count)),
            }
        }
        let changed: Vec<Area> =
            counts.keys().map(|(sheet, row, column)| Area::cell(*sheet, (*row, *column))).collect();
        let stale = stale(&formulas.cells, &changed);
        let mut edits: HashMap<String, String> = HashMap::new();
        let mut emptied = Emptied::new();
        let mut touched: HashSet<usize> = counts.keys().map(|(sheet, ..)| *sheet).collect();
        touched.extend(stale.formulas.iter().map(|at| formulas.cells[*at].sheet));
        let mut touched: Vec<usize> = touched.into_iter().collect();
        touched.sort_unstable();
        for sheet in touched {
            let part = self.sheets[sheet].part.clone();
            let text = self.text(&part)?;
            let mut found = HashSet::new();
            let mut of_part = Vec::new();
            let read = each_cell(&text, |cell| {
                let of = match counts.get(&(sheet, cell.at.0, cell.at.1)) {
                    Some(count) => {
                        found.insert(cell.at);
                        with_count(&text, &cell, *count)
                    }
                    None => stale_result(&text, &cell, sheet, &formulas, &stale),
                };
                let is_count = found.contains(&cell.at);
                if !is_count && !of.is_empty() {
                    emptied.insert((self.sheets[sheet].name.clone(), cell.at.0, cell.at.1));
                }
                of_part.extend(of);
                Ok(())
            });
            read.map_err(|trouble| self.trouble(&part, trouble))?;
            let missing = changes.iter().find(|change| {
                change.sheet == self.sheets[sheet].name
                    && counts.contains_key(&(sheet, change.row, change.column))
                    && !found.contains(&(change.row, change.column))
            });
            if let Some(missing) = missing {
                return Err(self.no_cell(missing));
            }
            edits.insert(part, edited(&text, of_part));
        }
        if !stale.formulas.is_empty() {
            let part = self.survey.workbook_part();
            let text = self.text(&part)?;
            let asked = recalculation::asked_for(&text);
            edits.insert(part.clone(), asked.map_err(|trouble| self.trouble(&part, trouble))?);
        }
        let holds = |archive: &Archive<'_>, folder: &str| {
            archive.file_names().filter_map(Result::ok).any(|name| key(&name).contains(folder))
        };
        let has_pivots = holds(&self.archive, "pivotcache");
        let was_signed = holds(&self.archive, "_xmlsignatures/");
        let bytes = self.packed(&edits)?;
        let unclear = stale.unclear;
        let count = emptied.len();
        let done =
            Patched { bytes, formulas: unwritten, emptied: count, unclear, has_pivots, was_signed };
        Ok((done, emptied))
    }

    /// Every formula, with what it reads.
    fn formulas(&mut self) -> Result<Formulas, Problem> {
        let mut all = Formulas::default();
        let names: HashMap<String, usize> =
            self.sheets.iter().enumerate().map(|(at, sheet)| (folded(&sheet.name), at)).collect();
        let sheet_of = |name: &str| names.get(&folded(name)).copied();
        for sheet in 0..self.sheets.len() {
            let part = self.sheets[sheet].part.clone();
            let text = self.text(&part)?;
            let mut found: Vec<((u32, u32), CellFormula)> = Vec::new();
            let read = each_cell(&text, |cell| {
                found.extend(cell.formula.map(|formula| (cell.at, formula)));
                Ok(())
            });
            read.map_err(|trouble| self.trouble(&part, trouble))?;
            // Of two texts with one number nobody can tell which is shared.
            let mut shared: HashMap<u32, Option<SharedText<'_>>> = HashMap::new();
            for (at, formula) in found.iter().filter(|(_, formula)| !formula.text.is_empty()) {
                if let Some(number) = formula.shared {
                    let text = (*at, formula.text.as_str());
                    let known = shared.entry(number).and_modify(|known| *known = None);
                    known.or_insert(Some(text));
                }
            }
            for (at, formula) in &found {
                let reads = match (formula.kind.as_str(), formula.shared) {
                    ("dataTable", _) => None,
                    (_, Some(number)) if formula.text.is_empty() => {
                        shared.get(&number).copied().flatten().and_then(|((row, column), text)| {
                            let shift = (
                                i64::from(at.0) - i64::from(row),
                                i64::from(at.1) - i64::from(column),
                            );
                            references(text, sheet, shift, &sheet_of)
                        })
                    }
                    _ if formula.text.is_empty() => None,
                    _ => references(&formula.text, sheet, (0, 0), &sheet_of),
                };
                let number = all.cells.len();
                let fills = match formula.fills {
                    Some([first, last])
                        if formula.kind == "array" || formula.kind == "dataTable" =>
                    {
                        let area = Area {
                            sheet,
                            rows: [first.0.min(last.0), first.0.max(last.0)],
                            columns: [first.1.min(last.1), first.1.max(last.1)],
                        };
                        // Those of one cell are found by their cell.
                        if area != Area::cell(sheet, *at) {
                            all.arrays.push((area, number));
                        }
                        area
                    }
                    _ => Area::cell(sheet, *at),
                };
                all.at.insert((sheet, at.0, at.1), number);
                all.cells.push(FormulaCell { sheet, fills, reads });
            }
        }
        Ok(all)
    }

    /// Text of a part, which is named in lower case.
    fn text(&mut self, part: &str) -> Result<String, Problem> {
        let mut text = String::new();
        let found = archive::part(self.file, &mut self.archive, part)?;
        let Some(stream) = found else {
            return Err(broken(self.file, Some(part), "it is missing"));
        };
        let mut stream = AtMost::new(stream, self.memory.most_held());
        let trouble = match stream.read_to_string(&mut text) {
            Ok(_) => return Ok(text),
            Err(_) if stream.is_spent() => Trouble::Full,
            Err(error) => Trouble::Broken(error.to_string()),
        };
        Err(of_trouble(self.file, self.memory, part, trouble))
    }

    /// The zip file with new texts for these parts; all others are copied as they are packed.
    fn packed(&mut self, edits: &HashMap<String, String>) -> Result<Vec<u8>, Problem> {
        let damaged = |_| cut_short(self.file);
        let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
        writer.set_raw_comment(self.archive.comment().into()).map_err(damaged)?;
        let mut done: HashSet<String> = HashSet::new();
        for index in 0..self.archive.len() {
            let part = self.archive.by_index_raw(index).map_err(damaged)?;
            let name = part.name().map_err(damaged)?.into_owned();
            let key = key(&name);
            match edits.get(&key) {
                None => writer.raw_copy_file(part).map_err(damaged)?,
                Some(_) if !done.insert(key.clone()) => {
                    return Err(broken(self.file, Some(&name), "it is there twice"));
                }
                Some(text) => {
                    writer.start_file(name, part.options()).map_err(damaged)?;
                    writer.write_all(text.as_bytes()).map_err(|_| cut_short(self.file))?;
                }
            }
        }
        Ok(writer.finish().map_err(damaged)?.into_inner())
    }

    fn trouble(&self, part: &str, trouble: Trouble) -> Problem {
        of_trouble(self.file, self.memory, part, trouble)
    }

    fn no_cell(&self, change: &CellCount) -> Problem {
        let CellCount { sheet, row, column, .. } = change;
        let spot = Spot::Cell { sheet: sheet.clone(), row: *row, column: *column };
        Problem::new(
            Place { file: self.file.to_string(), spot },
            "no cell to write the count into",
            "the cell that the count was read from",
            "save the workbook again from the spreadsheet program",
        )
    }
}

fn of_trouble(file: &str, memory: &Memory, part: &str, trouble: Trouble) -> Problem {
    match trouble {
        Trouble::Broken(why) => broken(file, Some(part), &why),
        Trouble::Full => memory.too_large(file, &format!("a very large part {part}")),
    }
}

/// Edits that empty a result which no longer holds.
fn stale_result(
    text: &str,
    cell: &CellBytes,
    sheet: usize,
    formulas: &Formulas,
    stale: &Stale,
) -> Vec<cells::Edit> {
    match formulas.of(sheet, cell.at) {
        Some(formula) if stale.formulas.contains(&formula) => without_result(text, cell),
        _ => Vec::new(),
    }
}

/// A sheet's name in the form that is compared.
fn folded(name: &str) -> String {
    name.to_lowercase()
}
