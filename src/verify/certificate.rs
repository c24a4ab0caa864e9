//! Checker of certificates: the proof that no plan is better is added up again.
//!
//! Nothing is taken from the code that chose: kits are listed, judged and priced here, and each claim of the
//! [`Certificate`](crate::certificate) is shown once more in whole numbers. As long as a pump may have many kits they are not
//! kept: each bound goes through them again. Once multipliers leave few of them, they are listed.

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use super::fillings::{Fillings, Found, Guide};
use super::plates::offcut;
use super::standing::{OutOfPlay, conforms};
use super::supplies::{self, Choice, Supply, is_supplied, ready};
use super::{after_serving, by_the_pack, charge, off_target, scarcity, trim, whole_piece};
use crate::certificate::{
    CUT_UNIT, Certificate, GoalProof, GroupProof, ProofCut, ProofMultipliers, ProofSplit,
    ProofSupplier, UNIT,
};
use crate::job::{HoldBack, Job, Standing};
use crate::plan::{Kit, Objective, ObjectiveValue, PackPick, Pick, Plan};

/// Whether a goal's bound was added up again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum AddedUp {
    /// Value and bound are equal, and the certificate shows it.
    Agrees,
    /// Value and bound are not equal: there is nothing to show.
    Open,
    /// Said to be proven, but not shown again.
    Not(NotShown),
}

/// Reason that a bound was not shown again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NotShown {
    /// There is no certificate of it: the search was too large to write one, or had none to give.
    NoCertificate,
    /// Several groups of pumps draw on the same packs that are spoiled once opened, or on the same plates.
    Suppliers,
    /// There are too many kits, or too many parts, to add up.
    TooLarge,
    /// An earlier goal was not shown, and several groups of pumps could make up for one another.
    Earlier,
    /// The certificate does not show it.
    Wrong(String),
}

/// Most kits that are looked at to add up a certificate.
const MOST_WORK: u64 = 400_000_000;
/// Most kits that are kept for a group of pumps.
const MOST_KEPT: usize = 3_000_000;
/// Multipliers may not be so large that their sums leave the whole numbers.
const LARGEST: i128 = 1 << 96;
const LARGEST_OF_MONEY: i128 = 1 << 72;
/// So may numbers and multipliers of cuts, and there may not be too many of them.
const LARGEST_IN_CUT: i128 = 1 << 16;
const LARGEST_OF_CUT: i128 = 1 << 84;
const MOST_CUTS: usize = 1_000;

/// Adds up the bound of each goal of a plan.
pub(super) fn added_up(job: &Job, plan: &Plan, certificate: &Certificate) -> Vec<AddedUp> {
    let tiers = tiers(job);
    let shown = show(job, plan, certificate, &tiers);
    let of_goal = |goal: &ObjectiveValue| {
        if !goal.proven() {
            return AddedUp::Open;
        }
        let groups = match &shown {
            Ok(groups) => groups,
            Err(why) => return AddedUp::Not(why.clone()),
        };
        let counts = |tier: &Tier| match (tier, goal.objective) {
            (Tier::Served(_), Objective::ServedWeight) => true,
            (tier, aim) => Tier::of(aim) == Some(*tier),
        };
        let last = tiers.iter().rposition(counts);
        let Some(last) = last else { return AddedUp::Not(NotShown::NoCertificate) };
        for (tier, of) in tiers.iter().enumerate().take(last + 1) {
            let failed = groups.iter().find_map(|group| group[tier].as_ref().err());
            match failed {
                Some(why) if counts(of) => return AddedUp::Not(why.clone()),
                // One group by itself is bounded under its own earlier values, whether they are proven or not.
                Some(_) if groups.len() > 1 => return AddedUp::Not(NotShown::Earlier),
                _ => {}
            }
        }
        AddedUp::Agrees
    };
    plan.goals.iter().map(of_goal).collect()
}

/// Whether what was added up of one plan holds of another plan of the job: its proof is about the same goals and, in each
/// group, the same values.
pub(super) fn carries_over(job: &Job, was: &Plan, is: &Plan) -> bool {
    let same_claims = was.goals == is.goals
        && was.certificate == is.certificate
        && was.layouts == is.layouts
        && was.held_back == is.held_back;
    let same_kits = || was.kits == is.kits;
    // Kits that stood may be out of play, and what a supply puts in is paid for by the group: those are added up again.
    let plain = || {
        let groups = &is.certificate.groups;
        let mut outside = vec![true; job.pumps.len()];
        let pumps = groups.iter().flat_map(|group| &group.pumps);
        for &pump in pumps {
            if let Some(outside) = outside.get_mut(pump) {
                *outside = false;
            }
        }
        let all = || (0..job.pumps.len()).filter(|&pump| outside[pump]);
        let tiers = tiers(job);
        let of = |plan: &Plan, group: &GroupProof, tier: &Tier| {
            value(job, plan, (&group.pumps, &[]), *tier)
        };
        job.standing.is_empty()
            && job.plates.is_empty()
            && !(0..job.stock.len()).any(|item| is_supplied(job, item))
            && all().all(|pump| match (&was.kits[pump], &is.kits[pump]) {
                (Kit::Short(_), Kit::Short(_)) => true,
                (was, is) => was == is,
            })
            && groups
                .iter()
                .all(|group| tiers.iter().all(|tier| of(was, group, tier) == of(is, group, tier)))
    };
    same_claims && (same_kits() || plain())
}

/// Goal of the search, counted downwards.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Tier {
    /// Pumps served of a priority.
    Served(u32),
    /// Worth of the pieces held back.
    HeldBack,
    /// Bags that stay closed.
    Reopened,
    Waste,
    Plates,
    Pieces,
    /// Slips that stay true.
    Slips,
    Scarcity,
}

impl Tier {
    fn of(aim: Objective) -> Option<Tier> {
        match aim {
            Objective::ServedOf(priority) => Some(Tier::Served(priority)),
            Objective::HeldBack => Some(Tier::HeldBack),
            Objective::Reopened => Some(Tier::Reopened),
            Objective::Waste => Some(Tier::Waste),
            Objective::Plates => Some(Tier::Plates),
            Objective::Pieces => Some(Tier::Pieces),
            Objective::Slips => Some(Tier::Slips),
            Objective::Scarcity => Some(Tier::Scarcity),
            Objective::ServedWeight | Objective::Purchase => None,
        }
    }
}

fn tiers(job: &Job) -> Vec<Tier> {
    let mut priorities: Vec<u32> = job.pumps.iter().map(|pump| pump.priority).collect();
    priorities.sort_unstable();
    priorities.dedup();
    let served = priorities.into_iter().map(Tier::Served);
    served.chain(after_serving(job).into_iter().filter_map(Tier::of)).collect()
}

