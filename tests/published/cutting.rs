//! One stock, many demands: the fewest whole stock lengths, as a purchase.
//!
//! The wanted pieces are one pump that takes them all; each way to cut a stock length is a supplier, whose pieces
//! come in by whole lengths at a price of one each. So the cost of the purchase is the number of stock lengths.
//! Optima: by mixed-integer programming over all maximal patterns; the data of the first from the GAMS model library
//! (CUTSTOCK, SEQ 294; V. Chvatal's example), of the third from the AMPL API examples, of the second (Fourer, Gay and
//! Kernighan, AMPL, ch. 15) and the fourth (the paper mill of encyclopaedias) from memory.

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
    let mill = [
        (1380, 22),
        (1520, 25),
        (1560, 12),
        (1710, 14),
        (1820, 18),
        (1880, 18),
        (1930, 20),
        (2000, 10),
        (2050, 12),
        (2100, 14),
        (2140, 16),
        (2150, 18),
        (2200, 20),
    ];
    let seq_294 = [(45, 97), (36, 610), (31, 395), (14, 211)];
    let book = [(20, 48), (45, 35), (50, 24), (55, 10), (75, 8)];
    let interface = [(1876, 10), (1746, 33), (756, 40), (677, 10)];
    let published: [(u32, &[(u32, i16)]); 4] =
        [(100, &seq_294), (110, &book), (6450, &interface), (5600, &mill)];
    let optima = [453, 47, 18, 73];
    for ((stock, demand), optimum) in published.into_iter().zip(optima) {
        assert_eq!(fewest(stock, demand), (optimum, optimum), "stock length {stock}");
    }
}
