//! The order of the kits, the same on the slips and on the bag labels: by due date, priority, row.

use crate::job::Job;

/// The pumps, by their index in the job, in the order in which their kits are numbered from 1.
pub(super) fn of_kits(job: &Job) -> Vec<usize> {
    let mut order: Vec<usize> = (0..job.pumps.len()).collect();
    order.sort_by(|&a, &b| {
        let (p, q) = (&job.pumps[a], &job.pumps[b]);
        p.due_serial().total_cmp(&q.due_serial()).then(p.priority.cmp(&q.priority)).then(a.cmp(&b))
    });
    order
}
