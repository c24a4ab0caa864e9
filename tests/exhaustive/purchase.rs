//! Compares purchases with exhaustive search: every plan from everything that could be bought, each with the fewest
//! packs that it needs.

use gapwright::choose::purchase::purchase;
use gapwright::decimal::Money;
use gapwright::pump::Due;
use gapwright::purchase::Market;
use gapwright::stock::Offer;
use gapwright::verify::verify_purchase;

use super::*;

const TODAY: i64 = 46_000;
const MOST_PLANS: usize = 20_000;
const MOST_OFFERS: usize = 14;

/// A random outage where some items can be bought and some pumps cannot wait.
fn random_shop(seed: u64) -> (Job, Market) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed ^ 0x6275_7900);
    let change = |job: &mut Parts| {
        for lot in job.stock.iter_mut().filter(|lot| lot.cut.is_none()) {
            if rng.random_bool(0.4) {
                lot.on_hand = lot.reserved + rng.random_range(0..=1);
            }
            if rng.random_bool(0.7) {
                let pack = rng.random_range(1..=3);
                // A price of its own, sometimes none at all.
                lot.unit_cost = Money::from_raw(rng.random_range(0..=6) * 500_000);
                lot.carton_qty = pack;
                lot.offer = Offer {
                    unit_cost: Some(lot.unit_cost),
                    carton_qty: Some(pack),
                    max_level: None,
                    lead_days: [None, Some(0), Some(10)][rng.random_range(0..3)],
                    supplier: None,
                };
            }
        }
        for pump in &mut job.pumps {
            let days: Option<i64> = [None, Some(3), Some(10)][rng.random_range(0..3)];
            pump.due =
                days.map(|days| Due { shown: String::new(), serial: (TODAY + days) as f64 + 0.25 });
        }
    };
    let job = random_job(seed).with(change).unwrap();
    let budget = rng.random_bool(0.4).then(|| Money::from_raw(rng.random_range(0..=24) * 500_000));
    let market = Market::of(&job, TODAY, budget, |_| true).unwrap();
    (job, market)
}

/// Compared figures of a plan: minus the weight served, the cost of the packs, waste.
type Value = [i64; 3];

struct Shopping<'a> {
    job: &'a Job,
    market: &'a Market,
    ways: &'a [Vec<Way>],
    used: Vec<u32>,
    /// Of those, the pieces of pumps that are due before the item comes.
    early: Vec<u32>,
    best: Option<Value>,
    /// The best plan if all pumps could wait.
    patient: Option<Value>,
}

impl Shopping<'_> {
    fn on(&mut self, pump: usize, sum: Value) {
        if pump == self.ways.len() {
            self.arrive(sum);
            return;
        }
        self.on(pump + 1, sum);
        let ways = self.ways;
        for way in &ways[pump] {
            self.add(pump, way, true);
            let next = [sum[0] - weight(self.job, pump), sum[1], sum[2] + way.cost[0]];
            self.on(pump + 1, next);
            self.add(pump, way, false);
        }
    }

    fn add(&mut self, pump: usize, way: &Way, put: bool) {
        let due = self.job.pumps[pump].due.as_ref().map(|due| due.serial as i64);
        for (item, &count) in way.used.iter().enumerate() {
            let lead = self.job.stock[item].offer.lead_days.unwrap_or(0);
            let early = due.is_some_and(|due| TODAY + i64::from(lead) > due);
            let of = |sum: &mut u32| *sum = if put { *sum + count } else { *sum - count };
            of(&mut self.used[item]);
            if early {
                of(&mut self.early[item]);
            }
        }
    }

    fn arrive(&mut self, mut sum: Value) {
        let mut in_time = true;
        for (item, lot) in self.job.stock.iter().enumerate() {
            let on_hand = lot.on_hand - lot.reserved;
            let lacking = self.used[item].saturating_sub(on_hand);
            if lacking > 0 {
                let (Some(cost), Some(pack)) = (lot.offer.unit_cost, lot.offer.carton_qty) else {
                    return;
                };
                let mut packs = 0;
                while packs * pack < lacking {
                    packs += 1;
                }
                sum[1] += cost.raw() * i64::from(packs * pack);
            }
            in_time &= self.early[item] <= on_hand;
            if by_the_pack(self.job, item) {
                sum[2] +=
                    i64::from(paid_for(self.job, item, self.used[item])) * lot.unit_cost.raw();
            }
        }
        if self.market.budget.is_some_and(|budget| sum[1] > budget.raw()) {
            return;
        }
        let Some([waste, _]) = cheapest_cut(self.job, &self.used) else {
            return;
        };
        sum[2] += waste;
        let better = |best: &mut Option<Value>| {
            if best.is_none_or(|best| sum < best) {
                *best = Some(sum);
            }
        };
        better(&mut self.patient);
        if in_time {
            better(&mut self.best);
        }
    }
}

