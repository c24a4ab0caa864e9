//! The use of the stock in an outage, as movements of an issue log: past demand, by day.

use std::collections::{BTreeMap, BTreeSet};

use super::{Booking, KitPiece, LedgerEntry, Outage};
use crate::issue::key;
use crate::issue::log::{How, Movement};

impl Outage {
    /// Movements of the entries that count, each with its day, in the order of the days. Undone entries do not count.
    /// Pieces that were packed, swapped in or thrown away went out; those put back or swapped out came back; deliveries
    /// and counts are no demand.
    pub fn usage(&self, counts: &dyn Fn(&LedgerEntry) -> bool) -> Vec<(&str, Movement)> {
        let is_undo = |entry: &LedgerEntry| matches!(entry.booking, Booking::Undo { .. });
        let entries = self
            .entries()
            .iter()
            .filter(|entry| !is_undo(entry) && !self.is_undone(entry.number) && counts(entry));
        let mut moves: Vec<(&str, Movement)> = entries
            .flat_map(|entry| {
                let date = entry.facts.date.as_str();
                movements(entry).into_iter().map(move |moved| (date, moved))
            })
            .collect();
        // Demand for pieces of plates is demand for the plates that were cut.
        let lots: BTreeSet<String> = self.cut_lots().map(|lot| key(&lot.item)).collect();
        moves.retain(|(_, moved)| !lots.contains(&key(&moved.item)));
        // Bookings may come in late; those of one day keep their order.
        moves.sort_by_key(|(date, _)| *date);
        moves
    }
}

fn movements(entry: &LedgerEntry) -> Vec<Movement> {
    let tag = entry.booking.tag().unwrap_or_default();
    let line = |item: &str, asked: u32, out: i64, how: How| Movement {
        plan: String::new(),
        tag: tag.to_string(),
        place: String::new(),
        item: item.to_string(),
        asked,
        out,
        how,
        on_hand: None,
        unit_cost: None,
        note: String::new(),
    };
    let pieces = |pieces: i64| u32::try_from(pieces).unwrap_or(0);
    let all = entry.moves.iter();
    match &entry.booking {
        Booking::Bag { without, with, .. } => {
            let (missed, more) = (sums(without), sums(with));
            let mut lines = Vec::new();
            for moved in all {
                let more = more.get(&key(&moved.item)).map_or(0, |(_, count)| *count);
                let missed = missed.get(&key(&moved.item)).map_or(0, |(_, count)| *count);
                let taken = pieces(-moved.pieces).saturating_sub(more);
                let how = if missed > 0 { How::Partly } else { How::AsPlanned };
                if taken + missed > 0 {
                    lines.push(line(&moved.item, taken + missed, taken.into(), how));
                }
                if more > 0 {
                    lines.push(line(&moved.item, 0, more.into(), How::Unplanned));
                }
            }
            // Of these items none left its bin.
            let gone = |item: &String| entry.moves.iter().any(|moved| key(&moved.item) == *item);
            let none = missed.iter().filter(|(item, _)| !gone(item));
            lines.extend(none.map(|(_, (item, count))| line(item, *count, 0, How::Partly)));
            lines
        }
        Booking::PutBack { .. } | Booking::Swap { .. } => all
            .map(|moved| match moved.pieces < 0 {
                true => line(&moved.item, pieces(-moved.pieces), -moved.pieces, How::AsPlanned),
                false => line(&moved.item, 0, -moved.pieces, How::PutBack),
            })
            .collect(),
        // Demand is for the plates: their pieces are none of their own.
        Booking::Cut { .. } => all
            .filter(|moved| moved.pieces < 0)
            .map(|moved| line(&moved.item, pieces(-moved.pieces), -moved.pieces, How::CutUp))
            .collect(),
        Booking::Scrap { .. } | Booking::Opened { .. } => {
            all.map(|moved| line(&moved.item, 0, -moved.pieces, How::Spoiled)).collect()
        }
        // The day from which demand is known, and those of other entries.
        Booking::TookOver(_) | Booking::Receive { .. } | Booking::Count { .. } => {
            vec![line("", 0, 0, How::Counted)]
        }
        _ => Vec::new(),
    }
}

/// Pieces by item.
fn sums(pieces: &[KitPiece]) -> BTreeMap<String, (&str, u32)> {
    let mut sums: BTreeMap<String, (&str, u32)> = BTreeMap::new();
    for piece in pieces {
        let sum = &mut sums.entry(key(&piece.item)).or_insert((&piece.item, 0)).1;
        *sum = sum.saturating_add(piece.count);
    }
    sums
}
