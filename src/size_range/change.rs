//! Effect of dropping or adding a size.

use crate::choose::control::Control;
use crate::length::Length;

use super::{Reach, Rule, SizeRangeError, StockedSize, Targets};

/// Sums over the targets that are met before and after a change.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Tally {
    /// Pieces.
    pub pieces: u64,
    /// Sum of the guards: the part of the windows taken up by errors.
    pub guard: Length,
}

/// Effect of a change of the sizes on the reach.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// Reach after the change.
    pub after: Reach,
    /// Targets that are no longer met.
    pub lost: Vec<Length>,
    /// Targets that are newly met.
    pub gained: Vec<Length>,
    /// Number of targets met both before and after.
    pub both: usize,
    /// Sums over those targets before the change.
    pub before_sums: Tally,
    /// Sums over those targets after the change.
    pub after_sums: Tally,
}

impl Change {
    /// Change from one reach to another, of the same targets.
    fn between(before: &Reach, after: Reach) -> Change {
        let mut change = Change {
            lost: vec![],
            gained: vec![],
            both: 0,
            before_sums: Tally::default(),
            after_sums: Tally::default(),
            after,
        };
        let met = before.met.iter().zip(&change.after.met);
        for (target, met) in before.targets.iter().zip(met) {
            match met {
                (Some(before), Some(after)) => {
                    change.both += 1;
                    for (sums, met) in
                        [(&mut change.before_sums, before), (&mut change.after_sums, after)]
                    {
                        sums.pieces += u64::from(met.pieces);
                        sums.guard = sums.guard + met.guard;
                    }
                }
                (Some(_), None) => change.lost.push(target),
                (None, Some(_)) => change.gained.push(target),
                (None, None) => {}
            }
        }
        change
    }
}

/// Effect of dropping a size, by its index.
///
/// # Errors
/// As [`Reach::of`]; [`SizeRangeError::Size`] for an index that does not exist.
///
/// ```
/// use gapwright::length::{Length, Unit};
/// use gapwright::size_range::{WindowGuard, Rule, StockedSize, Targets, without};
/// let thou = |n: i64| Length::from_ticks(n * Unit::Thou.ticks());
/// let sizes = [1, 2, 5].map(|n| StockedSize::of(thou(n)));
/// let targets = Targets::new(thou(1), thou(5), thou(1))?;
/// let rule = Rule { pieces: 2, window: Length::ZERO, guard: WindowGuard::None };
/// let change = without(&sizes, 1, &targets, &rule)?;
/// assert_eq!(change.lost, [thou(3), thou(4)]);
/// // 1, 2 and 5 took one piece each and take 1, 2 and 1 now.
/// assert_eq!((change.both, change.before_sums.pieces, change.after_sums.pieces), (3, 3, 4));
/// # Ok::<(), gapwright::size_range::SizeRangeError>(())
/// ```
pub fn without(
    sizes: &[StockedSize],
    index: usize,
    targets: &Targets,
    rule: &Rule,
) -> Result<Change, SizeRangeError> {
    without_until(sizes, index, targets, rule, &Control::unlimited())
}

/// [`without`] under a control.
pub(crate) fn without_until(
    sizes: &[StockedSize],
    index: usize,
    targets: &Targets,
    rule: &Rule,
    control: &Control<'_>,
) -> Result<Change, SizeRangeError> {
    if index >= sizes.len() {
        return Err(SizeRangeError::Size(index));
    }
    let before = Reach::until(sizes, targets, rule, control)?;
    let mut rest = sizes.to_vec();
    rest.remove(index);
    let after = Reach::until(&rest, targets, rule, control)?;
    Ok(Change::between(&before, after))
}

/// Effect of adding a size.
///
/// # Errors
/// As [`Reach::of`].
pub fn with(
    sizes: &[StockedSize],
    size: StockedSize,
    targets: &Targets,
    rule: &Rule,
) -> Result<Change, SizeRangeError> {
    with_until(sizes, size, targets, rule, &Control::unlimited())
}

/// [`with`] under a control.
pub(crate) fn with_until(
    sizes: &[StockedSize],
    size: StockedSize,
    targets: &Targets,
    rule: &Rule,
    control: &Control<'_>,
) -> Result<Change, SizeRangeError> {
    let before = Reach::until(sizes, targets, rule, control)?;
    let mut all = sizes.to_vec();
    all.push(size);
    let after = Reach::until(&all, targets, rule, control)?;
    Ok(Change::between(&before, after))
}
