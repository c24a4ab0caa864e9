//! State that a choice leaves for the next one, of a job that differs in some pumps, priorities, limits or stock counts.
//!
//! - *Lists.* Ways to fill a kind of place, and patterns of a pump, are taken over where all that they depend on is as it
//!   was.
//! - *Groups.* A group whose pumps, items and goals are as they were is taken over whole, with its proofs. The others are
//!   chosen afresh.
//! - *Kits.* A [first answer](Control::soon) that is due before a group's best plan is found keeps the kits at hand and mends
//!   them. A plan that is not hurried never begins at them.
//!
//! # Decision
//!
//! A group that changed does not begin at the columns, multipliers and basis of its root before. Measured at 30 and 100
//! pumps, the root is a thirtieth of the work; of nine edits one took eight times as long from there, since the search
//! began at another of equal ends, and none less than two thirds. So the plan is that of a fresh choice, step by step.

use std::collections::HashMap;
use std::sync::Arc;

#[cfg(doc)]
use crate::choose::control::Control;
use crate::choose::draft::Solving;
use crate::choose::instance::{Column, Instance};
use crate::choose::near::{Choices, Drawer, Laid};
use crate::choose::pattern::Pattern;
use crate::choose::stages::Reached;
use crate::choose::ways::Ways;
use crate::choose::{DrawerKey, Group};
use crate::job::Job;
use crate::plan::{Objective, Stop};
use crate::pump::Pump;
use crate::stock::Item;

/// State that the last choice left; empty before the first.
///
/// Lists of one choice are kept, some kilobytes a pump, beside the memory that a [`Room`](crate::choose::control::Room)
/// counts.
///
/// ```
/// use gapwright::choose::control::Control;
/// use gapwright::choose::{choose, choose_from, warm::Warm};
/// use gapwright::length::Length;
/// use gapwright::read::{self, Sources};
///
/// # std::env::set_current_dir(env!("CARGO_MANIFEST_DIR")).unwrap();
/// let [stock, pumps] = ["samples/tiny/stock.csv", "samples/tiny/pumps.csv"];
/// let job = read::job(&Sources { stock: stock.into(), pumps: pumps.into(), ..Sources::default() }).unwrap();
/// let control = Control::unlimited();
/// let mut warm = Warm::default();
/// choose_from(&job, &mut warm, &control)?;
/// // One gap measured again, 0.001 in more.
/// let job = job.with(|parts| {
///     let gap = &mut parts.pumps[0].dimensions[0];
///     gap.value = gap.value + Length::from_ticks(254_000);
/// }).unwrap();
/// let again = choose_from(&job, &mut warm, &control)?;
/// assert_eq!(again.kits, choose(&job, &control)?.kits);
/// # Ok::<(), gapwright::choose::ChooseError>(())
/// ```
#[derive(Default)]
pub struct Warm {
    left: Option<Left>,
    /// Kits at hand, by tag: those of the last choice that was not interrupted.
    kits: HashMap<String, KitAtHand>,
}

/// Kit of a pump as it was then.
struct KitAtHand {
    pump: Pump,
    /// Its uses by item of the stock.
    column: Column,
}

impl std::fmt::Debug for Warm {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let groups = self.left.as_ref().map_or(0, |left| left.groups.len());
        f.debug_struct("Warm").field("groups", &groups).finish()
    }
}

struct Left {
    job: Job,
    aims: Vec<Objective>,
    available: Vec<u32>,
    ways: Vec<((DrawerKey, Drawer), Arc<Ways>)>,
    /// By pump.
    patterns: Vec<Option<Choices>>,
    groups: Vec<LeftGroup>,
}

struct LeftGroup {
    pumps: Vec<usize>,
    items: Vec<u16>,
    /// Bare problem with its goals reached, if all of them are proven and the order is settled.
    proven: Option<(Instance, Reached)>,
    /// Whether its columns are those near the bound.
    near: bool,
}

impl LeftGroup {
    fn of(of: &Solving) -> LeftGroup {
        let solved = &of.reached.solved;
        let proven = of.settled && solved.stopped.is_none() && solved.values == solved.bounds;
        // Packs and plates depend on more than the group's items.
        let whole = proven && of.group.suppliers.is_empty();
        LeftGroup {
            pumps: of.group.pumps.clone(),
            items: of.group.items.clone(),
            proven: whole.then(|| (of.instance.clone(), of.reached.clone())),
            near: of.near,
        }
    }
}

impl Warm {
    /// Knowledge about a job, with the pieces available and the goals.
    pub(super) fn before<'a>(
        &'a self,
        job: &'a Job,
        available: &'a [u32],
        aims: &[Objective],
    ) -> Option<Before<'a>> {
        let left =
            self.left.as_ref().filter(|left| left.aims == aims && same_shop(&left.job, job))?;
        let tags = left.job.pumps.iter().map(|pump| pump.tag.as_str()).zip(0..).collect();
        Some(Before { left, kits: &self.kits, job, available, tags })
    }

    /// Keeps the state that a choice leaves.
    pub(super) fn keep(
        &mut self,
        job: &Job,
        available: &[u32],
        aims: &[Objective],
        laid: (&Laid, &[Solving]),
    ) {
        let (laid, groups) = laid;
        if self.left.as_ref().is_none_or(|left| !same_shop(&left.job, job)) {
            self.kits.clear();
        }
        self.keep_kits(job, groups);
        self.left = Some(Left {
            job: job.clone(),
            aims: aims.to_vec(),
            available: available.to_vec(),
            ways: laid.by_drawer().map(|(of, ways)| (of.clone(), ways.clone())).collect(),
            patterns: (0..job.pumps.len()).map(|pump| laid.patterns(pump)).collect(),
            groups: groups.iter().map(LeftGroup::of).collect(),
        });
    }

    /// Keeps the groups of the same choice once more, their order settled.
    pub(super) fn keep_groups(&mut self, job: &Job, groups: &[Solving]) {
        self.keep_kits(job, groups);
        if let Some(left) = &mut self.left {
            left.groups = groups.iter().map(LeftGroup::of).collect();
        }
    }
}

