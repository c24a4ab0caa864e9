//! Fleets that no pattern helps: irregular sizes, prices that have nothing to do with size, two fits of shims and one
//! of gaskets. Written apart from [`crate::generate`], and with another source of numbers; all of it is invented.

use gapwright::decimal::Millionths;
use gapwright::job::{Job, Parts};
use gapwright::length::{Length, Tolerance, Unit};
use gapwright::model::{Dimension, Form, Model, Pack, Requirement, Term};
use gapwright::pump::{Measured, Pump};
use gapwright::stock::{Code, Item, Size};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;

/// Most shims and most gaskets of a kit.
const MOST: [usize; 2] = [4, 2];

/// So many tenths of a thou (0.0001 in).
fn tenths(n: i64) -> Length {
    Length::from_ticks(n * 25_400)
}

fn one(sign: i64) -> Millionths {
    Millionths::from_raw(sign * 1_000_000)
}

fn model() -> Model {
    let clearance = Form::Linear {
        terms: vec![(Term::Dimension(0), one(1)), (Term::Pack(0), one(-1))],
        target: tenths(180),
        lower: Some(tenths(163)),
        upper: Some(tenths(197)),
    };
    let fill = Form::GasketFill {
        gasket: 1,
        gap: vec![(Term::Pack(0), one(1)), (Term::Dimension(1), one(1))],
        target: Millionths::from_raw(300_000),
        lower: Millionths::from_raw(200_000),
        upper: Some(Millionths::from_raw(400_000)),
    };
    let requirement = |name: &str, label: &str, form| Requirement {
        name: name.into(),
        label: label.into(),
        form,
    };
    let dimension = |name: &str| Dimension::new(name, Tolerance::default());
    Model {
        dimensions: vec![dimension("bare_clearance"), dimension("recess")],
        packs: vec![Pack::new("shims", "shim", 0..=4), Pack::new("gasket", "gasket", 1..=2)],
        requirements: vec![
            requirement("clearance", "Clearance", clearance),
            requirement("fill", "Fill", fill),
        ],
        ..Model::new("irregular", Unit::Inch)
    }
}

/// Different sizes in tenths of a thou, drawn from a range.
fn sizes(rng: &mut ChaCha20Rng, count: usize, range: std::ops::Range<i64>) -> Vec<i64> {
    let mut sizes = Vec::new();
    while sizes.len() < count {
        let size = rng.random_range(range.clone());
        if !sizes.contains(&size) {
            sizes.push(size);
        }
    }
    sizes
}

/// An outage out of a stock of so many tenths of the pieces of the kits that it was planned with; `shims` sizes of
/// either fit.
pub fn fleet(seed: u64, pumps: usize, shims: usize, stock: usize) -> Job {
    let mut rng = ChaCha20Rng::seed_from_u64(seed);
    let model = model();
    // Shims of the two fits, then gaskets: sizes with the pieces that the kits take.
    let mut lots: [Vec<(i64, usize)>; 3] = [(shims, 15..330), (shims, 15..330), (12, 90..1_600)]
        .map(|(count, range)| sizes(&mut rng, count, range).into_iter().map(|s| (s, 0)).collect());
    let mut made = Vec::new();
    while made.len() < pumps {
        let fit = rng.random_range(0..2);
        let pieces = rng.random_range(1..=MOST[0]);
        let shims: Vec<usize> = (0..pieces).map(|_| rng.random_range(0..lots[fit].len())).collect();
        let pieces = rng.random_range(1..=MOST[1]);
        let gaskets: Vec<usize> = (0..pieces).map(|_| rng.random_range(0..lots[2].len())).collect();
        let total: i64 = shims.iter().map(|&at| lots[fit][at].0).sum();
        let free: i64 = gaskets.iter().map(|&at| lots[2][at].0).sum();
        // A recess into which these gaskets go with about three tenths to spare.
        let recess = free * 10 / 13 - total + rng.random_range(-2..=2);
        if !(250..=900).contains(&recess) {
            continue;
        }
        shims.iter().for_each(|&at| lots[fit][at].1 += 1);
        gaskets.iter().for_each(|&at| lots[2][at].1 += 1);
        let measured = |value, within| Measured::within(value, Tolerance::even(tenths(within)));
        made.push(Pump {
            priority: rng.random_range(1..=4),
            fits: vec![Code::new(["A", "B"][fit]), Code::new("C")],
            dimensions: vec![
                measured(tenths(180 + total + rng.random_range(-4..=4)), 2),
                measured(tenths(recess), 2),
            ],
            ..Pump::new(&format!("Q-{:05}", made.len() + 1), 0, &model)
        });
    }
    let mut items = Vec::new();
    for ((fit, kind, within), lots) in
        [("A", "shim", 2), ("B", "shim", 2), ("C", "gasket", 5)].into_iter().zip(&lots)
    {
        for &(size, used) in lots {
            let size = Size::new(tenths(size), Tolerance::even(tenths(within)));
            let on_hand = u32::try_from((used * stock).div_ceil(10)).unwrap();
            let item = format!("{kind}-{fit}-{:02}", items.len() + 1);
            items.push(Item {
                unit_cost: Millionths::from_raw(10_000 * rng.random_range(40..1_200)),
                min_level: rng.random_range(0..4),
                ..Item::of(&item, kind.into(), Code::new(fit), size, on_hand)
            });
        }
    }
    Job::new(Parts { stock: items, models: vec![model], pumps: made, ..Parts::default() }).unwrap()
}
