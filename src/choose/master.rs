//! Restricted master of a goal: the linear program over the columns asked for so far, and the bound that it leads to.
//!
//! The [`Simplex`] over the columns at hand says which multipliers would be best if these were all there are. All columns
//! are priced there, which gives an exact bound, and those that do better join. The basis stays from round to round and
//! from node to node: a split moves a range or bars columns, which takes a few pivots.
//!
//! # Decision
//!
//! Groups with suppliers, and those of more than [`MOST_ROWS`] items, are left to the general solver ([`climb`]). A supplier's
//! columns are lumps of many pieces, which has not been measured here; and the inverse grows with the square of the rows.
//!
//! [`climb`]: mod@crate::choose::climb

use std::sync::Arc;

use crate::choose::bound::{Allowed, Multipliers, Range, SCALE, Stage, round_up};
use crate::choose::climb::{Found, NOTHING, Pool, join, price, put_in};
use crate::choose::control::Control;
use crate::choose::cuts::{Cut, Line};
use crate::choose::instance::Assignment;
use crate::choose::relaxation::{Entry, to_f64, whole_multiplier};
use crate::choose::simplex::{Basis, End, MISS, Simplex};

/// Most rows of a program.
const MOST_ROWS: usize = 300;
/// Pivots between two looks at the control.
const PIVOTS: u64 = 100;
/// Work of a pivot beside a look at the columns.
const PIVOT: u64 = 500;
/// Amounts of columns that a pivot looks through for a unit of work.
const AMOUNTS: usize = 4;
/// Rounds of pricing after which a node is left even if columns still price in.
const MOST_ROUNDS: usize = 300;
/// By how much a limit on pieces is wider while the simplex pivots, and one on an earlier goal.
const HAIR: (f64, f64) = (1e-6, 1e-8);

/// Multipliers beyond this are too large for a certificate, or nearly.
const LARGE: i128 = 1 << 68;
/// The way from one to others is measured in so many binary places.
const PARTS: u32 = 30;

/// Reduced costs that floating point cannot tell apart, as a share of the greatest cost.
const NOISE: f64 = 1e-9;

/// Linear program of a goal with its columns and its basis. It outlives its goal, to begin with in nearly the same problem:
/// the same columns, other limits.
#[derive(Debug, Clone)]
pub struct MasterProgram {
    scales: Vec<f64>,
    simplex: Simplex,
    /// Rows of each item: its own, and those of its classes.
    rows: Vec<Vec<usize>>,
    /// Columns at hand, by block.
    pool: Pool,
    /// Their numbers in the program.
    numbers: Vec<Vec<u32>>,
    /// Entry of each column of the program; `None` for taking none.
    entries: Vec<Option<Entry>>,
    /// Numbers of taking none, by block: where that is allowed, and where it only fills a gap.
    idle: Vec<(u32, u32)>,
    /// Basis at the end of the whole search space, before any split.
    root: Option<Arc<Basis>>,
    /// Basis that the program is at.
    at: Option<Arc<Basis>>,
}

impl MasterProgram {
    /// The program over another list of columns, in which `find` gives each column's place, and its present basis as that of
    /// the root. Columns that are not there are barred.
    pub(super) fn moved(mut self, find: impl Fn(usize, u32) -> Option<u32>) -> MasterProgram {
        for block in 0..self.pool.len() {
            let known = std::mem::take(&mut self.pool[block]);
            let numbers = std::mem::take(&mut self.numbers[block]);
            let mut there = Vec::new();
            for (column, number) in known.into_iter().zip(numbers) {
                let place = find(block, column);
                self.entries[number as usize] = place.map(|column| (block, column));
                match place {
                    Some(column) => there.push((column, number)),
                    None => self.simplex.bar(number, true),
                }
            }
            there.sort_unstable();
            (self.pool[block], self.numbers[block]) = there.into_iter().unzip();
        }
        self.rooted()
    }

    /// The program with other hairs: of many plans that are equally good it comes to another one.
    pub(super) fn elsewhere(mut self, turn: usize) -> MasterProgram {
        self.simplex.change_hairs(turn);
        self
    }

    /// The program with its present basis as that of the root.
    pub(super) fn rooted(mut self) -> MasterProgram {
        self.root = self.at.clone();
        self
    }

