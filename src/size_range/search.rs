//! Search for the lightest set of sizes that supports every target: best first, so that its bound rises
//! during the search and holds whenever it stops.
//!
//! # Decision
//!
//! Best first for a stated number of parts, not depth first under a time limit: the same question has the same
//! answer everywhere. Some fifty sizes, three pieces and targets that are all hit exactly are proven in a second or
//! so. For 64 sizes and 125 targets the set found has ten sizes and the bound stays at eight, with twenty thousand
//! parts as with three hundred; windows make that wider still.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use crate::choose::control::Control;

use super::supports::{Set, most_packs};

/// Problem of the search.
pub(super) struct Cover<'a> {
    /// Supports of each target that must be met, none of them empty.
    pub(super) supports: &'a [Vec<Set>],
    /// Weight of each size, above zero.
    pub(super) weights: &'a [i128],
    /// Most targets that one total can meet.
    pub(super) at_once: u128,
    /// Most pieces in a pack.
    pub(super) pieces: u32,
}

/// Result of a search.
pub(super) struct Found {
    pub(super) set: Set,
    /// Bound: no set weighs less.
    pub(super) bound: i128,
    /// Nodes examined.
    pub(super) nodes: u64,
}

/// Node: sets that have all of some sizes and none of others.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Node {
    bound: i128,
    /// Nodes with more sizes decided come first, to reach complete sets.
    undecided: Reverse<u32>,
    /// Number in order of creation, so that the order is always the same.
    number: u64,
    taken: Set,
    barred: Set,
    /// StockedSize to branch on.
    split: u32,
}

enum Looked {
    Empty,
    Whole(Set),
    Open(Node),
}

