//! The choice of pieces: for every pump together, out of one stock.
//!
//! Places are filled by *combinations* of pieces, pumps by *patterns* of combinations that meet
//! every requirement, and a plan takes one pattern a pump within the stock. Pumps that share no
//! item are solved apart. Each goal is proven before the next by branch and price with exact
//! integer bounds (`bound`); the linear programs (`relaxation`) only say where to look.
//!
//! # The steps
//!
//! 1. *Windows.* Each requirement is two one-sided rows `constant + sum of sensitivity x total >= 0`. Bounds passed
//!    from row to row give each pack the totals that any kit can have; only combinations inside are listed.
//! 2. *Combinations* of a kind and fit are listed once for all pumps that share it; a laminated shim at each
//!    thickness that it can be peeled to.
//! 3. *Patterns.* The guard depends on the very pieces, so a row takes each combination's own worst case off. An
//!    expanded uncertainty is no sum over packs: rows and windows leave it out, and it is held against every row
//!    once a choice is whole. Of patterns that take the same pieces the least wasteful one becomes a column.
//! 4. *Groups* of pumps that share no item or supplier are solved apart, in parallel. Suppliers (`supply`) put
//!    pieces in: packs that are opened, sheets that are cut up.
//! 5. *Goals*, strictly in order: the pumps served of each priority in turn, waste, pieces, scarcity points. A
//!    later goal has the earlier ones as rows at their proven values, never as a penalty.
//! 6. *One goal*: column generation (`climb`) finds the multipliers, `bound` makes a proof of them, `search` splits
//!    where it is open. A first plan: the pumps that the relaxed plan takes whole are held, the rest with some
//!    forty others are a small problem of their own; that is usually the optimum already.
//! 7. *Reduced costs* drop every column that no plan as good can use, before the next goal.
//! 8. *Worth of one more* (`worth`), and the *fixed order* of groups of at most 40 pumps: pump by pump, the
//!    earliest column with which everything above can still be reached.
//!
//! # Sizes
//!
//! At most 4,000,000 combinations per kind and fit, 1,000,000 patterns per pump and 40,000,000 columns are listed.
//! Where the time limit ends the listing, pumps have the ways listed by then, a few all over the totals at least,
//! and nothing counts as proven: with 120 tight pumps, 45 sizes and a limit of 3 s such a plan kits 98 pumps, with
//! 20 s all 120. Packs that are spoiled once opened have a weak bound, which does not see the remainders until the
//! search has split on an item's total. At 10,000 pumps the linear programs of the waste goal, thousands of pumps
//! whose options cost exactly alike, take longest; microlp looks at its clock once in a thousand pivots, a second
//! or so in the largest, and HiGHS is given the time that is left and cannot be interrupted.

mod bound;
mod climb;
pub(crate) mod combination;
pub(crate) mod instance;
mod mending;
pub(crate) mod pattern;
pub mod purchase;
mod relaxation;
mod search;
pub(crate) mod stages;
mod supply;
pub mod watch;
mod why;
pub mod worth;

pub use relaxation::Backend;

/// The inside of the search, part by part, for those who measure it or try it on a bare problem from
/// a book. It may change with any version.
#[doc(hidden)]
pub mod parts {
    pub use crate::choose::bound::{Allowed, Multipliers, Prices, SCALE, Stage};
    pub use crate::choose::climb::{Climb, FAR, Pool};
    pub use crate::choose::combination::{Combination, list as combinations};
    pub use crate::choose::instance::{Column, Instance, Tier, Uses};
    pub use crate::choose::pattern::{Pattern, list as patterns};
    pub use crate::choose::relaxation::scales;
    pub use crate::choose::stages::{solve, solve_from};
    pub use crate::choose::{Drawers, instances};
}

use std::collections::{BTreeMap, HashMap};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, OnceLock};

use itertools::Itertools;
use rayon::prelude::*;
use thiserror::Error;

