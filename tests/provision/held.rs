//! Pieces held back, beside every plan of small outages.

use gapwright::choose::choose;
use gapwright::choose::control::Control;
use gapwright::decimal::Money;
use gapwright::job::{HoldBack, Job, Standing};
use gapwright::plan::{Kit, Objective, PackPick, Pick, Plan};
use gapwright::policy::Policy;
use gapwright::pump::Pump;
use gapwright::verify::{AddedUp, verify};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::left::{Case, case, pump};

/// Small outage with packed bags and pieces to hold back.
fn outage(random: &mut ChaCha8Rng) -> Case {
    let Case { job, sizes, within } = case(random);
    let mut parts = job.into_parts();
    parts.policy = Policy { handling: Money::ZERO, off_target: Money::ZERO, ..Policy::default() };
    for lot in &mut parts.stock {
        lot.unit_cost = Money::from_raw(random.random_range(1..9) * 1_000_000);
    }
    let model = parts.models[0].clone();
    parts.pumps = (0..random.random_range(1..5))
        .map(|at| Pump {
            priority: random.random_range(1..3),
            ..pump(&format!("P-{at}"), 20 + random.random_range(4..36), &model)
        })
        .collect();
    let items = parts.stock.len();
    parts.hold_back = (0..random.random_range(1..5))
        .map(|_| HoldBack { item: random.random_range(0..items), worth: random.random_range(1..4) })
        .collect();
    if random.random_bool(0.4) {
        // A bag of any kit that its pump could have; its pieces are on hand.
        let case = Case { job: Job::new(parts.clone()).unwrap(), sizes: sizes.clone(), within };
        parts.standing = (0..parts.pumps.len())
            .map(|at| {
                let ways = case.ways(parts.pumps[at].dimensions[0].value);
                let way = ways.first().filter(|_| random.random_bool(0.6)).cloned();
                way.iter().flatten().for_each(|&item| parts.stock[item].on_hand += 1);
                Standing { bag: way.map(kit), ..Standing::default() }
            })
            .collect();
    }
    Case { job: Job::new(parts).unwrap(), sizes, within }
}

fn kit(way: Vec<usize>) -> Vec<PackPick> {
    let pick = |item| Pick { item, count: 1, peeled: 0 };
    let mut picks: Vec<Pick> = way.into_iter().map(pick).collect();
    if let [one, other] = picks[..]
        && one.item == other.item
    {
        picks = vec![Pick { count: 2, ..one }];
    }
    vec![PackPick { picks }]
}

/// Values in the order of the goals, all to be made as small as can be: pumps served by priority, worth held back, bags
/// reopened, waste, pieces.
type Values = [i64; 6];

/// Best values of all plans from a pump on.
fn best(case: &Case, at: usize, left: &mut Vec<u32>, so_far: Values, least: &mut Option<Values>) {
    let job = &case.job;
    let Some(pump) = job.pumps.get(at) else {
        let mut held: Vec<&HoldBack> = job.hold_back.iter().collect();
        held.sort_by_key(|piece| std::cmp::Reverse(piece.worth));
        let mut after = left.clone();
        let mut values = so_far;
        for piece in held {
            if after[piece.item] > 0 {
                after[piece.item] -= 1;
                values[2] -= i64::from(piece.worth);
            }
        }
        if least.is_none_or(|least| values < least) {
            *least = Some(values);
        }
        return;
    };
    let bag = job.standing.get(at).and_then(|stands| stands.bag.clone());
    let without = so_far_with(so_far, 3, i64::from(bag.is_some()));
    best(case, at + 1, left, without, least);
    for way in case.ways(pump.dimensions[0].value) {
        let mut after = left.clone();
        let there = way.iter().all(|&item| {
            let there = after[item] > 0;
            after[item] = after[item].saturating_sub(1);
            there
        });
        if !there {
            continue;
        }
        let cost: i64 = way.iter().map(|&item| job.stock[item].unit_cost.raw()).sum();
        let mut values = so_far;
        values[pump.priority as usize - 1] -= 1;
        values[4] += cost;
        values[5] += i64::try_from(way.len()).unwrap();
        let is_bag = bag.as_ref().is_some_and(|bag| *bag == kit(way.clone()));
        values[3] += i64::from(bag.is_some() && !is_bag);
        best(case, at + 1, &mut after, values, least);
    }
}

