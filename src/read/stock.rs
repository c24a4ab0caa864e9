//! Reads the Stock sheet.

use std::collections::HashMap;

use super::find_sheet;
use super::table::{Line, NEEDED_OF_STOCK, Table};
use crate::decimal::Money;
use crate::job::StockSheet;
use crate::length::{Length, Tolerance};
use crate::model::Model;
use crate::problem::{Place, Problem, Problems, nearest};
use crate::sheet::Book;
use crate::stock::{Code, Item, Size};

/// The kinds of piece that are stacked and therefore need a thickness.
const STACKED: [&str; 2] = ["shim", "gasket"];

/// Headings that are known beside the needed ones.
const ALSO_KNOWN: [&str; 14] = [
    "Thickness",
    "Tolerance",
    "Uncertainty",
    "Reserved",
    "Unit cost",
    "Pack qty",
    "Min level",
    "Max level",
    "Lead days",
    "Supplier",
    "Bin",
    "Material",
    "Peel step",
    "Description",
];

/// The stock as read, tolerances not settled yet: they may come from a model's materials.
pub(super) struct Draft {
    lots: Vec<Lot>,
    /// Kind and fit of every row, whole or not, with the place of its kind.
    pub(super) codes: Vec<(String, Code, Place)>,
    pub(super) unused: Vec<String>,
    pub(super) sheet: StockSheet,
}

struct Lot {
    item: Item,
    thickness: Option<Length>,
    tolerance: Option<Tolerance>,
    /// Whether a tolerance stands in the row, good or bad.
    tolerance_stated: bool,
    uncertainty: Option<Length>,
    /// Where a missing tolerance would have stood.
    place: Place,
}

/// Reads the Stock sheet of a workbook.
pub(super) fn read(book: &Book, problems: &mut Problems) -> Option<Draft> {
    let sheet = find_sheet(book, "Stock", &NEEDED_OF_STOCK, problems)?;
    let table = Table::find(sheet, &NEEDED_OF_STOCK, problems)?;
    let known: Vec<String> = NEEDED_OF_STOCK
        .iter()
        .chain(&ALSO_KNOWN)
        .map(ToString::to_string)
        .collect();
    let unused = table.unknown(&known, |_| false, problems);
    let needed = NEEDED_OF_STOCK.map(|name| table.needed(name, problems).cloned());
    let thickness = table.needed("Thickness", problems).cloned();
    let mut lots: Vec<Lot> = Vec::new();
    let mut codes = Vec::new();
    let mut first_of: HashMap<String, u32> = HashMap::new();
    let mut bins: HashMap<String, String> = HashMap::new();
    for line in table.lines() {
        let quiet = &mut Problems::new();
        let [_, kind, fit, _] = needed.each_ref().map(|h| line.text(h.as_ref(), quiet));
        if let (Some(kind), Some(heading)) = (kind, &needed[1]) {
            let fit = Code::new(&fit.unwrap_or_default());
            codes.push((kind.to_lowercase(), fit, line.place(heading)));
        }
        let Some(lot) = lot(&line, &needed, thickness.as_ref(), problems) else {
            continue;
        };
        let [item, ..] = &needed;
        let at = item
            .as_ref()
            .map_or(sheet.whole(), |heading| line.place(heading));
        if let Some(first) = first_of.insert(lot.item.item.to_lowercase(), line.row.number) {
            problems.add(Problem::new(
                at.clone(),
                format!("the item `{}` a second time", lot.item.item),
                "each item once",
                format!("add the counts and keep one row, or give the lot a number of its own; the first stands in row {}", first + 1),
            ));
        }
        if let Some(bin) = &lot.item.bin {
            let kind = format!("{} {}", lot.item.kind, lot.item.fit.key());
            if let Some(other) = bins
                .insert(bin.to_lowercase(), kind.clone())
                .filter(|o| *o != kind)
            {
                problems.warn(Problem::new(
                    at,
                    format!("bin {bin} also holds {other}"),
                    "one kind and fit a bin",
                    "check that the pieces cannot be mixed up when they are picked",
                ));
            }
        }
        lots.push(lot);
    }
    if lots.is_empty() && problems.none() {
        problems.add(Problem::new(
            sheet.whole(),
            "no items",
            "at least one row below the headings",
            "fill in the stock; `gapwright blank` writes an example row",
        ));
    }
    let on_hand_column = needed[3].as_ref()?.column;
    let sheet = StockSheet {
        sheet: sheet.clone(),
        heading_row: table.heading_row,
        on_hand_column,
    };
    Some(Draft {
        lots,
        codes,
        unused,
        sheet,
    })
}

