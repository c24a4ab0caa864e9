//! Pieces that leave the stock: a plan in lines, the same plan as it was carried out, the counts of a stock workbook, and
//! the log of a shop that wrote its kits off before there were outage files.

pub mod carried;
pub mod counts;
pub mod log;
pub mod planned;
pub mod returned;

use crate::plain_text::cleaned;

/// A text as the log holds it: valid in a workbook, its words separated by single spaces.
///
/// ```
/// assert_eq!(gapwright::issue::tidy("  SH-010\u{0}\n spare "), "SH-010\u{2400} spare");
/// ```
pub fn tidy(text: &str) -> String {
    let cleaned = cleaned(text);
    cleaned.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A stock number or a tag in the form that is compared: tidy, in one case.
pub fn key(text: &str) -> String {
    tidy(text).to_lowercase()
}
