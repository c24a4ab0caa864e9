//! Pieces that a plan leaves for the pumps that are not measured, in words.

use itertools::Itertools;

use super::provision::{interval, percent};
use crate::job::{Job, NotMeasured};
use crate::plan::{Kit, LeftCount, Plan, Uncounted};
use crate::provision::exact_interval;

/// Level of the intervals.
pub const LEVEL: f64 = 0.95;

impl LeftCount {
    /// Exact binomial interval about the share of drawn outages in which all are kitted: the low end as if none of the
    /// undecided were, the high end as if all were.
    pub fn interval(&self) -> [f64; 2] {
        let about = |kitted: u32| exact_interval(kitted, self.draws, LEVEL);
        [about(self.kitted)[0], about(self.kitted + self.undecided)[1]]
    }
}

/// Both ends of an interval from 0 to 1 with six places, rounded outward.
pub fn outward([low, high]: [f64; 2]) -> [String; 2] {
    [(low * 1e6).floor(), (high * 1e6).ceil()].map(|end| format!("{:.6}", end / 1e6))
}

/// All that a plan says of pumps that are not measured, in sentences: pieces held back, pieces left, pieces used up.
pub fn of_plan(job: &Job, plan: &Plan) -> Vec<String> {
    held_back(job, plan).into_iter().chain(left(job, plan)).chain(used_up(job, plan)).collect()
}

/// Pieces that the plan leaves, in sentences; empty where nothing is known ahead of any pump.
pub fn left(job: &Job, plan: &Plan) -> Vec<String> {
    let mut said = match &plan.left {
        None => Vec::new(),
        Some(Ok(count)) => counted(job, count),
        Some(Err(why)) => vec![format!(
            "Whether this plan leaves enough for the pumps that are not measured was not counted: {}.",
            uncounted(*why)
        )],
    };
    let others = not_counted(job, plan);
    if !others.is_empty() {
        let each = others.iter().map(|(pump, why)| format!("{} ({why})", pump.tag)).join(", ");
        said.push(format!("Not counted, since nothing is known ahead of their readings: {each}."));
    }
    said
}

fn counted(job: &Job, count: &LeftCount) -> Vec<String> {
    let LeftCount { draws, seed, kitted, undecided, without_plan, .. } = count;
    let share = percent(f64::from(*kitted) / f64::from((*draws).max(1)));
    let tag = |at: &usize| job.not_measured[*at].tag.as_str();
    let whom = match &count.pumps[..] {
        [(only, _)] => tag(only).to_string(),
        pumps => format!("all {} of them that are known ahead", pumps.len()),
    };
    let mut said = vec![format!(
        "What this plan leaves kits {whom} in {kitted} of {draws} outages drawn at random from ranges and past readings, {share} ({}, at 95 %; seed {seed}); if the plan took nothing, in {without_plan}.",
        interval(count.interval())
    )];
    if let Some(alone) = count.held_alone {
        let about = interval(exact_interval(alone, *draws, LEVEL));
        let plates = if job.plates.is_empty() { "" } else { ", with the plates that are left," };
        said.push(format!(
            "The pieces held back do by themselves{plates} in {alone} of these outages, for which they were not chosen ({about}, at 95 %)."
        ));
    }
    if let [_, _, ..] = &count.pumps[..] {
        let each = count.pumps.iter().map(|(at, kitted)| format!("{} in {kitted}", tag(at)));
        said.push(format!("One by one: {}.", { each }.join(", ")));
    }
    if *undecided > 0 {
        let plates = match job.plates.is_empty() {
            true => "",
            false => ": it depends on how the plates that are left are cut",
        };
        said.push(format!("{undecided} of them were not decided and count as not kitted{plates}."));
    }
    said
}

