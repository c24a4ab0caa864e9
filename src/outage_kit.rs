//! Kits of an outage as pieces of a job, and their judgement on the figures of that job.
//!
//! Readings are judged by [`crate::recheck`] and pieces by [`crate::accounting`], as everywhere else.

mod booking;
mod cut;
mod in_play;

use std::collections::BTreeMap;

use crate::accounting::inputs::inputs;
use crate::accounting::verdicts;
use crate::changes::{PlanSide, SlipSide, SlipStatus};
use crate::columns;
use crate::consumables::serving;
use crate::issue::key;
use crate::issue::returned;
use crate::job::{Job, Standing};
use crate::length::Length;
use crate::model::{ConsumableNeed, Form, Model};
use crate::outage::{Finding, KitPiece, Outage, OutagePump, PumpState};
use crate::plan::{Kit, PackPick, Pick};
use crate::pump::Pump;
use crate::recheck::{Bench, Decision, Left, Of, Reading, Readings, Record, Swap, recheck};
use crate::show::{length, natural_unit};
use crate::verify::Verified;
use crate::words;

pub use booking::{NO_PLAN, judge_others, plan_booking};
pub use cut::{CutNames, cut_names, shared, with_cut_lots};
pub use in_play::{BAGGED, Plays, Told, is_told};

/// Pieces of a pump's kit, by its index in the job: those for its places, then its consumables.
pub fn pieces(verified: &Verified, pump: usize, names: &CutNames) -> Vec<KitPiece> {
    let (job, plan) = (verified.job(), verified.plan());
    let model = job.model_of(&job.pumps[pump]);
    let Kit::Served(packs) = &plan.kits[pump] else {
        return Vec::new();
    };
    let places = model.packs.iter().zip(packs);
    let places = places.flat_map(|(place, pack)| pack.picks.iter().map(|pick| (&place.name, pick)));
    let consumables = model.consumables.iter().zip(&verified.bags()[pump]);
    let consumables =
        consumables.flat_map(|(asked, share)| share.picks.iter().map(|pick| (&asked.kind, pick)));
    places.chain(consumables).map(|(place, pick)| piece(job, place, pick, names)).collect()
}

fn piece(job: &Job, place: &str, pick: &Pick, names: &CutNames) -> KitPiece {
    let item = &job.stock[pick.item];
    let peeled = item.peeled(pick.peeled).filter(|_| pick.peeled > 0);
    KitPiece {
        place: place.to_string(),
        item: names.get(&pick.item).unwrap_or(&item.item).clone(),
        count: pick.count,
        peeled_to: peeled.map(|to| length(to, natural_unit(to))),
    }
}

/// Pieces of each place of a pump. A piece without a place is that of the first place which its kind and fit suit.
///
/// # Errors
/// A piece, in words, that no place of the pump can take.
pub fn packs(job: &Job, pump: &Pump, pieces: &[KitPiece]) -> Result<Vec<PackPick>, String> {
    let model = job.model_of(pump);
    let mut packs = vec![PackPick::default(); model.packs.len()];
    for piece in pieces.iter().filter(|piece| !is_consumable(model, &piece.place)) {
        let at = model.packs.iter().position(|pack| pack.name == piece.place);
        let places = at.map_or(0..model.packs.len(), |at| at..at + 1);
        let found = places.into_iter().find_map(|at| Some((at, pick(job, pump, at, piece)?)));
        match found {
            Some((at, pick)) => packs[at].picks.push(pick),
            None if piece.place.is_empty() && !is_stacked(job, &piece.item) => {}
            None => return Err(format!("{piece} suits no place of {}", pump.tag)),
        }
    }
    Ok(packs)
}

/// Bag and slip of a pump in a running outage, as they stand before it is planned again. A kit that the job cannot know
/// again stands for nothing: `None` for such a bag.
pub fn standing(job: &Job, pump: usize, of: &OutagePump) -> Option<Standing> {
    let at = &job.pumps[pump];
    let slip = of.kit.as_ref().and_then(|kit| packs(job, at, &kit.pieces).ok());
    if of.state != PumpState::Bagged {
        return Some(Standing { slip, ..Standing::default() });
    }
    let bag = packs(job, at, &of.bag).ok()?;
    Some(Standing {
        bag: Some(bag),
        consumables: consumables(job, at, &of.bag),
        slip,
        ..Standing::default()
    })
}

