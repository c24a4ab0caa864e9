//! Checker of plans: every plan is worked out again from the job alone before anything is written.
//!
//! [`verify`] makes a [`Verified`] plan; only such a plan is written. The checker shares no code with [`crate::choose`]:
//! it judges the limits at the extreme values of every contributor, from the requirement's own definition, and counts
//! stock and goals again. A plan that fails gives every [`Breach`]. That no better plan exists is shown by the plan's
//! [certificate](mod@crate::certificate), which is added up again here with kits that the checker lists itself: only
//! then is a goal called proven ([`AddedUp`]). Purchases, provisions and rechecks have checkers of their own.

mod bags;
mod breach;
mod certificate;
mod fillings;
mod limits;
mod plates;
mod provision;
mod purchase;
mod recheck;
mod standing;
mod supplies;

pub use breach::{Breach, Holder, PlaceBreach, RecordBreach, SetAsideBreach};
pub use certificate::{AddedUp, NotShown};
pub use provision::{VerifiedProvision, verify_provision};
pub use purchase::{VerifiedPurchase, verify_purchase};
pub use recheck::{VerifiedRecheck, verify_recheck};

use std::collections::{BTreeMap, BTreeSet};

use crate::accounting::{spoiled, stack};
use crate::certificate::{Certificate, PieceToHoldBack};
use crate::consumables::{self, Bag};
use crate::cutting::Layout;
use crate::decimal::Millionths;
use crate::issue::key;
use crate::issue::planned::Planned;
use crate::issue::returned::{self, ReturnedLot};
use crate::job::{HoldBack, Job, Standing};
use crate::model::{Form, Term};
use crate::plan::{Cause, Kit, LeftOut, Objective, ObjectiveValue, PackPick, Pick, Plan};
use crate::policy::Acceptance;
use crate::pump::Pump;
use crate::stack::judge;
use crate::stock::Item;

pub use bags::check_bags;
pub use plates::verify_cut;
use plates::{check_plates, offcut};

/// Plan that has passed the checker; only [`verify`] makes one, and only such plans are written.
#[derive(Debug, Clone)]
pub struct Verified {
    job: Job,
    plan: Plan,
    bags: Vec<Bag>,
    added_up: Vec<AddedUp>,
}

impl Verified {
    /// Job of the plan.
    pub fn job(&self) -> &Job {
        &self.job
    }

    /// Plan itself.
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// Whether the bound of each goal, in their order, was added up again from the plan's certificate.
    pub fn added_up(&self) -> &[AddedUp] {
        &self.added_up
    }

    /// Whether a goal is proven, and its bound added up again.
    pub fn shows(&self, aim: Objective) -> bool {
        let mut goals = self.plan.goals.iter().zip(&self.added_up);
        goals.any(|(goal, added_up)| goal.objective == aim && *added_up == AddedUp::Agrees)
    }

    /// Whether every goal is proven, and every bound added up again.
    pub fn proven(&self) -> bool {
        self.added_up.iter().all(|added_up| *added_up == AddedUp::Agrees)
    }

    /// Goals that are said to be proven, but not added up again, with the reason.
    pub fn not_added_up(&self) -> impl Iterator<Item = (&ObjectiveValue, &NotShown)> {
        let goals = self.plan.goals.iter().zip(&self.added_up);
        goals.filter_map(|(goal, added_up)| match added_up {
            AddedUp::Not(why) => Some((goal, why)),
            AddedUp::Agrees | AddedUp::Open => None,
        })
    }

    /// Consumables of each pump, in the job's order.
    pub fn bags(&self) -> &[Bag] {
        &self.bags
    }

    /// Lines of the plan that take from the stock, and those that are short.
    pub fn planned(&self) -> Planned {
        Planned::of(&self.job, &self.plan, &self.bags, &self.spoiled())
    }

