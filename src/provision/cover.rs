//! Cheapest pieces with which every class of one pump can be kitted: exact, best first.
//!
//! The pieces of a kit are its *levels*: the first piece of an item, the second, and so on. A way wants a
//! number of levels of some items; a kit covers a class if it has all levels of one of its ways. Few classes
//! decide the kit, so the search knows only those found uncovered so far, and the others are checked at its
//! end: a cheapest kit for some of the classes that covers all of them is a cheapest kit for all.
//!
//! The bound is a dual one: each class in turn charges levels so that every one of its ways has at least the
//! same sum, and all classes together charge no level more than its cost. Every kit pays all these sums.
//! (Erlenkotter, A dual-based procedure for uncapacitated facility location, Operations Research 26 (1978),
//! does so for facilities; from memory.)

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use crate::choose::control::Control;
use crate::narrow::narrow;

use super::patterns::{Class, Take};

/// Number of pieces by the cover's own item numbers.
pub(super) type Kit = Vec<u16>;

/// Classes of one pump that can be kitted at all.
pub(super) struct Cover {
    /// Items that any way takes, ascending; the cover numbers them in this order.
    pub(super) items: Vec<u16>,
    /// Pieces of each way, by class and way, in own item numbers; the lightest first.
    classes: Vec<Vec<Wanted>>,
    /// Most of each item that a way takes.
    most: Kit,
    /// First level of each item among all levels.
    first: Vec<usize>,
    /// Weight of a piece: its cost times `often`, plus one. The factor is so large that the ones of all
    /// pieces of a kit weigh less than a millionth of the currency.
    weight: Vec<i128>,
    /// Factor of the cost in a weight.
    often: i128,
}

struct Wanted {
    takes: Box<[Take]>,
    weight: i128,
}

/// Result of a search.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Covered {
    /// Best kit found; it covers every class.
    pub(super) kit: Kit,
    /// Weight of the kit.
    pub(super) weight: i128,
    /// Bound: no kit that covers every class weighs less.
    pub(super) bound: i128,
}

/// Classes added to the search at once.
const JOINING: usize = 4;

impl Cover {
    /// Cover of classes that all have a way.
    pub(super) fn of(classes: &[&Class], price: &[i64]) -> Cover {
        let takes = || classes.iter().flat_map(|class| class.iter()).flatten();
        let mut items: Vec<u16> = takes().map(|&(item, _)| item).collect();
        items.sort_unstable();
        items.dedup();
        let own = |item: u16| items.binary_search(&item).unwrap_or(0);
        let mut most = vec![0; items.len()];
        for &(item, count) in takes() {
            let most = &mut most[own(item)];
            *most = count.max(*most);
        }
        let often = most.iter().map(|&most| i128::from(most)).sum::<i128>() + 1;
        let weight: Vec<i128> = items
            .iter()
            .map(|&item| i128::from(price[usize::from(item)].max(0)) * often + 1)
            .collect();
        let wanted = |takes: &[Take]| -> Wanted {
            let takes: Box<[Take]> = takes
                .iter()
                .map(|&(item, count)| (u16::try_from(own(item)).unwrap_or(0), count))
                .collect();
            let weigh = |&(item, count): &Take| weight[usize::from(item)] * i128::from(count);
            Wanted { weight: takes.iter().map(weigh).sum(), takes }
        };
        let mut classes: Vec<Vec<Wanted>> =
            classes.iter().map(|class| class.iter().map(wanted).collect()).collect();
        for class in &mut classes {
            class.sort_by(|a, b| (a.weight, &a.takes).cmp(&(b.weight, &b.takes)));
        }
        // Of classes with the same ways one is enough.
        classes.sort_by(|a, b| a.iter().map(|w| &w.takes).cmp(b.iter().map(|w| &w.takes)));
        classes.dedup_by(|a, b| {
            a.len() == b.len() && a.iter().zip(b.iter()).all(|(a, b)| a.takes == b.takes)
        });
        let first = most
            .iter()
            .scan(0, |sum, &most| {
                let first = *sum;
                *sum += usize::from(most);
                Some(first)
            })
            .collect();
        Cover { items, classes, most, first, weight, often }
    }

    /// Cost and number of pieces of a weight.
    pub(super) fn split(&self, weight: i128) -> (i64, u32) {
        let cost = narrow::<i64>(weight.div_euclid(self.often));
        let pieces = narrow::<u32>(weight.rem_euclid(self.often));
        (cost, pieces)
    }

    fn weigh(&self, kit: &[u16]) -> i128 {
        let each = kit.iter().zip(&self.weight);
        each.map(|(&count, weight)| weight * i128::from(count)).sum()
    }

