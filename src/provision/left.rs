//! Pieces that a plan leaves for the pumps that are not measured: a count over outages drawn at random.
//!
//! # Decisions
//!
//! - Their dimensions are drawn as for the service of a trolley, from the seed of the policy, in outages of their own: none
//!   that a trolley was chosen for or counted on. An outage counts if all of
//!   them can be kitted from what the plan leaves, shared out as is best for them; a pump by itself counts where it has a
//!   kit then. What is not decided counts as not kitted, and the interval allows for it.
//! - A piece is named as used up if the plan takes one, and the count rises once one more lies in the bin. Items are
//!   ranked on some of the outages; the figure beside a name is counted on all of them.
//! - The whole plates that a plan leaves may be cut in many ways, which are not examined here. An outage is kitted for certain
//!   if they do when they are shared out evenly among the shapes, and for certain not if they do not even when each shape
//!   has all of them; between the two it is not decided.

use rayon::prelude::*;

use crate::accounting::spoiled;
use crate::choose::ChooseError;
use crate::choose::control::{Control, Pace};
use crate::cutting::PlateLot;
use crate::forecast::{Expected, Forecast};
use crate::job::{Job, Parts, PumpAhead};
use crate::narrow::narrow;
use crate::plan::{LeftCount, Plan, Uncounted};
use crate::pump::Pump;

use super::patterns::Ways;
use super::scenarios::{Purpose, Scenarios};
use super::serve::Open;
use super::service::{Verdict, judge};
use super::{GRACE, ProvisionError, cases, patterns};

/// Outages that are drawn.
pub const DRAWS: u32 = 1_000;

/// Outages on which the items are ranked.
const RANKED_ON: usize = 200;

/// Most items that are named.
const MOST_NAMED: usize = 3;

/// Plan with the count of what it leaves, where something is known ahead of a pump that is not measured.
pub fn with_left(job: &Job, mut plan: Plan, control: &Control<'_>) -> Plan {
    if let Some(outlook) = ahead(job) {
        let control = control.share().quick(usize::MAX);
        plan.left = Some(count(job, &outlook, &plan, DRAWS, &control));
    }
    plan
}

/// The pumps that are not measured and known ahead, by their place among those of the job, with the whole stock.
pub(super) struct Outlook {
    pub(super) forecast: Forecast,
    pumps: Vec<usize>,
}

/// Outlook of a job; `None` where no pump is known ahead.
pub(super) fn ahead(job: &Job) -> Option<Outlook> {
    let known = job.not_measured.iter().enumerate();
    let known = known.filter_map(|(at, pump)| Some((at, pump.ahead.as_deref().ok()?)));
    let (places, known): (Vec<usize>, Vec<&PumpAhead>) = known.unzip();
    let (pumps, expected): (Vec<Pump>, Vec<Vec<Option<Expected>>>) =
        known.into_iter().map(|one| (one.pump.clone(), one.expected.clone())).unzip();
    let parts = Parts { pumps, standing: Vec::new(), ..job.clone().into_parts() };
    let forecast = Forecast::of_checked(Job::of_checked(parts), expected);
    (!places.is_empty()).then_some(Outlook { forecast, pumps: places })
}

/// Counts what a plan leaves for pumps of the outlook, on so many drawn outages.
fn count(
    job: &Job,
    outlook: &Outlook,
    plan: &Plan,
    draws: u32,
    control: &Control<'_>,
) -> Result<LeftCount, Uncounted> {
    let lists = control.lists();
    let (ways, scenarios) =
        drawn(&outlook.forecast, (Purpose::Leaving, draws), control).map_err(uncounted)?;
    let issued = plan.issued(job);
    let wanted = ways.wanted();
    let shapes = shapes(job, &wanted);
    let all = untouched(job, &shapes);
    let most = left(job, plan, &vec![1; job.plates.len()]);
    let left = left(job, plan, &shapes);
    let open = Open::within(&ways, &scenarios, &left, control);
    let widest = open.other(&most);
    let numbers: Vec<usize> = (0..scenarios.len()).collect();
    let verdicts: Vec<Verdict> = numbers
        .par_iter()
        .map(|&number| {
            let classes = scenarios.of(number);
            match judge(&open, &left, classes, control) {
                // Another way to share the plates out may do.
                Verdict::Short(missed)
                    if most != left
                        && !matches!(
                            judge(&widest, &most, classes, control),
                            Verdict::Short(_)
                        ) =>
                {
                    Verdict::Undecided(missed)
                }
                verdict => verdict,
            }
        })
        .collect();
    let mut kitted = vec![draws; outlook.pumps.len()];
    let mut undecided = 0;
    for verdict in &verdicts {
        let missed = match verdict {
            Verdict::Served => continue,
            Verdict::Short(missed) => missed,
            Verdict::Undecided(missed) => {
                undecided += 1;
                missed
            }
        };
        missed.iter().for_each(|&pump| kitted[pump] -= 1);
    }
    let not: Vec<usize> =
        numbers.into_iter().filter(|&number| verdicts[number] != Verdict::Served).collect();
    let base = draws - narrow::<u32>(not.len());
    let kitted_from = |there: &[u32], of: &[usize]| -> u32 {
        let open = open.other(there);
        let kitted = of.par_iter().filter(|&&number| {
            let classes = scenarios.of(number);
            open.possible(classes) && judge(&open, there, classes, control) == Verdict::Served
        });
        narrow(kitted.count())
    };
    let one_more = |item: usize, of: &[usize]| {
        let mut there = left.clone();
        there[item] += 1;
        kitted_from(&there, of)
    };
    let some = &not[..not.len().min(RANKED_ON)];
    let mut ranked: Vec<(u32, usize)> = (0..job.stock.len())
        .filter(|&item| job.stock[item].cut.is_none())
        .filter(|&item| issued[item] > 0 && left[item] < all[item] && wanted[item])
        .map(|item| (one_more(item, some), item))
        .filter(|(raised, _)| *raised > 0)
        .collect();
    ranked.sort_by_key(|&(raised, item)| (std::cmp::Reverse(raised), item));
    let named = ranked.into_iter().take(MOST_NAMED);
    let mut used_up: Vec<(usize, u32)> =
        named.map(|(_, item)| (item, base + one_more(item, &not))).collect();
    used_up.sort_by_key(|&(item, kitted)| (std::cmp::Reverse(kitted), item));
    let without_plan = base + kitted_from(&all, &not);
    let every: Vec<usize> = (0..scenarios.len()).collect();
    let held_alone = (!job.hold_back.is_empty()).then(|| {
        let mut alone = plan.held_back(job);
        // Those cut from plates are not held back, and counted as left.
        let cut = (0..alone.len()).filter(|&item| job.stock[item].cut.is_some());
        cut.for_each(|item| alone[item] = left[item]);
        kitted_from(&alone, &every)
    });
    drop(lists);
    Ok(LeftCount {
        draws,
        seed: job.policy.seed,
        kitted: base,
        undecided,
        without_plan,
        held_alone,
        pumps: outlook.pumps.iter().copied().zip(kitted).collect(),
        used_up,
    })
}

