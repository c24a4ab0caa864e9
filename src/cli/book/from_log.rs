//! `book --from`: the lines of an issue log, for a shop that goes over to an outage file.
//!
//! A kit that was written off becomes a bag that went to the bench, on the day of its lines; pieces that were put back
//! go back. Each booking has a request number made of the chain of its line: the same lines twice book nothing twice.
//!
//! Lines are taken in their order and only as far as every plan is one of the outage: later ones follow from a stock
//! that the outage does not have yet.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use super::super::outage::{book, facts, job};
use super::super::run::{Ended, Run};
use super::drafted::{Drafted, number};
use super::from_plan::name_of;
use super::{Args, shown, tell};
use crate::cli::voice::{must_see, out};
use crate::issue::key;
use crate::issue::log::{Entry, HEADING_ROW, How, Log, SHEET};
use crate::job::Job;
use crate::outage::{Booking, Circumstances, KitPiece, Outage, OutagePump, PumpState};
use crate::outage_file::OutageFile;
use crate::problem::{Place, Problem, Problems, Spot, fix_name};
use crate::read;

/// Beginning of the request numbers of bookings that were made of an issue log.
pub(in crate::cli) const OF_ISSUE_LOG: &str = "log-";

/// Lines that make one event.
struct Group<'l> {
    kind: Kind,
    lines: Vec<&'l Entry>,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// Pieces of a pump went out.
    Issued,
    /// Pieces of a pump came back.
    PutBack,
    /// An item was counted.
    Counted,
}

/// Part of a log that an outage can take over.
struct Span<'l> {
    /// Number of lines before the first plan of the outage.
    earlier: usize,
    lines: &'l [Entry],
    /// The first line after them, of a plan that is none of the outage.
    next: Option<&'l Entry>,
}

pub(super) fn run(mut run: Run, mut file: OutageFile, path: &Path, args: &Args) -> Ended {
    let (job, _) = job(&mut run, &file)?;
    let log = run.read("reading the issue log", |memory, problems| {
        let log = read::issue_log(path, memory).map_err(|found| problems.absorb(found)).ok();
        let (log, _) = log?;
        let span = span(&log, file.outage());
        check(&span, &log, file.outage(), path, problems);
        problems.none().then_some(log)
    })?;
    let span = span(&log, file.outage());
    let (drafted, notes) = drafted(&run, args, &job, &span, file.outage());
    let receipts = match drafted.drafts.is_empty() {
        true => Vec::new(),
        false => book(&mut run, &mut file, drafted.drafts, &Vec::new())?,
    };
    let status = run.end(super::super::DONE)?;
    let to = run.voice();
    if span.earlier > 0 {
        out!(to, "Lines 1 to {} are of earlier plans and are not taken over.", span.earlier);
    }
    notes.iter().for_each(|note| must_see!(to, "{note}"));
    if let Some(next) = span.next {
        must_see!(
            to,
            "Lines from {} on are not taken over yet: plan {} is no plan of this outage. Plan with `gapwright kit --outage` from the stock workbook that it was made from, then book the log again.",
            next.number,
            next.movement.plan
        );
    }
    if receipts.is_empty() {
        out!(to, "Nothing new in {}.", shown(path));
    } else {
        tell_counts(&run, &span, file.outage());
    }
    tell(&run, file.outage(), &receipts);
    Ok(status)
}

/// The lines that can be taken over.
fn span<'l>(log: &'l Log, outage: &Outage) -> Span<'l> {
    let plans: BTreeSet<&str> = outage
        .entries()
        .iter()
        .filter_map(|entry| match &entry.booking {
            Booking::Plan(plan) => Some(plan.code.as_str()),
            _ => None,
        })
        .collect();
    let all = log.entries();
    let is_known = |entry: &Entry| plans.contains(entry.movement.plan.as_str());
    let first = all.iter().position(is_known).unwrap_or(all.len());
    let rest = &all[first..];
    let end = rest.iter().position(|entry| !entry.movement.plan.is_empty() && !is_known(entry));
    let lines = &rest[..end.unwrap_or(rest.len())];
    Span { earlier: first, lines, next: end.map(|end| &rest[end]) }
}

