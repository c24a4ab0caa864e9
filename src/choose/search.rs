//! Branch and price for one goal: exact bounds, columns priced in as they are needed.
//!
//! Every node is closed by an exact integer bound or split; the linear programs only say where
//! to look. What the search returns as a bound is therefore proven whatever the backend did.
//!
//! # Decisions
//!
//! Branching splits on the total of a class of items, then of an item, then on one pump: a single pump's choice hardly
//! moves the bound of a fleet. Measured at 30 tight pumps: 0.3 s with it; splitting on pumps alone, no proof in 60
//! s.
//!
//! A goal that few nodes do not close is searched in turns with cuts, each from the root, with twice as many nodes and other
//! hairs of the linear program. What the turns before have found leaves out more columns, and a few nodes below a good root
//! close more than many below a poor one; which root is good shows only there. 300 tight pumps (seed 1): open after 60 s in one
//! turn without end, closed after 1.5 s in turns. A round makes the deepest 24 of all cuts, from an inverse calculated
//! anew: with 12, or with the first that were found, some of 45 fleets stayed open for 15 s. Splits by the number of pumps
//! that take two of an item, or two items together, in every other turn did not close the two fleets that they were tried
//! on.
//!
//! A search that has come near rests once it has gained nothing for long. Of 40 fleets of 30 to 1,000 pumps this ended two,
//! after a fourth and a third of the time limit, up to which they had gained nothing either.

use std::cmp::Reverse;
use std::collections::{BTreeSet, BinaryHeap};
use std::iter;
use std::sync::Arc;

use rayon::prelude::*;

use crate::choose::bound::{Allowed, Multipliers, Priced, Prices, Range, SCALE, Stage, round_up};
use crate::choose::chain::exchange;
use crate::choose::climb::{Climb, FAR, NEAR, NOTHING, Pool, put_in};
use crate::choose::control::{Control, Pace};
use crate::choose::cuts::{Cut, Line, Weighed};
use crate::choose::instance::{Assignment, CostRow, Instance, fits, listed, put_back, take};
use crate::choose::master::{Master, MasterProgram};
use crate::choose::mending::{Ranking, mend, refine, supply};
use crate::choose::proof::{Notes, RawProof, Rule};
use crate::choose::relaxation::{Entry, floor, scales, to_f64};
use crate::choose::rough::Rough;
use crate::choose::simplex::Basis;
use crate::choose::ways::gcd;
use crate::plan::{Objective, Stop};

/// Result of the search for one goal.
#[derive(Debug, Clone)]
pub struct Closed {
    /// The best plan found.
    pub taken: Assignment,
    /// No plan that keeps the earlier goals has a smaller cost.
    pub bound: i64,
    /// The columns that plans as good as this one may use.
    pub allowed: Allowed,
    /// The best multipliers for everything together.
    pub multipliers: Multipliers,
    /// Why the search ended before bound and value met.
    pub stopped: Option<Stop>,
    /// The linear program, where there was one of the shape.
    pub program: Option<MasterProgram>,
    /// Proof of the bound, unless the search was too large to note.
    pub proof: Option<RawProof>,
}

/// Cuts that are made in a round.
const A_ROUND: usize = 24;
/// Least by which the relaxed plan breaks a cut that is worth a row.
const BROKEN: f64 = 0.03;
/// Nodes of the first turn with cuts; each one after it may have twice as many.
const A_TURN: usize = 300;
/// Rounds in a row that may gain nothing, in every third turn; in the others two and four times as many.
const IDLE_ROUNDS: usize = 3;
/// Cuts at a time, beyond which no more are made: the inverse grows with the square of the rows.
const MOST_CUTS: usize = 100;
/// Rounds of cuts at most; a certificate may hold 1,000 cuts in all.
const MOST_CUT_ROUNDS: usize = 40;
/// A gap is little if it is no more than the value by this.
const LITTLE: u64 = 10_000;
/// Pumps in the smallest sample that multipliers are first looked for in.
const SAMPLE: usize = 60;
/// Pumps in a part that is searched by itself.
const PART: usize = 24;
/// Nodes that the search of a part may take.
const PART_NODES: usize = 40;
/// Nodes up to which the plan made of each relaxed one is bettered by chains, or the rest of it is searched as a part.
const BETTERED: usize = 40;
/// Columns of one block in a part, those that cost least.
const PART_COLUMNS: usize = 40;
/// Parts that are tried at most.
const MOST_PARTS: usize = 1000;

/// Start of a search, as far as it is known.
#[derive(Default)]
pub struct Start {
    /// Plan that keeps the earlier goals.
    pub plan: Option<Assignment>,
    /// Multipliers.
    pub multipliers: Option<Multipliers>,
    /// Linear program of nearly the same problem.
    pub program: Option<MasterProgram>,
    /// Cost that no plan is below, if it is known.
    pub floor: Option<i64>,
}

/// Result of a search for a better plan.
#[derive(Debug, Clone)]
pub struct Sought {
    /// The best plan that is better than asked for, if there is one.
    pub better: Option<Assignment>,
    /// No plan that keeps the earlier goals costs less.
    pub bound: i64,
    /// Whether nothing is open: no other plan is better.
    pub whole: bool,
    /// The columns that plans as good as the best one may use.
    pub allowed: Allowed,
    /// The best multipliers for everything together.
    pub multipliers: Multipliers,
    /// Reason that the control stopped it.
    pub stopped: Option<Stop>,
    /// The linear program, where there was one of the shape.
    pub program: Option<MasterProgram>,
    /// Proof of the bound, unless the search was too large to note, or the bound is the floor that was known.
    pub proof: Option<RawProof>,
}

impl Sought {
    /// A proof by a search with cuts, in what its multipliers had left.
    fn proof_with_cuts(&self, proof: RawProof, cuts: &[Cut], tier: usize) -> RawProof {
        proof.with_cuts(tier, cuts).within(&self.multipliers, &self.allowed.ranges)
    }
}

/// Searches for the best plan that is better than `to_beat`, a value on each goal.
pub fn seek(
    stage: Stage<'_>,
    allowed: Allowed,
    start: Start,
    to_beat: Vec<i64>,
    aim: Objective,
    control: &Control<'_>,
) -> Sought {
    if let Some(stop) = control.stop() {
        return Sought {
            better: None,
            bound: i64::MIN,
            whole: false,
            allowed,
            multipliers: Multipliers::zero(stage.sets.len(), stage.tier),
            stopped: Some(stop),
            program: None,
            proof: None,
        };
    }
    let mut search = Search::new(stage, &allowed, to_beat, aim, control);
    if let Some(program) = start.program {
        search.master = Some(Master::of(stage, program, search.cost_step));
    }
    if let Some(plan) = &start.plan {
        search.put_in_pool(plan);
    }
    search.start = start.plan;
    search.known = start.multipliers;
    search.floor = start.floor;
    let most_nodes = search.most_nodes;
    if search.master.is_some() {
        search.most_nodes = most_nodes.min(control.before_cuts);
    }
    let (bound, kept, multipliers, stopped) = search.run(allowed.clone());
    // Where a floor that is known says as much, the notes need not.
    let proof = search.notes.proof(bound).filter(|_| start.floor.is_none_or(|floor| bound > floor));
    let mut sought = Sought {
        better: search.best.clone(),
        bound,
        whole: bound >= search.to_beat(),
        allowed: kept,
        multipliers,
        stopped,
        program: search.master.take().map(|master| master.program),
        proof,
    };
    let mut left = most_nodes.saturating_sub(search.nodes);
    let (mut turns, mut since) = (0, control.worked_so_far());
    while sought.program.is_some() && !sought.whole && sought.stopped.is_none() && left > 0 {
        let before = (sought.bound, search.to_beat());
        search.most_nodes = left.min(A_TURN << turns.min(40));
        left -= search.turn_with_cuts(&mut sought, turns).clamp(1, left);
        turns += 1;
        if (sought.bound, search.to_beat()) != before {
            since = control.worked_so_far();
        } else if search.is_near(sought.bound) && control.is_in_vain(since) {
            sought.stopped = sought.stopped.or(Some(Stop::Work));
        }
    }
    sought
}