#[test]
fn every_small_purchase_comes_out_as_exhaustive_search_says() {
    let (mut cases, mut bought, mut several, mut waits, mut scrimped, mut spoiled) =
        (0, 0, 0, 0, 0, 0);
    for seed in 0..16_000 {
        let (job, market) = random_shop(seed);
        // Everything that could ever be wanted is on hand.
        let plenty = job.clone().with(|job| {
            for lot in job.stock.iter_mut().filter(|lot| lot.offer.for_sale()) {
                lot.on_hand += 30;
            }
        });
        let plenty = plenty.unwrap();
        // Else there are too many ways to fill a place, before any plan is examined.
        if offers(&plenty).len() * plenty.models[0].packs.len() > MOST_OFFERS {
            continue;
        }
        let ways = ways_of(&plenty);
        let plans = ways.iter().map(|ways| ways.len() + 1).product::<usize>();
        if plans > MOST_PLANS {
            continue;
        }
        cases += 1;
        let mut shopping = Shopping {
            job: &job,
            market: &market,
            ways: &ways,
            used: vec![0; job.stock.len()],
            early: vec![0; job.stock.len()],
            best: None,
            patient: None,
        };
        shopping.on(0, [0; 3]);
        let found =
            purchase(&job, &market, &Control::unlimited()).expect("small jobs can be listed");
        assert!(found.plan.proven(), "case {seed}: not proven");
        let goal = |aim| found.plan.goal(aim).expect("a goal").value;
        let value =
            [-goal(Objective::ServedWeight), goal(Objective::Purchase), goal(Objective::Waste)];
        assert_eq!(Some(value), shopping.best, "case {seed}");
        assert_eq!(found.cost(&market).raw(), value[1], "case {seed}");
        let (packs, plan) = (found.cartons.clone(), found.plan.clone());
        let verified = verify_purchase(&job, &market, found)
            .unwrap_or_else(|breaches| panic!("case {seed}: {breaches:?}"));
        let served = verified.purchase().plan.served();
        bought += usize::from(packs.iter().any(|&packs| packs > 0));
        several += usize::from(packs.iter().filter(|&&packs| packs > 0).count() > 1);
        waits += usize::from(shopping.patient != shopping.best);
        scrimped += usize::from(market.budget.is_some() && served < job.pumps.len());
        spoiled += usize::from(job.policy.opened_cartons_spoiled && value[1] > 0);
        // The checker must refuse a purchase with a single error.
        if let Some(item) = packs.iter().position(|&packs| packs > 0) {
            let mut wrong = verified.purchase().clone();
            wrong.cartons[item] -= 1;
            assert!(verify_purchase(&job, &market, wrong).is_err(), "case {seed}");
            let mut poorer = market.clone();
            poorer.budget = Some(Money::from_raw(value[1] - 1));
            let right = verified.purchase().clone();
            assert!(verify_purchase(&job, &poorer, right).is_err(), "case {seed}");
        }
        assert_eq!(
            purchase(&job, &market, &Control::unlimited()).unwrap().plan,
            plan,
            "case {seed}: not the same twice"
        );
    }
    println!(
        "{cases} cases: {bought} buy, {several} several items, {waits} other than if everybody \
         could wait, {scrimped} short under a budget, {spoiled} bought where opened packs are spoiled"
    );
    assert!(cases > 4_000 && bought > 1_000 && several > 150);
    assert!(waits > 150 && scrimped > 1_000 && spoiled > 250);
}
