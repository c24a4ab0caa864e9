//! The choice against a general solver on the obvious model, on outages too large to walk through,
//! and against itself with every linear-programming backend. Needs `--features highs`.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    missing_docs
)]

#[path = "../bench/generate.rs"]
mod generate;
mod model;

use std::time::Duration;

use gapwright::choose::Backend;
use gapwright::choose::choose;
use gapwright::choose::watch::Watch;
use gapwright::decimal::Millionths;
use gapwright::job::{Job, Parts};
use gapwright::length::{Length, Tolerance, Unit};
use gapwright::model::{Dimension, Form, Model, Pack, Requirement, Shape, Spread, Term};
use gapwright::plan::{Aim, Plan};
use gapwright::policy::{Acceptance, Policy};
use gapwright::pump::{Measured, Pump};
use gapwright::stock::{Code, Item, Size};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

/// Cases to be compared, and to be tried for it at most.
const COMPARED: usize = 200;
const TRIED: u64 = 400;
/// For all goals of one case together, in the general solver.
const LIMIT: Duration = Duration::from_secs(4);

#[test]
fn every_outage_that_a_general_solver_proves_comes_out_as_it_says() {
    let mut seen: Vec<Seen> = Vec::new();
    let mut tried = 0;
    while tried < TRIED && seen.len() < COMPARED {
        let some = (tried..tried + 20).into_par_iter().filter_map(compare);
        seen.extend(some.collect::<Vec<_>>());
        tried += 20;
    }
    let count = |what: fn(&Seen) -> bool| seen.iter().filter(|seen| what(seen)).count();
    let compared = seen.len();
    let short = count(|seen| seen.short > 0);
    let none = count(|seen| seen.short == seen.pumps);
    let guarded = count(|seen| seen.guarded);
    let levels = count(|seen| seen.short > 0 && seen.levels > 1);
    println!(
        "compared {compared} of {tried}, short {short} (none served {none}, several priorities \
         {levels}), worst case {guarded}, slowest {:.1} s",
        seen.iter().map(|seen| seen.seconds).fold(0.0, f64::max)
    );
    // A random test must have seen what it is there to see.
    assert!(compared >= COMPARED, "only {compared} compared");
    assert!(short >= 60 && compared - short >= 40 && levels >= 40 && none * 10 < compared);
    assert!(guarded >= 60 && compared - guarded >= 60);
}

/// What a compared case was like.
struct Seen {
    pumps: usize,
    short: usize,
    levels: usize,
    guarded: bool,
    seconds: f64,
}

/// Compares one case; `None` if the general solver does not prove it within its limit.
fn compare(seed: u64) -> Option<Seen> {
    let job = outage(seed);
    let obvious = model::solve(&job, LIMIT).filter(model::Obvious::proven)?;
    let plan = choose(&job, &Watch::patient()).expect("these can be listed");
    assert!(plan.proven(), "case {seed}: not proven");
    let expected = [obvious.weight, obvious.waste, obvious.pieces].map(|goal| goal.value);
    let aims = [Aim::ServedWeight, Aim::Waste, Aim::Pieces];
    assert_eq!(
        aims.map(|aim| plan.goal(aim).unwrap().value),
        expected,
        "case {seed}"
    );
    assert_eq!(plan.served(), obvious.served, "case {seed}");
    let mut levels: Vec<u32> = job.pumps.iter().map(|pump| pump.priority).collect();
    levels.sort_unstable();
    levels.dedup();
    let seen = Seen {
        pumps: job.pumps.len(),
        short: job.pumps.len() - plan.served(),
        levels: levels.len(),
        guarded: job.policy.acceptance == Acceptance::WorstCase,
        seconds: obvious.seconds,
    };
    // What was compared is also what the checker passes.
    gapwright::verify::verify(job, plan).unwrap();
    Some(seen)
}

/// A wrong limit must be noticed: with one piece more of everything the solver's answer is another
/// one often enough.
#[test]
fn the_comparison_bites() {
    let differ = (0..10_u64).filter(|&seed| {
        let job = outage(seed);
        let mut more = job.clone();
        more.stock.iter_mut().for_each(|item| item.on_hand += 1);
        let plan = choose(&job, &Watch::patient()).unwrap();
        let obvious = model::solve(&more, LIMIT).expect("a plan");
        let value = |aim| plan.goal(aim).unwrap().value;
        (value(Aim::ServedWeight), value(Aim::Waste)) != (obvious.weight.value, obvious.waste.value)
    });
    assert!(differ.count() >= 5);
}

