//! Kits for every pump of a scenario out of the pieces there are: pumps change their ways until no item is
//! overdrawn.
//!
//! A local search: among all pumps that take an overdrawn item, the change that leaves least overdrawn is
//! made, better or not. A pump that has just changed rests for a while, and an item that stays overdrawn
//! weighs more from step to step (Morris, The breakout method for escaping from local minima, AAAI-93, from
//! memory). A scenario that it serves has kits for all its pumps; a scenario that it does not serve may still
//! be servable.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use rayon::prelude::*;

use crate::choose::control::{Control, Pace, UNITS};

use super::GRACE;
use super::patterns::{Take, Ways, fits};
use super::scenarios::Scenarios;
use crate::narrow::narrow;

/// Ways open to each class, by index; empty for classes that no scenario asks for.
#[derive(Clone)]
pub(super) struct Open<'a> {
    pub(super) ways: &'a Ways,
    control: &'a Control<'a>,
    /// Ways examined for a scenario in any case.
    grace: usize,
    /// Classes that some scenario asks for.
    asked: Arc<Vec<u32>>,
    by_class: Vec<Vec<u32>>,
    /// Ways examined so far: a seed gives the same number on every machine, which a clock does not.
    work: Arc<AtomicU64>,
}

/// Way of each pump, and the pieces that they take together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Assigned {
    pub(super) way: Vec<u32>,
    pub(super) used: Vec<u32>,
}

/// Ways of the pumps, by scenario; `None` where it is not served.
pub(super) type Kept = Vec<Option<Assigned>>;

impl<'a> Open<'a> {
    /// Ways within the pieces there are, for the classes that the scenarios ask for.
    pub(super) fn within(
        ways: &'a Ways,
        scenarios: &Scenarios,
        there: &[u32],
        control: &'a Control<'a>,
    ) -> Open<'a> {
        let none = Open {
            ways,
            control,
            grace: (2 * GRACE / scenarios.len().max(1)).clamp(100, UNITS),
            asked: Arc::new(scenarios.asked()),
            by_class: Vec::new(),
            work: Arc::default(),
        };
        none.other(there)
    }

    /// Open ways for another number of pieces.
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
            control: self.control,
            grace: self.grace,
            work: Arc::clone(&self.work),
        }
    }

    /// Number of ways examined so far.
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

    /// Ways of a class.
    pub(super) fn of(&self, class: u32) -> &[u32] {
        &self.by_class[class as usize]
    }

    /// Kits for a scenario out of these pieces, if some are found.
    pub(super) fn kits(&self, classes: &[u32], there: &[u32], moves: u32) -> Option<Assigned> {
        if !self.possible(classes) {
            return None;
        }
        let mut assigned = self.first(classes);
        let served = self.fix(classes, &mut assigned, there, moves);
        served.then_some(assigned)
    }

    /// Kits for every scenario.
    pub(super) fn serve(&self, scenarios: &Scenarios, there: &[u32], moves: u32) -> Kept {
        (0..scenarios.len())
            .into_par_iter()
            .map(|scenario| self.kits(scenarios.of(scenario), there, moves))
            .collect()
    }

    /// First way for each pump, without regard to the pieces there are. Every pump must have one.
    pub(super) fn first(&self, classes: &[u32]) -> Assigned {
        let way = |&class: &u32| self.of(class).first().copied().unwrap_or(0);
        self.assigned(classes, classes.iter().map(way).collect())
    }

    /// Assignment of these ways, with the pieces that they take.
    pub(super) fn assigned(&self, classes: &[u32], way: Vec<u32>) -> Assigned {
        let mut used = vec![0; self.ways.available.len()];
        for (&class, &way) in classes.iter().zip(&way) {
            for &(item, count) in self.takes(class, way) {
                used[usize::from(item)] += u32::from(count);
            }
        }
        Assigned { way, used }
    }

    /// Changes ways, at most `moves` times, until no item is overdrawn or the control says stop; returns
    /// whether it succeeded. If not, `assigned` is the last attempt.
    pub(super) fn fix(
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
        let mut repaired = false;
        let mut pace = Pace::at_least(self.control, self.grace);
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
                // Every pump rests: overdrawn items weigh more, and time advances.
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
                repaired = true;
                break;
            }
        }
        self.worked(looked);
        repaired
    }

    /// Gives a pump another way.
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
