//! Random days in a store, compared with a store that only adds and subtracts.

use std::collections::BTreeMap;

use gapwright::issue::counts::{CountedLot, Counts};
use gapwright::issue::log::{How, Log};
use gapwright::issue::planned::{PickStep, Planned, PlannedLine};
use gapwright::issue::record::{self, Carried, Filled, StockAndLog};
use gapwright::problem::{Place, Problems};
use gapwright::read::{Memory, issue_log_of};
use gapwright::write;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

fn counts(store: &BTreeMap<String, u32>) -> Counts {
    let mut counts = Counts::default();
    for (item, on_hand) in store {
        counts.add(CountedLot {
            item: item.clone(),
            on_hand: *on_hand,
            reserved: 0,
            unit_cost: None,
            make: Some(Vec::new()),
            place: Place::file("stock"),
        });
    }
    counts
}

/// Events of the random days, to be sure that all kinds were covered.
#[derive(Debug, Default)]
struct Seen {
    issued: u32,
    partly: u32,
    instead: u32,
    back: u32,
    counted: u32,
    refused: u32,
}

#[test]
fn random_days_end_with_the_counts_of_a_store_that_only_adds_and_takes_away() {
    let mut seen = Seen::default();
    for seed in 0..300 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut store: BTreeMap<String, u32> =
            (0..5).map(|n| (format!("S{n}"), rng.random_range(0..12))).collect();
        let mut log = Log::new();
        // Pieces that are out, by tag and item, as the plain store knows them.
        let mut out: BTreeMap<(String, String), u32> = BTreeMap::new();
        for day in 0..8 {
            let stock = counts(&store);
            let standing = StockAndLog {
                counts: &stock,
                sha256: "",
                stock: Place::file("stock"),
                log: &log,
                log_place: Place::file("log"),
            };
            let mut problems = Problems::new();
            let date = format!("2027-03-{:02}", day + 1);
            match rng.random_range(0..4) {
                0 => {
                    // Goods come in, or some are gone.
                    let item = format!("S{}", rng.random_range(0..5));
                    let new = rng.random_range(0..12);
                    let known = log.known().any(|(name, last)| name == item && last != new);
                    store.insert(item.clone(), new);
                    let stock = counts(&store);
                    let standing = StockAndLog { counts: &stock, ..standing };
                    let mut refusal = Problems::new();
                    record::fit(&standing, false, &mut refusal);
                    assert_eq!(refusal.none(), !known);
                    let moves = record::fit(&standing, true, &mut problems);
                    assert!(problems.none());
                    assert_eq!(moves.movements.len(), usize::from(known));
                    seen.counted += u32::from(known);
                    log.append(&date, moves.movements);
                }
                1 => {
                    let mut tags: Vec<String> = out
                        .iter()
                        .filter(|(_, n)| **n > 0)
                        .map(|((tag, _), _)| tag.clone())
                        .collect();
                    tags.dedup();
                    let Some(tag) = tags.first().cloned() else {
                        continue;
                    };
                    let moves = record::put_back(
                        std::slice::from_ref(&tag),
                        &[],
                        &standing,
                        false,
                        &mut problems,
                    );
                    assert!(problems.none(), "{problems:?}");
                    for ((of, item), count) in &mut out {
                        if *of == tag {
                            *store.get_mut(item).unwrap() += std::mem::take(count);
                        }
                    }
                    seen.back += 1;
                    log.append(&date, moves.movements);
                    for (item, after) in &moves.after {
                        assert_eq!(store[item], *after);
                    }
                }
                _ => {
                    // A plan takes about half of the store's pieces; people pick fewer, more or others.
                    let tag = format!("P{seed}-{day}");
                    let items: Vec<String> = store.keys().cloned().collect();
                    let mut lines = Vec::new();
                    let mut filled = Vec::new();
                    let mut taken: Vec<(String, u32)> = Vec::new();
                    for item in &items {
                        let planned = store[item] / 2;
                        if planned == 0 || rng.random_bool(0.3) {
                            continue;
                        }
                        let picked =
                            rng.random_bool(0.5).then(|| rng.random_range(0..=planned + 1));
                        let fewer = picked.is_some_and(|picked| picked < planned);
                        let instead = (fewer && rng.random_bool(0.5)).then(|| {
                            (
                                items[rng.random_range(0..items.len())].clone(),
                                rng.random_range(1..4),
                            )
                        });
                        taken.push((item.clone(), picked.unwrap_or(planned)));
                        taken.extend(instead.clone());
                        seen.partly += u32::from(fewer);
                        seen.instead += u32::from(instead.is_some());
                        lines.push(PlannedLine {
                            step: PickStep::Pick,
                            tag: tag.clone(),
                            place: "Shims".into(),
                            item: item.clone(),
                            planned,
                            why: None,
                        });
                        filled.push(Filled {
                            picked,
                            instead,
                            note: String::new(),
                            at: Place::file("plan"),
                            instead_at: Place::file("plan"),
                        });
                    }
                    let carried = Carried {
                        planned: Planned { stock_sha256: String::new(), lines },
                        filled,
                        extras: Vec::new(),
                        before: stock.clone(),
                        returned: Vec::new(),
                        place: Place::file("plan"),
                        pumps_sha256: None,
                        rules: Default::default(),
                    };
                    let moves = record::issue(&carried, &[], &standing, false, &mut problems);
                    let mut after = store.clone();
                    let enough = taken.iter().all(|(item, count)| {
                        let left = after.get_mut(item).unwrap();
                        let enough = *left >= *count;
                        *left = left.saturating_sub(*count);
                        enough
                    });
                    assert_eq!(problems.none(), enough, "{:?}", problems.sorted());
                    if !enough {
                        seen.refused += 1;
                        continue;
                    }
                    seen.issued += 1;
                    for (item, count) in taken {
                        *out.entry((tag.clone(), item)).or_default() += count;
                    }
                    store = after;
                    for (item, after) in &moves.after {
                        assert_eq!(store[item], *after);
                    }
                    log.append(&date, moves.movements);
                }
            }
            for (item, last) in log.known() {
                assert_eq!(store[item], last, "seed {seed}, day {day}");
            }
        }
        // Demand is the sum of the lines, however it is calculated.
        for item in store.keys() {
            let demand = log.demand(item, "2027-03-01", "2027-03-31");
            let sum = |pick: fn(i64) -> i64| -> i64 {
                let lines = log.entries().iter().map(|entry| &entry.movement);
                let lines = lines.filter(|m| m.item == *item && m.how != How::Counted);
                lines.map(|m| pick(m.out)).filter(|n| *n > 0).sum()
            };
            assert_eq!(i64::try_from(demand.out).unwrap(), sum(|n| n));
            assert_eq!(i64::try_from(demand.back).unwrap(), sum(|n| -n));
        }
        let bytes = write::issue_log(&log, "2027-03-31").unwrap();
        assert_eq!(issue_log_of("log.xlsx", bytes, &mut Memory::default()), Ok(log));
    }
    println!("{seen:?}");
    assert!(seen.issued > 300 && seen.partly > 100 && seen.instead > 50);
    assert!(seen.back > 100 && seen.counted > 100 && seen.refused > 20);
}
