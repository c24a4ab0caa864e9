//! What was issued or put back, in a few lines.

use super::Done;
use super::args::Args;
use crate::cli::voice::{Voice, complain, say};
use crate::issue::log::How;

/// What was done, on the terminal.
pub(super) fn tell(args: &Args, done: &Done, to: Voice) {
    let moves = &done.moves;
    let many = |count: usize, word: &str| match count {
        1 => format!("1 {word}"),
        _ => format!("{count} {word}s"),
    };
    let moved = |pick: &dyn Fn(&How) -> bool| {
        moves
            .movements
            .iter()
            .filter(|m| pick(&m.how))
            .collect::<Vec<_>>()
    };
    let pieces = |out: bool| -> i64 {
        let counts = moves.movements.iter().filter(|m| m.how != How::Counted);
        let counts = counts.map(|m| if out { m.out } else { -m.out });
        counts.filter(|count| *count > 0).sum()
    };
    let tags = |lines: &[&crate::issue::log::Movement]| {
        let mut tags: Vec<String> = lines
            .iter()
            .map(|m| m.tag.as_str())
            .filter(|t| !t.is_empty())
            .map(crate::issue::key)
            .collect();
        tags.sort_unstable();
        tags.dedup();
        tags.len()
    };
    let counted = moved(&|how| *how == How::Counted);
    if !counted.is_empty() {
        say!(to, "Counted anew: {}.", many(counted.len(), "item"));
        for moved in &counted {
            if let Some(on_hand) = moved.on_hand {
                say!(
                    to,
                    "  {}: {} on hand, {} in the log.",
                    moved.item,
                    on_hand.after,
                    on_hand.before
                );
            }
        }
    }
    if args.finish {
        say!(
            to,
            "The stock workbook of the last run of the log, which was missing: {}.",
            many(moves.after.len(), "count")
        );
    } else if args.put_back.is_empty() {
        let out = moved(&|how| !matches!(how, How::Counted | How::Short));
        let short = moved(&|how| *how == How::Short);
        let piece_count = usize::try_from(pieces(true)).unwrap_or(usize::MAX);
        say!(
            to,
            "Issued {}: {}.",
            many(tags(&out), "kit"),
            many(piece_count, "piece")
        );
        if !short.is_empty() {
            complain!(
                "Recorded as short, with no pieces: {}.",
                many(short.len(), "line")
            );
            for moved in short {
                complain!("  {}, {}: {}.", moved.tag, moved.place, moved.note);
            }
        }
    } else {
        let piece_count = usize::try_from(pieces(false)).unwrap_or(usize::MAX);
        say!(to, "Put back {}.", many(piece_count, "piece"));
    }
    if !moves.movements.is_empty() {
        let begun = if done.log_sha256.is_none() {
            "Began"
        } else {
            "Added to"
        };
        let lines = many(moves.movements.len(), "line");
        say!(to, "{begun} {}: {lines}.", args.log.display());
    }
    say!(
        to,
        "Wrote {}: the stock workbook for next time.",
        args.out.display()
    );
}
