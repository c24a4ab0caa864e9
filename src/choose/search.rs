//! Branch and price for one goal: exact bounds, columns priced in as they are needed.
//!
//! Every node is closed by an exact integer bound or split; the linear programs only say where
//! to look. What the search returns as a bound is therefore proven whatever the backend did.

use std::cmp::Reverse;
use std::collections::{BTreeSet, BinaryHeap};
use std::sync::Arc;

use crate::choose::bound::{Allowed, Multipliers, Priced, Prices, Range, SCALE, Stage, round_up};
use crate::choose::instance::{Instance, Taken, Tier, fits, take};
use crate::choose::mending::{Ranking, mend, refine};
use crate::choose::relaxation::{self, Entry};
use crate::choose::watch::Watch;
use crate::plan::{Aim, Stop};

/// What a search for one goal comes to.
#[derive(Debug, Clone)]
pub struct Closed {
    /// The best plan found.
    pub taken: Taken,
    /// No plan that keeps the earlier goals has a smaller cost.
    pub bound: i64,
    /// The columns that plans as good as this one may use.
    pub allowed: Allowed,
    /// Why the search ended before bound and value met.
    pub stopped: Option<Stop>,
}

/// Rounds of column generation after which a node is split even if columns still price in.
const MOST_ROUNDS: usize = 200;
/// Columns that one pump may add in one round.
const COLUMNS_A_ROUND: usize = 3;
/// Pumps in a part that is searched by itself.
const PART: usize = 24;
/// Nodes that the search of a part may take.
const PART_NODES: usize = 40;
/// Parts that are tried at most.
const MOST_PARTS: usize = 1000;

/// Searches one goal to its proof, from a plan that keeps the earlier goals.
pub fn close(
    stage: Stage<'_>,
    allowed: Allowed,
    incumbent: Taken,
    aim: Aim,
    watch: &Watch<'_>,
) -> Closed {
    let value = stage.instance.value(&incumbent);
    let mut search = Search::new(stage, value, aim, watch);
    search.put_in_pool(&incumbent);
    let (bound, allowed, stopped) = search.run(allowed);
    Closed {
        taken: search.best.unwrap_or(incumbent),
        bound,
        allowed,
        stopped,
    }
}

/// A plan that keeps the earlier goals and comes to at most `most` on this one, if there is one
/// within what is allowed.
///
/// # Errors
/// Why the search ended before that was known.
pub fn reach(
    stage: Stage<'_>,
    allowed: Allowed,
    most: i64,
    aim: Aim,
    watch: &Watch<'_>,
) -> Result<Option<Taken>, Stop> {
    let mut value = stage.limits.to_vec();
    value.push(most);
    let mut search = Search::new(stage, value, aim, watch);
    // Whatever reaches `most` is better than one step above it.
    search.value[stage.tier] += search.grain;
    search.any_will_do = true;
    let (_, _, stopped) = search.run(allowed);
    match (search.best, stopped) {
        (None, Some(stop)) => Err(stop),
        (best, _) => Ok(best),
    }
}

/// A part of the search space that is still open.
struct Node {
    bound: i64,
    depth: usize,
    number: usize,
    allowed: Allowed,
    multipliers: Multipliers,
}

impl Node {
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

/// What relaxing a node gives.
struct Relaxed {
    bound: i64,
    multipliers: Multipliers,
    fractions: Vec<(Entry, f64)>,
}

struct Search<'a> {
    stage: Stage<'a>,
    aim: Aim,
    watch: &'a Watch<'a>,
    /// Every cost of this goal is a multiple of this.
    grain: i64,
    best: Option<Taken>,
    /// The value to beat on every goal from this one on.
    value: Vec<i64>,
    /// Whether to end with the first plan that is better.
    any_will_do: bool,
    /// Whether this is the search of a part of a larger one.
    is_part: bool,
    /// Nodes after which the search ends.
    most_nodes: usize,
    /// The columns that a linear program has ever asked for.
    pool: BTreeSet<Entry>,
    nodes: usize,
}

