//! Kits from before the plan, for the certificate: those that are out of play.
//!
//! A held kit is out of play. So are bags, where every bag that conforms stays closed: serving comes before bags, so that is
//! best only if every pump that could be kitted is, which is shown of the others. Pieces that are held back, and stand in no
//! group, are out of play alike: all of them must be held back then. Where packs are spoiled once opened, or
//! plates are cut up, all is paid for together and nothing is out of play.

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
    /// Pieces of each item that are left.
    pub(super) left: Vec<i64>,
    /// Pieces of each item beside held kits alone.
    pub(super) beside_held: Vec<i64>,
    /// Whether bags are that nobody holds.
    pub(super) bags: bool,
    /// Whether pieces are that are held back.
    pub(super) pieces: bool,
    kits: usize,
}

impl OutOfPlay {
    /// Pumps of a plan that are out of play: of those that stand in no group of its certificate.
    ///
    /// # Errors
    /// A held kit that the plan has not, and could have.
    pub(super) fn of(job: &Job, plan: &Plan, grouped: &[bool]) -> Result<OutOfPlay, NotShown> {
        let pumps = vec![false; grouped.len()];
        let left: Vec<i64> = job.stock.iter().map(|lot| available(lot).into()).collect();
        let beside_held = left.clone();
        let mut out = OutOfPlay { pumps, left, beside_held, bags: false, pieces: false, kits: 0 };
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
                    take(&mut out.left, job.takes(pump, packs));
                    if stands.held {
                        take(&mut out.beside_held, job.takes(pump, packs));
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
            if let Some(kit) = kit.filter(|kit| conforms(job, pump, kit)) {
                let mut left = out.left.clone();
                take(&mut left, job.takes(pump, kit));
                if left.iter().all(|left| *left >= 0) {
                    return Err(wrong("a held kit that could be had"));
                }
            }
            out.pumps[pump] = true;
        }
        for (piece, of) in job.hold_back.iter().enumerate() {
            let block = job.pumps.len() + piece;
            if grouped[block] {
                continue;
            }
            if !plan.held_back.contains(&piece) {
                return Err(wrong("a piece that is not held back stands in no group"));
            }
            out.pieces = true;
            out.pumps[block] = true;
            out.left[of.item] -= 1;
        }
        Ok(out)
    }

    /// Whether a bag could stay closed beside the held kits.
    pub(super) fn could_stay_closed(&self, job: &Job, pump: usize) -> bool {
        let bag = job.standing.get(pump).and_then(|stands| stands.bag.as_ref());
        bag.is_some_and(|bag| {
            let mut left = self.beside_held.clone();
            take(&mut left, job.takes(pump, bag));
            conforms(job, pump, bag) && left.iter().all(|left| *left >= 0)
        })
    }

    /// Number of kits out of play.
    pub(super) fn kits(&self) -> usize {
        self.kits
    }
}

fn take<'a>(left: &mut [i64], pieces: impl Iterator<Item = &'a Pick>) {
    pieces.for_each(|pick| left[pick.item] -= i64::from(pick.count));
}

/// Whether a kit meets every requirement of a pump today.
pub(super) fn conforms(job: &Job, pump: usize, packs: &[PackPick]) -> bool {
    let of = &job.pumps[pump];
    let rule = job.policy.acceptance;
    let holds = || of.requirements.iter().all(|r| limits::hold(job, of, packs, &r.form, rule));
    job.fills_places(of, packs) && holds()
}
