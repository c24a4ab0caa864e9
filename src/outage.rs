//! A running outage: a ledger of bookings, and the state of every pump and item that follows from it.
//!
//! [`Outage::book`] turns a [`Booking`] into a [`LedgerEntry`], or says why it cannot be booked; [`Outage::follow`] adds
//! the entry. Nothing else changes an outage, so whoever reads the ledger again comes to the same state. No file, no
//! clock and no database is known here.
//!
//! | state | meaning | next plan |
//! |---|---|---|
//! | not measured | a reading is missing | none |
//! | planned | it has a kit; the pieces lie in their bins | may change the kit |
//! | bagged | the pieces are in the bag | leaves it, or reopens it where that serves more |
//! | issued | the bag is at the bench | leaves it |
//! | rejected | at the bench, readings do not conform | leaves it |
//! | accepted | readings conform, signed off | leaves it |
//! | short | no kit | tries again |
//! | cancelled | withdrawn; its bag is asked back | leaves it |
//!
//! Stock of an item: counts taken over, plus received, less scrapped, less the pieces in bags and out, plus those put
//! back, plus or less the differences that counting found.
//!
//! # Example
//!
//! ```
//! use gapwright::outage::{Booking, BookingRefusal, Circumstances, ItemCount, Outage, TookOver};
//! fn book(outage: &mut Outage, booking: Booking) -> Result<u32, BookingRefusal> {
//!     let entry = outage.book(Circumstances::default(), booking)?;
//!     Ok(outage.follow(entry).expect("what was booked a moment ago follows"))
//! }
//! let mut outage = Outage::default();
//! let counts = vec![ItemCount { item: "SH-010".into(), count: 4 }];
//! book(&mut outage, Booking::TookOver(TookOver { counts, ..TookOver::default() }))?;
//! book(&mut outage, Booking::Receive { item: "sh-010".into(), count: 6 })?;
//! assert_eq!(outage.stock_of("SH-010").unwrap().pieces, 10);
//!
//! let refused = book(&mut outage, Booking::Scrap { item: "SH-010".into(), count: 11, from: None });
//! assert_eq!(refused.unwrap_err().found, "11 of SH-010 to be taken");
//! # Ok::<(), BookingRefusal>(())
//! ```

mod booking;
mod entry;
mod place;
mod pump;
mod rules;
mod usage;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use crate::issue::{key, tidy};
use crate::narrow::narrow;
use crate::problem::{Place, Problem};
use rules::effect;

pub use booking::{
    Booking, CutLot, FileRole, Finding, Holding, ItemCount, KitPiece, PlanBooking, PlannedKit,
    PlateCut, TagNote, TakenFile, TookOver,
};
pub use entry::{BEGINNING, Circumstances, Head, LedgerEntry, LedgerFault, StockMove};
pub use place::PlaceInOutage;
pub use pump::{BenchReading, MeasuredDimension, NumberedKit, OutagePump, PumpState};

/// Reason why a booking is refused, and the fix.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BookingRefusal {
    /// Text asked for.
    pub found: String,
    /// Text expected instead.
    pub expected: String,
    /// Fix.
    pub fix: String,
}

impl BookingRefusal {
    fn new(
        found: impl Into<String>,
        expected: impl Into<String>,
        fix: impl Into<String>,
    ) -> BookingRefusal {
        BookingRefusal { found: found.into(), expected: expected.into(), fix: fix.into() }
    }

    /// Refusal of a request number that stands for another booking.
    pub(crate) fn of_request(entry: &LedgerEntry) -> BookingRefusal {
        BookingRefusal::new(
            format!("a request number that entry {} ({}) has", entry.number, entry.booking.word()),
            "a number of its own for each request",
            "leave --request out, or give another number; on the page, open the form again",
        )
    }

    /// Refusal of what was decided before this entry was booked.
    pub(crate) fn of_moved(entry: &LedgerEntry) -> BookingRefusal {
        BookingRefusal::new(
            format!("entry {} ({}), booked meanwhile", entry.number, entry.booking.word()),
            "the ledger as it was looked at",
            "look at it again, then book what still holds",
        )
    }

    /// The refusal as a problem of a file.
    pub fn problem(&self, place: Place) -> Problem {
        Problem::new(place, self.found.as_str(), self.expected.as_str(), self.fix.as_str())
    }
}

/// Stock of an item.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ItemStock {
    /// Stock number.
    pub item: String,
    /// Pieces in the bin, by the ledger.
    pub pieces: i64,
    /// On hand of the workbook that was last taken over; `None` where it had no row.
    pub taken: Option<u32>,
}

