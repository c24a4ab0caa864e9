//! Supplies of a group of pumps, for the certificate: packs that are opened, plates that are cut up.
//!
//! Each is a list of choices of which a plan takes one: so many pieces paid for, so many plates cut in one layout. Its
//! pieces are used up by the pumps, and no more than it puts in. More than all pumps together could use is of no use.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::by_the_pack;
use super::fillings::{Fillings, available};
use super::plates::offcut;
use crate::certificate::ProofSupplier;
use crate::cutting::{Cutting, Layout, Remnants};
use crate::job::Job;
use crate::length::Length;

/// Most choices of all supplies of a group.
const MOST_CHOICES: usize = 2_000_000;

/// Choice of a supply.
#[derive(Debug, Clone)]
pub(super) struct Choice {
    /// Pieces paid for, or plates cut.
    pub(super) amount: u32,
    /// Items (plates after the stock) and what is taken of them; what is put in is below zero.
    pub(super) uses: Vec<(usize, i128)>,
    /// Waste in millionths of the currency.
    pub(super) waste: i128,
    pub(super) plates: i128,
}

/// Supply by its name, and its choices.
pub(super) type Supply = (ProofSupplier, Arc<Vec<Choice>>);

/// Whether the pieces of an item are paid for pack by pack.
pub(super) fn is_by_the_pack(job: &Job, item: usize) -> bool {
    job.policy.opened_cartons_spoiled && job.stock[item].carton_qty > 1
}

/// Whether the pieces of an item, or plates after the stock, come from a supply alone.
pub(super) fn is_supplied(job: &Job, item: usize) -> bool {
    job.stock.get(item).is_some_and(|lot| lot.cut.is_some()) || {
        item < job.stock.len() && is_by_the_pack(job, item)
    }
}

/// Number that is left of an item without any supply; plates come after the stock.
pub(super) fn ready(job: &Job, left: &[i64], item: usize) -> i64 {
    match left.get(item) {
        Some(_) if is_supplied(job, item) => 0,
        Some(left) => *left,
        None => {
            let plate = item.checked_sub(job.stock.len()).and_then(|plate| job.plates.get(plate));
            plate.map_or(0, |lot| lot.on_hand.saturating_sub(lot.reserved).into())
        }
    }
}

/// Items that pumps of a group may take.
fn items(job: &Job, pumps: &[usize]) -> BTreeSet<usize> {
    let places = pumps.iter().map(|&pump| &job.pumps[pump]).flat_map(|pump| {
        let packs = job.models[pump.model].packs.iter().zip(&pump.fits);
        packs.map(|(pack, fit)| (pack.kind.as_str(), fit.key()))
    });
    let places: BTreeSet<(&str, &str)> = places.collect();
    let fits = |item: &usize| {
        let lot = &job.stock[*item];
        lot.size.is_some() && places.contains(&(lot.kind.as_str(), lot.fit.key()))
    };
    (0..job.stock.len()).filter(fits).collect()
}

