//! The choice of pieces: for every pump together, out of one stock.
//!
//! Places are filled by *combinations* of pieces, pumps by *patterns* of combinations that meet
//! every requirement, and a plan takes one pattern a pump within the stock. Pumps that share no
//! item are solved apart. Each goal is proven before the next by branch and price with exact
//! integer bounds ([`bound`]); the linear programs ([`relaxation`]) only say where to look.

pub mod bound;
pub mod combination;
pub mod instance;
mod mending;
pub mod pattern;
pub mod relaxation;
pub mod search;
pub mod stages;
pub mod watch;
pub mod why;

use std::collections::{BTreeMap, BTreeSet, HashMap};

use itertools::Itertools;
use rayon::prelude::*;
use thiserror::Error;

use crate::job::Job;
use crate::model::Pack;
use crate::plan::{Aim, Goal, PackPick, Plan};
use crate::stock::{Code, Item};
use combination::{Combination, Window};
use instance::{COSTS, Column, Instance, Tier, Uses};
use pattern::Pattern;
use stages::Solved;
use watch::Watch;

/// Why no plan could be made at all.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum ChooseError {
    /// A place can be filled in too many ways to list.
    #[error(
        "place `{pack}` with fit code {fit} can be filled in more than {} ways; \
         lower most_pieces in its model or split the fit code",
        combination::MOST_COMBINATIONS
    )]
    TooManyCombinations {
        /// The pack's label.
        pack: String,
        /// The fit code.
        fit: String,
    },
    /// A pump can be kitted in too many ways to list.
    #[error(
        "pump {tag} can be kitted in more than {most} ways; lower most_pieces in its model, \
         narrow its limits, or split the outage"
    )]
    TooManyPatterns {
        /// The pump's tag.
        tag: String,
        /// How many are listed at most.
        most: usize,
    },
}

/// The most patterns that are listed for all pumps together.
const MOST_PATTERNS: usize = 8_000_000;

/// Chooses pieces for every pump.
///
/// # Errors
/// [`ChooseError`] when a place can be filled in too many ways to list.
pub fn choose(job: &Job, watch: &Watch<'_>) -> Result<Plan, ChooseError> {
    let available: Vec<u32> = job.stock.iter().map(Item::available).collect();
    let drawers = Drawers::list(job, &available)?;
    let most = MOST_PATTERNS / job.pumps.len().max(1);
    let patterns: Vec<Vec<Pattern>> = job
        .pumps
        .par_iter()
        .map(|pump| {
            pattern::list(pump, &job.policy, &drawers.of(job, pump), most).ok_or_else(|| {
                ChooseError::TooManyPatterns {
                    tag: pump.tag.clone(),
                    most,
                }
            })
        })
        .collect::<Result<_, _>>()?;
    let columns: Vec<Vec<(Column, usize)>> = (0..job.pumps.len())
        .into_par_iter()
        .map(|pump| columns(job, &drawers, &available, pump, &patterns[pump]))
        .collect();
    let groups = groups(job, &columns);
    let solved: Vec<Solved> = groups
        .par_iter()
        .map(|group| {
            let instance = group_instance(job, &available, group, &columns);
            stages::solve(&instance, &aims(job), watch)
        })
        .collect();
    let mut kits: Vec<Option<Vec<PackPick>>> = vec![None; job.pumps.len()];
    for (group, solved) in groups.iter().zip(&solved) {
        for (&pump, taken) in group.iter().zip(&solved.taken) {
            let column = taken.map(|c| columns[pump][c as usize].1);
            kits[pump] = column.map(|p| drawers.picks(job, pump, &patterns[pump][p]));
        }
    }
    let servable: Vec<bool> = columns.iter().map(|columns| !columns.is_empty()).collect();
    let kits = why::explain(job, &available, &drawers, &patterns, &servable, kits);
    Ok(Plan {
        kits,
        goals: goals(job, &groups, &solved),
        stopped_by: solved.iter().find_map(|s| s.stopped),
    })
}

/// The combinations of every kind of place that the job's pumps have.
pub struct Drawers {
    lists: BTreeMap<DrawerKey, Vec<Combination>>,
}

/// Kind, fit code, least and most pieces: what two places share that can be filled alike.
type DrawerKey = (String, String, u32, u32);

fn drawer_key(pack: &Pack, fit: &Code) -> DrawerKey {
    (
        pack.kind.clone(),
        fit.key().to_string(),
        pack.least_pieces,
        pack.most_pieces,
    )
}

