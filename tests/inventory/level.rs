//! Back to level.

use gapwright::inventory::InventoryError;
use gapwright::inventory::level::{Levels, StockPosition, back_to_level};

/// Every number of packs, for every stock position of a small item: no order without need, each order reaches the min
/// level, and no other number of packs comes closer to the max level without passing it.
#[test]
fn every_small_item_is_brought_back() {
    let (mut idle, mut fits, mut past, mut owing) = (0, 0, 0, 0);
    for on_hand in 0..8 {
        for on_order in [0, 1, 3] {
            for backorders in [0, 2, 9] {
                for min in 0..7 {
                    for max in [None, Some(min), Some(min + 2), Some(min + 7)] {
                        for pack in 1..=6 {
                            let standing = StockPosition { on_hand, on_order, backorders };
                            let levels = Levels { min, max, pack };
                            let order = back_to_level(&standing, &levels).unwrap();
                            let position =
                                i64::from(on_hand) + i64::from(on_order) - i64::from(backorders);
                            let (min, max) = (i64::from(min), i64::from(max.unwrap_or(min)));
                            let after = |packs: u32| position + i64::from(packs * pack);
                            assert_eq!(order.pieces, order.cartons * pack);
                            assert_eq!(order.after, after(order.cartons));
                            if position >= min {
                                assert_eq!((order.cartons, order.above), (0, 0));
                                idle += 1;
                                continue;
                            }
                            owing += u32::from(position < 0);
                            let within = (0..40).rfind(|&n| (min..=max).contains(&after(n)));
                            match within {
                                Some(packs) => {
                                    assert_eq!((order.cartons, order.above), (packs, 0));
                                    fits += 1;
                                }
                                None => {
                                    let first = (0..40).find(|&n| after(n) >= min).unwrap();
                                    assert_eq!(order.cartons, first);
                                    assert_eq!(i64::from(order.above), after(first) - max);
                                    past += 1;
                                }
                            }
                        }
                    }
                }
            }
        }
    }
    assert!(idle > 1000 && fits > 1000 && past > 1000 && owing > 1000);
}

#[test]
fn what_makes_no_sense_is_refused() {
    let standing = StockPosition::default();
    let levels = Levels { min: 5, max: Some(3), pack: 1 };
    let fault = back_to_level(&standing, &levels).unwrap_err();
    assert_eq!(fault, InventoryError::Levels { min: 5, max: 3 });
    let levels = Levels { min: 5, max: None, pack: 0 };
    assert!(back_to_level(&standing, &levels).is_err());
    let owing = StockPosition { backorders: u32::MAX, ..standing };
    let levels = Levels { min: u32::MAX, max: None, pack: 1 };
    assert_eq!(back_to_level(&owing, &levels), Err(InventoryError::TooLarge("the order")));
}
