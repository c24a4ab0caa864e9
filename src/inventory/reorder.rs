//! Reorder point: the number of pieces on hand and on order at which more are ordered.

use super::demand::least_whole;
use super::{Demand, InventoryError, above_zero, share};

/// A reorder point and its service.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReorderPoint {
    /// Smallest whole number of pieces that keeps the service: order when no more are left.
    pub pieces: u32,
    /// Safety stock: pieces above the mean demand in lead time; negative where fewer suffice.
    pub safety: f64,
    /// Probability of no stock-out during a lead time (cycle service level).
    pub cycle_service: f64,
    /// Expected shortage in a lead time, in pieces.
    pub lacking: f64,
}

impl ReorderPoint {
    fn of(demand: &Demand, pieces: u32) -> ReorderPoint {
        ReorderPoint {
            pieces,
            safety: f64::from(pieces) - demand.mean(),
            cycle_service: demand.within(pieces),
            lacking: demand.lacking(pieces),
        }
    }
}

/// Smallest whole count that covers the `demand` in lead time with at least the probability `service`.
///
/// Source: any textbook; Stevenson, Operations Management, 14th ed., p. 528, example 8.
///
/// # Errors
/// [`InventoryError::Service`]; [`InventoryError::TooFew`] if fewer than one row of a history is expected to lie above the service: the
/// result would be its largest row, however high the service.
///
/// ```
/// use gapwright::inventory::{Demand, reorder};
/// // scipy.stats.poisson.ppf(0.95, 3.2)
/// let point = reorder::for_cycle_service(&Demand::poisson(3.2)?, 0.95)?;
/// assert_eq!(point.pieces, 6);
/// # Ok::<(), gapwright::inventory::InventoryError>(())
/// ```
pub fn for_cycle_service(demand: &Demand, service: f64) -> Result<ReorderPoint, InventoryError> {
    enough_rows(demand, share(service)?)?;
    let risk = 1.0 - service;
    Ok(ReorderPoint::of(demand, demand.least(risk)?))
}

/// Smallest whole count with which the probability of no stock-out in a lead time is at least `service`, when an order
/// is placed at the issue that takes the stock to the count or below it: it covers how far that issue goes below, and
/// then the `demand` in lead time. `issue` is the size of an issue; issues of zero do not count.
///
/// The service holds whatever the order quantity, because the issue counts at worst over where the stock stood before:
/// standing k pieces above the count, an issue of k or more leaves it u below with the probability P(X = k + u | X >=
/// k). By hand; Silver, Pyke and Thomas, Inventory and Production Management in Supply Chains, call it undershoot
/// (from memory).
///
/// # Errors
/// As [`for_cycle_service`]; [`InventoryError::TooLarge`].
///
/// ```
/// use gapwright::inventory::{Demand, reorder};
/// // Four at a time, and hardly ever within a lead time: with 3 left the next ones cannot be had.
/// let demand = Demand::history(&[0; 40])?;
/// let point = reorder::for_issues(&demand, &Demand::history(&[0, 0, 4])?, 0.95)?;
/// assert_eq!(point.pieces, 3);
/// # Ok::<(), gapwright::inventory::InventoryError>(())
/// ```
pub fn for_issues(
    demand: &Demand,
    issue: &Demand,
    service: f64,
) -> Result<ReorderPoint, InventoryError> {
    enough_rows(demand, share(service)?)?;
    let both = demand.plus(&issue.undershoot()?)?;
    let pieces = both.least(1.0 - service)?;
    Ok(ReorderPoint {
        pieces,
        safety: f64::from(pieces) - demand.mean(),
        cycle_service: both.within(pieces),
        lacking: both.lacking(pieces),
    })
}

/// Pieces that one issue takes the stock below the count that it falls to, at most with the probability `service`, at
/// worst over where the stock stood before: see [`for_issues`].
///
/// # Errors
/// [`InventoryError::Service`], [`InventoryError::NoHistory`] where nothing is ever issued,
/// [`InventoryError::TooLarge`].
pub fn undershoot(issue: &Demand, service: f64) -> Result<u32, InventoryError> {
    issue.undershoot()?.least(1.0 - share(service)?)
}

/// Pieces that count as not served from the shelf.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shortage {
    /// All that are missing at the end of a lead time, as in the textbooks' tables of the loss function: n(r)/Q. On
    /// the safe side, since those that one lead time leaves to the next count twice.
    EveryCycle,
    /// Those that become missing in this lead time: (n(r) - n(r+Q))/Q, exact for demand of one piece at a time with
    /// backorders.
    New,
}

/// Share of demand that is served from the shelf when `quantity` pieces are ordered at a reorder point of `pieces`.
///
/// # Errors
/// [`InventoryError::NotAboveZero`] for a quantity of 0, [`InventoryError::TooLarge`].
pub fn fill_rate(
    demand: &Demand,
    pieces: u32,
    quantity: u32,
    shortage: Shortage,
) -> Result<f64, InventoryError> {
    let all = above_zero("the order quantity", quantity.into())?;
    let then =
        pieces.checked_add(quantity).ok_or(InventoryError::TooLarge("the order quantity"))?;
    let again = match shortage {
        Shortage::EveryCycle => 0.0,
        Shortage::New => demand.lacking(then),
    };
    Ok(1.0 - (demand.lacking(pieces) - again) / all)
}

/// Smallest whole count with which at least the share `service` of all demand is served from the shelf, when
/// `quantity` pieces are ordered at a time.
///
/// Source: for [`Shortage::EveryCycle`] Nahmias, Production and Operations Analysis, type 2 service
/// (from memory); for [`Shortage::New`] Hadley and Whitin, Analysis of Inventory Systems (from
/// memory).
///
/// # Errors
/// As [`for_cycle_service`] and [`fill_rate`].
///
/// ```
/// use gapwright::inventory::{Demand, reorder};
/// // Four lead times with 2, 0, 1 and 1 wanted, 2 ordered at a time: at 1 a quarter of a piece is
/// // missing in a lead time, one eighth of the demand.
/// let demand = Demand::history(&[2, 0, 1, 1])?;
/// let point = reorder::for_fill_rate(&demand, 2, 0.75, reorder::Shortage::EveryCycle)?;
/// assert_eq!((point.pieces, point.lacking), (1, 0.25));
/// # Ok::<(), gapwright::inventory::InventoryError>(())
/// ```
pub fn for_fill_rate(
    demand: &Demand,
    quantity: u32,
    service: f64,
    shortage: Shortage,
) -> Result<ReorderPoint, InventoryError> {
    let service = share(service)?;
    enough_rows(demand, service)?;
    fill_rate(demand, 0, quantity, shortage)?;
    let serves = |pieces| {
        fill_rate(demand, pieces, quantity, shortage)
            .is_ok_and(|rate| 1.0 - rate <= (1.0 - service) * (1.0 + 1e-12))
    };
    Ok(ReorderPoint::of(demand, least_whole(serves)?))
}

/// Checks that a history is long enough: at least one row must be expected beyond the service.
fn enough_rows(demand: &Demand, service: f64) -> Result<(), InventoryError> {
    let Some(rows) = demand.rows() else {
        return Ok(());
    };
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let needed = (1.0 / (1.0 - service) * (1.0 - 1e-12)).ceil() as u64;
    if u64::try_from(rows).is_ok_and(|rows| rows < needed) {
        return Err(InventoryError::TooFew { rows, service, needed });
    }
    Ok(())
}
