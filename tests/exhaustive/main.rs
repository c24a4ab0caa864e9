//! Compares the choice with exhaustive search on random small outages.
//!
//! The search below shares only the input types with the library: it fills places piece by piece, judges requirements
//! from their definition and walks through every plan.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    clippy::cast_sign_loss,
    missing_docs
)]

mod again;
mod certificate;
mod edges;
mod errors;
#[path = "../bench/generate.rs"]
mod generate;
mod held;
mod plates;
mod purchase;
mod student;
mod unproven;

use std::collections::BTreeMap;

use gapwright::choose::choose;
use gapwright::choose::control::Control;
use gapwright::choose::worth::worth;
use gapwright::cutting::{PlateLot, Remnants};
use gapwright::decimal::{Millionths, Money};
use gapwright::gauge::{Certified, Gauge, OfGauge};
use gapwright::job::{Job, Parts};
use gapwright::length::{Length, Tolerance, Uncertainty, Unit};
use gapwright::model::{
    Correlation, Dimension, Expansion, Form, Model, Pack, Requirement, Term, Thermal,
};
use gapwright::plan::{Kit, Objective, PackPick, Plan};
use gapwright::policy::{Acceptance, Policy};
use gapwright::pump::{Growth, Measured, Pump};
use gapwright::stack::{Alike, Coverage};
use gapwright::stock::Cut;
use gapwright::stock::{Code, Item, Size};
use itertools::Itertools;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use errors::is_clear;

const CASES: u64 = 16_000;

#[test]
fn every_small_outage_comes_out_as_exhaustive_search_says() {
    let (mut served_all, mut some_short, mut none_served, mut greedy_worse, mut ties) =
        (0, 0, 0, 0, 0);
    let (mut peeled, mut cut, mut mixed, mut spoiled) = (0, 0, 0, 0);
    let (mut goes_back, mut booked_back) = (0, 0);
    let (mut expanded, mut other_than_worst, mut other_than_nominal) = (0, 0, 0);
    let (mut shared, mut lots_matter) = (0, 0);
    let mut told: BTreeMap<&str, [usize; 2]> = BTreeMap::new();
    let mut sharing = [0; 3];
    for seed in 0..CASES {
        let job = random_job(seed);
        let plan = choose(&job, &Control::unlimited()).expect("small jobs can be listed");
        assert!(plan.proven(), "case {seed}: not proven");
        let ways = ways_of(&job);
        let available: Vec<u32> = job.stock.iter().map(|i| i.on_hand - i.reserved).collect();
        let best = best_of(&job, &ways);
        let (chosen, taken) = account(&job, &plan, &ways, seed);
        assert_eq!(Some(chosen), best.value, "case {seed}");
        // Among equals the first pump takes its earliest way, then the second, and so on.
        assert_eq!(Some(taken), best.first, "case {seed}: order");
        for (aim, at) in [
            (Objective::ServedWeight, 0),
            (Objective::Waste, 1),
            (Objective::Plates, 2),
            (Objective::Pieces, 3),
            (Objective::Scarcity, 4),
        ] {
            // Only a stock with plates has the goal of few.
            let Some(goal) = plan.goal(aim) else {
                assert!(aim == Objective::Plates && job.plates.is_empty(), "case {seed}, {aim:?}");
                continue;
            };
            let value = goal.value;
            assert_eq!(if at == 0 { -value } else { value }, chosen[at], "case {seed}, {aim:?}");
        }
        match plan.served() {
            0 => none_served += 1,
            n if n == job.pumps.len() => served_all += 1,
            _ => some_short += 1,
        }
        greedy_worse += usize::from(greedy(&job, &ways, available)[0] > chosen[0]);
        ties += usize::from(best.count > 1);
        let picks = || {
            let served = plan.kits.iter().filter_map(|kit| match kit {
                Kit::Served(packs) => Some(packs),
                Kit::Short(_) => None,
            });
            served.flatten().flat_map(|pack| &pack.picks)
        };
        peeled += usize::from(picks().any(|pick| pick.peeled > 0));
        cut += usize::from(picks().any(|pick| job.stock[pick.item].cut.is_some()));
        mixed += usize::from(plan.layouts.iter().any(|layout| layout.strips.len() > 1));
        goes_back += usize::from(plan.put_back(&job).iter().any(|&count| count > 0));
        let remnants_kept = job.policy.remnants == Remnants::BookedBack;
        booked_back += usize::from(remnants_kept && !plan.layouts.is_empty());
        let left_over = |(item, &issued): (usize, &u32)| paid_for(&job, item, issued) > issued;
        spoiled += usize::from(plan.issued(&job).iter().enumerate().any(left_over));
        gapwright::verify::verify(job.clone(), plan.clone())
            .unwrap_or_else(|breaches| panic!("case {seed}: {breaches:?}"));
        let differs = |change: &dyn Fn(&mut Parts)| {
            let other = job.clone().with(change).unwrap();
            let other = choose(&other, &Control::unlimited()).unwrap();
            usize::from(pieces(&other) != pieces(&plan))
        };
        let gauged = job.pumps.iter().flat_map(|pump| &pump.dimensions).any(|d| d.gauge.is_some());
        if job.policy.acceptance == Acceptance::Expanded {
            sharing[0] += differs(&|j| {
                j.stock.iter_mut().for_each(|item| {
                    item.size.as_mut().unwrap().alike = Some(Millionths::ZERO);
                });
            });
            sharing[1] += differs(&|j| {
                j.policy.alike = Alike::Share(Millionths::ONE);
                j.stock.iter_mut().for_each(|item| item.size.as_mut().unwrap().alike = None);
            });
        }
        if gauged {
            sharing[2] += differs(&|j| {
                let of_item = |item: &mut Item| item.size.as_mut().unwrap().gauge = None;
                j.stock.iter_mut().for_each(of_item);
                let dimensions = j.pumps.iter_mut().flat_map(|pump| &mut pump.dimensions);
                dimensions.for_each(|measured| measured.gauge = None);
            });
        }
        if job.policy.acceptance == Acceptance::Expanded {
            expanded += 1;
            other_than_worst += differs(&|j| j.policy.acceptance = Acceptance::WorstCase);
            other_than_nominal += differs(&|j| j.policy.acceptance = Acceptance::Nominal);
            let forget = |item: &mut Item| item.size.as_mut().unwrap().uncertainty = None;
            lots_matter += differs(&|j| j.stock.iter_mut().for_each(forget));
            shared += usize::from(plan.kits.iter().any(|kit| shares_a_lot_error(&job, kit)));
            // Counts the presence of a feature, and whether the plan would differ without it.
            let mut tell = |what, there: bool, without: &dyn Fn(&mut Pump)| {
                if there {
                    let [seen, matters] = told.entry(what).or_default();
                    *seen += 1;
                    *matters += differs(&|j| j.pumps.iter_mut().for_each(without));
                }
            };
            let pump = &job.pumps[0];
            let few = |p: &Pump| p.dimensions.iter().any(|d| d.freedom.is_some());
            let by_level = matches!(job.policy.coverage, Coverage::Level(_));
            tell("few readings", by_level && job.pumps.iter().any(few), &|p| {
                p.dimensions.iter_mut().for_each(|d| d.freedom = None);
            });
            tell("correlated", !pump.correlations.is_empty(), &|p| {
                p.correlations.clear();
            });
            tell("hot", !pump.growths.is_empty(), &|p| {
                for growth in &mut p.growths {
                    (growth.value, growth.standard) = (Length::ZERO, Uncertainty::ZERO);
                }
            });
            tell("growth known exactly", !pump.growths.is_empty(), &|p| {
                p.growths.iter_mut().for_each(|g| g.standard = Uncertainty::ZERO);
            });
            let uneven = |d: &Measured| d.tolerance.plus != d.tolerance.minus;
            tell("uneven", pump.dimensions.iter().any(uneven), &|p| {
                for d in &mut p.dimensions {
                    d.tolerance = Tolerance::even(d.tolerance.plus);
                }
            });
        }
        let again = choose(&job, &Control::unlimited()).expect("small jobs can be listed");
        assert_eq!(plan, again, "case {seed}: not the same twice");
    }
    // A random test must have covered its purpose.
    println!(
        "all {served_all}, some {some_short}, none {none_served}, greedy worse {greedy_worse}, \
         ties {ties}, peeled {peeled}, cut {cut}, two shapes on a sheet {mixed}, blanks \
         go back {goes_back}, remnants booked back {booked_back}, spoiled {spoiled}; \
         expanded {expanded}: other than by worst case {other_than_worst}, than by nominal \
         {other_than_nominal}, pieces that share a lot error {shared}, \
         other than without lot errors {lots_matter}; \
         seen, and other than without it: {told:?}; other than with pieces that err apart, with \
         lots alike, without gauges: {sharing:?}"
    );
    assert!(served_all > 1000 && some_short > 1000 && none_served > 100);
    assert!(greedy_worse > 250 && ties > 100);
    assert!(peeled > 400 && cut > 700 && mixed > 150 && spoiled > 300);
    assert!(goes_back > 400 && booked_back > 200);
    assert!(expanded > 3000 && other_than_worst > 500 && other_than_nominal > 500 && shared > 200);
    assert!(lots_matter > 300);
    assert!(sharing.iter().all(|count| *count > 20));
    assert_eq!(told.len(), 5);
    assert!(told.values().all(|[seen, matters]| *seen > 900 && *matters > 60));
}

