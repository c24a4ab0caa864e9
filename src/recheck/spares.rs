//! Spare pieces for a swap.

use super::as_found::moved;
use crate::job::Job;
use crate::plan::{PackPick, Pick};

/// Pieces and sheets that no kit of the plan has claimed.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Left {
    /// Pieces of each item, by the job's stock; 0 for items cut from sheets.
    pub pieces: Vec<u32>,
    /// Whole sheets of each lot, by the job's sheets.
    pub plates: Vec<u32>,
}

impl Left {
    /// Everything that the stock offers.
    pub fn all(job: &Job) -> Left {
        let pieces = job.stock.iter();
        Left {
            pieces: pieces
                .map(|item| match item.cut {
                    Some(_) => 0,
                    None => item.available(),
                })
                .collect(),
            plates: job.plates.iter().map(|lot| lot.available()).collect(),
        }
    }

    /// Pieces of an item that could be had alone.
    pub(super) fn of(&self, job: &Job, item: usize) -> u32 {
        match job.stock[item].cut {
            None => self.pieces[item],
            Some(cut) => {
                let each = job.plates[cut.plate].yields(cut.outside);
                each.saturating_mul(self.plates[cut.plate])
            }
        }
    }

    /// Whole sheets of each lot that pieces take: separate sheets for each shape, which can always be cut.
    fn plates_for(job: &Job, drawn: &[Pick]) -> Vec<u32> {
        let mut sheets = vec![0_u32; job.plates.len()];
        for pick in drawn {
            if let Some(cut) = job.stock[pick.item].cut {
                let each = job.plates[cut.plate].yields(cut.outside).max(1);
                sheets[cut.plate] += pick.count.div_ceil(each);
            }
        }
        sheets
    }

    /// Whether the drawers hold all these pieces at once.
    pub(super) fn holds(&self, job: &Job, drawn: &[Pick]) -> bool {
        let mut pieces = vec![0_u32; job.stock.len()];
        for pick in drawn.iter().filter(|pick| job.stock[pick.item].cut.is_none()) {
            pieces[pick.item] += pick.count;
        }
        let sheets = Left::plates_for(job, drawn);
        let enough = |wanted: &[u32], left: &[u32]| wanted.iter().zip(left).all(|(w, l)| w <= l);
        enough(&pieces, &self.pieces) && enough(&sheets, &self.plates)
    }

    /// Takes pieces out of the drawers.
    pub(super) fn take(&mut self, job: &Job, drawn: &[Pick]) {
        for pick in drawn.iter().filter(|pick| job.stock[pick.item].cut.is_none()) {
            self.pieces[pick.item] = self.pieces[pick.item].saturating_sub(pick.count);
        }
        for (left, taken) in self.plates.iter_mut().zip(Left::plates_for(job, drawn)) {
            *left = left.saturating_sub(taken);
        }
    }
}

/// Pieces needed from the drawers for a change. A laminated piece that is taken out can go back in with more of its
/// layers peeled off.
pub(super) fn drawn(before: &PackPick, after: &PackPick) -> Vec<Pick> {
    let [mut out, into] = moved(before, after);
    // The thickest removed piece serves the thinnest wanted one.
    out.sort_by_key(|pick| std::cmp::Reverse(pick.peeled));
    let mut wanted = into;
    wanted.sort_by_key(|pick| std::cmp::Reverse(pick.peeled));
    for want in &mut wanted {
        let serves = |pick: &&mut Pick| pick.item == want.item && pick.peeled < want.peeled;
        for spare in out.iter_mut().filter(serves) {
            let used = spare.count.min(want.count);
            spare.count -= used;
            want.count -= used;
        }
    }
    wanted.retain(|pick| pick.count > 0);
    wanted
}
