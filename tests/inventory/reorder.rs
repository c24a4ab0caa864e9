//! Reorder points.

use gapwright::inventory::reorder::{Shortage, fill_rate, for_cycle_service, for_fill_rate};
use gapwright::inventory::{Demand, InventoryError};

use super::{dice, left_and_lacking, near, normal, pick, poisson};

#[test]
fn published_reorder_points_for_normal_demand() {
    for (mean, sd, service, exact) in [
        // Stevenson, Operations Management, 14th ed., p. 528, example 8 [read]: z 1.88, safety stock
        // 9.40, reorder point 59.40.
        (50.0, 5.0, 0.97, 59.40),
        // Heizer and Render [memory]: 350 plus or minus 10, 5 %: z 1.65, 366.5.
        (350.0, 10.0, 0.95, 366.5),
        // Heizer and Render, ch. 12, Circuit Town (from memory; recomputed): 15 a day plus or minus 5, two days, 90 %: z
        // 1.28, safety stock 9.05, 39.05.
        (30.0, 7.071_067_811_865_476, 0.90, 39.06),
        // Heizer and Render, ch. 12 [read]: 60 a week, six weeks plus or minus two, 90 %: 513.6, so 514.
        (360.0, 120.0, 0.90, 513.6),
    ] {
        let demand = normal(mean, sd, f64::ceil);
        let point = for_cycle_service(&demand, service).unwrap();
        assert_eq!(f64::from(point.pieces), f64::ceil(exact));
        assert!(demand.within(point.pieces) >= service);
        assert!(demand.within(point.pieces - 1) < service);
        near(point.safety, f64::from(point.pieces) - demand.mean(), 1e-15);
    }
}

#[test]
fn published_loss_functions() {
    // [run] stockpyl.loss_functions.
    let some = normal(50.0, 8.0, f64::round);
    near(some.lacking(60), 0.404_694_946_443_621_8, 3e-3);
    near(some.left(60), 10.404_694_946_443_621, 1e-4);
    // Nahmias' table A-4 prints 0.1004 for z 0.90 [memory].
    let wide = normal(100.0, 10.0, f64::round);
    near(wide.lacking(109) / 10.0, 0.100_431_137_086_671_23, 2e-3);
    let poisson = Demand::poisson(15.0).unwrap();
    near(poisson.lacking(18), 0.517_609_528_258_472_2, 1e-12);
    near(poisson.left(18), 3.517_609_528_258_472, 1e-13);
    // [run] scipy.stats.poisson.sf, far out and with a large mean.
    let some = Demand::poisson(12.5).unwrap();
    near(some.beyond(30), 7.425_102_874_541_104e-6, 1e-11);
    let many = Demand::poisson(1000.0).unwrap();
    near(many.beyond(1050), 0.056_028_838_363_673_37, 1e-10);
    near(many.sd(), 1000.0_f64.sqrt(), 1e-10);
}

#[test]
fn poisson_demand_against_sums_of_its_chances() {
    // [run] scipy.stats.poisson.ppf(0.95, 3.2) and (0.99, 0.7).
    for (mean, service, pieces) in [(3.2, 0.95, 6), (0.7, 0.99, 3)] {
        let demand = Demand::poisson(mean).unwrap();
        assert_eq!(for_cycle_service(&demand, service).unwrap().pieces, pieces);
    }
    let mut dice = dice(2);
    let mut seen = std::collections::BTreeSet::new();
    for _ in 0..400 {
        let mean = f64::from(pick(&mut dice, 1, 2_000)) / 100.0;
        let service = f64::from(pick(&mut dice, 300, 999)) / 1000.0;
        let demand = Demand::poisson(mean).unwrap();
        let chances = poisson(mean, 120);
        let point = for_cycle_service(&demand, service).unwrap();
        let mut sum = 0.0;
        let expected = chances.iter().position(|chance| {
            sum += chance;
            sum >= service
        });
        assert_eq!(point.pieces as usize, expected.unwrap(), "{mean} {service}");
        let held = i64::from(point.pieces);
        let (left, lacking) = left_and_lacking(&chances, held);
        assert!((demand.left(point.pieces) - left).abs() < 1e-11);
        assert!((point.lacking - lacking).abs() < 1e-11);
        seen.insert(point.pieces);
    }
    assert!(seen.contains(&0) && seen.len() > 20, "{seen:?}");
}

#[test]
fn a_history_is_counted() {
    // Twenty outages: 19 of them took no more than 4. That is 95 %, and no more.
    let mut outages = vec![0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 2, 2, 3, 3, 3, 3, 4, 4, 4];
    outages.push(9);
    let demand = Demand::history(&outages).unwrap();
    let point = for_cycle_service(&demand, 0.95).unwrap();
    assert_eq!((point.pieces, point.cycle_service), (4, 0.95));
    near(point.lacking, 5.0 / 20.0, 1e-15);
    // One more in a million needs the next count, which twenty rows cannot show.
    assert_eq!(
        for_cycle_service(&demand, 0.950_001),
        Err(InventoryError::TooFew { rows: 20, service: 0.950_001, needed: 21 })
    );
    // For every number of rows and every share of them, in whole numbers.
    let mut dice = dice(3);
    let mut checked = 0;
    for rows in 2..60_u32 {
        let history: Vec<u32> = (0..rows).map(|_| pick(&mut dice, 0, 30)).collect();
        let demand = Demand::history(&history).unwrap();
        let mut sorted = history.clone();
        sorted.sort_unstable();
        for covered in 1..rows {
            let service = f64::from(covered) / f64::from(rows);
            let pieces = for_cycle_service(&demand, service).unwrap().pieces;
            assert_eq!(pieces, sorted[covered as usize - 1], "{covered} of {rows}");
            checked += 1;
        }
    }
    assert_eq!(checked, (1..59).sum::<u32>());
}