type Shown = Result<(), NotShown>;

pub(super) fn wrong(why: impl Into<String>) -> NotShown {
    NotShown::Wrong(why.into())
}

/// Shows the claims of every group and goal.
fn show(
    job: &Job,
    plan: &Plan,
    certificate: &Certificate,
    tiers: &[Tier],
) -> Result<Vec<Vec<Shown>>, NotShown> {
    // Pieces to hold back are numbered after the pumps.
    let mut grouped = vec![false; job.pumps.len() + job.hold_back.len()];
    for &pump in certificate.groups.iter().flat_map(|group| &group.pumps) {
        match grouped.get_mut(pump) {
            Some(grouped @ false) => *grouped = true,
            Some(true) => return Err(wrong("a pump stands in two groups")),
            None => return Err(wrong("a pump that the job does not have")),
        }
    }
    let out = OutOfPlay::of(job, plan, &grouped)?;
    if certificate.groups.is_empty() && plan.served() > out.kits() {
        return Err(NotShown::NoCertificate);
    }
    let fillings = Fillings::of(job).ok_or(NotShown::TooLarge)?;
    let mut work = Work(0);
    for pump in (0..job.pumps.len()).filter(|&pump| !grouped[pump] && !out.pumps[pump]) {
        let mut any = out.could_stay_closed(job, pump);
        let looked = fillings.each(pump, None, &mut |found| {
            any = any || fillings.is_kit(pump, found, false, &out.beside_held);
        });
        work.add(looked)?;
        if any {
            return Err(wrong(format!(
                "pump {} has a kit and stands in no group",
                job.pumps[pump].tag
            )));
        }
    }
    let groups = certificate.groups.iter();
    let groups =
        groups.map(|proof| Group::new((job, &out), plan, &fillings, proof, tiers, &mut work));
    let mut groups = groups.collect::<Result<Vec<Group<'_>>, NotShown>>()?;
    apart(plan, &groups)?;
    groups.iter_mut().map(|group| group.goals(&mut work)).collect()
}

/// Sees to it that no two groups draw on one supply, and that no plate is cut for none of them: waste of packs and plates
/// does not add up otherwise.
fn apart(plan: &Plan, groups: &[Group<'_>]) -> Shown {
    let mut owned: BTreeSet<(bool, usize)> = BTreeSet::new();
    for group in groups {
        let mine: BTreeSet<(bool, usize)> =
            group.supplies.iter().map(|(name, _)| key(name)).collect();
        if !owned.is_disjoint(&mine) {
            return Err(NotShown::Suppliers);
        }
        owned.extend(mine);
    }
    match plan.layouts.iter().all(|layout| owned.contains(&(true, layout.plate))) {
        true => Ok(()),
        false => Err(wrong("plates are cut for no pump")),
    }
}

/// Whether a supply is of plates, and of which item or lot.
fn key(supply: &ProofSupplier) -> (bool, usize) {
    match supply {
        ProofSupplier::Packs { item } => (false, *item),
        ProofSupplier::Layout { plate, .. } => (true, *plate),
    }
}

/// Kits looked at so far.
struct Work(u64);

impl Work {
    fn add(&mut self, kits: u64) -> Shown {
        self.0 += kits;
        if self.0 > MOST_WORK { Err(NotShown::TooLarge) } else { Ok(()) }
    }
}

/// Items and numbers of pieces, ascending by item.
type PieceCounts = Vec<(usize, u32)>;

/// Kit by what it costs.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Column {
    uses: PieceCounts,
    waste: i128,
    /// Whether it is what lies in the pump's bag, and what stands on its slip.
    stood: [bool; 2],
    /// Its number in each cut of the goal.
    cuts: Vec<i128>,
}

/// Prices that follow from multipliers.
struct Priced {
    constant: i128,
    /// Price of a millionth of waste.
    waste: i128,
    /// Price of a piece of each item that a pump takes, costs of pieces included.
    item: Vec<i128>,
    /// Price of an item that a supply takes, plates after the stock, costs of plates included.
    supplied: Vec<i128>,
    /// Price of serving a pump, by priority.
    serving: BTreeMap<u32, i128>,
    /// Price of a unit of worth held back.
    held_back: i128,
    /// Price of a bag that stays closed, and of a slip that stays true.
    stood: [i128; 2],
    /// Price of each cut that counts.
    cuts: Vec<(usize, i128)>,
}

/// Prices of every way to fill a place, by list, and the kits that stay: those whose price is at most this, by pump.
struct Sieve {
    prices: Prepared,
    most: Vec<i128>,
}

struct Prepared {
    waste: i128,
    serving: Vec<i128>,
    /// By pump of the group: price of its bag that stays closed beside its pieces, and of its slip that stays true.
    stood: Vec<[i128; 2]>,
    lists: Vec<Vec<i128>>,
}

impl Prepared {
    /// Guide to the kits of a pump whose price is at most so much.
    fn guide(&self, pump: usize, stood: &[StoodAs; 2], most: i128) -> Guide<'_> {
        Guide::new(&self.lists, self.left(pump, stood, most))
    }

    /// Most that is left for the pieces of a kit at such a price. Charges add to it; a kit that stood may be cheaper.
    fn left(&self, pump: usize, stood: &[StoodAs; 2], most: i128) -> i128 {
        let stood = stood.iter().zip(self.stood[pump]).filter(|(stood, _)| stood.is_some());
        let gained: i128 = stood.map(|(_, price)| price.min(0)).sum();
        most.saturating_sub(self.serving[pump] + gained)
    }

    /// Price of a kit without its charges.
    fn pieces(&self, choice: &[(usize, usize)]) -> i128 {
        choice.iter().map(|&(list, number)| self.lists[list][number]).sum()
    }

    /// Price of a kit of a pump of the group, if it is at most so much.
    fn at_most(
        &self,
        pump: usize,
        stood: &[StoodAs; 2],
        found: &Found<'_>,
        most: i128,
    ) -> Option<i128> {
        let mut part = self.serving[pump] + self.pieces(found.choice);
        for (stood, price) in stood.iter().zip(self.stood[pump]) {
            part += if is(stood, found) { price } else { 0 };
        }
        if part > most || self.waste == 0 {
            return (part <= most).then_some(part);
        }
        let whole = part + self.waste * found.charges();
        (whole <= most).then_some(whole)
    }
}

/// Kit that stood before the plan, by its choice among the lists; `None` where it is no kit today.
type StoodAs = Option<Vec<(usize, usize)>>;

fn is(stood: &StoodAs, found: &Found<'_>) -> bool {
    stood.as_ref().is_some_and(|stood| stood == found.choice)
}

