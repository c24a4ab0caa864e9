//! Reads the sheets Plate and Fit: material that pieces are cut from, and their shapes.

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use super::materials::OfGasket;
use super::named_sheet;
use super::size::{Known, Stated};
use super::stock::{Names, STACKED, counts};
use super::table::{Heading, Table, TableRow};
use crate::columns::{NEEDED_OF_FIT, NEEDED_OF_PLATE};
use crate::cutting::{MOST_ALONG, PlateLot};
use crate::decimal::Money;
use crate::job::StockSheet;
use crate::length::{Length, Tolerance};
use crate::model::Model;
use crate::problem::{Place, Problem, Problems, fix_name};
use crate::pump::Pump;
use crate::sheet::{Book, Sheet};
use crate::stock::Cut;
use crate::stock::{Code, Item, Offer, Size};

/// Known headings of Sheets besides the needed ones.
const ALSO_KNOWN: [&str; 15] = [
    "Tolerance",
    "Uncertainty",
    "k",
    "Degrees of freedom",
    "Gauge",
    "Alike",
    "Reserved",
    "Unit cost",
    "Min level",
    "Max level",
    "Lead days",
    "Supplier",
    "Bin",
    "Material",
    "Description",
];

/// Both sheets as read, tolerances not settled yet.
#[derive(Default)]
pub(super) struct Draft {
    lots: Vec<PlateRow>,
    shapes: Vec<Shape>,
    /// Kinds of all lots and fit codes of all shapes, valid or not.
    kinds: Vec<String>,
    fits: Vec<(Code, Place)>,
    pub(super) unused: Vec<String>,
    pub(super) sheets: StockSheet,
    pub(super) fit: Arc<Sheet>,
}

struct PlateRow {
    item: String,
    kind: String,
    size: Stated,
    material: Option<String>,
    sides: [Length; 2],
    on_hand: u32,
    reserved: u32,
    sheet_cost: Money,
    bin: Option<String>,
    row: u32,
    /// Place of its stock number.
    place: Place,
}

struct Shape {
    fit: Code,
    outside: Length,
    inside: Length,
    /// Place of its outside diameter.
    place: Place,
}

/// Reads both sheets of the stock workbook, as far as they exist; `stock` is the name of the stock sheet.
pub(super) fn read(book: &Book, stock: &str, names: &mut Names, problems: &mut Problems) -> Draft {
    let mut draft = Draft::default();
    let other = |name: &str| named_sheet(book, name).filter(|sheet| sheet.name != stock);
    let (mut sheet_rows, mut fit_rows) = (false, false);
    if let Some(sheet) = other("Plate") {
        draft.sheets.sheet = sheet.clone();
        // An empty tab is not worth a problem.
        if !sheet.rows.is_empty()
            && let Some(table) = Table::find(sheet, &NEEDED_OF_PLATE, problems)
        {
            sheet_rows = !table.rows.is_empty();
            read_plates(&table, &mut draft, names, problems);
        }
    }
    if let Some(sheet) = other("Fit") {
        draft.fit = sheet.clone();
        if !sheet.rows.is_empty()
            && let Some(table) = Table::find(sheet, &NEEDED_OF_FIT, problems)
        {
            fit_rows = !table.rows.is_empty();
            Arc::make_mut(&mut draft.fit).rows.retain(|row| row.number >= table.heading_row);
            read_fit(&table, &mut draft, problems);
        }
    }
    if sheet_rows && !fit_rows {
        problems.warn(Problem::new(
            draft.sheets.sheet.whole(),
            "plates to cut from, but no shapes to cut",
            format!("a sheet Fit with the headings {}", NEEDED_OF_FIT.join(", ")),
            "add it, with a row per fit code; until then nothing can be cut",
        ));
    }
    if fit_rows && !sheet_rows {
        problems.warn(Problem::new(
            draft.fit.whole(),
            "shapes to cut, but no plates to cut them from",
            format!("a sheet Plate with the headings {}", NEEDED_OF_PLATE.join(", ")),
            "add it, with a row per lot of plates; until then nothing can be cut",
        ));
    }
    check_yields(&draft, problems);
    draft
}

