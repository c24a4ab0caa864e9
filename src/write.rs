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

pub mod analysis;
pub mod as_built;
mod basis;
mod between;
pub mod blank;
mod chain;
mod changes;
mod drawings;
mod issue;
mod kits;
mod labels;
mod ledger;
mod map;
pub mod mark;
mod models;
mod monte_carlo;
mod page;
mod pages;
mod picking;
mod picture;
mod plan_basis;
pub mod provision;
pub mod purchase;
mod reorder;
mod short;
mod stack_up;
mod stock_after;
mod stock_next;
mod style;
mod summary;
mod sweep;
mod table;
pub mod text;

use rust_xlsxwriter::{DocProperties, ExcelDateTime, Workbook, Worksheet};

use crate::analysis::not_fit;
use crate::job::Job;
use crate::narrow::narrow;
use crate::outage::PlaceInOutage;
use crate::plan::Kit;
use crate::pump::Pump;
use crate::verify::Verified;
use drawings::Drawings;
use page::{Written, lean_if_long};
use pages::put;
use stack_up::Kitted;
use style::Styles;

use crate::output::WriteError;
pub use crate::paper::code;
pub use ledger::workbook as ledger;
pub use stack_up::StackUps;
pub use stock_next::workbook as stock_next;

/// The most pumps of an outage whose slips are kept in memory while they are written.
const FEW: usize = 1_000;

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
    let slips = |mut workbook: Option<&mut Workbook>| -> Written<Vec<Worksheet>> {
        let mut sheets = vec![summary::sheet(verified, stack_ups, styles)?];
        let place = styles.place.as_ref();
        sheets.extend(place.map(|place| changes::sheet(place, styles)).transpose()?.flatten());
        sheets.push(picking::sheet(verified, styles)?);
        sheets.extend(kits::sheets(workbook.as_deref_mut(), verified, &drawings, styles)?);
        sheets.extend(labels::sheets(workbook, verified, styles)?);
        Ok(sheets)
    };
    let (not_fit, kits) = (not_fit(job, verified.plan()), kitted(verified));
    let stacks = |workbook: &mut Workbook| {
        stack_up::sheets(workbook, (job, &not_fit), (&kits, stack_ups), styles)
    };
    // Sheets that go through a workbook number texts and formats as they come, and so must come in one order; the
    // others wait with that. Where memory has room for the slips, the stack-ups are made beside them.
    let (slips, stacks) = match job.pumps.len() <= FEW {
        true => rayon::join(|| slips(None), || stacks(&mut workbook)),
        false => (slips(Some(&mut workbook)), stacks(&mut workbook)),
    };
    put(&mut workbook, slips?);
    put(&mut workbook, stacks?);
    workbook.push_worksheet(short::sheet(verified, styles)?);
    workbook.push_worksheet(reorder::sheet(verified, styles)?);
    let pieces = verified.issued().iter().map(|&count| count as usize).sum();
    let issue = issue::sheet(lean_if_long(&mut workbook, pieces), verified, styles)?;
    workbook.push_worksheet(issue);
    stock_after::add(&mut workbook, verified, styles)?;
    models::add(&mut workbook, job, styles)?;
    workbook.push_worksheet(plan_basis::sheet(verified, styles)?);
    Ok(drawings.put_in(workbook.save_to_buffer()?)?)
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
    // Less time than the usual 6 takes, and files 0.3 % larger.
    workbook.set_zip_compression_level(5);
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
