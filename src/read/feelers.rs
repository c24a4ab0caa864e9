//! Reads the sheet Feelers of the stock workbook: the blades of the shop's feeler set.

use std::sync::Arc;

use super::named_sheet;
use super::table::Table;
use crate::feeler::Blade;
use crate::length::{Length, Tolerance};
use crate::problem::{Problem, Problems};
use crate::sheet::{Book, Sheet};

/// Headings that a sheet of blades must have.
pub(super) const NEEDED: [&str; 2] = ["Thickness", "Tolerance"];
/// Most blades that a set may have.
const MOST: usize = 60;

/// The blades, their sheet, and its unused columns.
#[derive(Default)]
pub(super) struct Feelers {
    pub(super) blades: Vec<Blade>,
    pub(super) sheet: Option<Arc<Sheet>>,
    pub(super) unused: Vec<String>,
}

/// Reads the blades, if the workbook has the sheet; `stock` is the name of the stock sheet.
pub(super) fn read(book: &Book, stock: &str, problems: &mut Problems) -> Feelers {
    let mut feelers = Feelers::default();
    let sheet = named_sheet(book, "Feelers").filter(|sheet| sheet.name != stock);
    let Some(sheet) = sheet else {
        return feelers;
    };
    feelers.sheet = Some(sheet.clone());
    if sheet.rows.is_empty() {
        return feelers;
    }
    let Some(table) = Table::find(sheet, &NEEDED, problems) else {
        return feelers;
    };
    if let Some(own) = &mut feelers.sheet {
        Arc::make_mut(own).rows.retain(|row| row.number >= table.heading_row);
    }
    let known = ["Thickness", "Tolerance", "On hand", "Set"].map(String::from);
    feelers.unused = table.unknown(&known, |_| false, problems);
    let [thickness, tolerance] = NEEDED.map(|name| table.needed(name, problems));
    let (Some(thickness), Some(tolerance)) = (thickness, tolerance) else {
        return feelers;
    };
    let on_hand = table.optional("On hand");
    for line in table.lines() {
        let thick = line.needed_thickness(thickness, problems);
        // A blade's tolerance is never guessed: a thin go blade lets a small clearance pass.
        if line.row.cell(tolerance.column).is_none() {
            line.missing(tolerance, problems);
        }
        let within: Option<Tolerance> = line.tolerance(tolerance, problems);
        let filled = on_hand.filter(|heading| line.row.cell(heading.column).is_some());
        let count = match filled {
            Some(heading) => line.count(Some(heading), problems),
            None => Some(1),
        };
        let (Some(thick), Some(within), Some(count)) = (thick, within, count) else {
            continue;
        };
        if within.minus >= thick {
            problems.add(Problem::new(
                line.place(tolerance),
                "a tolerance that leaves nothing of the blade",
                "a plus/minus far below its thickness",
                "look it up with the set's maker, or measure the blade",
            ));
            continue;
        }
        feelers.blades.push(Blade { thickness: thick, tolerance: within, count });
    }
    if feelers.blades.len() > MOST {
        problems.add(Problem::new(
            sheet.whole(),
            format!("{} blades", feelers.blades.len()),
            format!("at most {MOST}"),
            "keep the blades of one set",
        ));
    }
    let longest = Length::parse("10 mm", None).unwrap_or(Length::ZERO);
    for blade in feelers.blades.iter().filter(|b| b.thickness > longest) {
        let unit = crate::show::natural_unit(blade.thickness);
        problems.warn(Problem::new(
            sheet.whole(),
            format!("a blade of {}", crate::show::length(blade.thickness, unit)),
            "blades of a feeler set, thinner than 10 mm",
            "check its unit",
        ));
    }
    feelers
}