fn read_plates(table: &Table<'_>, draft: &mut Draft, names: &mut Names, problems: &mut Problems) {
    let known: Vec<String> =
        NEEDED_OF_PLATE.iter().chain(&ALSO_KNOWN).map(ToString::to_string).collect();
    draft.unused.extend(table.unknown(&known, |_| false, problems));
    let [item, kind, thickness, length, width, on_hand] =
        NEEDED_OF_PLATE.map(|name| table.needed(name, problems));
    draft.sheets.heading_row = table.heading_row;
    draft.sheets.on_hand_column = on_hand.map_or(0, |heading| heading.column);
    for line in table.lines() {
        let (Some(heading), Some(name)) = (item, line.needed_text(item, problems)) else {
            continue;
        };
        let place = line.place(heading);
        names.once(&name, &table.sheet.name, line.row.number, &place, problems);
        let kind = kind.and_then(|heading| {
            let kind = line.needed_text(Some(heading), problems)?.to_lowercase();
            if !STACKED.contains(&kind.as_str()) {
                problems.add(Problem::new(
                    line.place(heading),
                    format!("the kind `{kind}`"),
                    format!("a kind that is cut from plate: {}", STACKED.join(" or ")),
                    fix_name(
                        &kind,
                        STACKED,
                        "only these are cut from plate; move any other row to Stock",
                    ),
                ));
                return None;
            }
            if !draft.kinds.contains(&kind) {
                draft.kinds.push(kind.clone());
            }
            Some(kind)
        });
        let size = Stated::read(&line, thickness, problems);
        let sides = [length, width].map(|heading| line.needed_thickness(heading?, problems));
        let (count, reserved) = counts(&line, on_hand, problems);
        let sheet_cost = line.money(table.optional("Unit cost"), problems);
        for name in ["Min level", "Max level", "Lead days"] {
            line.count(table.optional(name), problems);
        }
        let material = line.text(table.optional("Material"), problems);
        let bin = table.optional("Bin");
        let bin = bin.and_then(|heading| line.name(heading, problems));
        let (Some(kind), [Some(length), Some(width)], Some(on_hand)) = (kind, sides, count) else {
            continue;
        };
        draft.lots.push(PlateRow {
            item: name,
            kind,
            size,
            material,
            sides: [length, width],
            on_hand,
            reserved,
            sheet_cost: sheet_cost.unwrap_or(Money::ZERO),
            bin,
            row: line.row.number,
            place,
        });
    }
}

fn read_fit(table: &Table<'_>, draft: &mut Draft, problems: &mut Problems) {
    let known = NEEDED_OF_FIT.map(String::from);
    let also = |key: &str| key == "description";
    draft.unused.extend(table.unknown(&known, also, problems));
    let [fit, outside, inside] = NEEDED_OF_FIT.map(|name| table.needed(name, problems));
    let mut first_of: HashMap<String, u32> = HashMap::new();
    for line in table.lines() {
        let (Some(heading), Some(code)) = (fit, line.needed_text(fit, problems)) else {
            continue;
        };
        let code = Code::new(&code);
        draft.fits.push((code.clone(), line.place(heading)));
        let row = line.row.number;
        let first = *first_of.entry(code.key().to_string()).or_insert(row);
        if first != row {
            problems.add(Problem::new(
                line.place(heading),
                format!("the fit code `{}` a second time", code.as_str()),
                "each fit code once",
                format!("keep one row; the first is in row {}", first + 1),
            ));
        }
        let outer = outside.and_then(|heading| line.needed_thickness(heading, problems));
        let inner = inside.and_then(|heading| inside_diameter(&line, heading, outer, problems));
        if let (Some(heading), Some(outside), Some(inside)) = (outside, outer, inner) {
            draft.shapes.push(Shape { fit: code, outside, inside, place: line.place(heading) });
        }
    }
}

/// The hole of a ring: 0 for a full disc, and smaller than the ring.
fn inside_diameter(
    line: &TableRow<'_, '_>,
    heading: &Heading,
    outside: Option<Length>,
    problems: &mut Problems,
) -> Option<Length> {
    let Some(cell) = line.row.cell(heading.column) else {
        line.missing(heading, problems);
        return None;
    };
    let inside = line.length(heading, problems)?;
    if inside < Length::ZERO {
        problems.add(Problem::new(
            line.place(heading),
            format!("`{}`", cell.show()),
            "a length of 0 or above",
            "measure again and type the length; 0 is a full disc",
        ));
        return None;
    }
    if outside.is_some_and(|outside| inside >= outside) {
        problems.add(Problem::new(
            line.place(heading),
            "an inside diameter as large as the outside one",
            "an inside diameter smaller than the outside one",
            "check whether the two are swapped, and the unit of both columns",
        ));
        return None;
    }
    Some(inside)
}

/// Reports shapes that no sheet yields, or of which a sheet yields unreasonably many.
fn check_yields(draft: &Draft, problems: &mut Problems) {
    // The longest side of all, and the longest of the shorter sides.
    let longest = draft.lots.iter().flat_map(|lot| lot.sides).max();
    let widest = draft.lots.iter().filter_map(|lot| lot.sides.into_iter().min());
    let widest = widest.max();
    for shape in &draft.shapes {
        let most = longest.map(|side| side.ticks() / shape.outside.ticks());
        if most.is_some_and(|most| most > MOST_ALONG) {
            problems.add(Problem::new(
                shape.place.clone(),
                format!(
                    "an outside diameter of which more than {MOST_ALONG} lie along a side of a plate"
                ),
                "a piece that is cut by hand",
                "check the unit here and of Length and Width on the sheet Plate",
            ));
        }
        if widest.is_some_and(|widest| widest < shape.outside) {
            problems.warn(Problem::new(
                shape.place.clone(),
                "an outside diameter that is larger than every plate",
                "a plate that the piece can be cut from",
                "check the unit of both; as it is, none is cut",
            ));
        }
    }
}

