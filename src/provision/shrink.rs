//! Pieces taken off a trolley, one by one, as long as enough scenarios are served.
//!
//! The start is the most that any scenario takes of each item. A piece comes off, the dearest first, wherever
//! each scenario that would be short of it can be kitted otherwise; then where few enough scenarios are given
//! up for it, those first that save most per scenario; then a cheaper piece replaces a dearer one.

use std::cmp::Reverse;

use chacha20::ChaCha8Rng;
use chacha20::rand_core::Rng;
use rayon::prelude::*;

use crate::choose::control::{Control, Phase};

use super::patterns::Ways;
use super::scenarios::Scenarios;
use super::serve::{Assigned, Kept, Open};

/// Changes of ways to do without a piece.
const MOVES: u32 = 60;
/// Changes of ways to serve a scenario that was given up after all.
const LONGER: u32 = 400;
/// Scenarios repaired in parallel before a check whether too many fail: at first (those that fail are likely
/// to come first), and later.
const SIDE_BY_SIDE: [usize; 2] = [2, 32];
/// Ways examined for exchanges, about: some seconds on two cores.
const EXCHANGING: u64 = 200_000_000;

/// Scenarios with changed ways, or none.
type Changed = Vec<(usize, Option<Assigned>)>;

/// Trolley that gets smaller.
#[derive(Clone)]
pub(super) struct Shed<'a> {
    open: Open<'a>,
    scenarios: &'a Scenarios,
    /// Pieces of each item.
    there: Vec<u32>,
    kept: Kept,
    /// Scenarios that must be kept.
    goal: usize,
    /// Items in the order in which pieces come off, at first the dearest first.
    order: Vec<usize>,
    /// Items, the dearest first.
    dearest: Vec<usize>,
    /// Scenarios that could not do with one piece less, by item.
    failed: Vec<Vec<usize>>,
    /// Number of those when last counted, by item.
    fails: Vec<usize>,
    taken_off: usize,
    /// Pieces off when the scenarios given up were last examined.
    off_before: usize,
    /// Ways examined after which no cheaper trolley is tried.
    until: u64,
    /// Whether that ends all work.
    ends: bool,
    control: &'a Control<'a>,
}

