//! The plan: which pieces go where, what that comes to, and how far it is proven.

use crate::cutting::Layout;
use crate::decimal::Money;
use crate::job::Job;
use crate::length::{Length, Tolerance};
use crate::model::{Shape, Spread, Term};
use crate::narrow::narrow;
use crate::pump::Pump;
use crate::stack::{Contributor, Known, LotError, Stack, Verdict, judge};
use crate::stock::Item;

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
        self.kits
            .iter()
            .filter(|kit| matches!(kit, Kit::Served(_)))
            .count()
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
        Shortfall {
            pack,
            cause,
            nearest: None,
            window: None,
        }
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
    /// In words, as the JSON and Basis say it.
    pub fn words(self) -> &'static str {
        match self {
            Stop::TimeLimit => "time limit",
            Stop::Interrupt => "interrupt",
        }
    }
}

/// What moves the requirements of a pump with these packs: its dimensions, what grows, then the
/// pieces, place by place.
pub fn stack(job: &Job, pump: &Pump, packs: &[PackPick]) -> Stack {
    let model = job.model_of(pump);
    let measured = model
        .dimensions
        .iter()
        .zip(&pump.dimensions)
        .enumerate()
        .map(|(index, (dimension, measured))| Contributor {
            label: dimension.label.clone(),
            term: Term::Dimension(index),
            item: None,
            count: 1,
            readings: measured.readings.clone(),
            nominal: measured.value,
            tolerance: measured.tolerance,
            known: match dimension.spread {
                Spread::Within(_) => Known::Within(dimension.shape),
                Spread::StandardUncertainty(_) => Known::Standard,
                Spread::FromReadings { resolution } => Known::Readings { resolution },
            },
            standard: measured.standard,
            freedom: measured.freedom,
            lot: None,
        });
    let growths = pump
        .growths
        .iter()
        .enumerate()
        .map(|(index, growth)| Contributor {
            label: growth.thermal.label.clone(),
            term: Term::Thermal(index),
            item: None,
            count: 1,
            readings: Vec::new(),
            nominal: growth.value,
            tolerance: growth.tolerance,
            known: Known::Growth(Box::new(growth.clone())),
            standard: growth.standard,
            freedom: None,
            lot: None,
        });
    let pieces = packs.iter().enumerate().flat_map(|(index, pack)| {
        pack.picks.iter().filter_map(move |pick| {
            let item = &job.stock[pick.item];
            let size = item.size?;
            let nominal = item.peeled(pick.peeled)?;
            let unit = model.unit;
            let peeled = match pick.peeled {
                0 => String::new(),
                _ => format!(", peeled to {} {}", nominal.show(unit), unit.symbol()),
            };
            Some(Contributor {
                label: format!("{} {}{peeled}", item.kind, item.item),
                term: Term::Pack(index),
                item: Some(pick.item),
                count: pick.count,
                readings: Vec::new(),
                nominal,
                tolerance: size.tolerance,
                known: Known::Within(Shape::Rectangular),
                standard: size.standard(),
                freedom: None,
                lot: size.uncertainty.map(|standard| LotError {
                    lot: item.lot(pick.item),
                    standard,
                }),
            })
        })
    });
    Stack {
        contributors: measured.chain(growths).chain(pieces).collect(),
        correlations: pump.correlations.clone(),
    }
}

/// Judges every requirement of a pump with these packs.
pub fn verdicts(job: &Job, pump: &Pump, packs: &[PackPick]) -> Vec<Verdict> {
    let stack = stack(job, pump, packs);
    let guard = job.policy.guard();
    pump.requirements
        .iter()
        .map(|r| judge(&r.form, &stack, guard))
        .collect()
}

/// The requirement of a pump with least room, by its index, and where it comes out: it speaks for the pump.
pub fn tightest(job: &Job, pump: &Pump, packs: &[PackPick]) -> Option<(usize, Verdict)> {
    let verdicts = verdicts(job, pump, packs).into_iter().enumerate();
    verdicts.min_by_key(|(_, verdict)| verdict.margin())
}

