//! The economic order quantity.

use gapwright::decimal::{Millionths, Money};
use gapwright::inventory::InventoryError;
use gapwright::inventory::economic::{Break, Discount, Replenishment, evaluate, least_cost};
use rand::RngExt;

use super::{cents, dice, money, near, pick};

fn plain(demand: &str, order: &str, storage: &str) -> Replenishment {
    Replenishment {
        demand: money(demand),
        order: money(order),
        storage: money(storage),
        interest: Millionths::ZERO,
        pack: 1,
        prices: vec![],
        discount: Discount::AllUnits,
    }
}

fn priced(
    demand: &str,
    order: &str,
    interest: &str,
    prices: &[(u32, &str)],
    discount: Discount,
) -> Replenishment {
    let price = |&(packs, price): &(u32, &str)| Break { cartons: packs, price: money(price) };
    Replenishment {
        interest: money(interest),
        prices: prices.iter().map(price).collect(),
        discount,
        ..plain(demand, order, "0")
    }
}

#[test]
fn published_order_quantities() {
    // Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed., example 3.1 [run, stockpyl; also
    // printed in its documentation]: K 8, h 0.225, 1300 a year.
    let best = least_cost(&plain("1300", "8", "0.225")).unwrap();
    near(best.exact, 304.046_780_026_436_8, 1e-14);
    assert_eq!(best.cartons, 304);
    // The least cost of any real quantity is 68.41052550594829; the whole one costs hardly more.
    near(best.cost(), 68.410_525_505_948_29, 2e-8);
    assert!(best.cost() > 68.410_525_505_948_29);
    // Heizer and Render, Operations Management, ch. 12 [memory, computed].
    let best = least_cost(&plain("1000", "10", "0.50")).unwrap();
    assert_eq!((best.exact, best.cartons, best.orders, best.cost()), (200.0, 200, 5.0, 100.0));
    // Stevenson, Operations Management [memory, computed].
    let best = least_cost(&plain("9600", "75", "16")).unwrap();
    assert_eq!((best.exact, best.cartons, best.orders, best.cost()), (300.0, 300, 32.0, 4800.0));
}

#[test]
fn published_price_breaks() {
    // Stevenson, Operations Management, 13.7, Surge Electric's toggle switches (from memory; recomputed): 4000 a year, 30
    // an order, 40 % of the price. 1000 cost 3480; 840, feasible at 0.85, print as 3686.
    let prices = [(1, "0.90"), (500, "0.85"), (1000, "0.80")];
    let purchase = priced("4000", "30", "0.40", &prices, Discount::AllUnits);
    let best = least_cost(&purchase).unwrap();
    assert_eq!(best.cartons, 1000);
    near(best.cost(), 3_480.0, 1e-12);
    for (packs, cost) in [(500, 3_725.0), (840, 3_685.657_142_857_143)] {
        near(evaluate(&purchase, packs).unwrap().cost(), cost, 1e-12);
    }
    // Heizer and Render, Operations Management, ch. 12, Wohl's Discount Store (from memory; recomputed): 5000 a year, 49
    // an order, 20 %, breaks of 4 % and 5 %: 1000 at 24 725, and at 2000 24 822.5.
    let prices = [(1, "5"), (1000, "4.80"), (2000, "4.75")];
    let purchase = priced("5000", "49", "0.20", &prices, Discount::AllUnits);
    let best = least_cost(&purchase).unwrap();
    assert_eq!(best.cartons, 1000);
    near(best.cost(), 24_725.0, 1e-12);
    near(evaluate(&purchase, 2000).unwrap().cost(), 24_822.5, 1e-12);
    // stockpyl 1.0.2, documentation of economic_order_quantity_with_all_units_discounts [run].
    let prices = [(1, "500"), (200, "475"), (500, "450")];
    let best = least_cost(&priced("1000", "200", "0.20", &prices, Discount::AllUnits)).unwrap();
    assert_eq!(best.cartons, 500);
    near(best.cost(), 472_900.0, 1e-12);
    // Snyder and Shen, 3.4, all units [run, stockpyl]: 800 at 978.6. The library's first break is 0.
    let prices = [(1, "0.75"), (400, "0.72"), (800, "0.68")];
    let best = least_cost(&priced("1300", "8", "0.3", &prices, Discount::AllUnits)).unwrap();
    assert_eq!(best.cartons, 800);
    near(best.cost(), 978.6, 1e-12);
}

/// The library takes the price from the break itself as a real number, b_j; a pack bought is the first at the lower
/// price when it is number b_j + 1 there, and number b_j here. So its breaks are one lower than those here.
#[test]
fn published_incremental_breaks() {
    // stockpyl 1.0.2, documentation of economic_order_quantity_with_incremental_discounts [run]:
    // 1481.8906842274164 at 222762.8136845483.
    let prices = [(1, "100"), (301, "90"), (601, "80")];
    let best = least_cost(&priced("2400", "150", "0.25", &prices, Discount::Incremental)).unwrap();
    near(best.exact, 1_481.890_684_227_416_4, 1e-14);
    assert_eq!(best.cartons, 1482);
    near(best.cost(), 222_762.813_684_548_3, 1e-8);
    assert!(best.cost() > 222_762.813_684_548_3);
    // Snyder and Shen, 3.4, incremental [run, stockpyl]: 304.0467800264368 at 1043.4105255059483.
    let prices = [(1, "0.75"), (401, "0.72"), (801, "0.68")];
    let best = least_cost(&priced("1300", "8", "0.3", &prices, Discount::Incremental)).unwrap();
    near(best.exact, 304.046_780_026_436_8, 1e-14);
    assert_eq!(best.cartons, 304);
    near(best.cost(), 1_043.410_525_505_948_3, 1e-8);
}

