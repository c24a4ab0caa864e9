//! What does not hold when something is worked out again.

use std::fmt;

use thiserror::Error;

use crate::decimal::Money;
use crate::job::JobError;
use crate::plan::Aim;

/// Something that does not hold of a plan, a purchase, a provision or a record. It is a defect of
/// this program, and nothing with one is ever written.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum Breach {
    /// A plan of another job.
    #[error(transparent)]
    NotOfTheJob(#[from] JobError),
    /// Not as many bags or records as pumps.
    #[error("{found} {of} for {pumps} pumps")]
    Count {
        /// How many there are.
        found: usize,
        /// What is counted.
        of: &'static str,
        /// The pumps.
        pumps: usize,
    },
    /// Not as many packs as a pump has places.
    #[error("pump {pump}: {found} packs for {places} places")]
    Packs {
        /// The pump's tag.
        pump: String,
        /// Packs.
        found: usize,
        /// Places.
        places: usize,
    },
    /// Not as many shares of consumables as a pump needs.
    #[error("pump {pump}: {found} shares for {needs} consumables")]
    Shares {
        /// The pump's tag.
        pump: String,
        /// Shares.
        found: usize,
        /// Consumables.
        needs: usize,
    },
    /// An item that the stock does not have, by its number there.
    #[error("item number {0} is not in the stock")]
    NoItem(usize),
    /// More issued of an item than there is.
    #[error("{count} of item {item} issued, more than there are")]
    Overdrawn {
        /// The item.
        item: String,
        /// Pieces issued.
        count: i64,
    },
    /// More given out of an item, for packs and bags together, than there is.
    #[error("{more} of item {item} given out beyond what there is")]
    GivenOut {
        /// The item.
        item: String,
        /// Pieces too many.
        more: i64,
    },
    /// More sheets cut up than there are.
    #[error("{count} sheets {sheet} cut, more than there are")]
    SheetsOverdrawn {
        /// The lot of sheets.
        sheet: String,
        /// Sheets cut up.
        count: i64,
    },
    /// A strip of a sheet for a piece that does not come from it.
    #[error("a strip of sheet {0} for nothing cut from it")]
    Strip(String),
    /// More strips side by side than a sheet is wide.
    #[error("the strips of a sheet {0} are wider than it")]
    Wide(String),
    /// Fewer pieces cut than issued.
    #[error("{count} of {item} issued, but fewer are cut")]
    NotCut {
        /// The item.
        item: String,
        /// Pieces issued.
        count: i64,
    },
    /// A pump that gets nothing, without a word why.
    #[error("pump {0} is short for no reason")]
    NoReason(String),
    /// A goal whose value is another one when it is counted again.
    #[error("{} is {recounted}, the plan says {said}", aim.label())]
    Value {
        /// The goal.
        aim: Aim,
        /// Its value, counted again.
        recounted: i128,
        /// Its value as the plan has it.
        said: i64,
    },
    /// A goal better than its own bound.
    #[error("{} is beyond its own bound", .0.label())]
    Bound(Aim),
    /// Other goals, or in another order.
    #[error("the goals are not those that a plan is made for")]
    Goals,
    /// A search that ended by itself without a proof.
    #[error("a goal is not proven and nothing ended the search")]
    NoEnd,
    /// Pieces that a place, or a consumable, may not have.
    #[error("pump {pump}, {place}: {fault}")]
    Place {
        /// The pump's tag.
        pump: String,
        /// The place's label, or the kind of the consumable.
        place: String,
        /// What is wrong with them.
        fault: PlaceBreach,
    },
    /// A requirement that the pieces do not meet.
    #[error("pump {pump}: {requirement} is not met")]
    NotMet {
        /// The pump's tag.
        pump: String,
        /// The requirement's label.
        requirement: String,
    },
    /// Not as many safe kits as pumps.
    #[error("not one safe kit a pump")]
    SafeKits,
    /// Pieces set aside that are not there, do not do or cost something else.
    #[error("{holder} {fault}")]
    SetAside {
        /// What holds them.
        holder: Holder,
        /// What is wrong with them.
        fault: SetAsideBreach,
    },
    /// A purchase that is made for another job.
    #[error("kits or packs do not match pumps and stock")]
    Unmatched,
    /// Something bought that nobody sells.
    #[error("item {0} is bought and not for sale")]
    NotForSale(String),
    /// More spent than may be.
    #[error("{cost} millionths spent of a budget of {budget}")]
    Budget {
        /// The cost, in millionths.
        cost: i128,
        /// The budget.
        budget: Money,
    },
    /// Pieces for pumps that cannot wait for them.
    #[error("{count} of item {item} for pumps that are due before it comes")]
    Late {
        /// The item.
        item: String,
        /// Pieces.
        count: u64,
    },
    /// A record of the bench that does not follow from its readings.
    #[error("pump {pump}: {fault}")]
    Record {
        /// The pump's tag.
        pump: String,
        /// What is wrong with it.
        fault: RecordBreach,
    },
    /// More of an item for swaps than is left.
    #[error("{count} of {item} for swaps, more than are left")]
    Swaps {
        /// The item.
        item: String,
        /// Pieces.
        count: i64,
    },
    /// More cut for swaps than is left of a lot of sheets.
    #[error("more cut from {0} for swaps than is left")]
    SwapsCut(String),
}

