//! Lots that go back to the stock when plates are cut: pieces that no kit takes, and remnants that are booked back.
//!
//! # Decisions
//!
//! - A lot is named after its plate, and after the fit code or the sides: the next plate of the same lot that is cut
//!   adds to it.
//! - Its row states all that the plate's row states of a piece, tolerance and cost included, each with its unit: the
//!   next reading asks for nothing but the bin.

use std::collections::BTreeMap;

use super::key;
use crate::cutting::{PlateLot, remnant_cost};
use crate::decimal::{Money, show_money};
use crate::job::Job;
use crate::length::{Length, Tolerance, Unit};
use crate::plan::Plan;
use crate::show::{natural_unit, short_length};
use crate::stock::{Code, Cut, Item, Size};

/// Sheet of the stock workbook that a lot has its row on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StockPage {
    /// Pieces.
    Stock,
    /// Plates.
    Plate,
}

/// Lot that goes back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReturnedLot {
    /// Stock number.
    pub item: String,
    /// Stock number of the plates that it is cut from.
    pub plate: String,
    /// Sheet of its row.
    pub page: StockPage,
    /// Whole pieces, or whole plates.
    pub count: u32,
    /// Headings of its row with their contents, On hand left out.
    pub columns: Vec<(String, String)>,
}

impl ReturnedLot {
    /// Content of its row under a heading.
    pub fn column(&self, heading: &str) -> Option<&str> {
        let mut columns = self.columns.iter();
        columns.find(|(name, _)| name == heading).map(|(_, text)| text.as_str())
    }
}

/// Lots that go back by a plan, pieces first, in the order of the stock.
pub fn of(job: &Job, plan: &Plan) -> Vec<ReturnedLot> {
    lots(job, plan, &plan.put_back(job))
}

/// Lots that the plates of a plan give when they are cut, pieces for its kits included.
pub fn cut(job: &Job, plan: &Plan) -> Vec<ReturnedLot> {
    lots(job, plan, &plan.yields(job))
}

/// Lots of pieces, so many of each item that is cut, and of remnants.
fn lots(job: &Job, plan: &Plan, pieces: &[u32]) -> Vec<ReturnedLot> {
    let mut names = BTreeMap::new();
    let lots = pieces_of_plates(job, &mut names).into_iter();
    let lots = lots.map(|(index, lot)| ReturnedLot { count: pieces[index], ..lot });
    let lots: Vec<ReturnedLot> = lots.filter(|lot| lot.count > 0).collect();
    lots.into_iter().chain(remnant_lots(job, plan, &mut names)).collect()
}

/// Whether a stock number is that of a lot of pieces of this fit, cut from these plates.
pub fn is_named_after(name: &str, plate: &str, fit: &str) -> bool {
    let own = key(&format!("{plate}/{fit}"));
    let name = key(name);
    let rest = name.strip_prefix(&own);
    rest.is_some_and(|rest| {
        let number = rest.strip_prefix('/');
        rest.is_empty() || number.is_some_and(|number| number.parse::<usize>().is_ok())
    })
}

/// Lot of the pieces of each item that could be cut, by its index in the job's stock; none of them are there yet.
pub fn of_pieces(job: &Job) -> Vec<(usize, ReturnedLot)> {
    pieces_of_plates(job, &mut BTreeMap::new())
}

fn pieces_of_plates(job: &Job, names: &mut BTreeMap<String, usize>) -> Vec<(usize, ReturnedLot)> {
    let cut =
        job.stock.iter().enumerate().filter_map(|(index, item)| Some((index, item, item.cut?)));
    let lot = |(index, item, cut): (usize, &Item, Cut)| {
        let plate = &job.plates[cut.plate];
        let own = format!("{}/{}", plate.item, item.fit.as_str());
        let alike = |other: &Item| {
            let size = other.size.is_some_and(|size| is_same(size, plate.size));
            let same = (&other.kind, &other.fit, &other.material);
            other.cut.is_none()
                && other.peel_step.is_none()
                && size
                && same == (&plate.kind, &item.fit, &plate.material)
        };
        let name = free(job, &own, names, |name| {
            job.stock.iter().any(|o| key(&o.item) == key(name) && alike(o))
        });
        let columns = piece(job, &name, plate, &item.fit, plate.piece_cost(cut));
        let (plate, page) = (plate.item.clone(), StockPage::Stock);
        (index, ReturnedLot { item: name, plate, page, count: 0, columns })
    };
    cut.map(lot).collect()
}

/// Whether two sizes are one, wherever their tolerances are stated.
fn is_same(one: Size, other: Size) -> bool {
    Size { source: other.source, ..one } == other
}

