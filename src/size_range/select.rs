//! Choice of sizes out of a catalogue.
//!
//! # Decision
//!
//! The number of sizes and their cost are one weight, one more than all costs for each size: one search and one
//! bound prove both.

use crate::choose::control::{Control, Pace};
use crate::decimal::Money;
use crate::length::Length;
use crate::narrow::narrow;
use crate::plan::Stop;

use super::search::{Cover, members};
use super::supports::{self, Set, most_packs};
use super::table::TotalsTable;
use super::{GRACE, Reach, Rule, SizeRangeError, StockedSize, Targets};

/// Selection of the choice.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Selection {
    /// Fewest sizes, then least cost.
    Fewest,
    /// Least cost, then fewest sizes.
    LeastCost,
}

/// Set of sizes that reaches every target that the catalogue can reach.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Choice {
    /// Sizes, by their index in the catalogue, in its order.
    pub sizes: Vec<usize>,
    /// Cost of the sizes.
    pub cost: Money,
    /// Reach of the sizes: every target that the whole catalogue reaches. Its missed targets are those that
    /// no set of the catalogue's sizes meets.
    pub reach: Reach,
    /// Bound: no set that reaches as much has fewer sizes.
    pub least_sizes: usize,
    /// Bound: no set that reaches as much costs less.
    pub least_cost: Money,
    /// Whether it is proven that no set that reaches as much is better by the aim, its second part included.
    pub proven: bool,
    /// Nodes examined; zero where there are too many packs to list, and the bounds come from counting packs
    /// alone.
    pub nodes: u64,
    /// Reason that an unproven search ended, if it was not its effort.
    pub stop: Option<Stop>,
}

/// Most sets that improvement by exchange examines.
const MOST_EXCHANGES: u32 = 5_000;

