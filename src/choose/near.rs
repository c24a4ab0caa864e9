//! Columns near the bound: of all the ways to kit a pump only those are listed that a best plan can take.
//!
//! # Method
//!
//! 1. *Root.* Columns join a linear program as they are asked for. The ways to fill a place are priced without a list
//!    ([`ways`]), which gives for each pump the cheapest of all its columns: an exact bound L.
//! 2. *Window.* A plan that costs at most L + g takes only columns whose reduced cost is at most g above their pump's
//!    least. These few are listed, from a small g on. Then the search goes through them completely; a plan that it finds
//!    there is the best of all. If there is none, the least value is above L + g, and g doubles. What a window has proven is a
//!    floor: a plan of the next one that comes down to it ends the search.
//! 3. The goals that follow choose among equal plans, which all lie in the window.
//!
//! # Decisions
//!
//! - All pumps that can be served are served, and only the waste is searched for so. Where that does not come about, or where
//!   pieces are cut or come from packs that are spoiled, or there are too many ways, all columns are listed: the goal of
//!   most served leaves nearly every column within any window, and a supplier's columns are few.
//! - Guards that depend on the very pieces make each combination an end of its own. The window is small all the same.
//!
//! [`ways`]: mod@crate::choose::ways

use std::collections::{BTreeMap, HashMap};
use std::ops::ControlFlow;
use std::sync::Arc;

use rayon::prelude::*;
use smallvec::SmallVec;

use crate::accounting::by_pack;
use crate::choose::bound::{self, Allowed, Multipliers, Prices, SCALE, Stage, round_up};
use crate::choose::chain::exchange;
use crate::choose::combination::{Combination, Window};
use crate::choose::control::{Control, Listed, Pace, Phase, Unlisted};
use crate::choose::instance::{Assignment, Column, Instance, fits, take};
use crate::choose::master::{Master, MasterProgram};
use crate::choose::mending::{Ranking, mend};
use crate::choose::pattern::{self, Demands, Pattern, listed_for};
use crate::choose::proof::RawProof;
use crate::choose::relaxation::scales;
use crate::choose::search::{Closed, LOWEST, Sought, Start, seek};
use crate::choose::stages::{self, Reached, Solved, onwards};
use crate::choose::standing::{OutOfPlay, Stood};
use crate::choose::warm::Before;
use crate::choose::ways::{Cheapest, FAR, PiecePrices, Ways, gcd};
use crate::choose::window;
use crate::choose::{DrawerKey, Group, MOST_PATTERNS, drawer_key, groups, tier_of_waste, windows};
use crate::job::Job;
use crate::model::Pack;
use crate::plan::{Objective, Stop};
use crate::stock::Code;

/// Rounds of pricing at the root.
const MOST_ROUNDS: usize = 300;
/// Columns of a pump that join in a round.
const A_ROUND: usize = 3;
/// Work of a choice among fillings that is listed: less than it takes, since short lists settle most of small outages.
const LISTED: u64 = 10;
/// Columns of a pump in the first window, on average.
const FIRST: usize = 8;
/// Most columns in a window, on average and in all.
const MOST_AVERAGE: usize = 2_000;
const MOST_IN_ALL: usize = 2_000_000;
/// Most columns on average where a first answer is looked for.
const WIDE: usize = 200;
/// Most columns on average where one more piece is tried.
const MOST_FOR_ONE: usize = 300;
/// Nodes of the search of a window where one more piece is tried.
const NODES_FOR_ONE: usize = 360;
/// Nodes of a search that has no plan yet.
const MOST_NODES: usize = 300;

/// Ways to kit the pumps of a job.
pub(super) struct Laid {
    ways: Vec<Arc<Ways>>,
    /// Where each of them comes from, for the next choice.
    drawers: Vec<(DrawerKey, Drawer)>,
    /// By pump; `None` where there are too many ways.
    kits: Vec<Option<Kits>>,
    /// Groups all of whose pumps can be kitted from here.
    pub groups: Vec<Group>,
    /// Whether a pump must have its columns listed, by pump.
    pub others: Vec<bool>,
}

/// Inputs of the ways to fill a kind of place, where items and models are the same.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Drawer {
    /// Items for the place, with the pieces available.
    pub offered: Vec<(usize, u32)>,
    /// Totals that some pump may need.
    pub window: Window,
    /// Whether each combination is an end of its own.
    pub apart: bool,
}

/// Ways to kit one pump.
#[derive(Clone)]
pub(super) struct Kits {
    /// Ways to fill each place, by number.
    places: SmallVec<[usize; 4]>,
    /// Ends that go together; each pattern is a choice among the ends of the places.
    patterns: Arc<Vec<Pattern>>,
}

impl Kits {
    fn none() -> Kits {
        Kits { places: SmallVec::new(), patterns: Arc::default() }
    }
}

impl Laid {
    /// Ways to kit the pumps in play out of the pieces available.
    pub(super) fn of(
        job: &Job,
        available: &[u32],
        out: &OutOfPlay,
        before: Option<&Before<'_>>,
        control: &Control<'_>,
    ) -> Laid {
        Laid::build(job, available, out, before, control).unwrap_or_else(|| Laid {
            ways: Vec::new(),
            drawers: Vec::new(),
            kits: Vec::new(),
            groups: Vec::new(),
            others: (0..job.pumps.len()).map(|pump| !out.has(pump)).collect(),
        })
    }

