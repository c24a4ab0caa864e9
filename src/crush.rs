//! Crush of gaskets in their places, against the compressibility of their materials.
//!
//! [`crushes`] gives the [`Crush`] of each gasket of a pump, over the whole range that the tolerances of gap and free
//! thickness allow. A crush that may be out of the material's range is a warning, never a reason not to kit a pump: the
//! compressibility of a material holds for a test load that the bolts of a cover need not reach.

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
    /// Nominal crush in percent of the free thickness, to the nearest millionth.
    pub percent: Millionths,
    /// Least and greatest crush in percent: the widest gap on the thinnest gasket, rounded down, and the narrowest gap
    /// on the thickest one, rounded up.
    pub ends: [Millionths; 2],
    /// Compressibility of the item's material; `None` where it is not known.
    pub range: Option<Compressibility>,
    /// Position of its whole range, least to greatest, against that of the material, from the exact lengths.
    pub standing: Option<CrushVerdict>,
}

/// Position of the range of a crush against that of its material; the ends of the material's are within.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CrushVerdict {
    /// Possibly less than the least compressibility.
    Below,
    /// All of it is within the material's range.
    Within,
    /// Possibly more than the greatest compressibility.
    Above,
    /// Possibly less than the least, and possibly more than the greatest.
    Both,
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

/// Gap and free thickness of a gasket, each nominal, least and greatest.
struct Lengths {
    gap: [Fine; 3],
    free: [Fine; 3],
}

impl Lengths {
    /// Least and greatest crush in percent, rounded outward; `None` where a gasket may have no thickness.
    fn ends(&self) -> Option<[Millionths; 2]> {
        let [[_, narrow, wide], [_, thin, thick]] = [self.gap, self.free];
        let of = |gap: Fine, free: Fine| {
            let free = Some(free.raw()).filter(|free| *free > 0)?;
            Some((100_000_000 * (free - gap.raw()), free))
        };
        let (crushed, free) = of(wide, thin)?;
        let least = crushed.div_euclid(free);
        let (crushed, free) = of(narrow, thick)?;
        let greatest = -(-crushed).div_euclid(free);
        let [least, greatest] = [least, greatest].map(|end| i64::try_from(end).ok());
        Some([least?, greatest?].map(Millionths::from_raw))
    }

    /// Position of the whole range of the crush against that of a material, without rounding.
    fn standing(&self, range: Compressibility) -> CrushVerdict {
        let [[_, narrow, wide], [_, thin, thick]] = [self.gap, self.free];
        let against = |gap: Fine, free: Fine, limit: Millionths| {
            let crushed = 100_000_000 * (free - gap).raw();
            crushed.cmp(&(i128::from(limit.raw()) * free.raw()))
        };
        let below = against(wide, thin, range.least) == Ordering::Less;
        let above = against(narrow, thick, range.most) == Ordering::Greater;
        match (below, above) {
            (false, false) => CrushVerdict::Within,
            (true, false) => CrushVerdict::Below,
            (false, true) => CrushVerdict::Above,
            (true, true) => CrushVerdict::Both,
        }
    }
}

/// Crush of the gaskets of a pump with these packs: per gasket fill, cold or hot, one entry for each lot.
///
/// Every contributor is anywhere in its tolerance, as in the worst case, whatever the acceptance rule, and gap and free
/// thickness at their worst against each other. Gaskets on top of each other share one load. Which of them gives way more is not
/// known, so each is taken to be crushed as much as the whole pack.
pub fn crushes(job: &Job, pump: &Pump, packs: &[PackPick]) -> Vec<Crush> {
    let stack = stack(job, pump, packs);
    let model = job.model_of(pump);
    let mut found = Vec::new();
    for (requirement, asked) in pump.requirements.iter().enumerate() {
        let Form::GasketFill { gasket, gap, .. } = &asked.form else {
            continue;
        };
        let free = vec![(Term::Pack(*gasket), Millionths::ONE)];
        let [gap, free] = [gap, &free].map(|terms| {
            let sum = worst_case(terms, &stack);
            [sum.nominal, sum.nominal - sum.below, sum.nominal + sum.above]
        });
        let lengths = Lengths { gap, free };
        let Some((percent, ends)) = percent(gap[0], free[0]).zip(lengths.ends()) else {
            continue;
        };
        let items = packs[*gasket].picks.iter().map(|pick| pick.item).unique();
        found.extend(items.map(|item| {
            let material = job.stock[item].material.as_deref();
            let range = material.and_then(|name| model.material(name)?.compressibility);
            let standing = range.map(|range| lengths.standing(range));
            Crush { requirement, item, percent, ends, range, standing }
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
