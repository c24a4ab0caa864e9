//! Reads an outage before it is measured: stock and pumps as usual, but a dimension without a reading has an expected
//! range, or past readings of its model.

use std::path::PathBuf;

use super::{Sources, book, check, gather, past};
use crate::decimal::Millionths;
use crate::forecast::{Forecast, usual_step};
use crate::length::{Length, Unit};
use crate::problem::Problems;

/// Knowledge ahead of readings, besides the pump workbook.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ahead {
    /// Workbook of past readings, if there is one.
    pub history: Option<PathBuf>,
    /// Probability that one more reading lies in the range from past readings; below 1.
    pub level: Millionths,
    /// Step to which ends of such a range are rounded outward; [`usual_step`] of the model's unit where none is
    /// given.
    pub step: Option<Length>,
}

impl Default for Ahead {
    /// No past readings, a level of 99 %, the usual steps.
    fn default() -> Ahead {
        Ahead { history: None, level: Millionths::from_raw(990_000), step: None }
    }
}

impl Ahead {
    /// Step in force for a model in this unit.
    pub(super) fn step_of(&self, unit: Unit) -> Length {
        self.step.unwrap_or_else(|| usual_step(unit))
    }
}

/// Reads and checks everything for an outage that is not measured yet.
///
/// A dimension with a reading is measured. One without a reading has the range of its columns `<dimension> low` and
/// `<dimension> high`, uniformly distributed. Where they are empty, it has the range and the law of one more reading
/// that the past readings of its model give ([`Fit`](crate::forecast::Fit)). At least eight of these are needed, each
/// of another pump: rows of one tag are combined to their mean, and without a column Tag each row counts as another
/// pump.
///
/// Where the model takes a dimension's uncertainty from its readings, they are presumed to scatter as past readings
/// of one pump did, pooled over pumps. Where no past pump has several readings, only the gauge's resolution counts,
/// with a warning.
///
/// # Errors
/// Every problem in all files, each with its place and fix.
pub fn forecast(sources: &Sources) -> Result<Forecast, Problems> {
    let mut problems = Problems::new();
    let memory = &mut sources.memory.clone();
    let stock = gather(book(&sources.stock, memory), &mut problems);
    let pumps = gather(book(&sources.pumps, memory), &mut problems);
    let past = past(sources, memory, &mut problems);
    check([stock, pumps, past], sources, true, problems)
}
