//! Ways to fill one kind of place without a list of them all: those that look alike to every pump share one *end*.
//!
//! A requirement sees a pack by its total and its tolerances. So packs with the same of both are one end, and the ways there
//! are paths of a graph: item by item, so many pieces of each. Prices of the pieces go along it once, and then the cheapest
//! way to every end is known, and every other way within a given room.
//!
//! ```text
//! node     total, tolerances, number of pieces so far; one layer for each form of each item
//! edge     n pieces of the layer's form, n = 0, 1, ... as many as there are
//! end      nodes of the last layer with equal total and tolerances
//! ```
//!
//! 45 sizes, 6 pieces at most: 11.5 million packs, 1,700 ends, some hundred thousand edges. Where thicknesses are
//! measured lots without a common grid, few packs are alike, and the graph is about as large as the list.

use std::collections::{BTreeMap, HashMap};
use std::ops::{ControlFlow, Range};

use crate::choose::combination::{Combination, Offer, Window, listed, offers};
use crate::choose::control::{Control, Pace, Unlisted};
use crate::job::Job;
use crate::model::Pack;
use crate::narrow::narrow;
use crate::plan::Pick;
use crate::stock::Code;

/// Most nodes of a graph.
const MOST_NODES: usize = 4_000_000;

/// Price of what cannot be had.
pub(super) const FAR: i128 = 1 << 120;

/// Prices of pieces, in any one unit.
pub(super) struct PiecePrices<'a> {
    /// Price of a piece, by item of the stock.
    pub pieces: &'a [i128],
    /// Price of a millionth of waste.
    pub waste: i128,
    /// Most pieces that can be had, by item of the stock.
    pub most: &'a [i64],
}

impl PiecePrices<'_> {
    /// Price of a combination.
    pub(super) fn of(&self, combination: &Combination) -> i128 {
        let picks = || combination.picks.iter();
        let taken = |item: usize| {
            picks().filter(|pick| pick.item == item).map(|pick| pick.count).sum::<u32>()
        };
        if picks().any(|pick| i64::from(taken(pick.item)) > self.most[pick.item]) {
            return FAR;
        }
        let pieces = picks().map(|pick| self.pieces[pick.item] * i128::from(pick.count));
        pieces.sum::<i128>() + self.waste * i128::from(combination.waste)
    }
}

/// Ways to fill a kind of place.
pub(super) enum Ways {
    /// Each combination is an end of its own: where a guard depends on the very pieces.
    Each(Vec<Combination>),
    /// Those that look alike share an end.
    Alike(Graph),
}

/// Cheapest way to every end, at some prices.
#[derive(Default)]
pub(super) struct Cheapest {
    /// By end.
    pub ends: Vec<i128>,
    nodes: Vec<i128>,
    forms: Vec<i128>,
}

impl Ways {
    /// Ways with totals inside the window, out of the pieces available; `apart` if each is to be an end of its own.
    ///
    /// # Errors
    /// [`Unlisted::NoRoom`] where too little is in hand; otherwise there are too many, no room to keep them, or the control
    /// stops it.
    pub(super) fn of(
        job: &Job,
        (pack, fit): (&Pack, &Code),
        available: &[u32],
        window: Window,
        apart: bool,
        control: &Control<'_>,
    ) -> Result<Ways, Unlisted> {
        if apart {
            let listed = listed(job, (pack, fit), available, window, (control, 0))?;
            let whole = listed.cut.is_none();
            return whole.then_some(Ways::Each(listed.list)).ok_or(Unlisted::TooMany);
        }
        let graph = Graph::of(offers(job, pack, fit, available), pack, available, window, control)?;
        Ok(Ways::Alike(graph))
    }

    /// Ends, ascending by total. Those of several ways have no pieces.
    pub(super) fn ends(&self) -> &[Combination] {
        match self {
            Ways::Each(list) => list,
            Ways::Alike(graph) => &graph.ends,
        }
    }

    /// Items that some way takes, ascending.
    pub(super) fn items(&self) -> Vec<usize> {
        let mut items: Vec<usize> = match self {
            Ways::Each(list) => list.iter().flat_map(|c| &c.picks).map(|pick| pick.item).collect(),
            Ways::Alike(graph) => {
                let taken = graph
                    .nodes
                    .iter()
                    .filter(|node| graph.edges[node.edges()].iter().any(|&(_, count)| count > 0));
                taken.map(|node| graph.forms[node.form as usize].item).collect()
            }
        };
        items.sort_unstable();
        items.dedup();
        items
    }