/// Best sizes out of a catalogue: with at most the rule's pieces they reach every target that the whole
/// catalogue reaches.
///
/// A good set is found by adding, dropping and exchanging sizes. Then a best-first search takes and bars
/// sizes in turn. The weight still to be added is bounded from below by the wants of single targets, by
/// targets that have no size in common, and by the number of packs that so many sizes make. At most `effort`
/// nodes are examined: a count, not a time, so that the same question has the same answer. If there are too
/// many packs to list (three million within the range), only the first set and the bound by counting are
/// returned.
///
/// # Errors
/// As [`Reach::of`]; [`SizeRangeError::TooManySizes`].
///
/// ```
/// use gapwright::choose::control::Control;
/// use gapwright::length::{Length, Unit};
/// use gapwright::size_range::{Selection, WindowGuard, Rule, StockedSize, Targets, select};
/// let thou = |n: i64| Length::from_ticks(n * Unit::Thou.ticks());
/// let catalogue: Vec<StockedSize> = (1..=15).map(|n| StockedSize::of(thou(n))).collect();
/// let targets = Targets::new(thou(1), thou(15), thou(1))?;
/// let rule = Rule { pieces: 3, window: Length::ZERO, guard: WindowGuard::None };
/// let choice = select(&catalogue, &targets, &rule, Selection::Fewest, 10_000, &Control::unlimited())?;
/// // Three stamps on a letter, three denominations: 15 is the most (1, 4 and 5).
/// assert!(choice.proven && choice.reach.missed().is_empty());
/// assert_eq!(choice.sizes.len(), 3);
/// # Ok::<(), gapwright::size_range::SizeRangeError>(())
/// ```
pub fn select(
    catalogue: &[StockedSize],
    targets: &Targets,
    rule: &Rule,
    aim: Selection,
    effort: u64,
    control: &Control,
) -> Result<Choice, SizeRangeError> {
    if catalogue.len() > 128 {
        return Err(SizeRangeError::TooManySizes(catalogue.len()));
    }
    let whole = Reach::until(catalogue, targets, rule, control)?;
    let wanted: Vec<bool> = whole.met.iter().map(Option::is_some).collect();
    let weights = weights(catalogue, aim);
    let at_once = targets.at_once(rule);
    let listed = supports::list(catalogue, targets, rule, control).map(|mut supports| {
        // Targets that no pack meets are missed, and those that an empty pack meets want nothing.
        supports.retain(|sets| !sets.is_empty() && sets[0] != 0);
        supports
    });
    let pieces = rule.pieces;
    let cover =
        Cover { supports: listed.as_deref().unwrap_or(&[]), weights: &weights, at_once, pieces };
    let repair = Repair {
        cover: &cover,
        catalogue,
        targets,
        rule,
        wanted: &wanted,
        listed: listed.is_some(),
        control,
    };
    let start = repair.good_set();
    let (set, bound, nodes) = if listed.is_some() {
        let found = cover.search(start, effort, control);
        (found.set, found.bound, found.nodes)
    } else {
        (start, 0, 0)
    };
    let counted = by_counting(&whole, pieces, at_once);
    let mut light = weights.clone();
    light.sort_unstable();
    let bound = bound.max(light.iter().take(counted).sum());
    let all = i128::try_from(catalogue.len()).unwrap_or(0);
    let (least_sizes, least_cost) = match aim {
        Selection::Fewest => {
            let sizes = usize::try_from(bound / heavy(catalogue)).unwrap_or(0);
            (sizes.max(counted), 0)
        }
        Selection::LeastCost => (counted, bound / (all + 1)),
    };
    let least_cost = least_cost.max(cheapest(catalogue, least_sizes));
    let proven = bound >= cover.weigh(set);
    let sizes: Vec<usize> = members(set).collect();
    let chosen: Vec<StockedSize> = sizes.iter().map(|&index| catalogue[index]).collect();
    Ok(Choice {
        cost: chosen.iter().map(|size| size.cost).sum(),
        reach: Reach::until(&chosen, targets, rule, control)?,
        sizes,
        least_sizes,
        least_cost: Money::from_raw(narrow::<i64>(least_cost)),
        proven,
        nodes,
        stop: control.stop().filter(|_| !proven),
    })
}

/// Weight of each size: one number for both parts of the aim.
fn weights(catalogue: &[StockedSize], aim: Selection) -> Vec<i128> {
    let all = i128::try_from(catalogue.len()).unwrap_or(0);
    let cost = |size: &StockedSize| i128::from(size.cost.raw());
    let weight = |size: &StockedSize| match aim {
        Selection::Fewest => heavy(catalogue) + cost(size),
        Selection::LeastCost => cost(size) * (all + 1) + 1,
    };
    catalogue.iter().map(weight).collect()
}

/// Number above all costs together.
fn heavy(catalogue: &[StockedSize]) -> i128 {
    let costs = catalogue.iter().map(|size| i128::from(size.cost.raw()));
    costs.sum::<i128>() + 1
}

/// Least cost of `count` sizes.
fn cheapest(catalogue: &[StockedSize], count: usize) -> i128 {
    let mut costs: Vec<i128> = catalogue.iter().map(|s| s.cost.raw().into()).collect();
    costs.sort_unstable();
    costs.iter().take(count).sum()
}

/// Fewest sizes that make as many packs as needed.
fn by_counting(whole: &Reach, pieces: u32, at_once: u128) -> usize {
    // A target met without pieces needs no size.
    let wanted = whole.met.iter().flatten().filter(|met| met.pieces > 0);
    let wanted = wanted.count() as u128;
    let enough =
        |kinds: u128| (most_packs(kinds, pieces.into()) - 1).saturating_mul(at_once) >= wanted;
    let kinds = (0..=128_u128).find(|&kinds| enough(kinds)).unwrap_or(128);
    usize::try_from(kinds).unwrap_or(0)
}

