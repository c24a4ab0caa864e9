//! Jobs are made of valid parts, or not at all.

use std::collections::BTreeMap;
use std::path::PathBuf;

use gapwright::choose::{choose, control::Control};
use gapwright::cutting::PlateLot;
use gapwright::decimal::{Millionths, Money};
use gapwright::feeler::Blade;
use gapwright::gauge::{Certified, OfGauge};
use gapwright::job::{Job, Part, PartError, Parts};
use gapwright::length::{Length, Tolerance, Unit};
use gapwright::model::{
    ConsumableNeed, Correlation, Dimension, Expansion, Form, FormError, Model, Pack, Requirement,
    Term, Thermal,
};
use gapwright::plan::Kit;
use gapwright::pump::{Measured, Pump};
use gapwright::read::{self, Sources};
use gapwright::stack::Coverage;
use gapwright::stock::Cut;
use gapwright::stock::{Code, Item, Size};
use gapwright::verify::verify;
use gapwright::write;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

fn mm(text: &str) -> Length {
    Length::parse(text, Some(Unit::Millimetre)).unwrap()
}

fn one(sign: i64) -> Millionths {
    Millionths::from_raw(sign * 1_000_000)
}

fn size(thickness: &str) -> Size {
    Size::new(mm(thickness), Tolerance::even(mm("0.005")))
}

/// Two pumps of one model with something of everything: a shim pack and a gasket that is cut, two dimensions and two
/// parts that grow, each two correlated, a seal for the bag, a blade.
pub fn whole() -> Parts {
    let thermal = |name: &str| Thermal {
        name: name.into(),
        label: name.into(),
        length: mm("100"),
        length_within: Length::ZERO,
        expansion: Expansion { value: Millionths::from_raw(12_000_000), within: Millionths::ZERO },
        cold: Millionths::from_raw(20_000_000),
        running: Millionths::from_raw(60_000_000),
        temperature_within: Millionths::ZERO,
        material: None,
        degrees_of_freedom: [None; 3],
    };
    let tied = |term: fn(usize) -> Term| Correlation {
        between: [term(0), term(1)],
        coefficient: Millionths::from_raw(500_000),
    };
    let slack = Tolerance::even(mm("0.01"));
    let model = Model {
        dimensions: vec![Dimension::new("bare", slack), Dimension::new("ring", slack)],
        thermals: vec![thermal("shaft"), thermal("casing")],
        correlations: vec![tied(Term::Dimension), tied(Term::Thermal)],
        packs: vec![Pack::new("shims", "shim", 0..=3), Pack::new("gasket", "gasket", 1..=1)],
        requirements: vec![
            Requirement::new(
                "clearance",
                Form::Linear {
                    terms: vec![
                        (Term::Dimension(0), one(1)),
                        (Term::Pack(0), one(-1)),
                        (Term::Thermal(0), one(-1)),
                        (Term::Thermal(1), one(1)),
                    ],
                    target: mm("0.5"),
                    lower: Some(mm("0.4")),
                    upper: Some(mm("0.6")),
                },
            ),
            Requirement::new(
                "fill",
                Form::GasketFill {
                    gasket: 1,
                    gap: vec![(Term::Dimension(1), one(1)), (Term::Pack(0), one(1))],
                    target: Millionths::from_raw(500_000),
                    lower: Millionths::from_raw(300_000),
                    upper: Some(Millionths::from_raw(700_000)),
                },
            ),
        ],
        consumables: vec![ConsumableNeed {
            kind: "seal".into(),
            fit_column: None,
            section: None,
            count: 1,
        }],
        ..Model::new("example", Unit::Millimetre)
    };
    let pump = |tag: &str, bare: &str| Pump {
        fits: vec![Code::new("F"), Code::new("G")],
        dimensions: vec![Measured::within(mm(bare), slack), Measured::within(mm("1.5"), slack)],
        ..Pump::new(tag, 0, &model)
    };
    let pumps = vec![pump("P-1", "1.0"), pump("P-2", "1.25")];
    let sheets = PlateLot {
        item: "SHEET".into(),
        kind: "gasket".into(),
        material: None,
        size: size("3"),
        sides: [mm("400"), mm("300")],
        on_hand: 1,
        reserved: 0,
        plate_cost: Money::from_raw(9_000_000),
        bin: None,
        row: 0,
    };
    let outside = mm("100");
    let blank = Item {
        cut: Some(Cut { plate: 0, outside, inside: mm("60") }),
        ..Item::of(
            "SHEET > G",
            "gasket".into(),
            Code::new("G"),
            sheets.size,
            sheets.yields(outside),
        )
    };
    let shim = |item: &str, thickness: &str| {
        Item::of(item, "shim".into(), Code::new("F"), size(thickness), 3)
    };
    let seal = Item { size: None, ..Item::of("SEAL", "seal".into(), Code::new(""), size("1"), 2) };
    let laminated = Item { peel_step: Some(mm("0.05")), ..shim("S-L", "0.3") };
    Parts {
        stock: vec![shim("S-25", "0.25"), shim("S-50", "0.5"), laminated, seal, blank],
        plates: vec![sheets],
        models: vec![model],
        pumps,
        feelers: vec![Blade { thickness: mm("0.5"), tolerance: Tolerance::default(), count: 1 }],
        ..Parts::default()
    }
}