/// An item whose count in a workbook is neither that taken over nor that of the ledger.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CountDifference {
    /// Stock number.
    pub item: String,
    /// On hand of the workbook; `None` where it has no row.
    pub workbook: Option<u32>,
    /// On hand when it was taken over.
    pub taken: Option<u32>,
    /// Stock by the ledger.
    pub ledger: i64,
}

/// The last plan of an outage.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LastPlan {
    /// Number of its entry.
    pub entry: u32,
    /// Number of the plan in the outage, from 1.
    pub number: u32,
    /// Code of its contents.
    pub code: String,
}

/// A pump as it was before an entry; `None` where it was not there.
type Before = (String, Option<Arc<OutagePump>>);

/// An outage as its entries have left it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Outage {
    entries: Vec<LedgerEntry>,
    pumps: BTreeMap<String, Arc<OutagePump>>,
    stock: BTreeMap<String, ItemStock>,
    taken: Option<u32>,
    plan: Option<LastPlan>,
    kits: u32,
    undone: BTreeSet<u32>,
    /// Pumps before each entry that changed some.
    before: BTreeMap<u32, Vec<Before>>,
    /// Entries that changed a pump and are not undone, by its key.
    of_pump: BTreeMap<String, Vec<u32>>,
    /// Entries that counted an item and are not undone, by its key.
    counted: BTreeMap<String, Vec<u32>>,
    /// Entries that cut plates and opened packs of the last plan, by the key of the item.
    shared: BTreeMap<String, u32>,
}

impl Outage {
    /// Entry of a booking; it changes nothing before [`Outage::follow`].
    ///
    /// # Errors
    /// [`BookingRefusal`]: the reason why it cannot be booked, with the fix.
    pub fn book(
        &self,
        facts: Circumstances,
        booking: Booking,
    ) -> Result<LedgerEntry, BookingRefusal> {
        let facts = Circumstances { who: tidy(&facts.who), why: tidy(&facts.why), ..facts };
        let moves = effect(self, &booking)?.moves;
        let prev = self.head().hash;
        let number = self.next();
        let mut entry = LedgerEntry { number, facts, booking, moves, prev, hash: String::new() };
        entry.hash = entry.hashed();
        Ok(entry)
    }

    /// Adds an entry and returns its number, if it follows from those before it: number, hash, rules and stock.
    ///
    /// # Errors
    /// [`LedgerFault`]: the first fault; the outage is as before.
    pub fn follow(&mut self, entry: LedgerEntry) -> Result<u32, LedgerFault> {
        let number = entry.number;
        if number != self.next() {
            return Err(LedgerFault::Number { expected: self.next(), found: number });
        }
        if entry.prev != self.head().hash || entry.hash != entry.hashed() {
            return Err(LedgerFault::Changed(number));
        }
        let effect = effect(self, &entry.booking)
            .map_err(|refused| LedgerFault::Impossible { number, why: refused.found })?;
        if effect.moves != entry.moves {
            return Err(LedgerFault::Moves(number));
        }
        self.apply(&entry, effect);
        self.entries.push(entry);
        Ok(number)
    }

    /// The outage with a booking more, to see what it would do.
    ///
    /// # Errors
    /// [`BookingRefusal`]: the reason why it cannot be booked, with the fix.
    pub fn with(&self, booking: Booking) -> Result<Outage, BookingRefusal> {
        let entry = self.book(Circumstances::default(), booking)?;
        let mut after = self.clone();
        // What was booked a moment ago follows.
        after.follow(entry).ok();
        Ok(after)
    }

    /// Workbooks and a plan as they are to be entered: without what is there already.
    pub fn news(&self, taken: TookOver, plan: Option<PlanBooking>) -> Vec<Booking> {
        let known = self.taken().is_some_and(|last| last.is_same(&taken));
        let files = (taken.holds.is_some() || !known).then_some(Booking::TookOver(taken));
        let plan = plan.filter(|plan| !self.stands(plan)).map(Booking::Plan);
        files.into_iter().chain(plan).collect()
    }

    /// Whether a plan is the last one, and nothing that it says has changed since.
    fn stands(&self, plan: &PlanBooking) -> bool {
        let same = self.plan.as_ref().is_some_and(|last| last.code == plan.code);
        let after = || self.with(Booking::Plan(plan.clone()));
        same && after().is_ok_and(|after| after.pumps().eq(self.pumps()))
    }

