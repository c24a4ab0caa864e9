//! Checker of plans: every plan is worked out again from the job alone before anything is written.
//!
//! [`verify`] makes a [`Verified`] plan; only such a plan is written. The checker shares no code with [`crate::choose`]:
//! it judges the limits at the extreme values of every contributor, from the requirement's own definition, and counts
//! stock and goals again. A plan that fails gives every [`Breach`]. The checker cannot show that no better plan exists;
//! the bound does that. Purchases, provisions and rechecks have checkers of their own.

mod bags;
mod breach;
mod provision;
mod purchase;
mod recheck;

pub use breach::{Breach, Holder, PlaceBreach, RecordBreach, SetAsideBreach};
pub use provision::{VerifiedProvision, verify_provision};
pub use purchase::{VerifiedPurchase, verify_purchase};
pub use recheck::{VerifiedRecheck, verify_recheck};

use std::collections::BTreeMap;

use crate::accounting::{spoiled, stack};
use crate::consumables::{self, Bag};
use crate::cutting::{Layout, Remnants};
use crate::decimal::Millionths;
use crate::issue::key;
use crate::issue::planned::Planned;
use crate::issue::returned::{self, ReturnedLot};
use crate::job::Job;
use crate::length::{Length, Tolerance};
use crate::model::{Form, Term};
use crate::plan::{Kit, Objective, PackPick, Pick, Plan};
use crate::policy::Acceptance;
use crate::pump::Pump;
use crate::stack::judge;
use crate::stock::Cut;
use crate::stock::Item;

pub use bags::check_bags;

/// Plan that has passed the checker; only [`verify`] makes one, and only such plans are written.
#[derive(Debug, Clone)]
pub struct Verified {
    job: Job,
    plan: Plan,
    bags: Vec<Bag>,
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

    /// Consumables of each pump, in the job's order.
    pub fn bags(&self) -> &[Bag] {
        &self.bags
    }