use crate::accounting::scarcity_points;
use crate::cutting::{Layout, layouts};
use crate::job::Job;
use crate::model::Pack;
use crate::plan::{Aim, Goal, LeftOut, PackPick, Pick, Plan, Stop};
use crate::problem::{Place, Problem};
use crate::stock::{Code, Item};
use combination::{Combination, Window};
use instance::{Column, Instance, Taken, Tier, Uses};
use pattern::Pattern;
use stages::{Reached, Solved};
use supply::Supplier;
use watch::{Listed, Pace, Part, UNITS, Watch};
use why::Reasons;

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
    /// All pumps together can be kitted in too many ways to list.
    #[error(
        "the pumps can be kitted in more than {MOST_COLUMNS} ways in all; lower most_pieces in \
         the models, narrow the limits, or split the outage"
    )]
    TooManyColumns,
    /// The stock has too many items.
    #[error("the stock has more than {MOST_ITEMS} items; leave out what the outage cannot need")]
    TooManyItems,
}

impl ChooseError {
    /// As a problem of the stock workbook or of the pump workbook.
    pub fn problem(&self, stock: &str, pumps: &str) -> Problem {
        let in_pumps = |found: String, expected: String, mend: &str| {
            Problem::new(Place::file(pumps), found, expected, mend)
        };
        match self {
            ChooseError::TooManyCombinations { pack, fit } => in_pumps(
                format!("place `{pack}` with fit code {fit}, which can be filled in too many ways"),
                format!("at most {} ways", combination::MOST_COMBINATIONS),
                "lower most_pieces in its model or split the fit code",
            ),
            ChooseError::TooManyPatterns { tag, most } => in_pumps(
                format!("pump {tag}, which can be kitted in too many ways"),
                format!("at most {most} ways"),
                "lower most_pieces in its model, narrow its limits, or split the outage",
            ),
            ChooseError::TooManyColumns => in_pumps(
                "pumps that can be kitted in too many ways in all".into(),
                format!("at most {MOST_COLUMNS} ways"),
                "lower most_pieces in the models, narrow the limits, or split the outage",
            ),
            ChooseError::TooManyItems => Problem::new(
                Place::file(stock),
                "too many items",
                format!("at most {MOST_ITEMS} items"),
                "leave out what the outage cannot need",
            ),
        }
    }
}

/// The most items of a stock.
pub(crate) const MOST_ITEMS: usize = 60_000;

/// The most patterns that are listed for one pump.
pub(crate) const MOST_PATTERNS: usize = 1_000_000;

/// The most columns of all pumps together: some two gigabytes.
pub(crate) const MOST_COLUMNS: usize = 40_000_000;

/// Chooses pieces for every pump.
///
/// The time limit never costs a plan: where it ends the listing of the ways to kit the pumps, what has
/// been listed is chosen from and nothing counts as proven. Which of equal plans comes first is settled
/// in [a share](Watch::share) of the time.
///
/// # Errors
/// [`ChooseError`] when a place can be filled in too many ways to list.
pub fn choose(job: &Job, watch: &Watch<'_>) -> Result<Plan, ChooseError> {
    let mut laid = Laid::out(job, watch)?;
    let servable: Vec<bool> = laid.columns.iter().map(|c| !c.is_empty()).collect();
    let aims = aims(job);
    let instances = laid.instances(job, &aims);
    let mut reached: Vec<Reached> =
        instances.par_iter().map(|instance| stages::reached(instance, &aims, watch)).collect();
    // Only now: the goals of all groups come first.
    let share = watch.share();
    reached
        .par_iter_mut()
        .zip(&instances)
        .for_each(|(group, instance)| group.settle(instance, &aims, &share));
    let order = reached.iter().find_map(|group| group.unsettled);
    let solved: Vec<Solved> = reached.into_iter().map(|group| group.solved).collect();
    let mut kits: Vec<Option<Vec<PackPick>>> = vec![None; job.pumps.len()];
    let mut layouts = Vec::new();
    for ((group, instance), solved) in laid.groups.iter().zip(&instances).zip(&solved) {
        group.read(job, &laid, instance, &solved.taken, &mut kits, &mut layouts);
    }
    layouts.extend(cut_alone(job, &kits, &layouts));
    layouts.sort();
    let reasons = Reasons {
        job,
        available: &laid.available,
        drawers: &laid.drawers,
        servable: &servable,
        layouts: &layouts,
        cut: laid.cut.is_some(),
        watch,
    };
    Ok(Plan {
        kits: reasons.explain(kits),
        goals: laid.goals(job, &aims, &solved),
        layouts,
        worth: Vec::new(),
        stopped_by: laid.cut.or(solved.iter().find_map(|s| s.stopped)),
        left_out: LeftOut { order, worth: None },
    })
}

