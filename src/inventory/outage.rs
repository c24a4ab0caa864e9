//! Pieces for one outage: what is left over costs, and so does what lacks.

use crate::decimal::Money;

use super::{Demand, Fault};

/// What a wrong guess costs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Costs {
    /// A piece that is left over.
    pub left: Money,
    /// A piece that lacks.
    pub lacking: Money,
}

impl Costs {
    /// Both, checked.
    ///
    /// # Errors
    /// [`Fault::NotAboveZero`].
    pub fn new(left: Money, lacking: Money) -> Result<Costs, Fault> {
        for (what, money) in
            [("the cost of a piece left over", left), ("the cost of a piece that lacks", lacking)]
        {
            if money <= Money::ZERO {
                let found = money.to_string();
                return Err(Fault::NotAboveZero { what, found });
            }
        }
        Ok(Costs { left, lacking })
    }

    /// The critical ratio: the share of outages in which the best number suffices.
    pub fn critical_ratio(&self) -> f64 {
        1.0 - self.risk()
    }

    /// What the critical ratio leaves, by itself, so that a small one stays exact.
    fn risk(&self) -> f64 {
        let (left, lacking) = (self.left.to_f64(), self.lacking.to_f64());
        left / (left + lacking)
    }

    /// The cost expected with so many pieces held.
    pub fn expected(&self, demand: &Demand, pieces: u32) -> f64 {
        self.left.to_f64() * demand.left(pieces) + self.lacking.to_f64() * demand.lacking(pieces)
    }
}

/// How many pieces to have ready for an outage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Provision {
    /// The smallest whole count that suffices at least as often as the critical ratio says; no count
    /// costs less.
    pub pieces: u32,
    /// The cost expected with `pieces`.
    pub cost: f64,
    /// The chance that they suffice.
    pub service: f64,
    /// Pieces expected to be left.
    pub left: f64,
    /// Pieces expected to be lacking.
    pub lacking: f64,
}

/// The best number of pieces for one outage: the newsvendor's.
///
/// Source: Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed. (2019), chapter 4.
///
/// # Errors
/// [`Fault::TooLarge`].
///
/// ```
/// use gapwright::decimal::Money;
/// use gapwright::inventory::{Demand, outage};
/// let money = |text| Money::parse(text).unwrap();
/// let costs = outage::Costs::new(money("0.18"), money("0.70"))?;
/// // Their example: Poisson demand of 50.
/// let best = outage::provision(&Demand::poisson(50.0)?, &costs)?;
/// assert_eq!(best.pieces, 56);
/// assert!((best.cost - 1.797235).abs() < 1e-6);
/// # Ok::<(), gapwright::inventory::Fault>(())
/// ```
pub fn provision(demand: &Demand, costs: &Costs) -> Result<Provision, Fault> {
    let pieces = demand.least(costs.risk())?;
    Ok(Provision {
        pieces,
        cost: costs.expected(demand, pieces),
        service: demand.within(pieces),
        left: demand.left(pieces),
        lacking: demand.lacking(pieces),
    })
}
