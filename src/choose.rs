//! Choice of pieces for all pumps together, out of one stock.
//!
//! [`choose()`] makes the [`Plan`]; [`mod@purchase`] adds packs to buy, [`worth`] the value of one more piece.
//!
//! # The problem
//!
//! A place is filled by a *combination* of pieces. A *column* of a pump is one combination per place that together meet
//! every requirement, guards included. *Suppliers* have columns too: one opens packs, cuts up a plate or buys packs.
//!
//! ```text
//! P, S     pumps and suppliers; together the blocks b
//! K_b      columns k of block b (see Sizes)
//! q_i      pieces of item i on hand and free (rows)
//! a_ik     pieces of item i that column k takes; negative if it supplies them
//! c_gk     cost of column k on goal g, an integer
//! x_bk     1 if block b takes column k, else 0 (variables)
//!
//! minimise    z_g = sum over b and k of c_gk x_bk       goal by goal, in lexicographic order
//! subject to  sum over k of x_bk <= 1                   each pump
//!             sum over k of x_bk = 1                    each supplier; one of its columns supplies zero
//!             sum over b and k of a_ik x_bk <= q_i      each item
//!             z_h <= Z_h                                each earlier goal h, Z_h its value reached
//! ```
//!
//! | goal, in this order | cost of a column |
//! |---|---|
//! | pumps served, one goal per priority, 1 first | -1 for a pump of that priority |
//! | pieces held back, if any are to be | minus the worth of the piece, of a block that takes it and is no pump |
//! | bags reopened, if any lie packed | -1 for the pieces in the pump's bag |
//! | purchase cost, only in a [`mod@purchase`]; a budget is a limit on it from the start | price of the packs |
//! | waste | cost and handling of the pieces, peeled layers, spoiled packs, the rest of plates cut, charge off target |
//! | plates cut, if the job has plates, not in a purchase | number of plates |
//! | pieces, not in a purchase | number of pieces |
//! | slips changed, if there was a plan before | -1 for the pieces on the pump's slip |
//! | scarcity, not in a purchase | [`scarcity_points`] of the pieces |
//!
//! Money is in millionths of the currency. Groups of pumps that share no item are separate problems: their values and
//! bounds add up.
//!
//! # The method
//!
//! The formula is the *master problem* of a Dantzig-Wolfe decomposition: set packing with one column per block, as in the
//! generalised assignment problem. It is solved by *branch and price*. Column generation solves its linear relaxation over
//! a *restricted master* with few of the columns; the columns with the least *reduced cost* then join. With a price
//! `p_i >= 0` per item and `n_h >= 0` per earlier goal, the reduced cost of a column and the bound are
//!
//! ```text
//! r_bk = c_gk + sum over i of p_i a_ik + sum over h of n_h c_hk
//! z_g >= sum over b of min(0, min over k of r_bk) - sum over i of p_i q_i - sum over h of n_h Z_h
//! ```
//!
//! (no 0 for a supplier). This Lagrangian bound holds for all such prices. The linear programs, in floating point, only
//! propose prices: by a simplex method for this shape (`simplex`), or a general solver where there are suppliers or
//! very many items; the bound is computed in integers (`bound`) and rounded up to a multiple of the common divisor of the
//! costs. Columns whose reduced cost lifts the bound above the best value are removed (*reduced-cost fixing*). Branches
//! limit the total of a class of items, then of one item; then they split the columns of one pump.
//!
//! A goal is *proven* if its value equals its bound: no plan that is as good on the earlier goals is better on this one. If
//! the time limit cuts the list of columns short, only the trivial bound (every pump served, zero cost) is reported.
//!
//! Sources (all from memory): Dantzig and Wolfe, Decomposition principle for linear programs, Operations Research 8 (1960);
//! Savelsbergh, A branch-and-price algorithm for the generalized assignment problem, Operations Research 45 (1997);
//! Barnhart et al., Branch-and-price: column generation for solving huge integer programs, Operations Research 46 (1998);
//! Lübbecke and Desrosiers, Selected topics in column generation, Operations Research 53 (2005); Fisher, The Lagrangian
//! relaxation method for solving integer programming problems, Management Science 27 (1981).
//!
//! # From requirements to columns
//!
//! 1. *Windows.* Each limit of a requirement is a row `constant + sum of sensitivity x total >= 0`. Bounds passed
//!    from row to row give each place the totals that any kit can have; only combinations inside are listed.
//! 2. *Combinations* of a kind and fit are listed once for all pumps that share it; a laminated shim at each
//!    thickness that it can be peeled to.
//! 3. *Patterns.* The guard depends on the very pieces, so a row takes each combination's own worst case off. An
//!    expanded uncertainty is no sum over places: rows and windows leave it out, and it is held against every row
//!    once a choice is whole. Of patterns that take the same pieces the least wasteful one becomes a column.
//!
//! # Which columns are listed
//!
//! Where all pumps of a group can be served, only columns near the bound are: the bound of the waste is found with the ways
//! to fill a place priced but not listed (`ways`), and a plan within some money of it takes only columns whose reduced cost
//! is that much above the least (`near`). Everything after that, the order among equals too, goes on among these few.
//! Groups with suppliers or with short pumps have all their columns listed. There a good plan comes early: the
//! pumps that the relaxation serves whole stay, and the rest are searched with some forty others as a small problem.
//!
//! A search that is not over after some nodes goes on with *cuts* (`cuts`), rows that every whole plan keeps: in turns, each
//! from the root, with what the turns before have found.
//! Last comes a fixed order among equal plans: pump by pump, the earliest column with which every goal can still be
//! reached; large groups with suppliers keep the plan found.
//!
//! Limits count work beside the time, so that a machine with other things to do gives the same plan: a second of the time
//! limit stands for so many columns priced and pivots made. The general solvers' work is not counted, only their time.
//!
//! # Sizes
//!
//! Where all columns are listed they are at most 4,000,000 combinations per kind and fit, 1,000,000 patterns per pump and
//! 40,000,000 columns, and no more than the [`Room`](control::Room) of the run holds. Where
//! the time limit ends the listing, each pump has the columns listed by then, at least a few spread over its totals, and
//! only the trivial bound counts. Packs that are spoiled once opened, and plates, have a weak bound until the search has
//! branched on an item's total. The general solvers look seldom at the clock: microlp once in a thousand pivots; HiGHS is
//! given the time that is left and cannot be interrupted.

