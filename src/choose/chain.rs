//! Chains of exchanges: a block takes a piece that is left over, another one the piece that this gives back, and so on.
//!
//! A plan is bettered without a search. Each way to change the column of a block is an edge from the piece that it lacks to
//! one that it gives back; the cheapest walk of a few edges, from a change that lacks nothing, is a chain. Changes that lack
//! two pieces are left out.
//!
//! # Decision
//!
//! Plans were bettered part by part before: a few pumps at a time, each part searched by itself. Of 9 fleets of 30 to 1,000
//! pumps chains find the same plans; 300 irregular pumps without slack (seed 2) take a third of the time. One more piece of
//! each of 42 items for 1,000 irregular pumps (seed 2): 161 of at most 234 found saved by chains, 119 by single moves, the
//! best first, and nothing by what the search makes of relaxed plans in the same time.

use smallvec::SmallVec;

use crate::choose::bound::{Allowed, Stage};
use crate::choose::control::{Control, Pace};
use crate::choose::instance::{Assignment, Uses, put_back, take};

/// Exchanges in a chain at most.
const MOST: usize = 6;
/// Edges that are kept from one piece to another: a block can change only once in a chain.
const KEPT: usize = 3;
/// Chains at most.
const CHAINS: usize = 20;

/// Another column for a block, and what it costs more.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Exchange {
    cost: i64,
    block: usize,
    column: u32,
}

/// Edges by the item lacking and the item given back; after the items stands nothing.
struct Edges {
    nodes: usize,
    kept: Vec<SmallVec<[Exchange; KEPT]>>,
}

impl Edges {
    /// Every exchange that lacks one piece at most.
    fn of(
        stage: Stage<'_>,
        allowed: &Allowed,
        taken: &Assignment,
        left: &[i64],
        pace: &mut Pace<'_>,
    ) -> Option<Edges> {
        let Stage { instance, tier, .. } = stage;
        let nothing = left.len();
        let nodes = nothing + 1;
        let mut edges = Edges { nodes, kept: vec![SmallVec::new(); nodes * nodes] };
        for (block, held) in taken.iter().enumerate() {
            let Some(held) = *held else { continue };
            if pace.stop(allowed.columns[block].len()).is_some() {
                return None;
            }
            let before = &instance.column(block, held).uses;
            let cost_before = instance.cost(tier, block, held);
            for &column in allowed.columns[block].iter().filter(|column| **column != held) {
                let after = &instance.column(block, column).uses;
                let Some(lacking) = lacking(before, after, left) else { continue };
                let cost = instance.cost(tier, block, column) - cost_before;
                let exchange = Exchange { cost, block, column };
                let from = lacking.unwrap_or(nothing);
                edges.keep(from, nothing, exchange);
                for item in given_back(before, after) {
                    edges.keep(from, item, exchange);
                }
            }
        }
        Some(edges)
    }

    fn keep(&mut self, from: usize, to: usize, exchange: Exchange) {
        let kept = &mut self.kept[from * self.nodes + to];
        if kept.len() == KEPT && kept[KEPT - 1] <= exchange {
            return;
        }
        // Of one block the cheapest.
        match kept.iter().position(|other| other.block == exchange.block) {
            Some(at) if kept[at] <= exchange => return,
            Some(at) => drop(kept.remove(at)),
            None => kept.truncate(KEPT - 1),
        }
        let at = kept.partition_point(|other| *other < exchange);
        kept.insert(at, exchange);
    }

