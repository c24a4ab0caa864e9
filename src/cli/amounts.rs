//! Amounts on the command line: money, percentages, lengths. One that is none is a problem, and nothing.

use super::from_command_line;
use crate::decimal::{Millionths, Money};
use crate::length::Length;
use crate::problem::Problems;

/// A million million, in millionths.
const MOST_MONEY: i64 = 1_000_000_000_000_000_000;

/// Reads amounts, and keeps what is wrong with them.
pub(super) struct Amounts<'a>(pub(super) &'a mut Problems);

impl Amounts<'_> {
    fn wrong(&mut self, option: &str, found: &str, expected: &str, fix: &str) {
        let problem = from_command_line(format!("{option} {found}"), expected, fix);
        self.0.add(problem);
    }

    /// Money of at least so many millionths, 0 or 1.
    pub(super) fn money(&mut self, option: &str, text: &str, least: i64) -> Option<Money> {
        let money = Money::parse(text);
        let money = money.filter(|money| (least..=MOST_MONEY).contains(&money.raw()));
        if money.is_none() {
            let expected = match least {
                0 => "an amount of money from 0 to a million million",
                _ => "an amount of money above 0, to a million million",
            };
            let fix = "type the plain number, without a currency";
            self.wrong(option, text, expected, fix);
        }
        money
    }

    /// A share of one, given in percent; `fits` is asked of the percentage in millionths.
    pub(super) fn percent(
        &mut self,
        (option, text): (&str, &str),
        fits: impl Fn(i64) -> bool,
        (expected, fix): (&str, &str),
    ) -> Option<Millionths> {
        let bare = text.trim().trim_end_matches('%').trim_end();
        let percent = Millionths::parse(bare).map(Millionths::raw);
        let percent = percent.filter(|percent| fits(*percent));
        if percent.is_none() {
            self.wrong(option, text, expected, fix);
        }
        percent.map(|percent| Millionths::from_raw(percent / 100))
    }

    /// A length above 0 with its unit.
    pub(super) fn length(&mut self, option: &str, text: &str, fix: &str) -> Option<Length> {
        let (length, found) = match Length::parse(text.trim(), None) {
            Ok(length) => (Some(length).filter(|l| *l > Length::ZERO), text.to_string()),
            Err(error) => (None, format!("{text}: {error}")),
        };
        if length.is_none() {
            self.wrong(option, &found, "a length above 0 with its unit", fix);
        }
        length
    }
}
