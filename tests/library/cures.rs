//! Cures of pumps that are short, beside going through every kit.

use gapwright::analysis::with_cures;
use gapwright::choose::choose;
use gapwright::choose::control::Control;
use gapwright::decimal::Money;
use gapwright::job::{Job, Parts, Standing};
use gapwright::length::{Fine, Length, Tolerance};
use gapwright::model::Term;
use gapwright::plan::{Kit, PackPick, Pick};
use gapwright::policy::{Acceptance, Policy};
use gapwright::stock::Size;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::support::{self, linear, lot, pack};

const MOST: u32 = 3;
/// Plus and minus of every piece, in ticks.
const WITHIN: i64 = 40;
const STEP: i64 = 1_000;

/// One pump that wants a total of three shims at most between two limits; sizes in steps.
struct Case {
    job: Job,
    sizes: Vec<i64>,
    limits: [i64; 2],
}

fn case(random: &mut ChaCha8Rng) -> Case {
    let mut sizes: Vec<i64> =
        (0..random.random_range(2..6)).map(|_| random.random_range(3..40)).collect();
    sizes.sort_unstable();
    sizes.dedup();
    let stock = sizes.iter().map(|&size| {
        let mut shim = lot("shim", &format!("S{size}"), Length::from_ticks(size * STEP), 0);
        shim.on_hand = random.random_range(0..3);
        let within = Length::from_ticks(WITHIN);
        let tolerance = Tolerance { minus: within, plus: within };
        shim.size = Some(Size::new(Length::from_ticks(size * STEP), tolerance));
        shim.offer.unit_cost =
            random.random_bool(0.8).then(|| Money::from_raw(random.random_range(1..900) * 10_000));
        shim.offer.carton_qty = random.random_bool(0.3).then(|| random.random_range(1..4));
        shim
    });
    let stock = stock.collect();
    let target = random.random_range(10..90) * STEP;
    let half = random.random_range(5..60) * 10;
    let limits = [target - half, target + half];
    let [least, most] = limits.map(Length::from_ticks);
    let requirement = linear(&[(Term::Pack(0), 1)], Length::from_ticks(target), least, most);
    let job = support::job(stock, vec![pack("shim", MOST)], vec![requirement], &[]);
    let policy = Policy { acceptance: Acceptance::WorstCase, ..Policy::default() };
    let job = job.with(|parts: &mut Parts| parts.policy = policy).unwrap();
    Case { job, sizes, limits }
}

/// Every way to take one to three shims, as counts by size.
fn ways(sizes: usize) -> Vec<Vec<u32>> {
    let mut all = vec![vec![]];
    for _ in 0..sizes {
        let longer =
            |way: Vec<u32>| (0..=MOST).map(move |count| [way.clone(), vec![count]].concat());
        all = all.into_iter().flat_map(longer).collect();
    }
    all.retain(|way| (1..=MOST).contains(&way.iter().sum()));
    all
}

impl Case {
    /// Distance by which a way misses the limits, with so much guard for each piece; below zero where it keeps clear.
    fn miss(&self, way: &[u32], guard: i64) -> i64 {
        let total: i64 =
            way.iter().zip(&self.sizes).map(|(count, size)| i64::from(*count) * size * STEP).sum();
        let guard = guard * i64::from(way.iter().sum::<u32>());
        (self.limits[0] - (total - guard)).max(total + guard - self.limits[1])
    }

    /// Price of what a way needs beside the stock, in whole packs; `None` where something has no price.
    fn price(&self, way: &[u32]) -> Option<i64> {
        let prices = way.iter().zip(&self.job.stock).map(|(count, lot)| {
            let lacking = count.saturating_sub(lot.on_hand);
            if lacking == 0 {
                return Some(0);
            }
            let pack = lot.offer.carton_qty.unwrap_or(1);
            let packs = i64::from(lacking.div_ceil(pack));
            Some(packs * i64::from(pack) * lot.offer.unit_cost?.raw())
        });
        prices.sum()
    }
}