/// Pieces of each kit, whatever the reasons for the short ones.
fn pieces(plan: &Plan) -> Vec<Option<&Vec<PackPick>>> {
    plan.kits
        .iter()
        .map(|kit| match kit {
            Kit::Served(packs) => Some(packs),
            Kit::Short(_) => None,
        })
        .collect()
}

/// Whether a kit has two pieces or more of one measured lot.
fn shares_a_lot_error(job: &Job, kit: &Kit) -> bool {
    let Kit::Served(packs) = kit else {
        return false;
    };
    let mut counts: BTreeMap<(bool, usize), u32> = BTreeMap::new();
    for pick in packs.iter().flat_map(|pack| &pack.picks) {
        if job.stock[pick.item].size.unwrap().uncertainty.is_some() {
            *counts.entry(lot(job, pick.item)).or_default() += pick.count;
        }
    }
    counts.values().any(|&count| count > 1)
}

/// Group of an item's shared lot error: all pieces cut from one lot of sheets have one.
fn lot(job: &Job, item: usize) -> (bool, usize) {
    job.stock[item].cut.map_or((false, item), |cut| (true, cut.plate))
}

/// Change from one more piece of each item, compared with exhaustive search with one more piece.
#[test]
fn one_more_of_each_item_is_worth_what_exhaustive_search_says() {
    let (mut asked, mut serves, mut saves, mut nothing) = (0, 0, 0, 0);
    for seed in 0..1_500 {
        let job = random_job(seed);
        let plan = choose(&job, &Control::unlimited()).unwrap();
        let before = best_of(&job, &ways_of(&job)).value.unwrap();
        let worth = worth(&job, &plan, &Control::unlimited()).unwrap();
        let drawers = job.stock.iter().filter(|item| item.cut.is_none()).count();
        assert_eq!(worth.len(), drawers, "case {seed}");
        for worth in worth {
            let more = job.clone();
            let more = more.with(|job| job.stock[worth.item].on_hand += 1).unwrap();
            let after = best_of(&more, &ways_of(&more)).value.unwrap();
            let change = (before[0] - after[0], after[1] - before[1]);
            let found = (worth.served_weight, worth.waste.raw());
            assert_eq!(found, (Some(change.0), change.1), "case {seed}, item {}", worth.item);
            // Jobs as small as these are settled: the least that the change can be is what it is.
            assert_eq!(worth.waste_at_least, worth.waste, "case {seed}, item {}", worth.item);
            asked += 1;
            serves += usize::from(change.0 > 0);
            saves += usize::from(change.0 == 0 && change.1 < 0);
            nothing += usize::from(change == (0, 0));
        }
    }
    println!("{asked} asked: {serves} serve more, {saves} save, {nothing} change nothing");
    assert!(serves > 300 && saves > 200 && nothing > 300);
}

/// Plans that waste more than need be, with the least waste as their bound: the worth of one more stands between two figures,
/// and what exhaustive search says lies between them.
#[test]
fn one_more_is_worth_something_between_where_the_waste_is_not_proven() {
    let (mut plans, mut open, mut saves) = (0, 0, 0);
    for seed in 0..4_500 {
        let job = random_job(seed);
        // With fewer pieces there, other packs would be opened: the plan would waste something else.
        if job.policy.opened_cartons_spoiled {
            continue;
        }
        let plan = choose(&job, &Control::unlimited()).unwrap();
        let of_item = |item: usize| {
            let fewer = job.clone().with(|job| {
                let lot = &mut job.stock[item];
                lot.on_hand = lot.on_hand.saturating_sub(1).max(lot.reserved);
            });
            choose(&fewer.ok()?, &Control::unlimited()).ok()
        };
        let wastes_more = |poor: &Plan| {
            poor.served() == plan.served()
                && poor.goal(Objective::ServedWeight) == plan.goal(Objective::ServedWeight)
                && poor.waste_gap() == Some(Money::ZERO)
                && poor.goal(Objective::Waste) != plan.goal(Objective::Waste)
        };
        let Some(mut poor) = (0..job.stock.len()).filter_map(of_item).find(wastes_more) else {
            continue;
        };
        let least = plan.goal(Objective::Waste).unwrap().value;
        let waste = poor.goals.iter_mut().find(|goal| goal.objective == Objective::Waste).unwrap();
        waste.bound = least;
        let gap = waste.value - least;
        assert!(gap > 0, "case {seed}");
        plans += 1;
        for worth in worth(&job, &poor, &Control::unlimited()).unwrap() {
            let more = job.clone();
            let more = more.with(|job| job.stock[worth.item].on_hand += 1).unwrap();
            let after = best_of(&more, &ways_of(&more)).value.unwrap()[1];
            let change = after.min(least) - least;
            let about = format!("case {seed}, item {}: {worth:?} and {change}", worth.item);
            assert_eq!(worth.served_weight, Some(0), "{about}");
            let [low, high] = [worth.waste_at_least, worth.waste].map(Money::raw);
            assert!(low <= change && change <= high && high <= 0, "{about}");
            open += usize::from(!worth.exact());
            saves += usize::from(high < 0);
        }
    }
    println!("{plans} plans: {open} values between two figures, {saves} surely above nothing");
    assert!(plans > 200 && open > 100 && saves > 50);
}

fn ways_of(job: &Job) -> Vec<Vec<Way>> {
    job.pumps.iter().map(|pump| all_ways(job, pump)).collect()
}

