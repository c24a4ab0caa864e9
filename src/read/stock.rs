//! Reads the Stock sheet.

use std::collections::HashMap;

use super::find_sheet;
use super::materials::OfGasket;
use super::questions;
use super::size::{Known, Stated};
use super::table::{Heading, Table, TableRow};
use crate::columns::NEEDED_OF_STOCK;
use crate::decimal::Money;
use crate::job::StockSheet;
use crate::length::{Length, Unit};
use crate::model::Model;
use crate::policy::Policy;
use crate::problem::{Place, Problem, Problems, nearest};
use crate::sheet::{Book, Cell};
use crate::stock::{Code, Item, Offer, folded};

/// Kinds of piece that are stacked and therefore need a thickness.
pub(super) const STACKED: [&str; 2] = ["shim", "gasket"];

/// Known headings besides the needed ones.
const ALSO_KNOWN: [&str; 18] = [
    "Thickness",
    "Tolerance",
    "Uncertainty",
    "k",
    "Degrees of freedom",
    "Gauge",
    "Alike",
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

/// Stock as read; tolerances may still come from a model's materials.
pub(super) struct Draft {
    pub(super) lots: Vec<LotRow>,
    /// Kind and fit of every row, valid or not, with the place of its kind.
    pub(super) codes: Vec<(String, Code, Place)>,
    /// Column of the kinds and column of the fit codes.
    pub(super) kind_column: u32,
    pub(super) fit_column: u32,
    pub(super) names: Names,
    pub(super) unused: Vec<String>,
    pub(super) sheet: StockSheet,
}

pub(super) struct LotRow {
    pub(super) item: Item,
    size: Stated,
    /// Problems of a consumable's thickness, which count only where a model asks for it by section.
    unread: Problems,
    /// Place of its thickness, stated or not.
    thickness: Place,
}

impl Draft {
    /// Materials of the gaskets, as far as they are stated.
    pub(super) fn gaskets(&self) -> impl Iterator<Item = OfGasket<'_>> {
        let gaskets = self.lots.iter().filter(|lot| lot.item.kind == "gasket");
        gaskets.filter_map(|lot| Some((lot.item.material.as_deref()?, &lot.size.material)))
    }
}

/// Items read so far, to find duplicates.
#[derive(Default)]
pub(super) struct Names {
    read: HashMap<String, (String, u32)>,
    /// The first item of each name without its leading zeros.
    bare: HashMap<String, String>,
}

impl Names {
    /// Asks about an item whose name is that of an earlier one but for leading zeros, which programs drop and add.
    pub(super) fn ask_about_zeros(
        &mut self,
        item: &str,
        line: &TableRow<'_, '_>,
        heading: &Heading,
        problems: &mut Problems,
    ) {
        let name = folded(item);
        let bare = name.trim_start_matches('0');
        if !bare.starts_with(|c: char| c.is_ascii_digit()) {
            return;
        }
        let first = self.bare.entry(bare.to_string()).or_insert_with(|| name.clone());
        if *first != name {
            let place = line.place(heading);
            let fix = format!(
                "give one of them another number; if both are meant, write {}",
                questions::confirmed(&place, item)
            );
            let expected =
                format!("`{first}` once, or two numbers that differ by more than a zero");
            let found = format!("the item `{item}` beside the item `{first}`");
            let question = Problem::new(place, found, expected, fix);
            line.asked(heading, &[name], |cell| Some(folded(&cell.show())), question, problems);
        }
    }

    /// Records a name; a repeated one is a problem at this place.
    pub(super) fn once(
        &mut self,
        item: &str,
        sheet: &str,
        row: u32,
        at: &Place,
        problems: &mut Problems,
    ) {
        let here = (sheet.to_string(), row);
        let first = self.read.entry(folded(item));
        let first = first.or_insert_with(|| here.clone());
        if *first != here {
            let (sheet, row) = first;
            problems.add(Problem::new(
                at.clone(),
                format!("the item `{item}` a second time"),
                "each item once",
                format!("add the counts and keep one row, or give the lot a number of its own; the first is in row {} of sheet {sheet}", *row + 1),
            ));
        }
    }
}

/// Reads On hand, which is required, and Reserved, which is at most On hand.
pub(super) fn counts(
    line: &TableRow<'_, '_>,
    on_hand: Option<&Heading>,
    problems: &mut Problems,
) -> (Option<u32>, u32) {
    let count = line.count(on_hand, problems);
    if let Some(heading) = on_hand.filter(|h| line.row.cell(h.column).is_none()) {
        line.missing(heading, problems);
    }
    let heading = line.table.optional("Reserved");
    let reserved = line.count(heading, problems).unwrap_or(0);
    if let (Some(heading), Some(count)) = (heading, count.filter(|&count| reserved > count)) {
        problems.add(Problem::new(
            line.place(heading),
            format!("{reserved} reserved of {count} on hand"),
            "no more reserved than there are",
            "count again, or correct one of the two",
        ));
    }
    (count, reserved)
}