/// The bare problem of each group of pumps, as [`choose`] solves them one by one: to be counted and
/// measured.
///
/// # Errors
/// [`ChooseError`] when a place can be filled in too many ways to list.
#[doc(hidden)]
pub fn instances(job: &Job) -> Result<Vec<Instance>, ChooseError> {
    Ok(Laid::out(job, &Watch::patient())?.instances(job, &aims(job)))
}

/// Everything that a job can be solved from: what there is and all ways to use it.
struct Laid {
    available: Vec<u32>,
    drawers: Drawers,
    /// By pump.
    columns: Vec<Vec<Column>>,
    suppliers: Vec<Supplier>,
    /// Pieces of each item that lie ready without any supplier.
    ready: Vec<i64>,
    groups: Vec<Group>,
    /// What kept some of all this from being listed.
    cut: Option<Stop>,
}

impl Laid {
    fn out(job: &Job, watch: &Watch<'_>) -> Result<Laid, ChooseError> {
        let available: Vec<u32> = job.stock.iter().map(Item::available).collect();
        if job.stock.len() > MOST_ITEMS {
            return Err(ChooseError::TooManyItems);
        }
        let drawers = Drawers::listed(job, &available, watch)?;
        let Listed { list: columns, cut } = list_columns(job, &drawers, &available, watch)?;
        let wanted = wanted(job.stock.len(), &columns);
        let supply = supply::suppliers(job, &available, &wanted, watch);
        let groups = groups(job, &columns, &supply.suppliers);
        Ok(Laid {
            available,
            drawers,
            columns,
            suppliers: supply.suppliers,
            ready: supply.ready,
            groups,
            cut: cut.or(supply.cut),
        })
    }

    /// The goals of all groups together. Where not everything was listed, no bound says anything of what
    /// was not.
    fn goals(&self, job: &Job, aims: &[Aim], solved: &[Solved]) -> Vec<Goal> {
        let mut goals = goals(job, aims, &self.groups, solved);
        if self.cut.is_some() {
            for goal in &mut goals {
                goal.bound = most(job, goal.aim);
            }
        }
        goals
    }

    /// The bare problem of each group; the columns move there, for they are most of the memory.
    fn instances(&mut self, job: &Job, aims: &[Aim]) -> Vec<Instance> {
        let mut instances = Vec::with_capacity(self.groups.len());
        for group in &self.groups {
            let pumps = group.pumps.iter();
            let columns = pumps.map(|&pump| std::mem::take(&mut self.columns[pump]));
            let columns = columns.collect();
            instances.push(group.instance(job, aims, &self.ready, columns, &self.suppliers));
        }
        instances
    }
}

/// What no plan at all can beat.
fn most(job: &Job, aim: Aim) -> i64 {
    let sum = |gain: &dyn Fn(u32) -> i64| job.pumps.iter().map(|pump| gain(pump.priority)).sum();
    match aim {
        Aim::ServedWeight => {
            let weights = job.weights().unwrap_or_default();
            let of = |priority| weights.iter().find(|(level, _)| *level == priority);
            sum(&|priority| of(priority).map_or(0, |(_, weight)| *weight))
        }
        Aim::ServedOf(level) => sum(&|priority| i64::from(priority == level)),
        Aim::Purchase | Aim::Waste | Aim::Pieces | Aim::Scarcity => 0,
    }
}

/// The sheets that are cut for one shape alone.
fn cut_alone(job: &Job, kits: &[Option<Vec<PackPick>>], others: &[Layout]) -> Vec<Layout> {
    let mut issued: BTreeMap<usize, u32> = BTreeMap::new();
    for pick in kits.iter().flatten().flatten().flat_map(|pack| &pack.picks) {
        *issued.entry(pick.item).or_default() += pick.count;
    }
    let cut_already = |sheet: usize| others.iter().any(|layout| layout.sheet == sheet);
    let mut alone = Vec::new();
    for (item, count) in issued {
        let Some(cut) = job.stock[item].cut.filter(|cut| !cut_already(cut.sheet)) else {
            continue;
        };
        let lot = &job.sheets[cut.sheet];
        let layout = layouts(lot, cut.sheet, &[(item, cut.outside)]).pop();
        let sheets = count.div_ceil(lot.yields(cut.outside).max(1));
        alone.extend(std::iter::repeat_n(layout, sheets as usize).flatten());
    }
    alone
}