    /// `None` where the control stops it, or there is no room.
    fn build(
        job: &Job,
        available: &[u32],
        out: &OutOfPlay,
        before: Option<&Before<'_>>,
        control: &Control<'_>,
    ) -> Option<Laid> {
        /// Place with the hull of its windows, and whether its combinations are to be kept apart.
        type Wanted<'a> = (&'a Pack, &'a Code, Window, bool);
        let pumps = job.pumps.len();
        control.step(Phase::Listing, 0, pumps);
        let guard = job.policy.guard();
        let demands: Vec<Demands> =
            job.pumps.par_iter().map(|pump| Demands::of(pump, job, guard)).collect();
        let mut wanted: BTreeMap<DrawerKey, Wanted<'_>> = BTreeMap::new();
        let in_play = |(number, _): &(usize, _)| !out.has(*number);
        for (_, (pump, demands)) in job.pumps.iter().zip(&demands).enumerate().filter(in_play) {
            let places = job.model_of(pump).packs.iter().zip(&pump.fits);
            let windows = windows(job, pump, available);
            if windows.iter().any(|window| window.0 > window.1) {
                continue;
            }
            for ((pack, fit), window) in places.zip(windows) {
                let apart = demands.need_doubts();
                let (.., hull, any) =
                    wanted.entry(drawer_key(pack, fit)).or_insert((pack, fit, window, apart));
                *hull = (hull.0.min(window.0), hull.1.max(window.1));
                *any |= apart;
            }
        }
        let numbers: HashMap<DrawerKey, usize> = wanted.keys().cloned().zip(0..).collect();
        let drawer = |(pack, fit, window, apart): &Wanted<'_>| Drawer {
            offered: job.offered(pack, fit).map(|item| (item, available[item])).collect(),
            window: *window,
            apart: *apart,
        };
        let drawers: Vec<(DrawerKey, Drawer)> =
            wanted.iter().map(|(key, wanted)| (key.clone(), drawer(wanted))).collect();
        let wanted: Vec<Wanted<'_>> = wanted.into_values().collect();
        let ways = |(number, (pack, fit, window, apart)): &(usize, Wanted<'_>)| {
            let known = before.and_then(|before| before.ways(&drawers[*number]));
            let of = || Ways::of(job, (pack, fit), available, *window, *apart, control);
            known.map_or_else(|| of().map(Arc::new), Ok)
        };
        let wanted: Vec<(usize, Wanted<'_>)> = wanted.into_iter().enumerate().collect();
        let ways: Vec<Option<Arc<Ways>>> = each(&wanted, ways);
        if control.stop().is_some() {
            return None;
        }
        let doubts = match demands.iter().any(Demands::need_doubts) {
            true => pattern::doubts(job),
            false => Vec::new(),
        };
        let kits = |&number: &usize| {
            if out.has(number) {
                return Ok(Kits::none());
            }
            let (pump, demands) = (&job.pumps[number], &demands[number]);
            let packs = job.model_of(pump).packs.iter().zip(&pump.fits);
            let places = packs.map(|(pack, fit)| numbers.get(&drawer_key(pack, fit)).copied());
            // A pump without a window for some place cannot be kitted.
            let Some(places) = places.collect::<Option<SmallVec<[usize; 4]>>>() else {
                return Ok(Kits::none());
            };
            let of_places = places.iter().map(|&place| ways[place].as_ref());
            let of_places: SmallVec<[&Arc<Ways>; 4]> =
                of_places.collect::<Option<_>>().ok_or(Unlisted::TooMany)?;
            let keep = |patterns: &[Pattern]| {
                control.keep(size_of_val(patterns)).map_err(|_| Unlisted::TooMany)
            };
            if let Some(patterns) = before.and_then(|b| b.patterns(pump, &of_places)) {
                keep(&patterns)?;
                return Ok(Kits { places, patterns });
            }
            let ends: Vec<&[Combination]> = of_places.iter().map(|ways| ways.ends()).collect();
            let mut pace = Pace::of(control);
            let listed =
                listed_for(demands, (&job.policy, &doubts), &ends, MOST_PATTERNS, &mut pace);
            let Listed { list: patterns, cut: None } = listed? else {
                return Err(Unlisted::TooMany);
            };
            keep(&patterns)?;
            Ok(Kits { places, patterns: Arc::new(patterns) })
        };
        let kits: Vec<Option<Kits>> = each(&(0..pumps).collect::<Vec<usize>>(), kits);
        if control.stop().is_some() {
            return None;
        }
        let items: Vec<Vec<usize>> =
            ways.iter().map(|ways| ways.as_ref().map_or(Vec::new(), |ways| ways.items())).collect();
        let drawn: Vec<Option<Vec<usize>>> = job
            .pumps
            .iter()
            .zip(&kits)
            .map(|(pump, kits)| match kits {
                Some(kits) if kits.patterns.is_empty() => None,
                Some(kits) => {
                    Some(kits.places.iter().flat_map(|&place| &items[place]).copied().collect())
                }
                None => {
                    let places = job.model_of(pump).packs.iter().zip(&pump.fits);
                    Some(places.flat_map(|(pack, fit)| job.offered(pack, fit)).collect())
                }
            })
            .collect();
        let supplied = |&item: &u16| {
            let item = usize::from(item);
            job.stock.get(item).is_none_or(|lot| lot.cut.is_some()) || by_pack(job, item)
        };
        let mut others = vec![false; pumps];
        let mut mine = Vec::new();
        for group in groups(job, &drawn, &[]) {
            let known = group.pumps.iter().all(|&pump| kits[pump].is_some());
            if known && !group.items.iter().any(supplied) {
                mine.push(group);
            } else {
                group.pumps.iter().for_each(|&pump| others[pump] = true);
            }
        }
        // A place that was too much belongs to none of these groups.
        let none = || Arc::new(Ways::Each(Vec::new()));
        let ways = ways.into_iter().map(|ways| ways.unwrap_or_else(none)).collect();
        control.step(Phase::Listing, pumps, pumps);
        Some(Laid { ways, drawers, kits, groups: mine, others })
    }

