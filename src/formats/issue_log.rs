//! The issue log, as a workbook.

/// The headings of the log, in the order of the values that the chain goes over; then the chain.
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
/// What stands before the number of lines and before the last chain above the table.
pub(crate) const SEAL: [&str; 2] = ["Lines", "Last chain"];
