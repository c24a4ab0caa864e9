//! Cases: the values of each pump, and its requirements at each value.
//!
//! Two values, of one pump or of two, are in the same *class* if the same patterns meet them: their packs are
//! filled alike and every row and target has the same constants. Each class is listed once.

use std::collections::HashMap;

use crate::choose::pattern::Demands;
use crate::choose::{DrawerKey, drawer_key};
use crate::forecast::{Expected, Forecast};
use crate::length::Length;
use crate::narrow::narrow;
use crate::pump::Pump;

use super::{Axis, MOST_VALUES, ProvisionError};

/// Constants of all rows and targets.
pub(super) type Constants = Box<[i128]>;

/// Pump with the values at which it is examined.
pub(super) struct Case {
    /// Expected dimensions, with the values at which each is examined.
    pub(super) axes: Vec<Axis>,
    kind: u32,
    /// Constants at the lengths in the job.
    base: Constants,
    /// Those lengths, by axis.
    middle: Vec<i64>,
    /// Change of each constant per tick, by axis.
    slopes: Vec<Constants>,
}

/// Pumps that differ in their constants only.
pub(super) struct Kind {
    /// One of these pumps.
    pub(super) pump: usize,
    /// Demands on its kits.
    pub(super) demands: Demands,
    places: Vec<DrawerKey>,
}

/// All classes asked for so far.
pub(super) struct Register {
    /// Pumps that differ in their constants only.
    pub(super) kinds: Vec<Kind>,
    /// Kind and constants of each class.
    pub(super) classes: Vec<(u32, Constants)>,
    known: HashMap<(u32, Constants), u32>,
}

/// Pumps of an outlook with the values at which they are examined.
///
/// # Errors
/// [`ProvisionError::TooManyValues`].
pub(super) fn cases(
    outlook: &Forecast,
    step: Length,
) -> Result<(Vec<Case>, Register), ProvisionError> {
    let job = outlook.job();
    let mut register = Register { kinds: Vec::new(), classes: Vec::new(), known: HashMap::new() };
    let mut views = Vec::with_capacity(job.pumps.len());
    for (index, (pump, expected)) in job.pumps.iter().zip(outlook.expected()).enumerate() {
        check_number(pump, expected, step)?;
        let axes: Vec<Axis> = expected
            .iter()
            .enumerate()
            .filter_map(|(dimension, expected)| {
                let values = (*expected)?.values(step);
                Some(Axis { dimension, values })
            })
            .collect();
        let demands = Demands::of(pump, job, job.policy.guard());
        let base: Constants = demands.constants().collect();
        // Every constant is a sum of lengths times coefficients, so a change of one tick gives the slope.
        let slope = |axis: &Axis| -> Constants {
            let value = pump.dimensions[axis.dimension].value + Length::from_ticks(1);
            let moved =
                Demands::of(&measured(pump, axis.dimension, value), job, job.policy.guard());
            moved.constants().zip(&base).map(|(m, b)| m - b).collect()
        };
        let places = job.model_of(pump).packs.iter().zip(&pump.fits);
        let places: Vec<DrawerKey> = places.map(|(pack, fit)| drawer_key(pack, fit)).collect();
        views.push(Case {
            slopes: axes.iter().map(slope).collect(),
            middle: axes.iter().map(|axis| pump.dimensions[axis.dimension].value.ticks()).collect(),
            kind: register.kind(index, demands, places),
            base,
            axes,
        });
    }
    Ok((views, register))
}

/// Pump with a dimension set to a measured value.
fn measured(pump: &Pump, dimension: usize, value: Length) -> Pump {
    let mut pump = pump.clone();
    pump.dimensions[dimension].readings = vec![value];
    pump.dimensions[dimension].value = value;
    pump
}

/// Refuses a pump with too many values; the error gives a step that makes few enough.
fn check_number(
    pump: &Pump,
    expected: &[Option<Expected>],
    step: Length,
) -> Result<(), ProvisionError> {
    let number = |times: i64| -> u128 {
        let step = Length::from_ticks(step.ticks().saturating_mul(times));
        let counts = expected.iter().flatten().map(|e| u128::from(e.count(step)));
        counts.fold(1, u128::saturating_mul)
    };
    if number(1) <= MOST_VALUES {
        return Ok(());
    }
    let widest = expected.iter().flatten().map(|e| (e.high - e.low).ticks());
    let (mut few, mut many) = (widest.max().unwrap_or(0) / step.ticks() + 1, 1);
    while few - many > 1 {
        let middle = i64::midpoint(few, many);
        if number(middle) <= MOST_VALUES {
            few = middle;
        } else {
            many = middle;
        }
    }
    Err(ProvisionError::TooManyValues {
        tag: pump.tag.clone(),
        values: number(1),
        step: Length::from_ticks(step.ticks().saturating_mul(few)),
    })
}

impl Case {
    /// Constants with each axis at a length.
    fn constants(&self, lengths: impl Iterator<Item = Length>) -> Constants {
        let mut constants = self.base.clone();
        for ((length, middle), slopes) in lengths.zip(&self.middle).zip(&self.slopes) {
            let off = i128::from(length.ticks() - middle);
            for (constant, slope) in constants.iter_mut().zip(slopes) {
                *constant += off * slope;
            }
        }
        constants
    }

    /// Number of values.
    pub(super) fn values(&self) -> usize {
        self.axes.iter().map(|axis| axis.values.len()).product()
    }

    /// Class of each value; the last axis moves first.
    pub(super) fn grid(&self, register: &mut Register) -> Vec<u32> {
        let number = self.values();
        let mut at = vec![0; self.axes.len()];
        let mut classes = Vec::with_capacity(number);
        for _ in 0..number {
            let lengths = self.axes.iter().zip(&at).map(|(axis, &at)| axis.values[at]);
            let constants = self.constants(lengths);
            classes.push(register.class(self.kind, constants));
            for (axis, at) in self.axes.iter().zip(&mut at).rev() {
                *at += 1;
                if *at < axis.values.len() {
                    break;
                }
                *at = 0;
            }
        }
        classes
    }

    /// Class with each axis at a length.
    pub(super) fn class(
        &self,
        register: &mut Register,
        lengths: impl Iterator<Item = Length>,
    ) -> u32 {
        let constants = self.constants(lengths);
        register.class(self.kind, constants)
    }
}

impl Register {
    /// Bytes that the classes take, each in the list and in the table, which may be half empty.
    pub(super) fn bytes(&self) -> usize {
        let of = |(_, constants): &(u32, Constants)| constants.len() * size_of::<i128>();
        let one = self.classes.last().map_or(0, of) + size_of::<(u32, Constants)>();
        self.classes.len() * 3 * one
    }

    fn kind(&mut self, pump: usize, demands: Demands, places: Vec<DrawerKey>) -> u32 {
        let none: Vec<i128> = demands.constants().map(|_| 0).collect();
        let demands = demands.with(&none);
        let same = |kind: &Kind| kind.demands == demands && kind.places == places;
        let known = self.kinds.iter().position(same);
        let index = known.unwrap_or_else(|| {
            self.kinds.push(Kind { pump, demands, places });
            self.kinds.len() - 1
        });
        narrow::<u32>(index)
    }

    fn class(&mut self, kind: u32, constants: Constants) -> u32 {
        if let Some(&class) = self.known.get(&(kind, constants.clone())) {
            return class;
        }
        let class = narrow::<u32>(self.classes.len());
        self.classes.push((kind, constants.clone()));
        self.known.insert((kind, constants), class);
        class
    }
}
