//! Outages simulated from this one: the demand for each item.

use chacha20::ChaCha8Rng;
use chacha20::rand_core::{Rng, SeedableRng};

use crate::job::Job;
use crate::plan::{Kit, Plan};

/// Pieces of each item, by its index, that each simulated outage needs.
///
/// An outage has as many pumps as this one. Each is one of the kitted pumps of this plan, drawn with equal
/// probability and replacement (the bootstrap; B. Efron, Annals of Statistics 7 (1979), from memory), and takes the
/// pieces of that pump. Pumps that could not be kitted are not drawn. One seed gives one set of outages.
///
/// The plan shows the pieces taken from this stock: with another stock the pumps would take others.
pub fn outages(job: &Job, plan: &Plan, outages: u32, seed: u64) -> Vec<Vec<u32>> {
    let kits: Vec<Vec<(usize, u32)>> = plan
        .kits
        .iter()
        .filter_map(|kit| match kit {
            Kit::Served(packs) => Some(packs),
            Kit::Short(_) => None,
        })
        .map(|packs| {
            let picks = packs.iter().flat_map(|pack| &pack.picks);
            picks.map(|pick| (pick.item, pick.count)).collect()
        })
        .collect();
    let mut asked = vec![Vec::with_capacity(outages as usize); job.stock.len()];
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    for _ in 0..outages {
        let mut sum = vec![0_u32; job.stock.len()];
        for _ in 0..job.pumps.len() {
            let Some(kit) = kits.get(below(&mut random, kits.len())) else {
                continue;
            };
            for &(item, count) in kit {
                sum[item] += count;
            }
        }
        for (asked, sum) in asked.iter_mut().zip(sum) {
            asked.push(sum);
        }
    }
    asked
}

/// A uniform whole number below `most`; 0 where there is none.
fn below(random: &mut ChaCha8Rng, most: usize) -> usize {
    let most = most as u64;
    if most == 0 {
        return 0;
    }
    // Numbers beyond the last whole multiple would favour the small ones.
    let whole = u64::MAX - u64::MAX % most;
    loop {
        let drawn = random.next_u64();
        if drawn < whole {
            return usize::try_from(drawn % most).unwrap_or(0);
        }
    }
}
