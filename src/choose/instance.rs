//! Bare problem: blocks that take at most one column each, out of shared capacity.
//!
//! Pumps take pieces. *Suppliers* are blocks as well: their columns put pieces in (a negative use), such as
//! opened packs or plates that are cut up. One method does for both. Plates on hand are an item of their own, which
//! only suppliers take.

use std::collections::BTreeMap;
use std::sync::Arc;

use smallvec::SmallVec;

/// Pieces of each item that a column takes, ascending by item. Those that a supplier puts in are negative; it names
/// every item that any of its columns supplies or takes.
pub type Uses = SmallVec<[(u16, i16); 6]>;

/// Column: one way to serve a pump, or one way to supply.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// Waste, in millionths of the currency.
    pub waste: i64,
    /// Item (an index into the capacities) and number of pieces.
    pub uses: Uses,
}

/// Objective of one stage, minimised.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CostRow {
    /// Minus the gain of every pump served.
    Served(Vec<i64>),
    /// Purchase cost, by supplier and column, in millionths of the currency.
    Bought(Arc<Vec<Vec<i64>>>),
    /// Waste of the columns, in millionths of the currency.
    Waste,
    /// Cost of each piece that a pump takes, by item.
    Pieces(Vec<i64>),
    /// Cost of each plate that a supplier cuts, by item.
    Plates(Vec<i64>),
    /// Any costs, by block and column; a block whose list is empty has none.
    Listed(Arc<Vec<Vec<i64>>>),
}

/// Bare problem of a group of pumps that draw on the same items.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Instance {
    /// Pieces of each item that are free without any supplier.
    pub capacity: Vec<i64>,
    /// Sets of items, such as all shims of one fit, whose total is worth branching on before single items.
    pub classes: Vec<Vec<u32>>,
    /// Columns of each block: pumps first, then suppliers.
    pub blocks: Arc<Vec<Vec<Column>>>,
    /// Number of blocks that are pumps.
    pub pumps: usize,
    /// Objectives, in lexicographic order.
    pub tiers: Vec<CostRow>,
}

/// Cost of a column in a list by block and column.
pub fn listed(costs: &[Vec<i64>], block: usize, column: usize) -> i64 {
    costs[block].get(column).copied().unwrap_or(0)
}

/// Column that each block takes, if any.
pub type Assignment = Vec<Option<u32>>;

impl Instance {
    /// Cost on a tier of a block's column. Taking none costs zero.
    pub fn cost(&self, tier: usize, block: usize, column: u32) -> i64 {
        let pump = block < self.pumps;
        match &self.tiers[tier] {
            CostRow::Served(gain) => -gain.get(block).copied().unwrap_or(0),
            CostRow::Bought(prices) => block
                .checked_sub(self.pumps)
                .map_or(0, |supplier| prices[supplier][column as usize]),
            CostRow::Waste => self.column(block, column).waste,
            CostRow::Pieces(each) if pump => self.counted(each, block, column),
            CostRow::Plates(each) if !pump => self.counted(each, block, column),
            CostRow::Pieces(_) | CostRow::Plates(_) => 0,
            CostRow::Listed(costs) => listed(costs, block, column as usize),
        }
    }

    /// Cost of a column's uses, by item.
    fn counted(&self, each: &[i64], block: usize, column: u32) -> i64 {
        let uses = &self.column(block, column).uses;
        uses.iter().map(|&(item, count)| each[usize::from(item)] * i64::from(count)).sum()
    }

    /// Values of the goals before this one, all goals of serving, where every pump is served.
    pub(super) fn all_served(&self, tier: usize) -> Vec<i64> {
        let gains = self.tiers[..tier].iter().map(|tier| match tier {
            CostRow::Served(gains) => -gains.iter().sum::<i64>(),
            _ => 0,
        });
        gains.collect()
    }

    /// Number of columns.
    pub(super) fn count(&self) -> usize {
        self.blocks.iter().map(Vec::len).sum()
    }

    /// Column of a block.
    pub fn column(&self, block: usize, column: u32) -> &Column {
        &self.blocks[block][column as usize]
    }

    /// Most pieces of each item that there can be: the capacity, and the most that all suppliers can put in.
    pub fn most(&self) -> Vec<i64> {
        let mut most = self.capacity.clone();
        for columns in &self.blocks[self.pumps..] {
            let mut supplied: BTreeMap<u16, i16> = BTreeMap::new();
            for &(item, count) in columns.iter().flat_map(|column| &column.uses) {
                let least = supplied.entry(item).or_default();
                *least = count.min(*least);
            }
            for (item, count) in supplied {
                most[usize::from(item)] -= i64::from(count);
            }
        }
        most
    }

    /// Value on every tier.
    pub fn value(&self, taken: &Assignment) -> Vec<i64> {
        (0..self.tiers.len()).map(|tier| self.value_on(tier, taken)).collect()
    }

    /// Value on a tier.
    pub(super) fn value_on(&self, tier: usize, taken: &Assignment) -> i64 {
        let taken = taken.iter().enumerate();
        let taken = taken.filter_map(|(block, column)| Some((block, (*column)?)));
        taken.map(|(block, column)| self.cost(tier, block, column)).sum()
    }

    /// Sets of items whose totals can be limited: each item by itself, then the classes.
    pub fn sets(&self) -> Vec<Vec<u32>> {
        let singles = (0..).take(self.capacity.len()).map(|item| vec![item]);
        singles.chain(self.classes.iter().cloned()).collect()
    }

    /// Pieces left of each item.
    pub fn left(&self, taken: &Assignment) -> Vec<i64> {
        let mut left = self.capacity.clone();
        for (block, column) in taken.iter().enumerate() {
            if let Some(column) = column {
                take(&mut left, &self.column(block, *column).uses);
            }
        }
        left
    }
}

/// Whether a column fits into the pieces left.
pub fn fits(left: &[i64], uses: &Uses) -> bool {
    uses.iter().all(|&(item, count)| left[usize::from(item)] >= i64::from(count))
}

/// Takes a column's pieces.
pub fn take(left: &mut [i64], uses: &Uses) {
    for &(item, count) in uses {
        left[usize::from(item)] -= i64::from(count);
    }
}

/// Puts a column's pieces back.
pub fn put_back(left: &mut [i64], uses: &Uses) {
    for &(item, count) in uses {
        left[usize::from(item)] += i64::from(count);
    }
}
