//! Safe kits: for each pump the pieces for every value that it may have.

use std::collections::HashMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use crate::choose::control::{Control, NoRoom, Phase};
use crate::decimal::Money;
use crate::job::Job;
use crate::plan::PackPick;

use super::cases::Case;
use super::cover::Cover;
use super::patterns::{Class, Ways};
use super::{SafeKit, SetAside, Together};

/// Answer that pumps with the same classes share.
struct Answer {
    pieces: Vec<SetAside>,
    cost: Money,
    count: u32,
    bound: Money,
    count_bound: u32,
    class: Arc<Vec<u32>>,
    met: Arc<Vec<Option<Vec<PackPick>>>>,
}

/// Safe kit of every pump. `grids` are the classes of each pump's values.
pub(super) fn kits(
    job: &Job,
    ways: &Ways,
    views: &[Case],
    grids: &[Vec<u32>],
    effort: u64,
    control: &Control,
) -> Result<Vec<SafeKit>, NoRoom> {
    let mut known: HashMap<&[u32], usize> = HashMap::new();
    let mut asked: Vec<usize> = Vec::new();
    let answer_of: Vec<usize> = grids
        .iter()
        .enumerate()
        .map(|(pump, grid)| {
            *known.entry(grid).or_insert_with(|| {
                asked.push(pump);
                asked.len() - 1
            })
        })
        .collect();
    // The pieces at each value: a list of packs, each a list of picks.
    let bytes = |&pump: &usize| {
        let packs = job.model_of(&job.pumps[pump]).packs.len();
        grids[pump].len().saturating_mul(64 + 96 * packs)
    };
    control.keep(asked.iter().map(bytes).fold(0, usize::saturating_add))?;
    let done = AtomicUsize::new(0);
    control.step(Phase::SafeKits, 0, asked.len());
    let one = |&pump: &usize| {
        let answer = answer(job, ways, pump, &grids[pump], effort, control);
        let done = done.fetch_add(1, Ordering::Relaxed) + 1;
        control.step(Phase::SafeKits, done, asked.len());
        answer
    };
    let mut answers = Vec::with_capacity(asked.len());
    for some in together_in_hand(&asked, |&pump| searched(ways, &grids[pump]), control)? {
        answers.par_extend(some.par_iter().map(one));
    }
    let kit = |(view, &answer): (&Case, &usize)| {
        let answer = &answers[answer];
        SafeKit {
            pieces: answer.pieces.clone(),
            cost: answer.cost,
            count: answer.count,
            bound: answer.bound,
            count_bound: answer.count_bound,
            proven: (answer.bound, answer.count_bound) == (answer.cost, answer.count),
            axes: view.axes.clone(),
            class: Arc::clone(&answer.class),
            met: Arc::clone(&answer.met),
        }
    };
    Ok(views.iter().zip(&answer_of).map(kit).collect())
}

/// Bytes that the search for the safe kit of these values takes.
fn searched(ways: &Ways, grid: &[u32]) -> usize {
    let mut classes = grid.to_vec();
    classes.sort_unstable();
    classes.dedup();
    classes.iter().map(|&class| ways.classes[class as usize].bytes_searched()).sum()
}

/// Parts of a list, in its order, that are worked on one after the other, since they do not fit into hand together.
fn together_in_hand<'a, T>(
    list: &'a [T],
    bytes: impl Fn(&T) -> usize,
    control: &Control,
) -> Result<Vec<&'a [T]>, NoRoom> {
    let most = control.most_in_hand(1);
    let (mut parts, mut from, mut sum) = (Vec::new(), 0, 0_usize);
    for (at, one) in list.iter().enumerate() {
        let bytes = bytes(one);
        control.fits_in_hand(bytes)?;
        if sum.saturating_add(bytes) > most {
            parts.push(&list[from..at]);
            (from, sum) = (at, 0);
        }
        sum = sum.saturating_add(bytes);
    }
    parts.push(&list[from..]);
    Ok(parts)
}

