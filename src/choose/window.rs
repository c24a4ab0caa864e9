//! Columns of a window: every kit of a pump that costs little more than its cheapest.
//!
//! Many pumps draw on the same ways to fill a place. Each way is listed once, as far as any of the pumps can afford it; the
//! columns of a pump are choices among those of its places.

use std::collections::HashMap;
use std::ops::ControlFlow;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;
use smallvec::SmallVec;

use crate::choose::bound::SCALE;
use crate::choose::combination::Combination;
use crate::choose::control::Control;
use crate::choose::instance::{Column, Uses};
use crate::choose::pattern::Pattern;
use crate::choose::uses_of;
use crate::choose::ways::{Cheapest, Ways, order};
use crate::plan::Pick;

/// Choices that may lead to a column, on average: a laminated shim comes to the same peeled in many ways.
const CHOICES: usize = 8;

/// Ways to fill places at some prices, and the pieces that there are of each item of a group.
#[derive(Clone, Copy)]
pub(super) struct Priced<'a> {
    /// By number of the way.
    pub ways: &'a [Arc<Ways>],
    /// Those that the pumps use, and the place of each among these.
    pub used: &'a [usize],
    pub at: &'a [usize],
    pub cheapest: &'a [Cheapest],
    /// Number within the group, by item of the stock.
    pub number: &'a HashMap<u16, u16>,
    pub capacity: &'a [i64],
}

/// Kits of one pump.
pub(super) struct Kits<'a> {
    /// Ways of each place, by number.
    pub places: &'a [usize],
    pub patterns: &'a [Pattern],
    /// Price of the cheapest.
    pub least: i128,
}

/// One way to fill a place.
struct Filling {
    /// Price above the least of its end.
    beyond: i128,
    combination: Combination,
    /// Pieces by number within the group.
    uses: Uses,
    /// Place among all fillings of the way, as lists have them.
    rank: u32,
}

/// Something of each end of the ways used, by place of the way among these and by end.
type ByEnd<T> = Vec<Vec<T>>;

/// Fillings of each end, the cheapest first.
type Shelf = ByEnd<Vec<Filling>>;

/// Columns whose price is at most `room` above their pump's least, in the order of lists, and the number of choices that led
/// to them. `None` if there are more than `most` columns, several times as many choices, or the user has ended the work.
pub(super) fn columns(
    priced: Priced<'_>,
    pumps: &[Kits<'_>],
    (room, most): (i128, usize),
    control: &Control<'_>,
) -> (Option<Vec<Vec<Column>>>, usize) {
    let count = AtomicUsize::new(0);
    let limit = Limit { control, count: &count, most: most.saturating_mul(CHOICES) };
    let Some(shelf) = fill(priced, &rooms(priced, pumps, room), &limit) else {
        return (None, count.into_inner());
    };
    let count = AtomicUsize::new(0);
    let limit = Limit { count: &count, ..limit };
    let listed = AtomicUsize::new(0);
    let columns = pumps.par_iter().with_min_len(4).map(|kits| {
        let capacity = priced.capacity;
        let mut choice = Choice {
            shelf: &shelf,
            at: priced.at,
            kits,
            capacity,
            limit: &limit,
            columns: Vec::new(),
        };
        for pattern in kits.patterns {
            let room = room - (priced.cost(kits.places, pattern) - kits.least);
            if room >= 0 && choice.extend(pattern, &mut SmallVec::new(), room).is_break() {
                return None;
            }
        }
        let columns = choice.done();
        let before = listed.fetch_add(columns.len(), Ordering::Relaxed);
        (before + columns.len() <= most).then_some(columns)
    });
    let columns = columns.collect();
    (columns, count.into_inner())
}

impl Priced<'_> {
    /// Price of a pattern at its cheapest.
    pub(super) fn cost(&self, places: &[usize], pattern: &Pattern) -> i128 {
        let ends = places.iter().zip(&pattern.choice);
        let parts = ends.map(|(&place, &end)| self.cheapest[place].ends[end as usize]);
        SCALE * i128::from(pattern.off_target) + parts.sum::<i128>()
    }

    /// Pieces by number within the group; `None` if they are more than there are.
    pub(super) fn numbered<'p>(&self, picks: impl Iterator<Item = &'p Pick>) -> Option<Uses> {
        let mut uses = uses_of(picks)?;
        for (item, count) in &mut uses {
            *item = *self.number.get(item)?;
            if i64::from(*count) > self.capacity[usize::from(*item)] {
                return None;
            }
        }
        uses.sort_unstable();
        Some(uses)
    }
}

/// The most that some pump can afford above the least of each end; negative where none uses it.
fn rooms(priced: Priced<'_>, pumps: &[Kits<'_>], room: i128) -> ByEnd<i128> {
    let none = || -> ByEnd<i128> {
        priced.used.iter().map(|&way| vec![-1; priced.cheapest[way].ends.len()]).collect()
    };
    let raise = |most: &mut i128, room: i128| *most = room.max(*most);
    let of_pumps = pumps.par_iter().with_min_len(256).fold(none, |mut rooms, kits| {
        for pattern in kits.patterns {
            let room = room - (priced.cost(kits.places, pattern) - kits.least);
            if room >= 0 {
                let ends = kits.places.iter().zip(&pattern.choice);
                ends.for_each(|(&way, &end)| {
                    raise(&mut rooms[priced.at[way]][end as usize], room);
                });
            }
        }
        rooms
    });
    of_pumps.reduce(none, |mut all, some| {
        let both = all.iter_mut().flatten().zip(some.into_iter().flatten());
        both.for_each(|(most, room)| raise(most, room));
        all
    })
}

