//! Certificates of random small outages: each that is made is accepted, and none is that claims too much.

use gapwright::accounting::scarcity_points;
use gapwright::certificate::{Certificate, GoalProof, ProofMultipliers, ProofSplit};
use gapwright::choose::choose;
use gapwright::choose::control::Control;
use gapwright::job::Job;
use gapwright::plan::{Kit, Objective, Plan};
use gapwright::verify::{AddedUp, NotShown, verify};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::{account, best_of, by_the_pack, random_job, ways_of};

const CASES: u64 = 4_000;

fn has_suppliers(job: &Job) -> bool {
    !job.plates.is_empty() || (0..job.stock.len()).any(|item| by_the_pack(job, item))
}

#[test]
fn every_certificate_that_is_made_is_accepted() {
    let (mut splits, mut groups, mut supplied, mut shared) = (0, 0, 0, 0);
    for seed in 0..CASES {
        let job = random_job(seed);
        let plan = choose(&job, &Control::unlimited()).unwrap();
        let proofs = || plan.certificate.groups.iter().flat_map(|group| &group.goals).flatten();
        splits += proofs().filter(|goal| goal.nodes.len() > 1).count();
        groups += usize::from(plan.certificate.groups.len() > 1);
        let verified = verify(job.clone(), plan.clone()).unwrap();
        supplied += usize::from(has_suppliers(&job));
        for (goal, added_up) in plan.goals.iter().zip(verified.added_up()) {
            match added_up {
                AddedUp::Not(NotShown::Suppliers) if has_suppliers(&job) => shared += 1,
                _ => assert_eq!(added_up, &AddedUp::Agrees, "case {seed}: {goal:?}"),
            }
        }
    }
    println!(
        "{splits} proofs with splits, {groups} cases of several groups, {supplied} with packs or plates, {shared} goals not shown for shared ones"
    );
    assert!(splits > 100 && supplied > 500 && shared < 100);
}

/// The plan with its true values, said to be proven.
fn claimed(job: &Job, plan: &Plan, seed: u64) -> ([i64; 5], Plan) {
    let (value, _) = account(job, plan, &ways_of(job), seed);
    let mut plan = plan.clone();
    for goal in &mut plan.goals {
        goal.value = match goal.objective {
            Objective::ServedWeight => -value[0],
            Objective::Waste => value[1],
            Objective::Plates => value[2],
            Objective::Pieces => value[3],
            Objective::Scarcity => value[4],
            _ => unreachable!(),
        };
        goal.bound = goal.value;
    }
    (value, plan)
}

/// Places of the goals after serving among the values: plates only where there are any.
fn after_serving(job: &Job) -> impl Iterator<Item = usize> {
    (1..5).filter(|at| *at != 2 || !job.plates.is_empty())
}

/// Claims bounds for a plan that are its values, where there is one group of pumps.
fn claim(job: &Job, plan: &mut Plan, value: [i64; 5]) {
    let mut priorities: Vec<u32> = job.pumps.iter().map(|pump| pump.priority).collect();
    priorities.sort_unstable();
    priorities.dedup();
    let served = |priority: u32| {
        let all = job.pumps.iter().zip(&plan.kits);
        let served = |kit: &Kit| matches!(kit, Kit::Served(_));
        let of_it = all.filter(|(pump, kit)| pump.priority == priority && served(kit));
        -i64::try_from(of_it.count()).unwrap()
    };
    let mut bounds: Vec<i64> = priorities.into_iter().map(served).collect();
    bounds.extend(after_serving(job).map(|at| value[at]));
    for goals in plan.certificate.groups.iter_mut().map(|group| &mut group.goals) {
        for (goal, &bound) in goals.iter_mut().zip(&bounds) {
            goal.get_or_insert_with(GoalProof::default).bound = bound;
        }
    }
}

/// One thing changed, of any kind.
fn change(rng: &mut ChaCha8Rng, certificate: &mut Certificate) {
    let Some(group) = certificate.groups.first_mut() else { return };
    let sets = group.sets.len();
    let all: Vec<usize> = (0..group.goals.len()).filter(|&at| group.goals[at].is_some()).collect();
    let Some(&at) = all.get(rng.random_range(0..all.len().max(1))) else { return };
    let Some(goal) = &mut group.goals[at] else { return };
    if goal.nodes.is_empty() {
        return;
    }
    if !goal.cuts.is_empty() && rng.random_bool(0.3) {
        return change_cut(rng, sets, at, goal);
    }
    let node = rng.random_range(0..goal.nodes.len());
    let many = goal.nodes.len();
    let node = &mut goal.nodes[node];
    let other =
        [-(1_i128 << 60), 0, 1, 1 << 48, 1 << 70, 1 << 120, i128::MAX][rng.random_range(0..7)];
    match rng.random_range(0..7) {
        0 => node.multipliers = ProofMultipliers::default(),
        1 if sets > 0 => node.multipliers.sets.push((rng.random_range(0..sets + 1), other, 0)),
        2 if sets > 0 => node.multipliers.sets.push((rng.random_range(0..sets), 0, other)),
        3 => node.multipliers.goals.push((rng.random_range(0..at + 2), other)),
        4 => node.split = None,
        5 => {
            let half = rng.random_range(0..many + 2);
            let split = ProofSplit::Served { pump: rng.random_range(0..4) };
            node.split = Some((split, [half, half.saturating_sub(1)]));
        }
        _ => goal.before.push(ProofMultipliers {
            sets: (0..sets).map(|set| (set, other.clamp(0, 1 << 60), 0)).collect(),
            ..ProofMultipliers::default()
        }),
    }
}

