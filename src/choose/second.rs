//! Second opinion on the waste: the bound of its relaxation, by the general solver behind good_lp.
//!
//! All columns are listed, and the general solver alone proposes the multipliers: nothing of the simplex method, the ways or
//! the windows of the choice has part in it. The bound that they prove is added up in whole numbers.

use crate::choose::bound::{Allowed, Multipliers, Stage, round_up};
use crate::choose::climb::{Climb, FAR};
use crate::choose::control::Control;
use crate::choose::instance::CostRow;
use crate::choose::relaxation::scales;
use crate::choose::search::cost_step;
use crate::choose::standing::{Stood, held_piece};
use crate::choose::{Beside, ChooseError, Setup, objectives, tier_of_waste};
use crate::decimal::Money;
use crate::job::Job;
use crate::plan::{Kit, Plan};
use crate::stock::Item;

/// Least waste that any plan can have which serves as many pumps of each priority as this one, by the general solver:
/// mostly a little below the least there is, since it may take kits in part.
///
/// # Errors
/// [`ChooseError`] when there are too many ways to list.
pub fn second_opinion(job: &Job, plan: &Plan, control: &Control<'_>) -> Result<Money, ChooseError> {
    let _lists = control.lists();
    let aims = objectives(job);
    let Some(tier) = tier_of_waste(&aims) else { return Ok(Money::ZERO) };
    let all = vec![true; job.pumps.len()];
    let available: Vec<u32> = job.stock.iter().map(Item::available).collect();
    let holders = job.hold_back.iter().map(|piece| vec![held_piece(piece)]).collect();
    let beside = Beside { stood: Stood::of(job), holders };
    let mut laid = Setup::build(job, &all, &available, beside, control)?;
    let instances = laid.instances(job, &aims);
    let mut least = 0;
    for (group, instance) in laid.groups.iter().zip(&instances) {
        let served = |at: usize| match plan.kits.get(group.pumps[at]) {
            Some(kit) => matches!(kit, Kit::Served(_)),
            None => plan.held_back.contains(&(group.pumps[at] - plan.kits.len())),
        };
        let limits = instance.tiers[..tier].iter().map(|tier| match tier {
            CostRow::Served(gains) => {
                let gained = gains.iter().enumerate().filter(|(at, _)| served(*at));
                -gained.map(|(_, gain)| gain).sum::<i64>()
            }
            _ => 0,
        });
        let limits: Vec<i64> = limits.collect();
        let sets = instance.sets();
        let stage = Stage { instance, sets: &sets, tier, limits: &limits };
        let mut allowed = Allowed::all(instance);
        // Where all are served, none may be left out.
        if limits == instance.all_served(tier) {
            allowed.idle.fill(false);
        }
        let step = cost_step(instance, tier, &allowed);
        let (cost_step, scales) = (step, scales(stage, &allowed));
        let climb =
            Climb { stage, allowed: &allowed, cost_step, enough: i64::MAX, scales: &scales };
        let mut pool = vec![Vec::new(); instance.blocks.len()];
        let zero = Multipliers::zero(sets.len(), tier);
        let peak = climb.climb(zero, FAR, &mut pool, control);
        least += peak.map_or(0, |peak| round_up(peak.bound, step).max(0));
    }
    Ok(Money::from_raw(least))
}
