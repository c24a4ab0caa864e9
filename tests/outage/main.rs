//! Running outages: the rules of bookings, the ledger on the disk, and the commands.

#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

mod again;
mod commands;
mod export;
mod log;
mod patching;
mod random;
mod rules;
mod shared;
#[path = "../issue/shop.rs"]
#[allow(dead_code)]
mod shop;
mod store;
mod tampered;
mod trouble;
mod usage;
