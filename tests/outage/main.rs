//! Running outages: the rules of bookings, the ledger on the disk, and the commands.

#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

mod again;
mod chain;
mod commands;
mod export;
mod log;
#[path = "../support/old_log.rs"]
mod old_log;
mod patching;
mod random;
mod rules;
mod shared;
mod sheet;
#[path = "../support/shop.rs"]
#[allow(dead_code)]
mod shop;
mod store;
mod tampered;
mod trouble;
mod usage;
