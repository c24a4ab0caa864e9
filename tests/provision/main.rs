//! Compares provisions with every multiset of pieces, every kit and every scenario of small outages.
//!
//! The reference here shares only the input types with the library and `plan::verdicts`, the calculation that
//! `verify` uses and that has no code in common with the search: it fills places piece by piece and walks through
//! everything.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    clippy::cast_sign_loss,
    clippy::float_cmp,
    missing_docs
)]

mod held;
mod left;
mod reference;
mod safe;
mod service;
mod trolley;

use gapwright::decimal::Millionths;
use gapwright::forecast::{Expected, ExpectedLaw, Forecast};
use gapwright::gauge::Certified;
use gapwright::job::{Job, Parts};
use gapwright::length::{Length, Tolerance, Uncertainty};
use gapwright::model::{Correlation, Dimension, Form, Model, Pack, Requirement, Term};
use gapwright::policy::{Acceptance, Policy};
use gapwright::provision::ProvisionOptions;
use gapwright::pump::{Measured, Pump};
use gapwright::stock::{Code, Item, Size};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

pub fn half_thou(n: i64) -> Length {
    Length::from_ticks(n * 127_000)
}

/// Values a thou apart; few scenarios.
pub fn question(seed: u64) -> ProvisionOptions {
    ProvisionOptions { scenarios: 40, checks: 60, seed, ..ProvisionOptions::new(half_thou(2)) }
}

/// A small outage of up to `pumps` pumps, most of them not measured.
pub fn random_outlook(seed: u64, pumps: usize) -> Forecast {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let with_gasket = rng.random_bool(0.4);
    let second = if with_gasket { "gasket" } else { "shim" };
    let kinds: Vec<&str> = if rng.random_bool(0.6) { vec!["shim", second] } else { vec!["shim"] };
    let with_gasket = kinds.contains(&"gasket");
    let packs = kinds
        .iter()
        .map(|kind| Pack {
            name: (*kind).into(),
            label: (*kind).into(),
            kind: (*kind).into(),
            least_pieces: u32::from(rng.random_bool(0.3)),
            most_pieces: rng.random_range(1..=if kinds.len() > 1 { 2 } else { 3 }),
        })
        .collect();
    let whole = |n: i64| Millionths::from_raw(n * 1_000_000);
    let part = |n: i64| Millionths::from_raw(n);
    let mut terms = vec![(Term::Dimension(0), whole(1)), (Term::Pack(0), whole(-1))];
    if kinds.len() > 1 && !with_gasket {
        terms.push((Term::Pack(1), part(rng.random_range(1..=2) * 500_000)));
    }
    if rng.random_bool(0.3) {
        terms.push((Term::Dimension(1), part(-500_000)));
    }
    let half = rng.random_range(3..=8);
    let mut requirements = vec![Requirement {
        name: "clearance".into(),
        label: "Clearance".into(),
        form: Form::Linear {
            terms,
            target: half_thou(40),
            lower: Some(half_thou(40 - half)),
            upper: Some(half_thou(40 + half)),
        },
    }];
    if with_gasket {
        requirements.push(Requirement {
            name: "fill".into(),
            label: "Fill".into(),
            form: Form::GasketFill {
                gasket: 1,
                gap: vec![(Term::Pack(0), whole(1)), (Term::Dimension(1), whole(1))],
                target: part(500_000),
                lower: part(rng.random_range(200..=400) * 1_000),
                upper: Some(part(rng.random_range(600..=800) * 1_000)),
            },
        });
    }
    let dimension = |name: &str| Dimension::new(name, Tolerance::default());
    let correlations = vec![Correlation {
        between: [Term::Dimension(0), Term::Dimension(1)],
        coefficient: part(rng.random_range(-5..=5) * 100_000),
    }];
    let fits = if rng.random_bool(0.3) { vec!["A", "B"] } else { vec!["A"] };
    let model = Model {
        dimensions: vec![dimension("bare"), dimension("ring")],
        packs,
        requirements,
        correlations,
        ..Model::new("m", gapwright::length::Unit::Inch)
    };
    let mut stock: Vec<Item> = Vec::new();
    let laminated = rng.random_bool(0.25);
    for fit in &fits {
        for (kind, thinnest, thickest, sizes) in [("shim", 4, 24, 4), ("gasket", 20, 60, 3)] {
            if kind == "gasket" && !with_gasket {
                continue;
            }
            for _ in 0..rng.random_range(1..=sizes / fits.len() as i64 + 1) {
                let thickness = half_thou(rng.random_range(thinnest..=thickest));
                let slack = Length::from_ticks(rng.random_range(0..=4) * 12_000);
                let mut item = Item::of(
                    &format!("{kind}-{}", stock.len()),
                    kind.into(),
                    Code::new(fit),
                    Size {
                        thickness,
                        tolerance: Tolerance {
                            minus: slack,
                            plus: if rng.random_bool(0.8) { slack } else { Length::ZERO },
                        },
                        uncertainty: rng.random_bool(0.3).then(|| Certified {
                            standard: Uncertainty::from_raw(2_000_000_000),
                            extent: Length::from_ticks(30_000),
                            freedom: None,
                        }),
                        ..Size::new(Length::ZERO, Tolerance::default())
                    },
                    rng.random_range(0..=3),
                );
                item.reserved = u32::from(item.on_hand > 2 && rng.random_bool(0.3));
                item.unit_cost = Millionths::from_raw(rng.random_range(0..=5) * 700_000);
                if laminated && kind == "shim" && rng.random_bool(0.4) {
                    item.peel_step =
                        Some(Length::from_ticks(thickness.ticks() / rng.random_range(2..=4)));
                }
                stock.push(item);
            }
        }
    }
    let acceptance =
        [Acceptance::WorstCase, Acceptance::WorstCase, Acceptance::Nominal, Acceptance::Expanded]
            [rng.random_range(0..4)];
    let mut made: Vec<Pump> = Vec::new();
    let mut expected: Vec<Vec<Option<Expected>>> = Vec::new();
    for index in 0..rng.random_range(1..=pumps) {
        if index > 0 && rng.random_bool(0.4) {
            // A copy of the one before.
            let mut pump = made[index - 1].clone();
            pump.tag = format!("P-{index}");
            made.push(pump);
            expected.push(expected[index - 1].clone());
            continue;
        }
        let mut expect = |middle: i64, likely: f64| {
            rng.random_bool(likely).then(|| {
                let low = half_thou(middle - rng.random_range(0..=4));
                let high = half_thou(middle + rng.random_range(0..=4));
                let law = if rng.random_bool(0.7) {
                    ExpectedLaw::Even
                } else {
                    ExpectedLaw::Readings {
                        mean: half_thou(middle),
                        scale: Uncertainty::from_raw(rng.random_range(1..=3) * 12_700_000_000),
                        degrees_of_freedom: rng.random_range(2..=9),
                    }
                };
                Expected { low, high, law }
            })
        };
        let middle = [50 + 3 * (seed % 7) as i64, 30 + (seed % 5) as i64];
        let both = [expect(middle[0], 0.9), expect(middle[1], 0.5)];
        let slack = Tolerance::even(Length::from_ticks(rng.random_range(0..=3) * 20_000));
        let measured = |value: Length| Measured::within(value, slack);
        let at = |index: usize| match both[index] {
            Some(e) => Length::from_ticks((e.low.ticks() + e.high.ticks()) / 2),
            None => half_thou(middle[index]),
        };
        let fit = Code::new(fits[rng.random_range(0..fits.len())]);
        made.push(Pump {
            fits: vec![fit; model.packs.len()],
            dimensions: vec![measured(at(0)), measured(at(1))],
            ..Pump::new(&format!("P-{index}"), 0, &model)
        });
        expected.push(both.to_vec());
    }
    let job = Job::new(Parts {
        stock,
        models: vec![model],
        pumps: made,
        policy: Policy { acceptance, ..Policy::default() },
        ..Parts::default()
    });
    Forecast::new(job.unwrap(), expected).unwrap()
}

