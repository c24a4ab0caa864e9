//! Tables on sheets: finds the heading row, and reads cells by heading.
//!
//! # Decision
//!
//! A column that is nearly a known one is reported, not copied in silence: a lost `Reserved` column issues reserved
//! pieces.

use std::collections::{BTreeSet, HashMap, HashSet};

use super::questions;
use super::rows::{self, Lone};
use crate::columns::key;
use crate::day;
use crate::decimal::{Millionths, Money};
use crate::length::{Length, LengthError, Tolerance, Unit};
use crate::model::{Scale, TEMPERATURE, Temperature, degrees};
use crate::problem::{Place, Problem, Problems, column_letters, nearest};
use crate::sheet::{Cell, Sheet, SheetRow, in_full};

/// Rows from the top in which a heading row is looked for.
const MOST_TITLE_ROWS: u32 = 60;

/// Contents of a heading's brackets, each in turn.
fn brackets(text: &str) -> impl Iterator<Item = &str> {
    text.split(['(', '['])
        .skip(1)
        .filter_map(|rest| rest.split([')', ']']).next().filter(|inside| inside.len() < rest.len()))
        .map(str::trim)
}

/// Unit in a heading's brackets, if it is one.
fn unit(text: &str) -> Option<Unit> {
    brackets(text).find_map(Unit::parse)
}

/// A unit without brackets at a heading's end, such as `Thickness mm`, and the text before it.
fn unit_at_end(text: &str) -> Option<(&str, Unit)> {
    let (name, last) = text.trim_end().rsplit_once(char::is_whitespace)?;
    let unit = Unit::parse(last)?;
    // `Thickness in mm`, `Thickness - mm`.
    let name = name.trim_end_matches(|c: char| c.is_whitespace() || "-,:;/.".contains(c));
    let name = name.strip_suffix(" in").unwrap_or(name);
    Some((name.trim_end(), unit))
}

/// A known name with the unit that a heading states.
fn renamed(name: &str, heading: &str) -> String {
    let in_brackets = brackets(heading).find(|inside| Unit::parse(inside).is_some());
    let at_end = || unit_at_end(heading).map(|(_, unit)| unit.symbol());
    match in_brackets.or_else(at_end) {
        Some(unit) => format!("{name} ({unit})"),
        None => name.to_string(),
    }
}

/// Expected form of a number, and how to fix another.
const NUMBER: [&str; 2] = ["a number with at most six places", "type the plain number"];

/// Whether all words of one heading are in the other, or one is the other cut short.
fn share_words(a: &str, b: &str) -> bool {
    let words = |text: &str| -> Vec<String> {
        let bare = text.split(['(', '[']).next().unwrap_or(text);
        bare.split(|c: char| !c.is_alphanumeric())
            .filter(|word| !word.is_empty())
            .map(str::to_lowercase)
            .collect()
    };
    let (a, b) = (words(a), words(b));
    let inside = |few: &[String], many: &[String]| few.iter().all(|word| many.contains(word));
    let cut = match (a.as_slice(), b.as_slice()) {
        ([a], [b]) => {
            a.len().min(b.len()) >= 4 && (a.starts_with(b.as_str()) || b.starts_with(a.as_str()))
        }
        _ => false,
    };
    cut || inside(&a, &b) || inside(&b, &a)
}

/// Other words of the trade for the contents of a column; common practice, no source. They are reported, not taken:
/// two of them may appear side by side with different meanings.
const OTHER_WORDS: [(&str, &str); 44] = [
    ("allocated", "reserved"),
    ("committed", "reserved"),
    ("held", "reserved"),
    ("qty", "onhand"),
    ("quantity", "onhand"),
    ("qoh", "onhand"),
    ("soh", "onhand"),
    ("instock", "onhand"),
    ("partno", "item"),
    ("partnumber", "item"),
    ("stockno", "item"),
    ("stocknumber", "item"),
    ("materialno", "item"),
    ("tol", TOLERANCE),
    ("tols", TOLERANCE),
    ("toler", TOLERANCE),
    ("thicknesstol", TOLERANCE),
    ("tolthickness", TOLERANCE),
    ("plusminus", TOLERANCE),
    ("tolplusminus", TOLERANCE),
    ("plusminustol", TOLERANCE),
    ("res", "reserved"),
    ("resd", "reserved"),
    ("rsvd", "reserved"),
    ("resvd", "reserved"),
    ("onhold", "reserved"),
    ("hold", "reserved"),
    ("blocked", "reserved"),
    ("packsize", "packqty"),
    ("packof", "packqty"),
    ("perpack", "packqty"),
    ("unitprice", "unitcost"),
    ("priceeach", "unitcost"),
    ("costeach", "unitcost"),
    ("leadtime", "leaddays"),
    ("vendor", "supplier"),
    ("shelf", "bin"),
    ("size", "thickness"),
    ("thk", "thickness"),
    ("location", "bin"),
    ("price", "unitcost"),
    ("cost", "unitcost"),
    ("equipment", "tag"),
    ("pump", "tag"),
];

/// An ignored tolerance would be replaced by one that may be smaller, so its other names are a problem, not a
/// warning.
const TOLERANCE: &str = "tolerance";

/// Whether a heading is another word for a known one: `Tol`, `Tol (mm)` or `Tol mm` for `Tolerance`.
fn means(heading: &Heading, known: &str) -> bool {
    let known = key(known);
    let bare = unit_at_end(&heading.text).map(|(name, _)| key(name));
    let is = |word: &str| word == heading.key || bare.as_deref() == Some(word);
    OTHER_WORDS.iter().any(|(word, name)| is(word) && *name == known)
}

/// A heading.
#[derive(Debug, Clone)]
pub(super) struct Heading {
    pub(super) column: u32,
    pub(super) text: String,
    pub(super) key: String,
    pub(super) unit: Option<Unit>,
}

/// A table on a sheet.
pub(super) struct Table<'a> {
    pub(super) sheet: &'a Sheet,
    pub(super) heading_row: u32,
    pub(super) headings: Vec<Heading>,
    /// Index of a heading by its key: the first of equals.
    by_key: HashMap<String, usize>,
    /// Rows that hold an entry: no totals, no repeated headings, no units below the headings.
    pub(super) rows: Vec<&'a SheetRow>,
    /// Columns that hold something below the heading row but have no heading.
    pub(super) bare: BTreeSet<u32>,
}

