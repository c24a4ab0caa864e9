//! Compares service with every kit of every scenario, and with exact probabilities.

use std::collections::HashMap;

use gapwright::choose::control::Control;
use gapwright::decimal::Millionths;
use gapwright::forecast::{Expected, ExpectedLaw, Forecast};
use gapwright::job::Job;
use gapwright::length::Length;
use gapwright::provision::{ProvisionOptions, Purpose, exact_interval, provision};

use crate::reference::{Known, Pieces, cost, fits, smallest};
use crate::trolley::{counted, left_out, scenarios};
use crate::{half_thou, question, random_outlook, shared_outlook};

#[test]
fn every_scenario_is_judged_as_every_kit_says() {
    let (mut judged, mut short, mut hopeless) = (0, 0, 0);
    let (mut exact, mut fewer) = (0, 0);
    for seed in 0..600 {
        let outlook = if seed % 2 == 0 { random_outlook(seed, 3) } else { shared_outlook(seed) };
        let question = ProvisionOptions {
            probability: Millionths::from_raw([500_000, 700_000, 900_000][seed as usize / 2 % 3]),
            ..question(seed)
        };
        let found = provision(&outlook, &question, &Control::unlimited()).unwrap();
        let there = counted(&found.trolley.pieces, outlook.job().stock.len());
        let mut known = Known::of(&outlook);
        let job = outlook.job();
        let left_out = left_out(&outlook);
        let pumps = job.pumps.len() - left_out.len();
        let mut unserved =
            found.service.unserved.iter().map(|u| (u.scenario, u)).collect::<HashMap<_, _>>();
        let mut missed = vec![0; job.pumps.len()];
        let (mut none, mut served_except_gaps) = (0, 0);
        // In turn: each takes its cheapest kit that is left. Where two cost the same it may take either.
        let mut in_turn = [0, 0];
        let first = found.service.first;
        let numbers = first..first + question.checks;
        for (scenario, numbers) in scenarios(&outlook, &question, Purpose::Counting, numbers) {
            let most = known.most_served(&scenario, &there);
            let counted = (0..job.pumps.len()).filter(|pump| !left_out.contains(pump));
            let kits: Vec<Vec<_>> =
                counted.map(|pump| known.kits(pump, &scenario[pump]).to_vec()).collect();
            let gaps = kits.iter().filter(|kits| kits.is_empty()).count();
            let [worst, best] = one_after_the_other(job, &kits, &there);
            in_turn[0] += if worst { numbers.len() as u32 } else { 0 };
            in_turn[1] += if best { numbers.len() as u32 } else { 0 };
            let impossible = gaps > 0;
            for number in numbers {
                judged += 1;
                none += u32::from(impossible);
                served_except_gaps += u32::from(most + gaps == pumps);
                let Some(verdict) = unserved.remove(&number) else {
                    assert_eq!(most, pumps, "case {seed}, scenario {number}");
                    continue;
                };
                assert!(verdict.certain, "case {seed}, scenario {number}");
                assert_eq!(verdict.pumps.len(), pumps - most, "case {seed}, scenario {number}");
                assert!(most < pumps);
                verdict.pumps.iter().for_each(|&pump| missed[pump] += 1);
                short += 1;
            }
        }
        assert!(unserved.is_empty());
        let service = &found.service;
        assert!((in_turn[0]..=in_turn[1]).contains(&service.in_turn), "case {seed}: {in_turn:?}");
        assert_eq!(service.in_turn_interval, exact_interval(service.in_turn, service.checks, 0.95));
        assert!(service.in_turn <= service.served, "case {seed}");
        exact += usize::from(in_turn[0] == in_turn[1]);
        fewer += usize::from(service.in_turn < service.served);
        assert_eq!(service.missed, missed);
        assert_eq!(service.served + service.unserved.len() as u32, service.checks);
        assert_eq!((service.undecided, service.hopeless), (0, none));
        assert_eq!(service.interval, exact_interval(service.served, service.checks, 0.95));
        assert_eq!(service.served_except_gaps, served_except_gaps, "case {seed}");
        assert_eq!(service.reachable, exact_interval(service.checks - none, service.checks, 0.95));
        hopeless += none;
    }
    println!(
        "{judged} judged, {short} short, {hopeless} hopeless, in turn {exact} exact, {fewer} fewer"
    );
    assert!(exact > 300 && fewer > 30);
    assert!(judged > 20_000 && short > 3_000 && short > hopeless + 1_000);
}

