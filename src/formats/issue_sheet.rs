//! The sheet Issue of a plan's workbook.

/// Headings of the Issue sheet, in their order.
pub(crate) const HEADINGS: [&str; 10] =
    ["Tag", "Place", "Bin", "Item", "Step", "Planned", "Picked", "Substitute item", "Qty", "Note"];
/// Step of the spare lines of the Issue sheet.
pub(crate) const EXTRA: &str = "extra";
/// Label of the plan's id on the Issue sheet.
pub(crate) const ID: &str = "Plan";
/// Hidden columns of the Issue sheet with the planned part of each line. Above the headings, the first holds the
/// number of lines.
pub(crate) const OWN: [u16; 4] = [11, 12, 13, 14];