/// Group of pumps whose claims are shown.
struct Group<'a> {
    job: &'a Job,
    out: &'a OutOfPlay,
    /// Kits in its bag and on its slip, by place in the group.
    stood: Vec<[StoodAs; 2]>,
    /// Whether a pump's bag stays closed in every plan that counts.
    closed: bool,
    fillings: &'a Fillings<'a>,
    proof: &'a GroupProof,
    tiers: &'a [Tier],
    /// Values of the plan for this group.
    values: Vec<i128>,
    /// Whether a pump may stay without a kit, by place in the group.
    idle: Vec<bool>,
    sieves: Vec<Sieve>,
    /// Supplies with the choices that stay.
    supplies: Vec<Supply>,
    /// Kits that stay, once they are listed.
    kept: Option<Vec<Arc<Vec<Column>>>>,
}

/// Part of the plans of a group.
#[derive(Clone)]
struct Part {
    columns: Vec<Arc<Vec<Column>>>,
    idle: Vec<bool>,
    supplies: Vec<Supply>,
    /// Least and most pieces of each set.
    ranges: Vec<[Option<i64>; 2]>,
    /// Every value of the goal is a multiple of this.
    step: i128,
    /// Limit of each cut of the goal.
    cuts: Vec<i128>,
}

impl<'a> Group<'a> {
    fn new(
        (job, out): (&'a Job, &'a OutOfPlay),
        plan: &Plan,
        fillings: &'a Fillings<'a>,
        proof: &'a GroupProof,
        tiers: &'a [Tier],
        work: &mut Work,
    ) -> Result<Group<'a>, NotShown> {
        if proof.goals.len() != tiers.len() {
            return Err(wrong("a group has another number of goals"));
        }
        let items = job.stock.len() + job.plates.len();
        if proof.sets.iter().flatten().any(|&item| item >= items) {
            return Err(wrong("an item that the stock does not have"));
        }
        let mut looked = 0;
        let pumps: Vec<usize> =
            proof.pumps.iter().copied().filter(|&pump| pump < job.pumps.len()).collect();
        let supplies = supplies::of_group(job, fillings, &pumps, &out.left, &mut looked);
        work.add(looked)?;
        let supplies = supplies.ok_or(NotShown::TooLarge)?;
        let values: Vec<i128> =
            tiers.iter().map(|tier| value(job, plan, (&proof.pumps, &supplies), *tier)).collect();
        let stood = |&pump: &usize| match job.standing.get(pump) {
            Some(stands) => [&stands.bag, &stands.slip].map(|kit| {
                fillings
                    .choice_of(pump, kit.as_deref()?)
                    .filter(|_| kit.as_deref().is_some_and(|kit| conforms(job, pump, kit)))
            }),
            None => [None, None],
        };
        Ok(Group {
            job,
            out,
            stood: proof.pumps.iter().map(stood).collect(),
            closed: false,
            fillings,
            proof,
            tiers,
            values,
            idle: vec![true; proof.pumps.len()],
            sieves: Vec::new(),
            supplies,
            kept: None,
        })
    }

    /// Shows the claims goal by goal; what a goal rules out is ruled out for the later ones.
    fn goals(&mut self, work: &mut Work) -> Result<Vec<Shown>, NotShown> {
        let proof = self.proof;
        let shown = |(tier, goal): (usize, &Option<GoalProof>)| {
            if self.all_served(tier) {
                return Ok(Ok(()));
            }
            if self.all_closed(tier) {
                // What its proof leaves out is left out for the later goals all the same.
                let left_out = goal.as_ref().map(|goal| self.goal(tier, goal, work));
                return match left_out {
                    Some(Err(NotShown::TooLarge)) => Err(NotShown::TooLarge),
                    _ => Ok(Ok(())),
                };
            }
            let set_aside = self.out.bags || self.out.pieces;
            if set_aside && matches!(self.tiers[tier], Tier::Served(_)) {
                return Ok(Err(wrong(
                    "pieces are set aside, and a pump that could be kitted is not",
                )));
            }
            if set_aside && self.tiers[tier] == Tier::HeldBack {
                return Ok(Err(wrong("pieces are set aside, and one to hold back is not")));
            }
            let goal = goal.as_ref().ok_or(NotShown::NoCertificate);
            match goal.and_then(|goal| self.goal(tier, goal, work)) {
                // Nothing more can be looked at.
                Err(NotShown::TooLarge) => Err(NotShown::TooLarge),
                shown => Ok(shown),
            }
        };
        proof.goals.iter().enumerate().map(shown).collect()
    }

    /// Whether the plan serves every pump that a goal of serving counts, or holds every piece back: none of them may be left
    /// out then.
    fn all_served(&mut self, tier: usize) -> bool {
        let of = self.tiers[tier];
        let counted = |block: usize| match of {
            Tier::Served(priority) => {
                let pump = self.job.pumps.get(block);
                i128::from(pump.is_some_and(|pump| pump.priority == priority))
            }
            Tier::HeldBack => self.piece(block).map_or(0, |piece| piece.worth.into()),
            _ => 0,
        };
        let counted: Vec<i128> = self.proof.pumps.iter().map(|&block| counted(block)).collect();
        let serves = matches!(of, Tier::Served(_) | Tier::HeldBack);
        if !serves || -self.values[tier] != counted.iter().sum::<i128>() {
            return false;
        }
        self.idle.iter_mut().zip(counted).for_each(|(idle, counted)| *idle &= counted == 0);
        true
    }

    /// Piece to hold back that a block is, after all pumps.
    fn piece(&self, block: usize) -> Option<&'a HoldBack> {
        self.job.hold_back.get(block.checked_sub(self.job.pumps.len())?)
    }

    /// Whether the plan leaves every bag closed that can be: none of them may be opened then.
    fn all_closed(&mut self, tier: usize) -> bool {
        let bags = self.stood.iter().filter(|stood| stood[0].is_some()).count();
        if self.tiers[tier] != Tier::Reopened
            || -self.values[tier] != i128::try_from(bags).unwrap_or(i128::MAX)
        {
            return false;
        }
        self.closed = true;
        self.idle.iter_mut().zip(&self.stood).for_each(|(idle, stood)| *idle &= stood[0].is_none());
        true
    }

    fn goal(&mut self, tier: usize, goal: &GoalProof, work: &mut Work) -> Shown {
        let claim = self.values[tier];
        if i128::from(goal.bound) != claim {
            return Err(wrong(format!(
                "a bound of {} is claimed, and the value is {claim}",
                goal.bound
            )));
        }
        let root = goal.nodes.first().ok_or_else(|| wrong("a proof without a root"))?;
        let all = || goal.before.iter().chain([&root.multipliers]);
        let is_listed = self.kept.is_some();
        let shown = match !is_listed && self.sift(tier, all(), claim, work)? {
            true => Ok(()),
            false => self.show_goal(tier, goal, claim, work),
        };
        if matches!(shown, Err(NotShown::TooLarge)) {
            return shown;
        }
        // Whether or not the claim is shown: no plan that keeps this value has a kit that lifts the bound above it.
        if self.kept.is_none() && !matches!(self.tiers[tier], Tier::Served(_)) {
            self.kept = self.listed(self.few(), work)?;
        }
        for multipliers in all().filter(|of| is_listed || !of.cuts.is_empty()) {
            self.keep(tier, goal, multipliers, work)?;
        }
        shown
    }

    fn show_goal(&mut self, tier: usize, goal: &GoalProof, claim: i128, work: &mut Work) -> Shown {
        let mut part = self.part(tier, work)?;
        for multipliers in &goal.before {
            if self.reduce(tier, &mut part, multipliers, claim, work)? {
                return Ok(());
            }
        }
        self.cut(tier, goal, &mut part, work)?;
        self.settle(tier, goal, claim, part, work)
    }

    /// Works out the cuts of a goal: their limits, and the number that each kit has in them.
    fn cut(&self, tier: usize, goal: &GoalProof, part: &mut Part, work: &mut Work) -> Shown {
        part.cuts.clear();
        if goal.cuts.is_empty() {
            return Ok(());
        }
        if goal.cuts.len() > MOST_CUTS {
            return Err(NotShown::TooLarge);
        }
        if !part.supplies.is_empty() {
            return Err(wrong("cuts where there are packs or plates"));
        }
        let kits = part.columns.iter().map(|columns| columns.len() as u64).sum::<u64>();
        work.add(kits.saturating_mul(goal.cuts.len() as u64))?;
        for columns in &mut part.columns {
            Arc::make_mut(columns).iter_mut().for_each(|column| column.cuts.clear());
        }
        goal.cuts.iter().try_for_each(|cut| self.one_cut(tier, cut, part))
    }

    fn one_cut(&self, tier: usize, cut: &ProofCut, part: &mut Part) -> Shown {
        let weight = |weight: i128| match (0..UNIT).contains(&weight) {
            true => Ok(weight),
            false => Err(wrong("a weight of a cut that is below zero, or too large")),
        };
        let mut limit = 0;
        let mut items = vec![0; self.job.stock.len()];
        for &(set, of) in &cut.sets {
            let range = part.ranges.get(set).ok_or_else(|| wrong("a set that is not there"))?;
            let most = range[1].ok_or_else(|| wrong("a cut of a set without a limit"))?;
            limit += weight(of)? * i128::from(most);
            for &item in &self.proof.sets[set] {
                *items.get_mut(item).ok_or_else(|| wrong("a cut of plates"))? += of;
            }
        }
        for &(goal, of) in &cut.goals {
            if goal >= tier {
                return Err(wrong("a cut of a goal that is not earlier"));
            }
            limit += weight(of)? * self.values[goal];
        }
        for &(earlier, of) in &cut.cuts {
            let earlier = part.cuts.get(earlier);
            limit += weight(of)? * earlier.ok_or_else(|| wrong("a cut that is not earlier"))?;
        }
        if cut.pumps.len() != part.columns.len() {
            return Err(wrong("a cut of other pumps"));
        }
        for (place, &own) in cut.pumps.iter().enumerate() {
            // Taking none has the number 0.
            if part.idle[place] && !(0..CUT_UNIT).contains(&own.into()) {
                return Err(wrong("a pump's weight in a cut that is below zero, or too large"));
            }
            let own = i128::from(own) * (UNIT / CUT_UNIT);
            limit += own;
            for column in Arc::make_mut(&mut part.columns[place]) {
                let pieces = column.uses.iter().map(|&(item, n)| items[item] * i128::from(n));
                let goals = cut.goals.iter().map(|&(of, by)| by * self.cost(of, place, column));
                let cuts = cut.cuts.iter().map(|&(of, by)| by * column.cuts[of]);
                let number = (pieces.chain(goals).chain(cuts).sum::<i128>() + own).div_euclid(UNIT);
                if number.abs() > LARGEST_IN_CUT {
                    return Err(wrong("a number in a cut that is too large"));
                }
                column.cuts.push(number);
            }
        }
        part.cuts.push(limit.div_euclid(UNIT));
        Ok(())
    }

    /// Adds sieves for plans of at most this value, for good; whether there is none below it.
    fn sift<'m>(
        &mut self,
        tier: usize,
        all: impl Iterator<Item = &'m ProofMultipliers>,
        most: i128,
        work: &mut Work,
    ) -> Result<bool, NotShown> {
        let mut none_below = false;
        // Numbers in cuts are of kits that are listed.
        for multipliers in all.filter(|of| of.cuts.is_empty()) {
            let prices = self.prices(tier, multipliers, &self.ranges(), &[])?;
            let mut bound = prices.constant;
            let of_supplies = priced_choices(&self.supplies, &prices);
            bound += of_supplies.iter().map(|(least, _)| least).sum::<i128>();
            let prices = self.prepare(&prices);
            let found = self.each_place(work, &|place| self.cheapest(place, &prices))?;
            let least = found
                .into_iter()
                .zip(&self.idle)
                .map(|(least, &idle)| least.into_iter().chain(idle.then_some(0)).min());
            let Some(cheapest) = least.collect::<Option<Vec<i128>>>() else { return Ok(true) };
            let room = most * UNIT - bound - cheapest.iter().sum::<i128>();
            none_below |= room < UNIT;
            // The plan itself has this value: its kits stay.
            if room >= 0 {
                leave_out_choices(&mut self.supplies, of_supplies, room);
                let most: Vec<i128> = cheapest.iter().map(|least| least + room).collect();
                self.idle.iter_mut().zip(&most).for_each(|(idle, most)| *idle &= *most >= 0);
                self.sieves.push(Sieve { prices, most });
            }
        }
        Ok(none_below)
    }

    /// Goes through the group's pumps on all threads; each answers with the kits that it looked at.
    fn each_place<T: Send>(
        &self,
        work: &mut Work,
        of: &(dyn Fn(usize) -> (T, u64) + Sync),
    ) -> Result<Vec<T>, NotShown> {
        let places: Vec<usize> = (0..self.idle.len()).collect();
        let mut all = Vec::with_capacity(places.len());
        // Some at a time, so that too much work is seen in time.
        for some in places.chunks(64) {
            let (found, looked): (Vec<T>, Vec<u64>) =
                some.par_iter().map(|&place| of(place)).unzip();
            work.add(looked.iter().sum())?;
            all.extend(found);
        }
        Ok(all)
    }

    /// Least price of a kit that every sieve lets pass, and the kits looked at.
    fn cheapest(&self, place: usize, prices: &Prepared) -> (Option<i128>, u64) {
        let pump = self.proof.pumps[place];
        if let Some(piece) = self.piece(pump) {
            return (self.passes_piece(place, piece).then_some(prices.serving[place]), 1);
        }
        let stood = &self.stood[place];
        let guide = prices.guide(place, stood, i128::MAX);
        let mut least: Option<i128> = None;
        let looked = self.fillings.each(pump, Some(&guide), &mut |found| {
            let most = least.map_or(i128::MAX, |least| least - 1);
            let price = prices.at_most(place, stood, found, most);
            if let Some(price) = price
                && self.passes(place, found)
                && self.is_kit(place, found)
            {
                least = Some(price);
                guide.at_most(prices.left(place, stood, price - 1));
            }
        });
        (least, looked)
    }

    fn is_kit(&self, place: usize, found: &Found<'_>) -> bool {
        let closed = is(&self.stood[place][0], found);
        self.fillings.is_kit(self.proof.pumps[place], found, closed, &self.out.left)
    }

    /// Whether there is such a piece to hold back, and every sieve lets it pass.
    fn passes_piece(&self, place: usize, piece: &HoldBack) -> bool {
        self.out.left[piece.item] > 0
            && self.sieves.iter().all(|sieve| sieve.prices.serving[place] <= sieve.most[place])
    }

    fn passes(&self, place: usize, found: &Found<'_>) -> bool {
        let [bag, slip] = &self.stood[place];
        // A held kit is the only one of its pump.
        if let Some(stands) = self.job.standing.get(self.proof.pumps[place]).filter(|s| s.held)
            && !is(if stands.bag.is_some() { bag } else { slip }, found)
        {
            return false;
        }
        (!self.closed || bag.is_none() || is(bag, found))
            && self.sieves.iter().all(|sieve| {
                let stood = &self.stood[place];
                sieve.prices.at_most(place, stood, found, sieve.most[place]).is_some()
            })
    }

    /// Most kits of a group that are kept for all later goals.
    fn few(&self) -> usize {
        1_000 + 200 * self.idle.len()
    }

    /// Kits that are left, listed. Of kits that take the same pieces the least wasteful stays.
    fn part(&mut self, tier: usize, work: &mut Work) -> Result<Part, NotShown> {
        let columns = match &self.kept {
            Some(kept) => kept.clone(),
            None => self.listed(MOST_KEPT, work)?.ok_or(NotShown::TooLarge)?,
        };
        let count: usize = columns.iter().map(|columns| columns.len()).sum();
        if !matches!(self.tiers[tier], Tier::Served(_)) && count <= self.few() {
            self.kept = Some(columns.clone());
        }
        let (idle, supplies, ranges) = (self.idle.clone(), self.supplies.clone(), self.ranges());
        let mut part = Part { columns, idle, supplies, ranges, step: 1, cuts: Vec::new() };
        self.step(tier, &mut part);
        Ok(part)
    }

    /// Kits that are left; `None` if there are more than so many.
    fn listed(
        &self,
        most: usize,
        work: &mut Work,
    ) -> Result<Option<Vec<Arc<Vec<Column>>>>, NotShown> {
        let count = AtomicUsize::new(0);
        let all = self.each_place(work, &|place| self.listed_for(place, &count, most))?;
        Ok((count.into_inner() <= most).then_some(all))
    }

    /// Kits of one pump that are left, and the kits looked at; none is added once all pumps have more than so many.
    fn listed_for(
        &self,
        place: usize,
        count: &AtomicUsize,
        most: usize,
    ) -> (Arc<Vec<Column>>, u64) {
        let pump = self.proof.pumps[place];
        if let Some(piece) = self.piece(pump) {
            let uses = vec![(piece.item, 1)];
            let column = Column { uses, waste: 0, stood: [false; 2], cuts: Vec::new() };
            let passes = self.passes_piece(place, piece);
            count.fetch_add(usize::from(passes), Ordering::Relaxed);
            return (Arc::new(passes.then_some(column).into_iter().collect()), 1);
        }
        let mut columns: BTreeMap<(PieceCounts, [bool; 2]), i128> = BTreeMap::new();
        let last = self.sieves.last();
        let guide = last.map(|last| last.prices.guide(place, &self.stood[place], last.most[place]));
        let looked = self.fillings.each(pump, guide.as_ref(), &mut |found| {
            if count.load(Ordering::Relaxed) > most
                || !self.passes(place, found)
                || !self.is_kit(place, found)
            {
                return;
            }
            let mut uses: BTreeMap<usize, u32> = BTreeMap::new();
            let stood = self.stood[place].each_ref().map(|stood| is(stood, found));
            for pick in self.fillings.taken(found, stood[0]) {
                *uses.entry(pick.item).or_default() += pick.count;
            }
            let of = |&(list, number): &(usize, usize)| self.fillings.lists[list][number].waste;
            let waste = found.choice.iter().map(of).sum::<i128>() + found.charges();
            match columns.entry((uses.into_iter().collect(), stood)) {
                Entry::Vacant(place) => {
                    place.insert(waste);
                    count.fetch_add(1, Ordering::Relaxed);
                }
                Entry::Occupied(mut known) => *known.get_mut() = waste.min(*known.get()),
            }
        });
        let column = |((uses, stood), waste)| Column { uses, waste, stood, cuts: Vec::new() };
        (Arc::new(columns.into_iter().map(column).collect()), looked)
    }

    /// Leaves out, for all later goals, what no plan of this value has, of the kits that are listed.
    fn keep(
        &mut self,
        tier: usize,
        goal: &GoalProof,
        multipliers: &ProofMultipliers,
        work: &mut Work,
    ) -> Shown {
        if self.kept.is_none() {
            self.kept = self.listed(MOST_KEPT, work)?;
        }
        let Some(kept) = self.kept.take() else { return Ok(()) };
        let mut part = Part {
            columns: kept,
            idle: self.idle.clone(),
            supplies: self.supplies.clone(),
            ranges: self.ranges(),
            step: 1,
            cuts: Vec::new(),
        };
        if !multipliers.cuts.is_empty() {
            self.cut(tier, goal, &mut part, work)?;
        }
        let prices = self.prices(tier, multipliers, &part.ranges, &part.cuts)?;
        let none = self.leave_out(&prices, &mut part, goal.bound.into(), work)?;
        // The plan itself has this value: its kits stay.
        if !none {
            (self.idle, self.supplies) = (part.idle, part.supplies);
        }
        self.kept = Some(part.columns);
        Ok(())
    }

    /// Ranges of the sets at first: no more than there is. Supplies may put in more than is taken.
    fn ranges(&self) -> Vec<[Option<i64>; 2]> {
        let all = |set: &Vec<usize>| {
            let supplied = set.iter().any(|&item| is_supplied(self.job, item));
            let pieces = set.iter().map(|&item| ready(self.job, &self.out.left, item));
            [(!supplied).then_some(0), Some(pieces.sum())]
        };
        self.proof.sets.iter().map(all).collect()
    }

    fn prices(
        &self,
        tier: usize,
        multipliers: &ProofMultipliers,
        ranges: &[[Option<i64>; 2]],
        cuts: &[i128],
    ) -> Result<Priced, NotShown> {
        let mut prices = Priced {
            constant: 0,
            waste: 0,
            item: vec![0; self.job.stock.len()],
            supplied: vec![0; self.job.stock.len() + self.job.plates.len()],
            serving: BTreeMap::new(),
            held_back: 0,
            stood: [0; 2],
            cuts: multipliers.cuts.clone(),
        };
        for &(cut, multiplier) in &multipliers.cuts {
            let limit = cuts.get(cut).ok_or_else(|| wrong("a cut that is not there"))?;
            let change = multiplier.checked_mul(*limit);
            let change = change.filter(|_| (0..=LARGEST_OF_CUT).contains(&multiplier));
            let constant = change.and_then(|change| prices.constant.checked_sub(change));
            prices.constant = constant.ok_or_else(|| wrong("multipliers too large"))?;
        }
        for &(set, most, least) in &multipliers.sets {
            let range = ranges.get(set).ok_or_else(|| wrong("a set that the certificate lacks"))?;
            let [most, least] = [(range[1], most), (range[0], least)]
                .map(|(limit, multiplier)| limit.map_or(0, |_| multiplier));
            if !(0..=LARGEST).contains(&most) || !(0..=LARGEST).contains(&least) {
                return Err(wrong("a multiplier below zero, or too large"));
            }
            let of = |multiplier: i128, limit: Option<i64>| {
                multiplier.checked_mul(limit.unwrap_or(0).into())
            };
            let change =
                of(least, range[0]).zip(of(most, range[1])).map(|(least, most)| least - most);
            let constant = change.and_then(|change| prices.constant.checked_add(change));
            prices.constant = constant.ok_or_else(|| wrong("multipliers too large"))?;
            for &item in &self.proof.sets[set] {
                prices.supplied[item] += most - least;
            }
        }
        prices.item.copy_from_slice(&prices.supplied[..self.job.stock.len()]);
        let earlier = multipliers.goals.iter().copied();
        for (goal, multiplier) in earlier.chain([(tier, UNIT)]) {
            if goal > tier || !(0..=LARGEST).contains(&multiplier) {
                return Err(wrong("a multiplier of a goal that is not earlier, or too large"));
            }
            if goal < tier {
                let change = multiplier.checked_mul(self.values[goal]);
                let constant = change.and_then(|change| prices.constant.checked_sub(change));
                prices.constant = constant.ok_or_else(|| wrong("multipliers too large"))?;
            }
            match self.tiers[goal] {
                Tier::Served(priority) => {
                    *prices.serving.entry(priority).or_default() -= multiplier
                }
                Tier::HeldBack => prices.held_back -= multiplier,
                Tier::Reopened => prices.stood[0] -= multiplier,
                Tier::Slips => prices.stood[1] -= multiplier,
                Tier::Waste => prices.waste += multiplier,
                Tier::Plates => {
                    let plates = prices.supplied.iter_mut().skip(self.job.stock.len());
                    plates.for_each(|price| *price += multiplier);
                }
                Tier::Pieces => prices.item.iter_mut().for_each(|price| *price += multiplier),
                Tier::Scarcity => {
                    for (price, lot) in prices.item.iter_mut().zip(&self.job.stock) {
                        *price += multiplier * scarcity(lot);
                    }
                }
            }
        }
        let large = |price: &i128| price.abs() > 16 * LARGEST;
        let mut all = prices.item.iter().chain(&prices.supplied);
        if prices.waste > LARGEST_OF_MONEY || all.any(large) {
            return Err(wrong("multipliers too large"));
        }
        Ok(prices)
    }

    /// Prices of all ways to fill a place.
    fn prepare(&self, prices: &Priced) -> Prepared {
        let lists = self.fillings.lists.iter().map(|list| {
            let price = |filling: &super::fillings::Filling| {
                let pieces = filling.picks.iter();
                let pieces = pieces.map(|pick| i128::from(pick.count) * prices.item[pick.item]);
                prices.waste * filling.waste + pieces.sum::<i128>()
            };
            list.iter().map(price).collect()
        });
        let stood = |&pump: &usize| {
            let peeled = self.job.standing.get(pump).into_iter().flat_map(Standing::peeled);
            let peeled = peeled.map(|pick| i128::from(pick.count) * prices.item[pick.item]);
            [prices.stood[0] - peeled.sum::<i128>(), prices.stood[1]]
        };
        Prepared {
            waste: prices.waste,
            stood: self.proof.pumps.iter().map(stood).collect(),
            serving: self.proof.pumps.iter().map(|&pump| self.serving(prices, pump)).collect(),
            lists: lists.collect(),
        }
    }

    /// Price of serving a pump beside its pieces, or of a piece that is held back.
    fn serving(&self, prices: &Priced, pump: usize) -> i128 {
        if let Some(piece) = self.piece(pump) {
            // It is in no kit: its item has the price of the sets alone.
            return prices.held_back * i128::from(piece.worth) + prices.supplied[piece.item];
        }
        prices.serving.get(&self.job.pumps[pump].priority).copied().unwrap_or(0)
    }

    fn price(&self, prices: &Priced, place: usize, column: &Column) -> i128 {
        let is_kit = self.piece(self.proof.pumps[place]).is_none();
        let pieces = column.uses.iter().filter(|_| is_kit);
        let pieces: i128 = pieces.map(|&(item, count)| prices.item[item] * i128::from(count)).sum();
        let cuts = prices.cuts.iter().map(|&(cut, price)| price * column.cuts[cut]);
        let stood = prices.stood.iter().zip(column.stood).filter(|(_, stood)| *stood);
        let others = cuts.chain(stood.map(|(price, _)| *price)).sum::<i128>();
        self.serving(prices, self.proof.pumps[place])
            + prices.waste * column.waste
            + pieces
            + others
    }

    /// Leaves out what is in no plan of at most this value; whether there is no such plan.
    fn leave_out(
        &self,
        prices: &Priced,
        part: &mut Part,
        most: i128,
        work: &mut Work,
    ) -> Result<bool, NotShown> {
        let mut all = Vec::with_capacity(part.columns.len());
        let mut bound = prices.constant;
        for (place, columns) in part.columns.iter().enumerate() {
            work.add(columns.len() as u64)?;
            let priced: Vec<i128> =
                columns.iter().map(|column| self.price(prices, place, column)).collect();
            let idle = part.idle[place].then_some(0);
            let Some(least) = priced.iter().copied().chain(idle).min() else { return Ok(true) };
            bound += least;
            all.push((least, priced));
        }
        // Empty after a split, perhaps.
        if part.supplies.iter().any(|(_, choices)| choices.is_empty()) {
            return Ok(true);
        }
        let of_supplies = priced_choices(&part.supplies, prices);
        work.add(of_supplies.iter().map(|(_, priced)| priced.len() as u64).sum())?;
        bound += of_supplies.iter().map(|(least, _)| least).sum::<i128>();
        let room = most * UNIT - bound;
        if room < 0 {
            return Ok(true);
        }
        leave_out_choices(&mut part.supplies, of_supplies, room);
        for (place, (least, priced)) in all.into_iter().enumerate() {
            let stays = |price: i128| price - least <= room;
            part.idle[place] &= stays(0);
            if priced.iter().any(|&price| !stays(price)) {
                let both = part.columns[place].iter().zip(priced);
                let few = both.filter(|(_, price)| stays(*price)).map(|(column, _)| column.clone());
                part.columns[place] = Arc::new(few.collect());
            }
        }
        Ok(false)
    }

    /// Leaves out what is in no plan below the claim; whether there is no such plan.
    fn reduce(
        &self,
        tier: usize,
        part: &mut Part,
        multipliers: &ProofMultipliers,
        claim: i128,
        work: &mut Work,
    ) -> Result<bool, NotShown> {
        let prices = self.prices(tier, multipliers, &part.ranges, &part.cuts)?;
        loop {
            // The greatest value below the claim that there can be.
            let below = (claim - 1).div_euclid(part.step) * part.step;
            if self.leave_out(&prices, part, below, work)? {
                return Ok(true);
            }
            let before = part.step;
            self.step(tier, part);
            if part.step == before {
                return Ok(false);
            }
        }
    }

    /// Greatest number of which all costs that are left are multiples.
    fn step(&self, tier: usize, part: &mut Part) {
        let mut step = 0;
        for (place, columns) in part.columns.iter().enumerate() {
            for column in columns.iter() {
                step = common(step, self.cost(tier, place, column));
                if step == 1 {
                    break;
                }
            }
        }
        let of_supply = |choice: &Choice| match self.tiers[tier] {
            Tier::Waste => choice.waste,
            Tier::Plates => choice.plates,
            _ => 0,
        };
        let choices = part.supplies.iter().flat_map(|(_, choices)| choices.iter());
        step = choices.fold(step, |step, choice| common(step, of_supply(choice)));
        part.step = step.max(1);
    }

    fn cost(&self, tier: usize, place: usize, column: &Column) -> i128 {
        if let Some(piece) = self.piece(self.proof.pumps[place]) {
            return if self.tiers[tier] == Tier::HeldBack { -i128::from(piece.worth) } else { 0 };
        }
        let each = |of: &dyn Fn(usize) -> i128| {
            column.uses.iter().map(|&(item, count)| i128::from(count) * of(item)).sum()
        };
        match self.tiers[tier] {
            Tier::Served(priority) => {
                let of_it = self.job.pumps[self.proof.pumps[place]].priority == priority;
                -i128::from(of_it)
            }
            Tier::HeldBack => 0,
            Tier::Reopened => -i128::from(column.stood[0]),
            Tier::Slips => -i128::from(column.stood[1]),
            Tier::Waste => column.waste,
            Tier::Plates => 0,
            Tier::Pieces => each(&|_| 1),
            Tier::Scarcity => each(&|item| scarcity(&self.job.stock[item])),
        }
    }

    /// Shows that no plan of a part, the whole at first, is below the claim.
    fn settle(
        &self,
        tier: usize,
        goal: &GoalProof,
        claim: i128,
        whole: Part,
        work: &mut Work,
    ) -> Shown {
        let mut open = vec![(0, whole)];
        while let Some((at, mut part)) = open.pop() {
            let node = &goal.nodes[at];
            // A part may be referred to many times over, and have nothing left to look at.
            work.add(1 + part.columns.len() as u64)?;
            if self.reduce(tier, &mut part, &node.multipliers, claim, work)? {
                continue;
            }
            match &node.split {
                Some((split, halves)) => {
                    // A proof that refers back would never end.
                    if halves.iter().any(|&half| half <= at || half >= goal.nodes.len()) {
                        return Err(wrong("a part that is not there"));
                    }
                    let [without, with] = self.halves(&part, *split)?;
                    open.extend([(halves[0], without), (halves[1], with)]);
                }
                None if self.none_below(tier, &part, claim) => {}
                None => return Err(wrong(format!("part {at} of the proof is left open"))),
            }
        }
        Ok(())
    }

    /// Whether one choice a pump is left, and that is no plan below the claim.
    fn none_below(&self, tier: usize, part: &Part, claim: i128) -> bool {
        let mut taken: Vec<Option<&Column>> = Vec::new();
        for (columns, idle) in part.columns.iter().zip(&part.idle) {
            match (columns.as_slice(), idle) {
                ([], true) => taken.push(None),
                ([one], false) => taken.push(Some(one)),
                _ => return false,
            }
        }
        if part.supplies.iter().any(|(_, choices)| choices.len() != 1) {
            return false;
        }
        let chosen: Vec<&Choice> =
            part.supplies.iter().flat_map(|(_, choices)| choices.iter()).collect();
        let mut used: BTreeMap<usize, i128> = BTreeMap::new();
        for (item, count) in taken.iter().flatten().flat_map(|column| &column.uses) {
            *used.entry(*item).or_default() += i128::from(*count);
        }
        for (item, count) in chosen.iter().flat_map(|choice| &choice.uses) {
            *used.entry(*item).or_default() += count;
        }
        let overdrawn =
            used.iter().any(|(&item, &count)| count > ready(self.job, &self.out.left, item).into());
        let outside = self.proof.sets.iter().zip(&part.ranges).any(|(set, [least, most])| {
            let total: i128 = set.iter().filter_map(|item| used.get(item)).sum();
            least.is_some_and(|least| total < least.into())
                || most.is_some_and(|most| total > most.into())
        });
        let supplied = |tier: usize| match self.tiers[tier] {
            Tier::Waste => chosen.iter().map(|choice| choice.waste).sum(),
            Tier::Plates => chosen.iter().map(|choice| choice.plates).sum(),
            _ => 0,
        };
        let value = |tier: usize| {
            let each =
                taken.iter().enumerate().filter_map(|(place, column)| Some((place, (*column)?)));
            let kits = each.map(|(place, column)| self.cost(tier, place, column)).sum::<i128>();
            kits + supplied(tier)
        };
        let worse = (0..tier).any(|earlier| value(earlier) > self.values[earlier]);
        overdrawn || outside || worse || value(tier) >= claim
    }

    fn halves(&self, part: &Part, split: ProofSplit) -> Result<[Part; 2], NotShown> {
        let [mut without, mut with] = [part.clone(), part.clone()];
        let place = |pump: usize| {
            let place = self.proof.pumps.iter().position(|other| *other == pump);
            place.ok_or_else(|| wrong("a split on a pump that the group lacks"))
        };
        match split {
            ProofSplit::MoreThan { set, pieces } => {
                let [least, most] = *part
                    .ranges
                    .get(set)
                    .ok_or_else(|| wrong("a set that the certificate lacks"))?;
                without.ranges[set] = [least, Some(most.map_or(pieces, |most| most.min(pieces)))];
                let more = pieces.saturating_add(1);
                with.ranges[set] = [Some(least.map_or(more, |least| least.max(more))), most];
            }
            ProofSplit::Served { pump } => {
                let place = place(pump)?;
                without.columns[place] = Arc::default();
                with.idle[place] = false;
            }
            ProofSplit::Takes { pump, item, least } => {
                let place = place(pump)?;
                let takes = |column: &&Column| {
                    column.uses.iter().any(|&(other, count)| other == item && count >= least)
                };
                let (yes, no): (Vec<Column>, Vec<Column>) = {
                    let columns = part.columns[place].iter().cloned();
                    columns.partition(|column| takes(&column))
                };
                without.columns[place] = Arc::new(no);
                with.columns[place] = Arc::new(yes);
                with.idle[place] = false;
            }
            ProofSplit::Supplies { supplier, least } => {
                let name = self.proof.suppliers.get(supplier);
                let at = part.supplies.iter().position(|(own, _)| Some(own) == name);
                let at = at.ok_or_else(|| wrong("a supply that the group lacks"))?;
                let (yes, no): (Vec<Choice>, Vec<Choice>) =
                    part.supplies[at].1.iter().cloned().partition(|choice| choice.amount >= least);
                without.supplies[at].1 = Arc::new(no);
                with.supplies[at].1 = Arc::new(yes);
            }
        }
        Ok([without, with])
    }
}