/// Backends may go other ways but must come out alike: on random outages, and on fleets with a
/// kit for each pump planted in a tight and in an ample stock.
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
        for (tenths, seed) in [11, 25]
            .into_iter()
            .flat_map(|t| seeds.clone().map(move |s| (t, s)))
        {
            let job = generate::fleet(seed, pumps, 22, 8, tenths, 4);
            let name = format!("{pumps} pumps, {tenths} tenths, seed {seed}");
            fleets += usize::from(agree(&job, &name));
        }
    }
    println!("fleets proven by both: {fleets} of 18");
    // How many are proven within the limit depends on the machine.
    assert!(fleets >= 8);
}

/// Whether both backends prove every goal; then all must be equal. One that ends early must not
/// contradict the other.
fn agree(job: &Job, name: &str) -> bool {
    let plans: Vec<Plan> = Backend::BUILT_IN
        .iter()
        .map(|&backend| {
            let watch = Watch::patient()
                .limit(Duration::from_secs(5))
                .backend(backend);
            choose(job, &watch).unwrap()
        })
        .collect();
    let [one, other] = plans.as_slice() else {
        panic!("two backends")
    };
    if one.proven() && other.proven() {
        assert_eq!(one.goals, other.goals, "{name}");
        // Larger groups keep whichever of the equal plans was found; smaller ones have an order,
        // which is settled last.
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
        assert!(
            !beyond(a.value, b.bound) && !beyond(b.value, a.bound),
            "{name}: {a:?} {b:?}"
        );
        // Later goals are bounded under the value of this one, which may not be the other's.
        if !(a.proven() && b.proven()) {
            break;
        }
    }
    false
}

