//! Compares the smallest swap with every way to fill the places, on random small pumps.

use std::collections::BTreeMap;

use gapwright::decimal::Millionths;
use gapwright::job::Job;
use gapwright::length::{Length, Tolerance};
use gapwright::model::{Form, Requirement, Term};
use gapwright::plan::{PackPick, Pick};
use gapwright::policy::Acceptance;
use gapwright::recheck::{Bench, Decision, Left, Reading, Readings, Searched, recheck};
use gapwright::stack::Coverage;
use gapwright::verify::verify_recheck;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::support::{job, linear, lot, one, pack};

/// Lengths of these cases are whole micrometres.
const UM: i64 = 10_000;

struct Case {
    job: Job,
    fitted: Vec<PackPick>,
    /// Readings in micrometres, if taken: the clearance and the shims.
    clearance: Option<i64>,
    shims: Option<i64>,
    within: i64,
}

fn um(n: i64) -> Length {
    Length::from_ticks(n * UM)
}

fn case(seed: u64) -> Case {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut stock = Vec::new();
    for kind in ["shim", "shim", "shim", "gasket", "gasket"] {
        let coarse = if kind == "shim" { 10 } else { 50 };
        let thickness = coarse * rng.random_range(2..12);
        let name = format!("{kind}-{}", stock.len());
        let mut item = lot(kind, &name, um(thickness), rng.random_range(0..4));
        item.size.as_mut().unwrap().tolerance =
            Tolerance { minus: um(rng.random_range(0..4)), plus: um(rng.random_range(0..4)) };
        item.unit_cost = Millionths::from_raw(100_000 * rng.random_range(0..5));
        if kind == "shim" && stock.len() == 2 && rng.random_bool(0.5) {
            item.peel_step = Some(um(10));
        }
        stock.push(item);
    }
    let fit = Requirement {
        name: "fill".into(),
        label: "Fill".into(),
        form: Form::GasketFill {
            gasket: 1,
            gap: vec![(Term::Pack(0), one(1)), (Term::Dimension(1), one(1))],
            target: Millionths::from_raw(500_000),
            lower: Millionths::from_raw(100_000 * rng.random_range(1..4)),
            upper: Some(Millionths::from_raw(100_000 * rng.random_range(7..14))),
        },
    };
    let width = rng.random_range(10..30);
    let clearance = linear(
        &[(Term::Dimension(0), 1), (Term::Pack(0), -1)],
        um(100),
        um(100 - width),
        um(100 + width),
    );
    let bare = 100 + 10 * rng.random_range(2..20);
    let mut packs = vec![pack("shim", 3), pack("gasket", 2)];
    packs[0].least_pieces = rng.random_range(0..2);
    let rule = match rng.random_range(0..3) {
        0 => Acceptance::WorstCase,
        1 => Acceptance::Nominal,
        _ => Acceptance::Expanded,
    };
    let job = job(stock, packs, vec![clearance, fit], &[um(bare), um(60)])
        .with(|job| {
            job.policy.acceptance = rule;
            job.policy.coverage = Coverage::Factor(Millionths::from_raw(2_000_000));
        })
        .unwrap();
    let mut fitted = Vec::new();
    for (place, items) in [(0, 0..3_usize), (1, 3..5)] {
        let most = [3, 2][place];
        let mut counts: BTreeMap<usize, u32> = BTreeMap::new();
        for _ in 0..rng.random_range(1..=most) {
            *counts.entry(rng.random_range(items.clone())).or_default() += 1;
        }
        let picks = counts.into_iter().map(|(item, count)| {
            let most_peeled = job.stock[item].most_peeled();
            let peeled = if most_peeled > 0 { rng.random_range(0..=most_peeled.min(2)) } else { 0 };
            Pick { item, count, peeled }
        });
        fitted.push(PackPick { picks: picks.collect() });
    }
    let shims = thick(&job, &fitted[0])[1];
    Case {
        clearance: rng.random_bool(0.8).then(|| bare - shims + 5 * rng.random_range(-8..=8)),
        shims: rng.random_bool(0.5).then(|| shims + rng.random_range(-4..=4)),
        within: rng.random_range(0..6),
        job,
        fitted,
    }
}