fn headings(row: &SheetRow) -> Vec<Heading> {
    row.cells
        .iter()
        .filter_map(|(column, cell)| match cell {
            Cell::Text(text) => Some(Heading {
                column: *column,
                text: shortened(text),
                key: key(text),
                unit: unit(text),
            }),
            _ => None,
        })
        .filter(|heading| !heading.key.is_empty())
        .collect()
}

/// A heading as shown: it goes with every problem of its column, so its length is limited.
fn shortened(text: &str) -> String {
    const LONGEST: usize = 80;
    match text.char_indices().nth(LONGEST) {
        None => text.to_string(),
        Some((end, _)) => format!("{}...", &text[..end]),
    }
}

fn matches(headings: &[Heading], wanted: &[&str]) -> usize {
    let keys: HashSet<&str> = headings.iter().map(|h| h.key.as_str()).collect();
    let wanted = wanted.iter().map(|name| key(name));
    wanted.filter(|key| keys.contains(key.as_str())).count()
}

/// Refuses a row of a text file with more fields than headings, or fewer, where most rows have not: mostly a comma was
/// taken for a separator, or one is lost, and every value after it is in the wrong column.
fn ask_about_fields(table: &Table<'_>, problems: &mut Problems) {
    let last = table.headings.iter().map(|heading| heading.column).max();
    let Some(last) = last.filter(|_| table.sheet.file.to_lowercase().ends_with(".csv")) else {
        return;
    };
    let fields = |row: &SheetRow| {
        let short = &table.sheet.short_rows;
        short.binary_search_by_key(&row.number, |(row, _)| *row).ok().map(|at| short[at].1)
    };
    let rows = table.rows.iter();
    let short: Vec<_> = rows.filter(|row| fields(row).is_some_and(|many| many <= last)).collect();
    if short.len() * 2 <= table.rows.len() {
        for row in short {
            problems.add(Problem::new(
                table.place(row.number, 0),
                format!("{} fields in a row, under {} headings", fields(row).unwrap_or(0), last + 1),
                "as many fields as headings, like the rows around it",
                "put the missing separator where a value is missing, so that each value stands under its heading",
            ));
        }
    }
    // The end of a row that has lost a value moves to the left.
    let mut columns: Vec<u32> = table.headings.iter().map(|heading| heading.column).collect();
    columns.sort_unstable();
    let tail = columns.split_off(columns.len().saturating_sub(2));
    let cut = |row: &&&SheetRow| tail.iter().all(|column| row.cell(*column).is_none());
    let cut: Vec<_> = table.rows.iter().filter(cut).collect();
    let full = table.rows.iter().filter(|row| tail.iter().all(|c| row.cell(*c).is_some()));
    if let ([row], true) = (&cut[..], full.count() + 1 == table.rows.len() && table.rows.len() > 3)
    {
        problems.add(Problem::new(
            table.place(row.number, tail[0]),
            "the only row that ends with two empty fields",
            "each value under its heading, like the rows around it",
            "put the missing separator where a value is missing; if the two are not known, write 0 for a price and `-` for a text",
        ));
    }
    // A note is further to the right.
    let rows = table.rows.iter();
    let long: Vec<_> = rows.filter(|row| row.cell(last + 1).is_some()).collect();
    if long.len() * 2 > table.rows.len() {
        return;
    }
    for row in long {
        let end = row.cells.iter().map(|(at, _)| *at).max().unwrap_or(last);
        problems.add(Problem::new(
            table.place(row.number, end),
            format!(
                "{} fields in a row, under headings that end with field {}",
                end + 1,
                last + 1
            ),
            "no more fields than headings",
            "if a number or a text in this row has a comma, put it between quotation marks, or save the file with semicolons",
        ));
    }
}

/// Words in a heading's brackets that make its numbers count in something other than pieces, days and the price of
/// one, such as `doz`, `per 100`, `weeks`. Common practice, no source.
fn other_count(heading: &Heading) -> Option<&str> {
    const WORDS: [&str; 12] = [
        "doz", "dozen", "dozens", "hundred", "hundreds", "thousand", "pack", "packs", "box",
        "boxes", "weeks", "months",
    ];
    let counts = |word: &str| {
        WORDS.contains(&word) || word.parse::<u32>().is_ok_and(|n| (2..=1_000).contains(&n))
    };
    brackets(&heading.text).find(|inside| {
        let words = inside.split(|c: char| !c.is_alphanumeric()).map(str::to_lowercase);
        heading.key != "packqty" && words.into_iter().any(|word| counts(&word))
    })
}

/// Refuses headings that state two units.
fn ask_about_units(table: &Table<'_>, problems: &mut Problems) {
    for heading in &table.headings {
        let mut units: Vec<Unit> = brackets(&heading.text)
            .flat_map(|inside| inside.split(['/', ',', ';', '|', '&']))
            .filter_map(Unit::parse)
            .collect();
        // `in` before a bracket is a word: `Thickness in (mm)`.
        let front = heading.text.split(['(', '[']).next().unwrap_or_default();
        let at_end = unit_at_end(front).map(|(_, unit)| unit);
        units.extend(at_end.filter(|_| !front.trim_end().ends_with(" in")));
        units.sort_unstable();
        units.dedup();
        if let [one, other, ..] = units[..] {
            problems.add(Problem::new(
                table.place(table.heading_row, heading.column),
                format!("the heading `{}`, with the units {one} and {other}", heading.text),
                "one unit in a heading",
                "leave the one that the numbers below are in",
            ));
        }
    }
}

/// Whether some row holds all the needed headings.
pub(super) fn has_headings(sheet: &Sheet, needed: &[&str]) -> bool {
    let top = sheet.rows.iter().take_while(|row| row.number < MOST_TITLE_ROWS);
    top.map(headings).any(|h| matches(&h, needed) == needed.len())
}