/// Searches one goal to its proof, from a plan that keeps the earlier goals, from multipliers if some are known, and from
/// the linear program of nearly the same problem if there is one.
pub fn close(
    stage: Stage<'_>,
    allowed: Allowed,
    incumbent: Assignment,
    known: Option<Multipliers>,
    program: Option<MasterProgram>,
    aim: Objective,
    control: &Control<'_>,
) -> Closed {
    let value = stage.instance.value(&incumbent);
    let start = Start { plan: Some(incumbent.clone()), multipliers: known, program, floor: None };
    let sought = seek(stage, allowed, start, value.clone(), aim, control);
    // A plan in hand is a bound from the other side.
    let taken = sought.better.unwrap_or(incumbent);
    let bound = sought.bound.min(stage.instance.value(&taken)[stage.tier]);
    let Sought { allowed, multipliers, stopped, program, proof, .. } = sought;
    Closed { taken, bound, allowed, multipliers, stopped, program, proof }
}

/// Value below every other, from which others can be taken off.
pub(super) const LOWEST: i64 = i64::MIN / 4;
/// Steps beyond which carried multipliers do not grow.
const MOST_STEP: i128 = 1_000_000;

/// The multipliers that the goal before this one ended with, made into some for this one: so large that
/// losing a grain of the earlier goal costs a few grains of this one.
pub fn carried(stage: Stage<'_>, allowed: &Allowed, earlier: &Multipliers) -> Multipliers {
    let Some(before) = stage.tier.checked_sub(1) else {
        return Multipliers::zero(stage.sets.len(), 0);
    };
    let theirs = i128::from(cost_step(stage.instance, before, allowed));
    let own = i128::from(cost_step(stage.instance, stage.tier, allowed));
    let times = |multiplier: i128| 4 * own.min(MOST_STEP) * multiplier / theirs;
    Multipliers {
        sets: earlier.sets.iter().map(|&(most, least)| (times(most), times(least))).collect(),
        goals: earlier.goals.iter().map(|&goal| times(goal)).chain([times(SCALE)]).collect(),
    }
}

/// A part of the search space that is still open.
struct Node {
    bound: i64,
    depth: usize,
    number: usize,
    allowed: Allowed,
    multipliers: Multipliers,
    /// Bytes that were taken for it.
    held: usize,
    /// Basis to go on from, if there is one.
    basis: Option<Arc<Basis>>,
}

impl Node {
    /// Bytes that it takes while it is open.
    fn bytes(&self) -> usize {
        let columns =
            self.allowed.columns.iter().map(|columns| columns.len() * size_of::<u32>() + 48);
        let sets = size_of::<Range>() + size_of::<(i128, i128)>();
        // Counted in full, though its children share it.
        let basis = self.basis.as_ref().map_or(0, |basis| basis.bytes());
        columns.sum::<usize>() + self.allowed.ranges.len() * sets + basis + size_of::<Node>()
    }

    /// Least bound first, then deepest, then oldest.
    fn key(&self) -> (Reverse<i64>, usize, Reverse<usize>) {
        (Reverse(self.bound), self.depth, Reverse(self.number))
    }
}

impl PartialEq for Node {
    fn eq(&self, other: &Node) -> bool {
        self.number == other.number
    }
}
impl Eq for Node {}
impl PartialOrd for Node {
    fn partial_cmp(&self, other: &Node) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Node {
    fn cmp(&self, other: &Node) -> std::cmp::Ordering {
        self.key().cmp(&other.key())
    }
}

/// Result of relaxing a node.
struct Relaxed {
    bound: i64,
    multipliers: Multipliers,
    fractions: Vec<(Entry, f64)>,
    basis: Option<Arc<Basis>>,
}

struct Search<'a> {
    stage: Stage<'a>,
    aim: Objective,
    control: &'a Control<'a>,
    /// Every cost of this goal is a multiple of this.
    cost_step: i64,
    best: Option<Assignment>,
    /// The plan to start from, if there is one.
    start: Option<Assignment>,
    /// The multipliers to start from, if any are known.
    known: Option<Multipliers>,
    /// Cost that no plan is below, if it is known.
    floor: Option<i64>,
    /// The value to beat on every goal from this one on.
    value: Vec<i64>,
    /// Whether this is the search of a part of a larger one.
    is_part: bool,
    /// Nodes after which the search ends.
    most_nodes: usize,
    /// The linear program, where its shape fits; otherwise the general solver has it.
    master: Option<Master<'a>>,
    /// The columns that the general solver has ever asked for.
    pool: Pool,
    /// [`scales`] of the stage.
    scales: Vec<f64>,
    nodes: usize,
    /// Notes for the certificate.
    notes: Notes,
    /// Whether an open node found no room; the search ends then as at the time limit.
    no_room: bool,
}

