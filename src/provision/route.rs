//! Kits for every pump of a scenario out of so many pieces: pumps change their ways until nothing is
//! overdrawn.
//!
//! A search from neighbour to neighbour: of all pumps that take of what is overdrawn, the change that
//! leaves least overdrawn is made, better or not; a pump that has just changed stays for a while,
//! and whatever is still overdrawn weighs more from step to step (Morris, The breakout method for
//! escaping from local minima, AAAI-93, from memory). Whoever comes out served has kits at hand;
//! who does not may still be servable.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use rayon::prelude::*;

use crate::choose::watch::{Pace, UNITS, Watch};

use super::GRACE;
use super::scenarios::Scenarios;
use super::ways::{Take, Ways, fits};
use crate::narrow::narrow;

/// The ways that each class may take, by index; those that a scenario never asks for are empty.
#[derive(Clone)]
pub(super) struct Open<'a> {
    pub(super) ways: &'a Ways,
    watch: &'a Watch<'a>,
    /// Ways that are looked at for a scenario whatever the watch says.
    grace: usize,
    /// The classes that some scenario asks for.
    asked: Arc<Vec<u32>>,
    by_class: Vec<Vec<u32>>,
    /// Ways that have been looked at: the same for a seed on every machine, as no clock is.
    work: Arc<AtomicU64>,
}

/// The way that each pump takes, and what they take together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Assigned {
    pub(super) way: Vec<u32>,
    pub(super) used: Vec<u32>,
}

/// By scenario, the ways of its pumps; `None` where it is not served.
pub(super) type Kept = Vec<Option<Assigned>>;

