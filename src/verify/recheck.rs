//! Checker of the bench records: decisions and swaps are worked out again from the readings alone.
//!
//! The checker shares no code with the search for a swap. A requirement is written again over its reading and every
//! piece that is moved, and judged by the checker of plans, under any rule; pieces are counted again.

use std::collections::BTreeMap;

use super::{Breach, RecordBreach, check_pieces, limits};
use crate::decimal::Millionths;
use crate::job::Job;
use crate::length::Tolerance;
use crate::model::{Form, Term, Terms};
use crate::narrow::narrow;
use crate::plan::{PackPick, Pick};
use crate::pump::Pump;
use crate::recheck::{Bench, Compared, Decision, Left, Readings, Record, is_asked};
use crate::stock::{Code, Item, Size};

/// Records of the bench that have passed the checker; only [`verify_recheck`] makes them, and only such
/// records are written.
#[derive(Debug, Clone)]
pub struct VerifiedRecheck {
    job: Job,
    records: Vec<Record>,
}

impl VerifiedRecheck {
    /// Job of the records.
    pub fn job(&self) -> &Job {
        &self.job
    }

    /// Record of each pump, in the order of the job.
    pub fn records(&self) -> &[Record] {
        &self.records
    }
}

/// Works all records out again; `left` is the stock before the first swap.
///
/// # Errors
/// Every breach. A record with one is a defect of this program and is never written.
pub fn verify_recheck(
    job: Job,
    records: Vec<Record>,
    left: &Left,
) -> Result<VerifiedRecheck, Vec<Breach>> {
    let mut breaches = Vec::new();
    if records.len() != job.pumps.len() {
        breaches.push(Breach::Count {
            found: records.len(),
            of: "records",
            pumps: job.pumps.len(),
        });
        return Err(breaches);
    }
    let mut drawn: BTreeMap<usize, i64> = BTreeMap::new();
    // Readings are put into its stock while a requirement is judged.
    let mut scratch = job.clone();
    for (pump, record) in job.pumps.iter().zip(&records) {
        let breach = |fault: RecordBreach| Breach::Record { pump: pump.tag.clone(), fault };
        let Some(fitted) = &record.bench.fitted else {
            if record.decision != Decision::NotKitted {
                breaches.push(breach(RecordBreach::NoKit));
            }
            continue;
        };
        let mut failed = |fault: RecordBreach| breaches.push(breach(fault));
        let beyond = record.compared().any(|compared| {
            let repeated = compared.found.again.is_some() && repeats(compared);
            !agrees(compared) && !repeated
        });
        let mut met =
            |packs: &[PackPick]| all_met(&mut scratch, pump, &record.bench, fitted, packs);
        match &record.decision {
            Decision::NotKitted => failed(RecordBreach::Undecided),
            Decision::NotRead => {}
            Decision::Look(_) if !beyond => failed(RecordBreach::NothingToLookFor),
            Decision::Look(_) | Decision::NoSwap(_) => {}
            Decision::Incomplete(_) if beyond => failed(RecordBreach::Beyond),
            Decision::Incomplete(_) => {
                if !met(fitted) {
                    failed(RecordBreach::NotMet);
                }
            }
            Decision::Accept => {
                let read = pump.requirements.iter().enumerate().all(|(index, requirement)| {
                    !is_asked(pump, requirement) || basis(pump, &record.bench, index).is_some()
                });
                if beyond || !read || !met(fitted) {
                    failed(RecordBreach::Accepted);
                }
                check_pieces(&job, pump, fitted, &mut breaches);
            }
            Decision::Swap(swap) => {
                if beyond {
                    failed(RecordBreach::SwapTooSoon);
                }
                if !met(&swap.packs) {
                    failed(RecordBreach::SwapInVain);
                }
                check_pieces(&job, pump, &swap.packs, &mut breaches);
                for (item, count) in needed(fitted, &swap.packs) {
                    *drawn.entry(item).or_default() += count;
                }
            }
        }
    }
    check_drawn(&job, &drawn, left, &mut breaches);
    if breaches.is_empty() { Ok(VerifiedRecheck { job, records }) } else { Err(breaches) }
}

