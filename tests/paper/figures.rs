//! Figures as on paper, recalculated in whole numbers.

use gapwright::length::{Length, Unit};

/// Tenths of a nanometre in a unit.
pub fn ticks(unit: Unit) -> i128 {
    match unit {
        Unit::Inch => 254_000_000,
        Unit::Millimetre => 10_000_000,
        other => panic!("no model is drawn in {other}"),
    }
}

/// Places that the trade writes.
pub fn places(unit: Unit) -> u32 {
    match unit {
        Unit::Inch => 4,
        _ => 3,
    }
}

pub fn other(unit: Unit) -> Unit {
    match unit {
        Unit::Inch => Unit::Millimetre,
        _ => Unit::Inch,
    }
}

pub fn symbol(unit: Unit) -> &'static str {
    match unit {
        Unit::Inch => "in",
        _ => "mm",
    }
}

/// Millionths of a tick.
pub fn raw(length: Length) -> i128 {
    i128::from(length.ticks()) * 1_000_000
}

#[derive(Clone, Copy)]
pub enum Round {
    Up,
    Down,
    Nearest,
}

/// A number of tenths, hundredths ... with its sign.
fn written(steps: i128, places: u32) -> String {
    let ten = 10_i128.pow(places);
    let sign = if steps < 0 { "-" } else { "" };
    let steps = steps.abs();
    match places {
        0 => format!("{sign}{steps}"),
        _ => format!("{sign}{}.{:0wide$}", steps / ten, steps % ten, wide = places as usize),
    }
}

/// Rounded to this number of places.
pub fn rounded(raw: i128, unit: Unit, places: u32, round: Round) -> String {
    let whole = 1_000_000 * ticks(unit);
    let scaled = raw * 10_i128.pow(places);
    let below = scaled.div_euclid(whole);
    let rest = scaled.rem_euclid(whole);
    let steps = match round {
        Round::Down => below,
        Round::Up => below + i128::from(rest > 0),
        // A half away from zero.
        Round::Nearest if raw >= 0 => below + i128::from(2 * rest >= whole),
        Round::Nearest => below + i128::from(2 * rest > whole),
    };
    written(steps, places)
}

/// Fewest places in which it is exact.
fn exact_places(raw: i128, unit: Unit) -> Option<u32> {
    let whole = 1_000_000 * ticks(unit);
    (0..=14).find(|places| (raw * 10_i128.pow(*places)) % whole == 0)
}

/// All its places, at least four for inches and three for millimetres.
pub fn bare(raw: i128, unit: Unit) -> String {
    match exact_places(raw, unit) {
        Some(own) => rounded(raw, unit, own.max(places(unit)), Round::Nearest),
        None => rounded(raw, unit, 6, Round::Nearest),
    }
}

/// As it was stated, where that takes at most one place more than usual, else to the usual ones.
pub fn stated(raw: i128, unit: Unit, round: Round) -> String {
    match exact_places(raw, unit) {
        Some(own) if own <= places(unit) + 1 => bare(raw, unit),
        _ => rounded(raw, unit, places(unit), round),
    }
}

/// Two limits, never wider than they are.
pub fn limits(low: i128, high: i128, unit: Unit) -> [String; 2] {
    let high = format!("{} {}", stated(high, unit, Round::Down), symbol(unit));
    [stated(low, unit, Round::Up), high]
}

/// A margin, never larger than it is.
pub fn margin(raw: i128, unit: Unit) -> String {
    format!("{} {}", rounded(raw, unit, places(unit), Round::Down), symbol(unit))
}

/// As measured, with the places of the reading that has the most.
pub fn measured(value: i128, readings: &[Length], unit: Unit) -> String {
    let own = readings.iter().filter_map(|reading| exact_places(raw(*reading), unit));
    let most = own.fold(places(unit), u32::max);
    format!("{} {}", rounded(value, unit, most, Round::Nearest), symbol(unit))
}

/// Ends of a range in whole steps of a gauge, each moved inward; none where that leaves fewer than two steps.
pub fn in_steps([low, high]: [i128; 2], unit: Unit, step: Length) -> Option<[String; 2]> {
    let step = raw(step);
    let first = low.div_euclid(step) + i128::from(low.rem_euclid(step) > 0);
    let last = high.div_euclid(step);
    let digits = exact_places(step, unit).unwrap();
    let end = |steps: i128| rounded(steps * step, unit, digits, Round::Nearest);
    (last - first >= 2).then(|| [end(first), format!("{} {}", end(last), symbol(unit))])
}

pub fn with_unit(raw: i128, unit: Unit) -> String {
    format!("{} {}", bare(raw, unit), symbol(unit))
}

/// In the usual places, for print next to the exact figure.
pub fn about_bare(raw: i128, unit: Unit) -> String {
    rounded(raw, unit, places(unit), Round::Nearest)
}

pub fn about(raw: i128, unit: Unit) -> String {
    format!("{} {}", about_bare(raw, unit), symbol(unit))
}

/// Inches where it is a whole number of ten-thousandths or not a whole micrometre either.
pub fn natural(length: Length) -> Unit {
    let ticks = length.ticks();
    match ticks % 25_400 != 0 && ticks % 10_000 == 0 {
        true => Unit::Millimetre,
        false => Unit::Inch,
    }
}

