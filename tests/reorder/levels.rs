//! Reorder points from a log, and simulated outages.

use gapwright::choose::{choose, control::Control};
use gapwright::read::{Sources, job};
use gapwright::reorder::simulate::outages;

use super::*;

fn item(purchase: &PurchaseJson, name: &str) -> gapwright::formats::purchase::ItemJson {
    purchase.items.iter().find(|item| item.item == name).unwrap().clone()
}

/// Worked by hand from the sample's log, which covers 365 days, 2026-03-02 to 2027-03-01.
///
/// K4-010, 10 days of lead time: 36 consecutive lead times back from the last day, so that the first five days are
/// left over; three of them have demand, 3, 5 and 4. Its issues are one of 3, two of 4 and one of 5: at worst they go 2
/// below with a chance of 1/4, 3 with 1/2 and 4 with 1/4. Both together are at most 6 in 34.0 of 36, 7 in 35.0.
///
/// K4-005: of 9 pieces on three dates the first three are left over, and two lead times have 4 and 2. Issues of 2, 3
/// and 4 go 1, 2 or 3 below, a third each: both together are at most 2 in 22.7 of 36, 3 in 34.3.
#[test]
fn a_reorder_point_covers_the_lead_times_that_the_log_holds() {
    let purchase = sample(&["--log", LOG]);
    assert_eq!(item(&purchase, "K4-010").reorder_point, Some(7));
    assert_eq!(item(&purchase, "K4-010").reorder_basis, ReorderBasisJson::LeadTimes { rows: 36 });
    assert_eq!(item(&purchase, "K4-005").reorder_point, Some(3));
    // At 92 % it is 33.12 of 36: 4 covers 33, and 5 covers 33.25.
    let purchase = sample(&["--log", LOG, "--service", "92 %"]);
    assert_eq!(item(&purchase, "K4-010").reorder_point, Some(5));
    assert_eq!(item(&purchase, "K4-005").reorder_point, Some(3));
}

/// Too few lead times for 99 %: ten days that are each like any of 365, of which 361 have no demand, one has 3, two
/// have 4 and one has 5; before them an issue that goes 2, 3 or 4 below, with chances of 1/4, 1/2 and 1/4. In exact
/// fractions (Python's fractions, ten-fold sum of that law and one of the other): at most 8 with 0.98878, 9: 0.99544,
/// 10: 0.99660, 11: 0.99815, 12: 0.99932.
#[test]
fn a_short_log_counts_day_by_day_and_keeps_lumps_together() {
    for (service, expected) in [("99 %", 9), ("99.6 %", 10), ("99.8 %", 11), ("99.9 %", 12)] {
        let purchase = sample(&["--log", LOG, "--service", service]);
        let item = item(&purchase, "K4-010");
        assert_eq!(item.reorder_point, Some(expected), "{service}");
        assert_eq!(item.reorder_basis, ReorderBasisJson::Days { rows: 36, largest: 5 });
    }
}

/// More service never needs less stock, whichever law is used.
#[test]
fn a_reorder_point_never_falls_as_the_service_rises() {
    let mut before: Vec<(String, u32)> = Vec::new();
    let mut rises = 0;
    for service in ["50", "80", "90", "95", "96", "97", "98", "99", "99.9", "99.99"] {
        let purchase = sample(&["--log", LOG, "--service", service]);
        let points = purchase.items.iter();
        let points: Vec<(String, u32)> =
            points.filter_map(|item| Some((item.item.clone(), item.reorder_point?))).collect();
        assert!(points.len() > 2);
        for ((name, less), (_, more)) in before.iter().zip(&points) {
            assert!(less <= more, "{name} at {service} %");
            rises += usize::from(less < more);
        }
        before = points;
    }
    assert!(rises > 5);
}

#[test]
fn a_history_with_too_few_rows_says_how_few() {
    let purchase = sample(&["--log", LOG]);
    let basis = |name: &str| item(&purchase, name).reorder_basis;
    assert_eq!(basis("K4-020"), ReorderBasisJson::TooFew { dates: 2, wanted: 3 });
    assert_eq!(basis("K4-G094"), ReorderBasisJson::NeverIssued);
    assert_eq!(item(&sample(&[]), "K4-010").reorder_basis, ReorderBasisJson::NoLog);
    assert!(item(&purchase, "K4-020").reorder_point.is_none());
}

/// Economic order quantity in whole packs. K4-010 at 1.60, 16 a year, 12.00 an order, 20 % a year:
/// sqrt(2 x 12 x 16 / 0.32) = 34.6 pieces; in packs of 5: 6 packs cost 6.40 + 4.80 = 11.20 a year, 7 cost
/// 5.486 + 5.60 = 11.086, 8 cost 4.80 + 6.40 = 11.20. Seven.
/// Source of the formula: F. W. Harris (1913), from memory; see tests/inventory.
#[test]
fn packs_at_a_time_are_those_of_least_cost() {
    let purchase = sample(&["--log", LOG, "--order-cost", "12", "--holding", "20 %"]);
    assert_eq!(item(&purchase, "K4-010").order_packs, Some(7));
    assert_eq!(item(&purchase, "K4-G094").order_packs, None);
    assert_eq!(item(&sample(&["--log", LOG]), "K4-010").order_packs, None);
}

/// Each simulated outage draws its pumps out of the kitted ones: the mean demand must be that of the plan, and its
/// variance that of independent draws (five standard errors allowed).
#[test]
fn simulated_outages_ask_for_what_independent_draws_would() {
    let job = job(&Sources {
        stock: "samples/outage/stock.xlsx".into(),
        pumps: "samples/outage/pumps.xlsx".into(),
        ..Sources::default()
    })
    .unwrap();
    let plan = choose(&job, &Control::unlimited()).unwrap();
    let drawn = outages(&job, &plan, 4_000, 7);
    assert_eq!(drawn, outages(&job, &plan, 4_000, 7));
    assert_ne!(drawn, outages(&job, &plan, 4_000, 8));
    let issued = plan.issued(&job);
    let (n, served) = (job.pumps.len() as f64, plan.served() as f64);
    let mut asked = 0;
    for (item, counts) in drawn.iter().enumerate() {
        let each: Vec<f64> = plan
            .kits
            .iter()
            .filter_map(|kit| match kit {
                gapwright::plan::Kit::Served(packs) => {
                    let picks = packs.iter().flat_map(|pack| &pack.picks);
                    let mine = picks.filter(|pick| pick.item == item);
                    Some(mine.map(|pick| f64::from(pick.count)).sum())
                }
                gapwright::plan::Kit::Short(_) => None,
            })
            .collect();
        let mean = f64::from(issued[item]) * n / served;
        let one = each.iter().map(|x| x * x).sum::<f64>() / served - (mean / n).powi(2);
        let variance = n * one;
        let runs = counts.len() as f64;
        let found = counts.iter().map(|&c| f64::from(c)).sum::<f64>() / runs;
        assert!((found - mean).abs() <= 5.0 * (variance / runs).sqrt() + 1e-12, "{item}");
        let spread = counts.iter().map(|&c| (f64::from(c) - found).powi(2)).sum::<f64>() / runs;
        // The standard error of a variance is about its value times sqrt(2/n); more for rare items.
        assert!(
            (spread - variance).abs() <= 0.25 * variance + 1e-12,
            "{item}: {spread} {variance}"
        );
        asked += usize::from(issued[item] > 0);
    }
    assert!(asked > 20);
}
