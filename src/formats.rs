//! Formats that are both written and read back: one file per format, shared by writer and reader.
//!
//! A changed structure is a new version of the format; an older one is read, or refused by its name.

pub(crate) mod issue_log;
pub(crate) mod issue_sheet;
pub mod plan;
pub mod problems;
pub mod slip;
