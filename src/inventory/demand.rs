//! Demand in a lead time or an outage: a distribution over whole counts.

use statrs::distribution::{Discrete, Poisson};

use crate::inventory::{InventoryError, above_zero};
use crate::narrow::narrow;

/// Largest count that a distribution over counts may hold; its tables stay below 64 MB.
const MOST_COUNT: usize = 2_000_000;

/// Largest sum of periods: adding them up takes about half its square in steps.
const MOST_SUM: usize = 40_000;

/// Relative excess at which a probability still counts as the allowed one: sums of floats differ by this from the
/// fractions that they represent, and 19 of 20 is 0.95.
const ROUNDING: f64 = 1e-12;

/// Largest mean of a Poisson demand: its table ends far below [`MOST_COUNT`].
const MOST_MEAN: f64 = 1_000_000.0;

/// Demand in a lead time or an outage: a distribution over whole counts, as cumulative tables without approximation.
#[derive(Debug, Clone, PartialEq)]
pub struct Demand {
    /// Probability of each count, from 0.
    chance: Vec<f64>,
    /// Probability of at most each count.
    within: Vec<f64>,
    /// Probability of more than each count, summed from its small end.
    beyond: Vec<f64>,
    /// Expected shortage, in pieces, with each count held.
    lacking: Vec<f64>,
    mean: f64,
    /// Rows of the history; `None` for a law.
    rows: Option<usize>,
}

impl Demand {
    /// Poisson demand with a mean of `mean` pieces: pumps that arrive independently. The table ends where the tail is
    /// below 1e-300.
    ///
    /// # Errors
    /// [`InventoryError::NotAboveZero`], [`InventoryError::TooLarge`] above a million.
    ///
    /// ```
    /// use gapwright::inventory::Demand;
    /// let demand = Demand::poisson(2.0)?;
    /// assert!((demand.within(1) - 3.0 * (-2.0_f64).exp()).abs() < 1e-15);
    /// # Ok::<(), gapwright::inventory::InventoryError>(())
    /// ```
    pub fn poisson(mean: f64) -> Result<Demand, InventoryError> {
        let mean = above_zero("the mean demand", mean)?;
        let law = Poisson::new(mean)
            .ok()
            .filter(|_| mean <= MOST_MEAN)
            .ok_or(InventoryError::TooLarge("the mean demand"))?;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let middle = mean as u64;
        let end = (middle + 1..).find(|&count| law.ln_pmf(count) < -700.0);
        let end = end.unwrap_or(middle);
        let chance = (0..=end).map(|count| law.pmf(count)).collect();
        let mut counts = Demand::of(chance, None);
        counts.mean = mean;
        Ok(counts)
    }

    /// Observed demand, each row equally likely. The rows are the issues of past periods, including zeros, or the
    /// demands of simulated outages.
    ///
    /// # Errors
    /// [`InventoryError::NoHistory`], [`InventoryError::TooLarge`].
    ///
    /// ```
    /// use gapwright::inventory::Demand;
    /// let demand = Demand::history(&[0, 2, 1, 0])?;
    /// assert_eq!(demand.within(0), 0.5);
    /// assert_eq!(demand.lacking(1), 0.25);
    /// # Ok::<(), gapwright::inventory::InventoryError>(())
    /// ```
    pub fn history(rows: &[u32]) -> Result<Demand, InventoryError> {
        let most = rows.iter().max().ok_or(InventoryError::NoHistory)?;
        let most = narrow::<usize>(*most);
        if most > MOST_COUNT {
            return Err(InventoryError::TooLarge("a demand in the history"));
        }
        let mut seen = vec![0_u32; most + 1];
        for &row in rows {
            seen[row as usize] += 1;
        }
        let all = float(rows.len());
        let chance = seen.iter().map(|&seen| f64::from(seen) / all).collect();
        let mut counts = Demand::of(chance, Some(rows.len()));
        // Whole numbers as long as possible: 19 of 20 is the float of 0.95.
        let (mut before, mut after) = (0.0, all);
        for (count, &seen) in seen.iter().enumerate() {
            before += f64::from(seen);
            after -= f64::from(seen);
            counts.within[count] = before / all;
            counts.beyond[count] = after / all;
        }
        let sum: u64 = rows.iter().map(|&row| u64::from(row)).sum();
        #[allow(clippy::cast_precision_loss)]
        let sum = sum as f64;
        counts.mean = sum / all;
        Ok(counts)
    }

    /// Demand in `periods` independent periods: the convolution.
    ///
    /// # Errors
    /// [`InventoryError::NotAboveZero`], [`InventoryError::TooLarge`].
    ///
    /// ```
    /// use gapwright::inventory::Demand;
    /// let month = Demand::history(&[0, 1])?;
    /// assert_eq!(month.over(2)?.within(1), 0.75);
    /// # Ok::<(), gapwright::inventory::InventoryError>(())
    /// ```
    pub fn over(&self, periods: u32) -> Result<Demand, InventoryError> {
        above_zero("the number of periods", periods.into())?;
        let most = (self.chance.len() - 1).checked_mul(periods as usize);
        let most = most
            .filter(|&most| most <= MOST_SUM && periods as usize <= MOST_SUM)
            .ok_or(InventoryError::TooLarge("the demand in all periods"))?;
        let mut chance = vec![1.0];
        for _ in 0..periods {
            let mut sum = vec![0.0; chance.len() + self.chance.len() - 1];
            for (a, &left) in chance.iter().enumerate() {
                for (b, &right) in self.chance.iter().enumerate() {
                    sum[a + b] += left * right;
                }
            }
            chance = sum;
        }
        debug_assert_eq!(chance.len(), most + 1);
        // Each way to draw the periods from the rows counts as one observation.
        let rows = self.rows.map(|rows| rows.saturating_pow(periods));
        let mut counts = Demand::of(chance, rows);
        counts.mean = self.mean * f64::from(periods);
        Ok(counts)
    }

