//! Kits from before the plan: kits in bags, kits on slips, and those that are held.
//!
//! # Method
//!
//! Bags come before the waste among the goals, and serving before bags. So first every bag that conforms today stays closed:
//! its pieces are out of play, and the rest is chosen as ever. Where that serves every pump that can be served at all, no bag
//! is opened, and no other plan is better on the goals so far. Otherwise all is chosen together, and a bag that stays closed
//! is a column like others, which costs one less than they do.
//!
//! Held kits are out of play either way.
//!
//! Pieces to hold back are dealt with alike: they come after serving and before bags. First all of them are out of play. Where
//! that costs a pump or cannot be, each is a block of one column beside the pumps.
//!
//! # Decisions
//!
//! A closed bag takes no piece out of the stock for a peeled one that lies in it, and whoever opens it loses that one: its column
//! has fewer pieces than its kit, and is none of those that are listed.
//!
//! Packs that are spoiled once opened, and plates, are paid for together: there nothing is taken out of play, and a held
//! pump has the one column.

use std::sync::Arc;

use crate::accounting::{by_pack, piece_waste, verdicts};
use crate::choose::instance::{Column, CostRow, Instance, Uses};
use crate::choose::pattern::Demands;
use crate::choose::{Group, uses_of};
use crate::job::{HoldBack, Job, Standing};
use crate::plan::{Objective, PackPick};
use crate::stock::Item;

/// Kits that stood, as columns: those that conform today.
#[derive(Debug, Clone, Default)]
pub(super) struct Stood {
    /// By pump; empty where nothing stood.
    pumps: Vec<StoodFor>,
}

/// Kits that stood of one pump.
#[derive(Debug, Clone, Default)]
struct StoodFor {
    bag: Option<Column>,
    slip: Option<Column>,
    held: bool,
    /// The bag's kit with all its pieces, where some of them are peeled.
    afresh: Option<Column>,
}

impl Stood {
    /// Kits that stood in a job and conform.
    pub(super) fn of(job: &Job) -> Stood {
        let of = |(pump, standing): (usize, &Standing)| {
            let column = |kit: &Option<Vec<PackPick>>| column(job, pump, kit.as_deref()?);
            let afresh = column(&standing.bag);
            let bag = afresh.clone().zip(standing.bag.as_ref()).and_then(|(whole, kit)| {
                Some(Column { uses: uses_of(job.takes(pump, kit))?, ..whole })
            });
            let is_bag = standing.slip.as_ref().is_some_and(|slip| standing.keeps_bag(slip));
            StoodFor {
                afresh: afresh.filter(|_| standing.peeled().next().is_some()),
                slip: if is_bag { bag.clone() } else { column(&standing.slip) },
                bag,
                held: standing.held,
            }
        };
        Stood { pumps: job.standing.iter().enumerate().map(of).collect() }
    }

    /// Whether a pump's kit is held.
    pub(super) fn is_held(&self, pump: usize) -> bool {
        self.pumps.get(pump).is_some_and(|stood| stood.held)
    }

    /// Whether a pump has a bag that could stay closed.
    pub(super) fn has_bag(&self, pump: usize) -> bool {
        self.bag(pump).is_some()
    }

    /// Bag of a pump, if it conforms.
    fn bag(&self, pump: usize) -> Option<&Column> {
        self.pumps.get(pump)?.bag.as_ref()
    }

    /// Whether a bag in play holds pieces of an item.
    pub(super) fn has_in_play(&self, item: u16, out: &OutOfPlay) -> bool {
        let bags = self.pumps.iter().enumerate().filter(|(pump, _)| !out.has(*pump));
        let mut bags = bags.filter_map(|(_, stood)| stood.bag.as_ref());
        bags.any(|bag| bag.uses.iter().any(|(of, _)| *of == item))
    }

    /// Held kit of a pump, if it conforms.
    fn held(&self, pump: usize) -> Option<&Column> {
        let stood = self.pumps.get(pump).filter(|stood| stood.held)?;
        stood.bag.as_ref().or(stood.slip.as_ref())
    }