    /// Pieces of one pump, by its index in the job: those for its places, then those for its bag.
    pub fn picks(&self, pump: usize) -> impl Iterator<Item = &Pick> + Clone {
        let packs = match &self.plan.kits[pump] {
            Kit::Served(packs) => packs.as_slice(),
            Kit::Short(_) => &[],
        };
        let bag = self.bags[pump].iter().flat_map(|share| &share.picks);
        packs.iter().flat_map(|pack| &pack.picks).chain(bag)
    }

    /// Whether a pump's bag from before the plan stays closed.
    pub fn leaves_closed(&self, pump: usize) -> bool {
        self.plan.leaves_closed(&self.job, pump)
    }

    /// Pieces of each item issued in all, for packs and bags, by the job's stock; those in bags that stay closed are
    /// issued already.
    pub fn issued(&self) -> Vec<u32> {
        self.pieces_of(|pump| !self.leaves_closed(pump))
    }

    /// Pieces of each item that the kits hold in all, those in bags that stay closed included, by the job's stock.
    pub fn taken(&self) -> Vec<u32> {
        self.pieces_of(|_| true)
    }

    /// Pieces of each item that are spoiled with the packs that are opened, by the job's stock.
    pub fn spoiled(&self) -> Vec<u32> {
        let taken = self.taken().into_iter().enumerate();
        taken.map(|(index, taken)| spoiled(&self.job, index, taken)).collect()
    }

    /// Pieces of each item on hand before the plan, by the job's stock: without those in bags that stay closed.
    pub fn before(&self) -> Vec<u32> {
        let closed = self.pieces_of(|pump| self.leaves_closed(pump));
        let lots = self.job.stock.iter().zip(closed);
        lots.map(|(lot, closed)| lot.on_hand.saturating_sub(closed)).collect()
    }

    fn pieces_of(&self, of: impl Fn(usize) -> bool) -> Vec<u32> {
        let mut pieces = vec![0; self.job.stock.len()];
        for pump in (0..self.job.pumps.len()).filter(|pump| of(*pump)) {
            let closed = self.leaves_closed(pump);
            // Peeled ones in a closed bag come out of no bin.
            for pick in self.picks(pump).filter(|pick| !closed || pick.peeled == 0) {
                pieces[pick.item] += pick.count;
            }
        }
        pieces
    }

    /// Lots that go back into the stock of the plates that are cut.
    pub fn returned(&self) -> Vec<ReturnedLot> {
        returned::of(&self.job, &self.plan)
    }

    /// Pieces of each item on hand after the plan is carried out, without the pieces issued and the rest of
    /// spoiled packs, and with those that go back to it.
    pub fn left(&self) -> Vec<u32> {
        let returned = self.returned();
        let gone = self.issued().into_iter().zip(self.spoiled());
        gone.zip(self.before())
            .enumerate()
            .map(|(index, ((issued, spoiled), before))| {
                let gone = issued + spoiled;
                before.saturating_sub(gone) + back(&returned, &self.job.stock[index].item)
            })
            .collect()
    }

    /// Whole plates of each lot on hand after the plan is carried out.
    pub fn plates_left(&self) -> Vec<u32> {
        let returned = self.returned();
        let lots = self.job.plates.iter().zip(self.plan.plates_cut(&self.job));
        lots.map(|(lot, cut)| lot.on_hand.saturating_sub(cut) + back(&returned, &lot.item))
            .collect()
    }
}

/// Number that goes back to a lot that the stock has.
fn back(returned: &[ReturnedLot], item: &str) -> u32 {
    returned.iter().filter(|lot| key(&lot.item) == key(item)).map(|lot| lot.count).sum()
}

/// Works a plan out again.
///
/// # Errors
/// Every breach. A plan with one is a defect of this program and is never written.
pub fn verify(job: Job, plan: Plan) -> Result<Verified, Vec<Breach>> {
    worked_out(job, plan, None)
}

