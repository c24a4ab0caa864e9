//! The plan on paper: the page of kit slips, labels and picking list.
//!
//! Its figures and words are held against the sheets of the workbook, texts of inputs are escaped, and a browser
//! prints it on both papers.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::cast_possible_truncation, missing_docs)]

#[path = "../paper/outages.rs"]
#[allow(dead_code)]
mod outages;
#[path = "../paper/page.rs"]
#[allow(dead_code)]
mod page;

mod command;
mod escaped;
mod html;
mod printed;
mod same;

use gapwright::paper::{self, LabelGrid, PaperPage, PaperParts, PrintedPlan};
use gapwright::verify::Verified;

pub const ALL_PARTS: PaperParts =
    PaperParts { slips: true, large_drawings: false, labels: None, picking: true };

/// The page of a plan with all its parts.
pub fn page_of(verified: &Verified) -> PaperPage {
    let parts = PaperParts { labels: Some(LabelGrid::default()), ..ALL_PARTS };
    paper::page(&printed(verified), &parts)
}

pub fn printed(verified: &Verified) -> PrintedPlan<'_> {
    PrintedPlan {
        verified,
        date: outages::DATE,
        place: None,
        pumps: None,
        changes: None,
        shorts: None,
    }
}