    /// The cheapest chain, if one saves something.
    fn cheapest(&self, held: &Held<'_>) -> Option<SmallVec<[Exchange; MOST]>> {
        type Chain = (i64, SmallVec<[Exchange; MOST]>);
        let nothing = self.nodes - 1;
        let mut ends: Vec<Option<Chain>> = vec![None; self.nodes];
        ends[nothing] = Some((0, SmallVec::new()));
        let mut best: Chain = (0, SmallVec::new());
        for _ in 0..MOST {
            let mut next: Vec<Option<Chain>> = vec![None; self.nodes];
            for (from, chain) in ends.iter().enumerate() {
                let Some((before, chain)) = chain else { continue };
                let left = held.left_after(chain);
                for (to, kept) in self.kept[from * self.nodes..][..self.nodes].iter().enumerate() {
                    let goes = |exchange: &&Exchange| {
                        chain.iter().all(|other| other.block != exchange.block)
                            && held.allows(&left, exchange)
                    };
                    let Some(exchange) = kept.iter().find(goes) else { continue };
                    let cost = before + exchange.cost;
                    if next[to].as_ref().is_none_or(|(known, _)| cost < *known) {
                        let mut chain = chain.clone();
                        chain.push(*exchange);
                        next[to] = Some((cost, chain));
                    }
                }
            }
            // A chain ends where nothing is asked of what it gives back.
            if let Some(ended) = next[nothing].take().filter(|ended| ended.0 < best.0) {
                best = ended;
            }
            ends = next;
        }
        (best.0 < 0).then_some(best.1)
    }
}

/// Columns held before a chain, and the pieces left over.
struct Held<'a> {
    stage: Stage<'a>,
    taken: &'a Assignment,
    left: &'a [i64],
}

impl Held<'_> {
    fn uses(&self, block: usize, column: u32) -> &Uses {
        &self.stage.instance.column(block, column).uses
    }

    fn exchange(&self, left: &mut [i64], exchange: &Exchange) {
        if let Some(held) = self.taken[exchange.block] {
            put_back(left, self.uses(exchange.block, held));
        }
        take(left, self.uses(exchange.block, exchange.column));
    }

    fn left_after(&self, chain: &[Exchange]) -> Vec<i64> {
        let mut left = self.left.to_vec();
        chain.iter().for_each(|exchange| self.exchange(&mut left, exchange));
        left
    }

    fn allows(&self, left: &[i64], exchange: &Exchange) -> bool {
        let Exchange { block, column, .. } = *exchange;
        self.taken[block].is_some_and(|held| {
            lacking(self.uses(block, held), self.uses(block, column), left) == Some(None)
        })
    }
}

/// The item of which one piece is lacking for a change of columns; `None` where more is lacking. The inner `None` where nothing
/// is.
fn lacking(before: &Uses, after: &Uses, left: &[i64]) -> Option<Option<usize>> {
    let mut found = None;
    for &(item, count) in after {
        let more = i64::from(count) - i64::from(pieces(before, item));
        let item = usize::from(item);
        match more - left[item] {
            ..=0 => {}
            1 if found.is_none() => found = Some(item),
            _ => return None,
        }
    }
    Some(found)
}

/// Items of which a change of columns gives pieces back.
fn given_back<'a>(before: &'a Uses, after: &'a Uses) -> impl Iterator<Item = usize> + 'a {
    let fewer = |&&(item, count): &&(u16, i16)| count > pieces(after, item);
    before.iter().filter(fewer).map(|(item, _)| usize::from(*item))
}

/// Pieces of an item that a column takes.
fn pieces(uses: &Uses, item: u16) -> i16 {
    uses.iter().find(|(other, _)| *other == item).map_or(0, |(_, count)| *count)
}

