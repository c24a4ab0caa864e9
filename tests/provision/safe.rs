//! Compares safe kits with every multiset of pieces.

use std::collections::BTreeMap;

use gapwright::accounting::verdicts;
use gapwright::choose::control::Control;
use gapwright::forecast::{Expected, ExpectedLaw, Forecast};
use gapwright::length::Length;
use gapwright::provision::{ProvisionError, ProvisionOptions, SetAside, provision};

use crate::reference::{Known, Pieces, available, cost, fits, measured, multisets};
use crate::{half_thou, question, random_outlook, wide_outlook};

const CASES: u64 = 1_500;

fn counted(pieces: &[SetAside], items: usize) -> Pieces {
    let mut counts = vec![0; items];
    for set in pieces {
        assert!(set.count > 0);
        counts[set.item] += set.count;
    }
    counts
}

#[test]
fn every_safe_kit_is_the_least_of_all_multisets() {
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    for seed in 0..CASES {
        // Every third case is one pump of narrow limits and a wide range.
        let wide = seed % 3 == 0;
        let outlook = if wide { wide_outlook(seed) } else { random_outlook(seed, 2) };
        let job = outlook.job();
        let there = available(job);
        let found = provision(&outlook, &question(seed), &Control::unlimited()).unwrap();
        let mut known = Known::of(&outlook);
        assert_eq!(found.safe.len(), job.pumps.len());
        let mut sum = vec![0; there.len()];
        for (pump, kit) in found.safe.iter().enumerate() {
            let held = counted(&kit.pieces, there.len());
            assert!(fits(&held, &there), "case {seed}");
            // Every value by its definition.
            let grid = grid(&outlook.expected()[pump], half_thou(2));
            assert_eq!(kit.values(), grid.len(), "case {seed}");
            let mut reachable: Vec<Vec<Pieces>> = Vec::new();
            for (value, lengths) in kit.iter().zip(&grid) {
                assert_eq!(value.lengths, lengths.iter().flatten().copied().collect::<Vec<_>>());
                let kits = known.kits(pump, lengths).to_vec();
                assert_eq!(value.take.is_some(), !kits.is_empty(), "case {seed}: gap");
                if let Some(take) = value.take {
                    // The pieces to take meet every requirement and are in the kit.
                    let at = measured(&job.pumps[pump], lengths);
                    assert!(verdicts(job, &at, take).iter().all(|v| v.conforms()));
                    let mut used = vec![0; there.len()];
                    for pick in take.iter().flat_map(|pack| &pack.picks) {
                        used[pick.item] += pick.count;
                    }
                    assert!(fits(&used, &held), "case {seed}");
                    assert!(kits.contains(&used), "case {seed}");
                    reachable.push(kits);
                }
            }
            let gaps = grid.len() - reachable.len();
            assert_eq!(kit.gaps(), gaps);
            reachable.sort();
            reachable.dedup();
            let serves = |set: &&Pieces| {
                let met = |kits: &Vec<Pieces>| kits.iter().any(|kit| fits(kit, set));
                reachable.iter().all(met)
            };
            let all = multisets(&there);
            let best = all.iter().filter(serves);
            let best = best.map(|set| (cost(job, set), set.iter().sum::<u32>())).min().unwrap();
            assert_eq!((kit.cost.raw(), kit.count), best, "case {seed}, pump {pump}");
            assert_eq!((cost(job, &held), held.iter().sum()), best);
            assert!(kit.proven, "case {seed}");
            assert_eq!((kit.bound.raw(), kit.count_bound), best);
            sum.iter_mut().zip(&held).for_each(|(sum, held)| *sum += held);
            // A greedy method would take for each value in turn the cheapest missing pieces.
            let mut greedy = vec![0; there.len()];
            for kits in &reachable {
                let lack = |kit: &&Pieces| {
                    let lack = kit.iter().zip(&greedy).map(|(k, g)| k.saturating_sub(*g));
                    cost(job, &lack.collect::<Vec<_>>())
                };
                let kit = kits.iter().min_by_key(lack).unwrap();
                greedy.iter_mut().zip(kit).for_each(|(g, k)| *g = (*k).max(*g));
            }
            let mut note = |what, is: bool| *seen.entry(what).or_default() += usize::from(is);
            note("gaps", gaps > 0 && !reachable.is_empty());
            note("greedy dearer", cost(job, &greedy) > best.0);
            note("several values", reachable.len() > 1);
            note("three pieces", held.iter().sum::<u32>() > 2);
            note("nothing reachable", reachable.is_empty());
        }
        assert_eq!(counted(&found.together.pieces, there.len()), sum);
        let lacking: Pieces = sum.iter().zip(&there).map(|(s, t)| s.saturating_sub(*t)).collect();
        assert_eq!(counted(&found.together.lacking, there.len()), lacking);
        assert_eq!(found.together.cost.raw(), cost(job, &sum));
        *seen.entry("lacking together").or_default() += usize::from(lacking.iter().any(|n| *n > 0));
    }
    println!("{seen:?}");
    assert!(seen.values().all(|&times| times > 40), "{seen:?}");
}

