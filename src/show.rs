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

/// A tolerance without its unit: `±0.0005`, or `+0.1 -0` where the sides differ. As stated where that takes at most one
/// place more than usual, else rounded to the usual places so that it only widens.
pub fn tolerance(tolerance: Tolerance, unit: Unit) -> String {
    let Tolerance { minus, plus } = tolerance;
    let side = |side: Length, round| stated(side.into(), unit, round);
    // A limit of deviation that lies on the other side has the other's sign, and widens towards nothing.
    let deviation = |limit: Length, [own, other]: [char; 2]| match limit < Length::ZERO {
        true => format!("{other}{}", side(-limit, Round::Down)),
        false => format!("{own}{}", side(limit, Round::Up)),
    };
    match minus == plus {
        true => format!("\u{b1}{}", side(plus, Round::Up)),
        false => format!("{} {}", deviation(plus, ['+', '-']), deviation(minus, ['-', '+'])),
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

/// Range of the readings of a gauge that reads in whole steps: each end rounded inward, so that a reading within what is
/// printed is within the range.
///
/// # Errors
/// Fewer than two of its steps are within the range: the step of a gauge that is fine enough, one, two or five of a
/// place; `None` where no gauge is.
pub(crate) fn readable(
    [low, high]: [Option<Fine>; 2],
    unit: Unit,
    step: Length,
) -> Result<String, Option<Length>> {
    let ends = |step: Length| {
        let whole = Fine::from(step).raw();
        let steps = |end: Option<Fine>, round: Round| Some(round.steps(end?.raw(), whole));
        let ends = [steps(low, Round::Up), steps(high, Round::Down)];
        let [first, last] = ends;
        first.zip(last).is_none_or(|(first, last)| last - first >= 2).then_some(ends)
    };
    let Some(found) = ends(step) else {
        let places = (0..=7).map(|place| unit.ticks() / 10_i64.pow(place));
        let finer = places.flat_map(|one| [5, 2, 1].map(|of| Length::from_ticks(one / 10 * of)));
        return Err(finer
            .into_iter()
            .find(|&finer| finer < step && finer > Length::ZERO && ends(finer).is_some()));
    };
    let digits = Fine::from(step).exact(unit).map_or(unit.places(), |step| step.scale());
    let shown = found.map(|end| {
        let end = Fine::from_raw(end? * Fine::from(step).raw());
        Some(rounded(end, unit, digits, Round::Nearest))
    });
    Ok(range(shown, unit.symbol()))
}

/// Direction of rounding for a number with more places than are printed.
#[derive(Clone, Copy)]
pub(crate) enum Round {
    Up,
    Down,
    /// Halves away from zero.
    Nearest,
}

impl Round {
    /// Whole steps in a number.
    pub(crate) fn steps(self, number: i128, step: i128) -> i128 {
        match self {
            Round::Up => -(-number).div_euclid(step),
            Round::Down => number.div_euclid(step),
            Round::Nearest => (2 * number.abs() + step) / (2 * step) * number.signum(),
        }
    }
}

/// Number of something stated: exact where that takes at most one place more than usual, else rounded to the usual ones.
pub(crate) fn stated(length: Fine, unit: Unit, round: Round) -> String {
    let usual = unit.places();
    match length.exact(unit) {
        Some(exact) if exact.scale() <= usual + 1 => show(exact, usual),
        _ => rounded(length, unit, usual, round),
    }
}

/// Number in a unit at so many places, rounded in whole numbers: a half of the last place is a half.
pub(crate) fn rounded(length: Fine, unit: Unit, places: u32, round: Round) -> String {
    let ten = 10_i128.pow(places);
    let steps = round.steps(length.raw() * ten, 1_000_000 * i128::from(unit.ticks()));
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

/// `1 piece`, `2 pieces`.
pub(crate) fn counted(count: i64, thing: &str) -> String {
    format!("{count} {}", plural(thing, if count == 1 { 1 } else { 2 }))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(text: &str) -> Fine {
        Length::parse(text, None).unwrap().into()
    }

    /// By hand: 0.0195 in is 0.4953 mm, 0.0225 in 0.5715 mm. A reading of 0.49 or 0.58 mm is outside.
    #[test]
    fn a_range_of_readings_is_in_whole_steps_within_it() {
        let of = |text: &str| Some(Fine::from(Length::parse(text, None).unwrap()));
        let shown = |low, high, step| {
            let step = Length::parse(step, None).unwrap();
            readable([low, high], Unit::Millimetre, step)
        };
        let said = |text: &str| Ok(text.to_string());
        let [low, high] = [of("0.0195 in"), of("0.0225 in")];
        assert_eq!(shown(low, high, "0.01 mm"), said("0.50 to 0.57 mm"));
        assert_eq!(shown(low, high, "0.001 mm"), said("0.496 to 0.571 mm"));
        assert_eq!(shown(low, high, "0.02 mm"), said("0.50 to 0.56 mm"));
        assert_eq!(shown(of("-0.0225 in"), of("-0.0195 in"), "0.01 mm"), said("-0.57 to -0.50 mm"));
        assert_eq!(shown(low, None, "0.01 mm"), said("0.50 mm or more"));
        assert_eq!(shown(None, high, "0.01 mm"), said("0.57 mm or less"));
        // Two steps are enough; where there are fewer, a finer gauge is named.
        assert_eq!(shown(of("0.50 mm"), of("0.52 mm"), "0.01 mm"), said("0.50 to 0.52 mm"));
        let needed = |text: &str| Err(Some(Length::parse(text, None).unwrap()));
        assert_eq!(shown(of("0.501 mm"), of("0.52 mm"), "0.01 mm"), needed("0.005 mm"));
        assert_eq!(shown(of("0.5001 mm"), of("0.5020 mm"), "0.01 mm"), needed("0.0005 mm"));
        assert_eq!(shown(of("0.5 mm"), of("0.5 mm"), "0.01 mm"), Err(None));
    }

    /// By hand. One more place than usual is kept as stated; beyond that a side only widens.
    #[test]
    fn a_tolerance_is_never_printed_narrower_than_it_is() {
        let tolerance =
            |text: &str| tolerance(Tolerance::parse_printed(text, None).unwrap(), Unit::Inch);
        assert_eq!(tolerance("0.0005 in"), "\u{b1}0.0005");
        assert_eq!(tolerance("0.00025 in"), "\u{b1}0.00025");
        assert_eq!(tolerance("0.000251 in"), "\u{b1}0.0003");
        assert_eq!(tolerance("-0.000251 in / -0.000751 in"), "-0.0002 -0.0008");
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
