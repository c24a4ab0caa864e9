//! Exhaustive reference.

use std::collections::{BTreeSet, HashMap};

use gapwright::accounting::verdicts;
use gapwright::forecast::Forecast;
use gapwright::job::Job;
use gapwright::length::Length;
use gapwright::plan::{PackPick, Pick};
use gapwright::pump::Pump;

/// Pieces by item of the stock.
pub type Pieces = Vec<u32>;

pub fn available(job: &Job) -> Pieces {
    job.stock.iter().map(|i| i.on_hand - i.reserved).collect()
}

pub fn cost(job: &Job, pieces: &[u32]) -> i64 {
    let each = job.stock.iter().zip(pieces);
    each.map(|(item, &count)| item.unit_cost.raw() * i64::from(count)).sum()
}

/// A pump with these lengths measured.
pub fn measured(pump: &Pump, lengths: &[Option<Length>]) -> Pump {
    let mut pump = pump.clone();
    for (dimension, length) in pump.dimensions.iter_mut().zip(lengths) {
        if let Some(length) = length {
            dimension.readings = vec![*length];
            dimension.value = *length;
        }
    }
    pump
}

/// Pieces of every kit that meets all requirements.
pub fn kits(job: &Job, pump: &Pump) -> Vec<Pieces> {
    let model = job.model_of(pump);
    let mut offers: Vec<Vec<Pick>> = Vec::new();
    for (pack, fit) in model.packs.iter().zip(&pump.fits) {
        let mut mine = Vec::new();
        for (index, item) in job.stock.iter().enumerate() {
            if item.kind == pack.kind && item.fit == *fit {
                for peeled in 0..=item.most_peeled() {
                    mine.push(Pick { item: index, count: 1, peeled });
                }
            }
        }
        offers.push(mine);
    }
    let there = available(job);
    let mut found = BTreeSet::new();
    let mut packs = vec![PackPick::default(); offers.len()];
    fill(job, pump, &offers, &there, 0, 0, &mut packs, &mut found);
    found.into_iter().collect()
}

/// Kits without those that take all the pieces of another and more.
pub fn smallest(kits: &[Pieces]) -> Vec<Pieces> {
    let least = |kit: &&Pieces| !kits.iter().any(|other| other != *kit && fits(other, kit));
    kits.iter().filter(least).cloned().collect()
}

#[allow(clippy::too_many_arguments)]
fn fill(
    job: &Job,
    pump: &Pump,
    offers: &[Vec<Pick>],
    there: &[u32],
    pack: usize,
    from: usize,
    packs: &mut Vec<PackPick>,
    found: &mut BTreeSet<Pieces>,
) {
    let model = job.model_of(pump);
    let Some(limits) = model.packs.get(pack) else {
        let conforms = verdicts(job, pump, packs).iter().all(|v| v.conforms());
        if conforms {
            let mut used = vec![0; there.len()];
            for pick in packs.iter().flat_map(|pack| &pack.picks) {
                used[pick.item] += pick.count;
            }
            found.insert(used);
        }
        return;
    };
    let held = packs[pack].picks.len() as u32;
    if held >= limits.least_pieces {
        fill(job, pump, offers, there, pack + 1, 0, packs, found);
    }
    if held == limits.most_pieces {
        return;
    }
    for (position, offer) in offers[pack].iter().enumerate().skip(from) {
        let all = packs.iter().flat_map(|pack| &pack.picks);
        let used = all.filter(|pick| pick.item == offer.item).count() as u32;
        if used < there[offer.item] {
            packs[pack].picks.push(*offer);
            fill(job, pump, offers, there, pack, position, packs, found);
            packs[pack].picks.pop();
        }
    }
}

pub fn fits(kit: &[u32], there: &[u32]) -> bool {
    kit.iter().zip(there).all(|(kit, there)| kit <= there)
}

/// Every multiset of pieces, within the stock.
pub fn multisets(there: &[u32]) -> Vec<Pieces> {
    there.iter().fold(vec![vec![]], |sets, &most| {
        let longer = |set: Pieces| {
            (0..=most).map(move |count| {
                let mut set = set.clone();
                set.push(count);
                set
            })
        };
        sets.into_iter().flat_map(longer).collect()
    })
}

/// Kits of each pump of an outlook by its measured value, calculated once each.
pub struct Known<'a> {
    pub outlook: &'a Forecast,
    kits: HashMap<(usize, Vec<Option<Length>>), Vec<Pieces>>,
    smallest: HashMap<(usize, Vec<Option<Length>>), Vec<Pieces>>,
}

impl<'a> Known<'a> {
    pub fn of(outlook: &'a Forecast) -> Known<'a> {
        Known { outlook, kits: HashMap::new(), smallest: HashMap::new() }
    }

    pub fn kits(&mut self, pump: usize, lengths: &[Option<Length>]) -> &[Pieces] {
        let job = self.outlook.job();
        self.kits
            .entry((pump, lengths.to_vec()))
            .or_insert_with(|| kits(job, &measured(&job.pumps[pump], lengths)))
    }

    fn smallest(&mut self, pump: usize, lengths: &[Option<Length>]) -> &[Pieces] {
        let key = (pump, lengths.to_vec());
        if !self.smallest.contains_key(&key) {
            let smallest = smallest(self.kits(pump, lengths));
            self.smallest.insert(key.clone(), smallest);
        }
        &self.smallest[&key]
    }

    /// Most pumps that can be kitted out of these pieces.
    pub fn most_served(&mut self, scenario: &[Vec<Option<Length>>], there: &[u32]) -> usize {
        let kits: Vec<Vec<Pieces>> = scenario
            .iter()
            .enumerate()
            .map(|(pump, lengths)| {
                let fitting = self.smallest(pump, lengths).iter().filter(|kit| fits(kit, there));
                fitting.cloned().collect()
            })
            .collect();
        most(&kits, there)
    }
}

fn most(kits: &[Vec<Pieces>], there: &[u32]) -> usize {
    let Some((first, others)) = kits.split_first() else {
        return 0;
    };
    let mut best = most(others, there);
    for kit in first.iter().filter(|kit| fits(kit, there)) {
        let left: Pieces = there.iter().zip(kit).map(|(a, b)| a - b).collect();
        best = best.max(1 + most(others, &left));
        if best == kits.len() {
            break;
        }
    }
    best
}
