//! The page: the scratch copy behind it.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, missing_docs)]

mod scratch;
