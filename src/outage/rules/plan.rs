//! Plans and the workbooks behind them.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::shared::cut_moves;
use super::{Effect, Effected, NEXT_PLAN, back, moves_with, out, sorted, waits_for_a_plan};
use crate::issue::key;
use crate::outage::pump::{NumberedKit, OutagePump, PumpState};
use crate::outage::{BookingRefusal, Holding, Outage, PlanBooking, StockMove, TagNote, TookOver};

/// Effect of a plan: kits with their numbers, and the judgement of the pumps that it leaves alone.
pub(super) fn planned(outage: &Outage, plan: &PlanBooking) -> Effected {
    let mut effect = Effect::default();
    let mut pumps: BTreeMap<String, Option<OutagePump>> = BTreeMap::new();
    for kit in &plan.kits {
        let before = may_change(outage, &kit.tag)?;
        let pieces = sorted(kit.pieces.iter().cloned());
        let same = before.kit.clone().filter(|known| known.pieces == pieces);
        let numbered = same.unwrap_or_else(|| {
            effect.kits += 1;
            NumberedKit { number: outage.kits() + effect.kits, pieces }
        });
        // Its bag is put back before the new kit is packed.
        let reopen = before.state == PumpState::Bagged;
        let state = if reopen { PumpState::Bagged } else { PumpState::Planned };
        let after = OutagePump { kit: Some(numbered), why: None, not_fit: None, ..before };
        pumps.insert(key(&kit.tag), Some(OutagePump { state, reopen, ..after }));
    }
    let without = plan.short.iter().map(|short| (short, PumpState::Short));
    let waiting = plan.waiting.iter().map(|waits| (waits, PumpState::NotMeasured));
    for (TagNote { tag, why }, state) in without.chain(waiting) {
        let before = in_play(outage, tag)?;
        let after =
            OutagePump { state, kit: None, why: Some(why.clone()), not_fit: None, ..before };
        pumps.insert(key(tag), Some(after));
    }
    held(outage, plan, &mut pumps)?;
    for pump in pumps.values_mut().flatten() {
        let cures = plan.cures.iter().find(|note| key(&note.tag) == key(&pump.tag));
        pump.cures = cures.map(|note| note.why.clone());
    }
    let taken = plan.kits.iter().flat_map(|kit| out(&kit.pieces));
    let open = |pump: &&OutagePump| {
        let after = pumps.get(&key(&pump.tag)).and_then(Option::as_ref).unwrap_or(pump);
        after.is_to_be_put_back()
    };
    let put_back = outage.pumps().filter(open).flat_map(|pump| back(&pump.bag));
    let cut = plan.cuts.iter().flat_map(cut_moves);
    let spoiled = plan.spoils.iter().map(|rest| (rest.item.as_str(), -i64::from(rest.count)));
    // Asked only: planned pieces stay where they are, and plates whole.
    let new = plan.cuts.iter().flat_map(|cut| &cut.lots).map(|lot| lot.item.as_str());
    let new: Vec<&str> = new.collect();
    moves_with(outage, &new, taken.chain(put_back).chain(cut).chain(spoiled))?;
    effect.pumps = pumps.into_iter().map(|(key, pump)| (key, pump.map(Arc::new))).collect();
    Ok(effect)
}

/// Pump that a plan may give another kit: its pieces are in their bins, or in a bag that was not issued.
fn may_change(outage: &Outage, tag: &str) -> Result<OutagePump, BookingRefusal> {
    let bagged = outage.pump(tag).filter(|pump| pump.state == PumpState::Bagged);
    bagged.cloned().map_or_else(|| in_play(outage, tag), Ok)
}

/// Pump whose pieces are in their bins.
fn in_play(outage: &Outage, tag: &str) -> Result<OutagePump, BookingRefusal> {
    let pump = outage.pump(tag).cloned().unwrap_or_else(|| OutagePump::new(tag));
    if pump.state.is_in_play() {
        return Ok(pump);
    }
    Err(BookingRefusal::new(
        format!("a plan for {tag}, which is {}", pump.state.words()),
        "plans for pumps whose pieces are in their bins",
        "run `gapwright kit --outage` again: something was booked meanwhile",
    ))
}

/// Pumps out of play, as the plan judges them; those that left the pump workbook leave the outage.
fn held(
    outage: &Outage,
    plan: &PlanBooking,
    pumps: &mut BTreeMap<String, Option<OutagePump>>,
) -> Result<(), BookingRefusal> {
    let held = plan.held.iter().map(|tag| (key(tag), None));
    let not_fit = plan.not_fit.iter().map(|note| (key(&note.tag), Some(note.why.clone())));
    let judged: BTreeMap<String, Option<String>> = held.chain(not_fit).collect();
    for before in outage.pumps() {
        let key = key(&before.tag);
        if before.state == PumpState::Bagged && pumps.contains_key(&key) {
            continue;
        }
        match (before.state, judged.get(&key)) {
            (PumpState::Cancelled, _)
                if before.bag.is_empty() && before.why.as_deref() != Some(NEXT_PLAN) =>
            {
                let mut after = before.clone();
                waits_for_a_plan(&mut after);
                pumps.insert(key, Some(after));
            }
            (PumpState::Cancelled, _) => {}
            (state, _) if state.is_in_play() => {
                pumps.entry(key).or_insert(None);
            }
            (_, Some(not_fit)) if before.reopen || *not_fit != before.not_fit => {
                let not_fit = not_fit.clone();
                pumps.insert(key, Some(OutagePump { not_fit, reopen: false, ..before.clone() }));
            }
            (_, Some(_)) => {}
            (state, None) => {
                return Err(BookingRefusal::new(
                    format!("a plan without {}, which is {}", before.tag, state.words()),
                    "every pump whose pieces are out",
                    format!(
                        "put its row back into the pump workbook, or book `cancel {}`",
                        before.tag
                    ),
                ));
            }
        }
    }
    Ok(())
}

/// Effect of taking workbooks over: new items, and counts that are said to hold.
pub(super) fn took_over(outage: &Outage, taken: &TookOver) -> Effected {
    let differences = outage.differences(&taken.counts);
    let mut effect = Effect::default();
    let new = taken.counts.iter().filter(|count| outage.stock_of(&count.item).is_none());
    let new = new.map(|count| (count.item.as_str(), i64::from(count.count)));
    effect.moves = new
        .filter(|(_, pieces)| *pieces != 0)
        .map(|(item, pieces)| StockMove { item: item.to_string(), pieces })
        .collect();
    match taken.holds {
        None if !differences.is_empty() => {
            return Err(BookingRefusal::new(
                format!("counts of {} items that differ from the ledger", differences.len()),
                "counts as taken over, or as the ledger has them",
                "say which holds: --counts workbook or --counts ledger",
            ));
        }
        Some(Holding::Workbook) => {
            let differs = differences.iter();
            effect.moves.extend(differs.map(|difference| StockMove {
                item: difference.item.clone(),
                pieces: i64::from(difference.workbook.unwrap_or(0)) - difference.ledger,
            }));
        }
        None | Some(Holding::Ledger) => {}
    }
    Ok(effect)
}