fn answer(
    job: &Job,
    ways: &Ways,
    pump: usize,
    grid: &[u32],
    effort: u64,
    control: &Control,
) -> Answer {
    let mut classes: Vec<u32> = grid.to_vec();
    classes.sort_unstable();
    classes.dedup();
    let class_of = |class: u32| &ways.classes[class as usize];
    let reached: Vec<&Class> =
        classes.iter().map(|&class| class_of(class)).filter(|class| !class.is_empty()).collect();
    let cover = Cover::of(&reached, &ways.price);
    let covered = cover.search(effort, control);
    let (cost, count) = cover.split(covered.weight);
    let (bound, pieces) = cover.split(covered.bound);
    let held = cover.items.iter().zip(&covered.kit);
    let pieces_of = held.clone().filter(|(_, count)| **count > 0);
    let mut there = vec![0; job.stock.len()];
    for (&item, &count) in held {
        there[usize::from(item)] = u32::from(count);
    }
    let meet = |&class: &u32| {
        let class = class_of(class);
        let way = class.within(&there)?;
        Some(ways.picks(job, pump, class, way))
    };
    let place = |class: &u32| classes.binary_search(class).unwrap_or(0);
    Answer {
        pieces: pieces_of
            .map(|(&item, &count)| SetAside { item: usize::from(item), count: u32::from(count) })
            .collect(),
        cost: Money::from_raw(cost),
        count,
        bound: Money::from_raw(bound),
        // A kit below this cost may have any number of pieces.
        count_bound: if bound == cost { pieces } else { 0 },
        class: Arc::new(
            grid.iter().map(|class| u32::try_from(place(class)).unwrap_or(0)).collect(),
        ),
        met: Arc::new(classes.iter().map(meet).collect()),
    }
}

/// All safe kits set aside at once.
pub(super) fn together(job: &Job, ways: &Ways, safe: &[SafeKit]) -> Together {
    let mut sum = vec![0_u32; job.stock.len()];
    for pieces in safe.iter().flat_map(|kit| &kit.pieces) {
        sum[pieces.item] = sum[pieces.item].saturating_add(pieces.count);
    }
    let lacking = sum.iter().zip(&ways.available);
    let lacking: Vec<u32> = lacking.map(|(&sum, &there)| sum.saturating_sub(there)).collect();
    Together {
        cost: cost(ways, &sum),
        count: sum.iter().sum(),
        lacking: listed(&lacking),
        plates: short_plates(job, &sum),
        pieces: listed(&sum),
    }
}

/// Cost of these numbers of pieces.
pub(super) fn cost(ways: &Ways, counts: &[u32]) -> Money {
    let each = counts.iter().zip(&ways.price);
    let cost = each.map(|(&count, price)| price.saturating_mul(count.into()));
    Money::from_raw(cost.fold(0, i64::saturating_add))
}

/// Numbers of pieces by item, as a list.
pub(super) fn listed(counts: &[u32]) -> Vec<SetAside> {
    let some = counts.iter().enumerate().filter(|(_, count)| **count > 0);
    some.map(|(item, &count)| SetAside { item, count }).collect()
}

/// Lots of sheets that are too few if each sheet is cut for one shape.
pub(super) fn short_plates(job: &Job, counts: &[u32]) -> Vec<usize> {
    let mut sheets = vec![0_u64; job.plates.len()];
    for (item, &count) in job.stock.iter().zip(counts) {
        if let Some(cut) = item.cut.filter(|_| count > 0) {
            let each = job.plates[cut.plate].yields(cut.outside).max(1);
            sheets[cut.plate] += u64::from(count.div_ceil(each));
        }
    }
    let short = |lot: &usize| sheets[*lot] > u64::from(job.plates[*lot].available());
    (0..sheets.len()).filter(short).collect()
}
