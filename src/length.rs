//! Exact lengths: whole tenths of a nanometre, read from and printed in the units of the shop.
//!
//! # Decisions
//!
//! - The tick is 0.1 nm in an i64, not a nanometre and not a rational: 1/128 in and a micro-inch are whole, and ten
//!   metres leave room for millionths in i128.
//! - A typed length finer than a tick is refused, since it is meant; a computed one is rounded to a tick, since a
//!   spreadsheet's number is rounded already.
//! - Computed numbers and means in inches are held to the micro-inch, metric ones to a tick: a computed mean stays
//!   a decimal of its own unit.

use std::fmt;
use std::iter::Sum;
use std::ops::{Add, Mul, Neg, Sub};

use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, RoundingStrategy};
use thiserror::Error;

use crate::decimal::{self, Millionths};
use crate::narrow::narrow;

/// A unit of length that a workbook may use.
///
/// Every unit is a whole number of [`Length`]'s ticks, since 1 in = 25.4 mm exactly.
/// Source: NIST SP 811, appendix B (the international inch of 1959).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Unit {
    /// Inch, `in`.
    Inch,
    /// Thousandth of an inch, `thou`.
    Thou,
    /// Millimetre, `mm`.
    Millimetre,
    /// Micrometre, `um`.
    Micrometre,
}

impl Unit {
    /// All units, in the order in which help texts list them.
    pub const ALL: [Unit; 4] = [Unit::Inch, Unit::Thou, Unit::Millimetre, Unit::Micrometre];

    /// Reads a unit as people write it: `in`, `"`, `thou`, `mil`, `mm`, `um`, `µm` ...
    ///
    /// ```
    /// use gapwright::length::Unit;
    /// assert_eq!(Unit::parse(" MM "), Some(Unit::Millimetre));
    /// assert_eq!(Unit::parse("''"), Some(Unit::Inch));
    /// assert_eq!(Unit::parse("furlong"), None);
    /// ```
    pub fn parse(text: &str) -> Option<Unit> {
        match text.trim().trim_end_matches('.').to_lowercase().as_str() {
            "in" | "inch" | "inches" | "\"" | "″" | "''" | "”" | "“" => Some(Unit::Inch),
            "thou" | "mil" | "mils" => Some(Unit::Thou),
            "mm" | "millimetre" | "millimetres" | "millimeter" | "millimeters" => {
                Some(Unit::Millimetre)
            }
            // Three spellings: Latin u, the micro sign and the Greek letter mu.
            "um" | "\u{b5}m" | "\u{3bc}m" | "micron" | "microns" | "micrometre" | "micrometres"
            | "micrometer" | "micrometers" => Some(Unit::Micrometre),
            _ => None,
        }
    }

    /// Symbol printed after a number.
    pub const fn symbol(self) -> &'static str {
        match self {
            Unit::Inch => "in",
            Unit::Thou => "thou",
            Unit::Millimetre => "mm",
            Unit::Micrometre => "um",
        }
    }

    /// Decimal places that the trade writes for this unit.
    pub const fn places(self) -> u32 {
        match self {
            Unit::Inch => 4,
            Unit::Thou | Unit::Micrometre => 1,
            Unit::Millimetre => 3,
        }
    }

    /// Half of the last place that the trade writes for this unit.
    pub const fn half_place(self) -> Length {
        Length(self.ticks() / 10_i64.pow(self.places()) / 2)
    }

    /// Step, in ticks, to which worked-out numbers are held: a micro-inch, or one tick.
    const fn step(self) -> i64 {
        match self {
            Unit::Inch | Unit::Thou => MICRO_INCH,
            Unit::Millimetre | Unit::Micrometre => 1,
        }
    }

    /// Unit of the other system, for printing both side by side.
    pub const fn other(self) -> Unit {
        match self {
            Unit::Inch => Unit::Millimetre,
            Unit::Thou => Unit::Micrometre,
            Unit::Millimetre => Unit::Inch,
            Unit::Micrometre => Unit::Thou,
        }
    }

    /// Unit of the same system for sizes too large for thou or micrometres: diameters, the sides of a sheet.
    pub const fn large(self) -> Unit {
        match self {
            Unit::Inch | Unit::Thou => Unit::Inch,
            Unit::Millimetre | Unit::Micrometre => Unit::Millimetre,
        }
    }

    /// Ticks (tenths of a nanometre) in one of this unit.
    pub const fn ticks(self) -> i64 {
        match self {
            Unit::Inch => 254_000_000,
            Unit::Thou => 254_000,
            Unit::Millimetre => 10_000_000,
            Unit::Micrometre => 10_000,
        }
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}