/// The best of all plans.
fn best_of(job: &Job, ways: &[Vec<Way>]) -> Best {
    let mut walk = Walk {
        job,
        ways,
        taken: Vec::new(),
        left: job.stock.iter().map(|i| i.on_hand - i.reserved).collect(),
        cuts: BTreeMap::new(),
        best: Best::default(),
    };
    walk.on([0; 5]);
    walk.best
}

/// A way to have a piece: an item, and its number of peeled layers.
#[derive(Clone, Copy)]
struct Offer {
    item: usize,
    peeled: u32,
    thickness: Length,
}

/// Everything that can go into a place, in the order of the stock.
fn offers(job: &Job) -> Vec<Offer> {
    let mut offers = Vec::new();
    for (item, lot) in job.stock.iter().enumerate() {
        let mut thickness = lot.size.unwrap().thickness;
        let mut peeled = 0;
        offers.push(Offer { item, peeled, thickness });
        let Some(step) = lot.peel_step else { continue };
        // At least one layer is left.
        while thickness >= step * 2 {
            thickness = thickness - step;
            peeled += 1;
            offers.push(Offer { item, peeled, thickness });
        }
    }
    offers
}

/// One way to kit a pump: counts by offer for each pack, pieces by item, and its waste, pieces and scarcity points.
struct Way {
    packs: Vec<Vec<u32>>,
    used: Vec<u32>,
    cost: [i64; 3],
}

#[derive(Default)]
struct Best {
    value: Option<[i64; 5]>,
    count: usize,
    /// Of the plans with this value, the first in order: each pump's way, none coming last.
    first: Option<Vec<usize>>,
}

const NONE: usize = usize::MAX;

/// A walk through all plans.
struct Walk<'a> {
    job: &'a Job,
    ways: &'a [Vec<Way>],
    taken: Vec<usize>,
    left: Vec<u32>,
    /// Numbers of cut pieces, and the least waste and plates to have them, as far as known.
    cuts: BTreeMap<Vec<u32>, Option<[i64; 2]>>,
    best: Best,
}

impl Walk<'_> {
    fn on(&mut self, sum: [i64; 5]) {
        let pump = self.taken.len();
        if pump == self.ways.len() {
            self.arrive(sum);
            return;
        }
        self.taken.push(NONE);
        self.on(sum);
        self.taken.pop();
        for (index, way) in self.ways[pump].iter().enumerate() {
            if way.used.iter().zip(&self.left).all(|(used, left)| used <= left) {
                let next = [
                    sum[0] - weight(self.job, pump),
                    sum[1] + way.cost[0],
                    sum[2],
                    sum[3] + way.cost[1],
                    sum[4] + way.cost[2],
                ];
                for (left, used) in self.left.iter_mut().zip(&way.used) {
                    *left -= used;
                }
                self.taken.push(index);
                self.on(next);
                self.taken.pop();
                for (left, used) in self.left.iter_mut().zip(&way.used) {
                    *left += used;
                }
            }
        }
    }

    /// A plan is complete: calculates its packs and sheets, and whether it is better.
    fn arrive(&mut self, mut sum: [i64; 5]) {
        let issued: Vec<u32> = self
            .job
            .stock
            .iter()
            .zip(&self.left)
            .map(|(lot, left)| lot.on_hand - lot.reserved - left)
            .collect();
        let job = self.job;
        let cut = self.cuts.entry(issued.clone()).or_insert_with(|| cheapest_cut(job, &issued));
        let Some([waste, plates]) = *cut else { return };
        sum[1] += waste;
        sum[2] += plates;
        for (item, &count) in issued.iter().enumerate() {
            if by_the_pack(job, item) {
                sum[1] += i64::from(paid_for(job, item, count)) * job.stock[item].unit_cost.raw();
            }
        }
        if !job.hold_back.is_empty() {
            sum[0] = sum[0] * HELD - held_back(job, &self.left);
        }
        let taken = &self.taken;
        let best = &mut self.best;
        match best.value {
            Some(value) if value < sum => {}
            Some(value) if value == sum => {
                best.count += 1;
                best.first = best.first.take().min(Some(taken.clone()));
            }
            _ => *best = Best { value: Some(sum), count: 1, first: Some(taken.clone()) },
        }
    }
}

/// More than all pieces held back are worth.
const HELD: i64 = 1_000;

/// Most worth that can be held back of the pieces that are left.
fn held_back(job: &Job, left: &[u32]) -> i64 {
    let mut left = left.to_vec();
    let dearest_first = job.hold_back.iter().sorted_by_key(|piece| std::cmp::Reverse(piece.worth));
    let held = dearest_first.filter(|piece| {
        let there = left[piece.item] > 0;
        left[piece.item] -= u32::from(there);
        there
    });
    held.map(|piece| i64::from(piece.worth)).sum()
}

fn by_the_pack(job: &Job, item: usize) -> bool {
    job.policy.opened_cartons_spoiled && job.stock[item].carton_qty > 1
}

/// Pieces paid for when `issued` are issued: the rest of an opened pack is spoiled.
fn paid_for(job: &Job, item: usize, issued: u32) -> u32 {
    let lot = &job.stock[item];
    if !by_the_pack(job, item) {
        return issued;
    }
    let loose = (lot.on_hand - lot.reserved) % lot.carton_qty;
    let mut paid = loose.min(issued);
    while paid < issued {
        paid += lot.carton_qty;
    }
    paid
}

/// Least waste of cutting these pieces, and with it the fewest plates; `None` if the plates do not yield them. Every
/// way to cut every plate is tried one by one: in strips for at most two shapes, along either side.
fn cheapest_cut(job: &Job, issued: &[u32]) -> Option<[i64; 2]> {
    let mut sum = [0; 2];
    for (plate, lot) in job.plates.iter().enumerate() {
        let cut = |item: usize| job.stock[item].cut.filter(|cut| cut.plate == plate);
        let shapes = (0..job.stock.len()).filter_map(|item| Some((cut(item)?, issued[item])));
        let (shapes, needed): (Vec<Cut>, Vec<u32>) = shapes.unzip();
        let ways = ways_to_cut(job, lot, &shapes);
        let [waste, plates] = cheapest(&ways, lot.on_hand - lot.reserved, needed)?;
        sum = [sum[0] + waste, sum[1] + plates];
    }
    Some(sum)
}

/// Pieces of each shape that one plate gives, and what of it is waste.
type Cutting = (Vec<u32>, i64);

fn ways_to_cut(job: &Job, lot: &PlateLot, shapes: &[Cut]) -> Vec<Cutting> {
    let mut ways: BTreeMap<Vec<u32>, i64> = BTreeMap::new();
    let sides = lot.sides.map(Length::ticks);
    let wide = |shape: usize| shapes[shape].outside.ticks();
    for a in 0..shapes.len() {
        for b in a..shapes.len() {
            for [run, stack] in [sides, [sides[1], sides[0]]] {
                for first in 0..=stack / wide(a) {
                    for second in 0..=(stack - first * wide(a)) / wide(b) {
                        let strips = [(a, first), (b, if b == a { 0 } else { second })];
                        let mut got = vec![0; shapes.len()];
                        for (shape, strips) in strips {
                            got[shape] += u32::try_from(strips * (run / wide(shape))).unwrap();
                        }
                        let strips = strips.map(|(shape, strips)| (shapes[shape], strips));
                        ways.entry(got).or_insert_with(|| wasted(job, lot, [run, stack], strips));
                    }
                }
            }
        }
    }
    ways.into_iter().collect()
}