impl Draft {
    /// Materials of the gaskets, as far as they are stated.
    pub(super) fn gaskets(&self) -> impl Iterator<Item = OfGasket<'_>> {
        let gaskets = self.lots.iter().filter(|lot| lot.kind == "gasket");
        gaskets.filter_map(|lot| Some((lot.material.as_deref()?, &lot.size.material)))
    }

    /// Kind and fit of everything that could be cut, with the place of its fit code. Rows with other problems count
    /// too, so that they do not raise further ones.
    pub(super) fn codes(&self) -> impl Iterator<Item = (String, Code, Place)> + '_ {
        self.kinds.iter().flat_map(|kind| {
            let code = |(fit, place): &(Code, Place)| (kind.clone(), fit.clone(), place.clone());
            self.fits.iter().map(code)
        })
    }

    /// Lots of sheets, with the tolerance that a model gives where the row has none. Without one, a lot of which no
    /// piece is `asked` for has a tolerance of 0: nothing is cut from it.
    pub(super) fn settle(
        &self,
        known: Known<'_>,
        asked: &dyn Fn(&str, &Code) -> bool,
        problems: &mut Problems,
    ) -> Vec<PlateLot> {
        let settle = |lot: &PlateRow| {
            let material = lot.material.as_deref();
            let wanted = self.fits.iter().any(|(fit, _)| asked(&lot.kind, fit));
            let left_out = !wanted && lot.size.is_left_out(&lot.item, material, known.0, problems);
            let size = match left_out {
                true => Size::new(lot.size.thickness?, Tolerance::default()),
                false => lot.size.settle(&lot.item, material, known, problems)?,
            };
            Some(PlateLot {
                item: lot.item.clone(),
                kind: lot.kind.clone(),
                material: lot.material.clone(),
                size,
                sides: lot.sides,
                on_hand: lot.on_hand,
                reserved: lot.reserved,
                plate_cost: lot.sheet_cost,
                bin: lot.bin.clone(),
                row: lot.row,
            })
        };
        self.lots.iter().filter_map(settle).collect()
    }

    /// One item for each lot of sheets and shape that some pump asks for: the pieces that could be cut. Call it only
    /// without problems, when `sheets` holds every lot.
    pub(super) fn cut_items(
        &self,
        sheets: &[PlateLot],
        models: &[Model],
        pumps: &[Pump],
        names: &mut Names,
        problems: &mut Problems,
    ) -> Vec<Item> {
        /// Each is an item to choose from; more than these could not be handled.
        const MOST: usize = 100_000;
        let places = pumps.iter().flat_map(|pump| {
            let packs = &models[pump.model].packs;
            packs.iter().zip(&pump.fits)
        });
        let asked: HashSet<(&str, &str)> =
            places.map(|(pack, fit)| (pack.kind.as_str(), fit.key())).collect();
        let wanted = |kind: &str, fit: &Code| asked.contains(&(kind, fit.key()));
        let mut items = Vec::new();
        for (index, (lot, draft)) in sheets.iter().zip(&self.lots).enumerate() {
            for shape in self.shapes.iter().filter(|s| wanted(&lot.kind, &s.fit)) {
                if items.len() == MOST {
                    problems.add(Problem::new(
                        self.sheets.sheet.whole(),
                        format!("more than {MOST} kinds of piece that could be cut"),
                        "the plates and the shapes of this outage",
                        "leave out the plates or the fit codes that are not used",
                    ));
                    return items;
                }
                let name = format!("{} > {}", lot.item, shape.fit.as_str());
                names.once(&name, &self.sheets.sheet.name, lot.row, &draft.place, problems);
                let cut = Cut { plate: index, outside: shape.outside, inside: shape.inside };
                items.push(cut_item(lot, name, shape.fit.clone(), cut));
            }
        }
        items
    }
}

/// Pieces of one shape that a lot of sheets yields if nothing else is cut from it.
fn cut_item(lot: &PlateLot, item: String, fit: Code, cut: Cut) -> Item {
    Item {
        item,
        kind: lot.kind.clone(),
        fit,
        size: Some(lot.size),
        on_hand: lot.available().saturating_mul(lot.yields(cut.outside)),
        in_bags: 0,
        reserved: 0,
        unit_cost: lot.piece_cost(cut),
        min_level: 0,
        bin: lot.bin.clone(),
        material: lot.material.clone(),
        carton_qty: 1,
        offer: Offer::default(),
        peel_step: None,
        section: None,
        cut: Some(cut),
        row: lot.row,
    }
}
