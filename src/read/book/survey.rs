//! What an Office Open XML workbook would ask of its reader, found out part by part before it is
//! read; and what the reader does not tell: which rows and columns are hidden.

use std::collections::HashMap;
use std::io::{BufReader, Read};

use quick_xml::events::{BytesStart, Event};

use super::archive::{Archive, Trouble, broken, check_sheets, resolved, survey};
use super::gather::{MOST_COLUMNS, MOST_ROWS, hide};
use super::memory::Memory;
use super::xml::{Events, attribute, says_yes};
use crate::problem::Problem;
use crate::sheet::Span;

/// Hidden rows and columns of a sheet.
#[derive(Debug, Default)]
pub(super) struct Hidden {
    pub(super) rows: Vec<Span>,
    pub(super) columns: Vec<Span>,
}

impl Hidden {
    /// The bytes that they take.
    pub(super) fn held(&self) -> u64 {
        let spans = self.rows.len() + self.columns.len();
        16 * u64::try_from(spans).unwrap_or(u64::MAX / 16)
    }
}

/// What the parts hold together.
#[derive(Debug, Default)]
pub(super) struct Survey {
    /// By part, in small letters.
    hidden: HashMap<String, Hidden>,
    /// Sheets by name, with the part that lists them and the relation that leads to their cells.
    sheets: HashMap<String, (String, String)>,
    /// Where the relations of each part lead, by their identifiers.
    relations: HashMap<String, HashMap<String, String>>,
    /// The targets that the reader opens whatever their names are.
    opened: Vec<String>,
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
        survey(file, archive, memory, wanted, |key, stream, room| {
            taken.part(key, stream, room, memory)
        })?;
        let odd = taken
            .opened
            .iter()
            .find(|target| !wanted(&target.to_ascii_lowercase()));
        if let Some(odd) = odd {
            return Err(broken(file, Some(odd), "it is not named as XML is"));
        }
        let parts: Vec<String> = taken
            .sheets
            .keys()
            .filter_map(|name| taken.part_of(name))
            .collect();
        check_sheets(file, memory, &parts)?;
        Ok(taken)
    }

    /// One part; what its reader holds of it, at most `room`.
    fn part(
        &mut self,
        key: &str,
        stream: &mut dyn Read,
        room: u64,
        memory: &Memory,
    ) -> Result<u64, Trouble> {
        let mut events = Events::new(BufReader::new(stream), memory.longest_value());
        let (mut texts, mut held, mut longest, mut styles) = (0_u64, 0_u64, 0_u64, 0_u64);
        let mut hidden = Hidden::default();
        let mut row = 0;
        loop {
            let (event, took) = events.next()?;
            texts += took;
            longest = longest.max(took);
            match event {
                Event::Start(element) => {
                    let name = element.local_name();
                    let name = name.as_ref();
                    held += held_for(name);
                    match name {
                        "row" => hidden.row(&element, &mut row),
                        // The reader takes any letters and figures, and some come out elsewhere.
                        "c" => {
                            if let Some(at) = attribute(&element, "r").filter(|at| !is_address(at))
                            {
                                return Err(format!("`{at}` is no address of a cell").into());
                            }
                        }
                        "col" => hidden.column(&element),
                        "xf" => styles += 1,
                        // The reader makes room for what is promised here.
                        "sst" => {
                            let promised = attribute(&element, "uniqueCount");
                            let promised = promised.and_then(|n| n.parse::<u64>().ok());
                            held += promised.unwrap_or(0).saturating_mul(24);
                        }
                        "sheet" => {
                            if let Some((name, id)) = sheet(&element)
                                && self.sheets.insert(name, (key.to_string(), id)).is_some()
                            {
                                return Err("two sheets of one name".to_string().into());
                            }
                        }
                        "Relationship" => self.relation(key, &element),
                        _ => {}
                    }
                }
                Event::Eof => break,
                _ => {}
            }
            // A part without anything to hold is read and forgotten, cell by cell. The texts of a
            // style, such as the font's name, are held again for each cell style.
            let texts = if held > 0 { 2 * texts } else { 0 };
            let all = held + texts + longest.saturating_mul(styles) + hidden.held();
            if all > room {
                return Err(Trouble::Full);
            }
        }
        let all = if held > 0 { held + 2 * texts } else { 0 };
        let all = all + longest.saturating_mul(styles) + hidden.held();
        if hidden.held() > 0 {
            self.hidden.insert(key.to_string(), hidden);
        }
        Ok(all)
    }

    fn relation(&mut self, key: &str, element: &BytesStart<'_>) {
        let (Some(id), Some(target)) = (attribute(element, "Id"), attribute(element, "Target"))
        else {
            return;
        };
        let kind = attribute(element, "Type").unwrap_or_default();
        if ["/officeDocument", "/worksheet"]
            .iter()
            .any(|k| kind.ends_with(k))
        {
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

    /// What is hidden on a sheet.
    pub(super) fn hidden(&mut self, sheet: &str) -> Hidden {
        let part = self.part_of(sheet);
        part.and_then(|part| self.hidden.remove(&part))
            .unwrap_or_default()
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

/// Whether a text is the address of a cell: A1 to XFD1048576.
fn is_address(text: &str) -> bool {
    let split = text.find(|c: char| c.is_ascii_digit()).unwrap_or(0);
    let (letters, row) = text.split_at(split);
    let column = letters.bytes().try_fold(0_u32, |column, letter| {
        let digit = u32::from(letter.to_ascii_uppercase().checked_sub(b'A')?) + 1;
        Some(column.checked_mul(26)? + digit).filter(|_| digit <= 26)
    });
    column.is_some_and(|column| (1..=MOST_COLUMNS).contains(&column))
        && row
            .parse()
            .is_ok_and(|row: u32| (1..=MOST_ROWS).contains(&row))
}

impl Hidden {
    fn row(&mut self, element: &BytesStart<'_>, row: &mut u32) {
        // Row numbers count from 1, and one that is not given follows the last.
        *row = attribute(element, "r")
            .and_then(|r| r.parse().ok())
            .unwrap_or(row.saturating_add(1));
        let flat = attribute(element, "ht").is_some_and(|height| height == "0");
        if flat || says_yes(element, "hidden") {
            let number = row.saturating_sub(1);
            hide(&mut self.rows, number, number);
        }
    }

    fn column(&mut self, element: &BytesStart<'_>) {
        let flat = attribute(element, "width").is_some_and(|width| width == "0");
        let number = |name| {
            attribute(element, name)?
                .parse::<u32>()
                .ok()?
                .checked_sub(1)
        };
        if let (true, Some(first), Some(last)) = (
            flat || says_yes(element, "hidden"),
            number("min"),
            number("max"),
        ) {
            hide(&mut self.columns, first, last);
        }
    }
}
