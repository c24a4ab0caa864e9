//! Breaches: differences found when a result is worked out again.

use std::fmt;

use thiserror::Error;

use crate::decimal::Money;
use crate::job::JobError;
use crate::plan::Objective;

/// Breach of a plan, a purchase, a provision or a record. It is a defect of this program, and no output with
/// one is ever written.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum Breach {
    /// Plan of another job.
    #[error(transparent)]
    NotOfTheJob(#[from] JobError),
    /// Number of bags or records that differs from the number of pumps.
    #[error("{found} {of} for {pumps} pumps")]
    Count {
        /// Number found.
        found: usize,
        /// Name of the things counted.
        of: &'static str,
        /// Number of pumps.
        pumps: usize,
    },
    /// Number of packs that differs from the number of a pump's places.
    #[error("pump {pump}: {found} packs for {places} places")]
    Packs {
        /// Tag of the pump.
        pump: String,
        /// Number of packs.
        found: usize,
        /// Number of places.
        places: usize,
    },
    /// Number of shares of consumables that differs from the number that a pump needs.
    #[error("pump {pump}: {found} shares for {needs} consumables")]
    Shares {
        /// Tag of the pump.
        pump: String,
        /// Number of shares.
        found: usize,
        /// Number of consumables.
        needs: usize,
    },
    /// Index of an item that the stock does not have.
    #[error("item number {0} is not in the stock")]
    NoItem(usize),
    /// More issued of an item than there is.
    #[error("{count} of item {item} issued, more than there are")]
    Overdrawn {
        /// Stock number of the item.
        item: String,
        /// Pieces issued.
        count: i64,
    },
    /// More of an item given out, for packs and bags together, than there is.
    #[error("{more} of item {item} given out beyond what there is")]
    GivenOut {
        /// Stock number of the item.
        item: String,
        /// Pieces too many.
        more: i64,
    },
    /// More sheets cut up than there are.
    #[error("{count} plates {sheet} cut, more than there are")]
    PlatesOverdrawn {
        /// Stock number of the lot of sheets.
        sheet: String,
        /// Sheets cut up.
        count: i64,
    },
    /// Strip of a sheet for a piece that does not come from it.
    #[error("a strip of plate {0} for nothing cut from it")]
    Strip(String),
    /// More strips side by side than a sheet is wide.
    #[error("the strips of a plate {0} are wider than it")]
    Wide(String),
    /// Fewer pieces cut than issued.
    #[error("{count} of {item} issued, but fewer are cut")]
    NotCut {
        /// Stock number of the item.
        item: String,
        /// Pieces issued.
        count: i64,
    },
    /// Count about plates that does not follow from the kits and layouts of a plan that was read.
    #[error("{item}, {step}: {said} in the plan, {made} by its kits and layouts")]
    Cut {
        /// Step of the plan, in words.
        step: String,
        /// Stock number.
        item: String,
        /// Pieces or plates worked out again.
        made: u64,
        /// Pieces or plates in the plan.
        said: u64,
    },
    /// Row of a lot that goes back to the stock, other than its layouts leave it.
    #[error("{0} goes back with another row than the layouts leave")]
    Returned(String),
    /// Pump without pieces and without a reason.
    #[error("pump {0} is short for no reason")]
    NoReason(String),
    /// Pump listed as not measured that has its readings, or waits for none.
    #[error("pump {0} is listed as not measured, and no reading of it is missing")]
    NotMeasured(String),
    /// Item of which a piece is held back twice, or that cannot be held back piece by piece.
    #[error("{0}: held back, though it cannot be")]
    HeldBack(String),
    /// Pump with a missing reading that the plan does not list.
    #[error("pump {0} is not measured, and the plan does not list it")]
    NotListed(String),
    /// Goal whose value differs when it is counted again.
    #[error("{} is {recounted}, the plan says {said}", aim.label())]
    Value {
        /// Goal.
        aim: Objective,
        /// Value counted again.
        recounted: i128,
        /// Value in the plan.
        said: i64,
    },
    /// Goal better than its own bound.
    #[error("{} is beyond its own bound", .0.label())]
    Bound(Objective),
    /// Other goals than those of a plan, or in another order.
    #[error("the goals are not those that a plan is made for")]
    Goals,
    /// Search without a proof and without a reason for its end.
    #[error("a goal is not proven and nothing ended the search")]
    NoEnd,
    /// Pieces that a place, or a consumable, must not have.
    #[error("pump {pump}, {place}: {fault}")]
    Place {
        /// Tag of the pump.
        pump: String,
        /// Label of the place, or kind of the consumable.
        place: String,
        /// Breach.
        fault: PlaceBreach,
    },
    /// Requirement that the pieces do not meet.
    #[error("pump {pump}: {requirement} is not met")]
    NotMet {
        /// Tag of the pump.
        pump: String,
        /// Label of the requirement.
        requirement: String,
    },
    /// Kit that is said to be not proven, and is proven or beyond a limit.
    #[error("pump {0}: a kit that is said to be not proven, and is not so")]
    NotProven(String),
    /// Number of safe kits that differs from the number of pumps.
    #[error("expected one safe kit per pump")]
    SafeKits,
    /// Pieces set aside that are not in stock, do not fit, or have another cost.
    #[error("{holder} {fault}")]
    SetAside {
        /// Holder of the pieces.
        holder: Holder,
        /// Breach.
        fault: SetAsideBreach,
    },
    /// Purchase for another job.
    #[error("kits or packs do not match pumps and stock")]
    Unmatched,
    /// Item bought that is not for sale.
    #[error("item {0} is bought and not for sale")]
    NotForSale(String),
    /// Cost above the budget.
    #[error("{cost} millionths spent of a budget of {budget}")]
    Budget {
        /// Cost, in millionths of the currency.
        cost: i128,
        /// Budget.
        budget: Money,
    },
    /// Pieces for pumps that cannot wait for them.
    #[error("{count} of item {item} for pumps that are due before it comes")]
    Late {
        /// Stock number of the item.
        item: String,
        /// Number of pieces.
        count: u64,
    },
    /// Record of the bench that does not follow from its readings.
    #[error("pump {pump}: {fault}")]
    Record {
        /// Tag of the pump.
        pump: String,
        /// Breach.
        fault: RecordBreach,
    },
    /// More of an item for swaps than is left.
    #[error("{count} of {item} for swaps, more than are left")]
    Swaps {
        /// Stock number of the item.
        item: String,
        /// Number of pieces.
        count: i64,
    },
    /// More cut for swaps than is left of a lot of sheets.
    #[error("more cut from {0} for swaps than is left")]
    SwapsCut(String),
}