/// The job runs to the end: chosen, verified, written.
fn carried_out(job: Job) -> usize {
    let plan = choose(&job, &Control::unlimited()).unwrap();
    let served = plan.kits.iter().filter(|kit| matches!(kit, Kit::Served(_)));
    let served = served.count();
    let verified = verify(job, plan).unwrap();
    assert!(!write::workbook(&verified, "2027-03-01").unwrap().is_empty());
    assert!(gapwright::json::text(&verified).contains("P-"));
    served
}

#[test]
fn a_job_of_its_own_parts_is_kitted() {
    assert_eq!(carried_out(Job::new(whole()).unwrap()), 2);
}

/// Everything that the readers accept is a job by the constructor's own rules.
#[test]
fn every_sample_that_was_read_is_a_job() {
    for (stock, pumps) in [
        ("tiny/stock.csv", "tiny/pumps.csv"),
        ("outage/stock.xlsx", "outage/pumps.xlsx"),
        ("purchase/stock.csv", "purchase/pumps.csv"),
    ] {
        let at = |file: &str| PathBuf::from("samples").join(file);
        let sources = Sources { stock: at(stock), pumps: at(pumps), ..Sources::default() };
        let read = read::job(&sources).unwrap();
        let parts = read.clone().into_parts();
        assert_eq!(Job::new(parts.clone()).unwrap().into_parts(), parts, "{stock}");
        let (inputs, warnings) = (read.inputs.clone(), read.warnings.clone());
        let same = read.with(|_| ()).unwrap();
        assert_eq!((same.inputs, same.warnings), (inputs, warnings));
    }
}