/// Least, nominal and greatest thickness of a pack, in micrometres.
fn thick(job: &Job, pack: &PackPick) -> [i64; 3] {
    let mut sum = [0; 3];
    for pick in &pack.picks {
        let item = &job.stock[pick.item];
        let size = item.size.unwrap();
        let layer = item.peel_step.map_or(0, |step| step.ticks() / UM);
        let one = size.thickness.ticks() / UM - i64::from(pick.peeled) * layer;
        let count = i64::from(pick.count);
        sum[0] += count * (one - size.tolerance.minus.ticks() / UM);
        sum[1] += count * one;
        sum[2] += count * (one + size.tolerance.plus.ticks() / UM);
    }
    sum
}

/// Variance of a pack in square micrometres, each piece uniformly distributed within its tolerance and at worst alike
/// with all others of its lot, and the height of the middle above the nominal value.
fn doubt(job: &Job, pack: &PackPick) -> [f64; 2] {
    let mut sum = [0.0; 2];
    let of_lot = |item: usize| -> u32 {
        pack.picks.iter().filter(|pick| pick.item == item).map(|pick| pick.count).sum()
    };
    for pick in &pack.picks {
        let tolerance = job.stock[pick.item].size.unwrap().tolerance;
        let [minus, plus] =
            [tolerance.minus, tolerance.plus].map(|side| (side.ticks() / UM) as f64);
        let (count, all) = (f64::from(pick.count), f64::from(of_lot(pick.item)));
        sum[0] += count * all * (minus + plus).powi(2) / 12.0;
        sum[1] += f64::from(pick.count) * (plus - minus) / 2.0;
    }
    sum
}

/// Whether a value, `inside` a limit by this distance, and the middle beside it are clear of the limit by twice the
/// standard uncertainty. A half-width over the root of three is never whole: it is rounded up, and so the very edge
/// is not clear.
fn clear_of(inside: f64, middle: f64, variance: f64) -> bool {
    let inside_by_middle = inside + middle;
    let beyond = inside_by_middle.powi(2) - 4.0 * variance;
    inside >= 0.0 && inside_by_middle >= 0.0 && (beyond > 1e-9 || variance == 0.0)
}

type Counts = BTreeMap<(usize, u32), u32>;

fn counts(pack: &PackPick) -> Counts {
    let picks = pack.picks.iter();
    picks.map(|pick| ((pick.item, pick.peeled), pick.count)).collect()
}

fn as_pack(counts: &Counts) -> PackPick {
    let picks = counts.iter().filter(|(_, count)| **count > 0);
    PackPick {
        picks: picks.map(|(&(item, peeled), &count)| Pick { item, count, peeled }).collect(),
    }
}

/// Every way to fill a place, with any pieces.
fn fillings(job: &Job, place: usize) -> Vec<Counts> {
    let model = &job.models[0].packs[place];
    let items = (0..job.stock.len()).filter(|&i| job.stock[i].kind == model.kind);
    let kinds: Vec<(usize, u32)> = items
        .flat_map(|item| (0..=job.stock[item].most_peeled()).map(move |peeled| (item, peeled)))
        .collect();
    let mut all = vec![Counts::new()];
    for kind in kinds {
        let mut more = Vec::new();
        for filling in &all {
            let pieces: u32 = filling.values().sum();
            for count in 0..=model.most_pieces - pieces {
                let mut filling = filling.clone();
                if count > 0 {
                    filling.insert(kind, count);
                }
                more.push(filling);
            }
        }
        all = more;
    }
    all.retain(|filling| filling.values().sum::<u32>() >= model.least_pieces);
    all
}

/// Pieces that come out of the drawer, by item and layers to peel; each removed piece of the old pack serves at most
/// one that has more layers off. Tried in every order.
fn drawn(before: &Counts, after: &Counts) -> Vec<(usize, u32)> {
    let spread = |a: &Counts, b: &Counts| -> Vec<(usize, u32)> {
        let mut list = Vec::new();
        for (kind, count) in a {
            let other = b.get(kind).copied().unwrap_or(0);
            for _ in other..*count {
                list.push(*kind);
            }
        }
        list
    };
    let (out, into) = (spread(before, after), spread(after, before));
    fn best(into: &[(usize, u32)], out: &[(usize, u32)]) -> Vec<(usize, u32)> {
        let Some((first, rest)) = into.split_first() else {
            return Vec::new();
        };
        let mut found = best(rest, out);
        found.push(*first);
        for (at, spare) in out.iter().enumerate() {
            if spare.0 == first.0 && spare.1 < first.1 {
                let mut left = out.to_vec();
                left.remove(at);
                let with = best(rest, &left);
                if with.len() < found.len() {
                    found = with;
                }
            }
        }
        found
    }
    best(&into, &out)
}

