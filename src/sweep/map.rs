//! Maps: two quantities of a pump varied at once, with its pieces fixed.

use super::crossing::{self, met_range};
use super::{Setting, StepError, Sweep, moved};
use crate::job::Job;
use crate::length::Unit;
use crate::plan::PackPick;
use crate::show::Round;
use crate::stack::{Verdict, judge};

/// Map that was worked out.
#[derive(Debug, Clone, PartialEq)]
pub struct Mapped {
    /// Quantity down the rows, and the one across the columns.
    pub sweeps: [Sweep; 2],
    /// Verdicts of the requirements, row by row; the error of a pair of values that cannot be worked out.
    pub cells: Vec<Vec<Result<Vec<Verdict>, StepError>>>,
    /// Border of the met part, requirement by requirement.
    pub borders: Vec<Border>,
}

/// Border of the part of a map where a requirement is met.
#[derive(Debug, Clone, PartialEq)]
pub struct Border {
    /// Requirement, by its index.
    pub requirement: usize,
    /// For each value across the columns, the least and the greatest value down the rows at which it is met, exact;
    /// `None` where it is met at none of the range.
    pub ends: Vec<Option<[Setting; 2]>>,
}

impl Border {
    /// Texts for people of the ends at a column, with lengths in `unit`, each rounded into the met part.
    pub fn show(&self, column: usize, unit: Unit) -> Option<[String; 2]> {
        let [least, most] = (*self.ends.get(column)?)?;
        Some([least.rounded(unit, Round::Up), most.rounded(unit, Round::Down)])
    }
}

/// Varies two quantities of a pump with these pieces fixed.
pub fn map(job: &Job, pump: usize, packs: &[PackPick], sweeps: [Sweep; 2]) -> Mapped {
    let [down, across] = &sweeps;
    let moves = |row: Setting, column: Setting| [(down.knob, row), (across.knob, column)];
    let cell = |row: Setting, column: Setting| {
        let (pump, stack) = moved::held(job, pump, packs, &moves(row, column))?;
        let guard = job.policy.guard();
        Ok(pump.requirements.iter().map(|one| judge(&one.form, &stack, guard)).collect())
    };
    let line = |&row: &Setting| across.settings.iter().map(|&column| cell(row, column)).collect();
    let border = |requirement: usize| {
        let ends = across.settings.iter().map(|&column| {
            let at = |row| crossing::verdict(job, pump, packs, (&moves(row, column), requirement));
            met_range(&down.settings, down.knob, at, requirement)
        });
        Border { requirement, ends: ends.collect() }
    };
    let requirements = job.pumps[pump].requirements.len();
    Mapped {
        cells: down.settings.iter().map(line).collect(),
        borders: (0..requirements).map(border).collect(),
        sweeps,
    }
}