/// `|E_n| <= 1`, in floating point, with room for its rounding.
fn agrees(compared: &Compared) -> bool {
    compared.normalised().is_some_and(|e| e.abs() <= 1.0 + 1e-9)
}

/// Whether both readings, each within its error limit, can be equal: wider than the rule asks.
fn repeats(compared: &Compared) -> bool {
    let (first, last) = (compared.found.first, compared.found.last());
    let apart = (first.value - last.value).ticks().abs();
    let both = first.within.ticks() + last.within.ticks();
    // k = 2 times the root of the sum of squares over 3 is at most 2/sqrt(3) times the sum.
    apart.saturating_mul(1_000) <= both.saturating_mul(1_155)
}

/// Basis of a requirement's value: its own reading, or that of a requirement with the same cold terms.
fn basis(pump: &Pump, bench: &Bench, index: usize) -> Option<usize> {
    let cold = |index: usize| match &pump.requirements[index].form {
        Form::Linear { terms, .. } => {
            let cold = terms.iter().filter(|(t, _)| !matches!(t, Term::Thermal(_)));
            let mut cold: Vec<_> = cold.copied().collect();
            cold.sort_unstable();
            Some(cold)
        }
        Form::GasketFill { .. } => None,
    };
    let asked = cold(index)?;
    let own = bench.requirements[index].is_some().then_some(index);
    own.or_else(|| {
        (0..pump.requirements.len()).find(|&other| {
            bench.requirements[other].is_some() && cold(other).as_ref() == Some(&asked)
        })
    })
}

/// Pieces of a place that are more after than before, and more before than after.
fn changes(before: &PackPick, after: &PackPick) -> [PackPick; 2] {
    let mut counts: BTreeMap<(usize, u32), i64> = BTreeMap::new();
    for (pack, sign) in [(before, -1), (after, 1)] {
        for pick in &pack.picks {
            *counts.entry((pick.item, pick.peeled)).or_default() += sign * i64::from(pick.count);
        }
    }
    [1, -1].map(|sign| PackPick {
        picks: counts
            .iter()
            .filter(|(_, count)| **count * sign > 0)
            .map(|(&(item, peeled), count)| Pick {
                item,
                peeled,
                count: narrow::<u32>(count.abs()),
            })
            .collect(),
    })
}