/// Prices of the choices of each supply, the least first.
fn priced_choices(supplies: &[Supply], prices: &Priced) -> Vec<(i128, Vec<i128>)> {
    let price = |choice: &Choice| {
        let uses = choice.uses.iter().map(|&(item, count)| prices.supplied[item] * count);
        prices.waste * choice.waste + uses.sum::<i128>()
    };
    let of_supply = |(_, choices): &Supply| {
        let priced: Vec<i128> = choices.iter().map(price).collect();
        (priced.iter().copied().min().unwrap_or(0), priced)
    };
    supplies.iter().map(of_supply).collect()
}

/// Leaves out the choices that are dearer than the least of their supply by more than the room.
fn leave_out_choices(supplies: &mut [Supply], priced: Vec<(i128, Vec<i128>)>, room: i128) {
    for ((_, choices), (least, priced)) in supplies.iter_mut().zip(priced) {
        let few = choices.iter().zip(priced).filter(|(_, price)| price - least <= room);
        let few: Vec<Choice> = few.map(|(choice, _)| choice.clone()).collect();
        if few.len() < choices.len() {
            *choices = Arc::new(few);
        }
    }
}

/// Greatest common divisor.
fn common(a: i128, b: i128) -> i128 {
    let (mut a, mut b) = (a.abs(), b.abs());
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

/// Value of a plan on a goal, as far as these pumps go.
fn value(job: &Job, plan: &Plan, (pumps, supplies): (&[usize], &[Supply]), tier: Tier) -> i128 {
    if tier == Tier::HeldBack {
        let mine =
            plan.held_back.iter().filter(|&piece| pumps.contains(&(job.pumps.len() + piece)));
        return -mine.map(|&piece| i128::from(job.hold_back[piece].worth)).sum::<i128>();
    }
    let pumps: Vec<usize> = pumps.iter().copied().filter(|&pump| pump < job.pumps.len()).collect();
    let kept = |of: fn(&Standing, &[PackPick]) -> bool| {
        let kept = pumps.iter().filter(|&&pump| match (&plan.kits[pump], job.standing.get(pump)) {
            (Kit::Served(packs), Some(stands)) => of(stands, packs),
            _ => false,
        });
        -i128::try_from(kept.count()).unwrap_or(i128::MAX)
    };
    match tier {
        Tier::Reopened => return kept(Standing::keeps_bag),
        Tier::Slips => return kept(Standing::keeps_slip),
        _ => {}
    }
    let served = pumps.iter().filter_map(|&pump| match &plan.kits[pump] {
        Kit::Served(packs) => Some((pump, packs)),
        Kit::Short(_) => None,
    });
    let taken = |pump: usize, packs: &[PackPick], of: &dyn Fn(usize) -> i128| -> i128 {
        job.takes(pump, packs).map(|pick| i128::from(pick.count) * of(pick.item)).sum()
    };
    let mine = |plate: usize| supplies.iter().any(|(name, _)| key(name) == (true, plate));
    let layouts = plan.layouts.iter().filter(|layout| mine(layout.plate));
    let of_supplies: i128 = match tier {
        Tier::Waste => {
            let mut issued: BTreeMap<usize, i64> = BTreeMap::new();
            for pick in served.clone().flat_map(|(pump, packs)| job.takes(pump, packs)) {
                *issued.entry(pick.item).or_default() += i64::from(pick.count);
            }
            by_the_pack(job, &issued) + layouts.map(|layout| offcut(job, layout)).sum::<i128>()
        }
        Tier::Plates => layouts.count() as i128,
        _ => 0,
    };
    let of_kits: i128 = served
        .map(|(pump, packs)| match tier {
            Tier::Served(priority) => -i128::from(job.pumps[pump].priority == priority),
            Tier::Waste => {
                let of = &job.pumps[pump];
                let each = |pick: &Pick| {
                    let lot = &job.stock[pick.item];
                    i128::from(pick.count) * (whole_piece(job, lot) + trim(lot, pick.peeled))
                };
                let pieces = packs.iter().flat_map(|pack| &pack.picks).map(each);
                let off = of.requirements.iter();
                let off = off.map(|r| charge(job, off_target(job, of, packs, &r.form)));
                pieces.chain(off).sum::<i128>()
            }
            Tier::Plates | Tier::HeldBack | Tier::Reopened | Tier::Slips => 0,
            Tier::Pieces => taken(pump, packs, &|_| 1),
            Tier::Scarcity => taken(pump, packs, &|item| scarcity(&job.stock[item])),
        })
        .sum();
    of_kits + of_supplies
}
