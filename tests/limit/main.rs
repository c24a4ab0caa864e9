//! Limit and interrupt: every stage checks the control between small units of work, and whichever check ends it, the
//! result is sound, comes soon and reports what is missing.
//!
//! Checks and work are counted, on one thread; no clock is used.

#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

#[path = "../bench/generate.rs"]
mod generate;
mod memory;
mod others;

use std::sync::Mutex;
use std::time::{Duration, Instant};

use gapwright::choose::choose;
use gapwright::choose::control::{Control, Looks, Phase, PhaseProgress, Progress};
use gapwright::choose::worth::valued;
use gapwright::formats::plan::LeftOutJson;
use gapwright::job::Job;
use gapwright::plan::{Cause, Kit, LeftOut, Objective, Plan, Stop};
use gapwright::read::{self, Sources};
use gapwright::verify::verify;
use gapwright::words;

/// Units of work between two checks: the pace is 20,000, and one pump's columns are examined as a whole.
const MOST_BETWEEN: u64 = 60_000;

fn alone<T: Send>(work: impl FnOnce() -> T + Send) -> T {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build();
    pool.unwrap().install(work)
}

fn sample(folder: &str, stock: &str, pumps: &str) -> Job {
    let path =
        |name: &str| format!("{}/samples/{folder}/{name}", env!("CARGO_MANIFEST_DIR")).into();
    read::job(&Sources { stock: path(stock), pumps: path(pumps), ..Sources::default() })
        .expect("the sample has no problems")
}

/// Small outages of every kind: plain, by the pack, with pumps that stay short, and one whose goals need some search.
fn jobs() -> Vec<(&'static str, Job)> {
    let packed = generate::fleet(2, 4, 6, 4, 20, 2).with(|job| {
        job.policy.opened_cartons_spoiled = true;
        for lot in &mut job.stock {
            lot.carton_qty = 4;
        }
    });
    let scarce = generate::fleet(3, 9, 8, 5, 10, 2).with(|job| {
        for lot in &mut job.stock {
            lot.on_hand = lot.on_hand.saturating_sub(2);
        }
    });
    vec![
        ("tiny", sample("tiny", "stock.csv", "pumps.csv")),
        ("outage", sample("outage", "stock.xlsx", "pumps.xlsx")),
        ("tight", generate::fleet(1, 8, 10, 5, 10, 3)),
        ("packed", packed.unwrap()),
        ("scarce", scarce.unwrap()),
        ("part by part", generate::fleet(4, 42, 8, 5, 20, 2)),
    ]
}

/// Chooses a plan and calculates the value of one more, under a control that counts.
fn whole(job: &Job, looks: &Looks) -> Plan {
    let control = Control::unlimited().counted(looks);
    alone(|| valued(job, choose(job, &control).unwrap(), &control))
}

/// Numbers of checks from the first to the last, close together at first.
fn spread(all: u64) -> Vec<u64> {
    let mut numbers: Vec<u64> = (1..=12).collect();
    let mut at = 12;
    while at < all {
        at += (at / 4).max(1).min((all / 20).max(1));
        numbers.push(at);
    }
    numbers.retain(|number| *number <= all);
    numbers
}

#[test]
fn whichever_look_ends_it_the_plan_is_sound_and_comes_soon() {
    for (name, job) in jobs() {
        let count = Looks::only_count();
        let best = whole(&job, &count);
        assert_eq!(best.left_out, LeftOut::default(), "{name}");
        verify(job.clone(), best.clone()).unwrap();
        println!("{name}: {} looks", count.count());
        let (mut open, mut proven) = (0, 0);
        for number in spread(count.count()) {
            let looks = Looks::stop_at(number);
            let plan = whole(&job, &looks);
            let further = looks.count().saturating_sub(number);
            // One check for each pump that is listed or explained, and a few for each stage of each group.
            let most = 60 + 12 * job.pumps.len() as u64;
            assert!(further <= most, "{name}, look {number}: {further} further looks");
            let after = looks.work_after();
            assert!(after <= 3_000_000, "{name}, look {number}: {after} units after it");
            for (goal, best) in plan.goals.iter().zip(&best.goals) {
                let above = match goal.objective {
                    Objective::ServedWeight | Objective::ServedOf(_) => goal.bound >= best.value,
                    _ => goal.bound <= best.value,
                };
                // A bound holds among plans as good on the goals before: those up to the first that is open.
                assert!(above, "{name}, look {number}: {goal:?} against {best:?}");
                if !goal.proven() {
                    break;
                }
            }
            open += usize::from(!plan.proven());
            proven += usize::from(plan.proven());
            // The given values are right, whatever is left out.
            for worth in &plan.worth {
                assert!(best.worth.contains(worth), "{name}, look {number}: {worth:?}");
            }
            assert!(
                plan.stopped_by.is_some() || plan.left_out.worth.is_some() || plan == best,
                "{name}, look {number}: nothing is said of the stop"
            );
            verify(job.clone(), plan).unwrap_or_else(|b| panic!("{name}, look {number}: {b:?}"));
        }
        assert!(open > 0 && proven > 0, "{name}: {open} open, {proven} proven");
    }
}

