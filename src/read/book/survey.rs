//! Surveys an Office Open XML workbook part by part before it is read: the memory that its reader would need, and
//! facts that the reader does not give (hidden rows and columns, merged cells, number formats).

use std::collections::{BTreeMap, HashMap, HashSet};
use std::io::{BufReader, Read};
use std::sync::Arc;

use quick_xml::events::{BytesStart, Event};

use super::archive::{Archive, Trouble, broken, check_sheets, resolved, survey};
use super::format::Format;
use super::gather::{MOST_COLUMNS, MOST_ROWS, Spans, hide};
use super::ink::Inks;
use super::memory::Memory;
use super::xml::{Events, attribute, says_yes};
use crate::narrow::narrow;
use crate::problem::Problem;
use crate::sheet::Merged;

/// Contents of the parts.
#[derive(Debug, Default)]
pub(super) struct Survey {
    /// By part, in lower case.
    of_sheets: HashMap<String, OfSheet>,
    /// Formats, by the number of the cell style.
    pub(super) formats: Vec<Arc<Format>>,
    /// Whether the text of a cell style is struck through, or cannot be seen.
    struck: Vec<bool>,
    /// Whether formulas are to be worked out anew before their results count.
    pub(super) recalculation_pending: bool,
    /// Sheets by name, with the part that lists them and the relation that leads to their cells.
    sheets: HashMap<String, (String, String)>,
    /// Targets of the relations of each part, by their identifiers.
    relations: HashMap<String, HashMap<String, String>>,
    /// Targets that the reader opens whatever their names are.
    opened: Vec<String>,
}

/// Facts about a sheet that the reader does not give.
#[derive(Debug, Default)]
pub(super) struct OfSheet {
    pub(super) spans: Spans,
    /// Cell styles, for cells that may show more than their value.
    pub(super) styles: HashMap<(u32, u32), usize>,
    /// Formulas that are to be worked out again.
    pub(super) pending: HashSet<(u32, u32)>,
}

impl OfSheet {
    fn held(&self) -> u64 {
        self.spans.held() + 48 * narrow::<u64>(self.styles.len() + self.pending.len())
    }
}

/// Bytes that the reader holds for each of these elements, besides their texts.
fn held_for(element: &str) -> u64 {
    match element {
        "si" => 48,
        "numFmt" | "sheet" | "definedName" | "Relationship" => 400,
        "font" | "fill" | "border" => 400,
        "xf" => 700,
        _ => 0,
    }
}

impl Survey {
    /// Goes through every part.
    pub(super) fn take(
        file: &str,
        archive: &mut Archive<'_>,
        memory: &Memory,
    ) -> Result<Survey, Problem> {
        let mut taken = Survey::default();
        // Pictures, macros and printer settings have other names, and are not read.
        let wanted = |key: &str| key.ends_with(".xml") || key.ends_with(".rels");
        // Styles must be known where they are used.
        let styles = |key: &str| key.ends_with("styles.xml");
        let others = |key: &str| wanted(key) && !styles(key);
        for first in [&styles as &dyn Fn(&str) -> bool, &others] {
            survey(file, archive, memory, first, |key, stream, room| {
                taken.part(key, stream, room, memory)
            })?;
        }
        let odd = taken.opened.iter().find(|target| !wanted(&target.to_ascii_lowercase()));
        if let Some(odd) = odd {
            return Err(broken(file, Some(odd), "it is not named as XML is"));
        }
        let parts: Vec<String> =
            taken.sheets.keys().filter_map(|name| taken.part_of(name)).collect();
        check_sheets(file, memory, &parts)?;
        Ok(taken)
    }

