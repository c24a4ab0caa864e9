//! Column generation with a general solver: climbs to the multipliers with the best bound. For groups with suppliers and
//! stocks of many items; for the others, [`master`](mod@crate::choose::master) does it.
//!
//! A linear program over the columns at hand says where the best multipliers would lie if these
//! were all there are. All columns are priced there, which gives an exact bound, and the few that
//! do better than those at hand join them. The linear program trusts its columns only in a box
//! around the best multipliers so far: there most blocks are clear about what they take, and it
//! stays small. The box grows where the bound keeps its promise and shrinks where it does not.
//!
//! Source: the trust region on Kelley's cutting plane method is described in Bonnans, Gilbert,
//! Lemaréchal, Sagastizábal, Numerical Optimization (2006), part II, from memory.
//!
//! # Decision
//!
//! The box, and starting multipliers from samples of pumps, instead of the whole dual solved cold each round:
//! measured at 1,000 tight pumps, all goals took 17 to 24 s before and about 6 s after.

use smallvec::SmallVec;

use crate::choose::bound::{Allowed, Multipliers, Prices, SCALE, Stage, by_block, round_up};
use crate::choose::control::Control;
use crate::choose::relaxation::{Advice, Entry, Options, Program};
use crate::choose::rough::Rough;
use crate::plan::Stop;

/// By block, the columns that a linear program has asked for, ascending.
pub type Pool = Vec<Vec<u32>>;

/// A box to start with where nothing is known.
pub const FAR: f64 = 64.0;
/// A box to start with where good multipliers are known, as a share of the greatest cost.
pub const NEAR: f64 = 1.0 / 64.0;
/// The narrowest box.
const NARROWEST: f64 = 1e-9;
/// The most options of undecided blocks in one linear program: in a narrower box there are fewer,
/// and several small programs take less time than a large one.
const MOST_OPTIONS: usize = 8_000;
/// Rounds after which the climb ends even if columns still price in.
const MOST_ROUNDS: usize = 300;
/// Columns that one block may add in one round.
const COLUMNS_A_ROUND: usize = 3;

/// A bound that says nothing.
pub(super) const NOTHING: i128 = i128::MIN / 4;

/// A climb to be made.
pub struct Climb<'a> {
    /// The goal.
    pub stage: Stage<'a>,
    /// The part of the search space.
    pub allowed: &'a Allowed,
    /// Every cost of the goal is a multiple of this.
    pub cost_step: i64,
    /// A bound that is enough: nothing better is asked for.
    pub enough: i64,
    /// [`scales`](crate::choose::relaxation::scales) of the stage.
    pub scales: &'a [f64],
}

/// Where a climb ended.
#[derive(Debug, Clone)]
pub struct Peak {
    /// The bound, in 1/SCALE.
    pub bound: i128,
    /// The multipliers that prove it.
    pub multipliers: Multipliers,
    /// How far the columns at hand come out above the bound, in 1/SCALE.
    above: i128,
}

/// Result of a round of pricing for one block.
pub(super) struct Found {
    /// The least reduced cost.
    pub least: i128,
    /// The least among the columns at hand, if there are any.
    pub known: Option<i128>,
    /// The few columns that do better than those at hand.
    pub fresh: SmallVec<[(i128, u32); COLUMNS_A_ROUND]>,
}

