//! Pieces taken off a trolley, one by one, as long as enough scenarios are served.
//!
//! It starts with the most that any scenario takes of each item. A piece is taken off, the dearest
//! first, wherever each scenario that would lack it can be kitted otherwise; then where few enough
//! scenarios are given up for it, those first that save most for each; then a cheaper piece takes the
//! place of a dearer one.

use std::cmp::Reverse;

use chacha20::ChaCha8Rng;
use chacha20::rand_core::Rng;
use rayon::prelude::*;

use crate::choose::watch::{Part, Watch};

use super::route::{Assigned, Open};
use super::scenarios::Scenarios;
use super::trolley::Kept;
use super::ways::Ways;

/// Changes of a way to do without a piece.
const MOVES: u32 = 60;
/// Scenarios that are mended side by side before it is seen whether too many fail: at first, since
/// those that fail are likely to come first, and later.
const SIDE_BY_SIDE: [usize; 2] = [2, 32];
/// Ways that are looked at for exchanges, about: some seconds on two cores.
const EXCHANGING: u64 = 200_000_000;

/// A trolley that gets smaller.
#[derive(Clone)]
pub(super) struct Shed<'a> {
    open: Open<'a>,
    scenarios: &'a Scenarios,
    /// Pieces of each item.
    there: Vec<u32>,
    kept: Kept,
    /// How many scenarios must be kept.
    goal: usize,
    /// The items in the order in which pieces are taken off, at first the dearest first.
    order: Vec<usize>,
    /// The items, the dearest first.
    dearest: Vec<usize>,
    /// By item: scenarios that could not do with a piece less.
    failed: Vec<Vec<usize>>,
    taken_off: usize,
    /// Ways looked at after which nothing cheaper is tried any more.
    until: u64,
    /// Whether that is the end of everything.
    ends: bool,
    watch: &'a Watch<'a>,
}