/// Pieces of each item that are there before any plan, with whole plates shared out among so many shapes, by plate.
pub(super) fn untouched(job: &Job, shapes: &[u32]) -> Vec<u32> {
    let whole: Vec<u32> = job.plates.iter().map(PlateLot::available).collect();
    let there = job.stock.iter().enumerate().map(|(item, lot)| match lot.cut {
        Some(_) => from_plates(job, item, &whole, shapes),
        None => lot.available(),
    });
    there.collect()
}

/// Pieces of each item that a plan leaves, those that it holds back among them, with whole plates shared out among so many
/// shapes, by plate.
pub(super) fn left(job: &Job, plan: &Plan, shapes: &[u32]) -> Vec<u32> {
    let (issued, put_back) = (plan.issued(job), plan.put_back(job));
    let lots = job.plates.iter().zip(plan.plates_cut(job));
    let whole: Vec<u32> = lots.map(|(lot, cut)| lot.available().saturating_sub(cut)).collect();
    let left = job.stock.iter().enumerate().map(|(item, lot)| match lot.cut {
        Some(_) => put_back[item].saturating_add(from_plates(job, item, &whole, shapes)),
        None => lot.available().saturating_sub(issued[item] + spoiled(job, item, issued[item])),
    });
    left.collect()
}

/// Pieces of an item from its share of the whole plates, by plate.
fn from_plates(job: &Job, item: usize, whole: &[u32], shapes: &[u32]) -> u32 {
    let Some(cut) = job.stock[item].cut else { return 0 };
    let share = whole[cut.plate] / shapes[cut.plate].max(1);
    share.saturating_mul(job.plates[cut.plate].yields(cut.outside))
}

/// Number of shapes that the pumps can take of each plate.
pub(super) fn shapes(job: &Job, wanted: &[bool]) -> Vec<u32> {
    let mut shapes = vec![0; job.plates.len()];
    for (lot, _) in job.stock.iter().zip(wanted).filter(|(_, wanted)| **wanted) {
        if let Some(cut) = lot.cut {
            shapes[cut.plate] += 1;
        }
    }
    shapes
}

/// Why there is no answer.
pub(super) fn uncounted(error: ProvisionError) -> Uncounted {
    match error {
        ProvisionError::Stopped(stop) => Uncounted::Stopped(stop),
        ProvisionError::Choose(ChooseError::NoRoom(_)) | ProvisionError::NoRoom(_) => {
            Uncounted::Memory
        }
        _ => Uncounted::TooMany,
    }
}

/// The ways to kit the pumps of a forecast out of its whole stock, in outages drawn for a purpose.
pub(super) fn drawn(
    forecast: &Forecast,
    (purpose, number): (Purpose, u32),
    control: &Control<'_>,
) -> Result<(Ways, Scenarios), ProvisionError> {
    let step = forecast.usual_step();
    let (views, mut register) = cases::cases(forecast, step)?;
    let mut pace = Pace::at_least(control, GRACE);
    let of = (forecast.job().policy.seed, purpose, number, step);
    let scenarios = Scenarios::draw(forecast, &views, &mut register, of, &mut pace)
        .map_err(ProvisionError::Stopped)?;
    control.keep(register.bytes()).map_err(patterns::no_room)?;
    Ok((patterns::list(forecast.job(), &register, control)?, scenarios))
}
