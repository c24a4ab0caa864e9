//! Drawers: the thicknesses of one kind and fit, the totals that they reach, and the fewest that would suffice.

use crate::choose::control::Control;
use crate::choose::windows;
use crate::decimal::{Millionths, Money};
use crate::job::Job;
use crate::length::Length;
use crate::policy::Acceptance;
use crate::problem::{Place, Problem, Problems};
use crate::pump::Pump;
use crate::reorder::ReorderOptions;
use crate::size_range::{
    self, Change, Choice, Reach, Rule, Selection, SizeRangeError, StockedSize, Targets, WindowGuard,
};
use crate::stack::Alike;
use crate::stock::Item;

/// Most parts of the search for the best sizes that are examined.
const EFFORT: u64 = 20_000;

/// Totals that a drawer must reach.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ShelfTargets {
    /// Range of pack totals, in steps.
    pub targets: Targets,
    /// Most pieces, the window and its guard.
    pub rule: Rule,
}

/// Drawer of one kind and fit.
#[derive(Debug, Clone, PartialEq)]
pub struct Shelf {
    /// Kind of piece.
    pub kind: String,
    /// Fit code, as the stock spells it first.
    pub fit: String,
    /// Totals that it must reach.
    pub asked: ShelfTargets,
    /// Its items, by index: those on hand today, then the others in stock order.
    pub items: Vec<usize>,
    /// Range reached by the thicknesses on hand today.
    pub today: Reach,
    /// Range reached by those on hand after the purchase.
    pub after: Reach,
    /// Range reached by all thicknesses of the stock workbook, held or not.
    pub all: Reach,
    /// Fewest thicknesses with the reach of all, as indices into `items`.
    pub fewest: Choice,
    /// Cheapest ones, with one pack each.
    pub cheapest: Choice,
    /// Effect of dropping a thickness that is held after the purchase, or of adding one that is not: the index into
    /// `items`, whether it is held, and the change.
    pub changes: Vec<(usize, bool, Change)>,
}

/// Refuses ranges of drawers that no pump uses.
pub fn unknown_ranges(job: &Job, question: &ReorderOptions, problems: &mut Problems) {
    let drawers = drawers(job);
    for (kind, fit, ..) in &question.ranges {
        let key = crate::stock::folded(fit);
        let same = |drawer: &(String, String, Vec<usize>)| {
            drawer.0 == *kind && crate::stock::folded(&drawer.1) == key
        };
        if drawers.iter().any(same) {
            continue;
        }
        let there: Vec<String> =
            drawers.iter().take(12).map(|(kind, fit, _)| format!("{kind} {fit}")).collect();
        problems.add(Problem::new(
            Place::file("command line"),
            format!("--range for {kind} {fit}, which no pump of this outage uses"),
            "a drawer that some pump uses",
            format!("name one of them: {}", there.join(", ")),
        ));
    }
}

/// Kinds and fits of the pumps' packs, with the items that can go there, each once in the order of the stock.
pub fn drawers(job: &Job) -> Vec<(String, String, Vec<usize>)> {
    let mut drawers: Vec<(String, String, Vec<usize>)> = Vec::new();
    for (index, item) in job.stock.iter().enumerate() {
        if item.size.is_none() || item.cut.is_some() {
            continue;
        }
        let used = job.pumps.iter().any(|pump| {
            let mut places = job.model_of(pump).packs.iter().zip(&pump.fits);
            places.any(|(pack, fit)| pack.kind == item.kind && *fit == item.fit)
        });
        let same = |d: &&mut (String, String, Vec<usize>)| {
            d.0 == item.kind && crate::stock::folded(&d.1) == item.fit.key()
        };
        match drawers.iter_mut().find(same) {
            Some((_, _, items)) => items.push(index),
            None if used => {
                drawers.push((item.kind.clone(), item.fit.as_str().into(), vec![index]));
            }
            None => {}
        }
    }
    drawers
}

/// Pump with a range about the target for every requirement that has a limit on one side only: without, its totals would
/// run to the thickest pack.
fn with_ranges(pump: &Pump) -> Pump {
    let mut pump = pump.clone();
    for requirement in &mut pump.requirements {
        requirement.form = requirement.form.clone().mirrored();
    }
    pump
}