/// Search for a good set, without any proof.
struct Repair<'a, 'w> {
    cover: &'a Cover<'a>,
    catalogue: &'a [StockedSize],
    targets: &'a Targets,
    rule: &'a Rule,
    wanted: &'a [bool],
    listed: bool,
    control: &'a Control<'w>,
}

impl Repair<'_, '_> {
    /// Number of targets met, of those that must be; `None` if the time ends first.
    fn met(&self, set: Set) -> Option<usize> {
        if self.listed {
            let supported = |sets: &&Vec<Set>| sets.iter().any(|support| support & !set == 0);
            return Some(self.cover.supports.iter().filter(supported).count());
        }
        let chosen: Vec<StockedSize> = members(set).map(|index| self.catalogue[index]).collect();
        let end: Length = self.targets.last() + self.rule.window;
        let mut pace = Pace::at_least(self.control, GRACE);
        // A coarser grain only makes the table smaller, so this fails only when the time ends.
        let table = TotalsTable::of(&chosen, end, self.rule, &mut pace).ok()?;
        let wanted = self.targets.iter().zip(self.wanted);
        let met = wanted
            .filter(|&(target, &wanted)| wanted && table.meet(target, self.rule).is_some())
            .count();
        Some(met)
    }

    /// Adds the size that meets most for its weight, drops sizes that are not needed, exchanges while that
    /// helps.
    fn good_set(&self) -> Set {
        let count = self.catalogue.len();
        let full = (0..count).fold(0, |set: Set, size| set | 1 << size);
        let Some(need) = self.met(full) else {
            return full;
        };
        let mut set: Set = 0;
        let mut met = self.met(set).unwrap_or(0);
        while met < need {
            let mut best: Option<(usize, usize)> = None;
            for size in members(full & !set) {
                let more = self.met(set | 1 << size).map_or(0, |all| all - met);
                // More targets for the weight, in whole numbers.
                let better = best.is_none_or(|(most, other)| {
                    let weigh = |more: usize, of: usize| {
                        i128::try_from(more).unwrap_or(0).saturating_mul(self.cover.weights[of])
                    };
                    weigh(more, other) > weigh(most, size)
                });
                if better {
                    best = Some((more, size));
                }
            }
            match best {
                Some((more, size)) if more > 0 && self.control.stop().is_none() => {
                    set |= 1 << size;
                    met += more;
                }
                // No single size helps, or the time ended: all of them do.
                _ => break,
            }
        }
        if met < need {
            set = full;
        }
        let mut left = MOST_EXCHANGES;
        loop {
            set = self.drop(set, need);
            match self.exchange(set, need, &mut left) {
                Some(better) => set = better,
                None => return set,
            }
        }
    }

    /// Set without the sizes that are not needed, the heaviest dropped first.
    fn drop(&self, mut set: Set, need: usize) -> Set {
        let mut order: Vec<usize> = members(set).collect();
        order.sort_by_key(|&size| std::cmp::Reverse(self.cover.weights[size]));
        for size in order {
            let rest = set & !(1 << size);
            if self.control.stop().is_none() && self.met(rest) == Some(need) {
                set = rest;
            }
        }
        set
    }

    /// Lighter set with one size in place of two, or of one.
    fn exchange(&self, set: Set, need: usize, left: &mut u32) -> Option<Set> {
        let inside: Vec<usize> = members(set).collect();
        for (position, &a) in inside.iter().enumerate() {
            for &b in &inside[..=position] {
                let rest = set & !(1 << a) & !(1 << b);
                for size in (0..self.catalogue.len()).filter(|&size| set & 1 << size == 0) {
                    let other = rest | 1 << size;
                    if self.cover.weigh(other) >= self.cover.weigh(set) {
                        continue;
                    }
                    if *left == 0 || self.control.stop().is_some() {
                        return None;
                    }
                    *left -= 1;
                    if self.met(other) == Some(need) {
                        return Some(other);
                    }
                }
            }
        }
        None
    }
}
