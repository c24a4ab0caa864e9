//! The work with a pump that came back from the bench, line by line in its order: what was found, what to mind, what
//! to do.

use super::mix_ups::Suspect;
use super::{Checked, Decision, Look, Of, Record, Searched, Swap, finer_may_show};
use crate::job::Job;
use crate::length::{Fine, Length, Tolerance};
use crate::plan::Pick;
use crate::pump::Pump;
use crate::stack::{Judgement, Verdict};

/// A line of the work. Places, requirements, dimensions and cautions are indices into the pump and its model.
#[derive(Debug, Clone, PartialEq)]
pub enum Task {
    /// Found: the readings of a dimension contradict each other; measure it again before the pump is fitted.
    MeasureAgain(usize),
    /// Found: the plan has no kit for the pump.
    NotKitted,
    /// Found: no reading came back.
    NotRead,
    /// Found: a reading differs from what was predicted by more than both can be off.
    Differs(Of),
    /// The two readings differ by more than they can be off: read a third time.
    ReadThirdTime(Of),
    /// A clearance agrees with what the pieces say and not with what was read of the pack: measure that first.
    MeasurePackFirst(Of),
    /// Look for what usually lies behind such a difference.
    LookFor(Of, Usual),
    /// Pieces that would explain the difference, the likeliest first.
    WouldFit(Of, Vec<Suspect>),
    /// Mend what is found and read again; no piece is moved before.
    ReadAgain,
    /// Recheck a requirement that was not rechecked yet.
    Recheck(usize),
    /// Found: a reading differs from what was predicted, came out the same a second time, and so counts.
    CauseNotFound(Of),
    /// Found: the finished pack of a place was not measured.
    PackNotMeasured(usize),
    /// Found: a requirement is beyond its limits.
    NotMet(usize),
    /// Found: a requirement is within its limits, but not clear of them by what it may be off.
    NotClear {
        /// The requirement.
        requirement: usize,
        /// Whether a finer reading may show that it is met.
        finer: bool,
    },
    /// Found: a place holds fewer pieces than its model allows, or more.
    Miscounted {
        /// The place.
        place: usize,
        /// How many pieces it holds.
        count: u32,
    },
    /// Read with a finer instrument before pieces are moved, or the pump is given up.
    ReadFiner,
    /// A caution of the model, to mind.
    Caution(usize),
    /// A step of the swap.
    Swap(WorkStep),
    /// Measure, fit and recheck after a swap, and bring the readings back.
    BringBack,
    /// No swap puts it right.
    NoSwap(Searched),
}

/// A step of a swap, or what is expected after it.
#[derive(Debug, Clone, PartialEq)]
pub enum WorkStep {
    /// Take pieces out of a place.
    TakeOut(usize, Vec<Pick>),
    /// Put pieces out of the drawers into a place.
    PutIn(usize, Pick),
    /// Peel pieces of the pack further and put them back into the place.
    PeelFurther(usize, Pick),
    /// Measure the pack of a place: what the micrometer should read, and how far off at worst.
    MeasurePack(usize, (Length, Tolerance)),
    /// The place stays empty.
    StaysEmpty(usize),
    /// A requirement as it is expected after the swap.
    Expected(usize, Verdict),
}

/// The usual grounds of a difference. Common practice, no source.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Usual {
    /// Of a pack that reads thicker: dirt, a burr, a bent or wrong piece, or one too many.
    Thicker,
    /// Of a pack that reads thinner: a missing, wrong or worn piece, or the micrometer's zero.
    Thinner,
    /// Of a clearance: dirt, seating, a wrong bare reading.
    Seating,
}

/// Everything there is to do with a pump, and what it follows from, in the order of the work.
pub fn work(job: &Job, pump: &Pump, record: &Record) -> Vec<Task> {
    let again = pump.to_measure_again(job.model_of(pump)).map(Task::MeasureAgain);
    again.chain(decided(job, pump, record)).collect()
}

fn decided(job: &Job, pump: &Pump, record: &Record) -> Vec<Task> {
    match &record.decision {
        Decision::NotKitted => vec![Task::NotKitted],
        Decision::NotRead => vec![Task::NotRead],
        Decision::Look(looks) => {
            // A requirement that is not met is never hidden behind the search for a cause.
            let mut lines = not_met(record);
            lines.extend(looks.iter().flat_map(|one| look(record, one)));
            lines.push(Task::ReadAgain);
            lines
        }
        Decision::Incomplete(lacking) => lacking.iter().copied().map(Task::Recheck).collect(),
        Decision::Accept => {
            let mut lines = unexplained(record);
            lines.extend(unmeasured(job, pump, record).into_iter().map(Task::PackNotMeasured));
            lines
        }
        Decision::Swap(swap) => {
            let cautions = |moment| cautions(job, pump, moment);
            let mut lines = wrong(job, pump, record);
            lines.extend(cautions("before"));
            lines.extend(cautions("assembly"));
            lines.extend(steps(swap).into_iter().map(Task::Swap));
            lines.extend(cautions("recheck"));
            lines.push(Task::BringBack);
            lines
        }
        Decision::NoSwap(searched) => {
            let mut lines = wrong(job, pump, record);
            lines.push(Task::NoSwap(*searched));
            lines
        }
    }
}

