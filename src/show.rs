//! Lengths in print, uniform wherever people read one.

use itertools::Itertools;

use crate::decimal::show;
use crate::length::{Fine, Length, Tolerance, Unit};

/// A length with its unit: `0.0460 in`.
pub fn length(length: Length, unit: Unit) -> String {
    format!("{} {unit}", length.show(unit))
}

/// A fine length with its unit.
pub fn fine(length: Fine, unit: Unit) -> String {
    format!("{} {unit}", length.show(unit))
}

/// A piece's thickness, with its fraction of an inch where it is one: `0.03125 in (1/32)`.
pub fn thickness(thickness: Length, unit: Unit) -> String {
    match thickness.fraction().filter(|_| unit == Unit::Inch) {
        Some(fraction) => format!("{} ({fraction})", length(thickness, unit)),
        None => length(thickness, unit),
    }
}

/// A length in both systems: `0.0460 in (1.168 mm)`; the second one rounded to its usual places.
pub fn both(length: Length, unit: Unit) -> String {
    format!("{} ({})", self::length(length, unit), about(Fine::from(length), unit.other()))
}

/// A tolerance without its unit: `±0.0005`, or `+0.1 -0` where the sides differ.
pub fn tolerance(tolerance: Tolerance, unit: Unit) -> String {
    let Tolerance { minus, plus } = tolerance;
    let near = |side: Length| exactly(side.into(), unit, (2, Round::Nearest));
    match minus == plus {
        true => format!("\u{b1}{}", near(plus)),
        false => {
            format!("{} {}", deviation(plus, ['+', '-'], near), deviation(minus, ['-', '+'], near))
        }
    }
}

/// A limit of deviation with its sign, and the other sign where it lies on the other side.
fn deviation(side: Length, [own, other]: [char; 2], shown: impl Fn(Length) -> String) -> String {
    match side < Length::ZERO {
        true => format!("{other}{}", shown(Length::ZERO - side)),
        false => format!("{own}{}", shown(side)),
    }
}

/// A length rounded to the usual places of a unit, halves away from zero, for print next to the exact one.
pub fn about(length: Fine, unit: Unit) -> String {
    let shown = rounded(length, unit, unit.places(), Round::Nearest);
    format!("{shown} {unit}")
}

/// Range between two ends, of which one may be missing: `0.0190 to 0.0230 in`, or `0.0190 in or more`.
pub fn range(ends: [Option<String>; 2], unit: &str) -> String {
    match ends {
        [Some(low), Some(high)] => format!("{low} to {high} {unit}"),
        [Some(low), None] => format!("{low} {unit} or more"),
        [None, Some(high)] => format!("{high} {unit} or less"),
        [None, None] => "any".into(),
    }
}

/// A range in another unit, each end rounded into it: a reading within them is within the range. A range narrower than
/// two steps of the last place has no such ends.
pub(crate) fn inward([low, high]: [Option<Fine>; 2], unit: Unit) -> Option<String> {
    let step = unit.ticks() / 10_i64.pow(unit.places());
    let narrow = |(low, high): (Fine, Fine)| (high - low).raw() < 2_000_000 * i128::from(step);
    if low.zip(high).is_some_and(narrow) {
        return None;
    }
    let end = |end: Option<Fine>, round| Some(rounded(end?, unit, unit.places(), round));
    Some(range([end(low, Round::Up), end(high, Round::Down)], unit.symbol()))
}

/// A length in print: exact where that takes at most one place more than usual, else rounded to two more, so that a
/// calculated value has no more places than people read.
pub fn finely(length: Fine, unit: Unit) -> String {
    format!("{} {unit}", exactly(length, unit, (2, Round::Nearest)))
}

/// Direction of rounding for a number with more places than are printed.
#[derive(Clone, Copy)]
pub(crate) enum Round {
    Up,
    Down,
    /// Halves away from zero.
    Nearest,
}

