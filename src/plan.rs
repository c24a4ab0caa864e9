//! The plan: which pieces go where, what that comes to, and how far it is proven.

use crate::cutting::Layout;
use crate::decimal::Money;
use crate::job::{Job, JobError, Part, PartError, count, there};
use crate::length::{Length, Tolerance};

/// What was chosen for one outage.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// One entry a pump, in the job's order.
    pub kits: Vec<Kit>,
    /// The goals in their order, each with its bound.
    pub goals: Vec<Goal>,
    /// How each sheet that is cut is cut up.
    pub layouts: Vec<Layout>,
    /// What one more piece of an item would have been worth, for each item of which that was
    /// worked out.
    pub worth: Vec<Worth>,
    /// Why the search ended before everything was proven, if it did.
    pub stopped_by: Option<Stop>,
    /// What the time did not suffice for after the goals.
    pub left_out: LeftOut,
}

/// What a plan goes without: none of it makes the plan worse.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct LeftOut {
    /// What kept it open which of equal plans comes first, so that another run may find another one.
    pub order: Option<Stop>,
    /// What kept the worth of one more from being worked out, of those items that have none.
    pub worth: Option<Stop>,
}

impl Plan {
    /// Whether every goal is proven.
    pub fn proven(&self) -> bool {
        self.goals.iter().all(Goal::proven)
    }

    /// Whether serving and waste are proven, which is what the worth of one more is about.
    pub fn waste_proven(&self) -> bool {
        let mut counted = self.goals.iter().filter(|goal| {
            let aim = goal.aim;
            matches!(aim, Aim::ServedWeight | Aim::ServedOf(_) | Aim::Waste)
        });
        counted.all(Goal::proven)
    }

    /// The plan's standing on one goal.
    pub fn goal(&self, aim: Aim) -> Option<&Goal> {
        self.goals.iter().find(|goal| goal.aim == aim)
    }

    /// Pumps that are served.
    pub fn served(&self) -> usize {
        self.kits.iter().filter(|kit| matches!(kit, Kit::Served(_))).count()
    }

    /// Pieces of each item in the packs, by the job's stock; what goes into the bags beside them is
    /// counted by [`crate::verify::Verified::issued`].
    pub fn issued(&self, job: &Job) -> Vec<u32> {
        let mut issued = vec![0; job.stock.len()];
        for kit in &self.kits {
            if let Kit::Served(packs) = kit {
                for pick in packs.iter().flat_map(|pack| &pack.picks) {
                    issued[pick.item] += pick.count;
                }
            }
        }
        issued
    }
}

impl Plan {
    /// How many sheets of each lot are cut up, by the job's sheets.
    pub fn sheets_cut(&self, job: &Job) -> Vec<u32> {
        let mut cut = vec![0; job.sheets.len()];
        for layout in &self.layouts {
            cut[layout.sheet] += 1;
        }
        cut
    }

    /// Whether the plan is one of this job: every index in it is of something that the job has.
    /// [`verify`](crate::verify::verify) asks first; all else that takes a job and a plan relies on it.
    ///
    /// # Errors
    /// [`JobError`]: the first pump, item or sheet that the job does not have, or a pump with more
    /// or fewer packs than its model.
    pub fn check(&self, job: &Job) -> Result<(), JobError> {
        let of_plan = |error| JobError { part: Part::Plan, error };
        count("kits", self.kits.len(), job.pumps.len()).map_err(of_plan)?;
        for (pump, kit) in job.pumps.iter().zip(&self.kits) {
            let places = job.model_of(pump).packs.len();
            check_kit(kit, places, job)
                .map_err(|error| JobError { part: Part::Pump(pump.tag.clone()), error })?;
        }
        let item = |index: usize| there("item", index, job.stock.len());
        let sheets = self.layouts.iter().try_for_each(|layout| {
            there("sheets", layout.sheet, job.sheets.len())?;
            there("side", layout.along, 2)?;
            layout.strips.iter().try_for_each(|strip| item(strip.0))
        });
        let worth = || self.worth.iter().try_for_each(|worth| item(worth.item));
        sheets.and_then(|()| worth()).map_err(of_plan)
    }
}

fn check_kit(kit: &Kit, places: usize, job: &Job) -> Result<(), PartError> {
    let item = |index: usize| there("item", index, job.stock.len());
    match kit {
        Kit::Served(packs) => {
            count("packs", packs.len(), places)?;
            packs.iter().flat_map(|pack| &pack.picks).try_for_each(|pick| item(pick.item))
        }
        Kit::Short(shorts) => shorts.iter().try_for_each(|short| {
            short.pack.map_or(Ok(()), |pack| there("place", pack, places))?;
            let mut over = short.window.iter().flat_map(|window| &window.over);
            over.try_for_each(|over| there("place", over.0, places))
        }),
    }
}

