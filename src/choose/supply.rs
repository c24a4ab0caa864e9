//! Suppliers: blocks that put pieces in.
//!
//! There are two kinds. Packs of an item are opened, where the policy counts the rest of an opened pack as
//! spoiled; and sheets are cut up, where one lot serves several shapes.
//!
//! # Decisions
//!
//! - Packs and sheets are suppliers in the same problem: columns with uses below zero need no other method.
//! - Of an item in packs the pieces beyond whole packs count as loose; the stock sheet does not say more.

use crate::accounting::{by_pack, pack_waste, packs_opened};
use crate::choose::control::{Control, Pace, UNITS};
use crate::choose::instance::{Column, Uses};
use crate::cutting::{Layout, layouts_until};
use crate::job::Job;
use crate::length::Length;
use crate::plan::Stop;
use crate::purchase::CartonOffer;

/// Supplier.
pub struct Supplier {
    /// Columns; their uses are negative.
    pub columns: Vec<Column>,
    /// Layout of each column, for a sheet that is cut.
    pub layouts: Vec<Layout>,
    /// Item whose packs it opens.
    pub by_pack: Option<usize>,
    /// Purchase cost of each column; empty if nothing is bought.
    pub asked: Vec<i64>,
}

impl Supplier {
    /// Purchase cost of each column, in millionths of the currency.
    pub fn prices(&self) -> Vec<i64> {
        match self.asked.is_empty() {
            true => vec![0; self.columns.len()],
            false => self.asked.clone(),
        }
    }
}

/// Most pieces of one item that a supplier puts in.
const MOST_SUPPLIED: u32 = 30_000;

/// Suppliers of a job, and the pieces that are free without them.
pub struct Supply {
    /// Suppliers.
    pub suppliers: Vec<Supplier>,
    /// Free pieces, by item.
    pub ready: Vec<i64>,
    /// Reason that some ways to supply are not listed.
    pub cut: Option<Stop>,
}

/// Suppliers of a job, and the pieces that are free without them.
///
/// `wanted` is the most pieces of each item that all pumps together could use.
pub fn suppliers(job: &Job, available: &[u32], wanted: &[u64], control: &Control<'_>) -> Supply {
    let mut pace = Pace::at_least(control, UNITS);
    let mut cut = None;
    let mut ready: Vec<i64> = available.iter().map(|&count| i64::from(count)).collect();
    let mut suppliers = Vec::new();
    for (item, &count) in available.iter().enumerate() {
        if by_pack(job, item) && wanted[item] > 0 {
            let most = count.min(u32::try_from(wanted[item]).unwrap_or(u32::MAX));
            suppliers.extend(by_the_pack(job, item, most));
            ready[item] = 0;
        }
    }
    for (sheet, lot) in job.plates.iter().enumerate() {
        let shapes: Vec<(usize, Length)> = (0..job.stock.len())
            .filter(|&item| wanted[item] > 0)
            .filter_map(|item| Some((item, job.stock[item].cut?)))
            .filter(|(_, cut)| cut.plate == sheet && lot.yields(cut.outside) > 0)
            .map(|(item, cut)| (item, cut.outside))
            .collect();
        // A single shape is cut sheet after sheet; the count available already covers that.
        if shapes.len() < 2 {
            continue;
        }
        let layouts = layouts_until(lot, sheet, &shapes, &mut |units| {
            cut = cut.or(pace.stop(units));
            cut.is_some()
        });
        let most = |item: usize| u64::from(available[item]).min(wanted[item]);
        let sheets: u64 = shapes
            .iter()
            .map(|&(item, outside)| most(item).div_ceil(u64::from(lot.yields(outside))))
            .sum();
        for &(item, _) in &shapes {
            ready[item] = 0;
        }
        for _ in 0..u64::from(lot.available()).min(sheets) {
            suppliers.push(cut_up(job, &shapes, &layouts));
        }
    }
    Supply { suppliers, ready, cut }
}