impl<'a> Shed<'a> {
    /// From kits out of no more than `there`.
    pub(super) fn new(
        ways: &'a Ways,
        scenarios: &'a Scenarios,
        mut there: Vec<u32>,
        kept: Kept,
        goal: usize,
        watch: &'a Watch<'a>,
    ) -> Shed<'a> {
        for (item, there) in there.iter_mut().enumerate() {
            let used = kept.iter().flatten().map(|assigned| assigned.used[item]);
            *there = used.max().unwrap_or(0);
        }
        let mut dearest: Vec<usize> = (0..there.len()).collect();
        dearest.sort_by_key(|&item| (Reverse(ways.price[item]), item));
        Shed {
            open: Open::within(ways, scenarios, &there),
            scenarios,
            failed: vec![Vec::new(); there.len()],
            there,
            kept,
            goal,
            order: dearest.clone(),
            dearest,
            taken_off: 0,
            until: 0,
            ends: false,
            watch,
        }
    }

    /// Cost, then number of pieces, then a fixed order.
    pub(super) fn key(&self) -> (i128, u32, Vec<u32>) {
        let each = self.there.iter().zip(&self.open.ways.price);
        let cost = each.map(|(&count, &price)| i128::from(price) * i128::from(count));
        (cost.sum(), self.there.iter().sum(), self.there.clone())
    }

    /// What is left, and the kits that it serves with.
    pub(super) fn done(self) -> (Vec<u32>, Kept) {
        (self.there, self.kept)
    }

    /// Everything.
    pub(super) fn all(&mut self) {
        if !self.ends {
            self.until = self.open.work() + EXCHANGING;
        }
        loop {
            self.take_off();
            self.open = self.open.other(&self.there);
            if self.worked() || !self.exchange() {
                return;
            }
        }
    }

    /// The same with a few pieces more, so that others may go, and in another order.
    /// It ends once so many ways have been looked at.
    pub(super) fn kicked(&self, rng: &mut ChaCha8Rng, until: u64) -> Shed<'a> {
        let mut other = self.clone();
        (other.until, other.ends) = (until, true);
        let ways = self.open.ways;
        let mut any = |most: usize| (rng.next_u64() % most.max(1) as u64) as usize;
        let addable: Vec<usize> = (0..self.there.len())
            .filter(|&item| self.there[item] < ways.available[item])
            .collect();
        let mut weight: Vec<i128> = ways
            .price
            .iter()
            .map(|&price| -(i128::from(price) + 1) * (512 + any(1_024) as i128))
            .collect();
        for _ in 0..=any(3) {
            if let Some(&item) = addable.get(any(addable.len())) {
                let room = ways.available[item] - self.there[item];
                other.there[item] = self.there[item] + room.min(1 + any(2) as u32);
                // What has just come goes last.
                weight[item] = 0;
            }
        }
        other.order.sort_by_key(|&item| (weight[item], item));
        other.failed.iter_mut().for_each(Vec::clear);
        other.open = self.open.other(&other.there);
        let lost: Vec<usize> = (0..other.kept.len())
            .filter(|&scenario| other.kept[scenario].is_none())
            .collect();
        let open = &other.open;
        let found: Vec<(usize, Option<Assigned>)> = lost
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
        self.ends && self.worked() || self.watch.stop().is_some()
    }

    fn worked(&self) -> bool {
        self.open.work() >= self.until
    }

    /// How many ways have been looked at.
    pub(super) fn work(&self) -> u64 {
        self.open.work()
    }

    /// How many scenarios may still be given up.
    fn spare(&self) -> usize {
        self.kept.iter().flatten().count().saturating_sub(self.goal)
    }

    /// Takes pieces off as long as that is possible.
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

    /// Takes the piece off that saves most for each scenario given up; whether there is one.
    fn give_up(&mut self) -> bool {
        let spare = self.spare();
        if spare == 0 {
            return false;
        }
        // The scenarios that are known to fail are all that do only once they have been counted.
        let mut best: Option<(i64, usize, usize)> = None;
        for position in 0..self.order.len() {
            let item = self.order[position];
            let price = self.open.ways.price[item];
            let beaten = |fails: usize| {
                best.is_some_and(|(most, failed, _)| {
                    let (price, most) = (i128::from(price), i128::from(most));
                    price * failed as i128 <= most * fails as i128
                })
            };
            if self.there[item] == 0 || self.stopped() {
                continue;
            }
            let known = self.known_to_fail(item);
            if known > spare || beaten(known.max(1)) {
                continue;
            }
            let fails = self.without(item, spare).1;
            if fails <= spare && !beaten(fails.max(1)) {
                best = Some((price, fails.max(1), item));
            }
        }
        match best {
            Some((_, _, item)) if !self.stopped() => self.one_less(item, spare),
            _ => false,
        }
    }

    fn known_to_fail(&self, item: usize) -> usize {
        let failed = self.failed[item].iter();
        failed
            .filter(|&&scenario| self.kept[scenario].is_some())
            .count()
    }

    /// Takes a piece off if no more than so many scenarios must be given up; whether it did.
    fn one_less(&mut self, item: usize, spare: usize) -> bool {
        if self.there[item] == 0 || self.known_to_fail(item) > spare {
            return false;
        }
        let (changed, fails) = self.without(item, spare);
        if fails > spare {
            return false;
        }
        self.there[item] -= 1;
        self.keep(changed);
        self.taken_off += 1;
        self.watch.step(Part::Trolley, self.taken_off, 0);
        true
    }

    fn keep(&mut self, changed: Vec<(usize, Option<Assigned>)>) {
        for (scenario, assigned) in changed {
            self.kept[scenario] = assigned;
        }
    }

    /// Every scenario that lacks a piece of an item if there is one less, kitted otherwise; and how
    /// many cannot be, counted up to one more than may.
    fn without(&mut self, item: usize, spare: usize) -> (Vec<(usize, Option<Assigned>)>, usize) {
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

    /// The same for any trolley in which an item is scarcer.
    fn fitted(
        &self,
        there: &[u32],
        item: usize,
        spare: usize,
    ) -> (Vec<(usize, Option<Assigned>)>, Vec<usize>) {
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
            let mended: Vec<Option<Assigned>> = some
                .par_iter()
                .map(|&scenario| {
                    let mut assigned = self.kept[scenario].clone()?;
                    let classes = self.scenarios.of(scenario);
                    let fits = self.open.mend(classes, &mut assigned, there, MOVES);
                    fits.then_some(assigned)
                })
                .collect();
            for (&scenario, mended) in some.iter().zip(mended) {
                if mended.is_none() {
                    failing.push(scenario);
                }
                changed.push((scenario, mended));
            }
        }
        (changed, failing)
    }

    /// Puts a cheaper piece in the place of a dearer one; whether it did.
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