    /// Cheapest way to every end.
    pub(super) fn cheapest(&self, prices: &PiecePrices<'_>) -> Cheapest {
        match self {
            Ways::Each(list) => Cheapest {
                ends: list.iter().map(|combination| prices.of(combination)).collect(),
                nodes: Vec::new(),
                forms: Vec::new(),
            },
            Ways::Alike(graph) => graph.cheapest(prices),
        }
    }

    /// Number of combinations or edges.
    pub(super) fn size(&self) -> usize {
        match self {
            Ways::Each(list) => list.len(),
            Ways::Alike(graph) => graph.edges.len(),
        }
    }

    /// A divisor of the waste of every way.
    pub(super) fn step(&self) -> i64 {
        match self {
            Ways::Each(list) => list.iter().map(|combination| combination.waste).fold(0, gcd),
            Ways::Alike(graph) => graph.forms.iter().map(|form| form.waste).fold(0, gcd),
        }
    }

    /// Calls `found` with every way to an end that costs at most `most`, and its price; until it breaks.
    pub(super) fn within(
        &self,
        cheapest: &Cheapest,
        end: usize,
        most: i128,
        found: &mut dyn FnMut(&Combination, i128) -> ControlFlow<()>,
    ) -> ControlFlow<()> {
        match self {
            Ways::Each(list) => match cheapest.ends[end] <= most {
                true => found(&list[end], cheapest.ends[end]),
                false => ControlFlow::Continue(()),
            },
            Ways::Alike(graph) => graph.within(cheapest, end, most, found),
        }
    }
}

/// Graph of the ways.
pub(super) struct Graph {
    /// Forms in the order of the layers: item by item.
    forms: Vec<Offer>,
    /// Place of each form among the picks of a combination.
    ranks: Vec<usize>,
    /// Each after those that lead to it. The first is the empty pack.
    nodes: Vec<Node>,
    /// Where a node can be reached from, with the number of pieces.
    edges: Vec<(u32, u32)>,
    ends: Vec<Combination>,
    /// Nodes of each end.
    last: Vec<Vec<u32>>,
}

struct Node {
    /// Layer.
    form: u32,
    /// Pieces of the layer's item so far.
    of_item: u32,
    /// First of its edges, and how many.
    first: u32,
    count: u32,
}

impl Node {
    fn edges(&self) -> Range<usize> {
        let first = self.first as usize;
        first..first + self.count as usize
    }
}

/// State of a pack in the making.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash)]
struct State {
    total: i64,
    minus: i64,
    plus: i64,
    pieces: i64,
    /// Pieces of the present item, in whatever form.
    of_item: i64,
}

impl Graph {
    fn of(
        sorted: Vec<Offer>,
        pack: &Pack,
        available: &[u32],
        (first, last): Window,
        control: &Control<'_>,
    ) -> Result<Graph, Unlisted> {
        let mut forms: Vec<(usize, Offer)> = sorted.into_iter().enumerate().collect();
        forms.sort_by_key(|(_, form)| (form.item, form.peeled));
        let (ranks, forms): (Vec<usize>, Vec<Offer>) = forms.into_iter().unzip();
        // Greatest thickness from each form on.
        let mut thickest = vec![0; forms.len() + 1];
        for (at, form) in forms.iter().enumerate().rev() {
            thickest[at] = thickest[at + 1].max(form.thickness);
        }
        let mut pace = Pace::of(control);
        let mut growing = Growing {
            layer: vec![(State::default(), 0)],
            edges: Vec::new(),
            of_item: vec![0],
            count: 1,
        };
        for (at, form) in forms.iter().enumerate() {
            let fresh = at == 0 || forms[at - 1].item != form.item;
            let left = i64::from(available[form.item]);
            let mut next = Layer::default();
            for &(mut state, from) in &growing.layer {
                if fresh {
                    state.of_item = 0;
                }
                let room = (i64::from(pack.most_pieces) - state.pieces).min(left - state.of_item);
                for count in 0..=room {
                    let to = State {
                        total: state.total + count * form.thickness,
                        minus: state.minus + count * form.minus,
                        plus: state.plus + count * form.plus,
                        pieces: state.pieces + count,
                        of_item: state.of_item + count,
                    };
                    let more = i64::from(pack.most_pieces) - to.pieces;
                    if to.total > last {
                        break;
                    }
                    if to.total + more * thickest[at + 1] < first {
                        continue;
                    }
                    next.reach(to, from, narrow(count));
                }
            }
            let units = next.edges.len();
            // Its states twice, by name and in order; its edges twice, unsorted and among all.
            let bytes = next.states.len() * (3 * size_of::<State>() + 16)
                + units * (size_of::<(u32, u32, u32)>() + size_of::<(u32, u32, u32, u32)>());
            pace.hold(bytes)?;
            growing.close(next, at).ok_or(Unlisted::TooMany)?;
            if pace.stop(units).is_some() {
                return Err(Unlisted::TooMany);
            }
        }
        growing.done(forms, ranks, pack, first, control).ok_or(Unlisted::TooMany)
    }

