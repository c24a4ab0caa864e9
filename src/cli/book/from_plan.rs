//! `book --from`: the sheet Issue and the readings of a saved plan, taken over in one go.
//!
//! Each bag and each reading has a request number made of its contents: the same cells twice book nothing twice.

use std::collections::BTreeMap;
use std::path::Path;

use super::super::outage::{book, facts, job};
use super::super::run::{Ended, Run, gathered};
use super::drafted::{Drafted, number};
use super::{Args, shown, tell, value_text};
use crate::cli::voice::{must_see, out};
use crate::issue::carried::Carried;
use crate::issue::key;
use crate::issue::planned::PickStep;
use crate::issue::returned;
use crate::job::Job;
use crate::length::Length;
use crate::outage::{Booking, Circumstances, KitPiece, Outage, OutagePump, PumpState};
use crate::outage_file::{Draft, OutageFile};
use crate::outage_kit::{self, index};
use crate::problem::{Place, Problem, Problems};
use crate::read::{self, Back, BenchSources, Memory};
use crate::recheck::{Of, Reading, Readings};

/// A saved plan, as read.
struct Saved {
    carried: Carried,
    back: Back,
}

/// A reading of a place or requirement; `nth` of that cell.
struct Read<'a> {
    at: usize,
    of: Of,
    nth: usize,
    reading: &'a Reading,
}

/// Books a reading, and before it the issue of a bag that is not at the bench yet.
fn read(
    drafted: &mut Drafted,
    job: &Job,
    Read { at, of, nth, reading }: Read<'_>,
    code: &str,
    facts: &dyn Fn(&str) -> Circumstances,
) {
    let pump = &job.pumps[at];
    let Some(known) = drafted.after.pump(&pump.tag).cloned() else {
        return;
    };
    let what = outage_kit::name(job, pump, of).to_string();
    let value = text(job, of, reading);
    let request = number(code, "reading", &pump.tag, &format!("{what}\n{nth}\n{value}"));
    if known.state == PumpState::Bagged {
        let issue = Booking::Issue { tag: pump.tag.clone() };
        drafted.add(facts(&number(code, "issue", &pump.tag, &request)), issue);
    }
    let mut with_it = known;
    with_it.read(&what, &value);
    let finding = outage_kit::finding(job, at, &with_it);
    let reading = Booking::Reading { tag: pump.tag.clone(), what, value, finding };
    drafted.add(facts(&request), reading);
}

pub(super) fn run(mut run: Run, mut file: OutageFile, plan: &Path, args: &Args) -> Ended {
    let (job, _) = job(&mut run, &file)?;
    let saved = run.read("reading the saved plan", |memory, problems| {
        read_plan(plan, &job, file.outage(), memory, problems)
    })?;
    let (bags, notes) = bags(&saved.carried, &job, file.outage());
    let drafts = drafted(&run, args, &job, &saved, file.outage(), bags);
    let receipts = match drafts.is_empty() {
        true => Vec::new(),
        false => book(&mut run, &mut file, drafts, &Vec::new())?,
    };
    let status = run.end(super::super::DONE)?;
    let to = run.voice();
    notes.iter().for_each(|note| must_see!(to, "{note}"));
    if receipts.is_empty() {
        out!(to, "Nothing new in {}.", shown(plan));
    }
    tell(&run, file.outage(), &receipts);
    Ok(status)
}

fn drafted(
    run: &Run,
    args: &Args,
    job: &Job,
    saved: &Saved,
    outage: &Outage,
    bags: Vec<(String, Booking)>,
) -> Vec<Draft> {
    let facts = |request: &str| facts(run, request, &args.by, &args.note);
    let mut drafted = Drafted::on(outage);
    let code = saved.carried.planned.id();
    for (tag, booking) in bags {
        let contents = format!("{booking:?}");
        drafted.add(facts(&number(&code, "bag", &tag, &contents)), booking);
    }
    for (at, bench) in saved.back.benches.iter().enumerate() {
        let places = bench.packs.iter().enumerate().map(|(at, read)| (Of::Pack(at), read));
        let clearances = bench.requirements.iter().enumerate();
        let clearances = clearances.map(|(at, read)| (Of::Requirement(at), read));
        for (of, readings) in places.chain(clearances) {
            let Some(Readings { first, again }) = readings else { continue };
            let both = [Some(first), again.as_ref()].into_iter().flatten().enumerate();
            both.for_each(|(nth, reading)| {
                read(&mut drafted, job, Read { at, of, nth, reading }, &code, &facts);
            });
        }
    }
    drafted.drafts
}