impl<'a> Table<'a> {
    /// Finds the heading row: the one with most of the needed headings, the first of equals.
    pub(super) fn find(
        sheet: &'a Sheet,
        needed: &[&str],
        problems: &mut Problems,
    ) -> Option<Table<'a>> {
        Table::find_of(sheet, needed, Lone::IsProblem, problems)
    }

    /// Finds the table as [`Table::find`] does; `lone` decides whether a row may hold a lone text.
    pub(super) fn find_of(
        sheet: &'a Sheet,
        needed: &[&str],
        lone: Lone,
        problems: &mut Problems,
    ) -> Option<Table<'a>> {
        let best = sheet
            .rows
            .iter()
            .enumerate()
            .take_while(|(_, row)| row.number < MOST_TITLE_ROWS)
            .map(|(index, row)| (matches(&headings(row), needed), index))
            .max_by_key(|&(count, index)| (count, std::cmp::Reverse(index)))
            .filter(|&(count, _)| count > 0);
        let Some((_, index)) = best else {
            problems.add(Problem::new(
                sheet.whole(),
                "no heading row",
                format!("a row with the headings {}", needed.join(", ")),
                "write the headings above the data; `gapwright blank` writes a workbook to start from",
            ));
            return None;
        };
        let row = &sheet.rows[index];
        let headings = headings(row);
        let mut by_key = HashMap::new();
        for (at, heading) in headings.iter().enumerate() {
            by_key.entry(heading.key.clone()).or_insert(at);
        }
        let mut table = Table {
            sheet,
            heading_row: row.number,
            headings,
            by_key,
            rows: Vec::new(),
            bare: BTreeSet::new(),
        };
        table.rows = rows::entries(&mut table, &sheet.rows[index + 1..], needed, lone, problems);
        rows::say_above(&table, problems);
        ask_about_units(&table, problems);
        rows::refuse_merged(&table, problems);
        rows::say_hidden(&table, problems);
        if lone == Lone::IsProblem {
            ask_about_fields(&table, problems);
        }
        for (at, heading) in table.headings.iter().enumerate() {
            let first = table.by_key.get(&heading.key).filter(|first| **first < at);
            if let Some(first) = first.map(|first| &table.headings[*first]) {
                problems.add(Problem::new(
                    table.place(table.heading_row, heading.column),
                    format!("the heading `{}` a second time", heading.text),
                    "each heading once",
                    format!(
                        "rename or remove one of them; the first is in {}",
                        crate::problem::address(table.heading_row, first.column)
                    ),
                ));
            }
        }
        Some(table)
    }

    pub(super) fn place(&self, row: u32, column: u32) -> Place {
        self.sheet.place(row, column)
    }

    /// Column of a heading, if the table has it.
    pub(super) fn optional(&self, name: &str) -> Option<&Heading> {
        let at = self.by_key.get(&key(name))?;
        self.headings.get(*at)
    }

    /// Column of the first of several names for one thing.
    pub(super) fn either(&self, names: &[String]) -> Option<&Heading> {
        names.iter().find_map(|name| self.optional(name))
    }

    /// Refuses a second column for the thing that has these names.
    pub(super) fn refuse_second(&self, names: &[String], problems: &mut Problems) {
        let found: Vec<&Heading> = names.iter().filter_map(|name| self.optional(name)).collect();
        if let [first, second, ..] = found[..]
            && first.column != second.column
        {
            problems.add(Problem::new(
                self.place(self.heading_row, second.column),
                format!(
                    "the column `{}` beside `{}`, which is for the same",
                    second.text, first.text
                ),
                "one column for one thing",
                "remove one of them, or rename it if it is something else",
            ));
        }
    }

    /// Column of a heading that must be there.
    pub(super) fn needed(&self, name: &str, problems: &mut Problems) -> Option<&Heading> {
        let found = self.optional(name);
        if found.is_none() {
            self.say_missing(name, problems);
        }
        found
    }

    fn say_missing(&self, name: &str, problems: &mut Problems) {
        let place = |heading: &Heading| self.place(self.heading_row, heading.column);
        let mut near = self.likeliest(name, problems);
        // One report per cell is enough: the more severe one. A report about another column still leaves this one
        // missing.
        if let Some(problem) = near.and_then(|near| problems.stops_at(&place(near))) {
            if problem.fix.contains(&format!("`{name}")) {
                return;
            }
            near = None;
        }
        let (at, found, fix) = match near {
            Some(near) => {
                problems.withdraw_warnings(&place(near));
                (
                    place(near),
                    format!("no column `{name}`, but one headed `{}`", near.text),
                    format!(
                        "rename `{}` to `{}`, if that is what it is",
                        near.text,
                        renamed(name, &near.text)
                    ),
                )
            }
            None => {
                let texts: Vec<&str> = self.headings.iter().map(|h| h.text.as_str()).collect();
                (
                    self.place(self.heading_row, 0),
                    format!("no column `{name}`"),
                    format!("add it; the headings here are {}", texts.join(", ")),
                )
            }
        };
        problems.add(Problem::new(at, found, format!("a column headed `{name}`"), fix));
    }

    /// Heading most likely meant by a missing one: another word for it, else the most similar one among the unknown
    /// headings, which have no other use, else among all.
    fn likeliest(&self, name: &str, problems: &Problems) -> Option<&Heading> {
        let all = || self.headings.iter();
        let most_like = |headings: Vec<&'_ Heading>| {
            let near = nearest(name, headings.iter().map(|h| h.text.as_str()))?;
            all().find(|heading| heading.text == near)
        };
        if let Some(meant) = all().find(|heading| means(heading, name)) {
            return Some(meant);
        }
        let places = problems.places();
        let is_asked = |h: &&Heading| places.contains(&self.place(self.heading_row, h.column));
        let asked = || all().filter(is_asked);
        most_like(asked().collect())
            .or_else(|| asked().find(|heading| share_words(name, &heading.text)))
            .or_else(|| most_like(all().collect()))
    }

    /// Reports unknown headings that look like a known, missing one: a column that is ignored in silence is worse
    /// than a question. A misspelling is a problem; a heading that shares its words is a warning. The others are
    /// returned, so that people see that they are not used.
    pub(super) fn unknown(
        &self,
        known: &[String],
        also_known: impl Fn(&str) -> bool,
        problems: &mut Problems,
    ) -> Vec<String> {
        let missing: Vec<&str> =
            known.iter().map(String::as_str).filter(|k| self.optional(k).is_none()).collect();
        let known: HashSet<String> = known.iter().map(|k| key(k)).collect();
        const MOST_NAMED: usize = 20;
        const LONGEST_MISSPELT: usize = 64;
        let (mut unused, mut others) = (Vec::new(), 0);
        for heading in &self.headings {
            if known.contains(&heading.key) || also_known(&heading.key) {
                continue;
            }
            let place = self.place(self.heading_row, heading.column);
            let likeness = |k: &str| strsim::normalized_damerau_levenshtein(&key(k), &heading.key);
            // A longer heading is not meant for a known one, and the work grows with the length.
            let near = missing
                .iter()
                .filter(|_| heading.key.len() <= LONGEST_MISSPELT)
                .max_by(|a, b| likeness(a).total_cmp(&likeness(b)));
            let with_unit = unit_at_end(&heading.text)
                .filter(|(name, _)| missing.iter().any(|k| key(k) == key(name)));
            if let Some((name, unit)) = with_unit {
                problems.add(Problem::new(
                    place,
                    format!("a column headed `{}`, which is not known", heading.text),
                    "a unit in brackets",
                    format!("rename it to `{name} ({unit})`"),
                ));
                continue;
            }
            let tolerance = missing.iter().find(|k| key(k) == TOLERANCE && means(heading, k));
            if let Some(near) = tolerance.or(near.filter(|near| likeness(near) >= 0.8)) {
                problems.add(Problem::new(
                    place,
                    format!("a column headed `{}`, which is not known", heading.text),
                    format!("`{near}`, or a heading less like it"),
                    format!(
                        "rename it to `{}` if that is what it is, else to something else",
                        renamed(near, &heading.text)
                    ),
                ));
                continue;
            }
            let akin = missing
                .iter()
                .find(|k| share_words(k, &heading.text) || means(heading, k))
                .or(near.filter(|near| likeness(near) >= 0.6));
            if let Some(akin) = akin {
                problems.warn(Problem::new(
                    place,
                    format!("a column headed `{}`, which is not used", heading.text),
                    format!("`{akin}`, if that is what it is"),
                    format!("rename it to `{}` if it is to count", renamed(akin, &heading.text)),
                ));
            }
            if unused.len() < MOST_NAMED {
                unused.push(format!("column `{}` of sheet {}", heading.text, self.sheet.name));
            } else {
                others += 1;
            }
        }
        if others > 0 {
            unused.push(format!("{others} more columns of sheet {}", self.sheet.name));
        }
        for column in self.bare.iter().take(MOST_NAMED) {
            let letters = column_letters(*column);
            unused.push(format!(
                "column {letters} of sheet {}, which has no heading",
                self.sheet.name
            ));
        }
        if let Some(more @ 1..) = self.bare.len().checked_sub(MOST_NAMED) {
            unused.push(format!(
                "{more} more columns of sheet {} without a heading",
                self.sheet.name
            ));
        }
        unused
    }

    /// Rows with any contents.
    pub(super) fn lines(&self) -> impl Iterator<Item = TableRow<'_, 'a>> {
        self.rows.iter().map(move |row| TableRow { table: self, row })
    }
}

