//! The issue log: one line per movement, each chained to the one before.
//!
//! Lines are only ever added. Each line carries SHA-256 over the chain of the line before and its own values, so that
//! a line that was changed, moved, removed or inserted by hand is found on reading. That guards against mistakes, not
//! against someone who recalculates the hashes.
//!
//! # Decision
//!
//! The chain has no key: it is there to find slips of the hand, and a key in a storeroom is a key for everybody.

use std::collections::BTreeMap;
use std::fmt;

use super::key;
use crate::decimal::Money;
use crate::digest::sha256;

/// Start of the chain, in place of the chain of an earlier line.
pub const BEGINNING: &str = "gapwright issue log 1";

/// Name of the log's sheet.
pub const SHEET: &str = "Issues";
/// Row of its headings, from 0; line 1 is in the next one.
pub const HEADING_ROW: u32 = 4;

/// Reasons of a movement.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum How {
    /// As many as the plan asks for.
    AsPlanned,
    /// Fewer.
    Partly,
    /// More.
    More,
    /// Instead of pieces of this item that were missing.
    InsteadOf(String),
    /// Taken for a tag in addition to the plan.
    Unplanned,
    /// Cut from sheets of this lot; the sheets are counted, the pieces are not.
    CutFrom(String),
    /// Spoiled with the opened pack.
    Spoiled,
    /// Sheets that were cut up.
    CutUp,
    /// Pieces or remnants of plates of this lot that went into the stock.
    GoesBack(String),
    /// Nothing moved: the kit or the consumable was short in the plan.
    Short,
    /// Back into the stock.
    PutBack,
    /// Reason unknown: the stock was counted again, or goods came in.
    Counted,
}

impl How {
    /// Reads the words back.
    ///
    /// ```
    /// use gapwright::issue::log::How;
    /// let how = How::InsteadOf("SH-010".into());
    /// assert_eq!(how.to_string(), "instead of SH-010");
    /// assert_eq!(How::parse("instead of SH-010"), Some(how));
    /// assert_eq!(How::parse("lost"), None);
    /// ```
    pub fn parse(words: &str) -> Option<How> {
        Some(match words {
            "as planned" => How::AsPlanned,
            "partly picked" => How::Partly,
            "more than planned" => How::More,
            "not planned" => How::Unplanned,
            "spoiled with its pack" => How::Spoiled,
            "cut up" => How::CutUp,
            "short" => How::Short,
            "put back" => How::PutBack,
            "counted" => How::Counted,
            _ => {
                let after = |beginning: &str| words.strip_prefix(beginning).map(String::from);
                let instead = after("instead of ").map(How::InsteadOf);
                let back = after("goes back, of ").map(How::GoesBack);
                instead.or(back).or_else(|| after("cut from ").map(How::CutFrom))?
            }
        })
    }
}

impl fmt::Display for How {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            How::AsPlanned => "as planned",
            How::Partly => "partly picked",
            How::More => "more than planned",
            How::InsteadOf(item) => return write!(f, "instead of {item}"),
            How::Unplanned => "not planned",
            How::CutFrom(sheet) => return write!(f, "cut from {sheet}"),
            How::Spoiled => "spoiled with its pack",
            How::CutUp => "cut up",
            How::GoesBack(plate) => return write!(f, "goes back, of {plate}"),
            How::Short => "short",
            How::PutBack => "put back",
            How::Counted => "counted",
        })
    }
}

/// Count of an item before and after a movement.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OnHand {
    /// Count before it.
    pub before: u32,
    /// Count after it.
    pub after: u32,
}

/// One movement. All texts are [`super::tidy`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Movement {
    /// The plan's [`super::planned::Planned::id`]; empty for a count.
    pub plan: String,
    /// The pump; empty where it is not for a single one.
    pub tag: String,
    /// Destination of the pieces, in words.
    pub place: String,
    /// Stock number; empty for a shortage.
    pub item: String,
    /// Pieces that the plan asks for in this line.
    pub asked: u32,
    /// Pieces that went out; negative where they came back.
    pub out: i64,
    /// Reason of the movement.
    pub how: How,
    /// Counts; `None` for pieces that the stock does not count.
    pub on_hand: Option<OnHand>,
    /// Cost each, where it was stated.
    pub unit_cost: Option<Money>,
    /// Note by a person.
    pub note: String,
}

