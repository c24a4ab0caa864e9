//! Reorder point and order quantity together, Poisson demand.

use gapwright::inventory::Demand;
use gapwright::inventory::continuous::{Policy, Review, evaluate, least_cost};
use gapwright::inventory::reorder::{Shortage, fill_rate};
use rand::RngExt;

use super::{cents, dice, left_and_lacking, money, near, pick, poisson};

fn review(holding: &str, backorder: &str, order: &str, demand: f64, lead_time: f64) -> Review {
    Review {
        holding: money(holding),
        backorder: money(backorder),
        order: money(order),
        demand,
        lead_time,
    }
}

#[test]
fn published_policies() {
    for (review, reorder, quantity, cost) in [
        // Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed., example 5.8 [run, stockpyl;
        // also printed in its documentation].
        (
            review("20", "150", "100", 1.5, 2.0),
            3,
            5,
            107.923_580_633_149_75,
        ),
        // [run] stockpyl.rq.r_q_poisson_exact.
        (
            review("2", "30", "15", 12.0, 0.25),
            2,
            15,
            28.562_725_523_252_727,
        ),
        (review("1", "9", "5", 3.0, 1.0), 2, 7, 6.858_251_631_784_659),
        (
            review("0.5", "40", "60", 20.0, 0.1),
            1,
            70,
            34.893_127_443_270_24,
        ),
        (review("3", "4", "1", 0.4, 0.5), -1, 1, 1.2),
    ] {
        let best = least_cost(&review, 1).unwrap();
        assert_eq!((best.reorder, best.quantity), (reorder, quantity));
        near(best.cost, cost, 1e-12);
        assert_eq!(evaluate(&review, reorder, quantity).unwrap(), best);
    }
}

/// Cost, pieces on hand and pieces owed over all positions and all demands.
fn walked(review: &Review, chances: &[f64], reorder: i64, quantity: u32) -> (f64, f64, f64) {
    let (mut left, mut lacking) = (0.0, 0.0);
    for position in reorder + 1..=reorder + i64::from(quantity) {
        let (a, b) = left_and_lacking(chances, position);
        left += a / f64::from(quantity);
        lacking += b / f64::from(quantity);
    }
    let cost = review.order.to_f64() * review.demand / f64::from(quantity)
        + review.holding.to_f64() * left
        + review.backorder.to_f64() * lacking;
    (cost, left, lacking)
}

#[test]
fn no_reorder_point_and_no_number_of_packs_cost_less() {
    let mut dice = dice(6);
    let (mut below_zero, mut in_packs, mut single, mut many) = (0, 0, 0, 0);
    for _ in 0..160 {
        let review = Review {
            holding: cents(pick(&mut dice, 20, 900)),
            backorder: cents(pick(&mut dice, 20, 4_000)),
            order: cents(pick(&mut dice, 5, 3_000)),
            demand: f64::from(pick(&mut dice, 10, 400)) / 100.0,
            lead_time: f64::from(pick(&mut dice, 5, 150)) / 100.0,
        };
        let chances = poisson(review.demand * review.lead_time, 70);
        let pack = pick(&mut dice, 1, 6);
        let best = least_cost(&review, pack).unwrap();
        assert_eq!(best.quantity % pack, 0);
        let (cost, left, lacking) = walked(&review, &chances, best.reorder, best.quantity);
        near(best.cost, cost, 1e-11);
        assert!((best.on_hand - left).abs() < 1e-11);
        assert!((best.backorders - lacking).abs() < 1e-11);
        for quantity in (pack..60).step_by(pack as usize) {
            // The positions of all reorder points slide along one list of costs.
            for reorder in -25..20 {
                let (cost, ..) = walked(&review, &chances, reorder, quantity);
                assert!(cost > best.cost - 1e-10, "{reorder} {quantity} {review:?}");
            }
        }
        assert!(
            best.quantity < 60 && (-25..20).contains(&best.reorder),
            "{best:?}"
        );
        below_zero += u32::from(best.reorder < -1);
        single += u32::from(best.quantity == 1);
        many += u32::from(best.quantity > 5);
        let single_pieces = least_cost(&review, 1).unwrap().quantity;
        in_packs += u32::from(!single_pieces.is_multiple_of(pack));
    }
    println!("{below_zero} below zero, {in_packs} in packs, {single} single, {many} many");
    assert!(below_zero > 5 && in_packs > 20 && single > 2 && many > 20);
}