/// The pack's total and how far it may lie off.
pub fn pack_total(job: &Job, pack: &PackPick) -> (Length, Tolerance) {
    let mut total = Length::ZERO;
    let mut tolerance = Tolerance::default();
    for pick in &pack.picks {
        let item = &job.stock[pick.item];
        if let (Some(size), Some(thickness)) = (item.size, item.peeled(pick.peeled)) {
            total = total + thickness * pick.count;
            tolerance.minus = tolerance.minus + size.tolerance.minus * pick.count;
            tolerance.plus = tolerance.plus + size.tolerance.plus * pick.count;
        }
    }
    (total, tolerance)
}

/// The waste of one piece of an item: its cost, the handling charge, and the layers peeled off at
/// their share of the cost (rounded up). The cost of pieces whose opened packs are spoiled is
/// counted pack by pack instead, by [`pack_waste`].
pub fn piece_waste(job: &Job, item: usize, peeled: u32) -> Money {
    let lot = &job.stock[item];
    let cost = if by_pack(job, item) {
        Money::ZERO
    } else {
        lot.unit_cost
    };
    let trim = match (lot.size, lot.peel_step) {
        (Some(size), Some(step)) if peeled > 0 => {
            let off = i128::from((step * peeled).ticks()) * i128::from(lot.unit_cost.raw());
            let whole = i128::from(size.thickness.ticks().max(1));
            Money::from_raw(narrow::<i64>((off + whole - 1).div_euclid(whole)))
        }
        _ => Money::ZERO,
    };
    cost + job.policy.handling + trim
}

/// Whether an item's cost is counted by the pack: the policy says that what is left of an opened
/// pack is spoiled.
pub fn by_pack(job: &Job, item: usize) -> bool {
    job.policy.opened_packs_spoiled && job.stock[item].pack_qty > 1
}

/// What it costs that `issued` pieces of an item counted by the pack are issued: loose pieces
/// singly, then whole packs, whose remainders are spoiled. The loose pieces are those by which
/// the available ones exceed whole packs.
///
/// | loose 2, packs of 10 | 1 | 2 | 3 | 12 | 13 |
/// |---|---|---|---|---|---|
/// | pieces paid for | 1 | 2 | 12 | 12 | 22 |
pub fn pack_waste(job: &Job, item: usize, issued: u32) -> Money {
    let lot = &job.stock[item];
    let paid = match packs_opened(lot, issued) {
        0 => issued,
        packs => lot.loose() + packs * lot.pack_qty.max(1),
    };
    Money::from_raw(lot.unit_cost.raw().saturating_mul(i64::from(paid)))
}

/// The sealed packs that are opened when so many pieces of a lot are issued: the loose ones go
/// first.
pub fn packs_opened(lot: &Item, issued: u32) -> u32 {
    issued
        .saturating_sub(lot.loose())
        .div_ceil(lot.pack_qty.max(1))
}

/// Pieces of opened packs that are left over and spoiled.
pub fn spoiled(job: &Job, item: usize, issued: u32) -> u32 {
    if !by_pack(job, item) || issued == 0 {
        return 0;
    }
    let lot = &job.stock[item];
    let sealed = issued.saturating_sub(lot.loose());
    packs_opened(lot, issued) * lot.pack_qty - sealed
}

/// Scarcity points of one piece: a thousand shared among the pieces left above the min level, so
/// that the scarcer piece costs more. Our own measure of `spare the scarce`.
///
/// ```
/// assert_eq!(gapwright::plan::scarcity_points(9, 0), 100);
/// assert_eq!(gapwright::plan::scarcity_points(9, 8), 500);
/// assert_eq!(gapwright::plan::scarcity_points(9, 12), 1_000);
/// ```
pub fn scarcity_points(available: u32, min_level: u32) -> i64 {
    1_000 / (1 + i64::from(available.saturating_sub(min_level)))
}
