//! Consumables of the bags: the published ring, the rule against a search through every distribution of pieces, and
//! the checker.

#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

#[path = "../support/mod.rs"]
mod support;

use gapwright::consumables::{Bag, Share, fill, serving};
use gapwright::job::Job;
use gapwright::length::{Fine, Length, Unit};
use gapwright::model::{ConsumableNeed, SectionColumns};
use gapwright::packing::RingSpace;
use gapwright::plan::{Kit, PackPick, Pick, Plan, Shortfall};
use gapwright::pump::{ConsumableFit, Due, Pump};
use gapwright::stock::{Code, Item};
use gapwright::verify::{Breach, check_bags};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use support::{length, lot};

fn need(kind: &str, fit: bool, section: bool, count: u32) -> ConsumableNeed {
    ConsumableNeed {
        kind: kind.into(),
        fit_column: fit.then(|| "Packing fit".into()),
        section: section
            .then(|| SectionColumns { bore: "box_bore".into(), shaft: "sleeve_diameter".into() }),
        count,
    }
}

fn row(kind: &str, fit: &str, section: Option<Length>, on_hand: u32, reserved: u32) -> Item {
    Item {
        size: None,
        fit: Code::new(fit),
        section,
        reserved,
        ..lot(kind, &format!("{kind} {fit}"), Length::ZERO, on_hand)
    }
}

/// Breaches in words.
fn said(breaches: &[Breach]) -> String {
    let words: Vec<String> = breaches.iter().map(Breach::to_string).collect();
    words.join("; ")
}

/// Pumps of one model whose packs need no pieces: only the bags matter here.
fn job(mut stock: Vec<Item>, needs: Vec<ConsumableNeed>, fits: Vec<Vec<ConsumableFit>>) -> Job {
    for (index, item) in stock.iter_mut().enumerate() {
        item.item = format!("{} {index}", item.item);
    }
    let job = support::job(stock, vec![], vec![], &[]).with(|job| {
        job.models[0].consumables = needs;
        let fits = fits.into_iter().enumerate();
        job.pumps = fits
            .map(|(n, fits)| Pump {
                consumable_fits: fits,
                ..Pump::new(&format!("P{n}"), 0, &job.models[0])
            })
            .collect();
    });
    job.unwrap()
}

fn plan(job: &Job, short: &[usize]) -> Plan {
    let kit = |pump| match short.contains(&pump) {
        true => Kit::Short(vec![Shortfall::of(None, gapwright::plan::Cause::NoPiece)]),
        false => Kit::Served(vec![PackPick::default(); job.models[0].packs.len()]),
    };
    Plan {
        kits: (0..job.pumps.len()).map(kit).collect(),
        goals: vec![],
        layouts: vec![],
        worth: vec![],
        holding: vec![],
        cures: Vec::new(),
        left: None,
        held_back: Vec::new(),
        stopped_by: None,
        left_out: Default::default(),
        certificate: Default::default(),
    }
}

fn code(text: &str) -> ConsumableFit {
    ConsumableFit { code: Some(Code::new(text)), space: None }
}

/// A share with its picks in the order of the stock: items and counts, and the missing count.
type Sorted = (Vec<(usize, u32)>, u32);

fn given(share: &Share) -> Vec<(usize, u32)> {
    share.picks.iter().map(|p| (p.item, p.count)).collect()
}

