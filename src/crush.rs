//! Crush of gaskets in their places, against the compressibility of their materials.
//!
//! [`crushes`] gives the [`Crush`] of each gasket of a pump. A crush out of range is a warning, never a
//! reason not to kit a pump: the compressibility of a material holds for a test load that the bolts of a
//! cover need not reach.

use std::cmp::Ordering;

use itertools::Itertools;

use crate::accounting::stack;
use crate::decimal::Millionths;
use crate::job::Job;
use crate::length::Fine;
use crate::model::{Compressibility, Form, Term};
use crate::plan::{Kit, PackPick, Plan};
use crate::pump::Pump;
use crate::stack::worst_case;

/// Crush of the gasket of one requirement, for one of the lots that it is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Crush {
    /// Index of the requirement among the pump's.
    pub requirement: usize,
    /// Index of the item in the job's stock.
    pub item: usize,
    /// Crush in percent of the free thickness, to the nearest millionth.
    pub percent: Millionths,
    /// Compressibility of the item's material; `None` where it is not known.
    pub range: Option<Compressibility>,
    /// Position of the crush against that range, from the exact lengths.
    pub standing: Option<CrushVerdict>,
}

/// Position of a crush against the range of its material; both ends are within.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CrushVerdict {
    /// Less than the least compressibility.
    Below,
    /// Within the range.
    Within,
    /// More than the greatest compressibility.
    Above,
}

/// Crush of a gasket of this free thickness in this gap: `1 - gap / free`, in percent to the nearest
/// millionth. `None` without a gasket.
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

/// Position of the crush against a range, without rounding.
fn standing(gap: Fine, free: Fine, range: Compressibility) -> CrushVerdict {
    let crushed = 100_000_000 * (free - gap).raw();
    let against = |limit: Millionths| crushed.cmp(&(i128::from(limit.raw()) * free.raw()));
    match (against(range.least), against(range.most)) {
        (Ordering::Less, _) => CrushVerdict::Below,
        (_, Ordering::Greater) => CrushVerdict::Above,
        _ => CrushVerdict::Within,
    }
}

/// Crush of the gaskets of a pump with these packs, with nominal lengths: per gasket fill, cold or hot, one
/// entry for each lot.
///
/// Gaskets on top of each other share one load. Which of them gives way more is not known, so each is taken
/// to be crushed as much as the whole pack.
pub fn crushes(job: &Job, pump: &Pump, packs: &[PackPick]) -> Vec<Crush> {
    let parts = stack(job, pump, packs);
    let model = job.model_of(pump);
    let mut found = Vec::new();
    for (requirement, asked) in pump.requirements.iter().enumerate() {
        let Form::GasketFill { gasket, gap, .. } = &asked.form else {
            continue;
        };
        let gap = worst_case(gap, &parts).nominal;
        let free = worst_case(&[(Term::Pack(*gasket), Millionths::ONE)], &parts).nominal;
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

/// Items, by index in the stock, that some kit uses as a gasket and whose material has no compressibility:
/// their crush is not checked.
pub fn unchecked(job: &Job, plan: &Plan) -> Vec<usize> {
    let kits = job.pumps.iter().zip(&plan.kits);
    let crushes = kits.flat_map(|(pump, kit)| match kit {
        Kit::Served(packs) => crushes(job, pump, packs),
        Kit::Short(_) => Vec::new(),
    });
    let unknown = crushes.filter(|crush| crush.range.is_none());
    unknown.map(|crush| crush.item).sorted().dedup().collect()
}
