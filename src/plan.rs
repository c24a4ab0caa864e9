//! Plan of an outage: pieces by pump and place, goals reached, and the bound on each goal.
//!
//! [`Plan`] is the result of [`choose`](crate::choose::choose) and the input of
//! [`verify`](crate::verify::verify).

use crate::certificate::Certificate;
use crate::cutting::Layout;
use crate::decimal::Money;
use crate::job::{Job, JobError, Part, PartError, count, there};
use crate::length::{Fine, Length, Tolerance};
use crate::policy::Acceptance;
pub use crate::stock::{PackPick, Pick};

/// Choice of pieces for one outage.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// Kits by pump, in the job's order.
    pub kits: Vec<Kit>,
    /// Goals in their order, each with its bound.
    pub goals: Vec<ObjectiveValue>,
    /// Layout of each sheet that is cut up.
    pub layouts: Vec<Layout>,
    /// Pieces that are held back, by their place among those of the job that are to be, ascending.
    pub held_back: Vec<usize>,
    /// Marginal value of one more piece, for the items for which it was computed.
    pub worth: Vec<MarginalValue>,
    /// Cost of holding bags; empty where it was not worked out.
    pub holding: Vec<HoldingCost>,
    /// Cures of short pumps, of the first as far as the work for it goes; empty where they were not worked out.
    pub cures: Vec<Cure>,
    /// Count of what it leaves for pumps that are not measured; `None` where nothing is known ahead of them.
    pub left: Option<Result<LeftCount, Uncounted>>,
    /// Reason that the search ended before everything was proven, if it did.
    pub stopped_by: Option<Stop>,
    /// Later steps that the time did not allow.
    pub left_out: LeftOut,
    /// Proof of the bounds; [`verify`](crate::verify::verify) adds it up. A plan that was read has none.
    pub certificate: Certificate,
}

/// Outages drawn at random in which the pumps that are not measured can be kitted from what a plan leaves.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftCount {
    /// Outages drawn.
    pub draws: u32,
    /// Seed of the draws.
    pub seed: u64,
    /// Outages in which all of them are kitted.
    pub kitted: u32,
    /// Outages that were not decided; they count as not kitted.
    pub undecided: u32,
    /// Outages in which all of them would be kitted if the plan took nothing.
    pub without_plan: u32,
    /// Outages in which the pieces held back alone are enough; `None` where none were to be.
    pub held_alone: Option<u32>,
    /// Pumps counted, by their place among those of the job that are not measured, each with the outages in which it is
    /// kitted.
    pub pumps: Vec<(usize, u32)>,
    /// Items that the plan takes, by their index in the stock, each with the outages in which all would be kitted if one
    /// more piece of it were on hand: those that would raise the count most, the first first.
    pub used_up: Vec<(usize, u32)>,
}

/// Reason that nothing was counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Uncounted {
    /// The search ended before all ways to kit them were listed.
    Stopped(Stop),
    /// The ways to kit them take too much memory.
    Memory,
    /// They can be kitted in too many ways.
    TooMany,
}

/// Best plan that reopens no more than these bags.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HoldingCost {
    /// Pumps whose bags it reopens, by their index in the job.
    pub pumps: Vec<usize>,
    /// Pumps served.
    pub served: u32,
    /// Waste.
    pub waste: Money,
    /// Whether no plan that reopens as few bags serves more, or as much with less waste.
    pub proven: bool,
}

/// Ways to cure a pump that is short. They are facts, each for somebody else to decide.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cure {
    /// The pump's index in the job.
    pub pump: usize,
    /// Its nearest kit out of the pieces that are left, if there is one within any reach.
    pub nearest: Option<Vec<PackPick>>,
    /// The least to buy, with the pieces left over beside it; `None` where nothing that has a price serves it.
    pub buy: Option<PiecesToBuy>,
    /// Pumps whose closed bags hold pieces that would serve it, by their index in the job.
    pub bags: Vec<usize>,
    /// Other acceptance rules that take its nearest kit.
    pub rules: Vec<Acceptance>,
    /// Limits that its nearest kit misses.
    pub moves: Vec<LimitMove>,
}

