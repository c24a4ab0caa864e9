//! Exact decimal numbers as people type them: coefficients, and money in whole millionths.

use std::fmt;
use std::iter::Sum;
use std::ops::{Add, Mul, Neg, Sub};

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

/// Removes characters that spreadsheets and word processors add to a number: hard, thin and doubled spaces, and the
/// typographic minus.
pub(crate) fn plain(text: &str) -> String {
    let spaced: String = text
        .chars()
        .map(|c| match c {
            '\u{2212}' | '\u{2013}' => '-',
            // The decimal mark of older British lists.
            '\u{b7}' => '.',
            c if c.is_whitespace() => ' ',
            c => c,
        })
        .collect();
    // People type fractions and programs write exponents: a text with both is neither.
    let fraction = spaced.contains(|c: char| c == '/' || (c.is_numeric() && !c.is_ascii_digit()))
        || spaced.contains('\u{2044}');
    let words = spaced.split(' ').filter(|word| !word.is_empty());
    words
        .map(|word| match fraction {
            true => word.to_string(),
            false => without_exponent(word),
        })
        .collect::<Vec<_>>()
        .join(" ")
}

/// Digits of a number such as `1E-2`, as spreadsheets write small ones into CSV files; any other word unchanged.
fn without_exponent(word: &str) -> String {
    let plain = || {
        let at = word.find(['e', 'E'])?;
        let (mantissa, rest) = (&word[..at], &word[at + 1..]);
        let digits = rest.strip_prefix(['+', '-']).unwrap_or(rest);
        let end = digits.find(|c: char| !c.is_ascii_digit()).unwrap_or(digits.len());
        let end = rest.len() - digits.len() + end;
        let (exponent, unit) = rest.split_at(end);
        let is_number = mantissa.bytes().all(|b| b.is_ascii_digit() || b"+-.,".contains(&b))
            && mantissa.bytes().any(|b| b.is_ascii_digit());
        // With its sign, as programs write it: `2e3` may be anything.
        let signed = exponent.starts_with(['+', '-']);
        // After it at most a unit, no further digits.
        let goes_on = unit.starts_with(|c: char| c.is_numeric() || "+-.,/\u{2044}".contains(c));
        if !is_number || !signed || goes_on || !(2..=3).contains(&exponent.len()) {
            return None;
        }
        let number = format!("{}e{exponent}", mantissa.replace(',', "."));
        let number = Decimal::from_scientific(&number).ok()?;
        Some(format!("{number}{unit}"))
    };
    plain().unwrap_or_else(|| word.to_string())
}

/// Reads a decimal with a point or a comma as its mark. A text with both is refused, since it is unknown which one
/// groups thousands.
pub(crate) fn parse(text: &str) -> Option<Decimal> {
    let text = plain(text);
    let digits = text.strip_prefix(['+', '-']).unwrap_or(&text);
    let marks = digits.matches(['.', ',']).count();
    let shaped = digits.chars().all(|c| c.is_ascii_digit() || c == '.' || c == ',')
        && digits.chars().any(|c| c.is_ascii_digit());
    if !shaped || marks > 1 {
        return None;
    }
    Decimal::from_str_exact(&text.replace(',', ".")).ok()
}

/// Decimal that people see in a spreadsheet's cell: 15 significant digits of the binary number.
pub(crate) fn seen(number: f64) -> Option<Decimal> {
    if !number.is_finite() || number.abs() > 1e15 {
        return None;
    }
    if number.abs() < 1e-12 {
        return Some(Decimal::ZERO);
    }
    Decimal::from_scientific(&format!("{number:.14e}")).ok().map(|d| d.normalize())
}

/// Prints a decimal with at least `places` places and no trailing zeros after them.
pub(crate) fn show(number: Decimal, places: u32) -> String {
    let mut number = number.normalize();
    if number.scale() < places {
        number.rescale(places);
    }
    number.to_string()
}