    /// Demand of both together, independent of each other.
    ///
    /// # Errors
    /// [`InventoryError::TooLarge`].
    pub fn plus(&self, other: &Demand) -> Result<Demand, InventoryError> {
        let most = self.chance.len() + other.chance.len();
        if most > MOST_SUM {
            return Err(InventoryError::TooLarge("the demand of both together"));
        }
        let mut chance = vec![0.0; most - 1];
        for (a, &left) in self.chance.iter().enumerate() {
            for (b, &right) in other.chance.iter().enumerate() {
                chance[a + b] += left * right;
            }
        }
        let mut counts = Demand::of(chance, None);
        counts.mean = self.mean + other.mean;
        Ok(counts)
    }

    /// How far one issue of this size takes the stock below a count, at worst over the pieces that it stood above it
    /// before: for each number of pieces the greatest probability of at least as many.
    ///
    /// # Errors
    /// [`InventoryError::NoHistory`] for issues of zero alone, [`InventoryError::TooLarge`].
    pub(super) fn undershoot(&self) -> Result<Demand, InventoryError> {
        const MOST: usize = 4_000;
        let largest = self.chance.iter().rposition(|chance| *chance > 0.0).unwrap_or(0);
        if largest == 0 {
            return Err(InventoryError::NoHistory);
        }
        if largest > MOST {
            return Err(InventoryError::TooLarge("an issue"));
        }
        // At least this many wanted.
        let from = |count: usize| match count.checked_sub(1) {
            Some(less) => self.beyond[less],
            None => 1.0,
        };
        let least = |below: usize| -> f64 {
            let stood = 1..=largest - below;
            stood.map(|above| from(above + below) / from(above)).fold(0.0, f64::max)
        };
        let least: Vec<f64> = (0..largest).map(least).chain([0.0]).collect();
        let chance = least.windows(2).map(|pair| pair[0] - pair[1]).collect();
        Ok(Demand::of(chance, None))
    }

    fn of(chance: Vec<f64>, rows: Option<usize>) -> Demand {
        let mut sum = 0.0;
        let within = chance
            .iter()
            .map(|chance| {
                sum += chance;
                f64::min(sum, 1.0)
            })
            .collect();
        let (mut beyond, mut lacking) = (vec![0.0; chance.len()], vec![0.0; chance.len()]);
        for count in (0..chance.len().saturating_sub(1)).rev() {
            beyond[count] = beyond[count + 1] + chance[count + 1];
            lacking[count] = lacking[count + 1] + beyond[count];
        }
        let mean = lacking[0];
        Demand { chance, within, beyond, lacking, mean, rows }
    }

    /// Rows of history, counting each combination of them; `None` for a law.
    pub fn rows(&self) -> Option<usize> {
        self.rows
    }

    /// Mean, in pieces.
    pub fn mean(&self) -> f64 {
        self.mean
    }

    /// Standard deviation, in pieces.
    pub fn sd(&self) -> f64 {
        let square = |count: usize| (float(count) - self.mean).powi(2);
        let all = self.chance.iter().enumerate();
        all.map(|(count, chance)| square(count) * chance).sum::<f64>().sqrt()
    }

    /// Probability of exactly this count.
    pub fn chance(&self, count: u32) -> f64 {
        look_up(&self.chance, count).unwrap_or(0.0)
    }

    /// Probability of this count or less.
    pub fn within(&self, count: u32) -> f64 {
        look_up(&self.within, count).unwrap_or(1.0)
    }

    /// Probability of more than this count.
    pub fn beyond(&self, count: u32) -> f64 {
        look_up(&self.beyond, count).unwrap_or(0.0)
    }

    /// Expected shortage, in pieces, with `held` pieces held: the loss function.
    pub fn lacking(&self, held: u32) -> f64 {
        look_up(&self.lacking, held).unwrap_or(0.0)
    }

    /// Expected surplus, in pieces, with `held` pieces held.
    pub fn left(&self, held: u32) -> f64 {
        // Sums of probabilities where that is less work and more exact than the difference.
        match held as usize {
            count if count < self.within.len() => {
                self.within[..count].iter().fold(0.0, |a, b| a + b)
            }
            _ => f64::from(held) - self.mean,
        }
    }

    /// Smallest count that is exceeded with at most this probability.
    pub(super) fn least(&self, risk: f64) -> Result<u32, InventoryError> {
        least_whole(|pieces| self.beyond(pieces) <= risk * (1.0 + ROUNDING))
    }
}

/// Smallest whole number that serves, where all larger ones serve too.
pub(super) fn least_whole(serves: impl Fn(u32) -> bool) -> Result<u32, InventoryError> {
    const MOST: u32 = 1 << 31;
    let mut high = 1;
    while !serves(high) {
        if high == MOST {
            return Err(InventoryError::TooLarge("the number of pieces"));
        }
        high *= 2;
    }
    let mut low = 0;
    while low < high {
        let middle = low + (high - low) / 2;
        if serves(middle) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    Ok(low)
}

fn look_up(table: &[f64], count: u32) -> Option<f64> {
    table.get(count as usize).copied()
}

#[allow(clippy::cast_precision_loss)]
fn float(count: usize) -> f64 {
    count as f64
}