/// Places that hold pieces and whose finished pack was not measured.
pub fn unmeasured(job: &Job, pump: &Pump, record: &Record) -> Vec<usize> {
    let fitted = record.bench.fitted.iter().flatten();
    let places = job.model_of(pump).packs.iter().zip(fitted).zip(&record.packs).enumerate();
    places
        .filter(|(_, ((_, pack), read))| read.is_none() && !pack.picks.is_empty())
        .map(|(place, _)| place)
        .collect()
}

fn look(record: &Record, look: &Look) -> Vec<Task> {
    let Some(against) = record.against(look.of) else {
        return Vec::new();
    };
    let mut lines = vec![Task::Differs(look.of)];
    if look.restless {
        lines.push(Task::ReadThirdTime(look.of));
    }
    if look.fits_pieces {
        lines.push(Task::MeasurePackFirst(look.of));
        return lines;
    }
    let more = against.difference() > Fine::ZERO;
    let usual = match (look.of, more) {
        (Of::Pack(_), true) => Usual::Thicker,
        (Of::Pack(_), false) => Usual::Thinner,
        (Of::Requirement(_), _) => Usual::Seating,
    };
    lines.push(Task::LookFor(look.of, usual));
    if !look.suspects.is_empty() {
        lines.push(Task::WouldFit(look.of, look.suspects.clone()));
    }
    lines
}

/// Readings beyond what was predicted that count all the same.
fn unexplained(record: &Record) -> Vec<Task> {
    record.unexplained().into_iter().map(Task::CauseNotFound).collect()
}

/// Requirements beyond their limits as found.
pub fn not_met(record: &Record) -> Vec<Task> {
    let checked = record.requirements.iter().enumerate();
    let beyond = checked.filter(|(_, of)| of.verdict.judgement() == Judgement::NotMet);
    beyond.map(|(requirement, _)| Task::NotMet(requirement)).collect()
}

/// The grounds that keep a pump from being accepted as found, and whether a finer reading should come first.
fn wrong(job: &Job, pump: &Pump, record: &Record) -> Vec<Task> {
    let finer = may_be_met(job, pump, record);
    let mut lines = unexplained(record);
    for (requirement, checked) in record.requirements.iter().enumerate() {
        match checked.verdict.judgement() {
            Judgement::Met => {}
            Judgement::NotProven => lines.push(Task::NotClear { requirement, finer }),
            Judgement::NotMet => lines.push(Task::NotMet(requirement)),
        }
    }
    let fitted = record.bench.fitted.iter().flatten();
    for (place, (allowed, pack)) in job.model_of(pump).packs.iter().zip(fitted).enumerate() {
        let count: u32 = pack.picks.iter().map(|pick| pick.count).sum();
        if count < allowed.least_pieces || count > allowed.most_pieces {
            lines.push(Task::Miscounted { place, count });
        }
    }
    if finer {
        lines.push(Task::ReadFiner);
    }
    lines
}

/// Whether finer readings may still show that everything is met: each requirement that is not met rests on a reading,
/// and what that may stand for reaches into what would do.
fn may_be_met(job: &Job, pump: &Pump, record: &Record) -> bool {
    let Some(fitted) = &record.bench.fitted else {
        return false;
    };
    let readings = record.bench.requirements.iter().enumerate();
    let mut readings = readings.filter_map(|(at, readings)| Some((at, (*readings)?.last())));
    let unread = |checked: &Checked| !checked.verdict.conforms() && !checked.on_reading;
    !record.requirements.iter().any(unread)
        && readings.all(|(at, reading)| finer_may_show(job, pump, fitted, at, reading))
}

/// The model's own cautions of a moment of the work.
fn cautions(job: &Job, pump: &Pump, moment: &str) -> Vec<Task> {
    let all = job.model_of(pump).cautions.iter().enumerate();
    let here = all.filter(|(_, caution)| caution.when == moment);
    here.map(|(index, _)| Task::Caution(index)).collect()
}

/// The steps of a swap, place by place, and what is expected after it.
fn steps(swap: &Swap) -> Vec<WorkStep> {
    let mut lines = Vec::new();
    for (place, [out, into]) in swap.moves.iter().enumerate() {
        if out.is_empty() && into.is_empty() {
            continue;
        }
        if !out.is_empty() {
            lines.push(WorkStep::TakeOut(place, out.clone()));
        }
        for pick in into {
            let drawn = swap.drawn[place].iter();
            let mut drawn = drawn.filter(|d| (d.item, d.peeled) == (pick.item, pick.peeled));
            let from_drawer = drawn.next().map_or(0, |d| d.count);
            if from_drawer > 0 {
                lines.push(WorkStep::PutIn(place, Pick { count: from_drawer, ..*pick }));
            }
            if let Some(again @ 1..) = pick.count.checked_sub(from_drawer) {
                lines.push(WorkStep::PeelFurther(place, Pick { count: again, ..*pick }));
            }
        }
        lines.push(match swap.packs[place].picks.is_empty() {
            true => WorkStep::StaysEmpty(place),
            false => WorkStep::MeasurePack(place, swap.expected[place]),
        });
    }
    let verdicts = swap.verdicts.iter().enumerate();
    lines.extend(verdicts.map(|(requirement, verdict)| WorkStep::Expected(requirement, *verdict)));
    lines
}