fn remnant_lots(job: &Job, plan: &Plan, names: &mut BTreeMap<String, usize>) -> Vec<ReturnedLot> {
    let lot = |(index, sides, cost, count): (usize, [Length; 2], Money, u32)| {
        let plate = &job.plates[index];
        let [a, b] = sides.map(|side| short_length(side, natural_unit(side)));
        let own = format!("{}/{a} x {b}", plate.item);
        let alike = |other: &PlateLot| {
            let same = (&other.kind, &other.material, other.sides);
            is_same(other.size, plate.size) && same == (&plate.kind, &plate.material, sides)
        };
        let item = free(job, &own, names, |name| {
            job.plates.iter().any(|o| key(&o.item) == key(name) && alike(o))
        });
        let columns = remnant(job, &item, plate, sides, cost);
        let (plate, page) = (plate.item.clone(), StockPage::Plate);
        ReturnedLot { item, plate, page, count, columns }
    };
    remnants(job, plan).into_iter().map(lot).collect()
}

/// Remnants that are booked back: lot of plates, sides, cost of each, and their number.
fn remnants(job: &Job, plan: &Plan) -> Vec<(usize, [Length; 2], Money, u32)> {
    if job.policy.remnants == crate::cutting::Remnants::Charged {
        return Vec::new();
    }
    let outside = |item: usize| job.stock[item].cut.map_or(Length::ZERO, |cut| cut.outside);
    let mut all: BTreeMap<(usize, [Length; 2]), u32> = BTreeMap::new();
    for layout in &plan.layouts {
        for (sides, count) in layout.remnants(&job.plates[layout.plate], outside) {
            *all.entry((layout.plate, sides)).or_default() += count;
        }
    }
    let cost = |lot: usize, sides| remnant_cost(&job.plates[lot], (sides, 1));
    all.into_iter().map(|((lot, sides), n)| (lot, sides, cost(lot, sides), n)).collect()
}

/// Stock number that is free, or that of a lot of the stock that is alike.
fn free(
    job: &Job,
    own: &str,
    names: &mut BTreeMap<String, usize>,
    alike: impl Fn(&str) -> bool,
) -> String {
    let mut number = 1;
    loop {
        let name = if number == 1 { own.to_string() } else { format!("{own}/{number}") };
        let of_stock = job.stock.iter().map(|item| &item.item);
        let mut taken = of_stock.chain(job.plates.iter().map(|lot| &lot.item));
        let taken = names.contains_key(&key(&name)) || taken.any(|other| key(other) == key(&name));
        if !taken || alike(&name) {
            names.insert(key(&name), number);
            return name;
        }
        number += 1;
    }
}

fn piece(
    job: &Job,
    item: &str,
    plate: &PlateLot,
    fit: &Code,
    cost: Money,
) -> Vec<(String, String)> {
    let mut columns = named(item, plate);
    columns.push(("Fit".into(), fit.as_str().to_string()));
    columns.extend(of_size(job, plate.size));
    columns.push(("Unit cost".into(), show_money(cost)));
    columns
}

fn remnant(
    job: &Job,
    item: &str,
    plate: &PlateLot,
    sides: [Length; 2],
    cost: Money,
) -> Vec<(String, String)> {
    let mut columns = named(item, plate);
    columns.extend(of_size(job, plate.size));
    let sides = ["Length", "Width"].into_iter().zip(sides);
    columns.extend(sides.map(|(heading, side)| (heading.to_string(), exact(side))));
    columns.push(("Unit cost".into(), show_money(cost)));
    columns
}

fn named(item: &str, plate: &PlateLot) -> Vec<(String, String)> {
    let material = plate.material.iter().map(|name| ("Material", name.as_str()));
    let columns = [("Item", item), ("Kind", plate.kind.as_str())].into_iter().chain(material);
    columns.map(|(heading, text)| (heading.to_string(), text.to_string())).collect()
}

/// Thickness and tolerance, and what is known of the mean of the lot.
fn of_size(job: &Job, size: Size) -> Vec<(String, String)> {
    let Tolerance { minus, plus } = size.tolerance;
    let tolerance = match minus == plus {
        true => exact(plus),
        false => format!("+{} / -{}", exact(plus), exact(minus)),
    };
    let mut columns = vec![("Thickness", exact(size.thickness)), ("Tolerance", tolerance)];
    if let Some(mean) = size.uncertainty {
        // Stated as a length; rounded up to the next one.
        let raw = mean.standard.raw();
        let ticks = raw.div_euclid(100_000) + i64::from(raw % 100_000 > 0);
        columns.push(("Uncertainty", exact(Length::from_ticks(ticks))));
        columns.extend(mean.freedom.map(|freedom| ("Degrees of freedom", freedom.to_string())));
    }
    columns.extend(size.alike.map(|share| ("Alike", share.to_string())));
    columns.extend(size.gauge.map(|of| ("Gauge", job.gauges[of.gauge].name.clone())));
    columns.into_iter().map(|(heading, text)| (heading.to_string(), text)).collect()
}

/// Length with its unit and all its digits.
fn exact(length: Length) -> String {
    let unit = natural_unit(length);
    let short = format!("{} {}", length.show(unit), unit.symbol());
    if Length::parse(&short, None) == Ok(length) {
        return short;
    }
    let ticks = length.ticks();
    let whole = Unit::Millimetre.ticks();
    format!("{}.{:07} mm", ticks / whole, ticks % whole)
}
