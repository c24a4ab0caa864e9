//! Compares the choice with itself under every linear-programming backend.

use std::time::Duration;

use gapwright::choose::Backend;
use gapwright::choose::choose;
use gapwright::choose::control::Watch;
use gapwright::job::Job;
use gapwright::plan::{Aim, Plan};

use crate::generate;
use crate::outage::outage;

/// Backends may take other paths but must agree: on random outages, and on fleets with a kit for each pump planted in
/// a tight and in an ample stock.
#[test]
fn backends_agree() {
    assert_eq!(Backend::BUILT_IN.len(), 2, "build with both backends");
    let mut alike = 0;
    for seed in 0..120 {
        alike += usize::from(agree(&outage(seed), &format!("outage {seed}")));
    }
    println!("outages proven by both: {alike} of 120");
    assert!(alike >= 100);
    let mut fleets = 0;
    for (pumps, seeds) in [(30, 1..=4), (40, 1..=2), (60, 1..=2), (100, 1..=1)] {
        for (tenths, seed) in [11, 25].into_iter().flat_map(|t| seeds.clone().map(move |s| (t, s)))
        {
            let job = generate::fleet(seed, pumps, 22, 8, tenths, 4);
            let name = format!("{pumps} pumps, {tenths} tenths, seed {seed}");
            fleets += usize::from(agree(&job, &name));
        }
    }
    println!("fleets proven by both: {fleets} of 18");
    // The number proven within the limit depends on the machine.
    assert!(fleets >= 8);
}

/// Whether both backends prove every goal; then all must be equal. One that ends early must not contradict the other.
fn agree(job: &Job, name: &str) -> bool {
    let plans: Vec<Plan> = Backend::BUILT_IN
        .iter()
        .map(|&backend| {
            let control = Watch::patient().limit(Duration::from_secs(5)).backend(backend);
            choose(job, &control).unwrap()
        })
        .collect();
    let [one, other] = plans.as_slice() else { panic!("two backends") };
    if one.proven() && other.proven() {
        assert_eq!(one.goals, other.goals, "{name}");
        // Larger groups keep whichever of the equal plans was found; smaller ones have an order, which is determined
        // last.
        if job.pumps.len() <= 40 && one.stopped_by.is_none() && other.stopped_by.is_none() {
            assert_eq!(one.kits, other.kits, "{name}");
        }
        return one.stopped_by.is_none() && other.stopped_by.is_none();
    }
    println!("{name}: {:?} {:?}", one.stopped_by, other.stopped_by);
    println!("  {:?}\n  {:?}", one.goals, other.goals);
    for (a, b) in one.goals.iter().zip(&other.goals) {
        let served = a.aim == Aim::ServedWeight;
        let beyond = |value: i64, bound: i64| if served { value > bound } else { value < bound };
        assert!(!beyond(a.value, b.bound) && !beyond(b.value, a.bound), "{name}: {a:?} {b:?}");
        // Later goals are bounded under the value of this one, which may differ between the two.
        if !(a.proven() && b.proven()) {
            break;
        }
    }
    false
}