fn lot(
    line: &Line<'_, '_>,
    needed: &[Option<super::table::Heading>; 4],
    thickness: Option<&super::table::Heading>,
    problems: &mut Problems,
) -> Option<Lot> {
    let [item, kind, fit, on_hand] = needed;
    let table = line.table;
    let optional = |name: &str| table.optional(name);
    // A row without its item is a note or a total; one problem for it is enough.
    let name = line.needed_text(item.as_ref(), problems)?;
    let kind = line
        .needed_text(kind.as_ref(), problems)
        .map(|kind| kind.to_lowercase());
    let stacked = kind
        .as_ref()
        .is_some_and(|kind| STACKED.contains(&kind.as_str()));
    let fit = if stacked {
        line.needed_text(fit.as_ref(), problems)
    } else {
        // A consumable may fit everything.
        Some(line.text(fit.as_ref(), problems).unwrap_or_default())
    };
    let on_hand_count = line.count(on_hand.as_ref(), problems);
    if let Some(heading) = on_hand
        .as_ref()
        .filter(|h| line.row.cell(h.column).is_none())
    {
        line.missing(heading, problems);
    }
    let reserved = line.count(optional("Reserved"), problems).unwrap_or(0);
    if let (Some(heading), Some(count)) = (
        optional("Reserved"),
        on_hand_count.filter(|&count| reserved > count),
    ) {
        problems.add(Problem::new(
            line.place(heading),
            format!("{reserved} reserved of {count} on hand"),
            "no more reserved than there are",
            "count again, or correct one of the two",
        ));
    }
    let size = thickness.filter(|_| stacked).and_then(|heading| {
        if line.row.cell(heading.column).is_none() {
            line.missing(heading, problems);
        }
        line.thickness(heading, problems)
    });
    let tolerance = optional("Tolerance").and_then(|h| line.tolerance(h, problems));
    let tolerance_stated = optional("Tolerance").is_some_and(|h| line.row.cell(h.column).is_some());
    if let (Some(heading), Some(tolerance)) = (optional("Tolerance"), tolerance)
        && tolerance == Tolerance::default()
    {
        problems.warn(Problem::new(
            line.place(heading),
            "a tolerance of 0",
            "how far a piece may lie from its thickness",
            "no piece is exact: measure some and state it",
        ));
    }
    if let (Some(heading), Some(size), Some(tolerance)) = (optional("Tolerance"), size, tolerance)
        && tolerance.minus >= size
    {
        problems.add(Problem::new(
            line.place(heading),
            "a tolerance as large as the thickness itself",
            "a tolerance smaller than the thickness",
            "check the unit of both columns",
        ));
    }
    if let Some(heading) = optional("Peel step").filter(|h| line.row.cell(h.column).is_some()) {
        problems.warn(Problem::new(
            line.place(heading),
            "a laminated shim",
            "a solid piece",
            "it is offered at its full thickness only; layers are not peeled by this version",
        ));
    }
    let place = match optional("Tolerance").or(thickness) {
        Some(heading) => line.place(heading),
        None => table.sheet.whole(),
    };
    let uncertainty = optional("Uncertainty")
        .and_then(|h| line.tolerance(h, problems))
        .map(|u| u.plus);
    let unit_cost = line
        .money(optional("Unit cost"), problems)
        .unwrap_or(Money::ZERO);
    let min_level = line.count(optional("Min level"), problems).unwrap_or(0);
    for name in ["Pack qty", "Max level", "Lead days"] {
        // Not used in this step, but a wrong number should not lie in wait for a later one.
        line.count(optional(name), problems);
    }
    Some(Lot {
        item: Item {
            item: name,
            kind: kind?,
            fit: Code::new(&fit?),
            size: None,
            on_hand: on_hand_count?,
            reserved,
            unit_cost,
            min_level,
            bin: line.text(optional("Bin"), problems),
            material: line.text(optional("Material"), problems),
            pack_qty: 1,
            peel_step: None,
            cut: None,
            row: line.row.number,
        },
        thickness: size,
        tolerance,
        tolerance_stated,
        uncertainty,
        place,
    })
}

/// Asks about kinds that no model asks for: a misspelt one would put its pieces out of reach.
pub(super) fn check_kinds(draft: &Draft, models: &[Model], problems: &mut Problems) {
    let mut known: Vec<String> = STACKED.map(String::from).to_vec();
    known.extend(
        models
            .iter()
            .flat_map(|m| &m.consumables)
            .map(|c| c.kind.to_lowercase()),
    );
    for (kind, _, place) in &draft.codes {
        if known.contains(kind) {
            continue;
        }
        if let Some(near) = nearest(kind, known.iter().map(String::as_str)) {
            problems.add(Problem::new(
                place.clone(),
                format!("the kind `{kind}`, which no model asks for"),
                format!("`{near}`, or a kind that is not so like it"),
                format!("say `{near}`, if that is what it is"),
            ));
        }
    }
}

/// Items with their tolerances: the row's own, or the one that a model gives for the material.
pub(super) fn settle_tolerances(
    draft: &Draft,
    models: &[Model],
    problems: &mut Problems,
) -> Vec<Item> {
    let of_material = |material: &Option<String>| {
        let name = material.as_ref()?.to_lowercase();
        let given = models
            .iter()
            .flat_map(|m| &m.materials)
            .filter(|m| m.name.to_lowercase() == name);
        // Where models differ, the wider one is the safe one.
        given.map(|m| m.tolerance).reduce(|a, b| Tolerance {
            minus: a.minus.max(b.minus),
            plus: a.plus.max(b.plus),
        })
    };
    let mut items = Vec::with_capacity(draft.lots.len());
    for lot in &draft.lots {
        let tolerance = lot.tolerance.or_else(|| of_material(&lot.item.material));
        let size = match (lot.thickness, tolerance) {
            (Some(thickness), Some(tolerance)) => Some(Size {
                thickness,
                tolerance,
                uncertainty: lot.uncertainty,
            }),
            (Some(_), None) if lot.tolerance_stated => None,
            (Some(_), None) => {
                problems.add(Problem::new(
                    lot.place.clone(),
                    format!("no tolerance for item `{}`", lot.item.item),
                    "plus/minus on one piece",
                    "fill in the Tolerance column, or give the material a plus_minus in the model file",
                ));
                None
            }
            (None, _) => None,
        };
        items.push(Item {
            size,
            ..lot.item.clone()
        });
    }
    items
}
