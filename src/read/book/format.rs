//! Number formats: what people see of a number besides its digits.
//!
//! A cell that shows `0.50 mm` may hold a bare 0.5, and one that shows `5 %` holds 0.05. The displayed value counts,
//! since the keeper of the list reads that one.
//!
//! # Decision
//!
//! A numeric cell is its 15 significant digits, not its binary number: that is what the person sees, and 0.1 + 0.2
//! is 0.3.

use crate::length::Unit;
use crate::sheet::{Cell, show_number};

/// Display of a number of some style.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Shown {
    /// Its digits alone, whatever their number and colour.
    Plain,
    /// As a date or a time.
    Date,
    /// In percent.
    Percent,
    /// With a unit of length after it.
    Unit(Unit),
    /// With leading zeros, to this number of digits.
    Padded(usize),
}

impl Shown {
    /// From the code of a number format ([MS-XLS] 2.4.126 and ECMA-376 part 1, 18.8.31). Only its first section
    /// counts, which is for numbers above zero.
    pub(super) fn by_code(code: &str) -> Shown {
        let mut literal = String::new();
        let mut rest = String::new();
        let mut marks = code.chars();
        while let Some(mark) = marks.next() {
            match mark {
                ';' => break,
                '"' => literal.extend(marks.by_ref().take_while(|c| *c != '"')),
                '[' => {
                    // Elapsed hours, minutes and seconds are in brackets, and so are colours.
                    let inside: String = marks.by_ref().take_while(|c| *c != ']').collect();
                    let inside = inside.to_lowercase();
                    let unit = inside.chars().next().filter(|u| "hms".contains(*u));
                    if unit.is_some_and(|u| inside.chars().all(|c| c == u)) {
                        return Shown::Date;
                    }
                }
                '\\' => literal.extend(marks.next()),
                // A blank as wide as the next character, or that character as often as it fits.
                '_' | '*' => {
                    marks.next();
                }
                mark => rest.push(mark),
            }
        }
        let rest = rest.trim();
        if rest.chars().any(|c| "dmyhsDMYHS".contains(c)) && !rest.eq_ignore_ascii_case("general") {
            Shown::Date
        } else if rest.contains('%') {
            Shown::Percent
        } else if let Some(unit) = Unit::parse(&literal) {
            Shown::Unit(unit)
        } else if rest.len() > 1 && rest.bytes().all(|b| b == b'0') {
            Shown::Padded(rest.len())
        } else {
            Shown::Plain
        }
    }

    /// From the number of a built-in format: those of dates and times, and the two in percent.
    pub(super) fn built_in(number: u32) -> Shown {
        match number {
            14..=22 | 27..=36 | 45..=47 | 50..=58 => Shown::Date,
            9 | 10 => Shown::Percent,
            _ => Shown::Plain,
        }
    }

    /// The number as a cell that holds the displayed value.
    pub(super) fn cell(&self, number: f64) -> Cell {
        match self {
            Shown::Plain | Shown::Date => Cell::Number(number),
            Shown::Percent => Cell::Text(format!("{} %", show_number(number * 100.0))),
            Shown::Unit(unit) => Cell::Text(format!("{} {unit}", show_number(number))),
            Shown::Padded(digits) => {
                let shown = show_number(number);
                if shown.bytes().all(|b| b.is_ascii_digit()) {
                    Cell::Text(format!("{shown:0>digits$}"))
                } else {
                    Cell::Number(number)
                }
            }
        }
    }

    /// From the text that a file shows for a number.
    pub(super) fn by_text(text: &str) -> Shown {
        let text = text.trim();
        let behind = text.rfind(|c: char| c.is_ascii_digit()).map_or("", |at| &text[at + 1..]);
        if let Some(unit) = Unit::parse(behind) {
            Shown::Unit(unit)
        } else if text.len() > 1
            && text.starts_with('0')
            && text.bytes().all(|b| b.is_ascii_digit())
        {
            Shown::Padded(text.len())
        } else {
            Shown::Plain
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_seen_follows_from_the_format() {
        for code in ["yyyy-mm-dd", "d/m/yy;@", "[h]:mm", "hh:mm:ss", "[$-409]d-mmm"] {
            assert_eq!(Shown::by_code(code), Shown::Date, "{code}");
        }
        for code in
            ["0.000", "General", "#,##0 \"pcs\"", "0.00\\d", "[Red]0.0", "@", "_-* 0_-", "0"]
        {
            assert_eq!(Shown::by_code(code), Shown::Plain, "{code}");
        }
        for (code, unit) in [
            ("0.00\" mm\"", Unit::Millimetre),
            ("0.000\\\"", Unit::Inch),
            ("#,##0.0 \"thou\";-0", Unit::Thou),
        ] {
            assert_eq!(Shown::by_code(code), Shown::Unit(unit), "{code}");
        }
        assert_eq!(Shown::by_code("0.0%"), Shown::Percent);
        assert_eq!(Shown::by_code("00000"), Shown::Padded(5));
    }

    #[test]
    fn a_number_says_what_is_seen() {
        let text = |shown: Shown, number: f64| shown.cell(number).show();
        assert_eq!(text(Shown::Percent, 0.05), "5 %");
        assert_eq!(text(Shown::Unit(Unit::Millimetre), 0.5), "0.5 mm");
        assert_eq!(text(Shown::Padded(5), 12.0), "00012");
        assert_eq!(text(Shown::Padded(2), 0.5), "0.5");
        assert_eq!(Shown::by_text("0.50 mm"), Shown::Unit(Unit::Millimetre));
        assert_eq!(Shown::by_text("00012"), Shown::Padded(5));
        assert_eq!(Shown::by_text("12"), Shown::Plain);
    }
}
