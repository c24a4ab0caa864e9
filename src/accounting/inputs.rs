//! Values of the workbooks that a kit was chosen and is judged by, as texts: a plan carries them, so that other
//! workbooks than its own are found when its readings come back.

use std::collections::BTreeMap;

use crate::columns::{fit_heading, pump_heading};
use crate::job::Job;
use crate::length::{Fine, Length, Tolerance, Unit};
use crate::model::Form;
use crate::plan::PackPick;
use crate::pump::Pump;

/// Values of a pump by the headings of their columns, and those of the pieces of its kit by item.
pub fn inputs(job: &Job, pump: &Pump, packs: &[PackPick]) -> BTreeMap<String, String> {
    let model = job.model_of(pump);
    let unit = model.unit;
    let mut all = BTreeMap::from([("Model".to_string(), model.name.clone())]);
    for (pack, fit) in model.packs.iter().zip(&pump.fits) {
        all.insert(fit_heading(&pack.name), fit.as_str().to_string());
    }
    for (dimension, measured) in model.dimensions.iter().zip(&pump.dimensions) {
        let heading = pump_heading(&dimension.name);
        all.insert(format!("{heading} plus/minus"), sides(measured.tolerance, unit));
        all.insert(heading, length(measured.value, unit));
    }
    for growth in &pump.growths {
        all.insert(pump_heading(&growth.thermal.name), length(growth.value, unit));
    }
    for requirement in &pump.requirements {
        let heading = pump_heading(&requirement.name);
        for (side, value) in limits(&requirement.form, unit) {
            all.insert(format!("{heading} {side}"), value);
        }
    }
    for pick in packs.iter().flat_map(|pack| &pack.picks) {
        let item = &job.stock[pick.item];
        if let Some(size) = item.size {
            all.insert(format!("Tolerance of {}", item.item), sides(size.tolerance, unit));
        }
    }
    all
}

/// Target and limits of a requirement; `none` where it has no such limit.
fn limits(form: &Form, unit: Unit) -> [(&'static str, String); 3] {
    let or_none = |value: Option<String>| value.unwrap_or_else(|| "none".into());
    match form {
        Form::Linear { target, lower, upper, .. } => [
            ("target", length(*target, unit)),
            ("min", or_none(lower.map(|lower| length(lower, unit)))),
            ("max", or_none(upper.map(|upper| length(upper, unit)))),
        ],
        Form::GasketFill { target, lower, upper, .. } => [
            ("target", target.to_string()),
            ("min", lower.to_string()),
            ("max", or_none(upper.map(|upper| upper.to_string()))),
        ],
    }
}

fn length(length: Length, unit: Unit) -> String {
    format!("{} {unit}", Fine::from(length).show(unit))
}

fn sides(tolerance: Tolerance, unit: Unit) -> String {
    let [plus, minus] = [tolerance.plus, tolerance.minus].map(|side| Fine::from(side).show(unit));
    format!("+{plus}/-{minus} {unit}")
}
