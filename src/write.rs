//! Writers: a verified plan out, as a workbook or as JSON; whole or not at all.
//!
//! One file a sheet, and one function a workbook that lists its sheets in their order.
//!
//! - To add a **column**: one `table::Column` in the list of the sheet's file (heading, width, cell). Where a table
//!   shares its sheet with others it has a row of headings and a row of cells (`table::cells`): one entry in each.
//! - To add a **row of results** to Stack-up: a name in `stack_up::outcomes::Row`; the compiler asks for the rest.
//! - To add a **sheet**: a file that begins with `style::begin` and writes its rows, and a line in the function of
//!   its workbook. A sheet of pages, one a pump or so, is a `pages::Series`: it goes on to numbered sheets where
//!   one is full, and nothing else knows what a sheet holds.
//! - To add a **fact to Basis**: an entry in the list of the workbook's own basis; `basis` writes them all.

pub mod analysis;
pub mod as_built;
mod basis;
mod between;
pub mod blank;
mod drawings;
mod files;
mod issue;
mod issue_log;
pub mod json;
mod kits;
mod labels;
pub mod mark;
mod models;
mod monte_carlo;
mod order;
mod pages;
mod picking;
mod plan_basis;
pub mod problems;
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

use rust_xlsxwriter::{DocProperties, ExcelDateTime, Workbook};

use crate::plan::Kit;
use crate::verify::Verified;
use drawings::Drawings;
use style::Styles;

pub use files::{Inputs, Output, WriteError, is_same_file, place};
pub use issue_log::workbook as issue_log;
pub use labels::code;
pub use stock_next::workbook as stock_next;

/// The plan as a workbook's bytes; `date` (`YYYY-MM-DD`) is printed on it, so that the same
/// inputs and date give the same bytes.
///
/// # Errors
/// [`WriteError::Workbook`] and [`WriteError::Date`].
pub fn workbook(verified: &Verified, date: &str) -> Result<Vec<u8>, WriteError> {
    let mut workbook = start("Outage kit plan", date)?;
    let styles = Styles::new();
    summary::write(workbook.add_worksheet(), verified, date, &styles)?;
    picking::write(workbook.add_worksheet(), verified, date, &styles)?;
    let drawings = Drawings::of(verified.job());
    kits::write(&mut workbook, verified, &drawings, date, &styles)?;
    labels::write(&mut workbook, verified, date, &styles)?;
    let subjects = subjects(verified);
    let policy = &verified.job().policy;
    stack_up::add(&mut workbook, &subjects, policy, date, &styles)?;
    short::write(workbook.add_worksheet(), verified, date, &styles)?;
    reorder::write(workbook.add_worksheet(), verified, date, &styles)?;
    issue::write(workbook.add_worksheet(), verified, date, &styles)?;
    stock_after::stock(workbook.add_worksheet(), verified, date, &styles)?;
    if !verified.job().sheets_sheet.sheet.rows.is_empty() {
        stock_after::sheets(workbook.add_worksheet(), verified, date, &styles)?;
    }
    let job = verified.job();
    for (name, source) in [("Fit", &job.fit_sheet), ("Feelers", &job.feelers_sheet)] {
        if !source.rows.is_empty() {
            stock_after::unchanged(workbook.add_worksheet(), name, source, date, &styles)?;
        }
    }
    models::write(&mut workbook, verified.job(), date, &styles)?;
    plan_basis::write(workbook.add_worksheet(), verified, date, &styles)?;
    Ok(drawings.put_in(workbook.save_to_buffer()?)?)
}

/// A workbook with its title and date.
fn start(title: &str, date: &str) -> Result<Workbook, WriteError> {
    let mut workbook = Workbook::new();
    let stamp = ExcelDateTime::parse_from_str(date).map_err(|_| WriteError::Date(date.into()))?;
    workbook.set_properties(&DocProperties::new().set_title(title).set_creation_datetime(&stamp));
    Ok(workbook)
}

/// The kitted pumps, as their stack-up is written.
fn subjects(verified: &Verified) -> Vec<stack_up::Subject<'_>> {
    let (job, plan) = (verified.job(), verified.plan());
    let kits = job.pumps.iter().zip(&plan.kits);
    kits.filter_map(|(pump, kit)| match kit {
        Kit::Served(packs) => Some(stack_up::Subject::of(job, pump, packs)),
        Kit::Short(_) => None,
    })
    .collect()
}
