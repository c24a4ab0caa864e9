//! Fleets of pumps from a seed.

use gapwright::decimal::Millionths;
use gapwright::job::{Job, Parts};
use gapwright::length::{Length, Tolerance, Unit};
use gapwright::model::{Dimension, Form, Model, Pack, Requirement, Term};
use gapwright::pump::{Measured, Pump};
use gapwright::stock::{Code, Item, Size};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// An outage with planted kits of at most `most_pieces` shims and two gaskets: every pump can be served from the
/// stock, which is `tenths`/10 times the pieces in the planted kits.
pub fn fleet(
    seed: u64,
    pumps: usize,
    shims: usize,
    gaskets: usize,
    tenths: usize,
    most_pieces: u32,
) -> Job {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let tenth_thou = |n: i64| Length::from_ticks(n * 25_400);
    let one = |sign: i64| Millionths::from_raw(sign * 1_000_000);
    let requirements = vec![
        Requirement {
            name: "running_clearance".into(),
            label: "Running clearance".into(),
            form: Form::Linear {
                terms: vec![(Term::Dimension(0), one(1)), (Term::Pack(0), one(-1))],
                target: tenth_thou(210),
                lower: Some(tenth_thou(190)),
                upper: Some(tenth_thou(230)),
            },
        },
        Requirement {
            name: "cover_gasket_fill".into(),
            label: "Cover gasket fill".into(),
            form: Form::GasketFill {
                gasket: 1,
                gap: vec![(Term::Pack(0), one(1)), (Term::Dimension(1), one(1))],
                target: Millionths::from_raw(500_000),
                lower: Millionths::from_raw(400_000),
                upper: Some(Millionths::from_raw(600_000)),
            },
        },
    ];
    let dimension = |name: &str| Dimension::new(name, Tolerance::default());
    let model = Model {
        dimensions: vec![dimension("bare_clearance"), dimension("snap_ring")],
        packs: vec![
            Pack::new("bearing_shims", "shim", 0..=most_pieces),
            Pack::new("cover_gasket", "gasket", 1..=2),
        ],
        requirements,
        ..Model::new("m", Unit::Inch)
    };
    let shim_sizes: Vec<i64> = (0..shims)
        .map(|i| 20 + 10 * i64::try_from(i).unwrap() + i64::try_from(i % 3).unwrap() * 5)
        .collect();
    let gasket_sizes: Vec<i64> =
        (0..gaskets).map(|i| 150 + 150 * i64::try_from(i).unwrap()).collect();
    let mut use_shims = vec![0_usize; shims];
    let mut use_gaskets = vec![0_usize; gaskets];
    let mut made = Vec::new();
    while made.len() < pumps {
        let picks: Vec<usize> =
            (0..rng.random_range(1..=most_pieces)).map(|_| rng.random_range(0..shims)).collect();
        let total: i64 = picks.iter().map(|&i| shim_sizes[i]).sum();
        let ring = rng.random_range(400..=620);
        let gap = total + ring;
        let fits: Vec<Vec<usize>> = (0..gaskets)
            .flat_map(|a| std::iter::once(vec![a]).chain((a..gaskets).map(move |b| vec![a, b])))
            .filter(|g| {
                let free: i64 = g.iter().map(|&i| gasket_sizes[i]).sum();
                let n = 10 * i64::try_from(g.len()).unwrap();
                10 * (free - n) >= 14 * (gap + 30) && 10 * (free + n) <= 16 * (gap - 30)
            })
            .collect();
        if fits.is_empty() {
            continue;
        }
        let gasket = &fits[rng.random_range(0..fits.len())];
        picks.iter().for_each(|&i| use_shims[i] += 1);
        gasket.iter().for_each(|&i| use_gaskets[i] += 1);
        let measured = |value, slack| Measured::within(value, Tolerance::even(slack));
        let bare = 210 + total + rng.random_range(-5..=5);
        made.push(Pump {
            priority: rng.random_range(1..=3),
            fits: vec![Code::new("A"), Code::new("A")],
            dimensions: vec![
                measured(tenth_thou(bare), tenth_thou(3)),
                measured(tenth_thou(ring), tenth_thou(2)),
            ],
            ..Pump::new(&format!("P-{:04}", made.len() + 1), 0, &model)
        });
    }
    let mut stock = Vec::new();
    let mut lot = |kind: &str, size: i64, used: usize, slack: i64, price: i64| {
        let thickness = Size::new(tenth_thou(size), Tolerance::even(tenth_thou(slack)));
        let on_hand = u32::try_from((used * tenths).div_ceil(10)).unwrap();
        // Some sizes appear twice, as separate lots.
        let (item, fit) = (format!("{kind}-{size}-{}", stock.len() + 1), Code::new("A"));
        stock.push(Item {
            unit_cost: Millionths::from_raw(price),
            min_level: 2,
            ..Item::of(&item, kind.into(), fit, thickness, on_hand)
        });
    };
    for (&size, &used) in shim_sizes.iter().zip(&use_shims) {
        lot("shim", size, used, 3, 1_500_000 + size * 2_000);
    }
    for (&size, &used) in gasket_sizes.iter().zip(&use_gaskets) {
        lot("gasket", size, used, 10, 3_000_000 + size * 1_000);
    }
    Job::new(Parts { stock, models: vec![model], pumps: made, ..Parts::default() }).unwrap()
}