/// Whether all requirements are met with these pieces in the places, under the acceptance rule of the policy.
///
/// Readings take the place of pieces, as one piece each of a lot of its own, and each requirement is written
/// again over them; it is then judged as any other. The stock is restored afterwards.
fn all_met(
    job: &mut Job,
    pump: &Pump,
    bench: &Bench,
    before: &[PackPick],
    after: &[PackPick],
) -> bool {
    let own = job.stock.len();
    let places = before.len();
    let mut read = |reading: Option<Readings>| {
        let picks = reading.map(|readings| {
            let reading = readings.last();
            let size = Size {
                alike: Some(Millionths::ZERO),
                gauge: reading.gauge,
                ..Size::new(reading.value, Tolerance::even(reading.own()))
            };
            let (kind, fit) = (String::new(), Code::new(""));
            job.parts.stock.push(Item::of("reading", kind, fit, size, 1));
            Pick { item: job.stock.len() - 1, peeled: 0, count: 1 }
        });
        PackPick { picks: picks.into_iter().collect() }
    };
    // In this order: the places as they are, the pieces taken out of each and put into each, the reading of
    // each, the reading of each requirement.
    let was: Vec<PackPick> = bench.packs.iter().map(|pack| read(*pack)).collect();
    let found: Vec<PackPick> = bench.requirements.iter().map(|found| read(*found)).collect();
    let changed = |place: usize| before[place] != after[place];
    let is_read = |place: usize| !was[place].picks.is_empty();
    let now = (0..places).map(|place| match is_read(place) && !changed(place) {
        true => was[place].clone(),
        false => after[place].clone(),
    });
    let moved = (0..places).map(|place| changes(&before[place], &after[place]));
    let (into, out): (Vec<_>, Vec<_>) = moved.map(|[into, out]| (into, out)).unzip();
    let packs: Vec<PackPick> =
        now.chain(out).chain(into).chain(was.iter().cloned()).chain(found).collect();
    let minus = |c: Millionths| Millionths::from_raw(-c.raw());
    let moved = |place: usize, c: Millionths| {
        [(Term::Pack(places + place), minus(c)), (Term::Pack(2 * places + place), c)]
    };
    // A place that was read and changed since has its reading plus the pieces moved.
    let predicted = |terms: &Terms| -> Terms {
        let mut all = Terms::new();
        for &(term, c) in terms {
            match term {
                Term::Pack(place) if is_read(place) && changed(place) => {
                    all.push((Term::Pack(3 * places + place), c));
                    all.extend(moved(place, c));
                }
                other => all.push((other, c)),
            }
        }
        all
    };
    // Reading of a requirement, or of one with the same cold terms, and the changes since.
    let read = |basis: usize, terms: &Terms| -> Terms {
        let mut all = vec![(Term::Pack(4 * places + basis), Millionths::ONE)];
        for &(term, c) in terms {
            match term {
                Term::Pack(place) => all.extend(moved(place, c)),
                Term::Thermal(_) | Term::Derived(_) => all.push((term, c)),
                Term::Dimension(_) => {}
            }
        }
        all
    };
    let met = (0..pump.requirements.len()).all(|index| {
        let mut form = pump.requirements[index].form.clone();
        match &mut form {
            Form::Linear { terms, .. } => {
                *terms = match basis(pump, bench, index) {
                    None => predicted(terms),
                    Some(basis) => read(basis, terms),
                };
            }
            // A changed gasket counts with its pieces: the reading of the old one does not apply to it.
            Form::GasketFill { gap, .. } => *gap = predicted(gap),
        }
        limits::hold(job, pump, &packs, &form, job.policy.acceptance)
    });
    job.parts.stock.truncate(own);
    met
}

/// Pieces of each item that must come out of the drawers. A piece can only be peeled further: one with at
/// most so many layers off must come from a piece with no more layers off.
fn needed(before: &[PackPick], after: &[PackPick]) -> BTreeMap<usize, i64> {
    let mut needed = BTreeMap::new();
    for (before, after) in before.iter().zip(after) {
        let items = after.picks.iter().map(|pick| pick.item);
        for item in items.collect::<std::collections::BTreeSet<_>>() {
            let up_to = |pack: &PackPick, layers: u32| -> i64 {
                let mine = pack.picks.iter();
                let mine = mine.filter(|pick| pick.item == item && pick.peeled <= layers);
                mine.map(|pick| i64::from(pick.count)).sum()
            };
            let layers = after.picks.iter().filter(|pick| pick.item == item);
            let most = layers.map(|pick| up_to(after, pick.peeled) - up_to(before, pick.peeled));
            *needed.entry(item).or_default() += most.max().unwrap_or(0).max(0);
        }
    }
    needed
}

/// Checks that only pieces left are drawn: pieces by item, sheets by their area at least.
fn check_drawn(job: &Job, drawn: &BTreeMap<usize, i64>, left: &Left, breaches: &mut Vec<Breach>) {
    let mut area: BTreeMap<usize, i128> = BTreeMap::new();
    for (&item, &count) in drawn {
        let lot = &job.stock[item];
        match lot.cut {
            None if count > i64::from(left.pieces[item]) => {
                let item = lot.item.clone();
                breaches.push(Breach::Swaps { item, count });
            }
            None => {}
            Some(cut) => {
                let side = i128::from(cut.outside.ticks());
                *area.entry(cut.plate).or_default() += i128::from(count) * side * side;
            }
        }
    }
    for (sheet, area) in area {
        let lot = &job.plates[sheet];
        let each: i128 = lot.sides.iter().map(|side| i128::from(side.ticks())).product();
        if area > each * i128::from(left.plates[sheet]) {
            breaches.push(Breach::SwapsCut(lot.item.clone()));
        }
    }
}
