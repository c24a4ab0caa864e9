//! Formats that programs read, one file a format: those that are read back, which both sides share, and those that
//! are only written.
//!
//! A changed shape is a new version of the format; an older one is read, or refused by its name. States and reasons
//! are codes, with their figures beside them; sentences stand in what people read.

pub mod common;
pub(crate) mod issue_log;
pub(crate) mod issue_sheet;
pub mod plan;
pub mod problems;
pub mod provision;
pub mod purchase;
pub mod recheck;
pub mod slip;

/// A document as JSON text, ending in a newline.
pub fn text(document: &impl serde::Serialize) -> String {
    let mut text = serde_json::to_string_pretty(document).unwrap_or_default();
    text.push('\n');
    text
}
