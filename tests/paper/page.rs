//! Sheets as written: every cell with contents, and every cell that is there to be filled in.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Debug;
use std::io::{Cursor, Read};

use calamine::{Data, Reader, Xlsx};

/// Fill colour of the cells that people write into.
const ENTRY: &str = "FFFFF6D6";

/// Cells of a row by their columns: a text as it is, a number after `#`, a cell to fill in between brackets.
pub type Row = BTreeMap<u32, String>;

/// A row of texts, from the first column on; an empty text means no expected cell.
pub fn texts(cells: &[&str]) -> Row {
    let cells = (0..).zip(cells).filter(|(_, text)| !text.is_empty());
    cells.map(|(at, text)| (at, text.to_string())).collect()
}

/// One text in the first column.
pub fn line(text: impl Into<String>) -> Row {
    Row::from([(0, text.into())])
}

pub fn number(number: f64) -> String {
    let shown = format!("{number:.9}");
    let shown = shown.trim_end_matches('0').trim_end_matches('.');
    format!("#{}", if shown == "-0" { "0" } else { shown })
}

pub fn count(count: impl Into<f64>) -> String {
    number(count.into())
}

pub fn entry(text: &str) -> String {
    format!("[{text}]")
}

/// One sheet.
#[derive(Default)]
pub struct Page {
    pub rows: BTreeMap<u32, Row>,
    pub numbers: BTreeMap<(u32, u32), f64>,
}

impl Page {
    /// Rows with contents in these columns.
    pub fn block(&self, columns: std::ops::Range<u32>) -> Vec<Row> {
        let rows = self.rows.values().map(|row| {
            let cells = row.range(columns.clone());
            cells.map(|(at, text)| (*at, text.clone())).collect()
        });
        rows.filter(|row: &Row| !row.is_empty()).collect()
    }

    /// Place of the only cell with this text.
    pub fn find(&self, text: &str) -> Option<(u32, u32)> {
        let cells = self.rows.iter();
        let mut cells =
            cells.flat_map(|(row, cells)| cells.iter().map(move |(at, t)| (*row, *at, t)));
        let found = cells.find(|(_, _, own)| *own == text);
        found.map(|(row, at, _)| (row, at))
    }
}

/// A workbook.
pub struct Book {
    pub names: Vec<String>,
    pages: BTreeMap<String, Page>,
    parts: BTreeMap<String, String>,
}

impl Book {
    pub fn read(bytes: Vec<u8>) -> Book {
        let parts = parts(&bytes);
        let entries = entry_styles(&parts["xl/styles.xml"]);
        let mut book: Xlsx<_> = Xlsx::new(Cursor::new(bytes)).unwrap();
        let names = book.sheet_names();
        let mut pages = BTreeMap::new();
        for (at, name) in names.iter().enumerate() {
            let range = book.worksheet_range(name).unwrap();
            let mut page = Page::default();
            let (top, left) = range.start().unwrap_or_default();
            for (row, column, cell) in range.used_cells() {
                let place = (top + row as u32, left + column as u32);
                let text = match cell {
                    Data::Float(value) => {
                        page.numbers.insert(place, *value);
                        number(*value)
                    }
                    Data::String(text) if text.is_empty() => continue,
                    other => other.to_string(),
                };
                page.rows.entry(place.0).or_default().insert(place.1, text);
            }
            let own = &parts[&format!("xl/worksheets/sheet{}.xml", at + 1)];
            for (row, column) in cells_of(own, &entries) {
                let cell = page.rows.entry(row).or_default().entry(column).or_default();
                *cell = entry(cell);
            }
            pages.insert(name.clone(), page);
        }
        Book { names, pages, parts }
    }

    pub fn page(&self, name: &str) -> &Page {
        let page = self.pages.get(name);
        page.unwrap_or_else(|| panic!("no sheet {name} among {:?}", self.names))
    }

    /// Texts that float over a sheet, in their order.
    pub fn floating(&self, name: &str) -> Vec<String> {
        let at = self.names.iter().position(|own| own == name).unwrap() + 1;
        let links = self.parts.get(&format!("xl/worksheets/_rels/sheet{at}.xml.rels"));
        let drawing = links.and_then(|links| {
            let (_, rest) = links.split_once("drawings/")?;
            rest.split('"').next()
        });
        let Some(drawing) = drawing else {
            return Vec::new();
        };
        let drawn = &self.parts[&format!("xl/drawings/{drawing}")];
        let texts = drawn.split("<a:t>").skip(1);
        let texts = texts.map(|text| text.split("</a:t>").next().unwrap());
        texts.map(|text| text.replace("&amp;", "&")).collect()
    }
}

fn parts(bytes: &[u8]) -> BTreeMap<String, String> {
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
    let mut parts = BTreeMap::new();
    for at in 0..archive.len() {
        let mut part = archive.by_index(at).unwrap();
        let name = part.name().unwrap().into_owned();
        let mut text = Vec::new();
        part.read_to_end(&mut text).unwrap();
        parts.insert(name, String::from_utf8_lossy(&text).into_owned());
    }
    parts
}

