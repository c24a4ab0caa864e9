//! Analysis of one pump's stack-up: Monte Carlo of its requirements, sweeps of one input and maps of two.
//!
//! [`Analysed::of`] draws the requirements; further methods add sweeps and maps. [`not_fit`] gives the pumps without a
//! kit, each with the nearest one.

mod cure;
mod nearest;

use crate::accounting::{stack, verdicts};
use crate::choose::ChooseError;
use crate::choose::control::Control;
use crate::job::Job;
use crate::plan::PackPick;
use crate::stack::monte_carlo::{DrawOptions as Draws, Outcome};
use crate::stack::{Undrawn, Verdict, level_of_draws, simulate};
use crate::sweep::{self, Mapped, Sweep, Swept};

pub use cure::{with_cure_of, with_cures};
pub use nearest::{NotFit, nearest_of, not_fit};

/// Stack-up of one pump, analysed.
#[derive(Debug, Clone)]
pub struct Analysed {
    /// Index of the pump in the job.
    pub pump: usize,
    /// Pieces of its packs.
    pub packs: Vec<PackPick>,
    /// Outcome of the draws of each requirement, or the reason that there is none.
    pub draws: Vec<Result<Outcome, Undrawn>>,
    /// Sweeps of one quantity.
    pub sweeps: Vec<Swept>,
    /// Maps of two quantities.
    pub maps: Vec<Mapped>,
}

impl Analysed {
    /// Draws each requirement of a pump (by its index) with these pieces, with at most `most_draws` draws; no
    /// sweeps or maps yet.
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
        Analysed { pump, draws: draws.collect(), packs, sweeps: Vec::new(), maps: Vec::new() }
    }

    /// Whether every requirement of the pump is met with these pieces.
    pub fn conforms(&self, job: &Job) -> bool {
        verdicts(job, &job.pumps[self.pump], &self.packs).iter().all(Verdict::conforms)
    }

    /// Adds a sweep with the pieces fixed; with a control, each crossing gets the kit that would be chosen beyond it.
    ///
    /// # Errors
    /// Those of [`sweep::choose_beyond`].
    pub fn sweep_held(
        &mut self,
        job: &Job,
        sweep: &Sweep,
        beyond: Option<&Control<'_>>,
    ) -> Result<(), ChooseError> {
        let mut swept = sweep::held(job, self.pump, &self.packs, sweep);
        if let Some(control) = beyond {
            sweep::choose_beyond(job, self.pump, &mut swept, control)?;
        }
        self.sweeps.push(swept);
        Ok(())
    }

    /// Adds a sweep with the pieces chosen again at each step.
    ///
    /// # Errors
    /// Those of [`sweep::chosen_anew`].
    pub fn sweep_anew(
        &mut self,
        job: &Job,
        sweep: &Sweep,
        control: &Control<'_>,
    ) -> Result<(), ChooseError> {
        self.sweeps.push(sweep::chosen_anew(job, self.pump, sweep, control)?);
        Ok(())
    }

    /// Adds a map of two quantities, with the pieces fixed.
    pub fn map(&mut self, job: &Job, sweeps: [Sweep; 2]) {
        self.maps.push(sweep::map(job, self.pump, &self.packs, sweeps));
    }
}