/// Cost of a period as a fraction over `2 pieces`, written out from the price of one order.
fn fraction(purchase: &Replenishment, packs: u32) -> (i128, i128) {
    let mut paid = 0_i128;
    for number in 1..=packs {
        let counted = match purchase.discount {
            Discount::AllUnits => packs,
            Discount::Incremental => number,
        };
        let price = purchase.prices.iter().rfind(|p| p.cartons <= counted);
        paid += price.map_or(0, |price| i128::from(price.price.raw()));
    }
    let pieces = i128::from(packs) * i128::from(purchase.pack);
    let order = i128::from(purchase.order.raw()) + paid;
    let interest = i128::from(purchase.interest.raw()) * paid;
    let storage = i128::from(purchase.storage.raw()) * 1_000_000 * pieces;
    let above = 2 * order * i128::from(purchase.demand.raw()) + (interest + storage) * pieces;
    (above, 2 * pieces)
}

#[test]
fn no_number_of_packs_costs_less() {
    let mut dice = dice(1);
    let (mut at_break, mut not_nearest, mut incremental, mut alone) = (0, 0, 0, 0);
    for _ in 0..1200 {
        let discount = if dice.random() { Discount::AllUnits } else { Discount::Incremental };
        let mut prices = vec![];
        let (mut packs, mut price) = (1, pick(&mut dice, 200, 900));
        for _ in 0..pick(&mut dice, 0, 3) {
            prices.push(Break { cartons: packs, price: cents(price) });
            packs += pick(&mut dice, 1, 25);
            price -= pick(&mut dice, 1, 40);
        }
        let purchase = Replenishment {
            demand: money(&pick(&mut dice, 1, 400).to_string()),
            order: cents(pick(&mut dice, 50, 3000)),
            storage: cents(pick(&mut dice, 10, 400)),
            interest: Millionths::from_raw(i64::from(pick(&mut dice, 0, 30)) * 10_000),
            pack: pick(&mut dice, 1, 12),
            prices,
            discount,
        };
        let best = least_cost(&purchase).unwrap();
        let (above, below) = fraction(&purchase, best.cartons);
        near(best.cost(), above as f64 / below as f64 / 1e12, 1e-12);
        for packs in 1..=400 {
            let (a, b) = fraction(&purchase, packs);
            assert!(a * below >= above * b, "{packs} packs: {purchase:?}");
        }
        assert!(best.cartons < 400, "the walk is too short");
        at_break += u32::from(purchase.prices.iter().skip(1).any(|p| p.cartons == best.cartons));
        let nearest = (best.exact / f64::from(purchase.pack)).round().max(1.0);
        not_nearest += u32::from(nearest != f64::from(best.cartons));
        incremental += u32::from(discount == Discount::Incremental && purchase.prices.len() > 1);
        alone += u32::from(purchase.prices.is_empty());
    }
    println!(
        "{at_break} at a break, {not_nearest} not nearest, {incremental} incremental, {alone} alone"
    );
    assert!(at_break > 40 && not_nearest > 40 && incremental > 100 && alone > 100);
}

/// Of the pack numbers next to the exact quantity the nearer one can be the dearer, since the cost rises less above
/// than below.
#[test]
fn packs_are_not_rounded() {
    // K 3, demand 50, h 1: the root of 300 is 17.32. In packs of 12, 1.443 packs are nearest to one;
    // 12 cost 18.5 and 24 cost 18.25.
    let purchase = Replenishment { pack: 12, ..plain("50", "3", "1") };
    let best = least_cost(&purchase).unwrap();
    near(best.exact, 300.0_f64.sqrt(), 1e-15);
    assert_eq!((best.cartons, best.pieces, best.cost()), (2, 24, 18.25));
    assert_eq!(evaluate(&purchase, 1).unwrap().cost(), 18.5);
    // Of equal costs the smaller order wins: 2 K demand = h n (n + 1) for 14 and 15.
    assert_eq!(least_cost(&plain("35", "3", "1")).unwrap().cartons, 14);
}

#[test]
fn what_makes_no_sense_is_refused_and_says_why() {
    let says = |purchase: &Replenishment| least_cost(purchase).unwrap_err().to_string();
    assert!(says(&plain("0", "8", "1")).contains("the demand is 0;"));
    assert!(says(&plain("10", "-8", "1")).contains("the cost of an order is -8;"));
    assert!(says(&plain("10", "8", "0")).contains("the cost of holding is 0;"));
    assert!(says(&plain("10", "8", "-1")).contains("the storage cost is -1;"));
    let none = Replenishment { pack: 0, ..plain("10", "8", "1") };
    assert!(says(&none).contains("the pack quantity is 0;"));
    for (index, prices) in [
        (0, vec![(2, "5")]),
        (1, vec![(1, "5"), (1, "4")]),
        (1, vec![(1, "5"), (10, "5")]),
        (2, vec![(1, "5"), (10, "4"), (5, "3")]),
    ] {
        let purchase = priced("10", "8", "0.2", &prices, Discount::AllUnits);
        assert_eq!(least_cost(&purchase), Err(InventoryError::Breaks(index)));
    }
    let given = priced("10", "8", "0.2", &[(1, "0")], Discount::AllUnits);
    assert!(says(&given).contains("a price is 0;"));
    let vast = Replenishment {
        order: Money::from_raw(i64::MAX),
        demand: Millionths::from_raw(i64::MAX),
        ..plain("1", "1", "0.000001")
    };
    assert!(matches!(least_cost(&vast), Err(InventoryError::TooLarge(_))));
    assert!(evaluate(&plain("10", "8", "1"), 0).is_err());
}
