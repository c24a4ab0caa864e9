//! Scenarios: the value of every dimension of every pump, drawn at random from a seed.
//!
//! Scenario number n draws from stream n of a generator of its purpose, so it does not depend on the thread
//! or the time at which it is drawn. The scenarios that a trolley is chosen for are independent of those that
//! its service is counted on.

use chacha20::ChaCha8Rng;
use chacha20::rand_core::SeedableRng;
use rayon::prelude::*;

use crate::choose::control::Pace;
use crate::forecast::Forecast;
use crate::length::Length;
use crate::plan::Stop;

use super::cases::{Case, Register};
use super::draws::Draws;

/// Purpose of scenarios.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose {
    /// Choice of a trolley.
    Choosing = 1,
    /// Count of its service.
    Counting = 2,
    /// Count of what a plan leaves.
    Leaving = 4,
}

/// Generator of a purpose and a number.
pub(super) fn generator(seed: u64, purpose: u8, number: u64) -> ChaCha8Rng {
    let mut key = [0; 32];
    key[..8].copy_from_slice(&seed.to_le_bytes());
    key[8] = purpose;
    let mut rng = ChaCha8Rng::from_seed(key);
    rng.set_stream(number);
    rng
}

/// Class of each pump, scenario by scenario.
pub(super) struct Scenarios {
    pub(super) pumps: usize,
    classes: Vec<u32>,
}

impl Scenarios {
    /// Draws this many scenarios, unless the time ends.
    pub(super) fn draw(
        outlook: &Forecast,
        views: &[Case],
        register: &mut Register,
        (seed, purpose, number, step): (u64, Purpose, u32, Length),
        pace: &mut Pace<'_>,
    ) -> Result<Scenarios, Stop> {
        /// Scenarios drawn in parallel.
        const AT_ONCE: u32 = 64;
        let mut classes = Vec::new();
        for from in (0..number).step_by(AT_ONCE as usize) {
            let to = number.min(from.saturating_add(AT_ONCE));
            if let Some(stop) = pace.stop((to - from) as usize * views.len()) {
                return Err(stop);
            }
            let drawn: Vec<Vec<Length>> = (from..to)
                .into_par_iter()
                .map(|scenario| lengths(outlook, seed, purpose, scenario, step))
                .collect();
            for lengths in drawn {
                let mut lengths = lengths.into_iter();
                for view in views {
                    let mine = lengths.by_ref().take(view.axes.len());
                    classes.push(view.class(register, mine));
                }
            }
        }
        Ok(Scenarios { pumps: views.len(), classes })
    }

    /// Some of the scenarios, from one on.
    pub(super) fn part(&self, from: u32, count: u32) -> Scenarios {
        let at = |scenario: u32| (scenario as usize * self.pumps).min(self.classes.len());
        let classes = self.classes[at(from)..at(from.saturating_add(count))].to_vec();
        Scenarios { pumps: self.pumps, classes }
    }

    /// Puts these pumps into a class in every scenario.
    pub(super) fn leave_out(&mut self, pumps: &[usize], class: u32) {
        for scenario in self.classes.chunks_mut(self.pumps.max(1)) {
            pumps.iter().for_each(|&pump| scenario[pump] = class);
        }
    }

    /// Keeps only the scenarios for which `holds` is true.
    pub(super) fn only(&self, holds: impl Fn(&[u32]) -> bool) -> Scenarios {
        let some = (0..self.len()).map(|scenario| self.of(scenario));
        Scenarios {
            pumps: self.pumps,
            classes: some.filter(|classes| holds(classes)).flatten().copied().collect(),
        }
    }

    /// Classes that some pump is in, ascending.
    pub(super) fn asked(&self) -> Vec<u32> {
        let mut asked = self.classes.clone();
        asked.sort_unstable();
        asked.dedup();
        asked
    }

    /// Number of scenarios.
    pub(super) fn len(&self) -> usize {
        self.classes.len() / self.pumps.max(1)
    }

    /// Class of each pump in one scenario.
    pub(super) fn of(&self, scenario: usize) -> &[u32] {
        &self.classes[scenario * self.pumps..(scenario + 1) * self.pumps]
    }
}

/// Values of all expected dimensions in one scenario, pump by pump and dimension by dimension.
pub(super) fn lengths(
    outlook: &Forecast,
    seed: u64,
    purpose: Purpose,
    scenario: u32,
    step: Length,
) -> Vec<Length> {
    let mut rng = generator(seed, purpose as u8, scenario.into());
    let mut draws = Draws::default();
    let pumps = outlook.job().pumps.iter().zip(outlook.expected());
    let each = pumps.flat_map(|(pump, expected)| {
        let dimensions = expected.iter().enumerate();
        dimensions.filter_map(|(at, one)| Some(((pump.model, at), one.as_ref()?)))
    });
    each.map(|(at, expected)| draws.length(at, expected, step, &mut rng)).collect()
}