/// A random outage of 6 to 14 pumps over a shim pack, at times a second one, and a gasket. All
/// lengths are whole tenths of a thou and sensitivities simple, so that each charge is whole.
fn outage(seed: u64) -> Job {
    let mut rng = ChaCha8Rng::seed_from_u64(0x0b71_0005 ^ seed);
    let tenths = |n: i64| Length::from_ticks(n * 25_400);
    let millionths = Millionths::from_raw;
    let two = rng.random_bool(0.15);
    let gasket = if two { 2 } else { 1 };
    let pack = |name: &str, kind: &str, least, most| Pack {
        name: name.into(),
        label: name.into(),
        kind: kind.into(),
        least_pieces: least,
        most_pieces: most,
    };
    let mut packs = vec![pack(
        "shims",
        "shim",
        rng.random_range(0..=1),
        rng.random_range(2..=4),
    )];
    if two {
        packs.push(pack("more_shims", "shim", 0, 2));
    }
    packs.push(pack("gaskets", "gasket", 1, rng.random_range(1..=2)));
    // A lever or a wedge moves the clearance by more or less than the pack.
    let lever = [1_000_000, 1_000_000, 500_000, 1_250_000][rng.random_range(0..4)];
    let mut terms = vec![
        (Term::Dimension(0), millionths(1_000_000)),
        (Term::Pack(0), millionths(-lever)),
    ];
    if two {
        terms.push((Term::Pack(1), millionths(1_000_000)));
    }
    let half_window = rng.random_range(12..=40);
    let requirements = vec![
        Requirement {
            name: "clearance".into(),
            label: "Clearance".into(),
            form: Form::Linear {
                terms,
                target: tenths(210),
                lower: tenths(210 - half_window),
                upper: tenths(210 + half_window),
            },
        },
        Requirement {
            name: "fill".into(),
            label: "Fill".into(),
            form: Form::GasketFill {
                gasket,
                gap: vec![
                    (Term::Pack(0), millionths(1_000_000)),
                    (Term::Dimension(1), millionths(1_000_000)),
                ],
                target: millionths(500_000),
                lower: millionths(rng.random_range(25..=42) * 10_000),
                upper: millionths(rng.random_range(58..=75) * 10_000),
            },
        },
    ];
    let dimension = |name: &str| Dimension::new(name, Tolerance::default());
    let model = Model {
        dimensions: vec![dimension("bare"), dimension("ring")],
        packs,
        requirements,
        ..Model::new("m", Unit::Inch)
    };
    let count = [6, 7, 8, 9, 10, 12, 14][rng.random_range(0..7_usize).min(rng.random_range(0..7))];
    let fits = if rng.random_bool(0.3) { 2 } else { 1 };
    let fit = |n: usize| Code::new(["A", "B"][n]);
    let (shims, gaskets) = (rng.random_range(5..=8), rng.random_range(3..=5));
    let ample = rng.random_bool(0.4);
    let each = (if ample { 3 } else { 2 }) * count / shims + if ample { 3 } else { 1 };
    let mut stock: Vec<Item> = Vec::new();
    let mut lot = |kind: &str, fit: Code, size: i64, on_hand: u32, slack: [i64; 2], cost: i64| {
        let size = Size {
            thickness: tenths(size),
            tolerance: Tolerance {
                minus: tenths(slack[0]),
                plus: tenths(slack[1]),
            },
            uncertainty: None,
        };
        let item = format!("{kind}-{}", stock.len());
        stock.push(Item {
            reserved: on_hand / 5,
            unit_cost: millionths(cost),
            min_level: 1,
            ..Item::of(&item, kind.into(), fit, size, on_hand)
        });
    };
    for code in 0..fits {
        for n in 0..shims {
            let size = 20 + 15 * i64::from(n) + rng.random_range(0..=10);
            let on_hand = rng.random_range(0..=each / fits as u32 + 1);
            let slack = [rng.random_range(0..=3), rng.random_range(0..=3)];
            lot(
                "shim",
                fit(code),
                size,
                on_hand,
                slack,
                rng.random_range(0..=8) * 350_000,
            );
        }
        for n in 0..gaskets {
            let size = 250 + 200 * i64::from(n) + rng.random_range(-30..=30);
            let on_hand = rng.random_range(1..=(2 * count) / gaskets + 2);
            let slack = [rng.random_range(0..=8), rng.random_range(0..=8)];
            lot(
                "gasket",
                fit(code),
                size,
                on_hand,
                slack,
                rng.random_range(2..=9) * 450_000,
            );
        }
    }
    let pumps = (0..count)
        .map(|index| {
            let measured = |value: i64, slack: i64| {
                Measured::within(tenths(value), Tolerance::even(tenths(slack)))
            };
            let code = rng.random_range(0..fits);
            // The measurements are those of a kit of these pieces, a little off; where stock is
            // ample the pieces are there too.
            let mut plant = |kind: &str, pieces: u32| -> i64 {
                let lots = stock.iter().enumerate();
                let right = lots.filter(|(_, lot)| lot.kind == kind && lot.fit == fit(code));
                let right: Vec<usize> = right.map(|(index, _)| index).collect();
                let mut total = 0;
                for _ in 0..pieces {
                    let lot = &mut stock[right[rng.random_range(0..right.len())]];
                    lot.on_hand += u32::from(ample);
                    total += lot.size.unwrap().thickness.ticks() / 25_400;
                }
                total
            };
            let below = plant("shim", 1 + index % model.packs[0].most_pieces);
            let above = if two { plant("shim", 1) } else { 0 };
            let free = plant("gasket", 1);
            let bare = 210 + below * lever / 1_000_000 - above + rng.random_range(-6..=6);
            let ring = (free * 2 / 3 - below + rng.random_range(-8..=8)).max(40);
            Pump {
                priority: rng.random_range(1..=3),
                fits: vec![fit(code); model.packs.len()],
                dimensions: vec![
                    measured(bare, rng.random_range(0..=3)),
                    measured(ring, rng.random_range(0..=3)),
                ],
                ..Pump::new(&format!("P-{index}"), 0, &model)
            }
        })
        .collect();
    let acceptance = if rng.random_bool(0.5) {
        Acceptance::Nominal
    } else {
        Acceptance::WorstCase
    };
    Job::new(Parts {
        stock,
        models: vec![model],
        pumps,
        policy: Policy {
            acceptance,
            ..Policy::default()
        },
        ..Parts::default()
    })
    .unwrap()
}
