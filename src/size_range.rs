//! Thicknesses to stock: the targets that a set of sizes reaches, the pieces each takes, and the sizes of a
//! catalogue that suffice.
//!
//! [`Reach::of`] gives the reach of a set, [`select()`] the best sizes of a catalogue. A *target* is met by a
//! pack whose total, errors of its pieces included, lies within the window about it. All sums are whole
//! multiples of the sizes' greatest common divisor, so nothing is rounded.
//!
//! ```
//! use gapwright::length::{Length, Unit};
//! use gapwright::size_range::{WindowGuard, Reach, Rule, StockedSize, Targets};
//! let thou = |n: i64| Length::from_ticks(n * Unit::Thou.ticks());
//! let sizes = [1, 2, 5, 10].map(|n| StockedSize::of(thou(n)));
//! let targets = Targets::new(thou(1), thou(20), thou(1))?;
//! let rule = Rule { pieces: 3, window: Length::ZERO, guard: WindowGuard::None };
//! let reach = Reach::of(&sizes, &targets, &rule)?;
//! assert_eq!(reach.missed(), [thou(18), thou(19)]);
//! // With one piece, with two, with three.
//! assert_eq!((1..=3).map(|k| reach.met_with(k)).collect::<Vec<_>>(), [4, 12, 18]);
//! # Ok::<(), gapwright::size_range::SizeRangeError>(())
//! ```

mod change;
mod search;
mod select;
mod supports;
mod table;

use thiserror::Error;

use crate::choose::control::{Control, Pace};
use crate::decimal::Money;
use crate::length::{Length, root_up};
use crate::narrow::narrow;

pub use change::{Change, Tally, with, without};
pub(crate) use change::{with_until, without_until};
pub use select::{Choice, Selection, select};

/// Most pieces in a pack here.
pub const MOST_PIECES: u32 = 16;

/// Most targets in a range.
const MOST_TARGETS: i64 = 1_000_000;

/// Reason that there is no answer.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum SizeRangeError {
    /// Range whose end is below its start, or that starts below zero.
    #[error("the range ends before it begins, or starts below zero")]
    Range,
    /// Step that is not above zero, or that does not divide the range.
    #[error("the step is not above zero, or the range is no whole number of steps")]
    Step,
    /// Too many targets.
    #[error("{0} targets; at most a million can be examined: take a coarser step")]
    TooManyTargets(i64),
    /// StockedSize that is not a thickness.
    #[error("size {0}: a thickness must be above zero, its tolerance and cost not below")]
    Size(usize),
    /// Number of pieces that a pack cannot have here.
    #[error("packs of {0} pieces: from 1 to 16 can be examined")]
    Pieces(u32),
    /// Window below zero.
    #[error("the window is below zero")]
    Window,
    /// Sizes with so small a common divisor, over so long a range, that the table would not fit.
    #[error(
        "the sizes are whole numbers of {grain_nm} nm only, which makes {cells} totals in the range or \
         the window; round the sizes to a coarser step, or take a shorter range, a narrower window or \
         fewer pieces"
    )]
    TooFine {
        /// Greatest common divisor, in nanometres.
        grain_nm: String,
        /// Totals in the range, or in one window of it.
        cells: i64,
    },
    /// The time ended first.
    #[error("the {} ended the work before it was worked out", .0.words())]
    Stopped(crate::plan::Stop),
    /// Catalogue too large to choose from.
    #[error("{0} sizes in the catalogue; at most 128 can be chosen from")]
    TooManySizes(usize),
}

/// StockedSize of pieces.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StockedSize {
    /// Thickness of one piece.
    pub thickness: Length,
    /// Plus/minus on one piece; the larger one of two different sides.
    pub tolerance: Length,
    /// Number of pieces; `None` without a limit.
    pub count: Option<u32>,
    /// Cost of stocking this size.
    pub cost: Money,
}