/// Pieces to buy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PiecesToBuy {
    /// Items by their index in the stock, and the number of pieces of each: whole packs.
    pub pieces: Vec<(usize, u32)>,
    /// Price of all.
    pub price: Money,
}

/// Limit that a kit misses.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LimitMove {
    /// The requirement's index in its pump.
    pub requirement: usize,
    /// Whether it is the upper limit.
    pub upper: bool,
    /// Distance by which the limit would have to move outwards, by the acceptance rule of the job.
    pub by: Fine,
}

/// Steps left out after the goals. They do not make the plan worse.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct LeftOut {
    /// Reason that the order among equal plans was not settled; another run may then give another of
    /// them.
    pub order: Option<Stop>,
    /// Reason that some marginal values were not computed.
    pub worth: Option<Stop>,
}

impl Plan {
    /// Whether every goal is proven.
    pub fn proven(&self) -> bool {
        self.goals.iter().all(ObjectiveValue::proven)
    }

    /// Most by which the waste may be above the least; `None` unless serving is proven.
    pub fn waste_gap(&self) -> Option<Money> {
        let mut served = self.goals.iter().filter(|goal| {
            matches!(goal.objective, Objective::ServedWeight | Objective::ServedOf(_))
        });
        let waste = self.goal(Objective::Waste)?;
        served.all(ObjectiveValue::proven).then(|| Money::from_raw(waste.value - waste.bound))
    }

    /// Value and bound of one goal.
    pub fn goal(&self, aim: Objective) -> Option<&ObjectiveValue> {
        self.goals.iter().find(|goal| goal.objective == aim)
    }

    /// Number of pumps served.
    pub fn served(&self) -> usize {
        self.kits.iter().filter(|kit| matches!(kit, Kit::Served(_))).count()
    }

    /// Whether a pump's bag from before the plan stays closed: its kit is the very pieces in it.
    pub fn leaves_closed(&self, job: &Job, pump: usize) -> bool {
        match (&self.kits[pump], job.standing_of(pump)) {
            (Kit::Served(packs), Some(standing)) => standing.keeps_bag(packs),
            _ => false,
        }
    }

    /// Pieces of each item that the packs take out of those on hand, by the job's stock. [`crate::verify::Verified::issued`] adds the
    /// pieces in the bags.
    pub fn issued(&self, job: &Job) -> Vec<u32> {
        let mut issued = vec![0; job.stock.len()];
        for (pump, kit) in self.kits.iter().enumerate() {
            if let Kit::Served(packs) = kit {
                job.takes(pump, packs).for_each(|pick| issued[pick.item] += pick.count);
            }
        }
        issued
    }
}

impl Plan {
    /// Pieces of each item that are held back, by the job's stock.
    pub fn held_back(&self, job: &Job) -> Vec<u32> {
        let mut held = vec![0; job.stock.len()];
        self.held_back.iter().for_each(|&of| held[job.hold_back[of].item] += 1);
        held
    }

    /// Job in which the pieces that the plan holds back are reserved, and none are to be held back.
    pub fn beside_held_back(&self, job: &Job) -> Job {
        let mut parts = job.clone().into_parts();
        for (lot, held) in parts.stock.iter_mut().zip(self.held_back(job)) {
            lot.reserved += held;
        }
        parts.hold_back.clear();
        Job { not_measured: job.not_measured.clone(), ..Job::of_checked(parts) }
    }

    /// Sheets of each lot that are cut up, by the job's sheets.
    pub fn plates_cut(&self, job: &Job) -> Vec<u32> {
        let mut cut = vec![0; job.plates.len()];
        for layout in &self.layouts {
            cut[layout.plate] += 1;
        }
        cut
    }

