//! One stock, many demands: the fewest whole stock lengths, as a purchase.
//!
//! The wanted pieces are one pump that takes them all; each way to cut a stock length is a supplier, whose pieces
//! come in by whole lengths at a price of one each. So the cost of the purchase is the number of stock lengths.
//! Data and optima: [`crate::BARS`], with their sources.

use std::sync::Arc;

use gapwright::choose::control::Control;
use gapwright::choose::parts::{Column, CostRow, Instance, solve};
use gapwright::plan::Objective;

/// Ways to cut a length that leave no room for a further piece.
fn maximal(stock: u32, widths: &[u32]) -> Vec<Vec<u32>> {
    fn grow(left: u32, widths: &[u32], counts: &mut Vec<u32>, found: &mut Vec<Vec<u32>>) {
        let at = counts.len();
        if at == widths.len() {
            if widths.iter().all(|&width| width > left) {
                found.push(counts.clone());
            }
            return;
        }
        for count in (0..=left / widths[at]).rev() {
            counts.push(count);
            grow(left - count * widths[at], widths, counts, found);
            counts.pop();
        }
    }
    let mut found = Vec::new();
    grow(stock, widths, &mut Vec::new(), &mut found);
    found
}

fn fewest(stock: u32, demand: &[(u32, i16)]) -> (i64, i64) {
    let widths: Vec<u32> = demand.iter().map(|(width, _)| *width).collect();
    let patterns = maximal(stock, &widths);
    let order =
        Column { waste: 0, uses: (0..).zip(demand).map(|(item, &(_, n))| (item, n)).collect() };
    let mut blocks = vec![vec![order]];
    let mut prices = Vec::new();
    for pattern in &patterns {
        let pieces = (0_u16..).zip(pattern).filter(|(_, count)| **count > 0);
        let pieces: Vec<(u16, i16)> = pieces.map(|(i, &n)| (i, n as i16)).collect();
        // No more than the demand for one of its pieces.
        let most = pieces.iter().map(|&(item, each)| {
            let wanted = demand[usize::from(item)].1;
            (wanted + each - 1) / each
        });
        let ladder = 0..=most.max().unwrap();
        blocks.push(
            ladder
                .clone()
                .map(|lengths| Column {
                    waste: 0,
                    uses: pieces.iter().map(|&(item, n)| (item, -n * lengths)).collect(),
                })
                .collect(),
        );
        prices.push(ladder.map(i64::from).collect::<Vec<i64>>());
    }
    let instance = Instance {
        capacity: vec![0; demand.len()],
        classes: vec![],
        blocks: Arc::new(blocks),
        pumps: 1,
        tiers: vec![CostRow::Served(vec![1]), CostRow::Bought(Arc::new(prices))],
    };
    let solved =
        solve(&instance, &[Objective::ServedWeight, Objective::Purchase], &Control::unlimited());
    assert_eq!(solved.values[0], -1, "the demand is met");
    (solved.values[1], solved.bounds[1])
}

#[test]
fn stock_lengths_that_are_bought_are_as_few_as_published() {
    for (stock, demand, optimum) in crate::BARS {
        let demand: Vec<(u32, i16)> =
            demand.iter().map(|&(width, count)| (width as u32, count as i16)).collect();
        assert_eq!(fewest(stock as u32, &demand), (optimum, optimum), "stock length {stock}");
    }
}