fn attribute<'a>(tag: &'a str, name: &str) -> Option<&'a str> {
    let (_, rest) = tag.split_once(&format!("{name}=\""))?;
    rest.split('"').next()
}

/// Numbers of the formats with the fill colour of a cell to be filled in.
fn entry_styles(styles: &str) -> BTreeSet<u32> {
    let (_, fills) = styles.split_once("<fills").unwrap();
    let (fills, _) = fills.split_once("</fills>").unwrap();
    let fills = fills.split("<fill>").skip(1).enumerate();
    let fills = fills.filter(|(_, fill)| fill.contains(ENTRY));
    let fills: BTreeSet<String> = fills.map(|(at, _)| at.to_string()).collect();
    assert!(!fills.is_empty(), "no cell is there to be filled in");
    let (_, formats) = styles.split_once("<cellXfs").unwrap();
    let (formats, _) = formats.split_once("</cellXfs>").unwrap();
    let formats = (0..).zip(formats.split("<xf ").skip(1));
    formats
        .filter(|(_, format)| attribute(format, "fillId").is_some_and(|fill| fills.contains(fill)))
        .map(|(at, _)| at)
        .collect()
}

/// The cells of a sheet that have one of these formats.
fn cells_of(sheet: &str, formats: &BTreeSet<u32>) -> Vec<(u32, u32)> {
    let cells = sheet.split("<c r=\"").skip(1).filter_map(|cell| {
        let (tag, _) = cell.split_once('>')?;
        let (address, rest) = tag.split_once('"')?;
        let format: u32 = attribute(rest, " s")?.parse().ok()?;
        formats.contains(&format).then(|| place(address))
    });
    cells.collect()
}

fn place(address: &str) -> (u32, u32) {
    let split = address.find(|c: char| c.is_ascii_digit()).unwrap();
    let (letters, digits) = address.split_at(split);
    let column = letters.bytes().fold(0, |sum, c| sum * 26 + u32::from(c - b'A') + 1);
    (digits.parse::<u32>().unwrap() - 1, column - 1)
}

/// All mismatches.
#[derive(Default)]
pub struct Wrong {
    pub place: String,
    said: Vec<String>,
}

impl Wrong {
    pub fn say(&mut self, text: impl std::fmt::Display) {
        self.said.push(format!("{}: {text}", self.place));
    }

    pub fn unless(&mut self, holds: bool, text: impl std::fmt::Display) {
        if !holds {
            self.say(text);
        }
    }

    pub fn same<T: PartialEq + Debug>(&mut self, what: &str, found: T, expected: T) {
        if found != expected {
            self.say(format!("{what}: found {found:?}, expected {expected:?}"));
        }
    }

    /// Compares consecutive rows; some extra or missing rows are reported as such.
    pub fn rows(&mut self, found: &[Row], expected: &[Row]) {
        /// Most consecutive missing or extra rows that are recognised as such.
        const AHEAD: usize = 20;
        let (mut f, mut e) = (found, expected);
        while let ([one, others @ ..], [other, rest @ ..]) = (f, e) {
            let is_alone = others.first() == rest.first();
            let added = f.iter().take(AHEAD).position(|row| row == other);
            let left_off = e.iter().take(AHEAD).position(|row| row == one);
            let (more, less) = match (added, left_off) {
                (Some(0), _) => (1, 1),
                _ if is_alone => (1, 1),
                (Some(more), less) if less.is_none_or(|less| more <= less) => (more, 0),
                (_, Some(less)) => (0, less),
                _ => (1, 1),
            };
            match (more, less) {
                (1, 1) if one == other => {}
                (1, 1) => {
                    self.say(format!("found    {}\n      expected {}", shown(one), shown(other)))
                }
                _ => self.apart(&f[..more], &e[..less]),
            }
            (f, e) = (&f[more..], &e[less..]);
        }
        self.apart(f, e);
    }

    /// Rows without counterparts.
    fn apart(&mut self, found: &[Row], expected: &[Row]) {
        for row in found {
            self.say(format!("not expected: {}", shown(row)));
        }
        for row in expected {
            self.say(format!("left off: {}", shown(row)));
        }
    }

    /// Rows that must be there in this order, whatever is between them.
    pub fn in_order(&mut self, found: &[Row], expected: &[Row]) {
        let mut rest = found;
        for row in expected {
            match rest.iter().position(|own| own == row) {
                Some(at) => rest = &rest[at + 1..],
                None => self.say(format!("left off, or not in its place: {}", shown(row))),
            }
        }
    }

    /// Fails with all mismatches.
    pub fn tell(self) {
        const MOST: usize = 100;
        let all = self.said.len();
        let mut said = self.said;
        said.truncate(MOST);
        assert!(
            all == 0,
            "{all} things are not as the library has them:\n  {}{}",
            said.join("\n  "),
            if all > MOST { "\n  ..." } else { "" }
        );
    }
}

fn shown(row: &Row) -> String {
    let cells = row.iter().map(|(at, text)| {
        let column = u8::try_from(*at).ok().filter(|at| *at < 26);
        let column = column.map_or('?', |at| char::from(b'A' + at));
        format!("{column}: {text}")
    });
    cells.collect::<Vec<_>>().join(" | ")
}