/// A line of the log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// Its number, from 1.
    pub number: u32,
    /// `YYYY-MM-DD`.
    pub date: String,
    /// Run of the program that wrote it, from 1.
    pub run: u32,
    /// The movement.
    pub movement: Movement,
    /// Its chain, in hexadecimal.
    pub chain: String,
}

impl Entry {
    /// Values that the chain covers, as texts, in the order of the columns: number, date, run, plan, tag, place,
    /// item, asked, out, how, on hand before, on hand after, unit cost, note. An unknown value is empty.
    pub fn values(&self) -> [String; 14] {
        let moved = &self.movement;
        let count = |pick: fn(OnHand) -> u32| {
            let on_hand = moved.on_hand.map(pick);
            on_hand.map_or_else(String::new, |count| count.to_string())
        };
        [
            self.number.to_string(),
            self.date.clone(),
            self.run.to_string(),
            moved.plan.clone(),
            moved.tag.clone(),
            moved.place.clone(),
            moved.item.clone(),
            moved.asked.to_string(),
            moved.out.to_string(),
            moved.how.to_string(),
            count(|on_hand| on_hand.before),
            count(|on_hand| on_hand.after),
            moved.unit_cost.map_or_else(String::new, |cost| cost.to_string()),
            moved.note.clone(),
        ]
    }

    /// SHA-256, in hexadecimal, over the chain before and the values. Each goes in as its length in bytes, a colon,
    /// itself and a comma, so that no two lists of values make the same text.
    pub fn chained(&self, before: &str) -> String {
        let values = self.values();
        let texts = values.iter().map(|value| format!("{}:{value},", value.len()));
        let text = format!("{before}\n{}", texts.collect::<String>());
        sha256(text.as_bytes())
    }
}

/// Disagreement of a line with those before it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LogError {
    /// Its number is not the next one, which is given.
    Number(u32),
    /// Its chain does not follow from the line before and its values.
    Chain,
    /// The count before it is not the last count in the log, which is given.
    Before(u32),
    /// The counts before and after it do not differ by the pieces that went out.
    After,
    /// Its run is earlier than that of the line before.
    Run,
}

/// Demand for one item in a span of time.
///
/// Total demand: the plans asked for `out - stood_in + missed`, before any return.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct LoggedDemand {
    /// Pieces that went out, spoiled ones too.
    pub out: u64,
    /// Pieces that were put back.
    pub back: u64,
    /// Planned pieces that were not picked; others may have gone out instead of them.
    pub missed: u64,
    /// Of those that went out, the substitutes for another item, and the ones in addition to a plan.
    pub stood_in: u64,
}

impl LoggedDemand {
    /// Adds a movement of the item.
    fn add(&mut self, moved: &Movement) {
        // Neither a count nor what is left of a plate is demand.
        if matches!(moved.how, How::Counted | How::GoesBack(_)) {
            return;
        }
        let asked = i64::from(moved.asked);
        let count = |pieces: i64| u64::try_from(pieces).unwrap_or(0);
        self.out += count(moved.out);
        self.back += count(-moved.out);
        match moved.how {
            How::InsteadOf(_) | How::Unplanned => self.stood_in += count(moved.out),
            How::More => self.stood_in += count(moved.out - asked),
            How::Partly | How::CutFrom(_) => self.missed += count(asked - moved.out),
            _ => {}
        }
    }

    /// Pieces that plans asked for, met or not, less those that came back.
    pub fn wanted(&self) -> u64 {
        (self.out + self.missed).saturating_sub(self.stood_in + self.back)
    }
}

/// The issue log.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Log {
    entries: Vec<Entry>,
    known: BTreeMap<String, (String, u32)>,
}

impl Log {
    /// A log without lines.
    pub fn new() -> Log {
        Log::default()
    }

    /// The lines.
    pub fn entries(&self) -> &[Entry] {
        &self.entries
    }

    /// Chain of the last line, or the start of the chain.
    pub fn chain(&self) -> &str {
        self.entries.last().map_or(BEGINNING, |entry| entry.chain.as_str())
    }

