//! The paper: every written sheet is read back, and every figure, word and order on it is compared with the library's
//! own values, recalculated in whole numbers where possible.
//!
//! All mismatches of a sheet are reported at once. Texts that the sheets print by themselves are in [`wording`],
//! once.

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
mod returned;
mod said;
mod short;
mod stack_up;
mod stock;
mod summary;
mod wording;
