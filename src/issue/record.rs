//! Compares actual withdrawals with the stock and the log: movements, or every reason why there can be none.
//!
//! # Decision
//!
//! A plan and its stock are held together by hash, and where that differs by counts, reserved counts and the
//! pieces' own data: a changed note or bin is no reason to plan again; a changed thickness is.

use std::collections::{BTreeMap, BTreeSet};

use super::counts::{CountedLot, Counts};
use super::key;
use super::log::{Entry, HEADING_ROW, How, Log, Movement, OnHand, Out, SHEET};
use super::planned::{PickStep, Planned, PlannedLine};
use super::returned::ReturnedLot;
use crate::decimal::Money;
use crate::model::NOT_FIT;
use crate::problem::{Place, Problem, Problems, Spot, fix_name};

/// Entries of a person beside a line of the plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Filled {
    /// Pieces that were picked; `None` means as planned.
    pub picked: Option<u32>,
    /// Substitute item for the missing ones, and its number of pieces.
    pub instead: Option<(String, u32)>,
    /// Note.
    pub note: String,
    /// Cell of the count.
    pub at: Place,
    /// Cell of the substitute item.
    pub instead_at: Place,
}

/// Pieces taken for a tag in addition to the plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Extra {
    /// The pump.
    pub tag: String,
    /// Destination, in words.
    pub place: String,
    /// Stock number.
    pub item: String,
    /// Number of pieces.
    pub count: u32,
    /// Note.
    pub note: String,
    /// Cell of the item.
    pub at: Place,
}

/// A plan as it was carried out.
#[derive(Debug, Clone, PartialEq)]
pub struct Carried {
    /// The plan's lines.
    pub planned: Planned,
    /// Entries beside each of its lines.
    pub filled: Vec<Filled>,
    /// Pieces taken in addition.
    pub extras: Vec<Extra>,
    /// Stock that it was made from; lots that go back for the first time are in it with none on hand.
    pub before: Counts,
    /// Lots that go back into the stock.
    pub returned: Vec<ReturnedLot>,
    /// The plan as a whole.
    pub place: Place,
    /// SHA-256 of the pump workbook that it was made from, as far as the plan says.
    pub pumps_sha256: Option<String>,
    /// Settings of its policy for judging readings, as shown, as far as the plan has them.
    pub rules: BTreeMap<String, String>,
}

/// Settings that decide how readings are judged, and thus the ranges on the slips.
pub(crate) const RULES: [&str; 2] = ["Acceptance", "Coverage factor"];

impl Carried {
    /// Tags of the plan, each once, in its order.
    pub fn tags(&self) -> Vec<&str> {
        let mut seen = BTreeSet::new();
        let tags = self.planned.lines.iter().map(|line| line.tag.as_str());
        tags.filter(|tag| !tag.is_empty() && seen.insert(key(tag))).collect()
    }
}

/// A stock with its hash and its log, for withdrawals and returns.
#[derive(Debug)]
pub struct StockAndLog<'a> {
    /// Counts.
    pub counts: &'a Counts,
    /// SHA-256 of the stock workbook.
    pub sha256: &'a str,
    /// The stock workbook as a whole.
    pub stock: Place,
    /// The log, checked.
    pub log: &'a Log,
    /// The log as a whole.
    pub log_place: Place,
}

impl StockAndLog<'_> {
    /// Place of a line of the log.
    fn line(&self, number: u32) -> Place {
        Place {
            file: self.log_place.file.clone(),
            spot: Spot::Cell {
                sheet: SHEET.into(),
                row: HEADING_ROW.saturating_add(number),
                column: 4,
            },
        }
    }
}

/// Movements, and the resulting count of each item concerned.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Moves {
    /// The movements.
    pub movements: Vec<Movement>,
    /// Count on hand after them, by stock number.
    pub after: BTreeMap<String, u32>,
    /// Of these, the lots that the stock has no row for yet.
    pub new: Vec<ReturnedLot>,
}