/// Reasons why a text or a number is not a length.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum LengthError {
    /// Not a number.
    #[error("not a length")]
    NotANumber,
    /// A negative tolerance.
    #[error("below zero")]
    BelowZero,
    /// A number without a unit in its cell or its column.
    #[error("a length with no unit, and its column names none")]
    NoUnit,
    /// Text after the number that is not a unit of length.
    #[error("`{0}` is not a unit that is known here")]
    UnknownUnit(String),
    /// More digits than the exact resolution, a tenth of a nanometre.
    #[error("finer than 0.1 nm, which cannot be held exactly")]
    TooFine,
    /// Other digits in the cell than it shows.
    #[error("shown with other digits than are stored")]
    ShownOtherwise,
    /// Beyond ten metres, the limit of this program.
    #[error("longer than 10 m")]
    TooLong,
}

/// A length in whole tenths of a nanometre ("ticks").
///
/// One tick is fine enough that 0.0001 in (25 400 ticks), 0.1 um (1 000 ticks), one micro-inch (254 ticks) and 1/128
/// in are all whole, so pieces of both systems add up without any rounding.
///
/// ```
/// use gapwright::length::{Length, Unit};
/// let shim = Length::parse("1/64 in", None).unwrap();
/// assert_eq!(shim.show(Unit::Millimetre), "0.396875");
/// let pack = shim + Length::parse("12", Some(Unit::Thou)).unwrap();
/// assert_eq!(pack.show(Unit::Inch), "0.027625");
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Length(i64);

/// One micro-inch in ticks.
const MICRO_INCH: i64 = 254;

impl Length {
    /// Zero length.
    pub const ZERO: Length = Length(0);

    /// Ten metres: longer than any dimension of this trade, and small enough that no sum overflows.
    pub const MOST: Length = Length(100_000_000_000);

    /// A length of whole ticks (tenths of a nanometre).
    pub const fn from_ticks(ticks: i64) -> Length {
        Length(ticks)
    }

    /// Number of whole ticks (tenths of a nanometre).
    pub const fn ticks(self) -> i64 {
        self.0
    }

    /// Reads a length as people type it; `column` is the unit of the column, if it names one.
    ///
    /// A decimal point or comma, a fraction or a mixed number, then optionally a unit, which outranks the column's:
    /// `0.021`, `.005"`, `0,5 mm`, `12 thou`, `1/64 in`, `1 1/2 in`.
    ///
    /// # Errors
    /// [`LengthError`], one variant per reason; a text finer than a tick is refused, not rounded.
    ///
    /// ```
    /// use gapwright::length::{Length, LengthError, Unit};
    /// assert_eq!(Length::parse(".005\"", None), Ok(Length::from_ticks(1_270_000)));
    /// assert_eq!(Length::parse("0,5", Some(Unit::Millimetre)), Ok(Length::from_ticks(5_000_000)));
    /// assert_eq!(Length::parse("0.021", None), Err(LengthError::NoUnit));
    /// ```
    pub fn parse(text: &str, column: Option<Unit>) -> Result<Length, LengthError> {
        let (above, below, unit) = ratio(text, column)?;
        // Whole numbers throughout: a decimal type rounds a number with too many digits.
        let ticks = above.checked_mul(unit.ticks().into()).ok_or(LengthError::TooLong)?;
        if ticks % below != 0 {
            return Err(LengthError::TooFine);
        }
        within_range(ticks / below)
    }

