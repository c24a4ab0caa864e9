//! A stock workbook whose counts were changed in its own bytes, in words for the terminal.

use crate::cli::voice::{Voice, must_see, out};
use crate::read::Patched;
use crate::show::counted;

/// Says which results were emptied, and what no longer holds.
pub(super) fn tell(patched: &[&Patched], to: Voice) {
    let sum = |of: fn(&Patched) -> usize| patched.iter().map(|made| of(made)).sum::<usize>();
    let (emptied, unclear) = (sum(|made| made.emptied), sum(|made| made.unclear));
    if emptied > 0 {
        let results = many(emptied, "result");
        out!(to, "Emptied: {results} of formulas that depend on a changed count.");
        if unclear > 0 {
            let formulas = many(unclear, "formula");
            out!(
                to,
                "Among them {formulas} by names, tables or functions, which may depend on one."
            );
        }
        out!(
            to,
            "Open and save it in the spreadsheet program, which works them out, before gapwright reads it."
        );
    }
    if patched.iter().any(|made| made.has_pivots) {
        must_see!(to, "Its pivot tables show the old counts until they are refreshed.");
    }
    if patched.iter().any(|made| made.was_signed) {
        must_see!(to, "Its signature no longer holds: sign it again.");
    }
}

/// Says that a workbook was written anew, and what is lost by that.
pub(super) fn tell_anew(name: &str, to: Voice) {
    must_see!(
        to,
        "{name} cannot be changed in place: its values were written to a new workbook. Its formats, comments and pictures are not in that, and its formulas are values."
    );
}

/// A number with its word.
pub(super) fn many(count: usize, word: &str) -> String {
    counted(i64::try_from(count).unwrap_or(i64::MAX), word)
}
