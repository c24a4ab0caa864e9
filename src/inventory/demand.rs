//! Demand over the time that counts: a lead time, an outage.

use statrs::distribution::{Continuous, ContinuousCDF, Discrete, Normal as Bell, Poisson};

use super::{Fault, above_zero, not_below_zero};

/// The largest count that a distribution over counts may hold; its tables stay below 64 MB.
const MOST_COUNT: usize = 2_000_000;

/// The largest mean of a Poisson demand: its table ends far below [`MOST_COUNT`].
const MOST_MEAN: f64 = 1_000_000.0;

/// A chance this much above the one allowed, relatively, still counts as it: sums of floats differ
/// that much from the fractions they stand for, and 19 of 20 is 0.95.
const ROUNDING: f64 = 1e-12;

/// Demand over the time that counts.
#[derive(Debug, Clone, PartialEq)]
pub enum Demand {
    /// Normal: many pieces a lead time.
    Normal(Normal),
    /// Whole counts, each with its chance: Poisson, a history, simulated outages.
    Counts(Counts),
}

impl Demand {
    /// Normal demand; see [`Normal::new`].
    ///
    /// # Errors
    /// [`Fault::NotAboveZero`].
    pub fn normal(mean: f64, sd: f64) -> Result<Demand, Fault> {
        Normal::new(mean, sd).map(Demand::Normal)
    }

    /// Poisson demand; see [`Counts::poisson`].
    ///
    /// # Errors
    /// [`Fault::NotAboveZero`], [`Fault::TooLarge`].
    pub fn poisson(mean: f64) -> Result<Demand, Fault> {
        Counts::poisson(mean).map(Demand::Counts)
    }

    /// Demand as it was seen; see [`Counts::history`].
    ///
    /// # Errors
    /// [`Fault::NoHistory`], [`Fault::TooLarge`].
    pub fn history(counts: &[u32]) -> Result<Demand, Fault> {
        Counts::history(counts).map(Demand::Counts)
    }

    /// Pieces expected.
    pub fn mean(&self) -> f64 {
        match self {
            Demand::Normal(normal) => normal.mean,
            Demand::Counts(counts) => counts.mean,
        }
    }

    /// The standard deviation, in pieces.
    pub fn sd(&self) -> f64 {
        match self {
            Demand::Normal(normal) => normal.sd,
            Demand::Counts(counts) => counts.sd(),
        }
    }

    /// The chance that no more than so many pieces are wanted.
    pub fn within(&self, pieces: u32) -> f64 {
        match self {
            Demand::Normal(normal) => normal.bell().cdf(pieces.into()),
            Demand::Counts(counts) => counts.within(pieces.into()),
        }
    }

    /// The chance that more are wanted.
    pub fn beyond(&self, pieces: u32) -> f64 {
        match self {
            Demand::Normal(normal) => normal.bell().sf(pieces.into()),
            Demand::Counts(counts) => counts.beyond(pieces.into()),
        }
    }

    /// Pieces expected to be lacking when so many are held: the loss function.
    pub fn lacking(&self, pieces: u32) -> f64 {
        match self {
            Demand::Normal(normal) => normal.lacking(pieces.into()),
            Demand::Counts(counts) => counts.lacking(pieces.into()),
        }
    }

    /// Pieces expected to be left when so many are held.
    pub fn left(&self, pieces: u32) -> f64 {
        match self {
            Demand::Normal(normal) => normal.left(pieces.into()),
            Demand::Counts(counts) => counts.left(pieces.into()),
        }
    }

    /// The smallest whole count that is exceeded with no more than this chance.
    pub(super) fn least(&self, risk: f64) -> Result<u32, Fault> {
        least_whole(|pieces| self.beyond(pieces) <= risk * (1.0 + ROUNDING))
    }
}

/// The smallest whole number that serves, of those that serve from some number on.
pub(super) fn least_whole(serves: impl Fn(u32) -> bool) -> Result<u32, Fault> {
    const MOST: u32 = 1 << 31;
    let mut high = 1;
    while !serves(high) {
        if high == MOST {
            return Err(Fault::TooLarge("the number of pieces"));
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

/// Normal demand. It can come out below nothing, which the textbooks disregard: it fits where the
/// mean is a few standard deviations. Its tails are those of statrs, good to nine digits or so.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Normal {
    mean: f64,
    sd: f64,
}

impl Normal {
    /// Demand of so many pieces on average, with this standard deviation.
    ///
    /// # Errors
    /// [`Fault::NotAboveZero`] for a standard deviation that is not above zero,
    /// [`Fault::BelowZero`] for a mean below zero.
    pub fn new(mean: f64, sd: f64) -> Result<Normal, Fault> {
        let mean = not_below_zero("the mean demand", mean)?;
        let sd = above_zero("the standard deviation of demand", sd)?;
        Ok(Normal { mean, sd })
    }

    /// Demand in a lead time of `lead` periods that itself varies by `lead_sd`, from the `mean` and
    /// `sd` of one period; periods do not depend on each other.
    ///
    /// Source: sigma^2 = L sd^2 + mean^2 sigma_L^2, as any textbook has it (seen in the
    /// documentation of the library supplychainpy).
    ///
    /// # Errors
    /// As [`Normal::new`].
    ///
    /// ```
    /// use gapwright::inventory::{Demand, Normal, reorder};
    /// // Heizer and Render, ch. 12: 60 a week for six weeks give or take two, 90 % (z 1.28): 514.
    /// let demand = Normal::in_lead_time(60.0, 0.0, 6.0, 2.0)?;
    /// assert_eq!(reorder::for_cycle_service(&Demand::Normal(demand), 0.90)?.pieces, 514);
    /// # Ok::<(), gapwright::inventory::Fault>(())
    /// ```
    pub fn in_lead_time(mean: f64, sd: f64, lead: f64, lead_sd: f64) -> Result<Normal, Fault> {
        let mean = not_below_zero("the mean demand", mean)?;
        let sd = not_below_zero("the standard deviation of demand", sd)?;
        let lead = above_zero("the lead time", lead)?;
        let lead_sd = not_below_zero("the standard deviation of the lead time", lead_sd)?;
        let variance = lead * sd * sd + mean * mean * lead_sd * lead_sd;
        Normal::new(mean * lead, variance.sqrt())
    }

    fn bell(self) -> Bell {
        // `new` lets no other numbers in.
        Bell::new(self.mean, self.sd).unwrap_or_else(|_| Bell::standard())
    }

    /// What is exceeded with this chance.
    pub(super) fn exceeded(self, risk: f64) -> f64 {
        // From the upper tail, where a small risk is still exact.
        self.mean - self.sd * Bell::standard().inverse_cdf(risk)
    }

    /// Pieces expected to be lacking: sd (phi(z) - z (1 - Phi(z))).
    pub(super) fn lacking(self, pieces: f64) -> f64 {
        let z = (pieces - self.mean) / self.sd;
        let standard = Bell::standard();
        (self.sd * (standard.pdf(z) - z * standard.sf(z))).max(0.0)
    }

    /// Pieces expected to be left: the same from the other side.
    pub(super) fn left(self, pieces: f64) -> f64 {
        let z = (pieces - self.mean) / self.sd;
        let standard = Bell::standard();
        (self.sd * (standard.pdf(z) + z * standard.cdf(z))).max(0.0)
    }
}

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
        // Time as well as room: a convolution is as many steps as the product of the lengths.
        let most = (self.chance.len() - 1).checked_mul(periods as usize);
        let most = most
            .filter(|&most| most <= MOST_COUNT && most.saturating_mul(self.chance.len()) < 1 << 28)
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