    /// Reads a length as [`Length::parse`] does, of digits that a program has worked out: to the nearest whole step,
    /// as [`Length::from_number`] does.
    ///
    /// # Errors
    /// [`LengthError`], except [`LengthError::TooFine`].
    ///
    /// ```
    /// use gapwright::length::{Length, Unit};
    /// let mean = Length::parse_computed("0.0213333333333333 in", None).unwrap();
    /// assert_eq!(mean.show(Unit::Inch), "0.021333");
    /// ```
    pub fn parse_computed(text: &str, column: Option<Unit>) -> Result<Length, LengthError> {
        let (above, below, unit) = ratio(text, column)?;
        let ticks = above.checked_mul(unit.ticks().into()).ok_or(LengthError::TooLong)?;
        if ticks % below == 0 {
            return within_range(ticks / below);
        }
        let step = i128::from(unit.step());
        let over = below.checked_mul(step).ok_or(LengthError::TooFine)?;
        // To the nearest, halves away from zero.
        let twice = ticks.checked_mul(2).ok_or(LengthError::TooLong)?;
        let nearest = twice.checked_add(ticks.signum() * over).ok_or(LengthError::TooLong)?;
        within_range(nearest / (2 * over) * step)
    }

    /// Reads a spreadsheet's number, which is a rounded binary one, as the decimal that people see (15 significant
    /// digits), to the nearest whole step: a micro-inch for inches and thou, a tick for metric units. So a calculated
    /// mean stays a decimal of its own unit.
    ///
    /// # Errors
    /// [`LengthError::NotANumber`] for infinities and the like, [`LengthError::TooLong`].
    ///
    /// ```
    /// use gapwright::length::{Length, Unit};
    /// assert_eq!(Length::from_number(0.1 + 0.2, Unit::Inch).unwrap().show(Unit::Inch), "0.3000");
    /// ```
    pub fn from_number(number: f64, unit: Unit) -> Result<Length, LengthError> {
        let seen = decimal::seen(number).ok_or(LengthError::NotANumber)?;
        let ticks = seen.checked_mul(Decimal::from(unit.ticks())).ok_or(LengthError::TooLong)?;
        let step = Decimal::from(unit.step());
        let whole = (ticks / step).round() * step;
        within_range(whole.to_i128().ok_or(LengthError::TooLong)?)
    }

    /// Number in `unit`, with at least the places that the trade writes, and more where the exact value needs them;
    /// six places where no decimal ends (0.1 mm in inches).
    pub fn show(self, unit: Unit) -> String {
        Fine::from(self).show(unit)
    }

    /// Length as a fraction of an inch, if it is exactly one of at most 64ths.
    ///
    /// ```
    /// use gapwright::length::Length;
    /// assert_eq!(Length::parse("0.046875 in", None).unwrap().fraction().as_deref(), Some("3/64"));
    /// assert_eq!(Length::parse("1.5 in", None).unwrap().fraction().as_deref(), Some("1 1/2"));
    /// assert_eq!(Length::parse("0.010 in", None).unwrap().fraction(), None);
    /// ```
    pub fn fraction(self) -> Option<String> {
        const SIXTY_FOURTH: i64 = Unit::Inch.ticks() / 64;
        if self.0 <= 0 || self.0 % SIXTY_FOURTH != 0 {
            return None;
        }
        let parts = self.0 / SIXTY_FOURTH;
        let (whole, mut above, mut below) = (parts / 64, parts % 64, 64);
        while above % 2 == 0 && below > 1 {
            (above, below) = (above / 2, below / 2);
        }
        Some(match (whole, above) {
            (whole, 0) => whole.to_string(),
            (0, above) => format!("{above}/{below}"),
            (whole, above) => format!("{whole} {above}/{below}"),
        })
    }

    /// Number in `unit` for a spreadsheet cell or a chart, where a float is unavoidable.
    pub fn to_f64(self, unit: Unit) -> f64 {
        Fine::from(self).to_f64(unit)
    }

    /// Absolute value.
    pub const fn abs(self) -> Length {
        Length(self.0.abs())
    }