    /// Adds the movements of one run.
    pub fn append(&mut self, date: &str, movements: Vec<Movement>) {
        let run = self.entries.last().map_or(0, |entry| entry.run) + 1;
        for movement in movements {
            let mut entry = Entry {
                number: self.entries.last().map_or(0, |entry| entry.number) + 1,
                date: date.to_string(),
                run,
                movement,
                chain: String::new(),
            };
            entry.chain = entry.chained(self.chain());
            self.follow(entry);
        }
    }

    /// Adds a line that was read, and returns its disagreements with those before it.
    pub fn follow(&mut self, entry: Entry) -> Vec<LogError> {
        let mut faults = Vec::new();
        let (number, run) = self.entries.last().map_or((0, 0), |last| (last.number, last.run));
        let next = number.saturating_add(1);
        if entry.number != next {
            faults.push(LogError::Number(next));
        } else if entry.chained(self.chain()) != entry.chain {
            // After a gap the chain cannot fit; the gap is reported.
            faults.push(LogError::Chain);
        }
        if entry.run < run {
            faults.push(LogError::Run);
        }
        let moved = &entry.movement;
        if let Some(OnHand { before, after }) = moved.on_hand {
            let known = self.known.get(&key(&moved.item));
            if let Some(&(_, known)) = known.filter(|(_, known)| *known != before) {
                faults.push(LogError::Before(known));
            }
            if i64::from(before) - moved.out != i64::from(after) {
                faults.push(LogError::After);
            }
            self.known.insert(key(&moved.item), (moved.item.clone(), after));
        }
        self.entries.push(entry);
        faults
    }

    /// Stock numbers in the log, with the count on hand after the last line of each.
    pub fn known(&self) -> impl Iterator<Item = (&str, u32)> {
        self.known.values().map(|(item, count)| (item.as_str(), *count))
    }

    /// Demand for an item from one date to another, both `YYYY-MM-DD` and both included.
    ///
    /// ```
    /// use gapwright::issue::log::{LoggedDemand, How, Log, Movement, OnHand};
    /// let mut log = Log::new();
    /// let movement = Movement {
    ///     plan: "3f0a".into(),
    ///     tag: "P-101".into(),
    ///     place: "Bearing shims".into(),
    ///     item: "SH-010".into(),
    ///     asked: 3,
    ///     out: 2,
    ///     how: How::Partly,
    ///     on_hand: Some(OnHand { before: 2, after: 0 }),
    ///     unit_cost: None,
    ///     note: String::new(),
    /// };
    /// log.append("2027-03-01", vec![movement]);
    /// let demand = log.demand("sh-010", "2027-01-01", "2027-03-31");
    /// assert_eq!(demand, LoggedDemand { out: 2, missed: 1, ..LoggedDemand::default() });
    /// assert_eq!(log.demand("SH-010", "2027-03-02", "2027-03-31"), LoggedDemand::default());
    /// ```
    pub fn demand(&self, item: &str, from: &str, to: &str) -> LoggedDemand {
        let item = key(item);
        let mut demand = LoggedDemand::default();
        for moved in self.within(from, to).map(|entry| &entry.movement) {
            if key(&moved.item) == item {
                demand.add(moved);
            }
        }
        demand
    }

    /// Demand for every item by date, in one pass: by stock number as it is compared, and date.
    pub fn demands(&self, to: &str) -> BTreeMap<String, BTreeMap<&str, LoggedDemand>> {
        let mut demands: BTreeMap<String, BTreeMap<&str, LoggedDemand>> = BTreeMap::new();
        let entries = self.entries.iter();
        for entry in entries.filter(|entry| entry.date.as_str() <= to) {
            let dates = demands.entry(key(&entry.movement.item)).or_default();
            let demand = dates.entry(entry.date.as_str()).or_default();
            demand.add(&entry.movement);
        }
        demands
    }

    /// Kits and consumables that plans could not serve, from one date to another: unmet demand without a known item.
    /// A pump that was short in two plans appears twice.
    pub fn short<'a>(&'a self, from: &'a str, to: &'a str) -> impl Iterator<Item = &'a Entry> {
        self.within(from, to).filter(|entry| entry.movement.how == How::Short)
    }

    fn within<'a>(&'a self, from: &'a str, to: &'a str) -> impl Iterator<Item = &'a Entry> {
        let inside = move |entry: &&Entry| (from..=to).contains(&entry.date.as_str());
        self.entries.iter().filter(inside)
    }
}
