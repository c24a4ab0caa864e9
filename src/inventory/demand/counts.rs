//! Demand in whole counts, each with its chance.

use statrs::distribution::{Discrete, Poisson};

use crate::inventory::{Fault, above_zero};

/// The largest count that a distribution over counts may hold; its tables stay below 64 MB.
const MOST_COUNT: usize = 2_000_000;

/// The largest sum of periods: adding them up takes some half of its square in steps.
const MOST_SUM: usize = 40_000;

/// The largest mean of a Poisson demand: its table ends far below [`MOST_COUNT`].
const MOST_MEAN: f64 = 1_000_000.0;

/// A distribution over whole counts, as tables of sums: nothing is approximated.
#[derive(Debug, Clone, PartialEq)]
pub struct Counts {
    /// The chance of each count, from 0.
    chance: Vec<f64>,
    /// The chance of no more than each count.
    within: Vec<f64>,
    /// The chance of more than each count, summed from its small end.
    beyond: Vec<f64>,
    /// Pieces expected to be lacking with each count held.
    lacking: Vec<f64>,
    mean: f64,
    /// Rows behind it; `None` for a law.
    rows: Option<usize>,
}

impl Counts {
    /// Poisson demand of so many pieces on average: pumps that come one by one, each for itself.
    /// The table ends where what is beyond is below 1e-300.
    ///
    /// # Errors
    /// [`Fault::NotAboveZero`], [`Fault::TooLarge`] above a million.
    ///
    /// ```
    /// use gapwright::inventory::Counts;
    /// let demand = Counts::poisson(2.0)?;
    /// assert!((demand.within(1) - 3.0 * (-2.0_f64).exp()).abs() < 1e-15);
    /// # Ok::<(), gapwright::inventory::Fault>(())
    /// ```
    pub fn poisson(mean: f64) -> Result<Counts, Fault> {
        let mean = above_zero("the mean demand", mean)?;
        let law = Poisson::new(mean)
            .ok()
            .filter(|_| mean <= MOST_MEAN)
            .ok_or(Fault::TooLarge("the mean demand"))?;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let middle = mean as u64;
        let end = (middle + 1..).find(|&count| law.ln_pmf(count) < -700.0);
        let end = end.unwrap_or(middle);
        let chance = (0..=end).map(|count| law.pmf(count)).collect();
        let mut counts = Counts::of(chance, None);
        counts.mean = mean;
        Ok(counts)
    }

