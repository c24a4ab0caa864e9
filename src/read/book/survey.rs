//! What an Office Open XML workbook would ask of its reader, found out part by part before it is
//! read; and what the reader does not tell: which rows and columns are hidden.

use std::collections::HashMap;
use std::io::BufReader;

use quick_xml::events::{BytesStart, Event};

use super::archive::{Archive, AtMost, broken, cut_short};
use super::gather::hide;
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

/// What the parts hold together.
#[derive(Debug, Default)]
pub(super) struct Survey {
    /// By part, in small letters.
    hidden: HashMap<String, Hidden>,
    /// The parts that list sheets, with name and relation of each.
    sheets: Vec<(String, Vec<(String, String)>)>,
    /// The relations by part and identifier: where a sheet's cells are.
    relations: HashMap<(String, String), String>,
}

/// Bytes that the reader holds for each of these elements, besides their texts.
fn held_for(element: &str) -> u64 {
    match element {
        "si" => 48,
        "numFmt" | "sheet" | "definedName" | "Relationship" => 250,
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
        let mut survey = Survey::default();
        let mut unpacked_left = memory.most_unpacked();
        let mut held = 0;
        for index in 0..archive.len() {
            let part = archive.by_index(index).map_err(|_| cut_short(file))?;
            let name = part.name().map_err(|_| cut_short(file))?.into_owned();
            let key = name.replace('\\', "/").to_ascii_lowercase();
            if !(key.ends_with(".xml") || key.ends_with(".rels")) {
                // Pictures, macros, printer settings: nothing that is read.
                continue;
            }
            let mut stream = AtMost::new(part, unpacked_left);
            let found = survey.part(&key, &mut stream, memory);
            unpacked_left = stream.left();
            match found {
                Ok(more) => held += more,
                Err(_) if unpacked_left == 0 => {
                    return Err(memory.too_large(file, "a workbook that unpacks without end"));
                }
                Err(why) => return Err(broken(file, Some(&name), &why)),
            }
            if held > memory.most_held() {
                let found = format!("too many texts, styles or names (part {name})");
                return Err(memory.too_large(file, &found));
            }
        }
        Ok(survey)
    }

    /// One part; what its reader holds of it.
    fn part(
        &mut self,
        key: &str,
        stream: &mut AtMost<impl std::io::Read>,
        memory: &Memory,
    ) -> Result<u64, String> {
        let mut events = Events::new(BufReader::new(stream), memory.longest_value());
        let (mut depth, mut texts, mut held, mut longest, mut styles) = (0_u32, 0, 0, 0, 0);
        let mut hidden = Hidden::default();
        let mut sheets = Vec::new();
        let mut row = 0;
        loop {
            let (event, took) = events.next()?;
            texts += took;
            longest = longest.max(took);
            match event {
                Event::Start(element) => {
                    depth += 1;
                    let name = element.local_name();
                    let name = name.as_ref();
                    held += held_for(name);
                    match name {
                        "row" => hidden.row(&element, &mut row),
                        // The reader takes any letters and figures, and some come out elsewhere.
                        "c" => {
                            if let Some(at) = attribute(&element, "r").filter(|at| !is_address(at))
                            {
                                return Err(format!("`{at}` is no address of a cell"));
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
                        "sheet" => sheets.extend(sheet(&element)),
                        "Relationship" => self.relation(key, &element),
                        _ => {}
                    }
                }
                Event::End(_) => depth = depth.saturating_sub(1),
                Event::Eof if depth > 0 => return Err("it ends too early".into()),
                Event::Eof => break,
                _ => {}
            }
        }
        if !sheets.is_empty() {
            self.sheets.push((key.to_string(), sheets));
        }
        if !(hidden.rows.is_empty() && hidden.columns.is_empty()) {
            self.hidden.insert(key.to_string(), hidden);
        }
        // A part without anything to hold is read and forgotten, cell by cell. The texts of a
        // style, such as the font's name, are held again for each cell style.
        let texts = if held > 0 { 2 * texts } else { 0 };
        Ok(held + texts + longest.saturating_mul(styles))
    }

    fn relation(&mut self, key: &str, element: &BytesStart<'_>) {
        if let (Some(id), Some(target)) = (attribute(element, "Id"), attribute(element, "Target")) {
            self.relations.insert((key.to_string(), id), target);
        }
    }

    /// What is hidden on a sheet.
    pub(super) fn hidden(&mut self, sheet: &str) -> Hidden {
        let mut parts = self.sheets.iter().filter_map(|(part, sheets)| {
            let (_, id) = sheets.iter().find(|(name, _)| name == sheet)?;
            let (folder, name) = part.rsplit_once('/').unwrap_or(("", part));
            let relations = format!("{folder}/_rels/{name}.rels");
            let relations = relations.trim_start_matches('/').to_string();
            let target = self.relations.get(&(relations, id.clone()))?;
            Some(match target.strip_prefix('/') {
                Some(whole) => whole.to_ascii_lowercase(),
                None => format!("{folder}/{target}").to_ascii_lowercase(),
            })
        });
        let part = parts.next();
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
    column.is_some_and(|column| (1..=16_384).contains(&column))
        && row
            .parse()
            .is_ok_and(|row: u32| (1..=1_048_576).contains(&row))
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
