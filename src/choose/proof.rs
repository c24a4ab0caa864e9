//! Notes of a search, of which the certificate of a goal is made.
//!
//! # Decision
//!
//! Only so much is noted as costs nothing beside the search. A search of more nodes has no certificate.

use std::collections::BTreeMap;

use crate::certificate::{
    GoalProof, GroupProof, ProofCut, ProofMultipliers, ProofNode, ProofSplit, ProofSupplier, UNIT,
};
use crate::choose::bound::{Multipliers, Range, SCALE};
use crate::choose::cuts::Cut;
use crate::choose::instance::Instance;
use crate::choose::supply::Supplier;

const _: () = assert!(UNIT == SCALE, "certificates have the multipliers of the bounds");

/// Most nodes that are noted, and most multipliers in all of them.
const MOST_NODES: usize = 20_000;
const MOST_MULTIPLIERS: usize = 400_000;

/// Rule that tells two halves of a node apart, in the numbers of the bare problem.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Rule {
    /// All blocks take more than so many pieces of a set.
    MoreThan(usize, i64),
    /// A block takes a column at all, or one with at least so many pieces of an item.
    Takes(usize, Option<(u16, i16)>),
    /// Another rule, which no certificate knows.
    Other,
}

/// Nodes of a search by their number, the root 0; `None` once there are too many, and where nothing is noted.
#[derive(Debug, Clone)]
pub(super) struct Notes(Option<Noted>);

#[derive(Debug, Clone, Default)]
struct Noted {
    nodes: BTreeMap<usize, Note>,
    multipliers: usize,
}

#[derive(Debug, Clone)]
struct Note {
    bound: i64,
    multipliers: ProofMultipliers,
    /// Rule, and the halves: the one where it does not hold, the one where it does.
    split: Option<(Rule, [usize; 2])>,
}

impl Notes {
    /// Nothing noted yet.
    pub(super) fn begin() -> Notes {
        Notes(Some(Noted::default()))
    }

    /// No notes at all.
    pub(super) fn none() -> Notes {
        Notes(None)
    }

    /// Notes the bound of a node, rounded up, with its multipliers.
    pub(super) fn bound(
        &mut self,
        node: usize,
        bound: i64,
        multipliers: &Multipliers,
        ranges: &[Range],
    ) {
        let Some(noted) = &mut self.0 else { return };
        let multipliers = sparse(multipliers, ranges);
        noted.multipliers += multipliers.sets.len() + multipliers.goals.len();
        noted.nodes.insert(node, Note { bound, multipliers, split: None });
        if noted.nodes.len() > MOST_NODES || noted.multipliers > MOST_MULTIPLIERS {
            self.0 = None;
        }
    }

    /// Notes how a node is split.
    pub(super) fn split(&mut self, node: usize, rule: Rule, halves: [usize; 2]) {
        if rule == Rule::Other {
            self.0 = None;
        }
        if let Some(note) = self.0.as_mut().and_then(|noted| noted.nodes.get_mut(&node)) {
            note.split = Some((rule, halves));
        }
    }

    /// Proof of a bound, in the numbers of the bare problem: splits below a node that settles it are left out.
    pub(super) fn proof(&self, bound: i64) -> Option<RawProof> {
        let noted = self.0.as_ref()?;
        let mut nodes: Vec<RawNode> = Vec::new();
        // Node, and the place where its own is entered.
        let mut open: Vec<(usize, Option<(usize, usize)>)> = vec![(0, None)];
        while let Some((number, parent)) = open.pop() {
            let at = nodes.len();
            if let Some((parent, half)) = parent
                && let Some((_, halves)) = &mut nodes[parent].1
            {
                halves[half] = at;
            }
            let note = noted.nodes.get(&number);
            let split = note.filter(|note| note.bound < bound).and_then(|note| note.split);
            open.extend(
                split
                    .iter()
                    .flat_map(|(_, halves)| [1, 0].map(|half| (halves[half], Some((at, half))))),
            );
            nodes.push((note.map(|note| note.multipliers.clone()).unwrap_or_default(), split));
        }
        Some(RawProof { bound, before: Vec::new(), cuts: Vec::new(), nodes })
    }
}

type RawNode = (ProofMultipliers, Option<(Rule, [usize; 2])>);

