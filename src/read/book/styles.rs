//! Styles of .ods workbooks that take a sheet or a value out of sight (OASIS OpenDocument 1.3, part 3, sections 16 and
//! 17).

use std::collections::HashMap;

use quick_xml::events::{BytesStart, Event};

use super::ink::{Colour, Ink};
use super::xml::attribute;
use crate::narrow::narrow;

/// Kinds of style that are looked at, as the file names them.
const CELL: &str = "table-cell";
const TABLE: &str = "table";

/// Longer lines of descent are cut off; a file may hold a circle.
const MOST_PARENTS: usize = 20;

/// A style; `None` where it says nothing and its parent counts.
#[derive(Debug, Default)]
struct Style {
    parent: Option<String>,
    struck: Option<bool>,
    colour: Option<Colour>,
    ground: Option<Colour>,
    /// Not displayed.
    hidden: bool,
}

/// Styles of a workbook, by kind and name.
#[derive(Debug, Default)]
pub(super) struct Styles {
    all: HashMap<String, Style>,
    /// Key of the style that the elements belong to.
    latest: Option<String>,
}

impl Styles {
    /// Takes an event of a part with styles; returns the bytes that are kept of it.
    pub(super) fn take(&mut self, event: &Event<'_>) -> u64 {
        match event {
            Event::Start(element) => self.element(element),
            Event::End(element) => {
                if element.name().as_ref() == "style:style" {
                    self.latest = None;
                }
                0
            }
            _ => 0,
        }
    }

    fn element(&mut self, element: &BytesStart<'_>) -> u64 {
        if element.name().as_ref() == "style:style" {
            let (kind, name) = (attribute(element, "family"), attribute(element, "name"));
            let wanted = kind.filter(|kind| [CELL, TABLE].contains(&kind.as_str()));
            let key = wanted.zip(name).map(|(kind, name)| key(&kind, &name));
            let parent = attribute(element, "parent-style-name");
            let length = |text: &Option<String>| text.as_ref().map_or(0, String::len);
            let held = key.as_ref().map_or(0, |key| 200 + 2 * key.len() + length(&parent));
            if let Some(key) = &key {
                self.all.insert(key.clone(), Style { parent, ..Style::default() });
            }
            self.latest = key;
            return narrow(held);
        }
        let Some(style) = self.latest.as_ref().and_then(|key| self.all.get_mut(key)) else {
            return 0;
        };
        let value = |name| attribute(element, name);
        match element.local_name().as_ref() {
            "table-properties" => style.hidden = value("display").is_some_and(|v| v == "false"),
            "text-properties" => {
                style.struck = value("text-line-through-style").map(|line| line != "none");
                let own = value("use-window-font-color").is_some_and(|own| own == "true");
                let colour = value("color").map(|colour| Colour::hex(&colour));
                style.colour = if own { Some(Colour::Automatic) } else { colour };
            }
            "table-cell-properties" => {
                style.ground = value("background-color").map(|colour| match colour.as_str() {
                    "transparent" => Colour::WHITE,
                    colour => Colour::hex(colour),
                });
            }
            _ => {}
        }
        0
    }

    /// Whether a sheet of this style is hidden.
    pub(super) fn hide_sheet(&self, name: &str) -> bool {
        self.all.get(&key(TABLE, name)).is_some_and(|style| style.hidden)
    }

    /// Whether a value in this style is struck through, or has the colour of its ground.
    pub(super) fn hide_value(&self, name: &str) -> bool {
        let first = self.all.get(&key(CELL, name));
        let parent = |style: &&Style| self.all.get(&key(CELL, style.parent.as_ref()?));
        let line: Vec<&Style> = std::iter::successors(first, parent).take(MOST_PARENTS).collect();
        let colour = line.iter().find_map(|style| style.colour).unwrap_or_default();
        let struck = line.iter().find_map(|style| style.struck).unwrap_or(false);
        let ground = line.iter().find_map(|style| style.ground).unwrap_or(Colour::WHITE);
        Ink { struck, colour }.is_out_of_sight(Some(ground))
    }
}

fn key(kind: &str, name: &str) -> String {
    format!("{kind} {name}")
}