/// Source: R. K. Mobley, Root Cause Failure Analysis, p. 226: a box of 4 in with a shaft of 2 in
/// takes packing of 1 in; at a mean diameter of 3 in the ring is 9.42 in long.
#[test]
fn the_published_ring_is_the_one_that_is_taken() {
    let space = RingSpace::new(length("4 in"), length("2 in")).unwrap();
    assert_eq!(space.section(), Fine::from(length("1 in")));
    let ring = space.ring_length().to_f64(Unit::Inch);
    assert_eq!(format!("{ring:.2}"), "9.42");
    let stock = vec![
        row("packing ring", "thin", Some(length("7/8 in")), 9, 0),
        row("packing ring", "unknown", None, 9, 0),
        row("packing ring", "metric", Some(length("25.4 mm")), 3, 1),
        row("packing ring", "near", Some(length("25 mm")), 9, 0),
        row("packing ring", "", Some(length("1 in")), 2, 0),
        row("gland ring", "other", Some(length("1 in")), 9, 0),
    ];
    let fit = ConsumableFit { code: None, space: Some(space) };
    let job = job(stock, vec![need("packing ring", false, true, 5)], vec![vec![fit]]);
    let bags = fill(&job, &plan(&job, &[]));
    // The row without a fit code first; the reserved piece stays.
    assert_eq!(given(&bags[0][0]), [(4, 2), (2, 2)]);
    assert_eq!(bags[0][0].lacking, 1);
    assert_eq!(
        gapwright::words::consumable(&job, &job.pumps[0], 0),
        "packing ring, section 1.0000 in (1), ring length 9.42 in"
    );
    assert_eq!(
        gapwright::words::lack(&job, &job.pumps[0], 0, &bags[0][0]).unwrap(),
        "4 free, all used"
    );
}

#[test]
fn fit_code_and_section_are_both_kept_where_both_are_asked_for() {
    let space = RingSpace::new(length("70 mm"), length("50 mm")).unwrap();
    let stock = vec![
        row("packing ring", "A", Some(length("8 mm")), 9, 0),
        row("packing ring", "", Some(length("10 mm")), 9, 0),
        row("packing ring", "a", Some(length("10 mm")), 2, 0),
    ];
    let fit = ConsumableFit { code: Some(Code::new("A")), space: Some(space) };
    let job = job(stock, vec![need("packing ring", true, true, 3)], vec![vec![fit]]);
    let bags = fill(&job, &plan(&job, &[]));
    assert_eq!((given(&bags[0][0]), bags[0][0].lacking), (vec![(2, 2)], 1));
}

#[test]
fn pumps_take_by_priority_then_due_then_row_and_a_short_one_takes_nothing() {
    let stock = vec![row("seal", "A", None, 5, 0)];
    let fits = vec![vec![code("a")]; 5];
    let mut job = job(stock, vec![need("seal", true, false, 2)], fits).into_parts();
    let due = |serial| Some(Due { shown: String::new(), serial });
    for (pump, (priority, due)) in job.pumps.iter_mut().zip([
        (2, due(1.0)),
        (1, None),
        (1, due(9.0)),
        (1, due(2.0)),
        (1, due(9.0)),
    ]) {
        (pump.priority, pump.due) = (priority, due);
    }
    let job = Job::new(job).unwrap();
    let lacking = |short: &[usize]| -> Vec<Option<u32>> {
        let bags = fill(&job, &plan(&job, short));
        assert_eq!(check_bags(&job, &plan(&job, short), &bags), Vec::new());
        let shares = bags.iter().map(|bag| bag.first());
        shares.map(|s| s.map(|share| share.lacking)).collect()
    };
    // Turns: 3 (due 2), 2 and 4 (due 9, in their order), 1 (no date), 0 (priority 2).
    let some = |n: [u32; 5]| n.map(Some).to_vec();
    assert_eq!(lacking(&[]), some([2, 2, 0, 0, 1]));
    assert_eq!(lacking(&[3]), [Some(2), Some(1), Some(0), None, Some(0)]);
}

