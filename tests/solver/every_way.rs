//! The model of every way: a yes or no for each way to kit a pump, at most one of them for each pump, and no more pieces
//! of an item than there are. It closes where the obvious model is too weak, and says nothing of plates and spoiled packs.

use gapwright::job::Job;

use crate::model::Rows;
use crate::ways::{available, ways};

/// The rows of a job without plates and spoiled packs.
pub fn of_every_way(job: &Job) -> Rows {
    assert!(job.plates.is_empty() && !job.policy.opened_cartons_spoiled);
    let weights = job.weights().expect("whole numbers carry the weights");
    let mut all = Rows::default();
    let drawer = job.stock.iter().map(|lot| (Vec::new(), available(lot) as u32));
    all.limits = drawer.collect();
    for pump in &job.pumps {
        let first = all.most.len();
        let (_, weight) = weights.iter().find(|(level, _)| *level == pump.priority).unwrap();
        for way in ways(job, pump) {
            let variable = all.most.len();
            all.most.push(Some(1));
            all.goals[0].push((variable, *weight));
            all.goals[1].push((variable, i64::try_from(way.cost).unwrap()));
            all.goals[3].push((variable, way.items.len() as i64));
            way.items.iter().for_each(|&item| all.limits[item].0.push(variable));
        }
        all.limits.push(((first..all.most.len()).collect(), 1));
    }
    all.served = (0..all.most.len()).collect();
    all
}