impl<'a> Search<'a> {
    fn new(
        stage: Stage<'a>,
        allowed: &Allowed,
        mut value: Vec<i64>,
        aim: Objective,
        control: &'a Control<'a>,
    ) -> Search<'a> {
        let cost_step = cost_step(stage.instance, stage.tier, allowed);
        let scales = scales(stage, allowed);
        // Between two steps there is nothing: what is below the value is below the step above it.
        let off = value[stage.tier].rem_euclid(cost_step);
        if off != 0 {
            value[stage.tier] += cost_step - off;
            value[stage.tier + 1..].fill(LOWEST);
        }
        Search {
            stage,
            aim,
            control,
            cost_step,
            master: Master::new(stage, &scales, cost_step),
            best: None,
            start: None,
            known: None,
            floor: None,
            value,
            is_part: false,
            most_nodes: control.most_nodes,
            pool: vec![Vec::new(); stage.instance.blocks.len()],
            scales,
            nodes: 0,
            notes: Notes::begin(),
            no_room: false,
        }
    }

    fn put_in_pool(&mut self, taken: &Assignment) {
        for (block, column) in taken.iter().enumerate() {
            match (column, &mut self.master) {
                (Some(column), Some(master)) => master.add(block, *column),
                (Some(column), None) => {
                    put_in(&mut self.pool[block], *column);
                }
                (None, _) => {}
            }
        }
    }

    /// The value to beat.
    fn to_beat(&self) -> i64 {
        self.value[self.stage.tier]
    }

    /// Whether there is a plan, and so near a bound that what may be missing is little.
    fn is_near(&self, bound: i64) -> bool {
        let plan = self.best.is_some() || self.start.is_some();
        plan && self.to_beat().abs_diff(bound) <= self.to_beat().unsigned_abs() / LITTLE
    }

    /// Runs to the end or a stop: the bound, what plans as good as the best one may use, and why
    /// it stopped early.
    fn run(&mut self, allowed: Allowed) -> (i64, Allowed, Multipliers, Option<Stop>) {
        let zero = Multipliers::zero(self.stage.sets.len(), self.stage.tier);
        let mut root = Node {
            bound: i64::MIN,
            depth: 0,
            number: 0,
            allowed: allowed.clone(),
            multipliers: self.known.clone().unwrap_or(zero),
            held: 0,
            basis: self.master.as_ref().and_then(Master::root),
        };
        let Some(mut relaxed) = self.relax(&root) else {
            // A pump that must be served has no column left.
            return (self.to_beat(), allowed, root.multipliers, None);
        };
        relaxed.bound = self.floor.into_iter().fold(relaxed.bound, i64::max);
        root.bound = relaxed.bound;
        if relaxed.bound < self.to_beat() {
            // Each of these looks at the control by itself.
            self.round(&relaxed, &root.allowed);
            self.round_by_part(&relaxed, &root.allowed);
            self.fewer_packs(&relaxed, &root.allowed);
            self.better_by_parts(&relaxed, &root.allowed);
            self.fewer_packs(&relaxed, &root.allowed);
        }
        self.tell(relaxed.bound, 1);
        let mut stopped = None;
        let mut open = BinaryHeap::new();
        let mut bound = relaxed.bound;
        if relaxed.bound < self.to_beat() {
            let mut dive = self.split(root, &relaxed, &mut open);
            while self.nodes < self.most_nodes {
                let no_room = self.no_room.then_some(Stop::Memory);
                if let Some(stop) = no_room.or_else(|| self.control.spent()) {
                    stopped = Some(stop);
                    open.extend(dive.take());
                    break;
                }
                // Dive as long as the dive is alive, then go back to the least bound.
                let popped = || open.pop().inspect(|node| self.control.let_go(node.held));
                let Some(node) = dive.take().or_else(popped) else {
                    break;
                };
                if node.bound >= self.to_beat() {
                    continue;
                }
                self.nodes += 1;
                if let Some(relaxed) = self.relax(&node) {
                    self.round(&relaxed, &node.allowed);
                    if self.nodes <= BETTERED {
                        self.round_by_part(&relaxed, &node.allowed);
                    }
                    if relaxed.bound < self.to_beat() {
                        dive = self.split(node, &relaxed, &mut open);
                    }
                }
                if self.nodes.is_multiple_of(16) {
                    let least = open.peek().map_or(self.to_beat(), |n| n.bound);
                    self.tell(least.min(self.to_beat()), open.len());
                }
            }
            self.control.let_go(open.iter().map(|node| node.held).sum());
            open.extend(dive);
            bound = open.iter().map(|n| n.bound).min().unwrap_or(self.to_beat());
        }
        let bound = bound.min(self.to_beat());
        let kept = self.keep(&allowed, &relaxed.multipliers);
        (bound, kept, relaxed.multipliers, stopped)
    }

    /// Searches once more from the root with cuts, in what the turns before have left: a better plan and a higher bound leave
    /// out more. The number of nodes.
    fn turn_with_cuts(&mut self, sought: &mut Sought, turn: usize) -> usize {
        sought.allowed = self.keep(&sought.allowed, &sought.multipliers);
        self.floor = self.floor.max(Some(sought.bound));
        let Some((cuts, program, known)) = self.cut(sought, turn) else { return 1 };
        let (instance, limits) = Cut::put_before(&cuts, self.stage);
        let first = self.stage.tier;
        let tier = first + cuts.len();
        let stage = Stage { instance: &instance, limits: &limits, tier, ..self.stage };
        let mut value = self.value.clone();
        value.splice(first..first, cuts.iter().map(Cut::limit));
        // Parts of a plan are bettered once, not in every turn.
        let whole = self.control.whole();
        let control = if turn == 0 { self.control } else { &whole };
        let mut search = Search::new(stage, &sought.allowed, value, self.aim, control);
        search.master = Some(Master::of(stage, program.rooted(), self.cost_step));
        search.start = self.best.clone().or_else(|| self.start.clone());
        search.known = Some(known);
        search.floor = self.floor;
        search.is_part = self.is_part;
        search.most_nodes = self.most_nodes;
        let (bound, kept, _, stopped) = search.run(sought.allowed.clone());
        sought.stopped = stopped;
        let closed = bound >= search.to_beat();
        if let Some(better) = search.best.take() {
            self.offer(better);
            sought.better.clone_from(&self.best);
        }
        let higher = bound > sought.bound;
        if higher {
            let proof = search.notes.proof(bound);
            sought.proof = proof.map(|proof| sought.proof_with_cuts(proof, &cuts, first));
            sought.bound = bound;
        }
        sought.whole = closed || sought.bound >= self.to_beat();
        // What is left out must follow from the proof, which an earlier turn may have found.
        sought.allowed = match higher && closed {
            true => kept,
            false => self.keep(&sought.allowed, &sought.multipliers),
        };
        search.nodes
    }

    /// Cuts of the root, round by round, with the linear program at its end and its multipliers; `None` where they close
    /// the goal, and without a program.
    fn cut(
        &self,
        sought: &mut Sought,
        turn: usize,
    ) -> Option<(Vec<Cut>, MasterProgram, Multipliers)> {
        let (first, to_beat) = (self.stage.tier, self.to_beat());
        let plan = self.best.as_ref().or(self.start.as_ref());
        let mut program = sought.program.clone()?.elsewhere(turn);
        let mut cuts: Vec<Cut> = Vec::new();
        let mut known = sought.multipliers.clone();
        let (mut best, mut rounds, mut idle_rounds) = (NOTHING, 0, 0);
        loop {
            let (instance, limits) = Cut::put_before(&cuts, self.stage);
            let tier = first + cuts.len();
            let stage = Stage { instance: &instance, limits: &limits, tier, ..self.stage };
            let mut master = Master::of(stage, program, self.cost_step);
            known.goals.resize(tier, 0);
            let (allowed, basis) = (&sought.allowed, master.root());
            let relaxed =
                master.relax(allowed, &known, basis.as_ref(), plan, to_beat, self.control);
            // Without it, a pump has no column left.
            let (peak, next) = relaxed.map_or((SCALE * i128::from(to_beat), known), |relaxed| {
                (relaxed.bound, relaxed.multipliers)
            });
            known = next;
            let bound = round_up(peak, self.cost_step).min(to_beat);
            if bound > sought.bound {
                let proof = RawProof::of_root(bound, &known, &sought.allowed.ranges);
                sought.proof = Some(sought.proof_with_cuts(proof, &cuts, first));
                sought.bound = bound;
            }
            if bound >= to_beat {
                sought.whole = true;
                let most = SCALE * i128::from(to_beat);
                if let Some(kept) = reduce(stage, &sought.allowed, &known, most, self.control) {
                    sought.allowed = kept;
                }
                return None;
            }
            // A round that gains little of what is missing is idle.
            let missing = SCALE * i128::from(to_beat) - peak;
            idle_rounds = if peak - best > missing / 50 { 0 } else { idle_rounds + 1 };
            best = best.max(peak);
            rounds += 1;
            let columns = sought.allowed.columns.iter().map(|columns| columns.len());
            self.control.spend((columns.sum::<usize>() * (2 * A_ROUND + cuts.len())) as u64);
            let over = self.control.spent().is_some();
            let patience = idle_rounds < IDLE_ROUNDS << (turn % 3)
                && rounds < MOST_CUT_ROUNDS
                && cuts.len() < MOST_CUTS;
            let fresh = match patience && !over {
                true => self.deepest(stage, &cuts, &sought.allowed, &mut master),
                false => Vec::new(),
            };
            // Cuts that cost nothing are dropped.
            let prices = known.goals[first..].iter().enumerate();
            let dropped: Vec<bool> =
                prices.map(|(at, price)| *price == 0 && master.is_slack(first + at)).collect();
            let more = !fresh.is_empty();
            let next = more.then(|| master.program.with_cuts(&dropped, &fresh)).flatten();
            let Some(next) = next else { return Some((cuts, master.program, known)) };
            program = next;
            let mut stays = dropped.iter().map(|dropped| !dropped);
            cuts.retain(|_| stays.next().unwrap_or(true));
            cuts.extend(fresh);
            let mut stays = iter::repeat_n(&false, first).chain(&dropped).map(|dropped| !dropped);
            known.goals.retain(|_| stays.next().unwrap_or(true));
        }
    }

    /// The deepest cuts that the present basis of the master leads to.
    fn deepest(
        &self,
        stage: Stage<'_>,
        cuts: &[Cut],
        allowed: &Allowed,
        master: &mut Master<'_>,
    ) -> Vec<Cut> {
        if !master.calculate_anew() {
            return Vec::new();
        }
        let (fractions, keys) = (master.fractions(), master.keys());
        let weighed = |line: &Line| Weighed::of(stage, &allowed.ranges, line, &keys);
        let broken = |line: Line| {
            let broken = weighed(&line).broken_by(&fractions)?;
            (broken > BROKEN).then_some((broken, line))
        };
        let mut lines: Vec<(f64, Line)> =
            master.lines().into_par_iter().filter_map(broken).collect();
        lines.sort_by(|(a, _), (b, _)| b.total_cmp(a));
        lines.truncate(2 * A_ROUND);
        let deep = |(broken, line): &(f64, Line)| {
            let cut = Cut::of(weighed(line), cuts, allowed)?;
            Some((broken / cut.length(), cut))
        };
        let mut deepest: Vec<(f64, Cut)> = lines.par_iter().filter_map(deep).collect();
        deepest.sort_by(|(a, _), (b, _)| b.total_cmp(a));
        deepest.into_iter().take(A_ROUND).map(|(_, cut)| cut).collect()
    }

    fn tell(&self, bound: i64, open: usize) {
        // A part's values would be mistaken for the whole's.
        if self.is_part {
            return;
        }
        self.control.tell(self.aim, self.stage.instance.pumps, self.to_beat(), bound, open);
    }

    /// The columns whose reduced cost leaves room for a plan as good as the best one.
    fn keep(&self, allowed: &Allowed, multipliers: &Multipliers) -> Allowed {
        self.reduce(allowed, multipliers, SCALE * i128::from(self.to_beat()))
            .unwrap_or_else(|| allowed.clone())
    }

    /// [`reduce()`] under this search's control.
    fn reduce(&self, allowed: &Allowed, multipliers: &Multipliers, most: i128) -> Option<Allowed> {
        reduce(self.stage, allowed, multipliers, most, self.control)
    }

    /// Column generation at a node: the best bound, and the relaxed plan behind it. `None` when
    /// the node holds no plan better than the best one.
    fn relax(&mut self, node: &Node) -> Option<Relaxed> {
        let root = node.number == 0;
        // What the climb has found by then is worth more as a plan than as a slightly better bound.
        let climbing = match root && !self.is_part {
            true => &self.control.tenths(7),
            false => self.control,
        };
        if self.master.is_some() {
            return self.relax_here(node, climbing);
        }
        let sample = root && self.can_sample();
        let start = if sample {
            self.sampled(&node.allowed, SAMPLE, climbing)
        } else {
            node.multipliers.clone()
        };
        let reach = if sample {
            NEAR / 4.0
        } else if root && self.known.is_some() {
            NEAR
        } else if start == Multipliers::zero(self.stage.sets.len(), self.stage.tier) {
            FAR
        } else {
            self.nearest()
        };
        let goal = Climb {
            stage: self.stage,
            allowed: &node.allowed,
            cost_step: self.cost_step,
            enough: self.to_beat(),
            scales: &self.scales,
        };
        let peak = goal.climb(start, reach, &mut self.pool, climbing)?;
        let bound = round_up(peak.bound, self.cost_step);
        self.notes.bound(node.number, bound, &peak.multipliers, &node.allowed.ranges);
        if bound >= self.to_beat() {
            return root.then(|| Relaxed {
                bound,
                multipliers: peak.multipliers,
                fractions: Vec::new(),
                basis: None,
            });
        }
        let fractions = if climbing.stop().is_some() {
            cheapest(self.stage, &node.allowed, &peak.multipliers, self.control)
        } else {
            goal.fractions(&peak, &self.pool, self.control)
        };
        Some(Relaxed { bound, multipliers: peak.multipliers, fractions, basis: None })
    }

    /// [`Search::relax`] by the master, where there is one.
    fn relax_here(&mut self, node: &Node, control: &Control<'_>) -> Option<Relaxed> {
        let to_beat = self.to_beat();
        let master = self.master.as_mut()?;
        let plan = self.best.as_ref().or(self.start.as_ref());
        let Node { allowed, multipliers, basis, .. } = node;
        let peak = master.relax(allowed, multipliers, basis.as_ref(), plan, to_beat, control)?;
        let bound = round_up(peak.bound, self.cost_step);
        self.notes.bound(node.number, bound, &peak.multipliers, &node.allowed.ranges);
        let fractions = match bound < to_beat {
            true if control.stop().is_some() => {
                cheapest(self.stage, allowed, &peak.multipliers, self.control)
            }
            true => master.fractions(),
            false if node.number == 0 => Vec::new(),
            false => return None,
        };
        Some(Relaxed { bound, multipliers: peak.multipliers, fractions, basis: peak.basis })
    }

    /// How exactly a sample's bound is worth knowing: a small part of what one pump costs.
    fn coarse(&self) -> i64 {
        let instance = self.stage.instance;
        let first = (0..instance.pumps).find(|&pump| !instance.blocks[pump].is_empty());
        first.map_or(1, |pump| instance.cost(self.stage.tier, pump, 0).abs() / 256)
    }

    /// The box in which the parts of a split search start: the wider the fewer blocks there are,
    /// since then a linear program costs little.
    fn nearest(&self) -> f64 {
        let blocks = u32::try_from(self.stage.instance.blocks.len()).unwrap_or(u32::MAX);
        (32.0 / f64::from(blocks.max(1))).powi(2).clamp(NEAR / 16.0, 1.0)
    }

    /// Whether multipliers can be had from a sample of the pumps: where there are many, and pieces are bought.
    fn can_sample(&self) -> bool {
        let instance = self.stage.instance;
        // What is bought can be bought for a part of the pumps as well.
        let bought = instance.tiers.iter().any(|tier| matches!(tier, CostRow::Bought(_)));
        bought && instance.pumps >= 4 * SAMPLE && self.known.is_none()
    }

    /// Multipliers from every fourth pump with a fourth of the stock, and so on down to about
    /// `least` pumps: a good place to start from.
    fn sampled(&mut self, allowed: &Allowed, least: usize, control: &Control<'_>) -> Multipliers {
        let pumps = self.stage.instance.pumps;
        let mut every = 1;
        while pumps / (every * 4) >= least {
            every *= 4;
        }
        let mut start = Multipliers::zero(self.stage.sets.len(), self.stage.tier);
        let mut reach = FAR;
        let none: Arc<Vec<u32>> = Arc::default();
        while every > 1 {
            let share = |count: i64| count / i64::try_from(every).unwrap_or(i64::MAX);
            let mut part = allowed.clone();
            for pump in (0..pumps).filter(|pump| pump % every != 0) {
                part.columns[pump] = Arc::clone(&none);
                part.idle[pump] = true;
            }
            for range in &mut part.ranges {
                range.least = share(range.least);
                range.most = range.most.map(share);
            }
            let limits: Vec<i64> = self.stage.limits.iter().map(|&limit| share(limit)).collect();
            let goal = Climb {
                stage: Stage { limits: &limits, ..self.stage },
                allowed: &part,
                cost_step: self.cost_step.max(self.coarse()),
                enough: i64::MAX,
                scales: &self.scales,
            };
            if let Some(peak) = goal.climb(start.clone(), reach, &mut self.pool, control) {
                start = peak.multipliers;
                // The larger the sample, the nearer it came.
                reach = NEAR / 4.0;
            }
            every /= 4;
        }
        start
    }

    /// Splits a node in two where the relaxed plan is most undecided. Returns the half to go on
    /// with and leaves the other one open.
    fn split(
        &mut self,
        node: Node,
        relaxed: &Relaxed,
        open: &mut BinaryHeap<Node>,
    ) -> Option<Node> {
        let most = SCALE * i128::from(self.to_beat() - self.cost_step);
        let allowed = self.reduce(&node.allowed, &relaxed.multipliers, most)?;
        let Some(halves) = halves(self.stage, &allowed, &relaxed.fractions) else {
            // One choice a pump is left: it is a plan or it is none.
            self.offer_only(&allowed);
            return None;
        };
        let [first, second] = [self.nodes + 1, self.nodes + 2];
        let numbers = if halves.holds_first { [second, first] } else { [first, second] };
        self.notes.split(node.number, halves.rule, numbers);
        let mut children = halves.parts.into_iter().map(|allowed| {
            self.nodes += 1;
            Node {
                bound: relaxed.bound.max(node.bound),
                depth: node.depth + 1,
                number: self.nodes,
                allowed,
                multipliers: relaxed.multipliers.clone(),
                held: 0,
                basis: relaxed.basis.clone(),
            }
        });
        let first = children.next();
        let rest: Vec<Node> = children.collect();
        for mut node in rest {
            // Without room for it the search ends, and its bound still counts.
            let bytes = node.bytes();
            match self.control.keep(bytes) {
                Ok(()) => node.held = bytes,
                Err(_) => self.no_room = true,
            }
            open.push(node);
        }
        first
    }

    /// Whether plans are bettered by chains of exchanges, and not part by part: those look at this goal only, and at blocks
    /// that take pieces.
    fn has_chains(&self) -> bool {
        self.aim == Objective::Waste && self.master.is_some()
    }

    /// Makes a whole plan of a relaxed one and keeps it if it is better.
    fn round(&mut self, relaxed: &Relaxed, allowed: &Allowed) {
        if self.control.stop().is_some() {
            return;
        }
        let instance = self.stage.instance;
        let mut left = instance.capacity.clone();
        let mut taken: Assignment = vec![None; instance.blocks.len()];
        supply(self.stage, allowed, &relaxed.fractions, &mut taken, &mut left);
        let mut wanted = relaxed.fractions.clone();
        wanted.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        for ((pump, column), _) in wanted {
            let uses = &instance.column(pump, column).uses;
            if taken[pump].is_none() && fits(&left, uses) {
                take(&mut left, uses);
                taken[pump] = Some(column);
            }
        }
        let prices = self.stage.prices(&relaxed.multipliers, &allowed.ranges);
        let ranking = Ranking::new(self.stage, &prices, allowed);
        mend(&ranking, &mut taken, &mut left, self.control);
        self.offer(taken.clone());
        refine(&ranking, &mut taken, &mut left, self.control);
        self.offer(taken.clone());
        if self.has_chains() && self.nodes <= BETTERED {
            exchange(self.stage, allowed, &mut taken, &mut left, self.control);
            self.offer(taken);
        }
    }

    /// Holds the blocks that the relaxed plan takes whole, and searches for the rest.
    fn round_by_part(&mut self, relaxed: &Relaxed, allowed: &Allowed) {
        let instance = self.stage.instance;
        if self.is_part
            || !self.control.by_parts
            || instance.pumps <= PART
            || self.has_chains()
            || relaxed.bound >= self.to_beat()
        {
            return;
        }
        let prices = self.stage.prices(&relaxed.multipliers, &allowed.ranges);
        let Ok(Some(priced)) = self.stage.price(&prices, allowed, self.control) else {
            return;
        };
        let mut base: Assignment = vec![None; instance.blocks.len()];
        for ((block, column), share) in &relaxed.fractions {
            if *share > 1.0 - 1e-6 {
                base[*block] = Some(*column);
            }
        }
        // With the undecided ones go those that could do something else at the least cost.
        let second = |pump: usize| {
            let held = base[pump];
            let columns = allowed.columns[pump].iter().filter(|c| Some(**c) != held);
            let reduced = columns.map(|&column| self.stage.reduced(&prices, pump, column));
            reduced.min().map(|least| least - priced.cheapest[pump].0)
        };
        let mut pace = Pace::of(self.control);
        let mut easy: Vec<(i128, usize)> = (0..instance.pumps)
            .filter(|&pump| base[pump].is_some())
            .take_while(|&pump| pace.stop(allowed.columns[pump].len()).is_none())
            .filter_map(|pump| Some((second(pump)?, pump)))
            .collect();
        if pace.stop(0).is_some() {
            return;
        }
        easy.sort_unstable();
        let undecided = (0..instance.pumps).filter(|&pump| base[pump].is_none());
        let mut free: Vec<usize> = undecided.collect();
        free.extend(easy.iter().map(|(_, pump)| *pump).take(2 * PART));
        free.extend(instance.pumps..instance.blocks.len());
        free.sort_unstable();
        self.search_part(&free, &base, &prices, &priced, allowed);
    }

    /// Betters the best plan part by part: some pumps are set free, the others keep what they
    /// have, and the part is searched by itself. Parts are made of the pumps whose columns cost
    /// most beyond what the bound allows them.
    fn better_by_parts(&mut self, relaxed: &Relaxed, allowed: &Allowed) {
        let instance = self.stage.instance;
        let pumps = instance.pumps;
        if self.is_part || pumps <= PART || !self.control.by_parts || self.has_chains() {
            return;
        }
        let prices = self.stage.prices(&relaxed.multipliers, &allowed.ranges);
        let Ok(Some(priced)) = self.stage.price(&prices, allowed, self.control) else {
            return;
        };
        let mut idle_rounds = 0;
        for round in 0..MOST_PARTS {
            let Some(best) = self.best.clone().or_else(|| self.start.clone()) else {
                return;
            };
            if relaxed.bound >= self.to_beat() || self.control.spent().is_some() {
                return;
            }
            let beyond = |pump: usize| {
                let reduced = best[pump].map_or(0, |c| self.stage.reduced(&prices, pump, c));
                reduced - priced.cheapest[pump].0
            };
            let mut order: Vec<(i128, usize)> = (0..pumps).map(|p| (-beyond(p), p)).collect();
            order.sort_unstable();
            // Half of the part are the worst pumps, half move through all of them.
            let worst = order.iter().take(PART / 2).map(|(_, p)| *p);
            let wandering = (0..PART / 2).map(|k| order[(round * PART / 2 + k * 7) % pumps].1);
            let mut free: Vec<usize> = worst.chain(wandering).collect();
            // The suppliers answer to whatever the part comes to.
            free.extend(pumps..instance.blocks.len());
            free.sort_unstable();
            free.dedup();
            let before = self.to_beat();
            self.search_part(&free, &best, &prices, &priced, allowed);
            idle_rounds = if self.to_beat() < before { 0 } else { idle_rounds + 1 };
            // Where little is left to gain, splitting the search gains it sooner.
            let near = self.to_beat() - relaxed.bound <= self.to_beat().abs() / 100_000;
            let patience = if near { 4 } else { 3 * pumps.div_ceil(PART / 2) };
            if idle_rounds >= patience {
                return;
            }
        }
    }

    /// Betters what is bought pack by pack: a supplier sells less, now and then another one more, and
    /// the pumps that lose their pieces find others. Only for the goal of buying cheaply.
    fn fewer_packs(&mut self, relaxed: &Relaxed, allowed: &Allowed) {
        let instance = self.stage.instance;
        if self.is_part || !matches!(instance.tiers[self.stage.tier], CostRow::Bought(_)) {
            return;
        }
        let prices = self.stage.prices(&relaxed.multipliers, &allowed.ranges);
        let suppliers = instance.pumps..instance.blocks.len();
        let tier = self.stage.tier;
        let cost = |supplier: usize, at: usize| {
            let column = allowed.columns[supplier][at];
            instance.cost(tier, supplier, column)
        };
        loop {
            let Some(best) = self.best.clone().or_else(|| self.start.clone()) else {
                return;
            };
            let before = self.to_beat();
            let at = |supplier: usize| {
                let held = best[supplier]?;
                allowed.columns[supplier].binary_search(&held).ok()
            };
            // What a supplier sells less, by one step and down to nothing, dearest first.
            let mut less: Vec<(i64, usize, usize)> = Vec::new();
            for supplier in suppliers.clone() {
                let Some(held) = at(supplier) else { continue };
                let saves = |to: usize| cost(supplier, held) - cost(supplier, to);
                let lower = (0..held).filter(|&to| to == 0 || to + 1 == held);
                let lower = lower.filter(|&to| saves(to) > 0);
                less.extend(lower.map(|to| (-saves(to), supplier, to)));
            }
            less.sort_unstable();
            let mut tries = Vec::new();
            for &(saves, supplier, to) in &less {
                tries.push((saves, supplier, to, None));
                for other in suppliers.clone().filter(|&other| other != supplier) {
                    let Some(held) = at(other) else { continue };
                    if held + 1 >= allowed.columns[other].len() {
                        continue;
                    }
                    let more = cost(other, held + 1) - cost(other, held);
                    if saves + more < 0 {
                        tries.push((saves + more, supplier, to, Some((other, held + 1))));
                    }
                }
            }
            tries.sort_unstable();
            for (_, supplier, to, other) in tries {
                if self.control.stop().is_some() {
                    return;
                }
                let mut taken = best.clone();
                taken[supplier] = Some(allowed.columns[supplier][to]);
                if let Some((other, to)) = other {
                    taken[other] = Some(allowed.columns[other][to]);
                }
                let mut left = instance.left(&taken);
                for pump in (0..instance.pumps).rev() {
                    let Some(column) = taken[pump] else { continue };
                    let uses = &instance.column(pump, column).uses;
                    let overdrawn = |&(item, _): &(u16, i16)| left[usize::from(item)] < 0;
                    if uses.iter().any(overdrawn) {
                        put_back(&mut left, uses);
                        taken[pump] = None;
                    }
                }
                // Not by selling more again.
                let mut held = allowed.clone();
                for supplier in suppliers.clone() {
                    held.columns[supplier] = Arc::new(taken[supplier].into_iter().collect());
                }
                let ranking = Ranking::new(self.stage, &prices, &held);
                mend(&ranking, &mut taken, &mut left, self.control);
                self.offer(taken);
                if self.to_beat() < before {
                    break;
                }
            }
            if self.to_beat() >= before || relaxed.bound >= self.to_beat() {
                return;
            }
        }
    }

    /// Searches one part, the other blocks held to what `base` says.
    fn search_part(
        &mut self,
        free: &[usize],
        base: &Assignment,
        prices: &Prices,
        priced: &Priced,
        allowed: &Allowed,
    ) {
        let instance = self.stage.instance;
        let room = SCALE * i128::from(self.to_beat()) - priced.bound;
        let mut held = base.clone();
        for &block in free {
            held[block] = None;
        }
        let kept: Vec<Vec<u32>> = free
            .iter()
            .map(|&block| {
                let beyond = |column: u32| {
                    self.stage.reduced(prices, block, column) - priced.cheapest[block].0
                };
                let columns = allowed.columns[block].iter();
                let near = columns.map(|&column| (beyond(column), column));
                let mut near: Vec<(i128, u32)> = near.filter(|(b, _)| *b <= room).collect();
                near.sort_unstable();
                near.truncate(PART_COLUMNS);
                let mut kept: Vec<u32> = near.into_iter().map(|(_, column)| column).collect();
                kept.extend(base[block].filter(|column| !kept.contains(column)));
                kept.sort_unstable();
                kept
            })
            .collect();
        let part = Instance {
            capacity: instance.left(&held),
            classes: instance.classes.clone(),
            pumps: free.iter().filter(|&&block| block < instance.pumps).count(),
            blocks: Arc::new(
                free.iter()
                    .zip(&kept)
                    .map(|(&p, kept)| kept.iter().map(|&c| instance.column(p, c).clone()).collect())
                    .collect(),
            ),
            tiers: instance
                .tiers
                .iter()
                .map(|tier| match tier {
                    CostRow::Served(gain) => {
                        CostRow::Served(free.iter().filter_map(|&p| gain.get(p).copied()).collect())
                    }
                    CostRow::Bought(asked) => {
                        let suppliers = free.iter().zip(&kept);
                        let asked = suppliers.filter_map(|(&block, kept)| {
                            let asked = &asked[block.checked_sub(instance.pumps)?];
                            Some(kept.iter().map(|&column| asked[column as usize]).collect())
                        });
                        CostRow::Bought(Arc::new(asked.collect()))
                    }
                    CostRow::Listed(costs) => {
                        let blocks = free.iter().zip(&kept).map(|(&block, kept)| {
                            kept.iter().map(|&c| listed(costs, block, c as usize)).collect()
                        });
                        CostRow::Listed(Arc::new(blocks.collect()))
                    }
                    cost => cost.clone(),
                })
                .collect(),
        };
        let others = instance.value(&held);
        let limits: Vec<i64> =
            self.stage.limits.iter().zip(&others).map(|(limit, held)| limit - held).collect();
        let stage = Stage { instance: &part, limits: &limits, ..self.stage };
        let start: Assignment = free
            .iter()
            .zip(&kept)
            .map(|(&pump, kept)| {
                let at = kept.binary_search(&base[pump]?).ok()?;
                u32::try_from(at).ok()
            })
            .collect();
        let beat = self.value.iter().zip(&others).map(|(all, held)| all - held);
        let mut whole = Allowed::all(&part);
        for (idle, &block) in whole.idle.iter_mut().zip(free) {
            *idle = allowed.idle[block];
        }
        let mut search = Search::new(stage, &whole, beat.collect(), self.aim, self.control);
        search.put_in_pool(&start);
        search.is_part = true;
        search.notes = Notes::none();
        search.most_nodes = PART_NODES;
        search.run(whole);
        if let Some(found) = search.best {
            let mut taken = held;
            for ((&pump, kept), found) in free.iter().zip(&kept).zip(found) {
                taken[pump] = found.map(|c| kept[c as usize]);
            }
            self.offer(taken);
        }
    }

    /// Offers the only plan that is left, if its pieces are there.
    fn offer_only(&mut self, allowed: &Allowed) {
        self.offer(allowed.columns.iter().map(|c| c.first().copied()).collect());
    }

    /// Takes a plan as the best one if it keeps the earlier goals and is better, and overdraws
    /// nothing: in a part the suppliers may put in less than the pumps held outside it take.
    fn offer(&mut self, taken: Assignment) {
        // Most are no better, which this one value tells.
        if self.stage.instance.value_on(self.stage.tier, &taken) > self.to_beat() {
            return;
        }
        let left = self.stage.instance.left(&taken);
        if left.iter().any(|&left| left < 0) {
            return;
        }
        let value = self.stage.instance.value(&taken);
        let keeps = value.iter().zip(self.stage.limits).all(|(value, limit)| value <= limit);
        if keeps && value[self.stage.tier..] < self.value[self.stage.tier..] {
            self.put_in_pool(&taken);
            self.best = Some(taken);
            self.value = value;
        }
    }
}

