//! Bench results in words: decisions, likely mistakes, swaps.

use super::{
    NOT_FIT, about, contradicting, fine, guards, length, limits, natural_unit, pack_reading,
    thickness,
};
use crate::gauge::ReadingStep;
use crate::job::Job;
use crate::length::{Length, Tolerance, Unit};
use crate::plan::Pick;
use crate::policy::Acceptance;
use crate::pump::Pump;
use crate::recheck::mix_ups::Slip;
use crate::recheck::work::{self, Task, Usual, WorkStep, unmeasured};
use crate::recheck::{Compared, Decision, Of, Record, Searched, Suspect};
use crate::stack::Judgement;

/// The decision in a word or two.
pub fn decision(record: &Record) -> &'static str {
    match &record.decision {
        Decision::NotKitted => NOT_FIT,
        Decision::NotRead => "not read yet",
        Decision::Look(_) if record.looks_at_not_met() => "LOOK FIRST, NOT MET",
        Decision::Look(_) => "LOOK FIRST",
        Decision::Incomplete(_) => "recheck missing",
        Decision::Accept => "accept",
        Decision::Swap(_) => "SWAP",
        Decision::NoSwap(_) => NOT_FIT,
    }
}

/// Whether a pump is accepted with a pack that was not measured.
pub fn is_accepted_unmeasured(job: &Job, pump: &Pump, record: &Record) -> bool {
    matches!(record.decision, Decision::Accept) && !unmeasured(job, pump, record).is_empty()
}

/// Whether a decision keeps the pump open.
pub fn keeps_open(decision: &Decision) -> bool {
    !matches!(decision, Decision::Accept)
}

/// Part that was read: the place, or the requirement.
pub fn what<'a>(job: &'a Job, pump: &'a Pump, of: Of) -> &'a str {
    match of {
        Of::Pack(place) => &job.model_of(pump).packs[place].label,
        Of::Requirement(index) => &pump.requirements[index].label,
    }
}

/// Found and predicted value:
/// `found 0.0262 in, predicted 0.0212 in; off by 0.0050 in, 4.6 times their combined uncertainty`.
pub fn compared(compared: &Compared, unit: Unit) -> String {
    let found = compared.found.last().value;
    let difference = compared.difference().abs();
    let times = compared.normalised().map_or_else(
        || "and neither has an error".to_string(),
        |e| format!("{:.1} times their combined uncertainty", e.abs()),
    );
    // The slip has the nominal value, so the source of the other one is stated.
    let middle = match compared.predicted == compared.nominal {
        true => String::new(),
        false => format!(
            " (the middle of uneven tolerances; {} on the slip)",
            fine(compared.nominal, unit)
        ),
    };
    format!(
        "found {}, predicted {}{middle}; off by {}, {times}",
        length(found, unit),
        about(compared.predicted, unit),
        about(difference, unit),
    )
}

/// The usual grounds of a difference. Common practice, no source.
fn usual(usual: Usual) -> &'static str {
    match usual {
        Usual::Thicker => {
            "Look for dirt, oil or a burr between the pieces, a bent piece, a wrong piece or one too many."
        }
        Usual::Thinner => {
            "Look for a missing, wrong or worn piece, and check the micrometer's zero."
        }
        Usual::Seating => {
            "Look for dirt or a burr on the faces, a bearing, ring or cover that is not seated or not drawn up \
             evenly, a shaft that was not pushed over, a wrong bare reading; several feeler blades together read thick."
        }
    }
}

fn suspect(job: &Job, pump: &Pump, suspect: &Suspect) -> String {
    let place = &job.model_of(pump).packs[suspect.pack].label;
    let name = |pick: Pick| {
        let item = &job.stock[pick.item];
        match item.peeled(pick.peeled).filter(|_| pick.peeled > 0) {
            Some(peeled) => format!("{} at {}", item.item, thickness(peeled, natural_unit(peeled))),
            None => item.item.clone(),
        }
    };
    match suspect.slip {
        Slip::Missing(piece) => format!("a {} is missing from {place}", name(piece)),
        Slip::TooMany(piece) => format!("there is a {} too many in {place}", name(piece)),
        Slip::Mistaken(piece, other) => {
            format!("a {} went into {place} for a {}", name(other), name(piece))
        }
    }
}

/// A requirement that is not met as found: where it comes out, and why that does not do.
fn where_it_is(job: &Job, pump: &Pump, record: &Record, index: usize, why: &str) -> String {
    let unit = job.model_of(pump).unit;
    let (requirement, checked) = (&pump.requirements[index], &record.requirements[index]);
    let v = &checked.verdict;
    let how = match (checked.on_reading, requirement.form.is_hot()) {
        (true, false) => "found",
        (true, true) => "worked out from the reading",
        (false, _) => "predicted from the packs as read",
    };
    format!(
        "{}: {} {how}, limits {}: {why}.",
        requirement.label,
        about(v.value, unit),
        limits(v, unit),
    )
}

