//! Differences between the plan that somebody has seen and the plan at hand, pump by pump.

use std::collections::BTreeMap;

use crate::issue::key;
use crate::plan::Kit;
use crate::verify::Verified;
use crate::words;

/// Pieces of one kind and thickness in a place of a kit.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct KitPieces {
    /// Index of the place in the model.
    pub pack: usize,
    /// Stock number.
    pub item: String,
    /// Layers peeled off each.
    pub peeled: u32,
    /// Number of pieces.
    pub count: u32,
}

/// Fate of a pump in a plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fate {
    /// A reading is missing; the headings of the missing ones.
    NotMeasured(String),
    /// NOT FIT TO ASSEMBLE, and why.
    Short(String),
    /// A kit of these pieces.
    Kitted(Vec<KitPieces>),
}

/// A pump whose fate is another one than before.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FateChange {
    /// Tag of the pump.
    pub tag: String,
    /// Fate in the plan that was seen; `None` of a pump that it did not have.
    pub before: Option<Fate>,
    /// Fate in the plan at hand.
    pub now: Fate,
}

impl FateChange {
    /// Pieces that go out of the kit, and those that come in.
    pub fn pieces(&self) -> [Vec<KitPieces>; 2] {
        let of = |fate: Option<&Fate>| match fate {
            Some(Fate::Kitted(pieces)) => pieces.clone(),
            _ => Vec::new(),
        };
        let (before, now) = (of(self.before.as_ref()), of(Some(&self.now)));
        [less(&before, &now), less(&now, &before)]
    }

    /// Whether the pump had a kit, or could still get one, and is NOT FIT TO ASSEMBLE now.
    pub fn became_short(&self) -> bool {
        matches!(self.now, Fate::Short(_)) && !matches!(self.before, Some(Fate::Short(_)))
    }
}

/// Pieces of one kit beyond those of another.
fn less(these: &[KitPieces], those: &[KitPieces]) -> Vec<KitPieces> {
    let same =
        |a: &KitPieces, b: &KitPieces| (a.pack, &a.item, a.peeled) == (b.pack, &b.item, b.peeled);
    let mut over = Vec::new();
    for piece in these {
        let other = those.iter().find(|other| same(piece, other)).map_or(0, |other| other.count);
        if piece.count > other {
            over.push(KitPieces { count: piece.count - other, ..piece.clone() });
        }
    }
    over
}

/// Fates of all pumps of a plan, by the key of their tags.
pub(super) fn fates(planned: &Verified) -> BTreeMap<String, Fate> {
    listed(planned).into_iter().map(|(tag, fate)| (key(&tag), fate)).collect()
}

/// Pumps whose fates differ. Another reason for being short is no change of what is fit.
pub(super) fn between(seen: &BTreeMap<String, Fate>, planned: &Verified) -> Vec<FateChange> {
    let mut changes = Vec::new();
    for (tag, now) in listed(planned) {
        let before = seen.get(&key(&tag)).cloned();
        let alike = match (&before, &now) {
            (Some(Fate::Short(_)), Fate::Short(_)) => true,
            (before, now) => before.as_ref() == Some(now),
        };
        if !alike {
            changes.push(FateChange { tag, before, now });
        }
    }
    changes
}

fn listed(planned: &Verified) -> Vec<(String, Fate)> {
    let (job, plan) = (planned.job(), planned.plan());
    let kits = job.pumps.iter().zip(&plan.kits).map(|(pump, kit)| {
        let fate = match kit {
            Kit::Short(shorts) => Fate::Short(words::reasons(job, pump, shorts)),
            Kit::Served(packs) => {
                let mut pieces: BTreeMap<(usize, usize, u32), u32> = BTreeMap::new();
                for (pack, picks) in packs.iter().enumerate() {
                    for pick in &picks.picks {
                        *pieces.entry((pack, pick.item, pick.peeled)).or_default() += pick.count;
                    }
                }
                let pieces = pieces.into_iter().map(|((pack, item, peeled), count)| {
                    let item = job.stock[item].item.clone();
                    KitPieces { pack, item, peeled, count }
                });
                Fate::Kitted(pieces.collect())
            }
        };
        (pump.row, pump.tag.clone(), fate)
    });
    let waiting = job.not_measured.iter().map(|pump| {
        let row = match pump.waits_for.first().map(|reading| &reading.place.spot) {
            Some(crate::problem::Spot::Cell { row, .. }) => *row,
            _ => u32::MAX,
        };
        (row, pump.tag.clone(), Fate::NotMeasured(words::waits_for(pump)))
    });
    let mut all: Vec<_> = kits.chain(waiting).collect();
    all.sort_by_key(|(row, ..)| *row);
    all.into_iter().map(|(_, tag, fate)| (tag, fate)).collect()
}