#[test]
fn without_a_fit_code_nothing_is_guessed() {
    let stock = vec![row("seal", "", None, 5, 0), row("seal", "A", None, 5, 0)];
    let fits = vec![vec![ConsumableFit::default()]];
    let asked = job(stock.clone(), vec![need("seal", true, false, 2)], fits.clone());
    assert!(serving(&asked, &asked.pumps[0], 0).is_empty());
    let bags = fill(&asked, &plan(&asked, &[]));
    assert_eq!((given(&bags[0][0]), bags[0][0].lacking), (vec![], 2));
    assert_eq!(
        gapwright::words::lack(&asked, &asked.pumps[0], 0, &bags[0][0]).unwrap(),
        "the pump sheet gives no `Packing fit`"
    );
    // Where the model asks for no fit, any row will do: those without a fit code first.
    let any = job(stock, vec![need("seal", false, false, 7)], fits);
    let bags = fill(&any, &plan(&any, &[]));
    assert_eq!((given(&bags[0][0]), bags[0][0].lacking), (vec![(0, 5), (1, 2)], 0));
}

/// A small random outage: kinds, fit codes, sections, reserved pieces, dues and short pumps mixed.
fn random(seed: u64) -> (Job, Plan) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let kinds = ["packing ring", "seal"];
    let codes = ["", "A", "B"];
    let millimetres = |n: i64| Length::from_ticks(n * 10_000_000);
    let stock = (0..3)
        .map(|_| {
            let on_hand = rng.random_range(0..=2);
            row(
                kinds[usize::from(rng.random_bool(0.1))],
                codes[rng.random_range(0..3)],
                rng.random_bool(0.8).then(|| millimetres(rng.random_range(8..=9))),
                on_hand,
                rng.random_range(0..=on_hand.min(1)),
            )
        })
        .collect();
    let needs: Vec<ConsumableNeed> = (0..rng.random_range(1..=2))
        .map(|_| {
            need(
                kinds[usize::from(rng.random_bool(0.1))],
                rng.random_bool(0.4),
                rng.random_bool(0.3),
                rng.random_range(1..=3),
            )
        })
        .collect();
    let pumps: usize = rng.random_range(1..=2);
    let fits = (0..pumps)
        .map(|_| {
            let fit = |need: &ConsumableNeed| ConsumableFit {
                code: (need.fit_column.is_some() && rng.random_bool(0.9))
                    .then(|| Code::new(codes[rng.random_range(1..3)])),
                space: need.section.as_ref().and_then(|_| {
                    let bore = 50 + 2 * rng.random_range(8..=9);
                    RingSpace::new(millimetres(bore), millimetres(50))
                }),
            };
            needs.iter().map(fit).collect()
        })
        .collect();
    let job = job(stock, needs, fits).with(|job| {
        for pump in &mut job.pumps {
            pump.priority = rng.random_range(1..=2);
            pump.due = rng
                .random_bool(0.5)
                .then(|| Due { shown: String::new(), serial: f64::from(rng.random_range(1..=2)) });
        }
    });
    let job = job.unwrap();
    let short: Vec<usize> = (0..pumps).filter(|_| rng.random_bool(0.15)).collect();
    let plan = plan(&job, &short);
    (job, plan)
}

/// Every way to put pieces of the stock into one share, whether they belong there or not.
fn shares(stock: usize, count: u32) -> Vec<Share> {
    let mut all = vec![Share { picks: vec![], lacking: count }];
    for item in 0..stock {
        all = all
            .iter()
            .flat_map(|share| {
                (0..=share.lacking).map(move |count| {
                    let mut share = share.clone();
                    share.lacking -= count;
                    share.picks.extend((count > 0).then_some(Pick { item, count, peeled: 0 }));
                    share
                })
            })
            .collect();
    }
    all
}

