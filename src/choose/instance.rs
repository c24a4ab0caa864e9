//! The choice as a bare problem: pumps that take at most one column each out of shared capacity.

use smallvec::SmallVec;

/// Pieces of each item that a column takes.
pub type Uses = SmallVec<[(u32, u32); 8]>;

/// How many goals a column has costs in: waste, pieces, scarcity points.
pub const COSTS: usize = 3;

/// One way to serve a pump.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// Waste, pieces and scarcity points.
    pub cost: [i64; COSTS],
    /// Item (an index into the capacities) and count, ascending by item.
    pub uses: Uses,
}

/// What is minimised at one stage.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Tier {
    /// The weight not served: minus each pump's gain when it is served.
    Served(Vec<i64>),
    /// One of the columns' costs.
    Cost(usize),
}

/// A group of pumps that draw on the same items.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Instance {
    /// Pieces available of each item.
    pub capacity: Vec<i64>,
    /// Sets of items whose total number of pieces is worth deciding as a whole, such as all
    /// shims of one fit: the search splits on these before it looks at single items.
    pub classes: Vec<Vec<u32>>,
    /// The columns of each pump.
    pub pumps: Vec<Vec<Column>>,
    /// What to minimise, strictly one after the other.
    pub tiers: Vec<Tier>,
}

/// The column that each pump takes, if any.
pub type Taken = Vec<Option<u32>>;

impl Instance {
    /// What it costs on a tier that a pump takes a column. Taking none costs nothing.
    pub fn cost(&self, tier: usize, pump: usize, column: u32) -> i64 {
        match &self.tiers[tier] {
            Tier::Served(gain) => -gain[pump],
            Tier::Cost(index) => self.column(pump, column).cost[*index],
        }
    }

    /// A pump's column.
    pub fn column(&self, pump: usize, column: u32) -> &Column {
        &self.pumps[pump][column as usize]
    }

    /// The value on every tier.
    pub fn value(&self, taken: &Taken) -> Vec<i64> {
        (0..self.tiers.len())
            .map(|tier| {
                taken
                    .iter()
                    .enumerate()
                    .filter_map(|(pump, column)| Some(self.cost(tier, pump, (*column)?)))
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
        for (pump, column) in taken.iter().enumerate() {
            if let Some(column) = column {
                take(&mut left, &self.column(pump, *column).uses);
            }
        }
        left
    }
}

/// Whether a column fits into what is left.
pub fn fits(left: &[i64], uses: &Uses) -> bool {
    uses.iter()
        .all(|&(item, count)| left[item as usize] >= i64::from(count))
}

/// Takes a column's pieces.
pub fn take(left: &mut [i64], uses: &Uses) {
    for &(item, count) in uses {
        left[item as usize] -= i64::from(count);
    }
}

/// Puts a column's pieces back.
pub fn put_back(left: &mut [i64], uses: &Uses) {
    for &(item, count) in uses {
        left[item as usize] += i64::from(count);
    }
}