/// Works out another plan of the same job: one whose order is settled, or with the worth of one more. Its certificate is
/// added up again unless it is the very one of `before`, about the same values in each group.
///
/// # Errors
/// As [`verify`].
pub fn verify_after(before: &Verified, plan: Plan) -> Result<Verified, Vec<Breach>> {
    worked_out(before.job.clone(), plan, Some(before))
}

fn worked_out(job: Job, plan: Plan, before: Option<&Verified>) -> Result<Verified, Vec<Breach>> {
    plan.check(&job).map_err(|error| vec![error.into()])?;
    let mut breaches = Vec::new();
    check_not_measured(&job, &mut breaches);
    let sums = check_kits(&job, &plan, &mut breaches);
    check_goals(&job, &plan, &after_serving(&job), &mut breaches);
    check_values(&plan, &sums, &mut breaches);
    if !breaches.is_empty() {
        return Err(breaches);
    }
    let bags = consumables::fill(&job, &plan);
    let breaches = check_bags(&job, &plan, &bags);
    if !breaches.is_empty() {
        return Err(breaches);
    }
    let same = before.filter(|before| certificate::carries_over(&job, &before.plan, &plan));
    let added_up = match same {
        Some(before) => before.added_up.clone(),
        None => certificate::added_up(&job, &plan, &plan.certificate),
    };
    Ok(Verified { job, plan, bags, added_up })
}

/// Works the kits and plates of a plan out again that was read, and adds its certificate up: a plan that says to be proven
/// best.
///
/// # Errors
/// As [`verify`].
pub fn verify_certificate(
    job: Job,
    kits: Vec<Kit>,
    layouts: Vec<Layout>,
    certificate: Certificate,
) -> Result<Verified, Vec<Breach>> {
    let pieces = certificate.to_hold_back.iter();
    let pieces = pieces.map(|&PieceToHoldBack { item, worth, .. }| HoldBack { item, worth });
    let pieces = pieces.collect();
    let job = job.with(|parts| parts.hold_back = pieces).map_err(|error| vec![error.into()])?;
    verify_read(job, kits, layouts, certificate)
}

/// Works the kits and plates of a plan out again that was read. Nothing of it counts as proven best.
///
/// # Errors
/// As [`verify`].
pub fn verify_kits(
    job: Job,
    kits: Vec<Kit>,
    layouts: Vec<Layout>,
) -> Result<Verified, Vec<Breach>> {
    verify_read(job, kits, layouts, Certificate::default())
}

fn verify_read(
    job: Job,
    kits: Vec<Kit>,
    layouts: Vec<Layout>,
    certificate: Certificate,
) -> Result<Verified, Vec<Breach>> {
    let left_out = LeftOut::default();
    let (goals, worth, holding) = (Vec::new(), Vec::new(), Vec::new());
    let stopped_by = None;
    let (cures, left) = (Vec::new(), None);
    let pieces = certificate.to_hold_back.iter().enumerate();
    let held_back = pieces.filter(|(_, piece)| piece.held).map(|(at, _)| at).collect();
    let mut plan = Plan {
        kits,
        goals,
        layouts,
        held_back,
        worth,
        holding,
        cures,
        left,
        stopped_by,
        left_out,
        certificate,
    };
    plan.check(&job).map_err(|error| vec![error.into()])?;
    let sums = check_kits(&job, &plan, &mut Vec::new());
    let mut aims = served_goals(&job);
    aims.extend(after_serving(&job));
    plan.goals = aims
        .into_iter()
        .filter_map(|objective| {
            let value = i64::try_from(sums.of(objective)).ok()?;
            Some(ObjectiveValue { objective, value, bound: value })
        })
        .collect();
    verify(job, plan)
}

/// Checks that no pump is both planned for and waiting, and that each one that waits does so for a reading.
fn check_not_measured(job: &Job, breaches: &mut Vec<Breach>) {
    let mut seen: BTreeSet<String> = job.pumps.iter().map(|pump| key(&pump.tag)).collect();
    for pump in &job.not_measured {
        if !seen.insert(key(&pump.tag)) || pump.waits_for.is_empty() {
            breaches.push(Breach::NotMeasured(pump.tag.clone()));
        }
    }
}

