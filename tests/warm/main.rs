//! Planning again from what the last choice left, beside planning afresh: after random edits both give the same plan, with
//! the same goals shown by their certificates.

#![allow(clippy::cast_possible_truncation, clippy::unwrap_used, clippy::expect_used, missing_docs)]

#[path = "../bench/generate.rs"]
mod generate;
#[path = "../bench/irregular.rs"]
mod irregular;
#[path = "../solver/outage.rs"]
mod outage;

use gapwright::choose::control::Control;
use gapwright::choose::warm::Warm;
use gapwright::choose::{choose, choose_from};
use gapwright::job::{Job, Parts, Standing};
use gapwright::length::Length;
use gapwright::plan::{Kit, Plan};
use gapwright::verify::{AddedUp, verify};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Outages of each of three kinds.
const CASES: usize = 60;
/// Edits of each outage, one after the other.
const EDITS: usize = 4;

#[derive(Default)]
struct Counts {
    plans: usize,
    shown: usize,
    changed: usize,
    short: usize,
}

impl Counts {
    fn follow(&mut self, mut job: Job, rng: &mut ChaCha8Rng, name: &str) {
        let control = Control::unlimited();
        let mut warm = Warm::default();
        let mut before = choose_from(&job, &mut warm, &control).unwrap();
        for step in 0..EDITS {
            let plan = before.clone();
            job = job.with(|parts| edit(parts, &plan, rng)).unwrap();
            let fresh = choose(&job, &control).unwrap();
            let again = choose_from(&job, &mut warm, &control).unwrap();
            let at = format!("{name}, edit {step}");
            assert_eq!(again.goals, fresh.goals, "{at}");
            assert_eq!((again.stopped_by, &again.left_out), (None, &fresh.left_out), "{at}");
            let ordered = job.plates.is_empty() && !job.policy.opened_cartons_spoiled;
            // Large groups that share packs or plates keep any of the best plans.
            if ordered || job.pumps.len() <= 20 {
                assert_eq!(again.kits, fresh.kits, "{at}");
                assert_eq!(again.layouts, fresh.layouts, "{at}");
            }
            self.changed += usize::from(again.kits != before.kits);
            self.short += again.kits.len() - again.served();
            self.plans += 1;
            before = again.clone();
            let [fresh, again] = [fresh, again].map(|plan| verify(job.clone(), plan).unwrap());
            assert_eq!(again.added_up(), fresh.added_up(), "{at}");
            self.shown += again.added_up().iter().filter(|one| **one == AddedUp::Agrees).count();
        }
    }
}

/// One change, as somebody at the bench or in the store makes it.
fn edit(parts: &mut Parts, plan: &Plan, rng: &mut ChaCha8Rng) {
    let at = rng.random_range(0..parts.pumps.len());
    let item = rng.random_range(0..parts.stock.len());
    let pump = &mut parts.pumps[at];
    match rng.random_range(0..10) {
        0..=3 => {
            let gap = &mut pump.dimensions[0];
            let by = Length::from_ticks(254_000 * rng.random_range(-3..=3));
            gap.value = gap.value + by;
            gap.readings.iter_mut().for_each(|reading| *reading = *reading + by);
        }
        4 => pump.priority = rng.random_range(1..=3),
        5 => {
            if let gapwright::model::Form::Linear { lower: Some(lower), .. } =
                &mut pump.requirements[0].form
            {
                *lower = *lower - Length::from_ticks(25_400);
            }
        }
        6 => parts.stock[item].on_hand += 1,
        7 => {
            let lot = &mut parts.stock[item];
            lot.on_hand = lot.on_hand.saturating_sub(1).max(lot.reserved);
        }
        8 if parts.pumps.len() > 2 => {
            parts.pumps.remove(at);
            parts.standing.clear();
        }
        _ => {
            // Some of the kits lie in bags, and all stand on slips.
            let standing = plan.kits.iter().map(|kit| match kit {
                Kit::Served(packs) => Standing {
                    bag: rng.random_bool(0.2).then(|| packs.clone()),
                    slip: Some(packs.clone()),
                    ..Standing::default()
                },
                Kit::Short(_) => Standing::default(),
            });
            parts.standing = standing.collect();
        }
    }
}

#[test]
fn an_edit_comes_to_the_plan_of_a_fresh_choice() {
    let mut counts = Counts::default();
    for seed in (0..).take(CASES) {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        counts.follow(outage::outage(seed), &mut rng, &format!("outage {seed}"));
        let pumps = rng.random_range(4..=14);
        let tenths = [10, 11, 25][rng.random_range(0..3)];
        let fleet = generate::fleet(seed, pumps, 9, 4, tenths, 3);
        counts.follow(fleet, &mut rng, &format!("fleet {seed}"));
        // Larger ones without slack are not always proven.
        let fleet = irregular::fleet(seed, pumps.min(8), 8, tenths);
        counts.follow(fleet, &mut rng, &format!("irregular fleet {seed}"));
    }
    let Counts { plans, shown, changed, short } = counts;
    assert!(plans == 3 * CASES * EDITS && shown > 5 * plans / 2, "{plans} {shown}");
    assert!(changed > plans / 4 && short > 10, "{changed} {short}");
}

/// Nothing of another shop is taken over.
#[test]
fn another_job_is_chosen_afresh() {
    let control = Control::unlimited();
    let mut warm = Warm::default();
    for seed in 0..40 {
        let dearer = generate::fleet(7, 8, 9, 4, 11, 3).with(|parts| {
            let cost = &mut parts.stock[usize::try_from(seed % 9).unwrap()].unit_cost;
            *cost = *cost + *cost;
        });
        for job in [outage::outage(seed), dearer.unwrap()] {
            let again = choose_from(&job, &mut warm, &control).unwrap();
            let fresh = choose(&job, &control).unwrap();
            assert_eq!((again.goals, again.kits), (fresh.goals, fresh.kits), "{seed}");
        }
    }
}
