//! Drawers: the thicknesses of one kind and fit, what they reach, and which would suffice.

use crate::choose::watch::Watch;
use crate::choose::windows;
use crate::decimal::Money;
use crate::job::Job;
use crate::length::Length;
use crate::policy::Acceptance;
use crate::problem::{Place, Problem, Problems};
use crate::reach::{self, Aim, Change, Choice, Fault, Guard, Reach, Rule, Size, Targets};
use crate::reorder::Question;
use crate::stock::Item;

/// Parts of the search for the best sizes that are looked into.
const EFFORT: u64 = 20_000;

/// What a drawer is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Asked {
    /// The range of pack totals, in steps.
    pub targets: Targets,
    /// The most pieces, the window and its guard.
    pub rule: Rule,
}

/// The drawer of one kind and fit.
#[derive(Debug, Clone, PartialEq)]
pub struct Shelf {
    /// Kind of piece.
    pub kind: String,
    /// Fit code, as the stock has it first.
    pub fit: String,
    /// What it is asked for.
    pub asked: Asked,
    /// Items of it, by index: those on hand today, then by stock order the others.
    pub items: Vec<usize>,
    /// What the thicknesses on hand today reach.
    pub today: Reach,
    /// What those on hand after the buy reach.
    pub after: Reach,
    /// What all thicknesses of the stock workbook reach, held or not.
    pub all: Reach,
    /// The fewest thicknesses that reach as much as all, as indices into `items`.
    pub fewest: Choice,
    /// Those that cost least, a pack of each.
    pub cheapest: Choice,
    /// What dropping one that is held after the buy does, or adding one that is not: the index into
    /// `items`, whether it is held, and the change.
    pub changes: Vec<(usize, bool, Change)>,
}

/// Refuses ranges of drawers that no pump uses.
pub fn unknown_ranges(job: &Job, question: &Question, problems: &mut Problems) {
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

/// The kinds and fits of the pumps' packs, with the items that can go there, each once in the order of
/// the stock.
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

/// What the pumps of this outage ask a drawer for: from the least to the greatest total in the middle
/// of what a pump allows, half the narrowest allowance to either side, and the most pieces of the
/// place that takes fewest. `None` if no pump says what it wants.
pub fn asked_by_pumps(job: &Job, kind: &str, fit: &str, step: Length) -> Option<Asked> {
    let plenty: Vec<u32> = job.stock.iter().map(|item| item.on_hand.max(100)).collect();
    let fit = crate::stock::folded(fit);
    let mut range: Option<(i64, i64)> = None;
    let (mut window, mut pieces) = (i64::MAX, u32::MAX);
    for pump in &job.pumps {
        let places = job.model_of(pump).packs.iter().zip(&pump.fits);
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
    Some(Asked {
        targets,
        rule: Rule {
            pieces: pieces.clamp(1, reach::MOST_PIECES),
            window: Length::from_ticks(window),
            guard: match job.policy.acceptance {
                Acceptance::WorstCase => Guard::WorstCase,
                // What an expanded uncertainty takes is near the root of the squares.
                Acceptance::Expanded => Guard::RootSumSquare,
                Acceptance::Nominal => Guard::None,
            },
        },
    })
}

fn size(item: &Item) -> Option<Size> {
    let size = item.size?;
    let pack = i64::from(item.pack_qty);
    // Without a price it counts as free, which is said where the cost is shown.
    Some(Size {
        thickness: size.thickness,
        tolerance: size.tolerance.plus.max(size.tolerance.minus),
        count: None,
        cost: Money::from_raw(item.unit_cost.raw().saturating_mul(pack)),
    })
}

/// Works a drawer out: `held` tells which items lie there after the buy.
///
/// Every thickness counts as there in any number: the question is which to hold, not how many.
///
/// # Errors
/// As [`Reach::of`] and [`reach::select`].
pub fn shelf(
    job: &Job,
    (kind, fit, items): (String, String, Vec<usize>),
    asked: Asked,
    held: impl Fn(usize) -> bool,
    watch: &Watch<'_>,
) -> Result<Shelf, Fault> {
    let sizes: Vec<Size> = items.iter().filter_map(|&i| size(&job.stock[i])).collect();
    let of = |wanted: &dyn Fn(usize) -> bool| -> Vec<Size> {
        let pairs = items.iter().zip(&sizes);
        pairs.filter(|(item, _)| wanted(**item)).map(|(_, size)| *size).collect()
    };
    let Asked { targets, rule } = asked;
    let today = |item: usize| job.stock[item].available() > 0;
    let after = of(&held);
    let mut changes = Vec::new();
    let mut at = 0;
    for (index, &item) in items.iter().enumerate() {
        if held(item) {
            let change = reach::without_until(&after, at, &targets, &rule, watch)?;
            changes.push((index, true, change));
            at += 1;
        } else {
            changes.push((
                index,
                false,
                reach::with_until(&after, sizes[index], &targets, &rule, watch)?,
            ));
        }
    }
    let select = |aim| reach::select(&sizes, &targets, &rule, aim, EFFORT, watch);
    let reach = |sizes: &[Size]| Reach::until(sizes, &targets, &rule, watch);
    Ok(Shelf {
        today: reach(&of(&today))?,
        after: reach(&after)?,
        all: reach(&sizes)?,
        fewest: select(Aim::Fewest)?,
        cheapest: select(Aim::LeastCost)?,
        changes,
        kind,
        fit,
        asked,
        items,
    })
}
