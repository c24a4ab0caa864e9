//! Planning again from what the last choice left, beside planning afresh: after random edits both give the same plan, with
//! the same goals shown by their certificates.

#![allow(clippy::cast_possible_truncation, clippy::unwrap_used, clippy::expect_used, missing_docs)]

#[path = "../bench/generate.rs"]
mod generate;
#[path = "../bench/irregular.rs"]
mod irregular;
#[path = "../solver/outage.rs"]
mod outage;

use std::sync::Arc;
use std::time::{Duration, Instant};

use gapwright::choose::control::Control;
use gapwright::choose::warm::Warm;
use gapwright::choose::{choose, choose_from, draft_from};
use gapwright::job::{Job, Parts, Standing};
use gapwright::length::Length;
use gapwright::plan::{Kit, Objective, Plan};
use gapwright::scratch::{FirstSteps, plan_in_steps};
use gapwright::verify::{AddedUp, Verified, verify};
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
    /// First answers that were ended before all was reached, and those that were not the best.
    hurried: usize,
    open: usize,
    /// First answers that were shown, since they serve as many as can be.
    answers: usize,
    /// Plans whose kits became others when the order was settled.
    settled: usize,
    /// First answers that were hurried after a plan was at hand, and those that kept its kits for all but at most two pumps.
    after: usize,
    mended: usize,
}

impl Counts {
    fn follow(&mut self, mut job: Job, rng: &mut ChaCha8Rng, name: &str) {
        let control = Control::unlimited();
        let mut warm = Warm::default();
        let mut before = choose_from(&job, &mut warm, &control).unwrap();
        for step in 0..EDITS {
            let (plan, was) = (before.clone(), job.clone());
            job = job.with(|parts| edit(parts, &plan, rng)).unwrap();
            let fresh = choose(&job, &control).unwrap();
            let again = choose_from(&job, &mut warm, &control).unwrap();
            let at = format!("{name}, edit {step}");
            assert_eq!(again.goals, fresh.goals, "{at}");
            assert_eq!((again.stopped_by, &again.left_out), (None, &fresh.left_out), "{at}");
            if is_ordered(&job) {
                assert_eq!(again.kits, fresh.kits, "{at}");
                assert_eq!(again.layouts, fresh.layouts, "{at}");
            }
            self.changed += usize::from(again.kits != before.kits);
            self.short += again.kits.len() - again.served();
            self.plans += 1;
            before = again.clone();
            let [fresh, again] = [fresh, again].map(|plan| verify(job.clone(), plan).unwrap());
            assert_eq!(again.added_up(), fresh.added_up(), "{at}");
            self.hurry((&job, None), &fresh, &at);
            self.hurry((&job, Some((&was, &plan))), &fresh, &at);
            self.shown += again.added_up().iter().filter(|one| **one == AddedUp::Agrees).count();
        }
    }
}

/// Whether the order among equal plans is settled: large groups that share packs or plates keep any of the best plans.
fn is_ordered(job: &Job) -> bool {
    let plain = job.plates.is_empty() && !job.policy.opened_cartons_spoiled;
    plain || job.pumps.len() <= 20
}

impl Counts {
    /// A first answer that is due at once claims nothing that the plan with all its time denies, and that plan comes out
    /// after it all the same.
    fn hurry(&mut self, (job, was): (&Job, Option<(&Job, &Plan)>), fresh: &Verified, at: &str) {
        let control = Control::unlimited();
        let left = || {
            let mut warm = Warm::default();
            if let Some((was, plan)) = was {
                let again = choose_from(was, &mut warm, &control).unwrap();
                assert_eq!(again.goals, plan.goals, "{at}");
            }
            warm
        };
        let mut warm = left();
        // It is given no time at all, so that no machine betters it.
        let at_once = Control::unlimited();
        let draft = draft_from(job, &mut warm, &at_once.soon(Instant::now())).unwrap();
        assert!(draft.is_due(), "{at}");
        self.hurried += usize::from(draft.is_hurried());
        let first = verify(job.clone(), draft.plan(&control)).unwrap();
        if let Some((was, plan)) = was.filter(|_| draft.is_hurried()) {
            let before = |tag: &str| {
                was.pumps.iter().position(|pump| pump.tag == tag).map(|at| &plan.kits[at])
            };
            let kits = job.pumps.iter().zip(&first.plan().kits);
            let others = kits.filter(|(pump, kit)| before(&pump.tag) != Some(kit)).count();
            self.after += 1;
            self.mended += usize::from(others <= 2);
        }
        drop(draft);
        self.open += usize::from(claims_no_more(&first, fresh, at).is_some());
        let mut goals = None;
        let mut show = |planned: &Arc<Verified>, step: FirstSteps| {
            match step {
                FirstSteps::Answer => {
                    self.answers += 1;
                    assert_eq!(planned.plan().goals, first.plan().goals, "{at}");
                }
                FirstSteps::Goals => goals = Some(planned.clone()),
            }
            true
        };
        let mut warm = left();
        let at_once = Control::unlimited();
        let answer = (&at_once, Duration::ZERO);
        let last = plan_in_steps(job, &mut warm, answer, &mut show).unwrap().unwrap();
        assert_eq!(last.plan().goals, fresh.plan().goals, "{at}");
        if is_ordered(job) {
            assert_eq!(last.plan().kits, fresh.plan().kits, "{at}");
        }
        assert_eq!(last.added_up(), fresh.added_up(), "{at}");
        // Added up again from the plan itself, without those before it.
        let alone = verify(job.clone(), last.plan().clone()).unwrap();
        assert_eq!(last.added_up(), alone.added_up(), "{at}");
        self.settled += usize::from(goals.unwrap().plan().kits != last.plan().kits);
    }
}

/// The first goal that a plan misses beside the best one: up to it no bound may deny the best, nor may a value beat it.
fn claims_no_more(first: &Verified, fresh: &Verified, at: &str) -> Option<usize> {
    let goals = first.plan().goals.iter().zip(&fresh.plan().goals);
    let mut goals = goals.map(|(goal, best)| {
        let serves = matches!(goal.objective, Objective::ServedWeight | Objective::ServedOf(_));
        let sign = if serves { -1 } else { 1 };
        assert!(sign * goal.bound <= sign * best.bound, "{at}: {goal:?} {best:?}");
        assert!(sign * goal.value >= sign * best.value, "{at}: {goal:?} {best:?}");
        goal.value != best.value
    });
    // Later goals are bounded under the value of this one.
    goals.position(|misses| misses)
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
    let Counts { plans, shown, changed, short, hurried, open, answers, settled, after, mended } =
        counts;
    println!(
        "{hurried} first answers, {open} not the best, {answers} shown; {settled} orders changed kits; {mended} of {after} \
         keep the kits at hand"
    );
    assert!(plans == 3 * CASES * EDITS && shown > 5 * plans / 2, "{plans} {shown}");
    assert!(changed > plans / 4 && short > 10, "{changed} {short}");
    assert!(after > 50 && mended > after / 2, "{mended} of {after}");
    assert!(open > 10 && answers > 10 && settled > 10, "{open} {answers} {settled}");
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