/// Holds the pumps that a plan lists as not measured against those that the job finds so.
///
/// # Errors
/// A breach for each that is missing in the list, and for each that is listed and has its readings.
pub fn verify_not_measured(job: &Job, listed: &[String]) -> Result<(), Vec<Breach>> {
    let waiting = || job.not_measured.iter().map(|pump| &pump.tag);
    let keys = |tags: &mut dyn Iterator<Item = &String>| -> BTreeSet<String> {
        tags.map(|tag| key(tag)).collect()
    };
    let (in_list, in_job) = (keys(&mut listed.iter()), keys(&mut waiting()));
    let missing = waiting().filter(|tag| !in_list.contains(&key(tag)));
    let more = listed.iter().filter(|tag| !in_job.contains(&key(tag)));
    let missing = missing.cloned().map(Breach::NotListed);
    let breaches: Vec<Breach> = missing.chain(more.cloned().map(Breach::NotMeasured)).collect();
    if breaches.is_empty() { Ok(()) } else { Err(breaches) }
}

/// Works every kit out again, counts the pieces of all kits, and adds up their costs.
fn check_kits(job: &Job, plan: &Plan, breaches: &mut Vec<Breach>) -> Sums {
    let mut issued: BTreeMap<usize, i64> = BTreeMap::new();
    let mut sums = Sums::default();
    for (standing, kit) in job.standing.iter().zip(&plan.kits) {
        let keeps = |of: fn(&Standing, &[PackPick]) -> bool| match kit {
            Kit::Served(packs) => of(standing, packs),
            Kit::Short(_) => false,
        };
        sums.reopened += i128::from(standing.bag.is_some() && !keeps(Standing::keeps_bag));
        sums.slips += i128::from(standing.slip.is_some() && !keeps(Standing::keeps_slip));
    }
    for (at, (pump, kit)) in job.pumps.iter().zip(&plan.kits).enumerate() {
        let Kit::Served(packs) = kit else { continue };
        check_pieces(job, pump, packs, breaches);
        check_limits(job, pump, packs, breaches);
        for pick in job.takes(at, packs) {
            let lot = &job.stock[pick.item];
            *issued.entry(pick.item).or_default() += i64::from(pick.count);
            sums.pieces += i128::from(pick.count);
            sums.scarcity += i128::from(pick.count) * scarcity(lot);
        }
        sums.add(job, pump, packs);
    }
    let mut of_stock = issued.clone();
    let mut held = BTreeSet::new();
    for &piece in &plan.held_back {
        let of = &job.hold_back[piece];
        if !held.insert(piece) || supplies::is_supplied(job, of.item) {
            breaches.push(Breach::HeldBack(job.stock[of.item].item.clone()));
        }
        *of_stock.entry(of.item).or_default() += 1;
        sums.held_back += i128::from(of.worth);
    }
    for (&item, &count) in &of_stock {
        let lot = &job.stock[item];
        if count > i64::from(lot.on_hand) - i64::from(lot.reserved) {
            let item = lot.item.clone();
            breaches.push(Breach::Overdrawn { item, count });
        }
    }
    sums.waste += by_the_pack(job, &issued);
    check_plates(job, plan, &issued, breaches);
    sums.plates = i128::try_from(plan.layouts.len()).unwrap_or(i128::MAX);
    sums.waste += plan.layouts.iter().map(|layout| offcut(job, layout)).sum::<i128>();
    for (pump, kit) in job.pumps.iter().zip(&plan.kits) {
        let Kit::Short(shorts) = kit else { continue };
        if shorts.is_empty() {
            breaches.push(Breach::NoReason(pump.tag.clone()));
        }
        for short in shorts {
            if let Cause::NotProven { packs } = &short.cause {
                check_not_proven(job, pump, packs, breaches);
            }
        }
    }
    sums
}