    /// Ways to fill each kind of place, with what they depend on.
    pub(super) fn by_drawer(&self) -> impl Iterator<Item = (&(DrawerKey, Drawer), &Arc<Ways>)> {
        self.drawers.iter().zip(&self.ways)
    }

    /// Patterns of a pump, and the ways that they are choices among; `None` where they are not known.
    pub(super) fn patterns(&self, pump: usize) -> Option<Choices> {
        let Kits { places, patterns } = self.kits.get(pump)?.as_ref()?;
        let ways = places.iter().map(|&place| self.ways[place].clone());
        Some((ways.collect(), patterns.clone()))
    }

    /// Whether a pump can be kitted at all.
    pub(super) fn servable(&self, pump: usize) -> bool {
        self.kits.get(pump).and_then(Option::as_ref).is_some_and(|kits| !kits.patterns.is_empty())
    }
}

/// Works on each side by side. What had too little room in hand beside others has all of it once more, by itself: the answer
/// does not hang on the number of threads.
fn each<T: Sync, R: Send>(
    some: &[T],
    of: impl Fn(&T) -> Result<R, Unlisted> + Sync,
) -> Vec<Option<R>> {
    let first: Vec<Result<R, Unlisted>> = some.par_iter().map(&of).collect();
    let again = |(done, one)| match done {
        Err(Unlisted::NoRoom(_)) => of(one).ok(),
        done => done.ok(),
    };
    first.into_iter().zip(some).map(again).collect()
}

/// Patterns, and the ways that they are choices among.
pub(super) type Choices = (Vec<Arc<Ways>>, Arc<Vec<Pattern>>);

/// Group with its goals reached, and the columns in the window.
pub(super) struct InWindow {
    /// Bare problem of the columns listed.
    pub instance: Instance,
    /// Its goals.
    pub reached: Reached,
}

/// Kits that stood, where slips count, and the choice before.
#[derive(Clone, Copy)]
pub(super) struct Earlier<'a> {
    pub stood: &'a Stood,
    pub before: Option<&'a Before<'a>>,
}

/// Solves the goals of a group that serves all its pumps; the order among equal plans is left open. `None` where that does
/// not come about this way.
pub(super) fn reached(
    job: &Job,
    (laid, group, earlier): (&Laid, &Group, Earlier<'_>),
    available: &[u32],
    aims: &[Objective],
    control: &Control<'_>,
) -> Option<InWindow> {
    let mut root = Root::new(job, laid, group, available, aims)?;
    root.earlier = Some(earlier);
    let peak = root.climb(i64::MAX, &control.unhurried())?;
    root.search(&peak, control)
}

/// Linear program of the columns asked for so far.
#[derive(Clone)]
pub(super) struct Root<'a> {
    job: &'a Job,
    laid: &'a Laid,
    group: &'a Group,
    aims: &'a [Objective],
    earlier: Option<Earlier<'a>>,
    /// Number within the group, by item of the stock.
    number: HashMap<u16, u16>,
    /// Ways that the group's pumps use, and the place of each among these.
    used: Vec<usize>,
    at: Vec<usize>,
    /// Columns asked for, by pump of the group.
    instance: Instance,
    allowed: Allowed,
    tier: usize,
    limits: Vec<i64>,
    sets: Vec<Vec<u32>>,
    /// A divisor of every column's waste.
    step: i64,
    program: Option<MasterProgram>,
    multipliers: Multipliers,
}

/// Bound of the root, and what it leaves open.
pub(super) struct Peak {
    /// Bound, in 1/SCALE.
    pub bound: i128,
    /// Multipliers that prove it.
    pub multipliers: Multipliers,
}

/// Cheapest ways and patterns at some prices.
struct Priced {
    prices: Prices,
    /// By way; empty for those that the group does not use.
    cheapest: Vec<Cheapest>,
    /// By pump of the group: least reduced cost, and the best patterns.
    best: Vec<SmallVec<[(i128, u32); A_ROUND]>>,
}

impl Priced {
    fn bound(&self) -> i128 {
        let least = self.best.iter().map(|best| best.first().map_or(0, |best| best.0));
        self.prices.constant() + least.sum::<i128>()
    }
}