#[test]
fn the_share_served_is_that_of_the_reorder_point() {
    for (reorder, quantity) in [(0, 1), (3, 5), (7, 2)] {
        let review = review("20", "150", "100", 1.5, 2.0);
        let policy = evaluate(&review, reorder.into(), quantity).unwrap();
        let lead = Demand::poisson(3.0).unwrap();
        let rate = fill_rate(&lead, reorder, quantity, Shortage::New).unwrap();
        near(policy.fill_rate, rate, 1e-13);
    }
}

/// A shelf played out demand by demand: what the formulas say about it must come out.
fn played(review: &Review, policy: &Policy, demands: u32) -> (f64, f64, f64) {
    let mut dice = dice(7);
    let (mut now, mut net, mut position) = (0.0, 0_i64, 0_i64);
    let (mut held, mut owed, mut served) = (0.0, 0.0, 0_u32);
    let mut coming = std::collections::VecDeque::new();
    net += policy.reorder + i64::from(policy.quantity);
    position += net;
    for _ in 0..demands {
        let next = now - (1.0 - dice.random::<f64>()).ln() / review.demand;
        while coming.front().is_some_and(|&at| at <= next) {
            let at: f64 = coming.pop_front().unwrap();
            held += (at - now) * net.max(0) as f64;
            owed += (at - now) * (-net).max(0) as f64;
            net += i64::from(policy.quantity);
            now = at;
        }
        held += (next - now) * net.max(0) as f64;
        owed += (next - now) * (-net).max(0) as f64;
        now = next;
        served += u32::from(net > 0);
        net -= 1;
        position -= 1;
        if position <= policy.reorder {
            position += i64::from(policy.quantity);
            coming.push_back(now + review.lead_time);
        }
    }
    (
        held / now,
        owed / now,
        f64::from(served) / f64::from(demands),
    )
}

#[test]
fn a_shelf_played_out_holds_owes_and_serves_as_much() {
    let review = review("20", "150", "100", 1.5, 2.0);
    for (reorder, quantity) in [(3, 5), (1, 3), (-2, 4)] {
        let policy = evaluate(&review, reorder, quantity).unwrap();
        let (held, owed, served) = played(&review, &policy, 1_000_000);
        // Three digits of a million demands; the seed is fixed.
        assert!((held - policy.on_hand).abs() < 0.01, "{held} {policy:?}");
        assert!((owed - policy.backorders).abs() < 0.01, "{owed} {policy:?}");
        assert!(
            (served - policy.fill_rate).abs() < 0.004,
            "{served} {policy:?}"
        );
    }
}

#[test]
fn what_makes_no_sense_is_refused_and_says_why() {
    let good = review("20", "150", "100", 1.5, 2.0);
    for (what, bad) in [
        (
            "the holding cost",
            Review {
                holding: money("0"),
                ..good
            },
        ),
        (
            "the backorder cost",
            Review {
                backorder: money("-1"),
                ..good
            },
        ),
        (
            "the cost of an order",
            Review {
                order: money("0"),
                ..good
            },
        ),
        (
            "the demand",
            Review {
                demand: f64::NAN,
                ..good
            },
        ),
        (
            "the lead time",
            Review {
                lead_time: 0.0,
                ..good
            },
        ),
    ] {
        let fault = least_cost(&bad, 1).unwrap_err().to_string();
        assert!(fault.starts_with(what), "{fault}");
    }
    let fault = least_cost(&good, 0).unwrap_err().to_string();
    assert!(fault.starts_with("the pack quantity"), "{fault}");
    assert!(evaluate(&good, 3, 0).is_err());
    assert!(evaluate(&good, i64::MAX, 5).is_err() && evaluate(&good, i64::MIN, 5).is_err());
    let vast = review("0.000001", "0.000001", "1000000000", 1000.0, 0.001);
    let fault = least_cost(&vast, 1).unwrap_err().to_string();
    assert_eq!(
        fault,
        "the order quantity is too large to be reckoned exactly"
    );
}