    fn cheapest(&self, prices: &PiecePrices<'_>) -> Cheapest {
        let price = |form: &Offer| prices.pieces[form.item] + prices.waste * i128::from(form.waste);
        let forms: Vec<i128> = self.forms.iter().map(price).collect();
        let mut nodes = vec![0; self.nodes.len()];
        for (at, node) in self.nodes.iter().enumerate().skip(1) {
            if i64::from(node.of_item) > prices.most[self.forms[node.form as usize].item] {
                nodes[at] = FAR;
                continue;
            }
            let form = forms[node.form as usize];
            let ways =
                self.edges[node.edges()].iter().filter(|(from, _)| nodes[*from as usize] < FAR);
            let ways = ways.map(|&(from, count)| nodes[from as usize] + form * i128::from(count));
            nodes[at] = ways.min().unwrap_or(FAR);
        }
        let ends = self.last.iter().map(|last| last.iter().map(|&node| nodes[node as usize]).min());
        let ends = ends.map(|least| least.unwrap_or(FAR)).collect();
        Cheapest { ends, nodes, forms }
    }

    fn within(
        &self,
        cheapest: &Cheapest,
        end: usize,
        most: i128,
        found: &mut dyn FnMut(&Combination, i128) -> ControlFlow<()>,
    ) -> ControlFlow<()> {
        let mut walk = Walk { graph: self, cheapest, most, taken: Vec::new(), found };
        let mut last = self.last[end].iter().filter(|node| cheapest.nodes[**node as usize] <= most);
        last.try_for_each(|&node| walk.back(node, 0))
    }

    /// Combination of some forms, each with its number of pieces.
    fn combination(&self, taken: &[(usize, u32)]) -> Combination {
        let mut taken = taken.to_vec();
        taken.sort_unstable_by_key(|&(form, _)| self.ranks[form]);
        let mut made = Combination::default();
        for (form, count) in taken {
            let Offer { item, peeled, thickness, minus, plus, waste } = self.forms[form];
            let number = i64::from(count);
            made.picks.push(Pick { item, count, peeled });
            made.total += number * thickness;
            made.minus += number * minus;
            made.plus += number * plus;
            made.waste += number * waste;
            made.pieces += number;
        }
        made
    }
}

/// Layer in the making: its states in the order in which they are reached, and their edges.
#[derive(Default)]
struct Layer {
    numbers: HashMap<State, u32>,
    states: Vec<State>,
    /// To which state, from which node, with how many pieces.
    edges: Vec<(u32, u32, u32)>,
}

impl Layer {
    fn reach(&mut self, to: State, from: u32, count: u32) {
        let fresh = narrow(self.states.len());
        let number = *self.numbers.entry(to).or_insert(fresh);
        if number == fresh {
            self.states.push(to);
        }
        self.edges.push((number, from, count));
    }
}

/// Graph in the making.
struct Growing {
    /// States of the last layer with their nodes.
    layer: Vec<(State, u32)>,
    /// Layer, node, where from, with how many pieces; ascending by node.
    edges: Vec<(u32, u32, u32, u32)>,
    /// Pieces of the layer's item so far, by node.
    of_item: Vec<u32>,
    count: usize,
}

impl Growing {
    /// Ends a layer; `None` where there are too many nodes.
    fn close(&mut self, mut next: Layer, form: usize) -> Option<()> {
        let before = self.count;
        self.count += next.states.len();
        if self.count > MOST_NODES {
            return None;
        }
        self.of_item.extend(next.states.iter().map(|state| -> u32 { narrow(state.of_item) }));
        let number = |at: usize| -> u32 { narrow(before + at) };
        next.edges.sort_unstable();
        let edges = next.edges.into_iter();
        self.edges.extend(
            edges.map(|(to, from, count)| (narrow(form), number(to as usize), from, count)),
        );
        self.layer = next.states.into_iter().enumerate().map(|(at, s)| (s, number(at))).collect();
        Some(())
    }

