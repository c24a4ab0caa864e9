//! Small jobs and files for the tests.

#![allow(
    dead_code,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    missing_docs
)]

use gapwright::decimal::Millionths;
use gapwright::job::Job;
use gapwright::length::{Length, Tolerance, Uncertainty, Unit};
use gapwright::model::{Dimension, Form, Model, Pack, Requirement, Shape, Spread, Term};
use gapwright::policy::{Acceptance, Policy};
use gapwright::pump::{Measured, Pump};
use gapwright::stock::{Code, Item, Size};

pub fn length(text: &str) -> Length {
    Length::parse(text, None).unwrap()
}

/// A lot of exact pieces.
pub fn lot(kind: &str, item: &str, thickness: Length, on_hand: u32) -> Item {
    Item {
        item: item.into(),
        kind: kind.into(),
        fit: Code::new("F"),
        size: Some(Size {
            thickness,
            tolerance: Tolerance::default(),
            uncertainty: None,
        }),
        on_hand,
        reserved: 0,
        unit_cost: Millionths::ZERO,
        min_level: 0,
        bin: None,
        material: None,
        pack_qty: 1,
        terms: Default::default(),
        peel_step: None,
        section: None,
        cut: None,
        row: 0,
    }
}

pub fn shims(sizes: &[&str], each: u32) -> Vec<Item> {
    sizes
        .iter()
        .map(|size| lot("shim", size, length(size), each))
        .collect()
}

pub fn pack(kind: &str, most: u32) -> Pack {
    Pack {
        name: format!("{kind}s"),
        label: format!("{kind}s"),
        kind: kind.into(),
        least_pieces: 1,
        most_pieces: most,
    }
}

pub fn one(sign: i64) -> Millionths {
    Millionths::from_raw(sign * 1_000_000)
}

pub fn linear(terms: &[(Term, i64)], target: Length, lower: Length, upper: Length) -> Requirement {
    Requirement {
        name: "fit".into(),
        label: "Fit".into(),
        form: Form::Linear {
            terms: terms
                .iter()
                .map(|&(term, sign)| (term, one(sign)))
                .collect(),
            target,
            lower,
            upper,
        },
    }
}

/// One pump whose one pack must come to exactly `target` with as few pieces as will do.
pub fn exactly(stock: Vec<Item>, target: Length, most: u32) -> Job {
    let requirement = linear(&[(Term::Pack(0), 1)], target, target, target);
    job(stock, vec![pack("shim", most)], vec![requirement], &[])
}

/// One pump with these measured dimensions, exact, under the nominal rule.
pub fn job(
    stock: Vec<Item>,
    packs: Vec<Pack>,
    requirements: Vec<Requirement>,
    dimensions: &[Length],
) -> Job {
    let fits = packs.iter().map(|_| Code::new("F")).collect();
    let model = Model {
        name: "m".into(),
        title: "m".into(),
        unit: Unit::Millimetre,
        dimensions: (0..dimensions.len())
            .map(|n| Dimension {
                name: format!("d{n}"),
                label: format!("d{n}"),
                spread: Spread::Within(Tolerance::default()),
                shape: Shape::Rectangular,
                freedom: None,
            })
            .collect(),
        packs,
        requirements: requirements.clone(),
        thermals: vec![],
        correlations: vec![],
        consumables: vec![],
        materials: vec![],
        cautions: vec![],
        examples: Default::default(),
        figures: vec![],
        drawing: None,
        sha256: String::new(),
    };
    let pump = Pump {
        tag: "P".into(),
        model: 0,
        priority: 1,
        due: None,
        location: None,
        note: None,
        carried: vec![],
        consumable_fits: vec![],
        growths: vec![],
        correlations: vec![],
        fits,
        dimensions: dimensions
            .iter()
            .map(|&value| Measured {
                readings: vec![value],
                value,
                tolerance: Tolerance::default(),
                standard: Uncertainty::ZERO,
                freedom: None,
            })
            .collect(),
        requirements,
        row: 0,
    };
    Job {
        stock,
        sheets: vec![],
        models: vec![model],
        pumps: vec![pump],
        policy: Policy {
            acceptance: Acceptance::Nominal,
            ..Policy::default()
        },
        stock_sheet: Default::default(),
        sheets_sheet: Default::default(),
        fit_sheet: Default::default(),
        feelers_sheet: Default::default(),
        feelers: Default::default(),
        inputs: vec![],
        unused: vec![],
        warnings: vec![],
    }
}