impl<'a> Root<'a> {
    /// Root with each pump's least wasteful column; `None` where the shape does not fit.
    pub(super) fn new(
        job: &'a Job,
        laid: &'a Laid,
        group: &'a Group,
        available: &[u32],
        aims: &'a [Objective],
    ) -> Option<Root<'a>> {
        let ready: Vec<i64> = available.iter().map(|&count| i64::from(count)).collect();
        let tier = tier_of_waste(aims)?;
        let mut used: Vec<usize> = group
            .pumps
            .iter()
            .filter_map(|&pump| laid.kits[pump].as_ref())
            .flat_map(|kits| kits.places.iter().copied())
            .collect();
        used.sort_unstable();
        used.dedup();
        let mut at = vec![usize::MAX; laid.ways.len()];
        used.iter().enumerate().for_each(|(place, &way)| at[way] = place);
        let none = vec![Vec::new(); group.pumps.len()];
        let instance = group.instance(job, aims, &ready, none, &[]);
        let limits = instance.all_served(tier);
        let sets = instance.sets();
        let multipliers = Multipliers::zero(sets.len(), tier);
        let charges = group.pumps.iter().filter_map(|&pump| laid.kits[pump].as_ref());
        let charges =
            charges.flat_map(|kits| kits.patterns.iter()).map(|pattern| pattern.off_target);
        let steps = used.iter().map(|&way| laid.ways[way].step());
        let step = steps.chain(charges).fold(0, gcd).max(1);
        let mut root = Root {
            job,
            laid,
            group,
            aims,
            earlier: None,
            number: group.items.iter().copied().zip(0..).collect(),
            used,
            at,
            allowed: Allowed::all(&instance),
            instance,
            tier,
            limits,
            sets,
            step,
            program: None,
            multipliers,
        };
        let priced = root.price(&root.multipliers, &Control::unlimited())?;
        root.join(&priced, &vec![FAR; root.group.pumps.len()], 0);
        Some(root)
    }

    fn stage(&self) -> Stage<'_> {
        Stage { instance: &self.instance, sets: &self.sets, tier: self.tier, limits: &self.limits }
    }

    fn kits(&self, at: usize) -> &'a [Pattern] {
        self.laid.kits[self.group.pumps[at]].as_ref().map_or(&[], |kits| &kits.patterns)
    }

    fn places(&self, at: usize) -> &'a [usize] {
        self.laid.kits[self.group.pumps[at]].as_ref().map_or(&[], |kits| &kits.places)
    }

    /// Prices every way to kit the pumps; `None` where the control stops it.
    fn price(&self, multipliers: &Multipliers, control: &Control<'_>) -> Option<Priced> {
        let prices = self.stage().prices(multipliers, &self.allowed.ranges);
        let mut pieces = vec![0; self.job.stock.len()];
        let mut most = vec![0; self.job.stock.len()];
        for (&item, &number) in &self.number {
            pieces[usize::from(item)] = prices.taken(usize::from(number));
            most[usize::from(item)] = self.instance.capacity[usize::from(number)];
        }
        let by_piece = PiecePrices { pieces: &pieces, waste: SCALE, most: &most };
        let found: Vec<Cheapest> =
            self.used.par_iter().map(|&way| self.laid.ways[way].cheapest(&by_piece)).collect();
        let mut cheapest: Vec<Cheapest> =
            self.laid.ways.iter().map(|_| Cheapest::default()).collect();
        for (&way, found) in self.used.iter().zip(found) {
            cheapest[way] = found;
        }
        let edges = self.used.iter().map(|&way| self.laid.ways[way].size());
        let patterns = (0..self.group.pumps.len()).map(|at| self.kits(at).len());
        control.spend(edges.chain(patterns).sum::<usize>() as u64);
        if control.stop().is_some() {
            return None;
        }
        let ways = self.ways(&cheapest);
        let best = (0..self.group.pumps.len()).into_par_iter().with_min_len(16).map(|at| {
            let places = self.places(at);
            let mut best: SmallVec<[(i128, u32); A_ROUND]> = SmallVec::new();
            for (number, pattern) in (0..).zip(self.kits(at)) {
                let cost = ways.cost(places, pattern);
                if cost >= FAR / 2 {
                    continue;
                }
                if best.len() == A_ROUND {
                    if best.last().is_some_and(|last| last.0 <= cost) {
                        continue;
                    }
                    best.pop();
                }
                let before = best.partition_point(|other| other.0 <= cost);
                best.insert(before, (cost, number));
            }
            let serving = prices.serving(at);
            best.iter_mut().for_each(|(cost, _)| *cost += serving);
            best
        });
        let best = best.collect();
        Some(Priced { prices, cheapest, best })
    }

    /// Lets the best columns join that are better by more than a hair than those at hand; how much better the pumps' best
    /// ones are in all, 0 where none is new.
    fn join(&mut self, priced: &Priced, at_hand: &[i128], hair: i128) -> i128 {
        let (mut better, mut fresh) = (0_i128, Vec::new());
        for (at, best) in priced.best.iter().enumerate() {
            let known = at_hand[at];
            let gain = best.first().map_or(0, |best| known.saturating_sub(best.0));
            better = better.saturating_add(gain);
            if gain <= hair {
                continue;
            }
            for &(_, pattern) in best.iter().filter(|best| best.0 < known) {
                fresh.extend(self.cheapest_column(priced, at, pattern).map(|column| (at, column)));
            }
        }
        let blocks = Arc::make_mut(&mut self.instance.blocks);
        let mut joined = false;
        for (at, column) in fresh {
            if !blocks[at].contains(&column) {
                blocks[at].push(column);
                joined = true;
            }
        }
        self.allowed = Allowed {
            ranges: std::mem::take(&mut self.allowed.ranges),
            idle: vec![false; self.group.pumps.len()],
            ..Allowed::all(&self.instance)
        };
        if joined { better } else { 0 }
    }

    /// Column of a pattern at its cheapest, numbered as in the group; `None` if it needs more pieces than there are.
    fn cheapest_column(&self, priced: &Priced, at: usize, pattern: u32) -> Option<Column> {
        let pattern = &self.kits(at)[pattern as usize];
        let mut parts: SmallVec<[Combination; 4]> = SmallVec::new();
        for (&place, &end) in self.places(at).iter().zip(&pattern.choice) {
            let cheapest = &priced.cheapest[place];
            let most = cheapest.ends[end as usize];
            let _ = self.laid.ways[place].within(cheapest, end as usize, most, &mut |one, _| {
                parts.push(one.clone());
                ControlFlow::Break(())
            });
        }
        let picks = parts.iter().flat_map(|part| &part.picks);
        let uses = self.ways(&priced.cheapest).numbered(picks)?;
        let waste = pattern.off_target + parts.iter().map(|part| part.waste).sum::<i64>();
        Some(Column { waste, uses })
    }

    /// Bound over all ways to kit the pumps; ends early where no plan costs less than `enough`. `None` where the control stops
    /// it, or a pump has no column at all.
    pub(super) fn climb(&mut self, enough: i64, control: &Control<'_>) -> Option<Peak> {
        let mut peak: Option<Peak> = None;
        for _ in 0..MOST_ROUNDS {
            if control.stop().is_some() {
                return None;
            }
            let program = self.program.take();
            let stage = self.stage();
            let mut master = match program {
                Some(program) => Master::of(stage, program, self.step),
                None => Master::new(stage, &scales(stage, &self.allowed), self.step)?,
            };
            let basis = master.at();
            let relaxed = master.relax(
                &self.allowed,
                &self.multipliers,
                basis.as_ref(),
                None,
                enough,
                control,
            )?;
            let program = master.program;
            self.multipliers = relaxed.multipliers;
            self.program = Some(program);
            let priced = self.price(&self.multipliers, control)?;
            let bound = priced.bound();
            if peak.as_ref().is_none_or(|peak| bound > peak.bound) {
                peak = Some(Peak { bound, multipliers: self.multipliers.clone() });
            }
            if round_up(bound, self.step) >= enough {
                break;
            }
            let at_hand = self.at_hand(&priced.prices);
            let hair = SCALE * i128::from(self.step) / 1024;
            let pumps = i128::try_from(at_hand.len().max(1)).unwrap_or(1);
            if self.join(&priced, &at_hand, hair / pumps) <= hair {
                break;
            }
        }
        peak
    }

    /// Least reduced cost of the columns at hand, by pump.
    fn at_hand(&self, prices: &Prices) -> Vec<i128> {
        let stage = self.stage();
        let least = |(at, columns): (usize, &Arc<Vec<u32>>)| {
            let reduced = columns.iter().map(|&column| stage.reduced(prices, at, column));
            reduced.min().unwrap_or(FAR)
        };
        self.allowed.columns.par_iter().enumerate().with_min_len(32).map(least).collect()
    }

    /// Columns whose reduced cost is at most `room` above their pump's least, in the order of lists; `None` if there are more
    /// than `most` of them, or a pump has none.
    fn within(
        &self,
        priced: &Priced,
        limits: (i128, usize),
        control: &Control<'_>,
    ) -> Option<Vec<Vec<Column>>> {
        let kits = |at: usize| {
            let least = priced.best[at].first()?.0 - priced.prices.serving(at);
            Some(window::Kits { places: self.places(at), patterns: self.kits(at), least })
        };
        let pumps: Vec<window::Kits<'_>> =
            (0..self.group.pumps.len()).map(kits).collect::<Option<_>>()?;
        let (columns, count) =
            window::columns(self.ways(&priced.cheapest), &pumps, limits, control);
        control.spend(count as u64 * LISTED);
        columns
    }

    fn ways<'b>(&'b self, cheapest: &'b [Cheapest]) -> window::Priced<'b> {
        let capacity = &self.instance.capacity;
        let (ways, used, at) = (&self.laid.ways, &self.used, &self.at);
        window::Priced { ways, used, at, cheapest, number: &self.number, capacity }
    }

    /// Change of the waste with one more piece of an item of the group, from a plan with this value and these kits: the least
    /// that it can be, and the best that was found. A better plan takes every piece of the item, so only such plans are
    /// searched.
    ///
    /// # Errors
    /// Reason that the control stopped it.
    pub(super) fn one_more(
        &self,
        peak: &Peak,
        item: usize,
        (value, kits): (i64, &[Option<Column>]),
        control: &Control<'_>,
    ) -> Result<(i64, i64), Option<Stop>> {
        let mut more = self.clone();
        more.multipliers = peak.multipliers.clone();
        more.instance.capacity[item] += 1;
        let all = more.instance.capacity[item];
        more.allowed.ranges[item] = bound::Range { least: all, most: Some(all) };
        let peak = more.climb(value, control).ok_or(control.stop())?;
        let mut floor = Floor::of(&peak, &more);
        if floor.cost >= value {
            return Ok((0, 0));
        }
        let priced = more.price(&peak.multipliers, control).ok_or(control.stop())?;
        let mut best = value;
        // Counted from the bound, which may be a step below the floor.
        let all = value - floor.cost;
        let most = MOST_FOR_ONE * self.group.pumps.len();
        let (near, limits) = ((&peak, &priced), (all, most));
        // Where even the smallest window has many columns, a larger one has hardly more.
        let many = 4 * FIRST * self.group.pumps.len();
        let mut next = more.first_window(near, limits, control);
        let is_wide = |(window, _): &(Span, i64)| window.instance.count() > many;
        if next.as_ref().is_some_and(is_wide) && control.spent().is_none() {
            let whole = more.window(near, limits, control).map(|window| (window, all));
            next = whole.or(next);
        }
        while let Some((window, room)) = next {
            let Some(mut window) = more.with(window, &peak, (kits, room)) else { break };
            best = best.min(window.bettered(&more, kits, control).unwrap_or(best));
            window.inside = window.inside.min(best - more.step);
            window.allowed.ranges[item] = more.allowed.ranges[item];
            let found = window.seek(&more, None, &floor, &control.nodes(NODES_FOR_ONE));
            if let Some(stop) = found.stopped.filter(|stop| *stop != Stop::Work) {
                return Err(Some(stop));
            }
            window.raise(&more, &found, &mut floor);
            if let Some(plan) = found.better {
                let better = window.instance.value(&plan)[self.tier] - value;
                return Ok((floor.cost.min(better + value) - value, better));
            }
            let over = found.stopped.is_some() || control.spent().is_some();
            if floor.cost >= best || room >= all || over {
                break;
            }
            // Where a small window stays open, only the one with all better plans is left to try.
            let room = if found.whole { room.saturating_mul(4).min(all) } else { all };
            next = more.window(near, (room, most), control).map(|window| (window, room));
        }
        Ok((floor.cost.min(best) - value, best - value))
    }

    /// Searches windows until one holds the best plan; `None` if none is found this way.
    fn search(&self, peak: &Peak, control: &Control<'_>) -> Option<InWindow> {
        let priced = self.price(&peak.multipliers, &control.unhurried())?;
        // A plan of the columns at hand costs no more; a bound above it means that there is none.
        let dearest = |columns: &Vec<Column>| columns.iter().map(|column| column.waste).max();
        let all = self.instance.blocks.iter().map(dearest).sum::<Option<i64>>()?;
        if peak.bound > SCALE * i128::from(all) {
            return None;
        }
        let most = (MOST_AVERAGE * self.group.pumps.len()).min(MOST_IN_ALL);
        let mut floor = Floor::of(peak, self);
        let mut next = self.first_window((peak, &priced), (all, most), control);
        loop {
            let Some((mut window, room)) = next else {
                return self.ended(peak, floor.cost, control);
            };
            let mut found = window.seek(self, None, &floor, &control.nodes(MOST_NODES));
            window.raise(self, &found, &mut floor);
            if found.better.is_none() && found.whole {
                // No plan lies in the window.
                if room >= all {
                    return None;
                }
                let wider = self.window((peak, &priced), (room * 2, most), control);
                next = wider.map(|window| (window, room * 2));
                continue;
            }
            if found.better.is_none() && control.stop().is_some() {
                if control.is_due() {
                    let at = (peak, &priced);
                    return self.first_answer(at, (window, room, all), (found, floor), control);
                }
                return Some(self.greedy(floor.cost, window, control));
            }
            if !found.whole && control.stop().is_none() {
                // Hard: from a plan at hand, among all that can be better than it.
                let plan = found.better.take().or_else(|| window.any(self, control));
                let Some(plan) = plan else {
                    let at = (peak, &priced);
                    let due = control.is_due();
                    let wide = (window, room, all);
                    return due.then(|| self.first_answer(at, wide, (found, floor), control))?;
                };
                let columns = window.columns(&plan);
                let value = window.instance.value(&plan)[self.tier];
                let room = value - i64::try_from(peak.bound.div_euclid(SCALE)).ok()?;
                window = self.window((peak, &priced), (room, most), control).unwrap_or(window);
                found = window.seek(self, Some(window.find(&columns)?), &floor, control);
                window.raise(self, &found, &mut floor);
            }
            return window.done(self, found, floor, control);
        }
    }

    /// The first window with a few columns a pump, or with all that plans of up to `all` above the bound may take, and its
    /// room; `None` as for any window.
    fn first_window(
        &self,
        at: (&Peak, &Priced),
        (all, most): (i64, usize),
        control: &Control<'_>,
    ) -> Option<(Span, i64)> {
        let mut room = (4 * self.step).min(all);
        loop {
            let window = self.window(at, (room, most), control)?;
            if room >= all || window.instance.count() >= FIRST * self.group.pumps.len() {
                return Some((window, room));
            }
            room = room.saturating_mul(2).min(all);
        }
    }

    /// Columns that plans of up to `room` above the bound may take; `None` if they are too many, or if the user has ended the
    /// work.
    fn window(
        &self,
        (peak, priced): (&Peak, &Priced),
        (room, most): (i64, usize),
        control: &Control<'_>,
    ) -> Option<Span> {
        let columns = self.within(priced, (SCALE * i128::from(room), most), control)?;
        self.span(peak, columns, room)
    }

    fn span(&self, peak: &Peak, columns: Vec<Vec<Column>>, room: i64) -> Option<Span> {
        let mut instance = Instance { blocks: Arc::new(columns), ..self.instance.clone() };
        if let Some(Earlier { stood, .. }) = self.earlier {
            stood.price(self.group, self.aims, &mut instance);
        }
        let inside = (peak.bound + SCALE * i128::from(room)).div_euclid(SCALE);
        let mut allowed = Allowed::all(&instance);
        allowed.idle.fill(false);
        let multipliers = peak.multipliers.clone();
        Some(Span { instance, allowed, multipliers, inside: i64::try_from(inside).ok()? })
    }

    /// A first answer that is due: the kits at hand, mended, or else any plan of a window, since it lies near the bound. It is
    /// bettered for a while longer.
    fn first_answer(
        &self,
        (peak, priced): (&Peak, &Priced),
        (mut window, mut room, all): (Span, i64, i64),
        (mut found, floor): (Sought, Floor),
        control: &Control<'_>,
    ) -> Option<InWindow> {
        let at_hand = self.kits_at_hand();
        if at_hand.iter().any(Option::is_some) {
            window = self.with(window, peak, (&at_hand, room))?;
        }
        let mended = window.mended(self, &at_hand, &control.unhurried());
        let mut plan = mended.map(|mended| {
            let cost = window.instance.value(&mended)[self.tier];
            let start = Some(mended.clone());
            let better = window.below(self, (None, cost), start, &control.grace().nodes(0)).better;
            better.unwrap_or(mended)
        });
        loop {
            plan = plan.or_else(|| window.any(self, &control.grace()));
            if plan.is_some() {
                found.better = plan;
                found.allowed = window.allowed.clone();
                found.stopped = control.stop();
                return window.done(self, found, floor, control);
            }
            room = room.saturating_mul(4);
            let few = WIDE * self.group.pumps.len();
            match self.window((peak, priced), (room, few), control).filter(|_| room < all) {
                Some(wider) => window = wider,
                None => return Some(self.greedy(floor.cost, window, control)),
            }
        }
    }

    /// Kits at hand, by pump of the group; none where it may no longer do.
    fn kits_at_hand(&self) -> Vec<Option<Column>> {
        let before = self.earlier.and_then(|earlier| earlier.before);
        let kit = |&pump: &usize| self.group.numbered(before?.kit(pump)?);
        self.group.pumps.iter().map(kit).collect()
    }

    /// A window with these kits as well.
    fn with(
        &self,
        window: Span,
        peak: &Peak,
        (kits, room): (&[Option<Column>], i64),
    ) -> Option<Span> {
        let mut columns = window.instance.blocks.to_vec();
        for (columns, kit) in columns.iter_mut().zip(kits) {
            if let Some(kit) = kit.as_ref().filter(|kit| !columns.contains(kit)) {
                columns.push(kit.clone());
            }
        }
        self.span(peak, columns, room)
    }

    /// Any plan of the columns at hand, where the user has ended the work.
    fn ended(&self, peak: &Peak, floor: i64, control: &Control<'_>) -> Option<InWindow> {
        let window = self.span(peak, self.instance.blocks.to_vec(), 0);
        let window = window.filter(|_| control.is_interrupted());
        window.map(|window| self.greedy(floor, window, control))
    }

    /// Where waste is open, a later goal counts what the window leaves out as well.
    fn loosened(&self, mut reached: Reached) -> Reached {
        let Solved { values, bounds, .. } = &mut reached.solved;
        if values[self.tier] != bounds[self.tier] {
            for (bound, aim) in bounds.iter_mut().zip(self.aims).skip(self.tier + 1) {
                let stands =
                    self.earlier.map_or(0, |earlier| earlier.stood.standing(self.group, *aim));
                *bound = (*bound).min(-stands);
            }
        }
        reached
    }

    /// Any plan of a window, where the time is over.
    fn greedy(&self, floor: i64, window: Span, control: &Control<'_>) -> InWindow {
        let mut reached = stages::reached(&window.instance, self.aims, None, control);
        let Solved { values, bounds, .. } = &mut reached.solved;
        if values[..self.tier] == self.limits {
            bounds[self.tier] = floor.min(values[self.tier]);
        }
        InWindow { instance: window.instance, reached: self.loosened(reached) }
    }

    /// The linear program over the columns of a window.
    fn moved(&self, instance: &Instance) -> Option<MasterProgram> {
        let find = |block: usize, column: u32| {
            let column = self.instance.column(block, column);
            let at = instance.blocks[block].iter().position(|other| other == column)?;
            u32::try_from(at).ok()
        };
        Some(self.program.clone()?.moved(find))
    }
}

