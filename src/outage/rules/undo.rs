//! Undoing: an entry is undone by a counter-entry, unless a later one depends on it.

use super::{Effect, Effected, moves};
use crate::outage::{Booking, BookingRefusal, Outage};

/// Effect of undoing an entry: its moves the other way round, and its pump as it was before.
///
/// A later entry depends on it that is about the same pump, that counted an item which it moved, or that planned with
/// its pieces in or out of play; and no bin may come to less than zero.
pub(super) fn undo(outage: &Outage, number: u32) -> Effected {
    let depends = |later: u32, fix: &str| {
        let word = outage.entry(later).map_or("", |entry| entry.booking.word());
        BookingRefusal::new(
            format!("undo entry {number}, which entry {later} ({word}) depends on"),
            "an entry that no later one depends on",
            fix,
        )
    };
    let Some(entry) = outage.entry(number) else {
        return Err(BookingRefusal::new(
            format!("undo entry {number}"),
            format!("an entry of the ledger, 1 to {}", outage.head().number),
            "look up its number with `gapwright status`",
        ));
    };
    let fix = match entry.booking {
        Booking::Plan(_) => Some("run `gapwright kit --outage` again: a new plan takes its place"),
        Booking::TookOver(_) => Some("correct the workbook and run `gapwright kit --outage` again"),
        Booking::Undo { .. } => Some("book what was undone once more"),
        _ if outage.is_undone(number) => Some("it is undone already"),
        _ => None,
    };
    if let Some(fix) = fix {
        let found = format!("undo entry {number} ({})", entry.booking.word());
        return Err(BookingRefusal::new(found, "the entry of a booking, once", fix));
    }
    let later = outage.later_counts(number, &entry.moves);
    if let Some(later) = later {
        return Err(depends(later, "count the item again instead"));
    }
    let mut effect = Effect::default();
    if let Some(tag) = entry.booking.tag() {
        if let Some(later) = outage.last_of(tag).filter(|&later| later > number) {
            return Err(depends(later, "undo that one first, or book what is so now"));
        }
        let frees = matches!(
            entry.booking,
            Booking::Bag { .. }
                | Booking::PutBack { .. }
                | Booking::Cancel { .. }
                | Booking::Reinstate { .. }
        );
        let plan = outage.last_plan().map_or(0, |plan| plan.entry);
        if frees && plan > number {
            return Err(depends(plan, "book the opposite instead: `put-back`, `bag`, `reinstate`"));
        }
        effect.pumps.extend(outage.before(number).cloned());
    }
    let opposite = entry.moves.iter().map(|moved| (moved.item.as_str(), -moved.pieces));
    effect.moves = moves(outage, opposite)?;
    Ok(effect)
}