/// Whether a mark or a space in a number is followed by just three digits.
fn has_thousands(text: &str) -> bool {
    let text = text.trim();
    let parts = |c: char| ",.'\u{2019}".contains(c) || c.is_whitespace();
    let part = text.rsplit_once(parts).map(|(_, part)| part);
    text.starts_with(|c: char| c.is_ascii_digit())
        && part.is_some_and(|part| part.len() == 3 && part.bytes().all(|b| b.is_ascii_digit()))
}

/// A truth value as the cell shows it.
fn truth(yes: bool) -> &'static str {
    match yes {
        true => "the truth value TRUE",
        false => "the truth value FALSE",
    }
}

/// Advice on giving a column its unit.
fn fix_unit(heading: &str) -> String {
    match brackets(heading).find(|inside| Unit::parse(inside).is_none() && !inside.is_empty()) {
        Some(other) => format!(
            "`({other})` is no unit that is known here: write `(in)`, `(thou)`, `(mm)` or `(um)` in the \
             heading, or the unit after the number"
        ),
        None => format!(
            "put the unit into the heading, `{heading} (in)` or `{heading} (mm)`, or after the number"
        ),
    }
}

/// Text after a number, such as `pcs` in `12 pcs`.
fn note_behind(cell: &Cell) -> Option<&str> {
    let (Cell::Text(text) | Cell::Shown { text, .. }) = cell else { return None };
    let end = text.find(|c: char| !(c.is_ascii_digit() || ".,+-".contains(c)))?;
    let (number, note) = text.split_at(end);
    let note = note.trim();
    let is_number = crate::decimal::parse(number).is_some();
    (is_number && note.starts_with(|c: char| c.is_alphabetic() || "([;:*?".contains(c)))
        .then_some(note)
}

/// A length and what its cell leaves out of sight.
pub(super) struct Figure {
    pub(super) length: Length,
    pub(super) off: Option<Off>,
}

/// Difference between the shown and the stored digits of a length.
pub(super) struct Off {
    pub(super) by: Length,
    /// Half of the last place that the trade writes for its unit.
    half_place: Length,
    /// Problem that it is where it counts.
    pub(super) question: Problem,
}

/// Text of a number that shows all its stored digits and no other size, such as `1250` for `1,250`.
fn exactly(text: &str, stored: f64) -> Option<String> {
    in_full(text, stored).filter(|full| !full.scaled && !full.rounded).map(|full| full.text)
}

/// A count without the word for pieces that a number format puts behind it. Common practice, no source.
fn without_pieces(text: &str) -> &str {
    const PIECES: [&str; 8] = ["pcs", "pc", "pieces", "piece", "ea", "each", "off", "nos"];
    let end = text.rfind(|c: char| c.is_ascii_digit()).map_or(0, |at| at + 1);
    let (number, word) = text.split_at(end);
    let word = word.trim().trim_end_matches('.').to_lowercase();
    if PIECES.contains(&word.as_str()) { number } else { text }
}

/// An amount without the sign of its currency: a symbol, or the three letters of ISO 4217. `None` for other words.
fn amount(text: &str) -> Option<&str> {
    let start = text.find(|c: char| c.is_ascii_digit() || "-.".contains(c))?;
    let end = text.rfind(|c: char| c.is_ascii_digit() || c == '-')? + 1;
    let bare = text.get(start..end)?;
    let is_sign = |word: &str| {
        word.is_empty()
            || (word.len() == 3 && word.bytes().all(|b| b.is_ascii_uppercase()))
            || word.chars().all(|c| "$\u{20ac}\u{a3}\u{a5}".contains(c))
    };
    (is_sign(text[..start].trim()) && is_sign(text[end..].trim())).then_some(bare)
}

