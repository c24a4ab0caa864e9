//! Issuing: the planned withdrawals, the actual ones, and the log of both.
//!
//! In one sentence: [`record`] compares a [`planned::Planned`] and the entries that people made with the
//! [`counts::Counts`] of the stock and the [`log::Log`], and gives movements; these are added to the log and deducted
//! from the stock.
//!
//! # Decision
//!
//! The log is renamed before the stock workbook. Killed between the two, the log has movements that the stock is
//! short of, and the next run finds that; a stock without its lines in the log would be found by nobody.

pub mod counts;
pub mod log;
pub mod planned;
pub mod record;
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
