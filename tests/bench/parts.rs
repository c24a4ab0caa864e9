//! Benchmarks of the parts of the choice: `cargo bench --bench parts`.
//!
//! A fleet of 30 pumps in a tight stock, equal on every run. The obvious method is timed next to each optimised part,
//! so that the ratio comes from one run.

#![allow(clippy::unwrap_used, clippy::cast_possible_truncation, missing_docs)]

mod generate;

use std::sync::LazyLock;

use divan::{Bencher, black_box};
use gapwright::choose::control::Control;
use gapwright::choose::parts::{
    Allowed, Climb, CombinationLists, CostRow, FAR, Instance, Multipliers, Pool, Prices, SCALE,
    Stage, instances, patterns, scales,
};
use gapwright::choose::{Backend, choose};
use gapwright::job::Job;
use gapwright::stock::Item;

static JOB: LazyLock<Job> = LazyLock::new(|| generate::fleet(1, 30, 22, 8, 11, 4));

/// The largest group of its pumps.
static INSTANCE: LazyLock<Instance> = LazyLock::new(|| {
    let instances = instances(&JOB).unwrap();
    instances.into_iter().max_by_key(|i| i.pumps).unwrap()
});

fn main() {
    divan::main();
}

fn available() -> Vec<u32> {
    JOB.stock.iter().map(Item::available).collect()
}

#[divan::bench]
fn combinations_listed() -> CombinationLists {
    CombinationLists::list(black_box(&JOB), &available()).unwrap()
}

#[divan::bench]
fn patterns_listed_for_all_pumps(bencher: Bencher) {
    let drawers = CombinationLists::list(&JOB, &available()).unwrap();
    bencher.bench_local(|| {
        let pumps = JOB.pumps.iter();
        pumps
            .map(|pump| {
                let lists = drawers.of(&JOB, pump);
                patterns(pump, &JOB, &lists, usize::MAX).map(|found| found.len())
            })
            .collect::<Vec<_>>()
    });
}

/// The stage of waste, with every servable pump held as served, and some multipliers.
struct Set {
    sets: Vec<Vec<u32>>,
    limits: Vec<i64>,
    multipliers: Multipliers,
}

impl Set {
    fn up() -> Set {
        let sets = INSTANCE.sets();
        let tier = INSTANCE.tiers.iter().position(|t| *t == CostRow::Waste).unwrap();
        let limits = INSTANCE.tiers[..tier].iter().map(|goal| match goal {
            CostRow::Served(gains) => -gains.iter().sum::<i64>(),
            _ => 0,
        });
        let limits: Vec<i64> = limits.collect();
        let mut multipliers = Multipliers::zero(sets.len(), tier);
        // Pieces dearer by one to seven tenths of the money each, served pumps worth a hundred.
        for (price, (most, _)) in (0..).zip(&mut multipliers.sets) {
            *most = SCALE * 100_000 * (1 + price % 7);
        }
        multipliers.goals.fill(SCALE * 100_000_000);
        Set { sets, limits, multipliers }
    }

    fn stage(&self) -> Stage<'_> {
        Stage {
            instance: &INSTANCE,
            sets: &self.sets,
            tier: self.limits.len(),
            limits: &self.limits,
        }
    }

    fn prices(&self, allowed: &Allowed) -> Prices {
        self.stage().prices(&self.multipliers, &allowed.ranges)
    }
}

#[divan::bench]
fn pricing_pass(bencher: Bencher) {
    let set = Set::up();
    let allowed = Allowed::all(&INSTANCE);
    let prices = set.prices(&allowed);
    bencher.bench_local(|| {
        set.stage()
            .price(black_box(&prices), &allowed, &Control::unlimited())
            .unwrap()
            .unwrap()
            .bound
    });
}

/// Calculates the bound from its definition: each column's costs on each goal times the multipliers, and its pieces
/// times the multipliers of every set that holds them.
#[divan::bench]
fn pricing_pass_the_obvious_way(bencher: Bencher) {
    let set = Set::up();
    let allowed = Allowed::all(&INSTANCE);
    let naive = || {
        let stage = set.stage();
        let mut bound = 0;
        for ((range, (most, least)), _) in
            allowed.ranges.iter().zip(&set.multipliers.sets).zip(&set.sets)
        {
            bound += least * i128::from(range.least) - most * i128::from(range.most.unwrap_or(0));
        }
        for (goal, limit) in set.multipliers.goals.iter().zip(&set.limits) {
            bound -= goal * i128::from(*limit);
        }
        for (block, columns) in INSTANCE.blocks.iter().enumerate() {
            let mut least = if block < INSTANCE.pumps { 0 } else { i128::MAX };
            for (number, column) in (0..).zip(columns) {
                let mut cost = SCALE * i128::from(INSTANCE.cost(stage.tier, block, number));
                for (tier, goal) in set.multipliers.goals.iter().enumerate() {
                    cost += goal * i128::from(INSTANCE.cost(tier, block, number));
                }
                for &(item, count) in &column.uses {
                    let holds = |items: &Vec<u32>| items.contains(&u32::from(item));
                    for (at, (most, less)) in set.multipliers.sets.iter().enumerate() {
                        // A multiplier of a side without a limit is 0.
                        let most = allowed.ranges[at].most.map_or(0, |_| *most);
                        if holds(&set.sets[at]) {
                            cost += (most - less) * i128::from(count);
                        }
                    }
                }
                least = least.min(cost);
            }
            bound += least;
        }
        bound
    };
    let quick = set.stage().price(&set.prices(&allowed), &allowed, &Control::unlimited());
    let quick = quick.unwrap().unwrap();
    assert_eq!(naive(), quick.bound, "the two ways must give one bound");
    bencher.bench_local(naive);
}

/// From zero multipliers to the best bound on the first goal.
#[divan::bench(args = Backend::BUILT_IN.iter().map(|b| b.name()))]
fn climb(bencher: Bencher, backend: &str) {
    let backend = Backend::BUILT_IN.iter().find(|b| b.name() == backend);
    let control = Control::unlimited().backend(*backend.unwrap());
    let sets = INSTANCE.sets();
    let stage = Stage { instance: &INSTANCE, sets: &sets, tier: 0, limits: &[] };
    let allowed = Allowed::all(&INSTANCE);
    let scales = scales(stage, &allowed);
    bencher.bench_local(|| {
        let climb =
            Climb { stage, allowed: &allowed, cost_step: 1, enough: i64::MAX, scales: &scales };
        let mut pool: Pool = vec![Vec::new(); INSTANCE.blocks.len()];
        let start = Multipliers::zero(sets.len(), 0);
        climb.climb(start, FAR, &mut pool, &control)
    });
}

#[divan::bench(sample_count = 10)]
fn whole_choice_for_30_pumps() {
    choose(black_box(&JOB), &Control::unlimited()).unwrap();
}