/// Drops every column that lifts the bound above `most` (in 1/SCALE); `None` if that leaves
/// a pump nothing to take. Where the control stops it, some columns stay that might have gone.
pub(super) fn reduce(
    stage: Stage<'_>,
    allowed: &Allowed,
    multipliers: &Multipliers,
    most: i128,
    control: &Control<'_>,
) -> Option<Allowed> {
    let prices = stage.prices(multipliers, &allowed.ranges);
    let Ok(priced) = stage.price(&prices, allowed, control) else {
        return Some(allowed.clone());
    };
    let priced = priced?;
    let room = most - priced.bound;
    if room < 0 {
        return None;
    }
    let mut kept = allowed.clone();
    let mut pace = Pace::of(control);
    for (pump, (cheapest, _)) in priced.cheapest.iter().enumerate() {
        if pace.stop(allowed.columns[pump].len()).is_some() {
            break;
        }
        let affordable = |reduced: i128| reduced - cheapest <= room;
        kept.idle[pump] = allowed.idle[pump] && affordable(0);
        let columns = &allowed.columns[pump];
        let rough = Rough::of(stage, &prices, pump, columns);
        let stays = |(at, column): &(usize, u32)| {
            rough.is_at_most(*at, cheapest + room, || stage.reduced(&prices, pump, *column))
        };
        let few = columns.iter().copied().enumerate().filter(stays);
        let few: Vec<u32> = few.map(|(_, column)| column).collect();
        if few.len() < columns.len() {
            kept.columns[pump] = Arc::new(few);
        }
    }
    Some(kept)
}