/// Unit that a text states after its number.
fn own_unit(text: &str) -> Option<Unit> {
    let end = text.rfind(|c: char| c.is_ascii_digit()).map_or(0, |at| at + 1);
    Unit::parse(&text[end..])
}

/// Whether a confirmed text is the value that a cell stores out of sight.
fn is_stored(confirmed: &Cell, stored: &str) -> bool {
    let stored = stored.split('`').next().unwrap_or_default();
    let text = confirmed.show();
    let number = stored.parse().ok().and_then(|number| exactly(&text, number));
    text == stored || number.is_some()
}

/// A row of a table.
#[derive(Clone, Copy)]
pub(super) struct TableRow<'t, 'a> {
    pub(super) table: &'t Table<'a>,
    pub(super) row: &'a SheetRow,
}

impl TableRow<'_, '_> {
    pub(super) fn place(&self, heading: &Heading) -> Place {
        self.table.place(self.row.number, heading.column)
    }

    /// Cell under a heading; an error value or an uncalculated formula is a problem.
    pub(super) fn cell(&self, heading: &Heading, problems: &mut Problems) -> Option<&Cell> {
        match self.row.cell(heading.column)? {
            Cell::Error(error) => {
                problems.add(Problem::new(
                    self.place(heading),
                    format!("the error value {error}"),
                    format!("a value for `{}`", heading.text),
                    "fix the formula, or type the value",
                ));
                None
            }
            Cell::Uncalculated(formula) => {
                problems.add(Problem::new(
                    self.place(heading),
                    format!("the formula ={formula}, whose result is missing or pending"),
                    format!("a value for `{}`", heading.text),
                    "open and save the workbook in the spreadsheet program; if that does not help, type the value",
                ));
                None
            }
            Cell::Doubtful { stored, hidden } => {
                let confirmed = self.confirmed(heading);
                let is_it = |cell: &&Cell| is_stored(cell, stored);
                let found = confirmed.filter(is_it);
                if found.is_none() {
                    let place = self.place(heading);
                    problems.add(questions::of_display(place, stored, *hidden, &heading.text));
                }
                found
            }
            cell => Some(cell),
        }
    }

    /// Meaning that people have confirmed for a cell, as a text.
    pub(super) fn confirmed(&self, heading: &Heading) -> Option<&Cell> {
        self.table.sheet.confirmed.get(&(self.row.number, heading.column))
    }

    /// A meaning of a cell that was confirmed; else the question stands.
    pub(super) fn asked<T: PartialEq>(
        &self,
        heading: &Heading,
        meanings: &[T],
        read: impl Fn(&Cell) -> Option<T>,
        question: Problem,
        problems: &mut Problems,
    ) -> Option<T> {
        let Some(cell) = self.confirmed(heading) else {
            problems.add(question);
            return None;
        };
        let meant = read(cell).filter(|meant| meanings.contains(meant));
        if meant.is_none() {
            problems.add(Problem {
                found: format!("{}, and is confirmed as `{}`", question.found, cell.show()),
                fix: "confirm one of its meanings, or correct the cell".into(),
                ..question
            });
        }
        meant
    }

    /// Asks about a due date before the year 2000; `None` if the question stands.
    pub(super) fn due_in_doubt(
        &self,
        heading: &Heading,
        cell: &Cell,
        problems: &mut Problems,
    ) -> Option<()> {
        let (serial, iso) = match cell {
            Cell::Date { serial, iso } => (*serial, iso),
            Cell::Text(text) if questions::is_time(text) => (0.0, text),
            Cell::Text(text) => (day::number(text).map_or(f64::INFINITY, f64::from), text),
            _ => return Some(()),
        };
        if serial >= f64::from(questions::YEAR_2000) {
            return Some(());
        }
        let question = questions::of_due(self.place(heading), serial, iso);
        let meanings: Vec<_> = day::number(iso).into_iter().collect();
        let read = |cell: &Cell| day::number(&cell.show());
        self.asked(heading, &meanings, read, question, problems).map(|_| ())
    }

    /// A text; a number is taken as shown.
    pub(super) fn text(
        &self,
        heading: Option<&Heading>,
        problems: &mut Problems,
    ) -> Option<String> {
        self.cell(heading?, problems).map(Cell::show)
    }

    /// A required text.
    pub(super) fn needed_text(
        &self,
        heading: Option<&Heading>,
        problems: &mut Problems,
    ) -> Option<String> {
        let heading = heading?;
        if self.row.cell(heading.column).is_none() {
            self.missing(heading, problems);
            return None;
        }
        self.name(heading, problems)
    }

    /// A name or a code, if there is one. A date that a code such as 3/8 was turned into is refused, and so is a text
    /// that no label could hold.
    pub(super) fn name(&self, heading: &Heading, problems: &mut Problems) -> Option<String> {
        const LONGEST: usize = 100;
        let cell = self.cell(heading, problems)?;
        let wrong = match cell {
            Cell::Date { iso, .. } => Some((
                format!("the date {iso}"),
                "give the cell the format of text and type it again; 3/8 or 2-1 turns into a date",
            )),
            Cell::Bool(yes) => Some((
                truth(*yes).to_string(),
                "give the cell the format of text and type it again",
            )),
            Cell::Text(text) if text.chars().count() > LONGEST => Some((
                format!("a text of {} characters", text.chars().count()),
                "shorten it; notes have a column of their own",
            )),
            _ => None,
        };
        match wrong {
            None => Some(cell.show()),
            Some((found, fix)) => {
                let expected =
                    format!("a name of at most {LONGEST} characters for `{}`", heading.text);
                problems.add(Problem::new(self.place(heading), found, expected, fix));
                None
            }
        }
    }

    pub(super) fn missing(&self, heading: &Heading, problems: &mut Problems) {
        problems.add(Problem::new(
            self.place(heading),
            "an empty cell",
            format!("a value for `{}`", heading.text),
            "fill it in, or clear the whole row",
        ));
    }

