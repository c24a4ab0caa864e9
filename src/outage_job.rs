//! The job of a running outage: workbooks with the dimensions that were booked in their cells, and the pieces that were cut.

use crate::changes::{PlanSide, SlipChange, changes};
use crate::job::Job;
use crate::outage::{Outage, PumpState};
use crate::outage_books::{self, OutageBooks};
use crate::outage_cells;
use crate::outage_file::OutageFile;
use crate::outage_kit::{self, with_cut_lots};
use crate::problem::Problems;
use crate::read::{self, Memory, Sources};

/// Reads a job, with the dimensions that were booked in the cells of the pump workbook. A cell that says something else
/// by now is a problem.
///
/// ```
/// use gapwright::outage::Outage;
/// use gapwright::outage_job::job_with;
/// use gapwright::problem::Problems;
/// use gapwright::read::Sources;
/// # std::env::set_current_dir(env!("CARGO_MANIFEST_DIR"))?;
/// let [stock, pumps] = ["samples/tiny/stock.csv", "samples/tiny/pumps.csv"];
/// let sources = Sources { stock: stock.into(), pumps: pumps.into(), ..Sources::default() };
/// let job = job_with(&sources, &Outage::default(), &mut Problems::new()).expect("no problems");
/// assert_eq!(job.pumps.len(), 3);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn job_with(sources: &Sources, outage: &Outage, problems: &mut Problems) -> Option<Job> {
    let read = if outage.pumps().all(|pump| pump.measured.is_empty()) {
        read::job(sources)
    } else {
        let [stock, mut pumps] = outage_books::read(sources, problems)?;
        outage_cells::fill(&mut pumps, outage, problems);
        read::job_of(stock, pumps, sources)
    };
    match read {
        Ok(job) => {
            problems.absorb(Problems::of_warnings(job.warnings.clone()));
            Some(with_cut_lots(job, outage))
        }
        Err(found) => {
            problems.absorb(found);
            None
        }
    }
}

/// Changes of the last plan of an outage from the one before it, whose workbooks the file holds; and that plan as its slips
/// have it, without those of bags that went to the bench since: they are right as they are. `job` has all pumps on the
/// figures of today.
pub fn changes_of_last_plan(
    file: &OutageFile,
    now: &Outage,
    job: &Job,
    memory: &Memory,
) -> (Vec<SlipChange>, PlanSide) {
    let then = now.before_last_plan();
    if then.last_plan().is_none() {
        return (Vec::new(), PlanSide::default());
    }
    // Workbooks that can no longer be read leave figures out.
    let unpacked = OutageBooks::unpack(file, &then).ok();
    let job_then = unpacked.and_then(|books| {
        let sources = Sources { memory: memory.clone(), ..books.sources() };
        job_with(&sources, &then, &mut Problems::new())
    });
    let mut before = outage_kit::side(job_then.as_ref(), &then);
    before.slips.retain(|slip| {
        let state = now.pump(&slip.tag).map(|pump| pump.state);
        !matches!(state, Some(PumpState::Issued | PumpState::Rejected | PumpState::Accepted))
    });
    (changes(&before, &outage_kit::side(Some(job), now)), before)
}
