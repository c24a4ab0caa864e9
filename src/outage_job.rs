//! The job of a running outage: workbooks with the dimensions that were booked in their cells, and the pieces that were cut.

use crate::job::Job;
use crate::outage::Outage;
use crate::outage_books;
use crate::outage_cells;
use crate::outage_kit::with_cut_lots;
use crate::problem::Problems;
use crate::read::{self, Sources};

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