/// The most pieces of each of so many items that the pumps can use in all.
fn wanted(items: usize, columns: &[Vec<Column>]) -> Vec<u64> {
    let mut wanted = vec![0; items];
    for columns in columns {
        let mut most: BTreeMap<u16, i16> = BTreeMap::new();
        for &(item, count) in columns.iter().flat_map(|column| &column.uses) {
            let most = most.entry(item).or_default();
            *most = count.max(*most);
        }
        for (item, count) in most {
            wanted[usize::from(item)] += u64::from(count.unsigned_abs());
        }
    }
    wanted
}

/// The combinations of every kind of place that the job's pumps have.
#[doc(hidden)]
pub struct Drawers {
    lists: BTreeMap<DrawerKey, Vec<Combination>>,
    /// A few of each, all over their totals: for pumps that there is no time to list whole.
    few: OnceLock<BTreeMap<DrawerKey, Vec<Combination>>>,
    /// What kept some combinations from being listed.
    pub(crate) cut: Option<Stop>,
}

/// Combinations of each drawer that are few.
const FEW: usize = 500;

/// Kind, fit code, least and most pieces: what two places share that can be filled alike.
pub(crate) type DrawerKey = (String, String, u32, u32);

pub(crate) fn drawer_key(pack: &Pack, fit: &Code) -> DrawerKey {
    (pack.kind.clone(), fit.key().to_string(), pack.least_pieces, pack.most_pieces)
}

impl Drawers {
    /// Lists the combinations of what is available that some pump can use.
    ///
    /// # Errors
    /// [`ChooseError::TooManyCombinations`].
    pub fn list(job: &Job, available: &[u32]) -> Result<Drawers, ChooseError> {
        Drawers::listed(job, available, &Watch::patient())
    }

    /// [`Drawers::list`] under a watch.
    fn listed(job: &Job, available: &[u32], watch: &Watch<'_>) -> Result<Drawers, ChooseError> {
        let pumps = job.pumps.iter();
        let windows = pumps.map(|pump| (pump, windows(job, pump, available)));
        Drawers::within(job, available, windows, watch)
    }

