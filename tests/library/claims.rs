//! Plans and ranges of another job are refused by name.

use gapwright::choose::{choose, control::Control};
use gapwright::decimal::Money;
use gapwright::forecast::{Expected, ExpectedLaw, Forecast};
use gapwright::job::Job;
use gapwright::json;
use gapwright::length::{Length, Tolerance};
use gapwright::plan::{Cause, Kit, MarginalValue, Pick, Plan, Shortfall, Window};
use gapwright::verify::verify;
use gapwright::words;

use crate::parts::whole;

/// A plan with one thing spoilt by a number, and the words of its refusal.
type Spoiler = (&'static str, fn(&mut Plan, usize));

fn pick(plan: &mut Plan) -> &mut Pick {
    match &mut plan.kits[0] {
        Kit::Served(packs) => &mut packs[0].picks[0],
        Kit::Short(_) => panic!("served"),
    }
}

fn short(plan: &mut Plan, pack: Option<usize>, over: usize) {
    let window = Window {
        least: Length::ZERO,
        most: Some(Length::ZERO),
        tolerance: Tolerance::default(),
        over: vec![(over, Length::ZERO)],
    };
    let short = Shortfall::of(pack, Cause::OutOfReach);
    plan.kits[1] = Kit::Short(vec![Shortfall { window: Some(window), ..short }]);
}

const SPOILERS: [Spoiler; 10] = [
    ("the plan: 1 kits where there must be 2", |plan, _| plan.kits.truncate(1)),
    ("pump P-1: item number N of 5", |plan, n| pick(plan).item = n),
    ("pump P-1: 1 packs where there must be 2", |plan, _| match &mut plan.kits[0] {
        Kit::Served(packs) => packs.truncate(1),
        Kit::Short(_) => panic!("served"),
    }),
    ("pump P-2: place number N of 2", |plan, n| short(plan, Some(n), 0)),
    ("pump P-2: place number N of 2", |plan, n| short(plan, None, n)),
    ("the plan: plates number N of 1", |plan, n| plan.layouts[0].plate = n),
    ("the plan: side number N of 2", |plan, n| plan.layouts[0].along = n),
    ("the plan: item number N of 5", |plan, n| plan.layouts[0].strips[0].0 = n),
    ("the plan: item number N of 5", |plan, n| {
        plan.worth.push(MarginalValue {
            item: n,
            served_weight: Some(0),
            waste: Default::default(),
            waste_at_least: Default::default(),
        });
    }),
    ("the plan: item number N of 5", |plan, n| {
        let layout = plan.layouts[0].clone();
        plan.layouts.push(layout);
        plan.layouts[1].strips.push((n, 1));
    }),
];

#[test]
fn a_plan_of_another_job_is_refused_by_name() {
    let job = Job::new(whole()).unwrap();
    let plan = choose(&job, &Control::unlimited()).unwrap();
    assert!(plan.check(&job).is_ok() && !plan.layouts.is_empty());
    for (words, spoil) in SPOILERS {
        for number in [5, 40, usize::MAX] {
            let mut plan = plan.clone();
            spoil(&mut plan, number);
            let words = words.replace('N', &number.to_string());
            let error = plan.check(&job).unwrap_err().to_string();
            assert!(error.starts_with(&words), "{words}: {error}");
            let breaches = verify(job.clone(), plan).unwrap_err();
            assert_eq!(breaches.len(), 1, "{breaches:?}");
            assert_eq!(breaches[0].to_string(), error);
        }
    }
}

#[test]
fn ranges_that_do_not_go_with_the_job_are_refused_by_name() {
    let job = Job::new(whole()).unwrap();
    let range = |low: i64, high: i64| {
        let [low, high] = [low, high].map(Length::from_ticks);
        Some(Expected { low, high, law: ExpectedLaw::Even })
    };
    let refused = |ranges| Forecast::new(job.clone(), ranges).unwrap_err().to_string();
    let good = vec![vec![range(1, 1), None], vec![None, range(3, 9)]];
    assert_eq!(Forecast::new(job.clone(), good.clone()).unwrap().expected(), good);
    assert_eq!(refused(vec![vec![None, None]]), "ranges of 1 pumps, where the job has 2");
    let uneven = vec![vec![None, None], vec![None; 3]];
    assert_eq!(refused(uneven), "pump P-2: 3 ranges for 2 dimensions");
    for (low, high) in [(0, 4), (-3, 4), (5, 4)] {
        let mut bad = good.clone();
        bad[1][1] = range(low, high);
        let words = "pump P-2, ring: the range is empty or does not start above zero";
        assert_eq!(refused(bad), words);
    }
}

#[test]
fn a_worth_that_is_not_settled_stands_between_two_figures() {
    let job = Job::new(whole()).unwrap();
    let mut plan = choose(&job, &Control::unlimited()).unwrap();
    let [waste, waste_at_least] = [-2_000, -110_000].map(Money::from_raw);
    let open = MarginalValue { item: 0, served_weight: Some(0), waste, waste_at_least };
    assert!(!open.exact());
    let said = words::worth(&job, &open);
    assert!(said.starts_with("waste 0.002 ") && said.contains(" to 0.11 "), "{said}");
    plan.worth = vec![open];
    let text = json::text(&verify(job, plan).unwrap());
    assert!(text.contains("\"waste\": \"-0.002000\""), "{text}");
    assert!(text.contains("\"waste_at_least\": \"-0.110000\""), "{text}");
}