/// Reads the Stock sheet of a workbook.
pub(super) fn read(book: &Book, problems: &mut Problems) -> Option<Draft> {
    let sheet = find_sheet(book, "Stock", &NEEDED_OF_STOCK, problems)?;
    let table = Table::find(sheet, &NEEDED_OF_STOCK, problems)?;
    let known: Vec<String> =
        NEEDED_OF_STOCK.iter().chain(&ALSO_KNOWN).map(ToString::to_string).collect();
    let unused = table.unknown(&known, |_| false, problems);
    let needed = NEEDED_OF_STOCK.map(|name| table.needed(name, problems).cloned());
    let thickness = table.needed("Thickness", problems).cloned();
    let mut lots: Vec<LotRow> = Vec::new();
    let mut codes = Vec::new();
    let mut names = Names::default();
    let mut bins: HashMap<String, (String, Option<Length>)> = HashMap::new();
    for line in table.lines() {
        let quiet = &mut Problems::new();
        let [name, kind, fit, _] = needed.each_ref().map(|h| line.text(h.as_ref(), quiet));
        let at = needed[0].as_ref().map_or(sheet.whole(), |heading| line.place(heading));
        if let (Some(name), Some(heading)) = (name, &needed[0]) {
            names.once(&name, &sheet.name, line.row.number, &at, problems);
            names.ask_about_zeros(&name, &line, heading, problems);
        }
        if let (Some(kind), Some(heading)) = (kind, &needed[1]) {
            let fit = Code::new(&fit.unwrap_or_default());
            codes.push((kind.to_lowercase(), fit, line.place(heading)));
        }
        let Some(lot) = lot(&line, &needed, thickness.as_ref(), problems) else {
            continue;
        };
        if let Some(bin) = &lot.item.bin {
            let kind = format!("{} {}", lot.item.kind, lot.item.fit.key());
            let size = lot.size.thickness;
            let other = bins.insert(bin.to_lowercase(), (kind.clone(), size));
            let mixed = match other {
                Some((other, _)) if other != kind => Some((other, "one kind and fit per bin")),
                Some((_, Some(other))) if size.is_some_and(|size| size != other) => {
                    let other = other.show(Unit::Millimetre);
                    Some((format!("{kind} of {other} mm"), "one thickness per bin"))
                }
                _ => None,
            };
            if let Some((other, expected)) = mixed {
                problems.warn(Problem::new(
                    at,
                    format!("bin {bin} also holds {other}"),
                    expected,
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
    let column = |at: usize| needed[at].as_ref().map(|heading| heading.column);
    let [kind_column, fit_column, on_hand_column] = [column(1)?, column(2)?, column(3)?];
    let sheet = StockSheet {
        sheet: sheet.clone(),
        heading_row: table.heading_row,
        on_hand_column,
        price_column: table.optional("Unit cost").map(|heading| heading.column),
        pack_column: table.optional("Pack qty").map(|heading| heading.column),
        lead_column: table.optional("Lead days").map(|heading| heading.column),
    };
    Some(Draft { lots, codes, kind_column, fit_column, names, unused, sheet })
}

/// Thickest shim that raises no question. Common practice, no source.
pub(super) const THICK: Length = Length::from_ticks(10 * Unit::Millimetre.ticks());

/// Warns of a shim as thick as a plate: mostly one in thou in a column of inches. Common practice, no source.
fn ask_about_thick(
    line: &TableRow<'_, '_>,
    heading: Option<&Heading>,
    thickness: Option<Length>,
    problems: &mut Problems,
) {
    let length = thickness.filter(|length| *length > THICK);
    if let (Some(heading), Some(length)) = (heading, length) {
        problems.warn(Problem::new(
            line.place(heading),
            format!("a shim {} mm thick", length.show(Unit::Millimetre)),
            "a shim of at most 10 mm",
            "check the number and the unit of its column",
        ));
    }
}

/// Asks about a bin that looks like a price, beside an empty price: mostly a row of a text file that has shifted.
fn ask_about_bin(
    line: &TableRow<'_, '_>,
    price: Option<&Heading>,
    bin: Option<&Heading>,
    problems: &mut Problems,
) {
    let (Some(price), Some(bin)) = (price, bin) else { return };
    let Some(text) = line.row.cell(bin.column).map(Cell::show) else { return };
    let is_price = text.split_once(['.', ',']).is_some_and(|(whole, part)| {
        let figures = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
        figures(whole) && figures(part) && part.len() == 2
    });
    if is_price && line.row.cell(price.column).is_none() {
        let place = line.place(bin);
        let fix = format!(
            "put each value under its heading; if it is a bin, write {}",
            questions::confirmed(&place, &text)
        );
        let found = format!("`{text}` in the column `{}`, and no price", bin.text);
        let question = Problem::new(place, found, "a price under its own heading", fix);
        line.asked(bin, std::slice::from_ref(&text), |cell| Some(cell.show()), question, problems);
    }
}

fn lot(
    line: &TableRow<'_, '_>,
    needed: &[Option<Heading>; 4],
    thickness: Option<&Heading>,
    problems: &mut Problems,
) -> Option<LotRow> {
    let [item, kind, fit, on_hand] = needed;
    let table = line.table;
    let optional = |name: &str| table.optional(name);
    // A row without its item is a note or a total; one problem for it is enough.
    let name = line.needed_text(item.as_ref(), problems)?;
    let kind = line.needed_text(kind.as_ref(), problems).map(|kind| kind.to_lowercase());
    let stacked = kind.as_ref().is_some_and(|kind| STACKED.contains(&kind.as_str()));
    let fit = if stacked {
        line.needed_text(fit.as_ref(), problems)
    } else {
        // A consumable may fit everything.
        Some(line.text(fit.as_ref(), problems).unwrap_or_default())
    };
    let (on_hand_count, reserved) = counts(line, on_hand.as_ref(), problems);
    let size = Stated::read(line, thickness.filter(|_| stacked), problems);
    let mut unread = Problems::new();
    let section =
        thickness.filter(|_| !stacked).and_then(|heading| line.thickness(heading, &mut unread));
    let peel_step =
        optional("Peel step").and_then(|h| peel_step(line, h, kind.as_deref(), &size, problems));
    if kind.as_deref() == Some("shim") {
        ask_about_thick(line, thickness, size.thickness, problems);
    }
    let unit_cost = line.money(optional("Unit cost"), problems);
    ask_about_bin(line, optional("Unit cost"), optional("Bin"), problems);
    let min_level = line.count(optional("Min level"), problems).unwrap_or(0);
    let pack_qty = carton_qty(line, optional("Pack qty"), problems);
    let terms = Offer {
        unit_cost,
        carton_qty: pack_qty,
        max_level: line.count(optional("Max level"), problems),
        lead_days: lead_days(line, optional("Lead days"), problems),
        supplier: optional("Supplier").and_then(|heading| line.name(heading, problems)),
    };
    ask_about_levels(line, optional("Max level"), min_level, &terms, problems);
    Some(LotRow {
        item: Item {
            item: name,
            kind: kind?,
            fit: Code::new(&fit?),
            size: None,
            section,
            on_hand: on_hand_count?,
            reserved,
            unit_cost: unit_cost.unwrap_or(Money::ZERO),
            min_level,
            bin: optional("Bin").and_then(|heading| line.name(heading, problems)),
            material: line.text(optional("Material"), problems),
            carton_qty: pack_qty.unwrap_or(1),
            in_bags: 0,
            offer: terms,
            peel_step,
            cut: None,
            row: line.row.number,
        },
        size,
        unread,
        thickness: thickness.map_or(table.sheet.whole(), |heading| line.place(heading)),
    })
}

/// Layer of a laminated shim. An impossible value is a problem; a remainder below the last whole layer is reported.
fn peel_step(
    line: &TableRow<'_, '_>,
    heading: &Heading,
    kind: Option<&str>,
    size: &Stated,
    problems: &mut Problems,
) -> Option<Length> {
    line.row.cell(heading.column)?;
    let step = line.thickness(heading, problems)?;
    let kind = kind?;
    if !STACKED.contains(&kind) {
        problems.add(Problem::new(
            line.place(heading),
            format!("a peel step on a {kind}"),
            format!("a peel step only on a {}", STACKED.join(" or a ")),
            "clear the cell, or correct the kind",
        ));
        return None;
    }
    let thickness = size.thickness?;
    if step >= thickness {
        problems.add(Problem::new(
            line.place(heading),
            "a peel step as large as the thickness itself",
            "the thickness of one layer, smaller than that of the piece",
            "check the unit of both columns; clear the cell if the piece is solid",
        ));
        return None;
    }
    if thickness.ticks() % step.ticks() != 0 {
        problems.warn(Problem::new(
            line.place(heading),
            "a thickness that is not a whole number of peel steps",
            "a piece that is layers throughout",
            "nothing, if it has a solid core: the layers above it are peeled, the core is not; else correct one of the two",
        ));
    }
    Some(step)
}

/// Pieces in a sealed pack.
fn carton_qty(
    line: &TableRow<'_, '_>,
    heading: Option<&Heading>,
    problems: &mut Problems,
) -> Option<u32> {
    let count = line.count(heading, problems);
    if let (Some(heading), Some(0)) = (heading, count) {
        problems.add(Problem::new(
            line.place(heading),
            "a pack of 0 pieces",
            "a whole number, 1 or more",
            "count the pieces in a pack, or leave the cell empty where they come singly",
        ));
    }
    count.map(|count| count.max(1))
}

/// Longest lead time of a shim: ten years.
const MOST_LEAD_DAYS: u32 = 3_650;

/// Days from the order to the drawer.
fn lead_days(
    line: &TableRow<'_, '_>,
    heading: Option<&Heading>,
    problems: &mut Problems,
) -> Option<u32> {
    let days = line.count(heading, problems)?;
    if let Some(heading) = heading.filter(|_| days > MOST_LEAD_DAYS) {
        problems.add(Problem::new(
            line.place(heading),
            format!("{days} days of lead time"),
            format!("at most {MOST_LEAD_DAYS} days"),
            "type the days from the order to the drawer",
        ));
    }
    Some(days)
}

/// Warns of a max level below the min level.
fn ask_about_levels(
    line: &TableRow<'_, '_>,
    heading: Option<&Heading>,
    min_level: u32,
    terms: &Offer,
    problems: &mut Problems,
) {
    let below = terms.max_level.filter(|&max| max < min_level);
    if let (Some(heading), Some(max)) = (heading, below) {
        problems.warn(Problem::new(
            line.place(heading),
            format!("a max level of {max} below the min level of {min_level}"),
            "a max level that is at least the min level",
            "correct one of the two; until then an order fills up to the min level",
        ));
    }
}

/// Warns where the policy's rule on opened packs does not apply to any row.
pub(super) fn check_cartons(draft: &Draft, policy: &Policy, problems: &mut Problems) {
    let packed = |lot: &LotRow| lot.size.thickness.is_some() && lot.item.carton_qty > 1;
    if policy.opened_cartons_spoiled && !draft.lots.iter().any(packed) {
        problems.warn(Problem::new(
            draft.sheet.sheet.whole(),
            "no shim or gasket with a Pack qty above 1, while the policy says that opened packs are spoiled",
            "the pieces in a sealed pack for the items that come in packs",
            "fill in the Pack qty column; until then the setting changes nothing",
        ));
    }
}

/// Reports kinds that no model asks for: the pieces of a misspelt kind would never be used.
pub(super) fn check_kinds(draft: &Draft, models: &[Model], problems: &mut Problems) {
    let mut known: Vec<String> = STACKED.map(String::from).to_vec();
    known.extend(models.iter().flat_map(|m| &m.consumables).map(|c| c.kind.clone()));
    for (kind, _, place) in &draft.codes {
        if known.contains(kind) {
            continue;
        }
        if let Some(near) = nearest(kind, known.iter().map(String::as_str)) {
            problems.add(Problem::new(
                place.clone(),
                format!("the kind `{kind}`, which no model asks for"),
                format!("`{near}`, or a kind less like it"),
                format!("write `{near}`, if that is what it is"),
            ));
        }
    }
}

/// A kind that a model asks for by section needs the thickness of its rows. An unreadable thickness is a problem; an
/// empty one is a warning, since such a row may still serve by its fit code.
pub(super) fn check_sections(draft: &Draft, models: &[Model], problems: &mut Problems) {
    let needs = models.iter().flat_map(|model| &model.consumables);
    let by_section: Vec<&String> =
        needs.filter(|need| need.section.is_some()).map(|need| &need.kind).collect();
    for lot in &draft.lots {
        if !by_section.contains(&&lot.item.kind) {
            continue;
        }
        problems.absorb(lot.unread.clone());
        if lot.item.section.is_none() && lot.unread.none() {
            problems.warn(Problem::new(
                lot.thickness.clone(),
                format!("a {} without its thickness", lot.item.kind),
                "its section, by which a model asks for it",
                "fill it in; until then it goes into no bag by its section",
            ));
        }
    }
}

/// Items with their tolerances: the row's own, or the one that a model gives for the material. Without one, an item
/// that is not `asked` for has no size.
pub(super) fn settle_tolerances(
    draft: &Draft,
    known: Known<'_>,
    asked: &dyn Fn(&str, &Code) -> bool,
    problems: &mut Problems,
) -> Vec<Item> {
    let mut items = Vec::with_capacity(draft.lots.len());
    for lot in &draft.lots {
        let material = lot.item.material.as_deref();
        let (item, kind) = (lot.item.item.as_str(), lot.item.kind.as_str());
        let size = match !asked(kind, &lot.item.fit)
            && lot.size.is_left_out(item, material, known.0, problems)
        {
            true => None,
            false => lot.size.settle(item, material, known, problems),
        };
        items.push(Item { size, ..lot.item.clone() });
    }
    items
}
