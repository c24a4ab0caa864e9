//! One pump's stack-up, worked out: its requirements drawn at random, and what if one thing moves.

use crate::accounting::stack;
use crate::choose::ChooseError;
use crate::choose::watch::Watch;
use crate::job::Job;
use crate::plan::PackPick;
use crate::stack::monte_carlo::{Outcome, Plan as Draws};
use crate::stack::{Undrawn, level_of_draws, simulate};
use crate::sweep::{self, Point, Sweep};

/// One pump's stack-up.
#[derive(Debug, Clone)]
pub struct Analysed {
    /// Its index in the job.
    pub pump: usize,
    /// Its pieces.
    pub packs: Vec<PackPick>,
    /// What the draws of each requirement came to, or why there are none.
    pub draws: Vec<Result<Outcome, Undrawn>>,
    /// Sweeps, each with what it came to and whether the pieces were chosen anew.
    pub sweeps: Vec<(Sweep, Vec<Point>, bool)>,
}

impl Analysed {
    /// Draws each requirement of a pump, by its index, with these pieces, at most so many times; without sweeps so far.
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

    /// Adds a sweep with the pieces held.
    pub fn sweep_held(&mut self, job: &Job, sweep: Sweep) {
        let points = sweep::held(job, self.pump, &self.packs, &sweep);
        self.sweeps.push((sweep, points, false));
    }

    /// Adds a sweep with the pieces chosen anew at each step.
    ///
    /// # Errors
    /// Those of [`sweep::chosen_anew`].
    pub fn sweep_anew(
        &mut self,
        job: &Job,
        sweep: Sweep,
        watch: &Watch<'_>,
    ) -> Result<(), ChooseError> {
        let points = sweep::chosen_anew(job, self.pump, &sweep, watch)?;
        self.sweeps.push((sweep, points, true));
        Ok(())
    }
}