/// Plan of an outage as its slips have it: pumps that are planned, short or not measured, and those in bags that were not
/// issued. Values are those of the job, where there is one.
pub fn side(job: Option<&Job>, outage: &Outage) -> PlanSide {
    let slip = |pump: &OutagePump| {
        let known = job.and_then(|job| Some((job, index(job, &pump.tag)?)));
        SlipSide {
            tag: pump.tag.clone(),
            priority: known.map(|(job, at)| job.pumps[at].priority),
            kit: pump.kit.as_ref().map(|kit| kit.number),
            pieces: by_item(pump.kit.as_ref().map_or(&[][..], |kit| &kit.pieces)),
            figures: known.map(|(job, at)| figures(job, at, pump)).unwrap_or_default(),
            status: match pump.state {
                PumpState::Bagged if pump.not_fit.is_some() => {
                    SlipStatus::Short(pump.not_fit.clone().unwrap_or_default())
                }
                PumpState::NotMeasured => SlipStatus::NotMeasured,
                PumpState::Short => SlipStatus::Short(pump.why.clone().unwrap_or_default()),
                _ => SlipStatus::Kit,
            },
        }
    };
    let on_paper = outage.pumps().filter(|pump| match pump.state {
        PumpState::Cancelled => pump.kit.is_some(),
        state => state.is_in_play() || state == PumpState::Bagged,
    });
    let mut stock: BTreeMap<String, i64> =
        outage.stock().map(|lot| (lot.item.clone(), lot.pieces)).collect();
    for piece in outage.pumps().flat_map(|pump| &pump.bag) {
        *stock.entry(piece.item.clone()).or_default() += i64::from(piece.count);
    }
    PlanSide { slips: on_paper.map(slip).collect(), stock }
}

/// Index of a pump in a job, by its tag in any case.
pub fn index(job: &Job, tag: &str) -> Option<usize> {
    job.pumps.iter().position(|pump| key(&pump.tag) == key(tag))
}

/// Values that the slip of a pump prints, by its index in the job.
pub fn figures(job: &Job, pump: usize, of: &OutagePump) -> BTreeMap<String, String> {
    let at = &job.pumps[pump];
    let kit = of.kit.as_ref().and_then(|kit| packs(job, at, &kit.pieces).ok());
    inputs(job, at, &kit.unwrap_or_default())
}

fn by_item(pieces: &[KitPiece]) -> BTreeMap<String, u32> {
    let mut sums = BTreeMap::new();
    for piece in pieces {
        let peeled = piece.peeled_to.as_ref().map(|to| format!(" peeled to {to}"));
        let name = format!("{}{}", piece.item, peeled.unwrap_or_default());
        *sums.entry(name).or_default() += piece.count;
    }
    sums
}

/// Consumables among the pieces of a bag, of each that the model asks for.
fn consumables(job: &Job, pump: &Pump, bag: &[KitPiece]) -> Vec<Vec<Pick>> {
    let asked = job.model_of(pump).consumables.iter().enumerate();
    let of = |(need, asked): (usize, &ConsumableNeed)| {
        let rows = serving(job, pump, need);
        let pick = |piece: &KitPiece| {
            let item = rows.iter().find(|&&row| key(&job.stock[row].item) == key(&piece.item))?;
            Some(Pick { item: *item, count: piece.count, peeled: 0 })
        };
        bag.iter().filter(|piece| piece.place == asked.kind).filter_map(pick).collect()
    };
    asked.map(of).collect()
}

fn is_consumable(model: &Model, place: &str) -> bool {
    !model.packs.iter().any(|pack| pack.name == place)
        && model.consumables.iter().any(|asked| asked.kind == place)
}

/// Whether an item has a thickness that counts; one that the stock does not have any more may have had one.
fn is_stacked(job: &Job, item: &str) -> bool {
    let known = job.stock.iter().find(|lot| key(&lot.item) == key(item));
    known.is_none_or(|lot| lot.size.is_some())
}

