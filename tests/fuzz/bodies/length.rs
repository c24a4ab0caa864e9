//! Lengths, tolerances, units, numbers, settings, pieces and sweeps, as people type them.

use std::sync::LazyLock;

use gapwright::accounting::{pack_total, verdicts};
use gapwright::decimal::Millionths;
use gapwright::job::Job;
use gapwright::length::{Fine, Length, LengthError, Tolerance, Unit};
use gapwright::policy::Policy;
use gapwright::read;
use gapwright::recheck::Reading;
use gapwright::sweep::{self, Sweep};

use super::{json, told};

/// The first byte: the unit of the column, or the kind of text.
pub fn run(bytes: &[u8]) {
    let Some((kind, rest)) = super::parted(bytes) else {
        return;
    };
    let text = String::from_utf8_lossy(rest);
    match kind {
        'n' => typed(&text, None),
        'i' => typed(&text, Some(Unit::Inch)),
        't' => typed(&text, Some(Unit::Thou)),
        'm' => typed(&text, Some(Unit::Millimetre)),
        'u' => typed(&text, Some(Unit::Micrometre)),
        'f' => number(rest),
        's' => setting(&text),
        'p' => pieces(&text),
        'w' => swept(&text),
        _ => {}
    }
}

fn typed(text: &str, column: Option<Unit>) {
    match Length::parse(text, column) {
        Ok(length) => {
            held(length);
            assert_eq!(reckoned(text, column), Some(length.ticks()), "`{text}`");
            if column.is_none() {
                // A unit of its own outranks the column's.
                for unit in Unit::ALL {
                    assert_eq!(Length::parse(text, Some(unit)), Ok(length));
                }
            }
        }
        Err(error) => assert!(column.is_none() || error != LengthError::NoUnit, "`{text}`"),
    }
    let within = Length::from_ticks(1_000);
    if let Ok(reading) = Reading::parse(text, column, within) {
        assert!(reading.within >= within, "`{text}`");
        if !text.contains(" to ") {
            assert_eq!(Ok(reading.value), Length::parse(text, column));
        }
    }
    if let Ok(tolerance) = Tolerance::parse(text, column) {
        assert!(tolerance.minus >= Length::ZERO && tolerance.plus >= Length::ZERO);
        held(tolerance.minus);
        held(tolerance.plus);
        let [plus, minus] = [tolerance.plus, tolerance.minus].map(|l| l.show(Unit::Millimetre));
        for both in [format!("+{plus} / -{minus} mm"), format!("+{plus} mm/-{minus} mm")] {
            assert_eq!(Tolerance::parse(&both, column), Ok(tolerance), "`{both}`");
        }
    }
    if let Some(unit) = Unit::parse(text) {
        assert_eq!(Unit::parse(unit.symbol()), Some(unit));
    }
    if let Some(number) = Millionths::parse(text) {
        assert_eq!(Millionths::parse(&number.to_string()), Some(number));
        assert_eq!(Millionths::from_raw(number.raw()), number);
    }
}

/// A length that was read comes back unchanged wherever it can be written exactly.
fn held(length: Length) {
    for unit in Unit::ALL {
        let shown = length.show(unit);
        if Fine::from(length).exact(unit).is_some() {
            assert_eq!(Length::parse(&shown, Some(unit)), Ok(length), "{shown} {unit}");
        }
    }
    // A tenth of a nanometre is a decimal of both metric units, so they are always exact.
    let metric = length.to_f64(Unit::Millimetre);
    assert_eq!(Length::from_number(metric, Unit::Millimetre), Ok(length));
    assert_eq!(Length::parse(&length.show(Unit::Micrometre), Some(Unit::Micrometre)), Ok(length));
    if let Some(fraction) = length.fraction() {
        assert_eq!(Length::parse(&fraction, Some(Unit::Inch)), Ok(length));
    }
}