#[test]
fn several_periods_are_added_up_in_every_way() {
    let history = [0, 0, 1, 3, 0, 2, 7];
    let over = Demand::history(&history).unwrap().over(3).unwrap();
    let mut ways = [0_u32; 22];
    for a in history {
        for b in history {
            for c in history {
                ways[(a + b + c) as usize] += 1;
            }
        }
    }
    for (count, &ways) in ways.iter().enumerate() {
        let chance = over.chance(count as u32);
        assert!((chance - f64::from(ways) / 343.0).abs() < 1e-15);
    }
    assert_eq!(over.rows(), Some(343));
    near(over.mean(), 3.0 * 13.0 / 7.0, 1e-15);
    // Poisson periods add up to Poisson demand: a history of many such periods gives equal sums.
    let once = Demand::poisson(1.5).unwrap().over(4).unwrap();
    let whole = Demand::poisson(6.0).unwrap();
    for count in 0..30 {
        assert!((once.within(count) - whole.within(count)).abs() < 1e-14);
        near(once.beyond(count), whole.beyond(count), 1e-12);
    }
}

#[test]
fn published_fill_rates() {
    // Nahmias, Production and Operations Analysis, type 2 service [memory]: lead time demand 100 plus or minus 20,
    // 100 at a time, 98 %: n(R) 2, L(z) 0.1, z 0.90, R 118. L(0.90) is 0.100431, so 118 is just too few and 119 is
    // the smallest whole count.
    let demand = normal(100.0, 20.0, f64::round);
    let point = for_fill_rate(&demand, 100, 0.98, Shortage::EveryCycle).unwrap();
    assert_eq!(point.pieces, 119);
    let at = |pieces| fill_rate(&demand, pieces, 100, Shortage::EveryCycle).unwrap();
    near(1.0 - at(118), 0.2 * 0.100_431_137_086_671_23, 1e-3);
    assert!(at(118) < 0.98 && at(119) > 0.98);
    // Backorders of the last order do not count twice: never a lower rate.
    let new = for_fill_rate(&demand, 100, 0.98, Shortage::New).unwrap();
    assert!(new.pieces <= point.pieces);
    assert!(fill_rate(&demand, 60, 30, Shortage::New).unwrap() > 0.0);
    assert!(fill_rate(&demand, 60, 30, Shortage::EveryCycle).unwrap() < 0.0);
}

/// With Poisson demand the position is uniform from r+1 to r+Q, and a piece is served if fewer than the position were
/// wanted in the lead time before it (Hadley and Whitin, from memory).
#[test]
fn fill_rates_of_poisson_demand_against_every_position() {
    let mut dice = dice(4);
    let (mut none, mut some) = (0, 0);
    for _ in 0..300 {
        let mean = f64::from(pick(&mut dice, 1, 900)) / 100.0;
        let quantity = pick(&mut dice, 1, 12);
        let service = f64::from(pick(&mut dice, 500, 999)) / 1000.0;
        let chances = poisson(mean, 90);
        let served = |pieces: usize| {
            let fewer = |position: usize| chances[..position].iter().sum::<f64>();
            (pieces + 1..=pieces + quantity as usize).map(fewer).sum::<f64>() / f64::from(quantity)
        };
        let demand = Demand::poisson(mean).unwrap();
        let point = for_fill_rate(&demand, quantity, service, Shortage::New).unwrap();
        let expected = (0..).find(|&pieces| served(pieces) >= service).unwrap();
        assert_eq!(point.pieces as usize, expected, "{mean} {quantity} {service}");
        let rate = fill_rate(&demand, point.pieces, quantity, Shortage::New).unwrap();
        near(rate, served(expected), 1e-12);
        none += u32::from(expected == 0);
        some += u32::from(expected > 3);
    }
    assert!(none > 10 && some > 100, "{none} {some}");
}

#[test]
fn what_makes_no_sense_is_refused_and_says_why() {
    for mean in [0.0, -3.0, f64::NAN, f64::INFINITY, 1e9] {
        assert!(Demand::poisson(mean).is_err(), "{mean}");
    }
    assert_eq!(Demand::history(&[]), Err(InventoryError::NoHistory));
    assert!(matches!(Demand::history(&[u32::MAX]), Err(InventoryError::TooLarge(_))));
    let demand = Demand::poisson(3.0).unwrap();
    for service in [0.0, 1.0, -0.5, 95.0, f64::NAN] {
        let cycle = for_cycle_service(&demand, service).unwrap_err();
        assert!(cycle.to_string().contains("above 0 and below 1"), "{cycle}");
        assert!(for_fill_rate(&demand, 5, service, Shortage::New).is_err());
    }
    assert!(for_fill_rate(&demand, 0, 0.9, Shortage::New).is_err());
    let few = Demand::history(&[1, 2, 3]).unwrap();
    let fault = for_cycle_service(&few, 0.9).unwrap_err().to_string();
    assert!(fault.contains("a history of 3") && fault.ends_with("it takes 10"), "{fault}");
    let month = Demand::history(&[5; 4]).unwrap();
    assert!(month.over(0).is_err());
    assert!(matches!(month.over(u32::MAX), Err(InventoryError::TooLarge(_))));
    let idle = Demand::history(&[0]).unwrap();
    assert!(matches!(idle.over(u32::MAX), Err(InventoryError::TooLarge(_))));
    assert_eq!(idle.over(12).unwrap().mean().to_bits(), 0);
}