/// Proof of a goal of a bare problem.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RawProof {
    bound: i64,
    /// Multipliers by which columns were left out before the search.
    before: Vec<ProofMultipliers>,
    /// Cuts that the nodes refer to.
    cuts: Vec<ProofCut>,
    nodes: Vec<RawNode>,
}

impl RawProof {
    /// Proof of a goal that a plan reaches by serving every pump.
    pub(super) fn of_all_served(bound: i64) -> RawProof {
        RawProof { bound, before: Vec::new(), cuts: Vec::new(), nodes: Vec::new() }
    }

    /// Proof of a bound by multipliers alone.
    pub(super) fn of_root(bound: i64, multipliers: &Multipliers, ranges: &[Range]) -> RawProof {
        let nodes = vec![(sparse(multipliers, ranges), None)];
        RawProof { bound, before: Vec::new(), cuts: Vec::new(), nodes }
    }

    /// The proof, where the earlier goals from this one on are cuts.
    pub(super) fn with_cuts(mut self, tier: usize, cuts: &[Cut]) -> RawProof {
        let mut known = Vec::new();
        for (multipliers, _) in &mut self.nodes {
            let goals = std::mem::take(&mut multipliers.goals);
            let (goals, own): (Vec<_>, Vec<_>) = goals.into_iter().partition(|(at, _)| *at < tier);
            multipliers.goals = goals;
            let enter = |(at, multiplier): (usize, i128)| {
                (cuts[at - tier].enter(&mut known, &mut self.cuts), multiplier)
            };
            multipliers.cuts = own.into_iter().map(enter).collect();
        }
        self
    }

    /// The proof of a lower bound, if this one is higher.
    pub(super) fn of_at_most(mut self, bound: i64) -> RawProof {
        self.bound = self.bound.min(bound);
        self
    }

    /// The proof, where these multipliers left out columns before the search, and before other ones did.
    pub(super) fn within(mut self, multipliers: &Multipliers, ranges: &[Range]) -> RawProof {
        self.before.insert(0, sparse(multipliers, ranges));
        self
    }

    /// Proof in the numbers of the job. `None` where a split cannot be told.
    fn named(&self, of: &Named<'_>) -> Option<GoalProof> {
        let node = |(multipliers, halves): &RawNode| {
            let halves = match *halves {
                Some((rule, [no, yes])) => match of.split(rule)? {
                    (split, true) => Some((split, [no, yes])),
                    (split, false) => Some((split, [yes, no])),
                },
                None => None,
            };
            Some(ProofNode { multipliers: multipliers.clone(), split: halves })
        };
        let nodes = self.nodes.iter().map(node).collect::<Option<_>>()?;
        let (before, cuts) = (self.before.clone(), self.cuts.clone());
        Some(GoalProof { bound: self.bound, before, cuts, nodes })
    }
}

/// Bare problem of a group, with what its pumps, items and suppliers are in the job.
pub(super) struct Named<'a> {
    pub(super) pumps: &'a [usize],
    pub(super) items: &'a [u16],
    pub(super) suppliers: Vec<&'a Supplier>,
    pub(super) instance: &'a Instance,
}