/// Waste of one plate cut in strips of two shapes. Of its cost, all is waste that goes neither into kits nor back into
/// stock: the trim around and in each ring, and the remnants beside the strips and at their ends, unless the policy
/// books these back. A ring and a remnant are worth their share of the area, rounded down.
fn wasted(job: &Job, lot: &PlateLot, [run, stack]: [i64; 2], strips: [(Cut, i64); 2]) -> i64 {
    let whole = run as f64 * stack as f64;
    let mut waste = lot.plate_cost.raw();
    let (mut trim, mut remnants, mut beside) = (0.0, Vec::new(), stack);
    for (cut, strips) in strips {
        let wide = cut.outside.ticks();
        let rings = strips * (run / wide);
        waste -= rings * ring_value(lot, cut);
        let inside = cut.inside.ticks() as f64;
        let ring = std::f64::consts::FRAC_PI_4 * ((wide as f64).powi(2) - inside.powi(2));
        trim += rings as f64 * ((wide as f64).powi(2) - ring);
        remnants.extend((0..strips).map(|_| (run - run / wide * wide, wide)));
        beside -= strips * wide;
    }
    remnants.push((run, beside));
    let left: f64 = remnants.iter().map(|&(a, b)| a as f64 * b as f64).sum();
    let charged = job.policy.remnants == Remnants::Charged;
    if !charged {
        let value = |a: i64, b: i64| {
            let area = i128::from(a) * i128::from(b);
            i64::try_from(i128::from(lot.plate_cost.raw()) * area / (whole as i128)).unwrap()
        };
        waste -= remnants.iter().map(|&(a, b)| value(a, b)).sum::<i64>();
    }
    // The same by areas: what is cut off, at the price of the plate.
    let areas = trim + if charged { left } else { 0.0 };
    let by_area = lot.plate_cost.raw() as f64 * areas / whole;
    // Pi has six places there, and every share is rounded.
    assert!((-0.001..60.0).contains(&(waste as f64 - by_area)), "{waste} beside {by_area}");
    waste
}

/// Cost of a finished ring: its share of the plate, in billionths of it.
fn ring_value(lot: &PlateLot, cut: Cut) -> i64 {
    let square = |side: Length| i128::from(side.ticks()).pow(2);
    let area = i128::from(lot.sides[0].ticks()) * i128::from(lot.sides[1].ticks());
    let billionths = (square(cut.outside) - square(cut.inside)) * 3_141_592 * 250 / area;
    i64::try_from(i128::from(lot.plate_cost.raw()) * billionths / 1_000_000_000).unwrap()
}

/// Least waste and then fewest plates to have the pieces that are needed.
fn cheapest(ways: &[Cutting], plates: u32, needed: Vec<u32>) -> Option<[i64; 2]> {
    if needed.iter().all(|count| *count == 0) {
        return Some([0, 0]);
    }
    if plates == 0 {
        return None;
    }
    let next = ways.iter().filter_map(|(got, waste)| {
        let rest: Vec<u32> =
            needed.iter().zip(got).map(|(n, got)| n.saturating_sub(*got)).collect();
        let [more, cut] = cheapest(ways, plates - 1, rest.clone()).filter(|_| rest != needed)?;
        Some([waste + more, cut + 1])
    });
    next.min()
}

/// One pump of a priority outranks all of the later ones together.
fn weight(job: &Job, pump: usize) -> i64 {
    let mut levels: Vec<u32> = job.pumps.iter().map(|p| p.priority).collect();
    levels.sort_unstable_by(|a, b| b.cmp(a));
    levels.dedup();
    let mut total = 0;
    for level in levels {
        let weight = total + 1;
        if level == job.pumps[pump].priority {
            return weight;
        }
        let count = job.pumps.iter().filter(|p| p.priority == level).count();
        total += weight * i64::try_from(count).unwrap();
    }
    unreachable!()
}

/// The plan's value, recalculated; its pieces must be one of the ways and within the stock.
fn account(job: &Job, plan: &Plan, ways: &[Vec<Way>], seed: u64) -> ([i64; 5], Vec<usize>) {
    let mut sum = [0; 5];
    let mut used = vec![0; job.stock.len()];
    let mut taken = Vec::new();
    for (pump, kit) in plan.kits.iter().enumerate() {
        let Kit::Served(packs) = kit else {
            taken.push(NONE);
            continue;
        };
        let packs: Vec<Vec<u32>> = packs.iter().map(|pack| counts(job, pack)).collect();
        let index = ways[pump]
            .iter()
            .position(|way| way.packs == packs)
            .unwrap_or_else(|| panic!("case {seed}: pump {pump} got pieces that will not do"));
        let way = &ways[pump][index];
        taken.push(index);
        for (used, more) in used.iter_mut().zip(&way.used) {
            *used += more;
        }
        sum[0] -= weight(job, pump);
        for (at, cost) in [1, 3, 4].into_iter().zip(way.cost) {
            sum[at] += cost;
        }
    }
    for (used, item) in used.iter().zip(&job.stock) {
        assert!(*used <= item.on_hand - item.reserved, "case {seed}: more issued than there is");
    }
    assert_eq!(plan.issued(job), used, "case {seed}: item counts");
    for (item, &count) in used.iter().enumerate().filter(|(i, _)| by_the_pack(job, *i)) {
        sum[1] += i64::from(paid_for(job, item, count)) * job.stock[item].unit_cost.raw();
    }
    let (waste, plates) = cut_up(job, plan, &used, seed);
    (sum[1], sum[2]) = (sum[1] + waste, plates);
    (sum, taken)
}

/// Waste of the plates that a plan cuts, and their number; they must be there and yield the pieces.
fn cut_up(job: &Job, plan: &Plan, used: &[u32], seed: u64) -> (i64, i64) {
    let (mut waste, mut got) = (0, vec![0; job.stock.len()]);
    for layout in &plan.layouts {
        let lot = &job.plates[layout.plate];
        let (run, mut room) = (lot.sides[layout.along], lot.sides[1 - layout.along]);
        let sides = [run, room].map(Length::ticks);
        let mut strips = layout.strips.iter().map(|&(item, strips)| {
            let cut = job.stock[item].cut.expect("a cut item");
            assert_eq!(cut.plate, layout.plate, "case {seed}");
            room = room - cut.outside * strips;
            got[item] += strips * (run.ticks() / cut.outside.ticks()) as u32;
            (cut, i64::from(strips))
        });
        let first = strips.next().expect("strips");
        let second = strips.next().unwrap_or((first.0, 0));
        assert!(strips.next().is_none(), "case {seed}: three shapes");
        drop(strips);
        assert!(room >= Length::ZERO, "case {seed}: wider than the plate");
        waste += wasted(job, lot, sides, [first, second]);
    }
    for (plate, lot) in job.plates.iter().enumerate() {
        let cut = plan.layouts.iter().filter(|layout| layout.plate == plate).count();
        assert!(
            cut as u32 <= lot.on_hand - lot.reserved,
            "case {seed}: more plates than there are"
        );
    }
    for ((item, used), got) in job.stock.iter().zip(used).zip(got) {
        assert!(item.cut.is_none() || *used <= got, "case {seed}: more cut than the plates yield");
    }
    (waste, plan.layouts.len() as i64)
}

fn counts(job: &Job, pack: &PackPick) -> Vec<u32> {
    let offers = offers(job);
    let mut counts = vec![0; offers.len()];
    for pick in &pack.picks {
        let same = |offer: &Offer| offer.item == pick.item && offer.peeled == pick.peeled;
        counts[offers.iter().position(same).expect("an offer")] += pick.count;
    }
    counts
}

