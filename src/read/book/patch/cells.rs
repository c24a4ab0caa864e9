//! The cells of a sheet's part with the places of their bytes, and edits of these bytes.

use std::ops::Range;

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use super::super::archive::Trouble;
use super::super::survey::address;
use super::super::xml::attribute;
use crate::narrow::narrow;

/// Bytes of an element: all of it, and all between its tags.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Bytes {
    pub(super) all: Range<usize>,
    pub(super) inner: Range<usize>,
}

/// A formula in a cell.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct CellFormula {
    /// Its text, empty where it shares that of another cell.
    pub(super) text: String,
    /// Kind: `shared`, `array` or `dataTable`, where it is stated.
    pub(super) kind: String,
    /// Number of the shared text.
    pub(super) shared: Option<u32>,
    /// Cells that an array or a table of data fills.
    pub(super) fills: Option<[(u32, u32); 2]>,
}

/// A cell in its part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct CellBytes {
    /// Row and column, from 0.
    pub(super) at: (u32, u32),
    /// Start tag; of an empty element, the whole.
    pub(super) tag: Range<usize>,
    /// Whether it is an empty element.
    pub(super) is_empty: bool,
    /// Kind of its value, as stated.
    pub(super) kind: Option<String>,
    pub(super) formula: Option<CellFormula>,
    /// Stored value.
    pub(super) value: Option<Bytes>,
    /// Text that stands in the cell itself.
    pub(super) own_text: Option<Range<usize>>,
}

/// A change of the bytes of a part: new text in place of these bytes.
pub(super) type Edit = (Range<usize>, String);

/// Deepest elements of a part.
const DEEPEST: usize = 256;

/// Events of a part with the places of their bytes.
pub(super) struct Places<'t> {
    reader: Reader<&'t [u8]>,
    /// Bytes of a mark before the text, which the reader does not count.
    mark: usize,
    /// Names of the open elements, without prefixes.
    pub(super) path: Vec<String>,
}

