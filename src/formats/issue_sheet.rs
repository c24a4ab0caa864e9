//! The sheet Issue of a plan's workbook.

/// The headings of the Issue sheet, in their order.
pub(crate) const HEADINGS: [&str; 10] = [
    "Tag",
    "Place",
    "Bin",
    "Item",
    "Step",
    "Planned",
    "Picked",
    "Instead",
    "Instead pieces",
    "Note",
];
/// What the spare lines of the Issue sheet have as their step.
pub(crate) const EXTRA: &str = "extra";
/// What stands before the plan's id on the Issue sheet.
pub(crate) const ID: &str = "Plan";
/// The hidden columns of the Issue sheet with what of each line is the plan's own; above the headings the first
/// has the number of lines.
pub(crate) const OWN: [u16; 4] = [11, 12, 13, 14];
