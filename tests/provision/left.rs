//! What a plan leaves for pumps that are not measured, beside trying every assignment in each drawn outage.

use gapwright::choose::choose;
use gapwright::choose::control::Control;
use gapwright::cutting::PlateLot;
use gapwright::decimal::{Millionths, Money};
use gapwright::forecast::{Expected, ExpectedLaw, Forecast};
use gapwright::job::{Job, MissingReading, NotMeasured, Parts, PumpAhead};
use gapwright::length::{Length, Tolerance, Unit};
use gapwright::model::{Dimension, Form, Model, Pack, Requirement, Term};
use gapwright::plan::{Objective, Plan};
use gapwright::problem::Place;
use gapwright::provision::{DRAWS, ProvisionOptions, Purpose, scenario, to_hold_back, with_left};
use gapwright::pump::{Measured, Pump};
use gapwright::stock::{Code, Cut, Item, Size};
use gapwright::verify::verify;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// A hundredth of a millimetre, in ticks.
const STEP: i64 = 100_000;
const MOST: u32 = 2;

pub fn steps(steps: i64) -> Length {
    Length::from_ticks(steps * STEP)
}

/// Model whose gap, less its shims, must come to 20 steps within so many.
pub fn model(within: i64) -> Model {
    let terms = vec![(Term::Dimension(0), Millionths::ONE), (Term::Pack(0), -Millionths::ONE)];
    let (lower, upper) = (Some(steps(20 - within)), Some(steps(20 + within)));
    let form = Form::Linear { terms, target: steps(20), lower, upper };
    Model {
        dimensions: vec![Dimension::new("gap", Tolerance::default())],
        packs: vec![Pack::new("shims", "shim", 1..=MOST)],
        requirements: vec![Requirement::new("clearance", form)],
        ..Model::new("example", Unit::Millimetre)
    }
}

pub fn pump(tag: &str, gap: i64, model: &Model) -> Pump {
    Pump {
        fits: vec![Code::new("F")],
        dimensions: vec![Measured::within(steps(gap), Tolerance::default())],
        ..Pump::new(tag, 0, model)
    }
}

pub fn waiting(tag: &str, [low, high]: [i64; 2], model: &Model) -> NotMeasured {
    let expected = Expected { low: steps(low), high: steps(high), law: ExpectedLaw::Even };
    let pump = pump(tag, i64::midpoint(low, high), model);
    NotMeasured {
        tag: tag.into(),
        model: 0,
        priority: 3,
        due: None,
        location: None,
        waits_for: vec![MissingReading { heading: "Gap (mm)".into(), place: Place::file("pumps") }],
        ahead: Ok(Box::new(PumpAhead { pump, expected: vec![Some(expected)] })),
    }
}

/// Sizes in steps.
pub struct Case {
    pub job: Job,
    pub sizes: Vec<i64>,
    pub within: i64,
}

pub fn case(random: &mut ChaCha8Rng) -> Case {
    let mut sizes: Vec<i64> =
        (0..random.random_range(2..5)).map(|_| random.random_range(4..20)).collect();
    sizes.sort_unstable();
    sizes.dedup();
    let stock = sizes.iter().map(|&size| {
        let exact = Size::new(steps(size), Tolerance::default());
        let on_hand = random.random_range(0..4);
        Item::of(&format!("S{size}"), "shim".into(), Code::new("F"), exact, on_hand)
    });
    let stock = stock.collect();
    let within = random.random_range(2..5);
    let model = model(within);
    // About what one or two of the shims make good.
    let gap = |random: &mut ChaCha8Rng| {
        let shims =
            (0..random.random_range(1..3)).map(|_| sizes[random.random_range(0..sizes.len())]);
        20 + shims.sum::<i64>() + random.random_range(-3..4)
    };
    let pumps =
        (0..random.random_range(1..3)).map(|at| pump(&format!("P-{at}"), gap(random), &model));
    let pumps = pumps.collect();
    let not_measured = (0..random.random_range(1..4)).map(|at| {
        let low = gap(random);
        waiting(&format!("W-{at}"), [low, low + random.random_range(0..8)], &model)
    });
    let not_measured = not_measured.collect();
    let parts = Parts { stock, models: vec![model], pumps, ..Parts::default() };
    let mut job = Job::new(parts).unwrap();
    job.not_measured = not_measured;
    Case { job, sizes, within }
}