/// Pieces by item, from counts by offer.
fn by_item(job: &Job, packs: &[Vec<u32>]) -> Vec<u32> {
    let offers = offers(job);
    let mut used = vec![0; job.stock.len()];
    for pack in packs {
        for (offer, count) in offers.iter().zip(pack) {
            used[offer.item] += count;
        }
    }
    used
}

/// Pumps in their order, each taking its cheapest way from the remaining stock.
fn greedy(job: &Job, ways: &[Vec<Way>], mut left: Vec<u32>) -> [i64; 5] {
    let mut sum = [0; 5];
    for (pump, ways) in ways.iter().enumerate() {
        let fitting =
            ways.iter().filter(|w| w.used.iter().zip(&left).all(|(used, left)| used <= left));
        if let Some(way) = fitting.min_by_key(|w| w.cost) {
            sum[0] -= weight(job, pump);
            for (left, used) in left.iter_mut().zip(&way.used) {
                *left -= used;
            }
        }
    }
    sum
}

/// Ways to kit a pump, whatever the other pumps do: of those with equal pieces the cheapest.
fn all_ways(job: &Job, pump: &Pump) -> Vec<Way> {
    let mut ways = every_way(job, pump);
    // The first among equals.
    let best_of = |used: &[u32]| {
        let same = ways.iter().enumerate().filter(|(_, way)| way.used == used);
        same.min_by_key(|(index, way)| (way.cost, *index)).map(|(index, _)| index)
    };
    let keep: Vec<bool> =
        ways.iter().enumerate().map(|(index, way)| best_of(&way.used) == Some(index)).collect();
    let mut keep = keep.into_iter();
    ways.retain(|_| keep.next().unwrap());
    ways
}

/// Every way to kit a pump.
fn every_way(job: &Job, pump: &Pump) -> Vec<Way> {
    let model = &job.models[pump.model];
    let mut fillings: Vec<Vec<Vec<u32>>> = vec![vec![]];
    for (pack, fit) in model.packs.iter().zip(&pump.fits) {
        let mut one = Vec::new();
        fill(job, pack, fit, 0, &mut vec![0; offers(job).len()], &mut one);
        fillings = fillings
            .into_iter()
            .flat_map(|packs| {
                one.iter().map(move |pack| [packs.clone(), vec![pack.clone()]].concat())
            })
            .collect();
    }
    let mut ways: Vec<Way> = fillings
        .into_iter()
        .filter_map(|packs| {
            let used = by_item(job, &packs);
            let enough = used.iter().zip(&job.stock).all(|(n, i)| *n <= i.on_hand - i.reserved);
            (enough && conforms(job, pump, &packs)).then(|| Way {
                cost: cost(job, pump, &packs),
                used,
                packs,
            })
        })
        .collect();
    // In order: pack by pack by total, number of pieces, then the thicker lots first.
    ways.sort_by_key(|way| way.packs.iter().map(|pack| order(job, pack)).collect::<Vec<_>>());
    ways
}

/// Sort key of a pack.
fn order(job: &Job, pack: &[u32]) -> (i64, u32, Vec<(usize, u32, u32)>) {
    let offers = offers(job);
    let mut picks: Vec<(Offer, u32)> =
        offers.into_iter().zip(pack.iter().copied()).filter(|(_, count)| *count > 0).collect();
    picks.sort_by_key(|(offer, _)| (-offer.thickness.ticks(), offer.item));
    let total =
        picks.iter().map(|(offer, count)| offer.thickness.ticks() * i64::from(*count)).sum();
    let picks = picks.into_iter().map(|(offer, count)| (offer.item, count, offer.peeled)).collect();
    (total, pack.iter().sum(), picks)
}

fn fill(
    job: &Job,
    pack: &Pack,
    fit: &Code,
    from: usize,
    counts: &mut Vec<u32>,
    found: &mut Vec<Vec<u32>>,
) {
    let offers = offers(job);
    let total: u32 = counts.iter().sum();
    if from == offers.len() {
        if total >= pack.least_pieces {
            found.push(counts.clone());
        }
        return;
    }
    let item = &job.stock[offers[from].item];
    let right = item.kind == pack.kind && item.fit == *fit;
    let used = by_item(job, std::slice::from_ref(counts))[offers[from].item];
    let most =
        if right { (item.on_hand - item.reserved - used).min(pack.most_pieces - total) } else { 0 };
    for count in 0..=most {
        counts[from] = count;
        fill(job, pack, fit, from + 1, counts, found);
    }
    counts[from] = 0;
}

/// Nominal value of a sum of terms, in millionths of a tick.
fn sum(job: &Job, pump: &Pump, packs: &[Vec<u32>], terms: &[(Term, Millionths)]) -> i128 {
    let of = |(term, c): &(Term, Millionths)| {
        let length = match *term {
            Term::Dimension(d) => pump.dimensions[d].value,
            Term::Derived(_) => unreachable!("no derived terms here"),
            Term::Thermal(t) => pump.growths[t].value,
            Term::Pack(p) => {
                let offers = offers(job);
                let pieces = offers.iter().zip(&packs[p]);
                pieces.fold(Length::ZERO, |all, (offer, &count)| all + offer.thickness * count)
            }
        };
        i128::from(c.raw()) * i128::from(length.ticks())
    };
    terms.iter().map(of).sum()
}

const MILLION: i128 = 1_000_000;

/// The acceptance rule from its definition: each limit as a sum of which more is better, and the distance to it.
fn conforms(job: &Job, pump: &Pump, packs: &[Vec<u32>]) -> bool {
    let scaled = |terms: &[(Term, Millionths)], by: i128| -> Vec<(Term, i128)> {
        terms.iter().map(|(term, c)| (*term, by * i128::from(c.raw()))).collect()
    };
    pump.requirements.iter().all(|requirement| match &requirement.form {
        Form::Linear { terms, lower, upper, .. } => {
            let value = sum(job, pump, packs, terms);
            [(*lower, 1), (*upper, -1)].iter().all(|&(limit, sign)| {
                let Some(limit) = limit else { return true };
                let distance = sign * (value - i128::from(limit.ticks()) * MILLION) * MILLION;
                is_clear(job, pump, packs, &scaled(terms, sign), distance)
            })
        }
        // free - (1 + a) gap, each side with its own a.
        Form::GasketFill { gasket, gap, lower, upper, .. } => {
            let free = sum(job, pump, packs, &[(Term::Pack(*gasket), Millionths::ONE)]);
            let wide = sum(job, pump, packs, gap);
            [(Some(*lower), 1), (*upper, -1)].iter().all(|&(allowance, sign)| {
                let Some(allowance) = allowance else { return true };
                let grown = MILLION + i128::from(allowance.raw());
                let mut weights = scaled(gap, -sign * grown);
                weights.iter_mut().for_each(|(_, weight)| *weight /= MILLION);
                weights.push((Term::Pack(*gasket), sign * MILLION));
                is_clear(job, pump, packs, &weights, sign * (free * MILLION - grown * wide))
            })
        }
    })
}

fn scarcity(job: &Job, item: usize) -> i64 {
    let lot = &job.stock[item];
    let spare = i64::from((lot.on_hand - lot.reserved).saturating_sub(lot.min_level));
    1_000 / (1 + spare)
}

