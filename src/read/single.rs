//! A stock workbook without pumps, checked as far as possible.

use std::path::Path;

use super::model::Library;
use super::{
    Memory, book, examples, feelers, gather, named_sheet, plates, policy, stock, table,
    unused_sheets,
};
use crate::columns;
use crate::cutting::PlateLot;
use crate::policy::Policy;
use crate::problem::{Problem, Problems};
use crate::sheet::Book;
use crate::stock::Item;

/// Contents of a stock workbook.
#[derive(Debug, Clone, PartialEq)]
pub struct Stock {
    /// Lots, in the order of the stock sheet.
    pub lots: Vec<Item>,
    /// Sheets that pieces can be cut from.
    pub plates: Vec<PlateLot>,
    /// Columns and sheets that are not used.
    pub unused: Vec<String>,
    /// Warnings for the user.
    pub warnings: Vec<Problem>,
}

/// Kinds of workbook.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Holds {
    /// Stock.
    Stock,
    /// Pumps.
    Pumps,
    /// Both, each on its sheet.
    Both,
    /// Neither.
    Nothing,
}

/// Kind of a workbook, by the names and headings of its sheets.
pub fn holds(book: &Book) -> Holds {
    let found = |name: &str, needed: &[&str]| {
        let mut sheets = book.sheets.iter();
        named_sheet(book, name).is_some() || sheets.any(|sheet| table::has_headings(sheet, needed))
    };
    let has_stock = found("Stock", &columns::NEEDED_OF_STOCK);
    let has_pumps = found("Pumps", &columns::NEEDED_OF_PUMPS);
    match (has_stock, has_pumps) {
        (true, true) => Holds::Both,
        (true, false) => Holds::Stock,
        (false, true) => Holds::Pumps,
        (false, false) => Holds::Nothing,
    }
}

/// Whether a sheet of any name has the headings of the first kind, and none has those of the other.
pub(super) fn is_rather(book: &Book, one: &[&str], other: &[&str]) -> bool {
    let any = |needed: &[&str]| book.sheets.iter().any(|s| table::has_headings(s, needed));
    any(one) && !any(other)
}

/// Reads and checks a stock workbook without pumps. A tolerance, kind or material is known if any model knows it.
/// Whether the pumps find fitting pieces cannot be checked.
///
/// # Errors
/// Every problem, each with its place and fix.
pub fn stock_alone(
    path: &Path,
    models: Option<&Path>,
    memory: &mut Memory,
) -> Result<Stock, Problems> {
    let mut problems = Problems::new();
    let library = Library::open(models, &mut problems);
    let mut book = gather(book(path, memory), &mut problems);
    book.iter().for_each(|book| examples::refuse(book, &mut problems));
    policy::confirm([&mut book, &mut None], &mut problems);
    let names = library.names();
    let models = names.iter().filter_map(|name| library.find(name, &mut problems));
    let models: Vec<_> = models.collect();
    let draft = book.as_ref().and_then(|book| stock::read(book, &mut problems));
    let read = book.as_ref().zip(draft).map(|(book, mut draft)| {
        let name = draft.sheet.sheet.name.clone();
        let sheets = plates::read(book, &name, &mut draft.names, &mut problems);
        // Gauges stand in the pump workbook.
        let known = (&models[..], None, Policy::default().coverage);
        let lots = stock::settle_tolerances(&draft, known, &|_, _| true, &mut problems);
        let sheet_lots = sheets.settle(known, &|_, _| true, &mut problems);
        stock::check_kinds(&draft, &models, &mut problems);
        let feelers = feelers::read(book, &name, &mut problems);
        let used = [&draft.sheet.sheet, &sheets.sheets.sheet, &sheets.fit];
        let used = used.into_iter().chain(&feelers.sheet);
        let used: Vec<&str> = used.map(|sheet| sheet.name.as_str()).collect();
        let of_stock = draft.unused.clone();
        let mut unused = [of_stock, sheets.unused.clone(), feelers.unused].concat();
        unused.extend(unused_sheets(&Some(book.clone()), &used, &mut problems));
        Stock { lots, plates: sheet_lots, unused, warnings: Vec::new() }
    });
    problems.settle(read).map(|(stock, warnings)| Stock { warnings, ..stock })
}
