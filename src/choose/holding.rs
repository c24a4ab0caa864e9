//! Cost of holding bags: the best plan with none of them reopened, with one, two and so on, up to the free choice.
//!
//! Each row is a problem of its own, in which the number of bags that stay closed is a limit and serving and waste are the
//! goals. Groups of pumps are worked out one by one and put together by the number of bags that each reopens.

use std::collections::BTreeMap;

use crate::choose::control::Control;
use crate::choose::instance::{Assignment, Instance};
use crate::choose::stages::{solve_from, solve_held};
use crate::choose::standing::Stood;
use crate::choose::{Beside, ChooseError, Group, Setup, objectives};
use crate::decimal::Money;
use crate::job::Job;
use crate::narrow::narrow;
use crate::plan::{HoldingCost, Objective, Plan};

/// Plan with the cost of holding its bags, as far as [a share](Control::share) of the time allows: the first row that it does
/// not allow is left out with all after it. No rows where no bag could stay closed.
pub fn with_holding(job: &Job, mut plan: Plan, control: &Control<'_>) -> Plan {
    // A bag that is held has its cost as well.
    let mut parts = job.clone().into_parts();
    parts.standing.iter_mut().for_each(|standing| standing.held = false);
    if let Ok(rows) = rows(&Job::of_checked(parts), &control.share().unheard()) {
        plan.holding = rows;
    }
    plan
}

/// Best plan of a group that reopens so many bags.
#[derive(Clone)]
struct Point {
    /// Pumps served of each priority, counted downwards, then the waste.
    values: Vec<i64>,
    proven: bool,
    reopened: Vec<usize>,
    served: usize,
}

impl Point {
    fn and(&self, other: &Point) -> Point {
        Point {
            values: self.values.iter().zip(&other.values).map(|(a, b)| a + b).collect(),
            proven: self.proven && other.proven,
            reopened: self.reopened.iter().chain(&other.reopened).copied().collect(),
            served: self.served + other.served,
        }
    }
}

fn rows(job: &Job, control: &Control<'_>) -> Result<Vec<HoldingCost>, ChooseError> {
    let _lists = control.lists();
    let stood = Stood::of(job);
    let out = stood.out_of_play(job, &|_| false, false);
    let in_play: Vec<bool> = (0..job.pumps.len()).map(|pump| !out.has(pump)).collect();
    if !(0..job.pumps.len()).any(|pump| in_play[pump] && stood.has_bag(pump)) {
        return Ok(Vec::new());
    }
    let goal = |aim: &Objective| matches!(aim, Objective::ServedOf(_) | Objective::Waste);
    let aims: Vec<Objective> =
        [Objective::Reopened].into_iter().chain(objectives(job).into_iter().filter(goal)).collect();
    let beside = Beside { stood: stood.clone(), holders: Vec::new() };
    let mut laid = Setup::build(job, &in_play, &out.available, beside, control)?;
    if laid.cut.is_some() {
        return Ok(Vec::new());
    }
    let instances = laid.instances(job, &aims);
    // Bags of pumps out of play, and those that no kit can leave closed.
    let mut grouped = vec![false; job.pumps.len()];
    laid.groups.iter().flat_map(|group| &group.pumps).for_each(|&pump| grouped[pump] = true);
    let closed = |pump: usize| out.kits[pump].is_some() || grouped[pump] && stood.has_bag(pump);
    let mut outside = Point {
        values: vec![0; aims.len() - 1],
        proven: true,
        reopened: job.bags().filter(|&pump| !closed(pump)).collect(),
        served: 0,
    };
    if let Some((group, columns)) = out.group() {
        let held = group.instance(job, &aims, &laid.ready, columns, &[]);
        let taken: Assignment = group.pumps.iter().map(|_| Some(0)).collect();
        outside.values = held.value(&taken)[1..].to_vec();
        outside.served = group.pumps.len();
    }
    let mut all = BTreeMap::from([(outside.reopened.len(), outside)]);
    for (group, mut instance) in laid.groups.iter().zip(instances) {
        stood.price(group, &aims, &mut instance);
        let curve = curve(group, &stood, &instance, &aims, control);
        let mut next: BTreeMap<usize, Point> = BTreeMap::new();
        for before in all.values() {
            for point in &curve {
                let both = before.and(point);
                let known = next.entry(both.reopened.len()).or_insert_with(|| both.clone());
                if both.values < known.values {
                    *known = both;
                }
            }
        }
        all = next;
    }
    let mut rows: Vec<HoldingCost> = Vec::new();
    let mut least: Option<Vec<i64>> = None;
    for point in all.into_values() {
        if least.as_ref().is_some_and(|least| *least <= point.values) {
            continue;
        }
        let waste = point.values.last().copied().unwrap_or(0);
        let mut pumps = point.reopened;
        pumps.sort_unstable();
        rows.push(HoldingCost {
            pumps,
            served: narrow(point.served),
            waste: Money::from_raw(waste),
            proven: point.proven,
        });
        least = Some(point.values);
    }
    // A row after one that the time did not allow could be bettered by it.
    let open = rows.iter().position(|row| !row.proven).map_or(rows.len(), |open| open + 1);
    rows.truncate(open);
    Ok(rows)
}

/// Best plans of a group by the number of bags that they reopen, from the fewest to the free choice.
fn curve(
    group: &Group,
    stood: &Stood,
    instance: &Instance,
    aims: &[Objective],
    control: &Control<'_>,
) -> Vec<Point> {
    let most = solve_from(instance, &aims[..1], None, &[], control);
    let point = |taken: &Assignment, proven: bool| {
        let kept =
            |block: usize| taken[block].is_some_and(|column| instance.cost(0, block, column) < 0);
        let bags = group.pumps.iter().enumerate().filter(|(_, pump)| stood.has_bag(**pump));
        Point {
            values: instance.value(taken)[1..aims.len()].to_vec(),
            proven,
            reopened: bags.filter(|(block, _)| !kept(*block)).map(|(_, pump)| *pump).collect(),
            served: taken[..instance.pumps].iter().flatten().count(),
        }
    };
    let solved = |held: i64, start: Assignment| {
        let solved = solve_held(instance, aims, &[held], start, control);
        let proven = solved.values[1..] == solved.bounds[1..];
        (point(&solved.taken, proven), solved.taken)
    };
    let (free, _) = solved(0, most.taken.clone());
    let mut points = Vec::new();
    let mut start = most.taken;
    for held in most.values[0]..=0 {
        let (next, taken) = solved(held, start);
        let over = next.values <= free.values || control.stop().is_some();
        points.push(next);
        start = taken;
        if over {
            break;
        }
    }
    points
}
