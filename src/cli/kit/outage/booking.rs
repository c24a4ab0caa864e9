//! The plan as it is entered: its kits, and the judgement of the pumps that it leaves alone.

use crate::job::Job;
use crate::outage::{Outage, PlanBooking, PlannedKit, PumpState, TagNote};
use crate::outage_kit::{self, index};
use crate::plan::Kit;
use crate::verify::Verified;
use crate::words;

/// The plan as it is entered: its kits, and the judgement of the pumps that it leaves alone.
pub(super) fn plan_booking(verified: &Verified, job: &Job, outage: &Outage) -> PlanBooking {
    let (in_play, plan) = (verified.job(), verified.plan());
    let mut booking = PlanBooking { code: verified.planned().id(), ..PlanBooking::default() };
    let names = outage_kit::cut_names(in_play);
    (booking.cuts, booking.spoils) = outage_kit::shared(verified);
    for (at, (pump, kit)) in in_play.pumps.iter().zip(&plan.kits).enumerate() {
        let tag = pump.tag.clone();
        let known = outage.pump(&tag);
        let is_bagged = known.is_some_and(|known| known.state == PumpState::Bagged);
        match kit {
            Kit::Served(_) if verified.leaves_closed(at) => booking.held.push(tag),
            Kit::Served(_) => {
                booking
                    .kits
                    .push(PlannedKit { tag, pieces: outage_kit::pieces(verified, at, &names) });
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
pub(super) fn judge_others(job: &Job, outage: &Outage, in_play: &Job, booking: &mut PlanBooking) {
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
        match outage_kit::fault(job, at, pump) {
            None => booking.held.push(pump.tag.clone()),
            Some(why) => booking.not_fit.push(TagNote { tag: pump.tag.clone(), why }),
        }
    }
}
