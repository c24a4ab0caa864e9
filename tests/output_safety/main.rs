//! Text stays text in outputs, and files are written completely or not at all.

#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

mod text;
#[cfg(target_os = "linux")]
mod trouble;
#[cfg(target_os = "linux")]
mod whole;

/// A run of the program.
#[cfg(target_os = "linux")]
fn gapwright() -> std::process::Command {
    std::process::Command::new(env!("CARGO_BIN_EXE_gapwright"))
}
