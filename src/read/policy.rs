//! Reads the policy: the Policy sheet, then the command line.

use std::sync::Arc;

use super::book::address;
use super::named_sheet;
use super::rows::Lone;
use super::table::Table;
use crate::columns::key;
use crate::policy::{Policy, SettingError};
use crate::problem::{Place, Problem, Problems, fix_name};
use crate::sheet::{Book, Cell};

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
        if key(&setting) == CONFIRMED {
            if confirmation(&value).is_none() {
                problems.add(Problem::new(
                    value_at,
                    format!("`{value}` for `{setting}`"),
                    "a cell and its value, such as `Stock!D5 = 0.0214 mm`",
                    "write the sheet, `!`, the cell, `=` and the value that is meant",
                ));
            }
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

/// Puts the rows `Confirmed | Sheet!Cell = value` of the pump workbook's Policy sheet to the cells that they are about.
/// A cell that is not there is a problem.
pub(super) fn confirm([stock, pumps]: [&mut Option<Book>; 2], problems: &mut Problems) {
    let Some(policy) = pumps.as_ref().and_then(|book| named_sheet(book, "Policy")).cloned() else {
        return;
    };
    let quiet = &mut Problems::new();
    let Some(table) = Table::find_of(&policy, &["Setting", "Value"], Lone::IsFine, quiet) else {
        return;
    };
    let [setting, value] = ["Setting", "Value"].map(|name| table.optional(name));
    for line in table.lines() {
        let is_one = line.text(setting, quiet).is_some_and(|name| key(&name) == CONFIRMED);
        let text = line.text(value, quiet).filter(|_| is_one);
        let Some((name, at, meant)) = text.as_deref().and_then(confirmation) else {
            continue;
        };
        let mut found = false;
        for book in [&mut *stock, &mut *pumps].into_iter().flatten() {
            let wanted = |sheet: &&mut Arc<crate::sheet::Sheet>| key(&sheet.name) == key(&name);
            for sheet in book.sheets.iter_mut().filter(wanted) {
                let row = sheet.rows.iter().find(|row| row.number == at.0);
                if row.and_then(|row| row.cell(at.1)).is_some() {
                    found = true;
                    let text = Cell::Text(meant.to_string());
                    Arc::make_mut(sheet).confirmed.insert(at, text);
                }
            }
        }
        if let (Some(heading), false) = (value, found) {
            problems.add(Problem::new(
                line.place(heading),
                format!(
                    "`{}`, where there is no such cell, or an empty one",
                    text.unwrap_or_default()
                ),
                "a cell that is filled in",
                "correct the sheet and the cell, or remove the row",
            ));
        }
    }
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