    /// Takes kits out of play, one after the other as far as there are pieces: those that are held, and bags that stay
    /// closed, then pieces to hold back, if asked. None where pieces are paid for together.
    pub(super) fn out_of_play(
        &self,
        job: &Job,
        closed: &dyn Fn(usize) -> bool,
        held_back: bool,
    ) -> OutOfPlay {
        let mut out = OutOfPlay {
            kits: vec![None; job.pumps.len()],
            available: job.stock.iter().map(Item::available).collect(),
            none: Vec::new(),
        };
        let together =
            !job.plates.is_empty() || (0..job.stock.len()).any(|item| by_pack(job, item));
        for pump in 0..self.pumps.len() {
            let held = self.is_held(pump);
            let column = match held {
                true => self.held(pump),
                false => self.bag(pump).filter(|_| closed(pump)),
            };
            let column = column.filter(|column| fits(&out.available, &column.uses));
            match column {
                Some(_) if together => {}
                Some(column) => {
                    for &(item, count) in &column.uses {
                        out.available[usize::from(item)] -= u32::from(count.unsigned_abs());
                    }
                    out.kits[pump] = Some(column.clone());
                }
                None if held => out.none.push(pump),
                None => {}
            }
        }
        for piece in &job.hold_back {
            let available = &mut out.available[piece.item];
            let is_out = held_back && !together && *available > 0;
            *available -= u32::from(is_out);
            out.kits.push(is_out.then(|| held_piece(piece)));
        }
        out
    }

    /// Enters the kits that stood among the columns of some pumps in play. A held pump has no other.
    pub(super) fn enter(&self, some: &[bool], columns: &mut [Vec<Column>]) {
        let pumps = self.pumps.iter().zip(columns).zip(some);
        for ((stood, columns), _) in pumps.filter(|(_, some)| **some) {
            // Not as good as the bag itself.
            columns.retain(|column| Some(column) != stood.afresh.as_ref());
            let known: Vec<Column> = [(&stood.bag, stood.afresh.is_some()), (&stood.slip, false)]
                .into_iter()
                .filter_map(|(kit, own)| Some((kit.as_ref()?, own)))
                // The list may be cut short.
                .filter(|(kit, own)| *own || columns.iter().any(|one| one.uses == kit.uses))
                .map(|(kit, _)| kit.clone())
                .collect();
            if stood.held {
                columns.clear();
            }
            for kit in known.into_iter().take(if stood.held { 1 } else { 2 }) {
                if !columns.contains(&kit) {
                    columns.push(kit);
                }
            }
        }
    }

    /// Costs of the goals that are about what stood, over the columns that a group has now.
    pub(super) fn price(&self, group: &Group, aims: &[Objective], instance: &mut Instance) {
        for (tier, aim) in instance.tiers.iter_mut().zip(aims) {
            let Some(kept) = StoodFor::counted(*aim) else { continue };
            let mut costs = vec![Vec::new(); instance.blocks.len()];
            for (block, pump) in group.pumps.iter().enumerate() {
                let Some(kit) = self.pumps.get(*pump).and_then(kept) else { continue };
                let Some(kit) = group.numbered(kit) else { continue };
                let columns = &instance.blocks[block];
                if let Some(at) = columns.iter().position(|column| *column == kit) {
                    costs[block] = vec![0; columns.len()];
                    costs[block][at] = -1;
                }
            }
            *tier = CostRow::Listed(Arc::new(costs));
        }
    }

    /// Number of a group's pumps with what a goal counts: closed bags, or slips.
    pub(super) fn standing(&self, group: &Group, aim: Objective) -> i64 {
        let Some(kept) = StoodFor::counted(aim) else { return 0 };
        let pumps = group.pumps.iter().filter_map(|&pump| self.pumps.get(pump));
        i64::try_from(pumps.filter_map(kept).count()).unwrap_or(i64::MAX)
    }

    /// The very pieces of a kit that stood, where a kit is as good as that.
    pub(super) fn as_it_was(&self, job: &Job, pump: usize, kit: Vec<PackPick>) -> Vec<PackPick> {
        let (Some(stood), Some(standing)) = (self.pumps.get(pump), job.standing_of(pump)) else {
            return kit;
        };
        if standing.keeps_bag(&kit) {
            return kit;
        }
        let Some(chosen) = column(job, pump, &kit) else { return kit };
        let same = |known: &Option<Column>| known.as_ref() == Some(&chosen);
        match (&standing.bag, &standing.slip) {
            (Some(bag), _) if same(&stood.bag) => bag.clone(),
            (_, Some(slip)) if same(&stood.slip) => slip.clone(),
            _ => kit,
        }
    }
}