/// Supplies of a group; `None` if there are too many choices. Adds the kits that were looked at.
pub(super) fn of_group(
    job: &Job,
    fillings: &Fillings<'_>,
    pumps: &[usize],
    left: &[i64],
    looked: &mut u64,
) -> Option<Vec<Supply>> {
    let items = items(job, pumps);
    if !items.iter().any(|&item| is_supplied(job, item)) {
        return Some(Vec::new());
    }
    // Most pieces of each item that the pumps can use together.
    let mut wanted: BTreeMap<usize, u64> = BTreeMap::new();
    for &pump in pumps {
        let mut most: BTreeMap<usize, u32> = BTreeMap::new();
        *looked += fillings.each(pump, None, &mut |found| {
            let mut uses: BTreeMap<usize, u32> = BTreeMap::new();
            for pick in fillings.picks(found.choice) {
                *uses.entry(pick.item).or_default() += pick.count;
            }
            let more =
                uses.iter().any(|(item, count)| most.get(item).is_none_or(|most| most < count));
            if more && fillings.is_kit(pump, found, false, left) {
                for (item, count) in uses {
                    let most = most.entry(item).or_default();
                    *most = count.max(*most);
                }
            }
        });
        for (item, count) in most {
            *wanted.entry(item).or_default() += u64::from(count);
        }
    }
    let useful = |item: usize| {
        let wanted = wanted.get(&item).copied().unwrap_or(0);
        wanted.min(available(&job.stock[item]).into())
    };
    let mut supplies: Vec<Supply> = Vec::new();
    for &item in items.iter().filter(|&&item| is_by_the_pack(job, item) && useful(item) > 0) {
        supplies.push((ProofSupplier::Packs { item }, Arc::new(packs(job, item, useful(item)))));
    }
    for (plate, lot) in job.plates.iter().enumerate() {
        let shapes = (0..job.stock.len()).filter_map(|item| Some((item, job.stock[item].cut?)));
        let shapes = shapes.filter(|(_, cut)| cut.plate == plate && lot.yields(cut.outside) > 0);
        let shapes: Vec<(usize, Length)> = shapes.map(|(item, cut)| (item, cut.outside)).collect();
        if shapes.iter().all(|(item, _)| !items.contains(item) || useful(*item) == 0) {
            continue;
        }
        let cutting = Cutting { lot, plate, shapes: &shapes };
        let layouts = match job.policy.remnants {
            Remnants::Charged => cutting.full(&mut |_| false),
            Remnants::BookedBack => cutting.part(&useful, &mut |_| false),
        };
        for layout in layouts {
            let choices = cut_up(job, &layout, &useful);
            let Layout { plate, along, strips } = layout;
            supplies.push((ProofSupplier::Layout { plate, along, strips }, Arc::new(choices)));
        }
    }
    let choices: usize = supplies.iter().map(|(_, choices)| choices.len()).sum();
    (choices <= MOST_CHOICES).then_some(supplies)
}

/// Pieces paid for: loose ones one by one, then whole packs.
fn packs(job: &Job, item: usize, useful: u64) -> Vec<Choice> {
    let lot = &job.stock[item];
    let size = lot.carton_qty;
    let loose = available(lot) % size.max(1);
    let mut amounts: Vec<u32> = (0..=loose).filter(|&n| u64::from(n) <= useful).collect();
    let mut all = loose;
    while u64::from(all) < useful {
        all += size.max(1);
        amounts.push(all);
    }
    let choice = |amount: u32| Choice {
        amount,
        uses: vec![(item, -i128::from(amount))],
        waste: by_the_pack(job, &BTreeMap::from([(item, amount.into())])),
        plates: 0,
    };
    amounts.into_iter().map(choice).collect()
}

/// Plates cut in one layout.
fn cut_up(job: &Job, layout: &Layout, useful: &dyn Fn(usize) -> u64) -> Vec<Choice> {
    let lot = &job.plates[layout.plate];
    let outside = |item: usize| job.stock[item].cut.map_or(Length::ZERO, |cut| cut.outside);
    let yields = layout.yields(lot, outside);
    let most =
        yields.iter().map(|(&item, &blanks)| useful(item).div_ceil(u64::from(blanks.max(1))));
    let there = u64::from(lot.on_hand.saturating_sub(lot.reserved));
    let most = most.max().unwrap_or(0).min(there);
    let waste = offcut(job, layout);
    let choice = |plates: u32| {
        let times = i128::from(plates);
        let put_in = yields.iter().map(|(&item, &blanks)| (item, -times * i128::from(blanks)));
        Choice {
            amount: plates,
            uses: put_in.chain([(job.stock.len() + layout.plate, times)]).collect(),
            waste: waste * times,
            plates: times,
        }
    };
    (0..=u32::try_from(most).unwrap_or(u32::MAX)).map(choice).collect()
}
