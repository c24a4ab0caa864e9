//! Reads the sheet Gauges of the pump workbook: the gauges that dimensions, lots and readings name.

use super::named_sheet;
use super::rows::Lone;
use super::table::{Heading, Table, TableRow};
use crate::day;
use crate::decimal::Millionths;
use crate::gauge::{Certified, Gauge, OfGauge};
use crate::length::{Tolerance, Uncertainty, Unit};
use crate::model::Dimension;
use crate::policy::Policy;
use crate::problem::{Place, Problem, Problems, fix_name};
use crate::sheet::{Book, Cell};
use crate::stack::Coverage;
use crate::stock::folded;

/// Headings that the sheet must have.
const NEEDED: [&str; 1] = ["Gauge"];
/// Known headings besides.
const KNOWN: [&str; 7] =
    ["Gauge", "Unit", "U", "k", "Standard uncertainty", "Degrees of freedom", "Certificate"];

/// Gauges as read, and the sheet's unused columns.
#[derive(Debug, Clone, Default)]
pub(super) struct Gauges {
    pub(super) list: Vec<Gauge>,
    pub(super) unused: Vec<String>,
    /// Names of rows that could not be read: they raise no second problem.
    unread: Vec<String>,
    /// Name of the sheet, if the workbook has it.
    pub(super) sheet: Option<String>,
}

impl Gauges {
    /// Gauge of this name; a problem at this place if there is none.
    pub(super) fn named(
        &self,
        name: &str,
        place: Place,
        problems: &mut Problems,
    ) -> Option<OfGauge> {
        if self.unread.contains(&folded(name)) {
            return None;
        }
        let gauge = find(&self.list, name, place, problems)?;
        Some(OfGauge { gauge, certified: self.list[gauge].certified })
    }

    /// Gauge of a dimension, if its model names one; `None` with a problem at this place if that is not there.
    pub(super) fn of_dimension(
        &self,
        dimension: &Dimension,
        place: Place,
        problems: &mut Problems,
    ) -> Option<Option<OfGauge>> {
        match &dimension.gauge {
            Some(name) => self.named(name, place, problems).map(Some),
            None => Some(None),
        }
    }
}

/// Index of the gauge of this name; a problem at this place if there is none.
pub(super) fn find(
    list: &[Gauge],
    name: &str,
    place: Place,
    problems: &mut Problems,
) -> Option<usize> {
    let key = folded(name);
    let at = list.iter().position(|gauge| folded(&gauge.name) == key);
    if at.is_none() {
        let names = list.iter().map(|gauge| gauge.name.as_str());
        problems.add(Problem::new(
            place,
            format!("the gauge `{name}`"),
            "a gauge of the sheet Gauges of the pump workbook",
            fix_name(name, names, "add it there with its uncertainty"),
        ));
    }
    at
}

/// Reads the gauges, if the workbook has the sheet. One past its due date on `day` is warned of.
pub(super) fn read(
    book: &Book,
    policy: &Policy,
    day: Option<i64>,
    problems: &mut Problems,
) -> Gauges {
    let mut gauges = Gauges::default();
    let Some(sheet) = named_sheet(book, "Gauges") else {
        return gauges;
    };
    gauges.sheet = Some(sheet.name.clone());
    let Some(table) = Table::find_of(sheet, &NEEDED, Lone::IsFine, problems) else {
        return gauges;
    };
    let known: Vec<String> = KNOWN.iter().chain(&["Due"]).map(ToString::to_string).collect();
    gauges.unused = table.unknown(&known, |_| false, problems);
    let name = table.needed("Gauge", problems);
    for line in table.lines() {
        let (Some(heading), Some(text)) = (name, line.needed_text(name, problems)) else {
            continue;
        };
        let place = line.place(heading);
        let key = folded(&text);
        if gauges.list.iter().any(|gauge| folded(&gauge.name) == key) {
            problems.add(Problem::new(
                place,
                format!("the gauge `{text}` a second time"),
                "each gauge once",
                "keep the row of its present certificate",
            ));
            continue;
        }
        warn_of_due(&line, &text, day, problems);
        let certificate = line.text(table.optional("Certificate"), problems);
        match uncertainty(&line, heading, policy.coverage, problems) {
            Some(certified) => gauges.list.push(Gauge { name: text, certified, certificate }),
            None => gauges.unread.push(key),
        }
    }
    gauges
}

/// Uncertainty of a gauge: U with its k, or a standard uncertainty.
fn uncertainty(
    line: &TableRow<'_, '_>,
    name: &Heading,
    coverage: Coverage,
    problems: &mut Problems,
) -> Option<Certified> {
    let unit = unit(line, problems)?;
    let column = |heading: &str| {
        let heading = line.table.optional(heading)?.clone();
        let unit = heading.unit.or(unit);
        line.row.cell(heading.column).is_some().then_some(Heading { unit, ..heading })
    };
    let (expanded, standard) = (column("U"), column("Standard uncertainty"));
    let (heading, is_expanded) = match (expanded, standard) {
        (Some(expanded), None) => (expanded, true),
        (None, Some(standard)) => (standard, false),
        (both, _) => {
            problems.add(Problem::new(
                line.place(both.as_ref().unwrap_or(name)),
                match both {
                    Some(_) => "both U and a standard uncertainty",
                    None => "no uncertainty",
                },
                "U and k of its certificate, or its standard uncertainty",
                "fill in one of the two",
            ));
            return None;
        }
    };
    let stated = stated(line, &heading, is_expanded, problems)?;
    Some(coverage.certified(stated.standard, stated.freedom))
}

