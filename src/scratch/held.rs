//! Kits of a scratch copy that stay as they are.

use std::collections::BTreeMap;

use super::KitPieces;
use crate::issue::key;
use crate::job::{Job, Standing};
use crate::plan::PackPick;
use crate::pump::Pump;
use crate::stock::Pick;

/// Pieces of kits that are held, by the key of the tag.
pub(super) type HeldKits = BTreeMap<String, Vec<KitPieces>>;

/// Pieces of a kit by their stock numbers, which hold for another state of the workbooks as well.
pub(super) fn named(job: &Job, packs: &[PackPick]) -> Vec<KitPieces> {
    let places = packs.iter().enumerate();
    let picks = places.flat_map(|(pack, picks)| picks.picks.iter().map(move |pick| (pack, pick)));
    let named = picks.map(|(pack, pick)| KitPieces {
        pack,
        item: job.stock[pick.item].item.clone(),
        peeled: pick.peeled,
        count: pick.count,
    });
    named.collect()
}

/// Pieces in the stock of a job; `None` where one of them is no longer in it.
fn found(job: &Job, pump: &Pump, pieces: &[KitPieces]) -> Option<Vec<PackPick>> {
    let mut packs = vec![PackPick::default(); job.model_of(pump).packs.len()];
    for piece in pieces {
        let item = job.stock.iter().position(|lot| lot.item == piece.item)?;
        let pick = Pick { item, count: piece.count, peeled: piece.peeled };
        packs.get_mut(piece.pack)?.picks.push(pick);
    }
    Some(packs)
}

/// A job in which the kits of these pumps are held. A kit whose pieces are gone stays held: its pump is short, and says why.
pub(super) fn with_held(job: Job, held: &HeldKits) -> Job {
    if held.is_empty() {
        return job;
    }
    let mut standing = job.standing.clone();
    standing.resize_with(job.pumps.len(), Standing::default);
    for (pump, stands) in job.pumps.iter().zip(&mut standing) {
        if let Some(pieces) = held.get(&key(&pump.tag)) {
            stands.held = true;
            if stands.bag.is_none() {
                stands.slip = found(&job, pump, pieces);
            }
        }
    }
    let plain = job.clone();
    // Pieces that were found in the stock are in it.
    job.with(|parts| parts.standing = standing).unwrap_or(plain)
}
