//! Scenarios: what every pump comes to, drawn at random from a seed.
//!
//! Scenario number n draws from stream n of a generator of its purpose, so it is the same whoever
//! draws it and when; those that a trolley is chosen for have nothing to do with those that its
//! service is counted on.

use chacha20::ChaCha8Rng;
use chacha20::rand_core::{Rng, SeedableRng};
use rayon::prelude::*;

use crate::length::Length;
use crate::outlook::{Expected, Law, Outlook};
use crate::stack::monte_carlo::student;

use super::views::{Register, View};

/// What scenarios are drawn for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose {
    /// To choose a trolley.
    Choosing = 1,
    /// To count its service.
    Counting = 2,
}

/// The generator of a purpose and a number.
pub(super) fn generator(seed: u64, purpose: u8, number: u64) -> ChaCha8Rng {
    let mut key = [0; 32];
    key[..8].copy_from_slice(&seed.to_le_bytes());
    key[8] = purpose;
    let mut rng = ChaCha8Rng::from_seed(key);
    rng.set_stream(number);
    rng
}

/// The class of each pump, scenario by scenario.
pub(super) struct Scenarios {
    pub(super) pumps: usize,
    classes: Vec<u32>,
}

impl Scenarios {
    /// Draws so many.
    pub(super) fn draw(
        outlook: &Outlook,
        views: &[View],
        register: &mut Register,
        (seed, purpose, number): (u64, Purpose, u32),
        step: Length,
    ) -> Scenarios {
        let drawn: Vec<Vec<Length>> = (0..number)
            .into_par_iter()
            .map(|scenario| lengths(outlook, seed, purpose, scenario, step))
            .collect();
        let mut classes = Vec::with_capacity(drawn.len() * views.len());
        for lengths in drawn {
            let mut lengths = lengths.into_iter();
            for view in views {
                let mine = lengths.by_ref().take(view.axes.len());
                classes.push(view.class(register, mine));
            }
        }
        Scenarios {
            pumps: views.len(),
            classes,
        }
    }

    /// Only those for which something holds.
    pub(super) fn only(&self, holds: impl Fn(&[u32]) -> bool) -> Scenarios {
        let some = (0..self.len()).map(|scenario| self.of(scenario));
        Scenarios {
            pumps: self.pumps,
            classes: some
                .filter(|classes| holds(classes))
                .flatten()
                .copied()
                .collect(),
        }
    }

    /// The classes that some pump is of, ascending.
    pub(super) fn asked(&self) -> Vec<u32> {
        let mut asked = self.classes.clone();
        asked.sort_unstable();
        asked.dedup();
        asked
    }

    /// How many there are.
    pub(super) fn len(&self) -> usize {
        self.classes.len() / self.pumps.max(1)
    }

    /// The class of each pump in one.
    pub(super) fn of(&self, scenario: usize) -> &[u32] {
        &self.classes[scenario * self.pumps..(scenario + 1) * self.pumps]
    }
}

/// What everything that is only expected comes to in one scenario, pump by pump and dimension by
/// dimension.
pub(super) fn lengths(
    outlook: &Outlook,
    seed: u64,
    purpose: Purpose,
    scenario: u32,
    step: Length,
) -> Vec<Length> {
    let mut rng = generator(seed, purpose as u8, scenario.into());
    let expected = outlook.expected.iter().flatten().flatten();
    expected
        .map(|expected| expected.nearest(draw(expected, &mut rng), step))
        .collect()
}

/// A length of the law.
fn draw(expected: &Expected, rng: &mut ChaCha8Rng) -> Length {
    match expected.law {
        Law::Even => {
            // Every tick of the range alike, but for one part in 2^64 of their number.
            let ticks = (expected.high - expected.low).ticks().unsigned_abs();
            let drawn = (u128::from(rng.next_u64()) * (u128::from(ticks) + 1)) >> 64;
            expected.low + Length::from_ticks(i64::try_from(drawn).unwrap_or(0))
        }
        Law::Readings {
            mean,
            scale,
            freedom,
        } => {
            /// Femtometres in a tick.
            const TICK: f64 = 100_000.0;
            /// Nothing is longer than ten metres.
            const MOST: f64 = 1e11;
            let t = student(f64::from(freedom.max(1)), rng);
            #[allow(clippy::cast_precision_loss)]
            let off = t * (scale.raw() as f64 / TICK);
            #[allow(clippy::cast_possible_truncation)]
            let ticks = off.clamp(-MOST, MOST).round() as i64;
            mean + Length::from_ticks(ticks)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::length::Uncertainty;

    fn drawn(law: Law, number: u64) -> Vec<f64> {
        let length = |ticks| Length::from_ticks(ticks);
        let expected = Expected {
            low: length(1_000),
            high: length(1_009),
            law,
        };
        let one = |stream| {
            let mut rng = ChaCha8Rng::from_seed([3; 32]);
            rng.set_stream(stream);
            let ticks = draw(&expected, &mut rng).ticks();
            f64::from(i32::try_from(ticks).unwrap())
        };
        (0..number).map(one).collect()
    }

    /// Each of ten lengths in a tenth of 20,000 draws, within five standard deviations.
    #[test]
    fn every_tick_of_a_range_is_as_likely() {
        let draws = drawn(Law::Even, 20_000);
        for tick in 1_000..1_010 {
            let drawn = draws
                .iter()
                .filter(|d| (**d - f64::from(tick)).abs() < 0.5)
                .count();
            assert!((1_788..=2_212).contains(&drawn), "{tick}: {drawn}");
        }
    }

    /// Quartiles of Student's t with 3 degrees of freedom: 0.764 892 (printed tables; from memory
    /// 0.765), so half of all draws lie within.
    #[test]
    fn readings_are_drawn_by_students_law() {
        let law = Law::Readings {
            mean: Length::from_ticks(500_000),
            scale: Uncertainty::from_raw(100_000 * 10_000),
            freedom: 3,
        };
        let draws = drawn(law, 20_000);
        let within = |half: f64| draws.iter().filter(|d| (*d - 5e5).abs() < half).count();
        // 95 % lie within 3.182 (table of t, from memory).
        assert!((9_646..=10_354).contains(&within(7_648.92)));
        assert!((18_846..=19_154).contains(&within(31_824.5)));
    }
}
