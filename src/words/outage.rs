//! A running outage in words, shared by the terminal, its sheets and the page.

use crate::model::NOT_FIT;
use crate::outage::{Booking, Finding, KitPiece, LedgerEntry, Outage, OutagePump, PumpState};
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

/// Receipt of an entry; `again` where an earlier try of its request had booked it.
pub fn receipt(outage: &Outage, entry: &LedgerEntry, again: bool) -> String {
    let text = described(outage, entry);
    match again {
        true => format!("Entry {} was booked before: {text}. Not booked again.", entry.number),
        false => format!("Entry {}: {text}.", entry.number),
    }
}

/// An entry with its number, who booked it, when and why.
pub fn line(outage: &Outage, entry: &LedgerEntry) -> String {
    let facts = &entry.facts;
    let who = if facts.who.is_empty() { String::new() } else { format!(", by {}", facts.who) };
    let why = if facts.why.is_empty() { String::new() } else { format!(" [{}]", facts.why) };
    let undone = if outage.is_undone(entry.number) { " (undone)" } else { "" };
    let (number, text) = (entry.number, described(outage, entry));
    format!("Entry {number}: {text}{who}, {}{why}{undone}", moment(&facts.at))
}

/// Minute of a moment of the ledger: `2027-03-01 10:42 UTC`.
fn moment(at: &str) -> String {
    match (at.get(..10), at.get(11..16)) {
        (Some(day), Some(minute)) => format!("{day} {minute} UTC"),
        _ => at.to_string(),
    }
}

/// Warnings that must be seen of a pump after a booking.
pub fn warnings(pump: &OutagePump) -> Vec<String> {
    let tag = &pump.tag;
    let stop = pump.stop().map(|why| format!("STOP: {tag} {NOT_FIT}: {why}"));
    let peeled = pump.kit.iter().flat_map(|kit| &kit.pieces);
    let peeled: Vec<String> = peeled
        .filter(|piece| piece.peeled_to.is_some() && pump.bag.is_empty())
        .map(KitPiece::to_string)
        .collect();
    let not_back = !peeled.is_empty() && pump.state == PumpState::Planned;
    let not_back = not_back.then(|| {
        format!(
            "Peeled pieces are not counted back into their bin: {}. If they were not peeled yet, book `count`.",
            peeled.join(", ")
        )
    });
    let short = pump.lacking().map(|lacking| format!("The bag of {tag} is {lacking}."));
    [stop, not_back, short].into_iter().flatten().collect()
}

/// Why a pump is not to be accepted yet, if readings are open.
pub fn not_yet(pump: &OutagePump) -> Option<String> {
    match &pump.finding {
        Some(Finding::Open { why }) => Some(format!("Not to be accepted yet: {why}")),
        _ => None,
    }
}

fn none_of(text: &str) -> &str {
    if text.is_empty() { "none" } else { text }
}
