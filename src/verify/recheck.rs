//! The checker of what came of readings: decisions and swaps are worked out again from the readings alone.
//!
//! It shares no code with the search for a swap: a requirement is judged at the extreme values of its reading
//! and of every piece that is moved, from its own definition; pieces are counted afresh.

use std::collections::BTreeMap;

use super::{MILLION, check_pieces, ends, sum_ends};
use crate::decimal::Millionths;
use crate::job::Job;
use crate::model::{Form, Term};
use crate::plan::{PackPick, Pick};
use crate::policy::Acceptance;
use crate::pump::Pump;
use crate::recheck::{Bench, Compared, Decision, Left, Record, is_asked};

/// What came of readings, checked; only [`verify_recheck`] makes one, and only these are written.
#[derive(Debug, Clone)]
pub struct VerifiedRecheck {
    job: Job,
    records: Vec<Record>,
}

impl VerifiedRecheck {
    /// The job.
    pub fn job(&self) -> &Job {
        &self.job
    }

    /// What came of each pump, in the order of the job.
    pub fn records(&self) -> &[Record] {
        &self.records
    }
}

/// Works everything out again; `left` is what there was before the first swap.
///
/// # Errors
/// Everything that does not hold, in words. Such a record is a defect of this program and is never written.
pub fn verify_recheck(
    job: Job,
    records: Vec<Record>,
    left: &Left,
) -> Result<VerifiedRecheck, Vec<String>> {
    let mut breaches = Vec::new();
    if records.len() != job.pumps.len() {
        breaches.push(format!(
            "{} records for {} pumps",
            records.len(),
            job.pumps.len()
        ));
        return Err(breaches);
    }
    let mut drawn: BTreeMap<usize, i64> = BTreeMap::new();
    for (pump, record) in job.pumps.iter().zip(&records) {
        let Some(fitted) = &record.bench.fitted else {
            if record.decision != Decision::NotKitted {
                breaches.push(format!("pump {}: a decision without a kit", pump.tag));
            }
            continue;
        };
        let mut failed = |what: &str| breaches.push(format!("pump {}: {what}", pump.tag));
        let beyond = record.compared().any(|compared| {
            let repeated = compared.found.again.is_some() && repeats(compared);
            !agrees(compared) && !repeated
        });
        let met = |packs: &[PackPick]| {
            (0..pump.requirements.len())
                .all(|index| is_met(&job, pump, &record.bench, fitted, packs, index))
        };
        match &record.decision {
            Decision::NotKitted => failed("a kit, and no decision on it"),
            Decision::NotRead => {}
            Decision::Look(_) if !beyond => failed("nothing to look for"),
            Decision::Look(_) | Decision::NoSwap(_) => {}
            Decision::Incomplete(_) if beyond => failed("a reading beyond what was predicted"),
            Decision::Incomplete(_) => {
                if !met(fitted) {
                    failed("a requirement that is not met as found");
                }
            }
            Decision::Accept => {
                let read = pump
                    .requirements
                    .iter()
                    .enumerate()
                    .all(|(index, requirement)| {
                        !is_asked(pump, requirement) || basis(pump, &record.bench, index).is_some()
                    });
                if beyond || !read || !met(fitted) {
                    failed("accepted, and should not be");
                }
                check_pieces(&job, pump, fitted, &mut breaches);
            }
            Decision::Swap(swap) => {
                if beyond {
                    failed("a swap before the cause was looked for");
                }
                if !met(&swap.packs) {
                    failed("a swap that does not put it right");
                }
                check_pieces(&job, pump, &swap.packs, &mut breaches);
                for (item, count) in needed(fitted, &swap.packs) {
                    *drawn.entry(item).or_default() += count;
                }
            }
        }
    }
    check_drawn(&job, &drawn, left, &mut breaches);
    if breaches.is_empty() {
        Ok(VerifiedRecheck { job, records })
    } else {
        Err(breaches)
    }
}

/// `|E_n| <= 1`, in floating point, with room for its rounding.
fn agrees(compared: &Compared) -> bool {
    compared.normalised().is_some_and(|e| e.abs() <= 1.0 + 1e-9)
}

/// Whether both readings, each anywhere within what it may be off, can be the same: wider than what is asked.
fn repeats(compared: &Compared) -> bool {
    let (first, last) = (compared.found.first, compared.found.last());
    let apart = (first.value - last.value).ticks().abs();
    let both = first.within.ticks() + last.within.ticks();
    // k = 2 times the root of the sum of squares over 3 is at most 2/sqrt(3) times the sum.
    apart.saturating_mul(1_000) <= both.saturating_mul(1_155)
}

/// What a requirement's value rests on: its own reading, or that of one with the same cold terms.
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

/// What a place has more of after than before, and before than after.
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
                count: u32::try_from(count.abs()).unwrap_or(u32::MAX),
            })
            .collect(),
    })
}