/// Betters a plan on the goal of a stage, chain by chain, as long as one saves something; earlier goals are not looked at, and
/// no block puts pieces in.
pub(super) fn exchange(
    stage: Stage<'_>,
    allowed: &Allowed,
    taken: &mut Assignment,
    left: &mut [i64],
    control: &Control<'_>,
) {
    let mut pace = Pace::of(control);
    for _ in 0..CHAINS {
        let edges = Edges::of(stage, allowed, taken, left, &mut pace);
        let held = Held { stage, taken, left };
        let Some(chain) = edges.and_then(|edges| edges.cheapest(&held)) else { return };
        left.copy_from_slice(&held.left_after(&chain));
        chain.iter().for_each(|exchange| taken[exchange.block] = Some(exchange.column));
    }
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    use super::*;
    use crate::choose::instance::{Column, CostRow, Instance};

    fn instance(capacity: Vec<i64>, blocks: Vec<Vec<Column>>) -> Instance {
        let pumps = blocks.len();
        let tiers = vec![CostRow::Waste];
        Instance { capacity, classes: vec![], blocks: blocks.into(), pumps, tiers }
    }

    fn bettered(instance: &Instance, taken: &mut Assignment) -> Vec<i64> {
        let sets = instance.sets();
        let stage = Stage { instance, sets: &sets, tier: 0, limits: &[] };
        let mut left = instance.left(taken);
        let control = Control::unlimited();
        exchange(stage, &Allowed::all(instance), taken, &mut left, &control);
        left
    }

    fn column(waste: i64, uses: &[(u16, i16)]) -> Column {
        Column { waste, uses: uses.iter().copied().collect() }
    }

    #[test]
    fn a_piece_that_is_left_passes_through_many_hands() {
        // Each block gains nothing, or loses, by taking what the one before gives back; the last one gains most.
        for long in 1..=MOST {
            let block = |at: usize| {
                let at = u16::try_from(at).unwrap();
                let gain = if usize::from(at) + 1 == long { 10 } else { -1 };
                vec![column(20, &[(at + 1, 1)]), column(20 - gain, &[(at, 1)])]
            };
            let items = vec![1; long + 1];
            let instance = instance(items, (0..long).map(block).collect());
            let mut taken: Assignment = vec![Some(0); long];
            let left = bettered(&instance, &mut taken);
            assert!(taken.iter().all(|column| *column == Some(1)), "{long}");
            assert_eq!(left, instance.left(&taken), "{long}");
        }
    }

    #[test]
    fn the_last_piece_that_is_left_is_taken_once() {
        // Two blocks could save 5 each with the one piece of item 0.
        let either = || vec![column(9, &[(1, 1)]), column(4, &[(0, 1)])];
        let instance = instance(vec![1, 2], vec![either(), either()]);
        let mut taken: Assignment = vec![Some(0), Some(0)];
        assert_eq!(bettered(&instance, &mut taken), [0, 1]);
        assert_eq!(instance.value_on(0, &taken), 13);
    }

    #[test]
    fn no_chain_overdraws_or_costs_more_and_some_reach_the_best() {
        let (mut better, mut best) = (0, 0);
        for seed in 0..2_000 {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let items = rng.random_range(2..6_usize);
            let mut column = |_: usize| {
                let waste = rng.random_range(0..100);
                let mut uses = Uses::new();
                for item in 0..items {
                    let count = rng.random_range(0..5) - 2;
                    if count > 0 {
                        uses.push((u16::try_from(item).unwrap(), count));
                    }
                }
                Column { waste, uses }
            };
            let blocks: Vec<Vec<Column>> =
                (0..4).map(|_| (0..4).map(&mut column).collect()).collect();
            let mut taken: Assignment = vec![Some(0); 4];
            let capacity = vec![0; items];
            let mut instance = instance(capacity, blocks);
            // As many pieces as the plan takes, and up to two more.
            let used: Vec<i64> = instance.left(&taken).iter().map(|left| -left).collect();
            instance.capacity = used.iter().map(|used| used + rng.random_range(0..3)).collect();
            let before = instance.value_on(0, &taken);
            let left = bettered(&instance, &mut taken);
            let after = instance.value_on(0, &taken);
            assert_eq!(left, instance.left(&taken), "case {seed}");
            assert!(left.iter().all(|left| *left >= 0) && after <= before, "case {seed}");
            let all = (0..256).map(|plan: u32| -> Assignment {
                (0..4).map(|block| Some(plan >> (2 * block) & 3)).collect()
            });
            let fits = all.filter(|plan| instance.left(plan).iter().all(|left| *left >= 0));
            let least = fits.map(|plan| instance.value_on(0, &plan)).min().unwrap();
            assert!(least <= after, "case {seed}");
            better += usize::from(after < before);
            best += usize::from(after == least && least < before);
        }
        assert!(better > 1_000 && best > 700, "{better} better, {best} best");
    }
}
