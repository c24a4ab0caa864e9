//! Pieces to hold back for the pumps that are not measured.
//!
//! # Decisions
//!
//! - They are the trolley that [`provision()`](super::provision()) finds for these pumps: shared between them, it is far smaller than
//!   their safe kits together, and whatever is held back is withheld from the plan. To weigh every drawn outage in the plan
//!   itself would be a problem many times as large.
//! - It is looked for in what the plan leaves: then it costs nothing. Only where that kits them in less than 95 % of outages,
//!   and the whole stock would in more, the plan is made again so as to leave as much as it can of a trolley out of the
//!   whole stock; the trolley is then chosen anew out of what that leaves, if that is better. Held back in part, a trolley
//!   may be of no use at all.
//! - A piece is worth as many outages as it is needed in: those that the trolley was chosen for, with the kits out of it.
//!   How often they will do is counted on other outages (`left`).
//! - Pieces are held back one by one: neither those cut from plates nor those out of packs that are spoiled once opened. The
//!   trolley is chosen beside the plates that are left whole, shared out evenly among the shapes.

use rayon::prelude::*;

use crate::accounting::by_pack;
use crate::choose::choose;
use crate::choose::control::Control;
use crate::forecast::{Expected, Forecast};
use crate::job::{HoldBack, Job};
use crate::narrow::narrow;
use crate::plan::{Plan, Uncounted};

use super::left::{Outlook, ahead, drawn, left, shapes, uncounted, untouched};
use super::scenarios::Purpose;
use super::serve::Open;
use super::{ProvisionError, ProvisionOptions, SetAside, provision};

/// Changes of ways to kit an outage out of the trolley.
const MOVES: u32 = 400;

/// Ways to kit a pump that the search for its safe kit examines: these are only where the trolley begins.
const EFFORT: u64 = 2_000_000;

/// Pieces to hold back beside a plan that holds none back; none where nothing is known ahead of any pump.
///
/// # Errors
/// [`Uncounted`]: why there is no answer.
pub fn to_hold_back(
    job: &Job,
    plan: &Plan,
    control: &Control<'_>,
) -> Result<Vec<HoldBack>, Uncounted> {
    let Some(outlook) = ahead(job) else { return Ok(Vec::new()) };
    let control = &control.share().quick(usize::MAX);
    let _lists = control.lists();
    let question = question(&outlook.forecast);
    let (ways, scenarios) =
        drawn(&outlook.forecast, (Purpose::Choosing, question.scenarios), control)
            .map_err(uncounted)?;
    let shapes = shapes(job, &ways.wanted());
    let all = untouched(job, &shapes);
    let open = Open::within(&ways, &scenarios, &all, control);
    let kitted = |there: &[u32]| {
        let open = open.other(there);
        let kitted = (0..scenarios.len())
            .into_par_iter()
            .filter(|&number| open.kits(scenarios.of(number), there, MOVES).is_some());
        narrow::<u32>(kitted.count())
    };
    let mut there = left(job, plan, &shapes);
    let free = kitted(&there);
    if free < question.required(question.scenarios) && free < kitted(&all) {
        let wished = trolley(&outlook, all, control).map_err(uncounted)?;
        let wishing = job.clone().holding_back(wished);
        let other = choose(&wishing, control).map_err(|error| uncounted(error.into()))?;
        let dear = left(&wishing, &other, &shapes);
        if kitted(&dear) > free {
            there = dear;
        }
    }
    trolley(&outlook, there, control).map_err(uncounted)
}

/// Options of the trolley.
fn question(forecast: &Forecast) -> ProvisionOptions {
    let seed = forecast.job().policy.seed;
    ProvisionOptions { seed, effort: EFFORT, ..ProvisionOptions::new(forecast.usual_step()) }
}

/// Trolley out of these pieces, one by one with the worth of each.
fn trolley(
    outlook: &Outlook,
    there: Vec<u32>,
    control: &Control<'_>,
) -> Result<Vec<HoldBack>, ProvisionError> {
    let (job, expected): (Job, Vec<Vec<Option<Expected>>>) = outlook.forecast.clone().into_parts();
    let mut parts = job.clone().into_parts();
    for (item, (lot, there)) in parts.stock.iter_mut().zip(there).enumerate() {
        (lot.on_hand, lot.reserved) = (if by_pack(&job, item) { 0 } else { there }, 0);
    }
    let forecast = Forecast::of_checked(Job::of_checked(parts), expected);
    let question = question(&forecast);
    let found = provision(&forecast, &question, control)?;
    one_by_one(&forecast, &found.trolley.pieces, &question, control)
}

/// Pieces of a trolley one by one, each with the outages in which it is needed.
fn one_by_one(
    forecast: &Forecast,
    trolley: &[SetAside],
    question: &ProvisionOptions,
    control: &Control<'_>,
) -> Result<Vec<HoldBack>, ProvisionError> {
    let lists = control.lists();
    let (ways, scenarios) = drawn(forecast, (Purpose::Choosing, question.scenarios), control)?;
    let mut there = vec![0; ways.available.len()];
    trolley.iter().for_each(|pieces| there[pieces.item] = pieces.count);
    let open = Open::within(&ways, &scenarios, &there, control);
    let used: Vec<Vec<u32>> = (0..scenarios.len())
        .into_par_iter()
        .filter_map(|number| Some(open.kits(scenarios.of(number), &there, MOVES)?.used))
        .collect();
    let needed = |item: usize, number: u32| {
        let outages = used.iter().filter(|used| used[item] > number).count();
        u32::try_from(outages).unwrap_or(u32::MAX).max(1)
    };
    let whole = trolley.iter().filter(|of| forecast.job().stock[of.item].cut.is_none());
    let pieces =
        whole.flat_map(|&SetAside { item, count }| (0..count).map(move |number| (item, number)));
    let pieces = pieces.map(|(item, number)| HoldBack { item, worth: needed(item, number) });
    let pieces = pieces.collect();
    drop(lists);
    Ok(pieces)
}
