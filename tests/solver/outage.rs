//! Random outages that the obvious model can express.

use gapwright::cutting::PlateLot;
use gapwright::decimal::Millionths;
use gapwright::job::{Job, Parts};
use gapwright::length::{Length, Tolerance, Unit};
use gapwright::model::{Dimension, Form, Model, Pack, Requirement, Term};
use gapwright::policy::{Acceptance, Policy};
use gapwright::pump::{Measured, Pump};
use gapwright::stock::{Code, Cut, Item, Size};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

fn tenths(n: i64) -> Length {
    Length::from_ticks(n * 25_400)
}

/// A random outage of 6 to 14 pumps over a shim pack, sometimes a second one, and a gasket; some with laminated
/// shims, with packs that spoil once they are opened, with a sheet that gaskets or shims are cut from. All lengths
/// are whole tenths of a thou and sensitivities simple, and costs can be divided, so that each charge is whole.
pub fn outage(seed: u64) -> Job {
    let mut rng = ChaCha8Rng::seed_from_u64(0x0b71_0005 ^ seed);
    // Later additions use a separate random source, so that the other cases stay unchanged.
    let mut later = ChaCha8Rng::seed_from_u64(!seed);
    let laminated = later.random_bool(0.3);
    let spoiled = later.random_bool(0.3);
    let cut = later.random_bool(0.3);
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
    let mut packs = vec![pack("shims", "shim", rng.random_range(0..=1), rng.random_range(2..=4))];
    if two {
        packs.push(pack("more_shims", "shim", 0, 2));
    }
    packs.push(pack("gaskets", "gasket", 1, rng.random_range(1..=2)));
    // A lever or a wedge moves the clearance by more or less than the pack.
    let lever = [1_000_000, 1_000_000, 500_000, 1_250_000][rng.random_range(0..4)];
    let mut terms =
        vec![(Term::Dimension(0), millionths(1_000_000)), (Term::Pack(0), millionths(-lever))];
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
                lower: Some(tenths(210 - half_window)),
                upper: Some(tenths(210 + half_window)),
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
                upper: Some(millionths(rng.random_range(58..=75) * 10_000)),
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
        let layers = [2, 4, 5][later.random_range(0..3_usize)];
        let peels = laminated && !two && kind == "shim" && later.random_bool(0.4);
        let step = size / layers;
        let size = if peels { step * layers } else { size };
        // A few lots only: the bound is weak on packs that spoil, and the proof of many takes minutes.
        let pack_qty = later.random_range(2..=4);
        let in_packs = spoiled && count <= 10 && stock.len() % 4 == 1;
        let size = Size {
            thickness: tenths(size),
            tolerance: Tolerance { minus: tenths(slack[0]), plus: tenths(slack[1]) },
            ..Size::new(Length::ZERO, Tolerance::default())
        };
        let item = format!("{kind}-{}", stock.len());
        stock.push(Item {
            reserved: on_hand / 5,
            unit_cost: millionths(cost),
            min_level: 1,
            in_bags: 0,
            carton_qty: if in_packs { pack_qty } else { 1 },
            peel_step: peels.then(|| tenths(step)),
            ..Item::of(&item, kind.into(), fit, size, on_hand)
        });
    };
    for code in 0..fits {
        for n in 0..shims {
            let size = 20 + 15 * i64::from(n) + rng.random_range(0..=10);
            let on_hand = rng.random_range(0..=each / fits as u32 + 1);
            let slack = [rng.random_range(0..=3), rng.random_range(0..=3)];
            lot("shim", fit(code), size, on_hand, slack, rng.random_range(0..=8) * 350_000);
        }
        for n in 0..gaskets {
            let size = 250 + 200 * i64::from(n) + rng.random_range(-30..=30);
            let on_hand = rng.random_range(1..=(2 * count) / gaskets + 2);
            let slack = [rng.random_range(0..=8), rng.random_range(0..=8)];
            lot("gasket", fit(code), size, on_hand, slack, rng.random_range(2..=9) * 450_000);
        }
    }
    let sheets = if cut { sheet(&mut later, &mut stock, fits, ample) } else { vec![] };
    let pumps = (0..count)
        .map(|index| {
            let measured = |value: i64, slack: i64| {
                Measured::within(tenths(value), Tolerance::even(tenths(slack)))
            };
            let code = rng.random_range(0..fits);
            // The measurements are those of a kit of these pieces, slightly off; where stock is ample the pieces are
            // on hand too.
            let mut plant = |kind: &str, pieces: u32| -> i64 {
                let lots = stock.iter().enumerate();
                let right = lots.filter(|(_, lot)| lot.kind == kind && lot.fit == fit(code));
                let right: Vec<usize> = right.map(|(index, _)| index).collect();
                let mut total = 0;
                for _ in 0..pieces {
                    let lot = &mut stock[right[rng.random_range(0..right.len())]];
                    lot.on_hand += u32::from(ample && lot.cut.is_none());
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
    let acceptance = if rng.random_bool(0.5) { Acceptance::Nominal } else { Acceptance::WorstCase };
    Job::new(Parts {
        stock,
        plates: sheets,
        models: vec![model],
        pumps,
        policy: Policy { acceptance, opened_cartons_spoiled: spoiled, ..Policy::default() },
        ..Parts::default()
    })
    .unwrap()
}

/// A lot of sheets that cost nothing, and the pieces that can be cut from it for each fit, at a cost in round numbers.
fn sheet(rng: &mut ChaCha8Rng, stock: &mut Vec<Item>, fits: usize, ample: bool) -> Vec<PlateLot> {
    let kind = if rng.random() { "gasket" } else { "shim" };
    let size =
        if kind == "gasket" { rng.random_range(300..=800) } else { rng.random_range(30..=100) };
    let lot = PlateLot {
        item: "sheet".into(),
        kind: kind.into(),
        material: None,
        size: Size::new(tenths(size), Tolerance::even(tenths(rng.random_range(0..=4)))),
        sides: [tenths(10_000), tenths([5_000, 6_000, 8_000][rng.random_range(0..3_usize)])],
        on_hand: rng.random_range(1..=if ample { 3 } else { 2 }),
        reserved: 0,
        plate_cost: Millionths::ZERO,
        bin: None,
        row: 0,
    };
    let price = rng.random_range(1..=6) * 2_400_000;
    for code in 0..fits {
        let outside = tenths([2_000, 2_500, 3_000, 4_000][rng.random_range(0..4_usize)]);
        let tenths_of = |side: Length| side.ticks() / 25_400;
        let [square, sheet] = [[outside; 2], lot.sides].map(|[a, b]| tenths_of(a) * tenths_of(b));
        stock.push(Item {
            unit_cost: Millionths::from_raw(price * square / sheet),
            cut: Some(Cut { plate: 0, outside, inside: tenths(500) }),
            ..Item::of(
                &format!("sheet > {code}"),
                kind.into(),
                Code::new(["A", "B"][code]),
                lot.size,
                lot.on_hand * lot.yields(outside),
            )
        });
    }
    vec![lot]
}