    /// Keeps what leads to an end; `None` where the room does not suffice.
    fn done(
        self,
        forms: Vec<Offer>,
        ranks: Vec<usize>,
        pack: &Pack,
        first: i64,
        control: &Control<'_>,
    ) -> Option<Graph> {
        let least = i64::from(pack.least_pieces);
        let mut at_end: BTreeMap<(i64, i64, i64), Vec<u32>> = BTreeMap::new();
        let mut useful = vec![false; self.count];
        for (state, node) in self.layer {
            if state.total >= first && state.pieces >= least {
                at_end.entry((state.total, state.minus, state.plus)).or_default().push(node);
                useful[node as usize] = true;
            }
        }
        for &(_, node, from, _) in self.edges.iter().rev() {
            useful[from as usize] |= useful[node as usize];
        }
        let kept = useful.iter().filter(|useful| **useful).count();
        let bytes = kept * (size_of::<Node>() + size_of::<i128>())
            + self.edges.len() * size_of::<(u32, u32)>();
        control.keep(bytes).ok()?;
        // The empty pack stays even if nothing can be made of it.
        let mut new = vec![0; self.count];
        let mut nodes = vec![Node { form: 0, of_item: 0, first: 0, count: 0 }];
        let mut edges = Vec::new();
        let mut latest = 0;
        for (form, node, from, count) in self.edges {
            if !useful[node as usize] {
                continue;
            }
            if node != latest {
                latest = node;
                new[node as usize] = narrow(nodes.len());
                let of_item = self.of_item[node as usize];
                nodes.push(Node { form, of_item, first: narrow(edges.len()), count: 0 });
            }
            if let Some(node) = nodes.last_mut() {
                node.count += 1;
            }
            edges.push((new[from as usize], count));
        }
        let (ends, last): (Vec<Combination>, Vec<Vec<u32>>) = at_end
            .into_iter()
            .map(|((total, minus, plus), nodes)| {
                let end = Combination { total, minus, plus, ..Combination::default() };
                (end, nodes.into_iter().map(|node| new[node as usize]).collect::<Vec<u32>>())
            })
            .unzip();
        Some(Graph { forms, ranks, nodes, edges, ends, last })
    }
}

/// Walk back from an end.
struct Walk<'a, 'f> {
    graph: &'a Graph,
    cheapest: &'a Cheapest,
    most: i128,
    /// Forms taken so far.
    taken: Vec<(usize, u32)>,
    found: &'f mut dyn FnMut(&Combination, i128) -> ControlFlow<()>,
}

impl Walk<'_, '_> {
    /// Every way from a node on to the empty pack; `spent` is the price so far.
    fn back(&mut self, mut node: u32, spent: i128) -> ControlFlow<()> {
        let Walk { graph, cheapest, .. } = *self;
        loop {
            if node == 0 {
                let combination = graph.combination(&self.taken);
                return (self.found)(&combination, spent);
            }
            let at = &graph.nodes[node as usize];
            let price = cheapest.forms[at.form as usize];
            let fits = |&&(from, count): &&(u32, u32)| {
                spent + price * i128::from(count) + cheapest.nodes[from as usize] <= self.most
            };
            let mut ways = graph.edges[at.edges()].iter().filter(fits);
            let Some(&(from, count)) = ways.next() else { return ControlFlow::Continue(()) };
            // The only way needs no further depth.
            if count == 0 && ways.next().is_none() {
                node = from;
                continue;
            }
            let ways: Vec<(u32, u32)> =
                graph.edges[at.edges()].iter().filter(fits).copied().collect();
            for (from, count) in ways {
                if count > 0 {
                    self.taken.push((at.form as usize, count));
                }
                let on = self.back(from, spent + price * i128::from(count));
                if count > 0 {
                    self.taken.pop();
                }
                on?;
            }
            return ControlFlow::Continue(());
        }
    }
}

/// Place of a combination among all of a place, as lists have them.
pub(super) fn order(combination: &Combination) -> (i64, i64, &[Pick]) {
    (combination.total, combination.pieces, &combination.picks)
}

