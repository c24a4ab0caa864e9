//! The issue log, as a workbook.

/// Headings of the log, in the order of the values that the chain covers; then the chain.
pub(crate) const HEADINGS: [&str; 15] = [
    "No.",
    "Date",
    "Run",
    "Plan",
    "Tag",
    "Place",
    "Item",
    "Asked",
    "Out",
    "How",
    "Before",
    "After",
    "Unit cost",
    "Note",
    "Chain",
];
/// Labels of the number of lines and of the last chain above the table.
pub(crate) const SEAL: [&str; 2] = ["Lines", "Last chain"];
