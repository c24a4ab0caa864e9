//! Days as spreadsheets count them: from 1899-12-30 on.
//!
//! Day 1 is the first of January 1900, and that February has one day too many; so from March 1900 on a number counts
//! the days since 1899-12-30.

use jiff::civil::{Date, date};

const START: Date = date(1899, 12, 30);

/// Number of a date `YYYY-MM-DD`.
///
/// ```
/// assert_eq!(gapwright::day::number("2027-03-01"), Some(46_447));
/// assert_eq!(gapwright::day::number("yesterday"), None);
/// ```
pub fn number(text: &str) -> Option<i32> {
    let day: Date = text.parse().ok()?;
    Some(day.since(START).ok()?.get_days())
}

/// Date, `YYYY-MM-DD`, of a number; empty beyond the calendar.
///
/// ```
/// assert_eq!(gapwright::day::written(46_447), "2027-03-01");
/// assert_eq!(gapwright::day::written(i64::MAX), "");
/// ```
pub fn written(number: i64) -> String {
    let span = jiff::Span::new().try_days(number);
    let day = span.ok().and_then(|span| START.checked_add(span).ok());
    day.map_or_else(String::new, |day| day.to_string())
}

/// Whether a text is a date as all outputs print it: `2027-03-15`, from 1900 on.
///
/// ```
/// use gapwright::day::is_date;
/// assert!(is_date("2027-03-15"));
/// assert!(!is_date("2027-02-30") && !is_date("15.3.2027") && !is_date("1800-01-01"));
/// ```
pub fn is_date(text: &str) -> bool {
    text.len() == 10 && number(text).is_some_and(|day| day > 0)
}