fn cost(job: &Job, pump: &Pump, packs: &[Vec<u32>]) -> [i64; 3] {
    let mut cost = [0; 3];
    let offers = offers(job);
    for (offer, &count) in packs.iter().flat_map(|pack| offers.iter().zip(pack)) {
        let item = &job.stock[offer.item];
        let count = i64::from(count);
        // Peeled layers are waste at their share of the cost, rounded up.
        let whole = item.size.unwrap().thickness.ticks();
        let off = (whole - offer.thickness.ticks()) * item.unit_cost.raw();
        cost[0] += count * (off / whole + i64::from(off % whole != 0));
        let singly = if by_the_pack(job, offer.item) { 0 } else { item.unit_cost.raw() };
        cost[0] += count * (singly + job.policy.handling.raw());
        cost[1] += count;
        cost[2] += count * scarcity(job, offer.item);
    }
    for requirement in &pump.requirements {
        let off = match &requirement.form {
            Form::Linear { terms, target, .. } => {
                (sum(job, pump, packs, terms) - i128::from(target.ticks()) * MILLION) * MILLION
            }
            Form::GasketFill { gasket, gap, target, .. } => {
                sum(job, pump, packs, &[(Term::Pack(*gasket), Millionths::ONE)]) * MILLION
                    - (MILLION + i128::from(target.raw())) * sum(job, pump, packs, gap)
            }
        };
        // Rate per thou of 254 000 ticks, rounded up to a whole millionth.
        let (above, below) =
            (off.abs() * i128::from(job.policy.off_target.raw()), 254_000 * MILLION * MILLION);
        cost[0] += i64::try_from((above + below - 1) / below).unwrap();
    }
    cost
}

/// A random outage of two to four pumps over one to three packs.
fn random_job(seed: u64) -> Job {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let thou = |n: i64| Length::from_ticks(n * 254_000);
    let packs_wanted = rng.random_range(1..=3);
    let with_gasket = packs_wanted > 1 && rng.random_bool(0.6);
    let packs: Vec<Pack> = (0..packs_wanted)
        .map(|index| {
            let gasket = with_gasket && index + 1 == packs_wanted;
            Pack {
                name: format!("pack_{index}"),
                label: format!("Pack {index}"),
                kind: if gasket { "gasket" } else { "shim" }.into(),
                least_pieces: u32::from(gasket),
                most_pieces: rng.random_range(1..=if packs_wanted == 3 { 2 } else { 3 }),
            }
        })
        .collect();
    let one = |sign: i64| Millionths::from_raw(sign * 1_000_000);
    // Most arrangements move thou for thou; levers and wedges do not.
    let lever = if rng.random_bool(0.3) {
        [500_000, 1_250_000, 1_732_051][rng.random_range(0..3)]
    } else {
        1_000_000
    };
    let moved = |sign: i64| Millionths::from_raw(sign * lever);
    let shim_packs = packs_wanted - usize::from(with_gasket);
    let mut terms = vec![(Term::Dimension(0), one(1))];
    terms.extend((0..shim_packs).map(|p| (Term::Pack(p), moved(if p == 1 { 1 } else { -1 }))));
    let half_window = rng.random_range(2..=6);
    // Later additions use a separate random source, so that the cases stay unchanged.
    let mut later = ChaCha8Rng::seed_from_u64(seed + (1 << 40));
    let hot = later.random_bool(0.3);
    let linked = later.random_bool(0.35);
    let uneven = later.random_bool(0.4);
    // One case in six has a requirement with one limit only: lower, upper, or the allowance that a gasket may exceed.
    let one_sided = ChaCha8Rng::seed_from_u64(seed + (1 << 41)).random_range(0..18);
    let mut gap = vec![(Term::Pack(0), one(1)), (Term::Dimension(1), one(1))];
    let part = |millionths: i64| Millionths::from_raw(millionths);
    if linked {
        terms.push((Term::Dimension(1), part(if later.random() { 500_000 } else { -500_000 })));
        gap.push((Term::Dimension(0), part(250_000)));
    }
    if hot {
        terms.extend([(Term::Thermal(0), one(-1)), (Term::Thermal(1), one(1))]);
        gap.push((Term::Thermal(1), part(if later.random() { 500_000 } else { -500_000 })));
    }
    let correlations = correlated(&mut later, linked, hot);
    let mut requirements = vec![Requirement {
        name: "running_clearance".into(),
        label: "Running clearance".into(),
        form: Form::Linear {
            terms,
            target: thou(21),
            lower: Some(thou(21 - half_window)).filter(|_| one_sided != 1),
            upper: Some(thou(21 + half_window)).filter(|_| one_sided != 2),
        },
    }];
    if with_gasket {
        requirements.push(Requirement {
            name: "fill".into(),
            label: "Gasket fill".into(),
            form: Form::GasketFill {
                gasket: packs_wanted - 1,
                gap,
                target: Millionths::from_raw(500_000),
                lower: Millionths::from_raw(rng.random_range(200..=450) * 1_000),
                upper: Some(Millionths::from_raw(rng.random_range(550..=800) * 1_000))
                    .filter(|_| one_sided != 3),
            },
        });
    }
    let dimension = |name: &str| Dimension::new(name, Tolerance::default());
    let model = Model {
        dimensions: vec![dimension("bare"), dimension("ring")],
        packs,
        requirements,
        thermals: if hot {
            vec![part_that_grows(&mut later), part_that_grows(&mut later)]
        } else {
            vec![]
        },
        correlations,
        ..Model::new("m", Unit::Inch)
    };
    let fits = ["A", "B"];
    let laminated = rng.random_bool(0.3);
    let in_packs = rng.random_bool(0.3);
    let mut stock: Vec<Item> = Vec::new();
    for (kind, thinnest, thickest) in [("shim", 2, 20), ("gasket", 10, 60)] {
        for fit in fits {
            for _ in 0..rng.random_range(1..=if packs_wanted == 3 { 2 } else { 4 }) {
                let on_hand = rng.random_range(0..=3);
                let slack = thou(1).ticks() / rng.random_range(2..=8);
                let thickness = thou(rng.random_range(thinnest..=thickest));
                // About five layers at most, and not always a whole number of them.
                let step = Length::from_ticks(thickness.ticks() * 2 / rng.random_range(3..=11));
                let tolerance = Tolerance {
                    minus: Length::from_ticks(slack),
                    plus: Length::from_ticks(slack * rng.random_range(0..=1)),
                };
                let size = Size::new(thickness, tolerance);
                let item = format!("{kind}-{}", stock.len());
                stock.push(Item {
                    reserved: rng.random_range(0..=on_hand) / 3,
                    unit_cost: Millionths::from_raw(rng.random_range(0..=4) * 700_000),
                    min_level: rng.random_range(0..=3),
                    in_bags: 0,
                    carton_qty: if in_packs { rng.random_range(1..=3) } else { 1 },
                    peel_step: (laminated && kind == "shim" && rng.random_bool(0.4))
                        .then_some(step),
                    ..Item::of(&item, kind.into(), Code::new(fit), size, on_hand)
                });
            }
        }
    }
    let mut sheets = if rng.random_bool(0.3) {
        add_sheet(&mut rng, &mut stock, if with_gasket { "gasket" } else { "shim" })
    } else {
        vec![]
    };
    // Values that only the expanded rule uses come from a separate random source.
    let mut aside = ChaCha8Rng::seed_from_u64(!seed);
    // So do errors that several parts share.
    let mut sharing = ChaCha8Rng::seed_from_u64(seed + (1 << 41));
    let gauges = [0, 1].map(|gauge| OfGauge {
        gauge,
        certified: Certified {
            standard: Length::from_ticks(sharing.random_range(20_000..=120_000)).into(),
            extent: Length::from_ticks(sharing.random_range(10_000..=60_000)),
            freedom: sharing.random_bool(0.5).then(|| sharing.random_range(1..=9)),
        },
    });
    let gauged = sharing.random_bool(0.3);
    // Coarse pieces and fine readings: what pieces have in common decides.
    let coarse = sharing.random_bool(0.4);
    let stated = sharing.random_bool(0.7);
    let mut of_lot = |size: &mut Size| {
        let u = aside.random_range(20_000..=200_000);
        let known = aside.random_bool(0.7);
        size.uncertainty = known.then(|| Certified {
            standard: Length::from_ticks(u).into(),
            extent: Length::from_ticks(sharing.random_range(0..=u / 4)),
            freedom: sharing.random_bool(0.3).then(|| sharing.random_range(1..=9)),
        });
        let share = [0, 250_000, 600_000, 1_000_000][sharing.random_range(0..4)];
        if coarse {
            size.tolerance =
                Tolerance { minus: size.tolerance.minus * 3, plus: size.tolerance.plus * 3 };
        }
        size.alike = (stated && sharing.random_bool(0.6)).then_some(Millionths::from_raw(share));
        size.gauge = (gauged && sharing.random_bool(0.6))
            .then(|| gauges[usize::from(sharing.random_bool(0.3))]);
    };
    for lot in &mut sheets {
        of_lot(&mut lot.size);
    }
    for item in &mut stock {
        let size = item.size.as_mut().unwrap();
        match item.cut {
            Some(cut) => *size = Size { thickness: size.thickness, ..sheets[cut.plate].size },
            None => of_lot(size),
        }
    }
    let count = rng.random_range(2..=if packs_wanted == 1 { 4 } else { 3 });
    let pumps = (0..count)
        .map(|index| {
            let mut measured = |value: Length| {
                // Of one thou over the root of 3, of 6 and of 2, or known by itself. Half a thou would put whole sums
                // exactly on the edge, which floats cannot judge.
                let standard = match aside.random_range(0..6) {
                    0 => 146_647,
                    1 => 103_696,
                    2 => 179_606,
                    _ => aside.random_range(30_000..=120_000),
                };
                let standard = if coarse { standard / 8 } else { standard };
                let few = later.random_bool(0.5);
                let mut side = || Length::from_ticks(later.random_range(0..=400_000));
                let tolerance = Tolerance { minus: side(), plus: side() };
                Measured {
                    readings: vec![value],
                    value,
                    tolerance: if uneven { tolerance } else { Tolerance::even(thou(1)) },
                    each: Tolerance::default(),
                    standard: Length::from_ticks(standard).into(),
                    freedom: few.then(|| later.random_range(1..=9)),
                    gauge: (gauged && sharing.random_bool(0.5)).then_some(gauges[0]),
                }
            };
            let same_fit = rng.random_bool(0.7);
            let dimensions = vec![
                measured(thou(rng.random_range(26..=50))),
                measured(thou(rng.random_range(4..=12))),
            ];
            Pump {
                priority: rng.random_range(1..=3),
                growths: model.thermals.iter().map(|thermal| growth(&mut later, thermal)).collect(),
                fits: (0..packs_wanted)
                    .map(|_| Code::new(fits[if same_fit { 0 } else { rng.random_range(0..2) }]))
                    .collect(),
                dimensions,
                ..Pump::new(&format!("P-{index}"), 0, &model)
            }
        })
        .collect();
    let drawn = rng.random_bool(0.5);
    let acceptance = match drawn {
        _ if aside.random_range(0..3) == 0 => Acceptance::Expanded,
        true => Acceptance::Nominal,
        false => Acceptance::WorstCase,
    };
    let coverage = [1_000_000, 1_732_051, 2_000_000, 3_000_000][aside.random_range(0..4)];
    let coverage = if later.random() {
        Coverage::Level(part(student::LEVELS[later.random_range(0..3)].0))
    } else {
        Coverage::Factor(part(coverage))
    };
    // A source of its own again.
    let booked_back = ChaCha8Rng::seed_from_u64(seed ^ 0x706c_6174_6500).random_bool(0.4);
    let remnants = if booked_back { Remnants::BookedBack } else { Remnants::Charged };
    Job::new(Parts {
        stock,
        plates: sheets,
        models: vec![model],
        pumps,
        policy: Policy {
            acceptance,
            coverage,
            remnants,
            opened_cartons_spoiled: in_packs,
            alike: if sharing.random_bool(0.2) {
                Alike::Share(Millionths::from_raw(500_000))
            } else {
                Alike::AtWorst
            },
            ..Policy::default()
        },
        gauges: gauges.map(gauge_of).to_vec(),
        ..Parts::default()
    })
    .unwrap()
}

