//! Families of fleets, by name: kinds of drawers and pumps that a shop may have. All of them are invented.

use gapwright::job::{Job, Parts};
use gapwright::length::{Length, Tolerance, Unit};
use gapwright::model::Form;
use gapwright::policy::Acceptance;

use crate::{generate, irregular};

/// Gasket sizes of every fleet.
const GASKETS: usize = 8;

/// A family of fleets that differ only in size and seed.
pub struct Family {
    pub name: &'static str,
    /// Description in a few words.
    pub about: &'static str,
    /// Numbers of pumps, unless others are asked for.
    pub sizes: &'static [usize],
    /// Shim sizes, and the most shims in a pack.
    pub shims: usize,
    pub most: usize,
    /// Stock in tenths of the pieces in the planted kits.
    pub tenths: usize,
    /// Seconds for the choice.
    pub limit: u64,
    /// Makes the fleet of so many pumps from a seed.
    pub make: fn(&Family, usize, u64) -> Job,
    /// Whether every charge is a whole number, as the obvious model needs.
    pub whole_charges: bool,
    /// Difference from the usual fleet.
    pub change: fn(&mut Parts),
}

const TIGHT: Family = Family {
    name: "tight",
    about: "a tenth more than the planted kits take",
    sizes: &[10, 30, 100, 300],
    shims: 22,
    most: 4,
    tenths: 11,
    limit: 60,
    make: regular,
    whole_charges: true,
    change: |_| {},
};

/// Sizes that follow no pattern, written apart from the others.
const IRREGULAR: Family = Family {
    name: "irregular",
    about: "irregular sizes and prices, two fits, a tenth more than the planned kits take",
    sizes: &[30, 100, 300],
    shims: 15,
    make: |family, pumps, seed| irregular::fleet(seed, pumps, family.shims, family.tenths),
    ..TIGHT
};

fn regular(family: &Family, pumps: usize, seed: u64) -> Job {
    let most = u32::try_from(family.most).unwrap();
    generate::fleet(seed, pumps, family.shims, GASKETS, family.tenths, most)
}

/// All families, in the order of the runs.
pub const FAMILIES: [Family; 10] = [
    Family {
        name: "loose",
        about: "two and a half times what the planted kits take",
        tenths: 25,
        ..TIGHT
    },
    TIGHT,
    Family {
        name: "no-slack",
        about: "just the pieces of the planted kits, narrow windows",
        sizes: &[30],
        tenths: 10,
        change: narrow,
        ..TIGHT
    },
    Family {
        name: "many-sizes",
        about: "45 shim sizes, a tenth more than the planted kits take",
        sizes: &[120],
        shims: 45,
        limit: 20,
        ..TIGHT
    },
    Family {
        name: "laminated",
        about: "every fourth shim can be peeled, in five layers",
        sizes: &[30],
        change: laminate,
        ..TIGHT
    },
    Family {
        name: "many-models",
        about: "twelve models with limits of their own",
        sizes: &[30, 100],
        change: part_models,
        ..TIGHT
    },
    Family {
        name: "metric",
        about: "sizes and readings in millimetres",
        sizes: &[30, 100],
        whole_charges: false,
        change: convert,
        ..TIGHT
    },
    IRREGULAR,
    Family {
        name: "irregular-no-slack",
        about: "irregular sizes and prices, two fits, just the pieces of the planned kits",
        sizes: &[30],
        tenths: 10,
        ..IRREGULAR
    },
    Family {
        name: "irregular-loose",
        about: "irregular sizes and prices, two fits, two and a half times the pieces of the planned kits",
        tenths: 25,
        ..IRREGULAR
    },
];

impl Family {
    pub fn job(&self, pumps: usize, seed: u64) -> Job {
        let changed = (self.make)(self, pumps, seed).with(|parts| {
            // Some sizes are equal, and each lot needs its own number.
            for (number, item) in (1..).zip(&mut parts.stock) {
                item.item = format!("{}-{number:02}", item.kind);
            }
            (self.change)(parts);
        });
        changed.unwrap()
    }
}

/// Limits on the clearance close around the planted kits, 0.0005 in on either side, without any guard, so that the
/// kits still pass.
fn narrow(job: &mut Parts) {
    let tenths = |n: i64| Length::from_ticks(n * 25_400);
    job.policy.acceptance = Acceptance::Nominal;
    for form in forms(job) {
        if let Form::Linear { lower, upper, .. } = form {
            (*lower, *upper) = (Some(tenths(205)), Some(tenths(215)));
        }
    }
}

fn laminate(job: &mut Parts) {
    let shims = job.stock.iter_mut().filter(|item| item.kind == "shim");
    for item in shims.step_by(4) {
        let size = item.size.unwrap();
        item.peel_step = Some(Length::from_ticks(size.thickness.ticks() / 5));
    }
}

/// Twelve models, each with slightly wider limits of the clearance than the one before.
fn part_models(job: &mut Parts) {
    let one = job.models[0].clone();
    let models = (0..12).map(|number| {
        let mut model = one.clone();
        model.name = format!("m{number:02}");
        for requirement in &mut model.requirements {
            if let Form::Linear { lower, upper, .. } = &mut requirement.form {
                let wider = Length::from_ticks(number * 25_400);
                *lower = lower.map(|lower| lower - wider);
                *upper = upper.map(|upper| upper + wider);
            }
        }
        model
    });
    job.models = models.collect();
    for (number, pump) in job.pumps.iter_mut().enumerate() {
        pump.model = number % job.models.len();
        pump.requirements = job.models[pump.model].requirements.clone();
    }
}

/// Converts every tenth of a thou to 2.5 micrometres.
fn convert(job: &mut Parts) {
    let metric = |length: &mut Length| *length = Length::from_ticks(length.ticks() / 254 * 250);
    let within = |tolerance: &mut Tolerance| {
        metric(&mut tolerance.minus);
        metric(&mut tolerance.plus);
    };
    for form in forms(job) {
        if let Form::Linear { target, lower, upper, .. } = form {
            let limits = lower.iter_mut().chain(upper);
            limits.chain([target]).for_each(metric);
        }
    }
    for size in job.stock.iter_mut().filter_map(|item| item.size.as_mut()) {
        metric(&mut size.thickness);
        within(&mut size.tolerance);
    }
    let dimensions = job.pumps.iter_mut().flat_map(|pump| &mut pump.dimensions);
    for measured in dimensions {
        measured.readings.iter_mut().for_each(metric);
        metric(&mut measured.value);
        within(&mut measured.tolerance);
    }
    job.models[0].unit = Unit::Millimetre;
}

/// Forms of all requirements, of the models and of the pumps.
fn forms(job: &mut Parts) -> impl Iterator<Item = &mut Form> {
    let of_models = job.models.iter_mut().map(|model| &mut model.requirements);
    let of_pumps = job.pumps.iter_mut().map(|pump| &mut pump.requirements);
    let all = of_models.chain(of_pumps).flatten();
    all.map(|requirement| &mut requirement.form)
}
