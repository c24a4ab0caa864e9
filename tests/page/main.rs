//! The page: the scratch copy behind it, who is let in, what a browser makes of it.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, missing_docs)]

mod bench;
mod bookings;
mod door;
mod driver;
mod in_browser;
mod ledger;
mod one_pump;
mod printing;
#[cfg(unix)]
mod program;
mod raw;
mod readings;
mod scratch;
#[path = "../support/shop.rs"]
#[allow(dead_code)]
mod shop;
mod shown;
mod tls;