fn change_cut(rng: &mut ChaCha8Rng, sets: usize, at: usize, goal: &mut GoalProof) {
    let many = goal.cuts.len();
    let cut = &mut goal.cuts[rng.random_range(0..many)];
    let weight = [-1, 1, 1 << 30, (1 << 50) - 1, 1 << 50, i128::MAX][rng.random_range(0..6)];
    match rng.random_range(0..6) {
        0 if sets > 0 => cut.sets.push((rng.random_range(0..sets + 1), weight)),
        1 => cut.goals.push((rng.random_range(0..at + 2), weight)),
        2 => cut.cuts.push((rng.random_range(0..many + 1), weight)),
        3 => cut.pumps.clear(),
        4 => {
            let multipliers = &mut goal.nodes[0].multipliers;
            multipliers.cuts.push((rng.random_range(0..many + 1), weight << 20));
        }
        _ => {
            if let Some(of) = cut.pumps.first_mut() {
                *of = [-1, 0, 1 << 19, 1 << 20, i64::MAX][rng.random_range(0..5)];
            }
        }
    }
}

/// Holds what the checker says of a plan against all plans: the first goal on which one is better must not be shown.
/// Returns whether there is such a goal.
fn holds(job: &Job, [value, best]: [[i64; 5]; 2], plan: &Plan, what: &str) -> bool {
    let verified = verify(job.clone(), plan.clone()).unwrap();
    let mut goals = [0].into_iter().chain(after_serving(job));
    let first = goals.position(|at| value[at] != best[at]);
    if let Some(first) = first {
        let added_up = &verified.added_up()[first];
        assert_ne!(added_up, &AddedUp::Agrees, "{what}: {value:?} {best:?}");
    }
    first.is_some()
}

#[test]
fn no_certificate_that_claims_too_much_is_accepted() {
    let mut rng = ChaCha8Rng::seed_from_u64(20);
    let (mut worse, mut other_reading, mut still) = (0, 0, 0);
    for seed in 0..CASES {
        let job = random_job(seed);
        let plan = choose(&job, &Control::unlimited()).unwrap();
        let item = rng.random_range(0..job.stock.len());
        if plan.certificate.groups.len() != 1 || job.stock[item].cut.is_some() {
            continue;
        }
        // A plan of a poorer stock is one of this stock, too, and mostly no longer the best.
        let poor = job.clone().with(|parts| {
            let lot = &mut parts.stock[item];
            lot.reserved = lot.on_hand.min(lot.reserved + 1 + seed as u32 % 2);
        });
        let poor = choose(&poor.unwrap(), &Control::unlimited()).unwrap();
        let (value, mut poor) = claimed(&job, &poor, seed);
        claim(&job, &mut poor, value);
        let mut forged = poor.clone();
        forged.certificate = plan.certificate.clone();
        claim(&job, &mut forged, value);
        let both = [value, best_of(&job, &ways_of(&job)).value.unwrap()];
        worse += usize::from(holds(&job, both, &poor, &format!("case {seed}, poorer stock")));
        for number in 0..8 {
            let what = format!("case {seed}, change {number}");
            holds(&job, both, &forged, &what);
            for of in [&mut poor, &mut forged] {
                if number % 4 == 0 {
                    of.certificate = plan.certificate.clone();
                    claim(&job, of, value);
                }
                change(&mut rng, &mut of.certificate);
                holds(&job, both, of, &what);
            }
        }
        // Another reading: where the plan still holds, its certificate may not.
        let thou = [-254_000, 254_000, 127_000][rng.random_range(0..3)];
        let pump = rng.random_range(0..job.pumps.len());
        let moved = job.clone().with(|parts| {
            let measured = &mut parts.pumps[pump].dimensions[0];
            measured.value = gapwright::length::Length::from_ticks(measured.value.ticks() + thou);
            measured.readings = vec![measured.value];
        });
        let Ok(moved) = moved else { continue };
        if ways_of(&moved)[pump].len() != ways_of(&job)[pump].len() {
            let anew = choose(&moved, &Control::unlimited()).unwrap();
            let (value, mut other) = claimed(&moved, &anew, seed);
            other.certificate = plan.certificate.clone();
            claim(&moved, &mut other, value);
            other_reading += 1;
            let best = best_of(&moved, &ways_of(&moved)).value.unwrap();
            holds(&moved, [value, best], &other, &format!("case {seed}, another reading"));
            let verified = verify(moved, other).unwrap();
            still += usize::from(verified.added_up().iter().all(|one| *one == AddedUp::Agrees));
        }
    }
    println!(
        "{worse} worse plans; {other_reading} other readings, of which {still} are still shown"
    );
    assert!(worse > 100 && other_reading > 100);
}