impl Cover<'_> {
    pub(super) fn weigh(&self, set: Set) -> i128 {
        members(set).map(|size| self.weights[size]).sum()
    }

    /// Starts from a set that supports every target; examines at most `effort` nodes.
    pub(super) fn search(&self, start: Set, effort: u64, control: &Control) -> Found {
        let (mut best, mut weight) = (start, self.weigh(start));
        let mut open = BinaryHeap::new();
        let mut nodes = 0;
        let mut number = 0;
        let mut look = |taken, barred, floor, best: &mut Set, weight: &mut i128| {
            number += 1;
            match self.look(taken, barred, *weight) {
                Looked::Empty => None,
                Looked::Whole(set) => {
                    if self.weigh(set) < *weight {
                        (*best, *weight) = (set, self.weigh(set));
                    }
                    None
                }
                Looked::Open(mut node) => {
                    node.bound = node.bound.max(floor);
                    node.number = number;
                    (node.bound < *weight).then_some(Reverse(node))
                }
            }
        };
        open.extend(look(0, 0, 0, &mut best, &mut weight));
        while let Some(&Reverse(node)) = open.peek() {
            if node.bound >= weight {
                break;
            }
            if nodes >= effort || control.stop().is_some() {
                return Found { set: best, bound: node.bound, nodes };
            }
            nodes += 1;
            open.pop();
            let size: Set = 1 << node.split;
            let (taken, barred) = (node.taken, node.barred);
            open.extend(look(taken | size, barred, node.bound, &mut best, &mut weight));
            open.extend(look(taken, barred | size, node.bound, &mut best, &mut weight));
        }
        Found { set: best, bound: weight, nodes }
    }

    /// Takes the sizes that must be taken, bounds the rest, and picks the size to branch on.
    fn look(&self, mut taken: Set, barred: Set, weight: i128) -> Looked {
        let mut wants: Vec<Want> = vec![];
        loop {
            let before = taken;
            wants.clear();
            for (target, supports) in self.supports.iter().enumerate() {
                let Some(want) = self.want(target, supports, taken, barred) else {
                    continue;
                };
                if want.ways == 0 {
                    return Looked::Empty;
                }
                taken |= want.common;
                wants.push(want);
            }
            if taken == before {
                break;
            }
        }
        if wants.is_empty() {
            return Looked::Whole(taken);
        }
        let so_far = self.weigh(taken);
        let all: Set = self.all();
        let undecided = all & !taken & !barred;
        let sizes = self.more_sizes(&wants, taken);
        let mut light: Vec<i128> = members(undecided).map(|size| self.weights[size]).collect();
        light.sort_unstable();
        if light.len() < sizes {
            return Looked::Empty;
        }
        let by_number: i128 = light[..sizes].iter().sum();
        let bound = so_far + by_number.max(apart(&mut wants));
        if bound >= weight {
            return Looked::Empty;
        }
        // The target with the fewest ways; `apart` has put it first.
        let split = self.split(wants[0].target, taken, barred);
        Looked::Open(Node {
            bound,
            undecided: Reverse(all.count_ones() - undecided.count_ones()),
            number: 0,
            taken,
            barred,
            split,
        })
    }

    fn all(&self) -> Set {
        match self.weights.len() {
            128 => Set::MAX,
            count => (1 << count) - 1,
        }
    }

    /// Wants of a target; `None` if it is supported.
    fn want(&self, target: usize, supports: &[Set], taken: Set, barred: Set) -> Option<Want> {
        let mut want = Want {
            target,
            ways: 0,
            sizes: u32::MAX,
            weight: i128::MAX,
            common: Set::MAX,
            union: 0,
        };
        for &support in supports {
            if support & barred != 0 {
                continue;
            }
            let rest = support & !taken;
            if rest == 0 {
                return None;
            }
            want.ways += 1;
            want.sizes = want.sizes.min(rest.count_ones());
            want.common &= rest;
            want.union |= rest;
            want.weight = want.weight.min(self.weigh(rest));
        }
        Some(want)
    }

    /// Least number of sizes that must be added to those taken.
    ///
    /// Some target wants that many. And i sizes make only so many packs, and each total meets only so many
    /// targets: every target still to be met needs a pack with a new size.
    fn more_sizes(&self, wants: &[Want], taken: Set) -> usize {
        let each = wants.iter().map(|want| want.sizes).max().unwrap_or(0) as usize;
        let (now, pieces) = (u128::from(taken.count_ones()), u128::from(self.pieces));
        let wanted = wants.len() as u128;
        let enough = |more: u128| {
            let added = most_packs(now + more, pieces) - most_packs(now, pieces);
            added.saturating_mul(self.at_once) >= wanted
        };
        let count = (0..=128_u128).find(|&more| enough(more)).unwrap_or(128);
        each.max(usize::try_from(count).unwrap_or(0))
    }

    /// Undecided size in most of a target's supports; among equals the one in most supports left of any
    /// target.
    fn split(&self, target: usize, taken: Set, barred: Set) -> u32 {
        let live = |supports: &[Set]| {
            let mut counts = [0_u32; 128];
            for &support in supports.iter().filter(|&support| support & barred == 0) {
                for size in members(support & !taken) {
                    counts[size] += 1;
                }
            }
            counts
        };
        let counts = live(&self.supports[target]);
        let size = (0..self.weights.len()).max_by_key(|&size| (counts[size], Reverse(size)));
        u32::try_from(size.unwrap_or(0)).unwrap_or(0)
    }
}

/// Wants of a target that is not supported yet.
struct Want {
    target: usize,
    /// Number of supports left.
    ways: usize,
    /// Fewest sizes missing from one of them.
    sizes: u32,
    /// Least weight missing from one of them.
    weight: i128,
    /// Sizes missing from all of them.
    common: Set,
    /// Sizes missing from any of them.
    union: Set,
}

/// Weight that targets without a size in common must each add; puts those with the fewest ways first.
fn apart(wants: &mut [Want]) -> i128 {
    wants.sort_by_key(|want| (want.ways, want.target));
    let (mut used, mut sum) = (0, 0);
    for want in wants.iter() {
        if want.union & used == 0 {
            used |= want.union;
            sum += want.weight;
        }
    }
    sum
}

/// Sizes in a set.
pub(super) fn members(mut set: Set) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        let first = (set != 0).then(|| set.trailing_zeros())?;
        set &= set - 1;
        Some(first as usize)
    })
}
