//! Stock that no pump of the workbook can use. A drawer holds more than one outage needs, but a code or kind that is
//! spelt differently from the pumps' takes its pieces out of use unnoticed.

use std::collections::{BTreeSet, HashMap, HashSet};

use super::{pumps, stock};
use crate::problem::{Problem, Problems};
use crate::show;

/// Reports codes and kinds that are close to those of the pumps, and returns the other unused stock.
pub(super) fn check(
    stock: &stock::Draft,
    pumps: &pumps::Draft,
    problems: &mut Problems,
) -> Option<String> {
    let asked = Requests::of(pumps);
    let sheet = &stock.sheet.sheet;
    let mut unasked = Vec::new();
    for lot in &stock.lots {
        let (item, kind) = (&lot.item, lot.item.kind.as_str());
        if asked.anything.contains(kind) || asked.codes.contains(&(kind, item.fit.key())) {
            continue;
        }
        unasked.push(item.item.as_str());
        let place = |column| sheet.place(item.row, column);
        if asked.kinds.contains(kind) {
            let alike = asked.alike.get(&(kind, squashed(item.fit.key())));
            if let Some(alike) = alike {
                problems.warn(Problem::new(
                    place(stock.fit_column),
                    format!("the fit code `{}`, which no pump asks for", item.fit.as_str()),
                    format!("`{alike}`, as the pumps have it, if that is what it is"),
                    "write it as the pumps do; until then these pieces go into no pump",
                ));
            }
        } else if let Some(known) = asked.meant(kind, item.fit.key()) {
            problems.warn(Problem::new(
                place(stock.kind_column),
                format!("the kind `{kind}`, which no pump asks for"),
                format!("`{known}`, if that is what it is"),
                format!("write `{known}` if the piece may be issued as one; until then it goes into no pump"),
            ));
        }
    }
    let count = unasked.len();
    let items = if count == 1 { "item" } else { "items" };
    (count > 0).then(|| {
        format!(
            "{count} {items} of sheet {} that no pump here asks for ({})",
            sheet.name,
            show::first_of(&unasked)
        )
    })
}

/// Packs and consumables that the pumps ask for.
struct Requests<'a> {
    kinds: BTreeSet<&'a str>,
    /// Kind and code, as compared.
    codes: HashSet<(&'a str, &'a str)>,
    /// Kinds that some pump asks for with any fit, or by size.
    anything: HashSet<&'a str>,
    /// Codes as the pumps write them, by their form without marks.
    alike: HashMap<(&'a str, String), &'a str>,
}

impl<'a> Requests<'a> {
    /// Kind that is meant by an unused one: a similar one of which some pump asks for this code. A kind with only a
    /// similar name, for pumps of another fit or for none, is left alone.
    fn meant(&self, kind: &str, code: &str) -> Option<&'a str> {
        let mut kinds = self.kinds.iter().copied();
        kinds.find(|known| {
            let fits = self.codes.contains(&(*known, code)) || self.anything.contains(known);
            fits && resembles(kind, known)
        })
    }

    fn of(pumps: &'a pumps::Draft) -> Requests<'a> {
        let mut asked = Requests {
            kinds: BTreeSet::new(),
            codes: HashSet::new(),
            anything: HashSet::new(),
            alike: HashMap::new(),
        };
        for request in pumps.requests() {
            let packs = request.model.packs.iter().zip(request.fits);
            let packs = packs.map(|(pack, code)| (pack.kind.as_str(), Some(code)));
            let needs = request.model.consumables.iter().zip(request.consumables);
            let needs = needs.map(|(need, fit)| (need.kind.as_str(), fit.code.as_ref()));
            for (kind, code) in packs.chain(needs) {
                asked.kinds.insert(kind);
                match code {
                    None => {
                        asked.anything.insert(kind);
                    }
                    Some(code) => {
                        if asked.codes.insert((kind, code.key())) {
                            asked.alike.insert((kind, squashed(code.key())), code.as_str());
                        }
                    }
                }
            }
        }
        asked
    }
}

/// A code without spaces, leading zeros and marks, except marks between two digits (1.5 is not 15), with look-alike
/// letters made one, and letters that look like digits made digits where they are next to digits.
fn squashed(code: &str) -> String {
    let mut squashed = String::new();
    let all: Vec<char> = code.chars().filter(|c| !c.is_whitespace()).collect();
    let figures = all.iter().any(char::is_ascii_digit);
    let is_figure =
        |at: Option<usize>| at.and_then(|at| all.get(at)).is_some_and(char::is_ascii_digit);
    for (at, &c) in all.iter().enumerate() {
        if !c.is_alphanumeric() {
            if is_figure(at.checked_sub(1)) && is_figure(Some(at + 1)) {
                squashed.push(c);
            }
            continue;
        }
        let c = match c {
            '\u{430}' => 'a',
            '\u{432}' => 'b',
            '\u{435}' => 'e',
            '\u{43a}' => 'k',
            '\u{43c}' => 'm',
            '\u{43d}' => 'h',
            '\u{43e}' | 'o' if figures => '0',
            '\u{43e}' => 'o',
            '\u{440}' => 'p',
            '\u{441}' => 'c',
            '\u{442}' => 't',
            '\u{445}' => 'x',
            'i' | 'l' if figures => '1',
            c => c,
        };
        let leads = !squashed.ends_with(|c: char| c.is_ascii_digit() || !c.is_alphanumeric());
        if c != '0' || !leads {
            squashed.push(c);
        }
    }
    squashed
}

/// Whether one kind is the other with something added before or after it.
fn resembles(kind: &str, known: &str) -> bool {
    const SHORTEST: usize = 4;
    let (short, long) = if kind.len() < known.len() { (kind, known) } else { (known, kind) };
    short.len() >= SHORTEST && (long.starts_with(short) || long.ends_with(short))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_that_look_the_same_are_the_same_without_their_marks() {
        for code in ["f6", "f 6", "f-6", "f06", "f.6"] {
            assert_eq!(squashed(code), "f6");
        }
        // A letter of another alphabet, and a letter for a digit.
        assert_eq!(squashed("\u{43c}40"), squashed("m4o"));
        for other in ["f8", "f60", "f16"] {
            assert_ne!(squashed(other), "f6");
        }
        // A mark between digits is part of the code, and letters alone are letters.
        let apart = ["15", "1.5", "1-5", "1/5", "1.05", "fl", "f1", "fi"].map(squashed);
        let different: HashSet<&String> = apart.iter().collect();
        assert_eq!(different.len(), apart.len(), "{apart:?}");
    }

    #[test]
    fn kinds_with_a_word_more_resemble_each_other() {
        assert!(resembles("shim stock", "shim") && resembles("packing", "packing ring"));
        assert!(!resembles("spacer", "shim") && !resembles("cap screw", "packing ring"));
    }
}