impl<'a> Open<'a> {
    /// The ways that take no more than there is of anything, of what the scenarios ask for.
    pub(super) fn within(
        ways: &'a Ways,
        scenarios: &Scenarios,
        there: &[u32],
        watch: &'a Watch<'a>,
    ) -> Open<'a> {
        let none = Open {
            ways,
            watch,
            grace: (2 * GRACE / scenarios.len().max(1)).clamp(100, UNITS),
            asked: Arc::new(scenarios.asked()),
            by_class: Vec::new(),
            work: Arc::default(),
        };
        none.other(there)
    }

    /// The same for another number of pieces.
    pub(super) fn other(&self, there: &[u32]) -> Open<'a> {
        let usable = |&class: &u32| -> Vec<u32> {
            let class = &self.ways.classes[class as usize];
            let fitting = (0..class.len()).filter(|&way| fits(class.takes(way), there));
            fitting.filter_map(|way| u32::try_from(way).ok()).collect()
        };
        let all = self.asked.iter();
        self.worked(all.map(|&class| self.ways.classes[class as usize].len()).sum());
        let usable: Vec<Vec<u32>> = self.asked.par_iter().map(usable).collect();
        let mut by_class = vec![Vec::new(); self.ways.classes.len()];
        for (&class, usable) in self.asked.iter().zip(usable) {
            by_class[class as usize] = usable;
        }
        Open {
            by_class,
            asked: Arc::clone(&self.asked),
            ways: self.ways,
            watch: self.watch,
            grace: self.grace,
            work: Arc::clone(&self.work),
        }
    }

    /// How many ways have been looked at so far.
    pub(super) fn work(&self) -> u64 {
        self.work.load(Ordering::Relaxed)
    }

    fn worked(&self, ways: usize) {
        self.work.fetch_add(ways as u64, Ordering::Relaxed);
    }

    pub(super) fn takes(&self, class: u32, way: u32) -> &'a [Take] {
        self.ways.classes[class as usize].takes(way as usize)
    }

    /// Whether every pump has a way that may be taken.
    pub(super) fn possible(&self, classes: &[u32]) -> bool {
        let open = |class: &u32| !self.by_class[*class as usize].is_empty();
        classes.iter().all(open)
    }

    /// The ways of a class.
    pub(super) fn of(&self, class: u32) -> &[u32] {
        &self.by_class[class as usize]
    }

    /// Kits for a scenario out of so many pieces, if some are found.
    pub(super) fn kits(&self, classes: &[u32], there: &[u32], moves: u32) -> Option<Assigned> {
        if !self.possible(classes) {
            return None;
        }
        let mut assigned = self.first(classes);
        let served = self.mend(classes, &mut assigned, there, moves);
        served.then_some(assigned)
    }

    /// Kits for every scenario.
    pub(super) fn serve(&self, scenarios: &Scenarios, there: &[u32], moves: u32) -> Kept {
        (0..scenarios.len())
            .into_par_iter()
            .map(|scenario| self.kits(scenarios.of(scenario), there, moves))
            .collect()
    }

    /// Each pump its first way, whatever there is. Every pump must have one.
    pub(super) fn first(&self, classes: &[u32]) -> Assigned {
        let way = |&class: &u32| self.of(class).first().copied().unwrap_or(0);
        self.assigned(classes, classes.iter().map(way).collect())
    }

    /// With what those ways take.
    pub(super) fn assigned(&self, classes: &[u32], way: Vec<u32>) -> Assigned {
        let mut used = vec![0; self.ways.available.len()];
        for (&class, &way) in classes.iter().zip(&way) {
            for &(item, count) in self.takes(class, way) {
                used[usize::from(item)] += u32::from(count);
            }
        }
        Assigned { way, used }
    }

    /// Changes ways, so often at most, until nothing is overdrawn or the watch says to stop; whether that
    /// came about. If not, `assigned` is what it was last.
    pub(super) fn mend(
        &self,
        classes: &[u32],
        assigned: &mut Assigned,
        there: &[u32],
        moves: u32,
    ) -> bool {
        let mut over: Vec<usize> =
            (0..there.len()).filter(|&item| assigned.used[item] > there[item]).collect();
        if over.is_empty() {
            return true;
        }
        let mut weight = vec![1_u64; there.len()];
        let mut stays = vec![0; classes.len()];
        let (mut looked, mut counted) = (0, 0);
        let mut mended = false;
        let mut pace = Pace::at_least(self.watch, self.grace);
        for now in 1..=moves {
            if pace.stop(looked - counted).is_some() {
                break;
            }
            counted = looked;
            let mut best: Option<(i64, usize, u32)> = None;
            'pumps: for (pump, &class) in classes.iter().enumerate() {
                let held = self.takes(class, assigned.way[pump]);
                let overdrawn = |&&(item, _): &&Take| {
                    let item = usize::from(item);
                    assigned.used[item] > there[item]
                };
                if !held.iter().any(|take| overdrawn(&take)) {
                    continue;
                }
                let rests = stays[pump] >= now;
                let mut gained = 0;
                for &(item, count) in held {
                    let item = usize::from(item);
                    let used = assigned.used[item];
                    let after = used - u32::from(count);
                    gained += heavy(&weight, item, over_by(used, there[item]))
                        - heavy(&weight, item, over_by(after, there[item]));
                    assigned.used[item] = after;
                }
                let least = best.map_or(i64::MAX, |(change, _, _)| change);
                let mut found: Option<(i64, u32)> = None;
                for &way in self.of(class) {
                    looked += 1;
                    let most = found.map_or(least, |(change, _)| change);
                    let mut change = -gained;
                    for &(item, count) in self.takes(class, way) {
                        let item = usize::from(item);
                        let used = assigned.used[item];
                        let before = over_by(used, there[item]);
                        let after = over_by(used + u32::from(count), there[item]);
                        if after > before {
                            change += heavy(&weight, item, after - before);
                            if change >= most {
                                break;
                            }
                        }
                    }
                    if change < most && way != assigned.way[pump] {
                        found = Some((change, way));
                        if change == -gained {
                            break;
                        }
                    }
                }
                for &(item, count) in held {
                    assigned.used[usize::from(item)] += u32::from(count);
                }
                if let Some((change, way)) = found.filter(|(change, _)| !rests || *change < 0) {
                    best = Some((change, pump, way));
                    let all: i64 = over
                        .iter()
                        .map(|&item| {
                            heavy(&weight, item, over_by(assigned.used[item], there[item]))
                        })
                        .sum();
                    if change == -all {
                        break 'pumps;
                    }
                }
            }
            let Some((change, pump, way)) = best else {
                // Everybody rests: what is overdrawn weighs more, and time goes by.
                over.iter().for_each(|&item| weight[item] += 1);
                continue;
            };
            if change >= 0 {
                over.iter().for_each(|&item| weight[item] += 1);
            }
            self.change(classes[pump], pump, way, assigned);
            stays[pump] = now + 3 + now % 4;
            over.clear();
            over.extend((0..there.len()).filter(|&item| assigned.used[item] > there[item]));
            if over.is_empty() {
                mended = true;
                break;
            }
        }
        self.worked(looked);
        mended
    }

    /// Lets a pump take another way.
    fn change(&self, class: u32, pump: usize, way: u32, assigned: &mut Assigned) {
        for &(item, count) in self.takes(class, assigned.way[pump]) {
            assigned.used[usize::from(item)] -= u32::from(count);
        }
        for &(item, count) in self.takes(class, way) {
            assigned.used[usize::from(item)] += u32::from(count);
        }
        assigned.way[pump] = way;
    }
}

fn over_by(used: u32, there: u32) -> u32 {
    used.saturating_sub(there)
}

fn heavy(weight: &[u64], item: usize, over: u32) -> i64 {
    narrow::<i64>(weight[item] * u64::from(over))
}