/// Values by their definition: the low end, steps up from it, the high end.
fn grid(expected: &[Option<Expected>], step: Length) -> Vec<Vec<Option<Length>>> {
    expected.iter().fold(vec![vec![]], |grid, expected| {
        let values: Vec<Option<Length>> = match expected {
            None => vec![None],
            Some(e) => {
                let mut at = e.low;
                let mut values = Vec::new();
                while at < e.high {
                    values.push(Some(at));
                    at = at + step;
                }
                values.push(Some(e.high));
                values
            }
        };
        let longer = |row: Vec<Option<Length>>| {
            values
                .iter()
                .map(move |value| {
                    let mut row = row.clone();
                    row.push(*value);
                    row
                })
                .collect::<Vec<_>>()
        };
        grid.into_iter().flat_map(longer).collect()
    })
}

/// Without any effort a kit still covers everything and its bound still holds.
#[test]
fn a_search_cut_short_says_so_and_its_bound_holds() {
    let mut open = 0;
    for seed in 0..400 {
        let outlook = wide_outlook(seed);
        let whole = provision(&outlook, &question(seed), &Control::unlimited()).unwrap();
        let short = ProvisionOptions { effort: 0, ..question(seed) };
        let short = provision(&outlook, &short, &Control::unlimited()).unwrap();
        for (short, whole) in short.safe.iter().zip(&whole.safe) {
            assert!(short.bound <= whole.cost && whole.cost <= short.cost, "case {seed}");
            assert_eq!(short.gaps(), whole.gaps());
            if short.proven {
                assert_eq!((short.cost, short.count), (whole.cost, whole.count));
            }
            open += usize::from(!short.proven);
        }
    }
    println!("{open} not proven");
    assert!(open > 40);
}

#[test]
fn too_many_values_are_refused_with_a_step_that_makes_few_enough() {
    let (job, _) = random_outlook(1, 1).into_parts();
    let wide = Expected { low: half_thou(2), high: half_thou(400), law: ExpectedLaw::Even };
    let outlook = Forecast::new(job, vec![vec![Some(wide), Some(wide)]]).unwrap();
    let fine = ProvisionOptions::new(Length::from_ticks(1_270));
    let fault = provision(&outlook, &fine, &Control::unlimited()).unwrap_err();
    let ProvisionError::TooManyValues { values, step, .. } = &fault else {
        panic!("{fault}");
    };
    // 398 half thou of 127,000 ticks in steps of 1,270, both ends among them, in both dimensions.
    assert_eq!(*values, 39_801 * 39_801);
    assert!(step.ticks() % 1_270 == 0);
    // By the definition: 141 values squared are fewer than 20,000, 142 are not.
    let number = |step: i64| (398 * 127_000_i64 + step - 1) / step + 1;
    assert!(number(step.ticks()).pow(2) <= 20_000);
    assert!(number(step.ticks() - 1_270).pow(2) > 20_000);
    let nm = step.ticks() / 10;
    assert!(fault.to_string().contains(&format!("steps of {nm}")), "{fault}");
}

#[test]
fn questions_that_are_none_are_refused() {
    let outlook = random_outlook(1, 1);
    let ask = |change: &dyn Fn(&mut ProvisionOptions)| {
        let mut question = question(1);
        change(&mut question);
        provision(&outlook, &question, &Control::unlimited()).unwrap_err()
    };
    let millionths = gapwright::decimal::Millionths::from_raw;
    assert_eq!(ask(&|q| q.step = Length::ZERO), ProvisionError::Step);
    assert_eq!(ask(&|q| q.probability = millionths(0)), ProvisionError::Probability);
    assert_eq!(ask(&|q| q.probability = millionths(1_000_001)), ProvisionError::Probability);
    assert_eq!(ask(&|q| q.level = millionths(1_000_000)), ProvisionError::Level);
    assert_eq!(ask(&|q| q.scenarios = 0), ProvisionError::Scenarios(0, 100_000));
    assert_eq!(ask(&|q| q.checks = 1_000_001), ProvisionError::Scenarios(1_000_001, 1_000_000));
}
