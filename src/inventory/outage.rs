//! Pieces for one outage, where both surplus and shortage cost money.

use crate::decimal::Money;

use super::{Demand, InventoryError};

/// Costs of a wrong quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Costs {
    /// Cost per surplus piece.
    pub left: Money,
    /// Cost per missing piece.
    pub lacking: Money,
}

impl Costs {
    /// Checks both costs.
    ///
    /// # Errors
    /// [`InventoryError::NotAboveZero`].
    pub fn new(left: Money, lacking: Money) -> Result<Costs, InventoryError> {
        for (what, money) in
            [("the cost of a piece left over", left), ("the cost of a missing piece", lacking)]
        {
            if money <= Money::ZERO {
                let found = money.to_string();
                return Err(InventoryError::NotAboveZero { what, found });
            }
        }
        Ok(Costs { left, lacking })
    }

    /// Critical ratio: the share of outages in which the best number suffices.
    pub fn critical_ratio(&self) -> f64 {
        1.0 - self.risk()
    }

    /// One less the critical ratio, calculated directly so that a small value stays exact.
    fn risk(&self) -> f64 {
        let (left, lacking) = (self.left.to_f64(), self.lacking.to_f64());
        left / (left + lacking)
    }

    /// Expected cost with `pieces` held.
    pub fn expected(&self, demand: &Demand, pieces: u32) -> f64 {
        self.left.to_f64() * demand.left(pieces) + self.lacking.to_f64() * demand.lacking(pieces)
    }
}

/// Best number of pieces for an outage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NewsvendorQuantity {
    /// Smallest count that suffices at least as often as the critical ratio; no count costs less.
    pub pieces: u32,
    /// Expected cost with `pieces`.
    pub cost: f64,
    /// Probability that they suffice.
    pub service: f64,
    /// Expected surplus, in pieces.
    pub left: f64,
    /// Expected shortage, in pieces.
    pub lacking: f64,
}

/// Best number of pieces for one outage: the newsvendor problem.
///
/// Source: Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed. (2019), chapter 4.
///
/// # Errors
/// [`InventoryError::TooLarge`].
///
/// ```
/// use gapwright::decimal::Money;
/// use gapwright::inventory::{Demand, outage};
/// let money = |text| Money::parse(text).unwrap();
/// let costs = outage::Costs::new(money("0.18"), money("0.70"))?;
/// // The source's example: Poisson demand of 50.
/// let best = outage::provision(&Demand::poisson(50.0)?, &costs)?;
/// assert_eq!(best.pieces, 56);
/// assert!((best.cost - 1.797235).abs() < 1e-6);
/// # Ok::<(), gapwright::inventory::InventoryError>(())
/// ```
pub fn provision(demand: &Demand, costs: &Costs) -> Result<NewsvendorQuantity, InventoryError> {
    let pieces = demand.least(costs.risk())?;
    Ok(NewsvendorQuantity {
        pieces,
        cost: costs.expected(demand, pieces),
        service: demand.within(pieces),
        left: demand.left(pieces),
        lacking: demand.lacking(pieces),
    })
}