/// Advice where only the uncertainty of a reading fails: before pieces are moved or a pump is given up.
const FINER: &str = "First read it with a finer instrument and state its error (--clearance-within, or the column Within of a list): it may be met as it is.";

/// One or several pieces, with their thickness as fitted and their bin.
fn pieces(job: &Job, pick: &Pick) -> String {
    let item = &job.stock[pick.item];
    let thick = item.peeled(pick.peeled).unwrap_or(Length::ZERO);
    let thick = thickness(thick, natural_unit(thick));
    format!("{} x {} ({thick})", pick.count, item.item)
}

/// The piece that a swap puts in, with its bin and the work on it.
fn put_in(job: &Job, label: &str, pick: &Pick) -> String {
    let item = &job.stock[pick.item];
    let bin = item.bin.as_ref().map_or(String::new(), |bin| format!(", bin {bin}"));
    let work = super::handwork(job, pick);
    let work = work.map_or(String::new(), |work| format!("; {work}"));
    format!("{label}: put in {}{bin}{work}.", pieces(job, pick))
}

/// A piece of the pack that a swap puts back, peeled further.
fn peel_further(job: &Job, label: &str, pick: &Pick) -> String {
    let item = &job.stock[pick.item];
    let thick = item.peeled(pick.peeled).unwrap_or(Length::ZERO);
    let thick = thickness(thick, natural_unit(thick));
    format!(
        "{label}: peel {} x {} of the pack down to {thick}, deburr, measure it, and put it back in.",
        pick.count, item.item
    )
}

/// Distance between a clearance's limits and its accepted readings.
pub fn allowed(rule: Acceptance, within: Length, hot: bool) -> String {
    let within = length(within, natural_unit(within));
    let growth = |text: &str| if hot { text.to_string() } else { String::new() };
    match rule {
        Acceptance::WorstCase => format!(
            "limits less {within} for the error of a reading{}",
            growth(", in the worst case of growth")
        ),
        Acceptance::Expanded => format!(
            "limits less the expanded uncertainty of a reading with an error of +/-{within}{}",
            growth(" and of the growth")
        ),
        Acceptance::Nominal => format!(
            "nominal rule: the error of a reading, +/-{within}, is not allowed for{}",
            growth(", nor the worst case of growth")
        ),
    }
}

/// Expected micrometer reading of a pack after a swap.
pub fn expected(pack: (Length, Tolerance), unit: Unit, step: ReadingStep) -> String {
    format!("the micrometer should read {}", pack_reading(pack, unit, step))
}

/// Report that there is no swap, and the extent of the search.
pub fn no_swap(searched: Searched) -> String {
    match searched {
        Searched { all: true, .. } => {
            "No swap of the remaining pieces puts it right: all were examined. It needs new pieces, or a new bare reading and a new kit.".into()
        }
        Searched { pieces, .. } => format!(
            "No swap of up to {pieces} pieces puts it right, and there are too many larger ones to examine. Measure again and make a new kit."
        ),
    }
}

/// Kind of a line of the work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A finding: no step to tick off.
    Finding,
    /// A step.
    Step,
    /// A caution that goes with the steps around it.
    Caution,
}

/// Everything to do on a pump, in sentences.
pub fn to_do(job: &Job, pump: &Pump, record: &Record) -> Vec<String> {
    let text = |(kind, text)| match kind {
        Kind::Caution => format!("Caution: {text}"),
        _ => text,
    };
    work(job, pump, record).into_iter().map(text).collect()
}

/// Requirements beyond their limits as found, with these, one sentence each.
pub fn not_met(job: &Job, pump: &Pump, record: &Record) -> Vec<String> {
    let beyond = work::not_met(record);
    beyond.iter().map(|task| sentence(job, pump, record, task)).collect()
}

/// Lines of the work with their kinds, in the order of the work.
pub fn work(job: &Job, pump: &Pump, record: &Record) -> Vec<(Kind, String)> {
    let tasks = work::work(job, pump, record);
    tasks.iter().map(|task| (kind(task), sentence(job, pump, record, task))).collect()
}