    /// Mean of readings, to the nearest tick (halves away from zero), or to the nearest micro-inch where all the
    /// readings are whole micro-inches; `None` without readings.
    ///
    /// ```
    /// use gapwright::length::Length;
    /// let readings = [10, 11, 11].map(Length::from_ticks);
    /// assert_eq!(Length::mean(&readings), Some(Length::from_ticks(11)));
    /// assert_eq!(Length::mean(&[]), None);
    /// ```
    pub fn mean(readings: &[Length]) -> Option<Length> {
        let count = i64::try_from(readings.len()).ok().filter(|&n| n > 0)?;
        let sum: i64 = readings.iter().map(|r| r.0).sum();
        let step = Length::step(readings);
        let steps = (Decimal::from(sum) / Decimal::from(count * step))
            .round_dp_with_strategy(0, RoundingStrategy::MidpointAwayFromZero);
        Some(Length(steps.to_i64()? * step))
    }

    /// Step for rounding lengths made of these: a micro-inch, in ticks, if all are whole micro-inches, else one tick.
    pub fn step(lengths: &[Length]) -> i64 {
        if lengths.iter().all(|l| l.0 % MICRO_INCH == 0) { MICRO_INCH } else { 1 }
    }
}

/// A number as numerator and denominator, and its unit: its own, or the column's.
fn ratio(text: &str, column: Option<Unit>) -> Result<(i128, i128, Unit), LengthError> {
    let text = fractions_spelt_out(&decimal::plain(text));
    let split =
        text.find(|c: char| !(c.is_ascii_digit() || "+-.,/ ".contains(c))).unwrap_or(text.len());
    let (number, suffix) = text.split_at(split);
    let number = number.trim();
    if !number.contains(|c: char| c.is_ascii_digit()) {
        return Err(LengthError::NotANumber);
    }
    let unit = match suffix.trim() {
        "" => column.ok_or(LengthError::NoUnit)?,
        suffix => {
            Unit::parse(suffix).ok_or_else(|| LengthError::UnknownUnit(suffix.to_string()))?
        }
    };
    let (above, below) = parse_ratio(number).ok_or(LengthError::NotANumber)?;
    Ok((above, below, unit))
}

/// Spells out single characters for fractions, with digits and a slash.
fn fractions_spelt_out(text: &str) -> String {
    const FRACTIONS: [(char, &str); 7] = [
        ('\u{bc}', " 1/4"),
        ('\u{bd}', " 1/2"),
        ('\u{be}', " 3/4"),
        ('\u{215b}', " 1/8"),
        ('\u{215c}', " 3/8"),
        ('\u{215d}', " 5/8"),
        ('\u{215e}', " 7/8"),
    ];
    let mut spelt = text.replace('\u{2044}', "/");
    for (character, figures) in FRACTIONS {
        spelt = spelt.replace(character, figures);
    }
    spelt.trim().to_string()
}

fn within_range(ticks: i128) -> Result<Length, LengthError> {
    i64::try_from(ticks)
        .ok()
        .map(Length)
        .filter(|length| length.abs() <= Length::MOST)
        .ok_or(LengthError::TooLong)
}

/// A decimal, a fraction or a mixed number, as numerator and denominator.
fn parse_ratio(text: &str) -> Option<(i128, i128)> {
    let Some((above, below)) = text.split_once('/') else {
        let number = decimal::parse(text)?;
        return Some((number.mantissa(), 10_i128.checked_pow(number.scale())?));
    };
    let whole = |text: &str| -> Option<i128> {
        let digits = text.bytes().all(|b| b.is_ascii_digit());
        let number: u32 = text.parse().ok().filter(|_| digits)?;
        Some(number.into())
    };
    let below = whole(below.trim()).filter(|&below| below > 0)?;
    let above = above.trim();
    // The sign is that of the whole text: `-0 1/2` is below zero.
    let (sign, above) = match above.strip_prefix('-') {
        Some(rest) => (-1, rest),
        None => (1, above.strip_prefix('+').unwrap_or(above)),
    };
    // `1 1/2` and the shop's `1-1/2` are one and a half.
    let above = match above.rsplit_once([' ', '-']) {
        Some((full, above)) => whole(full.trim())? * below + whole(above.trim())?,
        None => whole(above)?,
    };
    Some((sign * above, below))
}

