//! Plates that are cut and packs that are opened for kits, and the lots of pieces that plates leave.

use std::collections::BTreeMap;

use crate::cutting::PlateLot;
use crate::issue::key;
use crate::issue::returned::{self, ReturnedLot};
use crate::job::Job;
use crate::outage::{CutLot, ItemCount, Outage, PlateCut};
use crate::stock::{Item, NO_ROW, Size, ToleranceSource};
use crate::verify::Verified;

/// Stock numbers that pieces to be cut have in the ledger, by their index in the job: they are a lot once their plate is
/// cut, and one kit has one name for them before and after.
pub type CutNames = BTreeMap<usize, String>;

/// Names of all pieces that could be cut.
pub fn cut_names(job: &Job) -> CutNames {
    let lots = returned::of_pieces(job).into_iter();
    lots.map(|(index, lot)| (index, lot.item)).collect()
}

/// The job with the lots of pieces that were cut from its plates and have no row in the stock workbook yet.
pub fn with_cut_lots(job: Job, outage: &Outage) -> Job {
    let missing = |item: &str| !job.stock.iter().any(|known| key(&known.item) == key(item));
    let lots: Vec<Item> = cut_names(&job)
        .into_iter()
        .filter(|(_, name)| missing(name))
        .filter_map(|(index, name)| {
            let on_hand = u32::try_from(outage.stock_of(&name)?.pieces).unwrap_or(0);
            let piece = job.stock[index].clone();
            let size = piece.size.map(|size| Size { source: ToleranceSource::Stated, ..size });
            Some(Item { item: name, size, on_hand, cut: None, bin: None, row: NO_ROW, ..piece })
        })
        .collect();
    if lots.is_empty() {
        return job;
    }
    let before = job.clone();
    let added = job.with(|parts| {
        let at = parts.stock.iter().position(|item| item.cut.is_some());
        let at = at.unwrap_or(parts.stock.len());
        parts.stock.splice(at..at, lots);
    });
    // Copies of pieces of the job, under names that it does not have, are valid.
    added.unwrap_or(before)
}

/// Plates that a plan cuts, and pieces that are spoiled with its packs.
pub fn shared(verified: &Verified) -> (Vec<PlateCut>, Vec<ItemCount>) {
    let (job, plan) = (verified.job(), verified.plan());
    let lots = returned::cut(job, plan);
    let cuts = job.plates.iter().zip(plan.plates_cut(job)).filter(|(_, count)| *count > 0);
    let cut = |(plate, count): (&PlateLot, u32)| {
        let own = lots.iter().filter(|lot| lot.plate == plate.item);
        let lot = |lot: &ReturnedLot| {
            let (item, columns) = (lot.item.clone(), lot.columns.clone());
            CutLot { item, count: lot.count, columns }
        };
        PlateCut { plate: plate.item.clone(), count, lots: own.map(lot).collect() }
    };
    let spoiled = job.stock.iter().zip(verified.spoiled()).filter(|(_, count)| *count > 0);
    let spoiled = spoiled.map(|(lot, count)| ItemCount { item: lot.item.clone(), count });
    (cuts.map(cut).collect(), spoiled.collect())
}