fn so_far_with(mut values: Values, at: usize, more: i64) -> Values {
    values[at] += more;
    values
}

fn served(plan: &Plan, job: &Job, priority: u32) -> i64 {
    let kits = job.pumps.iter().zip(&plan.kits);
    let served =
        kits.filter(|(pump, kit)| pump.priority == priority && matches!(kit, Kit::Served(_)));
    i64::try_from(served.count()).unwrap()
}

#[test]
fn the_most_is_held_back_after_serving_and_before_bags_and_waste() {
    let mut random = ChaCha8Rng::seed_from_u64(43);
    let (mut whole, mut part, mut bags, mut cost) = (0, 0, 0, 0);
    for round in 0..600 {
        let case = outage(&mut random);
        let job = &case.job;
        let plan = choose(job, &Control::unlimited()).unwrap();
        let value = |aim| plan.goal(aim).map_or(0, |goal| goal.value);
        let found = [
            -served(&plan, job, 1),
            -served(&plan, job, 2),
            -value(Objective::HeldBack),
            value(Objective::Reopened),
            value(Objective::Waste),
            value(Objective::Pieces),
        ];
        let mut least = None;
        let mut there: Vec<u32> = job.stock.iter().map(|lot| lot.on_hand).collect();
        best(&case, 0, &mut there, [0; 6], &mut least);
        assert_eq!(Some(found), least, "round {round}");
        assert!(plan.proven(), "round {round}");
        let verified = verify(job.clone(), plan.clone()).unwrap();
        let agrees = verified.added_up().iter().all(|added_up| *added_up == AddedUp::Agrees);
        assert!(agrees, "round {round}: {:?}", verified.added_up());
        // No pump is served less for it.
        let without = job.clone().with(|parts| parts.hold_back.clear()).unwrap();
        let free = choose(&without, &Control::unlimited()).unwrap();
        for priority in [1, 2] {
            assert_eq!(served(&plan, job, priority), served(&free, job, priority), "round {round}");
        }
        match plan.held_back.len() == job.hold_back.len() {
            true => whole += 1,
            false => part += 1,
        }
        bags += u32::from(value(Objective::Reopened) > 0);
        cost += u32::from(free.goal(Objective::Waste).map(|goal| goal.value) < Some(found[4]));
        // A plan that holds less back is not called proven best.
        if let Some(&last) = plan.held_back.last() {
            let mut poor = plan.clone();
            poor.held_back.pop();
            let less = i64::from(job.hold_back[last].worth);
            let mut goals = poor.goals.iter_mut();
            let goal = goals.find(|goal| goal.objective == Objective::HeldBack).unwrap();
            (goal.value, goal.bound) = (goal.value - less, goal.bound - less);
            let verified = verify(job.clone(), poor).unwrap();
            assert!(!verified.shows(Objective::HeldBack), "round {round}");
        }
    }
    assert!(whole > 100 && part > 50 && bags > 10 && cost > 20, "{whole} {part} {bags} {cost}");
}

/// A piece that a kit takes cannot be held back as well, nor one piece twice.
#[test]
fn what_is_held_back_must_be_there() {
    let mut random = ChaCha8Rng::seed_from_u64(5);
    let mut tried = 0;
    for _ in 0..200 {
        let case = outage(&mut random);
        let plan = choose(&case.job, &Control::unlimited()).unwrap();
        if plan.held_back.len() < case.job.hold_back.len() {
            let held_back = (0..case.job.hold_back.len()).collect();
            assert!(verify(case.job.clone(), Plan { held_back, ..plan.clone() }).is_err());
            tried += 1;
        }
        if let Some(&first) = plan.held_back.first() {
            let held_back = [vec![first], plan.held_back.clone()].concat();
            assert!(verify(case.job.clone(), Plan { held_back, ..plan }).is_err());
        }
    }
    assert!(tried > 10, "{tried}");
}
