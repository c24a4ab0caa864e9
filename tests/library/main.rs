//! The library as another program uses it: jobs made of parts, and a host that keeps its own panic hook.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::cast_possible_truncation, missing_docs)]

mod claims;
mod cures;
mod host;
mod parts;
#[path = "../support/mod.rs"]
mod support;