impl StockedSize {
    /// Exact pieces of a thickness, without a limit on their number.
    pub fn of(thickness: Length) -> StockedSize {
        StockedSize { thickness, tolerance: Length::ZERO, count: None, cost: Money::ZERO }
    }
}

/// Range of targets in equal steps, both ends included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Targets {
    first: Length,
    step: Length,
    count: usize,
}

impl Targets {
    /// Targets from `first` to `last`.
    ///
    /// # Errors
    /// [`SizeRangeError::Range`], [`SizeRangeError::Step`], [`SizeRangeError::TooManyTargets`].
    pub fn new(first: Length, last: Length, step: Length) -> Result<Targets, SizeRangeError> {
        if last < first || first < Length::ZERO {
            return Err(SizeRangeError::Range);
        }
        let span = (last - first).ticks();
        if step <= Length::ZERO || span % step.ticks() != 0 {
            return Err(SizeRangeError::Step);
        }
        let count = span / step.ticks() + 1;
        match usize::try_from(count) {
            Ok(whole) if count <= MOST_TARGETS => Ok(Targets { first, step, count: whole }),
            _ => Err(SizeRangeError::TooManyTargets(count)),
        }
    }

    /// Number of targets, at least one.
    #[allow(clippy::len_without_is_empty)]
    pub fn len(&self) -> usize {
        self.count
    }

    /// Target of an index.
    pub fn at(&self, index: usize) -> Length {
        // At most a million.
        self.first + self.step * narrow::<u32>(index)
    }

    /// All targets, from the first.
    pub fn iter(&self) -> impl Iterator<Item = Length> + '_ {
        (0..self.count).map(|index| self.at(index))
    }

    /// Most targets that one total can meet: those in the window to either side of it.
    fn at_once(&self, rule: &Rule) -> u128 {
        let within = u128::try_from(2 * rule.window.ticks() / self.step.ticks() + 1);
        within.unwrap_or(u128::MAX).min(self.count as u128)
    }

    fn last(&self) -> Length {
        self.at(self.count - 1)
    }

    /// Indices of the targets from one length to another.
    fn between(&self, low: Length, high: Length) -> std::ops::Range<usize> {
        let step = self.step.ticks();
        let clamp = |index: i64| usize::try_from(index).unwrap_or(0).min(self.count);
        let low = -(-(low - self.first).ticks()).div_euclid(step);
        let high = (high - self.first).ticks().div_euclid(step) + 1;
        clamp(low)..clamp(high).max(clamp(low))
    }
}

/// WindowGuard: the part of the window taken up by the errors of a pack's pieces.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WindowGuard {
    /// Zero: the pack is measured and pieces are swapped.
    None,
    /// Sum of their tolerances: the worst case.
    WorstCase,
    /// Root sum square of their tolerances, rounded up to a tick.
    RootSumSquare,
}

impl WindowGuard {
    /// Part that one piece adds to the sum over a pack.
    fn part(self, tolerance: Length) -> u64 {
        let ticks = u64::try_from(tolerance.ticks()).unwrap_or(0);
        match self {
            WindowGuard::None => 0,
            WindowGuard::WorstCase => ticks,
            WindowGuard::RootSumSquare => ticks.saturating_mul(ticks),
        }
    }

    /// WindowGuard of a sum of parts.
    fn of(self, sum: u64) -> Length {
        let ticks = match self {
            WindowGuard::None => 0,
            WindowGuard::WorstCase => narrow::<i64>(sum),
            WindowGuard::RootSumSquare => narrow::<i64>(root_up(sum.into())),
        };
        Length::from_ticks(ticks)
    }
}

/// Rule by which a target is met.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rule {
    /// Most pieces in a pack.
    pub pieces: u32,
    /// Greatest distance of a pack from the target, errors included.
    pub window: Length,
    /// WindowGuard against the errors of the pieces.
    pub guard: WindowGuard,
}