#[test]
fn between_two_looks_there_is_little_work() {
    let large = ("large", generate::fleet(5, 60, 30, 8, 20, 4));
    for (name, job) in jobs().into_iter().chain([large]) {
        let looks = Looks::only_count();
        whole(&job, &looks);
        let most = looks.most_between();
        println!("{name}: at most {most} units between two of {} looks", looks.count());
        assert!(most <= MOST_BETWEEN, "{name}: {most}");
    }
}

/// 45 sizes, six pieces: millions of combinations, of which the first few checks see few.
#[test]
fn a_listing_that_is_cut_short_still_makes_a_plan() {
    let job = generate::fleet(6, 20, 45, 8, 20, 5);
    let mut served = Vec::new();
    for number in [1, 3, 10] {
        let looks = Looks::stop_at(number);
        let plan = whole(&job, &looks);
        assert_eq!(plan.stopped_by, Some(Stop::TimeLimit));
        assert!(plan.goals.iter().all(|goal| !goal.proven()), "{:?}", plan.goals);
        assert!(looks.work_after() <= 6_000_000, "{}", looks.work_after());
        let honest = |kit: &Kit| match kit {
            Kit::Served(_) => true,
            Kit::Short(why) => why.iter().all(|short| {
                matches!(
                    short.cause,
                    Cause::NotFoundOut | Cause::SearchEnded | Cause::StockGone { .. }
                )
            }),
        };
        assert!(plan.kits.iter().all(honest));
        served.push(plan.served());
        let said = words::proof(&verify(job.clone(), plan).unwrap());
        assert!(said.starts_with("Best found, not proven: pumps kitted, weighted"), "{said}");
    }
    // All of them can be: a few ways to kit each suffice for most.
    assert!(served.iter().all(|served| *served >= 12), "{served:?}");
}

#[test]
fn what_is_left_out_is_said_in_the_plan_its_words_and_its_json() {
    let job = sample("outage", "stock.xlsx", "pumps.xlsx");
    let count = Looks::only_count();
    let best = whole(&job, &count);
    let whole_words = words::proof(&verify(job.clone(), best.clone()).unwrap());
    assert!(whole_words.starts_with("Proven best: no choice kits more pumps (by priority)"));
    let (mut orders, mut worths) = (0, 0);
    for number in spread(count.count()) {
        let plan = whole(&job, &Looks::stop_at(number));
        if !plan.proven() {
            continue;
        }
        let verified = verify(job.clone(), plan.clone()).unwrap();
        let said = words::proof(&verified);
        // A proof stays a proof, whatever comes after.
        assert!(said.starts_with(&whole_words), "look {number}: {said}");
        assert_eq!(plan.goals, best.goals);
        let json = gapwright::json::plan(&verified);
        assert_eq!(plan.left_out.order.is_some(), json.left_out.contains(&LeftOutJson::Order));
        assert_eq!(
            plan.left_out.worth.is_some(),
            json.left_out.contains(&LeftOutJson::WorthOfOneMore)
        );
        assert!(json.proven);
        if plan.left_out.order.is_some() {
            orders += 1;
            assert!(said.contains("which comes first was not settled: time limit"), "{said}");
        }
        if plan.left_out.worth.is_some() {
            worths += usize::from(!plan.worth.is_empty());
            assert!(said.contains("not worked out for every item: time limit"), "{said}");
            assert!(plan.worth.len() < best.worth.len());
        } else {
            assert_eq!(plan.worth, best.worth);
        }
    }
    assert!(orders > 0 && worths > 0, "{orders} {worths}");
}

