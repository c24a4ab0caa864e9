//! Sheet Short of a plan: the part that is read back.

/// Heading of the part with the pumps that nothing is planned for; below it a row of headings, then a row per pump that
/// begins with its tag, and an empty row.
pub const NOT_MEASURED: &str =
    "Not measured: nothing is planned for these pumps, and nothing is wrong";