/// Unit of a row that names one.
fn unit(line: &TableRow<'_, '_>, problems: &mut Problems) -> Option<Option<Unit>> {
    let heading = line.table.optional("Unit");
    let Some((heading, text)) = heading.zip(line.text(heading, problems)) else {
        return Some(None);
    };
    let unit = Unit::parse(&text);
    if unit.is_none() {
        problems.add(Problem::new(
            line.place(heading),
            format!("the unit `{text}`"),
            "in, mm, thou or um",
            "correct the unit",
        ));
    }
    unit.map(Some)
}

/// Standard uncertainty of a row, with its degrees of freedom.
pub(super) struct StatedUncertainty {
    pub(super) standard: Uncertainty,
    pub(super) freedom: Option<u32>,
}

/// Reads a filled cell of an uncertainty beside the columns k and Degrees of freedom: expanded where it has a k, which
/// `needs_k` asks for, otherwise standard.
pub(super) fn stated(
    line: &TableRow<'_, '_>,
    heading: &Heading,
    needs_k: bool,
    problems: &mut Problems,
) -> Option<StatedUncertainty> {
    let value = line.tolerance(heading, problems)?;
    let mut fail = |at: &Heading, found: &str, expected: &str, fix: &str| {
        problems.add(Problem::new(line.place(at), found, expected, fix));
    };
    if value.minus != value.plus || value == Tolerance::default() {
        let fix = "type it as the certificate gives it, without a sign";
        fail(heading, "an uncertainty that is not one length above 0", "one length above 0", fix);
        return None;
    }
    let filled = |name: &str| {
        line.table.optional(name).filter(|heading| line.row.cell(heading.column).is_some())
    };
    let k = match filled("k") {
        Some(at) => {
            let k = line.cell(at, &mut Problems::new()).and_then(factor);
            if k.is_none() {
                fail(
                    at,
                    "a coverage factor that is none",
                    "a number from 1 to 10, such as 2",
                    "type k as the certificate gives it",
                );
                return None;
            }
            k
        }
        None if needs_k => {
            let expected = "its coverage factor in the column k, such as 2";
            fail(heading, "U without k", expected, "fill in k as the certificate gives it");
            return None;
        }
        None => None,
    };
    let freedom = match filled("Degrees of freedom") {
        Some(at) => {
            let count = line.count(Some(at), problems)?;
            if count == 0 {
                let fix = "leave the cell empty where the certificate gives none";
                problems.add(Problem::new(
                    line.place(at),
                    "0 degrees of freedom",
                    "1 or more",
                    fix,
                ));
                return None;
            }
            Some(count)
        }
        None => None,
    };
    let u = Uncertainty::from(value.plus);
    Some(StatedUncertainty { standard: k.map_or(u, |k| u.over_up(k)), freedom })
}

/// Coverage factor of a cell.
fn factor(cell: &Cell) -> Option<Millionths> {
    let number = match cell {
        Cell::Number(number) => Millionths::from_number(*number),
        Cell::Text(text) => Millionths::parse(text),
        // Shown with all its digits.
        Cell::Shown { stored, text } => Millionths::from_number(*stored)
            .filter(|number| Millionths::parse(text) == Some(*number)),
        _ => None,
    };
    number.filter(|k| (1_000_000..=10_000_000).contains(&k.raw()))
}

/// Warns of a gauge past its due date on the day of the run, if there is one, or of a date that cannot be read; asks about
/// one before the year 2000.
fn warn_of_due(line: &TableRow<'_, '_>, name: &str, today: Option<i64>, problems: &mut Problems) {
    let Some(heading) = line.table.optional("Due") else {
        return;
    };
    let Some(cell) = line.cell(heading, problems) else {
        return;
    };
    let Some((today, ())) = today.zip(line.due_in_doubt(heading, cell, problems)) else {
        return;
    };
    let due = match cell {
        Cell::Date { iso, .. } => day::number(iso.get(..10).unwrap_or(iso)),
        Cell::Text(text) => day::number(text),
        _ => None,
    };
    let (found, expected, fix) = match due {
        Some(due) if i64::from(due) >= today => return,
        Some(_) => (
            format!("the gauge {name}, due on {}", cell.show()),
            "a gauge within its calibration interval",
            "have it calibrated; until then its uncertainty counts as stated",
        ),
        None => (
            format!("`{}`, which is not a date", cell.show()),
            "a date cell, or 2027-03-15",
            "correct it: whether the gauge is due cannot be told",
        ),
    };
    problems.warn(Problem::new(line.place(heading), found, expected, fix));
}
