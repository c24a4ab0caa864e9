//! Cures of pumps that are not fit to assemble: the cheapest pieces to buy, the bags that hold what is lacking, and what the
//! nearest kit asks of rule and limits. Facts, not advice: each is for somebody else to decide.

use super::nearest::{Alone, Spent, as_far_as_allowed, nearest};
use crate::accounting::stack;
use crate::choose::choose;
use crate::choose::control::Control;
use crate::choose::purchase::purchase;
use crate::decimal::Money;
use crate::job::{Job, Parts};
use crate::plan::{Cure, Kit, LimitMove, PackPick, PiecesToBuy, Plan, Shortfall};
use crate::policy::{Acceptance, Policy};
use crate::purchase::{CartonOffer, Market};
use crate::stack::judge;
use crate::stock::Item;

/// Plan with the cures of its short pumps: of all of them, but where that is more work than a plan is worth, of the first.
pub fn with_cures(job: &Job, mut plan: Plan) -> Plan {
    let kits = plan.kits.iter().enumerate();
    let short = kits.filter_map(|(pump, kit)| match kit {
        Kit::Short(shortfalls) => Some((pump, &shortfalls[..])),
        Kit::Served(_) => None,
    });
    let short: Vec<(usize, &[Shortfall])> = short.collect();
    let taken = [plan.issued(job), plan.plates_cut(job)];
    let cures = as_far_as_allowed(job, &short, |one, spent| cure(job, &plan, *one, &taken, spent));
    plan.cures = cures;
    plan
}

/// Plan with the cure of one short pump (by its index) alone, of any number of short pumps.
pub fn with_cure_of(job: &Job, mut plan: Plan, pump: usize) -> Plan {
    let taken = [plan.issued(job), plan.plates_cut(job)];
    plan.cures = match &plan.kits[pump] {
        Kit::Short(shortfalls) => {
            vec![cure(job, &plan, (pump, shortfalls), &taken, &Spent::default())]
        }
        Kit::Served(_) => Vec::new(),
    };
    plan
}

fn cure(
    job: &Job,
    plan: &Plan,
    (pump, shortfalls): (usize, &[Shortfall]),
    taken: &[Vec<u32>; 2],
    spent: &Spent,
) -> Cure {
    let nearest = nearest(job, pump, shortfalls, taken, spent);
    Cure {
        pump,
        buy: spent.on(|control| to_buy(job, pump, taken, control)),
        bags: spent.on(|control| bags(job, plan, pump, taken, control)),
        rules: nearest.as_deref().map_or_else(Vec::new, |packs| rules(job, pump, packs)),
        moves: nearest.as_deref().map_or_else(Vec::new, |packs| moves(job, pump, packs)),
        nearest,
    }
}

/// The least that serves the pump beside the pieces that are left, wherever the stock gives a price.
fn to_buy(
    job: &Job,
    pump: usize,
    taken: &[Vec<u32>; 2],
    control: &Control<'_>,
) -> Option<PiecesToBuy> {
    let Alone { items, parts } = Alone::of(job, pump, taken);
    let offer = |(item, lot): (usize, &Item)| {
        let price = lot.offer.unit_cost.unwrap_or(lot.unit_cost);
        let pack = lot.offer.carton_qty.unwrap_or(1).max(1);
        (lot.cut.is_none() && price > Money::ZERO).then(|| CartonOffer {
            item,
            pack,
            price: Money::from_raw(price.raw().saturating_mul(i64::from(pack))),
            lead_days: 0,
        })
    };
    let offers: Vec<Option<CartonOffer>> = parts.stock.iter().enumerate().map(offer).collect();
    let market = Market { offers, today: 0, budget: None };
    let policy = Policy { opened_cartons_spoiled: false, ..parts.policy.clone() };
    let alone = Job::of_checked(Parts { pumps: vec![job.pumps[pump].clone()], policy, ..parts });
    let bought = purchase(&alone, &market, control).ok()?;
    let served = matches!(bought.plan.kits.first(), Some(Kit::Served(_)));
    let pieces = bought.pieces(&market).into_iter().zip(items).filter(|(count, _)| *count > 0);
    let pieces: Vec<(usize, u32)> = pieces.map(|(count, item)| (item, count)).collect();
    (served && !pieces.is_empty()).then(|| PiecesToBuy { pieces, price: bought.cost(&market) })
}

/// Pumps whose closed bags hold pieces that would serve the pump, with those that are left over.
fn bags(
    job: &Job,
    plan: &Plan,
    pump: usize,
    taken: &[Vec<u32>; 2],
    control: &Control<'_>,
) -> Vec<usize> {
    let alone = Alone::of(job, pump, taken);
    let serves = |bag: &usize| {
        let Kit::Served(packs) = &plan.kits[*bag] else { return false };
        let mut parts = alone.parts.clone();
        let mut helps = false;
        for pick in packs.iter().flat_map(|pack| &pack.picks).filter(|pick| pick.peeled == 0) {
            if let Ok(at) = alone.items.binary_search(&pick.item) {
                parts.stock[at].on_hand += pick.count;
                helps = true;
            }
        }
        parts.pumps = vec![job.pumps[pump].clone()];
        let chosen = |parts: Parts| choose(&Job::of_checked(parts), control);
        helps && chosen(parts).is_ok_and(|plan| matches!(plan.kits[0], Kit::Served(_)))
    };
    (0..job.pumps.len()).filter(|&bag| plan.leaves_closed(job, bag)).filter(serves).collect()
}

/// Other rules that take the nearest kit as it is.
fn rules(job: &Job, pump: usize, packs: &[PackPick]) -> Vec<Acceptance> {
    let of = &job.pumps[pump];
    let parts = stack(job, of, packs);
    let all = [Acceptance::WorstCase, Acceptance::Expanded, Acceptance::Nominal];
    let others = all.into_iter().filter(|rule| *rule != job.policy.acceptance);
    let takes = |rule: &Acceptance| {
        let guard = Policy { acceptance: *rule, ..job.policy.clone() }.guard();
        of.requirements.iter().all(|asked| judge(&asked.form, &parts, guard).conforms())
    };
    others.filter(takes).collect()
}

/// Limits that the nearest kit misses under the rule of the job, each with the distance.
fn moves(job: &Job, pump: usize, packs: &[PackPick]) -> Vec<LimitMove> {
    let of = &job.pumps[pump];
    let parts = stack(job, of, packs);
    let mut moves = Vec::new();
    for (requirement, asked) in of.requirements.iter().enumerate() {
        let verdict = judge(&asked.form, &parts, job.policy.guard());
        let sides = [(false, verdict.margin_lower()), (true, verdict.margin_upper())];
        for (upper, margin) in sides {
            let missed = margin.filter(|margin| margin.raw() < 0);
            moves.extend(missed.map(|margin| LimitMove { requirement, upper, by: -margin }));
        }
    }
    moves
}
