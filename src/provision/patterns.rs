//! Ways to kit each class: every pattern that meets its requirements, by the pieces that it takes.

use std::collections::HashMap;
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;
use smallvec::SmallVec;

use crate::choose::combination::Combination;
use crate::choose::control::{Control, NoRoom, Pace, Phase, Unlisted};
use crate::choose::instance::Uses;
use crate::choose::pattern::{Demands, PieceUncertainty, doubts, listed_for, windows};
use crate::choose::{
    ChooseError, CombinationLists, MOST_COLUMNS, MOST_ITEMS, MOST_PATTERNS, most_totals, uses,
};
use crate::job::Job;
use crate::plan::{PackPick, Stop};
use crate::stock::Item;

use super::cases::Register;
use super::{GRACE, ProvisionError};

/// Pieces of an item: its index in the stock, and their number.
pub(super) type Take = (u16, u16);

/// Ways to kit one class, cheapest first, then fewest pieces; no way takes all pieces of another and more.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Class {
    takes: Vec<Take>,
    ends: Vec<u32>,
    /// Cost of the pieces, by way.
    pub(super) cost: Vec<i64>,
    /// Waste under the policy, by way.
    waste: Vec<i64>,
    /// Combination for each pack, way after way.
    choice: Vec<u32>,
}

impl Class {
    /// Bytes that it takes, with the lists of its ways that may be taken: a few states of the trolley have their own.
    fn bytes(&self) -> usize {
        const LISTS: usize = 4;
        let way = (1 + LISTS) * size_of::<u32>() + 2 * size_of::<i64>();
        size_of::<Class>()
            + self.takes.len() * size_of::<Take>()
            + self.choice.len() * size_of::<u32>()
            + self.len() * way
    }

    /// Bytes that the search for a safe kit makes of it: a place of its own in memory for each way.
    pub(super) fn bytes_searched(&self) -> usize {
        const EACH: usize = 80;
        self.len() * EACH + self.takes.len() * size_of::<Take>()
    }

    /// Number of ways.
    pub(super) fn len(&self) -> usize {
        self.ends.len()
    }

    /// Whether the class is in a gap: no piece in the drawers fits.
    pub(super) fn is_empty(&self) -> bool {
        self.ends.is_empty()
    }

    /// Pieces of a way, ascending by item.
    pub(super) fn takes(&self, way: usize) -> &[Take] {
        let from = way.checked_sub(1).map_or(0, |before| self.ends[before]);
        &self.takes[from as usize..self.ends[way] as usize]
    }

    /// Pieces of every way.
    pub(super) fn iter(&self) -> impl Iterator<Item = &[Take]> {
        (0..self.len()).map(|way| self.takes(way))
    }

    /// Least wasteful way within these pieces.
    pub(super) fn within(&self, there: &[u32]) -> Option<usize> {
        (0..self.len())
            .filter(|&way| fits(self.takes(way), there))
            .min_by_key(|&way| (self.waste[way], way))
    }
}

/// Whether there is enough of every item.
pub(super) fn fits(takes: &[Take], there: &[u32]) -> bool {
    takes.iter().all(|&(item, count)| u32::from(count) <= there[usize::from(item)])
}

/// Ways to kit all classes.
pub(super) struct Ways {
    /// By class.
    pub(super) classes: Vec<Class>,
    /// Pieces available, by item.
    pub(super) available: Vec<u32>,
    /// Cost of one piece, by item.
    pub(super) price: Vec<i64>,
    /// Classes in a gap: no piece in the drawers fits.
    gap: Vec<bool>,
    drawers: CombinationLists,
}