    /// Blanks of each cut item that the plates yield, by the job's stock.
    pub fn yields(&self, job: &Job) -> Vec<u32> {
        let outside = |item: usize| job.stock[item].cut.map_or(Length::ZERO, |cut| cut.outside);
        let mut yields = vec![0; job.stock.len()];
        for layout in &self.layouts {
            for (item, count) in layout.yields(&job.plates[layout.plate], outside) {
                yields[item] += count;
            }
        }
        yields
    }

    /// Blanks of each cut item that the plates yield and no kit takes, by the job's stock: they go back.
    pub fn put_back(&self, job: &Job) -> Vec<u32> {
        let pieces = self.yields(job).into_iter().zip(self.issued(job));
        pieces.map(|(cut, issued)| cut.saturating_sub(issued)).collect()
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
            there("plates", layout.plate, job.plates.len())?;
            there("side", layout.along, 2)?;
            layout.strips.iter().try_for_each(|strip| item(strip.0))
        });
        let pumps = self.holding.iter().flat_map(|holding| &holding.pumps);
        for &pump in pumps {
            there("pump", pump, job.pumps.len()).map_err(of_plan)?;
        }
        let held_back =
            || self.held_back.iter().try_for_each(|&of| there("piece", of, job.hold_back.len()));
        held_back().map_err(of_plan)?;
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
            if let Cause::NotProven { packs } = &short.cause {
                check_kit(&Kit::Served(packs.clone()), places, job)?;
            }
            let mut over = short.window.iter().flat_map(|window| &window.over);
            over.try_for_each(|over| there("place", over.0, places))
        }),
    }
}

/// Kit of one pump.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Kit {
    /// Pieces for every pack of the model, in the model's order.
    Served(Vec<PackPick>),
    /// No pieces, and the reasons.
    Short(Vec<Shortfall>),
}

/// Reason that a pump is not kitted; one entry per failing place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shortfall {
    /// Index of the failing pack in the model; `None` if no single place is the cause.
    pub pack: Option<usize>,
    /// Cause.
    pub cause: Cause,
    /// Reachable total of that pack nearest to the window, if any total is reachable.
    pub nearest: Option<Length>,
    /// Totals that would fit.
    pub window: Option<Window>,
}

impl Shortfall {
    /// Whether it tells why the pump has no kit, and not of a kit that is not proven.
    pub fn is_place(&self) -> bool {
        !matches!(self.cause, Cause::NotProven { .. })
    }

    /// Shortfall without further details.
    pub fn of(pack: Option<usize>, cause: Cause) -> Shortfall {
        Shortfall { pack, cause, nearest: None, window: None }
    }
}

/// Totals of one pack that would fit, and the assumptions behind them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Window {
    /// Least total; zero where no limit holds it.
    pub least: Length,
    /// Greatest total; `None` where no limit holds it.
    pub most: Option<Length>,
    /// Tolerance assumed for the whole pack: that of the most accurate pieces in stock.
    pub tolerance: Tolerance,
    /// Packs below it, as assumed: index and total.
    pub over: Vec<(usize, Length)>,
}

/// Marginal value of an item: the change that one more piece on hand would make.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MarginalValue {
    /// The item's index in the stock.
    pub item: usize,
    /// Change of the served weight; `None` where it rises and whole numbers cannot hold the weights.
    pub served_weight: Option<i64>,
    /// Change of the waste: negative is a saving; positive can be the price of serving more.
    pub waste: Money,
    /// The least that this change can be: less than `waste` where the work allowed to it did not settle it, or where the
    /// waste of the plan itself is not proven.
    pub waste_at_least: Money,
}

impl MarginalValue {
    /// Whether the change is known exactly.
    pub fn exact(&self) -> bool {
        self.waste == self.waste_at_least
    }
}

