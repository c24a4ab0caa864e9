//! Issuing: what a plan takes out of the stock, what people really took, and the log of it all.
//!
//! The flow is one sentence: a [`planned::Planned`] is what the plan asks for; [`record`] sets it, with what people
//! wrote beside it, against the [`counts::Counts`] of the stock and the [`log::Log`], and gives movements; the log
//! takes them and the stock is counted down by them.

pub mod counts;
pub mod log;
pub mod planned;
pub mod record;

/// A text as the log holds it: words parted by single spaces, nothing that a workbook could not give back.
///
/// ```
/// assert_eq!(gapwright::issue::tidy("  SH-010\u{0}\n spare "), "SH-010 spare");
/// ```
pub fn tidy(text: &str) -> String {
    let parts =
        |c: char| c.is_whitespace() || c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}');
    let words: Vec<&str> = text.split(parts).filter(|word| !word.is_empty()).collect();
    words.join(" ")
}

/// A stock number or a tag as it is compared: tidy, without regard to case.
pub fn key(text: &str) -> String {
    tidy(text).to_lowercase()
}
