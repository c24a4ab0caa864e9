//! Suppliers: blocks that put pieces in.
//!
//! There are two kinds. Packs of an item are opened, where the policy counts the rest of an opened pack as
//! spoiled; and plates are cut up.
//!
//! # Decisions
//!
//! - Packs and plates are suppliers in the same problem: columns with uses below zero need no other method.
//! - Plates on hand are an item after all others, which only suppliers take: branching on its total decides how many
//!   plates are cut. One supplier a layout, with a column for each number of plates cut so: one supplier a plate would
//!   give every plan in as many orders as there are plates.
//! - Of an item in packs the pieces beyond whole packs count as loose; the stock sheet does not say more.

use crate::accounting::{self, by_pack, pack_waste, packs_opened};
use crate::choose::control::{Control, NoRoom, Pace, UNITS};
use crate::choose::instance::Column;
use crate::cutting::{Cutting, Layout, Remnants};
use crate::job::Job;
use crate::length::Length;
use crate::narrow::narrow;
use crate::plan::Stop;
use crate::purchase::CartonOffer;

/// Supplier.
pub struct Supplier {
    /// Columns; their uses are negative.
    pub columns: Vec<Column>,
    /// Layout of plates that are cut: column number n cuts n of them.
    pub layout: Option<Layout>,
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
/// `wanted` is the most pieces of each item that all pumps together could use, items held back from the stock
/// included. The lots of plates are numbered after these, in the job's order.
///
/// # Errors
/// [`NoRoom`] for their columns.
pub(crate) fn suppliers(
    job: &Job,
    available: &[u32],
    wanted: &[u64],
    control: &Control<'_>,
) -> Result<Supply, NoRoom> {
    let mut pace = Pace::at_least(control, UNITS);
    let mut cut = None;
    let mut ready: Vec<i64> = available.iter().map(|&count| i64::from(count)).collect();
    let mut suppliers = Vec::new();
    for (item, &count) in available.iter().enumerate() {
        if by_pack(job, item) && wanted[item] > 0 {
            let most = count.min(u32::try_from(wanted[item]).unwrap_or(u32::MAX));
            suppliers.extend(by_the_pack(job, item, most, control)?);
            ready[item] = 0;
        }
    }
    ready.resize(wanted.len(), 0);
    for (plate, lot) in job.plates.iter().enumerate() {
        // Every shape of the outage: blanks of one that no kit takes go back, and less is wasted.
        let shapes: Vec<(usize, Length)> = (0..job.stock.len())
            .filter_map(|item| Some((item, job.stock[item].cut?)))
            .filter(|(_, cut)| cut.plate == plate && lot.yields(cut.outside) > 0)
            .map(|(item, cut)| (item, cut.outside))
            .collect();
        let number = ready.len();
        ready.push(i64::from(lot.available()));
        if shapes.iter().all(|&(item, _)| wanted[item] == 0) {
            continue;
        }
        let cutting = Cutting { lot, plate, shapes: &shapes };
        let most = |item: usize| u64::from(available[item]).min(wanted[item]);
        let mut stop = |units| {
            cut = cut.or(pace.stop(units));
            cut.is_some()
        };
        let layouts = match job.policy.remnants {
            Remnants::Charged => cutting.full(&mut stop),
            Remnants::BookedBack => cutting.part(&most, &mut stop),
        };
        for &(item, _) in &shapes {
            ready[item] = 0;
        }
        for layout in layouts {
            suppliers.extend(cut_up(job, (layout, number), &shapes, &most, control)?);
        }
    }
    Ok(Supply { suppliers, ready, cut })
}

/// Takes room for so many columns: they are copied into the groups of pumps.
fn keep(columns: usize, control: &Control<'_>) -> Result<(), NoRoom> {
    control.keep(columns.saturating_mul(2 * size_of::<Column>()))
}

/// Supplier of an item counted by the pack: one column per number of pieces paid for, at the cost of
/// [`pack_waste`].
fn by_the_pack(
    job: &Job,
    item: usize,
    most: u32,
    control: &Control<'_>,
) -> Result<Option<Supplier>, NoRoom> {
    let Ok(index) = u16::try_from(item) else {
        return Ok(None);
    };
    let lot = &job.stock[item];
    let (size, loose) = (lot.carton_qty.max(1), lot.loose());
    let packs = packs_opened(lot, most);
    keep(narrow::<usize>(loose.min(most).saturating_add(packs).min(MOST_SUPPLIED)), control)?;
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
    Ok(Some(Supplier { columns, layout: None, by_pack: Some(item), asked: Vec::new() }))
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
    control: &Control<'_>,
) -> Result<Option<Supplier>, NoRoom> {
    let most = most.min(MOST_SUPPLIED);
    let packs = |pieces: u32| pieces.saturating_sub(on_hand).div_ceil(offer.pack);
    let price = |packs: u32| offer.price.raw().saturating_mul(i64::from(packs));
    if by_pack(job, offer.item) {
        ready[offer.item] = 0;
        let Some(mut ladder) = by_the_pack(job, offer.item, most, control)? else {
            return Ok(None);
        };
        let supplied = ladder.columns.iter().map(|column| {
            let pieces = column.uses.iter().map(|(_, count)| count.unsigned_abs());
            pieces.map(u32::from).sum::<u32>()
        });
        ladder.asked = supplied.map(|pieces| price(packs(pieces))).collect();
        return Ok(Some(ladder));
    }
    let Ok(index) = u16::try_from(offer.item) else {
        return Ok(None);
    };
    keep(narrow::<usize>(packs(most)), control)?;
    let ladder = (0..=packs(most)).filter_map(|packs| {
        // More pieces than can be used are not counted; they would only weaken the bound.
        let pieces = packs.saturating_mul(offer.pack);
        let pieces = pieces.min(most.saturating_sub(on_hand));
        let pieces = i16::try_from(pieces).ok()?;
        let column = Column { waste: 0, uses: std::iter::once((index, -pieces)).collect() };
        Some((column, price(packs)))
    });
    let (columns, asked) = ladder.unzip();
    Ok(Some(Supplier { columns, layout: None, by_pack: None, asked }))
}

/// Supplier of plates cut in one layout: column number n cuts n plates, as many as can be of use. `number` is that
/// of the plates as an item.
fn cut_up(
    job: &Job,
    (layout, number): (Layout, usize),
    shapes: &[(usize, Length)],
    most: &dyn Fn(usize) -> u64,
    control: &Control<'_>,
) -> Result<Option<Supplier>, NoRoom> {
    let lot = &job.plates[layout.plate];
    let outside = |item: usize| {
        let shape = shapes.iter().find(|(other, _)| *other == item);
        shape.map_or(Length::ZERO, |(_, outside)| *outside)
    };
    let yields = layout.yields(lot, outside);
    let useful = yields.iter().map(|(&item, &n)| most(item).div_ceil(u64::from(n.max(1))));
    let useful = useful.max().map(|useful| useful.min(u64::from(lot.available())));
    let (Some(useful), Ok(number)) = (useful, u16::try_from(number)) else {
        return Ok(None);
    };
    keep(narrow::<usize>(useful.min(i16::MAX.unsigned_abs().into())), control)?;
    let waste = accounting::plate_waste(job, &layout).raw();
    let columns = (0..=i16::try_from(useful).unwrap_or(i16::MAX)).map(|plates| {
        let supplied = yields.iter().filter_map(|(&item, &blanks)| {
            let blanks = blanks.saturating_mul(u32::from(plates.unsigned_abs()));
            let blanks = i16::try_from(blanks.min(MOST_SUPPLIED)).ok()?;
            Some((u16::try_from(item).ok()?, -blanks))
        });
        Column {
            waste: waste * i64::from(plates),
            uses: supplied.chain([(number, plates)]).collect(),
        }
    });
    Ok(Some(Supplier {
        columns: columns.collect(),
        layout: Some(layout),
        by_pack: None,
        asked: Vec::new(),
    }))
}