    /// Demand as it was seen: each row as likely as any other. The rows are the issues of past
    /// periods, those without any as 0, or the demands of simulated outages.
    ///
    /// # Errors
    /// [`Fault::NoHistory`], [`Fault::TooLarge`].
    ///
    /// ```
    /// use gapwright::inventory::Counts;
    /// let demand = Counts::history(&[0, 2, 1, 0])?;
    /// assert_eq!(demand.within(0), 0.5);
    /// assert_eq!(demand.lacking(1), 0.25);
    /// # Ok::<(), gapwright::inventory::Fault>(())
    /// ```
    pub fn history(rows: &[u32]) -> Result<Counts, Fault> {
        let most = rows.iter().max().ok_or(Fault::NoHistory)?;
        let most = usize::try_from(*most).unwrap_or(usize::MAX);
        if most > MOST_COUNT {
            return Err(Fault::TooLarge("a demand in the history"));
        }
        let mut seen = vec![0_u32; most + 1];
        for &row in rows {
            seen[row as usize] += 1;
        }
        let all = float(rows.len());
        let chance = seen.iter().map(|&seen| f64::from(seen) / all).collect();
        let mut counts = Counts::of(chance, Some(rows.len()));
        // Whole numbers as long as they can be: 19 of 20 is the float of 0.95.
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

    /// Demand in so many periods that do not depend on each other: all sums, each with its chance.
    ///
    /// # Errors
    /// [`Fault::NotAboveZero`], [`Fault::TooLarge`].
    ///
    /// ```
    /// use gapwright::inventory::Counts;
    /// let month = Counts::history(&[0, 1])?;
    /// assert_eq!(month.over(2)?.within(1), 0.75);
    /// # Ok::<(), gapwright::inventory::Fault>(())
    /// ```
    pub fn over(&self, periods: u32) -> Result<Counts, Fault> {
        above_zero("the number of periods", periods.into())?;
        let most = (self.chance.len() - 1).checked_mul(periods as usize);
        let most = most
            .filter(|&most| most <= MOST_SUM && periods as usize <= MOST_SUM)
            .ok_or(Fault::TooLarge("the demand in all periods"))?;
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
        // Each way to draw the periods from the rows is one that could have been seen.
        let rows = self.rows.map(|rows| rows.saturating_pow(periods));
        let mut counts = Counts::of(chance, rows);
        counts.mean = self.mean * f64::from(periods);
        Ok(counts)
    }

    /// The demands of each so many periods that follow each other in a history, overlapping: keeps
    /// what one period has to do with the next, which [`Counts::over`] does not.
    ///
    /// # Errors
    /// As [`Counts::history`]; [`Fault::NotAboveZero`]; [`Fault::NoHistory`] if it is shorter than
    /// that.
    pub fn successive(rows: &[u32], periods: u32) -> Result<Counts, Fault> {
        above_zero("the number of periods", periods.into())?;
        let sums: Option<Vec<u32>> = rows
            .windows(periods as usize)
            .map(|window| {
                window
                    .iter()
                    .try_fold(0_u32, |sum, &row| sum.checked_add(row))
            })
            .collect();
        Counts::history(&sums.ok_or(Fault::TooLarge("a demand in the history"))?)
    }

    fn of(chance: Vec<f64>, rows: Option<usize>) -> Counts {
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
        Counts {
            chance,
            within,
            beyond,
            lacking,
            mean,
            rows,
        }
    }

    /// Rows of history behind it, in as many ways as they can be put together; `None` for a law.
    pub fn rows(&self) -> Option<usize> {
        self.rows
    }

    /// Pieces expected.
    pub fn mean(&self) -> f64 {
        self.mean
    }

    /// The standard deviation, in pieces.
    pub fn sd(&self) -> f64 {
        let square = |count: usize| (float(count) - self.mean).powi(2);
        let all = self.chance.iter().enumerate();
        all.map(|(count, chance)| square(count) * chance)
            .sum::<f64>()
            .sqrt()
    }

    /// The chance of exactly so many.
    pub fn chance(&self, count: i64) -> f64 {
        look_up(&self.chance, count).unwrap_or(0.0)
    }

    /// The chance of no more than so many.
    pub fn within(&self, count: i64) -> f64 {
        match look_up(&self.within, count) {
            Some(within) => within,
            None if count < 0 => 0.0,
            None => 1.0,
        }
    }

    /// The chance of more than so many.
    pub fn beyond(&self, count: i64) -> f64 {
        match look_up(&self.beyond, count) {
            Some(beyond) => beyond,
            None if count < 0 => 1.0,
            None => 0.0,
        }
    }

    /// Pieces expected to be lacking with so many held; with fewer than none, those that are
    /// promised already lack too.
    pub fn lacking(&self, held: i64) -> f64 {
        match look_up(&self.lacking, held) {
            Some(lacking) => lacking,
            None if held < 0 => self.mean - whole(held),
            None => 0.0,
        }
    }

    /// Pieces expected to be left with so many held.
    pub fn left(&self, held: i64) -> f64 {
        if held <= 0 {
            return 0.0;
        }
        // Sums of chances where that is less work and more exact than the difference.
        match usize::try_from(held) {
            Ok(held) if held < self.within.len() => self.within[..held].iter().sum(),
            _ => whole(held) - self.mean,
        }
    }
}

fn look_up(table: &[f64], count: i64) -> Option<f64> {
    let index = usize::try_from(count).ok()?;
    table.get(index).copied()
}

#[allow(clippy::cast_precision_loss)]
fn float(count: usize) -> f64 {
    count as f64
}

#[allow(clippy::cast_precision_loss)]
fn whole(count: i64) -> f64 {
    count as f64
}