/// Cost that no plan is below, and the proof of it.
struct Floor {
    cost: i64,
    proof: Option<RawProof>,
}

impl Floor {
    fn of(peak: &Peak, root: &Root<'_>) -> Floor {
        let cost = round_up(peak.bound, root.step);
        let proof = RawProof::of_root(cost, &peak.multipliers, &root.allowed.ranges);
        Floor { cost, proof: Some(proof) }
    }
}

/// Window: some columns, among which are those of all plans that cost at most `inside`.
struct Span {
    instance: Instance,
    allowed: Allowed,
    multipliers: Multipliers,
    inside: i64,
}

impl Span {
    fn stage<'s>(&'s self, root: &'s Root<'_>) -> Stage<'s> {
        Stage { instance: &self.instance, ..root.stage() }
    }

    /// Searches it for a plan that is better than this one, or for any that costs at most `inside`.
    fn seek(
        &self,
        root: &Root<'_>,
        plan: Option<Assignment>,
        floor: &Floor,
        control: &Control<'_>,
    ) -> Sought {
        let known = plan.as_ref().map(|plan| self.instance.value(plan)[root.tier]);
        let cost = known.map_or(self.inside + 1, |value| value.min(self.inside + 1));
        let mut found = self.below(root, (Some(floor.cost), cost), plan.clone(), control);
        found.better = found.better.or(plan);
        found
    }

    /// Raises a floor to what a search has proven.
    fn raise(&self, root: &Root<'_>, found: &Sought, floor: &mut Floor) {
        // Plans that are not in the window cost more than what is inside.
        let bound = SCALE * i128::from(found.bound.min(self.inside + 1));
        let cost = round_up(bound, root.step);
        if cost > floor.cost {
            let within = |proof: RawProof| proof.within(&self.multipliers, &self.allowed.ranges);
            let proof = found.proof.clone().map(|proof| within(proof).of_at_most(cost));
            *floor = Floor { cost, proof };
        }
    }

    /// A plan that serves all, however much it costs; `None` if none is found.
    fn any(&self, root: &Root<'_>, control: &Control<'_>) -> Option<Assignment> {
        self.below(root, (None, i64::MAX / 4), None, &control.nodes(0)).better
    }

    /// Cost of the plan that chains of exchanges lead to from these kits; `None` if the window lacks one.
    fn bettered(
        &self,
        root: &Root<'_>,
        kits: &[Option<Column>],
        control: &Control<'_>,
    ) -> Option<i64> {
        let mut taken = self.find(kits)?;
        let mut left = self.instance.left(&taken);
        exchange(self.stage(root), &self.allowed, &mut taken, &mut left, control);
        Some(self.instance.value_on(root.tier, &taken))
    }

    /// The kits that there is room for, and the others put in; `None` if a pump is left over.
    fn mended(
        &self,
        root: &Root<'_>,
        kits: &[Option<Column>],
        control: &Control<'_>,
    ) -> Option<Assignment> {
        let instance = &self.instance;
        let (mut taken, mut left) = (vec![None; instance.blocks.len()], instance.capacity.clone());
        for ((taken, columns), kit) in taken.iter_mut().zip(instance.blocks.iter()).zip(kits) {
            let Some(kit) = kit.as_ref().filter(|kit| fits(&left, &kit.uses)) else { continue };
            let at = columns.iter().position(|column| column == kit);
            *taken = Some(u32::try_from(at?).ok()?);
            take(&mut left, &kit.uses);
        }
        let stage = self.stage(root);
        let prices = stage.prices(&self.multipliers, &self.allowed.ranges);
        mend(&Ranking::new(stage, &prices, &self.allowed), &mut taken, &mut left, control);
        taken.iter().all(Option::is_some).then_some(taken)
    }

    /// Searches it for plans that cost less, where none is below the floor.
    fn below(
        &self,
        root: &Root<'_>,
        (floor, cost): (Option<i64>, i64),
        plan: Option<Assignment>,
        control: &Control<'_>,
    ) -> Sought {
        let mut to_beat = root.limits.clone();
        to_beat.push(cost);
        to_beat.resize(root.aims.len(), LOWEST);
        let multipliers = Some(self.multipliers.clone());
        let program = root.moved(&self.instance);
        let start = Start { plan, multipliers, program, floor };
        let (stage, aim) = (self.stage(root), root.aims[root.tier]);
        seek(stage, self.allowed.clone(), start, to_beat, aim, control)
    }

    fn columns(&self, plan: &Assignment) -> Vec<Option<Column>> {
        let column = |(block, column): (usize, &Option<u32>)| {
            column.map(|column| self.instance.column(block, column).clone())
        };
        plan.iter().enumerate().map(column).collect()
    }

    /// Plan with these columns; `None` if it lacks one.
    fn find(&self, columns: &[Option<Column>]) -> Option<Assignment> {
        let blocks = self.instance.blocks.iter().zip(columns);
        let places = blocks.map(|(block, column)| {
            let at = block.iter().position(|other| Some(other) == column.as_ref())?;
            u32::try_from(at).ok().map(Some)
        });
        places.collect()
    }

    /// Goes on to the other goals from the best plan found.
    fn done(
        self,
        root: &Root<'_>,
        found: Sought,
        floor: Floor,
        control: &Control<'_>,
    ) -> Option<InWindow> {
        let Sought { better, allowed, multipliers, stopped, program, .. } = found;
        let Floor { cost: bound, proof } = floor;
        // The proof may be of another window, and columns were left out in this one: first by its bound, then by the search.
        let within = |proof: RawProof| {
            let proof = proof.within(&multipliers, &allowed.ranges);
            proof.within(&self.multipliers, &self.allowed.ranges)
        };
        let proof = proof.map(within);
        let closed =
            Closed { taken: better?, bound, allowed, multipliers, stopped, program, proof };
        let reached = onwards(&self.instance, root.aims, root.tier, closed, control);
        Some(InWindow { instance: self.instance, reached: root.loosened(reached) })
    }
}