/// Whole ticks: nothing here is finer.
fn ticks(fine: Fine) -> i64 {
    i64::try_from(fine.raw() / Fine::from(Length::from_ticks(1)).raw()).unwrap()
}

#[test]
fn cures_equal_those_found_by_going_through_every_kit() {
    let mut random = ChaCha8Rng::seed_from_u64(19);
    let (mut short, mut bought, mut nominal) = (0, 0, 0);
    for round in 0..600 {
        let case = case(&mut random);
        let plan = choose(&case.job, &Control::unlimited()).unwrap();
        let plan = with_cures(&case.job, plan);
        let ways = ways(case.sizes.len());
        let there = |way: &&Vec<u32>| {
            way.iter().zip(&case.job.stock).all(|(count, lot)| *count <= lot.on_hand)
        };
        if matches!(plan.kits[0], Kit::Served(_)) {
            assert!(plan.cures.is_empty());
            continue;
        }
        short += 1;
        let cure = &plan.cures[0];
        // The cheapest purchase.
        let serves = ways.iter().filter(|way| case.miss(way, WITHIN) <= 0);
        let cheapest = serves.filter_map(|way| case.price(way)).min();
        assert_eq!(cure.buy.as_ref().map(|buy| buy.price.raw()), cheapest, "round {round}");
        if let Some(buy) = &cure.buy {
            bought += 1;
            let mut parts = case.job.clone().into_parts();
            buy.pieces.iter().for_each(|(item, count)| parts.stock[*item].on_hand += count);
            let again = choose(&Job::new(parts).unwrap(), &Control::unlimited()).unwrap();
            assert!(matches!(again.kits[0], Kit::Served(_)), "round {round}");
        }
        // The rule: nominal values within the limits, of pieces that are there.
        let in_hand: Vec<&Vec<u32>> = ways.iter().filter(there).collect();
        let is_nominal = in_hand.iter().any(|way| case.miss(way, 0) <= 0);
        assert_eq!(cure.rules.contains(&Acceptance::Nominal), is_nominal, "round {round}");
        nominal += u32::from(is_nominal);
        // The limit: the kit that misses by least, within the step of the search.
        let least = in_hand.iter().map(|way| case.miss(way, WITHIN)).min();
        let missed = cure.moves.iter().map(|moved| ticks(moved.by)).max();
        assert_eq!(missed.is_some(), least.is_some(), "round {round}");
        if let (Some(missed), Some(least), false) = (missed, least, is_nominal) {
            let width = (case.limits[1] - case.limits[0]).max(1);
            assert!(missed >= least, "round {round}: {missed} {least}");
            assert!(
                missed - least <= least / 32 + width / 64 + 1,
                "round {round}: {missed} {least} {width}"
            );
        }
    }
    assert!(short > 400 && bought > 40 && nominal > 2, "{short} {bought} {nominal}");
}

/// A bag that holds what a short pump lacks is named.
#[test]
fn a_bag_that_would_serve_a_short_pump_is_named() {
    let stock = support::shims(&["1 mm"], 1);
    let one = support::exactly(stock, Length::parse("1 mm", None).unwrap(), 1);
    let job = one.with(|parts| {
        let mut second = parts.pumps[0].clone();
        second.tag = "Q".into();
        parts.pumps.push(second);
        let bag = vec![PackPick { picks: vec![Pick { item: 0, count: 1, peeled: 0 }] }];
        parts.standing = vec![
            Standing::default(),
            Standing { bag: Some(bag), held: true, ..Standing::default() },
        ];
    });
    let job = job.unwrap();
    let plan = with_cures(&job, choose(&job, &Control::unlimited()).unwrap());
    assert!(matches!(plan.kits[..], [Kit::Short(_), Kit::Served(_)]));
    assert_eq!(plan.cures[0].bags, [1]);
    assert_eq!(plan.cures[0].buy, None, "it has no price");
}