/// Ticks of a text that reads as a length, calculated independently in whole numbers; `None` where the result is not
/// a whole number of ticks.
fn reckoned(text: &str, column: Option<Unit>) -> Option<i64> {
    let text: String = text
        .chars()
        .map(|c| match c {
            '\u{2212}' | '\u{2013}' => '-',
            '\u{b7}' => '.',
            '\u{2044}' => '/',
            c if c.is_whitespace() => ' ',
            c => c,
        })
        .collect();
    let mut text = text;
    for (sign, figures) in ["¼ 1/4", "½ 1/2", "¾ 3/4", "⅛ 1/8", "⅜ 3/8", "⅝ 5/8", "⅞ 7/8"]
        .map(|both| both.split_once(' ').expect("two"))
    {
        text = text.replace(sign, &format!(" {figures}"));
    }
    let mut end = text.rfind(|c: char| c.is_ascii_digit())? + 1;
    if text[end..].starts_with(['.', ',']) {
        end += 1;
    }
    let (number, suffix) = text.split_at(end);
    let unit = Unit::parse(suffix).or(column)?;
    let ticks = i128::from(unit.ticks());
    let number = number.trim();
    let (sign, number) = match number.strip_prefix('-') {
        Some(rest) => (-1, rest),
        None => (1, number.strip_prefix('+').unwrap_or(number)),
    };
    let whole = |text: &str| text.trim().trim_start_matches('+').parse::<i128>().ok();
    let (above, below) = match number.split_once('/') {
        Some((above, below)) => {
            let below = whole(below)?;
            let above = match above.trim().rsplit_once([' ', '-']) {
                Some((full, above)) => whole(full)?.checked_mul(below)? + whole(above)?,
                None => whole(above)?,
            };
            (above, below)
        }
        None => {
            let (number, exponent) = number.split_once(['e', 'E']).unwrap_or((number, "0"));
            let exponent: i32 = exponent.parse().ok()?;
            let (full, part) = number.split_once(['.', ',']).unwrap_or((number, ""));
            // Trailing zeros change no value but could make the numbers too large.
            let part = part.trim_end_matches('0');
            let digits = format!("0{full}{part}");
            let below = 10_i128.checked_pow(u32::try_from(part.len()).ok()?)?;
            let shift = 10_i128.checked_pow(exponent.unsigned_abs())?;
            let above: i128 = digits.parse().ok()?;
            match exponent < 0 {
                true => (above, below.checked_mul(shift)?),
                false => (above.checked_mul(shift)?, below),
            }
        }
    };
    let product = above.checked_mul(ticks)?;
    (product % below == 0).then_some(())?;
    i64::try_from(sign * product / below).ok()
}

/// A spreadsheet's number.
fn number(bytes: &[u8]) {
    let Some(bytes) = bytes.first_chunk() else {
        return;
    };
    let number = f64::from_le_bytes(*bytes);
    for unit in Unit::ALL {
        if let Ok(length) = Length::from_number(number, unit) {
            held(length);
            // To the nearest step, and a number has 15 digits.
            let step = if unit.ticks() % 254 == 0 { 254.0 } else { 1.0 };
            let off = (length.to_f64(unit) - number).abs() * unit.ticks() as f64;
            let digits = number.abs() * unit.ticks() as f64 * 1e-14;
            assert!(off <= step / 2.0 + digits, "{number} {unit}: off by {off} ticks");
        }
    }
    if let Some(read) = Millionths::from_number(number) {
        assert_eq!(Millionths::from_number(read.to_f64()), Some(read));
    }
    let _ = gapwright::sheet::show_number(number);
}

/// `setting = value` of the policy: an accepted value is shown in a form that is accepted again.
fn setting(text: &str) {
    let (name, value) = text.split_once('=').unwrap_or((text, ""));
    let mut policy = Policy::default();
    match policy.set(name, value) {
        Ok(()) => {
            let mut again = Policy::default();
            for setting in policy.settings() {
                again.set(setting.name, &setting.value).expect("a setting as it is shown");
            }
            assert_eq!(again, policy);
        }
        Err(_) => assert_eq!(policy, Policy::default(), "refused, and yet something was set"),
    }
}

static JOB: LazyLock<Job> = LazyLock::new(json::rich);

/// Pieces of a pump as stated on the command line, one line per place; then judged.
fn pieces(text: &str) {
    let mut job = JOB.clone();
    let texts: Vec<String> = text.lines().map(str::to_string).collect();
    match read::stated_pieces(&mut job, 0, &texts) {
        Ok(packs) => {
            let pump = job.pumps[0].clone();
            for pack in &packs {
                pack_total(&job, pack);
            }
            assert_eq!(verdicts(&job, &pump, &packs).len(), pump.requirements.len());
        }
        Err(problems) => told(&problems),
    }
}

/// A sweep, checked against the pieces of a known kit.
fn swept(text: &str) {
    let pump = &JOB.pumps[0];
    let model = JOB.model_of(pump);
    match Sweep::parse(text, model, 5) {
        Ok(parsed) => {
            let swept = sweep::held(&JOB, 0, json::kit_of_first(), &parsed);
            assert_eq!(swept.points.len(), parsed.settings.len());
        }
        Err(wrong) => assert!(!wrong.to_string().is_empty()),
    }
}