/// One pump with a wide range, narrow limits and several sizes: many values that need many pieces.
pub fn wide_outlook(seed: u64) -> Forecast {
    let mut rng = ChaCha8Rng::seed_from_u64(seed + (1 << 40));
    let (job, _) = random_outlook(seed, 1).into_parts();
    let mut job = job.into_parts();
    job.policy.acceptance = Acceptance::Nominal;
    job.models[0].packs.truncate(1);
    job.models[0].requirements.truncate(1);
    job.models[0].packs[0].most_pieces = rng.random_range(2..=3);
    let pump = &mut job.pumps[0];
    pump.fits.truncate(1);
    pump.requirements.truncate(1);
    let half = rng.random_range(1..=3);
    pump.requirements[0].form = Form::Linear {
        terms: vec![
            (Term::Dimension(0), Millionths::from_raw(1_000_000)),
            (Term::Pack(0), Millionths::from_raw(-1_000_000)),
        ],
        target: half_thou(40),
        lower: Some(half_thou(40 - half)),
        upper: Some(half_thou(40 + half)),
    };
    job.models[0].requirements[0] = pump.requirements[0].clone();
    let mut lot = |index: usize| {
        let size = Size::new(half_thou(rng.random_range(2..=14)), Tolerance::default());
        let count = rng.random_range(1..=2);
        let fit = pump.fits[0].clone();
        let mut item = Item::of(&format!("S-{index}"), "shim".into(), fit, size, count);
        item.unit_cost = Millionths::from_raw(rng.random_range(3..=9) * 500_000);
        item
    };
    job.stock = (0..7).map(&mut lot).collect();
    let (low, high) = (half_thou(44), half_thou(58 + rng.random_range(0..=8)));
    pump.dimensions[0].value = low;
    let expected = vec![Some(Expected { low, high, law: ExpectedLaw::Even }), None];
    Forecast::new(Job::new(job).unwrap(), vec![expected]).unwrap()
}

/// Two or three pumps of one model with narrow limits that need the same few sizes.
pub fn shared_outlook(seed: u64) -> Forecast {
    let mut rng = ChaCha8Rng::seed_from_u64(seed + (1 << 41));
    let (job, mut ranges) = wide_outlook(seed).into_parts();
    let mut job = job.into_parts();
    job.models[0].packs[0].most_pieces = 2;
    job.models[0].packs[0].least_pieces = 0;
    job.stock.truncate(5);
    for item in &mut job.stock {
        item.on_hand = rng.random_range(1..=3);
    }
    for index in 1..rng.random_range(2..=3) {
        let mut pump = job.pumps[0].clone();
        pump.tag = format!("P-{index}");
        job.pumps.push(pump);
        ranges.push(ranges[0].clone());
    }
    for (pump, expected) in job.pumps.iter_mut().zip(&mut ranges) {
        let low = half_thou(rng.random_range(40..=52));
        pump.dimensions[0].value = low;
        expected[0] = Some(Expected {
            low,
            high: low + half_thou(rng.random_range(2..=8)),
            law: ExpectedLaw::Even,
        });
    }
    Forecast::new(Job::new(job).unwrap(), ranges).unwrap()
}