    /// Lines of the plan that take from the stock, and those that are short.
    pub fn planned(&self) -> Planned {
        Planned::of(&self.job, &self.plan, &self.bags, &self.issued())
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

    /// Pieces of each item issued in all, for packs and bags, by the job's stock.
    pub fn issued(&self) -> Vec<u32> {
        let mut issued = vec![0; self.job.stock.len()];
        for pick in (0..self.job.pumps.len()).flat_map(|pump| self.picks(pump)) {
            issued[pick.item] += pick.count;
        }
        issued
    }

    /// Lots that go back into the stock of the plates that are cut.
    pub fn returned(&self) -> Vec<ReturnedLot> {
        returned::of(&self.job, &self.plan)
    }

    /// Pieces of each item on hand after the plan is carried out, without the pieces issued and the rest of
    /// spoiled packs, and with those that go back to it.
    pub fn left(&self) -> Vec<u32> {
        let returned = self.returned();
        self.issued()
            .into_iter()
            .enumerate()
            .map(|(index, issued)| {
                let item = &self.job.stock[index];
                let gone = issued + spoiled(&self.job, index, issued);
                item.on_hand.saturating_sub(gone) + back(&returned, &item.item)
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
    plan.check(&job).map_err(|error| vec![error.into()])?;
    let mut breaches = Vec::new();
    let sums = check_kits(&job, &plan, &mut breaches);
    let mut after = vec![Objective::Waste, Objective::Pieces, Objective::Scarcity];
    if !job.plates.is_empty() {
        after.insert(1, Objective::Plates);
    }
    check_goals(&job, &plan, &after, &mut breaches);
    check_values(&plan, &sums, &mut breaches);
    if !breaches.is_empty() {
        return Err(breaches);
    }
    let bags = consumables::fill(&job, &plan);
    let breaches = check_bags(&job, &plan, &bags);
    if breaches.is_empty() { Ok(Verified { job, plan, bags }) } else { Err(breaches) }
}

/// Works every kit out again, counts the pieces of all kits, and adds up their costs.
fn check_kits(job: &Job, plan: &Plan, breaches: &mut Vec<Breach>) -> Sums {
    let mut issued: BTreeMap<usize, i64> = BTreeMap::new();
    let mut sums = Sums::default();
    for (pump, kit) in job.pumps.iter().zip(&plan.kits) {
        let Kit::Served(packs) = kit else { continue };
        check_pieces(job, pump, packs, breaches);
        check_limits(job, pump, packs, breaches);
        for pick in packs.iter().flat_map(|pack| &pack.picks) {
            *issued.entry(pick.item).or_default() += i64::from(pick.count);
        }
        sums.add(job, pump, packs);
    }
    for (&item, &count) in &issued {
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
        if matches!(kit, Kit::Short(shorts) if shorts.is_empty()) {
            breaches.push(Breach::NoReason(pump.tag.clone()));
        }
    }
    sums
}

/// Checks that every goal's value equals the one counted again, and is not beyond its own bound.
fn check_values(plan: &Plan, sums: &Sums, breaches: &mut Vec<Breach>) {
    for goal in &plan.goals {
        let recounted = match goal.objective {
            Objective::ServedWeight => sums.weight,
            Objective::ServedOf(priority) => sums.of_priority.get(&priority).copied().unwrap_or(0),
            Objective::Purchase => sums.bought,
            Objective::Waste => sums.waste,
            Objective::Plates => sums.plates,
            Objective::Pieces => sums.pieces,
            Objective::Scarcity => sums.scarcity,
        };
        if recounted != i128::from(goal.value) {
            breaches.push(Breach::Value { aim: goal.objective, recounted, said: goal.value });
        }
        let beyond = match goal.objective {
            Objective::ServedWeight | Objective::ServedOf(_) => goal.value > goal.bound,
            _ => goal.value < goal.bound,
        };
        if beyond {
            breaches.push(Breach::Bound(goal.objective));
        }
    }
}

/// Checks that the goals are those of a plan, in their order, and that a plan that is not proven gives the
/// reason that the search ended.
fn check_goals(job: &Job, plan: &Plan, after_served: &[Objective], breaches: &mut Vec<Breach>) {
    let mut counts: BTreeMap<u32, i128> = BTreeMap::new();
    for pump in &job.pumps {
        *counts.entry(pump.priority).or_default() += 1;
    }
    // One more than the weight of all pumps together.
    let whole = counts.values().fold(1_i128, |product, n| product.saturating_mul(n + 1));
    let mut expected: Vec<Objective> = if whole - 1 <= 1_000_000_000 {
        vec![Objective::ServedWeight]
    } else {
        counts.keys().map(|&priority| Objective::ServedOf(priority)).collect()
    };
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
    waste: i128,
    plates: i128,
    pieces: i128,
    scarcity: i128,
}

impl Sums {
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
            let count = i128::from(pick.count);
            let spare =
                i128::from(lot.on_hand) - i128::from(lot.reserved) - i128::from(lot.min_level);
            self.pieces += count;
            // Pieces from packs that are spoiled once opened are paid for pack by pack.
            let singly = !(job.policy.opened_cartons_spoiled && lot.carton_qty > 1);
            let cost = if singly { lot.unit_cost.raw() } else { 0 };
            let each = i128::from(cost) + i128::from(job.policy.handling.raw());
            self.waste += count * (each + trim(lot, pick.peeled));
            self.scarcity += count * (1_000 / (1 + spare.max(0)));
        }
        for requirement in &pump.requirements {
            let (distance, unit) = off_target(job, pump, packs, &requirement.form);
            let thou = 254_000 * unit;
            let charge = distance * i128::from(job.policy.off_target.raw());
            self.waste += ((charge + thou - 1).div_euclid(thou)).min(1_000_000_000_000);
        }
    }
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
        let loose = (i64::from(lot.on_hand) - i64::from(lot.reserved)).max(0) % size;
        let mut paid = loose.min(count);
        while paid < count {
            paid += size;
        }
        sum += i128::from(paid) * i128::from(lot.unit_cost.raw());
    }
    sum
}

/// Cost of one plate that is cut up, less that of the rings cut from it, each at its share of the plate's area, and of
/// the rectangles that are booked back.
fn offcut(job: &Job, layout: &Layout) -> i128 {
    let lot = &job.plates[layout.plate];
    let [run, across] = [layout.along, 1 - layout.along].map(|side| lot.sides[side].ticks());
    let cost = i128::from(lot.plate_cost.raw());
    let whole = i128::from(run) * i128::from(across);
    let rectangle = |a: i64, b: i64| cost * i128::from(a) * i128::from(b) / whole.max(1);
    let mut rest = cost;
    let mut beside = across;
    for &(item, strips) in &layout.strips {
        let Some(shape) = job.stock[item].cut else { continue };
        let [wide, hole] = [shape.outside, shape.inside].map(Length::ticks);
        // A quarter of pi, to six places of pi, rounded down.
        let ring = 785_398 * (i128::from(wide).pow(2) - i128::from(hole).pow(2));
        let billionths = ring * 1_000 / whole.max(1);
        let in_strip = i128::from(run / wide.max(1));
        rest -= i128::from(strips) * in_strip * (cost * billionths / 1_000_000_000);
        beside -= wide * i64::from(strips);
        if job.policy.remnants == Remnants::BookedBack {
            rest -= i128::from(strips) * rectangle(run % wide.max(1), wide);
        }
    }
    if job.policy.remnants == Remnants::BookedBack {
        rest -= rectangle(run, beside.max(0));
    }
    rest
}

/// Checks that cut pieces come out of sheets that exist, cut up as the plan says.
fn check_plates(job: &Job, plan: &Plan, issued: &BTreeMap<usize, i64>, breaches: &mut Vec<Breach>) {
    let mut cut: BTreeMap<usize, i64> = BTreeMap::new();
    let mut sheets: BTreeMap<usize, i64> = BTreeMap::new();
    for layout in &plan.layouts {
        let lot = &job.plates[layout.plate];
        *sheets.entry(layout.plate).or_default() += 1;
        let run = lot.sides[layout.along].ticks();
        let mut across = 0;
        for &(item, strips) in &layout.strips {
            let of_this = |cut: &Cut| cut.plate == layout.plate && cut.outside.ticks() > 0;
            let Some(shape) = job.stock[item].cut.filter(of_this) else {
                breaches.push(Breach::Strip(lot.item.clone()));
                continue;
            };
            across += shape.outside.ticks() * i64::from(strips);
            *cut.entry(item).or_default() += i64::from(strips) * (run / shape.outside.ticks());
        }
        if across > lot.sides[1 - layout.along].ticks() {
            breaches.push(Breach::Wide(lot.item.clone()));
        }
    }
    for (&sheet, &count) in &sheets {
        let lot = &job.plates[sheet];
        if count > i64::from(lot.on_hand) - i64::from(lot.reserved) {
            let sheet = lot.item.clone();
            breaches.push(Breach::PlatesOverdrawn { sheet, count });
        }
    }
    for (&item, &count) in issued {
        let lot = &job.stock[item];
        if lot.cut.is_some() && count > cut.get(&item).copied().unwrap_or(0) {
            let item = lot.item.clone();
            breaches.push(Breach::NotCut { item, count });
        }
    }
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

/// Least, nominal and greatest value of a term, in ticks.
fn ends(job: &Job, pump: &Pump, packs: &[PackPick], term: Term) -> [i128; 3] {
    let around = |value: Length, tolerance: Tolerance| {
        let value = i128::from(value.ticks());
        [
            value - i128::from(tolerance.minus.ticks()),
            value,
            value + i128::from(tolerance.plus.ticks()),
        ]
    };
    match term {
        Term::Dimension(index) => {
            let m = &pump.dimensions[index];
            around(m.value, m.tolerance)
        }
        Term::Thermal(index) => {
            let growth = &pump.growths[index];
            around(growth.value, growth.tolerance)
        }
        Term::Pack(index) => {
            let mut ends = [0; 3];
            for pick in packs.get(index).iter().flat_map(|pack| &pack.picks) {
                let Some(lot) = job.stock.get(pick.item) else {
                    continue;
                };
                let Some(size) = lot.size else { continue };
                let count = i128::from(pick.count);
                let layer = lot.peel_step.map_or(0, |step| i128::from(step.ticks()));
                let thickness =
                    i128::from(size.thickness.ticks()) - i128::from(pick.peeled) * layer;
                ends[0] += count * (thickness - i128::from(size.tolerance.minus.ticks()));
                ends[1] += count * thickness;
                ends[2] += count * (thickness + i128::from(size.tolerance.plus.ticks()));
            }
            ends
        }
    }
}

/// Least, nominal and greatest value of a sum of terms, in millionths of a tick.
fn sum_ends(job: &Job, pump: &Pump, packs: &[PackPick], terms: &[(Term, Millionths)]) -> [i128; 3] {
    let mut sum = [0; 3];
    for (term, sensitivity) in terms {
        let [low, nominal, high] =
            ends(job, pump, packs, *term).map(|end| end * i128::from(sensitivity.raw()));
        sum[0] += low.min(high);
        sum[1] += nominal;
        sum[2] += low.max(high);
    }
    sum
}

const MILLION: i128 = 1_000_000;

fn check_limits(job: &Job, pump: &Pump, packs: &[PackPick], breaches: &mut Vec<Breach>) {
    let reported = stack(job, pump, packs);
    for requirement in &pump.requirements {
        // The report's own verdict must agree.
        let shown = judge(&requirement.form, &reported, job.policy.guard()).conforms();
        if !(holds(job, pump, packs, &requirement.form) && shown) {
            breaches.push(Breach::NotMet {
                pump: pump.tag.clone(),
                requirement: requirement.label.clone(),
            });
        }
    }
}

/// Whether a requirement is met under the acceptance rule of the policy.
fn holds(job: &Job, pump: &Pump, packs: &[PackPick], form: &Form) -> bool {
    let pick = |[low, nominal, high]: [i128; 3]| match job.policy.acceptance {
        // The expanded uncertainty is checked below, beside the nominal value.
        Acceptance::Nominal | Acceptance::Expanded => (nominal, nominal),
        Acceptance::WorstCase => (low, high),
    };
    let met = match form {
        Form::Linear { terms, lower, upper, .. } => {
            let (low, high) = pick(sum_ends(job, pump, packs, terms));
            low >= i128::from(lower.ticks()) * MILLION
                && high <= i128::from(upper.ticks()) * MILLION
        }
        Form::GasketFill { gasket, gap, lower, upper, .. } => {
            let (thin, thick) =
                pick(ends(job, pump, packs, Term::Pack(*gasket)).map(|end| end * MILLION));
            let (narrow, wide) = pick(sum_ends(job, pump, packs, gap));
            thin * MILLION >= (MILLION + i128::from(lower.raw())) * wide
                && thick * MILLION <= (MILLION + i128::from(upper.raw())) * narrow
        }
    };
    met && (job.policy.acceptance != Acceptance::Expanded
        || clear_of_uncertainty(job, pump, packs, form))
}

/// Whether nominal value and middle are inside both limits by at least the expanded uncertainty. Source: JCGM
/// 100:2008, 5.2.2, 6.2.1 and G.4.1; the decision rule of ISO 14253-1, from memory.
///
/// With a distance S to a limit, `S >= k u` is `(S / k)^2 >= u^2`: no root is needed.
fn clear_of_uncertainty(job: &Job, pump: &Pump, packs: &[PackPick], form: &Form) -> bool {
    // Each limit as weights of the terms, in millionths, and the distance to it.
    let sides: [(Vec<(Term, i128)>, i128); 2] = match form {
        Form::Linear { terms, lower, upper, .. } => {
            let [_, value, _] = sum_ends(job, pump, packs, terms);
            let up: Vec<_> = terms.iter().map(|(t, c)| (*t, c.raw().into())).collect();
            let down = up.iter().map(|(t, c): &(Term, i128)| (*t, -c)).collect();
            [
                (up, value - i128::from(lower.ticks()) * MILLION),
                (down, i128::from(upper.ticks()) * MILLION - value),
            ]
        }
        Form::GasketFill { gasket, gap, lower, upper, .. } => {
            let [_, free, _] = ends(job, pump, packs, Term::Pack(*gasket));
            let [_, wide, _] = sum_ends(job, pump, packs, gap);
            [(lower, 1), (upper, -1)].map(|(allowance, sign)| {
                let grown = MILLION + i128::from(allowance.raw());
                let mut weights = vec![(Term::Pack(*gasket), sign * MILLION)];
                weights.extend(
                    gap.iter().map(|(t, c)| (*t, -sign * grown * i128::from(c.raw()) / MILLION)),
                );
                let beyond = sign * (free * MILLION * MILLION - grown * wide);
                (weights, beyond.div_euclid(MILLION))
            })
        }
    };
    sides.iter().all(|(weights, distance)| {
        // Twice the distance of the middle of the tolerances, to stay in whole numbers.
        let middle = weights.iter().map(|(term, weight)| {
            let [low, nominal, high] = ends(job, pump, packs, *term);
            weight * (low + high - 2 * nominal)
        });
        let twice = 2 * distance + middle.sum::<i128>();
        let Some(doubt) = doubt(job, pump, packs, weights) else {
            return false;
        };
        let k = i128::from(job.policy.coverage.factor(doubt.degrees_of_freedom()).raw());
        // In millionths of a femtometre, like the root of the variance, times k.
        let Some(reach) = twice.checked_mul(50_000 * MILLION) else {
            return false;
        };
        // A number too large to be squared is larger than any variance counted here.
        let clear = |reach: i128| (reach / k).checked_pow(2).is_none_or(|s| s >= doubt.variance);
        *distance >= 0 && twice >= 0 && clear(reach)
    })
}

/// Uncertainty of a sum.
struct ContributorUncertainty {
    /// Squared combined standard uncertainty, in millionths of a femtometre, squared.
    variance: i128,
    /// Sum of the fourth powers of the parts with finite degrees of freedom, each over those.
    fourths: f64,
}

impl ContributorUncertainty {
    /// Effective degrees of freedom, truncated; `None` if infinite.
    fn degrees_of_freedom(&self) -> Option<u32> {
        #[allow(clippy::cast_precision_loss)]
        let square = self.variance as f64;
        (1..=1_000)
            .rev()
            .find(|&whole| {
                self.fourths > 0.0
                    && f64::from(whole) * self.fourths <= square * square * (1.0 + 1e-12)
            })
            .or((self.fourths > 0.0).then_some(1))
    }
}

/// Uncertainty of a sum, its weights in millionths; `None` if it is too large to be counted.
fn doubt(
    job: &Job,
    pump: &Pump,
    packs: &[PackPick],
    weights: &[(Term, i128)],
) -> Option<ContributorUncertainty> {
    // Change of the sum per unit of each independent error: dimensions, single pieces, lots.
    let mut moves: Vec<i128> = Vec::new();
    let mut of_lots: BTreeMap<(bool, usize), i128> = BTreeMap::new();
    let mut total: BTreeMap<Term, i128> = BTreeMap::new();
    let mut fourths = 0.0;
    for (term, weight) in weights {
        *total.entry(*term).or_default() += weight;
    }
    let mut measured: BTreeMap<Term, i128> = BTreeMap::new();
    for (&term, &weight) in &total {
        match term {
            Term::Dimension(index) => {
                let dimension = &pump.dimensions[index];
                let moved = weight.checked_mul(dimension.standard.raw().into())?;
                if let Some(freedom) = dimension.freedom {
                    #[allow(clippy::cast_precision_loss)]
                    let square = moved.checked_mul(moved)? as f64;
                    fourths += square * square / f64::from(freedom.max(1));
                }
                measured.insert(term, moved);
            }
            Term::Thermal(index) => {
                let moved = weight.checked_mul(pump.growths[index].standard.raw().into())?;
                measured.insert(term, moved);
            }
            Term::Pack(index) => {
                for pick in packs.get(index).iter().flat_map(|pack| &pack.picks) {
                    let lot = job.stock.get(pick.item)?;
                    let size = lot.size?;
                    let width = size.tolerance.minus.ticks() + size.tolerance.plus.ticks();
                    let own = weight.checked_mul(third_root(50_000 * i128::from(width)))?;
                    for _ in 0..pick.count {
                        moves.push(own);
                    }
                    // Pieces cut from the sheets of one lot share its error, in every shape.
                    let key = match lot.cut {
                        Some(cut) => (true, cut.plate),
                        None => (false, pick.item),
                    };
                    if let Some(shared) = size.uncertainty {
                        let each = weight.checked_mul(shared.raw().into())?;
                        let all = each.checked_mul(pick.count.into())?;
                        *of_lots.entry(key).or_default() += all;
                    }
                }
            }
        }
    }
    let mut variance: i128 = 0;
    for pair in &pump.correlations {
        let [Some(a), Some(b)] = pair.between.map(|term| measured.get(&term)) else {
            continue;
        };
        let both = a.checked_mul(*b)?.checked_mul(2)?;
        // In two parts, since the product of all three may not fit.
        let r = i128::from(pair.coefficient.raw());
        let rest = (both % MILLION) * r;
        let up = if rest > 0 && rest % MILLION != 0 { 1 } else { 0 };
        variance = variance.checked_add((both / MILLION).checked_mul(r)? + rest / MILLION + up)?;
    }
    moves.extend(measured.into_values());
    moves.extend(of_lots.into_values());
    for step in moves {
        variance = variance.checked_add(step.checked_mul(step)?)?;
    }
    Some(ContributorUncertainty { variance, fourths })
}

/// Least whole u with 3 u^2 >= t^2: a half-width over the root of three, rounded up.
fn third_root(half: i128) -> i128 {
    let (mut below, mut enough) = (-1, half);
    while enough - below > 1 {
        let middle = (below + enough) / 2;
        if 3 * middle * middle >= half * half {
            enough = middle;
        } else {
            below = middle;
        }
    }
    enough
}

/// Distance from the target, and the number of its units in one tick.
fn off_target(job: &Job, pump: &Pump, packs: &[PackPick], form: &Form) -> (i128, i128) {
    match form {
        Form::Linear { terms, target, .. } => {
            let [_, nominal, _] = sum_ends(job, pump, packs, terms);
            ((nominal - i128::from(target.ticks()) * MILLION).abs(), MILLION)
        }
        Form::GasketFill { gasket, gap, target, .. } => {
            let [_, free, _] = ends(job, pump, packs, Term::Pack(*gasket));
            let [_, gap, _] = sum_ends(job, pump, packs, gap);
            let wanted = (MILLION + i128::from(target.raw())) * gap;
            ((free * MILLION * MILLION - wanted).abs(), MILLION * MILLION)
        }
    }
}
