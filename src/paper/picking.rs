//! Contents of the picking list: the walk along the bins, and who wants each item.

use std::collections::BTreeMap;

use super::order::of_bins;
use crate::accounting::{self, by_pack, spoiled};
use crate::job::Job;
use crate::verify::Verified;

/// Line under the title.
pub(crate) const LEAD: &str = "In bin order. Measure a piece of each lot of shims and gaskets before it leaves the bin; tick what is picked.";

/// Said where nothing is taken.
pub(crate) const NOTHING: &str = "Nothing to pick: no pump can be kitted.";

/// Line below the table: its lines, all pieces, and those of them that are not stacked.
pub(crate) fn totals(lines: usize, pieces: u32, stacked: u32) -> String {
    let mut total = format!("{lines} lines, {pieces} pieces");
    if pieces > stacked {
        total.push_str(&format!(", {} of them consumables", pieces - stacked));
    }
    total
}

/// The items that are taken, in the order of their bins; what has no bin is looked for once the walk is done.
pub(crate) fn walk(job: &Job, issued: &[u32]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..job.stock.len()).filter(|&i| issued[i] > 0).collect();
    let bin = |i: &usize| job.stock[*i].bin.as_deref().unwrap_or_default();
    let homeless = |i: &usize| job.stock[*i].bin.is_none();
    order.sort_by(|a, b| {
        let bins = of_bins(bin(a), bin(b));
        homeless(a).cmp(&homeless(b)).then(bins).then(a.cmp(b))
    });
    order
}

/// Who of these pumps wants how many of each item, by the job's stock.
pub(crate) fn tags(
    verified: &Verified,
    pumps: impl IntoIterator<Item = usize>,
) -> Vec<Vec<String>> {
    let job = verified.job();
    let mut tags = vec![Vec::new(); job.stock.len()];
    for at in pumps.into_iter().filter(|&at| !verified.leaves_closed(at)) {
        let mut mine: BTreeMap<usize, (u32, &str)> = BTreeMap::new();
        for pick in verified.picks(at) {
            let (count, peel) = mine.entry(pick.item).or_insert((0, ""));
            *count += pick.count;
            if pick.peeled > 0 {
                *peel = ", to be peeled";
            }
        }
        for (item, (count, peel)) in mine {
            if count > 0 {
                tags[item].push(format!("{} ({count}{peel})", job.pumps[at].tag));
            }
        }
    }
    tags
}

/// The packs that are opened for an item, where what is left of them is spoiled. `taken` counts closed bags too.
pub(crate) fn packs_opened(job: &Job, item: usize, taken: u32) -> Option<String> {
    let lot = &job.stock[item];
    let opened = accounting::packs_opened(lot, taken);
    if !by_pack(job, item) || opened == 0 {
        return None;
    }
    let packs = if opened == 1 { "pack" } else { "packs" };
    Some(format!(
        "Open {opened} sealed {packs} of {}; {} left over, counted as spoiled",
        lot.carton_qty,
        spoiled(job, item, taken)
    ))
}
