//! A running outage in words, shared by the terminal and its sheets.

use crate::outage::{Booking, KitPiece, LedgerEntry, Outage};
use crate::show::counted;

/// Pieces in a list: `2 x SH-010, 1 x G-120`; empty for none.
pub fn listed(pieces: &[KitPiece]) -> String {
    pieces.iter().map(KitPiece::to_string).collect::<Vec<_>>().join(", ")
}

/// An entry in a few words, without its number: `bag P-101: 6 pieces`.
pub fn described(outage: &Outage, entry: &LedgerEntry) -> String {
    let word = entry.booking.word();
    match &entry.booking {
        Booking::Bag { tag, without, with } => {
            let pieces: i64 = entry.moves.iter().map(|moved| -moved.pieces).sum();
            let named = |name: &str, pieces: &[KitPiece]| {
                (!pieces.is_empty()).then(|| format!("{name} {}", listed(pieces)))
            };
            let others: Vec<String> =
                [named("without", without), named("with", with)].into_iter().flatten().collect();
            let otherwise = match others.is_empty() {
                true => String::new(),
                false => format!("; otherwise than planned: {}", others.join(", ")),
            };
            format!("{word} {tag}: {}{otherwise}", counted(pieces, "piece"))
        }
        Booking::Issue { tag } | Booking::Cancel { tag } | Booking::Reinstate { tag } => {
            format!("{word} {tag}")
        }
        Booking::PutBack { tag } => {
            let pieces: i64 = entry.moves.iter().map(|moved| moved.pieces).sum();
            format!("{word} {tag}: {} into the bins", counted(pieces, "piece"))
        }
        Booking::Receive { item, count } | Booking::Count { item, count } => {
            format!("{word} {item}: {count}")
        }
        Booking::Scrap { item, count, from } => {
            let from = from.as_ref().map_or(String::new(), |tag| format!(" from the bag of {tag}"));
            format!("{word} {item}: {count}{from}")
        }
        Booking::Cut { plate } => {
            let pieces = |sign: i64| entry.moves.iter().filter(move |of| of.pieces * sign > 0);
            let gone: i64 = pieces(-1).map(|moved| -moved.pieces).sum();
            let lots: Vec<String> =
                pieces(1).map(|moved| format!("{} of {}", moved.pieces, moved.item)).collect();
            format!("{word} {} of {plate} into {}", counted(gone, "plate"), lots.join(", "))
        }
        Booking::Opened { item } => {
            let gone: i64 = entry.moves.iter().map(|moved| -moved.pieces).sum();
            format!("{word} a pack of {item}: {} spoiled with it", counted(gone, "piece"))
        }
        Booking::Swap { tag, out, into } => {
            format!("{word} {tag}: out {}; in {}", none_of(&listed(out)), none_of(&listed(into)))
        }
        Booking::Reading { tag, what, value, .. } | Booking::Measured { tag, what, value, .. } => {
            format!("{word} {tag} {}: {value}", what.replace('_', " "))
        }
        Booking::Accept { tag, .. } => format!("{word} {tag}"),
        Booking::Undo { entry } => {
            let old = outage.entry(*entry).map_or("", |entry| entry.booking.word());
            format!("{word} {entry} ({old})")
        }
        Booking::Plan(plan) => format!(
            "{word} {}: {}, {} short",
            plan.code,
            counted(i64::try_from(plan.kits.len()).unwrap_or(0), "kit"),
            plan.short.len()
        ),
        Booking::TookOver(taken) => {
            let names: Vec<&str> = taken.files.iter().map(|file| file.name.as_str()).collect();
            format!("{word} {}", names.join(", "))
        }
    }
}

fn none_of(text: &str) -> &str {
    if text.is_empty() { "none" } else { text }
}
