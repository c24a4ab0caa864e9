//! Holds the workbooks that come back with the readings against those that the plan was made from.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use super::fitted_pieces::{Kits, Tags, holds};
use super::plan::plan_of_json;
use crate::accounting::inputs::inputs;
use crate::formats::plan::PumpJson;
use crate::formats::slip::{self, SlipRow};
use crate::issue::carried::Carried;
use crate::issue::key;
use crate::job::Job;
use crate::problem::{Place, Problem, Problems};
use crate::sheet::Sheet;

/// Lines of the values that a plan was made with, by pump, with their place; a plan of an earlier version has none.
pub(super) type Stated = BTreeMap<usize, (Place, Vec<String>)>;

/// Values on the slips of a plan workbook.
pub(super) fn of_slips(sheets: &[&Arc<Sheet>], tags: &Tags) -> Stated {
    let rows = sheets.iter().flat_map(|sheet| sheet.rows.iter().map(move |row| (sheet, row)));
    let stated = rows.filter_map(|(sheet, row)| {
        let (_, tag, _) = holds(row).filter(|(what, ..)| *what == SlipRow::Signed)?;
        let lines = row.cell(slip::INPUTS.into())?.show();
        let lines = lines.lines().map(|line| line.trim().to_string()).collect();
        Some((tags.pump(&tag)?, (sheet.place(row.number, slip::INPUTS.into()), lines)))
    });
    stated.collect()
}

/// Values in a plan for programs.
pub(super) fn of_json(path: &Path, tags: &Tags) -> Stated {
    let place = Place::file(&path.display().to_string());
    let pumps = plan_of_json(path).map(|(plan, _)| plan.pumps).unwrap_or_default();
    let stated = pumps.into_iter().filter(|pump| !pump.inputs.is_empty());
    let of = |pump: PumpJson| {
        let lines = pump.inputs.iter().map(|(heading, value)| slip::input_line(heading, value));
        Some((tags.pump(&pump.tag)?, (place.clone(), lines.collect())))
    };
    stated.filter_map(of).collect()
}

/// Names every value that differs from the plan's, before anything is judged by it. Where the pump workbook is another
/// one and no such value differs, that is a warning; so is a pump that the plan knows nothing of.
pub(super) fn compare(
    job: &Job,
    (kits, stated): (&Kits, &Stated),
    carried: &Carried,
    problems: &mut Problems,
) {
    let before = problems.count();
    for (index, kit) in kits {
        let Some((place, planned)) = stated.get(index) else { continue };
        let pump = &job.pumps[*index];
        let now = inputs(job, pump, kit);
        for (heading, now) in &now {
            if planned.contains(&slip::input_line(heading, now)) {
                continue;
            }
            let heading_then = slip::input_line(heading, "");
            let mut then = planned.iter().filter_map(|line| line.strip_prefix(&heading_then));
            let then = then.next().map_or("not stated", str::trim);
            problems.add(Problem::new(
                place.clone(),
                format!("`{heading}` of {}: {then} in the plan, {now} in the workbooks given", pump.tag),
                "the workbooks that the plan was made from",
                "give those workbooks; if the new value is right, make the plan again, since its pieces were chosen with the old one",
            ));
        }
    }
    let file = |role: &str| job.inputs.iter().find(|input| input.role == role);
    let Some(pumps) = file("pump workbook") else { return };
    let known = carried.tags();
    for (index, pump) in job.pumps.iter().enumerate() {
        let is_known = known.iter().any(|tag| key(tag) == key(&pump.tag));
        if !is_known && !kits.contains_key(&index) {
            problems.warn(Problem::new(
                Place::file(&pumps.file),
                format!("the pump {}, which the plan has no line for", pump.tag),
                "the pumps of the plan",
                "make a plan for it; here it has no kit",
            ));
        }
    }
    let other = carried.pumps_sha256.as_ref().is_some_and(|then| *then != pumps.sha256);
    if other && problems.count() == before {
        let compared = kits.keys().filter(|index| stated.contains_key(index)).count();
        let found = match compared == kits.len() {
            true => {
                "another pump workbook than the plan's: the same in all that its kits are judged by"
                    .to_string()
            }
            false => format!(
                "another pump workbook than the plan's; of {} kits the plan does not say what they were chosen by",
                kits.len() - compared
            ),
        };
        problems.warn(Problem::new(
            Place::file(&pumps.file),
            found,
            "the pump workbook that the plan was made from",
            "give that one, if this is not it with other cells changed",
        ));
    }
}