/// Least, nominal and greatest of a place, in ticks: by itself, and by how much it changes.
fn place_ends(
    job: &Job,
    pump: &Pump,
    bench: &Bench,
    before: &PackPick,
    after: &PackPick,
    place: usize,
) -> [[i128; 3]; 2] {
    let pieces = |pack: &PackPick| ends(job, pump, std::slice::from_ref(pack), Term::Pack(0));
    let [put_in, taken_out] = changes(before, after).map(|pack| pieces(&pack));
    let moved = [
        put_in[0] - taken_out[2],
        put_in[1] - taken_out[1],
        put_in[2] - taken_out[0],
    ];
    let read = bench.packs[place].map(|readings| {
        let reading = readings.last();
        let (value, within) = (
            i128::from(reading.value.ticks()),
            i128::from(reading.within.ticks()),
        );
        [value - within, value, value + within]
    });
    let now = match read {
        Some(read) => [0, 1, 2].map(|at| read[at] + moved[at]),
        None => pieces(after),
    };
    [now, moved]
}

/// Whether a requirement is met with these pieces in the places: nominally, and at worst where the rule asks.
/// The expanded uncertainty is not worked out again here; nominally it must hold at least.
fn is_met(
    job: &Job,
    pump: &Pump,
    bench: &Bench,
    before: &[PackPick],
    after: &[PackPick],
    index: usize,
) -> bool {
    let places: Vec<[[i128; 3]; 2]> = before
        .iter()
        .zip(after)
        .enumerate()
        .map(|(place, (before, after))| place_ends(job, pump, bench, before, after, place))
        .collect();
    let scaled = |[low, nominal, high]: [i128; 3], c: Millionths| {
        let c = i128::from(c.raw());
        let (a, b) = (low * c, high * c);
        [a.min(b), nominal * c, a.max(b)]
    };
    let add = |sum: &mut [i128; 3], ends: [i128; 3]| {
        for (sum, end) in sum.iter_mut().zip(ends) {
            *sum += end;
        }
    };
    let pick = |[low, nominal, high]: [i128; 3]| match job.policy.acceptance {
        Acceptance::WorstCase => (low, high),
        Acceptance::Nominal | Acceptance::Expanded => (nominal, nominal),
    };
    // Sums of millionths of a tick, over the places as they are.
    let predicted = |terms: &[(Term, Millionths)]| {
        let mut sum = [0; 3];
        for &(term, c) in terms {
            match term {
                Term::Pack(place) => add(&mut sum, scaled(places[place][0], c)),
                other => add(&mut sum, sum_ends(job, pump, &[], &[(other, c)])),
            }
        }
        sum
    };
    match &pump.requirements[index].form {
        Form::Linear {
            terms,
            lower,
            upper,
            ..
        } => {
            let basis = basis(pump, bench, index).and_then(|basis| bench.requirements[basis]);
            let sum = match basis {
                None => predicted(terms),
                Some(readings) => {
                    let reading = readings.last();
                    let (value, within) = (reading.value.ticks(), reading.within.ticks());
                    let read = [value - within, value, value + within].map(i128::from);
                    let mut sum = scaled(read, Millionths::ONE);
                    for &(term, c) in terms {
                        match term {
                            Term::Pack(place) => add(&mut sum, scaled(places[place][1], c)),
                            Term::Thermal(_) => {
                                add(&mut sum, sum_ends(job, pump, &[], &[(term, c)]));
                            }
                            Term::Dimension(_) => {}
                        }
                    }
                    sum
                }
            };
            let (low, high) = pick(sum);
            low >= i128::from(lower.ticks()) * MILLION
                && high <= i128::from(upper.ticks()) * MILLION
        }
        Form::GasketFill {
            gasket,
            gap,
            lower,
            upper,
            ..
        } => {
            let [now, moved] = places[*gasket];
            // A gasket that was changed counts with its pieces: what the old one read says nothing of it.
            let free = match moved == [0; 3] && before[*gasket] == after[*gasket] {
                true => now,
                false => ends(job, pump, &after[*gasket..=*gasket], Term::Pack(0)),
            };
            let (thin, thick) = pick(free.map(|end| end * MILLION));
            let (narrow, wide) = pick(predicted(gap));
            thin * MILLION >= (MILLION + i128::from(lower.raw())) * wide
                && thick * MILLION <= (MILLION + i128::from(upper.raw())) * narrow
        }
    }
}

/// Pieces of each item that have to come out of the drawers. A piece can only be peeled further: what is to have
/// at most so many layers off must come from pieces with at most as many.
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

/// Nothing may be drawn that is not left: pieces by item, sheets by their area at least.
fn check_drawn(job: &Job, drawn: &BTreeMap<usize, i64>, left: &Left, breaches: &mut Vec<String>) {
    let mut area: BTreeMap<usize, i128> = BTreeMap::new();
    for (&item, &count) in drawn {
        let lot = &job.stock[item];
        match lot.cut {
            None if count > i64::from(left.pieces[item]) => {
                breaches.push(format!(
                    "{count} of {} for swaps, more than are left",
                    lot.item
                ));
            }
            None => {}
            Some(cut) => {
                let side = i128::from(cut.outside.ticks());
                *area.entry(cut.sheet).or_default() += i128::from(count) * side * side;
            }
        }
    }
    for (sheet, area) in area {
        let lot = &job.sheets[sheet];
        let each: i128 = lot
            .sides
            .iter()
            .map(|side| i128::from(side.ticks()))
            .product();
        if area > each * i128::from(left.sheets[sheet]) {
            breaches.push(format!("more cut from {} for swaps than is left", lot.item));
        }
    }
}
