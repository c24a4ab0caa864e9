//! Analysis of one pump's stack-up: Monte Carlo of its requirements, and sweeps of one input.
//!
//! [`Analysed::of`] draws the requirements; further methods add sweeps.

use crate::accounting::stack;
use crate::choose::ChooseError;
use crate::choose::control::Control;
use crate::job::Job;
use crate::plan::PackPick;
use crate::stack::monte_carlo::{DrawOptions as Draws, Outcome};
use crate::stack::{Undrawn, level_of_draws, simulate};
use crate::sweep::{self, Sweep, SweepPoint};

/// Stack-up of one pump, analysed.
#[derive(Debug, Clone)]
pub struct Analysed {
    /// Index of the pump in the job.
    pub pump: usize,
    /// Pieces of its packs.
    pub packs: Vec<PackPick>,
    /// Outcome of the draws of each requirement, or the reason that there is none.
    pub draws: Vec<Result<Outcome, Undrawn>>,
    /// Sweeps, each with its points and whether the pieces were chosen again at each step.
    pub sweeps: Vec<(Sweep, Vec<SweepPoint>, bool)>,
}

impl Analysed {
    /// Draws each requirement of a pump (by its index) with these pieces, with at most `most_draws` draws; no
    /// sweeps yet.
    pub fn of(job: &Job, pump: usize, packs: Vec<PackPick>, most_draws: u64) -> Analysed {
        let the_pump = &job.pumps[pump];
        let unit = job.model_of(the_pump).unit;
        let parts = stack(job, the_pump, &packs);
        let draws = Draws {
            seed: job.policy.seed,
            level: level_of_draws(job.policy.coverage),
            most_draws,
            ..Draws::default()
        };
        let requirements = the_pump.requirements.iter();
        let draws = requirements.map(|r| simulate(&r.form, &parts, unit, &draws));
        Analysed { pump, draws: draws.collect(), packs, sweeps: Vec::new() }
    }

    /// Adds a sweep with the pieces fixed.
    pub fn sweep_held(&mut self, job: &Job, sweep: Sweep) {
        let points = sweep::held(job, self.pump, &self.packs, &sweep);
        self.sweeps.push((sweep, points, false));
    }

    /// Adds a sweep with the pieces chosen again at each step.
    ///
    /// # Errors
    /// Those of [`sweep::chosen_anew`].
    pub fn sweep_anew(
        &mut self,
        job: &Job,
        sweep: Sweep,
        control: &Control<'_>,
    ) -> Result<(), ChooseError> {
        let points = sweep::chosen_anew(job, self.pump, &sweep, control)?;
        self.sweeps.push((sweep, points, true));
        Ok(())
    }
}