impl StoodFor {
    /// Kit of a pump that a goal counts: its closed bag, or its slip.
    fn counted(aim: Objective) -> Option<fn(&StoodFor) -> Option<&Column>> {
        match aim {
            Objective::Reopened => Some(|stood| stood.bag.as_ref()),
            Objective::Slips => Some(|stood| stood.slip.as_ref()),
            _ => None,
        }
    }
}

/// Kits taken out of play, and what is left.
pub(super) struct OutOfPlay {
    /// Kit, by pump; then the pieces to hold back.
    pub kits: Vec<Option<Column>>,
    /// Pieces left of each item.
    pub available: Vec<u32>,
    /// Pumps whose kit is held and cannot be had.
    pub none: Vec<usize>,
}

impl OutOfPlay {
    /// Whether a pump is out of play, with a kit or without.
    pub(super) fn has(&self, pump: usize) -> bool {
        self.kits[pump].is_some() || self.none.contains(&pump)
    }

    /// Column of each piece to hold back that is in play; none for the others.
    pub(super) fn holders(&self, job: &Job) -> Vec<Vec<Column>> {
        let of = |(piece, out): (&HoldBack, &Option<Column>)| match out {
            None => vec![held_piece(piece)],
            Some(_) => Vec::new(),
        };
        job.hold_back.iter().zip(&self.kits[job.pumps.len()..]).map(of).collect()
    }

    /// Group of the pumps that have a kit, each with its one column; `None` if there are none.
    pub(super) fn group(&self) -> Option<(Group, Vec<Vec<Column>>)> {
        let kits =
            self.kits.iter().enumerate().filter_map(|(pump, kit)| Some((pump, kit.as_ref()?)));
        let (pumps, columns): (Vec<usize>, Vec<Vec<Column>>) =
            kits.map(|(pump, kit)| (pump, vec![kit.clone()])).unzip();
        let mut items: Vec<u16> = columns
            .iter()
            .flatten()
            .flat_map(|column| &column.uses)
            .map(|(item, _)| *item)
            .collect();
        items.sort_unstable();
        items.dedup();
        (!pumps.is_empty()).then_some((Group { pumps, suppliers: Vec::new(), items }, columns))
    }
}

/// Column of a piece to hold back: it stays where it is, and costs nothing.
pub(super) fn held_piece(piece: &HoldBack) -> Column {
    // There are no more items than a u16 counts.
    let item = u16::try_from(piece.item).unwrap_or(u16::MAX);
    Column { waste: 0, uses: [(item, 1)].into_iter().collect() }
}

fn fits(available: &[u32], uses: &Uses) -> bool {
    uses.iter()
        .all(|&(item, count)| u32::from(count.unsigned_abs()) <= available[usize::from(item)])
}

/// Column of a kit; `None` where it does not conform to today's figures.
fn column(job: &Job, pump: usize, packs: &[PackPick]) -> Option<Column> {
    let of = &job.pumps[pump];
    let conforms = job.fills_places(of, packs)
        && verdicts(job, of, packs).iter().all(crate::stack::Verdict::conforms);
    let uses = uses_of(packs.iter().flat_map(|pack| &pack.picks)).filter(|_| conforms)?;
    Some(Column { uses, waste: waste(job, pump, packs)? })
}

/// Waste of a kit, in millionths of the currency; `None` if a piece cannot be peeled so.
pub(super) fn waste(job: &Job, pump: usize, packs: &[PackPick]) -> Option<i64> {
    let (mut totals, mut waste) = (Vec::new(), 0);
    for pack in packs {
        let mut total = 0;
        for pick in &pack.picks {
            let count = i64::from(pick.count);
            total += count * job.stock[pick.item].peeled(pick.peeled)?.ticks();
            waste += count * piece_waste(job, pick.item, pick.peeled).raw();
        }
        totals.push(total);
    }
    let demands = Demands::of(&job.pumps[pump], job, job.policy.guard());
    Some(waste + demands.off_target(&totals, &job.policy))
}
