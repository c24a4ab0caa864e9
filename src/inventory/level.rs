//! Back to level: the order quantity of an item that has fallen below its min level.

use super::{InventoryError, above_zero};

/// Stock position of an item, in pieces.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct StockPosition {
    /// On hand.
    pub on_hand: u32,
    /// Ordered and not received.
    pub on_order: u32,
    /// Promised and not delivered.
    pub backorders: u32,
}

impl StockPosition {
    /// Inventory position: on hand and on order, less backorders.
    pub fn position(&self) -> i64 {
        i64::from(self.on_hand) + i64::from(self.on_order) - i64::from(self.backorders)
    }
}

/// Min and max levels of an item.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Levels {
    /// Level that triggers an order when the position is below it.
    pub min: u32,
    /// Level that an order fills up to; the min level where none is stated.
    pub max: Option<u32>,
    /// Pieces in one pack.
    pub pack: u32,
}

/// An order back to level.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TopUp {
    /// Whole packs; 0 if the item is not below its min level.
    pub cartons: u32,
    /// Pieces in these packs.
    pub pieces: u32,
    /// Inventory position after the order.
    pub after: i64,
    /// Pieces above the level filled up to: no number of whole packs fits between min and max.
    pub above: u32,
}

/// Order that brings an item back to level. Zero as long as the position is not below the min level; else as many
/// whole packs as fit below the max level, but at least enough to reach the min level. Common practice, no source.
///
/// # Errors
/// [`InventoryError::NotAboveZero`] for a pack of 0 pieces, [`InventoryError::Levels`], [`InventoryError::TooLarge`].
///
/// ```
/// use gapwright::inventory::level::{Levels, StockPosition, back_to_level};
/// let levels = Levels { min: 6, max: Some(20), pack: 5 };
/// let standing = StockPosition { on_hand: 4, on_order: 0, backorders: 1 };
/// let order = back_to_level(&standing, &levels)?;
/// assert_eq!((order.cartons, order.pieces, order.after), (3, 15, 18));
/// # Ok::<(), gapwright::inventory::InventoryError>(())
/// ```
pub fn back_to_level(standing: &StockPosition, levels: &Levels) -> Result<TopUp, InventoryError> {
    above_zero("the pack quantity", levels.pack.into())?;
    let (min, pack) = (i64::from(levels.min), i64::from(levels.pack));
    let max = i64::from(levels.max.unwrap_or(levels.min));
    if let Some(max) = levels.max.filter(|&max| max < levels.min) {
        let min = levels.min;
        return Err(InventoryError::Levels { min, max });
    }
    let position = standing.position();
    let packs = if position >= min {
        0
    } else {
        let reach_min = (min - position + pack - 1) / pack;
        reach_min.max((max - position) / pack)
    };
    let after = position + packs * pack;
    let count =
        |pieces: i64| u32::try_from(pieces).map_err(|_| InventoryError::TooLarge("the order"));
    Ok(TopUp {
        cartons: count(packs)?,
        pieces: count(packs * pack)?,
        after,
        above: if packs > 0 { count((after - max).max(0))? } else { 0 },
    })
}