/// Exact number where it takes at most one place more than usual, else rounded to `more` places than usual.
pub(crate) fn exactly(length: Fine, unit: Unit, (more, round): (u32, Round)) -> String {
    let usual = unit.places();
    match length.exact(unit) {
        Some(exact) if exact.scale() <= usual + 1 => show(exact, usual),
        _ => rounded(length, unit, usual + more, round),
    }
}

/// In whole numbers: a half of the last place is a half.
fn rounded(length: Fine, unit: Unit, places: u32, round: Round) -> String {
    let whole = 1_000_000 * i128::from(unit.ticks());
    let ten = 10_i128.pow(places);
    let scaled = length.raw() * ten;
    let steps = match round {
        Round::Up => -(-scaled).div_euclid(whole),
        Round::Down => scaled.div_euclid(whole),
        Round::Nearest => (2 * scaled.abs() + whole) / (2 * whole) * scaled.signum(),
    };
    let sign = if steps < 0 { "-" } else { "" };
    let width = usize::try_from(places).unwrap_or(4);
    let steps = steps.abs();
    format!("{sign}{}.{:0width$}", steps / ten, steps % ten)
}

/// Inches if the length is a whole number of ten-thousandths, else millimetres if it is a whole number of
/// micrometres, else inches.
pub fn natural_unit(length: Length) -> Unit {
    let ticks = length.ticks();
    let metric = ticks % Unit::Micrometre.ticks() == 0;
    let inch = ticks % (Unit::Thou.ticks() / 10) == 0;
    if metric && !inch { Unit::Millimetre } else { Unit::Inch }
}

/// A length without trailing zeros: `180 mm`.
pub(crate) fn short_length(length: Length, unit: Unit) -> String {
    let shown = length.show(unit);
    let shown = match shown.contains('.') {
        true => shown.trim_end_matches('0').trim_end_matches('.'),
        false => shown.as_str(),
    };
    format!("{shown} {}", unit.symbol())
}

/// The first six of a list, and the number of the others.
pub(crate) fn first_of<T: AsRef<str>>(all: &[T]) -> String {
    let shown = all.iter().take(6).map(AsRef::as_ref).join(", ");
    match all.len().saturating_sub(6) {
        0 => shown,
        n => format!("{shown} and {n} more"),
    }
}

/// A kind of piece, singular or plural.
pub(crate) fn plural(word: &str, count: u32) -> String {
    if count == 1 { word.to_string() } else { format!("{word}s") }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(text: &str) -> Fine {
        Length::parse(text, None).unwrap().into()
    }

    /// By hand: 0.0195 in is 0.4953 mm, 0.0225 in 0.5715 mm. A reading of 0.495 or 0.572 mm is outside.
    #[test]
    fn a_range_is_rounded_into_itself() {
        let ends = |low, high| inward([low, high].map(|end| Some(of(end))), Unit::Millimetre);
        let shown = |text: &str| Some(text.to_string());
        assert_eq!(ends("0.0195 in", "0.0225 in"), shown("0.496 to 0.571 mm"));
        assert_eq!(ends("-0.0225 in", "-0.0195 in"), shown("-0.571 to -0.496 mm"));
        assert_eq!(ends("0.500 mm", "0.502 mm"), shown("0.500 to 0.502 mm"));
        assert_eq!(ends("0.5001 mm", "0.5020 mm"), None);
        let mm = Unit::Millimetre;
        assert_eq!(inward([Some(of("0.0195 in")), None], mm), shown("0.496 mm or more"));
        assert_eq!(inward([None, Some(of("0.0225 in"))], mm), shown("0.571 mm or less"));
    }

    /// By hand: 1/16 in is 1.5875 mm, a half of the third place; in floating point it is below that.
    #[test]
    fn a_half_of_the_last_place_is_rounded_away_from_nothing() {
        assert_eq!(about(of("1/16 in"), Unit::Millimetre), "1.588 mm");
        assert_eq!(about(of("-1/16 in"), Unit::Millimetre), "-1.588 mm");
        assert_eq!(about(of("-0.0001 mm"), Unit::Millimetre), "0.000 mm");
        assert_eq!(about(of("0.0035 in"), Unit::Thou), "3.5 thou");
    }
}
