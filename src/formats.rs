//! Formats for other programs: one module per format, with the structs that become JSON.
//!
//! `gapwright schema` prints their JSON Schemas; [`mod@crate::json`] and the writers fill them in. A format that is
//! read back is shared by reader and writer. A changed shape is a new version; an older version is read, or refused by
//! its name. States and reasons are codes with figures; sentences are for people and stand elsewhere.

pub mod certificate;
pub mod common;
pub mod compare;
pub(crate) mod issue_log;
pub(crate) mod issue_sheet;
pub mod outage;
pub mod plan;
pub mod problems;
pub mod provision;
pub mod purchase;
pub mod recheck;
pub(crate) mod short_sheet;
pub mod slip;
pub mod stack;

/// A document as JSON text, ending in a newline.
pub fn text(document: &impl serde::Serialize) -> String {
    let mut text = serde_json::to_string_pretty(document).unwrap_or_default();
    text.push('\n');
    text
}