    /// Reports numbers that read otherwise elsewhere instead of guessing: `1,250` is one and a quarter here and a
    /// thousand to others, `010` is ten here and a hundredth to some, and `10/20` may be a range.
    fn ask_about_number(&self, heading: &Heading, cell: &Cell, problems: &mut Problems) {
        let Cell::Text(text) = cell else { return };
        let mut ask = |found: String, expected: &str, fix: &str| {
            problems.warn(Problem::new(self.place(heading), found, expected, fix));
        };
        let number: String =
            text.chars().take_while(|c| c.is_ascii_digit() || ",./".contains(*c)).collect();
        if let Some((whole, part)) = number.split_once(',')
            && (1..=3).contains(&whole.len())
            && !whole.starts_with('0')
            && part.len() == 3
        {
            ask(
                format!("`{text}`, read as {whole}.{part}"),
                "a comma as decimal mark, not between thousands",
                "write a point, or leave the comma out if it separates thousands",
            );
        }
        if number.len() > 1 && number.starts_with('0') && number.bytes().all(|b| b.is_ascii_digit())
        {
            ask(
                format!("`{text}`, read as {}", number.trim_start_matches('0')),
                "a number without a leading 0, or with its decimal mark",
                "write the mark, as in 0.010, if it is meant",
            );
        }
        if let Some((_, below)) = number.split_once('/')
            && !["2", "4", "8", "16", "32", "64", "128"].contains(&below)
        {
            ask(
                format!("`{text}`, read as a fraction"),
                "a fraction in halves, quarters, eighths and so on",
                "if it is a range or two values, write the one that holds",
            );
        }
    }

    fn not(
        &self,
        heading: &Heading,
        cell: &Cell,
        expected: &str,
        fix: &str,
        problems: &mut Problems,
    ) {
        let (found, fix) = match cell {
            Cell::Date { iso, .. } => (
                format!("the date {iso}"),
                "give the cell a number format and type the number again",
            ),
            Cell::Bool(yes) => (truth(*yes).to_string(), fix),
            cell => (format!("`{}`", cell.show()), fix),
        };
        problems.add(Problem::new(self.place(heading), found, expected, fix));
    }

    /// Reports a cell that is not a plain number, naming a note after the number.
    fn not_plain(
        &self,
        heading: &Heading,
        cell: &Cell,
        [expected, fix]: [&str; 2],
        problems: &mut Problems,
    ) {
        match note_behind(cell) {
            Some(note) => problems.add(Problem::new(
                self.place(heading),
                format!("`{}`: `{note}` after the number", cell.show()),
                expected,
                "leave the number alone in the cell; move the note to a column of its own",
            )),
            None => self.not(heading, cell, expected, fix, problems),
        }
    }

    /// A whole number that is not negative.
    pub(super) fn count(&self, heading: Option<&Heading>, problems: &mut Problems) -> Option<u32> {
        let heading = heading?;
        let cell = self.cell(heading, problems)?;
        self.in_ones(heading, problems)?;
        let whole = |number: Option<Millionths>| {
            number
                .filter(|n| n.raw() % 1_000_000 == 0)
                .and_then(|n| u32::try_from(n.raw() / 1_000_000).ok())
                .filter(|&count| count <= 1_000_000_000)
        };
        let count = whole(match cell {
            Cell::Number(number) => Millionths::from_number(*number),
            // A thousand to some and one to others.
            Cell::Text(text) if has_thousands(text) => {
                problems.add(Problem::new(
                    self.place(heading),
                    format!("`{text}`, in which the mark or space may separate thousands"),
                    "a whole number from 0 to 1000000000",
                    "type the number without it",
                ));
                return None;
            }
            Cell::Text(text) => Millionths::parse(text),
            Cell::Shown { stored, text } => {
                let bare = without_pieces(text);
                match exactly(bare, *stored) {
                    Some(full) => Millionths::parse(&full),
                    // Words are a problem of their own; figures that differ are asked about.
                    None if note_behind(cell).is_some() => None,
                    None => {
                        let stored_count = whole(Millionths::from_number(*stored));
                        let meanings = [whole(Millionths::parse(bare)), stored_count];
                        let read = |cell: &Cell| match cell {
                            Cell::Text(text) => whole(Millionths::parse(text)),
                            _ => None,
                        };
                        let meanings: Vec<u32> = meanings.into_iter().flatten().collect();
                        let place = self.place(heading);
                        let question = questions::of_figures(place, text, *stored, None);
                        return self.asked(heading, &meanings, read, question, problems);
                    }
                }
            }
            _ => None,
        });
        if count.is_none() {
            self.not_plain(
                heading,
                cell,
                [
                    "a whole number from 0 to 1000000000",
                    // An unknown lead time is an empty cell, not 0.
                    match heading.key.as_str() {
                        "leaddays" => "type whole days, rounded up; leave it empty if unknown",
                        _ => "count again and type the number, 0 if there is none",
                    },
                ],
                problems,
            );
        }
        count
    }

    /// Refuses a heading whose numbers count in dozens, packs, weeks or the like.
    fn in_ones(&self, heading: &Heading, problems: &mut Problems) -> Option<()> {
        let Some(other) = other_count(heading) else { return Some(()) };
        problems.add(Problem::new(
            self.table.place(self.table.heading_row, heading.column),
            format!("`{}`, which counts in `{other}`", heading.text),
            "pieces, days, and the price of one piece",
            "convert the column, and take the words in brackets out of its heading",
        ));
        None
    }

    /// An amount of money that is not negative.
    pub(super) fn money(
        &self,
        heading: Option<&Heading>,
        problems: &mut Problems,
    ) -> Option<Money> {
        let heading = heading?;
        let cell = self.cell(heading, problems)?;
        self.in_ones(heading, problems)?;
        let price = |money: Option<Money>| {
            money.filter(|money| *money >= Money::ZERO && money.raw() <= 1_000_000_000_000)
        };
        let money = price(match cell {
            Cell::Number(number) => Money::from_number(*number),
            Cell::Text(text) => Money::parse(text),
            Cell::Shown { stored, text } => match amount(text) {
                None => None,
                Some(bare) => match exactly(bare, *stored) {
                    Some(full) => Money::parse(&full),
                    None => {
                        let meanings = [Money::parse(bare), Money::from_number(*stored)];
                        let meanings: Vec<Money> = meanings.into_iter().filter_map(price).collect();
                        let read = |cell: &Cell| match cell {
                            Cell::Text(text) => price(Money::parse(text)),
                            _ => None,
                        };
                        let place = self.place(heading);
                        let question = questions::of_figures(place, text, *stored, None);
                        return self.asked(heading, &meanings, read, question, problems);
                    }
                },
            },
            _ => None,
        });
        if money.is_some() {
            self.ask_about_number(heading, cell, problems);
        } else {
            self.not_plain(
                heading,
                cell,
                [
                    "an amount of money, 0 to 1000000, with at most six places",
                    "type the plain number, such as 1234.50: no minus, no currency sign, no mark between thousands",
                ],
                problems,
            );
        }
        money
    }