/// Adds every reason why the lines cannot be booked.
fn check(span: &Span<'_>, log: &Log, outage: &Outage, path: &Path, problems: &mut Problems) {
    let file = shown(path);
    if log.entries().is_empty() {
        problems.add(Problem::new(
            Place::file(&file),
            "an issue log without a line",
            "lines of kits that went out",
            "give the issue log of the shop",
        ));
    } else if span.lines.is_empty() {
        let plans: BTreeSet<&str> =
            log.entries().iter().map(|entry| entry.movement.plan.as_str()).collect();
        let plans: Vec<&str> = plans.into_iter().filter(|plan| !plan.is_empty()).collect();
        problems.add(Problem::new(
            Place::file(&file),
            format!("lines of no plan of this outage (plans: {})", plans.join(", ")),
            "a plan of the outage",
            "begin the outage file with the stock and the pump workbook that the plan was made from: it is then the same plan",
        ));
    }
    let mut seen = BTreeSet::new();
    for entry in span.lines {
        let moved = &entry.movement;
        let place = |column| Place {
            file: file.clone(),
            spot: Spot::Cell {
                sheet: SHEET.into(),
                row: HEADING_ROW.saturating_add(entry.number),
                column,
            },
        };
        let is_shared =
            matches!(moved.how, How::CutFrom(_) | How::Spoiled | How::CutUp | How::GoesBack(_));
        if is_shared {
            problems.add(Problem::new(
                place(9),
                format!("a line `{}`", moved.how),
                "whole pieces of one bag",
                "book these bags by hand: `gapwright book FILE bag TAG`",
            ));
        }
        if !moved.tag.is_empty()
            && outage.pump(&moved.tag).is_none()
            && seen.insert(key(&moved.tag))
        {
            let known = outage.pumps().map(|pump| pump.tag.as_str());
            let fix = "add its row to the pump workbook, then run `gapwright kit --outage`";
            problems.add(Problem::new(
                place(4),
                format!("the pump `{}`", moved.tag),
                "a pump of the outage",
                fix_name(&moved.tag, known, fix),
            ));
        }
        if !moved.item.is_empty()
            && outage.stock_of(&moved.item).is_none()
            && seen.insert(key(&moved.item))
        {
            let known = outage.stock().map(|lot| lot.item.as_str());
            let fix = "add its row to the stock workbook, then run `gapwright kit --outage`";
            problems.add(Problem::new(
                place(6),
                format!("the item `{}`", moved.item),
                "an item of the stock workbook that was taken over",
                fix_name(&moved.item, known, fix),
            ));
        }
    }
}

/// Lines that belong together: of one run, one kind, one pump or item. A line that was short moved nothing.
fn groups<'l>(lines: &'l [Entry]) -> Vec<Group<'l>> {
    let mut order: Vec<Group<'l>> = Vec::new();
    let mut known: BTreeMap<(u32, u8, String), usize> = BTreeMap::new();
    for entry in lines.iter().filter(|entry| entry.movement.how != How::Short) {
        let moved = &entry.movement;
        let (kind, number, of) = match moved.how {
            How::Counted => (Kind::Counted, 0, &moved.item),
            How::PutBack => (Kind::PutBack, 1, &moved.tag),
            _ => (Kind::Issued, 2, &moved.tag),
        };
        let at = *known.entry((entry.run, number, key(of))).or_insert(order.len());
        match order.get_mut(at) {
            Some(group) => group.lines.push(entry),
            None => order.push(Group { kind, lines: vec![entry] }),
        }
    }
    order
}

fn drafted(
    run: &Run,
    args: &Args,
    job: &Job,
    span: &Span<'_>,
    outage: &Outage,
) -> (Drafted, Vec<String>) {
    let (mut drafted, mut notes) = (Drafted::on(outage), Vec::new());
    for group in groups(span.lines) {
        let (Some(first), Some(last)) = (group.lines.first(), group.lines.last()) else { continue };
        let facts = |kind: &str| {
            let request =
                number(OF_ISSUE_LOG.trim_end_matches('-'), kind, &first.movement.tag, &first.chain);
            let why = match (args.note.as_str(), remarks(&group.lines)) {
                ("", remarks) => remarks,
                (note, remarks) => format!("{note}; {remarks}"),
            };
            let lines = format!("issue log, lines {} to {}", first.number, last.number);
            let why = [lines, why].into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>();
            let now = facts(run, &request, &args.by, &why.join("; "));
            Circumstances { date: first.date.clone(), ..now }
        };
        match group.kind {
            Kind::Counted => {
                if let Some(on_hand) = last.movement.on_hand {
                    let item = last.movement.item.clone();
                    drafted.add(facts("count"), Booking::Count { item, count: on_hand.after });
                }
            }
            Kind::Issued => issued(&mut drafted, job, &group, &facts, &mut notes),
            Kind::PutBack => put_back(&mut drafted, &group, &facts),
        }
    }
    (drafted, notes)
}

/// Notes of people on these lines, each once.
fn remarks(lines: &[&Entry]) -> String {
    let mut seen = BTreeSet::new();
    let notes = lines.iter().map(|entry| entry.movement.note.as_str());
    let notes = notes.filter(|note| !note.is_empty() && seen.insert(*note));
    notes.collect::<Vec<_>>().join("; ")
}

/// Pieces of each item that moved, with the label of the first place that they went to.
fn pieces(lines: &[&Entry], sign: i64) -> BTreeMap<String, (String, String, u32)> {
    let mut pieces: BTreeMap<String, (String, String, u32)> = BTreeMap::new();
    for moved in lines.iter().map(|entry| &entry.movement) {
        let count = u32::try_from(moved.out * sign).unwrap_or(0);
        if count > 0 {
            let fresh = || (moved.item.clone(), moved.place.clone(), 0);
            let sum = &mut pieces.entry(key(&moved.item)).or_insert_with(fresh).2;
            *sum = sum.saturating_add(count);
        }
    }
    pieces
}