/// Warns of a date that is earlier than lines of the log: lines cannot be taken back, and demand is counted by their
/// dates.
pub fn warn_of_date(date: &str, standing: &StockAndLog<'_>, problems: &mut Problems) {
    const YEAR: i32 = 366;
    let Some(last) = standing.log.entries().last().map(|entry| entry.date.as_str()) else {
        return;
    };
    let [now, before] = [date, last].map(crate::day::number);
    let Some(days) = now.zip(before).map(|(now, before)| now - before) else {
        return;
    };
    let how = match days {
        ..0 => "earlier than",
        0..=YEAR => return,
        _ => "more than a year after",
    };
    problems.warn(Problem::new(
        standing.log_place.clone(),
        format!("the date {date}, {how} that of the log's last line, {last}"),
        "lines in the order of their days",
        "give the day on which the pieces went out with --date, if it is another one",
    ));
}

/// A place on the command line.
fn command_line() -> Place {
    Place::file("command line")
}

/// Compares the last counts in the log with the stock. A difference is a problem, or with `counted` a movement.
pub fn fit(standing: &StockAndLog<'_>, counted: bool, problems: &mut Problems) -> Moves {
    let (counts, log) = (standing.counts, standing.log);
    let mut moves = Moves::default();
    let now = |item: &str| counts.get(item).map_or(0, |lot| lot.on_hand);
    let differs: Vec<(&str, u32)> = log.known().filter(|(item, last)| now(item) != *last).collect();
    if differs.is_empty() {
        return moves;
    }
    // Checked also with `counted`: an old workbook may have been named by mistake.
    if let Some(behind) = behind(standing) {
        problems.add(behind);
        return moves;
    }
    let was_once = |item: &str| {
        let mine = log.entries().iter().filter(|e| key(&e.movement.item) == key(item));
        let mut counts = mine.filter_map(|entry| entry.movement.on_hand);
        counts.any(|on_hand| on_hand.before == now(item))
    };
    if counted && differs.iter().all(|(item, _)| was_once(item)) {
        problems.warn(Problem::new(
            standing.stock.clone(),
            format!(
                "counts that the log had before for all that differ: {}",
                listed(differs.iter().map(|(item, _)| *item))
            ),
            "the newest stock workbook, with its new counts",
            "if this is an older workbook, name the newest; only you can tell the two apart",
        ));
    }
    for (item, last) in differs {
        let lot = counts.get(item);
        if !counted {
            let (place, found) = match lot {
                Some(lot) => (lot.place.clone(), format!("{} of {item} on hand", lot.on_hand)),
                None => (standing.stock.clone(), format!("no row for {item}")),
            };
            problems.add(Problem::new(
                place,
                found,
                format!("{last}, as the last line of {item} in the issue log says"),
                "if goods came in or the pieces were counted again, give --counted, which records the difference; else correct the count",
            ));
            continue;
        }
        let after = now(item);
        moves.movements.push(Movement {
            plan: String::new(),
            tag: String::new(),
            place: String::new(),
            item: item.to_string(),
            asked: 0,
            out: i64::from(last) - i64::from(after),
            how: How::Counted,
            on_hand: Some(OnHand { before: last, after }),
            unit_cost: lot.and_then(|lot| lot.unit_cost),
            note: String::new(),
        });
    }
    moves
}

/// Whether the stock is as it was before the last run of the log: a run that stopped between writing its two files
/// leaves the log new and the stock old.
fn behind(standing: &StockAndLog<'_>) -> Option<Problem> {
    let (counts, log) = (standing.counts, standing.log);
    let now = |item: &str| counts.get(item).map_or(0, |lot| lot.on_hand);
    let last = log.last_counts();
    let mut known = log.known();
    let all = known.all(|(item, after)| {
        let run = last.get(&key(item));
        now(item) == run.map_or(after, |(_, run)| run.before)
    });
    let moved = last.values().any(|(_, run)| run.before != run.after);
    let run = log.last_run().first().filter(|_| all && moved)?;
    let (date, run) = (&run.date, run.run);
    Some(Problem::new(
        standing.stock.clone(),
        format!(
            "the counts from before run {run} of the log ({date}), which touched {}",
            listed(last.values().map(|(item, _)| item.as_str()))
        ),
        "the stock workbook that this run wrote for next time",
        "name that one; if it was never written, `gapwright issue --finish STOCK` writes it from the log",
    ))
}

fn listed<'a>(items: impl Iterator<Item = &'a str>) -> String {
    const MOST: usize = 8;
    let items: Vec<&str> = items.collect();
    let shown = items[..items.len().min(MOST)].join(", ");
    match items.len().checked_sub(MOST) {
        Some(more @ 1..) => format!("{shown} and {more} more"),
        _ => shown,
    }
}