/// Whether every pump is kitted if each takes a cheapest kit of what is left, one after the other: whichever it takes
/// where several cost the same, and at best.
fn one_after_the_other(job: &Job, kits: &[Vec<Pieces>], left: &[u32]) -> [bool; 2] {
    let Some((first, others)) = kits.split_first() else {
        return [true; 2];
    };
    let fitting = smallest(first);
    let fitting: Vec<&Pieces> = fitting.iter().filter(|kit| fits(kit, left)).collect();
    let least = fitting.iter().map(|kit| cost(job, kit)).min();
    let cheapest = fitting.into_iter().filter(|kit| Some(cost(job, kit)) == least);
    let each: Vec<[bool; 2]> = cheapest
        .map(|kit| {
            let rest: Vec<u32> = left.iter().zip(kit).map(|(left, taken)| left - taken).collect();
            one_after_the_other(job, others, &rest)
        })
        .collect();
    [!each.is_empty() && each.iter().all(|of| of[0]), each.iter().any(|of| of[1])]
}

/// The exact probability of service, over all possible measurements of the pumps, lies in the interval: at 99.9 %,
/// and with these seeds, always.
#[test]
fn intervals_hold_the_exact_probability() {
    let (mut asked, mut inside) = (0, 0);
    for seed in 0..400 {
        let (job, mut ranges) = random_outlook(seed, 2).into_parts();
        for expected in ranges.iter_mut().flatten().flatten() {
            expected.law = ExpectedLaw::Even;
        }
        let outlook = Forecast::new(job, ranges).unwrap();
        let question = ProvisionOptions {
            checks: 400,
            level: Millionths::from_raw(999_000),
            probability: Millionths::from_raw(700_000),
            ..question(seed)
        };
        let found = provision(&outlook, &question, &Control::unlimited()).unwrap();
        let there = counted(&found.trolley.pieces, outlook.job().stock.len());
        let exact = exact_service(&outlook, &there);
        let [low, high] = found.service.interval;
        assert!(
            low - 1e-9 <= exact && exact <= high + 1e-9,
            "case {seed}: {exact} not in {low} to {high}"
        );
        asked += 1;
        inside += usize::from(exact > 0.01 && exact < 0.99);
    }
    println!("{asked} asked, {inside} neither sure nor impossible");
    assert!(inside > 60);
}

/// Probability that every pump is served out of these pieces, over all possible measurements.
fn exact_service(outlook: &Forecast, there: &[u32]) -> f64 {
    let mut known = Known::of(outlook);
    let pumps = outlook.job().pumps.len() - left_out(outlook).len();
    // Every scenario with its probability.
    let mut all: Vec<(Vec<Vec<Option<Length>>>, f64)> = vec![(vec![], 1.0)];
    for expected in outlook.expected() {
        let mut lengths: Vec<(Vec<Option<Length>>, f64)> = vec![(vec![], 1.0)];
        for expected in expected {
            let values = chances(expected.as_ref());
            lengths = lengths
                .iter()
                .flat_map(|(lengths, p)| {
                    values.iter().map(move |(value, q)| {
                        let mut lengths = lengths.clone();
                        lengths.push(*value);
                        (lengths, p * q)
                    })
                })
                .collect();
        }
        all = all
            .iter()
            .flat_map(|(scenario, p)| {
                lengths.iter().map(move |(lengths, q)| {
                    let mut scenario = scenario.clone();
                    scenario.push(lengths.clone());
                    (scenario, p * q)
                })
            })
            .collect();
    }
    let total: f64 = all.iter().map(|(_, p)| p).sum();
    assert!((total - 1.0).abs() < 1e-9);
    let served = all.iter().filter(|(s, _)| known.most_served(s, there) == pumps);
    served.map(|(_, p)| p).sum()
}

/// A trolley whose count clears what was asked for keeps the promise: its exact probability is no less. Chosen for just
/// as many of its own scenarios, many would not.
#[test]
fn a_promise_that_is_kept_by_the_count_is_kept() {
    let (mut kept, mut with_margin) = (0, 0);
    for seed in 0..400 {
        let (job, mut ranges) = match seed % 2 {
            0 => random_outlook(seed, 2).into_parts(),
            _ => shared_outlook(seed).into_parts(),
        };
        for expected in ranges.iter_mut().flatten().flatten() {
            expected.law = ExpectedLaw::Even;
        }
        let outlook = Forecast::new(job, ranges).unwrap();
        let probability = [700_000, 800_000, 900_000][seed as usize % 3];
        let question = ProvisionOptions {
            checks: 400,
            scenarios: 60,
            probability: Millionths::from_raw(probability),
            ..question(seed)
        };
        let found = provision(&outlook, &question, &Control::unlimited()).unwrap();
        let asked = f64::from(probability as i32) / 1e6;
        if found.service.interval[0] < asked {
            continue;
        }
        let there = counted(&found.trolley.pieces, outlook.job().stock.len());
        let exact = exact_service(&outlook, &there);
        assert!(exact >= asked, "case {seed}: {exact} of {asked}");
        kept += 1;
        with_margin += usize::from(found.service.first > 0);
    }
    println!("{kept} kept, {with_margin} of them after a trolley that was not enough");
    assert!(kept > 150 && with_margin > 20);
}

