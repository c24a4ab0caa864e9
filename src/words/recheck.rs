//! Bench results in words: decisions, likely mistakes, swaps.

use super::{NOT_FIT, about, both, fine, guards, length, natural_unit, thickness};
use crate::job::Job;
use crate::length::{Fine, Length, Tolerance, Unit};
use crate::plan::Pick;
use crate::policy::Acceptance;
use crate::pump::Pump;
use crate::recheck::suspect::Slip;
use crate::recheck::{
    Checked, Compared, Decision, Look, Of, Record, Searched, Suspect, Swap, finer_may_show,
};

/// The decision in a word or two.
pub fn decision(decision: &Decision) -> &'static str {
    match decision {
        Decision::NotKitted => NOT_FIT,
        Decision::NotRead => "not read yet",
        Decision::Look(_) => "LOOK FIRST",
        Decision::Incomplete(_) => "recheck lacking",
        Decision::Accept => "accept",
        Decision::Swap(_) => "SWAP",
        Decision::NoSwap(_) => NOT_FIT,
    }
}

/// Places that hold pieces and whose finished pack was not measured.
fn unmeasured<'a>(job: &'a Job, pump: &Pump, record: &Record) -> Vec<&'a str> {
    let fitted = record.bench.fitted.iter().flatten();
    let places = job.model_of(pump).packs.iter().zip(fitted);
    let places = places.zip(&record.packs);
    places
        .filter(|((_, pack), read)| read.is_none() && !pack.picks.is_empty())
        .map(|((place, _), _)| place.label.as_str())
        .collect()
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
/// `found 0.0262 in, predicted 0.0212 in; off by 0.0050 in, 4.6 times what both can be off together`.
pub fn compared(compared: &Compared, unit: Unit) -> String {
    let found = compared.found.last().value;
    let difference = compared.difference().abs();
    let times = compared.normalised().map_or_else(
        || "and neither can be off".to_string(),
        |e| format!("{:.1} times what both can be off together", e.abs()),
    );
    // The slip has the nominal value, so the source of the other one is stated.
    let middle = match compared.predicted == compared.nominal {
        true => String::new(),
        false => format!(
            " (the middle of tolerances that are wider on one side; {} on the slip)",
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

/// Checks to make before any piece is moved, in sentences. Common practice, no source.
pub fn look(job: &Job, pump: &Pump, look: &Look, against: &Compared) -> Vec<String> {
    let unit = job.model_of(pump).unit;
    let mut said = vec![format!("{}: {}.", what(job, pump, look.of), compared(against, unit))];
    if look.restless {
        said.push(format!(
            "The two readings, {} and {}, differ by more than they can be off: read a third time, with another \
             instrument if there is one.",
            length(against.found.first.value, unit),
            length(against.found.last().value, unit),
        ));
    }
    if look.fits_pieces {
        said.push("It agrees with what its pieces say, so the reading of the pack is the likelier slip: measure the pack again first.".into());
        return said;
    }
    let more = against.difference() > Fine::ZERO;
    let usual = match (look.of, more) {
        (Of::Pack(_), true) => {
            "Look for dirt, oil or a burr between the pieces, a bent piece, a wrong piece or one too many."
        }
        (Of::Pack(_), false) => {
            "Look for a missing, wrong or worn piece, and check the micrometer's zero."
        }
        (Of::Requirement(_), _) => {
            "Look for dirt or a burr on the faces, a bearing, ring or cover that is not seated or not drawn up \
             evenly, a shaft that was not pushed over, a wrong bare reading; several feeler blades together read thick."
        }
    };
    said.push(usual.to_string());
    if let [first, rest @ ..] = look.suspects.as_slice() {
        let mut text = format!("It would fit if {}", suspect(job, pump, first));
        for other in rest {
            text.push_str(&format!(", or if {}", suspect(job, pump, other)));
        }
        said.push(format!("{text}."));
    }
    said
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

/// Reasons why a pump cannot be accepted as found: the requirements that are not met, one sentence each; `finer`
/// where a finer reading may show that they are.
fn not_met(job: &Job, pump: &Pump, record: &Record, finer: bool) -> Vec<String> {
    let unit = job.model_of(pump).unit;
    let mut said = Vec::new();
    for (requirement, checked) in pump.requirements.iter().zip(&record.requirements) {
        let v = &checked.verdict;
        if v.conforms() {
            continue;
        }
        let how = match (checked.on_reading, requirement.form.is_hot()) {
            (true, false) => "found",
            (true, true) => "worked out from the reading",
            (false, _) => "predicted from the packs as read",
        };
        let inside = v.lower <= v.value && v.value <= v.upper;
        let rest = match inside {
            true => format!(
                "within its limits but not clear of them by {}, what it may be off{}",
                guards(v, unit),
                if finer { "; a finer reading may show that it is met" } else { "" }
            ),
            false => "NOT MET".to_string(),
        };
        said.push(format!(
            "{}: {} {how}, limits {} to {}: {rest}.",
            requirement.label,
            about(v.value, unit),
            v.lower.show(unit),
            fine(v.upper, unit),
        ));
    }
    let places = job.model_of(pump).packs.iter();
    let fitted = record.bench.fitted.iter().flatten();
    for (place, pack) in places.zip(fitted) {
        let count: u32 = pack.picks.iter().map(|pick| pick.count).sum();
        if count < place.least_pieces || count > place.most_pieces {
            said.push(format!(
                "{}: {count} pieces, and its model allows {} to {}.",
                place.label, place.least_pieces, place.most_pieces
            ));
        }
    }
    said
}

/// Whether finer readings may still show that everything is met: each failed requirement rests on a reading whose
/// range overlaps the accepted one.
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

/// Advice where only the uncertainty of a reading fails: before pieces are moved or a pump is given up.
const FINER: &str = "First read it with a finer instrument, and say how good that is (--clearance-within, or the column Within of a list): it may be met as it stands.";

/// One or several pieces, with their thickness as fitted and their bin.
fn pieces(job: &Job, pick: &Pick) -> String {
    let item = &job.stock[pick.item];
    let thick = item.peeled(pick.peeled).unwrap_or(Length::ZERO);
    let thick = thickness(thick, natural_unit(thick));
    format!("{} x {} ({thick})", pick.count, item.item)
}

/// Steps of a swap, in the order of the work.
pub fn steps(job: &Job, pump: &Pump, swap: &Swap) -> Vec<String> {
    let unit = job.model_of(pump).unit;
    let mut said = Vec::new();
    for (place, label) in job.model_of(pump).packs.iter().map(|p| &p.label).enumerate() {
        let [out, into] = &swap.moves[place];
        if out.is_empty() && into.is_empty() {
            continue;
        }
        let list = |picks: &[Pick]| {
            let all: Vec<String> = picks.iter().map(|pick| pieces(job, pick)).collect();
            all.join(" and ")
        };
        if !out.is_empty() {
            said.push(format!("{label}: take out {}.", list(out)));
        }
        for pick in into {
            let drawn = swap.drawn[place].iter();
            let mut drawn = drawn.filter(|d| (d.item, d.peeled) == (pick.item, pick.peeled));
            let from_drawer = drawn.next().map_or(0, |d| d.count);
            let item = &job.stock[pick.item];
            if from_drawer > 0 {
                let bin = item.bin.as_ref().map_or(String::new(), |bin| format!(", bin {bin}"));
                let own = Pick { count: from_drawer, ..*pick };
                let work = super::handwork(job, &own);
                let work = work.map_or(String::new(), |work| format!("; {work}"));
                said.push(format!("{label}: put in {}{bin}{work}.", pieces(job, &own)));
            }
            if let Some(again @ 1..) = pick.count.checked_sub(from_drawer) {
                let thick = item.peeled(pick.peeled).unwrap_or(Length::ZERO);
                let thick = thickness(thick, natural_unit(thick));
                said.push(format!(
                    "{label}: peel {again} x {} of the pack down to {thick}, deburr, measure it, and put it back in.",
                    item.item
                ));
            }
        }
        if swap.packs[place].picks.is_empty() {
            said.push(format!("{label}: the place stays empty."));
        } else {
            said.push(format!("{label}: {}.", expected(swap.expected[place], unit)));
        }
    }
    for (requirement, verdict) in pump.requirements.iter().zip(&swap.verdicts) {
        said.push(format!(
            "{}: then expected {} ({}), limits {} to {}.",
            requirement.label,
            about(verdict.value, unit),
            about(verdict.value, unit.twin()),
            verdict.lower.show(unit),
            fine(verdict.upper, unit),
        ));
    }
    said
}

/// Distance between a clearance's limits and its accepted readings.
pub fn allowed(rule: Acceptance, within: Length, hot: bool) -> String {
    let within = length(within, natural_unit(within));
    let growth = |text: &str| if hot { text.to_string() } else { String::new() };
    match rule {
        Acceptance::WorstCase => format!(
            "within its limits by what a reading may be off, {within} either way{}",
            growth(", and running too, with the growth at its worst")
        ),
        Acceptance::Expanded => format!(
            "within its limits by the expanded uncertainty of a reading good to {within} either way{}",
            growth(", and running too, by that of the growth as well")
        ),
        Acceptance::Nominal => format!(
            "the rule is nominal: what a reading may be off, {within} either way, is not allowed for{}",
            growth(", nor the growth at its worst")
        ),
    }
}

/// Expected micrometer reading of a pack after a swap.
pub fn expected((total, tolerance): (Length, Tolerance), unit: Unit) -> String {
    format!(
        "the micrometer should read {}, between {} and {}",
        both(total, unit),
        (total - tolerance.minus).show(unit),
        length(total + tolerance.plus, unit)
    )
}

/// Report that there is no swap, and the extent of the search.
pub fn no_swap(searched: Searched) -> String {
    match searched {
        Searched { all: true, .. } => {
            "No swap of the pieces that are left puts it right: every one was looked at. As read, new pieces, or a new bare reading and a new kit, are needed.".into()
        }
        Searched { pieces, .. } => format!(
            "No swap of up to {pieces} pieces puts it right, and there are too many larger ones to look at. Measure anew and kit it again."
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

/// The model's own cautions of a moment of the work.
fn cautions<'a>(
    job: &'a Job,
    pump: &Pump,
    moment: &'a str,
) -> impl Iterator<Item = (Kind, String)> + use<'a> {
    let all = job.model_of(pump).cautions.iter();
    let here = all.filter(move |caution| caution.when == moment);
    here.map(|caution| (Kind::Caution, caution.text.clone()))
}

/// Lines of the work with their kinds, in the order of the work.
pub fn work(job: &Job, pump: &Pump, record: &Record) -> Vec<(Kind, String)> {
    let step = |text: &str| (Kind::Step, text.to_string());
    let lines = |texts: Vec<String>| findings(texts).collect();
    match &record.decision {
        Decision::NotKitted => lines(vec!["The plan has no kit for it.".into()]),
        Decision::NotRead => lines(vec!["No reading came back.".into()]),
        Decision::Look(looks) => {
            let mut said = Vec::new();
            for one in looks {
                let texts = record.against(one.of).map(|against| look(job, pump, one, against));
                // The first sentence is the finding.
                let kinds = [Kind::Finding].into_iter().chain(std::iter::repeat(Kind::Step));
                said.extend(kinds.zip(texts.unwrap_or_default()));
            }
            said.push(step(
                "Clean and mend what is found and read again; move no piece before. If the second reading says the \
                 same, it counts.",
            ));
            said
        }
        Decision::Incomplete(lacking) => {
            let lacking = lacking.iter().map(|&index| {
                let label = &pump.requirements[index].label;
                let text = format!("{label}: not rechecked yet; what was read agrees.");
                (Kind::Step, text)
            });
            lacking.collect()
        }
        Decision::Accept => {
            let mut said = unexplained(job, pump, record);
            let places = unmeasured(job, pump, record).into_iter();
            said.extend(places.map(|place| {
                format!("{place}: the finished pack was not measured; it counts as its pieces say.")
            }));
            lines(said)
        }
        Decision::Swap(swap) => {
            let mut said = wrong(job, pump, record);
            said.extend(cautions(job, pump, "before"));
            said.extend(cautions(job, pump, "assembly"));
            let steps = steps(job, pump, swap).into_iter();
            said.extend(steps.map(|text| (Kind::Step, text)));
            said.extend(cautions(job, pump, "recheck"));
            said.push(step("Measure the pack, fit it, recheck the clearance, and bring both readings back: a swap predicts, it does not prove."));
            said
        }
        Decision::NoSwap(searched) => {
            let mut said = wrong(job, pump, record);
            said.push((Kind::Step, no_swap(*searched)));
            said
        }
    }
}

/// Faults that keep a pump from being accepted as found, and whether a finer reading should come first.
fn wrong(job: &Job, pump: &Pump, record: &Record) -> Vec<(Kind, String)> {
    let finer = may_be_met(job, pump, record);
    let mut texts = unexplained(job, pump, record);
    texts.extend(not_met(job, pump, record, finer));
    let mut said: Vec<(Kind, String)> = findings(texts).collect();
    if finer {
        said.push((Kind::Step, FINER.into()));
    }
    said
}

fn findings(texts: Vec<String>) -> impl Iterator<Item = (Kind, String)> {
    texts.into_iter().map(|text| (Kind::Finding, text))
}

/// Readings that differ from the prediction and still count, one sentence each.
fn unexplained(job: &Job, pump: &Pump, record: &Record) -> Vec<String> {
    let unit = job.model_of(pump).unit;
    let sentence = |of: Of| {
        let against = record.against(of)?;
        Some(format!(
            "{}: {}; read twice alike, so the reading counts. Its cause was not found: tell the engineer.",
            what(job, pump, of),
            compared(against, unit)
        ))
    };
    let all = record.unexplained().into_iter();
    all.filter_map(sentence).collect()
}