/// Stock without slack, searched with cuts from the first: the values are those of the search without, every certificate is
/// accepted, and none of a better plan is that is laid under a worse one, nor what is changed in it.
#[test]
fn cuts_are_added_up_again() {
    let mut rng = ChaCha8Rng::seed_from_u64(21);
    let (mut with_cuts, mut forged) = (0, 0);
    for seed in 0..120 {
        let job = super::generate::fleet(seed, 8 + seed as usize % 9, 9, 5, 10, 3);
        let plan = choose(&job, &Control::unlimited().cuts_after(0)).unwrap();
        let other = choose(&job, &Control::unlimited().cuts_after(usize::MAX)).unwrap();
        let values = |plan: &Plan| plan.goals.iter().map(|goal| goal.value).collect::<Vec<i64>>();
        assert_eq!(values(&plan), values(&other), "case {seed}");
        let verified = verify(job.clone(), plan.clone()).unwrap();
        let added_up = verified.added_up();
        let agree = added_up.iter().all(|goal| *goal == AddedUp::Agrees);
        assert!(agree && plan.proven(), "case {seed}: {:?} {added_up:?}", plan.goals);
        let [group] = plan.certificate.groups.as_slice() else { continue };
        let cut =
            |goal: &Option<GoalProof>| goal.as_ref().is_some_and(|goal| !goal.cuts.is_empty());
        let Some(at) = group.goals.iter().position(cut) else { continue };
        with_cuts += 1;
        // Goals of the certificate and of the plan differ in number where there are several priorities.
        let from_the_end = group.goals.len() - at;
        let mut worse = (0..job.stock.len()).filter_map(|item| {
            let poor = job.clone().with(|parts| {
                let lot = &mut parts.stock[item];
                lot.reserved = lot.on_hand.min(lot.reserved + 1);
            });
            let poor = choose(&poor.unwrap(), &Control::unlimited()).unwrap();
            let of = |plan: &Plan| plan.goals[plan.goals.len() - from_the_end].value;
            (poor.served() == plan.served() && of(&poor) > of(&plan)).then_some(poor)
        });
        let Some(mut poor) = worse.next() else { continue };
        // Points depend on what is there.
        let points = |(lot, issued): (&gapwright::stock::Item, u32)| {
            scarcity_points(lot.available(), lot.min_level) * i64::from(issued)
        };
        let points = job.stock.iter().zip(poor.issued(&job)).map(points).sum();
        poor.goals.last_mut().unwrap().value = points;
        poor.goals.iter_mut().for_each(|goal| goal.bound = goal.value);
        let goal = poor.goals.len() - from_the_end;
        let claim = |certificate: &Certificate| {
            let mut certificate = certificate.clone();
            let goals = certificate.groups[0].goals.iter_mut().rev().zip(poor.goals.iter().rev());
            goals.take(from_the_end).for_each(|(proof, goal)| {
                proof.get_or_insert_with(GoalProof::default).bound = goal.value;
            });
            certificate
        };
        for number in 0..40 {
            let mut certificate = claim(&plan.certificate);
            for _ in 0..number % 4 {
                let sets = certificate.groups[0].sets.len();
                let Some(goal) = &mut certificate.groups[0].goals[at] else { unreachable!() };
                change_cut(&mut rng, sets, at, goal);
            }
            forged += 1;
            let certificate = Plan { certificate, ..poor.clone() };
            let shown = verify(job.clone(), certificate).unwrap();
            assert_ne!(shown.added_up()[goal], AddedUp::Agrees, "case {seed}, change {number}");
        }
    }
    println!("{with_cuts} certificates with cuts, {forged} forged ones");
    assert!(with_cuts > 20 && forged > 400);
}

/// A certificate that says nothing of a goal, or of a pump, shows nothing.
#[test]
fn a_certificate_without_a_part_shows_nothing() {
    let job = (0..).map(random_job).find(|job| !has_suppliers(job) && job.pumps.len() > 2).unwrap();
    let plan = choose(&job, &Control::unlimited()).unwrap();
    let shown = |change: &dyn Fn(&mut Certificate)| {
        let mut plan = plan.clone();
        change(&mut plan.certificate);
        verify(job.clone(), plan).unwrap().added_up().to_vec()
    };
    assert!(shown(&|_| {}).iter().all(|one| *one == AddedUp::Agrees));
    let none = shown(&|certificate| certificate.groups.clear());
    assert!(none.iter().all(|one| *one == AddedUp::Not(NotShown::NoCertificate)), "{none:?}");
    let without = shown(&|certificate| {
        certificate.groups[0].pumps.remove(0);
    });
    assert!(
        without.iter().all(|one| matches!(one, AddedUp::Not(NotShown::Wrong(_)))),
        "{without:?}"
    );
    let twice = shown(&|certificate| {
        let first = certificate.groups[0].pumps[0];
        certificate.groups[0].pumps.push(first);
    });
    assert!(twice.iter().all(|one| matches!(one, AddedUp::Not(NotShown::Wrong(_)))), "{twice:?}");
}
