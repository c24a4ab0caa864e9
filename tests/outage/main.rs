//! Running outages: the rules of bookings, the ledger on the disk, and the commands.

#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

mod random;
mod rules;
mod store;
mod tampered;
