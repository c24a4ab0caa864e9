//! Sweeps in words.

use itertools::Itertools;

use crate::job::Job;
use crate::length::Tolerance;
use crate::plan::PackPick;
use crate::pump::Pump;
use crate::show;
use crate::stack::Judgement;
use crate::sweep::{Crossing, Setting, SweepPoint};

/// Requirement that turns, or the kit.
pub fn turning(pump: &Pump, crossing: &Crossing) -> String {
    match crossing.requirement {
        Some(requirement) => pump.requirements[requirement].label.clone(),
        None => "Kit, its pieces chosen again".into(),
    }
}

/// Crossing in a line: `Running clearance: met at 0.0230, NOT PROVEN at 0.023001 in`.
pub fn crossing(job: &Job, pump: &Pump, crossing: &Crossing) -> String {
    let unit = job.model_of(pump).unit;
    let [met, not_met] = crossing.show(unit);
    let [yes, no] = match crossing.requirement {
        Some(_) => [Judgement::Met.words(), crossing.verdict.words()],
        None => ["kitted", "cannot be kitted"],
    };
    let unit = match crossing.met {
        Setting::Length(_) => format!(" {unit}"),
        Setting::Number(_) => String::new(),
    };
    format!("{}: {yes} at {met}, {no} at {not_met}{unit}", turning(pump, crossing))
}

/// Kit that would be chosen beyond a crossing.
pub fn beyond(job: &Job, pump: &Pump, point: &SweepPoint) -> String {
    match &point.kit {
        Some(kit) => pieces(job, pump, &kit.packs),
        None => match point.fault {
            Some(fault) => fault.to_string(),
            None => "no kit can be chosen".into(),
        },
    }
}

/// Pieces of each place: `Shims over the bearing: SH-1, 2 x SH-2; Cover gasket: GK-1`.
pub fn pieces(job: &Job, pump: &Pump, packs: &[PackPick]) -> String {
    let unit = job.model_of(pump).unit;
    let places = job.model_of(pump).packs.iter().zip(packs).map(|(place, pack)| {
        let picks = pack.picks.iter().map(|pick| {
            let item = &job.stock[pick.item];
            let count = if pick.count == 1 { String::new() } else { format!("{} x ", pick.count) };
            let peeled = item.peeled(pick.peeled).filter(|_| pick.peeled > 0);
            let peeled = peeled.map(|to| format!(" peeled to {}", show::length(to, unit)));
            format!("{count}{}{}", item.item, peeled.unwrap_or_default())
        });
        match pack.picks.is_empty() {
            true => format!("{}: none", place.label),
            false => format!("{}: {}", place.label, picks.format(", ")),
        }
    });
    places.collect::<Vec<_>>().join("; ")
}

/// Tolerance that each piece was given where their number is varied.
pub fn given(job: &Job, pump: &Pump, tolerance: Tolerance) -> String {
    let unit = job.model_of(pump).unit;
    format!("each piece given {} {unit}, as the worst one there", show::tolerance(tolerance, unit))
}