    fn apply(&mut self, entry: &LedgerEntry, effect: rules::Effect) {
        let number = entry.number;
        if let Booking::TookOver(taken) = &entry.booking {
            self.take_over(taken, number);
        }
        for moved in &effect.moves {
            let item = key(&moved.item);
            if let Some(lot) = self.stock.get_mut(&item) {
                lot.pieces += moved.pieces;
            }
            if matches!(entry.booking, Booking::TookOver(_)) {
                self.counted.entry(item).or_default().push(number);
            }
        }
        match &entry.booking {
            Booking::Count { item, .. } => {
                self.counted.entry(key(item)).or_default().push(number);
            }
            Booking::Plan(plan) => {
                let before = self.plan.as_ref().map_or(0, |plan| plan.number);
                self.plan =
                    Some(LastPlan { entry: number, number: before + 1, code: plan.code.clone() });
                self.shared.clear();
                for lot in plan.cuts.iter().flat_map(|cut| &cut.lots) {
                    let fresh = || ItemStock { item: lot.item.clone(), pieces: 0, taken: None };
                    self.stock.entry(key(&lot.item)).or_insert_with(fresh);
                }
            }
            Booking::Cut { plate: item } | Booking::Opened { item } => {
                self.shared.insert(key(item), number);
            }
            _ => {}
        }
        self.kits += effect.kits;
        if let Booking::Undo { entry } = entry.booking {
            self.undone.insert(entry);
            self.shared.retain(|_, of| *of != entry);
            self.counted.values_mut().for_each(|counts| counts.retain(|&of| of != entry));
            for (key, pump) in effect.pumps {
                self.of_pump.entry(key.clone()).or_default().retain(|&of| of != entry);
                self.put(key, pump);
            }
            return;
        }
        let mut before = Vec::new();
        for (key, pump) in effect.pumps {
            self.of_pump.entry(key.clone()).or_default().push(number);
            let was = self.put(key.clone(), pump);
            before.push((key, was));
        }
        // A plan is not undone, and the states before it are not kept.
        if !before.is_empty() && entry.booking.tag().is_some() {
            self.before.insert(number, before);
        }
    }

    fn put(&mut self, key: String, pump: Option<Arc<OutagePump>>) -> Option<Arc<OutagePump>> {
        match pump {
            Some(pump) => self.pumps.insert(key, pump),
            None => self.pumps.remove(&key),
        }
    }

    fn take_over(&mut self, taken: &TookOver, number: u32) {
        self.taken = Some(number);
        self.stock.values_mut().for_each(|lot| lot.taken = None);
        for count in &taken.counts {
            let fresh = || ItemStock { item: count.item.clone(), pieces: 0, taken: None };
            self.stock.entry(key(&count.item)).or_insert_with(fresh).taken = Some(count.count);
        }
    }

    /// The outage as it was after an entry.
    #[must_use]
    pub fn as_of(&self, number: u32) -> Outage {
        let mut past = Outage::default();
        for entry in self.entries.iter().take_while(|entry| entry.number <= number) {
            // Each followed from those before it once.
            let Ok(effect) = effect(&past, &entry.booking) else { break };
            past.apply(entry, effect);
            past.entries.push(entry.clone());
        }
        past
    }

    /// The outage as its plan before the last one left it, or before any plan.
    #[must_use]
    pub fn before_last_plan(&self) -> Outage {
        self.as_of(self.plans_backwards().nth(1).unwrap_or(0))
    }

    /// The outage just before the last plan with this code was entered; `None` where there is none.
    pub fn before_plan(&self, code: &str) -> Option<Outage> {
        let entered = self.entries.iter().rev().find(|entry| match &entry.booking {
            Booking::Plan(plan) => plan.code == code,
            _ => false,
        });
        entered.map(|entry| self.as_of(entry.number - 1))
    }

    /// Numbers of the entries of plans, the last one first.
    fn plans_backwards(&self) -> impl Iterator<Item = u32> {
        let plans = self.entries.iter().filter(|entry| matches!(entry.booking, Booking::Plan(_)));
        plans.rev().map(|entry| entry.number)
    }

    /// Files behind the last two plans.
    pub fn files_of_last_plans(&self) -> impl Iterator<Item = &TakenFile> {
        let taken = |plan: u32| {
            let before = self.entries.iter().rev().skip_while(move |entry| entry.number >= plan);
            before.into_iter().find_map(|entry| match &entry.booking {
                Booking::TookOver(taken) => Some(taken),
                _ => None,
            })
        };
        self.plans_backwards().take(2).filter_map(taken).flat_map(|taken| &taken.files)
    }

    /// Number of the next entry.
    fn next(&self) -> u32 {
        narrow::<u32>(self.entries.len()).saturating_add(1)
    }

    /// The entries.
    pub fn entries(&self) -> &[LedgerEntry] {
        &self.entries
    }

    /// Entry of a number.
    pub fn entry(&self, number: u32) -> Option<&LedgerEntry> {
        let at = usize::try_from(number.checked_sub(1)?).ok()?;
        self.entries.get(at)
    }

