//! Questions that are put as problems: a value with two meanings, of which neither is guessed.

use crate::decimal::Millionths;

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