impl Drawers {
    /// Lists the combinations of what is available that some pump can use.
    ///
    /// # Errors
    /// [`ChooseError::TooManyCombinations`].
    pub fn list(job: &Job, available: &[u32]) -> Result<Drawers, ChooseError> {
        let mut places: BTreeMap<DrawerKey, (&Pack, &Code, Window)> = BTreeMap::new();
        for pump in &job.pumps {
            let model = job.model_of(pump);
            for ((pack, fit), window) in model
                .packs
                .iter()
                .zip(&pump.fits)
                .zip(windows(job, pump, available))
            {
                if window.0 > window.1 {
                    continue;
                }
                places
                    .entry(drawer_key(pack, fit))
                    .and_modify(|(_, _, hull)| {
                        *hull = (hull.0.min(window.0), hull.1.max(window.1));
                    })
                    .or_insert((pack, fit, window));
            }
        }
        let lists = places
            .into_par_iter()
            .map(|(key, (pack, fit, window))| {
                let list = combination::list(job, pack, fit, available, window);
                let list = list.ok_or_else(|| ChooseError::TooManyCombinations {
                    pack: pack.label.clone(),
                    fit: fit.as_str().to_string(),
                })?;
                Ok((key, list))
            })
            .collect::<Result<_, _>>()?;
        Ok(Drawers { lists })
    }

    /// The combinations of each of a pump's packs.
    pub fn of(&self, job: &Job, pump: &crate::pump::Pump) -> Vec<&[Combination]> {
        job.model_of(pump)
            .packs
            .iter()
            .zip(&pump.fits)
            .map(|(pack, fit)| {
                self.lists
                    .get(&drawer_key(pack, fit))
                    .map_or(&[][..], Vec::as_slice)
            })
            .collect()
    }

    /// The pieces of a pattern, pack by pack.
    fn picks(&self, job: &Job, pump: usize, pattern: &Pattern) -> Vec<PackPick> {
        pattern
            .combinations(&self.of(job, &job.pumps[pump]))
            .map(|combination| PackPick {
                picks: combination.picks.to_vec(),
            })
            .collect()
    }
}

/// The totals that each of a pump's packs can have in any kit that meets its requirements.
fn windows(job: &Job, pump: &crate::pump::Pump, available: &[u32]) -> Vec<Window> {
    let packs = job.model_of(pump).packs.iter().zip(&pump.fits);
    let most: Vec<i64> = packs
        .map(|(pack, fit)| combination::most_total(job, pack, fit, available))
        .collect();
    pattern::windows(&pattern::rows(pump, &job.policy), &most)
}

/// A pump's patterns as columns, each with its pattern's index. Patterns that ask for more than
/// there is are left out, and of two that take the same pieces only the better one stays.
fn columns(
    job: &Job,
    drawers: &Drawers,
    available: &[u32],
    pump: usize,
    patterns: &[Pattern],
) -> Vec<(Column, usize)> {
    let drawers = drawers.of(job, &job.pumps[pump]);
    let mut by_uses: HashMap<Uses, usize> = HashMap::new();
    let mut columns: Vec<(Column, usize)> = Vec::with_capacity(patterns.len());
    for (index, pattern) in patterns.iter().enumerate() {
        let mut cost: [i64; COSTS] = [pattern.off_target, 0, 0];
        let mut counts: BTreeMap<usize, u32> = BTreeMap::new();
        for combination in pattern.combinations(&drawers) {
            cost[0] += combination.waste;
            cost[1] += combination.pieces;
            cost[2] += combination.scarcity;
            for pick in &combination.picks {
                *counts.entry(pick.item).or_default() += pick.count;
            }
        }
        if counts.iter().any(|(&item, &count)| count > available[item]) {
            continue;
        }
        let uses: Uses = counts
            .iter()
            .filter_map(|(&i, &n)| Some((u32::try_from(i).ok()?, n)))
            .collect();
        match by_uses.get(&uses) {
            Some(&known) if columns[known].0.cost <= cost => {}
            Some(&known) => columns[known] = (Column { cost, uses }, index),
            None => {
                by_uses.insert(uses.clone(), columns.len());
                columns.push((Column { cost, uses }, index));
            }
        }
    }
    columns
}

/// Pumps that share an item, directly or through others, in the job's order. Pumps with no
/// column at all belong to no group.
fn groups(job: &Job, columns: &[Vec<(Column, usize)>]) -> Vec<Vec<usize>> {
    let mut root: Vec<usize> = (0..job.stock.len()).collect();
    fn find(root: &mut [usize], mut item: usize) -> usize {
        while root[item] != item {
            root[item] = root[root[item]];
            item = root[item];
        }
        item
    }
    let items_of = |pump: usize| {
        columns[pump]
            .iter()
            .flat_map(|(column, _)| column.uses.iter().map(|&(i, _)| i as usize))
    };
    for pump in 0..columns.len() {
        let items: Vec<usize> = items_of(pump).unique().collect();
        for pair in items.windows(2) {
            let (a, b) = (find(&mut root, pair[0]), find(&mut root, pair[1]));
            root[a.max(b)] = a.min(b);
        }
    }
    let mut groups: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (pump, columns) in columns.iter().enumerate() {
        if columns.is_empty() {
            continue;
        }
        // A pump that needs no piece at all is a group of its own, beyond all items.
        let key = items_of(pump)
            .next()
            .map_or(job.stock.len() + pump, |i| find(&mut root, i));
        groups.entry(key).or_default().push(pump);
    }
    groups
        .into_values()
        .sorted_by_key(|group| group[0])
        .collect()
}