    /// Lightest kit that covers every class, after about `effort` ways at most.
    pub(super) fn search(&self, effort: u64, control: &Control) -> Covered {
        let mut hints = vec![0; self.classes.len()];
        let first = self.completed(vec![0; self.items.len()], &mut hints, control);
        let mut best = self.exchanged(first, &mut hints, control);
        let mut weight = self.weigh(&best);
        let mut bound = 0;
        let mut known: Vec<usize> = self.hardest(&vec![0; self.items.len()], &mut hints);
        let mut left = effort;
        while bound < weight {
            let found = self.known_only(&known, weight, &mut left, control);
            bound = found.bound.max(bound).min(weight);
            let Some(kit) = found.kit else {
                break;
            };
            let joining = self.hardest(&kit, &mut hints);
            let whole = self.completed(kit, &mut hints, control);
            if self.weigh(&whole) < weight {
                weight = self.weigh(&whole);
                best = whole;
            }
            if left == 0 || control.stop().is_some() {
                break;
            }
            known.extend(joining);
        }
        Covered { kit: best, weight, bound: bound.min(weight) }
    }

    /// Classes that a kit does not cover and that miss most, a few of them.
    fn hardest(&self, kit: &[u16], hints: &mut [usize]) -> Vec<usize> {
        let mut lacking: Vec<(Reverse<i128>, usize)> = self
            .uncovered(kit, hints)
            .into_iter()
            .map(|class| (Reverse(self.least_lack(class, kit).0), class))
            .collect();
        lacking.sort_unstable();
        // One of those that miss most, and some spread over the rest.
        let apart = lacking.len().div_ceil(JOINING).max(1);
        lacking.iter().step_by(apart).map(|&(_, class)| class).collect()
    }

    /// Least weight that a kit is short of for a class, and the way with it.
    fn least_lack(&self, class: usize, kit: &[u16]) -> (i128, usize) {
        let lack = |wanted: &Wanted| -> i128 {
            let lack = |&(item, count): &Take| {
                let lack = count.saturating_sub(kit[usize::from(item)]);
                self.weight[usize::from(item)] * i128::from(lack)
            };
            wanted.takes.iter().map(lack).sum()
        };
        let ways = self.classes[class].iter().enumerate();
        let least = ways.map(|(way, wanted)| (lack(wanted), way)).min();
        least.unwrap_or((0, 0))
    }

    fn uncovered(&self, kit: &[u16], hints: &mut [usize]) -> Vec<usize> {
        (0..self.classes.len())
            .filter(|&class| !self.covers(kit, class, &mut hints[class]))
            .collect()
    }

    /// Whether a kit covers a class; the hint is the way that did so last.
    fn covers(&self, kit: &[u16], class: usize, hint: &mut usize) -> bool {
        let has = |wanted: &Wanted| {
            let enough = |&(item, count): &Take| count <= kit[usize::from(item)];
            wanted.takes.iter().all(enough)
        };
        let ways = &self.classes[class];
        if ways.get(*hint).is_some_and(has) {
            return true;
        }
        match ways.iter().position(has) {
            Some(way) => {
                *hint = way;
                true
            }
            None => false,
        }
    }

    /// Kit with pieces added until it covers every class, then without those that are not needed. If the
    /// control says stop, each class that is left gets its lightest way.
    fn completed(&self, mut kit: Kit, hints: &mut [usize], control: &Control) -> Kit {
        loop {
            let lacking = self.uncovered(&kit, hints);
            if control.stop().is_some() {
                let lightest = lacking.iter().filter_map(|&class| self.classes[class].first());
                for &(item, count) in lightest.flat_map(|wanted| &wanted.takes) {
                    let held = &mut kit[usize::from(item)];
                    *held = count.max(*held);
                }
                return kit;
            }
            let hardest = lacking
                .into_iter()
                .map(|class| (self.least_lack(class, &kit), class))
                .max_by_key(|&((lack, _), class)| (lack, Reverse(class)));
            let Some(((_, way), class)) = hardest else {
                break;
            };
            for &(item, count) in &self.classes[class][way].takes {
                let held = &mut kit[usize::from(item)];
                *held = count.max(*held);
            }
        }
        self.dropped(kit, hints, control)
    }

    fn covers_all(&self, kit: &[u16], hints: &mut [usize]) -> bool {
        (0..self.classes.len()).all(|class| self.covers(kit, class, &mut hints[class]))
    }

    /// Items, the heaviest first.
    fn heaviest(&self) -> Vec<usize> {
        let mut order: Vec<usize> = (0..self.items.len()).collect();
        order.sort_by_key(|&item| (Reverse(self.weight[item]), item));
        order
    }