/// Tags to issue: those asked for, or all. A tag that the plan does not have is a problem, and so is one that was
/// already issued from it.
fn tags(
    carried: &Carried,
    wanted: &[String],
    standing: &StockAndLog<'_>,
    problems: &mut Problems,
) -> BTreeSet<String> {
    let known = carried.tags();
    let mut tags: BTreeSet<String> = BTreeSet::new();
    for tag in wanted {
        if known.iter().any(|known| key(known) == key(tag)) {
            tags.insert(key(tag));
            continue;
        }
        problems.add(Problem::new(
            command_line(),
            format!("--pump {tag}"),
            "a tag of the plan",
            fix_name(tag, known.iter().copied(), "see the sheet Issue of the plan for its tags"),
        ));
    }
    if wanted.is_empty() {
        tags = known.iter().map(|tag| key(tag)).collect();
    }
    let id = carried.planned.id();
    let left: Vec<&str> =
        known.iter().copied().filter(|tag| standing.log.issued(&id, tag).is_none()).collect();
    let twice: Vec<(&str, &Entry)> = known
        .iter()
        .filter(|tag| tags.contains(&key(tag)))
        .filter_map(|tag| Some((*tag, standing.log.issued(&id, tag)?)))
        .collect();
    // A pump may get a second kit, in the next outage or after rework; one that was planned twice by mistake looks
    // alike.
    for tag in known.iter().filter(|tag| tags.contains(&key(tag))) {
        let out = standing.log.out(tag);
        let others: u32 = out.iter().filter(|o| o.plan != id).map(|o| o.count).sum();
        let line = standing.log.entries().iter();
        let mut line = line.filter(|e| key(&e.movement.tag) == key(tag) && e.movement.plan != id);
        if let (1.., Some(line)) = (others, line.next_back()) {
            problems.warn(Problem::new(
                standing.line(line.number),
                format!("{tag}, for which {others} pieces are out by another plan since {}", line.date),
                "one kit out for a pump, unless it is rebuilt again",
                "if the pump was planned again, put the first kit back with `--put-back` before this one goes out",
            ));
        }
    }
    if let Some((_, line)) = twice.first() {
        let fix = match left.as_slice() {
            [] => "nothing is left to issue of this plan".to_string(),
            left => format!("issue the others with --pump: {}", listed(left.iter().copied())),
        };
        problems.add(Problem::new(
            standing.line(line.number),
            format!(
                "{}, issued from this plan ({id}) on {} already",
                listed(twice.iter().map(|(tag, _)| *tag)),
                line.date
            ),
            "each kit of a plan issued once",
            format!("{fix}; `--put-back TAG` reverses a kit"),
        ));
    }
    tags
}

/// Compares the stock with the one that the plan was made from, less the pieces that this plan has taken out since.
fn unchanged(
    carried: &Carried,
    standing: &StockAndLog<'_>,
    told: &BTreeSet<String>,
    problems: &mut Problems,
) {
    let net = standing.log.net(&carried.planned.id());
    let same = carried.planned.stock_sha256 == standing.sha256;
    let mut found = Problems::new();
    for lot in carried.before.lots() {
        if told.contains(&key(&lot.item)) {
            continue;
        }
        let out = net.get(&key(&lot.item)).copied().unwrap_or(0);
        let expected = i64::from(lot.on_hand) - out;
        changed(carried, lot, [expected, out], standing, same, &mut found);
    }
    for lot in standing.counts.lots() {
        if carried.before.get(&lot.item).is_none() {
            found.add(Problem::new(
                lot.place.clone(),
                format!("{}, {} on hand, added since the plan was made", lot.item, lot.on_hand),
                "the stock that the plan was made from",
                STALE,
            ));
        }
    }
    let counts_alone = carried.before.lots().iter().any(|lot| lot.make.is_none());
    if found.none() && !same && net.is_empty() {
        let other = Problem::new(
            standing.stock.clone(),
            "another file than the plan was made from, with the same counts",
            "the stock workbook that the plan was made from",
            "nothing, if only notes, bins, prices or levels were changed",
        );
        match counts_alone {
            // Without the workbook it is unknown whether the pieces are still the same.
            true => found.add(Problem {
                fix: "issue the plan's workbook instead: it tells whether only notes, bins or prices were changed"
                    .into(),
                ..other
            }),
            false => found.warn(other),
        }
    }
    problems.absorb(found);
}

