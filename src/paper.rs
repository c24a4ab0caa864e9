//! Paper for the shop floor: kit slips, bag labels and the picking list.
//!
//! Their contents are worked out here once. The sheets Kits, Labels and Picking list of the workbook are written from
//! them, and so is [`page()`]: one file that prints on A4 and on Letter.

mod base64;
pub(crate) mod code;
mod grid;
pub(crate) mod label;
mod list;
pub(crate) mod order;
mod page;
pub(crate) mod picking;
mod since;
pub(crate) mod slip;
mod window;

pub(crate) use code::{QUIET, Squares, squares};
pub use code::{ReadCode, code, slip_code, slip_link};
pub use grid::{GridFault, LabelGrid, LabelGridError, two_counts, two_lengths};
pub use page::{PaperPage, PaperParts, PrintedPlan, page};
pub(crate) use since::{ELSEWHERE, beside, text_of_cell};
pub use since::{OldSlip, OldSlips, SlipChanges, changes_since};
pub use slip::ShortWords;

/// Heading of the column of a thickness in the unit that it is not named in.
pub(crate) const OTHER_UNIT: &str = "mm (or in)";