    /// Kit without the pieces that are not needed.
    fn dropped(&self, mut kit: Kit, hints: &mut [usize], control: &Control) -> Kit {
        for item in self.heaviest() {
            while kit[item] > 0 && control.stop().is_none() {
                kit[item] -= 1;
                if !self.covers_all(&kit, hints) {
                    kit[item] += 1;
                    break;
                }
            }
        }
        kit
    }

    /// Kit with lighter pieces in place of others.
    fn exchanged(&self, mut kit: Kit, hints: &mut [usize], control: &Control) -> Kit {
        let order = self.heaviest();
        'better: loop {
            for &out in &order {
                for &into in order.iter().rev() {
                    if kit[out] == 0 || self.weight[into] >= self.weight[out] {
                        break;
                    }
                    if kit[into] < self.most[into] {
                        if control.stop().is_some() {
                            return kit;
                        }
                        kit[out] -= 1;
                        kit[into] += 1;
                        if self.covers_all(&kit, hints) {
                            kit = self.dropped(kit, hints, control);
                            continue 'better;
                        }
                        kit[out] += 1;
                        kit[into] -= 1;
                    }
                }
            }
            return kit;
        }
    }

    /// Lightest kit below `beat` that covers the classes known so far, if there is one.
    fn known_only(&self, known: &[usize], beat: i128, left: &mut u64, control: &Control) -> Found {
        let levels: usize = self.most.iter().map(|&most| usize::from(most)).sum();
        let mut search = Search {
            cover: self,
            known,
            beat,
            kit: None,
            number: 0,
            residual: vec![0; levels],
            often: vec![0; levels],
            charge: vec![0; levels],
            looks: 0,
        };
        let mut open = BinaryHeap::new();
        let none = vec![0; self.items.len()].into_boxed_slice();
        let all = self.most.clone().into_boxed_slice();
        open.extend(search.look(none, all, 0).map(Reverse));
        while let Some(Reverse(node)) = open.pop() {
            if node.bound >= search.beat {
                break;
            }
            if *left == 0 || control.stop().is_some() {
                return Found { kit: search.kit, bound: node.bound };
            }
            *left = left.saturating_sub(std::mem::take(&mut search.looks));
            let (mut without, mut with) = (node.most.clone(), node.least.clone());
            without[node.split] = node.least[node.split];
            with[node.split] += 1;
            open.extend(search.look(with, node.most, node.bound).map(Reverse));
            open.extend(search.look(node.least, without, node.bound).map(Reverse));
        }
        Found { kit: search.kit, bound: search.beat }
    }
}

/// Result of the search over the classes known so far.
struct Found {
    kit: Option<Kit>,
    bound: i128,
}

/// Node: kits between a least and a most number of pieces of each item.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
struct Node {
    bound: i128,
    /// Nodes with more pieces come first, to reach complete kits.
    held: Reverse<i128>,
    number: u64,
    least: Box<[u16]>,
    most: Box<[u16]>,
    /// Item to branch on: one more piece of it, or none.
    split: usize,
}

struct Search<'a> {
    cover: &'a Cover,
    known: &'a [usize],
    /// Weight to beat.
    beat: i128,
    kit: Option<Kit>,
    number: u64,
    /// Charge that is still possible, by level.
    residual: Vec<i128>,
    /// Number of ways at hand that want a level, by level.
    often: Vec<u32>,
    charge: Vec<i128>,
    /// Ways examined.
    looks: u64,
}

/// Wants of a class that is not covered yet.
struct Want<'a> {
    class: usize,
    ways: Vec<&'a Wanted>,
}

impl<'a> Search<'a> {
    /// Takes the pieces that must be taken, bounds the rest, and picks the item to branch on; `None` if the
    /// node holds no better kit.
    fn look(&mut self, mut least: Box<[u16]>, most: Box<[u16]>, floor: i128) -> Option<Node> {
        let cover = self.cover;
        let mut wants: Vec<Want<'a>>;
        loop {
            let held = cover.weigh(&least);
            if held >= self.beat {
                return None;
            }
            wants = Vec::new();
            let mut more = false;
            for &class in self.known {
                self.looks += cover.classes[class].len() as u64;
                let Some(want) = self.want(class, &least, &most, held)? else {
                    continue;
                };
                more |= self.forced(&want, &mut least);
                wants.push(want);
            }
            if !more {
                break;
            }
        }
        let held = cover.weigh(&least);
        if held >= self.beat {
            return None;
        }
        wants.sort_by_key(|want| (want.ways.len(), want.class));
        let Some(fewest) = wants.first() else {
            self.beat = held;
            self.kit = Some(least.to_vec());
            return None;
        };
        let split = self.most_wanted(&fewest.ways, &least);
        let bound = floor.max(held + self.charged(&wants, &least));
        if bound >= self.beat {
            return None;
        }
        self.number += 1;
        Some(Node { bound, held: Reverse(held), number: self.number, least, most, split })
    }

