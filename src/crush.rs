//! How far gaskets are crushed in their places, against what their materials give way.
//!
//! A warning, never a reason not to kit a pump: the compressibility of a material holds for a test
//! load that the bolts of a cover need not come to.

use std::cmp::Ordering;

use itertools::Itertools;

use crate::accounting::stack;
use crate::decimal::Millionths;
use crate::job::Job;
use crate::length::Fine;
use crate::model::{Compressibility, Form, Term};
use crate::plan::{Kit, PackPick, Plan};
use crate::pump::Pump;
use crate::stack::extent;

/// How far the gasket of one requirement is crushed, for one of the lots that it is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Crush {
    /// The requirement's index among the pump's.
    pub requirement: usize,
    /// The item's index in the job's stock.
    pub item: usize,
    /// By how many percent of its free thickness, to the nearest millionth.
    pub percent: Millionths,
    /// What the item's material gives way; `None` where that is not known.
    pub range: Option<Compressibility>,
    /// Where it lies against that range, told from the exact lengths.
    pub standing: Option<Standing>,
}

/// Where a crush lies against the range of its material, both ends within.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// Less than the material gives way.
    Below,
    /// Within.
    Within,
    /// More than the material gives way.
    Above,
}

/// How far a gasket of this free thickness is crushed in this gap, in percent to the nearest
/// millionth: 1 - gap / free. `None` where there is no gasket.
///
/// ```
/// use gapwright::crush::percent;
/// use gapwright::length::{Fine, Length};
/// let fine = |text| Fine::from(Length::parse(text, None).unwrap());
/// // The gap and one half: a third.
/// let third = percent(fine("0.070 in"), fine("0.105 in")).unwrap();
/// assert_eq!(third.to_string(), "33.333333");
/// assert_eq!(percent(fine("0.070 in"), Fine::ZERO), None);
/// ```
pub fn percent(gap: Fine, free: Fine) -> Option<Millionths> {
    let free = Some(free.raw()).filter(|free| *free > 0)?;
    let hundred_millions = 100_000_000 * (free - gap.raw());
    let nearest = (2 * hundred_millions + free).div_euclid(2 * free);
    i64::try_from(nearest).ok().map(Millionths::from_raw)
}

/// Where the crush lies against a range, without rounding.
fn standing(gap: Fine, free: Fine, range: Compressibility) -> Standing {
    let crushed = 100_000_000 * (free - gap).raw();
    let against = |limit: Millionths| crushed.cmp(&(i128::from(limit.raw()) * free.raw()));
    match (against(range.least), against(range.most)) {
        (Ordering::Less, _) => Standing::Below,
        (_, Ordering::Greater) => Standing::Above,
        _ => Standing::Within,
    }
}

/// How far the gaskets of a pump with these packs are crushed: per gasket fill, cold or hot, one
/// entry for each lot, with nominal lengths.
///
/// Gaskets that lie on each other share one load. Which of them gives way more is not known, so
/// each is taken to be crushed as the pack as a whole is.
pub fn crushes(job: &Job, pump: &Pump, packs: &[PackPick]) -> Vec<Crush> {
    let parts = stack(job, pump, packs).contributors;
    let model = job.model_of(pump);
    let mut found = Vec::new();
    for (requirement, asked) in pump.requirements.iter().enumerate() {
        let Form::GasketFill { gasket, gap, .. } = &asked.form else {
            continue;
        };
        let gap = extent(gap, &parts).nominal;
        let free = extent(&[(Term::Pack(*gasket), Millionths::ONE)], &parts).nominal;
        let Some(percent) = percent(gap, free) else {
            continue;
        };
        let items = packs[*gasket].picks.iter().map(|pick| pick.item).unique();
        found.extend(items.map(|item| {
            let material = job.stock[item].material.as_deref();
            let range = material.and_then(|name| model.material(name)?.compressibility);
            Crush {
                requirement,
                item,
                percent,
                range,
                standing: range.map(|range| standing(gap, free, range)),
            }
        }));
    }
    found
}

/// The items, by index in the stock, that some kit has as its gasket, and of whose material it is
/// not known how far it gives way: their crush is not checked.
pub fn unchecked(job: &Job, plan: &Plan) -> Vec<usize> {
    let kits = job.pumps.iter().zip(&plan.kits);
    let crushes = kits.flat_map(|(pump, kit)| match kit {
        Kit::Served(packs) => crushes(job, pump, packs),
        Kit::Short(_) => Vec::new(),
    });
    let unknown = crushes.filter(|crush| crush.range.is_none());
    unknown.map(|crush| crush.item).sorted().dedup().collect()
}