    /// End of the ledger.
    pub fn head(&self) -> Head {
        let last = self.entries.last();
        let hash = last.map_or(BEGINNING, |entry| entry.hash.as_str());
        Head { number: last.map_or(0, |entry| entry.number), hash: hash.to_string() }
    }

    /// Checks that the ledger goes through an end that was noted earlier.
    ///
    /// # Errors
    /// [`LedgerFault::End`] where it does not.
    pub fn goes_through(&self, head: &Head) -> Result<(), LedgerFault> {
        let own = match head.number {
            0 => Some(BEGINNING),
            number => self.entry(number).map(|entry| entry.hash.as_str()),
        };
        match own.is_some_and(|hash| !head.hash.is_empty() && hash.starts_with(&head.hash)) {
            true => Ok(()),
            false => Err(LedgerFault::End { end: self.head().number, head: head.clone() }),
        }
    }

    /// Whether an entry was undone.
    pub fn is_undone(&self, number: u32) -> bool {
        self.undone.contains(&number)
    }

    /// Pumps of the outage, by tag.
    pub fn pumps(&self) -> impl Iterator<Item = &OutagePump> {
        self.pumps.values().map(Arc::as_ref)
    }

    /// Pump of a tag, in any case.
    pub fn pump(&self, tag: &str) -> Option<&OutagePump> {
        self.pumps.get(&key(tag)).map(Arc::as_ref)
    }

    /// Stock of every item, by stock number.
    pub fn stock(&self) -> impl Iterator<Item = &ItemStock> {
        self.stock.values()
    }

    /// Stock of an item.
    pub fn stock_of(&self, item: &str) -> Option<&ItemStock> {
        self.stock.get(&key(item))
    }

    /// Pieces of each item in bags and pumps, by the key of the item.
    pub fn pieces_out(&self) -> BTreeMap<String, u64> {
        let mut sums = BTreeMap::new();
        for piece in self.pumps().flat_map(|pump| &pump.bag) {
            *sums.entry(key(&piece.item)).or_default() += u64::from(piece.count);
        }
        sums
    }

    /// Files and counts that were last taken over.
    pub fn taken(&self) -> Option<&TookOver> {
        match &self.entry(self.taken?)?.booking {
            Booking::TookOver(taken) => Some(taken),
            _ => None,
        }
    }

    /// The last plan.
    pub fn last_plan(&self) -> Option<&LastPlan> {
        self.plan.as_ref()
    }

    /// Pieces that the last plan leaves and holds back for pumps that are not measured, in sentences.
    pub fn left_for_not_measured(&self) -> &[String] {
        self.plan_booking().map_or(&[], |plan| &plan.left)
    }

    /// Contents of the last plan.
    fn plan_booking(&self) -> Option<&PlanBooking> {
        match &self.entry(self.plan.as_ref()?.entry)?.booking {
            Booking::Plan(plan) => Some(plan),
            _ => None,
        }
    }

    /// Lots that plates give by the plans so far, the last plan first.
    pub fn cut_lots(&self) -> impl Iterator<Item = &CutLot> {
        let plans = self.entries.iter().rev().filter_map(|entry| match &entry.booking {
            Booking::Plan(plan) => Some(plan),
            _ => None,
        });
        plans.flat_map(|plan| &plan.cuts).flat_map(|cut| &cut.lots)
    }

    /// Number of kits that have a number.
    fn kits(&self) -> u32 {
        self.kits
    }

    /// Items whose count in a workbook is neither that taken over nor that of the ledger.
    pub fn differences(&self, counts: &[ItemCount]) -> Vec<CountDifference> {
        let workbook: BTreeMap<String, u32> =
            counts.iter().map(|count| (key(&count.item), count.count)).collect();
        let lots = self.stock.iter().map(|(key, lot)| (workbook.get(key).copied(), lot));
        let differs = lots.filter(|(workbook, lot)| {
            *workbook != lot.taken && i64::from(workbook.unwrap_or(0)) != lot.pieces
        });
        differs
            .map(|(workbook, lot)| CountDifference {
                item: lot.item.clone(),
                workbook,
                taken: lot.taken,
                ledger: lot.pieces,
            })
            .collect()
    }

    /// Last entry, not undone, that changed a pump.
    fn last_of(&self, tag: &str) -> Option<u32> {
        self.of_pump.get(&key(tag))?.last().copied()
    }

    /// Pumps as they were before an entry.
    fn before(&self, number: u32) -> impl Iterator<Item = &Before> {
        self.before.get(&number).into_iter().flatten()
    }

    /// Entry after this one that counted an item which this one moved.
    fn later_counts(&self, number: u32, moves: &[StockMove]) -> Option<u32> {
        let counts = moves.iter().filter_map(|moved| self.counted.get(&key(&moved.item))?.last());
        counts.copied().find(|&later| later > number)
    }
}
