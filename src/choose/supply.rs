//! Suppliers: what puts pieces in that do not lie ready one by one.
//!
//! Two things do. Packs of an item are opened, where the policy says that what is left of an
//! opened pack is spoiled; and sheets are cut up, where one lot serves several shapes.
//!
//! # Decisions
//!
//! - Packs and sheets are suppliers in the same problem: columns with uses below zero need no other method.
//! - Of an item in packs the pieces beyond whole packs count as loose; the stock sheet does not say more.

use crate::accounting::{by_pack, pack_waste, packs_opened};
use crate::choose::instance::{Column, Uses};
use crate::choose::watch::{Pace, UNITS, Watch};
use crate::cutting::{Layout, layouts_until};
use crate::job::Job;
use crate::length::Length;
use crate::plan::Stop;
use crate::purchase::Offer;

/// A supplier.
pub struct Supplier {
    /// Its columns; the uses are below zero.
    pub columns: Vec<Column>,
    /// For a sheet that is cut: what each column means.
    pub layouts: Vec<Layout>,
    /// The item whose packs it opens.
    pub by_pack: Option<usize>,
    /// What each column costs to buy; none where nothing is bought.
    pub asked: Vec<i64>,
}

impl Supplier {
    /// What each column costs to buy, in millionths of the currency.
    pub fn prices(&self) -> Vec<i64> {
        match self.asked.is_empty() {
            true => vec![0; self.columns.len()],
            false => self.asked.clone(),
        }
    }
}

/// The most pieces of one item that a supplier puts in.
const MOST_SUPPLIED: u32 = 30_000;

/// The suppliers of a job, and the pieces of each item that lie ready without them.
pub struct Supply {
    /// The suppliers.
    pub suppliers: Vec<Supplier>,
    /// By item.
    pub ready: Vec<i64>,
    /// What kept some ways to supply from being listed.
    pub cut: Option<Stop>,
}

/// The suppliers of a job, and what lies ready.
///
/// `wanted` is the most pieces of each item that all pumps together could use.
pub fn suppliers(job: &Job, available: &[u32], wanted: &[u64], watch: &Watch<'_>) -> Supply {
    let mut pace = Pace::at_least(watch, UNITS);
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
    for (sheet, lot) in job.sheets.iter().enumerate() {
        let shapes: Vec<(usize, Length)> = (0..job.stock.len())
            .filter(|&item| wanted[item] > 0)
            .filter_map(|item| Some((item, job.stock[item].cut?)))
            .filter(|(_, cut)| cut.sheet == sheet && lot.yields(cut.outside) > 0)
            .map(|(item, cut)| (item, cut.outside))
            .collect();
        // One shape alone is cut sheet after sheet, which the count available says already.
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

/// Ladders of so many pieces paid for, each step as dear as [`pack_waste`] says.
fn by_the_pack(job: &Job, item: usize, most: u32) -> Option<Supplier> {
    let index = u16::try_from(item).ok()?;
    let lot = &job.stock[item];
    let (size, loose) = (lot.pack_qty.max(1), lot.loose());
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

/// One item that can be bought: so many packs more than are on hand, up to what makes `most` pieces
/// in all. Where opened packs are spoiled, the same ladder as that of [`suppliers`], which
/// goes on beyond what is on hand.
pub fn bought(
    job: &Job,
    offer: &Offer,
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
        // More than can be used is not worth counting, and would only blunt the bound.
        let pieces = packs.saturating_mul(offer.pack);
        let pieces = pieces.min(most.saturating_sub(on_hand));
        let pieces = i16::try_from(pieces).ok()?;
        let column = Column { waste: 0, uses: std::iter::once((index, -pieces)).collect() };
        Some((column, price(packs)))
    });
    let (columns, asked) = ladder.unzip();
    Some(Supplier { columns, layouts: Vec::new(), by_pack: None, asked })
}

/// One sheet, in any of its layouts or none.
fn cut_up(job: &Job, cut: &[(usize, Length)], layouts: &[Layout]) -> Supplier {
    let outside = |item: usize| {
        let shape = cut.iter().find(|(other, _)| *other == item);
        shape.map_or(Length::ZERO, |(_, outside)| *outside)
    };
    let uses = |layout: Option<&Layout>| -> Uses {
        let yields = layout
            .map(|layout| layout.yields(&job.sheets[layout.sheet], outside))
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
