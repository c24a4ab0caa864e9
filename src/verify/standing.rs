//! Kits from before the plan, for the certificate: those that are out of play.
//!
//! A held kit is out of play. So are bags, where every bag that conforms stays closed: serving comes before bags, so that is
//! best only if every pump that could be kitted is, which is shown of the others. Where packs are spoiled once opened, or
//! plates are cut up, all is paid for together and nothing is out of play.

use std::collections::BTreeMap;

use super::certificate::{NotShown, wrong};
use super::fillings::available;
use super::limits;
use super::supplies::is_supplied;
use crate::job::{Job, Standing};
use crate::plan::{Kit, PackPick, Pick, Plan};

/// Pumps out of play.
pub(super) struct OutOfPlay {
    /// Whether a pump is, with a kit or without.
    pub(super) pumps: Vec<bool>,
    /// Pieces of each item that they have.
    pub(super) taken: Vec<i64>,
    /// Of them, what held kits have.
    held: Vec<i64>,
    /// Whether bags are that nobody holds.
    pub(super) bags: bool,
    kits: usize,
}

impl OutOfPlay {
    /// Pumps of a plan that are out of play: of those that stand in no group of its certificate.
    ///
    /// # Errors
    /// A held kit that the plan has not, and could have.
    pub(super) fn of(job: &Job, plan: &Plan, grouped: &[bool]) -> Result<OutOfPlay, NotShown> {
        let pumps = vec![false; job.pumps.len()];
        let none = vec![0; job.stock.len()];
        let mut out = OutOfPlay { pumps, taken: none.clone(), held: none, bags: false, kits: 0 };
        let together =
            !job.plates.is_empty() || (0..job.stock.len()).any(|item| is_supplied(job, item));
        let stands = || job.standing.iter().zip(&plan.kits).enumerate();
        let closed = |(pump, (stands, kit)): (usize, (&Standing, &Kit))| match (&stands.bag, kit) {
            (Some(_), Kit::Served(packs)) if stands.keeps_bag(packs) => true,
            (Some(bag), _) => !conforms(job, pump, bag),
            (None, _) => true,
        };
        let closed = stands().all(closed);
        for (pump, (stands, kit)) in stands() {
            let keeps = match kit {
                Kit::Served(packs) if stands.bag.is_some() => stands.keeps_bag(packs),
                Kit::Served(packs) => stands.held && stands.keeps_slip(packs),
                Kit::Short(_) => false,
            };
            if keeps && (stands.held || closed) && !grouped[pump] && !together {
                out.bags |= !stands.held;
                out.kits += 1;
                out.pumps[pump] = true;
                if let Kit::Served(packs) = kit {
                    add(&mut out.taken, packs);
                    if stands.held {
                        add(&mut out.held, packs);
                    }
                }
            }
        }
        for (pump, (stands, _)) in stands().filter(|(_, (stands, _))| stands.held) {
            if out.pumps[pump] || grouped[pump] {
                continue;
            }
            // It has no kit: none that it could have, or its pieces are not there beside the other ones.
            let kit = stands.bag.as_ref().or(stands.slip.as_ref());
            let mut taken = out.taken.clone();
            if let Some(kit) = kit.filter(|kit| conforms(job, pump, kit)) {
                add(&mut taken, kit);
                if !overdrawn(job, &taken) {
                    return Err(wrong("a held kit that could be had"));
                }
            }
            out.pumps[pump] = true;
        }
        Ok(out)
    }

    /// Whether these pieces are there beside the held kits, and with `bags` beside all that are out of play.
    pub(super) fn leaves<'p>(
        &self,
        job: &Job,
        picks: impl Iterator<Item = &'p Pick>,
        bags: bool,
    ) -> bool {
        let out = if bags { &self.taken } else { &self.held };
        let mut taken: BTreeMap<usize, i64> = BTreeMap::new();
        picks.for_each(|pick| *taken.entry(pick.item).or_default() += i64::from(pick.count));
        let there = |item: usize| i64::from(available(&job.stock[item])) - out[item];
        taken.into_iter().all(|(item, count)| count <= there(item))
    }

    /// Number of kits out of play.
    pub(super) fn kits(&self) -> usize {
        self.kits
    }
}

fn add(taken: &mut [i64], packs: &[PackPick]) {
    for pick in packs.iter().flat_map(|pack| &pack.picks) {
        taken[pick.item] += i64::from(pick.count);
    }
}

fn overdrawn(job: &Job, taken: &[i64]) -> bool {
    job.stock.iter().zip(taken).any(|(lot, taken)| *taken > available(lot).into())
}

/// Whether a kit meets every requirement of a pump today.
pub(super) fn conforms(job: &Job, pump: usize, packs: &[PackPick]) -> bool {
    let of = &job.pumps[pump];
    let rule = job.policy.acceptance;
    let holds = || of.requirements.iter().all(|r| limits::hold(job, of, packs, &r.form, rule));
    job.fills_places(of, packs) && holds()
}
