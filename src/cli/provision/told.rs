//! The account of a provision, in a few lines.

use crate::cli::run::Run;
use crate::cli::voice::{out, warning};
use crate::decimal::Millionths;
use crate::job::Job;
use crate::provision::{Provision, ProvisionOptions};
use crate::verify::VerifiedProvision;
use crate::words::provision as words;

/// The most pumps with gaps that are told on the terminal one by one.
const MOST_GAPS: usize = 20;

/// A short account on the terminal.
pub(super) fn tell(verified: &VerifiedProvision, question: &ProvisionOptions, run: &Run) {
    let to = run.voice();
    let (outlook, provision) = (verified.outlook(), verified.provision());
    let job = outlook.job();
    if !job.unused.is_empty() {
        out!(to, "Not used: {}.", job.unused.join("; "));
    }
    let unmeasured = provision.safe.iter().filter(|kit| !kit.axes.is_empty()).count();
    out!(
        to,
        "{unmeasured} of {} pumps are not measured yet; values are examined in steps of {}.",
        job.pumps.len(),
        crate::words::length(question.step, crate::words::natural_unit(question.step))
    );
    let price = |cost: Millionths| crate::words::money(cost.raw(), job);
    let (together, trolley) = (&provision.together, &provision.trolley);
    let pieces = |count: u32| match count {
        1 => "1 piece".to_string(),
        count => format!("{count} pieces"),
    };
    out!(
        to,
        "Safe kits together  {:>14}  {:>10}  {}",
        price(together.cost),
        pieces(together.count),
        words::safe_proof(provision, job)
    );
    out!(
        to,
        "Shared trolley      {:>14}  {:>10}  {}",
        price(trolley.cost),
        pieces(trolley.count),
        words::trolley_proof(provision, question, job)
    );
    out!(to, "{}", words::chosen_for(provision, question));
    if let Some(margin) = words::margin(provision, job) {
        out!(to, "{margin}");
    }
    out!(
        to,
        "Counted with every pump measured before the first is kitted: it serves {}.",
        words::service(&provision.service)
    );
    out!(
        to,
        "Kitted one after the other as they are measured: {}.",
        words::service_in_turn(&provision.service)
    );
    out!(to, "{}", words::promise(provision, question));
    out!(to, "{}", words::fits(job, together));
    if !trolley.plates.is_empty() {
        out!(
            to,
            "The trolley needs more plates than there are of {}, unless several shapes are cut from one.",
            words::plates(job, &trolley.plates)
        );
    }
    for warning in words::warnings(job, provision, question) {
        warning!("WARNING {warning}");
    }
    tell_gaps(job, provision);
    if let Some(stop) = provision.stopped {
        out!(to, "Ended early by {}: these are the best found, with their bounds.", stop.words());
    }
    run.tell_written();
    out!(to, "{}", words::CAUTION);
}

/// Pumps with a value that no pieces in stock fit.
fn tell_gaps(job: &Job, provision: &Provision) {
    let kits = provision.safe.iter().enumerate();
    let gaps = kits.filter_map(|(pump, kit)| words::gap_line(job, pump, kit));
    let gaps: Vec<String> = gaps.collect();
    for gap in gaps.iter().take(MOST_GAPS) {
        warning!("{} {gap}.", words::GAP);
    }
    if let Some(more @ 1..) = gaps.len().checked_sub(MOST_GAPS) {
        warning!("{} for {more} more pumps; see Coverage.", words::GAP);
    }
}