fn moved(before: &Counts, after: &Counts) -> u32 {
    let kinds: std::collections::BTreeSet<_> = before.keys().chain(after.keys()).collect();
    let of = |counts: &Counts, kind| counts.get(kind).copied().unwrap_or(0);
    kinds.into_iter().map(|kind| of(before, kind).abs_diff(of(after, kind))).sum()
}

/// Whether both requirements are met with these pieces, and the distance to their targets, in micrometres (of the
/// gasket in tenths).
fn comes_out(case: &Case, after: &[PackPick; 2]) -> (bool, i64, i64) {
    let job = &case.job;
    let worst = job.policy.acceptance == Acceptance::WorstCase;
    let at = |ends: [i64; 3]| {
        if worst { (ends[0], ends[2]) } else { (ends[1], ends[1]) }
    };
    let read = |value: i64| [value - case.within, value, value + case.within];
    let before = counts(&case.fitted[0]);
    let now = counts(&after[0]);
    let only = |a: &Counts, b: &Counts| {
        let mut rest = a.clone();
        for (kind, count) in &mut rest {
            *count = count.saturating_sub(b.get(kind).copied().unwrap_or(0));
        }
        as_pack(&rest)
    };
    let (put_in, taken_out) = (only(&now, &before), only(&before, &now));
    let (into, out) = (thick(job, &put_in), thick(job, &taken_out));
    let moved = [into[0] - out[2], into[1] - out[1], into[2] - out[0]];
    let shims = match case.shims {
        Some(value) => [0, 1, 2].map(|i| read(value)[i] + moved[i]),
        None => thick(job, &after[0]),
    };
    let bare = job.pumps[0].dimensions[0].value.ticks() / UM;
    let clearance = match case.clearance {
        Some(value) => [0, 1, 2].map(|i| read(value)[i] - moved[2 - i]),
        None => [bare - shims[2], bare - shims[1], bare - shims[0]],
    };
    let Form::Linear { lower: Some(lower), upper: Some(upper), .. } =
        job.pumps[0].requirements[0].form
    else {
        panic!("a clearance");
    };
    let (low, high) = at(clearance);
    let clear = low >= lower.ticks() / UM && high <= upper.ticks() / UM;
    let Form::GasketFill { lower: least, upper: Some(most), .. } =
        job.pumps[0].requirements[1].form
    else {
        panic!("a gasket");
    };
    let free = thick(job, &after[1]);
    let gap = shims.map(|end| end + 60);
    let ((thin, stout), (narrow, wide)) = (at(free), at(gap));
    let tenths = |allowance: Millionths| 10 + allowance.raw() / 100_000;
    let filled = 10 * thin >= tenths(least) * wide && 10 * stout <= tenths(most) * narrow;
    let off = (clearance[1] - 100).abs();
    let mut met = clear && filled;
    if met && job.policy.acceptance == Acceptance::Expanded {
        let (into, out) = (doubt(job, &put_in), doubt(job, &taken_out));
        let from_reading =
            [(case.within as f64).powi(2) / 3.0 + into[0] + out[0], into[1] - out[1]];
        let pieces = doubt(job, &after[0]);
        let shims_doubt = match case.shims {
            Some(_) => from_reading,
            None => pieces,
        };
        let [variance, middle] = match case.clearance {
            Some(_) => from_reading,
            None => shims_doubt,
        };
        let value = clearance[1] as f64;
        met &= clear_of(value - (lower.ticks() / UM) as f64, -middle, variance);
        met &= clear_of((upper.ticks() / UM) as f64 - value, middle, variance);
        let gasket = doubt(job, &after[1]);
        for (allowance, sign) in [(least, 1.0), (most, -1.0)] {
            let grown = tenths(allowance) as f64 / 10.0;
            let inside = sign * (free[1] as f64 - grown * gap[1] as f64);
            let middle = sign * (gasket[1] - grown * shims_doubt[1]);
            let variance = gasket[0] + grown * grown * shims_doubt[0];
            met &= clear_of(inside, middle, variance);
        }
    }
    (met, off, (10 * free[1] - 15 * gap[1]).abs())
}