    /// Lists the combinations of what is available with totals that the packs of some pump may
    /// have.
    pub(crate) fn within<'a>(
        job: &'a Job,
        available: &[u32],
        pumps: impl Iterator<Item = (&'a crate::pump::Pump, Vec<Window>)>,
        watch: &Watch<'_>,
    ) -> Result<Drawers, ChooseError> {
        let mut places: BTreeMap<DrawerKey, (&Pack, &Code, Window)> = BTreeMap::new();
        for (pump, windows) in pumps {
            let model = job.model_of(pump);
            for ((pack, fit), window) in model.packs.iter().zip(&pump.fits).zip(windows) {
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
        let grace = (10 * UNITS / places.len().max(1)).clamp(500, UNITS);
        let lists = places
            .into_par_iter()
            .map(|(key, place)| {
                let (pack, fit, window) = place;
                let time = (watch, grace);
                let list = combination::listed(job, (pack, fit), available, window, time);
                let list = list.ok_or_else(|| ChooseError::TooManyCombinations {
                    pack: pack.label.clone(),
                    fit: fit.as_str().to_string(),
                })?;
                Ok((key, list))
            })
            .collect::<Result<BTreeMap<_, _>, _>>()?;
        Ok(Drawers {
            cut: lists.values().find_map(|listed| listed.cut),
            lists: lists.into_iter().map(|(key, l)| (key, l.list)).collect(),
            few: OnceLock::new(),
        })
    }

    /// The combinations of each of a pump's packs.
    pub fn of(&self, job: &Job, pump: &crate::pump::Pump) -> Vec<&[Combination]> {
        of(&self.lists, job, pump)
    }

    /// A few combinations of each of a pump's packs: of each total the one of fewest pieces, and of
    /// these some all over.
    fn few(&self, job: &Job, pump: &crate::pump::Pump) -> Vec<&[Combination]> {
        let fewer = |(key, list): (&DrawerKey, &Vec<Combination>)| {
            let totals = || list.iter().dedup_by(|a, b| a.total == b.total);
            let apart = totals().count().div_ceil(FEW).max(1);
            (key.clone(), totals().step_by(apart).cloned().collect())
        };
        let few = self.few.get_or_init(|| self.lists.iter().map(fewer).collect());
        of(few, job, pump)
    }

    /// The pieces of a column, pack by pack: those of the first pattern that takes just what it
    /// takes at its waste.
    fn picks(job: &Job, pump: usize, column: &Column) -> Vec<PackPick> {
        let pump = &job.pumps[pump];
        // Patterns that take just this are made of nothing else, and come in the same order.
        let mut own = vec![0; job.stock.len()];
        for &(item, count) in &column.uses {
            own[usize::from(item)] = u32::from(count.unsigned_abs());
        }
        let places = job.model_of(pump).packs.iter().zip(&pump.fits);
        let lists: Vec<Vec<Combination>> = places
            .zip(windows(job, pump, &own))
            .map(|((pack, fit), window)| combination::list(job, pack, fit, &own, window))
            .map(Option::unwrap_or_default)
            .collect();
        let lists: Vec<&[Combination]> = lists.iter().map(Vec::as_slice).collect();
        let patterns = pattern::list(pump, &job.policy, &job.stock, &lists, usize::MAX);
        let same = |pattern: &&Pattern| {
            pattern.waste(&lists) == column.waste
                && uses(pattern, &lists).is_some_and(|uses| uses == column.uses)
        };
        let patterns = patterns.unwrap_or_default();
        let picked = patterns.iter().find(same).into_iter();
        picked
            .flat_map(|pattern| pattern.combinations(&lists))
            .map(|combination| PackPick { picks: combination.picks.to_vec() })
            .collect()
    }
}

fn of<'a>(
    lists: &'a BTreeMap<DrawerKey, Vec<Combination>>,
    job: &Job,
    pump: &crate::pump::Pump,
) -> Vec<&'a [Combination]> {
    let places = job.model_of(pump).packs.iter().zip(&pump.fits);
    places
        .map(|(pack, fit)| lists.get(&drawer_key(pack, fit)))
        .map(|list| list.map_or(&[][..], Vec::as_slice))
        .collect()
}

/// The pieces that picks take of each item; `None` if they cannot be counted.
fn uses_of<'a>(picks: impl Iterator<Item = &'a Pick>) -> Option<Uses> {
    let mut uses = Uses::new();
    for pick in picks {
        let item = u16::try_from(pick.item).ok()?;
        let count = i16::try_from(pick.count).ok()?;
        match uses.iter_mut().find(|(other, _)| *other == item) {
            Some((_, sum)) => *sum = sum.checked_add(count)?,
            None => uses.push((item, count)),
        }
    }
    uses.sort_unstable();
    Some(uses)
}

/// The pieces that a pattern takes of each item.
pub(crate) fn uses(pattern: &Pattern, lists: &[&[Combination]]) -> Option<Uses> {
    uses_of(pattern.combinations(lists).flat_map(|c| &c.picks))
}

/// The totals, in ticks, that each of a pump's packs can have in any kit that meets its requirements, out of
/// so many pieces of each item; first above last where there is no kit.
pub(crate) fn windows(job: &Job, pump: &crate::pump::Pump, available: &[u32]) -> Vec<Window> {
    pattern::windows(&pattern::rows(pump, &job.policy), &most_totals(job, pump, available))
}

/// The greatest total of each of a pump's packs.
pub(crate) fn most_totals(job: &Job, pump: &crate::pump::Pump, available: &[u32]) -> Vec<i64> {
    let packs = job.model_of(pump).packs.iter().zip(&pump.fits);
    packs.map(|(pack, fit)| combination::most_total(job, pack, fit, available)).collect()
}

