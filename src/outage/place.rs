//! Place of a plan in a running outage, as its pages say it.

use std::collections::BTreeMap;

use super::pump::{OutagePump, PumpState};
use super::{KitPiece, Outage};
use crate::changes::SlipChange;

/// Place of a plan in a running outage.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PlaceInOutage {
    /// Name of the outage.
    pub name: String,
    /// Number of the plan in it, from 1.
    pub plan: u32,
    /// End of the ledger: number of its last entry and the beginning of that entry's hash.
    pub ledger: String,
    /// Number of each kit in the outage, by the tag of its pump.
    pub kits: BTreeMap<String, u32>,
    /// Advice on a pump's bag from before, by its tag.
    pub bags: BTreeMap<String, String>,
    /// Pumps whose bags are to be put back before anything is picked.
    pub put_back: Vec<String>,
    /// Changes from the plan before.
    pub changes: Vec<SlipChange>,
}

impl PlaceInOutage {
    /// Place of the last plan of an outage of this name.
    pub fn of(name: &str, outage: &Outage, changes: Vec<SlipChange>) -> PlaceInOutage {
        let numbered = |pump: &OutagePump| Some((pump.tag.clone(), pump.kit.as_ref()?.number));
        let advised = |pump: &OutagePump| Some((pump.tag.clone(), advice(pump)?));
        PlaceInOutage {
            name: name.to_string(),
            plan: outage.last_plan().map_or(0, |plan| plan.number),
            ledger: outage.head().to_string(),
            kits: outage.pumps().filter_map(numbered).collect(),
            bags: outage.pumps().filter_map(advised).collect(),
            put_back: outage
                .pumps()
                .filter(|pump| pump.is_to_be_put_back())
                .map(|pump| pump.tag.clone())
                .collect(),
            changes,
        }
    }

    /// Number of the plan that it takes the place of.
    pub fn replaces(&self) -> Option<u32> {
        self.plan.checked_sub(1).filter(|plan| *plan > 0)
    }

    /// Outage, plan and end of the ledger in words.
    pub fn words(&self) -> String {
        let replaces = self.replaces().map_or(String::new(), |plan| format!(" (replaces {plan})"));
        format!("{}, plan {}{replaces}, ledger {}", self.name, self.plan, self.ledger)
    }
}

/// Advice on a bag, if there is one.
fn advice(pump: &OutagePump) -> Option<String> {
    if pump.state != PumpState::Bagged {
        return None;
    }
    let kit = pump.kit.as_ref().filter(|_| pump.reopen);
    Some(match kit {
        Some(kit) => {
            let moved = |from: &[KitPiece], to: &[KitPiece]| {
                let more: Vec<String> = without(from, to).iter().map(KitPiece::to_string).collect();
                if more.is_empty() { "nothing".to_string() } else { more.join(", ") }
            };
            let out = without(&pump.bag, &kit.pieces);
            let lost = match out.iter().any(|piece| piece.peeled_to.is_some()) {
                true => " A peeled piece goes back into no bin.",
                false => "",
            };
            format!(
                "Its bag is to be reopened. Out of it: {}. Into it: {}.{lost}",
                moved(&pump.bag, &kit.pieces),
                moved(&kit.pieces, &pump.bag)
            )
        }
        None if pump.is_to_be_put_back() => {
            "Its bag no longer conforms: put its pieces back into their bins.".into()
        }
        None => "In its bag already: leave it closed.".into(),
    })
}

/// Pieces of the one that the other has not.
fn without(one: &[KitPiece], other: &[KitPiece]) -> Vec<KitPiece> {
    let in_other = |piece: &KitPiece| {
        let same = |there: &&KitPiece| {
            (&there.place, &there.item, &there.peeled_to)
                == (&piece.place, &piece.item, &piece.peeled_to)
        };
        other.iter().filter(same).map(|there| there.count).sum::<u32>()
    };
    let left = one.iter().map(|piece| KitPiece {
        count: piece.count.saturating_sub(in_other(piece)),
        ..piece.clone()
    });
    left.filter(|piece| piece.count > 0).collect()
}