const STALE: &str =
    "make the plan again from the stock as it is, or undo the change if it was a mistake";

fn changed(
    carried: &Carried,
    lot: &CountedLot,
    [expected, out]: [i64; 2],
    standing: &StockAndLog<'_>,
    same: bool,
    found: &mut Problems,
) {
    let item = &lot.item;
    let Some(now) = standing.counts.get(item) else {
        // A lot that goes back for the first time has no row before.
        if expected == 0 && carried.returned.iter().any(|lot| key(&lot.item) == key(item)) {
            return;
        }
        found.add(Problem::new(
            standing.stock.clone(),
            format!("no row for {item} any more"),
            format!("{item}, {expected} on hand, as when the plan was made"),
            STALE,
        ));
        return;
    };
    let fix = match same {
        true => {
            "this is the stock that the plan was made from, so the plan was changed since: make it again"
        }
        false => STALE,
    };
    let so = match out {
        0 => "as when the plan was made".to_string(),
        _ => format!("{} when the plan was made less {out} issued from it by the log", lot.on_hand),
    };
    let mut differs = |place: &Place, before: String, after: String| {
        found.add(Problem::new(place.clone(), after, before, fix));
    };
    if i64::from(now.on_hand) != expected {
        differs(
            &now.place,
            format!("{expected} of {item} on hand, {so}"),
            format!("{} of {item} on hand", now.on_hand),
        );
    }
    if lot.make.is_some() && now.reserved != lot.reserved {
        differs(
            &now.place,
            format!("{} of {item} reserved, as when the plan was made", lot.reserved),
            format!("{} of {item} reserved", now.reserved),
        );
    }
    let (Some(before), Some(after)) = (&lot.make, &now.make) else {
        return;
    };
    for (before, after) in before.iter().zip(after) {
        let place = after.place.as_ref().unwrap_or(&now.place);
        let (heading, before, after) = (before.heading, &before.value, &after.value);
        if before != after {
            let shown = |text: &str| match text {
                "" => "nothing".to_string(),
                text => format!("`{text}`"),
            };
            differs(
                place,
                format!("{} as {heading} of {item}, as when the plan was made", shown(before)),
                format!("{} as {heading} of {item}", shown(after)),
            );
        }
    }
}

/// Takes pieces and keeps count.
struct Taking<'a> {
    standing: &'a StockAndLog<'a>,
    returned: &'a [ReturnedLot],
    plan: String,
    left: BTreeMap<String, u32>,
    moves: Moves,
}

impl Taking<'_> {
    /// Takes `count` pieces of an item; `None` and a problem if there are too few.
    fn take(
        &mut self,
        item: &str,
        count: u32,
        at: &Place,
        problems: &mut Problems,
    ) -> Option<(CountedLot, OnHand)> {
        let lot = self.standing.counts.get(item)?.clone();
        let left = self.left.entry(key(item)).or_insert(lot.on_hand);
        let before = *left;
        let Some(after) = before.checked_sub(count) else {
            problems.add(Problem::new(
                at.clone(),
                format!("{count} of {item}, of which {before} are left"),
                "no more than are on hand",
                "count again: correct what was picked, or the stock",
            ));
            return None;
        };
        if after < lot.reserved && count > 0 {
            problems.add(Problem::new(
                at.clone(),
                format!("{count} of {item}, which leaves {after} of {} reserved", lot.reserved),
                "the reserved pieces left in their bin",
                "release them in the stock workbook and make the plan again, or put the pieces back",
            ));
            return None;
        }
        *left = after;
        self.moves.after.insert(lot.item.clone(), after);
        Some((lot, OnHand { before, after }))
    }

    /// Puts `count` pieces or plates of a lot into the stock, one that it has or a new one.
    fn put(
        &mut self,
        item: &str,
        count: u32,
        at: &Place,
        problems: &mut Problems,
    ) -> Option<(CountedLot, OnHand)> {
        let new = self.returned.iter().find(|lot| key(&lot.item) == key(item));
        let lot = self.standing.counts.get(item).cloned().or_else(|| {
            Some(CountedLot {
                item: item.to_string(),
                on_hand: 0,
                reserved: 0,
                unit_cost: new?.column("Unit cost").and_then(Money::parse),
                make: None,
                place: at.clone(),
            })
        })?;
        let left = self.left.entry(key(item)).or_insert(lot.on_hand);
        let before = *left;
        let Some(after) = before.checked_add(count).filter(|after| *after <= 1_000_000_000) else {
            problems.add(Problem::new(
                at.clone(),
                format!("{before} of {item} on hand, and {count} that go back"),
                "no more than 1000000000",
                "count again",
            ));
            return None;
        };
        *left = after;
        self.moves.after.insert(lot.item.clone(), after);
        if self.standing.counts.get(item).is_none() {
            self.moves.new.extend(new.cloned());
        }
        Some((lot, OnHand { before, after }))
    }

    #[allow(clippy::too_many_arguments)]
    fn movement(
        &mut self,
        line: &PlannedLine,
        item: &str,
        asked: u32,
        out: i64,
        how: How,
        taken: Option<(CountedLot, OnHand)>,
        note: &str,
    ) {
        self.moves.movements.push(Movement {
            plan: self.plan.clone(),
            tag: line.tag.clone(),
            place: line.place.clone(),
            item: item.to_string(),
            asked,
            out,
            how,
            on_hand: taken.as_ref().map(|(_, on_hand)| *on_hand),
            unit_cost: taken.and_then(|(lot, _)| lot.unit_cost),
            note: note.to_string(),
        });
    }
}

