//! JSON out: what was found and verified, into the shapes of [`crate::formats`], one file a format.

pub mod compare;
pub mod outage;
pub mod plan;
pub mod problems;
pub mod provision;
pub mod purchase;
pub mod recheck;
pub mod stack;
mod verdict;

pub use plan::{certificate, plan, text, text_in};