/// Greatest common divisor of two numbers, none negative; 0 divides nothing.
pub(super) fn gcd(mut a: i64, mut b: i64) -> i64 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a.abs()
}

#[cfg(test)]
mod tests {
    use std::ops::ControlFlow;

    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    use super::{FAR, PiecePrices, Ways, order};
    use crate::choose::combination::{Combination, list};
    use crate::choose::control::Control;
    use crate::job::{Job, Parts};
    use crate::length::Length;
    use crate::read::{self, Sources};

    fn sample() -> Job {
        let [stock, pumps] = ["samples/outage/stock.xlsx", "samples/outage/pumps.xlsx"];
        let sources = Sources { stock: stock.into(), pumps: pumps.into(), ..Sources::default() };
        let mut parts = Parts::clone(&read::job(&sources).ok().unwrap());
        // Every fourth shim can be peeled.
        let shims = parts.stock.iter_mut().filter(|item| item.kind == "shim").step_by(4);
        for item in shims {
            let thickness = item.size.unwrap().thickness;
            item.peel_step = Some(Length::from_ticks(thickness.ticks() / 5));
        }
        Job::new(parts).unwrap()
    }

    /// At prices from a seed, with few of each item: the cheapest way to every end, and all ways within a room, are those of
    /// the list of all combinations.
    #[test]
    fn the_ways_of_the_graph_are_those_of_the_list() {
        let job = sample();
        let mut rng = ChaCha8Rng::seed_from_u64(12);
        let (mut alike, mut peeled) = (0, 0);
        for case in 0..150 {
            let pump = &job.pumps[rng.random_range(0..job.pumps.len())];
            let place = rng.random_range(0..pump.fits.len());
            let (pack, fit) = (&job.model_of(pump).packs[place], &pump.fits[place]);
            let available: Vec<u32> = job.stock.iter().map(|_| rng.random_range(0..=2)).collect();
            let most: Vec<i64> = available
                .iter()
                .map(|&count| i64::from(count.saturating_sub(u32::from(rng.random_bool(0.1)))))
                .collect();
            let whole = crate::choose::combination::most_total(&job, pack, fit, &available);
            let first = rng.random_range(0..=whole / 2);
            let window = (first, first + rng.random_range(0..=whole / 4));
            let all = list(&job, pack, fit, &available, window).unwrap();
            let pieces: Vec<i128> = job.stock.iter().map(|_| rng.random_range(-50..=500)).collect();
            let prices =
                PiecePrices { pieces: &pieces, waste: rng.random_range(0..=1), most: &most };
            for apart in [false, true] {
                let control = Control::unlimited();
                let ways =
                    Ways::of(&job, (pack, fit), &available, window, apart, &control).unwrap();
                let cheapest = ways.cheapest(&prices);
                let mut seen: Vec<Combination> = Vec::new();
                for (number, end) in ways.ends().iter().enumerate() {
                    let same = |one: &&Combination| match apart {
                        true => one.picks == end.picks,
                        false => {
                            (one.total, one.minus, one.plus) == (end.total, end.minus, end.plus)
                        }
                    };
                    let here: Vec<&Combination> = all.iter().filter(same).collect();
                    let least = here.iter().map(|one| prices.of(one)).min();
                    assert_eq!(Some(cheapest.ends[number]), least, "case {case}");
                    seen.extend(here.iter().map(|one| (*one).clone()));
                    if cheapest.ends[number] >= FAR {
                        continue;
                    }
                    let most = cheapest.ends[number] + 40;
                    let mut found = Vec::new();
                    let on = ways.within(&cheapest, number, most, &mut |one, price| {
                        assert_eq!(prices.of(one), price, "case {case}");
                        found.push(one.clone());
                        ControlFlow::Continue(())
                    });
                    assert!(on.is_continue());
                    found.sort_by(|a, b| order(a).cmp(&order(b)));
                    let near = here.iter().filter(|one| prices.of(one) <= most);
                    let near: Vec<Combination> = near.map(|one| (*one).clone()).collect();
                    assert_eq!(found, near, "case {case}");
                    alike += usize::from(near.len() > 1);
                    peeled += usize::from(
                        near.iter().flat_map(|one| &one.picks).any(|pick| pick.peeled > 0),
                    );
                }
                assert_eq!(seen.len(), all.len(), "case {case}");
            }
        }
        assert!(alike > 50 && peeled > 10, "{alike} {peeled}");
    }
}