/// Of all ways to fill the bags the checker passes exactly one, and that is the chosen one.
#[test]
fn the_checker_lets_exactly_the_bags_pass_that_the_rule_gives() {
    let (mut ways, mut lacking, mut combined, mut short) = (0, 0, 0, 0);
    for seed in 0..250 {
        let (job, plan) = random(seed);
        let taken = fill(&job, &plan);
        let mut all: Vec<Vec<Bag>> = vec![vec![]];
        for kit in &plan.kits {
            let mut bags: Vec<Bag> = vec![vec![]];
            if matches!(kit, Kit::Served(_)) {
                for need in &job.models[0].consumables {
                    let shares = shares(job.stock.len(), need.count);
                    bags = bags
                        .iter()
                        .flat_map(|bag| {
                            shares.iter().map(|share| {
                                let mut bag = bag.clone();
                                bag.push(share.clone());
                                bag
                            })
                        })
                        .collect();
                }
            }
            all = all
                .iter()
                .flat_map(|so_far| {
                    bags.iter().map(|bag| {
                        let mut so_far = so_far.clone();
                        so_far.push(bag.clone());
                        so_far
                    })
                })
                .collect();
        }
        ways += all.len();
        let passing: Vec<&Vec<Bag>> =
            all.iter().filter(|bags| check_bags(&job, &plan, bags).is_empty()).collect();
        assert_eq!(passing.len(), 1, "case {seed}");
        let sorted = |bags: &[Bag]| -> Vec<Vec<Sorted>> {
            let share = |share: &Share| {
                let mut picks = given(share);
                picks.sort_unstable();
                (picks, share.lacking)
            };
            bags.iter().map(|bag| bag.iter().map(share).collect()).collect()
        };
        assert_eq!(sorted(passing[0]), sorted(&taken), "case {seed}");
        assert!(check_bags(&job, &plan, &taken).is_empty(), "case {seed}");
        let of_all = || taken.iter().flatten();
        lacking += usize::from(of_all().any(|share| share.lacking > 0));
        combined += usize::from(of_all().any(|share| share.picks.len() > 1));
        short += usize::from(taken.iter().any(Vec::is_empty));
    }
    // Each case must be frequent enough for the test to mean something.
    assert!(
        ways > 100_000 && lacking > 100 && combined > 20 && short > 20,
        "{ways} {lacking} {combined} {short}"
    );
}

#[test]
fn spoilt_bags_are_told_apart_in_words() {
    let stock = vec![
        row("seal", "A", None, 1, 0),
        row("seal", "A", None, 5, 0),
        row("seal", "B", None, 1, 0),
    ];
    let fits = vec![vec![code("A")], vec![code("A")], vec![code("B")]];
    let job = job(stock, vec![need("seal", true, false, 2)], fits);
    let plan = plan(&job, &[]);
    let spoil = |change: &dyn Fn(&mut Vec<Bag>)| {
        let mut bags = fill(&job, &plan);
        change(&mut bags);
        said(&check_bags(&job, &plan, &bags))
    };
    assert_eq!(spoil(&|_| ()), "");
    for (change, words) in [
        (&(|bags: &mut Vec<Bag>| drop(bags.pop())) as &dyn Fn(&mut Vec<Bag>), "2 bags for 3 pumps"),
        (&|bags| bags[0].clear(), "0 shares for 1"),
        (&|bags| bags[0][0].picks[0].item = 9, "not in the stock"),
        (&|bags| bags[0][0].picks[0].item = 2, "does not belong there"),
        (&|bags| bags[0][0].picks[0].count = 3, "beyond what there is"),
        (&|bags| bags[0][0].lacking = 1, "2 given and 1 missing of 2"),
        (
            &|bags| {
                bags[1][0].picks[0].count = 1;
                bags[1][0].lacking = 1;
            },
            "is short of some, but item",
        ),
        (&|bags| bags.swap(0, 1), "out of turn"),
        (&|bags| bags[0][0].picks[0].peeled = 1, "does not belong there"),
    ] {
        let said = spoil(change);
        assert!(said.contains(words), "`{words}` is not in `{said}`");
    }
    // A short pump gets no consumables.
    let short = self::plan(&job, &[1]);
    let bags = fill(&job, &plan);
    assert!(said(&check_bags(&job, &short, &bags)).contains("pump P1: 1 shares for 0"));
}