mod bound;
mod chain;
mod climb;
pub(crate) mod combination;
pub mod control;
mod cuts;
mod draft;
pub mod holding;
pub(crate) mod instance;
mod master;
mod mending;
mod near;
pub mod other_kits;
pub(crate) mod pattern;
mod proof;
pub mod purchase;
mod relaxation;
mod room;
mod rough;
mod search;
pub mod second;
mod simplex;
pub(crate) mod stages;
mod standing;
mod supply;
mod unproven;
pub mod warm;
mod ways;
mod why;
mod window;
pub mod worth;

pub use draft::Draft;
pub use relaxation::Backend;

/// Internals of the search, for those who measure it or try it on a bare problem from a book. They may change
/// with any version.
#[doc(hidden)]
pub mod parts {
    pub use crate::choose::bound::{Allowed, Multipliers, Prices, SCALE, Stage};
    pub use crate::choose::climb::{Climb, FAR, Pool};
    pub use crate::choose::combination::{Combination, list as combinations};
    pub use crate::choose::instance::{Column, CostRow, Instance, Uses};
    pub use crate::choose::pattern::{Pattern, list as patterns};
    pub use crate::choose::relaxation::scales;
    pub use crate::choose::stages::{solve, solve_from};
    pub use crate::choose::{CombinationLists, instances};
}

use std::collections::{BTreeMap, HashMap};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, OnceLock};

use itertools::Itertools;
use rayon::prelude::*;
use thiserror::Error;

use crate::accounting::scarcity_points;
use crate::certificate::GroupProof;
use crate::cutting::Layout;
use crate::job::Job;
use crate::model::Pack;
use crate::plan::{Kit, Objective, ObjectiveValue, PackPick, Pick, Plan, Stop};
use crate::problem::{Place, Problem};
use crate::stock::{Code, Item};
use combination::{Combination, Window};
use control::{Control, Listed, NoRoom, Pace, Phase, UNITS, Unlisted};
use instance::{Assignment, Column, CostRow, Instance, Uses};
use pattern::Pattern;
use proof::Named;
use stages::Solved;
use standing::Stood;
use supply::Supplier;
use warm::Warm;

/// Reason that no plan could be made at all.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum ChooseError {
    /// A place can be filled in too many ways to list.
    #[error(
        "place `{pack}` with fit code {fit} can be filled in more than {} ways; \
         lower most_pieces in its model or split the fit code",
        combination::MOST_COMBINATIONS
    )]
    TooManyCombinations {
        /// Label of the pack.
        pack: String,
        /// Fit code.
        fit: String,
    },
    /// A pump can be kitted in too many ways to list.
    #[error(
        "pump {tag} can be kitted in more than {most} ways; lower most_pieces in its model, \
         narrow its limits, or split the outage"
    )]
    TooManyPatterns {
        /// Tag of the pump.
        tag: String,
        /// Most ways that are listed.
        most: usize,
    },
    /// All pumps together can be kitted in too many ways to list.
    #[error(
        "the pumps can be kitted in more than {MOST_COLUMNS} ways in all; lower most_pieces in \
         the models, narrow the limits, or split the outage"
    )]
    TooManyColumns,
    /// The ways to kit the pumps take more memory than the run may.
    #[error(
        "the ways to kit the pumps take more than {0} MB of memory; lower most_pieces in the models, \
         narrow the limits, split the outage, or allow more memory"
    )]
    NoRoom(u64),
    /// The stock has too many items.
    #[error("the stock has more than {MOST_ITEMS} items; leave out what the outage cannot need")]
    TooManyItems,
}

impl From<NoRoom> for ChooseError {
    fn from(lack: NoRoom) -> ChooseError {
        ChooseError::NoRoom(lack.megabytes)
    }
}