/// The goals as they are searched for, the same for every group: the served of one priority after
/// the other, which is what the weights come to and keeps numbers small, then the rest.
fn aims(job: &Job) -> Vec<Aim> {
    let priorities = job.pumps.iter().map(|pump| pump.priority).sorted().dedup();
    priorities
        .map(Aim::ServedOf)
        .chain([Aim::Waste, Aim::Pieces, Aim::Scarcity])
        .collect()
}

/// One goal as a tier of a group.
fn tier(job: &Job, aim: Aim, group: &[usize]) -> Tier {
    let gains = |gain: &dyn Fn(u32) -> i64| {
        Tier::Served(
            group
                .iter()
                .map(|&pump| gain(job.pumps[pump].priority))
                .collect(),
        )
    };
    match aim {
        Aim::ServedOf(level) => gains(&|priority| i64::from(priority == level)),
        Aim::ServedWeight => gains(&|_| 1),
        Aim::Waste => Tier::Cost(0),
        Aim::Pieces => Tier::Cost(1),
        Aim::Scarcity => Tier::Cost(2),
    }
}

fn group_instance(
    job: &Job,
    available: &[u32],
    group: &[usize],
    columns: &[Vec<(Column, usize)>],
) -> Instance {
    // All the pieces that the group can use, and those of each kind and fit by themselves.
    let used: BTreeSet<u32> = group
        .iter()
        .flat_map(|&pump| columns[pump].iter())
        .flat_map(|(column, _)| column.uses.iter().map(|&(item, _)| item))
        .collect();
    let mut classes: BTreeMap<(&str, &str), Vec<u32>> = BTreeMap::new();
    for &index in &used {
        let item = &job.stock[index as usize];
        classes
            .entry((&item.kind, item.fit.key()))
            .or_default()
            .push(index);
    }
    let whole: Vec<u32> = used.iter().copied().collect();
    // Items are numbered anew, so that what the group cannot use costs nothing.
    let new: HashMap<u32, u32> = used.iter().copied().zip(0..).collect();
    let renumbered = |items: &[u32]| items.iter().map(|item| new[item]).collect::<Vec<u32>>();
    let several = classes.len() > 1;
    let sets = several
        .then_some(&whole)
        .into_iter()
        .chain(classes.values());
    let column = |column: &Column| Column {
        cost: column.cost,
        uses: column
            .uses
            .iter()
            .map(|(item, count)| (new[item], *count))
            .collect(),
    };
    Instance {
        classes: sets.map(|items| renumbered(items)).collect(),
        capacity: used
            .iter()
            .map(|&item| i64::from(available[item as usize]))
            .collect(),
        pumps: group
            .iter()
            .map(|&pump| {
                columns[pump]
                    .iter()
                    .map(|(found, _)| column(found))
                    .collect()
            })
            .collect(),
        tiers: aims(job)
            .into_iter()
            .map(|aim| tier(job, aim, group))
            .collect(),
    }
}

/// The groups' values and bounds added up, goal by goal; the served of each priority as one
/// weight, as far as whole numbers carry it.
fn goals(job: &Job, groups: &[Vec<usize>], solved: &[Solved]) -> Vec<Goal> {
    let mut goals: Vec<Goal> = aims(job)
        .into_iter()
        .enumerate()
        .map(|(tier, aim)| {
            let value: i64 = solved.iter().map(|s| s.values[tier]).sum();
            let bound: i64 = solved.iter().map(|s| s.bounds[tier]).sum();
            // Inside, serving is minus a gain; outside it is counted upwards.
            match aim {
                Aim::ServedOf(_) => Goal {
                    aim,
                    value: -value,
                    bound: -bound,
                },
                _ => Goal { aim, value, bound },
            }
        })
        .collect();
    let Some(weights) = job.weights() else {
        return goals;
    };
    let mut served = Goal {
        aim: Aim::ServedWeight,
        value: 0,
        bound: 0,
    };
    for (group, solved) in groups.iter().zip(solved) {
        // Behind the first priority that is not proven, nothing is known of the later ones.
        let mut proven = true;
        for (tier, &(priority, weight)) in weights.iter().enumerate() {
            let all = group
                .iter()
                .filter(|&&pump| job.pumps[pump].priority == priority)
                .count();
            let all = i64::try_from(all).unwrap_or(i64::MAX);
            served.value -= weight * solved.values[tier];
            served.bound += weight * if proven { -solved.bounds[tier] } else { all };
            proven &= solved.values[tier] == solved.bounds[tier];
        }
    }
    goals.drain(..weights.len());
    goals.insert(0, served);
    goals
}