/// The plan in which each block takes what is cheapest for it, for when there is no time for more.
fn cheapest(
    stage: Stage<'_>,
    allowed: &Allowed,
    multipliers: &Multipliers,
    control: &Control<'_>,
) -> Vec<(Entry, f64)> {
    let prices = stage.prices(multipliers, &allowed.ranges);
    let Ok(Some(priced)) = stage.price(&prices, allowed, control) else {
        return Vec::new();
    };
    let blocks = priced.cheapest.into_iter().enumerate();
    blocks.filter_map(|(block, (_, column))| Some(((block, column?), 1.0))).collect()
}

/// The greatest common divisor of the costs of a goal, over the columns that are allowed.
pub(super) fn cost_step(instance: &Instance, tier: usize, allowed: &Allowed) -> i64 {
    let mut grain = 0;
    for (pump, columns) in allowed.columns.iter().enumerate() {
        for &column in columns.iter() {
            grain = gcd(grain, instance.cost(tier, pump, column).abs());
            if grain == 1 {
                return 1;
            }
        }
    }
    grain.max(1)
}

/// Splits what is allowed in two where the relaxed plan is most undecided.
///
/// Totals come first, since a bound hardly moves when one pump of many is told what to do: how
/// many pieces of a class all pumps take together, then how many of one item. After that, the
/// pump and item that are most evenly undecided; and where the relaxed plan is whole, the pump
/// with the most left to choose from is halved. `None` if nothing can be split.
fn halves(stage: Stage<'_>, allowed: &Allowed, fractions: &[(Entry, f64)]) -> Option<Halves> {
    let instance = stage.instance;
    packs(stage, allowed, fractions)
        .or_else(|| totals(stage, allowed, fractions))
        .or_else(|| {
            let (pump, taken) = undecided(instance, fractions)?;
            halve_by(instance, allowed, pump, taken)
        })
        .or_else(|| widest(instance, allowed))
}