/// Checks that every goal's value equals the one counted again, and is not beyond its own bound.
fn check_values(plan: &Plan, sums: &Sums, breaches: &mut Vec<Breach>) {
    for goal in &plan.goals {
        let recounted = sums.of(goal.objective);
        if recounted != i128::from(goal.value) {
            breaches.push(Breach::Value { aim: goal.objective, recounted, said: goal.value });
        }
        let beyond = match goal.objective {
            Objective::ServedWeight | Objective::ServedOf(_) | Objective::HeldBack => {
                goal.value > goal.bound
            }
            _ => goal.value < goal.bound,
        };
        if beyond {
            breaches.push(Breach::Bound(goal.objective));
        }
    }
}

/// Goals after those of serving, in their order.
fn after_serving(job: &Job) -> Vec<Objective> {
    let stands = |of: fn(&Standing) -> bool| job.standing.iter().any(of);
    let aims = [
        (!job.hold_back.is_empty(), Objective::HeldBack),
        (stands(|stands| stands.bag.is_some()), Objective::Reopened),
        (true, Objective::Waste),
        (!job.plates.is_empty(), Objective::Plates),
        (true, Objective::Pieces),
        (stands(|stands| stands.slip.is_some()), Objective::Slips),
        (true, Objective::Scarcity),
    ];
    aims.into_iter().filter(|(counts, _)| *counts).map(|(_, aim)| aim).collect()
}

/// Goals of serving, first of all goals.
fn served_goals(job: &Job) -> Vec<Objective> {
    let mut counts: BTreeMap<u32, i128> = BTreeMap::new();
    for pump in &job.pumps {
        *counts.entry(pump.priority).or_default() += 1;
    }
    // One more than the weight of all pumps together.
    let whole = counts.values().fold(1_i128, |product, n| product.saturating_mul(n + 1));
    if whole - 1 <= 1 << 53 {
        vec![Objective::ServedWeight]
    } else {
        counts.keys().map(|&priority| Objective::ServedOf(priority)).collect()
    }
}

/// Checks that the goals are those of a plan, in their order, and that a plan that is not proven gives the
/// reason that the search ended.
fn check_goals(job: &Job, plan: &Plan, after_served: &[Objective], breaches: &mut Vec<Breach>) {
    let mut expected = served_goals(job);
    expected.extend(after_served);
    if plan.goals.iter().map(|goal| goal.objective).ne(expected) {
        breaches.push(Breach::Goals);
    }
    let open = plan.goals.iter().any(|goal| goal.value != goal.bound);
    if open && plan.stopped_by.is_none() {
        breaches.push(Breach::NoEnd);
    }
}

#[derive(Default)]
struct Sums {
    weight: i128,
    of_priority: BTreeMap<u32, i128>,
    bought: i128,
    held_back: i128,
    reopened: i128,
    waste: i128,
    plates: i128,
    pieces: i128,
    slips: i128,
    scarcity: i128,
}

impl Sums {
    fn of(&self, aim: Objective) -> i128 {
        match aim {
            Objective::ServedWeight => self.weight,
            Objective::ServedOf(priority) => self.of_priority.get(&priority).copied().unwrap_or(0),
            Objective::Purchase => self.bought,
            Objective::HeldBack => self.held_back,
            Objective::Reopened => self.reopened,
            Objective::Waste => self.waste,
            Objective::Plates => self.plates,
            Objective::Pieces => self.pieces,
            Objective::Slips => self.slips,
            Objective::Scarcity => self.scarcity,
        }
    }