/// An exact decimal of at most six places, held in whole millionths.
///
/// Coefficients of a requirement are such numbers, and so is [`Money`].
///
/// ```
/// use gapwright::decimal::Millionths;
/// let allowance = Millionths::parse("0,5").unwrap();
/// assert_eq!(allowance.raw(), 500_000);
/// assert_eq!(allowance.to_string(), "0.5");
/// assert_eq!(Millionths::parse("0.1234567"), None);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Millionths(i64);

impl Millionths {
    /// One.
    pub const ONE: Millionths = Millionths(1_000_000);
    /// Zero.
    pub const ZERO: Millionths = Millionths(0);

    /// A number of whole millionths.
    pub const fn from_raw(raw: i64) -> Millionths {
        Millionths(raw)
    }

    /// Number of whole millionths.
    pub const fn raw(self) -> i64 {
        self.0
    }

    /// Reads a decimal; `None` for anything else, for more than six places, and beyond a billion.
    pub fn parse(text: &str) -> Option<Millionths> {
        Self::whole(parse(text)?)
    }

    /// Reads a spreadsheet's number as the decimal that people see.
    pub fn from_number(number: f64) -> Option<Millionths> {
        Self::whole(seen(number)?)
    }

    fn whole(number: Decimal) -> Option<Millionths> {
        let raw = number.checked_mul(Decimal::from(1_000_000))?;
        if !raw.fract().is_zero() {
            return None;
        }
        raw.to_i64().filter(|raw| raw.abs() <= 1_000_000_000_000_000).map(Millionths)
    }

    /// Exact decimal.
    pub fn decimal(self) -> Decimal {
        Decimal::new(self.0, 6)
    }

    /// Nearest float, for a spreadsheet cell.
    pub fn to_f64(self) -> f64 {
        self.decimal().to_f64().unwrap_or(f64::NAN)
    }
}

impl fmt::Display for Millionths {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&show(self.decimal(), 0))
    }
}

impl Add for Millionths {
    type Output = Millionths;
    fn add(self, other: Millionths) -> Millionths {
        Millionths(self.0 + other.0)
    }
}

impl Neg for Millionths {
    type Output = Millionths;
    fn neg(self) -> Millionths {
        Millionths(-self.0)
    }
}

impl Sub for Millionths {
    type Output = Millionths;
    fn sub(self, other: Millionths) -> Millionths {
        Millionths(self.0 - other.0)
    }
}

impl Sum for Millionths {
    fn sum<I: Iterator<Item = Millionths>>(numbers: I) -> Millionths {
        numbers.fold(Millionths::ZERO, Add::add)
    }
}

impl Mul<u32> for Millionths {
    type Output = Millionths;
    fn mul(self, count: u32) -> Millionths {
        Millionths(self.0 * i64::from(count))
    }
}

/// Money in whole millionths of the currency, so that a bound is rounded up correctly.
pub type Money = Millionths;

/// Prints money with all six places, as the plan's JSON does.
pub fn show_money(money: Money) -> String {
    show(money.decimal(), 6)
}

/// Prints money with two places and more where they are needed, as the sheets do.
pub fn show_price(money: Money) -> String {
    show(money.decimal(), 2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_decimal_marks_are_read_and_a_mixture_is_refused() {
        assert_eq!(Millionths::parse("2,10").unwrap().raw(), 2_100_000);
        assert_eq!(Millionths::parse("2.10").unwrap().raw(), 2_100_000);
        for text in ["1,234.50", "1.234.567", "", "-", "2e3", "two", "0x10"] {
            assert_eq!(Millionths::parse(text), None, "{text}");
        }
    }

    #[test]
    fn a_spreadsheets_number_is_the_decimal_that_a_person_sees() {
        assert_eq!(Millionths::from_number(0.1 + 0.2).unwrap().raw(), 300_000);
        assert_eq!(Millionths::from_number(f64::INFINITY), None);
    }
}