/// Movements of a plan as carried out; `wanted` are the tags to issue, all if empty.
pub fn issue(
    carried: &Carried,
    wanted: &[String],
    standing: &StockAndLog<'_>,
    counted: bool,
    problems: &mut Problems,
) -> Moves {
    let mut found = Problems::new();
    let tags = tags(carried, wanted, standing, &mut found);
    if !found.none() {
        // A different stock only follows from this, unless it was never written.
        if let Some(behind) = behind(standing) {
            found.add(behind);
        }
        problems.absorb(found);
        return Moves::default();
    }
    let moves = fit(standing, counted, &mut found);
    if found.none() {
        unchanged(carried, standing, &BTreeSet::new(), &mut found);
    } else {
        let last = standing.log.known();
        let told = last.map(|(item, _)| key(item)).collect();
        unchanged(carried, standing, &told, &mut found);
    }
    let returned = &carried.returned;
    let (plan, left) = (carried.planned.id(), BTreeMap::new());
    let mut taking = Taking { standing, returned, plan, left, moves };
    let asked = |line: &PlannedLine| tags.contains(&key(&line.tag));
    let lines = carried.planned.lines.iter().zip(&carried.filled);
    for (line, filled) in lines {
        let now = match line.tag.is_empty() {
            false => asked(line),
            true => {
                shared_now(carried, line, &tags) && !standing.log.shared(&taking.plan, &line.item)
            }
        };
        if now {
            take_line(&mut taking, line, filled, &mut found);
        }
    }
    // Entries made after a kit went out would be lost silently.
    let id = taking.plan.clone();
    let gone = |tag: &str| !tags.contains(&key(tag)) && standing.log.issued(&id, tag).is_some();
    let late_lines =
        carried.planned.lines.iter().zip(&carried.filled).filter_map(|(line, filled)| {
            let recorded = |entry: &&Entry| {
                let moved = &entry.movement;
                moved.plan == id
                    && key(&moved.tag) == key(&line.tag)
                    && key(&moved.item) == key(&line.item)
                    && filled.picked.is_some_and(|picked| moved.out == i64::from(picked))
            };
            let other = filled.picked.is_some_and(|picked| picked != line.planned);
            let late = other && !standing.log.entries().iter().any(|entry| recorded(&entry));
            (late && gone(&line.tag)).then_some((&line.tag, &filled.at))
        });
    let late_extras = carried.extras.iter().filter_map(|extra| {
        let recorded = standing.log.entries().iter().any(|entry| {
            let moved = &entry.movement;
            moved.plan == id
                && key(&moved.tag) == key(&extra.tag)
                && key(&moved.item) == key(&extra.item)
                && moved.how == How::Unplanned
        });
        (!recorded && gone(&extra.tag)).then_some((&extra.tag, &extra.at))
    });
    for (tag, at) in late_lines.chain(late_extras) {
        found.warn(Problem::new(
            at.clone(),
            format!("an entry for {tag}, whose kit was issued before; it is not recorded"),
            "entries made before the kit is issued",
            format!("`--put-back {tag}`, then issue the kit again with these entries"),
        ));
    }
    for extra in carried.extras.iter().filter(|e| tags.contains(&key(&e.tag))) {
        take_extra(&mut taking, extra, &mut found);
    }
    problems.absorb(found);
    taking.moves
}