/// Two halves of what is allowed, the one to go on with first.
struct Halves {
    parts: [Allowed; 2],
    /// Rule that tells them apart, and whether it holds in the first.
    rule: Rule,
    holds_first: bool,
}

/// Splits on the packs that one supplier sells, where packs are bought: the one whose undecided pack costs
/// most.
fn packs(stage: Stage<'_>, allowed: &Allowed, fractions: &[(Entry, f64)]) -> Option<Halves> {
    let instance = stage.instance;
    let tiers = &instance.tiers[..=stage.tier];
    let prices = tiers.iter().find_map(|tier| match tier {
        CostRow::Bought(prices) => Some(prices),
        _ => None,
    })?;
    let mut best: Option<(f64, usize, f64)> = None;
    let mut from = fractions.partition_point(|((block, _), _)| *block < instance.pumps);
    while from < fractions.len() {
        let supplier = fractions[from].0.0;
        let to = from + fractions[from..].partition_point(|((t, _), _)| *t == supplier);
        let shares = &fractions[from..to];
        from = to;
        let asked = &prices[supplier - instance.pumps];
        let spent: f64 =
            shares.iter().map(|((_, column), share)| to_f64(asked[*column as usize]) * share).sum();
        // Columns ascend by price, which only rises when another pack is bought.
        let columns = &allowed.columns[supplier];
        let above = columns.partition_point(|&c| to_f64(asked[c as usize]) <= spent + 1e-3);
        let (Some(&below), Some(&next)) =
            (above.checked_sub(1).and_then(|at| columns.get(at)), columns.get(above))
        else {
            continue;
        };
        let (low, high) = (to_f64(asked[below as usize]), to_f64(asked[next as usize]));
        let open = (spent - low).min(high - spent);
        if open > 1e-3 * (high - low).max(1.0) && best.is_none_or(|(most, ..)| open > most) {
            best = Some((open, supplier, if spent - low < high - spent { low } else { -low }));
        }
    }
    let (_, supplier, edge) = best?;
    let asked = &prices[supplier - instance.pumps];
    let keeps = |column: Option<u32>| {
        column.is_some_and(|c| to_f64(asked[c as usize]) <= edge.abs() + 1e-3)
    };
    let halves = halve(allowed, supplier, Box::new(keeps))?;
    // Go on with the nearer side.
    let parts = if edge.is_sign_negative() {
        let [low, high] = halves;
        [high, low]
    } else {
        halves
    };
    Some(Halves { parts, rule: Rule::Other, holds_first: true })
}

