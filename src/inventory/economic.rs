//! Economic order quantity in whole packs: cost of orders against cost of holding.
//!
//! # Decision
//!
//! The neighbours of an order quantity are compared as fractions, not rounded to the nearest pack: the nearest is
//! not always the cheaper one. Of two alike the smaller is taken.

use rust_decimal::prelude::ToPrimitive;

use crate::decimal::{Millionths, Money};

use super::InventoryError;

/// A price from a number of packs on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Break {
    /// Least number of packs.
    pub cartons: u32,
    /// Price per pack.
    pub price: Money,
}

/// Packs of an order that a price break applies to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Discount {
    /// All packs.
    AllUnits,
    /// Packs from the break on.
    Incremental,
}

/// An item that is bought repeatedly. All rates are for one period, usually a year.
#[derive(Debug, Clone, PartialEq)]
pub struct Replenishment {
    /// Demand in a period, in pieces.
    pub demand: Millionths,
    /// Cost of placing an order.
    pub order: Money,
    /// Cost of holding a piece for a period, whatever its price.
    pub storage: Money,
    /// Cost of holding goods of value 1 for a period: interest and the like.
    pub interest: Millionths,
    /// Pieces in one pack.
    pub pack: u32,
    /// Prices: the first from 1 pack on, each further one from more packs on and lower. Empty where only orders and
    /// storage are to be weighed.
    pub prices: Vec<Break>,
    /// Packs that a break applies to.
    pub discount: Discount,
}

/// Order quantity of least cost.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantity {
    /// Whole packs.
    pub cartons: u32,
    /// Pieces in these packs.
    pub pieces: u64,
    /// Orders per period.
    pub orders: f64,
    /// Cost of the orders per period.
    pub ordering: f64,
    /// Cost of holding per period.
    pub holding: f64,
    /// Price of the pieces per period.
    pub buying: f64,
    /// Order quantity in pieces before rounding to whole packs, at the prices of `packs`; it may lie outside the
    /// range where these apply.
    pub exact: f64,
}

impl Quantity {
    /// Total cost per period.
    pub fn cost(&self) -> f64 {
        self.ordering + self.holding + self.buying
    }
}

/// Finds the order quantity of least cost, in whole packs.
///
/// With n packs of p pieces, bought for a + c n, a period costs
/// `(K + a + c n) demand / (p n) + (interest (a + c n) + storage p n) / 2`. Between two breaks that is convex in n,
/// so only the whole numbers of packs next to its minimum are compared, by their exact costs as fractions; then the
/// best of each price. Of equal costs the smaller order wins.
///
/// Source: Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed. (2019), 3.2 and 3.4, equations 3.18 to 3.22
/// (as the library stockpyl cites them).
///
/// # Errors
/// [`InventoryError::NotAboveZero`], [`InventoryError::BelowZero`], [`InventoryError::Breaks`]; [`InventoryError::TooLarge`] where the fractions do not
/// fit or more than four thousand million packs would be best.
///
/// ```
/// use gapwright::decimal::Millionths;
/// use gapwright::inventory::economic::{Discount, Replenishment, least_cost};
/// let number = |text| Millionths::parse(text).unwrap();
/// let mut purchase = Replenishment {
///     demand: number("1000"),
///     order: number("10"),
///     storage: number("0.50"),
///     interest: number("0"),
///     pack: 1,
///     prices: vec![],
///     discount: Discount::AllUnits,
/// };
/// // Heizer and Render: 200 a time, 5 orders, 100 a year.
/// let best = least_cost(&purchase)?;
/// assert_eq!((best.cartons, best.orders, best.cost()), (200, 5.0, 100.0));
/// // In packs of 144 one is better than two.
/// purchase.pack = 144;
/// assert_eq!(least_cost(&purchase)?.cartons, 1);
/// # Ok::<(), gapwright::inventory::InventoryError>(())
/// ```
pub fn least_cost(purchase: &Replenishment) -> Result<Quantity, InventoryError> {
    let bands = purchase.bands()?;
    let mut best: Option<(Cost, u32, &Band)> = None;
    for band in &bands {
        let packs = purchase.best_in(band)?;
        let cost = purchase.cost(band, packs)?;
        let better = match &best {
            None => true,
            Some((least, ..)) => cost.less_than(least)?,
        };
        if better {
            best = Some((cost, packs, band));
        }
    }
    let (_, packs, band) = best.ok_or(InventoryError::TooLarge("the order quantity"))?;
    Ok(purchase.quantity(band, packs))
}

/// Costs of orders of a stated number of packs.
///
/// # Errors
/// As [`least_cost`]; [`InventoryError::NotAboveZero`] for 0 packs.
pub fn evaluate(purchase: &Replenishment, cartons: u32) -> Result<Quantity, InventoryError> {
    let bands = purchase.bands()?;
    let band = bands.iter().find(|band| (band.first..=band.last).contains(&cartons));
    let band = band.ok_or_else(|| not_above("the number of packs", cartons.to_string()))?;
    Ok(purchase.quantity(band, cartons))
}

/// Numbers of packs between two breaks, which cost `fixed + each x packs`, in millionths.
struct Band {
    first: u32,
    last: u32,
    fixed: i128,
    each: i128,
}

/// A cost as a fraction; `below` is above zero.
struct Cost {
    above: i128,
    below: i128,
}

impl Cost {
    fn less_than(&self, other: &Cost) -> Result<bool, InventoryError> {
        Ok(times(self.above, other.below)? < times(other.above, self.below)?)
    }
}

