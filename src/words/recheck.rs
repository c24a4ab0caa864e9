//! What came back from the bench, in words: decisions, what to look for, swaps.

use super::{NOT_FIT, about, both, fine, length, natural_unit, thickness};
use crate::job::Job;
use crate::length::{Fine, Length, Tolerance, Unit};
use crate::model::Form;
use crate::plan::Pick;
use crate::pump::Pump;
use crate::recheck::suspect::Slip;
use crate::recheck::{Compared, Decision, Look, Of, Record, Searched, Suspect, Swap};

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

/// Whether a decision is one that keeps the pump open.
pub fn keeps_open(decision: &Decision) -> bool {
    !matches!(decision, Decision::Accept)
}

/// What was read: the place, or the requirement.
pub fn what<'a>(job: &'a Job, pump: &'a Pump, of: Of) -> &'a str {
    match of {
        Of::Pack(place) => &job.model_of(pump).packs[place].label,
        Of::Requirement(index) => &pump.requirements[index].label,
    }
}

/// Found beside predicted: `found 0.0262 in, predicted 0.0212 in; off by 0.0050 in, 4.6 times what both can be off together`.
pub fn compared(compared: &Compared, unit: Unit) -> String {
    let found = compared.found.last().value;
    let difference = compared.difference().abs();
    let times = compared.normalised().map_or_else(
        || "and neither can be off".to_string(),
        |e| format!("{:.1} times what both can be off together", e.abs()),
    );
    // The slip has the nominal value: it is said where the other one comes from.
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

/// What to look for before any piece is moved, in sentences. Common practice, no source.
pub fn look(job: &Job, pump: &Pump, look: &Look, against: &Compared) -> Vec<String> {
    let unit = job.model_of(pump).unit;
    let mut said = vec![format!(
        "{}: {}.",
        what(job, pump, look.of),
        compared(against, unit)
    )];
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
            Some(peeled) => format!(
                "{} at {}",
                item.item,
                thickness(peeled, natural_unit(peeled))
            ),
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

/// Why a pump cannot be accepted as found: the requirements that are not met, a sentence each.
pub fn not_met(job: &Job, pump: &Pump, record: &Record) -> Vec<String> {
    let unit = job.model_of(pump).unit;
    let mut said = Vec::new();
    for (requirement, checked) in pump.requirements.iter().zip(&record.requirements) {
        let v = &checked.verdict;
        if v.conforms() {
            continue;
        }
        let inside = v.lower <= v.value && v.value <= v.upper;
        let how = if checked.on_reading {
            "found"
        } else {
            "predicted from the packs as read"
        };
        let rest = match inside {
            true => format!(
                "within its limits but not clear of them by {}, what it may be off; a finer reading may show that it is met",
                about(v.guard(), unit)
            ),
            false => "NOT MET".to_string(),
        };
        let hot = if requirement.form.is_hot() {
            ", running"
        } else {
            ""
        };
        said.push(format!(
            "{}{hot}: {} {how}, limits {} to {}: {rest}.",
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

/// A piece or some of them, with its thickness as fitted and its bin.
fn pieces(job: &Job, pick: &Pick) -> String {
    let item = &job.stock[pick.item];
    let thick = item.peeled(pick.peeled).unwrap_or(Length::ZERO);
    let thick = thickness(thick, natural_unit(thick));
    format!("{} x {} ({thick})", pick.count, item.item)
}

/// The steps of a swap, in the order of the work.
pub fn steps(job: &Job, pump: &Pump, swap: &Swap) -> Vec<String> {
    let unit = job.model_of(pump).unit;
    let mut said = Vec::new();
    for (place, label) in job
        .model_of(pump)
        .packs
        .iter()
        .map(|p| &p.label)
        .enumerate()
    {
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
                let bin = item
                    .bin
                    .as_ref()
                    .map_or(String::new(), |bin| format!(", bin {bin}"));
                let own = Pick {
                    count: from_drawer,
                    ..*pick
                };
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
            said.push(format!(
                "{label}: {}.",
                expected(swap.expected[place], unit)
            ));
        }
    }
    for (requirement, verdict) in pump.requirements.iter().zip(&swap.verdicts) {
        let kind = match requirement.form {
            Form::Linear { .. } if requirement.form.is_hot() => "running",
            Form::Linear { .. } => "then expected",
            Form::GasketFill { .. } => "free thickness then",
        };
        said.push(format!(
            "{}: {kind} {} ({}), limits {} to {}.",
            requirement.label,
            about(verdict.value, unit),
            about(verdict.value, unit.twin()),
            verdict.lower.show(unit),
            fine(verdict.upper, unit),
        ));
    }
    said
}

/// What the micrometer should read of a pack after a swap.
pub fn expected((total, tolerance): (Length, Tolerance), unit: Unit) -> String {
    format!(
        "the micrometer should read {}, between {} and {}",
        both(total, unit),
        (total - tolerance.minus).show(unit),
        length(total + tolerance.plus, unit)
    )
}

/// That there is no swap, and how far was looked for one.
pub fn no_swap(searched: Searched) -> String {
    match searched {
        Searched { all: true, .. } => {
            "No swap of the pieces that are left puts it right: every one was looked at. New pieces, or a new bare reading and a new kit, are needed.".into()
        }
        Searched { pieces, .. } => format!(
            "No swap of up to {pieces} pieces puts it right, and there are too many larger ones to look at. Measure anew and kit it again."
        ),
    }
}

/// Everything there is to do with a pump, in sentences.
pub fn to_do(job: &Job, pump: &Pump, record: &Record) -> Vec<String> {
    match &record.decision {
        Decision::NotKitted => vec!["The plan has no kit for it.".into()],
        Decision::NotRead => vec!["No reading came back.".into()],
        Decision::Look(looks) => {
            let looks = looks.iter();
            let mut said: Vec<String> = looks
                .filter_map(|one| Some(look(job, pump, one, record.against(one.of)?)))
                .flatten()
                .collect();
            said.push(
                "Clean and mend what is found and read again; move no piece before. If the second reading says the \
                 same, it counts."
                    .into(),
            );
            said
        }
        Decision::Incomplete(lacking) => lacking
            .iter()
            .map(|&index| {
                format!(
                    "{}: not rechecked yet; what was read is well.",
                    pump.requirements[index].label
                )
            })
            .collect(),
        Decision::Accept => {
            let mut said = unexplained(job, pump, record);
            let fitted = record.bench.fitted.iter().flatten();
            let places = job
                .model_of(pump)
                .packs
                .iter()
                .zip(fitted)
                .zip(&record.packs);
            for ((place, pack), read) in places {
                if read.is_none() && !pack.picks.is_empty() {
                    said.push(format!(
                        "{}: the finished pack was not measured.",
                        place.label
                    ));
                }
            }
            said
        }
        Decision::Swap(swap) => {
            let mut said = unexplained(job, pump, record);
            said.extend(not_met(job, pump, record));
            said.extend(steps(job, pump, swap));
            said.push("Measure the pack, fit it, recheck the clearance, and bring both readings back: a swap predicts, it does not prove.".into());
            said
        }
        Decision::NoSwap(searched) => {
            let mut said = unexplained(job, pump, record);
            said.extend(not_met(job, pump, record));
            said.push(no_swap(*searched));
            said
        }
    }
}

/// Readings beyond what was predicted that count all the same, a sentence each.
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
