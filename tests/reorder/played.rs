//! Reorder points played out: some million days, each like any day of the log, with orders that arrive after the lead time.

use std::collections::VecDeque;

use gapwright::day;
use gapwright::decimal::Millionths;
use gapwright::inventory::{Demand, reorder};
use gapwright::issue::log::{How, Log, Movement};
use gapwright::length::{Length, Tolerance, Unit};
use gapwright::reorder::level::{DemandLaw, Seen, point};
use gapwright::stock::{Code, Item, Size};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// So many that orders of the largest packs are thousands too.
const DAYS: u32 = 4_000_000;
const FIRST: &str = "2026-01-01";

/// An item with a lead time.
fn item(lead: u32) -> Item {
    let thickness = Length::from_ticks(Unit::Millimetre.ticks());
    let size = Size::new(thickness, Tolerance::default());
    let mut item = Item::of("S", "shim".into(), Code::new("F"), size, 0);
    item.offer.lead_days = Some(lead);
    item
}

/// The log of a year with these issues, evenly spread.
fn log(issues: &[u32]) -> Log {
    let mut log = Log::new();
    let first = day::number(FIRST).unwrap();
    let apart = 364 / (issues.len() as i32 - 1);
    for (at, &count) in (0..).zip(issues) {
        let moved = Movement {
            plan: "plan".into(),
            tag: "P-1".into(),
            place: "Shims".into(),
            item: "S".into(),
            asked: count,
            out: count.into(),
            how: How::AsPlanned,
            on_hand: None,
            unit_cost: None,
            note: String::new(),
        };
        log.append(&day::written(i64::from(first + at * apart)), vec![moved]);
    }
    log
}

/// Share of the orders that arrive before the shelf is short, with packs of this size: whenever no more than `again`
/// are on hand and on order, as many packs are ordered as it takes to have more.
fn share_in_time(days: &[u32], lead: u32, again: u32, pack: u32) -> f64 {
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    let (again, pack) = (i64::from(again), i64::from(pack));
    // On hand, less what is owed; and with what is on order.
    let (mut on_hand, mut position) = (again + pack, again + pack);
    let mut coming: VecDeque<(u32, i64)> = VecDeque::new();
    let (mut orders, mut in_time) = (0_u32, 0_u32);
    for today in 0..DAYS {
        let wanted = i64::from(days[rng.random_range(0..days.len())]);
        on_hand -= wanted;
        position -= wanted;
        if position <= again {
            let pieces = ((again + 1 - position) + pack - 1) / pack * pack;
            position += pieces;
            coming.push_back((today + lead, pieces));
        }
        while coming.front().is_some_and(|(day, _)| *day == today) {
            let (_, pieces) = coming.pop_front().unwrap();
            orders += 1;
            in_time += u32::from(on_hand >= 0);
            on_hand += pieces;
        }
    }
    assert!(orders > 5_000, "{orders}");
    f64::from(in_time) / f64::from(orders)
}

/// The service that was asked for is kept whatever the size of a pack; the demand in lead time alone does not keep it.
#[test]
fn millions_of_days_keep_the_service_that_was_asked_for() {
    let cases: [(&[u32], u32); 5] = [
        // Four at a time, and hardly ever within a lead time.
        (&[4, 4, 4, 4, 4, 4], 20),
        (&[1, 5, 2, 4, 1, 3, 2, 5, 1, 4], 30),
        // Ones, and a dozen now and then.
        (&[1, 1, 12, 1, 1, 1, 12, 1, 1, 1, 1, 12, 1], 25),
        (&[2, 3, 2, 4, 3, 2, 6, 3, 2, 4, 3, 2, 2, 5, 3, 2, 4, 2, 3, 6, 2, 3, 4, 2], 35),
        (&[7, 1, 7, 7, 2, 7, 7, 3], 40),
    ];
    let mut broken = 0;
    for (issues, lead) in cases {
        let log = log(issues);
        let mut days = vec![0; 365];
        let apart = 364 / (issues.len() - 1);
        (0..).zip(issues).for_each(|(at, &count)| days[at * apart] = count);
        let last = apart * (issues.len() - 1);
        let date = day::written(i64::from(day::number(FIRST).unwrap()) + last as i64);
        let days = &days[..=last];
        for (service, asked) in [(950_000, 0.95), (990_000, 0.99)] {
            let seen = Seen::until(&log, &date).unwrap();
            let found = point(&item(lead), Some(&seen), Millionths::from_raw(service)).unwrap();
            assert!(matches!(found.law, DemandLaw::Days { .. }), "{found:?}");
            let demand = Demand::history(days).unwrap().over(lead).unwrap();
            let plain = reorder::for_cycle_service(&demand, asked).unwrap().pieces;
            for pack in [1, 4, 5, 25] {
                let share = share_in_time(days, lead, found.pieces, pack);
                println!(
                    "{issues:?} lead {lead}, {asked}, pack {pack}: {} {share:.4}",
                    found.pieces
                );
                assert!(share >= asked, "{issues:?}, packs of {pack}: {share} of {asked}");
                broken += usize::from(share_in_time(days, lead, plain, pack) < asked);
            }
        }
    }
    assert!(broken >= 20, "only {broken} of 40 were broken without the issue that orders");
}

/// Four at a time are not ordered when none is left: with three on the shelf the next four cannot be had.
#[test]
fn an_item_wanted_four_at_a_time_is_ordered_before_its_last_three() {
    let log = log(&[4; 8]);
    let date = "2026-12-31";
    let seen = Seen::until(&log, date).unwrap();
    let found = point(&item(1), Some(&seen), Millionths::from_raw(950_000)).unwrap();
    assert!(matches!(found.law, DemandLaw::Seen(_)));
    assert_eq!(found.pieces, 3);
}