fn gauge_of(of: OfGauge) -> Gauge {
    Gauge { name: format!("gauge {}", of.gauge), certified: of.certified, certificate: None }
}

/// Correlation of the two dimensions and the two growths, as far as they have one.
fn correlated(rng: &mut ChaCha8Rng, dimensions: bool, growths: bool) -> Vec<Correlation> {
    let mut all = Vec::new();
    for (there, term) in [
        (dimensions, Term::Dimension as fn(usize) -> Term),
        (growths && rng.random(), Term::Thermal),
    ] {
        let coefficient = match rng.random_range(0..6) {
            0 => -1_000_000,
            1 => 1_000_000,
            _ => rng.random_range(-1_000_000..=1_000_000),
        };
        if there {
            all.push(Correlation {
                between: [term(0), term(1)],
                coefficient: Millionths::from_raw(coefficient),
            });
        }
    }
    all
}

/// A part of 40 to 150 mm that grows by some thou at most.
fn part_that_grows(rng: &mut ChaCha8Rng) -> Thermal {
    let mut up_to = |most: i64| Millionths::from_raw(rng.random_range(0..=most));
    let (within, temperature_within) = (up_to(2_500_000), up_to(25_000_000));
    Thermal {
        name: "part".into(),
        label: "part".into(),
        length: Length::from_ticks(rng.random_range(400_000_000..=1_500_000_000)),
        length_within: Length::from_ticks(rng.random_range(0..=20_000_000)),
        expansion: Expansion {
            value: Millionths::from_raw(rng.random_range(9_000_000..=19_000_000)),
            within,
        },
        cold: Millionths::from_raw(20_000_000),
        running: Millionths::from_raw(20_000_000),
        temperature_within,
        material: None,
        degrees_of_freedom: [None; 3],
    }
}

/// Its growth at a running temperature, calculated in floats: the product of length, coefficient and difference; the
/// furthest of its corners; and each factor's share at first order.
fn growth(rng: &mut ChaCha8Rng, thermal: &Thermal) -> Growth {
    let growth = Growth::of(Thermal {
        running: Millionths::from_raw(rng.random_range(-20_000_000..=110_000_000)),
        ..thermal.clone()
    });
    let given = &growth.thermal;
    let [length, within] = [given.length, given.length_within].map(|l| l.ticks() as f64);
    let expansion = [given.expansion.value, given.expansion.within].map(|e| e.to_f64() / 1e6);
    let warmer = given.running.to_f64() - given.cold.to_f64();
    let factors = [
        (length, within),
        (expansion[0], expansion[1]),
        (warmer, given.temperature_within.to_f64()),
    ];
    let value: f64 = factors.iter().map(|(value, _)| value).product();
    assert!((growth.value.ticks() as f64 - value).abs() < 0.500_001);
    let corner = |signs: u32| -> f64 {
        let ends = (0..).zip(factors);
        ends.map(
            |(n, (value, within))| {
                if signs >> n & 1 == 1 { value + within } else { value - within }
            },
        )
        .product()
    };
    let worst = (0..8).map(|signs| (corner(signs) - growth.value.ticks() as f64).abs());
    let beyond = growth.tolerance.plus.ticks() as f64 - worst.fold(0.0, f64::max);
    assert!((-1e-6..1.000_001).contains(&beyond), "{beyond}");
    // First order: how far each factor alone moves the product, over the root of three.
    let square: f64 = [0, 1, 2]
        .map(|n| factors[n].1 * factors[(n + 1) % 3].0 * factors[(n + 2) % 3].0)
        .iter()
        .map(|moved| moved.powi(2) / 3.0)
        .sum();
    let standard = growth.standard.raw() as f64 / 1e5;
    assert!((0.0..0.004).contains(&(standard - square.sqrt() + 1e-6)));
    growth
}

