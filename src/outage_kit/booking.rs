//! A plan as it is entered into the ledger: its kits, and the judgement of the pumps that it leaves alone.

use super::{cut_names, fault, index, pieces, shared};
use crate::job::Job;
use crate::outage::{Outage, PlanBooking, PlannedKit, PumpState, TagNote};
use crate::plan::Kit;
use crate::verify::Verified;
use crate::words;

/// Code of a plan without a pump.
pub const NO_PLAN: &str = "none";

/// Booking of a plan of the pumps in play, with the judgement of the others; `job` has all pumps, on the figures of today.
pub fn plan_booking(verified: &Verified, job: &Job, outage: &Outage) -> PlanBooking {
    let (in_play, plan) = (verified.job(), verified.plan());
    let code = if in_play.pumps.is_empty() { NO_PLAN.into() } else { verified.planned().id() };
    let mut booking = PlanBooking { code, ..PlanBooking::default() };
    let names = cut_names(in_play);
    (booking.cuts, booking.spoils) = shared(verified);
    booking.left = words::ahead::of_plan(in_play, plan);
    for (at, (pump, kit)) in in_play.pumps.iter().zip(&plan.kits).enumerate() {
        let tag = pump.tag.clone();
        let known = outage.pump(&tag);
        let is_bagged = known.is_some_and(|known| known.state == PumpState::Bagged);
        match kit {
            Kit::Served(_) if verified.leaves_closed(at) => booking.held.push(tag),
            Kit::Served(_) => {
                booking.kits.push(PlannedKit { tag, pieces: pieces(verified, at, &names) });
            }
            Kit::Short(shorts) => {
                let why: Vec<String> =
                    shorts.iter().map(|short| words::reason(in_play, pump, short)).collect();
                let cures = words::cures(in_play, plan, at).join(" ");
                if !cures.is_empty() {
                    booking.cures.push(TagNote { tag: tag.clone(), why: cures });
                }
                let short = TagNote { tag, why: why.join("; ") };
                if is_bagged { &mut booking.not_fit } else { &mut booking.short }.push(short);
            }
        }
    }
    judge_others(job, outage, in_play, &mut booking);
    booking
}

/// Adds the pumps that wait for a reading, and the judgement of every pump whose pieces are out, on the figures of today.
pub fn judge_others(job: &Job, outage: &Outage, in_play: &Job, booking: &mut PlanBooking) {
    for pump in &job.not_measured {
        if outage.pump(&pump.tag).is_none_or(|known| known.state.is_in_play()) {
            let why = format!("waits for {}", words::waits_for(pump));
            booking.waiting.push(TagNote { tag: pump.tag.clone(), why });
        }
    }
    let out = outage.pumps().filter(|pump| !pump.state.is_in_play());
    let out = out.filter(|pump| pump.state != PumpState::Cancelled);
    for pump in out.filter(|pump| index(in_play, &pump.tag).is_none()) {
        let Some(at) = index(job, &pump.tag) else { continue };
        match fault(job, at, pump) {
            None => booking.held.push(pump.tag.clone()),
            Some(why) => booking.not_fit.push(TagNote { tag: pump.tag.clone(), why }),
        }
    }
}
