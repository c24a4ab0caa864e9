//! Writers of workbooks: a verified plan, purchase, provision or recheck as sheets.
//!
//! [`workbook`] gives the bytes of the plan workbook, [`crate::json::text`] the plan for programs; the modules have the other
//! workbooks. Nothing here touches a file: [`crate::output`] does.
//!
//! # To add to a workbook
//!
//! Each sheet has a file, and each workbook a function that lists its sheets in their order.
//!
//! - A **column**: one `table::Column` in the list of the table (heading, width, cell).
//! - A **row of results** on Stack-up: a name in `stack_up::outcomes::Row`; the compiler asks for the rest.
//! - A **sheet**: a file whose function begins a `page::Page`, writes its rows from the top down and returns the
//!   sheet; and a line in the function of its workbook. A sheet of pages, such as one per pump, is a
//!   `pages::Series`, which goes on to numbered sheets where one is full.
//! - A **fact on Basis**: an entry in the list of the workbook's own basis; `basis` writes them all.

mod allowed;
pub mod analysis;
pub mod as_built;
mod basis;
mod between;
pub mod blank;
mod chain;
mod changes;
mod deflate;
mod drawings;
mod issue;
mod kits;
mod labels;
mod ledger;
mod map;
pub mod mark;
mod models;
mod monte_carlo;
mod packing;
mod page;
mod pages;
mod picking;
mod picture;
mod plan_basis;
pub mod provision;
pub mod purchase;
mod reorder;
mod rows;
mod short;
mod stack_up;
mod stock_after;
mod stock_next;
mod style;
mod summary;
mod sweep;
mod table;
pub mod text;

use rust_xlsxwriter::{DocProperties, ExcelDateTime, Workbook};

use crate::analysis::not_fit;
use crate::job::Job;
use crate::narrow::narrow;
use crate::outage::PlaceInOutage;
use crate::plan::Kit;
use crate::pump::Pump;
use crate::verify::Verified;
use drawings::Drawings;
use packing::{Packing, put_in};
use page::lean_if_long;
use pages::{Through, put};
use stack_up::Kitted;
use style::Styles;

use crate::output::WriteError;
pub use crate::paper::code;
pub use ledger::workbook as ledger;
pub use stack_up::StackUps;
pub use stock_next::workbook as stock_next;

/// The plan as a workbook's bytes, with all stack-ups; `date` (`YYYY-MM-DD`) is printed on it, so that the same
/// inputs and date give the same bytes.
///
/// # Errors
/// [`WriteError::Workbook`] and [`WriteError::Date`].
pub fn workbook(verified: &Verified, date: &str) -> Result<Vec<u8>, WriteError> {
    workbook_with(verified, date, PlanParts::default())
}

/// Parts of a plan's workbook.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PlanParts {
    /// Stack-ups to write.
    pub stack_ups: StackUps,
    /// Place in a running outage, if the plan is part of one.
    pub place: Option<PlaceInOutage>,
    /// Whether slips and labels that still count are left out of print.
    pub changed_slips_only: bool,
}

/// The plan as a workbook's bytes, with these parts.
///
/// # Errors
/// Those of [`workbook`].
pub fn workbook_with(
    verified: &Verified,
    date: &str,
    parts: PlanParts,
) -> Result<Vec<u8>, WriteError> {
    let (mut workbook, mut styles) = start("Outage kit plan", date)?;
    let stack_ups = parts.stack_ups;
    styles.place = parts.place;
    styles.changed_slips_only = parts.changed_slips_only;
    let (job, styles) = (verified.job(), &styles);
    let drawings = Drawings::of(job);
    let (not_fit, kitted) = (not_fit(job, verified.plan()), kitted(verified));
    // The sheets with packed rows come first: see `Packing`.
    let mut packing = Packing::of(&mut workbook);
    let through = Through::either(packing.as_mut(), &mut workbook);
    let kits = kits::sheets(through, verified, &drawings, styles)?;
    let of = (job, &not_fit[..]);
    let stacks =
        stack_up::sheets((&mut workbook, packing.as_mut()), of, (&kitted, stack_ups), styles)?;
    let labels = labels::sheets(&mut workbook, verified, styles)?;
    workbook.push_worksheet(summary::sheet(verified, stack_ups, styles)?);
    let place = styles.place.as_ref();
    let changes = place.map(|place| changes::sheet(place, styles)).transpose()?;
    put(&mut workbook, changes.flatten().into_iter().collect());
    workbook.push_worksheet(picking::sheet(verified, styles)?);
    put(&mut workbook, kits);
    put(&mut workbook, labels);
    put(&mut workbook, stacks);
    workbook.push_worksheet(short::sheet(verified, styles)?);
    workbook.push_worksheet(reorder::sheet(verified, styles)?);
    let pieces = verified.issued().iter().map(|&count| count as usize).sum();
    let issue = issue::sheet(lean_if_long(&mut workbook, pieces), verified, styles)?;
    workbook.push_worksheet(issue);
    stock_after::add(&mut workbook, verified, styles)?;
    models::add(&mut workbook, job, styles)?;
    workbook.push_worksheet(plan_basis::sheet(verified, styles)?);
    let rows = packing.map(|packing| packing.parts(&mut workbook)).unwrap_or_default();
    let made = workbook.save_to_buffer()?;
    drop(workbook);
    Ok(put_in(made, &drawings, rows)?)
}

/// Bytes of memory that a plan of these pumps takes while it is written, or their stack-up or recheck, about: measured by peak
/// memory of outages of 3,000 pumps, and a fifth more. Slips and stack-ups are most of it, and grow with the model.
pub fn bytes_of_plan<'a>(job: &Job, pumps: impl Iterator<Item = &'a Pump>) -> u64 {
    /// Of a pump; of each of its dimensions, places and requirements.
    const EACH: [usize; 2] = [20_000, 9_000];
    let of = |pump: &Pump| {
        let model = job.model_of(pump);
        let parts = model.dimensions.len() + model.packs.len() + pump.requirements.len();
        EACH[0] + EACH[1] * parts
    };
    narrow(pumps.map(of).sum::<usize>())
}

/// A workbook with its title and date, and its formats.
fn start(title: &str, date: &str) -> Result<(Workbook, Styles), WriteError> {
    let mut workbook = Workbook::new();
    workbook.set_zip_compression_level(deflate::LEVEL);
    let stamp = ExcelDateTime::parse_from_str(date).map_err(|_| WriteError::Date(date.into()))?;
    workbook.set_properties(&DocProperties::new().set_title(title).set_creation_datetime(&stamp));
    Ok((workbook, Styles::new(date)))
}

/// The kitted pumps with their pieces.
fn kitted(verified: &Verified) -> Vec<Kitted<'_>> {
    let kits = verified.job().pumps.iter().zip(&verified.plan().kits);
    kits.filter_map(|(pump, kit)| match kit {
        Kit::Served(packs) => Some((pump, &packs[..])),
        Kit::Short(_) => None,
    })
    .collect()
}