impl<'a> Search<'a> {
    fn new(stage: Stage<'a>, value: Vec<i64>, aim: Aim, watch: &'a Watch<'a>) -> Search<'a> {
        Search {
            stage,
            aim,
            watch,
            grain: grain(stage.instance, stage.tier),
            best: None,
            value,
            any_will_do: false,
            is_part: false,
            most_nodes: usize::MAX,
            pool: BTreeSet::new(),
            nodes: 0,
        }
    }

    fn put_in_pool(&mut self, taken: &Taken) {
        let entries = taken
            .iter()
            .enumerate()
            .filter_map(|(pump, column)| Some((pump, (*column)?)));
        self.pool.extend(entries);
    }

    /// The value to beat.
    fn to_beat(&self) -> i64 {
        self.value[self.stage.tier]
    }

    /// Runs to the end or a stop: the bound, what plans as good as the best one may use, and why
    /// it stopped early.
    fn run(&mut self, allowed: Allowed) -> (i64, Allowed, Option<Stop>) {
        let zero = Multipliers::zero(self.stage.sets.len(), self.stage.tier);
        let mut root = Node {
            bound: i64::MIN,
            depth: 0,
            number: 0,
            allowed: allowed.clone(),
            multipliers: zero,
        };
        let Some(relaxed) = self.relax(&root) else {
            // A pump that must be served has no column left.
            return (self.to_beat(), allowed, None);
        };
        root.bound = relaxed.bound;
        if relaxed.bound < self.to_beat() {
            self.round(&relaxed, &root.allowed);
            self.better_by_parts(&relaxed, &root.allowed);
        }
        self.tell(relaxed.bound, 1);
        let mut stopped = None;
        let mut open = BinaryHeap::new();
        let mut bound = relaxed.bound;
        if relaxed.bound < self.to_beat() {
            let mut dive = self.split(root, &relaxed, &mut open);
            while !(self.any_will_do && self.best.is_some()) && self.nodes < self.most_nodes {
                if let Some(stop) = self.watch.stop() {
                    stopped = Some(stop);
                    open.extend(dive.take());
                    break;
                }
                // Dive as long as the dive is alive, then go back to the least bound.
                let Some(node) = dive.take().or_else(|| open.pop()) else {
                    break;
                };
                if node.bound >= self.to_beat() {
                    continue;
                }
                self.nodes += 1;
                if let Some(relaxed) = self.relax(&node) {
                    self.round(&relaxed, &node.allowed);
                    if relaxed.bound < self.to_beat() {
                        dive = self.split(node, &relaxed, &mut open);
                    }
                }
                if self.nodes.is_multiple_of(16) {
                    let least = open.peek().map_or(self.to_beat(), |n| n.bound);
                    self.tell(least.min(self.to_beat()), open.len());
                }
            }
            open.extend(dive);
            bound = open.iter().map(|n| n.bound).min().unwrap_or(self.to_beat());
        }
        let bound = bound.min(self.to_beat());
        let kept = self.keep(&allowed, &relaxed.multipliers);
        (bound, kept, stopped)
    }

    fn tell(&self, bound: i64, open: usize) {
        self.watch.tell(
            self.aim,
            self.stage.instance.pumps.len(),
            self.to_beat(),
            bound,
            open,
        );
    }

    /// The columns whose reduced cost leaves room for a plan as good as the best one.
    fn keep(&self, allowed: &Allowed, multipliers: &Multipliers) -> Allowed {
        self.reduce(allowed, multipliers, SCALE * i128::from(self.to_beat()))
            .unwrap_or_else(|| allowed.clone())
    }

    /// Drops every column that lifts the bound above `most` (in 1/SCALE); `None` if that leaves
    /// a pump nothing to take.
    fn reduce(&self, allowed: &Allowed, multipliers: &Multipliers, most: i128) -> Option<Allowed> {
        let prices = self.stage.prices(multipliers, &allowed.ranges);
        let priced = self.stage.price(&prices, allowed)?;
        let room = most - priced.bound;
        if room < 0 {
            return None;
        }
        let mut kept = allowed.clone();
        for (pump, (cheapest, _)) in priced.cheapest.iter().enumerate() {
            let affordable = |reduced: i128| reduced - cheapest <= room;
            kept.idle[pump] = allowed.idle[pump] && affordable(0);
            let columns = &allowed.columns[pump];
            let stays = |column: &u32| affordable(self.stage.reduced(&prices, pump, *column));
            if columns.iter().any(|c| !stays(c)) {
                kept.columns[pump] = Arc::new(columns.iter().copied().filter(stays).collect());
            }
        }
        Some(kept)
    }

    /// Column generation at a node: the best bound, and the relaxed plan behind it. `None` when
    /// the node holds no plan better than the best one.
    fn relax(&mut self, node: &Node) -> Option<Relaxed> {
        let mut best = node.multipliers.clone();
        let ranges = &node.allowed.ranges;
        let mut raw_bound = self
            .stage
            .price(&self.stage.prices(&best, ranges), &node.allowed)?
            .bound;
        let mut pool = self.pool_of(&node.allowed);
        for _ in 0..MOST_ROUNDS {
            if round_up(raw_bound, self.grain) >= self.to_beat() {
                return (node.number == 0).then(|| self.relaxed(raw_bound, best, Vec::new()));
            }
            let Some(multipliers) = relaxation::multipliers(self.stage, &node.allowed, &pool)
            else {
                break;
            };
            let prices = self.stage.prices(&multipliers, ranges);
            let priced = self.stage.price(&prices, &node.allowed)?;
            let (fresh, known) = self.fresh(&prices, &node.allowed, &pool);
            if priced.bound > raw_bound {
                raw_bound = priced.bound;
                best = multipliers;
            }
            // What the columns at hand come to is above any bound: where rounding up makes the
            // two alike, further columns change nothing.
            let settled = known.is_some_and(|known| {
                let known = prices.constant() + known - SCALE * i128::from(self.grain) / 1024;
                round_up(known, self.grain) <= round_up(raw_bound, self.grain)
            });
            if settled || fresh.is_empty() || self.watch.stop().is_some() {
                break;
            }
            self.pool.extend(fresh.iter().copied());
            pool.extend(fresh);
            pool.sort_unstable();
        }
        let fractions = match relaxation::fractions(self.stage, &node.allowed, &pool) {
            Some(values) => pool
                .iter()
                .copied()
                .zip(values)
                .filter(|(_, v)| *v > 1e-9)
                .collect(),
            None => Vec::new(),
        };
        Some(self.relaxed(raw_bound, best, fractions))
    }

    fn relaxed(
        &self,
        raw_bound: i128,
        multipliers: Multipliers,
        fractions: Vec<(Entry, f64)>,
    ) -> Relaxed {
        Relaxed {
            bound: round_up(raw_bound, self.grain),
            multipliers,
            fractions,
        }
    }

    /// The columns of the pool that a node still allows.
    fn pool_of(&self, allowed: &Allowed) -> Vec<Entry> {
        self.pool
            .iter()
            .copied()
            .filter(|(pump, column)| allowed.columns[*pump].binary_search(column).is_ok())
            .collect()
    }

    /// Columns that price in: for each pump the few with the least reduced cost below what the
    /// pump gets from the columns at hand; and what all pumps get from those, if they all do.
    fn fresh(
        &self,
        prices: &Prices,
        allowed: &Allowed,
        pool: &[Entry],
    ) -> (Vec<Entry>, Option<i128>) {
        let mut fresh = Vec::new();
        let mut sum = Some(0);
        for (pump, columns) in allowed.columns.iter().enumerate() {
            let from = pool.partition_point(|entry| entry.0 < pump);
            let to = pool.partition_point(|entry| entry.0 <= pump);
            let idle = allowed.idle[pump].then_some(0);
            let known = pool[from..to]
                .iter()
                .map(|&(_, column)| self.stage.reduced(prices, pump, column))
                .chain(idle)
                .min();
            sum = sum.zip(known).map(|(sum, known)| sum + known);
            // A hair's breadth is the backend's own error, not a better column.
            let least = known.map_or(i128::MAX, |known| known - SCALE / 1024);
            let mut better: Vec<(i128, u32)> = columns
                .iter()
                .map(|&column| (self.stage.reduced(prices, pump, column), column))
                .filter(|(reduced, _)| *reduced < least)
                .collect();
            better.sort_unstable();
            let few = better.iter().take(COLUMNS_A_ROUND);
            fresh.extend(few.map(|&(_, column)| (pump, column)));
        }
        (fresh, sum)
    }

    /// Splits a node in two where the relaxed plan is most undecided. Returns the half to go on
    /// with and leaves the other one open.
    fn split(
        &mut self,
        node: Node,
        relaxed: &Relaxed,
        open: &mut BinaryHeap<Node>,
    ) -> Option<Node> {
        let most = SCALE * i128::from(self.to_beat() - self.grain);
        let allowed = self.reduce(&node.allowed, &relaxed.multipliers, most)?;
        let Some(halves) = halves(self.stage, &allowed, &relaxed.fractions) else {
            // One choice a pump is left: it is a plan or it is none.
            self.offer_only(&allowed);
            return None;
        };
        let mut children = halves.into_iter().map(|allowed| {
            self.nodes += 1;
            Node {
                bound: relaxed.bound.max(node.bound),
                depth: node.depth + 1,
                number: self.nodes,
                allowed,
                multipliers: relaxed.multipliers.clone(),
            }
        });
        let first = children.next();
        open.extend(children);
        first
    }

    /// Makes a whole plan of a relaxed one and keeps it if it is better.
    fn round(&mut self, relaxed: &Relaxed, allowed: &Allowed) {
        let instance = self.stage.instance;
        let mut left = instance.capacity.clone();
        let mut taken: Taken = vec![None; instance.pumps.len()];
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
        mend(&ranking, &mut taken, &mut left);
        self.offer(taken.clone());
        refine(&ranking, &mut taken, &mut left);
        self.offer(taken);
    }

    /// Betters the best plan part by part: some pumps are set free, the others keep what they
    /// have, and the part is searched by itself. Parts are made of the pumps whose columns cost
    /// most beyond what the bound allows them.
    fn better_by_parts(&mut self, relaxed: &Relaxed, allowed: &Allowed) {
        let pumps = self.stage.instance.pumps.len();
        if self.is_part || pumps <= PART {
            return;
        }
        let prices = self.stage.prices(&relaxed.multipliers, &allowed.ranges);
        let Some(priced) = self.stage.price(&prices, allowed) else {
            return;
        };
        let mut idle_rounds = 0;
        for round in 0..MOST_PARTS {
            let Some(best) = self.best.clone() else {
                return;
            };
            if relaxed.bound >= self.to_beat() || self.watch.stop().is_some() {
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
            free.sort_unstable();
            free.dedup();
            let before = self.to_beat();
            self.search_part(&free, &best, &prices, &priced, allowed);
            idle_rounds = if self.to_beat() < before {
                0
            } else {
                idle_rounds + 1
            };
            if idle_rounds >= 3 * pumps.div_ceil(PART / 2) {
                return;
            }
        }
    }

    /// Searches one part, the other pumps held.
    fn search_part(
        &mut self,
        free: &[usize],
        best: &Taken,
        prices: &Prices,
        priced: &Priced,
        allowed: &Allowed,
    ) {
        let instance = self.stage.instance;
        let room = SCALE * i128::from(self.to_beat()) - priced.bound;
        let mut held = best.clone();
        for &pump in free {
            held[pump] = None;
        }
        let kept: Vec<Vec<u32>> = free
            .iter()
            .map(|&pump| {
                let near = |c: &u32| {
                    self.stage.reduced(prices, pump, *c) - priced.cheapest[pump].0 <= room
                };
                allowed.columns[pump].iter().copied().filter(near).collect()
            })
            .collect();
        let part = Instance {
            capacity: instance.left(&held),
            classes: instance.classes.clone(),
            pumps: free
                .iter()
                .zip(&kept)
                .map(|(&p, kept)| {
                    kept.iter()
                        .map(|&c| instance.column(p, c).clone())
                        .collect()
                })
                .collect(),
            tiers: instance
                .tiers
                .iter()
                .map(|tier| match tier {
                    Tier::Served(gain) => Tier::Served(free.iter().map(|&p| gain[p]).collect()),
                    cost => cost.clone(),
                })
                .collect(),
        };
        let others = instance.value(&held);
        let limits: Vec<i64> = self
            .stage
            .limits
            .iter()
            .zip(&others)
            .map(|(limit, held)| limit - held)
            .collect();
        let stage = Stage {
            instance: &part,
            limits: &limits,
            ..self.stage
        };
        let start: Taken = free
            .iter()
            .zip(&kept)
            .map(|(&pump, kept)| {
                let at = kept.binary_search(&best[pump]?).ok()?;
                u32::try_from(at).ok()
            })
            .collect();
        let mut search = Search::new(stage, part.value(&start), self.aim, self.watch);
        search.put_in_pool(&start);
        search.is_part = true;
        search.most_nodes = PART_NODES;
        search.run(Allowed::all(&part));
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
        let taken: Taken = allowed.columns.iter().map(|c| c.first().copied()).collect();
        if self
            .stage
            .instance
            .left(&taken)
            .iter()
            .all(|&left| left >= 0)
        {
            self.offer(taken);
        }
    }

    /// Takes a plan as the best one if it keeps the earlier goals and is better.
    fn offer(&mut self, taken: Taken) {
        let value = self.stage.instance.value(&taken);
        let keeps = value
            .iter()
            .zip(self.stage.limits)
            .all(|(value, limit)| value <= limit);
        if keeps && value[self.stage.tier..] < self.value[self.stage.tier..] {
            self.put_in_pool(&taken);
            self.best = Some(taken);
            self.value = value;
        }
    }
}

/// The greatest common divisor of all costs of a goal.
fn grain(instance: &Instance, tier: usize) -> i64 {
    let gcd = |mut a: i64, mut b: i64| {
        while b != 0 {
            (a, b) = (b, a % b);
        }
        a
    };
    let mut grain = 0;
    for (pump, columns) in instance.pumps.iter().enumerate() {
        for column in (0..).take(columns.len()) {
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
fn halves(stage: Stage<'_>, allowed: &Allowed, fractions: &[(Entry, f64)]) -> Option<[Allowed; 2]> {
    let instance = stage.instance;
    totals(stage, allowed, fractions)
        .or_else(|| {
            undecided(instance, fractions).and_then(|(pump, keeps)| halve(allowed, pump, keeps))
        })
        .or_else(|| widest(allowed))
}

/// Splits on the total of a class or, if those are whole, of an item.
fn totals(stage: Stage<'_>, allowed: &Allowed, fractions: &[(Entry, f64)]) -> Option<[Allowed; 2]> {
    let instance = stage.instance;
    let mut uses = vec![0.0; instance.capacity.len()];
    for ((pump, column), value) in fractions {
        for &(item, count) in &instance.column(*pump, *column).uses {
            uses[item as usize] += value * f64::from(count);
        }
    }
    let singles = instance.capacity.len();
    let total = |set: &Vec<u32>| set.iter().map(|&item| uses[item as usize]).sum::<f64>();
    let undecided = |from: usize, to: usize| {
        (from..to)
            .map(|set| (set, total(&stage.sets[set])))
            .map(|(set, total)| (set, total, (total - total.round()).abs()))
            .filter(|(_, _, off)| *off > 1e-5)
            .reduce(|best, next| if next.2 > best.2 + 1e-9 { next } else { best })
    };
    let (set, total, _) = undecided(singles, stage.sets.len()).or_else(|| undecided(0, singles))?;
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a count of pieces is far below 2^53"
    )]
    let floor = total.floor() as i64;
    let range = allowed.ranges[set];
    if floor < range.least || range.most.is_some_and(|most| floor >= most) {
        return None;
    }
    let mut below = allowed.clone();
    below.ranges[set] = Range {
        most: Some(floor),
        ..range
    };
    let mut above = allowed.clone();
    above.ranges[set] = Range {
        least: floor + 1,
        ..range
    };
    // Go on with the nearer side.
    Some(if total - total.floor() < 0.5 {
        [below, above]
    } else {
        [above, below]
    })
}

/// Which columns of a pump go into the first half.
type Keeps<'a> = Box<dyn Fn(Option<u32>) -> bool + 'a>;

fn undecided<'a>(instance: &'a Instance, fractions: &[(Entry, f64)]) -> Option<(usize, Keeps<'a>)> {
    /// A pump, and the item and count that part its columns; `None` parts served from not.
    type Rule = (usize, Option<(u32, u32)>);
    let mut best: Option<(f64, Rule)> = None;
    let mut from = 0;
    while from < fractions.len() {
        let pump = fractions[from].0.0;
        let to = from + fractions[from..].partition_point(|((p, _), _)| *p == pump);
        let mine = &fractions[from..to];
        from = to;
        let mass: f64 = mine.iter().map(|(_, value)| value).sum();
        let mut consider = |share: f64, rule: Option<(u32, u32)>| {
            let evenness = share.min(1.0 - share);
            if evenness > 1e-6 && best.is_none_or(|(most, _)| evenness > most + 1e-9) {
                best = Some((evenness, (pump, rule)));
            }
        };
        // Served or not at all.
        consider(mass, None);
        let counts: BTreeSet<(u32, u32)> = mine
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
    let (_, (pump, rule)) = best?;
    let keeps: Keeps<'a> = match rule {
        None => Box::new(|column| column.is_some()),
        Some((item, count)) => Box::new(move |column| {
            column.is_some_and(|c| uses_at_least(instance, pump, c, item, count))
        }),
    };
    Some((pump, keeps))
}

fn uses_at_least(instance: &Instance, pump: usize, column: u32, item: u32, count: u32) -> bool {
    instance
        .column(pump, column)
        .uses
        .iter()
        .any(|&(i, n)| i == item && n >= count)
}

/// Splits one pump's columns by a rule; `None` if one half would hold everything.
fn halve(allowed: &Allowed, pump: usize, keeps: Keeps<'_>) -> Option<[Allowed; 2]> {
    let (first, second): (Vec<u32>, Vec<u32>) = allowed.columns[pump]
        .iter()
        .partition(|&&column| keeps(Some(column)));
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

/// Halves the choice of the pump that has the most.
fn widest(allowed: &Allowed) -> Option<[Allowed; 2]> {
    let choices = |pump: usize| allowed.columns[pump].len() + usize::from(allowed.idle[pump]);
    let pump = (0..allowed.columns.len()).max_by_key(|&pump| (choices(pump), Reverse(pump)))?;
    if choices(pump) < 2 {
        return None;
    }
    let middle = allowed.columns[pump]
        .get(allowed.columns[pump].len() / 2)
        .copied();
    let first = allowed.columns[pump].first().copied();
    halve(
        allowed,
        pump,
        Box::new(move |column| match column {
            // A single column is split from taking none.
            Some(c) => middle == first || Some(c) < middle,
            None => false,
        }),
    )
}