    /// A share of at most six places, or in percent.
    pub(super) fn share(&self, heading: &Heading, problems: &mut Problems) -> Option<Millionths> {
        let read = |text: &str| match text.trim_end().strip_suffix('%') {
            Some(percent) => Millionths::parse(percent)
                .filter(|n| n.raw() % 100 == 0)
                .map(|n| Millionths::from_raw(n.raw() / 100)),
            None => Millionths::parse(text),
        };
        self.numeric(heading, problems, NUMBER, |cell| match cell {
            Cell::Number(number) => Millionths::from_number(*number),
            Cell::Text(text) => read(text),
            _ => None,
        })
    }

    /// Whether a cell shows a percentage.
    pub(super) fn is_percentage(&self, heading: &Heading) -> bool {
        let cell = self.row.cell(heading.column);
        let text = match cell {
            Some(Cell::Text(text) | Cell::Shown { text, .. }) => text,
            _ => return false,
        };
        text.trim_end().ends_with('%')
    }

    /// A temperature in the scale of its cell, or of its heading; one of another scale in the heading is a problem.
    pub(super) fn temperature(
        &self,
        heading: &Heading,
        problems: &mut Problems,
    ) -> Option<Temperature> {
        let named = brackets(&heading.text).next();
        let Some(scale) = named.map_or(Some(Scale::Celsius), Scale::parse) else {
            problems.add(Problem::new(
                self.table.place(self.table.heading_row, heading.column),
                format!("temperatures in `{}`", named.unwrap_or_default()),
                "a column in degrees Celsius or Fahrenheit, such as `Shaft growth running (degC)`",
                "convert them to degrees Celsius and correct the heading",
            ));
            return None;
        };
        let (number, scale) = self.numeric(heading, problems, TEMPERATURE, |cell| match cell {
            Cell::Number(number) => Some((Millionths::from_number(*number)?, scale)),
            Cell::Text(text) => degrees(text, scale),
            _ => None,
        })?;
        Some(scale.temperature(number))
    }

    fn numeric<T: PartialEq>(
        &self,
        heading: &Heading,
        problems: &mut Problems,
        [expected, fix]: [&str; 2],
        read: impl Fn(&Cell) -> Option<T>,
    ) -> Option<T> {
        let cell = self.cell(heading, problems)?;
        let number = match cell {
            Cell::Shown { stored, text } => {
                let shown = read(&Cell::Text(text.clone()));
                let percent = text.ends_with('%');
                let full = in_full(text, *stored).filter(|full| percent || !full.scaled);
                let meant = full.as_ref().and_then(|full| read(&Cell::Text(full.text.clone())));
                match (shown, meant) {
                    (None, None) => None,
                    (_, Some(meant)) if full.as_ref().is_some_and(|f| !f.rounded) => Some(meant),
                    (shown, meant) => {
                        let meanings: Vec<T> = [shown, meant].into_iter().flatten().collect();
                        let full = full.as_ref().map(|full| full.text.as_str());
                        let question =
                            questions::of_figures(self.place(heading), text, *stored, full);
                        return self.asked(heading, &meanings, read, question, problems);
                    }
                }
            }
            cell => read(cell),
        };
        match number {
            Some(_) => self.ask_about_number(heading, cell, problems),
            None => self.not(heading, cell, expected, fix, problems),
        }
        number
    }

    /// A length; where its cell shows fewer digits than it stores, both must agree to half of the last place that the
    /// trade writes.
    pub(super) fn length(&self, heading: &Heading, problems: &mut Problems) -> Option<Length> {
        let read = self.figure(heading, problems)?;
        match read.off.filter(|off| off.by > off.half_place) {
            Some(off) => {
                problems.add(off.question);
                None
            }
            None => Some(read.length),
        }
    }

    /// A length with what its cell leaves out of sight.
    pub(super) fn figure(&self, heading: &Heading, problems: &mut Problems) -> Option<Figure> {
        let read = |cell: &Cell, unit: Option<Unit>| match cell {
            Cell::Number(number) => Length::from_number(*number, unit.ok_or(LengthError::NoUnit)?),
            Cell::Text(text) => Length::parse(text, unit),
            _ => Err(LengthError::NotANumber),
        };
        let exact = |length| Figure { length, off: None };
        let Some((stored, text)) = self.shown(heading) else {
            return self.measured(heading, problems, read).map(exact);
        };
        let as_shown = self.measured(heading, problems, |cell, unit| match cell {
            Cell::Text(text) | Cell::Shown { text, .. } => Length::parse(text, unit),
            _ => Err(LengthError::NotANumber),
        })?;
        let full = in_full(text, stored);
        let meant = full.as_ref();
        let meant = meant.and_then(|f| Length::parse_computed(&f.text, heading.unit).ok());
        if meant == Some(as_shown) {
            return Some(exact(as_shown));
        }
        let full = full.as_ref().map(|full| full.text.as_str());
        let question = questions::of_figures(self.place(heading), text, stored, full);
        match meant.filter(|_| self.confirmed(heading).is_none()) {
            Some(length) => {
                let by = (length - as_shown).abs();
                let unit = own_unit(text).or(heading.unit).unwrap_or(Unit::Micrometre);
                let half_place = unit.half_place();
                Some(Figure { length, off: Some(Off { by, half_place, question }) })
            }
            None => {
                let meanings: Vec<Length> = [Some(as_shown), meant].into_iter().flatten().collect();
                let read = |cell: &Cell| read(cell, heading.unit).ok();
                self.asked(heading, &meanings, read, question, problems).map(exact)
            }
        }
    }

    /// The stored number and the shown text of a cell that has both.
    fn shown(&self, heading: &Heading) -> Option<(f64, &str)> {
        match self.row.cell(heading.column)? {
            Cell::Shown { stored, text } => Some((*stored, text)),
            _ => None,
        }
    }

