//! Sources of the figures of a stack-up: the cell, the model's key, the material or the certificate behind each
//! tolerance.

use crate::gauge::OfGauge;
use crate::job::Job;
use crate::length::Tolerance;
use crate::model::{Spread, Term};
use crate::problem::address;
use crate::pump::Pump;
use crate::stack::{Contributor, ErrorSource, Evaluation, SharedError};
use crate::stock::{Item, Lot, NO_ROW, ToleranceSource};

/// Source of the tolerance of a contributor: `model bare_clearance plus_minus`, `Stock!E12`, `material brass`.
pub fn source(job: &Job, pump: &Pump, part: &Contributor) -> String {
    match part.term {
        Term::Dimension(at) => of_dimension(job, pump, at, part),
        Term::Thermal(at) => of_growth(pump, at),
        Term::Derived(at) => {
            let derived = &pump.derived[at];
            let of = derived.of.map(|of| job.model_of(pump).dimensions[of].name.as_str());
            format!("model {} of {} and {}", derived.name, of[0], of[1])
        }
        Term::Pack(_) => match part.item {
            Some(item) => of_piece(job, &job.stock[item]),
            None => String::new(),
        },
    }
}

/// Source of an error that several contributors share.
pub fn source_of_shared(job: &Job, error: &SharedError) -> String {
    let from = match error.source {
        ErrorSource::Gauge(gauge) => match certificate(job, gauge) {
            Some(certificate) => format!("sheet Gauges, {certificate}"),
            None => "sheet Gauges".into(),
        },
        ErrorSource::Mean(Lot::Item(item)) => {
            format!("{}, Uncertainty", row_of(job, &job.stock[item]))
        }
        ErrorSource::Mean(Lot::Plate(plate)) => {
            let sheet = &job.plates_sheet.sheet.name;
            format!("{sheet} row {}, Uncertainty", job.plates[plate].row + 1)
        }
    };
    joined([Some(from), student(job, error.certified.freedom)])
}

fn of_dimension(job: &Job, pump: &Pump, at: usize, part: &Contributor) -> String {
    let dimension = &job.model_of(pump).dimensions[at];
    let (name, measured) = (&dimension.name, &pump.dimensions[at]);
    let (own, follows) = match dimension.spread {
        // The gauge's own uncertainty may be all that is known.
        Spread::Within(none) if none == Tolerance::default() && measured.gauge.is_some() => {
            (None, false)
        }
        Spread::Within(_) => (Some(format!("model {name} plus_minus")), false),
        Spread::StandardUncertainty(_) => (Some(format!("model {name} uncertainty")), true),
        Spread::FromReadings { .. } => (Some(format!("{} readings", part.readings.len())), true),
    };
    let scatter = match part.evaluation {
        Evaluation::Repeated { .. } => Some(format!("scatter of {} readings", part.readings.len())),
        _ => None,
    };
    // A stated plus/minus has no factor in it.
    let student = follows.then(|| student(job, part.degrees_of_freedom)).flatten();
    let gauge = measured.gauge.map(|gauge| of_gauge(job, gauge));
    joined([own, scatter, student, gauge])
}

fn of_growth(pump: &Pump, at: usize) -> String {
    let thermal = &pump.growths[at].thermal;
    match &thermal.material {
        None => format!("model {} expansion", thermal.name),
        Some((material, None)) => format!("material {material}, no source stated"),
        Some((material, Some(source))) => format!("material {material} ({source})"),
    }
}

fn of_piece(job: &Job, item: &Item) -> String {
    let own = match item.size.map(|size| size.source) {
        Some(ToleranceSource::Column(column)) => {
            format!("{}!{}", sheet_of(job, item), address(item.row, column))
        }
        Some(ToleranceSource::Material) => {
            format!("material {} of the model", item.material.as_deref().unwrap_or_default())
        }
        Some(ToleranceSource::Stated) | None => "as stated".into(),
    };
    let gauge = item.size.and_then(|size| size.gauge).map(|gauge| of_gauge(job, gauge));
    joined([Some(own), gauge])
}

/// Name of the sheet that an item stands on; pieces that are cut stand on that of their plate.
fn sheet_of<'j>(job: &'j Job, item: &Item) -> &'j str {
    match item.cut {
        Some(_) => &job.plates_sheet.sheet.name,
        None => &job.stock_sheet.sheet.name,
    }
}

fn row_of(job: &Job, item: &Item) -> String {
    if item.row == NO_ROW {
        return "the row of its plate".into();
    }
    format!("{} row {}", sheet_of(job, item), item.row + 1)
}

fn of_gauge(job: &Job, of: OfGauge) -> String {
    let name = job.gauges.get(of.gauge).map_or("", |gauge| &gauge.name);
    match certificate(job, of.gauge) {
        Some(certificate) => format!("gauge {name}, {certificate}"),
        None => format!("gauge {name}"),
    }
}

fn certificate(job: &Job, gauge: usize) -> Option<String> {
    let certificate = job.gauges.get(gauge)?.certificate.as_ref()?;
    Some(format!("certificate {certificate}"))
}

/// Student's factor inside a plus/minus, where few degrees of freedom ask for it.
fn student(job: &Job, freedom: Option<u32>) -> Option<String> {
    let freedom = freedom?;
    let factor = job.policy.coverage.of_readings(freedom).to_f64();
    let degrees = if freedom == 1 { "degree" } else { "degrees" };
    Some(format!("Student's factor {factor:.3} for {freedom} {degrees} of freedom"))
}

fn joined<const N: usize>(parts: [Option<String>; N]) -> String {
    parts.into_iter().flatten().collect::<Vec<_>>().join("; ")
}
