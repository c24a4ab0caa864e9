//! Pieces held back beside plates that are cut and packs that are spoiled: as going through all plans says, every goal
//! proven and every certificate accepted.

use gapwright::job::HoldBack;
use gapwright::verify::{AddedUp, NotShown, verify};

use super::*;

const CASES: u64 = 3_000;

/// An outage with plates or packs to spoil, and some whole pieces to hold back.
fn withheld(seed: u64, rng: &mut ChaCha8Rng) -> Option<Job> {
    let job = random_job(seed);
    let together = (0..job.stock.len()).any(|item| by_the_pack(&job, item));
    if job.plates.is_empty() && !together {
        return None;
    }
    let single = |item: &usize| {
        let lot = &job.stock[*item];
        lot.cut.is_none() && !by_the_pack(&job, *item) && lot.on_hand > lot.reserved
    };
    let items: Vec<usize> = (0..job.stock.len()).filter(single).collect();
    if items.is_empty() {
        return None;
    }
    let piece = |_| HoldBack {
        item: items[rng.random_range(0..items.len())],
        worth: rng.random_range(1..=9),
    };
    let pieces: Vec<HoldBack> = (0..3).map(piece).collect();
    job.with(|parts| parts.hold_back = pieces).ok()
}

#[test]
fn pieces_are_held_back_beside_plates_and_packs_as_exhaustive_search_says() {
    let mut rng = ChaCha8Rng::seed_from_u64(44);
    let (mut cases, mut cut, mut part, mut dearer) = (0, 0, 0, 0);
    for seed in 0..CASES {
        let Some(job) = withheld(seed, &mut rng) else { continue };
        cases += 1;
        let plan = choose(&job, &Control::unlimited()).unwrap();
        let of = |aim| plan.goal(aim).map_or(0, |goal| goal.value);
        let found = [
            -of(Objective::ServedWeight) * HELD - of(Objective::HeldBack),
            of(Objective::Waste),
            of(Objective::Plates),
            of(Objective::Pieces),
            of(Objective::Scarcity),
        ];
        assert_eq!(Some(found), best_of(&job, &ways_of(&job)).value, "case {seed}");
        assert!(plan.proven(), "case {seed}: {:?}", plan.goals);
        let free = job.clone().with(|parts| parts.hold_back.clear()).unwrap();
        let free = choose(&free, &Control::unlimited()).unwrap();
        let waste = free.goal(Objective::Waste).map(|goal| goal.value);
        dearer += usize::from(waste < Some(of(Objective::Waste)));
        cut += usize::from(!plan.layouts.is_empty());
        part += usize::from(plan.held_back.len() < job.hold_back.len());
        let verified = verify(job.clone(), plan).unwrap_or_else(|b| panic!("case {seed}: {b:?}"));
        for (goal, added_up) in verified.plan().goals.iter().zip(verified.added_up()) {
            let shared = *added_up == AddedUp::Not(NotShown::Suppliers);
            assert!(shared || *added_up == AddedUp::Agrees, "case {seed}: {goal:?} {added_up:?}");
        }
    }
    println!("{cases} cases: plates cut in {cut}, not all held back in {part}, dearer in {dearer}");
    assert!(cases > 500 && cut > 100 && part > 100 && dearer > 20);
}