impl Add for Length {
    type Output = Length;
    fn add(self, other: Length) -> Length {
        Length(self.0 + other.0)
    }
}

impl Sub for Length {
    type Output = Length;
    fn sub(self, other: Length) -> Length {
        Length(self.0 - other.0)
    }
}

impl Neg for Length {
    type Output = Length;
    fn neg(self) -> Length {
        Length(-self.0)
    }
}

impl Mul<u32> for Length {
    type Output = Length;
    fn mul(self, count: u32) -> Length {
        Length(self.0 * i64::from(count))
    }
}

impl Sum for Length {
    fn sum<I: Iterator<Item = Length>>(lengths: I) -> Length {
        lengths.fold(Length::ZERO, Add::add)
    }
}

/// A length times a coefficient: whole millionths of a tick.
///
/// Requirements are judged in it: a sensitivity such as 1.4 times a length stays exact.
///
/// ```
/// use gapwright::decimal::Millionths;
/// use gapwright::length::{Length, Unit};
/// let gap = Length::parse("0.061 in", None).unwrap();
/// let free = Millionths::parse("1.5").unwrap() * gap;
/// assert_eq!(free.show(Unit::Inch), "0.0915");
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Fine(i128);

impl Fine {
    /// Zero length.
    pub const ZERO: Fine = Fine(0);

    /// A length of whole millionths of a tick.
    pub const fn from_raw(raw: i128) -> Fine {
        Fine(raw)
    }

    /// Number of whole millionths of a tick.
    pub const fn raw(self) -> i128 {
        self.0
    }

    /// The length, if it is a whole number of ticks.
    pub fn whole(self) -> Option<Length> {
        let ticks = (self.0 % 1_000_000 == 0).then_some(self.0 / 1_000_000)?;
        i64::try_from(ticks).ok().map(Length)
    }

    /// Absolute value.
    pub const fn abs(self) -> Fine {
        Fine(self.0.abs())
    }

    /// Exact decimal in `unit`, or `None` where no decimal of reasonable length ends.
    pub fn exact(self, unit: Unit) -> Option<Decimal> {
        let raw = Decimal::try_from_i128_with_scale(self.0, 6).ok()?;
        let ticks = Decimal::from(unit.ticks());
        let number = (raw / ticks).round_dp(14);
        (number.checked_mul(ticks)? == raw).then(|| number.normalize())
    }

    /// Number in `unit`; see [`Length::show`].
    pub fn show(self, unit: Unit) -> String {
        match self.exact(unit) {
            Some(number) => decimal::show(number, unit.places()),
            None => format!("{:.6}", self.to_f64(unit)),
        }
    }

    /// Number in `unit` for a spreadsheet cell or a chart.
    pub fn to_f64(self, unit: Unit) -> f64 {
        let parts = 1_000_000 * i128::from(unit.ticks());
        Decimal::try_from_i128_with_scale(self.0, 0)
            .ok()
            .and_then(|raw| raw.checked_div(Decimal::try_from_i128_with_scale(parts, 0).ok()?))
            .and_then(|number| number.to_f64())
            .unwrap_or(f64::NAN)
    }
}

impl From<Length> for Fine {
    fn from(length: Length) -> Fine {
        Fine(i128::from(length.0) * 1_000_000)
    }
}

impl Mul<Length> for Millionths {
    type Output = Fine;
    fn mul(self, length: Length) -> Fine {
        Fine(i128::from(self.raw()) * i128::from(length.0))
    }
}

impl Add for Fine {
    type Output = Fine;
    fn add(self, other: Fine) -> Fine {
        Fine(self.0 + other.0)
    }
}

impl Sub for Fine {
    type Output = Fine;
    fn sub(self, other: Fine) -> Fine {
        Fine(self.0 - other.0)
    }
}

impl Neg for Fine {
    type Output = Fine;
    fn neg(self) -> Fine {
        Fine(-self.0)
    }
}

impl Sum for Fine {
    fn sum<I: Iterator<Item = Fine>>(lengths: I) -> Fine {
        lengths.fold(Fine::ZERO, Add::add)
    }
}