/// `0.03125 in (1/32)`, in the unit in which it is a short number.
pub fn thickness(length: Length) -> String {
    let unit = natural(length);
    let shown = with_unit(raw(length), unit);
    let ticks = length.ticks();
    // 64ths of an inch.
    if unit != Unit::Inch || ticks <= 0 || ticks % 3_968_750 != 0 {
        return shown;
    }
    let parts = ticks / 3_968_750;
    let (mut above, mut below) = (parts % 64, 64);
    while above % 2 == 0 && below > 1 {
        (above, below) = (above / 2, below / 2);
    }
    match (parts / 64, above) {
        (whole, 0) => format!("{shown} ({whole})"),
        (0, above) => format!("{shown} ({above}/{below})"),
        (whole, above) => format!("{shown} ({whole} {above}/{below})"),
    }
}

/// Next to a thickness: its value in the other system.
pub fn is_about(length: Length) -> String {
    about(raw(length), other(natural(length)))
}

/// `180 mm`, without trailing zeros.
pub fn trimmed(length: Length) -> String {
    let unit = natural(length);
    let shown = bare(raw(length), unit);
    let shown = shown.trim_end_matches('0').trim_end_matches('.');
    format!("{shown} {}", symbol(unit))
}

/// Possible deviation of a measured value.
pub fn within(minus: Length, plus: Length, unit: Unit) -> String {
    let side = |side: Length| stated(raw(side), unit, Round::Up);
    match minus == plus {
        true => format!("\u{b1}{}", side(plus)),
        false => format!("+{} -{}", side(plus), side(minus)),
    }
}

/// Least and greatest accepted reading, rounded inwards to a tenth of the usual places.
pub fn inwards([low, high]: [i128; 2], unit: Unit) -> [i128; 2] {
    let step = 1_000_000 * ticks(unit) / 10_i128.pow(places(unit) + 1);
    let up = low.div_euclid(step) + i128::from(low.rem_euclid(step) > 0);
    [up * step, high.div_euclid(step) * step]
}

/// Millionths of the currency to two places, a half to the even one.
pub fn money(amount: i64, currency: &str) -> String {
    let amount = i128::from(amount);
    let (below, rest) = (amount.div_euclid(10_000), amount.rem_euclid(10_000));
    let up = rest > 5_000 || (rest == 5_000 && below % 2 != 0);
    format!("{} {currency}", written(below + i128::from(up), 2))
}

/// With all its places, at least two.
pub fn money_exactly(amount: i64, currency: &str) -> String {
    let amount = i128::from(amount);
    let places = (2..6).find(|places| amount % 10_i128.pow(6 - places) == 0);
    let places = places.unwrap_or(6);
    let steps = amount / 10_i128.pow(6 - places);
    format!("{} {currency}", written(steps, places))
}

/// A whole or broken number in millionths: `0.5`, `20`.
pub fn millionths(raw: i64) -> String {
    let shown = written(raw.into(), 6);
    shown.trim_end_matches('0').trim_end_matches('.').into()
}

/// A percentage in millionths to a tenth.
pub fn tenth(percent: i128) -> String {
    written((percent + 50_000).div_euclid(100_000), 1)
}

pub fn float(raw: i128, unit: Unit) -> f64 {
    raw as f64 / (1e6 * ticks(unit) as f64)
}

#[test]
fn figures_by_hand() {
    let length = |text: &str| Length::parse(text, None).unwrap();
    let (inch, mm) = (Unit::Inch, Unit::Millimetre);
    assert_eq!(thickness(length("1/32 in")), "0.03125 in (1/32)");
    assert_eq!(thickness(length("1 1/2 in")), "1.5000 in (1 1/2)");
    assert_eq!(thickness(length("0.5 mm")), "0.500 mm");
    assert_eq!(is_about(length("1/16 in")), "1.588 mm");
    assert_eq!(is_about(length("1 mm")), "0.0394 in");
    assert_eq!(trimmed(length("180 mm")), "180 mm");
    assert_eq!(bare(raw(length("0.02105 in")), inch), "0.02105");
    assert_eq!(bare(-raw(length("0.020 in")), inch), "-0.0200");
    assert_eq!(rounded(-15, mm, 0, Round::Up), "0");
    // A third of 0.001 mm, rounded outwards and inwards.
    let third = raw(length("0.001 mm")) / 3;
    assert_eq!(stated(4 * third, mm, Round::Up), "0.002");
    assert_eq!(stated(4 * third, mm, Round::Down), "0.001");
    assert_eq!(stated(-4 * third, mm, Round::Down), "-0.002");
    let even = length("0.001 in");
    assert_eq!(within(even, even, inch), "\u{b1}0.0010");
    assert_eq!(within(Length::ZERO, even, inch), "+0.0010 -0.0000");
    assert_eq!(money(2_345_000, "USD"), "2.34 USD");
    assert_eq!(money(2_355_000, "USD"), "2.36 USD");
    assert_eq!(money(-2_345_001, "USD"), "-2.35 USD");
    assert_eq!(money_exactly(2_345_100, "USD"), "2.3451 USD");
    assert_eq!(money_exactly(2_000_000, "USD"), "2.00 USD");
    assert_eq!(millionths(20_500_000), "20.5");
    assert_eq!(tenth(33_333_333), "33.3");
    let cut = inwards([raw(length("0.019501 in")), raw(length("0.022509 in"))], inch);
    assert_eq!(cut.map(|end| bare(end, inch)), ["0.01951", "0.0225"]);
}