/// Cause that keeps a pump from being kitted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cause {
    /// No piece of the right kind and fit is on hand.
    NoPiece,
    /// All pieces that fit are reserved.
    AllReserved,
    /// The limits are narrower than the tolerances of the measurements and pieces allow.
    LimitsTooNarrow,
    /// The nominal values could lie within the limits, but not by the expanded uncertainty.
    UncertaintyTooWide,
    /// A kit of the pieces that are left has every nominal value within its limits, but not clear of them by the guard
    /// of the rule: NOT PROVEN. It comes after the cause that keeps the pump from being kitted.
    NotProven {
        /// Pieces of the kit, pack by pack.
        packs: Vec<PackPick>,
    },
    /// The measured dimensions rule it out: the pack would need a negative thickness.
    OutOfReach,
    /// The wanted total lies between (or beyond) the totals that the pieces can make.
    BetweenTotals,
    /// Each place can be filled by itself, but together they need more pieces than there are.
    TogetherTooMany,
    /// Too many ways to fill the places: the nearest total was not searched for.
    TooManyWays,
    /// Its kit is held, and does not conform to today's figures or cannot be made up.
    Held,
    /// Pieces that would fit are left, but the search ended early.
    SearchEnded,
    /// The time ended before the cause was found.
    NotFoundOut,
    /// Pieces that would fit went to other pumps.
    StockGone {
        /// Pieces missing for the nearest kit.
        lacking: Vec<Pick>,
        /// Tags of the pumps that hold such pieces, highest priority first.
        held_by: Vec<String>,
    },
}

/// Goals, in their order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Objective {
    /// Served weight over all priorities.
    ServedWeight,
    /// Pumps served of one priority, where integers cannot carry the weights.
    ServedOf(u32),
    /// Cost of the packs bought, in millionths of the currency.
    Purchase,
    /// Worth of the pieces held back; of jobs that ask for any.
    HeldBack,
    /// Bags opened again, of those that were packed before; of jobs that have any.
    Reopened,
    /// Waste, in millionths of the currency.
    Waste,
    /// Plates cut; of jobs that have plates.
    Plates,
    /// Pieces issued.
    Pieces,
    /// Slips that are no longer true, of those of the plan before; of jobs that have any.
    Slips,
    /// Scarcity points.
    Scarcity,
}

impl Objective {
    /// Label for people.
    pub fn label(self) -> String {
        match self {
            Objective::ServedWeight => "served weight".into(),
            Objective::ServedOf(priority) => format!("served of priority {priority}"),
            Objective::Purchase => "purchase cost".into(),
            Objective::HeldBack => "pieces held back, by need".into(),
            Objective::Reopened => "bags reopened".into(),
            Objective::Waste => "waste".into(),
            Objective::Plates => "plates cut".into(),
            Objective::Pieces => "pieces".into(),
            Objective::Slips => "slips changed".into(),
            Objective::Scarcity => "scarcity points".into(),
        }
    }
}

/// Value of the plan on one goal, and the bound that no plan can beat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ObjectiveValue {
    /// Goal.
    pub objective: Objective,
    /// Value of the plan.
    pub value: i64,
    /// Bound: no plan that is as good on the earlier goals is better than this.
    pub bound: i64,
}

impl ObjectiveValue {
    /// Whether value and bound are equal.
    pub fn proven(&self) -> bool {
        self.value == self.bound
    }
}

/// Reason that the search ended early.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stop {
    /// Time limit of the policy.
    TimeLimit,
    /// Interrupt by the user.
    Interrupt,
    /// Limit of the memory.
    Memory,
    /// The work that the time limit stands for, or a good part of it that gained nothing.
    Work,
}

impl Stop {
    /// Words of Basis.
    pub fn words(self) -> &'static str {
        match self {
            Stop::TimeLimit => "time limit",
            Stop::Interrupt => "interrupt",
            Stop::Memory => "memory limit",
            Stop::Work => "limit on work",
        }
    }
}
