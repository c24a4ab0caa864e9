//! Reads the policy: the Policy sheet, then the command line.

use std::sync::Arc;

use super::book::address;
use super::named_sheet;
use super::rows::Lone;
use super::table::{Table, TableRow};
use crate::columns::key;
use crate::policy::{Policy, SettingError};
use crate::problem::{Place, Problem, Problems, fix_name};
use crate::sheet::{Book, Cell, Sheet};

/// Takes the settings of the Policy sheet, if the workbook has one; gives its columns that are not used.
pub(super) fn read(book: &Book, policy: &mut Policy, problems: &mut Problems) -> Vec<String> {
    const NEEDED: [&str; 2] = ["Setting", "Value"];
    let Some(sheet) = named_sheet(book, "Policy") else {
        return Vec::new();
    };
    let Some(table) = Table::find_of(sheet, &NEEDED, Lone::IsFine, problems) else {
        return Vec::new();
    };
    let unused = table.unknown(&NEEDED.map(String::from), |_| false, problems);
    let setting_column = table.needed("Setting", problems);
    let value_column = table.needed("Value", problems);
    let (Some(setting_column), Some(value_column)) = (setting_column, value_column) else {
        return unused;
    };
    for line in table.lines() {
        let Some(setting) = line.text(Some(setting_column), problems) else {
            continue;
        };
        // A setting without a value keeps its default.
        let Some(value) = line.text(Some(value_column), problems) else {
            continue;
        };
        let (name_at, value_at) = (line.place(setting_column), line.place(value_column));
        // Put to its cell by `confirm`.
        if key(&setting) == CONFIRMED {
            continue;
        }
        set(policy, &setting, &value, name_at, value_at, problems);
    }
    unused
}

/// Key of the setting that confirms a cell.
const CONFIRMED: &str = "confirmed";

/// Sheet, row and column from 0, and value of a text such as `Stock!D5 = 0.0214 mm`.
fn confirmation(text: &str) -> Option<(String, (u32, u32), &str)> {
    let (cell, value) = text.split_once('=')?;
    let (sheet, cell) = cell.trim().rsplit_once('!')?;
    let sheet = sheet.trim().trim_matches('\'').replace("''", "'");
    let value = value.trim();
    (!value.is_empty()).then_some((sheet, address(cell.trim())?, value))
}

/// Puts the rows `Confirmed | Sheet!Cell = value` of the sheets Policy, in whichever workbooks there are, to the cells
/// that they are about. A cell that is not there is a problem, unless it may be in the workbook that is not read.
pub(super) fn confirm([stock, pumps]: [&mut Option<Book>; 2], problems: &mut Problems) {
    let whole = stock.is_some() && pumps.is_some();
    let books = [&*stock, &*pumps].into_iter().flatten();
    let mut policies: Vec<Arc<Sheet>> =
        books.filter_map(|book| named_sheet(book, "Policy").cloned()).collect();
    // One folder may hold both.
    policies.dedup_by_key(|policy| policy.file.clone());
    for policy in policies {
        for (place, text) in confirmed_rows(&policy) {
            let Some((name, at, meant)) = confirmation(&text) else {
                problems.add(Problem::new(
                    place,
                    format!("`{text}` for `Confirmed`"),
                    "a cell and its value, such as `Stock!D5 = 0.0214 mm`",
                    "write the sheet, `!`, the cell, `=` and the value that is meant",
                ));
                continue;
            };
            let (mut found, mut sheet_found) = (false, false);
            for book in [&mut *stock, &mut *pumps].into_iter().flatten() {
                let wanted = |sheet: &&mut Arc<Sheet>| key(&sheet.name) == key(&name);
                for sheet in book.sheets.iter_mut().filter(wanted) {
                    sheet_found = true;
                    let row = sheet.rows.iter().find(|row| row.number == at.0);
                    if row.and_then(|row| row.cell(at.1)).is_some() {
                        found = true;
                        let text = Cell::Text(meant.to_string());
                        Arc::make_mut(sheet).confirmed.insert(at, text);
                    }
                }
            }
            if !found && (whole || sheet_found) {
                problems.add(Problem::new(
                    place,
                    format!("`{text}`, where there is no such cell, or an empty one"),
                    "a cell that is filled in",
                    "correct the sheet and the cell, or remove the row",
                ));
            }
        }
    }
}

/// Texts of the rows `Confirmed` of a sheet Policy, each with its place.
fn confirmed_rows(policy: &Sheet) -> Vec<(Place, String)> {
    let quiet = &mut Problems::new();
    let table = Table::find_of(policy, &["Setting", "Value"], Lone::IsFine, quiet);
    let rows = table.as_ref().and_then(|table| {
        let [setting, value] = ["Setting", "Value"].map(|name| table.optional(name));
        let value = value?;
        let row = |line: TableRow<'_, '_>| {
            let name = line.text(setting, quiet).filter(|name| key(name) == CONFIRMED);
            name.and_then(|_| Some((line.place(value), line.text(Some(value), quiet)?)))
        };
        Some(table.lines().filter_map(row).collect())
    });
    rows.unwrap_or_default()
}

/// Whether all settings of a stock workbook's sheet Policy are rows `Confirmed`, which count there too.
pub(super) fn confirms_only(policy: &Sheet) -> bool {
    let quiet = &mut Problems::new();
    let Some(table) = Table::find_of(policy, &["Setting", "Value"], Lone::IsFine, quiet) else {
        return false;
    };
    let setting = table.optional("Setting");
    let is_one = |line: TableRow<'_, '_>| {
        line.text(setting, quiet).is_none_or(|name| key(&name) == CONFIRMED)
    };
    table.lines().all(is_one)
}

/// Takes the settings of the command line, which outrank the sheet's.
pub(super) fn command_line(
    settings: &[(String, String)],
    policy: &mut Policy,
    problems: &mut Problems,
) {
    for (setting, value) in settings {
        let place = Place::file("command line");
        set(policy, setting, value, place.clone(), place, problems);
    }
}

fn set(
    policy: &mut Policy,
    setting: &str,
    value: &str,
    name_at: Place,
    value_at: Place,
    problems: &mut Problems,
) {
    match policy.set(setting, value) {
        Ok(()) => {}
        Err(SettingError::Unknown) => {
            let settings = policy.settings();
            let names = settings.iter().map(|setting| setting.name);
            let fix = fix_name(setting, names.clone(), "remove it");
            problems.add(Problem::new(
                name_at,
                format!("the setting `{setting}`, which is not known"),
                format!("one of {}", names.collect::<Vec<_>>().join(", ")),
                fix,
            ));
        }
        Err(SettingError::Value { expected }) => problems.add(Problem::new(
            value_at,
            format!("`{value}` for `{setting}`"),
            expected,
            "correct the value, or leave it empty for the default",
        )),
    }
}