/// A standard uncertainty: whole femtometres (100 000 make a tick), not negative. Calculated ones are rounded up: too
/// wide by less than any measurable amount, never too narrow.
///
/// ```
/// use gapwright::length::{Length, Uncertainty, Unit};
/// let u = Uncertainty::from(Length::parse("0.0001 in", None).unwrap());
/// assert_eq!(u.raw(), 2_540_000_000);
/// assert!((u.to_f64(Unit::Inch) - 0.0001).abs() < 1e-15);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Uncertainty(i64);

impl Uncertainty {
    /// Zero uncertainty.
    pub const ZERO: Uncertainty = Uncertainty(0);

    /// A standard uncertainty of whole femtometres.
    pub const fn from_raw(raw: i64) -> Uncertainty {
        Uncertainty(raw)
    }

    /// Number of whole femtometres.
    pub const fn raw(self) -> i64 {
        self.0
    }

    /// Least uncertainty whose square is at least `square` (in femtometres squared) over `parts`.
    pub(crate) fn root_of(square: i128, parts: i128) -> Uncertainty {
        // The least root with parts x root^2 >= square is that of the quotient rounded up.
        let root = root_up((square + parts - 1).div_euclid(parts));
        Uncertainty(narrow::<i64>(root))
    }

    /// The uncertainty times `factor`, rounded up to a whole tick.
    pub fn times_up(self, factor: Millionths) -> Length {
        let raw = i128::from(self.0) * i128::from(factor.raw());
        Length(narrow::<i64>(-(-raw).div_euclid(100_000_000_000)))
    }

    /// The uncertainty over `factor`, which is above zero, rounded up: a standard uncertainty out of an expanded one.
    pub fn over_up(self, factor: Millionths) -> Uncertainty {
        let (raw, factor) = (i128::from(self.0) * 1_000_000, i128::from(factor.raw().max(1)));
        Uncertainty(narrow::<i64>((raw + factor - 1).div_euclid(factor)))
    }

    /// Number in `unit` for a spreadsheet cell or a chart.
    pub fn to_f64(self, unit: Unit) -> f64 {
        Fine(i128::from(self.0) * 10).to_f64(unit)
    }
}

impl From<Length> for Uncertainty {
    fn from(length: Length) -> Uncertainty {
        Uncertainty(length.0.saturating_mul(100_000))
    }
}

/// Square root, rounded up to a whole number; 0 where `square` is not above zero.
pub(crate) fn root_up(square: i128) -> i128 {
    let root = square.max(0).isqrt();
    // Compared by the quotient, which cannot overflow.
    if root > 0 && (square / root > root || square % root > 0) { root + 1 } else { root }
}

/// Limits of the deviation of a length from its stated value: below by `minus`, above by `plus`. Unequal sides are
/// allowed (a rolled shim may only be thin). One side of a dimension may be negative, as drawings print `+0.03 / +0.01`:
/// the length is then never the stated one. Never both: their sum is the width.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Tolerance {
    /// Deviation below.
    pub minus: Length,
    /// Deviation above.
    pub plus: Length,
}

impl Tolerance {
    /// Equal deviations on both sides.
    pub const fn even(both: Length) -> Tolerance {
        Tolerance { minus: both, plus: both }
    }

    /// Whether the stated value itself is within it: neither side is negative.
    pub fn holds_stated(self) -> bool {
        self.minus >= Length::ZERO && self.plus >= Length::ZERO
    }

    /// Excess of the upper side over the lower one, in ticks: twice the height of the middle above the nominal value.
    pub(crate) fn asymmetry(self) -> i128 {
        i128::from(self.plus.0) - i128::from(self.minus.0)
    }

