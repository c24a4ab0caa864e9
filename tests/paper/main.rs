//! The paper: every sheet that is written is read back, and every figure, word and order on it is held against the
//! library's own values, worked out anew in whole numbers where that can be done.
//!
//! All mismatches of a sheet are told at once. What the sheets print by themselves stands in [`wording`], once.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    clippy::cast_sign_loss,
    clippy::cast_lossless,
    missing_docs
)]

mod anew;
mod as_built;
mod crush;
mod figures;
mod issue;
mod kits;
mod labels;
mod outages;
mod page;
mod picking;
mod provision;
mod purchase;
mod reference;
mod said;
mod short;
mod stack_up;
mod stock;
mod summary;
mod wording;