/// Splits on the total of a class or, if those are whole, of an item.
fn totals(stage: Stage<'_>, allowed: &Allowed, fractions: &[(Entry, f64)]) -> Option<Halves> {
    let instance = stage.instance;
    let mut uses = vec![0.0; instance.capacity.len()];
    for ((pump, column), value) in fractions {
        for &(item, count) in &instance.column(*pump, *column).uses {
            uses[usize::from(item)] += value * f64::from(count);
        }
    }
    let singles = instance.capacity.len();
    let total = |set: &Vec<u32>| set.iter().map(|&item| uses[item as usize]).sum::<f64>();
    let undecided = |from: usize, to: usize| {
        (from..to)
            .map(|set| (set, total(&stage.sets[set])))
            .map(|(set, total)| (set, total, (total - total.round()).abs()))
            .filter(|(_, _, off)| *off > 1e-5)
            .filter(|(set, total, _)| within(allowed.ranges[*set], *total))
            .reduce(|best, next| if next.2 > best.2 + 1e-9 { next } else { best })
    };
    let (set, total, _) = undecided(singles, stage.sets.len()).or_else(|| undecided(0, singles))?;
    let floor = floor(total);
    let range = allowed.ranges[set];
    let mut below = allowed.clone();
    below.ranges[set] = Range { most: Some(floor), ..range };
    let mut above = allowed.clone();
    above.ranges[set] = Range { least: floor + 1, ..range };
    // Go on with the nearer side.
    let holds_first = total - total.floor() >= 0.5;
    let parts = if holds_first { [above, below] } else { [below, above] };
    Some(Halves { parts, rule: Rule::MoreThan(set, floor), holds_first })
}

