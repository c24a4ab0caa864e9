//! The plan of a desk as it may be printed, or why it may not.
//!
//! # Decision
//!
//! Paper is picked and packed from. So nothing is printed that is only tried: under What if of an outage nothing at all, and of
//! two workbooks the plan that `kit` makes of them, while no value is changed and no kit held. Of an outage the plan that
//! counts is printed, and no preview. A sheet marked as a trial would lie on the bench beside one that is not.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::Ordering;

use maud::{Markup, PreEscaped};

use super::{Desk, State, held};
use crate::job::Job;
use crate::outage::Outage;
use crate::page::board;
use crate::page::printing::{self, Wanted};
use crate::page::running::Mode;
use crate::verify::Verified;

/// A plan to print.
pub(in crate::page) struct ToPrint {
    pub(in crate::page) planned: Arc<Verified>,
    pub(in crate::page) of_outage: Option<OfOutage>,
}

/// Outage of a plan.
pub(in crate::page) struct OfOutage {
    pub(in crate::page) path: PathBuf,
    pub(in crate::page) outage: Outage,
    /// Job of all pumps, on the figures of today.
    pub(in crate::page) job: Job,
}

const BEING_MADE: &str = "The plan is being worked out. Try again in a moment.";

impl Desk {
    /// The plan to print.
    ///
    /// # Errors
    /// The reason, in words, why none may be printed.
    pub(in crate::page) fn to_print(&self) -> Result<ToPrint, String> {
        self.wanted.store(true, Ordering::Relaxed);
        let state = held(&self.state);
        let planned = state.printable()?.clone();
        let of_outage = state.running.as_ref().map(|running| OfOutage {
            path: running.path().to_path_buf(),
            outage: running.now.outage.clone(),
            job: running.with_cut_lots(state.scratch.job()),
        });
        Ok(ToPrint { planned, of_outage })
    }

    /// HTML of the page that asks what is to be printed.
    pub(in crate::page) fn paper(&self, wanted: &Wanted, faults: &[String]) -> Markup {
        self.wanted.store(true, Ordering::Relaxed);
        let state = held(&self.state);
        let links = board::links(state.running.as_ref(), "/paper");
        let job = state.scratch.job();
        let pumps: Vec<(u32, &str)> =
            job.pumps.iter().map(|pump| (pump.row, pump.tag.as_str())).collect();
        let last = state.running.as_ref().and_then(|running| running.now.outage.last_plan());
        let before = last.and_then(|last| last.number.checked_sub(1)).filter(|plan| *plan > 0);
        let standing = PreEscaped(state.parts.html("paper"));
        let version = state.parts.version();
        printing::page(&links, version, &standing, (wanted, faults), &pumps, before)
    }

    /// Megabytes that work on its files may hold.
    pub(in crate::page) fn megabytes(&self) -> u64 {
        self.megabytes
    }
}

impl State {
    /// The plan at hand, if it may be printed; else the reason against it.
    pub(super) fn printable(&self) -> Result<&Arc<Verified>, String> {
        let scratch = &self.scratch;
        if self.running.as_ref().is_some_and(|running| running.mode == Mode::WhatIf) {
            return Err("What if is not printed: somebody would pack from it. Book the changed readings, enter the plan under Record, and print it there.".into());
        }
        if let Some(trouble) = &self.trouble {
            return Err(format!("These values cannot be planned. {trouble}"));
        }
        if self.running.is_none() && (scratch.edited() > 0 || scratch.held() > 0) {
            return Err("Values are changed or kits held here, and what is only tried is not printed: somebody would pack from it. Discard the changes; or write them into the workbooks and take these over; or begin an outage file and book them.".into());
        }
        if self.running.is_none() && !self.changed.is_empty() {
            return Err(format!(
                "On the disk the {} changed since it was read. Take the new one over first: its plan is the one to print.",
                self.changed.join(" and the ")
            ));
        }
        let planned = scratch.planned().filter(|_| scratch.is_planned()).ok_or(BEING_MADE)?;
        match self.running.as_ref().map(|running| (self.stands, running.now.outage.last_plan())) {
            None | Some((Some(true), _)) => Ok(planned),
            Some((None, _)) => Err(BEING_MADE.into()),
            Some((Some(false), None)) => {
                Err("No plan counts yet. Press Enter this plan under Record, then print it.".into())
            }
            Some((Some(false), Some(last))) => Err(format!(
                "Plan {} counts, and what Record shows is a preview of the next one: slips of it would be packed from. Press Enter this plan there, then print what changed. Slips of plan {0} once more: run `gapwright slips` with its workbook.",
                last.number
            )),
        }
    }
}