    /// Reads `0.0005`, `±0.0005 in` or `+0.1/-0.2 mm`; `column` is the unit of the column.
    ///
    /// # Errors
    /// [`LengthError`] as for [`Length::parse`]; a negative tolerance is [`LengthError::BelowZero`].
    ///
    /// ```
    /// use gapwright::length::{Length, Tolerance, Unit};
    /// let rolled = Tolerance::parse("+0 / -0.05 mm", None).unwrap();
    /// assert_eq!(rolled.plus, Length::ZERO);
    /// assert_eq!(rolled.minus.show(Unit::Millimetre), "0.050");
    /// ```
    pub fn parse(text: &str, column: Option<Unit>) -> Result<Tolerance, LengthError> {
        let text = decimal::plain(text);
        let text = text.trim_start_matches('±').trim_start_matches("+/-").trim();
        let sides = text.split_once('/').and_then(|(first, second)| {
            let (first, second) = (first.trim(), second.trim());
            Some((first.strip_prefix('+')?, second.strip_prefix('-')?))
        });
        let tolerance = match sides {
            None => Tolerance::even(Length::parse(text, column)?),
            Some((plus, minus)) => {
                let minus_text = minus.trim();
                // A unit after the second side counts for both: `+0 / -0.05 mm`.
                let split = minus_text
                    .find(|c: char| !(c.is_ascii_digit() || "., ".contains(c)))
                    .unwrap_or(minus_text.len());
                let shared = Unit::parse(&minus_text[split..]).or(column);
                Tolerance {
                    minus: Length::parse(minus_text, column)?,
                    plus: Length::parse(plus, shared)?,
                }
            }
        };
        match tolerance.holds_stated() {
            true => Ok(tolerance),
            false => Err(LengthError::BelowZero),
        }
    }