fn kind(task: &Task) -> Kind {
    match task {
        Task::MeasureAgain(_)
        | Task::NotKitted
        | Task::NotRead
        | Task::Differs(_)
        | Task::CauseNotFound(_)
        | Task::PackNotMeasured(_)
        | Task::NotMet(_)
        | Task::NotClear { .. }
        | Task::Miscounted { .. } => Kind::Finding,
        Task::Caution(_) => Kind::Caution,
        _ => Kind::Step,
    }
}

fn sentence(job: &Job, pump: &Pump, record: &Record, task: &Task) -> String {
    let model = job.model_of(pump);
    let unit = model.unit;
    let label = |place: usize| &model.packs[place].label;
    let name = |of: Of| what(job, pump, of);
    let off = |of: Of| record.against(of).map(|c| compared(c, unit)).unwrap_or_default();
    match task {
        Task::MeasureAgain(index) => format!("{}.", contradicting(model, pump, *index)),
        Task::NotKitted => "The plan has no kit for it.".into(),
        Task::NotRead => "No reading came back.".into(),
        Task::Differs(of) => format!("{}: {}.", name(*of), off(*of)),
        Task::ReadThirdTime(of) => {
            let found = record.against(*of).map(|against| against.found);
            let values = found.map(|found| [found.first, found.last()].map(|one| one.value));
            let [first, last] = values.unwrap_or_default().map(|value| length(value, unit));
            format!(
                "The two readings, {first} and {last}, differ by more than their errors: read a third time, with another instrument if there is one."
            )
        }
        Task::MeasurePackFirst(_) => "It agrees with the nominal pieces, so the reading of the pack is probably wrong: measure the pack again first.".into(),
        Task::LookFor(_, what) => usual(*what).into(),
        Task::WouldFit(_, suspects) => {
            let slips = suspects.iter().map(|one| format!("if {}", suspect(job, pump, one)));
            format!("It would fit {}.", slips.collect::<Vec<_>>().join(", or "))
        }
        Task::ReadAgain => {
            "Clean or fix the cause and read again before any piece is moved. If the second reading agrees with the first, it counts."
                .into()
        }
        Task::Recheck(index) => {
            let label = &pump.requirements[*index].label;
            format!("{label}: not rechecked yet; the readings so far agree.")
        }
        Task::CauseNotFound(of) => format!(
            "{}: {}; read twice alike, so the reading counts. Its cause was not found: tell the engineer.",
            name(*of),
            off(*of)
        ),
        Task::PackNotMeasured(place) => format!(
            "{}: the finished pack was not measured; its pieces are taken at nominal.",
            label(*place)
        ),
        Task::NotMet(index) => where_it_is(job, pump, record, *index, Judgement::NotMet.words()),
        Task::NotClear { requirement, finer } => {
            let why = format!(
                "{}: within its limits but not clear of them by {}, the error of a reading{}",
                Judgement::NotProven.words(),
                guards(&record.requirements[*requirement].verdict, unit),
                if *finer { "; a finer reading may show that it is met" } else { "" }
            );
            where_it_is(job, pump, record, *requirement, &why)
        }
        Task::Miscounted { place, count } => format!(
            "{}: {count} pieces, and its model allows {} to {}.",
            label(*place),
            model.packs[*place].least_pieces,
            model.packs[*place].most_pieces
        ),
        Task::ReadFiner => FINER.into(),
        Task::Caution(index) => model.cautions[*index].text.clone(),
        Task::BringBack => "Measure the pack, fit it, recheck the clearance, and bring both readings back: a swap predicts, it does not prove.".into(),
        Task::NoSwap(searched) => no_swap(*searched),
        Task::Swap(one) => step(job, pump, one),
    }
}

/// A step of a swap, or what is expected after it.
fn step(job: &Job, pump: &Pump, step: &WorkStep) -> String {
    let model = job.model_of(pump);
    let label = |place: usize| &model.packs[place].label;
    match step {
        WorkStep::TakeOut(place, picks) => {
            let all: Vec<String> = picks.iter().map(|pick| pieces(job, pick)).collect();
            format!("{}: take out {}.", label(*place), all.join(" and "))
        }
        WorkStep::PutIn(place, pick) => put_in(job, label(*place), pick),
        WorkStep::PeelFurther(place, pick) => peel_further(job, label(*place), pick),
        WorkStep::StaysEmpty(place) => format!("{}: the place stays empty.", label(*place)),
        WorkStep::MeasurePack(place, reading) => {
            format!("{}: {}.", label(*place), expected(*reading, model.unit, job.policy.pack_step))
        }
        WorkStep::Expected(index, verdict) => format!(
            "{}: then expected {} ({}), limits {}.",
            pump.requirements[*index].label,
            about(verdict.value, model.unit),
            about(verdict.value, model.unit.other()),
            limits(verdict, model.unit),
        ),
    }
}