/// Lists the ways to kit every class out of all available pieces.
///
/// # Errors
/// [`ProvisionError::Choose`] if there are too many; [`ProvisionError::Stopped`].
pub(super) fn list(
    job: &Job,
    register: &Register,
    control: &Control,
) -> Result<Ways, ProvisionError> {
    if job.stock.len() > MOST_ITEMS {
        return Err(ChooseError::TooManyItems.into());
    }
    let available: Vec<u32> = job.stock.iter().map(Item::available).collect();
    let price: Vec<i64> = job.stock.iter().map(|item| item.unit_cost.raw()).collect();
    let pump = |kind: u32| &job.pumps[register.kinds[kind as usize].pump];
    let most: Vec<Vec<i64>> = register
        .kinds
        .iter()
        .map(|kind| most_totals(job, &job.pumps[kind.pump], &available))
        .collect();
    let demands = |class: usize| -> Demands {
        let (kind, constants) = &register.classes[class];
        register.kinds[*kind as usize].demands.with(constants)
    };
    let spans = (0..register.classes.len())
        .into_par_iter()
        .map(|class| {
            let kind = register.classes[class].0;
            windows(&demands(class).rows, &most[kind as usize])
        })
        .collect::<Vec<_>>();
    let spanned = spans.iter().zip(&register.classes);
    let drawers = CombinationLists::within(
        job,
        &available,
        spanned.map(|(span, (kind, _))| (pump(*kind), span.clone())),
        control,
    )?;
    if let Some(stop) = drawers.cut {
        return Err(ProvisionError::Stopped(stop));
    }
    let needed = register.kinds.iter().any(|kind| kind.demands.need_doubts());
    let doubts = if needed { doubts(job) } else { Vec::new() };
    let listed = AtomicUsize::new(0);
    let done = AtomicUsize::new(0);
    let of = register.classes.len();
    let grace = (10 * GRACE / of.max(1)).max(2_000);
    control.step(Phase::Listing, 0, of);
    let one = |class: usize| {
        let pump = pump(register.classes[class].0);
        let listing = Listing {
            job,
            doubts: &doubts,
            available: &available,
            price: &price,
            drawers: &drawers.of(job, pump),
        };
        let class = listing.class(&demands(class), &mut Pace::at_least(control, grace));
        let class = class.map_err(|lack| match lack {
            Lack::TooMany => Lack::For(
                ChooseError::TooManyPatterns { tag: pump.tag.clone(), most: MOST_PATTERNS }.into(),
            ),
            lack => lack,
        })?;
        control.keep(class.bytes()).map_err(|lack| Lack::For(no_room(lack)))?;
        let before = listed.fetch_add(class.len(), Ordering::Relaxed);
        if before + class.len() > MOST_COLUMNS {
            return Err(Lack::For(ChooseError::TooManyColumns.into()));
        }
        control.step(Phase::Listing, done.fetch_add(1, Ordering::Relaxed) + 1, of);
        Ok(class)
    };
    let first: Vec<Option<Class>> = (0..of)
        .into_par_iter()
        .map(|class| match one(class) {
            Ok(class) => Ok(Some(class)),
            Err(Lack::InHand(_)) => Ok(None),
            Err(lack) => Err(lack),
        })
        .collect::<Result<_, Lack>>()?;
    // Those that had too little room beside others have all of it.
    let classes: Vec<Class> = first
        .into_iter()
        .enumerate()
        .map(|(at, class)| class.map_or_else(|| one(at), Ok))
        .collect::<Result<_, Lack>>()?;
    Ok(Ways {
        gap: classes.iter().map(Class::is_empty).collect(),
        classes,
        available,
        price,
        drawers,
    })
}

impl Ways {
    /// Whether a class is in a gap.
    pub(super) fn gap(&self, class: u32) -> bool {
        self.gap[class as usize]
    }

    /// Whether each pump of a scenario can be kitted by itself out of all available pieces.
    pub(super) fn possible(&self, classes: &[u32]) -> bool {
        !classes.iter().any(|&class| self.gap(class))
    }

    /// Ways with classes in a gap asking for no pieces: there is no kit for them with any pieces, and the
    /// other pumps still need theirs. Beside them a class that asks for nothing and is in no gap, for a pump that does
    /// not count.
    pub(super) fn served_except_gaps(mut self) -> (Ways, u32) {
        let nothing = || Class { ends: vec![0], cost: vec![0], waste: vec![0], ..Class::default() };
        for (class, _) in self.classes.iter_mut().zip(&self.gap).filter(|(_, gap)| **gap) {
            *class = nothing();
        }
        self.classes.push(nothing());
        self.gap.push(false);
        let last = crate::narrow::narrow::<u32>(self.classes.len() - 1);
        (self, last)
    }

    /// Whether some way takes an item, by item.
    pub(super) fn wanted(&self) -> Vec<bool> {
        let mut wanted = vec![false; self.available.len()];
        let takes = self.classes.iter().flat_map(Class::iter).flatten();
        takes.for_each(|&(item, _)| wanted[usize::from(item)] = true);
        wanted
    }

    /// Pieces of a way, pack by pack. `pump` is one that can be in the class.
    pub(super) fn picks(&self, job: &Job, pump: usize, class: &Class, way: usize) -> Vec<PackPick> {
        let lists = self.drawers.of(job, &job.pumps[pump]);
        let choice = &class.choice[way * lists.len()..];
        let pack = |(list, &c): (&&[Combination], &u32)| PackPick {
            picks: list[c as usize].picks.to_vec(),
        };
        lists.iter().zip(choice).map(pack).collect()
    }
}

/// Why there is no class.
enum Lack {
    /// No room in hand: alone there may be enough.
    InHand(NoRoom),
    /// Too many ways.
    TooMany,
    /// Any other reason.
    For(ProvisionError),
}

impl From<Lack> for ProvisionError {
    fn from(lack: Lack) -> ProvisionError {
        match lack {
            Lack::InHand(lack) => no_room(lack),
            Lack::TooMany => ChooseError::TooManyColumns.into(),
            Lack::For(error) => error,
        }
    }
}

/// The refusal for a lack of room.
pub(super) fn no_room(lack: NoRoom) -> ProvisionError {
    ProvisionError::NoRoom(lack.megabytes)
}

struct Listing<'a> {
    job: &'a Job,
    doubts: &'a [Option<PieceUncertainty>],
    available: &'a [u32],
    price: &'a [i64],
    drawers: &'a [&'a [Combination]],
}