impl ChooseError {
    /// Problem of the stock workbook or of the pump workbook.
    pub fn problem(&self, stock: &str, pumps: &str) -> Problem {
        let in_pumps = |found: String, expected: String, fix: &str| {
            Problem::new(Place::file(pumps), found, expected, fix)
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
            ChooseError::NoRoom(megabytes) => in_pumps(
                "pumps that can be kitted in too many ways to be held in memory".into(),
                format!("what can be worked out with {megabytes} MB of memory"),
                "give more with --memory, lower most_pieces in the models, narrow the limits, or split the outage",
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

/// Most items of a stock, its lots of plates included.
pub(crate) const MOST_ITEMS: usize = 60_000;

/// Most patterns listed for one pump.
pub(crate) const MOST_PATTERNS: usize = 1_000_000;

/// Most columns of all pumps together: about two gigabytes, where the memory allows so many.
pub(crate) const MOST_COLUMNS: usize = 40_000_000;

/// Chooses pieces for every pump.
///
/// The time limit never costs a plan: if it ends the listing of columns, the choice is made from those listed,
/// with trivial bounds only. The order among equal plans is settled in [a share](Control::share) of the
/// time.
///
/// # Errors
/// [`ChooseError`] when there are too many ways or too many items to list.
pub fn choose(job: &Job, control: &Control<'_>) -> Result<Plan, ChooseError> {
    Ok(drafted(job, None, control)?.settled(control))
}

/// [`choose`] from what the last choice left, of a job like this one or of any other. A plan that is proven is the same,
/// and comes sooner.
///
/// # Errors
/// As [`choose`].
pub fn choose_from(job: &Job, warm: &mut Warm, control: &Control<'_>) -> Result<Plan, ChooseError> {
    Ok(drafted(job, Some(warm), control)?.settled(control))
}

/// The first step of [`choose_from`]: the goals, as far as the control allows. [`Draft::settled`] is the second one, where the
/// draft is not [hurried](Draft::is_hurried).
///
/// # Errors
/// As [`choose`].
pub fn draft_from<'a>(
    job: &'a Job,
    warm: &'a mut Warm,
    control: &Control<'a>,
) -> Result<Draft<'a>, ChooseError> {
    drafted(job, Some(warm), control)
}

fn drafted<'a>(
    job: &'a Job,
    mut warm: Option<&'a mut Warm>,
    control: &Control<'a>,
) -> Result<Draft<'a>, ChooseError> {
    let lists = control.lists();
    if job.stock.len() + job.plates.len() > MOST_ITEMS {
        return Err(ChooseError::TooManyItems);
    }
    let stood = Stood::of(job);
    let mut known = None;
    let has_bags = (0..job.pumps.len()).any(|pump| stood.has_bag(pump) && !stood.is_held(pump));
    if has_bags || !job.hold_back.is_empty() {
        // Bags closed, and every piece held back that is to be.
        let out = stood.out_of_play(job, &|_| true, true);
        let draft = Draft::of(job, (&stood, out), None, warm.as_deref_mut(), control)?;
        let plan = draft.plan(control);
        let is_out = |pump| draft.out.has(pump);
        let short: Vec<bool> = (plan.kits.iter().enumerate())
            .map(|(pump, kit)| matches!(kit, Kit::Short(_)) && !is_out(pump))
            .collect();
        let mut bags = job.bags().filter(|&pump| stood.has_bag(pump));
        let kept = bags.all(|pump| plan.leaves_closed(job, pump))
            && plan.held_back.len() == job.hold_back.len();
        if kept && none_has_a_column(job, &short, &control.unhurried())? {
            return Ok(draft.within(warm, lists));
        }
        known = Some(plan.kits);
    }
    let out = stood.out_of_play(job, &|_| false, false);
    let draft = Draft::of(job, (&stood, out), known.as_deref(), warm.as_deref_mut(), control)?;
    Ok(draft.within(warm, lists))
}

/// Whether none of some pumps could have a kit out of all pieces.
fn none_has_a_column(job: &Job, some: &[bool], control: &Control<'_>) -> Result<bool, ChooseError> {
    if some.iter().all(|some| !some) {
        return Ok(true);
    }
    let available: Vec<u32> = job.stock.iter().map(Item::available).collect();
    let laid = Setup::build(job, some, &available, Beside::default(), control)?;
    Ok(laid.cut.is_none() && laid.columns.iter().all(Vec::is_empty))
}

/// Bare problem of each group of pumps, as [`choose`] solves them one by one: for counts and measurements.
///
/// # Errors
/// [`ChooseError`] when there are too many ways or too many items to list.
#[doc(hidden)]
pub fn instances(job: &Job) -> Result<Vec<Instance>, ChooseError> {
    let all = vec![true; job.pumps.len()];
    let available: Vec<u32> = job.stock.iter().map(Item::available).collect();
    let mut laid = Setup::build(job, &all, &available, Beside::default(), &Control::unlimited())?;
    Ok(laid.instances(job, &objectives(job)))
}

/// Stock, combinations, columns and groups of a job, ready to be solved.
struct Setup {
    drawers: CombinationLists,
    /// Columns by pump, then those of pieces to hold back.
    columns: Vec<Vec<Column>>,
    suppliers: Vec<Supplier>,
    /// Pieces of each item that are free without any supplier.
    ready: Vec<i64>,
    groups: Vec<Group>,
    /// Reason that the list is incomplete, if it is.
    cut: Option<Stop>,
}

