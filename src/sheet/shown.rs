//! The digits behind a number that a format displays.
//!
//! # Decision
//!
//! They follow from the displayed text and the stored number alone, not from the format, so that files of all kinds
//! are read alike: OpenDocument has the text, and a format gives it for the others. One run of figures in the text
//! must be the stored number, times a power of ten, rounded to the run's places; or the text must be a fraction of
//! that size. Then the stored digits are put in its place.

use rust_decimal::{Decimal, RoundingStrategy};

use crate::decimal;

/// The text of a cell with all the digits that are stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InFull {
    /// The text; its number has a point as decimal mark and no marks between thousands.
    pub text: String,
    /// Whether it shows a power of ten of the stored number, as per cent and thousands do.
    pub scaled: bool,
    /// Whether it shows fewer digits than are stored.
    pub rounded: bool,
}

/// The shown text with the stored digits; `None` where no figure in it is the stored number.
///
/// ```
/// use gapwright::sheet::in_full;
/// assert_eq!(in_full("0.02 mm", 0.0214).unwrap().text, "0.0214 mm");
/// assert_eq!(in_full("2.1%", 0.0214).unwrap().text, "2.14%");
/// assert_eq!(in_full("1,250", 1250.0).unwrap().text, "1250");
/// assert_eq!(in_full("5 1/2", 12.0), None);
/// // A minus that is not shown.
/// assert_eq!(in_full("0.02", -0.02), None);
/// ```
pub fn in_full(text: &str, stored: f64) -> Option<InFull> {
    let number = decimal::seen(stored)?;
    let plain = decimal::plain(text);
    let runs = runs(&plain);
    let as_shown = |text: String, scaled| Some(InFull { text, scaled, rounded: false });
    // A dash is a zero in columns of amounts.
    if number.is_zero() && plain == "-" {
        return as_shown("0".into(), false);
    }
    let shows_minus = plain.starts_with('-');
    let number = match (number.is_sign_negative() && !number.is_zero(), shows_minus) {
        (true, false) => return None,
        _ => number.abs(),
    };
    if let Some((ratio, below, end)) = fraction(&plain) {
        if ratio == number || (ratio - number).abs() < Decimal::new(1, 12) {
            return as_shown(plain, false);
        }
        if runs.iter().any(|run| decimal::parse(&plain[run.clone()]) == Some(number)) {
            return as_shown(plain, true);
        }
        let near = (ratio - number).abs() * Decimal::from(below) * Decimal::TWO <= Decimal::ONE;
        let minus = if shows_minus { "-" } else { "" };
        return near.then(|| InFull {
            text: format!("{minus}{} {}", number.normalize(), plain[end..].trim_start()),
            scaled: false,
            rounded: true,
        });
    }
    let fits = runs.into_iter().filter_map(|run| {
        let figures = &plain[run.clone()];
        let fits: Vec<(i32, Decimal)> = readings(figures)
            .into_iter()
            .filter_map(|(value, places)| Some((power(value, places, number)?, value)))
            .collect();
        // `1.250` of 1250 may be thousands, or a number with its thousands grouped.
        if figures.contains('.') && matches!(fits[..], [(-3, _), (0, _)]) {
            return None;
        }
        let fit = fits.into_iter().min_by_key(|(power, _)| power.abs());
        fit.map(|(power, value)| (power, value, run))
    });
    let (power, value, run) = fits.min_by_key(|(power, _, _)| power.abs())?;
    let full = times_ten(number, power)?.normalize();
    Some(InFull {
        text: format!("{}{full}{}", &plain[..run.start], &plain[run.end..]),
        scaled: power != 0,
        rounded: full != value.normalize(),
    })
}

/// Runs of figures with their marks; blanks and apostrophes inside stand between thousands.
fn runs(text: &str) -> Vec<std::ops::Range<usize>> {
    let bytes = text.as_bytes();
    let is_digit = |at: usize| bytes.get(at).is_some_and(u8::is_ascii_digit);
    let mut runs = Vec::new();
    let mut at = 0;
    while at < bytes.len() {
        let starts = is_digit(at) || (bytes[at] == b'.' && is_digit(at + 1));
        if !starts {
            at += 1;
            continue;
        }
        let start = at;
        while at < bytes.len() {
            let thousands = (1..=3).all(|next| is_digit(at + next)) && !is_digit(at + 4);
            match bytes[at] {
                b'0'..=b'9' => at += 1,
                b'.' | b',' if is_digit(at + 1) => at += 1,
                b' ' | b'\'' if thousands => at += 1,
                _ => break,
            }
        }
        runs.push(start..at);
    }
    runs
}