    fn add(&mut self, job: &Job, pump: &Pump, packs: &[PackPick]) {
        // One pump of a priority outranks all pumps of the later ones: its weight is the product of one more
        // than the counts of all later priorities.
        let mut later: BTreeMap<u32, i128> = BTreeMap::new();
        for other in job.pumps.iter().filter(|other| other.priority > pump.priority) {
            *later.entry(other.priority).or_insert(1) += 1;
        }
        self.weight = self
            .weight
            .saturating_add(later.values().fold(1_i128, |product, n| product.saturating_mul(*n)));
        *self.of_priority.entry(pump.priority).or_default() += 1;
        for pick in packs.iter().flat_map(|pack| &pack.picks) {
            let lot = &job.stock[pick.item];
            let each = whole_piece(job, lot) + trim(lot, pick.peeled);
            self.waste += i128::from(pick.count) * each;
        }
        for requirement in &pump.requirements {
            self.waste += charge(job, off_target(job, pump, packs, &requirement.form));
        }
    }
}

/// Charge for an amount beyond the target: by the thou, rounded up, at most a million of the currency.
fn charge(job: &Job, (beyond, unit): (i128, i128)) -> i128 {
    let thou = 254_000 * unit;
    let charge = beyond.abs() * i128::from(job.policy.off_target.raw());
    (charge + thou - 1).div_euclid(thou).min(1_000_000_000_000)
}

/// Scarcity points of one piece.
fn scarcity(lot: &Item) -> i128 {
    let spare = i128::from(lot.on_hand) - i128::from(lot.reserved) - i128::from(lot.min_level);
    1_000 / (1 + spare.max(0))
}

/// Waste of one piece without layers: its cost, unless that is paid for pack by pack, and its handling.
fn whole_piece(job: &Job, lot: &Item) -> i128 {
    // Pieces from packs that are spoiled once opened are paid for pack by pack.
    let singly = !(job.policy.opened_cartons_spoiled && lot.carton_qty > 1);
    let cost = if singly { lot.unit_cost.raw() } else { 0 };
    i128::from(cost) + i128::from(job.policy.handling.raw())
}

/// Cost of the layers peeled off one piece: their share of its cost, rounded up.
fn trim(lot: &Item, peeled: u32) -> i128 {
    let (Some(size), Some(step)) = (lot.size, lot.peel_step) else {
        return 0;
    };
    let off = i128::from(peeled) * i128::from(step.ticks()) * i128::from(lot.unit_cost.raw());
    let whole = i128::from(size.thickness.ticks());
    off / whole + i128::from(off % whole != 0)
}

/// Cost of pieces whose opened packs are spoiled: loose ones one by one, then whole packs.
fn by_the_pack(job: &Job, issued: &BTreeMap<usize, i64>) -> i128 {
    let mut sum = 0;
    for (&item, &count) in issued {
        let lot = &job.stock[item];
        let size = i64::from(lot.carton_qty);
        if !job.policy.opened_cartons_spoiled || size <= 1 {
            continue;
        }
        let available = (i64::from(lot.on_hand) - i64::from(lot.reserved)).max(0);
        let in_bags = i64::from(lot.in_bags).min(available);
        let loose = in_bags + (available - in_bags) % size;
        let mut paid = loose.min(count);
        while paid < count {
            paid += size;
        }
        sum += i128::from(paid) * i128::from(lot.unit_cost.raw());
    }
    sum
}

fn check_pieces(job: &Job, pump: &Pump, packs: &[PackPick], breaches: &mut Vec<Breach>) {
    let places = &job.models[pump.model].packs;
    if packs.len() != places.len() {
        breaches.push(Breach::Packs {
            pump: pump.tag.clone(),
            found: packs.len(),
            places: places.len(),
        });
    }
    for ((pack, place), fit) in packs.iter().zip(places).zip(&pump.fits) {
        let mut breach = |fault: PlaceBreach| {
            breaches.push(Breach::Place {
                pump: pump.tag.clone(),
                place: place.label.clone(),
                fault,
            });
        };
        let count: u32 = pack.picks.iter().map(|pick| pick.count).sum();
        if count < place.least_pieces || count > place.most_pieces {
            breach(PlaceBreach::Pieces(count));
        }
        for lot in pack.picks.iter().filter_map(|pick| job.stock.get(pick.item)) {
            if lot.kind != place.kind || lot.fit != *fit || lot.size.is_none() {
                breach(PlaceBreach::Misplaced(lot.item.clone()));
            }
        }
        for pick in &pack.picks {
            let Some(lot) = job.stock.get(pick.item) else {
                continue;
            };
            // At least one layer must be left.
            let left = lot.size.zip(lot.peel_step).is_some_and(|(size, step)| {
                size.thickness.ticks() >= (i64::from(pick.peeled) + 1) * step.ticks()
            });
            if pick.peeled > 0 && !left {
                breach(PlaceBreach::Peeled(lot.item.clone()));
            }
        }
    }
}