impl Rule {
    fn check(&self) -> Result<(), SizeRangeError> {
        if self.pieces == 0 || self.pieces > MOST_PIECES {
            return Err(SizeRangeError::Pieces(self.pieces));
        }
        if self.window < Length::ZERO {
            return Err(SizeRangeError::Window);
        }
        Ok(())
    }
}

/// Result for a target that is met.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Met {
    /// Fewest pieces that meet it; zero where the window about it includes a total of zero.
    pub pieces: u32,
    /// Nominal total of the pack less the target: of packs with the fewest pieces, the one with most room
    /// left in the window.
    pub error: Length,
    /// WindowGuard of that pack.
    pub guard: Length,
}

/// Reach of a set of sizes: the result for each target.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reach {
    targets: Targets,
    met: Vec<Option<Met>>,
}

impl Reach {
    /// Works out how each target is met.
    ///
    /// Dynamic programming over totals in multiples of the greatest common divisor of the sizes: for each
    /// total and number of pieces, the least guard of such a pack.
    ///
    /// # Errors
    /// [`SizeRangeError::Size`], [`SizeRangeError::Pieces`], [`SizeRangeError::Window`]; [`SizeRangeError::TooFine`] if the table would hold more
    /// than eight million numbers or take more than about ten thousand million steps.
    pub fn of(
        sizes: &[StockedSize],
        targets: &Targets,
        rule: &Rule,
    ) -> Result<Reach, SizeRangeError> {
        Reach::until(sizes, targets, rule, &Control::unlimited())
    }

    /// [`Reach::of`] under a control: [`SizeRangeError::Stopped`].
    pub(crate) fn until(
        sizes: &[StockedSize],
        targets: &Targets,
        rule: &Rule,
        control: &Control<'_>,
    ) -> Result<Reach, SizeRangeError> {
        rule.check()?;
        let mut pace = Pace::at_least(control, GRACE);
        let table = table::TotalsTable::of(sizes, targets.last() + rule.window, rule, &mut pace)?;
        let looks = table.check_windows(targets, rule)?;
        let meet = |target: Length| match pace.stop(looks) {
            Some(stop) => Err(SizeRangeError::Stopped(stop)),
            None => Ok(table.meet(target, rule)),
        };
        Ok(Reach { targets: *targets, met: targets.iter().map(meet).collect::<Result<_, _>>()? })
    }

    /// Targets.
    pub fn targets(&self) -> &Targets {
        &self.targets
    }

    /// Result of each target, in order; `None` for those that are not met.
    pub fn met(&self) -> &[Option<Met>] {
        &self.met
    }

    /// Targets that are not met.
    pub fn missed(&self) -> Vec<Length> {
        let missed = |(target, met): (Length, &Option<Met>)| met.is_none().then_some(target);
        self.targets.iter().zip(&self.met).filter_map(missed).collect()
    }

    /// Number of targets met with at most `pieces` pieces.
    pub fn met_with(&self, pieces: u32) -> usize {
        let met = self.met.iter().flatten();
        met.filter(|met| met.pieces <= pieces).count()
    }

    /// Share of the range met with at most `pieces` pieces, 0 to 1.
    #[allow(clippy::cast_precision_loss)]
    pub fn share(&self, pieces: u32) -> f64 {
        self.met_with(pieces) as f64 / self.met.len() as f64
    }
}

/// Units of work that are done in any case: a small problem always has an answer.
const GRACE: usize = 200_000;

/// Refuses sizes that are not thicknesses.
fn check_sizes(sizes: &[StockedSize]) -> Result<(), SizeRangeError> {
    let sound = |size: &StockedSize| {
        size.thickness > Length::ZERO && size.tolerance >= Length::ZERO && size.cost >= Money::ZERO
    };
    match sizes.iter().position(|size| !sound(size)) {
        Some(index) => Err(SizeRangeError::Size(index)),
        None => Ok(()),
    }
}
