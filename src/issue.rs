//! Issuing: what a plan takes out of the stock, what people really took, and the log of it all.
//!
//! The flow is one sentence: a [`planned::Planned`] is what the plan asks for; [`record`] sets it, with what people
//! wrote beside it, against the [`counts::Counts`] of the stock and the [`log::Log`], and gives movements; the log
//! takes them and the stock is counted down by them.
//!
//! # Decision
//!
//! The log is renamed before the stock workbook. Killed between the two, the log has movements that the stock is
//! short of, and the next run finds that; a stock without its lines in the log would be found by nobody.

pub mod counts;
pub mod log;
pub mod planned;
pub mod record;

use crate::plain_text::mended;

/// A text as the log holds it: as a workbook can have it, its words parted by single spaces.
///
/// ```
/// assert_eq!(gapwright::issue::tidy("  SH-010\u{0}\n spare "), "SH-010\u{2400} spare");
/// ```
pub fn tidy(text: &str) -> String {
    let mended = mended(text);
    mended.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A stock number or a tag as it is compared: tidy, without regard to case.
pub fn key(text: &str) -> String {
    tidy(text).to_lowercase()
}