    /// Surveys one part; returns the bytes that its reader holds of it, at most `room`.
    fn part(
        &mut self,
        key: &str,
        stream: &mut dyn Read,
        room: u64,
        memory: &Memory,
    ) -> Result<u64, Trouble> {
        let mut events = Events::new(BufReader::new(stream), memory.longest_value());
        let (mut texts, mut held, mut longest, mut styles) = (0_u64, 0_u64, 0_u64, 0_u64);
        let mut of_sheet = OfSheet::default();
        let mut formats: HashMap<u32, Arc<Format>> = HashMap::new();
        let (mut row, mut next, mut of_cells) = (0_u32, 0_u32, false);
        let (mut inks, mut here) = (Inks::default(), (0, 0));
        let mut all = 0;
        loop {
            let (event, took) = events.next()?;
            texts += took;
            longest = longest.max(took);
            match event {
                Event::Start(element) => {
                    let name = element.local_name();
                    let name = name.as_ref();
                    held += held_for(name);
                    inks.element(&element);
                    match name {
                        "row" => {
                            hide_row(&mut of_sheet.spans, &element, &mut row);
                            next = 0;
                        }
                        // The reader takes any letters and digits, and some of these end up in other cells.
                        "c" => {
                            let at = attribute(&element, "r");
                            let cell = match &at {
                                Some(text) => address(text).ok_or_else(|| {
                                    Trouble::Broken(format!("`{text}` is no address of a cell"))
                                })?,
                                // A cell without an address follows the last one.
                                None => (row.saturating_sub(1), next),
                            };
                            next = cell.1.saturating_add(1);
                            here = cell;
                            let style = attribute(&element, "s").and_then(|s| s.parse().ok());
                            let style: usize = style.unwrap_or(0);
                            let format = self.formats.get(style);
                            if format.is_some_and(|format| !format.is_plain()) {
                                of_sheet.styles.insert(cell, style);
                            }
                            if self.struck.get(style) == Some(&true) {
                                hide(&mut of_sheet.spans.struck, cell.0, cell.0);
                            }
                        }
                        "f" if says_yes(&element, "ca") => {
                            of_sheet.pending.insert(here);
                        }
                        "col" => hide_column(&mut of_sheet.spans, &element),
                        "mergeCell" => of_sheet.spans.merged.extend(merged(&element)),
                        "numFmt" => {
                            let number =
                                attribute(&element, "numFmtId").and_then(|n| n.parse().ok());
                            let code = attribute(&element, "formatCode");
                            if let (Some(number), Some(code)) = (number, code) {
                                held += Format::HELD * narrow::<u64>(code.len());
                                formats.insert(number, Arc::new(Format::parse(&code)));
                            }
                        }
                        "cellXfs" => of_cells = true,
                        "cellStyleXfs" => of_cells = false,
                        "xf" => {
                            styles += 1;
                            if of_cells {
                                let number =
                                    |name| attribute(&element, name).and_then(|n| n.parse().ok());
                                let [font, fill] =
                                    ["fontId", "fillId"].map(|name| number(name).unwrap_or(0));
                                self.struck.push(inks.hide(font, fill));
                                let number = attribute(&element, "numFmtId");
                                let number = number.and_then(|n| n.parse().ok()).unwrap_or(0);
                                let known = formats.get(&number).cloned();
                                let built_in = || Arc::new(Format::built_in(number));
                                self.formats.push(known.unwrap_or_else(built_in));
                            }
                        }
                        // The reader allocates as many as this attribute promises.
                        "sst" => {
                            let promised = attribute(&element, "uniqueCount");
                            let promised = promised.and_then(|n| n.parse::<u64>().ok());
                            held += promised.unwrap_or(0).saturating_mul(24);
                        }
                        "sheet" => {
                            if let Some((name, id)) = sheet(&element)
                                && self.sheets.insert(name, (key.to_string(), id)).is_some()
                            {
                                return Err(Trouble::Broken("two sheets of one name".into()));
                            }
                        }
                        "calcPr" => {
                            let never = attribute(&element, "calcCompleted")
                                .is_some_and(|done| done == "0" || done == "false");
                            self.recalculation_pending |=
                                never || says_yes(&element, "fullCalcOnLoad");
                        }
                        "Relationship" => self.relation(key, &element),
                        _ => {}
                    }
                }
                Event::Eof => break,
                _ => {}
            }
            // A part without anything to hold is read and forgotten, cell by cell. The texts of a style, such as the
            // font's name, are held again for each cell style.
            let texts = if held > 0 { 2 * texts } else { 0 };
            all = held + texts + longest.saturating_mul(styles) + of_sheet.held();
            if all > room {
                return Err(Trouble::Full);
            }
        }
        if of_sheet.held() > 0 {
            self.of_sheets.insert(key.to_string(), of_sheet);
        }
        Ok(all)
    }

