//! Reads the policy: the Policy sheet, then the command line.

use super::named_sheet;
use super::rows::Lone;
use super::table::Table;
use crate::policy::{Policy, SettingError};
use crate::problem::{Place, Problem, Problems, fix_name};
use crate::sheet::Book;

/// Takes the settings of the Policy sheet, if the workbook has one.
pub(super) fn read(book: &Book, policy: &mut Policy, problems: &mut Problems) {
    let Some(sheet) = named_sheet(book, "Policy") else {
        return;
    };
    let Some(table) = Table::find_of(sheet, &["Setting", "Value"], Lone::IsFine, problems) else {
        return;
    };
    let setting_column = table.needed("Setting", problems);
    let value_column = table.needed("Value", problems);
    let (Some(setting_column), Some(value_column)) = (setting_column, value_column) else {
        return;
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
        set(policy, &setting, &value, name_at, value_at, problems);
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