    /// The program without some of the cuts before its goal, which must be [slack](Master::is_slack), and with further ones
    /// after them, at the same basis. `None` where the numbers do not allow it.
    pub(super) fn with_cuts(&self, dropped: &[bool], fresh: &[Cut]) -> Option<MasterProgram> {
        let (own, before) = self.scales.split_last()?;
        let first = before.len() - dropped.len();
        let entry = |column: u32| self.entries[column as usize];
        let greatest = |cut: &Cut| {
            let costs =
                self.entries.iter().flatten().map(|&(block, column)| cut.cost(block, column));
            costs.fold(1.0, |most: f64, cost| most.max(cost.abs()))
        };
        let added: Vec<f64> = fresh.iter().map(greatest).collect();
        let amounts = |column: u32| {
            let of = |(cut, scale): (&Cut, &f64)| {
                entry(column).map_or(0.0, |(block, column)| cut.cost(block, column) / scale)
            };
            fresh.iter().zip(&added).map(of).collect()
        };
        let stays =
            |&(at, _): &(usize, &f64)| !at.checked_sub(first).is_some_and(|cut| dropped[cut]);
        let kept = before.iter().enumerate().filter(stays).map(|(_, scale)| *scale);
        let scales = kept.chain(added.iter().copied()).chain([*own]).collect();
        let simplex = self.simplex.with_rows(dropped, &vec![HAIR.1; fresh.len()], amounts)?;
        let at = Some(Arc::new(simplex.basis()));
        let MasterProgram { rows, pool, numbers, entries, idle, .. } = self;
        Some(MasterProgram {
            scales,
            simplex,
            rows: rows.clone(),
            pool: pool.clone(),
            numbers: numbers.clone(),
            entries: entries.clone(),
            idle: idle.clone(),
            root: at.clone(),
            at,
        })
    }
}

/// Master of one goal.
pub(super) struct Master<'a> {
    stage: Stage<'a>,
    cost_step: i64,
    /// A column joins if its reduced cost is better by more: all blocks together then lose less than a thousandth of a
    /// step of the bound. In 1/SCALE.
    least_gain: i128,
    pub(super) program: MasterProgram,
}

/// Where the rounds of a node ended.
pub(super) struct Relaxation {
    /// Bound, in 1/SCALE.
    pub bound: i128,
    /// Multipliers that prove it.
    pub multipliers: Multipliers,
    /// Basis of the last round.
    pub basis: Option<Arc<Basis>>,
}