impl Named<'_> {
    /// Proofs of the group's goals.
    pub(super) fn proofs(&self, proofs: &[Option<RawProof>]) -> GroupProof {
        let item = |item: u32| self.items[item as usize].into();
        let set = |set: Vec<u32>| set.into_iter().map(item).collect();
        let supplier = |supplier: &&Supplier| match (&supplier.layout, supplier.by_pack) {
            (Some(layout), _) => ProofSupplier::Layout {
                plate: layout.plate,
                along: layout.along,
                strips: layout.strips.clone(),
            },
            (None, item) => ProofSupplier::Packs { item: item.unwrap_or(usize::MAX) },
        };
        let mut group = GroupProof {
            pumps: self.pumps.to_vec(),
            sets: self.instance.sets().into_iter().map(set).collect(),
            suppliers: self.suppliers.iter().map(supplier).collect(),
            goals: proofs.iter().map(|proof| proof.as_ref()?.named(self)).collect(),
        };
        only_used(&mut group);
        group
    }

    /// Split by a rule, and whether it is true where the rule holds.
    fn split(&self, rule: Rule) -> Option<(ProofSplit, bool)> {
        match rule {
            Rule::MoreThan(set, pieces) => Some((ProofSplit::MoreThan { set, pieces }, true)),
            Rule::Takes(block, Some(taken)) if block >= self.pumps.len() => {
                self.supplies(block, taken)
            }
            Rule::Takes(block, None) => {
                Some((ProofSplit::Served { pump: *self.pumps.get(block)? }, true))
            }
            Rule::Takes(block, Some((item, count))) => {
                let item = self.items[usize::from(item)].into();
                let least = u32::try_from(count).ok()?;
                Some((ProofSplit::Takes { pump: self.pumps[block], item, least }, true))
            }
            Rule::Other => None,
        }
    }

    /// Split of a supplier, whose columns put in ever more.
    fn supplies(&self, block: usize, (item, count): (u16, i16)) -> Option<(ProofSplit, bool)> {
        let supplier = block - self.pumps.len();
        let is_layout = self.suppliers[supplier].layout.is_some();
        let amounts = self.instance.blocks[block].iter().enumerate().map(|(number, column)| {
            let pieces = column.uses.first().map_or(0, |(_, pieces)| pieces.unsigned_abs().into());
            let holds = column.uses.iter().any(|&(i, n)| i == item && n >= count);
            (if is_layout { u32::try_from(number).unwrap_or(u32::MAX) } else { pieces }, holds)
        });
        let amounts: Vec<(u32, bool)> = amounts.collect();
        let (_, first) = *amounts.first()?;
        let (least, holds) = *amounts.iter().find(|(_, holds)| *holds != first)?;
        Some((ProofSplit::Supplies { supplier, least }, holds))
    }
}

/// Leaves out the sets and suppliers that nothing refers to.
fn only_used(group: &mut GroupProof) {
    fn renumber(number: &mut BTreeMap<usize, usize>, of: &mut usize) {
        let next = number.len();
        *of = *number.entry(*of).or_insert(next);
    }
    fn only<T: Clone>(all: &mut Vec<T>, number: BTreeMap<usize, usize>) {
        let mut used: Vec<(usize, usize)> =
            number.into_iter().map(|(old, new)| (new, old)).collect();
        used.sort_unstable();
        *all = used.into_iter().filter_map(|(_, old)| all.get(old).cloned()).collect();
    }
    let (mut sets, mut suppliers) = (BTreeMap::new(), BTreeMap::new());
    for goal in group.goals.iter_mut().flatten() {
        let nodes = goal.nodes.iter_mut();
        let (multipliers, splits): (Vec<_>, Vec<_>) =
            nodes.map(|node| (&mut node.multipliers, &mut node.split)).unzip();
        let all = goal.before.iter_mut().chain(multipliers);
        all.flat_map(|all| &mut all.sets).for_each(|(set, ..)| renumber(&mut sets, set));
        let of_cuts = goal.cuts.iter_mut().flat_map(|cut| &mut cut.sets);
        of_cuts.for_each(|(set, _)| renumber(&mut sets, set));
        for (split, _) in splits.into_iter().flatten() {
            match split {
                ProofSplit::MoreThan { set, .. } => renumber(&mut sets, set),
                ProofSplit::Supplies { supplier, .. } => renumber(&mut suppliers, supplier),
                ProofSplit::Served { .. } | ProofSplit::Takes { .. } => {}
            }
        }
    }
    only(&mut group.sets, sets);
    only(&mut group.suppliers, suppliers);
}

/// Multipliers that are not zero; that of a side without a limit counts as zero.
fn sparse(all: &Multipliers, ranges: &[Range]) -> ProofMultipliers {
    let sets = all.sets.iter().zip(ranges).enumerate().map(|(set, (&(most, least), range))| {
        (set, if range.most.is_some() { most } else { 0 }, least)
    });
    let goals = all.goals.iter().enumerate().filter(|(_, goal)| **goal != 0);
    ProofMultipliers {
        sets: sets.filter(|(_, most, least)| (*most, *least) != (0, 0)).collect(),
        goals: goals.map(|(goal, &multiplier)| (goal, multiplier)).collect(),
        cuts: Vec::new(),
    }
}