/// Breach by the pieces of a place, or by a share of a consumable.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum PlaceBreach {
    /// Too few pieces or too many.
    #[error("{0} pieces")]
    Pieces(u32),
    /// Item of another kind or fit.
    #[error("item {0} does not belong there")]
    Misplaced(String),
    /// More layers peeled off than a piece has.
    #[error("item {0} cannot be peeled so far")]
    Peeled(String),
    /// Pieces given and missing that do not add up to those needed.
    #[error("{given} given and {lacking} missing of {asked}")]
    Given {
        /// Pieces given.
        given: u32,
        /// Pieces missing.
        lacking: u32,
        /// Pieces needed.
        asked: u32,
    },
    /// Piece reported missing that was in stock.
    #[error("is short of some, but item {0} is on hand")]
    WasThere(String),
    /// Lot begun before an earlier one is used up.
    #[error("item {0} is out of turn")]
    OutOfTurn(String),
}

/// Holder of pieces set aside.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Holder {
    /// Safe kit of a pump, by its tag.
    SafeKit(String),
    /// Trolley of all pumps.
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

/// Breach by pieces set aside.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum SetAsideBreach {
    /// More pieces taken at some value than held.
    #[error("does not hold what it says to take")]
    NotHeld,
    /// Item that the stock does not have.
    #[error("holds what is not in the stock")]
    NoItem,
    /// Number of pieces that is zero, or more than there are.
    #[error("holds {count} of {item}")]
    Holds {
        /// Stock number of the item.
        item: String,
        /// Number of pieces.
        count: u32,
    },
    /// Item twice, or out of order.
    #[error("names an item twice")]
    Twice,
    /// Cost that differs when it is counted again.
    #[error("costs {sum} millionths, not {said}")]
    Cost {
        /// Cost counted again, in millionths of the currency.
        sum: i128,
        /// Cost in the provision, in millionths of the currency.
        said: i64,
    },
}

/// Breach by a record of the bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum RecordBreach {
    /// Decision on a pump that was not kitted.
    #[error("a decision without a kit")]
    NoKit,
    /// Kitted pump without a decision.
    #[error("a kit, and no decision on it")]
    Undecided,
    /// Search for a cause, although every reading is as predicted.
    #[error("nothing to look for")]
    NothingToLookFor,
    /// Reading beyond the prediction, without a search for the cause.
    #[error("a reading beyond what was predicted")]
    Beyond,
    /// Requirement not met as found, and not acted on.
    #[error("a requirement that is not met as found")]
    NotMet,
    /// Accepted against its readings, or without them.
    #[error("accepted, and should not be")]
    Accepted,
    /// Swap while the cause is still to be found.
    #[error("a swap before the cause was looked for")]
    SwapTooSoon,
    /// Swap after which a requirement is still not met.
    #[error("a swap that does not put it right")]
    SwapInVain,
}