/// One fault: its part, the first words of its error, and the change that makes it.
type Spoiler = (Part, &'static str, fn(&mut Parts, usize));

fn pump() -> Part {
    Part::Pump("P-2".into())
}

fn model() -> Part {
    Part::Model("example".into())
}

fn term(index: usize, kind: usize) -> Term {
    [Term::Dimension, Term::Thermal, Term::Pack][kind % 3](index)
}

/// A term of a form that the valid job has: none has three of anything.
fn put(form: &mut Form, which: Term) {
    match form {
        Form::Linear { terms, .. } => terms[1].0 = which,
        Form::GasketFill { gap, .. } => gap[0].0 = which,
    }
}

/// Resizes a list to another length than it has.
fn resize<T: Clone>(list: &mut Vec<T>, length: usize) {
    let (other, first) = (length % 5, list[0].clone());
    let other = if other == list.len() { other + 1 } else { other };
    list.resize(other, first);
}

fn of_gauge(gauge: usize) -> OfGauge {
    OfGauge { gauge, certified: Certified::default() }
}

fn spoilers() -> Vec<Spoiler> {
    vec![
        (pump(), "model number", |p, n| p.pumps[1].model = n - 1),
        (pump(), "dimension|thermal term|place", |p, n| {
            put(&mut p.pumps[1].requirements[0].form, term(n, n));
        }),
        (pump(), "dimension|thermal term|place", |p, n| {
            put(&mut p.pumps[1].requirements[1].form, term(n, n / 3));
        }),
        (pump(), "place number", |p, n| {
            if let Form::GasketFill { gasket, .. } = &mut p.pumps[1].requirements[1].form {
                *gasket = n;
            }
        }),
        (pump(), "dimension number|thermal term number", |p, n| {
            p.pumps[1].correlations[n % 2].between[1] = term(n, n % 2);
        }),
        (pump(), "a correlation that", |p, n| {
            p.pumps[1].correlations[n % 2].between[n / 2 % 2] = Term::Pack(1);
        }),
        (pump(), "a correlation that", |p, _| {
            p.pumps[1].correlations[0].between = [Term::Dimension(1); 2];
        }),
        (pump(), "a correlation coefficient", |p, n| {
            p.pumps[1].correlations[0].coefficient =
                Millionths::from_raw(1_000_001 + (n % 9) as i64);
        }),
        (pump(), "fit codes", |p, n| resize(&mut p.pumps[1].fits, n)),
        (pump(), "dimensions where", |p, n| {
            resize(&mut p.pumps[1].dimensions, n);
        }),
        (pump(), "growths where", |p, n| resize(&mut p.pumps[1].growths, n)),
        (pump(), "requirements where", |p, n| {
            resize(&mut p.pumps[1].requirements, n);
        }),
        (pump(), "fits of consumables", |p, n| {
            resize(&mut p.pumps[1].consumable_fits, n);
        }),
        (pump(), "the readings", |p, n| {
            p.pumps[1].dimensions[n % 2].readings.clear();
        }),
        (pump(), "a reading", |p, n| {
            p.pumps[1].dimensions[n % 2].value = Length::from_ticks(i64::MAX - (n % 9) as i64);
        }),
        (pump(), "a plus/minus", |p, n| {
            p.pumps[1].dimensions[n % 2].tolerance.minus = mm("-0.1");
        }),
        (pump(), "the requirement clearance has", |p, n| {
            if let Form::Linear { lower, upper, .. } = &mut p.pumps[1].requirements[0].form {
                if n % 2 == 0 {
                    std::mem::swap(lower, upper);
                } else {
                    *lower = Some(mm("0.55"));
                }
            }
        }),
        (Part::Pump("P-1".into()), "the name", |p, _| p.pumps[1].tag = "p-1".into()),
        (model(), "dimension|thermal term|place", |p, n| {
            put(&mut p.models[0].requirements[n % 2].form, term(n, n / 2));
        }),
        (model(), "dimension number|thermal term number", |p, n| {
            p.models[0].correlations[n % 2].between[0] = term(n, n % 2);
        }),
        (model(), "the pieces of a place", |p, _| p.models[0].packs[1].least_pieces = 2),
        (model(), "the requirement fill has", |p, _| {
            if let Form::GasketFill { lower, .. } = &mut p.models[0].requirements[1].form {
                *lower = Millionths::from_raw(-1);
            }
        }),
        (Part::Item("SHEET > G".into()), "plates number", |p, n| {
            p.stock[4].cut.as_mut().unwrap().plate = n - 1;
        }),
        (Part::Item("SHEET > G".into()), "the outside diameter", |p, n| {
            let wide = [Length::ZERO, mm("-5"), mm("0.2")][n % 3];
            p.stock[4].cut.as_mut().unwrap().outside = wide;
        }),
        (Part::Item("S-50".into()), "the thickness", |p, n| {
            let thick = [Length::ZERO, mm("-0.5"), Length::from_ticks(i64::MAX)][n % 3];
            p.stock[1].size.as_mut().unwrap().thickness = thick;
        }),
        (Part::Item("S-50".into()), "the reserved pieces", |p, n| {
            p.stock[1].reserved = 4 + (n % 9) as u32;
        }),
        (Part::Item("S-50".into()), "the pieces in a pack", |p, _| p.stock[1].carton_qty = 0),
        (Part::Item("S-50".into()), "the cost", |p, _| {
            p.stock[1].unit_cost = Money::from_raw(-1);
        }),
        (Part::Item("S-L".into()), "the peel step", |p, _| {
            p.stock[2].peel_step = Some(Length::ZERO);
        }),
        (Part::Item("s-25".into()), "the name", |p, _| p.stock[1].item = "s-25".into()),
        (Part::Plates("SHEET".into()), "the side of a plate", |p, n| {
            p.plates[0].sides[n % 2] = mm("-1");
            p.stock.pop();
        }),
        (Part::Blade(0), "the thickness", |p, _| p.feelers[0].thickness = Length::ZERO),
        (pump(), "gauges number", |p, n| {
            p.pumps[1].dimensions[n % 2].gauge = Some(of_gauge(n));
        }),
        (Part::Item("S-50".into()), "gauges number", |p, n| {
            p.stock[1].size.as_mut().unwrap().gauge = Some(of_gauge(n));
        }),
        (Part::Policy, "the step of a gauge", |p, n| {
            p.policy.clearance_step.metric = [Length::ZERO, mm("-0.01"), mm("3")][n % 3];
        }),
        (Part::Policy, "the coverage factor", |p, n| {
            let level = Coverage::Level(Millionths::from_raw([0, 1_000_000, -3][n % 3]));
            p.policy.coverage = level;
        }),
    ]
}

/// Every fault a few hundred times, with any index: refused with the name of its part, and never a panic.
#[test]
fn what_is_not_there_is_refused_by_name() {
    let spoilers = spoilers();
    let mut dice = ChaCha8Rng::seed_from_u64(16);
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    for case in 0..6_000 {
        let (part, words, spoil) = &spoilers[case % spoilers.len()];
        // Just beyond the last, or far away.
        let index = match dice.random_range(0..4) {
            0 => usize::MAX,
            _ => dice.random_range(2..40),
        };
        let mut parts = whole();
        spoil(&mut parts, index);
        let error = Job::new(parts).expect_err(words);
        let said = error.to_string();
        let (named, what) = said.split_once(": ").unwrap();
        assert_eq!(named.to_lowercase(), part.to_string().to_lowercase(), "{said}");
        assert!(words.split('|').any(|word| what.contains(word)), "{words}: {said}");
        let kind = match error.error {
            PartError::NotThere { index, count, .. } => {
                assert!(index >= count, "{said}");
                "not there"
            }
            PartError::Count { found, expected, .. } => {
                assert_ne!(found, expected, "{said}");
                "count"
            }
            PartError::Form { error, .. } => match error {
                FormError::LimitsCrossed => "crossed",
                FormError::TargetOutside => "outside",
                _ => "other form",
            },
            PartError::OutOfRange { .. } => "range",
            PartError::Correlation => "correlation",
            PartError::Twice => "twice",
            _ => "new",
        };
        *seen.entry(kind).or_default() += 1;
    }
    let least = seen.values().min().copied().unwrap_or(0);
    assert!(seen.len() == 8 && !seen.contains_key("new") && least > 50, "{seen:?}");
}

/// Any random change: either it is refused, or the job runs to the end without a panic.
#[test]
fn what_is_a_job_never_fails_later() {
    let mut dice = ChaCha8Rng::seed_from_u64(17);
    let (mut refused, mut kitted, mut short) = (0, 0, 0);
    for _ in 0..600 {
        let mut parts = whole();
        for _ in 0..dice.random_range(1..=3) {
            shake(&mut parts, &mut dice);
        }
        match Job::new(parts) {
            Err(error) => {
                assert!(!error.to_string().is_empty());
                refused += 1;
            }
            Ok(job) => {
                let pumps = job.pumps.len();
                let served = carried_out(job);
                kitted += served;
                short += pumps - served;
            }
        }
    }
    assert!(refused > 150 && kitted > 150 && short > 50, "{refused} {kitted} {short}");
}

/// Changes one thing; not always for the worse.
fn shake(parts: &mut Parts, dice: &mut ChaCha8Rng) {
    let index = dice.random_range(0..3);
    let pump = dice.random_range(0..2);
    let length = Length::from_ticks(dice.random_range(-2_000..30_000) * 1_000);
    let item = dice.random_range(0..5);
    match dice.random_range(0..16) {
        0 => parts.pumps[pump].model = index % 2,
        1 => put(&mut parts.pumps[pump].requirements[0].form, term(index, dice.random_range(0..3))),
        2 => put(&mut parts.pumps[pump].requirements[1].form, term(index, dice.random_range(0..3))),
        3 => parts.pumps[pump].correlations[0].between[index % 2] = Term::Dimension(index),
        4 => parts.pumps[pump].fits.truncate(1 + index),
        5 => parts.pumps[pump].dimensions.truncate(1 + index),
        6 => parts.pumps[pump].consumable_fits.truncate(index),
        7 => parts.pumps[pump].dimensions[0].value = length,
        8 => parts.pumps[pump].priority = dice.random(),
        9 => {
            if let Some(size) = &mut parts.stock[item].size {
                size.thickness = length;
            }
        }
        10 => parts.stock[item].on_hand = dice.random_range(0..4),
        11 => parts.stock[item].reserved = dice.random_range(0..4),
        12 => parts.stock[item].peel_step = Some(length),
        13 => {
            if let Some(cut) = &mut parts.stock[4].cut {
                (cut.plate, cut.outside) = (index % 2, length * 10);
            }
        }
        14 => parts.stock[item].carton_qty = dice.random_range(0..4),
        _ => parts.models[0].packs[index % 2].most_pieces = dice.random_range(0..4),
    }
}
