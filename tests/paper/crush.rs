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
    /// Where it does: percent to a tenth, least to greatest, and the material's range, in millionths.
    pub within: Option<(String, [i64; 2])>,
}

/// Crush for each gasket fill, lot by lot, over the whole range of gap and free thickness.
pub fn crushes(job: &Job, pump: &Pump, packs: &[PackPick]) -> Vec<Crush> {
    let mut all = Vec::new();
    for requirement in &pump.requirements {
        let Form::GasketFill { gasket, gap, .. } = &requirement.form else {
            continue;
        };
        let gap = anew::sum(job, pump, packs, gap);
        let free = anew::pack(job, &packs[*gasket]);
        // The widest gap on the thinnest gasket, and the narrowest on the thickest.
        let least = [gap.value + gap.above, free.value - free.below];
        let most = [gap.value - gap.below, free.value + free.above];
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
            let shown = words::ends(&tenth_below(least), &tenth_above(most));
            if let Some([low, high]) = ends {
                let less = crushed(least) < i128::from(low) * least[1];
                let more = crushed(most) > i128::from(high) * most[1];
                match less || more {
                    false => crush.within = Some((shown, [low, high])),
                    true => {
                        let [low, high] = [low, high].map(millionths);
                        let gives = [material.unwrap(), &low, &high];
                        let label = &requirement.label;
                        let text =
                            words::crush_warning(label, &item.item, &shown, gives, [less, more]);
                        crush.warning = Some(text);
                    }
                }
            }
            all.push(crush);
        }
    }
    all
}

/// What a gap takes of a free thickness, in millionths of a percent of it.
fn crushed([gap, free]: [i128; 2]) -> i128 {
    100_000_000 * (free - gap)
}

fn tenth_below(of: [i128; 2]) -> String {
    tenth(crushed(of).div_euclid(of[1] * 100_000) * 100_000)
}

fn tenth_above(of: [i128; 2]) -> String {
    tenth(-(-crushed(of)).div_euclid(of[1] * 100_000) * 100_000)
}