impl<'a> Master<'a> {
    /// Master of a goal without columns; `None` where the shape does not fit.
    pub(super) fn new(stage: Stage<'a>, scales: &[f64], cost_step: i64) -> Option<Master<'a>> {
        let instance = stage.instance;
        let blocks = instance.blocks.len();
        if instance.pumps < blocks || stage.sets.len() + stage.tier > MOST_ROWS {
            return None;
        }
        let mut limits = vec![(f64::NEG_INFINITY, f64::INFINITY, HAIR.0); stage.sets.len()];
        limits.resize(stage.sets.len() + stage.tier, (f64::NEG_INFINITY, f64::INFINITY, HAIR.1));
        let mut rows = vec![Vec::new(); instance.capacity.len()];
        for (row, set) in stage.sets.iter().enumerate() {
            set.iter().for_each(|&item| rows[item as usize].push(row));
        }
        let mut simplex = Simplex::new(blocks, &limits);
        let none = |block| {
            let allowed = simplex.add_column(block, 0.0, []);
            (allowed, simplex.add_column(block, MISS, []))
        };
        let idle: Vec<(u32, u32)> = (0..blocks).map(none).collect();
        let program = MasterProgram {
            scales: scales.to_vec(),
            simplex,
            rows,
            pool: vec![Vec::new(); blocks],
            numbers: vec![Vec::new(); blocks],
            entries: vec![None; 2 * blocks],
            idle,
            root: None,
            at: None,
        };
        Some(Master::of(stage, program, cost_step))
    }

    /// Master of a goal with the columns and the basis of the same goal in nearly the same problem.
    pub(super) fn of(stage: Stage<'a>, program: MasterProgram, cost_step: i64) -> Master<'a> {
        let least_gain = SCALE * i128::from(cost_step) / 1024 / program.pool.len().max(1) as i128;
        let noise = to_whole(program.scales[stage.tier] * NOISE);
        Master { stage, cost_step, least_gain: least_gain.max(noise), program }
    }

    /// Basis that the program is at, if it is at one.
    pub(super) fn at(&self) -> Option<Arc<Basis>> {
        self.program.at.clone()
    }

    /// Basis at the end of the whole search space, if it is known.
    pub(super) fn root(&self) -> Option<Arc<Basis>> {
        self.program.root.clone()
    }

    /// Lets a column of a block join.
    pub(super) fn add(&mut self, block: usize, column: u32) {
        if put_in(&mut self.program.pool[block], column) {
            self.number(block);
        }
    }

    /// Numbers the columns of a block that have joined the pool.
    fn number(&mut self, block: usize) {
        let Stage { instance, tier, .. } = self.stage;
        for at in 0..self.program.pool[block].len() {
            let column = self.program.pool[block][at];
            let known = self.program.numbers[block].get(at);
            if known
                .is_some_and(|&known| self.program.entries[known as usize] == Some((block, column)))
            {
                continue;
            }
            let cost = |tier: usize| {
                to_f64(instance.cost(tier, block, column)) / self.program.scales[tier]
            };
            let mut amounts: Vec<(usize, f64)> = Vec::new();
            for &(item, count) in &instance.column(block, column).uses {
                for &row in &self.program.rows[usize::from(item)] {
                    match amounts.iter_mut().find(|(other, _)| *other == row) {
                        Some((_, amount)) => *amount += f64::from(count),
                        None => amounts.push((row, f64::from(count))),
                    }
                }
            }
            let goals = (0..tier).map(|tier| (self.stage.sets.len() + tier, cost(tier)));
            amounts.extend(goals.filter(|(_, cost)| *cost != 0.0));
            let number = self.program.simplex.add_column(block, cost(tier), amounts);
            self.program.entries.push(Some((block, column)));
            self.program.numbers[block].insert(at, number);
        }
    }

    /// The best bound of a part of the search space: from the multipliers given, if any, and from a basis or else a plan.
    /// `None` if a block that must take a column has none. Where the control stops it, it ends where it has come to,
    /// at worst with a bound that says nothing.
    pub(super) fn relax(
        &mut self,
        allowed: &Allowed,
        multipliers: &Multipliers,
        basis: Option<&Arc<Basis>>,
        plan: Option<&Assignment>,
        enough: i64,
        control: &Control<'_>,
    ) -> Option<Relaxation> {
        let ranges = &allowed.ranges;
        let mut peak =
            Relaxation { bound: NOTHING, multipliers: multipliers.clone(), basis: basis.cloned() };
        let reached = |bound: i128, step: i64| round_up(bound, step) >= enough;
        if basis.is_none() {
            let prices = self.stage.prices(multipliers, ranges);
            let Ok(found) =
                price(self.stage, allowed, &prices, &self.program.pool, self.least_gain, control)
            else {
                return Some(peak);
            };
            let found = found?;
            peak.bound = prices.constant() + found.iter().map(|f| f.least).sum::<i128>();
            if reached(peak.bound, self.cost_step) {
                return Some(peak);
            }
            self.join(&found);
        }
        self.allow(allowed);
        if !self.go_to(basis) {
            self.start(allowed, plan);
        }
        let mut cutoff = match basis {
            Some(_) => {
                to_f64(enough - self.cost_step) / self.program.scales[self.stage.tier] + 1e-6
            }
            None => f64::INFINITY,
        };
        for _ in 0..MOST_ROUNDS {
            let Some(end) = self.pivot(cutoff, control) else { break };
            if end == End::Trouble {
                break;
            }
            cutoff = f64::INFINITY;
            let Some(next) = self.multipliers(ranges) else { break };
            let prices = self.stage.prices(&next, ranges);
            let Ok(found) =
                price(self.stage, allowed, &prices, &self.program.pool, self.least_gain, control)
            else {
                break;
            };
            let found = found?;
            let bound = prices.constant() + found.iter().map(|f| f.least).sum::<i128>();
            // Value of the columns at hand at these prices.
            let at_hand = found.iter().map(|f| f.known).sum::<Option<i128>>();
            if bound > peak.bound {
                peak.bound = bound;
                peak.multipliers = next;
            }
            let fresh = self.join(&found);
            // The columns at hand come to no less than any bound: where rounding up makes the two alike, further
            // columns change nothing. A hair's breadth is an error of floating point.
            let hair = SCALE * i128::from(self.cost_step) / 1024;
            let alike = at_hand.is_some_and(|at_hand| {
                round_up(prices.constant() + at_hand - hair, self.cost_step)
                    <= round_up(peak.bound, self.cost_step)
            });
            if reached(peak.bound, self.cost_step)
                || end == End::Optimal && (alike || fresh == 0)
                || control.stop().is_some()
            {
                break;
            }
        }
        if reached(peak.bound, self.cost_step) && peak.multipliers.largest() > LARGE {
            self.shorten(&mut peak, multipliers, allowed, enough, control);
        }
        let basis = Arc::new(self.program.simplex.basis());
        self.program.at = Some(Arc::clone(&basis));
        self.program.root.get_or_insert_with(|| Arc::clone(&basis));
        peak.basis = Some(basis);
        Some(peak)
    }

    /// Where the ranges cannot be kept, multipliers are as large as misses are dear, and too large for a certificate. The bound
    /// is concave in them: a small part of the way from others to these proves as much as is asked for.
    fn shorten(
        &self,
        peak: &mut Relaxation,
        from: &Multipliers,
        allowed: &Allowed,
        enough: i64,
        control: &Control<'_>,
    ) {
        let bound = |multipliers: &Multipliers| {
            let prices = self.stage.prices(multipliers, &allowed.ranges);
            Some(self.stage.price(&prices, allowed, control).ok()??.bound)
        };
        let Some(before) = bound(from) else { return };
        let missing = SCALE * i128::from(enough) - before;
        let part = 1 + missing.max(0) / ((peak.bound - before) >> PARTS).max(1);
        let multipliers = from.towards(&peak.multipliers, part.min(1 << PARTS), PARTS);
        if let Some(bound) = bound(&multipliers)
            && round_up(bound, self.cost_step) >= enough
        {
            (peak.bound, peak.multipliers) = (bound, multipliers);
        }
    }

    /// Shares of the columns in the relaxed plan, in order.
    pub(super) fn fractions(&self) -> Vec<(Entry, f64)> {
        let shares = self.program.simplex.shares().into_iter();
        let mut shares: Vec<(Entry, f64)> = shares
            .filter_map(|(number, share)| {
                Some((self.program.entries[number as usize]?, share.min(1.0)))
            })
            .collect();
        shares.sort_by_key(|(entry, _)| *entry);
        shares
    }

    /// Whether an earlier goal binds nothing, so that its row can be let go.
    pub(super) fn is_slack(&self, tier: usize) -> bool {
        self.program.simplex.is_slack(self.stage.sets.len() + tier)
    }

    /// Calculates the present basis anew, whose numbers cuts depend on; whether they allow it.
    pub(super) fn calculate_anew(&mut self) -> bool {
        self.program.simplex.invert()
    }

    /// Lines of the basis that cuts can be made of, from both sides.
    pub(super) fn lines(&self) -> Vec<Line> {
        let sets = self.stage.sets.len();
        let line = |line: &[f64], sign: f64| Line {
            sets: line[..sets].iter().map(|weight| sign * weight).collect(),
            goals: line[sets..]
                .iter()
                .zip(&self.program.scales)
                .map(|(weight, scale)| sign * weight / scale)
                .collect(),
        };
        let open = self.program.simplex.undecided();
        open.into_iter().flat_map(|one| [line(one, 1.0), line(one, -1.0)]).collect()
    }

    /// Key of each block; `None` for taking none.
    pub(super) fn keys(&self) -> Vec<Option<u32>> {
        let keys = self.program.simplex.keys().iter();
        keys.map(|&key| self.program.entries[key as usize].map(|(_, column)| column)).collect()
    }

    fn join(&mut self, found: &[Found]) -> usize {
        let fresh = join(&mut self.program.pool, found);
        for (block, found) in found.iter().enumerate() {
            if !found.fresh.is_empty() {
                self.number(block);
            }
        }
        fresh
    }

    /// Moves the ranges and bars the columns that are not allowed.
    fn allow(&mut self, allowed: &Allowed) {
        let goals = self.stage.limits.iter().zip(&self.program.scales);
        for (row, (&limit, scale)) in (self.stage.sets.len()..).zip(goals) {
            self.program.simplex.set_range(row, f64::NEG_INFINITY, to_f64(limit) / scale);
        }
        for (row, range) in allowed.ranges.iter().enumerate() {
            let lo = if range.least > 0 { to_f64(range.least) } else { f64::NEG_INFINITY };
            self.program.simplex.set_range(row, lo, range.most.map_or(f64::INFINITY, to_f64));
        }
        for (block, columns) in allowed.columns.iter().enumerate() {
            for (column, &number) in
                self.program.pool[block].iter().zip(&self.program.numbers[block])
            {
                self.program.simplex.bar(number, columns.binary_search(column).is_err());
            }
            self.program.simplex.bar(self.program.idle[block].0, !allowed.idle[block]);
        }
    }

    /// Goes to a basis, if it is not there; whether it could.
    fn go_to(&mut self, basis: Option<&Arc<Basis>>) -> bool {
        let Some(basis) = basis else { return false };
        let there = self.program.at.as_ref().is_some_and(|at| Arc::ptr_eq(at, basis));
        self.program.at = None;
        there || self.program.simplex.resume(basis)
    }

    /// Starts with a plan as far as it is allowed, and with nothing elsewhere.
    fn start(&mut self, allowed: &Allowed, plan: Option<&Assignment>) {
        let key = |block: usize| {
            let (idle, gap) = self.program.idle[block];
            let none = if allowed.idle[block] { idle } else { gap };
            let taken = plan.and_then(|plan| plan[block]);
            let taken = taken.filter(|column| allowed.columns[block].binary_search(column).is_ok());
            let at = taken.and_then(|column| self.program.pool[block].binary_search(&column).ok());
            at.map_or(none, |at| self.program.numbers[block][at])
        };
        let keys = (0..self.program.pool.len()).map(key).collect();
        self.program.simplex.start(keys);
    }

    /// Pivots to the end; `None` where the control stops it.
    fn pivot(&mut self, cutoff: f64, control: &Control<'_>) -> Option<End> {
        loop {
            if control.stop().is_some() {
                return None;
            }
            let before = self.program.simplex.pivots();
            let end = match self.program.simplex.dual(PIVOTS, cutoff) {
                End::Optimal => self.program.simplex.primal(PIVOTS),
                end => end,
            };
            let pivots = self.program.simplex.pivots() - before;
            let amounts = self.program.simplex.amounts() / AMOUNTS;
            control.spend(pivots * (PIVOT + amounts as u64));
            if end != End::Paused {
                return Some(end);
            }
        }
    }

    /// Multipliers of the present basis, in whole 1/SCALE.
    fn multipliers(&self, ranges: &[Range]) -> Option<Multipliers> {
        let aim = self.program.scales[self.stage.tier];
        let found: Vec<f64> = self.program.simplex.multipliers().collect();
        let (sets, goals) = found.split_at(self.stage.sets.len());
        let sets = sets.iter().zip(ranges).map(|(&found, range)| {
            Some((
                whole_multiplier(found * aim, range.most.unwrap_or(0))?,
                whole_multiplier(-found * aim, range.least)?,
            ))
        });
        let goals = goals.iter().zip(&self.program.scales).zip(self.stage.limits);
        let goals =
            goals.map(|((found, scale), &limit)| whole_multiplier(found * aim / scale, limit));
        Some(Multipliers {
            sets: sets.collect::<Option<_>>()?,
            goals: goals.collect::<Option<_>>()?,
        })
    }
}

/// In whole 1/SCALE.
#[expect(clippy::cast_possible_truncation, reason = "a cost, far below 2^77")]
#[expect(clippy::cast_precision_loss, reason = "SCALE is a power of two")]
fn to_whole(cost: f64) -> i128 {
    (cost * SCALE as f64) as i128
}