/// Nominal value of a term, in ticks.
fn nominal(job: &Job, pump: &Pump, packs: &[PackPick], term: Term) -> i128 {
    match term {
        Term::Dimension(index) => pump.dimensions[index].value.ticks().into(),
        Term::Thermal(index) => pump.growths[index].value.ticks().into(),
        Term::Derived(_) => pump.estimate(term).map_or(0, |known| known.value.ticks().into()),
        Term::Pack(index) => {
            let picks = packs.get(index).into_iter().flat_map(|pack| &pack.picks);
            let thickness = |pick: &Pick| {
                let lot = job.stock.get(pick.item)?;
                let layer = lot.peel_step.map_or(0, |step| i128::from(step.ticks()));
                let whole = i128::from(lot.size?.thickness.ticks());
                Some(i128::from(pick.count) * (whole - i128::from(pick.peeled) * layer))
            };
            picks.filter_map(thickness).sum()
        }
    }
}

/// Nominal value of a sum of terms, in millionths of a tick.
fn nominal_sum(job: &Job, pump: &Pump, packs: &[PackPick], terms: &[(Term, Millionths)]) -> i128 {
    let each =
        |(term, c): &(Term, Millionths)| nominal(job, pump, packs, *term) * i128::from(c.raw());
    terms.iter().map(each).sum()
}

const MILLION: i128 = 1_000_000;

fn check_limits(job: &Job, pump: &Pump, packs: &[PackPick], breaches: &mut Vec<Breach>) {
    let reported = stack(job, pump, packs);
    for requirement in &pump.requirements {
        // The report's own verdict must agree.
        let shown = judge(&requirement.form, &reported, job.policy.guard()).conforms();
        if !(limits::hold(job, pump, packs, &requirement.form, job.policy.acceptance) && shown) {
            breaches.push(Breach::NotMet {
                pump: pump.tag.clone(),
                requirement: requirement.label.clone(),
            });
        }
    }
}

/// Checks that a kit that is said to be not proven has every nominal value within its limits, and is not proven.
fn check_not_proven(job: &Job, pump: &Pump, packs: &[PackPick], breaches: &mut Vec<Breach>) {
    check_pieces(job, pump, packs, breaches);
    let all =
        |rule| pump.requirements.iter().all(|r| limits::hold(job, pump, packs, &r.form, rule));
    if !all(Acceptance::Nominal) || all(job.policy.acceptance) {
        breaches.push(Breach::NotProven(pump.tag.clone()));
    }
}

/// Amount beyond the target, and the number of its units in one tick.
fn off_target(job: &Job, pump: &Pump, packs: &[PackPick], form: &Form) -> (i128, i128) {
    match form {
        Form::Linear { terms, target, .. } => {
            let nominal = nominal_sum(job, pump, packs, terms);
            (nominal - i128::from(target.ticks()) * MILLION, MILLION)
        }
        Form::GasketFill { gasket, gap, target, .. } => {
            let free = nominal(job, pump, packs, Term::Pack(*gasket));
            let gap = nominal_sum(job, pump, packs, gap);
            let wanted = (MILLION + i128::from(target.raw())) * gap;
            (free * MILLION * MILLION - wanted, MILLION * MILLION)
        }
    }
}