/// Whether pieces that could be cut are the lot of this stock number once they are.
fn is_cut_as(job: &Job, item: usize, name: &str) -> bool {
    let item = &job.stock[item];
    let plate = item.cut.map(|cut| &job.plates[cut.plate].item);
    plate.is_some_and(|plate| returned::is_named_after(name, plate, item.fit.as_str()))
}

fn pick(job: &Job, pump: &Pump, place: usize, piece: &KitPiece) -> Option<Pick> {
    let model = job.model_of(pump);
    let offered = || job.offered(&model.packs[place], &pump.fits[place]);
    let named = offered().find(|&item| key(&job.stock[item].item) == key(&piece.item));
    // Its plate is not cut yet.
    let item = named.or_else(|| offered().find(|&item| is_cut_as(job, item, &piece.item)))?;
    let lot = &job.stock[item];
    let peeled = match &piece.peeled_to {
        None => 0,
        Some(to) => {
            let to = Length::parse(to, None).ok()?;
            (1..=lot.most_peeled()).find(|&layers| lot.peeled(layers) == Some(to))?
        }
    };
    Some(Pick { item, count: piece.count, peeled })
}

/// Place or requirement of a name, as the model or the slip writes it.
pub fn readable(job: &Job, pump: &Pump, what: &str) -> Option<Of> {
    let model = job.model_of(pump);
    let wanted = columns::key(what);
    let named = |name: &str, label: &str| [name, label].map(columns::key).contains(&wanted);
    let pack = model.packs.iter().position(|pack| named(&pack.name, &pack.label));
    let requirement = || pump.requirements.iter().position(|one| named(&one.name, &one.label));
    pack.map(Of::Pack).or_else(|| requirement().map(Of::Requirement))
}

/// Name in the model of a place or requirement.
pub fn name<'a>(job: &'a Job, pump: &'a Pump, of: Of) -> &'a str {
    match of {
        Of::Pack(at) => &job.model_of(pump).packs[at].name,
        Of::Requirement(at) => &pump.requirements[at].name,
    }
}

/// Reads a value at the bench.
///
/// # Errors
/// The reason, in words, why it is no reading of this part.
pub fn reading(job: &Job, pump: &Pump, of: Of, text: &str) -> Result<Reading, String> {
    let (within, signed) = match of {
        Of::Pack(_) => (job.policy.pack_within, false),
        Of::Requirement(at) => {
            let signed = match &pump.requirements[at].form {
                Form::Linear { lower, .. } => lower.is_none_or(|lower| lower < Length::ZERO),
                Form::GasketFill { .. } => false,
            };
            (job.policy.clearance_within, signed)
        }
    };
    match Reading::parse(text, None, within) {
        Ok(reading) if signed || reading.value >= Length::ZERO => Ok(reading),
        Ok(_) => Err("below zero".into()),
        Err(error) => Err(error.to_string()),
    }
}

/// Pieces and readings of a pump, by its index in the job, as the bench has them.
fn bench(job: &Job, pump: usize, of: &OutagePump) -> Result<Bench, String> {
    let at = &job.pumps[pump];
    let mut bench = Bench::unread(job, at, Some(packs(job, at, &of.bag)?));
    for read in &of.bench {
        let part = readable(job, at, &read.what);
        let part = part.ok_or_else(|| format!("no place or requirement `{}`", read.what))?;
        let value = |text: &str| {
            reading(job, at, part, text).map_err(|why| format!("the reading `{text}`: {why}"))
        };
        let readings = Some(Readings {
            first: value(&read.first)?,
            again: read.again.as_deref().map(value).transpose()?,
        });
        match part {
            Of::Pack(place) => bench.packs[place] = readings,
            Of::Requirement(index) => bench.requirements[index] = readings,
        }
    }
    Ok(bench)
}

/// Result of `recheck` for a pump, by its index in the job, with these pieces for a swap.
///
/// # Errors
/// The reason, in words, why its pieces or readings cannot be judged.
pub fn record(job: &Job, pump: usize, of: &OutagePump, mut spare: Left) -> Result<Record, String> {
    let unread = |pump| Bench::unread(job, pump, None);
    let mut benches: Vec<Bench> = job.pumps.iter().map(unread).collect();
    benches[pump] = bench(job, pump, of)?;
    let mut records = recheck(job, &benches, &mut spare);
    Ok(records.swap_remove(pump))
}

