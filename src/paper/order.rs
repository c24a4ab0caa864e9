//! Orders that several sheets have: of the kits, on slips and bag labels alike; of the bins, as they are walked.

use std::cmp::Ordering;

use crate::job::Job;

/// The pumps, by their index in the job, in the order in which their kits are numbered from 1: by due date, priority,
/// row.
pub(crate) fn of_kits(job: &Job) -> Vec<usize> {
    let mut order: Vec<usize> = (0..job.pumps.len()).collect();
    order.sort_by(|&a, &b| {
        let (p, q) = (&job.pumps[a], &job.pumps[b]);
        p.due_serial().total_cmp(&q.due_serial()).then(p.priority.cmp(&q.priority)).then(a.cmp(&b))
    });
    order
}

/// Two bins in the order of a walk: A2 before A10, in any case.
pub(crate) fn of_bins(a: &str, b: &str) -> Ordering {
    alphanumeric_sort::compare_str(a.to_lowercase(), b.to_lowercase())
}

#[cfg(test)]
mod tests {
    use super::of_bins;

    #[test]
    fn bins_are_walked_by_their_numbers() {
        let mut bins = ["B1", "a10", "A9", "A2-10", "A2-9", "", "10", "9"];
        bins.sort_by(|a, b| of_bins(a, b));
        assert_eq!(bins, ["", "9", "10", "A2-9", "A2-10", "A9", "a10", "B1"]);
    }
}
