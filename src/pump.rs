//! A pump of the outage, with its readings, fit codes and limits.

use crate::length::{Length, Tolerance};
use crate::model::Requirement;
use crate::packing::RingSpace;
use crate::stock::Code;

/// One row of the pump workbook.
#[derive(Debug, Clone, PartialEq)]
pub struct Pump {
    /// Its own number, unique.
    pub tag: String,
    /// Its model, by index among the job's models.
    pub model: usize,
    /// 1 comes first.
    pub priority: u32,
    /// When it is due, which orders the kit slips.
    pub due: Option<Due>,
    /// Where it stands.
    pub location: Option<String>,
    /// A note, carried through.
    pub note: Option<String>,
    /// Columns that this program does not know, carried through: heading and text.
    pub carried: Vec<(String, String)>,
    /// The fit code of each of the model's packs.
    pub fits: Vec<Code>,
    /// The measured value of each of the model's dimensions.
    pub dimensions: Vec<Measured>,
    /// The model's requirements with this pump's own targets and limits.
    pub requirements: Vec<Requirement>,
    /// What each of the model's consumables must fit.
    pub consumable_fits: Vec<ConsumableFit>,
    /// Its row in the pump sheet, from 0.
    pub row: u32,
}

impl Pump {
    /// When it is due, for ordering; a pump without a due date comes last.
    pub fn due_serial(&self) -> f64 {
        self.due.as_ref().map_or(f64::INFINITY, |due| due.serial)
    }
}

/// What a consumable must fit in a pump.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ConsumableFit {
    /// The fit code, where the model names a column for it and the pump fills it in.
    pub code: Option<Code>,
    /// The space that a ring fills, where the model asks by section.
    pub space: Option<RingSpace>,
}

/// A due date: as shown, and as compared (days since the end of 1899; texts come last).
#[derive(Debug, Clone, PartialEq)]
pub struct Due {
    /// As the sheet shows it.
    pub shown: String,
    /// For ordering.
    pub serial: f64,
}

/// A measured dimension.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Measured {
    /// The readings, one or several.
    pub readings: Vec<Length>,
    /// Their mean.
    pub value: Length,
    /// How far the true value may lie from it.
    pub tolerance: Tolerance,
    /// The standard uncertainty of the mean.
    pub standard: Length,
}
