//! Rules of what cells take from a person: one a sheet, not one for each of ten thousand cells.

use rust_xlsxwriter::{DataValidation, DataValidationRule, Worksheet};

use super::page::Written;
use crate::problem::address;

/// Entries that a cell takes.
#[derive(Clone, PartialEq)]
pub(super) enum Allowed {
    NotBelow(f64),
    Within([f64; 2]),
    OneOf(Vec<String>),
}

impl Allowed {
    fn rule(&self) -> Written<DataValidation> {
        let (rule, message) = match self {
            Allowed::NotBelow(least) => (
                DataValidationRule::GreaterThanOrEqualTo(*least),
                format!("A number of {least} or more."),
            ),
            Allowed::Within([least, most]) => (
                DataValidationRule::Between(*least, *most),
                format!("A number from {least} to {most}."),
            ),
            Allowed::OneOf(words) => return DataValidation::new().allow_list_strings(words),
        };
        let rule = DataValidation::new().allow_decimal_number(rule);
        rule.set_error_title("Not possible")?.set_error_message(message)
    }
}

/// The cells of a sheet that take something, by what they take.
#[derive(Default)]
pub(super) struct Takings(Vec<(Allowed, Vec<(u16, u32)>)>);

impl Takings {
    /// Lets a cell take only this.
    pub(super) fn add(&mut self, (row, column): (u32, u16), allowed: Allowed) {
        match self.0.iter_mut().find(|(known, _)| *known == allowed) {
            Some((_, cells)) => cells.push((column, row)),
            None => self.0.push((allowed, vec![(column, row)])),
        }
    }

    /// Puts the rules into the sheet.
    pub(super) fn put(self, sheet: &mut Worksheet) -> Written {
        for (allowed, mut cells) in self.0 {
            cells.sort_unstable();
            // Cells below each other are one range.
            let below = |one: &(u16, u32), next: &(u16, u32)| (one.0, one.1 + 1) == *next;
            let ranges: Vec<String> = (cells.chunk_by(below))
                .map(|cells| {
                    let ends = [cells[0], cells[cells.len() - 1]];
                    let [first, last] = ends.map(|(column, row)| address(row, column.into()));
                    if first == last { first } else { format!("{first}:{last}") }
                })
                .collect();
            let (column, row) = cells[0];
            let rule = allowed.rule()?.set_multi_range(ranges.join(" "));
            sheet.add_data_validation(row, column, row, column, &rule)?;
        }
        Ok(())
    }
}