impl Case {
    /// Every way to take one or two shims for a gap, by size.
    pub fn ways(&self, gap: Length) -> Vec<Vec<usize>> {
        let sizes = 0..self.sizes.len();
        let two = |first: usize| (first..self.sizes.len()).map(move |second| vec![first, second]);
        let all = sizes.clone().map(|one| vec![one]).chain(sizes.flat_map(two));
        let left =
            |way: &[usize]| way.iter().map(|&at| steps(self.sizes[at])).fold(gap, |a, b| a - b);
        let fits = |way: &Vec<usize>| {
            (steps(20 - self.within)..=steps(20 + self.within)).contains(&left(way))
        };
        all.filter(fits).collect()
    }

    /// Ways of each waiting pump, drawn outage by drawn outage.
    pub fn drawn(&self) -> Vec<Vec<Vec<Vec<usize>>>> {
        let known = self.job.not_measured.iter().map(|pump| pump.ahead.as_deref().unwrap());
        let (pumps, expected): (Vec<Pump>, Vec<_>) =
            known.map(|one| (one.pump.clone(), one.expected.clone())).unzip();
        let parts = Parts { pumps, ..self.job.clone().into_parts() };
        let forecast = Forecast::new(Job::new(parts).unwrap(), expected).unwrap();
        let question = ProvisionOptions::new(forecast.usual_step());
        let one = |number| {
            let drawn = scenario(&forecast, &question, Purpose::Leaving, number).unwrap();
            drawn.into_iter().map(|of| self.ways(of[0].unwrap())).collect()
        };
        (0..DRAWS).map(one).collect()
    }
}

/// Most pumps that can have a way each, out of these pieces.
pub fn most(ways: &[Vec<Vec<usize>>], left: &mut [u32]) -> usize {
    let Some((first, others)) = ways.split_first() else { return 0 };
    let mut best = most(others, left);
    for way in first {
        let mut after = left.to_vec();
        let taken = way.iter().all(|&at| {
            let there = after[at] > 0;
            after[at] = after[at].saturating_sub(1);
            there
        });
        if taken {
            best = best.max(1 + most(others, &mut after));
        }
    }
    best
}

fn left(job: &Job, plan: &Plan) -> Vec<u32> {
    job.stock.iter().zip(plan.issued(job)).map(|(lot, issued)| lot.on_hand - issued).collect()
}

#[test]
fn the_count_and_its_names_equal_trying_every_assignment() {
    let mut random = ChaCha8Rng::seed_from_u64(31);
    let (mut some, mut named) = (0, 0);
    for round in 0..40 {
        let case = case(&mut random);
        let job = &case.job;
        let plan = choose(job, &Control::unlimited()).unwrap();
        let plan = with_left(job, plan, &Control::unlimited());
        let found = plan.left.clone().unwrap().unwrap();
        let (all, left) =
            (job.stock.iter().map(|lot| lot.on_hand).collect::<Vec<_>>(), left(job, &plan));
        let drawn = case.drawn();
        let waiting = job.not_measured.len();
        let whole = |there: &[u32]| {
            drawn.iter().filter(|ways| most(ways, &mut there.to_vec()) == waiting).count() as u32
        };
        assert_eq!(found.undecided, 0, "round {round}");
        assert_eq!(found.kitted, whole(&left), "round {round}");
        assert_eq!(found.without_plan, whole(&all), "round {round}");
        let each: usize = drawn.iter().map(|ways| most(ways, &mut left.clone())).sum();
        let pumps: u32 = found.pumps.iter().map(|(_, kitted)| kitted).sum();
        assert_eq!(pumps as usize, each, "round {round}");
        some += u32::from(found.kitted > 0 && found.kitted < DRAWS);
        // One more of each piece that the plan takes.
        let issued = plan.issued(job);
        let mut raised: Vec<(usize, u32)> = (0..all.len())
            .filter(|&item| issued[item] > 0)
            .map(|item| {
                let mut more = left.clone();
                more[item] += 1;
                (item, whole(&more))
            })
            .filter(|(_, kitted)| *kitted > found.kitted)
            .collect();
        raised.sort_by_key(|&(item, kitted)| (std::cmp::Reverse(kitted), item));
        for name in &found.used_up {
            assert!(raised.contains(name), "round {round}: {name:?} of {raised:?}");
        }
        if DRAWS - found.kitted <= 200 {
            raised.truncate(3);
            assert_eq!(found.used_up, raised, "round {round}");
        }
        named += found.used_up.len();
    }
    assert!(some > 5 && named > 3, "{some} {named}");
}