    fn relation(&mut self, key: &str, element: &BytesStart<'_>) {
        let (Some(id), Some(target)) = (attribute(element, "Id"), attribute(element, "Target"))
        else {
            return;
        };
        let kind = attribute(element, "Type").unwrap_or_default();
        if ["/officeDocument", "/worksheet"].iter().any(|k| kind.ends_with(k)) {
            self.opened.push(target.clone());
        }
        let of_part = self.relations.entry(key.to_string()).or_default();
        of_part.insert(id, target);
    }

    /// The part with the cells of a sheet.
    fn part_of(&self, sheet: &str) -> Option<String> {
        let (part, id) = self.sheets.get(sheet)?;
        let (folder, name) = part.rsplit_once('/').unwrap_or(("", part));
        let relations = resolved(folder, &format!("_rels/{name}.rels"));
        let target = self.relations.get(&relations)?.get(id)?;
        Some(resolved(folder, target))
    }

    /// Sheets by name, each with the part of its cells in lower case.
    pub(super) fn sheet_parts(&self) -> BTreeMap<String, String> {
        let names = self.sheets.keys();
        names.filter_map(|name| Some((name.clone(), self.part_of(name)?))).collect()
    }

    /// The part that lists the sheets, in lower case.
    pub(super) fn workbook_part(&self) -> String {
        self.sheets.values().next().map_or_else(String::new, |(part, _)| part.clone())
    }

    /// Facts about a sheet that the reader does not give; they are moved out.
    pub(super) fn of_sheet(&mut self, sheet: &str) -> OfSheet {
        let part = self.part_of(sheet);
        part.and_then(|part| self.of_sheets.remove(&part)).unwrap_or_default()
    }
}

/// A sheet's name and the relation that leads to its cells.
fn sheet(element: &BytesStart<'_>) -> Option<(String, String)> {
    let id = element
        .attributes()
        .filter_map(Result::ok)
        .find(|a| a.key.prefix().is_some() && a.key.local_name().as_ref() == "id")?;
    Some((attribute(element, "name")?, id.value.to_string()))
}

/// Row and column, from 0, of an address from A1 to XFD1048576.
pub(in crate::read) fn address(text: &str) -> Option<(u32, u32)> {
    let split = text.find(|c: char| c.is_ascii_digit()).unwrap_or(0);
    let (letters, row) = text.split_at(split);
    let column = letters.bytes().try_fold(0_u32, |column, letter| {
        let digit = u32::from(letter.to_ascii_uppercase().checked_sub(b'A')?) + 1;
        Some(column.checked_mul(26)? + digit).filter(|_| digit <= 26)
    });
    let column = column.filter(|column| (1..=MOST_COLUMNS).contains(column))?;
    let row: u32 = row.parse().ok().filter(|row| (1..=MOST_ROWS).contains(row))?;
    Some((row - 1, column - 1))
}

fn merged(element: &BytesStart<'_>) -> Option<Merged> {
    let range = attribute(element, "ref")?;
    let (first, last) = range.split_once(':')?;
    let ((top, left), (bottom, right)) = (address(first)?, address(last)?);
    Some(Merged::of([top, left], [bottom, right]))
}

fn hide_row(spans: &mut Spans, element: &BytesStart<'_>, row: &mut u32) {
    // Row numbers count from 1; a missing one follows the last.
    *row = attribute(element, "r").and_then(|r| r.parse().ok()).unwrap_or(row.saturating_add(1));
    let flat = attribute(element, "ht").is_some_and(|height| height == "0");
    if flat || says_yes(element, "hidden") {
        let number = row.saturating_sub(1);
        hide(&mut spans.rows, number, number);
    }
}

fn hide_column(spans: &mut Spans, element: &BytesStart<'_>) {
    let flat = attribute(element, "width").is_some_and(|width| width == "0");
    let number = |name| attribute(element, name)?.parse::<u32>().ok()?.checked_sub(1);
    if let (true, Some(first), Some(last)) =
        (flat || says_yes(element, "hidden"), number("min"), number("max"))
    {
        hide(&mut spans.columns, first, last);
    }
}