fn times(a: i128, b: i128) -> Result<i128, InventoryError> {
    a.checked_mul(b).ok_or(InventoryError::TooLarge("a yearly cost"))
}

fn plus(a: i128, b: i128) -> Result<i128, InventoryError> {
    a.checked_add(b).ok_or(InventoryError::TooLarge("a yearly cost"))
}

fn not_above(what: &'static str, found: String) -> InventoryError {
    InventoryError::NotAboveZero { what, found }
}

impl Replenishment {
    /// Price bands, if all numbers are valid.
    fn bands(&self) -> Result<Vec<Band>, InventoryError> {
        for (what, number) in [("the demand", self.demand), ("the cost of an order", self.order)] {
            if number <= Millionths::ZERO {
                return Err(not_above(what, number.to_string()));
            }
        }
        for (what, number) in [("the storage cost", self.storage), ("the interest", self.interest)]
        {
            if number < Millionths::ZERO {
                let found = number.to_string();
                return Err(InventoryError::BelowZero { what, found });
            }
        }
        if self.pack == 0 {
            return Err(not_above("the pack quantity", self.pack.to_string()));
        }
        if self.storage == Money::ZERO
            && (self.interest == Millionths::ZERO || self.prices.is_empty())
        {
            return Err(not_above("the cost of holding", "0".into()));
        }
        let free = [Break { cartons: 1, price: Money::ZERO }];
        let prices = if self.prices.is_empty() { &free[..] } else { &self.prices };
        let mut bands: Vec<Band> = Vec::with_capacity(prices.len());
        for (index, price) in prices.iter().enumerate() {
            if price.price <= Money::ZERO && !self.prices.is_empty() {
                return Err(not_above("a price", price.price.to_string()));
            }
            let each = i128::from(price.price.raw());
            let fixed = match bands.last_mut() {
                None if price.cartons == 1 => 0,
                Some(before) if price.cartons > before.first && each < before.each => {
                    before.last = price.cartons - 1;
                    match self.discount {
                        Discount::AllUnits => 0,
                        // The packs before the break cost more, so the line starts higher by the difference.
                        Discount::Incremental => {
                            before.fixed + (before.each - each) * i128::from(price.cartons - 1)
                        }
                    }
                }
                _ => return Err(InventoryError::Breaks(index)),
            };
            bands.push(Band { first: price.cartons, last: u32::MAX, fixed, each });
        }
        Ok(bands)
    }

    /// Falling part of the cost, over the number of packs, and rising part: twice both, times p, in 1e-12.
    fn shape(&self, band: &Band) -> Result<(i128, i128), InventoryError> {
        let pack = i128::from(self.pack);
        let fixed = i128::from(self.order.raw()) + band.fixed;
        let falls = times(2 * fixed, self.demand.raw().into())?;
        let storage = times(i128::from(self.storage.raw()) * 1_000_000, pack)?;
        let interest = times(self.interest.raw().into(), band.each)?;
        Ok((falls, times(plus(storage, interest)?, pack)?))
    }

    /// Best number of packs in a band: the first from which one more costs no less, for F/n + G n falls from n to n+1
    /// exactly while F > G n (n+1).
    fn best_in(&self, band: &Band) -> Result<u32, InventoryError> {
        let (falls, grows) = self.shape(band)?;
        let falling = |packs: u32| {
            let (n, next) = (i128::from(packs), i128::from(packs) + 1);
            // A product that overflows is larger than any that fits.
            times(grows, n * next).is_ok_and(|grown| falls > grown)
        };
        let (mut low, mut high) = (band.first, band.last);
        while low < high {
            let middle = low + (high - low) / 2;
            if falling(middle) {
                low = middle + 1;
            } else {
                high = middle;
            }
        }
        if low == u32::MAX {
            return Err(InventoryError::TooLarge("the order quantity"));
        }
        Ok(low)
    }

    /// Cost of a period.
    fn cost(&self, band: &Band, packs: u32) -> Result<Cost, InventoryError> {
        let (falls, grows) = self.shape(band)?;
        let (n, pack) = (i128::from(packs), i128::from(self.pack));
        let demand = i128::from(self.demand.raw());
        // Over 2 p n: F + G n^2 + 2 c demand n + interest a p n.
        let buying = times(2 * band.each, demand)?;
        let interest = times(times(self.interest.raw().into(), band.fixed)?, pack)?;
        let linear = times(plus(buying, interest)?, n)?;
        let above = plus(plus(falls, linear)?, times(grows, times(n, n)?)?)?;
        Ok(Cost { above, below: 2 * pack * n })
    }

    fn quantity(&self, band: &Band, packs: u32) -> Quantity {
        let demand = self.demand.to_f64();
        let pieces = u64::from(packs) * u64::from(self.pack);
        #[allow(clippy::cast_precision_loss)]
        let count = pieces as f64;
        let millionths = |raw: i128| raw.to_f64().unwrap_or(f64::NAN) / 1e6;
        let paid = millionths(band.fixed + band.each * i128::from(packs));
        let orders = demand / count;
        let pack = f64::from(self.pack);
        let each = millionths(band.each) / pack;
        let fixed = self.order.to_f64() + millionths(band.fixed);
        let held = self.storage.to_f64() + self.interest.to_f64() * each;
        Quantity {
            cartons: packs,
            pieces,
            orders,
            ordering: self.order.to_f64() * orders,
            holding: f64::midpoint(self.interest.to_f64() * paid, self.storage.to_f64() * count),
            buying: paid * orders,
            exact: (2.0 * fixed * demand / held).sqrt(),
        }
    }
}
