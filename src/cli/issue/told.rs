//! The account of pieces issued or put back, in a few lines.

use std::collections::BTreeSet;
use std::path::Path;

use super::Done;
use super::args::Args;
use crate::cli::patched;
use crate::cli::voice::{Voice, out, warning};
use crate::issue::key;
use crate::issue::log::{How, Movement};
use crate::words::NOT_FIT;

/// Reports the movements on the terminal.
pub(super) fn tell(args: &Args, log: &Path, done: &Done, to: Voice) {
    let movements = &done.moves.movements;
    tell_counted(movements, to);
    if args.finish {
        out!(
            to,
            "The stock workbook of the last run of the log, which was missing: {}.",
            many(done.moves.after.len(), "count")
        );
    } else if args.put_back.is_empty() {
        tell_issued(movements, to);
    } else {
        let back = pieces(movements, |m| -m.out);
        out!(to, "Put back {}.", many(back, "piece"));
    }
    if !movements.is_empty() {
        let begun = match done.log_sha256 {
            None => "Began",
            Some(_) => "Added to",
        };
        let lines = many(movements.len(), "line");
        out!(to, "{begun} {}: {lines}.", log.display());
    }
    out!(to, "Wrote {}: the stock workbook for next time.", args.out.display());
    match &done.patched {
        Some(made) => patched::tell(&[made], to),
        // Text files have nothing to lose.
        None if done.stock.is_text || Path::new(&done.stock.file).is_dir() => {}
        None => patched::tell_anew(&done.stock.file, to),
    }
}

/// Counts that differ from the log's.
fn tell_counted(movements: &[Movement], to: Voice) {
    let counted = movements.iter().filter(|m| m.how == How::Counted);
    let counted: Vec<&Movement> = counted.collect();
    if counted.is_empty() {
        return;
    }
    out!(to, "Counted again: {}.", many(counted.len(), "item"));
    for moved in counted {
        if let Some(on_hand) = moved.on_hand {
            out!(to, "  {}: {} on hand, {} in the log.", moved.item, on_hand.after, on_hand.before);
        }
    }
}

/// Kits that were issued, and what was short in them.
fn tell_issued(movements: &[Movement], to: Voice) {
    let out = movements
        .iter()
        .filter(|m| !matches!(m.how, How::Counted | How::Short) && !m.tag.is_empty());
    let tags: BTreeSet<String> = out.map(|m| key(&m.tag)).collect();
    let taken = pieces(movements, |m| m.out);
    out!(to, "Issued {}: {}.", many(tags.len(), "kit"), many(taken, "piece"));
    let short = movements.iter().filter(|m| m.how == How::Short);
    let short: Vec<&Movement> = short.collect();
    // A consumable that is short asks for pieces; a place without a kit asks for none.
    let not_fit = short.iter().filter(|m| m.asked == 0).map(|m| m.tag.as_str());
    let not_fit: BTreeSet<&str> = not_fit.collect();
    if !not_fit.is_empty() {
        let tags: Vec<&str> = not_fit.into_iter().collect();
        warning!("{NOT_FIT}, nothing issued: {}.", tags.join(", "));
    }
    if !short.is_empty() {
        warning!("Recorded as short, with no pieces: {}.", many(short.len(), "line"));
    }
    for moved in short {
        warning!("  {}, {}: {}.", moved.tag, moved.place, moved.note);
    }
}

/// Pieces that moved one way, but for what was only counted.
fn pieces(movements: &[Movement], way: impl Fn(&Movement) -> i64) -> usize {
    let moved = movements.iter().filter(|m| m.how != How::Counted);
    let pieces: i64 = moved.map(way).filter(|count| *count > 0).sum();
    usize::try_from(pieces).unwrap_or(usize::MAX)
}

fn many(count: usize, word: &str) -> String {
    match count {
        1 => format!("1 {word}"),
        _ => format!("{count} {word}s"),
    }
}