    /// A required length above zero.
    pub(super) fn needed_thickness(
        &self,
        heading: &Heading,
        problems: &mut Problems,
    ) -> Option<Length> {
        if self.row.cell(heading.column).is_none() {
            self.missing(heading, problems);
        }
        self.thickness(heading, problems)
    }

    /// A length above zero.
    pub(super) fn thickness(&self, heading: &Heading, problems: &mut Problems) -> Option<Length> {
        let length = self.length(heading, problems)?;
        self.above_zero(heading, length, problems)
    }

    fn above_zero(
        &self,
        heading: &Heading,
        length: Length,
        problems: &mut Problems,
    ) -> Option<Length> {
        if length > Length::ZERO {
            return Some(length);
        }
        let cell = self.row.cell(heading.column)?;
        self.not(heading, cell, "a length above 0", "measure again and type the length", problems);
        None
    }

    /// A required length above zero, with what its cell leaves out of sight.
    pub(super) fn needed_figure(
        &self,
        heading: &Heading,
        problems: &mut Problems,
    ) -> Option<Figure> {
        if self.row.cell(heading.column).is_none() {
            self.missing(heading, problems);
        }
        let figure = self.figure(heading, problems)?;
        self.above_zero(heading, figure.length, problems).map(|_| figure)
    }

    /// A tolerance: one plus/minus, or both sides.
    pub(super) fn tolerance(
        &self,
        heading: &Heading,
        problems: &mut Problems,
    ) -> Option<Tolerance> {
        self.measured(heading, problems, |cell, unit| match cell {
            Cell::Number(number) => {
                let both = Length::from_number(*number, unit.ok_or(LengthError::NoUnit)?)?;
                if both < Length::ZERO {
                    return Err(LengthError::BelowZero);
                }
                Ok(Tolerance::even(both))
            }
            Cell::Text(text) => Tolerance::parse(text, unit),
            Cell::Shown { stored, text } => {
                let shown = Tolerance::parse(text, unit)?;
                let full = in_full(text, *stored);
                let full = full.and_then(|full| Tolerance::parse(&full.text, unit).ok());
                match full == Some(shown) {
                    true => Ok(shown),
                    false => Err(LengthError::ShownOtherwise),
                }
            }
            _ => Err(LengthError::NotANumber),
        })
    }

    fn measured<T: PartialEq>(
        &self,
        heading: &Heading,
        problems: &mut Problems,
        read: impl Fn(&Cell, Option<Unit>) -> Result<T, LengthError>,
    ) -> Option<T> {
        let cell = self.cell(heading, problems)?;
        match read(cell, heading.unit) {
            Ok(value) => {
                if let Some([one, other]) = questions::of_inches(cell, heading.unit) {
                    let place = self.place(heading);
                    let fix = format!(
                        "write `{one}` or `{other}`, whichever is meant, or {}",
                        questions::confirmed(&place, &one)
                    );
                    let question = Problem::new(
                        place,
                        format!("`{}` in a metric column", cell.show()),
                        format!("{one}, or {other}"),
                        fix,
                    );
                    let read = |text: &str| read(&Cell::Text(text.into()), None).ok();
                    let meanings: Vec<T> = [one, other].iter().filter_map(|t| read(t)).collect();
                    let confirmed = |cell: &Cell| read(&cell.show());
                    return self.asked(heading, &meanings, confirmed, question, problems);
                }
                self.ask_about_number(heading, cell, problems);
                Some(value)
            }
            Err(LengthError::ShownOtherwise) => {
                if let Some((stored, text)) = self.shown(heading) {
                    let full = in_full(text, stored);
                    let texts = [Some(text), full.as_ref().map(|full| full.text.as_str())];
                    let parse = |text: &str| read(&Cell::Text(text.into()), heading.unit).ok();
                    let meanings: Vec<T> = texts.into_iter().flatten().filter_map(parse).collect();
                    let question =
                        questions::of_figures(self.place(heading), text, stored, texts[1]);
                    let confirmed = |cell: &Cell| parse(&cell.show());
                    return self.asked(heading, &meanings, confirmed, question, problems);
                }
                None
            }
            Err(error) => {
                let fix = match error {
                    LengthError::NoUnit => fix_unit(&heading.text),
                    LengthError::NotANumber => match cell {
                        Cell::Date { .. } => {
                            "give the cell a number format and type the length again; a fraction \
                             typed as 1/64 turns into a date, so type it as text, with its unit"
                                .into()
                        }
                        _ => "type a length such as 0.021, 0.5 mm, 12 thou or 1/64 in".to_string(),
                    },
                    LengthError::BelowZero => {
                        "type how far it may lie either way, without a sign".into()
                    }
                    LengthError::UnknownUnit(_) => {
                        "use in, thou, mm or um; move notes to a column of their own".into()
                    }
                    LengthError::TooFine => "round it to what can be measured".into(),
                    LengthError::TooLong | LengthError::ShownOtherwise => {
                        "check the number and its unit".into()
                    }
                };
                problems.add(Problem::new(
                    self.place(heading),
                    format!("`{}`: {error}", cell.show()),
                    format!("a length for `{}`", heading.text),
                    fix,
                ));
                None
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headings_match_whatever_their_case_spaces_punctuation_and_unit() {
        for text in
            ["Bare clearance (in)", "bare-clearance [mm]", "BARE CLEARANCE", " bare_clearance: "]
        {
            assert_eq!(key(text), "bareclearance", "{text}");
        }
        assert_eq!(unit("Thickness (thou)"), Some(Unit::Thou));
        assert_eq!(unit("Thickness (old)"), None);
    }

    #[test]
    fn the_heading_row_is_found_below_a_title_block() {
        let rows = [vec!["Stores list"], vec![], vec!["", "Item", "Kind"], vec!["", "S1", "shim"]];
        let sheet = Sheet::from_text("f", "s", rows);
        let mut problems = Problems::new();
        let table = Table::find(&sheet, &["Item", "Kind"], &mut problems).unwrap();
        assert_eq!(table.heading_row, 2);
        assert_eq!(table.optional("KIND").unwrap().column, 2);
        assert_eq!(table.lines().count(), 1);
        assert!(problems.none());
    }
}