impl<'a> Shed<'a> {
    /// Trolley that starts from kits for some scenarios.
    pub(super) fn new(
        ways: &'a Ways,
        scenarios: &'a Scenarios,
        kept: Kept,
        goal: usize,
        control: &'a Control<'a>,
    ) -> Shed<'a> {
        let used = |item: usize| kept.iter().flatten().map(move |assigned| assigned.used[item]);
        let there: Vec<u32> =
            (0..ways.available.len()).map(|item| used(item).max().unwrap_or(0)).collect();
        let mut dearest: Vec<usize> = (0..there.len()).collect();
        dearest.sort_by_key(|&item| (Reverse(ways.price[item]), item));
        Shed {
            open: Open::within(ways, scenarios, &there, control),
            scenarios,
            failed: vec![Vec::new(); there.len()],
            fails: vec![0; there.len()],
            there,
            kept,
            goal,
            order: dearest.clone(),
            dearest,
            taken_off: 0,
            off_before: usize::MAX,
            until: 0,
            ends: false,
            control,
        }
    }

    /// Order of trolleys: cost, then number of pieces, then a fixed order.
    pub(super) fn key(&self) -> (i128, u32, Vec<u32>) {
        let each = self.there.iter().zip(&self.open.ways.price);
        let cost = each.map(|(&count, &price)| i128::from(price) * i128::from(count));
        (cost.sum(), self.there.iter().sum(), self.there.clone())
    }

    /// Pieces left, and the kits that they serve with.
    pub(super) fn done(self) -> (Vec<u32>, Kept) {
        (self.there, self.kept)
    }

    /// Runs all steps.
    pub(super) fn all(&mut self) {
        if !self.ends {
            self.until = self.open.work() + EXCHANGING;
        }
        loop {
            self.take_off();
            self.open = self.open.other(&self.there);
            let exchanged = !self.worked() && self.exchange();
            if !exchanged && !self.recovered() {
                return;
            }
        }
    }

    /// Trolley with a few pieces more, so that others may come off, and in another order. It ends when this
    /// many ways have been examined.
    pub(super) fn kicked(&self, rng: &mut ChaCha8Rng, until: u64) -> Shed<'a> {
        let mut other = self.clone();
        (other.until, other.ends) = (until, true);
        let ways = self.open.ways;
        // At most a few thousand.
        let mut any =
            |most: usize| usize::try_from(rng.next_u64() % most.max(1) as u64).unwrap_or(0);
        let addable: Vec<usize> =
            (0..self.there.len()).filter(|&item| self.there[item] < ways.available[item]).collect();
        let mut weight: Vec<i128> = ways
            .price
            .iter()
            .map(|&price| -(i128::from(price) + 1) * (512 + any(1_024) as i128))
            .collect();
        for _ in 0..=any(3) {
            if let Some(&item) = addable.get(any(addable.len())) {
                let room = ways.available[item] - self.there[item];
                other.there[item] = self.there[item] + room.min(if any(2) == 0 { 1 } else { 2 });
                // The piece just added goes last.
                weight[item] = 0;
            }
        }
        other.order.sort_by_key(|&item| (weight[item], item));
        other.failed.iter_mut().for_each(Vec::clear);
        other.fails.fill(0);
        other.open = self.open.other(&other.there);
        let lost: Vec<usize> =
            (0..other.kept.len()).filter(|&scenario| other.kept[scenario].is_none()).collect();
        let open = &other.open;
        let found: Changed = lost
            .into_par_iter()
            .map(|scenario| {
                let classes = self.scenarios.of(scenario);
                (scenario, open.kits(classes, &other.there, MOVES))
            })
            .collect();
        other.keep(found);
        other
    }

    fn stopped(&self) -> bool {
        self.ends && self.worked() || self.control.stop().is_some()
    }

    fn worked(&self) -> bool {
        self.open.work() >= self.until
    }

    /// Number of ways examined.
    pub(super) fn work(&self) -> u64 {
        self.open.work()
    }

    /// Number of scenarios that may still be given up.
    fn spare(&self) -> usize {
        self.kept.iter().flatten().count().saturating_sub(self.goal)
    }

    /// Searches longer for kits of the scenarios given up; returns whether more can be given up now and
    /// pieces have come off since the last call.
    fn recovered(&mut self) -> bool {
        let off = std::mem::replace(&mut self.off_before, self.taken_off);
        if self.stopped() || self.spare() > 0 || off == self.taken_off {
            return false;
        }
        let lost: Vec<usize> =
            (0..self.kept.len()).filter(|&scenario| self.kept[scenario].is_none()).collect();
        let longer = |scenario: usize| {
            let classes = self.scenarios.of(scenario);
            (scenario, self.open.kits(classes, &self.there, LONGER))
        };
        let found: Changed = lost.into_par_iter().map(longer).collect();
        self.keep(found);
        self.spare() > 0
    }

    /// Takes pieces off as long as possible.
    fn take_off(&mut self) {
        loop {
            let mut any = false;
            for position in 0..self.order.len() {
                let item = self.order[position];
                while !self.stopped() && self.one_less(item, 0) {
                    any = true;
                }
            }
            if self.stopped() || !any && !self.give_up() {
                return;
            }
        }
    }

    /// Takes off the piece that saves most per scenario given up; returns whether there is one.
    ///
    /// The number that an item costs is counted again only when the item comes first by its last count: the
    /// count hardly ever falls while the trolley gets smaller.
    fn give_up(&mut self) -> bool {
        let mut counted: Vec<Option<Changed>> = vec![None; self.order.len()];
        loop {
            let spare = self.spare();
            let better = |a: &(i64, usize, usize), b: &(i64, usize, usize)| {
                let ratio = |price: i64, fails: usize| i128::from(price) * fails as i128;
                ratio(a.0, b.1).cmp(&ratio(b.0, a.1)).then(b.2.cmp(&a.2))
            };
            let price = &self.open.ways.price;
            let candidates = (0..self.order.len()).filter_map(|position| {
                let item = self.order[position];
                let fails = self.known_to_fail(item).max(self.fails[item]).max(1);
                let open = self.there[item] > 0 && fails <= spare;
                open.then_some((price[item], fails, position))
            });
            let Some((_, _, position)) = candidates.max_by(better) else {
                return false;
            };
            if self.stopped() {
                return false;
            }
            let item = self.order[position];
            if let Some(changed) = counted[position].take() {
                self.less(item, changed);
                return true;
            }
            let (changed, fails) = self.without(item, spare);
            self.fails[item] = fails;
            counted[position] = Some(changed);
        }
    }

    fn known_to_fail(&self, item: usize) -> usize {
        let failed = self.failed[item].iter();
        failed.filter(|&&scenario| self.kept[scenario].is_some()).count()
    }

    /// Takes a piece off if at most `spare` scenarios must be given up; returns whether it did.
    fn one_less(&mut self, item: usize, spare: usize) -> bool {
        if self.there[item] == 0 || self.known_to_fail(item) > spare {
            return false;
        }
        let (changed, fails) = self.without(item, spare);
        if fails > spare {
            return false;
        }
        self.less(item, changed);
        true
    }

    /// Takes a piece off, with the new ways of the scenarios.
    fn less(&mut self, item: usize, changed: Changed) {
        self.there[item] -= 1;
        self.keep(changed);
        self.taken_off += 1;
        self.control.step(Phase::Trolley, self.taken_off, 0);
    }

    fn keep(&mut self, changed: Changed) {
        for (scenario, assigned) in changed {
            self.kept[scenario] = assigned;
        }
    }

    /// Scenarios that are short of an item with one piece less, kitted otherwise; and the number that cannot
    /// be, counted up to one more than allowed.
    fn without(&mut self, item: usize, spare: usize) -> (Changed, usize) {
        let mut there = self.there.clone();
        there[item] -= 1;
        let (changed, failing) = self.fitted(&there, item, spare);
        let fails = failing.len();
        for scenario in failing {
            if !self.failed[item].contains(&scenario) {
                self.failed[item].push(scenario);
            }
        }
        (changed, fails)
    }

    /// New ways of the scenarios for any trolley with fewer pieces of an item.
    fn fitted(&self, there: &[u32], item: usize, spare: usize) -> (Changed, Vec<usize>) {
        let lacks = |scenario: &usize| {
            let kept = self.kept[*scenario].as_ref();
            kept.is_some_and(|assigned| assigned.used[item] > there[item])
        };
        // Those that failed before fail first.
        let failed = &self.failed[item];
        let before = failed.iter().copied();
        let others = (0..self.kept.len()).filter(|scenario| !failed.contains(scenario));
        let lacking: Vec<usize> = before.chain(others).filter(lacks).collect();
        let mut changed = Vec::new();
        let mut failing = Vec::new();
        let (mut rest, mut beside) = (lacking.as_slice(), SIDE_BY_SIDE[0]);
        while !rest.is_empty() && failing.len() <= spare {
            let some = rest.split_off(..beside.min(rest.len())).unwrap_or_default();
            beside = SIDE_BY_SIDE[1].min(2 * beside);
            let repaired: Vec<Option<Assigned>> = some
                .par_iter()
                .map(|&scenario| {
                    let mut assigned = self.kept[scenario].clone()?;
                    let classes = self.scenarios.of(scenario);
                    let fits = self.open.fix(classes, &mut assigned, there, MOVES);
                    fits.then_some(assigned)
                })
                .collect();
            for (&scenario, repaired) in some.iter().zip(repaired) {
                if repaired.is_none() {
                    failing.push(scenario);
                }
                changed.push((scenario, repaired));
            }
        }
        (changed, failing)
    }

    /// Replaces a dearer piece by a cheaper one; returns whether it did.
    fn exchange(&mut self) -> bool {
        let ways = self.open.ways;
        for position in (0..self.dearest.len()).rev() {
            let into = self.dearest[position];
            if self.there[into] >= ways.available[into] {
                continue;
            }
            let dearer = |&&out: &&usize| self.there[out] > 0 && ways.price[out] > ways.price[into];
            let outs: Vec<usize> = self.dearest.iter().filter(dearer).copied().collect();
            if outs.is_empty() {
                continue;
            }
            self.there[into] += 1;
            self.open = self.open.other(&self.there);
            for out in outs {
                if self.worked() || self.stopped() {
                    break;
                }
                let mut there = self.there.clone();
                there[out] -= 1;
                let (changed, failing) = self.fitted(&there, out, 0);
                if failing.is_empty() {
                    self.there = there;
                    self.keep(changed);
                    self.failed.iter_mut().for_each(Vec::clear);
                    self.fails.fill(0);
                    return true;
                }
            }
            self.there[into] -= 1;
            if self.worked() || self.stopped() {
                break;
            }
        }
        self.open = self.open.other(&self.there);
        false
    }
}