/// Totals that the pumps of this outage need from a drawer: from the least to the greatest middle of the range that a
/// pump allows, half the narrowest allowance to either side, and the most pieces of the place that takes fewest.
/// `None` if no pump states a need.
pub fn asked_by_pumps(job: &Job, kind: &str, fit: &str, step: Length) -> Option<ShelfTargets> {
    let plenty: Vec<u32> = job.stock.iter().map(|item| item.on_hand.max(100)).collect();
    let fit = crate::stock::folded(fit);
    let mut range: Option<(i64, i64)> = None;
    let (mut window, mut pieces) = (i64::MAX, u32::MAX);
    for pump in &job.pumps {
        let places = job.model_of(pump).packs.iter().zip(&pump.fits);
        let pump = &with_ranges(pump);
        for ((pack, code), (low, high)) in places.zip(windows(job, pump, &plenty)) {
            if pack.kind != kind || code.key() != fit || low > high {
                continue;
            }
            let middle = low + (high - low) / 2;
            let (least, most) = range.unwrap_or((middle, middle));
            range = Some((least.min(middle), most.max(middle)));
            window = window.min((high - low) / 2);
            pieces = pieces.min(pack.most_pieces);
        }
    }
    let (least, most) = range?;
    let step_ticks = step.ticks().max(1);
    // Outwards to whole steps.
    let low = least.div_euclid(step_ticks) * step_ticks;
    let high = -(-most).div_euclid(step_ticks) * step_ticks;
    let targets =
        Targets::new(Length::from_ticks(low.max(0)), Length::from_ticks(high.max(0)), step).ok()?;
    Some(ShelfTargets {
        targets,
        rule: Rule {
            pieces: pieces.clamp(1, size_range::MOST_PIECES),
            window: Length::from_ticks(window),
            guard: match job.policy.acceptance {
                Acceptance::WorstCase => WindowGuard::WorstCase,
                // The deduction for an expanded uncertainty is near the root of the squares where pieces err apart.
                Acceptance::Expanded if job.policy.alike == Alike::Share(Millionths::ZERO) => {
                    WindowGuard::RootSumSquare
                }
                Acceptance::Expanded => WindowGuard::WorstCase,
                Acceptance::Nominal => WindowGuard::None,
            },
        },
    })
}

fn size(item: &Item) -> Option<StockedSize> {
    let size = item.size?;
    let pack = i64::from(item.carton_qty);
    // Without a price it counts as free, which is reported next to the cost.
    Some(StockedSize {
        thickness: size.thickness,
        tolerance: size.worst().plus.max(size.worst().minus),
        count: None,
        cost: Money::from_raw(item.unit_cost.raw().saturating_mul(pack)),
    })
}

/// Calculates a drawer; `held` marks the items that are there after the purchase.
///
/// Every thickness counts as available in any number: the question is which to hold, not how many.
///
/// # Errors
/// As [`Reach::of`] and [`size_range::select`].
pub fn shelf(
    job: &Job,
    (kind, fit, items): (String, String, Vec<usize>),
    asked: ShelfTargets,
    held: impl Fn(usize) -> bool,
    control: &Control<'_>,
) -> Result<Shelf, SizeRangeError> {
    let sizes: Vec<StockedSize> = items.iter().filter_map(|&i| size(&job.stock[i])).collect();
    let of = |wanted: &dyn Fn(usize) -> bool| -> Vec<StockedSize> {
        let pairs = items.iter().zip(&sizes);
        pairs.filter(|(item, _)| wanted(**item)).map(|(_, size)| *size).collect()
    };
    let ShelfTargets { targets, rule } = asked;
    let today = |item: usize| job.stock[item].available() > 0;
    let after = of(&held);
    let mut changes = Vec::new();
    let mut at = 0;
    for (index, &item) in items.iter().enumerate() {
        if held(item) {
            let change = size_range::without_until(&after, at, &targets, &rule, control)?;
            changes.push((index, true, change));
            at += 1;
        } else {
            changes.push((
                index,
                false,
                size_range::with_until(&after, sizes[index], &targets, &rule, control)?,
            ));
        }
    }
    let select = |aim| size_range::select(&sizes, &targets, &rule, aim, EFFORT, control);
    let reach = |sizes: &[StockedSize]| Reach::until(sizes, &targets, &rule, control);
    Ok(Shelf {
        today: reach(&of(&today))?,
        after: reach(&after)?,
        all: reach(&sizes)?,
        fewest: select(Selection::Fewest)?,
        cheapest: select(Selection::LeastCost)?,
        changes,
        kind,
        fit,
        asked,
        items,
    })
}