/// A lot of small sheets, and the pieces of both fits that can be cut from them.
fn add_sheet(rng: &mut ChaCha8Rng, stock: &mut Vec<Item>, kind: &str) -> Vec<PlateLot> {
    let mm = |n: i64| Length::from_ticks(n * 10_000);
    let thick = if kind == "shim" { 4..=14 } else { 15..=40 };
    let lot = PlateLot {
        item: "sheet".into(),
        kind: kind.into(),
        material: None,
        size: Size::new(
            Length::from_ticks(rng.random_range(thick) * 254_000),
            Tolerance::even(Length::from_ticks(60_000)),
        ),
        sides: [mm(rng.random_range(60..=120)), mm(rng.random_range(60..=120))],
        on_hand: rng.random_range(0..=2),
        reserved: 0,
        plate_cost: Millionths::from_raw(rng.random_range(1..=9) * 1_000_000),
        bin: None,
        row: 0,
    };
    for fit in ["A", "B"] {
        let outside = mm(rng.random_range(25..=60));
        let (item, blanks) = (format!("sheet > {fit}"), lot.on_hand * lot.yields(outside));
        let cut = Cut { plate: 0, outside, inside: mm(10) };
        stock.push(Item {
            unit_cost: Millionths::from_raw(ring_value(&lot, cut)),
            cut: Some(cut),
            ..Item::of(&item, kind.into(), Code::new(fit), lot.size, blanks)
        });
    }
    vec![lot]
}

#[test]
fn goals_stand_in_their_order() {
    let plan = choose(&random_job(1), &Control::unlimited()).unwrap();
    let aims: Vec<Objective> = plan.goals.iter().map(|goal| goal.objective).collect();
    assert_eq!(
        aims,
        [Objective::ServedWeight, Objective::Waste, Objective::Pieces, Objective::Scarcity]
    );
    // With plates, the fewest cut come after the waste.
    let plates = (0..).map(random_job).find(|job| !job.plates.is_empty()).unwrap();
    let plan = choose(&plates, &Control::unlimited()).unwrap();
    assert_eq!(plan.goals[1].objective, Objective::Waste);
    assert_eq!(plan.goals[2].objective, Objective::Plates);
    assert_eq!(plan.goals[3].objective, Objective::Pieces);
}

/// Where whole numbers cannot hold the weights, each priority is a goal of its own, with an equal outcome: here 60
/// priorities of one pump each.
#[test]
fn many_priorities_are_served_stage_by_stage() {
    // The first random outage whose first pump can be kitted at all.
    let can = |job: &Job| !all_ways(job, &job.pumps[0]).is_empty();
    let job = (0..).map(random_job).find(can).unwrap();
    let pump = job.pumps[0].clone();
    let alike =
        (1..=60).map(|priority| Pump { tag: format!("P-{priority}"), priority, ..pump.clone() });
    let job = job.with(|job| job.pumps = alike.collect()).unwrap();
    let plan = choose(&job, &Control::unlimited()).unwrap();
    assert!(plan.proven());
    let after = if job.plates.is_empty() { 3 } else { 4 };
    assert!(matches!(plan.goals[0].objective, Objective::ServedOf(1)));
    assert_eq!(plan.goals.len(), 60 + after);
    // All equal, so the first priorities are served, as far as the stock goes.
    let served: Vec<bool> = plan.kits.iter().map(|kit| matches!(kit, Kit::Served(_))).collect();
    let count = served.iter().filter(|s| **s).count();
    assert!(served[..count].iter().all(|s| *s) && count > 0 && count < 60, "{count}");
    // One more piece that serves a pump more has no number for its weight, and any other has its worth as ever.
    let waste = |plan: &Plan| plan.goal(Objective::Waste).unwrap().value;
    let mut serves = 0;
    for worth in worth(&job, &plan, &Control::unlimited()).unwrap() {
        let more = job.clone().with(|job| job.stock[worth.item].on_hand += 1).unwrap();
        let after = choose(&more, &Control::unlimited()).unwrap();
        let weight = (after.served() == count).then_some(0);
        let change = waste(&after) - waste(&plan);
        assert_eq!((worth.served_weight, worth.waste.raw()), (weight, change), "{}", worth.item);
        serves += usize::from(weight.is_none());
    }
    assert!(serves > 0);
    gapwright::verify::verify(job, plan).unwrap();
}

/// Where all pumps are served, the worth of one more does not hang on their priorities, however many there are.
#[test]
fn one_more_is_worth_the_same_with_any_number_of_priorities() {
    let fleet = generate::fleet(3, 56, 9, 4, 11, 3);
    let of = |job: &Job| {
        let plan = choose(job, &Control::unlimited()).unwrap();
        assert_eq!(plan.served(), 56);
        worth(job, &plan, &Control::unlimited()).unwrap()
    };
    let ranked = fleet.clone().with(|job| {
        for (pump, rank) in job.pumps.iter_mut().zip(1..) {
            pump.priority = rank;
        }
    });
    let ranked = ranked.unwrap();
    assert_eq!(ranked.weights(), None);
    let (alike, ranked) = (of(&fleet), of(&ranked));
    assert_eq!(alike.len(), fleet.stock.len());
    assert_eq!(alike, ranked);
    assert!(alike.iter().any(|worth| worth.waste < Money::ZERO));
}

/// Fleets large enough to be searched part by part, with packs that are spoiled once opened: the checker recounts
/// stock and waste, and the rest of packs can only add to the waste.
#[test]
fn fleets_that_open_packs_are_never_overdrawn() {
    let mut spoils = 0;
    for seed in 1..=4 {
        let tenths = if seed % 2 == 0 { 25 } else { 12 };
        let singly = generate::fleet(seed, 40, 12, 6, tenths, 3);
        let packed = singly.clone().with(|packed| {
            packed.policy.opened_cartons_spoiled = true;
            for lot in &mut packed.stock {
                lot.carton_qty = 4;
            }
        });
        let packed = packed.unwrap();
        let limit = std::time::Duration::from_secs(1);
        let waste = |job: &Job| {
            let plan = choose(job, &Control::unlimited().limit(limit)).unwrap();
            let verified = gapwright::verify::verify(job.clone(), plan).unwrap();
            let plan = verified.plan();
            assert_eq!(plan.served(), 40, "seed {seed}");
            let waste = *plan.goal(Objective::Waste).unwrap();
            (waste.value, waste.bound)
        };
        let (least, packed) = (waste(&singly), waste(&packed));
        assert!(packed.0 >= least.1, "seed {seed}: {packed:?} below {least:?}");
        println!("seed {seed}: singly {least:?}, by the pack {packed:?}");
        spoils += usize::from(packed.0 > least.1);
    }
    assert!(spoils >= 2, "{spoils}");
}
