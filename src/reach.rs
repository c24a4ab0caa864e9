//! Which thicknesses to stock at all: what a set of sizes reaches, with how many pieces, and which
//! sizes of a catalogue suffice.
//!
//! A *target* is met by a pack whose total, errors of its pieces included, lies within the window
//! about it. All sums are whole numbers of the sizes' greatest common divisor, so nothing is rounded.
//!
//! ```
//! use gapwright::length::{Length, Unit};
//! use gapwright::reach::{Guard, Reach, Rule, Size, Targets};
//! let thou = |n: i64| Length::from_ticks(n * Unit::Thou.ticks());
//! let sizes = [1, 2, 5, 10].map(|n| Size::of(thou(n)));
//! let targets = Targets::new(thou(1), thou(20), thou(1))?;
//! let rule = Rule { pieces: 3, window: Length::ZERO, guard: Guard::None };
//! let reach = Reach::of(&sizes, &targets, &rule)?;
//! assert_eq!(reach.missed(), [thou(18), thou(19)]);
//! // With one piece, with two, with three.
//! assert_eq!((1..=3).map(|k| reach.met_with(k)).collect::<Vec<_>>(), [4, 12, 18]);
//! # Ok::<(), gapwright::reach::Fault>(())
//! ```

mod change;
mod search;
mod select;
mod supports;
mod table;

use thiserror::Error;

use crate::choose::watch::{Pace, Watch};
use crate::decimal::Money;
use crate::length::{Length, root_up};
use crate::narrow::narrow;

pub use change::{Change, Tally, with, without};
pub(crate) use change::{with_until, without_until};
pub use select::{Aim, Choice, select};

/// The most pieces that a pack may have here.
pub const MOST_PIECES: u32 = 16;

/// The most targets in a range.
const MOST_TARGETS: i64 = 1_000_000;

/// Why there is no answer.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum Fault {
    /// A range whose end lies before its start, or that starts below nothing.
    #[error("the range is upside down, or starts below zero")]
    Range,
    /// A step that is not above zero, or that the range is no whole number of.
    #[error("the step is not above zero, or the range is no whole number of steps")]
    Step,
    /// Too many targets.
    #[error("{0} targets; at most a million can be looked at: take a coarser step")]
    TooManyTargets(i64),
    /// A size that is no thickness.
    #[error("size {0}: a thickness must be above zero, its tolerance and cost not below")]
    Size(usize),
    /// A number of pieces that a pack cannot have here.
    #[error("packs of {0} pieces: from 1 to 16 can be looked at")]
    Pieces(u32),
    /// A window below zero.
    #[error("the window is below zero")]
    Window,
    /// Sizes with so small a common divisor, over so long a range, that the table would not fit.
    #[error(
        "the sizes are whole numbers of {grain_nm} nm only, which makes {cells} totals in the range or \
         the window; round the sizes to a coarser step, or take a shorter range, a narrower window or \
         fewer pieces"
    )]
    TooFine {
        /// The greatest common divisor, in nanometres.
        grain_nm: String,
        /// Totals in the range, or in one window of it.
        cells: i64,
    },
    /// Time that ended before it was worked out.
    #[error("the {} ended the work before it was worked out", .0.words())]
    Stopped(crate::plan::Stop),
    /// A catalogue too large to choose from.
    #[error("{0} sizes in the catalogue; at most 128 can be chosen from")]
    TooManySizes(usize),
}

/// A size of pieces.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Size {
    /// Of one piece.
    pub thickness: Length,
    /// Plus/minus on one piece; of uneven ones the larger.
    pub tolerance: Length,
    /// Pieces that there are; `None` for as many as wanted.
    pub count: Option<u32>,
    /// What it costs to stock this size.
    pub cost: Money,
}

impl Size {
    /// Exact pieces of a thickness, as many as wanted.
    pub fn of(thickness: Length) -> Size {
        Size { thickness, tolerance: Length::ZERO, count: None, cost: Money::ZERO }
    }
}

/// A range of targets in equal steps, both ends among them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Targets {
    first: Length,
    step: Length,
    count: usize,
}

impl Targets {
    /// The targets from `first` to `last`.
    ///
    /// # Errors
    /// [`Fault::Range`], [`Fault::Step`], [`Fault::TooManyTargets`].
    pub fn new(first: Length, last: Length, step: Length) -> Result<Targets, Fault> {
        if last < first || first < Length::ZERO {
            return Err(Fault::Range);
        }
        let span = (last - first).ticks();
        if step <= Length::ZERO || span % step.ticks() != 0 {
            return Err(Fault::Step);
        }
        let count = span / step.ticks() + 1;
        match usize::try_from(count) {
            Ok(whole) if count <= MOST_TARGETS => Ok(Targets { first, step, count: whole }),
            _ => Err(Fault::TooManyTargets(count)),
        }
    }

    /// How many there are, at least one.
    #[allow(clippy::len_without_is_empty)]
    pub fn len(&self) -> usize {
        self.count
    }

    /// The target of an index.
    pub fn at(&self, index: usize) -> Length {
        // At most a million.
        self.first + self.step * narrow::<u32>(index)
    }

