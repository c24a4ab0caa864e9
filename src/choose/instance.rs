//! The choice as a bare problem: takers that take at most one column each out of shared capacity.
//!
//! Pumps take pieces. Behind them stand the *suppliers*: they take one of their columns too, and
//! it puts pieces in (a use below zero), such as the packs of an item that are opened or the way
//! a sheet is cut up. So one method does for both.

use std::collections::BTreeMap;
use std::sync::Arc;

use smallvec::SmallVec;

/// Pieces of each item that a column takes, ascending by item; a supplier's are below zero, and
/// it names every item that any of its columns supplies.
pub type Uses = SmallVec<[(u16, i16); 6]>;

/// One way to serve a pump, or one way to supply.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// Waste, in millionths of the currency.
    pub waste: i64,
    /// Item (an index into the capacities) and count.
    pub uses: Uses,
}

/// What is minimised at one stage.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Tier {
    /// The weight not served: minus each pump's gain when it is served.
    Served(Vec<i64>),
    /// What a supplier's column costs to buy, by supplier and column.
    Bought(Arc<Vec<Vec<i64>>>),
    /// The columns' waste.
    Waste,
    /// What each piece that a pump takes costs, by item.
    Pieces(Vec<i64>),
}

/// A group of pumps that draw on the same items.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Instance {
    /// Pieces available of each item without any supply.
    pub capacity: Vec<i64>,
    /// Sets of items whose total number of pieces is worth deciding as a whole, such as all
    /// shims of one fit: the search splits on these before it looks at single items.
    pub classes: Vec<Vec<u32>>,
    /// The columns of each taker: the pumps, then the suppliers.
    pub takers: Arc<Vec<Vec<Column>>>,
    /// How many of the takers are pumps.
    pub pumps: usize,
    /// What to minimise, strictly one after the other.
    pub tiers: Vec<Tier>,
}

/// The column that each taker takes, if any.
pub type Taken = Vec<Option<u32>>;

impl Instance {
    /// What it costs on a tier that a taker takes a column. Taking none costs nothing.
    pub fn cost(&self, tier: usize, taker: usize, column: u32) -> i64 {
        let pump = taker < self.pumps;
        match &self.tiers[tier] {
            Tier::Served(gain) => -gain.get(taker).copied().unwrap_or(0),
            Tier::Bought(prices) => taker
                .checked_sub(self.pumps)
                .map_or(0, |supplier| prices[supplier][column as usize]),
            Tier::Waste => self.column(taker, column).waste,
            Tier::Pieces(each) if pump => {
                let uses = &self.column(taker, column).uses;
                uses.iter().map(|&(item, count)| each[usize::from(item)] * i64::from(count)).sum()
            }
            Tier::Pieces(_) => 0,
        }
    }

    /// A taker's column.
    pub fn column(&self, taker: usize, column: u32) -> &Column {
        &self.takers[taker][column as usize]
    }

    /// The most pieces of each item that can be there: those that lie ready, and all that the
    /// suppliers can put in.
    pub fn most(&self) -> Vec<i64> {
        let mut most = self.capacity.clone();
        for columns in &self.takers[self.pumps..] {
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

    /// The value on every tier.
    pub fn value(&self, taken: &Taken) -> Vec<i64> {
        (0..self.tiers.len())
            .map(|tier| {
                taken
                    .iter()
                    .enumerate()
                    .filter_map(|(taker, column)| Some(self.cost(tier, taker, (*column)?)))
                    .sum()
            })
            .collect()
    }

    /// The sets of items that a range of totals may be laid on: the items one by one, then the
    /// classes.
    pub fn sets(&self) -> Vec<Vec<u32>> {
        let singles = (0..).take(self.capacity.len()).map(|item| vec![item]);
        singles.chain(self.classes.iter().cloned()).collect()
    }

    /// What is left of each item.
    pub fn left(&self, taken: &Taken) -> Vec<i64> {
        let mut left = self.capacity.clone();
        for (taker, column) in taken.iter().enumerate() {
            if let Some(column) = column {
                take(&mut left, &self.column(taker, *column).uses);
            }
        }
        left
    }
}

/// Whether a column fits into what is left.
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