/// Whether a range can be split at a total.
fn within(range: Range, total: f64) -> bool {
    total.floor() >= to_f64(range.least)
        && range.most.is_none_or(|most| total.floor() < to_f64(most))
}

/// Item and count that part the columns of a pump; `None` parts served from not.
type Taken = Option<(u16, i16)>;

/// Which columns of a pump go into the first half.
type Keeps<'a> = Box<dyn Fn(Option<u32>) -> bool + 'a>;

fn undecided(instance: &Instance, fractions: &[(Entry, f64)]) -> Option<(usize, Taken)> {
    let mut best: Option<(f64, (usize, Taken))> = None;
    let mut from = 0;
    while from < fractions.len() {
        let pump = fractions[from].0.0;
        let to = from + fractions[from..].partition_point(|((p, _), _)| *p == pump);
        let mine = &fractions[from..to];
        from = to;
        let mass: f64 = mine.iter().map(|(_, value)| value).sum();
        let mut consider = |share: f64, rule: Taken| {
            let evenness = share.min(1.0 - share);
            if evenness > 1e-6 && best.is_none_or(|(most, _)| evenness > most + 1e-9) {
                best = Some((evenness, (pump, rule)));
            }
        };
        // Served or not at all.
        consider(mass, None);
        let counts: BTreeSet<(u16, i16)> = mine
            .iter()
            .flat_map(|((_, c), _)| instance.column(pump, *c).uses.iter().copied())
            .collect();
        for (item, count) in counts {
            let share: f64 = mine
                .iter()
                .filter(|((_, c), _)| uses_at_least(instance, pump, *c, item, count))
                .map(|(_, value)| value)
                .sum();
            consider(share, Some((item, count)));
        }
    }
    best.map(|(_, rule)| rule)
}

/// Splits one pump's columns by what they take.
fn halve_by(instance: &Instance, allowed: &Allowed, pump: usize, taken: Taken) -> Option<Halves> {
    let keeps = |column: Option<u32>| {
        column.is_some_and(|c| {
            taken.is_none_or(|(item, count)| uses_at_least(instance, pump, c, item, count))
        })
    };
    let parts = halve(allowed, pump, Box::new(keeps))?;
    Some(Halves { parts, rule: Rule::Takes(pump, taken), holds_first: true })
}

fn uses_at_least(instance: &Instance, pump: usize, column: u32, item: u16, count: i16) -> bool {
    instance.column(pump, column).uses.iter().any(|&(i, n)| i == item && n >= count)
}

/// Splits one pump's columns by a rule; `None` if one half would hold everything.
fn halve(allowed: &Allowed, pump: usize, keeps: Keeps<'_>) -> Option<[Allowed; 2]> {
    let (first, second): (Vec<u32>, Vec<u32>) =
        allowed.columns[pump].iter().partition(|&&column| keeps(Some(column)));
    let idle = allowed.idle[pump];
    let idle_first = idle && keeps(None);
    let idle_second = idle && !idle_first;
    if (first.is_empty() && !idle_first) || (second.is_empty() && !idle_second) {
        return None;
    }
    let half = |columns: Vec<u32>, idle: bool| {
        let mut half = allowed.clone();
        half.columns[pump] = Arc::new(columns);
        half.idle[pump] = idle;
        half
    };
    Some([half(first, idle_first), half(second, idle_second)])
}

/// Halves the choice of the pump that has the most: by what half of its columns take, as evenly as can be.
fn widest(instance: &Instance, allowed: &Allowed) -> Option<Halves> {
    let choices = |pump: usize| allowed.columns[pump].len() + usize::from(allowed.idle[pump]);
    let pump = (0..allowed.columns.len()).max_by_key(|&pump| (choices(pump), Reverse(pump)))?;
    if choices(pump) < 2 {
        return None;
    }
    let columns = &allowed.columns[pump];
    let counts: BTreeSet<(u16, i16)> =
        columns.iter().flat_map(|&c| instance.column(pump, c).uses.iter().copied()).collect();
    let parts = |&(item, count): &(u16, i16)| {
        let with = columns.iter().filter(|&&c| uses_at_least(instance, pump, c, item, count));
        let with = with.count();
        with.min(columns.len() - with)
    };
    let most_even = counts.into_iter().max_by_key(|taken| (parts(taken), Reverse(*taken)));
    // A single column is split from taking none.
    let taken = most_even.filter(|_| columns.len() > 1);
    halve_by(instance, allowed, pump, taken).or_else(|| {
        // Columns that take the same are alike but for their waste.
        let middle = columns.get(columns.len() / 2).copied();
        let keeps = move |column: Option<u32>| column.is_some() && column < middle;
        let parts = halve(allowed, pump, Box::new(keeps))?;
        Some(Halves { parts, rule: Rule::Other, holds_first: true })
    })
}