/// Pieces held back are counted by themselves. Where what a plan leaves is enough, holding back costs nothing; elsewhere no
/// pump is served less for it.
#[test]
fn what_is_held_back_is_counted_on_other_outages() {
    let mut random = ChaCha8Rng::seed_from_u64(67);
    let (mut free, mut dear) = (0, 0);
    for round in 0..24 {
        let case = case(&mut random);
        let job = &case.job;
        let control = Control::unlimited();
        let before = choose(job, &control).unwrap();
        let pieces = to_hold_back(job, &before, &control).unwrap();
        let held = job.clone().with(|parts| parts.hold_back.clone_from(&pieces)).unwrap();
        let plan = choose(&held, &control).unwrap();
        verify(held.clone(), plan.clone()).unwrap();
        assert_eq!(plan.served(), before.served(), "round {round}");
        let mut wanted = vec![0; job.stock.len()];
        pieces.iter().for_each(|piece| wanted[piece.item] += 1);
        let is_left = wanted.iter().zip(left(job, &before)).all(|(wanted, left)| *wanted <= left);
        let waste = |plan: &Plan| plan.goal(Objective::Waste).map(|goal| goal.value);
        if is_left {
            assert_eq!(plan.held_back.len(), pieces.len(), "round {round}");
            assert_eq!(waste(&plan), waste(&before), "round {round}");
            free += usize::from(!pieces.is_empty());
        } else {
            dear += 1;
        }
        let there = plan.held_back(&held);
        let waiting = job.not_measured.len();
        let drawn = case.drawn();
        let alone = drawn.iter().filter(|ways| most(ways, &mut there.clone()) == waiting);
        let alone = u32::try_from(alone.count()).unwrap();
        let counted = with_left(&held, plan, &control).left.unwrap().unwrap();
        let expected = (!pieces.is_empty()).then_some(alone);
        assert_eq!(counted.held_alone, expected, "round {round}");
    }
    assert!(free > 2 && dear > 0, "{free} {dear}");
}

/// The one shim that both need goes to the measured pump, and is named with the figure that putting it back gives.
#[test]
fn the_piece_that_is_used_up_is_named() {
    let model = model(2);
    let exact = Size::new(steps(10), Tolerance::default());
    let parts = Parts {
        stock: vec![Item::of("S10", "shim".into(), Code::new("F"), exact, 1)],
        pumps: vec![pump("P", 30, &model)],
        models: vec![model.clone()],
        ..Parts::default()
    };
    let not_measured = vec![waiting("W", [29, 31], &model)];
    let mut job = Job::new(parts).unwrap();
    job.not_measured = not_measured;
    let plan = choose(&job, &Control::unlimited()).unwrap();
    let found = with_left(&job, plan, &Control::unlimited()).left.unwrap().unwrap();
    assert_eq!((found.kitted, found.without_plan), (0, DRAWS));
    assert_eq!(found.pumps, [(0, 0)]);
    assert_eq!(found.used_up, [(0, DRAWS)]);
}

/// A plate gives one shim, for one fit or for the other; the measured pump takes one plate.
#[test]
fn plates_that_are_left_count_as_shared_out_among_the_shapes() {
    let model = model(2);
    let exact = Size::new(steps(10), Tolerance::default());
    let of = |fit: &str, pump: Pump| Pump { fits: vec![Code::new(fit)], ..pump };
    let counted = |plates: u32| {
        let plate = PlateLot {
            item: "plate".into(),
            kind: "shim".into(),
            material: None,
            size: exact,
            sides: [steps(5_000); 2],
            on_hand: plates,
            reserved: 0,
            plate_cost: Money::ZERO,
            bin: None,
            row: 1,
        };
        let cut = |fit: &str, outside: i64| Item {
            cut: Some(Cut { plate: 0, outside: steps(outside), inside: steps(1_000) }),
            ..Item::of(fit, "shim".into(), Code::new(fit), exact, plates)
        };
        let parts = Parts {
            stock: vec![cut("F", 4_000), cut("G", 3_000)],
            plates: vec![plate],
            pumps: vec![of("F", pump("P", 30, &model))],
            models: vec![model.clone()],
            ..Parts::default()
        };
        let mut job = Job::new(parts).unwrap();
        job.not_measured = vec![waiting("W", [29, 31], &model), waiting("V", [29, 31], &model)];
        let PumpAhead { pump, .. } = job.not_measured[1].ahead.as_deref_mut().unwrap();
        *pump = of("G", pump.clone());
        let plan = choose(&job, &Control::unlimited()).unwrap();
        assert_eq!(plan.layouts.len(), 1);
        let left = with_left(&job, plan, &Control::unlimited()).left.unwrap().unwrap();
        (left.kitted, left.undecided)
    };
    assert_eq!(counted(3), (DRAWS, 0));
    // One plate for two shapes: enough for either, and how it is cut is not examined.
    assert_eq!(counted(2), (0, DRAWS));
    assert_eq!(counted(1), (0, 0));
}