/// Units of work for all pumps together that are done after the watch has said to stop.
const GRACE: usize = 100 * UNITS;

/// The columns of every pump, all of them under one cap. Pumps that there is no time for have some.
fn list_columns(
    job: &Job,
    drawers: &Drawers,
    available: &[u32],
    watch: &Watch<'_>,
) -> Result<Listed<Vec<Column>>, ChooseError> {
    let pumps = job.pumps.len();
    let grace = (GRACE / pumps.max(1)).clamp(4 * FEW, UNITS);
    let [listed, done] = [AtomicUsize::new(0), AtomicUsize::new(0)];
    watch.step(Part::Listing, 0, pumps);
    let columns: Vec<Listed<Column>> = (0..pumps)
        .into_par_iter()
        .map(|pump| {
            let columns = columns(job, drawers, available, pump, (watch, grace))?;
            let count = columns.list.len();
            if listed.fetch_add(count, Ordering::Relaxed) > MOST_COLUMNS {
                return Err(ChooseError::TooManyColumns);
            }
            let done = done.fetch_add(1, Ordering::Relaxed) + 1;
            watch.step(Part::Listing, done, pumps);
            Ok(columns)
        })
        .collect::<Result<_, _>>()?;
    Ok(Listed {
        cut: drawers.cut.or(columns.iter().find_map(|listed| listed.cut)),
        list: columns.into_iter().map(|listed| listed.list).collect(),
    })
}

/// A pump's patterns as columns. Patterns that ask for more than there is are left out, and of
/// two that take the same pieces only the less wasteful one stays.
fn columns(
    job: &Job,
    drawers: &Drawers,
    available: &[u32],
    pump: usize,
    (watch, grace): (&Watch<'_>, usize),
) -> Result<Listed<Column>, ChooseError> {
    let pump = &job.pumps[pump];
    // By what it takes: the least waste, and the first pattern that has it.
    let mut best: HashMap<Uses, (i64, usize)> = HashMap::new();
    let mut number = 0;
    let mut join =
        |lists: &[&[Combination]], pace: &mut Pace<'_>| -> Result<Option<Stop>, ChooseError> {
            let rules = (&job.policy, job.stock.as_slice());
            let listed = pattern::listed(pump, rules, lists, MOST_PATTERNS, pace);
            let Listed { list, cut } = listed.ok_or_else(|| ChooseError::TooManyPatterns {
                tag: pump.tag.clone(),
                most: MOST_PATTERNS,
            })?;
            best.reserve(list.len());
            for pattern in &list {
                number += 1;
                let Some(uses) = uses(pattern, lists) else {
                    continue;
                };
                let enough = |&(item, count): &(u16, i16)| {
                    u32::from(count.unsigned_abs()) <= available[usize::from(item)]
                };
                if !uses.iter().all(enough) {
                    continue;
                }
                let waste = pattern.waste(lists);
                best.entry(uses)
                    .and_modify(|known| *known = (waste, number).min(*known))
                    .or_insert((waste, number));
            }
            Ok(cut)
        };
    let cut = join(&drawers.of(job, pump), &mut Pace::at_least(watch, grace))?;
    if cut.is_some() {
        join(&drawers.few(job, pump), &mut Pace::at_least(watch, grace))?;
    }
    let list = best
        .into_iter()
        .sorted_unstable_by_key(|&(_, (_, number))| number)
        .map(|(uses, (waste, _))| Column { waste, uses })
        .collect();
    Ok(Listed { list, cut })
}

/// Pumps that draw on the same items and suppliers.
struct Group {
    /// In the job's order.
    pumps: Vec<usize>,
    /// By index into the suppliers.
    suppliers: Vec<usize>,
    /// The items that it draws on, ascending: what its own numbers of items stand for.
    items: Vec<u16>,
}