impl<'t> Places<'t> {
    pub(super) fn of(text: &'t str) -> Places<'t> {
        let bare = text.trim_start_matches('\u{feff}');
        Places { reader: Reader::from_str(bare), mark: text.len() - bare.len(), path: Vec::new() }
    }

    /// The next event with its bytes; the path holds the element that it begins or ends.
    pub(super) fn next(&mut self, ended: bool) -> Result<(Event<'t>, Range<usize>), Trouble> {
        if ended {
            self.path.pop();
        }
        let start = self.position();
        let broken = |error: quick_xml::Error| Trouble::Broken(error.to_string());
        let event = self.reader.read_event().map_err(broken)?;
        match &event {
            Event::Start(element) | Event::Empty(element) => {
                self.path.push(element.local_name().as_ref().to_string());
                if self.path.len() > DEEPEST {
                    return Err(Trouble::Broken("elements inside each other without end".into()));
                }
            }
            Event::Eof if !self.path.is_empty() => {
                return Err(Trouble::Broken("it ends too early".into()));
            }
            _ => {}
        }
        Ok((event, start..self.position()))
    }

    fn position(&self) -> usize {
        self.mark + narrow::<usize>(self.reader.buffer_position())
    }

    pub(super) fn is_at(&self, path: &[&str]) -> bool {
        // The root has another name in sheets of macros.
        self.path.len() == path.len() + 1 && self.path.iter().skip(1).eq(path)
    }
}

/// Hands over each cell of a sheet's part.
pub(super) fn each_cell(
    text: &str,
    mut cell: impl FnMut(CellBytes) -> Result<(), Trouble>,
) -> Result<(), Trouble> {
    const ROW: [&str; 2] = ["sheetData", "row"];
    const CELL: [&str; 3] = ["sheetData", "row", "c"];
    let mut places = Places::of(text);
    let (mut row, mut column) = (0_u32, 0_u32);
    let mut open: Option<CellBytes> = None;
    let mut inner = 0;
    let mut ended = false;
    loop {
        let (event, bytes) = places.next(ended)?;
        ended = matches!(event, Event::End(_) | Event::Empty(_));
        match event {
            Event::Start(element) | Event::Empty(element) if places.is_at(&ROW) => {
                let stated = attribute(&element, "r").and_then(|r| r.parse().ok());
                row = stated.unwrap_or(row.saturating_add(1));
                column = 0;
            }
            Event::Start(element) if places.is_at(&CELL) => {
                open = Some(begun(&element, (row, &mut column), bytes, false)?);
            }
            Event::Empty(element) if places.is_at(&CELL) => {
                cell(begun(&element, (row, &mut column), bytes, true)?)?;
            }
            Event::End(_) if places.is_at(&CELL) => {
                if let Some(done) = open.take() {
                    cell(done)?;
                }
            }
            Event::Eof => return Ok(()),
            event => {
                let Some(cell) = open.as_mut().filter(|_| places.path.len() > 4) else { continue };
                child(cell, &event, &bytes, &places, &mut inner);
            }
        }
    }
}

fn begun(
    element: &BytesStart<'_>,
    (row, column): (u32, &mut u32),
    tag: Range<usize>,
    is_empty: bool,
) -> Result<CellBytes, Trouble> {
    let at = match attribute(element, "r") {
        Some(text) => address(&text)
            .ok_or_else(|| Trouble::Broken(format!("`{text}` is no address of a cell")))?,
        // A cell without an address follows the last one.
        None => (row.saturating_sub(1), *column),
    };
    *column = at.1.saturating_add(1);
    let kind = attribute(element, "t");
    Ok(CellBytes { at, tag, is_empty, kind, formula: None, value: None, own_text: None })
}

/// Takes an event inside a cell in.
fn child(
    cell: &mut CellBytes,
    event: &Event<'_>,
    bytes: &Range<usize>,
    places: &Places<'_>,
    inner: &mut usize,
) {
    let name = places.path[4].as_str();
    let is_child = places.path.len() == 5;
    match event {
        Event::Start(element) | Event::Empty(element) if is_child => {
            *inner = bytes.end;
            let whole = Bytes { all: bytes.clone(), inner: bytes.end..bytes.end };
            match name {
                "f" => cell.formula = Some(formula(element)),
                "v" => cell.value = Some(whole),
                "is" => cell.own_text = Some(bytes.clone()),
                _ => {}
            }
        }
        Event::End(_) if is_child => match name {
            "v" => {
                if let Some(value) = &mut cell.value {
                    value.all.end = bytes.end;
                    value.inner = *inner..bytes.start;
                }
            }
            "is" => {
                if let Some(text) = &mut cell.own_text {
                    text.end = bytes.end;
                }
            }
            _ => {}
        },
        _ => {
            if let Some(formula) = cell.formula.as_mut().filter(|_| is_child && name == "f") {
                add_text(&mut formula.text, event);
            }
        }
    }
}

/// Adds the text of an event; a character that stands as an entity is decoded.
fn add_text(text: &mut String, event: &Event<'_>) {
    match event {
        Event::Text(part) => text.push_str(part),
        Event::CData(part) => text.push_str(part),
        Event::GeneralRef(entity) => {
            let known = match &**entity {
                "amp" => Some('&'),
                "lt" => Some('<'),
                "gt" => Some('>'),
                "quot" => Some('"'),
                "apos" => Some('\''),
                _ => entity.resolve_char_ref().ok().flatten(),
            };
            // An entity of the file's own: the formula then tells nothing.
            text.push(known.unwrap_or('\u{fffd}'));
        }
        _ => {}
    }
}

fn formula(element: &BytesStart<'_>) -> CellFormula {
    let range = attribute(element, "ref");
    let ends = range.as_ref().and_then(|range| {
        let (first, last) = range.split_once(':').unwrap_or((range, range));
        Some([address(first)?, address(last)?])
    });
    CellFormula {
        text: String::new(),
        kind: attribute(element, "t").unwrap_or_default(),
        shared: attribute(element, "si").and_then(|number| number.parse().ok()),
        fills: ends,
    }
}

/// Edits that put a count into a cell without a formula.
pub(super) fn with_count(text: &str, cell: &CellBytes, count: u32) -> Vec<Edit> {
    let tag = &text[cell.tag.clone()];
    let name = name_of(tag);
    let prefix = name.rsplit_once(':').map_or(String::new(), |(prefix, _)| format!("{prefix}:"));
    let value = format!("<{prefix}v>{count}</{prefix}v>");
    let is_number = cell.kind.as_deref().is_none_or(|kind| kind == "n");
    let tag = if is_number { tag.to_string() } else { without(tag, &["t"]) };
    let mut edits = Vec::new();
    if cell.is_empty {
        let open = tag.trim_end_matches("/>").trim_end();
        return vec![(cell.tag.clone(), format!("{open}>{value}</{name}>"))];
    }
    if !is_number {
        edits.push((cell.tag.clone(), tag));
    }
    match (&cell.value, &cell.own_text) {
        (Some(there), _) if there.inner.start < there.all.end => {
            edits.push((there.inner.clone(), count.to_string()));
        }
        (Some(there), _) => edits.push((there.all.clone(), value)),
        (None, Some(own)) => edits.push((own.clone(), value)),
        (None, None) => edits.push((cell.tag.end..cell.tag.end, value)),
    }
    edits
}

/// Edits that empty the stored result of a cell; none where it has none.
pub(super) fn without_result(text: &str, cell: &CellBytes) -> Vec<Edit> {
    let Some(value) = cell.value.as_ref().filter(|value| !value.inner.is_empty()) else {
        return Vec::new();
    };
    let mut edits = Vec::new();
    let tag = &text[cell.tag.clone()];
    // Kinds of a value that is gone: an empty text would be a result.
    let bare = without(tag, &["t", "vm"]);
    if bare != tag {
        edits.push((cell.tag.clone(), bare));
    }
    edits.push((value.inner.clone(), String::new()));
    edits
}

/// Name in a start tag, with its prefix.
pub(super) fn name_of(tag: &str) -> &str {
    let name = tag.trim_start_matches('<');
    let end = name.find(|c: char| c.is_whitespace() || matches!(c, '/' | '>'));
    &name[..end.unwrap_or(name.len())]
}

/// Places of the attributes of a start tag, each with the space before it, its name, and the place of its value.
pub(super) fn attributes(tag: &str) -> Vec<(Range<usize>, &str, Range<usize>)> {
    let mut found = Vec::new();
    let mut at = 1 + name_of(tag).len();
    let bytes = tag.as_bytes();
    let space = |at: usize| bytes.get(at).is_some_and(u8::is_ascii_whitespace);
    loop {
        let start = at;
        while space(at) {
            at += 1;
        }
        let Some(length) = tag[at..].find(|c: char| c.is_whitespace() || c == '=') else { break };
        let name = &tag[at..at + length];
        at += length;
        let Some(quote) = tag[at..].find(['"', '\'']) else { break };
        let from = at + quote + 1;
        let Some(length) = tag[from..].find(char::from(bytes[from - 1])) else { break };
        at = from + length + 1;
        found.push((start..at, name, from..from + length));
    }
    found
}

/// A start tag without these attributes.
fn without(tag: &str, names: &[&str]) -> String {
    let gone = attributes(tag).into_iter().filter(|(_, name, _)| names.contains(name));
    edited(tag, gone.map(|(all, ..)| (all, String::new())).collect())
}

/// A text with its edits, which do not overlap.
pub(super) fn edited(text: &str, mut edits: Vec<Edit>) -> String {
    edits.sort_by_key(|(range, _)| (range.start, range.end));
    let mut done = String::with_capacity(text.len());
    let mut at = 0;
    for (range, new) in edits {
        done.push_str(&text[at..range.start]);
        done.push_str(&new);
        at = range.end;
    }
    done.push_str(&text[at..]);
    done
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet(cells: &str) -> String {
        format!(
            "<?xml version=\"1.0\"?>\n<worksheet xmlns:x='u'><sheetData><row r=\"2\">{cells}</row></sheetData><extLst><c r=\"A1\"><v>9</v></c></extLst></worksheet>"
        )
    }

    fn all(text: &str) -> Vec<CellBytes> {
        let mut found = Vec::new();
        let read = each_cell(text, |cell| {
            found.push(cell);
            Ok(())
        });
        assert!(read.is_ok());
        found
    }

    fn counted(cell: &str) -> String {
        let text = sheet(cell);
        let found = all(&text);
        let [one] = &found[..] else { panic!("{found:?}") };
        let done = edited(&text, with_count(&text, one, 7));
        let (start, end) = sheet("|").split_once('|').map(|(a, b)| (a.len(), b.len())).unwrap();
        done[start..done.len() - end].to_string()
    }

    #[test]
    fn a_count_goes_into_any_kind_of_cell() {
        assert_eq!(counted(r#"<c r="B2" s="3"><v>4</v></c>"#), r#"<c r="B2" s="3"><v>7</v></c>"#);
        assert_eq!(
            counted("<c t='n' r='B2'>\n <v xml:space=\"preserve\"> 4 </v>\n</c>"),
            "<c t='n' r='B2'>\n <v xml:space=\"preserve\">7</v>\n</c>"
        );
        assert_eq!(
            counted("<x:c r='B2' t='s' s=\"1\"><x:v><![CDATA[0]]></x:v></x:c>"),
            "<x:c r='B2' s=\"1\"><x:v>7</x:v></x:c>"
        );
        assert_eq!(
            counted(r#"<c t="inlineStr" r="B2"><is><t>4</t></is></c>"#),
            r#"<c r="B2"><v>7</v></c>"#
        );
        assert_eq!(counted(r#"<c r="B2" s="3"/>"#), r#"<c r="B2" s="3"><v>7</v></c>"#);
        assert_eq!(counted("<x:c r=\"B2\" s=\"3\" />"), "<x:c r=\"B2\" s=\"3\"><x:v>7</x:v></x:c>");
        assert_eq!(counted(r#"<c r="B2"><v/></c>"#), r#"<c r="B2"><v>7</v></c>"#);
        assert_eq!(counted(r#"<c r="B2"><v></v></c>"#), r#"<c r="B2"><v>7</v></c>"#);
        assert_eq!(counted(r#"<c r="B2"></c>"#), r#"<c r="B2"><v>7</v></c>"#);
        assert_eq!(
            counted(r#"<c r="B2"><!-- n --><v>4<?p?></v><extLst><v>1</v></extLst></c>"#),
            r#"<c r="B2"><!-- n --><v>7</v><extLst><v>1</v></extLst></c>"#
        );
    }

    #[test]
    fn a_result_is_emptied_with_its_kind() {
        let emptied = |cell: &str| {
            let text = sheet(cell);
            edited(&text, all(&text).iter().flat_map(|cell| without_result(&text, cell)).collect())
        };
        let with = r#"<c r="B2" t="str" cm="1"><f>A1&amp;""</f><v>4</v></c>"#;
        assert_eq!(emptied(with), sheet(r#"<c r="B2" cm="1"><f>A1&amp;""</f><v></v></c>"#));
        let without = r#"<c r="B2"><f>A1</f><v/></c><c><f>A2</f></c>"#;
        assert_eq!(emptied(without), sheet(without));
    }

    #[test]
    fn cells_are_found_with_and_without_addresses() {
        let text = sheet(
            r#"<c><v>1</v></c><c r="D2"><f t="array" ref="D2:D4">SUM(A<![CDATA[1]]>:A&#50;&lt;&own;)</f></c><c/>"#,
        );
        let found = all(&text);
        let at: Vec<(u32, u32)> = found.iter().map(|cell| cell.at).collect();
        assert_eq!(at, [(1, 0), (1, 3), (1, 4)]);
        let formula = found[1].formula.as_ref().unwrap();
        assert_eq!(formula.text, "SUM(A1:A2<\u{fffd})");
        assert_eq!(formula.fills, Some([(1, 3), (3, 3)]));
    }

    #[test]
    fn cut_off_and_deep_parts_are_refused() {
        let text = sheet("<c r=\"B2\"><v>4</v></c>");
        for end in 1..text.len() {
            let cut = &text[..end];
            // Whether it ends early or is no XML: it never ends well before its end.
            assert!(
                each_cell(cut, |_| Ok(())).is_err() || cut == "<" || !cut.contains("<worksheet"),
                "{cut}"
            );
        }
        let deep = "<a>".repeat(400);
        assert!(matches!(each_cell(&deep, |_| Ok(())), Err(Trouble::Broken(_))));
        assert!(each_cell(&sheet("<c r=\"ZZZZ9\"/>"), |_| Ok(())).is_err());
    }
}
