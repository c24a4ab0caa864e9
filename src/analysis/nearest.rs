//! Nearest kits of pumps that are not fit to assemble: the pieces that miss the limits by least.

use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use rayon::prelude::*;

use crate::choose::choose;
use crate::choose::control::{Control, Looks};
use crate::decimal::Millionths;
use crate::job::{Job, Parts};
use crate::length::Length;
use crate::model::Form;
use crate::narrow::narrow;
use crate::plan::{Cause, Kit, PackPick, Plan, Shortfall};

/// Most work on one part of one pump, in looks at the control: some seconds, and no clock, so that a plan comes out alike
/// on any machine.
const LOOKS: u64 = 2_000;

/// Work on all pumps of a plan, in looks: no pump is begun once so much is done. Mostly it is some seconds and a thousand
/// pumps; where looks take long, a quarter of the time limit ends it first.
const LOOKS_IN_ALL: u64 = 500_000;

/// Pumps that are worked on at a time.
const AT_A_TIME: usize = 16;

/// Work done on a pump, in looks.
#[derive(Debug, Default)]
pub(super) struct Spent(AtomicU64);

impl Spent {
    /// Does a part of the work under a control that ends it after so many looks.
    pub(super) fn on<T>(&self, part: impl FnOnce(&Control<'_>) -> T) -> T {
        let looks = Looks::stop_at(LOOKS);
        let done = part(&Control::unlimited().counted(&looks));
        self.0.fetch_add(looks.count(), Ordering::Relaxed);
        done
    }
}

/// Results of the pumps that the work allows, the first ones first.
pub(super) fn as_far_as_allowed<P: Sync, T: Send>(
    job: &Job,
    pumps: &[P],
    one: impl Fn(&P, &Spent) -> T + Sync,
) -> Vec<T> {
    let (mut done, mut spent) = (Vec::new(), 0);
    let (began, most) = (Instant::now(), Duration::from_secs(job.policy.time_limit.into()) / 4);
    for some in pumps.chunks(AT_A_TIME) {
        if spent >= LOOKS_IN_ALL || !done.is_empty() && began.elapsed() > most {
            break;
        }
        let worked = some.par_iter().map(|pump| {
            let spent = Spent::default();
            (one(pump, &spent), spent.0.into_inner())
        });
        for (result, looks) in worked.collect::<Vec<(T, u64)>>() {
            done.push(result);
            spent += looks;
        }
    }
    done
}

/// A job of the pieces that one pump could have, without the pump: a drawer of thousands is not looked through again and
/// again.
pub(super) struct Alone {
    /// Its items, by the stock of the whole job.
    pub(super) items: Vec<usize>,
    pub(super) parts: Parts,
}

impl Alone {
    /// Pieces for a pump out of those that are left when these pieces (by the stock) and plates are taken.
    pub(super) fn of(job: &Job, pump: usize, [issued, plates]: &[Vec<u32>; 2]) -> Alone {
        let own = &job.pumps[pump];
        let places = job.model_of(own).packs.iter().zip(&own.fits);
        let mut items: Vec<usize> = places.flat_map(|(pack, fit)| job.offered(pack, fit)).collect();
        items.sort_unstable();
        items.dedup();
        let stock = items.iter().map(|&item| {
            let mut lot = job.stock[item].clone();
            lot.on_hand = lot.on_hand.saturating_sub(issued[item]);
            lot
        });
        let cut = job.plates.iter().zip(plates).map(|(plate, cut)| {
            let mut plate = plate.clone();
            plate.on_hand = plate.on_hand.saturating_sub(*cut);
            plate
        });
        let parts = Parts {
            stock: stock.collect(),
            plates: cut.collect(),
            models: job.models.clone(),
            policy: job.policy.clone(),
            gauges: job.gauges.clone(),
            ..Parts::default()
        };
        Alone { items, parts }
    }
}

/// Pump that is not fit to assemble.
#[derive(Debug, Clone, PartialEq)]
pub struct NotFit {
    /// Index of the pump in the job.
    pub pump: usize,
    /// Reasons; none where they are not known.
    pub shortfalls: Vec<Shortfall>,
    /// Pieces of the nearest kit out of what is left; `None` where there is none within any reach, or where it was not
    /// worked out.
    pub nearest: Option<Vec<PackPick>>,
}

/// Pumps of a plan that are not fit to assemble, each with its nearest kit out of the pieces that the plan leaves.
pub fn not_fit(job: &Job, plan: &Plan) -> Vec<NotFit> {
    let short = plan.kits.iter().enumerate().filter_map(|(pump, kit)| match kit {
        Kit::Short(shortfalls) => Some((pump, shortfalls.clone())),
        Kit::Served(_) => None,
    });
    if plan.cures.is_empty() {
        let taken = [plan.issued(job), plan.plates_cut(job)];
        return nearest_of(job, short, &taken);
    }
    // Worked out with the cures.
    let known = |pump: usize| plan.cures.iter().find(|cure| cure.pump == pump)?.nearest.clone();
    let one = |(pump, shortfalls): (usize, Vec<Shortfall>)| {
        let nearest = not_proven(&shortfalls).or_else(|| known(pump));
        NotFit { pump, nearest, shortfalls }
    };
    short.map(one).collect()
}

/// These pumps, each with its nearest kit out of what is left when these pieces (by the stock) and plates are taken.
pub fn nearest_of(
    job: &Job,
    short: impl IntoIterator<Item = (usize, Vec<Shortfall>)>,
    taken: &[Vec<u32>; 2],
) -> Vec<NotFit> {
    let short: Vec<(usize, Vec<Shortfall>)> = short.into_iter().collect();
    let mut found = as_far_as_allowed(job, &short, |(pump, shortfalls), spent| {
        nearest(job, *pump, shortfalls, taken, spent)
    });
    found.resize(short.len(), None);
    let kits = short.into_iter().zip(found);
    kits.map(|((pump, shortfalls), nearest)| NotFit { pump, shortfalls, nearest }).collect()
}

/// Nearest kit of a short pump.
pub(super) fn nearest(
    job: &Job,
    pump: usize,
    shortfalls: &[Shortfall],
    taken: &[Vec<u32>; 2],
    spent: &Spent,
) -> Option<Vec<PackPick>> {
    not_proven(shortfalls).or_else(|| spent.on(|control| nearest_kit(job, pump, taken, control)))
}

/// Kit that is within its limits nominally, if there is one: no other is looked for.
fn not_proven(shortfalls: &[Shortfall]) -> Option<Vec<PackPick>> {
    shortfalls.iter().find_map(|short| match &short.cause {
        Cause::NotProven { packs } => Some(packs.clone()),
        _ => None,
    })
}

/// Kit with the least of the greatest misses, each measured in the width between its limits, to one part in 64: all
/// limits are moved apart alike until there is a kit. Our own measure, no source.
fn nearest_kit(
    job: &Job,
    pump: usize,
    taken: &[Vec<u32>; 2],
    control: &Control<'_>,
) -> Option<Vec<PackPick>> {
    /// Widening by so many parts, and the most of them.
    const PART: i64 = 256;
    const WIDEST: i64 = 1_024 * PART;
    let own = &job.pumps[pump];
    let Alone { items, parts: alone } = Alone::of(job, pump, taken);
    let within = |parts: i64| -> Option<Vec<PackPick>> {
        let mut wider = own.clone();
        for requirement in &mut wider.requirements {
            widen(&mut requirement.form, parts, PART);
        }
        let parts = Parts { pumps: vec![wider], ..alone.clone() };
        // Not checked again: an allowance below zero is a gasket thinner than its gap, which no model may ask for.
        let plan = choose(&Job::of_checked(parts), control).ok()?;
        match plan.kits.into_iter().next() {
            Some(Kit::Served(packs)) => Some(packs),
            _ => None,
        }
    };
    let (mut none, mut parts) = (0, PART / 16);
    let mut found = loop {
        match within(parts) {
            Some(kit) => break kit,
            None if parts >= WIDEST => return None,
            None => (none, parts) = (parts, 2 * parts),
        }
    };
    while parts - none > (parts / 64).max(1) {
        let middle = none + (parts - none) / 2;
        match within(middle) {
            Some(kit) => (parts, found) = (middle, kit),
            None => none = middle,
        }
    }
    for pick in found.iter_mut().flat_map(|pack| &mut pack.picks) {
        pick.item = items[pick.item];
    }
    Some(found)
}

/// Moves the limits of a requirement outwards by so many of these parts of the width between them, or of twice the
/// distance of a single one from the target; an allowance in steps of 0.01 %, and not so far that the gasket is gone.
fn widen(form: &mut Form, parts: i64, of: i64) {
    let share = |width: i64| narrow::<i64>(i128::from(width) * i128::from(parts) / i128::from(of));
    match (form.clone().mirrored(), form) {
        (
            Form::Linear { lower: Some(least), upper: Some(most), .. },
            Form::Linear { lower, upper, .. },
        ) => {
            let by = Length::from_ticks(share((most - least).ticks().max(1)));
            (*lower, *upper) = (lower.map(|lower| lower - by), upper.map(|upper| upper + by));
        }
        (
            Form::GasketFill { lower: least, upper: Some(most), .. },
            Form::GasketFill { lower, upper, .. },
        ) => {
            const STEP: i64 = 100;
            const GONE: Millionths = Millionths::from_raw(-990_000);
            let by = Millionths::from_raw(share((most - least).raw().max(STEP)) / STEP * STEP);
            (*lower, *upper) = ((*lower - by).max(GONE), upper.map(|upper| upper + by));
        }
        // Mirrored, it has both.
        _ => {}
    }
}