impl Climb<'_> {
    /// Climbs from `start` in a box of `reach`; `None` if a block that must take a column has
    /// none. The columns asked for are left in the pool. Where the control stops it, it ends where it has
    /// come to, at worst with a bound that says nothing.
    pub fn climb(
        &self,
        start: Multipliers,
        reach: f64,
        pool: &mut Pool,
        control: &Control<'_>,
    ) -> Option<Peak> {
        let ranges = &self.allowed.ranges;
        let prices = self.stage.prices(&start, ranges);
        let mut peak = Peak { bound: NOTHING, multipliers: start, above: i128::MAX };
        let mut found = match self.price(&prices, pool, control) {
            Ok(found) => found?,
            Err(_) => return Some(peak),
        };
        peak.bound = prices.constant() + found.iter().map(|f| f.least).sum::<i128>();
        let mut middle = prices;
        let mut reach = reach;
        join(pool, &found);
        for _ in 0..MOST_ROUNDS {
            if round_up(peak.bound, self.cost_step) >= self.enough || control.stop().is_some() {
                break;
            }
            let mut options = self.options(&middle, &found, pool, reach);
            // Options that are exactly alike stay in however narrow it is.
            for _ in 0..3 {
                if undecided(&options) <= MOST_OPTIONS {
                    break;
                }
                reach /= 2.0;
                options = self.options(&middle, &found, pool, reach);
            }
            if undecided(&options) > MOST_OPTIONS {
                self.thin(&mut options, &middle);
            }
            let program = self.program(&options);
            let Some(Advice { multipliers: next, at_bound }) =
                program.multipliers(&peak.multipliers, &middle, reach, control)
            else {
                reach /= 8.0;
                if reach < NARROWEST {
                    break;
                }
                continue;
            };
            let prices = self.stage.prices(&next, ranges);
            let Ok(priced) = self.price(&prices, pool, control) else {
                break;
            };
            let priced = priced?;
            let bound = prices.constant() + priced.iter().map(|f| f.least).sum::<i128>();
            let promised: Option<i128> = self.promised(&prices, &options);
            let fresh = join(pool, &priced);
            let promise = promised.map_or(i128::MAX, |promised| promised - peak.bound);
            let gain = bound - peak.bound;
            if gain > 0 {
                peak.bound = bound;
                peak.multipliers = next;
                middle = prices;
                found = priced;
            }
            peak.above = promised.map_or(i128::MAX, |promised| (promised - peak.bound).max(0));
            // A hair's breadth is the backend's own error, not a better bound.
            let hair = SCALE * i128::from(self.cost_step) / 1024;
            // What the columns at hand come to is above any bound: where rounding up makes the
            // two alike, further columns change nothing.
            let alike = promised.is_some_and(|promised| {
                round_up(promised - hair, self.cost_step) <= round_up(peak.bound, self.cost_step)
            });
            if promise.abs() <= hair
                || promise <= 0 && fresh == 0
                || !at_bound && (alike || fresh == 0 && gain > 0)
            {
                break;
            }
            if gain > promise / 2 {
                reach *= 4.0;
            } else if gain < promise / 8 {
                reach /= 2.0;
            }
            if reach < NARROWEST {
                break;
            }
        }
        Some(peak)
    }

    /// The relaxed plan at the end of a climb; nothing where the control stops it.
    pub fn fractions(&self, peak: &Peak, pool: &Pool, control: &Control<'_>) -> Vec<(Entry, f64)> {
        let ranges = &self.allowed.ranges;
        let prices = self.stage.prices(&peak.multipliers, ranges);
        let Ok(Some(found)) = self.price(&prices, pool, control) else {
            return Vec::new();
        };
        let mut slack =
            peak.above.min(i128::MAX / 16) * 8 + SCALE * i128::from(self.cost_step) / 64;
        let mut options = self.within(&prices, &found, pool, slack);
        // Where the climb was cut short, much is open: the likeliest will have to do.
        while undecided(&options) > 2 * MOST_OPTIONS && slack > SCALE {
            slack /= 8;
            options = self.within(&prices, &found, pool, slack);
        }
        self.program(&options).fractions(control).unwrap_or_default()
    }

    fn program<'a>(&'a self, options: &'a [Options]) -> Program<'a> {
        Program { stage: self.stage, ranges: &self.allowed.ranges, options, scales: self.scales }
    }

    /// [`price()`] in this part of the search space.
    fn price(
        &self,
        prices: &Prices,
        pool: &Pool,
        control: &Control<'_>,
    ) -> Result<Option<Vec<Found>>, Stop> {
        price(self.stage, self.allowed, prices, pool, SCALE / 1024, control)
    }

    /// Options that a linear program in a box of `reach` must consider.
    fn options(&self, middle: &Prices, found: &[Found], pool: &Pool, reach: f64) -> Vec<Options> {
        // By how much the price of a piece can move, four times over.
        #[expect(
            clippy::cast_possible_truncation,
            reason = "costs are below 2^50, reaches below 2^10"
        )]
        #[expect(clippy::cast_precision_loss, reason = "how much to look at, no more")]
        let slack = {
            let scale = self.scales[self.stage.tier] * SCALE as f64;
            (4.0 * reach.min(1e3) * (scale + middle.mean() as f64)) as i128
        };
        self.within(middle, found, pool, slack)
    }

    /// Leaves each block its three cheapest options. What the linear program promises is then only
    /// more than it can keep, which the next pricing shows.
    fn thin(&self, options: &mut [Options], prices: &Prices) {
        for (block, options) in options.iter_mut().enumerate() {
            options
                .columns
                .sort_by_cached_key(|&column| (self.stage.reduced(prices, block, column), column));
            options.columns.truncate(3);
        }
    }

    /// The options at hand whose reduced cost is within `slack` of the least.
    fn within(&self, prices: &Prices, found: &[Found], pool: &Pool, slack: i128) -> Vec<Options> {
        let Allowed { columns, idle, .. } = self.allowed;
        (0..columns.len())
            .map(|block| {
                let most = found[block].least.saturating_add(slack);
                let near = |column: &u32| {
                    columns[block].binary_search(column).is_ok()
                        && self.stage.reduced(prices, block, *column) <= most
                };
                Options {
                    columns: pool[block].iter().copied().filter(near).collect(),
                    idle: idle[block] && 0 <= most,
                }
            })
            .collect()
    }

    /// Value of the options at these prices: the linear program's own.
    fn promised(&self, prices: &Prices, options: &[Options]) -> Option<i128> {
        let mut sum = prices.constant();
        for (block, options) in options.iter().enumerate() {
            let columns = options.columns.iter();
            sum += columns
                .map(|&column| self.stage.reduced(prices, block, column))
                .chain(options.idle.then_some(0))
                .min()?;
        }
        Some(sum)
    }
}