/// What is wrong with the pieces of a place, or with a share of a consumable.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum PlaceBreach {
    /// Too few or too many.
    #[error("{0} pieces")]
    Pieces(u32),
    /// An item of another kind or fit.
    #[error("item {0} does not belong there")]
    Misplaced(String),
    /// More layers peeled off than a piece has.
    #[error("item {0} cannot be peeled so far")]
    Peeled(String),
    /// What is given and what is missing do not make up what is needed.
    #[error("{given} given and {lacking} lacking of {asked}")]
    Given {
        /// Given.
        given: u32,
        /// Missing.
        lacking: u32,
        /// Needed.
        asked: u32,
    },
    /// Something is missing that was there.
    #[error("lacks some, but item {0} was to be had")]
    WasThere(String),
    /// A lot begun before another that goes before it.
    #[error("item {0} is out of turn")]
    OutOfTurn(String),
}

/// What holds pieces that are set aside.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Holder {
    /// The safe kit of a pump, by its tag.
    SafeKit(String),
    /// The trolley of all pumps.
    Trolley,
}

impl fmt::Display for Holder {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Holder::SafeKit(tag) => write!(f, "the safe kit of {tag}"),
            Holder::Trolley => f.write_str("the trolley"),
        }
    }
}

/// What is wrong with pieces that are set aside.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum SetAsideBreach {
    /// More is taken at some value than it holds.
    #[error("does not hold what it says to take")]
    NotHeld,
    /// It holds an item that the stock does not have.
    #[error("holds what is not in the stock")]
    NoItem,
    /// It holds none of an item that it names, or more than there is.
    #[error("holds {count} of {item}")]
    Holds {
        /// The item.
        item: String,
        /// Pieces.
        count: u32,
    },
    /// The same item twice, or out of order.
    #[error("names an item twice")]
    Twice,
    /// It costs something else than it says.
    #[error("costs {sum} millionths, not {said}")]
    Cost {
        /// The cost, counted again, in millionths.
        sum: i128,
        /// The cost as it is said, in millionths.
        said: i64,
    },
}

/// What is wrong with a record of the bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum RecordBreach {
    /// A decision on a pump that was not kitted.
    #[error("a decision without a kit")]
    NoKit,
    /// A pump that was kitted, and no decision.
    #[error("a kit, and no decision on it")]
    Undecided,
    /// Something is to be looked for, and every reading is as predicted.
    #[error("nothing to look for")]
    NothingToLookFor,
    /// A reading is beyond what was predicted, and nothing is to be looked for.
    #[error("a reading beyond what was predicted")]
    Beyond,
    /// A requirement is not met as found, and that is passed over.
    #[error("a requirement that is not met as found")]
    NotMet,
    /// Accepted against its readings, or without them.
    #[error("accepted, and should not be")]
    Accepted,
    /// A swap while the cause is still to be looked for.
    #[error("a swap before the cause was looked for")]
    SwapTooSoon,
    /// A swap with which a requirement is still not met.
    #[error("a swap that does not put it right")]
    SwapInVain,
}