/// Packs the bag as the lines have it, and takes it to the bench.
fn issued(
    drafted: &mut Drafted,
    job: &Job,
    group: &Group<'_>,
    facts: &dyn Fn(&str) -> Circumstances,
    notes: &mut Vec<String>,
) {
    let taken = pieces(&group.lines, 1);
    let Some(tag) = group.lines.first().map(|entry| entry.movement.tag.clone()) else { return };
    if taken.is_empty() || drafted.knows(&facts("bag").request) {
        return;
    }
    let Some(pump) = drafted.after.pump(&tag).cloned() else { return };
    let is_there = matches!(pump.state, PumpState::Bagged | PumpState::Issued)
        && sums(&pump.bag)
            == taken.iter().map(|(item, (.., count))| (item.clone(), *count)).collect();
    if !is_there {
        let [without, with] = changes(&pump, job, &taken);
        drafted.add(facts("bag"), Booking::Bag { tag: pump.tag.clone(), without, with });
    }
    let after = drafted.after.pump(&tag);
    if after.is_some_and(|after| after.state == PumpState::Bagged && after.missing() > 0) {
        notes.push(format!(
            "{}: its bag went out short of its kit. It is bagged, and not issued before it is complete.",
            pump.tag
        ));
    } else if pump.state != PumpState::Issued {
        drafted.add(facts("issue"), Booking::Issue { tag: pump.tag.clone() });
    }
}

/// Pieces by item.
fn sums(pieces: &[KitPiece]) -> BTreeMap<String, u32> {
    let mut sums: BTreeMap<String, u32> = BTreeMap::new();
    for piece in pieces {
        let sum = sums.entry(key(&piece.item)).or_default();
        *sum = sum.saturating_add(piece.count);
    }
    sums
}

/// Pieces of a kit that were not taken, and those that were taken and are not of it.
fn changes(
    pump: &OutagePump,
    job: &Job,
    taken: &BTreeMap<String, (String, String, u32)>,
) -> [Vec<KitPiece>; 2] {
    let kit = pump.kit.as_ref().map_or(&[][..], |kit| &kit.pieces);
    let planned = sums(kit);
    let name = |item: &str| kit.iter().find(|piece| key(&piece.item) == item);
    let piece = |place: String, item: &str, count: u32| KitPiece {
        place,
        item: item.to_string(),
        count,
        peeled_to: None,
    };
    let without = planned.iter().filter_map(|(item, count)| {
        let taken = taken.get(item).map_or(0, |(.., count)| *count);
        let missing = count.checked_sub(taken).filter(|missing| *missing > 0)?;
        Some(piece(String::new(), &name(item)?.item, missing))
    });
    let with = taken.iter().filter_map(|(key, (item, place, count))| {
        let more = count.checked_sub(planned.get(key).copied().unwrap_or(0))?;
        (more > 0).then(|| piece(name_of(job, &pump.tag, place), item, more))
    });
    [without.collect(), with.collect()]
}

/// Puts pieces back: the whole bag, or some of it.
fn put_back(drafted: &mut Drafted, group: &Group<'_>, facts: &dyn Fn(&str) -> Circumstances) {
    let back = pieces(&group.lines, -1);
    let Some(tag) = group.lines.first().map(|entry| entry.movement.tag.clone()) else { return };
    if back.is_empty() || drafted.knows(&facts("back").request) {
        return;
    }
    let Some(pump) = drafted.after.pump(&tag) else { return };
    let tag = pump.tag.clone();
    let counts: BTreeMap<String, u32> =
        back.iter().map(|(item, (.., count))| (item.clone(), *count)).collect();
    if counts == sums(&pump.bag) {
        drafted.add(facts("back"), Booking::PutBack { tag });
        return;
    }
    let out = back.into_values().map(|(item, _, count)| KitPiece {
        place: String::new(),
        item,
        count,
        peeled_to: None,
    });
    drafted.add(facts("back"), Booking::Swap { tag, out: out.collect(), into: Vec::new() });
}

/// Says where the log and the ledger come to different counts.
fn tell_counts(run: &Run, span: &Span<'_>, outage: &Outage) {
    let mut counts: BTreeMap<String, (&str, u32)> = BTreeMap::new();
    for moved in span.lines.iter().map(|entry| &entry.movement) {
        if let Some(on_hand) = moved.on_hand {
            counts.insert(key(&moved.item), (&moved.item, on_hand.after));
        }
    }
    for (item, count) in counts.into_values() {
        let ledger = outage.stock_of(item).map_or(0, |lot| lot.pieces);
        if ledger != i64::from(count) {
            must_see!(
                run.voice(),
                "{item}: {count} by the log, {ledger} by the ledger. Count the bin, and book `count {item} N`."
            );
        }
    }
}