/// Prices every column: what is least, what is least among those at hand, and what is better by more than `least_gain`;
/// `None` if a block that must take a column has none.
pub(super) fn price(
    stage: Stage<'_>,
    allowed: &Allowed,
    prices: &Prices,
    pool: &Pool,
    least_gain: i128,
    control: &Control<'_>,
) -> Result<Option<Vec<Found>>, Stop> {
    by_block(allowed, control, |block, columns| {
        let rough = &Rough::of(stage, prices, block, columns);
        // Both lists ascend.
        let mut at_hand = pool[block].iter().peekable();
        let (mut hand, mut others): (SmallVec<[usize; 32]>, SmallVec<[usize; 32]>) =
            Default::default();
        for (at, column) in columns.iter().enumerate() {
            while at_hand.next_if(|other| *other < column).is_some() {}
            match at_hand.next_if_eq(&column) {
                Some(_) => hand.push(at),
                None => others.push(at),
            }
        }
        // Exact costs of those that may be among the cheapest few of a list.
        let nearest = |list: &[usize], few: usize| {
            let most = rough.of_cheapest(list, few);
            let near = list.iter().filter(move |&&at| rough.costs[at] <= most);
            let exact = near.map(|&at| (stage.reduced(prices, block, columns[at]), columns[at]));
            exact.collect::<SmallVec<[(i128, u32); 8]>>()
        };
        let idle = allowed.idle[block].then_some(0);
        let known = nearest(&hand, 1).iter().map(|(cost, _)| *cost).chain(idle).min();
        let better = known.map_or(i128::MAX, |known| known - least_gain);
        let most = known.map_or(f64::INFINITY, |_| rough.below(better));
        let mut fresh: SmallVec<[(i128, u32); COLUMNS_A_ROUND]> = SmallVec::new();
        let maybe: SmallVec<[usize; 32]> =
            others.iter().copied().filter(|&at| rough.costs[at] <= most).collect();
        for (cost, column) in nearest(&maybe, COLUMNS_A_ROUND) {
            if cost < better {
                let full = fresh.len() == COLUMNS_A_ROUND;
                if full && fresh.last().is_some_and(|last| last.0 <= cost) {
                    continue;
                }
                if full {
                    fresh.pop();
                }
                let at = fresh.partition_point(|other| other.0 <= cost);
                fresh.insert(at, (cost, column));
            }
        }
        let least = match fresh.first() {
            Some(first) => Some(first.0),
            None => nearest(&others, 1).iter().map(|(cost, _)| *cost).chain(known).min(),
        };
        Some(Found { least: least?, known, fresh })
    })
}

/// The options of those blocks that have several.
fn undecided(options: &[Options]) -> usize {
    let counts = options.iter().map(|o| o.columns.len() + usize::from(o.idle));
    counts.filter(|&count| count > 1).sum()
}

/// Puts a column among a block's known ones; whether it is new there.
pub fn put_in(known: &mut Vec<u32>, column: u32) -> bool {
    let place = known.binary_search(&column);
    if let Err(at) = place {
        known.insert(at, column);
    }
    place.is_err()
}

/// Puts the fresh columns into the pool; how many they are.
pub(super) fn join(pool: &mut Pool, found: &[Found]) -> usize {
    let mut count = 0;
    for (known, found) in pool.iter_mut().zip(found) {
        for &(_, column) in &found.fresh {
            count += usize::from(put_in(known, column));
        }
    }
    count
}