    /// All of them, from the first.
    pub fn iter(&self) -> impl Iterator<Item = Length> + '_ {
        (0..self.count).map(|index| self.at(index))
    }

    /// The most that one total can meet: those in the window to either side of it.
    fn at_once(&self, rule: &Rule) -> u128 {
        let within = u128::try_from(2 * rule.window.ticks() / self.step.ticks() + 1);
        within.unwrap_or(u128::MAX).min(self.count as u128)
    }

    fn last(&self) -> Length {
        self.at(self.count - 1)
    }

    /// The indices of the targets from one length to another.
    fn between(&self, low: Length, high: Length) -> std::ops::Range<usize> {
        let step = self.step.ticks();
        let clamp = |index: i64| usize::try_from(index).unwrap_or(0).min(self.count);
        let low = -(-(low - self.first).ticks()).div_euclid(step);
        let high = (high - self.first).ticks().div_euclid(step) + 1;
        clamp(low)..clamp(high).max(clamp(low))
    }
}

/// What the errors of a pack's pieces take of the window.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Guard {
    /// Nothing: the pack is measured and pieces are swapped.
    None,
    /// The sum of their tolerances: never outside.
    WorstCase,
    /// The root of the sum of their squares, rounded up to a tick.
    RootSumSquare,
}

impl Guard {
    /// What one piece adds to what is summed up over a pack.
    fn part(self, tolerance: Length) -> u64 {
        let ticks = u64::try_from(tolerance.ticks()).unwrap_or(0);
        match self {
            Guard::None => 0,
            Guard::WorstCase => ticks,
            Guard::RootSumSquare => ticks.saturating_mul(ticks),
        }
    }

    /// The guard that a sum of parts comes to.
    fn of(self, sum: u64) -> Length {
        let ticks = match self {
            Guard::None => 0,
            Guard::WorstCase => narrow::<i64>(sum),
            Guard::RootSumSquare => narrow::<i64>(root_up(sum.into())),
        };
        Length::from_ticks(ticks)
    }
}

/// When a target is met.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rule {
    /// The most pieces in a pack.
    pub pieces: u32,
    /// How far from the target a pack may lie, errors included.
    pub window: Length,
    /// What the errors of the pieces take of that.
    pub guard: Guard,
}

impl Rule {
    fn check(&self) -> Result<(), Fault> {
        if self.pieces == 0 || self.pieces > MOST_PIECES {
            return Err(Fault::Pieces(self.pieces));
        }
        if self.window < Length::ZERO {
            return Err(Fault::Window);
        }
        Ok(())
    }
}

/// How a target is met.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Met {
    /// The fewest pieces that meet it; none where the window about it holds nothing at all.
    pub pieces: u32,
    /// The pack's nominal total less the target: of packs of so few pieces the one with most room
    /// left in the window.
    pub error: Length,
    /// What the errors of that pack's pieces take of the window.
    pub guard: Length,
}

/// What a set of sizes reaches.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reach {
    targets: Targets,
    met: Vec<Option<Met>>,
}

impl Reach {
    /// Works out how each target is met.
    ///
    /// Dynamic programming over totals in whole numbers of the greatest common divisor of the sizes:
    /// for each total and number of pieces, the least that the errors of such a pack can take.
    ///
    /// # Errors
    /// [`Fault::Size`], [`Fault::Pieces`], [`Fault::Window`]; [`Fault::TooFine`] where the table would
    /// hold more than eight million numbers or take more than some ten thousand million steps.
    pub fn of(sizes: &[Size], targets: &Targets, rule: &Rule) -> Result<Reach, Fault> {
        Reach::until(sizes, targets, rule, &Watch::patient())
    }

    /// [`Reach::of`] under a watch: [`Fault::Stopped`].
    pub(crate) fn until(
        sizes: &[Size],
        targets: &Targets,
        rule: &Rule,
        watch: &Watch<'_>,
    ) -> Result<Reach, Fault> {
        rule.check()?;
        let mut pace = Pace::at_least(watch, GRACE);
        let table = table::Table::of(sizes, targets.last() + rule.window, rule, &mut pace)?;
        let looks = table.check_windows(targets, rule)?;
        let meet = |target: Length| match pace.stop(looks) {
            Some(stop) => Err(Fault::Stopped(stop)),
            None => Ok(table.meet(target, rule)),
        };
        Ok(Reach { targets: *targets, met: targets.iter().map(meet).collect::<Result<_, _>>()? })
    }

    /// The targets.
    pub fn targets(&self) -> &Targets {
        &self.targets
    }

    /// How each target is met, in order; `None` for those that are not.
    pub fn met(&self) -> &[Option<Met>] {
        &self.met
    }

    /// The targets that are not met.
    pub fn missed(&self) -> Vec<Length> {
        let missed = |(target, met): (Length, &Option<Met>)| met.is_none().then_some(target);
        self.targets.iter().zip(&self.met).filter_map(missed).collect()
    }

    /// How many targets are met with at most so many pieces.
    pub fn met_with(&self, pieces: u32) -> usize {
        let met = self.met.iter().flatten();
        met.filter(|met| met.pieces <= pieces).count()
    }

    /// The share of the range that is met with at most so many pieces, 0 to 1.
    #[allow(clippy::cast_precision_loss)]
    pub fn share(&self, pieces: u32) -> f64 {
        self.met_with(pieces) as f64 / self.met.len() as f64
    }
}

/// Units of work that are done whatever the watch says: what is soon worked out is worked out.
const GRACE: usize = 200_000;

/// Refuses sizes that are none.
fn check_sizes(sizes: &[Size]) -> Result<(), Fault> {
    let sound = |size: &Size| {
        size.thickness > Length::ZERO && size.tolerance >= Length::ZERO && size.cost >= Money::ZERO
    };
    match sizes.iter().position(|size| !sound(size)) {
        Some(index) => Err(Fault::Size(index)),
        None => Ok(()),
    }
}