/// What one pump gets.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Kit {
    /// Pieces for every pack of the model, in the model's order.
    Served(Vec<PackPick>),
    /// Nothing, and why.
    Short(Vec<Shortfall>),
}

/// The pieces for one place.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PackPick {
    /// Lots and counts, thickest first.
    pub picks: Vec<Pick>,
}

/// Some pieces of one lot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Pick {
    /// The item's index in the job's stock.
    pub item: usize,
    /// How many.
    pub count: u32,
    /// Layers peeled off each, where the lot is laminated.
    pub peeled: u32,
}

/// Why a pump could not be kitted: one entry a failing place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shortfall {
    /// The failing pack's index in the model; `None` when no single place is to blame.
    pub pack: Option<usize>,
    /// What is the matter.
    pub cause: Cause,
    /// The reachable total of that pack nearest to what is wanted, if any is reachable.
    pub nearest: Option<Length>,
    /// The totals that would do.
    pub window: Option<Window>,
}

impl Shortfall {
    /// A shortfall of which nothing more is known.
    pub fn of(pack: Option<usize>, cause: Cause) -> Shortfall {
        Shortfall { pack, cause, nearest: None, window: None }
    }
}

/// The totals of one pack that would do, and what that presumes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Window {
    /// The least total.
    pub least: Length,
    /// The greatest total.
    pub most: Length,
    /// The tolerance of the whole pack that was counted with: that of the best pieces there are.
    pub tolerance: Tolerance,
    /// The packs that were presumed below it: index and total.
    pub over: Vec<(usize, Length)>,
}

/// What one more piece on hand of an item would change, exactly.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Worth {
    /// The item's index in the stock.
    pub item: usize,
    /// By how much the served weight would rise.
    pub served_weight: i64,
    /// By how much the waste would change: less than nothing is a saving, and more can be the
    /// price of serving more.
    pub waste: Money,
}

/// What keeps a pump from being kitted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cause {
    /// No piece of the right kind and fit is on hand.
    NoPiece,
    /// There are pieces, but all of them are reserved.
    AllReserved,
    /// The limits are narrower than the tolerances of the measurements and pieces allow.
    LimitsTooNarrow,
    /// The nominal values could be brought within the limits, but never clear of them by the
    /// expanded uncertainty.
    UncertaintyTooWide,
    /// The measured dimensions already rule it out: the pack would have to be thinner than nothing.
    OutOfReach,
    /// What is wanted lies between (or beyond) the totals that the pieces can make.
    BetweenTotals,
    /// Each place could be filled by itself, but together they ask for more than there is.
    TogetherTooMany,
    /// There are too many ways to fill the places to look for the nearest.
    TooManyWays,
    /// The pieces that would do are left, but the search ended before it came to them.
    SearchEnded,
    /// The time ended before it was found out.
    NotFoundOut,
    /// The pieces that would do went to other pumps.
    StockGone {
        /// What is lacking for the nearest kit.
        lacking: Vec<Pick>,
        /// The tags that hold such pieces, the first priority first.
        held_by: Vec<String>,
    },
}

/// The goals, in their order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Aim {
    /// Served weight over all priorities.
    ServedWeight,
    /// Pumps served of one priority, where whole numbers cannot carry the weights.
    ServedOf(u32),
    /// What the packs cost that are bought, in millionths of the currency.
    Purchase,
    /// Waste, in millionths of the currency.
    Waste,
    /// Pieces issued.
    Pieces,
    /// Scarcity points.
    Scarcity,
}

impl Aim {
    /// What people call it.
    pub fn label(self) -> String {
        match self {
            Aim::ServedWeight => "served weight".into(),
            Aim::ServedOf(priority) => format!("served of priority {priority}"),
            Aim::Purchase => "purchase cost".into(),
            Aim::Waste => "waste".into(),
            Aim::Pieces => "pieces".into(),
            Aim::Scarcity => "scarcity points".into(),
        }
    }
}

/// The plan's value on one goal, and what no plan can beat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Goal {
    /// Which goal.
    pub aim: Aim,
    /// The plan's value.
    pub value: i64,
    /// No plan that is as good on the earlier goals does better than this.
    pub bound: i64,
}

impl Goal {
    /// Whether value and bound meet.
    pub fn proven(&self) -> bool {
        self.value == self.bound
    }
}

/// What ended the search early.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stop {
    /// The time limit of the policy.
    TimeLimit,
    /// The user's interrupt.
    Interrupt,
}

impl Stop {
    /// In words, as Basis says it.
    pub fn words(self) -> &'static str {
        match self {
            Stop::TimeLimit => "time limit",
            Stop::Interrupt => "interrupt",
        }
    }
}