fn no_spares(job: &Job) -> Left {
    Left { pieces: vec![0; job.stock.len()], plates: vec![0; job.plates.len()] }
}

/// Pieces in the bins, by the job's stock, that are neither reserved nor planned for a pump.
pub fn spares(job: &Job, outage: &Outage) -> Left {
    let mut planned: BTreeMap<String, u32> = BTreeMap::new();
    let is_to_come = |pump: &&OutagePump| pump.state == PumpState::Planned || pump.reopen;
    let kits = outage.pumps().filter(is_to_come).filter_map(|pump| pump.kit.as_ref());
    for piece in kits.flat_map(|kit| &kit.pieces) {
        *planned.entry(key(&piece.item)).or_default() += piece.count;
    }
    let mut left = no_spares(job);
    for (lot, spare) in job.stock.iter().zip(&mut left.pieces) {
        let there = outage.stock_of(&lot.item).map_or(0, |known| known.pieces);
        let taken = planned.get(&key(&lot.item)).copied().unwrap_or(0);
        let free = there - i64::from(lot.reserved) - i64::from(taken);
        *spare = u32::try_from(free).unwrap_or(0);
    }
    left
}

/// Pieces that a swap takes out, and those that it puts in.
pub fn swapped(job: &Job, pump: &Pump, swap: &Swap) -> [Vec<KitPiece>; 2] {
    let places = job.model_of(pump).packs.iter().zip(&swap.moves);
    let names = cut_names(job);
    let mut pieces = [Vec::new(), Vec::new()];
    for (place, moves) in places {
        for (side, picks) in pieces.iter_mut().zip(moves) {
            side.extend(picks.iter().map(|pick| piece(job, &place.name, pick, &names)));
        }
    }
    pieces
}

/// Judgement of a pump's readings, by its index in the job: that of `recheck`.
pub fn finding(job: &Job, pump: usize, of: &OutagePump) -> Finding {
    let at = &job.pumps[pump];
    let record = match record(job, pump, of, no_spares(job)) {
        Ok(record) => record,
        Err(why) => return Finding::NotMet { why },
    };
    let why = || match words::recheck::to_do(job, at, &record) {
        steps if steps.is_empty() => words::recheck::decision(&record).to_string(),
        steps => steps.join(" "),
    };
    match &record.decision {
        Decision::Accept => Finding::Conforms,
        Decision::Look(_) | Decision::Incomplete(_) | Decision::NotRead => {
            Finding::Open { why: why() }
        }
        Decision::Swap(_) | Decision::NoSwap(_) | Decision::NotKitted => {
            Finding::NotMet { why: words::recheck::not_met(job, at, &record).join(" ") }
        }
    }
}

/// Reason why a pump's pieces do not conform on the figures of the job, if they do not: by their readings where it was
/// accepted, else by the pieces.
pub fn fault(job: &Job, pump: usize, of: &OutagePump) -> Option<String> {
    let at = &job.pumps[pump];
    if of.finding == Some(Finding::Conforms) {
        return match finding(job, pump, of) {
            Finding::Conforms => None,
            Finding::Open { why } | Finding::NotMet { why } => Some(why),
        };
    }
    let packs = match packs(job, at, &of.bag) {
        Ok(packs) => packs,
        Err(why) => return Some(why),
    };
    let model = job.model_of(at);
    let wrong = model.packs.iter().zip(&packs).find_map(|(place, pack)| {
        let count: u32 = pack.picks.iter().map(|pick| pick.count).sum();
        let may = place.least_pieces..=place.most_pieces;
        (!may.contains(&count)).then(|| {
            format!(
                "{}: {count} pieces, and its model allows {} to {}",
                place.label,
                may.start(),
                may.end()
            )
        })
    });
    wrong.or_else(|| {
        let judged = at.requirements.iter().zip(verdicts(job, at, &packs));
        let mut beyond = judged.filter(|(_, verdict)| !verdict.conforms());
        beyond.next().map(|(requirement, verdict)| {
            let unit = model.unit;
            format!(
                "{}: {} with its pieces, limits {}: {}",
                requirement.label,
                words::about(verdict.value, unit),
                words::limits(&verdict, unit),
                verdict.judgement().words()
            )
        })
    })
}