/// Whether a line that is not for a single pump goes with these tags: with the first kit that uses the pack or the
/// sheet.
fn shared_now(carried: &Carried, shared: &PlannedLine, tags: &BTreeSet<String>) -> bool {
    carried.planned.lines.iter().any(|line| {
        let of_it = match &line.step {
            PickStep::Pick => key(&line.item) == key(&shared.item),
            PickStep::CutFrom(sheet) => match &shared.step {
                PickStep::GoesBack(plate) => key(sheet) == key(plate),
                _ => key(sheet) == key(&shared.item),
            },
            _ => false,
        };
        of_it && tags.contains(&key(&line.tag))
    })
}

fn take_line(
    taking: &mut Taking<'_>,
    line: &PlannedLine,
    filled: &Filled,
    problems: &mut Problems,
) {
    let note = filled.note.as_str();
    if line.step == PickStep::InBag {
        return;
    }
    let picked = filled.picked.unwrap_or(line.planned);
    if line.step == PickStep::Short {
        if filled.picked.is_some_and(|picked| picked > 0) || filled.instead.is_some() {
            problems.add(Problem::new(
                filled.at.clone(),
                format!("pieces for {} in a line that is short", line.tag),
                "nothing picked where the plan has nothing",
                "write the item and its count into one of the spare lines below",
            ));
        }
        taking.movement(line, "", line.planned, 0, How::Short, None, note);
        return;
    }
    let how = match &line.step {
        PickStep::CutFrom(sheet) => How::CutFrom(sheet.clone()),
        PickStep::Spoiled => How::Spoiled,
        PickStep::CutUp => How::CutUp,
        PickStep::GoesBack(plate) => {
            let how = How::GoesBack(plate.clone());
            let taken = taking.put(&line.item, picked, &filled.at, problems);
            taking.movement(line, &line.item, line.planned, -i64::from(picked), how, taken, note);
            return;
        }
        _ if picked == line.planned => How::AsPlanned,
        _ if picked < line.planned => How::Partly,
        _ => How::More,
    };
    if picked != line.planned && !line.tag.is_empty() {
        problems.warn(Problem::new(
            filled.at.clone(),
            format!("{}: {picked} of {} picked, not {}", line.tag, line.item, line.planned),
            "the planned kit",
            format!("{NOT_FIT} as it is: work out the stack-up of its pieces (`gapwright stack`), or put it back and plan it again"),
        ));
    }
    let mut taken = None;
    if line.step.counts() {
        taken = taking.take(&line.item, picked, &filled.at, problems);
        if taken.is_none() {
            return;
        }
    }
    taking.movement(line, &line.item, line.planned, i64::from(picked), how, taken, note);
    let Some((item, count)) = &filled.instead else {
        return;
    };
    if !is_known(taking, item, &filled.instead_at, problems) {
        return;
    }
    let mut wrong = |found: String, expected: &str, fix: &str| {
        problems.add(Problem::new(filled.instead_at.clone(), found, expected, fix));
    };
    if line.tag.is_empty() {
        wrong(
            format!("{item} instead of pieces of no single pump"),
            "another item only in the line of a pump",
            "write it into one of the spare lines below, with its tag",
        );
    } else if picked >= line.planned {
        wrong(
            format!("{item} instead of {}, of which none is missing", line.item),
            "another item only where fewer were picked than planned",
            "fill in Picked, 0 if there were none; write extra pieces into a line with `extra` below",
        );
    } else if let Some(taken) = take_named(taking, item, *count, &filled.instead_at, problems) {
        problems.warn(Problem::new(
            filled.instead_at.clone(),
            format!("{}: {count} of {item} instead of {}", line.tag, line.item),
            "the planned kit",
            format!("{NOT_FIT} {UNTIL_MEASURED}"),
        ));
        let name = taken.0.item.clone();
        taking.movement(
            line,
            &super::tidy(&name),
            0,
            i64::from(*count),
            How::InsteadOf(line.item.clone()),
            Some(taken),
            note,
        );
    }
}