    /// Reads two limits of deviation as drawings print them, in either order, both on one side where they are:
    /// `+0.03 / +0.01`, `-0.02 / +0 mm`, `0 / -0.05`; or a tolerance as [`Tolerance::parse`] does.
    ///
    /// # Errors
    /// [`LengthError`] as for [`Tolerance::parse`]; two limits without a sign are [`LengthError::NotANumber`].
    ///
    /// ```
    /// use gapwright::length::{Tolerance, Unit};
    /// let shaft = Tolerance::parse_printed("-0.020 / -0.041 mm", None).unwrap();
    /// assert_eq!(shaft.plus.show(Unit::Millimetre), "-0.020");
    /// assert_eq!(shaft.minus.show(Unit::Millimetre), "0.041");
    /// ```
    pub fn parse_printed(text: &str, column: Option<Unit>) -> Result<Tolerance, LengthError> {
        let plain = decimal::plain(text);
        let is_zero = |side: &str| {
            let number = side.trim_end_matches(|c: char| !c.is_ascii_digit());
            !number.is_empty() && number.chars().all(|c| "0.,".contains(c))
        };
        let has_digit = |side: &str| side.contains(|c: char| c.is_ascii_digit());
        let signed = |side: &str| side.starts_with(['+', '-']) && has_digit(side) || is_zero(side);
        let sides = plain.split_once('/').map(|(first, second)| (first.trim(), second.trim()));
        // A fraction such as +1/64 has no sign behind its stroke.
        let Some((first, second)) = sides.filter(|(a, b)| signed(a) && signed(b)) else {
            return Tolerance::parse(text, column);
        };
        let unit = |side: &str| {
            let end = side.rfind(|c: char| c.is_ascii_digit()).map_or(0, |at| at + 1);
            Unit::parse(&side[end..])
        };
        let [first, second] = [(first, unit(second)), (second, None)]
            .map(|(side, shared)| Length::parse(side, unit(side).or(shared).or(column)));
        let (first, second) = (first?, second?);
        let (low, high) = (first.min(second), first.max(second));
        Ok(Tolerance { minus: -low, plus: high })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: NIST SP 811 appendix B, 1 in = 25.4 mm exactly; the fractions follow from it.
    #[test]
    fn fractions_of_an_inch_are_exact_in_millimetres() {
        for (text, millimetres) in [
            ("1/64 in", "0.396875"),
            ("1/32\"", "0.79375"),
            ("1/16 in", "1.5875"),
            ("1/8 inch", "3.175"),
            ("1 1/2 in", "38.100"),
            ("-1-1/2 in", "-38.100"),
            ("-0 1/2 in", "-12.700"),
            ("+1 1/2 in", "38.100"),
            ("1/128 in", "0.1984375"),
            ("0.001 in", "0.0254"),
            ("0.1 um", "0.0001"),
        ] {
            let length = Length::parse(text, None).unwrap();
            assert_eq!(length.show(Unit::Millimetre), millimetres, "{text}");
        }
    }

    #[test]
    fn every_ten_thousandth_and_every_tenth_of_a_micrometre_survives_a_spreadsheet() {
        for n in 0..200_000_i32 {
            let inch = Length::from_number(f64::from(n) / 10_000.0, Unit::Inch).unwrap();
            assert_eq!(inch.ticks(), i64::from(n) * 25_400);
            let metric = Length::from_number(f64::from(n) / 10_000.0, Unit::Millimetre).unwrap();
            assert_eq!(metric.ticks(), i64::from(n) * 1_000);
        }
    }

    #[test]
    fn what_is_not_a_length_says_why() {
        use LengthError::*;
        for (text, error) in [
            ("", NotANumber),
            ("thin", NotANumber),
            ("mm", NotANumber),
            ("1.2.3 mm", NotANumber),
            ("1,234.5 mm", NotANumber),
            ("0.5", NoUnit),
            ("0.5 furlong", UnknownUnit("furlong".into())),
            ("1/3 in", TooFine),
            ("1/0 in", NotANumber),
            ("0.00000001 mm", TooFine),
            ("1.0000000000000000000000000001 in", TooFine),
            ("- 1/2 in", NotANumber),
            ("1 1 1/2 in", NotANumber),
            ("4294967295 999999999/1000000000 um", TooFine),
            ("79228162514264337593543950335 in", TooLong),
            ("11000 mm", TooLong),
        ] {
            assert_eq!(Length::parse(text, None), Err(error), "{text}");
        }
        // Programs write exponents, people fractions: both together are neither.
        for both in ["1e+0 1/2", "0e+1 1/64 in", ".0e+3\u{b}1/64", "1e-2 \u{bd} mm"] {
            assert!(Length::parse(both, Some(Unit::Inch)).is_err(), "{both}");
        }
        assert!(Length::parse("1e-2", Some(Unit::Inch)).is_ok());
        assert_eq!(Length::from_number(f64::NAN, Unit::Inch), Err(NotANumber));
    }

    /// By hand.
    #[test]
    fn limits_of_deviation_are_read_as_drawings_print_them() {
        for (text, minus, plus) in [
            ("+0.03 / +0.01", "-0.010", "0.030"),
            ("+0.01/+0.03 mm", "-0.010", "0.030"),
            ("-0.02 / +0", "0.020", "0.000"),
            ("0 / -0.02", "0.020", "0.000"),
            ("-0.02 mm / -0.05 mm", "0.050", "-0.020"),
            ("-20 / -50 um", "0.050", "-0.020"),
            ("\u{2212}0,02 / +0,01", "0.020", "0.010"),
            ("+/-0.02", "0.020", "0.020"),
            ("1/64 in", "0.396875", "0.396875"),
        ] {
            let read = Tolerance::parse_printed(text, Some(Unit::Millimetre)).unwrap();
            let shown = [read.minus, read.plus].map(|side| side.show(Unit::Millimetre));
            assert_eq!(shown, [minus, plus], "{text}");
        }
        for text in ["0.03 / 0.01", "-0.02", "+0.03 / +0.01 / 0", "+0.03 / + ", "+ / -"] {
            assert!(Tolerance::parse_printed(text, Some(Unit::Millimetre)).is_err(), "{text}");
        }
        // A piece is never known to be off.
        assert!(Tolerance::parse("+0.03 / +0.01", Some(Unit::Millimetre)).is_err());
    }

    #[test]
    fn a_cell_of_its_own_unit_outranks_the_column() {
        let length = Length::parse("0,5 mm", Some(Unit::Inch)).unwrap();
        assert_eq!(length.show(Unit::Millimetre), "0.500");
    }

    /// A web how-to multiplies by 0.039 instead of dividing by 25.4; that must fail here.
    #[test]
    fn a_millimetre_is_not_thirty_nine_thou() {
        let millimetre = Length::parse("1 mm", None).unwrap();
        assert_ne!(millimetre, Length::parse("39 thou", None).unwrap());
        assert_eq!(millimetre.show(Unit::Thou), "39.370079");
    }
}