/// Lists every filling within the rooms.
fn fill(priced: Priced<'_>, rooms: &[Vec<i128>], limit: &Limit<'_>) -> Option<Shelf> {
    let of_end = |way: usize, end: usize, room: i128| -> Option<Vec<Filling>> {
        let mut fillings = Vec::new();
        if room < 0 {
            return Some(fillings);
        }
        let cheapest = &priced.cheapest[way];
        let least = cheapest.ends[end];
        let mut put = |one: &Combination, price: i128| {
            // What cannot be numbered, or needs more pieces than there are, is no way.
            let Some(uses) = priced.numbered(one.picks.iter()) else {
                return ControlFlow::Continue(());
            };
            let combination = one.clone();
            fillings.push(Filling { beyond: price - least, combination, uses, rank: 0 });
            limit.next()
        };
        let all = priced.ways[way].within(cheapest, end, least + room, &mut put);
        all.is_continue().then_some(fillings)
    };
    let shelf = priced.used.par_iter().zip(rooms).map(|(&way, rooms)| {
        let ends = rooms.par_iter().enumerate().map(|(end, &room)| of_end(way, end, room));
        let mut ends: Vec<Vec<Filling>> = ends.collect::<Option<_>>()?;
        let mut all: Vec<&mut Filling> = ends.iter_mut().flatten().collect();
        all.sort_unstable_by(|a, b| order(&a.combination).cmp(&order(&b.combination)));
        (0..).zip(all).for_each(|(rank, filling)| filling.rank = rank);
        for fillings in &mut ends {
            fillings.sort_unstable_by_key(|filling| (filling.beyond, filling.rank));
        }
        Some(ends)
    });
    shelf.collect()
}

/// Limit on the entries of a list.
struct Limit<'a> {
    control: &'a Control<'a>,
    count: &'a AtomicUsize,
    most: usize,
}

impl Limit<'_> {
    /// Counts an entry; breaks where there are too many, or the user has ended the work.
    fn next(&self) -> ControlFlow<()> {
        let over = self.count.fetch_add(1, Ordering::Relaxed) >= self.most;
        match over || self.control.is_interrupted() {
            true => ControlFlow::Break(()),
            false => ControlFlow::Continue(()),
        }
    }
}

/// Ranks of the fillings of a column, by place.
type Ranks = SmallVec<[u32; 4]>;

/// Columns of one pump, in the making.
struct Choice<'a> {
    shelf: &'a Shelf,
    at: &'a [usize],
    kits: &'a Kits<'a>,
    capacity: &'a [i64],
    limit: &'a Limit<'a>,
    columns: Vec<(Uses, i64, Ranks)>,
}

impl<'a> Choice<'a> {
    /// Lists every column of a pattern that costs at most `room` above its cheapest; breaks where there are too many.
    fn extend(
        &mut self,
        pattern: &Pattern,
        parts: &mut SmallVec<[&'a Filling; 4]>,
        room: i128,
    ) -> ControlFlow<()> {
        let Some(&place) = self.kits.places.get(parts.len()) else {
            return self.put(pattern.off_target, parts);
        };
        let shelf = self.shelf;
        let fillings = &shelf[self.at[place]][pattern.choice[parts.len()] as usize];
        for filling in fillings.iter().take_while(|filling| filling.beyond <= room) {
            parts.push(filling);
            let on = self.extend(pattern, parts, room - filling.beyond);
            parts.pop();
            on?;
        }
        ControlFlow::Continue(())
    }

    fn put(&mut self, off_target: i64, parts: &[&Filling]) -> ControlFlow<()> {
        let mut uses: Uses = parts.iter().flat_map(|part| part.uses.iter().copied()).collect();
        uses.sort_unstable_by_key(|(item, _)| *item);
        uses.dedup_by(|next, first| {
            let same = next.0 == first.0;
            first.1 += if same { next.1 } else { 0 };
            same
        });
        if uses.iter().any(|&(item, count)| i64::from(count) > self.capacity[usize::from(item)]) {
            return ControlFlow::Continue(());
        }
        let waste = off_target + parts.iter().map(|part| part.combination.waste).sum::<i64>();
        self.columns.push((uses, waste, parts.iter().map(|part| part.rank).collect()));
        self.limit.next()
    }

    /// The columns in the order of lists. Of those that take the same pieces the least wasteful stays, and the first of these.
    fn done(mut self) -> Vec<Column> {
        self.columns.sort_unstable();
        self.columns.dedup_by(|next, first| next.0 == first.0);
        self.columns.sort_unstable_by(|(.., a), (.., b)| a.cmp(b));
        let column = |(uses, waste, _)| Column { waste, uses };
        let mut columns: Vec<Column> = self.columns.into_iter().map(column).collect();
        // Collected in the place of the larger entries.
        columns.shrink_to_fit();
        columns
    }
}