/// Takes pieces of an item that a person wrote.
fn take_named(
    taking: &mut Taking<'_>,
    item: &str,
    count: u32,
    at: &Place,
    problems: &mut Problems,
) -> Option<(CountedLot, OnHand)> {
    if !is_known(taking, item, at, problems) {
        return None;
    }
    taking.take(item, count, at, problems)
}

/// Whether the stock has an item that a person wrote; a problem if not.
fn is_known(taking: &Taking<'_>, item: &str, at: &Place, problems: &mut Problems) -> bool {
    let known = taking.standing.counts.get(item).is_some();
    if !known {
        let lots = taking.standing.counts.lots().iter();
        problems.add(Problem::new(
            at.clone(),
            format!("the item `{item}`, which the stock does not have"),
            "an item of the stock workbook",
            fix_name(item, lots.map(|lot| lot.item.as_str()), "correct the stock number"),
        ));
    }
    known
}

/// Condition that a pump with other pieces than planned must meet.
const UNTIL_MEASURED: &str = "until the stack-up of its pieces is worked out (`gapwright stack`) and the finished pack is measured";

fn take_extra(taking: &mut Taking<'_>, extra: &Extra, problems: &mut Problems) {
    let Some(taken) = take_named(taking, &extra.item, extra.count, &extra.at, problems) else {
        return;
    };
    problems.warn(Problem::new(
        extra.at.clone(),
        format!("{}: {} of {} that the plan does not have", extra.tag, extra.count, extra.item),
        "the planned kit",
        format!("{NOT_FIT} {UNTIL_MEASURED}"),
    ));
    let line = PlannedLine {
        step: PickStep::Pick,
        tag: extra.tag.clone(),
        place: extra.place.clone(),
        item: super::tidy(&taken.0.item),
        planned: 0,
        why: None,
    };
    let (count, how) = (i64::from(extra.count), How::Unplanned);
    taking.movement(&line, &line.item, 0, count, how, Some(taken), &extra.note);
}

/// Movements that put back the pieces still out for these tags: all, or stated numbers of some items.
pub fn put_back(
    tags: &[String],
    items: &[(String, u32)],
    standing: &StockAndLog<'_>,
    counted: bool,
    problems: &mut Problems,
) -> Moves {
    let mut found = Problems::new();
    let mut moves = fit(standing, counted, &mut found);
    let mut left: BTreeMap<String, u32> = BTreeMap::new();
    let mut wrong = |place: Place, found_: String, expected: &str, fix: String| {
        found.add(Problem::new(place, found_, expected, fix));
    };
    let tagged = standing.log.entries().iter();
    let known: BTreeMap<String, &str> =
        tagged.map(|entry| (key(&entry.movement.tag), entry.movement.tag.as_str())).collect();
    let mut wanted: BTreeMap<String, u32> = BTreeMap::new();
    for (item, count) in items {
        *wanted.entry(key(item)).or_default() += count;
    }
    let mut done = BTreeSet::new();
    for tag in tags.iter().filter(|tag| done.insert(key(tag))) {
        let out = standing.log.out(tag);
        if out.is_empty() {
            // A tag in the log is spelt right: another pump's kit must not be put back for it.
            let spelt = known.contains_key(&key(tag));
            let near = known.values().copied().filter(|_| !spelt);
            let near = near.filter(|near| !near.is_empty() && !standing.log.out(near).is_empty());
            wrong(
                command_line(),
                format!("--put-back {tag}, for which nothing is out"),
                "a tag with pieces out, as the issue log has it",
                fix_name(tag, near, "see the column Tag of the log"),
            );
        }
        let tag = known.get(&key(tag)).copied().unwrap_or_default();
        // The last pieces to go out come back first.
        for out in out.iter().rev() {
            let count = match items {
                [] => out.count,
                _ => wanted.get(&key(&out.item)).map_or(0, |left| out.count.min(*left)),
            };
            if count == 0 {
                continue;
            }
            if let Some(left) = wanted.get_mut(&key(&out.item)) {
                *left -= count;
            }
            let Some(lot) = standing.counts.get(&out.item).filter(|_| out.counted) else {
                match out.counted {
                    true => wrong(
                        standing.stock.clone(),
                        format!("no row for {}, of which {count} are to be put back", out.item),
                        "the item in the stock workbook",
                        format!("add a row for {}, with 0 on hand", out.item),
                    ),
                    false => moves.movements.push(back(tag, out, count, None, None)),
                }
                continue;
            };
            let now = left.entry(key(&out.item)).or_insert(lot.on_hand);
            let before = *now;
            let Some(after) = before.checked_add(count).filter(|after| *after <= 1_000_000_000)
            else {
                wrong(
                    lot.place.clone(),
                    format!("{before} of {} on hand, and {count} to be put back", out.item),
                    "no more than 1000000000",
                    "count again".into(),
                );
                continue;
            };
            *now = after;
            moves.after.insert(lot.item.clone(), after);
            let on_hand = OnHand { before, after };
            moves.movements.push(back(tag, out, count, Some(on_hand), Some(lot)));
        }
    }
    for (item, left) in wanted.iter().filter(|(_, left)| **left > 0) {
        let asked = items.iter().find(|(name, _)| key(name) == *item);
        let asked = asked.map_or(item.as_str(), |(name, _)| name.as_str());
        wrong(
            command_line(),
            format!("--items {asked}, {left} more than are out for it"),
            "no more than went out and was not put back yet",
            "see the lines of the tag in the issue log".into(),
        );
    }
    for moved in moves.movements.iter().filter(|m| m.how == How::PutBack && m.on_hand.is_none()) {
        found.warn(Problem::new(
            command_line(),
            format!(
                "{} of {}, which were cut from a plate and are counted nowhere",
                -moved.out, moved.item
            ),
            "pieces that the stock counts",
            "give what is kept a row of its own in the stock workbook for next time",
        ));
    }
    problems.absorb(found);
    moves
}