/// Values that figures may have, each with its places: either mark may be the decimal one.
fn readings(figures: &str) -> Vec<(Decimal, u32)> {
    let figures: String = figures.chars().filter(|c| !" '".contains(*c)).collect();
    let mut readings: Vec<(Decimal, u32)> = Vec::new();
    for (mark, thousands) in [('.', ','), (',', '.')] {
        let bare = figures.replace(thousands, "").replace(mark, ".");
        let grouped = figures.split(mark).next().unwrap_or_default().split(thousands).skip(1);
        let well = grouped.clone().all(|group| group.len() == 3)
            && !(grouped.clone().next().is_some() && figures.starts_with('0'))
            && !figures.split_once(mark).is_some_and(|(_, part)| part.contains(thousands));
        if let Some(value) = Decimal::from_str_exact(&bare).ok().filter(|_| well) {
            readings.push((value, value.scale()));
        }
    }
    readings
}

/// The power of ten by which the number shows as this value; the smallest.
fn power(value: Decimal, places: u32, number: Decimal) -> Option<i32> {
    const MOST: i32 = 12;
    let away = RoundingStrategy::MidpointAwayFromZero;
    let mut powers: Vec<i32> = (-MOST..=MOST).collect();
    powers.sort_by_key(|power| power.abs());
    powers.into_iter().find(|power| {
        times_ten(number, *power).is_some_and(|n| n.round_dp_with_strategy(places, away) == value)
    })
}

fn times_ten(number: Decimal, power: i32) -> Option<Decimal> {
    let factor = Decimal::from(10_u64.checked_pow(power.unsigned_abs())?);
    if power < 0 { number.checked_div(factor) } else { number.checked_mul(factor) }
}

/// Size of a fraction or a mixed number at the beginning of a text, its denominator, and its end.
fn fraction(text: &str) -> Option<(Decimal, u32, usize)> {
    let end = text.find(|c: char| !(c.is_ascii_digit() || "-/ ".contains(c))).unwrap_or(text.len());
    let (above, below) = text[..end].trim().trim_start_matches('-').split_once('/')?;
    let below: u32 = below.trim().parse().ok().filter(|below| *below > 0)?;
    let (whole, above) = above.trim().rsplit_once(' ').unwrap_or(("0", above.trim()));
    let parse = |text: &str| text.trim().parse::<u32>().ok().map(Decimal::from);
    Some((parse(whole)? + parse(above)? / Decimal::from(below), below, end))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand.
    #[test]
    fn stored_digits_take_the_place_of_the_shown_ones() {
        for (text, stored, full) in [
            ("0.02 mm thk", 0.0214, Some("0.0214 mm thk")),
            ("0.021", 0.021, Some("0.021")),
            ("12", 12345.0, Some("12.345")),
            ("1/64", 1.0, Some("1/64")),
            ("1/64\"", 0.015625, Some("1/64\"")),
            ("1/64 in", 0.016, Some("0.016 in")),
            ("1 1/2", 1.5, Some("1 1/2")),
            ("0.05", 5.0, Some("0.05")),
            ("0.05", 5.4, Some("0.054")),
            ("5e-2", 5.0, Some("0.05")),
            ("2.1E-02", 0.0214, Some("0.0214")),
            ("1.234,5 mm", 1234.5, Some("1234.5 mm")),
            ("1,250", 1.25, Some("1.25")),
            ("12 345", 12345.0, Some("12345")),
            ("0.021", 21.0, Some("0.021")),
            ("1.250", 1250.0, None),
            ("1.250", 1.25, Some("1.25")),
            ("-0.5", -0.5, Some("-0.5")),
            ("0.5", -0.5, None),
            ("zero", 0.0, None),
            ("-", 0.0, Some("0")),
            ("-", 1.0, None),
            ("15", 5.0, None),
            ("0/8", 0.1, None),
        ] {
            let found = in_full(text, stored).map(|full| full.text);
            assert_eq!(found.as_deref(), full, "{text} {stored}");
        }
        assert!(in_full("5.0%", 0.05).unwrap().scaled);
        assert!(!in_full("0.0210", 0.021).unwrap().rounded);
        assert!(in_full("0.021", 0.0214).unwrap().rounded);
    }
}
