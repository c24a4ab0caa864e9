//! Other kits of one pump, each with what it costs the other pumps: all are planned again with that kit held.

use super::{PlanError, plan};
use crate::choose::control::Control;
use crate::choose::other_kits;
use crate::job::{Job, Standing};
use crate::plan::{Kit, Objective, PackPick, Plan};
use crate::verify::Verified;

/// Another kit of a pump.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OtherKit {
    /// Pieces, place by place.
    pub packs: Vec<PackPick>,
    /// Cost of it; `None` where the time did not allow to plan with it.
    pub cost: Option<OthersCost>,
}

/// Plan with a kit held, beside the plan at hand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OthersCost {
    /// Other pumps, by their index, that have a kit in the plan at hand and none in this one.
    pub lost: Vec<usize>,
    /// Other pumps that have a kit in this one alone.
    pub gained: Vec<usize>,
    /// Number of other pumps whose kits are of other pieces.
    pub changed: usize,
    /// Waste of all pumps less that of the plan at hand, in millionths of the currency.
    pub more_waste: i64,
    /// Whether serving and waste are proven: no plan with this kit held is better.
    pub proven: bool,
    /// Pumps served of each priority, counted downwards, then waste and pieces: the less the better.
    order: Vec<i64>,
}

/// Other kits of a pump.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OtherKitList {
    /// Kits, the one that leaves the best plan first; those that were not planned with come last, by their own waste.
    pub kits: Vec<OtherKit>,
    /// Number of other kits that there are.
    pub of: usize,
    /// Whether there may be more than could be listed in the time.
    pub cut: bool,
}

/// Other kits of a pump (by its index in the plan's job) out of the whole drawer: those of least waste of their own, `most`
/// of them, each planned with in its share of the time that the control leaves.
///
/// # Errors
/// [`PlanError`].
///
/// ```
/// use gapwright::choose::control::Control;
/// use gapwright::read::{self, Sources};
/// use gapwright::scratch::{other_kits, plan};
/// # std::env::set_current_dir(env!("CARGO_MANIFEST_DIR")).unwrap();
/// let [stock, pumps] = ["samples/tiny/stock.csv", "samples/tiny/pumps.csv"];
/// let sources = Sources { stock: stock.into(), pumps: pumps.into(), ..Sources::default() };
/// let job = read::job(&sources).expect("the sample has no problems");
/// let planned = plan(&job, &Control::unlimited()).unwrap();
/// let others = other_kits(&planned, 0, 10, &Control::unlimited()).unwrap();
/// // The plan at hand is proven best: with another kit held none is better.
/// for kit in &others.kits {
///     let cost = kit.cost.as_ref().unwrap();
///     assert!(!cost.lost.is_empty() || cost.more_waste >= 0);
/// }
/// ```
pub fn other_kits(
    planned: &Verified,
    pump: usize,
    most: usize,
    control: &Control<'_>,
) -> Result<OtherKitList, PlanError> {
    let (job, at_hand) = (planned.job(), planned.plan());
    let own = match &at_hand.kits[pump] {
        Kit::Served(packs) => packs.as_slice(),
        Kit::Short(_) => &[],
    };
    let found = other_kits::other_kits(job, pump, own, most, &control.tenths(2));
    let found = found.map_err(PlanError::Choose)?;
    let mut kits = Vec::with_capacity(found.kits.len());
    for packs in found.kits {
        let cost = match control.stop() {
            Some(_) => None,
            None => {
                let with = plan(&with_kit(job, pump, &packs), &control.tenths(2))?;
                Some(cost(pump, planned, &with))
            }
        };
        kits.push(OtherKit { packs, cost });
    }
    kits.sort_by(|a, b| match (&a.cost, &b.cost) {
        (Some(a), Some(b)) => a.order.cmp(&b.order),
        (a, b) => b.is_some().cmp(&a.is_some()),
    });
    Ok(OtherKitList { kits, of: found.of, cut: found.cut })
}

/// The job with a kit of a pump held.
fn with_kit(job: &Job, pump: usize, packs: &[PackPick]) -> Job {
    let mut standing = job.standing.clone();
    standing.resize_with(job.pumps.len(), Standing::default);
    standing[pump] = Standing { slip: Some(packs.to_vec()), held: true, ..Standing::default() };
    let mut parts = job.clone().into_parts();
    parts.standing = standing;
    Job::of_checked(parts)
}

fn cost(pump: usize, at_hand: &Verified, with: &Verified) -> OthersCost {
    let waste = |plan: &Plan| plan.goal(Objective::Waste).map_or(0, |goal| goal.value);
    let plans = [at_hand.plan(), with.plan()];
    let pairs = || {
        let pairs = plans[0].kits.iter().zip(&plans[1].kits).enumerate();
        pairs.filter(|(at, _)| *at != pump)
    };
    let served = |kit: &Kit| matches!(kit, Kit::Served(_));
    let turned = |was: bool| {
        let turned = pairs().filter(|(_, (a, b))| served(a) == was && served(b) != was);
        turned.map(|(at, _)| at).collect()
    };
    let counts = |aim| matches!(aim, Objective::ServedWeight | Objective::ServedOf(_));
    let order = plans[1].goals.iter().filter_map(|goal| match goal.objective {
        aim if counts(aim) => Some(-goal.value),
        Objective::Waste | Objective::Pieces => Some(goal.value),
        _ => None,
    });
    let aims = plans[1].goals.iter().map(|goal| goal.objective);
    let mut aims = aims.filter(|aim| counts(*aim) || *aim == Objective::Waste);
    OthersCost {
        lost: turned(true),
        gained: turned(false),
        changed: pairs().filter(|(_, (a, b))| served(a) && served(b) && a != b).count(),
        more_waste: waste(plans[1]) - waste(plans[0]),
        order: order.collect(),
        proven: aims.all(|aim| with.shows(aim)),
    }
}
