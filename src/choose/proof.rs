//! Notes of a search, of which the certificate of a goal is made.
//!
//! # Decision
//!
//! Only so much is noted as costs nothing beside the search. A search of more nodes has no certificate.

use std::collections::BTreeMap;

use crate::certificate::{GoalProof, GroupProof, ProofMultipliers, ProofNode, ProofSplit, UNIT};
use crate::choose::bound::{Multipliers, SCALE};
use crate::choose::instance::Instance;

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
    pub(super) fn bound(&mut self, node: usize, bound: i64, multipliers: &Multipliers) {
        let Some(noted) = &mut self.0 else { return };
        let multipliers = sparse(multipliers);
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
        Some(RawProof { bound, nodes })
    }
}

type RawNode = (ProofMultipliers, Option<(Rule, [usize; 2])>);

/// Proof of a goal of a bare problem.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RawProof {
    bound: i64,
    nodes: Vec<RawNode>,
}

impl RawProof {
    /// Proof of a goal that a plan reaches by serving every pump.
    pub(super) fn of_all_served(bound: i64) -> RawProof {
        RawProof { bound, nodes: Vec::new() }
    }

    /// Proof in the numbers of the job: its pumps and items, of the group's in their order. `None` where a split is about
    /// a supplier.
    fn named(&self, pumps: &[usize], items: &[u16]) -> Option<GoalProof> {
        let split = |rule: Rule| match rule {
            Rule::MoreThan(set, pieces) => Some(ProofSplit::MoreThan { set, pieces }),
            Rule::Takes(block, None) => Some(ProofSplit::Served { pump: *pumps.get(block)? }),
            Rule::Takes(block, Some((item, count))) => Some(ProofSplit::Takes {
                pump: *pumps.get(block)?,
                item: items[usize::from(item)].into(),
                least: u32::try_from(count).ok()?,
            }),
            Rule::Other => None,
        };
        let node = |(multipliers, halves): &RawNode| {
            let halves = match halves {
                Some((rule, halves)) => Some((split(*rule)?, *halves)),
                None => None,
            };
            Some(ProofNode { multipliers: multipliers.clone(), split: halves })
        };
        let nodes = self.nodes.iter().map(node).collect::<Option<_>>()?;
        Some(GoalProof { bound: self.bound, before: Vec::new(), nodes })
    }
}

/// Proofs of a group: of its pumps and its items, both in the group's order.
pub(super) fn of_group(
    pumps: &[usize],
    items: &[u16],
    instance: &Instance,
    proofs: &[Option<RawProof>],
) -> GroupProof {
    let set = |set: Vec<u32>| set.into_iter().map(|item| items[item as usize].into()).collect();
    let mut group = GroupProof {
        pumps: pumps.to_vec(),
        sets: instance.sets().into_iter().map(set).collect(),
        goals: proofs.iter().map(|proof| proof.as_ref()?.named(pumps, items)).collect(),
    };
    only_used(&mut group);
    group
}

/// Leaves out the sets that nothing refers to.
fn only_used(group: &mut GroupProof) {
    let mut number: BTreeMap<usize, usize> = BTreeMap::new();
    let mut renumber = |set: &mut usize| {
        let next = number.len();
        *set = *number.entry(*set).or_insert(next);
    };
    for goal in group.goals.iter_mut().flatten() {
        let nodes = goal.nodes.iter_mut();
        let (multipliers, splits): (Vec<_>, Vec<_>) =
            nodes.map(|node| (&mut node.multipliers, &mut node.split)).unzip();
        let all = goal.before.iter_mut().chain(multipliers);
        all.flat_map(|all| &mut all.sets).for_each(|(set, ..)| renumber(set));
        for split in splits.into_iter().flatten() {
            if let ProofSplit::MoreThan { set, .. } = &mut split.0 {
                renumber(set);
            }
        }
    }
    let mut sets = vec![Vec::new(); number.len()];
    for (old, new) in number {
        sets[new] = std::mem::take(&mut group.sets[old]);
    }
    group.sets = sets;
}

/// Multipliers that are not zero.
fn sparse(all: &Multipliers) -> ProofMultipliers {
    let sets = all.sets.iter().enumerate().filter(|(_, both)| **both != (0, 0));
    let goals = all.goals.iter().enumerate().filter(|(_, goal)| **goal != 0);
    ProofMultipliers {
        sets: sets.map(|(set, &(most, least))| (set, most, least)).collect(),
        goals: goals.map(|(goal, &multiplier)| (goal, multiplier)).collect(),
    }
}
