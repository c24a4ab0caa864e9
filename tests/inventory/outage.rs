//! Pieces for one outage.

use gapwright::inventory::Demand;
use gapwright::inventory::outage::{Costs, provision};

use super::{cents, dice, left_and_lacking, money, near, normal, pick, poisson};

fn costs(left: &str, lacking: &str) -> Costs {
    Costs::new(money(left), money(lacking)).unwrap()
}

/// Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed. (2019), chapter 4 [run, stockpyl; also
/// printed in its documentation].
#[test]
fn published_provisions() {
    // Example 4.3.
    let newspapers = costs("0.18", "0.70");
    near(newspapers.critical_ratio(), 0.70 / 0.88, 1e-15);
    // Normal demand of 50 plus or minus 8: 56.604 pieces, which cost 1.997 605.
    let best = provision(&normal(50.0, 8.0, f64::ceil), &newspapers).unwrap();
    assert_eq!(best.pieces, 57);
    let cost = newspapers.expected(&normal(50.0, 8.0, f64::round), best.pieces);
    near(cost, 1.997_605, 2e-3);
    // Likewise with Poisson demand.
    let best = provision(&Demand::poisson(50.0).unwrap(), &newspapers).unwrap();
    assert_eq!(best.pieces, 56);
    near(best.cost, 1.797_235_211_809_177_2, 1e-12);
    // The library's front page.
    // 132.815 pieces, which cost 35.099 666.
    let best = provision(&normal(120.0, 10.0, f64::ceil), &costs("2", "18")).unwrap();
    assert_eq!(best.pieces, 133);
    let cost = costs("2", "18").expected(&normal(120.0, 10.0, f64::round), best.pieces);
    near(cost, 35.099_666, 1e-3);
    // Example 4.7: Poisson demand of 6.
    let demand = Demand::poisson(6.0).unwrap();
    let best = provision(&demand, &costs("1", "4")).unwrap();
    assert_eq!(best.pieces, 8);
    near(best.cost, 3.570_106_945_770_941_6, 1e-12);
    near(costs("1", "4").expected(&demand, 5), 6.590_296_024_616_343, 1e-12);
    // A table of probabilities, 0.1, 0.3, 0.2, 0.25 and 0.15 for 0, 1, 2, 3 and 5, as twenty outages [run,
    // stockpyl.newsvendor.newsvendor_discrete].
    let mut outages = vec![0; 2];
    for (count, times) in [(1, 6), (2, 4), (3, 5), (5, 3)] {
        outages.extend(vec![count; times]);
    }
    let best = provision(&Demand::history(&outages).unwrap(), &costs("2", "7")).unwrap();
    assert_eq!(best.pieces, 3);
    near(best.cost, 4.3, 1e-14);
}

#[test]
fn no_number_of_pieces_is_expected_to_cost_less() {
    let mut dice = dice(5);
    let (mut none, mut ties, mut laws) = (0, 0, [0, 0]);
    for _ in 0..1000 {
        let (left, lacking) = (pick(&mut dice, 1, 40), pick(&mut dice, 1, 200));
        let costs = Costs::new(cents(left), cents(lacking)).unwrap();
        let (demand, chances) = if pick(&mut dice, 0, 1) == 0 {
            laws[0] += 1;
            let mean = f64::from(pick(&mut dice, 1, 1_500)) / 100.0;
            (Demand::poisson(mean).unwrap(), poisson(mean, 120))
        } else {
            laws[1] += 1;
            let rows = pick(&mut dice, 1, 30);
            let history: Vec<u32> = (0..rows).map(|_| pick(&mut dice, 0, 12)).collect();
            let mut chances = vec![0.0; 13];
            for &row in &history {
                chances[row as usize] += 1.0 / f64::from(rows);
            }
            (Demand::history(&history).unwrap(), chances)
        };
        let best = provision(&demand, &costs).unwrap();
        let cost = |held: i64| {
            let (over, under) = left_and_lacking(&chances, held);
            (f64::from(left) * over + f64::from(lacking) * under) / 100.0
        };
        near(best.cost, cost(best.pieces.into()), 1e-11);
        for held in 0..80 {
            assert!(cost(held) > best.cost - 1e-11, "{held} for {}", best.pieces);
            // The smallest of equal ones.
            let alike = (cost(held) - best.cost).abs() < 1e-11;
            assert!(!alike || held >= i64::from(best.pieces));
            ties += u32::from(alike && held > i64::from(best.pieces));
        }
        assert!(best.service >= costs.critical_ratio() - 1e-12);
        let (over, under) = left_and_lacking(&chances, best.pieces.into());
        assert!((best.left - over).abs() < 1e-11 && (best.lacking - under).abs() < 1e-11);
        none += u32::from(best.pieces == 0);
    }
    assert!(none > 15 && ties > 3 && laws[0] > 300 && laws[1] > 300, "{none} {ties} {laws:?}");
}

#[test]
fn what_makes_no_sense_is_refused() {
    assert!(Costs::new(money("0"), money("1")).is_err());
    let fault = Costs::new(money("1"), money("-2")).unwrap_err().to_string();
    assert!(fault.starts_with("the cost of a missing piece is -2;"), "{fault}");
}
