//! Questions that are put as problems: a value with two meanings, of which neither is guessed.

use crate::decimal::Millionths;
use crate::length::Unit;
use crate::problem::{Place, Problem, Spot, reference};
use crate::sheet::{Cell, show_number};

/// The row of the Policy sheet by which people say that a value is meant.
pub(super) fn confirmed(place: &Place, value: &str) -> String {
    match &place.spot {
        Spot::Cell { sheet, row, column } => {
            format!(
                "`Confirmed | {} = {value}` on the sheet Policy",
                reference(sheet, *row, *column)
            )
        }
        _ => "the value in a cell".into(),
    }
}

/// Question about a cell that shows another figure than it stores.
pub(super) fn of_figures(place: Place, text: &str, stored: f64, full: Option<&str>) -> Problem {
    let value = full.map_or_else(|| show_number(stored), ToString::to_string);
    let fix = format!(
        "show all its places, or type `{value}` or `{text}` as it is meant; if the cell must stay as it is, write {}",
        confirmed(&place, &value)
    );
    Problem::new(
        place,
        format!("a cell that shows `{text}` and stores {}", show_number(stored)),
        "one figure, shown and stored",
        fix,
    )
}

/// Question about a value that is out of sight, or whose display is not certain.
pub(super) fn of_display(place: Place, stored: &str, hidden: bool, heading: &str) -> Problem {
    let (found, expected) = match hidden {
        true => (
            format!("a cell that shows nothing, or not its value, and stores `{stored}`"),
            format!("a value in sight for `{heading}`"),
        ),
        false => (
            format!("`{stored}`, which programs may show in different ways"),
            format!("a value for `{heading}` in a format that is certain"),
        ),
    };
    let stored = stored.split('`').next().unwrap_or_default();
    let fix = format!(
        "give the cell a plain number format, or clear it; if `{stored}` counts, write {}",
        confirmed(&place, stored)
    );
    Problem::new(place, found, expected, fix)
}

/// First day of the year 2000, as spreadsheets count.
pub(super) const YEAR_2000: u32 = 36_526;

/// Question about a due date before the year 2000: mostly a time alone, which is no day, or a year of two figures.
pub(super) fn of_due(place: Place, serial: f64, iso: &str) -> Problem {
    let (found, fix) = match (0.0..1.0).contains(&serial) {
        true => {
            ("a time of day without a date".to_string(), "type the date, such as 2027-03-15".into())
        }
        false => (
            format!("the date {iso}, before the year 2000"),
            format!(
                "type the date, such as 2027-03-15; if {iso} is meant, write {}",
                confirmed(&place, iso)
            ),
        ),
    };
    Problem::new(place, found, "the day on which it is due", fix)
}

/// Whether a text is a time of day, as people type it or as .ods stores it.
pub(super) fn is_time(text: &str) -> bool {
    let text = text.trim().to_ascii_lowercase();
    let clock = text.trim_end_matches(['a', 'p', 'm', '.', ' ']);
    let typed = clock.contains(':') && clock.chars().all(|c| c.is_ascii_digit() || c == ':');
    typed || (text.starts_with("pt") && text.bytes().any(|byte| byte.is_ascii_digit()))
}

/// The two meanings of a text in a metric column that looks like inches: a fraction without a unit, which is mostly
/// one of an inch, and `mil`, which is a thousandth of an inch to some and a millimetre to others.
pub(super) fn of_inches(cell: &Cell, column: Option<Unit>) -> Option<[String; 2]> {
    let column = column.filter(|unit| matches!(unit, Unit::Millimetre | Unit::Micrometre))?;
    let text = match cell {
        Cell::Text(text) | Cell::Shown { text, .. } => text.trim(),
        _ => return None,
    };
    let is_fraction = |c: char| "\u{bc}\u{bd}\u{be}\u{215b}\u{215c}\u{215d}\u{215e}".contains(c);
    let end = text
        .find(|c: char| !(c.is_ascii_digit() || "+-.,/ \u{2044}".contains(c) || is_fraction(c)))
        .unwrap_or(text.len());
    let (number, unit) = text.split_at(end);
    let number = number.trim();
    let whole =
        |text: &str| text.ends_with(|c: char| c.is_ascii_digit()) && !text.contains(['.', ',']);
    let parted = number.split_once(['/', '\u{2044}']);
    let fraction = parted.is_some_and(|(above, below)| {
        whole(above.trim()) && below.trim().bytes().all(|b| b.is_ascii_digit())
    }) || number.contains(is_fraction);
    match unit.trim().to_lowercase().as_str() {
        "" if fraction => Some([format!("{number} in"), format!("{number} {column}")]),
        "mil" | "mils" => Some([format!("{number} thou"), format!("{number} mm")]),
        _ => None,
    }
}

/// Question about a gasket allowance above 2 that is a plain number: mostly per cent is meant. Found, expected and fix;
/// `None` where nothing is to be asked.
pub(super) fn of_allowance(number: Millionths) -> Option<[String; 3]> {
    const TWO: Millionths = Millionths::from_raw(2_000_000);
    (number > TWO).then(|| {
        [
            format!("a gasket allowance of {number}, which is {} %", number * 100),
            format!("{number} % (a share of {}), or {} %", percent(number), number * 100),
            format!("write `{number} %` if per cent is meant, `{} %` if it is so", number * 100),
        ]
    })
}

/// Share that a number of per cent comes to.
fn percent(number: Millionths) -> String {
    let raw = number.raw();
    match raw % 100 {
        0 => Millionths::from_raw(raw / 100).to_string(),
        _ => format!("{:.8}", number.to_f64() / 100.0),
    }
}
