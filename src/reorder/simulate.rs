//! Outages simulated from this one: what each item would be asked for.

use chacha20::ChaCha8Rng;
use chacha20::rand_core::{Rng, SeedableRng};

use crate::job::Job;
use crate::plan::{Kit, Plan};

/// Pieces of each item, by its index, that so many simulated outages ask for.
///
/// An outage has as many pumps as this one; each is one of the kitted pumps of this plan, drawn with
/// equal chances and put back (the bootstrap; B. Efron, Annals of Statistics 7 (1979), from memory),
/// and takes what that pump takes. Pumps that could not be kitted are not drawn. The same seed gives
/// the same outages.
///
/// The plan shows what pumps take out of this stock: another stock would have them take other pieces.
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

/// A whole number below `most`, each alike; nothing where there is none.
fn below(random: &mut ChaCha8Rng, most: usize) -> usize {
    let most = most as u64;
    if most == 0 {
        return 0;
    }
    // What lies beyond the last whole multiple would favour the small ones.
    let whole = u64::MAX - u64::MAX % most;
    loop {
        let drawn = random.next_u64();
        if drawn < whole {
            return usize::try_from(drawn % most).unwrap_or(0);
        }
    }
}