/// Way before it is sorted in.
struct Way {
    uses: Uses,
    total: i64,
    cost: i64,
    pieces: i64,
    waste: i64,
    choice: SmallVec<[u32; 4]>,
}

impl Listing<'_> {
    fn class(&self, demands: &Demands, pace: &mut Pace<'_>) -> Result<Class, Lack> {
        /// Bytes in hand for a pattern beside itself: the way, and its entry in a table that may be half empty.
        const BESIDE: usize = 2 * size_of::<Way>() + 3 * size_of::<(Uses, usize)>();
        let stopped = |stop: Stop| Lack::For(ProvisionError::Stopped(stop));
        let rules = (&self.job.policy, self.doubts);
        let listed = listed_for(demands, rules, self.drawers, MOST_PATTERNS, pace);
        let listed = listed.map_err(|unlisted| match unlisted {
            Unlisted::NoRoom(lack) => Lack::InHand(lack),
            Unlisted::TooMany => Lack::TooMany,
        })?;
        if let Some(stop) = listed.cut {
            return Err(stopped(stop));
        }
        let patterns = listed.list;
        pace.hold(BESIDE * patterns.len()).map_err(Lack::InHand)?;
        let mut ways: Vec<Way> = Vec::new();
        let mut known: HashMap<Uses, usize> = HashMap::with_capacity(patterns.len());
        for pattern in patterns {
            let Some(uses) = uses(&pattern, self.drawers) else {
                continue;
            };
            let there = |&(item, count): &(u16, i16)| {
                u32::from(count.unsigned_abs()) <= self.available[usize::from(item)]
            };
            if !uses.iter().all(there) {
                continue;
            }
            let waste = pattern.waste(self.drawers);
            if let Some(&same) = known.get(&uses) {
                let same = &mut ways[same];
                if waste < same.waste {
                    (same.waste, same.choice) = (waste, pattern.choice);
                }
                continue;
            }
            let cost = |&(item, count): &(u16, i16)| {
                self.price[usize::from(item)].saturating_mul(count.into())
            };
            known.insert(uses.clone(), ways.len());
            ways.push(Way {
                total: pattern.combinations(self.drawers).map(|c| c.total).sum(),
                cost: uses.iter().map(cost).fold(0, i64::saturating_add),
                pieces: uses.iter().map(|&(_, count)| i64::from(count)).sum(),
                waste,
                uses,
                choice: pattern.choice,
            });
        }
        let least = ways.iter().map(|way| way.total).min().unwrap_or(0);
        let mut order = Vec::new();
        for (index, way) in ways.iter().enumerate() {
            if let Some(stop) = pace.stop(1) {
                return Err(stopped(stop));
            }
            if !self.has_part(way, least, &known) {
                order.push(index);
            }
        }
        order.sort_by_key(|&way| (ways[way].cost, ways[way].pieces, way));
        let mut class = Class::default();
        for way in order.into_iter().map(|way| &ways[way]) {
            let take = |&(item, count): &(u16, i16)| (item, count.unsigned_abs());
            class.takes.extend(way.uses.iter().map(take));
            let Ok(end) = u32::try_from(class.takes.len()) else {
                return Err(Lack::TooMany);
            };
            class.ends.push(end);
            class.cost.push(way.cost);
            class.waste.push(way.waste);
            class.choice.extend(&way.choice);
        }
        class.takes.shrink_to_fit();
        class.choice.shrink_to_fit();
        Ok(class)
    }

    /// Whether a part of a way's pieces suffices as well.
    fn has_part(&self, way: &Way, least: i64, known: &HashMap<Uses, usize>) -> bool {
        // Without some pieces the total falls by their thickness, unless others are peeled less.
        let peeled = |&(item, _): &(u16, i16)| {
            let item = &self.job.stock[usize::from(item)];
            item.most_peeled() > 0
        };
        let room = if way.uses.iter().any(peeled) { i64::MAX } else { way.total - least };
        let mut part = way.uses.clone();
        self.parts(&mut part, 0, room, false, known)
    }

    /// Whether `part`, or the rest of it without some pieces of the items from `from` on, is known, with
    /// fewer pieces than at first.
    fn parts(
        &self,
        part: &mut Uses,
        from: usize,
        room: i64,
        fewer: bool,
        known: &HashMap<Uses, usize>,
    ) -> bool {
        if from == part.len() {
            let kept: Uses = part.iter().copied().filter(|&(_, c)| c > 0).collect();
            return fewer && known.contains_key(&kept);
        }
        let (item, count) = part[from];
        let size = self.job.stock[usize::from(item)].size;
        let thickness = size.map_or(1, |size| size.thickness.ticks().max(1));
        let most = (room / thickness).min(count.into());
        for taken in 0..=i16::try_from(most).unwrap_or(count) {
            part[from].1 = count - taken;
            let room = match room {
                i64::MAX => room,
                room => room - i64::from(taken) * thickness,
            };
            if self.parts(part, from + 1, room, fewer || taken > 0, known) {
                part[from].1 = count;
                return true;
            }
        }
        part[from].1 = count;
        false
    }
}