fn read_plan(
    plan: &Path,
    job: &Job,
    outage: &Outage,
    memory: &mut Memory,
    problems: &mut Problems,
) -> Option<Saved> {
    let carried = read::carried_so_far(plan, memory, problems)?;
    let code = carried.planned.id();
    let known = outage.entries().iter().any(|entry| match &entry.booking {
        Booking::Plan(plan) => plan.code == code,
        _ => false,
    });
    if !known {
        problems.add(Problem::new(
            Place::file(&shown(plan)),
            format!("the plan {code}"),
            "a plan of this outage",
            "give a plan that `gapwright kit --outage` made with this outage file",
        ));
        return None;
    }
    let sources = BenchSources { plan, readings: None, found: &[], issued: true };
    let back = gathered(read::bench(&sources, job, memory), problems)?;
    Some(Saved { carried, back })
}

/// Pieces of each pump that are short of its kit, and in addition to it, as the sheet Issue has them.
fn changes(carried: &Carried, job: &Job) -> BTreeMap<String, [Vec<KitPiece>; 2]> {
    let mut changes: BTreeMap<String, [Vec<KitPiece>; 2]> = BTreeMap::new();
    let lots = returned::of_pieces(job).into_iter();
    let lots: BTreeMap<&str, String> =
        lots.map(|(index, lot)| (job.stock[index].item.as_str(), lot.item)).collect();
    // People may write an item in another case than the stock.
    let known = |item: &str| job.stock.iter().find(|lot| key(&lot.item) == key(item));
    let piece = |tag: &str, label: &str, item: &str, count: u32| {
        let item = known(item).map_or(item, |lot| lot.item.as_str());
        let item = lots.get(item).map_or(item, String::as_str).to_string();
        KitPiece { place: name_of(job, tag, label), item, count, peeled_to: None }
    };
    for (line, filled) in carried.planned.lines.iter().zip(&carried.filled) {
        if !matches!(line.step, PickStep::Pick | PickStep::CutFrom(_)) {
            continue;
        }
        let [without, with] = changes.entry(line.tag.clone()).or_default();
        let picked = filled.picked.unwrap_or(line.planned);
        let of = |item: &str, count: u32| piece(&line.tag, &line.place, item, count);
        without.extend((picked < line.planned).then(|| of(&line.item, line.planned - picked)));
        with.extend((picked > line.planned).then(|| of(&line.item, picked - line.planned)));
        let instead = filled.instead.as_ref().filter(|(_, count)| *count > 0);
        with.extend(instead.map(|(item, count)| of(item, *count)));
    }
    for extra in carried.extras.iter().filter(|extra| extra.count > 0) {
        // People may write a tag in another case than the plan.
        let known = changes.keys().find(|tag| key(tag) == key(&extra.tag)).cloned();
        let [_, with] = changes.entry(known.unwrap_or_else(|| extra.tag.clone())).or_default();
        with.push(piece(&extra.tag, &extra.place, &extra.item, extra.count));
    }
    changes
}

/// Bags of the pumps whose pieces are still in their bins; and of the others, where the sheet says something else than
/// their bag.
fn bags(carried: &Carried, job: &Job, outage: &Outage) -> (Vec<(String, Booking)>, Vec<String>) {
    let (mut bags, mut notes) = (Vec::new(), Vec::new());
    for (tag, [without, with]) in changes(carried, job) {
        let Some(pump) = outage.pump(&tag) else { continue };
        let differs = !(without.is_empty() && with.is_empty());
        if pump.state == PumpState::Planned {
            bags.push((tag.clone(), Booking::Bag { tag, without, with }));
        } else if differs && !is_booked(pump, &without, &with) {
            notes.push(format!(
                "{tag} is {}: other pieces on the sheet Issue are not booked. Book `swap {tag}` if its bag was changed.",
                pump.state.words()
            ));
        }
    }
    (bags, notes)
}

/// Whether the bag of a pump differs from its kit as the sheet says.
fn is_booked(pump: &OutagePump, without: &[KitPiece], with: &[KitPiece]) -> bool {
    let mut sums: BTreeMap<String, i64> = BTreeMap::new();
    let planned = pump.kit.as_ref().map_or(&[][..], |kit| &kit.pieces);
    for (pieces, sign) in [(planned, 1), (without, -1), (with, 1), (&pump.bag, -1)] {
        for piece in pieces {
            *sums.entry(key(&piece.item)).or_default() += sign * i64::from(piece.count);
        }
    }
    sums.values().all(|count| *count == 0)
}

/// Name in the model of a place that the sheet Issue names by its label.
pub(super) fn name_of(job: &Job, tag: &str, label: &str) -> String {
    let pump = index(job, tag).map(|at| &job.pumps[at]);
    let place = pump.and_then(|pump| {
        let mut packs = job.model_of(pump).packs.iter();
        packs.find(|pack| pack.label == label)
    });
    place.map_or_else(|| label.to_string(), |pack| pack.name.clone())
}

/// A reading as a text with its unit.
fn text(job: &Job, of: Of, reading: &Reading) -> String {
    let usual = match of {
        Of::Pack(_) => job.policy.pack_within,
        Of::Requirement(_) => job.policy.clearance_within,
    };
    // Between two blades, the range is wider than the error of the instrument.
    let half = (reading.within - usual).max(Length::ZERO);
    value_text(reading.value - half, reading.value + half)
}
