//! Checks the fit codes of the pumps against those of the stock.

use std::collections::{BTreeSet, HashMap, HashSet};

use super::Draft;
use crate::problem::{Place, Problem, Problems, fix_name};
use crate::stock::Code;

/// Every fit code must appear in the stock: a code that no row has is misspelt, or the item is missing from the list.
/// `codes` holds the kind and fit of every row, valid or not.
pub(in crate::read) fn check_fits(
    draft: &Draft,
    codes: &[(String, Code, Place)],
    problems: &mut Problems,
) {
    if codes.is_empty() {
        // An empty stock is a problem of its own.
        return;
    }
    /// Enough to show the form of the codes.
    const MOST_NAMED: usize = 20;
    /// With more unknown codes, all are wrong as a whole, and similar codes are not looked for.
    const MOST_SUGGESTED: usize = 20;
    // A search through all lots for each of as many pumps would be too slow.
    let known: HashSet<(&str, &str)> =
        codes.iter().map(|(kind, code, _)| (kind.as_str(), code.key())).collect();
    let mut by_kind: HashMap<&str, BTreeSet<&str>> = HashMap::new();
    for (kind, code, _) in codes {
        by_kind.entry(kind).or_default().insert(code.as_str());
    }
    let none = BTreeSet::new();
    let mut suggested = 0;
    for request in draft.requests() {
        let packs = request.model.packs.iter();
        for ((pack, fit), place) in packs.zip(request.fits).zip(request.fit_places) {
            if known.contains(&(pack.kind.as_str(), fit.key())) {
                continue;
            }
            let of_kind = by_kind.get(pack.kind.as_str()).unwrap_or(&none);
            let missing = format!(
                "list the {} in the stock workbook, with 0 on hand if there is none",
                pack.kind
            );
            suggested += 1;
            let fix = match suggested {
                ..=MOST_SUGGESTED => fix_name(fit.as_str(), of_kind.iter().copied(), &missing),
                _ => missing,
            };
            let named: Vec<&str> = of_kind.iter().copied().take(MOST_NAMED).collect();
            let expected = match of_kind.len().checked_sub(MOST_NAMED) {
                _ if of_kind.is_empty() => format!("a {} in the stock workbook", pack.kind),
                Some(more @ 1..) => format!("one of {} and {more} more", named.join(", ")),
                _ => format!("one of {}", named.join(", ")),
            };
            problems.add(Problem::new(
                place.clone(),
                format!("the fit code `{}`, which no {} in the stock has", fit.as_str(), pack.kind),
                expected,
                fix,
            ));
        }
    }
}