/// Warning that names the pieces that the plan uses up; `None` where it leaves as much as there was.
pub fn used_up(job: &Job, plan: &Plan) -> Option<String> {
    let count = plan.left.as_ref()?.as_ref().ok()?;
    if count.used_up.is_empty() {
        let lost = count.without_plan.checked_sub(count.kitted).filter(|lost| *lost > 0)?;
        return Some(format!(
            "WARNING: the plan takes pieces that pumps not measured need in {lost} of {} drawn outages; no single piece more would help.",
            count.draws
        ));
    }
    let named = count.used_up.iter().map(|&(item, kitted)| {
        let takes = |kit: &Kit| match kit {
            Kit::Served(packs) => {
                packs.iter().flat_map(|pack| &pack.picks).any(|pick| pick.item == item)
            }
            Kit::Short(_) => false,
        };
        let pumps = job.pumps.iter().zip(&plan.kits).filter(|(_, kit)| takes(kit));
        let tags = pumps.map(|(pump, _)| pump.tag.as_str()).join(", ");
        format!("{} (taken by {tags}) in {kitted}", job.stock[item].item)
    });
    Some(format!(
        "WARNING: the plan uses up pieces that pumps not measured need. They are kitted in {} of {} drawn outages; with one more on hand of {}.",
        count.kitted,
        count.draws,
        { named }.join(", of ")
    ))
}

/// Pieces that the plan holds back, and for whom; `None` where none are to be.
pub fn held_back(job: &Job, plan: &Plan) -> Option<String> {
    let asked = job.hold_back.len();
    if asked == 0 {
        return None;
    }
    let held = plan.held_back(job).into_iter().enumerate().filter(|(_, count)| *count > 0);
    let listed = held.map(|(item, count)| format!("{count} x {}", job.stock[item].item)).join(", ");
    let known = || job.not_measured.iter().filter(|pump| pump.ahead.is_ok());
    let tags = match known().next() {
        Some(_) => known().map(|pump| pump.tag.as_str()).join(", "),
        // Past readings are not at hand where a plan is only worked out again.
        None => job.not_measured.iter().map(|pump| pump.tag.as_str()).join(", "),
    };
    Some(match plan.held_back.len() {
        0 => format!(
            "None of the {asked} pieces that {tags} will probably need can be held back: the pumps kitted need them all."
        ),
        all if all == asked => format!("Held back for {tags} (not measured): {listed}."),
        part => format!(
            "Held back for {tags} (not measured): {listed}; {part} of the {asked} pieces that they will probably need, since the pumps kitted need the others."
        ),
    })
}

/// Worth of pieces held back, as the share of all that are to be: each counts by the drawn outages that need it. Rounded down.
pub fn share_of_need(job: &Job, worth: i64) -> String {
    let all: i64 = job.hold_back.iter().map(|piece| i64::from(piece.worth)).sum();
    let tenths = i128::from(worth) * 1_000 / i128::from(all.max(1));
    format!("{}.{} %", tenths / 10, tenths % 10)
}

/// Said where pieces were to be held back, and there is nothing that says which.
pub fn nothing_held_back(job: &Job, why: Option<Uncounted>) -> String {
    match why {
        Some(why) => format!("WARNING: nothing is held back: {}.", uncounted(why)),
        None if job.not_measured.is_empty() => "Nothing is held back: every pump is measured.".into(),
        None if job.not_measured.iter().all(|pump| pump.ahead.is_err()) => {
            "WARNING: nothing is held back: no range and no past readings tell what the pumps that are not measured will need.".into()
        }
        None => "WARNING: nothing is held back: no pieces in stock fit the pumps that are not measured.".into(),
    }
}

/// Pumps that are not counted, each with the reason; none where nothing is known ahead of any pump.
pub fn not_counted<'a>(job: &'a Job, plan: &Plan) -> Vec<(&'a NotMeasured, &'a str)> {
    let asked = job.inputs.iter().any(|input| input.role == "past readings");
    if plan.left.is_none() && !asked {
        return Vec::new();
    }
    let all = job.not_measured.iter();
    all.filter_map(|pump| Some((pump, pump.ahead.as_ref().err()?.as_str()))).collect()
}

fn uncounted(why: Uncounted) -> String {
    match why {
        Uncounted::Stopped(stop) => format!("the {} came first", stop.words()),
        Uncounted::Memory => "it takes more memory than the run may".into(),
        Uncounted::TooMany => "they can be kitted in too many ways".into(),
    }
}
