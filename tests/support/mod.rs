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
use gapwright::job::{Job, Parts};
use gapwright::length::{Length, Tolerance, Unit};
use gapwright::model::{Dimension, Form, Model, Pack, Requirement, Term};
use gapwright::policy::{Acceptance, Policy};
use gapwright::pump::{Measured, Pump};
use gapwright::stock::{Code, Item, Size};

pub fn length(text: &str) -> Length {
    Length::parse(text, None).unwrap()
}

/// A lot of exact pieces.
pub fn lot(kind: &str, item: &str, thickness: Length, on_hand: u32) -> Item {
    let size = Size::new(thickness, Tolerance::default());
    Item::of(item, kind.into(), Code::new("F"), size, on_hand)
}

pub fn shims(sizes: &[&str], each: u32) -> Vec<Item> {
    sizes.iter().map(|size| lot("shim", size, length(size), each)).collect()
}

pub fn pack(kind: &str, most: u32) -> Pack {
    Pack::new(&format!("{kind}s"), kind, 1..=most)
}

pub fn one(sign: i64) -> Millionths {
    Millionths::from_raw(sign * 1_000_000)
}

pub fn linear(terms: &[(Term, i64)], target: Length, lower: Length, upper: Length) -> Requirement {
    Requirement {
        name: "fit".into(),
        label: "Fit".into(),
        form: Form::Linear {
            terms: terms.iter().map(|&(term, sign)| (term, one(sign))).collect(),
            target,
            lower: Some(lower),
            upper: Some(upper),
        },
    }
}

/// One pump whose one pack must be exactly `target`, with as few pieces as possible.
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
    let exact = Tolerance::default();
    let model = Model {
        dimensions: (0..dimensions.len())
            .map(|n| Dimension::new(&format!("d{n}"), exact))
            .collect(),
        packs,
        requirements,
        ..Model::new("m", Unit::Millimetre)
    };
    let pump = Pump {
        fits: vec![Code::new("F"); model.packs.len()],
        dimensions: dimensions.iter().map(|&value| Measured::within(value, exact)).collect(),
        ..Pump::new("P", 0, &model)
    };
    Job::new(Parts {
        stock,
        models: vec![model],
        pumps: vec![pump],
        policy: Policy { acceptance: Acceptance::Nominal, ..Policy::default() },
        ..Parts::default()
    })
    .unwrap()
}