/// Values of a range, equally likely.
fn chances(expected: Option<&Expected>) -> Vec<(Option<Length>, f64)> {
    let Some(expected) = expected else {
        return vec![(None, 1.0)];
    };
    let step = half_thou(2).ticks();
    let (low, high) = (expected.low.ticks(), expected.high.ticks());
    let mut values: Vec<i64> = (0..).map(|n| low + n * step).take_while(|v| *v < high).collect();
    values.push(high);
    let share = 1.0 / values.len() as f64;
    let values = values.into_iter();
    values.map(|v| (Some(Length::from_ticks(v)), share)).collect()
}

/// Scenarios for counting differ from those for choosing, and each is fixed however many are drawn.
#[test]
fn the_scenarios_that_are_counted_on_were_not_chosen_by() {
    let mut differ = 0;
    for seed in 0..40 {
        let outlook = random_outlook(seed, 3);
        let question = question(seed);
        let draw =
            |purpose, n| gapwright::provision::scenario(&outlook, &question, purpose, n).unwrap();
        for n in 0..question.scenarios {
            differ += u32::from(draw(Purpose::Choosing, n) != draw(Purpose::Counting, n));
            assert_eq!(draw(Purpose::Choosing, n), draw(Purpose::Choosing, n));
        }
        // More scenarios to choose by: those for counting are unchanged.
        let more = ProvisionOptions { scenarios: 80, ..question };
        let all = |q: &ProvisionOptions| scenarios(&outlook, q, Purpose::Counting, 0..q.checks);
        assert_eq!(all(&question), all(&more));
        let other = ProvisionOptions { seed: seed + 1_000, ..question };
        if outlook.expected().iter().flatten().flatten().any(|e| e.low < e.high) {
            assert_ne!(all(&question), all(&other), "case {seed}");
        }
    }
    println!("{differ} of 1600 differ");
    assert!(differ > 1_000);
}

/// Sources: the peas of Mendel, 682 of 925 (R documentation of binom.test, printed there, from memory and computed
/// again by SciPy's scipy.stats.beta.ppf); the others by SciPy alone.
#[test]
fn exact_intervals_are_those_that_are_published() {
    for (served, checks, level, low, high) in INTERVALS {
        let [l, h] = exact_interval(served, checks, level);
        assert!((l - low).abs() < 1e-9 && (h - high).abs() < 1e-9, "{served} of {checks}: {l} {h}");
    }
}

/// By its definition: at each end the probability of as many or as few is half of the excluded part.
#[test]
fn exact_intervals_leave_out_what_they_say() {
    for (served, checks) in [(0, 1), (1, 1), (1, 2), (3, 17), (50, 60), (59, 60), (60, 60)] {
        let [low, high] = exact_interval(served, checks, 0.9);
        let n = f64::from(checks);
        let chance = |p: f64, k: u32| {
            let ways: f64 = (0..k).map(|i| (n - f64::from(i)) / f64::from(i + 1)).product();
            ways * p.powi(k as i32) * (1.0 - p).powi((checks - k) as i32)
        };
        if served > 0 {
            let above: f64 = (served..=checks).map(|k| chance(low, k)).sum();
            assert!((above - 0.05).abs() < 1e-9, "{served} of {checks}: {above}");
        } else {
            assert!(low == 0.0);
        }
        if served < checks {
            let below: f64 = (0..=served).map(|k| chance(high, k)).sum();
            assert!((below - 0.05).abs() < 1e-9, "{served} of {checks}: {below}");
        } else {
            assert!(high == 1.0);
        }
    }
}

/// Number served, total, level, and both ends: SciPy 1.17.1.
const INTERVALS: [(u32, u32, f64, f64, f64); 5] = [
    (682, 925, 0.95, 0.707_668_264_079_039, 0.765_406_558_241_525_3),
    (950, 1000, 0.95, 0.934_609_512_084_506_4, 0.962_664_602_395_338_2),
    (962, 1000, 0.99, 0.943_585_958_559_925_4, 0.975_843_485_382_211_8),
    (1, 10, 0.95, 0.002_528_578_544_461_786_5, 0.445_016_117_028_195_4),
    (998, 1000, 0.9, 0.993_717_715_453_276_6, 0.999_644_523_866_522_4),
];