/// Columns beside those that are listed.
#[derive(Default)]
struct Beside {
    /// Kits from before the plan.
    stood: Stood,
    /// Those of pieces to hold back.
    holders: Vec<Vec<Column>>,
}

impl Setup {
    /// Lists the columns of some pumps out of the pieces available, with others beside them.
    fn build(
        job: &Job,
        some: &[bool],
        available: &[u32],
        beside: Beside,
        control: &Control<'_>,
    ) -> Result<Setup, ChooseError> {
        let drawers = CombinationLists::listed(job, some, available, control)?;
        let Listed { list: mut columns, cut } =
            list_columns(job, some, &drawers, available, control)?;
        let mut wanted = self::wanted(job.stock.len(), &columns);
        beside.stood.enter(some, &mut columns);
        let with_bags = self::wanted(job.stock.len(), &columns);
        wanted.iter_mut().zip(with_bags).for_each(|(most, also)| *most = also.max(*most));
        let supply = supply::suppliers(job, available, &wanted, control)?;
        columns.extend(beside.holders);
        let groups = groups(job, &drawn(&columns), &supply.suppliers);
        Ok(Setup {
            drawers,
            columns,
            suppliers: supply.suppliers,
            ready: supply.ready,
            groups,
            cut: cut.or(supply.cut),
        })
    }

    /// Goals of all groups together. If the list of columns is incomplete, only the trivial bound holds.
    fn goals(
        &self,
        job: &Job,
        aims: &[Objective],
        groups: &[(&Group, &Solved)],
    ) -> Vec<ObjectiveValue> {
        let mut goals = goals(job, aims, groups);
        if self.cut.is_some() {
            for goal in &mut goals {
                goal.bound = most(job, goal.objective);
            }
        }
        goals
    }

    /// Bare problem of each group; the columns move into it, since they are most of the memory.
    fn instances(&mut self, job: &Job, aims: &[Objective]) -> Vec<Instance> {
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

/// Trivial bound on a goal: all pumps served, or zero cost.
fn most(job: &Job, aim: Objective) -> i64 {
    let sum = |gain: &dyn Fn(u32) -> i64| job.pumps.iter().map(|pump| gain(pump.priority)).sum();
    match aim {
        Objective::ServedWeight => {
            let weights = job.weights().unwrap_or_default();
            let of = |priority| weights.iter().find(|(level, _)| *level == priority);
            sum(&|priority| of(priority).map_or(0, |(_, weight)| *weight))
        }
        Objective::ServedOf(level) => sum(&|priority| i64::from(priority == level)),
        Objective::HeldBack => job.hold_back.iter().map(|of| i64::from(of.worth)).sum(),
        Objective::Purchase
        | Objective::Reopened
        | Objective::Slips
        | Objective::Waste
        | Objective::Plates
        | Objective::Pieces
        | Objective::Scarcity => 0,
    }
}

/// Most pieces of each item that the pumps can use together.
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

/// Lists of combinations, one per kind of place of the job's pumps.
#[doc(hidden)]
pub struct CombinationLists {
    lists: BTreeMap<DrawerKey, Vec<Combination>>,
    /// Sample of each list, spread over its totals: for pumps that the time does not allow to list whole.
    few: OnceLock<BTreeMap<DrawerKey, Vec<Combination>>>,
    /// Reason that some combinations are not listed.
    pub(crate) cut: Option<Stop>,
}

/// Size of a sample.
const FEW: usize = 500;

/// Kind, fit code, least and most pieces: places with the same key have the same combinations.
pub(crate) type DrawerKey = (String, String, u32, u32);

pub(crate) fn drawer_key(pack: &Pack, fit: &Code) -> DrawerKey {
    (pack.kind.clone(), fit.key().to_string(), pack.least_pieces, pack.most_pieces)
}

impl CombinationLists {
    /// Lists the combinations of available pieces that some pump can use.
    ///
    /// # Errors
    /// [`ChooseError::TooManyCombinations`].
    pub fn list(job: &Job, available: &[u32]) -> Result<CombinationLists, ChooseError> {
        let all = vec![true; job.pumps.len()];
        CombinationLists::listed(job, &all, available, &Control::unlimited())
    }

    /// [`CombinationLists::list`] for some of the pumps, under a control.
    fn listed(
        job: &Job,
        some: &[bool],
        available: &[u32],
        control: &Control<'_>,
    ) -> Result<CombinationLists, ChooseError> {
        let pumps = job.pumps.iter().zip(some).filter(|(_, some)| **some).map(|(pump, _)| pump);
        let windows = pumps.map(|pump| (pump, windows(job, pump, available)));
        CombinationLists::within(job, available, windows, control)
    }

    /// Lists the combinations of available pieces whose totals lie in the window of some pump's pack.
    pub(crate) fn within<'a>(
        job: &'a Job,
        available: &[u32],
        pumps: impl Iterator<Item = (&'a crate::pump::Pump, Vec<Window>)>,
        control: &Control<'_>,
    ) -> Result<CombinationLists, ChooseError> {
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
                let time = (control, grace);
                let list = combination::listed(job, (pack, fit), available, window, time);
                let list = list.map_err(|unlisted| match unlisted {
                    Unlisted::NoRoom(lack) => lack.into(),
                    Unlisted::TooMany => ChooseError::TooManyCombinations {
                        pack: pack.label.clone(),
                        fit: fit.as_str().to_string(),
                    },
                })?;
                Ok::<_, ChooseError>((key, list))
            })
            .collect::<Result<BTreeMap<_, _>, _>>()?;
        Ok(CombinationLists {
            cut: lists.values().find_map(|listed| listed.cut),
            lists: lists.into_iter().map(|(key, l)| (key, l.list)).collect(),
            few: OnceLock::new(),
        })
    }