#[test]
fn the_smallest_swap_is_what_every_filling_says() {
    let (mut swapped, mut none, mut accepted, mut both, mut peeled, mut again, mut large) =
        (0, 0, 0, 0, 0, 0, 0);
    let mut expanded = 0;
    for seed in 0..3_000 {
        let case = case(seed);
        let job = &case.job;
        let mut bench = Bench::unread(job, &job.pumps[0], Some(case.fitted.clone()));
        let readings = |value: i64| {
            let reading = Reading { value: um(value), within: um(case.within), gauge: None };
            // Read twice alike, so that it counts whatever was predicted.
            Some(Readings { first: reading, again: Some(reading) })
        };
        bench.requirements[0] = case.clearance.and_then(readings);
        bench.packs[0] = case.shims.and_then(readings);
        if bench.requirements[0].is_none() && bench.packs[0].is_none() {
            continue;
        }
        let left = Left::all(job);
        let records = recheck(job, &[bench], &mut left.clone());
        let record = records[0].clone();
        verify_recheck(job.clone(), records, &left)
            .unwrap_or_else(|breaches| panic!("case {seed}: {breaches:?}"));
        let before = [counts(&case.fitted[0]), counts(&case.fitted[1])];
        let as_is = [case.fitted[0].clone(), case.fitted[1].clone()];
        let mut best: Option<(u32, i64, i64, i64)> = None;
        for shims in fillings(job, 0) {
            for gaskets in fillings(job, 1) {
                let moves = moved(&before[0], &shims) + moved(&before[1], &gaskets);
                if moves == 0 || best.is_some_and(|(fewest, ..)| moves > fewest) {
                    continue;
                }
                let wanted = [drawn(&before[0], &shims), drawn(&before[1], &gaskets)].concat();
                let enough = (0..job.stock.len()).all(|item| {
                    let count = wanted.iter().filter(|kind| kind.0 == item).count();
                    count <= job.stock[item].on_hand as usize
                });
                let (met, off, gasket) = comes_out(&case, &[as_pack(&shims), as_pack(&gaskets)]);
                if !enough || !met {
                    continue;
                }
                let cost = wanted.iter().map(|&(item, layers)| {
                    let item = &job.stock[item];
                    let price = item.unit_cost.raw();
                    let step = item.peel_step.map_or(0, Length::ticks);
                    let whole = item.size.unwrap().thickness.ticks();
                    let trim = price * step * i64::from(layers);
                    price + job.policy.handling.raw() + (trim + whole - 1) / whole
                });
                let key = (moves, off, gasket, cost.sum());
                if best.is_none_or(|best| key < best) {
                    best = Some(key);
                }
            }
        }
        let (met, ..) = comes_out(&case, &as_is);
        match (&record.decision, best) {
            (Decision::Accept | Decision::Incomplete(_), _) => {
                assert!(met, "case {seed}: accepted, and not met");
                accepted += 1;
            }
            (Decision::Swap(swap), Some(best)) => {
                assert!(!met, "case {seed}: a swap of what is well");
                let packs = [swap.packs[0].clone(), swap.packs[1].clone()];
                let (met, off, gasket) = comes_out(&case, &packs);
                assert!(met, "case {seed}");
                let cost: i64 = swap
                    .drawn()
                    .iter()
                    .map(|pick| {
                        let each = gapwright::accounting::piece_waste(job, pick.item, pick.peeled);
                        each.raw() * i64::from(pick.count)
                    })
                    .sum();
                assert_eq!((swap.pieces(), off, gasket, cost), best, "case {seed}");
                swapped += 1;
                expanded += usize::from(job.policy.acceptance == Acceptance::Expanded);
                both += usize::from(swap.moves.iter().all(|m| m.iter().any(|p| !p.is_empty())));
                let into = |pick: &&Pick| pick.peeled > 0;
                peeled +=
                    usize::from(swap.moves.iter().flat_map(|m| &m[1]).filter(into).count() > 0);
                let put_in: u32 = swap.moves.iter().flat_map(|m| &m[1]).map(|p| p.count).sum();
                let drawn: u32 = swap.drawn().iter().map(|p| p.count).sum();
                again += usize::from(drawn < put_in);
                large += usize::from(swap.pieces() > 3);
            }
            (Decision::NoSwap(Searched { all: true, .. }), None) => none += 1,
            (decision, best) => panic!("case {seed}: {decision:?} against {best:?}"),
        }
    }
    println!(
        "accepted {accepted}, swapped {swapped} (both places {both}, peeled {peeled}, peeled again {again}, more than three pieces {large}, expanded rule {expanded}), none {none}"
    );
    assert!(accepted > 50 && swapped > 300 && none > 100);
    assert!(expanded > 100);
    assert!(both > 80 && peeled > 40 && again > 5 && large > 50);
}
