//! Crush of gaskets: 1 - gap / free thickness, against the range of their material.

use gapwright::job::Job;
use gapwright::model::Form;
use gapwright::plan::PackPick;
use gapwright::pump::Pump;

use crate::anew;
use crate::figures::{millionths, tenth};
use crate::wording::kits as words;

pub struct Crush {
    pub place: usize,
    pub item: usize,
    /// Warning where the material does not suit.
    pub warning: Option<String>,
    /// Where it does: percent to a tenth, and the material's range, in millionths.
    pub within: Option<(String, [i64; 2])>,
}

/// Crush for each gasket fill, lot by lot.
pub fn crushes(job: &Job, pump: &Pump, packs: &[PackPick]) -> Vec<Crush> {
    let mut all = Vec::new();
    for requirement in &pump.requirements {
        let Form::GasketFill { gasket, gap, .. } = &requirement.form else {
            continue;
        };
        let gap = anew::sum(job, pump, packs, gap).value;
        let free = anew::pack(job, &packs[*gasket]).value;
        let mut items: Vec<usize> = Vec::new();
        for pick in &packs[*gasket].picks {
            if !items.contains(&pick.item) {
                items.push(pick.item);
            }
        }
        for index in items {
            let item = &job.stock[index];
            let material = item.material.as_deref();
            let known = material.and_then(|name| job.model_of(pump).material(name));
            let range = known.and_then(|known| known.compressibility);
            let ends = range.map(|range| [range.least.raw(), range.most.raw()]);
            let mut crush = Crush { place: *gasket, item: index, warning: None, within: None };
            match ends {
                Some(ends) if is_within(gap, free, ends) => {
                    crush.within = Some((tenth(percent(gap, free)), ends));
                }
                Some(ends) => {
                    let (shown, less) = honestly(gap, free, ends);
                    let [least, most] = ends.map(millionths);
                    let gives = [material.unwrap(), &least, &most];
                    let label = &requirement.label;
                    crush.warning =
                        Some(words::crush_warning(label, &item.item, &shown, gives, less));
                }
                None => {}
            }
            all.push(crush);
        }
    }
    all
}

/// Percent, to the nearest millionth.
fn percent(gap: i128, free: i128) -> i128 {
    (2 * 100_000_000 * (free - gap) + free).div_euclid(2 * free)
}

fn is_within(gap: i128, free: i128, [least, most]: [i64; 2]) -> bool {
    let crushed = 100_000_000 * (free - gap);
    (i128::from(least) * free..=i128::from(most) * free).contains(&crushed)
}

/// Percentage to a tenth, rounded so that it never appears to be within, and whether it is too little.
fn honestly(gap: i128, free: i128, [least, most]: [i64; 2]) -> (String, bool) {
    let less = 100_000_000 * (free - gap) < i128::from(least) * free;
    let nearest = (percent(gap, free) + 50_000).div_euclid(100_000) * 100_000;
    let shown = match less {
        true if nearest >= i128::from(least) => nearest - 100_000,
        false if nearest <= i128::from(most) => nearest + 100_000,
        _ => nearest,
    };
    (tenth(shown), less)
}