/// Pumps that share an item, directly or through others. Pumps with no column at all belong to no
/// group, and neither do suppliers that no pump draws on.
fn groups(job: &Job, columns: &[Vec<Column>], suppliers: &[Supplier]) -> Vec<Group> {
    fn find(root: &mut [usize], mut item: usize) -> usize {
        while root[item] != item {
            root[item] = root[root[item]];
            item = root[item];
        }
        item
    }
    let items = |columns: &[Column]| -> Vec<usize> {
        let uses = columns.iter().flat_map(|column| &column.uses);
        uses.map(|&(item, _)| usize::from(item)).unique().collect()
    };
    let supplied = suppliers.iter().map(|supplier| items(&supplier.columns));
    let drawn = columns.iter().map(|columns| items(columns));
    let tied: Vec<Vec<usize>> = drawn.chain(supplied).collect();
    // Items may stand behind those of the stock.
    let beyond = tied.iter().flatten().max().map_or(0, |most| most + 1);
    let beyond = beyond.max(job.stock.len());
    let mut root: Vec<usize> = (0..beyond).collect();
    for pair in tied.iter().flat_map(|items| items.windows(2)) {
        let (a, b) = (find(&mut root, pair[0]), find(&mut root, pair[1]));
        root[a.max(b)] = a.min(b);
    }
    let mut groups: BTreeMap<usize, Group> = BTreeMap::new();
    for (taker, items) in tied.iter().enumerate() {
        let supplier = taker.checked_sub(columns.len());
        if supplier.is_none() && columns[taker].is_empty() {
            continue;
        }
        // A pump that needs no piece at all is a group of its own, beyond all items.
        let key = items.first().map_or(beyond + taker, |&item| find(&mut root, item));
        let group = groups.entry(key).or_insert_with(|| Group {
            pumps: Vec::new(),
            suppliers: Vec::new(),
            items: Vec::new(),
        });
        group.items.extend(items.iter().filter_map(|&item| u16::try_from(item).ok()));
        match supplier {
            Some(supplier) => group.suppliers.push(supplier),
            None => group.pumps.push(taker),
        }
    }
    groups
        .into_values()
        .filter(|group| !group.pumps.is_empty())
        .update(|group| {
            group.items.sort_unstable();
            group.items.dedup();
        })
        .sorted_by_key(|group| group.pumps[0])
        .collect()
}

/// The goals as they are searched for, the same for every group: the served of one priority after
/// the other, which is what the weights come to and keeps numbers small, then the rest.
fn aims(job: &Job) -> Vec<Aim> {
    let priorities = job.pumps.iter().map(|pump| pump.priority).sorted().dedup();
    priorities.map(Aim::ServedOf).chain([Aim::Waste, Aim::Pieces, Aim::Scarcity]).collect()
}

/// One goal as a tier of a group, whose items are these of the stock and whose suppliers ask these prices.
fn tier(job: &Job, aim: Aim, group: &[usize], items: &[u16], bought: Vec<Vec<i64>>) -> Tier {
    // What stands behind the stock is held back of an item that is counted already.
    let each = |points: &dyn Fn(&Item) -> i64| {
        let lots = items.iter().map(|&item| job.stock.get(usize::from(item)));
        Tier::Pieces(lots.map(|lot| lot.map_or(0, points)).collect())
    };
    let gains = |gain: &dyn Fn(u32) -> i64| {
        Tier::Served(group.iter().map(|&pump| gain(job.pumps[pump].priority)).collect())
    };
    match aim {
        Aim::ServedOf(level) => gains(&|priority| i64::from(priority == level)),
        Aim::ServedWeight => gains(&|_| 1),
        Aim::Purchase => Tier::Bought(Arc::new(bought)),
        Aim::Waste => Tier::Waste,
        Aim::Pieces => each(&|_| 1),
        Aim::Scarcity => each(&|lot| scarcity_points(lot.available(), lot.min_level)),
    }
}

impl Group {
    /// All groups as one.
    fn merged(groups: Vec<Group>) -> Vec<Group> {
        let merged = groups.into_iter().reduce(|mut all, group| {
            all.pumps.extend(group.pumps);
            all.suppliers.extend(group.suppliers);
            all.items.extend(group.items);
            all
        });
        let sorted = merged.map(|mut all| {
            all.pumps.sort_unstable();
            all.suppliers.sort_unstable();
            all.items.sort_unstable();
            all
        });
        sorted.into_iter().collect()
    }