fn back(
    tag: &str,
    out: &Out,
    count: u32,
    on_hand: Option<OnHand>,
    lot: Option<&CountedLot>,
) -> Movement {
    Movement {
        plan: out.plan.clone(),
        tag: super::tidy(tag),
        place: out.place.clone(),
        item: out.item.clone(),
        asked: 0,
        out: -i64::from(count),
        how: How::PutBack,
        on_hand,
        unit_cost: lot.and_then(|lot| lot.unit_cost),
        note: String::new(),
    }
}

/// Counts of each item after the log's last run, for a stock that is as it was before that run.
pub fn finish(standing: &StockAndLog<'_>, problems: &mut Problems) -> BTreeMap<String, u32> {
    let last = standing.log.last_counts();
    let mut after = BTreeMap::new();
    if last.is_empty() {
        problems.add(Problem::new(
            standing.log_place.clone(),
            "a log whose last run counted nothing",
            "a run whose stock workbook is missing",
            "go on with the stock workbook that there is",
        ));
    }
    let mut found = Problems::new();
    for (item, run) in last.values() {
        let Some(lot) = standing.counts.get(item).filter(|lot| lot.on_hand == run.before) else {
            let lot = standing.counts.get(item);
            found.add(Problem::new(
                lot.map_or(standing.stock.clone(), |lot| lot.place.clone()),
                match lot {
                    Some(lot) => format!("{} of {item} on hand", lot.on_hand),
                    None => format!("no row for {item}"),
                },
                format!("{}, as before the last run of the log", run.before),
                match lot.is_some_and(|lot| lot.on_hand == run.after) {
                    _ if lot.is_none() && run.before == 0 => {
                        "add its row, with 0 on hand, as the plan's sheets Stock after and Plate have it"
                    }
                    true => "go on with this stock workbook: it is as the last run left it",
                    false => "give the stock workbook that the last run was given",
                },
            ));
            continue;
        };
        after.insert(lot.item.clone(), run.after);
    }
    // Items that the last run did not touch must agree with the log too.
    for (item, count) in standing.log.known() {
        if last.contains_key(&key(item)) {
            continue;
        }
        let lot = standing.counts.get(item);
        if lot.map_or(0, |lot| lot.on_hand) != count {
            found.add(Problem::new(
                lot.map_or(standing.stock.clone(), |lot| lot.place.clone()),
                format!("{} of {item} on hand", lot.map_or(0, |lot| lot.on_hand)),
                format!("{count}, as the log has it"),
                "give the stock workbook that the last run was given",
            ));
        }
    }
    problems.absorb(found);
    after
}
