//! Continuous review: when no more than r pieces are on hand and on order, order Q.

use crate::decimal::Money;

use super::{Counts, Fault, above_zero};

/// An item under continuous review, with demand of one piece at a time at random (Poisson) and
/// backorders. All rates are for the same period.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Review {
    /// To hold a piece for a period.
    pub holding: Money,
    /// To owe a piece for a period.
    pub backorder: Money,
    /// To place an order.
    pub order: Money,
    /// Pieces wanted in a period, on average.
    pub demand: f64,
    /// Lead time, in periods.
    pub lead_time: f64,
}

/// A reorder point and an order quantity, and what they come to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Policy {
    /// Order when no more than so many are on hand and on order less what is owed; it can lie below
    /// zero.
    pub reorder: i64,
    /// Pieces to order.
    pub quantity: u32,
    /// Cost expected a period: orders, holding, backorders; not the price of the pieces.
    pub cost: f64,
    /// Orders a period.
    pub orders: f64,
    /// Pieces expected on hand.
    pub on_hand: f64,
    /// Pieces expected to be owed.
    pub backorders: f64,
    /// The share of demand that is served from the shelf.
    pub fill_rate: f64,
}

/// The largest order quantity that is looked at.
const MOST_QUANTITY: u32 = 1_000_000;

/// The farthest reorder point from zero.
const MOST_REORDER: u64 = 1_000_000_000;

/// The policy of least cost, with order quantities of whole packs of `pack` pieces.
///
/// For each Q the best r comes by adding the cheaper neighbour to the positions r+1 to r+Q; the cost
/// falls with Q until the cheapest position left costs more than the mean, and never falls again. So
/// of the multiples of a pack only those next to the best Q can be best.
///
/// Source: A. Federgruen and Y.-S. Zheng, An Efficient Algorithm for Computing an Optimal (r, Q)
/// Policy in Continuous Review Stochastic Inventory Systems, Operations Research 40(4), 1992; the
/// example is Snyder and Shen's 5.8.
///
/// # Errors
/// [`Fault::NotAboveZero`] for any cost, rate, time or pack that is not; [`Fault::TooLarge`].
///
/// ```
/// use gapwright::decimal::Money;
/// use gapwright::inventory::continuous::{Review, least_cost};
/// let review = Review {
///     holding: Money::parse("20").unwrap(),
///     backorder: Money::parse("150").unwrap(),
///     order: Money::parse("100").unwrap(),
///     demand: 1.5,
///     lead_time: 2.0,
/// };
/// let policy = least_cost(&review, 1)?;
/// assert_eq!((policy.reorder, policy.quantity), (3, 5));
/// assert!((policy.cost - 107.923581).abs() < 1e-6);
/// # Ok::<(), gapwright::inventory::Fault>(())
/// ```
pub fn least_cost(review: &Review, pack: u32) -> Result<Policy, Fault> {
    let lead = review.checked()?;
    above_zero("the pack quantity", pack.into())?;
    let at = |position| review.at(&lead, position);
    let alpha = review.holding.to_f64() / (review.holding.to_f64() + review.backorder.to_f64());
    let (mut low, mut sum) = (0_i64, review.order.to_f64() * review.demand);
    while lead.beyond(low) > alpha {
        low += 1;
    }
    // The positions low to high are those that the cheapest Q takes.
    let mut high = low;
    sum += at(low);
    let mut best: Option<(f64, i64, u32)> = None;
    let mut rising = false;
    for quantity in 1..=MOST_QUANTITY {
        let cost = sum / f64::from(quantity);
        if quantity % pack == 0 {
            if best.is_none_or(|(least, ..)| cost < least) {
                best = Some((cost, low - 1, quantity));
            }
            if rising {
                break;
            }
        }
        let (below, above) = (at(low - 1), at(high + 1));
        // Of two alike the upper one, as in the source.
        if below < above {
            low -= 1;
        } else {
            high += 1;
        }
        sum += below.min(above);
        rising |= below.min(above) >= cost;
        if rising && best.is_some() && pack == 1 {
            break;
        }
    }
    match best {
        Some((_, reorder, quantity)) if rising => review.evaluate_with(&lead, reorder, quantity),
        _ => Err(Fault::TooLarge("the order quantity")),
    }
}

/// What a stated policy comes to.
///
/// # Errors
/// As [`least_cost`].
pub fn evaluate(review: &Review, reorder: i64, quantity: u32) -> Result<Policy, Fault> {
    let lead = review.checked()?;
    review.evaluate_with(&lead, reorder, quantity)
}

impl Review {
    /// The demand in lead time, if all numbers make sense.
    fn checked(&self) -> Result<Counts, Fault> {
        above_zero("the holding cost", self.holding.to_f64())?;
        above_zero("the backorder cost", self.backorder.to_f64())?;
        above_zero("the cost of an order", self.order.to_f64())?;
        above_zero("the demand", self.demand)?;
        above_zero("the lead time", self.lead_time)?;
        Counts::poisson(self.demand * self.lead_time)
    }

    /// The cost rate at an inventory position: what is left or lacks one lead time later.
    fn at(&self, lead: &Counts, position: i64) -> f64 {
        let lacking = lead.lacking(position);
        // One look-up does for both: left less lacking is the position less the mean.
        #[allow(clippy::cast_precision_loss)]
        let left = (lacking + position as f64 - lead.mean()).max(0.0);
        self.holding.to_f64() * left + self.backorder.to_f64() * lacking
    }

    fn evaluate_with(&self, lead: &Counts, reorder: i64, quantity: u32) -> Result<Policy, Fault> {
        let all = above_zero("the order quantity", quantity.into())?;
        if quantity > MOST_QUANTITY {
            return Err(Fault::TooLarge("the order quantity"));
        }
        if reorder.unsigned_abs() > MOST_REORDER {
            return Err(Fault::TooLarge("the reorder point"));
        }
        let positions = reorder + 1..=reorder + i64::from(quantity);
        let (mut on_hand, mut backorders, mut served) = (0.0, 0.0, 0.0);
        // What is left grows by the chance of no more than the position with each further piece.
        let mut left = lead.left(reorder + 1);
        for position in positions {
            on_hand += left;
            backorders += lead.lacking(position);
            served += lead.within(position - 1);
            left += lead.within(position);
        }
        let (on_hand, backorders) = (on_hand / all, backorders / all);
        let orders = self.demand / all;
        Ok(Policy {
            reorder,
            quantity,
            cost: self.order.to_f64() * orders
                + self.holding.to_f64() * on_hand
                + self.backorder.to_f64() * backorders,
            orders,
            on_hand,
            backorders,
            fill_rate: served / all,
        })
    }
}