    /// Wants of a class: the inner `None` if it is covered, the outer `None` if no way is left.
    fn want(
        &self,
        class: usize,
        least: &[u16],
        most: &[u16],
        held: i128,
    ) -> Option<Option<Want<'a>>> {
        let cover = self.cover;
        let mut ways = Vec::new();
        for wanted in &cover.classes[class] {
            if wanted.weight >= self.beat {
                // The lightest come first.
                break;
            }
            let (mut lack, mut possible) = (0, true);
            for &(item, count) in &wanted.takes {
                let item = usize::from(item);
                possible &= count <= most[item];
                let more = count.saturating_sub(least[item]);
                lack += self.cover.weight[item] * i128::from(more);
            }
            if possible && lack == 0 {
                return Some(None);
            }
            if possible && held + lack < self.beat {
                ways.push(wanted);
            }
        }
        (!ways.is_empty()).then_some(Some(Want { class, ways }))
    }

    /// Takes the pieces that all ways of a class want; returns whether that adds any.
    fn forced(&self, want: &Want, least: &mut [u16]) -> bool {
        let Some((first, others)) = want.ways.split_first() else {
            return false;
        };
        let mut more = false;
        for &(item, count) in &first.takes {
            let of = |wanted: &&Wanted| {
                let takes = wanted.takes.iter();
                let mut same = takes.filter(|(other, _)| *other == item);
                same.next().map_or(0, |&(_, count)| count)
            };
            let common = others.iter().map(of).fold(count, u16::min);
            let held = &mut least[usize::from(item)];
            if common > *held {
                *held = common;
                more = true;
            }
        }
        more
    }

    /// Item of which most ways want at least one more piece.
    fn most_wanted(&self, ways: &[&Wanted], least: &[u16]) -> usize {
        let mut wanted = vec![0_u32; least.len()];
        for &(item, count) in ways.iter().flat_map(|way| &way.takes) {
            let item = usize::from(item);
            wanted[item] += u32::from(count > least[item]);
        }
        let most = (0..least.len()).max_by_key(|&item| (wanted[item], Reverse(item)));
        most.unwrap_or(0)
    }

    /// Sum that the classes can charge for their wants, those with the fewest ways first.
    fn charged(&mut self, wants: &[Want], least: &[u16]) -> i128 {
        let cover = self.cover;
        for (item, &first) in cover.first.iter().enumerate() {
            let levels = first..first + usize::from(cover.most[item]);
            self.residual[levels].fill(cover.weight[item]);
        }
        let mut sum = 0;
        // Levels that each way is short of, way after way.
        let (mut flat, mut ends): (Vec<usize>, Vec<usize>) = (Vec::new(), Vec::new());
        for want in wants {
            flat.clear();
            ends.clear();
            let mut most = i128::MAX;
            for wanted in &want.ways {
                let from = flat.len();
                for &(item, count) in &wanted.takes {
                    let (item, count) = (usize::from(item), usize::from(count));
                    let held = usize::from(least[item]).min(count);
                    flat.extend(cover.first[item] + held..cover.first[item] + count);
                }
                let levels = flat[from..].iter();
                most = most.min(levels.map(|&level| self.residual[level]).sum());
                ends.push(flat.len());
            }
            self.looks += want.ways.len() as u64;
            if most == 0 {
                continue;
            }
            sum += most;
            flat.iter().for_each(|&level| self.often[level] += 1);
            // Charged where most ways want it, so that little is taken from the other classes.
            let mut from = 0;
            for &to in &ends {
                let way = &mut flat[from..to];
                from = to;
                let charged: i128 = way.iter().map(|&level| self.charge[level]).sum();
                let mut lacks = most - charged;
                if lacks <= 0 {
                    continue;
                }
                way.sort_unstable_by_key(|&level| (Reverse(self.often[level]), level));
                for &mut level in way {
                    let more = lacks.min(self.residual[level] - self.charge[level]);
                    if more > 0 {
                        self.charge[level] += more;
                        lacks -= more;
                    }
                }
            }
            for &level in &flat {
                self.residual[level] -= self.charge[level];
                self.charge[level] = 0;
                self.often[level] = 0;
            }
        }
        sum
    }
}