    /// Reads a solution: the pieces of each pump, and how sheets are cut.
    fn read(
        &self,
        job: &Job,
        laid: &Laid,
        instance: &Instance,
        taken: &Taken,
        kits: &mut [Option<Vec<PackPick>>],
        layouts: &mut Vec<Layout>,
    ) {
        for (taker, (&pump, taken)) in self.pumps.iter().zip(taken).enumerate() {
            kits[pump] = taken.map(|column| {
                let mut column = instance.column(taker, column).clone();
                for (item, _) in &mut column.uses {
                    *item = self.items[usize::from(*item)];
                }
                // What is held back is no piece of its own.
                column.uses.retain(|(item, _)| usize::from(*item) < job.stock.len());
                Drawers::picks(job, pump, &column)
            });
        }
        for (&supplier, taken) in self.suppliers.iter().zip(&taken[self.pumps.len()..]) {
            // The first column supplies nothing.
            let layout = taken.and_then(|c| (c as usize).checked_sub(1));
            layouts.extend(layout.and_then(|l| laid.suppliers[supplier].layouts.get(l).cloned()));
        }
    }

    /// The bare problem: the columns of the group's pumps, in their order, and its suppliers.
    fn instance(
        &self,
        job: &Job,
        aims: &[Aim],
        ready: &[i64],
        columns: Vec<Vec<Column>>,
        suppliers: &[Supplier],
    ) -> Instance {
        // Items are numbered anew, so that what the group cannot use costs nothing.
        let new: HashMap<u16, u16> = self.items.iter().copied().zip(0..).collect();
        let supplied = self.suppliers.iter().map(|&index| suppliers[index].columns.clone());
        let mut takers: Vec<Vec<Column>> = columns.into_iter().chain(supplied).collect();
        for column in takers.iter_mut().flatten() {
            for (item, _) in &mut column.uses {
                *item = new[item];
            }
        }
        // All the pieces that the group can use, and those of each kind and fit by themselves.
        let mut classes: BTreeMap<(&str, &str), Vec<u32>> = BTreeMap::new();
        for (index, &item) in (0..).zip(&self.items) {
            let Some(lot) = job.stock.get(usize::from(item)) else {
                continue;
            };
            let class = classes.entry((&lot.kind, lot.fit.key())).or_default();
            class.push(index);
        }
        let whole: Vec<u32> = classes.values().flatten().copied().sorted().collect();
        let prices = || -> Vec<Vec<i64>> {
            let mine = self.suppliers.iter();
            mine.map(|&index| suppliers[index].prices()).collect()
        };
        let several = (classes.len() > 1).then_some(whole);
        Instance {
            classes: several.into_iter().chain(classes.into_values()).collect(),
            capacity: self.items.iter().map(|&item| ready[usize::from(item)]).collect(),
            takers: Arc::new(takers),
            pumps: self.pumps.len(),
            tiers: aims
                .iter()
                .map(|&aim| tier(job, aim, &self.pumps, &self.items, prices()))
                .collect(),
        }
    }
}

/// The groups' values and bounds added up, goal by goal; the served of each priority as one
/// weight, as far as whole numbers carry it.
fn goals(job: &Job, aims: &[Aim], groups: &[Group], solved: &[Solved]) -> Vec<Goal> {
    let mut goals: Vec<Goal> = aims
        .iter()
        .enumerate()
        .map(|(tier, &aim)| {
            let value: i64 = solved.iter().map(|s| s.values[tier]).sum();
            let bound: i64 = solved.iter().map(|s| s.bounds[tier]).sum();
            // Inside, serving is minus a gain; outside it is counted upwards.
            match aim {
                Aim::ServedOf(_) => Goal { aim, value: -value, bound: -bound },
                _ => Goal { aim, value, bound },
            }
        })
        .collect();
    let Some(weights) = job.weights() else {
        return goals;
    };
    let mut served = Goal { aim: Aim::ServedWeight, value: 0, bound: 0 };
    for (group, solved) in groups.iter().zip(solved) {
        // Behind the first priority that is not proven, nothing is known of the later ones.
        let mut proven = true;
        for (tier, &(priority, weight)) in weights.iter().enumerate() {
            let all =
                group.pumps.iter().filter(|&&pump| job.pumps[pump].priority == priority).count();
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