    /// Combinations of each of a pump's packs.
    pub fn of(&self, job: &Job, pump: &crate::pump::Pump) -> Vec<&[Combination]> {
        of(&self.lists, job, pump)
    }

    /// Sample of the combinations of each of a pump's packs: per total the one of fewest pieces, spread over
    /// the totals.
    fn few(&self, job: &Job, pump: &crate::pump::Pump) -> Vec<&[Combination]> {
        let fewer = |(key, list): (&DrawerKey, &Vec<Combination>)| {
            let totals = || list.iter().dedup_by(|a, b| a.total == b.total);
            let apart = totals().count().div_ceil(FEW).max(1);
            (key.clone(), totals().step_by(apart).cloned().collect())
        };
        let few = self.few.get_or_init(|| self.lists.iter().map(fewer).collect());
        of(few, job, pump)
    }

    /// Pieces of a column, pack by pack: those of the first pattern with the column's uses and waste.
    fn picks(job: &Job, pump: usize, column: &Column) -> Vec<PackPick> {
        let bag = job.standing_of(pump).filter(|stands| stands.peeled().next().is_some());
        if let Some(bag) = bag.and_then(|stands| stands.bag.as_ref())
            && uses_of(job.takes(pump, bag)).as_ref() == Some(&column.uses)
            && standing::waste(job, pump, bag) == Some(column.waste)
        {
            return bag.clone();
        }
        let pump = &job.pumps[pump];
        // Patterns with these uses have no other pieces, and come in the same order.
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
        let patterns = pattern::list(pump, job, &lists, usize::MAX);
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

/// Pieces of each item in some picks; `None` if they cannot be counted.
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

/// Pieces of each item that a pattern takes.
pub(crate) fn uses(pattern: &Pattern, lists: &[&[Combination]]) -> Option<Uses> {
    uses_of(pattern.combinations(lists).flat_map(|c| &c.picks))
}

/// Window of totals, in ticks, of each of a pump's packs over all kits that meet its requirements with these
/// pieces; first above last if there is no kit.
pub(crate) fn windows(job: &Job, pump: &crate::pump::Pump, available: &[u32]) -> Vec<Window> {
    pattern::windows(
        &pattern::rows(pump, job, job.policy.guard()),
        &most_totals(job, pump, available),
    )
}

/// Greatest total of each of a pump's packs, in ticks.
pub(crate) fn most_totals(job: &Job, pump: &crate::pump::Pump, available: &[u32]) -> Vec<i64> {
    let packs = job.model_of(pump).packs.iter().zip(&pump.fits);
    packs.map(|(pack, fit)| combination::most_total(job, pack, fit, available)).collect()
}

/// Units of work, for all pumps together, that are done after the control has said stop.
const GRACE: usize = 100 * UNITS;

/// Columns of some pumps, all under one cap. Pumps that the time does not allow to list whole have some of
/// theirs.
fn list_columns(
    job: &Job,
    some: &[bool],
    drawers: &CombinationLists,
    available: &[u32],
    control: &Control<'_>,
) -> Result<Listed<Vec<Column>>, ChooseError> {
    let pumps = job.pumps.len();
    let grace = (GRACE / pumps.max(1)).clamp(4 * FEW, UNITS);
    let [listed, done] = [AtomicUsize::new(0), AtomicUsize::new(0)];
    control.step(Phase::Listing, 0, pumps);
    let of = |pump: usize| {
        if !some[pump] {
            return Ok(Listed { list: Vec::new(), cut: None });
        }
        let columns = columns(job, drawers, available, pump, (control, grace))?;
        let count = columns.list.len();
        if listed.fetch_add(count, Ordering::Relaxed) > MOST_COLUMNS {
            return Err(Lack::For(ChooseError::TooManyColumns));
        }
        let beside = columns.list.iter().map(|column| heap(&column.uses)).sum::<usize>();
        control
            .keep(count * size_of::<Column>() + beside)
            .map_err(|lack| Lack::For(lack.into()))?;
        let done = done.fetch_add(1, Ordering::Relaxed) + 1;
        control.step(Phase::Listing, done, pumps);
        Ok(columns)
    };
    let first: Vec<Option<Listed<Column>>> = (0..pumps)
        .into_par_iter()
        .map(|pump| match of(pump) {
            Ok(columns) => Ok(Some(columns)),
            Err(Lack::InHand(_)) => Ok(None),
            Err(Lack::For(error)) => Err(error),
        })
        .collect::<Result<_, _>>()?;
    // Those that had too little room beside others have all of it.
    let columns: Vec<Listed<Column>> = first
        .into_iter()
        .enumerate()
        .map(|(pump, columns)| columns.map_or_else(|| of(pump), Ok))
        .collect::<Result<_, Lack>>()?;
    Ok(Listed {
        cut: drawers.cut.or(columns.iter().find_map(|listed| listed.cut)),
        list: columns.into_iter().map(|listed| listed.list).collect(),
    })
}

/// Why the columns of a pump are not listed.
enum Lack {
    /// No room in hand: alone there may be enough.
    InHand(NoRoom),
    /// Any other reason.
    For(ChooseError),
}

impl From<Lack> for ChooseError {
    fn from(lack: Lack) -> ChooseError {
        match lack {
            Lack::InHand(lack) => lack.into(),
            Lack::For(error) => error,
        }
    }
}

/// Bytes of uses beside their own place.
fn heap(uses: &Uses) -> usize {
    if uses.spilled() { uses.capacity() * size_of::<(u16, i16)>() } else { 0 }
}

/// Patterns of a pump as columns. Patterns that need more pieces than available are left out; of two with the
/// same uses the less wasteful one stays.
fn columns(
    job: &Job,
    drawers: &CombinationLists,
    available: &[u32],
    pump: usize,
    (control, grace): (&Control<'_>, usize),
) -> Result<Listed<Column>, Lack> {
    /// Bytes in hand for a pattern beside itself: its entry in a table that may be half empty, and in a sorted list.
    const BESIDE: usize = 3 * size_of::<(Uses, (i64, usize))>();
    let pump = &job.pumps[pump];
    // By uses: the least waste, and the first pattern that has it.
    let mut best: HashMap<Uses, (i64, usize)> = HashMap::new();
    let mut number = 0;
    let mut join = |lists: &[&[Combination]], pace: &mut Pace<'_>| -> Result<Option<Stop>, Lack> {
        let listed = pattern::listed(pump, (job, job.policy.guard()), lists, MOST_PATTERNS, pace);
        let Listed { list, cut } = listed.map_err(|unlisted| match unlisted {
            Unlisted::NoRoom(lack) => Lack::InHand(lack),
            Unlisted::TooMany => Lack::For(ChooseError::TooManyPatterns {
                tag: pump.tag.clone(),
                most: MOST_PATTERNS,
            }),
        })?;
        pace.hold(BESIDE * list.len()).map_err(Lack::InHand)?;
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
    // Both paces hold their bytes until all is sorted.
    let mut pace = Pace::at_least(control, grace);
    let cut = join(&drawers.of(job, pump), &mut pace)?;
    let mut pace_of_few = cut.map(|_| Pace::at_least(control, grace));
    if let Some(pace) = &mut pace_of_few {
        join(&drawers.few(job, pump), pace)?;
    }
    let list = best
        .into_iter()
        .sorted_unstable_by_key(|&(_, (_, number))| number)
        .map(|(uses, (waste, _))| Column { waste, uses })
        .collect();
    Ok(Listed { list, cut })
}

/// Group of pumps that draw on the same items and suppliers.
struct Group {
    /// Pumps, in the job's order; after all pumps of the job the pieces to hold back are numbered, as blocks of their own.
    pumps: Vec<usize>,
    /// Suppliers, by index.
    suppliers: Vec<usize>,
    /// Items that the group draws on, ascending; the bare problem numbers them in this order.
    items: Vec<u16>,
}

/// Items that each pump draws on; `None` for one without a column.
fn drawn(columns: &[Vec<Column>]) -> Vec<Option<Vec<usize>>> {
    let drawn = columns.iter().map(|columns| (!columns.is_empty()).then(|| items(columns)));
    drawn.collect()
}

/// Items of some columns.
fn items(columns: &[Column]) -> Vec<usize> {
    let uses = columns.iter().flat_map(|column| &column.uses);
    uses.map(|&(item, _)| usize::from(item)).unique().collect()
}

/// Groups of pumps that share an item, directly or through others, from the items that each pump draws on. Pumps without a
/// column belong to no group, and neither do suppliers that no pump draws on.
fn groups(job: &Job, drawn: &[Option<Vec<usize>>], suppliers: &[Supplier]) -> Vec<Group> {
    fn find(root: &mut [usize], mut item: usize) -> usize {
        while root[item] != item {
            root[item] = root[root[item]];
            item = root[item];
        }
        item
    }
    let supplied = suppliers.iter().map(|supplier| Some(items(&supplier.columns)));
    let tied: Vec<Option<Vec<usize>>> = drawn.iter().cloned().chain(supplied).collect();
    // There may be items after those of the stock.
    let beyond = tied.iter().flatten().flatten().max().map_or(0, |most| most + 1);
    let beyond = beyond.max(job.stock.len());
    let mut root: Vec<usize> = (0..beyond).collect();
    for pair in tied.iter().flatten().flat_map(|items| items.windows(2)) {
        let (a, b) = (find(&mut root, pair[0]), find(&mut root, pair[1]));
        root[a.max(b)] = a.min(b);
    }
    let mut groups: BTreeMap<usize, Group> = BTreeMap::new();
    for (block, items) in tied.iter().enumerate() {
        let Some(items) = items else { continue };
        let supplier = block.checked_sub(drawn.len());
        // A pump that needs no piece is a group of its own, numbered after all items.
        let key = items.first().map_or(beyond + block, |&item| find(&mut root, item));
        let group = groups.entry(key).or_insert_with(|| Group {
            pumps: Vec::new(),
            suppliers: Vec::new(),
            items: Vec::new(),
        });
        group.items.extend(items.iter().filter_map(|&item| u16::try_from(item).ok()));
        match supplier {
            Some(supplier) => group.suppliers.push(supplier),
            None => group.pumps.push(block),
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

/// Goals of the search, the same for every group: pumps served, one priority after the other (equal to the
/// weights, with smaller numbers), then the rest.
fn objectives(job: &Job) -> Vec<Objective> {
    let priorities = job.pumps.iter().map(|pump| pump.priority).sorted().dedup();
    priorities
        .map(Objective::ServedOf)
        .chain((!job.hold_back.is_empty()).then_some(Objective::HeldBack))
        .chain(job.bags().next().map(|_| Objective::Reopened))
        .chain([Objective::Waste])
        .chain((!job.plates.is_empty()).then_some(Objective::Plates))
        .chain([Objective::Pieces])
        .chain(job.slips().next().map(|_| Objective::Slips))
        .chain([Objective::Scarcity])
        .collect()
}

/// Waste among the goals, if none comes before but serving, pieces held back and bags.
fn tier_of_waste(aims: &[Objective]) -> Option<usize> {
    let before = |aim: &&Objective| {
        matches!(aim, Objective::ServedOf(_) | Objective::HeldBack | Objective::Reopened)
    };
    let before = aims.iter().take_while(before).count();
    (aims.get(before) == Some(&Objective::Waste)).then_some(before)
}

/// Goal as a tier of a group, for its items (of the stock) and the prices of its suppliers.
fn tier(
    job: &Job,
    aim: Objective,
    group: &[usize],
    items: &[u16],
    bought: Vec<Vec<i64>>,
) -> CostRow {
    // Items after those of the stock are plates, or held back from an item that is already counted.
    let each = |points: &dyn Fn(&Item) -> i64| {
        let lots = items.iter().map(|&item| job.stock.get(usize::from(item)));
        CostRow::Pieces(lots.map(|lot| lot.map_or(0, points)).collect())
    };
    let gains = |gain: &dyn Fn(u32) -> i64| {
        let of = |&pump: &usize| job.pumps.get(pump).map_or(0, |pump| gain(pump.priority));
        CostRow::Served(group.iter().map(of).collect())
    };
    let worth = |&block: &usize| {
        let piece = block.checked_sub(job.pumps.len()).map(|piece| job.hold_back[piece].worth);
        piece.map_or(0, i64::from)
    };
    match aim {
        Objective::HeldBack => CostRow::Served(group.iter().map(worth).collect()),
        Objective::ServedOf(level) => gains(&|priority| i64::from(priority == level)),
        Objective::ServedWeight => gains(&|_| 1),
        Objective::Purchase => CostRow::Bought(Arc::new(bought)),
        // Until what stood is entered.
        Objective::Reopened | Objective::Slips => {
            CostRow::Listed(Arc::new(vec![Vec::new(); group.len() + bought.len()]))
        }
        Objective::Waste => CostRow::Waste,
        // The items after those of the stock are plates then: only a purchase, which leaves this goal out, holds back.
        Objective::Plates => {
            let plate = |&item: &u16| i64::from(usize::from(item) >= job.stock.len());
            CostRow::Plates(items.iter().map(plate).collect())
        }
        Objective::Pieces => each(&|_| 1),
        Objective::Scarcity => each(&|lot| scarcity_points(lot.available(), lot.min_level)),
    }
}

impl Group {
    /// All groups merged into one.
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

    /// Reads a solution: the pieces of each pump, and the layouts of the sheets cut.
    fn read(
        &self,
        job: &Job,
        suppliers: &[Supplier],
        instance: &Instance,
        taken: &Assignment,
        kits: &mut [Option<Vec<PackPick>>],
        layouts: &mut Vec<Layout>,
    ) {
        for (block, (&pump, taken)) in self.pumps.iter().zip(taken).enumerate() {
            let Some(kit) = kits.get_mut(pump) else { continue };
            *kit = taken.map(|column| {
                let mut column = instance.column(block, column).clone();
                for (item, _) in &mut column.uses {
                    *item = self.items[usize::from(*item)];
                }
                // Uses of held-back items are not pieces of their own.
                column.uses.retain(|(item, _)| usize::from(*item) < job.stock.len());
                CombinationLists::picks(job, pump, &column)
            });
        }
        for (&supplier, taken) in self.suppliers.iter().zip(&taken[self.pumps.len()..]) {
            if let Some(layout) = &suppliers[supplier].layout {
                let plates = taken.unwrap_or(0) as usize;
                layouts.extend(std::iter::repeat_n(layout.clone(), plates));
            }
        }
    }

    /// Column with the items' numbers in the group; `None` if the group lacks one.
    fn numbered(&self, column: &Column) -> Option<Column> {
        let mut column = column.clone();
        for (item, _) in &mut column.uses {
            *item = u16::try_from(self.items.binary_search(item).ok()?).ok()?;
        }
        Some(column)
    }

    /// A plan as columns of the group; `None` where suppliers are part of it.
    fn at_hand(&self, job: &Job, kits: &[Kit], instance: &Instance) -> Option<Assignment> {
        if !self.suppliers.is_empty() {
            return None;
        }
        let column = |(block, &pump): (usize, &usize)| {
            let Some(Kit::Served(packs)) = kits.get(pump) else { return None };
            let uses = uses_of(job.takes(pump, packs))?;
            let column = self.numbered(&Column { waste: 0, uses })?;
            let same = |known: &Column| known.uses == column.uses;
            u32::try_from(instance.blocks[block].iter().position(same)?).ok()
        };
        Some(self.pumps.iter().enumerate().map(column).collect())
    }

    /// Proof of each goal that is proven.
    fn proof(&self, all: &[Supplier], instance: &Instance, solved: &Solved) -> GroupProof {
        let proven = solved.values.iter().zip(&solved.bounds).map(|(value, bound)| value == bound);
        let proofs = solved.proofs.iter().zip(proven);
        let proofs: Vec<_> =
            proofs.map(|(proof, proven)| proof.clone().filter(|_| proven)).collect();
        let suppliers = self.suppliers.iter().map(|&supplier| &all[supplier]).collect();
        let named = Named { pumps: &self.pumps, items: &self.items, suppliers, instance };
        named.proofs(&proofs)
    }

    /// Bare problem of the group: the columns of its pumps, in their order, and its suppliers.
    fn instance(
        &self,
        job: &Job,
        aims: &[Objective],
        ready: &[i64],
        columns: Vec<Vec<Column>>,
        suppliers: &[Supplier],
    ) -> Instance {
        // Items are numbered within the group, so that items it cannot use cost nothing.
        let new: HashMap<u16, u16> = self.items.iter().copied().zip(0..).collect();
        let supplied = self.suppliers.iter().map(|&index| suppliers[index].columns.clone());
        let mut blocks: Vec<Vec<Column>> = columns.into_iter().chain(supplied).collect();
        for column in blocks.iter_mut().flatten() {
            for (item, _) in &mut column.uses {
                *item = new[item];
            }
        }
        // Classes: all pieces that the group can use, and those of each kind and fit.
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
        let tier = |&aim: &Objective| tier(job, aim, &self.pumps, &self.items, prices());
        let tiers = aims.iter().map(tier).map(|tier| self.of_kits_alone(job, tier, &blocks));
        Instance {
            tiers: tiers.collect(),
            classes: several.into_iter().chain(classes.into_values()).collect(),
            capacity: self.items.iter().map(|&item| ready[usize::from(item)]).collect(),
            blocks: Arc::new(blocks),
            pumps: self.pumps.len(),
        }
    }

    /// Costs of pieces in kits: those that are held back cost nothing.
    fn of_kits_alone(&self, job: &Job, tier: CostRow, blocks: &[Vec<Column>]) -> CostRow {
        let own = self.pumps.partition_point(|&pump| pump < job.pumps.len());
        match tier {
            CostRow::Pieces(each) if own < self.pumps.len() => {
                let cost = |column: &Column| {
                    let uses = column.uses.iter();
                    uses.map(|&(item, count)| each[usize::from(item)] * i64::from(count)).sum()
                };
                let of = |(block, columns): (usize, &Vec<Column>)| match block < own {
                    true => columns.iter().map(cost).collect(),
                    false => Vec::new(),
                };
                CostRow::Listed(Arc::new(blocks.iter().enumerate().map(of).collect()))
            }
            tier => tier,
        }
    }
}

/// Values and bounds of all groups added up, goal by goal; the pumps served of all priorities as one weight,
/// as far as integers carry it.
fn goals(job: &Job, aims: &[Objective], groups: &[(&Group, &Solved)]) -> Vec<ObjectiveValue> {
    let solved = || groups.iter().map(|(_, solved)| *solved);
    let mut goals: Vec<ObjectiveValue> = aims
        .iter()
        .enumerate()
        .map(|(tier, &aim)| {
            let value: i64 = solved().map(|s| s.values[tier]).sum();
            let bound: i64 = solved().map(|s| s.bounds[tier]).sum();
            // The search minimises minus the number served; the plan counts it upwards.
            match aim {
                Objective::ServedOf(_) | Objective::HeldBack => {
                    ObjectiveValue { objective: aim, value: -value, bound: -bound }
                }
                // The search counts those that stay as they were.
                Objective::Reopened | Objective::Slips => {
                    let all = match aim {
                        Objective::Reopened => job.bags().count(),
                        _ => job.slips().count(),
                    };
                    let all = i64::try_from(all).unwrap_or(i64::MAX);
                    ObjectiveValue { objective: aim, value: all + value, bound: all + bound }
                }
                _ => ObjectiveValue { objective: aim, value, bound },
            }
        })
        .collect();
    let Some(weights) = job.weights() else {
        return goals;
    };
    let mut served = ObjectiveValue { objective: Objective::ServedWeight, value: 0, bound: 0 };
    for (group, solved) in groups {
        // After the first priority that is not proven, no bound is known for the later ones.
        let mut proven = true;
        for (tier, &(priority, weight)) in weights.iter().enumerate() {
            let of_it =
                |pump: &&usize| job.pumps.get(**pump).is_some_and(|pump| pump.priority == priority);
            let all = group.pumps.iter().filter(of_it).count();
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