/// Supplier of an item counted by the pack: one column per number of pieces paid for, at the cost of
/// [`pack_waste`].
fn by_the_pack(job: &Job, item: usize, most: u32) -> Option<Supplier> {
    let index = u16::try_from(item).ok()?;
    let lot = &job.stock[item];
    let (size, loose) = (lot.carton_qty.max(1), lot.loose());
    let packs = packs_opened(lot, most);
    let singly = 0..=loose.min(most);
    let opened = (1..=packs).map(|packs| loose + packs * size);
    let steps = singly.chain(opened).filter(|&step| step <= MOST_SUPPLIED);
    let columns = steps
        .map(|step| {
            let supplied = i16::try_from(step).unwrap_or(i16::MAX);
            Column {
                waste: pack_waste(job, item, step).raw(),
                uses: std::iter::once((index, -supplied)).collect(),
            }
        })
        .collect();
    Some(Supplier { columns, layouts: Vec::new(), by_pack: Some(item), asked: Vec::new() })
}

/// Supplier of an item that can be bought: one column per number of packs beyond those on hand, up to `most`
/// pieces in all. Where opened packs are spoiled, its columns are those of [`suppliers`], continued beyond
/// the pieces on hand.
pub fn bought(
    job: &Job,
    offer: &CartonOffer,
    on_hand: u32,
    most: u32,
    ready: &mut [i64],
) -> Option<Supplier> {
    let most = most.min(MOST_SUPPLIED);
    let packs = |pieces: u32| pieces.saturating_sub(on_hand).div_ceil(offer.pack);
    let price = |packs: u32| offer.price.raw().saturating_mul(i64::from(packs));
    if by_pack(job, offer.item) {
        ready[offer.item] = 0;
        let mut ladder = by_the_pack(job, offer.item, most)?;
        let supplied = ladder.columns.iter().map(|column| {
            let pieces = column.uses.iter().map(|(_, count)| count.unsigned_abs());
            pieces.map(u32::from).sum::<u32>()
        });
        ladder.asked = supplied.map(|pieces| price(packs(pieces))).collect();
        return Some(ladder);
    }
    let index = u16::try_from(offer.item).ok()?;
    let ladder = (0..=packs(most)).filter_map(|packs| {
        // More pieces than can be used are not counted; they would only weaken the bound.
        let pieces = packs.saturating_mul(offer.pack);
        let pieces = pieces.min(most.saturating_sub(on_hand));
        let pieces = i16::try_from(pieces).ok()?;
        let column = Column { waste: 0, uses: std::iter::once((index, -pieces)).collect() };
        Some((column, price(packs)))
    });
    let (columns, asked) = ladder.unzip();
    Some(Supplier { columns, layouts: Vec::new(), by_pack: None, asked })
}

/// Supplier for one sheet: one column per layout, and one without a cut.
fn cut_up(job: &Job, cut: &[(usize, Length)], layouts: &[Layout]) -> Supplier {
    let outside = |item: usize| {
        let shape = cut.iter().find(|(other, _)| *other == item);
        shape.map_or(Length::ZERO, |(_, outside)| *outside)
    };
    let uses = |layout: Option<&Layout>| -> Uses {
        let yields = layout
            .map(|layout| layout.yields(&job.plates[layout.plate], outside))
            .unwrap_or_default();
        cut.iter()
            .filter_map(|&(item, _)| {
                let blanks = yields.get(&item).copied().unwrap_or(0).min(MOST_SUPPLIED);
                Some((u16::try_from(item).ok()?, -i16::try_from(blanks).ok()?))
            })
            .collect()
    };
    let column = |layout: Option<&Layout>| Column { waste: 0, uses: uses(layout) };
    Supplier {
        columns: std::iter::once(None).chain(layouts.iter().map(Some)).map(column).collect(),
        layouts: layouts.to_vec(),
        by_pack: None,
        asked: Vec::new(),
    }
}