/// A proven waste is not called unproven because of the points after it.
#[test]
fn the_headline_says_goal_by_goal_what_is_proven() {
    let job = sample("outage", "stock.xlsx", "pumps.xlsx");
    let best = choose(&job, &Control::unlimited()).unwrap();
    let headline = |open: &[Objective]| {
        let mut plan = best.clone();
        plan.stopped_by = Some(Stop::TimeLimit);
        for goal in plan.goals.iter_mut().filter(|goal| open.contains(&goal.objective)) {
            goal.bound += if goal.objective == Objective::ServedWeight { 3 } else { -3 };
        }
        words::proof(&verify(job.clone(), plan).unwrap())
    };
    let waste = words::money(best.goal(Objective::Waste).unwrap().value, &job);
    let value = |aim| best.goal(aim).unwrap().value;
    let (pieces, points) = (value(Objective::Pieces), value(Objective::Scarcity));
    assert_eq!(
        headline(&[]),
        format!(
            "Proven best: no choice kits more pumps (by priority); of those that kit as many, none wastes less than {waste}."
        )
    );
    assert_eq!(
        headline(&[Objective::Scarcity]),
        format!(
            "Proven: no choice kits more pumps (by priority); of those that kit as many, none wastes less than {waste}. \
             Proven too: pieces {pieces}. Best found, not proven: scarcity points {points} found, \
             bound {} (gap 3). Reason: time limit.",
            points - 3
        )
    );
    let said = headline(&[Objective::Waste, Objective::Pieces, Objective::Scarcity]);
    assert!(
        said.starts_with(
            "Proven: no choice kits more pumps (by priority). Best found, not proven: waste"
        ),
        "{said}"
    );
    let said = headline(&[
        Objective::ServedWeight,
        Objective::Waste,
        Objective::Pieces,
        Objective::Scarcity,
    ]);
    assert!(said.starts_with("Best found, not proven: pumps kitted, weighted"), "{said}");
    assert!(!said.contains("Proven"), "{said}");
}

/// Each report of progress names its goal, and its bound is never beyond its value. The order and the value of one
/// more report their progress instead.
#[test]
fn the_news_names_its_stage() {
    let job = generate::fleet(1, 12, 12, 6, 10, 3);
    let news: Mutex<Vec<(i64, i64)>> = Mutex::default();
    let steps: Mutex<Vec<PhaseProgress>> = Mutex::default();
    let listener = |one: Progress| news.lock().unwrap().push((one.value, one.bound));
    let step = |one: PhaseProgress| steps.lock().unwrap().push(one);
    let control = Control::unlimited().listener(&listener).steps(&step);
    valued(&job, choose(&job, &control).unwrap(), &control);
    let news = news.into_inner().unwrap();
    assert!(!news.is_empty());
    for (value, bound) in news {
        assert!(bound <= value, "{bound} above {value}");
    }
    let steps = steps.into_inner().unwrap();
    for part in [Phase::Listing, Phase::Order, Phase::Worth] {
        let told: Vec<&PhaseProgress> = steps.iter().filter(|step| step.part == part).collect();
        assert!(!told.is_empty(), "{part:?}");
        assert!(told.iter().all(|step| step.done <= step.of && step.of > 0));
    }
}

/// The limit counts from the given start, which may be before the search.
#[test]
fn the_limit_holds_for_the_whole_run() {
    let hour = Duration::from_secs(3_600);
    let earlier = Instant::now().checked_sub(hour).unwrap();
    let control = Control::since(earlier).limit(hour / 2);
    assert_eq!(control.stop(), Some(Stop::TimeLimit));
    assert_eq!(control.share().stop(), Some(Stop::TimeLimit));
    assert_eq!(Control::since(earlier).limit(hour * 2).stop(), None);
    // A share lasts as long again as everything before, here far from its end.
    assert_eq!(Control::since(earlier).limit(hour * 9).share().stop(), None);
}