impl Warm {
    fn keep_kits(&mut self, job: &Job, groups: &[Solving]) {
        let ended = |of: &&Solving| of.reached.solved.stopped != Some(Stop::Interrupt);
        for Solving { group, instance, reached, .. } in groups.iter().filter(ended) {
            // After the pumps come suppliers, and pieces to hold back.
            let blocks = group.pumps.iter().zip(&reached.solved.taken).enumerate();
            for (block, (&pump, taken)) in blocks.take(instance.pumps) {
                // A bag that stays closed takes less than its kit needs once it is opened.
                let peels = job.standing_of(pump).is_some_and(|of| of.peeled().next().is_some());
                let Some(pump) = job.pumps.get(pump) else { continue };
                let Some(taken) = taken.filter(|_| !peels) else {
                    self.kits.remove(&pump.tag);
                    continue;
                };
                let mut column = instance.column(block, taken).clone();
                column
                    .uses
                    .iter_mut()
                    .for_each(|(item, _)| *item = group.items[usize::from(*item)]);
                self.kits.insert(pump.tag.clone(), KitAtHand { pump: pump.clone(), column });
            }
        }
    }
}

/// Knowledge from a choice before, for the job at hand.
pub(super) struct Before<'a> {
    left: &'a Left,
    kits: &'a HashMap<String, KitAtHand>,
    job: &'a Job,
    available: &'a [u32],
    /// Pumps before, by tag.
    tags: HashMap<&'a str, usize>,
}

impl Before<'_> {
    /// Ways to fill a kind of place.
    pub(super) fn ways(&self, of: &(DrawerKey, Drawer)) -> Option<Arc<Ways>> {
        let known = self.left.ways.iter().find(|(known, _)| known == of);
        known.map(|(_, ways)| ways.clone())
    }

    /// Patterns of a pump of the job, where they are choices among the very same ways.
    pub(super) fn patterns(&self, pump: &Pump, ways: &[&Arc<Ways>]) -> Option<Arc<Vec<Pattern>>> {
        let before = *self.tags.get(pump.tag.as_str())?;
        let (known, patterns) = self.left.patterns[before].as_ref()?;
        // A pump that was out of play has no ways at all.
        let same = !known.is_empty()
            && known.len() == ways.len()
            && known.iter().zip(ways).all(|(a, b)| Arc::ptr_eq(a, b))
            && same_pump(&self.left.job.pumps[before], pump);
        same.then(|| patterns.clone())
    }

    /// A group as it was, with its goals proven: where nothing that it depends on has changed.
    pub(super) fn whole(&self, group: &Group, near: bool) -> Option<(Instance, Reached)> {
        let left = self.left.groups.iter().find(|left| left.items == group.items)?;
        let (instance, reached) = left.proven.as_ref()?;
        let kept = |&item: &u16| {
            let item = usize::from(item);
            let [was, is] = [&self.left.job, self.job].map(|job| job.stock.get(item));
            was.zip(is).is_some_and(|(was, is)| {
                (was.on_hand, was.reserved) == (is.on_hand, is.reserved)
                    && self.left.available[item] == self.available[item]
            })
        };
        let same = left.near == near
            && group.suppliers.is_empty()
            && left.pumps.len() == group.pumps.len()
            && left.pumps.iter().zip(&group.pumps).all(|(&was, &is)| self.same(was, is))
            && group.items.iter().all(kept);
        same.then(|| (instance.clone(), reached.clone()))
    }

    /// Kit at hand of a pump of the job, its uses by item of the stock; `None` where it may no longer do.
    pub(super) fn kit(&self, pump: usize) -> Option<&Column> {
        let pump = &self.job.pumps[pump];
        let kit = self.kits.get(&pump.tag).filter(|kit| same_pump(&kit.pump, pump))?;
        Some(&kit.column)
    }

    /// Whether a pump before and one of the job are alike.
    fn same(&self, was: usize, is: usize) -> bool {
        let (before, now) = (&self.left.job, self.job);
        before.pumps[was].tag == now.pumps[is].tag
            && same_pump(&before.pumps[was], &now.pumps[is])
            && before.standing_of(was) == now.standing_of(is)
    }
}

/// Whether two jobs differ in pumps and counts alone.
fn same_shop(was: &Job, is: &Job) -> bool {
    let same_item = |(was, is): (&Item, &Item)| {
        let counted = Item { on_hand: is.on_hand, reserved: is.reserved, ..was.clone() };
        counted == *is
    };
    was.models == is.models
        && was.policy == is.policy
        && was.plates == is.plates
        && was.gauges == is.gauges
        && was.stock.len() == is.stock.len()
        && was.stock.iter().zip(&is.stock).all(same_item)
}

/// Whether two pumps are alike in all that their kits and goals depend on.
fn same_pump(was: &Pump, is: &Pump) -> bool {
    was.model == is.model
        && was.priority == is.priority
        && was.fits == is.fits
        && was.dimensions == is.dimensions
        && was.growths == is.growths
        && was.derived == is.derived
        && was.correlations == is.correlations
        && was.requirements == is.requirements
}
